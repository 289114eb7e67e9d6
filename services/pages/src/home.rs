//! The first page: what this key reaches.

use askama::Template;
use axum::response::Response;

use crate::frame::Frame;
use crate::refused::answer;
use crate::visit::SignedIn;

#[derive(Template)]
#[template(path = "home.html")]
struct Page {
    f: Frame,
}

/// `GET /`.
pub(crate) async fn page(who: SignedIn) -> Response {
    let f = Frame::around(&who, who.words().home);
    answer(&who.visit, Ok(Page { f }))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::access::ROLES;

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    #[test]
    fn it_renders_for_each_role_in_both_languages() {
        for language in Language::ALL {
            for role in ROLES {
                let visit = Visit::sample(language, Some(role));
                let page = Page {
                    f: Frame::of(&visit, visit.words().home),
                };
                let ways = page.f.ways.len();
                let html = page.render().unwrap();
                assert!(ways > 0, "{role:?} reaches something");
                assert!(html.contains(&format!("lang=\"{}\"", language.code())));
            }
        }
    }
}
