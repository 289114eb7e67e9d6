//! Cutting small fish, or selling it for soup.
//!
//! What the diver was paid is spent either way and is in neither side. A pound at
//! the table gives fillet and credits, and takes minutes and supplies; a pound of
//! soup-grade gives the soup price less what dressing it costs. Small fish takes
//! about as many minutes as large fish, so the lighter it is the dearer its pound
//! at the table: somewhere lies the piece weight from which cutting pays. Yield
//! and minutes are never known exactly; where the two sides are nearer than that,
//! the answer is that it is close.
//!
//! Amounts here are rates, in 1e-4 of the currency unit for one pound or
//! kilogram, and are rounded once, half up, when they are given. What may go to
//! soup at all is not decided here: safety comes before price.

pub mod bands;

use crate::decimal::half_up;
use crate::fish::coded;
use crate::money::{Money, UnitPrice};
use crate::weight::{Weight, WeightUnit};

/// Prices at the table, and of what the fish would bring otherwise; all of one
/// currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TablePrices {
    /// What fillet sells for.
    pub fillet: UnitPrice,
    /// What an hour at the table costs.
    pub wage_per_hour: Money,
    /// Supplies for what is cut: ice, bags, blades.
    pub supplies: UnitPrice,
    /// What trim, frames and roe of what is cut bring.
    pub credits: UnitPrice,
    /// What soup-grade fish sells for.
    pub soup: UnitPrice,
    /// What dressing it for soup costs.
    pub dressing: UnitPrice,
}

/// Small fish at the table. Each figure stands beside its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AtTheTable {
    /// One fish, whole; above zero.
    pub piece: Weight,
    /// Fillet of whole weight, hundredths of a percent.
    pub yield_e2: i64,
    /// How far that may be off.
    pub yield_u_e2: i64,
    /// Hundredths of a minute for one fish.
    pub minutes_e2: i64,
    /// How far that may be off.
    pub minutes_u_e2: i64,
}

coded! {
    /// What to do with small fish.
    CutOrSoup {
        /// Cutting it brings more.
        Cut = 1 "cut",
        /// Soup brings more.
        Soup = 2 "soup",
        /// The two are nearer than yield and minutes are known.
        Close = 3 "close",
    }
}

/// Both sides of it, in 1e-4 of the currency unit for one `per`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weighed {
    /// Pound or kilogram.
    pub per: WeightUnit,
    /// What cutting brings after wage and supplies.
    pub cut_e4: i64,
    /// What soup brings after dressing.
    pub soup_e4: i64,
    /// How far the difference may be off, twice its standard uncertainty.
    pub within_e4: i64,
    /// What to do.
    pub answer: CutOrSoup,
    /// From which piece weight cutting pays; absent where it never does, however
    /// heavy the fish.
    pub break_even: Option<BreakEven>,
}

/// A piece weight, and between which weights it lies, two standard uncertainties to
/// either side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BreakEven {
    /// At the yield and minutes given.
    pub at: Weight,
    /// Never below zero.
    pub from: Weight,
    /// The other end.
    pub to: Weight,
}

/// Standard uncertainty of the yield of a single cut where too few are on record,
/// hundredths of a percent: 2 points, common practice.
pub const YIELD_OF_ONE_CUT_E2: i64 = 200;

/// Standard uncertainty of minutes where too few cuts are on record, percent:
/// common practice.
pub const MINUTES_OF_ONE_CUT_PERCENT: i64 = 15;

/// Least and most fillet of whole small fish that is believable, hundredths of a
/// percent: common practice. Below it somebody forgot a tray, above it an input.
pub const BELIEVABLE_YIELD_E2: (i64, i64) = (1_000, 6_000);

/// Steps of 1e-8 in 1e-4.
const FINER: i128 = 10_000;

/// Weighs cutting against soup, for one `per` of whole fish; `None` where the prices
/// are of several currencies, `per` is no unit of price, or the fish weighs nothing.
///
/// Cut: yield x fillet price + credits - wage x minutes / 60 / piece - supplies.
/// Soup: price - dressing. Each standard uncertainty is carried to first order (GUM,
/// JCGM 100:2008, 5.1.2; from memory) and doubled.
#[must_use]
pub fn weigh(fish: &AtTheTable, prices: &TablePrices, per: WeightUnit) -> Option<Weighed> {
    let unit = i128::from(per.whole_units()?);
    let piece = i128::from(fish.piece.units());
    if piece <= 0 || !prices.are_of_one_currency() {
        return None;
    }
    let rate = |price: UnitPrice| rate_e8(price, unit);
    let (fillet, supplies) = (rate(prices.fillet)?, rate(prices.supplies)?);
    let of_fillet = |e2: i64| fillet.checked_mul(i128::from(e2))?.checked_div(10_000);
    // Minor units are 1e-2, an hour is 6000 hundredths of a minute.
    let of_minutes = |e2: i64| {
        i128::from(prices.wage_per_hour.minor())
            .checked_mul(1_000_000)?
            .checked_mul(i128::from(e2))?
            .checked_mul(unit)?
            .checked_div(6_000)
    };
    let wage = of_minutes(fish.minutes_e2)?;
    let without_wage = of_fillet(fish.yield_e2)?
        .checked_add(rate(prices.credits)?)?
        .checked_sub(supplies)?;
    let cut = without_wage.checked_sub(wage.checked_div(piece)?)?;
    let soup = rate(prices.soup)?.checked_sub(rate(prices.dressing)?)?;
    let yield_u = of_fillet(fish.yield_u_e2)?;
    let minutes_u = of_minutes(fish.minutes_u_e2)?.checked_div(piece)?;
    let within = root_of_squares(yield_u, minutes_u)?.checked_mul(2)?;
    let difference = cut.checked_sub(soup)?;
    let answer = if difference.abs() <= within {
        CutOrSoup::Close
    } else if difference > 0 {
        CutOrSoup::Cut
    } else {
        CutOrSoup::Soup
    };
    let e4 = |e8: i128| half_up(e8, FINER);
    Some(Weighed {
        per,
        cut_e4: e4(cut)?,
        soup_e4: e4(soup)?,
        within_e4: e4(within)?,
        answer,
        break_even: break_even(fish, wage, without_wage.checked_sub(soup)?, yield_u),
    })
}

impl TablePrices {
    fn are_of_one_currency(&self) -> bool {
        let currency = self.wage_per_hour.currency();
        [
            self.fillet,
            self.supplies,
            self.credits,
            self.soup,
            self.dressing,
        ]
        .iter()
        .all(|price| price.currency() == currency)
    }
}

/// A unit price in 1e-8 for one `unit`.
fn rate_e8(price: UnitPrice, unit: i128) -> Option<i128> {
    let e8 = i128::from(price.e4()).checked_mul(FINER)?;
    let of_one = i128::from(price.per().whole_units()?);
    e8.checked_mul(unit)?.checked_div(of_one)
}

fn root_of_squares(a: i128, b: i128) -> Option<i128> {
    let sum = a.checked_mul(a)?.checked_add(b.checked_mul(b)?)?;
    Some(sum.isqrt())
}

/// Where wage / piece is all that a pound leaves before wage and above soup.
fn break_even(fish: &AtTheTable, wage: i128, leaves: i128, yield_u: i128) -> Option<BreakEven> {
    if leaves <= 0 {
        return None;
    }
    let at = wage.checked_div(leaves)?;
    // Relative uncertainties in millionths.
    let of_minutes = 1_000_000_i128
        .checked_mul(i128::from(fish.minutes_u_e2))?
        .checked_div(i128::from(fish.minutes_e2).max(1))?;
    let of_yield = 1_000_000_i128.checked_mul(yield_u)?.checked_div(leaves)?;
    let within = root_of_squares(of_minutes, of_yield)?.checked_mul(2)?;
    let weight = |ppm: i128| {
        let units = at.checked_mul(ppm.max(0))?.checked_div(1_000_000)?;
        i64::try_from(units).ok().map(Weight::from_units)
    };
    Some(BreakEven {
        at: weight(1_000_000)?,
        from: weight(1_000_000_i128.checked_sub(within)?)?,
        to: weight(1_000_000_i128.checked_add(within)?)?,
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::money::Currency;

    fn usd() -> Currency {
        Currency::new("USD").unwrap()
    }

    fn per_lb(text: &str) -> UnitPrice {
        UnitPrice::new(text, usd(), WeightUnit::Lb).unwrap()
    }

    fn prices(soup: &str) -> TablePrices {
        TablePrices {
            fillet: per_lb("18"),
            wage_per_hour: Money::new(1_800, usd()),
            supplies: per_lb("0.10"),
            credits: per_lb("0"),
            soup: per_lb(soup),
            dressing: per_lb("0"),
        }
    }

    fn fish(piece: &str, yield_e2: i64, minutes_e2: i64) -> AtTheTable {
        AtTheTable {
            piece: WeightUnit::Lb.weigh(piece).unwrap(),
            yield_e2,
            yield_u_e2: YIELD_OF_ONE_CUT_E2,
            minutes_e2,
            minutes_u_e2: minutes_e2 * MINUTES_OF_ONE_CUT_PERCENT / 100,
        }
    }

    #[test]
    fn a_pound_of_small_fish_at_the_table_is_fillet_less_wage_and_supplies() {
        // Worked by hand: 0.20 x 18 - 18 x 1.5/60/0.25 - 0.10 = 1.70, and so on.
        for (piece, yield_e2, minutes_e2, cut_e4) in [
            ("0.25", 2_000, 150, 17_000),
            ("0.35", 2_300, 160, 26_686),
            ("0.50", 2_600, 170, 35_600),
        ] {
            let weighed = weigh(
                &fish(piece, yield_e2, minutes_e2),
                &prices("2"),
                WeightUnit::Lb,
            );
            assert_eq!(weighed.unwrap().cut_e4, cut_e4, "{piece}");
        }
    }

    #[test]
    fn the_answer_is_cut_soup_or_close() {
        use CutOrSoup::{Close, Cut, Soup};
        for (piece, yield_e2, minutes_e2, soup, answer) in [
            ("0.50", 2_600, 170, "1.75", Cut),
            ("0.25", 2_000, 150, "1.75", Close),
            ("0.15", 1_600, 150, "1.75", Soup),
            ("0.50", 2_600, 170, "9.00", Soup),
            // Common practice: about 20 lb of small whole fish, half a pound each,
            // part of it given away for soup first, took about an hour and gave at
            // least 2.5 lb of fillet.
            ("0.50", 1_250, 150, "1.50", Close),
            ("0.50", 1_250, 150, "1.75", Close),
        ] {
            let fish = fish(piece, yield_e2, minutes_e2);
            let weighed = weigh(&fish, &prices(soup), WeightUnit::Lb).unwrap();
            assert_eq!(weighed.answer, answer, "{piece} at {soup}: {weighed:?}");
            let (least, most) = BELIEVABLE_YIELD_E2;
            assert!((least..=most).contains(&yield_e2));
        }
    }

    #[test]
    fn at_the_break_even_weight_both_sides_bring_the_same() {
        for (yield_e2, minutes_e2, soup) in [(2_000, 150, "1.75"), (2_600, 170, "2.25")] {
            let some = fish("0.4", yield_e2, minutes_e2);
            let even = weigh(&some, &prices(soup), WeightUnit::Lb).unwrap();
            let even = even.break_even.unwrap();
            assert!(even.from < even.at && even.at < even.to);
            let there = AtTheTable {
                piece: even.at,
                ..some
            };
            let weighed = weigh(&there, &prices(soup), WeightUnit::Lb).unwrap();
            assert!((weighed.cut_e4 - weighed.soup_e4).abs() <= 1, "{weighed:?}");
            assert_eq!(weighed.answer, CutOrSoup::Close);
        }
        // 0.25 lb fish at 20 % and 1.5 minutes: 0.45 / (3.60 - 0.10 - 1.75).
        let even = weigh(&fish("0.25", 2_000, 150), &prices("1.75"), WeightUnit::Lb);
        let even = even.unwrap().break_even.unwrap();
        assert_eq!(even.at.shown(WeightUnit::Lb), "0.257");
    }

    #[test]
    fn fillet_that_brings_less_than_soup_never_pays() {
        let weighed = weigh(&fish("3.00", 1_000, 150), &prices("4"), WeightUnit::Lb).unwrap();
        assert_eq!(weighed.break_even, None);
        assert_eq!(weighed.answer, CutOrSoup::Soup);
    }

    #[test]
    fn a_kilogram_is_weighed_as_a_pound_is() {
        let fish = fish("0.35", 2_300, 160);
        let pound = weigh(&fish, &prices("1.75"), WeightUnit::Lb).unwrap();
        let kilogram = weigh(&fish, &prices("1.75"), WeightUnit::Kg).unwrap();
        assert_eq!(kilogram.answer, pound.answer);
        // 1 lb is 0.45359237 kg exactly (NIST Handbook 44, appendix C).
        let in_pounds = kilogram.cut_e4 * 45_359_237 / 100_000_000;
        assert!((in_pounds - pound.cut_e4).abs() <= 1);
        let even = |weighed: Weighed| weighed.break_even.unwrap().at.units();
        assert!((even(kilogram) - even(pound)).abs() < 1_000_000);
    }

    #[test]
    fn nothing_is_said_of_no_fish_or_of_two_currencies() {
        assert_eq!(
            weigh(&fish("0", 2_000, 150), &prices("2"), WeightUnit::Lb),
            None
        );
        let euro = Currency::new("EUR").unwrap();
        let mixed = TablePrices {
            soup: UnitPrice::new("2", euro, WeightUnit::Lb).unwrap(),
            ..prices("2")
        };
        assert_eq!(
            weigh(&fish("0.25", 2_000, 150), &mixed, WeightUnit::Lb),
            None
        );
    }
}
