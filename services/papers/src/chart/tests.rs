//! Charts as a reader of SVG sees them.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;
use roxmltree::{Document, Node};

use super::*;
use crate::close::{Balance, Cause, Point};
use crate::sample;
use crate::{Money, Sigma, Weight};

fn all(close: &Close) -> Vec<Chart> {
    let mut charts: Vec<Chart> = balance(close, &Wording::ENGLISH)
        .into_iter()
        .chain(causes(close, &Wording::ENGLISH))
        .collect();
    charts.extend(supplier_yields(close, &Wording::ENGLISH));
    charts.extend(control(close, &Wording::ENGLISH));
    charts
}

fn named<'a, 'i>(svg: &'a Document<'i>, name: &'static str) -> impl Iterator<Item = Node<'a, 'i>> {
    svg.descendants()
        .filter(move |node| node.has_tag_name(name) || node.tag_name().name() == name)
}

fn number(node: Node<'_, '_>, attribute: &str) -> i64 {
    node.attribute(attribute).unwrap().parse().unwrap()
}

fn words(node: Node<'_, '_>) -> String {
    node.text().unwrap().trim().to_owned()
}

#[test]
fn every_chart_bears_a_title_a_description_and_its_role() {
    let charts = all(&sample::close());
    assert_eq!(charts.len(), 4);
    for chart in charts {
        let svg = Document::parse(&chart.svg).unwrap();
        let root = svg.root_element();
        assert_eq!(root.attribute("role"), Some("img"));
        let labelled: Vec<&str> = root
            .attribute("aria-labelledby")
            .unwrap()
            .split(' ')
            .collect();
        for (id, name) in labelled.iter().zip(["title", "desc"]) {
            let node = named(&svg, name).next().unwrap();
            assert_eq!(node.attribute("id"), Some(*id));
            assert!(!words(node).is_empty(), "{}", chart.id);
        }
        assert_eq!(words(named(&svg, "title").next().unwrap()), chart.title);
        assert_eq!(labelled.len(), 2);
        assert!(!chart.table.rows.is_empty());
    }
}

#[test]
fn a_chart_says_its_own_words_as_it_is_told_to_and_leaves_names_and_figures() {
    let say = |english: &str| match english {
        "on hand at the start" => "al principio".to_owned(),
        "Weight of the day, step by step" => "Peso del día".to_owned(),
        other => other.to_owned(),
    };
    let spanish = Wording {
        language: "es",
        say: &say,
    };
    let close = sample::close();
    let (there, here) = (
        balance(&close, &spanish),
        balance(&close, &Wording::ENGLISH),
    );
    let (there, here) = (there.unwrap(), here.unwrap());
    let svg = Document::parse(&there.svg).unwrap();
    assert_eq!(svg.root_element().attribute("lang"), Some("es"));
    assert_eq!(words(named(&svg, "title").next().unwrap()), "Peso del día");
    assert_eq!(there.title, "Peso del día");
    let texts: Vec<String> = named(&svg, "text").map(words).collect();
    assert!(texts.contains(&"al principio".to_owned()), "{texts:?}");
    // All else is as in English, mark by mark.
    let told = there.svg.replace("al principio", "on hand at the start");
    let told = told.replace("Peso del día", &here.title);
    assert_eq!(told.replace("lang=\"es\"", "lang=\"en\""), here.svg);
    assert_eq!(there.table, here.table, "a table stays as programs read it");
}

/// Words at the right end of a row are its figure.
#[test]
fn every_figure_of_a_chart_is_in_its_table() {
    let mut checked = 0;
    for chart in all(&sample::close()) {
        let svg = Document::parse(&chart.svg).unwrap();
        let cells: Vec<&str> = chart
            .table
            .rows
            .iter()
            .flatten()
            .map(|cell| cell.text())
            .collect();
        let ends = named(&svg, "text").filter(|text| text.attribute("text-anchor") == Some("end"));
        // A chart's own scale stands at its left, or below it.
        let foot = number_at(&svg, 3)
            - if chart.id.starts_with("yields") {
                200
            } else {
                0
            };
        let ends = ends.filter(|text| number(*text, "x") > 1_000 && number(*text, "y") < foot);
        for text in ends.map(words) {
            let figure = text.trim_start_matches(|c: char| !c.is_ascii_digit() && c != '-');
            let figure = figure.split(' ').next().unwrap();
            let is_there = cells
                .iter()
                .any(|cell| cell.trim_start_matches('-') == figure.trim_start_matches('-'));
            assert!(is_there, "{text} of {}: {cells:?}", chart.id);
            checked += 1;
        }
    }
    assert!(checked > 20, "{checked}");
}

#[test]
fn nothing_of_a_chart_is_off_its_paper() {
    for chart in all(&sample::close()) {
        let svg = Document::parse(&chart.svg).unwrap();
        let (width, height) = (number_at(&svg, 2), number_at(&svg, 3));
        assert_eq!(width, 3_400);
        let mut marks = 0;
        for (x, y) in svg.descendants().flat_map(places) {
            assert!(
                (0..=width).contains(&x) && (0..=height).contains(&y),
                "{x} {y} {}",
                chart.id
            );
            marks += 1;
        }
        assert!(marks > 10, "{}", chart.id);
    }
}

/// A figure of the paper's size.
fn number_at(svg: &Document<'_>, place: usize) -> i64 {
    let size = svg.root_element().attribute("viewBox").unwrap();
    size.split(' ').nth(place).unwrap().parse().unwrap()
}

/// The corners and centres of a mark.
fn places(node: Node<'_, '_>) -> Vec<(i64, i64)> {
    match node.tag_name().name() {
        "rect" => {
            let (x, y) = (number(node, "x"), number(node, "y"));
            vec![
                (x, y),
                (x + number(node, "width"), y + number(node, "height")),
            ]
        }
        "circle" => vec![(number(node, "cx"), number(node, "cy"))],
        "text" => vec![(number(node, "x"), number(node, "y"))],
        "polyline" | "polygon" => {
            let points = node.attribute("points").unwrap().split_whitespace();
            points
                .map(|point| {
                    let (x, y) = point.split_once(',').unwrap();
                    (x.parse().unwrap(), y.parse().unwrap())
                })
                .collect()
        }
        _ => Vec::new(),
    }
}

#[test]
fn letters_are_at_least_12_pixels_high_on_the_narrowest_page() {
    // A screen of 360 less the page's margins of 12 on each side.
    let narrowest = 360 - 2 * 12;
    for chart in all(&sample::close()) {
        let svg = Document::parse(&chart.svg).unwrap();
        for text in named(&svg, "text") {
            let size: f64 = text.attribute("font-size").unwrap().parse().unwrap();
            let shown = size * f64::from(narrowest) / 3_400.0;
            assert!(shown >= 12.0, "{shown} in {}", chart.id);
        }
    }
}

#[test]
fn suppliers_stand_in_the_order_of_their_codes() {
    let chart = &supplier_yields(&sample::close(), &Wording::ENGLISH)[0];
    let suppliers: Vec<&str> = chart.table.column("supplier").collect();
    assert_eq!(suppliers, ["mara-denby", "osric-pell", "wren-haldane"]);
    let svg = Document::parse(&chart.svg).unwrap();
    let feet: Vec<(i64, String)> = named(&svg, "text")
        .map(|text| (number(text, "y"), words(text)))
        .filter(|(_, words)| suppliers.contains(&words.as_str()))
        .collect();
    assert!(feet.is_sorted() && feet.len() == 3, "{feet:?}");
    assert!(feet.windows(2).all(|two| two[0].1 < two[1].1), "{feet:?}");
}

#[test]
fn an_interval_reaches_as_far_as_its_table_says() {
    let chart = &supplier_yields(&sample::close(), &Wording::ENGLISH)[0];
    let svg = Document::parse(&chart.svg).unwrap();
    let dots: Vec<i64> = named(&svg, "circle").map(|dot| number(dot, "cx")).collect();
    assert_eq!(dots.len(), 3);
    // 26.51 and 30.12 are drawn at dots[1] and dots[2]: the scale between them.
    let at =
        |hundredths: i64| dots[1] + (hundredths - 2_651) * (dots[2] - dots[1]) / (3_012 - 2_651);
    let level = named(&svg, "polyline").filter(|line| line.attribute("stroke-width") == Some("20"));
    let level: Vec<Vec<(i64, i64)>> = level.map(places).filter(|p| p[0].1 == p[1].1).collect();
    assert_eq!(level.len(), 2, "one supplier has no interval");
    for (line, (from, to)) in level.iter().zip([(2_410, 2_720), (2_880, 3_144)]) {
        assert!(
            (line[0].0 - at(from)).abs() <= 10 && (line[1].0 - at(to)).abs() <= 10,
            "{line:?}"
        );
    }
}

#[test]
fn a_signal_has_another_shape_and_its_number() {
    let chart = &control(&sample::close(), &Wording::ENGLISH)[0];
    let svg = Document::parse(&chart.svg).unwrap();
    assert_eq!(named(&svg, "polygon").count(), 2);
    assert_eq!(named(&svg, "circle").count(), 6);
    let numbers: Vec<String> = named(&svg, "text")
        .map(words)
        .filter(|w| w == "6" || w == "8")
        .collect();
    assert_eq!(numbers, ["6", "8"]);
    assert!(
        chart
            .description
            .contains("beyond a limit: 6 of 2031-04-33 at -3.21, 8 of"),
        "{}",
        chart.description
    );
}

#[test]
fn what_gathers_below_has_a_line_of_its_own() {
    let mut close = sample::close();
    let point = |value, below| Point {
        value: Sigma { hundredths: value },
        below: Some(Sigma { hundredths: below }),
        ..Point::default()
    };
    close.control[0].points = vec![point(0, -10), point(60, -120), point(10, -310)];
    close.control[0].points[2].below_signal = true;
    let chart = &control(&close, &Wording::ENGLISH)[0];
    let svg = Document::parse(&chart.svg).unwrap();
    assert_eq!(named(&svg, "circle").count(), 5);
    // The sign is at the lower of the two points of the last cut.
    let sign = places(named(&svg, "polygon").next().unwrap());
    let lowest = named(&svg, "circle").map(|dot| number(dot, "cy")).max();
    assert!(sign.iter().all(|(_, y)| Some(*y) > lowest), "{sign:?}");
    assert!(
        chart.description.contains("at -3.10"),
        "{}",
        chart.description
    );
    let lines = named(&svg, "polyline")
        .map(places)
        .filter(|line| line.len() == 3);
    assert_eq!(lines.count(), 2);
    let below: Vec<&str> = chart.table.column("gathered below").collect();
    assert_eq!(below, ["-0.10", "-1.20", "-3.10"]);
}

#[test]
fn more_than_the_book_says_is_pale_and_said() {
    let mut close = sample::close();
    let of = close.balance.as_mut().unwrap();
    (of.unaccounted, of.closing) = (sample::weight("-11.684"), sample::weight("291.815"));
    let svg = balance(&close, &Wording::ENGLISH).unwrap().svg;
    assert!(
        svg.contains("more than the book says") && svg.contains("+ 11.684 lb"),
        "{svg}"
    );
}

#[test]
fn without_figures_there_is_no_chart() {
    assert_eq!(all(&Close::default()), Vec::new());
}

#[test]
fn one_figure_alone_is_drawn() {
    let mut close = sample::close();
    close.supplier_yields.truncate(1);
    close.supplier_yields[0].limits = None;
    close.supplier_yields[0].reference = None;
    close.control[0].points.truncate(1);
    close.balance = Some(Balance::default());
    for chart in all(&close) {
        Document::parse(&chart.svg).unwrap();
    }
}

fn a_balance() -> impl Strategy<Value = Balance> {
    prop::collection::vec(-50_000_i64..400_000, 6).prop_map(|of| {
        let weight = |n: usize| Weight { thousandths: of[n] };
        Balance {
            opening: Weight {
                thousandths: of[0].abs() + 1,
            },
            bought: weight(1),
            used: weight(2),
            shrink: weight(3),
            unaccounted: weight(4),
            closing: Weight {
                thousandths: of[0].abs() + 1 + of[1] - of[2] - of[3] - of[4],
            },
            ..Balance::default()
        }
    })
}

proptest! {
    /// Bars are as long as their weights, and each begins where the one before ended.
    #[test]
    fn bars_are_in_proportion_and_hang_together(of in a_balance()) {
        let close = Close { balance: Some(of.clone()), ..sample::close() };
        let bars = waterfall::bars(&of);
        let svg = balance(&close, &Wording::ENGLISH).unwrap().svg;
        let svg = Document::parse(&svg).unwrap();
        let drawn: Vec<i64> = named(&svg, "rect").map(|bar| number(bar, "width")).collect();
        prop_assert_eq!(drawn.len(), bars.len());
        let ends: Vec<i64> = bars.iter().flat_map(|(_, from, to)| [*from, *to]).chain([0]).collect();
        let (least, most) = (*ends.iter().min().unwrap(), *ends.iter().max().unwrap());
        for ((_, from, to), width) in bars.iter().zip(&drawn) {
            let wanted = (to - from).abs() * 3_280 / (most - least);
            prop_assert!((wanted - width).abs() <= 2, "{} {}", wanted, width);
        }
        for two in bars.windows(2) {
            let (_, _, ended) = two[0];
            let (step, begun, ends) = two[1];
            let last = step.side == crate::tables::Side::End;
            prop_assert_eq!(if last { ends } else { begun }, ended, "{}", step.what);
        }
    }

    #[test]
    fn losses_are_in_proportion(lost in prop::collection::vec(1_i64..90_000, 1..7)) {
        let causes_of = lost.iter().map(|hundredths| Cause {
            value: Money { hundredths: *hundredths },
            ..Cause::default()
        });
        let close = Close { causes: causes_of.collect(), ..sample::close() };
        let svg = causes(&close, &Wording::ENGLISH).unwrap().svg;
        let svg = Document::parse(&svg).unwrap();
        let drawn: Vec<i64> = named(&svg, "rect").map(|bar| number(bar, "width")).collect();
        let most = lost.iter().max().unwrap();
        prop_assert_eq!(drawn.len(), lost.len());
        for (width, lost) in drawn.iter().zip(&lost) {
            prop_assert!((lost * 3_280 / most - width).abs() <= 2, "{} {}", lost, width);
        }
    }

    /// Whoever is named, and whatever is said of them.
    #[test]
    fn any_name_is_drawn_as_text(name in any::<String>()) {
        let mut close = sample::close();
        for of in &mut close.supplier_yields {
            of.supplier.clone_from(&name);
        }
        let chart = &supplier_yields(&close, &Wording::ENGLISH)[0];
        let held: String = chart.svg.chars().filter(|c| !c.is_control()).collect();
        let held = held.replace(['\u{fffe}', '\u{ffff}'], "");
        let svg = Document::parse(&held).unwrap();
        prop_assert!(svg.descendants().all(|node| !node.is_comment() && !node.is_pi()));
        let tags = ["svg", "title", "desc", "text", "polyline", "circle", ""];
        for node in svg.descendants() {
            prop_assert!(tags.contains(&node.tag_name().name()), "{:?}", node.tag_name());
        }
    }
}
