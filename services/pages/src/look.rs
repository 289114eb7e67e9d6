//! The style, the scripts and the mark: files that are served under the hash of what is in
//! them so that a browser keeps them for good.

use std::sync::LazyLock;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};

use crate::house::House;
use crate::refused::{Refused, in_no_frame};

const STYLE: &str = include_str!("../look/ticket.css");
const SCRIPT: &str = include_str!("../look/page.js");
const SCALE: &str = include_str!("../look/scale.js");
/// Keeps objects in a browser: the library idb, under its own licence.
const KEEP: &str = include_str!("../look/idb.js");
const PRICE: &str = include_str!("../look/price.js");
const RECEIVED: &str = include_str!("../look/received.js");
const WEIGH_IN: &str = include_str!("../look/weigh_in.js");
const MARK: &str = include_str!("../look/mark.svg");

/// Short enough to read, long enough to differ.
const DIGITS: usize = 12;

static STYLE_PATH: LazyLock<String> = LazyLock::new(|| path(STYLE, "css"));
static SCRIPT_PATH: LazyLock<String> = LazyLock::new(|| path(SCRIPT, "js"));
static SCALE_PATH: LazyLock<String> = LazyLock::new(|| path(SCALE, "js"));
static KEEP_PATH: LazyLock<String> = LazyLock::new(|| path(KEEP, "js"));
static PRICE_PATH: LazyLock<String> = LazyLock::new(|| path(PRICE, "js"));
static RECEIVED_PATH: LazyLock<String> = LazyLock::new(|| path(RECEIVED, "js"));
static WEIGH_IN_PATH: LazyLock<String> = LazyLock::new(|| path(WEIGH_IN, "js"));
static MARK_PATH: LazyLock<String> = LazyLock::new(|| path(MARK, "svg"));

fn path(content: &str, ending: &str) -> String {
    let hash: String = desk::secret::sha256(content.as_bytes())
        .chars()
        .take(DIGITS)
        .collect();
    format!("/look/{hash}.{ending}")
}

pub(crate) fn style_path() -> &'static str {
    &STYLE_PATH
}

pub(crate) fn script_path() -> &'static str {
    &SCRIPT_PATH
}

pub(crate) fn scale_path() -> &'static str {
    &SCALE_PATH
}

pub(crate) fn mark_path() -> &'static str {
    &MARK_PATH
}

/// What the page of a weigh-in has beside the script of every page, in order.
pub(crate) fn weigh_in_scripts() -> [&'static str; 4] {
    [&KEEP_PATH, &PRICE_PATH, &RECEIVED_PATH, &WEIGH_IN_PATH]
}

/// One of them.
pub(crate) async fn file(
    State(house): State<House>,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Response {
    let path = format!("/look/{name}");
    let script = "text/javascript; charset=utf-8";
    let [keep, price, received, weigh_in] = weigh_in_scripts();
    let files = [
        (style_path(), "text/css; charset=utf-8", STYLE),
        (script_path(), script, SCRIPT),
        (scale_path(), script, SCALE),
        (keep, script, KEEP),
        (price, script, PRICE),
        (received, script, RECEIVED),
        (weigh_in, script, WEIGH_IN),
        (mark_path(), "image/svg+xml", MARK),
    ];
    match files.into_iter().find(|(own, ..)| *own == path) {
        None => in_no_frame(&house, &headers, Refused::NotFound),
        Some((_, kind, content)) => {
            let kept = "public, max-age=31536000, immutable";
            ([(CONTENT_TYPE, kind), (CACHE_CONTROL, kept)], content).into_response()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_style_is_small_and_asks_nothing_of_another_host() {
        assert!(STYLE.len() < 20_000, "{} bytes", STYLE.len());
        for script in [SCRIPT, SCALE] {
            assert!(script.len() < 10_000, "{} bytes", script.len());
        }
        let weigh_in: usize = [KEEP, PRICE, RECEIVED, WEIGH_IN].map(str::len).iter().sum();
        assert!(weigh_in < 65_000, "{weigh_in} bytes");
        for file in [STYLE, SCRIPT, SCALE, KEEP, PRICE, RECEIVED, WEIGH_IN] {
            for word in ["http:", "https:", "@import", "url(", "eval(", "innerHTML"] {
                assert!(!file.contains(word), "{word}");
            }
        }
    }
}
