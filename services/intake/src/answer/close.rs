//! What the nights found: closes, flags and yields; and what a diver is owed.

pub(super) mod table;

use desk::{
    CloseFound, FlagFound, SmallFishFound, Statement, StatementRow, YieldAnswerFound, YieldsFound,
};
use proto::v1;
use rules::close::{
    CloseDoc, CutBalance, DayBalance, LeftLine, LeftPart, LeftPlan, LineDone, OutletWeight,
    PartBalance, PayRow, UndersizeRow, YieldRow,
};
use rules::decimal;
use rules::drift::Drift;
use rules::fillet_yield::{YieldKey, YieldSums};
use rules::money::Money;
use rules::weight::{Weight, WeightUnit};

use super::settle::{dispute, due};
use super::{day, int32, money, part, timestamp, weight};
use crate::codes::{Coded as _, wire_or_none};

/// A close with its flags as they stand now.
pub(crate) fn close(found: &CloseFound, unit: WeightUnit) -> v1::Close {
    let CloseDoc {
        site,
        day: number,
        rules_version: _,
        state,
        balance: of_day,
        parts,
        cuts,
        yields,
        undersize,
        payouts,
        drifts,
        flags: _,
        remarks,
        supplier_yields,
        charts,
        losses,
        causes,
        small_fish: bands,
        lines_done,
        left_plan,
    } = &found.close;
    v1::Close {
        site: int32(*site),
        day: Some(day(*number)),
        revision: int32(found.stored.revision),
        state: state.wire(),
        recorded_at: Some(timestamp(found.stored.recorded_us)),
        balance: Some(balance(of_day, cuts, unit)),
        parts: parts.iter().map(|row| part_balance(row, unit)).collect(),
        cuts: cuts.iter().map(|row| cut(row, unit)).collect(),
        yields: yields.iter().map(|row| yield_row(row, unit)).collect(),
        undersize: undersize.iter().map(|row| small_fish(row, unit)).collect(),
        payouts: payouts.iter().map(pay).collect(),
        flags: found.flags.iter().map(|row| flag(row, unit)).collect(),
        remarks: remarks.clone(),
        drifts: drifts.iter().map(drift).collect(),
        supplier_yields: supplier_yields
            .iter()
            .map(|row| table::yield_group(row, unit))
            .collect(),
        edible_costs: supplier_yields
            .iter()
            .filter_map(|row| table::edible_cost(row, unit))
            .collect(),
        losses: losses.iter().map(|row| table::loss(row, unit)).collect(),
        charts: charts.iter().map(table::chart).collect(),
        small_fish: bands
            .iter()
            .map(|row| table::small_fish(row, unit))
            .collect(),
        loss_causes: causes.iter().map(|row| table::cause(row, unit)).collect(),
        plan_lines_done: lines_done.iter().map(|row| line_done(row, unit)).collect(),
        left_plan: left_plan.as_ref().map(|of| left(of, unit)),
    }
}

/// A line of a plan, and what became of it.
fn line_done(line: &LineDone, unit: WeightUnit) -> v1::PlanLineDone {
    let difference = line.delivered.units() - line.planned.units();
    v1::PlanLineDone {
        plan_line: format!("{}-{}", line.plan, line.line),
        entry_id: if line.by == 0 {
            String::new()
        } else {
            line.by.to_string()
        },
        part: Some(part(line.part)),
        room: line.room.clone(),
        planned: Some(weight(line.planned, unit)),
        delivered: Some(weight(line.delivered, unit)),
        difference: Some(weight(Weight::from_units(difference), unit)),
    }
}

/// Where what is left goes.
fn left(of: &LeftPlan, unit: WeightUnit) -> v1::LeftPlan {
    let line = |line: &LeftLine| v1::LeftLine {
        part: Some(part(line.part)),
        room: line.room.clone(),
        kind: line.kind.wire(),
        weight: Some(weight(line.weight, unit)),
        delivered: Some(weight(line.delivered, unit)),
        dress_to: wire_or_none(line.dress),
        net: Some(money(line.net)),
    };
    let without = |left: &LeftPart| v1::LeftPart {
        part: Some(part(left.part)),
        weight: Some(weight(left.weight, unit)),
        why: left.why.clone(),
    };
    v1::LeftPlan {
        lines: of.lines.iter().map(line).collect(),
        left: of.left.iter().map(without).collect(),
        kept: Some(weight(of.kept, unit)),
        money: Some(money(of.money)),
    }
}

/// Cutting small fish beside soup, with what to mind.
pub(crate) fn small_fish_found(
    found: &SmallFishFound,
    unit: WeightUnit,
) -> v1::WeighSmallFishResponse {
    let mut remarks = Vec::new();
    if !found.believable {
        remarks.push(
            "Such a yield is hard to believe of whole fish: look for a tray or an input that \
             was not weighed."
                .to_owned(),
        );
    }
    remarks.extend(
        [
            "What the diver was paid is spent either way and is in neither side.",
            "Safety comes before price: fish that is held, warm or from an area of concern goes \
             to neither, and the local code decides what may be sold.",
            "Spines stay venomous after the fish is dead. For a sting: hot water, as hot as can \
             be borne without scalding, and medical help; this is not medical advice.",
        ]
        .map(str::to_owned),
    );
    v1::WeighSmallFishResponse {
        small_fish: Some(table::small_fish(&found.row, unit)),
        from_close: found.from_close.map(day),
        remarks,
    }
}

fn drift(of: &Drift) -> v1::ScaleDrift {
    let percent = |ppm: i64| percent_text(decimal::half_up(i128::from(ppm), 100));
    v1::ScaleDrift {
        first: of.first.clone(),
        second: of.second.clone(),
        pairs: int32(of.pairs),
        bias_percent: percent(of.bias_ppm),
        low_percent: percent(of.low_ppm),
        high_percent: percent(of.high_ppm),
    }
}

fn balance(of: &DayBalance, cuts: &[CutBalance], unit: WeightUnit) -> v1::DayBalance {
    let show = |part: Weight| Some(weight(part, unit));
    v1::DayBalance {
        opening: show(of.opening),
        bought: show(of.bought),
        returned: show(of.returned),
        made: show(of.made),
        used: show(of.used),
        out: outlets(&of.out, unit),
        shrink: show(of.shrink),
        unaccounted: show(of.unaccounted),
        closing: show(of.closing),
        cutting_loss: show(of.cutting_loss),
        table_unaccounted: show(of.table_unaccounted),
        thrown_out_at_table: show(cuts.iter().map(|cut| cut.discard).sum()),
    }
}

fn outlets(out: &[OutletWeight], unit: WeightUnit) -> Vec<v1::OutletWeight> {
    out.iter()
        .map(|row| v1::OutletWeight {
            outlet: row.outlet.wire(),
            weight: Some(weight(row.weight, unit)),
        })
        .collect()
}

fn part_balance(of: &PartBalance, unit: WeightUnit) -> v1::PartBalance {
    let show = |part: Weight| Some(weight(part, unit));
    v1::PartBalance {
        part: Some(part(of.part)),
        species: of.species.clone(),
        presentation: of.presentation.wire(),
        supplier: of.supplier.clone(),
        opening: show(of.opening),
        r#in: show(of.came_in),
        out: show(of.went_out),
        shrink: show(of.shrink),
        unaccounted: show(of.unaccounted),
        closing: show(of.closing),
        counted: of.counted,
        finished: of.finished,
        explained: of.explained.and_then(show),
    }
}

fn cut(of: &CutBalance, unit: WeightUnit) -> v1::CutBalance {
    let show = |part: Weight| Some(weight(part, unit));
    v1::CutBalance {
        entry_id: of.entry.to_string(),
        cutter: of.cutter.clone(),
        input: show(of.input),
        fillet: show(of.fillet),
        other_lots: show(of.other_lots),
        discard: show(of.discard),
        cutting_loss: show(of.cutting_loss),
        table_unaccounted: show(of.table_unaccounted),
        judged: of.judged,
    }
}

fn small_fish(of: &UndersizeRow, unit: WeightUnit) -> v1::UndersizeRow {
    v1::UndersizeRow {
        part: Some(part(of.part)),
        species: of.species.clone(),
        supplier: of.supplier.clone(),
        proposed_outlet: wire_or_none(of.proposed),
        proposed_reason: of.proposed_reason.clone(),
        taken_in: Some(weight(of.taken_in, unit)),
        out: outlets(&of.out, unit),
        made_into_lots: Some(weight(of.made_into_lots, unit)),
        left: Some(weight(of.left, unit)),
    }
}

fn pay(of: &PayRow) -> v1::PayRow {
    v1::PayRow {
        party: of.party.clone(),
        owed: Some(money(of.owed)),
        held: Some(money(of.held)),
        owed_today: Some(money(of.owed_today)),
    }
}

fn yield_row(of: &YieldRow, unit: WeightUnit) -> v1::YieldRow {
    v1::YieldRow {
        supplier: of.supplier.clone(),
        species: of.species.clone(),
        presentation: of.presentation.wire(),
        specification: of.specification.clone(),
        cuts: int32(of.cuts),
        input: Some(weight(of.input, unit)),
        fillet: Some(weight(of.fillet, unit)),
        yield_percent: percent_text(of.yield_e2),
        mixed_cuts: int32(of.mixed_cuts),
        mixed_input: Some(weight(of.mixed_input, unit)),
        customer_kitchen: of.customer_kitchen,
    }
}

/// Hundredths of a percent as text; empty where there are none.
fn percent_text(e2: Option<i64>) -> String {
    e2.map_or_else(String::new, |e2| decimal::text(e2, 2))
}

/// Yields over closed days, and what they do not say.
pub(crate) fn yields(found: &YieldsFound, unit: WeightUnit) -> v1::ListSupplierYieldsResponse {
    let YieldsFound {
        sums,
        groups,
        answers,
    } = found;
    let summed = |(key, of): &(YieldKey, YieldSums)| yield_row(&(key.clone(), *of).into(), unit);
    let mut remarks = vec![
        "fillet over what went in, summed over the cuts; it says what came out, not why: the \
         cutter, the size of the fish and chance are all in it"
            .to_owned(),
    ];
    if sums.iter().any(|(_, of)| of.mixed_cuts > 0) {
        remarks.push("cuts that mixed suppliers are left out and stand beside".to_owned());
    }
    v1::ListSupplierYieldsResponse {
        yields: sums.iter().map(summed).collect(),
        remarks,
        groups: groups
            .iter()
            .map(|group| table::yield_group(group, unit))
            .collect(),
        answers: answers
            .iter()
            .map(|answer| yield_answer(answer, unit))
            .collect(),
    }
}

/// An answer to a yield, beside what was told when it was given.
pub(crate) fn yield_answer(found: &YieldAnswerFound, unit: WeightUnit) -> v1::YieldAnswer {
    let YieldAnswerFound { booked, by } = found;
    let asked = &booked.asked;
    v1::YieldAnswer {
        entry_id: booked.entry.to_string(),
        supplier: asked.supplier.clone(),
        species: asked.species.clone(),
        from: Some(day(asked.from)),
        to: Some(day(asked.to)),
        text: asked.text.clone(),
        by: by.clone(),
        recorded_at: Some(timestamp(booked.recorded_us)),
        told: booked
            .outcome
            .told
            .iter()
            .map(|row| yield_row(row, unit))
            .collect(),
    }
}

/// A flag, with who saw to it.
pub(crate) fn flag(found: &FlagFound, unit: WeightUnit) -> v1::Flag {
    let of = &found.stored;
    let value = Money::new(of.value, found.currency);
    let last = of.seen.last();
    v1::Flag {
        key: of.key.clone(),
        site: int32(of.site),
        day: Some(day(of.day)),
        kind: of.kind.word().to_owned(),
        subject: of.subject.clone(),
        text: of.text.clone(),
        weight: (!of.weight.is_zero()).then(|| weight(of.weight, unit)),
        value: (value.minor() != 0).then(|| money(value)),
        gap: of.gap,
        acknowledged_by: last.map_or_else(String::new, |seen| seen.by.clone()),
        acknowledged_reason: last.map_or_else(String::new, |seen| seen.reason.clone()),
        gone_with_revision: int32(of.gone_with),
        seen_to: of
            .seen
            .iter()
            .map(|seen| v1::SeenTo {
                by: seen.by.clone(),
                reason: seen.reason.clone(),
                at: Some(timestamp(seen.recorded_us)),
            })
            .collect(),
        evidence: of.evidence.clone(),
        next_step: of.kind.next_step().to_owned(),
    }
}

/// What a party is owed, and how it came about.
pub(crate) fn statement(
    asked: &v1::GetStatementRequest,
    of: &Statement,
    unit: WeightUnit,
) -> v1::Statement {
    v1::Statement {
        site: asked.site,
        party: asked.party.clone(),
        party_name: of.party_name.clone(),
        from: asked.from,
        to: asked.to,
        owed_before: Some(money(of.owed_before)),
        held_before: Some(money(of.held_before)),
        rows: of.rows.iter().map(|row| statement_row(row, unit)).collect(),
        owed_after: Some(money(of.owed_after)),
        held_after: Some(money(of.held_after)),
        dues: of.dues.iter().map(due).collect(),
        disputes: of.disputes.iter().map(dispute).collect(),
    }
}

fn statement_row(of: &StatementRow, unit: WeightUnit) -> v1::StatementRow {
    v1::StatementRow {
        pay_day: Some(day(of.pay_day)),
        entry_id: of.entry.to_string(),
        what: of.what.to_owned(),
        ticket: of.ticket.map_or_else(String::new, |id| id.to_string()),
        in_place_of: of.in_place_of.map_or_else(String::new, |id| id.to_string()),
        weight: of.weight.map(|paid| weight(paid, unit)),
        owed: Some(money(of.owed)),
        held: Some(money(of.held)),
        paid: unless_zero(of.paid),
        taken_off: unless_zero(of.taken_off),
        to_take_off: unless_zero(of.to_take_off),
        detail: of.detail.clone(),
    }
}

fn unless_zero(amount: Money) -> Option<v1::Money> {
    (amount.minor() != 0).then(|| money(amount))
}
