//! Closes of business days: what was read for one, what was worked out, and what
//! the day left to the next.
//!
//! A revision is never overwritten: the next one spends it. Beside its document
//! stands its manifest, what it was worked out from; the same manifest needs no
//! new revision. What a day left (weight, gathered drip and budget of each open part,
//! and what each party is owed) is the opening of the next, so a day whose
//! opening did not change is not touched by what came late into an earlier one.
//!
//! Reading a day is in [`gather`](self::gather()), what is kept of it for later ones
//! in [`Kept`], judging it in the rules, and running the days in their order the
//! night's.

mod budget;
mod docs;
mod gather;
mod kept;
mod rebuilt;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use rules::balance::Holding;
use rules::close::{CloseDoc, Judged, PayBalance};
use rules::fish::Presentation;
use rules::ids::{DayNumber, EntryId, LotCode, PartId};
use rules::weight::Weight;
use sha2::{Digest as _, Sha256};

use crate::db::{Record, Tx, Val};
use crate::doc::{BadDoc, Doc, canonical, object};
use crate::scribe::{Condition, Deed, entry_id};
use crate::table::{CLOSE, CLOSE_LINK, Cell, FLAG, FOUND, ON_HAND, PARTY_DAY, Row, SUPPLIER_DAY};
use crate::{BooksError, corrupt, db};

pub use gather::{Again, Gathered, gather, weight_of_book, weight_of_day};
pub use kept::{CutInput, Kept, WeightKey, cut_facts, cuts_of, days_of_cuts};
pub use rebuilt::{Apart, Should, closed_days};

/// What a close was worked out from, and what it left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Manifest {
    /// What it was worked out from.
    pub given: Given,
    /// What it left to the next day.
    pub left: Left,
}

/// What a close was worked out from. The same is given, the same comes out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Given {
    /// Site number.
    pub site: i64,
    /// The business day.
    pub day: DayNumber,
    /// Last sequence number of the day that was read.
    pub upto_seq: i64,
    /// Digest of what was on hand as the day began.
    pub opening: String,
    /// Digest of what parties were owed as the day began.
    pub balances: String,
    /// Digest of what was looked up in tickets of any day.
    pub history: String,
    /// Entry of the settings in force as the day began; 0 for the defaults.
    pub settings: i64,
    /// Devices known undrained, by code.
    pub undrained: Vec<String>,
    /// Version of the rules.
    pub rules: i64,
    /// What of other days was looked back on.
    pub looked: Looked,
}

/// What a close looked back on.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Looked {
    /// Earlier days whose cuts were read, each with its revision, in order.
    pub cuts: Vec<(DayNumber, i64)>,
    /// Entries of the baselines on file, in order.
    pub baselines: Vec<i64>,
}

/// Digests of what a day left to the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Left {
    /// Of what is on hand.
    pub on_hand: String,
    /// Of what parties are owed.
    pub balances: String,
}

/// What a day left to the next.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Turned {
    /// What each open part holds.
    pub on_hand: BTreeMap<PartId, Holding>,
    /// What each party is owed.
    pub balances: BTreeMap<String, PayBalance>,
}

impl Turned {
    /// What a close leaves.
    #[must_use]
    pub fn by(judged: &Judged) -> Turned {
        let balance = |row: &rules::close::PayRow| PayBalance {
            owed_minor: row.owed.minor(),
            held_minor: row.held.minor(),
        };
        let rows = &judged.doc.payouts;
        Turned {
            on_hand: judged.on_hand.clone(),
            balances: rows
                .iter()
                .map(|row| (row.party.clone(), balance(row)))
                .collect(),
        }
    }

    /// Its digests.
    #[must_use]
    pub fn digests(&self) -> Left {
        let mut on_hand = String::new();
        for (part, held) in &self.on_hand {
            let Holding {
                weight,
                drip,
                came_in,
                cost_minor,
                held_us,
                budget,
                harvested_us,
            } = held;
            let (weight, came_in) = (weight.units(), came_in.units());
            let line = format!("{part} {weight} {drip} {came_in} {cost_minor} {held_us}");
            // A row without a budget or an age digests as it did before there were any.
            let budget = budget::text(budget);
            let budget = match harvested_us {
                0 => budget,
                harvested_us => format!("{budget} {harvested_us}"),
            };
            let _ = writeln!(on_hand, "{}", format!("{line} {budget}").trim_end());
        }
        let mut balances = String::new();
        for (
            party,
            PayBalance {
                owed_minor,
                held_minor,
            },
        ) in &self.balances
        {
            // A balance of nothing is as good as none.
            if *owed_minor != 0 || *held_minor != 0 {
                let _ = writeln!(balances, "{party} {owed_minor} {held_minor}");
            }
        }
        Left {
            on_hand: sha256(on_hand.as_bytes()),
            balances: sha256(balances.as_bytes()),
        }
    }
}

/// A close as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stored {
    /// Its revision, from 1.
    pub revision: i64,
    /// Entry that recorded it.
    pub entry: i64,
    /// When the book took it, microseconds since 1970 UTC.
    pub recorded_us: i64,
    /// What it was worked out from, and what it left.
    pub manifest: Manifest,
    /// Canonical JSON of a [`CloseDoc`].
    pub doc: String,
    /// SHA-256 of `doc`, lower-case hexadecimal.
    pub sha256: String,
}

impl Stored {
    /// The close, read.
    ///
    /// # Errors
    /// A document that does not read.
    pub fn read(&self) -> Result<CloseDoc, BooksError> {
        read(&self.doc).map_err(|e| corrupt("close", "doc", self.entry, e))
    }
}

/// A close of a site's day: the given revision, or the latest.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn stored(
    tx: &mut Tx,
    site: i64,
    day: DayNumber,
    revision: Option<i64>,
) -> Result<Option<Stored>, BooksError> {
    let sql = "SELECT c.revision, c.entry, e.recorded_us, c.manifest, c.doc, c.sha256 \
               FROM close c JOIN entry e ON e.id = c.entry \
               WHERE c.site = ? AND c.day = ? AND (c.revision = ? OR ? = 0) \
               ORDER BY c.revision DESC LIMIT 1";
    let revision = Val::Int(revision.unwrap_or(0));
    let rows = tx
        .fetch(sql, &[Val::Int(site), Val::Int(day), revision, revision])
        .await?;
    let Some(row) = rows.first() else {
        return Ok(None);
    };
    let entry = row.int(1);
    Ok(Some(Stored {
        revision: row.int(0),
        entry,
        recorded_us: row.int(2),
        manifest: read(row.text(3)).map_err(|e| corrupt("close", "manifest", entry, e))?,
        doc: row.text(4).to_owned(),
        sha256: row.text(5).to_owned(),
    }))
}

/// A business day that the book knows of.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct KnownDay {
    /// Last sequence number given out for it; 0 where nothing was entered.
    pub upto_seq: i64,
    /// Its latest close.
    pub close: Option<LastClose>,
}

/// The latest close of a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastClose {
    /// Its revision.
    pub revision: i64,
    /// Last sequence number of the day that was read.
    pub upto_seq: i64,
    /// Digests of what the day opened with.
    pub opened: Left,
    /// Digests of what it left to the next.
    pub left: Left,
}

impl LastClose {
    /// As a manifest says it.
    fn of(revision: i64, manifest: Manifest) -> LastClose {
        let Manifest { given, left } = manifest;
        LastClose {
            revision,
            upto_seq: given.upto_seq,
            opened: Left {
                on_hand: given.opening,
                balances: given.balances,
            },
            left,
        }
    }
}

/// The days of a site in which something was entered or that were closed. Manifests are
/// read only of closes from before their links were kept.
///
/// # Errors
/// Engine trouble, or a manifest that does not read.
pub async fn days(tx: &mut Tx, site: i64) -> Result<BTreeMap<DayNumber, KnownDay>, BooksError> {
    let mut days: BTreeMap<DayNumber, KnownDay> = BTreeMap::new();
    let heads = "SELECT day, next FROM head WHERE site = ? AND day > 0";
    for row in tx.fetch(heads, &[Val::Int(site)]).await? {
        days.entry(row.int(0)).or_default().upto_seq = row.int(1) - 1;
    }
    let closes = "SELECT c.day, c.revision, l.upto_seq, l.opened_with, l.opened_owing, \
                         l.left_on_hand, l.left_owing \
                  FROM (SELECT day, MAX(revision) AS revision FROM close WHERE site = ? \
                        GROUP BY day) c \
                  LEFT JOIN close_link l ON l.site = ? AND l.day = c.day \
                       AND l.revision = c.revision";
    let mut without = Vec::new();
    for row in tx.fetch(closes, &[site, site].map(Val::Int)).await? {
        let (day, revision) = (row.int(0), row.int(1));
        let Some(upto_seq) = row.maybe_int(2) else {
            without.extend([site, day, revision].map(Val::Int));
            continue;
        };
        let digests = |at: usize| Left {
            on_hand: row.text(at).to_owned(),
            balances: row.text(at + 1).to_owned(),
        };
        days.entry(day).or_default().close = Some(LastClose {
            revision,
            upto_seq,
            opened: digests(3),
            left: digests(5),
        });
    }
    let manifests = "SELECT day, revision, entry, manifest FROM close \
                     WHERE (site, day, revision) IN (VALUES {keys})";
    for row in tx.fetch_keys(manifests, 3, &without).await? {
        let manifest =
            read(row.text(3)).map_err(|e| corrupt("close", "manifest", row.int(2), e))?;
        let last = LastClose::of(row.int(1), manifest);
        days.entry(row.int(0)).or_default().close = Some(last);
    }
    Ok(days)
}

/// Manifests of a site's latest closes, in order of day.
///
/// # Errors
/// Engine trouble, or a manifest that does not read.
pub async fn manifests(
    tx: &mut Tx,
    site: i64,
) -> Result<BTreeMap<DayNumber, Manifest>, BooksError> {
    let sql = "SELECT c.day, c.entry, c.manifest FROM close c \
               JOIN close_now n ON n.site = c.site AND n.day = c.day AND n.revision = c.revision \
               WHERE c.site = ?";
    let rows = tx.fetch(sql, &[Val::Int(site)]).await?;
    let manifest = |row: &Record| {
        let manifest = read(row.text(2));
        let manifest = manifest.map_err(|e| corrupt("close", "manifest", row.int(1), e))?;
        Ok((row.int(0), manifest))
    };
    rows.iter().map(manifest).collect()
}

/// What the latest close before a day left; nothing where there is none.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn turned(tx: &mut Tx, site: i64, day: DayNumber) -> Result<Turned, BooksError> {
    let last = "SELECT day, revision FROM close WHERE site = ? AND day < ? \
                ORDER BY day DESC, revision DESC LIMIT 1";
    let mut left = Turned::default();
    let rows = tx.fetch(last, &[Val::Int(site), Val::Int(day)]).await?;
    let Some(row) = rows.first() else {
        return Ok(left);
    };
    let key = [Val::Int(site), Val::Int(row.int(0)), Val::Int(row.int(1))];

    let on_hand = "SELECT number, place, part, weight, drip, came_in, cost, held_us, \
                          budget, harvested_us \
                   FROM on_hand WHERE site = ? AND day = ? AND revision = ?";
    for row in tx.fetch(on_hand, &key).await? {
        let part = part_id("on_hand", row.int(0), row.int(1), row.int(2))?;
        let drip = row.text(4).parse().map_err(|_| {
            corrupt(
                "on_hand",
                "drip",
                row.int(0),
                BadDoc::here("a whole number as text"),
            )
        })?;
        let held = Holding {
            weight: Weight::from_units(row.int(3)),
            drip,
            came_in: Weight::from_units(row.int(5)),
            cost_minor: row.int(6),
            held_us: row.int(7),
            budget: budget::from_text(row.text(8))
                .map_err(|e| corrupt("on_hand", "budget", row.int(0), e))?,
            harvested_us: row.int(9),
        };
        left.on_hand.insert(part, held);
    }
    let balances = "SELECT party, owed, held FROM party_day \
                    WHERE site = ? AND day = ? AND revision = ?";
    for row in tx.fetch(balances, &key).await? {
        let balance = PayBalance {
            owed_minor: row.int(1),
            held_minor: row.int(2),
        };
        left.balances.insert(row.text(0).to_owned(), balance);
    }
    Ok(left)
}

/// The last day of a site before another that was closed.
///
/// # Errors
/// Engine trouble.
pub async fn last_day(
    tx: &mut Tx,
    site: i64,
    before: DayNumber,
) -> Result<Option<DayNumber>, BooksError> {
    let sql = "SELECT day FROM close WHERE site = ? AND day < ? ORDER BY day DESC LIMIT 1";
    let rows = tx.fetch(sql, &[Val::Int(site), Val::Int(before)]).await?;
    Ok(rows.first().map(|row| row.int(0)))
}

/// Lots of fillet that may still be there on `today`: what the close of `closed` left,
/// and what was made since; in order.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn fillet_lots(
    tx: &mut Tx,
    site: i64,
    closed: Option<DayNumber>,
    today: DayNumber,
) -> Result<BTreeSet<LotCode>, BooksError> {
    let is_fillet =
        |row: &Record| Presentation::from_number(row.int(2)).is_some_and(Presentation::is_fillet);
    let code = |row: &Record| {
        let (number, place) = (row.int(0), row.int(1));
        let bad = || corrupt("lot", "number", number, BadDoc::here("a lot code"));
        LotCode::new(number, place).ok_or_else(bad)
    };
    let closed = closed.unwrap_or(0);
    let sql = "SELECT DISTINCT o.number, o.place, t.presentation FROM on_hand o \
               JOIN close_now c ON c.site = o.site AND c.day = o.day AND c.revision = o.revision \
               JOIN lot t ON t.number = o.number AND t.place = o.place \
               WHERE o.site = ? AND o.day = ? AND o.weight > 0";
    let mut rows = tx.fetch(sql, &[site, closed].map(Val::Int)).await?;
    let sql = "SELECT DISTINCT m.number, m.place, t.presentation FROM making_out m \
               JOIN lot t ON t.number = m.number AND t.place = m.place \
               WHERE m.entry >= ? AND m.entry <= ? AND t.site = ?";
    // Where no day was closed yet all of them are asked.
    let first = match closed {
        0 => 0,
        closed => entry_id(closed, site, 0),
    };
    let range = [first, entry_id(today, site, 9_999_999), site];
    rows.extend(tx.fetch(sql, &range.map(Val::Int)).await?);
    rows.iter().filter(|row| is_fillet(row)).map(code).collect()
}

/// A revision of a close, to be written.
#[derive(Debug)]
pub struct Revision<'a> {
    /// What it was worked out from.
    pub given: Given,
    /// What came of it.
    pub judged: &'a Judged,
    /// What is kept of the day.
    pub kept: &'a Kept,
    /// The revision it takes the place of, with the entry that recorded it.
    pub before: Option<(i64, i64)>,
}

/// The document of a close, as it is stored, and its SHA-256.
#[must_use]
pub fn document(close: &CloseDoc) -> (String, String) {
    let doc = canonical(&close.to_doc());
    let sha256 = sha256(doc.as_bytes());
    (doc, sha256)
}

impl Revision<'_> {
    /// Its number.
    #[must_use]
    pub fn number(&self) -> i64 {
        self.before.map_or(1, |(revision, _)| revision + 1)
    }

    /// The deed that writes it, on the business day on which it is recorded. It
    /// spends the revision before it, so of two nights at once one writes.
    #[must_use]
    pub fn deed(&self, recorded_on: DayNumber, now_us: i64) -> Deed {
        let Given { site, day, .. } = self.given;
        let revision = self.number();
        let (doc, sha256) = document(&self.judged.doc);
        let left = Turned::by(self.judged).digests();
        let derived = self.derived(&left);
        let manifest = canonical(
            &Manifest {
                given: self.given.clone(),
                left,
            }
            .to_doc(),
        );

        let mut print = Sha256::new();
        print.update(manifest.as_bytes());
        print.update(doc.as_bytes());
        let asked = object([("day", day.to_doc()), ("site", site.to_doc())]);
        let outcome = object([("revision", revision.to_doc()), ("sha256", sha256.to_doc())]);
        let mut rows = vec![Row::new(
            &CLOSE,
            [
                site.into(),
                day.into(),
                revision.into(),
                Cell::Own,
                manifest.into(),
                doc.into(),
                sha256.into(),
            ],
        )];
        rows.extend(derived);
        Deed {
            site,
            day: recorded_on,
            pay_day: None,
            request_id: format!("close-{site}-{day}-{revision}"),
            print: print.finalize().into(),
            kind: "close",
            party: String::new(),
            actor: "nightly".to_owned(),
            happened_us: now_us,
            recorded_us: now_us,
            must_hold: self
                .before
                .iter()
                .map(|&(_, what)| Condition::Spend {
                    what,
                    item: 0,
                    how: "revise",
                })
                .collect(),
            bumps: Vec::new(),
            doc: canonical(&object([("asked", asked), ("outcome", outcome)])),
            rows,
        }
    }

    /// The rows worked out beside the document, which left the next day `left`; each
    /// carries the revision.
    fn derived(&self, left: &Left) -> Vec<Row> {
        let Given { site, day, .. } = self.given;
        let revision = self.number();
        let key = [Cell::Int(site), Cell::Int(day), Cell::Int(revision)];
        let row = |table, rest: Vec<Cell>| Row {
            table,
            cells: key.iter().cloned().chain(rest).collect(),
        };
        let part = |id: PartId| {
            [
                Cell::Int(id.lot.number()),
                Cell::Int(id.lot.place()),
                Cell::Int(id.n),
            ]
        };
        let mut rows = vec![link_row(revision, &self.given, left)];
        for (&id, held) in &self.judged.on_hand {
            let mut cells = part(id).to_vec();
            cells.extend([
                held.weight.units().into(),
                held.drip.to_string().into(),
                held.came_in.units().into(),
                held.cost_minor.into(),
                held.held_us.into(),
                budget::text(&held.budget).into(),
                held.harvested_us.into(),
            ]);
            rows.push(row(&ON_HAND, cells));
        }
        for (n, posted) in (1_i64..).zip(&self.judged.found) {
            let mut cells = vec![n.into()];
            cells.extend(part(posted.part));
            cells.extend([
                posted.by.into(),
                posted.shrink.units().into(),
                posted.unaccounted.units().into(),
            ]);
            rows.push(row(&FOUND, cells));
        }
        let doc = &self.judged.doc;
        rows.extend(doc.payouts.iter().map(|pay| {
            let amounts = [pay.owed.minor(), pay.held.minor(), pay.owed_today.minor()];
            let mut cells = vec![pay.party.as_str().into()];
            cells.extend(amounts.map(Cell::Int));
            row(&PARTY_DAY, cells)
        }));
        rows.extend(doc.yields.iter().map(|yields| {
            row(
                &SUPPLIER_DAY,
                vec![
                    yields.supplier.as_str().into(),
                    yields.species.as_str().into(),
                    yields.presentation.number().into(),
                    yields.specification.as_str().into(),
                    i64::from(yields.customer_kitchen).into(),
                    yields.cuts.into(),
                    yields.input.units().into(),
                    yields.fillet.units().into(),
                    yields.mixed_cuts.into(),
                    yields.mixed_input.units().into(),
                ],
            )
        }));
        rows.extend(doc.flags.iter().map(|flag| {
            row(
                &FLAG,
                vec![
                    flag_key(site, day, flag.kind.word(), &flag.subject).into(),
                    flag.kind.word().into(),
                    flag.subject.as_str().into(),
                    flag.text.as_str().into(),
                    flag.weight.units().into(),
                    flag.value.minor().into(),
                    i64::from(flag.gap).into(),
                    flag.evidence.join("\n").into(),
                ],
            )
        }));
        rows.extend(self.kept.cut_rows(&key));
        let found = &self.judged.found;
        rows.extend(self.kept.weight_rows(&key, &doc.parts, found));
        rows
    }
}

/// How a revision's day hangs on the one before it.
fn link_row(revision: i64, given: &Given, left: &Left) -> Row {
    let cells = [
        given.site.into(),
        given.day.into(),
        revision.into(),
        given.upto_seq.into(),
        given.opening.as_str().into(),
        given.balances.as_str().into(),
        left.on_hand.as_str().into(),
        left.balances.as_str().into(),
    ];
    Row::new(&CLOSE_LINK, cells)
}

/// Key of a flag: the same in every revision of the day.
#[must_use]
pub fn flag_key(site: i64, day: DayNumber, kind: &str, subject: &str) -> String {
    let mut key = sha256(format!("{site}\n{day}\n{kind}\n{subject}").as_bytes());
    key.truncate(32);
    key
}

fn sha256(bytes: &[u8]) -> String {
    db::hex(&Sha256::digest(bytes))
}

fn read<T: Doc>(text: &str) -> Result<T, BadDoc> {
    let value = serde_json::from_str(text).map_err(|e| BadDoc::here(e.to_string()))?;
    T::from_doc(&value)
}

fn part_id(table: &'static str, number: i64, place: i64, n: i64) -> Result<PartId, BooksError> {
    let lot = LotCode::new(number, place)
        .ok_or_else(|| corrupt(table, "number", number, BadDoc::here("a lot's number")))?;
    Ok(PartId { lot, n })
}

/// Business day of an entry id; 0 for what is none.
fn day_of_entry(id: i64) -> DayNumber {
    EntryId::new(id).map_or(0, EntryId::day)
}

#[cfg(test)]
mod tests;
