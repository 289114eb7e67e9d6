//! What people type and send: a command for each deed, files of deeds, receipts.

use std::path::Path;

use serde_json::Value;

use crate::harness::{Server, harbor, said, set_clock};

fn done(server: &Server, words: &[&str]) -> String {
    let output = server.client(words);
    assert!(output.status.success(), "{words:?}: {}", said(&output));
    String::from_utf8(output.stdout).unwrap()
}

fn ids(server: &Server, words: &[&str]) -> Value {
    serde_json::from_str(&done(server, &[words, &["--json"]].concat())).unwrap()
}

const TOTE: &[&str] = &[
    "weigh-in",
    "--site",
    "1",
    "--diver",
    "wren-haldane",
    "--species",
    "PZO",
    "--presentation",
    "whole",
    "--grade",
    "A",
    "--condition",
    "clean",
    "--gross",
    "44.00",
    "--tare",
    "4.00",
    "--pieces",
    "50",
    "--scale",
    "dock",
    "--confirmed",
    "by-diver",
    "--json",
];

#[tokio::test]
async fn a_day_is_typed_from_the_weigh_in_to_the_count() {
    let server = harbor().await;
    let ticket: Value = serde_json::from_str(&done(&server, TOTE)).unwrap();
    let line = &ticket["answer"]["ticket"]["lines"][0];
    let lot = line["lotCode"].as_str().unwrap();
    let part = format!("{lot}/{}", line["part"]);

    let held = ids(
        &server,
        &[
            "hold",
            "--part",
            &part,
            "--weight",
            "4.00",
            "--reason",
            "smells of fuel",
        ],
    );
    let hold = held["hold"].as_str().unwrap();
    done(
        &server,
        &["release", "--hold", hold, "--reason", "smelled again"],
    );
    let taken = format!("{part}:10.00");
    done(
        &server,
        &[
            "move",
            "--site",
            "1",
            "--outlet",
            "sold-whole",
            "--to",
            "hill-kitchen",
            "--take",
            &taken,
            "--temperature",
            "38.5F",
            "--read-on",
            "dock",
        ],
    );
    let from = format!("{part}:20.00");
    let told = done(
        &server,
        &[
            "cut",
            "--site",
            "1",
            "--from",
            &from,
            "--into",
            "fillet-skinless:6.20:drained-ice",
            "--thrown-out",
            "frames:13.40:frames",
            "--cutter",
            "bess-orrin",
            "--specification",
            "skinless",
            "--minutes",
            "35",
        ],
    );
    assert!(
        told.contains("new lots") && told.contains("Cautions"),
        "{told}"
    );
    let left = format!("{part}:10.00");
    done(
        &server,
        &[
            "count",
            "--site",
            "1",
            "--closes",
            "2031-04-28",
            "--found",
            &left,
        ],
    );
    let story = done(&server, &["lot", lot]);
    assert!(
        story.contains("counted") && story.contains("10.00"),
        "{story}"
    );

    // What the service refuses is named by its flag.
    let none = server.client(&["hold", "--part", "20310428000100000091", "--reason", "x"]);
    assert!(
        said(&none).contains("--part: there is no lot"),
        "{}",
        said(&none)
    );
}

fn send(server: &Server, folder: &Path, name: &str, text: &str) -> (Option<i32>, String, String) {
    let file = folder.join(name);
    std::fs::write(&file, text).unwrap();
    let failed = folder.join(format!("failed-{name}"));
    let output = server.client(&[
        "send",
        file.to_str().unwrap(),
        "--failed",
        failed.to_str().unwrap(),
    ]);
    let mend = std::fs::read_to_string(failed).unwrap_or_default();
    (output.status.code(), said(&output), mend)
}

const CSV: &str = "ticket;site;diver;confirmed;species;form;grade;shot;gross;tote;pieces;scale\r\n\
                   1;1;wren-haldane;by-diver;PZO;whole;A;clean;45,60;blue-1;56;dock\r\n\
                   1;;;;PZO;whole;A;clean;8,90;blue-1;15;dock\r\n\
                   2;1;nobody;by-diver;PZO;whole;A;clean;24,60;blue-1;30;dock\r\n\
                   3;1;osric-pell;by-diver;PZO;whole;A;clean;x;blue-1;30;dock\r\n\
                   4;1;osric-pell;by-diver;PZO;whole;A;clean;24,60;blue-1;30;dock\r\n";

#[tokio::test]
async fn what_failed_of_a_csv_file_is_mended_and_sent_again_and_nothing_twice() {
    let server = harbor().await;
    let folder = tempfile::tempdir().unwrap();
    let (code, told, mend) = send(&server, folder.path(), "monday.csv", CSV);
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("2 deeds booked, 2 refused"), "{told}");
    assert!(
        told.contains("line 4, ticket 2: ") && told.contains("\"nobody\""),
        "{told}"
    );
    assert!(told.contains("line 5, column 9 (gross): \"x\""), "{told}");
    // Said once for the whole file.
    assert_eq!(told.matches("spines stay venomous").count(), 1, "{told}");
    assert_eq!(mend.lines().count(), 3, "{mend}");

    let mended = mend
        .replace("nobody", "mara-denby")
        .replace(";x;", ";20,10;");
    let (code, told, mend) = send(&server, folder.path(), "mended.csv", &mended);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("2 deeds booked."), "{told}");
    assert_eq!(mend.lines().count(), 1, "{mend}");

    set_clock(&server, "2031-04-28T16:00:00-04:00").await;
    let (code, told, _) = send(&server, folder.path(), "again.csv", &mended);
    assert_eq!(code, Some(0), "{told}");
    assert!(
        told.contains("0 deeds booked, 2 booked before and not again"),
        "{told}"
    );
}

#[tokio::test]
async fn a_file_sent_again_is_told_as_booked_before_though_the_clock_stood_still() {
    let server = harbor().await;
    let folder = tempfile::tempdir().unwrap();
    // One fish is weighed at the dock and sent later; again, it is sent later still.
    let csv = "ticket,site,diver,confirmed,species,form,grade,shot,gross,tared,scale,weighed_at\n\
               7,1,wren-haldane,by-diver,PZO,whole,A,clean,24.60,yes,dock,2031-04-28T07:00:00-04:00\n";
    let (code, told, _) = send(&server, folder.path(), "first.csv", csv);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("1 deed booked."), "{told}");
    let (code, told, _) = send(&server, folder.path(), "still.csv", csv);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("0 deeds booked, 1 booked before"), "{told}");
    set_clock(&server, "2031-04-28T16:00:00-04:00").await;
    let (code, told, _) = send(&server, folder.path(), "later.csv", csv);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("0 deeds booked, 1 booked before"), "{told}");
}

#[tokio::test]
async fn what_failed_is_never_written_over_a_file_that_holds_something() {
    let server = harbor().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("monday.csv");
    std::fs::write(&file, CSV).unwrap();
    let other_name = folder.path().join(".").join("monday.csv");
    let unread = folder.path().join("notes.txt");
    std::fs::write(&unread, "not of this program").unwrap();
    for failed in [&file, &other_name, &unread] {
        let before = std::fs::read(failed).unwrap();
        let output = server.client(&[
            "send",
            file.to_str().unwrap(),
            "--failed",
            failed.to_str().unwrap(),
        ]);
        let told = said(&output);
        assert!(!output.status.success(), "{told}");
        assert!(told.contains("is there already, and not empty"), "{told}");
        assert_eq!(std::fs::read(failed).unwrap(), before);
    }
}

#[tokio::test]
async fn numbers_asked_ahead_and_a_probe_are_typed() {
    let server = harbor().await;
    let numbers = ids(
        &server,
        &[
            "request-codes",
            "--site",
            "1",
            "--device",
            "dock-tablet",
            "--count",
            "5",
        ],
    );
    let numbers = numbers["numbers"].as_array().unwrap();
    assert_eq!(numbers.len(), 5);
    let first = numbers[0].as_str().unwrap();
    let borne = ["--device", "dock-tablet", "--lot-number", first];
    let ticket: Value = serde_json::from_str(&done(&server, &[TOTE, &borne].concat())).unwrap();
    let lot = ticket["answer"]["ticket"]["lines"][0]["lotCode"].as_str();
    let lot = lot.unwrap();
    assert_eq!(lot, format!("{first}1"));
    let told = done(&server, &["reprobe", "--lot", lot, "--probe", "39.5F"]);
    assert!(told.contains("Booked: reprobe"), "{told}");
}

#[tokio::test]
async fn json_after_one_another_goes_on_after_a_deed_that_failed() {
    let server = harbor().await;
    let folder = tempfile::tempdir().unwrap();
    let party = |n: u8, code: &str| {
        format!(
            "{{\"deed\": {{\"party\": {{\"requestId\": \"5b1c6a9e-2f70-4c55-9a54-0b8f2a4e6d1{n}\", \
             \"party\": {{\"code\": \"{code}\", \"name\": \"Somebody\", \"roles\": \
             [\"PARTY_ROLE_STAFF\"]}}}}}}}}"
        )
    };
    let text = format!(
        "\u{feff}{}\r\n\r\n{}\r\n{}\r\n",
        party(1, "first"),
        party(2, "Not A Code"),
        party(3, "third")
    );
    let (code, told, mend) = send(&server, folder.path(), "staff.json", &text);
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("2 deeds booked, 1 refused"), "{told}");
    assert!(told.contains("line 3: "), "{told}");
    assert!(mend.contains("\"failed\":"), "{mend}");
    let (code, told, mend) = send(
        &server,
        folder.path(),
        "mended.json",
        &mend.replace("Not A Code", "second"),
    );
    assert_eq!((code, mend.as_str()), (Some(0), ""), "{told}");

    let broken = format!("[{}\n{}]", party(1, "first"), party(4, "fourth"));
    let (code, told, _) = send(&server, folder.path(), "broken.json", &broken);
    assert_eq!(code, Some(1), "{told}");
    assert!(
        told.contains("line 2, column 1: a comma or ] must stand here"),
        "{told}"
    );
}

#[tokio::test]
async fn a_receipt_keeps_to_its_paper_and_its_language() {
    let server = harbor().await;
    let ticket: Value = serde_json::from_str(&done(&server, TOTE)).unwrap();
    let id = ticket["answer"]["ticket"]["id"].as_str().unwrap();
    for width in ["32", "48"] {
        let receipt = |language| {
            done(
                &server,
                &["ticket", id, "--receipt", width, "--language", language],
            )
        };
        let (english, spanish) = (receipt("en"), receipt("es"));
        let most: usize = width.parse().unwrap();
        for line in english.lines().chain(spanish.lines()) {
            assert!(line.chars().count() <= most, "{line}");
        }
        assert!(
            english.contains("PAYOUT") && english.contains("250.00 USD"),
            "{english}"
        );
        assert!(
            spanish.contains("A PAGAR") && spanish.contains("RELOJ SIMULADO"),
            "{spanish}"
        );
        for word in [
            "PAYOUT",
            "gross",
            "spines",
            "Cautions",
            "local codes",
            "clean",
        ] {
            assert!(!spanish.contains(word), "{word}: {spanish}");
        }
        // A caution that has no Spanish yet would be answered by this.
        assert!(!spanish.contains("Hay otra"), "{spanish}");
    }
}

#[test]
fn a_shell_completes_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let output = std::process::Command::new(crate::harness::PROGRAM)
            .args(["completions", shell])
            .output()
            .unwrap();
        let script = String::from_utf8(output.stdout).unwrap();
        for word in ["nightly", "weigh-in", "kitchen-cut"] {
            assert!(script.contains(word), "{shell}: {word}");
        }
    }
}
