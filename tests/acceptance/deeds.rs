//! Deeds through the front door: what a buyer, a diver and the office meet.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::json;
use tonic::Code;
use tonic_types::StatusExt as _;

use crate::harness::{
    Keyed, Server, as_first_answered, fresh, harbor, lb, message, one_tote, set_clock,
};

async fn intake(server: &Server) -> IntakeServiceClient<Keyed> {
    IntakeServiceClient::new(server.channel().await)
}

async fn stock(server: &Server) -> StockServiceClient<Keyed> {
    StockServiceClient::new(server.channel().await)
}

async fn weigh_in(server: &Server, request: v1::RecordWeighInRequest) -> v1::Ticket {
    intake(server)
        .await
        .record_weigh_in(request)
        .await
        .unwrap()
        .into_inner()
        .ticket
        .unwrap()
}

async fn ticket(server: &Server, id: &str) -> v1::Ticket {
    let request = v1::GetTicketRequest {
        ticket: id.to_owned(),
    };
    intake(server)
        .await
        .get_ticket(request)
        .await
        .unwrap()
        .into_inner()
        .ticket
        .unwrap()
}

/// Every ticket of the months around the demo's week.
async fn all_tickets(server: &Server) -> Vec<v1::Ticket> {
    let day = |month, day| {
        Some(proto::google::r#type::Date {
            year: 2031,
            month,
            day,
        })
    };
    let range = v1::ListTicketsRequest {
        site: 1,
        from: day(4, 1),
        to: day(5, 30),
        ..Default::default()
    };
    let listed = intake(server).await.list_tickets(range).await.unwrap();
    listed.into_inner().tickets
}

async fn left(server: &Server, lot_code: &str, part: i32) -> String {
    let request = v1::GetLotRequest {
        lot_code: lot_code.to_owned(),
    };
    let lot = stock(server)
        .await
        .get_lot(request)
        .await
        .unwrap()
        .into_inner();
    let found = lot.parts.iter().find(|p| p.part == part).unwrap();
    found.left.as_ref().unwrap().shown.clone()
}

/// Taken in, and set aside until it is cold.
fn warm() -> v1::Receiving {
    v1::Receiving {
        decision: v1::Decision::Hold.into(),
        reason: "52 F, iced 40 minutes ago".to_owned(),
        ..Default::default()
    }
}

fn cents(money: &Option<v1::Money>) -> i64 {
    money.as_ref().unwrap().amount_minor
}

#[tokio::test]
async fn sending_a_weigh_in_twice_keeps_one() {
    let server = harbor().await;
    let request = one_tote("40.00", "4.00", 50);
    let first = weigh_in(&server, request.clone()).await;
    let again = weigh_in(&server, request.clone()).await;
    assert_eq!(first, again, "a repeat gets the first answer");

    // The same id with another body is another request.
    let mut other = one_tote("41.00", "4.00", 50);
    other.request_id = request.request_id;
    let status = intake(&server)
        .await
        .record_weigh_in(other)
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::AlreadyExists);

    let listed = all_tickets(&server).await;
    let listed: Vec<_> = listed.into_iter().map(as_first_answered).collect();
    assert_eq!(listed, [first]);
}

#[tokio::test]
async fn a_ticket_outlives_a_kill_right_after_its_answer() {
    let server = harbor().await;
    let told = weigh_in(&server, one_tote("40.00", "4.00", 50)).await;
    let server = server.kill_and_start_again();
    let found = ticket(&server, &told.id).await;
    assert!(found.dispute_until.is_some());
    assert_eq!(as_first_answered(found), told);
}

#[tokio::test]
async fn undersize_fish_is_flagged_at_once_with_an_outlet_or_the_reason_why_not() {
    let server = harbor().await;
    // lb of 50 fish  undersize               proposed                 held
    // 24.99 / 50 is below the plate minimum of 0.50 lb; 25.00 / 50 is at it.
    for (gross, undersize, proposed) in [
        ("28.95", v1::Undersize::Yes, v1::Outlet::Soup),
        ("29.00", v1::Undersize::No, v1::Outlet::Unspecified),
    ] {
        let told = weigh_in(&server, one_tote(gross, "4.00", 50)).await;
        let line = &told.lines[0];
        assert_eq!(
            (line.undersize(), line.proposed_outlet()),
            (undersize, proposed),
            "{gross}"
        );
        assert_eq!(
            line.proposed_reason.is_empty(),
            undersize == v1::Undersize::No,
            "{gross}"
        );
    }
    let mut held = one_tote("28.95", "4.00", 50);
    held.lots[0].receiving = Some(warm());
    let told = weigh_in(&server, held).await;
    let line = &told.lines[0];
    assert_eq!(line.undersize(), v1::Undersize::Yes);
    assert_eq!(line.proposed_outlet(), v1::Outlet::Unspecified);
    assert!(
        line.proposed_reason.contains("Held"),
        "{}",
        line.proposed_reason
    );
    assert_eq!(
        (cents(&told.owed), cents(&told.held)),
        (0, cents(&told.payout))
    );
}

#[tokio::test]
async fn fish_held_on_the_ticket_is_owed_once_it_is_released_and_only_once() {
    let server = harbor().await;
    let mut request = one_tote("44.00", "4.00", 50);
    request.lots[0].receiving = Some(warm());
    let told = weigh_in(&server, request).await;
    let line = &told.lines[0];
    let release = |id: String| v1::ReleaseHoldRequest {
        request_id: id,
        hold_id: line.hold_id.clone(),
        reason: "40 F at 17:10".to_owned(),
        happened_at: None,
    };

    // Held fish goes to nobody.
    let sale: v1::RecordMovementRequest = message(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_SOUP",
        "counterparty": "hill-kitchen",
        "taken": [{
            "part": { "lotCode": line.lot_code, "part": line.part },
            "weight": lb("10.00")
        }]
    }));
    let status = stock(&server)
        .await
        .record_movement(sale)
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition, "{status:?}");

    let first = fresh();
    let released = stock(&server)
        .await
        .release_hold(release(first.clone()))
        .await;
    let released = released.unwrap().into_inner();
    assert_eq!(cents(&released.pay), cents(&told.held));
    let repeat = stock(&server)
        .await
        .release_hold(release(first))
        .await
        .unwrap()
        .into_inner();
    assert_eq!(released, repeat);
    let status = stock(&server)
        .await
        .release_hold(release(fresh()))
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    let reason = status.get_details_error_info().unwrap().reason;
    assert_eq!(reason, "ALREADY_RELEASED");
    let part = released.part.unwrap();
    assert_eq!(left(&server, &part.lot_code, part.part()).await, "40.00");
}

#[tokio::test]
async fn a_hold_takes_its_share_of_the_pay_and_gives_exactly_that_back() {
    let server = harbor().await;
    let told = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let line = &told.lines[0];
    let hold: v1::HoldPartRequest = message(json!({
        "requestId": fresh(),
        "part": { "lotCode": line.lot_code },
        "weight": lb("10.00"),
        "reason": "smells of fuel"
    }));
    let held = stock(&server)
        .await
        .hold_part(hold)
        .await
        .unwrap()
        .into_inner();
    // A quarter of the line, half up to the cent.
    assert_eq!(cents(&held.pay), (cents(&line.amount) * 2 + 4) / 8);
    assert_eq!(left(&server, &line.lot_code, line.part).await, "30.00");
    let release = v1::ReleaseHoldRequest {
        request_id: fresh(),
        hold_id: held.hold_id.clone(),
        reason: "it was the deck".to_owned(),
        happened_at: None,
    };
    let back = stock(&server)
        .await
        .release_hold(release)
        .await
        .unwrap()
        .into_inner();
    assert_eq!(back.pay, held.pay);
    assert_eq!(left(&server, &line.lot_code, line.part).await, "40.00");
}

#[tokio::test]
async fn a_part_may_be_left_out_only_where_the_lot_has_one_open_part() {
    let server = harbor().await;
    let mut request = one_tote("44.00", "4.00", 50);
    let mut other = request.lots[0].weighings[0].clone();
    other.grade = "B".to_owned();
    request.lots[0].weighings.push(other);
    let told = weigh_in(&server, request).await;
    assert_eq!(told.lines.len(), 2);
    let hold: v1::HoldPartRequest = message(json!({
        "requestId": fresh(), "part": { "lotCode": told.lines[0].lot_code }, "reason": "which?"
    }));
    let status = stock(&server).await.hold_part(hold).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let bad = status.get_details_bad_request().unwrap();
    assert_eq!(bad.field_violations[0].field, "part.part");
}

#[tokio::test]
async fn a_ticket_is_voided_once_and_not_after_weight_moved() {
    let server = harbor().await;
    let void = |ticket: &str| v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: ticket.to_owned(),
        reason: "wrong diver".to_owned(),
    };
    let told = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    intake(&server)
        .await
        .void_ticket(void(&told.id))
        .await
        .unwrap();
    let after = ticket(&server, &told.id).await;
    assert_eq!(after.state(), v1::TicketState::Voided);
    assert_eq!(after.ended_reason, "wrong diver");
    let status = intake(&server)
        .await
        .void_ticket(void(&told.id))
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);

    let told = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let discard: v1::RecordMovementRequest = message(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_DISCARD", "reason": "crushed",
        "taken": [{ "part": { "lotCode": told.lines[0].lot_code }, "weight": lb("1.00") }]
    }));
    stock(&server).await.record_movement(discard).await.unwrap();
    let status = intake(&server)
        .await
        .void_ticket(void(&told.id))
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    let reason = status.get_details_error_info().unwrap().reason;
    assert_eq!(reason, "WEIGHT_HAS_MOVED");
    assert_eq!(
        ticket(&server, &told.id).await.state(),
        v1::TicketState::Stands
    );
}

#[tokio::test]
async fn a_rewrite_keeps_lot_code_price_instant_and_movements() {
    let server = harbor().await;
    let told = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let code = told.lines[0].lot_code.clone();
    let soup: v1::RecordMovementRequest = message(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_DISCARD", "reason": "crushed",
        "taken": [{ "part": { "lotCode": code }, "weight": lb("10.00") }]
    }));
    stock(&server).await.record_movement(soup).await.unwrap();
    set_clock(&server, "2031-04-28T16:00:00-04:00").await;
    let mut again = one_tote("46.00", "4.00", 50);
    again.rewrites = Some(v1::Rewrite {
        ticket: told.id.clone(),
        reason: "gross misread".to_owned(),
    });
    let mended = weigh_in(&server, again.clone()).await;
    assert_eq!(mended.lines[0].lot_code, code);
    assert_eq!(mended.priced_at, told.priced_at);
    assert_eq!(left(&server, &code, 1).await, "32.00");
    assert_eq!(
        ticket(&server, &told.id).await.state(),
        v1::TicketState::Rewritten
    );
    // A ticket is rewritten once; the one that stands can be rewritten again.
    again.request_id = fresh();
    let status = intake(&server)
        .await
        .record_weigh_in(again)
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
}

#[tokio::test]
async fn the_amount_does_not_depend_on_the_unit_the_weight_was_typed_in() {
    let server = harbor().await;
    let pounds = weigh_in(&server, one_tote("40.000", "4.000", 50)).await;
    // 1 lb is 0.45359237 kg and 16 oz exactly (NIST Handbook 44, appendix C).
    let mut ounces = one_tote("640.000", "64.000", 50);
    for lot in &mut ounces.lots {
        for weighing in &mut lot.weighings {
            let Some(v1::weighing::Weighed::Tote(tote)) = &mut weighing.weighed else {
                continue;
            };
            tote.gross.as_mut().unwrap().set_unit(v1::WeightUnit::Oz);
            let Some(v1::tote_weighing::Tare::TareReading(tare)) = &mut tote.tare else {
                continue;
            };
            tare.set_unit(v1::WeightUnit::Oz);
        }
    }
    let ounces = weigh_in(&server, ounces).await;
    assert_eq!(pounds.payout, ounces.payout);
    assert_eq!(pounds.lines[0].net, ounces.lines[0].net);
}

#[tokio::test]
async fn bad_input_names_the_field_and_writes_nothing() {
    let server = harbor().await;
    let mut cases = Vec::new();
    for (gross, field) in [
        ("-1.00", "lots[0].weighings[0].tote.gross.decimal"),
        ("NaN", "lots[0].weighings[0].tote.gross.decimal"),
        ("1e3", "lots[0].weighings[0].tote.gross.decimal"),
        ("", "lots[0].weighings[0].tote.gross.decimal"),
        ("42,00", "lots[0].weighings[0].tote.gross.decimal"),
    ] {
        cases.push((one_tote(gross, "4.00", 50), field));
    }
    let mut unknown = one_tote("40.00", "4.00", 50);
    unknown.harvester = "nobody".to_owned();
    cases.push((unknown, "harvester"));
    let mut no_id = one_tote("40.00", "4.00", 50);
    no_id.request_id = "twelve".to_owned();
    cases.push((no_id, "request_id"));
    for (request, field) in cases {
        let status = intake(&server)
            .await
            .record_weigh_in(request)
            .await
            .unwrap_err();
        assert_eq!(status.code(), Code::InvalidArgument, "{field}: {status:?}");
        let bad = status.get_details_bad_request().unwrap();
        assert_eq!(bad.field_violations[0].field, field);
        assert!(!bad.field_violations[0].description.is_empty(), "{field}");
    }
    assert_eq!(all_tickets(&server).await, []);
}

#[tokio::test]
async fn the_table_is_told_of_spines_and_of_what_looks_odd() {
    let server = harbor().await;
    let told = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let cut = |input: &str, fillet: &str| -> v1::RecordMakingRequest {
        message(json!({
            "requestId": fresh(), "site": 1, "kind": "MAKING_KIND_CUT",
            "specification": "skinless", "cutter": "bess-orrin",
            "inputs": [{ "part": { "lotCode": told.lines[0].lot_code }, "weight": lb(input) }],
            "outputs": [{
                "presentation": "PRESENTATION_FILLET_SKINLESS",
                "fate": "OUTPUT_FATE_LOT",
                "weight": lb(fillet)
            }]
        }))
    };
    for (input, fillet, odd) in [
        ("10.00", "9.80", &[][..]),
        ("10.00", "11.00", &["more_out_than_in"]),
        ("30.00", "29.00", &["beyond_what_is_left"]),
    ] {
        let answer = stock(&server).await.record_making(cut(input, fillet)).await;
        let notices = answer.unwrap().into_inner().notices;
        let codes: Vec<&str> = notices.iter().map(|notice| notice.code.as_str()).collect();
        assert!(codes.contains(&"venomous_spines"), "{codes:?}");
        assert!(codes.contains(&"local_codes"), "{codes:?}");
        let warned: Vec<&str> = notices
            .iter()
            .filter(|notice| notice.kind() == v1::NoticeKind::Warning)
            .map(|notice| notice.code.as_str())
            .collect();
        assert_eq!(warned, odd, "{input} -> {fillet}");
    }
}

#[tokio::test]
async fn a_repeat_reads_as_it_did_the_first_time_though_the_site_reads_kilograms_now() {
    let server = harbor().await;
    let request = one_tote("20.00", "4.00", 20);
    let first = weigh_in(&server, request.clone()).await;
    assert_eq!(
        first.lines[0].net.as_ref().unwrap().unit(),
        v1::WeightUnit::Lb
    );
    let mut office =
        proto::v1::office_service_client::OfficeServiceClient::new(server.channel().await);
    let listed = office
        .list_sites(v1::ListSitesRequest::default())
        .await
        .unwrap();
    let mut site = listed.into_inner().sites.remove(0);
    site.set_shown_unit(v1::WeightUnit::Kg);
    set_clock(&server, "2031-04-28T15:10:00-04:00").await;
    let recorded = v1::RecordSiteRequest {
        request_id: fresh(),
        site: Some(site),
    };
    office.record_site(recorded).await.unwrap();
    assert_eq!(weigh_in(&server, request).await, first);
    let other = weigh_in(&server, one_tote("20.00", "4.00", 20)).await;
    assert_eq!(
        other.lines[0].net.as_ref().unwrap().unit(),
        v1::WeightUnit::Kg
    );
}
