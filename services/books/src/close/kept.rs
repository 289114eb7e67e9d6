//! What a close keeps of its day for later nights and for a season's tables: rows
//! that say in short what lies in documents, so that no later night reads those.
//!
//! They are worked out from the day's entries alone, written with the revision
//! whose they are, and never corrected: the next revision has rows of its own.

use std::collections::BTreeMap;

use rules::close::{PartBalance, Posted};
use rules::fish::{Condition, Presentation};
use rules::ids::{DayNumber, PartId};
use rules::supplier_yield::{CutFact, CutShare};
use rules::weight::Weight;

use super::day_of_entry;
use crate::db::{Record, Tx, Val};
use crate::doc::BadDoc;
use crate::table::{CUT_FACT, Cell, Row, WEIGHT_DAY};
use crate::{BooksError, corrupt};

/// What is kept of a day.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Kept {
    /// What went into each cut whose fillet was weighed, in order of entry and input.
    pub cuts: Vec<CutInput>,
    /// The day's weight book, added up; what counts found stands beside it, in the
    /// close.
    pub weight: BTreeMap<WeightKey, Weight>,
}

/// What went into a cut, with what is the whole cut's on each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutInput {
    /// The cut.
    pub entry: i64,
    /// Position of the input, from 1; each source of a pool has its own.
    pub n: i64,
    /// When it was cut, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Party that cut; empty where nobody says.
    pub cutter: String,
    /// Kitchen of a customer's cut; empty for the own table.
    pub kitchen: String,
    /// Code of the cut specification.
    pub specification: String,
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Supplier of record; empty for several.
    pub supplier: String,
    /// Edges of its weight band as people read them, such as "0.50-0.75"; empty where
    /// it has none or it is not known.
    pub band: String,
    /// Shot condition.
    pub condition: Option<Condition>,
    /// How many fish, where they were counted: its share of the line's by weight, half
    /// up.
    pub pieces: Option<i64>,
    /// Weight of this input.
    pub weight: Weight,
    /// Fillet of the whole cut.
    pub fillet: Weight,
    /// Minutes of the whole cut, in hundredths; absent where nobody looked.
    pub minutes_e2: Option<i64>,
}

/// Weight of one supplier and species that went from one place to another.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct WeightKey {
    /// `landing`, `part`, `table`, or `outlet:` and its number.
    pub from_place: String,
    /// As `from_place`, or `ice`, `discard`, `not_weighed`, `cutting_loss`,
    /// `table_unaccounted`, `shrink`, `unaccounted`.
    pub to_place: String,
    /// Supplier of record; empty for several, and for what no lot was made of.
    pub supplier: String,
    /// ASFIS code; empty for what no lot was made of.
    pub species: String,
}

impl Kept {
    /// Weight by place, with what counts posted in the parts of the close.
    fn weights(&self, parts: &[PartBalance], found: &[Posted]) -> BTreeMap<WeightKey, Weight> {
        let of: BTreeMap<PartId, &PartBalance> =
            parts.iter().map(|part| (part.part, part)).collect();
        let mut weights = self.weight.clone();
        for posted in found {
            for (to_place, weight) in [
                ("shrink", posted.shrink),
                ("unaccounted", posted.unaccounted),
            ] {
                if weight == Weight::ZERO {
                    continue;
                }
                let part = of.get(&posted.part);
                let key = WeightKey {
                    from_place: "part".to_owned(),
                    to_place: to_place.to_owned(),
                    supplier: part.map_or_else(String::new, |part| part.supplier.clone()),
                    species: part.map_or_else(String::new, |part| part.species.clone()),
                };
                let sum = weights.entry(key).or_default();
                *sum = [*sum, weight].into_iter().sum();
            }
        }
        weights
    }

    /// The rows of cuts; `key` is site, day and revision.
    pub(super) fn cut_rows(&self, key: &[Cell; 3]) -> Vec<Row> {
        let row = |cut: &CutInput| {
            let cells: [Cell; 15] = [
                cut.entry.into(),
                cut.n.into(),
                cut.happened_us.into(),
                cut.cutter.as_str().into(),
                cut.kitchen.as_str().into(),
                cut.specification.as_str().into(),
                cut.species.as_str().into(),
                cut.presentation.number().into(),
                cut.supplier.as_str().into(),
                cut.band.as_str().into(),
                cut.condition.map_or(0, Condition::number).into(),
                cut.pieces.unwrap_or(0).into(),
                cut.weight.units().into(),
                cut.fillet.units().into(),
                cut.minutes_e2.unwrap_or(-1).into(),
            ];
            Row {
                table: &CUT_FACT,
                cells: key.iter().cloned().chain(cells).collect(),
            }
        };
        self.cuts.iter().map(row).collect()
    }

    /// The rows of weight by place, with what counts posted in the parts of the close.
    pub(super) fn weight_rows(
        &self,
        key: &[Cell; 3],
        parts: &[PartBalance],
        found: &[Posted],
    ) -> Vec<Row> {
        let row = |(place, weight): (WeightKey, Weight)| {
            let cells: [Cell; 5] = [
                place.from_place.into(),
                place.to_place.into(),
                place.supplier.into(),
                place.species.into(),
                weight.units().into(),
            ];
            Row {
                table: &WEIGHT_DAY,
                cells: key.iter().cloned().chain(cells).collect(),
            }
        };
        self.weights(parts, found).into_iter().map(row).collect()
    }
}

/// The site's latest closes from one day to another, both included, that keep a cut.
///
/// # Errors
/// Engine trouble.
pub async fn days_of_cuts(
    tx: &mut Tx,
    site: i64,
    from: DayNumber,
    to: DayNumber,
) -> Result<Vec<(DayNumber, i64)>, BooksError> {
    let sql = "SELECT c.day, c.revision \
               FROM (SELECT day, MAX(revision) AS revision FROM close \
                     WHERE site = ? AND day BETWEEN ? AND ? GROUP BY day) c \
               WHERE EXISTS (SELECT 1 FROM cut_fact f WHERE f.site = ? AND f.day = c.day \
                             AND f.revision = c.revision) \
               ORDER BY c.day";
    let [site, from, to] = [site, from, to].map(Val::Int);
    let rows = tx.fetch(sql, &[site, from, to, site]).await?;
    Ok(rows.iter().map(|row| (row.int(0), row.int(1))).collect())
}

/// What went into a site's cuts by these closes, each a day with its revision, in order
/// of entry.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn cuts_of(
    tx: &mut Tx,
    site: i64,
    closes: &[(DayNumber, i64)],
) -> Result<Vec<CutInput>, BooksError> {
    let keys: Vec<_> = closes
        .iter()
        .flat_map(|&(day, revision)| [site, day, revision].map(Val::Int))
        .collect();
    let sql = "SELECT entry, n, happened_us, cutter, kitchen, specification, species, \
                      presentation, supplier, band, condition, pieces, weight, fillet, minutes_e2 \
               FROM cut_fact WHERE (site, day, revision) IN (VALUES {keys})";
    let rows = tx.fetch_keys(sql, 3, &keys).await?;
    let mut cuts: Vec<CutInput> = rows.iter().map(cut).collect::<Result<_, _>>()?;
    cuts.sort_by_key(|cut| (cut.entry, cut.n));
    Ok(cuts)
}

/// Cuts as they are judged: of one species in one form each. What went into a cut that
/// mixed several tells nothing of any, and is left out.
#[must_use]
pub fn cut_facts(inputs: &[&CutInput]) -> Vec<CutFact> {
    inputs
        .chunk_by(|a, b| a.entry == b.entry)
        .filter_map(|inputs| {
            let first = inputs.first()?;
            let alike = |other: &&CutInput| {
                (&other.species, other.presentation) == (&first.species, first.presentation)
            };
            inputs.iter().all(alike).then(|| CutFact {
                entry: first.entry,
                day: day_of_entry(first.entry),
                happened_us: first.happened_us,
                cutter: first.cutter.clone(),
                kitchen: first.kitchen.clone(),
                specification: first.specification.clone(),
                species: first.species.clone(),
                presentation: first.presentation,
                inputs: inputs
                    .iter()
                    .map(|input| CutShare {
                        supplier: input.supplier.clone(),
                        band: input.band.clone(),
                        condition: input.condition,
                        pieces: input.pieces,
                        weight: input.weight,
                    })
                    .collect(),
                fillet: first.fillet,
                minutes_e2: first.minutes_e2,
            })
        })
        .collect()
}

fn cut(row: &Record) -> Result<CutInput, BooksError> {
    let entry = row.int(0);
    let bad = |column| corrupt("cut_fact", column, entry, BadDoc::here("a known number"));
    let known = |number: i64| (number > 0).then_some(number);
    Ok(CutInput {
        entry,
        n: row.int(1),
        happened_us: row.int(2),
        cutter: row.text(3).to_owned(),
        kitchen: row.text(4).to_owned(),
        specification: row.text(5).to_owned(),
        species: row.text(6).to_owned(),
        presentation: Presentation::from_number(row.int(7)).ok_or_else(|| bad("presentation"))?,
        supplier: row.text(8).to_owned(),
        band: row.text(9).to_owned(),
        condition: match row.int(10) {
            0 => None,
            number => Some(Condition::from_number(number).ok_or_else(|| bad("condition"))?),
        },
        pieces: known(row.int(11)),
        weight: Weight::from_units(row.int(12)),
        fillet: Weight::from_units(row.int(13)),
        minutes_e2: Some(row.int(14)).filter(|minutes_e2| *minutes_e2 >= 0),
    })
}
