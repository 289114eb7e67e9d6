//! The best plan by cheapest chains of moves.
//!
//! First every supply lies where it is worth most, as if rooms had no walls. Then rooms
//! with too much are emptied one chain at a time: of supply a from this room to that, of
//! supply b from that room to the next, and so on to where something is missing, always
//! the chain that costs least. That is the method of successive shortest paths, and its
//! graph is small: the rooms, and the **ground** for what is left. From room to room
//! leads the supply that costs least to move, which a heap for each pair of rooms knows.
//!
//! Between ground and room there is a second way, which moves no supply: room that is
//! taken up, or freed again. What is committed counts as taken up from the start, so a
//! room with less than that misses something.
//!
//! The first five lines of what is best are one number of 128 bits, each line's unit
//! larger than all that the lines below it can make out along a chain that closes on
//! itself (a plan is best where no such chain gains). Lengths of rooms from the source
//! are kept as potentials, so that no way is ever negative; each is the difference of
//! two chains' lengths, and stays far within 128 bits.

#![cfg_attr(
    not(test),
    expect(
        clippy::arithmetic_side_effects,
        clippy::as_conversions,
        reason = "all numbers are bounded at the door, see the units; places fit 32 bits"
    )
)]

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use super::{AGE_MOST, NONE, ROOMS_MOST, SUPPLIES_MOST, VALUE_MOST, ties};

/// No way, or not yet reached.
pub(super) const FAR: i128 = i128::MAX;

/// Moves in a chain that closes: it meets no room twice.
const MOVES_MOST: i128 = ROOMS_MOST as i128 + 1;
const IDS_MOST: i128 = MOVES_MOST * (SUPPLIES_MOST * ROOMS_MOST) as i128;
/// One unit of age. A chain that closes meets the ground once, so it changes what is
/// left by one division at most each way.
const AGE: i128 = 2 * IDS_MOST + 1;
const AGES_MOST: i128 = 2 * AGE_MOST as i128 * AGE + IDS_MOST;
const MONEY: i128 = 2 * AGES_MOST + 1;
const MONEYS_MOST: i128 = 2 * MOVES_MOST * VALUE_MOST as i128 * MONEY + AGES_MOST;
/// One division kept.
const KEPT: i128 = 2 * MONEYS_MOST + 1;
/// One division filled of what is committed.
const COMMITTED: i128 = 2 * (KEPT + MONEYS_MOST) + 1;
// A hundred chains laid end to end are still far from the end.
const _: () = assert!(COMMITTED < i128::MAX / 1000);

/// A problem by places, without pins.
pub(super) struct Stated<'a> {
    pub(super) divisions: &'a [i64],
    pub(super) ages: &'a [i64],
    pub(super) committed: &'a [i64],
    pub(super) capacity: &'a [i64],
    /// A row for each supply: its rooms, and 0 for the ground.
    pub(super) values: &'a [i64],
}

impl Stated<'_> {
    pub(super) fn supplies(&self) -> usize {
        self.divisions.len()
    }

    /// The place of the ground, behind those of the rooms.
    pub(super) fn ground(&self) -> usize {
        self.capacity.len()
    }

    pub(super) fn width(&self) -> usize {
        self.ground() + 1
    }

    pub(super) fn value(&self, i: usize, j: usize) -> i64 {
        self.values[i * self.width() + j]
    }

    /// Whether the supply may lie there, and anything may.
    pub(super) fn may(&self, i: usize, j: usize) -> bool {
        j == self.ground() || (self.capacity[j] > 0 && self.value(i, j) != NONE)
    }

    /// What one division is worth there, in all five lines.
    pub(super) fn worth(&self, i: usize, j: usize) -> i128 {
        if j == self.ground() {
            return 0;
        }
        let ids = (self.supplies() - i) * (self.ground() - j);
        KEPT + i128::from(self.value(i, j)) * MONEY + i128::from(self.ages[i]) * AGE + ids as i128
    }
}

/// A way from one room to another.
#[derive(Clone, Copy)]
pub(super) enum Way {
    /// So much of a supply moves.
    Supply(usize),
    /// Room is taken up, or freed.
    Room,
}

/// In a heap the first is the cheapest to move; the second number names the supply.
type Move = Reverse<(i64, i32)>;

/// Where everything lies.
pub(super) struct Flow<'a> {
    pub(super) stated: &'a Stated<'a>,
    /// Of each supply where it lies, the ground among it, and how much; above zero.
    pub(super) lies: Vec<Vec<(u32, i64)>>,
    /// Of each room how much is taken up.
    pub(super) taken: Vec<i64>,
    /// By how much a room lies too full, or misses something (below zero).
    too_full: Vec<i64>,
    /// Of each room and the ground.
    pub(super) potential: Vec<i128>,
    /// Room and committed, at most as much as there are divisions.
    pub(super) capacity: Vec<i64>,
    pub(super) committed: Vec<i64>,
    ways: Ways,
}

/// The cheapest moves between each two rooms; a room's are worked out when first asked.
struct Ways {
    known: Vec<bool>,
    /// What came to a room before its moves were known.
    came: Vec<Vec<u32>>,
    heaps: Vec<BinaryHeap<Move>>,
    /// The top of each heap: its supply, and the cost of a division.
    supply: Vec<u32>,
    cost: Vec<i128>,
    /// Supplies by age, of equals the larger id first; and each one's place among them.
    by_age: Vec<u32>,
    age_place: Vec<i32>,
}

/// The best plan: of each supply the rooms, and how much; without what is left.
pub(super) fn best(stated: &Stated) -> Vec<BTreeMap<usize, i64>> {
    let mut flow = Flow::start(stated);
    let mut search = Search::of(stated.width());
    for room in 0..stated.width() {
        while flow.too_full[room] > 0 {
            let target = flow.shortest(room, &mut search);
            flow.push(room, target, &search);
        }
    }
    ties::break_them(&mut flow);
    let ground = stated.ground();
    let plan = flow.lies.iter().map(|lies| {
        let rooms = lies.iter().map(|&(room, n)| (room as usize, n));
        rooms.filter(|(room, _)| *room != ground).collect()
    });
    plan.collect()
}

impl<'a> Flow<'a> {
    fn start(stated: &'a Stated<'a>) -> Flow<'a> {
        let (ground, width) = (stated.ground(), stated.width());
        let all: i64 = stated.divisions.iter().sum();
        let at_most = |of: &[i64]| -> Vec<i64> { of.iter().map(|n| *n.min(&all)).collect() };
        let committed = at_most(stated.committed);
        let mut too_full: Vec<i64> = committed.iter().map(|n| -n).collect();
        too_full.push(committed.iter().sum::<i64>() - all);
        let mut lies = Vec::with_capacity(stated.supplies());
        let mut ways = Ways::of(stated);
        for (i, &divisions) in stated.divisions.iter().enumerate() {
            let rooms = (0..ground).filter(|j| stated.may(i, *j));
            // Money and ids alone differ between the rooms of one supply; of equals the
            // smaller id is worth more.
            let dearest = rooms.max_by_key(|j| (stated.value(i, *j), Reverse(*j)));
            let room = dearest.unwrap_or(ground);
            lies.push(Vec::new());
            if divisions > 0 {
                lies[i].push((room as u32, divisions));
                ways.came[room].push(i as u32);
                too_full[room] += divisions;
            }
        }
        Flow {
            stated,
            lies,
            taken: committed.clone(),
            too_full,
            potential: vec![0; width],
            capacity: at_most(stated.capacity),
            committed,
            ways,
        }
    }

    /// How much of a supply lies in a room.
    pub(super) fn amount(&self, i: usize, room: usize) -> i64 {
        let lies = self.lies[i].iter().find(|(at, _)| *at as usize == room);
        lies.map_or(0, |(_, n)| *n)
    }

    /// The cost of taking up room for one more division, and for how many it holds.
    pub(super) fn take_up(&self, room: usize) -> Option<(i128, i64)> {
        let taken = self.taken[room];
        let (committed, capacity) = (self.committed[room], self.capacity[room]);
        if taken < committed {
            Some((-COMMITTED, committed - taken))
        } else {
            (taken < capacity).then_some((0, capacity - taken))
        }
    }

    /// The cost of freeing room of one division, and for how many it holds.
    pub(super) fn free_up(&self, room: usize) -> Option<(i128, i64)> {
        let (taken, committed) = (self.taken[room], self.committed[room]);
        if taken > committed {
            Some((0, taken - committed))
        } else {
            (taken > 0).then_some((COMMITTED, taken))
        }
    }

    /// The way between ground and room that moves no supply.
    pub(super) fn by_room(&self, from: usize, to: usize) -> Option<(i128, i64)> {
        let ground = self.stated.ground();
        match (from == ground, to == ground) {
            (false, true) => self.take_up(from),
            (true, false) => self.free_up(to),
            _ => None,
        }
    }

    /// Looks for the cheapest chain from a room to one that misses something, which is
    /// given; there is always one, as on the whole as much is missing as is too much.
    fn shortest(&mut self, source: usize, search: &mut Search) -> usize {
        let width = self.stated.width();
        search.length.fill(FAR);
        search.done.fill(false);
        search.length[source] = 0;
        loop {
            let open = (0..width).filter(|room| !search.done[*room]);
            let at = open
                .min_by_key(|room| search.length[*room])
                .expect("something is missing somewhere");
            let here = search.length[at];
            assert!(here < FAR, "what is missing can be reached");
            if self.too_full[at] < 0 {
                for room in (0..width).filter(|room| search.done[*room]) {
                    self.potential[room] += search.length[room] - here;
                }
                return at;
            }
            search.done[at] = true;
            if !self.ways.known[at] {
                self.know(at);
            }
            let base = here + self.potential[at];
            let row = at * width;
            for to in 0..width {
                if search.done[to] {
                    continue;
                }
                let (mut cost, mut way) = (self.ways.cost[row + to], None);
                if let Some((by_room, _)) = self.by_room(at, to)
                    && by_room < cost
                {
                    (cost, way) = (by_room, Some(Way::Room));
                }
                if cost == FAR {
                    continue;
                }
                let length = base + cost - self.potential[to];
                if length < search.length[to] {
                    let by_supply = || Way::Supply(self.ways.supply[row + to] as usize);
                    search.length[to] = length;
                    search.from[to] = (at, way.unwrap_or_else(by_supply));
                }
            }
        }
    }

    /// Moves as much along the chain found as it holds.
    fn push(&mut self, source: usize, target: usize, search: &Search) {
        let mut chain = Vec::new();
        let mut to = target;
        while to != source {
            let (from, way) = search.from[to];
            chain.push((from, to, way));
            to = from;
        }
        let holds = chain.iter().map(|&(from, to, way)| match way {
            Way::Supply(i) => self.amount(i, from),
            Way::Room => self.by_room(from, to).map_or(0, |(_, n)| n),
        });
        let both = self.too_full[source].min(-self.too_full[target]);
        let divisions = holds.fold(both, i64::min);
        for (from, to, way) in chain {
            match way {
                Way::Supply(i) => {
                    let (left, came) = self.shift(i, from, to, divisions);
                    if left {
                        self.left(i, from);
                    }
                    if came {
                        self.came(i, to);
                    }
                }
                Way::Room => self.shift_room(from, to, divisions),
            }
        }
        self.too_full[source] -= divisions;
        self.too_full[target] += divisions;
    }

    /// Moves so much of a supply; says whether nothing of it is left there, and whether
    /// nothing of it was here before.
    pub(super) fn shift(&mut self, i: usize, from: usize, to: usize, n: i64) -> (bool, bool) {
        let lies = &mut self.lies[i];
        let at = lies.iter().position(|(room, _)| *room as usize == from);
        let at = at.expect("what moves lies there");
        lies[at].1 -= n;
        let left = lies[at].1 == 0;
        if left {
            lies.swap_remove(at);
        }
        let there = lies.iter_mut().find(|(room, _)| *room as usize == to);
        let came = there.is_none();
        match there {
            Some((_, there)) => *there += n,
            None => lies.push((to as u32, n)),
        }
        (left, came)
    }

    pub(super) fn shift_room(&mut self, from: usize, to: usize, n: i64) {
        if to == self.stated.ground() {
            self.taken[from] += n;
        } else {
            self.taken[to] -= n;
        }
    }

    /// Finds a room's moves to all others.
    fn know(&mut self, from: usize) {
        let mut came = std::mem::take(&mut self.ways.came[from]);
        came.sort_unstable();
        came.dedup();
        came.retain(|i| self.amount(*i as usize, from) > 0);
        self.ways.known[from] = true;
        for to in (0..self.stated.width()).filter(|to| *to != from) {
            let moving = came.iter().map(|i| *i as usize);
            let moving = moving.filter(|i| self.stated.may(*i, to));
            let heap = moving.map(|i| self.ways.rated(self.stated, i, from, to));
            self.ways.heaps[from * self.stated.width() + to] = heap.collect();
            self.refresh(from, to);
        }
    }

    /// A supply lies in a room where it did not.
    fn came(&mut self, i: usize, here: usize) {
        if !self.ways.known[here] {
            self.ways.came[here].push(i as u32);
            return;
        }
        for to in 0..self.stated.width() {
            if to == here || !self.stated.may(i, to) {
                continue;
            }
            let cell = here * self.stated.width() + to;
            let rated = self.ways.rated(self.stated, i, here, to);
            self.ways.heaps[cell].push(rated);
            if self.ways.heaps[cell].peek() == Some(&rated) {
                self.top(here, to, i);
            }
        }
    }

    /// Nothing of a supply lies in a room where it did.
    fn left(&mut self, i: usize, there: usize) {
        for to in 0..self.stated.width() {
            let cell = there * self.stated.width() + to;
            if self.ways.supply[cell] as usize == i && self.ways.cost[cell] != FAR {
                self.refresh(there, to);
            }
        }
    }

    /// Drops from a heap's top what lies there no more.
    fn refresh(&mut self, from: usize, to: usize) {
        let cell = from * self.stated.width() + to;
        while let Some(&rated) = self.ways.heaps[cell].peek() {
            let i = self.ways.named(self.stated, rated, from, to);
            if self.amount(i, from) > 0 {
                self.top(from, to, i);
                return;
            }
            self.ways.heaps[cell].pop();
        }
        self.ways.cost[cell] = FAR;
    }

    fn top(&mut self, from: usize, to: usize, i: usize) {
        let cell = from * self.stated.width() + to;
        self.ways.supply[cell] = i as u32;
        self.ways.cost[cell] = self.stated.worth(i, from) - self.stated.worth(i, to);
    }
}

impl Ways {
    fn of(stated: &Stated) -> Ways {
        let width = stated.width();
        let mut by_age: Vec<u32> = (0..stated.supplies() as u32).collect();
        by_age.sort_unstable_by_key(|i| (stated.ages[*i as usize], Reverse(*i)));
        let mut age_place = vec![0; by_age.len()];
        for (place, i) in by_age.iter().enumerate() {
            age_place[*i as usize] = place as i32;
        }
        Ways {
            known: vec![false; width],
            came: vec![Vec::new(); width],
            heaps: vec![BinaryHeap::new(); width * width],
            supply: vec![0; width * width],
            cost: vec![FAR; width * width],
            by_age,
            age_place,
        }
    }

    /// Orders the moves between two rooms as their costs do: by money; to or from the
    /// ground then by age and id, which is the place by age; between rooms by id alone,
    /// as what moves to a later room is cheapest with the larger id.
    fn rated(&self, stated: &Stated, i: usize, from: usize, to: usize) -> Move {
        let ground = stated.ground();
        let named = if to == ground {
            self.age_place[i]
        } else if from == ground {
            -self.age_place[i]
        } else if to > from {
            -(i as i32)
        } else {
            i as i32
        };
        Reverse((stated.value(i, from) - stated.value(i, to), named))
    }

    fn named(&self, stated: &Stated, rated: Move, from: usize, to: usize) -> usize {
        let named = rated.0.1.unsigned_abs() as usize;
        if from == stated.ground() || to == stated.ground() {
            self.by_age[named] as usize
        } else {
            named
        }
    }
}

/// A search's notes, used again by the next.
struct Search {
    length: Vec<i128>,
    done: Vec<bool>,
    from: Vec<(usize, Way)>,
}

impl Search {
    fn of(width: usize) -> Search {
        Search {
            length: vec![FAR; width],
            done: vec![false; width],
            from: vec![(0, Way::Room); width],
        }
    }
}
