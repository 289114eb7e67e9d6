//! What a page says when it is not given.

use askama::Template;
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{Html, IntoResponse as _, Response};
use desk::DeskError;

use crate::frame::Frame;
use crate::house::House;
use crate::visit::Visit;
use crate::words::{Language, Said, Words};

/// Why a page is not given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Refused {
    /// No such page, or not theirs: told alike.
    NotFound,
    /// A form that no page of this session sent.
    FromElsewhere,
    /// A form above the limit.
    TooLong,
    /// It took too long.
    Late,
    /// This key asks too often.
    TooOften,
    /// The key reaches no site.
    NoSite,
    /// A rule refused it.
    Said { field: String, rule: Rule },
    /// The book cannot be reached.
    Unavailable,
    /// Our fault.
    Internal,
}

/// A rule that refused something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Rule {
    /// In the words of a page, so in its language.
    Ours(&'static str),
    /// In those of the book, English.
    Book(String),
}

impl From<&'static str> for Rule {
    fn from(words: &'static str) -> Rule {
        Rule::Ours(words)
    }
}

impl From<String> for Rule {
    fn from(words: String) -> Rule {
        Rule::Book(words)
    }
}

impl Rule {
    /// As a page in a language says it.
    pub(crate) fn said(&self, language: Language) -> Said {
        match self {
            Rule::Ours(words) => ((*words).to_owned(), true),
            Rule::Book(words) => language.sentence(words),
        }
    }
}

impl From<DeskError> for Refused {
    fn from(error: DeskError) -> Refused {
        match error {
            // Whether it exists is not for everybody to know.
            DeskError::NotFound { .. } | DeskError::Denied => Refused::NotFound,
            DeskError::Malformed { field, rule, .. } => Refused::said(field, rule),
            DeskError::Precondition { rule, field, .. } => Refused::said(field, rule),
            DeskError::OtherBody => Refused::said("", DeskError::OtherBody.to_string()),
            DeskError::Busy | DeskError::Unavailable => Refused::Unavailable,
            DeskError::Internal => Refused::Internal,
        }
    }
}

#[derive(Template)]
#[template(path = "refused.html")]
struct Page {
    f: Frame,
    said: String,
    /// The rule, and the field it is about.
    rule: Said,
}

impl Refused {
    /// By a rule, of a field; of nothing in particular where that is empty.
    pub(crate) fn said(field: impl Into<String>, rule: impl Into<Rule>) -> Refused {
        Refused::Said {
            field: field.into(),
            rule: rule.into(),
        }
    }

    pub(crate) fn status(&self) -> StatusCode {
        match self {
            Refused::NotFound => StatusCode::NOT_FOUND,
            Refused::FromElsewhere => StatusCode::FORBIDDEN,
            Refused::TooLong => StatusCode::PAYLOAD_TOO_LARGE,
            Refused::Late | Refused::Unavailable => StatusCode::SERVICE_UNAVAILABLE,
            Refused::TooOften => StatusCode::TOO_MANY_REQUESTS,
            Refused::NoSite => StatusCode::CONFLICT,
            Refused::Said { .. } => StatusCode::UNPROCESSABLE_ENTITY,
            Refused::Internal => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// What is said of it; of what the desk refused, what stands before its own words.
    pub(crate) fn words(&self, w: &Words) -> &'static str {
        match self {
            Refused::NotFound => w.not_found,
            Refused::FromElsewhere => w.from_elsewhere,
            Refused::TooLong => w.too_long,
            Refused::Late => w.late,
            Refused::TooOften => w.too_often,
            Refused::NoSite => w.no_site,
            Refused::Unavailable => w.unavailable,
            Refused::Internal => w.internal,
            Refused::Said { .. } => w.refused_hint,
        }
    }

    /// What can be mended in a form: said above it, with everything still there. A field
    /// that `is_path` is the desk's own name for a place that its rule tells in words, and is
    /// left out.
    ///
    /// # Errors
    /// Whatever no form can mend.
    pub(crate) fn in_form(
        self,
        language: Language,
        is_path: impl Fn(&str) -> bool,
    ) -> Result<Said, Refused> {
        match self {
            Refused::Said { field, rule } if is_path(&field) => Ok(rule.said(language)),
            Refused::Said { field, rule } => Ok(named(language, &field, &rule)),
            other => Err(other),
        }
    }

    /// As a page.
    pub(crate) fn page(&self, visit: &Visit) -> Response {
        rendered(self.status(), &self.shown(visit))
    }

    fn shown(&self, visit: &Visit) -> Page {
        let w = visit.words();
        let title = match self {
            Refused::NotFound => w.not_found_title,
            _ => w.refused_title,
        };
        let rule = match self {
            Refused::Said { field, rule } => named(visit.language, field, rule),
            _ => (String::new(), true),
        };
        Page {
            f: Frame::of(visit, title),
            said: self.words(w).to_owned(),
            rule,
        }
    }
}

/// A rule after the field it is about, if it is about one.
fn named(language: Language, field: &str, rule: &Rule) -> Said {
    let (rule, is_ours) = rule.said(language);
    match field {
        "" => (rule, is_ours),
        field => (format!("{field}: {rule}"), is_ours),
    }
}

/// Says it to whoever it is, without looking who that is.
pub(crate) fn in_no_frame(house: &House, headers: &HeaderMap, refused: Refused) -> Response {
    refused.page(&Visit::of_nobody(
        &house.desk,
        headers,
        &Uri::from_static("/"),
    ))
}

/// Whatever is no page.
pub(crate) async fn nothing_here(visit: Visit) -> Response {
    Refused::NotFound.page(&visit)
}

/// A page as an answer.
pub(crate) fn rendered(status: StatusCode, page: &impl Template) -> Response {
    match page.render() {
        Ok(html) => (status, Html(html)).into_response(),
        Err(error) => {
            tracing::error!(%error, "a page does not render");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

/// A page, or why there is none, as an answer.
pub(crate) fn answer<T: Template>(visit: &Visit, page: Result<T, Refused>) -> Response {
    match page {
        Ok(page) => rendered(StatusCode::OK, &page),
        Err(refused) => refused.page(visit),
    }
}

#[cfg(test)]
mod tests {
    use desk::Role;

    use super::*;
    use crate::words::Language;

    #[test]
    fn every_refusal_has_its_words_in_both_languages() {
        let all = [
            Refused::NotFound,
            Refused::FromElsewhere,
            Refused::TooLong,
            Refused::Late,
            Refused::TooOften,
            Refused::NoSite,
            Refused::Unavailable,
            Refused::Internal,
            Refused::from(DeskError::malformed("line", "there is no line 9")),
        ];
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Diver));
            for refused in &all {
                let page = refused.shown(&visit);
                let html = page.render().unwrap_or_default();
                assert!(html.contains(page.f.title.as_str()), "{refused:?}");
                assert!(
                    !page.said.is_empty() && html.contains("<main"),
                    "{refused:?}"
                );
                assert!(refused.status().is_client_error() || refused.status().is_server_error());
            }
        }
    }

    #[test]
    fn what_is_anothers_is_told_like_what_is_not_there() {
        let there_is_none = DeskError::NotFound {
            what: "ticket",
            id: "1".to_owned(),
        };
        assert_eq!(
            Refused::from(there_is_none),
            Refused::from(DeskError::Denied)
        );
    }
}
