//! What an entry was written as is what is read back, on both engines.

use rules::ticket::VoidAsked;

use super::*;
use crate::conformance;
use crate::db::Db;
use crate::doc::entry_doc;
use crate::scribe::{Answer, Condition, Deed, Stamp, entry_id, write_once};
use crate::table::{ENTRY, Row};

conformance! {
    an_entry_is_found_by_its_id_and_by_its_request, check_found;
    an_entry_that_does_not_read_names_its_row, check_corrupt;
    entries_of_a_kind_come_in_order_within_their_range, check_of_kind;
    a_late_entry_stands_on_the_statement_of_the_day_it_was_entered, check_late;
    an_entry_is_ended_by_who_spent_the_whole_of_it, check_ended;
}

pub(crate) const SITE: i64 = 1;
pub(crate) const FRIDAY: i64 = 20_310_502;
pub(crate) const SATURDAY: i64 = 20_310_503;
pub(crate) const SUNDAY: i64 = 20_310_504;

/// A deed of a site's Friday, of its own request; it says nothing more.
pub(crate) fn deed(kind: &'static str, request_id: &str) -> Deed {
    Deed {
        site: SITE,
        day: FRIDAY,
        pay_day: None,
        request_id: request_id.to_owned(),
        print: [7; 32],
        kind,
        party: "ana".to_owned(),
        actor: "dock".to_owned(),
        happened_us: 1_000,
        recorded_us: 2_000,
        must_hold: Vec::new(),
        bumps: Vec::new(),
        doc: "{}".to_owned(),
        rows: Vec::new(),
    }
}

/// Has it written; its stamp.
pub(crate) async fn stamp(db: &Db, deed: Deed) -> Stamp {
    match write_once(db, deed).await {
        Answer::Recorded(stamp) => stamp,
        other => panic!("not recorded: {other:?}"),
    }
}

/// Has it written; its entry.
pub(crate) async fn write(db: &Db, deed: Deed) -> i64 {
    stamp(db, deed).await.entry
}

/// The `seq`-th entry of the site's Friday.
pub(crate) fn friday(seq: i64) -> i64 {
    entry_id(FRIDAY, SITE, seq)
}

/// That an entry is spent as a whole.
pub(crate) fn ends(what: i64, how: &'static str) -> Vec<Condition> {
    vec![Condition::Spend { what, item: 0, how }]
}

/// Writes rows that no deed would.
pub(crate) async fn damage(db: &Db, rows: &[Row]) {
    let mut tx = db.write().await.unwrap();
    for row in rows {
        let vals: Vec<Val<'_>> = row.cells.iter().map(|cell| cell.val(0)).collect();
        tx.insert(row.table, &[vals]).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Table, column and row that do not read.
#[track_caller]
pub(crate) fn corrupt_at<T: std::fmt::Debug>(
    read: Result<T, BooksError>,
) -> (&'static str, &'static str, i64) {
    match read.unwrap_err() {
        BooksError::Corrupt {
            table, column, row, ..
        } => (table, column, row),
        BooksError::Engine(other) => panic!("{other}"),
    }
}

async fn check_found(db: Db) {
    let asked = VoidAsked {
        ticket: 5,
        reason: "wrong diver".to_owned(),
    };
    let written = Deed {
        happened_us: -1,
        recorded_us: i64::MAX,
        doc: entry_doc(&asked, &()),
        ..deed("void", "r1")
    };
    let id = write(&db, written.clone()).await;
    let other = Deed {
        print: [8; 32],
        party: String::new(),
        ..deed("count", "r2")
    };
    write(&db, other).await;

    let mut tx = db.read().await.unwrap();
    let entry = get(&mut tx, id).await.unwrap().unwrap();
    let expected = Entry {
        id: EntryId::new(friday(1)).unwrap(),
        kind: "void".to_owned(),
        party: "ana".to_owned(),
        happened_us: -1,
        recorded_us: i64::MAX,
        doc: written.doc,
        late: 0,
        actor: written.actor,
    };
    assert_eq!(entry, expected);
    assert_eq!(entry.read::<VoidAsked, ()>().unwrap(), (asked, ()));
    assert_eq!(entry.pay_day(), FRIDAY);
    assert_eq!(get(&mut tx, friday(3)).await.unwrap(), None);

    for (request_id, known) in [
        ("r1", Some((vec![7; 32], friday(1)))),
        ("r2", Some((vec![8; 32], friday(2)))),
        ("R1", None),
        ("", None),
    ] {
        let found = by_request(&mut tx, request_id).await.unwrap();
        assert_eq!(found, known, "{request_id}");
    }
}

async fn check_corrupt(db: Db) {
    let id = write(&db, deed("void", "r1")).await;
    let no_entry = Row::new(
        &ENTRY,
        [
            5.into(),
            "void".into(),
            "".into(),
            "".into(),
            0.into(),
            0.into(),
            "{}".into(),
        ],
    );
    damage(&db, &[no_entry]).await;
    let mut tx = db.read().await.unwrap();
    let entry = get(&mut tx, id).await.unwrap().unwrap();
    let read = entry.read::<VoidAsked, ()>();
    assert_eq!(
        read.as_ref().unwrap_err().to_string(),
        format!(
            "entry.doc of {id} does not read: document does not read at asked: \
             an object was expected"
        )
    );
    assert_eq!(corrupt_at(read), ("entry", "doc", id));
    let strange = get(&mut tx, 5).await;
    assert_eq!(corrupt_at(strange), ("entry", "id", 5));
}

async fn check_of_kind(db: Db) {
    for (n, (day, site, kind, party)) in [
        (FRIDAY, SITE, "hold", "ana"),
        (FRIDAY, SITE, "weigh_in", "ana"),
        (FRIDAY, SITE, "weigh_in", "ben"),
        (FRIDAY, 2, "weigh_in", "ana"),
        (SATURDAY, SITE, "weigh_in", "ana"),
        (SUNDAY, SITE, "weigh_in", "ana"),
    ]
    .into_iter()
    .enumerate()
    {
        let one = Deed {
            day,
            site,
            party: party.to_owned(),
            ..deed(kind, &format!("r{n}"))
        };
        write(&db, one).await;
    }
    let (saturday, sunday) = (entry_id(SATURDAY, SITE, 1), entry_id(SUNDAY, SITE, 1));
    let elsewhere = entry_id(FRIDAY, 2, 1);
    let mut tx = db.read().await.unwrap();
    for (kind, party, from, to, limit, expected) in [
        // The lower end is in the range, the upper is not.
        (
            "weigh_in",
            "",
            friday(2),
            sunday,
            9,
            &[friday(2), friday(3), elsewhere, saturday][..],
        ),
        (
            "weigh_in",
            "",
            friday(3),
            sunday + 1,
            9,
            &[friday(3), elsewhere, saturday, sunday],
        ),
        ("weigh_in", "", friday(3), friday(3), 9, &[]),
        // The oldest, when there are more.
        ("weigh_in", "", 0, i64::MAX, 2, &[friday(2), friday(3)]),
        ("weigh_in", "", 0, i64::MAX, 0, &[]),
        (
            "weigh_in",
            "ana",
            0,
            i64::MAX,
            9,
            &[friday(2), elsewhere, saturday, sunday],
        ),
        ("weigh_in", "an", 0, i64::MAX, 9, &[]),
        ("hold", "ana", 0, i64::MAX, 9, &[friday(1)]),
        ("hold", "ben", 0, i64::MAX, 9, &[]),
    ] {
        let found = of_kind(&mut tx, kind, party, from, to, limit).await;
        let found: Vec<i64> = found.unwrap().iter().map(|e| e.id.number()).collect();
        assert_eq!(found, expected, "{kind} {party:?} [{from}, {to}) {limit}");
    }
}

async fn check_late(db: Db) {
    let late = Deed {
        pay_day: Some(SATURDAY),
        ..deed("weigh_in", "late")
    };
    let stamp = stamp(&db, late).await;
    write(&db, deed("weigh_in", "on time")).await;
    assert_eq!(stamp.late, Some(entry_id(SATURDAY, SITE, 1)));
    let mut tx = db.read().await.unwrap();
    let found = of_kind(&mut tx, "weigh_in", "", 0, i64::MAX, 9).await;
    let found: Vec<_> = found
        .unwrap()
        .iter()
        .map(|e| (e.id.day(), e.late, e.pay_day()))
        .collect();
    assert_eq!(
        found,
        [
            (FRIDAY, entry_id(SATURDAY, SITE, 1), SATURDAY),
            (FRIDAY, 0, FRIDAY)
        ]
    );
    // Its number of the day it was entered is no entry of its own.
    assert_eq!(
        get(&mut tx, entry_id(SATURDAY, SITE, 1)).await.unwrap(),
        None
    );
}

async fn check_ended(db: Db) {
    for request_id in ["one", "two", "three"] {
        write(&db, deed("weigh_in", request_id)).await;
    }
    let void = Deed {
        must_hold: ends(friday(1), "void"),
        ..deed("void", "void")
    };
    write(&db, void).await;
    let release = Deed {
        must_hold: vec![Condition::Spend {
            what: friday(2),
            item: 1,
            how: "release",
        }],
        ..deed("release", "release")
    };
    write(&db, release).await;
    let mut tx = db.read().await.unwrap();
    for (entry, how) in [
        (friday(1), Some(("void".to_owned(), friday(4)))),
        // Of this only an item was spent, and of this nothing.
        (friday(2), None),
        (friday(3), None),
        (friday(9), None),
    ] {
        assert_eq!(ended(&mut tx, entry).await.unwrap(), how, "{entry}");
    }
}
