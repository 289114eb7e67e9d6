//! Who looks, in which language and unit, and at which site.
//!
//! The session is a cookie that scripts cannot read and other sites do not send; its
//! secret is known to the browser alone, the book has its SHA-256. Language, unit and
//! site are cookies of their own and no secret.

use axum::extract::{FromRequestParts, Path, State};
use axum::http::header::{ACCEPT_LANGUAGE, COOKIE, LOCATION, SET_COOKIE};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri};
use axum::response::{IntoResponse as _, Response};
use desk::secret::sha256;
use desk::{Caller, Desk, SESSION_LASTS_US};
use rules::office::Site;
use rules::weight::WeightUnit;

use crate::form;
use crate::house::House;
use crate::refused::{Refused, in_no_frame};
use crate::words::{Language, Words};

/// A year: how long a choice of language, unit or site is kept.
const A_YEAR_S: i64 = 365 * 24 * 60 * 60;

/// Somebody at a page, signed in or not.
#[derive(Clone)]
pub(crate) struct Visit {
    pub(crate) language: Language,
    /// Unit to read weights in; absent: the site's.
    unit: Option<WeightUnit>,
    site: Option<i64>,
    /// Path and query asked for.
    pub(crate) path: String,
    caller: Option<Caller>,
    /// Secret of the session; empty where there is none.
    secret: String,
    /// A book with a simulated clock.
    pub(crate) is_simulated: bool,
}

/// Somebody who is signed in.
#[derive(Clone)]
pub(crate) struct SignedIn {
    pub(crate) visit: Visit,
    pub(crate) caller: Caller,
}

/// The name of the session's cookie: over TLS one that no other host or path can set.
pub(crate) fn cookie_name(is_secure: bool) -> &'static str {
    if is_secure {
        "__Host-weighhouse"
    } else {
        "weighhouse"
    }
}

impl Visit {
    /// Who looks.
    pub(crate) async fn of(
        house: &House,
        headers: &HeaderMap,
        uri: &Uri,
    ) -> Result<Visit, Refused> {
        let mut visit = Visit::of_nobody(&house.desk, headers, uri);
        if let Some(secret) = cookie(headers, cookie_name(house.is_secure)) {
            visit.caller = house.desk.signed_in(&sha256(secret.as_bytes())).await?;
            if visit.caller.is_some() {
                secret.clone_into(&mut visit.secret);
            }
        }
        match &visit.caller {
            Some(caller) if !house.has_time_for(caller) => Err(Refused::TooOften),
            _ => Ok(visit),
        }
    }

    /// The same without asking who it is.
    pub(crate) fn of_nobody(desk: &Desk, headers: &HeaderMap, uri: &Uri) -> Visit {
        let language = cookie(headers, "language").and_then(Language::of_code);
        let language = language.unwrap_or_else(|| accepted(headers));
        Visit {
            language,
            unit: cookie(headers, "unit").and_then(unit_of),
            site: cookie(headers, "site").and_then(|site| site.parse().ok()),
            path: uri
                .path_and_query()
                .map_or("/", |path| path.as_str())
                .to_owned(),
            caller: None,
            secret: String::new(),
            is_simulated: desk.clock().is_simulated(),
        }
    }

    pub(crate) fn words(&self) -> &'static Words {
        self.language.words()
    }

    pub(crate) fn caller(&self) -> Option<&Caller> {
        self.caller.as_ref()
    }

    /// SHA-256 of the session, where there is one.
    pub(crate) fn session(&self) -> Option<String> {
        (!self.secret.is_empty()).then(|| sha256(self.secret.as_bytes()))
    }

    /// What the forms of this session bear. It tells nothing of the session's secret.
    pub(crate) fn token(&self) -> String {
        if self.secret.is_empty() {
            return String::new();
        }
        sha256(format!("form {}", self.secret).as_bytes())
    }

    /// Whoever is signed in, if anybody is.
    pub(crate) fn signed_in(self) -> Option<SignedIn> {
        let caller = self.caller.clone()?;
        Some(SignedIn {
            visit: self,
            caller,
        })
    }

    #[cfg(test)]
    pub(crate) fn sample(language: Language, role: Option<desk::Role>) -> Visit {
        Visit {
            language,
            unit: None,
            site: None,
            path: "/tickets".to_owned(),
            caller: role.map(|role| Caller {
                party: "wren-haldane".to_owned(),
                role,
                key: 1,
                key_name: "phone".to_owned(),
            }),
            secret: "a secret".to_owned(),
            is_simulated: true,
        }
    }
}

impl SignedIn {
    pub(crate) fn words(&self) -> &'static Words {
        self.visit.words()
    }

    pub(crate) fn language(&self) -> Language {
        self.visit.language
    }

    pub(crate) fn token(&self) -> String {
        self.visit.token()
    }

    /// The site looked at: the one chosen, else the first the caller reaches.
    pub(crate) async fn site(&self, desk: &Desk) -> Result<Site, Refused> {
        let sites = desk.sites(&self.caller).await?;
        let chosen = |site: &&Site| Some(site.number) == self.visit.site;
        let site = sites.iter().find(chosen).or_else(|| sites.first());
        site.cloned().ok_or(Refused::NoSite)
    }

    /// The unit weights are read in.
    pub(crate) fn unit(&self, site: &Site) -> WeightUnit {
        self.visit.unit.unwrap_or(site.shown_unit)
    }
}

impl FromRequestParts<House> for Visit {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, house: &House) -> Result<Visit, Response> {
        Visit::of(house, &parts.headers, &parts.uri)
            .await
            .map_err(|refused| in_no_frame(house, &parts.headers, refused))
    }
}

impl FromRequestParts<House> for SignedIn {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, house: &House) -> Result<SignedIn, Response> {
        let visit = Visit::from_request_parts(parts, house).await?;
        visit.signed_in().ok_or_else(|| see("/sign-in"))
    }
}

/// Chooses a language and goes back.
pub(crate) async fn set_language(
    State(house): State<House>,
    Path(code): Path<String>,
    uri: Uri,
) -> Response {
    let known = Language::of_code(&code).map(Language::code);
    chosen(&house, "language", known.unwrap_or_default(), &uri)
}

/// Chooses the unit that weights are read in and goes back.
pub(crate) async fn set_unit(
    State(house): State<House>,
    Path(symbol): Path<String>,
    uri: Uri,
) -> Response {
    let known = unit_of(&symbol).map(WeightUnit::symbol);
    chosen(&house, "unit", known.unwrap_or_default(), &uri)
}

/// Chooses a site and goes back. Whether it is one of theirs is asked where it is used.
pub(crate) async fn set_site(
    State(house): State<House>,
    Path(number): Path<i64>,
    uri: Uri,
) -> Response {
    chosen(&house, "site", &number.to_string(), &uri)
}

fn chosen(house: &House, name: &str, value: &str, uri: &Uri) -> Response {
    let fields = form::query(uri);
    let mut answer = see(own_path(fields.get("to")));
    let secure = if house.is_secure { "; Secure" } else { "" };
    let cookie =
        format!("{name}={value}; Path=/; Max-Age={A_YEAR_S}; HttpOnly; SameSite=Lax{secure}");
    add_cookie(&mut answer, &cookie);
    answer
}

/// A path of this house, or its first page: never another host.
pub(crate) fn own_path(asked: &str) -> &str {
    let is_own = asked.starts_with('/')
        && !asked.starts_with("//")
        && !asked.contains(['\\', '\r', '\n'])
        && asked.is_ascii();
    if is_own { asked } else { "/" }
}

/// Has the browser go to another page by GET.
pub(crate) fn see(path: &str) -> Response {
    let mut answer = StatusCode::SEE_OTHER.into_response();
    if let Ok(path) = HeaderValue::from_str(path) {
        answer.headers_mut().insert(LOCATION, path);
    }
    answer
}

/// Hands the browser its session.
pub(crate) fn begin(house: &House, answer: &mut Response, secret: &str) {
    let lasts = SESSION_LASTS_US / 1_000_000;
    session_cookie(house, answer, secret, lasts);
}

/// Has the browser forget its session.
pub(crate) fn forget(house: &House, answer: &mut Response) {
    session_cookie(house, answer, "", 0);
}

fn session_cookie(house: &House, answer: &mut Response, value: &str, max_age: i64) {
    let name = cookie_name(house.is_secure);
    let secure = if house.is_secure { "; Secure" } else { "" };
    let cookie =
        format!("{name}={value}; Path=/; Max-Age={max_age}; HttpOnly; SameSite=Lax{secure}");
    add_cookie(answer, &cookie);
}

fn add_cookie(answer: &mut Response, cookie: &str) {
    if let Ok(cookie) = HeaderValue::from_str(cookie) {
        answer.headers_mut().append(SET_COOKIE, cookie);
    }
}

fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|line| line.to_str().ok())
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, value)| *key == name && !value.is_empty())
        .map(|(_, value)| value)
}

fn unit_of(symbol: &str) -> Option<WeightUnit> {
    [WeightUnit::Lb, WeightUnit::Kg]
        .into_iter()
        .find(|unit| unit.symbol() == symbol)
}

/// The first of our languages that the browser names; its weights are left aside.
fn accepted(headers: &HeaderMap) -> Language {
    let asked = headers
        .get(ACCEPT_LANGUAGE)
        .and_then(|line| line.to_str().ok());
    let mut codes = asked.unwrap_or_default().split(',').filter_map(|item| {
        let code = item.split([';', '-']).next().unwrap_or_default();
        Language::of_code(&code.trim().to_ascii_lowercase())
    });
    codes.next().unwrap_or(Language::English)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn nobody_is_sent_to_another_host() {
        for own in ["/", "/tickets?from=2031-05-01", "/sign-in"] {
            assert_eq!(own_path(own), own);
        }
        for other in ["", "//evil", "https://evil/", "evil", "/\\evil", "/a\r\nb"] {
            assert_eq!(own_path(other), "/", "{other:?}");
        }
    }

    #[test]
    fn a_cookie_is_found_by_its_whole_name() {
        let mut headers = HeaderMap::new();
        headers.append(COOKIE, "xunit=lb; unit=kg; language=".parse().unwrap());
        headers.append(COOKIE, "site=2".parse().unwrap());
        assert_eq!(cookie(&headers, "unit"), Some("kg"));
        assert_eq!(cookie(&headers, "site"), Some("2"));
        assert_eq!(cookie(&headers, "language"), None);
    }

    #[test]
    fn a_browser_is_answered_in_the_first_of_its_languages_that_there_is() {
        for (asked, code) in [
            ("", "en"),
            ("es", "es"),
            ("es-MX,es;q=0.9,en;q=0.8", "es"),
            ("fr-FR, es;q=0.5", "es"),
            ("fr", "en"),
            ("EN-us,es", "en"),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(ACCEPT_LANGUAGE, asked.parse().unwrap());
            assert_eq!(accepted(&headers).code(), code, "{asked}");
        }
    }
}
