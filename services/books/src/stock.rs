//! A lot as the book has it: its parts, and everything that happened to them.
//!
//! Read when a deed names a part. What a part holds here is the last count and
//! what came and went since; drip and what is missing are the night's to post.

use std::collections::{BTreeMap, BTreeSet};

use rules::fish::PartKey;
use rules::fish::{Condition, Grade, Outlet, Presentation, Storage, Undersize};
use rules::ids::{LotCode, PartId};
use rules::stock::{StockEvent, StockStep};
use rules::ticket::{LotIn, Ticket, WeighIn};
use rules::weight::Weight;

use crate::db::{Record, Tx, Val};
use crate::doc::BadDoc;
use crate::{BooksError, corrupt, entries};

/// A lot with all that happened to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lot {
    /// Its code.
    pub code: LotCode,
    /// Entry that made it.
    pub entry: i64,
    /// Site in whose book it is.
    pub site: i64,
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// How it is kept.
    pub storage: Option<Storage>,
    /// Harvester of record; empty when several.
    pub supplier: String,
    /// 0 from a landing, else the number of the kind of making.
    pub making: i64,
    /// Earliest harvest time known.
    pub harvested_us: i64,
    /// Ticket whose lines stand for it now; 0 for a made lot.
    pub ticket: i64,
    /// The ticket was voided.
    pub voided: bool,
    /// In order of their numbers.
    pub parts: Vec<Part>,
    /// In order of what happened.
    pub events: Vec<Event>,
    /// Rows read about it: what the scribe's `LotSeen` compares.
    pub seen: i64,
}

/// What is alike in a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Which.
    pub id: PartId,
    /// What makes it alike.
    pub key: PartKey,
    /// Below the plate minimum.
    pub undersize: Undersize,
}

/// Something that happened to a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// Entry that says so.
    pub entry: i64,
    /// When it happened.
    pub happened_us: i64,
    /// Number of the part.
    pub part: i64,
    /// What, to the weight.
    pub event: StockEvent,
    /// What, in the trade's word.
    pub what: What,
    /// Pay that came to the part with it, or left it: minor units.
    pub pay: i64,
}

/// What happened, in the trade's word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// On a ticket.
    WeighedIn,
    /// To or from a held sibling.
    Hold,
    /// Back from one.
    Release,
    /// To or from another grade or condition.
    Regrade,
    /// Left.
    Went(Outlet),
    /// Came back from a customer.
    CameBack,
    /// Into a making.
    Used,
    /// Out of a making.
    Made,
    /// Weighed at close.
    Counted,
}

impl What {
    /// Whether weight left the lot by it: to an outlet or into a making.
    #[must_use]
    pub const fn is_movement(self) -> bool {
        matches!(self, What::Went(_) | What::Used)
    }

    /// The word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            What::WeighedIn => "weighed in",
            What::Hold => "hold",
            What::Release => "release",
            What::Regrade => "regrade",
            What::Went(outlet) => outlet.word(),
            What::CameBack => "came back",
            What::Used => "used in a making",
            What::Made => "made",
            What::Counted => "counted",
        }
    }
}

/// The pay and the weight it stands for that sit in a part: what was weighed in
/// and held, released or regraded, less what was thrown out unpaid. Sales and cuts
/// do not touch it. Fish a customer brought back bears no pay, and is what is
/// thrown out first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PayLeft {
    /// Minor units.
    pub minor: i64,
    /// Paid weight.
    pub weight: Weight,
    /// Brought back by customers and not thrown out since.
    pub returned: Weight,
}

impl Lot {
    /// A part by its number.
    #[must_use]
    pub fn part(&self, n: i64) -> Option<&Part> {
        self.parts.iter().find(|part| part.id.n == n)
    }

    /// What happened to a part, for [`rules::stock::standing`].
    #[must_use]
    pub fn steps(&self, n: i64) -> Vec<StockStep> {
        self.events
            .iter()
            .filter(|event| event.part == n)
            .map(|e| StockStep {
                happened_us: e.happened_us,
                entry: e.entry,
                event: e.event,
            })
            .collect()
    }

    /// The pay that sits in a part.
    #[must_use]
    pub fn pay_left(&self, n: i64) -> PayLeft {
        let held = self.part(n).is_some_and(|part| part.key.held);
        let mut left = PayLeft::default();
        for event in self.events.iter().filter(|event| event.part == n) {
            let weight = match (event.what, event.event) {
                (
                    What::WeighedIn | What::Hold | What::Release | What::Regrade,
                    StockEvent::In(w),
                ) => w.units(),
                (What::Hold | What::Release | What::Regrade, StockEvent::Out { weight, .. }) => {
                    -weight.units()
                }
                (What::CameBack, StockEvent::In(w)) => {
                    left.returned = [left.returned, w].into_iter().sum();
                    0
                }
                // Also where its share of the pay rounded to nothing.
                (What::Went(Outlet::Discard), StockEvent::Out { weight, .. }) if held => {
                    let unpaid = weight.min(left.returned);
                    left.returned = Weight::from_units(left.returned.units() - unpaid.units());
                    let paid = Weight::from_units(weight.units() - unpaid.units());
                    -paid.min(left.weight.max(Weight::ZERO)).units()
                }
                _ => 0,
            };
            left.minor += event.pay;
            left.weight = Weight::from_units(left.weight.units() + weight);
        }
        left
    }

    /// Pay that releases took out of a part, minor units.
    #[must_use]
    pub fn released(&self, n: i64) -> i64 {
        let events = self.events.iter();
        let out = events.filter(|e| e.part == n && e.what == What::Release && e.pay < 0);
        out.map(|event| -event.pay).sum()
    }

    /// The next free part number.
    #[must_use]
    pub fn next_part(&self) -> i64 {
        self.parts.iter().map(|part| part.id.n).max().unwrap_or(0) + 1
    }
}

/// Reads a lot; `None` where there is none of that code.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn lot(tx: &mut Tx, code: LotCode) -> Result<Option<Lot>, BooksError> {
    let key = [Val::Int(code.number()), Val::Int(code.place())];
    let sql = "SELECT entry, site, species, presentation, storage, supplier, making, harvested_us \
               FROM lot WHERE number = ? AND place = ?";
    let rows = tx.fetch(sql, &key).await?;
    let Some(row) = rows.first() else {
        return Ok(None);
    };
    let bad = |column| corrupt("lot", column, code.number(), BadDoc::here("a known number"));
    let mut lot = Lot {
        code,
        entry: row.int(0),
        site: row.int(1),
        species: row.text(2).to_owned(),
        presentation: Presentation::from_number(row.int(3)).ok_or_else(|| bad("presentation"))?,
        storage: storage("lot", code.number(), row.int(4))?,
        supplier: row.text(5).to_owned(),
        making: row.int(6),
        harvested_us: row.int(7),
        ticket: 0,
        voided: false,
        parts: Vec::new(),
        events: Vec::new(),
        seen: 0,
    };
    lot.parts = parts(tx, code).await?;
    if lot.making == 0 {
        (lot.ticket, lot.voided) = standing_ticket(tx, lot.entry).await?;
        if !lot.voided {
            lines(tx, &mut lot).await?;
            rewritten(tx, &mut lot).await?;
        }
    }
    shifts(tx, &mut lot).await?;
    inward(tx, &mut lot).await?;
    moves(tx, &mut lot).await?;
    makings(tx, &mut lot).await?;
    counts(tx, &mut lot).await?;
    lot.events
        .sort_by_key(|event| (event.happened_us, event.entry));
    Ok(Some(lot))
}

/// Fish of a lot that was weighed again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reweigh {
    /// Entry that says so.
    pub entry: i64,
    /// When, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Number of the part; 0 for a weighing of the ticket.
    pub part: i64,
    /// What was read.
    pub weight: Weight,
    /// What the book said then.
    pub booked: Weight,
    /// As written, or empty.
    pub note: String,
}

/// What was weighed again of a lot, in order of entry. It moves nothing, so it is
/// no part of [`Lot`].
///
/// # Errors
/// Engine trouble.
pub async fn reweighs(tx: &mut Tx, lot: LotCode) -> Result<Vec<Reweigh>, BooksError> {
    let sql = "SELECT r.entry, e.happened_us, r.part, r.weight, r.booked, r.note \
               FROM reweigh r JOIN entry e ON e.id = r.entry \
               WHERE r.number = ? AND r.place = ? ORDER BY r.entry";
    let binds = [Val::Int(lot.number()), Val::Int(lot.place())];
    let rows = tx.fetch(sql, &binds).await?;
    let read = |row: &Record| Reweigh {
        entry: row.int(0),
        happened_us: row.int(1),
        part: row.int(2),
        weight: Weight::from_units(row.int(3)),
        booked: Weight::from_units(row.int(4)),
        note: row.text(5).to_owned(),
    };
    Ok(rows.iter().map(read).collect())
}

/// The parts of a lot, in order of their numbers.
async fn parts(tx: &mut Tx, code: LotCode) -> Result<Vec<Part>, BooksError> {
    let sql = "SELECT n, band, grade, condition, hold, undersize FROM part \
               WHERE number = ? AND place = ? ORDER BY n";
    let rows = tx
        .fetch(sql, &[Val::Int(code.number()), Val::Int(code.place())])
        .await?;
    rows.iter().map(|row| part(code, row)).collect()
}

fn part(lot: LotCode, row: &Record) -> Result<Part, BooksError> {
    let bad = |column| corrupt("part", column, lot.number(), BadDoc::here("a known value"));
    Ok(Part {
        id: PartId { lot, n: row.int(0) },
        key: PartKey {
            band: row.int(1),
            grade: Grade::new(row.text(2)).ok_or_else(|| bad("grade"))?,
            condition: Condition::from_number(row.int(3)),
            held: row.int(4) == 1,
        },
        undersize: Undersize::from_number(row.int(5)).ok_or_else(|| bad("undersize"))?,
    })
}

/// The ticket that stands in the place of the first, and whether it was voided.
///
/// # Errors
/// Engine trouble.
pub async fn standing_ticket(tx: &mut Tx, first: i64) -> Result<(i64, bool), BooksError> {
    let mut ticket = first;
    loop {
        match entries::ended(tx, ticket).await? {
            Some((how, by)) if how == "rewrite" => ticket = by,
            Some((how, _)) => return Ok((ticket, how == "void")),
            None => return Ok((ticket, false)),
        }
    }
}

/// [`standing_ticket`] of each of these, asked for together.
pub(crate) async fn standing_tickets(
    tx: &mut Tx,
    firsts: BTreeSet<i64>,
) -> Result<BTreeMap<i64, (i64, bool)>, BooksError> {
    let mut standing: BTreeMap<i64, (i64, bool)> = firsts
        .iter()
        .map(|first| (*first, (*first, false)))
        .collect();
    let mut asked = firsts;
    while !asked.is_empty() {
        let keys: Vec<_> = asked.iter().copied().map(Val::Int).collect();
        let sql = "SELECT what, how, by FROM spent WHERE what IN ({keys}) AND item = 0";
        let rows = tx.fetch_keys(sql, 1, &keys).await?;
        let ended: BTreeMap<i64, (&str, i64)> = rows
            .iter()
            .map(|row| (row.int(0), (row.text(1), row.int(2))))
            .collect();
        asked = BTreeSet::new();
        for (ticket, voided) in standing.values_mut() {
            match ended.get(ticket) {
                Some(("rewrite", by)) => {
                    *ticket = *by;
                    asked.insert(*by);
                }
                Some((how, _)) => *voided = *how == "void",
                None => {}
            }
        }
    }
    Ok(standing)
}

/// What a number in a row says of how fish is kept; 0 is not said.
pub(crate) fn storage(
    table: &'static str,
    row: i64,
    number: i64,
) -> Result<Option<Storage>, BooksError> {
    match number {
        0 => Ok(None),
        _ => Storage::from_number(number)
            .map(Some)
            .ok_or_else(|| corrupt(table, "storage", row, BadDoc::here("a known number"))),
    }
}

/// A lot as the ticket that stands says it was taken in, where it is not the first
/// one: rows of a lot and its parts are written once, by the first.
pub(crate) struct Rewritten {
    pub(crate) storage: Option<Storage>,
    pub(crate) harvested_us: i64,
    /// By number of the part.
    pub(crate) undersize: BTreeMap<i64, Undersize>,
}

impl Rewritten {
    pub(crate) fn of(place: i64, asked: &WeighIn, ticket: &Ticket) -> Option<Rewritten> {
        let mut lots = ticket.lots.iter().zip(&asked.lots);
        let (lot, written) = lots.find(|(lot, _)| lot.place == Some(place))?;
        let lines = ticket.lines.iter().filter(|line| line.lot == lot.n);
        Some(Rewritten {
            storage: written.storage,
            harvested_us: harvested_us(written, ticket),
            undersize: lines.map(|line| (line.part, line.undersize)).collect(),
        })
    }
}

/// Earliest harvest time known of a lot, else the weigh-in.
pub(crate) fn harvested_us(written: &LotIn, ticket: &Ticket) -> i64 {
    let speared = written.receiving.first_speared_us;
    speared.unwrap_or(ticket.priced_us)
}

async fn rewritten(tx: &mut Tx, lot: &mut Lot) -> Result<(), BooksError> {
    if lot.ticket == lot.entry {
        return Ok(());
    }
    let Some(entry) = entries::get(tx, lot.ticket).await? else {
        return Ok(());
    };
    let (asked, ticket): (WeighIn, Ticket) = entry.read()?;
    if let Some(now) = Rewritten::of(lot.code.place(), &asked, &ticket) {
        lot.storage = now.storage;
        lot.harvested_us = now.harvested_us;
        for part in &mut lot.parts {
            if let Some(undersize) = now.undersize.get(&part.id.n) {
                part.undersize = *undersize;
            }
        }
    }
    Ok(())
}

async fn lines(tx: &mut Tx, lot: &mut Lot) -> Result<(), BooksError> {
    let sql = "SELECT l.ticket, e.happened_us, l.part, l.weight, l.pay \
               FROM line l JOIN entry e ON e.id = l.ticket \
               WHERE l.ticket = ? AND l.number = ? AND l.place = ? ORDER BY l.n";
    let binds = [
        Val::Int(lot.ticket),
        Val::Int(lot.code.number()),
        Val::Int(lot.code.place()),
    ];
    for row in tx.fetch(sql, &binds).await? {
        lot.events.push(Event {
            entry: row.int(0),
            happened_us: row.int(1),
            part: row.int(2),
            event: StockEvent::In(Weight::from_units(row.int(3))),
            what: What::WeighedIn,
            pay: row.int(4),
        });
    }
    Ok(())
}

/// Rows of a table that are about a lot, in order of entry: the entry, when it
/// happened, and `columns` (of the table as `t`).
async fn about(
    tx: &mut Tx,
    lot: &Lot,
    table: &str,
    columns: &str,
) -> Result<Vec<Record>, BooksError> {
    let sql = format!(
        "SELECT t.entry, e.happened_us, {columns} FROM {table} t JOIN entry e ON e.id = t.entry \
         WHERE t.number = ? AND t.place = ? ORDER BY t.entry, t.n"
    );
    let key = [Val::Int(lot.code.number()), Val::Int(lot.code.place())];
    Ok(tx.fetch(&sql, &key).await?)
}

impl Lot {
    fn push(&mut self, row: &Record, part: i64, event: StockEvent, what: What, pay: i64) {
        self.events.push(Event {
            entry: row.int(0),
            happened_us: row.int(1),
            part,
            event,
            what,
            pay,
        });
    }
}

async fn shifts(tx: &mut Tx, lot: &mut Lot) -> Result<(), BooksError> {
    let columns = "t.kind, t.from_part, t.to_part, t.weight, t.amount";
    for row in about(tx, lot, "shift", columns).await? {
        let what = match row.text(2) {
            "hold" => What::Hold,
            "release" => What::Release,
            _ => What::Regrade,
        };
        let (weight, pay) = (Weight::from_units(row.int(5)), row.int(6));
        let out = StockEvent::Out {
            weight,
            emptied: false,
        };
        lot.push(&row, row.int(3), out, what, -pay);
        lot.push(&row, row.int(4), StockEvent::In(weight), what, pay);
        lot.seen += 1;
    }
    Ok(())
}

async fn inward(tx: &mut Tx, lot: &mut Lot) -> Result<(), BooksError> {
    for row in about(tx, lot, "inward", "t.part, t.weight").await? {
        let event = StockEvent::In(Weight::from_units(row.int(3)));
        lot.push(&row, row.int(2), event, What::CameBack, 0);
        lot.seen += 1;
    }
    Ok(())
}

async fn moves(tx: &mut Tx, lot: &mut Lot) -> Result<(), BooksError> {
    let columns = "t.part, t.weight, t.emptied, t.outlet, t.amount";
    for row in about(tx, lot, "move", columns).await? {
        let outlet = Outlet::from_number(row.int(5))
            .ok_or_else(|| corrupt("move", "outlet", row.int(0), BadDoc::here("a known number")))?;
        lot.push(&row, row.int(2), out(&row), What::Went(outlet), -row.int(6));
        lot.seen += 1;
    }
    Ok(())
}

async fn makings(tx: &mut Tx, lot: &mut Lot) -> Result<(), BooksError> {
    for row in about(tx, lot, "making_in", "t.part, t.weight, t.emptied").await? {
        lot.push(&row, row.int(2), out(&row), What::Used, 0);
        lot.seen += 1;
    }
    // What made the lot is not something that happened to it: it is not `seen`.
    for row in about(tx, lot, "making_out", "t.part, t.weight").await? {
        let event = StockEvent::In(Weight::from_units(row.int(3)));
        lot.push(&row, row.int(2), event, What::Made, 0);
    }
    Ok(())
}

async fn counts(tx: &mut Tx, lot: &mut Lot) -> Result<(), BooksError> {
    for row in about(tx, lot, "counted", "t.part, t.weight").await? {
        let event = StockEvent::Count(Weight::from_units(row.int(3)));
        lot.push(&row, row.int(2), event, What::Counted, 0);
        lot.seen += 1;
    }
    Ok(())
}

/// Weight that left: in column 3, and in column 4 whether nothing stayed.
fn out(row: &Record) -> StockEvent {
    StockEvent::Out {
        weight: Weight::from_units(row.int(3)),
        emptied: row.int(4) == 1,
    }
}

/// What came back of a movement into a part before.
///
/// # Errors
/// Engine trouble.
pub async fn came_back(tx: &mut Tx, movement: i64, part: PartId) -> Result<Weight, BooksError> {
    let sql = "SELECT weight FROM inward \
               WHERE number = ? AND place = ? AND part = ? AND movement = ?";
    let binds = [part.lot.number(), part.lot.place(), part.n, movement].map(Val::Int);
    let rows = tx.fetch(sql, &binds).await?;
    Ok(rows.iter().map(|row| Weight::from_units(row.int(0))).sum())
}

/// Codes of the lots made or taken in under a number.
///
/// # Errors
/// Engine trouble.
pub async fn lots_under(tx: &mut Tx, number: i64) -> Result<Vec<LotCode>, BooksError> {
    let sql = "SELECT place FROM lot WHERE number = ? ORDER BY place";
    let rows = tx.fetch(sql, &[Val::Int(number)]).await?;
    Ok(rows
        .iter()
        .filter_map(|row| LotCode::new(number, row.int(0)))
        .collect())
}

/// The tickets whose lots a hold, release, regrade or movement was about, as they
/// were first written, each once.
///
/// # Errors
/// Engine trouble.
pub async fn tickets_of(tx: &mut Tx, entry: i64) -> Result<Vec<i64>, BooksError> {
    let sql = "SELECT l.entry FROM lot l JOIN shift s ON s.number = l.number AND s.place = l.place \
               WHERE s.entry = ? AND l.making = 0 \
               UNION SELECT l.entry FROM lot l JOIN move m \
               ON m.number = l.number AND m.place = l.place WHERE m.entry = ? AND l.making = 0 \
               ORDER BY 1";
    let rows = tx.fetch(sql, &[Val::Int(entry), Val::Int(entry)]).await?;
    Ok(rows.iter().map(|row| row.int(0)).collect())
}

/// What a making took, in order: lot codes and numbers of their parts.
///
/// # Errors
/// Engine trouble.
pub async fn sources_of(tx: &mut Tx, making: i64) -> Result<Vec<PartId>, BooksError> {
    let sql = "SELECT number, place, part FROM making_in WHERE entry = ? ORDER BY n";
    let rows = tx.fetch(sql, &[Val::Int(making)]).await?;
    Ok(rows
        .iter()
        .filter_map(|row| {
            let lot = LotCode::new(row.int(0), row.int(1))?;
            Some(PartId { lot, n: row.int(2) })
        })
        .collect())
}

/// Kind of the making that an entry is, by its number; `None` where it made no
/// lot.
///
/// # Errors
/// Engine trouble.
pub async fn kind_of_making(tx: &mut Tx, entry: i64) -> Result<Option<i64>, BooksError> {
    let sql = "SELECT making FROM lot WHERE number = ? ORDER BY place LIMIT 1";
    let rows = tx.fetch(sql, &[Val::Int(entry)]).await?;
    Ok(rows.first().map(|row| row.int(0)).filter(|kind| *kind != 0))
}

/// Party that received what an entry moved; empty where nobody did.
///
/// # Errors
/// Engine trouble.
pub async fn receiver_of(tx: &mut Tx, entry: i64) -> Result<String, BooksError> {
    let sql = "SELECT party FROM move WHERE entry = ? ORDER BY n LIMIT 1";
    let rows = tx.fetch(sql, &[Val::Int(entry)]).await?;
    Ok(rows
        .first()
        .map_or_else(String::new, |row| row.text(0).to_owned()))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
