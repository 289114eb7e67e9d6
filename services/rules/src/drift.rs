//! Whether two scales of a site weigh alike.
//!
//! Fish weighed on one scale and weighed again on another the same business day is a
//! pair. Of five pairs and more the pooled ratio of the second to the first says by how
//! much the one weighs more than the other, and how sure that is. Which of the two is
//! wrong cannot be known from it: a test with weights tells. Drip that should have been
//! in between is added back; fish of a tote with an ice allowance makes no pair, because
//! what melted looks like a scale that is off. A re-weigh moves no weight, and neither
//! does a drift.

use std::collections::BTreeMap;

use crate::balance::{dripped, expected_drip};
use crate::ids::{LotCode, PartId};
use crate::office::Settings;
use crate::reweigh::{ReweighAsked, ReweighDone, Reweighed};
use crate::statistics::{ratio, whole};
use crate::stock::add;
use crate::ticket::{LotIn, Ticket, WeighIn, Weighed};
use crate::uncertainty::readings;
use crate::weight::Weight;

/// How sure an interval is.
const CONFIDENCE: f64 = 0.95;

/// Parts of a million in a whole.
const MILLION: f64 = 1e6;

/// Fish weighed on one scale, and again on another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeighedTwice {
    /// Entry of the re-weigh.
    pub entry: i64,
    /// Code of the scale that weighed first.
    pub first: String,
    /// Code of the scale that weighed again.
    pub second: String,
    /// What the first made of it.
    pub then: Weight,
    /// What the second made of it, with the drip in between.
    pub again: Weight,
}

/// A ticket as it stands, or a re-weigh: its entry, when it happened (microseconds since
/// 1970 UTC), what was asked and what came of it.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a, A, O> {
    /// Its entry id.
    pub entry: i64,
    /// When.
    pub happened_us: i64,
    /// What was asked.
    pub asked: &'a A,
    /// What came of it.
    pub outcome: &'a O,
}

impl WeighedTwice {
    /// Fish of a ticket that was weighed again the same business day; `None` where it is
    /// not one scale that weighed it first, or a scale is not named, or ice was taken
    /// off, or the book has it otherwise by then.
    #[must_use]
    pub fn of(
        then: Told<'_, WeighIn, Ticket>,
        again: Told<'_, ReweighAsked, ReweighDone>,
        settings: &Settings,
    ) -> Option<WeighedTwice> {
        let (lot, first) = match &again.asked.what {
            Reweighed::Weighing(at) => {
                let lot = nth(&then.asked.lots, at.lot)?;
                let weighing = nth(&lot.weighings, at.weighing)?;
                let weighed = then.outcome.lots.iter().find(|of| of.n == at.lot)?;
                let net = nth(&weighed.weighed, at.weighing)?;
                let scales: Vec<&str> = match &weighing.weighed {
                    Weighed::Tote { gross, .. } => vec![&gross.scale],
                    Weighed::Pieces(fish) => fish.iter().map(|one| &*one.scale).collect(),
                };
                (lot, net.ice.is_zero().then(|| one_of(scales))??)
            }
            Reweighed::Part(_) => as_first_weighed(&then, again.outcome)?,
        };
        let second = again.asked.reading.scale.clone();
        let booked = again.outcome.booked;
        if second.is_empty() || booked.is_zero() {
            return None;
        }
        let rate = settings.drip(&lot.species, lot.presentation, lot.storage);
        let time_us = again.happened_us.saturating_sub(then.happened_us);
        let drip = dripped(booked, rate.map_or(0, |rate| rate.ppm_per_day), time_us);
        Some(WeighedTwice {
            entry: again.entry,
            first,
            second,
            then: booked,
            again: add(again.asked.reading.weight, expected_drip(drip)),
        })
    }
}

/// The lot of a part that is still as its line has it, and the scale that weighed it.
fn as_first_weighed<'a>(
    then: &Told<'a, WeighIn, Ticket>,
    again: &ReweighDone,
) -> Option<(&'a LotIn, String)> {
    let number = then.outcome.number.unwrap_or(then.entry);
    let mut lots = then.outcome.lots.iter();
    let weighed =
        lots.find(|of| of.place.and_then(|at| LotCode::new(number, at)) == Some(again.lot))?;
    let mut lines = then.outcome.lines.iter();
    let line = lines.find(|line| line.lot == weighed.n && line.part == again.part)?;
    if line.net != again.booked || !line.ice.is_zero() {
        return None;
    }
    let part = PartId {
        lot: again.lot,
        n: again.part,
    };
    // The day of the readings is not looked at.
    let read = readings::of_ticket(then.entry, 0, then.asked, then.outcome);
    let of_part = read.iter().filter(|read| read.part == Some(part));
    let first = one_of(of_part.map(|read| &*read.scale).collect())?;
    Some((nth(&then.asked.lots, weighed.n)?, first))
}

/// The only scale of these, where there is one and it is named.
fn one_of(mut scales: Vec<&str>) -> Option<String> {
    scales.dedup();
    match scales[..] {
        [one] if !one.is_empty() => Some(one.to_owned()),
        _ => None,
    }
}

/// The `n`-th of a list, from 1.
fn nth<T>(of: &[T], n: i64) -> Option<&T> {
    let position = usize::try_from(n.checked_sub(1)?).ok()?;
    of.get(position)
}

/// How two scales compare.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drift {
    /// Code of the scale that weighed first.
    pub first: String,
    /// Code of the scale that weighed again.
    pub second: String,
    /// Pairs.
    pub pairs: i64,
    /// By how much the second weighs more than the first, ppm; negative is less.
    pub bias_ppm: i64,
    /// Lower end of its 95 % interval, ppm.
    pub low_ppm: i64,
    /// Upper end.
    pub high_ppm: i64,
}

impl Drift {
    /// Whether it is worth a test of both: the whole interval on one side of nothing, and
    /// the bias more than the site lets pass.
    #[must_use]
    pub fn is_flagged(&self, settings: &Settings) -> bool {
        let one_sided = self.low_ppm > 0 || self.high_ppm < 0;
        one_sided && self.bias_ppm.saturating_abs() > settings.drift_ppm()
    }
}

/// Compares each ordered pair of scales of which there are pairs enough, by code.
///
/// The ratio estimator with Student's t ([`ratio`]); rounded once, to a whole ppm.
#[must_use]
pub fn drifts(weighed: &[WeighedTwice], settings: &Settings) -> Vec<Drift> {
    let mut by_scales: BTreeMap<(&str, &str), Vec<&WeighedTwice>> = BTreeMap::new();
    for twice in weighed.iter().filter(|twice| twice.first != twice.second) {
        let key = (twice.first.as_str(), twice.second.as_str());
        by_scales.entry(key).or_default().push(twice);
    }
    let compare = |((first, second), mut pairs): ((&str, &str), Vec<&WeighedTwice>)| {
        pairs.sort_by_key(|twice| twice.entry);
        let n = i64::try_from(pairs.len()).ok()?;
        if n < settings.drift_pairs() {
            return None;
        }
        let pairs: Vec<(f64, f64)> = pairs
            .iter()
            .map(|twice| (grams(twice.then), grams(twice.again)))
            .collect();
        let pooled = ratio::pooled(&pairs)?;
        let (low, high) = pooled.interval(CONFIDENCE)?;
        let ppm = |of: f64| Some(whole(of, MILLION)?.saturating_sub(1_000_000));
        Some(Drift {
            first: first.to_owned(),
            second: second.to_owned(),
            pairs: n,
            bias_ppm: ppm(pooled.ratio)?,
            low_ppm: ppm(low)?,
            high_ppm: ppm(high)?,
        })
    };
    by_scales.into_iter().filter_map(compare).collect()
}

/// A weight in grams: its 10 ng are more than a float holds exactly above 90 kg, and what
/// is lost there is far below any scale's step.
#[expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    clippy::float_arithmetic,
    reason = "a ratio with its error is no whole number; it judges and books nothing"
)]
fn grams(weight: Weight) -> f64 {
    weight.units() as f64 / 1e8
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use proptest::prelude::*;

    use super::*;
    use crate::weight::WeightUnit;

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap()
    }

    /// "dock piece 40.00 40.30" of each.
    fn weighed(pairs: &[&str]) -> Vec<WeighedTwice> {
        let twice = |(entry, text): (i64, &&str)| {
            let words: Vec<_> = text.split(' ').collect();
            let [first, second, then, again] = words[..] else {
                panic!("{text}")
            };
            WeighedTwice {
                entry,
                first: first.to_owned(),
                second: second.to_owned(),
                then: lb(then),
                again: lb(again),
            }
        };
        (1..).zip(pairs).map(twice).collect()
    }

    #[test]
    fn a_bias_is_the_pooled_ratio_with_students_interval() {
        // By hand: sums 150 and 151.2, ratio 1.008. Differences y - 1.008 x: 0.02, 0.04,
        // -0.04, -0.02, 0 -> squares 0.004, deviation sqrt(0.004 / 4) = 0.0316228, error
        // 0.0316228 x sqrt(5) / 150 = 0.000471405; t(0.975, 4) = 2.776445: 0.001308828.
        let pairs = [
            "dock piece 10 10.10",
            "dock piece 20 20.20",
            "dock piece 30 30.20",
            "dock piece 40 40.30",
            "dock piece 50 50.40",
        ];
        let found = drifts(&weighed(&pairs), &Settings::default());
        let drift = Drift {
            first: "dock".to_owned(),
            second: "piece".to_owned(),
            pairs: 5,
            bias_ppm: 8_000,
            low_ppm: 6_691,
            high_ppm: 9_309,
        };
        assert_eq!(found, [drift]);
        assert!(found[0].is_flagged(&Settings::default()));
        // Fewer pairs say nothing, and neither do those of another pair of scales.
        let other = [
            "piece dock 10 10.10",
            "dock table 10 10.10",
            "dock dock 10 11",
        ];
        let fewer: Vec<_> = pairs[..4].iter().chain(&other).copied().collect();
        assert_eq!(drifts(&weighed(&fewer), &Settings::default()), []);
        let four = Settings {
            drift_pairs: Some(4),
            ..Settings::default()
        };
        assert_eq!(drifts(&weighed(&fewer), &four).len(), 1);
    }

    #[test]
    fn a_drift_is_flagged_beyond_chance_and_beyond_what_the_site_lets_pass() {
        for (bias, low, high, flagged) in [
            (3_000, 1_000, 5_000, false), // exactly 0.3 %
            (3_001, 1_000, 5_002, true),
            (8_000, 0, 16_000, false), // the interval touches nothing
            (8_000, 1, 15_999, true),
            (-8_000, -15_999, -1, true),
            (-8_000, -16_000, 0, false),
            (0, -100, 100, false),
        ] {
            let drift = Drift {
                first: "dock".to_owned(),
                second: "piece".to_owned(),
                pairs: 5,
                bias_ppm: bias,
                low_ppm: low,
                high_ppm: high,
            };
            let got = drift.is_flagged(&Settings::default());
            assert_eq!(got, flagged, "{bias} in {low} to {high}");
        }
    }

    proptest! {
        /// The order in which fish was weighed again changes nothing, and the bias lies in
        /// its interval.
        #[test]
        fn drift_is_the_same_in_any_order(
            loads in proptest::collection::vec((100_i64..15_000, -50_i64..50), 5..20),
            turn in 0_usize..20,
        ) {
            let cent = lb("0.01").units();
            let twice = |(entry, &(load, off)): (i64, &(i64, i64))| WeighedTwice {
                entry,
                first: "dock".to_owned(),
                second: "piece".to_owned(),
                then: Weight::from_units(load * cent),
                again: Weight::from_units((load + off) * cent),
            };
            let mut weighed: Vec<_> = (1..).zip(&loads).map(twice).collect();
            let one = drifts(&weighed, &Settings::default());
            let by = turn % weighed.len();
            weighed.rotate_left(by);
            prop_assert_eq!(&one, &drifts(&weighed, &Settings::default()));
            for drift in &one {
                prop_assert!(drift.low_ppm <= drift.bias_ppm && drift.bias_ppm <= drift.high_ppm);
            }
        }
    }
}
