//! Rooms for small fish, choices and plans.

use desk::ProposalAsked;
use proto::v1;
use rules::ids::PartId;
use rules::money::Currency;
use rules::outlet::plan::{Choice, ChoiceAsked, ChoiceKind, PlanTaken};
use rules::outlet::{Room, Window};

use super::{
    Asked, At as _, Bad, code, code_or_none, count, day, each, entry_id, given, instant_or_none,
    lot_code, name, reading_above_zero, request_id, said, species, text, unit_price,
};

/// Most rows of any list.
const MOST_ROWS: usize = 100;
/// Parts of a lot have numbers up to this.
const LAST_PART: i32 = 100_000;
/// A month.
const MOST_HOURS: i32 = 744;

/// A room for small fish.
pub(crate) fn record_room(
    request: v1::RecordRoomRequest,
    money: Option<Currency>,
) -> Result<Asked<Room>, Bad> {
    let id = request_id(&request.request_id)?;
    let room = given(request.room).at("room")?;
    let money = super::on_file(super::site(room.site).at("room")?, money).at("room")?;
    Ok(Asked {
        request_id: id,
        what: self::room(room, money).at("room")?,
    })
}

fn room(room: v1::Room, money: Currency) -> Result<Room, Bad> {
    let reading =
        |reading: Option<v1::Reading>, field| reading.map(reading_above_zero).transpose().at(field);
    let price = |price: Option<v1::UnitPrice>, field| {
        price
            .map(|price| unit_price(&price, money))
            .transpose()
            .at(field)
    };
    let mut forms = each(room.presentations, MOST_ROWS, said).at("presentations")?;
    forms.sort_unstable();
    forms.dedup();
    let mut wanted = each(room.species, MOST_ROWS, species).at("species")?;
    wanted.sort_unstable();
    wanted.dedup();
    Ok(Room {
        site: super::site(room.site)?,
        code: code(room.code).at("code")?,
        name: name(room.name).at("name")?,
        kind: said(room.kind).at("kind")?,
        party: code_or_none(room.party).at("party")?,
        species: wanted,
        presentations: forms,
        weight: given(room.weight).and_then(super::reading).at("weight")?,
        promised: reading(room.promised, "promised")?,
        price: price(room.price, "price")?,
        handling: price(room.handling, "handling")?,
        least_drop: room
            .least_drop
            .map(super::reading)
            .transpose()
            .at("least_drop")?,
        from_us: instant_or_none(room.from).at("from")?,
        until_us: instant_or_none(room.until).at("until")?,
        standing: room.standing,
        windows: each(room.windows, MOST_ROWS, window).at("windows")?,
        keeps_cold: room.keeps_cold,
        takes_spines: room.takes_spines,
        piece_from: reading(room.piece_from, "piece_from")?,
        piece_to: reading(room.piece_to, "piece_to")?,
        specification: code_or_none(room.specification).at("specification")?,
        oldest_hours: room
            .oldest_hours
            .map(|hours| count(hours, 1, MOST_HOURS))
            .transpose()
            .at("oldest_hours")?,
        ended: room.ended,
    })
}

fn window(window: v1::PickUpWindow) -> Result<Window, Bad> {
    Ok(Window {
        from_minute: minute(&window.from).at("from")?,
        to_minute: minute(&window.to).at("to")?,
    })
}

/// A time of day as minutes after midnight, `00:00` to `24:00`.
fn minute(written: &str) -> Result<i64, Bad> {
    let bad = || Bad::rule("is not a time of day such as 16:30, 00:00 to 24:00");
    let (hours, minutes) = written.split_once(':').ok_or_else(bad)?;
    let number = |text: &str, most: i64| {
        let digits = text.len() == 2 && text.bytes().all(|b| b.is_ascii_digit());
        let number = digits.then(|| text.parse::<i64>().ok()).flatten();
        number.filter(|number| *number <= most)
    };
    let (hours, minutes) = number(hours, 24).zip(number(minutes, 59)).ok_or_else(bad)?;
    let minute = hours * 60 + minutes;
    if minute > 1_440 {
        Err(bad())
    } else {
        Ok(minute)
    }
}

/// A choice about a part and a room.
pub(crate) fn record_choice(request: v1::RecordChoiceRequest) -> Result<Asked<ChoiceAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: ChoiceAsked {
            site: super::site(request.site)?,
            choice: given(request.choice).and_then(choice).at("choice")?,
        },
    })
}

fn choice(choice: v1::Choice) -> Result<Choice, Bad> {
    let kind: ChoiceKind = said(choice.kind).at("kind")?;
    if kind != ChoiceKind::Pin && choice.weight.is_some() {
        return Err(Bad::rule("is said of a pin only")).at("weight");
    }
    Ok(Choice {
        kind,
        part: given(choice.part).and_then(part).at("part")?,
        room: code(choice.room).at("room")?,
        weight: choice
            .weight
            .map(reading_above_zero)
            .transpose()
            .at("weight")?,
        reason: name(choice.reason).at("reason")?,
    })
}

/// A part by its number: a choice is about one and no other.
fn part(named: v1::PartRef) -> Result<PartId, Bad> {
    Ok(PartId {
        lot: lot_code(&named.lot_code).at("lot_code")?,
        n: given(named.part)
            .and_then(|n| count(n, 1, LAST_PART))
            .at("part")?,
    })
}

/// What a plan is asked for.
pub(crate) fn propose(
    request: v1::ProposePlanRequest,
    money: Option<Currency>,
) -> Result<ProposalAsked, Bad> {
    let site = super::site(request.site)?;
    let money = super::on_file(site, money)?;
    let of_site = |room: v1::Room| {
        if room.site != request.site {
            return Err(Bad::rule("is of another site")).at("site");
        }
        self::room(room, money)
    };
    Ok(ProposalAsked {
        site,
        day: request.day.map(day).transpose().at("day")?,
        what_if_rooms: each(request.what_if_rooms, MOST_ROWS, of_site).at("what_if_rooms")?,
        what_if_choices: each(request.what_if_choices, MOST_ROWS, choice).at("what_if_choices")?,
    })
}

/// A plan that is taken. Day 0 is today; without a digest, it is taken unseen.
pub(crate) fn take(request: v1::RecordPlanRequest) -> Result<Asked<PlanTaken>, Bad> {
    let digest = text(request.digest).at("digest")?;
    let is_digest = digest.len() == 64 && digest.bytes().all(|b| b.is_ascii_hexdigit());
    if !digest.is_empty() && !is_digest {
        let rule = "is not the 64 digits of a plan that was looked at";
        return Err(Bad::rule(rule)).at("digest");
    }
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: PlanTaken {
            site: super::site(request.site)?,
            day: request.day.map(day).transpose().at("day")?.unwrap_or(0),
            digest: digest.to_ascii_lowercase(),
        },
    })
}

/// Id of a plan.
pub(crate) fn plan(request: &v1::GetPlanRequest) -> Result<i64, Bad> {
    entry_id(&request.plan).at("plan")
}

/// Id of a movement.
pub(crate) fn movement(request: &v1::GetDispatchNoteRequest) -> Result<i64, Bad> {
    entry_id(&request.movement).at("movement")
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_time_of_day_is_hours_and_minutes() {
        for (written, minute) in [
            ("00:00", Some(0)),
            ("16:30", Some(990)),
            ("24:00", Some(1_440)),
            ("24:01", None),
            ("9:30", None),
            ("16:60", None),
            ("16.30", None),
            ("+1:30", None),
            ("", None),
        ] {
            assert_eq!(super::minute(written).ok(), minute, "{written:?}");
        }
    }
}
