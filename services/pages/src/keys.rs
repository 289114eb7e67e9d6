//! Keys: given out, shown once, revoked; and links that sign their holder in once.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::Response;
use desk::access::{ROLES, Reach, reach};
use desk::secret::{fresh_secret, fresh_token, sha256_of_secret, sha256_of_token};
use desk::{Desk, KeyFound, LINK_LASTS_US, Role, told_if_repeated};
use rules::key::{KeyAsked, LinkAsked, RevokeAsked};

use crate::door::asked_host;
use crate::form::{self, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer, rendered};
use crate::visit::{SignedIn, see};

/// Longest that a name or a reason may be.
const LONGEST: usize = 200;

#[derive(Template)]
#[template(path = "keys.html")]
struct Page {
    f: Frame,
    /// Absent where they may only look.
    form: Option<Form>,
    keys: Vec<Row>,
}

struct Form {
    request_id: String,
    roles: Vec<(&'static str, &'static str)>,
    parties: Vec<(String, String)>,
}

struct Row {
    id: i64,
    name: String,
    role: &'static str,
    party: String,
    works: bool,
    revoked: String,
    request_ids: [String; 2],
    may: bool,
}

/// What is shown once.
#[derive(Template)]
#[template(path = "shown_once.html")]
struct Once {
    f: Frame,
    name: String,
    /// Empty where a repeat was answered: it was shown before.
    secret: String,
    hint: &'static str,
}

/// `GET /keys`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    answer(&who.visit, found(&house.desk, &who).await)
}

async fn found(desk: &Desk, who: &SignedIn) -> Result<Page, Refused> {
    let keys = desk.keys(&who.caller).await?;
    let may = reach(who.caller.role, "key") != Reach::No;
    let parties = desk.parties(&who.caller).await?;
    let form = may.then(|| Form {
        request_id: form::fresh_id(),
        roles: ROLES
            .iter()
            .map(|role| (role.word(), who.language().term(role.word())))
            .collect(),
        parties: parties
            .into_iter()
            .map(|party| (party.code, party.name))
            .collect(),
    });
    let row = |found: &KeyFound| Row {
        id: found.id,
        name: found.key.asked.name.clone(),
        role: who.language().term(found.key.asked.role.word()),
        party: found.key.asked.party.clone(),
        works: found.works,
        revoked: found.key.revoked.clone(),
        request_ids: [form::fresh_id(), form::fresh_id()],
        may,
    };
    Ok(Page {
        f: Frame::around(who, who.words().keys),
        form,
        keys: keys.iter().rev().map(row).collect(),
    })
}

/// `POST /keys`: gives one out.
pub(crate) async fn give(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    let w = who.words();
    let given = async {
        let name: String = fields.get("name").chars().take(LONGEST).collect();
        let role = Role::from_word(fields.get("role"));
        let needed = |field: &str| Refused::said(field, w.is_needed);
        if name.is_empty() {
            return Err(needed(w.key_name));
        }
        let asked = KeyAsked {
            name,
            role: role.ok_or_else(|| needed(w.role))?,
            party: fields.get("party").to_owned(),
            expires_us: None,
            certificate: String::new(),
        };
        let secret = fresh_secret().map_err(|_| Refused::Internal)?;
        let sha256 = sha256_of_secret(&secret).ok_or(Refused::Internal)?;
        let request_id = form::request_id(&fields)?;
        let given = house
            .desk
            .issue_key(&who.caller, &request_id, asked, sha256.clone())
            .await?;
        // A repeat is answered with the first key, whose secret is gone.
        let is_first = given.outcome.sha256 == sha256;
        Ok(Once {
            f: Frame::around(&who, w.key_given),
            name: given.asked.name,
            secret: if is_first { secret } else { String::new() },
            hint: w.key_once,
        })
    };
    answer(&who.visit, given.await)
}

/// `POST /keys/{id}/link`: a link that signs its holder in once.
pub(crate) async fn link(
    State(house): State<House>,
    Path(id): Path<i64>,
    uri: Uri,
    headers: HeaderMap,
    Sent(who, fields): Sent,
) -> Response {
    let w = who.words();
    let given = async {
        let token = fresh_token().map_err(|_| Refused::Internal)?;
        let sha256 = sha256_of_token(&token).ok_or(Refused::Internal)?;
        let asked = LinkAsked {
            key: id,
            ends_us: house.desk.now_us().await? + LINK_LASTS_US,
        };
        let request_id = form::request_id(&fields)?;
        let given = house
            .desk
            .give_link(&who.caller, &request_id, asked, sha256);
        let (given, is_repeat) = told_if_repeated(given).await;
        given?;
        let scheme = if house.is_secure { "https" } else { "http" };
        let host = asked_host(&headers, &uri).unwrap_or_default();
        Ok::<_, Refused>(Once {
            f: Frame::around(&who, w.link_given),
            name: fields.get("name").to_owned(),
            secret: match is_repeat {
                true => String::new(),
                false => format!("{scheme}://{host}/sign-in/{token}"),
            },
            hint: w.link_once,
        })
    };
    match given.await {
        Ok(page) => rendered(StatusCode::OK, &page),
        Err(refused) => refused.page(&who.visit),
    }
}

/// `POST /keys/{id}/revoke`.
pub(crate) async fn revoke(
    State(house): State<House>,
    Path(id): Path<i64>,
    Sent(who, fields): Sent,
) -> Response {
    let done = async {
        let reason: String = fields.get("reason").chars().take(LONGEST).collect();
        if reason.is_empty() {
            return Err(Refused::said(who.words().reason, who.words().is_needed));
        }
        let request_id = form::request_id(&fields)?;
        let asked = RevokeAsked { key: id, reason };
        house
            .desk
            .revoke_key(&who.caller, &request_id, asked)
            .await?;
        Ok(())
    };
    match done.await {
        Ok(()) => see("/keys"),
        Err(refused) => refused.page(&who.visit),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    fn row(works: bool, may: bool) -> Row {
        Row {
            id: 203_105_020_000_000_001,
            name: "dock tablet".to_owned(),
            role: "buyer",
            party: String::new(),
            works,
            revoked: if works {
                String::new()
            } else {
                "lost".to_owned()
            },
            request_ids: ["one".to_owned(), "two".to_owned()],
            may,
        }
    }

    #[test]
    fn it_renders_for_who_gives_keys_and_for_who_looks_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let page = Page {
                f: Frame::of(&visit, w.keys),
                form: Some(Form {
                    request_id: "an id".to_owned(),
                    roles: vec![("diver", language.term("diver"))],
                    parties: vec![("wren-haldane".to_owned(), "Wren Haldane".to_owned())],
                }),
                keys: vec![row(true, true), row(false, true)],
            };
            let html = page.render().unwrap();
            assert!(html.contains("action=\"/keys\"") && html.contains("lost"));
            assert_eq!(
                html.matches("/revoke\"").count(),
                1,
                "what works is revoked"
            );
            let looks = Page {
                f: Frame::of(&visit, w.keys),
                form: None,
                keys: vec![row(true, false)],
            };
            let html = looks.render().unwrap();
            assert!(
                !html.contains("action=\"/keys"),
                "an auditor gives out none"
            );
        }
    }

    #[test]
    fn a_secret_is_shown_once_and_a_repeat_says_so() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let once = |secret: &str| Once {
                f: Frame::of(&visit, w.key_given),
                name: "dock tablet".to_owned(),
                secret: secret.to_owned(),
                hint: w.key_once,
            };
            let html = once("whkey_ab").render().unwrap();
            assert!(html.contains("whkey_ab") && html.contains(w.key_once));
            let html = once("").render().unwrap();
            assert!(html.contains(w.shown_before));
        }
    }
}
