//! What a party is owed, and when it was entered, on both engines.

use super::*;
use crate::conformance;
use crate::db::Db;
use crate::entries::tests::{FRIDAY, SATURDAY, SITE, SUNDAY, deed, ends, write};
use crate::scribe::Deed;
use crate::table::{CLOSE, PARTY_DAY};

conformance! {
    changes_of_pay_come_in_the_order_they_were_entered, check_changes;
    a_late_change_stands_on_the_day_it_was_entered, check_late;
    changes_of_other_sites_and_parties_are_left_out, check_others;
    a_balance_without_a_close_is_the_sum_of_all_changes, check_balance;
    a_balance_goes_on_from_the_last_close, check_closed;
    each_payee_has_what_was_posted_of_a_ticket, check_of_ticket;
}

#[test]
fn postings_are_numbered_and_nothing_is_no_row() {
    let (purchases, owed) = (Account::site("purchases"), Account::of("owed", "ana"));
    let rows = rows([
        (purchases, owed, 0),
        (purchases, owed, 1_000),
        (owed, purchases, 0),
        (owed, purchases, -1),
    ]);
    let cells: Vec<_> = rows
        .into_iter()
        .map(|row| (row.table.name, row.cells))
        .collect();
    let row = |n: i64, from: [&str; 2], to: [&str; 2], amount: i64| {
        let mut cells = vec![Cell::Own, n.into()];
        cells.extend([from, to].concat().into_iter().map(Cell::from));
        cells.extend([amount.into(), 0.into()]);
        ("money", cells)
    };
    assert_eq!(
        cells,
        [
            row(1, ["purchases", ""], ["owed", "ana"], 1_000),
            row(2, ["owed", "ana"], ["purchases", ""], -1),
        ]
    );
}

const PURCHASES: Account<'_> = Account::site("purchases");

fn owed(party: &str) -> Account<'_> {
    Account::of("owed", party)
}

fn held(party: &str) -> Account<'_> {
    Account::of("held", party)
}

/// A deed of a day that posts this.
fn posts<'a>(
    day: i64,
    request_id: &str,
    postings: impl IntoIterator<Item = (Account<'a>, Account<'a>, i64)>,
) -> Deed {
    Deed {
        day,
        rows: rows(postings),
        ..deed("weigh_in", request_id)
    }
}

/// A close of a day, and what it found ana to be owed.
fn closes(site: i64, day: i64, before: Option<(i64, i64)>, found: Option<(i64, i64)>) -> Deed {
    let revision = before.map_or(1, |(revision, _)| revision + 1);
    let key = [site.into(), day.into(), revision.into()];
    let row = |table, rest: &[Cell]| Row {
        table,
        cells: [&key[..], rest].concat(),
    };
    let mut rows = vec![row(
        &CLOSE,
        &[Cell::Own, "{}".into(), "{}".into(), "".into()],
    )];
    let balance = found.map(|(owed, held)| {
        let cells = ["ana".into(), owed.into(), held.into(), 0.into()];
        row(&PARTY_DAY, &cells)
    });
    rows.extend(balance);
    Deed {
        site,
        day,
        must_hold: before.map_or_else(Vec::new, |(_, entry)| ends(entry, "revise")),
        rows,
        ..deed("close", &format!("close-{site}-{day}-{revision}"))
    }
}

async fn check_of_ticket(db: Db) {
    let of = async |number: i64, by: Option<i64>| -> Vec<(String, i64, i64)> {
        let mut tx = db.read().await.unwrap();
        let has = of_ticket(&mut tx, number, by).await.unwrap();
        let all = has.into_iter().map(|has| (has.party, has.owed, has.held));
        all.collect()
    };
    let has = |party: &str, owed: i64, held: i64| (party.to_owned(), owed, held);
    let posts = |request_id: &str, postings: Vec<(Cell, Posting<'static>)>| Deed {
        rows: ticket_rows(postings),
        ..deed("weigh_in", request_id)
    };
    // The first listed stays first, whatever their names are.
    let paid = vec![
        (Cell::Own, (PURCHASES, owed("zoe"), 700)),
        (Cell::Own, (PURCHASES, owed("ana"), 300)),
        (Cell::Own, (PURCHASES, held("ana"), 50)),
    ];
    let ticket = write(&db, posts("one", paid)).await;
    let number = || Cell::Int(ticket);
    let aside = vec![
        (number(), (owed("zoe"), held("zoe"), 70)),
        (number(), (owed("ana"), held("ana"), 30)),
        (Cell::Int(ticket + 500), (PURCHASES, owed("ana"), 9)),
    ];
    let hold = write(&db, posts("two", aside)).await;
    let out = vec![(number(), (held("ana"), PURCHASES, 20))];
    write(&db, posts("three", out)).await;
    // No ticket's pay.
    write(
        &db,
        super::tests::posts(FRIDAY, "four", [(owed("zoe"), PURCHASES, 1)]),
    )
    .await;

    assert_eq!(
        of(ticket, None).await,
        [has("zoe", 630, 70), has("ana", 270, 60)]
    );
    assert_eq!(
        of(ticket, Some(hold)).await,
        [has("zoe", -70, 70), has("ana", -30, 30)]
    );
    assert_eq!(of(ticket + 500, None).await, [has("ana", 9, 0)]);
    assert_eq!(of(ticket + 1_000, None).await, []);
}

async fn changes_of(db: &Db, party: &str, from: i64, to: i64) -> Vec<Change> {
    let mut tx = db.read().await.unwrap();
    changes(&mut tx, SITE, party, from, to).await.unwrap()
}

async fn balance(db: &Db, day: i64) -> (i64, i64) {
    let mut tx = db.read().await.unwrap();
    balance_before(&mut tx, SITE, "ana", day).await.unwrap()
}

fn change(pay_day: i64, entry: i64, kind: &str, owed: i64, held: i64) -> Change {
    Change {
        pay_day,
        entry,
        kind: kind.to_owned(),
        owed,
        held,
        paid: 0,
        taken_off: 0,
        to_take_off: 0,
    }
}

async fn check_changes(db: Db) {
    let ticket = [
        (PURCHASES, owed("ana"), 1_000),
        (PURCHASES, held("ana"), 150),
    ];
    let ticket = write(&db, posts(FRIDAY, "ticket", ticket)).await;
    let hold = Deed {
        kind: "hold",
        ..posts(FRIDAY, "hold", [(owed("ana"), held("ana"), 250)])
    };
    let hold = write(&db, hold).await;
    // A rewrite that comes to the same is no change, though it moved money.
    let same = [
        (owed("ana"), PURCHASES, 1_000),
        (PURCHASES, owed("ana"), 1_000),
    ];
    write(&db, posts(FRIDAY, "same", same)).await;
    // An entry without money is none either.
    write(&db, deed("count", "count")).await;
    let discard = [(held("ana"), PURCHASES, 400)];
    let discard = write(&db, posts(SATURDAY, "discard", discard)).await;
    let large = [(PURCHASES, owed("ana"), i64::MAX - 750)];
    let large = write(&db, posts(SUNDAY, "large", large)).await;

    let all = [
        change(FRIDAY, ticket, "weigh_in", 1_000, 150),
        change(FRIDAY, hold, "hold", -250, 250),
        change(SATURDAY, discard, "weigh_in", 0, -400),
        change(SUNDAY, large, "weigh_in", i64::MAX - 750, 0),
    ];
    for (from, to, expected) in [
        (FRIDAY, SUNDAY + 1, &all[..]),
        (10_000_101, 92_221_231, &all[..]),
        // The first day is in the range, the last is not.
        (FRIDAY, SATURDAY, &all[..2]),
        (SATURDAY, SUNDAY, &all[2..3]),
        (SUNDAY, SUNDAY + 1, &all[3..]),
        (20_310_501, FRIDAY, &[]),
        (SATURDAY, SATURDAY, &[]),
    ] {
        let found = changes_of(&db, "ana", from, to).await;
        assert_eq!(found, expected, "[{from}, {to})");
    }
}

async fn check_late(db: Db) {
    let ticket = |day, request_id| posts(day, request_id, [(PURCHASES, owed("ana"), 10)]);
    let first = write(&db, ticket(SATURDAY, "first")).await;
    let late = Deed {
        pay_day: Some(SATURDAY),
        ..ticket(FRIDAY, "late")
    };
    let late = write(&db, late).await;
    let second = write(&db, ticket(SATURDAY, "second")).await;
    let on_time = write(&db, ticket(FRIDAY, "on time")).await;
    assert!(late < first && late < on_time);

    let of = |day, entry| change(day, entry, "weigh_in", 10, 0);
    let friday = [of(FRIDAY, on_time)];
    let saturday = [
        of(SATURDAY, first),
        of(SATURDAY, late),
        of(SATURDAY, second),
    ];
    assert_eq!(changes_of(&db, "ana", FRIDAY, SATURDAY).await, friday);
    assert_eq!(changes_of(&db, "ana", SATURDAY, SUNDAY).await, saturday);
    let both = [&friday[..], &saturday[..]].concat();
    assert_eq!(changes_of(&db, "ana", FRIDAY, SUNDAY).await, both);
    assert_eq!(balance(&db, SATURDAY).await, (10, 0));
    assert_eq!(balance(&db, SUNDAY).await, (40, 0));
}

async fn check_others(db: Db) {
    let ticket = |site, request_id: &str, party| Deed {
        site,
        ..posts(FRIDAY, request_id, [(PURCHASES, owed(party), 10)])
    };
    let own = write(&db, ticket(SITE, "own", "ana")).await;
    // Numbers of other sites lie between those of this one's days.
    for (n, site) in [0, 2, 9_999].into_iter().enumerate() {
        write(&db, ticket(site, &format!("elsewhere-{n}"), "ana")).await;
        let late = Deed {
            pay_day: Some(SATURDAY),
            ..ticket(site, &format!("late elsewhere-{n}"), "ana")
        };
        write(&db, late).await;
    }
    for (n, party) in ["ben", "an", "anais", "Ana"].into_iter().enumerate() {
        write(&db, ticket(SITE, &format!("other-{n}"), party)).await;
    }
    // Money that goes from one party to another is a change to both.
    let between = posts(SATURDAY, "between", [(owed("ben"), owed("ana"), 3)]);
    let between = write(&db, between).await;
    // What she was paid is neither owed nor held, and stands beside it.
    let paid = posts(
        SATURDAY,
        "paid",
        [(Account::of("paid", "ana"), PURCHASES, 5)],
    );
    let paid = write(&db, paid).await;
    let found = changes_of(&db, "ana", FRIDAY, SUNDAY).await;
    assert_eq!(
        found,
        [
            change(FRIDAY, own, "weigh_in", 10, 0),
            change(SATURDAY, between, "weigh_in", 3, 0),
            Change {
                paid: -5,
                ..change(SATURDAY, paid, "weigh_in", 0, 0)
            },
        ]
    );
    let ben = changes_of(&db, "ben", SATURDAY, SUNDAY).await;
    assert_eq!(ben, [change(SATURDAY, between, "weigh_in", -3, 0)]);
    assert_eq!(changes_of(&db, "zoe", FRIDAY, SUNDAY).await, []);
}

async fn check_balance(db: Db) {
    assert_eq!(balance(&db, SUNDAY).await, (0, 0));
    let ticket = [
        (PURCHASES, owed("ana"), 1_000),
        (PURCHASES, held("ana"), 150),
    ];
    write(&db, posts(FRIDAY, "ticket", ticket)).await;
    let hold = posts(SATURDAY, "hold", [(owed("ana"), held("ana"), 1_250)]);
    write(&db, hold).await;
    for (day, expected) in [
        (FRIDAY, (0, 0)),
        (SATURDAY, (1_000, 150)),
        (SUNDAY, (-250, 1_400)),
        (92_221_231, (-250, 1_400)),
    ] {
        assert_eq!(balance(&db, day).await, expected, "{day}");
    }
}

async fn check_closed(db: Db) {
    let ticket = |day, request_id, minor| posts(day, request_id, [(PURCHASES, owed("ana"), minor)]);
    write(&db, ticket(FRIDAY, "friday", 10)).await;
    write(&db, ticket(SATURDAY, "saturday", 200)).await;
    write(&db, ticket(SUNDAY, "sunday", 4_000)).await;
    let monday = SUNDAY + 1;
    assert_eq!(balance(&db, monday).await, (4_210, 0));

    // A close says other than the entries of its days, to tell whose word counts.
    let first = write(&db, closes(SITE, FRIDAY, None, Some((50_000, 7)))).await;
    assert_eq!(balance(&db, FRIDAY).await, (0, 0), "not before its own day");
    assert_eq!(balance(&db, SATURDAY).await, (50_000, 7));
    assert_eq!(balance(&db, monday).await, (54_200, 7));

    // Of its revisions the latest.
    write(
        &db,
        closes(SITE, FRIDAY, Some((1, first)), Some((60_000, 8))),
    )
    .await;
    assert_eq!(balance(&db, SATURDAY).await, (60_000, 8));
    assert_eq!(balance(&db, SUNDAY).await, (60_200, 8));

    // A close of another site says nothing of this one.
    write(&db, closes(2, SATURDAY, None, Some((90_000, 9)))).await;
    assert_eq!(balance(&db, SUNDAY).await, (60_200, 8));

    // One that does not name her leaves the last that did.
    let named = write(&db, closes(SITE, SATURDAY, None, Some((70_000, 1)))).await;
    assert_eq!(balance(&db, SUNDAY).await, (70_000, 1));
    write(&db, closes(SITE, SATURDAY, Some((1, named)), None)).await;
    assert_eq!(balance(&db, SUNDAY).await, (60_200, 8));
    assert_eq!(balance(&db, monday).await, (64_200, 8));

    // What is entered after a close counts on.
    let late = Deed {
        pay_day: Some(SUNDAY),
        ..ticket(FRIDAY, "late", 1)
    };
    write(&db, late).await;
    assert_eq!(balance(&db, SUNDAY).await, (60_200, 8));
    assert_eq!(balance(&db, monday).await, (64_201, 8));
}
