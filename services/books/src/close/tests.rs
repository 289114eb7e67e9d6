#![expect(clippy::unwrap_used, reason = "a test may panic")]

use rules::baseline::Follows;
use rules::close::{
    CauseRow, ChartRow, CloseState, DayBalance, Flag, FlagKind, LeftLine, LeftPart, LeftPlan,
    LineDone, LossBy, LossRow, PayRow, Posted, RULES_VERSION, SmallFishRow, SupplierRow,
    YieldGroupRow, YieldRow,
};
use rules::drift::Drift;
use rules::fish::Presentation;
use rules::money::{Currency, Money, UnitPrice};
use rules::outlet::RoomKind;
use rules::small_fish::CutOrSoup;
use rules::uncertainty::Budget;
use rules::weight::WeightUnit;

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

fn per_lb(e4: i64) -> UnitPrice {
    UnitPrice::from_e4(e4, Currency::new("USD").unwrap(), WeightUnit::Lb).unwrap()
}

fn group() -> YieldGroupRow {
    YieldGroupRow {
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        specification: "skinless".to_owned(),
        customer_kitchen: false,
        cuts: 9,
        input: Weight::from_units(100),
        fillet: Weight::from_units(30),
        yield_e2: 3_000,
        interval_e2: vec![2_900, 3_100],
        reference_e2: Some(3_050),
        reference_source: "the table's own trial".to_owned(),
        fillet_today: Weight::from_units(3),
        edible: Some(per_lb(210_000)),
        portions: Some(7),
        plate: Some(usd(850)),
        suppliers: vec![SupplierRow {
            supplier: "ana".to_owned(),
            cuts: 9,
            days: 4,
            input: Weight::from_units(100),
            mixed_cuts: 1,
            mixed_input: Weight::from_units(4),
            yield_e2: Some(2_700),
            interval_e2: vec![2_600, 2_800],
            shrunk_e2: Some(2_750),
            difference_e2: Some(-400),
            band_e2: Some(-50),
            condition_e2: Some(0),
            cutter_e2: Some(-10),
            kitchen_e2: None,
            rest_e2: Some(-340),
            fits_e2: Some(0),
            rest_interval_e2: vec![-450, -230],
            named_low: true,
            says: "cuts out less".to_owned(),
        }],
    }
}

fn chart() -> ChartRow {
    ChartRow {
        follows: Follows::Cutter,
        party: "dana".to_owned(),
        from: MONDAY,
        to: TUESDAY,
        baseline_cuts: 9,
        days: vec![TUESDAY],
        values_e2: vec![-310],
        ewma_e2: vec![-62],
        above_e2: vec![0],
        below_e2: vec![260],
        limits_e2: vec![300, 100, 500],
        found: Some(TUESDAY),
        says: "below".to_owned(),
    }
}

/// Of a reading that is off by at most so much.
fn budget(width: i64) -> Budget {
    Budget {
        scales: BTreeMap::from([(("dock".to_owned(), MONDAY), width)]),
        ..Budget::default()
    }
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
        budget: budget(5),
        harvested_us: 11,
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
        evidence: vec!["one line".to_owned(), "and another".to_owned()],
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
        lines_done: vec![LineDone {
            plan: 2_031_050_200_010_000_044,
            line: 2,
            by: 2_031_050_200_010_000_052,
            part: part(1),
            room: "hill-soup".to_owned(),
            room_name: "Soup".to_owned(),
            planned: Weight::from_units(9),
            delivered: Weight::from_units(8),
            promised: true,
        }],
        left_plan: Some(LeftPlan {
            lines: vec![LeftLine {
                part: part(1),
                room: "hill-soup".to_owned(),
                kind: RoomKind::Soup,
                weight: Weight::from_units(7),
                delivered: Weight::from_units(4),
                dress: Some(Presentation::GuttedHeaded),
                net: usd(630),
            }],
            left: vec![LeftPart {
                part: part(1),
                weight: Weight::from_units(3),
                why: "Every room that may take it is full.".to_owned(),
            }],
            kept: Weight::from_units(7),
            money: usd(630),
        }),
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
        drifts: vec![Drift {
            first: "dock".to_owned(),
            second: "piece".to_owned(),
            pairs: 5,
            bias_ppm: -8_000,
            low_ppm: -9_309,
            high_ppm: -6_691,
        }],
        remarks: vec!["a remark".to_owned()],
        supplier_yields: vec![group()],
        charts: vec![chart()],
        losses: vec![LossRow {
            by: LossBy::Cutter,
            name: "dana".to_owned(),
            customer_kitchen: false,
            input: Weight::from_units(100),
            missing_fillet: Weight::from_units(5),
            material: usd(120),
            margin: None,
        }],
        causes: vec![CauseRow {
            cause: "drip".to_owned(),
            weight: Weight::from_units(-3),
            value: usd(-2),
        }],
        small_fish: vec![SmallFishRow {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            specification: "skinless".to_owned(),
            band: "0.00-0.50".to_owned(),
            cuts: 2,
            timed_cuts: 1,
            piece: Weight::from_units(35),
            yield_e2: 2_300,
            yield_u_e2: 120,
            minutes_e2: 160,
            minutes_u_e2: 9,
            cut: per_lb(26_686),
            soup: per_lb(17_500),
            within: per_lb(8_000),
            answer: CutOrSoup::Cut,
            break_even: vec![Weight::from_units(20), Weight::ZERO, Weight::from_units(40)],
        }],
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
        looked: Looked {
            cuts: vec![(20_310_428, 1), (20_310_429, 12)],
            baselines: vec![2_031_042_800_010_000_009],
        },
    }
}

async fn write(db: &Db, revision: &Revision<'_>) -> Answer {
    write_once(db, revision.deed(TUESDAY, 1_000)).await
}

conformance! {
    a_close_reads_back_as_it_was_written, check_reads_back;
    a_revision_spends_the_one_before, check_revisions;
    a_day_begins_with_what_the_latest_close_left, check_turned;
    a_row_of_before_budgets_were_kept_is_not_known, check_before_budgets;
}

/// A row as it stood before the column was there.
async fn check_before_budgets(db: Db) {
    let judged = judged(MONDAY, 70);
    let revision = Revision {
        given: given(MONDAY, 2),
        judged: &judged,
        kept: &Kept::default(),
        before: None,
    };
    let mut deed = revision.deed(TUESDAY, 1_000);
    let budget = ON_HAND.place_of("budget").unwrap();
    let mut on_hand = deed
        .rows
        .iter_mut()
        .filter(|row| row.table.name == "on_hand");
    on_hand.next().unwrap().cells[budget] = Cell::Text(String::new());
    assert!(matches!(write_once(&db, deed).await, Answer::Recorded(_)));
    let mut tx = db.read().await.unwrap();
    let left = turned(&mut tx, 1, TUESDAY).await.unwrap();
    let held = &left.on_hand[&part(1)];
    assert_eq!(held.budget, Budget::before());
    assert_eq!((held.weight.units(), held.budget.explains()), (70, None));
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
    assert_eq!((last.revision, last.upto_seq), (2, 3));
    assert_eq!((known[&MONDAY].upto_seq, known[&TUESDAY].upto_seq), (0, 2));
    assert!(days(&mut tx, 2).await.unwrap().is_empty());
    let manifest = &manifests(&mut tx, 1).await.unwrap()[&MONDAY];
    assert_eq!(*last, LastClose::of(2, manifest.clone()));
    tx.rollback().await;

    // Closed before links were kept.
    let mut tx = db.write().await.unwrap();
    let sql = "DELETE FROM close_link WHERE revision = 2";
    assert_eq!(tx.execute(sql, &[]).await.unwrap(), 1);
    tx.commit().await.unwrap();
    let mut tx = db.read().await.unwrap();
    assert_eq!(days(&mut tx, 1).await.unwrap(), known);
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
        (
            "what is not certain of it",
            held(|held| held.budget = budget(6)),
        ),
        (
            "that nothing is known of that",
            held(|held| held.budget = Budget::before()),
        ),
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
fn what_was_left_before_budgets_were_kept_digests_as_it_did() {
    let mut judged = judged(MONDAY, 70);
    for held in judged.on_hand.values_mut() {
        held.budget = Budget::before();
        held.harvested_us = 0;
    }
    let line = format!("{} 70 123456789012345678901234567890 90 1000 7\n", part(1));
    let left = Turned::by(&judged).digests();
    assert_eq!(left.on_hand, sha256(line.as_bytes()));
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
