//! Sentences of the rules in Spanish.
//!
//! A close, a ticket and a plan are documents: the sentences in them were written down in
//! English once, and are put into Spanish when somebody reads them. A **phrase** is an
//! English sentence with named holes and its Spanish with the same holes:
//!
//! ```text
//! "{weight} missing over the whole site, of {all:weight} handled. {explained:said}"
//! "Faltan {weight} en todo el sitio, de {all} manejados. {explained}"
//! ```
//!
//! What a hole takes is its kind (see [`Kind`]): the word after the colon, else its name.
//! A sentence is put into Spanish whole or not at all. Where a word in it has no Spanish,
//! or no phrase fits, it stands in English, and the page marks it so. The first phrase that
//! fits says it. A text of several sentences one after another is put so one by one.
//!
//! Phrases stand in files by who says them. A sentence that is written otherwise from now
//! on keeps its old phrase in [`old`], because documents keep what was written in them.

mod charts;
mod flags;
mod next_steps;
mod notices;
mod old;
mod plan;
mod receiving;
mod refusals;
mod statement;
mod yields;

use std::sync::{LazyLock, OnceLock};

use regex::Regex;
use rules::settlement::cash::Method;

use crate::words::spanish_term;

/// An English sentence with holes, and its Spanish.
type Pair = (&'static str, &'static str);

/// Bytes from which on a text is no sentence of the rules.
const LONGEST: usize = 2_000;

/// Sentences one after another in a text.
const MOST_SENTENCES: usize = 8;

/// Phrases within phrases.
const DEEPEST: usize = 6;

/// Texts and parts of them that are held against the book for one text.
const MOST_TRIES: usize = 512;

/// By who says them. The old ones stand last.
const FILES: [&[Pair]; 10] = [
    yields::PHRASES,
    flags::PHRASES,
    next_steps::PHRASES,
    notices::PHRASES,
    receiving::PHRASES,
    refusals::PHRASES,
    plan::PHRASES,
    statement::PHRASES,
    charts::PHRASES,
    old::PHRASES,
];

/// All phrases; where two fit, the first says it.
static BOOK: LazyLock<Vec<Phrase>> =
    LazyLock::new(|| FILES.into_iter().flatten().map(Phrase::of).collect());

/// An English sentence of the rules in Spanish; `None` where it has none.
pub(crate) fn spanish(english: &str) -> Option<String> {
    Reader::default().said(english)
}

/// What a hole takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// `{n}`: a whole number, or the id of an entry.
    Whole,
    /// `{number}`: a decimal number.
    Number,
    /// `{weight}`, `{money}`, `{reading}`: a decimal number and its unit.
    Measure,
    /// `{width}`: a measure that may be more or less.
    Width,
    /// `{day}`: a date.
    Day,
    /// `{code}`: anything without a blank.
    Code,
    /// `{method}`: how money was handed over, put into Spanish.
    Method,
    /// `{name}`: what people wrote, kept as it is.
    Name,
    /// `{known}`: what people wrote, or a phrase where nobody wrote anything.
    Known,
    /// `{term}`: a trade word, put into Spanish.
    Term,
    /// `{said}`: a phrase or a trade word, put into Spanish; figures and codes are kept.
    Said,
}

impl Kind {
    fn of_word(word: &str) -> Option<Kind> {
        Some(match word {
            "n" => Kind::Whole,
            "number" => Kind::Number,
            "weight" | "money" | "reading" => Kind::Measure,
            "width" => Kind::Width,
            "day" => Kind::Day,
            "code" => Kind::Code,
            "method" => Kind::Method,
            "name" => Kind::Name,
            "known" => Kind::Known,
            "term" => Kind::Term,
            "said" => Kind::Said,
            _ => return None,
        })
    }

    /// What it takes, as a regular expression.
    fn pattern(self) -> String {
        match self {
            Kind::Whole => "-?[0-9]+".to_owned(),
            Kind::Number => r"-?[0-9]+(?:\.[0-9]+)?".to_owned(),
            Kind::Measure => r"-?[0-9]+(?:\.[0-9]+)? [A-Za-z]+".to_owned(),
            Kind::Width => r"\+/- [0-9]+(?:\.[0-9]+)? [A-Za-z]+".to_owned(),
            Kind::Day => "[0-9]{4}-[0-9]{2}-[0-9]{2}".to_owned(),
            Kind::Code => "[^ ]+".to_owned(),
            Kind::Method => {
                let words = Method::ALL
                    .iter()
                    .map(|method| regex::escape(method.word()));
                words.collect::<Vec<_>>().join("|")
            }
            Kind::Name | Kind::Known | Kind::Term | Kind::Said => ".+?".to_owned(),
        }
    }
}

/// A named hole of a phrase.
#[derive(Debug, PartialEq, Eq)]
struct Hole {
    name: &'static str,
    kind: Kind,
}

/// A piece of either side of a phrase.
#[derive(Debug, PartialEq, Eq)]
enum Piece {
    Words(&'static str),
    Hole(Hole),
}

/// A phrase, read.
struct Phrase {
    english: Vec<Piece>,
    spanish: Vec<Piece>,
    /// Worked out the first time that a text begins and ends as the phrase does.
    pattern: OnceLock<Option<Regex>>,
}

impl Phrase {
    fn of(&(english, spanish): &Pair) -> Phrase {
        Phrase {
            english: pieces(english),
            spanish: pieces(spanish),
            pattern: OnceLock::new(),
        }
    }

    fn holes(&self) -> impl Iterator<Item = &Hole> {
        holes(&self.english)
    }

    /// Whether a text begins and ends as the phrase does: that is cheap.
    fn may_fit(&self, text: &str) -> bool {
        let begins = match self.english.first() {
            Some(Piece::Words(words)) => text.starts_with(words),
            _ => true,
        };
        let ends = match self.english.last() {
            Some(Piece::Words(words)) => text.ends_with(words),
            _ => true,
        };
        begins && ends
    }

    fn pattern(&self) -> Option<&Regex> {
        let pattern = self.pattern.get_or_init(|| {
            let mut pattern = String::from("^");
            for piece in &self.english {
                match piece {
                    Piece::Words(words) => pattern.push_str(&regex::escape(words)),
                    Piece::Hole(hole) => {
                        pattern.push('(');
                        pattern.push_str(&hole.kind.pattern());
                        pattern.push(')');
                    }
                }
            }
            pattern.push('$');
            Regex::new(&pattern).ok()
        });
        pattern.as_ref()
    }
}

fn holes(pieces: &[Piece]) -> impl Iterator<Item = &Hole> {
    pieces.iter().filter_map(|piece| match piece {
        Piece::Hole(hole) => Some(hole),
        Piece::Words(_) => None,
    })
}

/// A side of a phrase in pieces. A brace without its other half is a word; a kind that
/// there is none of takes nothing but a trade word, and a test finds it.
fn pieces(side: &'static str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut rest = side;
    while let Some((words, after)) = rest.split_once('{') {
        let Some((hole, after)) = after.split_once('}') else {
            break;
        };
        if !words.is_empty() {
            pieces.push(Piece::Words(words));
        }
        let (name, kind) = hole.split_once(':').unwrap_or((hole, hole));
        pieces.push(Piece::Hole(Hole {
            name,
            kind: Kind::of_word(kind).unwrap_or(Kind::Term),
        }));
        rest = after;
    }
    if !rest.is_empty() {
        pieces.push(Piece::Words(rest));
    }
    pieces
}

/// Reads one text: so many tries and no more, whatever stands in it.
#[derive(Default)]
struct Reader {
    tries: usize,
    depth: usize,
}

impl Reader {
    /// A text of one or several sentences.
    fn said(&mut self, text: &str) -> Option<String> {
        if text.len() > LONGEST || self.depth >= DEEPEST || self.tries >= MOST_TRIES {
            return None;
        }
        self.depth += 1;
        let said = self.phrase(text).or_else(|| self.one_by_one(text));
        self.depth -= 1;
        said
    }

    /// A text that one phrase says.
    fn phrase(&mut self, text: &str) -> Option<String> {
        if self.tries >= MOST_TRIES {
            return None;
        }
        self.tries += 1;
        let mut fitting = BOOK.iter().filter(|phrase| phrase.may_fit(text));
        fitting.find_map(|phrase| self.filled(phrase, text))
    }

    /// Sentences one after another, each said by a phrase.
    fn one_by_one(&mut self, text: &str) -> Option<String> {
        let mut said = Vec::new();
        let mut rest = text;
        while said.len() < MOST_SENTENCES {
            // All of the text was held against the book before.
            let last = match said.is_empty() {
                true => None,
                false => self.phrase(rest),
            };
            if let Some(last) = last {
                said.push(last);
                return Some(said.join(" "));
            }
            let ends = rest.match_indices(". ").chain(rest.match_indices("? "));
            let mut ends: Vec<usize> = ends.map(|(at, _)| at).collect();
            ends.sort_unstable();
            let first = ends.into_iter().take(MOST_SENTENCES).find_map(|at| {
                // The mark and the blank are of one byte each.
                let (one, after) = (rest.get(..=at)?, rest.get(at + 2..)?);
                Some((self.phrase(one)?, after))
            });
            let (one, after) = first?;
            said.push(one);
            rest = after;
        }
        None
    }

    /// The Spanish of a phrase, filled with what the text has in its holes.
    fn filled(&mut self, phrase: &Phrase, text: &str) -> Option<String> {
        let found = phrase.pattern()?.captures(text)?;
        let mut holes = Vec::new();
        for (hole, n) in phrase.holes().zip(1..) {
            holes.push((hole.name, self.in_hole(hole.kind, found.get(n)?.as_str())?));
        }
        let mut said = String::new();
        for piece in &phrase.spanish {
            match piece {
                Piece::Words(words) => said.push_str(words),
                Piece::Hole(Hole { name, .. }) => {
                    let (_, words) = holes.iter().find(|(of, _)| of == name)?;
                    said.push_str(words);
                }
            }
        }
        Some(said)
    }

    fn in_hole(&mut self, kind: Kind, text: &str) -> Option<String> {
        match kind {
            Kind::Whole
            | Kind::Number
            | Kind::Measure
            | Kind::Width
            | Kind::Day
            | Kind::Code
            | Kind::Name => Some(text.to_owned()),
            Kind::Known => Some(self.said(text).unwrap_or_else(|| text.to_owned())),
            Kind::Term | Kind::Method => spanish_term(text).map(str::to_owned),
            Kind::Said => {
                let term = spanish_term(text).map(str::to_owned);
                let kept = || is_figure(text).then(|| text.to_owned());
                term.or_else(kept).or_else(|| self.said(text))
            }
        }
    }
}

/// Figures, with a unit or without, and codes: the same in every language.
fn is_figure(text: &str) -> bool {
    let is_code = |text: &str| {
        let mut bytes = text.bytes();
        bytes.all(|b| b.is_ascii_digit() || b.is_ascii_uppercase() || b"/.-".contains(&b))
    };
    match text.split_once(' ') {
        None => is_code(text),
        Some((figure, unit)) => {
            is_code(figure) && ["lb", "kg", "oz", "g", "F", "C"].contains(&unit)
        }
    }
}

#[cfg(test)]
mod tests;
