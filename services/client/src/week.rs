//! Sends a file of deeds, one after the other.
//!
//! A file is a JSON list of steps. A step has a name (`label`) and one deed, as
//! canonical protobuf JSON of `weighhouse.v1.Deed`. Optional are `at` (what a
//! simulated clock shall show), `note` (what the step is for), `again`
//! (the same request is sent a second time, and must get the same answer) and
//! `refused` (the rule by which the service must say no).
//!
//! Ids are the book's, so a file cannot know them. A string of a deed may hold
//! placeholders, filled in from earlier answers:
//!
//! | placeholder | stands for |
//! | --- | --- |
//! | `{{entry:LABEL}}` | id of the entry |
//! | `{{ticket:LABEL}}` | id of the weigh-in's ticket |
//! | `{{lot:LABEL/N}}` | code of its N-th bought lot, or N-th new lot |
//! | `{{hold:LABEL}}` | id of the hold |
//! | `{{hold:LABEL/N}}` | id of the hold on the ticket's line N |
//! | `{{number:LABEL/N}}` | N-th lot number of those asked ahead |

use std::collections::BTreeMap;

use proto::v1;
use proto::v1::deed::Deed;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;

use crate::json;
use crate::service::Service;
use crate::show::word;
use crate::trouble::Trouble;

/// How deeds are sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Way {
    /// Each by its unary method.
    #[default]
    Unary,
    /// One after the other in a stream, each awaited before the next.
    CatchUp,
}

/// What the book called the things of one step.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Ids {
    /// Id of the entry; empty when the step was refused, as it had to be.
    pub entry: String,
    /// Id of the ticket; empty when there is none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub ticket: String,
    /// Codes of the lots that were bought or made, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lots: Vec<String>,
    /// Plain word of the making, such as "dress"; empty when it is none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub making: String,
    /// Id of the hold; empty when there is none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub hold: String,
    /// Ids of the holds on a ticket, by number of the line.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub holds: BTreeMap<i32, String>,
    /// Lot numbers asked ahead, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub numbers: Vec<String>,
}

/// Where a file of steps went wrong.
#[derive(Debug, thiserror::Error)]
#[error("{file}: {}{trouble}", step(label))]
pub struct WeekError {
    /// Name of the file.
    pub file: String,
    /// Label of the step; empty when the file itself does not read.
    pub label: String,
    /// What went wrong there.
    pub trouble: Box<StepTrouble>,
}

fn step(label: &str) -> String {
    if label.is_empty() {
        String::new()
    } else {
        format!("step {label}: ")
    }
}

/// What can go wrong with a step.
#[derive(Debug, thiserror::Error)]
pub enum StepTrouble {
    /// The file is not a list of steps.
    #[error("{0}")]
    NotSteps(String),
    /// Two steps have one label.
    #[error("another step has this label")]
    SameLabel,
    /// The instant does not read.
    #[error("at: {0}")]
    At(String),
    /// The deed does not read.
    #[error("deed.{0}")]
    Deed(#[from] json::BadJson),
    /// A placeholder stands for nothing.
    #[error("{{{{{0}}}}} stands for nothing known by now")]
    Placeholder(String),
    /// The service said no, or nothing.
    #[error(transparent)]
    Service(#[from] Trouble),
    /// A deed that had to be refused was booked, or refused by another rule.
    #[error("it had to be refused by {rule}, and {instead}")]
    NotRefused {
        /// Rule the step names.
        rule: String,
        /// What happened.
        instead: String,
    },
    /// The same request was booked as another deed.
    #[error("sent again it was booked again")]
    BookedTwice,
    /// The same request got two answers.
    #[error("sent again it was answered differently: {second} after {first}")]
    AnsweredTwice {
        /// First answer.
        first: String,
        /// Second answer.
        second: String,
    },
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Step {
    #[serde(default)]
    pub(crate) at: Option<String>,
    #[serde(default)]
    pub(crate) label: String,
    pub(crate) deed: Value,
    #[serde(default)]
    pub(crate) again: bool,
    #[serde(default, rename = "note")]
    _note: String,
    #[serde(default)]
    pub(crate) refused: Option<String>,
    /// Why it failed when it was sent before.
    #[serde(default, rename = "failed")]
    _failed: Option<String>,
}

/// What was sent, and what the book called it.
#[derive(Debug, Default)]
pub struct Week {
    ids: BTreeMap<String, Ids>,
}

impl Week {
    /// By label.
    #[must_use]
    pub fn ids(&self) -> &BTreeMap<String, Ids> {
        &self.ids
    }

    /// Sends the steps of one file and gives their number. `file` names it in
    /// errors.
    ///
    /// # Errors
    ///
    /// The first step that does not come out as written. What was booked before
    /// it stays booked.
    pub async fn send(
        &mut self,
        service: &Service,
        file: &str,
        text: &str,
        way: Way,
    ) -> Result<usize, WeekError> {
        let wrong = |label: &str, trouble: StepTrouble| WeekError {
            file: file.to_owned(),
            label: label.to_owned(),
            trouble: Box::new(trouble),
        };
        let steps = steps(text).map_err(|trouble| wrong("", trouble))?;
        let mut stream = match way {
            Way::Unary => None,
            Way::CatchUp => Some(
                Stream::open(service)
                    .await
                    .map_err(|t| wrong("", t.into()))?,
            ),
        };
        let sent = steps.len();
        for step in steps {
            let label = step.label.clone();
            self.send_step(service, stream.as_mut(), step)
                .await
                .map_err(|trouble| wrong(&label, trouble))?;
        }
        Ok(sent)
    }

    /// Sends one step, and keeps what the book called its things under its label.
    /// Nothing is answered where the step had to be refused, and was.
    pub(crate) async fn send_step(
        &mut self,
        service: &Service,
        mut stream: Option<&mut Stream>,
        step: Step,
    ) -> Result<Option<Answer>, StepTrouble> {
        if !step.label.is_empty() && self.ids.contains_key(&step.label) {
            return Err(StepTrouble::SameLabel);
        }
        if let Some(at) = &step.at {
            let now = Some(crate::instant(at).map_err(StepTrouble::At)?);
            service.set_clock(v1::SetClockRequest { now }).await?;
        }

        let deed: v1::Deed = json::read(&filled_in(step.deed, &self.ids)?)?;
        let first = send(service, stream.as_deref_mut(), deed.clone()).await;
        if let Some(rule) = step.refused {
            return match first {
                Err(Trouble::Refused(refused)) if refused.reason == rule => {
                    self.keep(step.label, Ids::default());
                    Ok(None)
                }
                Err(other) => Err(StepTrouble::NotRefused {
                    rule,
                    instead: format!("it was not: {other}"),
                }),
                Ok(_) => Err(StepTrouble::NotRefused {
                    rule,
                    instead: "it was booked".to_owned(),
                }),
            };
        }
        let first = first?;
        if step.again {
            let second = send(service, stream, deed).await?;
            if second.booked_before == Some(false) {
                return Err(StepTrouble::BookedTwice);
            }
            // That it is a repeat is all that may differ.
            let second = Answer {
                booked_before: first.booked_before,
                ..second
            };
            if first != second {
                return Err(StepTrouble::AnsweredTwice {
                    first: format!("{first:?}"),
                    second: format!("{second:?}"),
                });
            }
        }
        self.keep(step.label, first.clone().ids());
        Ok(Some(first))
    }

    /// What has no label is not asked for later.
    fn keep(&mut self, label: String, ids: Ids) {
        if !label.is_empty() {
            self.ids.insert(label, ids);
        }
    }

    /// The deed of an item with every placeholder filled in that is known by now.
    pub(crate) fn known_filled_in(&self, json: Value) -> Value {
        match json {
            Value::String(text) => Value::String(fill_in(&text, &self.ids).unwrap_or(text)),
            Value::Array(items) => {
                let items = items.into_iter();
                Value::Array(items.map(|item| self.known_filled_in(item)).collect())
            }
            Value::Object(fields) => {
                let fields = fields.into_iter();
                let filled = fields.map(|(name, value)| (name, self.known_filled_in(value)));
                Value::Object(filled.collect())
            }
            plain => plain,
        }
    }
}

/// Reads one step.
pub(crate) fn step_of(value: Value) -> Result<Step, String> {
    let mut track = serde_path_to_error::Track::new();
    Step::deserialize(serde_path_to_error::Deserializer::new(value, &mut track))
        .map_err(|error| format!("{}: {error}", track.path()))
}

/// Reads a file of steps.
fn steps(text: &str) -> Result<Vec<Step>, StepTrouble> {
    let mut read = serde_json::Deserializer::from_str(text);
    let mut track = serde_path_to_error::Track::new();
    Vec::deserialize(serde_path_to_error::Deserializer::new(
        &mut read, &mut track,
    ))
    .map_err(|error| StepTrouble::NotSteps(format!("{}: {error}", track.path())))
}

/// An answer to a deed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    pub(crate) recorded: v1::Recorded,
    pub(crate) ticket: Option<v1::Ticket>,
    /// What is said to the person who did it.
    pub(crate) notices: Vec<v1::Notice>,
    /// Booked by an earlier request; only a stream says it.
    pub(crate) booked_before: Option<bool>,
    lots: Vec<String>,
    making: String,
    hold: String,
    numbers: Vec<String>,
}

impl Answer {
    pub(crate) fn ids(self) -> Ids {
        let holds = self.ticket.iter().flat_map(|ticket| &ticket.lines);
        Ids {
            entry: self.recorded.entry_id,
            holds: holds
                .filter(|line| !line.hold_id.is_empty())
                .map(|line| (line.n, line.hold_id.clone()))
                .collect(),
            ticket: self.ticket.map(|ticket| ticket.id).unwrap_or_default(),
            lots: self.lots,
            making: self.making,
            hold: self.hold,
            numbers: self.numbers,
        }
    }

    fn plain(recorded: Option<v1::Recorded>) -> Result<Answer, Trouble> {
        Ok(Answer {
            recorded: recorded.ok_or(Trouble::Unreadable("it does not say what was recorded"))?,
            ticket: None,
            notices: Vec::new(),
            booked_before: None,
            lots: Vec::new(),
            making: String::new(),
            hold: String::new(),
            numbers: Vec::new(),
        })
    }

    /// A weigh-in's entry is its ticket.
    fn ticket(ticket: Option<v1::Ticket>) -> Result<Answer, Trouble> {
        let ticket = crate::ticket::present(ticket)?;
        Ok(Answer {
            recorded: v1::Recorded {
                entry_id: ticket.id.clone(),
                recorded_at: ticket.recorded_at,
                day: ticket.day,
            },
            lots: codes(ticket.lots.iter().map(|lot| &lot.lot_code)),
            notices: ticket.notices.clone(),
            booked_before: None,
            ticket: Some(ticket),
            making: String::new(),
            hold: String::new(),
            numbers: Vec::new(),
        })
    }
}

impl Answer {
    /// What a stream answers to a deed that it booked.
    fn outcome(outcome: v1::CatchUpResponse) -> Result<Answer, Trouble> {
        let booked_before = Some(outcome.booked_before);
        if outcome.ticket.is_some() {
            return Ok(Answer {
                booked_before,
                ..Answer::ticket(outcome.ticket)?
            });
        }
        Ok(Answer {
            booked_before,
            notices: outcome.notices,
            lots: outcome.lot_codes,
            hold: outcome.hold_id,
            numbers: numbers(outcome.code_block.as_ref()),
            ..Answer::plain(outcome.recorded)?
        })
    }
}

/// Lot codes that are there.
fn codes<'a>(codes: impl Iterator<Item = &'a String>) -> Vec<String> {
    codes.filter(|code| !code.is_empty()).cloned().collect()
}

/// The numbers of a block, one by one.
fn numbers(block: Option<&v1::CodeBlock>) -> Vec<String> {
    let first = block.and_then(|block| block.first_number.parse().ok());
    let last = block.and_then(|block| block.last_number.parse().ok());
    let (Some(first), Some(last)) = (first, last) else {
        return Vec::new();
    };
    let numbers: std::ops::RangeInclusive<i64> = first..=last;
    numbers.map(|number| number.to_string()).collect()
}

/// Sends one deed by the stream where there is one, else by its own method.
pub(crate) async fn send(
    service: &Service,
    stream: Option<&mut Stream>,
    deed: v1::Deed,
) -> Result<Answer, Trouble> {
    let deed = deed.deed.ok_or(Trouble::Unreadable("the deed is empty"))?;
    match (deed, stream) {
        (deed, Some(stream)) => stream.send(deed).await,
        (Deed::WeighIn(r), None) => Answer::ticket(service.record_weigh_in(r).await?.ticket),
        (Deed::VoidTicket(r), None) => Answer::plain(service.void_ticket(r).await?.recorded),
        (Deed::Hold(r), None) => {
            let answer = service.hold_part(r).await?;
            Ok(Answer {
                hold: answer.hold_id,
                ..Answer::plain(answer.recorded)?
            })
        }
        (Deed::Release(r), None) => Answer::plain(service.release_hold(r).await?.recorded),
        (Deed::Regrade(r), None) => Answer::plain(service.regrade_part(r).await?.recorded),
        (Deed::Movement(r), None) => {
            let answer = service.record_movement(r).await?;
            Ok(Answer {
                notices: answer.notices,
                ..Answer::plain(answer.recorded)?
            })
        }
        (Deed::CustomerReturn(r), None) => Answer::plain(service.record_return(r).await?.recorded),
        (Deed::Making(r), None) => {
            let answer = service.record_making(r).await?;
            let making = answer.making.unwrap_or_default();
            Ok(Answer {
                notices: answer.notices,
                lots: codes(making.outputs.iter().map(|output| &output.lot_code)),
                making: word!(MakingKind, making.kind),
                ..Answer::plain(answer.recorded)?
            })
        }
        (Deed::Count(r), None) => {
            let answer = service.record_count(r).await?;
            let pooled = !answer.pool_lot_code.is_empty();
            Ok(Answer {
                making: if pooled {
                    "pool".to_owned()
                } else {
                    String::new()
                },
                lots: codes([answer.pool_lot_code].iter()),
                ..Answer::plain(answer.recorded)?
            })
        }
        (Deed::Site(r), None) => Answer::plain(service.record_site(r).await?.recorded),
        (Deed::Party(r), None) => Answer::plain(service.record_party(r).await?.recorded),
        (Deed::Species(r), None) => Answer::plain(service.record_species(r).await?.recorded),
        (Deed::Scale(r), None) => Answer::plain(service.record_scale(r).await?.recorded),
        (Deed::Tote(r), None) => Answer::plain(service.record_tote(r).await?.recorded),
        (Deed::Device(r), None) => Answer::plain(service.record_device(r).await?.recorded),
        (Deed::Settings(r), None) => Answer::plain(service.record_settings(r).await?.recorded),
        (Deed::PriceList(r), None) => {
            let answer = service.post_price_list(r).await?;
            Ok(Answer {
                notices: answer.notices,
                ..Answer::plain(answer.recorded)?
            })
        }
        (Deed::RequestCodes(r), None) => {
            let answer = service.request_codes(r).await?;
            Ok(Answer {
                numbers: numbers(answer.block.as_ref()),
                ..Answer::plain(answer.recorded)?
            })
        }
        (Deed::Reprobe(r), None) => {
            let answer = service.record_reprobe(r).await?;
            Ok(Answer {
                notices: answer.notices,
                ..Answer::plain(answer.recorded)?
            })
        }
        (Deed::AcknowledgeFlag(r), None) => {
            Answer::plain(service.acknowledge_flag(r).await?.recorded)
        }
        (Deed::Reweigh(r), None) => Answer::plain(service.record_reweigh(r).await?.recorded),
        (Deed::Baseline(r), None) => Answer::plain(service.record_baseline(r).await?.recorded),
        (Deed::Room(r), None) => Answer::plain(service.record_room(r).await?.recorded),
        (Deed::Choice(r), None) => Answer::plain(service.record_choice(r).await?.recorded),
        (Deed::Plan(r), None) => Answer::plain(service.record_plan(r).await?.recorded),
        (Deed::AgreedPrice(r), None) => {
            Answer::plain(service.record_agreed_price(r).await?.recorded)
        }
        (Deed::Settle(r), None) => Answer::plain(service.settle(r).await?.recorded),
        (Deed::Advance(r), None) => Answer::plain(service.record_advance(r).await?.recorded),
        (Deed::Charge(r), None) => Answer::plain(service.record_charge(r).await?.recorded),
        (Deed::DrawerCount(r), None) => {
            Answer::plain(service.record_drawer_count(r).await?.recorded)
        }
        (Deed::Dispute(r), None) => Answer::plain(service.dispute_line(r).await?.recorded),
        (Deed::TakeBack(r), None) => Answer::plain(service.take_back(r).await?.recorded),
        (Deed::AnswerYield(r), None) => Answer::plain(service.answer_yield(r).await?.recorded),
        (Deed::AnswerDispute(r), None) => Answer::plain(service.answer_dispute(r).await?.recorded),
    }
}

/// A stream of deeds; outcomes come in their order.
pub(crate) struct Stream {
    server: String,
    deeds: mpsc::Sender<v1::CatchUpRequest>,
    outcomes: tonic::Streaming<v1::CatchUpResponse>,
}

impl Stream {
    pub(crate) async fn open(service: &Service) -> Result<Stream, Trouble> {
        let (deeds, queue) = mpsc::channel(1);
        Ok(Stream {
            server: service.server().to_owned(),
            outcomes: service.catch_up(ReceiverStream::new(queue)).await?,
            deeds,
        })
    }

    async fn send(&mut self, deed: Deed) -> Result<Answer, Trouble> {
        let making = match &deed {
            Deed::Making(making) => word!(MakingKind, making.kind),
            Deed::Count(count) if count.pool.is_some() => "pool".to_owned(),
            _ => String::new(),
        };
        self.put(deed).await?;
        Ok(Answer {
            making,
            ..self.next().await?
        })
    }

    fn ended(&self) -> Trouble {
        Trouble::NoAnswer {
            server: self.server.clone(),
            why: "the stream ended".to_owned(),
            request_id: String::new(),
        }
    }

    /// Sends a deed and does not wait for its outcome.
    pub(crate) async fn put(&mut self, deed: Deed) -> Result<(), Trouble> {
        let item = v1::catch_up_request::Item::Deed(v1::Deed { deed: Some(deed) });
        self.deeds
            .send(v1::CatchUpRequest { item: Some(item) })
            .await
            .map_err(|_| self.ended())
    }

    /// The next outcome.
    pub(crate) async fn next(&mut self) -> Result<Answer, Trouble> {
        let outcome = match self.outcomes.next().await {
            None => return Err(self.ended()),
            Some(Err(status)) => return Err(Trouble::from_status(&self.server, &status)),
            Some(Ok(outcome)) => outcome,
        };
        if outcome.code == 0 {
            return Answer::outcome(outcome);
        }
        if outcome.code == i32::from(tonic::Code::Unavailable) {
            return Err(Trouble::NoAnswer {
                server: self.server.clone(),
                why: outcome.message,
                request_id: outcome.request_id,
            });
        }
        Err(Trouble::Refused(crate::trouble::Refused {
            code: tonic::Code::from_i32(outcome.code),
            message: outcome.message,
            reason: outcome.reason,
            fields: codes([outcome.field].iter()),
        }))
    }
}

/// The deed with every placeholder filled in.
fn filled_in(json: Value, ids: &BTreeMap<String, Ids>) -> Result<Value, StepTrouble> {
    Ok(match json {
        Value::String(text) => Value::String(fill_in(&text, ids)?),
        Value::Array(items) => Value::Array(
            items
                .into_iter()
                .map(|item| filled_in(item, ids))
                .collect::<Result<_, _>>()?,
        ),
        Value::Object(fields) => Value::Object(
            fields
                .into_iter()
                .map(|(name, value)| Ok((name, filled_in(value, ids)?)))
                .collect::<Result<_, StepTrouble>>()?,
        ),
        plain @ (Value::Null | Value::Bool(_) | Value::Number(_)) => plain,
    })
}

fn fill_in(text: &str, ids: &BTreeMap<String, Ids>) -> Result<String, StepTrouble> {
    let mut filled = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("{{") {
        let (placeholder, after) = after
            .split_once("}}")
            .ok_or_else(|| StepTrouble::Placeholder(after.to_owned()))?;
        filled.push_str(before);
        filled.push_str(
            stands_for(placeholder, ids)
                .ok_or_else(|| StepTrouble::Placeholder(placeholder.to_owned()))?,
        );
        rest = after;
    }
    filled.push_str(rest);
    Ok(filled)
}

/// What the book called it; `None` where it has not, or not yet.
fn stands_for<'a>(placeholder: &str, ids: &'a BTreeMap<String, Ids>) -> Option<&'a str> {
    let (what, name) = placeholder.split_once(':')?;
    let (label, n) = match name.split_once('/') {
        Some((label, n)) => (label, Some(n)),
        None => (name, None),
    };
    let ids = ids.get(label)?;
    let found = match (what, n) {
        ("entry", None) => &ids.entry,
        ("ticket", None) => &ids.ticket,
        ("hold", None) => &ids.hold,
        ("hold", Some(line)) => ids.holds.get(&line.parse().ok()?)?,
        ("lot", Some(n)) => ids.lots.get(n.parse::<usize>().ok()?.checked_sub(1)?)?,
        ("number", Some(n)) => ids.numbers.get(n.parse::<usize>().ok()?.checked_sub(1)?)?,
        _ => return None,
    };
    (!found.is_empty()).then_some(found)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use serde_json::json;

    use super::*;

    fn known() -> BTreeMap<String, Ids> {
        let fri = Ids {
            entry: "2031050200010000003".to_owned(),
            ticket: "2031050200010000003".to_owned(),
            lots: vec![
                "20310502000100000031".to_owned(),
                "20310502000100000032".to_owned(),
            ],
            hold: String::new(),
            making: String::new(),
            holds: BTreeMap::from([(2, "hold-of-line-2".to_owned())]),
            numbers: Vec::new(),
        };
        let hold = Ids {
            entry: "2031050200010000004".to_owned(),
            hold: "hold-4".to_owned(),
            ..Ids::default()
        };
        let block = Ids {
            entry: "2031050200010000005".to_owned(),
            numbers: numbers(Some(&v1::CodeBlock {
                first_number: "2031050200010000006".to_owned(),
                last_number: "2031050200010000007".to_owned(),
                count: 2,
            })),
            ..Ids::default()
        };
        BTreeMap::from([
            ("fri-03".to_owned(), fri),
            ("hold-a".to_owned(), hold),
            ("block".to_owned(), block),
        ])
    }

    #[test]
    fn placeholders_stand_for_what_the_book_called_things() {
        // placeholder              stands for
        for (placeholder, stands_for) in [
            ("{{entry:hold-a}}", Some("2031050200010000004")),
            ("{{ticket:fri-03}}", Some("2031050200010000003")),
            ("{{lot:fri-03/1}}", Some("20310502000100000031")),
            ("{{lot:fri-03/2}}", Some("20310502000100000032")),
            ("{{lot:fri-03/3}}", None),
            ("{{lot:fri-03/0}}", None),
            ("{{lot:fri-03}}", None),
            ("{{hold:hold-a}}", Some("hold-4")),
            ("{{hold:fri-03/2}}", Some("hold-of-line-2")),
            ("{{hold:fri-03/1}}", None),
            ("{{hold:fri-03}}", None),
            ("{{number:block/2}}", Some("2031050200010000007")),
            ("{{number:block/3}}", None),
            ("{{number:block}}", None),
            ("{{ticket:hold-a}}", None),
            ("{{entry:sat-01}}", None),
            ("{{ticket:fri-03", None),
            ("from {{ticket:fri-03}}.", Some("from 2031050200010000003.")),
            ("nothing to fill in", Some("nothing to fill in")),
        ] {
            let filled = fill_in(placeholder, &known()).ok();
            assert_eq!(filled.as_deref(), stands_for, "{placeholder}");
        }
    }

    #[test]
    fn placeholders_are_filled_in_at_any_depth() {
        let deed = json!({"hold": {"part": {"lotCode": "{{lot:fri-03/2}}", "part": 1}}});
        let filled = filled_in(deed, &known()).unwrap();
        assert_eq!(filled["hold"]["part"]["lotCode"], "20310502000100000032");
        assert_eq!(filled["hold"]["part"]["part"], 1);
    }

    #[test]
    fn a_file_that_is_not_steps_says_where() {
        let text =
            r#"[{"at": "2031-05-02T14:32:10-04:00", "label": "a", "deed": {}, "agian": true}]"#;
        let error = steps(text).unwrap_err().to_string();
        assert!(error.starts_with("[0]"), "{error}");
        assert!(error.contains("agian"), "{error}");
        assert!(steps("{}").is_err());
    }

    #[test]
    fn an_error_names_file_step_and_field() {
        let bad = json::read::<v1::Deed>(&json!({"weighIn": {"lots": [{"specie": "PZO"}]}}));
        let error = WeekError {
            file: "days/2031-05-02.json".to_owned(),
            label: "fri-03".to_owned(),
            trouble: Box::new(bad.unwrap_err().into()),
        };
        let text = error.to_string();
        assert!(
            text.starts_with("days/2031-05-02.json: step fri-03: deed.weighIn.lots[0]"),
            "{text}"
        );
        assert!(text.contains("specie"), "{text}");
    }

    #[test]
    fn a_lot_without_a_code_does_not_count() {
        let lot = |code: &str| v1::TicketLot {
            lot_code: code.to_owned(),
            ..v1::TicketLot::default()
        };
        let answer = Answer::ticket(Some(v1::Ticket {
            id: "t".to_owned(),
            lots: vec![lot(""), lot("A"), lot("B")],
            lines: vec![v1::TicketLine {
                n: 3,
                hold_id: "h".to_owned(),
                ..v1::TicketLine::default()
            }],
            ..v1::Ticket::default()
        }));
        let ids = answer.unwrap().ids();
        assert_eq!(ids.lots, ["A", "B"]);
        assert_eq!(ids.holds, BTreeMap::from([(3, "h".to_owned())]));
        let json = serde_json::to_value(&ids).unwrap();
        assert_eq!(
            json,
            json!({"entry": "t", "ticket": "t", "lots": ["A", "B"], "holds": {"3": "h"}})
        );
    }
}
