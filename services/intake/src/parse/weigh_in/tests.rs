#![expect(clippy::unwrap_used, reason = "a test may panic")]

use prost_types::Timestamp;
use proto::google::r#type::Date;
use proto::v1;
use proto::v1::{adjustment, payee_share, tote_weighing, weighing};
use rules::money::Currency;
use rules::ticket::{Decision, Pieces, SmallFish, Tare, Weighed};
use rules::weight::ReadingSource;

use super::*;

fn usd() -> Option<Currency> {
    Currency::new("USD")
}

fn lb(decimal: &str) -> v1::Reading {
    v1::Reading {
        decimal: decimal.to_owned(),
        unit: v1::WeightUnit::Lb.into(),
        ..v1::Reading::default()
    }
}

fn date(year: i32, month: i32, day: i32) -> Date {
    Date { year, month, day }
}

/// One tote of lionfish of one grade, nothing left out that must be said.
fn good() -> v1::RecordWeighInRequest {
    v1::RecordWeighInRequest {
        request_id: "0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90".to_owned(),
        site: 1,
        harvester: "diver-1".to_owned(),
        landing: Some(v1::Landing::default()),
        lots: vec![v1::LotIn {
            species: "PZO".to_owned(),
            presentation: v1::Presentation::Whole.into(),
            weighings: vec![v1::Weighing {
                grade: "A".to_owned(),
                condition: v1::Condition::Clean.into(),
                weighed: Some(weighing::Weighed::Tote(v1::ToteWeighing {
                    gross: Some(lb("42.00")),
                    tare: Some(tote_weighing::Tare::TareReading(lb("3.50"))),
                    pieces: Some(40),
                    ..v1::ToteWeighing::default()
                })),
            }],
            ..v1::LotIn::default()
        }],
        confirmation: v1::Confirmation::ByDiver.into(),
        ..v1::RecordWeighInRequest::default()
    }
}

fn first_lot(request: &mut v1::RecordWeighInRequest) -> &mut v1::LotIn {
    &mut request.lots[0]
}

fn seen(request: &mut v1::RecordWeighInRequest) -> &mut v1::Receiving {
    first_lot(request).receiving.get_or_insert_default()
}

fn row(request: &mut v1::RecordWeighInRequest) -> &mut v1::Weighing {
    &mut first_lot(request).weighings[0]
}

fn tote(request: &mut v1::RecordWeighInRequest) -> &mut v1::ToteWeighing {
    match &mut row(request).weighed {
        Some(weighing::Weighed::Tote(tote)) => tote,
        other => panic!("{other:?}"),
    }
}

fn gross(request: &mut v1::RecordWeighInRequest) -> &mut v1::Reading {
    tote(request).gross.get_or_insert_default()
}

fn landing(request: &mut v1::RecordWeighInRequest) -> &mut v1::Landing {
    request.landing.get_or_insert_default()
}

fn one_by_one(request: &mut v1::RecordWeighInRequest, pieces: Vec<v1::Reading>) {
    row(request).weighed = Some(weighing::Weighed::Pieces(v1::PieceWeighing { pieces }));
}

fn share(request: &mut v1::RecordWeighInRequest, share: Option<payee_share::Share>) {
    request.payees = vec![v1::PayeeShare {
        party: "diver-1".to_owned(),
        share,
    }];
}

fn adjust(request: &mut v1::RecordWeighInRequest, amount: Option<adjustment::Amount>) {
    request.adjustments = vec![v1::Adjustment {
        name: "ice".to_owned(),
        kind: v1::AdjustmentKind::Settlement.into(),
        amount,
    }];
}

fn cents(amount_minor: i64, currency: &str) -> v1::Money {
    v1::Money {
        amount_minor,
        currency: currency.to_owned(),
    }
}

fn per_weight(decimal: &str, per: v1::WeightUnit) -> Option<adjustment::Amount> {
    Some(adjustment::Amount::PerWeight(v1::SignedUnitPrice {
        decimal: decimal.to_owned(),
        per: per.into(),
    }))
}

type Change = fn(&mut v1::RecordWeighInRequest);

fn parsed(change: Change) -> Result<Asked<WeighIn>, Bad> {
    let mut request = good();
    change(&mut request);
    weigh_in(request, usd())
}

#[test]
fn what_cannot_be_right_is_refused_with_its_field() {
    const FORTY: &str = "1111111111111111111111111111111111111111";
    let cases: &[(&str, &str, Change)] = &[
        ("request_id", "MISSING_FIELD", |r| r.request_id.clear()),
        ("request_id", "INVALID_FIELD", |r| r.request_id = "7".into()),
        ("request_id", "INVALID_FIELD", |r| {
            r.request_id.insert(0, '{')
        }),
        ("request_id", "INVALID_FIELD", |r| {
            r.request_id = "0".repeat(32)
        }),
        ("request_id", "INVALID_FIELD", |r| {
            r.request_id = "00000000-0000-0000-0000-000000000000".into();
        }),
        ("site", "INVALID_FIELD", |r| r.site = 0),
        ("site", "INVALID_FIELD", |r| r.site = -1),
        ("site", "INVALID_FIELD", |r| r.site = 10_000),
        ("harvester", "MISSING_FIELD", |r| r.harvester.clear()),
        ("harvester", "INVALID_FIELD", |r| {
            r.harvester = " diver-1".into()
        }),
        ("harvester", "INVALID_FIELD", |r| {
            r.harvester = "Diver".into()
        }),
        ("harvester", "INVALID_FIELD", |r| {
            r.harvester = "d".repeat(25)
        }),
        ("confirmation", "MISSING_FIELD", |r| r.confirmation = 0),
        ("confirmation", "INVALID_FIELD", |r| r.confirmation = 3),
        ("confirmation", "INVALID_FIELD", |r| r.confirmation = -1),
        ("device", "INVALID_FIELD", |r| r.device = "-".into()),
        ("note", "INVALID_FIELD", |r| r.note = "n".repeat(201)),
        ("note", "INVALID_FIELD", |r| r.note = "two\nlines".into()),
        ("sent_at", "MISSING_FIELD", |r| {
            r.first_reading_at = Some(Timestamp::default())
        }),
        ("first_reading_at", "MISSING_FIELD", |r| {
            r.sent_at = Some(Timestamp::default())
        }),
        ("sent_at.nanos", "INVALID_FIELD", |r| {
            r.sent_at = Some(Timestamp {
                seconds: 0,
                nanos: -1,
            });
        }),
        ("sent_at.nanos", "INVALID_FIELD", |r| {
            r.sent_at = Some(Timestamp {
                seconds: 0,
                nanos: 1_000_000_000,
            });
        }),
        ("sent_at.seconds", "INVALID_FIELD", |r| {
            r.sent_at = Some(Timestamp {
                seconds: -1,
                nanos: 0,
            });
        }),
        ("sent_at.seconds", "INVALID_FIELD", |r| {
            r.sent_at = Some(Timestamp {
                seconds: 253_402_300_800,
                nanos: 0,
            });
        }),
        ("offline.payout_shown", "MISSING_FIELD", |r| {
            r.offline = Some(v1::Offline::default())
        }),
        ("offline.payout_shown.amount_minor", "INVALID_FIELD", |r| {
            r.offline = Some(v1::Offline {
                payout_shown: Some(cents(-1, "USD")),
            });
        }),
        ("offline.payout_shown.amount_minor", "INVALID_FIELD", |r| {
            r.offline = Some(v1::Offline {
                payout_shown: Some(cents(i64::MIN, "USD")),
            });
        }),
        ("offline.payout_shown.currency", "MISSING_FIELD", |r| {
            r.offline = Some(v1::Offline {
                payout_shown: Some(cents(1, "")),
            });
        }),
        ("offline.payout_shown.currency", "INVALID_FIELD", |r| {
            r.offline = Some(v1::Offline {
                payout_shown: Some(cents(1, "usd")),
            });
        }),
        // The yen is not counted in hundredths: ISO 4217 (from memory).
        ("offline.payout_shown.currency", "INVALID_FIELD", |r| {
            r.offline = Some(v1::Offline {
                payout_shown: Some(cents(1, "JPY")),
            });
        }),
        ("offline.payout_shown.currency", "INVALID_FIELD", |r| {
            r.offline = Some(v1::Offline {
                payout_shown: Some(cents(1, "EUR")),
            });
        }),
        ("rewrites.ticket", "MISSING_FIELD", |r| {
            r.rewrites = Some(v1::Rewrite::default())
        }),
        ("rewrites.ticket", "INVALID_FIELD", |r| {
            r.rewrites = Some(v1::Rewrite {
                ticket: "12".into(),
                reason: "typed twice".into(),
            });
        }),
        ("rewrites.reason", "MISSING_FIELD", |r| {
            let ticket = "2031050200010000001".into();
            r.rewrites = Some(v1::Rewrite {
                ticket,
                reason: " ".into(),
            });
        }),
        ("payees[0]", "MISSING_FIELD", |r| share(r, None)),
        ("payees[0].percent", "INVALID_FIELD", |r| {
            share(r, Some(payee_share::Share::Percent("-1".into())));
        }),
        ("payees[0].percent", "INVALID_FIELD", |r| {
            share(r, Some(payee_share::Share::Percent("100.0001".into())));
        }),
        ("payees[0].fixed.amount_minor", "INVALID_FIELD", |r| {
            share(r, Some(payee_share::Share::Fixed(cents(-1, "USD"))));
        }),
        ("adjustments[0]", "MISSING_FIELD", |r| adjust(r, None)),
        ("adjustments[0].per_weight.decimal", "INVALID_FIELD", |r| {
            adjust(r, per_weight("0.00001", v1::WeightUnit::Lb));
        }),
        ("adjustments[0].per_weight.per", "INVALID_FIELD", |r| {
            adjust(r, per_weight("0.10", v1::WeightUnit::Oz));
        }),
        ("adjustments[0].per_weight.per", "MISSING_FIELD", |r| {
            adjust(r, per_weight("0.10", v1::WeightUnit::Unspecified));
        }),
        ("adjustments[0].percent", "INVALID_FIELD", |r| {
            adjust(r, Some(adjustment::Amount::Percent("-100.0001".into())));
        }),
        ("adjustments[0].flat.amount_minor", "INVALID_FIELD", |r| {
            adjust(
                r,
                Some(adjustment::Amount::Flat(cents(1_000_000_000_001, "USD"))),
            );
        }),
        ("landing.dives", "INVALID_FIELD", |r| {
            landing(r).dives = Some(-1)
        }),
        ("landing.vessel_use", "INVALID_FIELD", |r| {
            landing(r).vessel_use = 4
        }),
        ("landing.gear", "INVALID_FIELD", |r| {
            landing(r).gear = "10.8 ".into()
        }),
        ("landing.areas[0].system", "MISSING_FIELD", |r| {
            landing(r).areas = vec![v1::CatchArea::default()];
        }),
        ("landing.landed_on", "INVALID_FIELD", |r| {
            landing(r).landed_on = Some(date(2031, 2, 29))
        }),
        ("landing.landed_on.month", "INVALID_FIELD", |r| {
            landing(r).landed_on = Some(date(2031, 13, 1));
        }),
        ("landing.landed_on.day", "INVALID_FIELD", |r| {
            landing(r).landed_on = Some(date(2031, 1, 0));
        }),
        ("landing.landed_on.year", "INVALID_FIELD", |r| {
            landing(r).landed_on = Some(date(0, 1, 1))
        }),
        ("landing.harvest_to", "INVALID_FIELD", |r| {
            landing(r).harvest_from = Some(date(2031, 5, 2));
            landing(r).harvest_to = Some(date(2031, 5, 1));
        }),
        ("lots", "MISSING_FIELD", |r| r.lots.clear()),
        ("lots", "INVALID_FIELD", |r| {
            r.lots = vec![good().lots.remove(0); 36]
        }),
        ("lots[1].species", "MISSING_FIELD", |r| {
            r.lots.push(good().lots.remove(0));
            r.lots[1].species.clear();
        }),
        ("lots[0].species", "INVALID_FIELD", |r| {
            first_lot(r).species = "pzo".into()
        }),
        ("lots[0].species", "INVALID_FIELD", |r| {
            first_lot(r).species = "PZOX".into()
        }),
        ("lots[0].presentation", "MISSING_FIELD", |r| {
            first_lot(r).presentation = 0
        }),
        ("lots[0].presentation", "INVALID_FIELD", |r| {
            first_lot(r).presentation = 11
        }),
        ("lots[0].storage", "INVALID_FIELD", |r| {
            first_lot(r).storage = 5
        }),
        ("lots[0].small_fish", "INVALID_FIELD", |r| {
            first_lot(r).small_fish = 4
        }),
        ("lots[0].harvest_to", "INVALID_FIELD", |r| {
            first_lot(r).harvest_from = Some(date(2031, 5, 2));
            first_lot(r).harvest_to = Some(date(2031, 5, 1));
        }),
        ("lots[0].receiving.decision", "INVALID_FIELD", |r| {
            seen(r).decision = 4
        }),
        ("lots[0].receiving.reason", "MISSING_FIELD", |r| {
            seen(r).decision = v1::Decision::Hold.into();
        }),
        ("lots[0].receiving.reason", "MISSING_FIELD", |r| {
            seen(r).decision = v1::Decision::Refuse.into();
            seen(r).corrective_action = "sent home".into();
        }),
        (
            "lots[0].receiving.corrective_action",
            "MISSING_FIELD",
            |r| {
                seen(r).decision = v1::Decision::Refuse.into();
                seen(r).reason = "warm".into();
            },
        ),
        (
            "lots[0].receiving.probes[0].decimal",
            "INVALID_FIELD",
            |r| {
                let unit = v1::TemperatureUnit::Fahrenheit.into();
                seen(r).probes = vec![v1::Temperature {
                    decimal: "cold".into(),
                    unit,
                }];
            },
        ),
        (
            "lots[0].receiving.smallest_length.decimal",
            "INVALID_FIELD",
            |r| {
                seen(r).smallest_length = Some(v1::Length {
                    decimal: "long".to_owned(),
                    unit: v1::LengthUnit::In.into(),
                });
            },
        ),
        (
            "lots[0].receiving.smallest_length.unit",
            "MISSING_FIELD",
            |r| {
                seen(r).smallest_length = Some(v1::Length {
                    decimal: "12.25".to_owned(),
                    unit: 0,
                });
            },
        ),
        ("lots[0].receiving.hold_cause", "INVALID_FIELD", |r| {
            seen(r).hold_cause = v1::HoldCause::Cold.into();
        }),
        ("lots[0].receiving.probes[0].unit", "MISSING_FIELD", |r| {
            seen(r).probes = vec![v1::Temperature {
                decimal: "38.5".into(),
                unit: 0,
            }];
        }),
        ("lots[0].weighings", "MISSING_FIELD", |r| {
            first_lot(r).weighings.clear()
        }),
        ("lots[0].weighings", "INVALID_FIELD", |r| {
            let row = row(r).clone();
            first_lot(r).weighings = vec![row; 201];
        }),
        ("lots[0].weighings[0].grade", "MISSING_FIELD", |r| {
            row(r).grade.clear()
        }),
        ("lots[0].weighings[0].grade", "INVALID_FIELD", |r| {
            row(r).grade = "a".into()
        }),
        ("lots[0].weighings[0].grade", "INVALID_FIELD", |r| {
            row(r).grade = "ABCDEFGHI".into()
        }),
        ("lots[0].weighings[0].condition", "MISSING_FIELD", |r| {
            row(r).condition = 0
        }),
        ("lots[0].weighings[0].condition", "INVALID_FIELD", |r| {
            row(r).condition = 4
        }),
        ("lots[0].weighings[0]", "MISSING_FIELD", |r| {
            row(r).weighed = None
        }),
        ("lots[0].weighings[0].tote.gross", "MISSING_FIELD", |r| {
            tote(r).gross = None
        }),
        ("lots[0].weighings[0].tote", "MISSING_FIELD", |r| {
            tote(r).tare = None
        }),
        ("lots[0].weighings[0].tote.tared", "INVALID_FIELD", |r| {
            tote(r).tare = Some(tote_weighing::Tare::Tared(false));
        }),
        ("lots[0].weighings[0].tote.tote", "MISSING_FIELD", |r| {
            tote(r).tare = Some(tote_weighing::Tare::Tote(String::new()));
        }),
        (
            "lots[0].weighings[0].tote.tare_reading.decimal",
            "INVALID_FIELD",
            |r| {
                tote(r).tare = Some(tote_weighing::Tare::TareReading(lb("-3.5")));
            },
        ),
        ("lots[0].weighings[0].tote.pieces", "INVALID_FIELD", |r| {
            tote(r).pieces = Some(0)
        }),
        ("lots[0].weighings[0].tote.pieces", "INVALID_FIELD", |r| {
            tote(r).pieces = Some(-1)
        }),
        ("lots[0].weighings[0].tote.pieces", "INVALID_FIELD", |r| {
            tote(r).pieces = Some(100_001)
        }),
        ("lots[0].weighings[0].tote.pieces", "MISSING_FIELD", |r| {
            tote(r).pieces = None;
            tote(r).pieces_estimated = true;
        }),
        ("lots[0].weighings[0].pieces.pieces", "MISSING_FIELD", |r| {
            one_by_one(r, vec![])
        }),
        ("lots[0].weighings[0].pieces.pieces", "INVALID_FIELD", |r| {
            one_by_one(r, vec![lb("1"); 501]);
        }),
        (
            "lots[0].weighings[0].pieces.pieces[1].decimal",
            "INVALID_FIELD",
            |r| {
                one_by_one(r, vec![lb("1"), lb("0.00")]);
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.unit",
            "MISSING_FIELD",
            |r| gross(r).unit = 0,
        ),
        (
            "lots[0].weighings[0].tote.gross.unit",
            "INVALID_FIELD",
            |r| gross(r).unit = 5,
        ),
        (
            "lots[0].weighings[0].tote.gross.source",
            "INVALID_FIELD",
            |r| gross(r).source = 3,
        ),
        (
            "lots[0].weighings[0].tote.gross.scale",
            "INVALID_FIELD",
            |r| {
                gross(r).scale = "Scale 1".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "MISSING_FIELD",
            |r| {
                gross(r).decimal.clear();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = "0".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = "-42".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = "NaN".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = "inf".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = "4e1".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = "42,00".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = "42.0001".into();
            },
        ),
        (
            "lots[0].weighings[0].tote.gross.decimal",
            "INVALID_FIELD",
            |r| {
                gross(r).decimal = FORTY.into();
            },
        ),
    ];
    for (i, (field, reason, change)) in cases.iter().enumerate() {
        let bad = parsed(*change).expect_err(field);
        assert_eq!(
            (bad.field.as_str(), bad.reason),
            (*field, *reason),
            "case {i}: {}",
            bad.rule
        );
        assert!(
            bad.rule.chars().count() < 300,
            "an error stays small: {}",
            bad.rule
        );
    }
}

#[test]
fn what_may_be_left_out_or_stands_at_its_limit_is_taken() {
    let cases: &[Change] = &[
        |_| {},
        |r| r.landing = None,
        |r| r.site = 9999,
        |r| r.note = "\u{e9}".repeat(200),
        |r| r.lots = vec![good().lots.remove(0); 35],
        |r| tote(r).pieces = None,
        |r| tote(r).pieces = Some(100_000),
        |r| gross(r).decimal = "0.001".into(),
        |r| one_by_one(r, vec![lb("1"); 500]),
        |r| landing(r).landed_on = Some(date(2032, 2, 29)),
        |r| adjust(r, per_weight("-0.75", v1::WeightUnit::Kg)),
        |r| adjust(r, Some(adjustment::Amount::Flat(cents(-4000, "USD")))),
        |r| share(r, Some(payee_share::Share::Percent("100".into()))),
        // Fillet was never shot: it has no condition.
        |r| {
            first_lot(r).presentation = v1::Presentation::FilletSkinless.into();
            row(r).condition = 0;
        },
    ];
    for (i, change) in cases.iter().enumerate() {
        assert!(parsed(*change).is_ok(), "case {i}: {:?}", parsed(*change));
    }
}

#[test]
fn what_is_left_out_has_its_meaning() {
    let asked = parsed(|r| r.request_id = r.request_id.to_uppercase()).unwrap();
    assert_eq!(
        asked.request_id,
        good().request_id,
        "an id is kept in lower case"
    );
    let lot = &asked.what.lots[0];
    assert_eq!(lot.receiving.decision, Decision::Accept);
    assert_eq!(lot.small_fish, SmallFish::Sell);
    let Weighed::Tote { gross, pieces, .. } = &lot.weighings[0].weighed else {
        panic!()
    };
    assert_eq!(gross.source, ReadingSource::Keyed);
    assert_eq!(gross.text, "42.00", "a reading is kept as it was typed");
    assert_eq!(*pieces, Pieces::Counted(40));

    let asked = parsed(|r| {
        tote(r).pieces = None;
        tote(r).tare = Some(tote_weighing::Tare::Tote("grey-1".into()));
        // Finer than a microsecond is cut off.
        r.first_reading_at = Some(Timestamp {
            seconds: 1,
            nanos: 1_999,
        });
        r.sent_at = Some(Timestamp {
            seconds: 2,
            nanos: 999_999_999,
        });
    })
    .unwrap();
    assert_eq!(asked.what.first_reading_us, Some(1_000_001));
    assert_eq!(asked.what.sent_us, Some(2_999_999));
    let Weighed::Tote { tare, pieces, .. } = &asked.what.lots[0].weighings[0].weighed else {
        panic!()
    };
    assert_eq!(
        *tare,
        Tare::Tote {
            code: "grey-1".to_owned(),
            posted: None
        }
    );
    assert_eq!(*pieces, Pieces::NotCounted, "not counted is not zero");
}

#[test]
fn a_site_that_is_not_on_file_is_said_by_its_field() {
    let bad = weigh_in(good(), None).unwrap_err();
    assert_eq!((bad.field.as_str(), bad.reason), ("site", "UNKNOWN_ID"));
}

#[test]
fn voiding_names_a_ticket_and_a_reason() {
    let request = v1::VoidTicketRequest {
        request_id: good().request_id,
        ticket: "2031050200010000001".to_owned(),
        reason: "weighed twice".to_owned(),
    };
    let asked = void_ticket(request.clone()).unwrap();
    assert_eq!(asked.what.ticket, 2_031_050_200_010_000_001);
    for (ticket, reason, field) in [
        ("", "weighed twice", "ticket"),
        ("2031050200010000000", "weighed twice", "ticket"),
        ("2031130200010000001", "weighed twice", "ticket"),
        ("9999999999999999999", "weighed twice", "ticket"),
        ("2031050200010000001", "", "reason"),
    ] {
        let (ticket, reason) = (ticket.to_owned(), reason.to_owned());
        let bad = void_ticket(v1::VoidTicketRequest {
            ticket,
            reason,
            ..request.clone()
        });
        assert_eq!(bad.unwrap_err().field, field);
    }
}
