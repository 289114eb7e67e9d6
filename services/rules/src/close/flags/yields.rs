//! Suppliers whose fish is known to cut out low, and charts that signal.
//!
//! A supplier is named on the days on which its fish was cut, a chart on the day of its
//! first signal: nothing is raised again for what was said before. Neither changes what
//! anybody is paid.

use super::flag;
use crate::close::table::TableSays;
use crate::close::{DayInput, Flag, FlagKind, LossBy, SupplierRow, YieldGroupRow};
use crate::weight::Weight;

/// Suppliers named low whose fish was cut on the day.
pub(super) fn low(day: &DayInput, says: &TableSays) -> Vec<Flag> {
    let mut flags = Vec::new();
    for group in &says.yields {
        for own in group.suppliers.iter().filter(|own| own.named_low) {
            if cut_today(day, group, own) {
                flags.push(low_supplier(day, says, group, own));
            }
        }
    }
    flags
}

fn cut_today(day: &DayInput, group: &YieldGroupRow, own: &SupplierRow) -> bool {
    day.cut_facts.iter().any(|fact| {
        fact.day == day.day
            && fact.species == group.species
            && fact.presentation == group.presentation
            && fact.specification == group.specification
            && fact.kitchen.is_empty() != group.customer_kitchen
            && fact.input_of(&own.supplier) > Weight::ZERO
    })
}

fn low_supplier(
    day: &DayInput,
    says: &TableSays,
    group: &YieldGroupRow,
    own: &SupplierRow,
) -> Flag {
    let form = group.presentation.word();
    let text = format!(
        "Fish of {}, {} {form} to {}: {}. It changes nobody's pay.",
        own.supplier, group.species, group.specification, own.says
    );
    let subject = format!(
        "{} {} {} {}{}",
        own.supplier,
        group.species,
        group.presentation.number(),
        group.specification,
        if group.customer_kitchen {
            " customers"
        } else {
            ""
        }
    );
    let lost = says.losses.iter().find(|loss| {
        loss.by == LossBy::Supplier
            && loss.name == own.supplier
            && loss.customer_kitchen == group.customer_kitchen
    });
    let points =
        |e2: Option<i64>| e2.map_or("not known".to_owned(), |e2| crate::decimal::text(e2, 2));
    let evidence = [
        ("yield less that of the others, points", own.difference_e2),
        ("of that, other bands", own.band_e2),
        ("of that, condition", own.condition_e2),
        ("of that, who cut it", own.cutter_e2),
        ("of that, which kitchen", own.kitchen_e2),
        ("what is left", own.rest_e2),
    ]
    .map(|(what, e2)| format!("{what}: {}", points(e2)));
    let (weight, minor) = lost.map_or((Weight::ZERO, 0), |loss| {
        (loss.missing_fillet, loss.material.minor())
    });
    Flag {
        evidence: evidence.to_vec(),
        ..flag(day, FlagKind::SupplierLow, subject, text).at_stake(weight, minor)
    }
}

/// Charts whose first signal is of the day.
pub(super) fn signals(day: &DayInput, says: &TableSays) -> Vec<Flag> {
    says.charts
        .iter()
        .filter(|chart| chart.found == Some(day.day))
        .map(|chart| {
            let follows = chart.follows.word();
            let text = format!("Yield of {follows} {}: {}.", chart.party, chart.says);
            let subject = format!("{follows} {}", chart.party);
            let last = chart.values_e2.iter().rev().take(8).rev();
            let last = last.map(|value| crate::decimal::text(*value, 2));
            Flag {
                evidence: vec![format!(
                    "latest cuts, in deviations of the baseline: {}",
                    last.collect::<Vec<_>>().join(", ")
                )],
                ..flag(day, FlagKind::YieldDrift, subject, text)
            }
        })
        .collect()
}
