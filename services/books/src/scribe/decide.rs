//! What becomes of each deed of a group, decided in the order of the queue.
//!
//! Pure: what the books hold comes in, answers and the heads as they are to be stored
//! go out. A deed sees what the recorded ones before it in the group did, as if each
//! had been committed alone.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{Answer, Condition, Deed, LAST_SEQ, Stamp, entry_id, is_about_lot};

/// Where a site's day stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Head {
    /// Sequence number the next entry gets; on day 0, the epoch.
    pub(super) next: i64,
    /// Newest `recorded_us`.
    pub(super) last_us: i64,
}

/// Why a deed gets no numbers.
enum Unnumbered {
    /// Its day has too few left.
    Full { left: i64 },
    /// The head of its day was not locked.
    NoHead,
}

/// Heads by (site, day).
pub(super) type Heads = BTreeMap<(i64, i64), Head>;

/// What the books hold of all that a group asks about.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen {
    pub(super) heads: Heads,
    /// Epoch of what all sites share, where its head is not among them.
    pub(super) shared_epoch: i64,
    /// Print and entry of each request that is known.
    pub(super) requests: HashMap<String, (Vec<u8>, i64)>,
    /// How each spent item was spent.
    pub(super) spent: BTreeMap<(i64, i64), String>,
    /// How often weight moved within a lot or came back into it.
    pub(super) lots: BTreeMap<(i64, i64), i64>,
    /// Newest fence of each site's night that is asked about.
    pub(super) fences: BTreeMap<i64, i64>,
    /// Numbers of lots that something happened to.
    pub(super) moved: BTreeSet<i64>,
}

/// One answer for each deed, and the heads after them. [`Answer::Recorded`] is what
/// will be true once it is written.
pub(super) fn decide(deeds: &[Deed], mut seen: Seen) -> (Vec<Answer>, Heads) {
    let answers = deeds.iter().map(|deed| seen.answer(deed)).collect();
    (answers, seen.heads)
}

impl Seen {
    fn answer(&mut self, deed: &Deed) -> Answer {
        if let Some(why) = deed.malformed() {
            return Answer::Broken(why);
        }
        if let Some((print, entry)) = self.requests.get(&deed.request_id) {
            return if *print == deed.print {
                Answer::Repeated { entry: *entry }
            } else {
                Answer::OtherBody
            };
        }
        if let Some(unmet) = self.unmet(deed) {
            return Answer::Unmet(unmet.clone());
        }
        match self.number(deed) {
            Ok(stamp) => {
                self.remember(deed, stamp.entry);
                Answer::Recorded(stamp)
            }
            Err(Unnumbered::Full { left }) => Answer::Full { left },
            Err(Unnumbered::NoHead) => Answer::Broken("a head was not locked".to_owned()),
        }
    }

    /// The first condition that does not hold.
    fn unmet<'a>(&self, deed: &'a Deed) -> Option<&'a Condition> {
        let mut own = BTreeSet::new();
        deed.must_hold.iter().find(|condition| {
            let holds = match condition {
                Condition::Spend { what, item, .. } => {
                    !self.spent.contains_key(&(*what, *item)) && own.insert((*what, *item))
                }
                Condition::SpendOwn { .. } => true,
                Condition::Epoch { site, seen } => match self.heads.get(&(*site, 0)) {
                    Some(head) => head.next == *seen,
                    None => *site == 0 && self.shared_epoch == *seen,
                },
                Condition::LotSeen {
                    number,
                    place,
                    seen,
                } => self.lots.get(&(*number, *place)).copied().unwrap_or(0) == *seen,
                Condition::Stands { ticket } => self
                    .spent
                    .get(&(*ticket, 0))
                    .is_none_or(|how| how != "void" && how != "rewrite"),
                Condition::Unmoved { number } => !self.moved.contains(number),
                Condition::Fence { site, fence } => self.fences.get(site) == Some(fence),
            };
            !holds
        })
    }

    /// Gives the deed its numbers, on its own day and on the one it was entered on.
    fn number(&mut self, deed: &Deed) -> Result<Stamp, Unnumbered> {
        let own = (deed.site, deed.day);
        let pay = deed.pay_day.map(|day| (deed.site, day));
        let epochs = deed.bumps.iter().map(|site| (*site, 0));
        // On copies: nothing moves unless all can move.
        let mut heads = Heads::new();
        let mut take = |key: (i64, i64), more: i64| {
            let stored = self.heads.get(&key).ok_or(Unnumbered::NoHead)?;
            let head = heads.entry(key).or_insert(*stored);
            if head.next > LAST_SEQ - more {
                let left = (LAST_SEQ - head.next + 1).max(0);
                return Err(Unnumbered::Full { left });
            }
            let taken = head.next;
            head.next += 1 + more;
            Ok(taken)
        };
        let entry = entry_id(deed.day, deed.site, take(own, deed.numbers_ahead())?);
        let late = match pay {
            Some((site, day)) => Some(entry_id(day, site, take((site, day), 0)?)),
            None => None,
        };
        for epoch in epochs {
            take(epoch, 0)?;
        }
        let days = || [own].into_iter().chain(pay);
        let newest = days()
            .filter_map(|day| heads.get(&day))
            .map(|head| head.last_us)
            .max();
        let recorded_us = deed.recorded_us.max(newest.unwrap_or(0));
        for day in days() {
            heads
                .entry(day)
                .and_modify(|head| head.last_us = recorded_us);
        }
        self.heads.extend(heads);
        Ok(Stamp {
            entry,
            recorded_us,
            late,
        })
    }

    /// What the next deeds of the group have to know of this one.
    fn remember(&mut self, deed: &Deed, entry: i64) {
        let known = (deed.print.to_vec(), entry);
        self.requests.insert(deed.request_id.clone(), known);
        for condition in &deed.must_hold {
            if let Condition::Spend { what, item, how } = condition {
                self.spent.insert((*what, *item), (*how).to_owned());
            }
        }
        for row in deed.rows.iter().filter(|row| is_about_lot(row.table)) {
            let (number, place) = (row.int("number", entry), row.int("place", entry));
            self.moved.extend(number);
            if let (Some(number), Some(place)) = (number, place) {
                *self.lots.entry((number, place)).or_insert(0) += 1;
            }
        }
    }
}

#[cfg(test)]
mod tests;
