//! The deeds: who may do them, what they need to know, and how they are booked.
//!
//! Each deed gathers what it needs, has the rules decide, and records once
//! through the scribe. A deed that was decided on something that has changed
//! meanwhile is decided again, three times at most. Every face (gRPC and
//! pages) calls these and nothing deeper, so that who may do what is
//! decided here once.

pub mod access;
mod audit;
mod caller;
mod clock;
mod closed_days;
mod codes;
mod dispute;
mod error;
mod follow;
mod keys;
mod kitchen;
mod landings;
mod live_scale;
mod moved;
mod office;
mod outlet;
mod price_check;
mod receiving;
mod repeat;
mod reports;
mod scale_line;
pub mod secret;
mod settlement;
mod signed_in;
mod small_fish;
mod stock;
mod usual;
mod weigh_in;
mod yield_answer;

use std::future::Future;
use std::sync::{Arc, PoisonError, RwLock};

use books::doc::{self, Doc};
use books::register::{self, Office};
use books::{Answer, BooksError, Condition, Db, Deed, Scribe, Tx, entries};
use rules::ids::EntryId;
use sha2::{Digest, Sha256};
use tokio::sync::Mutex;

pub use caller::{Caller, Role};
pub use clock::Clock;
pub use closed_days::DayFound;
pub use dispute::{DisputeFound, PayFollowed};
pub use error::DeskError;
pub use follow::{CatchUpWord, DeviceWord};
pub use keys::KeyFound;
pub use kitchen::{Delivery, FilletOnHand, KitchenCost};
pub use landings::{LandingDay, LandingDays};
pub use live_scale::{REMEMBERED, SHOWN};
pub use office::IN_A_MINUTE;
pub use outlet::{DispatchNote, DispatchedLot, PlanFound, ProposalAsked};
pub use price_check::{ListChecked, Repriced};
pub use receiving::{HoldNote, LogRow, Probed, ReceivingLog};
pub use repeat::told_if_repeated;
pub use reports::{
    AcknowledgeAsked, CloseFound, Ended, FlagFound, FlagRange, Statement, StatementRow,
    TicketFound, TicketRange, YieldRange, YieldsFound,
};
pub use scale_line::{BadExpression, LineRead, ScaleLine};
pub use settlement::{CashFound, DrawerCount, DrawerDay};
pub use signed_in::{LINK_LASTS_US, SESSION_LASTS_US};
pub use small_fish::{SmallFishAsked, SmallFishFound};
pub use stock::{LotEvent, LotFound, LotPart};
pub use yield_answer::YieldAnswerFound;

/// A recorded deed: what was asked, what came of it, and what the book gave it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Booked<A, O> {
    /// The entry.
    pub entry: EntryId,
    /// When the book took it, microseconds since 1970 UTC.
    pub recorded_us: i64,
    /// Business day on whose statement its pay stands, `YYYYMMDD`: the entry's
    /// own unless it was entered late.
    pub pay_day: i64,
    /// As asked.
    pub asked: A,
    /// What came of it.
    pub outcome: O,
}

/// What a deed comes to, before the book has taken it.
pub(crate) struct Plan<A, O> {
    /// Site whose book it goes into, 0 for what all sites share.
    pub(crate) site: i64,
    /// Business day it speaks of.
    pub(crate) day: i64,
    /// Party it is about, or empty.
    pub(crate) party: String,
    /// When it happened.
    pub(crate) happened_us: i64,
    /// What must still hold when it is written.
    pub(crate) must_hold: Vec<Condition>,
    /// Sites whose epoch it raises.
    pub(crate) bumps: Vec<i64>,
    /// As asked, with what had to be looked up.
    pub(crate) asked: A,
    /// What came of it.
    pub(crate) outcome: O,
    /// Rows beside the entry.
    pub(crate) rows: Vec<books::Row>,
}

/// The desk of one book.
#[derive(Clone)]
pub struct Desk {
    db: Db,
    scribe: Scribe,
    clock: Clock,
    /// A copy of what is on file, never the book: the scribe checks its epoch.
    office: Arc<RwLock<Arc<Office>>>,
    /// Held from reading what is on file until the copy is replaced, so that a slow
    /// reader never puts an older copy over a newer one.
    replacing: Arc<Mutex<()>>,
    recent: usual::Recent,
    refusals: audit::Refusals,
    live: live_scale::Heard,
}

/// Times a deed is decided before its caller is told to try again.
const TRIES: u32 = 4;

impl Desk {
    /// Opens the desk of a book.
    ///
    /// # Errors
    /// Engine trouble, or a document on file that does not read.
    pub async fn open(db: Db, scribe: Scribe, clock: Clock) -> Result<Desk, DeskError> {
        let mut tx = db.read().await?;
        let office = register::load(&mut tx).await?;
        Ok(Desk {
            db,
            scribe,
            clock,
            office: Arc::new(RwLock::new(Arc::new(office))),
            replacing: Arc::default(),
            recent: usual::Recent::default(),
            refusals: audit::Refusals::default(),
            live: live_scale::Heard::default(),
        })
    }

    /// What is on file, as last read.
    #[must_use]
    pub fn office(&self) -> Arc<Office> {
        Arc::clone(&self.office.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// The book's clock.
    #[must_use]
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Now, by the book's clock, microseconds since 1970 UTC.
    ///
    /// # Errors
    /// Engine trouble, for a book with a simulated clock.
    pub async fn now_us(&self) -> Result<i64, DeskError> {
        self.clock.now_us(&self.db).await
    }

    async fn read(&self) -> Result<Tx, DeskError> {
        Ok(self.db.read().await?)
    }

    /// Whether another instance has put something on file since it was read here.
    async fn office_is_behind(&self) -> Result<bool, DeskError> {
        let mut tx = self.read().await?;
        Ok(register::epochs(&mut tx).await? != self.office().epochs)
    }

    async fn reload_office(&self) -> Result<(), DeskError> {
        let _one_at_a_time = self.replacing.lock().await;
        let mut tx = self.read().await?;
        let fresh = Arc::new(register::load(&mut tx).await?);
        *self.office.write().unwrap_or_else(PoisonError::into_inner) = fresh;
        Ok(())
    }

    /// Takes in what a deed of this desk put on file, without reading all of it again.
    async fn add_to_office(&self, entry: i64, bumps: &[i64]) -> Result<(), DeskError> {
        let _one_at_a_time = self.replacing.lock().await;
        let known = self.office();
        let mut tx = self.read().await?;
        let fresh = register::load_one_more(&mut tx, &known, entry, bumps).await?;
        *self.office.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(fresh);
        Ok(())
    }

    /// Decides and records one deed.
    ///
    /// `plan` gathers and decides; it is called again when what it relied on
    /// changed before the write, or when it refused by an office that another
    /// instance has added to. A refusal is only given after making sure that the
    /// request was not already booked: a repeat gets its first answer even where
    /// the same deed could not be done again.
    pub(crate) async fn deed<A, O, F>(
        &self,
        caller: &Caller,
        kind: &'static str,
        request_id: &str,
        asked: A,
        plan: impl Fn(A) -> F + Send,
    ) -> Result<Booked<A, O>, DeskError>
    where
        A: Doc + Clone + Send,
        O: Doc + Send,
        F: Future<Output = Result<Plan<A, O>, DeskError>> + Send,
    {
        caller.may(kind)?;
        self.allowed_deed(caller, kind, request_id, asked, plan)
            .await
    }

    /// The same of a deed that its caller was found to be allowed by another act than
    /// its kind: a browser is a device, and not only the office may have one.
    pub(crate) async fn allowed_deed<A, O, F>(
        &self,
        caller: &Caller,
        kind: &'static str,
        request_id: &str,
        asked: A,
        plan: impl Fn(A) -> F + Send,
    ) -> Result<Booked<A, O>, DeskError>
    where
        A: Doc + Clone + Send,
        O: Doc + Send,
        F: Future<Output = Result<Plan<A, O>, DeskError>> + Send,
    {
        let print = fingerprint(caller, kind, &asked);
        for _ in 0..TRIES {
            let planned = match plan(asked.clone()).await {
                Ok(planned) => planned,
                Err(_) if self.office_is_behind().await? => {
                    self.reload_office().await?;
                    continue;
                }
                Err(refusal) => return self.first_answer(request_id, &print, refusal).await,
            };
            self.at_site(caller, planned.site)?;
            let recorded_us = self.now_us().await?;
            let today = self.day_at(planned.site, recorded_us);
            let pay_day = (today > planned.day).then_some(today);
            let bumps = planned.bumps.clone();
            let deed = Deed {
                site: planned.site,
                day: planned.day,
                pay_day,
                request_id: request_id.to_owned(),
                print,
                kind,
                party: planned.party,
                actor: caller.name(),
                happened_us: planned.happened_us,
                recorded_us,
                must_hold: planned.must_hold,
                bumps: planned.bumps,
                doc: doc::entry_doc(&planned.asked, &planned.outcome),
                rows: planned.rows,
            };
            match self.scribe.record(deed).await {
                Answer::Recorded(stamp) => {
                    if !bumps.is_empty() {
                        self.add_to_office(stamp.entry, &bumps).await?;
                    }
                    return Ok(Booked {
                        entry: EntryId::new(stamp.entry).ok_or(DeskError::Internal)?,
                        recorded_us: stamp.recorded_us,
                        pay_day: pay_day.unwrap_or(planned.day),
                        asked: planned.asked,
                        outcome: planned.outcome,
                    });
                }
                Answer::Repeated { entry } => {
                    repeat::note();
                    return self.booked(entry).await;
                }
                Answer::OtherBody => return Err(DeskError::OtherBody),
                Answer::Unmet(Condition::Epoch { .. }) => self.reload_office().await?,
                Answer::Unmet(Condition::LotSeen { .. } | Condition::Stands { .. }) => {}
                // Somebody settled or voided meanwhile: what is left is another sum.
                Answer::Unmet(Condition::Spend { how: "settle", .. }) => {}
                Answer::Unmet(condition) => return Err(DeskError::unmet(&condition)),
                Answer::Full { left } => return Err(DeskError::full(left)),
                Answer::Broken(why) => {
                    tracing::error!(kind, why, "the book did not take a deed");
                    return Err(DeskError::Internal);
                }
                Answer::Unavailable => return Err(DeskError::Unavailable),
            }
        }
        Err(DeskError::Unavailable)
    }

    /// The first answer to a request that may already be booked, else the
    /// refusal.
    async fn first_answer<A: Doc, O: Doc>(
        &self,
        request_id: &str,
        print: &[u8; 32],
        refusal: DeskError,
    ) -> Result<Booked<A, O>, DeskError> {
        let mut tx = self.read().await?;
        let known = entries::by_request(&mut tx, request_id).await?;
        drop(tx);
        match known {
            Some((first, entry)) if first == print => {
                repeat::note();
                self.booked(entry).await
            }
            Some(_) => Err(DeskError::OtherBody),
            None => Err(refusal),
        }
    }

    /// A deed as it was recorded.
    pub(crate) async fn booked<A: Doc, O: Doc>(&self, id: i64) -> Result<Booked<A, O>, DeskError> {
        let mut tx = self.read().await?;
        let entry = entries::get(&mut tx, id)
            .await?
            .ok_or(DeskError::Internal)?;
        let (asked, outcome) = entry.read()?;
        Ok(Booked {
            entry: entry.id,
            recorded_us: entry.recorded_us,
            pay_day: entry.pay_day(),
            asked,
            outcome,
        })
    }

    /// The business day of an instant at a site; the UTC day where there is no
    /// site.
    fn day_at(&self, site: i64, at_us: i64) -> i64 {
        match self.office().sites.get(&site) {
            Some(site) => site.clock.day_of(at_us),
            None => rules::business_day::utc_day(at_us),
        }
    }
}

impl Desk {
    /// First instant after a site's business day.
    fn day_end(&self, site: i64, day: i64) -> i64 {
        let office = self.office();
        let site = office.sites.get(&site);
        site.map_or(i64::MAX, |site| site.clock.end_us(day))
    }
}

/// SHA-256 over the caller's party, the deed and the parsed request, but for when it
/// was sent: a repeat is the same request sent later.
fn fingerprint(caller: &Caller, kind: &str, asked: &impl Doc) -> [u8; 32] {
    let mut asked = asked.to_doc();
    if let Some(sent) = asked.get_mut("sent_us") {
        *sent = serde_json::Value::Null;
    }
    let mut hash = Sha256::new();
    for piece in [caller.party.as_str(), kind, &doc::canonical(&asked)] {
        hash.update(piece.as_bytes());
        hash.update([0]);
    }
    hash.finalize().into()
}

impl From<BooksError> for DeskError {
    fn from(error: BooksError) -> DeskError {
        tracing::error!(%error, "the book could not be read");
        error::from_books(&error)
    }
}

impl From<books::EngineError> for DeskError {
    fn from(error: books::EngineError) -> DeskError {
        DeskError::from(BooksError::from(error))
    }
}
