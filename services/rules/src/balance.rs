//! The balance of one part over a business day.
//!
//! The book weight is what came in less what went out. Expected drip gathers
//! beside it and is posted only at a count: then E is what should have dripped
//! since the last count, and `U = book - E - count` is unaccounted, plus missing
//! and minus surplus. The count is the new book weight, so a pound is missing
//! once, on the day it is found. Without a count nothing is posted.
//!
//! Which parts there are, and what they were worth, is gathered in
//! [`crate::close`].

use crate::decimal;
use crate::office::Settings;
use crate::stock::{add, is_finished, sub};
use crate::weight::Weight;

/// 10 ng x ppm x microseconds in 10 ng a day: a million ppm, a day of 24 hours.
const DRIP_SCALE: i128 = 1_000_000 * 86_400_000_000;

/// What a part holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
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
    /// Counted today, by a person.
    pub counted: bool,
    /// Most that the book fell below nothing; zero when it never did.
    pub overdrawn: Weight,
    /// Weight went out of it after it was finished.
    pub reopened: Weight,
    since_us: i64,
    ppm_per_day: i64,
}

impl PartDay {
    /// A part that was on hand as the day began at `start_us`.
    #[must_use]
    pub fn carried(holding: Holding, start_us: i64, ppm_per_day: i64) -> PartDay {
        PartDay {
            now: holding,
            stage: Stage::Open,
            opening: holding.weight,
            ..PartDay::new(start_us, ppm_per_day)
        }
    }

    /// A part opened today.
    #[must_use]
    pub fn new(start_us: i64, ppm_per_day: i64) -> PartDay {
        PartDay {
            now: Holding::default(),
            stage: Stage::Untouched,
            opening: Weight::ZERO,
            came_in: Weight::ZERO,
            went_out: Weight::ZERO,
            shrink: Weight::ZERO,
            unaccounted: Weight::ZERO,
            counted: false,
            overdrawn: Weight::ZERO,
            reopened: Weight::ZERO,
            since_us: start_us,
            ppm_per_day,
        }
    }

    /// A part that was finished on an earlier day; `landed` is what it once
    /// held, as far as that is known.
    #[must_use]
    pub fn finished_before(landed: Holding, start_us: i64, ppm_per_day: i64) -> PartDay {
        PartDay {
            now: Holding {
                weight: Weight::ZERO,
                drip: 0,
                held_us: 0,
                ..landed
            },
            stage: Stage::Finished,
            ..PartDay::new(start_us, ppm_per_day)
        }
    }

    /// Lets time pass: drip gathers on the book weight, itself not taken off,
    /// and never on a negative one.
    pub fn wait(&mut self, at_us: i64) {
        let held = i128::from(self.now.weight.units().max(0));
        let time = i128::from(at_us.saturating_sub(self.since_us).max(0));
        let more = held
            .saturating_mul(i128::from(self.ppm_per_day))
            .saturating_mul(time);
        self.now.drip = self.now.drip.saturating_add(more);
        self.since_us = self.since_us.max(at_us);
    }

    /// Weight comes in, with what it cost and the drip gathered on it elsewhere.
    pub fn come_in(&mut self, at_us: i64, weight: Weight, cost_minor: i64, drip: i128) {
        self.wait(at_us);
        self.now.weight = add(self.now.weight, weight);
        self.now.came_in = add(self.now.came_in, weight);
        self.now.cost_minor = self.now.cost_minor.saturating_add(cost_minor);
        self.now.drip = self.now.drip.saturating_add(drip);
        self.came_in = add(self.came_in, weight);
        self.stage = Stage::Open;
    }

    /// Weight goes out. Whatever happened is booked, below nothing as well. The
    /// part is finished, and what is left counts as 0, where it was `emptied` or
    /// next to nothing is left.
    pub fn go_out(
        &mut self,
        at_us: i64,
        weight: Weight,
        emptied: bool,
        settings: &Settings,
    ) -> Reckoned {
        self.wait(at_us);
        if self.stage == Stage::Finished {
            self.reopened = add(self.reopened, weight);
        }
        let reopens = self.stage == Stage::Finished;
        self.stage = Stage::Open;
        self.now.weight = sub(self.now.weight, weight);
        self.went_out = add(self.went_out, weight);
        if !reopens {
            self.overdrawn = self.overdrawn.max(sub(Weight::ZERO, self.now.weight));
        }
        if emptied || is_finished(self.now.weight, self.now.came_in, settings) {
            return self.reckon(Weight::ZERO);
        }
        Reckoned::default()
    }

    /// Weight goes to a sibling or a pool by the book. The whole of it takes
    /// along the drip gathered on it, which is returned; a share that was
    /// weighed has dripped already, and leaves it.
    pub fn hand_over(
        &mut self,
        at_us: i64,
        weight: Weight,
        settings: &Settings,
    ) -> (Reckoned, i128) {
        self.wait(at_us);
        let whole = self.now.weight > Weight::ZERO && weight >= self.now.weight;
        let drip = if whole {
            std::mem::take(&mut self.now.drip)
        } else {
            0
        };
        (self.go_out(at_us, weight, false, settings), drip)
    }

    /// A person weighs what is there.
    pub fn count(&mut self, at_us: i64, found: Weight) -> Reckoned {
        self.wait(at_us);
        self.counted = true;
        self.reckon(found)
    }

    fn reckon(&mut self, found: Weight) -> Reckoned {
        let shrink = expected_drip(self.now.drip);
        let unaccounted = sub(sub(self.now.weight, shrink), found);
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
    use super::*;
    use crate::weight::WeightUnit;

    const HOUR: i64 = 3_600_000_000;

    fn lb(text: &str) -> Weight {
        match text.strip_prefix('-') {
            Some(rest) => sub(Weight::ZERO, lb(rest)),
            None => WeightUnit::Lb.weigh(text).unwrap_or_default(),
        }
    }

    /// Tells a part's day: each step is hour, what, pounds. Drip is `ppm` a day.
    fn day(ppm: i64, story: &str) -> PartDay {
        let settings = Settings::default();
        let mut part = PartDay::new(0, ppm);
        for step in story.split(", ") {
            let words: Vec<_> = step.split(' ').collect();
            let [hour, what, weight] = words[..] else {
                panic!("{step}")
            };
            let at_us = hour.parse::<i64>().unwrap_or_default() * HOUR;
            match what {
                "in" => part.come_in(at_us, lb(weight), 100, 0),
                "out" => drop(part.go_out(at_us, lb(weight), false, &settings)),
                "emptied" => drop(part.go_out(at_us, lb(weight), true, &settings)),
                "over" => drop(part.hand_over(at_us, lb(weight), &settings)),
                "count" => drop(part.count(at_us, lb(weight))),
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
        let mut first = PartDay::new(0, 10_000);
        first.come_in(18 * HOUR, lb("41.60"), 21_840, 0);
        first.wait(24 * HOUR);
        let mut second = PartDay::carried(first.now, 24 * HOUR, 10_000);
        let found = second.count(42 * HOUR, lb("38.184"));
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
        assert_eq!(PartDay::new(0, 0).stage, Stage::Untouched);
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
            let mut part = PartDay::new(0, 10_000);
            part.come_in(0, lb("40"), 100, 0);
            let (found, drip) = part.hand_over(12 * HOUR, lb(weight), &settings);
            let got = (found.shrink, expected_drip(drip));
            assert_eq!(got, (lb(shrink_here), lb(carried)), "{weight}");
        }
    }
}
