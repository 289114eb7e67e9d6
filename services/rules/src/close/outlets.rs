//! Where the small fish goes that is left as a day ends, and what became of plans.
//!
//! The night shares out what is left for the next business day, as the rooms on file
//! take it, and says what will be too old by then. It plans; nothing leaves by it until a
//! person takes a plan.

use super::flags::{flag, named, shown};
use super::walk::Walk;
use super::{DayInput, Flag, FlagKind, LeftLine, LeftPart, LeftPlan, LineDone, SmallFishRow};
use crate::fish::Presentation;
use crate::ids::PartId;
use crate::money::Money;
use crate::outlet::eligible::oldest_hours;
use crate::outlet::plan::{self, Cutting, PlanAsked};
use crate::outlet::{At, Fish, RoomKind};
use crate::small_fish::AtTheTable;
use crate::stock::{next_to_nothing, sub};
use crate::weight::Weight;

const HOUR_US: i64 = 3_600_000_000;

/// The plan for what is left; `None` where no room is on file.
pub(super) fn left_plan(
    day: &DayInput,
    walk: &Walk,
    small_fish: &[SmallFishRow],
) -> Option<LeftPlan> {
    let places = day.places.as_ref()?;
    let fish: Vec<Fish> = walk
        .on_hand()
        .iter()
        .filter(|(_, held)| held.weight > Weight::ZERO)
        .filter_map(|(id, held)| {
            let fish = places.fish.get(id)?;
            Some(Fish {
                weight: held.weight,
                ..fish.clone()
            })
        })
        .collect();
    let on_ice = |choice: &&plan::Choice| fish.iter().any(|fish| fish.part == choice.part);
    let choices = places.choices.iter().filter(on_ice).cloned().collect();
    let asked = PlanAsked {
        fish: fish.clone(),
        rooms: places.rooms.clone(),
        choices,
        division: places.division,
        cutting: small_fish.iter().map(Cutting::from).collect(),
        at: at(day, places.next_day, &places.clock),
    };
    // A choice that cannot stand any more is left out: the person who made it is not here.
    let planned = plan::plan(&asked).or_else(|_| {
        plan::plan(&PlanAsked {
            choices: Vec::new(),
            ..asked
        })
    });
    let planned = planned.unwrap_or_default();
    Some(LeftPlan {
        lines: planned
            .lines
            .into_iter()
            .map(|line| LeftLine {
                part: line.part,
                room: line.room,
                kind: line.kind,
                weight: line.weight,
                delivered: line.delivered,
                dress: line.dress,
                net: Money::new(line.net_minor, day.currency),
            })
            .collect(),
        left: planned
            .parts
            .into_iter()
            .filter(|part| !part.left.is_zero())
            .map(|part| LeftPart {
                part: part.part,
                weight: part.left,
                why: part.why_left,
            })
            .collect(),
        kept: planned.result.kept,
        money: Money::new(planned.result.money_minor, day.currency),
    })
}

fn at<'a>(day: &'a DayInput, next_day: i64, clock: &'a crate::business_day::SiteClock) -> At<'a> {
    At {
        day: next_day,
        now_us: day.end_us,
        clock,
        judging: &day.settings.judging,
        receiving: &day.settings.receiving,
        currency: day.currency,
        unit: day.shown_unit,
    }
}

impl From<&SmallFishRow> for Cutting {
    fn from(row: &SmallFishRow) -> Cutting {
        Cutting {
            species: row.species.clone(),
            specification: row.specification.clone(),
            figures: AtTheTable {
                piece: row.piece,
                yield_e2: row.yield_e2,
                yield_u_e2: row.yield_u_e2,
                minutes_e2: row.minutes_e2,
                minutes_u_e2: row.minutes_u_e2,
            },
        }
    }
}

/// Small fish without a place that neither soup nor donation takes any more once the
/// next day is over. What is too old already is another flag's.
pub(super) fn will_age_out(day: &DayInput, walk: &Walk, plan: Option<&LeftPlan>) -> Vec<Flag> {
    let (Some(places), Some(plan)) = (&day.places, plan) else {
        return Vec::new();
    };
    let at = at(day, places.next_day, &places.clock);
    let mouths = [RoomKind::Soup, RoomKind::Donation];
    let hours = mouths.map(|kind| oldest_hours(kind, Presentation::Whole, &at).unwrap_or(0));
    let most_us = hours.into_iter().max().unwrap_or(0).saturating_mul(HOUR_US);
    let next_ends_us = places.clock.end_us(places.next_day);
    let mut flags = Vec::new();
    for left in &plan.left {
        let Some(fish) = places
            .fish
            .get(&left.part)
            .filter(|fish| fish.harvested_us != 0)
        else {
            continue;
        };
        let gone_us = fish.harvested_us.saturating_add(most_us);
        if fish.held || !(day.end_us..next_ends_us).contains(&gone_us) {
            continue;
        }
        let text = format!(
            "{} of {} has no place, and is too old for soup and donation from {} on.",
            shown(day, left.weight),
            named(day, left.part),
            minute(&places.clock.local_rfc3339(gone_us)),
        );
        let minor = cost(walk, left.part, left.weight);
        let mut flag =
            flag(day, FlagKind::WillAgeOut, left.part, text).at_stake(left.weight, minor);
        flag.evidence.push(left.why.clone());
        flags.push(flag);
    }
    flags
}

fn cost(walk: &Walk, part: PartId, weight: Weight) -> i64 {
    let on_hand = walk.on_hand();
    on_hand.get(&part).map_or(0, |held| held.cost_of(weight))
}

/// `2031-05-03 16:00` of an instant with its offset.
fn minute(instant: &str) -> String {
    instant
        .chars()
        .take(16)
        .collect::<String>()
        .replace('T', " ")
}

/// Lines of plans of which more or less went than was planned, by more than counts as
/// nothing, and promised ones that nobody carried out.
pub(super) fn not_as_planned(day: &DayInput) -> Vec<Flag> {
    day.lines_done
        .iter()
        .filter(|line| is_off(day, line))
        .map(|line| {
            let difference = sub(line.delivered, line.planned);
            let text = if line.by == 0 {
                format!(
                    "{} of {} was promised and planned for {}, and nothing went.",
                    shown(day, line.planned),
                    named(day, line.part),
                    line.room_name,
                )
            } else {
                let less = if difference.is_negative() {
                    "less"
                } else {
                    "more"
                };
                format!(
                    "{} of {} went to {}, {} {less} than the {} planned.",
                    shown(day, line.delivered),
                    named(day, line.part),
                    line.room_name,
                    shown(day, difference.abs()),
                    shown(day, line.planned),
                )
            };
            let subject = format!("{}-{}", line.plan, line.line);
            flag(day, FlagKind::NotAsPlanned, subject, text).at_stake(difference.abs(), 0)
        })
        .collect()
}

fn is_off(day: &DayInput, line: &LineDone) -> bool {
    if line.by == 0 {
        return line.promised;
    }
    let difference = sub(line.delivered, line.planned).abs();
    // What dressing leaves was expected only: a tenth of it is near enough.
    let near = next_to_nothing(line.planned, &day.settings).max(line.planned.millionths(100_000));
    difference > near
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use std::collections::BTreeMap;

    use super::*;
    use crate::business_day::SiteClock;
    use crate::close::tests::{day as a_day, part};
    use crate::close::{Places, judge};
    use crate::office::Species;
    use crate::outlet::Room;
    use crate::outlet::Traits;
    use crate::outlet::plan::RoomNow;
    use crate::weight::{Reading, ReadingSource, WeightUnit};

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap()
    }

    /// A crew that eats so much a day, and fish caught so many hours before the day ends.
    fn places(day: &DayInput, eats: &str, hours: i64) -> Places {
        let room = Room {
            site: 1,
            code: "crew".to_owned(),
            name: "Crew".to_owned(),
            kind: RoomKind::CrewUse,
            party: String::new(),
            species: vec![],
            presentations: vec![],
            weight: Reading::new(eats, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap(),
            promised: None,
            price: None,
            handling: None,
            least_drop: None,
            from_us: None,
            until_us: None,
            standing: true,
            windows: vec![],
            keeps_cold: false,
            takes_spines: false,
            piece_from: None,
            piece_to: None,
            specification: String::new(),
            oldest_hours: None,
            ended: false,
        };
        let fish = Fish {
            part: part(1),
            species: Species {
                code: "PZO".to_owned(),
                name: "Lionfish".to_owned(),
                scientific_name: String::new(),
                hazards: vec![],
                lightest: None,
                heaviest: None,
            },
            supplier: "ana".to_owned(),
            presentation: Presentation::Whole,
            storage: None,
            held: false,
            weight: Weight::ZERO,
            piece: None,
            harvested_us: day.end_us - hours * HOUR_US,
            traits: Traits::default(),
        };
        // Where the test day turns at 04:00.
        let clock = SiteClock::new("Etc/GMT-8", 4).unwrap();
        Places {
            next_day: clock.day_of(day.end_us),
            clock,
            fish: BTreeMap::from([(part(1), fish)]),
            rooms: vec![RoomNow {
                room,
                entry: 1,
                has_contact: false,
                used: Weight::ZERO,
            }],
            choices: vec![],
            division: lb("0.05"),
        }
    }

    #[test]
    fn what_is_left_is_planned_for_the_next_day_and_what_will_be_too_old_is_flagged() {
        // Soup takes fish of 72 h, donation of 48: the longer counts.
        for (eats, hours, left, flagged) in [
            ("30", 60, "0", false),
            ("4", 60, "6", true),
            // Tomorrow it is still fit for soup.
            ("4", 47, "6", false),
            ("4", 48, "6", false),
            ("4", 49, "6", true),
            ("4", 72, "6", true),
            // Too old already: another flag's.
            ("4", 73, "6", false),
        ] {
            let mut told = a_day().bought(1, "10", "40.00");
            told.0.places = Some(places(&told.0, eats, hours));
            let doc = judge(&told.0).doc;
            let plan = doc.left_plan.unwrap();
            let without: Weight = plan.left.iter().map(|left| left.weight).sum();
            assert_eq!(without, lb(left), "{eats} lb, {hours} h");
            let flags: Vec<_> = doc
                .flags
                .iter()
                .filter(|flag| flag.kind == FlagKind::WillAgeOut)
                .collect();
            assert_eq!(!flags.is_empty(), flagged, "{eats} lb, {hours} h");
            for flag in flags {
                assert_eq!((flag.weight, flag.value.minor()), (lb("6"), 2_400));
                assert_eq!(flag.evidence, ["Every room that may take it is full."]);
            }
        }
    }

    #[test]
    fn a_site_without_rooms_plans_nothing() {
        let told = a_day().bought(1, "10", "40.00");
        assert_eq!(judge(&told.0).doc.left_plan, None);
    }

    #[test]
    fn a_line_is_flagged_where_another_weight_went_or_what_was_promised_did_not() {
        for (planned, went, by, promised, says) in [
            ("9.00", "9.00", 7, true, None),
            // What dressing leaves is known to a tenth.
            ("9.00", "8.10", 7, true, None),
            (
                "9.00",
                "8.09",
                7,
                true,
                Some("0.91 lb less than the 9.00 lb planned"),
            ),
            (
                "9.00",
                "9.91",
                7,
                false,
                Some("0.91 lb more than the 9.00 lb planned"),
            ),
            ("0.50", "0.41", 7, false, None),
            ("9.00", "0", 0, true, Some("was promised and planned")),
            ("9.00", "0", 0, false, None),
        ] {
            let mut told = a_day().bought(1, "10", "40.00");
            told.0.lines_done.push(LineDone {
                plan: 5,
                line: 2,
                by,
                part: part(1),
                room: "pot".to_owned(),
                room_name: "Pot".to_owned(),
                planned: lb(planned),
                delivered: lb(went),
                promised,
            });
            let doc = judge(&told.0).doc;
            let flags = doc
                .flags
                .iter()
                .filter(|flag| flag.kind == FlagKind::NotAsPlanned);
            let texts: Vec<&str> = flags.map(|flag| flag.text.as_str()).collect();
            match says {
                None => assert_eq!(texts, Vec::<&str>::new(), "{planned} {went}"),
                Some(says) => assert!(
                    matches!(texts.as_slice(), [text] if text.contains(says)),
                    "{texts:?}"
                ),
            }
            assert_eq!(doc.lines_done, told.0.lines_done);
        }
    }
}
