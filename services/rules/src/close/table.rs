//! What the fillet table says: yields of suppliers, what a poor yield cost, since when
//! something drifts, and what small fish brings.
//!
//! Yields are judged over the cuts that the night looks back on, losses are those of
//! the day. Own table and customers' kitchens stand apart: at the own table fish costs
//! what the dock paid for it, at a customer's kitchen what that kitchen paid. Nothing
//! here changes what anybody is paid, and suppliers stand in the order of their codes.

use std::collections::BTreeMap;

use super::walk::{Walk, share};
use super::{
    CauseRow, ChartRow, DayInput, LossBy, LossRow, SmallFishRow, SupplierRow, YieldGroupRow,
};
use crate::baseline::{Baseline, Follows};
use crate::business_day::day_before;
use crate::costing::{CutCost, YieldLoss, yield_loss};
use crate::fish::Outlet;
use crate::judging::JudgingSettings;
use crate::making::{MadeSource, Making, MakingKind};
use crate::money::{Money, UnitPrice};
use crate::small_fish::bands;
use crate::stock::add;
use crate::supplier_yield::drift::{self, ControlRules, Left, Subject, Watch};
use crate::supplier_yield::{
    self, CutFact, Reference, SupplierYield, Verdict, YieldGroup, YieldRules,
};
use crate::weight::Weight;

/// Most points of a chart that a close keeps: the latest.
const MOST_POINTS: usize = 60;

/// What the table says of a day.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct TableSays {
    pub(super) yields: Vec<YieldGroupRow>,
    pub(super) charts: Vec<ChartRow>,
    pub(super) losses: Vec<LossRow>,
    pub(super) causes: Vec<CauseRow>,
    pub(super) small_fish: Vec<SmallFishRow>,
}

/// Judges what was cut.
pub(super) fn say(day: &DayInput, walk: &Walk) -> TableSays {
    let judging = &day.settings.judging;
    let groups = supplier_yield::judge(&day.cut_facts, &yield_rules(judging), &judging.references);
    let cuts = cuts_of_day(day, walk, &groups);
    TableSays {
        yields: groups
            .iter()
            .map(|group| group_row(day, group, &cuts))
            .collect(),
        charts: charts(day),
        losses: losses(day, &cuts),
        causes: causes(day, walk, &cuts),
        small_fish: small_fish(day),
    }
}

fn yield_rules(judging: &JudgingSettings) -> YieldRules {
    YieldRules {
        least_cuts: judging.least_cuts(),
        least_weight: judging.least_weight(),
        least_days: judging.least_days(),
        least_gap_e2: judging.least_points_e2(),
        false_discovery_ppm: judging.false_discovery_ppm(),
        ..YieldRules::default()
    }
}

/// A cut of the day with what its fish had cost.
struct CutOfDay<'a> {
    fact: &'a CutFact,
    making: &'a Making,
    ap_minor: i64,
    loss: YieldLoss,
}

/// Cuts of the day that tell a yield, each with its loss against the reference of its
/// group; nothing where there is none.
fn cuts_of_day<'a>(day: &'a DayInput, walk: &Walk, groups: &[YieldGroup]) -> Vec<CutOfDay<'a>> {
    let makings: BTreeMap<i64, &Making> = day
        .makings
        .iter()
        .map(|(entry, making)| (*entry, making))
        .collect();
    day.cut_facts
        .iter()
        .filter(|fact| fact.day == day.day)
        .filter_map(|fact| {
            let making = *makings.get(&fact.entry)?;
            let ap_minor = ap_minor(day, walk, fact, making);
            let reference = groups
                .iter()
                .find(|group| is_of(fact, group))
                .and_then(|group| group.reference.yield_e2());
            let price = day
                .settings
                .judging
                .fillet_price(&fact.species, &fact.specification)
                .filter(|_| fact.kitchen.is_empty());
            let loss = reference.map_or(YieldLoss::default(), |reference_e2| {
                yield_loss(fact.input(), fact.fillet, ap_minor, reference_e2, price)
            });
            Some(CutOfDay {
                fact,
                making,
                ap_minor,
                loss,
            })
        })
        .collect()
}

fn is_of(fact: &CutFact, group: &YieldGroup) -> bool {
    (
        &fact.species,
        fact.presentation,
        &fact.specification,
        !fact.kitchen.is_empty(),
    ) == (
        &group.species,
        group.presentation,
        &group.specification,
        group.customer_kitchen,
    )
}

/// What the fish of a cut had cost: at the own table by what its parts cost, at a
/// customer's kitchen by what that kitchen paid; 0 where no price was recorded.
fn ap_minor(day: &DayInput, walk: &Walk, fact: &CutFact, making: &Making) -> i64 {
    if making.kind != MakingKind::CustomerCut {
        let taken = walk.makings.get(&fact.entry).cloned().unwrap_or_default();
        return share(taken.cost_minor, fact.input(), taken.came_in);
    }
    making
        .inputs
        .iter()
        .filter_map(|from| match from.source {
            MadeSource::Part(_) => None,
            MadeSource::Dispatch(entry) => {
                let price = day.dispatch_prices.get(&entry)?;
                price.amount(from.weight).map(Money::minor)
            }
        })
        .fold(0, i64::saturating_add)
}

fn group_row(day: &DayInput, group: &YieldGroup, cuts: &[CutOfDay<'_>]) -> YieldGroupRow {
    let today: Vec<&CutOfDay<'_>> = cuts.iter().filter(|cut| is_of(cut.fact, group)).collect();
    let fillet_today: Weight = today.iter().map(|cut| cut.fact.fillet).sum();
    let cost = cost_of(day, group, &today);
    let plate = day.settings.judging.plate();
    let (reference_e2, reference_source) = match &group.reference {
        Reference::Table { yield_e2, source } => (Some(*yield_e2), source.clone()),
        Reference::History {
            yield_e2,
            cuts,
            suppliers,
        } => (
            Some(*yield_e2),
            format!("own history, {cuts} cuts of {suppliers} suppliers"),
        ),
        Reference::NotSet => (None, String::new()),
    };
    let per = day.shown_unit.of_price();
    let unit = per.whole_units().map(Weight::from_units);
    let edible = |cost: CutCost| {
        let e4 = cost.ep_e4(fillet_today, unit?)?;
        UnitPrice::from_e4(e4, day.currency, per).ok()
    };
    YieldGroupRow {
        species: group.species.clone(),
        presentation: group.presentation,
        specification: group.specification.clone(),
        customer_kitchen: group.customer_kitchen,
        cuts: group.cuts,
        input: group.input,
        fillet: group.fillet,
        yield_e2: group.pooled.yield_e2,
        interval_e2: interval(group.pooled.interval_e2),
        reference_e2,
        reference_source,
        fillet_today,
        edible: cost.and_then(edible),
        portions: cost.and_then(|_| plate.portions(fillet_today)),
        plate: cost
            .and_then(|cost| plate.cost_minor(&cost, fillet_today))
            .map(|minor| Money::new(minor, day.currency)),
        suppliers: group.suppliers.iter().map(supplier_row).collect(),
    }
}

/// Cost of the day's cuts of a group at the own table; `None` where there is none, or
/// one was not timed.
fn cost_of(day: &DayInput, group: &YieldGroup, today: &[&CutOfDay<'_>]) -> Option<CutCost> {
    if group.customer_kitchen || today.is_empty() {
        return None;
    }
    let judging = &day.settings.judging;
    let prices = judging.table_prices(&group.species, &group.specification, day.currency)?;
    let mut cost = CutCost::default();
    for cut in today {
        let minutes_e2 = i128::from(cut.fact.minutes_e2?);
        let wage = i128::from(prices.wage_per_hour.minor()).checked_mul(minutes_e2)?;
        let supplies = prices.supplies.amount(cut.fact.input())?.minor();
        cost.ap_minor = cost.ap_minor.saturating_add(cut.ap_minor);
        cost.wage_minor = cost
            .wage_minor
            .saturating_add(crate::decimal::half_up(wage, 6_000)?);
        cost.supplies_minor = cost.supplies_minor.saturating_add(supplies);
    }
    Some(cost)
}

fn supplier_row(own: &SupplierYield) -> SupplierRow {
    let raw = own.raw;
    let parts = own.parts;
    SupplierRow {
        supplier: own.supplier.clone(),
        cuts: own.cuts,
        days: own.days,
        input: own.input,
        mixed_cuts: own.mixed_cuts,
        mixed_input: own.mixed_input,
        yield_e2: raw.map(|raw| raw.yield_e2),
        interval_e2: interval(raw.and_then(|raw| raw.interval_e2)),
        shrunk_e2: own.shrunk_e2,
        difference_e2: parts.map(|parts| parts.difference_e2),
        band_e2: parts.map(|parts| parts.band_e2),
        condition_e2: parts.map(|parts| parts.condition_e2),
        cutter_e2: parts.map(|parts| parts.cutter_e2),
        kitchen_e2: parts.map(|parts| parts.kitchen_e2),
        rest_e2: parts.map(|parts| parts.rest_e2),
        fits_e2: parts.map(|parts| parts.fits_e2),
        rest_interval_e2: interval(own.comparison.map(|comparison| comparison.interval_e2)),
        named_low: own.verdict == Verdict::Low,
        says: supplier_yield::sentence(own),
    }
}

fn interval(of: Option<(i64, i64)>) -> Vec<i64> {
    of.map_or_else(Vec::new, |(from, to)| vec![from, to])
}

/// Losses of the day by part, supplier, cutter and kitchen, in that order, then by name.
/// What a cut lost is shared over what went into it by weight, half up.
fn losses(day: &DayInput, cuts: &[CutOfDay<'_>]) -> Vec<LossRow> {
    type Sums = (Weight, Weight, i64, Option<i64>);
    let mut sums: BTreeMap<(LossBy, String, bool), Sums> = BTreeMap::new();
    for cut in cuts.iter().filter(|cut| cut.loss.fillet > Weight::ZERO) {
        let customer = !cut.fact.kitchen.is_empty();
        let whole = cut.fact.input();
        let mut put = |by: LossBy, name: String, weight: Weight| {
            let missing = share(cut.loss.fillet.units(), weight, whole);
            let material = share(cut.loss.material_minor, weight, whole);
            let margin = cut
                .loss
                .margin_minor
                .map(|minor| share(minor, weight, whole));
            let sum = sums.entry((by, name, customer)).or_insert((
                Weight::ZERO,
                Weight::ZERO,
                0,
                Some(0),
            ));
            sum.0 = add(sum.0, weight);
            sum.1 = add(sum.1, Weight::from_units(missing));
            sum.2 = sum.2.saturating_add(material);
            sum.3 = sum
                .3
                .zip(margin)
                .map(|(sum, margin)| sum.saturating_add(margin));
        };
        for from in &cut.making.inputs {
            if let MadeSource::Part(part) = from.source {
                put(LossBy::Part, part.to_string(), from.weight);
            }
        }
        for from in &cut.fact.inputs {
            put(LossBy::Supplier, from.supplier.clone(), from.weight);
        }
        put(LossBy::Cutter, cut.fact.cutter.clone(), whole);
        put(LossBy::Kitchen, cut.fact.kitchen.clone(), whole);
    }
    let money = |minor| Money::new(minor, day.currency);
    sums.into_iter()
        .map(|((by, name, customer_kitchen), sum)| LossRow {
            by,
            name,
            customer_kitchen,
            input: sum.0,
            missing_fillet: sum.1,
            material: money(sum.2),
            margin: sum.3.map(money),
        })
        .collect()
}

/// What the day lost, by cause, at what the fish had cost. Fillet that a cut did not
/// give may also stand under what is unaccounted at the table, so the rows are not to
/// be added up.
fn causes(day: &DayInput, walk: &Walk, cuts: &[CutOfDay<'_>]) -> Vec<CauseRow> {
    let money = |minor| Money::new(minor, day.currency);
    let over_parts = |of: fn(&crate::balance::PartDay) -> Weight| {
        let mut sum = (Weight::ZERO, 0_i64);
        for part in walk.parts.values() {
            let weight = of(part);
            sum.0 = add(sum.0, weight);
            sum.1 = sum.1.saturating_add(part.now.cost_of(weight));
        }
        sum
    };
    let mut thrown = (Weight::ZERO, 0_i64);
    for (id, out) in &walk.out {
        let weight = out.get(&Outlet::Discard).copied().unwrap_or_default();
        thrown.0 = add(thrown.0, weight);
        let cost = walk
            .parts
            .get(id)
            .map_or(0, |part| part.now.cost_of(weight));
        thrown.1 = thrown.1.saturating_add(cost);
    }
    let mut table = (Weight::ZERO, 0_i64);
    for (entry, making) in day
        .makings
        .iter()
        .filter(|(_, making)| making.moves_weight())
    {
        let beyond = making.table_unaccounted.max(Weight::ZERO);
        let taken = walk.makings.get(entry).cloned().unwrap_or_default();
        table.0 = add(table.0, beyond);
        table.1 = table
            .1
            .saturating_add(share(taken.cost_minor, beyond, taken.came_in));
    }
    let own = || cuts.iter().filter(|cut| cut.fact.kitchen.is_empty());
    let short = (
        own().map(|cut| cut.loss.fillet).sum(),
        own()
            .map(|cut| cut.loss.material_minor)
            .fold(0, i64::saturating_add),
    );
    [
        ("drip", over_parts(|part| part.shrink)),
        ("unaccounted", over_parts(|part| part.unaccounted)),
        ("thrown out", thrown),
        ("unaccounted at the table", table),
        ("fillet under the reference", short),
    ]
    .into_iter()
    .map(|(cause, (weight, minor))| CauseRow {
        cause: cause.to_owned(),
        weight,
        value: money(minor),
    })
    .collect()
}

/// A chart for each baseline on file; the newest of each subject holds.
fn charts(day: &DayInput) -> Vec<ChartRow> {
    let mut newest: BTreeMap<(Follows, &str), &Baseline> = BTreeMap::new();
    for baseline in &day.baselines {
        newest.insert((baseline.follows, baseline.party.as_str()), baseline);
    }
    if newest.is_empty() {
        return Vec::new();
    }
    let (own, customers): (Vec<CutFact>, Vec<CutFact>) = day
        .cut_facts
        .iter()
        .cloned()
        .partition(|fact| fact.kitchen.is_empty());
    let [own, customers] = [own, customers].map(|cuts| drift::left_over(&cuts));
    newest
        .values()
        .map(|baseline| match baseline.follows {
            Follows::Supplier | Follows::Cutter => chart(baseline, &own),
            Follows::Kitchen => chart(baseline, &customers),
        })
        .collect()
}

/// The charts of one subject, out of what the fits leave of the cuts at its table.
fn chart(baseline: &Baseline, left: &[Left]) -> ChartRow {
    let party = baseline.party.clone();
    let subject = match baseline.follows {
        Follows::Supplier => Subject::Supplier(party),
        Follows::Cutter => Subject::Cutter(party),
        Follows::Kitchen => Subject::Kitchen(party),
    };
    let good = drift::Baseline {
        subject: subject.clone(),
        from: baseline.from,
        to: day_before(baseline.to).unwrap_or(baseline.to),
    };
    let watch = drift::watch(left, &subject, Some(&good), &ControlRules::default());
    let mut row = ChartRow {
        follows: baseline.follows,
        party: baseline.party.clone(),
        from: baseline.from,
        to: baseline.to,
        baseline_cuts: 0,
        days: Vec::new(),
        values_e2: Vec::new(),
        ewma_e2: Vec::new(),
        above_e2: Vec::new(),
        below_e2: Vec::new(),
        limits_e2: Vec::new(),
        found: None,
        says: drift::sentence(&watch),
    };
    if let Watch::Charts(charts) = watch {
        let skip = charts.points.len().saturating_sub(MOST_POINTS);
        let points = charts.points.get(skip..).unwrap_or_default();
        row.baseline_cuts = i64::try_from(charts.baseline_cuts).unwrap_or(i64::MAX);
        row.days = points.iter().map(|point| point.day).collect();
        row.values_e2 = points.iter().map(|point| point.value_e2).collect();
        row.ewma_e2 = points.iter().map(|point| point.ewma_e2).collect();
        row.above_e2 = points.iter().map(|point| point.above_e2).collect();
        row.below_e2 = points.iter().map(|point| point.below_e2).collect();
        row.limits_e2 = vec![
            charts.single_limit_e2,
            charts.ewma_limit_e2,
            charts.cusum_limit_e2,
        ];
        row.found = [
            charts.cusum.map(|drift| drift.found),
            charts.ewma.map(|leap| leap.day),
            charts.single.map(|leap| leap.day),
        ]
        .into_iter()
        .flatten()
        .min();
    }
    row
}

/// What a pound or kilogram brings at the table by band, beside soup, from the cuts the
/// night looks back on.
fn small_fish(day: &DayInput) -> Vec<SmallFishRow> {
    bands::by_band(&day.cut_facts)
        .iter()
        .filter_map(|band| {
            let judging = &day.settings.judging;
            let prices = judging.table_prices(&band.species, &band.specification, day.currency)?;
            SmallFishRow::weighed(band, &prices, day.shown_unit)
        })
        .collect()
}

#[cfg(test)]
mod tests;
