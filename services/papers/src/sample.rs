//! An invented close for tests: a bit of everything that a close can tell.

use crate::close::{
    Balance, Cause, Close, Control, Cut, Difference, Drift, Flag, Group, LeftLine, LineDone, Loss,
    Out, Part, Pay, PlainYield, Point, SmallFish, SupplierYield, Undersize,
};
use crate::{Money, Percent, Sigma, Weight};

pub(crate) fn weight(shown: &str) -> Weight {
    Weight::read(shown).expect("a test's own weight")
}

pub(crate) fn percent(shown: &str) -> Percent {
    Percent::read(shown).expect("a test's own percent")
}

fn money(hundredths: i64) -> Money {
    Money { hundredths }
}

fn out(outlet: &str, shown: &str) -> Out {
    Out {
        outlet: outlet.to_owned(),
        weight: weight(shown),
    }
}

fn supplier(code: &str, of_input: &str, limits: Option<(&str, &str)>, says: &str) -> SupplierYield {
    SupplierYield {
        group: "Lionfish, whole to skinless-pinbone-out, own table".to_owned(),
        supplier: code.to_owned(),
        cuts: 8,
        days: Some(4),
        input: weight("84.20"),
        of_input: Some(percent(of_input)),
        limits: limits.map(|(from, to)| (percent(from), percent(to))),
        shrunk: Some(percent("28.40")),
        reference: Some(percent("29.80")),
        reference_source: "the site's own cuts".to_owned(),
        like_for_like: limits.map(|_| percent("-2.30")),
        like_for_like_limits: limits.map(|_| (percent("-3.40"), percent("-1.20"))),
        difference: limits.map(|_| Difference {
            all: percent("-3.10"),
            band: percent("0.40"),
            cutter: percent("-1.20"),
            rest: percent("-2.30"),
            ..Difference::default()
        }),
        sentence: says.to_owned(),
    }
}

pub(crate) fn close() -> Close {
    let sigma = |hundredths| Sigma { hundredths };
    let part = "20310502000100000131/1";
    Close {
        site: "1 (Quillet Harbor dock)".to_owned(),
        day: "2031-05-02".to_owned(),
        state: "closed with gaps".to_owned(),
        revision: 2,
        recorded_at: "2031-05-03 04:10 EDT".to_owned(),
        clock_note: "Simulated clock: this book says it is 2031-05-05 05:30 EDT.".to_owned(),
        sha256: "ab".repeat(32),
        unit: "lb".to_owned(),
        currency: "USD".to_owned(),
        price_unit: "USD/lb".to_owned(),
        balance: Some(Balance {
            opening: weight("248.43"),
            bought: weight("190.75"),
            returned: weight("3.20"),
            made: weight("61.25"),
            used: weight("102.40"),
            out: vec![
                out("sold whole", "88.10"),
                out("soup-grade", "22.30"),
                out("donation", "5.80"),
                out("discard", "3.20"),
            ],
            shrink: weight("1.699"),
            unaccounted: weight("3.017"),
            closing: weight("277.114"),
            thrown_out_at_table: weight("32.10"),
            cutting_loss: weight("2.05"),
            table_unaccounted: weight("0.792"),
        }),
        parts: vec![Part {
            part: part.to_owned(),
            fish: "Lionfish, whole".to_owned(),
            supplier: "wren-haldane".to_owned(),
            opening: weight("41.60"),
            shrink: weight("0.083"),
            unaccounted: weight("3.017"),
            explained: Some(weight("0.41")),
            closing: weight("38.50"),
            count: "counted".to_owned(),
            ..Part::default()
        }],
        cuts: vec![Cut {
            entry: "2031050200010000020".to_owned(),
            cutter: "ida-lorne (Ida Lorne)".to_owned(),
            input: weight("20.00"),
            fillet: weight("6.00"),
            discard: weight("13.40"),
            cutting_loss: weight("0.60"),
            outputs: "weighed".to_owned(),
            ..Cut::default()
        }],
        yields: vec![PlainYield {
            supplier: "osric-pell (Osric Pell)".to_owned(),
            fish: "Lionfish, whole".to_owned(),
            cut_to: "skinless-pinbone-out, own table".to_owned(),
            cuts: 2,
            input: weight("33.00"),
            fillet: weight("8.28"),
            of_input: Some(percent("25.09")),
            mixed_cuts: 1,
            mixed_input: weight("7.25"),
        }],
        supplier_yields: vec![
            supplier(
                "wren-haldane",
                "30.12",
                Some(("28.80", "31.44")),
                "No difference shown.",
            ),
            supplier(
                "osric-pell",
                "26.51",
                Some(("24.10", "27.20")),
                "Cuts out 3.2 points under like fish of others (95 % interval 2.6 to 5.7; 8 cuts, \
                 84.20 lb, 4 days).",
            ),
            supplier(
                "mara-denby",
                "29.20",
                None,
                "Too little to say: 2 of 6 cuts.",
            ),
        ],
        lines_done: vec![LineDone {
            line: "2031050200010000044-1".to_owned(),
            part: "20310502000100000031/2".to_owned(),
            room: "hill-soup".to_owned(),
            planned: weight("9.00"),
            went: weight("7.75"),
            difference: weight("-1.25"),
            by: "2031050200010000052".to_owned(),
        }],
        left: vec![
            LeftLine {
                part: "20310502000100000051/1".to_owned(),
                room: "parish-pantry".to_owned(),
                on_ice: weight("12.00"),
                handed_over: Some(weight("7.20")),
                first: "gutted headed".to_owned(),
                brings: Some(money(-120)),
                why: String::new(),
            },
            LeftLine {
                part: "20310502000100000061/1".to_owned(),
                room: "no place".to_owned(),
                on_ice: weight("2.00"),
                why: "Every room that may take it is full.".to_owned(),
                ..LeftLine::default()
            },
        ],
        undersize: vec![Undersize {
            part: "20310502000100000191/1".to_owned(),
            fish: "Lionfish".to_owned(),
            supplier: "lenka-sorrel".to_owned(),
            taken_in: weight("5.80"),
            proposed_to: "soup-grade".to_owned(),
            proposed_reason: "the site makes soup of undersize fish first".to_owned(),
            went_to: "donation 5.80 lb".to_owned(),
            ..Undersize::default()
        }],
        groups: vec![Group {
            group: "Lionfish, whole to skinless-pinbone-out, own table".to_owned(),
            cuts: 24,
            input: weight("252.60"),
            of_input: Some(percent("28.61")),
            limits: Some((percent("27.90"), percent("29.32"))),
            reference: Some(percent("29.80")),
            reference_source: "the site's own cuts".to_owned(),
            fillet_today: weight("6.00"),
            cost_of_edible: "21.40".to_owned(),
            portions: Some(16),
            cost_of_plate: Some(money(656)),
        }],
        small_fish: vec![SmallFish {
            fish: "Lionfish, whole to skinless-pinbone-out".to_owned(),
            band: "0.25 to under 0.50 lb".to_owned(),
            cuts: 3,
            of_input: Some(percent("20.00")),
            minutes_per_fish: "1.50".to_owned(),
            cut: "1.70".to_owned(),
            soup: "1.65".to_owned(),
            within: "0.30".to_owned(),
            answer: "close".to_owned(),
            break_even: Some(weight("0.247")),
            break_even_from: Some(weight("0.231")),
            break_even_to: Some(weight("0.27")),
        }],
        causes: [
            ("drip", "1.699", 892),
            ("unaccounted", "3.017", 1_584),
            ("thrown out", "3.20", 1_680),
            ("unaccounted at the table", "0.792", 416),
            ("fillet under the reference", "0.24", 1_021),
        ]
        .map(|(cause, shown, value)| Cause {
            cause: cause.to_owned(),
            weight: weight(shown),
            value: money(value),
        })
        .to_vec(),
        losses: vec![Loss {
            by: "cutter".to_owned(),
            of: "ida-lorne".to_owned(),
            at: "what was paid at the dock".to_owned(),
            input: weight("20.00"),
            missing_fillet: weight("0.24"),
            material: Some(money(416)),
            margin: Some(money(1_021)),
        }],
        control: vec![Control {
            subject: "osric-pell".to_owned(),
            method: "individuals".to_owned(),
            baseline: "2031-04-01 to 2031-04-20".to_owned(),
            centre: sigma(0),
            lower: Some(sigma(-300)),
            upper: Some(sigma(300)),
            points: [41, -110, 30, -64, -190, -321, -240, -360]
                .iter()
                .zip(28..)
                .map(|(value, day)| Point {
                    day: format!("2031-04-{day}"),
                    value: sigma(*value),
                    below: None,
                    signal: *value < -300,
                    below_signal: false,
                })
                .collect(),
            sentence: "Lower since cut 6.".to_owned(),
        }],
        drifts: vec![Drift {
            first: "dock".to_owned(),
            second: "piece".to_owned(),
            pairs: 7,
            more: Some(percent("0.81")),
            limits: Some((percent("0.42"), percent("1.20"))),
        }],
        payouts: vec![Pay {
            party: "wren-haldane (Wren Haldane)".to_owned(),
            owed_today: money(4_200),
            owed: money(43_697),
            held: money(0),
        }],
        flags: vec![Flag {
            key: "f369879b".to_owned(),
            day: "2031-05-02".to_owned(),
            kind: "unaccounted".to_owned(),
            is_gap: false,
            about: part.to_owned(),
            weight: Some(weight("3.017")),
            value: Some(money(1_584)),
            standing: "open".to_owned(),
            text:
                "3.017 lb missing in PZO whole of wren-haldane: of 41.60 lb on the book, 0.083 lb \
                   should have dripped and 38.50 lb was found."
                    .to_owned(),
            evidence: vec![
                "dock scale on 2031-05-02: +/- 0.10 lb shared".to_owned(),
                "all together +/- 0.41 lb (k = 2)".to_owned(),
            ],
            next_step: "Count the part again.".to_owned(),
        }],
        remarks: vec!["No drip is set for red grouper.".to_owned()],
    }
}
