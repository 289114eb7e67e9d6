//! The program killed at any moment, also in its start, and started again: what was
//! answered is in the book once, what was not is there at most once, and sending
//! everything again books the rest once.
//!
//! A kill is no power cut: what the system had taken over is still written.

use std::time::{Duration, Instant};

use crate::chance::{any_seed, begin, seeds};
use crate::dock::Dock;
use crate::harness::harbor;
use crate::ledger::{Ledger, by_method, by_stream, entries};

/// Deeds sent before each kill, if it leaves them the time.
const BATCH: usize = 20;
/// Kills after which the whole book is looked at.
const LOOK: usize = 10;

async fn killed(seed: u64, kills: usize) {
    let mut dock = Dock::new(begin(seed));
    let mut ledger = Ledger::default();
    let mut server = harbor().await;
    let started = Instant::now();
    let (mut in_its_start, mut cut_off) = (0, 0);
    for kill in 0..kills {
        if kill > 0 && dock.chance.once_in(5) {
            let after = Duration::from_micros(dock.chance.between(0, 150_000) as u64);
            server = server.killed_in_its_start(after);
            in_its_start += 1;
            continue;
        }
        let channel = server.channel().await;
        // What the last kill left open is sent again, with what is new.
        let mut deeds = ledger.open();
        deeds.extend(dock.deeds(BATCH));
        let by_one_stream = dock.chance.once_in(2);
        let after = Duration::from_micros(dock.chance.between(0, 150_000) as u64);
        let sending = async {
            if by_one_stream {
                by_stream(&channel, &deeds).await
            } else {
                by_method(&channel, &deeds, 8).await
            }
        };
        let killing = async {
            tokio::time::sleep(after).await;
            server.kill();
        };
        let (told, ()) = tokio::join!(sending, killing);
        for (deed, booked) in ledger.write(&deeds, told) {
            dock.learn(&deed, &booked);
        }
        cut_off += ledger.open().len();
        server = server.start_again();
        let channel = server.channel().await;
        if kill % LOOK == 0 {
            ledger.hold_against(&entries(&channel, 4, &[27, 28]).await);
        }
        // A handful of what was answered is asked again.
        let booked = ledger.booked();
        let some: Vec<_> = (0..10)
            .filter_map(|_| dock.chance.one_of(&booked).cloned())
            .collect();
        let again = by_stream(&channel, &some).await;
        ledger.write(&some, again);
    }
    let channel = server.channel().await;
    let rest = ledger.open();
    let told = by_stream(&channel, &rest).await;
    ledger.write(&rest, told);
    assert_eq!(ledger.open(), [], "everything has an answer");
    for all in [ledger.booked(), ledger.booked()] {
        let told = by_method(&channel, &all, 8).await;
        ledger.write(&all, told);
    }
    ledger.hold_against(&entries(&channel, 4, &[27, 28]).await);
    let booked = ledger.booked().len();
    println!(
        "{kills} kills survived, {in_its_start} of them in its start; {} deeds, {booked} booked, \
         {cut_off} times one was cut off and sent again, {} repeats answered alike; {:?}",
        ledger.len(),
        ledger.repeats,
        started.elapsed()
    );
    assert!(booked > kills, "{booked} deeds of {kills} rounds are few");
    assert!(cut_off > 0, "no kill came while a deed was under way");
}

#[tokio::test]
async fn a_program_killed_at_any_moment_has_booked_what_it_answered_and_nothing_twice() {
    for seed in seeds(&[20_310_428]) {
        killed(seed, 10).await;
    }
}

#[tokio::test]
#[ignore = "takes minutes; run by tests/all"]
async fn endurance_two_hundred_kills_lose_nothing_and_book_nothing_twice() {
    for seed in seeds(&[any_seed()]) {
        killed(seed, 200).await;
    }
}
