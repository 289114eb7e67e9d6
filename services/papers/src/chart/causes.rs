//! What fed nobody, by cause: a bar each from zero, to the left where there was more
//! than the book says.

use super::Chart;
use super::brush::{self, BAR, FOOT, GREY, INK, MARGIN, PALE, ROW, WIDTH};
use super::scale::Scale;
use crate::close::{Balance, Close};

/// How to read it.
const KEY: &str = "Pale, to the left of the line, is more than the book says.";

pub(super) fn chart(close: &Close, balance: &Balance) -> Chart {
    let causes = balance.causes();
    let unit = &close.unit;
    let title = "Weight lost, by cause".to_owned();
    let told = causes
        .iter()
        .map(|(cause, weight)| format!("{cause} {weight} {unit}"));
    let description = format!("{}.", told.collect::<Vec<_>>().join(", "));
    let figures = causes.iter().map(|(_, weight)| weight.thousandths);
    let scale = Scale::of(figures.chain([0]), (MARGIN, WIDTH - MARGIN));
    let rows = i32::try_from(causes.len()).unwrap_or(i32::MAX / ROW);
    let svg = brush::drawn("causes", &title, &description, rows * ROW, |brush| {
        for ((cause, weight), n) in causes.iter().zip(0..) {
            let top = n * ROW;
            brush.row(top + FOOT, cause, &format!("{weight} {unit}"));
            let fill = if weight.thousandths < 0 { PALE } else { GREY };
            let (zero, end) = (scale.at(0), scale.at(weight.thousandths));
            if weight.thousandths != 0 {
                brush.bar((zero, top + BAR.0), (end, top + BAR.1), fill);
            }
            brush.line((zero, top + BAR.0 - 20), (zero, top + BAR.1 + 20), 14, INK);
        }
    });
    Chart {
        id: "causes".to_owned(),
        title,
        key: KEY,
        description,
        svg,
        table: close.causes_table(),
    }
}
