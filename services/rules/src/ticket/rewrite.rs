//! What a rewritten ticket keeps.
//!
//! A rewrite keeps the price instant, and the code of every lot whose species,
//! presentation, supplier, areas and dates are as before; only where one of them
//! changed is there a new code. Parts are matched by what makes them alike, so
//! whatever moved out of a part since still names it. That the old ticket may be
//! rewritten at all is the desk's to decide.
//!
//! Holds and releases are movements too. Of a held line that was released, the weight
//! that was given back stays given back; of the line's new pay as much stays owed as
//! the release made owed, and all of it where nothing of the line is held any more.
//! Pay taken back with fish that was thrown out stays taken back.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{CatchArea, LotIn, Notice, NoticeKind, ReleasedBefore, Ticket, WeighIn};
use crate::fish::{PartKey, Presentation};
use crate::ids::MOST_LOTS;
use crate::money::Money;
use crate::weight::Weight;

/// Where a lot came from: what makes its code its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// Party code of the harvester of record.
    pub harvester: String,
    /// Areas, in order, each once.
    pub areas: Vec<CatchArea>,
    /// First harvest day.
    pub harvest_from: Option<NaiveDate>,
    /// Last harvest day.
    pub harvest_to: Option<NaiveDate>,
}

impl Source {
    /// Source of a lot of a weigh-in: the lot's own areas and dates where it
    /// has them, else the landing's.
    #[must_use]
    pub fn of(asked: &WeighIn, lot: &LotIn) -> Source {
        let landing = &asked.landing;
        let areas = if lot.areas.is_empty() {
            &landing.areas
        } else {
            &lot.areas
        };
        let mut areas = areas.clone();
        areas.sort();
        areas.dedup();
        Source {
            species: lot.species.clone(),
            presentation: lot.presentation,
            harvester: asked.harvester.clone(),
            areas,
            harvest_from: lot.harvest_from.or(landing.harvest_from),
            harvest_to: lot.harvest_to.or(landing.harvest_to),
        }
    }
}

/// The ticket whose place another takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prior {
    /// Number its lot codes bear.
    pub number: i64,
    /// Its price instant, which the rewrite keeps.
    pub priced_us: i64,
    /// Every lot coded under that number, by this ticket or by one before it.
    pub lots: Vec<PriorLot>,
}

/// A lot of the rewritten ticket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriorLot {
    /// Its position on the ticket, from 1; 0 for a lot of an earlier one.
    pub n: i64,
    /// Its place in the code.
    pub place: i64,
    /// Where it came from.
    pub source: Source,
    /// Every part it has, those of holds and regrades too, with their numbers.
    pub parts: Vec<(PartKey, i64)>,
}

impl Prior {
    /// A ticket as it was first answered, by what was asked and what came of
    /// it. `entry` is its entry's id.
    ///
    /// Parts that later deeds opened are not in a ticket: the caller adds them.
    #[must_use]
    pub fn of(entry: i64, asked: &WeighIn, ticket: &Ticket) -> Prior {
        let lots = ticket
            .lots
            .iter()
            .zip(&asked.lots)
            .filter_map(|(lot, written)| {
                let parts = ticket
                    .lines
                    .iter()
                    .filter(|line| line.lot == lot.n)
                    .map(|line| {
                        let key = PartKey {
                            band: line.band,
                            grade: line.grade.clone(),
                            condition: line.condition,
                            held: line.held,
                        };
                        (key, line.part)
                    });
                Some(PriorLot {
                    n: lot.n,
                    place: lot.place?,
                    source: Source::of(asked, written),
                    parts: parts.collect(),
                })
            });
        Prior {
            number: ticket.number.unwrap_or(entry),
            priced_us: ticket.priced_us,
            lots: lots.collect(),
        }
    }
}

/// What was given back of a held part of the rewritten ticket.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GivenBack {
    /// Place of its lot in the code.
    pub place: i64,
    /// Number of the part.
    pub part: i64,
    /// How much weight was moved out of it.
    pub weight: Weight,
    /// Pay that became owed with it.
    pub pay: Money,
}

/// Carries what was given back of the rewritten ticket over to the lines of this one
/// that stand for the same held parts.
pub fn carry_over(ticket: &mut Ticket, given: &[GivenBack]) {
    for (n, line) in (1_i64..).zip(&ticket.lines) {
        let lot = ticket.lots.iter().find(|lot| lot.n == line.lot);
        let place = lot.and_then(|lot| lot.place);
        let before = given
            .iter()
            .find(|given| Some(given.place) == place && given.part == line.part);
        let Some(before) = before.filter(|_| line.held) else {
            continue;
        };
        let pay = ticket.pay_of(n);
        let released = ReleasedBefore {
            line: n,
            weight: before.weight,
            pay: if line.net <= before.weight || pay.minor() < before.pay.minor() {
                pay
            } else {
                before.pay
            },
        };
        ticket.notices.push(Notice {
            kind: NoticeKind::Warning,
            code: "released_before".to_owned(),
            text: format!(
                "Line {n} was released before the ticket was written again: {} of its pay is owed.",
                released.pay
            ),
            line: n,
        });
        ticket.released.push(released);
    }
}

/// Gives lots their places, in the order they ask.
///
/// A lot that stands where one of the same source stood is that lot, whether
/// anything of it is bought this time or not: of two lots of one source neither
/// can take the other's code. A lot that stands elsewhere takes the first of its
/// source that is left over.
pub(super) struct Places<'a> {
    /// By position from 1: the lot that stood there and stands there again.
    kept: BTreeMap<i64, &'a PriorLot>,
    /// Lots of the rewritten ticket that are left over.
    over: Vec<&'a PriorLot>,
    next: i64,
}

impl<'a> Places<'a> {
    pub(super) fn new(prior: Option<&'a Prior>, asked: &WeighIn) -> Places<'a> {
        let old: Vec<&PriorLot> = prior.into_iter().flat_map(|prior| &prior.lots).collect();
        let last = old.iter().map(|lot| lot.place).max().unwrap_or(0);
        let stands = |old: &PriorLot| {
            let mut lots = (1_i64..).zip(&asked.lots);
            lots.any(|(n, lot)| n == old.n && Source::of(asked, lot) == old.source)
        };
        let (kept, over): (Vec<_>, Vec<_>) = old.into_iter().partition(|old| stands(old));
        Places {
            kept: kept.into_iter().map(|old| (old.n, old)).collect(),
            over,
            next: last.saturating_add(1),
        }
    }

    /// Place of the lot at position `n` and the numbers of its parts; `None` where
    /// the codes are used up.
    pub(super) fn take(
        &mut self,
        n: i64,
        asked: &WeighIn,
        lot: &LotIn,
    ) -> Option<(i64, PartNumbers)> {
        let source = Source::of(asked, lot);
        let old = self.kept.remove(&n).or_else(|| {
            let found = self.over.iter().position(|old| old.source == source)?;
            Some(self.over.remove(found))
        });
        if let Some(old) = old {
            return Some((
                old.place,
                PartNumbers {
                    taken: old.parts.clone(),
                },
            ));
        }
        let place = self.next;
        self.next = place.saturating_add(1);
        (place <= MOST_LOTS).then_some((place, PartNumbers { taken: Vec::new() }))
    }
}

/// Gives the parts of a lot their numbers.
pub(super) struct PartNumbers {
    taken: Vec<(PartKey, i64)>,
}

impl PartNumbers {
    /// The number a part has, or the next one.
    pub(super) fn of(&mut self, key: &PartKey) -> i64 {
        if let Some((_, n)) = self.taken.iter().find(|(taken, _)| taken == key) {
            return *n;
        }
        let last = self.taken.iter().map(|(_, n)| *n).max().unwrap_or(0);
        let n = last.saturating_add(1);
        self.taken.push((key.clone(), n));
        n
    }
}
