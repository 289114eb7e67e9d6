//! Entries that a browser kept without signal: who may send them, that each is booked
//! once, what binds, and that the close knows of those that are left.

use proto::v1;
use serde_json::Value;

use super::{Browser, Page, key, tote};
use crate::harness::{Server, harbor};

const DEVICE: &str = "page-0a1b2c3d";

fn json(page: &Page) -> Value {
    assert_eq!(page.header("content-type"), "application/json");
    serde_json::from_str(&page.html).unwrap()
}

/// A buyer's tablet that is signed in, and the token of its session.
async fn tablet(server: &Server) -> (Browser, String) {
    let (_, secret) = key(server, v1::Role::Buyer, "").await;
    let mut tablet = Browser::at(server);
    tablet.sign_in(&secret);
    let stock = json(&tablet.get("/weigh-in/stock"));
    (tablet, stock["token"].as_str().unwrap().to_owned())
}

/// Numbers for the tablet.
fn reserved(tablet: &mut Browser, token: &str) -> Vec<String> {
    let asked = [
        ("token", token),
        ("request_id", "numbers"),
        ("site", "1"),
        ("device", DEVICE),
        ("count", "50"),
    ];
    let told = json(&tablet.post("/weigh-in/numbers", &asked));
    let numbers = told["numbers"].as_array().unwrap();
    numbers
        .iter()
        .map(|number| number.as_str().unwrap().to_owned())
        .collect()
}

/// An entry as a browser sends it; 42.00 lb at 7.00.
fn entry<'a>(
    token: &'a str,
    id: &'a str,
    number: &'a str,
    shown: &'a str,
) -> Vec<(&'a str, &'a str)> {
    let mut fields = tote(token, id, "");
    fields.extend([
        ("site", "1"),
        ("device", DEVICE),
        ("lot_number", number),
        // 2031-04-28 14:59:00 in New York, and sent a minute later.
        ("first_reading_us", "1935169140000000"),
        ("sent_us", "1935169200000000"),
        ("offline_minor", shown),
    ]);
    fields
}

#[tokio::test]
async fn an_entry_that_a_browser_kept_is_booked_once_under_its_number() {
    let server = harbor().await;
    let (mut tablet, token) = tablet(&server).await;
    let numbers = reserved(&mut tablet, &token);
    assert_eq!(numbers.len(), 50);
    assert_eq!(
        reserved(&mut tablet, &token),
        numbers,
        "asked twice, given once"
    );
    let first = tablet.post(
        "/weigh-in/queued",
        &entry(&token, "one", &numbers[0], "29400"),
    );
    assert_eq!(first.status, 200, "{}", first.html);
    let told = json(&first);
    assert_eq!(told["payout"], "294.00 USD");
    assert_eq!(told["difference"], Value::Null);
    let slip = tablet.get(&format!("/tickets/{}", told["ticket"].as_str().unwrap()));
    assert!(slip.html.contains(&numbers[0]), "{}", slip.html);

    // Its answer was lost: sent again, also later, it gets the same one.
    let mut again = entry(&token, "one", &numbers[0], "29400");
    again.retain(|(name, _)| *name != "sent_us");
    again.push(("sent_us", "1935169260000000"));
    let repeated = tablet.post("/weigh-in/queued", &again);
    assert_eq!((repeated.status, &repeated.html), (200, &first.html));
    let tickets = tablet.get("/tickets").html;
    assert_eq!(tickets.matches("href=\"/tickets/").count(), 1);

    // Another may not bear its number, nor one that nobody gave this browser.
    for (number, rule) in [(numbers[0].as_str(), "another ticket"), ("7", "no block")] {
        let refused = tablet.post("/weigh-in/queued", &entry(&token, "two", number, ""));
        assert_eq!(refused.status, 422, "{}", refused.html);
        let told = json(&refused);
        assert_eq!(told["field"], "lot_number");
        assert!(told["rule"].as_str().unwrap().contains(rule), "{told}");
    }
    // What the diver was shown binds, and the difference is told.
    let shown = tablet.post(
        "/weigh-in/queued",
        &entry(&token, "three", &numbers[1], "30000"),
    );
    let told = json(&shown);
    assert_eq!(
        (told["payout"].as_str(), told["difference"].as_str()),
        (Some("300.00 USD"), Some("6.00 USD"))
    );
}

#[tokio::test]
async fn only_a_page_of_a_session_that_weighs_in_is_answered() {
    let server = harbor().await;
    let (mut tablet, token) = tablet(&server).await;
    let paths = ["running", "numbers", "device", "queued"];
    for path in paths.map(|path| format!("/weigh-in/{path}")) {
        let other = tablet.post(&path, &entry("another", "one", "", ""));
        assert_eq!(other.status, 403, "{path}: {}", other.html);
        assert_eq!(json(&other)["other_session"], true);
        let nobody = Browser::at(&server).post(&path, &entry(&token, "one", "", ""));
        assert_eq!(nobody.status, 401, "{path}: {}", nobody.html);
        assert_eq!(json(&nobody)["signed_out"], true);
    }
    assert_eq!(Browser::at(&server).get("/weigh-in/stock").status, 401);
    // A diver has none of it, and is told so as of anything that is not there.
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let token = phone.get("/").hidden("token");
    assert_eq!(phone.get("/weigh-in/stock").status, 404);
    for path in paths.map(|path| format!("/weigh-in/{path}")) {
        let refused = phone.post(&path, &entry(&token, "one", "", ""));
        assert_eq!(refused.status, 404, "{path}: {}", refused.html);
    }
    // What a browser keeps to open again is the same for everybody and names nobody.
    let shell = tablet.get("/weigh-in/shell");
    assert_eq!(shell.html, Browser::at(&server).get("/weigh-in/shell").html);
    assert!(!shell.html.contains("wren"), "{}", shell.html);
    let worker = tablet.get("/sw.js");
    assert_eq!(worker.header("cache-control"), "no-cache");
    assert!(
        worker
            .header("content-security-policy")
            .contains("worker-src 'self'")
    );
}

#[tokio::test]
async fn a_browser_says_what_it_has_as_itself_and_the_close_knows() {
    let server = harbor().await;
    let (mut tablet, token) = tablet(&server).await;
    let said = |device: &'static str, more: &[(&'static str, &'static str)]| {
        let base = [("site", "1"), ("device", device), ("queued", "3")];
        [more, &base].concat()
    };
    let mut tell = |path: &str, id: &str, more: Vec<(&str, &str)>| {
        let own = [("token", token.as_str()), ("request_id", id)];
        tablet.post(path, &[&own[..], &more].concat())
    };
    // A device of the office's is not a browser's to be.
    for device in ["dock-tablet-2", "page-0a1b2c3", "page-0A1B2C3D", ""] {
        let id = format!("of-{device}");
        let refused = tell("/weigh-in/numbers", &id, said(device, &[]));
        assert_eq!(refused.status, 422, "{device}: {}", refused.html);
    }
    let unknown = tell("/weigh-in/device", "w0", said(DEVICE, &[]));
    assert_eq!(unknown.status, 422, "nobody heard of it: {}", unknown.html);
    let given = tell("/weigh-in/numbers", "n", said(DEVICE, &[("count", "1")]));
    assert_eq!(json(&given)["numbers"].as_array().unwrap().len(), 1);

    let opened = json(&tell("/weigh-in/device", "w1", said(DEVICE, &[])));
    let open = opened["open"].as_str().unwrap().to_owned();
    let gap = format!("Device {DEVICE} said it holds 3 more than has come in.");
    let night = |server: &Server| crate::harness::said(&server.night("2031-04-28", &["--dry-run"]));
    let told = night(&server);
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains(&gap), "{gap}: {told}");
    for (id, other) in [("w2", "1"), ("w3", "2031042800010000001")] {
        let more = [("open", other), ("resolved", "3")];
        let refused = tell(
            "/weigh-in/device",
            id,
            [&said(DEVICE, &[])[..], &more].concat(),
        );
        assert_eq!(refused.status, 422, "{other} is no word: {}", refused.html);
    }
    let more = [("open", open.as_str()), ("resolved", "3")];
    let ended = tell(
        "/weigh-in/device",
        "w4",
        [&said(DEVICE, &[])[..], &more].concat(),
    );
    assert_eq!(ended.status, 200, "{}", ended.html);
    let told = night(&server);
    assert!(
        told.contains("2031-04-28") && !told.contains("said it holds"),
        "{told}"
    );
}
