use proto::google::r#type::Date;
use proto::v1;
use rules::money::Currency;

use super::*;

const ID: &str = "0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90";
const LOT: &str = "20310502000100000011";
const ENTRY: &str = "2031050200010000001";

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

fn whole_lot() -> Option<v1::PartRef> {
    Some(v1::PartRef {
        lot_code: LOT.to_owned(),
        part: None,
    })
}

/// Field and reason of what is refused, or "taken".
fn told<T>(result: Result<Asked<T>, Bad>) -> String {
    match result {
        Ok(asked) => {
            assert_eq!(asked.request_id, ID);
            "taken".to_owned()
        }
        Err(bad) => format!("{} {}", bad.reason, bad.field),
    }
}

fn a_hold() -> v1::HoldPartRequest {
    v1::HoldPartRequest {
        request_id: ID.to_owned(),
        part: whole_lot(),
        weight: None,
        reason: "warm".to_owned(),
        cause: v1::HoldCause::Area.into(),
        happened_at: None,
    }
}

#[test]
fn a_hold_names_a_part_and_says_why() {
    type Change = fn(&mut v1::HoldPartRequest);
    let part = |part| {
        Some(v1::PartRef {
            lot_code: LOT.to_owned(),
            part: Some(part),
        })
    };
    assert_eq!(
        told(hold(v1::HoldPartRequest {
            part: part(1),
            ..a_hold()
        })),
        "taken"
    );
    assert_eq!(
        told(hold(v1::HoldPartRequest {
            part: part(0),
            ..a_hold()
        })),
        "INVALID_FIELD part.part"
    );
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("taken", |r| r.weight = lb("0.01")),
        ("MISSING_FIELD request_id", |r| r.request_id.clear()),
        ("MISSING_FIELD part", |r| r.part = None),
        ("MISSING_FIELD part.lot_code", |r| {
            r.part = Some(v1::PartRef::default())
        }),
        ("INVALID_FIELD part.lot_code", |r| {
            r.part = Some(v1::PartRef {
                lot_code: LOT[..19].to_owned(),
                part: None,
            });
        }),
        ("INVALID_FIELD weight.decimal", |r| r.weight = lb("0")),
        ("MISSING_FIELD weight.decimal", |r| r.weight = lb("")),
        ("MISSING_FIELD reason", |r| r.reason.clear()),
        ("INVALID_FIELD happened_at.nanos", |r| {
            r.happened_at = Some(prost_types::Timestamp {
                seconds: 0,
                nanos: -1,
            });
        }),
    ];
    for (outcome, change) in cases {
        let mut request = a_hold();
        change(&mut request);
        assert_eq!(told(hold(request.clone())), *outcome, "{request:?}");
    }
}

#[test]
fn a_release_names_a_hold_of_either_kind() {
    for (hold_id, outcome) in [
        (ENTRY.to_owned(), "taken"),
        (format!("{ENTRY}-1"), "taken"),
        (format!("{ENTRY}-12"), "taken"),
        (String::new(), "MISSING_FIELD hold_id"),
        (format!("{ENTRY}-0"), "INVALID_FIELD hold_id"),
        (format!("{ENTRY}-01"), "INVALID_FIELD hold_id"),
        (format!("{ENTRY}-"), "INVALID_FIELD hold_id"),
        (format!("{ENTRY}-1-1"), "INVALID_FIELD hold_id"),
        (format!("-{ENTRY}"), "INVALID_FIELD hold_id"),
        (LOT.to_owned(), "INVALID_FIELD hold_id"),
    ] {
        let request = v1::ReleaseHoldRequest {
            request_id: ID.to_owned(),
            hold_id: hold_id.clone(),
            reason: "cooled".to_owned(),
            happened_at: None,
        };
        assert_eq!(told(release(request)), outcome, "{hold_id}");
    }
}

#[test]
fn a_regrade_changes_something() {
    for (grade, condition, outcome) in [
        ("B", 0, "taken"),
        ("", 2, "taken"),
        ("B", 3, "taken"),
        ("", 0, "MISSING_FIELD grade"),
        ("b", 0, "INVALID_FIELD grade"),
        ("B", 4, "INVALID_FIELD condition"),
    ] {
        let request = v1::RegradePartRequest {
            request_id: ID.to_owned(),
            part: whole_lot(),
            grade: grade.to_owned(),
            condition,
            reason: "soft".to_owned(),
            ..v1::RegradePartRequest::default()
        };
        assert_eq!(told(regrade(request)), outcome, "{grade} {condition}");
    }
}

fn a_movement() -> v1::RecordMovementRequest {
    v1::RecordMovementRequest {
        request_id: ID.to_owned(),
        site: 1,
        outlet: v1::Outlet::SoldWhole.into(),
        taken: vec![v1::Taken {
            part: whole_lot(),
            weight: lb("5"),
            emptied: false,
        }],
        counterparty: "kitchen-1".to_owned(),
        ..v1::RecordMovementRequest::default()
    }
}

#[test]
fn a_movement_says_where_to_and_to_whom() {
    type Change = fn(&mut v1::RecordMovementRequest);
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("INVALID_FIELD site", |r| r.site = 0),
        ("MISSING_FIELD outlet", |r| r.outlet = 0),
        ("INVALID_FIELD outlet", |r| r.outlet = 9),
        ("MISSING_FIELD taken", |r| r.taken.clear()),
        ("INVALID_FIELD taken", |r| {
            r.taken = vec![r.taken[0].clone(); 201]
        }),
        ("MISSING_FIELD taken[0].part", |r| r.taken[0].part = None),
        ("MISSING_FIELD taken[0].weight", |r| {
            r.taken[0].weight = None
        }),
        ("INVALID_FIELD taken[0].weight.decimal", |r| {
            r.taken[0].weight = lb("-1")
        }),
        // Where somebody receives it, they are named; elsewhere they may be.
        ("MISSING_FIELD counterparty", |r| r.counterparty.clear()),
        ("MISSING_FIELD counterparty", |r| {
            r.outlet = v1::Outlet::Soup.into();
            r.counterparty.clear();
        }),
        ("MISSING_FIELD counterparty", |r| {
            r.outlet = v1::Outlet::Donation.into();
            r.counterparty.clear();
        }),
        ("MISSING_FIELD counterparty", |r| {
            r.outlet = v1::Outlet::Gift.into();
            r.counterparty.clear();
        }),
        ("taken", |r| {
            r.outlet = v1::Outlet::CrewUse.into();
            r.counterparty.clear();
        }),
        ("MISSING_FIELD reason", |r| {
            r.outlet = v1::Outlet::Discard.into()
        }),
        ("taken", |r| {
            r.outlet = v1::Outlet::Discard.into();
            r.reason = "spoiled".to_owned();
        }),
        ("MISSING_FIELD temperature.unit", |r| {
            r.temperature = Some(v1::Temperature {
                decimal: "38".to_owned(),
                unit: 0,
            });
        }),
        ("INVALID_FIELD price.decimal", |r| {
            r.price = price("-5", "USD", v1::WeightUnit::Lb)
        }),
        ("INVALID_FIELD price.currency", |r| {
            r.price = price("5", "EUR", v1::WeightUnit::Lb)
        }),
        ("INVALID_FIELD price.per", |r| {
            r.price = price("5", "USD", v1::WeightUnit::G)
        }),
        ("taken", |r| {
            r.price = price("5.2500", "USD", v1::WeightUnit::Kg)
        }),
    ];
    for (outcome, change) in cases {
        let mut request = a_movement();
        change(&mut request);
        assert_eq!(
            told(movement(request.clone(), usd())),
            *outcome,
            "{request:?}"
        );
    }
    assert_eq!(told(movement(a_movement(), None)), "UNKNOWN_ID site");
}

fn price(decimal: &str, currency: &str, per: v1::WeightUnit) -> Option<v1::UnitPrice> {
    Some(v1::UnitPrice {
        decimal: decimal.to_owned(),
        currency: currency.to_owned(),
        per: per.into(),
    })
}

#[test]
fn what_a_customer_brings_back_names_its_movement() {
    let good = v1::RecordReturnRequest {
        request_id: ID.to_owned(),
        movement: ENTRY.to_owned(),
        part: whole_lot(),
        weight: lb("2"),
        reason: "too many".to_owned(),
        ..v1::RecordReturnRequest::default()
    };
    type Change = fn(&mut v1::RecordReturnRequest);
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("MISSING_FIELD movement", |r| r.movement.clear()),
        ("INVALID_FIELD movement", |r| r.movement = LOT.to_owned()),
        ("MISSING_FIELD weight", |r| r.weight = None),
        ("MISSING_FIELD reason", |r| r.reason.clear()),
    ];
    for (outcome, change) in cases {
        let mut request = good.clone();
        change(&mut request);
        assert_eq!(
            told(customer_return(request.clone())),
            *outcome,
            "{request:?}"
        );
    }
}

fn a_making() -> v1::RecordMakingRequest {
    v1::RecordMakingRequest {
        request_id: ID.to_owned(),
        site: 1,
        kind: v1::MakingKind::Cut.into(),
        inputs: vec![v1::MakingInput {
            source: whole_lot().map(making_input::Source::Part),
            weight: lb("10"),
            emptied: false,
        }],
        outputs: vec![v1::MakingOutput {
            presentation: v1::Presentation::FilletSkinless.into(),
            fate: v1::OutputFate::Lot.into(),
            weight: lb("3.5"),
            ..v1::MakingOutput::default()
        }],
        specification: "skinless-pinbone-out".to_owned(),
        cutter: "cutter-1".to_owned(),
        minutes: "22.5".to_owned(),
        ..v1::RecordMakingRequest::default()
    }
}

#[test]
fn a_making_weighs_what_it_takes_and_gives() {
    type Change = fn(&mut v1::RecordMakingRequest);
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("MISSING_FIELD kind", |r| r.kind = 0),
        ("INVALID_FIELD kind", |r| r.kind = 6),
        ("MISSING_FIELD inputs", |r| r.inputs.clear()),
        ("MISSING_FIELD outputs", |r| r.outputs.clear()),
        ("INVALID_FIELD outputs", |r| {
            r.outputs = vec![r.outputs[0].clone(); 36]
        }),
        ("MISSING_FIELD inputs[0]", |r| r.inputs[0].source = None),
        ("INVALID_FIELD inputs[0].dispatch", |r| {
            r.inputs[0].source = Some(making_input::Source::Dispatch("1".to_owned()));
        }),
        ("MISSING_FIELD inputs[0].weight", |r| {
            r.inputs[0].weight = None
        }),
        ("MISSING_FIELD outputs[0].weight", |r| {
            r.outputs[0].weight = None
        }),
        ("taken", |r| {
            r.kind = v1::MakingKind::Pool.into();
            r.inputs[0].weight = None;
            r.outputs[0].weight = None;
        }),
        ("MISSING_FIELD outputs[0].fate", |r| r.outputs[0].fate = 0),
        ("INVALID_FIELD outputs[0].fate", |r| r.outputs[0].fate = 4),
        ("MISSING_FIELD outputs[0].presentation", |r| {
            r.outputs[0].presentation = 0
        }),
        ("MISSING_FIELD outputs[0].reason", |r| {
            r.outputs[0].fate = v1::OutputFate::Discard.into();
        }),
        ("INVALID_FIELD outputs[0].weight", |r| {
            r.outputs[0].fate = v1::OutputFate::NotWeighed.into();
        }),
        ("taken", |r| {
            r.outputs[0].fate = v1::OutputFate::NotWeighed.into();
            r.outputs[0].weight = None;
        }),
        ("INVALID_FIELD outputs[0].storage", |r| {
            r.outputs[0].storage = -1
        }),
        ("INVALID_FIELD minutes", |r| r.minutes = "-1".to_owned()),
        ("INVALID_FIELD minutes", |r| {
            r.minutes = "half an hour".to_owned()
        }),
        ("INVALID_FIELD cutter", |r| r.cutter = "Cutter".to_owned()),
    ];
    for (outcome, change) in cases {
        let mut request = a_making();
        change(&mut request);
        assert_eq!(told(making(request.clone())), *outcome, "{request:?}");
    }
}

#[test]
fn a_count_counts_something_and_may_find_nothing() {
    let good = v1::RecordCountRequest {
        request_id: ID.to_owned(),
        site: 1,
        closes: Some(Date {
            year: 2031,
            month: 5,
            day: 2,
        }),
        counted: vec![v1::Counted {
            part: whole_lot(),
            weight: lb("0"),
        }],
        pool: None,
        happened_at: None,
    };
    type Change = fn(&mut v1::RecordCountRequest);
    let cases: &[(&str, Change)] = &[
        ("taken", |_| {}),
        ("MISSING_FIELD closes", |r| r.closes = None),
        ("INVALID_FIELD closes", |r| {
            r.closes = Some(Date {
                year: 2031,
                month: 4,
                day: 31,
            })
        }),
        ("MISSING_FIELD counted", |r| r.counted.clear()),
        ("MISSING_FIELD counted[0].weight", |r| {
            r.counted[0].weight = None
        }),
        ("MISSING_FIELD pool.parts", |r| {
            r.pool = Some(v1::PoolCount::default())
        }),
        ("taken", |r| {
            r.counted.clear();
            let parts = whole_lot().into_iter().collect();
            r.pool = Some(v1::PoolCount {
                parts,
                weight: lb("3"),
                ..v1::PoolCount::default()
            });
        }),
    ];
    for (outcome, change) in cases {
        let mut request = good.clone();
        change(&mut request);
        assert_eq!(told(stock_count(request.clone())), *outcome, "{request:?}");
    }
}
