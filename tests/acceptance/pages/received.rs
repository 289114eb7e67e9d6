//! What the dock sees of fish, on the page: warm fish that is iced and cooling, when the
//! first was speared, and the length of the smallest. The page answers as the contract
//! does.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use serde_json::{Value, json};

use super::{Browser, Page, key, tote};
use crate::harness::{Server, fresh, message, set_clock};
use crate::receiving::{dock, fahrenheit};

/// A buyer's tablet with the form open; its token and the id of its request.
async fn tablet(server: &Server) -> (Browser, String, String) {
    let (_, secret) = key(server, v1::Role::Buyer, "").await;
    let mut tablet = Browser::at(server);
    tablet.sign_in(&secret);
    let page = tablet.get("/weigh-in");
    let (token, id) = (page.hidden("token"), page.hidden("request_id"));
    (tablet, token, id)
}

/// The same fields with others for some of them.
fn with<'a>(fields: &[(&'a str, &'a str)], more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let is_other = |name: &str| more.iter().any(|(other, _)| *other == name);
    let kept = fields.iter().filter(|(name, _)| !is_other(name)).copied();
    kept.chain(more.iter().copied()).collect()
}

/// Warm, from a safe reef, iced forty minutes ago.
const COOLING: [(&str, &str); 6] = [
    ("area", "Near Reef"),
    ("probe_1", "52"),
    ("probe_2", "49.5"),
    ("probe_3", "47"),
    ("iced_at", "14:20"),
    ("ice_around", "yes"),
];

fn shows(page: &Page, all: &[&str]) {
    for shown in all {
        assert!(page.html.contains(shown), "{shown}: {}", page.html);
    }
}

#[tokio::test]
async fn warm_fish_iced_forty_minutes_ago_is_bought_on_the_page_and_probed_again() {
    let server = dock().await;
    let (mut tablet, token, id) = tablet(&server).await;
    let warm = with(&tote(&token, &id, "check"), &COOLING);

    // Not iced, iced at no known time, without ice around it, or iced after it was weighed.
    for not_cooling in [
        [("iced_at", ""), ("ice_around", "")],
        [("iced_at", ""), ("ice_around", "yes")],
        [("iced_at", "14:20"), ("ice_around", "no")],
    ] {
        let refused = tablet.post("/weigh-in", &with(&warm, &not_cooling));
        assert_eq!(refused.status, 422, "{not_cooling:?}: {}", refused.html);
        shows(
            &refused,
            &["52 F at the warmest is above the limit of 41 F"],
        );
    }
    let ahead = tablet.post("/weigh-in", &with(&warm, &[("iced_at", "15:20")]));
    assert_eq!(ahead.status, 422);
    shows(&ahead, &["Iced at: lies ahead", "value=\"15:20\""]);
    let held = [
        ("iced_at", ""),
        ("ice_around", ""),
        ("decision", "2"),
        ("reason", "too warm"),
    ];
    let held = tablet.post("/weigh-in", &with(&warm, &held));
    assert_eq!(held.status, 200, "{}", held.html);

    let checked = tablet.post("/weigh-in", &warm);
    assert_eq!(checked.status, 200, "{}", checked.html);
    let again = "Probe it again by 2031-04-28 19:00";
    shows(&checked, &[again, "2031-04-28 14:20", "value=\"14:20\""]);
    // What is booked was written when it was looked at, however late it is sent.
    let turned = tablet.post("/weigh-in", &with(&warm, &[("do", "turn")]));
    let as_of = turned.hidden("as_of_us");
    let book = with(&warm, &[("do", "book"), ("as_of_us", &as_of)]);
    let booked = tablet.post("/weigh-in", &book);
    assert_eq!(booked.status, 303, "{}", booked.html);
    let slip = tablet.get(booked.header("location"));
    shows(
        &slip,
        &[
            again,
            "<dt>Iced at</dt><dd>2031-04-28 14:20</dd>",
            "<dt>Ice around the fish</dt><dd>yes</dd>",
            "52 F, 49.5 F, 47 F",
        ],
    );
    // At 14:25 on the next day 14:20 would be another time.
    set_clock(&server, "2031-04-29T14:25:00-04:00").await;
    let (mut tablet, token, _) = self::tablet(&server).await;
    let repeated = tablet.post("/weigh-in", &with(&book, &[("token", &token)]));
    assert_eq!(repeated.header("location"), booked.header("location"));
}

#[tokio::test]
async fn the_smallest_fish_is_measured_against_the_legal_length_and_never_passed_without_one() {
    let server = dock().await;
    let (mut tablet, token, id) = tablet(&server).await;
    let grouper = with(
        &tote(&token, &id, "check"),
        &[
            ("species", "GPR"),
            ("presentation", "3"),
            ("area", "Near Reef"),
            ("gross_1", "12.60"),
            ("pieces_1", "2"),
            ("length_unit", "in"),
        ],
    );
    // in     cm        answer  said of it
    for (smallest, unit, status, said) in [
        ("20", "in", 200, "<dt>passed</dt><dd>legal length"),
        ("50.8", "cm", 200, "<dt>passed</dt><dd>legal length"),
        (
            "19.999",
            "in",
            422,
            "19.999 in is below the legal length of 20 in",
        ),
        (
            "",
            "in",
            200,
            "the smallest fish was not measured; legal length 20 in",
        ),
        (
            "long",
            "in",
            422,
            "Smallest fish, length: is no length such as 12.5",
        ),
    ] {
        let seen = [("smallest", smallest), ("length_unit", unit)];
        let page = tablet.post("/weigh-in", &with(&grouper, &seen));
        assert_eq!(page.status, status, "{smallest}: {}", page.html);
        shows(&page, &[said]);
    }
    // Of a species without a legal length nothing is passed by measuring it.
    let lionfish = [
        ("area", "Near Reef"),
        ("smallest", "9"),
        ("length_unit", "in"),
    ];
    let page = tablet.post("/weigh-in", &with(&tote(&token, &id, "check"), &lionfish));
    assert_eq!(page.status, 200, "{}", page.html);
    shows(
        &page,
        &["<dt>not set</dt><dd>legal length", "<dd>9 in</dd>"],
    );
}

#[tokio::test]
async fn what_a_browser_kept_means_the_times_it_had_when_it_was_written() {
    let server = dock().await;
    // First read at 14:59, written at 15:00, and sent the day after.
    set_clock(&server, "2031-04-29T14:10:00-04:00").await;
    let (mut tablet, token, _) = tablet(&server).await;
    let kept = with(&tote(&token, "kept", ""), &COOLING);
    let kept = with(
        &kept,
        &[
            ("site", "1"),
            ("first_reading_us", "1935169140000000"),
            ("as_of_us", "1935169200000000"),
            ("sent_us", "1935252600000000"),
            ("offline_minor", "29400"),
            ("speared_at", "10:05"),
        ],
    );
    let sent = tablet.post("/weigh-in/queued", &kept);
    assert_eq!(sent.status, 200, "{}", sent.html);
    let told: Value = serde_json::from_str(&sent.html).unwrap();
    let slip = tablet.get(&format!("/tickets/{}", told["ticket"].as_str().unwrap()));
    shows(
        &slip,
        &[
            "Probe it again by 2031-04-28 18:59",
            "<dt>Iced at</dt><dd>2031-04-28 14:20</dd>",
            "<dt>First speared at</dt><dd>2031-04-28 10:05</dd>",
        ],
    );
}

#[tokio::test]
async fn the_contract_and_the_page_write_the_same_of_the_same_fish() {
    let server = dock().await;
    let (mut tablet, token, id) = tablet(&server).await;
    let mut ids = Vec::new();
    let seen = with(&COOLING, &[("speared_at", "10:05"), ("smallest", "9.25")]);
    let booked = tablet.post("/weigh-in", &with(&tote(&token, &id, "book"), &seen));
    ids.push(booked.header("location").replace("/tickets/", ""));
    let request: v1::RecordWeighInRequest = message(json!({
        "requestId": fresh(), "site": 1, "harvester": "wren-haldane",
        "confirmation": "CONFIRMATION_BY_DIVER",
        "landing": { "areas": [{ "system": "site", "code": "Near Reef" }] },
        "lots": [{
            "species": "PZO", "presentation": "PRESENTATION_WHOLE",
            "weighings": [{
                "grade": "A", "condition": "CONDITION_CLEAN",
                "tote": {
                    "gross": crate::harness::lb("45.60"), "tareReading": crate::harness::lb("3.60"),
                    "pieces": 30
                }
            }],
            "receiving": {
                "probes": fahrenheit(&["52", "49.5", "47"]),
                "firstSpearedAt": "2031-04-28T10:05:00-04:00",
                "icedAt": "2031-04-28T14:20:00-04:00",
                "iceAround": true,
                "smallestLength": { "decimal": "9.25", "unit": "LENGTH_UNIT_IN" }
            }
        }]
    }));
    let answer = server.service().await.record_weigh_in(request).await;
    ids.push(answer.unwrap().ticket.unwrap().id);
    let mut lots = Vec::new();
    for ticket in ids {
        let request = v1::GetTicketRequest { ticket };
        let mut client = IntakeServiceClient::new(server.channel().await);
        let got = client.get_ticket(request).await.unwrap();
        let lot = got.into_inner().ticket.unwrap().lots.remove(0);
        lots.push((lot.receiving, lot.findings, lot.reprobe_due_at));
    }
    assert!(lots[0].2.is_some(), "it is to be probed again");
    assert_eq!(lots[0], lots[1]);
}
