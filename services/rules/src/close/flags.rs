//! What a person should look at in the morning.
//!
//! Unaccounted weight is flagged where it is more than scales, water and drip
//! explain, more than the site's limits and worth enough, in a part and over the
//! site; the flag gives the budget line by line. Where that is not known, the limits
//! alone judge, and the text says so and which scale wants a test. As much too
//! little in one part as too much in another of the same species is probably two
//! parts mixed up, and what parts were flagged for is not raised again for the site. A
//! flag of one kind and subject is the same flag in every revision
//! of the day.

mod old;
mod yields;

use std::cmp::Reverse;
use std::collections::BTreeSet;

use super::table::TableSays;
use super::walk::{Walk, budget, share};
use super::{DayInput, Flag, FlagKind, LeftPlan, ProbedAgain, outlets};
use crate::balance::PartDay;
use crate::decimal;
use crate::drift::{Drift, WeighedTwice};
use crate::fish::Outlet;
use crate::ids::{LotCode, PartId};
use crate::making::{MadeSource, Making};
use crate::money::Money;
use crate::stock::{add, sub};
use crate::uncertainty::{Budget, plus_or_minus};
use crate::weight::Weight;

/// Two parts are a swapped pair where the sizes differ by at most one in so many.
const SWAP_LIKENESS: i64 = 20;

const DAY_US: i64 = 86_400_000_000;

/// All flags of a day: what most money hangs on first, then most weight, then by kind and
/// subject.
pub(super) fn raise(
    day: &DayInput,
    walk: &Walk,
    drifts: &[Drift],
    says: &TableSays,
    left_plan: Option<&LeftPlan>,
) -> Vec<Flag> {
    let mut flags = unaccounted(day, walk);
    for (&id, part) in &walk.parts {
        flags.extend(beyond(day, id, part));
    }
    let in_parts: BTreeSet<String> = flags
        .iter()
        .flat_map(|flag| flag.subject.split(' '))
        .map(str::to_owned)
        .collect();
    flags.extend(unaccounted_site(day, walk, &in_parts));
    flags.extend(table(day, walk));
    for (id, part) in walk.open() {
        flags.extend(hold_old(day, id, part));
        flags.extend(uncounted(day, id, part));
    }
    flags.extend(devices(day));
    flags.extend(tickets(day));
    flags.extend(disputes(day));
    flags.extend(never_shown_cold(day, walk));
    flags.extend(drifting(day, drifts));
    flags.extend(old::old(day, walk));
    flags.extend(outlets::will_age_out(day, walk, left_plan));
    flags.extend(outlets::not_as_planned(day));
    flags.extend(yields::low(day, says));
    flags.extend(yields::signals(day, says));
    flags.sort_by(|a, b| rank(a).cmp(&rank(b)));
    flags
}

fn rank(flag: &Flag) -> (Reverse<u64>, Reverse<u64>, FlagKind, &str) {
    let money = flag.value.minor().unsigned_abs();
    let weight = flag.weight.units().unsigned_abs();
    (Reverse(money), Reverse(weight), flag.kind, &flag.subject)
}

pub(super) fn flag(day: &DayInput, kind: FlagKind, subject: impl ToString, text: String) -> Flag {
    Flag {
        kind,
        subject: subject.to_string(),
        text,
        weight: Weight::ZERO,
        value: Money::zero(day.currency),
        gap: kind.is_gap(),
        evidence: Vec::new(),
    }
}

impl Flag {
    pub(super) fn at_stake(self, weight: Weight, minor: i64) -> Flag {
        Flag {
            weight,
            value: Money::new(minor, self.value.currency()),
            ..self
        }
    }

    /// With the budget it was judged by.
    fn judged_by(self, day: &DayInput, budget: &Budget) -> Flag {
        Flag {
            evidence: budget.lines(day.shown_unit, |code| scale_name(day, code)),
            ..self
        }
    }
}

/// What people call a scale.
pub(super) fn scale_name(day: &DayInput, code: &str) -> String {
    match day.scales.get(code).map(|scale| scale.name.as_str()) {
        Some(name) if !name.is_empty() => name.to_owned(),
        Some(_) | None => format!("scale {code}"),
    }
}

/// "Scales, water and drip explain 0.41 lb of it."
fn said(day: &DayInput, budget: &Budget) -> String {
    match budget.explains() {
        Some(explained) => format!(
            "Scales, water and drip explain {}.",
            plus_or_minus(explained, day.shown_unit)
        ),
        None => format!(
            "What scales, water and drip explain is not known: {}. Judged by the site's limits \
             alone.",
            budget.why_unknown(|code| scale_name(day, code))
        ),
    }
}

pub(super) fn shown(day: &DayInput, weight: Weight) -> String {
    format!(
        "{} {}",
        weight.abs().shown(day.shown_unit),
        day.shown_unit.symbol()
    )
}

/// "PZO whole of ana, 2031050200010000001A/1".
pub(super) fn named(day: &DayInput, id: PartId) -> String {
    let Some(facts) = day.parts.get(&id) else {
        return id.to_string();
    };
    let of = match facts.supplier.as_str() {
        "" => String::new(),
        supplier => format!(" of {supplier}"),
    };
    format!("{} {}{of}, {id}", facts.species, facts.presentation.word())
}

/// What was handled of a part: what was there and what came in.
fn handled(part: &PartDay) -> Weight {
    add(part.opening.max(Weight::ZERO), part.came_in)
}

/// Whether `unaccounted` of so much handled is worth a person's time: more than what
/// its budget explains, as far as that is known, and both limits of weight, and at
/// least the limit of value.
fn is_flagged(
    day: &DayInput,
    unaccounted: Weight,
    budget: &Budget,
    handled: Weight,
    minor: i64,
) -> bool {
    let limit = day
        .settings
        .flag_weight()
        .max(handled.millionths(day.settings.flag_ppm()))
        .max(budget.explains().unwrap_or_default());
    unaccounted.abs() > limit && minor.saturating_abs() >= day.settings.flag_value_minor()
}

fn unaccounted(day: &DayInput, walk: &Walk) -> Vec<Flag> {
    let mut missing: Vec<(PartId, &PartDay)> = walk
        .parts
        .iter()
        .filter(|(_, part)| {
            let beyond = beyond_overdrawn(part);
            let minor = part.now.cost_of(beyond);
            is_flagged(day, beyond, &explained(part), handled(part), minor)
        })
        .map(|(&id, part)| (id, part))
        .collect();
    let mut flags = Vec::new();
    while let Some((id, part)) = missing.first().copied() {
        let twin = missing
            .iter()
            .position(|&(other, b)| is_swap(part, b) && same_species(day, id, other));
        match twin {
            Some(place) => {
                let (other, twin) = missing.remove(place);
                flags.push(swapped(day, (id, part), (other, twin)));
            }
            None => flags.push(part_unaccounted(day, id, part)),
        }
        missing.remove(0);
    }
    flags
}

fn explained(part: &PartDay) -> Budget {
    part.explained.clone().unwrap_or_default()
}

/// What is unaccounted and not just the other side of an overdraft: where more went out
/// than there was, a count finds that much more than the book, for the one cause that is
/// flagged already.
fn beyond_overdrawn(part: &PartDay) -> Weight {
    if part.unaccounted.is_negative() {
        add(part.unaccounted, part.overdrawn).min(Weight::ZERO)
    } else {
        part.unaccounted
    }
}

fn same_species(day: &DayInput, a: PartId, b: PartId) -> bool {
    let species = |id| day.parts.get(&id).map(|facts| &facts.species);
    species(a) == species(b)
}

/// Whether one is missing about as much as the other has too much: within 5 % of the
/// larger, or within what the budget of both together explains.
fn is_swap(a: &PartDay, b: &PartDay) -> bool {
    let apart = add(a.unaccounted, b.unaccounted).abs();
    let larger = a.unaccounted.abs().max(b.unaccounted.abs());
    let within = apart.units().saturating_mul(SWAP_LIKENESS) <= larger.units();
    let both = explained(a).plus(&explained(b));
    a.unaccounted.is_negative() != b.unaccounted.is_negative()
        && (within || apart <= both.explains().unwrap_or_default())
}

fn swapped(day: &DayInput, a: (PartId, &PartDay), b: (PartId, &PartDay)) -> Flag {
    let (short, long) = if a.1.unaccounted.is_negative() {
        (b, a)
    } else {
        (a, b)
    };
    let both = explained(short.1).plus(&explained(long.1));
    let text = format!(
        "Probably swapped: {} is missing in {}, and {} is too much in {}. {}",
        shown(day, short.1.unaccounted),
        named(day, short.0),
        shown(day, long.1.unaccounted),
        named(day, long.0),
        said(day, &both),
    );
    let (first, second) = (a.0.min(b.0), a.0.max(b.0));
    flag(day, FlagKind::Swapped, format!("{first} {second}"), text)
        .at_stake(
            short.1.unaccounted,
            short.1.now.cost_of(short.1.unaccounted),
        )
        .judged_by(day, &both)
}

fn part_unaccounted(day: &DayInput, id: PartId, part: &PartDay) -> Flag {
    let what = if part.unaccounted.is_negative() {
        "too much"
    } else {
        "missing"
    };
    let budget = explained(part);
    let text = format!(
        "{} {what} in {}: {}, {} should have dripped and {} was found. {}",
        shown(day, part.unaccounted),
        named(day, id),
        stood(day, book_before(part)),
        shown(day, part.shrink),
        shown(day, found(part)),
        said(day, &budget),
    );
    let minor = part.now.cost_of(part.unaccounted);
    flag(day, FlagKind::Unaccounted, id, text)
        .at_stake(part.unaccounted, minor)
        .judged_by(day, &budget)
}

/// What the book said before the count.
fn stood(day: &DayInput, book: Weight) -> String {
    if book.is_negative() {
        format!(
            "{} more had gone out than was on the book",
            shown(day, book)
        )
    } else {
        format!("of {} on the book", shown(day, book))
    }
}

/// Book weight before anything was posted today, after all that came and went.
fn book_before(part: &PartDay) -> Weight {
    sub(add(part.opening, part.came_in), part.went_out)
}

fn found(part: &PartDay) -> Weight {
    sub(sub(book_before(part), part.shrink), part.unaccounted)
}

/// What is unaccounted over the site, where it is worth a flag also without what stands
/// `in_parts`: nothing is raised twice for one cause.
fn unaccounted_site(day: &DayInput, walk: &Walk, in_parts: &BTreeSet<String>) -> Option<Flag> {
    let totals = walk.day_balance();
    let minor = walk
        .parts
        .values()
        .map(|part| part.now.cost_of(part.unaccounted))
        .fold(0_i64, i64::saturating_add);
    let opening = walk
        .parts
        .values()
        .map(|part| part.opening.max(Weight::ZERO))
        .sum();
    let handled = add(add(opening, totals.bought), totals.returned);
    let budget = walk.explained();
    let (mut rest, mut rest_minor) = (totals.unaccounted, minor);
    for (id, part) in &walk.parts {
        if in_parts.contains(&id.to_string()) {
            rest = sub(rest, part.unaccounted);
            rest_minor = rest_minor.saturating_sub(part.now.cost_of(part.unaccounted));
        }
    }
    let worth = |weight, minor| is_flagged(day, weight, &budget, handled, minor);
    if !worth(totals.unaccounted, minor) || !worth(rest, rest_minor) {
        return None;
    }
    let what = if totals.unaccounted.is_negative() {
        "too much"
    } else {
        "missing"
    };
    let text = format!(
        "{} {what} over the whole site, of {} handled. {}",
        shown(day, totals.unaccounted),
        shown(day, handled),
        said(day, &budget),
    );
    Some(
        flag(day, FlagKind::UnaccountedSite, day.site, text)
            .at_stake(totals.unaccounted, minor)
            .judged_by(day, &budget),
    )
}

fn table(day: &DayInput, walk: &Walk) -> Vec<Flag> {
    let mut flags = Vec::new();
    for (entry, making) in day
        .makings
        .iter()
        .filter(|(_, making)| making.moves_weight())
    {
        let beyond = making.table_unaccounted;
        let budget = at_the_table(day, *entry, making);
        if beyond.abs() <= budget.explains().unwrap_or_default() {
            continue;
        }
        let kind = making.kind.word();
        let (flag_kind, text) = if beyond.is_negative() {
            let above = add(making.cutting_loss, beyond);
            let text = format!(
                "{} more came out of the {kind} {entry} than the {} that went in: rinse water, \
                 or a missing input. {}",
                shown(day, above),
                shown(day, making.input),
                said(day, &budget),
            );
            (FlagKind::MoreOutThanIn, text)
        } else {
            let text = format!(
                "{} of the {} in the {kind} {entry} is unaccounted at the table, beyond {} of \
                 cutting loss. {}",
                shown(day, beyond),
                shown(day, making.input),
                shown(day, making.cutting_loss),
                said(day, &budget),
            );
            (FlagKind::TableUnaccounted, text)
        };
        let taken = walk.makings.get(entry).cloned().unwrap_or_default();
        let minor = share(taken.cost_minor, beyond, taken.came_in);
        flags.push(
            flag(day, flag_kind, entry, text)
                .at_stake(beyond, minor)
                .judged_by(day, &budget),
        );
    }
    flags
}

/// Of what a making took less what it gave: its readings alone.
fn at_the_table(day: &DayInput, entry: i64, making: &Making) -> Budget {
    let went_in = |part| {
        let mut inputs = making.inputs.iter();
        inputs.any(|from| from.source == MadeSource::Part(part))
    };
    let read = day.read.get(&entry).into_iter().flatten();
    read.fold(Budget::default(), |sum, read| {
        let one = budget(day, read);
        if read.part.is_some_and(went_in) {
            sum.plus(&one)
        } else {
            sum.minus(&one)
        }
    })
}

fn beyond(day: &DayInput, id: PartId, part: &PartDay) -> Vec<Flag> {
    let mut flags = Vec::new();
    // A bin sold to the last pound may weigh a little more than the book has.
    if part.overdrawn > part.overdrawn_within {
        let text = format!(
            "{} more went out of {} than was in it: a missing entry, or a wrong part.",
            shown(day, part.overdrawn),
            named(day, id),
        );
        let minor = part.now.cost_of(part.overdrawn);
        flags.push(flag(day, FlagKind::Overdrawn, id, text).at_stake(part.overdrawn, minor));
    }
    if !part.reopened.is_zero() {
        let text = format!(
            "{} went out of {} after it was finished; it is open again.",
            shown(day, part.reopened),
            named(day, id),
        );
        let minor = part.now.cost_of(part.reopened);
        flags.push(flag(day, FlagKind::Reopened, id, text).at_stake(part.reopened, minor));
    }
    flags
}

fn hold_old(day: &DayInput, id: PartId, part: &PartDay) -> Option<Flag> {
    if part.now.held_us == 0 {
        return None;
    }
    let held_us = day.end_us.saturating_sub(part.now.held_us);
    let limit = day.settings.hold_days();
    if held_us <= limit.saturating_mul(DAY_US) {
        return None;
    }
    let days = if limit == 1 {
        "1 day".to_owned()
    } else {
        format!("{limit} days")
    };
    let text = format!(
        "{} of {} is held for more than {days}: release it or throw it out.",
        shown(day, part.now.weight),
        named(day, id),
    );
    let minor = part.now.cost_of(part.now.weight);
    Some(flag(day, FlagKind::HoldOld, id, text).at_stake(part.now.weight, minor))
}

fn uncounted(day: &DayInput, id: PartId, part: &PartDay) -> Option<Flag> {
    if part.counted {
        return None;
    }
    let text = format!(
        "{} of {} by the book was not counted for this day.",
        signed(day, part.now.weight),
        named(day, id),
    );
    Some(flag(day, FlagKind::Uncounted, id, text).at_stake(part.now.weight, 0))
}

fn signed(day: &DayInput, weight: Weight) -> String {
    format!(
        "{} {}",
        weight.shown(day.shown_unit),
        day.shown_unit.symbol()
    )
}

fn devices(day: &DayInput) -> Vec<Flag> {
    let raise = |device: &super::Undrained| {
        let left = device.queued.saturating_sub(device.resolved);
        let name = &device.device;
        let text = format!("Device {name} said it holds {left} more than has come in.");
        flag(day, FlagKind::DeviceUndrained, name, text)
    };
    day.undrained.iter().map(raise).collect()
}

/// One flag for each line, however often it was disputed.
fn disputes(day: &DayInput) -> Vec<Flag> {
    let mut flags: Vec<Flag> = Vec::new();
    for dispute in &day.disputes {
        let super::OpenDispute {
            entry,
            ticket,
            line,
        } = dispute;
        let what = match line {
            0 => format!("Ticket {ticket}"),
            line => format!("Line {line} of ticket {ticket}"),
        };
        let text = format!("{what} is disputed ({entry}) and nobody has answered.");
        let of_line = flag(day, FlagKind::DisputeOpen, format!("{ticket}-{line}"), text);
        if flags.iter().all(|flag| flag.subject != of_line.subject) {
            flags.push(of_line);
        }
    }
    flags
}

/// Lots taken in warm that nobody showed to be cold by when it was due. What is
/// held already, and what went to nobody, needs no second word.
fn never_shown_cold(day: &DayInput, walk: &Walk) -> Vec<Flag> {
    let mut flags = Vec::new();
    for warm in &day.warm {
        let in_time = |again: &ProbedAgain| again.passed && again.happened_us <= warm.due_us;
        let on_hand: Vec<_> = walk.open().filter(|(id, _)| id.lot == warm.lot).collect();
        let nothing_left = on_hand.is_empty();
        let held = |id: &PartId| day.parts.get(id).is_some_and(|facts| facts.held);
        let free: Vec<_> = on_hand.iter().filter(|(id, _)| !held(id)).collect();
        let kept_back = if nothing_left {
            went_to_nobody(walk, warm.lot)
        } else {
            free.is_empty()
        };
        if warm.probed.iter().any(in_time) || kept_back {
            continue;
        }
        let last = warm.probed.iter().max_by_key(|p| (p.happened_us, p.entry));
        let (read, when) = match last {
            Some(again) => (Some(&again.warmest), "when it was probed again"),
            None => (warm.came_in.as_ref(), "as it came in"),
        };
        let read = read.map_or_else(
            || "no temperature was taken".to_owned(),
            |read| format!("it was at {read} {when}"),
        );
        let what_to_do = if nothing_left {
            "Nothing is left of it: find where it went"
        } else {
            "Hold it and probe it"
        };
        let text = format!(
            "Lot {} of ticket {} was to be shown cold by {}, and no probe in time was; {read}. \
             {what_to_do}; the local code decides what may become of it.",
            warm.lot, warm.ticket, warm.due,
        );
        let left = free.iter().map(|(_, part)| part.now.weight).sum();
        let minor = free
            .iter()
            .map(|(_, part)| part.now.cost_of(part.now.weight))
            .fold(0_i64, i64::saturating_add);
        flags.push(flag(day, FlagKind::NeverShownCold, warm.lot, text).at_stake(left, minor));
    }
    flags
}

/// Whether all that left a lot on the day was thrown out or taken as a sample.
fn went_to_nobody(walk: &Walk, lot: LotCode) -> bool {
    let mut out = walk.out.iter().filter(|(id, _)| id.lot == lot).peekable();
    out.peek().is_some()
        && out.all(|(_, out)| {
            out.keys()
                .all(|outlet| matches!(outlet, Outlet::Discard | Outlet::Sample))
        })
        && walk.used.keys().all(|id| id.lot != lot)
}

/// Scales of which one weighs more than the other, and nobody can say which is wrong.
fn drifting(day: &DayInput, drifts: &[Drift]) -> Vec<Flag> {
    let raise = |drift: &Drift| {
        let (first, second) = (
            scale_name(day, &drift.first),
            scale_name(day, &drift.second),
        );
        let than = if drift.bias_ppm < 0 { "less" } else { "more" };
        let text = format!(
            "{second} weighs {} % {than} than {first} (95 %: {} to {} %), by {} pairs of fish \
             weighed on both within {} days. Which of them is wrong cannot be known from this: \
             have both tested.",
            percent(drift.bias_ppm.saturating_abs()),
            percent(drift.low_ppm),
            percent(drift.high_ppm),
            drift.pairs,
            day.settings.drift_days(),
        );
        let pairs = day
            .weighed_twice
            .iter()
            .filter(|twice| (&twice.first, &twice.second) == (&drift.first, &drift.second));
        let pair = |twice: &WeighedTwice| {
            let [then, again] = [twice.then, twice.again].map(|weight| shown(day, weight));
            format!("{}: {then} on {first}, {again} on {second}", twice.entry)
        };
        let subject = format!("{} {}", drift.first, drift.second);
        Flag {
            evidence: pairs.map(pair).collect(),
            ..flag(day, FlagKind::ScaleDrift, subject, text)
        }
    };
    let flagged = drifts
        .iter()
        .filter(|drift| drift.is_flagged(&day.settings));
    flagged.map(raise).collect()
}

/// Percent to 2 places, half up.
fn percent(ppm: i64) -> String {
    decimal::text(decimal::half_up(i128::from(ppm), 100).unwrap_or(0), 2)
}

fn tickets(day: &DayInput) -> Vec<Flag> {
    let mut flags = Vec::new();
    for ticket in &day.tickets {
        let entry = ticket.entry;
        if ticket.offline_difference_minor != 0 {
            let difference = Money::new(ticket.offline_difference_minor, day.currency);
            let text = format!(
                "Ticket {entry} was confirmed without signal at a payout that differs by \
                 {difference} from the list in force."
            );
            flags.push(
                flag(day, FlagKind::OfflineDifference, entry, text)
                    .at_stake(Weight::ZERO, ticket.offline_difference_minor),
            );
        }
        if ticket.clock_skew {
            let text = format!("The clock of the device that wrote ticket {entry} was off.");
            flags.push(flag(day, FlagKind::ClockSkew, entry, text));
        }
    }
    flags
}
