//! The balance of one part over a business day.
//!
//! The book weight is what came in less what went out. Expected drip gathers
//! beside it and is posted only at a count: then E is what should have dripped
//! since the last count, and `U = book - E - count` is unaccounted, plus missing
//! and minus surplus. The count is the new book weight, so a pound is missing
//! once, on the day it is found. Without a count nothing is posted.
//!
//! Beside the weight goes its budget, what is not certain of it: each reading adds
//! its own, a count starts it anew, and where fish goes by the book the budget goes
//! along. How far U can be off is the budget of the book, the drip and the count
//! together ([`crate::uncertainty`]).
//!
//! Which parts there are, and what they were worth, is gathered in
//! [`crate::close`].

use crate::decimal;
use crate::office::{DripRate, Settings};
use crate::stock::{add, is_finished, next_to_nothing, sub};
use crate::uncertainty::{Budget, drip_of};
use crate::weight::Weight;

/// 10 ng x ppm x microseconds in 10 ng a day: a million ppm, a day of 24 hours.
const DRIP_SCALE: i128 = 1_000_000 * 86_400_000_000;

/// What a part holds.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Holding {
    /// Book weight, drip not taken off; negative where more went than there was.
    pub weight: Weight,
    /// Drip gathered since the last count: 10 ng x ppm a day x microseconds.
    pub drip: i128,
    /// All that ever came in.
    pub came_in: Weight,
    /// What `came_in` cost, minor units.
    pub cost_minor: i64,
    /// Since when it is set aside, microseconds since 1970 UTC; 0 when it is not.
    pub held_us: i64,
    /// What is not certain of the weight, and of the drip gathered on it.
    pub budget: Budget,
    /// When its earliest fish was harvested, microseconds since 1970 UTC; 0 where it is
    /// not known.
    pub harvested_us: i64,
}

/// Weight that comes into a part.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Coming {
    /// How much.
    pub weight: Weight,
    /// What it cost, minor units.
    pub cost_minor: i64,
    /// Drip gathered on it elsewhere: 10 ng x ppm a day x microseconds.
    pub drip: i128,
    /// What is not certain of it.
    pub budget: Budget,
    /// When its earliest fish was harvested; 0 where it is not known.
    pub harvested_us: i64,
}

/// The earlier of two times of harvest, where 0 is not known.
#[must_use]
pub fn earlier(a_us: i64, b_us: i64) -> i64 {
    match (a_us, b_us) {
        (0, known) | (known, 0) => known,
        (a_us, b_us) => a_us.min(b_us),
    }
}

/// What a part that hands over weight posts, and what goes along with the weight.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct HandedOver {
    /// Posted where nothing is left.
    pub reckoned: Reckoned,
    /// Drip gathered on it.
    pub drip: i128,
    /// What is not certain of it.
    pub budget: Budget,
}

impl Holding {
    /// Whether anything ever came in.
    #[must_use]
    pub fn held_anything(&self) -> bool {
        !self.came_in.is_zero()
    }

    /// What `weight` of it cost, minor units, half up; a difference keeps its
    /// sign. 0 where nothing ever came in.
    #[must_use]
    pub fn cost_of(&self, weight: Weight) -> i64 {
        let product = i128::from(self.cost_minor).saturating_mul(i128::from(weight.units()));
        decimal::half_up(product, i128::from(self.came_in.units())).unwrap_or(0)
    }
}

/// Drip of a weight at a rate over a time, as it is gathered: none on less than nothing.
#[must_use]
pub fn dripped(held: Weight, ppm_per_day: i64, time_us: i64) -> i128 {
    i128::from(held.units().max(0))
        .saturating_mul(i128::from(ppm_per_day))
        .saturating_mul(i128::from(time_us.max(0)))
}

/// Expected drip of what has gathered, half up once at 10 ng.
#[must_use]
pub fn expected_drip(gathered: i128) -> Weight {
    Weight::from_units(decimal::half_up(gathered, DRIP_SCALE).unwrap_or(0))
}

/// Whether a part is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Nothing ever came in or went out.
    Untouched,
    /// There, and to be counted.
    Open,
    /// Emptied, counted as 0, or so little left that it counts as 0.
    Finished,
}

/// What a count posts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Reckoned {
    /// Expected drip, E.
    pub shrink: Weight,
    /// U: plus is missing, minus is surplus.
    pub unaccounted: Weight,
}

/// A part as its day goes on. Steps must be told in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartDay {
    /// What it holds now.
    pub now: Holding,
    /// Whether it is there.
    pub stage: Stage,
    /// Book weight as the day began.
    pub opening: Weight,
    /// Came in today.
    pub came_in: Weight,
    /// Went out today.
    pub went_out: Weight,
    /// Drip posted today.
    pub shrink: Weight,
    /// Unaccounted today.
    pub unaccounted: Weight,
    /// What is not certain of what is unaccounted; absent where nothing was counted or
    /// finished today.
    pub explained: Option<Budget>,
    /// Counted today, by a person.
    pub counted: bool,
    /// Most that the book fell below nothing; zero when it never did.
    pub overdrawn: Weight,
    /// Of that, what the readings up to then explain, or what counts as nothing left.
    pub overdrawn_within: Weight,
    /// Weight went out of it after it was finished.
    pub reopened: Weight,
    since_us: i64,
    rate: Option<DripRate>,
}

impl PartDay {
    /// A part that was on hand as the day began at `start_us`; without a rate it does
    /// not drip.
    #[must_use]
    pub fn carried(holding: Holding, start_us: i64, rate: Option<&DripRate>) -> PartDay {
        PartDay {
            stage: Stage::Open,
            opening: holding.weight,
            now: holding,
            ..PartDay::new(start_us, rate)
        }
    }

    /// A part opened today.
    #[must_use]
    pub fn new(start_us: i64, rate: Option<&DripRate>) -> PartDay {
        PartDay {
            now: Holding::default(),
            stage: Stage::Untouched,
            opening: Weight::ZERO,
            came_in: Weight::ZERO,
            went_out: Weight::ZERO,
            shrink: Weight::ZERO,
            unaccounted: Weight::ZERO,
            explained: None,
            counted: false,
            overdrawn: Weight::ZERO,
            overdrawn_within: Weight::ZERO,
            reopened: Weight::ZERO,
            since_us: start_us,
            rate: rate.cloned(),
        }
    }

    /// A part that was finished on an earlier day; `landed` is what it once
    /// held, as far as that is known.
    #[must_use]
    pub fn finished_before(landed: Holding, start_us: i64, rate: Option<&DripRate>) -> PartDay {
        PartDay {
            now: Holding {
                weight: Weight::ZERO,
                drip: 0,
                held_us: 0,
                budget: Budget::default(),
                ..landed
            },
            stage: Stage::Finished,
            ..PartDay::new(start_us, rate)
        }
    }

    /// Lets time pass: drip gathers on the book weight, itself not taken off,
    /// and never on a negative one.
    pub fn wait(&mut self, at_us: i64) {
        if let Some(rate) = &self.rate {
            let time_us = at_us.saturating_sub(self.since_us);
            let of = |ppm| dripped(self.now.weight, ppm, time_us);
            self.now.drip = self.now.drip.saturating_add(of(rate.ppm_per_day));
            let allowance = of(rate.allowance_ppm_per_day);
            self.now.budget.drip(&drip_of(rate), allowance);
        }
        self.since_us = self.since_us.max(at_us);
    }

    /// Weight comes in, with what it cost, the drip gathered on it elsewhere and its
    /// budget.
    pub fn come_in(&mut self, at_us: i64, coming: &Coming) {
        self.wait(at_us);
        let Coming {
            weight,
            cost_minor,
            drip,
            budget,
            harvested_us,
        } = coming;
        self.now.weight = add(self.now.weight, *weight);
        self.now.came_in = add(self.now.came_in, *weight);
        self.now.cost_minor = self.now.cost_minor.saturating_add(*cost_minor);
        self.now.drip = self.now.drip.saturating_add(*drip);
        self.now.budget = std::mem::take(&mut self.now.budget).plus(budget);
        self.now.harvested_us = earlier(self.now.harvested_us, *harvested_us);
        self.came_in = add(self.came_in, *weight);
        self.stage = Stage::Open;
    }

    /// Weight goes out as it was `read`. Whatever happened is booked, below nothing as
    /// well. The part is finished, and what is left counts as 0, where it was `emptied`
    /// or next to nothing is left.
    pub fn go_out(
        &mut self,
        at_us: i64,
        weight: Weight,
        read: &Budget,
        emptied: bool,
        settings: &Settings,
    ) -> Reckoned {
        self.wait(at_us);
        self.now.budget = std::mem::take(&mut self.now.budget).minus(read);
        if self.stage == Stage::Finished {
            self.reopened = add(self.reopened, weight);
        }
        let reopens = self.stage == Stage::Finished;
        self.stage = Stage::Open;
        self.now.weight = sub(self.now.weight, weight);
        self.went_out = add(self.went_out, weight);
        if !reopens {
            let under = sub(Weight::ZERO, self.now.weight);
            if under > self.overdrawn {
                self.overdrawn = under;
                let explained = self.now.budget.explains().unwrap_or_default();
                self.overdrawn_within = explained.max(next_to_nothing(self.now.came_in, settings));
            }
        }
        if emptied || is_finished(self.now.weight, self.now.came_in, settings) {
            return self.reckon(Weight::ZERO, Budget::default());
        }
        Reckoned::default()
    }

    /// Weight goes to a sibling or a pool. The whole of it takes along the drip gathered
    /// on it, which is returned; a share that was weighed has dripped already, and
    /// leaves it. Where it was `read`, that is the budget of what goes; by the book it
    /// takes its share of the budget here.
    pub fn hand_over(
        &mut self,
        at_us: i64,
        weight: Weight,
        read: Option<&Budget>,
        settings: &Settings,
    ) -> HandedOver {
        self.wait(at_us);
        let whole = self.now.weight > Weight::ZERO && weight >= self.now.weight;
        let drip = if whole {
            std::mem::take(&mut self.now.drip)
        } else {
            0
        };
        let mut budget = match read {
            Some(read) => read.clone(),
            None => self.now.budget.take(weight, self.now.weight),
        };
        if whole {
            for (of, width) in std::mem::take(&mut self.now.budget.drips) {
                budget.drip(&of, width);
            }
        }
        let nothing = Budget::default();
        let read = read.unwrap_or(&nothing);
        HandedOver {
            reckoned: self.go_out(at_us, weight, read, false, settings),
            drip,
            budget,
        }
    }

    /// A person weighs what is there.
    pub fn count(&mut self, at_us: i64, found: Weight, read: Budget) -> Reckoned {
        self.wait(at_us);
        self.counted = true;
        self.reckon(found, read)
    }

    fn reckon(&mut self, found: Weight, read: Budget) -> Reckoned {
        let shrink = expected_drip(self.now.drip);
        let unaccounted = sub(sub(self.now.weight, shrink), found);
        let explained = std::mem::take(&mut self.now.budget).minus(&read);
        let before = self.explained.take().unwrap_or_default();
        self.explained = Some(before.plus(&explained));
        self.now.budget = read;
        self.now.drip = 0;
        self.now.weight = found;
        self.shrink = add(self.shrink, shrink);
        self.unaccounted = add(self.unaccounted, unaccounted);
        self.stage = if found.is_zero() {
            Stage::Finished
        } else {
            Stage::Open
        };
        Reckoned {
            shrink,
            unaccounted,
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::fish::{Presentation, Storage};
    use crate::weight::WeightUnit;

    const HOUR: i64 = 3_600_000_000;

    fn lb(text: &str) -> Weight {
        match text.strip_prefix('-') {
            Some(rest) => sub(Weight::ZERO, lb(rest)),
            None => WeightUnit::Lb.weigh(text).unwrap_or_default(),
        }
    }

    /// Whole lionfish on drained ice.
    fn rate(ppm_per_day: i64) -> Option<DripRate> {
        Some(DripRate {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            storage: Storage::DrainedIce,
            ppm_per_day,
            allowance_ppm_per_day: 5_000,
        })
    }

    fn coming(weight: &str, cost_minor: i64) -> Coming {
        Coming {
            weight: lb(weight),
            cost_minor,
            ..Coming::default()
        }
    }

    /// Of a reading that is off by at most so much on the dock's scale.
    fn off(by: &str) -> Budget {
        let key = ("dock".to_owned(), 20_310_502);
        Budget {
            scales: BTreeMap::from([(key, lb(by).units())]),
            ..Budget::default()
        }
    }

    /// Tells a part's day: each step is hour, what, pounds. Drip is `ppm` a day.
    fn day(ppm: i64, story: &str) -> PartDay {
        let settings = Settings::default();
        let mut part = PartDay::new(0, rate(ppm).as_ref());
        for step in story.split(", ") {
            let words: Vec<_> = step.split(' ').collect();
            let [hour, what, weight] = words[..] else {
                panic!("{step}")
            };
            let at_us = hour.parse::<i64>().unwrap_or_default() * HOUR;
            match what {
                "in" => part.come_in(at_us, &coming(weight, 100)),
                "out" | "emptied" => {
                    let emptied = what == "emptied";
                    part.go_out(at_us, lb(weight), &Budget::default(), emptied, &settings);
                }
                "count" => {
                    part.count(at_us, lb(weight), Budget::default());
                }
                other => panic!("{other}"),
            }
        }
        part
    }

    #[test]
    fn a_count_posts_expected_drip_and_what_is_unaccounted() {
        // 1 % a day; 41.60 lb for 12 h should drip 0.208 lb.
        for (story, book, shrink, unaccounted) in [
            ("0 in 41.60, 12 count 41.392", "41.392", "0.208", "0"),
            ("0 in 41.60, 12 count 38.392", "38.392", "0.208", "3"), // 3.00 short
            ("0 in 41.60, 12 count 41.6", "41.6", "0.208", "-0.208"), // a surplus
            ("0 in 41.60, 12 out 40", "1.6", "0", "0"),              // no count: nothing posted
            // Drip runs on the book weight of each stretch: 6 h of 40, 6 h of 20.
            ("0 in 40, 6 out 20, 12 count 19.85", "19.85", "0.15", "0"),
            // Counted twice: a pound is missing once.
            (
                "0 in 40, 12 count 37, 24 count 36.815",
                "36.815",
                "0.385",
                "2.8",
            ),
            // Emptied is a count of 0.
            ("0 in 40, 12 emptied 39", "0", "0.2", "0.8"),
            // Next to nothing left counts as 0: 0.5 % of 40 lb is 0.2.
            ("0 in 40, 12 out 39.85", "0", "0.2", "-0.05"),
            ("0 in 40, 12 out 39.799", "0.201", "0", "0"),
            // A surplus fills what was overdrawn.
            ("0 in 40, 12 out 43, 13 in 3, 13 out 0", "0", "0.2", "-0.2"),
            // No drip on less than nothing: 12 h of 40, then none.
            ("0 in 40, 12 out 43, 24 count 0", "0", "0.2", "-3.2"),
        ] {
            let part = day(10_000, story);
            let got = (part.now.weight, part.shrink, part.unaccounted);
            assert_eq!(got, (lb(book), lb(shrink), lb(unaccounted)), "{story}");
            let in_and_out = sub(part.came_in, part.went_out);
            let posted = add(part.shrink, part.unaccounted);
            assert_eq!(part.now.weight, sub(in_and_out, posted), "{story}");
        }
    }

    #[test]
    fn drip_does_not_compound_and_is_rounded_once() {
        // 1 lb at 1 ppm a day over 24 h: 453.59237 ug is 45,359.237 of 10 ng.
        assert_eq!(day(1, "0 in 1, 24 count 1").shrink.units(), 45_359);
        // The same in 24 stretches of an hour, not rounded in between.
        let steps: Vec<_> = (1..=24).map(|hour| format!("{hour} in 0")).collect();
        let story = format!("0 in 1, {}, 24 count 1", steps.join(", "));
        assert_eq!(day(1, &story).shrink.units(), 45_359);
        // Half up: 2 x 10 ng at 250,000 ppm a day is exactly a half.
        assert_eq!(
            expected_drip(2 * 250_000 * 86_400_000_000),
            Weight::from_units(1)
        );
        // Slush takes up water in its first day: the half goes away from zero.
        assert_eq!(
            expected_drip(-2 * 250_000 * 86_400_000_000),
            Weight::from_units(-1)
        );
    }

    #[test]
    fn drip_gathered_is_carried_from_day_to_day() {
        let rate = rate(10_000);
        let mut first = PartDay::new(0, rate.as_ref());
        first.come_in(18 * HOUR, &coming("41.60", 21_840));
        first.wait(24 * HOUR);
        let mut second = PartDay::carried(first.now, 24 * HOUR, rate.as_ref());
        let found = second.count(42 * HOUR, lb("38.184"), Budget::default());
        // 24 h of 41.60 lb at 1 %.
        assert_eq!(found.shrink, lb("0.416"));
        assert_eq!(found.unaccounted, lb("3"));
        assert_eq!(second.opening, lb("41.60"));
        // 218.40 for 41.60 lb is 5.25 a pound.
        assert_eq!(second.now.cost_of(found.unaccounted), 1_575);
    }

    #[test]
    fn what_goes_beyond_is_booked_and_said() {
        for (story, stage, overdrawn, reopened) in [
            ("0 in 10, 1 out 10", Stage::Finished, "0", "0"),
            ("0 in 10, 1 out 13", Stage::Open, "3", "0"),
            ("0 in 10, 1 emptied 13", Stage::Finished, "3", "0"),
            ("0 in 10, 1 out 13, 2 in 5, 3 out 4", Stage::Open, "3", "0"),
            ("0 in 10, 1 out 13, 2 out 1", Stage::Open, "4", "0"),
            ("0 in 10, 1 out 10, 2 out 2", Stage::Open, "0", "2"),
            (
                "0 in 10, 1 count 0, 2 out 2, 3 out 1",
                Stage::Open,
                "3",
                "2",
            ),
            ("0 out 2", Stage::Open, "2", "0"),
            ("0 in 10, 1 count 0, 2 count 1", Stage::Open, "0", "0"),
        ] {
            let part = day(0, story);
            let got = (part.stage, part.overdrawn, part.reopened);
            assert_eq!(got, (stage, lb(overdrawn), lb(reopened)), "{story}");
        }
        assert_eq!(PartDay::new(0, None).stage, Stage::Untouched);
    }

    #[test]
    fn the_whole_takes_its_drip_along_and_a_weighed_share_leaves_it() {
        let settings = Settings::default();
        for (weight, shrink_here, carried) in [
            ("40", "0", "0.2"),
            ("41", "0", "0.2"),
            ("39.9", "0.2", "0"),
            ("10", "0", "0"),
        ] {
            let mut part = PartDay::new(0, rate(10_000).as_ref());
            part.come_in(0, &coming("40", 100));
            let over = part.hand_over(12 * HOUR, lb(weight), None, &settings);
            let got = (over.reckoned.shrink, expected_drip(over.drip));
            assert_eq!(got, (lb(shrink_here), lb(carried)), "{weight}");
            // What drip may be off by goes where the drip goes: 0.5 % of 40 lb in 12 h.
            let allowance: i128 = over.budget.drips.values().sum();
            let with_drip = if carried == "0" { "0" } else { "0.1" };
            assert_eq!(expected_drip(allowance), lb(with_drip), "{weight}");
        }
    }

    #[test]
    fn each_reading_adds_its_doubt_and_a_count_starts_anew() {
        let settings = Settings::default();
        let mut part = PartDay::new(0, rate(10_000).as_ref());
        let came = Coming {
            budget: off("0.10"),
            ..coming("40", 100)
        };
        part.come_in(0, &came);
        part.go_out(6 * HOUR, lb("20"), &off("0.05"), false, &settings);
        assert_eq!(part.now.budget.scales, off("0.05").scales);
        assert_eq!(part.explained, None, "nothing was counted");
        part.count(12 * HOUR, lb("19.85"), off("0.05"));
        let explained = part.explained.clone().unwrap_or_default();
        assert_eq!(explained.scales, BTreeMap::new(), "in less out less count");
        // 6 h of 40 lb and 6 h of 20 lb, 0.5 % a day more or less.
        let drip: i128 = explained.drips.values().sum();
        assert_eq!(expected_drip(drip), lb("0.075"));
        assert_eq!(part.now.budget, off("0.05"));
        // The next day it is the count's doubt, and not the ticket's.
        let mut next = PartDay::carried(part.now, 24 * HOUR, None);
        next.count(30 * HOUR, Weight::ZERO, Budget::default());
        assert_eq!(next.explained, Some(off("0.05")));
    }

    #[test]
    fn what_goes_by_the_book_takes_its_share_and_what_is_read_its_reading() {
        let settings = Settings::default();
        for (weight, read, takes, leaves) in [
            ("10", None, "0.025", "0.075"),
            ("40", None, "0.10", "0"),
            ("41", None, "0.10", "0"),
            // Set aside by weighing: less here, more there, together as before.
            ("10", Some("0.05"), "0.05", "0.05"),
        ] {
            let mut part = PartDay::new(0, None);
            let came = Coming {
                budget: off("0.10"),
                ..coming("40", 100)
            };
            part.come_in(0, &came);
            let read = read.map(off);
            let over = part.hand_over(0, lb(weight), read.as_ref(), &settings);
            let width = |budget: &Budget| Weight::from_units(budget.scales.values().sum());
            let got = (width(&over.budget), width(&part.now.budget));
            assert_eq!(got, (lb(takes), lb(leaves)), "{weight}");
        }
    }
}
