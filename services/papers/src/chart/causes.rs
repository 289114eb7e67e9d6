//! What the day lost, by cause, at what the fish had cost: a bar each from zero, to the
//! left where there was more than the book says.

use super::brush::{self, BAR, FOOT, GREY, INK, MARGIN, PALE, ROW, WIDTH};
use super::scale::Scale;
use super::{Chart, Wording};
use crate::close::Close;

/// How to read it.
const KEY: &str = "At what the fish had cost. Pale, to the left of the line, is more than the \
    book says. Causes may overlap.";

/// No chart where no cause was worked out.
pub(super) fn chart(close: &Close, wording: &Wording<'_>) -> Option<Chart> {
    let say = wording.say;
    let causes = &close.causes;
    if causes.is_empty() {
        return None;
    }
    let (unit, currency) = (&close.unit, &close.currency);
    let title = say("What the day lost, by cause");
    let told = causes.iter().map(|of| {
        format!(
            "{} {} {currency}, {} {unit}",
            say(&of.cause),
            of.value,
            of.weight
        )
    });
    let description = format!("{}.", told.collect::<Vec<_>>().join("; "));
    let figures = causes.iter().map(|of| of.value.hundredths);
    let scale = Scale::of(figures.chain([0]), (MARGIN, WIDTH - MARGIN));
    let rows = i32::try_from(causes.len()).unwrap_or(i32::MAX / ROW);
    let svg = brush::drawn(
        wording.language,
        ("causes", &title, &description),
        rows * ROW,
        |brush| {
            for (of, n) in causes.iter().zip(0..) {
                let top = n * ROW;
                brush.row(
                    top + FOOT,
                    &say(&of.cause),
                    &format!("{} {currency}", of.value),
                );
                let value = of.value.hundredths;
                let fill = if value < 0 { PALE } else { GREY };
                let (zero, end) = (scale.at(0), scale.at(value));
                if value != 0 {
                    brush.bar((zero, top + BAR.0), (end, top + BAR.1), fill);
                }
                let line = (top + BAR.0 - 20, top + BAR.1 + 20);
                brush.line((zero, line.0), (zero, line.1), 14, INK);
            }
        },
    );
    Some(Chart {
        id: "causes".to_owned(),
        title,
        key: say(KEY),
        description,
        svg,
        table: close.causes_table(),
    })
}
