#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proto::v1;
use rules::office::PartyRole;
use rules::price_list::PriceListError;

use super::*;

const ID: &str = "0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90";

fn usd() -> Option<Currency> {
    Currency::new("USD")
}

fn lb(decimal: &str) -> Option<v1::Reading> {
    Some(v1::Reading {
        decimal: decimal.to_owned(),
        unit: v1::WeightUnit::Lb.into(),
        ..v1::Reading::default()
    })
}

/// Field and reason of what is refused, or "taken".
fn told<T>(result: Result<Asked<T>, Bad>) -> String {
    match result {
        Ok(_) => "taken".to_owned(),
        Err(bad) => format!("{} {}", bad.reason, bad.field),
    }
}

#[test]
fn a_site_says_its_zone_hour_money_and_unit() {
    let good = v1::Site {
        number: 1,
        name: "The dock".to_owned(),
        time_zone: "America/New_York".to_owned(),
        cutover_hour: 4,
        currency: "USD".to_owned(),
        buyer: "buyer".to_owned(),
        shown_unit: v1::WeightUnit::Lb.into(),
        location_description: String::new(),
    };
    type Change = fn(&mut v1::Site);
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("INVALID_FIELD site.number", |s| s.number = 0),
        ("INVALID_FIELD site.number", |s| s.number = 10_000),
        ("MISSING_FIELD site.name", |s| s.name = "  ".to_owned()),
        ("MISSING_FIELD site.time_zone", |s| s.time_zone.clear()),
        ("INVALID_FIELD site.time_zone", |s| {
            s.time_zone = "Nowhere/Here".to_owned()
        }),
        ("INVALID_FIELD site.time_zone", |s| {
            s.time_zone = "../etc/passwd".to_owned()
        }),
        ("INVALID_FIELD site.time_zone", |s| {
            s.time_zone = "Z".repeat(201)
        }),
        ("taken", |s| s.cutover_hour = 0),
        ("taken", |s| s.cutover_hour = 12),
        ("INVALID_FIELD site.cutover_hour", |s| s.cutover_hour = 13),
        ("INVALID_FIELD site.cutover_hour", |s| s.cutover_hour = -1),
        ("MISSING_FIELD site.currency", |s| s.currency.clear()),
        ("INVALID_FIELD site.currency", |s| {
            s.currency = "Dollar".to_owned()
        }),
        ("MISSING_FIELD site.buyer", |s| s.buyer.clear()),
        ("MISSING_FIELD site.shown_unit", |s| s.shown_unit = 0),
        ("INVALID_FIELD site.shown_unit", |s| {
            s.shown_unit = v1::WeightUnit::Oz.into()
        }),
        ("INVALID_FIELD site.shown_unit", |s| s.shown_unit = 99),
    ];
    for (outcome, change) in cases {
        let mut of = good.clone();
        change(&mut of);
        let request = v1::RecordSiteRequest {
            request_id: ID.to_owned(),
            site: Some(of.clone()),
        };
        assert_eq!(told(site(request)), *outcome, "{of:?}");
    }
    let nothing = v1::RecordSiteRequest {
        request_id: ID.to_owned(),
        site: None,
    };
    assert_eq!(told(site(nothing)), "MISSING_FIELD site");
}

#[test]
fn roles_and_hazards_are_sets() {
    let of = v1::Party {
        code: "a".to_owned(),
        name: "A".to_owned(),
        roles: vec![6, 2, 6],
        ..v1::Party::default()
    };
    let request = |roles: Vec<i32>| v1::RecordPartyRequest {
        request_id: ID.to_owned(),
        party: Some(v1::Party {
            roles,
            ..of.clone()
        }),
    };
    let asked = party(request(vec![6, 2, 6])).unwrap();
    assert_eq!(asked.what.roles, [PartyRole::Harvester, PartyRole::Staff]);
    assert_eq!(
        told(party(request(vec![1, 0]))),
        "MISSING_FIELD party.roles[1]"
    );
    assert_eq!(
        told(party(request(vec![7]))),
        "INVALID_FIELD party.roles[0]"
    );

    let request = |hazards: Vec<i32>| v1::RecordSpeciesRequest {
        request_id: ID.to_owned(),
        species: Some(v1::Species {
            code: "PZO".to_owned(),
            name: "Red lionfish".to_owned(),
            hazards,
            ..v1::Species::default()
        }),
    };
    assert_eq!(
        species_on_file(request(vec![2, 1]))
            .unwrap()
            .what
            .hazards
            .len(),
        2
    );
    assert_eq!(
        told(species_on_file(request(vec![4]))),
        "INVALID_FIELD species.hazards[0]"
    );
}

#[test]
fn a_scale_weighs_at_least_one_division() {
    for (division, capacity, outcome) in [
        (lb("0.05"), lb("60"), "taken"),
        (lb("0.05"), lb("0.05"), "taken"),
        (lb("0.05"), lb("0.049"), "INVALID_FIELD scale.capacity"),
        (lb("0"), lb("60"), "INVALID_FIELD scale.division.decimal"),
        (None, lb("60"), "MISSING_FIELD scale.division"),
        (lb("0.05"), None, "MISSING_FIELD scale.capacity"),
    ] {
        let request = v1::RecordScaleRequest {
            request_id: ID.to_owned(),
            scale: Some(v1::Scale {
                site: 1,
                code: "dock".to_owned(),
                name: "Dock scale".to_owned(),
                division: division.clone(),
                capacity: capacity.clone(),
                ..v1::Scale::default()
            }),
        };
        assert_eq!(told(scale(request)), outcome, "{division:?} {capacity:?}");
    }
}

#[test]
fn settings_are_within_their_bounds() {
    type Change = fn(&mut v1::Settings);
    let drip = |percent: &str| v1::DripRate {
        species: "PZO".to_owned(),
        presentation: v1::Presentation::Whole.into(),
        storage: v1::Storage::Slush.into(),
        percent_per_day: percent.to_owned(),
        allowance_percent_per_day: String::new(),
    };
    for (rates, outcome) in [
        (vec![drip("-0.5")], "taken"),
        (vec![drip("0.8001")], "taken"),
        (
            vec![drip("0.80001")],
            "INVALID_FIELD settings.drip_rates[0].percent_per_day",
        ),
        (
            vec![drip("-101")],
            "INVALID_FIELD settings.drip_rates[0].percent_per_day",
        ),
        (
            vec![drip("")],
            "MISSING_FIELD settings.drip_rates[0].percent_per_day",
        ),
        (
            vec![drip("1"), drip("2")],
            "INVALID_FIELD settings.drip_rates[1]",
        ),
    ] {
        let of = v1::Settings {
            site: 1,
            drip_rates: rates,
            ..v1::Settings::default()
        };
        let request = v1::RecordSettingsRequest {
            request_id: ID.to_owned(),
            settings: Some(of),
        };
        assert_eq!(told(settings(request, usd())), outcome);
    }
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("INVALID_FIELD settings.site", |s| s.site = 0),
        ("taken", |s| s.ice_percent = Some("3".to_owned())),
        ("MISSING_FIELD settings.ice_percent", |s| {
            s.ice_percent = Some(String::new())
        }),
        ("INVALID_FIELD settings.ice_percent", |s| {
            s.ice_percent = Some("-3".to_owned())
        }),
        ("INVALID_FIELD settings.flag_percent", |s| {
            s.flag_percent = Some("100.01".to_owned())
        }),
        ("taken", |s| {
            s.undersize_outlet = v1::Outlet::Donation.into()
        }),
        ("INVALID_FIELD settings.undersize_outlet", |s| {
            s.undersize_outlet = v1::Outlet::Discard.into();
        }),
        ("taken", |s| s.flag_weight = lb("0")),
        ("INVALID_FIELD settings.flag_value.amount_minor", |s| {
            s.flag_value = Some(v1::Money {
                amount_minor: -1,
                currency: "USD".to_owned(),
            });
        }),
        ("INVALID_FIELD settings.flag_value.currency", |s| {
            s.flag_value = Some(v1::Money {
                amount_minor: 500,
                currency: "EUR".to_owned(),
            });
        }),
        ("INVALID_FIELD settings.hold_days", |s| {
            s.hold_days = Some(-1)
        }),
    ];
    for (outcome, change) in cases {
        let mut of = v1::Settings {
            site: 1,
            ..v1::Settings::default()
        };
        change(&mut of);
        let request = v1::RecordSettingsRequest {
            request_id: ID.to_owned(),
            settings: Some(of.clone()),
        };
        assert_eq!(told(settings(request, usd())), *outcome, "{of:?}");
    }
    let of = v1::Settings {
        site: 7,
        ..v1::Settings::default()
    };
    let request = v1::RecordSettingsRequest {
        request_id: ID.to_owned(),
        settings: Some(of),
    };
    assert_eq!(told(settings(request, None)), "UNKNOWN_ID settings.site");
}

fn a_band(from: &str, to: Option<&str>, price: &str) -> v1::Band {
    v1::Band {
        from: from.to_owned(),
        to: to.map(str::to_owned),
        price: price.to_owned(),
        name: String::new(),
    }
}

fn a_list() -> v1::PriceList {
    v1::PriceList {
        site: 1,
        species: "PZO".to_owned(),
        band_by: v1::BandBy::Piece.into(),
        price_per: v1::WeightUnit::Lb.into(),
        edge_unit: v1::WeightUnit::Lb.into(),
        presentations: vec![v1::PresentationPrices {
            presentation: v1::Presentation::Whole.into(),
            plate_minimum: "0.50".to_owned(),
            grades: vec![v1::GradePrices {
                grade: "A".to_owned(),
                bands: vec![
                    a_band("0", Some("0.50"), "1.25"),
                    a_band("0.50", None, "5.50"),
                ],
                not_counted: None,
            }],
        }],
        ..v1::PriceList::default()
    }
}

fn post(list: v1::PriceList) -> Result<Asked<PriceList>, Bad> {
    price_list(
        v1::PostPriceListRequest {
            request_id: ID.to_owned(),
            price_list: Some(list),
        },
        usd(),
    )
}

#[test]
fn a_price_list_is_read_exactly_or_refused_with_its_field() {
    type Change = fn(&mut v1::PriceList);
    fn first_band(list: &mut v1::PriceList) -> &mut v1::Band {
        &mut list.presentations[0].grades[0].bands[0]
    }
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("INVALID_FIELD price_list.id", |l| {
            l.id = "2031050200010000001".to_owned()
        }),
        ("MISSING_FIELD price_list.band_by", |l| l.band_by = 0),
        ("MISSING_FIELD price_list.price_per", |l| l.price_per = 0),
        ("INVALID_FIELD price_list.price_per", |l| {
            l.price_per = v1::WeightUnit::G.into()
        }),
        ("MISSING_FIELD price_list.edge_unit", |l| l.edge_unit = 0),
        ("taken", |l| l.edge_unit = v1::WeightUnit::Oz.into()),
        ("MISSING_FIELD price_list.presentations", |l| {
            l.presentations.clear()
        }),
        (
            "MISSING_FIELD price_list.presentations[0].plate_minimum",
            |l| {
                l.presentations[0].plate_minimum.clear();
            },
        ),
        ("taken", |l| {
            l.presentations[0].presentation = v1::Presentation::FilletSkinless.into();
            l.presentations[0].plate_minimum.clear();
        }),
        ("MISSING_FIELD price_list.presentations[0].grades", |l| {
            l.presentations[0].grades.clear();
        }),
        (
            "MISSING_FIELD price_list.presentations[0].grades[0].bands",
            |l| {
                l.presentations[0].grades[0].bands.clear();
            },
        ),
        (
            "INVALID_FIELD price_list.presentations[0].grades[0].not_counted",
            |l| {
                l.presentations[0].grades[0].not_counted = Some("free".to_owned());
            },
        ),
        (
            "INVALID_FIELD price_list.presentations[0].grades[0].bands[0].price",
            |l| {
                first_band(l).price = "-1.25".to_owned();
            },
        ),
        (
            "INVALID_FIELD price_list.presentations[0].grades[0].bands[0].price",
            |l| {
                first_band(l).price = "1.00001".to_owned();
            },
        ),
        (
            "INVALID_FIELD price_list.presentations[0].grades[0].bands[0].price",
            |l| {
                first_band(l).price = "100000".to_owned();
            },
        ),
        ("taken", |l| first_band(l).price = "99999".to_owned()),
        (
            "INVALID_FIELD price_list.presentations[0].grades[0].bands[0].to",
            |l| {
                first_band(l).to = Some("0.5 lb".to_owned());
            },
        ),
        (
            "MISSING_FIELD price_list.presentations[0].grades[0].bands[0].from",
            |l| {
                first_band(l).from.clear();
            },
        ),
        (
            "MISSING_FIELD price_list.condition_adjustments[0].condition",
            |l| {
                let per_unit = "-0.75".to_owned();
                l.condition_adjustments = vec![v1::ConditionAdjustment {
                    condition: 0,
                    per_unit,
                }];
            },
        ),
        ("taken", |l| {
            let per_unit = "-0.75".to_owned();
            l.condition_adjustments = vec![v1::ConditionAdjustment {
                condition: 3,
                per_unit,
            }];
        }),
    ];
    for (outcome, change) in cases {
        let mut list = a_list();
        change(&mut list);
        assert_eq!(told(post(list.clone())), *outcome, "{list:?}");
    }
}

#[test]
fn whether_a_list_can_stand_is_left_to_the_rules() {
    let mut gap = a_list();
    gap.presentations[0].grades[0].bands[0].to = Some("0.40".to_owned());
    let list = post(gap).unwrap().what;
    assert!(
        matches!(list.check(), Err(PriceListError::Gap { .. })),
        "{:?}",
        list.check()
    );
    assert_eq!(post(a_list()).unwrap().what.check(), Ok(()));
}

#[test]
fn a_list_without_an_instant_holds_in_a_minute() {
    assert_eq!(
        post(a_list()).unwrap().what.effective_from_us,
        desk::IN_A_MINUTE
    );
    let mut later = a_list();
    later.effective_from = Some(prost_types::Timestamp {
        seconds: 5,
        nanos: 0,
    });
    assert_eq!(post(later).unwrap().what.effective_from_us, 5_000_000);
}

#[test]
fn what_is_on_file_is_answered_as_it_was_written() {
    let list = a_list();
    let read = post(list.clone()).unwrap().what;
    let answered = crate::answer::office::price_list(1, &read);
    let again = post(v1::PriceList {
        id: String::new(),
        effective_from: None,
        ..answered
    });
    assert_eq!(again.unwrap().what, read);
}
