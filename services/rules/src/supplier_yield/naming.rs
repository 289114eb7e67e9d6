//! Who is named, and how it reads.
//!
//! A supplier is named low only where all of this holds: enough cuts, pounds and days;
//! separable from who cut it and whose fish it was mixed with; not cut by one customer's
//! kitchen alone; the whole 95 % interval of the like-for-like difference at least the
//! gap under; and rejected by false-discovery control among all suppliers of the group
//! who could have been named. What is tested there is what would be said: that the
//! difference is more than the gap.

use std::collections::{BTreeMap, BTreeSet};

use super::like_for_like::Like;
use super::raw::Raw;
use super::{Cause, CutFact, SupplierYield, Verdict, YieldRules};
use crate::statistics::false_discovery;
use crate::weight::{Weight, WeightUnit};

/// Gives each supplier its verdict.
pub(super) fn name(
    like: Option<&Like<'_>>,
    raw: &BTreeMap<String, Raw>,
    each: &BTreeMap<&str, Vec<&CutFact>>,
    rules: &YieldRules,
    suppliers: &mut [SupplierYield],
) {
    let alone = suppliers.len() < 2;
    let mut tested: Vec<(usize, f64, bool)> = Vec::new();
    for (place, own) in suppliers.iter_mut().enumerate() {
        let cuts = each.get(own.supplier.as_str()).into_iter().flatten();
        let kitchens: BTreeSet<&str> = cuts.map(|cut| cut.kitchen.as_str()).collect();
        let one_customer = kitchens.len() == 1 && !kitchens.contains("");
        let mixed_up_with = raw
            .get(&own.supplier)
            .and_then(|raw| raw.mixed_up_with.clone());
        let separable = own
            .inflation_e2
            .is_some_and(|inflation| inflation <= rules.most_inflation.saturating_mul(100));
        own.verdict = if is_too_little(own) {
            Verdict::TooLittle
        } else if alone {
            Verdict::Alone
        } else if one_customer {
            Verdict::SupplierOrKitchen
        } else if let Some(other) = mixed_up_with {
            Verdict::NotSeparable(Cause::Supplier(other))
        } else if !separable {
            Verdict::NotSeparable(like.map_or(Cause::Together, |like| like.cause(&own.supplier)))
        } else if let Some(comparison) = own.comparison {
            let under = comparison.interval_e2.1 <= rules.least_gap_e2.saturating_neg();
            tested.push((place, comparison.chance_ppm as f64 / 1e6, under));
            Verdict::NoDifference
        } else {
            Verdict::NoCutLeft
        };
    }
    let chances: Vec<f64> = tested.iter().map(|(_, chance, _)| *chance).collect();
    let level = rules.false_discovery_ppm as f64 / 1e6;
    let rejected = false_discovery::rejected(&chances, level);
    for ((place, _, under), rejected) in tested.into_iter().zip(rejected) {
        if let Some(own) = suppliers.get_mut(place).filter(|_| under && rejected) {
            own.verdict = Verdict::Low;
        }
    }
}

fn is_too_little(own: &SupplierYield) -> bool {
    let rules = &own.rules;
    own.cuts < rules.least_cuts || own.input < rules.least_weight || own.days < rules.least_days
}

/// What is said of a supplier, without its name.
#[must_use]
pub fn sentence(own: &SupplierYield) -> String {
    let lb = |weight: Weight| weight.shown(WeightUnit::Lb);
    match &own.verdict {
        Verdict::Low => format!(
            "cuts out {} like-for-like fish of others ({}; {}, {} lb, {})",
            compared(own),
            interval(own),
            many(own.cuts, "cut"),
            lb(own.input),
            many(own.days, "day"),
        ),
        Verdict::NoDifference => {
            format!(
                "{}: {} like-for-like fish of others ({})",
                if covers_nothing(own) {
                    "no difference shown"
                } else {
                    "no difference that names anybody"
                },
                compared(own),
                interval(own)
            )
        }
        Verdict::NotSeparable(cause) => format!("cannot be told apart from {}", caused(cause)),
        Verdict::SupplierOrKitchen => "supplier or kitchen, cannot say".to_owned(),
        Verdict::TooLittle => format!(
            "too little to say: {} of {} cuts, {} of {} lb, {} of {} days",
            own.cuts,
            own.rules.least_cuts,
            lb(own.input),
            lb(own.rules.least_weight),
            own.days,
            own.rules.least_days,
        ),
        Verdict::Alone => "no other supplier's fish to compare with".to_owned(),
        Verdict::NoCutLeft => "too little to say: no cut is left to tell it from chance".to_owned(),
    }
}

fn caused(cause: &Cause) -> String {
    let or = |name: &str, none: &str| {
        if name.is_empty() {
            none.to_owned()
        } else {
            name.to_owned()
        }
    };
    match cause {
        Cause::Cutter(cutter) if cutter.is_empty() => "cuts whose cutter is not said".to_owned(),
        Cause::Cutter(cutter) => format!("cutter {cutter}"),
        Cause::Kitchen(kitchen) => format!("kitchen {}", or(kitchen, "own table")),
        Cause::Band(band) if band.is_empty() => "fish without a band".to_owned(),
        Cause::Band(band) => format!("band {band}"),
        Cause::Condition(Some(condition)) => format!("condition {}", condition.word()),
        Cause::Condition(None) => "fish whose condition is not said".to_owned(),
        Cause::Supplier(other) if other.is_empty() => "a pool it was mixed with".to_owned(),
        Cause::Supplier(other) => format!("supplier {other}"),
        Cause::Together => "who cut it and what fish it was, together".to_owned(),
    }
}

fn compared(own: &SupplierYield) -> String {
    own.comparison.map_or_else(String::new, |comparison| {
        points(comparison.rest_e2, "points ")
    })
}

/// Whether the interval has no difference in it.
fn covers_nothing(own: &SupplierYield) -> bool {
    own.comparison.is_none_or(|comparison| {
        let (from, to) = comparison.interval_e2;
        from <= 0 && 0 <= to
    })
}

fn interval(own: &SupplierYield) -> String {
    let Some(comparison) = own.comparison else {
        return String::new();
    };
    let (from, to) = comparison.interval_e2;
    format!("95 % interval {} to {}", points(from, ""), points(to, ""))
}

/// Hundredths of a point as tenths, half away from zero, and the side they are on.
pub(super) fn points(e2: i64, unit: &str) -> String {
    let tenths = crate::decimal::half_up(i128::from(e2), 10).unwrap_or_default();
    let side = if tenths < 0 { "under" } else { "over" };
    let size = crate::decimal::text(tenths.saturating_abs(), 1);
    format!("{size} {unit}{side}")
}

pub(super) fn many(n: i64, what: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{n} {what}{s}")
}
