//! What a document promises: it reads back as it was written, the same content is
//! the same bytes, and what does not read says where.

use std::fmt::Debug;

use proptest::prelude::{any, prop_assert_eq, proptest};

use super::*;

/// Holds that `value` stands in a document as promised: it reads back, from the
/// same bytes; nothing in it is a number or null; and whatever of it is garbled
/// or missing is found at its place.
pub(crate) fn reads_back<T: Doc + PartialEq + Debug>(value: &T) {
    let doc = value.to_doc();
    let text = canonical(&doc);
    let stored: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(T::from_doc(&stored).as_ref(), Ok(value), "{text}");
    assert_eq!(canonical(&stored), text);
    for Place { pointer, path, .. } in places(&stored) {
        let here = stored.pointer(&pointer).unwrap();
        assert!(!here.is_number() && !here.is_null(), "{path} of {text}");
        let mut garbled = stored.clone();
        *garbled.pointer_mut(&pointer).unwrap() = Value::from(1);
        let error = T::from_doc(&garbled).unwrap_err();
        assert_eq!(error.path, path, "{error} in {garbled}");
    }
    for Place { pointer, path, .. } in places(&stored) {
        let Some((holder, key)) = pointer.rsplit_once('/') else {
            continue;
        };
        let mut missing = stored.clone();
        let Value::Object(fields) = missing.pointer_mut(holder).unwrap() else {
            continue;
        };
        fields.remove(key);
        match T::from_doc(&missing) {
            Ok(other) => assert_ne!(other, *value, "without {path}"),
            Err(error) => {
                let around = path.strip_suffix(key).unwrap();
                assert!(
                    error.path.starts_with(around.trim_end_matches('.')),
                    "{error}"
                );
            }
        }
    }
}

/// A value somewhere in a document.
struct Place {
    /// As `serde_json` finds it: `/lots/0/species`.
    pointer: String,
    /// As [`BadDoc`] names it: `lots.[0].species`.
    path: String,
}

/// Every value in a document, the whole of it first.
fn places(doc: &Value) -> Vec<Place> {
    let mut all = vec![Place {
        pointer: String::new(),
        path: String::new(),
    }];
    let mut next = 0;
    while let Some(Place { pointer, path }) = all.get(next) {
        let below = |key: &str, named: String| Place {
            pointer: format!("{pointer}/{key}"),
            path: if path.is_empty() {
                named
            } else {
                format!("{path}.{named}")
            },
        };
        let more: Vec<Place> = match doc.pointer(pointer).unwrap() {
            Value::Object(fields) => fields.keys().map(|key| below(key, key.clone())).collect(),
            Value::Array(items) => (0..items.len())
                .map(|i| below(&i.to_string(), format!("[{i}]")))
                .collect(),
            _ => Vec::new(),
        };
        all.extend(more);
        next += 1;
    }
    all
}

/// Holds that the words of a coded enum are these, in the order of their numbers,
/// and read back: a book written with them must be read for ever.
macro_rules! words {
    ($($type:ident: $words:literal;)+) => {$({
        let words: Vec<&str> = $type::ALL.iter().map(|word| word.word()).collect();
        assert_eq!(words.join(", "), $words);
        $type::ALL.iter().for_each($crate::doc::tests::reads_back);
        let stranger = Value::String("no such word".to_owned());
        let error = $type::from_doc(&stranger).unwrap_err();
        assert_eq!(error, BadDoc::here(concat!("a word of ", stringify!($type))));
    })+};
}
pub(crate) use words;

/// Text of every kind that people type.
pub(crate) const TEXT: &str =
    "dock \"3\" \\ ?, $1\n\t\u{0} \u{7f} Jos\u{e9} \u{9b5a} \u{1f41f} \u{fffd}";

pub(crate) fn lb(text: &str) -> Reading {
    Reading::new(text, WeightUnit::Lb, "dock", ReadingSource::Keyed).unwrap()
}

pub(crate) fn usd(minor: i64) -> Money {
    Money::new(minor, Currency::new("USD").unwrap())
}

pub(crate) fn per_lb(e4: i64) -> UnitPrice {
    UnitPrice::from_e4(e4, Currency::new("USD").unwrap(), WeightUnit::Lb).unwrap()
}

pub(crate) fn grade(text: &str) -> Grade {
    Grade::new(text).unwrap()
}

fn day(text: &str) -> Option<NaiveDate> {
    Some(NaiveDate::parse_from_str(text, "%Y-%m-%d").unwrap())
}

fn area(code: &str) -> CatchArea {
    CatchArea {
        system: "FAO".to_owned(),
        code: code.to_owned(),
    }
}

/// A weigh-in with everything said that can be said.
fn full_weigh_in() -> WeighIn {
    let pieces = Weighing {
        grade: grade("B"),
        condition: None,
        weighed: Weighed::Pieces(vec![
            Reading::new("0.75", WeightUnit::Kg, "", ReadingSource::Captured).unwrap(),
            Reading::new("9", WeightUnit::Oz, "", ReadingSource::Keyed).unwrap(),
        ]),
    };
    WeighIn {
        site: 9_999,
        harvester: "ana".to_owned(),
        landing: Landing {
            areas: vec![area("31"), area("21.6")],
            harvest_from: day("2031-04-30"),
            harvest_to: day("2031-05-02"),
            gear: "10.7".to_owned(),
            landing_place: TEXT.to_owned(),
            landed_on: day("2031-05-02"),
            vessel: "skiff".to_owned(),
            vessel_use: Some(VesselUse::Vessel),
            dives: Some(3),
            depth: Some(Depth {
                from: "40".to_owned(),
                to: "95.5".to_owned(),
                unit: DepthUnit::Foot,
            }),
            minutes_fished: "125.5".to_owned(),
        },
        lots: vec![LotIn {
            species: "PZO".to_owned(),
            presentation: Presentation::SpinesClipped,
            storage: Some(Storage::Slush),
            weighings: vec![
                tote(Tare::Reading(lb("3.60")), Pieces::Counted(56)),
                tote(posted(Some(lb("3.60"))), Pieces::Estimated(0)),
                pieces,
            ],
            receiving: Receiving {
                decision: Decision::Hold,
                reason: "warm".to_owned(),
                corrective_action: "iced again".to_owned(),
                first_speared_us: Some(i64::MIN),
                iced_us: Some(i64::MAX),
                ice_around: Some(false),
                probes: vec![probe("41.0"), probe("-0.5")],
                smallest_length: Some(inches("20.25")),
                area_unclear: true,
                hold_cause: Some(HoldCause::Cold),
            },
            small_fish: SmallFish::Give,
            areas: vec![area("31")],
            harvest_from: day("2031-05-01"),
            harvest_to: day("2031-05-01"),
            tally: Some(full_tally()),
        }],
        confirmation: Confirmation::DiverAbsent,
        first_reading_us: Some(1_935_500_400_000_000),
        sent_us: Some(1_935_500_400_000_001),
        offline_payout: Some(usd(-1)),
        device: "tablet".to_owned(),
        rewrites: Some(Rewrite {
            ticket: i64::MAX,
            reason: TEXT.to_owned(),
        }),
        payees: vec![share(Share::Ppm(300_000)), share(Share::Fixed(usd(5_000)))],
        adjustments: vec![
            adjustment(AdjustBy::PerWeight(per_lb(-999_990_000))),
            adjustment(AdjustBy::Ppm(-50_000)),
            adjustment(AdjustBy::Flat(usd(i64::MIN))),
        ],
        note: TEXT.to_owned(),
        answers: vec![QuestionAnswer {
            code: "cull".to_owned(),
            text: TEXT.to_owned(),
        }],
        lot_number: Some(2_031_050_200_010_000_009),
    }
}

pub(crate) fn full_tally() -> Tally {
    Tally {
        rows: vec![TallyRow {
            sex: Some(Sex::Female),
            eggs: Some(true),
            length: "28.5".to_owned(),
            count: 7,
        }],
        unit: Some(RulerUnit::Centimetre),
        largest: "31".to_owned(),
        removed: Some(9),
    }
}

fn tote(tare: Tare, pieces: Pieces) -> Weighing {
    Weighing {
        grade: grade("A"),
        condition: Some(Condition::Clean),
        weighed: Weighed::Tote {
            gross: lb("45.60"),
            tare,
            iced: true,
            pieces,
        },
    }
}

fn posted(posted: Option<Reading>) -> Tare {
    Tare::Tote {
        code: "blue-2".to_owned(),
        posted,
    }
}

fn probe(text: &str) -> Temperature {
    Temperature {
        text: text.to_owned(),
        unit: TemperatureUnit::Fahrenheit,
    }
}

fn share(share: Share) -> PayeeShare {
    PayeeShare {
        party: "ben".to_owned(),
        share,
    }
}

fn adjustment(by: AdjustBy) -> Adjustment {
    Adjustment {
        name: "ice".to_owned(),
        kind: AdjustmentKind::Settlement,
        by,
    }
}

/// A weigh-in with nothing said that may be left out.
fn bare_weigh_in() -> WeighIn {
    WeighIn {
        site: 1,
        harvester: "ana".to_owned(),
        landing: Landing::default(),
        lots: vec![LotIn {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            storage: None,
            weighings: vec![
                Weighing {
                    condition: None,
                    ..tote(Tare::Tared, Pieces::NotCounted)
                },
                tote(posted(None), Pieces::Counted(i64::MAX)),
            ],
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
        }],
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

/// A ticket with everything on it that can be on one.
fn full_ticket() -> Ticket {
    Ticket {
        priced_us: 1_935_500_400_000_000,
        number: Some(2_031_050_200_010_000_001),
        lots: vec![
            TicketLot {
                n: 1,
                place: Some(35),
                species_name: "lionfish".to_owned(),
                price_list: 2_031_050_100_010_000_004,
                weighed: vec![Net {
                    gross: lb("45.60").weight,
                    tare: lb("3.60").weight,
                    ice: lb("1.25").weight,
                    net: lb("40.75").weight,
                }],
                received: Received {
                    findings: vec![Finding {
                        rule: ReceivingRule::Area,
                        standing: Standing::NotKnown,
                        text: TEXT.to_owned(),
                    }],
                    reprobe_due_us: Some(i64::MAX),
                },
            },
            TicketLot {
                n: 2,
                place: None,
                species_name: "hogfish".to_owned(),
                price_list: 0,
                weighed: Vec::new(),
                received: Default::default(),
            },
        ],
        lines: vec![Line {
            lot: 1,
            part: 1,
            band: 2,
            band_name: "small".to_owned(),
            band_from: lb("0.50").weight,
            band_to: Some(lb("1").weight),
            grade: grade("A"),
            condition: Some(Condition::Clean),
            held: true,
            pieces: Pieces::Counted(56),
            net: lb("40.75").weight,
            ice: lb("1.25").weight,
            list_price: per_lb(55_000),
            price: per_lb(50_000),
            amount: usd(20_375),
            undersize: Undersize::NotKnown,
            proposed: Some(Outlet::Soup),
            proposed_reason: "soup first".to_owned(),
            agreed: None,
        }],
        not_bought: vec![NotBought {
            lot: 2,
            net: lb("3").weight,
            why: NotBoughtWhy::Refused,
            reason: "warm".to_owned(),
            corrective_action: "sent back".to_owned(),
        }],
        adjustments: vec![AdjustmentLine {
            name: "ice".to_owned(),
            kind: AdjustmentKind::Settlement,
            amount: usd(-375),
        }],
        lines_total: usd(20_375),
        payout: usd(20_000),
        owed: usd(0),
        held: usd(20_000),
        undersize: Weight::ZERO,
        shares: vec![PayeeAmount {
            party: "ben".to_owned(),
            owed: usd(9),
            held: usd(-1),
        }],
        released: vec![ReleasedBefore {
            line: 2,
            weight: Weight::from_units(5),
            pay: usd(7),
        }],
        notices: vec![Notice {
            kind: NoticeKind::Caution,
            code: "venomous".to_owned(),
            text: "Spines stay venomous: Jos\u{e9} wears gloves.".to_owned(),
            line: 1,
        }],
    }
}

/// A ticket with nothing on it that may be left out.
fn bare_ticket() -> Ticket {
    let full = full_ticket();
    let line = Line {
        band_to: None,
        condition: None,
        held: false,
        pieces: Pieces::NotCounted,
        net: Weight::from_units(i64::MAX),
        ice: Weight::from_units(i64::MIN),
        proposed: None,
        proposed_reason: String::new(),
        ..full.lines[0].clone()
    };
    Ticket {
        number: None,
        lots: Vec::new(),
        lines: vec![line],
        not_bought: Vec::new(),
        adjustments: Vec::new(),
        notices: Vec::new(),
        ..full
    }
}

#[test]
fn a_ticket_is_stored_as_these_bytes() {
    let landing = Landing {
        areas: vec![area("31")],
        landed_on: day("2031-05-02"),
        vessel_use: Some(VesselUse::None),
        ..Landing::default()
    };
    let lot = LotIn {
        weighings: vec![tote(posted(Some(lb("3.60"))), Pieces::Counted(56))],
        ..bare_weigh_in().lots[0].clone()
    };
    let asked = WeighIn {
        landing,
        lots: vec![lot],
        ..bare_weigh_in()
    };
    // As before documents had what came to them later: it is left out while it is nothing.
    let mut ticket = Ticket {
        released: Vec::new(),
        shares: Vec::new(),
        ..full_ticket()
    };
    ticket.lots[0].received = Received::default();
    let text = entry_doc(&asked, &ticket);
    assert_eq!(
        text,
        concat!(
            r#"{"asked":{"adjustments":[],"confirmation":"by diver","device":"","harvester":"ana","#,
            r#""landing":{"areas":[{"code":"31","system":"FAO"}],"gear":"","#,
            r#""landed_on":"2031-05-02","landing_place":"","vessel":"","vessel_use":"none"},"#,
            r#""lots":[{"areas":[],"presentation":"whole","receiving":{"corrective_action":"","#,
            r#""decision":"accept","probes":[],"reason":""},"small_fish":"sell","species":"PZO","#,
            r#""weighings":[{"condition":"clean","grade":"A","weighed":{"gross":{"scale":"dock","#,
            r#""source":"keyed","text":"45.60","unit":"lb","weight":"2068381207200"},"iced":true,"#,
            r#""pieces":{"counted":"56"},"tare":{"posted":{"scale":"dock","source":"keyed","#,
            r#""text":"3.60","unit":"lb","weight":"163293253200"},"tote":"blue-2"}}}]}],"note":"","#,
            r#""payees":[],"site":"1"},"outcome":{"adjustments":[{"amount":{"currency":"USD","#,
            r#""minor":"-375"},"kind":"settlement","name":"ice"}],"held":{"currency":"USD","#,
            r#""minor":"20000"},"lines":[{"amount":{"currency":"USD","minor":"20375"},"band":"2","#,
            r#""band_from":"22679618500","band_name":"small","band_to":"45359237000","#,
            r#""condition":"clean","grade":"A","held":true,"ice":"56699046250","list_price":{"#,
            r#""currency":"USD","e4":"55000","per":"lb"},"lot":"1","net":"1848388907750","#,
            r#""part":"1","pieces":{"counted":"56"},"price":{"currency":"USD","e4":"50000","#,
            r#""per":"lb"},"proposed":"soup-grade","proposed_reason":"soup first","#,
            r#""undersize":"not known"}],"lines_total":{"currency":"USD","minor":"20375"},"lots":[{"#,
            r#""n":"1","place":"35","price_list":"2031050100010000004","species_name":"lionfish","#,
            r#""weighed":[{"gross":"2068381207200","ice":"56699046250","net":"1848388907750","#,
            r#""tare":"163293253200"}]},{"n":"2","price_list":"0","species_name":"hogfish","#,
            r#""weighed":[]}],"not_bought":[{"corrective_action":"sent back","lot":"2","#,
            r#""net":"136077711000","reason":"warm","why":"refused"}],"notices":[{"#,
            r#""code":"venomous","kind":"caution","line":"1","#,
            r#""text":"Spines stay venomous: José wears gloves."}],"number":"2031050200010000001","#,
            r#""owed":{"currency":"USD","minor":"0"},"payout":{"currency":"USD","minor":"20000"},"#,
            r#""priced_us":"1935500400000000","undersize":"0"}}"#
        )
    );
    let read: (WeighIn, Ticket) = read_entry_doc(&text).unwrap();
    assert_eq!(read, (asked, ticket));
}

#[test]
fn weigh_ins_and_tickets_read_back() {
    reads_back(&full_weigh_in());
    reads_back(&bare_weigh_in());
    reads_back(&full_ticket());
    let mut agreed = full_ticket();
    agreed.lines[0].agreed = Some(AgreedUsed {
        entry: 2_031_050_100_010_000_005,
        price: per_lb(70_000),
        reason: TEXT.to_owned(),
    });
    reads_back(&agreed);
    reads_back(&bare_ticket());
    reads_back(&VoidAsked {
        ticket: i64::MIN,
        reason: TEXT.to_owned(),
    });
}

#[test]
fn what_the_office_keeps_on_file_reads_back() {
    let clock = |zone: &str, hour| SiteClock::new(zone, hour).unwrap();
    for (clock, shown_unit) in [
        (clock("America/New_York", 0), WeightUnit::Lb),
        (clock("UTC", 12), WeightUnit::Kg),
    ] {
        reads_back(&Site {
            number: 9_999,
            name: TEXT.to_owned(),
            clock,
            currency: Currency::new("XCD").unwrap(),
            buyer: "buyer".to_owned(),
            shown_unit,
            location_description: String::new(),
        });
    }
    for (roles, licence_expires) in [
        (PartyRole::ALL.to_vec(), day("2032-02-29")),
        (Vec::new(), None),
    ] {
        reads_back(&Party {
            code: "ana".to_owned(),
            name: TEXT.to_owned(),
            roles,
            licence_number: "SPL-1".to_owned(),
            licence_expires,
            contact: String::new(),
        });
    }
    for hazards in [Hazard::ALL.to_vec(), Vec::new()] {
        reads_back(&Species {
            code: "PZO".to_owned(),
            name: "lionfish".to_owned(),
            scientific_name: "Pterois volitans".to_owned(),
            hazards,
            lightest: Some(lb("0.05")),
            heaviest: None,
        });
    }
    for when in [day("2031-01-01"), None] {
        reads_back(&Scale {
            site: 1,
            code: "dock".to_owned(),
            name: TEXT.to_owned(),
            accuracy_class: "III".to_owned(),
            division: lb("0.05"),
            capacity: lb("500"),
            tested_on: when,
            line: TEXT.to_owned(),
        });
        reads_back(&Tote {
            site: 1,
            code: "blue-2".to_owned(),
            tare: lb("3.60"),
            weighed_on: when,
        });
    }
    reads_back(&Device {
        site: 1,
        code: "tablet".to_owned(),
        name: TEXT.to_owned(),
    });
}

fn full_receiving_settings() -> ReceivingSettings {
    let days = HarvestDays {
        from: day("2031-01-01"),
        to: None,
    };
    let legal = |says| LegalLimit {
        species: "GPR".to_owned(),
        days,
        says,
    };
    ReceivingSettings {
        cold_limit: Some(probe("41")),
        hours_to_cool: Some(4),
        probes: Some(3),
        probes_heavy: Some(5),
        heavy_lot: Some(lb("50")),
        histamine_limits: vec![HistamineLimit {
            hours_at_most: 6,
            temperature_at_most: probe("50.5"),
        }],
        areas_of_concern: vec![AreaOfConcern {
            area: area("31"),
            species: vec!["GPR".to_owned()],
            piece_weight_above: Some(lb("8")),
            days,
            note: TEXT.to_owned(),
        }],
        legal_limits: vec![
            legal(LegalRule::MinimumLength(inches("20"))),
            legal(LegalRule::Season(Season::Closed)),
            legal(LegalRule::TripPieces(4)),
            legal(LegalRule::TripWeight(lb("30"))),
        ],
        release_reasons: vec![TEXT.to_owned()],
    }
}

fn inches(text: &str) -> Length {
    Length {
        text: text.to_owned(),
        unit: LengthUnit::In,
    }
}

#[test]
fn settings_and_price_lists_read_back() {
    let rate = |storage, ppm_per_day| DripRate {
        species: "PZO".to_owned(),
        presentation: Presentation::Gutted,
        storage,
        ppm_per_day,
        allowance_ppm_per_day: 0,
    };
    reads_back(&Settings {
        site: 1,
        ..Settings::default()
    });
    reads_back(&Settings {
        site: 1,
        effective_from_us: Some(0),
        ice_ppm: Some(30_000),
        undersize_outlet: Some(Outlet::Donation),
        drip_rates: vec![
            rate(Storage::DrainedIce, 8_000),
            rate(Storage::Slush, -2_000),
        ],
        flag_weight: Some(lb("0.5")),
        flag_ppm: Some(10_000),
        flag_value: Some(usd(500)),
        cutting_loss_ppm: Some(40_000),
        water_ppm: Some(10_000),
        finished_weight: Some(lb("0.1")),
        finished_ppm: Some(5_000),
        hold_days: Some(3),
        tare_days: Some(7),
        shortest_mm: Some(1),
        longest_mm: Some(2),
        mean_most_percent: Some(300),
        mean_least_percent: Some(0),
        deduction_ppm: Some(400_000),
        objection_hours: Some(12),
        dispute_days: Some(14),
        surface_water_ppm: Some(20_000),
        wet_tote: Some(lb("0.3")),
        drift_days: Some(60),
        drift_pairs: Some(8),
        drift_ppm: Some(2_000),
        receiving: full_receiving_settings(),
        judging: JudgingSettings {
            dressings: vec![DressingYield {
                species: "PZO".to_owned(),
                from: Presentation::Whole,
                to: Presentation::GuttedHeaded,
                keeps_ppm: 580_000,
                minutes_per_lb_e2: 60,
                source: "four dressings".to_owned(),
            }],
            references: vec![ReferenceYield {
                species: "PZO".to_owned(),
                presentation: Presentation::Whole,
                specification: TEXT.to_owned(),
                yield_e2: 3_050,
                source: TEXT.to_owned(),
            }],
            fillet_prices: vec![FilletPrice {
                species: "PZO".to_owned(),
                specification: TEXT.to_owned(),
                price: per_lb(180_000),
            }],
            wage_per_hour: Some(usd(1_700)),
            supplies: Some(per_lb(1_000)),
            soup_price: Some(per_lb(15_000)),
            dressing_cost: Some(per_lb(0)),
            portion: Some(lb("0.375")),
            cooking_loss_ppm: Some(0),
            whole_days: Some(4),
            whole_days_ask: Some(7),
            soup_days: Some(2),
            donation_hours: Some(24),
            fillet_days: Some(1),
            history_days: Some(60),
            least_cuts: Some(8),
            least_weight: Some(lb("80")),
            least_days: Some(5),
            least_points_e2: Some(150),
            false_discovery_ppm: Some(50_000),
        },
    });
    for (grade, from_us, below_plate) in [(Some(grade("A")), Some(0), true), (None, None, false)] {
        reads_back(&AgreedPrice {
            site: 1,
            harvester: "ana".to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            grade,
            from_us,
            to_us: i64::MAX,
            price: per_lb(70_000),
            below_plate,
            reason: TEXT.to_owned(),
        });
    }
    reads_back(&Baseline {
        site: 1,
        follows: Follows::Cutter,
        party: "ana".to_owned(),
        from: 20_310_428,
        to: 20_310_505,
        reason: TEXT.to_owned(),
    });
    let band = |from: &str, to: Option<&str>| Band {
        from: lb(from).weight,
        to: to.map(|to| lb(to).weight),
        price: per_lb(999_990_000),
        name: TEXT.to_owned(),
    };
    let grades = |not_counted| GradePrices {
        grade: grade("A"),
        bands: vec![band("0", Some("0.5")), band("0.5", None)],
        not_counted,
    };
    let prices = PresentationPrices {
        presentation: Presentation::Whole,
        plate_minimum: lb("0.5").weight,
        grades: vec![grades(Some(per_lb(12_345))), grades(None)],
    };
    let list = PriceList {
        site: 1,
        species: "PZO".to_owned(),
        effective_from_us: i64::MAX,
        band_by: BandBy::Lot,
        currency: Currency::new("USD").unwrap(),
        price_per: WeightUnit::Kg,
        edge_unit: WeightUnit::Oz,
        presentations: vec![prices],
        condition_adjustments: vec![ConditionAdjustment {
            condition: Condition::Torn,
            per_unit: per_lb(-5_000),
        }],
    };
    reads_back(&list);
    reads_back(&PriceList {
        presentations: Vec::new(),
        condition_adjustments: Vec::new(),
        ..list
    });
}

#[test]
fn every_word_reads_back_and_is_the_one_it_was() {
    words! {
        Presentation: "whole, spines clipped, gutted, gutted and headed, fillet skin-on, \
            fillet skinless, trim, frames, roe, other";
        Condition: "clean, body, torn";
        Storage: "drained ice, dry cooler, slush, frozen";
        Hazard: "venomous, ciguatera, histamine";
        Outlet: "sold whole, soup-grade, donation, gift, crew use, by-product, discard, sample";
        Undersize: "no, yes, not known";
        DepthUnit: "ft, m, fathom";
        Sex: "female, male";
        RulerUnit: "mm, cm, in";
        PartyRole: "buyer, harvester, payee, kitchen, recipient, staff";
        BandBy: "piece, lot";
        VesselUse: "none, vessel, unclear";
        Confirmation: "by diver, diver absent";
        SmallFish: "sell, give, take home";
        Decision: "accept, hold, refuse";
        TemperatureUnit: "F, C";
        AdjustmentKind: "price, settlement";
        NotBoughtWhy: "refused, taken home";
        NoticeKind: "caution, warning, question";
    }
}

#[test]
fn what_stands_as_text_reads_back_and_anything_else_says_what_was_expected() {
    fn check<T: Doc + PartialEq + Debug>(good: &[&str], bad: &[&str], why: &str) {
        for text in good {
            let stored = Value::String((*text).to_owned());
            let read = T::from_doc(&stored).unwrap();
            assert_eq!(read.to_doc(), stored);
            reads_back(&read);
        }
        for text in bad {
            let error = T::from_doc(&Value::String((*text).to_owned())).unwrap_err();
            assert_eq!(
                (error.path.as_str(), error.why.as_str()),
                ("", why),
                "{text:?}"
            );
        }
    }
    let whole = ["-9223372036854775808", "-1", "0", "9223372036854775807"];
    let not_whole = ["", " 1", "1.0", "1e3", "0x1", "9223372036854775808"];
    check::<i64>(&whole, &not_whole, "a whole number as text was expected");
    check::<Weight>(&whole, &not_whole, "a weight in 10 ng");
    check::<Currency>(&["USD", "XCD"], &["", "usd", "US", "JPY"], "a currency");
    // A business day of month 13, sequence 0, 18 digits.
    check::<EntryId>(
        &["2031050200010000001"],
        &[
            "2031130200010000001",
            "2031050200010000000",
            "203105020001000001",
        ],
        "an entry id",
    );
    check::<LotCode>(
        &["20310502000100000011", "2031050200010000001Z"],
        &[
            "2031050200010000001",
            "20310502000100000010",
            "2031050200010000001a",
        ],
        "a lot code",
    );
    check::<NaiveDate>(
        &["2031-05-02", "2032-02-29"],
        &["", "2031-02-29", "02.05.2031", "2031-05-02T00:00"],
        "a day",
    );
    check::<Grade>(&["A", "0", "ABCD1234"], &["", "a", "ABCD12345"], "a grade");
    check::<WeightUnit>(
        &["lb", "kg", "g", "oz"],
        &["", "LB", "stone"],
        "a unit of weight",
    );
    check::<ReadingSource>(&["keyed", "captured"], &["", "Keyed"], "keyed or captured");
    reads_back(&true);
    reads_back(&false);
    reads_back(&TEXT.to_owned());
}

#[test]
fn a_value_its_type_refuses_says_where() {
    fn check<T: Doc + Debug>(text: &str, path: &str, why: &str) {
        let error = T::from_doc(&serde_json::from_str(text).unwrap()).unwrap_err();
        assert_eq!(
            (error.path.as_str(), error.why.as_str()),
            (path, why),
            "{text}"
        );
    }
    check::<UnitPrice>(
        r#"{"currency":"USD","e4":"10000","per":"oz"}"#,
        "",
        "must be per lb or per kg",
    );
    check::<UnitPrice>(
        r#"{"currency":"USD","e4":"999990001","per":"lb"}"#,
        "",
        "is above 99999 a unit",
    );
    check::<Money>(
        r#"{"currency":"JPY","minor":"1"}"#,
        "currency",
        "a currency",
    );
    check::<SiteClock>(
        r#"{"cutover_hour":"13","zone":"UTC"}"#,
        "",
        "the day turns at hour 0 to 12, not 13",
    );
    check::<SiteClock>(
        r#"{"cutover_hour":"4","zone":"Nowhere/At_All"}"#,
        "",
        "\"Nowhere/At_All\" is not a time zone such as America/New_York",
    );
    check::<Share>("{}", "", "a choice of Share");
    check::<Share>(r#"{"percent":"30"}"#, "", "a choice of Share");
    check::<Share>(
        r#"{"fixed":{"currency":"USD","minor":"x"}}"#,
        "fixed.minor",
        "a whole number as text was expected",
    );
    check::<AdjustBy>(r#"{"flat":null}"#, "flat", "an object was expected");
    check::<Pieces>("{}", "estimated", "text was expected");
    check::<Vec<CatchArea>>(
        r#"[{"code":"31","system":"FAO"},{"code":"31"}]"#,
        "[1].system",
        "text was expected",
    );
    check::<Option<i64>>("1", "", "text was expected");
    check::<bool>(r#""true""#, "", "true or false was expected");
}

#[test]
fn asked_and_outcome_read_back_from_one_text() {
    let asked = VoidAsked {
        ticket: i64::MAX,
        reason: "peso mal le\u{ed}do".to_owned(),
    };
    let text = entry_doc(&asked, &Some(Weight::from_units(-5)));
    let read: (VoidAsked, Option<Weight>) = read_entry_doc(&text).unwrap();
    assert_eq!(read, (asked.clone(), Some(Weight::from_units(-5))));
    // Of a deed with no more to say the outcome is there, and empty.
    let text = entry_doc(&asked, &());
    assert_eq!(
        text,
        r#"{"asked":{"reason":"peso mal leído","ticket":"9223372036854775807"},"outcome":{}}"#
    );
    assert_eq!(read_entry_doc::<VoidAsked, ()>(&text).unwrap(), (asked, ()));
}

#[test]
fn a_text_that_is_no_entry_says_where() {
    let path = |text: &str| {
        read_entry_doc::<VoidAsked, VoidAsked>(text)
            .unwrap_err()
            .path
    };
    let good = r#"{"reason":"r","ticket":"1"}"#;
    assert_eq!(path(""), "");
    assert_eq!(path("[]"), "");
    assert_eq!(path("{"), "");
    assert_eq!(path("{}"), "asked");
    assert_eq!(path(&format!(r#"{{"asked":{good}}}"#)), "outcome");
    assert_eq!(
        path(&format!(r#"{{"asked":{good},"outcome":{{"reason":"r"}}}}"#)),
        "outcome.ticket"
    );
}

proptest! {
    #[test]
    fn any_text_and_whole_number_reads_back(
        text in any::<String>(), whole in any::<i64>(), list in any::<Vec<i64>>(), some in any::<Option<bool>>(),
    ) {
        let asked = VoidAsked { ticket: whole, reason: text };
        let stored = entry_doc(&asked, &list);
        prop_assert_eq!(read_entry_doc(&stored), Ok((asked.clone(), list)));
        let stored = entry_doc(&some, &asked);
        prop_assert_eq!(read_entry_doc(&stored), Ok((some, asked)));
    }
}

#[derive(Debug, PartialEq)]
struct Grown {
    old: i64,
    new: Vec<i64>,
    more: String,
}
doc_struct! { Grown { old; later new, more } }

#[test]
fn a_field_that_came_later_leaves_older_documents_as_they_were() {
    let plain = Grown {
        old: 1,
        new: Vec::new(),
        more: String::new(),
    };
    assert_eq!(canonical(&plain.to_doc()), r#"{"old":"1"}"#);
    let grown = Grown {
        old: 1,
        new: vec![2],
        more: "x".to_owned(),
    };
    assert_eq!(
        canonical(&grown.to_doc()),
        r#"{"more":"x","new":["2"],"old":"1"}"#
    );
    for written in [plain, grown] {
        assert_eq!(Grown::from_doc(&written.to_doc()), Ok(written));
    }
}
