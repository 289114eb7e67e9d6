//! What an edible pound costs, and what a poor yield cost.
//!
//! As-purchased (AP) is what the fish cost as it went onto the table; edible
//! portion (EP) is what the fillet cost once wage and supplies are in it and what
//! the by-products brought is taken off. A yield below its reference lost fish
//! that was paid for: the material loss. What that fillet would have sold for
//! beyond its cost is margin, shown apart and never added to it. A cut above its
//! reference makes up for no other.
//!
//! Amounts are minor units and are rounded once, half up.

use crate::decimal::half_up;
use crate::money::UnitPrice;
use crate::weight::Weight;

/// What a cut cost and brought besides fillet, minor units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct CutCost {
    /// What the fish cost as it went onto the table.
    pub ap_minor: i64,
    /// Of the people at the table.
    pub wage_minor: i64,
    /// Ice, bags, blades.
    pub supplies_minor: i64,
    /// What trim, frames and roe brought: only what was sold counts.
    pub credits_minor: i64,
}

impl CutCost {
    /// What the fillet has to carry: AP + wage + supplies - credits.
    #[must_use]
    pub fn carried_minor(&self) -> i64 {
        self.ap_minor
            .saturating_add(self.wage_minor)
            .saturating_add(self.supplies_minor)
            .saturating_sub(self.credits_minor)
    }

    /// EP cost of one `unit` of fillet, in 1e-4 of the currency unit; `None` where
    /// there is no fillet.
    #[must_use]
    pub fn ep_e4(&self, fillet: Weight, unit: Weight) -> Option<i64> {
        let carried = i128::from(self.carried_minor()).checked_mul(100)?;
        let scaled = carried.checked_mul(i128::from(unit.units()))?;
        (fillet > Weight::ZERO).then_some(())?;
        half_up(scaled, i128::from(fillet.units()))
    }
}

/// A plate: what is on it cooked, and what cooking takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plate {
    /// Cooked fish on it; above zero.
    pub portion: Weight,
    /// Part of raw weight that cooking takes, ppm; below a million.
    pub cooking_loss_ppm: i64,
}

impl Plate {
    /// Raw fillet for one plate, half up at 10 ng; `None` where it is none.
    #[must_use]
    pub fn raw(&self) -> Option<Weight> {
        let left = 1_000_000_i64.checked_sub(self.cooking_loss_ppm)?;
        (self.portion > Weight::ZERO && left > 0 && self.cooking_loss_ppm >= 0).then_some(())?;
        let scaled = i128::from(self.portion.units()).checked_mul(1_000_000)?;
        half_up(scaled, i128::from(left)).map(Weight::from_units)
    }

    /// Whole plates out of so much fillet.
    #[must_use]
    pub fn portions(&self, fillet: Weight) -> Option<i64> {
        fillet.units().checked_div(self.raw()?.units())
    }

    /// What the fish of one plate costs, minor units, half up.
    #[must_use]
    pub fn cost_minor(&self, cost: &CutCost, fillet: Weight) -> Option<i64> {
        (fillet > Weight::ZERO).then_some(())?;
        let raw = i128::from(self.raw()?.units());
        let scaled = i128::from(cost.carried_minor()).checked_mul(raw)?;
        half_up(scaled, i128::from(fillet.units()))
    }
}

/// What a yield below its reference lost, minor units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct YieldLoss {
    /// Fillet that the reference would have given and the cut did not.
    pub fillet: Weight,
    /// AP x (1 - yield / reference); never below zero.
    pub material_minor: i64,
    /// What the missing fillet would have sold for beyond that; absent without a
    /// price.
    pub margin_minor: Option<i64>,
}

/// Loss of one cut against a reference yield, hundredths of a percent; nothing where
/// the cut is at or above it, or the reference is not above zero.
#[must_use]
pub fn yield_loss(
    input: Weight,
    fillet: Weight,
    ap_minor: i64,
    reference_e2: i64,
    price: Option<UnitPrice>,
) -> YieldLoss {
    let expected = i128::from(input.units()).saturating_mul(i128::from(reference_e2));
    let got = i128::from(fillet.units()).saturating_mul(10_000);
    let short = expected.saturating_sub(got);
    if expected <= 0 || short <= 0 {
        return YieldLoss {
            margin_minor: price.map(|_| 0),
            ..YieldLoss::default()
        };
    }
    let missing = Weight::from_units(half_up(short, 10_000).unwrap_or(0));
    let ratio = |minor: i64| {
        // Both scaled down so that the product stays within 128 bits.
        let (short, expected) = (short.div_euclid(10_000), expected.div_euclid(10_000).max(1));
        half_up(i128::from(minor).saturating_mul(short), expected).unwrap_or(0)
    };
    let material_minor = ratio(ap_minor);
    let margin = |price: UnitPrice| {
        let sold = price.amount(missing)?.minor();
        Some(sold.saturating_sub(material_minor).max(0))
    };
    YieldLoss {
        fillet: missing,
        material_minor,
        margin_minor: price.and_then(margin),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::fillet_yield::percent_e2;
    use crate::money::{Currency, Money};
    use crate::weight::WeightUnit;

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap()
    }

    fn per_lb(text: &str) -> UnitPrice {
        let usd = Currency::new("USD").unwrap();
        UnitPrice::new(text, usd, WeightUnit::Lb).unwrap()
    }

    fn cost(weight: &str, price: &str) -> i64 {
        per_lb(price).amount(lb(weight)).map(Money::minor).unwrap()
    }

    #[test]
    fn a_butchers_test_with_credits() {
        // A butcher's test with by-product credits, as published with its answers in
        // a kitchen costing course: 81 lb at 4.50; 18 lb at 1.89, 13 at 2.25, 10 at
        // .20, 12 at 1.95, 4 lb of scrap at nothing; the 24 lb left carry 275.83,
        // 11.4929 a pound.
        let credits = [
            ("18", "1.89"),
            ("13", "2.25"),
            ("10", ".20"),
            ("12", "1.95"),
        ];
        let credits: Vec<_> = credits
            .iter()
            .map(|(weight, price)| {
                cost(
                    weight,
                    price
                        .replacen('.', "0.", usize::from(price.starts_with('.')))
                        .as_str(),
                )
            })
            .collect();
        assert_eq!(credits, [3_402, 2_925, 200, 2_340]);
        let test = CutCost {
            ap_minor: cost("81", "4.50"),
            credits_minor: credits.iter().sum(),
            ..CutCost::default()
        };
        assert_eq!((test.ap_minor, test.credits_minor), (36_450, 8_867));
        assert_eq!(test.carried_minor(), 27_583);
        let left = [lb("18"), lb("13"), lb("10"), lb("12"), lb("4")];
        let left = lb("81").checked_sub(left.into_iter().sum()).unwrap();
        assert_eq!(left, lb("24"));
        assert_eq!(test.ep_e4(left, lb("1")), Some(114_929));
    }

    #[test]
    fn a_published_page_with_a_wrong_difference_is_caught() {
        // Published worked example: 28 lb at 1.30 less trim worth 8.00 leaves 28.40
        // on 16 lb, 1.775 a pound; one printing says 22.40.
        let cut = CutCost {
            ap_minor: cost("28", "1.30"),
            credits_minor: 800,
            ..CutCost::default()
        };
        assert_eq!(cut.ap_minor, 3_640);
        assert_eq!(cut.carried_minor(), 2_840);
        assert_ne!(cut.carried_minor(), 2_240);
        assert_eq!(cut.ep_e4(lb("16"), lb("1")), Some(17_750));
    }

    #[test]
    fn ep_cost_is_ap_cost_over_yield() {
        // Published worked example: 5.25 a pound at a yield of .40 is 13.125, with
        // .50 of other cost 13.625; 10 lb give 4.
        let mut cut = CutCost {
            ap_minor: cost("10", "5.25"),
            ..CutCost::default()
        };
        assert_eq!(percent_e2(lb("4"), lb("10")), Some(4_000));
        assert_eq!(cut.ep_e4(lb("4"), lb("1")), Some(131_250));
        cut.supplies_minor = cost("4", "0.50");
        assert_eq!(cut.ep_e4(lb("4"), lb("1")), Some(136_250));
        // A whole piece whose parts add up to the ounce, 38 lb 12 oz at 3.19.
        let parts = ["6.5", "4.25", "3.25", "2.5", "0.25", "22"].map(lb);
        assert_eq!(parts.into_iter().sum::<Weight>(), lb("38.75"));
        assert_eq!(cost("38.75", "3.19"), 12_361); // 123.6125
    }

    #[test]
    fn a_yield_test_as_a_book_prints_it_is_cut_off_not_rounded() {
        // BCcampus, Basic Kitchen and Food Service Management, yield testing: whole
        // sockeye 7.75 kg, 5 kg of side: 64.51 % as printed, 64.516 exactly.
        let kg = |text| WeightUnit::Kg.weigh(text).unwrap();
        assert_eq!(percent_e2(kg("5"), kg("7.75")), Some(6_452));
        let exact = 5_000_i128 * 1_000_000 / 7_750;
        assert_eq!(exact / 100, 6_451);
    }

    #[test]
    fn plates_are_whole_and_cooking_takes_its_part() {
        let plate = Plate {
            portion: lb("0.375"),
            cooking_loss_ppm: 250_000,
        };
        assert_eq!(plate.raw(), Some(lb("0.5")));
        for (fillet, portions) in [("7.5", 15), ("7.499", 14), ("0.499", 0), ("0", 0)] {
            assert_eq!(plate.portions(lb(fillet)), Some(portions), "{fillet}");
        }
        let cut = CutCost {
            ap_minor: 6_000,
            ..CutCost::default()
        };
        assert_eq!(plate.cost_minor(&cut, lb("7.5")), Some(400));
        for (portion, loss) in [("0", 0), ("0.5", 1_000_000), ("0.5", -1)] {
            let plate = Plate {
                portion: lb(portion),
                cooking_loss_ppm: loss,
            };
            assert_eq!(plate.raw(), None, "{portion} {loss}");
        }
    }

    #[test]
    fn a_yield_below_its_reference_loses_fish_that_was_paid_for() {
        for (input, fillet, ap, reference, price, lost) in [
            // 3 lb expected and 2.4 found: a fifth of 50.00, and 0.6 lb at 20.00.
            ("10", "2.4", 5_000, 3_000, "20", ("0.6", 1_000, 200)),
            ("10", "3.0", 5_000, 3_000, "20", ("0", 0, 0)),
            ("10", "3.5", 5_000, 3_000, "20", ("0", 0, 0)), // a gain is not netted
            ("10", "0", 5_000, 3_000, "20", ("3", 5_000, 1_000)),
            ("10", "0", 5_000, 3_000, "1", ("3", 5_000, 0)),
            ("10", "2", 5_000, 0, "20", ("0", 0, 0)),
            ("0", "0", 0, 3_000, "20", ("0", 0, 0)),
        ] {
            let loss = yield_loss(lb(input), lb(fillet), ap, reference, Some(per_lb(price)));
            let (missing, material, margin) = lost;
            assert_eq!(loss.fillet, lb(missing), "{input} {fillet}");
            assert_eq!(
                (loss.material_minor, loss.margin_minor),
                (material, Some(margin)),
                "{input} {fillet}"
            );
        }
        let unpriced = yield_loss(lb("10"), lb("2.4"), 5_000, 3_000, None);
        assert_eq!(unpriced.margin_minor, None);
    }
}
