//! `close`: a business day as the nightly job closed it.

pub(crate) mod at_table;
mod paper;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use papers::csv::Sheet;
use proto::google::r#type::Date;
use proto::v1;

use crate::known::Known;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;
use crate::{Reach, flags, sheet, yields};

/// Arguments of `close`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse close --site 1 --day 2031-05-02
  weighhouse close --site 1 --day 2031-05-02 --revision 1
  weighhouse close --site 1 --day 2031-05-02 --format html --output close.html
  weighhouse close --site 1 --day 2031-05-02 --format csv --table flags
  weighhouse close --site 1 --day 2031-05-02 --format csv --output close-csv")]
pub struct Close {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Business day, YYYY-MM-DD
    #[arg(long, value_parser = crate::day)]
    day: Date,
    /// Revision of the close; the latest when left out
    #[arg(long, default_value_t = 0, hide_default_value = true)]
    revision: i32,
    /// What to write: a table for the screen, JSON, CSV for a spreadsheet, or a page
    /// with charts
    #[arg(
        long,
        value_enum,
        default_value_t = Format::Table,
        hide_default_value = true,
        conflicts_with = "json"
    )]
    format: Format,
    /// Which table of the close as CSV; without it, all of them into a folder
    #[arg(long, value_parser = tables())]
    table: Option<String>,
    /// File to write to instead of the screen, or folder for all the tables as CSV; what
    /// is there by that name is replaced
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    #[command(flatten)]
    reach: Reach,
}

/// What a close is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    Table,
    Json,
    Csv,
    Html,
}

/// The names of the tables.
fn tables() -> clap::builder::PossibleValuesParser {
    let tables = papers::close::Close::default().tables();
    tables
        .into_iter()
        .map(|table| table.name)
        .collect::<Vec<_>>()
        .into()
}

impl Close {
    pub(crate) async fn run(mut self) -> Result<String, Trouble> {
        if self.table.is_some() && self.format != Format::Csv {
            return Err(Trouble::Typed("--table is for --format csv".to_owned()));
        }
        if self.format == Format::Csv && self.table.is_none() && self.output.is_none() {
            return Err(Trouble::Typed(
                "as CSV a close is several tables: name one with --table, or a folder for all of \
                 them with --output"
                    .to_owned(),
            ));
        }
        self.reach.json |= self.format == Format::Json;
        let service = self.reach.service().await?;
        let answer = service
            .get_close(v1::GetCloseRequest {
                site: self.site,
                day: Some(self.day),
                revision: self.revision,
            })
            .await
            .map_err(|trouble| {
                trouble.in_flags(&[
                    ("site", "--site"),
                    ("day", "--day"),
                    ("revision", "--revision"),
                ])
            })?;
        let close = answer
            .close
            .clone()
            .ok_or(Trouble::Unreadable("there is no close in it"))?;
        // What is no place for a word about the clock has it beside it.
        let mut beside = String::new();
        let written = match self.format {
            Format::Table | Format::Json => {
                let text = |known: &Known| {
                    format!(
                        "{}\nSHA-256 of the stored document: {}\n",
                        text(&close, Parts::All, known),
                        answer.sha256
                    )
                };
                self.reach.say(&service, &answer, text).await?
            }
            Format::Csv => {
                let known = Known::ask(&service).await?;
                let close = paper::close(&close, &answer.sha256, &known)?;
                beside.clone_from(&close.clock_note);
                match (&self.table, &self.output) {
                    (Some(name), _) => csv(&close, name).text,
                    (None, Some(folder)) => return save_tables(&close, folder),
                    (None, None) => String::new(),
                }
            }
            Format::Html => {
                let known = Known::ask(&service).await?;
                beside = known.clock_note();
                papers::page::close(&paper::close(&close, &answer.sha256, &known)?)
            }
        };
        match self.output {
            None => Ok(written),
            Some(file) => {
                save(&file, &written)?;
                Ok(format!("{beside}The close is in {}.\n", file.display()))
            }
        }
    }
}

/// One table of a close.
fn csv(close: &papers::close::Close, name: &str) -> Sheet {
    let tables = close.tables().into_iter();
    let named = tables.filter(|table| table.name == name);
    let mut sheets = named.map(|table| papers::csv::table(&table, !close.clock_note.is_empty()));
    sheets.next().expect("only the tables' own names are taken")
}

/// Every table of a close, each in a file of its own.
fn save_tables(close: &papers::close::Close, folder: &Path) -> Result<String, Trouble> {
    std::fs::create_dir_all(folder)
        .map_err(|why| Trouble::File(format!("{}: {why}", folder.display())))?;
    let (mut files, mut guarded) = (0, 0);
    for table in close.tables() {
        let sheet = papers::csv::table(&table, !close.clock_note.is_empty());
        save(&folder.join(format!("{}.csv", table.name)), &sheet.text)?;
        files += 1;
        guarded += sheet.guarded;
    }
    let mut page = Page::default();
    page.line(format!("{files} tables are in {}.", folder.display()));
    sheet::guard_note(&mut page, guarded);
    Ok(format!("{}{}", close.clock_note, page.done()))
}

fn save(file: &Path, text: &str) -> Result<(), Trouble> {
    std::fs::write(file, text).map_err(|why| Trouble::File(format!("{}: {why}", file.display())))
}

/// Which parts of a close are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parts {
    /// Every one.
    All,
    /// Those that a flag is about.
    Flagged,
}

/// A close for a person.
#[must_use]
pub fn text(close: &v1::Close, which: Parts, known: &Known) -> String {
    let mut page = Page::title(format!(
        "Close of {} at site {}: {}",
        show::day(close.day.as_ref()),
        known.site(close.site),
        word!(CloseState, close.state)
    ));
    page.facts(&[
        ("revision", close.revision.to_string()),
        (
            "recorded",
            known.instant(close.site, close.recorded_at.as_ref()),
        ),
    ]);
    balance(&mut page, close.balance.as_ref());
    parts(&mut page, close, which, known);
    cuts(&mut page, &close.cuts, known);
    page.heading("Yields");
    yields::list(&mut page, &close.yields, known);
    at_table::sections(&mut page, close, known);
    page.heading("Below the plate minimum, and where it went");
    undersize(&mut page, &close.undersize, known);
    plans(&mut page, close);
    page.heading("Payouts");
    payouts(&mut page, &close.payouts, known);
    drifts(&mut page, &close.drifts);
    page.heading("Flags");
    flags::list(&mut page, &close.flags, known);
    if !close.remarks.is_empty() {
        page.heading("What the figures leave out");
        for remark in &close.remarks {
            page.paragraph(remark);
        }
    }
    page.done()
}

/// What became of plans for small fish, and where what is left goes.
fn plans(page: &mut Page, close: &v1::Close) {
    if !close.plan_lines_done.is_empty() {
        page.heading("Plans for small fish, carried out");
        let rows: Vec<Vec<String>> = close
            .plan_lines_done
            .iter()
            .map(|line| {
                vec![
                    line.plan_line.clone(),
                    line.room.clone(),
                    show::weight(line.planned.as_ref()),
                    show::weight(line.delivered.as_ref()),
                    show::weight_unless_zero(line.difference.as_ref()),
                    if line.entry_id.is_empty() {
                        "nothing went".to_owned()
                    } else {
                        line.entry_id.clone()
                    },
                ]
            })
            .collect();
        page.table(
            &[
                Column::Left("line"),
                Column::Left("room"),
                Column::Right("planned"),
                Column::Right("went"),
                Column::Right("difference"),
                Column::Left("by"),
            ],
            &rows,
        );
    }
    let Some(plan) = &close.left_plan else {
        return;
    };
    page.heading("Small fish left, planned for the next day");
    if plan.lines.is_empty() && plan.left.is_empty() {
        page.line("  None is left.");
        return;
    }
    let mut rows: Vec<Vec<String>> = plan
        .lines
        .iter()
        .map(|line| {
            vec![
                show::part(line.part.as_ref()),
                line.room.clone(),
                show::weight(line.weight.as_ref()),
                show::weight(line.delivered.as_ref()),
                word!(Presentation, line.dress_to),
                show::money(line.net.as_ref()),
            ]
        })
        .collect();
    rows.extend(plan.left.iter().map(|left| {
        vec![
            show::part(left.part.as_ref()),
            "no place".to_owned(),
            show::weight(left.weight.as_ref()),
            String::new(),
            String::new(),
            String::new(),
        ]
    }));
    page.table(
        &[
            Column::Left("part"),
            Column::Left("to"),
            Column::Right("on ice"),
            Column::Right("handed over"),
            Column::Left("first"),
            Column::Right("brings"),
        ],
        &rows,
    );
    for left in &plan.left {
        page.paragraph(format!("{}: {}", show::part(left.part.as_ref()), left.why));
    }
    page.line(format!(
        "  Kept from discard {}, bringing {} net of handling.",
        show::weight(plan.kept.as_ref()),
        show::money(plan.money.as_ref())
    ));
}

/// How scales compare; nothing where none could be compared.
fn drifts(page: &mut Page, drifts: &[v1::ScaleDrift]) {
    if drifts.is_empty() {
        return;
    }
    page.heading("Scales: how one weighs against another, by fish weighed on both");
    let rows: Vec<Vec<String>> = drifts
        .iter()
        .map(|drift| {
            vec![
                drift.second.clone(),
                drift.first.clone(),
                format!("{} %", drift.bias_percent),
                format!("{} to {} %", drift.low_percent, drift.high_percent),
                drift.pairs.to_string(),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("scale"),
            Column::Left("against"),
            Column::Right("weighs more by"),
            Column::Right("95 % sure"),
            Column::Right("pairs"),
        ],
        &rows,
    );
}

/// Both sides of the day's weight, each summing to the same.
fn balance(page: &mut Page, balance: Option<&v1::DayBalance>) {
    page.heading("Weight of the day: what there was, and where it is");
    let Some(balance) = balance else {
        page.line("  None.");
        return;
    };
    let mut rows = vec![
        ("there was", "on hand at the start", &balance.opening),
        ("", "bought", &balance.bought),
        ("", "brought back", &balance.returned),
        ("", "made into lots", &balance.made),
        ("went", "into makings", &balance.used),
    ];
    rows.extend([
        ("", "drip expected", &balance.shrink),
        (
            "",
            "unaccounted (minus: more than the book)",
            &balance.unaccounted,
        ),
        ("is", "on hand at the end", &balance.closing),
        (
            "at the table",
            "thrown out at the table",
            &balance.thrown_out_at_table,
        ),
        ("", "cutting loss", &balance.cutting_loss),
        ("", "beyond the allowance", &balance.table_unaccounted),
    ]);
    let mut cells: Vec<Vec<String>> = rows
        .into_iter()
        .map(|(side, what, weight)| {
            vec![
                side.to_owned(),
                what.to_owned(),
                show::weight(weight.as_ref()),
            ]
        })
        .collect();
    let outlets = balance.out.iter().map(|out| {
        vec![
            String::new(),
            show::outlet(out.outlet),
            show::weight(out.weight.as_ref()),
        ]
    });
    // After what went into makings.
    cells.splice(5..5, outlets);
    page.table(
        &[
            Column::Left("side"),
            Column::Left("what"),
            Column::Right("weight"),
        ],
        &cells,
    );
}

fn parts(page: &mut Page, close: &v1::Close, which: Parts, known: &Known) {
    page.heading("Parts");
    let flagged = |part: &&v1::PartBalance| {
        let name = show::part(part.part.as_ref());
        let mut subjects = close.flags.iter().flat_map(|flag| flag.subject.split(' '));
        which == Parts::All || subjects.any(|subject| subject == name)
    };
    let shown: Vec<&v1::PartBalance> = close.parts.iter().filter(flagged).collect();
    if !shown.is_empty() {
        part_rows(page, &shown, known);
    }
    match close.parts.len() - shown.len() {
        0 if shown.is_empty() => page.line("  None."),
        0 => {}
        others => page.line(format!("  {others} other parts, nothing to look at.")),
    }
}

fn part_rows(page: &mut Page, parts: &[&v1::PartBalance], known: &Known) {
    let rows: Vec<Vec<String>> = parts
        .iter()
        .map(|part| {
            vec![
                [
                    show::part(part.part.as_ref()),
                    show::fish(&known.species(&part.species), part.presentation),
                    part.supplier.clone(),
                ]
                .join(" ")
                .trim()
                .to_owned(),
                show::weight_unless_zero(part.opening.as_ref()),
                show::weight_unless_zero(part.r#in.as_ref()),
                show::weight_unless_zero(part.out.as_ref()),
                show::weight_unless_zero(part.shrink.as_ref()),
                show::weight_unless_zero(part.unaccounted.as_ref()),
                explained(part),
                show::weight(part.closing.as_ref()),
                count(part).to_owned(),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("part, fish, supplier"),
            Column::Right("opening"),
            Column::Right("in"),
            Column::Right("out"),
            Column::Right("drip"),
            Column::Right("unaccounted"),
            Column::Right("explained"),
            Column::Right("closing"),
            Column::Left("count"),
        ],
        &rows,
    );
}

/// Whether a part was counted and finished.
fn count(part: &v1::PartBalance) -> &'static str {
    match (part.counted, part.finished) {
        (true, true) => "counted, finished",
        (true, false) => "counted",
        (false, true) => "finished",
        (false, false) => "not counted",
    }
}

/// Whether all of a cut's outputs were weighed.
fn outputs(cut: &v1::CutBalance) -> &'static str {
    if cut.judged {
        "weighed"
    } else {
        "not all weighed"
    }
}

/// What scales, water and drip explain of what is unaccounted; empty where nothing was
/// counted or finished.
fn explained(part: &v1::PartBalance) -> String {
    match &part.explained {
        Some(explained) => format!("+/- {}", show::weight(Some(explained))),
        None if part.counted || part.finished => "not known".to_owned(),
        None => String::new(),
    }
}

fn cuts(page: &mut Page, cuts: &[v1::CutBalance], known: &Known) {
    page.heading("Cuts");
    if cuts.is_empty() {
        page.line("  None.");
        return;
    }
    let rows: Vec<Vec<String>> = cuts
        .iter()
        .map(|cut| {
            vec![
                cut.entry_id.clone(),
                known.party(&cut.cutter),
                show::weight(cut.input.as_ref()),
                show::weight(cut.fillet.as_ref()),
                show::weight_unless_zero(cut.other_lots.as_ref()),
                show::weight_unless_zero(cut.discard.as_ref()),
                show::weight_unless_zero(cut.cutting_loss.as_ref()),
                show::weight_unless_zero(cut.table_unaccounted.as_ref()),
                outputs(cut).to_owned(),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("entry"),
            Column::Left("cutter"),
            Column::Right("in"),
            Column::Right("fillet"),
            Column::Right("other lots"),
            Column::Right("thrown out"),
            Column::Right("cutting loss"),
            Column::Right("beyond it"),
            Column::Left("outputs"),
        ],
        &rows,
    );
}

/// Small fish taken in, and where it went.
pub fn undersize_text(rows: &[v1::UndersizeRow], known: &Known) -> String {
    let mut page = Page::default();
    undersize(&mut page, rows, known);
    page.done()
}

fn undersize(page: &mut Page, rows: &[v1::UndersizeRow], known: &Known) {
    if rows.is_empty() {
        page.line("  None was taken in.");
        return;
    }
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            vec![
                show::part(row.part.as_ref()),
                known.species(&row.species),
                row.supplier.clone(),
                show::weight_unless_zero(row.taken_in.as_ref()),
                proposed_to(row),
                show::outlets(&row.out),
                show::weight_unless_zero(row.made_into_lots.as_ref()),
                show::weight(row.left.as_ref()),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("part"),
            Column::Left("fish"),
            Column::Left("supplier"),
            Column::Right("taken in"),
            Column::Left("proposed to"),
            Column::Left("went to"),
            Column::Right("made into lots"),
            Column::Right("left"),
        ],
        &cells,
    );
    let reasons: BTreeSet<(String, &str)> = rows
        .iter()
        .map(|row| (proposed_to(row), reason(row)))
        .collect();
    for (to, reason) in reasons {
        page.paragraph(format!("{to}: {reason}"));
    }
}

/// Where small fish was proposed to go. Lots that were made carry no proposal.
fn proposed_to(row: &v1::UndersizeRow) -> String {
    match show::outlet(row.proposed_outlet) {
        outlet if !outlet.is_empty() => outlet,
        _ if row.proposed_reason.is_empty() => AS_SOURCES.to_owned(),
        _ => "nowhere".to_owned(),
    }
}

fn reason(row: &v1::UndersizeRow) -> &str {
    if row.proposed_reason.is_empty() && row.proposed_outlet == 0 {
        "it was pooled, frozen or made otherwise, and the tickets of the lots it came from say \
         what was proposed"
    } else {
        &row.proposed_reason
    }
}

/// What stands for a proposal where a lot was made from others.
const AS_SOURCES: &str = "as its sources";

/// What is owed and held, by party.
pub fn payouts_text(rows: &[v1::PayRow], known: &Known) -> String {
    let mut page = Page::default();
    payouts(&mut page, rows, known);
    page.done()
}

fn payouts(page: &mut Page, rows: &[v1::PayRow], known: &Known) {
    if rows.is_empty() {
        page.line("  None.");
        return;
    }
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            vec![
                known.party(&row.party),
                show::money(row.owed_today.as_ref()),
                show::money(row.owed.as_ref()),
                show::money_unless_zero(row.held.as_ref()),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("party"),
            Column::Right("added today"),
            Column::Right("owed in all"),
            Column::Right("held, not owed yet"),
        ],
        &cells,
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ticket::tests::{lb, row, usd};

    fn part_ref() -> Option<v1::PartRef> {
        Some(v1::PartRef {
            lot_code: "20310502000100000031".to_owned(),
            part: Some(1),
        })
    }

    fn sample() -> v1::Close {
        v1::Close {
            site: 1,
            day: Some(Date {
                year: 2031,
                month: 5,
                day: 2,
            }),
            revision: 2,
            state: v1::CloseState::ClosedWithGaps.into(),
            balance: Some(v1::DayBalance {
                opening: lb("100.000"),
                bought: lb("40.750"),
                out: vec![v1::OutletWeight {
                    outlet: v1::Outlet::Soup.into(),
                    weight: lb("10.000"),
                }],
                unaccounted: lb("3.000"),
                closing: lb("127.750"),
                ..v1::DayBalance::default()
            }),
            parts: vec![v1::PartBalance {
                part: part_ref(),
                opening: lb("41.600"),
                unaccounted: lb("3.000"),
                closing: lb("38.600"),
                counted: true,
                ..v1::PartBalance::default()
            }],
            cuts: vec![v1::CutBalance {
                entry_id: "2031050200010000020".to_owned(),
                cutter: "cutter-1".to_owned(),
                input: lb("20.000"),
                fillet: lb("6.000"),
                ..v1::CutBalance::default()
            }],
            undersize: vec![v1::UndersizeRow {
                part: part_ref(),
                proposed_outlet: v1::Outlet::Soup.into(),
                proposed_reason: "the site's first choice".to_owned(),
                taken_in: lb("12.000"),
                out: vec![
                    v1::OutletWeight {
                        outlet: v1::Outlet::Soup.into(),
                        weight: lb("8.000"),
                    },
                    v1::OutletWeight {
                        outlet: v1::Outlet::Donation.into(),
                        weight: lb("4.000"),
                    },
                ],
                left: lb("0.000"),
                ..v1::UndersizeRow::default()
            }],
            payouts: vec![v1::PayRow {
                party: "diver-1".to_owned(),
                owed: usd(10_000),
                held: usd(0),
                owed_today: usd(4_200),
            }],
            remarks: vec!["No drip is set for red grouper.".to_owned()],
            ..v1::Close::default()
        }
    }

    #[test]
    fn a_close_says_its_state_and_both_sides_of_the_balance() {
        let text = text(&sample(), Parts::All, &Known::default());
        assert!(
            text.starts_with("Close of 2031-05-02 at site 1: closed with gaps\n"),
            "{text}"
        );
        assert!(row(&text, "Weight of the day", "on hand at the start").ends_with("100.000 lb"));
        assert!(
            row(&text, "Weight of the day", "soup-grade").ends_with("10.000 lb"),
            "{text}"
        );
        let order = [
            "into makings",
            "soup-grade",
            "drip expected",
            "on hand at the end",
        ];
        let places: Vec<Option<usize>> = order.iter().take(2).map(|what| text.find(what)).collect();
        assert!(places.is_sorted() && places[0].is_some(), "{text}");
    }

    #[test]
    fn a_part_shows_what_is_missing_and_whether_it_was_counted() {
        let text = text(&sample(), Parts::All, &Known::default());
        let part = row(&text, "Parts", "41.600 lb");
        assert!(
            part.contains(" 3.000 lb ") && part.contains("38.600 lb  counted"),
            "{part}"
        );
        assert!(part.contains("  not known  "), "{part}");
        let mut close = sample();
        close.parts[0].explained = lb("0.410");
        let part = row(
            &super::text(&close, Parts::All, &Known::default()),
            "Parts",
            "41.600 lb",
        );
        assert!(part.contains("  +/- 0.410 lb  "), "{part}");
    }

    #[test]
    fn scales_that_were_compared_stand_in_a_table_of_their_own() {
        let mut close = sample();
        let told = |close: &v1::Close| text(close, Parts::All, &Known::default());
        assert!(!told(&close).contains("Scales:"));
        close.drifts = vec![v1::ScaleDrift {
            first: "dock".to_owned(),
            second: "piece".to_owned(),
            pairs: 7,
            bias_percent: "-0.80".to_owned(),
            low_percent: "-0.93".to_owned(),
            high_percent: "-0.67".to_owned(),
        }];
        let text = told(&close);
        let line = row(&text, "Scales", "piece");
        let words: Vec<_> = line.split_whitespace().collect();
        assert_eq!(words.join(" "), "piece dock -0.80 % -0.93 to -0.67 % 7");
    }

    #[test]
    fn a_short_close_shows_the_parts_that_a_flag_is_about() {
        let mut close = sample();
        let quiet = text(&close, Parts::Flagged, &Known::default());
        assert!(!quiet.contains("41.600 lb"), "{quiet}");
        assert!(
            quiet.contains("1 other parts, nothing to look at."),
            "{quiet}"
        );
        close.flags.push(v1::Flag {
            subject: "20310502000100000031/1".to_owned(),
            ..v1::Flag::default()
        });
        let flagged = text(&close, Parts::Flagged, &Known::default());
        assert!(flagged.contains("41.600 lb"), "{flagged}");
    }

    #[test]
    fn small_fish_shows_where_it_went() {
        let text = text(&sample(), Parts::All, &Known::default());
        let small = row(&text, "Below", "12.000 lb");
        assert!(
            small.contains("soup-grade 8.000 lb, donation 4.000 lb"),
            "{small}"
        );
        assert!(text.contains("No drip is set for red grouper."), "{text}");
    }

    #[test]
    fn a_cut_that_was_not_all_weighed_is_not_judged() {
        let text = text(&sample(), Parts::All, &Known::default());
        assert!(
            row(&text, "Cuts", "cutter-1").ends_with("not all weighed"),
            "{text}"
        );
        assert!(
            row(&text, "Payouts", "diver-1").contains("42.00 USD"),
            "{text}"
        );
    }
}
