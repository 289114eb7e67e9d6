//! What small fish gave at the table, from cuts on record.
//!
//! Only cuts at the own table whose fish was all of one band tell anything of a band;
//! minutes a fish only those of them that were timed and whose fish were counted.
//! Yield and minutes are pooled, sum over sum, never averaged over cuts, each with
//! the standard error of a pooled ratio. Fewer than [`LEAST_CUTS`] cuts say too
//! little of their own spread: then the common practice of one cut stands for it.

#![cfg_attr(
    not(test),
    expect(
        clippy::as_conversions,
        reason = "how sure a ratio is, for advice; nothing here is booked"
    )
)]

use std::collections::BTreeMap;

use super::{AtTheTable, MINUTES_OF_ONE_CUT_PERCENT, YIELD_OF_ONE_CUT_E2};
use crate::fish::Presentation;
use crate::statistics::{ratio, whole};
use crate::supplier_yield::CutFact;
use crate::weight::Weight;

/// Cuts from which on their own spread says how sure a figure is.
pub const LEAST_CUTS: usize = 5;

/// Cuts of one band.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BandAtTable {
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// As people read it; never empty.
    pub band: String,
    /// Cuts.
    pub cuts: i64,
    /// What went into them.
    pub input: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// Hundredths of a percent, with its standard error.
    pub yield_e2: (i64, i64),
    /// Cuts that were timed and whose fish were counted.
    pub timed_cuts: i64,
    /// Of those: one fish.
    pub piece: Option<Weight>,
    /// Hundredths of a minute for one fish, with its standard error.
    pub minutes_e2: Option<(i64, i64)>,
}

impl BandAtTable {
    /// As it can be weighed against soup; `None` without minutes.
    #[must_use]
    pub fn at_the_table(&self) -> Option<AtTheTable> {
        let (yield_e2, yield_u_e2) = self.yield_e2;
        let (minutes_e2, minutes_u_e2) = self.minutes_e2?;
        Some(AtTheTable {
            piece: self.piece?,
            yield_e2,
            yield_u_e2,
            minutes_e2,
            minutes_u_e2,
        })
    }
}

/// Cuts at the own table by band, in order of species, form, specification and band.
#[must_use]
pub fn by_band(cuts: &[CutFact]) -> Vec<BandAtTable> {
    let mut bands: BTreeMap<(&str, Presentation, &str, &str), Vec<&CutFact>> = BTreeMap::new();
    for cut in cuts {
        if let Some(band) = only_band(cut) {
            let key = (
                cut.species.as_str(),
                cut.presentation,
                cut.specification.as_str(),
                band,
            );
            bands.entry(key).or_default().push(cut);
        }
    }
    bands
        .into_iter()
        .filter_map(|((species, presentation, specification, band), cuts)| {
            let timed: Vec<_> = cuts.iter().filter_map(|cut| timed(cut)).collect();
            let pieces = timed.iter().map(|(pieces, ..)| pieces).sum::<i64>();
            let weight: Weight = timed.iter().map(|(.., weight)| *weight).sum();
            Some(BandAtTable {
                species: species.to_owned(),
                presentation,
                specification: specification.to_owned(),
                band: band.to_owned(),
                cuts: i64::try_from(cuts.len()).ok()?,
                input: cuts.iter().map(|cut| cut.input()).sum(),
                fillet: cuts.iter().map(|cut| cut.fillet).sum(),
                yield_e2: pooled_e2(
                    cuts.iter()
                        .map(|cut| (units(cut.input()), units(cut.fillet))),
                    10_000.0,
                    |_| YIELD_OF_ONE_CUT_E2,
                )?,
                timed_cuts: i64::try_from(timed.len()).ok()?,
                piece: weight.units().checked_div(pieces).map(Weight::from_units),
                minutes_e2: pooled_e2(
                    timed
                        .iter()
                        .map(|(pieces, e2, _)| (*pieces as f64, *e2 as f64)),
                    1.0,
                    |e2| {
                        e2.saturating_mul(MINUTES_OF_ONE_CUT_PERCENT)
                            .div_euclid(100)
                    },
                ),
            })
        })
        .collect()
}

/// The band of all fish of a cut at the own table.
fn only_band(cut: &CutFact) -> Option<&str> {
    let first = cut.inputs.first()?.band.as_str();
    let alone = cut.inputs.iter().all(|share| share.band == first);
    (cut.kitchen.is_empty() && alone && !first.is_empty() && cut.input() > Weight::ZERO)
        .then_some(first)
}

/// Fish, hundredths of a minute and weight of a cut that was timed and counted.
fn timed(cut: &CutFact) -> Option<(i64, i64, Weight)> {
    let pieces = cut
        .inputs
        .iter()
        .try_fold(0_i64, |sum, share| sum.checked_add(share.pieces?))?;
    (pieces > 0).then_some((pieces, cut.minutes_e2?, cut.input()))
}

/// Sum of y over sum of x at a scale, with its standard error: that of one cut where
/// there are too few.
fn pooled_e2(
    pairs: impl Iterator<Item = (f64, f64)>,
    scale: f64,
    of_one: impl Fn(i64) -> i64,
) -> Option<(i64, i64)> {
    let pairs: Vec<_> = pairs.collect();
    let pooled = ratio::pooled(&pairs)?;
    let figure = whole(pooled.ratio, scale)?;
    let own = || whole(pooled.standard_error()?, scale);
    let error = (pairs.len() >= LEAST_CUTS).then(own).flatten();
    Some((figure, error.unwrap_or_else(|| of_one(figure))))
}

fn units(weight: Weight) -> f64 {
    weight.units() as f64
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::supplier_yield::CutShare;
    use crate::weight::WeightUnit;

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap()
    }

    /// A cut of "band pieces pounds, ...", into so much fillet in so many minutes.
    fn cut(inputs: &str, fillet: &str, minutes_e2: Option<i64>) -> CutFact {
        let inputs = inputs
            .split(", ")
            .map(|share| {
                let words: Vec<&str> = share.split(' ').collect();
                CutShare {
                    supplier: "ana".to_owned(),
                    band: words[0].trim_matches('-').to_owned(),
                    condition: None,
                    pieces: words[1].parse().ok(),
                    weight: lb(words[2]),
                }
            })
            .collect();
        CutFact {
            entry: 1,
            day: 20_310_502,
            happened_us: 0,
            cutter: "cutter-one".to_owned(),
            kitchen: String::new(),
            specification: "skinless".to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            inputs,
            fillet: lb(fillet),
            minutes_e2,
        }
    }

    #[test]
    fn a_band_is_told_by_cuts_of_that_band_alone() {
        let mut kitchen = cut("small 40 20", "9", Some(1_000));
        kitchen.kitchen = "galley".to_owned();
        let cuts = [
            cut("small 40 20", "4", Some(6_000)),
            cut("small 20 10, small 20 10", "4.4", Some(6_600)),
            cut("small ? 20", "4.2", Some(1_000)), // not counted: a yield, no minutes
            cut("small 40 20", "4.2", None),
            cut("small 40 20, mid 10 8", "9", Some(6_000)),
            cut("- 40 20", "9", Some(6_000)),
            kitchen,
        ];
        let bands = by_band(&cuts);
        assert_eq!(bands.len(), 1);
        let small = &bands[0];
        assert_eq!((small.band.as_str(), small.cuts), ("small", 4));
        // 16.8 of 80 lb; four cuts are too few to say how sure it is by themselves.
        assert_eq!(small.yield_e2, (2_100, YIELD_OF_ONE_CUT_E2));
        // 126 minutes for 80 fish of half a pound.
        assert_eq!((small.timed_cuts, small.piece), (2, Some(lb("0.5"))));
        assert_eq!(small.minutes_e2, Some((158, 23)));
    }

    #[test]
    fn many_cuts_say_themselves_how_sure_they_are() {
        let cuts: Vec<_> = ["4", "4.4", "3.6", "4.2", "3.8"]
            .iter()
            .map(|fillet| cut("small 40 20", fillet, Some(6_000)))
            .collect();
        let small = &by_band(&cuts)[0];
        // Deviations 0, .4, -.4, .2, -.2 lb: s = sqrt(.4 / 4), over 20 lb and root 5.
        assert_eq!(small.yield_e2, (2_000, 71));
        assert_eq!(small.minutes_e2, Some((150, 0)));
    }
}
