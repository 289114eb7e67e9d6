//! What the fillet table says, for the screen.

use proto::v1;

use crate::known::Known;
use crate::show::{self, Column, Page, word};

/// Yields judged, losses, charts and small fish.
pub(super) fn sections(page: &mut Page, close: &v1::Close, known: &Known) {
    page.heading("Suppliers' yields, judged");
    yields(page, &close.supplier_yields, known);
    edible(page, &close.edible_costs, known);
    page.heading("Fillet under its reference");
    losses(page, &close.losses, known);
    page.heading("What the day lost, by cause");
    causes(page, &close.loss_causes);
    page.heading("Control charts");
    charts(page, &close.charts, known);
    page.heading("Cutting or soup, by band");
    small_fish(page, &close.small_fish, known);
}

fn interval(ends: &[String], unit: &str) -> String {
    match ends {
        [from, to] => format!("{from} to {to}{unit}"),
        _ => "not known".to_owned(),
    }
}

fn or_not_known(text: &str, unit: &str) -> String {
    if text.is_empty() {
        "not known".to_owned()
    } else {
        format!("{text}{unit}")
    }
}

/// What is compared with what.
pub(crate) fn like_fish(group: &v1::YieldGroup, known: &Known) -> String {
    let place = if group.customer_kitchen {
        "customers' kitchens"
    } else {
        "own table"
    };
    format!(
        "{} to {}, {place}",
        show::fish(&known.species(&group.species), group.presentation),
        group.specification,
    )
}

fn yields(page: &mut Page, groups: &[v1::YieldGroup], known: &Known) {
    if groups.is_empty() {
        page.line("  Nothing was cut in the days looked back on.");
        return;
    }
    for group in groups {
        page.paragraph(format!(
            "{}: {} % ({}) of {} in {}. Reference: {}.",
            like_fish(group, known),
            group.yield_percent,
            interval(&group.interval_percent, " %"),
            show::weight(group.input.as_ref()),
            match group.cuts {
                1 => "1 cut".to_owned(),
                cuts => format!("{cuts} cuts"),
            },
            match group.reference_percent.as_str() {
                "" => "not set".to_owned(),
                percent => format!("{percent} %, {}", group.reference_source),
            },
        ));
        for own in &group.suppliers {
            page.paragraph(format!(
                "Fish of {}: {}.",
                known.party(&own.supplier),
                own.says
            ));
        }
        let rows: Vec<Vec<String>> = group
            .suppliers
            .iter()
            .map(|own| {
                vec![
                    known.party(&own.supplier),
                    format!("{} / {}", own.cuts, own.days),
                    show::weight(own.input.as_ref()),
                    or_not_known(&own.yield_percent, " %"),
                    interval(&own.interval_percent, ""),
                    or_not_known(&own.shrunk_percent, " %"),
                    or_not_known(&own.rest_points, ""),
                    interval(&own.rest_interval_points, ""),
                ]
            })
            .collect();
        page.table(
            &[
                Column::Left("supplier"),
                Column::Right("cuts / days"),
                Column::Right("in"),
                Column::Right("yield"),
                Column::Right("95 %"),
                Column::Right("shrunk"),
                Column::Right("like for like"),
                Column::Right("95 %"),
            ],
            &rows,
        );
    }
}

/// What the day's own fillet costs.
fn edible(page: &mut Page, costs: &[v1::EdibleCost], known: &Known) {
    for of in costs {
        let plates = match (of.portions, &of.cost_of_plate) {
            (Some(portions), Some(plate)) => format!(
                ", {portions} plates at {} of fish each",
                show::money(Some(plate))
            ),
            _ => String::new(),
        };
        page.paragraph(format!(
            "Today {} of {} to {} at {}, wage and supplies in it{plates}.",
            show::weight(of.fillet.as_ref()),
            show::fish(&known.species(&of.species), of.presentation),
            of.specification,
            show::price(of.cost.as_ref()),
        ));
    }
}

/// What a group's own fillet of the day costs; nothing where it is not known.
pub(super) fn cost_of<'a>(
    group: &v1::YieldGroup,
    close: &'a v1::Close,
) -> Option<&'a v1::EdibleCost> {
    let same = |of: &&v1::EdibleCost| {
        (&of.species, of.presentation, &of.specification)
            == (&group.species, group.presentation, &group.specification)
    };
    let mut costs = close.edible_costs.iter();
    costs.find(same).filter(|_| !group.customer_kitchen)
}

fn losses(page: &mut Page, losses: &[v1::YieldLoss], known: &Known) {
    if losses.is_empty() {
        page.line("  None, or no reference to tell it by.");
        return;
    }
    let rows: Vec<Vec<String>> = losses
        .iter()
        .map(|loss| {
            let name = lost_by(loss, known);
            vec![
                word!(LossBy, loss.by),
                if loss.customer_kitchen {
                    format!("{name}, at the customer's cost")
                } else {
                    name
                },
                show::weight(loss.input.as_ref()),
                show::weight(loss.missing_fillet.as_ref()),
                show::money(loss.material.as_ref()),
                show::money(loss.margin.as_ref()),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("by"),
            Column::Left("of"),
            Column::Right("in"),
            Column::Right("fillet missing"),
            Column::Right("fish paid for"),
            Column::Right("margin beside"),
        ],
        &rows,
    );
}

/// Whose loss it is, or of which part.
pub(super) fn lost_by(loss: &v1::YieldLoss, known: &Known) -> String {
    match (loss.by(), loss.name.as_str()) {
        (v1::LossBy::Kitchen, "") => "own table".to_owned(),
        (_, "") => "several suppliers".to_owned(),
        (v1::LossBy::Part, part) => part.to_owned(),
        (_, party) => known.party(party),
    }
}

fn causes(page: &mut Page, causes: &[v1::LossCause]) {
    if causes.is_empty() {
        page.line("  Not worked out.");
        return;
    }
    let rows: Vec<Vec<String>> = causes
        .iter()
        .map(|cause| {
            vec![
                cause.cause.clone(),
                show::weight(cause.weight.as_ref()),
                show::money(cause.value.as_ref()),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("cause"),
            Column::Right("weight"),
            Column::Right("at cost"),
        ],
        &rows,
    );
}

fn charts(page: &mut Page, charts: &[v1::ControlChart], known: &Known) {
    if charts.is_empty() {
        page.line("  No baseline is set: nobody has said which days were in order.");
        return;
    }
    for chart in charts {
        page.paragraph(format!(
            "{} {}, baseline {}: {}.",
            word!(Follows, chart.follows),
            known.party(&chart.party),
            show::half_open(chart.baseline_from.as_ref(), chart.baseline_to.as_ref()),
            chart.says,
        ));
    }
}

fn small_fish(page: &mut Page, rows: &[v1::CutBesideSoup], known: &Known) {
    if rows.is_empty() {
        page.line("  No cut of one band was timed and its fish counted.");
        return;
    }
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            vec![
                show::fish(&known.species(&row.species), row.presentation),
                row.band.clone(),
                row.cuts.to_string(),
                format!("{} %", row.yield_percent),
                row.minutes_per_fish.clone(),
                show::price(row.cut.as_ref()),
                show::price(row.soup.as_ref()),
                answer(row.answer).to_owned(),
                even(row),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("fish"),
            Column::Left("band"),
            Column::Right("cuts"),
            Column::Right("yield"),
            Column::Right("min a fish"),
            Column::Right("cutting brings"),
            Column::Right("soup brings"),
            Column::Left("so"),
            Column::Right("pays from"),
        ],
        &cells,
    );
}

/// What to do, in a word.
pub(crate) fn answer(answer: i32) -> &'static str {
    match v1::CutOrSoup::try_from(answer).unwrap_or_default() {
        v1::CutOrSoup::Unspecified => "",
        v1::CutOrSoup::Cut => "cut",
        v1::CutOrSoup::Soup => "soup",
        v1::CutOrSoup::Close => "close",
    }
}

/// From which piece weight cutting pays.
pub(crate) fn even(row: &v1::CutBesideSoup) -> String {
    match &row.break_even {
        None => "never".to_owned(),
        at => show::weight(at.as_ref()),
    }
}
