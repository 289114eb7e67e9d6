//! Every part that pages are made of, once, with its sample. Nothing on it is anybody's.

use askama::Template;
use axum::response::Response;

use crate::frame::Frame;
use crate::refused::answer;
use crate::visit::Visit;

#[derive(Template)]
#[template(path = "components.html")]
struct Page {
    f: Frame,
}

/// `GET /components`.
pub(crate) async fn page(visit: Visit) -> Response {
    let f = Frame::of(&visit, visit.words().components);
    answer(&visit, Ok(Page { f }))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::words::Language;

    #[test]
    fn it_shows_every_class_that_the_style_draws() {
        let style = include_str!("../look/ticket.css");
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(desk::Role::Office));
            let f = Frame::of(&visit, visit.words().components);
            let html = Page { f }.render().unwrap();
            for class in [
                "ticket", "stub", "facts", "says", "field", "keypad", "flag", "notice", "caution",
                "empty", "slips", "way", "quiet", "scroll", "check", "row", "code", "struck",
            ] {
                assert!(style.contains(&format!(".{class}")), "{class} is drawn");
                let in_page = html.split("class=\"").skip(1);
                let mut used = in_page.filter_map(|rest| rest.split('"').next());
                assert!(
                    used.any(|list| list.split(' ').any(|name| name == class)),
                    "{class}"
                );
            }
            assert!(html.contains("<figure"), "a chart");
        }
    }
}
