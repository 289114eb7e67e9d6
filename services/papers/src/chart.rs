//! Charts of a close: yields with limits, the day's balance, losses, control.
//!
//! Each is drawn as wide as a phone and grows with the page, is black and grey on white
//! so that it prints, means nothing by colour alone, and comes with a title, a
//! description and the table of its figures. Suppliers stand in the order of their codes:
//! there is no ranking. Which figures there are is the close's; a chart only places them.
//! What it says in words of its own is English until a [`Wording`] says it otherwise.

mod brush;
mod causes;
mod control;
mod scale;
mod waterfall;
mod yields;

use crate::close::Close;
use crate::table::Table;

/// A chart and what belongs to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chart {
    /// Names it on its page.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// How to read its marks.
    pub key: String,
    /// What there is to see in it, for who cannot see it.
    pub description: String,
    /// An `<svg>` element that bears both.
    pub svg: String,
    /// Its figures.
    pub table: Table,
}

/// In which language a chart says its own words. Names, figures and units stay.
#[derive(Clone, Copy)]
pub struct Wording<'a> {
    /// ISO 639-1.
    pub language: &'a str,
    /// Says one of the chart's titles, sentences, words or headings.
    pub say: &'a dyn Fn(&str) -> String,
}

impl Wording<'static> {
    /// As the words stand here.
    pub const ENGLISH: Wording<'static> = Wording {
        language: "en",
        say: &str::to_owned,
    };
}

/// The day's weight from what was on hand to what is.
#[must_use]
pub fn balance(close: &Close, wording: &Wording<'_>) -> Option<Chart> {
    let of = close.balance.as_ref();
    of.map(|of| waterfall::chart(close, of, wording))
}

/// What the day lost, by cause.
#[must_use]
pub fn causes(close: &Close, wording: &Wording<'_>) -> Option<Chart> {
    causes::chart(close, wording)
}

/// Yields of suppliers, a chart for each group of like fish.
#[must_use]
pub fn supplier_yields(close: &Close, wording: &Wording<'_>) -> Vec<Chart> {
    yields::charts(close, wording)
}

/// Control charts, one for each subject and method.
#[must_use]
pub fn control(close: &Close, wording: &Wording<'_>) -> Vec<Chart> {
    let charts = close.control.iter().filter(|of| !of.points.is_empty());
    let charts = charts.enumerate();
    let charts = charts.map(|(n, of)| control::chart(close, of, n, wording));
    charts.collect()
}

#[cfg(test)]
mod tests;
