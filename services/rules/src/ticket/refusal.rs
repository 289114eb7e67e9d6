//! Why a weigh-in makes no ticket.
//!
//! Each refusal carries its numbers and says three things: the field of the
//! request it is about, a stable word for programs, and one sentence for
//! people. What is odd but not wrong is no refusal; it is a notice on the ticket.

use std::fmt;

use crate::decimal;
use crate::fish::{Grade, Presentation};
use crate::ids::MOST_LOTS;
use crate::money::{Currency, Money};
use crate::weight::{Weight, WeightUnit};

/// Weighings one lot may have.
pub const MOST_WEIGHINGS: usize = 200;
/// Fish one weighing may have one by one.
pub const MOST_PIECE_READINGS: usize = 500;
/// Fish one lot may have.
pub const MOST_PIECES: i64 = 100_000;

/// Whether the request is wrong in itself, or something is missing on file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RefusalKind {
    /// It can never be a ticket as it is.
    Malformed,
    /// It can once the office has done something.
    Unmet,
}

/// A weighing of the request, counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct At {
    /// Lot.
    pub lot: usize,
    /// Weighing in it.
    pub weighing: usize,
}

impl At {
    fn field(self) -> String {
        format!("lots[{}].weighings[{}]", self.lot, self.weighing)
    }
}

/// For people, who count from 1.
impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lot = self.lot.saturating_add(1);
        let weighing = self.weighing.saturating_add(1);
        write!(f, "Lot {lot}, weighing {weighing}")
    }
}

/// Which reading of a weighing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadingOf {
    /// With the tote.
    Gross,
    /// Of the tote, as weighed.
    Tare,
    /// Of the tote, as posted.
    PostedTare,
    /// A fish weighed by itself, counted from 0.
    Piece(usize),
}

impl ReadingOf {
    fn field(self) -> String {
        match self {
            ReadingOf::Gross => "tote.gross".to_owned(),
            ReadingOf::Tare => "tote.tare_reading".to_owned(),
            ReadingOf::PostedTare => "tote.tote".to_owned(),
            ReadingOf::Piece(n) => format!("pieces.pieces[{n}]"),
        }
    }
}

/// For people, who count from 1.
impl fmt::Display for ReadingOf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ReadingOf::Gross => f.write_str("gross"),
            ReadingOf::Tare => f.write_str("tare"),
            ReadingOf::PostedTare => f.write_str("posted tare"),
            ReadingOf::Piece(n) => write!(f, "fish {}", n.saturating_add(1)),
        }
    }
}

/// Where an amount of money stands in the request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MoneyAt {
    /// The payout shown without signal.
    OfflinePayout,
    /// A payee's fixed share, counted from 0.
    Payee(usize),
    /// A flat adjustment, counted from 0.
    Flat(usize),
    /// A per-weight adjustment, counted from 0.
    PerWeight(usize),
}

impl MoneyAt {
    fn field(self) -> String {
        match self {
            MoneyAt::OfflinePayout => "offline.payout_shown".to_owned(),
            MoneyAt::Payee(n) => format!("payees[{n}].fixed"),
            MoneyAt::Flat(n) => format!("adjustments[{n}].flat"),
            MoneyAt::PerWeight(n) => format!("adjustments[{n}].per_weight"),
        }
    }
}

/// Why a weigh-in makes no ticket. Positions are counted from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// Nothing was weighed in.
    NoLots,
    /// More lots than a code can tell apart.
    TooManyLots {
        /// How many.
        lots: usize,
    },
    /// A lot without a weighing.
    NoWeighings {
        /// Lot.
        lot: usize,
    },
    /// More weighings than a lot may have.
    TooManyWeighings {
        /// Lot.
        lot: usize,
        /// How many.
        weighings: usize,
    },
    /// Fish one by one, and no fish.
    NoPieceReadings {
        /// Weighing.
        at: At,
    },
    /// More readings than a weighing may have.
    TooManyPieceReadings {
        /// Weighing.
        at: At,
        /// How many.
        readings: usize,
    },
    /// A tote with fish in it was counted as holding less than one.
    PiecesNotPositive {
        /// Weighing.
        at: At,
        /// As counted or estimated.
        pieces: i64,
    },
    /// More fish than a lot may have.
    TooManyPieces {
        /// Lot.
        lot: usize,
    },
    /// A species the book does not know.
    UnknownSpecies {
        /// Lot.
        lot: usize,
        /// As written.
        species: String,
    },
    /// A scale the site does not have.
    UnknownScale {
        /// Weighing.
        at: At,
        /// Reading.
        reading: ReadingOf,
        /// As written.
        scale: String,
    },
    /// A named tote without a posted tare.
    UnknownTote {
        /// Weighing.
        at: At,
        /// As written.
        tote: String,
    },
    /// A reading of nothing, or less.
    ReadingNotPositive {
        /// Weighing.
        at: At,
        /// Reading.
        reading: ReadingOf,
    },
    /// A weight above 10 t.
    TooHeavy {
        /// Weighing.
        at: At,
        /// Reading.
        reading: ReadingOf,
    },
    /// A lot above 10 t.
    LotTooHeavy {
        /// Lot.
        lot: usize,
    },
    /// The tote weighs as much as the tote with fish in it.
    TareNotBelowGross {
        /// Weighing.
        at: At,
        /// With the tote.
        gross: Weight,
        /// Of the tote.
        tare: Weight,
        /// The gross was shown in.
        unit: WeightUnit,
    },
    /// The ice allowance leaves no fish.
    NothingButIce {
        /// Weighing.
        at: At,
    },
    /// Held or refused, and nobody said why.
    ReasonMissing {
        /// Lot.
        lot: usize,
    },
    /// Refused, and nobody said what was done about it.
    CorrectiveActionMissing {
        /// Lot.
        lot: usize,
    },
    /// Money that is not the site's.
    OtherCurrency {
        /// Where.
        at: MoneyAt,
        /// The site's.
        site: Currency,
        /// As written.
        given: Currency,
    },
    /// A payee named twice.
    PayeeTwice {
        /// The later one, counted from 0.
        payee: usize,
        /// Who.
        party: String,
    },
    /// Percents that are not 100.00 together, or none that take the rest.
    PercentsNotWhole {
        /// The last one with a percent, else the last, counted from 0.
        payee: usize,
        /// Whether there is one with a percent.
        any: bool,
        /// All together.
        ppm: i64,
    },
    /// Fixed amounts that are more than the payout.
    FixedBeyondPayout {
        /// The one that went beyond, counted from 0.
        payee: usize,
        /// What there is.
        payout: Money,
    },
    /// A payout below zero cannot have been shown.
    OfflinePayoutNegative {
        /// As written.
        payout: Money,
    },
    /// An adjustment that nobody can read on the ticket.
    AdjustmentUnnamed {
        /// Adjustment.
        adjustment: usize,
    },
    /// An amount that cannot be kept.
    AmountTooLarge,
    /// The ticket was sent before its first reading.
    SentBeforeFirstReading {
        /// From the first reading to the sending, microseconds; negative.
        after_us: i64,
    },
    /// The first reading lies ahead of the book's clock.
    FirstReadingInFuture {
        /// How far, microseconds.
        ahead_us: i64,
    },
    /// Nothing is posted that says what the species is worth.
    NoPriceList {
        /// Lot.
        lot: usize,
        /// ASFIS code.
        species: String,
    },
    /// The list in force does not buy this presentation.
    PresentationNotPriced {
        /// Lot.
        lot: usize,
        /// Form of the fish.
        presentation: Presentation,
    },
    /// The list in force does not buy this grade.
    GradeNotPriced {
        /// Weighing.
        at: At,
        /// Form of the fish.
        presentation: Presentation,
        /// Quality grade.
        grade: Grade,
    },
    /// The list in force finds bands by piece and has no price for fish that
    /// was not counted.
    NotCounted {
        /// Weighing.
        at: At,
    },
    /// The list in force is in other money than the site's.
    PriceListCurrency {
        /// Lot.
        lot: usize,
        /// The site's.
        site: Currency,
        /// The list's.
        list: Currency,
    },
    /// The agreed price is per another unit than the list's, and so than its
    /// adjustments by condition.
    AgreedPriceUnit {
        /// Lot.
        lot: usize,
        /// Of the agreed price.
        agreed: WeightUnit,
        /// Of the list.
        list: WeightUnit,
    },
    /// A rewrite whose new lots find no place among the codes of the ticket.
    NoPlaceLeft {
        /// Lot.
        lot: usize,
    },
}

impl Refusal {
    /// Whether the request is wrong in itself, or something is missing on file.
    #[must_use]
    pub const fn kind(&self) -> RefusalKind {
        match self {
            Refusal::NoPriceList { .. }
            | Refusal::PresentationNotPriced { .. }
            | Refusal::GradeNotPriced { .. }
            | Refusal::NotCounted { .. }
            | Refusal::PriceListCurrency { .. }
            | Refusal::AgreedPriceUnit { .. }
            | Refusal::NoPlaceLeft { .. } => RefusalKind::Unmet,
            Refusal::NoLots
            | Refusal::TooManyLots { .. }
            | Refusal::NoWeighings { .. }
            | Refusal::TooManyWeighings { .. }
            | Refusal::NoPieceReadings { .. }
            | Refusal::TooManyPieceReadings { .. }
            | Refusal::PiecesNotPositive { .. }
            | Refusal::TooManyPieces { .. }
            | Refusal::UnknownSpecies { .. }
            | Refusal::UnknownScale { .. }
            | Refusal::UnknownTote { .. }
            | Refusal::ReadingNotPositive { .. }
            | Refusal::TooHeavy { .. }
            | Refusal::LotTooHeavy { .. }
            | Refusal::TareNotBelowGross { .. }
            | Refusal::NothingButIce { .. }
            | Refusal::ReasonMissing { .. }
            | Refusal::CorrectiveActionMissing { .. }
            | Refusal::OtherCurrency { .. }
            | Refusal::OfflinePayoutNegative { .. }
            | Refusal::PayeeTwice { .. }
            | Refusal::PercentsNotWhole { .. }
            | Refusal::FixedBeyondPayout { .. }
            | Refusal::AdjustmentUnnamed { .. }
            | Refusal::AmountTooLarge
            | Refusal::SentBeforeFirstReading { .. }
            | Refusal::FirstReadingInFuture { .. } => RefusalKind::Malformed,
        }
    }

    /// Stable word for programs.
    #[must_use]
    pub const fn reason(&self) -> &'static str {
        match self {
            Refusal::NoLots => "NO_LOTS",
            Refusal::TooManyLots { .. } => "TOO_MANY_LOTS",
            Refusal::NoWeighings { .. } => "NO_WEIGHINGS",
            Refusal::TooManyWeighings { .. } => "TOO_MANY_WEIGHINGS",
            Refusal::NoPieceReadings { .. } => "NO_PIECE_READINGS",
            Refusal::TooManyPieceReadings { .. } => "TOO_MANY_PIECE_READINGS",
            Refusal::PiecesNotPositive { .. } => "PIECES_NOT_POSITIVE",
            Refusal::TooManyPieces { .. } => "TOO_MANY_PIECES",
            Refusal::UnknownSpecies { .. } => "UNKNOWN_SPECIES",
            Refusal::UnknownScale { .. } => "UNKNOWN_SCALE",
            Refusal::UnknownTote { .. } => "UNKNOWN_TOTE",
            Refusal::ReadingNotPositive { .. } => "READING_NOT_POSITIVE",
            Refusal::TooHeavy { .. } => "TOO_HEAVY",
            Refusal::LotTooHeavy { .. } => "LOT_TOO_HEAVY",
            Refusal::TareNotBelowGross { .. } => "TARE_NOT_BELOW_GROSS",
            Refusal::NothingButIce { .. } => "NOTHING_BUT_ICE",
            Refusal::ReasonMissing { .. } => "REASON_MISSING",
            Refusal::CorrectiveActionMissing { .. } => "CORRECTIVE_ACTION_MISSING",
            Refusal::OtherCurrency { .. } => "OTHER_CURRENCY",
            Refusal::OfflinePayoutNegative { .. } => "OFFLINE_PAYOUT_NEGATIVE",
            Refusal::PayeeTwice { .. } => "PAYEE_TWICE",
            Refusal::PercentsNotWhole { .. } => "PERCENTS_NOT_100",
            Refusal::FixedBeyondPayout { .. } => "FIXED_BEYOND_PAYOUT",
            Refusal::AdjustmentUnnamed { .. } => "ADJUSTMENT_UNNAMED",
            Refusal::AmountTooLarge => "AMOUNT_TOO_LARGE",
            Refusal::SentBeforeFirstReading { .. } => "SENT_BEFORE_FIRST_READING",
            Refusal::FirstReadingInFuture { .. } => "FIRST_READING_IN_FUTURE",
            Refusal::NoPriceList { .. } => "NO_PRICE_LIST",
            Refusal::PresentationNotPriced { .. } => "PRESENTATION_NOT_PRICED",
            Refusal::GradeNotPriced { .. } => "GRADE_NOT_PRICED",
            Refusal::NotCounted { .. } => "NOT_COUNTED",
            Refusal::PriceListCurrency { .. } => "PRICE_LIST_CURRENCY",
            Refusal::AgreedPriceUnit { .. } => "AGREED_PRICE_UNIT",
            Refusal::NoPlaceLeft { .. } => "NO_PLACE_LEFT",
        }
    }

    /// Path of the field in the request that it is about, counted from 0.
    #[must_use]
    pub fn field(&self) -> String {
        match self {
            Refusal::NoLots | Refusal::TooManyLots { .. } | Refusal::AmountTooLarge => {
                "lots".to_owned()
            }
            Refusal::NoWeighings { lot }
            | Refusal::TooManyWeighings { lot, .. }
            | Refusal::TooManyPieces { lot }
            | Refusal::LotTooHeavy { lot } => format!("lots[{lot}].weighings"),
            Refusal::NoPieceReadings { at } | Refusal::TooManyPieceReadings { at, .. } => {
                format!("{}.pieces.pieces", at.field())
            }
            Refusal::PiecesNotPositive { at, .. } | Refusal::NotCounted { at } => {
                format!("{}.tote.pieces", at.field())
            }
            Refusal::UnknownSpecies { lot, .. }
            | Refusal::NoPriceList { lot, .. }
            | Refusal::PriceListCurrency { lot, .. }
            | Refusal::AgreedPriceUnit { lot, .. } => format!("lots[{lot}].species"),
            Refusal::UnknownScale { at, reading, .. } => {
                format!("{}.{}.scale", at.field(), reading.field())
            }
            Refusal::UnknownTote { at, .. } => format!("{}.tote.tote", at.field()),
            Refusal::ReadingNotPositive { at, reading } | Refusal::TooHeavy { at, reading } => {
                format!("{}.{}", at.field(), reading.field())
            }
            Refusal::TareNotBelowGross { at, .. } => format!("{}.tote.gross", at.field()),
            Refusal::NothingButIce { at } => format!("{}.tote.iced", at.field()),
            Refusal::ReasonMissing { lot } => format!("lots[{lot}].receiving.reason"),
            Refusal::CorrectiveActionMissing { lot } => {
                format!("lots[{lot}].receiving.corrective_action")
            }
            Refusal::OtherCurrency { at, .. } => at.field(),
            Refusal::OfflinePayoutNegative { .. } => MoneyAt::OfflinePayout.field(),
            Refusal::PayeeTwice { payee, .. } => format!("payees[{payee}].party"),
            Refusal::PercentsNotWhole {
                payee, any: true, ..
            } => format!("payees[{payee}].percent"),
            Refusal::PercentsNotWhole { payee, .. } => format!("payees[{payee}]"),
            Refusal::FixedBeyondPayout { payee, .. } => MoneyAt::Payee(*payee).field(),
            Refusal::AdjustmentUnnamed { adjustment } => format!("adjustments[{adjustment}].name"),
            Refusal::SentBeforeFirstReading { .. } => "sent_at".to_owned(),
            Refusal::FirstReadingInFuture { .. } => "first_reading_at".to_owned(),
            Refusal::PresentationNotPriced { lot, .. } => format!("lots[{lot}].presentation"),
            Refusal::GradeNotPriced { at, .. } => format!("{}.grade", at.field()),
            Refusal::NoPlaceLeft { lot } => format!("lots[{lot}]"),
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let nth = |position: &usize| position.saturating_add(1);
        match self {
            Refusal::NoLots => write!(f, "A weigh-in has at least one lot."),
            Refusal::TooManyLots { lots } => {
                write!(f, "A weigh-in has at most {MOST_LOTS} lots, not {lots}.")
            }
            Refusal::NoWeighings { lot } => {
                write!(
                    f,
                    "Lot {} has no weighing; it needs at least one.",
                    nth(lot)
                )
            }
            Refusal::TooManyWeighings { lot, weighings } => write!(
                f,
                "Lot {} has {weighings} weighings; it may have {MOST_WEIGHINGS}.",
                nth(lot)
            ),
            Refusal::NoPieceReadings { at } => {
                write!(
                    f,
                    "{at}: fish weighed one by one needs at least one reading."
                )
            }
            Refusal::TooManyPieceReadings { at, readings } => write!(
                f,
                "{at}: {readings} fish one by one; a weighing may have {MOST_PIECE_READINGS}."
            ),
            Refusal::PiecesNotPositive { at, pieces } => write!(
                f,
                "{at}: {pieces} pieces; a tote with fish has at least one, and fish that was not counted leaves the number out."
            ),
            Refusal::TooManyPieces { lot } => {
                write!(f, "Lot {} has more than {MOST_PIECES} pieces.", nth(lot))
            }
            Refusal::UnknownSpecies { lot, species } => {
                write!(f, "Lot {}: no species {species:?} is on file.", nth(lot))
            }
            Refusal::UnknownScale { at, reading, scale } => {
                write!(f, "{at}, {reading}: the site has no scale {scale:?}.")
            }
            Refusal::UnknownTote { at, tote } => {
                write!(
                    f,
                    "{at}: no tare is posted for a tote {tote:?} of the site."
                )
            }
            Refusal::ReadingNotPositive { at, reading } => {
                write!(f, "{at}, {reading}: the weight must be above zero.")
            }
            Refusal::TooHeavy { at, reading } => {
                write!(f, "{at}, {reading}: one weight is at most 10 t.")
            }
            Refusal::LotTooHeavy { lot } => write!(f, "Lot {}: one lot is at most 10 t.", nth(lot)),
            Refusal::TareNotBelowGross {
                at,
                gross,
                tare,
                unit,
            } => write!(
                f,
                "{at}: the tare {tare} {unit} must be below the gross {gross} {unit}.",
                tare = tare.shown(*unit),
                gross = gross.shown(*unit),
                unit = unit.symbol()
            ),
            Refusal::NothingButIce { at } => {
                write!(f, "{at}: the ice allowance leaves no fish to pay for.")
            }
            Refusal::ReasonMissing { lot } => {
                write!(
                    f,
                    "Lot {}: fish that is held or refused needs a reason.",
                    nth(lot)
                )
            }
            Refusal::CorrectiveActionMissing { lot } => {
                write!(
                    f,
                    "Lot {}: refused fish needs the corrective action taken.",
                    nth(lot)
                )
            }
            Refusal::OtherCurrency { at, site, given } => {
                write!(
                    f,
                    "{}: the site's money is {site}, not {given}.",
                    at.field()
                )
            }
            Refusal::PayeeTwice { party, .. } => {
                write!(f, "{party} stands among the payees twice: give one share for each.")
            }
            Refusal::PercentsNotWhole { any: false, .. } => f.write_str(
                "Fixed amounts alone leave nobody to take the rest: give a payee 100 percent of it.",
            ),
            Refusal::PercentsNotWhole { ppm, .. } => write!(
                f,
                "The payees' percents are {} together; they share what fixed amounts leave and must be 100.00.",
                decimal::text(*ppm, 4)
            ),
            Refusal::FixedBeyondPayout { payout, .. } => write!(
                f,
                "The payees' fixed amounts are more than the payout, {payout}: lower one, or give a percent."
            ),
            Refusal::OfflinePayoutNegative { payout } => {
                write!(
                    f,
                    "The payout shown offline is {payout}; a ticket never pays below 0.00."
                )
            }
            Refusal::AdjustmentUnnamed { adjustment } => {
                write!(
                    f,
                    "Adjustment {} needs a name for the ticket.",
                    nth(adjustment)
                )
            }
            Refusal::AmountTooLarge => write!(f, "An amount on the ticket is too large."),
            Refusal::SentBeforeFirstReading { after_us } => write!(
                f,
                "The ticket was sent {} s before its first reading.",
                after_us.unsigned_abs().div_euclid(1_000_000)
            ),
            Refusal::FirstReadingInFuture { ahead_us } => write!(
                f,
                "The first reading is {} s ahead of the book's clock; 120 s is the most.",
                ahead_us.div_euclid(1_000_000)
            ),
            Refusal::NoPriceList { lot, species } => write!(
                f,
                "Lot {}: no price list for {species} is in force at the ticket's price instant.",
                nth(lot)
            ),
            Refusal::PresentationNotPriced { lot, presentation } => write!(
                f,
                "Lot {}: the price list in force does not buy {}.",
                nth(lot),
                presentation.word()
            ),
            Refusal::GradeNotPriced {
                at,
                presentation,
                grade,
            } => write!(
                f,
                "{at}: the price list in force does not buy {} of grade {}.",
                presentation.word(),
                grade.as_str()
            ),
            Refusal::NotCounted { at } => write!(
                f,
                "{at}: the fish was not counted, and the price list in force has no price for that."
            ),
            Refusal::PriceListCurrency { lot, site, list } => write!(
                f,
                "Lot {}: the price list in force is in {list}, and the site's money is {site}.",
                nth(lot)
            ),
            Refusal::AgreedPriceUnit { lot, agreed, list } => write!(
                f,
                "Lot {}: the price agreed with the diver is per {}, and the price list in force per {}; record the agreed price per {}.",
                nth(lot),
                agreed.symbol(),
                list.symbol(),
                list.symbol(),
            ),
            Refusal::NoPlaceLeft { lot } => write!(
                f,
                "Lot {}: the codes of the rewritten ticket are used up; weigh it in as a new ticket.",
                nth(lot)
            ),
        }
    }
}

impl std::error::Error for Refusal {}
