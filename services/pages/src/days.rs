//! The days of a site, newest first, and which of them were closed.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use desk::Desk;

use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer};
use crate::show;
use crate::visit::SignedIn;

/// Most days on the page.
const MOST: usize = 120;

#[derive(Template)]
#[template(path = "days_closed.html")]
struct Page {
    f: Frame,
    rows: Vec<Row>,
}

struct Row {
    day: String,
    /// 0 where it was not closed.
    revision: i64,
    is_behind: bool,
}

/// `GET /days`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    answer(&who.visit, found(&house.desk, &who).await)
}

async fn found(desk: &Desk, who: &SignedIn) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    let days = desk.days(&who.caller, site.number).await?;
    let row = |found: desk::DayFound| Row {
        day: show::day(found.day),
        revision: found.revision,
        is_behind: found.is_behind,
    };
    Ok(Page {
        f: Frame::around(who, who.words().days),
        rows: days.into_iter().take(MOST).map(row).collect(),
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    #[test]
    fn it_renders_full_and_empty_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let row = |day: &str, revision, is_behind| Row {
                day: day.to_owned(),
                revision,
                is_behind,
            };
            let page = |rows| Page {
                f: Frame::of(&visit, w.days),
                rows,
            };
            let full = page(vec![
                row("2031-05-03", 0, false),
                row("2031-05-02", 2, true),
            ]);
            let html = full.render().unwrap();
            assert!(html.contains("href=\"/days/2031-05-02\"") && html.contains(w.entered_since));
            assert!(!html.contains("href=\"/days/2031-05-03\"") && html.contains(w.not_closed));
            assert!(page(Vec::new()).render().unwrap().contains(w.no_days));
        }
    }
}
