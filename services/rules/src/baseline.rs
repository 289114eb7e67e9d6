//! What a control chart is held against.
//!
//! A baseline is a deed: somebody says which days of a supplier, a cutter or a
//! kitchen were in order, and why. The charts of later days are held against the
//! cuts of those days and nothing else, so that a slow slide does not become the
//! standard it is measured by. A newer baseline of the same subject takes the
//! place of an older one; none changes a close that is recorded.

use crate::fish::coded;
use crate::ids::DayNumber;

coded! {
    /// Whose yield a chart follows.
    Follows {
        /// Fish of a supplier.
        Supplier = 1 "supplier",
        /// Cuts by a cutter.
        Cutter = 2 "cutter",
        /// Cuts at a customer's kitchen.
        Kitchen = 3 "kitchen",
    }
}

/// Days whose cuts a chart is held against.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Baseline {
    /// Its site.
    pub site: i64,
    /// What sort of party it is of.
    pub follows: Follows,
    /// Party code.
    pub party: String,
    /// First business day, `YYYYMMDD`.
    pub from: DayNumber,
    /// The day after the last.
    pub to: DayNumber,
    /// Why these days.
    pub reason: String,
}

/// Why a baseline cannot be recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a baseline is of days that are over; the last day meant is {last} and it is {today}")]
pub struct BaselineNotOver {
    /// Last day meant.
    pub last: DayNumber,
    /// The business day it is.
    pub today: DayNumber,
}
