//! A fresh book is well on both engines, and so is one a deed was written in.
//! Trouble planted into a whole week's book is tests/acceptance's.

use super::*;
use crate::conformance;
use crate::entries::tests::{deed, write};
use crate::testing::Book;

conformance! {
    a_fresh_book_is_well_and_says_so, check_well;
    a_gap_in_the_numbers_is_named, check_gap;
    a_clock_behind_the_newest_entry_is_named, check_clock;
    what_is_spent_by_nobody_is_named, check_spent;
    a_missing_step_of_the_schema_is_named, check_schema;
    a_night_under_way_is_said_and_one_that_seems_to_take_hours_is_named, check_nights;
}

/// A deed whose document is in its form.
async fn written(db: &Db, request_id: &str) -> i64 {
    let doc = r#"{"asked":{},"outcome":{}}"#.to_owned();
    let deed = deed("acknowledge", request_id);
    write(db, crate::Deed { doc, ..deed }).await
}

async fn states(db: &Db, machine_us: i64) -> BTreeMap<&'static str, (State, String)> {
    let checks = examine(db.url(), machine_us).await.unwrap();
    for check in &checks {
        let said = !check.what_to_do.is_empty();
        assert_eq!(said, check.state != State::Ok, "{check:?}");
    }
    let state = |check: Check| (check.name, (check.state, check.seen));
    checks.into_iter().map(state).collect()
}

async fn execute(db: &Db, sql: &str) {
    let mut tx = db.write().await.unwrap();
    tx.execute(sql, &[]).await.unwrap();
    tx.commit().await.unwrap();
}

/// The one check that is not well. That a test's server leaves its disk alone is
/// not the book's trouble.
async fn trouble(db: &Db, machine_us: i64) -> (&'static str, State, String) {
    let mut found = states(db, machine_us).await;
    found.remove("written through");
    found.retain(|_, (state, _)| *state != State::Ok);
    assert_eq!(found.len(), 1, "{found:?}");
    let (name, (state, seen)) = found.pop_first().unwrap();
    (name, state, seen)
}

async fn check_well(db: Db) {
    written(&db, "one").await;
    let mut states = states(&db, 3_000_000).await;
    let (_, through) = states.remove("written through").unwrap();
    assert!(
        through == "journal_mode wal, synchronous 2"
            || through.starts_with("synchronous_commit on"),
        "{through}"
    );
    for name in [
        "engine",
        "schema",
        "numbers",
        "documents",
        "tickets",
        "closes",
        "days",
    ] {
        assert_eq!(states[name].0, State::Ok, "{name}: {states:?}");
    }
    assert_eq!(states["numbers"].1, "1 numbers of 1 days without a gap");
    assert_eq!(
        states["clock"].1,
        "the machine's, 2 s after the newest entry"
    );
    assert_eq!(states["nights"].1, "none is under way");
    assert_eq!(states.len(), 10);
}

async fn check_gap(db: Db) {
    for request in ["one", "two", "three"] {
        written(&db, request).await;
    }
    execute(&db, "DELETE FROM request WHERE request_id = 'two'").await;
    execute(&db, "DELETE FROM entry WHERE id = 2031050200010000002").await;
    let (name, state, seen) = trouble(&db, 3_000).await;
    assert_eq!((name, state), ("numbers", State::Broken));
    assert_eq!(seen, "number 2 of site 1, day 20310502 is missing");
    execute(&db, "UPDATE head SET next = 9").await;
    let (.., seen) = trouble(&db, 3_000).await;
    assert!(seen.contains("gives 9 next, and 4 would follow"), "{seen}");
}

async fn check_clock(db: Db) {
    written(&db, "one").await;
    let long_after = 2_000 + LONG_AGO_US;
    for (machine_us, expected) in [
        (2_000 - BEHIND_US - 1, Some(State::Broken)),
        (2_000 - BEHIND_US, None),
        (long_after, None),
        (long_after + 1, Some(State::Look)),
    ] {
        match expected {
            Some(expected) => {
                let (name, state, seen) = trouble(&db, machine_us).await;
                assert_eq!((name, state), ("clock", expected), "{seen}");
            }
            None => assert_eq!(states(&db, machine_us).await["clock"].0, State::Ok),
        }
    }
    book::set_simulated_now(&db, 1_000).await.unwrap();
    let (name, ..) = trouble(&db, 3_000).await;
    assert_eq!(name, "clock");
    book::set_simulated_now(&db, 2_000).await.unwrap();
    assert_eq!(
        states(&db, 0).await["clock"],
        (State::Ok, "simulated, for trying out".to_owned())
    );
}

async fn check_spent(db: Db) {
    let entry = written(&db, "one").await;
    let sql = format!("INSERT INTO spent (what, item, how, by) VALUES ({entry}, 0, 'void', 7)");
    execute(&db, &sql).await;
    let (name, state, seen) = trouble(&db, 3_000).await;
    assert_eq!((name, state), ("spending", State::Broken));
    assert!(
        seen.ends_with("was spent (void) by 7: one is not there"),
        "{seen}"
    );
}

async fn check_schema(db: Db) {
    execute(&db, "UPDATE migration SET sha256 = 'x' WHERE version = 1").await;
    execute(&db, "DELETE FROM migration WHERE version = 2").await;
    let (name, state, seen) = trouble(&db, 3_000).await;
    assert_eq!((name, state), ("schema", State::Broken));
    assert_eq!(seen, "step 1 was made by another text; step 2 is missing");
}

#[tokio::test]
async fn what_is_no_book_is_named_by_every_check_that_can_be_made() {
    let book = Book::sqlite();
    let file = Db::file_of(&book.url).unwrap();
    std::fs::write(&file, "no book at all, and longer than a header".repeat(9)).unwrap();
    let checks = examine(&book.url, 0).await.unwrap();
    assert!(!checks.is_empty());
    for check in &checks {
        assert_eq!(check.state, State::Broken, "{check:?}");
        assert!(check.seen.starts_with("cannot be read"), "{check:?}");
    }
    book.remove().await;
}

async fn check_nights(db: Db) {
    written(&db, "one").await;
    let now_us = 3_000_000;
    for (until_us, state, seen) in [
        (0, State::Ok, "none is under way"),
        (now_us, State::Ok, "none is under way"),
        (
            now_us + 1,
            State::Ok,
            "site 1 is at it, process 7 on dock, for 1 minutes at most",
        ),
        (
            now_us + 60 * 60_000_000,
            State::Ok,
            "site 1 is at it, process 7 on dock, for 60 minutes at most",
        ),
        (
            now_us + 60 * 60_000_000 + 1,
            State::Look,
            "site 1 is at it, process 7 on dock, for 61 minutes at most",
        ),
    ] {
        execute(&db, "DELETE FROM lease").await;
        execute(
            &db,
            &format!(
                "INSERT INTO lease (site, holder, fence, until_us) \
                 VALUES (1, 'process 7 on dock', 3, {until_us})"
            ),
        )
        .await;
        let told = states(&db, now_us).await;
        assert_eq!(told["nights"], (state, seen.to_owned()), "{until_us}");
    }
}
