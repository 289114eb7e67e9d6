//! The commands that speak gRPC: look up a ticket, a close, a statement, yields,
//! flags or a lot, weigh in one lot, set a simulated clock.
//!
//! A command asks the service and turns the answer into text; it works nothing
//! out that a ticket or a close has to say. Each command's text comes from one
//! pure function of the answer. For a book with a simulated clock every output
//! says so. The program that mounts these commands reads arguments and
//! environment, prints, and sets the exit code.

pub mod advance;
mod amount;
#[cfg(test)]
mod any_text;
pub mod audit;
pub mod cash;
pub mod clock;
pub mod close;
pub mod deeds;
pub mod dispatch_note;
pub mod dispute;
pub mod drawer;
mod file;
pub mod flags;
pub mod json;
pub mod keys;
pub mod known;
mod landing;
pub mod landing_report;
pub mod lot;
pub mod pass;
pub mod plan;
pub mod price_list;
pub mod receipt;
pub mod receiving_log;
pub mod rooms;
pub mod see_to;
pub mod send;
pub mod service;
pub mod settle;
mod sheet;
pub mod show;
pub mod small_fish;
pub mod statement;
pub mod tally;
pub mod ticket;
pub mod trouble;
pub mod week;
pub mod weigh_in;
pub mod yields;

use clap::Subcommand;
use proto::google::r#type::Date;
use proto::v1;

use crate::json::Named;
pub use crate::known::Known;
pub use crate::pass::{Pass, Shown};
pub use crate::service::Service;
pub use crate::trouble::Trouble;

/// What can be asked of a running service.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Weigh in one lot and print its ticket
    WeighIn(Box<weigh_in::WeighIn>),
    /// Send a file of deeds, whatever they are, one after the other
    Send(send::Send),
    /// Explain a price list band by band before it is posted, and post it
    PriceList(price_list::PriceList),
    /// Show a ticket: what was weighed, what is paid, what to watch for
    Ticket(ticket::Ticket),
    /// Show a lot, its parts and what became of them
    Lot(lot::Lot),
    /// Show a business day as the nightly job closed it
    Close(close::Close),
    /// List what the nightly job wants a person to look at
    Flags(flags::Flags),
    /// Say that a person has seen to a flag
    SeeTo(see_to::SeeTo),
    /// Show what a diver is owed and why, line by line
    Statement(statement::Statement),
    /// Show what a payee is to be paid, or pay it
    Settle(settle::Settle),
    /// Hand over money before there is pay for it; it is taken off first
    Advance(advance::Advance),
    /// Record a deduction agreed with a payee: ice, fuel, gear
    Charge(advance::Charge),
    /// Show what a payee was paid in a year, and how much of it was cash
    Cash(cash::Cash),
    /// Count the currency in a site's drawer, or show a day's count
    Drawer(drawer::Drawer),
    /// Dispute a line of a ticket, or the whole of it where the diver was absent
    Dispute(dispute::Dispute),
    /// Answer a dispute
    AnswerDispute(dispute::AnswerDispute),
    /// Show the plain pooled yield of each supplier's fish
    Yields(yields::Yields),
    /// Weigh cutting small fish against soup, with the piece weight from which it pays
    SmallFish(small_fish::SmallFish),
    /// Share small fish out among those who want it, and take the plan
    Plan(plan::Plan),
    /// List who wants small fish, and what there is room for
    Rooms(rooms::Rooms),
    /// Print what travels with fish that left; to a nonprofit, a receipt
    DispatchNote(dispatch_note::DispatchNote),
    /// Report what was landed in a period: a row for each lot that was bought
    LandingReport(landing_report::LandingReport),
    /// Show tallies of fish, and the catch by dive and by hour
    Tally(tally::Tally),
    /// Give out keys, revoke and list them
    Key(keys::Key),
    /// Read what was done and what was refused, by whom
    Audit(audit::Audit),
    /// Print what a shell needs to complete the commands
    #[command(after_help = "Example:\n  weighhouse completions bash")]
    Completions {
        /// Shell that it is for
        shell: clap_complete::Shell,
    },
    /// Any deed that has a command of its own
    #[command(flatten)]
    Deed(deeds::Deed),
    /// Show what a day took in and turned away: cold, areas, legal limits, answers
    ReceivingLog(receiving_log::ReceivingLog),
    /// Show the book's clock, or set it in a book made with a simulated one
    Clock(clock::Clock),
}

/// Where to ask, and for whom to print.
#[derive(Debug, Clone, clap::Args)]
pub struct Reach {
    /// Address of the service
    #[arg(
        long,
        env = "WEIGHHOUSE_SERVER",
        default_value = "http://127.0.0.1:7420"
    )]
    pub server: String,
    /// What to show there.
    #[command(flatten)]
    pub shown: Shown,
    /// Print JSON: the book's clock and the answer of the service
    #[arg(long)]
    pub json: bool,
}

/// What a command that takes long needs of the program it runs in.
pub struct Terminal<'a> {
    /// The whole program, for completions.
    pub program: clap::Command,
    /// The machine's clock.
    pub now: fn() -> prost_types::Timestamp,
    /// Where outcomes go as they come.
    pub out: &'a mut (dyn std::io::Write + Send),
    /// Where a line of progress goes; nowhere when nobody watches.
    pub progress: Option<&'a mut (dyn std::io::Write + Send)>,
}

/// Completions of a shell for the whole program.
fn completions(mut program: clap::Command, shell: clap_complete::Shell) -> String {
    let mut script = Vec::new();
    let name = program.get_name().to_owned();
    clap_complete::generate(shell, &mut program, name, &mut script);
    String::from_utf8_lossy(&script).into_owned()
}

impl Command {
    /// Asks, and gives the text to print.
    ///
    /// # Errors
    ///
    /// The service refused, or could not be asked.
    pub async fn run(self, terminal: Terminal<'_>) -> Result<String, Trouble> {
        match self {
            Command::Completions { shell } => Ok(completions(terminal.program, shell)),
            Command::Deed(command) => command.run().await,
            Command::WeighIn(command) => command.run().await,
            Command::Send(command) => command.run(terminal).await,
            Command::PriceList(command) => command.run().await,
            Command::Ticket(command) => command.run().await,
            Command::Lot(command) => command.run().await,
            Command::Close(command) => command.run().await,
            Command::Flags(command) => command.run().await,
            Command::SeeTo(command) => command.run().await,
            Command::Statement(command) => command.run().await,
            Command::Settle(command) => command.run().await,
            Command::Advance(command) => command.run().await,
            Command::Charge(command) => command.run().await,
            Command::Cash(command) => command.run().await,
            Command::Drawer(command) => command.run().await,
            Command::Dispute(command) => command.run().await,
            Command::AnswerDispute(command) => command.run().await,
            Command::Yields(command) => command.run().await,
            Command::SmallFish(command) => command.run().await,
            Command::Plan(command) => command.run().await,
            Command::Rooms(command) => command.run().await,
            Command::DispatchNote(command) => command.run().await,
            Command::LandingReport(command) => command.run().await,
            Command::Tally(command) => command.run().await,
            Command::ReceivingLog(command) => command.run().await,
            Command::Key(command) => command.run().await,
            Command::Audit(command) => command.run().await,
            Command::Clock(command) => command.run().await,
        }
    }
}

impl Reach {
    /// Connects.
    async fn service(&self) -> Result<Service, Trouble> {
        Service::reach(&self.server, self.shown.read()?).await
    }

    /// The text for `answer`: `text` for a person, JSON for a machine.
    async fn say<M: Named>(
        &self,
        service: &Service,
        answer: &M,
        text: impl FnOnce(&Known) -> String,
    ) -> Result<String, Trouble> {
        self.say_as_it_is(service, answer, false, text).await
    }

    /// The same; where the text says itself that the clock is simulated, nothing
    /// is put before it.
    async fn say_as_it_is<M: Named>(
        &self,
        service: &Service,
        answer: &M,
        says_clock: bool,
        text: impl FnOnce(&Known) -> String,
    ) -> Result<String, Trouble> {
        if self.json {
            let clock = service.get_clock(v1::GetClockRequest {}).await?;
            Ok(machine(&clock, answer))
        } else {
            let known = Known::ask(service).await?;
            if says_clock {
                return Ok(text(&known));
            }
            Ok(format!("{}{}", known.clock_note(), text(&known)))
        }
    }
}

/// The command, with figures below zero taken as values of the flag before them:
/// what is wrong with one is then said by whoever reads it.
#[must_use]
pub fn lenient(command: clap::Command) -> clap::Command {
    command
        .mut_args(|arg| {
            if arg.get_action().takes_values() {
                arg.allow_negative_numbers(true)
            } else {
                arg
            }
        })
        .mut_subcommands(lenient)
}

/// The book's clock and the answer, as one JSON object.
fn machine<M: Named>(clock: &v1::GetClockResponse, answer: &M) -> String {
    let mut clock_json = json::write(clock);
    // Said either way: a reader must not take a missing word for a real clock.
    clock_json["simulated"] = clock.simulated.into();
    let whole = serde_json::json!({"clock": clock_json, "answer": json::write(answer)});
    format!("{whole:#}\n")
}

/// The id of a request: as given, or a new one.
fn request_id(given: Option<uuid::Uuid>) -> String {
    given.unwrap_or_else(uuid::Uuid::new_v4).to_string()
}

/// Reads a day given as `YYYY-MM-DD`.
fn day(text: &str) -> Result<Date, String> {
    let day: jiff::civil::Date = text
        .parse()
        .ok()
        .filter(|_| text.len() == 10)
        .ok_or("a day is written YYYY-MM-DD, such as 2031-05-02")?;
    Ok(Date {
        year: day.year().into(),
        month: day.month().into(),
        day: day.day().into(),
    })
}

/// Reads an instant given as RFC 3339, such as `2031-05-02T14:32:00-04:00`.
///
/// # Errors
///
/// Text that is something else.
pub fn instant(text: &str) -> Result<prost_types::Timestamp, String> {
    let at: jiff::Timestamp = text.parse().map_err(|_| {
        "an instant is written with its offset, such as 2031-05-02T14:32:00-04:00".to_owned()
    })?;
    let mut timestamp = prost_types::Timestamp {
        seconds: at.as_second(),
        nanos: at.subsec_nanosecond(),
    };
    // Before 1970 the two have one sign there, and nanos are never below 0 here.
    timestamp.normalize();
    Ok(timestamp)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use clap::{CommandFactory as _, Parser};

    use super::*;

    #[derive(Debug, Parser)]
    #[command(name = "weighhouse")]
    struct Program {
        #[command(subcommand)]
        command: Command,
    }

    #[test]
    fn the_commands_are_well_formed() {
        Program::command().debug_assert();
    }

    #[test]
    fn the_help_of_every_command_shows_an_example_that_parses() {
        for command in Program::command().get_subcommands() {
            let help = command
                .get_after_help()
                .unwrap_or_else(|| panic!("{} has no example", command.get_name()))
                .to_string();
            let examples: Vec<String> = help
                .replace("\\\n", " ")
                .lines()
                .map(str::trim)
                .filter(|line| line.starts_with("weighhouse "))
                .map(str::to_owned)
                .collect();
            assert!(!examples.is_empty(), "{}: {help}", command.get_name());
            for example in examples {
                let parsed = Program::try_parse_from(crate::deeds::words(&example));
                assert!(parsed.is_ok(), "{example}: {}", parsed.unwrap_err());
            }
        }
    }

    #[test]
    fn completions_of_each_shell_know_the_commands() {
        use clap_complete::Shell;
        for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
            let script = completions(Program::command(), shell);
            for word in ["weigh-in", "agree-price", "request-id"] {
                assert!(script.contains(word), "{shell}: {word}");
            }
        }
    }

    #[test]
    fn a_day_is_written_in_one_way() {
        let read = |text| day(text).ok().map(|d| (d.year, d.month, d.day));
        assert_eq!(read("2031-05-02"), Some((2031, 5, 2)));
        assert_eq!(read("2031-5-2"), None);
        assert_eq!(read("20310502"), None);
        assert_eq!(read("2031-02-29"), None);
        assert_eq!(read("2032-02-29"), Some((2032, 2, 29)));
    }

    #[test]
    fn an_instant_carries_its_offset() {
        assert_eq!(
            instant("2031-05-02T14:32:10-04:00").unwrap().seconds,
            1_935_513_130
        );
        assert!(instant("2031-05-02T14:32:10").is_err());
    }

    #[test]
    fn json_always_says_which_clock_the_book_has() {
        let real = machine(
            &v1::GetClockResponse::default(),
            &v1::SetClockResponse::default(),
        );
        let json: serde_json::Value = serde_json::from_str(&real).unwrap();
        assert_eq!(json["clock"]["simulated"], false);
        assert!(json["answer"].is_object());
    }
}
