//! A control chart: what was cut in the order of time, around a centre, with limits.
//! A point beyond a limit is a square on its corner and bears its number.

use super::brush::{self, Brush, GREY, MARGIN, Side, WIDTH};
use super::scale::Scale;
use super::{Chart, Wording};
use crate::close::{Close, Control};
use crate::table::Table;
use crate::{Sigma, close};

/// How to read it.
const KEY: &str = "In deviations of the baseline, cut after cut. A square on its corner is beyond a \
    limit and bears its number.";

const TOP: i32 = 400;
const FOOT: i32 = 1_950;
const HEIGHT: i32 = 2_260;
/// Room for the figures beside the chart.
const LEFT: i32 = 380;

pub(super) fn chart(close: &Close, of: &Control, n: usize, wording: &Wording<'_>) -> Chart {
    let say = wording.say;
    let id = format!("control-{}", n + 1);
    let title = format!("{}: {}", of.subject, say(&of.method));
    let description = say(&description(of, say));
    let limits = [of.lower, Some(of.centre), of.upper];
    let values = of
        .points
        .iter()
        .flat_map(|point| [Some(point.value), point.below]);
    let figures = values.chain(limits).flatten();
    let upwards = Scale::of(figures.map(|of| of.hundredths), (FOOT, TOP));
    let last = i64::try_from(of.points.len()).unwrap_or(i64::MAX);
    let along = Scale::of([1, last], (LEFT + 60, WIDTH - MARGIN - 60));
    let svg = brush::drawn(
        wording.language,
        (&id, &title, &description),
        HEIGHT,
        |brush| {
            for tick in upwards.ticks(6) {
                let at = upwards.at(tick);
                brush.faint((LEFT, at), (WIDTH - MARGIN, at));
                let words = Sigma { hundredths: tick }.to_string();
                let words = words.trim_end_matches('0').trim_end_matches('.');
                brush.words((LEFT - 40, at + 45), Side::Right, words);
            }
            limit(
                brush,
                &upwards,
                of.lower,
                &say("lower limit"),
                (MARGIN, Side::Left),
            );
            limit(
                brush,
                &upwards,
                of.upper,
                &say("upper limit"),
                (WIDTH - MARGIN, Side::Right),
            );
            let centre = upwards.at(of.centre.hundredths);
            brush.line((LEFT, centre), (WIDTH - MARGIN, centre), 10, GREY);
            points(brush, &along, &upwards, &of.points);
        },
    );
    let table = Table {
        title: title.clone(),
        ..close.control_table(&[of])
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

/// A dashed line, and its name above the chart, where no point can be.
fn limit(
    brush: &Brush<'_>,
    upwards: &Scale,
    at: Option<Sigma>,
    name: &str,
    (place, side): (i32, Side),
) {
    if let Some(limit) = at {
        let at = upwards.at(limit.hundredths);
        brush.dashed((LEFT, at), (WIDTH - MARGIN, at));
        brush.words((place, 155), side, &format!("{name} {limit}"));
    }
}

fn points(brush: &Brush<'_>, along: &Scale, upwards: &Scale, points: &[close::Point]) {
    let place = |n: i64, value: Sigma| (along.at(n), upwards.at(value.hundredths));
    let numbered = || points.iter().zip(1..);
    let values = numbered().map(|(point, n)| place(n, point.value));
    let below = numbered().filter_map(|(point, n)| point.below.map(|below| place(n, below)));
    let (values, below): (Vec<_>, Vec<_>) = (values.collect(), below.collect());
    for path in [&values, &below] {
        if path.len() > 1 {
            brush.path(path.clone());
        }
    }
    let radius = if points.len() > 40 { 20 } else { 35 };
    let mark = |at: (i32, i32), is_signal: bool, n: i64, up: i32| {
        if is_signal {
            brush.diamond(at, 70);
            brush.words((at.0, at.1 - up), Side::Middle, &n.to_string());
        } else {
            brush.dot(at, radius);
        }
    };
    for ((point, n), at) in numbered().zip(&values) {
        mark(*at, point.signal, n, 90);
    }
    for ((point, n), at) in numbered().zip(&below) {
        mark(*at, point.below_signal, n, -190);
    }
    if let (Some(first), Some(last)) = (points.first(), points.last()) {
        brush.words((LEFT, HEIGHT - 50), Side::Left, &first.day);
        if points.len() > 1 {
            brush.words((WIDTH - MARGIN, HEIGHT - 50), Side::Right, &last.day);
        }
    }
}

fn description(of: &Control, say: &dyn Fn(&str) -> String) -> String {
    let signals = of.points.iter().zip(1..).flat_map(|(point, n)| {
        let value = point.signal.then_some(point.value);
        let below = point.below.filter(|_| point.below_signal);
        let beyond = value.into_iter().chain(below);
        beyond.map(move |value| say(&format!("{n} of {} at {value}", point.day)))
    });
    let signals: Vec<String> = signals.collect();
    let signals = if signals.is_empty() {
        "none is beyond a limit".to_owned()
    } else {
        format!("beyond a limit: {}", signals.join(", "))
    };
    let limits = [(of.lower, "lower"), (of.upper, "upper")];
    let limits = limits
        .into_iter()
        .filter_map(|(limit, name)| limit.map(|limit| format!(", {name} limit {limit}")));
    format!(
        "{} cuts in the order of time, in deviations of the baseline; centre {}{}; {signals}. {}",
        of.points.len(),
        of.centre,
        limits.collect::<String>(),
        of.sentence,
    )
}
