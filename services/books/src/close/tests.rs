#![expect(clippy::unwrap_used, reason = "a test may panic")]

use rules::close::{
    CloseState, DayBalance, Flag, FlagKind, PayRow, Posted, RULES_VERSION, YieldRow,
};
use rules::fish::Presentation;
use rules::money::{Currency, Money};

use super::*;
use crate::conformance;
use crate::db::Db;
use crate::scribe::{Answer, write_once};

const MONDAY: DayNumber = 20_310_505;
const TUESDAY: DayNumber = 20_310_506;

fn part(n: i64) -> PartId {
    PartId {
        lot: LotCode::new(2_031_050_500_010_000_001, 1).unwrap(),
        n,
    }
}

fn usd(minor: i64) -> Money {
    Money::new(minor, Currency::new("USD").unwrap())
}

/// A close that left so much weight in one part.
fn judged(day: DayNumber, weight: i64) -> Judged {
    let held = Holding {
        weight: Weight::from_units(weight),
        // More than a whole number of 64 bits.
        drip: 123_456_789_012_345_678_901_234_567_890,
        came_in: Weight::from_units(90),
        cost_minor: 1_000,
        held_us: 7,
    };
    let posted = Posted {
        part: part(1),
        by: 2_031_050_500_010_000_002,
        shrink: Weight::from_units(3),
        unaccounted: Weight::from_units(-4),
    };
    let flag = Flag {
        kind: FlagKind::Uncounted,
        subject: part(1).to_string(),
        text: "not counted".to_owned(),
        weight: Weight::from_units(weight),
        value: usd(0),
        gap: true,
    };
    let pay = PayRow {
        party: "ana".to_owned(),
        owed: usd(1_250),
        held: usd(300),
        owed_today: usd(-50),
    };
    let yields = YieldRow {
        supplier: "ana".to_owned(),
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        specification: "skinless".to_owned(),
        customer_kitchen: true,
        cuts: 1,
        input: Weight::from_units(100),
        fillet: Weight::from_units(30),
        yield_e2: Some(3_000),
        mixed_cuts: 0,
        mixed_input: Weight::ZERO,
    };
    let doc = CloseDoc {
        site: 1,
        day,
        rules_version: RULES_VERSION,
        state: CloseState::ClosedWithGaps,
        balance: DayBalance {
            closing: Weight::from_units(weight),
            ..DayBalance::default()
        },
        parts: vec![],
        cuts: vec![],
        yields: vec![yields],
        undersize: vec![],
        payouts: vec![pay],
        flags: vec![flag],
        remarks: vec!["a remark".to_owned()],
    };
    Judged {
        doc,
        on_hand: BTreeMap::from([(part(1), held)]),
        found: vec![posted],
    }
}

fn given(day: DayNumber, upto_seq: i64) -> Given {
    let nothing = Turned::default().digests();
    Given {
        site: 1,
        day,
        upto_seq,
        opening: nothing.on_hand,
        balances: nothing.balances,
        history: sha256(b""),
        settings: 0,
        undrained: vec!["tablet".to_owned()],
        rules: RULES_VERSION,
    }
}

async fn write(db: &Db, revision: &Revision<'_>) -> Answer {
    write_once(db, revision.deed(TUESDAY, 1_000)).await
}

conformance! {
    a_close_reads_back_as_it_was_written, check_reads_back;
    a_revision_spends_the_one_before, check_revisions;
    a_day_begins_with_what_the_latest_close_left, check_turned;
}

async fn check_reads_back(db: Db) {
    let judged = judged(MONDAY, 70);
    let revision = Revision {
        given: given(MONDAY, 2),
        judged: &judged,
        kept: &Kept::default(),
        before: None,
    };
    let Answer::Recorded(stamp) = write(&db, &revision).await else {
        panic!("not recorded")
    };
    let mut tx = db.read().await.unwrap();
    let stored = stored(&mut tx, 1, MONDAY, None).await.unwrap().unwrap();
    assert_eq!(
        (stored.revision, stored.entry, stored.recorded_us),
        (1, stamp.entry, 1_000)
    );
    assert_eq!(stored.read().unwrap(), judged.doc);
    assert_eq!(stored.sha256, sha256(stored.doc.as_bytes()));
    assert_eq!(document(&judged.doc), (stored.doc, stored.sha256));
    assert_eq!(stored.manifest.given, given(MONDAY, 2));
    assert_eq!(stored.manifest.left, Turned::by(&judged).digests());
    assert_eq!(
        EntryId::new(stored.entry).unwrap().day(),
        TUESDAY,
        "the day it is recorded"
    );
    assert!(
        super::stored(&mut tx, 1, TUESDAY, None)
            .await
            .unwrap()
            .is_none()
    );
    let flags = tx
        .fetch("SELECT key, kind, gap FROM flag", &[])
        .await
        .unwrap();
    assert_eq!(
        flags[0].text(0),
        flag_key(1, MONDAY, "uncounted", &part(1).to_string())
    );
    assert_eq!((flags[0].text(1), flags[0].int(2)), ("uncounted", 1));
    let found = tx
        .fetch("SELECT shrink, unaccounted FROM found", &[])
        .await
        .unwrap();
    assert_eq!((found[0].int(0), found[0].int(1)), (3, -4));
    let yields = tx
        .fetch("SELECT customer, input, fillet FROM supplier_day", &[])
        .await
        .unwrap();
    assert_eq!(
        (yields[0].int(0), yields[0].int(1), yields[0].int(2)),
        (1, 100, 30)
    );
}

async fn check_revisions(db: Db) {
    let (one, two) = (judged(MONDAY, 70), judged(MONDAY, 60));
    let first = Revision {
        given: given(MONDAY, 2),
        judged: &one,
        kept: &Kept::default(),
        before: None,
    };
    let Answer::Recorded(stamp) = write(&db, &first).await else {
        panic!("not recorded")
    };
    // Another night with the same finding is a repeat; with another, it is not
    // taken.
    assert_eq!(
        write(&db, &first).await,
        Answer::Repeated { entry: stamp.entry }
    );
    let other = Revision {
        given: given(MONDAY, 3),
        judged: &two,
        kept: &Kept::default(),
        before: None,
    };
    assert_eq!(write(&db, &other).await, Answer::OtherBody);
    let before = Some((1, stamp.entry));
    let second = Revision {
        given: given(MONDAY, 3),
        judged: &two,
        kept: &Kept::default(),
        before,
    };
    assert_eq!(second.number(), 2);
    let Answer::Recorded(stamp) = write(&db, &second).await else {
        panic!("not recorded")
    };
    // A third that means to follow the first finds it spent.
    let stale = Revision {
        given: given(MONDAY, 4),
        judged: &one,
        kept: &Kept::default(),
        before: Some((2, stamp.entry - 1)),
    };
    assert!(matches!(
        write(&db, &stale).await,
        Answer::Unmet(Condition::Spend { .. })
    ));

    let mut tx = db.read().await.unwrap();
    let closing = async |tx: &mut Tx, revision| {
        let stored = stored(tx, 1, MONDAY, revision).await.unwrap().unwrap();
        (
            stored.revision,
            stored.read().unwrap().balance.closing.units(),
        )
    };
    assert_eq!(
        closing(&mut tx, Some(1)).await,
        (1, 70),
        "nothing is overwritten"
    );
    assert_eq!(closing(&mut tx, None).await, (2, 60));
    let known = days(&mut tx, 1).await.unwrap();
    let last = known[&MONDAY].close.as_ref().unwrap();
    assert_eq!((last.revision, last.manifest.given.upto_seq), (2, 3));
    assert_eq!((known[&MONDAY].upto_seq, known[&TUESDAY].upto_seq), (0, 2));
    assert!(days(&mut tx, 2).await.unwrap().is_empty());
}

async fn check_turned(db: Db) {
    let (one, two) = (judged(MONDAY, 70), judged(MONDAY, 60));
    let first = Revision {
        given: given(MONDAY, 2),
        judged: &one,
        kept: &Kept::default(),
        before: None,
    };
    let Answer::Recorded(stamp) = write(&db, &first).await else {
        panic!("not recorded")
    };
    let before = Some((1, stamp.entry));
    let second = Revision {
        given: given(MONDAY, 3),
        judged: &two,
        kept: &Kept::default(),
        before,
    };
    write(&db, &second).await;
    let mut tx = db.read().await.unwrap();
    assert_eq!(turned(&mut tx, 1, MONDAY).await.unwrap(), Turned::default());
    let left = turned(&mut tx, 1, TUESDAY).await.unwrap();
    assert_eq!(left, Turned::by(&two));
    // Days without a close in between change nothing.
    assert_eq!(turned(&mut tx, 1, TUESDAY + 20).await.unwrap(), left);
    assert_eq!(
        left.digests(),
        days(&mut tx, 1).await.unwrap()[&MONDAY]
            .close
            .as_ref()
            .unwrap()
            .manifest
            .left
    );
}

#[test]
fn digests_change_with_what_was_left_and_with_nothing_else() {
    let left = |change: &dyn Fn(&mut Turned)| {
        let mut turned = Turned::by(&judged(MONDAY, 70));
        change(&mut turned);
        turned.digests()
    };
    let held = |change: fn(&mut Holding)| {
        left(&move |turned| turned.on_hand.values_mut().for_each(change))
    };
    let same = left(&|_| {});
    for (what, changed) in [
        ("weight", held(|held| held.weight = Weight::from_units(71))),
        ("drip", held(|held| held.drip += 1)),
        (
            "what came in",
            held(|held| held.came_in = Weight::from_units(91)),
        ),
        ("cost", held(|held| held.cost_minor += 1)),
        ("since when it is held", held(|held| held.held_us += 1)),
    ] {
        assert_ne!(changed.on_hand, same.on_hand, "{what}");
        assert_eq!(changed.balances, same.balances, "{what}");
    }
    let more_owed = left(&|turned| {
        turned
            .balances
            .values_mut()
            .for_each(|balance| balance.owed_minor += 1);
    });
    assert_eq!(more_owed.on_hand, same.on_hand);
    assert_ne!(more_owed.balances, same.balances);
    let nothing_owed = left(&|turned| {
        turned
            .balances
            .insert("zoe".to_owned(), PayBalance::default());
    });
    assert_eq!(
        nothing_owed, same,
        "a balance of nothing is as good as none"
    );
}

#[test]
fn a_flag_is_known_by_site_day_kind_and_subject() {
    let key = flag_key(1, MONDAY, "uncounted", "a");
    assert_eq!(key.len(), 32);
    for other in [
        flag_key(2, MONDAY, "uncounted", "a"),
        flag_key(1, TUESDAY, "uncounted", "a"),
        flag_key(1, MONDAY, "unaccounted", "a"),
        flag_key(1, MONDAY, "uncounted", "b"),
    ] {
        assert_ne!(key, other);
    }
    assert_eq!(key, flag_key(1, MONDAY, "uncounted", "a"));
}
