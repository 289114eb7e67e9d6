//! The weigh-in: tote by tote or fish by fish, looked at before it is booked.
//!
//! "Check" works the ticket out and books nothing; then a plain screen is turned to the
//! diver, who confirms it; "book" books it with the id that the page has borne from the
//! start, so a form sent twice is one ticket. All of that is whole without a script.
//! With one the sums run as somebody types, and what is booked goes through a queue in
//! the browser, which keeps it while there is no signal: see `queue`.

mod check;
mod form;
mod queue;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use desk::Desk;
use rules::fish::{Condition, Presentation, Storage};
use rules::office::PartyRole;
use rules::receiving::{LengthUnit, ReceivingRule, Standing};
use rules::ticket::{Confirmation, Decision, SmallFish};

pub(crate) use self::queue::{device, numbers, queued, running, shell, stock, worker};

use self::check::{Checked, checked};
use crate::form::{Fields, Sent, fresh_id, request_id};
use crate::frame::Frame;
use crate::house::House;
use crate::look;
use crate::refused::{Refused, answer, rendered};
use crate::scale::{self, Live};
use crate::visit::{SignedIn, Visit, see};
use crate::words::{Language, Said};

/// Units of a length, the commonest first.
const LENGTHS: [LengthUnit; 3] = [LengthUnit::In, LengthUnit::Cm, LengthUnit::Mm];

#[derive(Template)]
#[template(path = "weigh_in.html")]
struct Page {
    f: Frame,
    scripts: [&'static str; 4],
    /// Kept by the browser for when there is no signal: it names nobody, and its choices
    /// are filled in by the script.
    is_shell: bool,
    request_id: String,
    /// As typed so far.
    typed: Fields,
    unit: &'static str,
    /// Scales that are heard.
    live: Option<Live>,
    lots: Vec<Lot>,
    probes: Vec<usize>,
    divers: Vec<Choice>,
    species: Vec<Choice>,
    presentations: Vec<Choice>,
    storages: Vec<Choice>,
    lengths: Vec<Choice>,
    conditions: Vec<Choice>,
    scales: Vec<Choice>,
    decisions: Vec<Choice>,
    small: Vec<Choice>,
    /// What receiving looks at and how that may stand, in order of their numbers, for the
    /// script: with a bar between.
    rules: String,
    standings: String,
    /// Why it cannot be booked as it is; empty otherwise.
    error: Said,
    checked: Option<Checked>,
}

/// A lot of the form.
struct Lot {
    n: usize,
    /// What stands before the names of its fields.
    p: String,
    rows: Vec<usize>,
    /// The button for more rows.
    more: String,
}

struct Choice {
    value: String,
    words: String,
}

impl Choice {
    fn new(value: impl ToString, words: impl Into<String>) -> Choice {
        Choice {
            value: value.to_string(),
            words: words.into(),
        }
    }
}

/// The screen that is turned to the diver.
#[derive(Template)]
#[template(path = "weigh_in_turn.html")]
struct Turn {
    f: Frame,
    /// Everything typed, to be sent along.
    typed: Vec<(String, String)>,
    request_id: String,
    diver: String,
    checked: Checked,
}

/// `GET /weigh-in`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    let page = shown(&house.desk, &who, Fields::default(), Said::default(), None).await;
    answer(&who.visit, page)
}

/// `POST /weigh-in`.
pub(crate) async fn send(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    match sent(&house.desk, &who, fields).await {
        Ok(answer) => answer,
        Err(refused) => refused.page(&who.visit),
    }
}

async fn sent(desk: &Desk, who: &SignedIn, fields: Fields) -> Result<Response, Refused> {
    let site = who.site(desk).await?;
    if let Some(fields) = form::changed(&fields) {
        let page = shown(desk, who, fields, Said::default(), None).await?;
        return Ok(rendered(StatusCode::OK, &page));
    }
    let step = fields.get("do").to_owned();
    let now_us = desk.now_us().await?;
    let fields = match step.as_str() {
        // What is looked at was written now; what is booked was written when it was looked at.
        "check" | "turn" => fields.with(form::AS_OF, &now_us.to_string()),
        "book_absent" => {
            let absent = Confirmation::DiverAbsent.number();
            fields.with("confirmation", &absent.to_string())
        }
        _ => fields,
    };
    let asked = form::read(who.words(), &fields, &site, now_us)
        .map(|asked| scale::believed(desk, &fields, asked));
    let done = match asked {
        Err(refused) => Err(refused),
        Ok(asked) if step.starts_with("book") => {
            let request_id = request_id(&fields)?;
            let booked = desk.weigh_in(&who.caller, &request_id, asked).await;
            match booked {
                Ok(booked) => return Ok(see(&format!("/tickets/{}", booked.entry))),
                Err(error) => Err(error.into()),
            }
        }
        Ok(asked) => {
            let tried = desk.try_weigh_in(&who.caller, asked).await;
            tried.map_err(Refused::from)
        }
    };
    let (error, checked, status) = match done {
        Ok((asked, ticket)) => {
            let checked = checked(who, &site, &asked, &ticket);
            if step == "turn" {
                let page = turned(desk, who, &fields, checked).await?;
                return Ok(rendered(StatusCode::OK, &page));
            }
            (Said::default(), Some(checked), StatusCode::OK)
        }
        Err(refused) => {
            let error = refused.in_form(who.language(), |field| field.contains('['))?;
            (error, None, StatusCode::UNPROCESSABLE_ENTITY)
        }
    };
    let page = shown(desk, who, fields, error, checked).await?;
    Ok(rendered(status, &page))
}

async fn turned(
    desk: &Desk,
    who: &SignedIn,
    fields: &Fields,
    checked: Checked,
) -> Result<Turn, Refused> {
    let parties = desk.parties(&who.caller).await?;
    let code = fields.get("harvester");
    let diver = parties.iter().find(|party| party.code == code);
    let own = ["token", "request_id", "do", "confirmation"];
    let typed = fields.pairs().filter(|(name, _)| !own.contains(name));
    Ok(Turn {
        f: Frame::around(who, who.words().turn_title),
        typed: typed
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .collect(),
        request_id: request_id(fields)?,
        diver: diver.map_or_else(|| code.to_owned(), |party| party.name.clone()),
        checked,
    })
}

async fn shown(
    desk: &Desk,
    who: &SignedIn,
    typed: Fields,
    error: Said,
    checked: Option<Checked>,
) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    desk.may_at(&who.caller, "weigh_in", site.number)?;
    let parties = desk.parties(&who.caller).await?;
    let divers = parties
        .iter()
        .filter(|party| party.roles.contains(&PartyRole::Harvester))
        .map(|party| Choice::new(&party.code, &party.name));
    let species = desk.species(&who.caller).await?;
    let scales = desk.scales(&who.caller, site.number).await?;
    let page = blank(Frame::around(who, who.words().weigh_in), who.language());
    Ok(Page {
        request_id: request_id(&typed).unwrap_or_else(|_| fresh_id()),
        unit: who.unit(&site).of_price().symbol(),
        live: Live::at(desk, site.number, &typed),
        lots: lots(&typed),
        divers: divers.collect(),
        species: species
            .iter()
            .map(|species| Choice::new(&species.code, &species.name))
            .collect(),
        scales: scales
            .iter()
            .map(|scale| Choice::new(&scale.code, &scale.name))
            .collect(),
        typed,
        error,
        checked,
        ..page
    })
}

/// The form with nothing in it and nobody to choose from.
fn blank(f: Frame, language: Language) -> Page {
    let term = |number: i64, word: &'static str| Choice::new(number, language.term(word));
    let nothing = Fields::default();
    Page {
        f,
        scripts: look::weigh_in_scripts(),
        is_shell: false,
        request_id: String::new(),
        unit: "lb",
        live: None,
        lots: lots(&nothing),
        probes: (1..=form::PROBES).collect(),
        divers: Vec::new(),
        species: Vec::new(),
        presentations: Presentation::ALL
            .iter()
            .filter(|form| form.is_fish())
            .map(|form| term(form.number(), form.word()))
            .collect(),
        storages: Storage::ALL
            .iter()
            .map(|storage| term(storage.number(), storage.word()))
            .collect(),
        lengths: LENGTHS
            .map(|unit| Choice::new(unit.word(), unit.word()))
            .into(),
        conditions: Condition::ALL
            .iter()
            .map(|condition| term(condition.number(), condition.word()))
            .collect(),
        scales: Vec::new(),
        decisions: Decision::ALL
            .iter()
            .map(|decision| match decision {
                // Set aside, as a deed; its word elsewhere names what was done.
                Decision::Hold => Choice::new(decision.number(), language.words().hold_it),
                _ => term(decision.number(), decision.word()),
            })
            .collect(),
        small: SmallFish::ALL
            .iter()
            .map(|small| term(small.number(), small.word()))
            .collect(),
        rules: language.terms(ReceivingRule::ALL.iter().map(|of| of.word())),
        standings: language.terms(Standing::ALL.iter().map(|of| of.word())),
        typed: nothing,
        error: Said::default(),
        checked: None,
    }
}

/// What a browser keeps for when there is no signal: the form without anybody's name.
fn shell_of(visit: &Visit) -> Page {
    Page {
        is_shell: true,
        ..blank(Frame::of(visit, visit.words().weigh_in), visit.language)
    }
}

fn lots(typed: &Fields) -> Vec<Lot> {
    let lot = |n: usize| Lot {
        n,
        p: form::before(n),
        rows: (1..=form::rows(typed, n)).collect(),
        more: form::more_of(n),
    };
    (1..=form::lots(typed)).map(lot).collect()
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::weigh_in::form::tests::fields;

    fn sample(language: Language, typed: Fields, error: &str, checked: Option<Checked>) -> Page {
        let visit = Visit::sample(language, Some(Role::Buyer));
        let w = visit.words();
        let one = |value: &str| vec![Choice::new(value, value)];
        Page {
            request_id: "an id".to_owned(),
            lots: lots(&typed),
            typed,
            live: Some(Live {
                codes: "dock".to_owned(),
                marks: vec!["45.60 lb".to_owned()],
                script: "/look/scale.js",
            }),
            divers: one("wren-haldane"),
            species: one("PZO"),
            scales: one("dock"),
            error: (error.to_owned(), true),
            checked,
            ..blank(Frame::of(&visit, w.weigh_in), language)
        }
    }

    #[test]
    fn it_renders_empty_refused_and_checked_in_both_languages() {
        for language in Language::ALL {
            let typed = || fields(&[("gross_1", "45.60"), ("decision", "2")]);
            let html = sample(language, typed(), "", None).render().unwrap();
            assert!(
                html.contains("value=\"45.60\""),
                "what was typed is still there"
            );
            assert!(html.contains("value=\"2\" checked"), "and what was decided");
            assert!(!html.contains("value=\"turn\""), "first it is looked at");
            let html = sample(language, typed(), "tote 1: too heavy", None);
            let html = html.render().unwrap();
            assert!(html.contains("role=\"alert\"") && html.contains("tote 1: too heavy"));
            let checked = Some(Checked::sample(language));
            let html = sample(language, typed(), "", checked).render().unwrap();
            for shown in [
                "15.00 USD",
                "2031-05-02 14:20",
                "proposed to soup-grade",
                "The spines",
                "Cull?",
                "name=\"answer_cull\"",
                "value=\"turn\"",
            ] {
                assert!(html.contains(shown), "{shown}");
            }
        }
    }

    #[test]
    fn every_lot_has_its_own_fields_and_buttons() {
        let typed = fields(&[("lots", "2"), ("lot2_rows", "6"), ("lot2_gross_6", "9.50")]);
        let html = sample(Language::English, typed, "", None);
        let html = html.render().unwrap();
        for shown in [
            "name=\"lots\" value=\"2\"",
            "name=\"lot2_rows\" value=\"6\"",
            "name=\"lot2_gross_6\"",
            "value=\"9.50\"",
            "value=\"more_2\"",
            "name=\"lot2_species\"",
        ] {
            assert!(html.contains(shown), "{shown}");
        }
        assert!(!html.contains("name=\"gross_4\"") && !html.contains("lot3_"));
    }

    #[test]
    fn the_diver_sees_large_figures_and_two_ways_to_go_on() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Buyer));
            let turn = Turn {
                f: Frame::of(&visit, visit.words().turn_title),
                typed: vec![("gross_1".to_owned(), "45.60".to_owned())],
                request_id: "an id".to_owned(),
                diver: "Wren Haldane".to_owned(),
                checked: Checked::sample(language),
            };
            let html = turn.render().unwrap();
            for shown in [
                "Wren Haldane",
                "15.00 USD",
                "name=\"gross_1\" value=\"45.60\"",
                "value=\"book\"",
                "value=\"book_absent\"",
                "value=\"check\"",
                visit.words().diver_confirms,
            ] {
                assert!(html.contains(shown), "{shown}");
            }
        }
    }

    #[test]
    fn what_a_browser_keeps_names_nobody() {
        for language in Language::ALL {
            let visit = Visit::sample(language, None);
            let html = shell_of(&visit).render().unwrap();
            assert!(html.contains("data-shell"), "{html}");
            for secret in ["wren", "a secret", "name=\"token\" value=\"a", "sign-out"] {
                assert!(!html.contains(secret), "{secret}");
            }
        }
    }
}
