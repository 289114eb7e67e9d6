//! Everybody the book knows.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use desk::Desk;

use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer};
use crate::visit::SignedIn;

#[derive(Template)]
#[template(path = "parties.html")]
struct Page {
    f: Frame,
    rows: Vec<Row>,
}

struct Row {
    code: String,
    name: String,
    roles: String,
    licence: String,
    contact: String,
}

/// `GET /parties`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    answer(&who.visit, found(&house.desk, &who).await)
}

async fn found(desk: &Desk, who: &SignedIn) -> Result<Page, Refused> {
    let parties = desk.parties(&who.caller).await?;
    let language = who.language();
    let row = |party: &rules::office::Party| {
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
    Ok(Page {
        f: Frame::around(who, who.words().parties),
        rows: parties.iter().map(row).collect(),
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
            let page = |rows| Page {
                f: Frame::of(&visit, w.parties),
                rows,
            };
            let full = page(vec![Row {
                code: "wren-haldane".to_owned(),
                name: "Wren Haldane".to_owned(),
                roles: language.term("harvester").to_owned(),
                licence: "QH-1, 2031-12-31".to_owned(),
                contact: "555-0100".to_owned(),
            }]);
            let html = full.render().unwrap();
            assert!(
                html.contains("Wren Haldane") && html.contains("QH-1"),
                "{html}"
            );
            assert!(page(Vec::new()).render().unwrap().contains("<tbody>"));
        }
    }
}
