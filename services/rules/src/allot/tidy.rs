//! Joining what a plan splits, where that costs little.
//!
//! The best plan may send parts of one supply to several rooms: so many bags, labels and
//! lines. A **join** brings one of its lines to where another already goes. It moves
//! there if there is room; else it changes places with as much of another supply, where
//! that makes no new line. No join changes what of a supply is kept, nor fills less of
//! what is committed, nor touches a pin; each makes the plan shorter by a line at least.
//! The cheapest goes first, of equals the smaller ids, until none is left whose cost the
//! budget bears.

use std::collections::BTreeMap;

use super::{Allotted, Problem, Unallottable, at, place};

/// A line brought to where another of its supply goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Join {
    /// Which supply, counted from zero as given.
    pub supply: usize,
    /// Where nothing of it is left.
    pub from: usize,
    /// Where it went.
    pub to: usize,
    /// How much.
    pub divisions: i64,
    /// The supply of which as much went the other way.
    pub exchanged: Option<usize>,
    /// Money that the plan is worth less; below zero where an earlier join made up for.
    pub cost: i64,
}

/// A plan with fewer lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tidied {
    /// As it is now.
    pub plan: Allotted,
    /// In the order done.
    pub joins: Vec<Join>,
}

/// A join by places; the first is done first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Candidate {
    cost: i64,
    supply: usize,
    from: usize,
    to: usize,
    exchanged: Option<usize>,
    divisions: i64,
}

impl Problem {
    /// Joins what a plan of this problem splits, for at most `budget` in all, in the unit
    /// of the values.
    ///
    /// # Errors
    /// A line whose supply or room is not there.
    pub fn tidy(&self, plan: &Allotted, budget: i64) -> Result<Tidied, Unallottable> {
        let mut lies = self.read(plan)?;
        let mut joins = Vec::new();
        let mut spent = 0_i64;
        loop {
            let bears = budget.saturating_sub(spent);
            let candidates = self.candidates(&lies);
            let Some(join) = candidates.filter(|join| join.cost <= bears).min() else {
                break;
            };
            spent = spent.saturating_add(join.cost);
            shift(&mut lies, join.supply, join.from, join.to, join.divisions);
            if let Some(other) = join.exchanged {
                shift(&mut lies, other, join.to, join.from, join.divisions);
            }
            joins.push(Join {
                supply: place(&self.supplies, join.supply),
                from: place(&self.rooms, join.from),
                to: place(&self.rooms, join.to),
                divisions: join.divisions,
                exchanged: join.exchanged.map(|other| place(&self.supplies, other)),
                cost: join.cost,
            });
        }
        Ok(Tidied {
            plan: self.told(&lies),
            joins,
        })
    }

    fn candidates(&self, lies: &[BTreeMap<usize, i64>]) -> impl Iterator<Item = Candidate> {
        let mut in_room: Vec<Vec<(usize, i64)>> = vec![Vec::new(); self.rooms.len()];
        for (i, rooms) in lies.iter().enumerate() {
            for (&j, &n) in rooms {
                if let Some(in_room) = in_room.get_mut(j) {
                    in_room.push((i, n));
                }
            }
        }
        let filled: Vec<i64> = in_room.iter().map(|lines| sum(lines)).collect();
        let mut found = Vec::new();
        for (i, rooms) in lies.iter().enumerate().filter(|(_, rooms)| rooms.len() > 1) {
            for (&from, &n) in rooms.iter().filter(|(from, _)| self.pin(i, **from) == 0) {
                for &to in rooms.keys().filter(|to| **to != from) {
                    let join = Candidate {
                        cost: 0,
                        supply: i,
                        from,
                        to,
                        exchanged: None,
                        divisions: n,
                    };
                    found.extend(self.moved(&filled, join));
                    let others = in_room.get(to).into_iter().flatten();
                    let others = others.filter(|(other, _)| *other != i);
                    found.extend(others.filter_map(|&(other, there)| {
                        let goes_there = lies.get(other)?.contains_key(&from);
                        self.exchanged(join, other, there, goes_there)
                    }));
                }
            }
        }
        found.into_iter()
    }

    /// The line moves, if there is room and no promise is broken.
    fn moved(&self, filled: &[i64], join: Candidate) -> Option<Candidate> {
        let (from, to) = (at(filled, join.from), at(filled, join.to));
        let (less, more) = (
            from.saturating_sub(join.divisions),
            to.saturating_add(join.divisions),
        );
        let kept_to = |room: usize, filled: i64| filled.min(at(&self.committed, room));
        let before = kept_to(join.from, from).saturating_add(kept_to(join.to, to));
        let after = kept_to(join.from, less).saturating_add(kept_to(join.to, more));
        let fits = more <= at(&self.capacity, join.to) && after >= before;
        let cost = self.cost(join.supply, join.from, join.to, join.divisions)?;
        fits.then_some(Candidate { cost, ..join })
    }

    /// The line changes places with as much of another supply, if that makes no new line.
    fn exchanged(
        &self,
        join: Candidate,
        other: usize,
        there: i64,
        goes_there: bool,
    ) -> Option<Candidate> {
        let loose = there.saturating_sub(self.pin(other, join.to));
        let fits = loose >= join.divisions && (goes_there || there == join.divisions);
        let own = self.cost(join.supply, join.from, join.to, join.divisions)?;
        let others = self.cost(other, join.to, join.from, join.divisions)?;
        fits.then_some(Candidate {
            cost: own.saturating_add(others),
            exchanged: Some(other),
            ..join
        })
    }

    /// What moving so much of a supply costs; `None` where it may not go.
    fn cost(&self, i: usize, from: usize, to: usize, divisions: i64) -> Option<i64> {
        let pinned = self.pins.get(&(i, from)).map(|pin| pin.value);
        let here = self.value(i, from).or(pinned)?;
        let each = here.saturating_sub(self.value(i, to)?);
        Some(each.saturating_mul(divisions))
    }
}

fn sum(lines: &[(usize, i64)]) -> i64 {
    let each = lines.iter().map(|(_, n)| *n);
    each.fold(0, i64::saturating_add)
}

fn shift(lies: &mut [BTreeMap<usize, i64>], i: usize, from: usize, to: usize, divisions: i64) {
    let Some(rooms) = lies.get_mut(i) else {
        return;
    };
    let there = rooms.remove(&from).unwrap_or(0);
    let stays = there.saturating_sub(divisions);
    if stays > 0 {
        rooms.insert(from, stays);
    }
    let here = rooms.entry(to).or_insert(0);
    *here = here.saturating_add(divisions);
}
