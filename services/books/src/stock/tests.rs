//! A lot is found with all that happened to it, on both engines.

use rules::fish::{Condition, Grade, Outlet, PartKey, Presentation, Storage, Undersize};
use rules::making::MakingKind;
use rules::stock::standing;

use super::*;
use crate::conformance;
use crate::db::Db;
use crate::entries::tests::{FRIDAY, SATURDAY, corrupt_at, damage, deed, ends, friday, write};
use crate::scribe::{Condition as Must, Deed, lot_rows};
use crate::table::{
    COUNTED, Cell, INWARD, LOT, MAKING_IN, MAKING_OUT, MOVE, PART, REWEIGH, Row, SHIFT,
};
use crate::tickets::tests::{held, line, lot as code, ticket, units, weighs_in};
use crate::tickets::{Known, part_row};

mod schema;

conformance! {
    a_lot_tells_all_that_happened_to_it, check_events;
    what_was_seen_of_a_lot_is_what_the_scribe_compares, check_seen;
    a_made_lot_has_no_ticket, check_made;
    the_last_ticket_of_a_chain_stands_for_its_lots, check_chain;
    a_voided_ticket_leaves_nothing_in_its_lots, check_void;
    only_a_void_or_a_rewrite_ends_a_ticket, check_settled;
    pay_leaves_a_part_with_what_is_thrown_out, check_thrown_out;
    what_was_weighed_again_stands_beside_the_lot, check_reweighs;
    lots_under_a_number_come_in_order_of_place, check_under;
    an_entry_leads_to_what_it_was_about, check_leads;
    a_row_that_does_not_read_names_its_table, check_corrupt;
}

/// The lot that things happen to: the first of Friday's first ticket.
fn first() -> LotCode {
    code(friday(1), 1)
}

async fn read(db: &Db, code: LotCode) -> Lot {
    let mut tx = db.read().await.unwrap();
    lot(&mut tx, code).await.unwrap().unwrap()
}

/// A deed of Friday's that happened at an instant and wrote these rows.
fn happens(happened_us: i64, kind: &'static str, request_id: &str, rows: Vec<Row>) -> Deed {
    Deed {
        happened_us,
        rows,
        ..deed(kind, request_id)
    }
}

/// A row of a lot: what the deed says before the lot's code, and after it.
fn about(table: &'static crate::Table, before: &[Cell], code: LotCode, after: &[Cell]) -> Row {
    let lot = [code.number().into(), code.place().into()];
    Row {
        table,
        cells: [&[Cell::Own], before, &lot, after].concat(),
    }
}

fn shift(kind: &str, from: i64, to: i64, weight: i64, pay: i64) -> Row {
    let after = [from, to, weight, pay].map(Cell::Int);
    about(&SHIFT, &[1.into(), kind.into()], first(), &after)
}

fn moves(code: LotCode, part: i64, outlet: i64, weight: i64, pay: i64) -> Row {
    let after = [
        part.into(),
        outlet.into(),
        "ben".into(),
        weight.into(),
        0.into(),
        pay.into(),
    ];
    about(&MOVE, &[1.into()], code, &after)
}

fn inward_row(part: i64, weight: i64) -> Row {
    let before = [1, friday(3), 1].map(Cell::Int);
    about(&INWARD, &before, first(), &[part.into(), weight.into()])
}

fn used(n: i64, part: i64, weight: i64, emptied: i64) -> Row {
    let after = [part, weight, emptied].map(Cell::Int);
    about(&MAKING_IN, &[n.into()], first(), &after)
}

fn counted(n: i64, code: LotCode, part: i64, weight: i64) -> Row {
    about(&COUNTED, &[n.into()], code, &[part.into(), weight.into()])
}

/// A lot that the entry itself makes, with its one part.
fn makes(place: i64, weight: i64) -> Vec<Row> {
    let own = Cell::Own;
    let lot = vec![
        own.clone(),
        place.into(),
        own.clone(),
        1.into(),
        "PZO".into(),
        Presentation::FilletSkinless.number().into(),
        Storage::Frozen.number().into(),
        "".into(),
        MakingKind::Cut.number().into(),
        (-7).into(),
    ];
    let mut part = vec![own.clone(), place.into(), 1.into(), 0.into(), "0".into()];
    part.extend([0, 0, 0].map(Cell::Int));
    part.push(own.clone());
    let mut out = vec![own.clone(), place.into(), "lot".into(), own, place.into()];
    out.extend([1, weight].map(Cell::Int));
    [(&LOT, lot), (&PART, part), (&MAKING_OUT, out)]
        .into_iter()
        .map(|(table, cells)| Row { table, cells })
        .collect()
}

/// A part beside those of the ticket.
fn sibling(n: i64, band: i64, grade: &str, held: bool) -> Part {
    Part {
        id: PartId { lot: first(), n },
        key: PartKey {
            band,
            grade: Grade::new(grade).unwrap(),
            condition: Some(Condition::Clean),
            held,
        },
        undersize: Undersize::NotKnown,
    }
}

async fn check_reweighs(db: Db) {
    let bought = ticket(
        "ana",
        &[("PZO", &[line(1, 100, 0, 1)]), ("PZO", &[line(1, 7, 0, 1)])],
    );
    write(&db, weighs_in("in", &bought, &Known::default())).await;
    let before = read(&db, first()).await;
    let again = |code, part: i64, weight: i64, note: &str| {
        let after = [part.into(), weight.into(), 100.into(), note.into()];
        about(&REWEIGH, &[], code, &after)
    };
    for (happened_us, id, row) in [
        (900, "one", again(first(), 1, 97, "wet")),
        (800, "two", again(first(), 0, 101, "")),
        (800, "other", again(code(friday(1), 2), 1, 9, "")),
    ] {
        write(&db, happens(happened_us, "reweigh", id, vec![row])).await;
    }
    let mut tx = db.read().await.unwrap();
    let found = reweighs(&mut tx, first()).await.unwrap();
    drop(tx);
    let told: Vec<_> = found
        .iter()
        .map(|r| {
            (
                r.happened_us,
                r.part,
                r.weight.units(),
                r.booked.units(),
                r.note.as_str(),
            )
        })
        .collect();
    assert_eq!(told, [(900, 1, 97, 100, "wet"), (800, 0, 101, 100, "")]);
    // Nothing moved, and whoever saw the lot before need not look again.
    assert_eq!(read(&db, first()).await, before);
}

/// Events as people would tell them: when, by which of Friday's entries, to
/// which part, what, the weight and the pay.
fn told(lot: &Lot) -> Vec<String> {
    lot.events
        .iter()
        .map(|event| {
            let weight = match event.event {
                StockEvent::In(weight) => format!("+{}", weight.units()),
                StockEvent::Out { weight, emptied } => {
                    let all = if emptied { " all" } else { "" };
                    format!("-{}{all}", weight.units())
                }
                StockEvent::Count(weight) => format!("={}", weight.units()),
            };
            let (at, entry) = (event.happened_us, event.entry - friday(0));
            let (part, what, pay) = (event.part, event.what.word(), event.pay);
            format!("{at} #{entry} part {part} {what} {weight} pay {pay}")
        })
        .collect()
}

/// Friday's first ticket, and what became of its first lot.
async fn story(db: &Db, mut after_each: impl AsyncFnMut(&Db)) {
    let small = held(line(2, 600, 0, 150));
    let (asked, mut written) = ticket(
        "ana",
        &[
            ("PZO", &[line(1, 4_000, 100, 1_000), small]),
            ("LCX", &[line(1, 90, 0, 9)]),
        ],
    );
    written.lines[0].undersize = Undersize::Yes;
    let weigh_in = weighs_in("one", &(asked, written), &Known::default());
    let other = code(friday(1), 2);
    let discard = Outlet::Discard.number();
    let mut cut = vec![used(1, 1, 800, 1)];
    cut.extend(makes(1, 300));
    let deeds = [
        weigh_in,
        happens(
            1_000,
            "hold",
            "r2",
            vec![
                part_row(&sibling(3, 1, "A", true)),
                shift("hold", 1, 3, 1_000, 250),
            ],
        ),
        happens(2_000, "movement", "r3", vec![moves(first(), 1, 1, 700, 0)]),
        // Recorded later than the movement, and happened before it.
        happens(
            1_500,
            "regrade",
            "r4",
            vec![
                part_row(&sibling(4, 1, "B", false)),
                shift("regrade", 1, 4, 500, 125),
            ],
        ),
        happens(2_500, "return", "r5", vec![inward_row(3, 100)]),
        // Two at one instant: in the order of their entries.
        happens(
            3_000,
            "movement",
            "r6",
            vec![moves(first(), 3, discard, 400, 75)],
        ),
        happens(
            3_000,
            "release",
            "r7",
            vec![
                part_row(&sibling(5, 2, "A", false)),
                shift("release", 2, 5, 600, 150),
            ],
        ),
        happens(4_000, "making", "r8", cut),
        happens(
            5_000,
            "count",
            "r9",
            vec![counted(1, first(), 3, 650), counted(2, first(), 1, 0)],
        ),
        // To another lot of the same ticket.
        happens(6_000, "movement", "r10", vec![moves(other, 1, 2, 50, 0)]),
        happens(7_000, "count", "r11", vec![counted(1, other, 1, 41)]),
    ];
    for deed in deeds {
        write(db, deed).await;
        after_each(db).await;
    }
}

async fn check_leads(db: Db) {
    story(&db, async |_| ()).await;
    let mut tx = db.read().await.unwrap();
    let mut of = Vec::new();
    for entry in [2, 3, 7, 8, 10].map(friday) {
        let tickets = tickets_of(&mut tx, entry).await.unwrap();
        let sources = sources_of(&mut tx, entry).await.unwrap();
        let kind = kind_of_making(&mut tx, entry).await.unwrap();
        of.push((
            tickets,
            sources.len(),
            kind,
            receiver_of(&mut tx, entry).await.unwrap(),
        ));
    }
    let ticket = vec![friday(1)];
    let plain = (ticket.clone(), 0, None, String::new());
    let cut = Some(MakingKind::Cut.number());
    let moved = (ticket, 0, None, "ben".to_owned());
    let made = (Vec::new(), 1, cut, String::new());
    assert_eq!(of, [plain.clone(), moved.clone(), plain, made, moved]);
    let source = PartId { lot: first(), n: 1 };
    assert_eq!(sources_of(&mut tx, friday(8)).await.unwrap(), [source]);
}

async fn check_events(db: Db) {
    let unknown = code(friday(1), 1);
    let mut tx = db.read().await.unwrap();
    assert_eq!(lot(&mut tx, unknown).await.unwrap(), None);
    drop(tx);
    story(&db, async |_| ()).await;

    let lot = read(&db, first()).await;
    assert_eq!(
        told(&lot),
        [
            "500 #1 part 1 weighed in +4000 pay 1000",
            "500 #1 part 2 weighed in +600 pay 150",
            "1000 #2 part 1 hold -1000 pay -250",
            "1000 #2 part 3 hold +1000 pay 250",
            "1500 #4 part 1 regrade -500 pay -125",
            "1500 #4 part 4 regrade +500 pay 125",
            "2000 #3 part 1 sold whole -700 pay 0",
            "2500 #5 part 3 came back +100 pay 0",
            "3000 #6 part 3 discard -400 pay -75",
            "3000 #7 part 2 release -600 pay -150",
            "3000 #7 part 5 release +600 pay 150",
            "4000 #8 part 1 used in a making -800 all pay 0",
            "5000 #9 part 3 counted =650 pay 0",
            "5000 #9 part 1 counted =0 pay 0",
        ]
    );
    let of_ticket = |n, held, undersize| Part {
        undersize,
        ..sibling(n, n, "A", held)
    };
    let head = Lot {
        parts: Vec::new(),
        events: Vec::new(),
        ..lot.clone()
    };
    let expected = Lot {
        code: first(),
        entry: friday(1),
        site: 1,
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        storage: None,
        supplier: "ana".to_owned(),
        making: 0,
        harvested_us: 500,
        ticket: friday(1),
        voided: false,
        parts: Vec::new(),
        events: Vec::new(),
        seen: 9,
    };
    assert_eq!(head, expected);
    assert_eq!(
        lot.parts,
        [
            of_ticket(1, false, Undersize::Yes),
            of_ticket(2, true, Undersize::No),
            sibling(3, 1, "A", true),
            sibling(4, 1, "B", false),
            sibling(5, 2, "A", false),
        ]
    );
    assert_eq!((lot.next_part(), lot.part(6)), (6, None));
    assert_eq!(lot.part(3), Some(&lot.parts[2]));

    // Pay goes with holds, releases and regrades, and with nothing that is sold or
    // cut. Of the 400 thrown out 100 had been brought back.
    for (part, minor, weight, left, finished) in [
        (1, 625, 2_500, 0, true),
        (2, 0, 0, 0, true),
        (3, 175, 700, 650, false),
        (4, 125, 500, 500, false),
        (5, 150, 600, 600, false),
        (6, 0, 0, 0, false),
    ] {
        let weight = units(weight);
        let sits = lot.pay_left(part);
        assert_eq!((sits.minor, sits.weight), (minor, weight), "{part}");
        // Of so little nothing would count as nothing.
        let exact = rules::office::Settings {
            finished_weight: rules::weight::Reading::new(
                "0",
                rules::weight::WeightUnit::Lb,
                "",
                rules::weight::ReadingSource::Keyed,
            )
            .ok(),
            finished_ppm: Some(0),
            ..Default::default()
        };
        let now = standing(&lot.steps(part), &exact);
        assert_eq!((now.left, now.finished), (units(left), finished), "{part}");
    }

    let other = read(&db, code(friday(1), 2)).await;
    assert_eq!(
        told(&other),
        [
            "500 #1 part 1 weighed in +90 pay 9",
            "6000 #10 part 1 soup-grade -50 pay 0",
            "7000 #11 part 1 counted =41 pay 0",
        ]
    );
}

async fn check_seen(db: Db) {
    let mut seen = Vec::new();
    story(&db, async |db| {
        let lot = read(db, first()).await;
        let mut tx = db.read().await.unwrap();
        let (number, place) = (first().number(), first().place());
        assert_eq!(lot.seen, lot_rows(&mut tx, number, place).await.unwrap());
        seen.push(lot.seen);
    })
    .await;
    // The ticket is none of it, and the count of two parts is two.
    assert_eq!(seen, [0, 1, 2, 3, 4, 5, 6, 7, 9, 9, 9]);
}

async fn check_made(db: Db) {
    story(&db, async |_| ()).await;
    // A bin that was pooled and counted in one step.
    let mut pool = vec![used(1, 4, 500, 0)];
    pool.extend(makes(1, 500));
    let found = [
        Cell::Own,
        1.into(),
        Cell::Own,
        1.into(),
        1.into(),
        480.into(),
    ];
    pool.push(Row::new(&COUNTED, found));
    let pool = write(&db, happens(8_000, "count", "pool", pool)).await;

    for (number, events, seen) in [
        (friday(8), &["4000 #8 part 1 made +300 pay 0"][..], 0),
        (
            pool,
            &[
                "8000 #12 part 1 made +500 pay 0",
                "8000 #12 part 1 counted =480 pay 0",
            ],
            1,
        ),
    ] {
        let made = read(&db, code(number, 1)).await;
        assert_eq!(told(&made), events);
        assert_eq!((made.ticket, made.voided, made.seen), (0, false, seen));
        assert_eq!((made.entry, made.making), (number, 1));
        assert_eq!(made.presentation, Presentation::FilletSkinless);
        assert_eq!(made.storage, Some(Storage::Frozen));
        assert_eq!((made.supplier.as_str(), made.harvested_us), ("", -7));
        let key = PartKey {
            band: 0,
            grade: Grade::none(),
            condition: None,
            held: false,
        };
        let parts: Vec<_> = made
            .parts
            .iter()
            .map(|part| (part.id.n, &part.key))
            .collect();
        assert_eq!(parts, [(1, &key)]);
        assert_eq!(made.pay_left(1), PayLeft::default(), "made fish bears none");
    }
}

/// A ticket with lots of one line each, of this weight; 0 is a lot left out.
/// It takes the place of another, whose number it goes on with.
async fn rewrites(db: &Db, old: i64, number: i64, lots: &[i64], known: &[i64]) -> i64 {
    let lines: Vec<Vec<_>> = lots
        .iter()
        .map(|net| match *net {
            0 => Vec::new(),
            net => vec![line(1, net, 0, net)],
        })
        .collect();
    let of: Vec<(&str, &[_])> = lines.iter().map(|lines| ("PZO", &lines[..])).collect();
    let (asked, mut written) = ticket("ana", &of);
    written.number = Some(number);
    for lot in &mut written.lots {
        // A lot keeps its place, also where one before it is left out.
        lot.place = lot.place.map(|_| lot.n);
    }
    let known = Known {
        lots: known.iter().copied().collect(),
        parts: known.iter().map(|place| (*place, 1)).collect(),
        owed_and_held: None,
        shares: Vec::new(),
    };
    let rewrite = Deed {
        must_hold: ends(old, "rewrite"),
        ..weighs_in(&format!("rewrites-{old}"), &(asked, written), &known)
    };
    write(db, rewrite).await
}

async fn check_chain(db: Db) {
    let one = ticket(
        "ana",
        &[
            ("PZO", &[line(1, 40, 0, 40)]),
            ("PZO", &[line(1, 50, 0, 50)]),
        ],
    );
    let one = write(&db, weighs_in("one", &one, &Known::default())).await;
    let sold = moves(code(one, 2), 1, 1, 7, 0);
    write(&db, happens(900, "movement", "sold", vec![sold])).await;
    // The second lot is dropped, a third is new; then the first weighs other.
    let two = rewrites(&db, one, one, &[41, 0, 60], &[1, 2]).await;
    let three = rewrites(&db, two, one, &[42, 0, 60], &[1, 2, 3]).await;

    let mut tx = db.read().await.unwrap();
    for ticket in [one, two, three] {
        let found = standing_ticket(&mut tx, ticket).await.unwrap();
        assert_eq!(found, (three, false), "{ticket}");
    }
    for (place, entry, events) in [
        (1, one, &["500 #4 part 1 weighed in +42 pay 42"][..]),
        // What moved out of it stays.
        (2, one, &["900 #2 part 1 sold whole -7 pay 0"]),
        (3, two, &["500 #4 part 1 weighed in +60 pay 60"]),
    ] {
        let lot = lot(&mut tx, code(one, place)).await.unwrap().unwrap();
        assert_eq!(told(&lot), events);
        assert_eq!((lot.entry, lot.ticket, lot.voided), (entry, three, false));
    }
}

async fn check_void(db: Db) {
    let one = ticket("ana", &[("PZO", &[line(1, 40, 0, 40)])]);
    let one = write(&db, weighs_in("one", &one, &Known::default())).await;
    let two = rewrites(&db, one, one, &[41], &[1]).await;
    let void = Deed {
        day: SATURDAY,
        must_hold: ends(two, "void"),
        ..deed("void", "void")
    };
    write(&db, void).await;
    let lot = read(&db, code(one, 1)).await;
    assert_eq!((lot.ticket, lot.voided), (two, true));
    assert_eq!(told(&lot), [""; 0]);
    assert_eq!(lot.parts.len(), 1, "its parts are known");
    let mut tx = db.read().await.unwrap();
    for ticket in [one, two] {
        let found = standing_ticket(&mut tx, ticket).await.unwrap();
        assert_eq!(found, (two, true));
    }
}

async fn check_settled(db: Db) {
    let one = ticket("ana", &[("PZO", &[held(line(1, 40, 0, 40))])]);
    let one = write(&db, weighs_in("one", &one, &Known::default())).await;
    let release = Deed {
        must_hold: vec![Must::Spend {
            what: one,
            item: 1,
            how: "release",
        }],
        ..deed("release", "release")
    };
    write(&db, release).await;
    let mut tx = db.read().await.unwrap();
    assert_eq!(standing_ticket(&mut tx, one).await.unwrap(), (one, false));
    drop(tx);
    let settle = Deed {
        must_hold: ends(one, "settle"),
        ..deed("settle", "settle")
    };
    write(&db, settle).await;
    let lot = read(&db, code(one, 1)).await;
    assert_eq!((lot.ticket, lot.voided), (one, false));
    assert_eq!(told(&lot), ["500 #1 part 1 weighed in +40 pay 40"]);
    let mut tx = db.read().await.unwrap();
    let nothing = standing_ticket(&mut tx, friday(9)).await.unwrap();
    assert_eq!(nothing, (friday(9), false), "what nothing ended stands");
}

async fn check_thrown_out(db: Db) {
    // 10 of held fish for 4 cents.
    let one = ticket("ana", &[("PZO", &[held(line(1, 10, 0, 4))])]);
    write(&db, weighs_in("one", &one, &Known::default())).await;
    let mut at = 1_000;
    let mut then = async |rows: Vec<Row>, minor, weight| {
        at += 1;
        write(&db, happens(at, "movement", &format!("r{at}"), rows)).await;
        let weight = units(weight);
        let left = read(&db, first()).await.pay_left(1);
        assert_eq!((left.minor, left.weight), (minor, weight), "at {at}");
    };
    let out = |outlet: Outlet, weight, pay| vec![moves(first(), 1, outlet.number(), weight, pay)];
    // A share that rounds to nothing leaves with its weight all the same, so
    // that the next is a share of what is left.
    then(out(Outlet::Discard, 1, 0), 4, 9).await;
    then(out(Outlet::Discard, 3, 1), 3, 6).await;
    // A sample is paid.
    then(out(Outlet::Sample, 1, 0), 3, 6).await;
    // What came back bears no pay, and is thrown out first.
    then(vec![inward_row(1, 20)], 3, 6).await;
    then(out(Outlet::Discard, 15, 0), 3, 6).await;
    then(out(Outlet::Discard, 7, 1), 2, 4).await;
    // Beyond what was paid for at most all goes.
    then(out(Outlet::Discard, 5, 2), 0, 0).await;
    // What is held after that is not short of it.
    then(vec![shift("hold", 2, 1, 8, 80)], 80, 8).await;
    // From a part that is not held nothing is taken back.
    let other = ticket("ana", &[("PZO", &[line(1, 10, 0, 4)])]);
    let other = write(&db, weighs_in("other", &other, &Known::default())).await;
    let thrown = moves(code(other, 1), 1, Outlet::Discard.number(), 5, 0);
    write(&db, happens(9_000, "movement", "thrown", vec![thrown])).await;
    let left = read(&db, code(other, 1)).await.pay_left(1);
    assert_eq!((left.minor, left.weight), (4, units(10)));
}

async fn check_under(db: Db) {
    let rows = [35, 1, 10].into_iter().flat_map(|place| makes(place, 1));
    let making = write(&db, happens(0, "making", "making", rows.collect())).await;
    let other = write(&db, happens(0, "making", "other", makes(2, 1))).await;
    let mut tx = db.read().await.unwrap();
    for (number, places) in [
        (making, &[1, 10, 35][..]),
        (other, &[2]),
        (friday(9), &[]),
        (0, &[]),
    ] {
        let codes: Vec<_> = places.iter().map(|place| code(number, *place)).collect();
        assert_eq!(lots_under(&mut tx, number).await.unwrap(), codes);
    }
}

async fn check_corrupt(db: Db) {
    for (place, table, column) in [
        (1, "lot", "presentation"),
        (2, "part", "grade"),
        (3, "move", "outlet"),
    ] {
        let mut rows = makes(1, 1);
        let number = FRIDAY * 100_000_000_000 + 20_000_000 + place;
        for row in &mut rows {
            let at = row.table.place_of("number").unwrap();
            row.cells[at] = number.into();
        }
        match table {
            "lot" => rows[0].cells[5] = 99.into(),
            "part" => rows[1].cells[4] = "a b".into(),
            _ => rows.push(moves(code(number, 1), 1, 99, 1, 0)),
        }
        let entry = write(&db, happens(0, "making", table, Vec::new())).await;
        let mut own = rows;
        for row in &mut own {
            for cell in &mut row.cells {
                if *cell == Cell::Own {
                    *cell = entry.into();
                }
            }
        }
        damage(&db, &own).await;
        let mut tx = db.read().await.unwrap();
        let read = lot(&mut tx, code(number, 1)).await;
        let row = if table == "move" { entry } else { number };
        assert_eq!(corrupt_at(read), (table, column, row));
    }
}
