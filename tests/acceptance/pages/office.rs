//! The office's pages: a price list tried, mended and posted.

use super::*;

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
