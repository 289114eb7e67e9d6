//! Small days written as deeds, closed on both engines.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use books::doc::entry_doc;
use books::pay::{self, Account};
use books::table::{
    COUNTED, Cell, DEVICE_WORD, INWARD, LINE, LOT, MAKING_IN, MAKING_OUT, MOVE, PART, REWEIGH,
    SHIFT,
};
use books::{Answer, Condition, Deed, Row, Val, conformance, entry_id, write_once};
use rules::business_day::SiteClock;
use rules::close::FlagKind;
use rules::drift::Drift;
use rules::fish::{Grade, Outlet, Presentation, Storage, Undersize};
use rules::ids::{LotCode, PartId};
use rules::making::{Fate, Made, MadeFrom, MadeSource, Making, MakingAsked, MakingKind};
use rules::money::{Currency, Money, UnitPrice};
use rules::office::{Device, DripRate, Scale, Settings};
use rules::reweigh::{ReweighAsked, Reweighed, TicketWeighing, compare};
use rules::stock::{
    CountAsked, CountDone, CountedPart, Found, Held, HoldAsked, Moved, MovementAsked, PartRef,
    PoolAsked, PoolDone, ReturnAsked, Returned, Taken, TakenFrom,
};
use rules::ticket::{
    Confirmation, Decision, Landing, Line, LotIn, Net, Pieces, Receiving, SmallFish, Ticket,
    TicketLot, WeighIn, Weighed, Weighing,
};
use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};

use super::*;

mod kept;
mod leased;
mod rebuilt;

const SITE: i64 = 1;
const MONDAY: DayNumber = 20_310_505;
const TUESDAY: DayNumber = 20_310_506;
const WEDNESDAY: DayNumber = 20_310_507;
const THURSDAY: DayNumber = 20_310_508;
const HOUR: i64 = 3_600_000_000;

/// A night of somebody who is alone.
async fn run(
    db: &Db,
    site: i64,
    day: DayNumber,
    now_us: i64,
    dry_run: bool,
) -> Result<Outcome, NightError> {
    let holder = leased::holder("alone");
    super::run(db, site, day, now_us, dry_run, &holder).await
}

fn lb(text: &str) -> Weight {
    WeightUnit::Lb.weigh(text).unwrap()
}

/// Read on the dock's scale.
fn on_dock(text: &str) -> Reading {
    on("dock", text)
}

fn on(scale: &str, text: &str) -> Reading {
    Reading::new(text, WeightUnit::Lb, scale, ReadingSource::Keyed).unwrap()
}

fn dock_scale(tested_on: Option<DayNumber>) -> Scale {
    Scale {
        site: SITE,
        code: "dock".to_owned(),
        name: "Dock scale".to_owned(),
        accuracy_class: "III".to_owned(),
        division: on_dock("0.05"),
        capacity: on_dock("150"),
        tested_on: tested_on.and_then(date_of),
        line: String::new(),
    }
}

fn named(part: PartId) -> PartRef {
    PartRef {
        lot: part.lot,
        part: Some(part.n),
    }
}

fn usd() -> Currency {
    Currency::new("USD").unwrap()
}

/// The day turns at 04:00.
fn clock() -> SiteClock {
    SiteClock::new("America/New_York", 4).unwrap()
}

/// The instant so many hours after a day began.
fn at(day: DayNumber, hours: i64) -> i64 {
    clock().start_us(day) + hours * HOUR
}

fn part(lot: i64, n: i64) -> PartId {
    PartId {
        lot: LotCode::new(lot, 1).unwrap(),
        n,
    }
}

/// A book with one site, and deeds written into it.
struct Dock {
    db: Db,
    /// Day on which deeds are entered; absent is their own.
    entered_on: Option<DayNumber>,
    /// Fish on each ticket.
    pieces: Pieces,
    deeds: i64,
}

impl Dock {
    /// Lionfish whole on drained ice drips 1 % a day here.
    async fn open(db: Db) -> Dock {
        let mut dock = Dock {
            db,
            entered_on: None,
            pieces: Pieces::NotCounted,
            deeds: 0,
        };
        let site = Site {
            number: SITE,
            name: "North pier".to_owned(),
            clock: clock(),
            currency: usd(),
            buyer: "buyer".to_owned(),
            shown_unit: WeightUnit::Lb,
            location_description: String::new(),
        };
        let settings = Settings {
            site: SITE,
            drip_rates: vec![DripRate {
                species: "PZO".to_owned(),
                presentation: Presentation::Whole,
                storage: Storage::DrainedIce,
                ppm_per_day: 10_000,
                allowance_ppm_per_day: 0,
            }],
            ..Settings::default()
        };
        let device = Device {
            site: SITE,
            code: "tablet".to_owned(),
            name: "Dock tablet".to_owned(),
        };
        let scale = dock_scale(Some(20_310_311));
        let on_file = [
            ("scale", "dock", entry_doc(&scale, &scale)),
            ("site", "", entry_doc(&site, &site)),
            ("settings", "", entry_doc(&settings, &settings)),
            ("device", "tablet", entry_doc(&device, &device)),
        ];
        for (kind, code, doc) in on_file {
            let row = register::row(kind, SITE, code, 0);
            dock.deed(kind, 20_310_101, at(20_310_101, 1), doc, vec![row], vec![])
                .await;
        }
        dock
    }

    async fn deed(
        &mut self,
        kind: &'static str,
        day: DayNumber,
        happened_us: i64,
        doc: String,
        rows: Vec<Row>,
        must_hold: Vec<Condition>,
    ) -> i64 {
        self.deeds += 1;
        let deed = Deed {
            site: SITE,
            day,
            pay_day: self.entered_on.filter(|entered| *entered > day),
            request_id: format!("request-{}", self.deeds),
            print: [0; 32],
            kind,
            party: String::new(),
            actor: "office".to_owned(),
            happened_us,
            recorded_us: self.entered_on.map_or(happened_us, |day| at(day, 1)),
            must_hold,
            bumps: vec![],
            doc,
            rows,
        };
        match write_once(&self.db, deed).await {
            Answer::Recorded(stamp) => stamp.entry,
            other => panic!("{kind}: {other:?}"),
        }
    }

    /// A ticket of one lot with one part, of so many pounds at 5.25.
    async fn weigh_in(&mut self, day: DayNumber, hours: i64, diver: &str, weight: &str) -> i64 {
        self.ticket(day, hours, diver, weight, None, Undersize::No)
            .await
    }

    async fn ticket(
        &mut self,
        day: DayNumber,
        hours: i64,
        diver: &str,
        weight: &str,
        rewrites: Option<i64>,
        undersize: Undersize,
    ) -> i64 {
        let (asked, mut ticket) = paper(diver, weight, undersize);
        ticket.lines[0].pieces = self.pieces;
        let amount = ticket.payout.minor();
        let number = || rewrites.map_or(Cell::Own, Cell::Int);
        let mut rows = Vec::new();
        if rewrites.is_none() {
            rows.push(lot_row(number(), diver, Presentation::Whole, 0));
            rows.push(part_row(number(), 1, false, undersize));
        }
        rows.push(Row::new(
            &LINE,
            [
                Cell::Own,
                1.into(),
                number(),
                1.into(),
                1.into(),
                lb(weight).units().into(),
                0.into(),
                amount.into(),
                amount.into(),
            ],
        ));
        let to = Account::of("owed", diver);
        rows.extend(pay::rows([(Account::site("purchases"), to, amount)]));
        let spend = rewrites.map(|what| Condition::Spend {
            what,
            item: 0,
            how: "rewrite",
        });
        let doc = entry_doc(&asked, &ticket);
        self.deed(
            "weigh_in",
            day,
            at(day, hours),
            doc,
            rows,
            spend.into_iter().collect(),
        )
        .await
    }

    async fn void(&mut self, day: DayNumber, ticket: i64, diver: &str, amount: i64) -> i64 {
        let spend = Condition::Spend {
            what: ticket,
            item: 0,
            how: "void",
        };
        let rows = pay::rows([(
            Account::of("owed", diver),
            Account::site("purchases"),
            amount,
        )]);
        self.deed("void", day, at(day, 20), "{}".to_owned(), rows, vec![spend])
            .await
    }

    async fn moved(
        &mut self,
        day: DayNumber,
        hours: i64,
        part: PartId,
        outlet: Outlet,
        weight: &str,
        emptied: bool,
    ) -> i64 {
        let [number, place, n] = cells(part);
        let row = Row::new(
            &MOVE,
            [
                Cell::Own,
                1.into(),
                number,
                place,
                n,
                outlet.number().into(),
                "".into(),
                lb(weight).units().into(),
                i64::from(emptied).into(),
                0.into(),
            ],
        );
        let asked = MovementAsked {
            site: SITE,
            outlet,
            taken: vec![Taken {
                part: named(part),
                weight: on_dock(weight),
                emptied,
            }],
            counterparty: String::new(),
            reason: String::new(),
            cause: None,
            temperature: None,
            price: None,
            plan_line: String::new(),
            happened_us: None,
        };
        let moved = Moved {
            taken: vec![TakenFrom {
                part,
                weight: lb(weight),
                emptied,
            }],
            buyers_loss: None,
            notices: vec![],
        };
        let doc = entry_doc(&asked, &moved);
        self.deed("movement", day, at(day, hours), doc, vec![row], vec![])
            .await
    }

    async fn brought_back(
        &mut self,
        day: DayNumber,
        hours: i64,
        part: PartId,
        movement: i64,
        weight: &str,
    ) -> i64 {
        let [number, place, n] = cells(part);
        let row = Row::new(
            &INWARD,
            [
                Cell::Own,
                1.into(),
                movement.into(),
                Outlet::SoldWhole.number().into(),
                number,
                place,
                n,
                lb(weight).units().into(),
            ],
        );
        let asked = ReturnAsked {
            movement,
            part: named(part),
            weight: on_dock(weight),
            reason: "stood warm".to_owned(),
            temperature: None,
            happened_us: None,
        };
        let back = Returned {
            held: part,
            outlet: Outlet::SoldWhole,
            weight: lb(weight),
        };
        let doc = entry_doc(&asked, &back);
        self.deed("return", day, at(day, hours), doc, vec![row], vec![])
            .await
    }

    async fn held(&mut self, day: DayNumber, hours: i64, lot: i64, weight: &str) {
        let rows = vec![
            part_row(lot.into(), 2, true, Undersize::No),
            Row::new(
                &SHIFT,
                [
                    Cell::Own,
                    1.into(),
                    "hold".into(),
                    lot.into(),
                    1.into(),
                    1.into(),
                    2.into(),
                    lb(weight).units().into(),
                    0.into(),
                ],
            ),
        ];
        let (from, held) = (part(lot, 1), part(lot, 2));
        let asked = HoldAsked {
            part: named(from),
            weight: Some(on_dock(weight)),
            reason: "to be probed".to_owned(),
            cause: None,
            happened_us: None,
        };
        let held = Held {
            from,
            held,
            weight: lb(weight),
            pay: Money::zero(usd()),
        };
        let doc = entry_doc(&asked, &held);
        self.deed("hold", day, at(day, hours), doc, rows, vec![])
            .await;
    }

    async fn counted(&mut self, day: DayNumber, hours: i64, found: &[(PartId, &str)]) -> i64 {
        let rows = (1..)
            .zip(found)
            .map(|(n, (part, weight))| counted_row(n, cells(*part), weight));
        let counted = |(part, weight): &(PartId, &str)| CountedPart {
            part: named(*part),
            weight: on_dock(weight),
        };
        let asked = CountAsked {
            site: SITE,
            closes: day,
            counted: found.iter().map(counted).collect(),
            pool: None,
            happened_us: None,
        };
        let counted = |(part, weight): &(PartId, &str)| Found {
            part: *part,
            weight: lb(weight),
        };
        let done = CountDone {
            counted: found.iter().map(counted).collect(),
            pool: None,
        };
        let doc = entry_doc(&asked, &done);
        self.deed("count", day, at(day, hours), doc, rows.collect(), vec![])
            .await
    }

    /// The only weighing of a ticket, on a scale again.
    async fn weighed_again(
        &mut self,
        day: DayNumber,
        hours: i64,
        ticket: i64,
        booked: &str,
        reading: Reading,
    ) {
        let asked = ReweighAsked {
            site: SITE,
            what: Reweighed::Weighing(TicketWeighing {
                ticket,
                lot: 1,
                weighing: 1,
            }),
            reading,
            note: String::new(),
            happened_us: None,
        };
        let lot = part(ticket, 1).lot;
        let done = compare(lot, 0, &asked.reading, lb(booked), None);
        let row = Row::new(
            &REWEIGH,
            [
                Cell::Own,
                ticket.into(),
                1.into(),
                0.into(),
                asked.reading.weight.units().into(),
                lb(booked).units().into(),
                "".into(),
            ],
        );
        let doc = entry_doc(&asked, &done);
        self.deed("reweigh", day, at(day, hours), doc, vec![row], vec![])
            .await;
    }

    /// Parts poured into one bin, and the bin weighed: one entry.
    async fn pooled_and_counted(
        &mut self,
        day: DayNumber,
        hours: i64,
        parts: &[(PartId, &str)],
        found: &str,
    ) -> i64 {
        let mut rows = vec![
            lot_row(
                Cell::Own,
                "",
                Presentation::Whole,
                MakingKind::Pool.number(),
            ),
            part_row(Cell::Own, 1, false, Undersize::No),
        ];
        for (n, (part, weight)) in (1_i64..).zip(parts) {
            let [number, place, part] = cells(*part);
            let weight = lb(weight).units().into();
            rows.push(Row::new(
                &MAKING_IN,
                [Cell::Own, n.into(), number, place, part, weight, 0.into()],
            ));
        }
        let all: Weight = parts.iter().map(|(_, weight)| lb(weight)).sum();
        rows.push(made_row(1, "lot", all));
        rows.push(counted_row(1, [Cell::Own, 1.into(), 1.into()], found));
        let asked = CountAsked {
            site: SITE,
            closes: day,
            counted: vec![],
            pool: Some(PoolAsked {
                parts: parts.iter().map(|(part, _)| named(*part)).collect(),
                weight: on_dock(found),
                storage: Some(Storage::DrainedIce),
                grade: Grade::none(),
            }),
            happened_us: None,
        };
        let making = Making {
            kind: MakingKind::Pool,
            specification: String::new(),
            cutter: String::new(),
            fillet: Weight::ZERO,
            cutting_loss: Weight::ZERO,
            input: all,
            outputs: vec![],
            ..making("", parts[0].0, ["0"; 4])
        };
        let done = CountDone {
            counted: vec![],
            pool: Some(PoolDone {
                making,
                weight: lb(found),
            }),
        };
        let doc = entry_doc(&asked, &done);
        self.deed("count", day, at(day, hours), doc, rows, vec![])
            .await
    }

    /// A cut of a part into fillet, frames thrown out, and 2 % of loss.
    async fn cut(
        &mut self,
        day: DayNumber,
        hours: i64,
        diver: &str,
        part: PartId,
        [weight, fillet, frames, loss]: [&str; 4],
    ) -> i64 {
        let making = making(diver, part, [weight, fillet, frames, loss]);
        let [number, place, n] = cells(part);
        let rows = vec![
            lot_row(
                Cell::Own,
                diver,
                Presentation::FilletSkinless,
                MakingKind::Cut.number(),
            ),
            part_row(Cell::Own, 1, false, Undersize::No),
            Row::new(
                &MAKING_IN,
                [
                    Cell::Own,
                    1.into(),
                    number,
                    place,
                    n,
                    lb(weight).units().into(),
                    0.into(),
                ],
            ),
            made_row(1, "lot", lb(fillet)),
            made_row(2, "discard", lb(frames)),
            made_row(3, "cutting_loss", lb(loss)),
        ];
        let asked = MakingAsked {
            site: SITE,
            kind: MakingKind::Cut,
            inputs: vec![],
            outputs: vec![],
            specification: making.specification.clone(),
            cutter: making.cutter.clone(),
            kitchen: String::new(),
            minutes: String::new(),
            happened_us: None,
            tally: None,
            plan_line: String::new(),
        };
        let doc = entry_doc(&asked, &making);
        self.deed("making", day, at(day, hours), doc, rows, vec![])
            .await
    }

    async fn device_word(&mut self, day: DayNumber, queued: i64, resolved: i64) {
        let row = Row::new(
            &DEVICE_WORD,
            [
                Cell::Own,
                SITE.into(),
                "tablet".into(),
                queued.into(),
                resolved.into(),
            ],
        );
        self.deed(
            "device_word",
            day,
            at(day, 22),
            "{}".to_owned(),
            vec![row],
            vec![],
        )
        .await;
    }

    /// Closes a day in the morning after Wednesday.
    async fn night(&self, day: DayNumber) -> Outcome {
        run(&self.db, SITE, day, at(WEDNESDAY, 25), false)
            .await
            .unwrap()
    }

    async fn bytes(&self, day: DayNumber) -> (i64, String) {
        let mut tx = self.db.read().await.unwrap();
        let stored = close::stored(&mut tx, SITE, day, None)
            .await
            .unwrap()
            .unwrap();
        tx.rollback().await;
        (stored.revision, stored.doc)
    }

    async fn entries(&self) -> i64 {
        let mut tx = self.db.read().await.unwrap();
        let rows = tx.fetch("SELECT COUNT(*) FROM entry", &[]).await.unwrap();
        rows[0].int(0)
    }
}

fn cells(part: PartId) -> [Cell; 3] {
    [
        part.lot.number().into(),
        part.lot.place().into(),
        part.n.into(),
    ]
}

fn lot_row(number: Cell, supplier: &str, presentation: Presentation, making: i64) -> Row {
    Row::new(
        &LOT,
        [
            number,
            1.into(),
            Cell::Own,
            SITE.into(),
            "PZO".into(),
            presentation.number().into(),
            Storage::DrainedIce.number().into(),
            supplier.into(),
            making.into(),
            0.into(),
        ],
    )
}

fn part_row(number: Cell, n: i64, held: bool, undersize: Undersize) -> Row {
    Row::new(
        &PART,
        [
            number,
            1.into(),
            n.into(),
            1.into(),
            "A".into(),
            1.into(),
            i64::from(held).into(),
            undersize.number().into(),
            Cell::Own,
        ],
    )
}

fn counted_row(n: i64, [number, place, part]: [Cell; 3], weight: &str) -> Row {
    let weight = lb(weight).units().into();
    Row::new(&COUNTED, [Cell::Own, n.into(), number, place, part, weight])
}

fn made_row(n: i64, fate: &str, weight: Weight) -> Row {
    let of_lot = |cell: Cell| if fate == "lot" { cell } else { Cell::Int(0) };
    Row::new(
        &MAKING_OUT,
        [
            Cell::Own,
            n.into(),
            fate.into(),
            of_lot(Cell::Own),
            of_lot(1.into()),
            of_lot(1.into()),
            weight.units().into(),
        ],
    )
}

/// What was asked and what came of it, as far as the night reads it.
fn paper(diver: &str, weight: &str, undersize: Undersize) -> (WeighIn, Ticket) {
    let price = UnitPrice::new("5.25", usd(), WeightUnit::Lb).unwrap();
    let amount = price.amount(lb(weight)).unwrap();
    let small = undersize == Undersize::Yes;
    let asked = WeighIn {
        site: SITE,
        harvester: diver.to_owned(),
        landing: Landing::default(),
        lots: vec![LotIn {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            storage: Some(Storage::DrainedIce),
            weighings: vec![Weighing {
                grade: Grade::new("A").unwrap(),
                condition: None,
                weighed: Weighed::Pieces(vec![on_dock(weight)]),
            }],
            receiving: Receiving {
                decision: Decision::Accept,
                reason: String::new(),
                corrective_action: String::new(),
                first_speared_us: None,
                iced_us: None,
                ice_around: None,
                probes: vec![],
                smallest_length: None,
                area_unclear: false,
                hold_cause: None,
            },
            small_fish: SmallFish::Sell,
            areas: vec![],
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
        payees: vec![],
        adjustments: vec![],
        note: String::new(),
        answers: Vec::new(),
        lot_number: None,
    };
    let line = Line {
        lot: 1,
        part: 1,
        band: 1,
        band_name: "plate".to_owned(),
        band_from: Weight::ZERO,
        band_to: None,
        grade: Grade::new("A").unwrap(),
        condition: None,
        held: false,
        pieces: Pieces::NotCounted,
        net: lb(weight),
        ice: Weight::ZERO,
        list_price: price,
        price,
        amount,
        undersize,
        proposed: small.then_some(Outlet::Soup),
        proposed_reason: if small { "below the plate minimum" } else { "" }.to_owned(),
        agreed: None,
    };
    let lot = TicketLot {
        n: 1,
        place: Some(1),
        species_name: "Lionfish".to_owned(),
        price_list: 0,
        weighed: vec![Net {
            gross: lb(weight),
            net: lb(weight),
            ..Net::default()
        }],
        received: Default::default(),
    };
    let ticket = Ticket {
        priced_us: 0,
        number: None,
        lots: vec![lot],
        lines: vec![line],
        not_bought: vec![],
        adjustments: vec![],
        lines_total: amount,
        payout: amount,
        owed: amount,
        held: Money::zero(usd()),
        undersize: if small { lb(weight) } else { Weight::ZERO },
        released: Vec::new(),
        shares: Vec::new(),
        notices: vec![],
    };
    (asked, ticket)
}

fn making(diver: &str, part: PartId, [weight, fillet, frames, loss]: [&str; 4]) -> Making {
    let made = |presentation, fate, place, weight: &str| Made {
        presentation,
        fate,
        place,
        weight: Some(lb(weight)),
        storage: Some(Storage::DrainedIce),
        reason: String::new(),
        grade: Grade::none(),
    };
    Making {
        kind: MakingKind::Cut,
        specification: "skinless".to_owned(),
        cutter: "cutter".to_owned(),
        kitchen: String::new(),
        minutes: String::new(),
        inputs: vec![MadeFrom {
            source: MadeSource::Part(part),
            weight: lb(weight),
            emptied: false,
            supplier: diver.to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
        }],
        outputs: vec![
            made(Presentation::FilletSkinless, Fate::Lot, Some(1), fillet),
            made(Presentation::Frames, Fate::Discard, None, frames),
        ],
        input: lb(weight),
        fillet: lb(fillet),
        cutting_loss: lb(loss),
        table_unaccounted: Weight::ZERO,
        not_weighed: Weight::ZERO,
        notices: Vec::new(),
    }
}

fn told(outcome: &Outcome) -> Vec<String> {
    let flag = |flag: &Flag| format!("{} {}", flag.kind.word(), flag.weight.shown(WeightUnit::Lb));
    outcome.flags.iter().map(flag).collect()
}

fn read(outcome: &Outcome) -> CloseDoc {
    use books::doc::{Doc as _, Value};
    CloseDoc::from_doc(&outcome.doc.parse::<Value>().unwrap()).unwrap()
}

conformance! {
    a_balanced_day_exits_with_0, balanced;
    missing_weight_is_found_once_with_its_drip, missing;
    a_swapped_pair_is_one_flag, swapped;
    a_close_run_twice_is_the_same_bytes, twice;
    a_late_entry_touches_its_day_and_those_whose_opening_changed, late;
    a_count_stops_what_came_late, stopped;
    a_count_next_morning_is_worked_back_to_the_end_of_its_day, worked_back;
    a_void_after_the_close_revises_it, voided;
    a_rewrite_keeps_the_lot_and_counts_once, rewritten;
    a_bin_is_pooled_and_counted_in_one_step, pooled;
    pay_stands_on_the_day_it_was_entered, paid;
    a_device_is_a_gap_until_it_has_drained, drained;
    small_fish_is_followed_over_days, small;
    a_hold_and_a_finished_part_are_carried_on, carried;
    two_nights_at_once_write_one_close, at_once;
    a_dry_run_writes_nothing, dry;
    a_night_that_cannot_run_says_why, refused;
    the_weight_book_agrees_with_the_close, book;
    a_day_in_between_without_a_deed_is_closed_too, between;
    what_came_late_goes_on_over_a_day_never_closed, over_a_quiet_day;
    what_a_count_leaves_uncertain_goes_on_into_the_next_day, uncertain;
    a_scale_tested_later_leaves_the_day_as_it_was, tested_later;
    scales_are_compared_by_fish_weighed_on_both, compared;
    fish_to_be_shown_cold_is_the_site_s_own, shown_cold;
}

async fn balanced(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 10, "ana", "40").await;
    dock.moved(MONDAY, 11, part(ana, 1), Outlet::SoldWhole, "20", false)
        .await;
    let cut = dock
        .cut(MONDAY, 12, "ana", part(ana, 1), ["10", "3", "6.8", "0.2"])
        .await;
    // 40 lb for an hour, 20 for one, 10 for eight: 140 pound-hours at 1 % a day.
    dock.counted(MONDAY, 20, &[(part(ana, 1), "9.942"), (part(cut, 1), "3")])
        .await;
    let outcome = dock.night(MONDAY).await;
    assert_eq!((told(&outcome), outcome.exit_code()), (vec![], 0));
    assert_eq!((outcome.state, outcome.revision), (CloseState::Closed, 1));
    let doc = read(&outcome);
    assert_eq!(
        close::document(&doc),
        (outcome.doc, outcome.sha256),
        "it reads back whole"
    );
    assert_eq!(
        (doc.balance.bought, doc.balance.closing),
        (lb("40"), lb("12.942"))
    );
    assert_eq!(doc.yields[0].yield_e2, Some(3_000));
    assert_eq!(doc.payouts[0].owed.minor(), 21_000);
    assert_eq!(doc.cuts[0].cutter, "cutter");
}

async fn missing(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "41.60").await;
    // 12 h at 1 % a day: 0.208 lb of drip, and 3.00 lb short.
    dock.counted(MONDAY, 18, &[(part(ana, 1), "38.392")]).await;
    let monday = dock.night(MONDAY).await;
    assert_eq!(told(&monday), ["unaccounted 3.00"]);
    assert_eq!((monday.exit_code(), monday.state), (1, CloseState::Closed));
    assert_eq!(monday.flags[0].value.minor(), 1_575);
    // A pound is missing once. 24 h of 38.392 lb drip 0.384.
    dock.counted(TUESDAY, 18, &[(part(ana, 1), "38.008")]).await;
    let tuesday = dock.night(TUESDAY).await;
    assert_eq!(told(&tuesday), Vec::<String>::new());
    let doc = read(&tuesday);
    assert_eq!(
        (doc.balance.opening, doc.balance.closing),
        (lb("38.392"), lb("38.008"))
    );
}

async fn swapped(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "30").await;
    let ben = dock.weigh_in(MONDAY, 6, "ben", "30").await;
    dock.counted(MONDAY, 6, &[(part(ana, 1), "27"), (part(ben, 1), "33")])
        .await;
    let outcome = dock.night(MONDAY).await;
    assert_eq!(told(&outcome), ["swapped 3.00"]);
    assert!(outcome.flags[0].subject.contains(&part(ana, 1).to_string()));
    assert!(outcome.flags[0].subject.contains(&part(ben, 1).to_string()));
}

/// What the flag of a part rests on.
fn evidence(outcome: &Outcome) -> Vec<&str> {
    let mut flags = outcome.flags.iter();
    let of_part = flags.find(|flag| flag.kind == FlagKind::Unaccounted);
    let evidence = of_part.map(|flag| flag.evidence.iter());
    evidence.into_iter().flatten().map(String::as_str).collect()
}

async fn uncertain(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "40").await;
    dock.counted(MONDAY, 6, &[(part(ana, 1), "40")]).await;
    let monday = dock.night(MONDAY).await;
    assert_eq!(told(&monday), Vec::<String>::new());
    // On one scale the same day only water and rounding are left.
    let explained = read(&monday).parts[0].explained.unwrap();
    assert_eq!(explained.shown(WeightUnit::Lb), "0.654");
    // 24 h at 1 %: 0.4 lb of drip, and 1.6 lb short. Both days' scales are in it.
    dock.counted(TUESDAY, 6, &[(part(ana, 1), "38")]).await;
    let tuesday = dock.night(TUESDAY).await;
    assert_eq!(
        evidence(&tuesday),
        [
            "Dock scale on 2031-05-05, shared: +/- 0.115 lb",
            "Dock scale on 2031-05-06, shared: +/- 0.115 lb",
            "rounding of 2 readings: +/- 0.041 lb",
            "surface water, 2 weighings: +/- 0.637 lb",
            "all together: +/- 0.659 lb (k = 2)",
        ]
    );
    // From what the book holds, and not from what was worked out in the same run.
    let (_, bytes) = dock.bytes(TUESDAY).await;
    assert_eq!(bytes, tuesday.doc);
    let again = dock.night(TUESDAY).await;
    assert_eq!((again.changed, again.doc), (false, tuesday.doc));
}

async fn tested_later(db: Db) {
    let mut dock = Dock::open(db).await;
    let put = async |dock: &mut Dock, day, tested_on| {
        let scale = dock_scale(tested_on);
        let doc = entry_doc(&scale, &scale);
        let row = register::row("scale", SITE, "dock", at(day, 1));
        dock.deed("scale", day, at(day, 1), doc, vec![row], vec![])
            .await
    };
    put(&mut dock, 20_310_501, None).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "40").await;
    dock.counted(MONDAY, 6, &[(part(ana, 1), "36")]).await;
    let monday = dock.night(MONDAY).await;
    let why = "all together: not known; Dock scale wants a test";
    assert_eq!(evidence(&monday).last(), Some(&why));
    put(&mut dock, WEDNESDAY, Some(WEDNESDAY)).await;
    let again = dock.night(MONDAY).await;
    assert_eq!((again.changed, &again.doc), (false, &monday.doc));
    // On Wednesday it is tested; how far Monday's count was off is still not known.
    dock.counted(WEDNESDAY, 6, &[(part(ana, 1), "34")]).await;
    let wednesday = dock.night(WEDNESDAY).await;
    assert_eq!(evidence(&wednesday).last(), Some(&why));
}

async fn compared(db: Db) {
    let mut dock = Dock::open(db).await;
    // On Monday four are weighed again within two hours, and one on the dock's own scale.
    let pairs = [
        ("10", "10.1"),
        ("20", "20.2"),
        ("30", "30.2"),
        ("40", "40.3"),
    ];
    for (weight, again) in pairs {
        let ticket = dock.weigh_in(MONDAY, 6, "ana", weight).await;
        dock.weighed_again(MONDAY, 8, ticket, weight, on("piece", again))
            .await;
    }
    let ticket = dock.weigh_in(MONDAY, 6, "ana", "50").await;
    dock.weighed_again(MONDAY, 8, ticket, "50", on_dock("60"))
        .await;
    // What was voided since, and what was weighed again another day, says nothing.
    let gone = dock.weigh_in(MONDAY, 6, "ana", "50").await;
    dock.weighed_again(MONDAY, 8, gone, "50", on("piece", "60"))
        .await;
    dock.void(MONDAY, gone, "ana", 26_250).await;
    dock.weighed_again(TUESDAY, 8, ticket, "50", on("piece", "60"))
        .await;
    assert_eq!(read(&dock.night(MONDAY).await).drifts, []);
    // The fifth pair comes on Tuesday.
    let ticket = dock.weigh_in(TUESDAY, 6, "ben", "50").await;
    dock.weighed_again(TUESDAY, 8, ticket, "50", on("piece", "50.4"))
        .await;
    let tuesday = dock.night(TUESDAY).await;
    let drifts = read(&tuesday).drifts;
    // 150 lb first and 151.2 lb again; in two hours at 1 % a day 0.125 lb should drip:
    // 1.325 / 150 is 0.8833 %.
    let of = |drift: &Drift| (drift.pairs, drift.bias_ppm);
    assert_eq!(drifts.iter().map(of).collect::<Vec<_>>(), [(5, 8_833)]);
    let flag = tuesday
        .flags
        .iter()
        .find(|flag| flag.kind == FlagKind::ScaleDrift);
    let flag = flag.unwrap();
    assert!(
        flag.text
            .starts_with("scale piece weighs 0.88 % more than Dock scale (95 %: "),
        "{}",
        flag.text
    );
    assert_eq!((&*flag.subject, flag.evidence.len()), ("dock piece", 5));
    let monday = dock.night(MONDAY).await;
    assert!(!monday.changed, "a day looks back and never ahead");
}

async fn twice(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 10, "ana", "40").await;
    dock.counted(MONDAY, 10, &[(part(ana, 1), "36")]).await;
    let first = dock.night(MONDAY).await;
    let entries = dock.entries().await;
    let second = dock.night(MONDAY).await;
    assert_eq!((&first.doc, &first.sha256), (&second.doc, &second.sha256));
    assert_eq!((first.changed, second.changed), (true, false));
    assert_eq!(
        (second.revision, second.exit_code()),
        (1, first.exit_code())
    );
    assert_eq!(second.flags, first.flags);
    assert_eq!(dock.entries().await, entries, "nothing is written");
}

async fn late(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 10, "ana", "40").await;
    for day in [MONDAY, TUESDAY, WEDNESDAY] {
        assert_eq!(told(&dock.night(day).await), ["uncounted 40.00"]);
    }
    let monday = dock.bytes(MONDAY).await;
    dock.entered_on = Some(THURSDAY);
    dock.moved(TUESDAY, 12, part(ana, 1), Outlet::SoldWhole, "5", false)
        .await;
    let wednesday = dock.night(WEDNESDAY).await;
    assert_eq!(
        (wednesday.revision, wednesday.changed, &*wednesday.also),
        (2, true, &[TUESDAY][..])
    );
    assert_eq!(told(&wednesday), ["uncounted 35.00"]);
    assert_eq!(
        dock.bytes(MONDAY).await,
        monday,
        "an earlier day keeps its bytes"
    );
    // Asked for the day itself, the night goes on to those after it.
    dock.moved(TUESDAY, 12, part(ana, 1), Outlet::SoldWhole, "5", false)
        .await;
    let tuesday = dock.night(TUESDAY).await;
    assert_eq!((tuesday.revision, &*tuesday.also), (3, &[WEDNESDAY][..]));
    assert_eq!(dock.bytes(WEDNESDAY).await.0, 3);
}

async fn worked_back(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 0, "ana", "40").await;
    let sold = Outlet::SoldWhole;
    assert_eq!(told(&dock.night(MONDAY).await), ["uncounted 40.00"]);
    // As Tuesday begins, and an hour later; then a look at what is there.
    dock.moved(TUESDAY, 0, part(ana, 1), sold, "4", false).await;
    dock.moved(TUESDAY, 1, part(ana, 1), sold, "6", false).await;
    dock.counted(MONDAY, 26, &[(part(ana, 1), "27.6")]).await;
    // 24 h of 40 lb drip 0.40: 10 lb went since, so 2 lb are missing.
    let monday = dock.night(MONDAY).await;
    assert_eq!(
        (told(&monday), monday.revision),
        (vec!["unaccounted 2.00".to_owned()], 2)
    );
    assert_eq!(read(&monday).balance.closing, lb("37.6"));
    let again = dock.night(MONDAY).await;
    assert_eq!((again.revision, again.changed), (2, false));

    // More goes, and two of the missing pounds are found in a corner.
    dock.moved(TUESDAY, 3, part(ana, 1), sold, "5", false).await;
    dock.counted(MONDAY, 28, &[(part(ana, 1), "24.6")]).await;
    let monday = dock.night(MONDAY).await;
    assert_eq!((told(&monday), monday.revision), (vec![], 3));
    assert_eq!(read(&monday).balance.closing, lb("39.6"));
    // Tuesday begins with that, and what went is its own.
    let tuesday = read(&dock.night(TUESDAY).await).balance;
    assert_eq!((tuesday.opening, tuesday.closing), (lb("39.6"), lb("24.6")));

    // What comes late of Tuesday leaves Monday alone until Monday is asked for.
    let bytes = dock.bytes(MONDAY).await;
    dock.entered_on = Some(THURSDAY);
    dock.moved(TUESDAY, 2, part(ana, 1), sold, "0.4", false)
        .await;
    dock.night(TUESDAY).await;
    assert_eq!(dock.bytes(MONDAY).await, bytes);
    let monday = dock.night(MONDAY).await;
    assert_eq!((monday.revision, &*monday.also), (4, &[TUESDAY][..]));
    assert_eq!(read(&monday).balance.closing, lb("40"));
}

async fn over_a_quiet_day(db: Db) {
    let mut dock = Dock::open(db).await;
    // Monday and Wednesday are closed without any fish, Tuesday never had a deed.
    dock.night(MONDAY).await;
    let ben = dock.weigh_in(WEDNESDAY, 10, "ben", "20").await;
    dock.counted(WEDNESDAY, 20, &[(part(ben, 1), "19.9")]).await;
    dock.night(WEDNESDAY).await;
    dock.entered_on = Some(THURSDAY);
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    let monday = dock.night(MONDAY).await;
    assert_eq!(
        monday.also,
        [TUESDAY, WEDNESDAY],
        "all that opened without that fish"
    );
    let wednesday = dock.night(WEDNESDAY).await;
    assert!(!wednesday.changed);
    assert_eq!(told(&wednesday), ["uncounted 40.00"]);
}

async fn stopped(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 10, "ana", "40").await;
    // 26 h of 40 lb should drip 0.433.
    dock.counted(TUESDAY, 12, &[(part(ana, 1), "34.567")]).await;
    for day in [MONDAY, TUESDAY, WEDNESDAY] {
        dock.night(day).await;
    }
    let wednesday = dock.bytes(WEDNESDAY).await;
    let found = told(&dock.night(TUESDAY).await);
    assert_eq!(found, ["unaccounted 5.00"]);
    dock.entered_on = Some(THURSDAY);
    dock.moved(MONDAY, 11, part(ana, 1), Outlet::SoldWhole, "5", false)
        .await;
    let monday = dock.night(MONDAY).await;
    assert_eq!(monday.also, [TUESDAY]);
    let tuesday = dock.night(TUESDAY).await;
    assert_eq!(
        (told(&tuesday), tuesday.changed),
        (vec![], false),
        "explained"
    );
    assert_eq!(
        dock.bytes(WEDNESDAY).await,
        wednesday,
        "the count stopped it"
    );
}

async fn voided(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    let ben = dock.weigh_in(MONDAY, 11, "ben", "20").await;
    assert_eq!(read(&dock.night(MONDAY).await).balance.bought, lb("60"));
    dock.entered_on = Some(THURSDAY);
    dock.void(MONDAY, ben, "ben", 10_500).await;
    let outcome = dock.night(MONDAY).await;
    assert_eq!(
        (outcome.revision, told(&outcome)),
        (2, vec!["uncounted 40.00".to_owned()])
    );
    let doc = read(&outcome);
    assert_eq!(
        (doc.balance.bought, doc.balance.closing),
        (lb("40"), lb("40"))
    );
    // The pay it takes back stands on the day it was entered.
    let owed = |doc: &CloseDoc| -> Vec<(String, i64)> {
        doc.payouts
            .iter()
            .map(|row| (row.party.clone(), row.owed.minor()))
            .collect()
    };
    assert_eq!(
        owed(&doc),
        [("ana".to_owned(), 21_000), ("ben".to_owned(), 10_500)]
    );
    let thursday = run(&dock.db, SITE, THURSDAY, at(THURSDAY, 25), false)
        .await
        .unwrap();
    let doc = read(&thursday);
    assert_eq!(
        owed(&doc),
        [("ana".to_owned(), 21_000), ("ben".to_owned(), 0)]
    );
    assert_eq!(doc.payouts[1].owed_today.minor(), -10_500);
}

async fn rewritten(db: Db) {
    let mut dock = Dock::open(db).await;
    let first = dock.weigh_in(MONDAY, 10, "ana", "40").await;
    dock.moved(MONDAY, 11, part(first, 1), Outlet::SoldWhole, "25", false)
        .await;
    dock.ticket(MONDAY, 10, "ana", "30", Some(first), Undersize::No)
        .await;
    let outcome = dock.night(MONDAY).await;
    assert_eq!(told(&outcome), ["uncounted 5.00"]);
    let doc = read(&outcome);
    assert_eq!(doc.balance.bought, lb("30"));
    assert_eq!(doc.parts[0].part, part(first, 1), "the lot keeps its code");
}

async fn pooled(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "30").await;
    let ben = dock.weigh_in(MONDAY, 6, "ben", "10").await;
    // Counted at seven the next morning, for Monday: 18 h of 40 lb drip 0.3.
    let bin = [(part(ana, 1), "30"), (part(ben, 1), "10")];
    let count = dock.pooled_and_counted(MONDAY, 27, &bin, "39.7").await;
    let monday = dock.night(MONDAY).await;
    assert_eq!((told(&monday), monday.exit_code()), (vec![], 0));
    let doc = read(&monday);
    let open: Vec<_> = doc.parts.iter().filter(|row| !row.finished).collect();
    assert_eq!(open.len(), 1);
    assert_eq!(
        (open[0].part, open[0].supplier.as_str()),
        (part(count, 1), "")
    );
    assert_eq!(
        (open[0].closing, doc.balance.shrink.shown(WeightUnit::Lb)),
        (lb("39.7"), "0.30".to_owned())
    );
    // Short next day, it is worth what went in: 39.7 lb that cost 210.00 for 40.
    dock.counted(TUESDAY, 0, &[(part(count, 1), "29.7")]).await;
    let tuesday = dock.night(TUESDAY).await;
    assert_eq!(told(&tuesday), ["unaccounted 10.00"]);
    assert_eq!(tuesday.flags[0].value.minor(), 5_250);
}

async fn paid(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    dock.entered_on = Some(TUESDAY);
    dock.weigh_in(MONDAY, 11, "ben", "20").await;
    let rows = |outcome: &Outcome| -> Vec<String> {
        let row = |row: &rules::close::PayRow| {
            format!(
                "{} {} {}",
                row.party,
                row.owed.minor(),
                row.owed_today.minor()
            )
        };
        read(outcome).payouts.iter().map(row).collect()
    };
    let monday = dock.night(MONDAY).await;
    assert_eq!(
        read(&monday).balance.bought,
        lb("60"),
        "weight on the day it happened"
    );
    assert_eq!(rows(&monday), ["ana 21000 21000"]);
    let tuesday = dock.night(TUESDAY).await;
    assert_eq!(rows(&tuesday), ["ana 21000 0", "ben 10500 10500"]);
    assert_eq!(
        rows(&dock.night(WEDNESDAY).await),
        ["ana 21000 0", "ben 10500 0"]
    );
}

async fn drained(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.device_word(MONDAY, 5, 3).await;
    let first = dock.night(MONDAY).await;
    assert_eq!(first.state, CloseState::ClosedWithGaps);
    assert_eq!(first.flags[0].kind, FlagKind::DeviceUndrained);
    dock.device_word(TUESDAY, 5, 5).await;
    let second = dock.night(MONDAY).await;
    assert_eq!(
        (second.state, second.revision, second.exit_code()),
        (CloseState::Closed, 2, 0)
    );
}

async fn small(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock
        .ticket(MONDAY, 10, "ana", "10", None, Undersize::Yes)
        .await;
    let row = |outcome: &Outcome| read(outcome).undersize.remove(0);
    let monday = row(&dock.night(MONDAY).await);
    assert_eq!((monday.taken_in, monday.left), (lb("10"), lb("10")));
    assert_eq!(monday.proposed, Some(Outlet::Soup));
    dock.moved(TUESDAY, 10, part(ana, 1), Outlet::Soup, "9.9", true)
        .await;
    let tuesday = row(&dock.night(TUESDAY).await);
    assert_eq!(
        (tuesday.taken_in, tuesday.left),
        (Weight::ZERO, Weight::ZERO)
    );
    assert_eq!(tuesday.out[0].weight, lb("9.9"));
    assert_eq!(tuesday.proposed_reason, "below the plate minimum");
}

async fn carried(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "40").await;
    dock.held(MONDAY, 8, ana, "10").await;
    dock.moved(MONDAY, 9, part(ana, 1), Outlet::SoldWhole, "30", true)
        .await;
    let night = async |day| {
        run(&dock.db, SITE, day, at(THURSDAY, 25), false)
            .await
            .unwrap()
    };
    assert_eq!(told(&night(MONDAY).await), ["uncounted 10.00"]);
    // 08:00 hours into Monday to the end of Wednesday is less than three days.
    assert_eq!(told(&night(WEDNESDAY).await), ["uncounted 10.00"]);
    assert_eq!(
        told(&night(THURSDAY).await),
        ["hold_old 10.00", "uncounted 10.00"]
    );
    // More goes out of what was finished on Monday.
    dock.entered_on = Some(THURSDAY);
    dock.moved(WEDNESDAY, 9, part(ana, 1), Outlet::SoldWhole, "2", false)
        .await;
    let wednesday = run(&dock.db, SITE, WEDNESDAY, at(THURSDAY, 25), false)
        .await
        .unwrap();
    assert_eq!(
        told(&wednesday),
        ["reopened 2.00", "uncounted 10.00", "uncounted -2.00"]
    );
    assert_eq!(wednesday.flags[0].value.minor(), 1_050);
}

async fn at_once(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    dock.weigh_in(TUESDAY, 10, "ben", "40").await;
    let (one, two) = (leased::holder("one"), leased::holder("two"));
    let now_us = at(WEDNESDAY, 25);
    let (first, second) = tokio::join!(
        super::run(&dock.db, SITE, TUESDAY, now_us, false, &one),
        super::run(&dock.db, SITE, TUESDAY, now_us, false, &two),
    );
    // One works; the other comes after it, or says who does.
    let told = [first, second];
    assert!(told.iter().any(Result::is_ok), "{told:?}");
    for night in told {
        let outcome = match night {
            Ok(outcome) => outcome,
            Err(NightError::Held { .. }) => dock.night(TUESDAY).await,
            Err(other) => panic!("{other}"),
        };
        assert_eq!(
            (outcome.doc, outcome.revision),
            (dock.bytes(TUESDAY).await.1, 1)
        );
    }
    assert_eq!(dock.bytes(MONDAY).await.0, 1);
    let mut tx = dock.db.read().await.unwrap();
    let rows = tx.fetch("SELECT COUNT(*) FROM close", &[]).await.unwrap();
    assert_eq!(
        rows[0].int(0),
        3,
        "the day the site was set up, Monday and Tuesday"
    );
    tx.rollback().await;
}

async fn dry(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    let entries = dock.entries().await;
    // Tuesday is not over, and Monday was never closed.
    let outcome = run(&dock.db, SITE, TUESDAY, at(TUESDAY, 12), true)
        .await
        .unwrap();
    assert_eq!((outcome.revision, outcome.changed), (1, true));
    assert_eq!(read(&outcome).balance.opening, lb("40"));
    assert_eq!(dock.entries().await, entries);
    let night = dock.night(TUESDAY).await;
    assert_eq!(
        night.doc, outcome.doc,
        "what a dry run shows is what is then closed"
    );
    let again = run(&dock.db, SITE, TUESDAY, at(THURSDAY, 1), true)
        .await
        .unwrap();
    assert_eq!((again.revision, again.changed), (1, false));
}

async fn refused(db: Db) {
    let dock = Dock::open(db).await;
    let noon = at(MONDAY, 8);
    for (site, day, dry_run, why) in [
        (
            SITE,
            20_310_231,
            false,
            "20310231 is not a day: write it as 2031-05-02",
        ),
        (9, MONDAY, false, "there is no site 9"),
        (
            SITE,
            MONDAY,
            false,
            "2031-05-05 is not over: it ends at 2031-05-06T04:00:00-04:00; a dry run shows it as it \
             stands",
        ),
        (SITE, TUESDAY, true, "2031-05-06 has not begun"),
    ] {
        let refusal = run(&dock.db, site, day, noon, dry_run).await.unwrap_err();
        assert_eq!(refusal.to_string(), why);
    }
    // The very instant at which it ends is after it.
    assert!(
        run(&dock.db, SITE, MONDAY, at(MONDAY, 24) - 1, false)
            .await
            .is_err()
    );
    assert!(
        run(&dock.db, SITE, MONDAY, at(MONDAY, 24), false)
            .await
            .is_ok()
    );
}

/// What the view says a part holds is what the close says.
async fn book(db: Db) {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "40").await;
    let ben = dock.weigh_in(MONDAY, 7, "ben", "20").await;
    let gone = dock.weigh_in(MONDAY, 7, "cal", "5").await;
    dock.void(MONDAY, gone, "cal", 2_625).await;
    dock.held(MONDAY, 8, ana, "10").await;
    dock.cut(MONDAY, 9, "ana", part(ana, 1), ["10", "3", "6.8", "0.2"])
        .await;
    dock.moved(MONDAY, 10, part(ben, 1), Outlet::Soup, "19.95", false)
        .await;
    dock.counted(MONDAY, 20, &[(part(ana, 1), "18.5"), (part(ana, 2), "9.8")])
        .await;
    dock.night(MONDAY).await;
    let bin = [(part(ana, 1), "18.5"), (part(ana, 2), "9.8")];
    dock.pooled_and_counted(TUESDAY, 3, &bin, "28").await;
    let tuesday = read(&dock.night(TUESDAY).await);

    let mut tx = dock.db.read().await.unwrap();
    let (first, last) = (
        entry_id(MONDAY, SITE, 0),
        entry_id(TUESDAY, SITE, 9_999_999),
    );
    let sql = "SELECT from_place, to_place, amount FROM weight_book WHERE entry BETWEEN ? AND ?";
    let mut holds: BTreeMap<String, i64> = BTreeMap::new();
    for row in tx
        .fetch(sql, &[Val::Int(first), Val::Int(last)])
        .await
        .unwrap()
    {
        *holds.entry(row.text(0).to_owned()).or_default() -= row.int(2);
        *holds.entry(row.text(1).to_owned()).or_default() += row.int(2);
    }
    tx.rollback().await;
    holds.retain(|place, weight| place.starts_with("part:") && *weight != 0);
    let place =
        |part: PartId| format!("part:{}.{}.{}", part.lot.number(), part.lot.place(), part.n);
    let closed: BTreeMap<_, _> = tuesday
        .parts
        .iter()
        .filter(|row| !row.closing.is_zero())
        .map(|row| (place(row.part), row.closing.units()))
        .collect();
    assert_eq!(closed.len(), 2, "the pool and the fillet");
    assert_eq!(holds, closed);
}

async fn shown_cold(db: Db) {
    let mut dock = Dock::open(db).await;
    // Taken in warm on Monday at 22 h, cold within 4 hours as nobody set otherwise: due on
    // Tuesday. And a ticket of Tuesday that is due on that day as well.
    let mut warm = async |day, hours| {
        let (asked, mut ticket) = paper("ana", "40", Undersize::No);
        ticket.lots[0].received.reprobe_due_us = Some(at(day, hours + 4));
        let doc = entry_doc(&asked, &ticket);
        dock.deed("weigh_in", day, at(day, hours), doc, vec![], vec![])
            .await
    };
    let (monday, tuesday) = (warm(MONDAY, 22).await, warm(TUESDAY, 5).await);
    // The same at another dock, whose entries lie between these two.
    let mut tx = dock.db.write().await.unwrap();
    let sql = "INSERT INTO entry (id, kind, party, actor, happened_us, recorded_us, doc) \
               SELECT id + 10000000, kind, party, actor, happened_us, recorded_us, doc \
               FROM entry WHERE id = ?";
    assert_eq!(tx.execute(sql, &[Val::Int(monday)]).await.unwrap(), 1);
    tx.commit().await.unwrap();

    let outcome = dock.night(TUESDAY).await;
    let of_kind = |flag: &&Flag| flag.kind == FlagKind::NeverShownCold;
    let flags = outcome.flags.iter().filter(of_kind);
    let subjects: Vec<_> = flags.map(|flag| flag.subject.clone()).collect();
    let lots = [monday, tuesday].map(|lot| part(lot, 1).lot.to_string());
    assert_eq!(subjects, lots);
}

async fn between(db: Db) {
    let mut dock = Dock::open(db).await;
    dock.weigh_in(MONDAY, 10, "ana", "40").await;
    let outcome = dock.night(WEDNESDAY).await;
    assert_eq!(outcome.also, [20_310_101, MONDAY, TUESDAY]);
    assert_eq!(told(&outcome), ["uncounted 40.00"]);
    assert_eq!(told(&dock.night(TUESDAY).await), ["uncounted 40.00"]);
}
