//! How far a balance can be off without anybody having lost a fish.
//!
//! A budget stands beside a weight and says what is not certain of it. Two kinds
//! of doubt are kept apart, because they add up differently:
//!
//! - What readings **share** is the same for all of them: a scale that is off today
//!   is off the same way for every load on it, and drip set too low is too low for
//!   every lot. Shared doubts add up with their sign. What comes in on a scale and
//!   goes out on it the same day cancels.
//! - What is **independent** is new with each weighing: the last step of the scale,
//!   water clinging to the fish, a wet tote. Of these the squares add up.
//!
//! Every doubt is given as a half-width: the value lies anywhere within it, so its
//! standard uncertainty is the half-width over the square root of 3; of a step `d`
//! that a scale rounds to it is `d` over the square root of 12. The combined
//! uncertainty is the root of the sum of squares, and what is said is twice that,
//! k = 2 (from memory of the GUM, JCGM 100:2008, 4.3.7, 5.1.2 and 6.2). Sums are
//! exact whole numbers; only the root is rounded, up.
//!
//! What a scale may be off by is in [`crate::tolerance`]. One without a test, or of
//! a class that is not known, is not guessed at: the budget says unknown, and why.
//! Which readings a deed rests on is in [`readings`], how a part carries its budget in
//! [`crate::balance`], what is flagged in [`crate::close`].

pub mod readings;

use std::collections::{BTreeMap, BTreeSet};

use crate::balance::expected_drip;
use crate::business_day::date_of;
use crate::fish::{Presentation, Storage};
use crate::ids::{DayNumber, PartId};
use crate::office::{DripRate, Scale, Settings};
use crate::tolerance::permissible_error;
use crate::weight::{Weight, WeightUnit};

/// What was read on a scale.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Read {
    /// Which part it is of; absent for what was thrown out at the table.
    pub part: Option<PartId>,
    /// Code of the scale; empty where it was not named.
    pub scale: String,
    /// Business day on which it was read.
    pub day: DayNumber,
    /// What the scale showed.
    pub load: Weight,
    /// What was on it.
    pub on_it: OnIt,
}

/// What was on a scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnIt {
    /// Fish alone.
    Fish,
    /// A tote with fish of so much net in it.
    Tote(Weight),
    /// The tote without the fish: its weight is taken off.
    EmptyTote,
}

/// What is not certain of a weight, or of a balance of weights.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Budget {
    /// Half-widths that all readings of a scale on a day share, 10 ng: what came in
    /// less what went out. Never 0.
    pub scales: BTreeMap<(String, DayNumber), i64>,
    /// Half-widths that all fish of a kind shares, of the drip that should have
    /// been: 10 ng x ppm a day x microseconds. Never 0.
    pub drips: BTreeMap<DripOf, i128>,
    /// The last step of each reading.
    pub rounding: Spread,
    /// Water clinging to wet fish.
    pub water: Spread,
    /// Totes wetter or drier than their tare says.
    pub totes: Spread,
    /// Why it is not known; empty where it is.
    pub unknown: BTreeSet<Unknown>,
}

/// Fish that drips at one rate: species, presentation and storage.
pub type DripOf = (String, Presentation, Storage);

/// Doubts that are independent of each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spread {
    /// How many.
    pub times: i64,
    /// Sum of the squares of their whole widths, (10 ng)^2: a twelfth of it is the
    /// variance.
    pub squares: i128,
}

/// Why a budget is not known.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unknown {
    /// Weighed before budgets were kept.
    Before,
    /// Read on a scale that was not named.
    NotNamed,
    /// Read on a scale, by code, that has no test or whose class is not known.
    Untested(String),
}

impl Spread {
    fn of(width: Weight) -> Spread {
        Spread {
            times: 1,
            squares: square(width.units()),
        }
    }

    fn plus(self, other: Spread) -> Spread {
        Spread {
            times: self.times.saturating_add(other.times),
            squares: self.squares.saturating_add(other.squares),
        }
    }
}

impl Budget {
    /// What is not certain of one reading, `scale` being the one it was read on, as it
    /// was on file; `wet` fish is all but frozen.
    ///
    /// Nothing on the scale needs no scale, and is certain.
    #[must_use]
    pub fn of(read: &Read, scale: Option<&Scale>, wet: bool, settings: &Settings) -> Budget {
        let mut budget = Budget::default();
        if read.load.is_zero() {
            return budget;
        }
        let tested = scale.filter(|scale| scale.tested_on.is_some());
        let error = tested.and_then(|scale| permissible_error(scale, read.load));
        match (error, read.scale.as_str()) {
            (Some(error), _) => {
                let key = (read.scale.clone(), read.day);
                more(&mut budget.scales, key, error.units());
            }
            (None, "") => drop(budget.unknown.insert(Unknown::NotNamed)),
            (None, code) => drop(budget.unknown.insert(Unknown::Untested(code.to_owned()))),
        }
        if let Some(scale) = scale {
            budget.rounding = Spread::of(scale.division.weight);
        }
        let fish = match read.on_it {
            OnIt::Fish => Some(read.load),
            OnIt::Tote(net) => {
                budget.totes = Spread::of(doubled(settings.wet_tote()));
                Some(net)
            }
            OnIt::EmptyTote => None,
        };
        if let Some(fish) = fish.filter(|_| wet) {
            let water = fish.millionths(settings.surface_water_ppm());
            budget.water = Spread::of(doubled(water));
        }
        match read.on_it {
            OnIt::Fish | OnIt::Tote(_) => budget,
            OnIt::EmptyTote => Budget::default().minus(&budget),
        }
    }

    /// Of a weight that was on the book before budgets were kept.
    #[must_use]
    pub fn before() -> Budget {
        Budget {
            unknown: BTreeSet::from([Unknown::Before]),
            ..Budget::default()
        }
    }

    /// Of two weights together.
    #[must_use]
    pub fn plus(mut self, other: &Budget) -> Budget {
        for (key, width) in &other.scales {
            more(&mut self.scales, key.clone(), *width);
        }
        self.and(other)
    }

    /// Of one weight less another.
    #[must_use]
    pub fn minus(mut self, other: &Budget) -> Budget {
        for (key, width) in &other.scales {
            more(&mut self.scales, key.clone(), width.saturating_neg());
        }
        self.and(other)
    }

    /// All but the scales. Drip is taken off whatever it is of, so it always adds up.
    fn and(mut self, other: &Budget) -> Budget {
        for (of, width) in &other.drips {
            self.drip(of, *width);
        }
        self.rounding = self.rounding.plus(other.rounding);
        self.water = self.water.plus(other.water);
        self.totes = self.totes.plus(other.totes);
        self.unknown.extend(other.unknown.iter().cloned());
        self
    }

    /// More drip that should have been, and may not: 10 ng x ppm a day x
    /// microseconds.
    pub fn drip(&mut self, of: &DripOf, width: i128) {
        if width != 0 {
            let sum = self.drips.entry(of.clone()).or_default();
            *sum = sum.saturating_add(width);
        }
    }

    /// Splits off the budget of `part` of `whole`, which was not weighed by itself: each
    /// doubt goes with its share of the weight, but drip stays where it was expected.
    /// All of it goes, drip as well, where the part is no less than the whole, and none
    /// where there is no part.
    pub fn take(&mut self, part: Weight, whole: Weight) -> Budget {
        if part >= whole {
            return std::mem::take(self);
        }
        if part <= Weight::ZERO {
            return Budget::default();
        }
        let left = Weight::from_units(whole.units().saturating_sub(part.units()));
        let taken = self.share(part, whole);
        *self = Budget {
            drips: std::mem::take(&mut self.drips),
            ..self.share(left, whole)
        };
        taken
    }

    /// `part / whole` of every doubt but drip, each rounded up.
    fn share(&self, part: Weight, whole: Weight) -> Budget {
        let (over, under) = (i128::from(part.units()), i128::from(whole.units()));
        let linear = |width: i128| ratio_up(width, over, under);
        let spread = |of: Spread| Spread {
            // Twice by the same share: of a square.
            squares: linear(linear(of.squares)),
            ..of
        };
        Budget {
            scales: self
                .scales
                .iter()
                .map(|(key, width)| (key.clone(), clamp(linear(i128::from(*width)))))
                .collect(),
            drips: BTreeMap::new(),
            rounding: spread(self.rounding),
            water: spread(self.water),
            totes: spread(self.totes),
            unknown: self.unknown.clone(),
        }
    }

    /// What it explains: twice the combined standard uncertainty, rounded up to 10 ng.
    /// Absent where something in it is not known.
    #[must_use]
    pub fn explains(&self) -> Option<Weight> {
        self.unknown.is_empty().then(|| twice_root(self.squares()))
    }

    /// Sum of squared whole widths: twelve times the variance.
    fn squares(&self) -> i128 {
        let scales = self.scales.values().map(|&width| shared(width));
        let drips = self.drips.values().map(|&width| of_drip(width));
        let independent = [self.rounding, self.water, self.totes].map(|of| of.squares);
        scales
            .chain(drips)
            .chain(independent)
            .fold(0, i128::saturating_add)
    }

    /// The budget line by line, for people, and all together as the last line. Each
    /// line is at k = 2, so that the squares of the lines add up to that of the last;
    /// what is below what is shown is left out. `name` names a scale by its code.
    #[must_use]
    pub fn lines(&self, unit: WeightUnit, name: impl Fn(&str) -> String) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = |what: String, squares: i128| {
            let width = plus_or_minus(twice_root(squares), unit);
            if width.contains(|digit: char| matches!(digit, '1'..='9')) {
                lines.push(format!("{what}: {width}"));
            }
        };
        for ((scale, day), width) in &self.scales {
            let what = format!("{} on {}, shared", name(scale), shown_day(*day));
            line(what, shared(*width));
        }
        for ((species, presentation, storage), width) in &self.drips {
            let what = format!(
                "drip of {species} {}, {}",
                presentation.word(),
                storage.word()
            );
            line(what, of_drip(*width));
        }
        let times = |spread: Spread, one: &str, many: &str| match spread.times {
            1 => format!("1 {one}"),
            times => format!("{times} {many}"),
        };
        let rounding = times(self.rounding, "reading", "readings");
        line(format!("rounding of {rounding}"), self.rounding.squares);
        let water = times(self.water, "weighing", "weighings");
        line(format!("surface water, {water}"), self.water.squares);
        let totes = times(self.totes, "tote", "totes");
        line(format!("wet totes, {totes}"), self.totes.squares);
        lines.push(match self.explains() {
            Some(all) => format!("all together: {} (k = 2)", plus_or_minus(all, unit)),
            None => format!("all together: not known; {}", self.why_unknown(name)),
        });
        lines
    }

    /// Why it is not known, for people: "Table scale wants a test".
    #[must_use]
    pub fn why_unknown(&self, name: impl Fn(&str) -> String) -> String {
        let why = |unknown: &Unknown| match unknown {
            Unknown::Before => "it was weighed before this was worked out".to_owned(),
            Unknown::NotNamed => "a reading names no scale".to_owned(),
            Unknown::Untested(code) => format!("{} wants a test", name(code)),
        };
        let why: Vec<_> = self.unknown.iter().map(why).collect();
        why.join(", and ")
    }
}

/// "+/- 0.41 lb".
#[must_use]
pub fn plus_or_minus(width: Weight, unit: WeightUnit) -> String {
    format!("+/- {} {}", width.shown(unit), unit.symbol())
}

fn shown_day(day: DayNumber) -> String {
    date_of(day).map_or_else(|| day.to_string(), |date| date.to_string())
}

/// The rate's fish.
#[must_use]
pub fn drip_of(rate: &DripRate) -> DripOf {
    (rate.species.clone(), rate.presentation, rate.storage)
}

fn more(sums: &mut BTreeMap<(String, DayNumber), i64>, key: (String, DayNumber), width: i64) {
    let sum = sums.get(&key).copied().unwrap_or(0).saturating_add(width);
    if sum == 0 {
        sums.remove(&key);
    } else {
        sums.insert(key, sum);
    }
}

fn doubled(width: Weight) -> Weight {
    Weight::from_units(width.units().saturating_mul(2))
}

/// Square of the whole width of what has this half-width.
fn shared(half_width: i64) -> i128 {
    square(half_width).saturating_mul(4)
}

fn of_drip(gathered: i128) -> i128 {
    shared(expected_drip(gathered).units())
}

fn square(width: i64) -> i128 {
    i128::from(width).saturating_mul(i128::from(width))
}

/// Twice the root of a twelfth of the squares, rounded up to a whole number.
fn twice_root(squares: i128) -> Weight {
    // 2 sqrt(s / 12) = sqrt(s / 3); the root of what is rounded up rounds up alike.
    let third = ratio_up(squares.max(0), 1, 3);
    let root = third.isqrt();
    let up = i128::from(root.saturating_mul(root) < third);
    Weight::from_units(clamp(root.saturating_add(up)))
}

/// `width * over / under`, away from zero; `under` is above zero.
fn ratio_up(width: i128, over: i128, under: i128) -> i128 {
    // Divided first, so that the square of 10 t does not leave what fits.
    let whole = width.checked_div(under).unwrap_or(0).saturating_mul(over);
    let rest = width.checked_rem(under).unwrap_or(0).saturating_mul(over);
    let up = i128::from(rest.checked_rem(under).unwrap_or(0) != 0);
    whole
        .saturating_add(rest.checked_div(under).unwrap_or(0))
        .saturating_add(up.saturating_mul(rest.signum()))
}

fn clamp(width: i128) -> i64 {
    i64::try_from(width).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests;
