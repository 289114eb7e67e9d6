use super::*;
use crate::close::judge;
use crate::close::tests::{Told, day};
use crate::decimal;
use crate::fish::Presentation;
use crate::supplier_yield::{CutShare, ReferenceYield};
use crate::weight::WeightUnit;

fn lb(text: &str) -> Weight {
    WeightUnit::Lb.weigh(text).unwrap_or_default()
}

/// A cut of one supplier's fish: day, entry, cutter, supplier, band, pounds, fillet, fish
/// and minutes.
fn fact(day: i64, entry: i64, who: (&str, &str), band: &str, of: (&str, &str)) -> CutFact {
    CutFact {
        entry,
        day,
        happened_us: entry,
        cutter: who.0.to_owned(),
        kitchen: String::new(),
        specification: "skinless".to_owned(),
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        inputs: vec![CutShare {
            supplier: who.1.to_owned(),
            band: band.to_owned(),
            condition: None,
            pieces: Some(40),
            weight: lb(of.0),
        }],
        fillet: lb(of.1),
        minutes_e2: Some(6_000),
    }
}

/// A day on which ana's 40 lb, bought for 200.00, were cut: 20 lb into 5.00 lb.
fn cut_once() -> Told {
    let mut told = day()
        .bought(1, "40", "200.00")
        .cut(1, "20", (9, "5"), "14.5");
    let entry = told.0.makings.first().map_or(0, |(entry, _)| *entry);
    let fact = fact(
        20_310_502,
        entry,
        ("cutter-one", "ana"),
        "small",
        ("20", "5"),
    );
    told.0.cut_facts.push(fact);
    told
}

fn told(rows: &[LossRow]) -> Vec<String> {
    rows.iter()
        .map(|row| {
            let margin = row
                .margin
                .map_or("-".to_owned(), |margin| decimal::text(margin.minor(), 2));
            format!(
                "{} {:?}: {} lb, {} lb missing, {} and {margin}",
                row.by.word(),
                row.name,
                row.input.shown(WeightUnit::Lb),
                row.missing_fillet.shown(WeightUnit::Lb),
                decimal::text(row.material.minor(), 2),
            )
        })
        .collect()
}

fn reference(yield_e2: i64) -> ReferenceYield {
    ReferenceYield {
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        specification: "skinless".to_owned(),
        yield_e2,
        source: "the table's own trial".to_owned(),
    }
}

#[test]
fn a_yield_under_its_reference_is_told_by_lot_supplier_cutter_and_kitchen() {
    let mut low = cut_once();
    low.0.settings.judging.references = vec![reference(3_000)];
    let close = judge(&low.0).doc;
    // 20 lb at 30 % are 6 lb; a sixth of the 100.00 that they had cost.
    let part = low
        .0
        .parts
        .keys()
        .next()
        .map_or(String::new(), ToString::to_string);
    assert_eq!(
        told(&close.losses),
        [
            format!("part {part:?}: 20.00 lb, 1.00 lb missing, 16.67 and -"),
            "supplier \"ana\": 20.00 lb, 1.00 lb missing, 16.67 and -".to_owned(),
            "cutter \"cutter-one\": 20.00 lb, 1.00 lb missing, 16.67 and -".to_owned(),
            "kitchen \"\": 20.00 lb, 1.00 lb missing, 16.67 and -".to_owned(),
        ]
    );
    let group = close.supplier_yields.first();
    let source = group.map(|group| (group.reference_e2, group.reference_source.as_str()));
    assert_eq!(source, Some((Some(3_000), "the table's own trial")));

    let mut good = cut_once();
    good.0.settings.judging.references = vec![reference(2_500)];
    assert_eq!(judge(&good.0).doc.losses, []);
    let without = judge(&cut_once().0).doc;
    assert_eq!(without.losses, [], "no reference, no loss");
    assert_eq!(
        without
            .supplier_yields
            .first()
            .map(|group| group.reference_e2),
        Some(None)
    );
}

#[test]
fn the_days_own_fillet_carries_fish_wage_and_supplies() {
    let close = judge(&cut_once().0).doc;
    let group = close.supplier_yields.first();
    // 100.00 of fish, an hour at 18.00, 20 lb at 0.10: 120.00 on 5 lb.
    let edible = group.and_then(|group| group.edible).map(|price| price.e4());
    assert_eq!(edible, Some(240_000));
    // 0.375 lb cooked are 0.46875 lb raw: ten plates out of 5 lb, at 11.25.
    assert_eq!(group.and_then(|group| group.portions), Some(10));
    let plate = group.and_then(|group| group.plate).map(Money::minor);
    assert_eq!(plate, Some(1_125));
    let mut untimed = cut_once();
    untimed
        .0
        .cut_facts
        .iter_mut()
        .for_each(|fact| fact.minutes_e2 = None);
    let close = judge(&untimed.0).doc;
    let edible = close.supplier_yields.first().map(|group| group.edible);
    assert_eq!(edible, Some(None), "nobody looked at the clock");
}

#[test]
fn what_the_day_lost_is_told_by_cause_at_cost() {
    let told = cut_once().moved(1, Outlet::Discard, "4").counted(1, "15");
    let close = judge(&told.0).doc;
    let rows: Vec<String> = close
        .causes
        .iter()
        .map(|row| {
            format!(
                "{}: {} lb, {}",
                row.cause,
                row.weight.shown(WeightUnit::Lb),
                decimal::text(row.value.minor(), 2)
            )
        })
        .collect();
    assert_eq!(
        rows,
        [
            "drip: 0.00 lb, 0.00",
            "unaccounted: 1.00 lb, 5.00",
            "thrown out: 4.00 lb, 20.00",
            "unaccounted at the table: 0.00 lb, 0.00",
            "fillet under the reference: 0.00 lb, 0.00",
        ]
    );
}

#[test]
fn small_fish_is_weighed_against_soup_by_band() {
    let close = judge(&cut_once().0).doc;
    let rows: Vec<String> = close
        .small_fish
        .iter()
        .map(|row| {
            format!(
                "{} {} {}: {} or {}, {}",
                row.band,
                row.piece.shown(WeightUnit::Lb),
                row.minutes_e2,
                row.cut.decimal(),
                row.soup.decimal(),
                row.answer.word()
            )
        })
        .collect();
    // 25 % of 18.00, less 18.00 x 1.5 / 60 / 0.5 and 0.10.
    assert_eq!(rows, ["small 0.50 150: 3.50 or 1.75, cut"]);
}

#[test]
fn a_chart_is_held_against_the_days_somebody_named() {
    let mut told = day();
    for n in 0..24 {
        // Every other cut of two cutters; one of them gives less from the 16th on.
        let cutter = if n % 2 == 0 { "dana" } else { "eve" };
        let fillet = match (cutter, n % 4) {
            ("dana", _) if n >= 16 => "5.0",
            (_, 0 | 1) => "6.1",
            _ => "5.9",
        };
        let cut = fact(
            20_310_401 + n,
            n + 1,
            (cutter, if n % 3 == 0 { "ana" } else { "ben" }),
            "small",
            ("20", fillet),
        );
        told.0.cut_facts.push(cut);
    }
    assert_eq!(judge(&told.0).doc.charts, [], "nobody named any");
    let baseline = |to| Baseline {
        site: 1,
        follows: Follows::Cutter,
        party: "dana".to_owned(),
        from: 20_310_401,
        to,
        reason: "in order".to_owned(),
    };
    told.0.baselines = vec![baseline(20_310_405), baseline(20_310_417)];
    let charts = judge(&told.0).doc.charts;
    let [chart] = &charts[..] else {
        panic!("the newest baseline of a subject holds: {charts:?}")
    };
    assert_eq!((chart.to, chart.baseline_cuts), (20_310_417, 8));
    assert_eq!(chart.days, [20_310_417, 20_310_419, 20_310_421, 20_310_423]);
    assert!(
        chart.values_e2.iter().all(|value| *value < -300),
        "{chart:?}"
    );
    assert_eq!(chart.found, Some(20_310_417));
    assert!(chart.says.contains("under its baseline"), "{}", chart.says);
}

#[test]
fn a_customers_kitchen_is_held_against_what_it_paid() {
    let mut told = cut_once();
    told.0.settings.judging.references = vec![reference(3_000)];
    let usd = told.0.currency;
    for (entry, making) in &mut told.0.makings {
        making.kind = MakingKind::CustomerCut;
        for from in &mut making.inputs {
            from.source = MadeSource::Dispatch(77);
        }
        *entry = 5;
    }
    for fact in &mut told.0.cut_facts {
        fact.kitchen = "galley".to_owned();
        fact.entry = 5;
    }
    let price = UnitPrice::from_e4(90_000, usd, WeightUnit::Lb);
    told.0
        .dispatch_prices
        .extend(price.map(|price| (77, price)));
    let close = judge(&told.0).doc;
    // A sixth of 20 lb at 9.00, and nothing of what the dock paid or fillet sells for.
    let rows: Vec<(LossBy, &str, bool, i64)> = close
        .losses
        .iter()
        .map(|row| {
            (
                row.by,
                row.name.as_str(),
                row.customer_kitchen,
                row.material.minor(),
            )
        })
        .collect();
    assert_eq!(
        rows,
        [
            (LossBy::Supplier, "ana", true, 3_000),
            (LossBy::Cutter, "cutter-one", true, 3_000),
            (LossBy::Kitchen, "galley", true, 3_000),
        ]
    );
    let short = close
        .causes
        .iter()
        .find(|row| row.cause.starts_with("fillet"));
    assert_eq!(
        short.map(|row| row.value.minor()),
        Some(0),
        "not the buyer's loss"
    );
}
