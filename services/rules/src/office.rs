//! What the office keeps on file: sites, parties, species, scales, totes,
//! devices and a site's settings. Price lists have a file of their own.
//!
//! These are checked values: a door has parsed them. What is not said is
//! absent, and a setting left out takes the default named here, which is trade
//! practice and not law.

use chrono::NaiveDate;

use crate::business_day::SiteClock;
use crate::decimal;
use crate::fish::{Hazard, Outlet, Presentation, Storage, coded};
use crate::judging::JudgingSettings;
use crate::money::{Currency, Money};
use crate::receiving::ReceivingSettings;
use crate::weight::{Reading, Weight, WeightUnit};

/// A place where fish is taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Site {
    /// 1 to 9999.
    pub number: i64,
    /// What people call it.
    pub name: String,
    /// Time zone and cut-over hour.
    pub clock: SiteClock,
    /// The site's money.
    pub currency: Currency,
    /// Party that buys here.
    pub buyer: String,
    /// Unit people read: pound or kilogram.
    pub shown_unit: WeightUnit,
    /// Address and telephone for traceability papers.
    pub location_description: String,
}

coded! {
    /// What a party is to the site. It may be several things.
    PartyRole {
        /// Buys the fish.
        Buyer = 1 "buyer",
        /// Diver: harvester of record.
        Harvester = 2 "harvester",
        /// Is paid.
        Payee = 3 "payee",
        /// A customer's kitchen.
        Kitchen = 4 "kitchen",
        /// Takes donations or gifts.
        Recipient = 5 "recipient",
        /// Staff, cutters among them.
        Staff = 6 "staff",
    }
}

/// Somebody the book knows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Party {
    /// Code the office chose.
    pub code: String,
    /// What people call them.
    pub name: String,
    /// Roles, in order, each once.
    pub roles: Vec<PartyRole>,
    /// Licence as written; empty when none was shown.
    pub licence_number: String,
    /// Its last valid day.
    pub licence_expires: Option<NaiveDate>,
    /// For a recall.
    pub contact: String,
}

/// A species the book buys.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Species {
    /// ASFIS 3-alpha code.
    pub code: String,
    /// What people call it.
    pub name: String,
    /// Latin name.
    pub scientific_name: String,
    /// Hazards, in order, each once; none means none is known.
    pub hazards: Vec<Hazard>,
    /// A lighter fish is asked about; absent: none is.
    pub lightest: Option<Reading>,
    /// A heavier fish is asked about; absent: none is.
    pub heaviest: Option<Reading>,
}

impl Species {
    /// Whether it carries `hazard`.
    #[must_use]
    pub fn has(&self, hazard: Hazard) -> bool {
        self.hazards.contains(&hazard)
    }
}

/// A scale of a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scale {
    /// Its site.
    pub site: i64,
    /// Code the office chose.
    pub code: String,
    /// What people call it.
    pub name: String,
    /// Accuracy class as marked.
    pub accuracy_class: String,
    /// Smallest step it shows; above zero.
    pub division: Reading,
    /// Most it weighs; at least one division.
    pub capacity: Reading,
    /// Day of the last test; absent means not tested.
    pub tested_on: Option<NaiveDate>,
    /// Regular expression that its lines are read by, where it sends any; else empty.
    pub line: String,
}

/// A named tote with a posted tare.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tote {
    /// Its site.
    pub site: i64,
    /// Code the office chose.
    pub code: String,
    /// Posted tare.
    pub tare: Reading,
    /// Day the tare was last weighed.
    pub weighed_on: Option<NaiveDate>,
}

/// A device that can queue deeds without signal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Its site.
    pub site: i64,
    /// Code the office chose.
    pub code: String,
    /// What people call it.
    pub name: String,
}

/// A site's settings as the office recorded them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Settings {
    /// Its site.
    pub site: i64,
    /// From when they hold, microseconds since 1970 UTC; absent means from when
    /// they were recorded.
    pub effective_from_us: Option<i64>,
    /// Ice allowance on totes marked iced, ppm; default 0.
    pub ice_ppm: Option<i64>,
    /// Where undersize fish is proposed first: soup or donation; default soup.
    pub undersize_outlet: Option<Outlet>,
    /// Drip by species, presentation and storage.
    pub drip_rates: Vec<DripRate>,
    /// Unaccounted weight is not flagged at or below this; default 0.5 lb.
    pub flag_weight: Option<Reading>,
    /// Nor at or below this part of the weight handled, ppm; default 10,000.
    pub flag_ppm: Option<i64>,
    /// Nor below this value; default 5.00.
    pub flag_value: Option<Money>,
    /// Cutting loss expected at most, ppm of input; default 40,000.
    pub cutting_loss_ppm: Option<i64>,
    /// Output above input that is still surface water, ppm; default 10,000.
    pub water_ppm: Option<i64>,
    /// A part at or below this after a movement is finished; default 0.10 lb.
    pub finished_weight: Option<Reading>,
    /// Or at or below this part of what came in, ppm; default 5,000.
    pub finished_ppm: Option<i64>,
    /// A hold older than this is a flag each morning; default 3 days.
    pub hold_days: Option<i64>,
    /// A posted tare weighed longer ago than this warns; default 30 days.
    pub tare_days: Option<i64>,
    /// Shortest believable whole fish of a species with published relations,
    /// mm; default 120, for lionfish.
    pub shortest_mm: Option<i64>,
    /// Longest believable one, mm; default 470.
    pub longest_mm: Option<i64>,
    /// A mean piece above this part of the usual one is asked about, percent;
    /// default 190.
    pub mean_most_percent: Option<i64>,
    /// And one below this part, percent; default 55.
    pub mean_least_percent: Option<i64>,
    /// Deductions of a settlement, together at most this part of what is payable,
    /// ppm; default 500,000.
    pub deduction_ppm: Option<i64>,
    /// An absent diver has so many hours to object; default 24.
    pub objection_hours: Option<i64>,
    /// A ticket's line can be disputed for so many days; default 7.
    pub dispute_days: Option<i64>,
    /// Water that clings to fish when it is weighed, more or less, ppm of its weight;
    /// default 10,000.
    pub surface_water_ppm: Option<i64>,
    /// What a tote may weigh more or less than its tare, wet or dry; default 0.2 lb.
    pub wet_tote: Option<Reading>,
    /// Scales are compared by re-weighs of so many days; default 30.
    pub drift_days: Option<i64>,
    /// And by at least so many pairs; default 5.
    pub drift_pairs: Option<i64>,
    /// A scale that weighs more or less than another by more than this is flagged, ppm;
    /// default 3,000.
    pub drift_ppm: Option<i64>,
    /// What receiving goes by.
    pub receiving: ReceivingSettings,
    /// What the morning's judgement goes by.
    pub judging: JudgingSettings,
}

/// 0.001 lb in 10 ng.
const MILLIPOUND: i64 = 45_359_237;

impl Settings {
    /// Ice allowance, ppm.
    #[must_use]
    pub fn ice_ppm(&self) -> i64 {
        self.ice_ppm.unwrap_or(0)
    }

    /// Where undersize fish is proposed first.
    #[must_use]
    pub fn undersize_outlet(&self) -> Outlet {
        self.undersize_outlet.unwrap_or(Outlet::Soup)
    }

    /// Unaccounted weight is not flagged at or below this.
    #[must_use]
    pub fn flag_weight(&self) -> Weight {
        weight_or(self.flag_weight.as_ref(), 500)
    }

    /// Nor at or below this part of the weight handled, ppm.
    #[must_use]
    pub fn flag_ppm(&self) -> i64 {
        self.flag_ppm.unwrap_or(10_000)
    }

    /// Nor below this value, minor units.
    #[must_use]
    pub fn flag_value_minor(&self) -> i64 {
        self.flag_value.map_or(500, Money::minor)
    }

    /// Cutting loss expected at most, ppm of input.
    #[must_use]
    pub fn cutting_loss_ppm(&self) -> i64 {
        self.cutting_loss_ppm.unwrap_or(40_000)
    }

    /// Output above input that is still surface water, ppm.
    #[must_use]
    pub fn water_ppm(&self) -> i64 {
        self.water_ppm.unwrap_or(10_000)
    }

    /// A part at or below this after a movement is finished.
    #[must_use]
    pub fn finished_weight(&self) -> Weight {
        weight_or(self.finished_weight.as_ref(), 100)
    }

    /// Or at or below this part of what came in, ppm.
    #[must_use]
    pub fn finished_ppm(&self) -> i64 {
        self.finished_ppm.unwrap_or(5_000)
    }

    /// A hold older than this many days is a flag each morning.
    #[must_use]
    pub fn hold_days(&self) -> i64 {
        self.hold_days.unwrap_or(3)
    }

    /// A posted tare weighed more than this many days ago warns.
    #[must_use]
    pub fn tare_days(&self) -> i64 {
        self.tare_days.unwrap_or(30)
    }

    /// Shortest believable whole fish of a species with published relations, mm.
    #[must_use]
    pub fn shortest_mm(&self) -> i64 {
        self.shortest_mm.unwrap_or(120)
    }

    /// Longest believable one, mm.
    #[must_use]
    pub fn longest_mm(&self) -> i64 {
        self.longest_mm.unwrap_or(470)
    }

    /// A mean piece above this part of the usual one is asked about, percent.
    #[must_use]
    pub fn mean_most_percent(&self) -> i64 {
        self.mean_most_percent.unwrap_or(190)
    }

    /// And one below this part, percent.
    #[must_use]
    pub fn mean_least_percent(&self) -> i64 {
        self.mean_least_percent.unwrap_or(55)
    }

    /// Deductions of a settlement, together at most this part of what is payable,
    /// ppm.
    #[must_use]
    pub fn deduction_ppm(&self) -> i64 {
        self.deduction_ppm.unwrap_or(500_000)
    }

    /// An absent diver has so many hours to object.
    #[must_use]
    pub fn objection_hours(&self) -> i64 {
        self.objection_hours.unwrap_or(24)
    }

    /// A ticket's line can be disputed for so many days.
    #[must_use]
    pub fn dispute_days(&self) -> i64 {
        self.dispute_days.unwrap_or(7)
    }

    /// Water that clings to fish when it is weighed, more or less, ppm of its weight.
    #[must_use]
    pub fn surface_water_ppm(&self) -> i64 {
        self.surface_water_ppm.unwrap_or(10_000)
    }

    /// What a tote may weigh more or less than its tare.
    #[must_use]
    pub fn wet_tote(&self) -> Weight {
        weight_or(self.wet_tote.as_ref(), 200)
    }

    /// Scales are compared by re-weighs of so many days.
    #[must_use]
    pub fn drift_days(&self) -> i64 {
        self.drift_days.unwrap_or(30)
    }

    /// And by at least so many pairs.
    #[must_use]
    pub fn drift_pairs(&self) -> i64 {
        self.drift_pairs.unwrap_or(5)
    }

    /// A scale that weighs more or less than another by more than this is flagged, ppm.
    #[must_use]
    pub fn drift_ppm(&self) -> i64 {
        self.drift_ppm.unwrap_or(3_000)
    }

    /// Drip a day; absent means not set.
    #[must_use]
    pub fn drip(
        &self,
        species: &str,
        presentation: Presentation,
        storage: Option<Storage>,
    ) -> Option<&DripRate> {
        let storage = storage?;
        self.drip_rates.iter().find(|rate| {
            rate.species == species && rate.presentation == presentation && rate.storage == storage
        })
    }
}

pub(crate) fn weight_or(reading: Option<&Reading>, millipounds: i64) -> Weight {
    match reading {
        Some(reading) => reading.weight,
        None => Weight::from_units(MILLIPOUND.saturating_mul(millipounds)),
    }
}

/// What a species loses on ice in a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DripRate {
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// How it is kept.
    pub storage: Storage,
    /// Book weight lost in a day, ppm; negative in slush.
    pub ppm_per_day: i64,
    /// What it may be off by either way, ppm a day.
    pub allowance_ppm_per_day: i64,
}

/// Reads percent as ppm: up to 4 places, so "0.8" is 8,000.
///
/// # Errors
/// [`decimal::BadDecimal`] with the reason.
pub fn percent_ppm(text: &str) -> Result<i64, decimal::BadDecimal> {
    decimal::scaled_signed(text, 4)
}
