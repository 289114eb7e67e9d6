//! The plan of the house, held against the code.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// What may depend on what, of the house's own rooms.
const MAP: [(&str, &[&str]); 10] = [
    ("rules", &[]),
    ("proto", &[]),
    ("books", &["rules"]),
    ("nightly", &["books", "rules"]),
    ("desk", &["books", "nightly", "rules"]),
    ("intake", &["desk", "proto", "rules"]),
    ("pages", &["desk", "papers", "rules"]),
    ("papers", &[]),
    ("client", &["papers", "proto"]),
    (
        "weighhouse",
        &[
            "books", "client", "desk", "intake", "nightly", "pages", "proto", "rules",
        ],
    ),
];

/// Crates that only some rooms may name.
const ONLY: [(&str, &[&str]); 6] = [
    ("sqlx", &["books"]),
    ("prost", &["client", "proto"]),
    ("tonic", &["client", "intake", "proto", "weighhouse"]),
    (
        "tokio",
        &[
            "books",
            "client",
            "desk",
            "intake",
            "nightly",
            "pages",
            "weighhouse",
        ],
    ),
    ("clap", &["client", "weighhouse"]),
    ("axum", &["intake", "pages"]),
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .canonicalize()
        .unwrap()
}

/// Each room's dependencies, those of tests and builds left out.
fn dependencies() -> BTreeMap<String, BTreeSet<String>> {
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--no-deps",
            "--offline",
        ])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let mut rooms = BTreeMap::new();
    for package in metadata["packages"].as_array().unwrap() {
        let needs = package["dependencies"].as_array().unwrap().iter();
        let needs = needs
            .filter(|need| need["kind"].is_null())
            .map(|need| need["name"].as_str().unwrap().to_owned());
        rooms.insert(
            package["name"].as_str().unwrap().to_owned(),
            needs.collect(),
        );
    }
    rooms
}

#[test]
fn rooms_depend_on_each_other_as_the_map_says() {
    let rooms = dependencies();
    let named: BTreeSet<&str> = MAP.iter().map(|(room, _)| *room).collect();
    let there: BTreeSet<&str> = rooms.keys().map(String::as_str).collect();
    assert_eq!(there, named, "every room is on the map");
    for (room, may) in MAP {
        let own = rooms[room]
            .iter()
            .map(String::as_str)
            .filter(|need| named.contains(need));
        let more: Vec<&str> = own.filter(|need| !may.contains(need)).collect();
        assert!(more.is_empty(), "{room} may not depend on {more:?}");
    }
}

#[test]
fn only_the_rooms_that_may_name_a_crate_do() {
    let rooms = dependencies();
    for (name, may) in ONLY {
        for (room, needs) in &rooms {
            assert!(
                !needs.contains(name) || may.contains(&room.as_str()),
                "{room} names {name}"
            );
        }
    }
    let pure = [
        "chrono",
        "jiff",
        "libm",
        "nalgebra",
        "rust_decimal",
        "statrs",
        "thiserror",
    ];
    for need in &rooms["rules"] {
        assert!(pure.contains(&need.as_str()), "rules needs {need}");
    }
}

/// Source files of a folder, this file's own words aside.
fn sources(folder: &str) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ext| ext == "rs") {
                let text = std::fs::read_to_string(&path).unwrap();
                found.push((path, text));
            }
        }
    }
    assert!(!found.is_empty(), "{folder} has sources");
    found
}

#[test]
fn only_one_file_of_the_books_asks_which_engine() {
    for (path, text) in sources("services/books/src") {
        let asks = text.contains("sqlx::") || text.contains("use sqlx");
        // Its own files, and the making of databases for tests.
        let may = path.ends_with("books/src/db.rs")
            || path.ends_with("books/src/testing.rs")
            || path.parent().unwrap().ends_with("books/src/db");
        assert!(!asks || may, "{} speaks to an engine", path.display());
    }
}

#[test]
fn only_main_reads_arguments_environment_and_the_clock() {
    for folder in ["services", "jobs"] {
        for (path, text) in sources(folder) {
            let code = text.split("#[cfg(test)]").next().unwrap();
            let is_test = path
                .file_name()
                .is_some_and(|f| f == "tests.rs" || f == "testing.rs")
                || path
                    .components()
                    .any(|c| c.as_os_str() == "benches" || c.as_os_str() == "tests");
            if path.ends_with("main.rs") || is_test {
                continue;
            }
            for word in [
                "std::env::",
                "SystemTime::now",
                "Utc::now",
                "Timestamp::now",
            ] {
                assert!(!code.contains(word), "{} reads {word}", path.display());
            }
        }
    }
}
