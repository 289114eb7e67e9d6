//! The trade's words as the wire numbers them.
//!
//! Each word has the same name in the rules and in the contract; only the
//! numbers differ, and they never meet anywhere else.

use proto::v1;
use rules::{
    baseline, close, fish, key, landing, making, office, outlet, price_list, receiving, settlement,
    small_fish, stock, tally, ticket, weight,
};

/// A word of the trade that travels as a number.
pub(crate) trait Coded: Sized + Copy {
    /// The word for a number: nothing for 0, which is "not said".
    ///
    /// # Errors
    /// A number that is not in the contract.
    fn from_wire(number: i32) -> Result<Option<Self>, UnknownNumber>;

    /// The number of a word.
    fn wire(self) -> i32;
}

/// A number that stands for no word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct UnknownNumber;

/// The number of a word that may be absent; 0 is "not said".
pub(crate) fn wire_or_none<T: Coded>(word: Option<T>) -> i32 {
    word.map_or(0, T::wire)
}

/// The numbers of a list of words.
pub(crate) fn wires<T: Coded>(words: &[T]) -> Vec<i32> {
    words.iter().map(|word| word.wire()).collect()
}

macro_rules! coded {
    ($($rules:ty as $wire:ident { $($word:ident),+ $(,)? })+) => {$(
        impl Coded for $rules {
            fn from_wire(number: i32) -> Result<Option<Self>, UnknownNumber> {
                match v1::$wire::try_from(number) {
                    Ok(v1::$wire::Unspecified) => Ok(None),
                    $(Ok(v1::$wire::$word) => Ok(Some(Self::$word)),)+
                    Err(_) => Err(UnknownNumber),
                }
            }

            fn wire(self) -> i32 {
                match self { $(Self::$word => i32::from(v1::$wire::$word)),+ }
            }
        }
    )+};
}

coded! {
    key::Role as Role { Buyer, Diver, Kitchen, Office, Auditor }
    fish::Presentation as Presentation {
        Whole, SpinesClipped, Gutted, GuttedHeaded, FilletSkinOn, FilletSkinless, Trim, Frames,
        Roe, Other,
    }
    fish::Condition as Condition { Clean, Body, Torn }
    fish::Storage as Storage { DrainedIce, DryCooler, Slush, Frozen }
    fish::Hazard as Hazard { Venomous, Ciguatera, Histamine }
    fish::Outlet as Outlet {
        SoldWhole, Soup, Donation, Gift, CrewUse, ByProduct, Discard, Sample,
    }
    fish::Undersize as Undersize { No, Yes, NotKnown }
    weight::WeightUnit as WeightUnit { Lb, Kg, G, Oz }
    weight::ReadingSource as ReadingSource { Keyed, Captured }
    office::PartyRole as PartyRole { Buyer, Harvester, Payee, Kitchen, Recipient, Staff }
    price_list::BandBy as BandBy { Piece, Lot }
    tally::Sex as Sex { Female, Male }
    tally::RulerUnit as RulerUnit { Millimetre, Centimetre, Inch }
    landing::DepthUnit as DepthUnit { Foot, Metre, Fathom }
    ticket::VesselUse as VesselUse { None, Vessel, Unclear }
    ticket::Confirmation as Confirmation { ByDiver, DiverAbsent }
    ticket::SmallFish as SmallFish { Sell, Give, TakeHome }
    ticket::Decision as Decision { Accept, Hold, Refuse }
    ticket::TemperatureUnit as TemperatureUnit { Fahrenheit, Celsius }
    ticket::AdjustmentKind as AdjustmentKind { Price, Settlement }
    ticket::NotBoughtWhy as NotBoughtWhy { Refused, TakenHome }
    ticket::NoticeKind as NoticeKind { Caution, Warning, Question }
    settlement::Method as PaymentMethod {
        Currency, CashiersCheck, BankDraft, TravelersCheck, MoneyOrder, PersonalCheck,
        BusinessCheck, Transfer,
    }
    receiving::ReceivingRule as ReceivingRule {
        LegalLength, Season, TripLimit, Area, Cold, Probes, Histamine,
    }
    receiving::Standing as Standing { Passed, Failed, NotSet, NotKnown }
    receiving::HoldCause as HoldCause { Area, Cold, Other }
    baseline::Follows as Follows { Supplier, Cutter, Kitchen }
    receiving::LengthUnit as LengthUnit { Mm, Cm, In }
    close::CloseState as CloseState { Closed, ClosedWithGaps }
    close::LossBy as LossBy { Part, Supplier, Cutter, Kitchen }
    small_fish::CutOrSoup as CutOrSoup { Cut, Soup, Close }
    making::MakingKind as MakingKind { Cut, Dress, Pool, Freeze, CustomerCut }
    outlet::RoomKind as RoomKind { Soup, Donation, Gift, Freezer, Table, CrewUse, ByProduct }
    outlet::plan::ChoiceKind as ChoiceKind { Pin, Forbid, Free }
    stock::DiscardCause as DiscardCause { BeforeHandOver, AfterHandOver }
    making::Fate as OutputFate { Lot, Discard, NotWeighed }
}
