//! What a party is owed, what is held and what was paid, deed by deed.

use askama::Template;
use axum::extract::State;
use axum::http::Uri;
use axum::response::Response;
use desk::{Desk, Statement};
use rules::money::Money;
use rules::office::Site;

use crate::form;
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer};
use crate::show;
use crate::tickets::Days;
use crate::visit::SignedIn;
use crate::words::Said;

#[derive(Template)]
#[template(path = "statement.html")]
struct Page {
    f: Frame,
    days: Days,
    /// Parties to choose from; empty where it is the caller's own.
    parties: Vec<(String, String)>,
    party: String,
    shown: Option<Shown>,
}

struct Shown {
    name: String,
    before: Vec<(&'static str, String)>,
    rows: Vec<Row>,
    owed: String,
    after: Vec<(&'static str, String)>,
    dues: Vec<(String, String)>,
    disputes: Vec<(String, String)>,
}

struct Row {
    day: String,
    what: &'static str,
    /// Ticket it is about; empty where there is none.
    ticket: String,
    weight: String,
    amounts: Vec<(&'static str, String)>,
    detail: Said,
}

/// `GET /statement`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn, uri: Uri) -> Response {
    answer(&who.visit, found(&house.desk, &who, &uri).await)
}

async fn found(desk: &Desk, who: &SignedIn, uri: &Uri) -> Result<Page, Refused> {
    let w = who.words();
    let site = who.site(desk).await?;
    let today = site.clock.day_of(desk.now_us().await?);
    let days = Days::asked(uri, today);
    let is_own = who.caller.role.is_own_only();
    let (party, parties) = if is_own {
        (who.caller.party.clone(), Vec::new())
    } else {
        let all = desk.parties(&who.caller).await?;
        let all = all.into_iter().map(|party| (party.code, party.name));
        (form::query(uri).get("party").to_owned(), all.collect())
    };
    let shown = match party.as_str() {
        "" => None,
        code => {
            let found = desk.statement(&who.caller, site.number, code, days.from, days.to);
            Some(shown(who, &site, &found.await?))
        }
    };
    let title = if is_own { w.my_statement } else { w.statement };
    Ok(Page {
        f: Frame::around(who, title),
        days,
        parties,
        party,
        shown,
    })
}

fn shown(who: &SignedIn, site: &Site, statement: &Statement) -> Shown {
    let (w, language) = (who.words(), who.language());
    let unit = who.unit(site);
    let row = |row: &desk::StatementRow| {
        let amounts = [
            (w.owed, row.owed),
            (w.held, row.held),
            (w.paid, row.paid),
            (w.taken_off, row.taken_off),
            (w.to_take_off, row.to_take_off),
        ];
        let amounts = amounts.map(|(name, money)| (name, show::money_unless_zero(money)));
        Row {
            day: show::day(row.pay_day),
            what: language.term(row.what),
            ticket: row.ticket.map_or_else(String::new, |id| id.to_string()),
            weight: row
                .weight
                .map_or_else(String::new, |of| show::weight(of, unit)),
            amounts: amounts
                .into_iter()
                .filter(|(_, money)| !money.is_empty())
                .collect(),
            detail: match row.what {
                // The name of a charge is what somebody called it.
                "charge" => (row.detail.clone(), true),
                _ => language.sentence(&row.detail),
            },
        }
    };
    let paid = statement
        .rows
        .iter()
        .try_fold(Money::zero(site.currency), |sum, row| {
            sum.checked_add(row.paid)
        });
    let mut after = vec![(w.held_after, statement.held_after.to_string())];
    if let Ok(paid) = paid {
        after.push((w.paid_in_days, paid.to_string()));
    }
    Shown {
        name: statement.party_name.clone(),
        before: vec![
            (w.owed_before, statement.owed_before.to_string()),
            (w.held_before, statement.held_before.to_string()),
        ],
        rows: statement.rows.iter().map(row).collect(),
        owed: statement.owed_after.to_string(),
        after,
        dues: statement
            .dues
            .iter()
            .map(|due| {
                let kind = if due.advance { w.advance } else { w.charge };
                (format!("{} ({kind})", due.name), due.left.to_string())
            })
            .collect(),
        disputes: statement
            .disputes
            .iter()
            .map(|found| {
                let asked = &found.booked.asked;
                (asked.ticket.to_string(), asked.text.clone())
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    fn sample(language: Language, role: Role, is_empty: bool) -> Page {
        let visit = Visit::sample(language, Some(role));
        let w = visit.words();
        let row = Row {
            day: "2031-05-02".to_owned(),
            what: language.term("ticket"),
            ticket: "2031050200010000003".to_owned(),
            weight: "40.75 lb".to_owned(),
            amounts: vec![(w.owed, "47.94 USD".to_owned())],
            detail: language.sentence("money order 200.00 USD (1042)"),
        };
        let pair = |a: &str, b: &str| vec![(a.to_owned(), b.to_owned())];
        Page {
            f: Frame::of(&visit, w.statement),
            days: Days {
                from: 20_310_428,
                to: 20_310_505,
            },
            parties: match role {
                Role::Diver => Vec::new(),
                _ => pair("wren-haldane", "Wren Haldane"),
            },
            party: "wren-haldane".to_owned(),
            shown: Some(Shown {
                name: "Wren Haldane".to_owned(),
                before: vec![(w.owed_before, "0.00 USD".to_owned())],
                rows: if is_empty { Vec::new() } else { vec![row] },
                owed: "47.94 USD".to_owned(),
                after: vec![(w.held_after, "0.00 USD".to_owned())],
                dues: pair("fuel (charge)", "180.00 USD"),
                disputes: pair("2031050200010000003", "I counted 31"),
            }),
        }
    }

    #[test]
    fn it_renders_full_and_empty_for_a_diver_and_the_office() {
        for language in Language::ALL {
            for role in [Role::Diver, Role::Office] {
                let page = sample(language, role, false);
                let html = page.render().unwrap();
                for shown in ["47.94 USD", "180.00 USD", "1042", "I counted 31"] {
                    assert!(html.contains(shown), "{shown}");
                }
                assert_eq!(html.contains("name=\"party\""), role == Role::Office);
                let page = sample(language, role, true);
                let html = page.render().unwrap();
                assert!(html.contains(page.f.w.nothing_in_days));
            }
        }
    }
}
