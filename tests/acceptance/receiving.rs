//! Receiving through the front door: what is taken, held and refused at the
//! dock, what the log says of it, and what may leave.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::office_service_client::OfficeServiceClient;
use proto::v1::receiving_service_client::ReceivingServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};
use tonic_types::StatusExt as _;

use crate::harness::{Server, fresh, harbor, lb, message, one_tote, said, set_clock};

/// The dock with its limits set; the length is invented.
pub(crate) async fn dock() -> Server {
    let server = harbor().await;
    let request: v1::RecordSettingsRequest = message(json!({
        "requestId": fresh(),
        "settings": {
            "site": 1,
            "areasOfConcern": [{ "system": "site", "code": "Far Shoal", "note": "two ill in 2030" }],
            "legalLimits": [
                { "species": "GPR", "minimumLength": { "decimal": "20", "unit": "LENGTH_UNIT_IN" } }
            ],
            "releaseReasons": ["area cleared by the office", "probed again and cold"]
        }
    }));
    OfficeServiceClient::new(server.channel().await)
        .record_settings(request)
        .await
        .unwrap();
    server
}

/// Forty pounds of lionfish in fifty, from a safe reef, as it came in.
fn landed(receiving: Value) -> v1::RecordWeighInRequest {
    let mut request = one_tote("44.00", "4.00", 50);
    request.landing = Some(message_landing("Near Reef"));
    request.lots[0].receiving = Some(seen(receiving));
    request
}

fn message_landing(area: &str) -> v1::Landing {
    v1::Landing {
        areas: vec![v1::CatchArea {
            system: "site".to_owned(),
            code: area.to_owned(),
        }],
        ..v1::Landing::default()
    }
}

fn seen(receiving: Value) -> v1::Receiving {
    // Read as a part of the request that has it.
    let request: v1::RecordWeighInRequest =
        message(json!({ "lots": [{ "receiving": receiving }] }));
    request.lots[0].receiving.clone().unwrap()
}

pub(crate) fn fahrenheit(decimals: &[&str]) -> Value {
    let probe = |decimal| json!({ "decimal": decimal, "unit": "TEMPERATURE_UNIT_FAHRENHEIT" });
    decimals.iter().map(probe).collect()
}

async fn weigh_in(
    server: &Server,
    request: v1::RecordWeighInRequest,
) -> Result<v1::Ticket, tonic::Status> {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request).await?;
    Ok(answer.into_inner().ticket.unwrap())
}

/// Reason and field of a refusal.
fn why(status: &tonic::Status) -> (String, String) {
    let details = status.get_error_details();
    let info = details.error_info().unwrap();
    let field = info.metadata.get("field").cloned().unwrap_or_default();
    (info.reason.clone(), field)
}

fn standing(ticket: &v1::Ticket, rule: v1::ReceivingRule) -> v1::Standing {
    let findings = &ticket.lots[0].findings;
    let found = findings.iter().find(|found| found.rule() == rule);
    found.unwrap().standing()
}

/// Warm, and iced forty minutes ago.
fn cooling() -> Value {
    json!({
        "probes": fahrenheit(&["52", "49.5", "47"]),
        "icedAt": "2031-04-28T14:20:00-04:00",
        "iceAround": true
    })
}

#[tokio::test]
async fn fish_iced_forty_minutes_ago_is_taken_and_probed_again() {
    let server = dock().await;
    let ticket = weigh_in(&server, landed(cooling())).await.unwrap();
    assert_eq!(
        standing(&ticket, v1::ReceivingRule::Cold),
        v1::Standing::Failed
    );
    // Weighed in at 15:00, and four hours to cool.
    let due = ticket.lots[0].reprobe_due_at.unwrap();
    assert_eq!(due, client::instant("2031-04-28T19:00:00-04:00").unwrap());
    let warned = ticket.notices.iter().any(|n| n.code == "reprobe_due");
    assert!(warned, "{:?}", ticket.notices);
    assert_eq!(ticket.payout, ticket.owed, "it is owed");

    let shown = said(&server.client(&["ticket", &ticket.id]));
    for line in [
        "lot 1, failed: cold (52 F at the warmest is above the limit of 41 F)",
        "lot 1, passed: area, probes",
        "lot 1, not set: legal length, season, trip limit",
        "lot 1: probe it again by 2031-04-28 19:00",
    ] {
        assert!(shown.contains(line), "{line}\n{shown}");
    }
}

#[tokio::test]
async fn warm_fish_that_nobody_probed_again_is_a_flag_until_a_late_probe_explains_it() {
    let server = dock().await;
    let ticket = weigh_in(&server, landed(cooling())).await.unwrap();
    let lot_code = ticket.lots[0].lot_code.clone();
    let flags = async || {
        let mut closes = v1::close_service_client::CloseServiceClient::new(server.channel().await);
        let day = proto::google::r#type::Date {
            year: 2031,
            month: 4,
            day: 28,
        };
        let request = v1::GetCloseRequest {
            site: 1,
            day: Some(day),
            revision: 0,
        };
        let close = closes.get_close(request).await.unwrap().into_inner();
        let flags = close.close.unwrap().flags.into_iter();
        flags
            .filter(|flag| flag.kind == "never_shown_cold")
            .collect::<Vec<v1::Flag>>()
    };
    set_clock(&server, "2031-04-29T05:00:00-04:00").await;
    let night = server.night("2031-04-28", &[]);
    assert_eq!(night.status.code(), Some(1), "{}", said(&night));
    let [flag] = flags().await.try_into().unwrap();
    assert_eq!(flag.subject, lot_code);
    for piece in [
        ticket.id.as_str(),
        "by 2031-04-28T19:00:00-04:00",
        "it was at 52 F as it came in",
        "the local code decides",
    ] {
        assert!(flag.text.contains(piece), "{piece}: {}", flag.text);
    }

    // Probed warm in time, and cold a minute too late: it stays, as it was read last.
    for (at, decimal) in [("18:30", "44"), ("19:01", "40.5")] {
        reprobed_at(&server, &lot_code, at, decimal).await;
    }
    server.night("2031-04-28", &[]);
    let [flag] = flags().await.try_into().unwrap();
    assert!(flag.text.contains("it was at 40.5 F"), "{}", flag.text);

    // Cold in time, entered next morning.
    reprobed_at(&server, &lot_code, "18:59", "41").await;
    server.night("2031-04-28", &[]);
    assert_eq!(flags().await, []);
}

/// A probe of 2031-04-28, whenever it is entered.
async fn reprobed_at(server: &Server, lot_code: &str, at: &str, decimal: &str) {
    let request: v1::RecordReprobeRequest = message(json!({
        "requestId": fresh(), "lotCode": lot_code, "probes": fahrenheit(&[decimal]),
        "iceAround": true, "happenedAt": format!("2031-04-28T{at}:00-04:00")
    }));
    let mut client = ReceivingServiceClient::new(server.channel().await);
    client.record_reprobe(request).await.unwrap();
}

#[tokio::test]
async fn fish_due_to_be_cold_on_the_next_day_is_that_days_to_flag_and_to_explain() {
    let server = dock().await;
    // Landed 40 minutes before the day turns at 04:00, due at 07:20 of the next.
    set_clock(&server, "2031-04-29T03:20:00-04:00").await;
    let mut night_fish = cooling();
    night_fish["icedAt"] = json!("2031-04-29T03:00:00-04:00");
    let ticket = weigh_in(&server, landed(night_fish)).await.unwrap();
    let kinds = |night: std::process::Output| said(&night).contains("never_shown_cold");
    set_clock(&server, "2031-04-30T05:00:00-04:00").await;
    assert!(!kinds(server.night("2031-04-28", &[])), "not due by then");
    assert!(kinds(server.night("2031-04-29", &[])));
    // It was cold before the day turned.
    let request: v1::RecordReprobeRequest = message(json!({
        "requestId": fresh(), "lotCode": ticket.lots[0].lot_code, "probes": fahrenheit(&["39"]),
        "happenedAt": "2031-04-29T03:59:00-04:00"
    }));
    let mut client = ReceivingServiceClient::new(server.channel().await);
    client.record_reprobe(request).await.unwrap();
    // Another day is asked for, and this one is revised with it.
    server.night("2031-04-28", &[]);
    let again = server.night("2031-04-29", &[]);
    assert!(!kinds(again));
}

#[tokio::test]
async fn fish_never_iced_is_refused_and_booked_as_refused() {
    let server = dock().await;
    let warm = json!({ "probes": fahrenheit(&["58", "57.5", "56"]), "iceAround": false });
    let status = weigh_in(&server, landed(warm.clone())).await.unwrap_err();
    assert_eq!(status.code(), tonic::Code::FailedPrecondition);
    assert_eq!(
        why(&status),
        (
            "TOO_WARM".to_owned(),
            "lots[0].receiving.decision".to_owned()
        )
    );
    assert!(
        status.message().contains("58 F at the warmest"),
        "{}",
        status.message()
    );

    let mut refused = warm;
    refused["decision"] = json!("DECISION_REFUSE");
    refused["reason"] = json!("58 F and never iced");
    refused["correctiveAction"] = json!("left with the diver; ice handed out");
    let ticket = weigh_in(&server, landed(refused)).await.unwrap();
    assert_eq!(ticket.payout.as_ref().unwrap().amount_minor, 0);
    assert_eq!(ticket.lots[0].lot_code, "", "in no lot");
    assert_eq!(
        standing(&ticket, v1::ReceivingRule::Cold),
        v1::Standing::Failed
    );
}

fn grouper(smallest: Option<&str>) -> v1::RecordWeighInRequest {
    let mut request = landed(json!({ "probes": fahrenheit(&["38"]) }));
    request.lots[0].species = "GPR".to_owned();
    request.lots[0].presentation = v1::Presentation::Gutted.into();
    request.lots[0].weighings = vec![message_weighing()];
    let seen = request.lots[0].receiving.as_mut().unwrap();
    seen.smallest_length = smallest.map(|decimal| v1::Length {
        decimal: decimal.to_owned(),
        unit: v1::LengthUnit::In.into(),
    });
    request
}

fn message_weighing() -> v1::Weighing {
    let request: v1::RecordWeighInRequest = message(json!({ "lots": [{ "weighings": [{
        "grade": "A", "condition": "CONDITION_CLEAN", "pieces": { "pieces": [lb("8.50")] }
    }] }] }));
    request.lots[0].weighings[0].clone()
}

#[tokio::test]
async fn a_grouper_below_the_legal_length_is_taken_by_no_answer_but_refused() {
    let server = dock().await;
    for decision in [v1::Decision::Accept, v1::Decision::Hold] {
        let mut request = grouper(Some("19.75"));
        let seen = request.lots[0].receiving.as_mut().unwrap();
        seen.decision = decision.into();
        seen.reason = "to be measured again".to_owned();
        let status = weigh_in(&server, request).await.unwrap_err();
        assert_eq!(
            why(&status),
            (
                "BELOW_LEGAL_LENGTH".to_owned(),
                "lots[0].receiving.decision".to_owned()
            )
        );
        assert!(
            status.message().contains("weigh it in as refused"),
            "{}",
            status.message()
        );
    }
    let at_it = weigh_in(&server, grouper(Some("20"))).await.unwrap();
    let rule = v1::ReceivingRule::LegalLength;
    assert_eq!(standing(&at_it, rule), v1::Standing::Passed);
    let not_measured = weigh_in(&server, grouper(None)).await.unwrap();
    assert_eq!(standing(&not_measured, rule), v1::Standing::NotKnown);
    // Lionfish has no legal length here: that is not a pass.
    let ticket = weigh_in(
        &server,
        landed(json!({ "probes": fahrenheit(&["38", "38", "38"]) })),
    )
    .await
    .unwrap();
    assert_eq!(standing(&ticket, rule), v1::Standing::NotSet);
}

#[tokio::test]
async fn fish_from_an_area_of_concern_is_refused() {
    let server = dock().await;
    for decision in [v1::Decision::Accept, v1::Decision::Hold] {
        let mut request = landed(json!({ "probes": fahrenheit(&["38", "38", "38"]) }));
        request.landing = Some(message_landing("Far Shoal"));
        let seen = request.lots[0].receiving.as_mut().unwrap();
        seen.decision = decision.into();
        seen.reason = "far out".to_owned();
        let status = weigh_in(&server, request).await.unwrap_err();
        assert_eq!(why(&status).0, "AREA_OF_CONCERN");
        assert!(
            status.message().contains("two ill in 2030"),
            "{}",
            status.message()
        );
    }
}

async fn reprobe(server: &Server, lot_code: &str, probes: &[&str]) -> v1::RecordReprobeResponse {
    let request: v1::RecordReprobeRequest = message(json!({
        "requestId": fresh(), "lotCode": lot_code, "probes": fahrenheit(probes), "iceAround": true
    }));
    let mut client = ReceivingServiceClient::new(server.channel().await);
    client.record_reprobe(request).await.unwrap().into_inner()
}

async fn log(server: &Server) -> v1::GetReceivingLogResponse {
    let request = v1::GetReceivingLogRequest {
        site: 1,
        day: Some(proto::google::r#type::Date {
            year: 2031,
            month: 4,
            day: 28,
        }),
    };
    let mut client = ReceivingServiceClient::new(server.channel().await);
    client
        .get_receiving_log(request)
        .await
        .unwrap()
        .into_inner()
}

#[tokio::test]
async fn the_log_of_a_day_shows_warm_refused_and_probed_again() {
    let server = dock().await;
    let ticket = weigh_in(&server, landed(cooling())).await.unwrap();
    let lot_code = ticket.lots[0].lot_code.clone();
    weigh_in(
        &server,
        landed(json!({
            "decision": "DECISION_REFUSE", "reason": "58 F and never iced",
            "correctiveAction": "left with the diver", "iceAround": false,
            "probes": fahrenheit(&["58", "57.5", "56"])
        })),
    )
    .await
    .unwrap();
    set_clock(&server, "2031-04-28T16:00:00-04:00").await;
    let warm = reprobe(&server, &lot_code, &["40", "43"]).await;
    assert!(!warm.passed);
    assert_eq!(warm.notices[0].code, "hold_it");
    set_clock(&server, "2031-04-28T17:00:00-04:00").await;
    let cold = reprobe(&server, &lot_code, &["39", "41"]).await;
    assert!(cold.passed, "exactly the limit passes");

    let log = log(&server).await;
    let [warm, refused] = log.rows.as_slice() else {
        panic!("{:?}", log.rows)
    };
    assert_eq!(warm.lot_code, lot_code);
    assert_eq!(warm.warmest.as_ref().unwrap().decimal, "52");
    let came: Vec<bool> = warm.reprobes.iter().map(|again| again.passed).collect();
    assert_eq!(came, [false, true]);
    assert_eq!(
        (refused.decision(), refused.lot_code.as_str()),
        (v1::Decision::Refuse, "")
    );
    assert_eq!(refused.corrective_action, "left with the diver");
    assert_eq!(refused.net.as_ref().unwrap().shown, "40.00");
    let codes: Vec<&str> = log.cautions.iter().map(|n| n.code.as_str()).collect();
    assert_eq!(
        codes,
        [
            "venomous_spines",
            "ciguatera",
            "cold",
            "allergen",
            "local_codes"
        ],
        "each caution once"
    );

    let words = ["receiving-log", "--site", "1", "--day", "2031-04-28"];
    let shown = said(&server.client(&words));
    for piece in ["refused", "58 F", "probed again:", "left with the diver"] {
        assert!(shown.contains(piece), "{piece}\n{shown}");
    }
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("log.csv");
    let saved = server.client(&[&words[..], &["--csv", file.to_str().unwrap()]].concat());
    assert!(said(&saved).contains("2 rows are in"), "{}", said(&saved));
    let csv = std::fs::read_to_string(&file).unwrap();
    assert_eq!(csv.trim_end().lines().count(), 3, "{csv}");
    assert!(csv.contains("58 F"), "{csv}");

    // A ticket that was voided stays in the log, marked.
    let request = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: ticket.id,
        reason: "wrong diver".to_owned(),
    };
    let mut client = IntakeServiceClient::new(server.channel().await);
    client.void_ticket(request).await.unwrap();
    let log = self::log(&server).await;
    assert_eq!(
        (
            log.rows[0].ended.as_str(),
            log.rows[0].ended_reason.as_str()
        ),
        ("voided", "wrong diver")
    );
}

#[tokio::test]
async fn fish_of_an_unclear_area_is_held_and_released_with_a_listed_reason() {
    let server = dock().await;
    let mut request = landed(json!({
        "probes": fahrenheit(&["38", "38", "38"]), "areaUnclear": true
    }));
    let status = weigh_in(&server, request.clone()).await.unwrap_err();
    assert_eq!(why(&status).0, "AREA_UNCLEAR");

    let seen = request.lots[0].receiving.as_mut().unwrap();
    seen.decision = v1::Decision::Hold.into();
    seen.reason = "the diver is not sure".to_owned();
    seen.hold_cause = v1::HoldCause::Area.into();
    let ticket = weigh_in(&server, request).await.unwrap();
    assert_eq!(
        standing(&ticket, v1::ReceivingRule::Area),
        v1::Standing::NotKnown
    );
    let release = |reason: &str| v1::ReleaseHoldRequest {
        request_id: fresh(),
        hold_id: ticket.lines[0].hold_id.clone(),
        reason: reason.to_owned(),
        happened_at: None,
    };
    let mut stock = StockServiceClient::new(server.channel().await);
    let status = stock.release_hold(release("looks good")).await.unwrap_err();
    assert_eq!(
        why(&status),
        ("REASON_NOT_LISTED".to_owned(), "reason".to_owned())
    );
    stock
        .release_hold(release("area cleared by the office"))
        .await
        .unwrap();
    let log = log(&server).await;
    assert!(log.rows[0].area_unclear);
    assert_eq!(log.rows[0].holds.len(), 1);
    assert_eq!(log.rows[0].holds[0].reason, "area cleared by the office");
}

#[tokio::test]
async fn torn_fish_is_not_donated_warm_fish_goes_to_nobody_and_nobody_takes_what_is_not_theirs() {
    let server = dock().await;
    let mut request = landed(json!({ "probes": fahrenheit(&["38", "38", "38"]) }));
    request.lots[0].weighings[0].condition = v1::Condition::Torn.into();
    let ticket = weigh_in(&server, request).await.unwrap();
    assert!(ticket.notices.iter().any(|notice| notice.code == "torn"));
    let part = json!({ "lotCode": ticket.lines[0].lot_code, "part": 1 });
    let mut stock = StockServiceClient::new(server.channel().await);
    for (outlet, to, temperature, outcome) in [
        (
            "OUTLET_DONATION",
            "parish-pantry",
            Some("38"),
            ("TORN_NOT_DONATED", "taken[0].part"),
        ),
        (
            "OUTLET_SOLD_WHOLE",
            "hill-kitchen",
            Some("41.5"),
            ("TOO_WARM", "temperature"),
        ),
        (
            "OUTLET_SOLD_WHOLE",
            "osric-pell",
            Some("38"),
            ("WRONG_ROLE", "counterparty"),
        ),
        (
            "OUTLET_DONATION",
            "hill-kitchen",
            Some("38"),
            ("WRONG_ROLE", "counterparty"),
        ),
        ("OUTLET_SOLD_WHOLE", "hill-kitchen", Some("41"), ("", "")),
        (
            "OUTLET_SOLD_WHOLE",
            "hill-kitchen",
            None,
            ("", "no_temperature"),
        ),
    ] {
        let mut movement = json!({
            "requestId": fresh(), "site": 1, "outlet": outlet, "counterparty": to,
            "taken": [{ "part": part, "weight": lb("2.00") }]
        });
        if let Some(decimal) = temperature {
            movement["temperature"] = fahrenheit(&[decimal])[0].clone();
        }
        let request: v1::RecordMovementRequest = message(movement);
        match stock.record_movement(request).await {
            Err(status) => {
                let (reason, field) = why(&status);
                assert_eq!((reason.as_str(), field.as_str()), outcome);
            }
            Ok(answer) => {
                let notices = answer.into_inner().notices;
                let warned = notices.iter().filter(|n| n.code == "no_temperature");
                let warned = warned.map(|n| n.code.as_str()).next().unwrap_or_default();
                assert_eq!(("", warned), outcome, "{outlet} {to}");
            }
        }
    }
    let mut by_a_kitchen = landed(json!({ "probes": fahrenheit(&["38", "38", "38"]) }));
    by_a_kitchen.harvester = "hill-kitchen".to_owned();
    let status = weigh_in(&server, by_a_kitchen).await.unwrap_err();
    assert_eq!(
        why(&status),
        ("WRONG_ROLE".to_owned(), "harvester".to_owned())
    );
}
