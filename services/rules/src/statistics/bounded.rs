//! Shares between 0 and 1 out of cuts that mixed them.
//!
//! A cut of two suppliers' fish says one thing about both; of many cuts in different
//! shares, least squares tells them apart. A yield is never below 0 or above 1, so every
//! coefficient is bounded to that. The method is the active set of bounded least squares
//! (Stark and Parker 1995, Computational Statistics 10, 129-141; cited from memory):
//! free the bound that pulls most inwards, solve for the free ones, and where one leaves
//! its bounds go only as far as it may and fix it there.
//!
//! At a bound a plain standard error is wrong, so there the interval is a bootstrap over
//! the rows, which is given its seed.

use crate::statistics::least_squares::{Fit, Row, Triangle};
use crate::statistics::quantile;

/// A pull inwards counts above this share of what the lengths could make.
const PULL: f64 = 1e-10;

/// A bounded fit.
#[derive(Debug, Clone)]
pub struct Bounded {
    /// Coefficient of each column, from 0 to 1.
    pub coefficients: Vec<f64>,
    /// Columns that are at no bound.
    pub inside: Vec<bool>,
    /// The fit of those, with the others at their bounds.
    pub fit: Fit,
}

/// Fits with every coefficient from 0 to 1.
#[must_use]
pub fn fit(triangle: &Triangle, columns: usize) -> Bounded {
    let mut at = vec![0.0; columns];
    let mut free: Vec<usize> = Vec::new();
    // Each round lowers the squares, so no set of free columns comes again; the count
    // is only a last resort against rounding.
    for _ in 0..10 * columns {
        let pull = triangle.descent(&at);
        let inwards = |column: &usize| {
            let pull = pull.get(*column).copied().unwrap_or_default();
            let (own, of_y) = triangle.lengths(*column);
            let pull = if at.get(*column).is_some_and(|x| *x >= 1.0) {
                -pull
            } else {
                pull
            };
            (pull > PULL * own * of_y).then_some(pull / own)
        };
        let next = (0..columns)
            .filter(|column| !free.contains(column))
            .filter_map(|column| Some((inwards(&column)?, column)))
            .max_by(|one, other| one.0.total_cmp(&other.0).then(other.1.cmp(&one.1)));
        let Some((_, column)) = next else { break };
        free.push(column);
        free.sort_unstable();
        settle(triangle, &mut at, &mut free);
    }
    Bounded {
        inside: (0..columns).map(|column| free.contains(&column)).collect(),
        fit: triangle.fit_beside(&free, &at),
        coefficients: at,
    }
}

/// Solves for the free columns; one that would leave its bounds is fixed where it meets
/// them.
fn settle(triangle: &Triangle, at: &mut [f64], free: &mut Vec<usize>) {
    while !free.is_empty() {
        let solved = triangle.fit_beside(free, at);
        // An aliased column stays where it is.
        let wanted = |column: usize, at: &[f64]| {
            let here = at.get(column).copied().unwrap_or_default();
            (here, solved.coefficient(column).unwrap_or(here))
        };
        let mut first: Option<(f64, usize, f64)> = None;
        for column in free.iter().copied() {
            let (here, there) = wanted(column, at);
            let bound = if there < 0.0 {
                0.0
            } else if there > 1.0 {
                1.0
            } else {
                continue;
            };
            let part = (bound - here) / (there - here);
            if first.is_none_or(|(least, ..)| part < least) {
                first = Some((part, column, bound));
            }
        }
        let part = first.map_or(1.0, |(part, ..)| part);
        for column in free.iter().copied() {
            let (here, there) = wanted(column, at);
            if let Some(place) = at.get_mut(column) {
                *place = here + part * (there - here);
            }
        }
        let Some((_, column, bound)) = first else {
            return;
        };
        if let Some(place) = at.get_mut(column) {
            *place = bound;
        }
        free.retain(|other| *other != column);
    }
}

/// Interval of a coefficient by Student's t: right where neither it nor one that shares
/// rows with it is at a bound. `None` where no row is left to tell.
#[must_use]
pub fn t_interval(found: &Bounded, column: usize, confidence: f64) -> Option<(f64, f64)> {
    let degrees = found.fit.degrees() as f64;
    let t = quantile::t(f64::midpoint(1.0, confidence), degrees).ok()?;
    let half = t * found.fit.error(column)?;
    let value = found.fit.coefficient(column)?;
    Some((value - half, value + half))
}

/// Interval of each coefficient: percentiles of `draws` bounded fits to rows drawn anew
/// with `seed`. `None` where too few of them had the column at all.
#[must_use]
pub fn bootstrap(
    rows: &[Row],
    columns: usize,
    confidence: f64,
    draws: usize,
    seed: u64,
) -> Vec<Option<(f64, f64)>> {
    let mut drawn: Vec<Vec<f64>> = vec![Vec::with_capacity(draws); columns];
    let mut chance = Chance(seed);
    for _ in 0..draws {
        let again: Vec<Row> = rows
            .iter()
            .filter_map(|_| rows.get(chance.below(rows.len())).cloned())
            .collect();
        let Some(triangle) = Triangle::of(&again, columns) else {
            continue;
        };
        // A column that none of the rows drawn has tells nothing of itself.
        let fitted = fit(&triangle, columns);
        for (column, (values, value)) in drawn.iter_mut().zip(fitted.coefficients).enumerate() {
            if triangle.lengths(column).0 > 0.0 {
                values.push(value);
            }
        }
    }
    let tail = (1.0 - confidence) / 2.0;
    let of = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        Some((percentile(&values, tail)?, percentile(&values, 1.0 - tail)?))
    };
    drawn.into_iter().map(of).collect()
}

/// Percentile of rising values, between the two nearest in proportion; `None` of fewer
/// than twenty.
fn percentile(rising: &[f64], p: f64) -> Option<f64> {
    if rising.len() < 20 {
        return None;
    }
    let place = p * (rising.len() as f64 - 1.0);
    let below = rising.get(libm::floor(place) as usize)?;
    let above = rising.get(libm::ceil(place) as usize)?;
    Some(below + (above - below) * (place - libm::floor(place)))
}

/// SplitMix64 (Steele, Lea and Flood 2014; constants from memory).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number below `n`.
    fn below(&mut self, n: usize) -> usize {
        let wide = u128::from(self.next()) * n as u128;
        (wide >> 64) as usize
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    fn cuts(shares: &[(f64, f64, f64)]) -> Vec<Row> {
        shares
            .iter()
            .map(|(a, b, y)| Row {
                x: vec![*a, *b],
                y: *y,
                weight: 1.0 / (a + b),
            })
            .collect()
    }

    fn fitted(rows: &[Row]) -> Bounded {
        fit(&Triangle::of(rows, 2).unwrap(), 2)
    }

    #[test]
    fn two_suppliers_in_different_shares_are_told_apart() {
        // 0.30 and 0.40, with 0.1 lb too much and too little.
        let rows = cuts(&[
            (10.0, 10.0, 7.1),
            (15.0, 5.0, 6.4),
            (5.0, 15.0, 7.5),
            (12.0, 8.0, 6.8),
        ]);
        let found = fitted(&rows);
        assert_eq!(found.inside, [true, true]);
        let [a, b] = found.coefficients[..] else {
            panic!("two")
        };
        assert!(
            (a - 0.30).abs() < 0.01 && (b - 0.40).abs() < 0.01,
            "{a} {b}"
        );
        let (low, high) = t_interval(&found, 0, 0.95).unwrap();
        assert!(low < a && a < high && high - low < 0.1, "{low} {high}");
    }

    #[test]
    fn what_would_be_below_nothing_is_nothing_and_the_other_gives_way() {
        // Free, the first would be -0.1; at 0 the other is fitted alone: the sum of the
        // fillet over the sum of its pounds where each row weighs 1 / input, by hand:
        // (10x4.5/20 + 15x7/20) / (100/20 + 225/20) = 7.5 / 16.25.
        let rows = cuts(&[(10.0, 10.0, 4.5), (5.0, 15.0, 7.0)]);
        let found = fitted(&rows);
        assert_eq!(found.inside, [false, true]);
        assert_eq!(found.coefficients[0], 0.0);
        assert!((found.coefficients[1] - 7.5 / 16.25).abs() < 1e-12);
    }

    #[test]
    fn nothing_yields_more_than_it_weighs() {
        let rows = cuts(&[(10.0, 0.0, 12.0), (0.0, 10.0, 3.0), (5.0, 5.0, 7.5)]);
        let found = fitted(&rows);
        assert_eq!(found.coefficients[0], 1.0);
        assert_eq!(found.inside, [false, true]);
        // (10x3/10 + 5x2.5/10) / (100/10 + 25/10).
        assert!((found.coefficients[1] - 4.25 / 12.5).abs() < 1e-12);
    }

    #[test]
    fn at_a_bound_the_interval_is_drawn_and_a_seed_draws_the_same() {
        let rows = cuts(&[
            (10.0, 10.0, 4.5),
            (5.0, 15.0, 7.0),
            (8.0, 12.0, 5.0),
            (12.0, 8.0, 2.9),
            (6.0, 14.0, 6.4),
            (11.0, 9.0, 3.5),
        ]);
        let found = fitted(&rows);
        assert!(!found.inside[0]);
        assert_eq!(t_interval(&found, 0, 0.95), None);
        let first = bootstrap(&rows, 2, 0.95, 400, 7);
        assert_eq!(bootstrap(&rows, 2, 0.95, 400, 7), first);
        assert_ne!(bootstrap(&rows, 2, 0.95, 400, 8), first);
        let (low, high) = first[1].unwrap();
        assert!(low < found.coefficients[1] && found.coefficients[1] < high);
        assert!((0.0..=1.0).contains(&low) && (0.0..=1.0).contains(&high));
        assert_eq!(first[0].unwrap().0, 0.0);
        // Too few draws tell no percentile.
        assert_eq!(bootstrap(&rows, 2, 0.95, 5, 7), [None, None]);
    }

    #[test]
    fn suppliers_always_mixed_alike_do_not_stop_the_fit() {
        let rows = cuts(&[(10.0, 10.0, 7.0), (20.0, 20.0, 14.0), (5.0, 5.0, 3.5)]);
        let found = fitted(&rows);
        let together: f64 = found.coefficients.iter().sum();
        assert!((together - 0.7).abs() < 1e-9, "{:?}", found.coefficients);
    }

    #[test]
    fn chance_is_split_mix_64() {
        // The first three of seed 1234567, as published with the generator (from memory).
        let mut chance = Chance(1_234_567);
        let first: Vec<u64> = (0..3).map(|_| chance.next()).collect();
        assert_eq!(
            first,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423
            ]
        );
        let spread: Vec<usize> = (0..1000).map(|_| chance.below(10)).collect();
        assert!((0..10).all(|n| spread.iter().filter(|m| **m == n).count() > 60));
    }
}
