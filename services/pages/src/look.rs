//! The style, the scripts and the mark: a few files, served under the hash of what is in
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
const MARK: &str = include_str!("../look/mark.svg");

/// Short enough to read, long enough to differ.
const DIGITS: usize = 12;

static STYLE_PATH: LazyLock<String> = LazyLock::new(|| path(STYLE, "css"));
static SCRIPT_PATH: LazyLock<String> = LazyLock::new(|| path(SCRIPT, "js"));
static SCALE_PATH: LazyLock<String> = LazyLock::new(|| path(SCALE, "js"));
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

/// One of them.
pub(crate) async fn file(
    State(house): State<House>,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Response {
    let path = format!("/look/{name}");
    let files = [
        (style_path(), "text/css; charset=utf-8", STYLE),
        (script_path(), "text/javascript; charset=utf-8", SCRIPT),
        (scale_path(), "text/javascript; charset=utf-8", SCALE),
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
        for file in [STYLE, SCRIPT, SCALE] {
            for word in ["http:", "https:", "@import", "url(", "eval(", "innerHTML"] {
                assert!(!file.contains(word), "{word}");
            }
        }
    }
}
