//! What was landed in a period, for reports: tickets that stand, day by day, and
//! tallies.

use books::entries::{self, Entry};
use books::{Tx, entry_id};
use rules::business_day::next_day;
use rules::ids::DayNumber;
use rules::making::{Making, MakingAsked};
use rules::tally::{self, Tally};
use rules::ticket::{Ticket, WeighIn};

use crate::{Booked, Caller, Desk, DeskError};

/// Tickets and makings after which a run of days is broken off.
const MOST_ENTRIES: usize = 500;

/// What was landed on a business day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LandingDay {
    /// The day.
    pub day: DayNumber,
    /// Tickets that stand, oldest first.
    pub tickets: Vec<Booked<WeighIn, Ticket>>,
    /// Makings, oldest first, where they were asked for.
    pub makings: Vec<Booked<MakingAsked, Making>>,
}

/// A run of days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LandingDays {
    /// Days that have begun, in order.
    pub days: Vec<LandingDay>,
    /// The day to go on from, where it was broken off.
    pub next: Option<DayNumber>,
    /// The day that is not over, where it is among them.
    pub not_over: Option<DayNumber>,
}

impl Desk {
    /// What was landed on the business days `[from, to)`, as far as they have
    /// begun. After a few hundred entries the run is broken off between days.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn landings(
        &self,
        caller: &Caller,
        site: i64,
        from: DayNumber,
        to: DayNumber,
        with_makings: bool,
    ) -> Result<LandingDays, DeskError> {
        caller.may("landings")?;
        self.at_site(caller, site)?;
        let now_us = self.known_site("site", site).await?;
        let today = self.day_at(site, now_us);
        let mut tx = self.read().await?;
        let mut run = LandingDays {
            days: Vec::new(),
            next: None,
            not_over: None,
        };
        let (mut next, mut entries) = (Some(from), 0);
        while let Some(day) = next.filter(|day| *day < to && *day <= today) {
            if entries >= MOST_ENTRIES {
                run.next = Some(day);
                break;
            }
            let mut tickets = Vec::new();
            for entry in of_day(&mut tx, "weigh_in", site, day).await? {
                if entries::ended(&mut tx, entry.id.number()).await?.is_none() {
                    tickets.push(booked(&entry)?);
                }
            }
            let mut makings = Vec::new();
            if with_makings {
                for entry in of_day(&mut tx, "making", site, day).await? {
                    makings.push(booked(&entry)?);
                }
            }
            entries += tickets.len() + makings.len();
            run.days.push(LandingDay {
                day,
                tickets,
                makings,
            });
            run.not_over = (day == today).then_some(day).or(run.not_over);
            next = next_day(day);
        }
        Ok(run)
    }
}

async fn of_day(
    tx: &mut Tx,
    kind: &str,
    site: i64,
    day: DayNumber,
) -> Result<Vec<Entry>, DeskError> {
    let first = entry_id(day, site, 0);
    let end = entry_id(day, site, 9_999_999).saturating_add(1);
    Ok(entries::of_kind(tx, kind, "", first, end, i64::MAX).await?)
}

fn booked<A, O>(entry: &Entry) -> Result<Booked<A, O>, DeskError>
where
    A: books::doc::Doc,
    O: books::doc::Doc,
{
    let (asked, outcome) = entry.read()?;
    Ok(Booked {
        entry: entry.id,
        recorded_us: entry.recorded_us,
        pay_day: entry.pay_day(),
        asked,
        outcome,
    })
}

/// Checks a tally that stands in the field.
pub(crate) fn check_tally(field: &str, tally: &Tally) -> Result<(), DeskError> {
    tally::check(tally).map_err(|bad| {
        let of = bad.field();
        let joint = if of.is_empty() { "" } else { "." };
        DeskError::Malformed {
            field: format!("{field}{joint}{of}"),
            reason: "TALLY_CANNOT_STAND",
            rule: bad.to_string(),
        }
    })
}
