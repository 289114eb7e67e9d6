//! Plain decimal text, read exactly.
//!
//! What a person types at a scale or writes in a price list: digits, one point,
//! perhaps a sign. No exponent, no separators, no spaces, so that a slip is an
//! error and never another number.

use rust_decimal::Decimal;

/// Why a text is not a plain decimal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadDecimal {
    /// Nothing, or no digit where one must stand.
    #[error("is not a plain decimal number such as 42.00")]
    NotANumber,
    /// A minus where none may stand.
    #[error("must not be negative")]
    Negative,
    /// More places after the point than the unit has.
    #[error("has more than {max} places after the point")]
    TooManyPlaces {
        /// Places that may stand.
        max: u32,
    },
    /// Larger than can be kept.
    #[error("is too large")]
    TooLarge,
}

/// Reads `text` as a whole number of `10^-places`, exactly.
///
/// `scaled("42.5", 3)` is 42500. At most 12 digits may stand before the point.
///
/// # Errors
/// [`BadDecimal`] with the reason; a minus is [`BadDecimal::Negative`].
pub fn scaled(text: &str, places: u32) -> Result<i64, BadDecimal> {
    if let Some(rest) = text.strip_prefix('-') {
        // "-x" is no number at all; only a well-formed negative is called one.
        return Err(match unsigned(rest, places) {
            Err(BadDecimal::NotANumber) => BadDecimal::NotANumber,
            _ => BadDecimal::Negative,
        });
    }
    unsigned(text, places)
}

/// As [`scaled`], and a leading minus is taken.
///
/// # Errors
/// [`BadDecimal`] with the reason.
pub fn scaled_signed(text: &str, places: u32) -> Result<i64, BadDecimal> {
    match text.strip_prefix('-') {
        Some(rest) => unsigned(rest, places).map(|value| value.wrapping_neg()),
        None => unsigned(text, places),
    }
}

fn unsigned(text: &str, places: u32) -> Result<i64, BadDecimal> {
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(part) {
        return Err(BadDecimal::NotANumber);
    }
    if whole.trim_start_matches('0').len() > 12 {
        return Err(BadDecimal::TooLarge);
    }
    // Zeros at the end carry no weight: 42.5000 is a good reading of 42.5.
    let mut value = Decimal::from_str_exact(text)
        .map_err(|_| BadDecimal::TooManyPlaces { max: places })?
        .normalize();
    if value.scale() > places {
        return Err(BadDecimal::TooManyPlaces { max: places });
    }
    value.rescale(places);
    if value.scale() != places {
        return Err(BadDecimal::TooLarge);
    }
    i64::try_from(value.mantissa()).map_err(|_| BadDecimal::TooLarge)
}

/// Writes a whole number of `10^-places` as decimal text with all its places.
#[must_use]
pub fn text(value: i64, places: usize) -> String {
    let scale = u32::try_from(places).unwrap_or(u32::MAX);
    Decimal::try_from_i128_with_scale(i128::from(value), scale)
        .map_or_else(|_| value.to_string(), |decimal| decimal.to_string())
}

/// `numerator / denominator` to the nearest whole number, half away from zero:
/// half up for what is weighed and paid, and negatives mirrored.
///
/// The trade's half-cent rule (a published half-up rule is Quebec D-8.1 r.1
/// s.15). `None` where the denominator is not positive or the result does not
/// fit.
#[must_use]
pub fn half_up(numerator: i128, denominator: i128) -> Option<i64> {
    if denominator <= 0 {
        return None;
    }
    let doubled = numerator.unsigned_abs().checked_mul(2)?;
    let rounded = doubled
        .checked_add(denominator.unsigned_abs())?
        .checked_div(denominator.unsigned_abs().checked_mul(2)?)?;
    let rounded = i64::try_from(rounded).ok()?;
    if numerator < 0 {
        rounded.checked_neg()
    } else {
        Some(rounded)
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use proptest::prelude::*;

    use super::*;

    #[test]
    fn text_is_read_exactly_or_refused() {
        use BadDecimal::{Negative, NotANumber, TooLarge, TooManyPlaces};
        for (written, outcome) in [
            ("0", Ok(0)),
            ("42", Ok(42_000)),
            ("42.5", Ok(42_500)),
            ("42.500", Ok(42_500)),
            ("42.50000", Ok(42_500)),
            ("0.001", Ok(1)),
            ("007", Ok(7_000)),
            ("0.0001", Err(TooManyPlaces { max: 3 })),
            ("-1", Err(Negative)),
            ("", Err(NotANumber)),
            (".", Err(NotANumber)),
            (".5", Err(NotANumber)),
            ("5.", Err(NotANumber)),
            ("+5", Err(NotANumber)),
            ("-", Err(NotANumber)),
            ("--1", Err(NotANumber)),
            ("1e3", Err(NotANumber)),
            ("1,5", Err(NotANumber)),
            ("1.2.3", Err(NotANumber)),
            (" 1", Err(NotANumber)),
            ("NaN", Err(NotANumber)),
            ("\u{0661}", Err(NotANumber)),
            ("999999999999", Ok(999_999_999_999_000)),
            ("1000000000000", Err(TooLarge)),
            ("1111111111111111111111111111111111111111", Err(TooLarge)),
        ] {
            assert_eq!(scaled(written, 3), outcome, "{written:?}");
        }
    }

    #[test]
    fn half_goes_away_from_zero_once() {
        for (n, d, outcome) in [
            (4, 10, Some(0)),
            (5, 10, Some(1)),
            (15, 10, Some(2)),
            (25, 10, Some(3)),
            (-4, 10, Some(0)),
            (-5, 10, Some(-1)),
            (-15, 10, Some(-2)),
            (1, 0, None),
            (1, -1, None),
        ] {
            assert_eq!(half_up(n, d), outcome, "{n}/{d}");
        }
    }

    #[test]
    fn what_is_written_reads_back() {
        for value in [0, 1, -1, 999, 1000, -123_456] {
            assert_eq!(scaled_signed(&text(value, 3), 3), Ok(value));
        }
        assert_eq!(text(5, 0), "5");
        assert_eq!(text(5, 2), "0.05");
        assert_eq!(text(-5, 2), "-0.05");
    }

    proptest! {
        /// Whatever is typed is a number or a refusal, and the number written down with
        /// all its places is the same number.
        #[test]
        fn what_is_read_reads_back(
            typed in prop_oneof!["[-0-9.]{0,24}", "-?[0-9]{1,13}(\\.[0-9]{0,10})?", any::<String>()],
            places in 0_u32..=8,
        ) {
            for value in [scaled(&typed, places), scaled_signed(&typed, places)].into_iter().flatten() {
                let again = text(value, usize::try_from(places).unwrap());
                prop_assert_eq!(scaled_signed(&again, places), Ok(value), "{} as {}", typed, again);
            }
        }

        #[test]
        fn whatever_is_written_reads_back(value in -999_999_999_999_i64..=999_999_999_999, places in 0_u32..=8) {
            let written = text(value, usize::try_from(places).unwrap());
            prop_assert_eq!(scaled_signed(&written, places), Ok(value), "{}", written);
            prop_assert_eq!(scaled(&written, places).is_ok(), value >= 0, "{}", written);
        }
    }
}
