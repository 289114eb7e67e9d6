//! What becomes of fish on hand: holds, releases, regrades, movements, customer
//! returns and counts.
//!
//! Every deed names a part and a weight; the part keeps its number and nothing
//! splits but a hold, which moves weight to a held sibling. What happened is
//! booked even where the book says there was not enough. Makings have a file of
//! their own, [`crate::making`]; drip and what is missing are worked out by the
//! night, in [`crate::balance`].

use std::fmt;

use crate::fish::{Condition, Grade, Outlet, Storage, coded};
use crate::ids::{DayNumber, EntryId, LotCode, PartId};
use crate::making::Making;
use crate::money::{Money, UnitPrice};
use crate::office::Settings;
use crate::receiving::HoldCause;
use crate::ticket::{Notice, Temperature};
use crate::weight::{Reading, Weight};

/// A part as somebody names it: the number may be left out only where the lot
/// has one open part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PartRef {
    /// The lot.
    pub lot: LotCode,
    /// Number of the part in it, from 1.
    pub part: Option<i64>,
}

/// Sets weight of a part aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HoldAsked {
    /// Which part.
    pub part: PartRef,
    /// How much; absent is all that is left by the book.
    pub weight: Option<Reading>,
    /// Why.
    pub reason: String,
    /// What for.
    pub cause: Option<HoldCause>,
    /// Microseconds since 1970 UTC; absent is now, here and below.
    pub happened_us: Option<i64>,
}

/// What a hold set aside. Its id is the entry's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Held {
    /// Part it came from.
    pub from: PartId,
    /// The held part.
    pub held: PartId,
    /// How much.
    pub weight: Weight,
    /// The pay that is not owed meanwhile.
    pub pay: Money,
}

/// Which hold: a deed of its own, or a line of a ticket that was taken in held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HoldId {
    /// Entry id of the hold, or of the ticket.
    pub entry: i64,
    /// Number of the ticket's line; 0 for a hold that is a deed of its own.
    pub line: i64,
}

impl HoldId {
    /// Reads `<entry id>` or `<ticket id>-<line>`.
    #[must_use]
    pub fn parse(text: &str) -> Option<HoldId> {
        let (entry, line) = text.split_once('-').unwrap_or((text, "0"));
        let sound =
            line == "0" && !text.contains('-') || line.starts_with(|c| matches!(c, '1'..='9'));
        let line = if sound {
            line.parse().ok()?
        } else {
            return None;
        };
        Some(HoldId {
            entry: EntryId::parse(entry)?.number(),
            line,
        })
    }
}

impl fmt::Display for HoldId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => write!(f, "{}", self.entry),
            line => write!(f, "{}-{line}", self.entry),
        }
    }
}

/// Gives back what a hold took.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReleaseAsked {
    /// Which hold.
    pub hold: HoldId,
    /// Why.
    pub reason: String,
    /// When.
    pub happened_us: Option<i64>,
}

/// What a release gave back: exactly what the hold took.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Released {
    /// The held part it leaves.
    pub from: PartId,
    /// The part it goes to.
    pub part: PartId,
    /// How much.
    pub weight: Weight,
    /// The pay owed again.
    pub pay: Money,
}

/// Moves weight to another grade or condition; never pay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RegradeAsked {
    /// Which part.
    pub part: PartRef,
    /// How much; absent is all that is left by the book.
    pub weight: Option<Reading>,
    /// Absent keeps the grade.
    pub grade: Option<Grade>,
    /// Absent keeps the condition.
    pub condition: Option<Condition>,
    /// Why.
    pub reason: String,
    /// When.
    pub happened_us: Option<i64>,
}

/// What a regrade moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Regraded {
    /// Part it left.
    pub from: PartId,
    /// Part it went to.
    pub part: PartId,
    /// How much.
    pub weight: Weight,
}

coded! {
    /// When the cause arose for which held fish is thrown out.
    DiscardCause {
        /// Before it was handed over: it is not paid.
        BeforeHandOver = 1 "before hand-over",
        /// After it was handed over: its pay stands, and the buyer bears the loss.
        AfterHandOver = 2 "after hand-over",
    }
}

/// Weight leaving for an outlet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MovementAsked {
    /// Site number.
    pub site: i64,
    /// Where it goes.
    pub outlet: Outlet,
    /// At least one.
    pub taken: Vec<Taken>,
    /// Party that received it; empty where nobody did.
    pub counterparty: String,
    /// Asked for with a discard.
    pub reason: String,
    /// Of held fish that is thrown out; absent is before hand-over.
    pub cause: Option<DiscardCause>,
    /// When it left.
    pub temperature: Option<Temperature>,
    /// What was charged; carried.
    pub price: Option<UnitPrice>,
    /// Plan line it carries out, or empty.
    pub plan_line: String,
    /// When.
    pub happened_us: Option<i64>,
}

/// Weight taken from a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Which part.
    pub part: PartRef,
    /// As weighed.
    pub weight: Reading,
    /// Nothing is left: a count of 0 after it.
    pub emptied: bool,
}

/// What a movement took.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moved {
    /// In the order asked.
    pub taken: Vec<TakenFrom>,
    /// Pay of held fish that became owed although the fish was thrown out; the buyer
    /// bears it.
    pub buyers_loss: Option<Money>,
    /// Cautions and warnings; they never block.
    pub notices: Vec<Notice>,
}

/// Weight as it left a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TakenFrom {
    /// The part.
    pub part: PartId,
    /// How much.
    pub weight: Weight,
    /// A count of 0 after it.
    pub emptied: bool,
}

/// Fish a customer brought back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReturnAsked {
    /// Entry id of the movement it came back from.
    pub movement: i64,
    /// Part it had left.
    pub part: PartRef,
    /// As weighed.
    pub weight: Reading,
    /// Why.
    pub reason: String,
    /// When it came back.
    pub temperature: Option<Temperature>,
    /// When.
    pub happened_us: Option<i64>,
}

/// What came back; it is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Returned {
    /// The held part it went to.
    pub held: PartId,
    /// Outlet it came back from.
    pub outlet: Outlet,
    /// How much.
    pub weight: Weight,
}

/// What was still on ice, weighed at close without looking at the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountAsked {
    /// Site number.
    pub site: i64,
    /// Business day it closes.
    pub closes: DayNumber,
    /// Parts counted alone.
    pub counted: Vec<CountedPart>,
    /// One bin of several parts: pooled, and the pool counted.
    pub pool: Option<PoolAsked>,
    /// When.
    pub happened_us: Option<i64>,
}

/// A part and what was found of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountedPart {
    /// Which part.
    pub part: PartRef,
    /// As weighed; 0 is emptied.
    pub weight: Reading,
}

/// A bin of several parts and what was found in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PoolAsked {
    /// At least one part.
    pub parts: Vec<PartRef>,
    /// What the bin weighed.
    pub weight: Reading,
    /// How the bin is kept.
    pub storage: Option<Storage>,
    /// Grade of the pool, or none.
    pub grade: Grade,
}

/// What a count recorded. What was missing is the night's to work out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountDone {
    /// Parts counted alone, in the order asked.
    pub counted: Vec<Found>,
    /// The bin, where there was one.
    pub pool: Option<PoolDone>,
}

/// A part and the weight found of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// The part.
    pub part: PartId,
    /// What was there.
    pub weight: Weight,
}

/// A bin pooled and counted. The pool is part 1 of the only lot of its entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PoolDone {
    /// The pool, as a making: what went in by the book.
    pub making: Making,
    /// What was there.
    pub weight: Weight,
}

/// Something that happened to the weight of one part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StockEvent {
    /// Weighed in, made, brought back, or moved here from a sibling.
    In(Weight),
    /// Left: sold, cut, or moved to a sibling.
    Out {
        /// How much.
        weight: Weight,
        /// A count of 0 after it.
        emptied: bool,
    },
    /// Counted.
    Count(Weight),
}

/// An event of a part with its place in the order of things.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StockStep {
    /// When it happened, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Entry that says so.
    pub entry: i64,
    /// What.
    pub event: StockEvent,
}

/// How a part stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Standing {
    /// The last count, and what came and went since; drip not taken off. It is
    /// negative where more went than there was.
    pub left: Weight,
    /// All that ever came in.
    pub came_in: Weight,
    /// Emptied, counted as 0, or so little left after a movement that it counts
    /// as 0.
    pub finished: bool,
}

/// How a part stands after its events, which may come in any order: they are
/// taken by when they happened, then by entry, then as given.
#[must_use]
pub fn standing(steps: &[StockStep], settings: &Settings) -> Standing {
    let mut steps = steps.to_vec();
    steps.sort_by_key(|step| (step.happened_us, step.entry));
    steps.iter().fold(Standing::default(), |now, step| {
        now.after(step.event, settings)
    })
}

impl Standing {
    fn after(self, event: StockEvent, settings: &Settings) -> Standing {
        match event {
            StockEvent::In(weight) => Standing {
                left: add(self.left, weight),
                came_in: add(self.came_in, weight),
                finished: false,
            },
            StockEvent::Out { weight, emptied } => {
                let left = sub(self.left, weight);
                let finished = emptied || is_finished(left, self.came_in, settings);
                Standing {
                    left: if finished { Weight::ZERO } else { left },
                    finished,
                    ..self
                }
            }
            StockEvent::Count(weight) => Standing {
                left: weight,
                finished: weight.is_zero(),
                ..self
            },
        }
    }
}

/// Whether a part of which `left` is left after a movement is finished: so
/// little that it counts as 0.
///
/// Exactly the limit is finished. A negative book is not: more went than there
/// was, and only a count can end that.
#[must_use]
pub fn is_finished(left: Weight, came_in: Weight, settings: &Settings) -> bool {
    !left.is_negative() && left <= next_to_nothing(came_in, settings)
}

/// So little of what came in that it counts as nothing.
#[must_use]
pub fn next_to_nothing(came_in: Weight, settings: &Settings) -> Weight {
    settings
        .finished_weight()
        .max(came_in.millionths(settings.finished_ppm()))
}

/// What was there as a day ended, by a count that was taken after it: what was
/// counted, with what went out in between and without what came in.
///
/// In between is from the day's end, which is in, up to the count, which is not, and
/// by deeds of later days: those of the day itself are walked through with it.
#[must_use]
pub fn as_day_ended(
    counted: Weight,
    counted_us: i64,
    day: DayNumber,
    end_us: i64,
    steps: &[StockStep],
) -> Weight {
    steps
        .iter()
        .filter(|step| step.is_after(day, end_us) && step.happened_us < counted_us)
        .fold(counted, |there, step| match step.event {
            StockEvent::In(weight) => sub(there, weight),
            StockEvent::Out { weight, .. } => add(there, weight),
            StockEvent::Count(_) => there,
        })
}

impl StockStep {
    /// Whether it moved weight after a day, which ended at `end_us`, was over.
    #[must_use]
    pub fn is_after(&self, day: DayNumber, end_us: i64) -> bool {
        let of_later = EntryId::new(self.entry).is_some_and(|entry| entry.day() > day);
        of_later && self.happened_us >= end_us && !matches!(self.event, StockEvent::Count(_))
    }
}

/// The pay that a hold of `weight` takes out of a part which has `pay_left` for
/// `weight_left`: its share, half up to the cent, and all of it where all of
/// the weight or more is held. `None` where nothing is left to share.
#[must_use]
pub fn hold_share(pay_left: Money, weight_left: Weight, weight: Weight) -> Option<Money> {
    if weight_left <= Weight::ZERO {
        return None;
    }
    if weight >= weight_left {
        return Some(pay_left);
    }
    pay_left.share(weight, weight_left)
}

pub(crate) fn add(a: Weight, b: Weight) -> Weight {
    Weight::from_units(a.units().saturating_add(b.units()))
}

pub(crate) fn sub(a: Weight, b: Weight) -> Weight {
    Weight::from_units(a.units().saturating_sub(b.units()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::money::Currency;
    use crate::weight::{ReadingSource, WeightUnit};

    fn lb(text: &str) -> Weight {
        match text.strip_prefix('-') {
            Some(rest) => sub(Weight::ZERO, lb(rest)),
            None => WeightUnit::Lb.weigh(text).unwrap_or_default(),
        }
    }

    /// "in 40", "out 12", "emptied 5", "count 3", one after another.
    fn told(story: &str) -> Vec<StockStep> {
        story
            .split(", ")
            .zip(1..)
            .map(|(word, n)| {
                let (what, weight) = word.split_once(' ').unwrap_or((word, "0"));
                let weight = lb(weight);
                let event = match what {
                    "in" => StockEvent::In(weight),
                    "out" => StockEvent::Out {
                        weight,
                        emptied: false,
                    },
                    "emptied" => StockEvent::Out {
                        weight,
                        emptied: true,
                    },
                    "count" => StockEvent::Count(weight),
                    other => panic!("{other}"),
                };
                StockStep {
                    happened_us: n,
                    entry: n,
                    event,
                }
            })
            .collect()
    }

    #[test]
    fn what_is_left_is_the_last_count_less_what_went_since() {
        let settings = Settings::default();
        for (story, left, finished) in [
            ("in 40", "40", false),
            ("in 40, out 12", "28", false),
            ("in 40, out 12, count 27.5", "27.5", false),
            ("in 40, count 27.5, out 7.5", "20", false),
            ("in 40, count 0", "0", true),
            ("in 40, emptied 39.2", "0", true),
            // 0.5 % of 40 lb is 0.20 lb, above the 0.10 lb.
            ("in 40, out 39.799", "0.201", false),
            ("in 40, out 39.8", "0", true),
            // 0.5 % of 10 lb is below the 0.10 lb.
            ("in 10, out 9.899", "0.101", false),
            ("in 10, out 9.9", "0", true),
            ("in 10, out 10", "0", true),
            // Beyond what is left is booked, and stays open.
            ("in 10, out 10.001", "-0.001", false),
            ("in 10, out 13", "-3", false),
            ("in 10, emptied 13", "0", true),
            // Little is left, but nothing moved: only a movement finishes.
            ("in 10, count 0.05", "0.05", false),
            // A movement out of a finished part reopens it.
            ("in 10, out 10, out 2", "-2", false),
            ("in 10, out 10, in 2", "2", false),
            ("out 2, in 2", "0", false),
        ] {
            let got = standing(&told(story), &settings);
            assert_eq!((got.left, got.finished), (lb(left), finished), "{story}");
        }
    }

    #[test]
    fn a_count_after_the_day_is_worked_back_to_its_end() {
        // Monday ends at 100. A count for it is taken at 300; Tuesday's entries begin
        // with another day.
        let (monday, tuesday) = (20_310_505, 20_310_506);
        let entry = |day: i64| day * 100_000_000_000 + 10_000_001;
        let out = |weight| StockEvent::Out {
            weight: lb(weight),
            emptied: false,
        };
        let emptied = |weight| StockEvent::Out {
            weight: lb(weight),
            emptied: true,
        };
        let (came, counted) = (
            |weight| StockEvent::In(lb(weight)),
            |weight| StockEvent::Count(lb(weight)),
        );
        for (found, steps, there) in [
            // Nothing moved.
            ("38", vec![(monday, 10, came("40"))], "38"),
            // The last instant of Monday, and the first of Tuesday.
            ("28", vec![(monday, 99, out("10"))], "28"),
            ("28", vec![(tuesday, 100, out("10"))], "38"),
            // The last before the count, and the one of the count.
            ("28", vec![(tuesday, 299, out("10"))], "38"),
            ("28", vec![(tuesday, 300, out("10"))], "28"),
            ("28", vec![(tuesday, 301, out("10"))], "28"),
            // Came back, went, went with nothing left.
            ("48", vec![(tuesday, 200, came("10"))], "38"),
            (
                "33",
                vec![(tuesday, 200, came("5")), (tuesday, 201, out("10"))],
                "38",
            ),
            ("0", vec![(tuesday, 200, emptied("37.5"))], "37.5"),
            // A count before it moves nothing.
            (
                "28",
                vec![(tuesday, 150, out("10")), (tuesday, 200, counted("29"))],
                "38",
            ),
            // A bin pooled in the morning for Monday is walked through with Monday.
            ("0", vec![(monday, 200, out("38"))], "0"),
            // More came than is there: for whoever asks to refuse.
            ("9.95", vec![(tuesday, 200, came("10"))], "-0.05"),
        ] {
            let steps: Vec<StockStep> = steps
                .into_iter()
                .map(|(day, happened_us, event)| StockStep {
                    happened_us,
                    entry: entry(day),
                    event,
                })
                .collect();
            let got = as_day_ended(lb(found), 300, monday, 100, &steps);
            assert_eq!(got, lb(there), "{found} {steps:?}");
        }
    }

    #[test]
    fn a_hold_id_reads_back_and_a_wrong_one_is_none() {
        let id = 2_031_050_200_010_000_001;
        for (text, outcome) in [
            ("2031050200010000001", Some(HoldId { entry: id, line: 0 })),
            ("2031050200010000001-3", Some(HoldId { entry: id, line: 3 })),
            ("2031050200010000001-0", None),
            ("2031050200010000001-03", None),
            ("2031050200010000001-", None),
            ("2031050200010000001-+3", None),
            ("203105020001000000-3", None),
            ("", None),
        ] {
            assert_eq!(HoldId::parse(text), outcome, "{text:?}");
            if let Some(hold) = outcome {
                assert_eq!(hold.to_string(), text);
            }
        }
    }

    #[test]
    fn the_finished_limits_are_the_sites_own() {
        let settings = Settings {
            finished_weight: Reading::new("0.02", WeightUnit::Lb, "", ReadingSource::Keyed).ok(),
            finished_ppm: Some(0),
            ..Settings::default()
        };
        assert!(standing(&told("in 40, out 39.98"), &settings).finished);
        assert!(!standing(&told("in 40, out 39.979"), &settings).finished);
    }

    #[test]
    fn events_are_taken_by_when_they_happened_then_by_entry() {
        let settings = Settings::default();
        let mut steps = told("in 40, count 30, out 5");
        // The movement happened before the count although it was written after.
        for step in &mut steps {
            if matches!(step.event, StockEvent::Out { .. }) {
                step.happened_us = 1;
            }
        }
        assert_eq!(standing(&steps, &settings).left, lb("30"));
        steps.reverse();
        assert_eq!(standing(&steps, &settings).left, lb("30"));
    }

    #[test]
    fn a_hold_takes_its_share_of_the_pay() {
        let usd = Currency::new("USD").map(|c| move |minor| Money::new(minor, c));
        let Some(usd) = usd else { panic!("USD") };
        for (pay, left, weight, share) in [
            (10_000, "40", "10", Some(2_500)),
            // 1.00 for 3 lb: a third is 33.33 cents, two thirds 66.67.
            (100, "3", "1", Some(33)),
            (100, "3", "2", Some(67)),
            // Half a cent goes up.
            (1, "2", "1", Some(1)),
            (10_000, "40", "40", Some(10_000)),
            (10_000, "40", "41", Some(10_000)),
            (10_000, "40", "0", Some(0)),
            (0, "40", "10", Some(0)),
            (10_000, "0", "10", None),
            (10_000, "-3", "10", None),
        ] {
            let got = hold_share(usd(pay), lb(left), lb(weight));
            assert_eq!(got, share.map(usd), "{pay} for {left} lb, {weight} lb held");
        }
    }
}
