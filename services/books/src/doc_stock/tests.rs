//! Deeds about stock read back as they were written.

use rules::fish::{Condition, Outlet, Presentation, Storage};
use rules::ids::{LotCode, PartId};
use rules::receiving::HoldCause;
use rules::ticket::{Notice, NoticeKind, Temperature, TemperatureUnit};
use rules::weight::Weight;

use super::*;
use crate::doc::tests::{TEXT, grade, lb, per_lb, reads_back, usd, words};
use crate::doc::{BadDoc, Doc, Value};

fn lot(place: i64) -> LotCode {
    LotCode::new(2_031_050_200_010_000_001, place).unwrap()
}

fn part(n: i64) -> PartId {
    PartId { lot: lot(35), n }
}

fn named(part: Option<i64>) -> PartRef {
    PartRef { lot: lot(1), part }
}

const LEAST: Weight = Weight::from_units(i64::MIN);
const MOST: Weight = Weight::from_units(i64::MAX);

#[test]
fn every_word_reads_back_and_is_the_one_it_was() {
    words! {
        MakingKind: "cut, dress, pool, freeze, customer cut";
        Fate: "lot, discard, not_weighed";
    }
}

#[test]
fn holds_releases_and_regrades_read_back() {
    for (part, weight, happened_us) in [
        (named(Some(2)), Some(lb("4.5")), Some(i64::MIN)),
        (named(None), None, None),
    ] {
        reads_back(&HoldAsked {
            part,
            weight: weight.clone(),
            reason: TEXT.to_owned(),
            cause: Some(HoldCause::Area),
            happened_us,
        });
        reads_back(&ReleaseAsked {
            hold: HoldId {
                entry: 2_031_050_200_010_000_001,
                line: 3,
            },
            reason: TEXT.to_owned(),
            happened_us,
        });
        reads_back(&RegradeAsked {
            part,
            weight,
            grade: happened_us.map(|_| grade("B")),
            condition: happened_us.map(|_| Condition::Torn),
            reason: TEXT.to_owned(),
            happened_us,
        });
    }
    reads_back(&Held {
        from: part(1),
        held: part(2),
        weight: MOST,
        pay: usd(i64::MAX),
    });
    reads_back(&Released {
        from: part(2),
        part: part(1),
        weight: LEAST,
        pay: usd(-1),
    });
    reads_back(&Regraded {
        from: part(1),
        part: part(3),
        weight: MOST,
    });
}

#[test]
fn movements_and_returns_read_back() {
    let temperature = || Temperature {
        text: "3.5".to_owned(),
        unit: TemperatureUnit::Celsius,
    };
    let full = MovementAsked {
        site: 1,
        outlet: Outlet::SoldWhole,
        taken: [true, false]
            .map(|emptied| Taken {
                part: named(emptied.then_some(1)),
                weight: lb("12.05"),
                emptied,
            })
            .to_vec(),
        counterparty: "kitchen".to_owned(),
        reason: TEXT.to_owned(),
        cause: Some(DiscardCause::AfterHandOver),
        temperature: Some(temperature()),
        price: Some(per_lb(120_000)),
        plan_line: "4".to_owned(),
        happened_us: Some(7),
    };
    reads_back(&full);
    reads_back(&MovementAsked {
        taken: Vec::new(),
        cause: None,
        temperature: None,
        price: None,
        happened_us: None,
        ..full
    });
    let notice = Notice {
        kind: NoticeKind::Warning,
        code: "beyond_what_is_left".to_owned(),
        text: TEXT.to_owned(),
        line: 2,
    };
    let taken = |emptied| TakenFrom {
        part: part(1),
        weight: MOST,
        emptied,
    };
    reads_back(&Moved {
        taken: vec![taken(true), taken(false)],
        buyers_loss: Some(usd(6_250)),
        notices: vec![notice],
    });
    reads_back(&Moved {
        taken: Vec::new(),
        buyers_loss: None,
        notices: Vec::new(),
    });
    let back = ReturnAsked {
        movement: 2_031_050_200_010_000_009,
        part: named(Some(1)),
        weight: lb("1"),
        reason: TEXT.to_owned(),
        temperature: Some(temperature()),
        happened_us: Some(8),
    };
    reads_back(&back);
    reads_back(&ReturnAsked {
        temperature: None,
        happened_us: None,
        ..back
    });
    reads_back(&Returned {
        held: part(2),
        outlet: Outlet::Donation,
        weight: MOST,
    });
}

#[test]
fn makings_read_back() {
    let output = |fate, weighed: bool| MakingOutput {
        presentation: Presentation::FilletSkinless,
        fate,
        weight: weighed.then(|| lb("6.1")),
        storage: weighed.then_some(Storage::Frozen),
        reason: TEXT.to_owned(),
        grade: grade("0"),
    };
    let input = |source, weighed: bool| MakingInput {
        source,
        weight: weighed.then(|| lb("20")),
        emptied: weighed,
    };
    for kind in MakingKind::ALL {
        reads_back(&MakingAsked {
            plan_line: "2031050200010000044-3".to_owned(),
            site: 1,
            kind: *kind,
            inputs: vec![
                input(Source::Part(named(None)), true),
                input(Source::Part(named(Some(2))), false),
                input(Source::Dispatch(i64::MAX), true),
            ],
            outputs: Fate::ALL
                .iter()
                .map(|fate| output(*fate, *fate != Fate::NotWeighed))
                .collect(),
            specification: "skinless".to_owned(),
            cutter: "kim".to_owned(),
            kitchen: String::new(),
            minutes: "12.5".to_owned(),
            happened_us: Some(1),
            tally: Some(crate::doc::tests::full_tally()),
        });
    }
    reads_back(&making());
    reads_back(&Making {
        inputs: Vec::new(),
        outputs: Vec::new(),
        ..making()
    });
}

fn making() -> Making {
    let from = |source| MadeFrom {
        source,
        weight: MOST,
        emptied: true,
        supplier: "ana".to_owned(),
        species: "PZO".to_owned(),
        presentation: Presentation::Gutted,
    };
    let made = |fate, said: bool| Made {
        presentation: Presentation::Trim,
        fate,
        place: said.then_some(35),
        weight: said.then_some(MOST),
        storage: said.then_some(Storage::DryCooler),
        reason: TEXT.to_owned(),
        grade: grade("B"),
    };
    Making {
        kind: MakingKind::Cut,
        specification: "skinless".to_owned(),
        cutter: "kim".to_owned(),
        kitchen: "kitchen".to_owned(),
        minutes: "12.5".to_owned(),
        inputs: vec![
            from(MadeSource::Part(part(1))),
            from(MadeSource::Dispatch(i64::MIN)),
        ],
        outputs: vec![made(Fate::Lot, true), made(Fate::NotWeighed, false)],
        input: MOST,
        fillet: Weight::ZERO,
        cutting_loss: LEAST,
        table_unaccounted: Weight::from_units(-1),
        not_weighed: Weight::from_units(1),
        notices: Vec::new(),
    }
}

#[test]
fn counts_read_back() {
    let pool = |grade, storage| PoolAsked {
        parts: vec![named(Some(1)), named(None)],
        weight: lb("30"),
        storage,
        grade,
    };
    for pool in [
        None,
        Some(pool(grade("0"), None)),
        Some(pool(grade("A"), Some(Storage::Slush))),
    ] {
        reads_back(&CountAsked {
            site: 1,
            closes: 20_310_502,
            counted: vec![CountedPart {
                part: named(Some(1)),
                weight: lb("0"),
            }],
            pool,
            happened_us: None,
        });
    }
    let found = Found {
        part: part(1),
        weight: Weight::ZERO,
    };
    for pool in [
        None,
        Some(PoolDone {
            making: making(),
            weight: MOST,
        }),
    ] {
        reads_back(&CountDone {
            counted: vec![found, found],
            pool,
        });
    }
    reads_back(&CountDone {
        counted: Vec::new(),
        pool: None,
    });
}

#[test]
fn reweighs_read_back() {
    for (what, happened_us) in [
        (Reweighed::Part(named(Some(2))), Some(i64::MIN)),
        (Reweighed::Part(named(None)), None),
        (
            Reweighed::Weighing(TicketWeighing {
                ticket: 2_031_050_200_010_000_001,
                lot: 1,
                weighing: 3,
            }),
            None,
        ),
    ] {
        reads_back(&ReweighAsked {
            site: 1,
            what,
            reading: lb("39.70"),
            note: TEXT.to_owned(),
            happened_us,
        });
    }
    for permissible in [None, Some(MOST)] {
        reads_back(&ReweighDone {
            lot: lot(2),
            part: 0,
            booked: MOST,
            difference: LEAST,
            permissible,
        });
    }
}
