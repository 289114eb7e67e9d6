//! The scribe's contract, on both engines: what was answered is in the books, once,
//! without a gap, whatever the engine does meanwhile.

use super::*;
use crate::conformance;
use crate::table::{Cell, LINE, MOVE};
use crate::testing::Fault;

conformance! {
    a_request_is_recorded_once_and_its_repeat_names_the_entry, check_repeats;
    two_scribes_with_the_same_deeds_book_each_once_without_a_gap, check_two_scribes;
    an_item_is_spent_once_whoever_asks_first, check_spending;
    a_deed_the_engine_refuses_stands_alone_and_its_neighbours_land, check_halving;
    an_engine_in_trouble_is_asked_again, check_troubles;
    a_lost_answer_to_commit_is_looked_up, check_commit_lost;
    a_late_deed_takes_a_number_of_both_days, check_late;
    of_two_who_saw_a_lot_alike_only_one_takes_from_it, check_lot_seen;
    a_raised_epoch_is_seen_by_whoever_relied_on_the_old, check_epoch;
}

const DAY: i64 = 20_310_502;

fn deed(request_id: &str) -> Deed {
    Deed {
        site: 1,
        day: DAY,
        pay_day: None,
        request_id: request_id.to_owned(),
        print: [7; 32],
        kind: "weigh_in",
        party: "p".to_owned(),
        actor: "office".to_owned(),
        happened_us: 5,
        recorded_us: 10,
        must_hold: Vec::new(),
        bumps: Vec::new(),
        doc: "{}".to_owned(),
        rows: vec![line(1)],
    }
}

fn line(weight: i64) -> Row {
    let lot = 2_031_050_200_010_000_001;
    Row::new(
        &LINE,
        [
            Cell::Own,
            1.into(),
            lot.into(),
            1.into(),
            1.into(),
            weight.into(),
            0.into(),
            100.into(),
            100.into(),
        ],
    )
}

async fn entries(db: &Db) -> Vec<i64> {
    let mut tx = db.read().await.unwrap();
    let rows = tx
        .fetch("SELECT id FROM entry ORDER BY id", &[])
        .await
        .unwrap();
    rows.iter().map(|row| row.int(0)).collect()
}

async fn lines(db: &Db) -> i64 {
    let mut tx = db.read().await.unwrap();
    tx.fetch("SELECT COUNT(*) FROM line", &[]).await.unwrap()[0].int(0)
}

fn recorded(answer: &Answer) -> i64 {
    match answer {
        Answer::Recorded(stamp) => stamp.entry,
        other => panic!("not recorded: {other:?}"),
    }
}

async fn check_repeats(db: Db) {
    let scribe = Scribe::start(db.clone(), 16);
    let entry = recorded(&scribe.record(deed("a")).await);
    assert_eq!(scribe.record(deed("a")).await, Answer::Repeated { entry });
    let other = Deed {
        print: [8; 32],
        ..deed("a")
    };
    assert_eq!(scribe.record(other).await, Answer::OtherBody);
    assert_eq!(entries(&db).await, [entry]);
    scribe.stop().await;
}

async fn check_two_scribes(db: Db) {
    let (one, two) = (
        Scribe::start(db.clone(), 256),
        Scribe::start(db.clone(), 256),
    );
    let deeds = || (0..120).map(|n| deed(&format!("r{n}"))).collect::<Vec<_>>();
    let backwards = deeds().into_iter().rev().collect();
    let (a, b) = tokio::join!(one.record_all(deeds()), two.record_all(backwards));
    let entry = |answer: &Answer| match answer {
        Answer::Recorded(stamp) => stamp.entry,
        Answer::Repeated { entry } => *entry,
        other => panic!("{other:?}"),
    };
    let first: Vec<i64> = a.iter().map(entry).collect();
    let second: Vec<i64> = b.iter().rev().map(entry).collect();
    assert_eq!(first, second, "both tell the same entries");
    let gapless: Vec<i64> = (1..=120).map(|seq| entry_id(DAY, 1, seq)).collect();
    assert_eq!(entries(&db).await, gapless);
    assert_eq!(lines(&db).await, 120);
    tokio::join!(one.stop(), two.stop());
}

async fn check_spending(db: Db) {
    let scribe = Scribe::start(db.clone(), 64);
    let ticket = recorded(&scribe.record(deed("ticket")).await);
    let void = Condition::Spend {
        what: ticket,
        item: 0,
        how: "void",
    };
    let clerk = |n: i64| Deed {
        must_hold: vec![void.clone()],
        rows: Vec::new(),
        ..deed(&format!("clerk{n}"))
    };
    let answers = scribe.record_all((0..5).map(clerk).collect()).await;
    let done = answers
        .iter()
        .filter(|a| matches!(a, Answer::Recorded(_)))
        .count();
    assert_eq!(done, 1, "{answers:?}");
    assert_eq!(
        answers
            .iter()
            .filter(|a| **a == Answer::Unmet(void.clone()))
            .count(),
        4
    );
    assert_eq!(scribe.record(clerk(9)).await, Answer::Unmet(void.clone()));
    assert_eq!(entries(&db).await.len(), 2);
    // What a voided ticket's lots were relied on for is told.
    let stands = Condition::Stands { ticket };
    let moving = Deed {
        must_hold: vec![stands.clone()],
        ..deed("moving")
    };
    assert_eq!(scribe.record(moving).await, Answer::Unmet(stands));
    scribe.stop().await;
}

async fn check_halving(db: Db) {
    let scribe = Scribe::start(db.clone(), 64);
    let mut deeds: Vec<Deed> = (0..9).map(|n| deed(&format!("r{n}"))).collect();
    // The table refuses a weight below nothing.
    deeds[4].rows = vec![line(-1)];
    let answers = scribe.record_all(deeds).await;
    for (n, answer) in answers.iter().enumerate() {
        assert_eq!(
            matches!(answer, Answer::Broken(_)),
            n == 4,
            "{n}: {answer:?}"
        );
    }
    let gapless: Vec<i64> = (1..=8).map(|seq| entry_id(DAY, 1, seq)).collect();
    assert_eq!(entries(&db).await, gapless, "the guilty one took no number");
    assert_eq!(lines(&db).await, 8);
    scribe.stop().await;
}

async fn check_troubles(db: Db) {
    for (n, fault) in (1..).zip([Fault::Busy, Fault::Gone]) {
        for at in 1..=4 {
            db.faults().plan(at, fault);
            let answer = write_once(&db, deed(&format!("r{n}-{at}"))).await;
            recorded(&answer);
            assert_eq!(db.faults().left(), 0, "{fault:?} at {at} was met");
        }
    }
    assert_eq!(entries(&db).await.len(), 8);
}

async fn check_commit_lost(db: Db) {
    db.faults().plan(1, Fault::CommitAnswerLost);
    let answer = write_once(&db, deed("done")).await;
    assert_eq!(recorded(&answer), entry_id(DAY, 1, 1));
    db.faults().plan(1, Fault::CommitNeverSent);
    let answer = write_once(&db, deed("not-done")).await;
    match answer {
        Answer::Recorded(_) => assert_eq!(entries(&db).await.len(), 2),
        Answer::Unavailable => {
            recorded(&write_once(&db, deed("not-done")).await);
        }
        other => panic!("never \"failed\": {other:?}"),
    }
    assert_eq!(entries(&db).await.len(), 2);
    assert_eq!(lines(&db).await, 2);
}

async fn check_late(db: Db) {
    recorded(&write_once(&db, deed("on-time")).await);
    let late = Deed {
        pay_day: Some(20_310_503),
        ..deed("late")
    };
    let Answer::Recorded(stamp) = write_once(&db, late).await else {
        panic!("recorded")
    };
    assert_eq!(stamp.entry, entry_id(DAY, 1, 2));
    assert_eq!(stamp.late, Some(entry_id(20_310_503, 1, 1)));
    // The number is taken: the next entry of that day gets the next.
    let next = Deed {
        day: 20_310_503,
        ..deed("next")
    };
    assert_eq!(
        recorded(&write_once(&db, next).await),
        entry_id(20_310_503, 1, 2)
    );
}

async fn check_epoch(db: Db) {
    let mut tx = db.read().await.unwrap();
    let seen = epoch(&mut tx, 1).await.unwrap();
    drop(tx);
    let relied = |id: &str| Deed {
        must_hold: vec![Condition::Epoch { site: 1, seen }],
        ..deed(id)
    };
    recorded(&write_once(&db, relied("before")).await);
    let price_list = Deed {
        bumps: vec![1],
        rows: Vec::new(),
        ..deed("price-list")
    };
    recorded(&write_once(&db, price_list).await);
    let unmet = Answer::Unmet(Condition::Epoch { site: 1, seen });
    assert_eq!(write_once(&db, relied("after")).await, unmet);
    // Within one group as well.
    let mut tx = db.read().await.unwrap();
    let seen = epoch(&mut tx, 1).await.unwrap();
    drop(tx);
    let scribe = Scribe::start(db.clone(), 8);
    let raises = Deed {
        bumps: vec![1],
        rows: Vec::new(),
        ..deed("again")
    };
    let relies = Deed {
        must_hold: vec![Condition::Epoch { site: 1, seen }],
        ..deed("relies")
    };
    let answers = scribe.record_all(vec![raises, relies]).await;
    recorded(&answers[0]);
    assert_eq!(
        answers[1],
        Answer::Unmet(Condition::Epoch { site: 1, seen })
    );
    scribe.stop().await;
}

async fn check_lot_seen(db: Db) {
    let ticket = recorded(&write_once(&db, deed("ticket")).await);
    let seen = Condition::LotSeen {
        number: ticket,
        place: 1,
        seen: 0,
    };
    // A discard of held fish takes pay back: of two planned on the same sight of
    // the lot one is told to look again.
    let discard = |id: &str| Deed {
        must_hold: vec![seen.clone()],
        rows: vec![Row::new(
            &MOVE,
            [
                Cell::Own,
                1.into(),
                ticket.into(),
                1.into(),
                1.into(),
                7.into(),
                "".into(),
                5.into(),
                0.into(),
                100.into(),
            ],
        )],
        ..deed(id)
    };
    let scribe = Scribe::start(db.clone(), 8);
    let answers = scribe
        .record_all(vec![discard("one"), discard("two")])
        .await;
    recorded(&answers[0]);
    assert_eq!(answers[1], Answer::Unmet(seen.clone()));
    assert_eq!(
        scribe.record(discard("three")).await,
        Answer::Unmet(seen.clone())
    );
    let unmoved = Condition::Unmoved { number: ticket };
    let void = Deed {
        must_hold: vec![unmoved.clone()],
        rows: Vec::new(),
        ..deed("void")
    };
    assert_eq!(scribe.record(void).await, Answer::Unmet(unmoved));
    scribe.stop().await;
}
