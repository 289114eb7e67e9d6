//! What holds for every page, whatever it is: how long it may take, what a browser may
//! do with it, and that a form was sent from a page of this house.

use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderName, HeaderValue, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, Method, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

use crate::house::House;
use crate::refused::{Refused, in_no_frame};

/// Longest that a page may take.
const TIME: Duration = Duration::from_secs(10);

/// Nothing is loaded, sent or framed but from and to this house, and no script or style
/// stands in a page.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; \
                      connect-src 'self'; form-action 'self'; frame-ancestors 'none'; \
                      base-uri 'none'; manifest-src 'self'; worker-src 'self'";

const SAME_ORIGIN_OPENER: HeaderName = HeaderName::from_static("cross-origin-opener-policy");
const SAME_ORIGIN_RESOURCE: HeaderName = HeaderName::from_static("cross-origin-resource-policy");
const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// Stands before every page.
pub(crate) async fn keep(State(house): State<House>, request: Request, next: Next) -> Response {
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    let answer = if reads || is_from_here(request.headers(), request.uri()) {
        let headers = request.headers().clone();
        match tokio::time::timeout(TIME, next.run(request)).await {
            Ok(answer) => answer,
            Err(_) => in_no_frame(&house, &headers, Refused::Late),
        }
    } else {
        tracing::debug!("a form from elsewhere was refused");
        house
            .desk
            .refused("anybody", "pages", "FORM_FROM_ELSEWHERE", "")
            .await;
        in_no_frame(&house, request.headers(), Refused::FromElsewhere)
    };
    guarded(answer)
}

/// Whether a form was sent by a page of this house: the browser says so itself, or by
/// the page's origin where it is too old for that. What says neither is not let in.
fn is_from_here(headers: &HeaderMap, uri: &Uri) -> bool {
    if let Some(site) = headers.get(FETCH_SITE) {
        return site == "same-origin";
    }
    let said = headers.get(ORIGIN).and_then(|origin| origin.to_str().ok());
    let Some((_, origin)) = said.and_then(|origin| origin.split_once("://")) else {
        return false;
    };
    asked_host(headers, uri).is_some_and(|host| host.eq_ignore_ascii_case(origin))
}

/// The host that was asked: HTTP/2 says it in the address.
pub(crate) fn asked_host<'a>(headers: &'a HeaderMap, uri: &'a Uri) -> Option<&'a str> {
    let in_address = uri.authority().map(|authority| authority.as_str());
    in_address.or_else(|| headers.get(HOST).and_then(|host| host.to_str().ok()))
}

fn guarded(answer: Response) -> Response {
    let mut answer = answer.into_response();
    let headers = answer.headers_mut();
    for (name, value) in [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // Browsers hide a form's origin from the house itself under `no-referrer`.
        (REFERRER_POLICY, "same-origin"),
        (SAME_ORIGIN_OPENER, "same-origin"),
        (SAME_ORIGIN_RESOURCE, "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // What is somebody's own stays in no cache; the look says otherwise of itself.
    headers
        .entry(CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    answer
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn a_form_comes_from_here_or_is_not_let_in() {
        // sec-fetch-site  origin                  host           let in
        for (site, origin, host, expected) in [
            ("same-origin", "", "dock:7420", true),
            ("same-origin", "http://evil", "dock:7420", true), // the browser knows better
            ("cross-site", "http://dock:7420", "dock:7420", false),
            ("same-site", "", "dock:7420", false),
            ("none", "", "dock:7420", false),
            ("", "http://dock:7420", "dock:7420", true),
            ("", "https://DOCK:7420", "dock:7420", true),
            ("", "http://dock:7421", "dock:7420", false),
            ("", "http://dock.evil:7420", "dock:7420", false),
            ("", "null", "dock:7420", false),
            ("", "", "dock:7420", false),
            ("", "http://dock:7420", "", false),
        ] {
            let mut headers = HeaderMap::new();
            for (name, value) in [(FETCH_SITE, site), (ORIGIN, origin), (HOST, host)] {
                if !value.is_empty() {
                    headers.insert(name, value.parse().unwrap());
                }
            }
            let uri = Uri::from_static("/tickets");
            assert_eq!(
                is_from_here(&headers, &uri),
                expected,
                "{site} {origin} {host}"
            );
        }
        let mut headers = HeaderMap::new();
        headers.insert(ORIGIN, "https://dock".parse().unwrap());
        assert!(is_from_here(&headers, &Uri::from_static("https://dock/a")));
    }
}
