//! A close as one page of HTML, to be read in the morning, sent or printed.
//!
//! The page is whole in itself: no script, no picture or letter from elsewhere, nothing
//! that asks for more. Whatever people wrote is escaped by the template, and characters
//! that no page may hold are shown as `�`. It is well-formed XML too, so that other
//! programs can read it. What the figures are is the close's; how they stand in charts
//! is in `chart`.

use askama::Template;

use crate::chart::{self, Chart, Wording};
use crate::close::{Close, Flag};
use crate::table::{Cell, Table};

/// The page of a close.
#[must_use]
pub fn close(close: &Close) -> String {
    let page = Page {
        style: include_str!("../templates/page.css"),
        close,
        open: open(close),
        sections: sections(close),
    };
    let text = page.render().expect("memory takes every byte");
    text.chars()
        .map(|c| if may_be_held(c) { c } else { '\u{fffd}' })
        .collect()
}

/// Whether a page may hold a character: XML 1.0, production 2 (from memory), without
/// the controls that HTML refuses.
fn may_be_held(c: char) -> bool {
    match c {
        '\t' | '\n' | '\r' => true,
        c => !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}'),
    }
}

#[derive(Template)]
#[template(path = "close.html")]
struct Page<'a> {
    style: &'static str,
    close: &'a Close,
    open: String,
    sections: Vec<Section<'a>>,
}

/// A heading and what stands below it.
#[derive(Default)]
struct Section<'a> {
    id: &'static str,
    heading: &'static str,
    paragraphs: Vec<String>,
    flags: &'a [Flag],
    charts: Vec<ShownChart>,
    tables: Vec<ShownTable>,
}

struct ShownChart {
    title: String,
    key: String,
    svg: String,
    /// `narrow` where what is beside it may stand beside it.
    class: &'static str,
    sentences: Vec<Sentence>,
    table: ShownTable,
}

struct Sentence {
    of: String,
    says: String,
}

#[derive(Template)]
#[template(path = "table.html")]
struct ShownTable {
    title: String,
    nothing: &'static str,
    columns: Vec<ShownCell>,
    rows: Vec<Vec<ShownCell>>,
}

struct ShownCell {
    class: &'static str,
    text: String,
}

impl ShownTable {
    /// The table without columns that nothing stands in, and without those `left_out`.
    fn of(table: Table, left_out: &[&str]) -> ShownTable {
        let has_cells = |at: usize| table.rows.iter().any(|row| row[at] != Cell::Empty);
        let kept = table.columns.iter().enumerate();
        let kept =
            kept.filter(|(at, column)| has_cells(*at) && !left_out.contains(&column.heading));
        let kept: Vec<usize> = kept.map(|(at, _)| at).collect();
        let are_figures = |at: usize| table.rows.iter().any(|row| row[at].is_figure());
        let columns = kept.iter().map(|at| ShownCell {
            class: if are_figures(*at) { "figure" } else { "" },
            text: table.columns[*at].title(),
        });
        let rows = table.rows.iter().map(|row| {
            let cells = kept.iter().map(|at| ShownCell {
                class: class(&row[*at]),
                text: row[*at].text().to_owned(),
            });
            cells.collect()
        });
        ShownTable {
            columns: columns.collect(),
            rows: rows.collect(),
            title: table.title,
            nothing: table.nothing,
        }
    }

    fn whole(table: Table) -> ShownTable {
        ShownTable::of(table, &[])
    }
}

/// Codes are not broken, figures stand below each other, a zero steps back.
fn class(cell: &Cell) -> &'static str {
    match cell {
        Cell::Figure(figure) if figure.bytes().all(|b| matches!(b, b'0' | b'.')) => "figure zero",
        Cell::Figure(_) => "figure",
        Cell::Words(words)
            if words.len() < 24 && words.starts_with(|c: char| c.is_ascii_digit()) =>
        {
            "code"
        }
        Cell::Words(_) => "words",
        Cell::Empty => "",
    }
}

/// How many flags wait for somebody.
fn open(close: &Close) -> String {
    let open = close.flags.iter().filter(|flag| flag.standing == "open");
    match open.count() {
        0 => "nothing".to_owned(),
        1 => "1 flag".to_owned(),
        n => format!("{n} flags"),
    }
}

fn sections(close: &Close) -> Vec<Section<'_>> {
    vec![
        flags(close),
        Section {
            id: "weight",
            heading: "Weight of the day",
            paragraphs: nothing(close.balance.is_none(), close.balance_table()),
            charts: chart::balance(close, &Wording::ENGLISH)
                .into_iter()
                .map(beside_table)
                .collect(),
            ..Section::default()
        },
        Section {
            id: "losses",
            heading: "What was lost",
            paragraphs: nothing(close.causes.is_empty(), close.causes_table()),
            charts: chart::causes(close, &Wording::ENGLISH)
                .into_iter()
                .map(beside_table)
                .collect(),
            tables: vec![ShownTable::whole(close.losses_table())],
            ..Section::default()
        },
        yields(close),
        control(close),
        Section {
            id: "small-fish",
            heading: "Small fish",
            tables: vec![
                ShownTable::whole(close.undersize_table()),
                ShownTable::whole(close.lines_done_table()),
                ShownTable::whole(close.left_table()),
                ShownTable::whole(close.small_fish_table()),
            ],
            ..Section::default()
        },
        Section {
            id: "cuts",
            heading: "At the table",
            tables: vec![ShownTable::whole(close.cuts_table())],
            ..Section::default()
        },
        Section {
            id: "scales",
            heading: "Scales",
            tables: vec![ShownTable::whole(close.drifts_table())],
            ..Section::default()
        },
        Section {
            id: "parts",
            heading: "Every part on hand",
            tables: vec![ShownTable::whole(close.parts_table())],
            ..Section::default()
        },
        Section {
            id: "pay",
            heading: "Who is owed what",
            tables: vec![ShownTable::whole(close.payouts_table())],
            ..Section::default()
        },
        remarks(close),
        Section {
            id: "cautions",
            heading: "Cautions",
            paragraphs: CAUTIONS.map(str::to_owned).to_vec(),
            ..Section::default()
        },
    ]
}

/// The usual ones for whoever handles what the page speaks of.
const CAUTIONS: [&str; 4] = [
    "Spines of lionfish and their like stay venomous after the fish is dead. For a sting: hot \
     water, as hot as can be borne without scalding, and medical help. This is not medical advice.",
    "Cooking does not remove the toxin of ciguatera.",
    "Fish above the site's temperature limit goes to nobody. What is given away must be \
     apparently wholesome, and local health rules still apply.",
    "Fish is an allergen: name the species on whatever leaves for a kitchen or recipient.",
];

fn flags(close: &Close) -> Section<'_> {
    Section {
        id: "flags",
        heading: "What to look at",
        paragraphs: nothing(close.flags.is_empty(), close.flags_table()),
        flags: &close.flags,
        ..Section::default()
    }
}

fn yields(close: &Close) -> Section<'_> {
    let charts = chart::supplier_yields(close, &Wording::ENGLISH)
        .into_iter()
        .map(|chart| {
            let of = chart
                .table
                .column("supplier")
                .zip(chart.table.column("what may be said"));
            let sentences = of
                .filter(|(_, says)| !says.is_empty())
                .map(|(of, says)| Sentence {
                    of: of.to_owned(),
                    says: says.to_owned(),
                })
                .collect();
            ShownChart {
                title: chart.title,
                key: chart.key,
                svg: chart.svg,
                class: "narrow",
                sentences,
                table: ShownTable::of(chart.table, &["fish, cut to", "what may be said"]),
            }
        });
    let judged = close.supplier_yields_table(&[]);
    Section {
        id: "yields",
        heading: "What fish gave",
        paragraphs: nothing(close.supplier_yields.is_empty(), judged),
        charts: charts.collect(),
        tables: vec![
            ShownTable::whole(close.differences_table()),
            ShownTable::whole(close.groups_table()),
            ShownTable::whole(close.yields_table()),
        ],
        ..Section::default()
    }
}

fn control(close: &Close) -> Section<'_> {
    let charts = chart::control(close, &Wording::ENGLISH).into_iter();
    let mut paragraphs = nothing(close.control.is_empty(), close.control_table(&[]));
    for of in close.control.iter().filter(|of| !of.sentence.is_empty()) {
        let says = format!(
            "{}, held against {}: {}",
            of.subject, of.baseline, of.sentence
        );
        if !paragraphs.contains(&says) {
            paragraphs.push(says);
        }
    }
    Section {
        id: "control",
        heading: "Since when",
        paragraphs,
        charts: charts
            .map(|chart| beside(chart, &["about", "method"]))
            .collect(),
        ..Section::default()
    }
}

fn remarks(close: &Close) -> Section<'_> {
    Section {
        id: "remarks",
        heading: "What the figures leave out",
        paragraphs: if close.remarks.is_empty() {
            vec![close.remarks_table().nothing.to_owned()]
        } else {
            close.remarks.clone()
        },
        ..Section::default()
    }
}

/// What to say where there is nothing to show.
fn nothing(there_is: bool, table: Table) -> Vec<String> {
    if there_is {
        vec![table.nothing.to_owned()]
    } else {
        Vec::new()
    }
}

/// A chart and its whole table.
fn beside_table(chart: Chart) -> ShownChart {
    beside(chart, &[])
}

/// A chart and its table without what the title says.
fn beside(chart: Chart, left_out: &[&str]) -> ShownChart {
    ShownChart {
        title: chart.title,
        key: chart.key,
        svg: chart.svg,
        class: "narrow",
        sentences: Vec::new(),
        table: ShownTable::of(chart.table, left_out),
    }
}

impl Flag {
    /// Its kind without the strokes that programs want.
    fn kind_words(&self) -> String {
        self.kind.replace('_', " ")
    }

    /// Weight and money at stake.
    fn stake(&self, close: &Close) -> String {
        let weight = self.weight.map(|of| format!("{of} {}", close.unit));
        let value = self.value.map(|of| format!("{of} {}", close.currency));
        let stake: Vec<String> = weight.into_iter().chain(value).collect();
        stake.join(", ")
    }
}

#[cfg(test)]
mod tests;
