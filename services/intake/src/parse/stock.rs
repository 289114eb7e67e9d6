//! What becomes of the fish, parsed.

use proto::v1;
use proto::v1::making_input;
use rules::fish::{Condition, Grade, Outlet};
use rules::ids::MOST_LOTS;
use rules::making::{Fate, MakingAsked, MakingInput, MakingKind, MakingOutput, Source};
use rules::money::Currency;
use rules::reweigh::{ReweighAsked, Reweighed, TicketWeighing};
use rules::stock::{
    CountAsked, CountedPart, DiscardCause, HoldAsked, HoldId, MovementAsked, PartRef, PoolAsked,
    RegradeAsked, ReleaseAsked, ReturnAsked, Taken,
};
use rules::weight::Reading;

use super::tally::tally;
use super::{
    Asked, At as _, Bad, code, code_or_none, count, day, each, entry_id, given, grade,
    instant_or_none, lot_code, name, on_file, plain, reading, reading_above_zero, request_id, said,
    some_of, temperature, text, unit_price, word,
};

/// Most parts, inputs or outputs of one deed.
const MOST_ROWS: usize = 200;
/// Largest number a part may be given.
const LAST_PART: i32 = 1_000_000;

/// A hold.
pub(crate) fn hold(request: v1::HoldPartRequest) -> Result<Asked<HoldAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: HoldAsked {
            part: part(request.part).at("part")?,
            weight: all_or(request.weight)?,
            reason: name(request.reason).at("reason")?,
            cause: word(request.cause).at("cause")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// A release of a hold.
pub(crate) fn release(request: v1::ReleaseHoldRequest) -> Result<Asked<ReleaseAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: ReleaseAsked {
            hold: hold_id(&request.hold_id).at("hold_id")?,
            reason: name(request.reason).at("reason")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// A regrade.
pub(crate) fn regrade(request: v1::RegradePartRequest) -> Result<Asked<RegradeAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let to = grade_or_none(&request.grade).at("grade")?;
    let condition: Option<Condition> = word(request.condition).at("condition")?;
    if to.is_none() && condition.is_none() {
        return Err(Bad::missing("must be given where the condition is kept")).at("grade");
    }
    Ok(Asked {
        request_id,
        what: RegradeAsked {
            part: part(request.part).at("part")?,
            weight: all_or(request.weight)?,
            grade: to,
            condition,
            reason: name(request.reason).at("reason")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// Weight leaving; `money` is the site's, where it is on file.
pub(crate) fn movement(
    request: v1::RecordMovementRequest,
    money: Option<Currency>,
) -> Result<Asked<MovementAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = super::site(request.site)?;
    let money = on_file(site, money)?;
    let outlet: Outlet = said(request.outlet).at("outlet")?;
    let counterparty = if outlet.has_receiver() {
        code(request.counterparty)
    } else {
        code_or_none(request.counterparty)
    };
    let reason = if outlet == Outlet::Discard {
        name(request.reason)
    } else {
        text(request.reason)
    };
    let price = request
        .price
        .map(|price| unit_price(&price, money))
        .transpose();
    Ok(Asked {
        request_id,
        what: MovementAsked {
            site,
            outlet,
            taken: some_of(request.taken, MOST_ROWS, taken).at("taken")?,
            counterparty: counterparty.at("counterparty")?,
            reason: reason.at("reason")?,
            cause: discard_cause(request.cause, outlet).at("cause")?,
            temperature: request
                .temperature
                .map(temperature)
                .transpose()
                .at("temperature")?,
            price: price.at("price")?,
            plan_line: text(request.plan_line).at("plan_line")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// What held fish was thrown out for; nothing else has a cause.
fn discard_cause(number: i32, outlet: Outlet) -> Result<Option<DiscardCause>, Bad> {
    let cause = word(number)?;
    if cause.is_some() && outlet != Outlet::Discard {
        return Err(Bad::rule("is said of a discard only"));
    }
    Ok(cause)
}

/// Fish a customer brought back.
pub(crate) fn customer_return(request: v1::RecordReturnRequest) -> Result<Asked<ReturnAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: ReturnAsked {
            movement: entry_id(&request.movement).at("movement")?,
            part: part(request.part).at("part")?,
            weight: given(request.weight)
                .and_then(reading_above_zero)
                .at("weight")?,
            reason: name(request.reason).at("reason")?,
            temperature: request
                .temperature
                .map(temperature)
                .transpose()
                .at("temperature")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// New lots from old ones.
pub(crate) fn making(request: v1::RecordMakingRequest) -> Result<Asked<MakingAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = super::site(request.site)?;
    let kind: MakingKind = said(request.kind).at("kind")?;
    let most_outputs = usize::try_from(MOST_LOTS).unwrap_or(usize::MAX);
    let minutes = match request.minutes.as_str() {
        "" => Ok(String::new()),
        written => plain(written, |text| rules::decimal::scaled(text, 2)).map(|_| request.minutes),
    };
    Ok(Asked {
        request_id,
        what: MakingAsked {
            site,
            kind,
            inputs: some_of(request.inputs, MOST_ROWS, |row| input(row, kind)).at("inputs")?,
            outputs: some_of(request.outputs, most_outputs, |row| output(row, kind))
                .at("outputs")?,
            specification: code_or_none(request.specification).at("specification")?,
            cutter: code_or_none(request.cutter).at("cutter")?,
            kitchen: code_or_none(request.kitchen).at("kitchen")?,
            minutes: minutes.at("minutes")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
            tally: request.tally.map(tally).transpose().at("tally")?,
            plan_line: text(request.plan_line).at("plan_line")?,
        },
    })
}

fn input(row: v1::MakingInput, kind: MakingKind) -> Result<MakingInput, Bad> {
    let source = match row.source {
        Some(making_input::Source::Part(named)) => Source::Part(part(Some(named)).at("part")?),
        Some(making_input::Source::Dispatch(id)) => Source::Dispatch(entry_id(&id).at("dispatch")?),
        None => return Err(Bad::missing("either part or dispatch must be given")),
    };
    Ok(MakingInput {
        source,
        weight: pool_or_weighed(row.weight, kind)?,
        emptied: row.emptied,
    })
}

fn output(row: v1::MakingOutput, kind: MakingKind) -> Result<MakingOutput, Bad> {
    let fate: Fate = said(row.fate).at("fate")?;
    let weight = match (fate, row.weight) {
        (Fate::NotWeighed, None) => None,
        (Fate::NotWeighed, Some(_)) => {
            return Err(Bad::rule("must be left out of what was not weighed")).at("weight");
        }
        (Fate::Lot | Fate::Discard, weight) => pool_or_weighed(weight, kind)?,
    };
    let reason = if fate == Fate::Discard {
        name(row.reason)
    } else {
        text(row.reason)
    };
    Ok(MakingOutput {
        presentation: said(row.presentation).at("presentation")?,
        fate,
        weight,
        storage: word(row.storage).at("storage")?,
        reason: reason.at("reason")?,
        grade: grade_or_none(&row.grade)
            .at("grade")?
            .unwrap_or_else(Grade::none),
    })
}

/// What was still on ice.
pub(crate) fn stock_count(request: v1::RecordCountRequest) -> Result<Asked<CountAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    if request.counted.is_empty() && request.pool.is_none() {
        return Err(Bad::missing("must be given where there is no pool")).at("counted");
    }
    Ok(Asked {
        request_id,
        what: CountAsked {
            site: super::site(request.site)?,
            closes: given(request.closes).and_then(day).at("closes")?,
            counted: each(request.counted, MOST_ROWS, counted).at("counted")?,
            pool: request.pool.map(pool).transpose().at("pool")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

fn counted(row: v1::Counted) -> Result<CountedPart, Bad> {
    Ok(CountedPart {
        part: part(row.part).at("part")?,
        weight: given(row.weight).and_then(reading).at("weight")?,
    })
}

fn pool(pool: v1::PoolCount) -> Result<PoolAsked, Bad> {
    Ok(PoolAsked {
        parts: some_of(pool.parts, MOST_ROWS, |named| part(Some(named))).at("parts")?,
        weight: given(pool.weight).and_then(reading).at("weight")?,
        storage: word(pool.storage).at("storage")?,
        grade: grade_or_none(&pool.grade)
            .at("grade")?
            .unwrap_or_else(Grade::none),
    })
}

fn taken(row: v1::Taken) -> Result<Taken, Bad> {
    Ok(Taken {
        part: part(row.part).at("part")?,
        weight: given(row.weight)
            .and_then(reading_above_zero)
            .at("weight")?,
        emptied: row.emptied,
    })
}

/// A re-weigh.
pub(crate) fn reweigh(request: v1::RecordReweighRequest) -> Result<Asked<ReweighAsked>, Bad> {
    use v1::record_reweigh_request::What;
    let request_id = request_id(&request.request_id)?;
    let what = match request.what {
        Some(What::Part(named)) => Reweighed::Part(part(Some(named)).at("part")?),
        Some(What::Weighing(at)) => Reweighed::Weighing(ticket_weighing(&at).at("weighing")?),
        None => return Err(Bad::missing("either part or weighing must be given")).at("what"),
    };
    Ok(Asked {
        request_id,
        what: ReweighAsked {
            site: super::site(request.site)?,
            what,
            reading: given(request.reading).and_then(reading).at("reading")?,
            note: text(request.note).at("note")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

fn ticket_weighing(at: &v1::TicketWeighing) -> Result<TicketWeighing, Bad> {
    Ok(TicketWeighing {
        ticket: entry_id(&at.ticket).at("ticket")?,
        lot: count(at.lot, 1, i32::try_from(MOST_LOTS).unwrap_or(i32::MAX)).at("lot")?,
        weighing: count(at.weighing, 1, LAST_PART).at("weighing")?,
    })
}

fn part(named: Option<v1::PartRef>) -> Result<PartRef, Bad> {
    let named = given(named)?;
    Ok(PartRef {
        lot: lot_code(&named.lot_code).at("lot_code")?,
        part: named
            .part
            .map(|n| count(n, 1, LAST_PART))
            .transpose()
            .at("part")?,
    })
}

/// A weight, or all that is left where there is none.
fn all_or(weight: Option<v1::Reading>) -> Result<Option<Reading>, Bad> {
    weight.map(reading_above_zero).transpose().at("weight")
}

/// A weight that only a pool may leave out.
fn pool_or_weighed(weight: Option<v1::Reading>, kind: MakingKind) -> Result<Option<Reading>, Bad> {
    if weight.is_none() && kind != MakingKind::Pool {
        return Err(Bad::missing(
            "must be given: only a pool takes what the book says",
        ))
        .at("weight");
    }
    all_or(weight)
}

fn grade_or_none(written: &str) -> Result<Option<Grade>, Bad> {
    if written.is_empty() {
        Ok(None)
    } else {
        grade(written).map(Some)
    }
}

fn hold_id(written: &str) -> Result<HoldId, Bad> {
    if written.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    HoldId::parse(written)
        .ok_or_else(|| Bad::rule("is neither an entry's id nor a ticket's id, \"-\" and a line"))
}

#[cfg(test)]
mod tests;
