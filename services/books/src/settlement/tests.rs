//! What is open of a payee's pay and what was settled, on both engines.

use rules::money::{Currency, Money};
use rules::settlement::{Deducted, Item, SettleAsked, reckon};

use super::*;
use crate::conformance;
use crate::db::Db;
use crate::doc::entry_doc;
use crate::entries::tests::{
    FRIDAY, SATURDAY, SITE, corrupt_at, damage, deed, friday, stamp, write,
};
use crate::scribe::Deed;

conformance! {
    pay_is_open_until_it_is_settled_and_late_pay_on_its_day, check_open;
    settlements_of_a_payee_at_a_site_are_one_chain, check_chain;
    advances_and_charges_stand_until_they_are_taken_up, check_dues;
    payments_are_found_by_payee_and_currency_by_day, check_payments;
    a_dispute_is_open_until_it_is_answered, check_disputes;
    a_drawer_is_counted_as_often_as_it_is, check_drawer;
}

fn usd(minor: i64) -> Money {
    Money::new(minor, Currency::new("USD").unwrap())
}

/// A deed by which the site owes ana so much.
fn owes(request_id: &str, minor: i64) -> Deed {
    let owed = Account::of("owed", "ana");
    Deed {
        rows: pay::rows([(Account::site("purchases"), owed, minor)]),
        ..deed("weigh_in", request_id)
    }
}

async fn open_from(db: &Db, from: i64) -> Vec<Open> {
    let mut tx = db.read().await.unwrap();
    open(&mut tx, SITE, "ana", from).await.unwrap()
}

fn is_open(pay_day: i64, entry: i64, minor: i64) -> Open {
    Open {
        pay_day,
        entry,
        kind: "weigh_in".to_owned(),
        rows: vec![1],
        minor,
    }
}

async fn check_open(db: Db) {
    let first = write(&db, owes("a", 1_000)).await;
    let late = Deed {
        pay_day: Some(SATURDAY),
        ..owes("b", 200)
    };
    let late = write(&db, late).await;
    let elsewhere = Deed {
        site: SITE + 1,
        ..owes("c", 50)
    };
    write(&db, elsewhere).await;
    let of_ben = pay::rows([(Account::site("purchases"), Account::of("owed", "ben"), 9)]);
    let of_ben = Deed {
        rows: of_ben,
        ..deed("weigh_in", "d")
    };
    write(&db, of_ben).await;
    let both = [is_open(FRIDAY, first, 1_000), is_open(SATURDAY, late, 200)];
    assert_eq!(open_from(&db, FRIDAY).await, both);
    assert_eq!(open_from(&db, SATURDAY).await, both[1..]);
    let spends = Deed {
        must_hold: both[0].spends(),
        rows: pay::rows([(
            Account::of("owed", "ana"),
            Account::of("paid", "ana"),
            1_000,
        )]),
        ..deed("settle", "e")
    };
    write(&db, spends).await;
    // A settlement's own rows are no pay.
    assert_eq!(open_from(&db, FRIDAY).await, both[1..]);
}

fn settled(items: Vec<Item>, dues: Vec<Due>) -> Settled {
    let payable = usd(items.iter().map(|item| item.amount.minor()).sum());
    let reckoned = reckon(payable, dues, 500_000).unwrap();
    Settled {
        before: None,
        items,
        brought: usd(0),
        payable,
        deductions: reckoned.deductions,
        deducted: reckoned.deducted,
        paid: reckoned.paid,
        carried: reckoned.carried,
        open_from: FRIDAY,
    }
}

fn asked() -> SettleAsked {
    SettleAsked {
        site: SITE,
        payee: "ana".to_owned(),
        tickets: Vec::new(),
        from: None,
        to: None,
        payments: Vec::new(),
        note: String::new(),
        happened_us: None,
    }
}

async fn chain_of(db: &Db, site: i64, payee: &str) -> Option<Chain> {
    let mut tx = db.read().await.unwrap();
    chain(&mut tx, site, payee).await.unwrap()
}

async fn check_chain(db: Db) {
    assert_eq!(chain_of(&db, SITE, "ana").await, None, "not on file");
    let party = Deed {
        site: 0,
        rows: vec![crate::register::row("party", 0, "ana", 0)],
        ..deed("party", "p")
    };
    let party = write(&db, party).await;
    let first = chain_of(&db, SITE, "ana").await.unwrap();
    let spend = |what, item| Condition::Spend {
        what,
        item,
        how: "settle",
    };
    assert_eq!(first.last, None);
    assert_eq!(first.spends, spend(party, 10_000 + SITE));
    assert_eq!(first.open_from, FRIDAY - 1);

    let ticket = write(&db, owes("a", 1_000)).await;
    let item = Item {
        entry: ticket,
        what: "ticket".to_owned(),
        ticket,
        amount: usd(1_000),
    };
    let due = Due {
        entry: party,
        advance: false,
        name: "ice".to_owned(),
        order: 1,
        left: usd(700),
    };
    let told = settled(vec![item], vec![due]);
    let one = Deed {
        must_hold: vec![first.spends.clone()],
        doc: entry_doc(&asked(), &told),
        rows: settlement_rows("ana", &told, &[]),
        ..deed("settle", "s1")
    };
    let one = write(&db, one).await;
    let next = chain_of(&db, SITE, "ana").await.unwrap();
    assert_eq!(next.last, Some((one, told.clone())));
    assert_eq!(next.spends, spend(one, 0));
    let carried: Vec<i64> = told
        .deductions
        .iter()
        .filter_map(Deducted::carried)
        .map(|due| due.left.minor())
        .collect();
    assert_eq!(carried, [200]);
    // At another site the chain has not begun.
    let other = chain_of(&db, SITE + 1, "ana").await.unwrap();
    assert_eq!(other.spends, spend(party, 10_001 + SITE));
    let mut tx = db.read().await.unwrap();
    let of_ticket = settlements_of(&mut tx, ticket).await.unwrap();
    assert_eq!(of_ticket, [EntryId::new(one).unwrap()]);
    assert_eq!(settlements_of(&mut tx, one).await.unwrap(), []);
    assert_eq!(settlement(&mut tx, one).await.unwrap(), Some(told));
    assert_eq!(settlement(&mut tx, ticket).await.unwrap(), None);
    // What the rows say: payable, taken off, carried and paid.
    let sql = "SELECT payable, deducted, carried, paid FROM settlement";
    let rows = tx.fetch(sql, &[]).await.unwrap();
    let row: Vec<i64> = (0..4).map(|at| rows[0].int(at)).collect();
    assert_eq!(row, [1_000, 500, 200, 500]);
}

fn paid(method: Method, minor: i64, reference: &str) -> Payment {
    Payment {
        method,
        amount: usd(minor),
        reference: reference.to_owned(),
    }
}

async fn check_dues(db: Db) {
    let money_order = paid(Method::MoneyOrder, 100, "7");
    let advance = Deed {
        rows: advance_rows("ana", "fuel", &money_order),
        ..deed("advance", "a")
    };
    let advance = write(&db, advance).await;
    let charge = Deed {
        rows: charge_rows("ana", "ice", 3, 40),
        ..deed("charge", "b")
    };
    let charge = write(&db, charge).await;
    let currency = usd(0).currency();
    let mut tx = db.read().await.unwrap();
    let due = |entry, advance, name: &str, order, minor| Due {
        entry,
        advance,
        name: name.to_owned(),
        order,
        left: usd(minor),
    };
    let both = [
        due(advance, true, "fuel", 0, 100),
        due(charge, false, "ice", 3, 40),
    ];
    assert_eq!(dues(&mut tx, SITE, "ana", currency).await.unwrap(), both);
    assert_eq!(dues(&mut tx, SITE, "ben", currency).await.unwrap(), []);
    assert_eq!(dues(&mut tx, 2, "ana", currency).await.unwrap(), []);
    drop(tx);
    let takes = Deed {
        must_hold: crate::entries::tests::ends(advance, "settle"),
        ..deed("settle", "c")
    };
    write(&db, takes).await;
    let mut tx = db.read().await.unwrap();
    assert_eq!(
        dues(&mut tx, SITE, "ana", currency).await.unwrap(),
        both[1..]
    );
    // What was handed over and what is still to be taken off add up by account.
    let sql = "SELECT to_place, amount FROM money_book ORDER BY entry, n";
    let rows = tx.fetch(sql, &[]).await.unwrap();
    let rows: Vec<(&str, i64)> = rows.iter().map(|row| (row.text(0), row.int(1))).collect();
    assert_eq!(rows, [("paid:ana", 100), ("deduction:ana", 40)]);
}

async fn check_payments(db: Db) {
    let payments = [
        paid(Method::Currency, 100, ""),
        paid(Method::BusinessCheck, 30, "2201"),
        paid(Method::Currency, 5, ""),
    ];
    let one = Deed {
        happened_us: 500,
        rows: payment_rows("ana", &payments),
        ..deed("settle", "a")
    };
    let one = write(&db, one).await;
    let other = Deed {
        happened_us: 900,
        rows: payment_rows("ben", &payments[..1]),
        ..deed("settle", "b")
    };
    write(&db, other).await;
    let mut tx = db.read().await.unwrap();
    let told = super::payments(&mut tx, "ana", 500, 501).await.unwrap();
    let row = |at: usize| StoredPayment {
        entry: one,
        happened_us: 500,
        method: payments[at].method,
        reference: payments[at].reference.clone(),
        minor: payments[at].amount.minor(),
    };
    assert_eq!(told, [row(0), row(1), row(2)]);
    for (from, to) in [(501, 900), (0, 500)] {
        assert_eq!(super::payments(&mut tx, "ana", from, to).await.unwrap(), []);
    }
    assert_eq!(currency_paid(&mut tx, SITE, FRIDAY).await.unwrap(), 205);
    assert_eq!(currency_paid(&mut tx, SITE, SATURDAY).await.unwrap(), 0);
    assert_eq!(currency_paid(&mut tx, SITE + 1, FRIDAY).await.unwrap(), 0);
    drop(tx);
    let shells = Row::new(
        &PAYMENT,
        [
            one.into(),
            9.into(),
            "ana".into(),
            "shells".into(),
            "".into(),
            1.into(),
        ],
    );
    damage(&db, &[shells]).await;
    let mut tx = db.read().await.unwrap();
    let told = super::payments(&mut tx, "ana", 500, 501).await;
    assert_eq!(corrupt_at(told), ("payment", "method", one));
}

async fn check_disputes(db: Db) {
    let dispute = Deed {
        rows: vec![dispute_row(friday(1), 2, "ana")],
        ..deed("dispute", "a")
    };
    let dispute = write(&db, dispute).await;
    let mut open = Disputed {
        entry: dispute,
        ticket: friday(1),
        line: 2,
        answer: None,
    };
    let mut tx = db.read().await.unwrap();
    assert_eq!(disputes_of(&mut tx, friday(1)).await.unwrap(), [open]);
    assert_eq!(disputes_of(&mut tx, friday(2)).await.unwrap(), []);
    assert_eq!(open_disputes(&mut tx, SITE, "ana").await.unwrap(), [open]);
    assert_eq!(open_disputes(&mut tx, SITE, "ben").await.unwrap(), []);
    assert_eq!(open_disputes(&mut tx, 2, "ana").await.unwrap(), []);
    assert_eq!(
        disputes_of_day(&mut tx, SITE, FRIDAY).await.unwrap(),
        [open]
    );
    assert_eq!(disputes_of_day(&mut tx, SITE, SATURDAY).await.unwrap(), []);
    drop(tx);
    let answer = Deed {
        must_hold: crate::entries::tests::ends(dispute, "answer"),
        ..deed("answer", "b")
    };
    open.answer = Some(stamp(&db, answer).await.entry);
    let mut tx = db.read().await.unwrap();
    assert_eq!(disputes_of(&mut tx, friday(1)).await.unwrap(), [open]);
    assert_eq!(open_disputes(&mut tx, SITE, "ana").await.unwrap(), []);
    assert_eq!(disputes_of_day(&mut tx, SITE, FRIDAY).await.unwrap(), []);
}

async fn check_drawer(db: Db) {
    let mut counts = Vec::new();
    for (request_id, day) in [("a", FRIDAY), ("b", FRIDAY), ("c", SATURDAY)] {
        let count = Deed {
            rows: vec![drawer_row(SITE, day, 100, 90)],
            ..deed("drawer", request_id)
        };
        counts.push(write(&db, count).await);
    }
    let mut tx = db.read().await.unwrap();
    assert_eq!(
        drawer_counts(&mut tx, SITE, FRIDAY).await.unwrap(),
        counts[..2]
    );
    let elsewhere = drawer_counts(&mut tx, 2, FRIDAY).await.unwrap();
    assert_eq!(elsewhere, Vec::<i64>::new());
}
