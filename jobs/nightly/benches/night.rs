//! What a night costs on a book with years behind it, and what a rebuild does.
//!
//! A buyer with five docks: on each dock's day 200 tickets of four lots, three of which
//! are sold whole and one is cut; the fillet is counted, stays overnight and is sold the
//! next day, so a thousand lots a day, every day closed by the night itself and its close kept. The
//! book is made by the bare writer, two docks' nights under way at once, then
//!
//! - the night of one more day is timed at the smaller and at the larger history, each in
//!   turn, on days that both books got alike;
//! - the aggregation of a rebuild (`weight_of_day` of every day, day by day, two docks at
//!   once) is timed against one bare GROUP BY over the whole weight book, in turn; both must
//!   give the same sums;
//! - a rebuild of the whole book runs in a process of its own, which says how long it took
//!   and the most memory it had (`VmHWM`); every day must come out as it is stored;
//! - `night.py` does the same sums with pandas, and must come to the same total.
//!
//! Only ratios of one run count. Nothing is gated. On SQLite; on PostgreSQL, without the
//! script, where `WEIGHHOUSE_TEST_POSTGRES` names an administrator of one, best by its
//! Unix socket.
//!
//! `cargo bench -p nightly --bench night`, with
//!
//! - `WEIGHHOUSE_BENCH_LOTS=100000,500000` for other sizes than 1 and 5 million,
//! - `WEIGHHOUSE_BENCH_PYTHON=python3` for an interpreter that has pandas.

#![expect(clippy::unwrap_used, reason = "a benchmark may panic")]

use std::collections::BTreeMap;
use std::process::Command;
use std::time::{Duration, Instant};

use books::close::{self, WeightKey};
use books::doc::entry_doc;
use books::pay::{self, Account};
use books::table::{COUNTED, LINE, LOT, MAKING_IN, MAKING_OUT, MOVE, PART};
use books::testing::{Book, POSTGRES};
use books::{Answer, Cell, Db, Deed, Row, Scribe, Val, entry_id, register};
use nightly::Holder;
use rules::business_day::{SiteClock, next_day};
use rules::fish::{Grade, Outlet, Presentation, Storage, Undersize};
use rules::ids::{DayNumber, LotCode, PartId};
use rules::making::{Fate, Made, MadeFrom, MadeSource, Making, MakingAsked, MakingKind};
use rules::money::{Currency, Money, UnitPrice};
use rules::office::Site;
use rules::stock::{
    CountAsked, CountDone, CountedPart, Found, Moved, MovementAsked, PartRef, Taken, TakenFrom,
};
use rules::ticket::{
    Confirmation, Decision, Landing, Line, LotIn, Pieces, Receiving, SmallFish, Ticket, TicketLot,
    WeighIn,
};
use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};
use tokio::task::JoinSet;

const SITES: i64 = 5;
const TICKETS: usize = 200;
/// Four on the ticket and a fillet.
const LOTS_OF_A_TICKET: usize = 5;
const DIVERS: usize = 8;
/// Docks whose days are worked on at once: nights while a book is filled, and sums.
const AT_ONCE: usize = 2;
const FIRST: DayNumber = 20_200_106;
/// Nights timed at each size.
const NIGHTS: usize = 7;
const ROUNDS: usize = 3;
/// Names the book of a process that is to rebuild it.
const REBUILD: &str = "WEIGHHOUSE_BENCH_REBUILD";

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap();
    if let Ok(url) = std::env::var(REBUILD) {
        runtime.block_on(rebuild(&url));
        return;
    }
    let sizes = std::env::var("WEIGHHOUSE_BENCH_LOTS");
    let sizes = sizes.as_deref().unwrap_or("1000000,5000000");
    let sizes: Vec<usize> = sizes.split(',').map(|lots| lots.parse().unwrap()).collect();
    let [small, large] = sizes[..] else {
        panic!("two sizes: {sizes:?}")
    };
    runtime.block_on(async {
        if std::env::var_os(POSTGRES).is_some() {
            let books = [Book::postgres().await, Book::postgres().await];
            measure("PostgreSQL", books, small, large).await;
        } else {
            let books = [Book::sqlite(), Book::sqlite()];
            measure("SQLite", books, small, large).await;
        }
    });
}

fn holder() -> Holder {
    Holder {
        name: "bench".to_owned(),
        clock_us: || 0,
        is_gone: |_| false,
    }
}

async fn measure(engine: &str, [one, two]: [Book; 2], small: usize, large: usize) {
    println!("\n{engine}");
    let mut yards = [Yard::open(&one).await, Yard::open(&two).await];
    for (yard, lots) in yards.iter_mut().zip([small, large]) {
        yard.fill(lots).await;
    }
    nights(&mut yards).await;
    let [first, second] = yards;
    first.scribe.stop().await;
    first.db.close().await;
    one.remove().await;

    sums(&second.db).await;
    let (days, file) = (second.days, Db::file_of(&two.url));
    let total = total(&second.db).await;
    second.scribe.stop().await;
    second.db.close().await;
    let child = Command::new(std::env::current_exe().unwrap())
        .env(REBUILD, &two.url)
        // As the timer in the README runs the night.
        .env("MALLOC_ARENA_MAX", "1")
        .status()
        .unwrap();
    assert!(child.success(), "the rebuild of {days} days");
    if let (Some(file), Ok(python)) = (file, std::env::var("WEIGHHOUSE_BENCH_PYTHON")) {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/night.py");
        let done = Command::new(python).arg(script).arg(file).output().unwrap();
        let said = String::from_utf8_lossy(&done.stdout);
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        let sum = said.split_whitespace().last().unwrap();
        assert_eq!(sum, total.to_string(), "pandas comes to the same total");
        print!("  {said}");
    }
    two.remove().await;
}

fn ms(times: &mut [Duration]) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1000.0
}

/// Nights of days that both books get alike, in turn.
async fn nights(yards: &mut [Yard; 2]) {
    let mut times = [Vec::new(), Vec::new()];
    for _ in 0..NIGHTS {
        for (yard, times) in yards.iter_mut().zip(&mut times) {
            yard.weigh(1).await;
            let started = Instant::now();
            yard.night(1).await;
            times.push(started.elapsed());
            for site in 2..=SITES {
                yard.weigh(site).await;
                yard.night(site).await;
            }
            yard.turn();
        }
    }
    let [small, large] = times.each_mut().map(|times| ms(times));
    println!(
        "  a night of 1,000 lots, median of {NIGHTS}: {small:.0} ms with {} lots behind it, \
         {large:.0} ms with {}: {:+.1} %",
        yards[0].lots,
        yards[1].lots,
        (large / small - 1.0) * 100.0
    );
}

/// The sums of every day, day by day, sites side by side as their nights are, against one
/// statement over all, to which the engine gives as many processes as it likes.
async fn sums(db: &Db) {
    let (mut by_day, mut bare) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let mut tx = db.read().await.unwrap();
        let started = Instant::now();
        let all = close::weight_of_book(&mut tx).await.unwrap();
        bare.push(started.elapsed());
        tx.rollback().await;

        let started = Instant::now();
        let mut days = BTreeMap::new();
        let (mut sites, mut under_way) = (1..=SITES, JoinSet::new());
        for site in sites.by_ref().take(AT_ONCE) {
            under_way.spawn(sums_of_site(db.clone(), site));
        }
        while let Some(of_site) = under_way.join_next().await {
            days.extend(of_site.unwrap());
            if let Some(site) = sites.next() {
                under_way.spawn(sums_of_site(db.clone(), site));
            }
        }
        by_day.push(started.elapsed());
        assert_eq!(days, all, "both give the same sums");
    }
    let (by_day, bare) = (ms(&mut by_day), ms(&mut bare));
    println!(
        "  weight of every day added up, day by day, {AT_ONCE} sites at once: {by_day:.0} ms; \
         one bare GROUP BY: {bare:.0} ms; ratio {:.2}",
        by_day / bare
    );
}

async fn sums_of_site(db: Db, site: i64) -> BTreeMap<(i64, WeightKey), Weight> {
    let mut tx = db.read().await.unwrap();
    let mut days = BTreeMap::new();
    let mut after = 0;
    loop {
        let closed = close::closed_days(&mut tx, site, after, 64).await.unwrap();
        let Some((last, _)) = closed.last() else {
            break;
        };
        after = *last;
        for (day, _) in closed {
            let of_day = close::weight_of_day(&mut tx, site, day).await.unwrap();
            let number = day * 10_000 + site;
            days.extend(of_day.into_iter().map(|(key, sum)| ((number, key), sum)));
        }
    }
    tx.rollback().await;
    days
}

/// All weight that went from one place to another.
async fn total(db: &Db) -> i128 {
    let mut tx = db.read().await.unwrap();
    let all = close::weight_of_book(&mut tx).await.unwrap();
    tx.rollback().await;
    all.values().map(|weight| i128::from(weight.units())).sum()
}

/// In a process of its own: rebuilds every site.
async fn rebuild(url: &str) {
    let db = Db::open(url).await.unwrap();
    let started = Instant::now();
    let mut days = 0;
    for site in 1..=SITES {
        let rebuilt = nightly::rebuild(&db, site, false, &holder(), &mut |_, _| {}).await;
        let rebuilt = rebuilt.unwrap();
        assert_eq!((rebuilt.days, rebuilt.exit_code()), (rebuilt.same, 0));
        days += rebuilt.days;
    }
    let took = started.elapsed().as_secs_f64();
    db.close().await;
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let most = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    println!(
        "  rebuild of {days} closed days: {took:.1} s, all as they were stored; most memory{}",
        most.unwrap_or(" not known").replace('\t', " ")
    );
}

/// A book that is being filled.
struct Yard {
    db: Db,
    scribe: Scribe,
    day: DayNumber,
    /// Site-days done, lots in all.
    days: usize,
    lots: usize,
    /// Fillets of the day before, by site.
    overnight: BTreeMap<i64, Vec<(PartId, i64)>>,
    requests: usize,
    dice: u64,
    tickets: Vec<String>,
}

impl Yard {
    async fn open(book: &Book) -> Yard {
        let db = book.open().await;
        let mut yard = Yard {
            scribe: Scribe::start(db.clone(), 4096),
            db,
            day: FIRST,
            days: 0,
            lots: 0,
            overnight: BTreeMap::new(),
            requests: 0,
            dice: 20_200_106,
            tickets: (0..DIVERS).map(|diver| paper(&name(diver))).collect(),
        };
        let mut deeds = Vec::new();
        for number in 1..=SITES {
            let site = Site {
                number,
                name: format!("Dock {number}"),
                clock: clock(),
                currency: usd(),
                buyer: "buyer".to_owned(),
                shown_unit: WeightUnit::Lb,
                location_description: String::new(),
            };
            let rows = vec![register::row("site", number, "", 0)];
            deeds.push(yard.deed("site", 0, 20_200_101, entry_doc(&site, &site), rows));
        }
        yard.record(deeds).await;
        yard
    }

    fn deed(
        &mut self,
        kind: &'static str,
        site: i64,
        day: DayNumber,
        doc: String,
        rows: Vec<Row>,
    ) -> Deed {
        self.requests += 1;
        let happened_us = clock().start_us(day) + 3_600_000_000 + self.requests as i64 % 36_000_000;
        Deed {
            site,
            day,
            pay_day: None,
            request_id: format!("bench-{}", self.requests),
            print: [0; 32],
            kind,
            party: String::new(),
            actor: "office".to_owned(),
            happened_us,
            recorded_us: happened_us,
            must_hold: Vec::new(),
            bumps: Vec::new(),
            doc,
            rows,
        }
    }

    async fn record(&self, deeds: Vec<Deed>) {
        for answer in self.scribe.record_all(deeds).await {
            assert!(matches!(answer, Answer::Recorded(_)), "{answer:?}");
        }
    }

    fn roll(&mut self, sides: u64) -> i64 {
        // A linear congruential step (Knuth's constants, from memory): any will do.
        self.dice = self
            .dice
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.dice >> 33) % sides) as i64
    }

    async fn fill(&mut self, lots: usize) {
        let started = Instant::now();
        while self.lots < lots {
            for site in 1..=SITES {
                self.weigh(site).await;
            }
            // Each site's night is a run of its own, and may be under way beside another.
            let mut nights = JoinSet::new();
            for site in 1..=SITES {
                if nights.len() == AT_ONCE {
                    nights.join_next().await.unwrap().unwrap();
                }
                nights.spawn(night(self.db.clone(), site, self.day));
                self.days += 1;
            }
            while let Some(night) = nights.join_next().await {
                night.unwrap();
            }
            self.turn();
        }
        println!(
            "  {} lots on {} site-days written and closed in {:.0} s",
            self.lots,
            self.days,
            started.elapsed().as_secs_f64()
        );
    }

    fn turn(&mut self) {
        self.day = next_day(self.day).unwrap();
    }

    async fn night(&mut self, site: i64) {
        night(self.db.clone(), site, self.day).await;
        self.days += 1;
    }

    /// A dock's day, without its night.
    async fn weigh(&mut self, site: i64) {
        let day = self.day;
        let mut tx = self.db.read().await.unwrap();
        let sql = "SELECT next FROM head WHERE site = ? AND day = ?";
        let rows = tx.fetch(sql, &[site, day].map(Val::Int)).await.unwrap();
        tx.rollback().await;
        // Deeds of one writer get their numbers in the order in which they are handed in.
        let mut seq = rows.first().map_or(1, |row| row.int(0));
        let mut deeds = Vec::new();
        for gone in self.overnight.remove(&site).unwrap_or_default().chunks(10) {
            let rows = (1..).zip(gone).map(|(n, fish)| moved(n, *fish)).collect();
            deeds.push(self.deed("movement", site, day, sale(site, gone), rows));
            seq += 1;
        }
        let mut fillets = Vec::new();
        for _ in 0..TICKETS {
            let diver = self.roll(DIVERS as u64) as usize;
            let (ticket, cut) = (entry_id(day, site, seq), entry_id(day, site, seq + 2));
            // 5 to 45 lb, in hundredths.
            let weights: Vec<i64> = (0..4).map(|_| lb(500 + self.roll(4_000))).collect();
            let mut rows = Vec::new();
            for (place, weight) in (1_i64..).zip(&weights) {
                rows.extend(lot(
                    Cell::Own,
                    place,
                    site,
                    &name(diver),
                    Presentation::Whole,
                    0,
                ));
                rows.push(line(place, *weight));
            }
            let supplier = name(diver);
            let owed = Account::of("owed", &supplier);
            rows.extend(pay::rows([(Account::site("purchases"), owed, 10_000)]));
            let doc = self.tickets[diver].clone();
            deeds.push(self.deed("weigh_in", site, day, doc, rows));

            let fish: Vec<(PartId, i64)> = (1_i64..)
                .zip(&weights)
                .map(|(place, weight)| (part(ticket, place), *weight))
                .collect();
            let whole = fish[..3].iter();
            let rows = (1..).zip(whole).map(|(n, fish)| moved(n, *fish)).collect();
            deeds.push(self.deed("movement", site, day, sale(site, &fish[..3]), rows));

            let (fillet, frames) = (fish[3].1 * 3 / 10, fish[3].1 * 68 / 100);
            let (doc, rows) = cutting(site, &name(diver), fish[3], fillet, frames);
            deeds.push(self.deed("making", site, day, doc, rows));
            fillets.push((part(cut, 1), fillet));
            seq += 3;
        }
        let rows = (1..).zip(&fillets).map(|(n, fish)| counted(n, *fish));
        let rows = rows.collect();
        deeds.push(self.deed("count", site, day, count(site, day, &fillets), rows));
        self.overnight.insert(site, fillets);
        self.lots += TICKETS * LOTS_OF_A_TICKET;
        self.record(deeds).await;
    }
}

async fn night(db: Db, site: i64, day: DayNumber) {
    let now_us = clock().end_us(day) + 3_600_000_000;
    let night = nightly::run(&db, site, day, now_us, false, &holder()).await;
    assert_eq!(night.unwrap().revision, 1);
}

fn name(diver: usize) -> String {
    format!("diver-{diver}")
}

fn usd() -> Currency {
    Currency::new("USD").unwrap()
}

fn clock() -> SiteClock {
    SiteClock::new("America/New_York", 4).unwrap()
}

/// Hundredths of a pound, in 10 ng.
fn lb(hundredths: i64) -> i64 {
    hundredths * 453_592_370
}

fn part(lot: i64, place: i64) -> PartId {
    let lot = LotCode::new(lot, place).unwrap();
    PartId { lot, n: 1 }
}

/// A lot of one part.
fn lot(
    number: Cell,
    place: i64,
    site: i64,
    supplier: &str,
    presentation: Presentation,
    making: i64,
) -> [Row; 2] {
    let drained = Storage::DrainedIce.number();
    [
        Row::new(
            &LOT,
            [
                number.clone(),
                place.into(),
                Cell::Own,
                site.into(),
                "PZO".into(),
                presentation.number().into(),
                drained.into(),
                supplier.into(),
                making.into(),
                0.into(),
            ],
        ),
        Row::new(
            &PART,
            [
                number,
                place.into(),
                1.into(),
                i64::from(making == 0).into(),
                "".into(),
                0.into(),
                0.into(),
                Undersize::No.number().into(),
                Cell::Own,
            ],
        ),
    ]
}

fn line(place: i64, weight: i64) -> Row {
    let own = [Cell::Own, place.into(), Cell::Own, place.into(), 1.into()];
    let rest = [weight, 0, 2_500, 2_500].map(Cell::Int);
    Row {
        table: &LINE,
        cells: own.into_iter().chain(rest).collect(),
    }
}

/// All of a part, sold whole.
fn moved(n: i64, (part, weight): (PartId, i64)) -> Row {
    Row::new(
        &MOVE,
        [
            Cell::Own,
            n.into(),
            part.lot.number().into(),
            part.lot.place().into(),
            part.n.into(),
            Outlet::SoldWhole.number().into(),
            "".into(),
            weight.into(),
            1.into(),
            0.into(),
        ],
    )
}

fn counted(n: i64, (part, weight): (PartId, i64)) -> Row {
    Row::new(
        &COUNTED,
        [
            Cell::Own,
            n.into(),
            part.lot.number().into(),
            part.lot.place().into(),
            part.n.into(),
            weight.into(),
        ],
    )
}

/// All of a part cut into one lot of fillet, the frames thrown out.
fn cutting(
    site: i64,
    diver: &str,
    (from, input): (PartId, i64),
    fillet: i64,
    frames: i64,
) -> (String, Vec<Row>) {
    let loss = input - fillet - frames;
    let made = |presentation, fate, place, weight| Made {
        presentation,
        fate,
        place,
        weight: Some(Weight::from_units(weight)),
        storage: None,
        reason: String::new(),
        grade: Grade::none(),
    };
    let making = Making {
        kind: MakingKind::Cut,
        specification: "skinless".to_owned(),
        cutter: "cutter".to_owned(),
        kitchen: String::new(),
        minutes: "12.5".to_owned(),
        inputs: vec![MadeFrom {
            source: MadeSource::Part(from),
            weight: Weight::from_units(input),
            emptied: true,
            supplier: diver.to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
        }],
        outputs: vec![
            made(Presentation::FilletSkinless, Fate::Lot, Some(1), fillet),
            made(Presentation::Frames, Fate::Discard, None, frames),
        ],
        input: Weight::from_units(input),
        fillet: Weight::from_units(fillet),
        cutting_loss: Weight::from_units(loss),
        table_unaccounted: Weight::ZERO,
        not_weighed: Weight::ZERO,
        notices: Vec::new(),
    };
    let asked = MakingAsked {
        site,
        kind: MakingKind::Cut,
        inputs: vec![],
        outputs: vec![],
        specification: making.specification.clone(),
        cutter: making.cutter.clone(),
        kitchen: String::new(),
        minutes: making.minutes.clone(),
        happened_us: None,
        tally: None,
        plan_line: String::new(),
    };
    let kind = MakingKind::Cut.number();
    let mut rows = Vec::from(lot(
        Cell::Own,
        1,
        site,
        diver,
        Presentation::FilletSkinless,
        kind,
    ));
    rows.push(Row::new(
        &MAKING_IN,
        [
            Cell::Own,
            1.into(),
            from.lot.number().into(),
            from.lot.place().into(),
            from.n.into(),
            input.into(),
            1.into(),
        ],
    ));
    for (n, fate, weight) in [
        (1, "lot", fillet),
        (2, "discard", frames),
        (3, "cutting_loss", loss),
    ] {
        let of_lot = |cell: Cell| if fate == "lot" { cell } else { Cell::Int(0) };
        rows.push(Row::new(
            &MAKING_OUT,
            [
                Cell::Own,
                n.into(),
                fate.into(),
                of_lot(Cell::Own),
                of_lot(1.into()),
                of_lot(1.into()),
                weight.into(),
            ],
        ));
    }
    (entry_doc(&asked, &making), rows)
}

/// The document of a diver's tickets, as far as the night reads it: what was weighed
/// stands in the rows.
fn paper(diver: &str) -> String {
    let price = UnitPrice::new("5.25", usd(), WeightUnit::Lb).unwrap();
    let amount = Money::new(2_500, usd());
    let asked = WeighIn {
        site: 1,
        harvester: diver.to_owned(),
        landing: Landing::default(),
        lots: (0..4).map(|_| lot_in()).collect(),
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
    let line = |lot| Line {
        lot,
        part: 1,
        band: 1,
        band_name: "plate".to_owned(),
        band_from: Weight::from_units(lb(50)),
        band_to: Some(Weight::from_units(lb(100))),
        grade: Grade::none(),
        condition: None,
        held: false,
        pieces: Pieces::Counted(30),
        net: Weight::from_units(lb(2_000)),
        ice: Weight::ZERO,
        list_price: price,
        price,
        amount,
        undersize: Undersize::No,
        proposed: None,
        proposed_reason: String::new(),
        agreed: None,
    };
    let lot = |n| TicketLot {
        n,
        place: Some(n),
        species_name: "Lionfish".to_owned(),
        price_list: 0,
        weighed: vec![],
        received: Default::default(),
    };
    let ticket = Ticket {
        priced_us: 0,
        number: None,
        lots: (1..=4).map(lot).collect(),
        lines: (1..=4).map(line).collect(),
        not_bought: vec![],
        adjustments: vec![],
        lines_total: Money::new(10_000, usd()),
        payout: Money::new(10_000, usd()),
        owed: Money::new(10_000, usd()),
        held: Money::zero(usd()),
        undersize: Weight::ZERO,
        notices: vec![],
        released: Vec::new(),
        shares: Vec::new(),
    };
    entry_doc(&asked, &ticket)
}

fn lot_in() -> LotIn {
    LotIn {
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        storage: Some(Storage::DrainedIce),
        weighings: vec![],
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
    }
}

/// A weight as somebody read it.
fn read(weight: i64) -> Reading {
    let weight = Weight::from_units(weight);
    Reading {
        text: weight.shown(WeightUnit::Lb),
        unit: WeightUnit::Lb,
        scale: String::new(),
        source: ReadingSource::Keyed,
        weight,
    }
}

fn named(part: PartId) -> PartRef {
    PartRef {
        lot: part.lot,
        part: Some(part.n),
    }
}

/// The document of a sale of whole fish.
fn sale(site: i64, fish: &[(PartId, i64)]) -> String {
    let taken = |&(part, weight): &(PartId, i64)| Taken {
        part: named(part),
        weight: read(weight),
        emptied: true,
    };
    let asked = MovementAsked {
        site,
        outlet: Outlet::SoldWhole,
        taken: fish.iter().map(taken).collect(),
        counterparty: String::new(),
        reason: String::new(),
        cause: None,
        temperature: None,
        price: None,
        plan_line: String::new(),
        happened_us: None,
    };
    let taken = |&(part, weight): &(PartId, i64)| TakenFrom {
        part,
        weight: Weight::from_units(weight),
        emptied: true,
    };
    let moved = Moved {
        taken: fish.iter().map(taken).collect(),
        buyers_loss: None,
        notices: vec![],
    };
    entry_doc(&asked, &moved)
}

/// The document of a count.
fn count(site: i64, day: DayNumber, found: &[(PartId, i64)]) -> String {
    let counted = |&(part, weight): &(PartId, i64)| CountedPart {
        part: named(part),
        weight: read(weight),
    };
    let asked = CountAsked {
        site,
        closes: day,
        counted: found.iter().map(counted).collect(),
        pool: None,
        happened_us: None,
    };
    let as_found = |&(part, weight): &(PartId, i64)| Found {
        part,
        weight: Weight::from_units(weight),
    };
    let done = CountDone {
        counted: found.iter().map(as_found).collect(),
        pool: None,
    };
    entry_doc(&asked, &done)
}
