//! The arithmetic of judging against scipy and statsmodels, over random cases: the cases
//! and what the rules answer go into one file, which a script works out anew.

use rules::fish::{Condition, Presentation};
use rules::statistics::least_squares::{Row, Triangle};
use rules::statistics::{bounded, false_discovery, quantile, shrink};
use rules::supplier_yield::{CutFact, CutShare, SupplierYield, Verdict, YieldRules, judge};
use rules::weight::Weight;
use serde_json::{Value, json};

use super::python;
use crate::chance::{Chance, begin, seeds};

#[test]
#[ignore = "needs Python; run by tests/all"]
fn suppliers_are_judged_as_by_statsmodels_over_random_seasons() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("seasons.json");
    for seed in seeds(&[20_310_502]) {
        let mut chance = begin(seed);
        let seasons: Vec<Value> = (0..150).map(|_| a_season(&mut chance)).collect();
        std::fs::write(&file, json!(seasons).to_string()).unwrap();
        println!(
            "{}",
            python("tests/outside/supplier_yield.py", None, &[&file])
        );
    }
}

/// Cuts of some suppliers under some cutters, and how they are judged.
fn a_season(chance: &mut Chance) -> Value {
    let suppliers = chance.between(2, 9);
    // Some are low, by as much as is hard to tell and by more.
    let truth: Vec<f64> = (0..suppliers)
        .map(|_| {
            let low = if chance.once_in(3) {
                number(chance, 0.0, 0.08)
            } else {
                0.0
            };
            0.30 - low
        })
        .collect();
    let mixed = chance.once_in(2);
    let mut cuts = Vec::new();
    for n in 0..suppliers * chance.between(8, 16) {
        let (cutter, joe) = *chance
            .one_of(&[("ida", 0.0), ("joe", 0.02), ("kim", -0.01)])
            .unwrap();
        let mut whose = vec![n % suppliers];
        if mixed && chance.once_in(3) {
            whose.push((n + chance.between(1, suppliers)) % suppliers);
        }
        let mut fillet = 0.0;
        let mut inputs = Vec::new();
        for supplier in whose {
            let (band, small) = *chance.one_of(&[("a", 0.0), ("b", 0.03)]).unwrap();
            let (condition, torn) = *chance
                .one_of(&[(Condition::Clean, 0.0), (Condition::Torn, 0.015)])
                .unwrap();
            let weight = chance.between(200, 4000) * 453_592_370;
            let share = truth[supplier as usize] - joe - small - torn;
            fillet += weight as f64 * share;
            inputs.push(CutShare {
                supplier: format!("supplier-{supplier}"),
                band: band.to_owned(),
                condition: Some(condition),
                pieces: None,
                weight: Weight::from_units(weight),
            });
        }
        // Twelve even ones are near enough to a bell.
        let bell: f64 = (0..12).map(|_| number(chance, -0.5, 0.5)).sum();
        let input: i64 = inputs.iter().map(|share| share.weight.units()).sum();
        // Of 20 lb a deviation of 1.5 points.
        let noise = bell * 0.015 * (input as f64 * 20.0 * 45_359_237_000.0).sqrt();
        cuts.push(CutFact {
            entry: n,
            day: 20_310_502 + n / 4,
            happened_us: n,
            cutter: cutter.to_owned(),
            kitchen: String::new(),
            specification: "skinless".to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            inputs,
            fillet: Weight::from_units((fillet + noise) as i64),
            minutes_e2: None,
        });
    }
    let group = judge(&cuts, &YieldRules::default(), &[]).remove(0);
    json!({
        "cuts": cuts.iter().map(|cut| json!({
            "cutter": cut.cutter, "day": cut.day, "fillet": cut.fillet.units(),
            "inputs": cut.inputs.iter().map(|share| json!({
                "supplier": share.supplier, "band": share.band,
                "condition": share.condition.map(Condition::word), "weight": share.weight.units(),
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "pooled": [group.pooled.yield_e2, group.pooled.error_e2.unwrap()],
        "suppliers": group.suppliers.iter().map(judged).collect::<Vec<_>>(),
    })
}

fn judged(own: &SupplierYield) -> Value {
    let verdict = match own.verdict {
        Verdict::Low => "low",
        Verdict::NoDifference => "no difference",
        Verdict::TooLittle => "too little",
        Verdict::NotSeparable(_)
        | Verdict::SupplierOrKitchen
        | Verdict::Alone
        | Verdict::NoCutLeft => "not separable",
    };
    json!({
        "supplier": own.supplier, "verdict": verdict, "shrunk": own.shrunk_e2,
        "raw": own.raw.map(|raw| json!([raw.yield_e2, raw.error_e2, raw.interval_e2])),
        "inflation": own.inflation_e2,
        "comparison": own.comparison.map(|found| json!([
            found.rest_e2, found.error_e2, found.interval_e2, found.chance_ppm
        ])),
        "parts": own.parts.map(|parts| json!([
            parts.difference_e2, parts.band_e2, parts.condition_e2, parts.cutter_e2,
            parts.rest_e2
        ])),
    })
}

#[test]
#[ignore = "needs Python; run by tests/all"]
fn statistics_agree_with_scipy_and_statsmodels_over_random_cases() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cases.json");
    for seed in seeds(&[20_310_502]) {
        let mut chance = begin(seed);
        let mut many = |n, case: fn(&mut Chance) -> Value| -> Vec<Value> {
            (0..n).map(|_| case(&mut chance)).collect()
        };
        let cases = json!({
            "quantiles": many(400, quantiles),
            "fits": many(300, a_fit),
            "bounded": many(400, a_bounded_fit),
            "discoveries": many(300, discoveries),
            "between": many(200, between),
        });
        std::fs::write(&file, cases.to_string()).unwrap();
        println!("{}", python("tests/outside/judged.py", None, &[&file]));
    }
}

/// From `from` to `to`, in millionths of the way.
fn number(chance: &mut Chance, from: f64, to: f64) -> f64 {
    from + (to - from) * chance.between(0, 1_000_001) as f64 / 1e6
}

fn quantiles(chance: &mut Chance) -> Value {
    let p = number(chance, 0.0005, 0.9995);
    // Half of them whole and few, as the cuts of a supplier are.
    let degrees = if chance.once_in(2) {
        chance.between(1, 40) as f64
    } else {
        number(chance, 0.7, 3000.0)
    };
    let value = number(chance, -12.0, 12.0);
    json!({
        "p": p, "degrees": degrees, "value": value,
        "normal": quantile::normal(p).unwrap(),
        "t": quantile::t(p, degrees).unwrap(),
        "chi_square": quantile::chi_square(p, degrees).unwrap(),
        "t_below": quantile::t_below(value, degrees).unwrap(),
    })
}

fn a_fit(chance: &mut Chance) -> Value {
    let columns = chance.between(2, 6) as usize;
    let n = columns + chance.between(2, 40) as usize;
    let rows: Vec<Row> = (0..n)
        .map(|_| {
            let mut x = vec![1.0];
            x.extend((1..columns).map(|_| number(chance, -3.0, 30.0)));
            // The last column leans on the first but one, so that inflations are large.
            if columns > 2 {
                x[columns - 1] = x[1] + number(chance, -2.0, 2.0);
            }
            let y = x.iter().sum::<f64>() * 0.3 + number(chance, -2.0, 2.0);
            Row {
                x,
                y,
                weight: number(chance, 0.05, 4.0),
            }
        })
        .collect();
    let triangle = Triangle::of(&rows, columns).unwrap();
    let fit = triangle.fit();
    let of = |value: fn(&rules::statistics::least_squares::Fit, usize) -> Option<f64>| {
        (0..columns)
            .map(|column| value(&fit, column).unwrap())
            .collect::<Vec<f64>>()
    };
    let others = |column: usize| -> Vec<usize> { (1..columns).filter(|c| *c != column).collect() };
    let inflations: Vec<f64> = (1..columns)
        .map(|column| triangle.inflation(column, &others(column)).unwrap())
        .collect();
    let deviation = fit.residual_deviation().unwrap();
    let leverages: Vec<f64> = rows.iter().map(|row| fit.leverage(row).unwrap()).collect();
    let standardized: Vec<f64> = rows
        .iter()
        .zip(&leverages)
        .map(|(row, leverage)| {
            let of_row = deviation * ((1.0 - leverage) / row.weight).sqrt();
            (row.y - fit.fitted(&row.x)) / of_row
        })
        .collect();
    json!({
        "x": rows.iter().map(|row| row.x.clone()).collect::<Vec<_>>(),
        "y": rows.iter().map(|row| row.y).collect::<Vec<_>>(),
        "weights": rows.iter().map(|row| row.weight).collect::<Vec<_>>(),
        "coefficients": of(|fit, column| fit.coefficient(column)),
        "errors": of(|fit, column| fit.error(column)),
        "deviation": deviation,
        "leverages": leverages,
        "standardized": standardized,
        "r_squared": fit.r_squared().unwrap(),
        "inflations": inflations,
    })
}

fn a_bounded_fit(chance: &mut Chance) -> Value {
    let columns = chance.between(2, 7) as usize;
    let n = columns + chance.between(1, 30) as usize;
    // Some of them where no yield can be, so that bounds are met, at both ends.
    let truth: Vec<f64> = (0..columns).map(|_| number(chance, -0.4, 1.4)).collect();
    let rows: Vec<Row> = (0..n)
        .map(|_| {
            let x: Vec<f64> = (0..columns).map(|_| number(chance, 0.0, 20.0)).collect();
            let input: f64 = x.iter().sum::<f64>() + 0.01;
            let y: f64 = x.iter().zip(&truth).map(|(x, b)| x * b).sum();
            Row {
                y: y + number(chance, -2.0, 2.0),
                weight: 1.0 / input,
                x,
            }
        })
        .collect();
    let found = bounded::fit(&Triangle::of(&rows, columns).unwrap(), columns);
    json!({
        "x": rows.iter().map(|row| row.x.clone()).collect::<Vec<_>>(),
        "y": rows.iter().map(|row| row.y).collect::<Vec<_>>(),
        "weights": rows.iter().map(|row| row.weight).collect::<Vec<_>>(),
        "coefficients": found.coefficients,
        "inside": found.inside,
    })
}

fn discoveries(chance: &mut Chance) -> Value {
    let n = chance.between(1, 40);
    let p: Vec<f64> = (0..n)
        .map(|_| {
            let p = number(chance, 0.0, 1.0);
            // Low ones and equal ones, as well.
            if chance.once_in(2) {
                p * p * p * 0.1
            } else {
                (p * 20.0).round() / 20.0
            }
        })
        .collect();
    let q = number(chance, 0.01, 0.3);
    json!({ "p": p, "q": q, "rejected": false_discovery::rejected(&p, q) })
}

fn between(chance: &mut Chance) -> Value {
    let n = chance.between(2, 15);
    let groups: Vec<shrink::Estimate> = (0..n)
        .map(|_| shrink::Estimate {
            value: number(chance, 0.2, 0.4),
            error: number(chance, 0.005, 0.1),
        })
        .collect();
    json!({
        "values": groups.iter().map(|group| group.value).collect::<Vec<_>>(),
        "errors": groups.iter().map(|group| group.error).collect::<Vec<_>>(),
        "between": shrink::between(&groups).unwrap(),
    })
}
