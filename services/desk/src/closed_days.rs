//! The days of a site, and which of them were closed.

use books::close;

use crate::{Caller, Desk, DeskError};

/// A business day in which something was entered or that was closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DayFound {
    /// The business day, `YYYYMMDD`.
    pub day: i64,
    /// Its latest revision; 0 where no night has run for it.
    pub revision: i64,
    /// Something was entered for it after what that revision was worked out from.
    pub is_behind: bool,
}

impl Desk {
    /// The days of a site, newest first.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn days(&self, caller: &Caller, site: i64) -> Result<Vec<DayFound>, DeskError> {
        caller.may("close")?;
        self.at_site(caller, site)?;
        let mut tx = self.read().await?;
        let days = close::days(&mut tx, site).await?;
        let found = days.into_iter().rev().map(|(day, known)| {
            let closed = known.close.as_ref();
            DayFound {
                day,
                revision: closed.map_or(0, |close| close.revision),
                is_behind: closed.is_some_and(|close| close.upto_seq < known.upto_seq),
            }
        });
        Ok(found.collect())
    }
}
