//! Charts of a close: yields with limits, the day's balance, losses, control.
//!
//! Each is drawn as wide as a phone and grows with the page, is black and grey on white
//! so that it prints, means nothing by colour alone, and comes with a title, a
//! description and the table of its figures. Suppliers stand in the order of their codes:
//! there is no ranking. Which figures there are is the close's; a chart only places them.

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
    pub key: &'static str,
    /// What there is to see in it, for who cannot see it.
    pub description: String,
    /// An `<svg>` element that bears both.
    pub svg: String,
    /// Its figures.
    pub table: Table,
}

/// The day's weight from what was on hand to what is.
#[must_use]
pub fn balance(close: &Close) -> Option<Chart> {
    close.balance.as_ref().map(|of| waterfall::chart(close, of))
}

/// What the day lost, by cause.
#[must_use]
pub fn causes(close: &Close) -> Option<Chart> {
    causes::chart(close)
}

/// Yields of suppliers, a chart for each group of like fish.
#[must_use]
pub fn supplier_yields(close: &Close) -> Vec<Chart> {
    yields::charts(close)
}

/// Control charts, one for each subject and method.
#[must_use]
pub fn control(close: &Close) -> Vec<Chart> {
    let charts = close.control.iter().filter(|of| !of.points.is_empty());
    let charts = charts.enumerate();
    charts.map(|(n, of)| control::chart(close, of, n)).collect()
}

#[cfg(test)]
mod tests;
