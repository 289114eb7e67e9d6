//! What of a close goes onto a chart: the plain data that papers draws, and the words on
//! it in the page's language. Charts that lack one of them stand in English whole.

use std::cell::Cell as Kept;

use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};
use desk::YieldsFound;
use papers::chart::{Chart, Wording};
use papers::close as paper;
use papers::table::Table;
use papers::{Money, Percent, Sigma, Weight as Shown};
use rules::close::{CauseRow, ChartRow, CloseDoc, YieldGroupRow};
use rules::money::Currency;
use rules::weight::{Weight, WeightUnit};

use crate::refused::Refused;
use crate::show;
use crate::words::Language;

/// A chart, and the language in which it says its words.
pub(crate) struct Said {
    pub(crate) chart: Chart,
    language: Language,
}

/// A chart as a page shows it.
pub(crate) struct Drawn {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) key: String,
    /// Whether its words are in the page's language; where not, in English.
    pub(crate) is_ours: bool,
    /// An element of ours, drawn from figures and escaped words.
    pub(crate) svg: String,
    pub(crate) columns: Vec<String>,
    pub(crate) rows: Vec<Vec<Cell>>,
}

/// What stands in the table of a chart.
pub(crate) struct Cell {
    pub(crate) text: String,
    pub(crate) is_figure: bool,
    /// Whether it is in the language of its chart.
    pub(crate) is_ours: bool,
}

impl Said {
    /// Charts as `draw` draws them, in a language if all of their words are there.
    fn drawn(language: Language, draw: impl Fn(&Wording<'_>) -> Vec<Chart>) -> Vec<Said> {
        let is_whole = Kept::new(true);
        let say = |english: &str| {
            let (text, is_ours) = language.sentence(english);
            is_whole.set(is_whole.get() && is_ours);
            text
        };
        let wording = Wording {
            language: language.code(),
            say: &say,
        };
        let charts = draw(&wording);
        let (charts, language) = match is_whole.get() {
            true => (charts, language),
            false => (draw(&Wording::ENGLISH), Language::English),
        };
        let charts = charts.into_iter();
        charts.map(|chart| Said { chart, language }).collect()
    }
}

impl Drawn {
    /// On a page in a language.
    pub(crate) fn on(page: Language, said: Said) -> Drawn {
        let Said { chart, language } = said;
        let (columns, rows) = table(language, &chart.table);
        Drawn {
            is_ours: page == language,
            columns,
            rows,
            id: chart.id,
            title: chart.title,
            key: chart.key,
            svg: chart.svg,
        }
    }
}

/// Headings and rows of a table in a language: names and figures stay.
fn table(language: Language, table: &Table) -> (Vec<String>, Vec<Vec<Cell>>) {
    let columns = table.columns.iter().map(|column| {
        let (heading, _) = language.sentence(column.heading);
        match column.unit.as_str() {
            "" => heading,
            unit => format!("{heading}, {}", language.known(unit)),
        }
    });
    let cell = |heading: &str, cell: &papers::table::Cell| {
        let text = cell.text();
        let (text, is_ours) = match heading {
            "side" | "what" | "what may be said" | "cause" | "method" | "signal" => {
                language.sentence(text)
            }
            "reference from" => (language.known(text), true),
            _ => (text.to_owned(), true),
        };
        Cell {
            text,
            is_figure: cell.is_figure(),
            is_ours,
        }
    };
    let rows = table.rows.iter().map(|row| {
        let cells = table.columns.iter().zip(row);
        cells.map(|(column, of)| cell(column.heading, of)).collect()
    });
    (columns.collect(), rows.collect())
}

/// The language of a file with a chart on it: what programs read is English, whoever
/// saves it.
pub(crate) fn language_of(file: &str, page: Language) -> Language {
    match file.ends_with(".csv") {
        true => Language::English,
        false => page,
    }
}

/// The chart of `charts` that a file is named for: itself as `causes.svg`, or its figures
/// as `causes.csv`.
pub(crate) fn file(charts: Vec<Said>, file: &str, is_simulated: bool) -> Result<Response, Refused> {
    let (id, ending) = file.rsplit_once('.').ok_or(Refused::NotFound)?;
    let mut charts = charts.into_iter().map(|said| said.chart);
    let chart = charts.find(|chart| chart.id == id);
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
pub(crate) fn causes(
    close: &CloseDoc,
    unit: WeightUnit,
    currency: Currency,
    language: Language,
) -> Vec<Said> {
    let cause = |of: &CauseRow| paper::Cause {
        cause: of.cause.clone(),
        weight: shown(of.weight, unit),
        value: Money {
            hundredths: of.value.minor(),
        },
    };
    let close = paper::Close {
        unit: unit.symbol().to_owned(),
        currency: currency.code().to_owned(),
        causes: close.causes.iter().map(cause).collect(),
        ..paper::Close::default()
    };
    Said::drawn(language, |wording| {
        papers::chart::causes(&close, wording).into_iter().collect()
    })
}

/// Control charts, three of each that has a baseline. `name` is what people call a party.
pub(crate) fn controls(
    charts: &[ChartRow],
    language: Language,
    name: impl Fn(&str) -> String,
) -> Vec<Said> {
    let of_one = |of: &ChartRow| {
        let subject = format!("{} {}", language.term(of.follows.word()), name(&of.party));
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
    let close = paper::Close {
        control: charts.iter().flat_map(of_one).collect(),
        ..paper::Close::default()
    };
    Said::drawn(language, |wording| papers::chart::control(&close, wording))
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
pub(crate) fn balance(close: &CloseDoc, unit: WeightUnit, language: Language) -> Vec<Said> {
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
    let close = paper::Close {
        unit: unit.symbol().to_owned(),
        balance: Some(balance),
        ..paper::Close::default()
    };
    Said::drawn(language, |wording| {
        papers::chart::balance(&close, wording)
            .into_iter()
            .collect()
    })
}

/// Yields of suppliers as judged, a chart for each group of like fish. `name` is what
/// people call a species or a party.
pub(crate) fn yields(
    found: &YieldsFound,
    unit: WeightUnit,
    language: Language,
    name: impl Fn(&str) -> String,
) -> Vec<Said> {
    let of_group = |group: &YieldGroupRow| {
        let place = match group.customer_kitchen {
            true => "customers' kitchens",
            false => "own table",
        };
        let like = language.known(&format!(
            "{}, {} to {}, {place}",
            name(&group.species),
            group.presentation.word(),
            group.specification
        ));
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
    let close = paper::Close {
        unit: unit.symbol().to_owned(),
        supplier_yields: found.groups.iter().flat_map(of_group).collect(),
        ..paper::Close::default()
    };
    Said::drawn(language, |wording| {
        papers::chart::supplier_yields(&close, wording)
    })
}

#[cfg(test)]
mod tests {
    use rules::baseline::Follows;

    use super::*;

    /// The balance of a day on which fish went to an outlet.
    fn drawn(language: Language, outlet: &str) -> Option<Drawn> {
        let weight = |thousandths| Shown { thousandths };
        let out = paper::Out {
            outlet: outlet.to_owned(),
            weight: weight(4_200),
        };
        let close = paper::Close {
            unit: "lb".to_owned(),
            balance: Some(paper::Balance {
                bought: weight(10_000),
                out: vec![out],
                closing: weight(5_800),
                ..paper::Balance::default()
            }),
            ..paper::Close::default()
        };
        let draw = |wording: &Wording<'_>| {
            let chart = papers::chart::balance(&close, wording);
            chart.into_iter().collect()
        };
        let said = Said::drawn(language, draw).pop()?;
        Some(Drawn::on(language, said))
    }

    #[test]
    fn a_chart_is_drawn_in_the_language_of_its_page_with_its_table() {
        let chart = drawn(Language::Spanish, "donation").expect("a chart");
        assert!(chart.is_ours);
        assert_eq!(chart.title, "Peso del día, paso a paso");
        for said in [
            "lang=\"es\"",
            "donación",
            "Existencia al principio: 0.00 lb. Entró: ",
        ] {
            assert!(chart.svg.contains(said), "{said}: {}", chart.svg);
        }
        assert_eq!(chart.columns, ["lado", "qué", "peso, lb"]);
        let cells: Vec<&Cell> = chart.rows.iter().flatten().collect();
        assert!(cells.iter().all(|cell| cell.is_ours));
        assert!(cells.iter().any(|cell| cell.text == "donación"));
        let english = drawn(Language::English, "donation").expect("a chart");
        assert!(english.is_ours && english.svg.contains("lang=\"en\""));
        assert_eq!(english.columns, ["side", "what", "weight, lb"]);
    }

    #[test]
    fn every_heading_of_the_table_of_yields_is_in_spanish() {
        let close = paper::Close {
            unit: "lb".to_owned(),
            supplier_yields: vec![paper::SupplierYield {
                reference_source: "own history, 30 cuts of 4 suppliers".to_owned(),
                sentence: "no baseline is set".to_owned(),
                ..paper::SupplierYield::default()
            }],
            ..paper::Close::default()
        };
        let charts = papers::chart::supplier_yields(&close, &Wording::ENGLISH);
        let (columns, rows) = table(Language::Spanish, &charts[0].table);
        let of_both = columns.iter().zip(&charts[0].table.columns);
        for (spanish, english) in of_both {
            assert_ne!(*spanish, english.title());
        }
        let cells: Vec<&str> = rows[0].iter().map(|cell| cell.text.as_str()).collect();
        for said in [
            "historia propia, 30 cortes de 4 proveedores",
            "no hay línea base fijada",
        ] {
            assert!(cells.contains(&said), "{cells:?}");
        }
    }

    #[test]
    fn a_chart_that_lacks_a_word_is_in_english_whole_and_said_to_be() {
        let chart = drawn(Language::Spanish, "smoked").expect("a chart");
        assert!(!chart.is_ours);
        assert_eq!(chart.title, "Weight of the day, step by step");
        assert!(chart.svg.contains("lang=\"en\"") && !chart.svg.contains("comprado"));
        assert_eq!(chart.columns, ["side", "what", "weight, lb"]);
    }

    #[test]
    fn a_baselines_three_charts_say_what_is_beyond_a_limit() {
        let row = ChartRow {
            follows: Follows::Supplier,
            party: "wren".to_owned(),
            from: 20_310_428,
            to: 20_310_501,
            baseline_cuts: 9,
            days: vec![20_310_502, 20_310_503],
            values_e2: vec![120, -310],
            ewma_e2: vec![20, -40],
            above_e2: vec![70, 0],
            below_e2: vec![0, 260],
            limits_e2: vec![300, 90, 500],
            found: Some(20_310_503),
            says: "no drift shown".to_owned(),
        };
        let told = controls(&[row], Language::English, |_| "Wren".to_owned());
        let charts: Vec<_> = told.iter().map(|said| &said.chart).collect();
        let titles: Vec<_> = charts.iter().map(|chart| chart.title.as_str()).collect();
        assert_eq!(
            titles,
            [
                "supplier Wren: single cuts",
                "supplier Wren: weighted mean",
                "supplier Wren: cumulated sums",
            ]
        );
        let beyond = "beyond a limit: 2 of 2031-05-03 at -3.10";
        assert!(
            charts[0].description.contains(beyond),
            "{}",
            charts[0].description
        );
        // 2.60 has gathered below, within 5.00.
        for chart in &charts[1..] {
            let none = chart.description.contains("none is beyond a limit");
            assert!(none, "{}", chart.description);
        }
        let below = charts[2].table.rows[1]
            .iter()
            .map(papers::table::Cell::text);
        assert!(below.collect::<Vec<_>>().contains(&"-2.60"));
    }
}
