//! The lease of a night: taken before the first thing it writes, so that a night with
//! nothing new to say leaves the book as it is, and given back at its end.
//!
//! A night that was killed gives nothing back. The next run on the same machine sees
//! that the process is gone and takes over; one elsewhere waits until the lease ends.

use books::lease::{self, Ask, Lease, Taken};
use books::{Answer, Condition, Db, Deed, write_once};
use rules::office::Site;

use crate::NightError;

/// How long a lease is taken for, microseconds: ten minutes. A night that writes day
/// after day has it go on when half of that is over.
const TERM_US: i64 = 600_000_000;

/// Who runs a night.
#[derive(Debug, Clone)]
pub struct Holder {
    /// In words that tell one process from every other.
    pub name: String,
    /// The machine's clock, microseconds since 1970 UTC: the lease runs by it, also of a
    /// book whose own clock is simulated.
    pub clock_us: fn() -> i64,
    /// Whether a holder of another name is known to have ended.
    pub is_gone: fn(&str) -> bool,
}

/// Who writes a site's night.
pub(crate) struct Watch<'a> {
    db: &'a Db,
    pub(crate) holder: &'a Holder,
    lease: Option<Lease>,
}

impl<'a> Watch<'a> {
    pub(crate) fn new(db: &'a Db, holder: &'a Holder) -> Watch<'a> {
        Watch {
            db,
            holder,
            lease: None,
        }
    }

    /// The site's lease, taken where it is not ours yet, for another term.
    pub(crate) async fn lease(&mut self, site: &Site) -> Result<&Lease, NightError> {
        let now_us = (self.holder.clock_us)();
        let until_us = now_us + TERM_US;
        let lease = match self.lease.take() {
            Some(lease) if lease.until_us <= now_us => {
                return Err(NightError::LeaseEnded {
                    site: site.number,
                    until: site.clock.local_rfc3339(lease.until_us),
                });
            }
            // Long enough for a day; the fence is what the book goes by.
            Some(lease) if lease.until_us - now_us > TERM_US / 2 => lease,
            Some(lease) => {
                if !lease::keep_until(self.db, &lease, until_us).await? {
                    return Err(NightError::TakenOver(site.number));
                }
                Lease { until_us, ..lease }
            }
            None => {
                let ask = Ask {
                    holder: &self.holder.name,
                    now_us,
                    until_us,
                    is_gone: self.holder.is_gone,
                };
                match lease::take(self.db, site.number, ask).await? {
                    Taken::Ours(lease) => lease,
                    Taken::Held(lease) => {
                        return Err(NightError::Held {
                            site: site.number,
                            until: site.clock.local_rfc3339(lease.until_us),
                            holder: lease.holder,
                        });
                    }
                }
            }
        };
        Ok(self.lease.insert(lease))
    }

    /// Writes a deed of the night; false where what it builds on was written otherwise
    /// in between.
    pub(crate) async fn write(&mut self, site: &Site, mut deed: Deed) -> Result<bool, NightError> {
        let lease = self.lease(site).await?;
        deed.must_hold.push(Condition::Fence {
            site: site.number,
            fence: lease.fence,
        });
        match write_once(self.db, deed).await {
            Answer::Recorded(_) | Answer::Repeated { .. } => Ok(true),
            Answer::Unmet(Condition::Fence { .. }) => Err(NightError::TakenOver(site.number)),
            Answer::OtherBody | Answer::Unmet(_) => Ok(false),
            Answer::Full { .. } => Err(NightError::NotTaken(
                "the business day has no entry numbers left".to_owned(),
            )),
            Answer::Broken(why) => Err(NightError::NotTaken(why)),
            Answer::Unavailable => Err(NightError::NotTaken(
                "it cannot be reached; run it again".to_owned(),
            )),
        }
    }

    /// Gives the lease back, so that nobody has to wait for its end. Where that fails
    /// it ends by itself.
    pub(crate) async fn end(self) {
        if let Some(lease) = self.lease
            && let Err(error) = lease::keep_until(self.db, &lease, 0).await
        {
            tracing::warn!(%error, site = lease.site, "the lease of the night ends by itself");
        }
    }
}
