//! Weight, exact to 10 ng, and what a scale showed.
//!
//! A pound is 0.45359237 kg exactly (NIST Handbook 44, appendix C), so 0.001 lb,
//! 1 mg and 1 g are whole numbers of 10 ng. An ounce is not: 28.349523125 g is
//! rounded once, half up, by [`WeightUnit::weigh`]. The reading is kept as it
//! was typed beside what it weighs.

use std::fmt;
use std::iter::Sum;

use crate::decimal::{self, BadDecimal};

/// A weight, or a difference of weights: a whole number of 10 ng (1e-8 g).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Weight(i64);

/// Largest single weight taken: 10 t.
pub const HEAVIEST: Weight = Weight(1_000_000_000_000_000);

impl Weight {
    /// Nothing.
    pub const ZERO: Weight = Weight(0);

    /// A weight of `units` x 10 ng.
    #[must_use]
    pub const fn from_units(units: i64) -> Weight {
        Weight(units)
    }

    /// Whole number of 10 ng.
    #[must_use]
    pub const fn units(self) -> i64 {
        self.0
    }

    /// Sum, or `None` where it would not fit.
    #[must_use]
    pub fn checked_add(self, other: Weight) -> Option<Weight> {
        self.0.checked_add(other.0).map(Weight)
    }

    /// Difference, or `None` where it would not fit.
    #[must_use]
    pub fn checked_sub(self, other: Weight) -> Option<Weight> {
        self.0.checked_sub(other.0).map(Weight)
    }

    /// Whether this is less than nothing.
    #[must_use]
    pub fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// Whether this is exactly nothing.
    #[must_use]
    pub fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// The size without the sign.
    #[must_use]
    pub fn abs(self) -> Weight {
        Weight(self.0.saturating_abs())
    }

    /// `ppm` millionths of this, half up to 10 ng.
    #[must_use]
    pub fn millionths(self, ppm: i64) -> Weight {
        let product = i128::from(self.0).saturating_mul(i128::from(ppm));
        Weight(decimal::half_up(product, 1_000_000).unwrap_or(i64::MAX))
    }

    /// Exact grams as decimal text with 8 places.
    #[must_use]
    pub fn grams(self) -> String {
        decimal::text(self.0, 8)
    }

    /// For a person to read: in `unit`, half up to 3 places (2 for a pound or
    /// kilogram that has no more).
    #[must_use]
    pub fn shown(self, unit: WeightUnit) -> String {
        let thousandths =
            decimal::half_up(i128::from(self.0).saturating_mul(2000), unit.double_units())
                .unwrap_or(i64::MAX);
        let text = decimal::text(thousandths, 3);
        match text.strip_suffix('0') {
            Some(short) => short.to_owned(),
            None => text,
        }
    }
}

/// Sums weights; saturates, which no book of less than 90,000 t can reach.
impl Sum for Weight {
    fn sum<I: Iterator<Item = Weight>>(weights: I) -> Weight {
        weights.fold(Weight::ZERO, |sum, weight| {
            Weight(sum.0.saturating_add(weight.0))
        })
    }
}

impl fmt::Display for Weight {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} g", self.grams())
    }
}

/// A unit a scale shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum WeightUnit {
    /// Avoirdupois pound.
    Lb,
    /// Kilogram.
    Kg,
    /// Gram.
    G,
    /// Avoirdupois ounce, 1/16 lb.
    Oz,
}

impl WeightUnit {
    /// Twice the 10 ng in one unit: whole for the ounce as well.
    const fn double_units(self) -> i128 {
        match self {
            WeightUnit::Lb => 90_718_474_000,
            WeightUnit::Kg => 200_000_000_000,
            WeightUnit::G => 200_000_000,
            WeightUnit::Oz => 5_669_904_625,
        }
    }

    /// The unit of price nearest to it: prices are per pound or kilogram.
    #[must_use]
    pub const fn of_price(self) -> WeightUnit {
        match self {
            WeightUnit::Kg | WeightUnit::G => WeightUnit::Kg,
            WeightUnit::Lb | WeightUnit::Oz => WeightUnit::Lb,
        }
    }

    /// 10 ng in one unit.
    ///
    /// Only prices and bands use it, which are per pound or kilogram: the ounce
    /// has no whole number and gives `None`.
    #[must_use]
    pub const fn whole_units(self) -> Option<i64> {
        match self {
            WeightUnit::Lb => Some(45_359_237_000),
            WeightUnit::Kg => Some(100_000_000_000),
            WeightUnit::G => Some(100_000_000),
            WeightUnit::Oz => None,
        }
    }

    /// Places after the point that a reading may have.
    #[must_use]
    pub const fn places(self) -> u32 {
        match self {
            WeightUnit::Kg => 6,
            WeightUnit::Lb | WeightUnit::G | WeightUnit::Oz => 3,
        }
    }

    /// Symbol beside a number.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            WeightUnit::Lb => "lb",
            WeightUnit::Kg => "kg",
            WeightUnit::G => "g",
            WeightUnit::Oz => "oz",
        }
    }

    /// What `text` in this unit weighs.
    ///
    /// Exact in lb, kg and g; an ounce reading is rounded once, half up, to
    /// 10 ng.
    ///
    /// # Errors
    /// [`BadDecimal`]: not a plain decimal, negative, too many places, or above
    /// 10 t.
    pub fn weigh(self, text: &str) -> Result<Weight, BadDecimal> {
        let places = self.places();
        let scaled = decimal::scaled(text, places)?;
        let denominator = 10_i128.pow(places).saturating_mul(2);
        let units = decimal::half_up(
            i128::from(scaled).saturating_mul(self.double_units()),
            denominator,
        )
        .ok_or(BadDecimal::TooLarge)?;
        let weight = Weight(units);
        if weight > HEAVIEST {
            return Err(BadDecimal::TooLarge);
        }
        Ok(weight)
    }
}

/// How a reading came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ReadingSource {
    /// Typed by a person.
    Keyed,
    /// Taken from the scale by a device.
    Captured,
}

/// What a scale showed, as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// Decimal text as typed.
    pub text: String,
    /// Unit it was shown in.
    pub unit: WeightUnit,
    /// Code of the scale; empty when not known.
    pub scale: String,
    /// Keyed or captured.
    pub source: ReadingSource,
    /// What it weighs.
    pub weight: Weight,
}

impl Reading {
    /// Reads what was typed.
    ///
    /// # Errors
    /// As [`WeightUnit::weigh`].
    pub fn new(
        text: &str,
        unit: WeightUnit,
        scale: &str,
        source: ReadingSource,
    ) -> Result<Reading, BadDecimal> {
        Ok(Reading {
            text: text.to_owned(),
            unit,
            scale: scale.to_owned(),
            source,
            weight: unit.weigh(text)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn readings_weigh_what_the_unit_says() {
        // The pound and its 16 ounces: NIST Handbook 44, appendix C.
        for (text, unit, grams) in [
            ("1", WeightUnit::Lb, "453.59237000"),
            ("0.001", WeightUnit::Lb, "0.45359237"),
            ("16", WeightUnit::Oz, "453.59237000"),
            // 28.349523125 g, the half at 10 ng goes up.
            ("1", WeightUnit::Oz, "28.34952313"),
            ("2", WeightUnit::Oz, "56.69904625"),
            ("0.5", WeightUnit::Oz, "14.17476156"),
            ("1", WeightUnit::Kg, "1000.00000000"),
            ("0.000001", WeightUnit::Kg, "0.00100000"),
            ("0.001", WeightUnit::G, "0.00100000"),
            ("10000", WeightUnit::Kg, "10000000.00000000"),
        ] {
            assert_eq!(
                unit.weigh(text).map(Weight::grams),
                Ok(grams.to_owned()),
                "{text} {unit:?}"
            );
        }
        assert_eq!(
            WeightUnit::Kg.weigh("10000.000001"),
            Err(BadDecimal::TooLarge)
        );
        assert_eq!(
            WeightUnit::Lb.weigh("0.0005"),
            Err(BadDecimal::TooManyPlaces { max: 3 })
        );
    }

    #[test]
    fn a_weight_is_shown_half_up() {
        let lb = |text: &str| WeightUnit::Lb.weigh(text).unwrap_or_default();
        assert_eq!(lb("40.75").shown(WeightUnit::Lb), "40.75");
        assert_eq!(lb("40.755").shown(WeightUnit::Lb), "40.755");
        assert_eq!(lb("1").shown(WeightUnit::Kg), "0.454");
        assert_eq!(lb("1").shown(WeightUnit::Oz), "16.00");
        assert_eq!(
            Weight::from_units(-45_359_237_000).shown(WeightUnit::Lb),
            "-1.00"
        );
    }

    proptest! {
        /// Whatever a scale is said to show is a weight or a refusal; a reading keeps its
        /// text, and weighs the same with all its zeros.
        #[test]
        fn a_reading_is_kept_as_typed(
            text in prop_oneof!["[-0-9.]{0,16}", "[0-9]{1,6}(\\.[0-9]{0,4})?", any::<String>()],
        ) {
            for unit in [WeightUnit::Lb, WeightUnit::Kg, WeightUnit::G, WeightUnit::Oz] {
                let Ok(read) = Reading::new(&text, unit, "dock", ReadingSource::Keyed) else {
                    continue;
                };
                prop_assert_eq!(&read.text, &text);
                prop_assert!(read.weight >= Weight::ZERO);
                let point = if text.contains('.') { "" } else { "." };
                prop_assert_eq!(unit.weigh(&format!("0{text}{point}0")), Ok(read.weight));
            }
        }
    }
}
