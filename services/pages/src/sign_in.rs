//! Signing in, with a key or with a link that works once; and signing out.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use desk::secret::{fresh_token, sha256, sha256_of_secret, sha256_of_token};

use crate::form::{Open, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, rendered};
use crate::visit::{Visit, begin, forget, see};
use crate::words::Words;

#[derive(Template)]
#[template(path = "sign_in.html")]
struct Page {
    f: Frame,
    /// Why not; empty at first.
    error: &'static str,
}

#[derive(Template)]
#[template(path = "sign_in_link.html")]
struct LinkPage {
    f: Frame,
    link: String,
    error: &'static str,
}

/// `GET /sign-in`.
pub(crate) async fn page(visit: Visit) -> Response {
    rendered(StatusCode::OK, &shown(&visit, ""))
}

fn shown(visit: &Visit, error: &'static str) -> Page {
    Page {
        f: Frame::of(visit, visit.words().sign_in),
        error,
    }
}

/// `GET /sign-in/{link}`: opens nothing yet, so that whoever only looks at a link to
/// show what is behind it does not use it up.
pub(crate) async fn link_page(Path(link): Path<String>, visit: Visit) -> Response {
    let known = sha256_of_token(&link).map(|_| link);
    let error = match known {
        None => visit.words().link_opens_nothing,
        Some(_) => "",
    };
    let page = link_shown(&visit, known.unwrap_or_default(), error);
    rendered(StatusCode::OK, &page)
}

fn link_shown(visit: &Visit, link: String, error: &'static str) -> LinkPage {
    LinkPage {
        f: Frame::of(visit, visit.words().link_title),
        link,
        error,
    }
}

/// `POST /sign-in`.
pub(crate) async fn by_key(State(house): State<House>, Open(visit, fields): Open) -> Response {
    let key = sha256_of_secret(fields.get("key"));
    match signed_in(&house, key, By::Key).await {
        Ok(answer) => answer,
        Err(Turned::Away(why)) => {
            rendered(StatusCode::UNAUTHORIZED, &shown(&visit, why(visit.words())))
        }
        Err(Turned::Refused(refused)) => refused.page(&visit),
    }
}

/// `POST /sign-in/by-link`.
pub(crate) async fn by_link(State(house): State<House>, Open(visit, fields): Open) -> Response {
    let link = sha256_of_token(fields.get("link"));
    match signed_in(&house, link, By::Link).await {
        Ok(answer) => answer,
        Err(Turned::Away(why)) => {
            let page = link_shown(&visit, String::new(), why(visit.words()));
            rendered(StatusCode::UNAUTHORIZED, &page)
        }
        Err(Turned::Refused(refused)) => refused.page(&visit),
    }
}

/// `POST /sign-out`.
pub(crate) async fn sign_out(State(house): State<House>, Sent(who, _): Sent) -> Response {
    if let Some(session) = who.visit.session()
        && let Err(error) = house.desk.sign_out(&session).await
    {
        return Refused::from(error).page(&who.visit);
    }
    let mut answer = see("/sign-in");
    forget(&house, &mut answer);
    answer
}

#[derive(Clone, Copy)]
enum By {
    Key,
    Link,
}

enum Turned {
    Away(fn(&Words) -> &'static str),
    Refused(Refused),
}

impl From<desk::DeskError> for Turned {
    fn from(error: desk::DeskError) -> Turned {
        Turned::Refused(error.into())
    }
}

/// A session for what was shown, known by its SHA-256; a fresh one each time, whatever
/// the browser had before.
async fn signed_in(house: &House, shown: Option<String>, by: By) -> Result<Response, Turned> {
    if !house.may_try() {
        return Err(Turned::Away(|w| w.too_many_tries));
    }
    let secret = fresh_token().map_err(|error| {
        tracing::error!(%error, "the machine gives no randomness");
        Turned::Refused(Refused::Internal)
    })?;
    let session = sha256(secret.as_bytes());
    let caller = match (&shown, by) {
        (None, _) => None,
        (Some(shown), By::Key) => house.desk.sign_in(shown, &session).await?,
        (Some(shown), By::Link) => house.desk.sign_in_by_link(shown, &session).await?,
    };
    if caller.is_none() {
        let (reason, why): (_, fn(&Words) -> &'static str) = match by {
            By::Key => ("NO_KEY", |w| w.key_opens_nothing),
            By::Link => ("NO_LINK", |w| w.link_opens_nothing),
        };
        house.desk.refused("nobody", "pages", reason, "").await;
        return Err(Turned::Away(why));
    }
    let mut answer = see("/");
    begin(house, &mut answer, &secret);
    Ok(answer)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::words::Language;

    #[test]
    fn it_renders_with_and_without_an_error_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, None);
            let w = visit.words();
            let html = shown(&visit, "").render().unwrap();
            assert!(
                html.contains("name=\"key\"") && html.contains(w.key_hint),
                "{html}"
            );
            let html = shown(&visit, w.key_opens_nothing).render().unwrap();
            assert!(html.contains(w.key_opens_nothing) && html.contains("role=\"alert\""));
            let html = link_shown(&visit, "ab".to_owned(), "").render().unwrap();
            assert!(html.contains("value=\"ab\"") && html.contains(w.link_hint));
            let html = link_shown(&visit, String::new(), w.link_opens_nothing);
            let html = html.render().unwrap();
            assert!(html.contains(w.link_opens_nothing) && !html.contains("name=\"link\""));
        }
    }
}
