use proto::google::r#type::Date;

use super::*;

type Change = fn(&mut v1::Settings);

fn fahrenheit(decimal: &str) -> Option<v1::Temperature> {
    Some(v1::Temperature {
        decimal: decimal.to_owned(),
        unit: v1::TemperatureUnit::Fahrenheit.into(),
    })
}

fn lb(decimal: &str) -> v1::Reading {
    v1::Reading {
        decimal: decimal.to_owned(),
        unit: v1::WeightUnit::Lb.into(),
        ..v1::Reading::default()
    }
}

fn day(day: i32) -> Option<Date> {
    Some(Date {
        year: 2031,
        month: 5,
        day,
    })
}

fn table(rows: &[(i32, &str)]) -> Vec<v1::HistamineLimit> {
    rows.iter()
        .map(|(hours_at_most, decimal)| v1::HistamineLimit {
            hours_at_most: *hours_at_most,
            temperature_at_most: fahrenheit(decimal),
        })
        .collect()
}

fn shoal() -> v1::AreaOfConcern {
    v1::AreaOfConcern {
        system: "site".to_owned(),
        code: "Far Shoal".to_owned(),
        ..v1::AreaOfConcern::default()
    }
}

fn legal(limit: Option<legal_limit::Limit>) -> v1::LegalLimit {
    v1::LegalLimit {
        species: "GPR".to_owned(),
        limit,
        ..v1::LegalLimit::default()
    }
}

fn inches(decimal: &str) -> Option<legal_limit::Limit> {
    Some(legal_limit::Limit::MinimumLength(v1::Length {
        decimal: decimal.to_owned(),
        unit: v1::LengthUnit::In.into(),
    }))
}

#[test]
fn what_receiving_goes_by_is_taken_whole_or_refused_by_field() {
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("taken", |s| s.cold_limit = fahrenheit("41")),
        ("INVALID_FIELD cold_limit.decimal", |s| {
            s.cold_limit = fahrenheit("warm")
        }),
        ("MISSING_FIELD cold_limit.unit", |s| {
            s.cold_limit = Some(v1::Temperature {
                decimal: "41".to_owned(),
                unit: 0,
            });
        }),
        ("taken", |s| s.hours_to_cool = Some(1)),
        ("INVALID_FIELD hours_to_cool", |s| s.hours_to_cool = Some(0)),
        ("INVALID_FIELD hours_to_cool", |s| {
            s.hours_to_cool = Some(241)
        }),
        ("taken", |s| s.probes = Some(1)),
        ("INVALID_FIELD probes", |s| s.probes = Some(0)),
        ("INVALID_FIELD probes_heavy", |s| s.probes_heavy = Some(51)),
        ("INVALID_FIELD heavy_lot.decimal", |s| {
            s.heavy_lot = Some(lb("0"))
        }),
        ("taken", |s| {
            s.histamine_limits = table(&[(6, "60"), (9, "50")])
        }),
        ("INVALID_FIELD histamine_limits[1].hours_at_most", |s| {
            s.histamine_limits = table(&[(6, "60"), (6, "50")]);
        }),
        ("INVALID_FIELD histamine_limits[0].hours_at_most", |s| {
            s.histamine_limits = table(&[(0, "60")]);
        }),
        (
            "MISSING_FIELD histamine_limits[0].temperature_at_most",
            |s| {
                s.histamine_limits = table(&[(6, "60")]);
                s.histamine_limits[0].temperature_at_most = None;
            },
        ),
        ("taken", |s| s.areas_of_concern = vec![shoal()]),
        ("MISSING_FIELD areas_of_concern[0].code", |s| {
            s.areas_of_concern = vec![v1::AreaOfConcern {
                code: " ".to_owned(),
                ..shoal()
            }];
        }),
        ("INVALID_FIELD areas_of_concern[0].species[0]", |s| {
            s.areas_of_concern = vec![v1::AreaOfConcern {
                species: vec!["grouper".to_owned()],
                ..shoal()
            }];
        }),
        (
            "INVALID_FIELD areas_of_concern[0].piece_weight_above.decimal",
            |s| {
                s.areas_of_concern = vec![v1::AreaOfConcern {
                    piece_weight_above: Some(lb("0")),
                    ..shoal()
                }];
            },
        ),
        ("INVALID_FIELD areas_of_concern[0].to", |s| {
            s.areas_of_concern = vec![v1::AreaOfConcern {
                from: day(2),
                to: day(2),
                ..shoal()
            }];
        }),
        ("taken", |s| s.legal_limits = vec![legal(inches("20.25"))]),
        ("MISSING_FIELD legal_limits[0]", |s| {
            s.legal_limits = vec![legal(None)]
        }),
        (
            "INVALID_FIELD legal_limits[0].minimum_length.decimal",
            |s| s.legal_limits = vec![legal(inches("0"))],
        ),
        (
            "INVALID_FIELD legal_limits[0].minimum_length.decimal",
            |s| s.legal_limits = vec![legal(inches("20.0001"))],
        ),
        ("INVALID_FIELD legal_limits[0].closed", |s| {
            s.legal_limits = vec![legal(Some(legal_limit::Limit::Closed(false)))];
        }),
        ("INVALID_FIELD legal_limits[0].trip_pieces", |s| {
            s.legal_limits = vec![legal(Some(legal_limit::Limit::TripPieces(-1)))];
        }),
        ("INVALID_FIELD legal_limits[0].trip_weight.decimal", |s| {
            s.legal_limits = vec![legal(Some(legal_limit::Limit::TripWeight(lb("0"))))];
        }),
        ("MISSING_FIELD release_reasons[0]", |s| {
            s.release_reasons = vec![String::new()]
        }),
    ];
    for (outcome, change) in cases {
        let mut of = v1::Settings::default();
        change(&mut of);
        let told = match settings(&of) {
            Ok(_) => "taken".to_owned(),
            Err(bad) => format!("{} {}", bad.reason, bad.field),
        };
        assert_eq!(told, *outcome, "{of:?}");
    }
}
