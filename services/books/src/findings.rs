//! What the nights found, read back: flags and yields. Closes themselves are in
//! `close`.
//!
//! A flag is told by its key, which stays the same over revisions. That a flag
//! is gone with a later revision, or that a person has seen to it, is worked out
//! here when it is shown; nothing of a close is ever changed.

use std::collections::{BTreeMap, BTreeSet};

use rules::close::FlagKind;
use rules::fillet_yield::{YieldKey, YieldSums};
use rules::fish::Presentation;
use rules::ids::EntryId;
use rules::weight::Weight;

use crate::db::{Tx, Val};
use crate::doc::BadDoc;
use crate::scribe::entry_id;
use crate::{BooksError, corrupt};

/// A flag as it stands now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredFlag {
    /// Stays the same over revisions.
    pub key: String,
    /// Site number.
    pub site: i64,
    /// Business day.
    pub day: i64,
    /// What it is about.
    pub kind: FlagKind,
    /// Part, ticket, making or device.
    pub subject: String,
    /// For people, as last raised.
    pub text: String,
    /// Weight at stake.
    pub weight: Weight,
    /// Money at stake, minor units.
    pub value: i64,
    /// The day is closed with gaps because of it.
    pub gap: bool,
    /// What it rests on, line by line, for people.
    pub evidence: Vec<String>,
    /// Everybody who saw to it, oldest first; empty while nobody did.
    pub seen: Vec<Seen>,
    /// Revision from which it is gone; 0 while it stands.
    pub gone_with: i64,
}

/// That somebody has seen to a flag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen {
    /// Who.
    pub by: String,
    /// How.
    pub reason: String,
    /// When it was recorded, microseconds since 1970 UTC.
    pub recorded_us: i64,
}

/// Flags of business days in `[from, to)`, by day, kind and subject: those that
/// stand, and those that are gone with a later revision.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn flags(
    tx: &mut Tx,
    site: i64,
    from: i64,
    to: i64,
) -> Result<Vec<StoredFlag>, BooksError> {
    let sql = "SELECT f.key, f.day, f.kind, f.subject, f.text, f.weight, f.value, f.gap, \
                 f.revision, c.revision, f.evidence \
               FROM flag f JOIN close_now c ON c.site = f.site AND c.day = f.day \
               WHERE f.site = ? AND f.day >= ? AND f.day < ? \
               ORDER BY f.day, f.kind, f.subject, f.revision";
    let rows = tx
        .fetch(sql, &[Val::Int(site), Val::Int(from), Val::Int(to)])
        .await?;
    // The newest revision that raised it wins, since rows come in their order.
    let mut by_key: BTreeMap<String, StoredFlag> = BTreeMap::new();
    for row in &rows {
        let (raised, now) = (row.int(8), row.int(9));
        let kind = FlagKind::from_word(row.text(2))
            .ok_or_else(|| corrupt("flag", "kind", row.int(1), BadDoc::here("a known word")))?;
        let flag = StoredFlag {
            key: row.text(0).to_owned(),
            site,
            day: row.int(1),
            kind,
            subject: row.text(3).to_owned(),
            text: row.text(4).to_owned(),
            weight: Weight::from_units(row.int(5)),
            value: row.int(6),
            gap: row.int(7) == 1,
            evidence: row.text(10).lines().map(str::to_owned).collect(),
            seen: Vec::new(),
            gone_with: if raised < now { raised + 1 } else { 0 },
        };
        by_key.insert(flag.key.clone(), flag);
    }
    let mut flags: Vec<StoredFlag> = by_key.into_values().collect();
    flags.sort_by(|a, b| {
        (a.day, a.kind, &a.subject, &a.key).cmp(&(b.day, b.kind, &b.subject, &b.key))
    });
    for flag in &mut flags {
        seen(tx, flag).await?;
    }
    Ok(flags)
}

/// A flag by its key; `None` where no close ever raised it.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn flag(tx: &mut Tx, key: &str) -> Result<Option<StoredFlag>, BooksError> {
    let sql = "SELECT site, day FROM flag WHERE key = ? LIMIT 1";
    let rows = tx.fetch(sql, &[Val::from(key)]).await?;
    let Some(row) = rows.first() else {
        return Ok(None);
    };
    let (site, day) = (row.int(0), row.int(1));
    let all = flags(tx, site, day, day + 1).await?;
    Ok(all.into_iter().find(|flag| flag.key == key))
}

async fn seen(tx: &mut Tx, flag: &mut StoredFlag) -> Result<(), BooksError> {
    let sql = "SELECT e.actor, s.reason, e.recorded_us FROM flag_seen s \
               JOIN entry e ON e.id = s.entry WHERE s.key = ? ORDER BY e.recorded_us, s.entry";
    let rows = tx.fetch(sql, &[Val::from(&flag.key)]).await?;
    flag.seen = rows
        .iter()
        .map(|row| Seen {
            by: row.text(0).to_owned(),
            reason: row.text(1).to_owned(),
            recorded_us: row.int(2),
        })
        .collect();
    Ok(())
}

/// Whose fish a party got at a site, however it was sent; the empty one for fish of
/// several.
///
/// # Errors
/// Engine trouble.
pub async fn suppliers_of(
    tx: &mut Tx,
    site: i64,
    receiver: &str,
) -> Result<BTreeSet<String>, BooksError> {
    let sql = "SELECT DISTINCT l.supplier FROM move m \
               JOIN lot l ON l.number = m.number AND l.place = m.place \
               WHERE m.party = ? AND l.site = ?";
    let rows = tx
        .fetch(sql, &[Val::from(receiver), Val::Int(site)])
        .await?;
    Ok(rows.iter().map(|row| row.text(0).to_owned()).collect())
}

/// Cuts of a customer's kitchen on closed days in `[from, to)`, in order.
///
/// # Errors
/// Engine trouble.
pub async fn cuts_of_kitchen(
    tx: &mut Tx,
    site: i64,
    kitchen: &str,
    from: i64,
    to: i64,
) -> Result<Vec<i64>, BooksError> {
    let sql = "SELECT DISTINCT f.entry FROM cut_fact f \
               JOIN close_now c ON c.site = f.site AND c.day = f.day AND c.revision = f.revision \
               WHERE f.site = ? AND f.day >= ? AND f.day < ? AND f.kitchen = ? ORDER BY f.entry";
    let binds = [
        Val::Int(site),
        Val::Int(from),
        Val::Int(to),
        Val::from(kitchen),
    ];
    let rows = tx.fetch(sql, &binds).await?;
    Ok(rows.iter().map(|row| row.int(0)).collect())
}

/// Movements of the business days `[from, to)` by which fish of a site went to a party,
/// the newest first.
///
/// # Errors
/// Engine trouble.
pub async fn sent_to(
    tx: &mut Tx,
    site: i64,
    party: &str,
    from: i64,
    to: i64,
) -> Result<Vec<i64>, BooksError> {
    let sql = "SELECT DISTINCT entry FROM move \
               WHERE entry >= ? AND entry < ? AND party = ? ORDER BY entry DESC";
    let first = |day| Val::Int(entry_id(day, 0, 0));
    let rows = tx
        .fetch(sql, &[first(from), first(to), Val::from(party)])
        .await?;
    let entries = rows.iter().map(|row| row.int(0));
    let here = |entry: &i64| EntryId::new(*entry).is_some_and(|id| id.site() == site);
    Ok(entries.filter(here).collect())
}

/// Sums of the cuts of closed days in `[from, to)`, by supplier and what was
/// cut; of one supplier or species, or of all where they are empty.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn yields(
    tx: &mut Tx,
    site: i64,
    from: i64,
    to: i64,
    supplier: &str,
    species: &str,
) -> Result<BTreeMap<YieldKey, YieldSums>, BooksError> {
    let sql = "SELECT s.supplier, s.species, s.presentation, s.specification, s.customer, s.cuts, \
                 s.input, s.fillet, s.mixed_cuts, s.mixed_input \
               FROM supplier_day s \
               JOIN close_now c ON c.site = s.site AND c.day = s.day AND c.revision = s.revision \
               WHERE s.site = ? AND s.day >= ? AND s.day < ? \
                 AND (s.supplier = ? OR ? = '') AND (s.species = ? OR ? = '') \
               ORDER BY s.day";
    let (supplier, species) = (Val::from(supplier), Val::from(species));
    let binds = [
        Val::Int(site),
        Val::Int(from),
        Val::Int(to),
        supplier,
        supplier,
        species,
        species,
    ];
    let mut sums: BTreeMap<YieldKey, YieldSums> = BTreeMap::new();
    for row in tx.fetch(sql, &binds).await? {
        let presentation = Presentation::from_number(row.int(2)).ok_or_else(|| {
            corrupt(
                "supplier_day",
                "presentation",
                row.int(2),
                BadDoc::here("a known number"),
            )
        })?;
        let key = YieldKey {
            supplier: row.text(0).to_owned(),
            species: row.text(1).to_owned(),
            presentation,
            specification: row.text(3).to_owned(),
            customer_kitchen: row.int(4) == 1,
        };
        let day = YieldSums {
            cuts: row.int(5),
            input: Weight::from_units(row.int(6)),
            fillet: Weight::from_units(row.int(7)),
            mixed_cuts: row.int(8),
            mixed_input: Weight::from_units(row.int(9)),
        };
        let sum = sums.entry(key).or_default();
        *sum = sum.with(day);
    }
    Ok(sums)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
