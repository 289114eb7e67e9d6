#![expect(clippy::unwrap_used, reason = "a test may panic")]

use super::drift::{Baseline, Charts, Drift, Leap, Subject, Watch};
use super::*;
use crate::weight::WeightUnit;

fn weight(lb: f64) -> Weight {
    WeightUnit::Lb.weigh(&format!("{lb:.3}")).unwrap()
}

/// Builds cuts one after the other, a day for each three.
#[derive(Default)]
struct Book {
    cuts: Vec<CutFact>,
}

impl Book {
    /// A cut of "ana:10 ben:5.5", by a cutter, in a band, that yields so much.
    fn cut(&mut self, inputs: &str, cutter: &str, band: &str, fillet: f64) -> &mut CutFact {
        let n = i64::try_from(self.cuts.len()).unwrap();
        let shares = inputs.split_whitespace().map(|input| {
            let (supplier, lb) = input.split_once(':').unwrap();
            CutShare {
                supplier: supplier.to_owned(),
                band: band.to_owned(),
                condition: Some(Condition::Clean),
                pieces: None,
                weight: weight(lb.parse().unwrap()),
            }
        });
        self.cuts.push(CutFact {
            entry: 2_031_050_200_010_000_001 + n,
            day: 20_310_502 + n / 3,
            happened_us: n * 1_000_000,
            cutter: cutter.to_owned(),
            kitchen: String::new(),
            specification: "skinless".to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            inputs: shares.collect(),
            fillet: weight(fillet),
            minutes_e2: None,
        });
        self.cuts.last_mut().unwrap()
    }

    fn judge(&self) -> Vec<YieldGroup> {
        judge(&self.cuts, &YieldRules::default(), &[])
    }

    fn one(&self) -> YieldGroup {
        let mut groups = self.judge();
        assert_eq!(groups.len(), 1);
        groups.remove(0)
    }
}

/// Honest noise of one cut to the next, in shares of the input: a fixed row that sums to
/// nothing and looks like none.
const NOISE: [f64; 12] = [
    0.008, -0.005, 0.002, -0.009, 0.006, -0.001, 0.004, -0.006, 0.009, -0.003, -0.007, 0.002,
];

fn of<'a>(group: &'a YieldGroup, supplier: &str) -> &'a SupplierYield {
    let found = group.suppliers.iter().find(|own| own.supplier == supplier);
    found.unwrap()
}

/// Twelve cuts each of 20 lb, of suppliers who yield so much under either of two cutters.
fn season(suppliers: &[(&str, f64)]) -> Book {
    let mut book = Book::default();
    for (round, noise) in NOISE.iter().enumerate() {
        for (n, (supplier, share)) in suppliers.iter().enumerate() {
            let noise = noise * if n % 2 == 0 { 1.0 } else { -1.0 };
            let cutter = if (round + n).is_multiple_of(2) {
                "ida"
            } else {
                "joe"
            };
            book.cut(
                &format!("{supplier}:20"),
                cutter,
                "0.50-0.75",
                20.0 * (share + noise),
            );
        }
    }
    book
}

#[test]
fn a_supplier_planted_low_is_named_and_no_other() {
    let group = season(&[("ana", 0.30), ("ben", 0.24), ("cyd", 0.305)]).one();
    let verdicts: Vec<_> = group
        .suppliers
        .iter()
        .map(|own| (own.supplier.as_str(), own.verdict.clone()))
        .collect();
    assert_eq!(
        verdicts,
        [
            ("ana", Verdict::NoDifference),
            ("ben", Verdict::Low),
            ("cyd", Verdict::NoDifference)
        ]
    );
    let ben = of(&group, "ben");
    // Planted: 24 against the mean of 30 and 30.5.
    let rest = ben.comparison.unwrap().rest_e2;
    assert!((-660..=-590).contains(&rest), "{rest}");
    assert_eq!(ben.raw.unwrap().method, YieldMethod::Pooled);
    assert_eq!((ben.cuts, ben.days, ben.mixed_cuts), (12, 12, 0));
    assert_eq!(ben.input, weight(240.0));
    assert_eq!(
        group.pooled.yield_e2,
        crate::fillet_yield::percent_e2(group.fillet, group.input).unwrap()
    );
}

#[test]
fn a_low_cutter_is_no_suppliers_fault() {
    // Joe cuts 6 points less of everything, and most of Ben's fish.
    let mut book = Book::default();
    for (round, noise) in NOISE.iter().enumerate() {
        for supplier in ["ana", "ben", "cyd"] {
            let joe = if supplier == "ben" {
                !round.is_multiple_of(4)
            } else {
                round.is_multiple_of(4)
            };
            let (cutter, share) = if joe { ("joe", 0.24) } else { ("ida", 0.30) };
            book.cut(
                &format!("{supplier}:20"),
                cutter,
                "a",
                20.0 * (share + noise),
            );
        }
    }
    let group = book.one();
    for own in &group.suppliers {
        assert_eq!(own.verdict, Verdict::NoDifference, "{}", own.supplier);
    }
    let ben = of(&group, "ben");
    let parts = ben.parts.unwrap();
    // Raw he is 3 points under: all of it is the cutter's.
    assert!((-320..=-280).contains(&parts.difference_e2), "{parts:?}");
    assert!((-320..=-280).contains(&parts.cutter_e2), "{parts:?}");
    assert!(parts.rest_e2.abs() <= 20, "{parts:?}");
}

#[test]
fn the_parts_of_a_difference_add_up_to_it() {
    let mut book = Book::default();
    for (round, noise) in NOISE.iter().enumerate() {
        for (n, supplier) in ["ana", "ben", "cyd"].iter().enumerate() {
            let small = (round + n) % 3 == 0 || (*supplier == "ben" && round % 2 == 0);
            let torn = (round + 2 * n) % 5 == 0;
            let joe = (round + n) % 4 == 1;
            let share = 0.30
                - if small { 0.05 } else { 0.0 }
                - if torn { 0.02 } else { 0.0 }
                - if joe { 0.01 } else { 0.0 }
                - if *supplier == "ben" { 0.04 } else { 0.0 };
            let cut = book.cut(
                &format!("{supplier}:20"),
                if joe { "joe" } else { "ida" },
                if small { "0.25-0.50" } else { "0.50-0.75" },
                20.0 * (share + noise / 4.0),
            );
            if torn {
                cut.inputs[0].condition = Some(Condition::Torn);
            }
        }
    }
    let group = book.one();
    for own in &group.suppliers {
        let parts = own.parts.unwrap();
        let sum = parts.band_e2
            + parts.condition_e2
            + parts.cutter_e2
            + parts.kitchen_e2
            + parts.rest_e2
            + parts.fits_e2;
        assert_eq!(sum, parts.difference_e2, "{}", own.supplier);
        // Each cut is of one supplier: the fits see the same but for rounding.
        assert!(parts.fits_e2.abs() <= 4, "{} {parts:?}", own.supplier);
        assert_eq!(parts.kitchen_e2, 0);
    }
    // Ben has two thirds small fish, the others a third: 5 points of a third of it.
    let parts = of(&group, "ben").parts.unwrap();
    assert!((-190..=-140).contains(&parts.band_e2), "{parts:?}");
    assert!((-430..=-370).contains(&parts.rest_e2), "{parts:?}");
    // By band and condition, of the same cuts.
    let cells = &of(&group, "ben").cells;
    assert_eq!(cells.iter().map(|cell| cell.cuts).sum::<i64>(), 12);
    assert!(cells.len() > 2);
}

#[test]
fn mixed_cuts_are_told_apart_where_their_shares_vary() {
    let mut book = Book::default();
    for (round, noise) in NOISE.iter().enumerate() {
        let ana = 4.0 + f64::from(u32::try_from(round).unwrap());
        let ben = 20.0 - ana;
        book.cut(
            &format!("ana:{ana} ben:{ben}"),
            "ida",
            "a",
            ana * 0.34 + ben * 0.24 + 20.0 * noise / 4.0,
        );
    }
    let group = book.one();
    for (supplier, planted) in [("ana", 3400), ("ben", 2400)] {
        let own = of(&group, supplier);
        let raw = own.raw.unwrap();
        assert_eq!(raw.method, YieldMethod::Fitted);
        let (low, high) = raw.interval_e2.unwrap();
        assert!(low < planted && planted < high, "{supplier} {raw:?}");
        assert!((raw.yield_e2 - planted).abs() < 150, "{supplier} {raw:?}");
        assert_eq!((own.mixed_cuts, own.mixed_input), (12, own.input));
        assert!(own.cells.is_empty());
    }
    assert_eq!(of(&group, "ben").verdict, Verdict::Low);
    assert_eq!(of(&group, "ana").verdict, Verdict::NoDifference);
}

#[test]
fn at_a_bound_an_interval_is_drawn_and_has_no_error() {
    let mut book = Book::default();
    for (round, noise) in NOISE.iter().enumerate() {
        let ana = 4.0 + f64::from(u32::try_from(round).unwrap());
        let ben = 20.0 - ana;
        // Ben's fish gave nothing, and a little less.
        let fillet = ana * 0.34 - 0.1 + 20.0 * noise / 4.0;
        book.cut(&format!("ana:{ana} ben:{ben}"), "ida", "a", fillet);
    }
    let group = book.one();
    let raw = of(&group, "ben").raw.unwrap();
    assert_eq!((raw.yield_e2, raw.error_e2), (0, None));
    assert_eq!(raw.method, YieldMethod::FittedAtBound);
    let (low, high) = raw.interval_e2.unwrap();
    assert!(low == 0 && (0..1000).contains(&high), "{low} {high}");
    // Two others who were mixed with one another, and with neither of them, are told by t.
    for (round, noise) in NOISE.iter().enumerate() {
        let cyd = 4.0 + f64::from(u32::try_from(round).unwrap());
        let dan = 20.0 - cyd;
        let fillet = 20.0 * (0.3 + noise / 4.0);
        book.cut(&format!("cyd:{cyd} dan:{dan}"), "ida", "a", fillet);
    }
    let group = book.one();
    for (supplier, method) in [
        ("ana", YieldMethod::FittedAtBound),
        ("ben", YieldMethod::FittedAtBound),
        ("cyd", YieldMethod::Fitted),
        ("dan", YieldMethod::Fitted),
    ] {
        let raw = of(&group, supplier).raw.unwrap();
        assert_eq!(raw.method, method, "{supplier}");
        assert_eq!(raw.error_e2.is_some(), method == YieldMethod::Fitted);
    }
    let again = of(&group, "ben").raw.unwrap();
    assert_eq!(again.interval_e2, Some((low, high)), "drawn for themselves");
    assert_eq!(book.one(), group, "the same cuts give the same figures");
}

/// Twelve rounds, in each the cuts that `of` says: inputs, cutter, band.
fn rounds(of: impl Fn(usize) -> Vec<(String, &'static str, &'static str)>) -> Book {
    let mut book = Book::default();
    for (round, noise) in NOISE.iter().enumerate() {
        for (inputs, cutter, band) in of(round) {
            book.cut(&inputs, cutter, band, 0.0);
            let cut = book.cuts.last_mut().unwrap();
            cut.fillet = weight(lb(cut.input()) * (0.3 + noise));
        }
    }
    book
}

fn pure(
    supplier: &str,
    cutter: &'static str,
    band: &'static str,
) -> (String, &'static str, &'static str) {
    (format!("{supplier}:20"), cutter, band)
}

#[test]
fn a_supplier_that_always_comes_with_something_is_not_named() {
    let cases: [(&str, Book, &str); 5] = [
        (
            "its cutter",
            rounds(|_| {
                vec![
                    pure("ana", "joe", "a"),
                    pure("ben", "ida", "a"),
                    pure("cyd", "ida", "a"),
                ]
            }),
            "cannot be told apart from cutter joe",
        ),
        (
            "its band",
            rounds(|_| {
                vec![
                    pure("ana", "ida", "0.25-0.50"),
                    pure("ben", "ida", "a"),
                    pure("cyd", "ida", "a"),
                ]
            }),
            "cannot be told apart from band 0.25-0.50",
        ),
        (
            "another supplier, in equal shares",
            rounds(|_| {
                vec![
                    ("ana:12 ben:8".to_owned(), "ida", "a"),
                    pure("cyd", "ida", "a"),
                ]
            }),
            "cannot be told apart from supplier ben",
        ),
        (
            "another supplier, in shares that vary too little",
            rounds(|round| {
                let mixed = if round % 2 == 0 {
                    "ana:10.3 ben:9.7"
                } else {
                    "ana:10 ben:10"
                };
                vec![(mixed.to_owned(), "ida", "a"), pure("cyd", "ida", "a")]
            }),
            "cannot be told apart from supplier ben",
        ),
        (
            "a pool",
            rounds(|_| {
                vec![
                    ("ana:12 :8".to_owned(), "ida", "a"),
                    pure("cyd", "ida", "a"),
                ]
            }),
            "cannot be told apart from a pool it was mixed with",
        ),
    ];
    for (what, book, says) in cases {
        let group = book.one();
        assert_eq!(sentence(of(&group, "ana")), says, "{what}");
        assert_eq!(of(&group, "ana").comparison, None, "{what}");
        assert_eq!(of(&group, "ana").parts, None, "{what}");
    }
    // Those who can be compared with one another still are.
    let group = rounds(|_| {
        vec![
            pure("ana", "joe", "a"),
            pure("ben", "ida", "a"),
            pure("cyd", "ida", "a"),
        ]
    })
    .one();
    assert_eq!(of(&group, "ana").inflation_e2, None);
    assert_eq!(of(&group, "ben").verdict, Verdict::NoDifference);
    assert!(of(&group, "ben").comparison.is_some());
    // Of fish that was never cut alone, in equal shares, no yield is known.
    let group = rounds(|_| {
        vec![
            ("ana:12 ben:8".to_owned(), "ida", "a"),
            pure("cyd", "ida", "a"),
        ]
    })
    .one();
    assert_eq!(
        (of(&group, "ana").raw, of(&group, "ana").shrunk_e2),
        (None, None)
    );
}

#[test]
fn one_customers_kitchen_alone_cannot_blame_a_supplier() {
    let mut book = season(&[("ana", 0.30), ("ben", 0.22), ("cyd", 0.30)]);
    for (n, cut) in book.cuts.iter_mut().enumerate() {
        let ben = cut.inputs[0].supplier == "ben";
        cut.kitchen = if ben || n % 2 == 0 { "north" } else { "south" }.to_owned();
    }
    let group = book.one();
    assert!(group.customer_kitchen);
    assert_eq!(
        sentence(of(&group, "ben")),
        "supplier or kitchen, cannot say"
    );
    assert_eq!(of(&group, "ana").verdict, Verdict::NoDifference);
    // In both kitchens he can be named.
    for (n, cut) in book.cuts.iter_mut().enumerate() {
        cut.kitchen = if n / 3 % 2 == 0 { "north" } else { "south" }.to_owned();
    }
    assert_eq!(of(&book.one(), "ben").verdict, Verdict::Low);
}

#[test]
fn own_table_customers_and_specifications_are_judged_apart() {
    let mut book = season(&[("ana", 0.30), ("ben", 0.30)]);
    book.cuts[0].kitchen = "north".to_owned();
    book.cuts[1].specification = "skin-on".to_owned();
    book.cuts[2].species = "LCX".to_owned();
    book.cuts[3].presentation = Presentation::Gutted;
    // Nothing went into this one.
    book.cuts[4].inputs.clear();
    let groups = book.judge();
    let cuts: Vec<(i64, bool)> = groups
        .iter()
        .map(|g| (g.cuts, g.customer_kitchen))
        .collect();
    assert_eq!(
        cuts,
        [(1, false), (1, false), (19, false), (1, true), (1, false)]
    );
}

#[test]
fn what_is_too_little_is_said_with_its_numbers() {
    let enough = |supplier: &str| (supplier.to_owned(), 6, 10.0);
    // cuts, lb each, and what is said; the edges belong to enough.
    for (cuts, each, says) in [
        (
            5,
            20.0,
            Some("too little to say: 5 of 6 cuts, 100.00 of 60.00 lb, 5 of 3 days"),
        ),
        (
            6,
            9.999,
            Some("too little to say: 6 of 6 cuts, 59.994 of 60.00 lb, 6 of 3 days"),
        ),
        (6, 10.0, None),
    ] {
        let mut book = Book::default();
        for (supplier, cuts, each) in [("ben".to_owned(), cuts, each), enough("ana"), enough("cyd")]
        {
            for (n, noise) in NOISE.iter().enumerate().take(cuts) {
                let cut = book.cut(
                    &format!("{supplier}:{each}"),
                    "ida",
                    "a",
                    each * (0.3 + noise),
                );
                cut.day = 20_310_502 + i64::try_from(n).unwrap();
            }
        }
        let group = book.one();
        let got = sentence(of(&group, "ben"));
        match says {
            Some(says) => assert_eq!(got, says),
            None => assert_eq!(of(&group, "ben").verdict, Verdict::NoDifference),
        }
    }
    // Two days.
    let mut book = season(&[("ana", 0.3), ("ben", 0.2)]);
    for cut in &mut book.cuts {
        cut.day = 20_310_502 + cut.day % 2;
    }
    assert_eq!(
        sentence(of(&book.one(), "ben")),
        "too little to say: 12 of 6 cuts, 240.00 of 60.00 lb, 2 of 3 days"
    );
    // Enough, and nobody to compare with.
    let group = season(&[("ana", 0.3)]).one();
    assert_eq!(
        sentence(of(&group, "ana")),
        "no other supplier's fish to compare with"
    );
}

#[test]
fn the_sentences_are_these() {
    let group = season(&[("ana", 0.30), ("ben", 0.24)]).one();
    let mut ben = of(&group, "ben").clone();
    ben.comparison = Some(Comparison {
        rest_e2: -445,
        error_e2: 70,
        interval_e2: (-590, -300),
        chance_ppm: 100,
    });
    for (verdict, says) in [
        (
            Verdict::Low,
            "cuts out 4.5 points under like-for-like fish of others (95 % interval 5.9 under to \
             3.0 under; 12 cuts, 240.00 lb, 8 days)",
        ),
        (
            Verdict::NoDifference,
            "no difference that names anybody: 4.5 points under like-for-like fish of others \
             (95 % interval 5.9 under to 3.0 under)",
        ),
        (
            Verdict::NotSeparable(Cause::Cutter("joe".to_owned())),
            "cannot be told apart from cutter joe",
        ),
        (
            Verdict::NotSeparable(Cause::Cutter(String::new())),
            "cannot be told apart from cuts whose cutter is not said",
        ),
        (
            Verdict::NotSeparable(Cause::Kitchen("north".to_owned())),
            "cannot be told apart from kitchen north",
        ),
        (
            Verdict::NotSeparable(Cause::Supplier("cyd".to_owned())),
            "cannot be told apart from supplier cyd",
        ),
        (
            Verdict::NotSeparable(Cause::Band(String::new())),
            "cannot be told apart from fish without a band",
        ),
        (
            Verdict::NotSeparable(Cause::Condition(Some(Condition::Torn))),
            "cannot be told apart from condition torn",
        ),
        (
            Verdict::NotSeparable(Cause::Condition(None)),
            "cannot be told apart from fish whose condition is not said",
        ),
        (
            Verdict::NotSeparable(Cause::Together),
            "cannot be told apart from who cut it and what fish it was, together",
        ),
        (
            Verdict::SupplierOrKitchen,
            "supplier or kitchen, cannot say",
        ),
        (
            Verdict::NoCutLeft,
            "too little to say: no cut is left to tell it from chance",
        ),
    ] {
        ben.verdict = verdict;
        assert_eq!(sentence(&ben), says);
    }
    ben.comparison = Some(Comparison {
        rest_e2: 4,
        error_e2: 70,
        interval_e2: (-136, 144),
        chance_ppm: 990_000,
    });
    ben.verdict = Verdict::NoDifference;
    assert_eq!(
        sentence(&ben),
        "no difference shown: 0.0 points over like-for-like fish of others (95 % interval 1.4 \
         under to 1.4 over)"
    );
}

#[test]
fn the_whole_interval_must_be_under_and_not_only_the_figure() {
    // Three points under, with little noise and with much.
    for (times, verdict) in [(0.5, Verdict::Low), (8.0, Verdict::NoDifference)] {
        let mut book = Book::default();
        for (round, noise) in NOISE.iter().enumerate() {
            for (n, (supplier, share)) in [("ana", 0.30), ("ben", 0.27)].iter().enumerate() {
                let noise = times * NOISE[(round + 5 * n) % 12] + 0.0 * noise;
                book.cut(
                    &format!("{supplier}:20"),
                    "ida",
                    "a",
                    20.0 * (share + noise),
                );
            }
        }
        let group = book.one();
        let ben = of(&group, "ben");
        assert_eq!(ben.comparison.unwrap().rest_e2, -300);
        assert_eq!(ben.verdict, verdict);
    }
}

#[test]
fn among_many_suppliers_one_that_is_low_by_chance_is_not_named() {
    // Ben's interval is under by enough, but so is that of one in forty of two dozen
    // suppliers by chance alone.
    let mut suppliers = vec![("ben".to_owned(), 0.2711)];
    suppliers.extend((0..24).map(|n| (format!("other-{n:02}"), 0.30)));
    let mut book = Book::default();
    for round in 0..8 {
        for (n, (supplier, share)) in suppliers.iter().enumerate() {
            let side = if round % 2 == 0 { 1.0 } else { -1.0 };
            let noise = side * NOISE[(round + 5 * n) % 12];
            let fillet = 20.0 * (share + noise);
            book.cut(&format!("{supplier}:20"), "ida", "a", fillet);
        }
    }
    for (false_discovery_ppm, verdict) in
        [(1_000_000, Verdict::Low), (100_000, Verdict::NoDifference)]
    {
        let rules = YieldRules {
            false_discovery_ppm,
            ..YieldRules::default()
        };
        let group = judge(&book.cuts, &rules, &[]).remove(0);
        let ben = of(&group, "ben");
        let comparison = ben.comparison.unwrap();
        assert!(comparison.interval_e2.1 <= -200, "{comparison:?}");
        // Above 10 % of one in 25, the largest that is rejected alone.
        assert!(comparison.chance_ppm > 4000, "{comparison:?}");
        assert_eq!(ben.verdict, verdict);
    }
}

#[test]
fn few_cuts_are_drawn_towards_the_group_further_than_many() {
    let mut book = season(&[("ana", 0.30), ("ben", 0.24), ("cyd", 0.33)]);
    // One cut of Dan's that came out well; two of Eve's that happen to agree.
    book.cut("dan:20", "ida", "0.50-0.75", 20.0 * 0.36);
    book.cut("eve:20", "ida", "0.50-0.75", 20.0 * 0.36);
    book.cut("eve:20", "ida", "0.50-0.75", 20.0 * 0.36);
    let group = book.one();
    let kept = |supplier: &str| {
        let own = of(&group, supplier);
        let (raw, all) = (own.raw.unwrap().yield_e2, group.pooled.yield_e2);
        (own.shrunk_e2.unwrap() - all) as f64 / (raw - all) as f64
    };
    let (ben, dan, eve) = (kept("ben"), kept("dan"), kept("eve"));
    assert!(dan < eve && eve < ben && ben < 1.0, "{dan} {eve} {ben}");
    assert_eq!(of(&group, "dan").raw.unwrap().error_e2, None);
    assert_eq!(of(&group, "eve").raw.unwrap().error_e2, Some(0));
}

#[test]
fn a_figure_has_one_reference_and_never_two() {
    // Published: fillet of lionfish 30.5 % of whole wet weight (Morris and others 2011,
    // AACL Bioflux, abstract); skin-on 36.3 % and skinless 30.0 % (Cintra and others
    // 2023, Acta Fish. Aquat. Res., doi 10.46732/actafish.2023.11.1.84-89, abstract).
    // Cod: live weight = fillet x 2.60 (EU implementing regulation 404/2011, annex XIII)
    // and = skinless fillet x 3.23 (FAO Fisheries Circular 847): 38.46 % and 30.96 %.
    let factor = |factor_e2: i64| crate::decimal::half_up(1_000_000, factor_e2.into()).unwrap();
    assert_eq!((factor(260), factor(323)), (3846, 3096));
    let row = |species: &str, specification: &str, yield_e2: i64, source: &str| ReferenceYield {
        species: species.to_owned(),
        presentation: Presentation::Whole,
        specification: specification.to_owned(),
        yield_e2,
        source: source.to_owned(),
    };
    let table = [
        row("PZO", "skin-on", 3630, "Cintra and others 2023"),
        row("PZO", "skinless", 3000, "Cintra and others 2023"),
        row("COD", "fillet", factor(260), "EU 404/2011 annex XIII"),
        row("COD", "skinless", factor(323), "FAO Circular 847"),
    ];
    let mut book = season(&[("ana", 0.30), ("ben", 0.30), ("cyd", 0.30)]);
    let with = |book: &Book, table: &[ReferenceYield]| {
        judge(&book.cuts, &YieldRules::default(), table)
            .remove(0)
            .reference
    };
    let published = |yield_e2: i64, source: &str| Reference::Table {
        yield_e2,
        source: source.to_owned(),
    };
    assert_eq!(
        with(&book, &table),
        published(3000, "Cintra and others 2023")
    );
    for (species, specification, expected) in [
        ("PZO", "skin-on", published(3630, "Cintra and others 2023")),
        ("COD", "fillet", published(3846, "EU 404/2011 annex XIII")),
        ("COD", "skinless", published(3096, "FAO Circular 847")),
    ] {
        for cut in &mut book.cuts {
            cut.species = species.to_owned();
            cut.specification = specification.to_owned();
        }
        assert_eq!(with(&book, &table), expected);
    }
    // No row: the site's own history, once it is of 20 cuts and 3 suppliers.
    let group = book.one();
    assert_eq!(
        group.reference,
        Reference::History {
            yield_e2: group.pooled.yield_e2,
            cuts: 36,
            suppliers: 3
        }
    );
    assert_eq!(
        season(&[("ana", 0.3), ("ben", 0.3)]).one().reference,
        Reference::NotSet
    );
    book.cuts.truncate(20);
    assert_eq!(
        book.one().reference.yield_e2(),
        Some(book.one().pooled.yield_e2)
    );
    book.cuts.truncate(19);
    assert_eq!(book.one().reference, Reference::NotSet);
}

#[test]
fn the_order_in_which_cuts_are_given_changes_nothing() {
    let book = season(&[("ana", 0.30), ("ben", 0.24), ("cyd", 0.305)]);
    let mut turned = Book {
        cuts: book.cuts.clone(),
    };
    turned.cuts.reverse();
    assert_eq!(turned.judge(), book.judge());
}

#[test]
fn nothing_to_judge_is_no_group() {
    assert_eq!(judge(&[], &YieldRules::default(), &[]), []);
    let mut book = Book::default();
    book.cut("ana:10", "ida", "a", 3.0).inputs[0].weight = Weight::ZERO;
    assert_eq!(book.judge(), []);
    // One cut is a yield without an error.
    let mut book = Book::default();
    book.cut("ana:10", "ida", "a", 3.0);
    let group = book.one();
    assert_eq!((group.pooled.yield_e2, group.pooled.error_e2), (3000, None));
}

/// A season of three suppliers with the noise of twelve rounds over and over; `change` is
/// asked for each cut what it takes from its yield.
fn long_season(rounds: usize, change: impl Fn(&CutFact) -> f64) -> Book {
    let mut book = Book::default();
    for round in 0..rounds {
        for (n, supplier) in ["ana", "ben", "cyd"].iter().enumerate() {
            let cutter = if (round / 2 + n).is_multiple_of(2) {
                "ida"
            } else {
                "joe"
            };
            let noise = NOISE[(5 * round + 7 * n) % 12];
            let cut = book.cut(&format!("{supplier}:20"), cutter, "a", 0.0);
            let share = 0.30 + noise - change(cut);
            cut.fillet = weight(20.0 * share);
        }
    }
    book
}

fn baseline(subject: &Subject, days: i64) -> Baseline {
    Baseline {
        subject: subject.clone(),
        from: 20_310_502,
        to: 20_310_502 + days - 1,
    }
}

#[test]
fn a_change_is_dated_and_sized_and_others_are_as_they_were() {
    // From round 15, which is 17 May, Ben's fish cuts out 3 points less.
    let changed = |cut: &CutFact| cut.inputs[0].supplier == "ben" && cut.day >= 20_310_517;
    let book = long_season(25, |cut| if changed(cut) { 0.03 } else { 0.0 });
    let left = drift::left_over(&book.cuts);
    let watched = |subject: Subject| {
        let rules = drift::ControlRules::default();
        drift::watch(&left, &subject, Some(&baseline(&subject, 12)), &rules)
    };
    let ben = watched(Subject::Supplier("ben".to_owned()));
    let Watch::Charts(charts) = &ben else {
        panic!("{ben:?}")
    };
    assert_eq!((charts.baseline_cuts, charts.points.len()), (12, 13));
    let found = charts.cusum.unwrap();
    assert!(found.below, "{found:?}");
    assert!(
        (20_310_516..=20_310_518).contains(&found.since),
        "{found:?}"
    );
    assert!(found.found <= 20_310_521, "{found:?}");
    assert!((-350..=-250).contains(&found.shift_e2), "{found:?}");
    assert!(charts.ewma.is_some_and(|leap| leap.below));
    for other in ["ana", "cyd"] {
        let other = watched(Subject::Supplier(other.to_owned()));
        let Watch::Charts(charts) = &other else {
            panic!("{other:?}")
        };
        assert_eq!((charts.cusum, charts.single), (None, None), "{other:?}");
    }
}

#[test]
fn a_cutter_who_changes_is_found_by_cutter() {
    let book = long_season(30, |cut| {
        let dull = cut.cutter == "joe" && cut.day >= 20_310_518;
        if dull { 0.03 } else { 0.0 }
    });
    let left = drift::left_over(&book.cuts);
    let joe = Subject::Cutter("joe".to_owned());
    let rules = drift::ControlRules::default();
    let watch = drift::watch(&left, &joe, Some(&baseline(&joe, 14)), &rules);
    let Watch::Charts(charts) = &watch else {
        panic!("{watch:?}")
    };
    let found = charts.cusum.unwrap();
    assert!(
        found.below && (-350..=-220).contains(&found.shift_e2),
        "{found:?}"
    );
    assert!(
        (20_310_517..=20_310_519).contains(&found.since),
        "{found:?}"
    );
}

#[test]
fn without_a_baseline_nothing_is_charted() {
    let book = long_season(12, |_| 0.0);
    let left = drift::left_over(&book.cuts);
    assert_eq!(left.len(), 36);
    let ben = Subject::Supplier("ben".to_owned());
    let rules = drift::ControlRules::default();
    let watch = |baseline: Option<&Baseline>| drift::watch(&left, &ben, baseline, &rules);
    assert_eq!(watch(None), Watch::NoBaseline);
    let of_another = baseline(&Subject::Supplier("ana".to_owned()), 8);
    assert_eq!(watch(Some(&of_another)), Watch::NoBaseline);
    let thin = watch(Some(&baseline(&ben, 7)));
    assert_eq!(thin, Watch::BaselineTooThin { cuts: 7, least: 8 });
    let Watch::Charts(charts) = watch(Some(&baseline(&ben, 8))) else {
        panic!("eight cuts are a baseline")
    };
    assert_eq!((charts.baseline_cuts, charts.points.len()), (8, 4));
}

#[test]
fn a_cut_of_which_only_itself_tells_is_not_charted() {
    let mut book = long_season(12, |_| 0.0);
    book.cut("dee:20", "ida", "a", 2.0);
    let left = drift::left_over(&book.cuts);
    assert_eq!(left.len(), 36, "the only cut of dee's fish fits by itself");
    book.cut("dee:20", "ida", "a", 2.2);
    assert_eq!(drift::left_over(&book.cuts).len(), 38);
}

/// Sums of twelve even chances, less six: common practice for a normal one.
fn honest(state: &mut u64) -> f64 {
    let even = |state: &mut u64| {
        // Knuth's linear congruential step, from memory.
        *state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (*state >> 40) as f64 / f64::from(1 << 24)
    };
    (0..12).map(|_| even(state)).sum::<f64>() - 6.0
}

/// Of 400 honest seasons, each of so many cuts by Ida, those of which the first five days
/// make a baseline, and those of which her charts then signal.
fn signals(cuts: usize, supplier: impl Fn(usize, usize) -> &'static str) -> (i32, i32) {
    let (mut charted, mut signals) = (0, 0);
    for season in 0..400 {
        let mut state = 20_310_502 + season as u64;
        let mut book = Book::default();
        for n in 0..cuts {
            // 8 to 32 lb in a cut; two points in one of 20.
            let pounds = (8 + 24 * ((7 * n + season) % 11) / 10) as f64;
            let share = 0.30 + 0.02 * honest(&mut state) * (20.0 / pounds).sqrt();
            let input = format!("{}:{pounds}", supplier(season, n));
            book.cut(&input, "ida", "a", pounds * share);
        }
        let left = drift::left_over(&book.cuts);
        let ida = Subject::Cutter("ida".to_owned());
        let rules = drift::ControlRules::default();
        let days = baseline(&ida, 5);
        if let Watch::Charts(charts) = drift::watch(&left, &ida, Some(&days), &rules) {
            charted += 1;
            let signal = charts.single.is_some() || charts.ewma.is_some() || charts.cusum.is_some();
            signals += i32::from(signal);
        }
    }
    println!("{signals} of {charted}");
    (charted, signals)
}

const SEVEN: [&str; 7] = ["ana", "ben", "cyd", "dee", "eli", "fay", "gus"];

#[test]
fn in_the_first_week_of_a_season_the_charts_seldom_signal_for_nothing() {
    // Seven suppliers in no order, some of them once; 15 cuts in five days, then three.
    let (charted, signals) = signals(18, |season, n| {
        SEVEN[(season + 1) * (n + 3) * (n + 5) % 23 % 7]
    });
    assert!(charted > 300, "{charted}");
    assert!(signals * 20 <= charted, "{signals} of {charted}");
}

#[test]
fn a_baseline_of_cuts_that_have_much_of_their_own_say_is_no_calmer_than_others() {
    // Seven suppliers twice each and one more, then nine cuts of one: half of what the fit
    // says of a cut of the baseline is its own saying, a tenth of a later one.
    let (charted, signals) = signals(24, |_, n| if n < 14 { SEVEN[n % 7] } else { "hal" });
    assert!(charted > 300, "{charted}");
    // 67 of 400: of 15 cuts the deviation itself is not well known. Where their own say is
    // not reckoned with, it is 141.
    assert!(signals * 4 <= charted, "{signals} of {charted}");
}

#[test]
fn a_mixed_cut_is_charted_for_whom_it_was_half_of() {
    let mut book = season(&[("ana", 0.30), ("ben", 0.30)]);
    book.cut("ana:10 ben:10", "ida", "0.50-0.75", 6.0);
    book.cut("ana:11 ben:9", "ida", "0.50-0.75", 6.0);
    let left = drift::left_over(&book.cuts);
    let charted = |supplier: &str| {
        let subject = Subject::Supplier(supplier.to_owned());
        let all = baseline(&subject, 4);
        let rules = drift::ControlRules {
            least_baseline: 2,
            ..drift::ControlRules::default()
        };
        match drift::watch(&left, &subject, Some(&all), &rules) {
            Watch::Charts(charts) => charts.baseline_cuts + charts.points.len(),
            other => panic!("{other:?}"),
        }
    };
    assert_eq!((charted("ana"), charted("ben")), (14, 13));
}

#[test]
fn what_the_charts_say_reads_so() {
    let charts = Charts {
        baseline_cuts: 12,
        points: Vec::new(),
        single_limit_e2: 300,
        ewma_limit_e2: 100,
        cusum_limit_e2: 500,
        single: None,
        ewma: None,
        cusum: None,
    };
    let leap = Leap {
        entry: 1,
        day: 20_310_517,
        below: true,
    };
    let drift = Drift {
        since: 20_310_517,
        cuts: 7,
        found: 20_310_520,
        below: true,
        shift_e2: -312,
    };
    for (cusum, ewma, single, says) in [
        (
            Some(drift),
            Some(leap),
            Some(leap),
            "since 2031-05-17 3.1 points under its baseline (cumulative sum; 7 cuts, found \
             2031-05-20)",
        ),
        (
            None,
            Some(leap),
            Some(leap),
            "on 2031-05-17 the weighted mean went below the limit of its baseline",
        ),
        (
            None,
            None,
            Some(leap),
            "a cut of 2031-05-17 was below the limit of its baseline",
        ),
        (None, None, None, "as in its baseline (0 cuts since)"),
    ] {
        let charts = Charts {
            cusum,
            ewma,
            single,
            ..charts.clone()
        };
        assert_eq!(drift::sentence(&Watch::Charts(charts)), says);
    }
    assert_eq!(drift::sentence(&Watch::NoBaseline), "no baseline is set");
    let thin = Watch::BaselineTooThin { cuts: 3, least: 8 };
    assert_eq!(
        drift::sentence(&thin),
        "the baseline is too thin: 3 of 8 cuts that differ"
    );
}

#[test]
fn cuts_of_different_sizes_inflate_nothing_by_themselves() {
    let mut book = Book::default();
    for (round, noise) in NOISE.iter().enumerate() {
        for (n, supplier) in ["ana", "ben"].iter().enumerate() {
            let lb = 5.0 + f64::from(u32::try_from((7 * round + 3 * n) % 12).unwrap());
            book.cut(&format!("{supplier}:{lb}"), "ida", "a", lb * (0.3 + noise));
        }
    }
    let group = book.one();
    for own in &group.suppliers {
        assert_eq!(own.inflation_e2, Some(100), "{}", own.supplier);
    }
}
