#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;

use super::super::{
    Adjustment, AdjustmentKind, AdjustmentLine, CatchArea, Confirmation, Landing, PayeeShare,
    Receiving, Tare, Weighed,
};
use super::*;
use crate::business_day::SiteClock;
use crate::decimal;
use crate::drift::{Told, WeighedTwice};
use crate::fish::{Hazard, Storage};
use crate::ids::{LotCode, PartId};
use crate::office::DripRate;
use crate::price_list::ConditionAdjustment;
use crate::reweigh::{ReweighAsked, Reweighed, TicketWeighing, compare};
use crate::stock::PartRef;
use crate::uncertainty::{OnIt, readings};
use crate::weight::{Reading, ReadingSource, WeightUnit};

const LB: WeightUnit = WeightUnit::Lb;

fn usd() -> Currency {
    Currency::new("USD").unwrap()
}

fn cents(minor: i64) -> Money {
    Money::new(minor, usd())
}

fn lb(text: &str) -> Weight {
    LB.weigh(text).unwrap()
}

fn at_lb(text: &str) -> UnitPrice {
    UnitPrice::signed(text, usd(), LB).unwrap()
}

fn reading(text: &str, unit: WeightUnit, scale: &str) -> Reading {
    Reading::new(text, unit, scale, ReadingSource::Keyed).unwrap()
}

/// What the office has on file: two species, two scales, a list by piece, a
/// list by lot.
#[derive(Clone)]
struct Office {
    site: Site,
    settings: Settings,
    species: Vec<Species>,
    scales: Vec<Scale>,
    lists: Vec<(i64, PriceList)>,
    agreed: Vec<(i64, AgreedPrice)>,
    totes: Vec<Tote>,
    usual: Vec<Usual>,
    prior: Option<Prior>,
}

impl Office {
    fn file(&self) -> OnFile<'_> {
        OnFile {
            site: &self.site,
            settings: &self.settings,
            species: self.species.iter().collect(),
            scales: self.scales.iter().collect(),
            price_lists: self
                .lists
                .iter()
                .map(|(entry, list)| (*entry, list))
                .collect(),
            day: 20_310_502,
            agreed: self
                .agreed
                .iter()
                .map(|(entry, price)| (*entry, price))
                .collect(),
            totes: self.totes.iter().collect(),
            usual: &self.usual,
            prior: self.prior.as_ref(),
        }
    }

    fn price(&self, asked: &WeighIn) -> Result<Ticket, Refusal> {
        ticket(asked, &self.file(), 7)
    }
}

fn band(from: &str, to: &str, each: &str, name: &str) -> Band {
    Band {
        from: lb(from),
        to: (!to.is_empty()).then(|| lb(to)),
        price: at_lb(each),
        name: name.to_owned(),
    }
}

fn grade_prices(letter: &str, bands: Vec<Band>, not_counted: Option<&str>) -> GradePrices {
    GradePrices {
        grade: Grade::new(letter).unwrap(),
        bands,
        not_counted: not_counted.map(at_lb),
    }
}

fn office() -> Office {
    let lionfish = vec![
        band("0", "0.5", "1.25", "soup"),
        band("0.5", "0.75", "5.25", "small"),
        band("0.75", "1.25", "6.25", "plate"),
        band("1.25", "", "7.00", "large"),
    ];
    let hogfish = vec![
        band("0", "20", "6.00", "few"),
        band("20", "", "6.50", "many"),
    ];
    let list = |species: &str, band_by, plate_minimum, grades| PriceList {
        site: 1,
        species: species.to_owned(),
        effective_from_us: 0,
        band_by,
        currency: usd(),
        price_per: LB,
        edge_unit: LB,
        presentations: vec![PresentationPrices {
            presentation: Presentation::Whole,
            plate_minimum: lb(plate_minimum),
            grades,
        }],
        condition_adjustments: vec![
            ConditionAdjustment {
                condition: Condition::Body,
                per_unit: at_lb("-0.75"),
            },
            ConditionAdjustment {
                condition: Condition::Torn,
                per_unit: at_lb("-2.00"),
            },
        ],
    };
    let lionfish = list(
        "PZO",
        BandBy::Piece,
        "0.5",
        vec![
            grade_prices("A", lionfish.clone(), None),
            grade_prices("B", lionfish, Some("3.00")),
        ],
    );
    let hogfish = list(
        "LCX",
        BandBy::Lot,
        "1.75",
        vec![grade_prices("A", hogfish, None)],
    );
    for list in [&lionfish, &hogfish] {
        assert_eq!(list.check(), Ok(()));
    }
    let scale = |code: &str, division: &str, capacity: &str| Scale {
        site: 1,
        code: code.to_owned(),
        name: code.to_owned(),
        accuracy_class: "III".to_owned(),
        division: reading(division, LB, ""),
        capacity: reading(capacity, LB, ""),
        tested_on: chrono::NaiveDate::from_ymd_opt(2031, 1, 7),
        line: String::new(),
    };
    let species = |code: &str, name: &str, hazards: &[Hazard]| Species {
        code: code.to_owned(),
        name: name.to_owned(),
        scientific_name: String::new(),
        hazards: hazards.to_vec(),
        lightest: None,
        heaviest: None,
    };
    Office {
        site: Site {
            number: 1,
            name: "Test dock".to_owned(),
            clock: SiteClock::new("UTC", 4).unwrap(),
            currency: usd(),
            buyer: "buyer".to_owned(),
            shown_unit: LB,
            location_description: String::new(),
        },
        settings: Settings {
            site: 1,
            ice_ppm: Some(30_000),
            ..Settings::default()
        },
        species: vec![
            species("PZO", "Lionfish", &[Hazard::Venomous, Hazard::Ciguatera]),
            species("LCX", "Hogfish", &[]),
        ],
        scales: vec![scale("dock", "0.05", "150"), scale("piece", "0.01", "15")],
        lists: vec![(71, lionfish), (72, hogfish)],
        agreed: Vec::new(),
        totes: Vec::new(),
        usual: Vec::new(),
        prior: None,
    }
}

fn weighing(grade: &str, condition: Condition, weighed: Weighed) -> Weighing {
    Weighing {
        grade: Grade::new(grade).unwrap(),
        condition: Some(condition),
        weighed,
    }
}

/// Clean fish of grade A in a tared tote on the dock scale.
fn tote(gross: &str, pieces: i64) -> Weighing {
    counted("A", gross, Pieces::Counted(pieces))
}

fn counted(grade: &str, gross: &str, pieces: Pieces) -> Weighing {
    let gross = reading(gross, LB, "dock");
    let weighed = Weighed::Tote {
        gross,
        tare: Tare::Tared,
        iced: false,
        pieces,
    };
    weighing(grade, Condition::Clean, weighed)
}

/// Clean fish of grade A one by one on the piece scale.
fn fish(weights: &[&str]) -> Weighing {
    let readings = weights
        .iter()
        .map(|text| reading(text, LB, "piece"))
        .collect();
    weighing("A", Condition::Clean, Weighed::Pieces(readings))
}

fn torn(weighing: Weighing) -> Weighing {
    Weighing {
        condition: Some(Condition::Torn),
        ..weighing
    }
}

fn lot(species: &str, weighings: Vec<Weighing>) -> LotIn {
    LotIn {
        species: species.to_owned(),
        presentation: Presentation::Whole,
        storage: Some(Storage::DrainedIce),
        weighings,
        receiving: Receiving {
            decision: Decision::Accept,
            reason: String::new(),
            corrective_action: String::new(),
            first_speared_us: None,
            iced_us: None,
            ice_around: None,
            probes: Vec::new(),
            smallest_length: None,
            area_unclear: false,
            hold_cause: None,
        },
        small_fish: SmallFish::Sell,
        areas: Vec::new(),
        harvest_from: None,
        harvest_to: None,
        tally: None,
    }
}

fn held(mut lot: LotIn) -> LotIn {
    lot.receiving.decision = Decision::Hold;
    lot.receiving.reason = "no ice seen".to_owned();
    lot
}

fn refused(mut lot: LotIn) -> LotIn {
    lot.receiving.decision = Decision::Refuse;
    lot.receiving.reason = "58 F, never iced".to_owned();
    lot.receiving.corrective_action = "sent back".to_owned();
    lot
}

fn small(small_fish: SmallFish, lot: LotIn) -> LotIn {
    LotIn { small_fish, ..lot }
}

fn weigh_in(lots: Vec<LotIn>) -> WeighIn {
    WeighIn {
        site: 1,
        harvester: "diver-1".to_owned(),
        landing: Landing {
            areas: vec![CatchArea {
                system: "FAO".to_owned(),
                code: "31".to_owned(),
            }],
            ..Landing::default()
        },
        lots,
        confirmation: Confirmation::ByDiver,
        first_reading_us: None,
        sent_us: None,
        offline_payout: None,
        device: String::new(),
        rewrites: None,
        payees: Vec::new(),
        adjustments: Vec::new(),
        note: String::new(),
        answers: Vec::new(),
        lot_number: None,
    }
}

fn priced(lots: Vec<LotIn>) -> Ticket {
    office().price(&weigh_in(lots)).unwrap()
}

/// A ticket's lines as text: lot, part, band, grade, condition, held, pieces,
/// net, price, amount, undersize.
fn lines(ticket: &Ticket) -> Vec<String> {
    let pieces = |pieces| match pieces {
        Pieces::NotCounted => "-".to_owned(),
        Pieces::Counted(n) => n.to_string(),
        Pieces::Estimated(n) => format!("~{n}"),
    };
    let row = |line: &Line| {
        format!(
            "{}.{} {}:{} {}{}{} {}x {} lb @ {} = {} {}",
            line.lot,
            line.part,
            line.band,
            line.band_name,
            line.grade.as_str(),
            line.condition
                .map_or("", |condition| &condition.word()[..1]),
            if line.held { " held" } else { "" },
            pieces(line.pieces),
            line.net.shown(LB),
            line.price.decimal(),
            decimal::text(line.amount.minor(), 2),
            line.undersize.word(),
        )
    };
    ticket.lines.iter().map(row).collect()
}

fn codes(ticket: &Ticket) -> Vec<(&str, i64)> {
    let said = ticket
        .notices
        .iter()
        .filter(|notice| notice.kind != NoticeKind::Caution);
    said.map(|notice| (notice.code.as_str(), notice.line))
        .collect()
}

/// Reads "42.00 lb dock"; the scale may be left out.
fn read(text: &str) -> Reading {
    let words: Vec<&str> = text.split_whitespace().collect();
    let unit = match words[1] {
        "lb" => LB,
        "kg" => WeightUnit::Kg,
        "g" => WeightUnit::G,
        "oz" => WeightUnit::Oz,
        other => panic!("no unit {other}"),
    };
    reading(words[0], unit, words.get(2).unwrap_or(&""))
}

#[test]
fn net_is_gross_less_tare_less_ice_rounded_down_to_the_division() {
    for case in [
        // gross | tare | ice allowance, ppm, where marked iced | ice | net
        // The rule's own example: 42.00 x 3 % = 1.26 -> 1.25, paid 40.75.
        "45.70 lb dock | 3.70 lb dock        | 30000 | 1.25 lb  | 40.75 lb",
        "45.70 lb dock | posted 3.70 lb dock | 30000 | 1.25 lb  | 40.75 lb",
        "42.00 lb dock | tared               | 30000 | 1.25 lb  | 40.75 lb",
        // Not marked iced, or no allowance set.
        "42.00 lb dock | tared               | -     | 0 lb     | 42.00 lb",
        "42.00 lb dock | tared               | 0     | 0 lb     | 42.00 lb",
        // Exactly some steps; just under the first, and just above it.
        "50.00 lb dock | tared               | 30000 | 1.50 lb  | 48.50 lb",
        "1.65 lb dock  | tared               | 30000 | 0 lb     | 1.65 lb",
        "1.70 lb dock  | tared               | 30000 | 0.05 lb  | 1.65 lb",
        // The division is the gross's scale's, whatever was typed.
        "672 oz dock   | tared               | 30000 | 1.25 lb  | 40.75 lb",
        // No scale known: down to 0.001 lb, or to 1 g.
        "42.11 lb      | tared               | 30000 | 1.263 lb | 40.847 lb",
        "16 oz         | tared               | 30000 | 0.030 lb | 0.970 lb",
        "19.123 kg     | 1.5 kg              | 30000 | 528 g    | 17.095 kg",
        "1999 g        | tared               | 30000 | 59 g     | 1940 g",
    ] {
        let columns: Vec<&str> = case.split('|').map(str::trim).collect();
        let tare = match columns[1].strip_prefix("posted ") {
            Some(posted) => Tare::Tote {
                code: "blue".to_owned(),
                posted: Some(read(posted)),
            },
            None if columns[1] == "tared" => Tare::Tared,
            None => Tare::Reading(read(columns[1])),
        };
        let mut office = office();
        let iced = columns[2] != "-";
        office.settings.ice_ppm = Some(columns[2].parse().unwrap_or(30_000));
        let tote = Weighed::Tote {
            gross: read(columns[0]),
            tare,
            iced,
            pieces: Pieces::Counted(40),
        };
        let asked = weigh_in(vec![lot(
            "PZO",
            vec![weighing("A", Condition::Clean, tote)],
        )]);
        let ticket = office.price(&asked).unwrap();
        let net = ticket.lots[0].weighed[0];
        let expected = (read(columns[3]).weight, read(columns[4]).weight);
        assert_eq!((net.ice, net.net), expected, "{case}");
        assert_eq!(net.gross, read(columns[0]).weight, "{case}");
        assert_eq!(
            net.gross.units(),
            net.tare.units() + net.ice.units() + net.net.units()
        );
        assert_eq!(
            (ticket.lines[0].net, ticket.lines[0].ice),
            (net.net, net.ice),
            "{case}"
        );
    }
}

#[test]
fn a_tote_is_banded_by_its_mean_and_paid_for_the_whole_line() {
    for (net, pieces, line) in [
        // 66 pieces at edge 0.50: the rule's own example.
        (
            "33.00",
            66,
            "1.1 2:small Ac 66x 33.00 lb @ 5.25 = 173.25 no",
        ),
        ("32.95", 66, "1.1 1:soup Ac 66x 32.95 lb @ 1.25 = 41.19 yes"),
        ("32.05", 66, "1.1 1:soup Ac 66x 32.05 lb @ 1.25 = 40.06 yes"),
        (
            "49.45",
            66,
            "1.1 2:small Ac 66x 49.45 lb @ 5.25 = 259.61 no",
        ),
        (
            "49.50",
            66,
            "1.1 3:plate Ac 66x 49.50 lb @ 6.25 = 309.38 no",
        ),
        (
            "82.50",
            66,
            "1.1 4:large Ac 66x 82.50 lb @ 7.00 = 577.50 no",
        ),
        ("0.45", 1, "1.1 1:soup Ac 1x 0.45 lb @ 1.25 = 0.56 yes"),
        ("0.50", 1, "1.1 2:small Ac 1x 0.50 lb @ 5.25 = 2.63 no"),
    ] {
        assert_eq!(
            lines(&priced(vec![lot("PZO", vec![tote(net, pieces)])])),
            [line]
        );
    }
}

#[test]
fn fish_alike_is_one_line_summed_before_it_is_rounded() {
    let b = |gross| counted("B", gross, Pieces::Counted(10));
    // 10.05 x 5.25 is 52.7625 twice; together 105.525, which is 105.53 and not
    // 52.76 + 52.76.
    let ticket = priced(vec![lot(
        "PZO",
        vec![
            tote("10.05", 16),
            torn(tote("9.00", 10)),
            tote("10.05", 16),
            b("9.00"),
            fish(&["0.49", "0.80", "0.50", "0.30"]),
        ],
    )]);
    assert_eq!(
        lines(&ticket),
        [
            "1.1 2:small Ac 33x 20.60 lb @ 5.25 = 108.15 no",
            "1.2 3:plate At 10x 9.00 lb @ 4.25 = 38.25 no",
            "1.3 3:plate Bc 10x 9.00 lb @ 6.25 = 56.25 no",
            "1.4 1:soup Ac 2x 0.79 lb @ 1.25 = 0.99 yes",
            "1.5 3:plate Ac 1x 0.80 lb @ 6.25 = 5.00 no",
        ]
    );
    assert_eq!(ticket.lines_total, cents(10_815 + 3_825 + 5_625 + 99 + 500));
    assert_eq!(ticket.undersize, lb("0.79"));
    let two = priced(vec![lot("PZO", vec![tote("10.05", 16), tote("10.05", 16)])]);
    assert_eq!(
        lines(&two),
        ["1.1 2:small Ac 32x 20.10 lb @ 5.25 = 105.53 no"]
    );
    // In two lots they are two lines.
    let apart = || lot("PZO", vec![tote("10.05", 16)]);
    assert_eq!(priced(vec![apart(), apart()]).lines_total, cents(2 * 5_276));
}

#[test]
fn a_condition_changes_the_price_and_never_below_zero() {
    let soup = priced(vec![lot("PZO", vec![torn(tote("4.00", 10))])]);
    assert_eq!(
        lines(&soup),
        ["1.1 1:soup At 10x 4.00 lb @ 0.00 = 0.00 yes"]
    );
    assert_eq!(soup.lines[0].list_price, at_lb("1.25"));
    let unsaid = Weighing {
        condition: None,
        ..tote("8.00", 10)
    };
    assert_eq!(
        lines(&priced(vec![lot("PZO", vec![unsaid])])),
        ["1.1 3:plate A 10x 8.00 lb @ 6.25 = 50.00 no"]
    );
}

#[test]
fn pieces_are_counted_estimated_or_not_counted() {
    let b = |pieces| lot("PZO", vec![counted("B", "9.00", pieces)]);
    let estimated = priced(vec![b(Pieces::Estimated(10))]);
    assert_eq!(
        lines(&estimated),
        ["1.1 3:plate Bc ~10x 9.00 lb @ 6.25 = 56.25 no"]
    );
    assert_eq!(codes(&estimated), [("pieces_estimated", 1)]);
    let not_counted = priced(vec![b(Pieces::NotCounted)]);
    assert_eq!(
        lines(&not_counted),
        ["1.1 0:not counted Bc -x 9.00 lb @ 3.00 = 27.00 not known"]
    );
    assert!(codes(&not_counted).is_empty());
    // One estimate makes the sum one.
    let both = lot(
        "PZO",
        vec![
            counted("B", "9.00", Pieces::Counted(10)),
            counted("B", "9.00", Pieces::Estimated(9)),
        ],
    );
    assert_eq!(
        lines(&priced(vec![both])),
        ["1.1 3:plate Bc ~19x 18.00 lb @ 6.25 = 112.50 no"]
    );
}

#[test]
fn a_band_by_lot_goes_by_the_accepted_net_of_the_grade() {
    let hog = |gross, pieces| lot("LCX", vec![counted("A", gross, pieces)]);
    let three = Pieces::Counted(3);
    for (lots, outcome) in [
        (
            vec![hog("19.95", three)],
            vec!["1.1 1:few Ac 3x 19.95 lb @ 6.00 = 119.70 no"],
        ),
        (
            vec![hog("20.00", three)],
            vec!["1.1 2:many Ac 3x 20.00 lb @ 6.50 = 130.00 no"],
        ),
        // Two lots of the ticket together reach the edge.
        (
            vec![hog("10.00", three), hog("10.00", three)],
            vec![
                "1.1 2:many Ac 3x 10.00 lb @ 6.50 = 65.00 no",
                "2.1 2:many Ac 3x 10.00 lb @ 6.50 = 65.00 no",
            ],
        ),
        // Held counts.
        (
            vec![hog("10.00", three), held(hog("10.00", three))],
            vec![
                "1.1 2:many Ac 3x 10.00 lb @ 6.50 = 65.00 no",
                "2.1 2:many Ac held 3x 10.00 lb @ 6.50 = 65.00 no",
            ],
        ),
        // Refused does not, nor what the diver takes home.
        (
            vec![hog("10.00", three), refused(hog("10.00", three))],
            vec!["1.1 1:few Ac 3x 10.00 lb @ 6.00 = 60.00 no"],
        ),
        (
            vec![
                hog("10.00", three),
                small(SmallFish::TakeHome, hog("10.00", Pieces::Counted(10))),
            ],
            vec!["1.1 1:few Ac 3x 10.00 lb @ 6.00 = 60.00 no"],
        ),
        // The mean piece tells undersize: 1.75 each.
        (
            vec![hog("17.50", Pieces::Counted(10))],
            vec!["1.1 1:few Ac 10x 17.50 lb @ 6.00 = 105.00 no"],
        ),
        (
            vec![hog("17.45", Pieces::Counted(10))],
            vec!["1.1 1:few Ac 10x 17.45 lb @ 6.00 = 104.70 yes"],
        ),
        // Not counted needs no row of its own, and is not known.
        (
            vec![hog("17.45", Pieces::NotCounted)],
            vec!["1.1 1:few Ac -x 17.45 lb @ 6.00 = 104.70 not known"],
        ),
        // Of one part the mean of all its totes tells.
        (
            vec![lot("LCX", vec![tote("5.00", 3), tote("5.00", 2)])],
            vec!["1.1 1:few Ac 5x 10.00 lb @ 6.00 = 60.00 no"],
        ),
        (
            vec![lot(
                "LCX",
                vec![tote("5.00", 3), counted("A", "5.00", Pieces::NotCounted)],
            )],
            vec!["1.1 1:few Ac -x 10.00 lb @ 6.00 = 60.00 not known"],
        ),
    ] {
        assert_eq!(lines(&priced(lots)), outcome);
    }
}

#[test]
fn the_diver_sells_gives_or_takes_home_small_fish_and_only_that() {
    let mixed = || {
        lot(
            "PZO",
            vec![fish(&["0.49", "0.50", "0.30"]), tote("4.00", 10)],
        )
    };
    let plate = "2:small Ac 1x 0.50 lb @ 5.25 = 2.63 no";
    for (choice, outcome, home) in [
        (
            SmallFish::Sell,
            vec![
                "1.1 1:soup Ac 12x 4.79 lb @ 1.25 = 5.99 yes".to_owned(),
                format!("1.2 {plate}"),
            ],
            None,
        ),
        (
            SmallFish::Give,
            vec![
                "1.1 1:soup Ac 12x 4.79 lb @ 0.00 = 0.00 yes".to_owned(),
                format!("1.2 {plate}"),
            ],
            None,
        ),
        (
            SmallFish::TakeHome,
            vec![format!("1.1 {plate}")],
            Some(lb("4.79")),
        ),
    ] {
        let ticket = priced(vec![small(choice, mixed())]);
        assert_eq!(lines(&ticket), outcome);
        let why = NotBoughtWhy::TakenHome;
        assert_eq!(
            ticket
                .not_bought
                .iter()
                .map(|row| (row.lot, row.net, row.why))
                .collect::<Vec<_>>(),
            home.map(|net| (1, net, why))
                .into_iter()
                .collect::<Vec<_>>(),
        );
        // Given fish is on the list at its price, and printed at nothing.
        assert!(ticket.lines.iter().all(|line| line.list_price.e4() > 0));
        let proposed = ticket
            .lines
            .iter()
            .any(|line| line.proposed == Some(Outlet::Soup));
        assert_eq!(proposed, home.is_none());
    }
    // Nothing of it bought: a lot without a code.
    let none = priced(vec![small(
        SmallFish::TakeHome,
        lot("PZO", vec![tote("4.00", 10)]),
    )]);
    assert_eq!(
        (none.lots[0].place, none.lines.len(), none.payout),
        (None, 0, cents(0))
    );
    assert_eq!(none.lots[0].price_list, 71);
}

#[test]
fn held_fish_is_bought_and_not_owed_yet_and_refused_fish_is_not_bought() {
    let ticket = priced(vec![
        refused(lot("PZO", vec![counted("A", "20.00", Pieces::NotCounted)])),
        held(lot("PZO", vec![tote("8.00", 10), tote("4.00", 10)])),
        lot("PZO", vec![tote("8.00", 10)]),
    ]);
    assert_eq!(
        lines(&ticket),
        [
            "2.1 3:plate Ac held 10x 8.00 lb @ 6.25 = 50.00 no",
            "2.2 1:soup Ac held 10x 4.00 lb @ 1.25 = 5.00 yes",
            "3.1 3:plate Ac 10x 8.00 lb @ 6.25 = 50.00 no",
        ]
    );
    assert_eq!(
        ticket.lots.iter().map(|lot| lot.place).collect::<Vec<_>>(),
        [None, Some(1), Some(2)]
    );
    assert_eq!(
        ticket
            .lots
            .iter()
            .map(|lot| lot.price_list)
            .collect::<Vec<_>>(),
        [0, 71, 71]
    );
    assert_eq!(
        ticket.not_bought,
        [NotBought {
            lot: 1,
            net: lb("20.00"),
            why: NotBoughtWhy::Refused,
            reason: "58 F, never iced".to_owned(),
            corrective_action: "sent back".to_owned(),
        }]
    );
    assert_eq!(
        (ticket.payout, ticket.owed, ticket.held),
        (cents(10_500), cents(5_000), cents(5_500))
    );
    // Held fish is proposed to nobody, and the ticket says why.
    let soup = &ticket.lines[1];
    assert_eq!(soup.proposed, None);
    assert!(
        soup.proposed_reason.contains("Held"),
        "{}",
        soup.proposed_reason
    );
    assert_eq!(ticket.lines[0].proposed_reason, "");
    assert_eq!(ticket.undersize, lb("4.00"));
}

#[test]
fn fish_refused_needs_no_price_list() {
    let mut office = office();
    office.lists.clear();
    let ticket = office
        .price(&weigh_in(vec![refused(lot("PZO", vec![tote("8.00", 10)]))]))
        .unwrap();
    assert_eq!((ticket.payout, ticket.not_bought.len()), (cents(0), 1));
}

#[test]
fn adjustments_follow_in_their_order_and_round_once_each() {
    use AdjustBy::{Flat, PerWeight, Ppm};
    let (price, settlement) = (AdjustmentKind::Price, AdjustmentKind::Settlement);
    // Lines: 8.00 lb, 50.00.
    for (adjustments, amounts, payout) in [
        (vec![], vec![], 5_000),
        (vec![(price, PerWeight(at_lb("0.25")))], vec![200], 5_200),
        // Percent of lines and per-weight, wherever they stand; flat last.
        (
            vec![
                (settlement, Flat(cents(-300))),
                (settlement, Ppm(-100_000)),
                (price, PerWeight(at_lb("0.25"))),
            ],
            vec![200, -520, -300],
            4_380,
        ),
        // Each percent is of the same base.
        (
            vec![(price, Ppm(100_000)), (settlement, Ppm(-100_000))],
            vec![500, -500],
            5_000,
        ),
        // Half a cent goes away from zero: 0.01 % of 50.00 is 0.005.
        (vec![(price, Ppm(100))], vec![1], 5_001),
        (vec![(price, Ppm(-100))], vec![-1], 4_999),
        (vec![(price, Ppm(99))], vec![0], 5_000),
        (vec![(price, Ppm(-99))], vec![0], 5_000),
        (vec![(price, PerWeight(at_lb("-0.0006")))], vec![0], 5_000),
        (vec![(price, PerWeight(at_lb("-0.0007")))], vec![-1], 4_999),
        // A kilogram price on pounds: 8 lb is 3.62873896 kg.
        (
            vec![(
                price,
                PerWeight(UnitPrice::new("1", usd(), WeightUnit::Kg).unwrap()),
            )],
            vec![363],
            5_363,
        ),
        // Down to nothing, and no further: what was cut is a line.
        (vec![(settlement, Flat(cents(-5_000)))], vec![-5_000], 0),
        (vec![(settlement, Flat(cents(-5_001)))], vec![-5_001, 1], 0),
        (vec![(settlement, Ppm(-2_000_000))], vec![-10_000, 5_000], 0),
    ] {
        let mut asked = weigh_in(vec![lot("PZO", vec![tote("8.00", 10)])]);
        let named = |(kind, by)| Adjustment {
            name: "fuel".to_owned(),
            kind,
            by,
        };
        asked.adjustments = adjustments.into_iter().map(named).collect();
        let ticket = office().price(&asked).unwrap();
        let got: Vec<i64> = ticket
            .adjustments
            .iter()
            .map(|line| line.amount.minor())
            .collect();
        assert_eq!((got, ticket.payout.minor()), (amounts, payout));
        assert_eq!(ticket.lines_total, cents(5_000));
        let cut = ticket
            .notices
            .iter()
            .any(|notice| notice.code == "payout_cut");
        assert_eq!(
            cut,
            ticket
                .adjustments
                .iter()
                .any(|line| line.name == "cut at 0.00")
        );
    }
}

#[test]
fn adjustments_touch_what_is_owed_before_what_is_held() {
    for (flat, owed, held_pay) in [
        (0, 5_000, 5_000),
        (100, 5_100, 5_000),
        (-4_999, 1, 5_000),
        (-5_000, 0, 5_000),
        (-5_001, 0, 4_999),
        (-12_000, 0, 0),
    ] {
        let one = || lot("PZO", vec![tote("8.00", 10)]);
        let mut asked = weigh_in(vec![one(), held(one())]);
        let by = AdjustBy::Flat(cents(flat));
        let kind = AdjustmentKind::Settlement;
        asked.adjustments = vec![Adjustment {
            name: "ice".to_owned(),
            kind,
            by,
        }];
        let ticket = office().price(&asked).unwrap();
        assert_eq!(
            (ticket.owed.minor(), ticket.held.minor()),
            (owed, held_pay),
            "{flat}"
        );
    }
}

#[test]
fn the_payout_shown_offline_binds_and_the_difference_is_a_line() {
    for (shown, difference) in [
        (5_000, None),
        (5_100, Some(100)),
        (4_999, Some(-1)),
        (0, Some(-5_000)),
    ] {
        let mut asked = weigh_in(vec![lot("PZO", vec![tote("8.00", 10)])]);
        asked.offline_payout = Some(cents(shown));
        let ticket = office().price(&asked).unwrap();
        assert_eq!(ticket.payout, cents(shown));
        let line = difference.map(|minor| AdjustmentLine {
            name: "price shown offline".to_owned(),
            kind: AdjustmentKind::Price,
            amount: cents(minor),
        });
        assert_eq!(ticket.adjustments, line.into_iter().collect::<Vec<_>>());
        let told = codes(&ticket) == [("offline_difference", 0)];
        assert_eq!(told, difference.is_some(), "{shown}");
    }
}

#[test]
fn a_tote_close_to_the_plate_minimum_asks_to_cull_and_is_booked_by_rule() {
    for (gross, pieces, asks) in [
        // 3 % of net is more than two divisions: the edge is 33.00.
        ("33.00", 66, true),
        ("32.05", 66, true),  // 0.95 off, 3 % is 0.9615
        ("32.00", 66, false), // 1.00 off, 3 % is 0.96
        ("34.00", 66, true),  // 1.00 off, 3 % is 1.02
        ("34.05", 66, false), // 1.05 off, 3 % is 1.0215
        // Two divisions, 0.10, are more than 3 %: the edge is 1.00.
        ("0.90", 2, true),
        ("0.85", 2, false),
        ("1.10", 2, true),
        ("1.15", 2, false),
        // One fish cannot be culled.
        ("0.50", 1, false),
    ] {
        let ticket = priced(vec![lot("PZO", vec![tote(gross, pieces)])]);
        let asked = codes(&ticket).contains(&("cull", 1));
        assert_eq!(asked, asks, "{pieces} at {gross}: {:?}", ticket.notices);
        assert_eq!(ticket.lines.len(), 1);
    }
    let ticket = priced(vec![lot("PZO", vec![tote("33.00", 66)])]);
    let question = ticket
        .notices
        .iter()
        .find(|notice| notice.kind == NoticeKind::Question);
    assert_eq!(
        question.unwrap().text,
        "Lot 1, weighing 1: 66 fish at 33.00 lb, close to the plate minimum of 0.50 lb each. Cull the small ones?"
    );
}

#[test]
fn a_reading_off_its_scale_warns_and_is_booked() {
    let piece = |text: &str, unit| {
        let readings = vec![reading(text, unit, "piece")];
        weighing("A", Condition::Clean, Weighed::Pieces(readings))
    };
    let tote = |gross: Reading, tare: Tare| {
        let pieces = Pieces::Counted(10);
        weighing(
            "A",
            Condition::Clean,
            Weighed::Tote {
                gross,
                tare,
                iced: false,
                pieces,
            },
        )
    };
    let dock = |text| reading(text, LB, "dock");
    let posted = |text| Tare::Tote {
        code: "blue".to_owned(),
        posted: Some(reading(text, LB, "gone since")),
    };
    for (weighing, outcome) in [
        (piece("0.80", LB), vec![]),
        (piece("0.805", LB), vec!["off_division"]),
        (piece("0.80000", LB), vec![]),
        (piece("16.00", LB), vec!["over_capacity", "fish_this_long"]),
        (piece("15.00", LB), vec!["fish_this_long"]),
        (
            piece("16.001", LB),
            vec!["off_division", "over_capacity", "fish_this_long"],
        ),
        // 0.01 lb is 0.16 oz; and no number of grams.
        (piece("16.16", WeightUnit::Oz), vec![]),
        (piece("16.1", WeightUnit::Oz), vec!["off_division"]),
        (piece("800", WeightUnit::G), vec!["off_division"]),
        (tote(dock("12.05"), Tare::Reading(dock("3.70"))), vec![]),
        (
            tote(dock("12.06"), Tare::Reading(dock("3.71"))),
            vec!["off_division", "off_division"],
        ),
        // A tare without a scale of its own is judged by the gross's.
        (
            tote(dock("12.05"), Tare::Reading(reading("3.71", LB, ""))),
            vec!["off_division"],
        ),
        (
            tote(dock("12.05"), Tare::Reading(reading("3.71", LB, "piece"))),
            vec![],
        ),
        (tote(dock("12.05"), posted("3.70")), vec![]),
        (tote(dock("12.05"), posted("3.71")), vec!["off_division"]),
        (tote(reading("12.061", LB, ""), Tare::Tared), vec![]),
    ] {
        let case = format!("{weighing:?}");
        let ticket = priced(vec![lot("PZO", vec![weighing])]);
        let got: Vec<_> = codes(&ticket)
            .into_iter()
            .map(|(code, line)| {
                assert_eq!(line, 1);
                code
            })
            .collect();
        assert_eq!(got, outcome, "{case}");
        assert!(ticket.payout.minor() > 0);
    }
}

#[test]
fn a_load_below_twenty_divisions_of_its_scale_warns() {
    let pieces = |readings: &[&str]| {
        let readings = readings
            .iter()
            .map(|text| reading(text, LB, "dock"))
            .collect();
        weighing("A", Condition::Clean, Weighed::Pieces(readings))
    };
    // The dock scale has divisions of 0.05 lb: 1.00 lb is the least of class III.
    for (weighing, warns) in [
        (tote("1.00", 1), None),
        (tote("0.95", 1), Some("Lot 1, weighing 1: 0.95 lb is less")),
        (pieces(&["1.00", "1.20"]), None),
        (
            pieces(&["1.00", "0.95"]),
            Some("0.95 lb is less than the 1.00 lb"),
        ),
        // Said once for all of a weighing.
        (
            pieces(&["0.80", "0.95", "1.00"]),
            Some("So are 2 of the fish here."),
        ),
    ] {
        let ticket = priced(vec![lot("PZO", vec![weighing])]);
        let told: Vec<&Notice> = ticket
            .notices
            .iter()
            .filter(|notice| notice.code == "light_load")
            .collect();
        match (warns, told.as_slice()) {
            (None, []) => {}
            (Some(text), [one]) => assert!(one.text.contains(text), "{}", one.text),
            (_, other) => panic!("{warns:?}: {other:?}"),
        }
    }
    let mut unknown = office();
    unknown
        .scales
        .iter_mut()
        .for_each(|scale| scale.accuracy_class = "3".to_owned());
    let asked = weigh_in(vec![lot("PZO", vec![tote("0.80", 1)])]);
    let ticket = unknown.price(&asked).unwrap();
    assert_eq!(codes(&ticket), [("scale_class_not_known", 0)]);
}

#[test]
fn a_tare_weighed_long_ago_or_never_warns() {
    let day = |text: &str| Some(text.parse::<chrono::NaiveDate>().unwrap());
    let asked = weigh_in(vec![lot(
        "PZO",
        vec![weighing(
            "A",
            Condition::Clean,
            Weighed::Tote {
                gross: reading("12.00", LB, "dock"),
                tare: Tare::Tote {
                    code: "blue".to_owned(),
                    posted: Some(reading("4.00", LB, "dock")),
                },
                iced: false,
                pieces: Pieces::Counted(10),
            },
        )],
    )]);
    // The ticket's day is 2031-05-02.
    for (weighed_on, days, warns) in [
        (day("2031-05-02"), None, false),
        (day("2031-04-02"), None, false), // 30 days
        (day("2031-04-01"), None, true),
        (None, None, true),
        (day("2031-04-25"), Some(7), false),
        (day("2031-04-24"), Some(7), true),
        (day("2031-05-02"), Some(0), false),
    ] {
        let mut office = office();
        office.settings.tare_days = days;
        office.totes = vec![Tote {
            site: 1,
            code: "blue".to_owned(),
            tare: reading("4.00", LB, "dock"),
            weighed_on,
        }];
        let ticket = office.price(&asked).unwrap();
        let expected: &[(&str, i64)] = if warns { &[("old_tare", 1)] } else { &[] };
        assert_eq!(codes(&ticket), expected, "{weighed_on:?} {days:?}");
    }
}

#[test]
fn a_scale_without_a_test_is_said_once() {
    let mut office = office();
    office
        .scales
        .iter_mut()
        .for_each(|scale| scale.tested_on = None);
    let asked = weigh_in(vec![lot("PZO", vec![tote("8.00", 10), tote("9.00", 10)])]);
    let ticket = office.price(&asked).unwrap();
    assert_eq!(codes(&ticket), [("scale_not_tested", 0)]);
    let text = &ticket.notices.last().unwrap().text;
    assert!(
        text.starts_with("No test of scale dock is on file"),
        "{text}"
    );
}

#[test]
fn a_lot_far_from_what_is_usual_asks_for_the_unit_and_pays_as_read() {
    let mut office = office();
    let usual = |each: &str| CountedFish {
        net: lb(each),
        pieces: 1,
    };
    office.usual = vec![Usual {
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        lots: vec![usual("1.80"); 30],
    }];
    let lots = |gross, pieces| vec![lot("PZO", vec![tote(gross, pieces)])];
    // 18 kg of ten fish keyed as pounds: 0.82 lb, not 1.80.
    let ticket = office.price(&weigh_in(lots("8.20", 10))).unwrap();
    assert_eq!(codes(&ticket), [("other_unit", 0)]);
    assert_eq!(ticket.payout, cents(5_125));
    let ticket = office.price(&weigh_in(lots("18.00", 10))).unwrap();
    assert_eq!(codes(&ticket), []);
    // Nothing is known of the other species.
    let hogfish = weigh_in(vec![lot("LCX", vec![tote("8.20", 2)])]);
    assert_eq!(codes(&office.price(&hogfish).unwrap()), []);
}

#[test]
fn an_agreed_price_takes_the_place_of_the_lists() {
    let agreed = |below_plate, grade: Option<&str>, price| AgreedPrice {
        site: 1,
        harvester: "diver".to_owned(),
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        grade: grade.map(|grade| Grade::new(grade).unwrap()),
        from_us: Some(0),
        to_us: 1_000,
        price,
        below_plate,
        reason: "a steady twenty pounds a week".to_owned(),
    };
    let lots = || {
        vec![
            lot("PZO", vec![tote("8.00", 10), tote("4.00", 10)]),
            lot("PZO", vec![counted("B", "10.00", Pieces::NotCounted)]),
        ]
    };
    // 8.00 lb at 0.80 lb a fish, 4.00 lb below the plate minimum, 10.00 lb not
    // counted; list prices 6.25, 1.25 and 3.00.
    for (below_plate, grade, amounts) in [
        (false, None, [5_600, 500, 3_000]),
        (true, None, [5_600, 2_800, 7_000]),
        (false, Some("A"), [5_600, 500, 3_000]),
        (true, Some("B"), [5_000, 500, 7_000]),
    ] {
        let mut office = office();
        office.agreed = vec![(9, agreed(below_plate, grade, at_lb("7.00")))];
        let ticket = office.price(&weigh_in(lots())).unwrap();
        let paid: Vec<i64> = ticket
            .lines
            .iter()
            .map(|line| line.amount.minor())
            .collect();
        assert_eq!(paid, amounts, "{below_plate} {grade:?}");
        for line in &ticket.lines {
            let used = line.price != line.list_price;
            assert_eq!(
                line.agreed.as_ref().map(|used| used.entry),
                used.then_some(9)
            );
        }
        assert_eq!(ticket.lines[0].list_price, at_lb("6.25"));
    }
    // The condition's part of the list still applies: torn is 2.00 less.
    let mut office = office();
    office.agreed = vec![(9, agreed(false, None, at_lb("7.00")))];
    let torn = weighing(
        "A",
        Condition::Torn,
        Weighed::Tote {
            gross: reading("8.00", LB, "dock"),
            tare: Tare::Tared,
            iced: false,
            pieces: Pieces::Counted(10),
        },
    );
    let ticket = office
        .price(&weigh_in(vec![lot("PZO", vec![torn])]))
        .unwrap();
    assert_eq!(ticket.lines[0].price, at_lb("5.00"));
    // Given is given, and nothing was agreed for it.
    let given = small(SmallFish::Give, lot("PZO", vec![tote("4.00", 10)]));
    office.agreed[0].1.below_plate = true;
    let ticket = office.price(&weigh_in(vec![given])).unwrap();
    assert_eq!(
        (ticket.lines[0].price, &ticket.lines[0].agreed),
        (at_lb("0"), &None)
    );
    // Per kilogram, the adjustments per pound of the list cannot be added to it.
    let per_kg = UnitPrice::new("15", usd(), WeightUnit::Kg).unwrap();
    office.agreed[0].1.price = per_kg;
    let refusal = office.price(&weigh_in(lots())).unwrap_err();
    assert_eq!(refusal.reason(), "AGREED_PRICE_UNIT");
    assert_eq!(refusal.field(), "lots[0].species");
}

#[test]
fn an_ounce_scale_has_steps_however_its_division_was_rounded() {
    let mut office = office();
    office.scales[1].division = reading("1", WeightUnit::Oz, "");
    office.scales[1].capacity = reading("320", WeightUnit::Oz, "");
    for ounces in 1..=320_i64 {
        for (text, warns) in [(ounces.to_string(), false), (format!("{ounces}.001"), true)] {
            let readings = vec![reading(&text, WeightUnit::Oz, "piece")];
            let one = weighing("A", Condition::Clean, Weighed::Pieces(readings));
            let ticket = office
                .price(&weigh_in(vec![lot("PZO", vec![one])]))
                .unwrap();
            let warned = codes(&ticket).contains(&("off_division", 1));
            assert_eq!(warned, warns, "{text} oz");
        }
    }
}

#[test]
fn notices_name_the_line_they_are_about() {
    let ticket = priced(vec![
        refused(lot("PZO", vec![counted("A", "20.01", Pieces::NotCounted)])),
        lot("PZO", vec![tote("8.00", 10), tote("33.01", 66)]),
    ]);
    assert_eq!(
        codes(&ticket),
        [("off_division", 0), ("off_division", 2), ("cull", 2)]
    );
    let home = priced(vec![small(
        SmallFish::TakeHome,
        lot("PZO", vec![tote("32.06", 66)]),
    )]);
    assert_eq!(codes(&home), [("off_division", 0), ("cull", 0)]);
}

#[test]
fn cautions_stand_once_and_defer() {
    let cautions = |ticket: &Ticket| -> Vec<String> {
        let cautions = ticket
            .notices
            .iter()
            .filter(|notice| notice.kind == NoticeKind::Caution);
        let mut codes: Vec<String> = cautions.clone().map(|notice| notice.code.clone()).collect();
        // The last of them defers for all.
        assert_eq!(codes.pop().as_deref(), Some("local_codes"));
        assert!(
            cautions
                .clone()
                .next_back()
                .is_some_and(|notice| notice.text.contains("licensed or trained"))
        );
        codes
    };
    let lion = || lot("PZO", vec![tote("8.00", 10)]);
    let hog = || lot("LCX", vec![tote("8.00", 3)]);
    for (lots, outcome) in [
        (
            vec![lion(), lion(), hog()],
            vec!["venomous_spines", "ciguatera", "cold", "allergen"],
        ),
        (vec![hog()], vec!["cold", "allergen"]),
        // Refused fish has been handled, and leaves for nobody.
        (vec![refused(lion())], vec!["venomous_spines", "ciguatera"]),
    ] {
        assert_eq!(cautions(&priced(lots)), outcome);
    }
    let mut office = office();
    office.settings.undersize_outlet = Some(Outlet::Donation);
    let ticket = office
        .price(&weigh_in(vec![lot("PZO", vec![tote("4.00", 10)])]))
        .unwrap();
    assert_eq!(
        cautions(&ticket),
        [
            "venomous_spines",
            "ciguatera",
            "cold",
            "allergen",
            "donation"
        ]
    );
    let allergen = ticket
        .notices
        .iter()
        .find(|notice| notice.code == "allergen");
    assert!(allergen.unwrap().text.contains("Lionfish"));
    let spines = ticket
        .notices
        .iter()
        .find(|notice| notice.code == "venomous_spines")
        .unwrap();
    assert!(spines.text.contains("hot water") && spines.text.contains("not medical advice"));
}

type Change = fn(&mut WeighIn, &mut Office);

#[test]
fn a_refusal_names_the_field_the_rule_and_what_kind_it_is() {
    use RefusalKind::{Malformed, Unmet};
    fn tote_of(asked: &mut WeighIn) -> &mut Weighed {
        &mut asked.lots[1].weighings[1].weighed
    }
    fn set_gross(asked: &mut WeighIn, to: Reading) {
        if let Weighed::Tote { gross, .. } = tote_of(asked) {
            *gross = to;
        }
    }
    fn set_tare(asked: &mut WeighIn, to: Tare) {
        if let Weighed::Tote { tare, .. } = tote_of(asked) {
            *tare = to;
        }
    }
    fn set_pieces(asked: &mut WeighIn, to: Pieces) {
        if let Weighed::Tote { pieces, .. } = tote_of(asked) {
            *pieces = to;
        }
    }
    fn adjust(asked: &mut WeighIn, name: &str, by: AdjustBy) {
        let kind = AdjustmentKind::Price;
        asked.adjustments.push(Adjustment {
            name: name.to_owned(),
            kind,
            by,
        });
    }
    fn euro() -> Currency {
        Currency::new("EUR").unwrap()
    }
    // The second lot's second weighing is a tote, its third fish one by one.
    #[rustfmt::skip]
    let cases: Vec<(Change, RefusalKind, &str, &str, &str)> = vec![
        (|a, _| a.lots.clear(), Malformed, "NO_LOTS", "lots", "at least one lot"),
        (|a, _| a.lots = vec![a.lots[0].clone(); 36], Malformed, "TOO_MANY_LOTS", "lots", "at most 35 lots, not 36"),
        (|a, _| a.lots[1].weighings.clear(), Malformed, "NO_WEIGHINGS", "lots[1].weighings", "Lot 2"),
        (|a, _| a.lots[1].weighings = vec![a.lots[0].weighings[0].clone(); 201], Malformed, "TOO_MANY_WEIGHINGS", "lots[1].weighings", "201"),
        (|a, _| a.lots[1].weighings[2].weighed = Weighed::Pieces(Vec::new()), Malformed, "NO_PIECE_READINGS", "lots[1].weighings[2].pieces.pieces", "Lot 2, weighing 3"),
        (|a, _| {
            let one = reading("0.80", LB, "piece");
            a.lots[1].weighings[2].weighed = Weighed::Pieces(vec![one; 501]);
        }, Malformed, "TOO_MANY_PIECE_READINGS", "lots[1].weighings[2].pieces.pieces", "501"),
        (|a, _| set_pieces(a, Pieces::Counted(0)), Malformed, "PIECES_NOT_POSITIVE", "lots[1].weighings[1].tote.pieces", "0 pieces"),
        (|a, _| set_pieces(a, Pieces::Estimated(-3)), Malformed, "PIECES_NOT_POSITIVE", "lots[1].weighings[1].tote.pieces", "-3 pieces"),
        (|a, _| set_pieces(a, Pieces::Counted(100_000)), Malformed, "TOO_MANY_PIECES", "lots[1].weighings", "100000"),
        (|a, _| a.lots[1].species = "SNR".to_owned(), Malformed, "UNKNOWN_SPECIES", "lots[1].species", "SNR"),
        (|a, _| set_gross(a, reading("9.00", LB, "shed")), Malformed, "UNKNOWN_SCALE", "lots[1].weighings[1].tote.gross.scale", "shed"),
        (|a, _| set_tare(a, Tare::Reading(reading("1.00", LB, "shed"))), Malformed, "UNKNOWN_SCALE", "lots[1].weighings[1].tote.tare_reading.scale", "shed"),
        (|a, _| {
            set_tare(
                a,
                Tare::Tote {
                    code: "red".to_owned(),
                    posted: None,
                },
            )
        }, Malformed, "UNKNOWN_TOTE", "lots[1].weighings[1].tote.tote", "red"),
        (|a, _| set_gross(a, reading("0", LB, "dock")), Malformed, "READING_NOT_POSITIVE", "lots[1].weighings[1].tote.gross", "gross"),
        (|a, _| {
            let readings = vec![reading("0.80", LB, "piece"), reading("0.00", LB, "piece")];
            a.lots[1].weighings[2].weighed = Weighed::Pieces(readings);
        }, Malformed, "READING_NOT_POSITIVE", "lots[1].weighings[2].pieces.pieces[1]", "fish 2"),
        (|a, _| {
            let mut heavy = reading("9.00", LB, "dock");
            heavy.weight = Weight::from_units(HEAVIEST.units() + 1);
            set_gross(a, heavy);
        }, Malformed, "TOO_HEAVY", "lots[1].weighings[1].tote.gross", "10 t"),
        (|a, _| set_gross(a, reading("10000", WeightUnit::Kg, "")), Malformed, "LOT_TOO_HEAVY", "lots[1].weighings", "10 t"),
        (|a, _| set_tare(a, Tare::Reading(reading("9.00", LB, "dock"))), Malformed, "TARE_NOT_BELOW_GROSS", "lots[1].weighings[1].tote.gross", "the tare 9.00 lb must be below the gross 9.00 lb"),
        (|a, office| {
            office.settings.ice_ppm = Some(1_000_000);
            if let Weighed::Tote { iced, .. } = tote_of(a) {
                *iced = true;
            }
        }, Malformed, "NOTHING_BUT_ICE", "lots[1].weighings[1].tote.iced", "no fish"),
        (|a, _| a.lots[1].receiving.decision = Decision::Hold, Malformed, "REASON_MISSING", "lots[1].receiving.reason", "needs a reason"),
        (|a, _| {
            a.lots[1].receiving.decision = Decision::Refuse;
            a.lots[1].receiving.reason = "58 F".to_owned();
            a.lots[1].receiving.corrective_action = "  ".to_owned();
        }, Malformed, "CORRECTIVE_ACTION_MISSING", "lots[1].receiving.corrective_action", "corrective action"),
        (|a, _| a.offline_payout = Some(Money::new(1, euro())), Malformed, "OTHER_CURRENCY", "offline.payout_shown", "USD, not EUR"),
        (|a, _| {
            let share = Share::Fixed(Money::new(1, euro()));
            a.payees.push(PayeeShare {
                party: "diver-1".to_owned(),
                share,
            });
        }, Malformed, "OTHER_CURRENCY", "payees[0].fixed", "EUR"),
        (|a, _| {
            adjust(a, "ice", AdjustBy::Ppm(1));
            adjust(a, "ice", AdjustBy::Flat(Money::new(1, euro())));
        }, Malformed, "OTHER_CURRENCY", "adjustments[1].flat", "EUR"),
        (|a, _| {
            let price = UnitPrice::new("1", euro(), LB).unwrap();
            adjust(a, "ice", AdjustBy::PerWeight(price));
        }, Malformed, "OTHER_CURRENCY", "adjustments[0].per_weight", "EUR"),
        (|a, _| a.offline_payout = Some(cents(-1)), Malformed, "OFFLINE_PAYOUT_NEGATIVE", "offline.payout_shown", "below 0.00"),
        (|a, _| adjust(a, " ", AdjustBy::Ppm(1)), Malformed, "ADJUSTMENT_UNNAMED", "adjustments[0].name", "name"),
        (|a, _| adjust(a, "fuel", AdjustBy::Flat(cents(i64::MAX))), Malformed, "AMOUNT_TOO_LARGE", "lots", "too large"),
        (|a, _| adjust(a, "fuel", AdjustBy::Ppm(i64::MAX)), Malformed, "AMOUNT_TOO_LARGE", "lots", "too large"),
        (|_, office| drop(office.lists.remove(0)), Unmet, "NO_PRICE_LIST", "lots[0].species", "PZO"),
        (|a, _| a.lots[1].presentation = Presentation::Gutted, Unmet, "PRESENTATION_NOT_PRICED", "lots[1].presentation", "does not buy gutted"),
        (|a, _| a.lots[1].weighings[1].grade = Grade::new("C").unwrap(), Unmet, "GRADE_NOT_PRICED", "lots[1].weighings[1].grade", "grade C"),
        (|a, _| set_pieces(a, Pieces::NotCounted), Unmet, "NOT_COUNTED", "lots[1].weighings[1].tote.pieces", "not counted"),
        (|_, office| office.lists[0].1.currency = euro(), Unmet, "PRICE_LIST_CURRENCY", "lots[0].species", "EUR"),
    ];
    for (change, kind, reason, field, says) in cases {
        let mut office = office();
        let mut asked = weigh_in(vec![
            lot("PZO", vec![tote("8.00", 10)]),
            lot(
                "PZO",
                vec![tote("8.00", 10), tote("9.00", 10), fish(&["0.80"])],
            ),
        ]);
        assert!(office.price(&asked).is_ok());
        change(&mut asked, &mut office);
        let refusal = office.price(&asked).expect_err(reason);
        assert_eq!((refusal.kind(), refusal.reason()), (kind, reason));
        assert_eq!(refusal.field(), field, "{reason}");
        let sentence = refusal.to_string();
        assert!(
            sentence.contains(says) && sentence.ends_with('.'),
            "{reason}: {sentence}"
        );
    }
}

#[test]
fn what_is_just_within_the_limits_is_priced() {
    let full = lot("PZO", vec![tote("8.00", 10); MOST_WEIGHINGS]);
    assert!(office().price(&weigh_in(vec![full; 35])).is_ok());
    let readings = vec![reading("0.80", LB, "piece"); MOST_PIECE_READINGS];
    let most = weighing("A", Condition::Clean, Weighed::Pieces(readings));
    assert!(
        office()
            .price(&weigh_in(vec![lot("PZO", vec![most])]))
            .is_ok()
    );
    let gross = reading("10000", WeightUnit::Kg, "");
    let pieces = Pieces::Counted(MOST_PIECES);
    let heaviest = Weighed::Tote {
        gross,
        tare: Tare::Tared,
        iced: false,
        pieces,
    };
    let heaviest = lot("PZO", vec![weighing("A", Condition::Clean, heaviest)]);
    assert!(office().price(&weigh_in(vec![heaviest])).is_ok());
}

#[test]
fn a_rewrite_keeps_codes_parts_and_the_price_instant() {
    let first = weigh_in(vec![
        lot("PZO", vec![tote("8.00", 10), tote("4.00", 10)]),
        refused(lot("PZO", vec![tote("8.00", 10)])),
        lot("LCX", vec![tote("8.00", 3)]),
    ]);
    let mut office = office();
    let old = office.price(&first).unwrap();
    assert_eq!((old.number, old.priced_us), (None, 7));
    let mut prior = Prior::of(2_031_050_200_010_000_001, &first, &old);
    assert_eq!(
        prior.lots.iter().map(|lot| lot.place).collect::<Vec<_>>(),
        [1, 2]
    );
    // A hold since then opened a part of the first lot.
    let mut held_part = prior.lots[0].parts[0].0.clone();
    held_part.held = true;
    prior.lots[0].parts.push((held_part, 3));
    office.prior = Some(prior);

    // The order changed, a tote was torn, fish was forgotten, an area was wrong.
    let mut elsewhere = lot("LCX", vec![tote("8.00", 3)]);
    elsewhere.areas = vec![CatchArea {
        system: "FAO".to_owned(),
        code: "37".to_owned(),
    }];
    let again = weigh_in(vec![
        elsewhere,
        lot(
            "PZO",
            vec![torn(tote("8.00", 10)), tote("4.00", 10), tote("8.10", 10)],
        ),
        lot("LCX", vec![tote("9.00", 3)]),
        lot("PZO", vec![tote("7.00", 10)]),
    ]);
    let new = ticket(&again, &office.file(), 1_000).unwrap();
    assert_eq!(
        (new.number, new.priced_us),
        (Some(2_031_050_200_010_000_001), 7)
    );
    let places: Vec<_> = new.lots.iter().map(|lot| lot.place).collect();
    assert_eq!(places, [Some(3), Some(1), Some(2), Some(4)]);
    let parts: Vec<_> = new.lines.iter().map(|line| (line.lot, line.part)).collect();
    // The torn part is new and comes after all there were; the others are as
    // they were.
    assert_eq!(parts, [(1, 1), (2, 4), (2, 2), (2, 1), (3, 1), (4, 1)]);
    // Rewritten once more, the number stays the first one's.
    let twice = Prior::of(2_031_050_200_010_000_009, &again, &new);
    assert_eq!(
        (twice.number, twice.priced_us),
        (2_031_050_200_010_000_001, 7)
    );
}

#[test]
fn a_new_code_comes_only_with_another_species_presentation_supplier_area_or_day() {
    let landing = |asked: &mut WeighIn, code: &str| {
        asked.landing.areas = vec![CatchArea {
            system: "FAO".to_owned(),
            code: code.to_owned(),
        }];
    };
    let day = chrono::NaiveDate::from_ymd_opt(2031, 5, 2);
    type Mend = Box<dyn Fn(&mut WeighIn)>;
    let cases: Vec<(&str, Mend, i64)> = vec![
        ("nothing", Box::new(|_| {}), 1),
        (
            "the weight",
            Box::new(|a| a.lots[0].weighings = vec![tote("9.00", 10)]),
            1,
        ),
        ("the storage", Box::new(|a| a.lots[0].storage = None), 1),
        (
            "the same area said by the lot",
            Box::new(|a| a.lots[0].areas = a.landing.areas.clone()),
            1,
        ),
        ("the area", Box::new(move |a| landing(a, "37")), 2),
        (
            "the species",
            Box::new(|a| a.lots[0].species = "LCX".to_owned()),
            2,
        ),
        (
            "the supplier",
            Box::new(|a| a.harvester = "diver-2".to_owned()),
            2,
        ),
        (
            "the first day",
            Box::new(move |a| a.landing.harvest_from = day),
            2,
        ),
        (
            "the last day",
            Box::new(move |a| a.lots[0].harvest_to = day),
            2,
        ),
    ];
    for (what, change, place) in cases {
        let first = weigh_in(vec![lot("PZO", vec![tote("8.00", 10)])]);
        let mut office = office();
        let old = office.price(&first).unwrap();
        office.prior = Some(Prior::of(2_031_050_200_010_000_001, &first, &old));
        let mut again = first.clone();
        change(&mut again);
        let new = office.price(&again).unwrap();
        assert_eq!(new.lots[0].place, Some(place), "{what}");
    }
}

#[test]
fn a_rewrite_beyond_the_last_code_is_refused() {
    let first = weigh_in(vec![lot("PZO", vec![tote("8.00", 10)])]);
    let mut office = office();
    let mut prior = Prior::of(1, &first, &office.price(&first).unwrap());
    prior.lots[0].place = 35;
    office.prior = Some(prior);
    assert!(office.price(&first).is_ok());
    let more = weigh_in(vec![first.lots[0].clone(), first.lots[0].clone()]);
    let refusal = office.price(&more).unwrap_err();
    assert_eq!(refusal, Refusal::NoPlaceLeft { lot: 1 });
    assert_eq!(
        (refusal.kind(), refusal.field()),
        (RefusalKind::Unmet, "lots[1]".to_owned())
    );
}

fn any_weighing() -> impl Strategy<Value = Weighing> {
    let reading_of = |millipounds: i64, unit: WeightUnit| {
        // A thousandth of a pound is 0.016 oz; kilograms and grams as they fall.
        let text = match unit {
            WeightUnit::Oz => decimal::text(millipounds * 16, 3),
            _ => decimal::text(millipounds, 3),
        };
        reading(&text, unit, "")
    };
    let unit = prop::sample::select(vec![LB, WeightUnit::Kg, WeightUnit::Oz]);
    let pieces = prop_oneof![
        3 => (1_i64..200).prop_map(Pieces::Counted),
        1 => (1_i64..200).prop_map(Pieces::Estimated),
        1 => Just(Pieces::NotCounted),
    ];
    let tote = (
        1_i64..150_000,
        0_i64..9_000,
        any::<bool>(),
        pieces,
        unit.clone(),
    )
        .prop_map(move |(fish, tare, iced, pieces, unit)| Weighed::Tote {
            gross: reading_of(fish + tare, unit),
            tare: Tare::Reading(reading_of(tare, unit)),
            iced,
            pieces,
        });
    let one_by_one =
        (prop::collection::vec(1_i64..3_000, 1..6), unit).prop_map(move |(weights, unit)| {
            Weighed::Pieces(
                weights
                    .iter()
                    .map(|&weight| reading_of(weight, unit))
                    .collect(),
            )
        });
    let condition = prop::option::of(prop::sample::select(Condition::ALL.to_vec()));
    (prop_oneof![tote, one_by_one], condition).prop_map(|(weighed, condition)| Weighing {
        // Grade B buys fish that was not counted.
        grade: Grade::new("B").unwrap(),
        condition,
        weighed,
    })
}

fn any_weigh_in() -> impl Strategy<Value = WeighIn> {
    let lot_of = (
        prop::collection::vec(any_weighing(), 1..6),
        any::<bool>(),
        prop::sample::select(Decision::ALL.to_vec()),
        prop::sample::select(SmallFish::ALL.to_vec()),
    )
        .prop_map(|(mut weighings, by_lot, decision, choice)| {
            if by_lot {
                for weighing in &mut weighings {
                    weighing.grade = Grade::new("A").unwrap();
                }
            }
            let lot = small(choice, lot(if by_lot { "LCX" } else { "PZO" }, weighings));
            match decision {
                Decision::Accept => lot,
                Decision::Hold => held(lot),
                Decision::Refuse => refused(lot),
            }
        });
    let by = prop_oneof![
        (-20_000_i64..20_000)
            .prop_map(|e4| AdjustBy::PerWeight(UnitPrice::from_e4(e4, usd(), LB).unwrap())),
        (-1_500_000_i64..1_500_000).prop_map(AdjustBy::Ppm),
        (-100_000_i64..100_000).prop_map(|minor| AdjustBy::Flat(cents(minor))),
    ];
    let adjustment = by.prop_map(|by| Adjustment {
        name: "fuel".to_owned(),
        kind: AdjustmentKind::Settlement,
        by,
    });
    let offline = prop::option::weighted(0.2, 0_i64..1_000_000);
    (
        prop::collection::vec(lot_of, 1..5),
        prop::collection::vec(adjustment, 0..4),
        offline,
    )
        .prop_map(|(lots, adjustments, offline)| {
            let mut asked = weigh_in(lots);
            asked.adjustments = adjustments;
            asked.offline_payout = offline.map(cents);
            asked
        })
}

/// A lot of lionfish weighed again six hours later; what makes a pair of it, as "first
/// second then again".
fn weighed_again(
    lot_in: LotIn,
    what: &str,
    booked: &str,
    reading_again: Reading,
) -> Option<String> {
    let entry = 2_031_050_200_010_000_009;
    let asked = weigh_in(vec![lot_in]);
    let ticket = office().price(&asked).unwrap();
    let lot = LotCode::new(entry, 1).unwrap();
    let again = ReweighAsked {
        site: 1,
        what: match what {
            "part" => Reweighed::Part(PartRef { lot, part: Some(1) }),
            weighing => Reweighed::Weighing(TicketWeighing {
                ticket: entry,
                lot: 1,
                weighing: weighing.parse().unwrap(),
            }),
        },
        reading: reading_again,
        note: String::new(),
        happened_us: None,
    };
    let part = i64::from(what == "part");
    let done = compare(lot, part, &again.reading, lb(booked), None);
    let settings = Settings {
        drip_rates: vec![DripRate {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            storage: Storage::DrainedIce,
            ppm_per_day: 10_000,
            allowance_ppm_per_day: 5_000,
        }],
        ..Settings::default()
    };
    let then = Told {
        entry,
        happened_us: 0,
        asked: &asked,
        outcome: &ticket,
    };
    let again = Told {
        entry: entry + 1,
        happened_us: 6 * 3_600_000_000,
        asked: &again,
        outcome: &done,
    };
    let WeighedTwice {
        first,
        second,
        then,
        again,
        ..
    } = WeighedTwice::of(then, again, &settings)?;
    Some(format!(
        "{first} {second} {} {}",
        then.shown(LB),
        again.shown(LB)
    ))
}

#[test]
fn fish_weighed_again_makes_a_pair_where_one_scale_weighed_it_first() {
    let on = |scale: &str| reading("39.90", LB, scale);
    let one = || lot("PZO", vec![tote("40.00", 40)]);
    // 40 lb at 1 % a day should drip 0.1 lb in six hours.
    let pair = Some("dock piece 40.00 40.00".to_owned());
    assert_eq!(weighed_again(one(), "1", "40", on("piece")), pair);
    assert_eq!(weighed_again(one(), "part", "40", on("piece")), pair);
    let fish = || lot("PZO", vec![fish(&["1.30", "1.40"])]);
    let pair = weighed_again(fish(), "1", "2.7", reading("2.70", LB, "dock"));
    assert_eq!(pair.as_deref(), Some("piece dock 2.70 2.707"));

    // The scale is not named, then or again.
    assert_eq!(weighed_again(one(), "1", "40", on("")), None);
    let mut unnamed = one();
    if let Weighed::Tote { gross, .. } = &mut unnamed.weighings[0].weighed {
        gross.scale.clear();
    }
    assert_eq!(weighed_again(unnamed, "1", "40", on("piece")), None);
    // Ice was taken off it, or the book has the part otherwise by then.
    let mut iced = one();
    if let Weighed::Tote { iced, .. } = &mut iced.weighings[0].weighed {
        *iced = true;
    }
    assert_eq!(weighed_again(iced.clone(), "1", "38.8", on("piece")), None);
    assert_eq!(weighed_again(iced, "part", "38.8", on("piece")), None);
    assert_eq!(weighed_again(one(), "part", "39.5", on("piece")), None);
    // Two scales weighed the part.
    let large = Weighed::Pieces(vec![reading("1.00", LB, "piece")]);
    let large = weighing("A", Condition::Clean, large);
    let two = lot("PZO", vec![tote("40.00", 40), large]);
    assert_eq!(weighed_again(two, "part", "41", on("piece")), None);
}

proptest! {
    #[test]
    fn every_weight_is_bought_or_not_bought_once(asked in any_weigh_in()) {
        let ticket = office().price(&asked).unwrap();
        for (lot, written) in ticket.lots.iter().zip(&asked.lots) {
            let weighed: i64 = lot.weighed.iter().map(|net| net.net.units()).sum();
            let lines = || ticket.lines.iter().filter(|line| line.lot == lot.n);
            let bought: i64 = lines().map(|line| line.net.units()).sum();
            let rows = ticket.not_bought.iter().filter(|row| row.lot == lot.n);
            let not_bought: i64 = rows.map(|row| row.net.units()).sum();
            prop_assert_eq!(bought + not_bought, weighed);
            prop_assert_eq!(lot.place.is_some(), bought > 0);
            if not_bought == 0 {
                let ice: i64 = lot.weighed.iter().map(|net| net.ice.units()).sum();
                prop_assert_eq!(lines().map(|line| line.ice.units()).sum::<i64>(), ice);
            }
            // Band, grade, condition and hold are unique in a lot, and parts
            // count from 1.
            let mut keys: Vec<_> = lines()
                .map(|line| (line.band, line.grade.clone(), line.condition, line.held))
                .collect();
            keys.sort();
            keys.dedup();
            prop_assert_eq!(keys.len(), lines().count());
            let parts: Vec<i64> = lines().map(|line| line.part).collect();
            let count = i64::try_from(parts.len()).unwrap();
            prop_assert_eq!(parts, (1..=count).collect::<Vec<_>>());
            prop_assert!(lines().all(|line| line.held == (written.receiving.decision == Decision::Hold)));
        }
    }

    /// Each reading of a lot rests under one line, and a line's totes and fish add up to
    /// its net; what was refused or taken home rests under none.
    #[test]
    fn every_line_rests_on_the_readings_that_make_its_net(asked in any_weigh_in()) {
        let entry = 2_031_050_200_010_000_009;
        let mut asked = asked;
        for weighing in asked.lots.iter_mut().flat_map(|lot| &mut lot.weighings) {
            match &mut weighing.weighed {
                Weighed::Tote { gross, .. } => gross.scale = "dock".to_owned(),
                Weighed::Pieces(fish) => fish
                    .iter_mut()
                    .for_each(|reading| reading.scale = "piece".to_owned()),
            }
        }
        let ticket = office().price(&asked).unwrap();
        let read = readings::of_ticket(entry, 20_310_502, &asked, &ticket);
        let mut fish_read = 0;
        for line in &ticket.lines {
            let place = ticket.lots[usize::try_from(line.lot).unwrap() - 1].place.unwrap();
            let lot = LotCode::new(ticket.number.unwrap_or(entry), place);
            let part = lot.map(|lot| PartId { lot, n: line.part });
            let of_line = || read.iter().filter(|read| read.part == part);
            prop_assert!(of_line().all(|read| !read.scale.is_empty()), "all matched");
            let net: i64 = of_line()
                .map(|read| match read.on_it {
                    OnIt::Fish => read.load.units(),
                    OnIt::Tote(net) => net.units(),
                    OnIt::EmptyTote => 0,
                })
                .sum();
            prop_assert_eq!(net, line.net.units());
            fish_read += of_line().filter(|read| read.on_it != OnIt::EmptyTote).count();
        }
        prop_assert_eq!(
            fish_read,
            read.iter().filter(|read| read.on_it != OnIt::EmptyTote).count()
        );
    }

    #[test]
    fn owed_and_held_make_the_payout_and_no_part_of_it_is_below_zero(asked in any_weigh_in()) {
        let ticket = office().price(&asked).unwrap();
        let sum = |amounts: Vec<i64>| amounts.iter().sum::<i64>();
        let lines = sum(ticket.lines.iter().map(|line| line.amount.minor()).collect());
        let adjusted = sum(ticket.adjustments.iter().map(|line| line.amount.minor()).collect());
        let held = ticket.lines.iter().filter(|line| line.held);
        let held = sum(held.map(|line| line.amount.minor()).collect());
        let (payout, owed) = (ticket.payout.minor(), ticket.owed.minor());
        prop_assert_eq!(ticket.lines_total.minor(), lines);
        prop_assert_eq!(payout, lines + adjusted);
        prop_assert_eq!(owed + ticket.held.minor(), payout);
        prop_assert!(owed >= 0 && ticket.held.minor() >= 0);
        prop_assert_eq!(ticket.held.minor(), held.min(payout));
        if let Some(shown) = asked.offline_payout {
            prop_assert_eq!(ticket.payout, shown);
        }
    }

    #[test]
    fn the_order_of_weighings_changes_no_total(asked in any_weigh_in(), turn in 0_usize..6) {
        let one = office().price(&asked).unwrap();
        let mut turned = asked;
        for lot in &mut turned.lots {
            let by = turn % lot.weighings.len();
            lot.weighings.rotate_left(by);
            lot.weighings.reverse();
        }
        let other = office().price(&turned).unwrap();
        let mut rows = [&one, &other].map(|ticket| {
            let mut lines: Vec<Line> =
                ticket.lines.iter().map(|line| Line { part: 0, ..line.clone() }).collect();
            lines.sort_by_key(|line| (line.lot, line.band, line.grade.clone(), line.condition));
            lines
        });
        prop_assert_eq!(std::mem::take(&mut rows[0]), std::mem::take(&mut rows[1]));
        prop_assert_eq!(
            (one.payout, one.owed, one.held, one.undersize, one.adjustments, one.not_bought),
            (other.payout, other.owed, other.held, other.undersize, other.adjustments, other.not_bought)
        );
    }
}
