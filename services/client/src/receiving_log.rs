//! `receiving-log`: each lot of a day as it came in, refused fish included, with
//! what was found, what was answered, and what was done about it since.

use std::path::PathBuf;

use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::sheet;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;

/// Arguments of `receiving-log`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse receiving-log --site 1 --day 2031-04-28
  weighhouse receiving-log --site 1 --day 2031-04-28 --csv log.csv")]
pub struct ReceivingLog {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Business day, YYYY-MM-DD
    #[arg(long, value_parser = crate::day)]
    day: Date,
    /// Write all of it to this file, as CSV (RFC 4180); one that is there is replaced
    #[arg(long, value_name = "FILE", conflicts_with = "json")]
    csv: Option<PathBuf>,
    #[command(flatten)]
    reach: Reach,
}

impl ReceivingLog {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let log = service
            .get_receiving_log(v1::GetReceivingLogRequest {
                site: self.site,
                day: Some(self.day),
            })
            .await?;
        if let Some(file) = &self.csv {
            let known = Known::ask(&service).await?;
            return Ok(sheet::save(file, rows(&log, &known), &known)?.done());
        }
        self.reach
            .say(&service, &log, |known| text(&log, known))
            .await
    }
}

/// The log for a person: a line a lot, then what each line cannot hold, and the
/// cautions once.
#[must_use]
pub fn text(log: &v1::GetReceivingLogResponse, known: &Known) -> String {
    let mut page = Page::title(format!("Receiving log of {}", show::day(log.day.as_ref())));
    page.paragraph(&log.place);
    if log.rows.is_empty() {
        page.line("  Nothing came in.");
        return page.done();
    }
    page.line("");
    let rows: Vec<Vec<String>> = log
        .rows
        .iter()
        .map(|row| {
            vec![
                known.instant(log.site, row.received_at.as_ref()),
                format!("{}/{}", row.ticket, row.lot_n),
                row.harvester_name.clone(),
                row.species_name.clone(),
                word!(Presentation, row.presentation),
                show::weight(row.net.as_ref()),
                decision(row),
                row.warmest
                    .as_ref()
                    .map_or_else(|| "none taken".to_owned(), show::temperature),
                row.ended.clone(),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("weighed in"),
            Column::Left("ticket/lot"),
            Column::Left("diver"),
            Column::Left("fish"),
            Column::Left("form"),
            Column::Right("net"),
            Column::Left("answer"),
            Column::Right("warmest"),
            Column::Left("since"),
        ],
        &rows,
    );
    for row in &log.rows {
        page.heading(format!(
            "{}/{}, {} of {}",
            row.ticket,
            row.lot_n,
            show::fish(&row.species_name, row.presentation),
            row.harvester_name
        ));
        for (what, said) in facts(log.site, row, known) {
            if !said.is_empty() {
                page.paragraph(format!("{what}: {said}"));
            }
        }
    }
    page.heading("Cautions");
    for caution in &log.cautions {
        page.paragraph(&caution.text);
    }
    page.done()
}

/// The log for a spreadsheet, the headings first: a row a lot.
fn rows(log: &v1::GetReceivingLogResponse, known: &Known) -> Vec<Vec<String>> {
    let named = facts(log.site, &v1::ReceivingLogRow::default(), known);
    let named = named.iter().map(|(what, _)| what.replace(' ', "_"));
    let head = HEADER.map(str::to_owned).into_iter().chain(named).collect();
    let rows = log.rows.iter().map(|row| {
        let net = row.net.clone().unwrap_or_default();
        let cells = [
            log.place.clone(),
            known.instant(log.site, row.received_at.as_ref()),
            known.instant(log.site, row.recorded_at.as_ref()),
            row.actor.clone(),
            row.ticket.clone(),
            row.lot_n.to_string(),
            row.harvester.clone(),
            row.species.clone(),
            row.species_name.clone(),
            word!(Presentation, row.presentation),
            net.shown.clone(),
            word!(WeightUnit, net.unit),
            decision(row),
            row.warmest
                .as_ref()
                .map_or_else(String::new, show::temperature),
        ];
        let facts = facts(log.site, row, known);
        let facts = facts.into_iter().map(|(_, said)| said);
        cells.into_iter().chain(facts).collect::<Vec<String>>()
    });
    std::iter::once(head).chain(rows).collect()
}

const HEADER: [&str; 14] = [
    "place",
    "weighed_in",
    "recorded",
    "written_by",
    "ticket",
    "lot",
    "diver",
    "species",
    "fish",
    "form",
    "net",
    "unit",
    "answer",
    "warmest",
];

fn decision(row: &v1::ReceivingLogRow) -> String {
    match row.decision() {
        v1::Decision::Hold => "accepted, held",
        v1::Decision::Refuse => "refused",
        v1::Decision::Accept | v1::Decision::Unspecified => "accepted",
    }
    .to_owned()
}

/// All else that is known of a lot, each with its name.
fn facts(site: i32, row: &v1::ReceivingLogRow, known: &Known) -> Vec<(&'static str, String)> {
    let at = |at: Option<&prost_types::Timestamp>| {
        at.map_or_else(String::new, |at| known.instant(site, Some(at)))
    };
    let list = |items: Vec<String>, by: &str| items.join(by);
    let temperatures =
        |probes: &[v1::Temperature]| list(probes.iter().map(show::temperature).collect(), " / ");
    let areas = row.areas.iter();
    let mut areas: Vec<String> = areas
        .map(|area| format!("{} {}", area.system, area.code))
        .collect();
    if row.area_unclear {
        areas.push("unclear".to_owned());
    }
    let findings = row.findings.iter().map(|found| {
        let (rule, standing) = (
            word!(ReceivingRule, found.rule),
            word!(Standing, found.standing),
        );
        format!("{rule} {standing}: {}", found.text)
    });
    let reprobes = row.reprobes.iter().map(|again| {
        let came = if again.passed { "passed" } else { "failed" };
        let note = if again.note.is_empty() {
            String::new()
        } else {
            format!(", {}", again.note)
        };
        format!(
            "{} {came}: {}, by {}{note}",
            at(again.happened_at.as_ref()),
            temperatures(&again.probes),
            again.actor
        )
    });
    let holds = row.holds.iter().map(|hold| {
        let what = if hold.released { "released" } else { "held" };
        format!(
            "{} {what} by {}: {}",
            at(hold.happened_at.as_ref()),
            hold.actor,
            hold.reason
        )
    });
    let conditions = row.conditions.iter().map(|shot| word!(Condition, *shot));
    let ended = if row.ended.is_empty() {
        String::new()
    } else {
        format!("{} by {}: {}", row.ended, row.ended_by, row.ended_reason)
    };
    let ice = match row.ice_around {
        None => "",
        Some(true) => "ice around",
        Some(false) => "no ice around",
    };
    vec![
        ("lot code", row.lot_code.clone()),
        ("ended", ended),
        ("shot", list(conditions.collect(), ", ")),
        ("reason", row.reason.clone()),
        ("what was done", row.corrective_action.clone()),
        ("areas", list(areas, ", ")),
        (
            "caught",
            show::days(row.harvest_from.as_ref(), row.harvest_to.as_ref()),
        ),
        ("first speared", at(row.first_speared_at.as_ref())),
        ("iced", at(row.iced_at.as_ref())),
        ("ice", ice.to_owned()),
        ("probes", temperatures(&row.probes)),
        (
            "smallest fish",
            row.smallest_length
                .as_ref()
                .map_or_else(String::new, show::length),
        ),
        ("found", list(findings.collect(), "; ")),
        ("probe again by", at(row.reprobe_due_at.as_ref())),
        ("probed again", list(reprobes.collect(), "; ")),
        ("holds", list(counted(holds), "; ")),
        (
            "taken home",
            show::weight_unless_zero(row.taken_home.as_ref()),
        ),
    ]
}

/// The same said of several lines of a lot is said once, with their number.
fn counted(said: impl Iterator<Item = String>) -> Vec<String> {
    let mut counted: Vec<(String, usize)> = Vec::new();
    for text in said {
        match counted.last_mut() {
            Some((last, n)) if *last == text => *n += 1,
            _ => counted.push((text, 1)),
        }
    }
    let told = counted.into_iter().map(|(text, n)| match n {
        1 => text,
        n => format!("{text} ({n} lines)"),
    });
    told.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_released_together_are_said_once_with_their_number() {
        let said = ["held", "released", "released", "held"].map(str::to_owned);
        assert_eq!(
            counted(said.into_iter()),
            ["held", "released (2 lines)", "held"]
        );
    }

    #[test]
    fn every_row_has_a_cell_for_every_heading() {
        let log = v1::GetReceivingLogResponse {
            rows: vec![v1::ReceivingLogRow::default()],
            ..v1::GetReceivingLogResponse::default()
        };
        let rows = rows(&log, &Known::default());
        let cells: Vec<usize> = rows.iter().map(Vec::len).collect();
        assert_eq!(cells, [31, 31], "{rows:?}");
    }
}
