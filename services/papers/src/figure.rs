//! Figures of a close as people read them: exact whole numbers of what is shown.
//!
//! Each reads back from the text that it shows, digit for digit.

use std::fmt;

/// A weight in thousandths of the close's unit, as it is shown.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Weight {
    /// Thousandths of the close's unit; below zero where more is there than the book says.
    pub thousandths: i64,
}

impl Weight {
    /// Reads `41.60` or `0.083`; nothing where it is no decimal of up to 3 places.
    #[must_use]
    pub fn read(shown: &str) -> Option<Weight> {
        let thousandths = decimal(shown, 3)?;
        Some(Weight { thousandths })
    }
}

impl fmt::Display for Weight {
    /// Two places, three where there are three.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = text(self.thousandths, 3);
        f.write_str(text.strip_suffix('0').unwrap_or(&text))
    }
}

/// Hundredths of the close's currency.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Money {
    /// Cents.
    pub hundredths: i64,
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&text(self.hundredths, 2))
    }
}

/// A share in hundredths of a percent, such as a yield.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Percent {
    /// Hundredths of a percent.
    pub hundredths: i64,
}

impl Percent {
    /// Reads `26.51`; nothing where it is no decimal of up to 2 places.
    #[must_use]
    pub fn read(shown: &str) -> Option<Percent> {
        let hundredths = decimal(shown, 2)?;
        Some(Percent { hundredths })
    }
}

impl fmt::Display for Percent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&text(self.hundredths, 2))
    }
}

/// A distance in hundredths of a baseline's deviation, as control charts have it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Sigma {
    /// Hundredths of a deviation.
    pub hundredths: i64,
}

impl Sigma {
    /// Reads `-3.21`; nothing where it is no decimal of up to 2 places.
    #[must_use]
    pub fn read(shown: &str) -> Option<Sigma> {
        let hundredths = decimal(shown, 2)?;
        Some(Sigma { hundredths })
    }
}

impl fmt::Display for Sigma {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&text(self.hundredths, 2))
    }
}

/// A whole number of `10^-places` as decimal text.
fn text(number: i64, places: usize) -> String {
    let sign = if number < 0 { "-" } else { "" };
    let digits = format!("{:0>width$}", number.unsigned_abs(), width = places + 1);
    let (whole, rest) = digits.split_at(digits.len() - places);
    format!("{sign}{whole}.{rest}")
}

/// Decimal text as a whole number of `10^-places`.
fn decimal(text: &str, places: usize) -> Option<i64> {
    let (sign, digits) = match text.strip_prefix('-') {
        Some(digits) => ("-", digits),
        None => ("", text),
    };
    let (whole, rest) = digits.split_once('.').unwrap_or((digits, ""));
    let are_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || rest.len() > places || !are_digits(whole) || !are_digits(rest) {
        return None;
    }
    format!("{sign}{whole}{rest:0<places$}").parse().ok()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_weight_shows_two_places_or_three() {
        let shown = |thousandths| Weight { thousandths }.to_string();
        assert_eq!(shown(41_600), "41.60");
        assert_eq!(shown(83), "0.083");
        assert_eq!(shown(-3_017), "-3.017");
        assert_eq!(shown(-5), "-0.005");
        assert_eq!(shown(0), "0.00");
    }

    #[test]
    fn what_is_no_plain_decimal_is_no_figure() {
        for text in [
            "", "-", ".5", "1,5", "1.2345", "+1", "1e3", "--1", "1.-2", "٣",
        ] {
            assert_eq!(Weight::read(text), None, "{text}");
        }
        assert_eq!(Percent::read("26.514"), None);
        assert_eq!(Percent::read("26.5"), Some(Percent { hundredths: 2_650 }));
        assert_eq!(Weight::read("99999999999999999999"), None);
    }

    proptest! {
        #[test]
        fn figures_read_back_as_they_are_shown(number in any::<i64>()) {
            let weight = Weight { thousandths: number };
            prop_assert_eq!(Weight::read(&weight.to_string()), Some(weight));
            let percent = Percent { hundredths: number };
            prop_assert_eq!(Percent::read(&percent.to_string()), Some(percent));
        }
    }
}
