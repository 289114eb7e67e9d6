//! How a budget, what is not certain of a weight on hand, stands in a row: as canonical
//! JSON, sums that are nothing left out. Empty text is a row of before budgets were
//! kept.

use rules::fish::{Presentation, Storage};
use rules::ids::DayNumber;
use rules::uncertainty::{Budget, Spread, Unknown};

use super::read;
use crate::doc::{BadDoc, Doc, Value, canonical};
use crate::doc_struct;

/// Text of a budget.
pub(super) fn text(budget: &Budget) -> String {
    if *budget == Budget::before() {
        return String::new();
    }
    let Budget {
        scales,
        drips,
        rounding,
        water,
        totes,
        unknown,
    } = budget;
    let kept = Kept {
        scales: scales
            .iter()
            .map(|((scale, day), width)| KeptScale {
                scale: scale.clone(),
                day: *day,
                width: *width,
            })
            .collect(),
        drips: drips
            .iter()
            .map(|((species, presentation, storage), width)| KeptDrip {
                species: species.clone(),
                presentation: *presentation,
                storage: *storage,
                width: *width,
            })
            .collect(),
        rounding: *rounding,
        water: *water,
        totes: *totes,
        unknown: unknown.iter().cloned().collect(),
    };
    canonical(&kept.to_doc())
}

/// Reads a budget back.
///
/// # Errors
/// Text that is none.
pub(super) fn from_text(text: &str) -> Result<Budget, BadDoc> {
    if text.is_empty() {
        return Ok(Budget::before());
    }
    let kept: Kept = read(text)?;
    Ok(Budget {
        scales: kept
            .scales
            .into_iter()
            .map(|of| ((of.scale, of.day), of.width))
            .collect(),
        drips: kept
            .drips
            .into_iter()
            .map(|of| ((of.species, of.presentation, of.storage), of.width))
            .collect(),
        rounding: kept.rounding,
        water: kept.water,
        totes: kept.totes,
        unknown: kept.unknown.into_iter().collect(),
    })
}

struct Kept {
    scales: Vec<KeptScale>,
    drips: Vec<KeptDrip>,
    rounding: Spread,
    water: Spread,
    totes: Spread,
    unknown: Vec<Unknown>,
}

#[derive(PartialEq)]
struct KeptScale {
    scale: String,
    day: DayNumber,
    width: i64,
}

#[derive(PartialEq)]
struct KeptDrip {
    species: String,
    presentation: Presentation,
    storage: Storage,
    width: i128,
}

doc_struct! {
    Kept { ; later scales, drips, rounding, water, totes, unknown }
    KeptScale { scale, day, width }
    KeptDrip { species, presentation, storage, width }
    Spread { times, squares }
}

const BEFORE: &str = "before";
const NOT_NAMED: &str = "no scale";
const SCALE: &str = "scale ";

impl Doc for Unknown {
    fn to_doc(&self) -> Value {
        Value::String(match self {
            Unknown::Before => BEFORE.to_owned(),
            Unknown::NotNamed => NOT_NAMED.to_owned(),
            Unknown::Untested(code) => format!("{SCALE}{code}"),
        })
    }
    fn from_doc(value: &Value) -> Result<Unknown, BadDoc> {
        match value.as_str() {
            Some(BEFORE) => Ok(Unknown::Before),
            Some(NOT_NAMED) => Ok(Unknown::NotNamed),
            Some(text) => text
                .strip_prefix(SCALE)
                .map(|code| Unknown::Untested(code.to_owned()))
                .ok_or_else(|| BadDoc::here("why a budget is not known")),
            None => Err(BadDoc::here("text was expected")),
        }
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use std::collections::{BTreeMap, BTreeSet};

    use super::*;

    #[test]
    fn a_budget_reads_back_as_it_was_written() {
        let of = ("PZO".to_owned(), Presentation::Whole, Storage::DrainedIce);
        let all = Budget {
            scales: BTreeMap::from([(("dock scale \"2\"".to_owned(), 20_310_502), -5)]),
            drips: BTreeMap::from([(of, i128::MAX)]),
            rounding: Spread {
                times: 2,
                squares: i128::MAX,
            },
            water: Spread::default(),
            totes: Spread {
                times: 1,
                squares: 9,
            },
            unknown: BTreeSet::from([
                Unknown::Before,
                Unknown::NotNamed,
                Unknown::Untested("table".to_owned()),
                Unknown::Untested(String::new()),
            ]),
        };
        for budget in [all, Budget::default(), Budget::before()] {
            assert_eq!(from_text(&text(&budget)), Ok(budget));
        }
        assert_eq!(text(&Budget::before()), "");
        assert_eq!(text(&Budget::default()), "{}");
        let bad = from_text(r#"{"unknown":["the moon"]}"#).unwrap_err();
        assert_eq!(bad.path, "unknown.[0]");
    }
}
