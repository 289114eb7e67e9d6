//! How long a fish of a weight should be: the published relations for lionfish.
//!
//! Each is W = a L^b with W in grams and L the total length in millimetres. They
//! disagree by a third at one weight, so no single one judges a reading: only
//! where every one of them puts the mean fish outside the believable range is
//! it asked about. A length in centimetres put into them is the published trap:
//! it makes the weight a thousand times too small.
//!
//! Floats are for this question alone. It never changes a weight or an amount.

#![cfg_attr(
    not(test),
    expect(
        clippy::float_arithmetic,
        reason = "published relations are powers; they ask and never book"
    )
)]

use crate::office::Species;
use crate::weight::Weight;

/// A published relation of total length (mm) and weight (g) of whole lionfish.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Relation {
    /// Where it was published.
    pub source: &'static str,
    /// Factor.
    pub a: f64,
    /// Power.
    pub b: f64,
}

impl Relation {
    /// Grams of a fish of `mm` total length.
    #[must_use]
    pub fn grams(&self, mm: f64) -> f64 {
        self.a * libm::pow(mm, self.b)
    }

    /// Total length in millimetres of a fish of `grams`.
    #[must_use]
    pub fn mm(&self, grams: f64) -> f64 {
        libm::pow(grams / self.a, 1.0 / self.b)
    }
}

/// 10^-5.4940, as published: log10 W = 3.2347 log10 L - 5.4940.
const A_2019: f64 = 3.206_269_324_505_467_6e-6;

/// The relations for lionfish: Villasenor-Derbez and Fitzgerald 2019 (PeerJ
/// 7:e6667), with those it compares itself with in its table S3.
pub const LIONFISH: [Relation; 7] = [
    Relation {
        source: "Villasenor-Derbez and Fitzgerald 2019",
        a: A_2019,
        b: 3.2347,
    },
    Relation {
        source: "Barbour 2011",
        a: 2.89e-5,
        b: 2.89,
    },
    Relation {
        source: "Edwards 2014",
        a: 3e-6,
        b: 3.24,
    },
    Relation {
        source: "Fogg 2013",
        a: 1.38e-6,
        b: 3.4349,
    },
    Relation {
        source: "Dahl and Patterson 2014",
        a: 2.07e-6,
        b: 3.34,
    },
    Relation {
        source: "Chin 2016",
        a: 2.75e-5,
        b: 2.85,
    },
    Relation {
        source: "de Leon 2013",
        a: 2.285e-5,
        b: 2.89,
    },
];

/// The relations for a species; none for a species that has none here.
#[must_use]
pub fn relations(species: &Species) -> &'static [Relation] {
    let lionfish = species.code == "PZO"
        || species
            .scientific_name
            .trim_start()
            .to_lowercase()
            .starts_with("pterois ");
    if lionfish { &LIONFISH } else { &[] }
}

/// Shortest and longest total length, in whole millimetres, that the relations
/// give for the mean of `pieces` fish weighing `net` together. None where there
/// is no relation or nothing to work it out from.
#[must_use]
pub fn implied_mm(relations: &[Relation], net: Weight, pieces: i64) -> Option<(i64, i64)> {
    let grams: f64 = net.grams().parse().ok()?;
    let pieces = f64::from(u32::try_from(pieces).ok().filter(|n| *n > 0)?);
    let whole = |mm: f64| format!("{:.0}", libm::round(mm)).parse::<i64>().ok();
    let mut range: Option<(i64, i64)> = None;
    for relation in relations {
        let mm = whole(relation.mm(grams / pieces))?;
        range = Some(range.map_or((mm, mm), |(low, high)| (low.min(mm), high.max(mm))));
    }
    range
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::weight::WeightUnit;

    /// 109 lionfish, total length in cm and weight in g: the data of
    /// Villasenor-Derbez and Fitzgerald 2019, PeerJ 7:e6667 (CC BY 4.0).
    const FISH: &str = include_str!("length_weight/lionfish-109.txt");

    fn fish() -> Vec<(f64, f64)> {
        let fish = FISH.lines().filter(|line| !line.starts_with('#'));
        fish.map(|line| {
            let (cm, g) = line.split_once(' ').unwrap();
            (cm.parse().unwrap(), g.parse().unwrap())
        })
        .collect()
    }

    fn sum(relation: &Relation, mm_in_cm: f64) -> f64 {
        fish()
            .iter()
            .map(|(cm, _)| relation.grams(cm * mm_in_cm))
            .sum()
    }

    #[test]
    fn each_relation_predicts_its_published_sum_for_the_109_fish() {
        // Table S3 of the same paper, to 0.01 g.
        for (source, published) in [
            ("Barbour 2011", 8039.97),
            ("Edwards 2014", 5415.68),
            ("Fogg 2013", 7097.72),
            ("Dahl and Patterson 2014", 6391.44),
            ("Chin 2016", 6183.76),
            ("de Leon 2013", 6356.86),
        ] {
            let relation = LIONFISH.iter().find(|r| r.source == source).unwrap();
            let predicted = sum(relation, 10.0);
            assert!(
                (predicted - published).abs() <= 0.01,
                "{source}: {predicted}"
            );
            // The published trap: centimetres where millimetres belong.
            assert!(sum(relation, 1.0) < published / 500.0, "{source}");
        }
    }

    #[test]
    fn the_fish_are_those_of_the_paper() {
        // Same paper: 109 fish, 5729.34 g in all, mean 52.56 g.
        let fish = fish();
        let total: f64 = fish.iter().map(|(_, g)| g).sum();
        assert_eq!(fish.len(), 109);
        assert!((total - 5729.34).abs() < 0.005, "{total}");
        assert!((total / 109.0 - 52.56).abs() < 0.005);
    }

    #[test]
    fn the_relation_of_2019_is_the_published_logarithm() {
        assert!((libm::log10(A_2019) - -5.4940).abs() < 1e-12);
        // Longest of the 109: 31 cm and 303.7 g, within a third of the relation.
        let grams = LIONFISH[0].grams(310.0);
        assert!((grams / 303.7 - 1.0).abs() < 0.34, "{grams}");
    }

    #[test]
    fn length_and_weight_undo_one_another() {
        for relation in LIONFISH {
            for mm in [50.0, 120.0, 300.0, 470.0] {
                assert!((relation.mm(relation.grams(mm)) - mm).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_weight_implies_a_range_of_lengths() {
        let lb = |text: &str| WeightUnit::Lb.weigh(text).unwrap();
        // 0.80 lb is 362.9 g: the shortest and the longest were worked out by hand
        // from a and b with a pocket calculator: (362.874 / a) ^ (1 / b).
        assert_eq!(implied_mm(&LIONFISH, lb("40"), 50), Some((283, 315)));
        assert_eq!(implied_mm(&LIONFISH, lb("0.8"), 1), Some((283, 315)));
        assert_eq!(implied_mm(&LIONFISH, lb("0.8"), 0), None);
        assert_eq!(implied_mm(&[], lb("0.8"), 1), None);
    }

    #[test]
    fn only_lionfish_has_relations() {
        let species = |code: &str, scientific: &str| Species {
            code: code.to_owned(),
            name: "Fish".to_owned(),
            scientific_name: scientific.to_owned(),
            hazards: Vec::new(),
            lightest: None,
            heaviest: None,
        };
        for (code, scientific, has) in [
            ("PZO", "", true),
            ("PZO", "Pterois volitans", true),
            ("XYZ", "Pterois miles", true),
            ("LCX", "Lachnolaimus maximus", false),
            ("XYZ", "Pteroisina", false),
        ] {
            assert_eq!(
                !relations(&species(code, scientific)).is_empty(),
                has,
                "{code} {scientific}"
            );
        }
    }
}
