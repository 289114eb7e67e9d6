//! Control charts: whether what comes day by day still is what it was.
//!
//! Three that see different things: single figures with their moving range see one that
//! leaps; the exponentially weighted mean (EWMA) and the cumulative sum (CUSUM) see a
//! small drift that lasts, and the sum says since when and how large. Formulas as in the
//! NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.

use crate::statistics::moments;

/// Mean of the range of two normal values, in deviations: 2 / sqrt(pi), to the three
/// places of the tables.
const D2: f64 = 1.128;

/// Single figures with their limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Individuals {
    /// Mean of the figures.
    pub centre: f64,
    /// Mean of the differences of neighbours, without sign.
    pub moving_range: f64,
    /// Centre less 3 moving ranges / 1.128.
    pub lower: f64,
    /// Centre and as much more.
    pub upper: f64,
    /// Place of the first figure outside of the limits.
    pub first_signal: Option<usize>,
}

/// Limits of single figures from their own moving range; `None` of fewer than two.
#[must_use]
pub fn individuals(values: &[f64]) -> Option<Individuals> {
    let centre = moments::mean(values)?;
    let ranges: Vec<f64> = values
        .windows(2)
        .filter_map(|pair| Some((pair.last()? - pair.first()?).abs()))
        .collect();
    let moving_range = moments::mean(&ranges)?;
    let half = 3.0 * moving_range / D2;
    let (lower, upper) = (centre - half, centre + half);
    Some(Individuals {
        centre,
        moving_range,
        lower,
        upper,
        first_signal: values.iter().position(|x| *x < lower || *x > upper),
    })
}

/// Exponentially weighted means with their limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Ewma {
    /// The mean after each figure.
    pub points: Vec<f64>,
    /// Lower limit, as after many figures.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// Place of the first mean outside of the limits.
    pub first_signal: Option<usize>,
}

/// Weighted means that start at `mean`, each new figure counting `lambda`, with limits
/// at `width` deviations of such a mean: sd sqrt(lambda / (2 - lambda)).
#[must_use]
pub fn ewma(values: &[f64], mean: f64, sd: f64, lambda: f64, width: f64) -> Ewma {
    let half = width * sd * libm::sqrt(lambda / (2.0 - lambda));
    let (lower, upper) = (mean - half, mean + half);
    let mut now = mean;
    let points: Vec<f64> = values
        .iter()
        .map(|value| {
            now = lambda * value + (1.0 - lambda) * now;
            now
        })
        .collect();
    Ewma {
        first_signal: points.iter().position(|x| *x < lower || *x > upper),
        points,
        lower,
        upper,
    }
}

/// Cumulative sums above and below the mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Cusum {
    /// After each figure, what has gathered above the mean and below it, each 0 or more.
    pub points: Vec<(f64, f64)>,
    /// Where a sum signals.
    pub limit: f64,
    /// The first signal.
    pub first_signal: Option<Signal>,
}

/// A sum that passed its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    /// Place of the figure that did it.
    pub at: usize,
    /// Place of the figure since which the sum has been gathering.
    pub since: usize,
    /// Whether it is below the mean.
    pub below: bool,
    /// The sum.
    pub sum: f64,
    /// Mean of the figures since then, as the sum estimates it.
    pub new_mean: f64,
}

/// Cumulative sums of what is more than `slack` deviations from `mean`, which signal
/// above `limit` deviations.
#[must_use]
pub fn cusum(values: &[f64], mean: f64, sd: f64, slack: f64, limit: f64) -> Cusum {
    let (slack, limit) = (slack * sd, limit * sd);
    let mut points = Vec::with_capacity(values.len());
    let mut first_signal = None;
    let (mut above, mut below) = (Gathered::default(), Gathered::default());
    for (at, value) in values.iter().enumerate() {
        above.take(value - mean - slack);
        below.take(mean - slack - value);
        points.push((above.sum, below.sum));
        let signal = |gathered: &Gathered, below: bool| {
            let far = slack + gathered.sum / gathered.figures as f64;
            (gathered.sum > limit).then(|| Signal {
                at,
                since: at + 1 - gathered.figures,
                below,
                sum: gathered.sum,
                new_mean: if below { mean - far } else { mean + far },
            })
        };
        first_signal =
            first_signal.or_else(|| signal(&above, false).or_else(|| signal(&below, true)));
    }
    Cusum {
        points,
        limit,
        first_signal,
    }
}

/// A sum and of how many figures it is.
#[derive(Default)]
struct Gathered {
    sum: f64,
    figures: usize,
}

impl Gathered {
    fn take(&mut self, more: f64) {
        self.sum = (self.sum + more).max(0.0);
        self.figures = if self.sum > 0.0 { self.figures + 1 } else { 0 };
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    fn near(got: f64, printed: f64, within: f64) {
        assert!((got - printed).abs() <= within, "{got}, printed {printed}");
    }

    // NIST/SEMATECH e-Handbook of Statistical Methods; data and printed answers from
    // memory, to the digits printed.

    #[test]
    fn single_figures_are_those_of_e_handbook_6_3_2_2() {
        let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let chart = individuals(&flow).unwrap();
        near(chart.centre, 50.81, 5e-3);
        near(chart.moving_range, 1.8778, 5e-5);
        near(chart.upper, 55.8041, 5e-5);
        near(chart.lower, 45.8159, 5e-5);
        assert_eq!(chart.first_signal, None);
        assert_eq!(individuals(&[1.0]), None);
    }

    #[test]
    fn a_figure_that_leaps_is_outside_of_the_limits() {
        let calm: Vec<f64> = (0..20).map(|i| f64::from(i % 2)).collect();
        let leap = [&calm[..], &[9.0], &calm[..]].concat();
        assert_eq!(individuals(&calm).unwrap().first_signal, None);
        assert_eq!(individuals(&leap).unwrap().first_signal, Some(20));
    }

    #[test]
    fn the_cumulative_sum_is_that_of_e_handbook_6_3_2_3() {
        let values = [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225,
            324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775,
            326.875, 328.350,
        ];
        let chart = cusum(&values, 325.0, 1.0, 0.3175, 4.1959);
        let signal = chart.first_signal.unwrap();
        // The fourteenth: 4.94.
        assert_eq!((signal.at + 1, signal.below), (14, false));
        near(signal.sum, 4.94, 5e-3);
        assert_eq!(chart.points.len(), 20);
    }

    #[test]
    fn the_weighted_means_are_those_of_e_handbook_6_3_2_4() {
        let values = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
            47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
        ];
        let printed = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36,
            49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        let chart = ewma(&values, 50.0, 2.0539, 0.3, 3.0);
        for (got, printed) in chart.points.iter().zip(printed) {
            near(*got, printed, 5.1e-3);
        }
        near(chart.upper, 52.5884, 1e-4);
        near(chart.lower, 47.4115, 1e-4);
        assert_eq!(chart.first_signal, None);
    }

    #[test]
    fn montgomerys_shift_is_found_and_dated() {
        // Montgomery, Introduction to Statistical Quality Control, CUSUM example: target
        // 10, K 0.5, H 5; signal at 29, C+ 5.28, N+ 7, new mean 11.25 (from memory).
        let values = [
            9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51,
            9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08,
            10.38, 11.62, 11.31, 10.52,
        ];
        let signal = cusum(&values, 10.0, 1.0, 0.5, 5.0).first_signal.unwrap();
        assert_eq!((signal.at + 1, signal.below), (29, false));
        near(signal.sum, 5.28, 5e-3);
        assert_eq!(signal.at - signal.since + 1, 7);
        near(signal.new_mean, 11.25, 5e-3);
        // Turned over it is found below, as far and as long.
        let over: Vec<f64> = values.iter().map(|x| 20.0 - x).collect();
        let mirrored = cusum(&over, 10.0, 1.0, 0.5, 5.0).first_signal.unwrap();
        assert_eq!((mirrored.at, mirrored.since), (signal.at, signal.since));
        assert!(mirrored.below);
        near(mirrored.new_mean, 8.75, 5e-3);
    }
}
