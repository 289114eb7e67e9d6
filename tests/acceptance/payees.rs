//! The pay of a boat: each payee has their own part of a ticket's pay, to the cent,
//! whatever becomes of the fish and of the ticket.
//!
//! A lot here is 40.00 lb of lionfish at 0.80 lb a fish, 6.25 a pound: 250.00.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::statement_service_client::StatementServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};
use tonic_types::StatusExt as _;

use crate::harness::{Keyed, Server, fresh, harbor, lb, message, one_tote, said};

const BOAT: [&str; 3] = ["skiff-tarn", "mara-denby", "jonas-brandeth"];

fn payee(party: &str, share: v1::payee_share::Share) -> v1::PayeeShare {
    v1::PayeeShare {
        party: party.to_owned(),
        share: Some(share),
    }
}

fn percent(party: &str, percent: &str) -> v1::PayeeShare {
    payee(party, v1::payee_share::Share::Percent(percent.to_owned()))
}

fn usd(amount_minor: i64) -> v1::Money {
    v1::Money {
        amount_minor,
        currency: "USD".to_owned(),
    }
}

fn fixed(party: &str, cents: i64) -> v1::PayeeShare {
    payee(party, v1::payee_share::Share::Fixed(usd(cents)))
}

/// 30, 35 and 35 percent.
fn thirds() -> Vec<v1::PayeeShare> {
    let of = BOAT.iter().zip(["30", "35", "35"]);
    of.map(|(party, share)| percent(party, share)).collect()
}

fn flat(cents: i64) -> v1::Adjustment {
    v1::Adjustment {
        name: "diesel".to_owned(),
        kind: v1::AdjustmentKind::Settlement.into(),
        amount: Some(v1::adjustment::Amount::Flat(usd(cents))),
    }
}

/// A lot, with so much more that the payout is 412.37.
fn boat() -> v1::RecordWeighInRequest {
    v1::RecordWeighInRequest {
        payees: thirds(),
        adjustments: vec![flat(16_237)],
        ..one_tote("44.00", "4.00", 50)
    }
}

async fn weigh_in(
    server: &Server,
    request: v1::RecordWeighInRequest,
) -> Result<v1::Ticket, tonic::Status> {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await?;
    Ok(answer.into_inner().ticket.unwrap())
}

async fn statement(server: &Server, party: &str) -> v1::Statement {
    let day = |month, day| {
        Some(proto::google::r#type::Date {
            year: 2031,
            month,
            day,
        })
    };
    let request = v1::GetStatementRequest {
        site: 1,
        party: party.to_owned(),
        from: day(4, 28),
        to: day(5, 5),
    };
    let mut client = StatementServiceClient::new(server.channel().await);
    let answer = client.get_statement(request).await.unwrap();
    answer.into_inner().statement.unwrap()
}

fn cents(money: Option<v1::Money>) -> i64 {
    money.unwrap().amount_minor
}

/// Cents that each of the boat is owed and that are held.
async fn each(server: &Server) -> Vec<(i64, i64)> {
    let mut all = Vec::new();
    for party in BOAT {
        let statement = statement(server, party).await;
        all.push((cents(statement.owed_after), cents(statement.held_after)));
    }
    all
}

async fn stock(server: &Server) -> StockServiceClient<Keyed> {
    StockServiceClient::new(server.channel().await)
}

fn part(line: &v1::TicketLine, n: i32) -> Value {
    json!({ "lotCode": line.lot_code, "part": n })
}

async fn hold(server: &Server, line: &v1::TicketLine, weight: &str) -> v1::HoldPartResponse {
    let request: v1::HoldPartRequest = message(json!({
        "requestId": fresh(), "part": part(line, line.part), "weight": lb(weight),
        "reason": "smells of fuel"
    }));
    let answer = stock(server).await.hold_part(request).await;
    answer.unwrap().into_inner()
}

async fn release(server: &Server, hold_id: &str) {
    let request: v1::ReleaseHoldRequest = message(json!({
        "requestId": fresh(), "holdId": hold_id, "reason": "cold again"
    }));
    stock(server).await.release_hold(request).await.unwrap();
}

async fn thrown_out(server: &Server, taken: Vec<(Value, &str)>) {
    let taken: Vec<Value> = taken
        .into_iter()
        .map(|(part, weight)| json!({ "part": part, "weight": lb(weight) }))
        .collect();
    let request: v1::RecordMovementRequest = message(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_DISCARD", "reason": "smells",
        "taken": taken
    }));
    stock(server).await.record_movement(request).await.unwrap();
}

fn held_at_the_dock(request: &mut v1::RecordWeighInRequest) {
    for lot in &mut request.lots {
        lot.receiving = Some(v1::Receiving {
            decision: v1::Decision::Hold.into(),
            reason: "52 F, iced 40 minutes ago".to_owned(),
            ..Default::default()
        });
    }
}

#[tokio::test]
async fn a_boats_pay_is_split_and_each_sees_the_weight_and_only_their_money() {
    let server = harbor().await;
    let ticket = weigh_in(&server, boat()).await.unwrap();
    assert_eq!(cents(ticket.payout.clone()), 41_237);
    let shares: Vec<(&str, i64)> = ticket
        .payee_amounts
        .iter()
        .map(|amount| (amount.party.as_str(), cents(amount.owed.clone())))
        .collect();
    let expected = BOAT.into_iter().zip([12_371, 14_433, 14_433]);
    assert_eq!(shares, expected.collect::<Vec<_>>());

    for (party, owed) in shares {
        let statement = statement(&server, party).await;
        assert_eq!(cents(statement.owed_after), owed, "{party}");
        assert_eq!(statement.rows.len(), 1, "{party}");
        let row = &statement.rows[0];
        assert_eq!(row.ticket, ticket.id, "{party}");
        assert_eq!(row.weight.as_ref().unwrap().shown, "40.00", "{party}");
        assert_eq!(cents(row.owed.clone()), owed, "{party}");
    }
    // The harvester of record is paid none of it, and sees none of it.
    assert_eq!(statement(&server, "wren-haldane").await.rows, []);

    let printed = said(&server.client(&["ticket", &ticket.id]));
    for words in ["Paid to", "skiff-tarn", "123.71 USD", "144.33 USD"] {
        assert!(printed.contains(words), "{words} in {printed}");
    }
}

#[tokio::test]
async fn fixed_amounts_come_first_and_the_harvester_may_be_one_of_the_payees() {
    let server = harbor().await;
    let mut request = one_tote("44.00", "4.00", 50);
    request.payees = vec![
        percent("wren-haldane", "60"),
        percent("mara-denby", "40"),
        fixed("skiff-tarn", 5_001),
    ];
    weigh_in(&server, request).await.unwrap();
    // 199.99 is left: 119.994 and 79.996.
    for (party, owed) in [
        ("skiff-tarn", 5_001),
        ("wren-haldane", 11_999),
        ("mara-denby", 8_000),
    ] {
        let statement = statement(&server, party).await;
        assert_eq!(cents(statement.owed_after), owed, "{party}");
    }
}

#[tokio::test]
async fn a_release_moves_back_just_what_its_hold_took_of_each() {
    let server = harbor().await;
    let mut request = boat();
    let second = one_tote("24.00", "4.00", 25).lots.remove(0);
    request.lots.push(second);
    // 250.00 + 125.00 + 162.37
    let ticket = weigh_in(&server, request).await.unwrap();
    let whole = [(16_121, 0), (18_808, 0), (18_808, 0)];
    assert_eq!(each(&server).await, whole);

    let (one, two) = (&ticket.lines[0], &ticket.lines[1]);
    let first = hold(&server, one, "0.01").await;
    let after_first = each(&server).await;
    // Six cents: 1.8, 2.1 and 2.1 of it.
    assert_eq!(after_first, [(16_119, 2), (18_806, 2), (18_806, 2)]);
    let second = hold(&server, two, "20.00").await;
    let third = hold(&server, one, "13.33").await;
    let held: i64 = each(&server).await.iter().map(|(_, held)| held).sum();
    assert_eq!(held, 6 + 12_500 + 8_331);
    release(&server, &first.hold_id).await;
    release(&server, &third.hold_id).await;
    release(&server, &second.hold_id).await;
    assert_eq!(each(&server).await, whole);
}

#[tokio::test]
async fn fish_thrown_out_takes_of_what_is_held_of_each_and_no_more() {
    let server = harbor().await;
    let mut request = boat();
    request.adjustments.clear();
    let second = one_tote("24.00", "4.00", 25).lots.remove(0);
    request.lots.push(second);
    held_at_the_dock(&mut request);
    let ticket = weigh_in(&server, request).await.unwrap();
    assert_eq!(each(&server).await, [(0, 11_250), (0, 13_125), (0, 13_125)]);
    let (one, two) = (&ticket.lines[0], &ticket.lines[1]);
    // Of both lots in one movement: 0.01 lb of the first is 6 cents, 0.05 of the other 31.
    let taken = vec![(part(one, one.part), "0.01"), (part(two, two.part), "0.05")];
    thrown_out(&server, taken).await;
    let left = each(&server).await;
    assert_eq!(left.iter().map(|(_, held)| held).sum::<i64>(), 37_500 - 37);
    // Given back: what was held of each is owed to them.
    release(&server, &one.hold_id).await;
    release(&server, &two.hold_id).await;
    let owed: Vec<(i64, i64)> = left.iter().map(|(_, held)| (*held, 0)).collect();
    assert_eq!(each(&server).await, owed);
}

#[tokio::test]
async fn a_void_takes_all_of_it_back_from_each() {
    let server = harbor().await;
    let ticket = weigh_in(&server, boat()).await.unwrap();
    let request = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: ticket.id,
        reason: "another boat's".to_owned(),
    };
    let mut client = IntakeServiceClient::new(server.channel().await);
    client.void_ticket(request).await.unwrap();
    assert_eq!(each(&server).await, [(0, 0); 3]);
    assert_eq!(statement(&server, BOAT[0]).await.rows.len(), 2);
}

#[tokio::test]
async fn a_ticket_written_again_for_others_moves_all_of_its_pay_to_them() {
    let server = harbor().await;
    // Forgotten: the boat. A hold stays a hold.
    let mut request = boat();
    request.payees.clear();
    let alone = weigh_in(&server, request).await.unwrap();
    assert_eq!(alone.payee_amounts, []);
    let held = hold(&server, &alone.lines[0], "20.00").await;
    let mut again = boat();
    again.rewrites = Some(v1::Rewrite {
        ticket: alone.id,
        reason: "the boat was forgotten".to_owned(),
    });
    let shared = weigh_in(&server, again).await.unwrap();
    let diver = statement(&server, "wren-haldane").await;
    assert_eq!((cents(diver.owed_after), cents(diver.held_after)), (0, 0));
    assert_eq!(
        each(&server).await,
        [(8_621, 3_750), (10_058, 4_375), (10_058, 4_375)]
    );
    release(&server, &held.hold_id).await;
    assert_eq!(each(&server).await, [(12_371, 0), (14_433, 0), (14_433, 0)]);

    // And back to the harvester alone.
    let mut alone = boat();
    alone.payees.clear();
    alone.rewrites = Some(v1::Rewrite {
        ticket: shared.id,
        reason: "from shore after all".to_owned(),
    });
    weigh_in(&server, alone).await.unwrap();
    assert_eq!(each(&server).await, [(0, 0); 3]);
    let diver = statement(&server, "wren-haldane").await;
    assert_eq!(cents(diver.owed_after), 41_237);
}

#[tokio::test]
async fn a_split_that_does_not_come_out_is_refused_at_its_payee() {
    let server = harbor().await;
    let [boat, mara, jonas] = BOAT;
    #[rustfmt::skip]
    let cases = [
        (vec![percent(mara, "60"), percent(jonas, "39.9999")], "PERCENTS_NOT_100",    "payees[1].percent"),
        (vec![percent(mara, "60"), percent(jonas, "60")],      "PERCENTS_NOT_100",    "payees[1].percent"),
        (vec![fixed(boat, 25_000)],                            "PERCENTS_NOT_100",    "payees[0]"),
        (vec![fixed(boat, 25_001), percent(mara, "100")],      "FIXED_BEYOND_PAYOUT", "payees[0].fixed"),
        (vec![percent(mara, "50"), percent(mara, "50")],       "PAYEE_TWICE",         "payees[1].party"),
        (vec![percent(mara, "50"), percent("nobody", "50")],   "UNKNOWN",             "payees[1].party"),
    ];
    for (payees, why, field) in cases {
        let request = v1::RecordWeighInRequest {
            payees,
            ..one_tote("44.00", "4.00", 50)
        };
        let status = weigh_in(&server, request).await.unwrap_err();
        assert_eq!(status.code(), tonic::Code::InvalidArgument, "{field}");
        let bad = status.get_details_bad_request().unwrap();
        assert_eq!(bad.field_violations[0].field, field);
        let reason = status.get_details_error_info().unwrap().reason;
        assert!(reason.contains(why), "{reason} at {field}");
    }
    // All of it fixed, and 100 percent of nothing.
    let payees = vec![fixed(boat, 25_000), percent(mara, "100")];
    let request = v1::RecordWeighInRequest {
        payees,
        ..one_tote("44.00", "4.00", 50)
    };
    weigh_in(&server, request).await.unwrap();
    assert_eq!(each(&server).await, [(25_000, 0), (0, 0), (0, 0)]);
}
