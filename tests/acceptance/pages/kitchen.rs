//! A kitchen's pages: a delivery chosen and cut, what it cost, and the fillet on hand.

use proto::v1::stock_service_client::StockServiceClient;
use serde_json::json;

use super::*;
use crate::harness::{lb, message};

/// A form as a browser sends it.
fn filled<'a>(page: &'a Page, step: &[(&'a str, &'a str)]) -> Vec<(&'a str, String)> {
    let hidden = ["token", "request_id", "unit"].map(|name| (name, page.hidden(name)));
    let typed = step.iter().map(|(a, b)| (*a, (*b).to_owned()));
    hidden.into_iter().chain(typed).collect()
}

fn post(browser: &mut Browser, path: &str, fields: &[(&str, String)]) -> Page {
    let fields: Vec<_> = fields.iter().map(|(a, b)| (*a, b.as_str())).collect();
    browser.post(path, &fields)
}

/// A lot of 42.00 lb.
async fn bought(server: &Server) -> String {
    let request = one_tote("45.60", "3.60", 30);
    let answer = server.service().await.record_weigh_in(request).await;
    let ticket = answer.unwrap().ticket.unwrap();
    ticket.lines[0].lot_code.clone()
}

#[tokio::test]
async fn a_kitchen_chooses_a_delivery_and_sees_what_its_fillet_cost_and_no_other_price() {
    let server = harbor().await;
    let lot = &bought(&server).await;
    let mut stock = StockServiceClient::new(server.channel().await);
    let sent = stock.record_movement(message::<v1::RecordMovementRequest>(json!({
        "requestId": fresh(), "site": 1, "outlet": "OUTLET_SOLD_WHOLE",
        "counterparty": "hill-kitchen",
        "taken": [{ "part": { "lotCode": lot }, "weight": lb("20.00") }],
        "price": { "decimal": "9.00", "currency": "USD", "per": "WEIGHT_UNIT_LB" },
        "temperature": { "decimal": "37.0", "unit": "TEMPERATURE_UNIT_FAHRENHEIT" }
    })));
    let movement = sent.await.unwrap().into_inner().recorded.unwrap().entry_id;

    let (_, secret) = key(&server, v1::Role::Kitchen, "hill-kitchen").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    let page = phone.get("/cut");
    let choice = format!("<option value=\"{movement}\"");
    assert!(page.html.contains(&choice), "{}", page.html);
    assert!(
        page.html.contains("Lionfish, whole, 20.00 lb"),
        "{}",
        page.html
    );
    let cut = [
        ("from_1", movement.as_str()),
        ("in_1", "20.00"),
        ("out_6", "5.00"),
        ("specification", "skinless"),
        ("minutes", "30"),
    ];
    let done = post(&mut phone, "/cut", &filled(&page, &cut));
    assert_eq!(done.status, 200, "{}", done.html);
    assert!(done.html.contains("25.00 %"), "{}", done.html);

    // 20.00 lb at 9.00 are 180.00, and 5.00 lb came out: 36.00 a pound.
    set_clock(&server, "2031-04-29T09:00:00-04:00").await;
    server.night("2031-04-28", &[]);
    phone.sign_in(&secret);
    let yields = phone.get("/yields").html;
    let costs = yields.split_once("id=\"costs\"").expect("what it cost").1;
    assert!(
        costs.contains("180.00 USD") && costs.contains("36.00 USD/lb"),
        "{costs}"
    );
    // A plate is 0.375 lb cooked, a fifth of the raw lost: 0.46875 lb raw, 10 plates of 16.88.
    assert!(costs.contains("16.88 USD"), "{costs}");
    // Neither the dock's price nor what the ticket paid.
    assert!(
        !yields.contains("7.00") && !yields.contains("294.00"),
        "{yields}"
    );

    // Another kitchen sees neither the delivery nor the cost.
    let (_, secret) = key(&server, v1::Role::Kitchen, "varnley-kitchen").await;
    let mut other = Browser::at(&server);
    other.sign_in(&secret);
    assert!(!other.get("/cut").html.contains(&movement));
    assert!(!other.get("/yields").html.contains("id=\"costs\""));
}

#[tokio::test]
async fn fillet_cut_at_the_own_table_is_on_hand_until_it_leaves() {
    let server = harbor().await;
    let lot = &bought(&server).await;
    let (_, secret) = key(&server, v1::Role::Office, "").await;
    let mut desk = Browser::at(&server);
    desk.sign_in(&secret);
    let page = desk.get("/cut");
    assert!(!page.html.contains("id=\"fillet\""), "{}", page.html);
    let cutter = page.html.split_once("name=\"cutter\"").unwrap().1;
    let cutter = cutter.split("<option value=\"").nth(2).unwrap();
    let cutter = cutter.split('"').next().unwrap().to_owned();
    let cut = [
        ("from_1", lot.as_str()),
        ("in_1", "20.00"),
        ("out_6", "5.00"),
        ("specification", "skinless"),
        ("minutes", "30"),
        ("cutter", cutter.as_str()),
        ("storage", "1"),
    ];
    let done = post(&mut desk, "/cut", &filled(&page, &cut));
    assert_eq!(done.status, 200, "{}", done.html);
    let on_hand = |page: &Page| {
        let rest = page.html.split_once("id=\"fillet\"");
        rest.map_or_else(String::new, |(_, rest)| rest.to_owned())
    };
    let before = on_hand(&desk.get("/cut"));
    assert!(
        before.contains("Lionfish, fillet skinless") && before.contains("5.00 lb"),
        "{before}"
    );
    // The night leaves it; four days later it is old.
    set_clock(&server, "2031-05-03T09:00:00-04:00").await;
    server.night("2031-04-28", &[]);
    desk.sign_in(&secret);
    let old = on_hand(&desk.get("/cut"));
    assert!(
        old.contains("5.00 lb") && old.contains("older than"),
        "{old}"
    );

    // A customer's kitchen has nothing there to see.
    let (_, secret) = key(&server, v1::Role::Kitchen, "hill-kitchen").await;
    let mut phone = Browser::at(&server);
    phone.sign_in(&secret);
    assert_eq!(on_hand(&phone.get("/cut")), "");
}
