#![expect(clippy::unwrap_used, reason = "a test may panic")]

use super::*;
use crate::fish::{Grade, Hazard, Outlet, Presentation};
use crate::money::{Currency, Money};
use crate::office::PartyRole;
use crate::ticket::{
    CatchArea, Confirmation, Landing, Receiving, SmallFish, Tare, Temperature, TemperatureUnit,
    Weighing,
};
use crate::weight::{Reading, ReadingSource};

const HOUR_US: i64 = 3_600_000_000;
const NOW_US: i64 = 1_000 * HOUR_US;

fn temperature(text: &str) -> Temperature {
    let (text, unit) = text.split_once(' ').unwrap();
    Temperature {
        text: text.to_owned(),
        unit: TemperatureUnit::from_word(unit).unwrap(),
    }
}

fn length(text: &str) -> Length {
    let (text, unit) = text.split_once(' ').unwrap();
    Length {
        text: text.to_owned(),
        unit: LengthUnit::from_word(unit).unwrap(),
    }
}

fn lb(text: &str) -> Reading {
    Reading::new(text, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap()
}

fn date(text: &str) -> NaiveDate {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").unwrap()
}

fn seen() -> Receiving {
    Receiving {
        decision: Decision::Accept,
        reason: String::new(),
        corrective_action: String::new(),
        first_speared_us: None,
        iced_us: None,
        ice_around: None,
        probes: vec![temperature("38 F"); 3],
        smallest_length: None,
        area_unclear: false,
        hold_cause: None,
    }
}

/// A lot of ten fish of ten pounds.
fn lot() -> LotIn {
    LotIn {
        tally: None,
        species: "GPR".to_owned(),
        presentation: Presentation::Whole,
        storage: None,
        weighings: vec![Weighing {
            grade: Grade::new("A").unwrap(),
            condition: Some(Condition::Clean),
            weighed: Weighed::Tote {
                gross: lb("10"),
                tare: Tare::Tared,
                iced: false,
                pieces: Pieces::Counted(10),
            },
        }],
        receiving: seen(),
        small_fish: SmallFish::Sell,
        areas: Vec::new(),
        harvest_from: None,
        harvest_to: None,
    }
}

struct Case {
    settings: ReceivingSettings,
    hazards: Vec<Hazard>,
    lots: Vec<LotIn>,
    landing: Landing,
    licence: (&'static str, Option<NaiveDate>),
}

impl Case {
    fn of(settings: ReceivingSettings) -> Case {
        Case {
            settings,
            hazards: vec![Hazard::Ciguatera],
            lots: vec![lot()],
            landing: Landing::default(),
            licence: ("Q-1", Some(date("2031-12-31"))),
        }
    }

    fn judge(&self) -> Result<Judged, AnswerRefused> {
        let usd = Currency::new("USD").unwrap();
        let asked = WeighIn {
            lot_number: None,
            site: 1,
            harvester: "ana".to_owned(),
            landing: self.landing.clone(),
            lots: self.lots.clone(),
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
        };
        let nothing = Money::zero(usd);
        let net = |weighing: &Weighing| {
            let net = match &weighing.weighed {
                Weighed::Tote { gross, .. } => gross.weight,
                Weighed::Pieces(readings) => readings.iter().map(|r| r.weight).sum(),
            };
            Net {
                net,
                ..Net::default()
            }
        };
        let ticket = Ticket {
            shares: Vec::new(),
            priced_us: NOW_US,
            number: None,
            lots: (1..)
                .zip(&self.lots)
                .map(|(n, lot)| TicketLot {
                    n,
                    place: Some(n),
                    species_name: String::new(),
                    price_list: 0,
                    weighed: lot.weighings.iter().map(net).collect(),
                    received: Received::default(),
                })
                .collect(),
            lines: Vec::new(),
            not_bought: Vec::new(),
            adjustments: Vec::new(),
            lines_total: nothing,
            payout: nothing,
            owed: nothing,
            held: nothing,
            undersize: Weight::ZERO,
            notices: Vec::new(),
            released: Vec::new(),
        };
        let species = Species {
            code: "GPR".to_owned(),
            name: "Red grouper".to_owned(),
            scientific_name: String::new(),
            hazards: self.hazards.clone(),
            lightest: None,
            heaviest: None,
        };
        let harvester = Party {
            code: "ana".to_owned(),
            name: "Ana".to_owned(),
            roles: vec![PartyRole::Harvester],
            licence_number: self.licence.0.to_owned(),
            licence_expires: self.licence.1,
            contact: String::new(),
        };
        judge(
            &asked,
            &ticket,
            &Dock {
                settings: &self.settings,
                species: vec![&species],
                harvester: &harvester,
                received_us: NOW_US,
                day: date("2031-05-02"),
                unit: WeightUnit::Lb,
            },
        )
    }

    /// How a rule stands for the last lot under each answer that is taken, and
    /// the reason where it is not: accept, hold, refuse.
    fn answers(&mut self, rule: ReceivingRule) -> String {
        let mut said = Vec::new();
        for decision in [Decision::Accept, Decision::Hold, Decision::Refuse] {
            self.lots.last_mut().unwrap().receiving.decision = decision;
            said.push(match self.judge() {
                Ok(judged) => {
                    let standing = judged.lots.last().unwrap().standing(rule);
                    standing.map_or("none", Standing::word).to_owned()
                }
                Err(refused) => refused.reason.to_owned(),
            });
        }
        self.lots.last_mut().unwrap().receiving.decision = Decision::Accept;
        said.join(", ")
    }
}

#[test]
fn exactly_the_limit_passes_in_either_degree() {
    // 41 F is the limit for cold receiving of Food Code 3-202.11, as states
    // adopted it; 5 C is exactly 41 F.
    for (probe, limit, above) in [
        ("41 F", "41 F", false),
        ("41.01 F", "41 F", true),
        ("5 C", "41 F", false),
        ("5.01 C", "41 F", true),
        ("4.99 C", "41 F", false),
        ("41 F", "5 C", false),
        ("41.01 F", "5 C", true),
        ("-40 C", "-40 F", false),
        ("-39.99 C", "-40 F", true),
        ("37.4 F", "3 C", false),
        ("37.41 F", "3 C", true),
    ] {
        let is = temperature(probe).is_above(&temperature(limit));
        assert_eq!(is, above, "{probe} against {limit}");
    }
    let probes = [temperature("4 C"), temperature("40 F"), temperature("38 F")];
    // 4 C is 39.2 F.
    assert_eq!(warmest(&probes), Some(&probes[1]));
}

#[test]
fn warm_fish_is_taken_where_it_is_iced_and_cooling() {
    let minutes = |minutes: i64| Some(NOW_US - minutes * 60_000_000);
    for (probe, ice, iced_us, answers) in [
        ("41 F", None, None, "passed, passed, passed"),
        ("52 F", Some(true), minutes(40), "failed, failed, failed"),
        ("52 F", Some(true), minutes(0), "failed, failed, failed"),
        // Iced in a minute is not iced.
        ("52 F", Some(true), minutes(-1), "TOO_WARM, failed, failed"),
        ("52 F", Some(true), None, "TOO_WARM, failed, failed"),
        ("52 F", Some(false), minutes(40), "TOO_WARM, failed, failed"),
        ("58 F", None, None, "TOO_WARM, failed, failed"),
    ] {
        let mut case = Case::of(ReceivingSettings::default());
        let seen = &mut case.lots[0].receiving;
        seen.probes = vec![temperature("38 F"), temperature(probe), temperature("38 F")];
        seen.ice_around = ice;
        seen.iced_us = iced_us;
        assert_eq!(
            case.answers(ReceivingRule::Cold),
            answers,
            "{probe} {ice:?} {iced_us:?}"
        );
    }

    let mut case = Case::of(ReceivingSettings {
        hours_to_cool: Some(2),
        ..ReceivingSettings::default()
    });
    let seen = &mut case.lots[0].receiving;
    seen.probes = vec![temperature("52 F"); 3];
    seen.ice_around = Some(true);
    seen.iced_us = minutes(40);
    let due = |case: &Case| case.judge().unwrap().lots[0].reprobe_due_us;
    assert_eq!(due(&case), Some(NOW_US + 2 * HOUR_US));
    case.lots[0].receiving.decision = Decision::Hold;
    assert_eq!(due(&case), None, "held fish waits for the office");
}

#[test]
fn nothing_is_passed_that_was_not_recorded_or_set() {
    let mut case = Case::of(ReceivingSettings::default());
    case.lots[0].receiving.probes.clear();
    let judged = case.judge().unwrap();
    let stand: Vec<_> = judged.lots[0]
        .findings
        .iter()
        .map(|f| format!("{}: {}", f.rule.word(), f.standing.word()))
        .collect();
    assert_eq!(
        stand,
        [
            "legal length: not set",
            "season: not set",
            "trip limit: not set",
            "area: not set",
            "cold: not known"
        ]
    );
    let codes: Vec<_> = judged.notices.iter().map(|n| n.code.as_str()).collect();
    assert_eq!(codes, ["no_temperature"]);
}

#[test]
fn three_fish_are_probed_five_of_a_heavy_lot_and_all_where_there_are_fewer() {
    for (pounds, pieces, probes, standing) in [
        ("50", 10, 3, "passed"),
        ("50", 10, 2, "failed"),
        ("50.001", 10, 4, "failed"),
        ("50.001", 10, 5, "passed"),
        ("50", 2, 2, "passed"),
        ("50", 2, 1, "failed"),
        ("60", 4, 4, "passed"),
    ] {
        let mut case = Case::of(ReceivingSettings::default());
        case.lots[0].weighings[0].weighed = Weighed::Tote {
            gross: lb(pounds),
            tare: Tare::Tared,
            iced: false,
            pieces: Pieces::Counted(pieces),
        };
        case.lots[0].receiving.probes = vec![temperature("38 F"); probes];
        let judged = case.judge().unwrap();
        let found = judged.lots[0].standing(ReceivingRule::Probes).unwrap();
        assert_eq!(found.word(), standing, "{pounds} {pieces} {probes}");
        let warned = judged.notices.iter().any(|n| n.code == "few_probes");
        assert_eq!(warned, standing == "failed");
    }
}

fn legal(says: LegalRule, from: Option<&str>, to: Option<&str>) -> ReceivingSettings {
    ReceivingSettings {
        legal_limits: vec![LegalLimit {
            species: "GPR".to_owned(),
            days: HarvestDays {
                from: from.map(date),
                to: to.map(date),
            },
            says,
        }],
        ..ReceivingSettings::default()
    }
}

#[test]
fn fish_below_the_legal_length_is_only_ever_refused() {
    let refused = "BELOW_LEGAL_LENGTH, BELOW_LEGAL_LENGTH, failed";
    let passed = "passed, passed, passed";
    // An inch is 25.4 mm exactly (NIST Handbook 44, appendix C, from memory).
    for (least, smallest, answers) in [
        ("20 in", Some("20 in"), passed),
        ("20 in", Some("19.999 in"), refused),
        ("20 in", Some("508 mm"), passed),
        ("20 in", Some("507.999 mm"), refused),
        ("20 in", Some("50.8 cm"), passed),
        ("508 mm", Some("50.799 cm"), refused),
        ("20 in", None, "not known, not known, not known"),
    ] {
        let mut case = Case::of(legal(LegalRule::MinimumLength(length(least)), None, None));
        case.lots[0].receiving.smallest_length = smallest.map(length);
        assert_eq!(
            case.answers(ReceivingRule::LegalLength),
            answers,
            "{smallest:?} against {least}"
        );
    }
    let mut case = Case::of(legal(LegalRule::MinimumLength(length("20 in")), None, None));
    case.settings.legal_limits[0].species = "LCX".to_owned();
    assert_eq!(
        case.answers(ReceivingRule::LegalLength),
        "not set, not set, not set",
        "another species' limit says nothing of this one"
    );
}

#[test]
fn a_closed_season_is_by_the_days_of_harvest() {
    let refused = "OUT_OF_SEASON, OUT_OF_SEASON, failed";
    let passed = "passed, passed, passed";
    // Closed from 1 April up to and without 1 May.
    for (first, last, answers) in [
        ("2031-03-30", "2031-03-31", passed),
        ("2031-03-30", "2031-04-01", refused),
        ("2031-04-30", "2031-05-02", refused),
        ("2031-05-01", "2031-05-02", passed),
    ] {
        let mut case = Case::of(legal(
            LegalRule::Season(Season::Closed),
            Some("2031-04-01"),
            Some("2031-05-01"),
        ));
        case.landing.harvest_from = Some(date(first));
        case.landing.harvest_to = Some(date(last));
        assert_eq!(
            case.answers(ReceivingRule::Season),
            answers,
            "{first} to {last}"
        );
        // The lot's own days count before the landing's.
        case.lots[0].harvest_from = Some(date("2031-04-15"));
        assert_eq!(case.answers(ReceivingRule::Season), refused);
    }
}

#[test]
fn a_trip_limit_counts_what_the_ticket_takes() {
    let refused = "OVER_TRIP_LIMIT, OVER_TRIP_LIMIT, failed";
    let passed = "passed, passed, passed";
    let pieces = |most| legal(LegalRule::TripPieces(most), None, None);
    let pounds = |most| legal(LegalRule::TripWeight(lb(most)), None, None);
    for (settings, before, answers) in [
        (pieces(20), Some(Decision::Accept), passed),
        (pieces(19), Some(Decision::Accept), refused),
        (pieces(19), Some(Decision::Hold), refused),
        (pieces(19), Some(Decision::Refuse), passed),
        (pieces(10), None, passed),
        (pieces(9), None, refused),
        (pounds("20"), Some(Decision::Accept), passed),
        (pounds("19.999"), Some(Decision::Accept), refused),
    ] {
        let mut case = Case::of(settings.clone());
        if let Some(decision) = before {
            case.lots.push(lot());
            case.lots[0].receiving.decision = decision;
        }
        assert_eq!(
            case.answers(ReceivingRule::TripLimit),
            answers,
            "{settings:?} {before:?}"
        );
    }
}

fn listed(row: AreaOfConcern) -> ReceivingSettings {
    ReceivingSettings {
        areas_of_concern: vec![row],
        ..ReceivingSettings::default()
    }
}

fn shoal() -> AreaOfConcern {
    AreaOfConcern {
        area: CatchArea {
            system: "site".to_owned(),
            code: "Far Shoal".to_owned(),
        },
        species: Vec::new(),
        piece_weight_above: None,
        days: HarvestDays::default(),
        note: String::new(),
    }
}

#[test]
fn fish_from_an_area_of_concern_is_refused_and_held_only_while_the_area_is_unclear() {
    let refused = "AREA_OF_CONCERN, AREA_OF_CONCERN, failed";
    let unclear = "AREA_UNCLEAR, not known, not known";
    let passed = "passed, passed, passed";
    let not_set = "not set, not set, not set";
    for (system, code, is_unclear, hazard, answers) in [
        ("site", "Far Shoal", false, true, refused),
        ("SITE", "far shoal", false, true, refused),
        ("site", "Near Reef", false, true, passed),
        // In another system's words nobody can tell.
        ("FAO", "31", false, true, unclear),
        ("site", "Near Reef", true, true, unclear),
        ("site", "Far Shoal", true, true, unclear),
        ("site", "Far Shoal", false, false, not_set),
    ] {
        let mut case = Case::of(listed(shoal()));
        if !hazard {
            case.hazards.clear();
        }
        case.lots[0].receiving.area_unclear = is_unclear;
        case.landing.areas = vec![CatchArea {
            system: system.to_owned(),
            code: code.to_owned(),
        }];
        assert_eq!(
            case.answers(ReceivingRule::Area),
            answers,
            "{system} {code} {is_unclear} {hazard}"
        );
    }
    let mut case = Case::of(listed(shoal()));
    assert_eq!(
        case.answers(ReceivingRule::Area),
        unclear,
        "no area recorded"
    );
}

#[test]
fn an_area_may_concern_a_species_a_size_and_some_days_only() {
    let refused = "AREA_OF_CONCERN, AREA_OF_CONCERN, failed";
    let passed = "passed, passed, passed";
    let of = |species: &str, above: Option<&str>, from: Option<&str>, to: Option<&str>| {
        listed(AreaOfConcern {
            species: vec![species.to_owned()],
            piece_weight_above: above.map(lb),
            days: HarvestDays {
                from: from.map(date),
                to: to.map(date),
            },
            ..shoal()
        })
    };
    // Ten fish of 1 lb, caught on 2 May.
    for (settings, answers) in [
        (of("GPR", None, None, None), refused),
        (of("LCX", None, None, None), "not set, not set, not set"),
        (of("GPR", Some("1"), None, None), passed),
        (of("GPR", Some("0.999"), None, None), refused),
        (of("GPR", None, None, Some("2031-05-02")), passed),
        (of("GPR", None, Some("2031-05-02"), None), refused),
        (of("GPR", None, Some("2031-05-03"), None), passed),
    ] {
        let mut case = Case::of(settings.clone());
        case.lots[0].areas = vec![shoal().area];
        assert_eq!(case.answers(ReceivingRule::Area), answers, "{settings:?}");
        // A tote nobody counted may hold one fish of its whole weight.
        if settings.areas_of_concern[0].piece_weight_above.is_some() {
            case.lots[0].weighings[0].weighed = Weighed::Tote {
                gross: lb("10"),
                tare: Tare::Tared,
                iced: false,
                pieces: Pieces::NotCounted,
            };
            assert_eq!(case.answers(ReceivingRule::Area), refused);
        }
    }
}

#[test]
fn fish_that_makes_histamine_keeps_the_table_or_none_is_set() {
    let refused = "HISTAMINE_LIMIT, failed, failed";
    let passed = "passed, passed, passed";
    // Invented rows: none ships with the program.
    let table = [(6, "60 F"), (9, "50 F"), (12, "40 F")];
    let table = || {
        table
            .iter()
            .map(|(hours_at_most, at_most)| HistamineLimit {
                hours_at_most: *hours_at_most,
                temperature_at_most: temperature(at_most),
            })
            .collect()
    };
    for (set, minutes, probe, answers) in [
        (true, Some(360), "60 F", passed),
        (true, Some(360), "60.01 F", refused),
        (true, Some(361), "50 F", passed),
        (true, Some(361), "60 F", refused),
        (true, Some(720), "40 F", passed),
        (true, Some(721), "34 F", refused),
        (true, None, "34 F", "not known, not known, not known"),
        (true, Some(-1), "34 F", "not known, not known, not known"),
        (false, Some(60), "34 F", "not set, not set, not set"),
    ] {
        let mut case = Case::of(ReceivingSettings {
            histamine_limits: if set { table() } else { Vec::new() },
            cold_limit: Some(temperature("70 F")),
            ..ReceivingSettings::default()
        });
        case.hazards = vec![Hazard::Histamine];
        let seen = &mut case.lots[0].receiving;
        seen.probes = vec![temperature(probe); 3];
        seen.first_speared_us = minutes.map(|minutes| NOW_US - minutes * 60_000_000);
        assert_eq!(
            case.answers(ReceivingRule::Histamine),
            answers,
            "{minutes:?} {probe}"
        );
    }
}

#[test]
fn a_licence_that_ran_out_holds_the_payment_and_not_the_fish() {
    for (licence, landed, code) in [
        (("Q-1", Some("2031-05-02")), "2031-05-02", None),
        (
            ("Q-1", Some("2031-05-02")),
            "2031-05-03",
            Some("licence_expired"),
        ),
        (("Q-1", None), "2031-05-03", None),
        ((" ", Some("2031-12-31")), "2031-05-03", Some("no_licence")),
    ] {
        let mut case = Case::of(ReceivingSettings::default());
        case.licence = (licence.0, licence.1.map(date));
        case.landing.landed_on = Some(date(landed));
        let judged = case.judge().unwrap();
        let said = judged.notices.first().map(|notice| notice.code.as_str());
        assert_eq!(said, code, "{licence:?} {landed}");
    }
}

#[test]
fn torn_fish_is_said_to_be_cut_the_same_day() {
    let mut case = Case::of(ReceivingSettings::default());
    case.lots[0].weighings[0].condition = Some(Condition::Torn);
    let judged = case.judge().unwrap();
    let torn = judged.notices.iter().find(|n| n.code == "torn").unwrap();
    assert_eq!(
        torn.text,
        "Lot 1: torn fish is cut the same day and not donated."
    );
}

#[test]
fn warm_fish_goes_to_nobody_and_torn_fish_is_not_donated() {
    use Outlet::{ByProduct, CrewUse, Discard, Donation, Gift, Sample, SoldWhole, Soup};
    let lot = crate::ids::LotCode::parse("20310502000100000011").unwrap();
    let (clean, torn) = (Condition::Clean, Condition::Torn);
    for (outlet, is, condition, said) in [
        (SoldWhole, Some("41 F"), clean, ""),
        (SoldWhole, Some("5 C"), clean, ""),
        (SoldWhole, Some("41.01 F"), clean, "TOO_WARM temperature"),
        (Soup, Some("42 F"), clean, "TOO_WARM temperature"),
        (Donation, Some("42 F"), clean, "TOO_WARM temperature"),
        (Gift, Some("42 F"), clean, "TOO_WARM temperature"),
        (CrewUse, Some("42 F"), clean, "TOO_WARM temperature"),
        (Discard, Some("60 F"), torn, ""),
        (ByProduct, Some("60 F"), torn, ""),
        (Sample, Some("60 F"), torn, ""),
        (SoldWhole, None, clean, "no_temperature"),
        (
            Donation,
            Some("38 F"),
            torn,
            "TORN_NOT_DONATED taken[0].part",
        ),
        (SoldWhole, Some("38 F"), torn, ""),
        (Donation, Some("38 F"), clean, ""),
        (Soup, Some("38 F"), clean, ""),
    ] {
        let leaving = Leaving {
            part: crate::ids::PartId { lot, n: 1 },
            condition: Some(condition),
        };
        let is = is.map(temperature);
        let settings = ReceivingSettings::default();
        let told = match dispatch(outlet, &[leaving], is.as_ref(), &settings) {
            Ok(notices) => notices.iter().map(|n| n.code.clone()).collect(),
            Err(refused) => format!("{} {}", refused.reason(), refused.field()),
        };
        assert_eq!(told, said, "{outlet:?} {is:?} {condition:?}");
    }
}

#[test]
fn whoever_takes_fish_is_on_file_for_it() {
    use PartyRole::{Buyer, Harvester, Kitchen, Recipient, Staff};
    for (outlet, roles, stands) in [
        (Outlet::SoldWhole, vec![Kitchen], true),
        (Outlet::SoldWhole, vec![Harvester], false),
        (Outlet::Soup, vec![Harvester, Recipient], true),
        (Outlet::Soup, vec![Buyer], true),
        (Outlet::Donation, vec![Kitchen], false),
        (Outlet::Donation, vec![Recipient], true),
        (Outlet::Gift, vec![Staff], false),
        (Outlet::CrewUse, vec![], true),
    ] {
        let party = Party {
            code: "somebody".to_owned(),
            name: "Somebody".to_owned(),
            roles,
            licence_number: String::new(),
            licence_expires: None,
            contact: String::new(),
        };
        let told = has_role(&party, receives(outlet));
        assert_eq!(told.is_ok(), stands, "{outlet:?} {:?}", party.roles);
    }
    let nobody = has_role(
        &Party {
            code: "somebody".to_owned(),
            name: "Somebody".to_owned(),
            roles: Vec::new(),
            licence_number: String::new(),
            licence_expires: None,
            contact: String::new(),
        },
        receives(Outlet::Donation),
    );
    assert_eq!(
        nobody.unwrap_err().to_string(),
        "somebody is not on file as recipient: have the office give it that role"
    );
}

#[test]
fn a_hold_is_released_with_a_listed_reason_or_any_where_none_is_listed() {
    let mut settings = ReceivingSettings::default();
    assert!(settings.may_release_with("looks good"));
    settings.release_reasons = vec!["area cleared".to_owned()];
    assert!(settings.may_release_with(" Area cleared"));
    assert!(!settings.may_release_with("looks good"));
    assert!(!settings.may_release_with("area"));
}

#[test]
fn a_lot_probed_again_is_cold_or_is_held() {
    let lot = crate::ids::LotCode::parse("20310502000100000011").unwrap();
    for (probes, passed) in [
        (vec!["41 F"], Some(true)),
        (vec!["38 F", "41.01 F"], Some(false)),
        (vec!["5 C", "40 F"], Some(true)),
        (vec![], None),
    ] {
        let asked = ReprobeAsked {
            lot,
            probes: probes.iter().map(|probe| temperature(probe)).collect(),
            ice_around: Some(true),
            note: String::new(),
            happened_us: None,
        };
        let told = reprobe(&asked, &ReceivingSettings::default());
        assert_eq!(told.as_ref().map(|told| told.passed), passed, "{probes:?}");
        let says_hold = told.is_some_and(|told| told.notices.iter().any(|n| n.code == "hold_it"));
        assert_eq!(says_hold, passed == Some(false), "{probes:?}");
    }
}
