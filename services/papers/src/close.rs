//! A site's business day as the night closed it, in plain data for paper.
//!
//! Every weight is in the close's unit and every amount in its currency. Names are as
//! people read them. A list that is empty has nothing to show; the paper says so.

use crate::{Money, Percent, Sigma, Weight};

/// A close.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Close {
    /// Number and name of the site.
    pub site: String,
    /// Business day, `2031-05-02`.
    pub day: String,
    /// `closed`, or `closed with gaps`.
    pub state: String,
    /// From 1.
    pub revision: i32,
    /// When the night recorded it, by the clock on the wall of the site.
    pub recorded_at: String,
    /// What a book with a simulated clock says of itself; empty for any other.
    pub clock_note: String,
    /// SHA-256 of the stored document, in hexadecimal digits.
    pub sha256: String,
    /// Unit of every weight: `lb`.
    pub unit: String,
    /// Currency of every amount: `USD`.
    pub currency: String,
    /// What money for a weight is in: `USD/lb`.
    pub price_unit: String,
    /// The day's weight, both sides.
    pub balance: Option<Balance>,
    /// Weight by part of a lot.
    pub parts: Vec<Part>,
    /// What the cuts of the day gave and lost.
    pub cuts: Vec<Cut>,
    /// Plain pooled yields of the day.
    pub yields: Vec<PlainYield>,
    /// Yields judged like for like.
    pub supplier_yields: Vec<SupplierYield>,
    /// What is compared with what, and what the day's fillet costs.
    pub groups: Vec<Group>,
    /// Small fish taken in, and where it went.
    pub undersize: Vec<Undersize>,
    /// Lines of plans for small fish, and what became of them.
    pub lines_done: Vec<LineDone>,
    /// Where the small fish that is left goes on the next day.
    pub left: Vec<LeftLine>,
    /// Whether small fish is worth the cutting.
    pub small_fish: Vec<SmallFish>,
    /// What the day lost, by cause.
    pub causes: Vec<Cause>,
    /// What yields below their reference came to in money.
    pub losses: Vec<Loss>,
    /// Control charts.
    pub control: Vec<Control>,
    /// Scales held against each other.
    pub drifts: Vec<Drift>,
    /// What is owed and held, by party.
    pub payouts: Vec<Pay>,
    /// What a person should look at, most at stake first as the close has it.
    pub flags: Vec<Flag>,
    /// What the figures leave out.
    pub remarks: Vec<String>,
}

/// opening + bought + returned + made = used + out + shrink + unaccounted + closing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Balance {
    /// On hand at the start.
    pub opening: Weight,
    /// Bought.
    pub bought: Weight,
    /// Brought back.
    pub returned: Weight,
    /// Made into lots.
    pub made: Weight,
    /// Into makings.
    pub used: Weight,
    /// By outlet.
    pub out: Vec<Out>,
    /// Drip that was expected.
    pub shrink: Weight,
    /// Beyond it; below zero where more was there than the book says.
    pub unaccounted: Weight,
    /// On hand at the end.
    pub closing: Weight,
    /// Thrown out at the table; part of what was used.
    pub thrown_out_at_table: Weight,
    /// Lost in cutting, within what is expected; part of what was used.
    pub cutting_loss: Weight,
    /// Lost in cutting beyond it; part of what was used.
    pub table_unaccounted: Weight,
}

/// Weight that went somewhere.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Out {
    /// Where, in plain words.
    pub outlet: String,
    /// How much.
    pub weight: Weight,
}

/// A part of a lot through the day.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Part {
    /// Lot code and number.
    pub part: String,
    /// Species and form.
    pub fish: String,
    /// Whose it was; empty for several.
    pub supplier: String,
    /// At the start.
    pub opening: Weight,
    /// Came in.
    pub taken_in: Weight,
    /// Went out.
    pub out: Weight,
    /// Drip expected.
    pub shrink: Weight,
    /// Plus is missing.
    pub unaccounted: Weight,
    /// What scales, water and drip can explain; nothing where it is not known.
    pub explained: Option<Weight>,
    /// At the end.
    pub closing: Weight,
    /// Counted, finished.
    pub count: String,
}

/// A cut at the table.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Cut {
    /// Its entry.
    pub entry: String,
    /// Who cut.
    pub cutter: String,
    /// What went in.
    pub input: Weight,
    /// Fillet.
    pub fillet: Weight,
    /// Other lots that were kept.
    pub other_lots: Weight,
    /// Thrown out.
    pub discard: Weight,
    /// Lost, within what is expected.
    pub cutting_loss: Weight,
    /// Lost beyond it.
    pub beyond: Weight,
    /// Whether all outputs were weighed, in words.
    pub outputs: String,
}

/// Fillet over input of unmixed cuts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PlainYield {
    /// Whose fish.
    pub supplier: String,
    /// Species and form.
    pub fish: String,
    /// Specification, and whose table.
    pub cut_to: String,
    /// How many cuts.
    pub cuts: i32,
    /// What went in.
    pub input: Weight,
    /// Fillet.
    pub fillet: Weight,
    /// Nothing where no cut was unmixed.
    pub of_input: Option<Percent>,
    /// Cuts left out because they mixed suppliers.
    pub mixed_cuts: i32,
    /// What went into those.
    pub mixed_input: Weight,
}

/// A supplier's yield beside like fish of others.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SupplierYield {
    /// Species, form, specification and whose table: what is compared with what.
    pub group: String,
    /// Whose fish.
    pub supplier: String,
    /// How many cuts.
    pub cuts: i32,
    /// On how many days; nothing where it is not told.
    pub days: Option<i32>,
    /// What went in.
    pub input: Weight,
    /// As cut; nothing where it cannot be told.
    pub of_input: Option<Percent>,
    /// Lower and upper end of the 95 % interval; nothing where there is none.
    pub limits: Option<(Percent, Percent)>,
    /// Drawn towards the group's, as few cuts ask for.
    pub shrunk: Option<Percent>,
    /// What it is held against.
    pub reference: Option<Percent>,
    /// Where that is from.
    pub reference_source: String,
    /// How much more than like fish of others, in points of a percent.
    pub like_for_like: Option<Percent>,
    /// Lower and upper end of its 95 % interval.
    pub like_for_like_limits: Option<(Percent, Percent)>,
    /// What its difference from the others is made of; nothing where it cannot be told.
    pub difference: Option<Difference>,
    /// What may be said of it, in one sentence.
    pub sentence: String,
}

/// What a difference from the others' yield is made of, in points of a percent.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Difference {
    /// All of it: the sum of the others.
    pub all: Percent,
    /// Its fish is of other sizes.
    pub band: Percent,
    /// More or less of it is torn.
    pub condition: Percent,
    /// Who cut it.
    pub cutter: Percent,
    /// Where it was cut.
    pub kitchen: Percent,
    /// What is left, and alone bears the supplier's name.
    pub rest: Percent,
    /// What two ways of working it out see differently, and rounding.
    pub fits: Percent,
}

/// Small fish taken in, and where it went.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Undersize {
    /// Lot code and number.
    pub part: String,
    /// Species.
    pub fish: String,
    /// Whose it was.
    pub supplier: String,
    /// Today.
    pub taken_in: Weight,
    /// Where it was proposed to go.
    pub proposed_to: String,
    /// Why there.
    pub proposed_reason: String,
    /// Outlets and weights.
    pub went_to: String,
    /// Made into other lots.
    pub made: Weight,
    /// What is left.
    pub left: Weight,
}

/// A line of a plan for small fish, and what became of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LineDone {
    /// The plan's id and the line's number.
    pub line: String,
    /// Lot code and number.
    pub part: String,
    /// Where to.
    pub room: String,
    /// What was planned.
    pub planned: Weight,
    /// What went.
    pub went: Weight,
    /// Went less planned.
    pub difference: Weight,
    /// Entry that carried it out; empty of none.
    pub by: String,
}

/// Small fish that is left, and where it goes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LeftLine {
    /// Lot code and number.
    pub part: String,
    /// Where to, or "no place".
    pub room: String,
    /// As it stands on ice.
    pub on_ice: Weight,
    /// What is handed over, expected; absent where it has no place.
    pub handed_over: Option<Weight>,
    /// Form it is given first.
    pub first: String,
    /// What it brings; absent where it has no place.
    pub brings: Option<Money>,
    /// Why it has no place.
    pub why: String,
}

/// Cuts of one species in one form to one specification, at one sort of table.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Group {
    /// Species, form, specification and whose table.
    pub group: String,
    /// How many cuts.
    pub cuts: i32,
    /// What went in.
    pub input: Weight,
    /// Fillet over input of them all.
    pub of_input: Option<Percent>,
    /// Lower and upper end of the 95 % interval.
    pub limits: Option<(Percent, Percent)>,
    /// What losses are held against.
    pub reference: Option<Percent>,
    /// Where that is from.
    pub reference_source: String,
    /// Fillet of the day's own cuts.
    pub fillet_today: Weight,
    /// What a unit of weight of it costs with wage and supplies, as decimal text.
    pub cost_of_edible: String,
    /// Whole plates out of it.
    pub portions: Option<i32>,
    /// What the fish of a plate costs.
    pub cost_of_plate: Option<Money>,
}

/// Whether fish of one size is worth the cutting. Money for a unit of weight is decimal
/// text; empty is not known.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SmallFish {
    /// Species, form and specification.
    pub fish: String,
    /// Weight band.
    pub band: String,
    /// How many cuts it is from.
    pub cuts: i32,
    /// Fillet over input.
    pub of_input: Option<Percent>,
    /// Minutes at the table for a fish, as decimal text.
    pub minutes_per_fish: String,
    /// What a unit of weight brings when cut.
    pub cut: String,
    /// What it brings as soup.
    pub soup: String,
    /// How far the difference may be off, twice its standard uncertainty.
    pub within: String,
    /// Cut, soup or close.
    pub answer: String,
    /// Piece weight from which cutting pays; nothing where it never does.
    pub break_even: Option<Weight>,
    /// Lower end of it.
    pub break_even_from: Option<Weight>,
    /// Upper end of it.
    pub break_even_to: Option<Weight>,
}

/// What the day lost to one cause. Causes may overlap.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Cause {
    /// In words.
    pub cause: String,
    /// How much; below zero is more than the book says.
    pub weight: Weight,
    /// What it had cost.
    pub value: Money,
}

/// What yields below their reference came to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Loss {
    /// By part, supplier, cutter or kitchen.
    pub by: String,
    /// Which of them.
    pub of: String,
    /// At what it is valued, in words.
    pub at: String,
    /// What was cut.
    pub input: Weight,
    /// Fillet that was missing.
    pub missing_fillet: Weight,
    /// What had been paid for the fish.
    pub material: Option<Money>,
    /// What the fillet would have sold for beyond that.
    pub margin: Option<Money>,
}

/// Standardized differences of a supplier's or kitchen's cuts in the order of time.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Control {
    /// Whom it is about.
    pub subject: String,
    /// Individuals, weighted average or cumulated sum.
    pub method: String,
    /// Against what.
    pub baseline: String,
    /// The line in the middle.
    pub centre: Sigma,
    /// Lower limit, where there is one.
    pub lower: Option<Sigma>,
    /// Upper limit, where there is one.
    pub upper: Option<Sigma>,
    /// In the order of time.
    pub points: Vec<Point>,
    /// Since when and how large, in one sentence.
    pub sentence: String,
}

/// A point of a control chart.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Point {
    /// Business day.
    pub day: String,
    /// Distance from the baseline.
    pub value: Sigma,
    /// Where what gathers above and below is charted apart, what gathers below.
    pub below: Option<Sigma>,
    /// It is beyond a limit.
    pub signal: bool,
    /// What gathers below is beyond a limit.
    pub below_signal: bool,
}

/// What two scales say of the same fish.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Drift {
    /// Scale that weighed first.
    pub first: String,
    /// Scale that weighed again.
    pub second: String,
    /// How many times.
    pub pairs: i32,
    /// By how much the second weighs more; below zero is less.
    pub more: Option<Percent>,
    /// Lower and upper end of its 95 % interval.
    pub limits: Option<(Percent, Percent)>,
}

/// What a party is owed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pay {
    /// Code and name.
    pub party: String,
    /// What the day's entries added.
    pub owed_today: Money,
    /// In all.
    pub owed: Money,
    /// Not owed yet.
    pub held: Money,
}

/// Something to look at.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Flag {
    /// The first digits of its key, enough to name it.
    pub key: String,
    /// Business day.
    pub day: String,
    /// Its kind.
    pub kind: String,
    /// Part of why the day is closed with gaps.
    pub is_gap: bool,
    /// Part, party or device.
    pub about: String,
    /// Weight at stake.
    pub weight: Option<Weight>,
    /// Money at stake.
    pub value: Option<Money>,
    /// Open, seen to by whom, or gone.
    pub standing: String,
    /// What it says.
    pub text: String,
    /// What it rests on, line by line.
    pub evidence: Vec<String>,
    /// What to do next.
    pub next_step: String,
}
