//! The nightly job as a process of its own, and what people see of it.

use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};

use crate::chance::{any_seed, begin, seeds};
use crate::harness::{PROGRAM, Server, fresh, harbor, lb, message, one_tote, said, set_clock};

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

/// `nightly` on a book, as a process of its own.
fn nightly(book: &str, more: &[&str]) -> Command {
    let mut command = Command::new(PROGRAM);
    command
        .args(["nightly", "--site", "1", "--book", book])
        .args(more)
        .env("RUST_LOG", "warn");
    command
}

fn rebuild(book: &str, more: &[&str]) -> Output {
    let more: Vec<&str> = ["--rebuild"].iter().chain(more).copied().collect();
    nightly(book, &more).output().unwrap()
}

#[tokio::test]
async fn a_rebuild_finds_every_closed_day_as_it_was_stored() {
    let server = harbor().await;
    let told = weigh_in(&server, "44.00").await;
    count(&server, &told.lines[0].lot_code, "39.95").await;
    let uncounted = weigh_in(&server, "14.00").await;
    set_clock(&server, "2031-04-29T05:30:00-04:00").await;
    assert_eq!(exit(&server, &[]).0, 1);
    for more in [&["--dry-run"][..], &[]] {
        let rebuilt = rebuild(&server.book, more);
        assert_eq!(rebuilt.status.code(), Some(0), "{}", said(&rebuilt));
        let text = said(&rebuilt);
        assert!(text.starts_with("Rebuild of site 1\n"), "{text}");
        for (fact, days) in [
            ("closed days", "2"),
            ("as they were stored", "2"),
            ("left alone", "0"),
        ] {
            let line = text
                .lines()
                .find(|line| line.trim_start().starts_with(fact));
            assert!(
                line.is_some_and(|line| line.ends_with(days)),
                "{fact}: {text}"
            );
        }
        assert!(!text.contains('\r'), "nobody watches: {text}");
    }
    // Something came since: the day is said, and not compared.
    let void = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: uncounted.id,
        reason: "weighed twice".to_owned(),
    };
    IntakeServiceClient::new(server.channel().await)
        .void_ticket(void)
        .await
        .unwrap();
    let text = said(&rebuild(&server.book, &[]));
    assert!(
        text.contains("2031-04-28: not compared, 1 entry came since it was closed."),
        "{text}"
    );
}

#[test]
fn a_night_wants_a_day_or_a_rebuild_and_not_both() {
    for more in [
        &[][..],
        &["--rebuild", "--day", "2031-04-28"],
        &["--rebuild", "--json"],
    ] {
        let refused = nightly("sqlite:none.db", more).output().unwrap();
        assert_eq!(
            refused.status.code(),
            Some(2),
            "{more:?}: {}",
            said(&refused)
        );
    }
}

/// A book with a day to close, and copies of it.
struct Copies {
    folder: tempfile::TempDir,
    made: usize,
}

impl Copies {
    async fn of_a_day() -> Copies {
        let mut server = harbor().await;
        for n in 0..12 {
            let told = weigh_in(&server, &format!("{}.00", 14 + n)).await;
            if n % 3 > 0 {
                let found = format!("{}.95", 9 + n);
                count(&server, &told.lines[0].lot_code, &found).await;
            }
        }
        set_clock(&server, "2031-04-30T05:30:00-04:00").await;
        server.stop();
        let folder = tempfile::tempdir().unwrap();
        let backup = Command::new(PROGRAM)
            .args(["backup", "--book", &server.book, "--to"])
            .arg(folder.path().join("model.db"))
            .output()
            .unwrap();
        assert!(backup.status.success(), "{}", said(&backup));
        Copies { folder, made: 0 }
    }

    fn another(&mut self) -> String {
        self.made += 1;
        let copy = self.folder.path().join(format!("{}.db", self.made));
        std::fs::copy(self.folder.path().join("model.db"), &copy).unwrap();
        format!("sqlite:{}", copy.display())
    }
}

/// The closes of both days, as they are stored.
fn closes(book: &str) -> (Vec<u8>, Vec<u8>) {
    let close = |day| {
        let night = nightly(book, &["--day", day, "--json"]).output().unwrap();
        // At once after a kill: the killed one's lease is in nobody's way.
        assert_eq!(night.status.code(), Some(1), "{}", said(&night));
        night.stdout
    };
    (close("2031-04-29"), close("2031-04-28"))
}

async fn nights_killed(seed: u64, kills: usize) {
    let mut chance = begin(seed);
    let mut copies = Copies::of_a_day().await;
    let undisturbed = copies.another();
    let started = Instant::now();
    let whole = closes(&undisturbed);
    let longest = started.elapsed().as_micros() as i64;
    let mut midway = 0;
    for kill in 0..kills {
        let book = copies.another();
        let mut night = nightly(&book, &["--day", "2031-04-29"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let after = Duration::from_micros(chance.between(0, longest) as u64);
        std::thread::sleep(after);
        night.kill().unwrap();
        // Ended by the kill, and not before it.
        midway += usize::from(night.wait().unwrap().code().is_none());
        assert_eq!(closes(&book), whole, "kill {kill}, after {after:?}");
        let rebuilt = rebuild(&book, &[]);
        assert_eq!(rebuilt.status.code(), Some(0), "{}", said(&rebuilt));
    }
    println!("{midway} of {kills} nights were killed at their work");
    assert!(midway > 0, "no kill met a night at work");
}

#[tokio::test]
async fn a_night_killed_at_any_moment_and_run_again_gives_the_same_bytes() {
    for seed in seeds(&[20_310_429]) {
        nights_killed(seed, 8).await;
    }
}

#[tokio::test]
#[ignore = "takes minutes; run by tests/all"]
async fn endurance_a_hundred_and_fifty_killed_nights_leave_the_same_bytes() {
    for seed in seeds(&[any_seed()]) {
        nights_killed(seed, 150).await;
    }
}

#[tokio::test]
async fn of_two_nights_at_once_one_works_and_the_other_says_who_or_comes_after() {
    let mut copies = Copies::of_a_day().await;
    let whole = closes(&copies.another());
    for _ in 0..4 {
        let book = copies.another();
        let spawn = || {
            nightly(&book, &["--day", "2031-04-29", "--json"])
                .stdout(Stdio::piped())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        };
        let nights = [spawn(), spawn(), spawn()].map(|night| night.wait_with_output().unwrap());
        assert!(nights.iter().any(|night| night.status.code() == Some(1)));
        for night in nights {
            match night.status.code() {
                Some(1) => assert_eq!(night.stdout, whole.0),
                other => {
                    assert_eq!(other, Some(2), "{}", said(&night));
                    let why = said(&night);
                    assert!(why.contains("is being worked by process"), "{why}");
                }
            }
        }
        assert_eq!(closes(&book), whole);
    }
}
