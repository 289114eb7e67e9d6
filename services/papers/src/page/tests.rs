//! The page as a reader of XML and of HTML sees it.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;
use roxmltree::{Document, Node, ParsingOptions};

use super::close as page;
use crate::close::Close;
use crate::sample;

fn parsed(text: &str) -> Document<'_> {
    let options = ParsingOptions {
        allow_dtd: true,
        ..ParsingOptions::default()
    };
    Document::parse_with_options(text, options).unwrap_or_else(|e| panic!("{e}: {text}"))
}

fn named<'a, 'i>(page: &'a Document<'i>, name: &'static str) -> impl Iterator<Item = Node<'a, 'i>> {
    page.descendants()
        .filter(move |node| node.tag_name().name() == name)
}

/// All text below a node.
fn words(node: Node<'_, '_>) -> String {
    let text = node
        .descendants()
        .filter(|n| n.is_text())
        .filter_map(|n| n.text());
    text.collect::<String>()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

#[test]
fn the_page_is_well_formed_and_says_what_it_is() {
    let text = page(&sample::close());
    let page = parsed(&text);
    assert!(text.starts_with("<!DOCTYPE html>"));
    assert_eq!(page.root_element().attribute("lang"), Some("en"));
    let heading = named(&page, "h1").next().unwrap();
    assert_eq!(words(heading), "Close of 2031-05-02");
    assert_eq!(named(&page, "h1").count(), 1);
    assert!(words(named(&page, "header").next().unwrap()).contains("closed with gaps"));
    assert!(words(page.root_element()).contains("Simulated clock"));
}

#[test]
fn nothing_is_fetched_and_nothing_runs() {
    let text = page(&sample::close());
    let page = parsed(&text);
    for node in page.descendants() {
        let name = node.tag_name().name();
        assert!(
            ![
                "script", "link", "img", "iframe", "object", "embed", "base", "form"
            ]
            .contains(&name),
            "{name}"
        );
        for attribute in node.attributes() {
            let (name, value) = (attribute.name(), attribute.value());
            assert!(
                !name.starts_with("on") && name != "src" && name != "style",
                "{name}"
            );
            assert!(name != "href" || value.starts_with('#'), "{value}");
        }
    }
    let style = words(named(&page, "style").next().unwrap());
    assert!(
        !style.contains("url(") && !style.contains("@import"),
        "{style}"
    );
}

#[test]
fn every_id_is_there_once_and_every_link_leads_to_one() {
    let text = page(&sample::close());
    let page = parsed(&text);
    let ids: Vec<&str> = page
        .descendants()
        .filter_map(|node| node.attribute("id"))
        .collect();
    let mut once = ids.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), ids.len());
    let links: Vec<&str> = page
        .descendants()
        .filter_map(|node| node.attribute("href"))
        .collect();
    assert_eq!(links.len(), named(&page, "section").count());
    for link in links {
        assert!(ids.contains(&link.trim_start_matches('#')), "{link}");
    }
    for node in page
        .descendants()
        .filter_map(|node| node.attribute("aria-labelledby"))
    {
        assert!(node.split(' ').all(|id| ids.contains(&id)), "{node}");
    }
}

/// So that whoever goes from region to region by ear can tell them apart.
#[test]
fn no_two_regions_have_one_name() {
    let mut close = sample::close();
    close.supplier_yields[2].group = "Hogfish, whole to skin-on, own table".to_owned();
    let mut other = close.control[0].clone();
    other.method = "cumulated sum".to_owned();
    close.control.push(other);
    let text = page(&close);
    let page = parsed(&text);
    let labels = page
        .descendants()
        .filter(|node| node.attribute("role") == Some("region"));
    let labels: Vec<&str> = labels
        .map(|node| node.attribute("aria-label").unwrap())
        .collect();
    let mut once = labels.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), labels.len(), "{labels:?}");
    assert!(labels.len() > 10, "{labels:?}");
}

#[test]
fn every_chart_has_its_table_beside_it() {
    let text = page(&sample::close());
    let page = parsed(&text);
    let pairs: Vec<Node<'_, '_>> = page
        .descendants()
        .filter(|node| {
            node.attribute("class")
                .is_some_and(|class| class.starts_with("pair"))
        })
        .collect();
    assert_eq!(pairs.len(), 4);
    for pair in pairs {
        let svg = pair
            .descendants()
            .find(|node| node.tag_name().name() == "svg")
            .unwrap();
        let after = pair
            .parent()
            .unwrap()
            .descendants()
            .skip_while(|node| *node != svg);
        let table = after
            .into_iter()
            .find(|node| node.tag_name().name() == "table")
            .unwrap();
        let cells = table
            .descendants()
            .filter(|node| node.tag_name().name() == "td")
            .count();
        assert!(cells > 3, "{}", words(table));
    }
}

#[test]
fn rows_are_as_long_as_their_headings() {
    let text = page(&sample::close());
    let page = parsed(&text);
    let mut rows = 0;
    for table in named(&page, "table") {
        let cells = |row: Node<'_, '_>, name| {
            row.children()
                .filter(|n| n.tag_name().name() == name)
                .count()
        };
        let all: Vec<Node<'_, '_>> = table
            .descendants()
            .filter(|n| n.tag_name().name() == "tr")
            .collect();
        let headings = cells(all[0], "th");
        for row in &all[1..] {
            assert_eq!(cells(*row, "td"), headings, "{}", words(*row));
            rows += 1;
        }
    }
    assert!(rows > 20, "{rows}");
}

#[test]
fn a_flag_says_what_it_rests_on_and_what_to_do() {
    let text = page(&sample::close());
    let page = parsed(&text);
    let flag = named(&page, "ul")
        .find(|node| node.attribute("class") == Some("flags"))
        .unwrap();
    let says = words(flag);
    for part in [
        "unaccounted 3.017 lb, 15.84 USD",
        "38.50 lb was found",
        "all together +/- 0.41 lb (k = 2)",
        "Next: Count the part again.",
        "open",
        "key f369879b",
    ] {
        assert!(says.contains(part), "{part} in {says}");
    }
}

#[test]
fn what_is_not_there_is_said() {
    let text = page(&Close::default());
    let page = parsed(&text);
    for section in named(&page, "section") {
        assert!(words(section).len() > 30, "{}", words(section));
    }
    assert_eq!(named(&page, "svg").count(), 0);
    assert!(words(page.root_element()).contains("Nothing to look at."));
}

#[test]
fn the_cautions_defer_to_local_codes() {
    let text = page(&sample::close());
    let says = words(parsed(&text).root_element());
    for part in [
        "stay venomous",
        "medical help",
        "ciguatera",
        "allergen",
        "Local codes",
    ] {
        assert!(says.contains(part), "{part}");
    }
}

proptest! {
    /// Whatever people call things, the page says just that and has no other element.
    #[test]
    fn any_words_are_shown_as_they_are(words_written in any::<String>(), pick in 0_usize..6) {
        let markup = ["<script>alert(1)</script>", "\"><b>", "&amp;", "]]>", "<!--", "'"];
        let written = format!("{words_written}{}", markup[pick]);
        let mut close = sample::close();
        let plain = named_counts(&page(&close));
        close.site.clone_from(&written);
        close.payouts[0].party.clone_from(&written);
        close.flags[0].text.clone_from(&written);
        close.flags[0].evidence[0].clone_from(&written);
        close.control[0].subject.clone_from(&written);
        close.supplier_yields[0].supplier.clone_from(&written);
        close.remarks[0].clone_from(&written);
        let text = page(&close);
        prop_assert_eq!(named_counts(&text), plain);
        let read = parsed(&text);
        let squeezed = |text: &str| -> String {
            let text: String = text.chars().map(|c| if super::may_be_held(c) { c } else { '\u{fffd}' }).collect();
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        };
        let wanted = squeezed(&written);
        prop_assert!(named(&read, "td").any(|cell| words(cell) == wanted), "{}", wanted);
    }
}

/// How many of each element there are, marks of charts aside.
fn named_counts(text: &str) -> std::collections::BTreeMap<String, usize> {
    let mut counts = std::collections::BTreeMap::new();
    for node in parsed(text).descendants().filter(|node| node.is_element()) {
        *counts.entry(node.tag_name().name().to_owned()).or_insert(0) += 1;
    }
    counts
}
