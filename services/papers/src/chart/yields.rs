//! Yields of like fish: for each supplier a dot and its 95 % interval, and the line they
//! are held against. In the order of suppliers' codes, never of yields.

use super::brush::{self, Brush, INK, MARGIN, Side, WIDTH};
use super::scale::Scale;
use super::{Chart, Wording};
use crate::Percent;
use crate::close::{Close, SupplierYield};
use crate::table::Table;

/// How to read it.
const KEY: &str = "A dot is a yield as cut, the line through it its 95 % interval where there \
    is one, the dashes what it is held against. In the order of codes, not of yields.";

const ROW: i32 = 380;
const FOOT: i32 = 160;
const LINE: i32 = 250;
/// Room for the scale below.
const SCALE: i32 = 230;

/// A chart for each group, in the order in which the close has them.
pub(super) fn charts(close: &Close, wording: &Wording<'_>) -> Vec<Chart> {
    let mut groups: Vec<&str> = Vec::new();
    for of in &close.supplier_yields {
        if !groups.contains(&of.group.as_str()) {
            groups.push(&of.group);
        }
    }
    let charts = groups.into_iter().zip(1..);
    charts
        .map(|(group, n)| chart(close, group, n, wording))
        .collect()
}

fn chart(close: &Close, group: &str, n: usize, wording: &Wording<'_>) -> Chart {
    let say = wording.say;
    let of = close.supplier_yields.iter();
    let mut of: Vec<&SupplierYield> = of.filter(|of| of.group == group).collect();
    of.sort_by(|a, b| a.supplier.cmp(&b.supplier));
    let id = format!("yields-{n}");
    let title = say(&format!("Yield by supplier: {group}"));
    let description = description(&of, say);
    let figures = of.iter().flat_map(|of| {
        let (from, to) = of.limits.unzip();
        [of.of_input, from, to, of.reference]
    });
    let figures = figures.flatten().map(|of| of.hundredths);
    // Three points more on each side, so that no small difference fills the sheet.
    let figures = figures.flat_map(|of| [of.saturating_sub(300), of.saturating_add(300)]);
    let scale = Scale::of(figures, (MARGIN, WIDTH - MARGIN));
    let rows = i32::try_from(of.len()).unwrap_or(i32::MAX / (2 * ROW));
    let foot = rows * ROW;
    let told = (id.as_str(), title.as_str(), description.as_str());
    let svg = brush::drawn(wording.language, told, foot + SCALE, |brush| {
        if of.iter().any(|of| of.of_input.is_some()) {
            axis(brush, &scale, foot);
        }
        for (of, n) in of.iter().zip(0..) {
            row(brush, &scale, of, n * ROW, say);
        }
    });
    let table = Table {
        title: title.clone(),
        ..close.supplier_yields_table(&of)
    };
    Chart {
        id,
        title,
        key: say(KEY),
        description,
        svg,
        table,
    }
}

/// Round yields below, and faint lines up from them.
fn axis(brush: &Brush<'_>, scale: &Scale, foot: i32) {
    for tick in scale.ticks(6) {
        let at = scale.at(tick);
        brush.faint((at, 0), (at, foot));
        let side = match at {
            at if at < 4 * MARGIN => Side::Left,
            at if at > WIDTH - 4 * MARGIN => Side::Right,
            _ => Side::Middle,
        };
        let percent = Percent { hundredths: tick }.to_string();
        let words = format!("{} %", percent.trim_end_matches('0').trim_end_matches('.'));
        brush.words((at, foot + 160), side, &words);
    }
}

fn row(
    brush: &Brush<'_>,
    scale: &Scale,
    of: &SupplierYield,
    top: i32,
    say: &dyn Fn(&str) -> String,
) {
    let how_much = of
        .of_input
        .map_or_else(|| say("cannot be told"), |of| format!("{of} %"));
    brush.row(top + FOOT, &of.supplier, &how_much);
    let line = top + LINE;
    if let Some(reference) = of.reference {
        let at = scale.at(reference.hundredths);
        brush.dashed((at, top + FOOT + 20), (at, top + ROW));
    }
    if let Some((from, to)) = of.limits {
        let (from, to) = (scale.at(from.hundredths), scale.at(to.hundredths));
        brush.line((from, line), (to, line), 20, INK);
        for end in [from, to] {
            brush.line((end, line - 40), (end, line + 40), 20, INK);
        }
    }
    if let Some(of_input) = of.of_input {
        brush.dot((scale.at(of_input.hundredths), line), 45);
    }
}

fn description(of: &[&SupplierYield], say: &dyn Fn(&str) -> String) -> String {
    let told = of.iter().map(|of| {
        let yields = match (of.of_input, of.limits) {
            (Some(yields), Some((from, to))) => {
                format!("{yields} %, 95 % interval {from} to {to} %")
            }
            (Some(yields), None) => format!("{yields} %, no interval"),
            (None, _) => "cannot be told".to_owned(),
        };
        let reference = of
            .reference
            .map_or_else(String::new, |of| format!(", held against {of} %"));
        let reference = match reference.as_str() {
            "" => reference,
            reference => say(reference),
        };
        format!("{}: {}{reference}", of.supplier, say(&yields))
    });
    format!("{}.", told.collect::<Vec<_>>().join("; "))
}
