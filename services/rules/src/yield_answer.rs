//! A diver's answer to a yield that is told of their fish.
//!
//! A yield says what came out and not why, so whoever caught the fish may say what they
//! know of it (8.4). The answer stands beside the figure it was given to, in the diver's
//! words. It changes no figure and nobody's pay. It may be given again; then both stand.

use crate::close::YieldRow;
use crate::ids::DayNumber;

/// An answer to what is told of a supplier's fish of one species over some days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YieldAnswerAsked {
    /// Site whose yields they are.
    pub site: i64,
    /// Party code of the diver.
    pub supplier: String,
    /// ASFIS code.
    pub species: String,
    /// First business day, `YYYYMMDD`.
    pub from: DayNumber,
    /// The day after the last.
    pub to: DayNumber,
    /// In the diver's words.
    pub text: String,
}

/// What was told when it was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YieldAnswered {
    /// The sums of those days; none where only what the last close had judged was told.
    pub told: Vec<YieldRow>,
}
