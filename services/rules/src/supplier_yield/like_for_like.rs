//! Like for like: a supplier's fish against others' of the same band and condition,
//! under the same cutter, in the same kitchen.
//!
//! One weighted fit of all cuts of a group:
//!
//! fillet = sum over what went in of pounds x (all + band + condition + supplier)
//!          + input x (cutter + kitchen),
//!
//! the variance of a cut's fillet going with its input. Every level has its column, and
//! only differences that the cuts do tell are ever asked for, so no level is a special
//! one. A supplier is compared with the pound-weighted mean of those others who can
//! themselves be told apart.

use std::collections::{BTreeMap, BTreeSet};

use super::raw::Raw;
use super::{
    CONFIDENCE, Cause, Comparison, CutFact, CutShare, E2, Parts, SupplierYield, YieldRules, lb,
};
use crate::fish::Condition;
use crate::statistics::least_squares::{Fit, Row, Triangle};
use crate::statistics::{quantile, whole};
use crate::weight::Weight;

/// What others at least must say of a cut in the fit, for what is left of it to be charted.
const LEAST_OTHERS_SAY: f64 = 0.1;

/// A column of the fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Column<'a> {
    /// All of the input.
    All,
    Band(&'a str),
    Condition(Option<Condition>),
    Cutter(&'a str),
    Kitchen(&'a str),
    Supplier(&'a str),
}

/// The fit of a group.
pub(super) struct Like<'a> {
    columns: Vec<Column<'a>>,
    triangle: Triangle,
    fit: Fit,
}

/// Fits a group's cuts.
pub(super) fn fit<'a>(cuts: &[&'a CutFact]) -> Option<Like<'a>> {
    let columns: BTreeSet<Column<'a>> = cuts
        .iter()
        .flat_map(|cut| cut.inputs.iter().map(move |share| (cut, share)))
        .filter(|(_, share)| share.weight > Weight::ZERO)
        .flat_map(|(cut, share)| columns_of(cut, share))
        .collect();
    let columns: Vec<Column<'a>> = columns.into_iter().collect();
    let rows: Vec<Row> = cuts.iter().map(|cut| row(&columns, cut)).collect();
    let triangle = Triangle::of(&rows, columns.len())?;
    Some(Like {
        fit: triangle.fit(),
        columns,
        triangle,
    })
}

/// The cut over its input: shares say its yield, the more surely the larger it is. So the
/// column of all is the constant that inflations and likenesses are about.
fn row(columns: &[Column<'_>], cut: &CutFact) -> Row {
    let mut pounds = BTreeMap::new();
    put_pounds(&mut pounds, cut, |_| true);
    let input = lb(cut.input());
    let of = |column: &Column<'_>| pounds.get(column).copied().map_or(0.0, lb) / input;
    Row {
        x: columns.iter().map(of).collect(),
        y: lb(cut.fillet) / input,
        weight: input,
    }
}

/// The columns that a share of a cut stands under.
fn columns_of<'a>(cut: &'a CutFact, share: &'a CutShare) -> [Column<'a>; 6] {
    [
        Column::All,
        Column::Band(&share.band),
        Column::Condition(share.condition),
        Column::Cutter(&cut.cutter),
        Column::Kitchen(&cut.kitchen),
        Column::Supplier(&share.supplier),
    ]
}

/// Adds the pounds of those shares of a cut that are `of` something to each column.
fn put_pounds<'a>(
    sums: &mut BTreeMap<Column<'a>, Weight>,
    cut: &'a CutFact,
    of: impl Fn(&CutShare) -> bool,
) {
    let shares = cut.inputs.iter();
    for share in shares.filter(|share| share.weight > Weight::ZERO && of(share)) {
        for column in columns_of(cut, share) {
            let sum = sums.entry(column).or_default();
            *sum = [*sum, share.weight].into_iter().sum();
        }
    }
}

impl Like<'_> {
    /// Pounds of fillet of a cut more than the fit says, and the deviation of such a
    /// remainder: the larger the cut, the more, and the more it had its own say in the fit,
    /// the less. `None` where it says nearly all of it itself, as the only cut of a supplier
    /// does: what is left of such a cut tells nothing.
    pub(super) fn left(&self, cut: &CutFact) -> Option<(f64, f64)> {
        let (row, input) = (row(&self.columns, cut), lb(cut.input()));
        let left = lb(cut.fillet) - input * self.fit.fitted(&row.x);
        let others_say = 1.0 - self.fit.leverage(&row)?;
        let of_a_pound = self.fit.residual_deviation().filter(|found| *found > 0.0)?;
        let deviation = of_a_pound * libm::sqrt(input * others_say);
        (others_say >= LEAST_OTHERS_SAY).then_some((left, deviation))
    }

    fn supplier(&self, name: &str) -> Option<usize> {
        self.columns.binary_search(&Column::Supplier(name)).ok()
    }

    /// Those of `others` from whom `name` can be told apart at all.
    fn tellable<'a>(&self, name: &str, others: &[&'a SupplierYield]) -> Vec<&'a SupplierYield> {
        let tellable = |other: &&&SupplierYield| {
            let pair = || {
                Some([
                    (self.supplier(name)?, 1.0),
                    (self.supplier(&other.supplier)?, -1.0),
                ])
            };
            pair().is_some_and(|pair| self.fit.sum(&pair).is_some())
        };
        others.iter().filter(tellable).copied().collect()
    }

    /// Variance inflation of a supplier's column beside everything else, the largest of
    /// the other suppliers being what it is compared with; `None` is without end.
    fn inflation(&self, name: &str, others: &[&SupplierYield]) -> Option<f64> {
        let tellable = self.tellable(name, others);
        let most = tellable.iter().map(|other| other.input).max()?;
        let base = tellable.iter().find(|other| other.input == most)?;
        let base = self.supplier(&base.supplier)?;
        let own = self.supplier(name)?;
        let against: Vec<usize> = (0..self.columns.len())
            .filter(|column| *column != own && *column != base)
            .collect();
        self.triangle.inflation(own, &against)
    }

    /// What a supplier that is not separable comes with.
    pub(super) fn cause(&self, name: &str) -> Cause {
        let Some(own) = self.supplier(name) else {
            return Cause::Together;
        };
        let mut most: Option<(f64, Cause)> = None;
        for (place, column) in self.columns.iter().enumerate() {
            let cause = match column {
                Column::All => continue,
                Column::Supplier(other) if *other == name => continue,
                Column::Band(band) => Cause::Band((*band).to_owned()),
                Column::Condition(condition) => Cause::Condition(*condition),
                Column::Cutter(cutter) => Cause::Cutter((*cutter).to_owned()),
                Column::Kitchen(kitchen) => Cause::Kitchen((*kitchen).to_owned()),
                Column::Supplier(other) => Cause::Supplier((*other).to_owned()),
            };
            // Half of what varies, or nothing of it alone is the cause.
            let alike = self.triangle.correlation(own, place).unwrap_or_default();
            if alike > most.as_ref().map_or(0.5, |(most, _)| most + 1e-9) {
                most = Some((alike, cause));
            }
        }
        most.map_or(Cause::Together, |(_, cause)| cause)
    }
}

/// Compares each supplier with the others.
pub(super) fn compare(
    like: &Like<'_>,
    raw: &BTreeMap<String, Raw>,
    each: &BTreeMap<&str, Vec<&CutFact>>,
    rules: &YieldRules,
    suppliers: &mut [SupplierYield],
) {
    let all = suppliers.to_vec();
    let each = pounds_of_each(each);
    let others = |name: &str| -> Vec<&SupplierYield> {
        all.iter().filter(|other| other.supplier != name).collect()
    };
    let inflations: BTreeMap<String, f64> = all
        .iter()
        .filter_map(|own| {
            let inflation = like.inflation(&own.supplier, &others(&own.supplier))?;
            Some((own.supplier.clone(), inflation))
        })
        .collect();
    let separable = |name: &str| {
        let inflation = inflations.get(name);
        inflation.is_some_and(|inflation| *inflation <= rules.most_inflation as f64)
            && raw.get(name).is_some_and(|raw| raw.mixed_up_with.is_none())
    };
    for own in suppliers {
        let name = own.supplier.as_str();
        own.inflation_e2 = inflations.get(name).and_then(|value| whole(*value, 100.0));
        let mut beside = like.tellable(name, &others(name));
        beside.retain(|other| separable(&other.supplier));
        if beside.is_empty() || !separable(name) {
            continue;
        }
        let contrast = Contrast {
            own: shares(&each, [name]),
            others: shares(&each, beside.iter().map(|other| other.supplier.as_str())),
        };
        own.comparison = comparison(like, &contrast, rules);
        own.parts = parts(like, &contrast, raw, name, &beside);
    }
}

/// Pounds of each supplier under each column.
fn pounds_of_each<'a>(
    each: &BTreeMap<&'a str, Vec<&'a CutFact>>,
) -> BTreeMap<&'a str, BTreeMap<Column<'a>, Weight>> {
    let of = |(name, cuts): (&&'a str, &Vec<&'a CutFact>)| {
        let mut sums = BTreeMap::new();
        for cut in cuts {
            put_pounds(&mut sums, cut, |share| share.supplier == *name);
        }
        (*name, sums)
    };
    each.iter().map(of).collect()
}

fn gather<'a>(sums: &mut BTreeMap<Column<'a>, Weight>, more: BTreeMap<Column<'a>, Weight>) {
    for (column, weight) in more {
        let sum = sums.entry(column).or_default();
        *sum = [*sum, weight].into_iter().sum();
    }
}

/// Shares of the pounds of some suppliers under each column.
fn shares<'a, 'n>(
    each: &BTreeMap<&'a str, BTreeMap<Column<'a>, Weight>>,
    names: impl IntoIterator<Item = &'n str>,
) -> BTreeMap<Column<'a>, f64> {
    let mut pounds = BTreeMap::new();
    for own in names.into_iter().filter_map(|name| each.get(name)) {
        gather(&mut pounds, own.clone());
    }
    let all = pounds.get(&Column::All).copied().map_or(1.0, lb);
    pounds
        .into_iter()
        .map(|(column, weight)| (column, lb(weight) / all))
        .collect()
}

/// A supplier's fish and the others'.
struct Contrast<'a> {
    own: BTreeMap<Column<'a>, f64>,
    others: BTreeMap<Column<'a>, f64>,
}

impl Contrast<'_> {
    /// Difference of shares under the columns that are `of` a kind.
    fn terms(&self, like: &Like<'_>, of: impl Fn(&Column<'_>) -> bool) -> Vec<(usize, f64)> {
        let columns = like
            .columns
            .iter()
            .enumerate()
            .filter(|(_, column)| of(column));
        columns
            .map(|(place, column)| {
                let share =
                    |of: &BTreeMap<Column<'_>, f64>| of.get(column).copied().unwrap_or_default();
                (place, share(&self.own) - share(&self.others))
            })
            .collect()
    }
}

fn comparison(like: &Like<'_>, contrast: &Contrast<'_>, rules: &YieldRules) -> Option<Comparison> {
    let rest = contrast.terms(like, |column| matches!(column, Column::Supplier(_)));
    let rest = like.fit.sum(&rest)?;
    let error = rest.error?;
    let degrees = like.fit.degrees() as f64;
    let half = quantile::t(f64::midpoint(1.0, CONFIDENCE), degrees).ok()? * error;
    let gap = rules.least_gap_e2 as f64 / E2;
    // Without any spread it is sure, on the side where it is.
    let chance = if error > 0.0 {
        quantile::t_below((rest.value + gap) / error, degrees).ok()?
    } else if rest.value < -gap {
        0.0
    } else {
        1.0
    };
    Some(Comparison {
        rest_e2: whole(rest.value, E2)?,
        error_e2: whole(error, E2)?,
        interval_e2: (whole(rest.value - half, E2)?, whole(rest.value + half, E2)?),
        chance_ppm: whole(chance, 1e6)?,
    })
}

fn parts(
    like: &Like<'_>,
    contrast: &Contrast<'_>,
    raw: &BTreeMap<String, Raw>,
    name: &str,
    beside: &[&SupplierYield],
) -> Option<Parts> {
    let of = |kind: fn(&Column<'_>) -> bool| {
        let sum = like.fit.sum(&contrast.terms(like, kind))?;
        whole(sum.value, E2)
    };
    let value = |name: &str| raw.get(name)?.value;
    let mut fillet = 0.0;
    let mut input = 0.0;
    for other in beside {
        fillet += lb(other.input) * value(&other.supplier)?;
        input += lb(other.input);
    }
    let difference_e2 = whole(value(name)? - fillet / input, E2)?;
    let band_e2 = of(|column| matches!(column, Column::Band(_)))?;
    let condition_e2 = of(|column| matches!(column, Column::Condition(_)))?;
    let cutter_e2 = of(|column| matches!(column, Column::Cutter(_)))?;
    let kitchen_e2 = of(|column| matches!(column, Column::Kitchen(_)))?;
    let rest_e2 = of(|column| matches!(column, Column::Supplier(_)))?;
    Some(Parts {
        difference_e2,
        band_e2,
        condition_e2,
        cutter_e2,
        kitchen_e2,
        rest_e2,
        fits_e2: difference_e2 - band_e2 - condition_e2 - cutter_e2 - kitchen_e2 - rest_e2,
    })
}
