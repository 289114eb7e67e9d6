//! What the nights found of what was planted, and what they raised besides.
//!
//! A plant is found where a flag, or a name, says what it was: the bin that is short as
//! missing, both bins of a swap as swapped. A flag on a bin that was tampered with, but
//! said otherwise, is misread: neither found nor a false alarm. What no plant explains
//! is a false alarm.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use rules::close::{CloseDoc, Flag, FlagKind, SupplierRow, YieldGroupRow};
use rules::ids::DayNumber;
use rules::weight::Weight;

use crate::dock::Planted;

/// Flags that judge what a count found by what may be off. Overdrawn fish, judged as it
/// goes, is followed apart; all other flags repeat what was entered, or are followed as
/// what they are of.
pub(crate) const OF_COUNTS: [FlagKind; 5] = [
    FlagKind::Unaccounted,
    FlagKind::UnaccountedSite,
    FlagKind::Swapped,
    FlagKind::TableUnaccounted,
    FlagKind::MoreOutThanIn,
];

/// So many of so many.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Of {
    pub(crate) found: i64,
    pub(crate) planted: i64,
}

impl Of {
    fn one(&mut self, found: bool) {
        self.found += i64::from(found);
        self.planted += 1;
    }

    fn recall(self) -> f64 {
        self.found as f64 / self.planted as f64
    }
}

/// Of many seasons.
#[derive(Default)]
pub(crate) struct Score {
    seasons: i64,
    pub(crate) weeks: i64,
    /// Weeks in which no scale was drifting: what is found missing in the others may be
    /// for that, so false alarms about weight are of these.
    pub(crate) calm_weeks: f64,
    /// By kind of plant.
    pub(crate) recall: BTreeMap<&'static str, Of>,
    /// By kind of flag.
    false_alarms: BTreeMap<&'static str, i64>,
    /// Flags that a plant explains but that say something else.
    misread: i64,
    /// Weeks from the first low day until a supplier was named.
    weeks_until_named: Vec<i64>,
    /// And from a scale's first wrong day until it was said.
    weeks_until_drift: Vec<i64>,
    /// Flags that nothing but a scale that was drifting explains.
    because_of_drift: i64,
    /// Suppliers named, of those whose fish a low cutter mostly cut.
    pub(crate) blamed: Of,
    /// And those whom plain yields would have made low.
    pub(crate) plainly_low: i64,
}

pub(crate) const SHORT_SMALL: &str = "short count, 1.5-3 lb";
pub(crate) const SHORT_LARGE: &str = "short count, 3-6 lb";
pub(crate) const SWAP: &str = "swap, 2-5 lb";
pub(crate) const SUPPLIER_LESS: &str = "low supplier, 3-4.5 points";
pub(crate) const SUPPLIER_MORE: &str = "low supplier, 4.5-6 points";
pub(crate) const CUTTER: &str = "cutter who becomes low, by the charts";
pub(crate) const DRIFT: &str = "drifting scale, 0.6-1.2 %";
pub(crate) const NAMED: &str = "supplier named low";
pub(crate) const CHARTED: &str = "chart of a cutter";

/// What the nights of one season said.
#[derive(Default)]
pub(crate) struct Said {
    /// Whose plain yield is wholly 2 points and more under that of all the others, as the
    /// last night shows it.
    plainly_low: BTreeSet<String>,
    flags: Vec<(DayNumber, FlagKind, String, bool)>,
    named: BTreeMap<String, DayNumber>,
    charted: BTreeMap<String, DayNumber>,
    /// Nights on which two scales were said to differ: whether the table's shows more,
    /// and whether the night before said so already.
    drifts: Vec<(DayNumber, bool, bool)>,
    drifts_last_night: bool,
}

impl Said {
    pub(crate) fn night(&mut self, doc: &CloseDoc) {
        for flag in &doc.flags {
            assert!(!flag.gap, "all of it was counted: {}", flag.text);
            let Flag { kind, subject, .. } = flag;
            if OF_COUNTS.contains(kind) || *kind == FlagKind::Overdrawn {
                let surplus = flag.weight.is_negative();
                self.flags.push((doc.day, *kind, subject.clone(), surplus));
            }
        }
        self.plainly_low.clear();
        for group in &doc.supplier_yields {
            for row in &group.suppliers {
                if row.named_low {
                    self.named.entry(row.supplier.clone()).or_insert(doc.day);
                }
                if is_plainly_low(group, row) {
                    self.plainly_low.insert(row.supplier.clone());
                }
            }
        }
        let drifting = |flag: &Flag| flag.kind == FlagKind::ScaleDrift;
        let drifts = doc.flags.iter().any(drifting);
        if let [drift] = doc.drifts.as_slice()
            && drifts
        {
            let table_shows_more = drift.bias_ppm > 0;
            self.drifts
                .push((doc.day, table_shows_more, self.drifts_last_night));
        }
        self.drifts_last_night = drifts;
        for chart in &doc.charts {
            if let Some(found) = chart.found {
                self.charted.entry(chart.party.clone()).or_insert(found);
            }
        }
    }
}

impl Score {
    pub(crate) fn season(&mut self, days: usize, planted: &Planted, said: &Said) {
        self.seasons += 1;
        self.weeks += i64::try_from(days / 7).expect("a few weeks");
        let calm = match &planted.drifting {
            Some(drifting) => drifting.after,
            None => days,
        };
        self.calm_weeks += calm as f64 / 7.0;
        self.tampered(planted, said);
        self.names(planted, said);
        self.charts(planted, said);
        self.drifts(planted, said);
    }

    fn tampered(&mut self, planted: &Planted, said: &Said) {
        let drifting = planted.drifting.as_ref().map(|of| of.from);
        let mut explained: BTreeSet<(DayNumber, String)> = BTreeSet::new();
        let mut short_days: BTreeSet<DayNumber> = BTreeSet::new();
        let mut right: BTreeSet<(DayNumber, FlagKind, String)> = BTreeSet::new();
        let raised = |day, kind, subject: &str, surplus| {
            let flag = (day, kind, subject.to_owned(), surplus);
            said.flags.contains(&flag)
        };
        for short in &planted.shorts {
            let part = short.part.to_string();
            let found = raised(short.day, FlagKind::Unaccounted, &part, false);
            let size = if short.pounds < 3.0 {
                SHORT_SMALL
            } else {
                SHORT_LARGE
            };
            self.recall.entry(size).or_default().one(found);
            right.insert((short.day, FlagKind::Unaccounted, part.clone()));
            explained.insert((short.day, part));
            short_days.insert(short.day);
        }
        for swap in &planted.swaps {
            let (a, b) = (swap.from.min(swap.to), swap.from.max(swap.to));
            let pair = format!("{a} {b}");
            let found = raised(swap.day, FlagKind::Swapped, &pair, false);
            self.recall.entry(SWAP).or_default().one(found);
            right.insert((swap.day, FlagKind::Swapped, pair));
            explained.insert((swap.day, a.to_string()));
            explained.insert((swap.day, b.to_string()));
        }
        for (day, kind, subject, _) in &said.flags {
            let is_right = right.contains(&(*day, *kind, subject.clone()))
                || (*kind == FlagKind::UnaccountedSite && short_days.contains(day));
            let mut parts = subject.split(' ');
            if is_right {
                continue;
            }
            if parts.any(|part| explained.contains(&(*day, part.to_owned()))) {
                self.misread += 1;
            } else if drifting.is_some_and(|from| *day >= from) {
                self.because_of_drift += 1;
            } else {
                *self.false_alarms.entry(kind.word()).or_default() += 1;
            }
        }
    }

    fn names(&mut self, planted: &Planted, said: &Said) {
        let low = planted.supplier.as_ref();
        if let Some(low) = low {
            let named = said.named.get(low.who).filter(|day| **day >= low.from);
            let size = if low.points < 4.5 {
                SUPPLIER_LESS
            } else {
                SUPPLIER_MORE
            };
            self.recall.entry(size).or_default().one(named.is_some());
            if let Some(named) = named {
                self.weeks_until_named.push(weeks(low.from, *named));
            }
        }
        if planted.cutter.is_some() {
            self.blamed.one(said.named.contains_key(planted.cut_by_low));
            let plainly = said.plainly_low.contains(planted.cut_by_low);
            self.plainly_low += i64::from(plainly);
        }
        for (who, day) in &said.named {
            if low.is_none_or(|low| low.who != who || *day < low.from) {
                *self.false_alarms.entry(NAMED).or_default() += 1;
            }
        }
    }

    fn charts(&mut self, planted: &Planted, said: &Said) {
        let low = planted.cutter.as_ref().filter(|_| planted.cutter_changes);
        if let Some(low) = low {
            let found = said
                .charted
                .get(low.who)
                .is_some_and(|day| *day >= low.from);
            self.recall.entry(CUTTER).or_default().one(found);
        }
        for (who, day) in &said.charted {
            if low.is_none_or(|low| low.who != who || *day < low.from) {
                *self.false_alarms.entry(CHARTED).or_default() += 1;
            }
        }
    }

    fn drifts(&mut self, planted: &Planted, said: &Said) {
        let is_right = |day: DayNumber, table_shows_more: bool| {
            planted.drifting.as_ref().is_some_and(|drifting| {
                let more = (drifting.scale == "table") == (drifting.by > 0.0);
                day >= drifting.from && table_shows_more == more
            })
        };
        if let Some(drifting) = &planted.drifting {
            let mut right = said.drifts.iter().filter(|of| is_right(of.0, of.1));
            let first = right.next();
            self.recall.entry(DRIFT).or_default().one(first.is_some());
            if let Some((found, _, _)) = first {
                self.weeks_until_drift.push(weeks(drifting.from, *found));
            }
        }
        let wrong = said
            .drifts
            .iter()
            .filter(|(day, more, again)| !again && !is_right(*day, *more))
            .count();
        if wrong > 0 {
            let wrong = i64::try_from(wrong).expect("a few");
            *self
                .false_alarms
                .entry(FlagKind::ScaleDrift.word())
                .or_default() += wrong;
        }
    }

    /// How often something was raised, named or charted without a cause.
    pub(crate) fn false_alarms(&self, kinds: &[&str]) -> i64 {
        let of = |kind: &&str| self.false_alarms.get(*kind).copied().unwrap_or(0);
        kinds.iter().map(of).sum()
    }

    pub(crate) fn table(&self, name: &str) -> String {
        let mut text = String::new();
        let mut line = |what: &str, figure: String| {
            writeln!(text, "  {what:<40}{figure}").expect("a string takes it");
        };
        line(
            name,
            format!(
                "{} seasons, {} weeks, {:.0} with no scale drifting",
                self.seasons, self.weeks, self.calm_weeks
            ),
        );
        for (kind, of) in &self.recall {
            let Of { found, planted } = of;
            let percent = 100.0 * of.recall();
            line(kind, format!("{found} of {planted} found, {percent:.1} %"));
        }
        line("weeks until named, median", median(&self.weeks_until_named));
        line(
            "weeks until a drift is said, median",
            median(&self.weeks_until_drift),
        );
        let Of { found, planted } = self.blamed;
        let plainly = self.plainly_low;
        let blamed = format!("{found} of {planted} (by plain yields {plainly})");
        line("supplier named for a low cutter", blamed);
        line(
            "misread (a plant, said otherwise)",
            self.misread.to_string(),
        );
        let drift = self.because_of_drift.to_string();
        line("raised while a scale was drifting", drift);
        let others = [FlagKind::Overdrawn, FlagKind::ScaleDrift];
        let flags = OF_COUNTS.into_iter().chain(others).map(FlagKind::word);
        for kind in flags.chain([NAMED, CHARTED]) {
            let times = self.false_alarms(&[kind]);
            let overdrawn = kind == FlagKind::Overdrawn.word();
            let of_weight = overdrawn || OF_COUNTS.map(FlagKind::word).contains(&kind);
            let weeks = if of_weight {
                self.calm_weeks
            } else {
                self.weeks as f64
            };
            let a_week = times as f64 / weeks;
            line(
                &format!("false alarm: {kind}"),
                format!("{times}, {a_week:.3} a week"),
            );
        }
        text
    }
}

/// Without a look at who cut it, or of which size it was.
fn is_plainly_low(group: &YieldGroupRow, row: &SupplierRow) -> bool {
    let (Some(own), [_, to]) = (row.yield_e2, row.interval_e2.as_slice()) else {
        return false;
    };
    let pounds = |weight: Weight| weight.units() as f64;
    let (all, of_own) = (pounds(group.input), pounds(row.input));
    let others = (group.yield_e2 as f64 * all - own as f64 * of_own) / (all - of_own);
    *to as f64 + 200.0 <= others
}

fn median(of: &[i64]) -> String {
    let mut of = of.to_vec();
    of.sort_unstable();
    of.get(of.len() / 2)
        .map_or("none".to_owned(), i64::to_string)
}

/// Whole weeks between two days.
fn weeks(from: DayNumber, to: DayNumber) -> i64 {
    let mut day = from;
    let mut days = 0;
    while day < to {
        day = rules::business_day::next_day(day).expect("a day");
        days += 1;
    }
    days / 7
}
