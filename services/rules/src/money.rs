//! Money, exact to the cent, and prices per unit of weight.
//!
//! A line is weight x price, rounded to the cent once, half up, by
//! [`UnitPrice::amount`]; a total is the sum of its rounded lines.

use std::fmt;

use crate::decimal::{self, BadDecimal};
use crate::weight::{Weight, WeightUnit};

/// ISO 4217 code of a currency counted in hundredths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Currency([u8; 3]);

/// Currencies of ISO 4217 that are not counted in hundredths (from memory).
const NOT_IN_HUNDREDTHS: [&str; 24] = [
    "BHD", "BIF", "CLF", "CLP", "DJF", "GNF", "IQD", "ISK", "JOD", "JPY", "KMF", "KRW", "KWD",
    "LYD", "OMR", "PYG", "RWF", "TND", "UGX", "UYI", "VND", "VUV", "XAF", "XPF",
];

impl Currency {
    /// Reads a three-letter code.
    ///
    /// `None` where it is not three capital letters, or is counted in anything
    /// but hundredths.
    #[must_use]
    pub fn new(code: &str) -> Option<Currency> {
        let bytes: [u8; 3] = code.as_bytes().try_into().ok()?;
        let letters = bytes.iter().all(u8::is_ascii_uppercase);
        (letters && !NOT_IN_HUNDREDTHS.contains(&code)).then_some(Currency(bytes))
    }

    /// The three letters.
    #[must_use]
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.0).unwrap_or("???")
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// An amount of money: whole cents of one currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Money {
    minor: i64,
    currency: Currency,
}

/// A sum that cannot be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadSum {
    /// Two currencies in one sum.
    #[error("mixes {0} and {1}")]
    TwoCurrencies(Currency, Currency),
    /// Larger than can be kept.
    #[error("is too large")]
    TooLarge,
}

impl Money {
    /// `minor` cents of `currency`.
    #[must_use]
    pub const fn new(minor: i64, currency: Currency) -> Money {
        Money { minor, currency }
    }

    /// Nothing, in `currency`.
    #[must_use]
    pub const fn zero(currency: Currency) -> Money {
        Money { minor: 0, currency }
    }

    /// Whole cents.
    #[must_use]
    pub const fn minor(self) -> i64 {
        self.minor
    }

    /// Its currency.
    #[must_use]
    pub const fn currency(self) -> Currency {
        self.currency
    }

    /// Sum of two amounts of one currency.
    ///
    /// # Errors
    /// [`BadSum`]: two currencies, or too large.
    pub fn checked_add(self, other: Money) -> Result<Money, BadSum> {
        if self.currency != other.currency {
            return Err(BadSum::TwoCurrencies(self.currency, other.currency));
        }
        let minor = self
            .minor
            .checked_add(other.minor)
            .ok_or(BadSum::TooLarge)?;
        Ok(Money { minor, ..self })
    }

    /// Difference of two amounts of one currency.
    ///
    /// # Errors
    /// [`BadSum`]: two currencies, or too large.
    pub fn checked_sub(self, other: Money) -> Result<Money, BadSum> {
        self.checked_add(other.negated())
    }

    /// The other way round.
    #[must_use]
    pub fn negated(self) -> Money {
        Money {
            minor: self.minor.saturating_neg(),
            ..self
        }
    }

    /// `part / whole` of this, half up to the cent; `None` where whole is not
    /// positive or the result does not fit.
    #[must_use]
    pub fn share(self, part: Weight, whole: Weight) -> Option<Money> {
        let product = i128::from(self.minor).checked_mul(i128::from(part.units()))?;
        decimal::half_up(product, i128::from(whole.units())).map(|minor| Money { minor, ..self })
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", decimal::text(self.minor, 2), self.currency)
    }
}

/// A price per pound or kilogram, to four places; negative only as an
/// adjustment of one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct UnitPrice {
    /// Ten-thousandths of the currency's unit.
    e4: i64,
    currency: Currency,
    per: WeightUnit,
}

/// Why a price per unit cannot stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadPrice {
    /// Not a plain decimal.
    #[error(transparent)]
    Decimal(#[from] BadDecimal),
    /// Prices are per pound or per kilogram.
    #[error("must be per lb or per kg")]
    Per,
    /// Above 99,999 a unit.
    #[error("is above 99999 a unit")]
    TooDear,
    /// Two currencies or units in one sum.
    #[error("cannot be added to a price in another currency or unit")]
    Mixed,
}

impl UnitPrice {
    /// Reads a price; a negative one is refused.
    ///
    /// # Errors
    /// [`BadPrice`] with the reason.
    pub fn new(text: &str, currency: Currency, per: WeightUnit) -> Result<UnitPrice, BadPrice> {
        decimal::scaled(text, 4)?;
        UnitPrice::signed(text, currency, per)
    }

    /// Reads an adjustment of a price, which may be negative.
    ///
    /// # Errors
    /// [`BadPrice`] with the reason.
    pub fn signed(text: &str, currency: Currency, per: WeightUnit) -> Result<UnitPrice, BadPrice> {
        if !matches!(per, WeightUnit::Lb | WeightUnit::Kg) {
            return Err(BadPrice::Per);
        }
        let e4 = decimal::scaled_signed(text, 4)?;
        if e4.unsigned_abs() > 999_990_000 {
            return Err(BadPrice::TooDear);
        }
        Ok(UnitPrice { e4, currency, per })
    }

    /// From its parts; `e4` is ten-thousandths of the currency's unit.
    ///
    /// # Errors
    /// [`BadPrice`] where it is not per lb or kg, or too dear.
    pub fn from_e4(e4: i64, currency: Currency, per: WeightUnit) -> Result<UnitPrice, BadPrice> {
        UnitPrice::signed(&decimal::text(e4, 4), currency, per)
    }

    /// Ten-thousandths of the currency's unit, per [`UnitPrice::per`].
    #[must_use]
    pub const fn e4(self) -> i64 {
        self.e4
    }

    /// Its currency.
    #[must_use]
    pub const fn currency(self) -> Currency {
        self.currency
    }

    /// The unit it is per.
    #[must_use]
    pub const fn per(self) -> WeightUnit {
        self.per
    }

    /// This price with an adjustment on it, never below zero.
    ///
    /// # Errors
    /// [`BadPrice::Mixed`] for another currency or unit.
    pub fn adjusted(self, by: UnitPrice) -> Result<UnitPrice, BadPrice> {
        if self.currency != by.currency || self.per != by.per {
            return Err(BadPrice::Mixed);
        }
        Ok(UnitPrice {
            e4: self.e4.saturating_add(by.e4).max(0),
            ..self
        })
    }

    /// `weight` at this price, to the cent once, half up; a negative price
    /// rounds half away from zero.
    ///
    /// `None` where the amount does not fit.
    #[must_use]
    pub fn amount(self, weight: Weight) -> Option<Money> {
        let unit = i128::from(self.per.whole_units()?);
        // e4 to cents: one hundredth of the number, so the divisor takes it.
        let product = i128::from(weight.units()).checked_mul(i128::from(self.e4))?;
        let minor = decimal::half_up(product, unit.checked_mul(100)?)?;
        Some(Money {
            minor,
            currency: self.currency,
        })
    }

    /// Decimal text with 2 to 4 places.
    #[must_use]
    pub fn decimal(self) -> String {
        let text = decimal::text(self.e4, 4);
        match text.strip_suffix("00") {
            Some(short) => short.to_owned(),
            None => text.strip_suffix('0').map_or(text.clone(), str::to_owned),
        }
    }
}

impl fmt::Display for UnitPrice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} {}/{}",
            self.decimal(),
            self.currency,
            self.per.symbol()
        )
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use proptest::prelude::*;

    use super::*;

    fn usd() -> Currency {
        Currency::new("USD").unwrap()
    }

    fn price(text: &str, per: WeightUnit) -> UnitPrice {
        UnitPrice::signed(text, usd(), per).unwrap()
    }

    #[test]
    fn an_amount_is_rounded_to_the_cent_once_half_up() {
        use WeightUnit::{G, Kg, Lb, Oz};
        for (weight, unit, each, per, cents) in [
            // Below, at and above half a cent: half goes up, a published rule
            // being Quebec D-8.1 r.1 s.15.
            ("0.499", Lb, "0.01", Lb, 0),
            ("0.500", Lb, "0.01", Lb, 1),
            ("1.499", Lb, "0.01", Lb, 1),
            ("1.500", Lb, "0.01", Lb, 2),
            ("2.500", Lb, "0.01", Lb, 3),
            // 38 lb 12 oz at 3.19 is 123.6125: a published butcher's test.
            ("38.75", Lb, "3.19", Lb, 12_361),
            ("620", Oz, "3.19", Lb, 12_361),
            // 28 lb at 1.30: a published costing example, 36.40.
            ("28", Lb, "1.30", Lb, 3_640),
            // Four places: 33.33 x 5.2575 = 175.232475.
            ("33.33", Lb, "5.2575", Lb, 17_523),
            // Kilograms paid per pound do not end in a decimal:
            // 10 kg is 22.046226... lb, x 5.25 = 115.7426...
            ("10", Kg, "5.25", Lb, 11_574),
            ("10000", G, "5.25", Lb, 11_574),
            // One pound is 0.45359237 kg exactly (NIST Handbook 44, appendix C):
            // x 100.00 per kg = 45.359237.
            ("1", Lb, "100.00", Kg, 4_536),
            ("0.001", G, "99999", Kg, 10),
            // Negatives mirrored, half away from zero.
            ("0.500", Lb, "-0.01", Lb, -1),
            ("0.499", Lb, "-0.01", Lb, 0),
            ("40.75", Lb, "0", Lb, 0),
        ] {
            let amount = price(each, per).amount(unit.weigh(weight).unwrap());
            assert_eq!(
                amount.map(Money::minor),
                Some(cents),
                "{weight} {} at {each} per {}",
                unit.symbol(),
                per.symbol()
            );
        }
    }

    #[test]
    fn the_largest_line_fits() {
        let dearest = price("99999", WeightUnit::Kg);
        let largest = Some(Money::new(99_999_000_000, usd()));
        assert_eq!(dearest.amount(crate::weight::HEAVIEST), largest);
    }

    #[test]
    fn a_price_is_a_plain_number_per_pound_or_kilogram() {
        use WeightUnit::{Kg, Lb, Oz};
        let read = |text, per| UnitPrice::new(text, usd(), per).map(UnitPrice::e4);
        for (text, per, outcome) in [
            ("5.25", Lb, Ok(52_500)),
            ("5.2575", Kg, Ok(52_575)),
            ("0", Lb, Ok(0)),
            ("99999", Lb, Ok(999_990_000)),
            ("99999.0001", Lb, Err(BadPrice::TooDear)),
            (
                "5.25751",
                Lb,
                Err(BadPrice::Decimal(BadDecimal::TooManyPlaces { max: 4 })),
            ),
            ("-0.01", Lb, Err(BadPrice::Decimal(BadDecimal::Negative))),
            ("5.25", Oz, Err(BadPrice::Per)),
            ("x", Lb, Err(BadPrice::Decimal(BadDecimal::NotANumber))),
        ] {
            assert_eq!(read(text, per), outcome, "{text}");
        }
        assert_eq!(price("-0.75", Lb).e4(), -7_500);
    }

    #[test]
    fn a_price_is_written_with_two_to_four_places() {
        for (text, written) in [
            ("5", "5.00"),
            ("5.2", "5.20"),
            ("5.257", "5.257"),
            ("5.2575", "5.2575"),
            ("-0.75", "-0.75"),
            ("0", "0.00"),
        ] {
            assert_eq!(price(text, WeightUnit::Lb).decimal(), written);
        }
    }

    #[test]
    fn an_adjusted_price_is_never_below_zero_and_never_mixed() {
        use WeightUnit::{Kg, Lb};
        for (list, by, adjusted) in [
            ("5.25", "-0.75", "4.50"),
            ("2.00", "-2.00", "0.00"),
            ("1.25", "-2.00", "0.00"),
            ("1.25", "0.10", "1.35"),
        ] {
            assert_eq!(
                price(list, Lb)
                    .adjusted(price(by, Lb))
                    .map(UnitPrice::decimal),
                Ok(adjusted.to_owned())
            );
        }
        assert_eq!(
            price("1", Lb).adjusted(price("1", Kg)),
            Err(BadPrice::Mixed)
        );
        let euro = UnitPrice::new("1", Currency::new("EUR").unwrap(), Lb).unwrap();
        assert_eq!(price("1", Lb).adjusted(euro), Err(BadPrice::Mixed));
    }

    #[test]
    fn two_currencies_make_no_sum() {
        let euro = Currency::new("EUR").unwrap();
        let ten = Money::new(1_000, usd());
        assert_eq!(
            ten.checked_add(Money::new(1, euro)),
            Err(BadSum::TwoCurrencies(usd(), euro))
        );
        assert_eq!(
            ten.checked_sub(Money::new(1_250, usd())),
            Ok(Money::new(-250, usd()))
        );
        assert_eq!(
            ten.checked_add(Money::new(i64::MAX, usd())),
            Err(BadSum::TooLarge)
        );
        for not_one in ["", "usd", "US", "USDX", "JPY", "KWD", "U$D"] {
            assert_eq!(Currency::new(not_one), None, "{not_one:?}");
        }
    }

    #[test]
    fn a_share_of_a_line_goes_with_its_weight_half_up() {
        let lb = |text| WeightUnit::Lb.weigh(text).unwrap();
        let line = Money::new(1_001, usd());
        for (part, whole, cents) in [
            ("10", "10", Some(1_001)),
            ("5", "10", Some(501)),
            ("0", "10", Some(0)),
            ("3.333", "10", Some(334)),
            ("1", "0", None),
        ] {
            assert_eq!(
                line.share(lb(part), lb(whole)).map(Money::minor),
                cents,
                "{part}/{whole}"
            );
        }
    }

    proptest! {
        /// A pound has 16 ounces and a kilogram 1000 grams: the same weight typed
        /// in either pays the same.
        #[test]
        fn the_amount_does_not_depend_on_the_unit_the_weight_was_typed_in(
            thousandths in 0_i64..2_000_000,
            e4 in 0_i64..1_000_000,
            per_lb in any::<bool>(),
        ) {
            let per = if per_lb { WeightUnit::Lb } else { WeightUnit::Kg };
            let each = UnitPrice::from_e4(e4, usd(), per).unwrap();
            let paid = |value: i64, unit: WeightUnit| {
                let text = decimal::text(value, 3);
                each.amount(unit.weigh(&text).unwrap()).unwrap().minor()
            };
            // Thousandths of a pound, and 16 times as many of an ounce: whole
            // numbers of 10 ng both.
            let (lb, oz) = (paid(thousandths, WeightUnit::Lb), paid(thousandths * 16, WeightUnit::Oz));
            prop_assert_eq!(lb, oz);
            let kg = each.amount(WeightUnit::Kg.weigh(&decimal::text(thousandths, 6)).unwrap());
            prop_assert_eq!(kg.unwrap().minor(), paid(thousandths, WeightUnit::G));
        }

        /// NMFS conversion memo (1986): where pounds are converted the price per
        /// pound is converted too, so that pounds x price is unchanged. These
        /// prices convert exactly: 10,000 k per kg is 4535.9237 k per lb.
        #[test]
        fn converting_pounds_and_the_price_per_pound_leaves_the_amount(
            thousandths in 0_i64..2_000_000,
            k in 1_i64..=9,
        ) {
            let weight = WeightUnit::Lb.weigh(&decimal::text(thousandths, 3)).unwrap();
            let per_lb = UnitPrice::from_e4(45_359_237 * k, usd(), WeightUnit::Lb).unwrap();
            let per_kg = UnitPrice::from_e4(100_000_000 * k, usd(), WeightUnit::Kg).unwrap();
            prop_assert_eq!(per_lb.amount(weight), per_kg.amount(weight));
        }

        #[test]
        fn an_amount_is_the_nearest_cent(thousandths in 0_i64..200_000, e4 in 0_i64..200_000) {
            let weight = WeightUnit::Lb.weigh(&decimal::text(thousandths, 3)).unwrap();
            let each = UnitPrice::from_e4(e4, usd(), WeightUnit::Lb).unwrap();
            let cents = each.amount(weight).unwrap().minor();
            // thousandths x e4 is in 1e-7 of the unit: 100,000 to the cent.
            let miss = thousandths * e4 - cents * 100_000;
            prop_assert!((-50_000..50_000).contains(&miss), "{} misses by {}", cents, miss);
        }
    }

    proptest! {
        /// Whatever stands in a price list is a price or a refusal, and the price written
        /// down is the same price.
        #[test]
        fn a_price_reads_back(
            text in prop_oneof!["[-0-9.]{0,12}", "-?[0-9]{1,6}(\\.[0-9]{0,4})?", any::<String>()],
            code in prop_oneof!["[A-Z]{3}", any::<String>()],
        ) {
            if let Some(currency) = Currency::new(&code) {
                prop_assert_eq!(currency.code(), code.as_str());
            }
            for per in [WeightUnit::Lb, WeightUnit::Kg] {
                if let Ok(price) = UnitPrice::signed(&text, usd(), per) {
                    prop_assert_eq!(UnitPrice::from_e4(price.e4(), usd(), per), Ok(price));
                    prop_assert_eq!(UnitPrice::new(&text, usd(), per).is_ok(), !text.starts_with('-'));
                }
            }
        }
    }
}
