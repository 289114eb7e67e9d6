//! Plain pooled yield: what came out as fillet over what went in.
//!
//! Sums over sums, never an average of the cuts' own yields: a small cut weighs
//! as little as it is. Only a cut of one supplier's fish tells anything of a
//! supplier; a cut that mixed suppliers is left out, and its number and pounds
//! are said beside. So is a cut whose fillet was not weighed. This says what
//! came out, not why: the cutter, the size of the fish and chance are all in it.

use std::collections::{BTreeMap, BTreeSet};

use crate::decimal;
use crate::fish::Presentation;
use crate::making::{Fate, Making, MakingKind};
use crate::stock::add;
use crate::weight::Weight;

/// What a yield is of.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct YieldKey {
    /// Supplier of record; empty where it is not known, as in a pool.
    pub supplier: String,
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// At a customer's kitchen, not at the own table.
    pub customer_kitchen: bool,
}

/// Sums of a yield.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct YieldSums {
    /// Cuts of this supplier's fish alone.
    pub cuts: i64,
    /// What went into them.
    pub input: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// Cuts that mixed suppliers.
    pub mixed_cuts: i64,
    /// What of this supplier's went into those.
    pub mixed_input: Weight,
}

impl YieldSums {
    /// Pooled yield in hundredths of a percent, half up; `None` where no cut
    /// was of this supplier's fish alone.
    #[must_use]
    pub fn percent_e2(&self) -> Option<i64> {
        percent_e2(self.fillet, self.input)
    }

    /// These and others together.
    #[must_use]
    pub fn with(self, other: YieldSums) -> YieldSums {
        YieldSums {
            cuts: self.cuts.saturating_add(other.cuts),
            input: add(self.input, other.input),
            fillet: add(self.fillet, other.fillet),
            mixed_cuts: self.mixed_cuts.saturating_add(other.mixed_cuts),
            mixed_input: add(self.mixed_input, other.mixed_input),
        }
    }
}

/// `part` of `whole` in hundredths of a percent, half up once; `None` where
/// whole is not positive.
#[must_use]
pub fn percent_e2(part: Weight, whole: Weight) -> Option<i64> {
    let product = i128::from(part.units()).checked_mul(10_000)?;
    decimal::half_up(product, i128::from(whole.units()))
}

/// Pools the yields of cuts, in order of key.
#[must_use]
pub fn pooled<'a>(makings: impl IntoIterator<Item = &'a Making>) -> BTreeMap<YieldKey, YieldSums> {
    let mut sums: BTreeMap<YieldKey, YieldSums> = BTreeMap::new();
    for cut in makings.into_iter().filter(|making| tells_yield(making)) {
        let keys: BTreeSet<YieldKey> = keys(cut).map(|(key, _)| key).collect();
        let alone = keys.len() == 1 && keys.iter().all(|key| !key.supplier.is_empty());
        if alone {
            for key in keys {
                let own = YieldSums {
                    cuts: 1,
                    input: cut.input,
                    fillet: cut.fillet,
                    ..YieldSums::default()
                };
                let sum = sums.entry(key).or_default();
                *sum = sum.with(own);
            }
            continue;
        }
        for key in keys {
            let mixed = YieldSums {
                mixed_cuts: 1,
                ..YieldSums::default()
            };
            let sum = sums.entry(key).or_default();
            *sum = sum.with(mixed);
        }
        for (key, weight) in self::keys(cut) {
            let mixed = YieldSums {
                mixed_input: weight,
                ..YieldSums::default()
            };
            let sum = sums.entry(key).or_default();
            *sum = sum.with(mixed);
        }
    }
    sums
}

fn keys(cut: &Making) -> impl Iterator<Item = (YieldKey, Weight)> {
    cut.inputs.iter().map(|from| {
        let key = YieldKey {
            supplier: from.supplier.clone(),
            species: from.species.clone(),
            presentation: from.presentation,
            specification: cut.specification.clone(),
            customer_kitchen: cut.kind == MakingKind::CustomerCut,
        };
        (key, from.weight)
    })
}

/// Whether a making is a cut whose fillet was weighed.
#[must_use]
pub fn tells_yield(making: &Making) -> bool {
    let fillet = || {
        making
            .outputs
            .iter()
            .filter(|made| made.presentation.is_fillet())
    };
    matches!(making.kind, MakingKind::Cut | MakingKind::CustomerCut)
        && fillet().next().is_some()
        && fillet().all(|made| made.fate != Fate::NotWeighed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fish::Grade;
    use crate::ids::{LotCode, PartId};
    use crate::making::{Made, MadeFrom, MadeSource};
    use crate::weight::WeightUnit;

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap_or_default()
    }

    /// A cut of "ana 10, ben 2.5" into so many pounds of fillet.
    fn cut(inputs: &str, fillet: &str) -> Making {
        let Some(lot) = LotCode::new(2_031_050_200_010_000_001, 1) else {
            panic!("a lot code")
        };
        let inputs: Vec<_> = inputs
            .split(", ")
            .map(|input| {
                let (supplier, weight) = input.rsplit_once(' ').unwrap_or(("", input));
                MadeFrom {
                    source: MadeSource::Part(PartId { lot, n: 1 }),
                    weight: lb(weight),
                    emptied: false,
                    supplier: supplier.to_owned(),
                    species: "PZO".to_owned(),
                    presentation: Presentation::Whole,
                }
            })
            .collect();
        let input = inputs.iter().map(|from| from.weight).sum();
        Making {
            kind: MakingKind::Cut,
            specification: "skinless".to_owned(),
            cutter: "cutter-one".to_owned(),
            kitchen: String::new(),
            minutes: String::new(),
            inputs,
            outputs: vec![Made {
                presentation: Presentation::FilletSkinless,
                fate: Fate::Lot,
                place: Some(1),
                weight: Some(lb(fillet)),
                storage: None,
                reason: String::new(),
                grade: Grade::none(),
            }],
            input,
            fillet: lb(fillet),
            cutting_loss: Weight::ZERO,
            table_unaccounted: Weight::ZERO,
            not_weighed: Weight::ZERO,
            notices: Vec::new(),
        }
    }

    /// "supplier: cuts input fillet percent; mixed cuts and input".
    fn told(cuts: &[Making]) -> Vec<String> {
        pooled(cuts)
            .iter()
            .map(|(key, sums)| {
                format!(
                    "{}: {} {} {} {}; {} {}",
                    key.supplier,
                    sums.cuts,
                    sums.input.shown(WeightUnit::Lb),
                    sums.fillet.shown(WeightUnit::Lb),
                    sums.percent_e2()
                        .map_or("-".to_owned(), |e2| decimal::text(e2, 2)),
                    sums.mixed_cuts,
                    sums.mixed_input.shown(WeightUnit::Lb),
                )
            })
            .collect()
    }

    #[test]
    fn a_yield_is_the_sum_of_fillet_over_the_sum_of_input() {
        for (cuts, outcome) in [
            (
                vec![cut("ana 10", "3")],
                vec!["ana: 1 10.00 3.00 30.00; 0 0.00"],
            ),
            (
                vec![cut("ana 10", "3"), cut("ana 2", "0.5")],
                // 3.5 of 12, not the average of 30 and 25.
                vec!["ana: 2 12.00 3.50 29.17; 0 0.00"],
            ),
            (
                vec![cut("ana 10", "3"), cut("ana 4, ben 6", "3")],
                vec![
                    "ana: 1 10.00 3.00 30.00; 1 4.00",
                    "ben: 0 0.00 0.00 -; 1 6.00",
                ],
            ),
            (
                vec![cut("ana 4, ana 6", "3")],
                vec!["ana: 1 10.00 3.00 30.00; 0 0.00"],
            ),
            (
                vec![cut("ana 4, ben 5, ana 1", "3")],
                vec!["ana: 0 0.00 0.00 -; 1 5.00", "ben: 0 0.00 0.00 -; 1 5.00"],
            ),
            // A pool has no supplier: it tells nothing of anyone.
            (vec![cut(" 10", "3")], vec![": 0 0.00 0.00 -; 1 10.00"]),
        ] {
            assert_eq!(told(&cuts), outcome);
        }
    }

    #[test]
    fn fillet_that_was_not_weighed_tells_no_yield() {
        let mut unweighed = cut("ana 10", "3");
        unweighed.outputs[0].fate = Fate::NotWeighed;
        let mut dressed = cut("ana 10", "3");
        dressed.kind = MakingKind::Dress;
        assert_eq!(told(&[unweighed, dressed]), Vec::<String>::new());
    }

    #[test]
    fn a_customers_kitchen_and_another_cut_stand_apart() {
        let mut kitchen = cut("ana 10", "4");
        kitchen.kind = MakingKind::CustomerCut;
        let mut skin_on = cut("ana 10", "3.6");
        skin_on.specification = "skin-on".to_owned();
        let keys = pooled(&[cut("ana 10", "3"), kitchen, skin_on]);
        assert_eq!(keys.len(), 3);
    }

    #[test]
    fn a_percent_is_rounded_once_half_up() {
        for (part, whole, percent) in [
            (1, 3, Some(3_333)),
            (2, 3, Some(6_667)),
            (30_125, 100_000, Some(3_013)), // 30.125 goes up
            (0, 3, Some(0)),
            (3, 0, None),
        ] {
            let got = percent_e2(Weight::from_units(part), Weight::from_units(whole));
            assert_eq!(got, percent, "{part}/{whole}");
        }
    }

    #[test]
    fn pooled_is_not_averaged_on_published_data() {
        // 49 large cities of the United States, 1920 and 1930: Cochran, Sampling
        // Techniques, 3rd ed., ch. 6 (data as distributed with the R package
        // boot, `bigcity`). The ratio of sums is 1.23902, the mean of the ratios
        // 1.83119.
        const IN: [i64; 49] = [
            138, 93, 61, 179, 48, 37, 29, 23, 30, 2, 38, 46, 71, 25, 298, 74, 50, 76, 381, 387, 78,
            60, 507, 50, 77, 64, 40, 136, 243, 256, 94, 36, 45, 67, 120, 172, 66, 46, 121, 44, 64,
            56, 40, 116, 87, 43, 43, 161, 36,
        ];
        const OUT: [i64; 49] = [
            143, 104, 69, 260, 75, 63, 50, 48, 111, 50, 52, 53, 79, 57, 317, 93, 58, 80, 464, 459,
            106, 57, 634, 64, 89, 77, 60, 139, 291, 288, 85, 46, 53, 67, 115, 183, 86, 65, 113, 58,
            63, 142, 64, 130, 105, 61, 50, 232, 54,
        ];
        let cuts: Vec<_> = IN
            .iter()
            .zip(OUT)
            .map(|(input, fillet)| cut(&format!("ana {input}"), &fillet.to_string()))
            .collect();
        let yields = pooled(&cuts);
        let sums = yields.values().next().copied().unwrap_or_default();
        assert_eq!(
            (sums.cuts, sums.input, sums.fillet),
            (49, lb("5054"), lb("6262"))
        );
        assert_eq!(sums.percent_e2(), Some(12_390));
        // Hundredths of a percent, each ratio rounded down: 1.831 on average.
        let ratios: i64 = IN
            .iter()
            .zip(OUT)
            .map(|(input, out)| out * 10_000 / input)
            .sum();
        assert_eq!(ratios / 49, 18_311);
    }
}
