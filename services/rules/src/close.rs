//! The close of a site's business day.
//!
//! Every part is walked through its day in the order of what happened; what was
//! there as the day began and what came in equals what went out, what was
//! posted, and what is there as it ends. What a person should look at is a flag:
//! a finding is data, never an error. Two runs over the same day give the same
//! close: sums in order of ids, whole numbers, no clock.
//!
//! How one part is balanced is in [`crate::balance`], plain yield in
//! [`crate::fillet_yield`]; what is read and written is not here.

mod flags;
mod outlets;
mod said;
mod table;
mod walk;

use std::collections::BTreeMap;

use crate::balance::Holding;
use crate::baseline::Baseline;
use crate::business_day::SiteClock;
use crate::codes::{self, BlockUse};
use crate::drift::{self, Drift, WeighedTwice};
use crate::fillet_yield::{YieldKey, YieldSums, pooled};
use crate::fish::{Outlet, Presentation, Storage, coded};
use crate::ids::{DayNumber, LotCode, PartId};
use crate::making::{Making, MakingKind};
use crate::money::{Currency, Money, UnitPrice};
use crate::office::{Scale, Settings};
use crate::outlet::plan::{Choice, RoomNow};
use crate::outlet::{Fish, RoomKind};
use crate::supplier_yield::CutFact;
use crate::ticket::Temperature;
use crate::uncertainty::Read;
use crate::weight::{Weight, WeightUnit};

pub use said::{CauseRow, ChartRow, LossBy, LossRow, SmallFishRow, SupplierRow, YieldGroupRow};

/// Version of the rules by which a day is closed; it rises when the same day
/// would come out otherwise.
pub const RULES_VERSION: i64 = 7;

/// All that a close is worked out from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayInput {
    /// Site number.
    pub site: i64,
    /// The business day.
    pub day: DayNumber,
    /// Its first instant, microseconds since 1970 UTC.
    pub start_us: i64,
    /// The first instant after it.
    pub end_us: i64,
    /// The site's money.
    pub currency: Currency,
    /// Unit people read.
    pub shown_unit: WeightUnit,
    /// Settings in force as the day began.
    pub settings: Settings,
    /// What each open part held as the day began.
    pub opening: BTreeMap<PartId, Holding>,
    /// Every part that was on hand or touched.
    pub parts: BTreeMap<PartId, PartFacts>,
    /// What happened to weight, in any order.
    pub happened: Vec<Happening>,
    /// What was read on a scale, by the entry that says so; a weight without a reading
    /// went by the book.
    pub read: BTreeMap<i64, Vec<Read>>,
    /// The site's scales by code, as they were on file as the day ended.
    pub scales: BTreeMap<String, Scale>,
    /// Fish weighed on one scale and again on another, of the days by which scales are
    /// compared.
    pub weighed_twice: Vec<WeighedTwice>,
    /// Makings of the day with their entry ids, customers' cuts among them.
    pub makings: Vec<(i64, Making)>,
    /// What tickets of the day said that the close repeats.
    pub tickets: Vec<TicketSaid>,
    /// Devices known to hold deeds that have not come in.
    pub undrained: Vec<Undrained>,
    /// Disputes opened on the day that nobody has answered.
    pub disputes: Vec<OpenDispute>,
    /// Lots taken in warm that were to be shown cold on the day.
    pub warm: Vec<WarmLot>,
    /// What each party was owed as the day began.
    pub balances: BTreeMap<String, PayBalance>,
    /// Changes of pay entered on this day, in any order.
    pub pay: Vec<PayChange>,
    /// What of it became the buyer's loss, minor units.
    pub loss_minor: i64,
    /// Blocks of lot numbers asked for or used on this day.
    pub blocks: Vec<BlockUse>,
    /// Cuts that tell a yield, of the day and of the days looked back on.
    pub cut_facts: Vec<CutFact>,
    /// Days that control charts are held against, older ones first.
    pub baselines: Vec<Baseline>,
    /// What kitchens paid, by the movement that a customer's cut of the day took from.
    pub dispatch_prices: BTreeMap<i64, UnitPrice>,
    /// Lines of plans for small fish, carried out on the day or left undone.
    pub lines_done: Vec<LineDone>,
    /// Where small fish has room, for what is left; absent where no room is on file.
    pub places: Option<Places>,
}

/// Where small fish that is left as a day ends may go on the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Places {
    /// The business day after.
    pub next_day: DayNumber,
    /// Time zone and cut-over.
    pub clock: SiteClock,
    /// Small fish that was on hand or came in, without its weight.
    pub fish: BTreeMap<PartId, Fish>,
    /// What has room.
    pub rooms: Vec<RoomNow>,
    /// What people decided.
    pub choices: Vec<Choice>,
    /// A division of the scale it is weighed on.
    pub division: Weight,
}

/// A line of a plan for small fish, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineDone {
    /// Entry id of the plan.
    pub plan: i64,
    /// Its line, from 1.
    pub line: i64,
    /// Entry of the movement or making that carried it out; 0 of none.
    pub by: i64,
    /// Which part.
    pub part: PartId,
    /// Code of the room.
    pub room: String,
    /// What people call it.
    pub room_name: String,
    /// What was planned.
    pub planned: Weight,
    /// What went.
    pub delivered: Weight,
    /// The room was promised something.
    pub promised: bool,
}

/// What the book has on file of a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartFacts {
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// How it is kept.
    pub storage: Option<Storage>,
    /// Supplier of record; empty for several.
    pub supplier: String,
    /// Set aside.
    pub held: bool,
    /// Below the plate minimum.
    pub undersize: bool,
    /// Where undersize fish was proposed to go.
    pub proposed: Option<Outlet>,
    /// Why there, or why nowhere.
    pub proposed_reason: String,
    /// What it once held, where it was finished on an earlier day.
    pub finished: Option<Holding>,
    /// When the earliest of it was harvested, microseconds since 1970 UTC; 0 where it is
    /// not known. What is on hand goes by what it carries with it: this is of fish taken
    /// in on the day, or brought back.
    pub harvested_us: i64,
}

/// Something that happened to weight.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Happening {
    /// When, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Entry that says so.
    pub entry: i64,
    /// What.
    pub what: What,
}

/// What happened to weight.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// Taken in on a ticket.
    Bought {
        /// Into which part.
        part: PartId,
        /// Paid weight.
        weight: Weight,
        /// Amount of its line, minor units.
        cost_minor: i64,
    },
    /// Brought back by a customer.
    Returned {
        /// Into which part.
        part: PartId,
        /// How much.
        weight: Weight,
        /// What it had cost, minor units.
        cost_minor: i64,
    },
    /// Held, released or regraded.
    Shifted {
        /// Out of which part.
        from: PartId,
        /// Into which part.
        to: PartId,
        /// How much.
        weight: Weight,
    },
    /// Left for an outlet.
    Moved {
        /// Out of which part.
        part: PartId,
        /// Where to.
        outlet: Outlet,
        /// How much.
        weight: Weight,
        /// A count of 0 after it.
        emptied: bool,
    },
    /// Made into other lots.
    Made {
        /// Kind of making.
        kind: MakingKind,
        /// What went in.
        inputs: Vec<Used>,
        /// The new lots.
        lots: Vec<NewLot>,
        /// Residue within the allowance.
        cutting_loss: Weight,
        /// Residue beyond it.
        table_unaccounted: Weight,
    },
    /// Weighed at close.
    Counted {
        /// Which part.
        part: PartId,
        /// What was there.
        weight: Weight,
    },
}

/// Weight a making took.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Used {
    /// Out of which part.
    pub part: PartId,
    /// How much.
    pub weight: Weight,
    /// A count of 0 after it.
    pub emptied: bool,
}

/// A lot a making gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NewLot {
    /// Its only part.
    pub part: PartId,
    /// How much.
    pub weight: Weight,
}

/// What a ticket said that the close repeats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TicketSaid {
    /// Its entry id.
    pub entry: i64,
    /// What the price shown offline made of the payout, minor units; 0 is no
    /// difference.
    pub offline_difference_minor: i64,
    /// The device's clock was off.
    pub clock_skew: bool,
    /// An adjustment changed the cost of the fish.
    pub price_adjusted: bool,
}

/// A device known to hold deeds that have not come in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undrained {
    /// Its code.
    pub device: String,
    /// Deeds it said it had.
    pub queued: i64,
    /// Deeds of those that were answered.
    pub resolved: i64,
}

/// A dispute that nobody has answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OpenDispute {
    /// Its entry id.
    pub entry: i64,
    /// Entry id of the ticket.
    pub ticket: i64,
    /// Number of the line, 0 for the whole ticket.
    pub line: i64,
}

/// A lot accepted warm, iced and cooling, with what was read of it since.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WarmLot {
    /// Entry id of its ticket.
    pub ticket: i64,
    /// The lot.
    pub lot: LotCode,
    /// The warmest probe as it came in.
    pub came_in: Option<Temperature>,
    /// By when it was to be shown cold, microseconds since 1970 UTC.
    pub due_us: i64,
    /// The same as people write it, local time.
    pub due: String,
    /// Re-probes entered for the ticket's day up to this one, in any order.
    pub probed: Vec<ProbedAgain>,
}

/// A re-probe of a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProbedAgain {
    /// When, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Its entry id.
    pub entry: i64,
    /// At or below the limit.
    pub passed: bool,
    /// The warmest probe.
    pub warmest: Temperature,
}

/// What a party is owed, and what is held, minor units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PayBalance {
    /// Owed.
    pub owed_minor: i64,
    /// Not owed yet.
    pub held_minor: i64,
}

/// A change of what a party is owed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PayChange {
    /// Party code.
    pub party: String,
    /// By how much.
    pub by: PayBalance,
}

/// A day, closed. Its revision and when it was recorded stand beside it, never
/// in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CloseDoc {
    /// Site number.
    pub site: i64,
    /// The business day.
    pub day: DayNumber,
    /// [`RULES_VERSION`] by which it was closed.
    pub rules_version: i64,
    /// Whether anything is missing from it.
    pub state: CloseState,
    /// Weight over all parts of the site.
    pub balance: DayBalance,
    /// By part.
    pub parts: Vec<PartBalance>,
    /// Cuts and dressings, by entry.
    pub cuts: Vec<CutBalance>,
    /// By supplier.
    pub yields: Vec<YieldRow>,
    /// By part.
    pub undersize: Vec<UndersizeRow>,
    /// By party.
    pub payouts: Vec<PayRow>,
    /// How scales compare, by code.
    pub drifts: Vec<Drift>,
    /// By money at stake, largest first; then weight, kind and subject.
    pub flags: Vec<Flag>,
    /// What the figures leave out.
    pub remarks: Vec<String>,
    /// Yields over the days looked back on, by species, form and specification.
    pub supplier_yields: Vec<YieldGroupRow>,
    /// By what is followed, then party.
    pub charts: Vec<ChartRow>,
    /// By part, supplier, cutter and kitchen.
    pub losses: Vec<LossRow>,
    /// What the day lost by cause; the causes may overlap.
    pub causes: Vec<CauseRow>,
    /// Cutting beside soup, by band.
    pub small_fish: Vec<SmallFishRow>,
    /// Lines of plans for small fish, carried out or left undone.
    pub lines_done: Vec<LineDone>,
    /// Where the small fish that is left goes; absent where no room is on file.
    pub left_plan: Option<LeftPlan>,
}

/// Where small fish that is left as the day ends goes, planned for the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftPlan {
    /// By room, then part.
    pub lines: Vec<LeftLine>,
    /// What found no place, by part.
    pub left: Vec<LeftPart>,
    /// Kept from discard.
    pub kept: Weight,
    /// Net of handling and dressing.
    pub money: Money,
}

/// A part, or some of it, to a room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftLine {
    /// Which part.
    pub part: PartId,
    /// Code of the room.
    pub room: String,
    /// What sort it is.
    pub kind: RoomKind,
    /// As it stands on ice.
    pub weight: Weight,
    /// What is handed over, expected.
    pub delivered: Weight,
    /// Form it is given first.
    pub dress: Option<Presentation>,
    /// What it brings.
    pub net: Money,
}

/// A part for which there is no place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftPart {
    /// Which.
    pub part: PartId,
    /// How much.
    pub weight: Weight,
    /// Why.
    pub why: String,
}

coded! {
    /// Whether anything is missing from a close.
    CloseState {
        /// Every open part was counted and no device is known undrained.
        Closed = 1 "closed",
        /// Else; the gaps are among the flags.
        ClosedWithGaps = 2 "closed with gaps",
    }
}

/// Weight over all parts: opening + bought + returned + made = used + out +
/// shrink + unaccounted + closing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DayBalance {
    /// As the day began.
    pub opening: Weight,
    /// Taken in on tickets.
    pub bought: Weight,
    /// Brought back by customers.
    pub returned: Weight,
    /// New lots out of makings.
    pub made: Weight,
    /// Into makings.
    pub used: Weight,
    /// By outlet; none of nothing.
    pub out: Vec<OutletWeight>,
    /// Expected drip posted at counts.
    pub shrink: Weight,
    /// Missing at counts, less surplus.
    pub unaccounted: Weight,
    /// As the day ended.
    pub closing: Weight,
    /// Of what was used: residue within the allowance.
    pub cutting_loss: Weight,
    /// Of what was used: residue beyond it.
    pub table_unaccounted: Weight,
}

/// Weight that went to an outlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutletWeight {
    /// Where.
    pub outlet: Outlet,
    /// How much.
    pub weight: Weight,
}

/// One part's day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartBalance {
    /// The part.
    pub part: PartId,
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// Supplier of record; empty for several.
    pub supplier: String,
    /// As the day began.
    pub opening: Weight,
    /// Came in, from siblings as well.
    pub came_in: Weight,
    /// Went out, to siblings and makings as well.
    pub went_out: Weight,
    /// Expected drip posted at a count.
    pub shrink: Weight,
    /// Plus is missing, minus is surplus.
    pub unaccounted: Weight,
    /// As the day ended.
    pub closing: Weight,
    /// Counted for this day.
    pub counted: bool,
    /// Nothing is left.
    pub finished: bool,
    /// How much unaccounted weight scales, water and drip explain, either way (k = 2);
    /// absent where that is not known, or nothing was counted.
    pub explained: Option<Weight>,
}

/// A cut or dressing at the own table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutBalance {
    /// Its entry id.
    pub entry: i64,
    /// Party that cut.
    pub cutter: String,
    /// What went in.
    pub input: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// Other new lots.
    pub other_lots: Weight,
    /// Thrown out.
    pub discard: Weight,
    /// Residue within the allowance.
    pub cutting_loss: Weight,
    /// Residue beyond it.
    pub table_unaccounted: Weight,
    /// Everything was weighed.
    pub judged: bool,
}

/// Undersize fish, and where it went on this day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UndersizeRow {
    /// The part.
    pub part: PartId,
    /// ASFIS code.
    pub species: String,
    /// Supplier of record.
    pub supplier: String,
    /// Where it was proposed to go.
    pub proposed: Option<Outlet>,
    /// Why there, or why nowhere.
    pub proposed_reason: String,
    /// Bought today; nothing for fish of an earlier day.
    pub taken_in: Weight,
    /// Where it went, by outlet.
    pub out: Vec<OutletWeight>,
    /// Went into makings.
    pub made_into_lots: Weight,
    /// As the day ended.
    pub left: Weight,
}

/// What a party is owed as the day ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PayRow {
    /// Party code.
    pub party: String,
    /// Balance.
    pub owed: Money,
    /// Balance that is not owed yet.
    pub held: Money,
    /// What the day's entries added to what is owed.
    pub owed_today: Money,
}

/// A plain pooled yield.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YieldRow {
    /// Supplier of record; empty for a pool.
    pub supplier: String,
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// At a customer's kitchen.
    pub customer_kitchen: bool,
    /// Cuts of this supplier's fish alone.
    pub cuts: i64,
    /// What went into them.
    pub input: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// Hundredths of a percent, half up; absent without such a cut.
    pub yield_e2: Option<i64>,
    /// Cuts that mixed suppliers.
    pub mixed_cuts: i64,
    /// What of this supplier's went into those.
    pub mixed_input: Weight,
}

coded! {
    /// What a flag is about.
    FlagKind {
        /// More or less was counted in a part than the book and drip explain.
        Unaccounted = 1 "unaccounted",
        /// The same over the whole site.
        UnaccountedSite = 2 "unaccounted_site",
        /// As much too little in one part as too much in another.
        Swapped = 3 "swapped",
        /// More was lost at the table than cutting explains.
        TableUnaccounted = 4 "table_unaccounted",
        /// More came off the table than went on it.
        MoreOutThanIn = 5 "more_out_than_in",
        /// More went out of a part than was in it.
        Overdrawn = 6 "overdrawn",
        /// Weight went out of a finished part.
        Reopened = 7 "reopened",
        /// A hold nobody has ended.
        HoldOld = 8 "hold_old",
        /// An open part nobody counted.
        Uncounted = 9 "uncounted",
        /// A device still holds deeds.
        DeviceUndrained = 10 "device_undrained",
        /// A price shown without signal was not the list's.
        OfflineDifference = 11 "offline_difference",
        /// A device's clock was off.
        ClockSkew = 12 "clock_skew",
        /// A line or a ticket is disputed and nobody has answered.
        DisputeOpen = 20 "dispute_open",
        /// Fish taken in warm that no re-probe showed to be cold in time.
        NeverShownCold = 21 "never_shown_cold",
        /// One scale weighs more than another.
        ScaleDrift = 22 "scale_drift",
        /// Fish past the age that the site set for it.
        Old = 23 "old",
        /// A supplier's fish is known to cut out low.
        SupplierLow = 24 "supplier_low",
        /// A control chart passed its limits.
        YieldDrift = 25 "yield_drift",
        /// Small fish without a place, which will be too old for soup and donation.
        WillAgeOut = 26 "will_age_out",
        /// A plan's line of which more or less went than was planned, or nothing.
        NotAsPlanned = 27 "not_as_planned",
    }
}

impl FlagKind {
    /// Whether the day is closed with gaps because of it.
    #[must_use]
    pub const fn is_gap(self) -> bool {
        matches!(self, FlagKind::Uncounted | FlagKind::DeviceUndrained)
    }

    /// What a person can do about it first.
    #[must_use]
    pub const fn next_step(self) -> &'static str {
        match self {
            FlagKind::Unaccounted => {
                "Count it again, and look for a ticket, movement or cut that was not entered."
            }
            FlagKind::UnaccountedSite => {
                "Look at the parts with the largest differences, each too small for a flag alone."
            }
            FlagKind::Swapped => "Look into both bins; if they were mixed up, count both again.",
            FlagKind::TableUnaccounted => {
                "Ask the cutter what was not weighed; weigh frames and trim of the next cut."
            }
            FlagKind::MoreOutThanIn => {
                "Look for an input that was not entered; let fillet drain before it is weighed."
            }
            FlagKind::Overdrawn => "Look for a wrong part, or a weigh-in that was not entered.",
            FlagKind::Reopened => "Count it: the book thought that nothing was left.",
            FlagKind::HoldOld => {
                "Release it or throw it out; the local code decides what may be released."
            }
            FlagKind::Uncounted => "Count it now; a count still closes its day.",
            FlagKind::DeviceUndrained => "Bring the device where it has signal, and let it send.",
            FlagKind::OfflineDifference => {
                "Tell the diver; the price that was shown and confirmed binds."
            }
            FlagKind::ClockSkew => "Set the device's clock.",
            FlagKind::DisputeOpen => "Answer it.",
            FlagKind::NeverShownCold => {
                "Hold it and probe it; the local code decides what may become of it."
            }
            FlagKind::ScaleDrift => "Put a known weight on both, and have the scales tested.",
            FlagKind::Old => {
                "Sell it, freeze it or throw it out; the local code decides what may still be \
                 sold."
            }
            FlagKind::SupplierLow => {
                "Look at the next lot together with the diver, who may answer; it changes \
                 nobody's pay."
            }
            FlagKind::WillAgeOut => {
                "Find it a place today, freeze it or throw it out; the local code decides what may \
                 still be eaten."
            }
            FlagKind::NotAsPlanned => "Tell who was to get it; plan again for what is left.",
            FlagKind::YieldDrift => {
                "Look at the knife, the specification and the fish of the days since."
            }
        }
    }
}

/// Something a person should look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flag {
    /// What it is about.
    pub kind: FlagKind,
    /// Part, ticket, making or device; with site, day and kind it names the
    /// flag.
    pub subject: String,
    /// For people.
    pub text: String,
    /// Weight at stake; nothing where none is.
    pub weight: Weight,
    /// Money at stake; nothing where none is.
    pub value: Money,
    /// The day is closed with gaps because of it.
    pub gap: bool,
    /// What it rests on, line by line, for people.
    pub evidence: Vec<String>,
}

/// A close with what the books carry on from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judged {
    /// The close.
    pub doc: CloseDoc,
    /// What each open part holds as the day ends.
    pub on_hand: BTreeMap<PartId, Holding>,
    /// What counts posted, in the order of what happened.
    pub found: Vec<Posted>,
}

/// What a count posted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Posted {
    /// Which part.
    pub part: PartId,
    /// Entry of the count, or of what finished the part.
    pub by: i64,
    /// Expected drip.
    pub shrink: Weight,
    /// Plus is missing, minus is surplus.
    pub unaccounted: Weight,
}

/// Closes a day.
#[must_use]
pub fn judge(day: &DayInput) -> Judged {
    let walk = walk::Walk::through(day);
    let says = table::say(day, &walk);
    let drifts = drift::drifts(&day.weighed_twice, &day.settings);
    let left_plan = outlets::left_plan(day, &walk, &says.small_fish);
    let flags = flags::raise(day, &walk, &drifts, &says, left_plan.as_ref());
    let gaps = flags.iter().any(|flag| flag.gap);
    let doc = CloseDoc {
        site: day.site,
        day: day.day,
        rules_version: RULES_VERSION,
        state: if gaps {
            CloseState::ClosedWithGaps
        } else {
            CloseState::Closed
        },
        balance: walk.day_balance(),
        parts: walk.part_balances(day),
        cuts: cuts(day),
        yields: yields(day),
        undersize: walk.undersize(day),
        payouts: payouts(day),
        remarks: remarks(day, &walk, &flags),
        drifts,
        flags,
        supplier_yields: says.yields,
        charts: says.charts,
        losses: says.losses,
        causes: says.causes,
        small_fish: says.small_fish,
        lines_done: day.lines_done.clone(),
        left_plan,
    };
    Judged {
        doc,
        on_hand: walk.on_hand(),
        found: walk.posted,
    }
}

fn cuts(day: &DayInput) -> Vec<CutBalance> {
    let mut cuts: Vec<_> = day
        .makings
        .iter()
        .filter(|(_, making)| matches!(making.kind, MakingKind::Cut | MakingKind::Dress))
        .map(|(entry, making)| CutBalance {
            entry: *entry,
            cutter: making.cutter.clone(),
            input: making.input,
            fillet: making.fillet,
            other_lots: making.other_lots(),
            discard: making.discard(),
            cutting_loss: making.cutting_loss,
            table_unaccounted: making.table_unaccounted,
            judged: making.is_judged(),
        })
        .collect();
    cuts.sort_by_key(|cut| cut.entry);
    cuts
}

fn yields(day: &DayInput) -> Vec<YieldRow> {
    pooled(day.makings.iter().map(|(_, making)| making))
        .into_iter()
        .map(YieldRow::from)
        .collect()
}

impl From<(YieldKey, YieldSums)> for YieldRow {
    fn from((key, sums): (YieldKey, YieldSums)) -> YieldRow {
        YieldRow {
            supplier: key.supplier,
            species: key.species,
            presentation: key.presentation,
            specification: key.specification,
            customer_kitchen: key.customer_kitchen,
            cuts: sums.cuts,
            input: sums.input,
            fillet: sums.fillet,
            yield_e2: sums.percent_e2(),
            mixed_cuts: sums.mixed_cuts,
            mixed_input: sums.mixed_input,
        }
    }
}

/// What each party is owed: what it was, and what this day entered. A party with
/// nothing at all is left out.
fn payouts(day: &DayInput) -> Vec<PayRow> {
    let mut rows: BTreeMap<&str, (PayBalance, i64)> = day
        .balances
        .iter()
        .map(|(party, &balance)| (party.as_str(), (balance, 0)))
        .collect();
    for change in &day.pay {
        let (balance, today) = rows.entry(&change.party).or_default();
        balance.owed_minor = balance.owed_minor.saturating_add(change.by.owed_minor);
        balance.held_minor = balance.held_minor.saturating_add(change.by.held_minor);
        *today = today.saturating_add(change.by.owed_minor);
    }
    let money = |minor| Money::new(minor, day.currency);
    rows.into_iter()
        .filter(|(_, (balance, today))| *balance != PayBalance::default() || *today != 0)
        .map(|(party, (balance, today))| PayRow {
            party: party.to_owned(),
            owed: money(balance.owed_minor),
            held: money(balance.held_minor),
            owed_today: money(today),
        })
        .collect()
}

fn remarks(day: &DayInput, walk: &walk::Walk, flags: &[Flag]) -> Vec<String> {
    let mut remarks = Vec::new();
    let explained = walk.explained();
    if explained.explains().is_none() {
        remarks.push(format!(
            "What scales, water and drip explain is not known everywhere: {}. There the site's \
             limits alone judge.",
            explained.why_unknown(|code| flags::scale_name(day, code))
        ));
    }
    for (species, presentation, storage) in walk.drip_not_set(day) {
        let kept = storage.map_or("storage not said", Storage::word);
        let form = presentation.word();
        remarks.push(format!(
            "Drip is not set for {species} {form}, {kept}: it counts as 0."
        ));
    }
    let uncounted = flags
        .iter()
        .filter(|flag| flag.kind == FlagKind::Uncounted)
        .count();
    if uncounted > 0 {
        let parts = if uncounted == 1 {
            "1 open part has"
        } else {
            "open parts have"
        };
        let number = if uncounted == 1 {
            String::new()
        } else {
            format!("{uncounted} ")
        };
        remarks.push(format!(
            "{number}{parts} no count: neither drip nor unaccounted weight is posted there."
        ));
    }
    if day.loss_minor != 0 {
        let loss = Money::new(day.loss_minor, day.currency);
        remarks.push(format!(
            "{loss} of fish thrown out for a cause after hand-over stays paid: the buyer's loss."
        ));
    }
    if day.tickets.iter().any(|ticket| ticket.price_adjusted) {
        remarks.push("The cost of fish leaves out price adjustments of tickets.".to_owned());
    }
    remarks.extend(codes::remarks(&day.blocks, day.day));
    remarks
}

#[cfg(test)]
mod tests;
