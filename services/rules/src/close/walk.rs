//! The day as it happened, step by step over all parts of the site.
//!
//! Steps are taken by when they happened, within the day, then by entry. A step
//! told for another time, such as a count next morning that closes this day, is
//! taken at the day's edge nearest to it. Cost goes where the weight goes: a
//! part costs what its line came to, and the lots of a making share what its
//! inputs cost, by weight, over what it was made for. What was read on a scale is
//! the budget of its step; a weight that was not read goes by the book.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    DayBalance, DayInput, NewLot, OutletWeight, PartBalance, Posted, UndersizeRow, Used, What,
};
use crate::balance::{Coming, HandedOver, Holding, PartDay, Reckoned, Stage, earlier};
use crate::decimal;
use crate::fish::{Outlet, Presentation, Storage};
use crate::ids::PartId;
use crate::making::MakingKind;
use crate::office::DripRate;
use crate::stock::add;
use crate::uncertainty::{Budget, Read};
use crate::weight::Weight;

/// A day, walked through.
#[derive(Debug)]
pub(super) struct Walk {
    /// Each part as it stands at the end.
    pub(super) parts: BTreeMap<PartId, PartDay>,
    /// What counts posted, in order.
    pub(super) posted: Vec<Posted>,
    /// By making: what went in, and what that cost.
    pub(super) makings: BTreeMap<i64, Holding>,
    bought: BTreeMap<PartId, Weight>,
    pub(super) used: BTreeMap<PartId, Weight>,
    pub(super) out: BTreeMap<PartId, BTreeMap<Outlet, Weight>>,
    /// Readings of a part that a step of their entry has taken in.
    taken_in: BTreeSet<(i64, PartId)>,
    totals: DayBalance,
}

impl Walk {
    pub(super) fn through(day: &DayInput) -> Walk {
        let mut walk = Walk {
            parts: BTreeMap::new(),
            posted: Vec::new(),
            makings: BTreeMap::new(),
            bought: BTreeMap::new(),
            used: BTreeMap::new(),
            out: BTreeMap::new(),
            taken_in: BTreeSet::new(),
            totals: DayBalance::default(),
        };
        for (&id, holding) in &day.opening {
            let part = PartDay::carried(holding.clone(), day.start_us, drip(day, id));
            walk.parts.insert(id, part);
        }
        let last_us = day.end_us.saturating_sub(1);
        let mut steps: Vec<_> = day
            .happened
            .iter()
            .map(|step| {
                (
                    step.happened_us.min(last_us).max(day.start_us),
                    step.entry,
                    &step.what,
                )
            })
            .collect();
        steps.sort_by_key(|&(at_us, entry, what)| (at_us, entry, rank(what)));
        for (at_us, entry, what) in steps {
            walk.step(day, at_us, entry, what);
        }
        for part in walk.parts.values_mut() {
            part.wait(day.end_us);
        }
        walk
    }

    fn step(&mut self, day: &DayInput, at_us: i64, entry: i64, what: &What) {
        let settings = &day.settings;
        match what {
            What::Bought {
                part,
                weight,
                cost_minor,
            } => {
                let budget = self.read(day, entry, *part);
                let came = Coming {
                    harvested_us: day.parts.get(part).map_or(0, |facts| facts.harvested_us),
                    ..coming(*weight, *cost_minor, budget)
                };
                self.come_in(day, at_us, *part, &came);
                more(&mut self.bought, *part, *weight);
                self.totals.bought = add(self.totals.bought, *weight);
            }
            What::Returned {
                part,
                weight,
                cost_minor,
            } => {
                let budget = self.read(day, entry, *part);
                let came = Coming {
                    harvested_us: day.parts.get(part).map_or(0, |facts| facts.harvested_us),
                    ..coming(*weight, *cost_minor, budget)
                };
                self.come_in(day, at_us, *part, &came);
                self.totals.returned = add(self.totals.returned, *weight);
            }
            What::Shifted { from, to, weight } => {
                let read = self.read(day, entry, *from);
                let source = self.part(day, *from);
                let cost = source.now.cost_of(*weight);
                let harvested_us = source.now.harvested_us;
                let over = source.hand_over(at_us, *weight, read.as_ref(), settings);
                self.post(*from, entry, over.reckoned);
                let came = Coming {
                    drip: over.drip,
                    harvested_us,
                    ..coming(*weight, cost, Some(over.budget))
                };
                self.come_in(day, at_us, *to, &came);
            }
            What::Moved {
                part,
                outlet,
                weight,
                emptied,
            } => {
                let read = self.read(day, entry, *part).unwrap_or_default();
                let reckoned = self
                    .part(day, *part)
                    .go_out(at_us, *weight, &read, *emptied, settings);
                self.post(*part, entry, reckoned);
                more(self.out.entry(*part).or_default(), *outlet, *weight);
            }
            What::Made {
                kind,
                inputs,
                lots,
                cutting_loss,
                table_unaccounted,
            } => {
                self.made(day, at_us, entry, *kind, inputs, lots);
                self.totals.cutting_loss = add(self.totals.cutting_loss, *cutting_loss);
                self.totals.table_unaccounted =
                    add(self.totals.table_unaccounted, *table_unaccounted);
            }
            What::Counted { part, weight } => {
                let read = self.read(day, entry, *part).unwrap_or_default();
                let reckoned = self.part(day, *part).count(at_us, *weight, read);
                self.post(*part, entry, reckoned);
            }
        }
    }

    fn made(
        &mut self,
        day: &DayInput,
        at_us: i64,
        entry: i64,
        kind: MakingKind,
        inputs: &[Used],
        lots: &[NewLot],
    ) {
        let mut taken = Holding::default();
        for used in inputs {
            let read = self.read(day, entry, used.part);
            let source = self.part(day, used.part);
            let cost = source.now.cost_of(used.weight);
            taken.harvested_us = earlier(taken.harvested_us, source.now.harvested_us);
            let over = if kind == MakingKind::Pool && !used.emptied {
                source.hand_over(at_us, used.weight, read.as_ref(), &day.settings)
            } else {
                let budget = read.unwrap_or_default();
                let reckoned =
                    source.go_out(at_us, used.weight, &budget, used.emptied, &day.settings);
                HandedOver {
                    reckoned,
                    drip: 0,
                    budget,
                }
            };
            self.post(used.part, entry, over.reckoned);
            more(&mut self.used, used.part, used.weight);
            self.totals.used = add(self.totals.used, used.weight);
            taken.came_in = add(taken.came_in, used.weight);
            taken.cost_minor = taken.cost_minor.saturating_add(cost);
            taken.drip = taken.drip.saturating_add(over.drip);
            taken.budget = taken.budget.plus(&over.budget);
        }
        let bears_cost = |lot: &&NewLot| {
            let form = day.parts.get(&lot.part).map(|facts| facts.presentation);
            matches!(kind, MakingKind::Pool | MakingKind::Freeze)
                || form.is_some_and(|form| form.is_fillet() || form.is_fish())
        };
        let whole: Weight = lots.iter().filter(bears_cost).map(|lot| lot.weight).sum();
        let (mut so_far, mut spread) = (Weight::ZERO, 0_i64);
        for lot in lots {
            let mut cost = 0;
            if bears_cost(&lot) {
                // Rounded as a running sum, so that the shares add up exactly.
                so_far = add(so_far, lot.weight);
                let up_to = share(taken.cost_minor, so_far, whole);
                cost = up_to.saturating_sub(spread);
                spread = up_to;
            }
            // A pool is what was poured into it, unless somebody weighed the bin.
            let poured = kind == MakingKind::Pool && lot.weight == taken.came_in;
            let budget = if poured {
                Some(taken.budget.clone())
            } else {
                self.read(day, entry, lot.part)
            };
            let came = Coming {
                drip: std::mem::take(&mut taken.drip),
                harvested_us: taken.harvested_us,
                ..coming(lot.weight, cost, budget)
            };
            self.come_in(day, at_us, lot.part, &came);
            self.totals.made = add(self.totals.made, lot.weight);
        }
        self.makings.insert(entry, taken);
    }

    fn come_in(&mut self, day: &DayInput, at_us: i64, id: PartId, coming: &Coming) {
        let held = day.parts.get(&id).is_some_and(|facts| facts.held);
        let part = self.part(day, id);
        if part.stage != Stage::Open {
            part.now.held_us = if held { at_us } else { 0 };
        }
        part.come_in(at_us, coming);
    }

    /// What an entry's readings of a part leave uncertain, the first time it is asked
    /// for; `None` where nothing was read.
    fn read(&mut self, day: &DayInput, entry: i64, part: PartId) -> Option<Budget> {
        let read = day.read.get(&entry)?;
        let mut of_part = read
            .iter()
            .filter(|read| read.part == Some(part))
            .peekable();
        of_part.peek()?;
        if !self.taken_in.insert((entry, part)) {
            return Some(Budget::default());
        }
        Some(of_part.fold(Budget::default(), |sum, read| sum.plus(&budget(day, read))))
    }

    fn part(&mut self, day: &DayInput, id: PartId) -> &mut PartDay {
        self.parts.entry(id).or_insert_with(|| {
            let rate = drip(day, id);
            let finished = day.parts.get(&id).and_then(|facts| facts.finished.clone());
            finished.map_or_else(
                || PartDay::new(day.start_us, rate),
                |held| PartDay::finished_before(held, day.start_us, rate),
            )
        })
    }

    fn post(&mut self, part: PartId, by: i64, reckoned: Reckoned) {
        let Reckoned {
            shrink,
            unaccounted,
        } = reckoned;
        if !shrink.is_zero() || !unaccounted.is_zero() {
            self.posted.push(Posted {
                part,
                by,
                shrink,
                unaccounted,
            });
        }
    }

    /// What is not certain of all that was counted or finished: what parts share, such
    /// as a scale that is off, adds up over them with its sign.
    pub(super) fn explained(&self) -> Budget {
        let parts = self.parts.values();
        let explained = parts.filter_map(|part| part.explained.as_ref());
        explained.fold(Budget::default(), |sum, of| sum.plus(of))
    }

    /// Parts that anything happened to, or that were there.
    fn touched(&self) -> impl Iterator<Item = (PartId, &PartDay)> {
        self.parts
            .iter()
            .filter(|(_, part)| part.stage != Stage::Untouched)
            .map(|(&id, part)| (id, part))
    }

    /// Parts still there as the day ends.
    pub(super) fn open(&self) -> impl Iterator<Item = (PartId, &PartDay)> {
        self.touched().filter(|(_, part)| part.stage == Stage::Open)
    }

    pub(super) fn on_hand(&self) -> BTreeMap<PartId, Holding> {
        self.open()
            .map(|(id, part)| (id, part.now.clone()))
            .collect()
    }

    pub(super) fn day_balance(&self) -> DayBalance {
        let sum = |of: fn(&PartDay) -> Weight| self.parts.values().map(of).sum();
        let mut out: BTreeMap<Outlet, Weight> = BTreeMap::new();
        for (&outlet, &weight) in self.out.values().flatten() {
            more(&mut out, outlet, weight);
        }
        DayBalance {
            opening: sum(|part| part.opening),
            out: outlet_weights(&out),
            shrink: sum(|part| part.shrink),
            unaccounted: sum(|part| part.unaccounted),
            closing: sum(|part| part.now.weight),
            ..self.totals.clone()
        }
    }

    pub(super) fn part_balances(&self, day: &DayInput) -> Vec<PartBalance> {
        let row = |(id, part): (PartId, &PartDay)| {
            let facts = day.parts.get(&id)?;
            Some(PartBalance {
                part: id,
                species: facts.species.clone(),
                presentation: facts.presentation,
                supplier: facts.supplier.clone(),
                opening: part.opening,
                came_in: part.came_in,
                went_out: part.went_out,
                shrink: part.shrink,
                unaccounted: part.unaccounted,
                closing: part.now.weight,
                counted: part.counted,
                finished: part.stage == Stage::Finished,
                explained: part.explained.as_ref().and_then(Budget::explains),
            })
        };
        self.touched().filter_map(row).collect()
    }

    /// Undersize parts that were there or came in, and where they went.
    pub(super) fn undersize(&self, day: &DayInput) -> Vec<UndersizeRow> {
        let row = |(id, part): (PartId, &PartDay)| {
            let facts = day.parts.get(&id).filter(|facts| facts.undersize)?;
            let out = self.out.get(&id).map(outlet_weights).unwrap_or_default();
            Some(UndersizeRow {
                part: id,
                species: facts.species.clone(),
                supplier: facts.supplier.clone(),
                proposed: facts.proposed,
                proposed_reason: facts.proposed_reason.clone(),
                taken_in: self.bought.get(&id).copied().unwrap_or_default(),
                out,
                made_into_lots: self.used.get(&id).copied().unwrap_or_default(),
                left: part.now.weight,
            })
        };
        self.touched().filter_map(row).collect()
    }

    /// What was there and has no drip set, frozen fish aside.
    pub(super) fn drip_not_set(
        &self,
        day: &DayInput,
    ) -> BTreeSet<(String, Presentation, Option<Storage>)> {
        self.touched()
            .filter_map(|(id, _)| day.parts.get(&id))
            .filter(|facts| facts.storage != Some(Storage::Frozen))
            .filter(|facts| {
                let set = day
                    .settings
                    .drip(&facts.species, facts.presentation, facts.storage);
                set.is_none()
            })
            .map(|facts| (facts.species.clone(), facts.presentation, facts.storage))
            .collect()
    }
}

/// What of one entry comes first: a bin is pooled, then counted.
fn rank(what: &What) -> i64 {
    match what {
        What::Bought { .. } | What::Returned { .. } => 0,
        What::Shifted { .. } | What::Moved { .. } | What::Made { .. } => 1,
        What::Counted { .. } => 2,
    }
}

fn drip(day: &DayInput, id: PartId) -> Option<&DripRate> {
    day.parts.get(&id).and_then(|facts| {
        day.settings
            .drip(&facts.species, facts.presentation, facts.storage)
    })
}

/// What one reading leaves uncertain.
pub(super) fn budget(day: &DayInput, read: &Read) -> Budget {
    let facts = read.part.and_then(|part| day.parts.get(&part));
    let wet = facts.is_none_or(|facts| facts.storage != Some(Storage::Frozen));
    Budget::of(read, day.scales.get(&read.scale), wet, &day.settings)
}

fn coming(weight: Weight, cost_minor: i64, budget: Option<Budget>) -> Coming {
    Coming {
        weight,
        cost_minor,
        drip: 0,
        budget: budget.unwrap_or_default(),
        harvested_us: 0,
    }
}

/// `part / whole` of `minor`, half up; nothing of nothing.
pub(super) fn share(minor: i64, part: Weight, whole: Weight) -> i64 {
    let product = i128::from(minor).saturating_mul(i128::from(part.units()));
    decimal::half_up(product, i128::from(whole.units())).unwrap_or(0)
}

fn more<K: Ord>(sums: &mut BTreeMap<K, Weight>, key: K, weight: Weight) {
    let sum = sums.entry(key).or_default();
    *sum = add(*sum, weight);
}

fn outlet_weights(sums: &BTreeMap<Outlet, Weight>) -> Vec<OutletWeight> {
    sums.iter()
        .map(|(&outlet, &weight)| OutletWeight { outlet, weight })
        .collect()
}
