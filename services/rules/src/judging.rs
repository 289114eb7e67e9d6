//! What a site sets for the morning's judgement: references a yield is held
//! against, prices at the table, how old fish may get, and how sure the night must
//! be before it names anybody.
//!
//! Every default is common practice and a setting, none a rule of law; the ages
//! here are for asking, and the local code decides what may still be sold.

use crate::costing::Plate;
use crate::money::{Currency, Money, UnitPrice};
use crate::office::weight_or;
pub use crate::outlet::DressingYield;
use crate::small_fish::TablePrices;
pub use crate::supplier_yield::ReferenceYield;
use crate::weight::{Reading, Weight, WeightUnit};

/// A site's settings for judging; what is absent takes the default named.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct JudgingSettings {
    /// The site's own table of yields. Where it has none, a site's own history
    /// serves once there is enough of it; the two are never mixed.
    pub references: Vec<ReferenceYield>,
    /// What fillet sells for.
    pub fillet_prices: Vec<FilletPrice>,
    /// An hour at the table; default 18.00.
    pub wage_per_hour: Option<Money>,
    /// Supplies for what is cut; default 0.10 a pound.
    pub supplies: Option<UnitPrice>,
    /// What soup-grade fish sells for; default 1.75 a pound.
    pub soup_price: Option<UnitPrice>,
    /// What dressing it costs; default 0.
    pub dressing_cost: Option<UnitPrice>,
    /// Cooked fish on a plate; default 0.375 lb.
    pub portion: Option<Reading>,
    /// What cooking takes of raw fillet, ppm; default 200,000.
    pub cooking_loss_ppm: Option<i64>,
    /// Whole fish on ice is looked at once it is so old; default 5 days.
    pub whole_days: Option<i64>,
    /// And asked about; default 8 days.
    pub whole_days_ask: Option<i64>,
    /// Soup-grade fish; default 3 days.
    pub soup_days: Option<i64>,
    /// Fish for donation; default 48 hours.
    pub donation_hours: Option<i64>,
    /// Fresh fillet; default 3 days.
    pub fillet_days: Option<i64>,
    /// Days of cuts a night looks back on; default 90.
    pub history_days: Option<i64>,
    /// A supplier is named with at least so many cuts; default 6.
    pub least_cuts: Option<i64>,
    /// And so much fish; default 60 lb.
    pub least_weight: Option<Reading>,
    /// And so many days; default 3.
    pub least_days: Option<i64>,
    /// And with the whole interval so far under the reference, hundredths of a
    /// percent; default 200, two points.
    pub least_points_e2: Option<i64>,
    /// Of those named, so many may be named by chance, ppm; default 100,000.
    pub false_discovery_ppm: Option<i64>,
    /// What dressing leaves; a plan counts fish of which nothing is set at its weight
    /// before dressing.
    pub dressings: Vec<DressingYield>,
}

/// What fillet of one species and cut sells for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FilletPrice {
    /// ASFIS code.
    pub species: String,
    /// Cut specification.
    pub specification: String,
    /// For a pound or kilogram.
    pub price: UnitPrice,
}

/// 18.00, of a fillet price that is not set.
const FILLET_E4: i64 = 180_000;

impl JudgingSettings {
    /// What fillet sells for; absent means not set.
    #[must_use]
    pub fn fillet_price(&self, species: &str, specification: &str) -> Option<UnitPrice> {
        self.fillet_prices
            .iter()
            .find(|row| row.species == species && row.specification == specification)
            .map(|row| row.price)
    }

    /// Prices for weighing cutting against soup; `None` where a default does not
    /// make a price, which no currency on file does.
    #[must_use]
    pub fn table_prices(
        &self,
        species: &str,
        specification: &str,
        currency: Currency,
    ) -> Option<TablePrices> {
        let default = |e4| UnitPrice::from_e4(e4, currency, WeightUnit::Lb).ok();
        Some(TablePrices {
            fillet: self
                .fillet_price(species, specification)
                .or_else(|| default(FILLET_E4))?,
            wage_per_hour: self.wage_per_hour(currency),
            supplies: self.supplies.or_else(|| default(1_000))?,
            credits: default(0)?,
            soup: self.soup_price.or_else(|| default(17_500))?,
            dressing: self.dressing_cost.or_else(|| default(0))?,
        })
    }

    /// An hour at the table.
    #[must_use]
    pub fn wage_per_hour(&self, currency: Currency) -> Money {
        self.wage_per_hour
            .unwrap_or_else(|| Money::new(1_800, currency))
    }

    /// A plate.
    #[must_use]
    pub fn plate(&self) -> Plate {
        Plate {
            portion: weight_or(self.portion.as_ref(), 375),
            cooking_loss_ppm: self.cooking_loss_ppm.unwrap_or(200_000),
        }
    }

    /// Whole fish on ice is looked at once it is so many days old.
    #[must_use]
    pub fn whole_days(&self) -> i64 {
        self.whole_days.unwrap_or(5)
    }

    /// And asked about.
    #[must_use]
    pub fn whole_days_ask(&self) -> i64 {
        self.whole_days_ask.unwrap_or(8)
    }

    /// Days for soup-grade fish.
    #[must_use]
    pub fn soup_days(&self) -> i64 {
        self.soup_days.unwrap_or(3)
    }

    /// Hours for fish for donation.
    #[must_use]
    pub fn donation_hours(&self) -> i64 {
        self.donation_hours.unwrap_or(48)
    }

    /// Days for fresh fillet.
    #[must_use]
    pub fn fillet_days(&self) -> i64 {
        self.fillet_days.unwrap_or(3)
    }

    /// Days of cuts a night looks back on.
    #[must_use]
    pub fn history_days(&self) -> i64 {
        self.history_days.unwrap_or(90)
    }

    /// A supplier is named with at least so many cuts.
    #[must_use]
    pub fn least_cuts(&self) -> i64 {
        self.least_cuts.unwrap_or(6)
    }

    /// And so much fish.
    #[must_use]
    pub fn least_weight(&self) -> Weight {
        weight_or(self.least_weight.as_ref(), 60_000)
    }

    /// And so many days.
    #[must_use]
    pub fn least_days(&self) -> i64 {
        self.least_days.unwrap_or(3)
    }

    /// And so far under the reference, hundredths of a percent.
    #[must_use]
    pub fn least_points_e2(&self) -> i64 {
        self.least_points_e2.unwrap_or(200)
    }

    /// Of those named, so many may be named by chance, ppm.
    #[must_use]
    pub fn false_discovery_ppm(&self) -> i64 {
        self.false_discovery_ppm.unwrap_or(100_000)
    }
}
