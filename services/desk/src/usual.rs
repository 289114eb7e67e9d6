//! What a fish usually weighs at a site: the last lots of each species and
//! presentation.
//!
//! A copy, never the book: it only asks questions. It is filled from the book when it
//! is first needed, added to after each weigh-in taken here, and forgotten when a
//! ticket is voided or written again here. What another instance did meanwhile is not
//! in it until then: to know would cost each weigh-in a reading, and of thirty lots a
//! few hardly move the median.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use books::tickets;
use rules::fish::Presentation;
use rules::ticket::price::{CountedFish, USUAL_LOTS, Usual};
use rules::ticket::{Ticket, WeighIn, counted_fish};

use crate::{Booked, Desk, DeskError};

/// By site, species and presentation, newest last; each with its ticket.
type Last = BTreeMap<(i64, String, Presentation), VecDeque<(i64, CountedFish)>>;

/// The copy, shared by the clones of a desk.
pub(crate) type Recent = Arc<Mutex<Last>>;

impl Desk {
    /// What is usual for the fish of a weigh-in.
    pub(crate) async fn usual_of(&self, asked: &WeighIn) -> Result<Vec<Usual>, DeskError> {
        let kinds: BTreeSet<(&str, Presentation)> = asked
            .lots
            .iter()
            .map(|lot| (lot.species.as_str(), lot.presentation))
            .collect();
        let mut all = Vec::with_capacity(kinds.len());
        for (species, presentation) in kinds {
            let key = (asked.site, species.to_owned(), presentation);
            let known = self.recent().get(&key).cloned();
            let lots = match known {
                Some(lots) => lots,
                None => {
                    let mut tx = self.read().await?;
                    let most = USUAL_LOTS;
                    let read =
                        tickets::last_counted(&mut tx, asked.site, species, presentation, most)
                            .await?;
                    let read: VecDeque<(i64, CountedFish)> = read.into();
                    // Whoever was first keeps the copy; both read the same book.
                    self.recent().entry(key).or_insert(read).clone()
                }
            };
            all.push(Usual {
                species: species.to_owned(),
                presentation,
                lots: lots.into_iter().map(|(_, fish)| fish).collect(),
            });
        }
        Ok(all)
    }

    /// Adds a ticket that was booked, once. A rewrite weighs the same fish again, in
    /// place of what the copy has.
    pub(crate) fn note_usual(&self, booked: &Booked<WeighIn, Ticket>) {
        if booked.asked.rewrites.is_some() {
            self.forget_usual(booked.asked.site);
            return;
        }
        let mut recent = self.recent();
        for (lot, done) in booked.asked.lots.iter().zip(&booked.outcome.lots) {
            let key = (booked.asked.site, lot.species.clone(), lot.presentation);
            if let (Some(counted), Some(lots)) = (counted_fish(lot, done), recent.get_mut(&key)) {
                let entry = booked.entry.number();
                if lots.iter().all(|(ticket, _)| *ticket != entry) {
                    lots.push_back((entry, counted));
                }
                while lots.len() > USUAL_LOTS {
                    lots.pop_front();
                }
            }
        }
    }

    /// Has the copy of a site filled from the book again: a ticket ended.
    pub(crate) fn forget_usual(&self, site: i64) {
        self.recent().retain(|(of, _, _), _| *of != site);
    }

    fn recent(&self) -> MutexGuard<'_, Last> {
        self.recent.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
