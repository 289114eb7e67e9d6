//! The close of the demo's week as table, JSON, CSV and page: four papers, one close.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Output;

use roxmltree::{Document, ParsingOptions};
use serde_json::Value;

use crate::harness::{Server, run, said};

const DAY: &str = "2031-05-02";

/// A service on the book of a fresh demo.
fn demo(folder: &Path) -> Server {
    let out = run(&["demo", "--folder", folder.to_str().unwrap()]);
    assert!(out.status.success(), "{}", said(&out));
    Server::on(&format!("sqlite:{}/weighhouse.db", folder.display()))
}

fn close(server: &Server, more: &[&str]) -> Output {
    server.client(&[&["close", "--site", "1", "--day", DAY][..], more].concat())
}

fn printed(output: &Output) -> String {
    assert!(output.status.success(), "{}", said(output));
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// The rows of a CSV file, each by heading.
fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let rows = reader.deserialize();
    rows.map(Result::unwrap).collect()
}

#[test]
fn the_same_close_is_in_all_four_formats() {
    let folder = tempfile::tempdir().unwrap();
    let server = demo(folder.path());

    let table = printed(&close(&server, &["--format", "table"]));
    assert_eq!(table, printed(&close(&server, &[])));
    let json = printed(&close(&server, &["--format", "json"]));
    assert_eq!(json, printed(&close(&server, &["--json"])));
    let json: Value = serde_json::from_str(&json).unwrap();
    let told = &json["answer"]["close"];

    // CSV: every part and every flag, with the weights as the service has them.
    let csv = folder.path().join("close");
    let done = printed(&close(
        &server,
        &["--format", "csv", "--output", csv.to_str().unwrap()],
    ));
    assert!(done.starts_with("Simulated clock"), "{done}");
    let read = |name: &str| std::fs::read_to_string(csv.join(format!("{name}.csv"))).unwrap();
    let parts = rows(&read("parts"));
    let in_json = told["parts"].as_array().unwrap();
    assert!(
        parts.len() == in_json.len() && parts.len() > 10,
        "{}",
        parts.len()
    );
    for (row, part) in parts.iter().zip(in_json) {
        let name = format!(
            "{}/{}",
            part["part"]["lotCode"].as_str().unwrap(),
            part["part"]["part"]
        );
        assert_eq!(row["part"], name);
        assert_eq!(
            row["closing_lb"],
            part["closing"]["shown"].as_str().unwrap()
        );
        assert_eq!(row["clock"], "simulated");
    }
    let flags = read("flags");
    assert_eq!(
        flags,
        printed(&close(&server, &["--format", "csv", "--table", "flags"]))
    );
    let unaccounted = rows(&flags)
        .into_iter()
        .find(|row| row["flag"] == "unaccounted")
        .unwrap();
    assert_eq!(
        (&*unaccounted["weight_lb"], &*unaccounted["value_usd"]),
        ("3.017", "15.84")
    );
    let balance = rows(&read("balance"));
    let end = balance
        .iter()
        .find(|row| row["what"] == "on hand at the end")
        .unwrap();
    let closing = told["balance"]["closing"]["shown"].as_str().unwrap();
    assert_eq!(end["weight_lb"], closing);
    assert!(table.contains(&format!("{closing} lb")), "{table}");

    // The page: the same words and figures, charts, and nothing that is fetched.
    let file = folder.path().join("close.html");
    let done = printed(&close(
        &server,
        &["--format", "html", "--output", file.to_str().unwrap()],
    ));
    assert!(done.contains("close.html"), "{done}");
    let text = std::fs::read_to_string(&file).unwrap();
    assert_eq!(text, printed(&close(&server, &["--format", "html"])));
    let options = ParsingOptions {
        allow_dtd: true,
        ..ParsingOptions::default()
    };
    let page = Document::parse_with_options(&text, options).unwrap();
    let cells: BTreeSet<&str> = page
        .descendants()
        .filter(|node| node.has_tag_name(("http://www.w3.org/1999/xhtml", "td")))
        .filter_map(|node| node.text())
        .collect();
    for row in &parts {
        assert!(cells.contains(row["part"].as_str()), "{}", row["part"]);
    }
    assert!(
        cells.contains(closing) && cells.contains("3.017"),
        "{cells:?}"
    );
    let charts = page
        .descendants()
        .filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "svg")));
    assert!(charts.count() >= 3);
    for word in [
        "Simulated clock",
        told["flags"][0]["text"].as_str().unwrap(),
        "Local codes",
    ] {
        let is_said = page
            .descendants()
            .any(|node| node.text().is_some_and(|text| text.contains(word)));
        assert!(is_said, "{word}");
    }
}

#[test]
fn what_cannot_be_written_is_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let server = demo(folder.path());
    let refused = |more: &[&str], words: &str| {
        let output = close(&server, more);
        assert!(
            !output.status.success() && output.stdout.is_empty(),
            "{}",
            said(&output)
        );
        assert!(said(&output).contains(words), "{}", said(&output));
    };
    refused(&["--format", "csv"], "name one with --table, or a folder");
    refused(
        &["--format", "html", "--table", "flags"],
        "--table is for --format csv",
    );
    refused(
        &["--format", "csv", "--table", "fish"],
        "possible values: flags, balance,",
    );
    refused(&["--format", "html", "--json"], "cannot be used with");
    let nowhere = folder.path().join("no/such/close.html");
    refused(
        &["--format", "html", "--output", nowhere.to_str().unwrap()],
        "close.html: No such",
    );
    // A folder's name that is a file's.
    let file = folder.path().join("weighhouse.db");
    refused(
        &["--format", "csv", "--output", file.to_str().unwrap()],
        "weighhouse.db: ",
    );
}
