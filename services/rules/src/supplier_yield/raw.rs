//! What came out of each supplier's fish.
//!
//! Where every cut was of one supplier's fish, the yield is fillet over input. Where cuts
//! mixed suppliers, their yields are the fit of fillet = sum of pounds x yield, each
//! yield from 0 to 1, the variance of a cut's fillet going with its input. A supplier
//! whose share hardly varies, or whom the others' shares say, is not told apart by it.
//! Where a yield is at 0 or 1, the intervals of those whose fish it was mixed with, and of
//! theirs in turn, come from a bootstrap over the cuts of all of them.

use std::collections::{BTreeMap, BTreeSet};

use super::{CONFIDENCE, CutFact, E2, Figure, YieldMethod, YieldRules, interval, lb, pooled};
use crate::statistics::bounded;
use crate::statistics::least_squares::{Row, Triangle};
use crate::statistics::shrink::{self, Estimate};
use crate::statistics::whole;
use crate::weight::Weight;

/// A supplier's raw yield.
pub(super) struct Raw {
    /// The figure; `None` where it is not known.
    pub(super) figure: Option<Figure>,
    /// Its value, before rounding.
    pub(super) value: Option<f64>,
    /// With whom it cannot be told apart: the one it was mixed with most.
    pub(super) mixed_up_with: Option<String>,
    /// The fit's value and error, from the spread of all cuts of the group.
    estimate: Option<Estimate>,
}

/// The raw yield of each supplier; "" is fish of a pool.
pub(super) fn fit(
    cuts: &[&CutFact],
    each: &BTreeMap<&str, Vec<&CutFact>>,
    rules: &YieldRules,
) -> BTreeMap<String, Raw> {
    let names: Vec<&str> = each.keys().copied().collect();
    let rows: Vec<Row> = cuts
        .iter()
        .map(|cut| Row {
            x: names.iter().map(|name| lb(cut.input_of(name))).collect(),
            y: lb(cut.fillet),
            weight: 1.0 / lb(cut.input()),
        })
        .collect();
    let Some(triangle) = Triangle::of(&rows, names.len()) else {
        return BTreeMap::new();
    };
    let found = bounded::fit(&triangle, names.len());
    let at_bound = at_bound(&rows, &found.inside, rules);
    each.iter()
        .enumerate()
        .map(|(column, (name, with))| {
            let alone = with.iter().filter(|cut| cut.is_alone(name));
            let own: Vec<&CutFact> = alone.copied().collect();
            let others: Vec<usize> = (0..names.len()).filter(|other| *other != column).collect();
            let mixed_most = mixed_most(with, name);
            let mixed = mixed_most.is_some();
            let mixed_up_with = mixed_most.filter(|_| {
                let inflation = triangle.inflation_about_zero(column, &others);
                inflation.is_none_or(|inflation| inflation > rules.most_inflation as f64)
                    || spread_e2(cuts, name) < rules.least_spread_e2
            });
            let value = found.coefficients.get(column).copied();
            let fitted = mixed && mixed_up_with.is_none();
            let raw = if fitted {
                let drawn = at_bound.get(&column);
                let error = found.fit.error(column).filter(|_| drawn.is_none());
                let found = drawn
                    .copied()
                    .unwrap_or_else(|| bounded::t_interval(&found, column, CONFIDENCE));
                let figure = value.and_then(|value| {
                    Some(Figure {
                        yield_e2: whole(value, E2)?,
                        error_e2: error.and_then(|error| whole(error, E2)),
                        interval_e2: interval(found),
                        method: if drawn.is_none() {
                            YieldMethod::Fitted
                        } else {
                            YieldMethod::FittedAtBound
                        },
                    })
                });
                (figure, value)
            } else {
                // Of its own cuts alone, if there are any.
                let (x, y): (Weight, Weight) = (
                    own.iter().map(|cut| cut.input()).sum(),
                    own.iter().map(|cut| cut.fillet).sum(),
                );
                (pooled(&own), (!own.is_empty()).then(|| lb(y) / lb(x)))
            };
            let estimate = match (raw.1, found.fit.error(column)) {
                (Some(value), Some(error)) if mixed_up_with.is_none() => {
                    Some(Estimate { value, error })
                }
                _ => None,
            };
            let raw = Raw {
                figure: raw.0,
                value: raw.1,
                mixed_up_with,
                estimate,
            };
            ((*name).to_owned(), raw)
        })
        .collect()
}

/// Intervals of the columns of which one is at a bound, or that share rows with such a
/// one, or with one that does, and so on; each lot of them drawn for itself.
fn at_bound(
    rows: &[Row],
    inside: &[bool],
    rules: &YieldRules,
) -> BTreeMap<usize, Option<(f64, f64)>> {
    let mut found = BTreeMap::new();
    let bound = inside.iter().enumerate().filter(|(_, inside)| !**inside);
    for (column, _) in bound {
        if found.contains_key(&column) {
            continue;
        }
        let together = together(rows, column);
        let of_them: Vec<Row> = rows
            .iter()
            .map(|row| Row {
                x: picked(&row.x, &together),
                ..row.clone()
            })
            .filter(|row| row.x.iter().any(|x| *x > 0.0))
            .collect();
        let drawn = bounded::bootstrap(
            &of_them,
            together.len(),
            CONFIDENCE,
            rules.draws,
            rules.seed,
        );
        found.extend(together.into_iter().zip(drawn));
    }
    found
}

/// The columns that share rows with `column`, or with one that does, and so on.
fn together(rows: &[Row], column: usize) -> BTreeSet<usize> {
    let mut together = BTreeSet::from([column]);
    loop {
        let known = together.len();
        for row in rows {
            if picked(&row.x, &together).iter().any(|x| *x > 0.0) {
                let in_row = row.x.iter().enumerate().filter(|(_, x)| **x > 0.0);
                together.extend(in_row.map(|(column, _)| column));
            }
        }
        if together.len() == known {
            return together;
        }
    }
}

fn picked(x: &[f64], columns: &BTreeSet<usize>) -> Vec<f64> {
    let of = columns.iter().filter_map(|column| x.get(*column));
    of.copied().collect()
}

/// Each supplier's yield drawn towards the group's, in hundredths of a percent. The
/// error is that of the common fit, so that two cuts which happen to agree do not make a
/// supplier sure.
pub(super) fn shrunk(raw: &BTreeMap<String, Raw>, group: &Figure) -> BTreeMap<String, i64> {
    let known: Vec<(&String, Estimate)> = raw
        .iter()
        .filter(|(name, _)| !name.is_empty())
        .filter_map(|(name, raw)| Some((name, raw.estimate?)))
        .collect();
    let estimates: Vec<Estimate> = known.iter().map(|(_, estimate)| *estimate).collect();
    let Some(between) = shrink::between(&estimates) else {
        return BTreeMap::new();
    };
    let towards = group.yield_e2 as f64 / E2;
    known
        .into_iter()
        .filter_map(|(name, estimate)| {
            let shrunk = shrink::shrunk(estimate, towards, between);
            Some((name.clone(), whole(shrunk, E2)?))
        })
        .collect()
}

/// With whose fish a supplier's was mixed most in its cuts, by that one's pounds; first
/// in order of name where two are equal.
fn mixed_most(cuts: &[&CutFact], name: &str) -> Option<String> {
    let mut with: BTreeMap<&str, Weight> = BTreeMap::new();
    for cut in cuts.iter().filter(|cut| !cut.is_alone(name)) {
        for other in cut.suppliers().into_iter().filter(|other| *other != name) {
            let sum = with.entry(other).or_default();
            *sum = [*sum, cut.input_of(other)].into_iter().sum();
        }
    }
    let most = with.values().copied().max()?;
    let found = with.into_iter().find(|(_, weight)| *weight == most);
    found.map(|(other, _)| other.to_owned())
}

/// How much a supplier's share varies over the cuts of it and of those it was mixed
/// with, in hundredths of a point.
fn spread_e2(cuts: &[&CutFact], name: &str) -> i64 {
    let near: BTreeSet<&str> = cuts
        .iter()
        .filter(|cut| cut.suppliers().contains(name))
        .flat_map(|cut| cut.suppliers())
        .collect();
    let shares: Vec<i64> = cuts
        .iter()
        .filter(|cut| cut.suppliers().iter().any(|other| near.contains(other)))
        .filter_map(|cut| whole(lb(cut.input_of(name)) / lb(cut.input()), E2))
        .collect();
    let most = shares.iter().max().copied().unwrap_or_default();
    most - shares.iter().min().copied().unwrap_or_default()
}
