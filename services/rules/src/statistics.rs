//! The arithmetic of judging: what a figure is worth, told from chance.
//!
//! A sum of weights or money is exact and is never worked out here. What is worked out
//! here is how sure a yield is, whether two suppliers differ, since when a kitchen
//! drifts: roots, quantiles and fits, which no whole number holds. So this is where
//! floats may be. Values go in in the order of their ids, and come out to be rounded
//! once, at a stated scale, by who asked ([`whole`]); so that the same book gives the
//! same bytes. Nothing here draws at random: a bootstrap is given its seed.

#![cfg_attr(
    not(test),
    expect(
        clippy::float_arithmetic,
        clippy::arithmetic_side_effects,
        clippy::as_conversions,
        reason = "roots, quantiles and fits; they judge and never book, and indices stay in their slices"
    )
)]

pub mod bounded;
pub mod control;
pub mod false_discovery;
pub mod least_squares;
pub mod moments;
pub mod quantile;
pub mod ratio;
pub mod shrink;

/// `value` times `scale` as a whole number, half away from zero: the one rounding by
/// which a figure of this module leaves it. `None` where it is no number, or would not
/// fit.
#[must_use]
pub fn whole(value: f64, scale: f64) -> Option<i64> {
    let scaled = libm::round(value * scale);
    // 2^63 is the first that does not fit; both ends are exact floats.
    (scaled.is_finite() && scaled.abs() < 9.223_372_036_854_776e18).then_some(scaled as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_leaves_as_a_whole_number_or_not_at_all() {
        assert_eq!(whole(0.123_45, 10_000.0), Some(1235));
        assert_eq!(whole(-0.000_05, 10_000.0), Some(-1));
        assert_eq!(whole(-0.000_04, 10_000.0), Some(0));
        for none in [f64::NAN, f64::INFINITY, -f64::INFINITY, 1e300, -1e300] {
            assert_eq!(whole(none, 1.0), None);
        }
    }
}

/// Asserting that a figure agrees with a published one.
#[cfg(test)]
pub(crate) mod published {
    /// Digits to which `got` agrees with what was published (log relative error).
    pub(crate) fn digits(got: f64, published: f64) -> f64 {
        if got == published {
            return 16.0;
        }
        let scale = if published == 0.0 { 1.0 } else { published };
        -((got - published) / scale).abs().log10()
    }

    /// Fails where fewer than `least` digits agree.
    pub(crate) fn agrees(what: &str, got: f64, published: f64, least: f64) {
        let digits = digits(got, published);
        assert!(
            digits >= least,
            "{what}: {got} and {published} is published: {digits:.1} digits"
        );
    }

    /// Numbers of a text, line by line; lines that start with # are remarks.
    pub(crate) fn table(text: &str) -> Vec<Vec<f64>> {
        let lines = text.lines().filter(|line| !line.starts_with('#'));
        lines
            .map(|line| {
                let words = line.split_whitespace();
                words
                    .map(|word| word.parse().expect("a table of numbers"))
                    .collect()
            })
            .collect()
    }
}
