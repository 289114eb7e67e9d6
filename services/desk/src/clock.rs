//! The book's clock.
//!
//! An ordinary book goes by the machine's clock, handed in by whoever starts
//! the program. A book made with a simulated clock keeps its own time, and
//! everything said from it says so.

use std::sync::Arc;

use books::{Db, book};

use crate::{Caller, Desk, DeskError};

/// Where "now" comes from.
#[derive(Clone)]
pub enum Clock {
    /// The machine, microseconds since 1970 UTC.
    Machine(Arc<dyn Fn() -> i64 + Send + Sync>),
    /// The book itself.
    Simulated,
}

impl Clock {
    pub(crate) async fn now_us(&self, db: &Db) -> Result<i64, DeskError> {
        match self {
            Clock::Machine(read) => Ok(read()),
            Clock::Simulated => book::simulated_now(db).await?.ok_or(DeskError::Internal),
        }
    }

    /// Whether it is simulated.
    #[must_use]
    pub fn is_simulated(&self) -> bool {
        matches!(self, Clock::Simulated)
    }
}

impl Desk {
    /// Sets the clock of a book made with a simulated one; never back.
    ///
    /// # Errors
    /// An ordinary book, or a time that has passed.
    pub async fn set_clock(&self, caller: &Caller, now_us: i64) -> Result<i64, DeskError> {
        caller.may("set_clock")?;
        // It is the clock of every buyer's sites.
        if caller.is_bound() {
            return Err(DeskError::Denied);
        }
        if !self.clock.is_simulated() {
            return Err(DeskError::precondition(
                "CLOCK_NOT_SIMULATED",
                "this book goes by the machine's clock, which cannot be set",
            ));
        }
        if now_us < self.now_us().await? {
            return Err(DeskError::malformed(
                "now",
                "the book's clock is never set back",
            ));
        }
        book::set_simulated_now(&self.db, now_us).await?;
        Ok(now_us)
    }
}
