#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proto::google::r#type::Date;

use super::*;

const ID: &str = "0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90";
const TICKET: &str = "2031050200010000001";

fn usd() -> Option<Currency> {
    Currency::new("USD")
}

fn cents(amount_minor: i64) -> Option<v1::Money> {
    Some(v1::Money {
        amount_minor,
        currency: "USD".to_owned(),
    })
}

fn on(day: i32) -> Option<Date> {
    Some(Date {
        year: 2031,
        month: 5,
        day,
    })
}

fn a_settlement() -> v1::SettleRequest {
    v1::SettleRequest {
        request_id: ID.to_owned(),
        site: 1,
        payee: "ana".to_owned(),
        scope: Some(v1::SettlementScope {
            tickets: vec![TICKET.to_owned()],
            ..v1::SettlementScope::default()
        }),
        payments: vec![v1::Payment {
            method: v1::PaymentMethod::MoneyOrder.into(),
            amount: cents(32_000),
            reference: "1042".to_owned(),
        }],
        note: "by hand".to_owned(),
        happened_at: None,
    }
}

#[test]
fn a_settlement_reads_as_it_was_written() {
    let asked = settle(a_settlement(), usd()).unwrap();
    assert_eq!(asked.request_id, ID);
    let paid = Payment {
        method: Method::MoneyOrder,
        amount: Money::new(32_000, usd().unwrap()),
        reference: "1042".to_owned(),
    };
    let expected = SettleAsked {
        site: 1,
        payee: "ana".to_owned(),
        tickets: vec![2_031_050_200_010_000_001],
        from: None,
        to: None,
        payments: vec![paid],
        note: "by hand".to_owned(),
        happened_us: None,
    };
    assert_eq!(asked.what, expected);
}

/// The field a changed settlement is refused for.
fn refused(change: impl FnOnce(&mut v1::SettleRequest)) -> String {
    let mut request = a_settlement();
    change(&mut request);
    settle(request, usd()).unwrap_err().field
}

#[test]
fn a_settlement_is_refused_at_the_field_that_is_wrong() {
    let scope = |r: &mut v1::SettleRequest, scope| r.scope = Some(scope);
    let days = |from, to| v1::SettlementScope {
        tickets: Vec::new(),
        from,
        to,
    };
    assert_eq!(refused(|r| r.request_id.clear()), "request_id");
    assert_eq!(refused(|r| r.site = 0), "site");
    assert_eq!(refused(|r| r.payee.clear()), "payee");
    assert_eq!(refused(|r| r.payee = "Ana".to_owned()), "payee");
    assert_eq!(refused(|r| r.note = "x".repeat(201)), "note");
    assert_eq!(refused(|r| r.payments[0].method = 0), "payments[0].method");
    assert_eq!(refused(|r| r.payments[0].method = 99), "payments[0].method");
    assert_eq!(
        refused(|r| r.payments[0].amount = None),
        "payments[0].amount"
    );
    for minor in [0, -1, i64::MAX] {
        let field = refused(|r| r.payments[0].amount = cents(minor));
        assert_eq!(field, "payments[0].amount.amount_minor", "{minor}");
    }
    let other = |r: &mut v1::SettleRequest| {
        r.payments[0].amount.as_mut().unwrap().currency = "EUR".to_owned();
    };
    assert_eq!(refused(other), "payments[0].amount.currency");
    let long = |r: &mut v1::SettleRequest| r.payments[0].reference = "1\n2".to_owned();
    assert_eq!(refused(long), "payments[0].reference");
    let twice = |r: &mut v1::SettleRequest| {
        r.scope.as_mut().unwrap().tickets.push(TICKET.to_owned());
    };
    assert_eq!(refused(twice), "scope.tickets[1]");
    let no_ticket = |r: &mut v1::SettleRequest| {
        r.scope.as_mut().unwrap().tickets[0] = "17".to_owned();
    };
    assert_eq!(refused(no_ticket), "scope.tickets[0]");
    assert_eq!(refused(|r| r.scope.as_mut().unwrap().from = on(2)), "scope");
    assert_eq!(refused(|r| scope(r, days(on(2), on(2)))), "scope.to");
    assert_eq!(refused(|r| scope(r, days(on(32), None))), "scope.from.day");
    assert_eq!(refused(|r| scope(r, days(None, on(0)))), "scope.to.day");
    let never = prost_types::Timestamp {
        seconds: -1,
        nanos: 0,
    };
    assert_eq!(
        refused(|r| r.happened_at = Some(never)),
        "happened_at.seconds"
    );
    assert_eq!(settle(a_settlement(), None).unwrap_err().field, "site");
}

#[test]
fn advances_charges_counts_and_disputes_are_refused_at_the_field_that_is_wrong() {
    let payment = a_settlement().payments.remove(0);
    let an_advance = v1::RecordAdvanceRequest {
        request_id: ID.to_owned(),
        site: 1,
        payee: "ana".to_owned(),
        payment: Some(payment),
        reason: "fuel for the week".to_owned(),
        happened_at: None,
    };
    assert!(advance(an_advance.clone(), usd()).is_ok());
    let bare = v1::RecordAdvanceRequest {
        payment: None,
        ..an_advance.clone()
    };
    assert_eq!(advance(bare, usd()).unwrap_err().field, "payment");
    let why = v1::RecordAdvanceRequest {
        reason: " ".to_owned(),
        ..an_advance
    };
    assert_eq!(advance(why, usd()).unwrap_err().field, "reason");

    let a_charge = v1::RecordChargeRequest {
        request_id: ID.to_owned(),
        site: 1,
        payee: "ana".to_owned(),
        name: "ice".to_owned(),
        amount: cents(4_000),
        order: 3,
        happened_at: None,
    };
    assert_eq!(charge(a_charge.clone(), usd()).unwrap().what.order, 3);
    let far = v1::RecordChargeRequest {
        order: i32::MAX,
        ..a_charge.clone()
    };
    assert_eq!(charge(far, usd()).unwrap_err().field, "order");
    let unnamed = v1::RecordChargeRequest {
        name: String::new(),
        ..a_charge.clone()
    };
    assert_eq!(charge(unnamed, usd()).unwrap_err().field, "name");
    let free = v1::RecordChargeRequest {
        amount: cents(0),
        ..a_charge
    };
    assert_eq!(
        charge(free, usd()).unwrap_err().field,
        "amount.amount_minor"
    );

    let a_count = v1::RecordDrawerCountRequest {
        request_id: ID.to_owned(),
        site: 1,
        day: on(2),
        opening: cents(0),
        counted: cents(0),
        note: String::new(),
        happened_at: None,
    };
    assert!(drawer(a_count.clone(), usd()).is_ok());
    let no_day = v1::RecordDrawerCountRequest {
        day: None,
        ..a_count.clone()
    };
    assert_eq!(drawer(no_day, usd()).unwrap_err().field, "day");
    let below = v1::RecordDrawerCountRequest {
        counted: cents(-1),
        ..a_count.clone()
    };
    assert_eq!(
        drawer(below, usd()).unwrap_err().field,
        "counted.amount_minor"
    );
    let unsaid = v1::RecordDrawerCountRequest {
        opening: None,
        ..a_count
    };
    assert_eq!(drawer(unsaid, usd()).unwrap_err().field, "opening");

    let a_dispute = v1::DisputeLineRequest {
        request_id: ID.to_owned(),
        ticket: TICKET.to_owned(),
        line: 1,
        text: "my scale said 41".to_owned(),
    };
    assert!(dispute(a_dispute.clone()).is_ok());
    let before = v1::DisputeLineRequest {
        line: -1,
        ..a_dispute.clone()
    };
    assert_eq!(dispute(before).unwrap_err().field, "line");
    let mute = v1::DisputeLineRequest {
        text: String::new(),
        ..a_dispute
    };
    assert_eq!(dispute(mute).unwrap_err().field, "text");
    let an_answer = v1::AnswerDisputeRequest {
        request_id: ID.to_owned(),
        dispute: String::new(),
        answer: "weighed again".to_owned(),
    };
    assert_eq!(answer(an_answer).unwrap_err().field, "dispute");
}
