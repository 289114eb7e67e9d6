//! A weigh-in and the ticket it makes.
//!
//! [`WeighIn`] is what the person at the scale wrote, parsed but not judged.
//! [`Ticket`] is what came of it. Working one out of the other is
//! [`price::ticket`].

pub mod caution;
mod instant;
mod net;
mod pay;
mod plausible;
pub mod price;
mod refusal;
mod rewrite;
pub mod split;

use chrono::NaiveDate;

pub use self::plausible::counted_fish;
use crate::agreed_price::AgreedUsed;
use crate::fish::{Condition, Grade, Outlet, Presentation, Storage, Undersize, coded};
use crate::landing::Depth;
use crate::money::{Money, UnitPrice};
use crate::receiving::{HoldCause, Length, Received};
use crate::tally::Tally;
use crate::weight::{Reading, Weight};

/// What the person at the scale wrote.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeighIn {
    /// Site number.
    pub site: i64,
    /// Party code of the harvester of record.
    pub harvester: String,
    /// Where and how the fish was caught.
    pub landing: Landing,
    /// At least one, at most 35.
    pub lots: Vec<LotIn>,
    /// Who confirmed the ticket.
    pub confirmation: Confirmation,
    /// First reading by the sender's clock, microseconds since 1970 UTC.
    pub first_reading_us: Option<i64>,
    /// Sending by the same clock.
    pub sent_us: Option<i64>,
    /// The payout the diver saw and confirmed, when written without signal.
    pub offline_payout: Option<Money>,
    /// Code of the device; empty when none.
    pub device: String,
    /// Ticket whose place this one takes, and why.
    pub rewrites: Option<Rewrite>,
    /// How the pay is shared; all is the harvester's where there is none.
    pub payees: Vec<PayeeShare>,
    /// In the order given.
    pub adjustments: Vec<Adjustment>,
    /// As written.
    pub note: String,
    /// Number its lot codes bear, asked ahead by its device; absent where they
    /// bear the entry's own.
    pub lot_number: Option<i64>,
    /// What was said to questions asked about it.
    pub answers: Vec<QuestionAnswer>,
}

/// What was said to a question that was asked about a ticket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuestionAnswer {
    /// Stable word of the question.
    pub code: String,
    /// As written.
    pub text: String,
}

/// Where and how the fish was caught.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Landing {
    /// Areas fished.
    pub areas: Vec<CatchArea>,
    /// First harvest day.
    pub harvest_from: Option<NaiveDate>,
    /// Last harvest day.
    pub harvest_to: Option<NaiveDate>,
    /// Gear code (ISSCFG).
    pub gear: String,
    /// Where it came ashore.
    pub landing_place: String,
    /// When it came ashore.
    pub landed_on: Option<NaiveDate>,
    /// Empty when there was none.
    pub vessel: String,
    /// Whether there was one.
    pub vessel_use: Option<VesselUse>,
    /// Number of dives.
    pub dives: Option<i64>,
    /// How deep it was fished.
    pub depth: Option<Depth>,
    /// Time fished, minutes as decimal text; empty when not told.
    pub minutes_fished: String,
}

/// An area as a code of a named code system.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct CatchArea {
    /// Such as FAO.
    pub system: String,
    /// Code in it.
    pub code: String,
}

coded! {
    /// Whether the fish came from a vessel.
    VesselUse {
        /// From shore.
        None = 1 "none",
        /// From a vessel.
        Vessel = 2 "vessel",
        /// Not clear.
        Unclear = 3 "unclear",
    }
}

coded! {
    /// Who confirmed a ticket.
    Confirmation {
        /// The diver, at the scale.
        ByDiver = 1 "by diver",
        /// Nobody: the diver has 24 h to object.
        DiverAbsent = 2 "diver absent",
    }
}

/// One species in one presentation, from one area and date set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotIn {
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// How it is kept.
    pub storage: Option<Storage>,
    /// At least one.
    pub weighings: Vec<Weighing>,
    /// What was seen when it came in.
    pub receiving: Receiving,
    /// The diver's choice for fish below the plate minimum.
    pub small_fish: SmallFish,
    /// Where it differs from the landing.
    pub areas: Vec<CatchArea>,
    /// First harvest day, where it differs.
    pub harvest_from: Option<NaiveDate>,
    /// Last harvest day, where it differs.
    pub harvest_to: Option<NaiveDate>,
    /// What was seen of its fish, where somebody tallied.
    pub tally: Option<Tally>,
}

coded! {
    /// What the diver does with fish below the plate minimum.
    SmallFish {
        /// Sells it at the posted below-plate price.
        Sell = 1 "sell",
        /// Gives it, for 0.00.
        Give = 2 "give",
        /// Takes it home: never bought.
        TakeHome = 3 "take home",
    }
}

coded! {
    /// The answer at the dock.
    Decision {
        /// Bought.
        Accept = 1 "accept",
        /// Bought, set aside, not owed yet.
        Hold = 2 "hold",
        /// Never bought.
        Refuse = 3 "refuse",
    }
}

/// What was seen when a lot came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receiving {
    /// The answer.
    pub decision: Decision,
    /// Why held or refused; not empty then.
    pub reason: String,
    /// What was done about refused fish; not empty then.
    pub corrective_action: String,
    /// First fish speared, microseconds since 1970 UTC.
    pub first_speared_us: Option<i64>,
    /// On ice, microseconds since 1970 UTC.
    pub iced_us: Option<i64>,
    /// Ice around the fish.
    pub ice_around: Option<bool>,
    /// As read.
    pub probes: Vec<Temperature>,
    /// The shortest fish, where it was measured.
    pub smallest_length: Option<Length>,
    /// Nobody can say for certain where it was caught.
    pub area_unclear: bool,
    /// What a hold is for.
    pub hold_cause: Option<HoldCause>,
}

/// A temperature as read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Temperature {
    /// Decimal text.
    pub text: String,
    /// Degrees Fahrenheit or Celsius.
    pub unit: TemperatureUnit,
}

coded! {
    /// Scale of a thermometer.
    TemperatureUnit {
        /// Degrees Fahrenheit.
        Fahrenheit = 1 "F",
        /// Degrees Celsius.
        Celsius = 2 "C",
    }
}

/// One tote of one grade and condition, or fish weighed one by one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Weighing {
    /// Quality grade.
    pub grade: Grade,
    /// Shot condition, where fish has one.
    pub condition: Option<Condition>,
    /// The readings.
    pub weighed: Weighed,
}

/// The readings of a weighing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Weighed {
    /// A tote.
    Tote {
        /// With the tote.
        gross: Reading,
        /// Without the fish.
        tare: Tare,
        /// Takes the site's ice allowance.
        iced: bool,
        /// How many fish.
        pieces: Pieces,
    },
    /// Fish one by one; each is one piece, never iced.
    Pieces(Vec<Reading>),
}

/// Weight of the tote itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Tare {
    /// As weighed.
    Reading(Reading),
    /// Code of a named tote, and its posted tare as it was then: the desk looks
    /// it up before pricing.
    Tote {
        /// Code.
        code: String,
        /// Posted tare used; absent until it is looked up.
        posted: Option<Reading>,
    },
    /// The scale was set to zero with the tote on it.
    Tared,
}

/// How many fish; absent is not zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pieces {
    /// Nobody counted.
    NotCounted,
    /// Counted.
    Counted(i64),
    /// Guessed: bands with a warning and stays out of statistics.
    Estimated(i64),
}

impl Pieces {
    /// Pieces of two weighings: not counted where either was not, estimated where
    /// either was.
    #[must_use]
    pub const fn together(self, other: Pieces) -> Pieces {
        use Pieces::{Counted, Estimated, NotCounted};
        match (self, other) {
            (NotCounted, _) | (_, NotCounted) => NotCounted,
            (Counted(a), Counted(b)) => Counted(a.saturating_add(b)),
            (Estimated(a), Counted(b) | Estimated(b)) | (Counted(a), Estimated(b)) => {
                Estimated(a.saturating_add(b))
            }
        }
    }
}

/// Ticket whose place another takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rewrite {
    /// Entry id of the ticket.
    pub ticket: i64,
    /// Why.
    pub reason: String,
}

/// Takes a ticket out of the books; both stay, and say why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VoidAsked {
    /// Entry id of the ticket.
    pub ticket: i64,
    /// Why.
    pub reason: String,
}

/// A payee's share of the pay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PayeeShare {
    /// Party code.
    pub party: String,
    /// How much.
    pub share: Share,
}

/// What a payee is paid of a ticket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PayeeAmount {
    /// Party code.
    pub party: String,
    /// Owed now.
    pub owed: Money,
    /// Not owed yet.
    pub held: Money,
}

/// How much of the pay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Share {
    /// Percent, ppm.
    Ppm(i64),
    /// A fixed amount.
    Fixed(Money),
}

coded! {
    /// What an adjustment changes.
    AdjustmentKind {
        /// The cost of the fish.
        Price = 1 "price",
        /// Only the pay.
        Settlement = 2 "settlement",
    }
}

/// Something added to or taken off a ticket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Adjustment {
    /// As printed.
    pub name: String,
    /// What it changes.
    pub kind: AdjustmentKind,
    /// How much.
    pub by: AdjustBy,
}

/// How much an adjustment is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AdjustBy {
    /// Per pound or kilogram of bought weight.
    PerWeight(UnitPrice),
    /// Of lines plus per-weight adjustments, ppm.
    Ppm(i64),
    /// An amount.
    Flat(Money),
}

/// A ticket as it is answered. Ids and instants given by the book stand beside
/// it, never in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ticket {
    /// The instant whose price lists the whole ticket uses.
    pub priced_us: i64,
    /// Number its lot codes bear where it is not the entry's own: the rewritten
    /// ticket's, or one asked ahead.
    pub number: Option<i64>,
    /// Lots in the order written.
    pub lots: Vec<TicketLot>,
    /// What is paid.
    pub lines: Vec<Line>,
    /// Fish not bought.
    pub not_bought: Vec<NotBought>,
    /// In their order: per weight, percent, flat; then what was cut so as not
    /// to pay below zero, and what a payout shown offline makes different.
    pub adjustments: Vec<AdjustmentLine>,
    /// Sum of the lines.
    pub lines_total: Money,
    /// Lines and adjustments, never below zero.
    pub payout: Money,
    /// Owed now.
    pub owed: Money,
    /// Not owed yet.
    pub held: Money,
    /// Undersize weight over all lines.
    pub undersize: Weight,
    /// Cautions, warnings and questions.
    pub notices: Vec<Notice>,
    /// Held lines that were released under the ticket whose place this one takes.
    pub released: Vec<ReleasedBefore>,
    /// Owed and held by payee, in the order listed; empty where all is the
    /// harvester's.
    pub shares: Vec<PayeeAmount>,
}

/// What was given back of a held line before the ticket was written again: that
/// weight stays moved, and that pay is owed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReleasedBefore {
    /// Number of the line on this ticket.
    pub line: i64,
    /// Weight that was moved to the part it was released to.
    pub weight: Weight,
    /// Of the line's pay, what is owed and no longer held.
    pub pay: Money,
}

impl Ticket {
    /// The pay that goes with line `n` (from 1) when it is held, released or
    /// thrown out: its amount. Where deductions reached the held pay, what they
    /// took of it comes off the last held lines first, so that the lines' pay
    /// adds up to [`Ticket::held`].
    #[must_use]
    pub fn pay_of(&self, n: i64) -> Money {
        let lines = || (1_i64..).zip(&self.lines);
        let Some((_, line)) = lines().find(|(at, _)| *at == n) else {
            return Money::zero(self.held.currency());
        };
        if !line.held {
            return line.amount;
        }
        let before: i64 = lines()
            .filter(|(at, line)| line.held && *at < n)
            .map(|(_, line)| line.amount.minor())
            .fold(0, i64::saturating_add);
        let left = self.held.minor().saturating_sub(before).max(0);
        Money::new(line.amount.minor().min(left), line.amount.currency())
    }
}

/// A lot as it was taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TicketLot {
    /// Position in the request, from 1.
    pub n: i64,
    /// Its place in the lot code; absent when none of it was bought.
    pub place: Option<i64>,
    /// Name of the species as printed.
    pub species_name: String,
    /// Entry id of the price list used; 0 where nothing was priced.
    pub price_list: i64,
    /// One for each weighing.
    pub weighed: Vec<Net>,
    /// What receiving found.
    pub received: Received,
}

/// What a weighing came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Net {
    /// With the tote; equal to net for pieces.
    pub gross: Weight,
    /// Of the tote.
    pub tare: Weight,
    /// Taken off for ice.
    pub ice: Weight,
    /// gross - tare - ice: what bands and pays.
    pub net: Weight,
}

/// Fish of one lot alike in band, grade, condition and hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Position of the lot in the request, from 1.
    pub lot: i64,
    /// Number of the part in the lot.
    pub part: i64,
    /// Number of the band from 1; 0 when it was not counted.
    pub band: i64,
    /// What people call the band.
    pub band_name: String,
    /// Lower edge.
    pub band_from: Weight,
    /// Upper edge.
    pub band_to: Option<Weight>,
    /// Quality grade.
    pub grade: Grade,
    /// Shot condition.
    pub condition: Option<Condition>,
    /// Set aside, so not owed yet.
    pub held: bool,
    /// How many fish, over its weighings.
    pub pieces: Pieces,
    /// Paid weight.
    pub net: Weight,
    /// Ice taken off it.
    pub ice: Weight,
    /// The list's price.
    pub list_price: UnitPrice,
    /// With the condition's part; zero where it was given.
    pub price: UnitPrice,
    /// net x price, to the cent once.
    pub amount: Money,
    /// Below the plate minimum.
    pub undersize: Undersize,
    /// Where undersize fish is proposed to go.
    pub proposed: Option<Outlet>,
    /// Why there, or why nowhere; empty where it is not undersize.
    pub proposed_reason: String,
    /// What was agreed with the diver and took the list price's place.
    pub agreed: Option<AgreedUsed>,
}

coded! {
    /// Why fish was not bought.
    NotBoughtWhy {
        /// Refused at the dock.
        Refused = 1 "refused",
        /// The diver took it home.
        TakenHome = 2 "taken home",
    }
}

/// Fish not bought: a row without a code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotBought {
    /// Position of the lot in the request.
    pub lot: i64,
    /// What it weighed.
    pub net: Weight,
    /// Why.
    pub why: NotBoughtWhy,
    /// In words.
    pub reason: String,
    /// What was done about it.
    pub corrective_action: String,
}

/// An adjustment as it came out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AdjustmentLine {
    /// As printed.
    pub name: String,
    /// What it changes.
    pub kind: AdjustmentKind,
    /// Rounded once.
    pub amount: Money,
}

coded! {
    /// What a notice wants.
    NoticeKind {
        /// Safety.
        Caution = 1 "caution",
        /// Odd, and booked all the same.
        Warning = 2 "warning",
        /// To ask the diver.
        Question = 3 "question",
    }
}

/// Something said to the person at the scale; it never blocks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// What it wants.
    pub kind: NoticeKind,
    /// Stable word for programs.
    pub code: String,
    /// One sentence for people.
    pub text: String,
    /// Line it is about, from 1; 0 is the whole.
    pub line: i64,
}

impl Notice {
    /// About the whole ticket.
    pub fn of(kind: NoticeKind, code: &str, text: String) -> Notice {
        Notice {
            kind,
            code: code.to_owned(),
            text,
            line: 0,
        }
    }
}
