//! `landing-report`: what was landed in a period, a row for each lot that was
//! bought and one for each day without a purchase, for whoever has to report it.

use std::path::PathBuf;

use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::service::Service;
use crate::sheet;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;
use crate::{landing, ticket};

/// Arguments of `landing-report`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse landing-report --site 1 --from 2031-04-28 --to 2031-05-05 --csv landings.csv

In the CSV a cell that begins with = + - or @ has an apostrophe before it, so that a
spreadsheet shows it and does not run it as a formula.")]
pub struct LandingReport {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// First business day, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    from: Date,
    /// First business day that is not in any more
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    to: Date,
    /// Write all of it to this file, as CSV (RFC 4180); one that is there is replaced
    #[arg(long, value_name = "FILE", conflicts_with = "json")]
    csv: Option<PathBuf>,
    #[command(flatten)]
    reach: Reach,
}

impl LandingReport {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let report = whole(&service, self.site, self.from, self.to).await?;
        let Some(file) = &self.csv else {
            return self
                .reach
                .say(&service, &report, |known| {
                    let mut page =
                        Page::title(format!("Landings at site {}", known.site(self.site)));
                    page.line(format!(
                        "  {}",
                        show::half_open(Some(&self.from), Some(&self.to))
                    ));
                    page.line("");
                    page.line(text(&report));
                    page.done()
                })
                .await;
        };
        let known = Known::ask(&service).await?;
        let mut page = sheet::save(file, rows(&report), &known)?;
        for remark in &report.remarks {
            page.line(remark);
        }
        Ok(page.done())
    }
}

/// The report of a whole period, however many answers it takes.
async fn whole(
    service: &Service,
    site: i32,
    from: Date,
    to: Date,
) -> Result<v1::ListLandingsResponse, Trouble> {
    let mut report = v1::ListLandingsResponse::default();
    let mut next = Some(from);
    while next.is_some() {
        let some = service
            .list_landings(v1::ListLandingsRequest {
                site,
                from: next,
                to: Some(to),
            })
            .await?;
        report.rows.extend(some.rows);
        report.remarks.extend(some.remarks);
        next = some.next;
    }
    Ok(report)
}

/// A report for a person, without a heading: the columns that fit a screen.
#[must_use]
pub fn text(report: &v1::ListLandingsResponse) -> String {
    let mut page = Page::default();
    if report.rows.is_empty() {
        page.line("  None of these days has begun.");
    }
    let rows: Vec<Vec<String>> = report
        .rows
        .iter()
        .map(|row| {
            if row.no_purchases {
                return vec![show::day(row.day.as_ref()), "no purchases".to_owned()];
            }
            vec![
                show::day(row.day.as_ref()),
                row.lot_code.clone(),
                row.harvester_name.clone(),
                row.licence_number.clone(),
                show::fish(&row.species_name, row.presentation),
                show::weight(row.bought.as_ref()),
                pieces(row),
                ticket::areas(&row.areas),
                show::money(row.amount.as_ref()),
            ]
        })
        .collect();
    if !rows.is_empty() {
        page.table(
            &[
                Column::Left("day"),
                Column::Left("lot"),
                Column::Left("diver"),
                Column::Left("licence"),
                Column::Left("fish"),
                Column::Right("bought"),
                Column::Right("count"),
                Column::Left("areas"),
                Column::Right("amount"),
            ],
            &rows,
        );
    }
    for remark in &report.remarks {
        page.line("");
        page.paragraph(remark);
    }
    page.done()
}

fn pieces(row: &v1::LandingRow) -> String {
    match (row.pieces, row.pieces_estimated) {
        (None, _) => "not counted".to_owned(),
        (Some(n), false) => n.to_string(),
        (Some(n), true) => format!("about {n}"),
    }
}

const HEADER: [&str; 30] = [
    "day",
    "note",
    "ticket",
    "lot",
    "landed_on",
    "landing_place",
    "harvester",
    "harvester_name",
    "licence_number",
    "licence_expires",
    "species",
    "species_name",
    "scientific_name",
    "presentation",
    "bought",
    "unit",
    "kilograms",
    "pieces",
    "areas",
    "harvest_from",
    "harvest_to",
    "gear",
    "depth",
    "minutes_fished",
    "dives",
    "vessel",
    "vessel_use",
    "price",
    "amount",
    "currency",
];

/// The report for a spreadsheet, the headings first.
fn rows(report: &v1::ListLandingsResponse) -> impl Iterator<Item = [String; 30]> {
    let rows = report.rows.iter().map(cells);
    std::iter::once(HEADER.map(str::to_owned)).chain(rows)
}

fn cells(row: &v1::LandingRow) -> [String; 30] {
    if row.no_purchases {
        let mut cells = [const { String::new() }; 30];
        cells[0] = show::day(row.day.as_ref());
        cells[1] = "no purchases".to_owned();
        return cells;
    }
    let bought = row.bought.clone().unwrap_or_default();
    let amount = row.amount.clone().unwrap_or_default();
    let money = show::money(row.amount.as_ref());
    let areas = row.areas.iter();
    let areas: Vec<String> = areas
        .map(|area| format!("{}:{}", area.system, area.code))
        .collect();
    let prices = row.prices.iter().map(|of| show::price(Some(of)));
    [
        show::day(row.day.as_ref()),
        String::new(),
        row.ticket.clone(),
        row.lot_code.clone(),
        show::day(row.landed_on.as_ref()),
        row.landing_place.clone(),
        row.harvester.clone(),
        row.harvester_name.clone(),
        row.licence_number.clone(),
        show::day(row.licence_expires.as_ref()),
        row.species.clone(),
        row.species_name.clone(),
        row.scientific_name.clone(),
        word!(Presentation, row.presentation),
        bought.shown.clone(),
        word!(WeightUnit, bought.unit),
        row.kilograms.clone(),
        pieces(row),
        areas.join("; "),
        show::day(row.harvest_from.as_ref()),
        show::day(row.harvest_to.as_ref()),
        row.gear.clone(),
        landing::depth(row.depth.as_ref()),
        row.minutes_fished.clone(),
        row.dives
            .map_or_else(String::new, |dives| dives.to_string()),
        row.vessel.clone(),
        word!(VesselUse, row.vessel_use),
        prices.collect::<Vec<_>>().join("; "),
        money
            .strip_suffix(&amount.currency)
            .unwrap_or(&money)
            .trim()
            .to_owned(),
        amount.currency,
    ]
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    fn report() -> v1::ListLandingsResponse {
        let day = |day| {
            Some(Date {
                year: 2031,
                month: 5,
                day,
            })
        };
        v1::ListLandingsResponse {
            rows: vec![
                v1::LandingRow {
                    day: day(1),
                    ticket: "2031050100010000003".to_owned(),
                    lot_code: "20310501000100000031".to_owned(),
                    harvester: "diver-1".to_owned(),
                    harvester_name: "=cmd(\"x\")".to_owned(),
                    licence_number: "-12, \"old\"".to_owned(),
                    species: "PZO".to_owned(),
                    bought: Some(v1::Weight {
                        grams: "18143.6948".to_owned(),
                        shown: "40.000".to_owned(),
                        unit: v1::WeightUnit::Lb.into(),
                    }),
                    kilograms: "18.14369480000".to_owned(),
                    gear: "@10.8".to_owned(),
                    landing_place: "South\r\npier".to_owned(),
                    amount: Some(v1::Money {
                        amount_minor: 25_000,
                        currency: "USD".to_owned(),
                    }),
                    ..v1::LandingRow::default()
                },
                v1::LandingRow {
                    day: day(2),
                    no_purchases: true,
                    ..v1::LandingRow::default()
                },
            ],
            ..v1::ListLandingsResponse::default()
        }
    }

    #[test]
    fn the_csv_reads_back_and_runs_no_formula() {
        let written = sheet::write(rows(&report())).unwrap();
        assert_eq!(written.guarded, 3);
        let text = written.text;
        // RFC 4180: lines end with CRLF; a cell with a quote, comma or line end is
        // quoted, and a quote in it doubled.
        assert!(text.starts_with("day,note,ticket,lot,"), "{text}");
        assert!(text.ends_with("\r\n"), "{text}");
        assert!(text.contains(r#","'-12, ""old""","#), "{text}");
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let cell = |row: usize, name: &str| {
            let at = HEADER.iter().position(|of| *of == name).unwrap();
            rows[row][at].to_owned()
        };
        for (name, wanted) in [
            ("day", "2031-05-01"),
            ("harvester_name", "'=cmd(\"x\")"),
            ("licence_number", "'-12, \"old\""),
            ("gear", "'@10.8"),
            ("landing_place", "South\r\npier"),
            ("bought", "40.000"),
            ("unit", "lb"),
            ("kilograms", "18.14369480000"),
            ("pieces", "not counted"),
            ("amount", "250.00"),
            ("currency", "USD"),
        ] {
            assert_eq!(cell(0, name), wanted, "{name}");
        }
        assert_eq!((rows.len(), cell(1, "note").as_str()), (2, "no purchases"));
        assert_eq!(cell(1, "day"), "2031-05-02");
        assert!(HEADER[2..].iter().all(|name| cell(1, name).is_empty()));
    }

    #[test]
    fn a_day_without_purchases_is_a_line() {
        let text = text(&report());
        let line = text.lines().find(|line| line.contains("2031-05-02"));
        assert!(
            line.is_some_and(|line| line.contains("no purchases")),
            "{text}"
        );
    }
}
