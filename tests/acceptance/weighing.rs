//! What is said at the scale: questions about what can hardly be, old tares,
//! weighing again, and the price agreed with a diver.

use proto::v1;
use proto::v1::close_service_client::CloseServiceClient;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::office_service_client::OfficeServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::json;
use tonic::Code;

use crate::harness::{Server, fresh, harbor, lb, message, one_tote, said, set_clock};

async fn weigh_in(server: &Server, request: v1::RecordWeighInRequest) -> v1::Ticket {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await.unwrap();
    answer.into_inner().ticket.unwrap()
}

/// The notices of a ticket that are no cautions.
fn told(ticket: &v1::Ticket) -> Vec<&str> {
    ticket
        .notices
        .iter()
        .filter(|notice| notice.kind() != v1::NoticeKind::Caution)
        .map(|notice| notice.code.as_str())
        .collect()
}

#[tokio::test]
async fn kilograms_keyed_as_pounds_are_asked_about_and_the_answer_is_kept() {
    let server = harbor().await;
    // 0.80 lb a fish.
    for _ in 0..4 {
        let ticket = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
        assert!(!told(&ticket).contains(&"other_unit"));
    }
    // 0.36 lb: the same fish in kilograms. Four lots tell nothing yet.
    let ticket = weigh_in(&server, one_tote("22.15", "4.00", 50)).await;
    assert!(
        !told(&ticket).contains(&"other_unit"),
        "{:?}",
        told(&ticket)
    );

    let mut mixed_up = one_tote("22.15", "4.00", 50);
    mixed_up.answers = vec![v1::QuestionAnswer {
        code: "other_unit".to_owned(),
        text: "weighed again, they are small".to_owned(),
    }];
    let server = server.kill_and_start_again();
    let ticket = weigh_in(&server, mixed_up.clone()).await;
    let asked = ticket
        .notices
        .iter()
        .find(|n| n.code == "other_unit")
        .unwrap();
    assert_eq!(asked.kind(), v1::NoticeKind::Question);
    assert!(
        asked.text.contains("0.363 lb") && asked.text.contains("0.80 lb"),
        "{}",
        asked.text
    );
    assert_eq!(ticket.answers, mixed_up.answers);
    // It is booked by the rule all the same: below the plate minimum, 1.25 a pound.
    assert_eq!(ticket.payout.as_ref().unwrap().amount_minor, 2269);
    let shown = said(&server.client(&["ticket", &ticket.id]));
    assert!(shown.contains("weighed again, they are small"), "{shown}");
}

#[tokio::test]
async fn a_ticket_that_was_voided_or_written_again_no_longer_says_what_is_usual() {
    let server = harbor().await;
    let asks = async || {
        let ticket = weigh_in(&server, one_tote("22.15", "4.00", 50)).await;
        void(&server, &ticket).await;
        told(&ticket).contains(&"other_unit")
    };
    let mut last = None;
    for _ in 0..5 {
        last = Some(weigh_in(&server, one_tote("44.00", "4.00", 50)).await);
    }
    assert!(asks().await, "five lots of 0.80 lb a fish");
    // Written again the fifth weighs 0.36 lb a fish: of five the median is still 0.80.
    let again = v1::RecordWeighInRequest {
        rewrites: Some(v1::Rewrite {
            ticket: last.unwrap().id,
            reason: "misread".to_owned(),
        }),
        ..one_tote("22.15", "4.00", 50)
    };
    let again = weigh_in(&server, again).await;
    assert!(asks().await);
    void(&server, &again).await;
    assert!(!asks().await, "four lots tell nothing yet");
}

async fn void(server: &Server, ticket: &v1::Ticket) {
    let request = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: ticket.id.clone(),
        reason: "wrong diver".to_owned(),
    };
    let mut client = IntakeServiceClient::new(server.channel().await);
    client.void_ticket(request).await.unwrap();
}

#[tokio::test]
async fn a_count_that_no_fish_explains_is_asked_about() {
    let server = harbor().await;
    let ticket = weigh_in(&server, one_tote("44.00", "4.00", 5)).await;
    let asked = ticket
        .notices
        .iter()
        .find(|n| n.code == "fish_this_long")
        .unwrap();
    assert_eq!((asked.kind(), asked.line), (v1::NoticeKind::Question, 1));
    assert!(asked.text.contains("120 to 470 mm"), "{}", asked.text);
}

#[tokio::test]
async fn an_old_tare_warns_until_the_tote_is_weighed_again() {
    let server = harbor().await;
    let mut office = OfficeServiceClient::new(server.channel().await);
    let mut tare = async |weight: &str, day: i32| {
        let request: v1::RecordToteRequest = message(json!({
            "requestId": fresh(),
            "tote": { "site": 1, "code": "old-grey", "tare": lb(weight),
                      "weighedOn": { "year": 2031, "month": 3, "day": day } }
        }));
        office.record_tote(request).await.unwrap();
    };
    let mut request = one_tote("44.00", "4.00", 50);
    let in_the_tote = |request: &mut v1::RecordWeighInRequest| {
        request.request_id = fresh();
        let weighed = request.lots[0].weighings[0].weighed.as_mut().unwrap();
        let v1::weighing::Weighed::Tote(tote) = weighed else {
            panic!("a tote")
        };
        tote.tare = Some(v1::tote_weighing::Tare::Tote("old-grey".to_owned()));
    };
    in_the_tote(&mut request);
    // The clock says 2031-04-28: 31 days after March 28th, 30 after the 29th.
    tare("4.00", 28).await;
    let old = weigh_in(&server, request.clone()).await;
    assert!(told(&old).contains(&"old_tare"), "{:?}", told(&old));
    tare("3.60", 29).await;
    in_the_tote(&mut request);
    let new = weigh_in(&server, request).await;
    assert!(!told(&new).contains(&"old_tare"), "{:?}", told(&new));
    let net = |ticket: &v1::Ticket| ticket.lines[0].net.clone().unwrap().shown;
    assert_eq!(
        (net(&old), net(&new)),
        ("40.00".to_owned(), "40.40".to_owned())
    );
}

#[tokio::test]
async fn a_rewritten_ticket_keeps_the_tare_of_a_tote_that_was_weighed_again_since() {
    let server = harbor().await;
    let put = async |code: &str, tare: &str| {
        let tote: v1::RecordToteRequest = message(json!({
            "requestId": fresh(), "tote": { "site": 1, "code": code, "tare": lb(tare) }
        }));
        let mut office = OfficeServiceClient::new(server.channel().await);
        office.record_tote(tote).await.unwrap();
    };
    let in_tote = |code: &str, rewrites: Option<&v1::Ticket>| v1::RecordWeighInRequest {
        rewrites: rewrites.map(|ticket| v1::Rewrite {
            ticket: ticket.id.clone(),
            reason: "fish counted again".to_owned(),
        }),
        ..message(json!({
            "requestId": fresh(), "site": 1, "harvester": "wren-haldane",
            "confirmation": "CONFIRMATION_BY_DIVER",
            "lots": [{
                "species": "PZO", "presentation": "PRESENTATION_WHOLE",
                "storage": "STORAGE_DRAINED_ICE",
                "weighings": [{
                    "grade": "A", "condition": "CONDITION_CLEAN",
                    "tote": { "gross": lb("44.00"), "tote": code, "pieces": 50 }
                }]
            }]
        }))
    };
    let net = |ticket: &v1::Ticket| ticket.lines[0].net.as_ref().unwrap().shown.clone();
    put("crate-1", "4.00").await;
    put("crate-2", "3.00").await;
    let first = weigh_in(&server, in_tote("crate-1", None)).await;
    assert_eq!(net(&first), "40.00");
    set_clock(&server, "2031-04-28T16:00:00-04:00").await;
    put("crate-1", "4.50").await;
    put("crate-2", "3.50").await;
    put("crate-3", "5.00").await;

    // The same tote keeps the tare that was used, another has the one of that reading,
    // and one that was not on file then the first that it had.
    let same = weigh_in(&server, in_tote("crate-1", Some(&first))).await;
    assert_eq!(net(&same), "40.00");
    let other = weigh_in(&server, in_tote("crate-2", Some(&same))).await;
    assert_eq!(net(&other), "41.00");
    let unknown = weigh_in(&server, in_tote("crate-3", Some(&other))).await;
    assert_eq!(net(&unknown), "39.00");
    // Also after a rewrite that did not name it.
    let back = weigh_in(&server, in_tote("crate-1", Some(&unknown))).await;
    assert_eq!(net(&back), "40.00");
    // What is weighed in now has the tare of now.
    let now = weigh_in(&server, in_tote("crate-1", None)).await;
    assert_eq!(net(&now), "39.50");
}

#[tokio::test]
async fn weighing_again_moves_nothing_and_changes_no_close() {
    let server = harbor().await;
    let ticket = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let lot = ticket.lines[0].lot_code.clone();
    let close = async || {
        let night = server.night("2031-04-28", &[]);
        assert!(
            night.status.code().is_some_and(|code| code < 2),
            "{}",
            said(&night)
        );
        let mut client = CloseServiceClient::new(server.channel().await);
        let request = v1::GetCloseRequest {
            site: 1,
            day: ticket.day,
            ..Default::default()
        };
        client.get_close(request).await.unwrap().into_inner()
    };
    let mut stock = StockServiceClient::new(server.channel().await);
    let again = |what: serde_json::Value, reading: &str| -> v1::RecordReweighRequest {
        let mut request = json!({
            "requestId": fresh(), "site": 1, "reading": lb(reading), "note": "drained"
        });
        for (name, value) in what.as_object().unwrap() {
            request[name] = value.clone();
        }
        message(request)
    };
    let part = json!({ "part": { "lotCode": lot, "part": 1 } });
    let weighing = json!({ "weighing": { "ticket": ticket.id, "lot": 1, "weighing": 1 } });

    // On the day itself, before it is closed.
    let done = stock.record_reweigh(again(part.clone(), "39.70")).await;
    let done = done.unwrap().into_inner();
    let shown = |weight: Option<v1::Weight>| weight.map(|weight| weight.shown);
    assert_eq!(shown(done.booked).as_deref(), Some("40.00"));
    assert_eq!(shown(done.difference).as_deref(), Some("-0.30"));
    // NIST Handbook 44 section 2.20, table 6: 794 divisions of 0.05 lb, class III.
    assert_eq!(shown(done.permissible).as_deref(), Some("0.10"));

    set_clock(&server, "2031-04-29T09:00:00-04:00").await;
    let closed = close().await;
    for (what, reading) in [(&part, "38.90"), (&weighing, "40.10")] {
        let request = again(what.clone(), reading);
        let first = stock
            .record_reweigh(request.clone())
            .await
            .unwrap()
            .into_inner();
        let repeat = stock.record_reweigh(request).await.unwrap().into_inner();
        assert_eq!(first, repeat);
    }
    assert_eq!(
        close().await,
        closed,
        "the day that is closed keeps its bytes"
    );

    let request = v1::GetLotRequest {
        lot_code: lot.clone(),
    };
    let found = stock.get_lot(request).await.unwrap().into_inner();
    assert_eq!(shown(found.parts[0].left.clone()).as_deref(), Some("40.00"));
    let seen: Vec<_> = found
        .events
        .iter()
        .filter(|event| event.what == "weighed again")
        .map(|event| (event.part, shown(event.difference.clone()).unwrap()))
        .collect();
    let seen: Vec<(i32, &str)> = seen
        .iter()
        .map(|(part, off)| (*part, off.as_str()))
        .collect();
    assert_eq!(seen, [(1, "-0.30"), (1, "-1.10"), (0, "0.10")]);
    let text = said(&server.client(&["lot", &lot]));
    assert!(
        text.contains("weighed again") && text.contains("-1.10"),
        "{text}"
    );
}

#[tokio::test]
async fn an_agreed_price_is_paid_and_printed_beside_the_lists() {
    let server = harbor().await;
    let mut office = OfficeServiceClient::new(server.channel().await);
    let agreed = |from: Option<&str>| -> v1::RecordAgreedPriceRequest {
        let mut request = json!({
            "requestId": fresh(),
            "agreedPrice": {
                "site": 1, "harvester": "wren-haldane", "species": "PZO",
                "presentation": "PRESENTATION_WHOLE", "to": "2031-04-29T00:00:00-04:00",
                "price": { "decimal": "6.75", "currency": "USD", "per": "WEIGHT_UNIT_LB" },
                "reason": "a steady forty pounds a week"
            }
        });
        if let Some(from) = from {
            request["agreedPrice"]["from"] = json!(from);
        }
        message(request)
    };
    let back_dated = office
        .record_agreed_price(agreed(Some("2031-04-28T14:59:00-04:00")))
        .await;
    let status = back_dated.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
    assert!(status.message().contains("never back-dated"), "{status:?}");

    let before = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let recorded = office
        .record_agreed_price(agreed(None))
        .await
        .unwrap()
        .into_inner();
    let id = recorded.recorded.unwrap().entry_id;
    let during = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let mut other = one_tote("44.00", "4.00", 50);
    other.harvester = "osric-pell".to_owned();
    let other = weigh_in(&server, other).await;
    // Small fish keeps the list's price.
    let small = weigh_in(&server, one_tote("20.00", "4.00", 50)).await;
    set_clock(&server, "2031-04-29T00:00:00-04:00").await;
    let after = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;

    let paid = |ticket: &v1::Ticket| ticket.payout.as_ref().unwrap().amount_minor;
    // 40.00 lb at 6.25, at 6.75; 16.00 lb at 1.25.
    assert_eq!(
        [&before, &during, &other, &small, &after].map(paid),
        [25_000, 27_000, 25_000, 2_000, 25_000]
    );
    let line = &during.lines[0];
    assert_eq!(line.list_price.as_ref().unwrap().decimal, "6.25");
    assert_eq!(line.agreed_price.as_ref().unwrap().decimal, "6.75");
    assert_eq!(
        (line.agreed_price_id.as_str(), line.agreed_reason.as_str()),
        (id.as_str(), "a steady forty pounds a week")
    );
    assert_eq!(small.lines[0].agreed_price, None);
    let shown = said(&server.client(&["ticket", &during.id]));
    assert!(
        shown.contains("agreed price 6.75 USD/lb in place of the list's 6.25 USD/lb"),
        "{shown}"
    );
    let listed = office
        .list_agreed_prices(v1::ListAgreedPricesRequest {
            site: 1,
            ..Default::default()
        })
        .await
        .unwrap()
        .into_inner();
    assert_eq!(listed.agreed_prices.len(), 1);
    assert_eq!(listed.agreed_prices[0].id, id);
}
