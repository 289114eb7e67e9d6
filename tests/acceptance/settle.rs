//! Paying divers: once, whatever is sent again or at once; what is taken off and
//! carried; what voids, rewrites and disputes make of it; the year's cash and the
//! drawer.
//!
//! Every ticket here is 40.00 lb of lionfish at 0.80 lb a fish, 6.25 a pound:
//! 250.00.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::office_service_client::OfficeServiceClient;
use proto::v1::settlement_service_client::SettlementServiceClient;
use proto::v1::statement_service_client::StatementServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::harness::{
    Keyed, OFFICE, Server, fresh, harbor, lb, message, one_tote, said, set_clock,
};

const PAYEE: &str = "wren-haldane";

type Settlements = SettlementServiceClient<Keyed>;

async fn settlements(server: &Server) -> Settlements {
    SettlementServiceClient::new(server.channel().await)
}

async fn weigh_in(server: &Server, request: v1::RecordWeighInRequest) -> v1::Ticket {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await.unwrap();
    answer.into_inner().ticket.unwrap()
}

/// 250.00.
async fn bought(server: &Server) -> v1::Ticket {
    weigh_in(server, one_tote("44.00", "4.00", 50)).await
}

async fn ticket(server: &Server, id: &str) -> v1::Ticket {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let request = v1::GetTicketRequest {
        ticket: id.to_owned(),
    };
    let answer = client.get_ticket(request).await.unwrap();
    answer.into_inner().ticket.unwrap()
}

async fn void(server: &Server, id: &str) -> Result<(), Status> {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let request = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: id.to_owned(),
        reason: "wrong diver".to_owned(),
    };
    client.void_ticket(request).await.map(|_| ())
}

fn usd(cents: i64) -> Value {
    json!({ "amountMinor": cents.to_string(), "currency": "USD" })
}

/// A settlement of these tickets, or of all that is open, paid in currency.
fn settle(tickets: &[&str], cents: i64) -> v1::SettleRequest {
    let payments = if cents == 0 {
        json!([])
    } else {
        json!([{ "method": "PAYMENT_METHOD_CURRENCY", "amount": usd(cents) }])
    };
    message(json!({
        "requestId": fresh(), "site": 1, "payee": PAYEE, "scope": { "tickets": tickets },
        "payments": payments
    }))
}

async fn settled(server: &Server, request: v1::SettleRequest) -> Result<v1::Settlement, Status> {
    let answer = settlements(server).await.settle(request).await?;
    Ok(answer.into_inner().settlement.unwrap())
}

fn charge(name: &str, cents: i64, order: i32) -> v1::RecordChargeRequest {
    message(json!({
        "requestId": fresh(), "site": 1, "payee": PAYEE, "name": name, "amount": usd(cents),
        "order": order
    }))
}

fn advance(cents: i64) -> v1::RecordAdvanceRequest {
    message(json!({
        "requestId": fresh(), "site": 1, "payee": PAYEE, "reason": "fuel for the week",
        "payment": {
            "method": "PAYMENT_METHOD_MONEY_ORDER", "amount": usd(cents), "reference": "1042"
        }
    }))
}

fn cents(money: Option<&v1::Money>) -> i64 {
    money.unwrap().amount_minor
}

fn reason(status: &Status) -> String {
    status.get_details_error_info().unwrap().reason
}

fn day(month: i32, day: i32) -> Option<proto::google::r#type::Date> {
    Some(proto::google::r#type::Date {
        year: 2031,
        month,
        day,
    })
}

async fn statement(server: &Server) -> v1::Statement {
    let request = v1::GetStatementRequest {
        site: 1,
        party: PAYEE.to_owned(),
        from: day(4, 28),
        to: day(6, 1),
    };
    let mut client = StatementServiceClient::new(server.channel().await);
    let answer = client.get_statement(request).await.unwrap();
    answer.into_inner().statement.unwrap()
}

/// Cents owed and held after all.
async fn owed_and_held(server: &Server) -> (i64, i64) {
    let statement = statement(server).await;
    (
        cents(statement.owed_after.as_ref()),
        cents(statement.held_after.as_ref()),
    )
}

#[tokio::test]
async fn a_ticket_is_paid_now_and_only_once() {
    let server = harbor().await;
    let first = bought(&server).await;
    let other = bought(&server).await;
    let request = settle(&[&first.id], 25_000);
    let told = settled(&server, request.clone()).await.unwrap();
    assert_eq!(cents(told.paid.as_ref()), 25_000);
    assert_eq!(told.items.len(), 1);
    assert_eq!(told.items[0].entry_id, first.id);
    // A retry gets the first answer and pays nothing.
    assert_eq!(settled(&server, request).await.unwrap(), told);
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
    // Another clerk is told that it was settled.
    let status = settled(&server, settle(&[&first.id], 25_000))
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "ALREADY_SETTLED");
    // The other ticket is still there, and is all that is.
    let told = settled(&server, settle(&[], 25_000)).await.unwrap();
    assert_eq!(told.items[0].entry_id, other.id);
    assert_eq!(owed_and_held(&server).await, (0, 0));
    let status = settled(&server, settle(&[], 0)).await.unwrap_err();
    assert_eq!(reason(&status), "NOTHING_TO_SETTLE");
    let seen = ticket(&server, &first.id).await;
    assert_eq!(seen.settled_by.len(), 1);
}

#[tokio::test]
async fn payments_that_are_not_what_is_due_pay_nothing() {
    let server = harbor().await;
    bought(&server).await;
    for wrong in [24_999, 25_001, 0] {
        let status = settled(&server, settle(&[], wrong)).await.unwrap_err();
        assert_eq!(reason(&status), "PAYMENT_DIFFERS", "{wrong}");
        assert!(status.message().contains("250.00 USD"), "{status:?}");
    }
    let mut unnumbered = settle(&[], 25_000);
    unnumbered.payments[0].set_method(v1::PaymentMethod::BusinessCheck);
    let status = settled(&server, unnumbered).await.unwrap_err();
    let bad = status.get_details_bad_request().unwrap();
    assert_eq!(bad.field_violations[0].field, "payments[0].reference");
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
    // In two pieces it fits.
    let mut split = settle(&[], 20_000);
    let mut rest = split.payments[0].clone();
    rest.set_method(v1::PaymentMethod::BusinessCheck);
    rest.reference = "2201".to_owned();
    rest.amount.as_mut().unwrap().amount_minor = 5_000;
    split.payments.push(rest);
    settled(&server, split).await.unwrap();
    assert_eq!(owed_and_held(&server).await, (0, 0));
}

#[tokio::test]
async fn what_is_not_taken_off_is_carried_over_two_settlements() {
    let server = harbor().await;
    let mut client = settlements(&server).await;
    for (name, amount, order) in [("gear", 30_000, 3), ("ice", 4_000, 1), ("fuel", 18_000, 2)] {
        client
            .record_charge(charge(name, amount, order))
            .await
            .unwrap();
    }
    // 500.00: half of it is 250.00, of which the gear takes what is left.
    bought(&server).await;
    bought(&server).await;
    let preview = v1::PreviewSettlementRequest {
        site: 1,
        payee: PAYEE.to_owned(),
        scope: None,
    };
    let shown = client.preview_settlement(preview).await.unwrap();
    let shown = shown.into_inner().settlement.unwrap();
    let told = settled(&server, settle(&[], 25_000)).await.unwrap();
    assert_eq!(shown.deductions, told.deductions);
    let taken = |told: &v1::Settlement| -> Vec<(String, i64, i64)> {
        let row = |d: &v1::Deduction| {
            let (taken, carried) = (cents(d.taken.as_ref()), cents(d.carried.as_ref()));
            (d.name.clone(), taken, carried)
        };
        told.deductions.iter().map(row).collect()
    };
    let row = |name: &str, taken, carried| (name.to_owned(), taken, carried);
    assert_eq!(
        taken(&told),
        [
            row("ice", 4_000, 0),
            row("fuel", 18_000, 0),
            row("gear", 3_000, 27_000)
        ]
    );
    let left = statement(&server).await.dues;
    assert_eq!(left.len(), 1);
    assert_eq!(cents(left[0].due.as_ref()), 27_000);

    // The next one carries the gear on; an advance goes before it.
    client.record_advance(advance(10_000)).await.unwrap();
    bought(&server).await;
    let told = settled(&server, settle(&[], 12_500)).await.unwrap();
    assert_eq!(
        taken(&told),
        [
            row("fuel for the week", 10_000, 0),
            row("gear", 2_500, 24_500)
        ]
    );
    assert_eq!(owed_and_held(&server).await, (0, 0));
    let statement = statement(&server).await;
    assert_eq!(cents(statement.dues[0].due.as_ref()), 24_500);
    let paid = statement.rows.iter().filter_map(|row| row.paid.as_ref());
    let paid: Vec<i64> = paid.map(|paid| paid.amount_minor).collect();
    assert_eq!(paid, [25_000, 10_000, 12_500]);
    let advance = &statement.rows[6];
    assert_eq!(
        (advance.what.as_str(), advance.detail.as_str()),
        (
            "advance",
            "fuel for the week, money order 100.00 USD (1042)"
        )
    );
}

/// The ticket written again with another gross and 45 fish: 36.00 lb of 0.80 lb
/// each, 225.00.
fn again(ticket: &v1::Ticket, gross: &str) -> v1::RecordWeighInRequest {
    let mut request = one_tote(gross, "4.00", 45);
    request.rewrites = Some(v1::Rewrite {
        ticket: ticket.id.clone(),
        reason: "gross misread".to_owned(),
    });
    request
}

#[tokio::test]
async fn a_paid_ticket_is_not_voided_but_rewritten_and_the_difference_is_settled_next() {
    let server = harbor().await;
    let paid = bought(&server).await;
    settled(&server, settle(&[&paid.id], 25_000)).await.unwrap();
    let status = void(&server, &paid.id).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "ALREADY_PAID");
    // 36.00 lb would have been 225.00: 25.00 was paid too much.
    let mended = weigh_in(&server, again(&paid, "40.00")).await;
    assert_eq!(owed_and_held(&server).await, (-2_500, 0));
    let status = void(&server, &mended.id).await.unwrap_err();
    assert_eq!(reason(&status), "ALREADY_PAID");
    // Alone it leaves nothing to pay: it is carried below zero.
    let told = settled(&server, settle(&[&mended.id], 0)).await.unwrap();
    assert_eq!(cents(told.payable.as_ref()), -2_500);
    assert_eq!(cents(told.carried_forward.as_ref()), -2_500);
    assert_eq!(owed_and_held(&server).await, (-2_500, 0));
    // And comes off the next ticket.
    bought(&server).await;
    let told = settled(&server, settle(&[], 22_500)).await.unwrap();
    assert_eq!(cents(told.brought_forward.as_ref()), -2_500);
    assert_eq!(cents(told.carried_forward.as_ref()), 0);
    assert_eq!(owed_and_held(&server).await, (0, 0));
}

#[tokio::test]
async fn a_voided_ticket_is_never_paid_and_held_pay_waits_for_its_release() {
    let server = harbor().await;
    let wrong = bought(&server).await;
    void(&server, &wrong.id).await.unwrap();
    let told = settled(&server, settle(&[&wrong.id], 0)).await.unwrap();
    assert_eq!(cents(told.payable.as_ref()), 0);

    let mut request = one_tote("44.00", "4.00", 50);
    request.lots[0].receiving = Some(v1::Receiving {
        decision: v1::Decision::Hold.into(),
        reason: "52 F, iced 40 minutes ago".to_owned(),
        ..Default::default()
    });
    let held = weigh_in(&server, request).await;
    let status = settled(&server, settle(&[&held.id], 0)).await.unwrap_err();
    assert_eq!(reason(&status), "NOTHING_TO_SETTLE");
    let release = v1::ReleaseHoldRequest {
        request_id: fresh(),
        hold_id: held.lines[0].hold_id.clone(),
        reason: "cold again".to_owned(),
        happened_at: None,
    };
    let mut stock = StockServiceClient::new(server.channel().await);
    stock.release_hold(release).await.unwrap();
    let told = settled(&server, settle(&[&held.id], 25_000)).await.unwrap();
    assert_eq!(told.items[0].what, "release");
    assert_eq!(owed_and_held(&server).await, (0, 0));
}

#[tokio::test]
async fn a_period_takes_the_landings_entered_in_it_with_all_that_was_done_to_them() {
    let server = harbor().await;
    let monday = bought(&server).await;
    set_clock(&server, "2031-04-29T15:00:00-04:00").await;
    let tuesday = bought(&server).await;
    weigh_in(&server, again(&monday, "40.00")).await;
    let mut request = settle(&[], 22_500);
    request.scope = Some(v1::SettlementScope {
        tickets: Vec::new(),
        from: day(4, 28),
        to: day(4, 29),
    });
    let told = settled(&server, request).await.unwrap();
    let what: Vec<(&str, i64)> = told
        .items
        .iter()
        .map(|item| (item.what.as_str(), cents(item.amount.as_ref())))
        .collect();
    assert_eq!(what, [("ticket", 25_000), ("rewritten ticket", -2_500)]);
    let told = settled(&server, settle(&[], 25_000)).await.unwrap();
    assert_eq!(told.items[0].entry_id, tuesday.id);
    assert_eq!(owed_and_held(&server).await, (0, 0));
}

#[tokio::test]
async fn an_expired_licence_holds_the_payment_and_not_the_fish() {
    let server = harbor().await;
    bought(&server).await;
    let mut office = OfficeServiceClient::new(server.channel().await);
    let mut licence = async |expires: Value| {
        let party: v1::RecordPartyRequest = message(json!({
            "requestId": fresh(),
            "party": {
                "code": PAYEE, "name": "W. Haldane", "roles": ["PARTY_ROLE_HARVESTER"],
                "licenceNumber": "QH-0107", "licenceExpires": expires
            }
        }));
        office.record_party(party).await.unwrap();
    };
    licence(json!({ "year": 2031, "month": 4, "day": 27 })).await;
    let status = settled(&server, settle(&[], 25_000)).await.unwrap_err();
    assert_eq!(reason(&status), "LICENCE_EXPIRED");
    let status = settlements(&server)
        .await
        .record_advance(advance(1_000))
        .await
        .unwrap_err();
    assert_eq!(reason(&status), "LICENCE_EXPIRED");
    // The fish still comes in.
    bought(&server).await;
    licence(json!({ "year": 2031, "month": 4, "day": 28 })).await;
    settled(&server, settle(&[], 50_000)).await.unwrap();
}

#[tokio::test]
async fn two_clerks_who_pay_one_ticket_at_once_pay_it_once() {
    let server = harbor().await;
    for _ in 0..8 {
        let ticket = bought(&server).await;
        let (mut one, mut other) = (settlements(&server).await, settlements(&server).await);
        let (a, b) = tokio::join!(
            one.settle(settle(&[&ticket.id], 25_000)),
            other.settle(settle(&[&ticket.id], 25_000))
        );
        let refused: Vec<String> = [a, b]
            .into_iter()
            .filter_map(|told| told.err().map(|status| reason(&status)))
            .collect();
        assert_eq!(refused, ["ALREADY_SETTLED"]);
    }
    assert_eq!(owed_and_held(&server).await, (0, 0));
}

#[tokio::test]
async fn a_payment_and_a_void_at_once_have_one_winner() {
    let server = harbor().await;
    for _ in 0..8 {
        let ticket = bought(&server).await;
        let mut clerk = settlements(&server).await;
        let (paid, voided) = tokio::join!(
            clerk.settle(settle(&[&ticket.id], 25_000)),
            void(&server, &ticket.id)
        );
        match (paid, voided) {
            (Ok(_), Err(status)) => assert_eq!(reason(&status), "ALREADY_PAID"),
            // What is left of a voided ticket is nothing to pay.
            (Err(status), Ok(())) => {
                assert_eq!(reason(&status), "PAYMENT_DIFFERS");
                settled(&server, settle(&[&ticket.id], 0)).await.unwrap();
            }
            both => panic!("{both:?}"),
        }
        assert_eq!(owed_and_held(&server).await, (0, 0));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_two_instances_that_settle_one_payee_at_once_pay_each_ticket_once() {
    let book = books::testing::Book::postgres().await;
    let (one, other) = (Server::on(&book.url), Server::on(&book.url));
    let mut week = client::week::Week::default();
    let way = client::week::Way::Unary;
    week.send(&one.service().await, "office.json", OFFICE, way)
        .await
        .unwrap();
    set_clock(&one, "2031-04-28T15:00:00-04:00").await;
    let (mut here, mut there) = (settlements(&one).await, settlements(&other).await);
    for _ in 0..8 {
        let (a, b) = (bought(&one).await, bought(&other).await);
        // The same ticket at both: one of them is told.
        let (x, y) = tokio::join!(
            here.settle(settle(&[&a.id], 25_000)),
            there.settle(settle(&[&a.id], 25_000))
        );
        let refused: Vec<String> = [x, y]
            .into_iter()
            .filter_map(|told| told.err().map(|status| reason(&status)))
            .collect();
        assert_eq!(refused, ["ALREADY_SETTLED"]);
        // Another of the same payee, and the same request sent to both.
        let request = settle(&[&b.id], 25_000);
        let (x, y) = tokio::join!(here.settle(request.clone()), there.settle(request));
        assert_eq!(x.unwrap().into_inner(), y.unwrap().into_inner());
    }
    assert_eq!(owed_and_held(&one).await, (0, 0));
    drop((one, other));
    book.remove().await;
}

#[tokio::test]
async fn the_years_cash_is_added_up_by_pay_date_and_the_drawer_by_day() {
    let server = harbor().await;
    let mut client = settlements(&server).await;
    for _ in 0..3 {
        bought(&server).await;
    }
    let mut request = settle(&[], 40_000);
    request.payments.extend([
        message::<v1::SettleRequest>(json!({ "payments": [
            { "method": "PAYMENT_METHOD_BUSINESS_CHECK", "amount": usd(15_000), "reference": "7" }
        ]}))
        .payments
        .remove(0),
        message::<v1::SettleRequest>(json!({ "payments": [
            { "method": "PAYMENT_METHOD_MONEY_ORDER", "amount": usd(19_999), "reference": "8" }
        ]}))
        .payments
        .remove(0),
        message::<v1::SettleRequest>(json!({ "payments": [
            { "method": "PAYMENT_METHOD_TRANSFER", "amount": usd(1), "reference": "9" }
        ]}))
        .payments
        .remove(0),
    ]);
    settled(&server, request).await.unwrap();
    let mut year = async |year| {
        let request = v1::GetCashYearRequest {
            payee: PAYEE.to_owned(),
            year,
        };
        client.get_cash_year(request).await.unwrap().into_inner()
    };
    // 400.00 currency and 199.99 by money order: a cent short of 600.00
    // (26 USC 6050R); the check and the transfer do not count.
    let told = year(2031).await;
    assert_eq!(cents(told.years[0].total.as_ref()), 59_999);
    assert!(!told.years[0].reportable);
    let mut clerk = settlements(&server).await;
    clerk.record_advance(advance(1)).await.unwrap();
    let told = year(2031).await;
    assert_eq!(cents(told.years[0].total.as_ref()), 60_000);
    assert_eq!(told.years[0].reached_on, day(4, 28));
    assert!(
        told.remarks
            .iter()
            .any(|remark| remark.contains("no tax advice"))
    );
    assert!(year(2030).await.years.is_empty());

    let count: v1::RecordDrawerCountRequest = message(json!({
        "requestId": fresh(), "site": 1, "day": { "year": 2031, "month": 4, "day": 28 },
        "opening": usd(50_000), "counted": usd(9_500)
    }));
    let told = clerk.record_drawer_count(count.clone()).await.unwrap();
    let told = told.into_inner().count.unwrap();
    assert_eq!(cents(told.paid.as_ref()), 40_000);
    assert_eq!(cents(told.difference.as_ref()), -500);
    let mut early = count;
    early.request_id = fresh();
    early.day = day(4, 29);
    let status = clerk.record_drawer_count(early).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    // Currency paid after the count is in the book's view of it.
    bought(&server).await;
    settled(&server, settle(&[], 24_999)).await.unwrap();
    let request = v1::GetDrawerRequest {
        site: 1,
        day: day(4, 28),
    };
    let told = clerk.get_drawer(request).await.unwrap().into_inner();
    assert_eq!(cents(told.paid.as_ref()), 64_999);
    assert_eq!(cents(told.counts[0].difference.as_ref()), 24_499);
}

fn dispute(ticket: &str, line: i32) -> v1::DisputeLineRequest {
    v1::DisputeLineRequest {
        request_id: fresh(),
        ticket: ticket.to_owned(),
        line,
        text: "my scale said 41 lb".to_owned(),
    }
}

#[tokio::test]
async fn a_line_is_disputed_within_its_window_and_answered_once() {
    let server = harbor().await;
    let mut client = settlements(&server).await;
    let paid = bought(&server).await;
    let status = client.dispute_line(dispute(&paid.id, 2)).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let status = client.dispute_line(dispute(&paid.id, 0)).await.unwrap_err();
    assert_eq!(reason(&status), "CONFIRMED_BY_DIVER");
    // Settled three days later: the window runs from there.
    set_clock(&server, "2031-05-01T15:00:00-04:00").await;
    settled(&server, settle(&[], 25_000)).await.unwrap();
    set_clock(&server, "2031-05-08T14:59:59-04:00").await;
    let told = client.dispute_line(dispute(&paid.id, 1)).await.unwrap();
    let id = told.into_inner().recorded.unwrap().entry_id;
    set_clock(&server, "2031-05-08T15:00:00-04:00").await;
    let status = client.dispute_line(dispute(&paid.id, 1)).await.unwrap_err();
    assert_eq!(reason(&status), "DISPUTE_WINDOW_OVER");
    assert!(
        status.message().contains("2031-05-08T15:00:00-04:00"),
        "{status:?}"
    );
    let shown = ticket(&server, &paid.id).await;
    assert_eq!(shown.disputes[0].text, "my scale said 41 lb");
    assert_eq!(cents(shown.disputes[0].amount.as_ref()), 25_000);
    assert_eq!(statement(&server).await.disputes.len(), 1);

    // Open at night it is a flag; answered it is none.
    let kinds = async || {
        let mut closes = v1::close_service_client::CloseServiceClient::new(server.channel().await);
        let request = v1::GetCloseRequest {
            site: 1,
            day: day(5, 8),
            revision: 0,
        };
        let close = closes.get_close(request).await.unwrap().into_inner();
        let flags = close.close.unwrap().flags.into_iter();
        let flags = flags.filter(|flag| flag.kind == "dispute_open");
        flags.map(|flag| flag.subject).collect::<Vec<String>>()
    };
    set_clock(&server, "2031-05-09T05:00:00-04:00").await;
    let night = server.night("2031-05-08", &[]);
    assert_eq!(night.status.code(), Some(1), "{}", said(&night));
    assert_eq!(kinds().await, [format!("{}-1", paid.id)]);
    let answer = || v1::AnswerDisputeRequest {
        request_id: fresh(),
        dispute: id.clone(),
        answer: "weighed again together: 40.00 lb".to_owned(),
    };
    client.answer_dispute(answer()).await.unwrap();
    let status = client.answer_dispute(answer()).await.unwrap_err();
    assert_eq!(reason(&status), "ALREADY_ANSWERED");
    server.night("2031-05-08", &[]);
    assert_eq!(kinds().await, [""; 0]);
    assert!(statement(&server).await.disputes.is_empty());
    let shown = ticket(&server, &paid.id).await;
    assert_eq!(shown.disputes[0].answer, "weighed again together: 40.00 lb");
}

#[tokio::test]
async fn an_absent_diver_has_a_day_to_object_to_the_whole_ticket() {
    let server = harbor().await;
    let mut client = settlements(&server).await;
    let mut request = one_tote("44.00", "4.00", 50);
    request.set_confirmation(v1::Confirmation::DiverAbsent);
    let absent = weigh_in(&server, request).await;
    set_clock(&server, "2031-04-29T14:59:59-04:00").await;
    client.dispute_line(dispute(&absent.id, 0)).await.unwrap();
    set_clock(&server, "2031-04-29T15:00:00-04:00").await;
    let status = client
        .dispute_line(dispute(&absent.id, 0))
        .await
        .unwrap_err();
    assert_eq!(reason(&status), "DISPUTE_WINDOW_OVER");
}

#[tokio::test]
async fn the_night_after_a_settlement_shows_what_is_still_owed() {
    let server = harbor().await;
    let first = bought(&server).await;
    let second = bought(&server).await;
    settled(&server, settle(&[&first.id], 25_000))
        .await
        .unwrap();
    let part = json!({ "lotCode": second.lines[0].lot_code, "part": second.lines[0].part });
    let count: v1::RecordCountRequest = message(json!({
        "requestId": fresh(), "site": 1, "closes": { "year": 2031, "month": 4, "day": 28 },
        "counted": [{ "part": part, "weight": lb("40.00") }]
    }));
    let mut stock = StockServiceClient::new(server.channel().await);
    stock.record_count(count).await.unwrap();
    set_clock(&server, "2031-04-29T05:00:00-04:00").await;
    let night = server.night("2031-04-28", &[]);
    assert_ne!(night.status.code(), Some(2), "{}", said(&night));
    let mut closes = v1::close_service_client::CloseServiceClient::new(server.channel().await);
    let request = v1::GetCloseRequest {
        site: 1,
        day: day(4, 28),
        revision: 0,
    };
    let close = closes.get_close(request).await.unwrap().into_inner();
    let payouts = close.close.unwrap().payouts;
    assert_eq!(payouts.len(), 1);
    assert_eq!(cents(payouts[0].owed.as_ref()), 25_000);
    // A statement goes on from that close.
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
    settled(&server, settle(&[], 25_000)).await.unwrap();
    assert_eq!(owed_and_held(&server).await, (0, 0));
}

#[tokio::test]
async fn deeds_of_paying_go_in_a_stream_as_well() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let paying = settle(&[&ticket.id], 23_000);
    let deeds = vec![
        v1::deed::Deed::Charge(charge("ice", 2_000, 1)),
        v1::deed::Deed::Settle(paying),
        v1::deed::Deed::Settle(settle(&[&ticket.id], 23_000)),
        v1::deed::Deed::Dispute(dispute(&ticket.id, 1)),
    ];
    let items: Vec<v1::CatchUpRequest> = deeds
        .into_iter()
        .map(|deed| v1::CatchUpRequest {
            item: Some(v1::catch_up_request::Item::Deed(v1::Deed {
                deed: Some(deed),
            })),
        })
        .collect();
    let mut client = IntakeServiceClient::new(server.channel().await);
    let mut outcomes = client
        .catch_up(tokio_stream::iter(items))
        .await
        .unwrap()
        .into_inner();
    let mut told = Vec::new();
    while let Some(outcome) = outcomes.message().await.unwrap() {
        told.push((outcome.code, outcome.reason));
    }
    let refused = (
        i32::from(Code::FailedPrecondition),
        "ALREADY_SETTLED".to_owned(),
    );
    let booked = (0, String::new());
    assert_eq!(told, [booked.clone(), booked.clone(), refused, booked]);
}

/// What is still to be taken off, and what the year's payments add up to.
async fn dues_and_year(server: &Server) -> (Vec<i64>, i64) {
    let dues = statement(server).await.dues;
    let dues = dues.iter().map(|due| cents(due.due.as_ref())).collect();
    let request = v1::GetCashYearRequest {
        payee: PAYEE.to_owned(),
        year: 2031,
    };
    let year = settlements(server).await.get_cash_year(request).await;
    let years = year.unwrap().into_inner().years;
    let paid = years.iter().flat_map(|year| &year.payments);
    let paid = paid.map(|row| cents(row.payment.as_ref().unwrap().amount.as_ref()));
    (dues, paid.sum())
}

#[tokio::test]
async fn a_wrong_charge_and_a_wrong_advance_are_taken_back_until_they_are_settled() {
    let server = harbor().await;
    let mut client = settlements(&server).await;
    bought(&server).await;
    let ice = client.record_charge(charge("ice", 4_000, 1)).await.unwrap();
    let fuel = client
        .record_charge(charge("fuel", 2_000, 2))
        .await
        .unwrap();
    let early = client.record_advance(advance(3_000)).await.unwrap();
    let id = |recorded: Option<v1::Recorded>| recorded.unwrap().entry_id;
    let ice = id(ice.into_inner().recorded);
    let fuel = id(fuel.into_inner().recorded);
    let early = id(early.into_inner().recorded);
    assert_eq!(
        dues_and_year(&server).await,
        (vec![4_000, 2_000, 3_000], 3_000)
    );

    let take_back = |entry: &str| v1::TakeBackRequest {
        request_id: fresh(),
        entry: entry.to_owned(),
        reason: "of another diver".to_owned(),
    };
    let of_ice = take_back(&ice);
    let first = client.take_back(of_ice.clone()).await.unwrap().into_inner();
    let again = client.take_back(of_ice).await.unwrap().into_inner();
    assert_eq!(first, again, "booked once");
    client.take_back(take_back(&early)).await.unwrap();
    assert_eq!(dues_and_year(&server).await, (vec![2_000], 0));
    let status = client.take_back(take_back(&ice)).await.unwrap_err();
    assert_eq!(reason(&status), "ALREADY_TAKEN_BACK");

    // Both stand on the statement, and come to nothing.
    let rows = statement(&server).await.rows;
    let of = |what: &str| -> Vec<(i64, i64)> {
        let rows = rows.iter().filter(|row| row.what == what);
        // Nothing is said of an account that did not change.
        let minor = |money: &Option<v1::Money>| money.as_ref().map_or(0, |of| of.amount_minor);
        rows.map(|row| (minor(&row.paid), minor(&row.to_take_off)))
            .collect()
    };
    assert_eq!(of("charge"), [(0, 4_000), (0, 2_000)]);
    assert_eq!(of("advance"), [(3_000, 3_000)]);
    assert_eq!(of("taken back"), [(0, -4_000), (-3_000, -3_000)]);

    // The other one is settled, and too late to take back.
    let settlement = settled(&server, settle(&[], 23_000)).await.unwrap();
    assert_eq!(settlement.deductions.len(), 1);
    let status = client.take_back(take_back(&fuel)).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "ALREADY_SETTLED");
    assert!(status.message().contains("next ticket"), "{status:?}");
}

#[tokio::test]
async fn an_advance_taken_back_next_day_leaves_the_drawer_and_the_year_of_its_day() {
    let server = harbor().await;
    let mut client = settlements(&server).await;
    let mut handed_over = async |cents: i64| {
        let mut request = advance(cents);
        let payment = request.payment.as_mut().unwrap();
        payment.set_method(v1::PaymentMethod::Currency);
        payment.reference.clear();
        let told = client.record_advance(request).await.unwrap().into_inner();
        told.recorded.unwrap().entry_id
    };
    let wrong = handed_over(3_000).await;
    handed_over(1_000).await;
    let mut clerk = settlements(&server).await;
    // 100.00 less 40.00 should be in it, and 90.00 is: one was never handed over.
    let count: v1::RecordDrawerCountRequest = message(json!({
        "requestId": fresh(), "site": 1, "day": { "year": 2031, "month": 4, "day": 28 },
        "opening": usd(10_000), "counted": usd(9_000)
    }));
    let told = clerk.record_drawer_count(count).await.unwrap();
    let first = told.into_inner().count.unwrap();
    assert_eq!(cents(first.difference.as_ref()), 3_000);

    set_clock(&server, "2031-04-29T09:00:00-04:00").await;
    let take_back = v1::TakeBackRequest {
        request_id: fresh(),
        entry: wrong,
        reason: "not handed over".to_owned(),
    };
    clerk.take_back(take_back).await.unwrap();
    for (date, paid, differences) in [(28, 1_000, vec![0]), (29, 0, vec![])] {
        let request = v1::GetDrawerRequest {
            site: 1,
            day: day(4, date),
        };
        let told = clerk.get_drawer(request).await.unwrap().into_inner();
        assert_eq!(cents(told.paid.as_ref()), paid, "{date}");
        let found = told.counts.iter();
        let found: Vec<i64> = found
            .map(|count| cents(count.difference.as_ref()))
            .collect();
        assert_eq!(found, differences, "{date}");
    }
    assert_eq!(dues_and_year(&server).await, (vec![1_000], 1_000));
}
