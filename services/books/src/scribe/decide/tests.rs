//! Groups and their answers, in the order of the queue.

use super::*;
use crate::table::{Cell, MOVE, Row, SHIFT};

const DAY: i64 = 20_310_502;
const NEXT_DAY: i64 = 20_310_503;
/// A ticket of an earlier day.
const TICKET: i64 = 2_031_050_100_010_000_007;

fn deed(request_id: &str) -> Deed {
    Deed {
        site: 1,
        day: DAY,
        pay_day: None,
        request_id: request_id.to_owned(),
        print: [7; 32],
        kind: "weigh_in",
        party: String::new(),
        actor: "office".to_owned(),
        happened_us: 0,
        recorded_us: 100,
        must_hold: Vec::new(),
        bumps: Vec::new(),
        doc: "{}".to_owned(),
        rows: Vec::new(),
    }
}

fn that(request_id: &str, condition: Condition) -> Deed {
    Deed {
        must_hold: vec![condition],
        ..deed(request_id)
    }
}

fn spend(how: &'static str) -> Condition {
    Condition::Spend {
        what: TICKET,
        item: 0,
        how,
    }
}

/// A row of `table` about lot 1 of `number`.
fn about(table: &'static crate::Table, number: Cell) -> Row {
    let cells = table.columns.iter().map(|column| match *column {
        "number" => number.clone(),
        "kind" | "party" => "hold".into(),
        _ => 1.into(),
    });
    Row {
        table,
        cells: cells.collect(),
    }
}

/// Books in which sequence 41 of the day was the last, recorded at 90.
fn books() -> Seen {
    let head = |next, last_us| Head { next, last_us };
    Seen {
        heads: Heads::from([
            ((1, 0), head(5, 0)),
            ((1, DAY), head(42, 90)),
            ((1, NEXT_DAY), head(7, 60)),
            ((1, 20_310_501), head(8, 50)),
        ]),
        ..Seen::default()
    }
}

fn stamp(seq: i64, recorded_us: i64) -> Answer {
    Answer::Recorded(Stamp {
        entry: entry_id(DAY, 1, seq),
        recorded_us,
        late: None,
    })
}

fn check(deeds: &[Deed], seen: Seen, expected: &[Answer]) -> Heads {
    let (answers, heads) = decide(deeds, seen);
    assert_eq!(answers, expected);
    heads
}

#[test]
fn numbers_follow_each_other_in_the_order_of_the_queue() {
    let deeds = [deed("a"), deed("b"), deed("c")];
    let heads = check(
        &deeds,
        books(),
        &[stamp(42, 100), stamp(43, 100), stamp(44, 100)],
    );
    assert_eq!((heads[&(1, DAY)].next, heads[&(1, DAY)].last_us), (45, 100));
    assert_eq!(heads[&(1, NEXT_DAY)], books().heads[&(1, NEXT_DAY)]);
}

#[test]
fn a_clock_that_goes_back_is_not_followed() {
    let at = |request_id, recorded_us| Deed {
        recorded_us,
        ..deed(request_id)
    };
    let deeds = [at("a", 80), at("b", 95), at("c", 91)];
    check(
        &deeds,
        books(),
        &[stamp(42, 90), stamp(43, 95), stamp(44, 95)],
    );
}

#[test]
fn a_refused_deed_takes_no_number() {
    let mut seen = books();
    seen.spent.insert((TICKET, 0), "void".to_owned());
    let deeds = [deed("a"), that("b", spend("void")), deed("c")];
    check(
        &deeds,
        seen,
        &[stamp(42, 100), Answer::Unmet(spend("void")), stamp(43, 100)],
    );
}

#[test]
fn a_request_that_is_known_is_a_repeat_or_another_body() {
    let mut seen = books();
    seen.requests.insert("a".to_owned(), (vec![7; 32], 11));
    seen.requests.insert("b".to_owned(), (vec![8; 32], 12));
    // Even when it could not be recorded any more.
    seen.spent.insert((TICKET, 0), "void".to_owned());
    let deeds = [that("a", spend("void")), that("b", spend("void"))];
    let heads = check(
        &deeds,
        seen,
        &[Answer::Repeated { entry: 11 }, Answer::OtherBody],
    );
    assert_eq!(heads, books().heads);
}

#[test]
fn a_request_twice_in_one_group_is_recorded_once() {
    let other = Deed {
        print: [8; 32],
        ..deed("a")
    };
    let entry = entry_id(DAY, 1, 42);
    let expected = [
        stamp(42, 100),
        Answer::Repeated { entry },
        Answer::OtherBody,
    ];
    check(&[deed("a"), deed("a"), other], books(), &expected);
}

#[test]
fn a_request_that_was_refused_is_not_remembered() {
    let deeds = [
        that("a", spend("void")),
        that("b", spend("settle")),
        deed("b"),
    ];
    let expected = [
        stamp(42, 100),
        Answer::Unmet(spend("settle")),
        stamp(43, 100),
    ];
    check(&deeds, books(), &expected);
}

#[test]
fn of_two_that_spend_the_same_the_first_does() {
    let item = |item| Condition::Spend {
        what: TICKET,
        item,
        how: "settle",
    };
    let deeds = [that("a", item(1)), that("b", item(1)), that("c", item(2))];
    check(
        &deeds,
        books(),
        &[stamp(42, 100), Answer::Unmet(item(1)), stamp(43, 100)],
    );
}

#[test]
fn a_deed_that_spends_the_same_twice_is_refused() {
    let twice = Deed {
        must_hold: vec![spend("void"), spend("settle")],
        ..deed("a")
    };
    check(&[twice], books(), &[Answer::Unmet(spend("settle"))]);
}

#[test]
fn an_entry_can_be_spent_by_one_that_follows_it_in_the_group() {
    let new = entry_id(DAY, 1, 42);
    let void = Condition::Spend {
        what: new,
        item: 0,
        how: "void",
    };
    let relies = Condition::Stands { ticket: new };
    let deeds = [
        deed("ticket"),
        that("before", relies.clone()),
        that("void", void.clone()),
        that("again", void.clone()),
        that("after", relies.clone()),
    ];
    let expected = [
        stamp(42, 100),
        stamp(43, 100),
        stamp(44, 100),
        Answer::Unmet(void),
        Answer::Unmet(relies),
    ];
    check(&deeds, books(), &expected);
}

#[test]
fn a_ticket_stands_until_it_is_voided_or_rewritten() {
    let relies = Condition::Stands { ticket: TICKET };
    for (how, expected) in [
        ("settle", stamp(42, 100)),
        ("rewrite", Answer::Unmet(relies.clone())),
        ("void", Answer::Unmet(relies.clone())),
    ] {
        let mut seen = books();
        seen.spent.insert((TICKET, 0), how.to_owned());
        check(&[that("a", relies.clone())], seen, &[expected]);
    }
}

#[test]
fn what_all_sites_share_is_seen_whether_its_head_was_locked_or_looked_at() {
    let shared = |seen| Condition::Epoch { site: 0, seen };
    let looked_at = Seen {
        shared_epoch: 9,
        ..books()
    };
    let deeds = [that("a", shared(9)), that("b", shared(8))];
    let expected = [stamp(42, 100), Answer::Unmet(shared(8))];
    check(&deeds, looked_at, &expected);

    let mut locked = books();
    let head = Head {
        next: 9,
        last_us: 0,
    };
    locked.heads.insert((0, 0), head);
    let party = Deed {
        bumps: vec![0],
        ..deed("party")
    };
    let deeds = [that("a", shared(9)), party, that("b", shared(9))];
    let expected = [stamp(42, 100), stamp(43, 100), Answer::Unmet(shared(9))];
    check(&deeds, locked, &expected);
}

#[test]
fn an_item_of_its_own_entry_is_always_there_to_be_spent() {
    let own = Condition::SpendOwn {
        item: 2,
        how: "release",
    };
    check(&[that("a", own)], books(), &[stamp(42, 100)]);
}

#[test]
fn what_the_office_changes_is_seen_by_those_that_follow() {
    let seen = |seen| Condition::Epoch { site: 1, seen };
    let bump = Deed {
        bumps: vec![1],
        ..deed("price-list")
    };
    let both = Deed {
        bumps: vec![1],
        ..that("both", seen(6))
    };
    let deeds = [
        that("a", seen(5)),
        bump,
        that("b", seen(5)),
        both,
        that("c", seen(7)),
    ];
    let expected = [
        stamp(42, 100),
        stamp(43, 100),
        Answer::Unmet(seen(5)),
        stamp(44, 100),
        stamp(45, 100),
    ];
    let heads = check(&deeds, books(), &expected);
    assert_eq!(
        heads[&(1, 0)],
        Head {
            next: 7,
            last_us: 0
        }
    );
}

#[test]
fn a_row_about_a_lot_is_seen_by_those_that_follow() {
    let moves = |request_id, table| Deed {
        rows: vec![about(table, TICKET.into())],
        ..deed(request_id)
    };
    let seen = |seen| Condition::LotSeen {
        number: TICKET,
        place: 1,
        seen,
    };
    let still = Condition::Unmoved { number: TICKET };
    let deeds = [
        that("a", still.clone()),
        that("b", seen(2)),
        moves("shift", &SHIFT),
        that("c", seen(2)),
        that("d", seen(3)),
        moves("move", &MOVE),
        that("e", seen(4)),
        that("f", still.clone()),
    ];
    let mut held = books();
    held.lots.insert((TICKET, 1), 2);
    let expected = [
        stamp(42, 100),
        stamp(43, 100),
        stamp(44, 100),
        Answer::Unmet(seen(2)),
        stamp(45, 100),
        stamp(46, 100),
        stamp(47, 100),
        Answer::Unmet(still.clone()),
    ];
    check(&deeds, held, &expected);

    // What the books hold already counts the same.
    let mut moved = books();
    moved.moved.insert(TICKET);
    check(&[that("a", still.clone())], moved, &[Answer::Unmet(still)]);
}

#[test]
fn a_row_about_a_lot_of_its_own_entry_counts() {
    let own = Deed {
        rows: vec![about(&SHIFT, Cell::Own)],
        ..deed("held at once")
    };
    let number = entry_id(DAY, 1, 42);
    let (still, seen) = (
        Condition::Unmoved { number },
        Condition::LotSeen {
            number,
            place: 1,
            seen: 1,
        },
    );
    let deeds = [own, that("a", still.clone()), that("b", seen)];
    check(
        &deeds,
        books(),
        &[stamp(42, 100), Answer::Unmet(still), stamp(43, 100)],
    );
}

#[test]
fn a_late_deed_takes_a_number_of_both_days() {
    let late = |request_id, recorded_us| Deed {
        pay_day: Some(NEXT_DAY),
        recorded_us,
        ..deed(request_id)
    };
    let today = |request_id| Deed {
        day: NEXT_DAY,
        recorded_us: 70,
        ..deed(request_id)
    };
    let stamped = |day, seq, recorded_us, late: Option<i64>| {
        Answer::Recorded(Stamp {
            entry: entry_id(day, 1, seq),
            recorded_us,
            late: late.map(|seq| entry_id(NEXT_DAY, 1, seq)),
        })
    };
    let deeds = [late("a", 95), today("b"), late("c", 80)];
    let expected = [
        stamped(DAY, 42, 95, Some(7)),
        stamped(NEXT_DAY, 8, 95, None),
        stamped(DAY, 43, 95, Some(9)),
    ];
    let heads = check(&deeds, books(), &expected);
    assert_eq!(
        heads[&(1, DAY)],
        Head {
            next: 44,
            last_us: 95
        }
    );
    assert_eq!(
        heads[&(1, NEXT_DAY)],
        Head {
            next: 10,
            last_us: 95
        }
    );
}

#[test]
fn a_full_day_takes_no_more_and_moves_nothing() {
    let mut seen = books();
    let full = Head {
        next: LAST_SEQ,
        last_us: 0,
    };
    seen.heads.insert((1, NEXT_DAY), full);
    let late = |request_id| Deed {
        pay_day: Some(NEXT_DAY),
        ..deed(request_id)
    };
    let (answers, heads) = decide(&[late("a"), late("b"), deed("c")], seen);
    assert!(
        matches!(answers[0], Answer::Recorded(_)),
        "{:?}",
        answers[0]
    );
    assert_eq!(answers[1], Answer::Full { left: 0 });
    assert_eq!(answers[2], stamp(43, 100));
    assert_eq!(heads[&(1, NEXT_DAY)].next, LAST_SEQ + 1);
}

#[test]
fn a_malformed_deed_is_broken_and_its_neighbours_are_not() {
    let mut short = about(&MOVE, TICKET.into());
    short.cells.pop();
    let row = |row| Deed {
        rows: vec![row],
        ..deed("row")
    };
    let malformed = [
        Deed {
            site: -1,
            ..deed("site")
        },
        Deed {
            site: 10_000,
            ..deed("site")
        },
        Deed {
            day: 0,
            ..deed("day")
        },
        Deed {
            day: 20_311_302,
            ..deed("day")
        },
        Deed {
            day: 310_502,
            ..deed("day")
        },
        Deed {
            pay_day: Some(DAY),
            ..deed("late for its own day")
        },
        Deed {
            pay_day: Some(7),
            ..deed("late")
        },
        Deed {
            bumps: vec![-1],
            ..deed("bumps")
        },
        that(
            "epoch",
            Condition::Epoch {
                site: 10_000,
                seen: 1,
            },
        ),
        that("ticket", Condition::Stands { ticket: -1 }),
        row(short),
        row(about(&MOVE, "lot".into())),
        row(about(&MOVE, (-1).into())),
    ];
    for bad in malformed {
        let (answers, _) = decide(&[deed("a"), bad.clone(), deed("b")], books());
        assert!(
            matches!(answers[1], Answer::Broken(_)),
            "{bad:?}: {:?}",
            answers[1]
        );
        assert_eq!(
            (&answers[0], &answers[2]),
            (&stamp(42, 100), &stamp(43, 100))
        );
    }
}
