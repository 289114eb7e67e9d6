//! A book of one's own, which goes by the machine's clock, through the commands
//! a person types.

use serde_json::Value;

use crate::harness::{Server, said};

const FIRST_OFFICE: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/../../demo-data/first-office.json"
);

const WEIGH_IN: [&str; 21] = [
    "weigh-in",
    "--site",
    "1",
    "--diver",
    "first-diver",
    "--species",
    "PZO",
    "--presentation",
    "whole",
    "--grade",
    "A",
    "--condition",
    "clean",
    "--gross",
    "24.60",
    "--tare",
    "3.60",
    "--pieces",
    "30",
    "--confirmed",
    "by-diver",
];

#[tokio::test]
async fn a_first_office_goes_on_file_and_the_first_lot_is_weighed_in() {
    let server = Server::ordinary();
    let sent = server.client(&["send", FIRST_OFFICE]);
    assert_eq!(sent.status.code(), Some(0), "{}", said(&sent));
    // Sent again it books nothing twice.
    let again = server.client(&["send", FIRST_OFFICE]);
    assert!(said(&sent).contains(" deeds booked."), "{}", said(&sent));
    assert!(
        said(&again).contains("0 deeds booked, ") && said(&again).contains("booked before"),
        "{}",
        said(&again)
    );

    let ticket = server.client(&[&WEIGH_IN[..], &["--json"]].concat());
    assert_eq!(ticket.status.code(), Some(0), "{}", said(&ticket));
    let told: Value = serde_json::from_slice(&ticket.stdout).unwrap();
    assert_eq!(told["clock"]["simulated"], false);
    let ticket = &told["answer"]["ticket"];
    // 21.00 lb at 5.25.
    assert_eq!(ticket["payout"]["amountMinor"], "11025");
    let shown = server.client(&["ticket", ticket["id"].as_str().unwrap()]);
    assert!(said(&shown).contains("110.25 USD"), "{}", said(&shown));
    assert!(
        said(&shown).contains("spines stay venomous"),
        "{}",
        said(&shown)
    );
    assert!(!said(&shown).contains("Simulated"), "{}", said(&shown));
}

#[tokio::test]
async fn an_ordinary_book_refuses_to_have_its_clock_set() {
    let server = Server::ordinary();
    let set = server.client(&["clock", "--set", "2031-05-02T12:00:00Z"]);
    assert_eq!(set.status.code(), Some(1), "{}", said(&set));
    assert!(said(&set).contains("machine's clock"), "{}", said(&set));
}

#[tokio::test]
async fn a_command_that_cannot_be_done_says_the_field_and_the_rule() {
    let server = Server::ordinary();
    let sent = server.client(&["send", FIRST_OFFICE]);
    assert_eq!(sent.status.code(), Some(0), "{}", said(&sent));
    let mut heavy = WEIGH_IN;
    heavy[16] = "24.60";
    let told = server.client(&heavy);
    assert_eq!(told.status.code(), Some(1), "{}", said(&told));
    assert!(said(&told).contains("tare"), "{}", said(&told));

    let missing = server.client(&["ticket", "2031042800010000004"]);
    assert_eq!(missing.status.code(), Some(1), "{}", said(&missing));
}
