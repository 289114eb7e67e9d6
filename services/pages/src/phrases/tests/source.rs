//! Held against the source: what the rules say to people has its Spanish, and no phrase is
//! of a sentence that nobody says any more.
//!
//! A sentence is what stands in a string with a blank in it. Refusals may lack one: a form
//! that is refused for a rare cause says so in English. Strings of tests, comments and
//! attributes are left out.

use std::fs;
use std::path::{Path, PathBuf};

use regex::Regex;

use crate::phrases::{BOOK, Piece, old};
use crate::words::spanish_term;

/// Files of the rules whose strings are refusals of a form, or are no sentences.
const NOT_SAID: &[&str] = &[
    // Proofs of an algorithm.
    "allot/flow.rs",
    "allot/ties.rs",
    // What a form lacks.
    "landing.rs",
    "tally.rs",
    "ticket/refusal.rs",
    // Who published a relation.
    "length_weight.rs",
];

/// Strings of the rules that pages do not show, or are refusals beside what is said.
const NOT_SHOWN: &[&str] = &[
    // Of `codes`: a number that a ticket cannot have.
    "must be left out of a rewrite: it keeps the number of the ticket it mends",
    "is borne only by a ticket of the device that asked for it",
    "is in no block that a device of this site asked for",
    "was given to the device",
    // Of a close: causes are told on its paper, and by commands.
    "fillet under the reference",
    // Of `making` and `stock`: refusals.
    "a dispatch",
    "before hand-over",
    // Of a price list that cannot stand.
    ", grade",
    // What to do where an answer at the dock does not stand: a refusal.
    "weigh it in as refused, with its corrective action",
    "hold it, or weigh it in as refused, with its corrective action",
    "hold it until the area is clear, or weigh it in as refused",
    "it is not said to be iced and cooling (ice_around and iced_at): hold it, or weigh it in as refused, with its corrective action",
    // Figures.
    "0.001 lb",
    "1 g",
];

/// Sentences of the desk that go with fish, on paper and by commands: no page shows them.
const ON_PAPER: &[&str] = &[
    "Contains fish:",
    "Keep at or below",
    "until it is cooked, and cook it through; local health rules come first.",
    "Do not use head, gut, roe or liver: ciguatoxin gathers there, and neither cooking nor freezing removes it.",
];

fn files(crate_name: &str) -> Vec<PathBuf> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../{crate_name}/src"));
    let mut folders = vec![top];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if path.is_dir() && name != "tests" {
                folders.push(path);
            } else if name.ends_with(".rs") && name != "tests.rs" {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// Reads strings out of source.
struct Strings {
    /// What is no string that is said: joined lines, comments, attributes.
    between: Vec<Regex>,
    string: Regex,
    hole: Regex,
}

impl Strings {
    fn new() -> Strings {
        let pattern = |text: &str| Regex::new(text).unwrap();
        Strings {
            between: vec![
                pattern(r"\\\n\s*"),
                pattern(r"//[^\n]*"),
                pattern(r#"#!?\[(?:[^\[\]"]|"(?:[^"\\]|\\.)*"|\[[^\]]*\])*\]"#),
            ],
            string: pattern(r#""((?:[^"\\]|\\.)*)""#),
            hole: pattern(r"\{[^}]*\}"),
        }
    }

    /// Strings of a file up to its tests.
    fn of(&self, file: &Path) -> Vec<String> {
        let text = fs::read_to_string(file).unwrap();
        let mut text = text.split("#[cfg(test)]").next().unwrap().to_owned();
        for between in &self.between {
            text = between.replace_all(&text, "").into_owned();
        }
        let found = self.string.captures_iter(&text);
        found.map(|of| of[1].replace("\\\"", "\"")).collect()
    }

    /// What stands between the holes of a string, where it is more than a word.
    fn pieces(&self, string: &str) -> Vec<String> {
        let pieces = self.hole.split(string).map(str::trim);
        let is_words = |piece: &&str| {
            piece.contains(' ') && piece.chars().any(|letter| letter.is_ascii_lowercase())
        };
        pieces.filter(is_words).map(str::to_owned).collect()
    }
}

/// All that stands in the English of the book between its holes.
fn english() -> Vec<String> {
    let pieces = BOOK.iter().flat_map(|phrase| &phrase.english);
    let words = pieces.filter_map(|piece| match piece {
        Piece::Words(words) => Some((*words).to_owned()),
        Piece::Hole(_) => None,
    });
    words.collect()
}

#[test]
fn whatever_the_rules_say_has_its_spanish() {
    let (strings, english) = (Strings::new(), english());
    let mut lacking = Vec::new();
    let mut seen = 0;
    for file in files("rules") {
        if NOT_SAID.iter().any(|name| file.ends_with(name)) {
            continue;
        }
        for string in strings.of(&file) {
            for piece in strings.pieces(&string) {
                seen += 1;
                let is_said = english.iter().any(|words| words.contains(&piece));
                let is_known = is_said
                    || spanish_term(&piece).is_some()
                    || NOT_SHOWN.contains(&piece.as_str());
                if !is_known {
                    lacking.push(format!("{}: {piece}", file.display()));
                }
            }
        }
    }
    assert!(seen > 300, "{seen} are no rules");
    assert!(lacking.is_empty(), "without Spanish: {lacking:#?}");
}

/// At the desk a sentence is told from a refusal by its full stop.
#[test]
fn whatever_the_desk_warns_of_has_its_spanish() {
    let (strings, english) = (Strings::new(), english());
    let mut lacking = Vec::new();
    let mut seen = 0;
    for file in files("desk") {
        for string in strings.of(&file) {
            if !string.trim_end().ends_with('.') {
                continue;
            }
            for piece in strings.pieces(&string) {
                seen += 1;
                let is_said = english.iter().any(|words| words.contains(&piece));
                if !is_said && !ON_PAPER.contains(&piece.as_str()) {
                    lacking.push(format!("{}: {piece}", file.display()));
                }
            }
        }
    }
    assert!(seen > 10, "{seen} are no warnings");
    assert!(lacking.is_empty(), "without Spanish: {lacking:#?}");
}

/// Words of a phrase stand together in a string; they may be put together from three.
#[test]
fn each_phrase_is_of_a_sentence_that_is_still_said() {
    let mut strings = Strings::new();
    // Why a form is refused stands in an attribute for the most part.
    strings.between.pop();
    let mut said = String::new();
    let mut all: Vec<PathBuf> = ["rules", "desk", "papers"]
        .into_iter()
        .flat_map(files)
        .collect();
    all.push(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/paper.rs"));
    for file in all {
        for string in strings.of(&file) {
            said.push_str(&strings.hole.replace_all(&string, "\n"));
            said.push('\n');
        }
    }
    // By a string's beginning as long as can be, three times.
    let is_said = |words: &str| {
        let mut rest: Vec<&str> = words.split(' ').collect();
        for _ in 0..3 {
            let mut lengths = (0..=rest.len()).rev();
            let longest = lengths.find(|n| said.contains(&rest[..*n].join(" ")));
            rest.drain(..longest.unwrap_or(0));
        }
        rest.is_empty()
    };
    let mut gone = Vec::new();
    let count = BOOK.len() - old::PHRASES.len();
    for phrase in BOOK.iter().take(count) {
        for piece in &phrase.english {
            let Piece::Words(words) = piece else {
                continue;
            };
            let words = words.trim_matches(|c: char| !c.is_alphanumeric());
            if !is_said(words) {
                gone.push(words);
            }
        }
    }
    assert!(
        gone.is_empty(),
        "said no more, so it belongs to the old ones: {gone:#?}"
    );
}
