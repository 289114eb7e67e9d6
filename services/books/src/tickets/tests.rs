//! What a ticket writes, and that both double-entry books say what the documents
//! say, on both engines.

use std::collections::BTreeMap;

use rules::close::{CloseDoc, CloseState, DayBalance, Judged, PartBalance, Posted, RULES_VERSION};
use rules::fish::{Grade, Outlet, PartKey, Presentation, Undersize};
use rules::ids::LotCode;
use rules::making::{Fate, Made, MadeFrom, MadeSource, Making, MakingAsked, MakingKind};
use rules::money::{Currency, Money, UnitPrice};
use rules::stock::{
    Held, HoldAsked, HoldId, Moved, MovementAsked, PartRef, RegradeAsked, Regraded, ReleaseAsked,
    Released, ReturnAsked, Returned, TakenFrom,
};
use rules::ticket::{
    Confirmation, Decision, Landing, Line, LotIn, Net, Pieces, Receiving, SmallFish, Tare,
    TicketLot, VoidAsked, Weighed, Weighing,
};
use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};

use super::*;
use crate::close::{self, Given, Kept, Looked, Revision};
use crate::conformance;
use crate::db::Db;
use crate::doc::entry_doc;
use crate::entries::tests::{FRIDAY, SATURDAY, SITE, deed, ends, friday, write};
use crate::entries::{self, Entry};
use crate::scribe::Deed;
use crate::table::{INWARD, MAKING_IN, MAKING_OUT, MOVE, SHIFT};

conformance! {
    a_species_was_taken_in_where_a_lot_of_it_is, check_any_of_species;
    the_last_counted_lots_are_what_is_usual, check_last_counted;
    both_books_say_what_the_documents_say, check_books;
}

pub(crate) fn usd(minor: i64) -> Money {
    Money::new(minor, Currency::new("USD").unwrap())
}

pub(crate) fn units(units: i64) -> Weight {
    Weight::from_units(units)
}

/// The number of the ticket and the place of the lot, as a code.
pub(crate) fn lot(number: i64, place: i64) -> LotCode {
    LotCode::new(number, place).unwrap()
}

/// A line of its lot's part `part`, which tells parts apart by their band.
pub(crate) fn line(part: i64, net: i64, ice: i64, minor: i64) -> Line {
    let price = UnitPrice::from_e4(50_000, Currency::new("USD").unwrap(), WeightUnit::Lb).unwrap();
    Line {
        lot: 0,
        part,
        band: part,
        band_name: String::new(),
        band_from: Weight::ZERO,
        band_to: None,
        grade: Grade::new("A").unwrap(),
        condition: Some(Condition::Clean),
        held: false,
        pieces: Pieces::NotCounted,
        net: units(net),
        ice: units(ice),
        list_price: price,
        price,
        amount: usd(minor),
        undersize: Undersize::No,
        proposed: None,
        proposed_reason: String::new(),
        agreed: None,
    }
}

pub(crate) fn held(line: Line) -> Line {
    Line { held: true, ..line }
}

/// A weigh-in and the ticket that came of it: of each lot the species and its
/// lines. A lot without lines was refused.
pub(crate) fn ticket(harvester: &str, lots: &[(&str, &[Line])]) -> (WeighIn, Ticket) {
    let receiving = Receiving {
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
    };
    let asked = WeighIn {
        site: SITE,
        harvester: harvester.to_owned(),
        landing: Landing::default(),
        lots: lots
            .iter()
            .map(|(species, _)| LotIn {
                species: (*species).to_owned(),
                presentation: Presentation::Whole,
                storage: None,
                weighings: Vec::new(),
                receiving: receiving.clone(),
                small_fish: SmallFish::Sell,
                areas: Vec::new(),
                harvest_from: None,
                harvest_to: None,
                tally: None,
            })
            .collect(),
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
    };
    let (mut written, mut lines, mut place) = (Vec::new(), Vec::new(), 0);
    for (n, (species, of_lot)) in (1_i64..).zip(lots) {
        let bought = !of_lot.is_empty();
        place += i64::from(bought);
        written.push(TicketLot {
            n,
            place: bought.then_some(place),
            species_name: (*species).to_owned(),
            price_list: 0,
            weighed: Vec::new(),
            received: Default::default(),
        });
        let with_lot = |line: &Line| Line {
            lot: n,
            ..line.clone()
        };
        lines.extend(of_lot.iter().map(with_lot));
    }
    let sum = |of: fn(&Line) -> bool| {
        let some = lines.iter().filter(|line| of(line));
        usd(some.map(|line| line.amount.minor()).sum())
    };
    let ticket = Ticket {
        priced_us: 500,
        number: None,
        lots: written,
        lines_total: sum(|_| true),
        payout: sum(|_| true),
        owed: sum(|line| !line.held),
        held: sum(|line| line.held),
        lines,
        not_bought: Vec::new(),
        adjustments: Vec::new(),
        undersize: Weight::ZERO,
        released: Vec::new(),
        shares: Vec::new(),
        notices: Vec::new(),
    };
    (asked, ticket)
}

/// The deed that books it.
pub(crate) fn weighs_in(
    request_id: &str,
    (asked, ticket): &(WeighIn, Ticket),
    known: &Known,
) -> Deed {
    Deed {
        party: asked.harvester.clone(),
        happened_us: ticket.priced_us,
        doc: entry_doc(asked, ticket),
        rows: rows(asked, ticket, known),
        ..deed("weigh_in", request_id)
    }
}

/// Rows as they are written, a line for each.
fn told(rows: &[Row]) -> Vec<String> {
    let cell = |cell: &Cell| match cell {
        Cell::Own => "own".to_owned(),
        Cell::Int(int) => int.to_string(),
        Cell::Text(text) if text.is_empty() => "-".to_owned(),
        Cell::Text(text) => text.clone(),
        Cell::Bytes(bytes) => format!("{bytes:?}"),
    };
    rows.iter()
        .map(|row| {
            let cells: Vec<String> = row.cells.iter().map(cell).collect();
            format!("{}: {}", row.table.name, cells.join(" "))
        })
        .collect()
}

#[test]
fn a_ticket_writes_its_lots_parts_lines_and_pay() {
    let small = Line {
        undersize: Undersize::Yes,
        ..held(line(2, 600, 0, 150))
    };
    let (mut asked, mut ticket) = ticket(
        "ana",
        &[
            ("PZO", &[line(1, 4_000, 100, 1_000), small]),
            ("GPR", &[]),
            (
                "LCX",
                &[Line {
                    band: 0,
                    condition: None,
                    undersize: Undersize::NotKnown,
                    ..held(line(1, 2_000, 0, 900))
                }],
            ),
        ],
    );
    asked.lots[0].storage = Some(Storage::DrainedIce);
    asked.lots[0].receiving.first_speared_us = Some(-7);
    asked.lots[2].presentation = Presentation::Gutted;
    // A deduction reached the held pay: the last held line bears it.
    ticket.held = usd(1_000);
    assert_eq!(
        told(&rows(&asked, &ticket, &Known::default())),
        [
            // number place entry site species presentation storage supplier making harvested
            "lot: own 1 own 1 PZO 1 1 ana 0 -7",
            "lot: own 2 own 1 LCX 3 0 ana 0 500",
            // number place part band grade condition held undersize entry
            "part: own 1 1 1 A 1 0 0 own",
            // ticket line number place part weight ice amount pay
            "line: own 1 own 1 1 4000 100 1000 1000",
            "part: own 1 2 2 A 1 1 1 own",
            "line: own 2 own 1 2 600 0 150 150",
            "part: own 2 1 0 A 0 1 2 own",
            "line: own 3 own 2 1 2000 0 900 850",
            "money: own 1 purchases - owed ana 1000 own",
            "money: own 2 purchases - held ana 1000 own",
        ]
    );
}

#[test]
fn a_rewrite_writes_what_is_new_and_takes_the_old_pay_back() {
    let (asked, mut ticket) = ticket(
        "ana",
        &[
            ("PZO", &[line(1, 3_900, 0, 975), line(3, 100, 0, 25)]),
            ("LCX", &[line(1, 10, 0, 5)]),
        ],
    );
    ticket.number = Some(friday(1));
    let known = Known {
        lots: BTreeSet::from([1]),
        parts: BTreeSet::from([(1, 1), (1, 2)]),
        owed_and_held: Some((1_000, 150)),
        shares: vec![has("ana", 1_000, 150)],
    };
    assert_eq!(
        told(&rows(&asked, &ticket, &known)),
        [
            "lot: 2031050200010000001 2 own 1 LCX 1 0 ana 0 500",
            "line: own 1 2031050200010000001 1 1 3900 0 975 975",
            "part: 2031050200010000001 1 3 3 A 1 0 0 own",
            "line: own 2 2031050200010000001 1 3 100 0 25 25",
            "part: 2031050200010000001 2 1 1 A 1 0 0 own",
            "line: own 3 2031050200010000001 2 1 10 0 5 5",
            "money: own 1 owed ana purchases - 1000 2031050200010000001",
            "money: own 2 held ana purchases - 150 2031050200010000001",
            "money: own 3 purchases - owed ana 1005 2031050200010000001",
        ]
    );
}

#[test]
fn a_ticket_of_nothing_bought_or_only_given_fish_moves_no_money() {
    let refused = ticket("ana", &[("PZO", &[])]);
    let none: [&str; 0] = [];
    assert_eq!(told(&rows(&refused.0, &refused.1, &Known::default())), none);
    let given = ticket("ana", &[("PZO", &[line(1, 10, 0, 0)])]);
    let rows = rows(&given.0, &given.1, &Known::default());
    let tables: Vec<&str> = rows.iter().map(|row| row.table.name).collect();
    assert_eq!(tables, ["lot", "part", "line"]);
}

async fn check_any_of_species(db: Db) {
    let asked = async |site, species| {
        let mut tx = db.read().await.unwrap();
        any_of_species(&mut tx, site, species).await.unwrap()
    };
    assert!(!asked(SITE, "PZO").await);
    let first = ticket("ana", &[("PZO", &[line(1, 1, 0, 1)]), ("GPR", &[])]);
    write(&db, weighs_in("one", &first, &Known::default())).await;
    for (site, species, known) in [
        (SITE, "PZO", true),
        (SITE, "pzo", false),
        // Refused, so not taken in.
        (SITE, "GPR", false),
        (SITE, "LCX", false),
        (0, "PZO", false),
        (2, "PZO", false),
    ] {
        assert_eq!(asked(site, species).await, known, "{species} at {site}");
    }
}

async fn check_last_counted(db: Db) {
    let weighing = |pieces| Weighing {
        grade: Grade::new("A").unwrap(),
        condition: None,
        weighed: Weighed::Tote {
            gross: Reading::new("1", WeightUnit::Lb, "", ReadingSource::Keyed).unwrap(),
            tare: Tare::Tared,
            iced: false,
            pieces,
        },
    };
    // A lot of one tote that weighs `net`.
    let counted = |species: &str, net: i64, pieces| {
        let (mut asked, mut done) = ticket("ana", &[(species, &[line(1, net, 0, 1)])]);
        asked.lots[0].weighings = vec![weighing(pieces)];
        done.lots[0].weighed = vec![Net {
            net: units(net),
            ..Net::default()
        }];
        (asked, done)
    };
    let known = Known::default();
    for (id, species, net, pieces) in [
        ("one", "PZO", 100, Pieces::Counted(1)),
        ("two", "PZO", 200, Pieces::Counted(2)),
        ("other", "LCX", 900, Pieces::Counted(1)),
        ("guess", "PZO", 300, Pieces::Estimated(3)),
        ("none", "PZO", 400, Pieces::NotCounted),
        ("five", "PZO", 500, Pieces::Counted(5)),
        ("gone", "PZO", 600, Pieces::Counted(6)),
    ] {
        write(&db, weighs_in(id, &counted(species, net, pieces), &known)).await;
    }
    let void = Deed {
        must_hold: ends(friday(7), "void"),
        ..deed("void", "void")
    };
    write(&db, void).await;
    let last = async |site, species: &str, presentation, most| {
        let mut tx = db.read().await.unwrap();
        let found = last_counted(&mut tx, site, species, presentation, most).await;
        let found = found.unwrap();
        let tell = |(id, fish): &(i64, CountedFish)| (*id, fish.net.units(), fish.pieces);
        found.iter().map(tell).collect::<Vec<_>>()
    };
    let whole = Presentation::Whole;
    let all = [
        (friday(1), 100, 1),
        (friday(2), 200, 2),
        (friday(6), 500, 5),
    ];
    assert_eq!(last(SITE, "PZO", whole, 30).await, all);
    assert_eq!(last(SITE, "PZO", whole, 2).await, all[1..]);
    assert_eq!(last(SITE, "LCX", whole, 30).await, [(friday(3), 900, 1)]);
    assert_eq!(last(SITE, "PZO", Presentation::Gutted, 30).await, []);
    assert_eq!(last(SITE + 1, "PZO", whole, 30).await, []);
}

/// Balances by place; none of nothing.
#[derive(Debug, Default, PartialEq, Eq)]
struct Places(BTreeMap<String, i64>);

impl Places {
    fn moved(&mut self, from: &str, to: &str, amount: i64) {
        for (place, change) in [(from, -amount), (to, amount)] {
            let balance = self.0.entry(place.to_owned()).or_insert(0);
            *balance += change;
            if *balance == 0 {
                self.0.remove(place);
            }
        }
    }

    async fn of_view(tx: &mut Tx, view: &str) -> Places {
        let sql = format!("SELECT from_place, to_place, amount FROM {view}");
        let mut places = Places::default();
        for row in tx.fetch(&sql, &[]).await.unwrap() {
            places.moved(row.text(0), row.text(1), row.int(2));
        }
        places
    }
}

fn place(PartId { lot, n }: PartId) -> String {
    format!("part:{}.{}.{n}", lot.number(), lot.place())
}

fn part(number: i64, at: i64, n: i64) -> PartId {
    PartId {
        lot: lot(number, at),
        n,
    }
}

fn has(party: &str, owed: i64, held: i64) -> Has {
    Has {
        party: party.to_owned(),
        owed,
        held,
    }
}

fn named(PartId { lot, n }: PartId) -> PartRef {
    PartRef { lot, part: Some(n) }
}

/// A held sibling, a released one, or one of another grade, each of a band of
/// its own.
fn opens(id: PartId, grade: &str, held: bool) -> Row {
    part_row(&stock::Part {
        id,
        key: PartKey {
            band: id.n + 10,
            grade: Grade::new(grade).unwrap(),
            condition: None,
            held,
        },
        undersize: Undersize::No,
    })
}

fn shift(kind: &'static str, from: PartId, to: PartId, weight: i64, pay: i64) -> Row {
    Row::new(
        &SHIFT,
        [
            Cell::Own,
            1.into(),
            kind.into(),
            from.lot.number().into(),
            from.lot.place().into(),
            from.n.into(),
            to.n.into(),
            weight.into(),
            pay.into(),
        ],
    )
}

/// A hold of a part, or the release of one.
fn shifts(kind: &'static str, from: PartId, to: PartId, weight: i64, pay: i64) -> Deed {
    let reason = "why".to_owned();
    let (doc, accounts) = match kind {
        "hold" => {
            let asked = HoldAsked {
                part: named(from),
                weight: None,
                reason,
                cause: None,
                happened_us: None,
            };
            let outcome = Held {
                from,
                held: to,
                weight: units(weight),
                pay: usd(pay),
            };
            (entry_doc(&asked, &outcome), ("owed", "held"))
        }
        "release" => {
            let asked = ReleaseAsked {
                hold: HoldId {
                    entry: from.lot.number(),
                    line: 2,
                },
                reason,
                happened_us: None,
            };
            let outcome = Released {
                from,
                part: to,
                weight: units(weight),
                pay: usd(pay),
            };
            (entry_doc(&asked, &outcome), ("held", "owed"))
        }
        _ => {
            let asked = RegradeAsked {
                part: named(from),
                weight: None,
                grade: None,
                condition: None,
                reason,
                happened_us: None,
            };
            let outcome = Regraded {
                from,
                part: to,
                weight: units(weight),
            };
            (entry_doc(&asked, &outcome), ("owed", "owed"))
        }
    };
    let mut rows = vec![
        opens(to, "B", kind == "hold"),
        shift(kind, from, to, weight, pay),
    ];
    let (out, into) = accounts;
    rows.extend(pay::rows([(
        Account::of(out, "ana"),
        Account::of(into, "ana"),
        pay,
    )]));
    Deed {
        doc,
        rows,
        ..deed(kind, kind)
    }
}

/// Weight leaving parts; `unpaid` is pay of held fish taken back.
fn leaves(request_id: &str, outlet: Outlet, taken: &[(PartId, i64)], unpaid: i64) -> Deed {
    let asked = MovementAsked {
        site: SITE,
        outlet,
        taken: Vec::new(),
        counterparty: String::new(),
        reason: "why".to_owned(),
        cause: None,
        temperature: None,
        price: None,
        plan_line: String::new(),
        happened_us: None,
    };
    let from = |&(part, weight): &(PartId, i64)| TakenFrom {
        part,
        weight: units(weight),
        emptied: false,
    };
    let outcome = Moved {
        taken: taken.iter().map(from).collect(),
        buyers_loss: None,
        notices: Vec::new(),
    };
    let row = |(n, (part, weight)): (i64, &(PartId, i64))| {
        Row::new(
            &MOVE,
            [
                Cell::Own,
                n.into(),
                part.lot.number().into(),
                part.lot.place().into(),
                part.n.into(),
                outlet.number().into(),
                "".into(),
                (*weight).into(),
                0.into(),
                unpaid.into(),
            ],
        )
    };
    let mut rows: Vec<Row> = (1..).zip(taken).map(row).collect();
    rows.extend(pay::rows([(
        Account::of("held", "ana"),
        Account::site("purchases"),
        unpaid,
    )]));
    Deed {
        doc: entry_doc(&asked, &outcome),
        rows,
        ..deed("movement", request_id)
    }
}

fn comes_back(movement: i64, held: PartId, weight: i64) -> Deed {
    let asked = ReturnAsked {
        movement,
        part: named(held),
        weight: Reading::new("1", WeightUnit::Lb, "", ReadingSource::Keyed).unwrap(),
        reason: "why".to_owned(),
        temperature: None,
        happened_us: None,
    };
    let outcome = Returned {
        held,
        outlet: Outlet::SoldWhole,
        weight: units(weight),
    };
    let row = Row::new(
        &INWARD,
        [
            Cell::Own,
            1.into(),
            movement.into(),
            Outlet::SoldWhole.number().into(),
            held.lot.number().into(),
            held.lot.place().into(),
            held.n.into(),
            weight.into(),
        ],
    );
    Deed {
        doc: entry_doc(&asked, &outcome),
        rows: vec![row],
        ..deed("return", "return")
    }
}

/// A cut: fillet in a new lot, the rest thrown out, unweighed or lost.
fn makes(request_id: &str, from: PartId, input: i64, outputs: &[(Fate, i64)], loss: i64) -> Deed {
    let made = |(n, &(fate, weight)): (i64, &(Fate, i64))| Made {
        presentation: Presentation::FilletSkinless,
        fate,
        place: (fate == Fate::Lot).then_some(n),
        weight: (fate != Fate::NotWeighed).then_some(units(weight)),
        storage: None,
        reason: "why".to_owned(),
        grade: Grade::none(),
    };
    let weighed: i64 = outputs.iter().map(|(_, weight)| weight).sum();
    let unweighed = outputs.iter().any(|(fate, _)| *fate == Fate::NotWeighed);
    let residue = input - weighed;
    let making = Making {
        kind: MakingKind::Cut,
        specification: "skinless".to_owned(),
        cutter: "kim".to_owned(),
        kitchen: String::new(),
        minutes: String::new(),
        inputs: vec![MadeFrom {
            source: MadeSource::Part(from),
            weight: units(input),
            emptied: false,
            supplier: "ana".to_owned(),
            species: "LCX".to_owned(),
            presentation: Presentation::Whole,
        }],
        outputs: (1..).zip(outputs).map(made).collect(),
        input: units(input),
        fillet: Weight::ZERO,
        cutting_loss: units(if unweighed { 0 } else { loss }),
        table_unaccounted: units(if unweighed { 0 } else { residue - loss }),
        not_weighed: units(if unweighed { residue } else { 0 }),
        notices: Vec::new(),
    };
    let asked = MakingAsked {
        plan_line: String::new(),
        site: SITE,
        kind: MakingKind::Cut,
        inputs: Vec::new(),
        outputs: Vec::new(),
        specification: "skinless".to_owned(),
        cutter: "kim".to_owned(),
        kitchen: String::new(),
        minutes: String::new(),
        happened_us: None,
        tally: None,
    };
    let mut rows = vec![Row::new(
        &MAKING_IN,
        [
            Cell::Own,
            1.into(),
            from.lot.number().into(),
            from.lot.place().into(),
            from.n.into(),
            input.into(),
            0.into(),
        ],
    )];
    rows.extend((1_i64..).zip(making.rows()).map(|(n, out)| {
        let (number, place, part) = match out.place {
            Some(place) => (Cell::Own, place, 1),
            None => (0.into(), 0, 0),
        };
        Row::new(
            &MAKING_OUT,
            [
                Cell::Own,
                n.into(),
                out.fate.into(),
                number,
                place.into(),
                part.into(),
                out.weight.units().into(),
            ],
        )
    }));
    Deed {
        doc: entry_doc(&asked, &making),
        rows,
        ..deed("making", request_id)
    }
}

/// A close that posted something on a part.
fn closes(part: PartId, shrink: i64, unaccounted: i64) -> Judged {
    let balance = PartBalance {
        part,
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        supplier: "ana".to_owned(),
        opening: Weight::ZERO,
        came_in: Weight::ZERO,
        went_out: Weight::ZERO,
        shrink: units(shrink),
        unaccounted: units(unaccounted),
        closing: Weight::ZERO,
        counted: true,
        finished: false,
        explained: None,
    };
    let posted = Posted {
        part,
        by: friday(1),
        shrink: units(shrink),
        unaccounted: units(unaccounted),
    };
    Judged {
        doc: CloseDoc {
            lines_done: Vec::new(),
            left_plan: None,
            site: SITE,
            day: FRIDAY,
            rules_version: RULES_VERSION,
            state: CloseState::Closed,
            balance: DayBalance::default(),
            parts: vec![balance],
            cuts: Vec::new(),
            yields: Vec::new(),
            undersize: Vec::new(),
            payouts: Vec::new(),
            flags: Vec::new(),
            drifts: vec![],
            remarks: Vec::new(),
            supplier_yields: Vec::new(),
            charts: Vec::new(),
            losses: Vec::new(),
            causes: Vec::new(),
            small_fish: Vec::new(),
        },
        on_hand: BTreeMap::new(),
        found: vec![posted],
    }
}

async fn revise(db: &Db, judged: &Judged, upto_seq: i64, before: Option<(i64, i64)>) -> i64 {
    let given = Given {
        site: SITE,
        day: FRIDAY,
        upto_seq,
        opening: String::new(),
        balances: String::new(),
        history: String::new(),
        settings: 0,
        undrained: Vec::new(),
        rules: RULES_VERSION,
        looked: Looked::default(),
    };
    let revision = Revision {
        given,
        judged,
        kept: &Kept::default(),
        before,
    };
    write(db, revision.deed(SATURDAY, 9_000)).await
}

async fn check_books(db: Db) {
    // Friday's tickets: one that stands, one voided, one rewritten.
    let one = ticket(
        "ana",
        &[
            (
                "PZO",
                &[line(1, 4_000, 100, 1_000), held(line(2, 600, 0, 150))],
            ),
            ("LCX", &[line(1, 2_000, 0, 900)]),
        ],
    );
    let one = write(&db, weighs_in("one", &one, &Known::default())).await;
    let two = ticket("ben", &[("PZO", &[line(1, 1_000, 20, 300)])]);
    let two = write(&db, weighs_in("two", &two, &Known::default())).await;
    let reason = "wrong diver".to_owned();
    let void = Deed {
        must_hold: ends(two, "void"),
        doc: entry_doc(
            &VoidAsked {
                ticket: two,
                reason,
            },
            &(),
        ),
        rows: pay::rows([(Account::of("owed", "ben"), Account::site("purchases"), 300)]),
        ..deed("void", "void")
    };
    write(&db, void).await;
    let three = ticket(
        "ben",
        &[("PZO", &[line(1, 1_500, 30, 450), held(line(2, 80, 0, 20))])],
    );
    let three = write(&db, weighs_in("three", &three, &Known::default())).await;
    let mut four = ticket(
        "ben",
        &[
            ("PZO", &[line(1, 1_400, 50, 420)]),
            ("LCX", &[line(1, 700, 0, 70)]),
        ],
    );
    four.1.number = Some(three);
    let known = Known {
        lots: BTreeSet::from([1]),
        parts: BTreeSet::from([(1, 1), (1, 2)]),
        owed_and_held: Some((450, 20)),
        shares: vec![has("ben", 450, 20)],
    };
    let rewrite = Deed {
        must_hold: ends(three, "rewrite"),
        ..weighs_in("four", &four, &known)
    };
    write(&db, rewrite).await;

    // What became of it.
    let (large, small, other) = (part(one, 1, 1), part(one, 1, 2), part(one, 2, 1));
    let aside = part(one, 1, 3);
    write(&db, shifts("hold", large, aside, 1_000, 250)).await;
    write(&db, shifts("release", small, part(one, 1, 4), 600, 150)).await;
    write(&db, shifts("regrade", large, part(one, 1, 5), 500, 0)).await;
    let sold = [(large, 700), (part(three, 1, 1), 300)];
    let sold = write(&db, leaves("sold", Outlet::SoldWhole, &sold, 0)).await;
    write(&db, comes_back(sold, aside, 200)).await;
    write(&db, leaves("out", Outlet::Discard, &[(aside, 400)], 100)).await;
    let cut = [(Fate::Lot, 300), (Fate::Discard, 100)];
    write(&db, makes("cut", other, 800, &cut, 32)).await;
    // More came off the table than went on it.
    write(&db, makes("wet", other, 200, &[(Fate::Lot, 203)], -2)).await;
    let unweighed = [(Fate::Lot, 40), (Fate::NotWeighed, 0)];
    write(&db, makes("unweighed", other, 100, &unweighed, 0)).await;
    let first = revise(&db, &closes(large, 10, 5), 20, None).await;
    revise(&db, &closes(large, 12, -3), 21, Some((1, first))).await;

    let mut tx = db.read().await.unwrap();
    let weights = Places::of_view(&mut tx, "weight_book").await;
    let money = Places::of_view(&mut tx, "money_book").await;
    let (by_weight, by_money) = documents(&mut tx).await;
    assert_eq!(weights, by_weight);
    // What was taken back with thrown out fish is on no document but the move.
    let mut by_money = by_money;
    by_money.moved("held:ana", "purchases:", 100);
    assert_eq!(money, by_money);

    // The same again, worked out by hand.
    for (place, balance) in [
        ("ice", 100 + 50),
        ("landing", -(4_100 + 600 + 2_000 + 1_450 + 700)),
        ("outlet:1", 700 + 300 - 200),
        ("outlet:7", 400),
        ("discard", 100),
        ("cutting_loss", 32 - 2),
        ("table_unaccounted", 368 - 1),
        ("not_weighed", 60),
        ("shrink", 12),
        ("unaccounted", -3),
    ] {
        assert_eq!(weights.0.get(place), Some(&balance), "{place}");
    }
    assert_eq!(
        weights.0.get(&place(large)),
        Some(&(4_000 - 1_000 - 500 - 700 - 12 + 3))
    );
    assert!(!weights.0.contains_key("table"), "nothing stays on it");
    let hand = [
        ("held:ana", 250 - 100),
        ("owed:ana", 1_900 - 250 + 150),
        ("owed:ben", 490),
        ("purchases:", -(150 + 1_800 + 490)),
    ];
    assert_eq!(
        money.0,
        hand.map(|(account, minor)| (account.to_owned(), minor))
            .into()
    );

    // And as each lot has it, but for what the night posted.
    for code in [
        lot(one, 1),
        lot(one, 2),
        lot(two, 1),
        lot(three, 1),
        lot(three, 2),
    ] {
        let found = stock::lot(&mut tx, code).await.unwrap().unwrap();
        for known in &found.parts {
            let mut left = 0;
            for event in found.events.iter().filter(|e| e.part == known.id.n) {
                match event.event {
                    rules::stock::StockEvent::In(weight) => left += weight.units(),
                    rules::stock::StockEvent::Out { weight, .. } => left -= weight.units(),
                    rules::stock::StockEvent::Count(_) => panic!("none was counted"),
                }
            }
            let posted = if known.id == large { 12 - 3 } else { 0 };
            let balance = weights.0.get(&place(known.id));
            assert_eq!(balance.copied().unwrap_or(0), left - posted, "{}", known.id);
        }
    }
}

/// Balances of weight and of money, worked out from the documents alone.
async fn documents(tx: &mut Tx) -> (Places, Places) {
    let (mut weights, mut money) = (Places::default(), Places::default());
    let all = async |tx: &mut Tx, kind| -> Vec<Entry> {
        let all = entries::of_kind(tx, kind, "", 0, i64::MAX, 99).await;
        all.unwrap()
    };
    for entry in all(tx, "weigh_in").await {
        let (asked, ticket): (WeighIn, Ticket) = entry.read().unwrap();
        let ended = entries::ended(tx, entry.id.number()).await.unwrap();
        if ended.is_some() {
            continue;
        }
        let number = ticket.number.unwrap_or(entry.id.number());
        for line in &ticket.lines {
            let lot = ticket.lots.iter().find(|lot| lot.n == line.lot).unwrap();
            let part = part(number, lot.place.unwrap(), line.part);
            weights.moved("landing", &place(part), line.net.units());
            weights.moved("landing", "ice", line.ice.units());
        }
        let account = |kind| format!("{kind}:{}", asked.harvester);
        money.moved("purchases:", &account("owed"), ticket.owed.minor());
        money.moved("purchases:", &account("held"), ticket.held.minor());
    }
    for entry in all(tx, "hold").await {
        let (_, done): (HoldAsked, Held) = entry.read().unwrap();
        weights.moved(&place(done.from), &place(done.held), done.weight.units());
        money.moved("owed:ana", "held:ana", done.pay.minor());
    }
    for entry in all(tx, "release").await {
        let (_, done): (ReleaseAsked, Released) = entry.read().unwrap();
        weights.moved(&place(done.from), &place(done.part), done.weight.units());
        money.moved("held:ana", "owed:ana", done.pay.minor());
    }
    for entry in all(tx, "regrade").await {
        let (_, done): (RegradeAsked, Regraded) = entry.read().unwrap();
        weights.moved(&place(done.from), &place(done.part), done.weight.units());
    }
    for entry in all(tx, "movement").await {
        let (asked, done): (MovementAsked, Moved) = entry.read().unwrap();
        let outlet = format!("outlet:{}", asked.outlet.number());
        for taken in done.taken {
            weights.moved(&place(taken.part), &outlet, taken.weight.units());
        }
    }
    for entry in all(tx, "return").await {
        let (_, done): (ReturnAsked, Returned) = entry.read().unwrap();
        let outlet = format!("outlet:{}", done.outlet.number());
        weights.moved(&outlet, &place(done.held), done.weight.units());
    }
    for entry in all(tx, "making").await {
        let (_, making): (MakingAsked, Making) = entry.read().unwrap();
        for input in &making.inputs {
            let MadeSource::Part(part) = input.source else {
                continue;
            };
            weights.moved(&place(part), "table", input.weight.units());
        }
        for made in &making.outputs {
            let to = match made.place {
                Some(at) => place(part(entry.id.number(), at, 1)),
                None => made.fate.word().to_owned(),
            };
            let weight = made.weight.map_or(0, Weight::units);
            weights.moved("table", &to, weight);
        }
        for (to, residue) in [
            ("not_weighed", making.not_weighed),
            ("cutting_loss", making.cutting_loss),
            ("table_unaccounted", making.table_unaccounted),
        ] {
            weights.moved("table", to, residue.units());
        }
    }
    let last = close::stored(tx, SITE, FRIDAY, None)
        .await
        .unwrap()
        .unwrap();
    for closed in last.read().unwrap().parts {
        weights.moved(&place(closed.part), "shrink", closed.shrink.units());
        weights.moved(
            &place(closed.part),
            "unaccounted",
            closed.unaccounted.units(),
        );
    }
    (weights, money)
}
