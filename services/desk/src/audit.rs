//! What was done and what was refused, for whoever looks after it.
//!
//! Entries are the record of what was done. Refusals are added up in memory and written
//! once a second; of those a crash loses a second. A flood of them fills no book: of a
//! minute at most [`MOST_A_MINUTE`] rows are kept apart, and the rest is one row.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use books::entries::{self, Entry};
use books::refusals::{self, Refusal};

use crate::{Caller, Desk, DeskError};

/// Rows of a minute that are told apart.
const MOST_A_MINUTE: usize = 200;
/// Stands for callers, methods and reasons beyond those.
const OTHERS: &str = "others";

const MINUTE_US: i64 = 60_000_000;

type Key = (i64, String, String, String);

/// Refusals that are not yet written.
#[derive(Debug, Default)]
struct Waiting {
    rows: BTreeMap<Key, (i64, String)>,
    /// Rows of the newest minute, the written ones among them.
    of_minute: (i64, BTreeSet<Key>),
}

/// Adds refusals up until they are written.
#[derive(Clone, Default)]
pub(crate) struct Refusals(Arc<Mutex<Waiting>>);

impl Refusals {
    fn add(&self, minute: i64, actor: &str, method: &str, reason: &str, request: &str) {
        let mut waiting = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if waiting.of_minute.0 != minute {
            waiting.of_minute = (minute, BTreeSet::new());
        }
        let mut key = (
            minute,
            actor.to_owned(),
            method.to_owned(),
            reason.to_owned(),
        );
        let told_apart = &mut waiting.of_minute.1;
        if !told_apart.contains(&key) {
            if told_apart.len() < MOST_A_MINUTE {
                told_apart.insert(key.clone());
            } else {
                key = (minute, OTHERS.into(), OTHERS.into(), OTHERS.into());
            }
        }
        let row = waiting.rows.entry(key).or_default();
        row.0 += 1;
        request.clone_into(&mut row.1);
    }

    fn take(&self) -> Vec<Refusal> {
        let mut waiting = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        std::mem::take(&mut waiting.rows)
            .into_iter()
            .map(
                |((minute, actor, method, reason), (times, request))| Refusal {
                    minute,
                    actor,
                    method,
                    reason,
                    times,
                    request,
                },
            )
            .collect()
    }
}

impl Desk {
    /// Remembers that something was refused. `actor` is a caller's name, or says that
    /// there was none.
    pub async fn refused(&self, actor: &str, method: &str, reason: &str, request_id: &str) {
        // A refusal that cannot be dated is still one.
        let now_us = self.now_us().await.unwrap_or(0);
        let minute = now_us.div_euclid(MINUTE_US);
        self.refusals.add(minute, actor, method, reason, request_id);
    }

    /// Writes what was refused since the last time.
    ///
    /// # Errors
    /// The book cannot be reached; then what was refused is lost.
    pub async fn write_refusals(&self) -> Result<(), DeskError> {
        let refusals = self.refusals.take();
        if refusals.is_empty() {
            return Ok(());
        }
        Ok(refusals::add(&self.db, &refusals).await?)
    }

    /// Entries of a site's business day, oldest first; site 0 and the UTC day for what
    /// all share.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn entries(
        &self,
        caller: &Caller,
        site: i64,
        day: i64,
        after: i64,
        limit: i64,
    ) -> Result<Vec<(Entry, String)>, DeskError> {
        caller.may("entries")?;
        if site == 0 && caller.is_bound() {
            return Err(DeskError::Denied);
        }
        self.at_site(caller, site)?;
        let from = books::entry_id(day, site, 0).max(after.saturating_add(1));
        let to = books::entry_id(day, site, 9_999_999).saturating_add(1);
        let mut tx = self.read().await?;
        Ok(entries::all(&mut tx, from, to, limit).await?)
    }

    /// What was refused in `[from_us, to_us)`, whole minutes.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn refusals(
        &self,
        caller: &Caller,
        from_us: i64,
        to_us: i64,
        skip: i64,
        limit: i64,
    ) -> Result<Vec<Refusal>, DeskError> {
        caller.may("refusals")?;
        if caller.is_bound() {
            return Err(DeskError::Denied);
        }
        // Of a minute that is still going on nothing may be missing.
        self.write_refusals().await?;
        let minute = |us: i64| us.div_euclid(MINUTE_US);
        let to = minute(to_us.saturating_add(MINUTE_US - 1));
        let mut tx = self.read().await?;
        Ok(refusals::list(&mut tx, minute(from_us), to, skip, limit).await?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_of_refusals_is_one_row_beyond_the_most() {
        let refusals = Refusals::default();
        for n in 0..1000 {
            refusals.add(7, &format!("diver {n}"), "/a/B", "NOT_YOURS", "r");
        }
        refusals.add(7, "diver 0", "/a/B", "NOT_YOURS", "r2");
        let rows = refusals.take();
        assert_eq!(rows.len(), MOST_A_MINUTE + 1);
        assert_eq!(rows.iter().map(|row| row.times).sum::<i64>(), 1001);
        let of = |actor: &str| rows.iter().find(|row| row.actor == actor).cloned();
        let first = of("diver 0").map(|row| (row.times, row.request));
        assert_eq!(first, Some((2, "r2".to_owned())));
        assert_eq!(of(OTHERS).map(|row| row.times), Some(800));
        // What was written counts towards the same minute.
        refusals.add(7, "somebody else", "/a/B", "NOT_YOURS", "");
        assert_eq!(refusals.take()[0].actor, OTHERS);
        refusals.add(7, "diver 0", "/a/B", "NOT_YOURS", "");
        assert_eq!(
            refusals.take()[0].actor,
            "diver 0",
            "one row, however often"
        );
        refusals.add(8, "somebody else", "/a/B", "NOT_YOURS", "");
        assert_eq!(refusals.take()[0].actor, "somebody else");
    }
}
