#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;

use super::*;
use crate::ids::LotCode;
use crate::weight::{Reading, ReadingSource};

const DAY: DayNumber = 20_310_502;
const DAY_US: i128 = 86_400_000_000;

fn lb(text: &str) -> Weight {
    WeightUnit::Lb.weigh(text).unwrap()
}

fn scale(code: &str, division: &str) -> Scale {
    let reading = |text| Reading::new(text, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap();
    Scale {
        site: 1,
        code: code.to_owned(),
        name: format!("{code} scale"),
        accuracy_class: "III".to_owned(),
        division: reading(division),
        capacity: reading("500"),
        tested_on: chrono::NaiveDate::from_ymd_opt(2031, 3, 11),
        line: String::new(),
    }
}

fn read(scale: &str, day: DayNumber, load: &str, on_it: OnIt) -> Read {
    let lot = LotCode::new(2_031_050_200_010_000_001, 1).unwrap();
    Read {
        part: Some(PartId { lot, n: 1 }),
        scale: scale.to_owned(),
        day,
        load: lb(load),
        on_it,
    }
}

/// Fish on the dock scale of 0.05 lb, weighed without water.
fn dry(day: DayNumber, load: &str) -> Budget {
    let settings = Settings::default();
    let read = read("dock", day, load, OnIt::Fish);
    Budget::of(&read, Some(&scale("dock", "0.05")), false, &settings)
}

fn name(code: &str) -> String {
    format!("{code} scale")
}

/// What it explains is the least whole number whose square is no less than a third
/// of this.
fn explains_a_third_of(budget: &Budget, squares: i128) -> bool {
    let explained = i128::from(budget.explains().unwrap().units());
    3 * explained * explained >= squares && 3 * (explained - 1) * (explained - 1) < squares
}

#[test]
fn a_reading_is_off_by_its_permissible_error_and_half_its_last_step() {
    // NIST Handbook 44, section 2.20, table 6, its worked 500 lb x 0.05 lb: class III
    // is off by 0.15 lb at 150 lb and by 0.25 lb at 500 lb.
    for (load, error) in [("20", "0.05"), ("150", "0.15"), ("500", "0.25")] {
        let budget = dry(DAY, load);
        assert_eq!(
            budget.scales,
            BTreeMap::from([(("dock".to_owned(), DAY), lb(error).units())]),
            "{load}"
        );
        let step = i128::from(lb("0.05").units());
        assert_eq!(
            budget.rounding,
            Spread {
                times: 1,
                squares: step * step
            }
        );
        // u^2 = a^2 / 3 + d^2 / 12, and what is said is 2 u (GUM, from memory).
        let a = i128::from(lb(error).units());
        assert!(
            explains_a_third_of(&budget, 4 * a * a + step * step),
            "{load}"
        );
    }
    // By hand: a = 0.15, d = 0.05; u^2 = 0.0225 / 3 + 0.0025 / 12 = 0.00770833,
    // u = 0.0877971, 2 u = 0.1755942 lb.
    let said = dry(DAY, "150").explains().unwrap();
    assert_eq!(said.shown(WeightUnit::Lb), "0.176");
    let hand = said.units() - 7_964_818_783;
    assert!(hand.abs() < 1_000_000, "0.1755942 lb is {hand} off");
}

#[test]
fn a_tote_brings_its_water_and_its_own() {
    let settings = Settings::default();
    let dock = scale("dock", "0.05");
    let gross = read("dock", DAY, "45.60", OnIt::Tote(lb("42")));
    let tare = read("dock", DAY, "3.60", OnIt::EmptyTote);
    let [gross, tare] = [gross, tare].map(|read| Budget::of(&read, Some(&dock), true, &settings));
    let whole = |half: &str| {
        let half = i128::from(lb(half).units());
        4 * half * half
    };
    // 0.42 lb of water on 42 lb of fish, and 0.2 lb of the tote; the tote by itself
    // has neither, and its error is the scale's, the other way.
    assert_eq!(gross.water.squares, whole("0.42"));
    assert_eq!(gross.totes.squares, whole("0.2"));
    assert_eq!((tare.water, tare.totes), Default::default());
    let net = gross.plus(&tare);
    // 912 divisions may be off by 2, 72 by 1.
    assert_eq!(
        net.scales.values().copied().collect::<Vec<_>>(),
        [lb("0.10").units() - lb("0.05").units()]
    );
    assert_eq!(
        (net.rounding.times, net.water.times, net.totes.times),
        (2, 1, 1)
    );
    // By hand: (0.05^2 + 0.42^2 + 0.2^2) / 3 + 2 x 0.05^2 / 12, the root, twice.
    let lines = net.lines(WeightUnit::Lb, name);
    assert_eq!(
        lines,
        [
            "dock scale on 2031-05-02, shared: +/- 0.058 lb",
            "rounding of 2 readings: +/- 0.041 lb",
            "surface water, 1 weighing: +/- 0.485 lb",
            "wet totes, 1 tote: +/- 0.231 lb",
            "all together: +/- 0.542 lb (k = 2)",
        ]
    );
}

#[test]
fn settings_say_how_wet_fish_and_totes_are() {
    let settings = Settings {
        surface_water_ppm: Some(0),
        wet_tote: Reading::new("0.5", WeightUnit::Lb, "", ReadingSource::Keyed).ok(),
        ..Settings::default()
    };
    let gross = read("dock", DAY, "45.60", OnIt::Tote(lb("42")));
    let budget = Budget::of(&gross, Some(&scale("dock", "0.05")), true, &settings);
    let tote = i128::from(lb("1").units());
    assert_eq!(budget.totes.squares, tote * tote);
    assert_eq!(budget.water.squares, 0);
    // Frozen fish is not wet.
    let frozen = Budget::of(&gross, None, false, &Settings::default());
    assert_eq!(frozen.water, Spread::default());
}

#[test]
fn a_scale_nobody_tested_is_not_guessed_at() {
    let settings = Settings::default();
    let untested = Scale {
        tested_on: None,
        line: String::new(),
        ..scale("table", "0.02")
    };
    let classless = Scale {
        accuracy_class: "?".to_owned(),
        ..scale("table", "0.02")
    };
    for (code, on_file, why) in [
        ("table", Some(&untested), "table scale wants a test"),
        ("table", Some(&classless), "table scale wants a test"),
        ("table", None, "table scale wants a test"),
        ("", None, "a reading names no scale"),
    ] {
        let budget = Budget::of(&read(code, DAY, "10", OnIt::Fish), on_file, true, &settings);
        assert_eq!(budget.explains(), None, "{why}");
        assert_eq!(budget.why_unknown(name), why);
        let together = dry(DAY, "10").plus(&budget);
        let lines = together.lines(WeightUnit::Lb, name);
        let last = lines.last().unwrap();
        assert_eq!(*last, format!("all together: not known; {why}"));
        // An empty bin needs no scale.
        let nothing = Budget::of(&read(code, DAY, "0", OnIt::Fish), on_file, true, &settings);
        assert_eq!(nothing, Budget::default());
    }
    assert_eq!(Budget::before().explains(), None);
    assert_eq!(Budget::default().explains(), Some(Weight::ZERO));
}

#[test]
fn what_readings_share_adds_up_and_what_they_do_not_share_adds_in_squares() {
    // Ten loads of 20 lb on one scale and day, each off by up to 0.05 lb: all of them
    // the same way, so 0.5 lb. Rounding: the root of ten.
    let ten = (0..10).fold(Budget::default(), |sum, _| sum.plus(&dry(DAY, "20")));
    let key = ("dock".to_owned(), DAY);
    assert_eq!(ten.scales[&key], lb("0.5").units());
    let one = dry(DAY, "20").rounding;
    assert_eq!(
        (ten.rounding.times, ten.rounding.squares),
        (10, 10 * one.squares)
    );
    // Another day the scale may be off the other way.
    let days = dry(DAY, "20").plus(&dry(DAY + 1, "20"));
    assert_eq!(days.scales.len(), 2);
    let (a, d) = (i128::from(lb("0.05").units()), one.squares);
    assert!(explains_a_third_of(&days, 2 * 4 * a * a + 2 * d));
}

#[test]
fn drip_of_one_kind_is_off_the_same_way_everywhere() {
    let of = ("PZO".to_owned(), Presentation::Whole, Storage::DrainedIce);
    let mut one = Budget::default();
    // 40 lb for a day, 0.5 % more or less.
    one.drip(&of, i128::from(lb("40").units()) * 5_000 * DAY_US);
    let a = i128::from(lb("0.2").units());
    assert!(explains_a_third_of(&one, 4 * a * a));
    for both in [
        one.clone().plus(&one),
        Budget::default().minus(&one).minus(&one),
    ] {
        assert!(
            explains_a_third_of(&both, 4 * 4 * a * a),
            "linear, whatever the sign"
        );
    }
    assert_eq!(
        one.lines(WeightUnit::Lb, name)[0],
        "drip of PZO whole, drained ice: +/- 0.231 lb"
    );
}

#[test]
fn a_share_takes_its_share_of_every_doubt_and_leaves_the_drip() {
    let of = ("PZO".to_owned(), Presentation::Whole, Storage::DrainedIce);
    let mut whole = dry(DAY, "40");
    whole.drip(&of, 1_000_000);
    let before = whole.clone();
    let taken = whole.take(lb("10"), lb("40"));
    let key = ("dock".to_owned(), DAY);
    assert_eq!(taken.scales[&key], (before.scales[&key] + 3) / 4);
    let sixteenth = before.rounding.squares / 16;
    assert!(
        (sixteenth..sixteenth + 3).contains(&taken.rounding.squares),
        "a quarter, squared"
    );
    assert_eq!(whole.scales[&key], before.scales[&key] / 4 * 3);
    assert_eq!((taken.drips.len(), whole.drips[&of]), (0, 1_000_000));
    // All of it, and none of it.
    let mut all = before.clone();
    assert_eq!(all.take(lb("41"), lb("40")), before);
    assert_eq!(all, Budget::default());
    let mut none = before.clone();
    assert_eq!(none.take(Weight::ZERO, lb("40")), Budget::default());
    assert_eq!(none, before);
}

#[test]
fn the_squares_of_ten_tonnes_still_fit() {
    let most = Budget {
        water: Spread::of(crate::weight::HEAVIEST),
        ..Budget::default()
    };
    let mut sum = (0..1_000).fold(Budget::default(), |sum, _| sum.plus(&most));
    assert!(explains_a_third_of(&sum, 1_000 * most.water.squares));
    let half = Weight::from_units(crate::weight::HEAVIEST.units() / 2);
    let taken = sum.take(half, crate::weight::HEAVIEST);
    assert_eq!(taken.water.squares, 250 * most.water.squares);
}

proptest! {
    /// What comes in on a scale and goes out on it the same day shares nothing, and
    /// what is left is what each reading has for itself.
    #[test]
    fn bought_and_counted_on_one_scale_the_same_day_share_nothing(
        cents in proptest::collection::vec(100_i64..30_000, 1..8),
    ) {
        let cent = lb("0.01").units();
        let budgets = cents.iter().map(|cents| {
            let load = Weight::from_units(cents * cent);
            let read = Read { load, ..read("dock", DAY, "1", OnIt::Fish) };
            Budget::of(&read, Some(&scale("dock", "0.05")), true, &Settings::default())
        });
        let bought = budgets.fold(Budget::default(), |sum, one| sum.plus(&one));
        let left = bought.clone().minus(&bought);
        prop_assert!(left.scales.is_empty());
        prop_assert_eq!(left.water.squares, 2 * bought.water.squares);
    }

    /// Two parts together are no surer than the doubt that they share, and no less
    /// sure than the two apart.
    #[test]
    fn two_together_are_within_the_sum_of_the_two(
        a in 1_i64..1_000_000_000_000, b in 1_i64..1_000_000_000_000,
        same_day in any::<bool>(),
    ) {
        let budget = |units, day| {
            let load = Weight::from_units(units);
            let read = Read { load, ..read("dock", day, "1", OnIt::Fish) };
            Budget::of(&read, Some(&scale("dock", "0.05")), true, &Settings::default())
        };
        let (one, two) = (budget(a, DAY), budget(b, if same_day { DAY } else { DAY + 1 }));
        let both = one.clone().plus(&two).explains().unwrap().units();
        let (one, two) = (one.explains().unwrap().units(), two.explains().unwrap().units());
        prop_assert!(both <= one + two);
        prop_assert!(both >= one.max(two));
    }

    /// What is split and joined again is never surer than before.
    #[test]
    fn a_budget_split_and_joined_loses_no_shared_doubt(part in 1_i64..999, load in 1_i64..400) {
        let of = |pounds: i64| Weight::from_units(pounds * lb("1").units());
        let whole = dry(DAY, &load.to_string());
        let mut left = whole.clone();
        let taken = left.take(of(part), of(1_000));
        let joined = taken.plus(&left);
        for (key, width) in &whole.scales {
            prop_assert!((0..=2).contains(&(joined.scales[key] - width)));
        }
    }
}
