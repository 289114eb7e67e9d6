//! Tickets: the rows a weigh-in writes, and whether one was written.

use std::collections::BTreeSet;

use rules::fish::{Condition, Presentation, Storage};
use rules::ids::PartId;
use rules::money::Money;
use rules::ticket::price::CountedFish;
use rules::ticket::split::split;
use rules::ticket::{Ticket, WeighIn, counted_fish};

use crate::db::{Tx, Val};
use crate::pay::{self, Account, Has};
use crate::table::{Cell, LINE, LOT, PART, Row};
use crate::{BooksError, corrupt, doc, stock};

/// What the book already has of a ticket's lots: those a rewrite takes over.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// Places of lots that have a row.
    pub lots: BTreeSet<i64>,
    /// Parts that have a row.
    pub parts: BTreeSet<(i64, i64)>,
    /// Pay of the ticket that is rewritten as it stands now, minor units: owed, with
    /// what was released, and held.
    pub owed_and_held: Option<(i64, i64)>,
    /// What each payee has of it: with what holds and thrown out fish changed since.
    pub shares: Vec<Has>,
}

/// The rows of a ticket beside its entry.
#[must_use]
pub fn rows(asked: &WeighIn, ticket: &Ticket, known: &Known) -> Vec<Row> {
    let number = || ticket.number.map_or(Cell::Own, Cell::Int);
    let mut rows = Vec::with_capacity(ticket.lines.len() * 3 + 2);
    for (lot, written) in ticket.lots.iter().zip(&asked.lots) {
        let Some(place) = lot.place else { continue };
        if !known.lots.contains(&place) {
            let harvested_us = stock::harvested_us(written, ticket);
            rows.push(Row::new(
                &LOT,
                [
                    number(),
                    place.into(),
                    Cell::Own,
                    asked.site.into(),
                    written.species.as_str().into(),
                    written.presentation.number().into(),
                    written.storage.map_or(0, Storage::number).into(),
                    asked.harvester.as_str().into(),
                    0.into(),
                    harvested_us.into(),
                ],
            ));
        }
    }
    let places = |lot: i64| {
        ticket
            .lots
            .iter()
            .find(|l| l.n == lot)
            .and_then(|l| l.place)
    };
    for (n, line) in (1_i64..).zip(&ticket.lines) {
        // A line is only ever of a lot that was bought, which has a place.
        let Some(place) = places(line.lot) else {
            continue;
        };
        if !known.parts.contains(&(place, line.part)) {
            rows.push(Row::new(
                &PART,
                [
                    number(),
                    place.into(),
                    line.part.into(),
                    line.band.into(),
                    line.grade.as_str().into(),
                    line.condition.map_or(0, Condition::number).into(),
                    i64::from(line.held).into(),
                    line.undersize.number().into(),
                    Cell::Own,
                ],
            ));
        }
        rows.push(Row::new(
            &LINE,
            [
                Cell::Own,
                n.into(),
                number(),
                place.into(),
                line.part.into(),
                line.net.units().into(),
                line.ice.units().into(),
                line.amount.minor().into(),
                ticket.pay_of(n).minor().into(),
            ],
        ));
    }
    rows.extend(pay_rows(asked, ticket, known));
    rows
}

/// The rows that take the pay of a ticket back from all who have any.
#[must_use]
pub fn taken_back(number: i64, shares: &[Has]) -> Vec<Row> {
    let back = shares.iter().flat_map(back);
    pay::ticket_rows(back.map(|posting| (Cell::Int(number), posting)))
}

fn back(has: &Has) -> [pay::Posting<'_>; 2] {
    let purchases = Account::site("purchases");
    [
        (Account::of("owed", &has.party), purchases, has.owed),
        (Account::of("held", &has.party), purchases, has.held),
    ]
}

/// The postings of a ticket's pay: what each payee of the rewritten ticket has goes
/// back, and each payee of this one gets their part of it. What became of the fish
/// since, holds and fish thrown out, stays as it is.
fn pay_rows(asked: &WeighIn, ticket: &Ticket, known: &Known) -> Vec<Row> {
    let currency = ticket.payout.currency();
    let money = |minor| Money::new(minor, currency);
    let (old_owed, old_held) = known.owed_and_held.unwrap_or((0, 0));
    let released: i64 = ticket.released.iter().map(|line| line.pay.minor()).sum();
    let since_owed = known.shares.iter().map(|has| has.owed).sum::<i64>() - old_owed;
    let since_held = known.shares.iter().map(|has| has.held).sum::<i64>() - old_held;
    let owed = money(ticket.owed.minor() + released + since_owed);
    let held = money(ticket.held.minor() - released + since_held);
    let shares = split(&asked.harvester, &asked.payees, owed, held);

    let purchases = Account::site("purchases");
    let back = known.shares.iter().flat_map(back);
    let paid = shares.iter().flat_map(|share| {
        let owed = share.owed.minor();
        let held = share.held.minor();
        [
            (purchases, Account::of("owed", &share.party), owed),
            (purchases, Account::of("held", &share.party), held),
        ]
    });
    let number = || ticket.number.map_or(Cell::Own, Cell::Int);
    pay::ticket_rows(back.chain(paid).map(|posting| (number(), posting)))
}

/// The row of a part that a hold, regrade, return or making opens.
#[must_use]
pub fn part_row(part: &stock::Part) -> Row {
    let PartId { lot, n } = part.id;
    Row::new(
        &PART,
        [
            lot.number().into(),
            lot.place().into(),
            n.into(),
            part.key.band.into(),
            part.key.grade.as_str().into(),
            part.key.condition.map_or(0, Condition::number).into(),
            i64::from(part.key.held).into(),
            part.undersize.number().into(),
            Cell::Own,
        ],
    )
}

/// Whether the site ever took in this species.
///
/// # Errors
/// Engine trouble.
pub async fn any_of_species(tx: &mut Tx, site: i64, species: &str) -> Result<bool, BooksError> {
    let sql = "SELECT number FROM lot WHERE site = ? AND species = ? LIMIT 1";
    Ok(!tx
        .fetch(sql, &[Val::Int(site), Val::from(species)])
        .await?
        .is_empty())
}

/// The counted fish of the last `most` lots of a species and presentation that a
/// site bought, each with the ticket that stands for it, oldest first.
///
/// # Errors
/// Engine trouble, or a document that does not read.
pub async fn last_counted(
    tx: &mut Tx,
    site: i64,
    species: &str,
    presentation: Presentation,
    most: usize,
) -> Result<Vec<(i64, CountedFish)>, BooksError> {
    // Twice as many, because some lots were not counted.
    let limit = i64::try_from(most).unwrap_or(i64::MAX).saturating_mul(2);
    let sql = "SELECT t.id, t.doc, l.place FROM \
               (SELECT DISTINCT n.ticket, n.place FROM line n \
                JOIN lot o ON o.number = n.number AND o.place = n.place \
                WHERE o.site = ? AND o.species = ? AND o.presentation = ? \
                AND NOT EXISTS (SELECT 1 FROM spent s WHERE s.what = n.ticket AND s.item = 0) \
                ORDER BY n.ticket DESC, n.place DESC LIMIT ?) l \
               JOIN entry t ON t.id = l.ticket ORDER BY t.id DESC, l.place DESC";
    let binds = [
        Val::Int(site),
        Val::from(species),
        Val::Int(presentation.number()),
        Val::Int(limit),
    ];
    let mut last = Vec::with_capacity(most);
    for row in tx.fetch(sql, &binds).await? {
        let (id, place) = (row.int(0), row.int(2));
        let (asked, ticket): (WeighIn, Ticket) =
            doc::read_entry_doc(row.text(1)).map_err(|e| corrupt("entry", "doc", id, e))?;
        let lots = ticket.lots.iter().zip(&asked.lots);
        let of_place = lots.filter(|(lot, _)| lot.place == Some(place));
        for (lot, written) in of_place {
            last.extend(counted_fish(written, lot).map(|fish| (id, fish)));
        }
        if last.len() >= most {
            break;
        }
    }
    last.truncate(most);
    last.reverse();
    Ok(last)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
pub(crate) mod tests;
