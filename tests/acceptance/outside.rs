//! Checks from outside: the program against Python, which shares no code with it.
//!
//! Each test starts the real program and hands its address, or its book, to a script
//! in `tests/outside/`. What a script compares, and where its numbers come from,
//! stands in the script.

mod allot;
mod statistics;

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

use client::week::Way;
use proto::v1;
use serde_json::json;

use crate::harness::{Server, fresh, lb, message, one_tote, said};
use crate::week::send_week;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Runs a script, which must be content; gives what it printed.
fn python(script: &str, server: Option<&Server>, words: &[impl AsRef<OsStr>]) -> String {
    let python = std::env::var_os("WEIGHHOUSE_TEST_PYTHON").expect(
        "WEIGHHOUSE_TEST_PYTHON names a Python that has tests/requirements.txt; tests/all sets it",
    );
    let mut command = Command::new(&python);
    command
        .arg(root().join(script))
        .args(words)
        .env("PYTHONDONTWRITEBYTECODE", "1");
    if let Some(server) = server {
        command.env("WEIGHHOUSE_KEY_FILE", &server.key);
    }
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{} does not run: {error}", python.display()));
    assert!(output.status.success(), "{script}: {}", said(&output));
    said(&output)
}

#[test]
#[ignore = "needs Python; run by tests/all"]
fn a_whole_day_is_driven_by_python_grpcio_from_the_served_reflection_alone() {
    let server = Server::start();
    let folder = tempfile::tempdir().unwrap();
    let state = folder.path().join("state.json");
    let state = state.to_str().unwrap();
    python(
        "tests/outside/drive_a_day.py",
        Some(&server),
        &[&server.url, state, "day"],
    );
    let night = server.night("2031-06-10", &[]);
    // Fish is missing from a part, and from the table.
    assert_eq!(night.status.code(), Some(1), "{}", said(&night));
    python(
        "tests/outside/drive_a_day.py",
        Some(&server),
        &[&server.url, state, "morning"],
    );
}

#[test]
#[ignore = "needs Python; run by tests/all"]
fn ten_thousand_random_tickets_agree_with_python_decimal() {
    let server = Server::start();
    let mut words = vec![server.url.clone(), "10000".to_owned()];
    // The start number is printed; given again it makes the same tickets.
    words.extend(std::env::var("WEIGHHOUSE_TEST_START"));
    println!(
        "{}",
        python("tests/outside/random_tickets.py", Some(&server), &words)
    );
}

#[test]
#[ignore = "needs Python; run by tests/all"]
fn the_expected_answers_of_the_demo_are_pythons_own() {
    python("demo-data/expected.py", None, &["--check"]);
}

#[tokio::test]
#[ignore = "needs Python; run by tests/all"]
async fn the_double_entry_views_agree_with_a_script_that_shares_no_code() {
    let server = Server::start();
    send_week(&server, Way::Unary).await;
    what_the_week_does_not_do(&server).await;
    let file = server.book.strip_prefix("sqlite:").unwrap();
    python("tests/outside/double_entry.py", None, &[file]);
}

/// Held fish thrown out for a cause after hand-over and before it, and a charge and an
/// advance that are taken back.
async fn what_the_week_does_not_do(server: &Server) {
    let mut intake = v1::intake_service_client::IntakeServiceClient::new(server.channel().await);
    let mut stock = v1::stock_service_client::StockServiceClient::new(server.channel().await);
    let channel = server.channel().await;
    let mut clerk = v1::settlement_service_client::SettlementServiceClient::new(channel);
    let mut weigh_in = one_tote("44.00", "4.00", 50);
    weigh_in.lots[0].receiving = Some(v1::Receiving {
        decision: v1::Decision::Hold.into(),
        reason: "smells of fuel".to_owned(),
        ..Default::default()
    });
    let answer = intake.record_weigh_in(weigh_in).await.unwrap();
    let line = answer.into_inner().ticket.unwrap().lines.remove(0);
    for (cause, weight) in [("AFTER_HAND_OVER", "13.33"), ("BEFORE_HAND_OVER", "26.67")] {
        let thrown_out: v1::RecordMovementRequest = message(json!({
            "requestId": fresh(), "site": 1, "outlet": "OUTLET_DISCARD", "reason": "smells",
            "cause": format!("DISCARD_CAUSE_{cause}"),
            "taken": [{
                "part": { "lotCode": line.lot_code, "part": line.part }, "weight": lb(weight)
            }]
        }));
        stock.record_movement(thrown_out).await.unwrap();
    }
    let usd = json!({ "amountMinor": "1234", "currency": "USD" });
    let advance: v1::RecordAdvanceRequest = message(json!({
        "requestId": fresh(), "site": 1, "payee": "wren-haldane", "reason": "fuel",
        "payment": { "method": "PAYMENT_METHOD_CURRENCY", "amount": usd }
    }));
    let charge: v1::RecordChargeRequest = message(json!({
        "requestId": fresh(), "site": 1, "payee": "wren-haldane", "name": "ice", "amount": usd
    }));
    let advance = clerk.record_advance(advance).await.unwrap().into_inner();
    let charge = clerk.record_charge(charge).await.unwrap().into_inner();
    for recorded in [advance.recorded, charge.recorded] {
        let take_back = v1::TakeBackRequest {
            request_id: fresh(),
            entry: recorded.unwrap().entry_id,
            reason: "of another diver".to_owned(),
        };
        clerk.take_back(take_back).await.unwrap();
    }
}

#[test]
#[ignore = "needs Python; run by tests/all"]
fn the_relation_of_length_and_weight_is_the_published_one() {
    println!(
        "{}",
        python("tests/outside/length_weight.py", None, &[""; 0])
    );
}
