//! The HTML face of the desk: pages for the people at the scale, on the dock, at the
//! table and in the office.
//!
//! A GET reads the desk once and renders one template; a POST calls the same deed that
//! the gRPC method calls. Who may do what is decided at the desk. Pages are complete
//! without a script: what `page.js` adds is convenience. Nothing is asked of another
//! host, and nothing stands in a page that the strict content security policy of
//! [`door`] would not let in.

mod close;
mod components;
mod cut;
mod days;
mod door;
mod form;
mod frame;
mod home;
mod house;
mod keys;
mod look;
mod lot;
mod paper;
mod parties;
mod phrases;
mod plan;
mod price_form;
mod prices;
mod received;
mod refused;
mod scale;
mod show;
mod sign_in;
mod statement;
mod ticket;
mod tickets;
mod visit;
mod weigh_in;
mod words;
mod yields;

use axum::Router;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use desk::Desk;

use crate::house::House;

/// The pages of a desk, to be answered beside the contract. `is_secure` says whether
/// they are reached by TLS: then the session's cookie is sent by nothing else.
pub fn router(desk: &Desk, is_secure: bool) -> Router {
    let house = House::new(desk.clone(), is_secure);
    Router::new()
        .route("/", get(home::page))
        .route("/sign-in", get(sign_in::page).post(sign_in::by_key))
        .route("/sign-in/{link}", get(sign_in::link_page))
        .route("/sign-in/by-link", post(sign_in::by_link))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/language/{code}", get(visit::set_language))
        .route("/unit/{symbol}", get(visit::set_unit))
        .route("/site/{number}", get(visit::set_site))
        .route("/tickets", get(tickets::page))
        .route("/tickets/{id}", get(ticket::page))
        .route("/tickets/{id}/dispute", post(ticket::dispute))
        .route("/statement", get(statement::page))
        .route("/weigh-in", get(weigh_in::page).post(weigh_in::send))
        .route("/scales/{code}/reading", get(scale::reading))
        .route("/weigh-in/shell", get(weigh_in::shell))
        .route("/weigh-in/stock", get(weigh_in::stock))
        .route("/weigh-in/running", post(weigh_in::running))
        .route("/weigh-in/numbers", post(weigh_in::numbers))
        .route("/weigh-in/device", post(weigh_in::device))
        .route("/weigh-in/queued", post(weigh_in::queued))
        .route("/sw.js", get(weigh_in::worker))
        .route("/cut", get(cut::page).post(cut::record))
        .route("/yields", get(yields::page))
        .route("/yields/answer", post(yields::say))
        .route("/yields/{file}", get(yields::file))
        .route("/days", get(days::page))
        .route("/days/{day}", get(close::page))
        .route("/days/{day}/{file}", get(close::file))
        .route("/flags", get(close::flags_page))
        .route("/flags/{key}", post(close::see_to))
        .route("/lots", get(lot::search))
        .route("/lots/{code}", get(lot::page))
        .route("/plan", get(plan::page).post(plan::send))
        .route("/plan/{id}", get(plan::taken_page))
        .route("/prices", get(prices::page))
        .route("/prices/new", get(price_form::page).post(price_form::send))
        .route("/parties", get(parties::page).post(parties::record))
        .route("/keys", get(keys::page).post(keys::give))
        .route("/keys/{id}/link", post(keys::link))
        .route("/keys/{id}/revoke", post(keys::revoke))
        .route("/components", get(components::page))
        .route("/look/{file}", get(look::file))
        .fallback(refused::nothing_here)
        .method_not_allowed_fallback(refused::nothing_here)
        .layer(axum::extract::DefaultBodyLimit::max(form::LARGEST))
        .layer(from_fn_with_state(house.clone(), door::keep))
        .with_state(house)
}
