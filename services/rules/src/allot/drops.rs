//! Drops that are too small to drive.
//!
//! A room may ask for a least drop: what it gets is at least so much, or nothing. The
//! plan is made and tidied; of the rooms that get something, but less than their least
//! drop, the one that gets least is closed (of equals the smaller id) and the plan is
//! made anew without it, until no drop is too small. One at a time, because what the
//! first one frees may be what the next one lacks.
//!
//! A promise that is kept in full is a drop however small: the buyer gave the word for
//! that much. A room whose promise cannot be kept in full is closed like any other, and
//! what it then misses is told, so that somebody calls. A room with a pin stays open:
//! who pinned it wants the drop.

use super::tidy::Tidied;
use super::{Problem, Unallottable, at, place};

/// A room that gets nothing, because what it would have got was too small a drop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Closed {
    /// Which, counted from zero as given.
    pub room: usize,
    /// What it would have got.
    pub divisions: i64,
    /// How much of that was promised.
    pub committed: i64,
}

/// A plan without drops that are too small.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Driven {
    /// The last plan, and what was joined in it.
    pub tidied: Tidied,
    /// In the order closed.
    pub closed: Vec<Closed>,
}

impl Problem {
    /// The best plan, tidied for at most `budget`, in which each room gets its least
    /// drop or nothing. `least` is by rooms as given; 0 asks for none.
    ///
    /// # Errors
    /// Not as many least drops as rooms, or one below zero.
    pub fn solve_with_least_drops(
        &self,
        least: &[i64],
        budget: i64,
    ) -> Result<Driven, Unallottable> {
        let rooms = self.rooms.len();
        let wrong = least.iter().position(|least| *least < 0);
        let wrong = wrong.or((least.len() != rooms).then_some(rooms.min(least.len())));
        if let Some(room) = wrong {
            return Err(Unallottable::NoLeastDrop { room });
        }
        let mut open = self.clone();
        let mut closed = Vec::new();
        loop {
            let tidied = open.tidy(&open.solve(), budget)?;
            let Some((divisions, j)) = open.smallest_drop(&tidied, least) else {
                return Ok(Driven { tidied, closed });
            };
            closed.push(Closed {
                room: place(&self.rooms, j),
                divisions,
                committed: divisions.min(at(&self.committed, j)),
            });
            open.close(j);
        }
    }

    /// The smallest drop below its least, and the room's place.
    fn smallest_drop(&self, tidied: &Tidied, least: &[i64]) -> Option<(i64, usize)> {
        let mut got = vec![0_i64; self.rooms.len()];
        for line in &tidied.plan.lines {
            let j = self.room_place(line.room).ok()?;
            let got = got.get_mut(j)?;
            *got = got.saturating_add(line.divisions);
        }
        let too_small = got.into_iter().zip(0..).filter(|&(got, j)| {
            let committed = at(&self.committed, j);
            let kept = committed > 0 && got >= committed;
            let pinned = self.pins.keys().any(|(_, room)| *room == j);
            got > 0 && got < at(least, place(&self.rooms, j)) && !kept && !pinned
        });
        too_small.min()
    }
}
