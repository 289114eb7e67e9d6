//! What people read: each figure with what it is about, and each no with the
//! flag that was typed.

use std::process::Output;

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};

use crate::harness::{Server, fresh, harbor, lb, message, one_tote, said, set_clock};

async fn weigh_in(server: &Server, request: v1::RecordWeighInRequest) -> v1::Ticket {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await.unwrap();
    answer.into_inner().ticket.unwrap()
}

fn text(output: &Output) -> String {
    assert!(output.status.success(), "{}", said(output));
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// Words by single spaces, so that where a line was broken makes no difference.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn statement(server: &Server) -> String {
    let days = ["--from", "2031-04-28", "--to", "2031-05-05"];
    let mut words = vec!["statement", "--site", "1", "--party", "wren-haldane"];
    words.extend(days);
    text(&server.client(&words))
}

#[tokio::test]
async fn a_statement_names_the_ticket_of_each_row_and_counts_its_pounds_once() {
    let server = harbor().await;
    let ticket = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let line = &ticket.lines[0];
    let mut stock = StockServiceClient::new(server.channel().await);
    let hold: v1::HoldPartRequest = message(json!({
        "requestId": fresh(), "part": {"lotCode": line.lot_code, "part": line.part},
        "weight": lb("10.00"), "reason": "smells of fuel"
    }));
    let hold = stock.hold_part(hold).await.unwrap().into_inner();
    let release: v1::ReleaseHoldRequest = message(json!({
        "requestId": fresh(), "holdId": hold.hold_id, "reason": "smelled again"
    }));
    stock.release_hold(release).await.unwrap();
    let sold: v1::RecordMovementRequest = message(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_SOLD_WHOLE",
        "counterparty": "hill-kitchen",
        "taken": [{"part": {"lotCode": line.lot_code, "part": line.part}, "weight": lb("5.00")}]
    }));
    stock.record_movement(sold).await.unwrap();

    let mut again = one_tote("43.00", "4.00", 50);
    again.rewrites = Some(v1::Rewrite {
        ticket: ticket.id.clone(),
        reason: "gross was 43.00".to_owned(),
    });
    let rewritten = weigh_in(&server, again).await;
    let warned = rewritten.notices.iter();
    let warned: Vec<&str> = warned.map(|notice| notice.code.as_str()).collect();
    assert!(warned.contains(&"moved_before_rewrite"), "{warned:?}");

    let told = statement(&server);
    let row = |with: &str| {
        let row = told.lines().find(|line| line.contains(with));
        row.unwrap_or_else(|| panic!("{with}: {told}")).to_owned()
    };
    // The hold, its release and the ticket itself speak of the ticket that stands.
    assert!(row(" hold ").contains(&rewritten.id), "{told}");
    assert!(row(" release ").contains(&rewritten.id), "{told}");
    assert!(row("2031-04-28  ticket ").contains("40.00"), "{told}");
    assert!(told.contains("rewritten ticket,"), "{told}");
    assert!(words(&told).contains("-1.00"), "{told}");
    assert!(told.contains("change, USD"), "{told}");
    // Where lines are broken makes no difference to programs.
    let asked = [
        "statement",
        "--site",
        "1",
        "--party",
        "wren-haldane",
        "--json",
    ];
    let days = ["--from", "2031-04-28", "--to", "2031-05-05"];
    let json: Value =
        serde_json::from_str(&text(&server.client(&[&asked[..], &days].concat()))).unwrap();
    let rows = json["answer"]["statement"]["rows"].as_array().unwrap();
    let in_place: Vec<_> = rows
        .iter()
        .filter(|row| row["inPlaceOf"] == ticket.id)
        .collect();
    assert_eq!(in_place.len(), 1, "{json}");
    assert_eq!(in_place[0]["ticket"], rewritten.id);
    assert_eq!(in_place[0]["weight"]["shown"], "-1.00");
    assert_eq!(in_place[0]["owed"]["amountMinor"], "-625");
    assert!(!told.contains(&hold.hold_id), "{told}");

    let lot = text(&server.client(&["lot", &line.lot_code]));
    let story = words(&lot);
    let stands = format!("ticket {}, rewritten as ticket {}", ticket.id, rewritten.id);
    assert!(story.contains(&stands), "{lot}");
    assert!(story.contains("hill-kitchen"), "{lot}");
}

#[tokio::test]
async fn a_made_lot_says_what_it_was_made_from_and_by_what() {
    let server = harbor().await;
    let ticket = weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    let line = &ticket.lines[0];
    let mut stock = StockServiceClient::new(server.channel().await);
    let cut: v1::RecordMakingRequest = message(json!({
        "requestId": fresh(), "site": 1, "kind": "MAKING_KIND_CUT",
        "specification": "skinless", "cutter": "bess-orrin",
        "inputs": [{"part": {"lotCode": line.lot_code, "part": line.part}, "weight": lb("20.00")}],
        "outputs": [
            {"presentation": "PRESENTATION_FILLET_SKINLESS", "fate": "OUTPUT_FATE_LOT",
             "weight": lb("6.00"), "storage": "STORAGE_DRAINED_ICE"},
            {"presentation": "PRESENTATION_FRAMES", "fate": "OUTPUT_FATE_DISCARD",
             "weight": lb("13.60"), "reason": "frames"}
        ]
    }));
    let cut = stock.record_making(cut).await.unwrap().into_inner();
    let fillet = &cut.making.unwrap().outputs[0].lot_code;
    let told = words(&text(&server.client(&["lot", fillet])));
    assert!(told.contains("came from cut, entry"), "{told}");
    let source = format!("made from {}/{}", line.lot_code, line.part);
    assert!(told.contains(&source), "{told}");
    let source = words(&text(&server.client(&["lot", &line.lot_code])));
    assert!(source.contains("into a cut -20.00 lb"), "{source}");

    set_clock(&server, "2031-04-29T05:00:00-04:00").await;
    let night = server.night("2031-04-28", &[]);
    assert!(night.status.code() != Some(2), "{}", said(&night));
    let close = text(&server.client(&["close", "--site", "1", "--day", "2031-04-28"]));
    let thrown = close
        .lines()
        .find(|line| line.contains("thrown out at the table"));
    assert!(
        thrown.is_some_and(|row| row.ends_with("13.60 lb")),
        "{close}"
    );
    let widest = close.lines().map(|line| line.chars().count()).max();
    assert!(widest.is_some_and(|widest| widest <= 100), "{close}");
}

#[tokio::test]
async fn a_flag_is_seen_to_by_the_beginning_of_its_key_and_both_words_stand() {
    let server = harbor().await;
    weigh_in(&server, one_tote("44.00", "4.00", 50)).await;
    set_clock(&server, "2031-04-29T05:00:00-04:00").await;
    server.night("2031-04-28", &[]);
    let list = server.client(&["flags", "--site", "1", "--json"]);
    let list: serde_json::Value = serde_json::from_str(&text(&list)).unwrap();
    let key = list["answer"]["flags"][0]["key"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(text(&server.client(&["flags", "--site", "1"])).contains(&key[..8]));

    for reason in ["counted by eye", "weighed on Tuesday"] {
        let seen = server.client(&["see-to", "--key", &key[..8], "--reason", reason]);
        text(&seen);
    }
    let told = words(&text(&server.client(&["flags", "--site", "1"])));
    assert!(
        told.contains("counted by eye") && told.contains("weighed on"),
        "{told}"
    );
    let none = server.client(&["see-to", "--key", "zzzzzz", "--reason", "x"]);
    assert_eq!(none.status.code(), Some(1));
    assert!(
        said(&none).contains("--key: no flag's key begins"),
        "{}",
        said(&none)
    );
}

#[tokio::test]
async fn a_no_names_the_flag_that_was_typed() {
    let server = harbor().await;
    let tote = |more: &[&str]| {
        let mut words = vec![
            "weigh-in",
            "--site",
            "1",
            "--diver",
            "wren-haldane",
            "--species",
            "PZO",
            "--presentation",
            "whole",
            "--condition",
            "clean",
            "--confirmed",
            "by-diver",
        ];
        words.extend(more);
        said(&server.client(&words))
    };
    let graded = ["--grade", "A", "--pieces", "20"];
    // typed                                              said
    for (more, flag) in [
        (&["--gross", "-4.00", "--tared"][..], "--gross: "),
        (&["--gross", "4.00", "--tare", "5.00"], "--gross: "),
        (
            &["--gross", "4.00", "--tared", "--scale", "attic"],
            "--scale: ",
        ),
        (&["--gross", "4.00", "--tote", "grey-99"], "--tote: "),
        (
            &[
                "--gross",
                "4.00",
                "--tared",
                "--caught-from",
                "2031-04-28",
                "--landed-on",
                "2031-04-27",
            ],
            "--landed-on: fish caught until 2031-04-28 was not landed on 2031-04-27",
        ),
    ] {
        let told = tote(&[&graded[..], more].concat());
        assert!(told.contains(flag), "{more:?}: {told}");
        assert!(!told.contains("lots[0]"), "{told}");
    }
    let not_priced = tote(&[
        "--grade", "ZZ", "--pieces", "20", "--gross", "4.00", "--tared",
    ]);
    assert!(not_priced.contains("--grade: "), "{not_priced}");
    let nobody = server.client(&[
        "yields",
        "--site",
        "1",
        "--supplier",
        "nobody",
        "--from",
        "2031-04-28",
        "--to",
        "2031-05-05",
    ]);
    assert!(said(&nobody).contains("--supplier: there is no party \"nobody\""));
}
