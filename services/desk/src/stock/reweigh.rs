//! Weighing again. Nothing moves, so it is booked on the day it is entered: a day
//! that is closed keeps its bytes.

use books::Row;
use books::table::{Cell, REWEIGH};
use rules::ids::LotCode;
use rules::reweigh::{ReweighAsked, ReweighDone, Reweighed, TicketWeighing, compare};
use rules::ticket::Ticket;
use rules::weight::Weight;

use crate::weigh_in::standing;
use crate::{Booked, Caller, Desk, DeskError, Plan};

impl Desk {
    /// Records what a part, or a weighing of a ticket, weighs when it is weighed
    /// again.
    ///
    /// # Errors
    /// An unknown site, scale, part, ticket or weighing, or a ticket that was
    /// ended.
    pub async fn reweigh(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: ReweighAsked,
    ) -> Result<Booked<ReweighAsked, ReweighDone>, DeskError> {
        let (ticket, lot) = match &asked.what {
            Reweighed::Part(part) => (None, Some(part.lot)),
            Reweighed::Weighing(weighing) => (Some(weighing.ticket), None),
        };
        self.at_all(caller, asked.site, ticket, lot)?;
        self.deed(caller, "reweigh", request_id, asked, |asked| async move {
            let (happened_us, settings) = self.when(asked.site, asked.happened_us).await?;
            let office = self.office();
            let code = &asked.reading.scale;
            let scale = office.scales.get(&(asked.site, code.clone()));
            if scale.is_none() && !code.is_empty() {
                return Err(DeskError::unknown("reading.scale", "scale", code));
            }
            let compared = |lot, part, booked| compare(lot, part, &asked.reading, booked, scale);
            let (outcome, party, mut must_hold) = match &asked.what {
                Reweighed::Part(part) => {
                    let named = self.named("part", *part).await?;
                    of_site(named.site(), asked.site, "part.lot_code")?;
                    if named.is_before(happened_us) {
                        return Err(DeskError::malformed(
                            "happened_at",
                            "lies before the lot came in",
                        ));
                    }
                    let booked = named.left(&settings);
                    let done = compared(named.lot.code, named.part.id.n, booked);
                    (done, named.lot.supplier.clone(), named.must_hold())
                }
                Reweighed::Weighing(weighing) => {
                    let mut tx = self.read().await?;
                    let (asked_then, ticket) =
                        standing(&mut tx, "weighing.ticket", weighing.ticket).await?;
                    of_site(asked_then.site, asked.site, "weighing.ticket")?;
                    let (lot, booked) = find(weighing, &ticket)?;
                    let stands = books::Condition::Stands {
                        ticket: weighing.ticket,
                    };
                    let party = asked_then.harvester.clone();
                    (compared(lot, 0, booked), party, vec![stands])
                }
            };
            must_hold.push(books::Condition::Epoch {
                site: asked.site,
                seen: office.epoch(asked.site),
            });
            let now_us = self.now_us().await?;
            let row = Row::new(
                &REWEIGH,
                [
                    Cell::Own,
                    outcome.lot.number().into(),
                    outcome.lot.place().into(),
                    outcome.part.into(),
                    asked.reading.weight.units().into(),
                    outcome.booked.units().into(),
                    asked.note.as_str().into(),
                ],
            );
            Ok(Plan {
                site: asked.site,
                day: self.day_at(asked.site, now_us),
                party,
                happened_us,
                must_hold,
                bumps: Vec::new(),
                asked,
                outcome,
                rows: vec![row],
            })
        })
        .await
    }
}

fn of_site(found: i64, asked: i64, field: &str) -> Result<(), DeskError> {
    if found == asked {
        return Ok(());
    }
    Err(DeskError::malformed(
        field,
        format!("is of site {found}, and site {asked} is asked for"),
    ))
}

/// The lot of a weighing and what the ticket says it weighed.
fn find(at: &TicketWeighing, ticket: &Ticket) -> Result<(LotCode, Weight), DeskError> {
    let lot = ticket.lots.iter().find(|lot| lot.n == at.lot);
    let lot = lot.ok_or_else(|| {
        DeskError::unknown("weighing.lot", "lot of the ticket", &at.lot.to_string())
    })?;
    let number = ticket.number.unwrap_or(at.ticket);
    let code = lot.place.and_then(|place| LotCode::new(number, place));
    let code = code.ok_or_else(|| {
        DeskError::malformed(
            "weighing.lot",
            "nothing of this lot was bought: it has no code",
        )
    })?;
    let nth = usize::try_from(at.weighing.saturating_sub(1)).ok();
    let net = nth.and_then(|n| lot.weighed.get(n)).ok_or_else(|| {
        DeskError::unknown(
            "weighing.weighing",
            "weighing of the lot",
            &at.weighing.to_string(),
        )
    })?;
    Ok((code, net.net))
}
