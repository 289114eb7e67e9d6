//! What each supplier's fish cuts out at, and whether it is known to be less.
//!
//! Cuts of one species in one form to one cut specification are one group; the own table
//! and customers' kitchens are judged apart. In a group every supplier has a **raw**
//! yield (what came out), one **shrunk** towards the group, since few cuts say little,
//! and a comparison **like for like**: with fish of other suppliers of the same band and
//! condition under the same cutter. Only what is left after that bears a supplier's
//! name, and only where there is enough of it, it can be told apart from who cut it, and
//! chance among so many suppliers does not explain it. Everything else is said to show
//! no difference. There is no table of who is best.
//!
//! The fits are in `raw` and `like_for_like`, who is named and how it reads in `naming`,
//! since when something drifts in `drift`. What a loss costs is elsewhere. Floats are for
//! the fits alone; figures leave as whole hundredths of a percent, which are hundredths
//! of a point where two yields are compared.

#![cfg_attr(
    not(test),
    expect(
        clippy::float_arithmetic,
        clippy::arithmetic_side_effects,
        clippy::as_conversions,
        reason = "fits judge and never book; counts are of cuts, and weights are summed as whole units"
    )
)]

use std::collections::{BTreeMap, BTreeSet};

use crate::fish::{Condition, Presentation};
use crate::ids::DayNumber;
use crate::statistics::{ratio, whole};
use crate::weight::Weight;

pub mod drift;
mod like_for_like;
mod naming;
mod raw;

#[cfg(test)]
mod tests;

pub use naming::sentence;

/// Confidence of every interval here.
const CONFIDENCE: f64 = 0.95;
/// Units of one pound.
const LB: f64 = 45_359_237_000.0;
/// Yields leave as hundredths of a percent.
const E2: f64 = 10_000.0;

/// One cut of one species and form to one specification.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutFact {
    /// Its entry.
    pub entry: i64,
    /// Its business day.
    pub day: DayNumber,
    /// When it was cut, in microseconds.
    pub happened_us: i64,
    /// Who cut it; empty where it was not said.
    pub cutter: String,
    /// Customer's kitchen; empty is the own table.
    pub kitchen: String,
    /// Cut specification.
    pub specification: String,
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// What went in.
    pub inputs: Vec<CutShare>,
    /// Fillet that came out.
    pub fillet: Weight,
    /// Minutes it took, in hundredths.
    pub minutes_e2: Option<i64>,
}

/// Fish of one supplier, band and condition in a cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutShare {
    /// Supplier of record; empty is fish of a pool.
    pub supplier: String,
    /// Band as it is shown; empty is none.
    pub band: String,
    /// Where the spear went, if anyone said.
    pub condition: Option<Condition>,
    /// Fish, if they were counted.
    pub pieces: Option<i64>,
    /// What it weighed.
    pub weight: Weight,
}

impl CutFact {
    /// What went in.
    #[must_use]
    pub fn input(&self) -> Weight {
        self.inputs.iter().map(|share| share.weight).sum()
    }

    /// What of a supplier's went in.
    #[must_use]
    pub fn input_of(&self, supplier: &str) -> Weight {
        let of = self.inputs.iter();
        of.filter(|share| share.supplier == supplier)
            .map(|share| share.weight)
            .sum()
    }

    /// Whether all that went in was this supplier's.
    fn is_alone(&self, supplier: &str) -> bool {
        let mut of = self
            .inputs
            .iter()
            .filter(|share| share.weight > Weight::ZERO);
        of.all(|share| share.supplier == supplier)
    }

    fn suppliers(&self) -> BTreeSet<&str> {
        let of = self
            .inputs
            .iter()
            .filter(|share| share.weight > Weight::ZERO);
        of.map(|share| share.supplier.as_str()).collect()
    }
}

/// By what a supplier is judged. All are settings of a site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct YieldRules {
    /// Cuts below which nothing is said of a supplier.
    pub least_cuts: i64,
    /// Weight below which nothing is said.
    pub least_weight: Weight,
    /// Days below which nothing is said.
    pub least_days: i64,
    /// How far the whole interval must be under, in hundredths of a point.
    pub least_gap_e2: i64,
    /// Share of the named who may be named by chance, ppm.
    pub false_discovery_ppm: i64,
    /// Variance inflation above which a supplier is not separable.
    pub most_inflation: i64,
    /// How much shares in mixed cuts must vary, in hundredths of a point.
    pub least_spread_e2: i64,
    /// Cuts from which on the site's own history is a reference.
    pub history_cuts: i64,
    /// Suppliers from which on it is.
    pub history_suppliers: i64,
    /// Fits of a bootstrap.
    pub draws: usize,
    /// Seed of a bootstrap.
    pub seed: u64,
}

impl Default for YieldRules {
    fn default() -> YieldRules {
        YieldRules {
            least_cuts: 6,
            // 60 lb.
            least_weight: Weight::from_units(2_721_554_220_000),
            least_days: 3,
            least_gap_e2: 200,
            false_discovery_ppm: 100_000,
            most_inflation: 10,
            least_spread_e2: 500,
            history_cuts: 20,
            history_suppliers: 3,
            draws: 400,
            seed: 1,
        }
    }
}

/// A row of the site's own table of yields.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReferenceYield {
    /// ASFIS code.
    pub species: String,
    /// Form in which it goes in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// Yield in hundredths of a percent.
    pub yield_e2: i64,
    /// Where it was published, or who measured it.
    pub source: String,
}

/// What a group is held against: one source, never two in one figure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reference {
    /// The site's own table.
    Table {
        /// Yield in hundredths of a percent.
        yield_e2: i64,
        /// Its source.
        source: String,
    },
    /// The site's own history: the group's pooled yield.
    History {
        /// Yield in hundredths of a percent.
        yield_e2: i64,
        /// Cuts it is of.
        cuts: i64,
        /// Suppliers whose fish it is.
        suppliers: i64,
    },
    /// Neither.
    NotSet,
}

impl Reference {
    /// The yield, where there is one.
    #[must_use]
    pub fn yield_e2(&self) -> Option<i64> {
        match self {
            Reference::Table { yield_e2, .. } | Reference::History { yield_e2, .. } => {
                Some(*yield_e2)
            }
            Reference::NotSet => None,
        }
    }
}

/// A yield with how sure it is, in hundredths of a percent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Figure {
    /// The yield.
    pub yield_e2: i64,
    /// Its standard error; `None` of a single cut, and at a bound.
    pub error_e2: Option<i64>,
    /// Its 95 % interval, from and to.
    pub interval_e2: Option<(i64, i64)>,
    /// How it was found.
    pub method: YieldMethod,
}

/// How a yield and its interval were found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum YieldMethod {
    /// Fillet over input of cuts of this fish alone; Cochran's error, Student's t.
    Pooled,
    /// Mixed cuts told apart by the bounded fit; Student's t.
    Fitted,
    /// The same where a yield is at 0 or 1: no error, percentiles of a bootstrap.
    FittedAtBound,
}

/// Cuts of one species and form to one specification.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YieldGroup {
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// At customers' kitchens, not at the own table.
    pub customer_kitchen: bool,
    /// Cuts.
    pub cuts: i64,
    /// What went into them.
    pub input: Weight,
    /// What of that was fish of a pool, of no supplier.
    pub pool: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// The pooled yield.
    pub pooled: Figure,
    /// What losses are held against.
    pub reference: Reference,
    /// Of each supplier, in order of name: this is no ranking.
    pub suppliers: Vec<SupplierYield>,
}

/// Of one supplier in a group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SupplierYield {
    /// The supplier.
    pub supplier: String,
    /// Cuts with this supplier's fish.
    pub cuts: i64,
    /// Days on which it was cut.
    pub days: i64,
    /// What of it went in.
    pub input: Weight,
    /// Cuts that mixed it with others'.
    pub mixed_cuts: i64,
    /// What of it went into those.
    pub mixed_input: Weight,
    /// What came out; `None` where mixed cuts do not tell.
    pub raw: Option<Figure>,
    /// That, drawn towards the group's pooled yield; hundredths of a percent.
    pub shrunk_e2: Option<i64>,
    /// What came out by band and condition, of cuts of one alone.
    pub cells: Vec<CellYield>,
    /// Like for like with others.
    pub comparison: Option<Comparison>,
    /// What the raw difference is made of.
    pub parts: Option<Parts>,
    /// Variance inflation in hundredths; `None` is without end.
    pub inflation_e2: Option<i64>,
    /// What may be said.
    pub verdict: Verdict,
    /// What of the rules it was judged by, for the words.
    pub(crate) rules: YieldRules,
}

/// A yield of a supplier's fish of one band and condition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CellYield {
    /// Band as it is shown; empty is none.
    pub band: String,
    /// Where the spear went.
    pub condition: Option<Condition>,
    /// Cuts of it alone.
    pub cuts: i64,
    /// What went in.
    pub input: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// Its yield.
    pub figure: Figure,
}

/// A supplier's fish less like-for-like fish of others, in hundredths of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Comparison {
    /// The difference; below 0 it cuts out less.
    pub rest_e2: i64,
    /// Its standard error.
    pub error_e2: i64,
    /// Its 95 % interval, from and to.
    pub interval_e2: (i64, i64),
    /// Probability, in ppm, to see as much or more below were the difference just what
    /// is still let pass.
    pub chance_ppm: i64,
}

/// What a supplier's raw difference from the others is made of, in hundredths of a
/// point. The parts add up to the difference exactly. Only the rest bears a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Parts {
    /// Raw yield less that of the others.
    pub difference_e2: i64,
    /// Because its fish is of other bands.
    pub band_e2: i64,
    /// Because more or less of it is torn.
    pub condition_e2: i64,
    /// Because of who cut it.
    pub cutter_e2: i64,
    /// Because of where.
    pub kitchen_e2: i64,
    /// What is left.
    pub rest_e2: i64,
    /// What two fits see differently in mixed cuts, and rounding.
    pub fits_e2: i64,
}

/// What may be said of a supplier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// It is known to cut out less.
    Low,
    /// No difference is shown.
    NoDifference,
    /// It always comes with something else.
    NotSeparable(Cause),
    /// One customer's kitchen alone cut it.
    SupplierOrKitchen,
    /// There is too little of it.
    TooLittle,
    /// There is no other supplier to compare it with.
    Alone,
    /// Every cut is needed to tell cutters and bands apart; none is left to tell chance.
    NoCutLeft,
}

/// What a supplier cannot be told apart from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// Who cut it.
    Cutter(String),
    /// Where it was cut.
    Kitchen(String),
    /// Of which size it is.
    Band(String),
    /// Where the spear went.
    Condition(Option<Condition>),
    /// Whose fish it was mixed with; empty is a pool.
    Supplier(String),
    /// Several of these together.
    Together,
}

/// Judges cuts, in groups in order of species, form, specification, own table first.
/// Cuts into which nothing went are left out.
#[must_use]
pub fn judge(
    cuts: &[CutFact],
    rules: &YieldRules,
    references: &[ReferenceYield],
) -> Vec<YieldGroup> {
    grouped(cuts)
        .values()
        .filter_map(|cuts| group(cuts, rules, references))
        .collect()
}

/// What is alike in a group: species, form, specification, at customers' kitchens or not.
type GroupKey<'a> = (&'a str, Presentation, &'a str, bool);

fn grouped(cuts: &[CutFact]) -> BTreeMap<GroupKey<'_>, Vec<&CutFact>> {
    let mut groups: BTreeMap<GroupKey<'_>, Vec<&CutFact>> = BTreeMap::new();
    for cut in in_order(cuts) {
        let key = (
            cut.species.as_str(),
            cut.presentation,
            cut.specification.as_str(),
            !cut.kitchen.is_empty(),
        );
        groups.entry(key).or_default().push(cut);
    }
    groups
}

/// Cuts that can be judged, in order of time and entry.
fn in_order(cuts: &[CutFact]) -> Vec<&CutFact> {
    let negative = |cut: &CutFact| cut.inputs.iter().any(|share| share.weight.is_negative());
    let mut cuts: Vec<&CutFact> = cuts
        .iter()
        .filter(|cut| cut.input() > Weight::ZERO && !negative(cut))
        .collect();
    cuts.sort_by_key(|cut| (cut.happened_us, cut.entry));
    cuts
}

fn group(
    cuts: &[&CutFact],
    rules: &YieldRules,
    references: &[ReferenceYield],
) -> Option<YieldGroup> {
    let first = cuts.first()?;
    let pooled = pooled(cuts)?;
    // Cuts with each supplier's fish; under no name those with fish of a pool.
    let mut each: BTreeMap<&str, Vec<&CutFact>> = BTreeMap::new();
    for cut in cuts {
        for name in cut.suppliers() {
            each.entry(name).or_default().push(cut);
        }
    }
    let raw = raw::fit(cuts, &each, rules);
    let like = like_for_like::fit(cuts);
    let shrunk = raw::shrunk(&raw, &pooled);
    let mut suppliers: Vec<SupplierYield> = each
        .iter()
        .filter(|(name, _)| !name.is_empty())
        .map(|(name, of)| {
            let mixed = || of.iter().filter(|cut| !cut.is_alone(name));
            let days: BTreeSet<DayNumber> = of.iter().map(|cut| cut.day).collect();
            SupplierYield {
                supplier: (*name).to_owned(),
                cuts: count(of.len()),
                days: count(days.len()),
                input: of.iter().map(|cut| cut.input_of(name)).sum(),
                mixed_cuts: count(mixed().count()),
                mixed_input: mixed().map(|cut| cut.input_of(name)).sum(),
                raw: raw.get(*name).and_then(|raw| raw.figure),
                shrunk_e2: shrunk.get(*name).copied(),
                cells: cells(of, name),
                comparison: None,
                parts: None,
                inflation_e2: None,
                verdict: Verdict::NoDifference,
                rules: *rules,
            }
        })
        .collect();
    if let Some(like) = &like {
        like_for_like::compare(like, &raw, &each, rules, &mut suppliers);
    }
    naming::name(like.as_ref(), &raw, &each, rules, &mut suppliers);
    Some(YieldGroup {
        species: first.species.clone(),
        presentation: first.presentation,
        specification: first.specification.clone(),
        customer_kitchen: !first.kitchen.is_empty(),
        cuts: count(cuts.len()),
        input: cuts.iter().map(|cut| cut.input()).sum(),
        pool: cuts.iter().map(|cut| cut.input_of("")).sum(),
        fillet: cuts.iter().map(|cut| cut.fillet).sum(),
        reference: reference(
            first,
            references,
            rules,
            &pooled,
            cuts.len(),
            suppliers.len(),
        ),
        pooled,
        suppliers,
    })
}

fn reference(
    of: &CutFact,
    references: &[ReferenceYield],
    rules: &YieldRules,
    pooled: &Figure,
    cuts: usize,
    suppliers: usize,
) -> Reference {
    let row = references.iter().find(|row| {
        row.species == of.species
            && row.presentation == of.presentation
            && row.specification == of.specification
    });
    let (cuts, suppliers) = (count(cuts), count(suppliers));
    if let Some(row) = row {
        Reference::Table {
            yield_e2: row.yield_e2,
            source: row.source.clone(),
        }
    } else if cuts >= rules.history_cuts && suppliers >= rules.history_suppliers {
        Reference::History {
            yield_e2: pooled.yield_e2,
            cuts,
            suppliers,
        }
    } else {
        Reference::NotSet
    }
}

/// What came out of a supplier's fish by band and condition, of those of its cuts that
/// were of one alone.
fn cells(cuts: &[&CutFact], supplier: &str) -> Vec<CellYield> {
    let mut cells: BTreeMap<(&str, Option<Condition>), Vec<&CutFact>> = BTreeMap::new();
    for cut in cuts {
        let of: BTreeSet<_> = cut
            .inputs
            .iter()
            .filter(|share| share.weight > Weight::ZERO)
            .map(|share| {
                (
                    share.supplier.as_str(),
                    share.band.as_str(),
                    share.condition,
                )
            })
            .collect();
        let mut of = of.into_iter();
        if let (Some((whose, band, condition)), None) = (of.next(), of.next())
            && whose == supplier
        {
            cells.entry((band, condition)).or_default().push(cut);
        }
    }
    cells
        .into_iter()
        .filter_map(|((band, condition), cuts)| {
            Some(CellYield {
                band: band.to_owned(),
                condition,
                cuts: count(cuts.len()),
                input: cuts.iter().map(|cut| cut.input()).sum(),
                fillet: cuts.iter().map(|cut| cut.fillet).sum(),
                figure: pooled(&cuts)?,
            })
        })
        .collect()
}

/// Fillet over input of cuts, with Cochran's error.
fn pooled(cuts: &[&CutFact]) -> Option<Figure> {
    let pairs: Vec<(f64, f64)> = cuts
        .iter()
        .map(|cut| (lb(cut.input()), lb(cut.fillet)))
        .collect();
    let ratio = ratio::pooled(&pairs)?;
    Some(Figure {
        yield_e2: whole(ratio.ratio, E2)?,
        error_e2: ratio.standard_error().and_then(|error| whole(error, E2)),
        interval_e2: interval(ratio.interval(CONFIDENCE)),
        method: YieldMethod::Pooled,
    })
}

/// An interval of a yield, which is never below 0 or above 1.
fn interval(interval: Option<(f64, f64)>) -> Option<(i64, i64)> {
    let (low, high) = interval?;
    Some((
        whole(low.clamp(0.0, 1.0), E2)?,
        whole(high.clamp(0.0, 1.0), E2)?,
    ))
}

fn lb(weight: Weight) -> f64 {
    weight.units() as f64 / LB
}

fn count(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}
