//! Nights at once, nights that lost their lease, and nights cut off.

use books::lease::{self, Lease};
use books::testing::Fault;

use super::*;

conformance! {
    of_two_nights_at_once_one_works_and_the_other_says_who, held;
    a_night_that_lost_its_lease_writes_nothing_more, lost;
    a_lease_that_ended_is_anybodys, ended;
    a_night_with_nothing_new_takes_no_lease, nothing_new;
    a_night_cut_off_at_any_write_and_run_again_is_the_same, cut_off;
}

const AT: i64 = 1_900_000_000_000_000;

pub(super) fn holder(name: &str) -> Holder {
    Holder {
        name: name.to_owned(),
        clock_us: || AT,
        is_gone: |holder| holder == "killed",
    }
}

/// An hour later.
fn later(name: &str) -> Holder {
    Holder {
        clock_us: || AT + HOUR,
        ..holder(name)
    }
}

async fn leases(db: &Db) -> Vec<Lease> {
    let mut tx = db.read().await.unwrap();
    let leases = lease::all(&mut tx).await.unwrap();
    tx.rollback().await;
    leases
}

async fn night_of(dock: &Dock, holder: &Holder) -> Result<Outcome, NightError> {
    super::super::run(&dock.db, SITE, TUESDAY, at(WEDNESDAY, 25), false, holder).await
}

async fn held(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    let first = holder("the other");
    let db = dock.db.clone();
    let mut other = Watch::new(&db, &first);
    let site = on_file(&dock.db).await;
    other.lease(&site).await.unwrap();
    let entries = dock.entries().await;
    let told = night_of(&dock, &holder("one")).await.unwrap_err();
    // Ten minutes on, by the machine's clock, in the site's time.
    assert_eq!(
        told.to_string(),
        "the night of site 1 is being worked by the other, until 2030-03-17T13:56:40-04:00 at \
         the latest: run it again after that"
    );
    assert_eq!(dock.entries().await, entries, "nothing was written");
    other.end().await;
    let outcome = night_of(&dock, &holder("one")).await.unwrap();
    assert_eq!((outcome.revision, outcome.changed), (1, true));
    // It is given back, and both who had it are counted.
    let [last] = &leases(&dock.db).await[..] else {
        panic!("one lease")
    };
    assert_eq!(
        (last.holder.as_str(), last.fence, last.until_us),
        ("one", 2, 0)
    );
}

async fn on_file(db: &Db) -> Site {
    let mut tx = db.read().await.unwrap();
    let office = register::load(&mut tx).await.unwrap();
    tx.rollback().await;
    office.sites[&SITE].clone()
}

/// Any deed.
fn deed(request_id: &str) -> Deed {
    Deed {
        site: SITE,
        day: TUESDAY,
        pay_day: None,
        request_id: request_id.to_owned(),
        print: [0; 32],
        kind: "close",
        party: String::new(),
        actor: "nightly".to_owned(),
        happened_us: 0,
        recorded_us: 0,
        must_hold: vec![],
        bumps: vec![],
        doc: "{}".to_owned(),
        rows: vec![],
    }
}

async fn lost(db: Db) {
    let dock = Dock::open(db).await;
    let site = on_file(&dock.db).await;
    let [one, two] = ["one", "two"].map(holder);
    let two = Holder {
        is_gone: |holder| holder == "one",
        ..two
    };
    let mut first = Watch::new(&dock.db, &one);
    assert!(first.write(&site, deed("a")).await.unwrap());
    // Another takes over, of which the first knows nothing.
    let mut second = Watch::new(&dock.db, &two);
    assert!(second.write(&site, deed("b")).await.unwrap());
    let entries = dock.entries().await;
    let stopped = first.write(&site, deed("c")).await;
    assert!(
        matches!(stopped, Err(NightError::TakenOver(SITE))),
        "{stopped:?}"
    );
    assert_eq!(dock.entries().await, entries, "the book refused it");
    assert!(second.write(&site, deed("d")).await.unwrap());
    // What it gives back is not its own any more, and stays with the second.
    first.end().await;
    assert!(leases(&dock.db).await[0].until_us > AT);
    second.end().await;
}

async fn ended(db: Db) {
    let dock = Dock::open(db).await;
    let site = on_file(&dock.db).await;
    let (slept, woke) = (holder("one"), later("one"));
    let mut first = Watch::new(&dock.db, &slept);
    assert!(first.write(&site, deed("a")).await.unwrap());
    first.holder = &woke;
    let told = first.write(&site, deed("b")).await.unwrap_err();
    assert!(matches!(told, NightError::LeaseEnded { .. }), "{told}");
    assert!(
        told.to_string()
            .contains("ended at 2030-03-17T13:56:40-04:00, before it wrote"),
        "{told}"
    );
    // Nobody gave it back, and nobody has to wait.
    let two = later("two");
    let mut second = Watch::new(&dock.db, &two);
    assert!(second.write(&site, deed("c")).await.unwrap());
    second.end().await;
}

async fn nothing_new(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    night_of(&dock, &holder("one")).await.unwrap();
    let before = leases(&dock.db).await;
    assert_eq!(before.len(), 1);
    let again = night_of(&dock, &holder("two")).await.unwrap();
    assert!(!again.changed);
    assert_eq!(leases(&dock.db).await, before);
}

/// Two days with everything in them that a close writes.
async fn two_days(db: Db) -> Dock {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "40").await;
    let ben = dock.weigh_in(MONDAY, 7, "ben", "20").await;
    dock.held(MONDAY, 8, ana, "10").await;
    dock.cut(MONDAY, 9, "ana", part(ana, 1), ["10", "3", "6.8", "0.2"])
        .await;
    dock.moved(MONDAY, 10, part(ben, 1), Outlet::Soup, "17", false)
        .await;
    dock.counted(MONDAY, 20, &[(part(ana, 1), "18.5"), (part(ben, 1), "1")])
        .await;
    dock.weigh_in(TUESDAY, 6, "cal", "12").await;
    dock
}

/// Every row that closes wrote, but for the numbers of their entries.
async fn written(db: &Db) -> Vec<String> {
    let mut tx = db.read().await.unwrap();
    let mut all = Vec::new();
    for sql in [
        "SELECT day, revision, manifest, doc, sha256 FROM close",
        "SELECT day, revision, upto_seq, opened_with, left_on_hand FROM close_link",
        "SELECT day, revision, number, place, part, weight, drip, came_in, cost, held_us FROM on_hand",
        "SELECT day, revision, n, number, place, part, by, shrink, unaccounted FROM found",
        "SELECT day, revision, party, owed, held, owed_today FROM party_day",
        "SELECT day, revision, supplier, species, cuts, input, fillet FROM supplier_day",
        "SELECT day, revision, entry, n, supplier, band, weight, fillet FROM cut_fact",
        "SELECT day, revision, from_place, to_place, supplier, species, weight FROM weight_day",
        "SELECT day, revision, key, text, weight, value, gap FROM flag",
        "SELECT COUNT(*) FROM entry",
        "SELECT COUNT(*) FROM spent",
    ] {
        let rows = tx.fetch(sql, &[]).await.unwrap();
        assert!(!rows.is_empty(), "{sql}");
        let mut rows: Vec<_> = rows.iter().map(|row| format!("{row:?}")).collect();
        rows.sort();
        all.push(format!("{sql}: {}", rows.join("\n")));
    }
    tx.rollback().await;
    all
}

/// Makes the book as it was before its nights.
async fn forget(db: &Db) {
    let mut tx = db.write().await.unwrap();
    for table in [
        "close",
        "close_link",
        "on_hand",
        "found",
        "party_day",
        "supplier_day",
        "cut_fact",
        "weight_day",
        "flag",
        "lease",
        "entry WHERE kind = 'close'",
        "request WHERE request_id LIKE 'close-%'",
    ] {
        tx.execute(&format!("DELETE FROM {table}"), &[])
            .await
            .unwrap();
    }
    let sql = "DELETE FROM head WHERE day > ?";
    tx.execute(sql, &[Val::Int(TUESDAY)]).await.unwrap();
    tx.commit().await.unwrap();
}

/// Cuts a night off at every statement and every commit, each time as if none had run,
/// and runs it again: the books come out alike.
async fn cut_off(db: Db) {
    let dock = two_days(db).await;
    night_of(&dock, &holder("undisturbed")).await.unwrap();
    let undisturbed = written(&dock.db).await;

    let (mut nth, mut cuts) = (0, 0);
    let mut faults = vec![Fault::Gone, Fault::CommitNeverSent, Fault::CommitAnswerLost];
    while !faults.is_empty() {
        nth += 1;
        let mut over = Vec::new();
        for fault in &faults {
            forget(&dock.db).await;
            dock.db.faults().plan(nth, *fault);
            let first = night_of(&dock, &holder("killed")).await;
            if dock.db.faults().left() > 0 {
                // The night had no such statement.
                assert!(first.is_ok());
                over.push(*fault);
                dock.db.faults().forget();
                continue;
            }
            cuts += 1;
            let again = night_of(&dock, &holder("next")).await;
            again.unwrap_or_else(|error| panic!("{fault:?} at {nth}: {error}"));
            assert_eq!(written(&dock.db).await, undisturbed, "{fault:?} at {nth}");
        }
        faults.retain(|fault| !over.contains(fault));
    }
    assert!(cuts > 60, "a night has more statements than {cuts}");
}
