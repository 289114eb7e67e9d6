//! `send`: a file of deeds, whatever they are, one after the other.
//!
//! A file is JSON or CSV (`file`). Each item's outcome is told as it comes, and
//! an item that fails stops no other. What failed can be written to a file of the
//! same format, with the reason, ready to be mended and sent again: request ids
//! are kept, so that nothing is booked twice. Cautions are said once, at the end.

use std::collections::{BTreeSet, VecDeque};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use proto::v1;
use serde_json::Value;

use crate::file::{Asked, Failed, Item, Items, Written};
use crate::service::Service;
use crate::show::{self, Page};
use crate::trouble::Trouble;
use crate::week::{self, Answer, Step, Stream, Week};
use crate::{Reach, Terminal, json};

/// Items on their way at once.
const TOGETHER: usize = 64;
/// Items between two words of progress.
const PROGRESS_EVERY: u64 = 200;

/// Arguments of `send`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse send demo-data/first-office.json
  weighhouse send monday.csv --failed mend.csv

JSON is a list of steps, or one step after the other: demo-data/README.md says what
is in one. CSV has one weighing a row, with a header:
  ticket;site;diver;confirmed;species;form;grade;shot;gross;tote;pieces;scale
  17;1;diver-1;by-diver;PZO;whole;A;clean;45,60;grey-1;56;dock
Rows of one ticket follow one another. `ticket` is a number of your own that never
comes again. Other columns: note, area, caught_from, caught_to, gear, landed_at,
landed_on, vessel, vessel_use, dives, storage, small, decision, reason,
corrective_action, unit, tare, tared, iced, about_pieces, fish, request_id, and
weighed_at, the first reading as 2031-05-02T14:32:00-04:00. Words are those of
`weigh-in`; with semicolons a decimal may have a comma. Tallies, answers to questions
and shares of the pay are sent as JSON.")]
pub struct Send {
    /// File of deeds, JSON or CSV
    file: PathBuf,
    /// Write what failed to this file, with the reason, to be mended and sent again
    #[arg(long, value_name = "FILE")]
    failed: Option<PathBuf>,
    #[command(flatten)]
    reach: Reach,
}

impl Send {
    pub(crate) async fn run(self, terminal: Terminal<'_>) -> Result<String, Trouble> {
        let name = self.file.display().to_string();
        let at = |why: String| Trouble::File(format!("{name}: {why}"));
        let mut items = Items::open(&self.file).map_err(at)?;
        // Looked at first, so that its format is known to the file of the failed.
        let mut first = items.next();
        let failed = match &self.failed {
            Some(path) if holds_something(path) => {
                return Err(Trouble::File(format!(
                    "{}: is there already, and not empty; the failed ones need a file of their own",
                    path.display()
                )));
            }
            Some(path) => Some(items.failed(path).map_err(|error| at(error.to_string()))?),
            None => None,
        };
        let service = self.reach.service().await?;
        let clock = service.get_clock(v1::GetClockRequest {}).await?;
        let mut sending = Sending {
            service,
            week: Week::default(),
            stream: None,
            on_their_way: VecDeque::new(),
            began: clock.now,
            simulated: clock.simulated,
            tally: Tally::default(),
            cautions: BTreeSet::new(),
            failed,
            stopped: None,
            quiet: self.reach.json,
            terminal,
        };
        let mut broken = None;
        while let Some(next) = first.take().or_else(|| items.next()) {
            match next {
                Ok(item) => sending.take(item).await?,
                Err(trouble) => broken = Some(trouble.to_string()),
            }
        }
        sending.land_all().await?;
        sending.finish(&name, broken)
    }
}

/// Whether a file has anything in it that writing it anew would lose: it may be the
/// file that is sent, under whatever name, or what failed before and is not mended.
fn holds_something(path: &Path) -> bool {
    if !path.exists() {
        return false;
    }
    Items::open(path).map_or(true, |mut items| items.next().is_some())
}

/// What came of the items.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
struct Tally {
    booked: u64,
    /// Booked before, and answered as then.
    repeated: u64,
    /// Refused as the file says it must be.
    as_expected: u64,
    refused: u64,
    /// Not sent, because nobody answered any more.
    unsent: u64,
}

impl Tally {
    fn items(&self) -> u64 {
        self.booked + self.repeated + self.as_expected + self.refused + self.unsent
    }

    fn text(&self) -> String {
        let deeds = |n: u64| {
            if n == 1 {
                "1 deed".to_owned()
            } else {
                format!("{n} deeds")
            }
        };
        let mut text = format!("{} booked", deeds(self.booked));
        for (n, what) in [
            (self.repeated, "booked before and not again"),
            (self.as_expected, "refused, as the file says"),
            (self.refused, "refused"),
            (self.unsent, "not sent"),
        ] {
            if n > 0 {
                // Writing into a string cannot fail.
                let _ = write!(text, ", {n} {what}");
            }
        }
        text
    }
}

/// An item whose outcome is not known yet.
struct OnItsWay {
    name: String,
    written: Written,
    deed: v1::Deed,
}

/// A file that is being sent.
struct Sending<'a> {
    service: Service,
    week: Week,
    stream: Option<Stream>,
    on_their_way: VecDeque<OnItsWay>,
    /// The book's clock as it began: where no stream says it, what was recorded
    /// before is a repeat.
    began: Option<prost_types::Timestamp>,
    simulated: bool,
    tally: Tally,
    cautions: BTreeSet<String>,
    failed: Option<Failed>,
    /// Why nothing is sent any more.
    stopped: Option<String>,
    /// Only the sum is told.
    quiet: bool,
    terminal: Terminal<'a>,
}

impl Sending<'_> {
    async fn take(&mut self, item: Item) -> Result<(), Trouble> {
        let Item {
            name,
            asked,
            written,
        } = item;
        if let Some(why) = self.stopped.clone() {
            return self.fail(&name, &written, &format!("not sent: {why}"), true);
        }
        match asked {
            Err(why) => {
                self.land_all().await?;
                self.fail(&name, &written, &why, false)
            }
            Ok(Asked::Ticket(mut request)) => {
                if request.first_reading_at.is_some() {
                    request.sent_at = self.now().await?;
                }
                let deed = v1::deed::Deed::WeighIn(*request);
                let deed = v1::Deed { deed: Some(deed) };
                self.send(OnItsWay {
                    name,
                    written,
                    deed,
                })
                .await
            }
            Ok(Asked::Step(value)) => self.step(name, written, value).await,
        }
    }

    /// The sender's clock: the machine's, or in a book with a simulated one that.
    async fn now(&self) -> Result<Option<prost_types::Timestamp>, Trouble> {
        if self.simulated {
            let clock = self.service.get_clock(v1::GetClockRequest {}).await?;
            return Ok(clock.now);
        }
        Ok(Some((self.terminal.now)()))
    }

    async fn step(&mut self, name: String, written: Written, value: Value) -> Result<(), Trouble> {
        let mut step: Step = match week::step_of(value) {
            Ok(step) => step,
            Err(why) => {
                self.land_all().await?;
                return self.fail(&name, &written, &why, false);
            }
        };
        let plain = step.label.is_empty() && step.at.is_none();
        if plain && !step.again && step.refused.is_none() {
            // Earlier steps may have a label that this one asks for.
            step.deed = self.week.known_filled_in(step.deed);
            return match json::read::<v1::Deed>(&step.deed) {
                Ok(deed) => {
                    self.send(OnItsWay {
                        name,
                        written,
                        deed,
                    })
                    .await
                }
                Err(bad) => {
                    self.land_all().await?;
                    self.fail(&name, &written, &format!("deed.{bad}"), false)
                }
            };
        }
        self.land_all().await?;
        if let Some(why) = self.stopped.clone() {
            return self.fail(&name, &written, &format!("not sent: {why}"), true);
        }
        self.open_stream().await;
        let stream = self.stream.as_mut();
        let mut sent = self
            .week
            .send_step(&self.service, stream, step.clone())
            .await;
        let unheard = matches!(
            sent,
            Err(week::StepTrouble::Service(Trouble::NoAnswer { .. }))
        );
        if self.stream.is_some() && unheard {
            // Sent again by its own method, and booked once all the same.
            self.stream = None;
            sent = self.week.send_step(&self.service, None, step).await;
        }
        match sent {
            Ok(Some(answer)) => self.book(&name, answer),
            Ok(None) => {
                self.tally.as_expected += 1;
                self.say(&format!("{name}: refused, as the file says"))
            }
            Err(trouble) => {
                if let week::StepTrouble::Service(
                    Trouble::NoAnswer { .. } | Trouble::Unreachable { .. },
                ) = &trouble
                {
                    self.stopped = Some(trouble.to_string());
                }
                let why = trouble.to_string();
                let written = match written {
                    Written::Json(mut value) => {
                        value["deed"] = self.week.known_filled_in(value["deed"].take());
                        Written::Json(value)
                    }
                    other => other,
                };
                self.fail(&name, &written, &why, self.stopped.is_some())
            }
        }
    }

    /// Sends a deed beside those on their way.
    async fn send(&mut self, item: OnItsWay) -> Result<(), Trouble> {
        while self.on_their_way.len() >= TOGETHER {
            self.land_one().await?;
        }
        self.open_stream().await;
        let mut broken = self.stream.is_none();
        if let (Some(stream), Some(deed)) = (&mut self.stream, item.deed.deed.clone()) {
            broken = stream.put(deed).await.is_err();
        }
        self.on_their_way.push_back(item);
        if broken {
            // Each is sent again by its own method, and booked once all the same.
            self.stream = None;
            self.land_all().await?;
        }
        Ok(())
    }

    /// Where no stream can be opened, each deed is sent by its own method.
    async fn open_stream(&mut self) {
        if self.stream.is_none() && self.stopped.is_none() {
            self.stream = Stream::open(&self.service).await.ok();
        }
    }

    async fn land_all(&mut self) -> Result<(), Trouble> {
        while !self.on_their_way.is_empty() {
            self.land_one().await?;
        }
        Ok(())
    }

    async fn land_one(&mut self) -> Result<(), Trouble> {
        let Some(item) = self.on_their_way.pop_front() else {
            return Ok(());
        };
        if let Some(why) = self.stopped.clone() {
            return self.fail(&item.name, &item.written, &format!("not sent: {why}"), true);
        }
        let mut outcome = match &mut self.stream {
            Some(stream) => stream.next().await,
            None => week::send(&self.service, None, item.deed.clone()).await,
        };
        if matches!(outcome, Err(Trouble::NoAnswer { .. })) && self.stream.is_some() {
            self.stream = None;
            outcome = week::send(&self.service, None, item.deed.clone()).await;
        }
        match outcome {
            Ok(answer) => self.book(&item.name, answer),
            Err(trouble) => {
                let none = matches!(
                    trouble,
                    Trouble::NoAnswer { .. } | Trouble::Unreachable { .. }
                );
                if none {
                    self.stopped = Some(trouble.to_string());
                }
                self.fail(&item.name, &item.written, &trouble.to_string(), none)
            }
        }
    }

    fn book(&mut self, name: &str, answer: Answer) -> Result<(), Trouble> {
        let at = |stamp: &prost_types::Timestamp| (stamp.seconds, stamp.nanos);
        let recorded = answer.recorded.recorded_at.as_ref().map(at);
        let repeated = answer
            .booked_before
            .unwrap_or_else(|| recorded < self.began.as_ref().map(at));
        if repeated {
            self.tally.repeated += 1;
        } else {
            self.tally.booked += 1;
        }
        let payout = answer.ticket.as_ref().map(|ticket| ticket.payout.clone());
        let mut told = format!(
            "{name}: {}, entry {}",
            if repeated { "booked before" } else { "booked" },
            answer.recorded.entry_id
        );
        if let Some(payout) = payout {
            let _ = write!(told, ", payout {}", show::money(payout.as_ref()));
        }
        let notices = answer.notices.clone();
        let ids = answer.ids();
        if !ids.lots.is_empty() {
            let _ = write!(told, ", lots {}", ids.lots.join(" "));
        }
        if !ids.hold.is_empty() {
            let _ = write!(told, ", hold {}", ids.hold);
        }
        self.say(&told)?;
        for notice in notices {
            if notice.kind() == v1::NoticeKind::Caution {
                self.cautions.insert(notice.text);
            } else {
                self.say(&format!("    {}", notice.text))?;
            }
        }
        self.progress();
        Ok(())
    }

    fn fail(
        &mut self,
        name: &str,
        written: &Written,
        why: &str,
        unsent: bool,
    ) -> Result<(), Trouble> {
        if unsent {
            self.tally.unsent += 1;
        } else {
            self.tally.refused += 1;
        }
        if let Some(failed) = &mut self.failed {
            failed
                .put(written, why)
                .map_err(|error| Trouble::File(format!("the file of the failed: {error}")))?;
        }
        self.progress();
        // Where nobody answers any more it is said once, at the end.
        if unsent && self.tally.unsent > 1 {
            return Ok(());
        }
        self.say(&format!("{name}: {why}"))
    }

    fn say(&mut self, line: &str) -> Result<(), Trouble> {
        if self.quiet {
            return Ok(());
        }
        writeln(self.terminal.out, &format!("  {line}"))
    }

    fn progress(&mut self) {
        let items = self.tally.items();
        if items.is_multiple_of(PROGRESS_EVERY)
            && let Some(watched) = &mut self.terminal.progress
        {
            // Somebody may have stopped watching; the deeds go on.
            let _ = write!(watched, "\r{items} deeds sent ").and_then(|()| watched.flush());
        }
    }

    fn finish(mut self, name: &str, broken: Option<String>) -> Result<String, Trouble> {
        if let Some(failed) = &mut self.failed {
            failed
                .done()
                .map_err(|error| Trouble::File(format!("the file of the failed: {error}")))?;
        }
        if let Some(watched) = &mut self.terminal.progress
            && self.tally.items() >= PROGRESS_EVERY
        {
            let _ = write!(watched, "\r                         \r");
        }
        let whole = self.tally.refused == 0 && self.tally.unsent == 0 && broken.is_none();
        let told = if self.quiet {
            let ids = serde_json::to_value(self.week.ids())
                .map_err(|error| Trouble::File(error.to_string()))?;
            let sum = serde_json::json!({
                "booked": self.tally.booked,
                "repeated": self.tally.repeated,
                "refused": self.tally.refused,
                "notSent": self.tally.unsent,
                "labels": ids,
            });
            format!("{sum:#}\n")
        } else {
            let mut page = Page::default();
            page.line(format!("{}.", self.tally.text()));
            if !self.cautions.is_empty() {
                page.heading("Cautions");
                for caution in &self.cautions {
                    page.paragraph(caution);
                }
            }
            page.done()
        };
        if whole {
            return Ok(told);
        }
        writeln(self.terminal.out, told.trim_end())?;
        Err(Trouble::Partly(match broken {
            Some(why) => format!("{name}: {why}; nothing after it was read"),
            None => format!("{name}: {}", self.tally.text()),
        }))
    }
}

fn writeln(out: &mut (dyn std::io::Write + std::marker::Send), line: &str) -> Result<(), Trouble> {
    match writeln!(out, "{line}") {
        // Whoever read along has seen enough; the deeds go on.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        written => written.map_err(|error| Trouble::File(error.to_string())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_says_what_became_of_every_deed() {
        let mut tally = Tally {
            booked: 1,
            ..Tally::default()
        };
        assert_eq!(tally.text(), "1 deed booked");
        tally.repeated = 3;
        tally.refused = 2;
        tally.unsent = 4;
        assert_eq!(
            tally.text(),
            "1 deed booked, 3 booked before and not again, 2 refused, 4 not sent"
        );
        assert_eq!(tally.items(), 10);
    }
}
