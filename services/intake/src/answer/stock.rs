//! What became of the fish.

use desk::{Booked, LotFound};
use proto::v1;
use rules::decimal;
use rules::fillet_yield::percent_e2;
use rules::making::{Made, MadeFrom, MadeSource, Making, MakingAsked};
use rules::reweigh::{ReweighAsked, ReweighDone};
use rules::stock::{
    CountAsked, CountDone, Held, HoldAsked, HoldId, Moved, MovementAsked, RegradeAsked, Regraded,
    ReleaseAsked, Released, ReturnAsked, Returned,
};
use rules::weight::WeightUnit;

use super::landing::tally;
use super::{int32, lot_code, money, notice, part, recorded, timestamp, weight};
use crate::codes::{Coded as _, wire_or_none};

/// A hold.
pub(crate) fn hold(booked: &Booked<HoldAsked, Held>, unit: WeightUnit) -> v1::HoldPartResponse {
    let Held {
        held,
        weight: set_aside,
        pay,
        ..
    } = booked.outcome;
    v1::HoldPartResponse {
        recorded: Some(recorded(booked)),
        hold_id: HoldId {
            entry: booked.entry.number(),
            line: 0,
        }
        .to_string(),
        held_part: Some(part(held)),
        weight: Some(weight(set_aside, unit)),
        pay: Some(money(pay)),
    }
}

/// A release.
pub(crate) fn release(
    booked: &Booked<ReleaseAsked, Released>,
    unit: WeightUnit,
) -> v1::ReleaseHoldResponse {
    v1::ReleaseHoldResponse {
        recorded: Some(recorded(booked)),
        part: Some(part(booked.outcome.part)),
        weight: Some(weight(booked.outcome.weight, unit)),
        pay: Some(money(booked.outcome.pay)),
    }
}

/// A regrade.
pub(crate) fn regrade(
    booked: &Booked<RegradeAsked, Regraded>,
    unit: WeightUnit,
) -> v1::RegradePartResponse {
    v1::RegradePartResponse {
        recorded: Some(recorded(booked)),
        part: Some(part(booked.outcome.part)),
        weight: Some(weight(booked.outcome.weight, unit)),
    }
}

/// Weight leaving.
pub(crate) fn movement(
    booked: &Booked<MovementAsked, Moved>,
    unit: WeightUnit,
) -> v1::RecordMovementResponse {
    v1::RecordMovementResponse {
        recorded: Some(recorded(booked)),
        weights: booked
            .outcome
            .taken
            .iter()
            .map(|taken| weight(taken.weight, unit))
            .collect(),
        notices: booked.outcome.notices.iter().map(notice).collect(),
        buyers_loss: booked.outcome.buyers_loss.map(money),
    }
}

/// Fish a customer brought back.
pub(crate) fn customer_return(
    booked: &Booked<ReturnAsked, Returned>,
    unit: WeightUnit,
) -> v1::RecordReturnResponse {
    v1::RecordReturnResponse {
        recorded: Some(recorded(booked)),
        held_part: Some(part(booked.outcome.held)),
        weight: Some(weight(booked.outcome.weight, unit)),
    }
}

/// New lots from old ones.
pub(crate) fn making(
    booked: &Booked<MakingAsked, Making>,
    unit: WeightUnit,
) -> v1::RecordMakingResponse {
    v1::RecordMakingResponse {
        recorded: Some(recorded(booked)),
        making: Some(v1::Making {
            tally: booked.asked.tally.as_ref().map(tally),
            ..made(booked.entry.number(), &booked.outcome, unit)
        }),
        notices: booked.outcome.notices.iter().map(notice).collect(),
    }
}

/// A making under the number that its lots bear.
fn made(number: i64, making: &Making, unit: WeightUnit) -> v1::Making {
    let cut = making.fillet.units() > 0;
    let percent = percent_e2(making.fillet, making.input).filter(|_| cut);
    v1::Making {
        kind: making.kind.wire(),
        specification: making.specification.clone(),
        cutter: making.cutter.clone(),
        kitchen: making.kitchen.clone(),
        minutes: making.minutes.clone(),
        inputs: making
            .inputs
            .iter()
            .map(|from| made_from(from, unit))
            .collect(),
        outputs: making
            .outputs
            .iter()
            .map(|output| output_of(number, output, unit))
            .collect(),
        input: Some(weight(making.input, unit)),
        fillet: Some(weight(making.fillet, unit)),
        cutting_loss: Some(weight(making.cutting_loss, unit)),
        table_unaccounted: Some(weight(making.table_unaccounted, unit)),
        yield_percent: percent.map_or_else(String::new, |e2| decimal::text(e2, 2)),
        tally: None,
    }
}

fn made_from(from: &MadeFrom, unit: WeightUnit) -> v1::MadeFrom {
    let (named, dispatch) = match from.source {
        MadeSource::Part(id) => (Some(part(id)), String::new()),
        MadeSource::Dispatch(entry) => (None, entry.to_string()),
    };
    v1::MadeFrom {
        part: named,
        dispatch,
        weight: Some(weight(from.weight, unit)),
        supplier: from.supplier.clone(),
    }
}

fn output_of(number: i64, output: &Made, unit: WeightUnit) -> v1::Made {
    v1::Made {
        lot_code: lot_code(number, output.place),
        presentation: output.presentation.wire(),
        fate: output.fate.wire(),
        weight: output.weight.map(|of| weight(of, unit)),
        reason: output.reason.clone(),
    }
}

/// A count.
pub(crate) fn count(booked: &Booked<CountAsked, CountDone>) -> v1::RecordCountResponse {
    // A pool is the only lot of its entry.
    let place = booked.outcome.pool.as_ref().map(|_| 1);
    v1::RecordCountResponse {
        recorded: Some(recorded(booked)),
        pool_lot_code: lot_code(booked.entry.number(), place),
    }
}

/// A re-weigh.
pub(crate) fn reweigh(
    booked: &Booked<ReweighAsked, ReweighDone>,
    unit: WeightUnit,
) -> v1::RecordReweighResponse {
    let done = &booked.outcome;
    v1::RecordReweighResponse {
        recorded: Some(recorded(booked)),
        booked: Some(weight(done.booked, unit)),
        difference: Some(weight(done.difference, unit)),
        permissible: done.permissible.map(|off| weight(off, unit)),
    }
}

/// A lot with its parts and what became of them.
pub(crate) fn lot(found: &LotFound, unit: WeightUnit) -> v1::GetLotResponse {
    v1::GetLotResponse {
        lot_code: found.code.to_string(),
        species: found.species.clone(),
        presentation: found.presentation.wire(),
        site: int32(found.site),
        supplier: found.supplier.clone(),
        entry_id: found.entry.to_string(),
        parts: found
            .parts
            .iter()
            .map(|part| v1::LotPart {
                part: int32(part.n),
                band: int32(part.key.band),
                grade: part.key.grade.as_str().to_owned(),
                condition: wire_or_none(part.key.condition),
                held: part.key.held,
                left: Some(weight(part.left, unit)),
            })
            .collect(),
        events: found
            .events
            .iter()
            .map(|event| v1::LotEvent {
                entry_id: event.entry.to_string(),
                happened_at: Some(timestamp(event.happened_us)),
                part: int32(event.part),
                what: event.what.to_owned(),
                weight: Some(weight(event.weight, unit)),
                other_lot_codes: event.became.iter().map(ToString::to_string).collect(),
                difference: event.difference.map(|of| weight(of, unit)),
                note: event.note.clone(),
                counterparty: event.receiver.clone(),
                making: wire_or_none(event.making),
            })
            .collect(),
        made_by: wire_or_none(found.made_by),
        sources: found.sources.iter().copied().map(part).collect(),
        ticket: found.ticket.map_or_else(String::new, |id| id.to_string()),
        voided: found.voided,
    }
}
