//! A day's close: the balance, the money, and its flags, most at stake first, each to be
//! seen to with a reason. What the night worked out does not change by that.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use chrono::NaiveDate;
use desk::access::{Reach, reach};
use desk::{AcknowledgeAsked, CloseFound, Desk, FlagFound, FlagRange};
use rules::business_day::day_number;
use rules::money::Money;
use rules::office::Site;

use crate::form::{self, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::paper::{self, Drawn};
use crate::refused::{Refused, answer};
use crate::show;
use crate::visit::{SignedIn, own_path, see};

/// Longest that a reason may be.
const LONGEST: usize = 1000;

#[derive(Template)]
#[template(path = "close.html")]
struct Page {
    f: Frame,
    facts: Vec<(&'static str, String)>,
    chart: Option<Drawn>,
    flags: Vec<Flag>,
    payouts: Vec<(String, String, String)>,
    remarks: Vec<String>,
}

#[derive(Template)]
#[template(path = "flags.html")]
struct FlagsPage {
    f: Frame,
    flags: Vec<Flag>,
}

struct Flag {
    key: String,
    day: String,
    text: String,
    next_step: &'static str,
    weight: String,
    value: String,
    evidence: Vec<String>,
    is_gap: bool,
    is_gone: bool,
    seen: Vec<String>,
    /// The id of a form's request; empty where they may not see to it.
    request_id: String,
}

/// `GET /days/{day}`.
pub(crate) async fn page(
    State(house): State<House>,
    who: SignedIn,
    Path(day): Path<String>,
) -> Response {
    answer(&who.visit, found(&house.desk, &who, &day).await)
}

/// `GET /flags`: what nobody has seen to, of the last days.
pub(crate) async fn flags_page(State(house): State<House>, who: SignedIn) -> Response {
    answer(&who.visit, open_flags(&house.desk, &who).await)
}

/// `POST /flags/{key}`.
pub(crate) async fn see_to(
    State(house): State<House>,
    Path(key): Path<String>,
    Sent(who, fields): Sent,
) -> Response {
    let done = async {
        let reason: String = fields.get("reason").chars().take(LONGEST).collect();
        if reason.is_empty() {
            return Err(Refused::Said {
                field: who.words().reason.to_owned(),
                rule: who.words().is_needed.to_owned(),
            });
        }
        let request_id = form::request_id(&fields)?;
        let asked = AcknowledgeAsked {
            key: key.clone(),
            reason,
        };
        house
            .desk
            .acknowledge(&who.caller, &request_id, asked)
            .await?;
        Ok(())
    };
    match done.await {
        Ok(()) => see(own_path(fields.get("back"))),
        Err(refused) => refused.page(&who.visit),
    }
}

async fn found(desk: &Desk, who: &SignedIn, day: &str) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    let day: NaiveDate = day.parse().map_err(|_| Refused::NotFound)?;
    let day = day_number(day);
    let found = desk.close(&who.caller, site.number, day, 0).await?;
    Ok(shown(who, &site, day, &found))
}

async fn open_flags(desk: &Desk, who: &SignedIn) -> Result<FlagsPage, Refused> {
    let site = who.site(desk).await?;
    let range = FlagRange {
        site: site.number,
        from: 0,
        to: i64::from(i32::MAX),
        open_only: true,
    };
    let mut flags = desk.flags(&who.caller, range).await?;
    // As a close ranks them, whatever their day.
    flags.sort_by_key(|flag| {
        let of = &flag.stored;
        std::cmp::Reverse((of.value, of.weight.units(), of.day))
    });
    Ok(FlagsPage {
        f: Frame::around(who, who.words().flags),
        flags: flags.iter().map(|flag| flag_of(who, &site, flag)).collect(),
    })
}

fn shown(who: &SignedIn, site: &Site, day: i64, found: &CloseFound) -> Page {
    let (w, close) = (who.words(), &found.close);
    let unit = who.unit(site);
    let chart = paper::balance(close, unit).map(Drawn::from);
    Page {
        f: Frame::around(who, format!("{} {}", w.close, show::day(day))),
        facts: vec![
            (w.site, site.name.clone()),
            (w.state, who.language().term(close.state.word()).to_owned()),
            (w.revision, found.stored.revision.to_string()),
            (w.recorded, show::instant(site, found.stored.recorded_us)),
            (w.unaccounted, show::weight(close.balance.unaccounted, unit)),
            (w.on_hand, show::weight(close.balance.closing, unit)),
        ],
        chart,
        flags: found
            .flags
            .iter()
            .map(|flag| flag_of(who, site, flag))
            .collect(),
        payouts: close
            .payouts
            .iter()
            .map(|row| {
                (
                    row.party.clone(),
                    row.owed.to_string(),
                    row.held.to_string(),
                )
            })
            .collect(),
        remarks: close.remarks.clone(),
    }
}

fn flag_of(who: &SignedIn, site: &Site, found: &FlagFound) -> Flag {
    let stored = &found.stored;
    let may = reach(who.caller.role, "acknowledge") != Reach::No;
    let is_gone = stored.gone_with != 0;
    Flag {
        key: stored.key.clone(),
        day: show::day(stored.day),
        text: stored.text.clone(),
        next_step: stored.kind.next_step(),
        weight: show::weight_unless_zero(stored.weight, who.unit(site)),
        value: show::money_unless_zero(Money::new(stored.value, found.currency)),
        evidence: stored.evidence.clone(),
        is_gap: stored.gap,
        is_gone,
        seen: stored
            .seen
            .iter()
            .map(|seen| {
                let at = show::instant(site, seen.recorded_us);
                format!("{at}, {}: {}", seen.by, seen.reason)
            })
            .collect(),
        request_id: match may && !is_gone {
            true => form::fresh_id(),
            false => String::new(),
        },
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    fn flag(is_gone: bool) -> Flag {
        Flag {
            key: "ab12".to_owned(),
            day: "2031-05-02".to_owned(),
            text: "2.75 lb are unaccounted".to_owned(),
            next_step: "Count it again.",
            weight: "2.75 lb".to_owned(),
            value: "15.13 USD".to_owned(),
            evidence: vec!["counted 12.00 lb".to_owned()],
            is_gap: true,
            is_gone,
            seen: vec!["2031-05-03 06:10, office: looked again".to_owned()],
            request_id: match is_gone {
                true => String::new(),
                false => "an id".to_owned(),
            },
        }
    }

    #[test]
    fn a_close_renders_with_and_without_flags_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let page = |flags| Page {
                f: Frame::of(&visit, w.close),
                facts: vec![(w.state, language.term("closed with gaps").to_owned())],
                chart: None,
                flags,
                payouts: vec![(
                    "wren-haldane".into(),
                    "220.44 USD".into(),
                    "0.00 USD".into(),
                )],
                remarks: vec!["Nothing is set for slush.".to_owned()],
            };
            let html = page(vec![flag(false), flag(true)]).render().unwrap();
            for shown in [
                "2.75 lb are unaccounted",
                "15.13 USD",
                "looked again",
                w.gone,
                "220.44 USD",
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            assert_eq!(
                html.matches("action=\"/flags/ab12\"").count(),
                1,
                "one can be seen to"
            );
            assert!(page(Vec::new()).render().unwrap().contains(w.no_flags));
            let all = FlagsPage {
                f: Frame::of(&visit, w.flags),
                flags: vec![flag(false)],
            };
            assert!(all.render().unwrap().contains("2.75 lb are unaccounted"));
        }
    }
}
