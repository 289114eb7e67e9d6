//! What a close says of the table.

use proto::v1;
use rules::close::{CauseRow, ChartRow, LossRow, SmallFishRow, SupplierRow, YieldGroupRow};
use rules::decimal;
use rules::weight::WeightUnit;

use crate::answer::{day, int32, money, unit_price, weight};
use crate::codes::Coded as _;

/// Hundredths as decimal text.
fn e2(number: i64) -> String {
    decimal::text(number, 2)
}

/// The same; empty where it is not known.
fn e2_or_none(number: Option<i64>) -> String {
    number.map_or_else(String::new, e2)
}

fn e2s(numbers: &[i64]) -> Vec<String> {
    numbers.iter().copied().map(e2).collect()
}

pub(super) fn yield_group(of: &YieldGroupRow, unit: WeightUnit) -> v1::YieldGroup {
    v1::YieldGroup {
        species: of.species.clone(),
        presentation: of.presentation.wire(),
        specification: of.specification.clone(),
        customer_kitchen: of.customer_kitchen,
        cuts: int32(of.cuts),
        input: Some(weight(of.input, unit)),
        fillet: Some(weight(of.fillet, unit)),
        yield_percent: e2(of.yield_e2),
        interval_percent: e2s(&of.interval_e2),
        reference_percent: e2_or_none(of.reference_e2),
        reference_source: of.reference_source.clone(),
        suppliers: of.suppliers.iter().map(|row| supplier(row, unit)).collect(),
    }
}

/// What the day's own fillet of a group costs; nothing where it is not known.
pub(super) fn edible_cost(of: &YieldGroupRow, unit: WeightUnit) -> Option<v1::EdibleCost> {
    Some(v1::EdibleCost {
        species: of.species.clone(),
        presentation: of.presentation.wire(),
        specification: of.specification.clone(),
        fillet: Some(weight(of.fillet_today, unit)),
        cost: Some(unit_price(of.edible?)),
        portions: of.portions.map(int32),
        cost_of_plate: of.plate.map(money),
    })
}

fn supplier(of: &SupplierRow, unit: WeightUnit) -> v1::SupplierYield {
    v1::SupplierYield {
        supplier: of.supplier.clone(),
        cuts: int32(of.cuts),
        days: int32(of.days),
        input: Some(weight(of.input, unit)),
        mixed_cuts: int32(of.mixed_cuts),
        mixed_input: Some(weight(of.mixed_input, unit)),
        yield_percent: e2_or_none(of.yield_e2),
        interval_percent: e2s(&of.interval_e2),
        shrunk_percent: e2_or_none(of.shrunk_e2),
        difference_points: e2_or_none(of.difference_e2),
        band_points: e2_or_none(of.band_e2),
        condition_points: e2_or_none(of.condition_e2),
        cutter_points: e2_or_none(of.cutter_e2),
        kitchen_points: e2_or_none(of.kitchen_e2),
        rest_points: e2_or_none(of.rest_e2),
        fits_points: e2_or_none(of.fits_e2),
        rest_interval_points: e2s(&of.rest_interval_e2),
        named_low: of.named_low,
        says: of.says.clone(),
    }
}

pub(super) fn chart(of: &ChartRow) -> v1::ControlChart {
    let at = |values: &[i64], place: usize| e2_or_none(values.get(place).copied());
    let point = |(place, number): (usize, &i64)| v1::ChartPoint {
        day: Some(day(*number)),
        value: at(&of.values_e2, place),
        ewma: at(&of.ewma_e2, place),
        above: at(&of.above_e2, place),
        below: at(&of.below_e2, place),
    };
    v1::ControlChart {
        follows: of.follows.wire(),
        party: of.party.clone(),
        baseline_from: Some(day(of.from)),
        baseline_to: Some(day(of.to)),
        baseline_cuts: int32(of.baseline_cuts),
        points: of.days.iter().enumerate().map(point).collect(),
        single_limit: at(&of.limits_e2, 0),
        ewma_limit: at(&of.limits_e2, 1),
        cusum_limit: at(&of.limits_e2, 2),
        found: of.found.map(day),
        says: of.says.clone(),
    }
}

pub(super) fn loss(of: &LossRow, unit: WeightUnit) -> v1::YieldLoss {
    v1::YieldLoss {
        by: of.by.wire(),
        name: of.name.clone(),
        customer_kitchen: of.customer_kitchen,
        input: Some(weight(of.input, unit)),
        missing_fillet: Some(weight(of.missing_fillet, unit)),
        material: Some(money(of.material)),
        margin: of.margin.map(money),
    }
}

pub(super) fn cause(of: &CauseRow, unit: WeightUnit) -> v1::LossCause {
    v1::LossCause {
        cause: of.cause.clone(),
        weight: Some(weight(of.weight, unit)),
        value: Some(money(of.value)),
    }
}

pub(super) fn small_fish(of: &SmallFishRow, unit: WeightUnit) -> v1::CutBesideSoup {
    let end = |place: usize| of.break_even.get(place).map(|end| weight(*end, unit));
    v1::CutBesideSoup {
        species: of.species.clone(),
        presentation: of.presentation.wire(),
        specification: of.specification.clone(),
        band: of.band.clone(),
        cuts: int32(of.cuts),
        timed_cuts: int32(of.timed_cuts),
        piece: Some(weight(of.piece, unit)),
        yield_percent: e2(of.yield_e2),
        minutes_per_fish: e2(of.minutes_e2),
        cut: Some(unit_price(of.cut)),
        soup: Some(unit_price(of.soup)),
        within: Some(unit_price(of.within)),
        answer: of.answer.wire(),
        break_even: end(0),
        break_even_from: end(1),
        break_even_to: end(2),
    }
}
