//! What the documents say a command prints is what it prints.
//!
//! `README.md` and `demo-data/walkthrough.md` show commands (a block of `sh`) with
//! lines of their output (the block of `text` after it; before any command it is
//! what the demo prints). Every command is run on the book of a fresh demo, in the
//! order of the document, and each line is looked for, one after the other. A line
//! `…` stands for lines left out; a block marked `refused` must be refused.

use std::path::Path;
use std::process::Command;

use crate::harness::{PROGRAM, Server, said};

const README: &str = include_str!("../../README.md");
const DEVELOPERS: &str = include_str!("../../DEVELOPERS.md");
const WALKTHROUGH: &str = include_str!("../../demo-data/walkthrough.md");

/// The commands of a block.
#[derive(Debug, PartialEq)]
struct Block {
    shell: String,
    refused: bool,
}

/// A part of a document that a test looks at.
#[derive(Debug, PartialEq)]
enum Piece {
    Commands(Block),
    /// Lines that were printed.
    Excerpt(Vec<String>),
}

/// The blocks of a document below the headings named; of all where none is.
fn pieces(document: &str, headings: &[&str]) -> Vec<Piece> {
    let mut found = Vec::new();
    let mut inside = headings.is_empty();
    let mut lines = document.lines();
    while let Some(line) = lines.next() {
        if let Some(heading) = line.strip_prefix("## ") {
            inside = headings.is_empty() || headings.contains(&heading);
        }
        let Some(language) = line.strip_prefix("```") else {
            continue;
        };
        let body: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
        let starts = |with: &str| body.iter().any(|line| line.starts_with(with));
        let piece = match language {
            "text" => Piece::Excerpt(body.iter().map(ToString::to_string).collect()),
            // Those that make the book and serve it are what the test does itself.
            "sh" | "sh refused" if !starts("cargo ") => Piece::Commands(Block {
                shell: body.join("\n"),
                refused: language.ends_with("refused"),
            }),
            _ => continue,
        };
        if inside {
            found.push(piece);
        }
    }
    found
}

/// What the commands print, errors too. A night that raised flags exits with 1.
fn run(block: &Block, server: &Server) -> String {
    let shell = format!(
        "weighhouse() {{ \"$WEIGHHOUSE\" \"$@\" 2>&1 || \
         {{ exit=$?; test \"$1 $exit\" = \"nightly 1\" || return $exit; }}; }}\n{}",
        block
            .shell
            .replace("sqlite:PATH/weighhouse.db", &server.book)
    );
    let output = Command::new("sh")
        .args(["-e", "-c", &shell])
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("../.."))
        .env("WEIGHHOUSE", PROGRAM)
        .env("WEIGHHOUSE_SERVER", &server.url)
        .env("WEIGHHOUSE_KEY_FILE", &server.key)
        .env("RUST_LOG", "warn")
        .output()
        .unwrap();
    let (shell, text) = (&block.shell, said(&output));
    assert_eq!(output.status.success(), !block.refused, "{shell}\n{text}");
    text
}

/// Every line of the excerpt, in its order, among the lines printed.
fn check_excerpt(excerpt: &[String], printed: &str) -> Result<(), String> {
    let mut rest = printed.lines().map(str::trim_end);
    for line in excerpt.iter().filter(|line| *line != "…") {
        if !rest.any(|printed| printed == line.trim_end()) {
            return Err(format!("not printed, or not there:\n{line}\nin\n{printed}"));
        }
    }
    Ok(())
}

/// Runs what a document says on a fresh demo's book; gives how many blocks of
/// commands and how many lines were checked.
fn hold_to_its_word(pieces: &[Piece]) -> (usize, usize) {
    let folder = tempfile::tempdir().unwrap();
    let demo = Command::new(PROGRAM)
        .args(["demo", "--folder"])
        .arg(folder.path())
        .output()
        .unwrap();
    assert!(demo.status.success(), "{}", said(&demo));
    let file = folder.path().join("weighhouse.db");
    let server = Server::on(&format!("sqlite:{}", file.display()));
    let mut printed = said(&demo);
    let (mut commands, mut lines) = (0, 0);
    for piece in pieces {
        match piece {
            Piece::Commands(block) => {
                commands += 1;
                printed = run(block, &server);
            }
            Piece::Excerpt(excerpt) => {
                assert!(!excerpt.is_empty(), "an excerpt shows nothing");
                lines += excerpt.len();
                check_excerpt(excerpt, &printed).unwrap();
            }
        }
    }
    (commands, lines)
}

#[test]
fn the_walkthrough_prints_what_it_says() {
    let (commands, lines) = hold_to_its_word(&pieces(WALKTHROUGH, &[]));
    assert!(commands > 50 && lines > 150, "{commands}, {lines}");
}

#[test]
fn the_readme_prints_what_it_says() {
    let headings = ["What you see", "Your first five minutes"];
    let (commands, lines) = hold_to_its_word(&pieces(README, &headings));
    assert!(commands > 4 && lines > 15, "{commands}, {lines}");
}

#[test]
fn the_table_of_who_may_do_what_is_the_one_that_is_printed() {
    let access = Command::new(PROGRAM).arg("access").output().unwrap();
    let printed = said(&access);
    let shown = pieces(DEVELOPERS, &["Who may do what"]);
    let [Piece::Excerpt(shown)] = shown.as_slice() else {
        panic!("one block of text below the heading: {shown:?}");
    };
    let trimmed = |lines: &mut dyn Iterator<Item = &str>| -> Vec<String> {
        let lines = lines.map(|line| line.trim_end().to_owned());
        lines.filter(|line| !line.is_empty()).collect()
    };
    assert_eq!(
        trimmed(&mut shown.iter().map(String::as_str)),
        trimmed(&mut printed.lines())
    );
    assert!(shown.len() > 50, "{}", shown.len());
}

#[test]
fn every_planted_step_is_walked_past() {
    let planted = include_str!("../../demo-data/README.md");
    let rows = planted
        .lines()
        .skip_while(|line| *line != "## What is planted");
    let steps = rows
        .take_while(|line| !line.starts_with("## How the answers"))
        .filter_map(|line| line.strip_prefix("| ")?.split_once(" |"))
        .flat_map(|(steps, _)| steps.split(", "))
        .filter(|step| step.contains('-') && !step.starts_with('-'));
    let missing: Vec<&str> = steps.filter(|step| !WALKTHROUGH.contains(step)).collect();
    assert!(missing.is_empty(), "not in the walk: {missing:?}");
}

#[test]
fn a_line_that_is_not_printed_is_found() {
    let printed = "one\ntwo\nthree\n";
    let check = |lines: &[&str]| {
        let lines: Vec<String> = lines.iter().map(ToString::to_string).collect();
        check_excerpt(&lines, printed).is_ok()
    };
    assert!(check(&["one", "…", "three"]));
    assert!(!check(&["one", "four"]));
    assert!(!check(&["two", "one"]), "in another order");
    assert!(!check(&["thre"]), "a part of a line");
}

#[test]
fn blocks_are_read_below_their_headings() {
    let document = "## A\n```text\nseen\n```\n## B\n```sh refused\nweighhouse x\n```\n";
    let refused = Block {
        shell: "weighhouse x".to_owned(),
        refused: true,
    };
    let seen = Piece::Excerpt(vec!["seen".to_owned()]);
    assert_eq!(pieces(document, &["A"]), [seen]);
    assert_eq!(pieces(document, &["B"]), [Piece::Commands(refused)]);
}
