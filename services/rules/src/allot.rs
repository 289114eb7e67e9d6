//! A place for every pound of small fish: who gets what of which lot.
//!
//! **Supplies** are parts of lots, **rooms** are what can take fish: an order, a
//! recipient, the freezer, the table, the by-product bin. Both are counted in whole
//! divisions of the scale. A room has a capacity, and a first part of it may be
//! committed: standing orders, the promised pick-up. Which supply may go to which
//! room, and what one division then brings net of handling, says the caller; what is
//! not safe or not lawful is no pair and never a price. What finds no room is left.
//!
//! Of all plans that the capacities allow, [`Problem::solve`] gives the one that is
//! best in this order, each line only among the plans that are equal in those above:
//!
//! 1. most of what is committed is filled,
//! 2. most is kept: placed in any room,
//! 3. most money, the sum of each division's value,
//! 4. oldest first: the sum of the placed divisions' ages,
//! 5. small ids together: the sum of the products of the ranks of supply and room, where
//!    the smallest id ranks highest,
//! 6. the first room by id has most of the first supply by id, then most of the second,
//!    and so on; then the second room.
//!
//! So a soup kitchen that was promised 4 lb has them before the market that pays thrice as
//! much; fish goes to compost at a cost before it is left; where two lots bring the same,
//! the older one goes. Lines 5 and 6 mean nothing to a buyer but this: the same lots and
//! rooms give the same plan, today and on another machine.
//!
//! Line 6 compares plans pair by pair, so two plans that are equal in it are the
//! same plan: there is always exactly one best, and it depends on ids, never on the order
//! in which supplies and rooms are given. Line 5 decides nearly always and cheaply; line 6
//! is for where sums of products happen to be equal.
//!
//! It is a transportation problem, whose best plans are whole numbers by themselves, so
//! nothing is rounded and no float is used. How it is solved stands in `flow`, what is
//! done for line 6 in `ties`. A plan's splits are joined in [`tidy`]. Which pairs are
//! allowed, which drops are too small to drive, and what is said to whom, is decided
//! elsewhere.
//!
//! What a choice costs is the difference of two plans ([`Score::less`]): the best one, and
//! the best one where the choice is pinned, forbidden, or a room takes more.

mod flow;
pub mod tidy;
mod ties;

#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

/// So many supplies at most.
pub const SUPPLIES_MOST: usize = 100_000;
/// So many rooms at most.
pub const ROOMS_MOST: usize = 500;
/// All supplies have so many divisions at most.
pub const DIVISIONS_MOST: i64 = 400_000_000;
/// What a division brings or costs at most.
pub const VALUE_MOST: i64 = 10_000_000_000;
/// The age of a supply, on either side of zero: minutes are fine enough for years.
pub const AGE_MOST: i64 = 10_000_000;

/// The value of a pair that is not allowed; a price may be added.
const NONE: i64 = i64::MIN / 2;

/// A part of a lot that wants a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supply<S> {
    /// Whose order decides between equals; the smaller goes first.
    pub id: S,
    /// What there is of it, in divisions.
    pub divisions: i64,
    /// Larger is older; any unit, the same for all.
    pub age: i64,
}

/// Something that takes fish.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Room<R> {
    /// Whose order decides between equals; the smaller goes first.
    pub id: R,
    /// The first divisions of the capacity, which are promised.
    pub committed: i64,
    /// What it takes at most, in divisions.
    pub capacity: i64,
}

/// Why a problem is none. Supplies and rooms are counted from zero as they were given.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unallottable {
    /// Beyond [`SUPPLIES_MOST`].
    #[error("{supplies} supplies, and {SUPPLIES_MOST} is the most")]
    TooManySupplies {
        /// As given.
        supplies: usize,
    },
    /// Beyond [`ROOMS_MOST`].
    #[error("{rooms} rooms, and {ROOMS_MOST} is the most")]
    TooManyRooms {
        /// As given.
        rooms: usize,
    },
    /// Two supplies of one id.
    #[error("supplies {first} and {second} have one id")]
    SupplyTwice {
        /// The one.
        first: usize,
        /// The other.
        second: usize,
    },
    /// Two rooms of one id.
    #[error("rooms {first} and {second} have one id")]
    RoomTwice {
        /// The one.
        first: usize,
        /// The other.
        second: usize,
    },
    /// There is less than nothing of a supply.
    #[error("supply {supply} has {divisions} divisions")]
    DivisionsBelowZero {
        /// Which.
        supply: usize,
        /// As given.
        divisions: i64,
    },
    /// The divisions up to this supply add up beyond [`DIVISIONS_MOST`].
    #[error("up to supply {supply} there are more than {DIVISIONS_MOST} divisions")]
    TooManyDivisions {
        /// Where the sum goes beyond.
        supply: usize,
    },
    /// Beyond [`AGE_MOST`].
    #[error("supply {supply} has age {age}, and {AGE_MOST} is the most")]
    AgeTooLarge {
        /// Which.
        supply: usize,
        /// As given.
        age: i64,
    },
    /// A room takes less than nothing.
    #[error("room {room} has capacity {capacity}")]
    CapacityBelowZero {
        /// Which.
        room: usize,
        /// As given.
        capacity: i64,
    },
    /// Less than nothing is promised.
    #[error("room {room} has {committed} committed")]
    CommittedBelowZero {
        /// Which.
        room: usize,
        /// As given.
        committed: i64,
    },
    /// More is promised than there is room for.
    #[error("room {room} has {committed} committed of capacity {capacity}")]
    CommittedOverCapacity {
        /// Which.
        room: usize,
        /// As given.
        committed: i64,
        /// As given.
        capacity: i64,
    },
    /// Beyond [`VALUE_MOST`].
    #[error("supply {supply} in room {room} has value {value}, and {VALUE_MOST} is the most")]
    ValueTooLarge {
        /// Which.
        supply: usize,
        /// Where.
        room: usize,
        /// As given.
        value: i64,
    },
    /// A supply that was not given.
    #[error("there is no supply {supply}")]
    NoSuchSupply {
        /// As asked.
        supply: usize,
    },
    /// A room that was not given.
    #[error("there is no room {room}")]
    NoSuchRoom {
        /// As asked.
        room: usize,
    },
    /// A pin of less than nothing.
    #[error("{divisions} divisions of supply {supply} pinned to room {room}")]
    PinBelowZero {
        /// Which.
        supply: usize,
        /// Where.
        room: usize,
        /// As asked.
        divisions: i64,
    },
    /// A pin where the supply may not go.
    #[error("supply {supply} is pinned to room {room}, where it may not go")]
    PinNotAllowed {
        /// Which.
        supply: usize,
        /// Where.
        room: usize,
    },
    /// The pins of a supply are more than there is of it.
    #[error("{pinned} divisions of supply {supply} are pinned, and it has {divisions}")]
    PinsOverSupply {
        /// Which.
        supply: usize,
        /// All of them.
        pinned: i64,
        /// What there is.
        divisions: i64,
    },
    /// The pins of a room are more than it takes.
    #[error("{pinned} divisions are pinned to room {room}, which takes {capacity}")]
    PinsOverCapacity {
        /// Which.
        room: usize,
        /// All of them.
        pinned: i64,
        /// What it takes.
        capacity: i64,
    },
    /// More room for less than nothing.
    #[error("{divisions} more divisions of room {room}")]
    MoreBelowZero {
        /// Which.
        room: usize,
        /// As asked.
        divisions: i64,
    },
}

/// What a plan is worth; plans are compared from the first field to the last.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Score {
    /// Divisions filled of what is committed.
    pub committed: i64,
    /// Divisions placed in any room.
    pub kept: i64,
    /// Sum of the divisions' values.
    pub money: i64,
    /// Sum of the placed divisions' ages.
    pub age: i64,
    /// Sum of the products of ranks.
    pub ids: i64,
}

impl Score {
    /// How far it is from another, field by field: what a change costs is the first
    /// plan's score less the changed one's.
    #[must_use]
    pub fn less(self, other: Score) -> Score {
        // Never at an end: sums of at most 4e8 divisions of at most 1e10 each.
        Score {
            committed: self.committed.saturating_sub(other.committed),
            kept: self.kept.saturating_sub(other.kept),
            money: self.money.saturating_sub(other.money),
            age: self.age.saturating_sub(other.age),
            ids: self.ids.saturating_sub(other.ids),
        }
    }
}

/// So much of a supply goes to a room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Which supply, counted from zero as given.
    pub supply: usize,
    /// Which room, counted from zero as given.
    pub room: usize,
    /// How much; above zero.
    pub divisions: i64,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Allotted {
    /// In order of the supplies' ids, then the rooms'; each pair once.
    pub lines: Vec<Line>,
    /// What found no room, for each supply as given.
    pub left: Vec<i64>,
    /// What it is worth.
    pub score: Score,
}

/// What is pinned of a supply to a room, and what a division of it is worth there.
#[derive(Debug, Clone, Copy)]
struct Pin {
    divisions: i64,
    value: i64,
}

/// Supplies and rooms in order of their ids.
///
/// Within, a supply and a room are their place in that order. What a method is asked
/// about is counted as it was given, and so is every answer.
#[derive(Debug, Clone)]
pub struct Problem {
    /// As given, by place.
    supplies: Vec<usize>,
    rooms: Vec<usize>,
    /// Place, as given.
    supply_places: Vec<usize>,
    room_places: Vec<usize>,
    divisions: Vec<i64>,
    ages: Vec<i64>,
    committed: Vec<i64>,
    capacity: Vec<i64>,
    /// A row for each supply: its rooms, and what it is worth when left: 0.
    values: Vec<i64>,
    /// By places of supply and room.
    pins: BTreeMap<(usize, usize), Pin>,
}

impl Problem {
    /// `value` is asked once for each supply and room, by their places as given: what one
    /// division brings, in any one unit of money, or `None` where it may not go. What
    /// handling costs may make it negative; fish is kept all the same.
    ///
    /// # Errors
    /// What is below zero, twice, or beyond the bounds of this file.
    pub fn new<S: Ord, R: Ord>(
        supplies: &[Supply<S>],
        rooms: &[Room<R>],
        value: impl Fn(usize, usize) -> Option<i64>,
    ) -> Result<Problem, Unallottable> {
        if supplies.len() > SUPPLIES_MOST {
            let supplies = supplies.len();
            return Err(Unallottable::TooManySupplies { supplies });
        }
        if rooms.len() > ROOMS_MOST {
            let rooms = rooms.len();
            return Err(Unallottable::TooManyRooms { rooms });
        }
        check_supplies(supplies)?;
        check_rooms(rooms)?;
        let by_id = in_order(supplies, |supply| &supply.id)
            .map_err(|(first, second)| Unallottable::SupplyTwice { first, second })?;
        let rooms_by_id = in_order(rooms, |room| &room.id)
            .map_err(|(first, second)| Unallottable::RoomTwice { first, second })?;
        let mut values = Vec::with_capacity(by_id.len().saturating_mul(width(rooms.len())));
        for &supply in &by_id {
            for &room in &rooms_by_id {
                let value = value(supply, room);
                if let Some(value) = value.filter(|value| value.unsigned_abs() > bound(VALUE_MOST))
                {
                    return Err(Unallottable::ValueTooLarge {
                        supply,
                        room,
                        value,
                    });
                }
                values.push(value.unwrap_or(NONE));
            }
            values.push(0);
        }
        Ok(Problem {
            divisions: pick(supplies, &by_id, |supply| supply.divisions),
            ages: pick(supplies, &by_id, |supply| supply.age),
            committed: pick(rooms, &rooms_by_id, |room| room.committed),
            capacity: pick(rooms, &rooms_by_id, |room| room.capacity),
            supply_places: places(&by_id),
            room_places: places(&rooms_by_id),
            supplies: by_id,
            rooms: rooms_by_id,
            values,
            pins: BTreeMap::new(),
        })
    }

    /// The best plan.
    #[must_use]
    pub fn solve(&self) -> Allotted {
        self.told(&self.best())
    }

    /// The same where the supply may not go to the room.
    ///
    /// What was pinned there before stays pinned.
    ///
    /// # Errors
    /// A supply or room that is not there.
    pub fn with_forbidden(&self, supply: usize, room: usize) -> Result<Problem, Unallottable> {
        let (i, j) = (self.supply_place(supply)?, self.room_place(room)?);
        let mut changed = self.clone();
        changed.set_value(i, j, NONE);
        Ok(changed)
    }

    /// The same where at least so much of the supply goes to the room; what was pinned
    /// there before counts no more.
    ///
    /// # Errors
    /// A supply or room that is not there, a pair that is not allowed, or pins that are
    /// more than the supply has or the room takes.
    pub fn with_at_least(
        &self,
        supply: usize,
        room: usize,
        divisions: i64,
    ) -> Result<Problem, Unallottable> {
        let (i, j) = (self.supply_place(supply)?, self.room_place(room)?);
        if divisions < 0 {
            return Err(Unallottable::PinBelowZero {
                supply,
                room,
                divisions,
            });
        }
        let Some(value) = self.value(i, j) else {
            return Err(Unallottable::PinNotAllowed { supply, room });
        };
        let mut changed = self.clone();
        changed.pins.insert((i, j), Pin { divisions, value });
        changed.pins.retain(|_, pin| pin.divisions > 0);
        let pinned = changed.pinned(|(supply, _)| supply == i);
        let of_supply = at(&self.divisions, i);
        if pinned > of_supply {
            return Err(Unallottable::PinsOverSupply {
                supply,
                pinned,
                divisions: of_supply,
            });
        }
        let pinned = changed.pinned(|(_, room)| room == j);
        let capacity = at(&self.capacity, j);
        if pinned > capacity {
            return Err(Unallottable::PinsOverCapacity {
                room,
                pinned,
                capacity,
            });
        }
        Ok(changed)
    }

    /// The same where exactly so much of the supply goes to the room.
    ///
    /// # Errors
    /// As [`Problem::with_at_least`].
    pub fn with_exactly(
        &self,
        supply: usize,
        room: usize,
        divisions: i64,
    ) -> Result<Problem, Unallottable> {
        self.with_at_least(supply, room, divisions)?
            .with_forbidden(supply, room)
    }

    /// The same where the room takes so much more.
    ///
    /// # Errors
    /// A room that is not there, or less than nothing.
    pub fn with_more_room(&self, room: usize, divisions: i64) -> Result<Problem, Unallottable> {
        let j = self.room_place(room)?;
        if divisions < 0 {
            return Err(Unallottable::MoreBelowZero { room, divisions });
        }
        let mut changed = self.clone();
        if let Some(capacity) = changed.capacity.get_mut(j) {
            *capacity = capacity.saturating_add(divisions);
        }
        Ok(changed)
    }

    fn supply_place(&self, supply: usize) -> Result<usize, Unallottable> {
        let place = self.supply_places.get(supply).copied();
        place.ok_or(Unallottable::NoSuchSupply { supply })
    }

    fn room_place(&self, room: usize) -> Result<usize, Unallottable> {
        let place = self.room_places.get(room).copied();
        place.ok_or(Unallottable::NoSuchRoom { room })
    }

    /// What a division is worth there; `None` where it may not go.
    fn value(&self, i: usize, j: usize) -> Option<i64> {
        let cell = i.saturating_mul(width(self.rooms.len())).saturating_add(j);
        self.values.get(cell).copied().filter(|v| *v != NONE)
    }

    fn set_value(&mut self, i: usize, j: usize, value: i64) {
        let cell = i.saturating_mul(width(self.rooms.len())).saturating_add(j);
        if let Some(cell) = self.values.get_mut(cell) {
            *cell = value;
        }
    }

    /// What is pinned in all, of some pairs.
    fn pinned(&self, of: impl Fn((usize, usize)) -> bool) -> i64 {
        let pins = self.pins.iter().filter(|(pair, _)| of(**pair));
        pins.fold(0, |sum, (_, pin)| sum.saturating_add(pin.divisions))
    }

    /// What is pinned of a supply to a room.
    fn pin(&self, i: usize, j: usize) -> i64 {
        self.pins.get(&(i, j)).map_or(0, |pin| pin.divisions)
    }

    /// The best plan by places: of each supply its rooms in order, and how much.
    fn best(&self) -> Vec<BTreeMap<usize, i64>> {
        let mut divisions = self.divisions.clone();
        let mut committed = self.committed.clone();
        let mut capacity = self.capacity.clone();
        // What is pinned is placed already, and fills what is committed first.
        for (&(i, j), pin) in &self.pins {
            take(&mut divisions, i, pin.divisions);
            take(&mut capacity, j, pin.divisions);
            take(&mut committed, j, pin.divisions);
        }
        let mut plan = flow::best(&flow::Stated {
            divisions: &divisions,
            ages: &self.ages,
            committed: &committed,
            capacity: &capacity,
            values: &self.values,
        });
        for (&(i, j), pin) in &self.pins {
            if let Some(rooms) = plan.get_mut(i) {
                let there = rooms.entry(j).or_insert(0);
                *there = there.saturating_add(pin.divisions);
            }
        }
        plan
    }

    /// A plan by places as it is answered.
    fn told(&self, plan: &[BTreeMap<usize, i64>]) -> Allotted {
        let mut left = vec![0; self.supplies.len()];
        let mut lines = Vec::new();
        for (i, rooms) in plan.iter().enumerate() {
            let supply = place(&self.supplies, i);
            let placed = rooms.values().fold(0_i64, |sum, n| sum.saturating_add(*n));
            if let Some(left) = left.get_mut(supply) {
                *left = at(&self.divisions, i).saturating_sub(placed);
            }
            for (&j, &divisions) in rooms {
                lines.push(Line {
                    supply,
                    room: place(&self.rooms, j),
                    divisions,
                });
            }
        }
        Allotted {
            lines,
            left,
            score: self.score(plan),
        }
    }

    /// What a plan by places is worth. Within the bounds no sum comes near its end.
    fn score(&self, plan: &[BTreeMap<usize, i64>]) -> Score {
        let mut score = Score::default();
        let mut filled = vec![0_i64; self.rooms.len()];
        for (i, rooms) in plan.iter().enumerate() {
            for (&j, &divisions) in rooms {
                if let Some(filled) = filled.get_mut(j) {
                    *filled = filled.saturating_add(divisions);
                }
                let pin = self.pins.get(&(i, j)).map(|pin| pin.value);
                let value = pin.or_else(|| self.value(i, j)).unwrap_or(0);
                let ranks = rank(self.supplies.len(), i).saturating_mul(rank(self.rooms.len(), j));
                let add = |sum: i64, each: i64| sum.saturating_add(divisions.saturating_mul(each));
                score.kept = add(score.kept, 1);
                score.money = add(score.money, value);
                score.age = add(score.age, at(&self.ages, i));
                score.ids = add(score.ids, ranks);
            }
        }
        for (filled, committed) in filled.iter().zip(&self.committed) {
            score.committed = score.committed.saturating_add(*filled.min(committed));
        }
        score
    }

    /// The plan by places that was answered.
    fn read(&self, plan: &Allotted) -> Result<Vec<BTreeMap<usize, i64>>, Unallottable> {
        let mut rooms = vec![BTreeMap::new(); self.supplies.len()];
        for line in &plan.lines {
            let (i, j) = (self.supply_place(line.supply)?, self.room_place(line.room)?);
            if let Some(rooms) = rooms.get_mut(i) {
                rooms.insert(j, line.divisions);
            }
        }
        Ok(rooms)
    }
}

/// The best plan of these.
///
/// # Errors
/// As [`Problem::new`].
pub fn allot<S: Ord, R: Ord>(
    supplies: &[Supply<S>],
    rooms: &[Room<R>],
    value: impl Fn(usize, usize) -> Option<i64>,
) -> Result<Allotted, Unallottable> {
    Ok(Problem::new(supplies, rooms, value)?.solve())
}

fn check_supplies<S>(supplies: &[Supply<S>]) -> Result<(), Unallottable> {
    let mut all = 0_i64;
    for (n, supply) in supplies.iter().enumerate() {
        if supply.divisions < 0 {
            return Err(Unallottable::DivisionsBelowZero {
                supply: n,
                divisions: supply.divisions,
            });
        }
        all = all.saturating_add(supply.divisions);
        if all > DIVISIONS_MOST {
            return Err(Unallottable::TooManyDivisions { supply: n });
        }
        if supply.age.unsigned_abs() > bound(AGE_MOST) {
            return Err(Unallottable::AgeTooLarge {
                supply: n,
                age: supply.age,
            });
        }
    }
    Ok(())
}

fn check_rooms<R>(rooms: &[Room<R>]) -> Result<(), Unallottable> {
    for (n, room) in rooms.iter().enumerate() {
        let (committed, capacity) = (room.committed, room.capacity);
        if capacity < 0 {
            return Err(Unallottable::CapacityBelowZero { room: n, capacity });
        }
        if committed < 0 {
            return Err(Unallottable::CommittedBelowZero { room: n, committed });
        }
        if committed > capacity {
            return Err(Unallottable::CommittedOverCapacity {
                room: n,
                committed,
                capacity,
            });
        }
    }
    Ok(())
}

/// Places as given in order of ids, or two that have one id, as given.
fn in_order<'a, T, I: Ord + 'a>(
    items: &'a [T],
    id: impl Fn(&'a T) -> &'a I,
) -> Result<Vec<usize>, (usize, usize)> {
    let mut ids: Vec<(&I, usize)> = items.iter().map(id).zip(0..).collect();
    ids.sort_unstable();
    for pair in ids.windows(2) {
        if let [(first, a), (second, b)] = pair
            && first == second
        {
            return Err((*a, *b));
        }
    }
    Ok(ids.into_iter().map(|(_, n)| n).collect())
}

/// Where each stands in `order`.
fn places(order: &[usize]) -> Vec<usize> {
    let mut places = vec![0; order.len()];
    for (place, &given) in order.iter().enumerate() {
        if let Some(at) = places.get_mut(given) {
            *at = place;
        }
    }
    places
}

fn pick<T>(items: &[T], order: &[usize], what: impl Fn(&T) -> i64) -> Vec<i64> {
    let picked = order.iter().filter_map(|&n| items.get(n));
    picked.map(what).collect()
}

/// The first of `count` ranks highest, the last is 1.
fn rank(count: usize, place: usize) -> i64 {
    i64::try_from(count.saturating_sub(place)).unwrap_or(i64::MAX)
}

/// Cells of a row: the rooms, and being left.
fn width(rooms: usize) -> usize {
    rooms.saturating_add(1)
}

fn bound(most: i64) -> u64 {
    most.unsigned_abs()
}

fn at(of: &[i64], place: usize) -> i64 {
    of.get(place).copied().unwrap_or(0)
}

fn place(of: &[usize], place: usize) -> usize {
    of.get(place).copied().unwrap_or(0)
}

/// Takes away, down to zero.
fn take(of: &mut [i64], place: usize, divisions: i64) {
    if let Some(there) = of.get_mut(place) {
        *there = there.saturating_sub(divisions).max(0);
    }
}
