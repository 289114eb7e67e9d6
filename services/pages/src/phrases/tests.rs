//! The book holds together, and says what the rules say.
//!
//! That no sentence is left out is tested in [`source`], over what the rules have in
//! strings, and over the pages of the demo's week in the acceptance tests.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

mod rules_say;
mod source;

use std::collections::BTreeSet;

use super::*;

/// What stands in a hole of a kind, and its Spanish. Whole numbers and measures differ by
/// hole, so that two holes that are mixed up are seen.
fn sample(kind: Kind, n: usize) -> (String, String) {
    let alike = |text: String| (text.clone(), text);
    match kind {
        Kind::Whole => alike(format!("{}", 7 + n)),
        Kind::Number => alike(format!("{n}.25")),
        Kind::Measure => alike(format!("{n}.20 lb")),
        Kind::Width => alike(format!("+/- {n}.41 lb")),
        Kind::Day => alike(format!("2031-05-{:02}", n + 1)),
        Kind::Code => alike(format!("PZO-{n}")),
        Kind::Name | Kind::Known => alike(format!("Table (scale) {n}")),
        Kind::Method => ("money order".to_owned(), "giro postal".to_owned()),
        Kind::Term | Kind::Said => match n % 2 {
            0 => ("whole".to_owned(), "entero".to_owned()),
            _ => ("gutted".to_owned(), "eviscerado".to_owned()),
        },
    }
}

/// A phrase's English and Spanish with all holes filled.
fn filled(phrase: &Phrase) -> (String, String) {
    let holes: Vec<_> = phrase.holes().zip(1..).collect();
    let fill = |side: &[Piece], in_spanish: bool| {
        let pieces = side.iter().map(|piece| match piece {
            Piece::Words(words) => (*words).to_owned(),
            Piece::Hole(of) => {
                let (hole, n) = holes.iter().find(|(hole, _)| hole.name == of.name).unwrap();
                let (english, spanish) = sample(hole.kind, *n);
                if in_spanish { spanish } else { english }
            }
        });
        pieces.collect::<String>()
    };
    (fill(&phrase.english, false), fill(&phrase.spanish, true))
}

fn names(pieces: &[Piece]) -> Vec<&'static str> {
    let mut names: Vec<_> = holes(pieces).map(|hole| hole.name).collect();
    names.sort_unstable();
    names
}

#[test]
fn each_phrase_has_the_same_holes_in_both_languages_and_each_once() {
    for phrase in BOOK.iter() {
        let (english, spanish) = filled(phrase);
        assert_eq!(names(&phrase.english), names(&phrase.spanish), "{english}");
        let once: BTreeSet<_> = names(&phrase.english).into_iter().collect();
        assert_eq!(once.len(), phrase.holes().count(), "{english}");
        assert_ne!(english, spanish);
        assert!(phrase.pattern().is_some(), "{english} is no pattern");
    }
}

#[test]
fn each_hole_has_a_kind_that_there_is() {
    for (english, spanish) in FILES.into_iter().flatten() {
        for hole in english.split('{').skip(1) {
            let (hole, _) = hole.split_once('}').unwrap();
            let kind = hole.split_once(':').map_or(hole, |(_, kind)| kind);
            assert!(Kind::of_word(kind).is_some(), "{kind} in {english}");
        }
        for hole in spanish.split('{').skip(1) {
            let (hole, _) = hole.split_once('}').unwrap();
            assert!(!hole.contains(':'), "a kind is said once: {hole}");
        }
    }
}

#[test]
fn each_phrase_says_its_own_sentence_and_no_earlier_one_does() {
    for phrase in BOOK.iter() {
        let (english, expected) = filled(phrase);
        let mut reader = Reader::default();
        assert_eq!(reader.said(&english), Some(expected), "{english}");
        assert!(reader.tries < MOST_TRIES / 8, "{english}: {}", reader.tries);
        let fitting = BOOK.iter().find(|other| {
            other.may_fit(&english) && Reader::default().filled(other, &english).is_some()
        });
        assert!(
            std::ptr::eq(fitting.unwrap(), phrase),
            "{english} is said by an earlier phrase"
        );
    }
}

#[test]
fn each_phrase_ends_as_its_english_does() {
    for phrase in BOOK.iter() {
        let (english, spanish) = filled(phrase);
        let ends = |text: &str| text.chars().last().filter(char::is_ascii_punctuation);
        assert_eq!(ends(&english), ends(&spanish), "{spanish} ends otherwise");
        assert_eq!(
            english.contains('?'),
            spanish.contains('¿'),
            "{spanish} asks without its mark"
        );
    }
}

#[test]
fn sentences_one_after_another_are_said_one_by_one() {
    assert_eq!(
        spanish("Held: goes nowhere until the office releases it. Answer it.").unwrap(),
        "Retenido: no va a ninguna parte hasta que la oficina lo libere. Conteste."
    );
    // One of them has no Spanish: then none is said, so that nothing is half English.
    assert_eq!(spanish("Answer it. It rains."), None);
    assert_eq!(spanish("It rains. Answer it."), None);
    assert_eq!(spanish(""), None);
}

#[test]
fn what_people_wrote_is_kept_whatever_it_is() {
    for name in [
        "Answer it.",
        "a{n}b",
        "$1 \\1 (.*)",
        "<b>&",
        "ñandú, and more",
        "whole",
    ] {
        let said = spanish(&format!(
            "No area: {name} has no licence on file: the payment is held back until one is \
             shown, the fish is not."
        ));
        let expected = format!(
            "No consta licencia de No area: {name}: se retiene el pago hasta que se muestre una, \
             el pescado no."
        );
        assert_eq!(said.unwrap(), expected);
    }
    // A scale that somebody named, and one that nobody did.
    let test = |scale: &str| spanish(&format!("{scale} wants a test")).unwrap();
    assert_eq!(test("Table"), "Table necesita una verificación");
    assert_eq!(test("scale dock"), "báscula dock necesita una verificación");
}

#[test]
fn a_sentence_with_an_unknown_word_in_it_stays_as_it_is() {
    let whole = "PZO whole of ana, 2031050200010000001A/1";
    let said = spanish(&format!(
        "3.20 lb of {whole} by the book was not counted for this day."
    ));
    assert_eq!(
        said.unwrap(),
        "Este día no se contaron 3.20 lb de PZO entero de ana, 2031050200010000001A/1 que hay \
         según el libro."
    );
    let unknown = whole.replace("whole", "smoked");
    let said = spanish(&format!(
        "3.20 lb of {unknown} by the book was not counted for this day."
    ));
    assert_eq!(said, None);
}

#[test]
fn a_text_that_means_to_be_slow_is_returned_in_so_many_tries() {
    let begins = ["", "Lot 1: ", "Fish of ", "1.00 lb of ", "whole, and "];
    let middles = [
        "whole, and ",
        "whole, ",
        "Answer it. ",
        "No room may take it: it ",
        "1.00 lb of ",
        ". ",
        "Lot 1: ",
        "\u{1F41F}. ",
    ];
    for begin in begins {
        for middle in middles {
            for length in [LONGEST, 100_000] {
                let mut text = begin.to_owned();
                while text.len() + middle.len() < length {
                    text.push_str(middle);
                }
                let mut reader = Reader::default();
                let said = reader.said(&text);
                assert_eq!(said, None, "{begin}{middle}");
                assert!(
                    reader.tries <= MOST_TRIES,
                    "{begin}{middle}: {}",
                    reader.tries
                );
            }
        }
    }
}
