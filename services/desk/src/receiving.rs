//! Receiving after the ticket: warm fish probed again, and the log of a day.

use books::stock::Lot;
use books::{Condition, Tx, entries, entry_id, stock};
use rules::business_day::next_day;
use rules::ids::{EntryId, LotCode};
use rules::office::Species;
use rules::receiving::{ReprobeAsked, Reprobed, reprobe};
use rules::stock::{HoldAsked, ReleaseAsked, StockEvent};
use rules::ticket::caution::cautions;
use rules::ticket::{Landing, LotIn, NotBought, Notice, Ticket, TicketLot, WeighIn};

use crate::reports::{Ended, TicketRange};
use crate::{Booked, Caller, Desk, DeskError, Plan};

/// Most tickets of a day's log.
const MOST_TICKETS: i64 = 100_000;
/// A lot may be probed again so many days after it came in.
const PROBED_WITHIN_DAYS: usize = 31;

/// What a site's day took in and turned away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReceivingLog {
    /// Name and location of the site.
    pub place: String,
    /// In order of the tickets, then of their lots.
    pub rows: Vec<LogRow>,
    /// Once for the whole log.
    pub cautions: Vec<Notice>,
}

/// One lot as it came in, and what was done about it since.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogRow {
    /// The ticket.
    pub ticket: EntryId,
    /// When it was weighed in, microseconds since 1970 UTC.
    pub received_us: i64,
    /// When the book took it.
    pub recorded_us: i64,
    /// Who wrote it.
    pub actor: String,
    /// What ended the ticket, if anything did.
    pub ended: Option<Ended>,
    /// Harvester of record.
    pub harvester: String,
    /// What people call them.
    pub harvester_name: String,
    /// Where and how it was caught.
    pub landing: Landing,
    /// As written.
    pub written: LotIn,
    /// What came of it.
    pub lot: TicketLot,
    /// Its code; none where none of it was bought.
    pub code: Option<LotCode>,
    /// Of it, what was refused or taken home.
    pub not_bought: Vec<NotBought>,
    /// In the order of entering.
    pub reprobes: Vec<Probed>,
    /// Holds after the ticket, and releases.
    pub holds: Vec<HoldNote>,
}

/// A lot probed again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Probed {
    /// The entry.
    pub entry: EntryId,
    /// When, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Who wrote it.
    pub actor: String,
    /// As read.
    pub asked: ReprobeAsked,
    /// What came of it.
    pub outcome: Reprobed,
}

/// A hold, or the release of one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HoldNote {
    /// The entry.
    pub entry: i64,
    /// When, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Released, else held.
    pub released: bool,
    /// Why.
    pub reason: String,
    /// Who wrote it.
    pub actor: String,
}

impl Desk {
    /// Probes a lot again.
    ///
    /// # Errors
    /// An unknown lot, one of a voided ticket, or an instant before it came in.
    pub async fn reprobe(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: ReprobeAsked,
    ) -> Result<Booked<ReprobeAsked, Reprobed>, DeskError> {
        self.at_lot(caller, asked.lot)?;
        self.deed(caller, "reprobe", request_id, asked, |asked| async move {
            let mut tx = self.read().await?;
            let lot = stock::lot(&mut tx, asked.lot).await?;
            let lot =
                lot.ok_or_else(|| DeskError::unknown("lot_code", "lot", &asked.lot.to_string()))?;
            let due_us = due_us(&mut tx, &lot).await?;
            drop(tx);
            if lot.voided {
                return Err(DeskError::precondition(
                    "TICKET_VOIDED",
                    format!("the ticket of lot {} was voided", lot.code),
                ));
            }
            let (happened_us, settings) = self.when(lot.site, asked.happened_us).await?;
            let came = lot.events.iter();
            let came = came.filter(|event| matches!(event.event, StockEvent::In(_)));
            if came.map(|event| event.happened_us).min() > Some(happened_us) {
                return Err(DeskError::Malformed {
                    field: "happened_at".to_owned(),
                    reason: "BEFORE_IT_CAME_IN",
                    rule: format!("lies before lot {} came in", lot.code),
                });
            }
            let outcome = reprobe(&asked, &settings.receiving)
                .ok_or_else(|| DeskError::malformed("probes", "at least one must be given"))?;
            let stands = Condition::Stands { ticket: lot.ticket };
            // It speaks of the day on which it was due: that night is told of it,
            // also where it comes late.
            let today = self.day_at(lot.site, self.now_us().await?);
            let due_on = due_us.map_or(0, |due_us| self.day_at(lot.site, due_us));
            let day = self.day_at(lot.site, happened_us).max(due_on.min(today));
            Ok(Plan {
                site: lot.site,
                day,
                party: lot.supplier,
                happened_us,
                must_hold: (lot.ticket != 0).then_some(stands).into_iter().collect(),
                bumps: Vec::new(),
                asked,
                outcome,
                rows: Vec::new(),
            })
        })
        .await
    }

    /// The receiving log of a site's day, refused fish and ended tickets with it.
    ///
    /// # Errors
    /// An unknown site, or the book cannot be reached.
    pub async fn receiving_log(
        &self,
        caller: &Caller,
        site: i64,
        day: i64,
    ) -> Result<ReceivingLog, DeskError> {
        caller.may("receiving_log")?;
        self.at_site(caller, site)?;
        self.known_site("site", site).await?;
        let office = self.office();
        let on_file = office.sites.get(&site).ok_or(DeskError::Internal)?;
        let range = TicketRange {
            site,
            from: day,
            to: next_day(day).unwrap_or(day),
            harvester: String::new(),
            after: 0,
            limit: MOST_TICKETS,
        };
        let tickets = self.tickets(caller, range).await?;
        let mut tx = self.read().await?;
        let probed = probed_since(&mut tx, site, day).await?;
        let mut rows = Vec::new();
        let (mut handled, mut bought): (Vec<&Species>, Vec<&Species>) = (Vec::new(), Vec::new());
        for ticket in tickets {
            let booked = ticket.booked;
            let entry = entries::get(&mut tx, booked.entry.number()).await?;
            let actor = entry.map(|entry| entry.actor).unwrap_or_default();
            let number = booked.outcome.number.unwrap_or(booked.entry.number());
            for (written, lot) in booked.asked.lots.iter().zip(&booked.outcome.lots) {
                let code = lot.place.and_then(|place| LotCode::new(number, place));
                if let Some(species) = office.species.get(&written.species) {
                    handled.push(species);
                    bought.extend(code.map(|_| species));
                }
                let holds = match code {
                    Some(code) => holds_of(&mut tx, code).await?,
                    None => Vec::new(),
                };
                let party = office.parties.get(&booked.asked.harvester);
                rows.push(LogRow {
                    ticket: booked.entry,
                    received_us: booked.outcome.priced_us,
                    recorded_us: booked.recorded_us,
                    actor: actor.clone(),
                    ended: ticket.ended.clone(),
                    harvester: booked.asked.harvester.clone(),
                    harvester_name: party.map(|party| party.name.clone()).unwrap_or_default(),
                    landing: booked.asked.landing.clone(),
                    written: written.clone(),
                    lot: lot.clone(),
                    code,
                    not_bought: booked
                        .outcome
                        .not_bought
                        .iter()
                        .filter(|row| row.lot == lot.n)
                        .cloned()
                        .collect(),
                    reprobes: probed
                        .iter()
                        .filter(|probed| Some(probed.asked.lot) == code)
                        .cloned()
                        .collect(),
                    holds,
                });
            }
        }
        let place = [on_file.name.as_str(), &on_file.location_description];
        let place = place.iter().filter(|text| !text.is_empty());
        Ok(ReceivingLog {
            place: place.copied().collect::<Vec<_>>().join(", "),
            rows,
            cautions: cautions(&handled, &bought, false),
        })
    }
}

/// By when a lot is to be shown cold, as the ticket says that stands.
async fn due_us(tx: &mut Tx, lot: &Lot) -> Result<Option<i64>, DeskError> {
    let Some(entry) = entries::get(tx, lot.ticket).await? else {
        return Ok(None);
    };
    let (_, ticket): (WeighIn, Ticket) = entry.read()?;
    let mut lots = ticket.lots.iter();
    let of_ticket = lots.find(|of| of.place == Some(lot.code.place()));
    Ok(of_ticket.and_then(|of| of.received.reprobe_due_us))
}

/// Lots of a site probed again from a day on.
async fn probed_since(tx: &mut Tx, site: i64, day: i64) -> Result<Vec<Probed>, DeskError> {
    let mut probed = Vec::new();
    let days = std::iter::successors(Some(day), |day| next_day(*day));
    for day in days.take(PROBED_WITHIN_DAYS) {
        let (first, last) = (entry_id(day, site, 0), entry_id(day, site, 9_999_999));
        for entry in entries::of_kind(tx, "reprobe", "", first, last, i64::MAX).await? {
            let (asked, outcome): (ReprobeAsked, Reprobed) = entry.read()?;
            probed.push(Probed {
                entry: entry.id,
                happened_us: entry.happened_us,
                actor: entry.actor,
                asked,
                outcome,
            });
        }
    }
    Ok(probed)
}

/// Holds of a lot after it came in, and releases, in order.
async fn holds_of(tx: &mut Tx, code: LotCode) -> Result<Vec<HoldNote>, DeskError> {
    let Some(lot) = stock::lot(tx, code).await? else {
        return Ok(Vec::new());
    };
    let mut holds = Vec::new();
    for event in &lot.events {
        let released = match (event.what, event.event) {
            (stock::What::Hold, StockEvent::In(_)) => false,
            (stock::What::Release, StockEvent::In(_)) => true,
            _ => continue,
        };
        let entry = entries::get(tx, event.entry).await?;
        let entry = entry.ok_or(DeskError::Internal)?;
        let reason = if released {
            let (asked, _): (ReleaseAsked, rules::stock::Released) = entry.read()?;
            asked.reason
        } else {
            let (asked, _): (HoldAsked, rules::stock::Held) = entry.read()?;
            asked.reason
        };
        holds.push(HoldNote {
            entry: event.entry,
            happened_us: event.happened_us,
            released,
            reason,
            actor: entry.actor,
        });
    }
    Ok(holds)
}
