//! The night: a site's business day, closed.
//!
//! Reads one snapshot of the day, has the rules judge it, and records the close.
//! Days are closed in order, because each begins with what the one before left:
//! first every earlier day that something changed in, then the day asked for,
//! then later closed days as long as their opening changed. A day of which
//! nothing changed keeps its bytes, so to run twice is to run once. What a
//! person should look at is in the close, never an error.
//!
//! The job meets the service only in the books. Two nights at once are safe: who
//! writes has the site's lease, the other says who has it, and a night that lost its
//! lease is refused by the book. A revision spends the one before it, so what was
//! worked out on an older look is never written over a newer one.
//!
//! A rebuild works out what is closed already, and compares.

mod rebuild;
mod watch;

pub use rebuild::{LeftAlone, PutRight, Rebuilt, Unlike, rebuild};
pub use watch::Holder;

use std::collections::BTreeMap;

use books::close::{self, Gathered, KnownDay, LastClose, Left, Manifest, Revision, Turned};
use books::register::{self, Office};
use books::{BooksError, Db};
use rules::business_day::{date_of, next_day};
use rules::close::{CloseDoc, CloseState, Flag, Judged, judge};
use rules::ids::DayNumber;
use rules::office::Site;
use watch::Watch;

/// How often to look again when somebody else wrote a revision in between.
const ATTEMPTS: u32 = 4;

/// What a night came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Site number.
    pub site: i64,
    /// The business day asked for.
    pub day: DayNumber,
    /// Revision of its close; of a dry run, the one it would be.
    pub revision: i64,
    /// Closed, or with gaps.
    pub state: CloseState,
    /// The close, canonical JSON.
    pub doc: String,
    /// SHA-256 of `doc`, lower-case hexadecimal.
    pub sha256: String,
    /// Its flags.
    pub flags: Vec<Flag>,
    /// Whether the day came out new or otherwise than before.
    pub changed: bool,
    /// Other days that came out new or otherwise, in order.
    pub also: Vec<DayNumber>,
}

impl Outcome {
    /// 0 for a balanced day, 1 where flags were raised. (2, could not run, is
    /// for a [`NightError`].)
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        u8::from(!self.flags.is_empty())
    }
}

/// Why a night could not run.
#[derive(Debug, thiserror::Error)]
pub enum NightError {
    /// Not a date.
    #[error("{} is not a day: write it as 2031-05-02", shown(*.0))]
    NotADay(DayNumber),
    /// The book knows no such site.
    #[error("there is no site {0}")]
    NoSuchSite(i64),
    /// The day is still going on.
    #[error("{} is not over: it ends at {ends}; a dry run shows it as it stands", shown(*day))]
    NotOver {
        /// The day.
        day: DayNumber,
        /// When it ends, local time.
        ends: String,
    },
    /// A dry run of a day to come.
    #[error("{} has not begun", shown(*.0))]
    NotBegun(DayNumber),
    /// Somebody else kept writing closes of these days.
    #[error("other closes were recorded all the while; run it again")]
    Overtaken,
    /// Another night of the site is under way.
    #[error(
        "the night of site {site} is being worked by {holder}, until {until} at the latest: \
         run it again after that"
    )]
    Held {
        /// Site number.
        site: i64,
        /// Who has the lease.
        holder: String,
        /// When the lease ends, local time.
        until: String,
    },
    /// It took longer than its lease.
    #[error(
        "the lease of the night of site {site} ended at {until}, before it wrote: run it again"
    )]
    LeaseEnded {
        /// Site number.
        site: i64,
        /// When it ended, local time.
        until: String,
    },
    /// Somebody else took the lease.
    #[error("another night has taken over site {0}: this one has stopped")]
    TakenOver(i64),
    /// The books could not be read.
    #[error(transparent)]
    Books(#[from] BooksError),
    /// The books did not take a close.
    #[error("the book did not take the close: {0}")]
    NotTaken(String),
}

/// A day as people write it.
fn shown(day: DayNumber) -> String {
    date_of(day).map_or_else(|| day.to_string(), |date| date.to_string())
}

impl From<books::EngineError> for NightError {
    fn from(error: books::EngineError) -> NightError {
        NightError::Books(error.into())
    }
}

/// Closes a site's business day, with `now_us` by the book's clock. A dry run
/// writes nothing and may look at a day that is not over. Before `holder` writes, it
/// takes the site's lease.
///
/// # Errors
/// [`NightError`] where it could not run; the books are then as they were, but
/// for earlier days already closed.
pub async fn run(
    db: &Db,
    site: i64,
    day: DayNumber,
    now_us: i64,
    dry_run: bool,
    holder: &Holder,
) -> Result<Outcome, NightError> {
    date_of(day).ok_or(NightError::NotADay(day))?;
    let mut watch = Watch::new(db, holder);
    let asked = Asked {
        site,
        day,
        now_us,
        dry_run,
    };
    let outcome = look_and_close(db, asked, &mut watch).await;
    watch.end().await;
    outcome
}

/// What is asked of a night.
#[derive(Clone, Copy)]
struct Asked {
    site: i64,
    day: DayNumber,
    now_us: i64,
    dry_run: bool,
}

async fn look_and_close(
    db: &Db,
    asked: Asked,
    watch: &mut Watch<'_>,
) -> Result<Outcome, NightError> {
    let Asked {
        site,
        day,
        now_us,
        dry_run,
    } = asked;
    let mut also = Vec::new();
    for _ in 0..ATTEMPTS {
        let mut tx = db.read().await?;
        let office = register::load(&mut tx).await?;
        let known = close::days(&mut tx, site).await?;
        tx.rollback().await;
        let Some(on_file) = office.sites.get(&site) else {
            return Err(NightError::NoSuchSite(site));
        };
        may_run(on_file, day, now_us, dry_run)?;
        let mut night = Night {
            db,
            office: &office,
            site: on_file,
            now_us,
            dry_run,
            known,
            also,
            watch: &mut *watch,
        };
        let outcome = night.through(day).await?;
        also = night.also;
        if let Some(mut outcome) = outcome {
            also.sort_unstable();
            also.dedup();
            also.retain(|other| *other != day);
            outcome.also = also;
            return Ok(outcome);
        }
    }
    Err(NightError::Overtaken)
}

fn may_run(site: &Site, day: DayNumber, now_us: i64, dry_run: bool) -> Result<(), NightError> {
    let ends_us = site.clock.end_us(day);
    if dry_run {
        return if site.clock.start_us(day) > now_us {
            Err(NightError::NotBegun(day))
        } else {
            Ok(())
        };
    }
    if ends_us > now_us {
        let ends = site.clock.local_rfc3339(ends_us);
        return Err(NightError::NotOver { day, ends });
    }
    Ok(())
}

/// One run over a site's days.
struct Night<'a, 'w> {
    db: &'a Db,
    office: &'a Office,
    site: &'a Site,
    now_us: i64,
    dry_run: bool,
    known: BTreeMap<DayNumber, KnownDay>,
    also: Vec<DayNumber>,
    watch: &'a mut Watch<'w>,
}

/// What the day before left: its digests, and all of it where it was worked out
/// in this run.
struct Before {
    left: Left,
    turned: Option<Turned>,
}

/// A day worked out.
struct Closed {
    revision: i64,
    doc: String,
    sha256: String,
    close: CloseDoc,
    changed: bool,
}

impl Night<'_, '_> {
    /// Walks the days from the first the book knows. `None` where somebody else
    /// wrote a close in between: look again.
    async fn through(&mut self, asked: DayNumber) -> Result<Option<Outcome>, NightError> {
        let mut before = Before {
            left: Turned::default().digests(),
            turned: None,
        };
        let mut outcome = None;
        let first = self
            .known
            .keys()
            .next()
            .copied()
            .unwrap_or(asked)
            .min(asked);
        let last = self
            .known
            .keys()
            .next_back()
            .copied()
            .unwrap_or(asked)
            .max(asked);
        let closed = self.known.iter().filter(|(_, known)| known.close.is_some());
        let last_closed = closed.map(|(day, _)| *day).next_back();
        let mut next = Some(first).filter(|day| *day <= last);
        while let Some(day) = next {
            next = next_day(day).filter(|day| *day <= last);
            let known = self.known.get(&day).cloned().unwrap_or_default();
            if day > asked && last_closed.is_none_or(|last| last < day) {
                // Days beyond the last that was closed wait until they are asked for.
                break;
            }
            if day != asked && !is_stale(&known, &before) {
                if let Some(close) = known.close {
                    before = Before {
                        left: close.left,
                        turned: None,
                    };
                }
                continue;
            }
            let Some((closed, after)) = self.close(day, known.close.as_ref(), before).await? else {
                return Ok(None);
            };
            before = after;
            if day == asked {
                outcome = Some(self.outcome(day, closed));
            } else if closed.changed {
                self.also.push(day);
            }
        }
        Ok(outcome)
    }

    fn outcome(&self, day: DayNumber, closed: Closed) -> Outcome {
        Outcome {
            site: self.site.number,
            day,
            revision: closed.revision,
            state: closed.close.state,
            doc: closed.doc,
            sha256: closed.sha256,
            flags: closed.close.flags,
            changed: closed.changed,
            also: Vec::new(),
        }
    }

    /// Closes one day, or finds that its last close still stands.
    async fn close(
        &mut self,
        day: DayNumber,
        last: Option<&LastClose>,
        before: Before,
    ) -> Result<Option<(Closed, Before)>, NightError> {
        let site = self.site.number;
        let mut tx = self.db.read().await?;
        let opening = match before.turned {
            Some(turned) => turned,
            None => close::turned(&mut tx, site, day).await?,
        };
        let Gathered { input, given, kept } =
            close::gather(&mut tx, self.office, self.site, day, &opening, None).await?;
        let stored = close::stored(&mut tx, site, day, None).await?;
        tx.rollback().await;
        if stored.as_ref().map(|stored| stored.revision) != last.map(|last| last.revision) {
            return Ok(None);
        }
        if let Some(stored) = stored
            .as_ref()
            .filter(|stored| stored.manifest.given == given)
        {
            let closed = Closed {
                revision: stored.revision,
                close: stored.read()?,
                doc: stored.doc.clone(),
                sha256: stored.sha256.clone(),
                changed: false,
            };
            let Manifest { left, .. } = stored.manifest.clone();
            return Ok(Some((closed, Before { left, turned: None })));
        }
        let judged = judge(&input);
        let before = stored.map(|stored| (stored.revision, stored.entry));
        let revision = Revision {
            given,
            judged: &judged,
            kept: &kept,
            before,
        };
        if !self.dry_run && !self.write(&revision).await? {
            return Ok(None);
        }
        let number = revision.number();
        Ok(Some(worked_out(number, judged)))
    }

    /// Writes a revision; false where somebody else wrote it first.
    async fn write(&mut self, revision: &Revision<'_>) -> Result<bool, NightError> {
        let recorded_on = self.site.clock.day_of(self.now_us);
        let deed = revision.deed(recorded_on, self.now_us);
        self.watch.write(self.site, deed).await
    }
}

/// Whether an earlier or later day has to be worked out: something was entered
/// in it since it was closed, or its opening changed; or it was never closed and
/// has anything to close. Settings and rules revise a day only when it is asked
/// for.
fn is_stale(known: &KnownDay, before: &Before) -> bool {
    match &known.close {
        Some(close) => close.upto_seq != known.upto_seq || close.opened != before.left,
        None => known.upto_seq > 0 || before.left.on_hand != Turned::default().digests().on_hand,
    }
}

fn worked_out(revision: i64, judged: Judged) -> (Closed, Before) {
    let turned = Turned::by(&judged);
    let (doc, sha256) = close::document(&judged.doc);
    let before = Before {
        left: turned.digests(),
        turned: Some(turned),
    };
    (
        Closed {
            revision,
            doc,
            sha256,
            close: judged.doc,
            changed: true,
        },
        before,
    )
}

#[cfg(test)]
mod tests;
