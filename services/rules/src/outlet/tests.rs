#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;

use super::eligible::{Mouth, Rule, eligible, safety};
use super::plan::{Choice, ChoiceKind, NoPlan, Plan, PlanAsked, RoomNow, explained, plan};
use super::*;
use crate::business_day::SiteClock;
use crate::ids::LotCode;
use crate::judging::FilletPrice;
use crate::money::Money;
use crate::ticket::TemperatureUnit;
use crate::weight::ReadingSource;

const HOUR_US: i64 = 3_600_000_000;
/// 2 May 2031, 16:00 in New York.
const NOW_US: i64 = 1_935_518_400_000_000;
const DAY: DayNumber = 20_310_502;

fn usd() -> Currency {
    Currency::new("USD").unwrap()
}

fn clock() -> SiteClock {
    SiteClock::new("America/New_York", 4).unwrap()
}

fn lb(text: &str) -> Weight {
    WeightUnit::Lb.weigh(text).unwrap()
}

fn read(text: &str) -> Reading {
    Reading::new(text, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap()
}

fn price(text: &str) -> UnitPrice {
    UnitPrice::new(text, usd(), WeightUnit::Lb).unwrap()
}

fn species(code: &str, hazards: &[Hazard]) -> Species {
    Species {
        code: code.to_owned(),
        name: code.to_lowercase(),
        scientific_name: String::new(),
        hazards: hazards.to_vec(),
        lightest: None,
        heaviest: None,
    }
}

fn lionfish() -> Species {
    species("PZO", &[Hazard::Venomous, Hazard::Ciguatera])
}

/// A fish that nobody warns of.
fn tame() -> Species {
    species("SNA", &[])
}

fn part(n: i64) -> PartId {
    PartId {
        lot: LotCode::new(2_031_050_200_010_000_000 + n, 1).unwrap(),
        n: 1,
    }
}

/// Ten pounds of it, whole, a day old, half a pound a fish.
fn fish(n: i64, species: Species) -> Fish {
    Fish {
        part: part(n),
        species,
        supplier: "diver-1".to_owned(),
        presentation: Presentation::Whole,
        storage: Some(Storage::DrainedIce),
        held: false,
        weight: lb("10"),
        piece: Some(lb("0.5")),
        harvested_us: NOW_US - 24 * HOUR_US,
        traits: Traits::default(),
    }
}

fn room(code: &str, kind: RoomKind) -> Room {
    let asks = kind.has_party();
    Room {
        site: 1,
        code: code.to_owned(),
        name: format!("the {code}"),
        kind,
        party: if asks {
            "somebody".to_owned()
        } else {
            String::new()
        },
        species: vec![],
        presentations: if asks {
            vec![Presentation::Whole, Presentation::GuttedHeaded]
        } else {
            vec![]
        },
        weight: read("20"),
        promised: None,
        price: None,
        handling: None,
        least_drop: None,
        from_us: None,
        until_us: None,
        standing: true,
        windows: vec![],
        keeps_cold: true,
        takes_spines: false,
        piece_from: None,
        piece_to: None,
        specification: if kind == RoomKind::Table {
            "skinless".to_owned()
        } else {
            String::new()
        },
        oldest_hours: None,
        ended: false,
    }
}

fn open(room: Room) -> RoomNow {
    RoomNow {
        room,
        entry: 1,
        has_contact: true,
        used: Weight::ZERO,
    }
}

struct Desk {
    clock: SiteClock,
    judging: JudgingSettings,
    receiving: ReceivingSettings,
}

impl Desk {
    /// Dressing keeps 60 % and takes a minute a pound.
    fn new() -> Desk {
        let dressing = |code: &str| DressingYield {
            species: code.to_owned(),
            from: Presentation::Whole,
            to: Presentation::GuttedHeaded,
            keeps_ppm: 600_000,
            minutes_per_lb_e2: 100,
            source: "the site's own".to_owned(),
        };
        Desk {
            clock: clock(),
            judging: JudgingSettings {
                dressings: vec![dressing("PZO"), dressing("SNA")],
                fillet_prices: vec![FilletPrice {
                    species: "PZO".to_owned(),
                    specification: "skinless".to_owned(),
                    price: price("18"),
                }],
                wage_per_hour: Some(Money::new(1_800, usd())),
                ..JudgingSettings::default()
            },
            receiving: ReceivingSettings::default(),
        }
    }

    fn at(&self) -> At<'_> {
        At {
            day: DAY,
            now_us: NOW_US,
            clock: &self.clock,
            judging: &self.judging,
            receiving: &self.receiving,
            currency: usd(),
            unit: WeightUnit::Lb,
        }
    }

    fn asked(&self, fish: Vec<Fish>, rooms: Vec<Room>) -> PlanAsked<'_> {
        PlanAsked {
            fish,
            rooms: rooms.into_iter().map(open).collect(),
            choices: vec![],
            division: lb("0.05"),
            cutting: vec![],
            at: self.at(),
        }
    }
}

/// "part room weight" of each line, in pounds.
fn goes(plan: &Plan) -> Vec<String> {
    let line = |line: &super::plan::PlanLine| {
        let n = line.part.lot.number() % 100;
        format!("{n} {} {}", line.room, line.weight.shown(WeightUnit::Lb))
    };
    plan.lines.iter().map(line).collect()
}

fn pinned(n: i64, room: &str, weight: Option<&str>) -> Choice {
    Choice {
        kind: ChoiceKind::Pin,
        part: part(n),
        room: room.to_owned(),
        weight: weight.map(read),
        reason: "they asked".to_owned(),
    }
}

#[test]
fn a_rule_says_why_fish_does_not_go_to_a_room() {
    use RoomKind::{ByProduct, CrewUse, Donation, Freezer, Gift, Soup, Table};
    let desk = Desk::new();
    let at = desk.at();
    type Change = fn(&mut Fish, &mut Room);
    let cases: [(&str, RoomKind, Change, &[Rule]); 34] = [
        (
            "small lionfish to soup, once it is dressed",
            Soup,
            |_, _| {},
            &[],
        ),
        ("and to a nonprofit", Donation, |_, _| {}, &[]),
        ("the freezer takes it as it is", Freezer, |_, _| {}, &[]),
        ("held", Soup, |f, _| f.held = true, &[Rule::Held]),
        (
            "held, even for bait",
            ByProduct,
            |f, _| f.held = true,
            &[Rule::Held],
        ),
        (
            "of a lot that is held for its area",
            Gift,
            |f, _| f.traits.held_source = Some("lot 1".to_owned()),
            &[Rule::Held],
        ),
        (
            "from an area of concern",
            Table,
            |f, _| f.traits.from_concern = Some("caught there".to_owned()),
            &[Rule::Area],
        ),
        (
            "which bait does not mind",
            ByProduct,
            |f, _| f.traits.from_concern = Some("caught there".to_owned()),
            &[],
        ),
        (
            "came in warm",
            CrewUse,
            |f, _| {
                f.traits.warm = Some(Temperature {
                    text: "52".to_owned(),
                    unit: TemperatureUnit::Fahrenheit,
                });
            },
            &[Rule::Temperature],
        ),
        // Soup-grade fish 3 days, fish given away 48 h, whole fish 5 days; exactly so old
        // still goes.
        (
            "72 h",
            Soup,
            |f, _| f.harvested_us = NOW_US - 72 * HOUR_US,
            &[],
        ),
        (
            "and more",
            Soup,
            |f, _| f.harvested_us = NOW_US - 72 * HOUR_US - 1,
            &[Rule::Age],
        ),
        (
            "48 h",
            Donation,
            |f, _| f.harvested_us = NOW_US - 48 * HOUR_US,
            &[],
        ),
        (
            "more",
            Donation,
            |f, _| f.harvested_us = NOW_US - 48 * HOUR_US - 1,
            &[Rule::Age],
        ),
        (
            "given",
            Gift,
            |f, _| f.harvested_us = NOW_US - 49 * HOUR_US,
            &[Rule::Age],
        ),
        (
            "five days",
            Table,
            |f, _| f.harvested_us = NOW_US - 120 * HOUR_US,
            &[],
        ),
        (
            "more",
            Table,
            |f, _| f.harvested_us = NOW_US - 121 * HOUR_US,
            &[Rule::Age],
        ),
        (
            "any",
            ByProduct,
            |f, _| f.harvested_us = NOW_US - 400 * HOUR_US,
            &[],
        ),
        (
            "not known",
            CrewUse,
            |f, _| f.harvested_us = 0,
            &[Rule::Age],
        ),
        (
            "a room's own limit is the shorter",
            Soup,
            |_, r| r.oldest_hours = Some(12),
            &[Rule::Age],
        ),
        (
            "never the longer",
            Donation,
            |f, r| {
                f.harvested_us = NOW_US - 60 * HOUR_US;
                r.oldest_hours = Some(90);
            },
            &[Rule::Age],
        ),
        (
            "a pot that wants whole lionfish does not get it",
            Soup,
            |_, r| r.presentations = vec![Presentation::Whole],
            &[Rule::Hazard],
        ),
        (
            "torn, dressed, for soup",
            Soup,
            |f, _| f.traits.torn = true,
            &[],
        ),
        (
            "torn, for donation",
            Donation,
            |f, _| f.traits.torn = true,
            &[Rule::Condition],
        ),
        (
            "spines on, to a friend who wants it whole",
            Gift,
            |_, r| r.presentations = vec![Presentation::Whole],
            &[Rule::Spines],
        ),
        (
            "to one who takes spines",
            Gift,
            |_, r| {
                r.presentations = vec![Presentation::Whole];
                r.takes_spines = true;
            },
            &[],
        ),
        (
            "not kept cold",
            Donation,
            |_, r| r.keeps_cold = false,
            &[Rule::ColdStorage],
        ),
        (
            "another species",
            Soup,
            |_, r| r.species = vec!["SNA".to_owned()],
            &[Rule::Species],
        ),
        (
            "in a form it cannot be given any more",
            Soup,
            |f, r| {
                f.presentation = Presentation::GuttedHeaded;
                r.presentations = vec![Presentation::Whole];
            },
            &[Rule::Form],
        ),
        (
            "the pick-up is over",
            Soup,
            |_, r| {
                r.windows = vec![Window {
                    from_minute: 600,
                    to_minute: 960,
                }];
            },
            &[Rule::Window],
        ),
        (
            "it was wanted by noon",
            Soup,
            |_, r| r.until_us = Some(NOW_US),
            &[Rule::Window],
        ),
        (
            "too large for this table",
            Table,
            |_, r| r.piece_to = Some(read("0.5")),
            &[Rule::PieceWeight],
        ),
        (
            "not counted",
            Table,
            |f, r| {
                f.piece = None;
                r.piece_from = Some(read("0.25"));
            },
            &[Rule::PieceWeight],
        ),
        (
            "frozen already",
            Freezer,
            |f, _| f.storage = Some(Storage::Frozen),
            &[Rule::Frozen],
        ),
        (
            "every reason is said",
            Donation,
            |f, r| {
                f.held = true;
                f.traits.torn = true;
                r.keeps_cold = false;
                r.ended = true;
            },
            &[Rule::Ended, Rule::Held, Rule::Condition, Rule::ColdStorage],
        ),
    ];
    for (case, kind, change, rules) in cases {
        let (mut fish, mut room) = (fish(1, lionfish()), room("there", kind));
        change(&mut fish, &mut room);
        let found = eligible(&fish, &room, true, &at);
        let why: Vec<Rule> = found
            .err()
            .into_iter()
            .flatten()
            .map(|why| why.rule)
            .collect();
        assert_eq!(why, rules, "{case}");
    }
    let nobody = eligible(&fish(1, lionfish()), &room("there", Donation), false, &at);
    let why: Vec<Rule> = nobody
        .err()
        .into_iter()
        .flatten()
        .map(|why| why.rule)
        .collect();
    assert_eq!(
        why,
        [Rule::RecallContact],
        "nobody could be told of a recall"
    );
}

#[test]
fn fish_is_dressed_for_a_hazard_or_because_it_is_wanted_so() {
    let desk = Desk::new();
    let at = desk.at();
    for (species, form, wanted, kind, dress) in [
        (
            lionfish(),
            Presentation::Whole,
            &[][..],
            RoomKind::Freezer,
            None,
        ),
        (
            lionfish(),
            Presentation::Whole,
            &[Presentation::Whole, Presentation::GuttedHeaded][..],
            RoomKind::Soup,
            Some(Presentation::GuttedHeaded),
        ),
        (
            tame(),
            Presentation::Whole,
            &[Presentation::Whole, Presentation::GuttedHeaded][..],
            RoomKind::Soup,
            None,
        ),
        (
            tame(),
            Presentation::Whole,
            &[Presentation::Gutted][..],
            RoomKind::Soup,
            Some(Presentation::Gutted),
        ),
        // Spines off is enough for a friend who takes fish so.
        (
            lionfish(),
            Presentation::Whole,
            &[Presentation::Whole, Presentation::SpinesClipped][..],
            RoomKind::Gift,
            Some(Presentation::SpinesClipped),
        ),
    ] {
        let fish = Fish {
            presentation: form,
            ..fish(1, species)
        };
        let room = Room {
            presentations: wanted.to_vec(),
            ..room("there", kind)
        };
        let how = eligible(&fish, &room, true, &at).unwrap();
        assert_eq!(
            how.dress, dress,
            "{} to {kind:?} {wanted:?}",
            fish.species.code
        );
    }
}

#[test]
fn what_was_promised_goes_before_money_and_money_before_age() {
    let desk = Desk::new();
    let mut poor = room("a-poor", RoomKind::Soup);
    poor.presentations = vec![Presentation::Whole];
    poor.price = Some(price("0.50"));
    poor.promised = Some(read("6"));
    let mut rich = poor.clone();
    rich.code = "b-rich".to_owned();
    rich.price = Some(price("2.00"));
    rich.promised = None;
    let mut old = fish(1, tame());
    old.harvested_us = NOW_US - 30 * HOUR_US;
    let young = fish(2, tame());
    let asked = desk.asked(
        vec![young.clone(), old.clone()],
        vec![rich.clone(), poor.clone()],
    );
    // 20 lb in all: 6 are promised, the rest pays better.
    assert_eq!(
        goes(&plan(&asked).unwrap()),
        ["1 a-poor 6.00", "1 b-rich 4.00", "2 b-rich 10.00"]
    );
    // Twelve pounds of room: the older goes, the younger stays.
    let (mut few, mut none) = (rich, poor);
    few.weight = read("12");
    none.ended = true;
    let asked = desk.asked(vec![young, old], vec![few, none]);
    let plan = plan(&asked).unwrap();
    assert_eq!(goes(&plan), ["1 b-rich 10.00", "2 b-rich 2.00"]);
    let left: Vec<_> = plan
        .parts
        .iter()
        .map(|part| (part.left, &*part.why_left))
        .collect();
    assert_eq!(
        left,
        [
            (Weight::ZERO, ""),
            (lb("8"), "Every room that may take it is full."),
        ]
    );
}

#[test]
fn a_pound_given_away_is_kept_and_a_paid_one_does_not_push_it_out() {
    let desk = Desk::new();
    // The table pays for every pound; the pantry costs a drive. Ten pounds of room each.
    let mut table = room("table", RoomKind::Table);
    table.weight = read("10");
    let mut pantry = room("pantry", RoomKind::Donation);
    pantry.presentations = vec![Presentation::Whole];
    pantry.handling = Some(price("0.10"));
    pantry.weight = read("10");
    let mut small = fish(1, species("PZO", &[]));
    small.weight = lb("20");
    let plan = explained(&desk.asked(vec![small], vec![table, pantry])).unwrap();
    assert_eq!(goes(&plan), ["1 pantry 10.00", "1 table 10.00"]);
    // 3.56 a pound at the table (common practice, half a pound a fish) and 0.10 for the
    // drive.
    assert_eq!(plan.result.money_minor, 3_560 - 100);
    let more: Vec<_> = plan
        .rooms
        .iter()
        .map(|room| room.one_more.unwrap())
        .collect();
    // A pound more for the table comes from the pantry: nothing is kept by it, and money is.
    assert_eq!((more[1].kept, more[1].money_minor), (Weight::ZERO, 366));
    assert_eq!((more[0].kept, more[0].money_minor), (Weight::ZERO, 0));
}

#[test]
fn fish_to_be_dressed_fills_an_order_by_what_is_left_of_it() {
    let desk = Desk::new();
    let mut pot = room("pot", RoomKind::Soup);
    pot.presentations = vec![Presentation::GuttedHeaded];
    pot.weight = read("9");
    pot.price = Some(price("2.00"));
    let mut whole = fish(1, lionfish());
    whole.weight = lb("20");
    let asked = desk.asked(vec![whole.clone()], vec![pot.clone()]);
    let only = plan(&asked).unwrap();
    // 9 lb dressed are 15 lb whole: 2.00 x 0.6 - 18.00 / 60 a pound is 0.90.
    assert_eq!(goes(&only), ["1 pot 15.00"]);
    let line = &only.lines[0];
    assert_eq!((line.delivered, line.net_minor), (lb("9"), 1_350));
    assert_eq!(line.dress, Some(Presentation::GuttedHeaded));
    // What is dressed already has the first claim; the rest is for what is to be dressed.
    let ready = Fish {
        presentation: Presentation::GuttedHeaded,
        weight: lb("3"),
        ..fish(2, lionfish())
    };
    let asked = desk.asked(vec![whole.clone(), ready.clone()], vec![pot.clone()]);
    assert_eq!(goes(&plan(&asked).unwrap()), ["1 pot 10.00", "2 pot 3.00"]);
    // Unless it goes where it is worth more: then its room is given on.
    let mut better = pot.clone();
    better.code = "better".to_owned();
    better.price = Some(price("4.00"));
    better.weight = read("3");
    better.species = vec!["PZO".to_owned()];
    better.least_drop = Some(read("0.05"));
    let asked = desk.asked(vec![whole, ready], vec![pot, better]);
    let both = plan(&asked).unwrap();
    assert_eq!(goes(&both), ["2 better 3.00", "1 pot 15.00"]);
    assert!(both.remarks.is_empty());
}

#[test]
fn a_figure_that_is_not_set_is_said() {
    let mut desk = Desk::new();
    desk.judging.dressings.clear();
    let mut pot = room("pot", RoomKind::Soup);
    pot.weight = read("9");
    let plan = plan(&desk.asked(vec![fish(1, lionfish())], vec![pot])).unwrap();
    assert_eq!(goes(&plan), ["1 pot 9.00"]);
    assert_eq!(
        plan.remarks,
        [
            "What dressing pzo from whole to gutted and headed keeps is not set: it is counted at \
         its weight before dressing."
        ]
    );
}

#[test]
fn a_drop_that_is_not_worth_the_drive_is_dropped_and_said() {
    let desk = Desk::new();
    let mut pantry = room("pantry", RoomKind::Donation);
    pantry.presentations = vec![Presentation::Whole];
    let mut little = fish(1, tame());
    little.weight = lb("9.99");
    let asked = desk.asked(vec![little.clone()], vec![pantry.clone()]);
    let none = plan(&asked).unwrap();
    assert_eq!(goes(&none), Vec::<String>::new());
    assert_eq!(
        none.tidied,
        [
            "Nothing goes to the pantry: 9.95 lb would have, and a drop is worth the drive from \
         10.00 lb."
        ]
    );
    // What was promised is driven however little it is.
    pantry.promised = Some(read("20"));
    let asked = desk.asked(vec![little], vec![pantry]);
    assert_eq!(goes(&plan(&asked).unwrap()), ["1 pantry 9.95"]);
}

#[test]
fn drops_too_small_are_dropped_from_the_smallest_on() {
    let desk = Desk::new();
    let asks_for = |code: &str, cents: &str| {
        let mut room = room(code, RoomKind::Soup);
        room.presentations = vec![Presentation::Whole];
        room.price = Some(price(cents));
        room.least_drop = Some(read("10"));
        room
    };
    let of = |n: i64, code: &str, weight: &str| Fish {
        weight: lb(weight),
        ..fish(n, species(code, &[]))
    };
    // Each pot likes one kind better, and no kind is a drop by itself: without the smallest
    // drop the next is enough.
    let mut pot = asks_for("pot", "2.00");
    pot.species = vec!["PZO".to_owned()];
    let kettle = asks_for("kettle", "1.00");
    let fish = vec![of(1, "PZO", "4"), of(2, "GPW", "7")];
    let both = plan(&desk.asked(fish.clone(), vec![pot.clone(), kettle.clone()])).unwrap();
    assert_eq!(goes(&both), ["1 kettle 4.00", "2 kettle 7.00"]);
    assert_eq!(both.tidied.len(), 1, "{:?}", both.tidied);
    assert!(both.tidied[0].starts_with("Nothing goes to the pot: 4.00 lb would have"));
    // A drop of exactly the least is driven.
    pot.least_drop = Some(read("4"));
    let enough = plan(&desk.asked(vec![fish[0].clone()], vec![pot.clone(), kettle])).unwrap();
    assert_eq!(
        (goes(&enough), enough.tidied.len()),
        (vec!["1 pot 4.00".to_owned()], 0)
    );
    // So is one that a person pinned.
    pot.least_drop = Some(read("10"));
    let mut asked = desk.asked(vec![fish[0].clone()], vec![pot]);
    asked.choices = vec![pinned(1, "pot", Some("1"))];
    assert_eq!(goes(&plan(&asked).unwrap()), ["1 pot 1.00", "1 pot 3.00"]);
}

#[test]
fn a_person_pins_and_forbids_and_is_told_what_it_costs() {
    let desk = Desk::new();
    let mut pot = room("pot", RoomKind::Soup);
    pot.presentations = vec![Presentation::Whole];
    pot.price = Some(price("2.00"));
    let mut crew = room("crew", RoomKind::CrewUse);
    crew.weight = read("3");
    let asked = desk.asked(vec![fish(1, tame())], vec![pot, crew]);
    let free = explained(&asked).unwrap();
    assert_eq!(goes(&free), ["1 pot 10.00"]);
    let next = free.parts[0].next_best.as_ref().unwrap();
    assert_eq!(
        (&*next.room, next.change.kept, next.change.money_minor),
        ("crew", Weight::from_units(-lb("7").units()), -2_000,)
    );
    let with = |choice: Choice| {
        let asked = PlanAsked {
            choices: vec![choice],
            ..asked.clone()
        };
        explained(&asked)
    };
    let for_crew = with(pinned(1, "crew", Some("2"))).unwrap();
    assert_eq!(goes(&for_crew), ["1 crew 2.00", "1 pot 8.00"]);
    assert_eq!(for_crew.choices[0].cost.money_minor, 400);
    let not_so = with(Choice {
        kind: ChoiceKind::Forbid,
        ..pinned(1, "pot", None)
    });
    assert_eq!(goes(&not_so.unwrap()), ["1 crew 3.00"]);
    for (choice, says) in [
        (pinned(2, "crew", None), "is not small fish on ice"),
        (pinned(1, "attic", None), "no room \"attic\""),
        (
            pinned(1, "crew", Some("10.05")),
            "10.05 lb is pinned of part",
        ),
        (
            pinned(1, "crew", None),
            "10.00 lb is pinned to crew, which still takes 3.00 lb",
        ),
    ] {
        let refused = with(choice).unwrap_err();
        assert!(refused.to_string().contains(says), "{refused}");
    }
}

#[test]
fn a_pin_that_a_rule_forbids_is_refused_with_the_rule() {
    let desk = Desk::new();
    let mut warm = fish(1, tame());
    warm.held = true;
    let pantry = room("pantry", RoomKind::Donation);
    let asked = PlanAsked {
        choices: vec![pinned(1, "pantry", Some("10"))],
        ..desk.asked(vec![warm], vec![pantry])
    };
    let Err(NoPlan::Refused { rule, .. }) = plan(&asked) else {
        panic!("was planned");
    };
    assert_eq!(rule, Rule::Held);
}

#[test]
fn a_room_that_was_given_something_takes_the_rest() {
    let desk = Desk::new();
    let mut pot = room("pot", RoomKind::Soup);
    pot.presentations = vec![Presentation::Whole];
    pot.weight = read("8");
    pot.promised = Some(read("6"));
    let mut asked = desk.asked(vec![fish(1, tame())], vec![pot]);
    asked.rooms[0].used = lb("5");
    let plan = plan(&asked).unwrap();
    assert_eq!(goes(&plan), ["1 pot 3.00"]);
    assert_eq!(
        (plan.rooms[0].promised, plan.result.promised),
        (lb("1"), lb("1"))
    );
}

#[test]
fn a_room_is_refused_with_the_field_at_fault() {
    type Change = fn(&mut Room);
    for (kind, change, field) in [
        (RoomKind::Soup, (|r| r.party.clear()) as Change, "party"),
        (RoomKind::Freezer, |r| r.party.push('x'), "party"),
        (
            RoomKind::Donation,
            |r| r.presentations.clear(),
            "presentations",
        ),
        (
            RoomKind::CrewUse,
            |r| r.presentations.push(Presentation::Roe),
            "presentations",
        ),
        (
            RoomKind::Soup,
            |r| r.promised = Some(read("20.01")),
            "promised",
        ),
        (
            RoomKind::Soup,
            |r| (r.from_us, r.until_us) = (Some(5), Some(5)),
            "until",
        ),
        (
            RoomKind::Gift,
            |r| {
                r.windows = vec![Window {
                    from_minute: 60,
                    to_minute: 60,
                }]
            },
            "windows",
        ),
        (
            RoomKind::Gift,
            |r| {
                r.windows = vec![Window {
                    from_minute: 60,
                    to_minute: 1_441,
                }]
            },
            "windows",
        ),
        (RoomKind::Soup, |r| r.oldest_hours = Some(0), "oldest_hours"),
        (
            RoomKind::Soup,
            |r| r.piece_from = Some(read("1")),
            "piece_from",
        ),
        (
            RoomKind::Table,
            |r| (r.piece_from, r.piece_to) = (Some(read("1")), Some(read("1"))),
            "piece_to",
        ),
        (
            RoomKind::Table,
            |r| r.specification.clear(),
            "specification",
        ),
        (RoomKind::Gift, |r| r.price = Some(price("1")), "price"),
    ] {
        let mut room = room("there", kind);
        assert_eq!(room.check(usd()), Ok(()), "{kind:?}");
        change(&mut room);
        assert_eq!(
            room.check(usd()).map_err(|(field, _)| field),
            Err(field),
            "{kind:?}"
        );
    }
    let euros = Currency::new("EUR").unwrap();
    let mut paid = room("there", RoomKind::Soup);
    paid.price = Some(price("1"));
    assert_eq!(paid.check(euros).map_err(|(field, _)| field), Err("price"));
}

#[test]
fn a_pick_up_is_at_the_end_of_its_window_and_one_after_midnight_is_of_the_same_day() {
    let clock = clock();
    let window = |from_minute, to_minute| Window {
        from_minute,
        to_minute,
    };
    let hours = |h: i64| NOW_US + h * HOUR_US;
    for (windows, leaves) in [
        (vec![], Some(NOW_US)),
        (vec![window(960, 1_080)], Some(hours(2))),
        (
            vec![window(1_080, 1_200), window(600, 990)],
            Some(NOW_US + HOUR_US / 2),
        ),
        // Until 16:00, which it is.
        (vec![window(600, 960)], None),
        // One to two in the morning.
        (vec![window(60, 120)], Some(hours(10))),
        (vec![window(1_380, 1_440)], Some(hours(8))),
    ] {
        let room = Room {
            windows: windows.clone(),
            ..room("there", RoomKind::Soup)
        };
        assert_eq!(room.leaves(&clock, DAY, NOW_US), leaves, "{windows:?}");
    }
}

/// Fish and rooms of every sort.
fn any_fish(n: i64) -> impl Strategy<Value = Fish> {
    let hazards = prop_oneof![
        Just(vec![]),
        Just(vec![Hazard::Venomous, Hazard::Ciguatera]),
        Just(vec![Hazard::Ciguatera]),
    ];
    let form = prop_oneof![
        Just(Presentation::Whole),
        Just(Presentation::SpinesClipped),
        Just(Presentation::Gutted),
        Just(Presentation::GuttedHeaded),
    ];
    (
        (hazards, form, any::<[bool; 5]>()),
        (
            0..2_000_i64,
            prop_oneof![Just(0), 1..130_i64],
            any::<bool>(),
        ),
    )
        .prop_map(
            move |((hazards, form, bad), (hundredths, hours, two))| Fish {
                part: part(n),
                species: species(if two { "PZO" } else { "SNA" }, &hazards),
                presentation: form,
                // One in eight of each.
                held: bad == [true, true, true, false, false],
                weight: Weight::from_units(lb("0.01").units() * hundredths),
                harvested_us: if hours == 0 {
                    0
                } else {
                    NOW_US - hours * HOUR_US
                },
                traits: Traits {
                    torn: bad[0] && bad[1],
                    from_concern: (bad[1] && bad[2] && bad[3]).then(|| "there".to_owned()),
                    warm: (bad[2] && bad[3] && bad[4]).then(|| Temperature {
                        text: "50".to_owned(),
                        unit: TemperatureUnit::Fahrenheit,
                    }),
                    held_source: (bad[0] && bad[4] && bad[2]).then(|| "lot".to_owned()),
                },
                ..fish(n, tame())
            },
        )
}

fn any_room(n: usize) -> impl Strategy<Value = RoomNow> {
    let kind = (0..RoomKind::ALL.len()).prop_map(|at| RoomKind::ALL[at]);
    let forms = prop_oneof![
        Just(vec![Presentation::GuttedHeaded]),
        Just(vec![Presentation::Whole, Presentation::GuttedHeaded]),
        Just(vec![Presentation::Whole]),
    ];
    (kind, forms, 0..3_000_i64, 0..400_i64, any::<[bool; 5]>()).prop_map(
        move |(kind, forms, hundredths, cents, says)| {
            let mut room = room(&format!("r{n}"), kind);
            if kind.has_party() {
                room.presentations = forms;
            }
            room.weight = read(&format!("{}.{:02}", hundredths / 100, hundredths % 100));
            if says[0] {
                room.promised = Some(read(&format!("{}", hundredths / 200)));
            }
            if matches!(kind, RoomKind::Soup | RoomKind::ByProduct) {
                room.price = Some(price(&format!("{}.{:02}", cents / 100, cents % 100)));
            }
            room.keeps_cold = says[1] || says[2];
            room.takes_spines = says[2];
            RoomNow {
                has_contact: says[3] || says[4],
                ..open(room)
            }
        },
    )
}

fn any_day() -> impl Strategy<Value = (Vec<Fish>, Vec<RoomNow>)> {
    let fish: Vec<_> = (1..=7).map(any_fish).collect();
    let rooms: Vec<_> = (1..=5).map(any_room).collect();
    (fish, rooms)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_line_of_a_plan_breaks_a_rule_or_fills_a_room_beyond_its_brim((fish, rooms) in any_day()) {
        let desk = Desk::new();
        let asked = PlanAsked { rooms: rooms.clone(), ..desk.asked(fish.clone(), vec![]) };
        let planned = plan(&asked).unwrap();
        for line in &planned.lines {
            let from = fish.iter().find(|fish| fish.part == line.part).unwrap();
            let to = rooms.iter().find(|now| now.room.code == line.room).unwrap();
            let form = line.dress.unwrap_or(from.presentation);
            prop_assert!(to.room.takes(form));
            if to.room.kind.is_food() {
                prop_assert!(!from.held && from.traits.held_source.is_none());
                prop_assert!(from.traits.from_concern.is_none() && from.traits.warm.is_none());
                prop_assert!(from.harvested_us != 0);
            }
            let dressed = form == Presentation::GuttedHeaded;
            let toxic = from.species.has(Hazard::Ciguatera);
            if matches!(to.room.kind, RoomKind::Soup | RoomKind::Donation) {
                prop_assert!(!toxic || dressed);
            }
            if to.room.kind == RoomKind::Donation {
                prop_assert!(!from.traits.torn);
            }
            if to.room.kind.is_recipient() {
                prop_assert!(to.room.keeps_cold && to.has_contact);
                prop_assert!(to.room.takes_spines || !has_spines(&from.species, form));
            }
            // Whole divisions, and something.
            prop_assert_eq!(line.weight.units() % lb("0.05").units(), 0);
            prop_assert!(line.weight > Weight::ZERO);
        }
        for now in &rooms {
            let got = planned.lines.iter().filter(|line| line.room == now.room.code);
            let got: Weight = got.map(|line| line.delivered).sum();
            prop_assert!(got <= now.room.weight.weight);
        }
        for (of, part) in fish.iter().zip(&planned.parts) {
            let goes = planned.lines.iter().filter(|line| line.part == of.part);
            let goes: Weight = goes.map(|line| line.weight).sum();
            let rest = of.weight.units() - goes.units() - part.left.units();
            // What is less than a division stays out of it.
            prop_assert!((0..lb("0.05").units()).contains(&rest));
        }
    }

    #[test]
    fn the_order_in_which_fish_and_rooms_are_given_does_not_matter((fish, rooms) in any_day()) {
        let desk = Desk::new();
        let asked = PlanAsked { rooms, ..desk.asked(fish, vec![]) };
        let mut turned = asked.clone();
        turned.fish.reverse();
        turned.rooms.reverse();
        prop_assert_eq!(explained(&asked).unwrap(), explained(&turned).unwrap());
    }

    #[test]
    fn nothing_is_better_than_the_best_place((mut fish, rooms) in any_day()) {
        let desk = Desk::new();
        // None to be dressed: where a room has two doors, what is promised is split
        // between them for the plan itself, and what lies beside it is near enough.
        for fish in &mut fish {
            fish.presentation = Presentation::GuttedHeaded;
        }
        let asked = PlanAsked { rooms, ..desk.asked(fish, vec![]) };
        let planned = explained(&asked).unwrap();
        for part in &planned.parts {
            let Some(next) = &part.next_best else { continue };
            let change = next.change;
            let change = (change.promised, change.kept, change.money_minor);
            // Each line is rounded to the cent by itself.
            prop_assert!(change <= (Weight::ZERO, Weight::ZERO, 10), "{change:?}");
        }
    }

    #[test]
    fn safety_forbids_a_mouth_whatever_its_form(fish in any_fish(1)) {
        let desk = Desk::new();
        let at = desk.at();
        let mouth = Mouth::of_outlet(Outlet::Donation, None, true).unwrap();
        for form in [Presentation::Whole, Presentation::GuttedHeaded] {
            let why = safety(&fish, form, &mouth, NOW_US, &at);
            let bad = fish.held
                || fish.traits.held_source.is_some()
                || fish.traits.from_concern.is_some()
                || fish.traits.warm.is_some()
                || fish.traits.torn
                || fish.harvested_us < NOW_US - 48 * HOUR_US;
            prop_assert!(!bad || !why.is_empty());
            let hazard = fish.species.has(Hazard::Ciguatera) && form == Presentation::Whole;
            prop_assert_eq!(why.iter().any(|why| why.rule == Rule::Hazard), hazard);
        }
    }
}
