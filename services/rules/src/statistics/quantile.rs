//! Quantiles and tails of the distributions by which chance is told: normal, Student's
//! t, chi-square.
//!
//! The library finds quantiles of t and chi-square to about eight digits; two of
//! Newton's steps make them ten.

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, Normal, StudentsT};

/// Why there is no quantile or tail.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum QuantileError {
    /// A probability is above 0 and below 1.
    #[error("{0} is no probability between 0 and 1")]
    NotAProbability(f64),
    /// Degrees of freedom are above 0.
    #[error("{0} degrees of freedom tell nothing")]
    NoDegrees(f64),
    /// The value is no number.
    #[error("{0} is no number")]
    NotANumber(f64),
}

/// The value below which the standard normal lies with probability `p`.
///
/// # Errors
/// [`QuantileError::NotAProbability`].
pub fn normal(p: f64) -> Result<f64, QuantileError> {
    Ok(Normal::standard().inverse_cdf(probability(p)?))
}

/// The value below which Student's t with `degrees` of freedom lies with probability
/// `p`.
///
/// # Errors
/// [`QuantileError`] with the value that cannot be.
pub fn t(p: f64, degrees: f64) -> Result<f64, QuantileError> {
    let p = probability(p)?;
    Ok(sharpened(&students(degrees)?, p))
}

/// Probability that Student's t with `degrees` of freedom lies at or below `value`.
///
/// # Errors
/// [`QuantileError`] with the value that cannot be.
pub fn t_below(value: f64, degrees: f64) -> Result<f64, QuantileError> {
    if value.is_nan() {
        return Err(QuantileError::NotANumber(value));
    }
    Ok(students(degrees)?.cdf(value))
}

/// The value below which chi-square with `degrees` of freedom lies with probability
/// `p`.
///
/// # Errors
/// [`QuantileError`] with the value that cannot be.
pub fn chi_square(p: f64, degrees: f64) -> Result<f64, QuantileError> {
    let p = probability(p)?;
    let chi = ChiSquared::new(sound(degrees)?).map_err(|_| QuantileError::NoDegrees(degrees))?;
    Ok(sharpened(&chi, p))
}

fn sharpened(of: &(impl ContinuousCDF<f64, f64> + Continuous<f64, f64>), p: f64) -> f64 {
    let mut value = of.inverse_cdf(p);
    for _ in 0..2 {
        let step = (of.cdf(value) - p) / of.pdf(value);
        // Far out there is too little to step by.
        if step.is_finite() && step.abs() <= value.abs() {
            value -= step;
        }
    }
    value
}

fn students(degrees: f64) -> Result<StudentsT, QuantileError> {
    StudentsT::new(0.0, 1.0, sound(degrees)?).map_err(|_| QuantileError::NoDegrees(degrees))
}

fn probability(p: f64) -> Result<f64, QuantileError> {
    if p > 0.0 && p < 1.0 {
        Ok(p)
    } else {
        Err(QuantileError::NotAProbability(p))
    }
}

fn sound(degrees: f64) -> Result<f64, QuantileError> {
    if degrees.is_finite() && degrees > 0.0 {
        Ok(degrees)
    } else {
        Err(QuantileError::NoDegrees(degrees))
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn quantiles_are_those_of_the_printed_tables() {
        // As in the appendix of any statistics book, from memory; compared with
        // another library over hundreds of cases in tests/outside/judged.py.
        for (got, printed) in [
            (normal(0.975), 1.960),
            (t(0.975, 1.0), 12.706),
            (t(0.975, 10.0), 2.228),
            (t(0.95, 5.0), 2.015),
            (chi_square(0.95, 1.0), 3.841),
            (chi_square(0.95, 10.0), 18.307),
            (t_below(2.228, 10.0), 0.975),
        ] {
            let got = got.unwrap();
            assert!((got - printed).abs() < 0.0005, "{got} for {printed}");
        }
    }

    #[test]
    fn what_has_no_quantile_is_an_error_and_never_nan() {
        for p in [0.0, 1.0, -0.1, 1.1, f64::NAN] {
            let refused = |got| matches!(got, Err(QuantileError::NotAProbability(_)));
            assert!(refused(normal(p)) && refused(t(p, 3.0)) && refused(chi_square(p, 3.0)));
        }
        for degrees in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let refused = |got| matches!(got, Err(QuantileError::NoDegrees(_)));
            assert!(refused(t(0.9, degrees)) && refused(chi_square(0.9, degrees)));
            assert!(refused(t_below(1.0, degrees)));
        }
        assert!(matches!(
            t_below(f64::NAN, 2.0),
            Err(QuantileError::NotANumber(_))
        ));
        assert_eq!(t_below(f64::INFINITY, 2.0), Ok(1.0));
    }
}
