//! Fish that is getting old.
//!
//! Age runs from the earliest harvest of any fish in a part, through holds, pools and
//! cuts. How old fish may get depends on what it is to be: whole fish on ice, fish for
//! soup or a donation, fresh fillet. Frozen fish and what is no food are not judged
//! here. The site's ages are common practice for asking; the local code decides what
//! may still be sold.

use super::{DAY_US, flag, named, shown};
use crate::balance::PartDay;
use crate::close::walk::Walk;
use crate::close::{DayInput, Flag, FlagKind, PartFacts};
use crate::fish::{Outlet, Storage};
use crate::ids::PartId;
use crate::weight::Weight;

const HOUR_US: i64 = 3_600_000_000;

/// Parts past the age that the site set for what they are.
pub(super) fn old(day: &DayInput, walk: &Walk) -> Vec<Flag> {
    walk.open()
        .filter_map(|(id, part)| old_part(day, id, part))
        .collect()
}

fn old_part(day: &DayInput, id: PartId, part: &PartDay) -> Option<Flag> {
    let facts = day.parts.get(&id)?;
    let (most_us, what) = limit(day, facts)?;
    let age_us = day.end_us.saturating_sub(part.now.harvested_us);
    if part.now.harvested_us == 0 || age_us <= most_us || part.now.weight <= Weight::ZERO {
        return None;
    }
    let asked_us = day.settings.judging.whole_days_ask().saturating_mul(DAY_US);
    let ask = if what == WHOLE && age_us > asked_us {
        " Ask somebody who knows whether it can still be sold at all."
    } else {
        ""
    };
    let text = format!(
        "{} of {} is {}; {what} is looked at after {}.{ask}",
        shown(day, part.now.weight),
        named(day, id),
        aged(age_us),
        whole(most_us),
    );
    let minor = part.now.cost_of(part.now.weight);
    Some(flag(day, FlagKind::Old, id, text).at_stake(part.now.weight, minor))
}

const WHOLE: &str = "fish on ice";

/// How old a part may get, and what it is judged as; `None` where it is not judged.
fn limit(day: &DayInput, facts: &PartFacts) -> Option<(i64, &'static str)> {
    let judging = &day.settings.judging;
    if facts.storage == Some(Storage::Frozen) {
        return None;
    }
    if facts.presentation.is_fillet() {
        let days = judging.fillet_days().saturating_mul(DAY_US);
        return Some((days, "fresh fillet"));
    }
    if !facts.presentation.is_fish() {
        return None;
    }
    Some(match facts.proposed {
        Some(Outlet::Donation) => (
            judging.donation_hours().saturating_mul(HOUR_US),
            "fish for donation",
        ),
        Some(Outlet::Soup) => (
            judging.soup_days().saturating_mul(DAY_US),
            "soup-grade fish",
        ),
        _ => (judging.whole_days().saturating_mul(DAY_US), WHOLE),
    })
}

/// "6 days old", whole days that have passed.
fn aged(age_us: i64) -> String {
    format!("{} old", whole(age_us))
}

/// Whole days, or hours below two days and where they do not make days.
fn whole(us: i64) -> String {
    let hours = us.div_euclid(HOUR_US);
    let days = us.div_euclid(DAY_US);
    if hours <= 48 {
        format!("{hours} hours")
    } else {
        format!("{days} days")
    }
}
