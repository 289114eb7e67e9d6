//! The nightly job as a process of its own, and what people see of it.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};

use crate::harness::{Server, fresh, harbor, lb, message, one_tote, said, set_clock};

async fn weigh_in(server: &Server, gross: &str) -> v1::Ticket {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let request = one_tote(gross, "4.00", 50);
    client
        .record_weigh_in(request)
        .await
        .unwrap()
        .into_inner()
        .ticket
        .unwrap()
}

async fn count(server: &Server, lot_code: &str, weight: &str) {
    let request: v1::RecordCountRequest = message(json!({
        "requestId": fresh(), "site": 1, "closes": { "year": 2031, "month": 4, "day": 28 },
        "counted": [{ "part": { "lotCode": lot_code }, "weight": lb(weight) }]
    }));
    let mut client = StockServiceClient::new(server.channel().await);
    client.record_count(request).await.unwrap();
}

fn exit(server: &Server, more: &[&str]) -> (i32, Value) {
    let more: Vec<&str> = more.iter().copied().chain(["--json"]).collect();
    let output = server.night("2031-04-28", &more);
    let told = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| json!(said(&output)));
    (output.status.code().unwrap(), told)
}

#[tokio::test]
async fn a_night_exits_0_when_balanced_1_with_flags_and_2_when_it_could_not_run() {
    let server = harbor().await;
    let told = weigh_in(&server, "44.00").await;
    // The day is not over.
    assert_eq!(exit(&server, &[]).0, 2);
    // A dry run may look at it, and finds the fish uncounted.
    assert_eq!(exit(&server, &["--dry-run"]).0, 1);

    count(&server, &told.lines[0].lot_code, "39.95").await;
    set_clock(&server, "2031-04-29T05:30:00-04:00").await;
    let (code, first) = exit(&server, &[]);
    assert_eq!(code, 0, "{first}");
    let (code, again) = exit(&server, &[]);
    assert_eq!((code, again), (0, first), "run twice, same bytes");

    let unknown = server.night("2031-04-31", &[]);
    assert_eq!(unknown.status.code(), Some(2), "{}", said(&unknown));
}

#[tokio::test]
async fn a_dry_run_writes_nothing() {
    let server = harbor().await;
    weigh_in(&server, "44.00").await;
    set_clock(&server, "2031-04-29T05:30:00-04:00").await;
    assert_eq!(exit(&server, &["--dry-run"]).0, 1);
    let close = server.client(&["close", "--site", "1", "--day", "2031-04-28"]);
    assert_eq!(
        close.status.code(),
        Some(1),
        "nothing was closed: {}",
        said(&close)
    );
}

#[tokio::test]
async fn what_is_missing_beyond_drip_is_on_the_desk_in_the_morning_with_its_money() {
    let server = harbor().await;
    let told = weigh_in(&server, "45.60").await;
    count(&server, &told.lines[0].lot_code, "38.60").await;
    set_clock(&server, "2031-04-29T05:30:00-04:00").await;
    let (code, _) = exit(&server, &[]);
    assert_eq!(code, 1);
    let flags = server.client(&["flags", "--site", "1"]);
    let text = said(&flags);
    // 41.60 lb at 6.25 is 260.00, found at 38.60 within the same moment: 3.00 lb
    // of it are 18.75.
    for word in [
        "unaccounted",
        "3.00 lb missing",
        "of 41.60 lb on the book",
        "18.75 USD",
    ] {
        assert!(text.contains(word), "{word}: {text}");
    }
}

#[tokio::test]
async fn a_void_after_the_close_revises_the_day() {
    let server = harbor().await;
    let told = weigh_in(&server, "44.00").await;
    set_clock(&server, "2031-04-29T05:30:00-04:00").await;
    let (code, before) = exit(&server, &[]);
    assert_eq!(code, 1, "nobody counted: {before}");
    let request = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: told.id,
        reason: "weighed twice".to_owned(),
    };
    let mut client = IntakeServiceClient::new(server.channel().await);
    client.void_ticket(request).await.unwrap();
    let (code, after) = exit(&server, &[]);
    assert_eq!(code, 0, "{after}");
    assert_ne!(before, after);
}

#[test]
fn a_mistyped_book_is_not_made() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mistyped.db");
    let night = std::process::Command::new(crate::harness::PROGRAM)
        .args(["nightly", "--site", "1", "--day", "2031-04-28", "--book"])
        .arg(format!("sqlite:{}", path.display()))
        .output()
        .unwrap();
    assert_eq!(night.status.code(), Some(2), "{}", said(&night));
    assert!(
        said(&night).contains("there is no book at"),
        "{}",
        said(&night)
    );
    assert!(!path.exists());
}
