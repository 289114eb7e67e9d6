//! What a close says of the table: rows as they are recorded.
//!
//! Yields are hundredths of a percent, differences of them hundredths of a point. An
//! interval is its two ends, or nothing where it is not known.

use crate::baseline::Follows;
use crate::fish::{Presentation, coded};
use crate::ids::DayNumber;
use crate::money::{Money, UnitPrice};
use crate::small_fish::bands::BandAtTable;
use crate::small_fish::{self, CutOrSoup, TablePrices};
use crate::weight::{Weight, WeightUnit};

/// Cuts of one species in one form to one specification, over the days a night looks
/// back on; own table and customers' kitchens apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YieldGroupRow {
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// At customers' kitchens.
    pub customer_kitchen: bool,
    /// Cuts.
    pub cuts: i64,
    /// What went into them.
    pub input: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// Pooled yield.
    pub yield_e2: i64,
    /// Its 95 % interval.
    pub interval_e2: Vec<i64>,
    /// What losses are held against; absent where nothing is.
    pub reference_e2: Option<i64>,
    /// Who says so.
    pub reference_source: String,
    /// Fillet of the day's own cuts.
    pub fillet_today: Weight,
    /// What it cost once wage and supplies are in it; absent where a cut of the day was
    /// not timed.
    pub edible: Option<UnitPrice>,
    /// Whole plates out of it.
    pub portions: Option<i64>,
    /// What the fish of one plate cost.
    pub plate: Option<Money>,
    /// Each supplier, in order of code: this is no ranking.
    pub suppliers: Vec<SupplierRow>,
}

/// One supplier's fish in a group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SupplierRow {
    /// Party code.
    pub supplier: String,
    /// Cuts it was in.
    pub cuts: i64,
    /// Days on which it was cut.
    pub days: i64,
    /// What of it went in.
    pub input: Weight,
    /// Cuts that mixed it with others'.
    pub mixed_cuts: i64,
    /// What of it went into those.
    pub mixed_input: Weight,
    /// What came out; absent where mixed cuts do not tell.
    pub yield_e2: Option<i64>,
    /// Its 95 % interval.
    pub interval_e2: Vec<i64>,
    /// That, drawn towards the group, since few cuts say little.
    pub shrunk_e2: Option<i64>,
    /// Yield less that of the others.
    pub difference_e2: Option<i64>,
    /// Of that: its fish is of other bands.
    pub band_e2: Option<i64>,
    /// More or less of it is torn.
    pub condition_e2: Option<i64>,
    /// Who cut it.
    pub cutter_e2: Option<i64>,
    /// Where.
    pub kitchen_e2: Option<i64>,
    /// What is left: the only part that may bear a name.
    pub rest_e2: Option<i64>,
    /// What two fits see differently in mixed cuts, and rounding.
    pub fits_e2: Option<i64>,
    /// 95 % interval of the rest.
    pub rest_interval_e2: Vec<i64>,
    /// It is known to cut out less than like-for-like fish of others.
    pub named_low: bool,
    /// What may be said of it, without its name.
    pub says: String,
}

/// The control charts of one subject, in hundredths of deviations of its baseline.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChartRow {
    /// What sort of party.
    pub follows: Follows,
    /// Party code.
    pub party: String,
    /// First day of the baseline.
    pub from: DayNumber,
    /// The day after its last.
    pub to: DayNumber,
    /// Cuts it has.
    pub baseline_cuts: i64,
    /// Day of each cut after it, in order of time; one entry for each point below.
    pub days: Vec<i64>,
    /// What the like-for-like fit leaves of the cut.
    pub values_e2: Vec<i64>,
    /// The weighted mean after it.
    pub ewma_e2: Vec<i64>,
    /// What has gathered above the baseline.
    pub above_e2: Vec<i64>,
    /// And below it.
    pub below_e2: Vec<i64>,
    /// Limits of single cuts, of the weighted mean and of the sums; nothing where there
    /// is no chart.
    pub limits_e2: Vec<i64>,
    /// First day on which one of them was passed.
    pub found: Option<DayNumber>,
    /// What the charts say, without the name.
    pub says: String,
}

coded! {
    /// By what a loss is told.
    LossBy {
        /// Part of a lot.
        Part = 1 "part",
        /// Whose fish.
        Supplier = 2 "supplier",
        /// Who cut.
        Cutter = 3 "cutter",
        /// Where; empty is the own table.
        Kitchen = 4 "kitchen",
    }
}

/// What yields below their reference lost on the day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LossRow {
    /// By what.
    pub by: LossBy,
    /// Its name.
    pub name: String,
    /// At a customer's kitchen, at what that kitchen paid.
    pub customer_kitchen: bool,
    /// What went into cuts below their reference.
    pub input: Weight,
    /// Fillet that the reference would have given.
    pub missing_fillet: Weight,
    /// What its fish had cost.
    pub material: Money,
    /// What it would have sold for beyond that; absent without a price.
    pub margin: Option<Money>,
}

/// What the day lost to one cause.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CauseRow {
    /// In words.
    pub cause: String,
    /// How much; a surplus is below zero.
    pub weight: Weight,
    /// What it had cost.
    pub value: Money,
}

/// Fish of one band at the table, beside soup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SmallFishRow {
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// As people read it.
    pub band: String,
    /// Cuts of that band alone.
    pub cuts: i64,
    /// Of them timed, with fish counted.
    pub timed_cuts: i64,
    /// One fish.
    pub piece: Weight,
    /// Pooled yield.
    pub yield_e2: i64,
    /// How far that may be off, its standard uncertainty.
    pub yield_u_e2: i64,
    /// Hundredths of a minute for one fish.
    pub minutes_e2: i64,
    /// How far that may be off.
    pub minutes_u_e2: i64,
    /// What cutting brings.
    pub cut: UnitPrice,
    /// What soup brings.
    pub soup: UnitPrice,
    /// How far the difference may be off.
    pub within: UnitPrice,
    /// What to do.
    pub answer: CutOrSoup,
    /// Piece weight from which cutting pays, and between which weights it lies; nothing
    /// where it never does.
    pub break_even: Vec<Weight>,
}

impl SmallFishRow {
    /// Fish of a band weighed against soup, as people of a site that shows a unit read it;
    /// `None` where no minutes are known or the prices make no figure.
    #[must_use]
    pub fn weighed(
        band: &BandAtTable,
        prices: &TablePrices,
        shown_unit: WeightUnit,
    ) -> Option<SmallFishRow> {
        let per = shown_unit.of_price();
        let fish = band.at_the_table()?;
        let weighed = small_fish::weigh(&fish, prices, per)?;
        let price = |e4| UnitPrice::from_e4(e4, prices.fillet.currency(), per).ok();
        Some(SmallFishRow {
            species: band.species.clone(),
            presentation: band.presentation,
            specification: band.specification.clone(),
            band: band.band.clone(),
            cuts: band.cuts,
            timed_cuts: band.timed_cuts,
            piece: fish.piece,
            yield_e2: fish.yield_e2,
            yield_u_e2: fish.yield_u_e2,
            minutes_e2: fish.minutes_e2,
            minutes_u_e2: fish.minutes_u_e2,
            cut: price(weighed.cut_e4)?,
            soup: price(weighed.soup_e4)?,
            within: price(weighed.within_e4)?,
            answer: weighed.answer,
            break_even: weighed
                .break_even
                .map_or_else(Vec::new, |even| vec![even.at, even.from, even.to]),
        })
    }
}
