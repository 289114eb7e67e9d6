//! Everybody the book knows, and putting somebody on file or changing what is.

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use desk::Desk;
use desk::access::{Reach, reach};
use rules::ids::is_code;
use rules::office::{Party, PartyRole};

use crate::form::{self, Fields, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer, rendered};
use crate::visit::{SignedIn, see};
use crate::words::{Said, Words};

/// Longest that a word of a form may be.
const LONGEST: usize = 200;

#[derive(Template)]
#[template(path = "parties.html")]
struct Page {
    f: Frame,
    rows: Vec<Row>,
    /// Absent where they may only look.
    form: Option<Form>,
}

struct Row {
    code: String,
    name: String,
    roles: String,
    licence: String,
    contact: String,
}

/// To put somebody on file.
struct Form {
    request_id: String,
    /// As typed so far.
    typed: Fields,
    roles: Vec<(i64, &'static str)>,
    /// Why it was not recorded; empty at first.
    error: Said,
}

/// `GET /parties`; `?code=` begins from what is on file of somebody.
pub(crate) async fn page(State(house): State<House>, who: SignedIn, uri: Uri) -> Response {
    let asked = form::query(&uri);
    let typed = match house.desk.parties(&who.caller).await {
        Ok(parties) => {
            let found = parties.iter().find(|of| of.code == asked.get("code"));
            found.map_or_else(Fields::default, as_typed)
        }
        Err(error) => return Refused::from(error).page(&who.visit),
    };
    answer(
        &who.visit,
        shown(&house.desk, &who, typed, Said::default()).await,
    )
}

/// `POST /parties`.
pub(crate) async fn record(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    let error = match recorded(&house.desk, &who, &fields).await {
        Ok(()) => return see("/parties"),
        Err(refused) => match refused.in_form(who.language(), |_| false) {
            Ok(error) => error,
            Err(refused) => return refused.page(&who.visit),
        },
    };
    match shown(&house.desk, &who, fields, error).await {
        Ok(page) => rendered(StatusCode::UNPROCESSABLE_ENTITY, &page),
        Err(refused) => refused.page(&who.visit),
    }
}

async fn recorded(desk: &Desk, who: &SignedIn, fields: &Fields) -> Result<(), Refused> {
    let request_id = form::request_id(fields)?;
    let party = read(who.words(), fields)?;
    desk.record_party(&who.caller, &request_id, party).await?;
    Ok(())
}

async fn shown(desk: &Desk, who: &SignedIn, typed: Fields, error: Said) -> Result<Page, Refused> {
    let parties = desk.parties(&who.caller).await?;
    let language = who.language();
    let row = |party: &Party| {
        let roles: Vec<_> = party
            .roles
            .iter()
            .map(|role| language.term(role.word()))
            .collect();
        let expires = party.licence_expires.map(|date| date.to_string());
        let licence = [party.licence_number.clone(), expires.unwrap_or_default()];
        let licence: Vec<_> = licence
            .into_iter()
            .filter(|word| !word.is_empty())
            .collect();
        Row {
            code: party.code.clone(),
            name: party.name.clone(),
            roles: roles.join(", "),
            licence: licence.join(", "),
            contact: party.contact.clone(),
        }
    };
    let may = reach(who.caller.role, "party") != Reach::No;
    Ok(Page {
        f: Frame::around(who, who.words().parties),
        rows: parties.iter().map(row).collect(),
        form: may.then(|| Form {
            request_id: form::request_id(&typed).unwrap_or_else(|_| form::fresh_id()),
            typed,
            roles: PartyRole::ALL
                .iter()
                .map(|role| (role.number(), language.term(role.word())))
                .collect(),
            error,
        }),
    })
}

/// Somebody as they would have been typed.
fn as_typed(party: &Party) -> Fields {
    let expires = party.licence_expires.map(|date| date.to_string());
    let pairs = [
        ("code".to_owned(), party.code.clone()),
        ("name".to_owned(), party.name.clone()),
        ("licence".to_owned(), party.licence_number.clone()),
        ("expires".to_owned(), expires.unwrap_or_default()),
        ("contact".to_owned(), party.contact.clone()),
    ];
    let roles = party.roles.iter();
    let roles = roles.map(|role| (format!("role_{}", role.number()), "yes".to_owned()));
    pairs.into_iter().chain(roles).collect()
}

fn read(w: &Words, fields: &Fields) -> Result<Party, Refused> {
    let text = |name: &str, words: &str| {
        let text = fields.get(name);
        let bad = text.chars().nth(LONGEST).is_some() || text.chars().any(char::is_control);
        match bad {
            true => Err(Refused::said(words, w.too_long_text)),
            false => Ok(text.to_owned()),
        }
    };
    let code = fields.get("code").to_owned();
    if !is_code(&code) {
        return Err(Refused::said(w.code, w.no_party_code));
    }
    let name = text("name", w.name)?;
    if name.is_empty() {
        return Err(Refused::said(w.name, w.is_needed));
    }
    let roles: Vec<_> = PartyRole::ALL
        .iter()
        .copied()
        .filter(|role| !fields.get(&format!("role_{}", role.number())).is_empty())
        .collect();
    if roles.is_empty() {
        return Err(Refused::said(w.role, w.is_needed));
    }
    let licence_expires = match fields.get("expires") {
        "" => None,
        text => Some(
            text.parse()
                .map_err(|_| Refused::said(w.expires, w.no_date))?,
        ),
    };
    Ok(Party {
        code,
        name,
        roles,
        licence_number: text("licence", w.licence)?,
        licence_expires,
        contact: text("contact", w.contact)?,
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::refused::Rule;
    use crate::visit::Visit;
    use crate::words::Language;

    fn somebody() -> Party {
        Party {
            code: "wren-haldane".to_owned(),
            name: "Wren Haldane".to_owned(),
            roles: vec![PartyRole::Harvester, PartyRole::Payee],
            licence_number: "QH-1".to_owned(),
            licence_expires: "2031-12-31".parse().ok(),
            contact: "555-0100".to_owned(),
        }
    }

    #[test]
    fn somebody_typed_again_is_the_same() {
        let w = Language::English.words();
        assert_eq!(read(w, &as_typed(&somebody())).unwrap(), somebody());
    }

    #[test]
    fn what_cannot_be_is_named() {
        let w = Language::English.words();
        let check = |change: &dyn Fn(&mut Party), field: &str| {
            let mut party = somebody();
            change(&mut party);
            match read(w, &as_typed(&party)) {
                Err(Refused::Said { field: at, rule }) => {
                    assert_eq!(at, field);
                    assert!(matches!(rule, Rule::Ours(_)), "{rule:?}");
                }
                other => panic!("{field}: {other:?}"),
            }
        };
        check(&|of| of.code = "Wren Haldane".to_owned(), "Code");
        check(&|of| of.name = String::new(), "Name");
        check(&|of| of.name = "w".repeat(201), "Name");
        check(&|of| of.roles.clear(), "Role");
        check(&|of| of.contact = "a\nb".to_owned(), "Contact");
        let late = as_typed(&somebody());
        let pairs = ["code", "name", "role_2"].map(|name| (name, late.get(name)));
        let pairs: Fields = pairs.into_iter().chain([("expires", "soon")]).collect();
        assert!(read(w, &pairs).is_err());
    }

    #[test]
    fn it_renders_full_empty_and_refused_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let form = |error: &str| Form {
                request_id: "r-1".to_owned(),
                typed: as_typed(&somebody()),
                roles: vec![(2, language.term("harvester"))],
                error: (error.to_owned(), true),
            };
            let page = |rows, form| Page {
                f: Frame::of(&visit, w.parties),
                rows,
                form,
            };
            let row = Row {
                code: "wren-haldane".to_owned(),
                name: "Wren Haldane".to_owned(),
                roles: language.term("harvester").to_owned(),
                licence: "QH-1, 2031-12-31".to_owned(),
                contact: "555-0100".to_owned(),
            };
            let html = page(vec![row], Some(form("Name: is needed")))
                .render()
                .unwrap();
            for shown in [
                "Wren Haldane",
                "QH-1",
                "role=\"alert\"",
                "name=\"role_2\" value=\"yes\" checked",
                "value=\"2031-12-31\"",
            ] {
                assert!(html.contains(shown), "{shown}: {html}");
            }
            let html = page(Vec::new(), None).render().unwrap();
            assert!(html.contains("class=\"slips\"") && !html.contains("name=\"code\""));
        }
    }
}
