//! What a landing was: where, when, how deep and how long it was fished; the
//! report of a period's landings; tallies; and lot codes asked ahead.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use serde_json::{Value, json};
use tonic_types::StatusExt as _;

use crate::harness::{Server, harbor, message, one_tote, said};

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
    let field = details
        .bad_request()
        .and_then(|bad| bad.field_violations.first())
        .map_or_else(String::new, |violation| violation.field.clone());
    let reason = details
        .error_info()
        .map_or_else(String::new, |info| info.reason.clone());
    (field, reason)
}

#[tokio::test]
async fn a_landing_is_kept_and_shown_as_it_was_told() {
    let server = harbor().await;
    let ticket = weigh_in(&server, landed(landing())).await.unwrap();
    assert_eq!(ticket.landing, Some(landing_of(landing())));
    let shown = said(&server.client(&["ticket", &ticket.id]));
    for line in [
        "caught         FAO 31, reef 7, 2031-04-27 to 2031-04-28",
        "vessel         Sandpiper, unclear",
        "dives          4",
        "depth          40 to 95.5 ft",
        "time fished    125.5 minutes",
    ] {
        assert!(shown.contains(line), "{line} is not in\n{shown}");
    }
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
