//! How far a scale may be off, and the least load it should weigh, by its
//! accuracy class.
//!
//! NIST Handbook 44, section 2.20: table 6 gives maintenance tolerances in scale
//! divisions by the number of divisions of the load, table 8 the recommended
//! minimum load. Class III is what a dock has and what was read in the 2023
//! edition; the other classes are from memory. A class that the tables do not
//! list is not known here, and nothing is claimed about its scale.

use crate::office::Scale;
use crate::weight::Weight;

/// Accuracy class of a scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AccuracyClass {
    /// Precision laboratory weighing.
    I,
    /// Laboratory weighing, jewels.
    II,
    /// Commercial weighing: the dock's.
    III,
    /// Vehicles and the like, class III L.
    IIIL,
    /// Wheel loads and the like.
    IIII,
}

impl AccuracyClass {
    /// The class as it is marked on a scale; absent where the handbook lists no
    /// such class.
    #[must_use]
    pub fn marked(text: &str) -> Option<AccuracyClass> {
        match text.trim() {
            "I" => Some(AccuracyClass::I),
            "II" => Some(AccuracyClass::II),
            "III" => Some(AccuracyClass::III),
            "III L" | "IIIL" => Some(AccuracyClass::IIIL),
            "IIII" => Some(AccuracyClass::IIII),
            _ => None,
        }
    }

    /// Least load that should be weighed, in divisions (table 8).
    ///
    /// Class II has 20 up to a division of 0.05 g and 50 above.
    #[must_use]
    pub fn least_divisions(self, division: Weight) -> i64 {
        match self {
            AccuracyClass::I => 100,
            AccuracyClass::II if division <= FIVE_CENTIGRAMS => 20,
            AccuracyClass::II | AccuracyClass::IIIL => 50,
            AccuracyClass::III => 20,
            AccuracyClass::IIII => 10,
        }
    }
}

/// 0.05 g.
const FIVE_CENTIGRAMS: Weight = Weight::from_units(5_000_000);

/// Divisions of permissible error above the last step of classes III and IIII.
const WIDEST: i64 = 5;

/// Divisions a scale in use may be off at `load` (table 6, maintenance; a scale
/// just accepted may be off by half of it).
///
/// A load exactly at the end of a step still belongs to it: 500 divisions may be
/// off by 1, the next by 2.
#[must_use]
pub fn permissible_divisions(class: AccuracyClass, load: Weight, division: Weight) -> Option<i64> {
    if division <= Weight::ZERO || load.is_negative() {
        return None;
    }
    let within = |divisions: i64| {
        let end = i128::from(divisions).saturating_mul(i128::from(division.units()));
        i128::from(load.units()) <= end
    };
    let [one, two, three] = match class {
        AccuracyClass::I => [50_000, 200_000, i64::MAX],
        AccuracyClass::II => [5_000, 20_000, i64::MAX],
        AccuracyClass::III => [500, 2_000, 4_000],
        AccuracyClass::IIII => [50, 200, 400],
        AccuracyClass::IIIL => {
            // One for each 500 begun.
            let last = load.units().saturating_sub(1).max(0);
            let step = division.units().saturating_mul(500);
            return last.checked_div(step)?.checked_add(1);
        }
    };
    Some(if within(one) {
        1
    } else if within(two) {
        2
    } else if within(three) {
        3
    } else {
        WIDEST
    })
}

/// Weight a scale in use may be off at `load`; absent where its class is not
/// known.
#[must_use]
pub fn permissible_error(scale: &Scale, load: Weight) -> Option<Weight> {
    let class = AccuracyClass::marked(&scale.accuracy_class)?;
    let division = scale.division.weight;
    let divisions = permissible_divisions(class, load, division)?;
    division
        .units()
        .checked_mul(divisions)
        .map(Weight::from_units)
}

/// Least load that should be weighed on a scale; absent where its class is not
/// known.
#[must_use]
pub fn least_load(scale: &Scale) -> Option<Weight> {
    let class = AccuracyClass::marked(&scale.accuracy_class)?;
    let division = scale.division.weight;
    let least = class.least_divisions(division);
    division.units().checked_mul(least).map(Weight::from_units)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::weight::{Reading, ReadingSource, WeightUnit};

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap()
    }

    fn scale(class: &str, division: &str) -> Scale {
        let reading =
            |text: &str| Reading::new(text, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap();
        Scale {
            site: 1,
            code: "dock".to_owned(),
            name: "Dock scale".to_owned(),
            accuracy_class: class.to_owned(),
            division: reading(division),
            capacity: reading("500"),
            tested_on: None,
            line: String::new(),
        }
    }

    #[test]
    fn class_iii_is_off_by_1_2_3_or_5_divisions() {
        // NIST Handbook 44 section 2.20, table 6, maintenance tolerances of class
        // III: 0-500, 501-2000, 2001-4000, 4001 and more. The worked example of
        // 500 lb x 0.05 lb: 0.15 lb at 150 lb and 0.25 lb at 500 lb.
        for (load, off) in [
            ("0", "0.05"),
            ("25", "0.05"), // 500 divisions
            ("25.05", "0.1"),
            ("100", "0.1"), // 2000
            ("100.05", "0.15"),
            ("150", "0.15"),
            ("200", "0.15"), // 4000
            ("200.05", "0.25"),
            ("500", "0.25"),
        ] {
            assert_eq!(
                permissible_error(&scale("III", "0.05"), lb(load)),
                Some(lb(off)),
                "{load}"
            );
        }
    }

    #[test]
    fn other_classes_have_steps_of_their_own() {
        // From memory of the same table.
        let d = Weight::from_units(1);
        for (class, edges) in [
            (
                AccuracyClass::I,
                [(50_000, 1), (50_001, 2), (200_000, 2), (200_001, 3)],
            ),
            (
                AccuracyClass::II,
                [(5_000, 1), (5_001, 2), (20_000, 2), (20_001, 3)],
            ),
            (AccuracyClass::IIII, [(50, 1), (51, 2), (400, 3), (401, 5)]),
            (
                AccuracyClass::IIIL,
                [(500, 1), (501, 2), (1_000, 2), (1_001, 3)],
            ),
        ] {
            for (load, off) in edges {
                assert_eq!(
                    permissible_divisions(class, Weight::from_units(load), d),
                    Some(off),
                    "{class:?} {load}"
                );
            }
        }
        assert_eq!(
            permissible_divisions(AccuracyClass::III, lb("1"), Weight::ZERO),
            None
        );
    }

    #[test]
    fn the_least_load_is_20_divisions_of_class_iii() {
        // Table 8: class III 20 divisions; the others from memory.
        for (class, division, least) in [
            ("III", "0.05", Some("1")),
            ("III", "0.01", Some("0.2")),
            (" III ", "0.01", Some("0.2")),
            ("I", "0.01", Some("1")),
            ("II", "0.01", Some("0.5")),
            ("III L", "0.01", Some("0.5")),
            ("IIII", "0.01", Some("0.1")),
            ("", "0.05", None),
            ("3", "0.05", None),
        ] {
            assert_eq!(
                least_load(&scale(class, division)),
                least.map(lb),
                "{class:?} {division}"
            );
        }
        let class_ii = AccuracyClass::II;
        assert_eq!(class_ii.least_divisions(FIVE_CENTIGRAMS), 20);
        assert_eq!(class_ii.least_divisions(Weight::from_units(5_000_001)), 50);
    }

    #[test]
    fn a_class_the_table_does_not_list_is_not_known() {
        assert_eq!(permissible_error(&scale("", "0.05"), lb("10")), None);
        assert_eq!(permissible_error(&scale("IV", "0.05"), lb("10")), None);
    }
}
