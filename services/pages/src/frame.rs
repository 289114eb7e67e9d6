//! What stands around every page: where one is, where one can go, who is signed in.

use desk::access::{Reach, reach};
use desk::{Caller, Role};

use crate::look;
use crate::visit::{SignedIn, Visit};
use crate::words::{Language, Words};

/// Around a page.
pub(crate) struct Frame {
    pub(crate) w: &'static Words,
    pub(crate) language: Language,
    /// Of the page, and its first heading.
    pub(crate) title: String,
    /// Where one can go.
    pub(crate) ways: Vec<Way>,
    /// Who is signed in, in words; empty for nobody.
    pub(crate) who: String,
    /// What forms of this session bear.
    pub(crate) token: String,
    /// Where the choices lead back to.
    pub(crate) here: String,
    /// Path asked for, without its query.
    pub(crate) path: String,
    pub(crate) is_simulated: bool,
    pub(crate) look: &'static str,
    pub(crate) script: &'static str,
    pub(crate) mark: &'static str,
}

/// A page one can go to.
pub(crate) struct Way {
    pub(crate) path: &'static str,
    pub(crate) words: &'static str,
    pub(crate) is_here: bool,
}

impl Frame {
    /// Around a page that is called `title`.
    pub(crate) fn of(visit: &Visit, title: impl Into<String>) -> Frame {
        let w = visit.words();
        let path = visit.path.split('?').next().unwrap_or("/");
        let ways = visit.caller().map_or_else(Vec::new, |caller| {
            ways(w, caller)
                .into_iter()
                .map(|(path_to, words)| Way {
                    path: path_to,
                    words,
                    is_here: path == path_to,
                })
                .collect()
        });
        let who = visit.caller().map_or_else(String::new, |caller| {
            let role = visit.language.term(caller.role.word());
            match caller.party.as_str() {
                "" => role.to_owned(),
                party => format!("{role} {party}"),
            }
        });
        Frame {
            w,
            language: visit.language,
            title: title.into(),
            ways,
            who,
            token: visit.token(),
            here: escaped(&visit.path),
            path: path.to_owned(),
            is_simulated: visit.is_simulated,
            look: look::style_path(),
            script: look::script_path(),
            mark: look::mark_path(),
        }
    }

    /// The same, for somebody who is signed in.
    pub(crate) fn around(who: &SignedIn, title: impl Into<String>) -> Frame {
        Frame::of(&who.visit, title)
    }

    /// The languages, to choose from.
    pub(crate) fn languages(&self) -> [Language; 2] {
        Language::ALL
    }
}

/// A path as it stands in another's query.
fn escaped(path: &str) -> String {
    form_urlencoded::byte_serialize(path.as_bytes()).collect()
}

/// Pages that a caller reaches, in the order of a day.
pub(crate) fn ways(w: &'static Words, caller: &Caller) -> Vec<(&'static str, &'static str)> {
    let is_diver = caller.role == Role::Diver;
    let all = [
        ("weigh_in", "/weigh-in", w.weigh_in),
        ("making", "/cut", w.cut),
        (
            "tickets",
            "/tickets",
            if is_diver { w.my_tickets } else { w.tickets },
        ),
        (
            "statement",
            "/statement",
            if is_diver {
                w.my_statement
            } else {
                w.statement
            },
        ),
        ("yields", "/yields", w.yields),
        ("close", "/days", w.days),
        ("flags", "/flags", w.flags),
        ("propose_plan", "/plan", w.plan),
        ("lot", "/lots", w.lots),
        ("price_lists", "/prices", w.prices),
        ("keys", "/parties", w.parties),
        ("keys", "/keys", w.keys),
    ];
    all.into_iter()
        .filter(|(act, ..)| reach(caller.role, act) != Reach::No)
        .map(|(_, path, words)| (path, words))
        .collect()
}
