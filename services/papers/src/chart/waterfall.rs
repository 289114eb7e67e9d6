//! The day's weight as steps: on hand at the start, what came, what went, on hand at
//! the end. Each bar begins where the one before it ended.

use super::brush::{self, BAR, Brush, FOOT, GREY, INK, MARGIN, PALE, ROW, WIDTH};
use super::scale::Scale;
use super::{Chart, Wording};
use crate::Weight;
use crate::close::{Balance, Close};
use crate::tables::{Side, Step};

/// How to read it.
const KEY: &str = "Black is on hand, pale came in, grey went.";

/// A bar of the balance: the step, and what is on hand before and after it.
pub(super) fn bars(balance: &Balance) -> Vec<(Step<'_>, i64, i64)> {
    let mut on_hand = 0_i64;
    let bars = balance.steps().into_iter().map(|step| {
        let weight = step.weight.thousandths;
        let (from, to) = match step.side {
            Side::Start | Side::End => (0, weight),
            Side::In => (on_hand, on_hand.saturating_add(weight)),
            Side::Out => (on_hand, on_hand.saturating_sub(weight)),
        };
        on_hand = to;
        (step, from, to)
    });
    bars.filter(|(step, ..)| {
        step.weight.thousandths != 0 || matches!(step.side, Side::Start | Side::End)
    })
    .collect()
}

pub(super) fn chart(close: &Close, balance: &Balance, wording: &Wording<'_>) -> Chart {
    let say = wording.say;
    let bars = bars(balance);
    let title = say("Weight of the day, step by step");
    let description = description(close, balance, &bars, say);
    let ends = bars.iter().flat_map(|(_, from, to)| [*from, *to]);
    let scale = Scale::of(ends.chain([0]), (MARGIN, WIDTH - MARGIN));
    let rows = i32::try_from(bars.len()).unwrap_or(i32::MAX / ROW);
    let told = ("balance", title.as_str(), description.as_str());
    let svg = brush::drawn(wording.language, told, rows * ROW, |brush| {
        for ((step, from, to), n) in bars.iter().zip(0..) {
            let (what, how_much) = (say(said(step)), how_much(close, step, (*from, *to)));
            brush.row(n * ROW + FOOT, &what, &how_much);
            bar(brush, &scale, step, (*from, *to), n * ROW);
        }
    });
    Chart {
        id: "balance".to_owned(),
        title,
        key: say(KEY),
        description,
        svg,
        table: close.balance_table(),
    }
}

/// How much a step is, and whether it came in or went.
fn how_much(close: &Close, step: &Step<'_>, (from, to): (i64, i64)) -> String {
    let sign = match step.side {
        Side::Start | Side::End => "",
        Side::In | Side::Out => {
            if to > from {
                "+ "
            } else {
                "− "
            }
        }
    };
    let size = Weight {
        thousandths: to.saturating_sub(from).saturating_abs(),
    };
    format!("{sign}{size} {}", close.unit)
}

fn bar(brush: &Brush<'_>, scale: &Scale, step: &Step<'_>, (from, to): (i64, i64), top: i32) {
    let fill = match step.side {
        Side::Start | Side::End => INK,
        Side::In | Side::Out => {
            if to > from {
                PALE
            } else {
                GREY
            }
        }
    };
    brush.bar(
        (scale.at(from), top + BAR.0),
        (scale.at(to), top + BAR.1),
        fill,
    );
    if step.side != Side::End {
        brush.line(
            (scale.at(to), top + BAR.1),
            (scale.at(to), top + ROW + BAR.0),
            6,
            GREY,
        );
    }
}

/// A step in words; weight that is more than the book says comes in.
fn said<'a>(step: &Step<'a>) -> &'a str {
    if step.side == Side::Out && step.weight.thousandths < 0 && step.what == "unaccounted" {
        "more than the book says"
    } else {
        step.what
    }
}

fn description(
    close: &Close,
    balance: &Balance,
    bars: &[(Step<'_>, i64, i64)],
    say: &dyn Fn(&str) -> String,
) -> String {
    let unit = &close.unit;
    let told = |side: Side| {
        let steps = bars.iter().filter(|(step, ..)| step.side == side);
        let steps = steps.map(|(step, ..)| format!("{} {} {unit}", say(step.what), step.weight));
        let told: Vec<String> = steps.collect();
        if told.is_empty() {
            say("nothing")
        } else {
            told.join(", ")
        }
    };
    say(&format!(
        "On hand at the start: {} {unit}. Came: {}. Went: {}. On hand at the end: {} {unit}.",
        balance.opening,
        told(Side::In),
        told(Side::Out),
        balance.closing,
    ))
}
