//! The best plan by a tree of moves: the network simplex method, on few rooms.
//!
//! A plan is a flow: from each supply to rooms or to the **ground**, where what is left
//! lies, and from each room to the ground through two gates, one as wide as what is
//! committed and one for the rest of the room. Some of these arcs make a tree that
//! connects everything; all others are empty or full. By the tree every room has a price,
//! and by the prices one sees whether an arc out of the tree would gain. As much as fits
//! is moved along the one cycle that this arc closes with the tree; the arc joins the
//! tree, and one that held no more leaves it. When no arc gains, no plan is better.
//!
//! Most supplies lie in one room: they are leaves, and moving one elsewhere changes no
//! price. Between them is a tree of rooms and split supplies, a few hundred nodes, of
//! which only what hung from the arc that leaves is hung anew. Of several arcs that hold
//! no more the last one along the cycle leaves, counted from where its two sides meet; so
//! from every node something can always be sent to the ground, and the method ends (W. H.
//! Cunningham, "A network simplex method", Mathematical Programming 11, 1976; from
//! memory).
//!
//! The first five lines of what is best are two numbers, compared one after the other.
//! Within one, each line's unit is larger than all that the lines below it can make out
//! along a cycle; a plan is best where no cycle gains. Prices are sums along a path of
//! the tree, so they keep within the same bounds.

#![cfg_attr(
    not(test),
    expect(
        clippy::arithmetic_side_effects,
        clippy::as_conversions,
        reason = "all numbers are bounded at the door, see the units; places fit 32 bits"
    )
)]

use std::collections::{BTreeMap, BinaryHeap};

use super::{AGE_MOST, NONE, ROOMS_MOST, SUPPLIES_MOST, VALUE_MOST, ties};

/// Moves along a cycle: it meets no room twice.
const MOVES_MOST: i64 = ROOMS_MOST as i64 + 1;
const IDS_MOST: i64 = MOVES_MOST * (SUPPLIES_MOST * ROOMS_MOST) as i64;
/// One unit of age. A cycle meets the ground once, so it changes what is left by one
/// division at most each way.
const AGE: i64 = 2 * IDS_MOST + 1;
const LOW_MOST: i64 = 2 * AGE_MOST * AGE + IDS_MOST;
const MONEYS_MOST: i64 = 2 * MOVES_MOST * VALUE_MOST;
/// One division kept.
const KEPT: i64 = 2 * MONEYS_MOST + 1;
/// One division filled of what is committed.
const COMMITTED: i64 = 2 * (KEPT + MONEYS_MOST) + 1;
/// The price of a room that takes nothing, so that nobody wants it; with the value of a
/// pair that is not allowed it is still a number.
const CLOSED: i64 = i64::MIN / 4;
// Two prices and two worths may be added up.
const _: () = assert!(LOW_MOST < i64::MAX / 4);
const _: () = assert!(4 * (COMMITTED + KEPT + MONEYS_MOST) < -(NONE / 4) && NONE >= i64::MIN / 2);

/// What is best, in the order of its lines: committed, kept and money; then age and ids.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Worth {
    high: i64,
    low: i64,
}

impl Worth {
    pub(super) fn plus(self, other: Worth) -> Worth {
        Worth {
            high: self.high + other.high,
            low: self.low + other.low,
        }
    }

    pub(super) fn minus(self, other: Worth) -> Worth {
        Worth {
            high: self.high - other.high,
            low: self.low - other.low,
        }
    }
}

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

    fn row(&self, i: usize) -> &[i64] {
        &self.values[i * self.width()..(i + 1) * self.width()]
    }

    /// Whether the supply may lie there, and anything may.
    pub(super) fn may(&self, i: usize, j: usize) -> bool {
        j == self.ground() || (self.capacity[j] > 0 && self.row(i)[j] != NONE)
    }

    /// What one division is worth there.
    pub(super) fn worth(&self, i: usize, j: usize) -> Worth {
        if j == self.ground() {
            return Worth::default();
        }
        let ids = (self.supplies() - i) * (self.ground() - j);
        Worth {
            high: KEPT + self.row(i)[j],
            low: self.ages[i] * AGE + ids as i64,
        }
    }
}

/// From a room to the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Gate {
    /// As wide as what is committed.
    Committed,
    /// As wide as the rest of the room.
    Rest,
}

const GATES: [Gate; 2] = [Gate::Committed, Gate::Rest];

impl Gate {
    fn worth(self) -> Worth {
        Worth {
            high: if self == Gate::Committed {
                COMMITTED
            } else {
                0
            },
            low: 0,
        }
    }
}

/// An arc: of a supply to a room, or to the ground; or a room's gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Arc {
    Supply(usize, usize),
    Gate(usize, Gate),
}

/// An arc that is moved along, one way or the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    More(Arc),
    Less(Arc),
}

/// Where everything lies, and the tree.
pub(super) struct Flow<'a> {
    pub(super) stated: &'a Stated<'a>,
    /// Of each supply its arcs in the tree, and what goes along them.
    pub(super) lies: Vec<Vec<(u32, i64)>>,
    /// What goes through each room's gates, and what could.
    through: Vec<[i64; 2]>,
    wide: Vec<[i64; 2]>,
    /// Of each room the gate that is in the tree.
    gate: Vec<Option<Gate>>,
    /// Of each room, and the ground: the split supplies that have an arc to it.
    split: Vec<Vec<u32>>,
    /// The next node on the way to the ground, and how many there are. Nodes are rooms,
    /// the ground, then supplies; of supplies only those that are split are kept.
    up: Vec<u32>,
    depth: Vec<u32>,
    /// Of each room, and the ground: what one more division of room would be worth.
    pub(super) price: Vec<Worth>,
    /// What adds to a supply's value there.
    high: Vec<i64>,
    /// Supplies, and rooms counted behind them, that had an arc to gain by when all were
    /// last looked at, and how much.
    gaining: BinaryHeap<(Worth, usize)>,
}

/// The best plan: of each supply the rooms, and how much; without what is left.
pub(super) fn best(stated: &Stated) -> Vec<BTreeMap<usize, i64>> {
    let mut flow = Flow::start(stated);
    while let Some(enters) = flow.search() {
        flow.turn(enters);
    }
    ties::break_them(&mut flow);
    let plan = flow.lies.iter().map(|lies| {
        let rooms = lies.iter().map(|&(room, n)| (room as usize, n));
        rooms
            .filter(|(room, n)| *room != stated.ground() && *n > 0)
            .collect()
    });
    plan.collect()
}

impl<'a> Flow<'a> {
    /// Each supply in turn where it is worth most of what is still open. A room that gets
    /// full hangs from the supply that filled it, which goes on to the next, be it with
    /// nothing; the others hang from their gate.
    fn start(stated: &'a Stated<'a>) -> Flow<'a> {
        let (ground, width) = (stated.ground(), stated.width());
        let all: i64 = stated.divisions.iter().sum();
        let gates = |(committed, capacity): (&i64, &i64)| {
            let committed = *committed.min(&all);
            [committed, capacity.min(&all) - committed]
        };
        let wide = stated.committed.iter().zip(stated.capacity).map(gates);
        let mut flow = Flow {
            stated,
            lies: vec![Vec::new(); stated.supplies()],
            through: vec![[0; 2]; ground],
            wide: wide.collect(),
            gate: vec![None; ground],
            split: vec![Vec::new(); width],
            up: vec![0; width + stated.supplies()],
            depth: vec![0; width + stated.supplies()],
            price: vec![Worth::default(); width],
            high: vec![0; width],
            gaining: BinaryHeap::new(),
        };
        for room in 0..ground {
            flow.open(room);
        }
        for i in 0..stated.supplies() {
            let mut left = stated.divisions[i];
            while left > 0
                || flow.lies[i]
                    .last()
                    .is_some_and(|(room, _)| flow.full(*room))
            {
                let room = flow.dearest(i).0;
                let fits = if room == ground {
                    left
                } else {
                    flow.fill(room, left)
                };
                left -= fits;
                flow.lies[i].push((room as u32, fits));
            }
            if flow.lies[i].len() > 1 {
                for &(room, _) in &flow.lies[i] {
                    flow.split[room as usize].push(i as u32);
                }
            }
        }
        flow.hang();
        flow
    }

    fn full(&self, room: u32) -> bool {
        let room = room as usize;
        room != self.stated.ground() && self.gate[room].is_none()
    }

    /// Finds the gate that is neither empty nor full, and what room is worth there.
    fn open(&mut self, room: usize) {
        let holds =
            |gate: &Gate| self.through[room][*gate as usize] < self.wide[room][*gate as usize];
        self.gate[room] = GATES.into_iter().find(holds);
        let worth = self.gate[room].map(|gate| KEPT + gate.worth().high);
        self.high[room] = worth.unwrap_or(CLOSED);
    }

    /// Fills a room as far as it goes, its promise first; gives how much.
    fn fill(&mut self, room: usize, divisions: i64) -> i64 {
        let mut left = divisions;
        for gate in GATES {
            let fits = left.min(self.wide[room][gate as usize] - self.through[room][gate as usize]);
            self.through[room][gate as usize] += fits;
            left -= fits;
        }
        self.open(room);
        divisions - left
    }

    /// Where a supply would be worth most, by the numbers of the first lines.
    fn dearest(&self, i: usize) -> (usize, i64) {
        let row = self.stated.row(i);
        let mut dearest = (0, i64::MIN);
        for (room, (value, high)) in row.iter().zip(&self.high).enumerate() {
            let worth = value + high;
            if worth > dearest.1 {
                dearest = (room, worth);
            }
        }
        dearest
    }

    /// Makes the tree, from the ground.
    fn hang(&mut self) {
        for room in 0..self.stated.ground() {
            if let Some(gate) = self.gate[room] {
                self.hang_by_gate(room, gate);
                self.below(room);
            }
        }
        self.below(self.stated.ground());
    }

    fn hang_by_gate(&mut self, room: usize, gate: Gate) {
        self.up[room] = self.stated.ground() as u32;
        self.depth[room] = 1;
        self.price[room] = gate.worth();
        self.high[room] = self.price[room].high + KEPT;
    }

    /// Hangs a split supply from one of its rooms.
    fn hang_supply(&mut self, i: usize, room: usize) {
        let node = self.stated.width() + i;
        self.up[node] = room as u32;
        self.depth[node] = self.depth[room] + 1;
    }

    /// Hangs a room from a split supply that hangs already.
    fn hang_room(&mut self, room: usize, i: usize) {
        let node = self.stated.width() + i;
        let above = self.up[node] as usize;
        let here = self.stated.worth(i, above).plus(self.price[above]);
        self.up[room] = node as u32;
        self.depth[room] = self.depth[node] + 1;
        self.price[room] = here.minus(self.stated.worth(i, room));
        self.high[room] = self.price[room].high + KEPT;
    }

    /// Hangs anew all that hangs from a room, or from the ground by supplies.
    fn below(&mut self, room: usize) {
        let mut next = vec![room];
        while let Some(room) = next.pop() {
            for n in 0..self.split[room].len() {
                let i = self.split[room][n] as usize;
                if room == self.stated.ground() || self.up[room] as usize != self.stated.width() + i
                {
                    self.hang_supply(i, room);
                    self.below_supply(i, &mut next);
                }
            }
        }
    }

    /// Hangs a supply's other rooms from it, and notes them.
    fn below_supply(&mut self, i: usize, next: &mut Vec<usize>) {
        let above = self.up[self.stated.width() + i] as usize;
        for n in 0..self.lies[i].len() {
            let room = self.lies[i][n].0 as usize;
            if room != above {
                self.hang_room(room, i);
                next.push(room);
            }
        }
    }

    /// An arc to gain by, of those found when all were last looked at the one that gains
    /// most; `None` where there is none at all.
    fn search(&mut self) -> Option<Step> {
        loop {
            while let Some((_, row)) = self.gaining.pop() {
                // Prices may have changed since it was found.
                if let Some((gain, step)) = self.gains(row) {
                    if self.gaining.peek().is_none_or(|(next, _)| gain >= *next) {
                        return Some(step);
                    }
                    self.gaining.push((gain, row));
                }
            }
            let rows = self.stated.supplies() + self.stated.ground();
            let found = (0..rows).filter_map(|row| Some((self.gains(row)?.0, row)));
            self.gaining = found.collect();
            if self.gaining.is_empty() {
                return None;
            }
        }
    }

    /// The best arc of a supply, or of a room counted behind the supplies.
    fn gains(&self, row: usize) -> Option<(Worth, Step)> {
        match row.checked_sub(self.stated.supplies()) {
            None => self.gains_by_supply(row),
            Some(room) => self.gains_by_gate(room),
        }
    }

    fn gains_by_supply(&self, i: usize) -> Option<(Worth, Step)> {
        let home = self.lies[i].first()?.0 as usize;
        let row = self.stated.row(i);
        let low = |room: usize| self.stated.worth(i, room).low + self.price[room].low;
        let here = Worth {
            high: row[home] + self.high[home],
            low: low(home),
        };
        let (mut most, mut at) = (here, home);
        for (room, (value, high)) in row.iter().zip(&self.high).enumerate() {
            let high = value + high;
            // Seldom, as most supplies lie where they are worth most.
            if high >= most.high {
                let there = Worth {
                    high,
                    low: low(room),
                };
                if there > most {
                    (most, at) = (there, room);
                }
            }
        }
        let enters = Step::More(Arc::Supply(i, at));
        (most > here).then(|| (most.minus(here), enters))
    }

    fn gains_by_gate(&self, room: usize) -> Option<(Worth, Step)> {
        let out = GATES
            .into_iter()
            .filter(|gate| self.gate[room] != Some(*gate));
        let gains = out.filter_map(|gate| {
            let (through, wide) = (
                self.through[room][gate as usize],
                self.wide[room][gate as usize],
            );
            let arc = Arc::Gate(room, gate);
            let gain = gate.worth().minus(self.price[room]);
            let none = Worth::default();
            if wide == 0 {
                None
            } else if through == 0 {
                (gain > none).then_some((gain, Step::More(arc)))
            } else {
                (gain < none).then_some((none.minus(gain), Step::Less(arc)))
            }
        });
        gains.max_by_key(|(gain, _)| *gain)
    }

    /// Moves along the cycle that a step closes, and changes the tree.
    fn turn(&mut self, enters: Step) {
        let ground = self.stated.ground();
        // From the one end down, through the arc, from the other end up.
        let (mut first, mut second) = match enters {
            Step::More(Arc::Supply(i, room)) => (self.stated.width() + i, room),
            Step::More(Arc::Gate(room, _)) => (room, ground),
            Step::Less(Arc::Gate(room, _)) => (ground, room),
            Step::Less(Arc::Supply(..)) => {
                unreachable!("arcs of supplies out of the tree are empty")
            }
        };
        let mut steps = vec![enters];
        let (mut leaves, mut least) = (enters, self.holds(enters));
        // Whether what leaves is between the first end and where the sides meet.
        let mut by_first = true;
        if first > ground && self.lies[first - ground - 1].len() == 1 {
            let i = first - ground - 1;
            first = self.lies[i][0].0 as usize;
            let step = Step::Less(Arc::Supply(i, first));
            steps.push(step);
            (leaves, least) = (step, self.holds(step));
        }
        while first != second {
            let down = self.depth[first] >= self.depth[second];
            let node = if down { first } else { second };
            let above = self.up[node] as usize;
            let arc = if node > ground {
                Arc::Supply(node - ground - 1, above)
            } else if above > ground {
                Arc::Supply(above - ground - 1, node)
            } else {
                Arc::Gate(
                    node,
                    self.gate[node].expect("a room below the ground has a gate"),
                )
            };
            // Upward is more of an arc that leads upward, downward is less.
            let leads_up = node > ground || above == ground;
            let step = if down == leads_up {
                Step::Less(arc)
            } else {
                Step::More(arc)
            };
            let holds = self.holds(step);
            if holds < least || (!down && holds == least) {
                (leaves, least, by_first) = (step, holds, down);
            }
            steps.push(step);
            if down {
                first = above;
            } else {
                second = above;
            }
        }
        if let Step::More(Arc::Supply(i, room)) = enters {
            self.lies[i].push((room as u32, 0));
        }
        for step in steps {
            self.take(step, least);
        }
        if leaves != enters {
            self.change(enters, leaves, by_first);
        }
    }

    /// How much a step can move.
    fn holds(&self, step: Step) -> i64 {
        match step {
            Step::More(Arc::Supply(..)) => i64::MAX,
            Step::Less(Arc::Supply(i, room)) => self.amount(i, room),
            Step::More(Arc::Gate(room, gate)) => {
                self.wide[room][gate as usize] - self.through[room][gate as usize]
            }
            Step::Less(Arc::Gate(room, gate)) => self.through[room][gate as usize],
        }
    }

    /// Moves so much; an arc of a supply must be there.
    fn take(&mut self, step: Step, divisions: i64) {
        let (Step::More(arc) | Step::Less(arc)) = step;
        let by = match step {
            Step::More(_) => divisions,
            Step::Less(_) => -divisions,
        };
        match arc {
            Arc::Gate(room, gate) => self.through[room][gate as usize] += by,
            Arc::Supply(i, room) => {
                let lies = self.lies[i].iter_mut();
                let there = lies.into_iter().find(|(at, _)| *at as usize == room);
                there.expect("an arc in the tree").1 += by;
            }
        }
    }

    /// One arc joins the tree, another leaves it: what is below the one that leaves, on the
    /// side of the first end or of the other, hangs from the one that joins.
    fn change(&mut self, enters: Step, leaves: Step, by_first: bool) {
        let (Step::More(joins) | Step::Less(joins)) = enters;
        let (Step::More(parts) | Step::Less(parts)) = leaves;
        // Besides the arc that joins.
        let leaf = match joins {
            Arc::Supply(i, _) if self.lies[i].len() == 2 => Some(i),
            _ => None,
        };
        match parts {
            Arc::Gate(room, _) => self.gate[room] = None,
            Arc::Supply(i, room) => {
                self.lies[i].retain(|(at, _)| *at as usize != room);
                if leaf == Some(i) {
                    // It hangs elsewhere, and the rest of the tree is as it was.
                    return;
                }
                self.split[room].retain(|at| *at as usize != i);
                if let [(only, _)] = self.lies[i][..] {
                    self.split[only as usize].retain(|at| *at as usize != i);
                }
            }
        }
        match joins {
            Arc::Gate(room, gate) => {
                self.gate[room] = Some(gate);
                self.hang_by_gate(room, gate);
                self.below(room);
            }
            Arc::Supply(i, room) => {
                if leaf.is_some() {
                    let home = self.lies[i][0].0 as usize;
                    self.split[home].push(i as u32);
                    self.hang_supply(i, home);
                }
                self.split[room].push(i as u32);
                if by_first {
                    self.hang_supply(i, room);
                    let mut next = Vec::new();
                    self.below_supply(i, &mut next);
                    for room in next {
                        self.below(room);
                    }
                } else {
                    self.hang_room(room, i);
                    self.below(room);
                }
            }
        }
    }

    /// How much of a supply lies in a room, or on the ground.
    pub(super) fn amount(&self, i: usize, room: usize) -> i64 {
        let lies = self.lies[i].iter().find(|(at, _)| *at as usize == room);
        lies.map_or(0, |(_, n)| *n)
    }

    /// A step between a room and the ground that costs nothing.
    pub(super) fn free(&self, from: usize, to: usize) -> Option<Step> {
        let ground = self.stated.ground();
        let (room, step): (usize, fn(Arc) -> Step) = match (from == ground, to == ground) {
            (false, true) => (from, Step::More),
            (true, false) => (to, Step::Less),
            _ => return None,
        };
        let even = GATES
            .into_iter()
            .filter(|gate| gate.worth() == self.price[room]);
        let mut steps = even.map(|gate| step(Arc::Gate(room, gate)));
        steps.find(|step| self.holds(*step) > 0)
    }

    /// Moves so much along a chain, be it out of the tree.
    pub(super) fn shift(&mut self, steps: &[Step]) {
        let holds = steps.iter().map(|step| self.holds(*step));
        let divisions = holds.min().unwrap_or(0);
        for step in steps {
            if let Step::More(Arc::Supply(i, room)) = *step
                && self.lies[i].iter().all(|(at, _)| *at as usize != room)
            {
                self.lies[i].push((room as u32, 0));
            }
            self.take(*step, divisions);
        }
    }
}
