//! The office's pages: a price list tried, mended and posted; a plan for small fish.

use proto::v1::outlet_service_client::OutletServiceClient;
use serde_json::json;

use super::*;
use crate::harness::{lb, message};
use crate::week::close_of;

/// Two bands of whole grade A fish, the second from `second` on.
fn two_bands<'a>(
    token: &'a str,
    id: &'a str,
    second: &'a str,
    step: &'a str,
) -> Vec<(&'a str, &'a str)> {
    vec![
        ("token", token),
        ("request_id", id),
        ("do", step),
        ("sheets", "1"),
        ("rows", "4"),
        ("species", "PZO"),
        ("unit", "lb"),
        ("edges", "lb"),
        ("band_by", "1"),
        ("form_1", "1"),
        ("grade_1", "A"),
        ("plate_1", "0.50"),
        ("from_1_1", "0"),
        ("to_1_1", "0.50"),
        ("price_1_1", "1.50"),
        ("name_1_1", "little ones"),
        ("from_1_2", second),
        ("price_1_2", "6.25"),
        ("name_1_2", "the rest"),
    ]
}

#[tokio::test]
async fn a_price_list_with_a_gap_is_refused_and_mended_tried_and_posted_once() {
    let server = harbor().await;
    let ticket = weigh_in(&server, "wren-haldane").await;
    set_clock(&server, "2031-04-29T09:00:00-04:00").await;
    let (_, secret) = key(&server, v1::Role::Office, "").await;
    let mut desk = Browser::at(&server);
    desk.sign_in(&secret);
    let page = desk.get("/prices/new?species=PZO");
    assert_eq!(page.status, 200, "{}", page.html);
    // It begins from the list that holds: 7.00 a pound from 1.00 lb up.
    assert!(page.html.contains("value=\"7.00\""), "{}", page.html);
    let (token, id) = (page.hidden("token"), page.hidden("request_id"));

    for step in ["check", "post"] {
        let gap = desk.post("/prices/new", &two_bands(&token, &id, "0.60", step));
        assert_eq!(gap.status, 422, "{}", gap.html);
        let said = "whole, grade A: nothing is paid from 0.50 lb to 0.60 lb";
        assert!(gap.html.contains(said), "{}", gap.html);
        assert!(gap.html.contains("value=\"little ones\""), "still there");
    }
    desk.get("/language/es");
    let gap = desk.post("/prices/new", &two_bands(&token, &id, "0.60", "check"));
    let said =
        "<p><strong>entero, calidad A: no se paga nada desde 0.50 lb hasta 0.60 lb</strong></p>";
    assert!(gap.html.contains(said), "{}", gap.html);
    desk.get("/language/en");
    let checked = desk.post("/prices/new", &two_bands(&token, &id, "0.50", "check"));
    assert_eq!(checked.status, 200, "{}", checked.html);
    // The ticket of 42.00 lb paid 294.00 at 7.00, and would have paid 6.25 x 42.00.
    let again = &checked.html[checked.html.find(&ticket).expect("the ticket again")..];
    assert!(
        again.contains("294.00 USD") && again.contains("262.50 USD"),
        "{again}"
    );
    assert!(
        !desk.get("/prices").html.contains("little ones"),
        "nothing is posted by that"
    );

    for _ in 0..2 {
        let posted = desk.post("/prices/new", &two_bands(&token, &id, "0.50", "post"));
        let to = (posted.status, posted.header("location"));
        assert_eq!(to, (303, "/prices"), "{}", posted.html);
    }
    let lists = desk.get("/prices").html;
    assert_eq!(lists.matches("little ones").count(), 1, "{lists}");
    assert!(lists.contains("6.25 USD/lb"), "{lists}");
}

#[tokio::test]
async fn a_buyer_tries_a_price_list_and_does_not_post_it_and_a_diver_has_no_such_page() {
    let server = harbor().await;
    let (_, secret) = key(&server, v1::Role::Buyer, "").await;
    let mut tablet = Browser::at(&server);
    tablet.sign_in(&secret);
    let page = tablet.get("/prices/new?species=PZO");
    let (token, id) = (page.hidden("token"), page.hidden("request_id"));
    let checked = tablet.post("/prices/new", &two_bands(&token, &id, "0.50", "check"));
    assert_eq!(checked.status, 200, "{}", checked.html);
    assert!(!checked.html.contains("value=\"post\""), "{}", checked.html);
    let refused = tablet.post("/prices/new", &two_bands(&token, &id, "0.50", "post"));
    assert_eq!(refused.status, 404);
    assert!(!tablet.get("/prices").html.contains("little ones"));

    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let prices = phone.get("/prices");
    assert!(!prices.html.contains("/prices/new"), "{}", prices.html);
    assert_eq!(phone.get("/prices/new").status, 404);
}

/// A place for small fish on file.
async fn room(server: &Server, code: &str, name: &str, kind: v1::RoomKind, pounds: &str) {
    let mut outlets = OutletServiceClient::new(server.channel().await);
    let request: v1::RecordRoomRequest = message(json!({
        "requestId": fresh(),
        "room": {
            "site": 1, "code": code, "name": name, "kind": kind.as_str_name(),
            "weight": lb(pounds), "standing": true
        }
    }));
    outlets.record_room(request).await.unwrap();
}

#[tokio::test]
async fn small_fish_is_planned_pinned_with_what_that_costs_and_the_plan_taken_once() {
    let server = harbor().await;
    room(
        &server,
        "freezer",
        "The cold chest",
        v1::RoomKind::Freezer,
        "3.00",
    )
    .await;
    room(
        &server,
        "crew",
        "Supper of the crew",
        v1::RoomKind::CrewUse,
        "5.00",
    )
    .await;
    // 8.00 lb of 20 fish, 0.40 lb each.
    let small = one_tote("12.00", "4.00", 20);
    let ticket = server.service().await.record_weigh_in(small).await;
    let lot = ticket.unwrap().ticket.unwrap().lines[0].lot_code.clone();
    let part = format!("{lot}/1");
    let (_, secret) = key(&server, v1::Role::Office, "").await;
    let mut desk = Browser::at(&server);
    desk.sign_in(&secret);
    let plan = desk.get("/plan");
    for shown in ["The cold chest", "Supper of the crew", &part, "8.00 lb"] {
        assert!(plan.html.contains(shown), "{shown}: {}", plan.html);
    }
    let [token, id, digest] = ["token", "request_id", "digest"].map(|name| plan.hidden(name));
    let choice = |step: &'static str, reason: &'static str| {
        vec![
            ("token", token.clone()),
            ("request_id", "choose-1".to_owned()),
            ("do", step.to_owned()),
            ("part", part.clone()),
            ("kind", "2".to_owned()),
            ("room", "crew".to_owned()),
            ("unit", "lb".to_owned()),
            ("weight", String::new()),
            ("reason", reason.to_owned()),
        ]
    };
    let post = |desk: &mut Browser, fields: &[(&str, String)]| {
        let fields: Vec<_> = fields.iter().map(|(a, b)| (*a, b.as_str())).collect();
        desk.post("/plan", &fields)
    };

    // Supposed, the crew's 5.00 lb are kept from nobody: 3.00 lb instead of 8.00.
    let supposed = post(&mut desk, &choice("what_if", "they have meat"));
    assert_eq!(supposed.status, 200, "{}", supposed.html);
    let both = supposed.html.split_once("Nothing was written").unwrap().1;
    let (without, with) = both.split_once("</dl>").unwrap();
    assert!(without.contains("8.00 lb"), "{without}");
    assert!(
        with.split_once("</dl>").unwrap().0.contains("3.00 lb"),
        "{with}"
    );
    assert!(
        !desk.get("/plan").html.contains("they have meat"),
        "nothing is written by that"
    );
    let refused = post(&mut desk, &choice("record", ""));
    assert_eq!(refused.status, 422, "{}", refused.html);
    assert!(
        refused.html.contains("Reason: is needed"),
        "{}",
        refused.html
    );

    for _ in 0..2 {
        let chosen = post(&mut desk, &choice("record", "they have meat"));
        assert_eq!(
            (chosen.status, chosen.header("location")),
            (303, "/plan"),
            "{}",
            chosen.html
        );
    }
    let after = desk.get("/plan");
    assert_eq!(after.html.matches("they have meat").count(), 1);
    assert!(
        after.html.contains("5.00 lb kept"),
        "what it costs: {}",
        after.html
    );

    // The plan that was looked at first is no longer the plan.
    let take = |id: &str, digest: &str| {
        vec![
            ("token", token.clone()),
            ("request_id", id.to_owned()),
            ("do", "take".to_owned()),
            ("digest", digest.to_owned()),
        ]
    };
    let stale = post(&mut desk, &take(&id, &digest));
    assert_eq!(stale.status, 422, "{}", stale.html);
    assert!(stale.html.contains("look at it again"), "{}", stale.html);
    let digest = after.hidden("digest");
    let mut places = Vec::new();
    for _ in 0..2 {
        let taken = post(&mut desk, &take("take-1", &digest));
        assert_eq!(taken.status, 303, "{}", taken.html);
        places.push(taken.header("location").to_owned());
    }
    assert_eq!(places[0], places[1]);
    let taken = desk.get(&places[0]).html;
    assert!(
        taken.contains("Line 1: The cold chest") && !taken.contains("value=\"take\""),
        "{taken}"
    );
    assert_eq!(desk.get("/plan/2031042800010009999").status, 404);

    // Who only reads the book sees it and decides nothing; a diver sees none of it.
    let (_, secret) = key(&server, v1::Role::Auditor, "").await;
    let mut reader = Browser::at(&server);
    reader.sign_in(&secret);
    let seen = reader.get("/plan").html;
    assert!(
        seen.contains("The cold chest") && !seen.contains("name=\"reason\""),
        "{seen}"
    );
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    assert_eq!(phone.get("/plan").status, 404);
}

#[tokio::test]
async fn somebody_is_put_on_file_once_and_what_is_wrong_is_said_with_the_form_kept() {
    let server = harbor().await;
    let (_, secret) = key(&server, v1::Role::Office, "").await;
    let mut desk = Browser::at(&server);
    desk.sign_in(&secret);
    let page = desk.get("/parties");
    let [token, id] = ["token", "request_id"].map(|name| page.hidden(name));
    let form = |code: &'static str, licence: &'static str| {
        vec![
            ("token", token.clone()),
            ("request_id", id.clone()),
            ("name", "Ada Quist".to_owned()),
            ("code", code.to_owned()),
            ("role_2", "yes".to_owned()),
            ("role_3", "yes".to_owned()),
            ("licence", licence.to_owned()),
            ("expires", "2031-12-31".to_owned()),
        ]
    };
    let send = |desk: &mut Browser, fields: &[(&str, String)]| {
        let fields: Vec<_> = fields.iter().map(|(a, b)| (*a, b.as_str())).collect();
        desk.post("/parties", &fields)
    };
    let refused = send(&mut desk, &form("Ada Quist", "QH-77"));
    assert_eq!(refused.status, 422, "{}", refused.html);
    assert!(
        refused.html.contains("Code: is 1 to 24"),
        "{}",
        refused.html
    );
    assert!(refused.html.contains("value=\"QH-77\""), "still there");
    for _ in 0..2 {
        let done = send(&mut desk, &form("ada-quist", "QH-77"));
        assert_eq!(
            (done.status, done.header("location")),
            (303, "/parties"),
            "{}",
            done.html
        );
    }
    let all = desk.get("/parties").html;
    assert_eq!(all.matches("/parties?code=ada-quist").count(), 1);
    // She can be weighed in at once, and a newer licence takes the place of the older.
    assert!(
        desk.get("/weigh-in")
            .html
            .contains("<option value=\"ada-quist\"")
    );
    let page = desk.get("/parties?code=ada-quist");
    assert!(page.html.contains("value=\"QH-77\""), "{}", page.html);
    let mut again = form("ada-quist", "QH-78");
    again[1].1 = page.hidden("request_id");
    assert_eq!(send(&mut desk, &again).status, 303);
    let all = desk.get("/parties").html;
    assert!(all.contains("QH-78") && !all.contains("QH-77"), "{all}");

    let (_, secret) = key(&server, v1::Role::Buyer, "").await;
    let mut tablet = Browser::at(&server);
    tablet.sign_in(&secret);
    let mut own = form("ada-quist", "QH-79");
    own[0].1 = tablet.get("/").hidden("token");
    assert_eq!(
        send(&mut tablet, &own).status,
        404,
        "a buyer puts nobody on file"
    );
}

#[tokio::test]
async fn a_days_page_tells_what_it_lost_and_its_charts_are_saved() {
    let server = Server::start();
    send_week(&server, Way::CatchUp).await;
    let close = close_of(&server.service().await, "2031-04-30", 0).await;
    let (_, secret) = key(&server, v1::Role::Office, "").await;
    let mut desk = Browser::at(&server);
    desk.sign_in(&secret);
    let page = desk.get("/days/2031-04-30").html;

    let shown = |money: &Option<v1::Money>| {
        let minor = money.as_ref().unwrap().amount_minor;
        let sign = if minor < 0 { "-" } else { "" };
        format!("{sign}{}.{:02}", minor.abs() / 100, minor.abs() % 100)
    };
    let by_whom = |loss: &&v1::YieldLoss| loss.by() != v1::LossBy::Part;
    let losses: Vec<_> = close.losses.iter().filter(by_whom).collect();
    assert!(!losses.is_empty(), "a day on which yields were low");
    for loss in losses {
        let (lost, fillet) = (shown(&loss.material), loss.missing_fillet.as_ref().unwrap());
        assert!(
            page.contains(&format!("<strong>{lost} USD</strong>")),
            "{page}"
        );
        assert!(
            page.contains(&format!("missing: {} lb", fillet.shown)),
            "{page}"
        );
    }
    assert!(!close.small_fish.is_empty(), "small fish was cut");
    for fish in &close.small_fish {
        let even = fish.break_even.as_ref();
        let even = even.map_or_else(|| "never".to_owned(), |even| format!("{} lb (", even.shown));
        assert!(page.contains(&fish.band) && page.contains(&even), "{page}");
    }

    let saved = desk.get("/days/2031-04-30/causes.csv");
    assert_eq!(
        saved.header("content-disposition"),
        "attachment; filename=\"causes.csv\""
    );
    assert!(close.loss_causes.len() > 2, "{:?}", close.loss_causes);
    for cause in &close.loss_causes {
        let mut rows = saved.html.lines();
        let row = rows.find(|row| row.starts_with(&cause.cause));
        let row = row.unwrap_or_else(|| panic!("{}: {}", cause.cause, saved.html));
        assert!(row.contains(&shown(&cause.value)), "{row}");
    }
    let drawn = desk.get("/days/2031-04-30/balance.svg");
    assert_eq!(drawn.header("content-type"), "image/svg+xml");
    assert!(drawn.html.starts_with("<svg") && drawn.html.contains("</desc>"));

    for file in ["causes.png", "nothing.svg", "causes"] {
        assert_eq!(
            desk.get(&format!("/days/2031-04-30/{file}")).status,
            404,
            "{file}"
        );
    }
    let (_, secret) = key(&server, v1::Role::Diver, "wren-haldane").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    assert_eq!(phone.get("/days/2031-04-30/causes.csv").status, 404);
}
