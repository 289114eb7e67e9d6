//! What a diver is owed stays right whatever becomes of held, returned, regraded
//! and rewritten fish; and what cannot have happened is not booked.
//!
//! Every ticket here is 40.00 lb of lionfish at 0.80 lb a fish, 6.25 a pound:
//! 250.00.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::statement_service_client::StatementServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};
use tonic_types::StatusExt as _;

use crate::harness::{Keyed, Server, fresh, harbor, lb, message, one_tote, said, set_clock};

async fn stock(server: &Server) -> StockServiceClient<Keyed> {
    StockServiceClient::new(server.channel().await)
}

async fn weigh_in(
    server: &Server,
    request: v1::RecordWeighInRequest,
) -> Result<v1::Ticket, tonic::Status> {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await?;
    Ok(answer.into_inner().ticket.unwrap())
}

/// Forty pounds, of which nothing is held.
async fn bought(server: &Server) -> v1::Ticket {
    weigh_in(server, one_tote("44.00", "4.00", 50))
        .await
        .unwrap()
}

fn held_at_the_dock() -> v1::RecordWeighInRequest {
    let mut request = one_tote("44.00", "4.00", 50);
    request.lots[0].receiving = Some(v1::Receiving {
        decision: v1::Decision::Hold.into(),
        reason: "52 F, iced 40 minutes ago".to_owned(),
        ..Default::default()
    });
    request
}

/// Cents that the diver is owed and that are held.
async fn owed_and_held(server: &Server) -> (i64, i64) {
    let day = |month, day| {
        Some(proto::google::r#type::Date {
            year: 2031,
            month,
            day,
        })
    };
    let request = v1::GetStatementRequest {
        site: 1,
        party: "wren-haldane".to_owned(),
        from: day(4, 28),
        to: day(5, 5),
    };
    let mut client = StatementServiceClient::new(server.channel().await);
    let statement = client
        .get_statement(request)
        .await
        .unwrap()
        .into_inner()
        .statement
        .unwrap();
    let cents = |money: Option<v1::Money>| money.unwrap().amount_minor;
    (cents(statement.owed_after), cents(statement.held_after))
}

fn part(line: &v1::TicketLine, n: i32) -> Value {
    json!({ "lotCode": line.lot_code, "part": n })
}

async fn count(server: &Server, part: Value, weight: &str, day: i32) -> Result<(), tonic::Status> {
    let request: v1::RecordCountRequest = message(json!({
        "requestId": fresh(), "site": 1, "closes": { "year": 2031, "month": 4, "day": day },
        "counted": [{ "part": part, "weight": lb(weight) }]
    }));
    stock(server).await.record_count(request).await.map(|_| ())
}

async fn goes(
    server: &Server,
    outlet: &str,
    part: Value,
    weight: &str,
) -> Result<String, tonic::Status> {
    let mut request = json!({
        "requestId": fresh(), "site": 1, "outlet": outlet,
        "taken": [{ "part": part, "weight": lb(weight) }]
    });
    match outlet {
        "OUTLET_DISCARD" => request["reason"] = json!("smells"),
        "OUTLET_SOLD_WHOLE" => request["counterparty"] = json!("hill-kitchen"),
        _ => {}
    }
    let answer = stock(server)
        .await
        .record_movement(message::<v1::RecordMovementRequest>(request))
        .await?;
    Ok(answer.into_inner().recorded.unwrap().entry_id)
}

async fn hold(server: &Server, part: Value, weight: &str) -> v1::HoldPartResponse {
    let request: v1::HoldPartRequest = message(json!({
        "requestId": fresh(), "part": part, "weight": lb(weight), "reason": "smells of fuel"
    }));
    stock(server)
        .await
        .hold_part(request)
        .await
        .unwrap()
        .into_inner()
}

async fn release(server: &Server, hold_id: &str) -> v1::ReleaseHoldResponse {
    let request = v1::ReleaseHoldRequest {
        request_id: fresh(),
        hold_id: hold_id.to_owned(),
        reason: "cold again".to_owned(),
        happened_at: None,
    };
    stock(server)
        .await
        .release_hold(request)
        .await
        .unwrap()
        .into_inner()
}

fn reason(status: &tonic::Status) -> String {
    status.get_details_error_info().unwrap().reason
}

#[tokio::test]
async fn held_fish_that_dripped_and_was_sampled_is_released_with_all_its_pay() {
    let server = harbor().await;
    let ticket = weigh_in(&server, held_at_the_dock()).await.unwrap();
    let line = &ticket.lines[0];
    assert_eq!(owed_and_held(&server).await, (0, 25_000));
    count(&server, part(line, line.part), "39.90", 28)
        .await
        .unwrap();
    goes(&server, "OUTLET_SAMPLE", part(line, line.part), "0.50")
        .await
        .unwrap();
    let released = release(&server, &line.hold_id).await;
    assert_eq!(released.weight.unwrap().shown, "39.40");
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
}

#[tokio::test]
async fn held_fish_thrown_out_to_the_last_is_not_paid_at_all() {
    let server = harbor().await;
    let ticket = weigh_in(&server, held_at_the_dock()).await.unwrap();
    let line = &ticket.lines[0];
    count(&server, part(line, line.part), "39.90", 28)
        .await
        .unwrap();
    goes(&server, "OUTLET_DISCARD", part(line, line.part), "10.00")
        .await
        .unwrap();
    // A quarter of the paid 40.00 lb.
    assert_eq!(owed_and_held(&server).await, (0, 18_750));
    goes(&server, "OUTLET_DISCARD", part(line, line.part), "29.90")
        .await
        .unwrap();
    assert_eq!(owed_and_held(&server).await, (0, 0));
}

#[tokio::test]
async fn a_release_after_a_discard_gives_back_what_was_not_taken_back() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let line = &ticket.lines[0];
    let held = hold(&server, part(line, line.part), "20.00").await;
    assert_eq!(owed_and_held(&server).await, (12_500, 12_500));
    let set_aside = held.held_part.unwrap().part();
    goes(&server, "OUTLET_DISCARD", part(line, set_aside), "5.00")
        .await
        .unwrap();
    assert_eq!(owed_and_held(&server).await, (12_500, 9_375));
    let released = release(&server, &held.hold_id).await;
    assert_eq!(released.weight.unwrap().shown, "15.00");
    assert_eq!(owed_and_held(&server).await, (21_875, 0));
}

#[tokio::test]
async fn throwing_out_what_a_customer_brought_back_is_the_buyers_loss() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let line = &ticket.lines[0];
    let held = hold(&server, part(line, line.part), "10.00").await;
    let sale = goes(&server, "OUTLET_SOLD_WHOLE", part(line, line.part), "20.00")
        .await
        .unwrap();
    let back: v1::RecordReturnRequest = message(json!({
        "requestId": fresh(), "movement": sale, "part": part(line, line.part),
        "weight": lb("10.00"), "reason": "too many"
    }));
    for weight in ["20.01", "100.00"] {
        let mut too_much = back.clone();
        too_much.request_id = fresh();
        too_much.weight.as_mut().unwrap().decimal = weight.to_owned();
        let status = stock(&server)
            .await
            .record_return(too_much)
            .await
            .unwrap_err();
        let bad = status.get_details_bad_request().unwrap();
        assert_eq!(bad.field_violations[0].field, "weight", "{weight}");
    }
    let returned = stock(&server)
        .await
        .record_return(back)
        .await
        .unwrap()
        .into_inner();
    let set_aside = returned.held_part.unwrap().part();
    assert_eq!(
        Some(set_aside),
        held.held_part.as_ref().map(v1::PartRef::part),
        "beside the hold"
    );
    goes(&server, "OUTLET_DISCARD", part(line, set_aside), "10.00")
        .await
        .unwrap();
    assert_eq!(owed_and_held(&server).await, (18_750, 6_250));
    release(&server, &held.hold_id).await;
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
}

/// Held fish thrown out for a cause that came after hand-over.
fn lost(part: Value, weight: &str) -> v1::RecordMovementRequest {
    message(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_DISCARD",
        "reason": "the cooler stood open", "cause": "DISCARD_CAUSE_AFTER_HAND_OVER",
        "taken": [{ "part": part, "weight": lb(weight) }]
    }))
}

#[tokio::test]
async fn held_fish_thrown_out_for_a_cause_after_hand_over_stays_paid_and_is_the_buyers_loss() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let line = &ticket.lines[0];
    let held = hold(&server, part(line, line.part), "20.00").await;
    let set_aside = held.held_part.unwrap().part();
    let discard = lost(part(line, set_aside), "3.33");
    let mut stock = stock(&server).await;
    let answer = stock.record_movement(discard.clone()).await.unwrap();
    let first = answer.into_inner();
    // 125.00 x 3.33 / 20.00 = 20.8125
    let cents = |of: &v1::RecordMovementResponse| of.buyers_loss.as_ref().unwrap().amount_minor;
    assert_eq!(cents(&first), 2_081);
    assert_eq!(owed_and_held(&server).await, (14_581, 10_419));
    // Sent again it is booked once.
    let again = stock.record_movement(discard).await.unwrap().into_inner();
    assert_eq!(again, first);
    assert_eq!(owed_and_held(&server).await, (14_581, 10_419));

    // Beside it some for a cause before hand-over, and the rest given back.
    goes(&server, "OUTLET_DISCARD", part(line, set_aside), "5.00")
        .await
        .unwrap();
    assert_eq!(owed_and_held(&server).await, (14_581, 7_294));
    let released = release(&server, &held.hold_id).await;
    assert_eq!(released.weight.unwrap().shown, "11.67");
    assert_eq!(owed_and_held(&server).await, (21_875, 0));

    let shown = said(&server.client(&["lot", &line.lot_code]));
    assert!(shown.contains("discard, buyer's loss"), "{shown}");
    let words = ["statement", "--site", "1", "--party", "wren-haldane"];
    let days = ["--from", "2031-04-28", "--to", "2031-04-29"];
    let shown = said(&server.client(&[&words[..], &days[..]].concat()));
    assert!(shown.contains("buyer's loss"), "{shown}");
    assert!(shown.contains("thrown out unpaid"), "{shown}");
    set_clock(&server, "2031-04-29T05:00:00-04:00").await;
    server.night("2031-04-28", &[]);
    let shown = said(&server.client(&["close", "--site", "1", "--day", "2031-04-28"]));
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(shown.contains("20.81 USD of fish thrown out"), "{shown}");
}

#[tokio::test]
async fn each_payee_of_a_boat_keeps_their_pay_of_fish_that_is_the_buyers_loss() {
    let server = harbor().await;
    let mut request = held_at_the_dock();
    request.payees = vec![
        v1::PayeeShare {
            party: "wren-haldane".to_owned(),
            share: Some(v1::payee_share::Share::Percent("30".to_owned())),
        },
        v1::PayeeShare {
            party: "osric-pell".to_owned(),
            share: Some(v1::payee_share::Share::Percent("70".to_owned())),
        },
    ];
    let ticket = weigh_in(&server, request).await.unwrap();
    let line = &ticket.lines[0];
    assert_eq!(owed_and_held(&server).await, (0, 7_500));
    let mut stock = stock(&server).await;
    // A third of a pound of 40.00: 250.00 x 0.33 / 40.00 = 2.0625, of it 30 % is 0.618.
    let some = stock.record_movement(lost(part(line, line.part), "0.33"));
    assert_eq!(
        some.await
            .unwrap()
            .into_inner()
            .buyers_loss
            .unwrap()
            .amount_minor,
        206
    );
    assert_eq!(owed_and_held(&server).await, (62, 7_438));
    // All the rest, to the last cent.
    let rest = stock.record_movement(lost(part(line, line.part), "39.67"));
    assert_eq!(
        rest.await
            .unwrap()
            .into_inner()
            .buyers_loss
            .unwrap()
            .amount_minor,
        25_000 - 206
    );
    assert_eq!(owed_and_held(&server).await, (7_500, 0));
}

#[tokio::test]
async fn only_held_fish_that_is_thrown_out_has_a_cause() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let line = &ticket.lines[0];
    let mut stock = stock(&server).await;
    let not_held = lost(part(line, line.part), "1.00");
    let mut sampled = not_held.clone();
    sampled.set_outlet(v1::Outlet::Sample);
    for (request, why) in [(not_held, "NOT_HELD"), (sampled, "INVALID_FIELD")] {
        let status = stock.record_movement(request).await.unwrap_err();
        assert_eq!(status.code(), tonic::Code::InvalidArgument);
        let bad = status.get_details_bad_request().unwrap();
        assert_eq!(bad.field_violations[0].field, "cause");
        assert_eq!(reason(&status), why);
    }
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
}

#[tokio::test]
async fn a_regrade_moves_no_pay_and_a_later_hold_finds_it() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let line = &ticket.lines[0];
    let regrade: v1::RegradePartRequest = message(json!({
        "requestId": fresh(), "part": part(line, line.part), "grade": "B", "reason": "soft"
    }));
    let regraded = stock(&server)
        .await
        .regrade_part(regrade)
        .await
        .unwrap()
        .into_inner();
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
    let part_n = regraded.part.unwrap().part();
    let held = hold(&server, part(line, part_n), "40.00").await;
    assert_eq!(owed_and_held(&server).await, (0, 25_000));
    // What is set aside is not graded until it is released.
    let set_aside = held.held_part.unwrap().part();
    let again: v1::RegradePartRequest = message(json!({
        "requestId": fresh(), "part": part(line, set_aside), "grade": "C", "reason": "softer"
    }));
    let status = stock(&server).await.regrade_part(again).await.unwrap_err();
    assert_eq!(reason(&status), "HELD");
    release(&server, &held.hold_id).await;
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
}

fn in_place_of(
    ticket: &v1::Ticket,
    mut request: v1::RecordWeighInRequest,
) -> v1::RecordWeighInRequest {
    request.rewrites = Some(v1::Rewrite {
        ticket: ticket.id.clone(),
        reason: "gross misread".to_owned(),
    });
    request
}

fn held_of(gross: &str) -> v1::RecordWeighInRequest {
    let receiving = held_at_the_dock().lots.remove(0).receiving;
    let mut request = one_tote(gross, "4.00", 50);
    request.lots[0].receiving = receiving;
    request
}

#[tokio::test]
async fn a_ticket_whose_held_line_was_released_is_written_again_and_owed_once() {
    let server = harbor().await;
    let first = weigh_in(&server, held_at_the_dock()).await.unwrap();
    release(&server, &first.lines[0].hold_id).await;
    assert_eq!(owed_and_held(&server).await, (25_000, 0));

    // 39.00 lb, less than was released: nothing is held any more.
    let less = weigh_in(&server, in_place_of(&first, held_of("43.00")))
        .await
        .unwrap();
    assert_eq!(owed_and_held(&server).await, (24_375, 0));
    let again: v1::ReleaseHoldRequest = message(json!({
        "requestId": fresh(), "holdId": less.lines[0].hold_id, "reason": "cold again"
    }));
    let status = stock(&server).await.release_hold(again).await.unwrap_err();
    assert_eq!(reason(&status), "ALREADY_RELEASED");

    // 42.00 lb: two pounds of it, and their pay, are still held.
    let more = weigh_in(&server, in_place_of(&less, held_of("46.00")))
        .await
        .unwrap();
    assert_eq!(owed_and_held(&server).await, (24_375, 1_875));
    let released = release(&server, &more.lines[0].hold_id).await;
    assert_eq!(released.weight.unwrap().shown, "2.00");
    assert_eq!(owed_and_held(&server).await, (26_250, 0));

    // It should never have been held: all of it is owed, once.
    let plain = in_place_of(&more, one_tote("44.00", "4.00", 50));
    weigh_in(&server, plain).await.unwrap();
    assert_eq!(owed_and_held(&server).await, (25_000, 0));
}

#[tokio::test]
async fn no_more_comes_back_of_a_movement_than_left_by_it() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let line = &ticket.lines[0];
    let sold = goes(&server, "OUTLET_SOLD_WHOLE", part(line, line.part), "10.00")
        .await
        .unwrap();
    let back = |weight: &str| -> v1::RecordReturnRequest {
        message(json!({
            "requestId": fresh(), "movement": sold, "part": part(line, line.part),
            "weight": lb(weight), "reason": "too small"
        }))
    };
    let mut stock = stock(&server).await;
    stock.record_return(back("6.00")).await.unwrap();
    let status = stock.record_return(back("4.01")).await.unwrap_err();
    assert_eq!(status.code(), tonic::Code::InvalidArgument);
    assert!(
        status.message().contains("6.00 lb that came back before"),
        "{}",
        status.message()
    );
    stock.record_return(back("4.00")).await.unwrap();
}

#[tokio::test]
async fn of_two_lots_of_one_source_neither_takes_the_others_code() {
    let server = harbor().await;
    let mut request = one_tote("44.00", "4.00", 50);
    let second = one_tote("24.00", "4.00", 25).lots.remove(0);
    request.lots.push(second);
    let ticket = weigh_in(&server, request.clone()).await.unwrap();
    let codes: Vec<&String> = ticket.lots.iter().map(|lot| &lot.lot_code).collect();
    request.request_id = fresh();
    request.rewrites = Some(v1::Rewrite {
        ticket: ticket.id.clone(),
        reason: "the first was warm".to_owned(),
    });
    request.lots[0].receiving = Some(v1::Receiving {
        decision: v1::Decision::Refuse.into(),
        reason: "58 F, never iced".to_owned(),
        corrective_action: "sent away".to_owned(),
        ..Default::default()
    });
    let mended = weigh_in(&server, request).await.unwrap();
    assert_eq!(mended.lots[0].lot_code, "");
    assert_eq!(&mended.lots[1].lot_code, codes[1]);
}

#[tokio::test]
async fn what_cannot_have_happened_is_not_booked() {
    let server = harbor().await;
    let ticket = bought(&server).await;
    let line = &ticket.lines[0];
    let discard = |at: &str| -> v1::RecordMovementRequest {
        message(json!({
            "requestId": fresh(), "site": 1, "outlet": "OUTLET_DISCARD", "reason": "crushed",
            "happenedAt": at,
            "taken": [{ "part": part(line, line.part), "weight": lb("1.00") }]
        }))
    };
    for (at, why) in [
        ("2031-04-28T14:59:59-04:00", "BEFORE_IT_CAME_IN"),
        ("2030-04-28T15:30:00-04:00", "INVALID_FIELD"),
        ("2031-04-28T15:03:00-04:00", "INVALID_FIELD"),
    ] {
        let status = stock(&server)
            .await
            .record_movement(discard(at))
            .await
            .unwrap_err();
        assert_eq!(reason(&status), why, "{at}");
    }
    let mut old = one_tote("44.00", "4.00", 50);
    let instant = |text: &str| Some(client::instant(text).unwrap());
    old.first_reading_at = instant("2030-04-28T15:00:00-04:00");
    old.sent_at = instant("2031-04-28T15:00:00-04:00");
    assert_eq!(
        reason(&weigh_in(&server, old).await.unwrap_err()),
        "INVALID_FIELD"
    );

    // Counted for the day before it was there.
    let status = count(&server, part(line, line.part), "40.00", 27)
        .await
        .unwrap_err();
    assert_eq!(reason(&status), "NOT_THERE_YET");
}

#[tokio::test]
async fn a_count_next_morning_closes_the_day_before_although_fish_went_since() {
    let server = harbor().await;
    let line = bought(&server).await.lines.remove(0);
    let other = bought(&server).await.lines.remove(0);
    let of_line = || part(&line, line.part);
    set_clock(&server, "2031-04-29T04:30:00-04:00").await;
    goes(&server, "OUTLET_DISCARD", of_line(), "10.00")
        .await
        .unwrap();
    hold(&server, part(&other, other.part), "15.00").await;
    let why = |told: Result<(), tonic::Status>| {
        let status = told.unwrap_err();
        (reason(&status), status.message().to_owned())
    };
    // It cannot be told which was first.
    let (reason, rule) = why(count(&server, of_line(), "30.00", 28).await);
    assert_eq!(reason, "MOVED_SINCE");
    assert!(rule.contains("at the very moment of this count"), "{rule}");
    set_clock(&server, "2031-04-29T06:00:00-04:00").await;
    // The held part was not there yet; a bin is weighed as one.
    let (reason, rule) = why(count(&server, part(&other, other.part + 1), "15.00", 28).await);
    assert_eq!(reason, "NOT_THERE_YET", "{rule}");
    let bin: v1::RecordCountRequest = message(json!({
        "requestId": fresh(), "site": 1, "closes": { "year": 2031, "month": 4, "day": 28 },
        "pool": {
            "parts": [of_line(), part(&other, other.part)], "weight": lb("55.00"),
            "storage": "STORAGE_DRAINED_ICE"
        }
    }));
    let (reason, rule) = why(stock(&server).await.record_count(bin).await.map(|_| ()));
    assert_eq!(reason, "MOVED_SINCE");
    assert!(rule.contains("thrown into a bin"), "{rule}");
    // What is there is counted as read, and the night knows what was there.
    for (part, weight) in [(of_line(), "29.50"), (part(&other, other.part), "25.00")] {
        count(&server, part, weight, 28).await.unwrap();
    }
    let night = server.night("2031-04-28", &[]);
    let printed = said(&server.client(&["close", "--site", "1", "--day", "2031-04-28"]));
    assert!(printed.contains("79.50"), "{}{printed}", said(&night));
    let lot = said(&server.client(&["lot", &line.lot_code]));
    assert!(lot.contains("29.50"), "{lot}");
    // A day later again it is too late.
    set_clock(&server, "2031-04-30T04:00:00-04:00").await;
    let (reason, rule) = why(count(&server, of_line(), "29.00", 28).await);
    assert_eq!(reason, "MOVED_SINCE");
    assert!(rule.contains("the day after it is over as well"), "{rule}");
    count(&server, of_line(), "29.00", 29).await.unwrap();
}
