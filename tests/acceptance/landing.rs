//! What a landing was: where, when, how deep and how long it was fished; the
//! report of a period's landings; tallies; and lot codes asked ahead.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use serde_json::{Value, json};
use tokio_stream::StreamExt as _;
use tonic_types::StatusExt as _;

use crate::harness::{Server, fresh, harbor, lb, message, one_tote, said, set_clock};

async fn weigh_in(
    server: &Server,
    request: v1::RecordWeighInRequest,
) -> Result<v1::Ticket, tonic::Status> {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await?;
    Ok(answer.into_inner().ticket.unwrap())
}

fn date(day: &str) -> Value {
    let mut parts = day.split('-').map(|part| part.parse::<i64>().unwrap());
    let mut next = || parts.next().unwrap();
    json!({"year": next(), "month": next(), "day": next()})
}

/// Two areas and two days, deep and long; the clock shows Monday, 2031-04-28.
fn landing() -> Value {
    json!({
        "areas": [{"system": "FAO", "code": "31"}, {"system": "reef", "code": "7"}],
        "harvestFrom": date("2031-04-27"), "harvestTo": date("2031-04-28"),
        "gear": "10.8", "landingPlace": "South pier", "landedOn": date("2031-04-28"),
        "vessel": "Sandpiper", "vesselUse": "VESSEL_USE_UNCLEAR", "dives": 4,
        "depth": {"from": "40", "to": "95.5", "unit": "DEPTH_UNIT_FOOT"},
        "minutesFished": "125.5",
    })
}

fn landed(landing: Value) -> v1::RecordWeighInRequest {
    let mut request = one_tote("44.00", "4.00", 50);
    request.landing = Some(landing_of(landing));
    request
}

fn landing_of(landing: Value) -> v1::Landing {
    let request: v1::RecordWeighInRequest = message(json!({"landing": landing}));
    request.landing.unwrap()
}

/// Field and reason of a refusal.
fn refusal(status: &tonic::Status) -> (String, String) {
    let details = status.get_error_details();
    let metadata = details.error_info().map(|info| &info.metadata);
    let field = metadata
        .and_then(|metadata| metadata.get("field"))
        .cloned()
        .unwrap_or_default();
    let reason = details
        .error_info()
        .map_or_else(String::new, |info| info.reason.clone());
    (field, reason)
}

/// Holds that a command printed these, however wide its columns are.
fn shows(output: &std::process::Output, wanted: &[&str]) {
    let printed = said(output);
    let words: Vec<&str> = printed.split_whitespace().collect();
    let words = words.join(" ");
    for wanted in wanted {
        assert!(words.contains(wanted), "{wanted} is not in\n{printed}");
    }
}

#[tokio::test]
async fn a_landing_is_kept_and_shown_as_it_was_told() {
    let server = harbor().await;
    let ticket = weigh_in(&server, landed(landing())).await.unwrap();
    assert_eq!(ticket.landing, Some(landing_of(landing())));
    shows(
        &server.client(&["ticket", &ticket.id]),
        &[
            "caught FAO 31, reef 7, 2031-04-27 to 2031-04-28",
            "vessel Sandpiper, unclear",
            "dives 4",
            "depth 40 to 95.5 ft",
            "time fished 125.5 minutes",
        ],
    );
}

#[tokio::test]
async fn a_landing_that_cannot_have_been_so_is_refused_with_its_field() {
    let server = harbor().await;
    let with = |key: &str, value: Value| {
        let mut landing = landing();
        landing[key] = value;
        landing
    };
    // Landed the day before it was caught, tomorrow, and so on.
    for (landing, field) in [
        (with("landedOn", date("2031-04-27")), "landing.landed_on"),
        (with("landedOn", date("2031-04-29")), "landing.landed_on"),
        (with("dives", json!(0)), "landing.dives"),
        (with("minutesFished", json!("0")), "landing.minutes_fished"),
        (
            with(
                "depth",
                json!({"from": "96", "to": "95.5", "unit": "DEPTH_UNIT_FOOT"}),
            ),
            "landing.depth.to",
        ),
        (
            with("vesselUse", json!("VESSEL_USE_NONE")),
            "landing.vessel",
        ),
    ] {
        let status = weigh_in(&server, landed(landing)).await.unwrap_err();
        let wanted = (field.to_owned(), "LANDING_CANNOT_STAND".to_owned());
        assert_eq!(refusal(&status), wanted, "{status}");
    }
    // A lot's own days are held against the landing as well.
    let mut request = landed(landing());
    request.lots[0].harvest_to = Some(proto::google::r#type::Date {
        year: 2031,
        month: 4,
        day: 26,
    });
    let status = weigh_in(&server, request).await.unwrap_err();
    assert_eq!(refusal(&status).0, "lots[0].harvest_to", "{status}");
}

const WEEK: [&str; 6] = ["--site", "1", "--from", "2031-04-28", "--to", "2031-05-05"];

/// The report's rows as the client reads them.
fn report(server: &Server) -> Value {
    let words = [&["landing-report", "--json"], &WEEK[..]].concat();
    let output = server.client(&words);
    assert!(output.status.success(), "{}", said(&output));
    let whole: Value = serde_json::from_slice(&output.stdout).unwrap();
    whole["answer"].clone()
}

#[tokio::test]
async fn a_report_has_what_stands_lot_by_lot_and_the_days_without_purchases() {
    let server = harbor().await;
    // Monday: nothing at all.
    let empty = report(&server);
    assert_eq!(empty["rows"][0]["noPurchases"], true, "{empty}");
    assert_eq!(
        empty["rows"].as_array().unwrap().len(),
        1,
        "only a day that has begun: {empty}"
    );
    assert!(
        empty["remarks"][0]
            .as_str()
            .unwrap()
            .contains("2031-04-28 is not over")
    );

    // Tuesday: one that stands, one voided, one rewritten, and one refused whole.
    set_clock(&server, "2031-04-29T15:00:00-04:00").await;
    let mut stands = landed(landing());
    stands.lots[0].areas = vec![v1::CatchArea {
        system: "reef".to_owned(),
        code: "9".to_owned(),
    }];
    let stands = weigh_in(&server, stands).await.unwrap();
    let voided = weigh_in(&server, landed(landing())).await.unwrap();
    let void: v1::VoidTicketRequest = message(json!({
        "requestId": fresh(), "ticket": voided.id, "reason": "twice"
    }));
    server.service().await.void_ticket(void).await.unwrap();
    let wrong = weigh_in(&server, landed(landing())).await.unwrap();
    let mut right = landed(landing());
    right.rewrites = Some(v1::Rewrite {
        ticket: wrong.id.clone(),
        reason: "wrong count".to_owned(),
    });
    let weighing = &mut right.lots[0].weighings[0];
    weighing.weighed = message::<v1::RecordWeighInRequest>(json!({"lots": [{"weighings": [
        {"tote": {"gross": lb("44.00"), "tareReading": lb("4.00"), "pieces": 40, "piecesEstimated": true}}
    ]}]}))
    .lots[0]
        .weighings[0]
        .weighed
        .clone();
    let right = weigh_in(&server, right).await.unwrap();
    let mut refused = landed(landing());
    refused.lots[0].receiving = Some(v1::Receiving {
        decision: v1::Decision::Refuse.into(),
        reason: "58 F, never iced".to_owned(),
        corrective_action: "sent back".to_owned(),
        ..Default::default()
    });
    weigh_in(&server, refused).await.unwrap();
    // Wednesday: nothing.
    set_clock(&server, "2031-05-01T03:00:00-04:00").await;

    let told = report(&server);
    let rows = told["rows"].as_array().unwrap();
    let row = |n: usize, key: &str| rows[n][key].clone();
    assert_eq!(rows.len(), 4, "{told}");
    assert_eq!(row(0, "noPurchases"), true);
    assert_eq!(row(1, "ticket"), stands.id);
    assert_eq!(row(1, "lotCode"), stands.lots[0].lot_code);
    assert_eq!(row(1, "areas"), json!([{"system": "reef", "code": "9"}]));
    assert_eq!(row(1, "pieces"), 50);
    assert_eq!(row(1, "bought")["shown"], "40.00");
    // 40 lb x 0.45359237 kg.
    assert_eq!(row(1, "kilograms"), "18.14369480000");
    assert_eq!(row(1, "prices")[0]["decimal"], "6.25");
    assert_eq!(row(1, "amount")["amountMinor"], "25000");
    assert_eq!(row(1, "depth")["to"], "95.5");
    assert_eq!(row(1, "minutesFished"), "125.5");
    assert_eq!(row(1, "dives"), 4);
    assert_eq!(row(1, "vesselUse"), "VESSEL_USE_UNCLEAR");
    assert_eq!(row(1, "landedOn"), date("2031-04-28"));
    assert!(!row(1, "harvesterName").as_str().unwrap().is_empty());
    assert_eq!(row(2, "ticket"), right.id);
    assert_eq!(
        row(2, "lotCode"),
        wrong.lots[0].lot_code,
        "a rewrite keeps its code"
    );
    assert_eq!(
        (row(2, "pieces"), row(2, "piecesEstimated")),
        (json!(40), json!(true))
    );
    assert_eq!(
        (row(3, "day"), row(3, "noPurchases")),
        (date("2031-04-30"), json!(true))
    );

    // The same as a file, and for a person.
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("landings.csv");
    let path = file.display().to_string();
    let words = [&["landing-report", "--csv", &path], &WEEK[..]].concat();
    shows(&server.client(&words), &["4 rows are in"]);
    let text = std::fs::read_to_string(&file).unwrap();
    let lines: Vec<&str> = text.split_terminator("\r\n").collect();
    assert_eq!(lines.len(), 5, "{text}");
    assert!(lines[1].starts_with("2031-04-28,no purchases,"), "{text}");
    assert!(
        lines[2].contains(",40.00,lb,18.14369480000,50,reef:9,"),
        "{text}"
    );
    assert!(
        lines[3]
            .contains(",about 40,FAO:31; reef:7,2031-04-27,2031-04-28,10.8,40 to 95.5 ft,125.5,4,"),
        "{text}"
    );
    let words = [&["landing-report"], &WEEK[..]].concat();
    shows(
        &server.client(&words),
        &[
            "2031-04-28 no purchases",
            "2031-04-30 no purchases",
            "2031-04-30 is not over",
        ],
    );
}

fn tally() -> Value {
    json!({
        "rows": [
            {"sex": "SEX_FEMALE", "eggs": true, "length": "28.5", "count": 30},
            {"sex": "SEX_MALE", "count": 15},
        ],
        "unit": "RULER_UNIT_CENTIMETRE", "largest": "31", "removed": 54,
    })
}

fn tallied(tally: Value) -> v1::RecordWeighInRequest {
    let mut request = landed(landing());
    let lot: v1::RecordWeighInRequest = message(json!({"lots": [{"tally": tally}]}));
    request.lots[0].tally = lot.lots[0].tally.clone();
    request
}

#[tokio::test]
async fn a_tally_is_kept_shown_and_turned_into_catch_by_dive_and_hour() {
    let server = harbor().await;
    let ticket = weigh_in(&server, tallied(tally())).await.unwrap();
    assert!(
        ticket
            .notices
            .iter()
            .all(|of| of.code != "tally_over_pieces")
    );
    let code = ticket.lots[0].lot_code.clone();
    shows(
        &server.client(&["ticket", &ticket.id]),
        &[
            "tally: 30 female with eggs, 28.5 cm",
            "tally: 54 taken out of the sea",
        ],
    );
    // At the table another look is taken.
    let making: v1::RecordMakingRequest = message(json!({
        "requestId": fresh(), "site": 1, "kind": "MAKING_KIND_DRESS", "cutter": "bess-orrin",
        "specification": "gutted",
        "inputs": [{"part": {"lotCode": code, "part": 1}, "weight": lb("20.00")}],
        "outputs": [
            {"presentation": "PRESENTATION_GUTTED", "fate": "OUTPUT_FATE_LOT", "weight": lb("17.00")},
            {"presentation": "PRESENTATION_OTHER", "fate": "OUTPUT_FATE_DISCARD", "weight": lb("3.00"),
             "reason": "guts"},
        ],
        "tally": {"rows": [{"sex": "SEX_FEMALE", "eggs": false, "count": 3}]},
    }));
    let made = server
        .service()
        .await
        .record_making(making.clone())
        .await
        .unwrap();
    assert_eq!(made.making.unwrap().tally, making.tally);

    let words = [&["tally"], &WEEK[..]].concat();
    // 54 fish in 4 dives and 125.5 minutes: 13.5, and 54 x 60 / 125.5 = 25.816...
    shows(
        &server.client(&words),
        &[
            "54 4 125.5 13.50 25.82",
            &format!("lot {code}: "),
            "15 male largest 31 cm 54 taken out of the sea",
            "at the table, ",
            "3 female without eggs",
        ],
    );

    // More than were weighed in is odd, and booked.
    let mut many = tally();
    many["rows"][0]["count"] = json!(36);
    let odd = weigh_in(&server, tallied(many)).await.unwrap();
    let odd = odd.notices.iter().find(|of| of.code == "tally_over_pieces");
    assert_eq!(
        odd.map(|of| of.text.as_str()),
        Some("Lot 1: 51 fish were tallied and 50 were weighed in.")
    );

    for (pointer, value, field) in [
        ("/rows/0/length", json!("0"), "lots[0].tally.rows[0].length"),
        ("/rows/1/count", json!(0), "lots[0].tally.rows[1].count"),
        ("/largest", json!("28"), "lots[0].tally.largest"),
        ("/removed", json!(44), "lots[0].tally.removed"),
    ] {
        let mut bad = tally();
        *bad.pointer_mut(pointer).unwrap() = value;
        let status = weigh_in(&server, tallied(bad)).await.unwrap_err();
        assert_eq!(refusal(&status).0, field, "{status}");
    }
}

async fn codes(
    server: &Server,
    device: &str,
    count: i32,
) -> Result<v1::RequestCodesResponse, client::Trouble> {
    let request = v1::RequestCodesRequest {
        request_id: fresh(),
        site: 1,
        device: device.to_owned(),
        count,
    };
    server.service().await.request_codes(request).await
}

/// A ticket of the demo's tablet that bears a number.
fn bearing(number: i64) -> v1::RecordWeighInRequest {
    let mut request = one_tote("44.00", "4.00", 50);
    request.device = "dock-tablet".to_owned();
    request.lot_number = number.to_string();
    request
}

#[tokio::test]
async fn a_number_asked_ahead_is_borne_by_one_ticket_and_no_entry_gets_it() {
    let server = harbor().await;
    let id = |id: &str| id.parse::<i64>().unwrap();
    let asked = codes(&server, "dock-tablet", 10).await.unwrap();
    let entry = id(&asked.recorded.unwrap().entry_id);
    let block = asked.block.unwrap();
    assert_eq!(
        (id(&block.first_number), id(&block.last_number)),
        (entry + 1, entry + 10)
    );

    // The next entry's own number lies after the block.
    let first = weigh_in(&server, bearing(entry + 4)).await.unwrap();
    assert_eq!(id(&first.id), entry + 11);
    assert_eq!(first.lots[0].lot_code, format!("{}1", entry + 4));
    assert_eq!(first.lot_number, (entry + 4).to_string());

    // Its fish is found, moved and counted under that code.
    let mut right = bearing(0);
    right.lot_number.clear();
    right.rewrites = Some(v1::Rewrite {
        ticket: first.id.clone(),
        reason: "wrong note".to_owned(),
    });
    let right = weigh_in(&server, right).await.unwrap();
    assert_eq!(
        right.lots[0].lot_code, first.lots[0].lot_code,
        "a rewrite keeps it"
    );
    let lot = v1::GetLotRequest {
        lot_code: first.lots[0].lot_code.clone(),
    };
    let lot = server.service().await.get_lot(lot).await.unwrap();
    assert_eq!(lot.parts[0].left.as_ref().unwrap().shown, "40.00");

    // Once, by its own device, inside a block, and never on a rewrite.
    let used = weigh_in(&server, bearing(entry + 4)).await.unwrap_err();
    assert_eq!(
        (used.code(), refusal(&used)),
        (
            tonic::Code::FailedPrecondition,
            ("lot_number".to_owned(), "LOT_NUMBER_USED".to_owned())
        )
    );
    let mut nobodys = bearing(entry + 5);
    nobodys.device.clear();
    let mut again = bearing(entry + 5);
    again.rewrites = Some(v1::Rewrite {
        ticket: right.id.clone(),
        reason: "again".to_owned(),
    });
    for request in [bearing(entry), bearing(entry + 11), nobodys, again] {
        let status = weigh_in(&server, request).await.unwrap_err();
        assert_eq!(status.code(), tonic::Code::InvalidArgument, "{status}");
        assert_eq!(refusal(&status).0, "lot_number", "{status}");
    }
    assert!(codes(&server, "nobodys-phone", 10).await.is_err());

    // A void does not give it back.
    let void: v1::VoidTicketRequest = message(json!({
        "requestId": fresh(), "ticket": right.id, "reason": "not his fish"
    }));
    server.service().await.void_ticket(void).await.unwrap();
    weigh_in(&server, bearing(entry + 4)).await.unwrap_err();

    // In a stream as well, and used on another day.
    let deed = |deed| v1::CatchUpRequest {
        item: Some(v1::catch_up_request::Item::Deed(v1::Deed {
            deed: Some(deed),
        })),
    };
    let request = v1::RequestCodesRequest {
        request_id: fresh(),
        site: 1,
        device: "dock-tablet".to_owned(),
        count: 1000,
    };
    let items = tokio_stream::iter([deed(v1::deed::Deed::RequestCodes(request))]);
    let mut outcomes = server.service().await.catch_up(items).await.unwrap();
    let outcome = outcomes.next().await.unwrap().unwrap();
    assert_eq!(outcome.code, 0, "{}", outcome.message);
    let large = id(&outcome.code_block.unwrap().last_number);
    set_clock(&server, "2031-04-29T15:00:00-04:00").await;
    let next_day = weigh_in(&server, bearing(large)).await.unwrap();
    assert_eq!(next_day.lots[0].lot_code, format!("{large}1"));

    // The close of the day accounts for the numbers; using one later is told there.
    set_clock(&server, "2031-04-30T15:00:00-04:00").await;
    let monday = said(&server.night("2031-04-28", &["--json"]));
    for told in [
        "1010 lot numbers were asked for ahead: tickets of this day bear 1, 1009 are unused",
        "1 of 10 by device dock-tablet",
        "0 of 1000 by device dock-tablet",
    ] {
        assert!(monday.contains(told), "{told}: {monday}");
    }
    let tuesday = said(&server.night("2031-04-29", &["--json"]));
    assert!(
        tuesday.contains("bear 1 of the 1000 lot numbers"),
        "{tuesday}"
    );
}
