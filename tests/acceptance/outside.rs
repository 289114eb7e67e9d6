//! Checks from outside: the program against Python, which shares no code with it.
//!
//! Each test starts the real program and hands its address, or its book, to a script
//! in `tests/outside/`. What a script compares, and where its numbers come from,
//! stands in the script.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

use client::week::Way;

use crate::harness::{Server, said};
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
    let file = server.book.strip_prefix("sqlite:").unwrap();
    python("tests/outside/double_entry.py", None, &[file]);
}

#[test]
#[ignore = "needs Python; run by tests/all"]
fn the_relation_of_length_and_weight_is_the_published_one() {
    println!(
        "{}",
        python("tests/outside/length_weight.py", None, &[""; 0])
    );
}
