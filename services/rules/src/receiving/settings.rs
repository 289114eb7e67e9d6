//! What a site sets for receiving. Nothing of law ships with the program: a
//! limit that is not set is "not set".

use chrono::NaiveDate;

use super::{Length, shown_in};
use crate::fish::{Hazard, coded};
use crate::office::Species;
use crate::ticket::{CatchArea, Temperature, TemperatureUnit};
use crate::weight::{Reading, Weight, WeightUnit};

/// A site's settings for receiving; what is absent takes the default named.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ReceivingSettings {
    /// Warmest that fish may be; default 41 F.
    pub cold_limit: Option<Temperature>,
    /// Warm fish that is iced and cooling is probed again within; default 4.
    pub hours_to_cool: Option<i64>,
    /// Probes asked for; default 3.
    pub probes: Option<i64>,
    /// Probes asked for of a heavy lot; default 5.
    pub probes_heavy: Option<i64>,
    /// A lot above this is heavy; default 50 lb.
    pub heavy_lot: Option<Reading>,
    /// In order of hours.
    pub histamine_limits: Vec<HistamineLimit>,
    /// Where fish is not taken from.
    pub areas_of_concern: Vec<AreaOfConcern>,
    /// Of law, as the site keeps them.
    pub legal_limits: Vec<LegalLimit>,
    /// With which a hold for area or cold is released; none takes any reason.
    pub release_reasons: Vec<String>,
}

/// How warm fish that makes histamine may be by then.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HistamineLimit {
    /// Hours since the first fish was speared, at most.
    pub hours_at_most: i64,
    /// As warm as it may be.
    pub temperature_at_most: Temperature,
}

/// An area fish is not taken from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AreaOfConcern {
    /// The area.
    pub area: CatchArea,
    /// ASFIS codes; empty is every species with the ciguatera hazard.
    pub species: Vec<String>,
    /// Only fish above this piece weight.
    pub piece_weight_above: Option<Reading>,
    /// Days of harvest it holds for.
    pub days: HarvestDays,
    /// As written.
    pub note: String,
}

impl AreaOfConcern {
    /// Whether it is about a species at all.
    #[must_use]
    pub fn concerns(&self, species: &Species) -> bool {
        if self.species.is_empty() {
            species.has(Hazard::Ciguatera)
        } else {
            self.species.contains(&species.code)
        }
    }
}

/// A legal limit of a species.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LegalLimit {
    /// ASFIS code.
    pub species: String,
    /// Days of harvest it holds for.
    pub days: HarvestDays,
    /// What it says.
    pub says: LegalRule,
}

/// What a legal limit says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LegalRule {
    /// A fish of just this length may be landed.
    MinimumLength(Length),
    /// Whether it may be caught at all.
    Season(Season),
    /// So many on one ticket, and no more.
    TripPieces(i64),
    /// So much on one ticket, and no more.
    TripWeight(Reading),
}

coded! {
    /// What is said of a season: only when it is closed.
    Season {
        /// Not to be caught.
        Closed = 1 "closed",
    }
}

/// Days of harvest, `[from, to)`; a bound left out has no end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct HarvestDays {
    /// First day.
    pub from: Option<NaiveDate>,
    /// First day no longer in it.
    pub to: Option<NaiveDate>,
}

impl HarvestDays {
    /// Whether any day from `first` to `last`, both in, is among them.
    pub(super) fn meet(&self, first: NaiveDate, last: NaiveDate) -> bool {
        self.from.is_none_or(|from| from <= last) && self.to.is_none_or(|to| first < to)
    }
}

impl ReceivingSettings {
    /// Warmest that fish may be: 41 F where none is set (Food Code 3-202.11, as
    /// states adopted it).
    #[must_use]
    pub fn cold_limit(&self) -> Temperature {
        self.cold_limit.clone().unwrap_or(Temperature {
            text: "41".to_owned(),
            unit: TemperatureUnit::Fahrenheit,
        })
    }

    /// Hours within which warm fish is probed again: trade practice.
    #[must_use]
    pub fn hours_to_cool(&self) -> i64 {
        self.hours_to_cool.unwrap_or(4)
    }

    /// A lot above this is heavy: trade practice.
    #[must_use]
    pub fn heavy_above(&self) -> Weight {
        let heavy = self.heavy_lot.as_ref();
        heavy.map_or(FIFTY_POUNDS, |reading| reading.weight)
    }

    /// Probes asked for of a lot of this net: trade practice.
    #[must_use]
    pub fn probes_asked(&self, net: Weight) -> i64 {
        if net > self.heavy_above() {
            self.probes_heavy.unwrap_or(5)
        } else {
            self.probes.unwrap_or(3)
        }
    }

    /// Every species named, with its field.
    #[must_use]
    pub fn species(&self) -> Vec<(String, &str)> {
        let of_areas = self
            .areas_of_concern
            .iter()
            .enumerate()
            .flat_map(|(i, row)| {
                let each = row.species.iter().enumerate();
                each.map(move |(j, code)| {
                    (format!("areas_of_concern[{i}].species[{j}]"), code.as_str())
                })
            });
        let of_limits = self.legal_limits.iter().enumerate();
        let of_limits =
            of_limits.map(|(i, row)| (format!("legal_limits[{i}].species"), row.species.as_str()));
        of_areas.chain(of_limits).collect()
    }

    /// Whether a hold for area or cold may be released with this reason.
    #[must_use]
    pub fn may_release_with(&self, reason: &str) -> bool {
        let same = |listed: &String| listed.trim().eq_ignore_ascii_case(reason.trim());
        self.release_reasons.is_empty() || self.release_reasons.iter().any(same)
    }
}

/// 50 lb in 10 ng.
const FIFTY_POUNDS: Weight = Weight::from_units(2_267_961_850_000);

impl LegalRule {
    /// As people say it.
    pub(super) fn words(&self, unit: WeightUnit) -> String {
        match self {
            LegalRule::MinimumLength(length) => format!("legal length {length}"),
            LegalRule::Season(Season::Closed) => "closed season".to_owned(),
            LegalRule::TripPieces(pieces) => format!("trip limit {pieces} fish"),
            LegalRule::TripWeight(reading) => {
                format!("trip limit {}", shown_in(reading.weight, unit))
            }
        }
    }
}
