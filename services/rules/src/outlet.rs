//! Where small fish has room to go.
//!
//! A **room** is what the office keeps on file of one place that takes fish: a soup
//! order, a recipient, the freezer, the table, the crew, a by-product buyer. It says how
//! much, in which form, until when, and of whom it asks what. A **fish** is what is on
//! ice of one part, with what is known of it that can hurt somebody, inherited through
//! pools and makings. Whether a fish may go to a room is in [`eligible`]; how the pounds
//! are shared out is in [`plan`].
//!
//! Safety and law are conditions here and never prices. Every age and limit defers to
//! the local code and to trained people.

pub mod eligible;
pub mod plan;

use crate::business_day::SiteClock;
use crate::fish::{Hazard, Outlet, Presentation, Storage, coded};
use crate::ids::{DayNumber, PartId};
use crate::judging::JudgingSettings;
use crate::money::{Currency, UnitPrice};
use crate::office::Species;
use crate::receiving::ReceivingSettings;
use crate::ticket::Temperature;
use crate::weight::{Reading, Weight, WeightUnit};

coded! {
    /// What sort of room it is.
    RoomKind {
        /// A kitchen's order for soup.
        Soup = 1 "soup order",
        /// A nonprofit that takes donations.
        Donation = 2 "donation",
        /// A restaurant or friend that takes gifts.
        Gift = 3 "gift",
        /// Space in the freezer.
        Freezer = 4 "freezer",
        /// Pounds at the own table that plate fish leaves, by piece weight.
        Table = 5 "table",
        /// Eaten by the crew.
        CrewUse = 6 "crew use",
        /// By-product, bait or compost.
        ByProduct = 7 "by-product",
    }
}

impl RoomKind {
    /// Where a movement to it goes; none of what a making carries out.
    #[must_use]
    pub const fn outlet(self) -> Option<Outlet> {
        match self {
            RoomKind::Soup => Some(Outlet::Soup),
            RoomKind::Donation => Some(Outlet::Donation),
            RoomKind::Gift => Some(Outlet::Gift),
            RoomKind::CrewUse => Some(Outlet::CrewUse),
            RoomKind::ByProduct => Some(Outlet::ByProduct),
            RoomKind::Freezer | RoomKind::Table => None,
        }
    }

    /// Whether somebody will eat what goes there.
    #[must_use]
    pub const fn is_food(self) -> bool {
        !matches!(self, RoomKind::ByProduct)
    }

    /// Whether it takes what is given, and has to say how it keeps it.
    #[must_use]
    pub const fn is_recipient(self) -> bool {
        matches!(self, RoomKind::Donation | RoomKind::Gift)
    }

    /// Whether a party stands behind it and must be named.
    #[must_use]
    pub const fn has_party(self) -> bool {
        matches!(self, RoomKind::Soup | RoomKind::Donation | RoomKind::Gift)
    }
}

/// A place that takes fish, as the office put it on file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Room {
    /// Its site.
    pub site: i64,
    /// Code the office chose.
    pub code: String,
    /// What people call it.
    pub name: String,
    /// What sort.
    pub kind: RoomKind,
    /// Party behind it; empty where none is.
    pub party: String,
    /// ASFIS codes it takes; empty takes every species.
    pub species: Vec<String>,
    /// Forms it takes; empty takes every form of fish.
    pub presentations: Vec<Presentation>,
    /// How much, as delivered: a day of a standing room, else altogether.
    pub weight: Reading,
    /// Of that, what was promised and is filled first; absent is nothing.
    pub promised: Option<Reading>,
    /// What it pays; absent is nothing. What the table brings is worked out.
    pub price: Option<UnitPrice>,
    /// What handling costs, for what is delivered; absent is nothing.
    pub handling: Option<UnitPrice>,
    /// Least worth a drive; absent is the site's: 5 lb for soup, 10 to a recipient.
    pub least_drop: Option<Reading>,
    /// From when it takes fish, microseconds since 1970 UTC; absent is from the first.
    pub from_us: Option<i64>,
    /// The first instant it no longer takes any: by when an order is wanted.
    pub until_us: Option<i64>,
    /// The same every business day; else once.
    pub standing: bool,
    /// When it is picked up or brought, local time; none is at any time.
    pub windows: Vec<Window>,
    /// A recipient keeps it at or below the cold limit until it is cooked.
    pub keeps_cold: bool,
    /// A recipient takes fish with venomous spines on.
    pub takes_spines: bool,
    /// Of a table: piece weights `[from, to)`.
    pub piece_from: Option<Reading>,
    /// The other edge; absent is every weight above.
    pub piece_to: Option<Reading>,
    /// Of a table: the cut specification that its fillet is sold by.
    pub specification: String,
    /// Oldest fish it takes, hours; absent, and where it is longer, the site's limit.
    pub oldest_hours: Option<i64>,
    /// Takes no more: an order fulfilled or called off.
    pub ended: bool,
}

/// A time of day, `[from, to)`, in minutes after local midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// 0 to 1439.
    pub from_minute: i64,
    /// Above `from_minute`, at most 1440.
    pub to_minute: i64,
}

/// Why a room cannot be on file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadRoom {
    /// Nobody stands behind it.
    #[error("a {0} names the party that takes the fish")]
    NoParty(&'static str),
    /// A party where there is none.
    #[error("a {0} has no party: leave it out")]
    PartyUnasked(&'static str),
    /// No form said.
    #[error("a {0} says in which form it takes the fish")]
    NoPresentation(&'static str),
    /// Not a form of fish.
    #[error("takes fish whole or dressed; {0} is a by-product or fillet and is not planned")]
    NotFish(&'static str),
    /// More promised than there is room.
    #[error("is more than the room there is, {0}")]
    PromisedTooMuch(String),
    /// Ends before it begins.
    #[error("ends at or before it begins")]
    Backwards,
    /// A window out of the day.
    #[error("a window is within one day, from 00:00 to 24:00")]
    NotADay,
    /// Out of its bounds.
    #[error("must be 1 to {0} hours")]
    Hours(i64),
    /// Something of a table said of another room.
    #[error("is said of a table only")]
    NotATable,
    /// A table's fillet has no price without a cut.
    #[error("a table names the cut specification that its fillet is sold by")]
    NoSpecification,
    /// A price where none is paid.
    #[error("a {0} pays nothing: leave the price out")]
    PriceUnasked(&'static str),
    /// Another currency than the site's.
    #[error("the site's money is {0}")]
    OtherMoney(Currency),
}

impl Room {
    /// Whether it can be on file, by itself; each refusal with the field it is about.
    ///
    /// # Errors
    /// [`BadRoom`].
    pub fn check(&self, currency: Currency) -> Result<(), (&'static str, BadRoom)> {
        let kind = self.kind.word();
        let refuse = |wrong: bool, field, why| if wrong { Err((field, why)) } else { Ok(()) };
        let no_party = self.party.is_empty();
        refuse(
            self.kind.has_party() && no_party,
            "party",
            BadRoom::NoParty(kind),
        )?;
        let unasked = !no_party && !self.kind.has_party() && self.kind != RoomKind::ByProduct;
        refuse(unasked, "party", BadRoom::PartyUnasked(kind))?;
        let unsaid = self.kind.has_party() && self.presentations.is_empty();
        refuse(unsaid, "presentations", BadRoom::NoPresentation(kind))?;
        if let Some(not_fish) = self.presentations.iter().find(|form| !form.is_fish()) {
            return Err(("presentations", BadRoom::NotFish(not_fish.word())));
        }
        if let Some(promised) = &self.promised {
            let room = self.weight.weight;
            let shown = || format!("{} {}", self.weight.text, self.weight.unit.symbol());
            if promised.weight > room {
                return Err(("promised", BadRoom::PromisedTooMuch(shown())));
            }
        }
        let both = self.from_us.zip(self.until_us);
        refuse(
            both.is_some_and(|(from, until)| until <= from),
            "until",
            BadRoom::Backwards,
        )?;
        for window in &self.windows {
            let within = |minute: i64| (0..=MINUTES_A_DAY).contains(&minute);
            let in_day = within(window.from_minute) && within(window.to_minute);
            refuse(!in_day, "windows", BadRoom::NotADay)?;
            let backwards = window.to_minute <= window.from_minute;
            refuse(backwards, "windows", BadRoom::Backwards)?;
        }
        let sound_hours = self
            .oldest_hours
            .is_none_or(|hours| (1..=MOST_HOURS).contains(&hours));
        refuse(!sound_hours, "oldest_hours", BadRoom::Hours(MOST_HOURS))?;
        let is_table = self.kind == RoomKind::Table;
        let edges = self.piece_from.is_some() || self.piece_to.is_some();
        refuse(edges && !is_table, "piece_from", BadRoom::NotATable)?;
        let cut = !self.specification.is_empty();
        refuse(cut && !is_table, "specification", BadRoom::NotATable)?;
        refuse(!cut && is_table, "specification", BadRoom::NoSpecification)?;
        let edges = self.piece_from.as_ref().zip(self.piece_to.as_ref());
        refuse(
            edges.is_some_and(|(from, to)| to.weight <= from.weight),
            "piece_to",
            BadRoom::Backwards,
        )?;
        let pays = matches!(self.kind, RoomKind::Soup | RoomKind::ByProduct);
        refuse(
            self.price.is_some() && !pays,
            "price",
            BadRoom::PriceUnasked(kind),
        )?;
        for (field, price) in [("price", self.price), ("handling", self.handling)] {
            let other = price.is_some_and(|price| price.currency() != currency);
            refuse(other, field, BadRoom::OtherMoney(currency))?;
        }
        Ok(())
    }

    /// Least worth a drive: its own, else 5 lb of soup and 10 lb to a recipient (common
    /// practice), else nothing.
    #[must_use]
    pub fn least_drop(&self) -> Weight {
        if let Some(own) = &self.least_drop {
            return own.weight;
        }
        match self.kind {
            RoomKind::Soup => FIVE_POUNDS,
            RoomKind::Donation | RoomKind::Gift => TEN_POUNDS,
            RoomKind::Freezer | RoomKind::Table | RoomKind::CrewUse | RoomKind::ByProduct => {
                Weight::ZERO
            }
        }
    }

    /// Whether it takes a form of fish as it is.
    #[must_use]
    pub fn takes(&self, form: Presentation) -> bool {
        form.is_fish() && (self.presentations.is_empty() || self.presentations.contains(&form))
    }

    /// When fish leaves for it on a business day, asked at `now_us`: the instant at which
    /// it is at the latest handed over, and people's words for it. `None` where there is
    /// no time left on that day.
    #[must_use]
    pub fn leaves(&self, clock: &SiteClock, day: DayNumber, now_us: i64) -> Option<i64> {
        let (start_us, end_us) = (clock.start_us(day), clock.end_us(day));
        let first_us = self.from_us.unwrap_or(start_us).max(now_us).max(start_us);
        let last_us = self.until_us.unwrap_or(end_us).min(end_us);
        if last_us <= first_us {
            return None;
        }
        if self.windows.is_empty() {
            return Some(first_us);
        }
        let ends = self.windows.iter().filter_map(|window| {
            let begins_us = clock.at_minute_us(day, window.from_minute).max(first_us);
            let ends_us = clock.at_minute_us(day, window.to_minute).min(last_us);
            (begins_us < ends_us).then_some(ends_us)
        });
        ends.min()
    }
}

const MINUTES_A_DAY: i64 = 1_440;
/// A month: nothing fresh is older.
const MOST_HOURS: i64 = 744;
/// In 10 ng.
const FIVE_POUNDS: Weight = Weight::from_units(226_796_185_000);
const TEN_POUNDS: Weight = Weight::from_units(453_592_370_000);

/// Fish on ice of one part, for planning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fish {
    /// Which part.
    pub part: PartId,
    /// Its species as on file.
    pub species: Species,
    /// Harvester of record; empty when several.
    pub supplier: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// How it is kept.
    pub storage: Option<Storage>,
    /// Set aside.
    pub held: bool,
    /// What is on ice by the book.
    pub weight: Weight,
    /// Mean piece, where it was counted.
    pub piece: Option<Weight>,
    /// Earliest harvest of any of it, microseconds since 1970 UTC; 0 where not known.
    pub harvested_us: i64,
    /// What it inherits.
    pub traits: Traits,
}

/// What fish keeps of where it came from, through pools, dressing and cuts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Traits {
    /// Some of it was torn.
    pub torn: bool,
    /// Some of it came from an area that is of concern now: in words.
    pub from_concern: Option<String>,
    /// Some of it came in warm and no probe has shown it cold since: as it was read.
    pub warm: Option<Temperature>,
    /// Some of it is held, or is held of what it was made from: in words.
    pub held_source: Option<String>,
}

impl Traits {
    /// What fish poured together of two keeps.
    #[must_use]
    pub fn and(self, other: Traits) -> Traits {
        Traits {
            torn: self.torn || other.torn,
            from_concern: self.from_concern.or(other.from_concern),
            warm: self.warm.or(other.warm),
            held_source: self.held_source.or(other.held_source),
        }
    }
}

/// What dressing leaves of a species.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DressingYield {
    /// ASFIS code.
    pub species: String,
    /// The form it comes in.
    pub from: Presentation,
    /// The form it leaves in.
    pub to: Presentation,
    /// What is left, ppm of the weight before; 1 to 1,000,000.
    pub keeps_ppm: i64,
    /// Hundredths of a minute for one pound before dressing.
    pub minutes_per_lb_e2: i64,
    /// Where the figures are from.
    pub source: String,
}

/// What a plan is judged by: who asks, when, and the site's settings.
#[derive(Debug, Clone)]
pub struct At<'a> {
    /// The business day planned for.
    pub day: DayNumber,
    /// When it is asked, microseconds since 1970 UTC.
    pub now_us: i64,
    /// Time zone and cut-over.
    pub clock: &'a SiteClock,
    /// Ages, prices at the table, dressing.
    pub judging: &'a JudgingSettings,
    /// The cold limit.
    pub receiving: &'a ReceivingSettings,
    /// The site's money.
    pub currency: Currency,
    /// Unit people read.
    pub unit: WeightUnit,
}

/// Whether spines of a species stay on in a form. Dressing a venomous fish takes its
/// spines off as well.
#[must_use]
pub fn has_spines(species: &Species, form: Presentation) -> bool {
    species.has(Hazard::Venomous) && matches!(form, Presentation::Whole | Presentation::Gutted)
}

/// Whether a form is what head, gut, roe and liver were taken out of, in which
/// ciguatoxin gathers (a state health department's advice).
#[must_use]
pub const fn is_headed(form: Presentation) -> bool {
    matches!(
        form,
        Presentation::GuttedHeaded
            | Presentation::FilletSkinOn
            | Presentation::FilletSkinless
            | Presentation::Trim
            | Presentation::Frames
    )
}

#[cfg(test)]
mod tests;
