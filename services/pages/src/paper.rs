//! What of a close goes onto a chart: the plain data that papers draws.

use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};
use desk::YieldsFound;
use papers::chart::Chart;
use papers::close as paper;
use papers::{Money, Percent, Sigma, Weight as Shown};
use rules::close::{CauseRow, ChartRow, CloseDoc, YieldGroupRow};
use rules::money::Currency;
use rules::weight::{Weight, WeightUnit};

use crate::refused::Refused;
use crate::show;

/// A chart as a page shows it.
pub(crate) struct Drawn {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) key: &'static str,
    /// An element of ours, drawn from figures and escaped words.
    pub(crate) svg: String,
    pub(crate) columns: Vec<String>,
    pub(crate) rows: Vec<Vec<(String, bool)>>,
}

impl From<Chart> for Drawn {
    fn from(chart: Chart) -> Drawn {
        let cells = |row: &Vec<papers::table::Cell>| {
            let cells = row.iter();
            cells
                .map(|cell| (cell.text().to_owned(), cell.is_figure()))
                .collect()
        };
        Drawn {
            columns: chart
                .table
                .columns
                .iter()
                .map(|column| column.title())
                .collect(),
            rows: chart.table.rows.iter().map(cells).collect(),
            id: chart.id,
            title: chart.title,
            key: chart.key,
            svg: chart.svg,
        }
    }
}

/// The chart of `charts` that a file is named for: itself as `causes.svg`, or its figures
/// as `causes.csv`.
pub(crate) fn file(
    charts: Vec<Chart>,
    file: &str,
    is_simulated: bool,
) -> Result<Response, Refused> {
    let (id, ending) = file.rsplit_once('.').ok_or(Refused::NotFound)?;
    let chart = charts.into_iter().find(|chart| chart.id == id);
    let chart = chart.ok_or(Refused::NotFound)?;
    let (kind, content) = match ending {
        "svg" => ("image/svg+xml", chart.svg),
        "csv" => {
            let sheet = papers::csv::table(&chart.table, is_simulated);
            ("text/csv; charset=utf-8", sheet.text)
        }
        _ => return Err(Refused::NotFound),
    };
    let name = format!("attachment; filename=\"{id}.{ending}\"");
    Ok((
        [(CONTENT_TYPE, kind.to_owned()), (CONTENT_DISPOSITION, name)],
        content,
    )
        .into_response())
}

fn shown(weight: Weight, unit: WeightUnit) -> Shown {
    Shown::read(&weight.shown(unit)).unwrap_or_default()
}

fn percent(e2: i64) -> Percent {
    Percent { hundredths: e2 }
}

fn ends(e2: &[i64]) -> Option<(Percent, Percent)> {
    match e2 {
        [from, to] => Some((percent(*from), percent(*to))),
        _ => None,
    }
}

/// What the day lost, by cause, at what the fish had cost.
pub(crate) fn causes(close: &CloseDoc, unit: WeightUnit, currency: Currency) -> Option<Chart> {
    let cause = |of: &CauseRow| paper::Cause {
        cause: of.cause.clone(),
        weight: shown(of.weight, unit),
        value: Money {
            hundredths: of.value.minor(),
        },
    };
    papers::chart::causes(&paper::Close {
        unit: unit.symbol().to_owned(),
        currency: currency.code().to_owned(),
        causes: close.causes.iter().map(cause).collect(),
        ..paper::Close::default()
    })
}

/// Control charts, three of each that has a baseline. `name` is what people call a party.
pub(crate) fn control(close: &CloseDoc, name: impl Fn(&str) -> String) -> Vec<Chart> {
    let of_one = |of: &ChartRow| {
        let subject = format!("{} {}", of.follows.word(), name(&of.party));
        let baseline = format!("{} / {}", show::day(of.from), show::day(of.to));
        let charted = [
            ("single cuts", &of.values_e2, None),
            ("weighted mean", &of.ewma_e2, None),
            ("cumulated sums", &of.above_e2, Some(&of.below_e2)),
        ];
        let charted = charted.into_iter().zip(&of.limits_e2);
        let charted = charted.map(|((method, values, below), limit)| paper::Control {
            subject: subject.clone(),
            method: method.to_owned(),
            baseline: baseline.clone(),
            centre: Sigma::default(),
            lower: Some(sigma(-limit)),
            upper: Some(sigma(*limit)),
            points: points(&of.days, values, below, *limit),
            sentence: of.says.clone(),
        });
        charted.collect::<Vec<_>>()
    };
    papers::chart::control(&paper::Close {
        control: close.charts.iter().flat_map(of_one).collect(),
        ..paper::Close::default()
    })
}

/// A point each, held against its limit.
fn points(days: &[i64], values: &[i64], below: Option<&Vec<i64>>, limit: i64) -> Vec<paper::Point> {
    let points = days.iter().zip(values).enumerate();
    let points = points.map(|(n, (day, value))| {
        let below = below.and_then(|below| below.get(n));
        paper::Point {
            day: show::day(*day),
            value: sigma(*value),
            below: below.map(|below| sigma(-below)),
            signal: value.abs() > limit,
            below_signal: below.is_some_and(|below| below.abs() > limit),
        }
    });
    points.collect()
}

fn sigma(e2: i64) -> Sigma {
    Sigma { hundredths: e2 }
}

/// The day's weight, from what was on hand to what is.
pub(crate) fn balance(close: &CloseDoc, unit: WeightUnit) -> Option<Chart> {
    let of = &close.balance;
    let show = |weight| shown(weight, unit);
    let balance = paper::Balance {
        opening: show(of.opening),
        bought: show(of.bought),
        returned: show(of.returned),
        made: show(of.made),
        used: show(of.used),
        out: of
            .out
            .iter()
            .map(|out| paper::Out {
                outlet: out.outlet.word().to_owned(),
                weight: show(out.weight),
            })
            .collect(),
        shrink: show(of.shrink),
        unaccounted: show(of.unaccounted),
        closing: show(of.closing),
        thrown_out_at_table: show(close.cuts.iter().map(|cut| cut.discard).sum()),
        cutting_loss: show(of.cutting_loss),
        table_unaccounted: show(of.table_unaccounted),
    };
    papers::chart::balance(&paper::Close {
        unit: unit.symbol().to_owned(),
        balance: Some(balance),
        ..paper::Close::default()
    })
}

/// Yields of suppliers as judged, a chart for each group of like fish. `name` is what
/// people call a species or a party.
pub(crate) fn yields(
    found: &YieldsFound,
    unit: WeightUnit,
    name: impl Fn(&str) -> String,
) -> Vec<Chart> {
    let of_group = |group: &YieldGroupRow| {
        let place = match group.customer_kitchen {
            true => "customers' kitchens",
            false => "own table",
        };
        let like = format!(
            "{}, {} to {}, {place}",
            name(&group.species),
            group.presentation.word(),
            group.specification
        );
        let count = |n: i64| i32::try_from(n).unwrap_or(i32::MAX);
        group
            .suppliers
            .iter()
            .map(|of| paper::SupplierYield {
                group: like.clone(),
                supplier: name(&of.supplier),
                cuts: count(of.cuts),
                days: Some(count(of.days)),
                input: shown(of.input, unit),
                of_input: of.yield_e2.map(percent),
                limits: ends(&of.interval_e2),
                shrunk: of.shrunk_e2.map(percent),
                reference: group.reference_e2.map(percent),
                reference_source: group.reference_source.clone(),
                like_for_like: of.rest_e2.map(percent),
                like_for_like_limits: ends(&of.rest_interval_e2),
                difference: None,
                sentence: of.says.clone(),
            })
            .collect::<Vec<_>>()
    };
    papers::chart::supplier_yields(&paper::Close {
        unit: unit.symbol().to_owned(),
        supplier_yields: found.groups.iter().flat_map(of_group).collect(),
        ..paper::Close::default()
    })
}
