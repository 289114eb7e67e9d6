//! Sharing small fish out among the rooms that want it.
//!
//! In this order, and none is ever traded for the next: safety and law, which are
//! conditions; what a person pinned; what was promised; pounds kept from discard; money
//! net of handling; the oldest first; then ids. Weights are whole divisions of the scale
//! they will be weighed on. The arithmetic is in [`crate::allot`], and is exact.
//!
//! A room is counted in what is handed over. Fish that is dressed first is less by then,
//! and by how much differs by species, so a room that takes both fish as it is and fish
//! to be dressed is split in two before anything is solved: fish that needs no work has
//! the first claim, as much as could come, and fish to be dressed gets what is left,
//! counted by what dressing keeps. Room that ready fish does not fill after all is given
//! to the other in another turn, until nothing changes. Where several species are
//! dressed for one room, the one that keeps most counts for all: never more is planned
//! than there is room for.

use std::collections::BTreeMap;

use super::eligible::{How, WhyNot, eligible};
use super::{At, DressingYield, Fish, Room, RoomKind};
use crate::allot::{self, Allotted, Problem, Supply};
use crate::decimal::half_up;
use crate::fish::{Presentation, coded};
use crate::ids::{DayNumber, PartId};
use crate::money::{Money, UnitPrice};
use crate::small_fish::{self, AtTheTable};
use crate::weight::{Reading, Weight, WeightUnit};

/// A room with how it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RoomNow {
    /// As on file.
    pub room: Room,
    /// Entry that put it on file so; 0 for one that is only supposed.
    pub entry: i64,
    /// Its party can be told of a recall.
    pub has_contact: bool,
    /// What was handed over already, of the day where it is standing.
    pub used: Weight,
}

coded! {
    /// What a person decided.
    ChoiceKind {
        /// So much goes there.
        Pin = 1 "pin",
        /// None goes there.
        Forbid = 2 "forbid",
        /// An earlier choice is taken back.
        Free = 3 "free",
    }
}

/// What a person decided about a part and a room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// What.
    pub kind: ChoiceKind,
    /// Which part.
    pub part: PartId,
    /// Code of the room.
    pub room: String,
    /// Of a pin: how much, on ice; absent is all that is left.
    pub weight: Option<Reading>,
    /// Why.
    pub reason: String,
}

/// A choice somebody records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChoiceAsked {
    /// Its site.
    pub site: i64,
    /// What was decided.
    pub choice: Choice,
}

/// A plan somebody takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanTaken {
    /// Its site.
    pub site: i64,
    /// Business day, `YYYYMMDD`; 0 is today.
    pub day: DayNumber,
    /// SHA-256 of the plan that was looked at; empty takes it unseen.
    pub digest: String,
}

/// What is known of cutting fish of a piece weight: a row of the last close.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cutting {
    /// ASFIS code.
    pub species: String,
    /// Cut specification.
    pub specification: String,
    /// One fish, its yield and minutes.
    pub figures: AtTheTable,
}

/// All that a plan is worked out from.
#[derive(Debug, Clone)]
pub struct PlanAsked<'a> {
    /// What is on ice.
    pub fish: Vec<Fish>,
    /// What has room.
    pub rooms: Vec<RoomNow>,
    /// What stands of what people decided; one for a part and a room.
    pub choices: Vec<Choice>,
    /// A division of the scale it will be weighed on; above zero.
    pub division: Weight,
    /// Cuts on record.
    pub cutting: Vec<Cutting>,
    /// When, and by which settings.
    pub at: At<'a>,
}

/// Where each pound goes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Plan {
    /// By room, then part.
    pub lines: Vec<PlanLine>,
    /// By part.
    pub parts: Vec<PlanPart>,
    /// By room.
    pub rooms: Vec<PlanRoom>,
    /// What it comes to.
    pub result: Change,
    /// Joined splits and dropped drops, in words.
    pub tidied: Vec<String>,
    /// What the choices cost.
    pub choices: Vec<ChoiceCost>,
    /// What the figures leave out.
    pub remarks: Vec<String>,
}

/// A part, or some of it, to a room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanLine {
    /// Which part.
    pub part: PartId,
    /// Code of the room.
    pub room: String,
    /// What people call it.
    pub room_name: String,
    /// What sort it is.
    pub kind: RoomKind,
    /// Party behind it, or empty.
    pub party: String,
    /// As it stands on ice.
    pub weight: Weight,
    /// What is handed over, expected.
    pub delivered: Weight,
    /// Form it is given first.
    pub dress: Option<Presentation>,
    /// What it brings net of handling and dressing, minor units.
    pub net_minor: i64,
    /// When it is handed over at the latest, microseconds since 1970 UTC.
    pub leaves_us: i64,
    /// A person decided it.
    pub pinned: bool,
}

/// A part and why it goes where it goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanPart {
    /// Which.
    pub part: PartId,
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// Harvester of record; empty when several.
    pub supplier: String,
    /// Earliest harvest of any of it, microseconds since 1970 UTC; 0 where not known.
    pub harvested_us: i64,
    /// What was to be shared out: whole divisions.
    pub weight: Weight,
    /// What found no place.
    pub left: Weight,
    /// Why, or empty.
    pub why_left: String,
    /// Where it would go else; absent is not worked out, empty is no place.
    pub next_best: Option<NextBest>,
    /// Rooms it may not go to, and every rule that says so.
    pub refused: Vec<(String, Vec<WhyNot>)>,
}

/// Where a part would go if it could not go where it goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NextBest {
    /// Code of the room that would take most of it; empty is no place.
    pub room: String,
    /// What the plan would lose.
    pub change: Change,
}

/// How a room is filled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanRoom {
    /// Its code.
    pub room: String,
    /// What people call it.
    pub name: String,
    /// What sort it is.
    pub kind: RoomKind,
    /// Party behind it, or empty.
    pub party: String,
    /// What it still takes, as handed over.
    pub weight: Weight,
    /// What of it is promised.
    pub promised: Weight,
    /// What the plan hands over.
    pub planned: Weight,
    /// What one more pound or kilogram of room would bring; absent is not worked out.
    pub one_more: Option<Change>,
}

/// What a plan comes to, or what two differ by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Change {
    /// Promised and filled.
    pub promised: Weight,
    /// Kept from discard.
    pub kept: Weight,
    /// Net of handling and dressing, minor units.
    pub money_minor: i64,
}

/// What a choice costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChoiceCost {
    /// Which.
    pub choice: Choice,
    /// What the plan loses by it, where the others stand.
    pub cost: Change,
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoPlan {
    /// A choice about a part that is not on ice.
    #[error("part {0} is not small fish on ice at this site")]
    NoSuchPart(PartId),
    /// A choice about a room that is not on file.
    #[error("there is no room {0:?} at this site")]
    NoSuchRoom(String),
    /// A pin that a rule forbids.
    #[error("part {part} may not go to {room} ({}): it {text}", .rule.word())]
    Refused {
        /// Which part.
        part: PartId,
        /// Which room.
        room: String,
        /// Which rule.
        rule: super::eligible::Rule,
        /// Why.
        text: String,
    },
    /// More pinned than there is.
    #[error("{asked} is pinned of part {part}, and {there} is on ice")]
    PinnedTooMuch {
        /// Which part.
        part: PartId,
        /// How much was asked.
        asked: String,
        /// How much there is.
        there: String,
    },
    /// More pinned than a room takes.
    #[error("{asked} is pinned to {room}, which still takes {takes}")]
    PinnedBeyondRoom {
        /// Which room.
        room: String,
        /// How much was asked, as handed over.
        asked: String,
        /// How much it takes.
        takes: String,
    },
    /// Amounts that cannot be reckoned with.
    #[error(transparent)]
    Amounts(#[from] allot::Unallottable),
}

impl Change {
    fn less(self, other: Change) -> Change {
        let less = |a: Weight, b: Weight| Weight::from_units(a.units().saturating_sub(b.units()));
        Change {
            promised: less(self.promised, other.promised),
            kept: less(self.kept, other.kept),
            money_minor: self.money_minor.saturating_sub(other.money_minor),
        }
    }
}

/// Tidying may cost this much, minor units: common practice.
pub const TIDYING_MINOR: i64 = 100;

/// Money in the solver: 1e-8 of the currency unit, so 1e-6 of a minor unit.
const FINE_OF_MINOR: i64 = 1_000_000;

/// Works out the plan, without what it would take to explain it.
///
/// # Errors
/// [`NoPlan`]: a choice that cannot stand, or amounts out of bounds.
pub fn plan(asked: &PlanAsked<'_>) -> Result<Plan, NoPlan> {
    Sorted::of(asked).solve().map(|solved| solved.plan)
}

/// Works out the plan and explains it: the next best place of every part, what one more
/// pound of each room would bring, and what each choice costs, each by solving again.
///
/// # Errors
/// As [`plan`].
pub fn explained(asked: &PlanAsked<'_>) -> Result<Plan, NoPlan> {
    let sorted = Sorted::of(asked);
    let solved = sorted.solve()?;
    let mut plan = solved.plan.clone();
    let mut next_best = Vec::with_capacity(plan.parts.len());
    for part in &plan.parts {
        next_best.push(sorted.next_best(part, &solved)?);
    }
    for (part, next) in plan.parts.iter_mut().zip(next_best) {
        part.next_best = next;
    }
    for (at, room) in plan.rooms.iter_mut().enumerate() {
        room.one_more = sorted.one_more(at, &solved)?;
    }
    for choice in &asked.choices {
        let without = PlanAsked {
            choices: asked
                .choices
                .iter()
                .filter(|other| *other != choice)
                .cloned()
                .collect(),
            ..asked.clone()
        };
        let free = Sorted::of(&without).solve()?.plan.result;
        plan.choices.push(ChoiceCost {
            choice: choice.clone(),
            cost: free.less(plan.result),
        });
    }
    Ok(plan)
}

/// What is asked, in order of ids, with what may go where.
struct Sorted<'a> {
    asked: &'a PlanAsked<'a>,
    fish: Vec<&'a Fish>,
    rooms: Vec<&'a RoomNow>,
    /// By fish, then room.
    hows: Vec<Vec<Result<How, Vec<WhyNot>>>>,
}

/// One way into a room: for fish as it is, or for fish to be dressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Door {
    /// Position of the room.
    room: usize,
    /// For fish to be dressed.
    dresses: bool,
    /// What dressing keeps, ppm; a million at the other door.
    keeps_ppm: i64,
    /// Divisions, as they stand on ice.
    capacity: i64,
    /// Of them, promised.
    committed: i64,
}

/// A plan with what it was solved from.
struct Solved {
    plan: Plan,
    doors: Vec<Door>,
    problem: Problem,
    pinned: Vec<Pinned>,
}

/// What a person pinned, in divisions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Pinned {
    fish: usize,
    room: usize,
    divisions: i64,
}

const WHOLE_PPM: i64 = 1_000_000;

impl<'a> Sorted<'a> {
    fn of(asked: &'a PlanAsked<'a>) -> Sorted<'a> {
        let mut fish: Vec<&Fish> = asked.fish.iter().collect();
        fish.sort_by_key(|fish| fish.part);
        let mut rooms: Vec<&RoomNow> = asked.rooms.iter().collect();
        rooms.sort_by(|a, b| a.room.code.cmp(&b.room.code));
        let hows = fish
            .iter()
            .map(|fish| {
                let to = |now: &&RoomNow| eligible(fish, &now.room, now.has_contact, &asked.at);
                rooms.iter().map(to).collect()
            })
            .collect();
        Sorted {
            asked,
            fish,
            rooms,
            hows,
        }
    }

    fn how(&self, fish: usize, room: usize) -> Option<How> {
        self.hows.get(fish)?.get(room)?.as_ref().ok().copied()
    }

    fn divisions(&self, weight: Weight) -> i64 {
        let whole = weight.units().checked_div(self.asked.division.units());
        whole.unwrap_or(0).max(0)
    }

    fn weight(&self, divisions: i64) -> Weight {
        Weight::from_units(divisions.saturating_mul(self.asked.division.units()))
    }

    fn on_ice(&self, fish: usize) -> i64 {
        self.fish
            .get(fish)
            .map_or(0, |fish| self.divisions(fish.weight))
    }

    /// What is handed over of so many divisions on ice, rounded down to whole ones.
    fn handed_over(&self, divisions: i64, keeps_ppm: i64) -> i64 {
        let kept = i128::from(divisions).saturating_mul(i128::from(keeps_ppm));
        let kept = kept.checked_div(i128::from(WHOLE_PPM)).unwrap_or(0);
        i64::try_from(kept).unwrap_or(i64::MAX)
    }

    /// How many divisions on ice give at most so many handed over.
    fn before_dressing(&self, handed_over: i64, keeps_ppm: i64) -> i64 {
        let before = i128::from(handed_over).saturating_mul(i128::from(WHOLE_PPM));
        let before = before
            .checked_div(i128::from(keeps_ppm.max(1)))
            .unwrap_or(0);
        i64::try_from(before).unwrap_or(i64::MAX)
    }

    /// How few divisions on ice give at least so many handed over.
    fn to_fill(&self, handed_over: i64, keeps_ppm: i64) -> i64 {
        let before = self.before_dressing(handed_over, keeps_ppm);
        if self.handed_over(before, keeps_ppm) < handed_over {
            before.saturating_add(1)
        } else {
            before
        }
    }

    /// What dressing a fish for a room keeps; a million where it goes as it is, or where
    /// nobody set a figure.
    fn keeps_ppm(&self, fish: usize, how: How) -> i64 {
        let row = self.dressing(fish, how.dress);
        row.map_or(WHOLE_PPM, |row| row.keeps_ppm)
    }

    fn dressing(&self, fish: usize, to: Option<Presentation>) -> Option<&DressingYield> {
        let (fish, to) = (self.fish.get(fish)?, to?);
        let rows = &self.asked.at.judging.dressings;
        rows.iter().find(|row| {
            row.species == fish.species.code && row.from == fish.presentation && row.to == to
        })
    }

    /// What a room still takes, divisions handed over.
    fn takes(&self, room: usize) -> i64 {
        self.rooms.get(room).map_or(0, |now| {
            let left = now
                .room
                .weight
                .weight
                .units()
                .saturating_sub(now.used.units());
            self.divisions(Weight::from_units(left.max(0)))
        })
    }

    /// What of it is promised still.
    fn promised(&self, room: usize) -> i64 {
        self.rooms.get(room).map_or(0, |now| {
            let promised = now.room.promised.as_ref().map_or(0, |of| of.weight.units());
            let left = promised.saturating_sub(now.used.units()).max(0);
            self.divisions(Weight::from_units(left))
                .min(self.takes(room))
        })
    }

    /// Solves it, room that ready fish leaves given to fish to be dressed, drops that
    /// are too small dropped.
    fn solve(&self) -> Result<Solved, NoPlan> {
        let pinned = self.pinned()?;
        let mut shut: Vec<usize> = Vec::new();
        let mut tidied = Vec::new();
        loop {
            let (doors, problem, allotted) = self.settled(&pinned, &shut)?;
            let joined = problem.tidy(&allotted, TIDYING_MINOR.saturating_mul(FINE_OF_MINOR))?;
            let plan = self.written(&doors, &joined.plan, &pinned);
            let Some((room, planned)) = self.too_small(&plan) else {
                let mut plan = plan;
                for join in &joined.joins {
                    tidied.push(self.said_of_join(join, &doors));
                }
                plan.tidied = tidied;
                return Ok(Solved {
                    plan,
                    doors,
                    problem,
                    pinned,
                });
            };
            let now = self.rooms.get(room);
            tidied.push(format!(
                "Nothing goes to {}: {} would have, and a drop is worth the drive from {}.",
                now.map_or("", |now| now.room.name.as_str()),
                self.shown(planned),
                self.shown(now.map_or(Weight::ZERO, |now| now.room.least_drop())),
            ));
            shut.push(room);
        }
    }

    /// The least drop that is too small, by weight and then code; what was promised or
    /// pinned is driven however little it is.
    fn too_small(&self, plan: &Plan) -> Option<(usize, Weight)> {
        let small = plan.rooms.iter().enumerate().filter(|(at, filled)| {
            let now = self.rooms.get(*at);
            let least = now.map_or(Weight::ZERO, |now| now.room.least_drop());
            let pinned = plan
                .lines
                .iter()
                .any(|line| line.pinned && line.room == filled.room);
            !filled.planned.is_zero()
                && filled.planned < least
                && filled.promised.is_zero()
                && !pinned
        });
        small
            .map(|(at, filled)| (at, filled.planned))
            .min_by_key(|(at, planned)| (*planned, *at))
    }

    /// What people pinned, in whole divisions.
    fn pinned(&self) -> Result<Vec<Pinned>, NoPlan> {
        let mut pinned: Vec<Pinned> = Vec::new();
        for choice in &self.asked.choices {
            let found = self.fish.iter().position(|fish| fish.part == choice.part);
            let fish = found.ok_or(NoPlan::NoSuchPart(choice.part))?;
            let found = self
                .rooms
                .iter()
                .position(|now| now.room.code == choice.room);
            let room = found.ok_or_else(|| NoPlan::NoSuchRoom(choice.room.clone()))?;
            if choice.kind != ChoiceKind::Pin {
                continue;
            }
            let how = match self.hows.get(fish).and_then(|to| to.get(room)) {
                Some(Ok(how)) => *how,
                Some(Err(why)) => {
                    // The first that keeps somebody from being hurt says most.
                    let says = why.iter().find(|why| why.rule.is_safety()).or(why.first());
                    return Err(NoPlan::Refused {
                        part: choice.part,
                        room: choice.room.clone(),
                        rule: says.map_or(super::eligible::Rule::Form, |why| why.rule),
                        text: says.map_or_else(String::new, |why| why.text.clone()),
                    });
                }
                None => return Err(NoPlan::NoSuchPart(choice.part)),
            };
            let before: i64 = pinned.iter().filter(|pin| pin.fish == fish).fold(0, add);
            let there = self.on_ice(fish).saturating_sub(before);
            let divisions = match &choice.weight {
                None => there,
                Some(reading) => self.divisions(reading.weight),
            };
            if divisions > there {
                return Err(NoPlan::PinnedTooMuch {
                    part: choice.part,
                    asked: self.shown(self.weight(divisions)),
                    there: self.shown(self.weight(there)),
                });
            }
            let keeps = self.keeps_ppm(fish, how);
            let before = pinned
                .iter()
                .filter(|pin| pin.room == room)
                .fold(0, |sum: i64, pin| {
                    let keeps = self
                        .how(pin.fish, room)
                        .map_or(WHOLE_PPM, |how| self.keeps_ppm(pin.fish, how));
                    sum.saturating_add(self.handed_over(pin.divisions, keeps))
                });
            let takes = self.takes(room).saturating_sub(before);
            let handed_over = self.handed_over(divisions, keeps);
            if handed_over > takes {
                return Err(NoPlan::PinnedBeyondRoom {
                    room: choice.room.clone(),
                    asked: self.shown(self.weight(handed_over)),
                    takes: self.shown(self.weight(takes)),
                });
            }
            pinned.push(Pinned {
                fish,
                room,
                divisions,
            });
        }
        Ok(pinned)
    }

    fn is_forbidden(&self, fish: usize, room: usize) -> bool {
        let (Some(fish), Some(now)) = (self.fish.get(fish), self.rooms.get(room)) else {
            return true;
        };
        self.asked.choices.iter().any(|choice| {
            choice.kind == ChoiceKind::Forbid
                && choice.part == fish.part
                && choice.room == now.room.code
        })
    }

    /// The doors as they settle: what ready fish leaves of its door goes to the other.
    fn settled(
        &self,
        pinned: &[Pinned],
        shut: &[usize],
    ) -> Result<(Vec<Door>, Problem, Allotted), NoPlan> {
        let mut ready: BTreeMap<usize, i64> = BTreeMap::new();
        loop {
            let doors = self.doors(pinned, shut, &ready);
            let problem = self.problem(&doors, pinned)?;
            let allotted = problem.solve();
            let mut changed = false;
            for (at, door) in doors.iter().enumerate() {
                let has_other = doors
                    .iter()
                    .any(|other| other.room == door.room && other.dresses);
                if door.dresses || !has_other {
                    continue;
                }
                let into = allotted.lines.iter().filter(|line| line.room == at);
                let filled = into.fold(0_i64, |sum, line| sum.saturating_add(line.divisions));
                if filled < door.capacity {
                    ready.insert(door.room, filled);
                    changed = true;
                }
            }
            if !changed {
                return Ok((doors, problem, allotted));
            }
        }
    }

    /// Every way into every room that is not shut, with what is pinned taken off.
    fn doors(&self, pinned: &[Pinned], shut: &[usize], ready: &BTreeMap<usize, i64>) -> Vec<Door> {
        let mut doors = Vec::new();
        for room in (0..self.rooms.len()).filter(|room| !shut.contains(room)) {
            let pins = pinned.iter().filter(|pin| pin.room == room);
            let handed_over = pins.fold(0_i64, |sum, pin| {
                let how = self.how(pin.fish, room);
                let keeps = how.map_or(WHOLE_PPM, |how| self.keeps_ppm(pin.fish, how));
                sum.saturating_add(self.handed_over(pin.divisions, keeps))
            });
            let takes = self.takes(room).saturating_sub(handed_over).max(0);
            let promised = self
                .promised(room)
                .saturating_sub(handed_over)
                .max(0)
                .min(takes);
            let mut could_come = 0_i64;
            let mut keeps: Option<i64> = None;
            for fish in 0..self.fish.len() {
                let Some(how) = self
                    .how(fish, room)
                    .filter(|_| !self.is_forbidden(fish, room))
                else {
                    continue;
                };
                match how.dress {
                    None => could_come = could_come.saturating_add(self.on_ice(fish)),
                    Some(_) => keeps = keeps.max(Some(self.keeps_ppm(fish, how))),
                }
            }
            let first = match keeps {
                None => takes,
                Some(_) => ready
                    .get(&room)
                    .copied()
                    .unwrap_or(takes)
                    .min(could_come)
                    .min(takes),
            };
            let first_promised = promised.min(first);
            if could_come > 0 {
                doors.push(Door {
                    room,
                    dresses: false,
                    keeps_ppm: WHOLE_PPM,
                    capacity: first,
                    committed: first_promised,
                });
            }
            if let Some(keeps_ppm) = keeps {
                let rest = if could_come > 0 {
                    (
                        takes.saturating_sub(first),
                        promised.saturating_sub(first_promised),
                    )
                } else {
                    (takes, promised)
                };
                doors.push(Door {
                    room,
                    dresses: true,
                    keeps_ppm,
                    capacity: self.before_dressing(rest.0, keeps_ppm),
                    committed: self
                        .to_fill(rest.1, keeps_ppm)
                        .min(self.before_dressing(rest.0, keeps_ppm)),
                });
            }
        }
        doors
    }

    fn problem(&self, doors: &[Door], pinned: &[Pinned]) -> Result<Problem, NoPlan> {
        let supplies: Vec<Supply<PartId>> = self
            .fish
            .iter()
            .enumerate()
            .map(|(at, fish)| {
                let taken = pinned.iter().filter(|pin| pin.fish == at).fold(0, add);
                let age_us = match fish.harvested_us {
                    0 => 0,
                    caught_us => self.asked.at.now_us.saturating_sub(caught_us),
                };
                Supply {
                    id: fish.part,
                    divisions: self.on_ice(at).saturating_sub(taken),
                    age: age_us.div_euclid(MINUTE_US).clamp(0, allot::AGE_MOST),
                }
            })
            .collect();
        let rooms: Vec<allot::Room<(String, bool)>> = doors
            .iter()
            .map(|door| {
                let code = self.rooms.get(door.room).map(|now| now.room.code.clone());
                allot::Room {
                    id: (code.unwrap_or_default(), door.dresses),
                    committed: door.committed,
                    capacity: door.capacity,
                }
            })
            .collect();
        let value = |fish: usize, door: usize| {
            let door = doors.get(door)?;
            let how = self.how(fish, door.room)?;
            let goes = how.dress.is_some() == door.dresses && !self.is_forbidden(fish, door.room);
            goes.then(|| self.value(fish, door.room, how))
        };
        Ok(Problem::new(&supplies, &rooms, value)?)
    }

    /// What one division on ice brings, net of handling and dressing, in 1e-8 of the
    /// currency unit.
    fn value(&self, fish: usize, room: usize, how: How) -> i64 {
        let (Some(of_fish), Some(now)) = (self.fish.get(fish), self.rooms.get(room)) else {
            return 0;
        };
        let division = i128::from(self.asked.division.units());
        let fine = |price: UnitPrice| {
            let per = i128::from(price.per().whole_units().unwrap_or(1));
            let e8 = i128::from(price.e4()).saturating_mul(10_000);
            half_up(e8.saturating_mul(division), per)
        };
        let of = |price: Option<UnitPrice>| i128::from(price.and_then(fine).unwrap_or(0));
        let keeps = i128::from(self.keeps_ppm(fish, how));
        let paid = of(now.room.price).saturating_sub(of(now.room.handling));
        let paid = half_up(paid.saturating_mul(keeps), i128::from(WHOLE_PPM)).unwrap_or(0);
        let mut value = i128::from(paid);
        if now.room.kind == RoomKind::Table {
            value = value.saturating_add(self.at_the_table(of_fish, &now.room, division));
        }
        if how.dress.is_some() {
            value = value.saturating_sub(self.dressing_cost(fish, how, division));
        }
        i64::try_from(value).unwrap_or(0)
    }

    /// What dressing one division costs: minutes at the hour's wage where they are set,
    /// else the site's price of dressing.
    fn dressing_cost(&self, fish: usize, how: How, division: i128) -> i128 {
        let at = &self.asked.at;
        let pound = i128::from(WeightUnit::Lb.whole_units().unwrap_or(1));
        match self.dressing(fish, how.dress) {
            Some(row) => {
                // Minor units are 1e6 in 1e-8, an hour is 6000 hundredths of a minute.
                let wage = i128::from(at.judging.wage_per_hour(at.currency).minor());
                let fine = wage
                    .saturating_mul(i128::from(FINE_OF_MINOR))
                    .saturating_mul(i128::from(row.minutes_per_lb_e2))
                    .saturating_mul(division);
                i128::from(half_up(fine, pound.saturating_mul(6_000)).unwrap_or(0))
            }
            None => at.judging.dressing_cost.map_or(0, |price| {
                let per = i128::from(price.per().whole_units().unwrap_or(1));
                let e8 = i128::from(price.e4()).saturating_mul(10_000);
                i128::from(half_up(e8.saturating_mul(division), per).unwrap_or(0))
            }),
        }
    }

    /// What a division brings when it is cut: by cuts on record of the piece weight
    /// nearest to it, else by common practice.
    fn at_the_table(&self, fish: &Fish, room: &Room, division: i128) -> i128 {
        let at = &self.asked.at;
        let prices = at
            .judging
            .table_prices(&fish.species.code, &room.specification, at.currency);
        let Some(prices) = prices else { return 0 };
        let piece = fish.piece.unwrap_or(COMMON_PIECE);
        let apart = |other: Weight| other.units().abs_diff(piece.units());
        let on_record = self
            .asked
            .cutting
            .iter()
            .filter(|row| {
                row.species == fish.species.code && row.specification == room.specification
            })
            .min_by_key(|row| apart(row.figures.piece));
        let common = COMMON_PRACTICE.iter().min_by_key(|row| apart(row.piece));
        let figures = on_record.map(|row| &row.figures).or(common);
        let weighed = figures.and_then(|figures| {
            let figures = AtTheTable { piece, ..*figures };
            small_fish::weigh(&figures, &prices, WeightUnit::Lb)
        });
        let e4 = weighed.map_or(0, |weighed| weighed.cut_e4);
        let pound = i128::from(WeightUnit::Lb.whole_units().unwrap_or(1));
        let e8 = i128::from(e4)
            .saturating_mul(10_000)
            .saturating_mul(division);
        i128::from(half_up(e8, pound).unwrap_or(0))
    }

    /// The plan as people read it.
    fn written(&self, doors: &[Door], allotted: &Allotted, pinned: &[Pinned]) -> Plan {
        let mut lines = Vec::new();
        let free = allotted.lines.iter().filter_map(|line| {
            let door = doors.get(line.room)?;
            Some((line.supply, door.room, line.divisions, false))
        });
        let pins = pinned
            .iter()
            .map(|pin| (pin.fish, pin.room, pin.divisions, true));
        for (fish, room, divisions, is_pinned) in pins.chain(free).filter(|line| line.2 > 0) {
            let (Some(of), Some(now), Some(how)) = (
                self.fish.get(fish),
                self.rooms.get(room),
                self.how(fish, room),
            ) else {
                continue;
            };
            let fine =
                i128::from(self.value(fish, room, how)).saturating_mul(i128::from(divisions));
            lines.push(PlanLine {
                part: of.part,
                room: now.room.code.clone(),
                room_name: now.room.name.clone(),
                kind: now.room.kind,
                party: now.room.party.clone(),
                weight: self.weight(divisions),
                delivered: self.weight(self.handed_over(divisions, self.keeps_ppm(fish, how))),
                dress: how.dress,
                net_minor: half_up(fine, i128::from(FINE_OF_MINOR)).unwrap_or(0),
                leaves_us: how.leaves_us,
                pinned: is_pinned,
            });
        }
        lines.sort_by(|a, b| (&a.room, a.part, !a.pinned).cmp(&(&b.room, b.part, !b.pinned)));
        let sum = |lines: &mut dyn Iterator<Item = &PlanLine>, of: fn(&PlanLine) -> Weight| {
            lines.map(of).sum::<Weight>()
        };
        let parts = self.fish.iter().enumerate().map(|(at, fish)| {
            let goes = sum(
                &mut lines.iter().filter(|line| line.part == fish.part),
                |line| line.weight,
            );
            let weight = self.weight(self.on_ice(at));
            let left = Weight::from_units(weight.units().saturating_sub(goes.units()));
            PlanPart {
                part: fish.part,
                species: fish.species.code.clone(),
                presentation: fish.presentation,
                supplier: fish.supplier.clone(),
                harvested_us: fish.harvested_us,
                weight,
                left,
                why_left: if left.is_zero() {
                    String::new()
                } else {
                    self.why_left(at)
                },
                next_best: None,
                refused: self.refused(at),
            }
        });
        let parts: Vec<PlanPart> = parts.collect();
        let rooms = self.rooms.iter().enumerate().map(|(at, now)| PlanRoom {
            room: now.room.code.clone(),
            name: now.room.name.clone(),
            kind: now.room.kind,
            party: now.room.party.clone(),
            weight: self.weight(self.takes(at)),
            promised: self.weight(self.promised(at)),
            planned: sum(
                &mut lines.iter().filter(|line| line.room == now.room.code),
                |line| line.delivered,
            ),
            one_more: None,
        });
        let rooms: Vec<PlanRoom> = rooms.collect();
        let result = Change {
            promised: rooms
                .iter()
                .map(|room| room.planned.min(room.promised))
                .sum(),
            kept: lines.iter().map(|line| line.weight).sum(),
            money_minor: lines
                .iter()
                .fold(0, |sum: i64, line| sum.saturating_add(line.net_minor)),
        };
        Plan {
            remarks: self.remarks(&lines),
            lines,
            parts,
            rooms,
            result,
            tidied: Vec::new(),
            choices: Vec::new(),
        }
    }

    fn refused(&self, fish: usize) -> Vec<(String, Vec<WhyNot>)> {
        let to = self.hows.get(fish).into_iter().flatten();
        let rooms = self.rooms.iter().zip(to);
        rooms
            .filter_map(|(now, how)| {
                let why = how.as_ref().err()?;
                Some((now.room.code.clone(), why.clone()))
            })
            .collect()
    }

    /// Why some of a part found no place.
    fn why_left(&self, fish: usize) -> String {
        let to: Vec<_> = self.hows.get(fish).into_iter().flatten().collect();
        if to.is_empty() {
            return "The site has no room for small fish on file.".to_owned();
        }
        if to.iter().any(|how| how.is_ok()) {
            return "Every room that may take it is full.".to_owned();
        }
        // What keeps it from every mouth says most; else the commonest reason.
        let whys = || to.iter().filter_map(|how| how.as_ref().err()).flatten();
        let mut by_rule: BTreeMap<_, (usize, &str)> = BTreeMap::new();
        for why in whys() {
            let (n, _) = by_rule.entry(why.rule).or_insert((0, &why.text));
            *n = n.saturating_add(1);
        }
        let most = by_rule
            .iter()
            .max_by_key(|(rule, (n, _))| (rule.is_safety(), *n, std::cmp::Reverse(**rule)));
        most.map_or_else(String::new, |(_, (_, text))| {
            format!("No room may take it: it {text}.")
        })
    }

    fn remarks(&self, lines: &[PlanLine]) -> Vec<String> {
        let mut remarks = Vec::new();
        for (at, fish) in self.fish.iter().enumerate() {
            let dressed = lines
                .iter()
                .find(|line| line.part == fish.part && line.dress.is_some());
            let Some(to) = dressed.and_then(|line| line.dress) else {
                continue;
            };
            if self.dressing(at, Some(to)).is_none() {
                let says = format!(
                    "What dressing {} from {} to {} keeps is not set: it is counted at its weight \
                     before dressing.",
                    fish.species.name,
                    fish.presentation.word(),
                    to.word()
                );
                if !remarks.contains(&says) {
                    remarks.push(says);
                }
            }
        }
        remarks
    }

    fn said_of_join(&self, join: &allot::tidy::Join, doors: &[Door]) -> String {
        let name = |door: usize| {
            let room = doors.get(door).and_then(|door| self.rooms.get(door.room));
            room.map_or("", |now| now.room.name.as_str())
        };
        let part = self.fish.get(join.supply).map(|fish| fish.part.to_string());
        let minor = half_up(i128::from(join.cost), i128::from(FINE_OF_MINOR)).unwrap_or(0);
        format!(
            "{} of {} goes to {} with the rest of it and not to {}: it saves a drop and costs {}.",
            self.shown(self.weight(join.divisions)),
            part.unwrap_or_default(),
            name(join.to),
            name(join.from),
            Money::new(minor, self.asked.at.currency),
        )
    }

    fn shown(&self, weight: Weight) -> String {
        let unit = self.asked.at.unit;
        format!("{} {}", weight.shown(unit), unit.symbol())
    }

    /// Where a part would go if it could not go where it goes, and what that changes.
    fn next_best(&self, part: &PlanPart, solved: &Solved) -> Result<Option<NextBest>, NoPlan> {
        let Some(fish) = self.fish.iter().position(|fish| fish.part == part.part) else {
            return Ok(None);
        };
        let goes = solved
            .plan
            .lines
            .iter()
            .filter(|line| line.part == part.part && !line.pinned);
        let goes: Vec<&str> = goes.map(|line| line.room.as_str()).collect();
        if goes.is_empty() {
            return Ok(None);
        }
        let mut problem = solved.problem.clone();
        for (at, door) in solved.doors.iter().enumerate() {
            let code = self.rooms.get(door.room).map(|now| now.room.code.as_str());
            if code.is_some_and(|code| goes.contains(&code)) {
                problem = problem.with_forbidden(fish, at)?;
            }
        }
        let allotted = problem.solve();
        let other = self.written(&solved.doors, &allotted, &solved.pinned);
        let mut there: Vec<&PlanLine> = other
            .lines
            .iter()
            .filter(|line| line.part == part.part && !line.pinned)
            .collect();
        there.sort_by(|a, b| b.weight.cmp(&a.weight).then(a.room.cmp(&b.room)));
        Ok(Some(NextBest {
            room: there
                .first()
                .map_or_else(String::new, |line| line.room.clone()),
            change: other.result.less(self.untidied(solved)),
        }))
    }

    /// What the plan comes to before it is tidied: what another solution is held against.
    fn untidied(&self, solved: &Solved) -> Change {
        let allotted = solved.problem.solve();
        self.written(&solved.doors, &allotted, &solved.pinned)
            .result
    }

    /// What one more pound or kilogram of room would bring.
    fn one_more(&self, room: usize, solved: &Solved) -> Result<Option<Change>, NoPlan> {
        let of_room = |door: &Door| door.room == room;
        // Where both doors are there, more room is for fish to be dressed: the other has
        // all that could come, or takes no more.
        let found = solved.doors.iter().rposition(of_room);
        let Some((at, door)) = found.and_then(|at| Some((at, solved.doors.get(at)?))) else {
            return Ok(None);
        };
        let unit = self.asked.at.unit.of_price();
        let one = Weight::from_units(unit.whole_units().unwrap_or(0));
        let more = self.before_dressing(self.divisions(one), door.keeps_ppm);
        let problem = solved.problem.with_more_room(at, more)?;
        let allotted = problem.solve();
        let other = self.written(&solved.doors, &allotted, &solved.pinned);
        Ok(Some(other.result.less(self.untidied(solved))))
    }
}

fn add(sum: i64, pin: &Pinned) -> i64 {
    sum.saturating_add(pin.divisions)
}

const MINUTE_US: i64 = 60_000_000;

/// A fish that nobody counted: half a pound, common practice.
const COMMON_PIECE: Weight = Weight::from_units(22_679_618_500);

/// Yield and minutes of small whole fish where no cut is on record: common practice, no
/// source. 0.25, 0.35 and 0.50 lb.
const COMMON_PRACTICE: [AtTheTable; 3] = [
    common(11_339_809_250, 2_000, 150),
    common(15_875_732_950, 2_300, 160),
    common(22_679_618_500, 2_600, 170),
];

const fn common(units: i64, yield_e2: i64, minutes_e2: i64) -> AtTheTable {
    AtTheTable {
        piece: Weight::from_units(units),
        yield_e2,
        yield_u_e2: small_fish::YIELD_OF_ONE_CUT_E2,
        minutes_e2,
        minutes_u_e2: 20,
    }
}
