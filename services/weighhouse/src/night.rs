//! The night's own face: run it on a book, or rebuild one, and say in short what it
//! found.

use books::doc::{Doc as _, Value};
use books::{Db, book, register};
use client::known::clock_note;
use client::show::{Column, Page, instant};
use nightly::{Holder, Outcome, Rebuilt};
use rules::business_day::date_of;
use rules::close::{CloseDoc, DayBalance, Flag};
use rules::weight::{Weight, WeightUnit};

use crate::serve;

/// Why a night could not run.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NightError {
    /// A file that is not there.
    #[error("there is no book at {0}: name it with --book")]
    NoBook(String),
    /// The book does not open.
    #[error("the book cannot be opened: {0}")]
    Open(#[from] books::EngineError),
    /// The book does not read.
    #[error("the book cannot be read: {0}")]
    Read(#[from] books::BooksError),
    /// The job could not run.
    #[error(transparent)]
    Job(#[from] nightly::NightError),
    /// What the job recorded does not read.
    #[error("the recorded close does not read: {0}")]
    Document(String),
}

/// What a night found.
pub(crate) struct Found {
    /// That the book's clock is simulated; empty where it is not.
    pub(crate) note: String,
    /// For a person.
    pub(crate) text: String,
    /// The stored document, for a machine.
    pub(crate) document: String,
    /// 0 balanced, 1 flags raised.
    pub(crate) exit_code: u8,
}

/// Reads a day given as `YYYY-MM-DD`.
pub(crate) fn day(text: &str) -> Result<i64, String> {
    let digits = text.replace('-', "");
    let day = digits.parse().ok().filter(|day| date_of(*day).is_some());
    match (day, text.as_bytes()) {
        (Some(day), [_, _, _, _, b'-', _, _, b'-', _, _]) if digits.len() == 8 => Ok(day),
        _ => Err("a day is written YYYY-MM-DD, such as 2031-05-02".to_owned()),
    }
}

/// Opens the book at `url`. The service makes a book; the night only ever closes the
/// days of one.
async fn open(url: &str) -> Result<Db, NightError> {
    if !Db::is_there(url) {
        return Err(NightError::NoBook(url.to_owned()));
    }
    Ok(Db::open(url).await?)
}

/// Runs the night of a day on the book at `url`, with the machine's clock of `holder`
/// for a book without one of its own.
pub(crate) async fn run(
    url: &str,
    site: i64,
    day: i64,
    dry_run: bool,
    holder: &Holder,
) -> Result<Found, NightError> {
    let db = open(url).await?;
    let simulated = book::simulated_now(&db).await?;
    let now_us = simulated.unwrap_or_else(holder.clock_us);
    let outcome = nightly::run(&db, site, day, now_us, dry_run, holder).await?;

    let mut tx = db.read().await?;
    let office = register::load(&mut tx).await?;
    tx.rollback().await;
    db.close().await;
    let on_file = office.sites.get(&site);
    let unit = on_file.map_or(WeightUnit::Lb, |site| site.shown_unit);
    let note = simulated.map_or_else(String::new, |now_us| {
        let zone = on_file.map(|site| site.clock.zone());
        clock_note(&instant(Some(&serve::timestamp(now_us)), zone))
    });
    let value: Value = outcome
        .doc
        .parse()
        .map_err(|e| NightError::Document(format!("{e}")))?;
    let close = CloseDoc::from_doc(&value).map_err(|e| NightError::Document(e.to_string()))?;
    Ok(Found {
        text: text(&outcome, &close.balance, unit, dry_run),
        note,
        exit_code: outcome.exit_code(),
        document: outcome.doc + "\n",
    })
}

/// What a rebuild found.
pub(crate) struct FoundAgain {
    /// For a person.
    pub(crate) text: String,
    /// 0 all as it was stored, 1 something was not.
    pub(crate) exit_code: u8,
}

/// Rebuilds a site of the book at `url`; tells how far it is where somebody watches.
pub(crate) async fn rebuild(
    url: &str,
    site: i64,
    dry_run: bool,
    holder: &Holder,
    watched: bool,
) -> Result<FoundAgain, NightError> {
    let db = open(url).await?;
    let mut said = |day: i64, days: i64| {
        if watched {
            eprint!("\r{}  {days} days", iso(day));
        }
    };
    let rebuilt = nightly::rebuild(&db, site, dry_run, holder, &mut said).await;
    if watched {
        eprintln!();
    }
    let rebuilt = rebuilt?;
    db.close().await;
    Ok(FoundAgain {
        text: text_again(site, &rebuilt, dry_run),
        exit_code: rebuilt.exit_code(),
    })
}

fn text_again(site: i64, rebuilt: &Rebuilt, dry_run: bool) -> String {
    let mut page = Page::title(format!("Rebuild of site {site}"));
    page.facts(&[
        ("closed days", rebuilt.days.to_string()),
        ("as they were stored", rebuilt.same.to_string()),
        ("came out otherwise", rebuilt.unlike.len().to_string()),
        ("with rows put back", rebuilt.put_right.len().to_string()),
        ("left alone", rebuilt.left_alone.len().to_string()),
    ]);
    for unlike in &rebuilt.unlike {
        page.paragraph(format!(
            "{}, revision {}: its entries give another document. Stored is the SHA-256 {}, \
             worked out {}. Nothing was changed: restore the newest backup in which the day \
             comes out, and compare the entries of the day.",
            iso(unlike.day),
            unlike.revision,
            unlike.stored,
            unlike.worked_out
        ));
    }
    for put in &rebuilt.put_right {
        let tables: Vec<String> = put
            .tables
            .iter()
            .map(|apart| {
                format!(
                    "{} ({} missing, {} that do not belong)",
                    apart.table, apart.missing, apart.foreign
                )
            })
            .collect();
        let done = if dry_run {
            "dry run, nothing was put back"
        } else {
            "put back as its entries give them"
        };
        page.paragraph(format!(
            "{}, revision {}: rows of {}; {done}.",
            iso(put.day),
            put.revision,
            tables.join(", ")
        ));
    }
    for left in &rebuilt.left_alone {
        page.paragraph(format!("{}: not compared, {}.", iso(left.day), left.why));
    }
    page.done()
}

/// What it found, in short.
fn text(outcome: &Outcome, balance: &DayBalance, unit: WeightUnit, dry_run: bool) -> String {
    let mut page = Page::title(format!(
        "Night of {} at site {}: {}",
        iso(outcome.day),
        outcome.site,
        outcome.state.word()
    ));
    let recorded = if dry_run {
        "dry run, nothing was recorded".to_owned()
    } else if outcome.changed {
        format!("recorded as revision {}", outcome.revision)
    } else {
        format!("nothing new, revision {} stands", outcome.revision)
    };
    let also: Vec<String> = outcome.also.iter().copied().map(iso).collect();
    page.facts(&[
        ("close", recorded),
        ("closed or revised as well", also.join(", ")),
        ("SHA-256", outcome.sha256.clone()),
    ]);
    page.line("");
    let shown = |weight: Weight| format!("{} {}", weight.shown(unit), unit.symbol());
    let out: Weight = balance.out.iter().map(|out| out.weight).sum();
    let rows = [
        ("opening", balance.opening),
        ("bought", balance.bought),
        ("brought back", balance.returned),
        ("made into lots", balance.made),
        ("used in makings", balance.used),
        ("went out", out),
        ("drip expected", balance.shrink),
        ("unaccounted", balance.unaccounted),
        ("closing", balance.closing),
    ]
    .map(|(what, weight)| vec![what.to_owned(), shown(weight)]);
    page.table(
        &[Column::Left("weight of the day"), Column::Right("")],
        &rows,
    );
    page.heading(match outcome.flags.len() {
        0 => "Nothing to look at.".to_owned(),
        1 => "1 flag to look at".to_owned(),
        flags => format!("{flags} flags to look at"),
    });
    for flag in &outcome.flags {
        page.paragraph(sentence(flag));
    }
    page.done()
}

fn sentence(flag: &Flag) -> String {
    let gap = if flag.gap { " (gap)" } else { "" };
    format!("{}{gap}, {}: {}", flag.kind.word(), flag.subject, flag.text)
}

/// `2031-05-02`.
fn iso(day: i64) -> String {
    format!(
        "{:04}-{:02}-{:02}",
        day / 10_000,
        day / 100 % 100,
        day % 100
    )
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use rules::close::{CloseState, FlagKind, OutletWeight};
    use rules::fish::Outlet;
    use rules::money::{Currency, Money};

    use super::*;

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap()
    }

    fn outcome(flags: Vec<Flag>) -> Outcome {
        Outcome {
            site: 1,
            day: 20_310_502,
            revision: 2,
            state: CloseState::Closed,
            doc: "{}".to_owned(),
            sha256: "ab".to_owned(),
            flags,
            changed: true,
            also: vec![20_310_501],
        }
    }

    fn balance() -> DayBalance {
        DayBalance {
            bought: lb("42.00"),
            out: vec![
                OutletWeight {
                    outlet: Outlet::SoldWhole,
                    weight: lb("10.00"),
                },
                OutletWeight {
                    outlet: Outlet::Soup,
                    weight: lb("2.00"),
                },
            ],
            closing: lb("30.00"),
            ..DayBalance::default()
        }
    }

    #[test]
    fn a_day_is_written_in_one_way() {
        assert_eq!(day("2031-05-02"), Ok(20_310_502));
        for wrong in [
            "20310502",
            "2031-5-02",
            "2031-02-29",
            "-031-05-02",
            "2031-05-2-",
            "",
        ] {
            assert!(day(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_night_says_in_short_what_it_found() {
        let flag = Flag {
            kind: FlagKind::Uncounted,
            subject: "20310502000100000031/1".to_owned(),
            text: "nobody counted it".to_owned(),
            weight: lb("30.00"),
            value: Money::zero(Currency::new("USD").unwrap()),
            gap: true,
            evidence: Vec::new(),
        };
        let text = text(&outcome(vec![flag]), &balance(), WeightUnit::Lb, false);
        assert!(
            text.starts_with("Night of 2031-05-02 at site 1: closed\n"),
            "{text}"
        );
        assert!(text.contains("recorded as revision 2"), "{text}");
        assert!(
            text.contains("closed or revised as well  2031-05-01"),
            "{text}"
        );
        let out = text.lines().find(|line| line.contains("went out")).unwrap();
        assert!(out.ends_with("12.00 lb"), "{out}");
        assert!(
            text.contains("1 flag to look at\n  uncounted (gap), 20310502000100000031/1: nobody")
        );
    }

    #[test]
    fn a_dry_run_says_that_nothing_was_recorded() {
        let text = text(&outcome(Vec::new()), &balance(), WeightUnit::Lb, true);
        assert!(text.contains("nothing was recorded"), "{text}");
        assert!(text.contains("Nothing to look at."), "{text}");
    }
}
