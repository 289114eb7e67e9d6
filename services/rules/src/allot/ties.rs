//! One of the best plans that are equal in all but where exactly what lies.
//!
//! Where a chain that closes costs nothing, it can be moved along without a loss. Rooms
//! are gone through in order of their ids, and for each room the supplies in order of
//! theirs: as much of the supply as can be brought in by such chains is brought in, and
//! then stays. So of all best plans the one remains that has most of the first supply in
//! the first room, then most of the second, and so on.
//!
//! Nearly always only a supply that is split could be part of such a chain, so there is
//! little to go through.

#![cfg_attr(
    not(test),
    expect(clippy::as_conversions, reason = "a place fits 32 bits")
)]

use std::collections::VecDeque;

use super::flow::{Arc, Flow, Step};

/// A supply that could lie otherwise at no cost.
struct Loose {
    supply: usize,
    /// Where, in order; the ground is the last.
    rooms: Vec<usize>,
}

/// Leaves the one plan of the best ones.
pub(super) fn break_them(flow: &mut Flow) {
    let loose = loose(flow);
    for room in 0..flow.stated.ground() {
        for n in 0..loose.len() {
            if loose[n].rooms.contains(&room) {
                while bring(flow, &loose, n, room) {}
            }
        }
    }
}

fn loose(flow: &Flow) -> Vec<Loose> {
    let stated = flow.stated;
    let mut loose = Vec::new();
    for supply in 0..stated.supplies() {
        let Some(&(lies, _)) = flow.lies[supply].first() else {
            continue;
        };
        let there = |room: usize| stated.worth(supply, room).plus(flow.price[room]);
        let most = there(lies as usize);
        let rooms = (0..stated.width()).filter(|room| stated.may(supply, *room));
        let rooms: Vec<usize> = rooms.filter(|room| there(*room) == most).collect();
        if rooms.len() > 1 {
            loose.push(Loose { supply, rooms });
        }
    }
    loose
}

/// Brings more of a supply into a room, by the shortest chain that costs nothing and
/// touches nothing that stays; `false` where there is none.
fn bring(flow: &mut Flow, loose: &[Loose], n: usize, room: usize) -> bool {
    let supply = loose[n].supply;
    // By which steps each room was reached, and from where.
    let mut from: Vec<Option<(usize, Vec<Step>)>> = vec![None; flow.stated.width()];
    let mut next = VecDeque::from([room]);
    let found = 'search: loop {
        let Some(at) = next.pop_front() else {
            return false;
        };
        let mut reach = |to: usize, steps: Vec<Step>| {
            // Earlier rooms are done, and into this one leads the supply alone.
            let open = to > room && from[to].is_none();
            if open {
                from[to] = Some((at, steps));
                next.push_back(to);
            }
            open && flow.amount(supply, to) > 0
        };
        for (m, other) in loose.iter().enumerate() {
            // Of this room only what comes after the supply can still leave.
            let moves = (at != room || m > n) && flow.amount(other.supply, at) > 0;
            for &to in other.rooms.iter().filter(|_| moves) {
                if reach(to, moved(other.supply, at, to)) {
                    break 'search to;
                }
            }
        }
        for to in 0..flow.stated.width() {
            let free = flow.free(at, to);
            if free.is_some_and(|step| reach(to, vec![step])) {
                break 'search to;
            }
        }
    };
    let mut chain = moved(supply, found, room);
    let mut to = found;
    while to != room {
        let (before, steps) = from[to].take().expect("the chain leads back to the room");
        chain.extend(steps);
        to = before;
    }
    flow.shift(&chain);
    true
}

fn moved(supply: usize, from: usize, to: usize) -> Vec<Step> {
    vec![
        Step::Less(Arc::Supply(supply, from)),
        Step::More(Arc::Supply(supply, to)),
    ]
}
