//! Since when something is other than it was: control charts of the cuts of a supplier, a
//! cutter or a kitchen.
//!
//! What is charted is what the like-for-like fit of its group leaves of a cut, in
//! deviations of what it leaves of such a cut, so that large and small ones, those of
//! several groups, and those with much and little of their own say in the fit spread alike
//! (standardized residuals; Cook and Weisberg, Residuals and Influence in Regression, 1982,
//! from memory). It is held against a **baseline**: days that somebody named as good, never
//! the latest by themselves. The charts watch what comes after them. A cut that mixed
//! suppliers is charted for the one whose fish was half of it or more.
//!
//! The fit gives every supplier, cutter and kitchen a level of its own over all of its
//! cuts; so the charts see a change of one against itself, and never that it is low.

use super::like_for_like;
use super::{CutFact, E2, grouped, lb};
use crate::ids::DayNumber;
use crate::statistics::{control, whole};
use crate::weight::Weight;

/// Whose cuts are charted.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Subject {
    /// Cuts half or more of this supplier's fish.
    Supplier(String),
    /// Cuts by this cutter.
    Cutter(String),
    /// Cuts in this kitchen; empty is the own table.
    Kitchen(String),
}

/// Days that were good, as somebody said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Baseline {
    /// Whose.
    pub subject: Subject,
    /// First day.
    pub from: DayNumber,
    /// Last day.
    pub to: DayNumber,
}

/// How the charts are drawn. All are settings of a site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ControlRules {
    /// Cuts that a baseline must have.
    pub least_baseline: usize,
    /// What a new cut counts in the weighted mean, in hundredths.
    pub weight_e2: i64,
    /// Limits of the weighted mean, in hundredths of deviations.
    pub width_e2: i64,
    /// What the sum lets pass, in hundredths of deviations.
    pub slack_e2: i64,
    /// Where the sum signals, in hundredths of deviations.
    pub limit_e2: i64,
}

impl Default for ControlRules {
    fn default() -> ControlRules {
        ControlRules {
            least_baseline: 8,
            weight_e2: 20,
            width_e2: 300,
            slack_e2: 50,
            limit_e2: 500,
        }
    }
}

/// What the charts of one subject say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Watch {
    /// Nobody named a baseline.
    NoBaseline,
    /// The baseline has too few cuts, or all of them are alike.
    BaselineTooThin {
        /// Cuts it has.
        cuts: usize,
        /// Cuts it must have.
        least: usize,
    },
    /// The charts.
    Charts(Charts),
}

/// Charts of the cuts after a baseline, in hundredths of its deviations.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Charts {
    /// Cuts of the baseline.
    pub baseline_cuts: usize,
    /// One for each cut after it, in order of time.
    pub points: Vec<ChartPoint>,
    /// Limits of single cuts: 3 deviations above and below.
    pub single_limit_e2: i64,
    /// Limits of the weighted mean.
    pub ewma_limit_e2: i64,
    /// Limit of the sums.
    pub cusum_limit_e2: i64,
    /// First cut outside of the limits of single ones.
    pub single: Option<Leap>,
    /// First at which the weighted mean was outside of its.
    pub ewma: Option<Leap>,
    /// First at which a sum was above its.
    pub cusum: Option<Drift>,
}

/// A cut on the charts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChartPoint {
    /// Entry of the cut.
    pub entry: i64,
    /// Its day.
    pub day: DayNumber,
    /// What the fit leaves of it.
    pub value_e2: i64,
    /// The weighted mean after it.
    pub ewma_e2: i64,
    /// What has gathered above the baseline.
    pub above_e2: i64,
    /// And below it.
    pub below_e2: i64,
}

/// A cut at which a chart signals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Leap {
    /// Entry of the cut.
    pub entry: i64,
    /// Its day.
    pub day: DayNumber,
    /// Whether it is below the baseline.
    pub below: bool,
}

/// A change that the sum dates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drift {
    /// Day since which it has been gathering.
    pub since: DayNumber,
    /// Cuts since then.
    pub cuts: usize,
    /// Day at which the sum signalled.
    pub found: DayNumber,
    /// Whether it is below the baseline.
    pub below: bool,
    /// How far the pooled yield since then is from that of the baseline, like for like,
    /// in hundredths of a point.
    pub shift_e2: i64,
}

/// What the like-for-like fits leave of cuts, in order of time and entry. Cuts of the
/// own table and of customers' kitchens do not belong into one chart.
#[must_use]
pub fn left_over(cuts: &[CutFact]) -> Vec<Left> {
    let mut left: Vec<(i64, Left)> = grouped(cuts)
        .values()
        .flat_map(|cuts| left_of_group(cuts))
        .collect();
    left.sort_by_key(|(happened_us, left)| (*happened_us, left.entry));
    left.into_iter().map(|(_, left)| left).collect()
}

/// Watches one subject.
#[must_use]
pub fn watch(
    left: &[Left],
    subject: &Subject,
    baseline: Option<&Baseline>,
    rules: &ControlRules,
) -> Watch {
    let Some(baseline) = baseline.filter(|baseline| baseline.subject == *subject) else {
        return Watch::NoBaseline;
    };
    let own = || left.iter().filter(|left| left.of.contains(subject));
    let good: Vec<&Left> = own()
        .filter(|left| (baseline.from..=baseline.to).contains(&left.day))
        .collect();
    let thin = Watch::BaselineTooThin {
        cuts: good.len(),
        least: rules.least_baseline,
    };
    if good.len() < rules.least_baseline {
        return thin;
    }
    let values: Vec<f64> = good.iter().map(|left| left.deviations).collect();
    let Some(calm) = control::individuals(&values) else {
        return thin;
    };
    // The limits are 3 deviations away.
    let sd = (calm.upper - calm.centre) / 3.0;
    if sd <= f64::EPSILON {
        return thin;
    }
    let after: Vec<&Left> = own().filter(|left| left.day > baseline.to).collect();
    let z: Vec<f64> = after
        .iter()
        .map(|left| (left.deviations - calm.centre) / sd)
        .collect();
    charts(&good, &after, &z, rules).map_or(thin, Watch::Charts)
}

fn charts(good: &[&Left], after: &[&Left], z: &[f64], rules: &ControlRules) -> Option<Charts> {
    let hundredths = |e2: i64| e2 as f64 / 100.0;
    let ewma = control::ewma(
        z,
        0.0,
        1.0,
        hundredths(rules.weight_e2),
        hundredths(rules.width_e2),
    );
    let cusum = control::cusum(
        z,
        0.0,
        1.0,
        hundredths(rules.slack_e2),
        hundredths(rules.limit_e2),
    );
    let points = after
        .iter()
        .zip(z)
        .zip(ewma.points.iter().zip(&cusum.points))
        .map(|((left, z), (mean, (above, below)))| {
            Some(ChartPoint {
                entry: left.entry,
                day: left.day,
                value_e2: whole(*z, 100.0)?,
                ewma_e2: whole(*mean, 100.0)?,
                above_e2: whole(*above, 100.0)?,
                below_e2: whole(*below, 100.0)?,
            })
        })
        .collect::<Option<Vec<_>>>()?;
    let leap = |at: Option<usize>, value: fn(&ChartPoint) -> i64| {
        let point = points.get(at?)?;
        Some(Leap {
            entry: point.entry,
            day: point.day,
            below: value(point) < 0,
        })
    };
    let drift = cusum.first_signal.and_then(|signal| {
        let since = after.get(signal.since..)?;
        Some(Drift {
            since: since.first()?.day,
            cuts: since.len(),
            found: after.get(signal.at)?.day,
            below: signal.below,
            shift_e2: whole(pooled(since) - pooled(good), E2)?,
        })
    });
    Some(Charts {
        baseline_cuts: good.len(),
        single_limit_e2: 300,
        ewma_limit_e2: whole(ewma.upper, 100.0)?,
        cusum_limit_e2: whole(cusum.limit, 100.0)?,
        single: leap(z.iter().position(|z| z.abs() > 3.0), |point| point.value_e2),
        ewma: leap(ewma.first_signal, |point| point.ewma_e2),
        cusum: drift,
        points,
    })
}

/// What the fit of its group leaves of a cut.
#[derive(Debug, Clone, PartialEq)]
pub struct Left {
    entry: i64,
    day: DayNumber,
    of: Vec<Subject>,
    /// Pounds that went in.
    input: f64,
    /// Pounds of fillet more than the fit says.
    fillet: f64,
    /// The same, in deviations of what is left of such a cut.
    deviations: f64,
}

fn left_of_group(cuts: &[&CutFact]) -> Vec<(i64, Left)> {
    let Some(like) = like_for_like::fit(cuts) else {
        return Vec::new();
    };
    let left = cuts.iter().filter_map(|cut| {
        let (fillet, deviation) = like.left(cut)?;
        let left = Left {
            entry: cut.entry,
            day: cut.day,
            of: subjects(cut),
            input: lb(cut.input()),
            fillet,
            deviations: fillet / deviation,
        };
        Some((cut.happened_us, left))
    });
    left.collect()
}

fn subjects(cut: &CutFact) -> Vec<Subject> {
    let half = |name: &str| {
        let own = cut.input_of(name);
        let both: Weight = [own, own].into_iter().sum();
        both >= cut.input()
    };
    let suppliers = cut.suppliers().into_iter();
    suppliers
        .filter(|name| !name.is_empty() && half(name))
        .map(|name| Subject::Supplier(name.to_owned()))
        .chain([
            Subject::Cutter(cut.cutter.clone()),
            Subject::Kitchen(cut.kitchen.clone()),
        ])
        .collect()
}

/// Pounds left over pounds cut.
fn pooled(left: &[&Left]) -> f64 {
    let fillet: f64 = left.iter().map(|left| left.fillet).sum();
    fillet / left.iter().map(|left| left.input).sum::<f64>()
}

/// What the charts say, without the name of whose they are.
#[must_use]
pub fn sentence(watch: &Watch) -> String {
    match watch {
        Watch::NoBaseline => "no baseline is set".to_owned(),
        Watch::BaselineTooThin { cuts, least } => {
            format!("the baseline is too thin: {cuts} of {least} cuts that differ")
        }
        Watch::Charts(charts) => match (&charts.cusum, &charts.ewma, &charts.single) {
            (Some(drift), ..) => format!(
                "since {} {} its baseline (cumulative sum; {}, found {})",
                day(drift.since),
                super::naming::points(drift.shift_e2, "points "),
                super::naming::many(i64::try_from(drift.cuts).unwrap_or(i64::MAX), "cut"),
                day(drift.found),
            ),
            (None, Some(leap), _) => format!(
                "on {} the weighted mean went {} the limit of its baseline",
                day(leap.day),
                side(leap.below)
            ),
            (None, None, Some(leap)) => format!(
                "a cut of {} was {} the limit of its baseline",
                day(leap.day),
                side(leap.below)
            ),
            (None, None, None) => {
                let cuts = i64::try_from(charts.points.len()).unwrap_or(i64::MAX);
                format!(
                    "as in its baseline ({} since)",
                    super::naming::many(cuts, "cut")
                )
            }
        },
    }
}

fn side(below: bool) -> &'static str {
    if below { "below" } else { "above" }
}

/// `YYYYMMDD` as `YYYY-MM-DD`.
fn day(day: DayNumber) -> String {
    format!(
        "{:04}-{:02}-{:02}",
        day / 10_000,
        day / 100 % 100,
        day % 100
    )
}
