//! The demo: an invented week in a fresh book, from the first weigh-in to the
//! last morning, and what came of it.
//!
//! The service runs here on a free port of the machine itself, and every deed
//! goes over a real socket through the real handlers; the nights run on the same
//! book. Only the clock is simulated. What is printed is what the client's
//! commands print, with a sentence before each.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use books::{Db, book};
use client::close::Parts;
use client::show::{Column, Page};
use client::week::{Way, Week, WeekError};
use client::{Known, Pass, Service, Trouble};
use proto::google::r#type::Date;
use proto::v1;
use rules::decimal;
use rules::weight::{Weight, WeightUnit};
use tokio::net::TcpListener;
use tokio::sync::oneshot;

use crate::office_key::{self, OfficeKeyError};
use crate::serve::{self, ServeError};

/// What is on file before the first fish.
const OFFICE: &str = include_str!("../../../demo-data/office.json");

/// A business day of the week.
struct Day {
    /// `YYYYMMDD`.
    number: i64,
    /// Its steps.
    steps: &'static str,
    /// When its night runs.
    night: &'static str,
}

macro_rules! day {
    ($number:literal, $file:literal, $night:literal) => {
        Day {
            number: $number,
            steps: include_str!(concat!("../../../demo-data/days/", $file)),
            night: $night,
        }
    };
}

const DAYS: [Day; 7] = [
    day!(20_310_428, "2031-04-28.json", "2031-04-29T05:30:00-04:00"),
    day!(20_310_429, "2031-04-29.json", "2031-04-30T05:30:00-04:00"),
    day!(20_310_430, "2031-04-30.json", "2031-05-01T05:30:00-04:00"),
    day!(20_310_501, "2031-05-01.json", "2031-05-02T05:30:00-04:00"),
    day!(20_310_502, "2031-05-02.json", "2031-05-03T05:30:00-04:00"),
    day!(20_310_503, "2031-05-03.json", "2031-05-04T05:30:00-04:00"),
    day!(20_310_504, "2031-05-04.json", "2031-05-05T05:30:00-04:00"),
];

/// Before the first step.
const BEGINS: &str = "2031-04-27T09:00:00-04:00";
/// The week's first day, and the first day after it.
const WEEK: (i64, i64) = (20_310_428, 20_310_505);
/// The site the week happens at.
const SITE: i32 = 1;
/// The ticket that is shown: two totes, one of them iced.
const TICKET: &str = "mon-04";
/// The day whose receiving log is shown: fish that came in warm.
const LOG: i64 = 20_310_430;
/// The close that is shown.
const CLOSE: i64 = 20_310_502;
/// Whose statement is shown: advance, charges, a check, and what is carried.
const STATEMENT: &str = "dell-farrow";

/// Why the demo could not run.
#[derive(Debug, thiserror::Error)]
pub(crate) enum DemoError {
    /// The folder cannot be made or looked into.
    #[error("the folder {}: {why}", folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// As the system says.
        why: std::io::Error,
    },
    /// There is a book in it.
    #[error("there is a book already: {}. Name another folder, or none", .0.display())]
    BookThere(PathBuf),
    /// The path does not fit into an address of a book.
    #[error("the folder {} has a name that a book's address cannot hold", .0.display())]
    FolderName(PathBuf),
    /// The service could not be run.
    #[error(transparent)]
    Serve(#[from] ServeError),
    /// The office's key cannot be made.
    #[error(transparent)]
    OfficeKey(#[from] OfficeKeyError),
    /// No free port.
    #[error("no free port to answer on: {0}")]
    Socket(#[from] std::io::Error),
    /// A deed of the week did not come out as written.
    #[error(transparent)]
    Week(#[from] WeekError),
    /// A question was not answered.
    #[error(transparent)]
    Ask(#[from] Trouble),
    /// A night could not run.
    #[error("the night could not run: {0}")]
    Night(#[from] nightly::NightError),
    /// The data of the demo does not fit the program.
    #[error("the demo's own data does not read: {0}")]
    Data(String),
}

/// A new folder for a demo below `base`.
pub(crate) fn new_folder_in(base: &Path) -> Result<PathBuf, DemoError> {
    tempfile::Builder::new()
        .prefix("weighhouse-demo-")
        .tempdir_in(base)
        .map(tempfile::TempDir::keep)
        .map_err(|why| DemoError::Folder {
            folder: base.to_owned(),
            why,
        })
}

/// Runs the demo on a fresh book in `folder` and gives what to print. `program`
/// is what a person types to run this program, `holder` who runs its nights.
pub(crate) async fn run(
    folder: &Path,
    program: &str,
    holder: &nightly::Holder,
) -> Result<String, DemoError> {
    let file = fresh_book_in(folder)?;
    let url = file
        .to_str()
        .filter(|path| !path.contains(['?', '%', '#']))
        .map(|path| format!("sqlite://{path}"))
        .ok_or_else(|| DemoError::FolderName(folder.to_owned()))?;
    let db = serve::open(&url, Some(&instant(BEGINS)?)).await?;

    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let server = format!("http://{}", listener.local_addr()?);
    // A simulated book never asks for the machine's clock.
    let desk = serve::desk(db.clone(), || 0).await?;
    let key = office_key::usual_file(&url);
    office_key::ensure(desk.desk(), &key).await?;
    let (stop, stopped) = oneshot::channel::<()>();
    let answering = desk.answer(listener, intake::Service::default(), async {
        // Dropping the sender is a stop as well.
        let _ = stopped.await;
    });
    let telling = async {
        let told = tell(&db, &server, &key, &url, program, holder).await;
        let _ = stop.send(());
        told
    };
    let (answered, told) = tokio::join!(answering, telling);
    let told = told?;
    answered?;
    db.close().await;
    Ok(told)
}

/// Path of a book that does not exist yet, in a folder that does.
fn fresh_book_in(folder: &Path) -> Result<PathBuf, DemoError> {
    let trouble = |why| DemoError::Folder {
        folder: folder.to_owned(),
        why,
    };
    std::fs::create_dir_all(folder).map_err(trouble)?;
    let file = folder
        .canonicalize()
        .map_err(trouble)?
        .join("weighhouse.db");
    if file.try_exists().map_err(trouble)? {
        return Err(DemoError::BookThere(file));
    }
    Ok(file)
}

/// Sends the week, runs its nights, and tells what came of it.
async fn tell(
    db: &Db,
    server: &str,
    key: &Path,
    url: &str,
    program: &str,
    holder: &nightly::Holder,
) -> Result<String, DemoError> {
    let service = Service::reach(server, Pass::in_file(key)?).await?;
    let mut week = Week::default();
    let mut sent = week
        .send(&service, "office.json", OFFICE, Way::Unary)
        .await?;
    let mut nights = Vec::new();
    for day in &DAYS {
        let file = format!("days/{}.json", iso(day.number));
        sent += week.send(&service, &file, day.steps, Way::Unary).await?;
        let now = Some(instant(day.night)?);
        service.set_clock(v1::SetClockRequest { now }).await?;
        let now_us = book::simulated_now(db)
            .await
            .map_err(ServeError::from)?
            .ok_or_else(|| DemoError::Data("the book has lost its clock".to_owned()))?;
        let night = nightly::run(db, i64::from(SITE), day.number, now_us, false, holder).await?;
        nights.push((day.number, night));
    }

    let known = Known::ask(&service).await?;
    let mut page = Page::title("WEIGHHOUSE: AN INVENTED WEEK AT THE DOCK");
    page.line("");
    page.line(
        "A small buyer takes in speared reef fish for seven days; the place, the people, the\n\
         prices and the fish are invented.",
    );
    page.line(known.clock_note());
    page.line(format!(
        "{sent} deeds went over gRPC to a service on this machine, and seven nights were run.\n\
         The book is {}.",
        url.trim_start_matches("sqlite://")
    ));
    ticket(&mut page, &service, &week, &known).await?;
    receiving_log(&mut page, &service, &known).await?;
    close(&mut page, &service, &known).await?;
    nights_told(&mut page, &nights);
    payouts(&mut page, &service, &known).await?;
    statement(&mut page, &service, &known).await?;
    yields(&mut page, &service, &known).await?;
    flags(&mut page, &service, &known).await?;
    small_fish(&mut page, &service, &week).await?;
    how_to_go_on(&mut page, &week, url, program)?;
    Ok(page.done())
}

fn section(page: &mut Page, heading: &str, sentence: &str) {
    page.heading("");
    page.line(heading.to_uppercase());
    page.line(sentence);
    page.line("");
}

async fn ticket(
    page: &mut Page,
    service: &Service,
    week: &Week,
    known: &Known,
) -> Result<(), DemoError> {
    let ticket = ticket_of(service, id(week, TICKET)?).await?;
    section(
        page,
        "One ticket",
        "What a diver is handed: gross, tare, ice and net of each tote, priced by weight band.",
    );
    page.line(client::ticket::text(&ticket, known));
    Ok(())
}

async fn receiving_log(page: &mut Page, service: &Service, known: &Known) -> Result<(), DemoError> {
    let request = v1::GetReceivingLogRequest {
        site: SITE,
        day: Some(date(LOG)),
    };
    let log = service.get_receiving_log(request).await?;
    section(
        page,
        "One receiving log",
        "What Wednesday took in and how: warm, iced and cooling, and cold when it was probed again.",
    );
    page.line(client::receiving_log::text(&log, known));
    Ok(())
}

async fn close(page: &mut Page, service: &Service, known: &Known) -> Result<(), DemoError> {
    section(
        page,
        "One close",
        "What the night made of Friday: every pound that was there is somewhere, or it is missing.",
    );
    let close = close_of(service, CLOSE).await?;
    page.line(client::close::text(&close, Parts::Flagged, known));
    Ok(())
}

fn nights_told(page: &mut Page, nights: &[(i64, nightly::Outcome)]) {
    section(
        page,
        "The seven nights",
        "Exit code 0 is a balanced day, 1 one with flags; a late entry revises the day it belongs to.",
    );
    let rows: Vec<Vec<String>> = nights
        .iter()
        .map(|(day, night)| {
            vec![
                iso(*day),
                night.state.word().to_owned(),
                night.flags.len().to_string(),
                night.exit_code().to_string(),
                night
                    .also
                    .iter()
                    .copied()
                    .map(iso)
                    .collect::<Vec<_>>()
                    .join(", "),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("night of"),
            Column::Left("state"),
            Column::Right("flags"),
            Column::Right("exit code"),
            Column::Left("closed or revised as well"),
        ],
        &rows,
    );
}

async fn payouts(page: &mut Page, service: &Service, known: &Known) -> Result<(), DemoError> {
    let last = close_of(service, DAYS[DAYS.len() - 1].number).await?;
    section(
        page,
        "The payouts",
        "What each diver is still owed on Monday morning, with what Sunday's entries added.",
    );
    page.line(client::close::payouts_text(&last.payouts, known));
    Ok(())
}

async fn statement(page: &mut Page, service: &Service, known: &Known) -> Result<(), DemoError> {
    let request = v1::GetStatementRequest {
        site: SITE,
        party: STATEMENT.to_owned(),
        from: Some(date(WEEK.0)),
        to: Some(date(WEEK.1)),
    };
    let answer = service.get_statement(request).await?;
    let statement = answer
        .statement
        .ok_or_else(|| DemoError::Data(format!("{STATEMENT} has no statement")))?;
    section(
        page,
        "One statement",
        "What one of them was owed, what came off it, what was paid, and what is carried.",
    );
    page.line(client::statement::text(&statement, known));
    Ok(())
}

async fn yields(page: &mut Page, service: &Service, known: &Known) -> Result<(), DemoError> {
    let yields = service
        .list_supplier_yields(v1::ListSupplierYieldsRequest {
            site: SITE,
            from: Some(date(WEEK.0)),
            to: Some(date(WEEK.1)),
            ..v1::ListSupplierYieldsRequest::default()
        })
        .await?;
    section(
        page,
        "The yields",
        "How much fillet each diver's fish gave: all fillet over all fish cut. It is no ranking.",
    );
    page.line(client::yields::text(&yields, SITE, known));
    Ok(())
}

async fn flags(page: &mut Page, service: &Service, known: &Known) -> Result<(), DemoError> {
    let flags = service
        .list_flags(v1::ListFlagsRequest {
            site: SITE,
            from: Some(date(WEEK.0)),
            to: Some(date(WEEK.1)),
            page_size: 200,
            ..v1::ListFlagsRequest::default()
        })
        .await?;
    section(
        page,
        "The flags",
        "What a person should look at; what a late entry explained is gone with a later revision.",
    );
    page.line(client::flags::text(&flags.flags, known));
    Ok(())
}

/// Where the fish below the plate minimum went, as the books say: what was taken
/// in is all that went and what is still there; the rest is drip and what was
/// not found at counts.
async fn small_fish(page: &mut Page, service: &Service, week: &Week) -> Result<(), DemoError> {
    let makings: BTreeMap<&str, (&str, &[String])> = week
        .ids()
        .values()
        .filter(|ids| !ids.making.is_empty())
        .map(|ids| {
            (
                ids.entry.as_str(),
                (ids.making.as_str(), ids.lots.as_slice()),
            )
        })
        .collect();

    let mut taken_in = Weight::ZERO;
    let mut parts: BTreeSet<(String, i32)> = BTreeSet::new();
    for ids in week.ids().values().filter(|ids| !ids.ticket.is_empty()) {
        let ticket = ticket_of(service, &ids.ticket).await?;
        if ticket.state() != v1::TicketState::Stands {
            continue;
        }
        for line in ticket
            .lines
            .iter()
            .filter(|l| l.undersize() == v1::Undersize::Yes)
        {
            taken_in = sum(taken_in, exact(line.net.as_ref())?);
            parts.insert((line.lot_code.clone(), line.band));
        }
    }
    let mut made_of_small = BTreeSet::new();
    let small = Went::from(service, &parts, &makings, &mut made_of_small).await?;
    // What was dressed or pooled is fish still: it goes on from its new lot.
    let mut again = Went::default();
    let mut looked_at = BTreeSet::new();
    while let Some(lot) = made_of_small.pop_first() {
        if looked_at.insert(lot.clone()) {
            let whole = BTreeSet::from([(lot, 0)]);
            again.add(&Went::from(service, &whole, &makings, &mut made_of_small).await?);
        }
    }

    section(
        page,
        "Where the small fish went",
        "Fish below the plate minimum is flagged at once and sent somewhere before it is lost.",
    );
    small.table(page, "taken in below the plate minimum", taken_in);
    page.line("");
    page.line("And the lots that were dressed or pooled from it; a pooled bin that was dressed is in twice:");
    page.line("");
    let made = again.made;
    again.table(page, "made", made);
    Ok(())
}

/// Where weight went, by trade word.
#[derive(Default)]
struct Went {
    to: BTreeMap<String, Weight>,
    left: Weight,
    /// Came out of a making.
    made: Weight,
}

impl Went {
    /// Follows every part of these lots and bands. New lots that are fish still
    /// are added to `dressed`.
    async fn from(
        service: &Service,
        parts: &BTreeSet<(String, i32)>,
        makings: &BTreeMap<&str, (&str, &[String])>,
        dressed: &mut BTreeSet<String>,
    ) -> Result<Went, DemoError> {
        let mut went = Went::default();
        for (lot_code, band) in parts {
            let lot = service
                .get_lot(v1::GetLotRequest {
                    lot_code: lot_code.clone(),
                })
                .await?;
            let alike: BTreeSet<i32> = lot
                .parts
                .iter()
                .filter(|part| part.band == *band)
                .map(|part| part.part)
                .collect();
            for part in lot.parts.iter().filter(|part| alike.contains(&part.part)) {
                went.left = sum(went.left, exact(part.left.as_ref())?);
            }
            for event in lot
                .events
                .iter()
                .filter(|event| alike.contains(&event.part))
            {
                let weight = exact(event.weight.as_ref())?;
                match event.what.as_str() {
                    "made" => went.made = sum(went.made, weight),
                    "weighed in" | "counted" | "hold" | "release" | "regrade" => {}
                    "used in a making" => {
                        let (kind, lots) = makings
                            .get(event.entry_id.as_str())
                            .copied()
                            .unwrap_or_default();
                        let word = match kind {
                            "dress" => "gutted and headed, for soup or donation",
                            "cut" => "cut to fillet",
                            "freeze" => "frozen",
                            "pool" => "pooled in one bin",
                            _ => "made into other lots",
                        };
                        if matches!(kind, "dress" | "pool") {
                            dressed.extend(lots.iter().cloned());
                        }
                        went.note(word, weight.abs());
                    }
                    outlet => went.note(outlet, weight.abs()),
                }
            }
        }
        Ok(went)
    }

    fn note(&mut self, word: &str, weight: Weight) {
        let so_far = self.to.entry(word.to_owned()).or_default();
        *so_far = sum(*so_far, weight);
    }

    fn add(&mut self, other: &Went) {
        for (word, weight) in &other.to {
            self.note(word, *weight);
        }
        self.left = sum(self.left, other.left);
        self.made = sum(self.made, other.made);
    }

    /// All of `whole`, to the last bit of it.
    fn table(&self, page: &mut Page, what: &str, whole: Weight) {
        let gone: Weight = self.to.values().copied().sum();
        let rest = Weight::from_units(whole.units() - gone.units() - self.left.units());
        let row = |what: &str, weight: Weight| {
            vec![
                what.to_owned(),
                format!("{} lb", weight.shown(WeightUnit::Lb)),
            ]
        };
        let mut rows = vec![row(what, whole)];
        let mut to: Vec<_> = self.to.iter().collect();
        to.sort_by_key(|(_, weight)| std::cmp::Reverse(**weight));
        rows.extend(to.into_iter().map(|(word, weight)| row(word, *weight)));
        rows.push(row("still there by the book", self.left));
        if !rest.is_zero() {
            rows.push(row("drip, and what counts did not find", rest));
        }
        page.table(
            &[Column::Left("small fish"), Column::Right("weight")],
            &rows,
        );
    }
}

fn how_to_go_on(page: &mut Page, week: &Week, url: &str, program: &str) -> Result<(), DemoError> {
    section(
        page,
        "How to go on",
        "Start the service on this book in one terminal, and ask it from another.",
    );
    let program = quoted(program);
    let book = quoted(url);
    page.line(format!("  {program} serve --book {book}"));
    page.line("");
    let key = office_key::usual_file(url).display().to_string();
    page.line(format!("  export WEIGHHOUSE_KEY_FILE={}", quoted(&key)));
    let ticket = id(week, TICKET)?;
    let lot = week
        .ids()
        .get(TICKET)
        .and_then(|ids| ids.lots.first())
        .ok_or_else(|| DemoError::Data(format!("{TICKET} has no lot")))?;
    for command in [
        format!("ticket {ticket}"),
        format!("lot {lot}"),
        "close --site 1 --day 2031-05-02".to_owned(),
        "flags --site 1 --open".to_owned(),
        "receiving-log --site 1 --day 2031-04-28".to_owned(),
        "yields --site 1 --from 2031-04-28 --to 2031-05-05".to_owned(),
        "statement --site 1 --party wren-haldane --from 2031-04-28 --to 2031-05-05".to_owned(),
        "settle --site 1 --payee mara-denby".to_owned(),
        "drawer --site 1 --day 2031-05-03".to_owned(),
        "weigh-in --site 1 --diver wren-haldane --species PZO --presentation whole --grade A \
         --condition clean --gross 24.60 --tare 3.60 --scale dock --pieces 30 --iced \
         --area site:QH-Sill --confirmed by-diver"
            .to_owned(),
        "clock --set 2031-05-06T05:30:00-04:00".to_owned(),
    ] {
        page.line(format!("  {program} {command}"));
    }
    page.line("");
    page.line("Close the day of that weigh-in, with the service running or not:");
    page.line("");
    page.line(format!(
        "  {program} nightly --site 1 --day 2031-05-05 --book {book}"
    ));
    page.line("");
    page.line("The book is one file in its folder; delete the folder when you are done.");
    Ok(())
}

/// A word for a shell.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./:=+@".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

fn id<'a>(week: &'a Week, label: &str) -> Result<&'a str, DemoError> {
    match week.ids().get(label) {
        Some(ids) if !ids.ticket.is_empty() => Ok(&ids.ticket),
        _ => Err(DemoError::Data(format!("{label} is no ticket"))),
    }
}

async fn ticket_of(service: &Service, id: &str) -> Result<v1::Ticket, DemoError> {
    let answer = service
        .get_ticket(v1::GetTicketRequest {
            ticket: id.to_owned(),
        })
        .await?;
    answer
        .ticket
        .ok_or_else(|| DemoError::Data(format!("there is no ticket {id}")))
}

async fn close_of(service: &Service, day: i64) -> Result<v1::Close, DemoError> {
    let request = v1::GetCloseRequest {
        site: SITE,
        day: Some(date(day)),
        revision: 0,
    };
    let answer = service.get_close(request).await?;
    answer
        .close
        .ok_or_else(|| DemoError::Data(format!("there is no close of {}", iso(day))))
}

/// Exact weight of the contract's decimal grams.
fn exact(weight: Option<&v1::Weight>) -> Result<Weight, DemoError> {
    weight.map_or(Ok(Weight::ZERO), |weight| {
        decimal::scaled_signed(&weight.grams, 8)
            .map(Weight::from_units)
            .map_err(|error| DemoError::Data(error.to_string()))
    })
}

fn sum(a: Weight, b: Weight) -> Weight {
    [a, b].into_iter().sum()
}

fn instant(text: &str) -> Result<prost_types::Timestamp, DemoError> {
    client::instant(text).map_err(DemoError::Data)
}

fn date(day: i64) -> Date {
    let part = |n: i64| i32::try_from(n).unwrap_or(0);
    Date {
        year: part(day / 10_000),
        month: part(day / 100 % 100),
        day: part(day % 100),
    }
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

    use clap::Parser as _;

    use super::*;

    fn holder() -> nightly::Holder {
        crate::holder::this_process(|| 0)
    }

    #[test]
    fn a_folder_that_holds_a_book_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let file = fresh_book_in(&folder.path().join("new")).unwrap();
        assert!(file.ends_with("new/weighhouse.db"));
        std::fs::write(&file, b"a book").unwrap();
        let error = fresh_book_in(&folder.path().join("new"))
            .unwrap_err()
            .to_string();
        assert!(error.starts_with("there is a book already: "), "{error}");
    }

    #[tokio::test]
    async fn the_demo_tells_the_week_and_names_commands_that_parse() {
        let folder = tempfile::tempdir().unwrap();
        let told = run(folder.path(), "weighhouse", &holder()).await.unwrap();
        for heading in [
            "ONE TICKET",
            "ONE RECEIVING LOG",
            "ONE CLOSE",
            "THE SEVEN NIGHTS",
            "THE PAYOUTS",
            "ONE STATEMENT",
            "THE YIELDS",
            "THE FLAGS",
            "WHERE THE SMALL FISH WENT",
            "HOW TO GO ON",
        ] {
            assert!(
                told.lines().any(|line| line == heading),
                "{heading} is missing"
            );
        }
        assert!(told.contains("Simulated clock") && told.contains("are invented"));
        // 42.00 lb less 3 % of ice at a division of 0.05 lb; worked by hand in demo-data/by-hand.md.
        assert!(told.contains("1.25    40.75"), "{told}");
        // In demo-data/expected/money.json.
        assert!(
            told.contains("paid 316.27 USD, taken off 316.26 USD"),
            "{told}"
        );

        let commands: Vec<&str> = told
            .lines()
            .filter(|line| line.starts_with("  weighhouse "))
            .collect();
        assert!(commands.len() > 8, "{commands:?}");
        for command in commands {
            let parsed = crate::Program::try_parse_from(command.split_whitespace());
            assert!(parsed.is_ok(), "{command}");
        }
        let again = run(folder.path(), "weighhouse", &holder())
            .await
            .unwrap_err();
        assert!(matches!(again, DemoError::BookThere(_)), "{again}");
    }

    #[test]
    fn a_word_with_a_space_is_quoted_for_the_shell() {
        assert_eq!(
            quoted("target/release/weighhouse"),
            "target/release/weighhouse"
        );
        assert_eq!(quoted("a folder/book"), "'a folder/book'");
        assert_eq!(quoted("it's"), r"'it'\''s'");
    }

    #[test]
    fn what_went_and_what_is_left_make_up_the_whole() {
        let lb = |text: &str| WeightUnit::Lb.weigh(text).unwrap();
        let mut went = Went {
            left: lb("2.00"),
            ..Went::default()
        };
        went.note("soup-grade", lb("5.00"));
        went.note("soup-grade", lb("1.00"));
        went.note("donation", lb("3.00"));
        let mut page = Page::default();
        went.table(&mut page, "taken in", lb("11.50"));
        let text = page.done();
        let lines: Vec<&str> = text.lines().map(str::trim).collect();
        let ends = |n: usize| lines[n].rsplit("  ").next().unwrap_or_default().trim();
        assert_eq!(
            [2, 3, 4, 5, 6].map(ends),
            ["11.50 lb", "6.00 lb", "3.00 lb", "2.00 lb", "0.50 lb"]
        );
    }
}
