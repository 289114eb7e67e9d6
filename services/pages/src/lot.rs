//! What became of a lot: its parts, where it came from and where it went.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::Uri;
use axum::response::Response;
use desk::access::{Reach, reach};
use desk::{Desk, LotFound};
use rules::ids::LotCode;
use rules::office::Site;

use crate::form;
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer};
use crate::show;
use crate::visit::{SignedIn, see};

#[derive(Template)]
#[template(path = "lot_search.html")]
struct Search {
    f: Frame,
}

#[derive(Template)]
#[template(path = "lot.html")]
struct Page {
    f: Frame,
    code: String,
    facts: Vec<(&'static str, String)>,
    ticket: String,
    sources: Vec<String>,
    parts: Vec<(i64, String, String)>,
    events: Vec<Event>,
}

struct Event {
    at: String,
    part: i64,
    what: &'static str,
    weight: String,
    receiver: String,
    became: Vec<String>,
    note: String,
}

/// `GET /lots`: a field for a code, which leads on.
pub(crate) async fn search(who: SignedIn, uri: Uri) -> Response {
    if reach(who.caller.role, "lot") == Reach::No {
        return Refused::NotFound.page(&who.visit);
    }
    let fields = form::query(&uri);
    match LotCode::parse(fields.get("code")) {
        Some(code) => see(&format!("/lots/{code}")),
        None => {
            let f = Frame::around(&who, who.words().lots);
            answer(&who.visit, Ok(Search { f }))
        }
    }
}

/// `GET /lots/{code}`.
pub(crate) async fn page(
    State(house): State<House>,
    who: SignedIn,
    Path(code): Path<String>,
) -> Response {
    answer(&who.visit, found(&house.desk, &who, &code).await)
}

async fn found(desk: &Desk, who: &SignedIn, code: &str) -> Result<Page, Refused> {
    let code = LotCode::parse(code).ok_or(Refused::NotFound)?;
    let found = desk.lot(&who.caller, code).await?;
    let sites = desk.sites(&who.caller).await?;
    let site = sites.iter().find(|site| site.number == found.site);
    let site = site.ok_or(Refused::NotFound)?;
    let species = desk.office();
    let species = species.species.get(&found.species);
    let name = species.map_or_else(|| found.species.clone(), |species| species.name.clone());
    Ok(shown(who, site, &name, &found))
}

fn shown(who: &SignedIn, site: &Site, species: &str, lot: &LotFound) -> Page {
    let (w, language) = (who.words(), who.language());
    let unit = who.unit(site);
    let mut facts = vec![
        (
            w.fish,
            format!("{species}, {}", language.term(lot.presentation.word())),
        ),
        (w.site, site.name.clone()),
        (w.supplier, lot.supplier.clone()),
        (
            w.made_by,
            lot.made_by
                .map_or_else(String::new, |kind| language.term(kind.word()).to_owned()),
        ),
    ];
    if lot.voided {
        facts.push((w.state, w.voided.to_owned()));
    }
    facts.retain(|(_, value)| !value.is_empty());
    let event = |event: &desk::LotEvent| Event {
        at: show::instant(site, event.happened_us),
        part: event.part,
        what: language.term(event.what),
        weight: show::weight(event.weight, unit),
        receiver: event.receiver.clone(),
        became: event.became.iter().map(ToString::to_string).collect(),
        note: language.known(&event.note),
    };
    Page {
        f: Frame::around(who, format!("{} {}", w.lot, lot.code)),
        code: lot.code.to_string(),
        facts,
        ticket: lot.ticket.map_or_else(String::new, |id| id.to_string()),
        sources: lot
            .sources
            .iter()
            .map(|part| part.lot.to_string())
            .collect(),
        parts: lot
            .parts
            .iter()
            .map(|part| {
                let held = if part.key.held { w.held_word } else { "" };
                let condition = part.key.condition.map(|of| language.term(of.word()));
                let grade = match part.key.grade.is_none() {
                    true => "",
                    false => part.key.grade.as_str(),
                };
                let words = [grade, condition.unwrap_or_default(), held];
                let words: Vec<_> = words.into_iter().filter(|word| !word.is_empty()).collect();
                (part.n, words.join(", "), show::weight(part.left, unit))
            })
            .collect(),
        events: lot.events.iter().map(event).collect(),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    #[test]
    fn it_renders_a_lot_and_the_field_for_one_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let page = Page {
                f: Frame::of(&visit, w.lot),
                code: "20310502000100000031".to_owned(),
                facts: vec![(w.fish, "Lionfish, whole".to_owned())],
                ticket: "2031050200010000003".to_owned(),
                sources: vec!["20310501000100000021".to_owned()],
                parts: vec![(1, "A, clean".to_owned(), "12.00 lb".to_owned())],
                events: vec![Event {
                    at: "2031-05-02 14:32".to_owned(),
                    part: 1,
                    what: language.term("sold whole"),
                    weight: "-4.00 lb".to_owned(),
                    receiver: "tide-table".to_owned(),
                    became: vec!["20310502000100000041".to_owned()],
                    note: "to the back door".to_owned(),
                }],
            };
            let html = page.render().unwrap();
            for shown in [
                "href=\"/tickets/2031050200010000003\"",
                "href=\"/lots/20310502000100000041\"",
                "href=\"/lots/20310501000100000021\"",
                "-4.00 lb",
                "tide-table",
                "to the back door",
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            let f = Frame::of(&visit, w.lots);
            assert!(Search { f }.render().unwrap().contains("name=\"code\""));
        }
    }
}
