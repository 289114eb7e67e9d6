//! The tickets of some days: a diver's own, or everybody's.

use askama::Template;
use axum::extract::State;
use axum::http::Uri;
use axum::response::Response;
use chrono::NaiveDate;
use desk::{Desk, TicketFound, TicketRange};
use rules::business_day::{date_of, day_number};
use rules::office::Site;

use crate::form;
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer};
use crate::show;
use crate::visit::SignedIn;

/// Most tickets on a page.
const MOST: i64 = 200;
/// Days looked back over where none are said.
const DAYS: u64 = 30;

#[derive(Template)]
#[template(path = "tickets.html")]
struct Page {
    f: Frame,
    days: Days,
    rows: Vec<Row>,
}

struct Row {
    id: String,
    day: String,
    harvester: String,
    net: String,
    /// The payout, or only the caller's share of it.
    money: String,
    state: &'static str,
    is_ended: bool,
}

/// Business days, half-open, as a page asks for them.
pub(crate) struct Days {
    pub(crate) from: i64,
    pub(crate) to: i64,
}

impl Days {
    /// As asked, else the last [`DAYS`] up to today.
    pub(crate) fn asked(uri: &Uri, today: i64) -> Days {
        let fields = form::query(uri);
        let read = |name: &str| fields.get(name).parse::<NaiveDate>().ok().map(day_number);
        let last = date_of(today).and_then(|date| date.succ_opt());
        let to = read("to").or(last.map(day_number)).unwrap_or(today);
        let back = |to: i64| {
            date_of(to)?
                .checked_sub_days(chrono::Days::new(DAYS))
                .map(day_number)
        };
        let from = read("from").or_else(|| back(to)).unwrap_or(to);
        Days { from, to }
    }

    pub(crate) fn first_text(&self) -> String {
        show::day(self.from)
    }

    pub(crate) fn end_text(&self) -> String {
        show::day(self.to)
    }
}

/// `GET /tickets`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn, uri: Uri) -> Response {
    let page = found(&house.desk, &who, &uri).await;
    answer(&who.visit, page)
}

async fn found(desk: &Desk, who: &SignedIn, uri: &Uri) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    let today = site.clock.day_of(desk.now_us().await?);
    let days = Days::asked(uri, today);
    let range = TicketRange {
        site: site.number,
        from: days.from,
        to: days.to,
        harvester: String::new(),
        after: 0,
        limit: MOST,
    };
    let mut tickets = desk.tickets(&who.caller, range).await?;
    // Newest first: a phone shows the top.
    tickets.reverse();
    Ok(shown(who, &site, days, &tickets))
}

fn shown(who: &SignedIn, site: &Site, days: Days, tickets: &[TicketFound]) -> Page {
    let w = who.words();
    let title = match who.caller.role {
        desk::Role::Diver => w.my_tickets,
        _ => w.tickets,
    };
    let unit = who.unit(site);
    let row = |found: &TicketFound| {
        let ticket = &found.booked.outcome;
        let money = match &found.shared_with {
            None => Some(ticket.payout),
            Some(party) => {
                let mut shares = ticket.shares.iter();
                let own = shares.find(|share| share.party == *party);
                own.and_then(|own| own.owed.checked_add(own.held).ok())
            }
        };
        Row {
            id: found.booked.entry.to_string(),
            day: show::day(found.booked.entry.day()),
            // A diver knows who that is, unless the ticket is another's they share.
            harvester: match found.booked.asked.harvester == who.caller.party {
                true => String::new(),
                false => found.booked.asked.harvester.clone(),
            },
            net: show::weight(ticket.lines.iter().map(|line| line.net).sum(), unit),
            money: money.map_or_else(String::new, |money| money.to_string()),
            state: match &found.ended {
                None => w.stands,
                Some(ended) if ended.voided => w.voided,
                Some(_) => w.rewritten,
            },
            is_ended: found.ended.is_some(),
        }
    };
    Page {
        f: Frame::around(who, title),
        days,
        rows: tickets.iter().map(row).collect(),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn days_are_the_last_thirty_where_none_are_said() {
        let uri = |text: &str| text.parse::<Uri>().unwrap();
        let days = Days::asked(&uri("/tickets"), 20_310_502);
        assert_eq!((days.from, days.to), (20_310_403, 20_310_503));
        let days = Days::asked(&uri("/tickets?from=2031-04-28&to=2031-05-01"), 20_310_502);
        assert_eq!((days.from, days.to), (20_310_428, 20_310_501));
        let days = Days::asked(&uri("/tickets?from=tomorrow&to=2031-05-01"), 20_310_502);
        assert_eq!((days.from, days.to), (20_310_401, 20_310_501));
    }
}
