//! What the nights found is shown as it stands now, on both engines.

use rules::close::{CloseDoc, CloseState, DayBalance, Flag, Judged, RULES_VERSION, YieldRow};
use rules::money::{Currency, Money};

use super::*;
use crate::close::{self, Given, Kept, Looked, Revision, Stored, document, flag_key};
use crate::conformance;
use crate::db::Db;
use crate::entries::tests::{
    FRIDAY, SATURDAY, SITE, SUNDAY, corrupt_at, damage, deed, stamp, write,
};
use crate::scribe::{Deed, entry_id};
use crate::table::{
    CUT_FACT, Cell, FLAG, FLAG_SEEN, LOT, MAKING_OUT, MOVE, ON_HAND, Row, SUPPLIER_DAY,
};

conformance! {
    a_close_is_found_by_its_revision_and_the_latest_without, check_close;
    a_flag_stands_until_a_revision_without_it, check_standing;
    a_flag_that_was_seen_to_says_by_whom_and_how, check_seen;
    flags_come_by_day_kind_and_subject_within_their_range, check_range;
    yields_of_days_are_summed_over_their_latest_revisions, check_yields;
    what_was_brought_to_a_kitchen_and_what_it_cut_are_its_own, check_kitchen;
    fillet_that_may_be_left_is_of_the_last_close_and_since, check_fillet;
    what_does_not_read_names_its_row, check_corrupt;
}

/// A night of a site's day that found these flags and yields.
struct Night<'a> {
    site: i64,
    day: i64,
    flags: &'a [Flag],
    yields: &'a [YieldRow],
}

impl Night<'_> {
    fn judged(&self) -> Judged {
        Judged {
            doc: CloseDoc {
                lines_done: Vec::new(),
                left_plan: None,
                site: self.site,
                day: self.day,
                rules_version: RULES_VERSION,
                state: CloseState::Closed,
                balance: DayBalance::default(),
                parts: Vec::new(),
                cuts: Vec::new(),
                yields: self.yields.to_vec(),
                undersize: Vec::new(),
                payouts: Vec::new(),
                flags: self.flags.to_vec(),
                drifts: vec![],
                remarks: Vec::new(),
                supplier_yields: Vec::new(),
                charts: Vec::new(),
                losses: Vec::new(),
                causes: Vec::new(),
                small_fish: Vec::new(),
            },
            on_hand: BTreeMap::new(),
            found: Vec::new(),
        }
    }

    /// Written as the next revision of its day; its entry.
    async fn write(&self, db: &Db) -> i64 {
        let mut tx = db.read().await.unwrap();
        let sql = "SELECT revision, entry FROM close WHERE site = ? AND day = ? \
                   ORDER BY revision DESC LIMIT 1";
        let rows = tx
            .fetch(sql, &[self.site.into(), self.day.into()])
            .await
            .unwrap();
        let before = rows.first().map(|row| (row.int(0), row.int(1)));
        drop(tx);
        let given = Given {
            site: self.site,
            day: self.day,
            upto_seq: 1,
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
            judged: &self.judged(),
            kept: &Kept::default(),
            before,
        };
        write(db, revision.deed(SUNDAY, 9_000 + revision.number())).await
    }
}

/// A night that found flags.
fn flagged(site: i64, day: i64, flags: &[Flag]) -> Night<'_> {
    Night {
        site,
        day,
        flags,
        yields: &[],
    }
}

fn raised(kind: FlagKind, subject: &str, text: &str) -> Flag {
    Flag {
        kind,
        subject: subject.to_owned(),
        text: text.to_owned(),
        weight: Weight::from_units(-45),
        value: Money::new(1_250, Currency::new("USD").unwrap()),
        gap: kind.is_gap(),
        evidence: vec![format!("{text}: +/- 0.41 lb"), "all together".to_owned()],
    }
}

async fn all_flags(db: &Db, from: i64, to: i64) -> Vec<StoredFlag> {
    let mut tx = db.read().await.unwrap();
    flags(&mut tx, SITE, from, to).await.unwrap()
}

async fn check_close(db: Db) {
    let mut tx = db.read().await.unwrap();
    assert_eq!(
        close::stored(&mut tx, SITE, FRIDAY, None).await.unwrap(),
        None
    );
    drop(tx);
    let flag = [raised(FlagKind::Swapped, "a", "one")];
    let nights = [flagged(SITE, FRIDAY, &flag), flagged(SITE, FRIDAY, &[])];
    for night in &nights {
        night.write(&db).await;
    }
    let [first, second] = nights.map(|night| document(&night.judged().doc));
    assert_ne!(first, second);
    let stored = |revision, recorded_us, (doc, sha256): &(String, String)| {
        (revision, recorded_us, doc.clone(), sha256.clone())
    };
    let mut tx = db.read().await.unwrap();
    for (site, day, revision, expected) in [
        (SITE, FRIDAY, 1, Some(stored(1, 9_001, &first))),
        (SITE, FRIDAY, 2, Some(stored(2, 9_002, &second))),
        (SITE, FRIDAY, 0, Some(stored(2, 9_002, &second))),
        (SITE, FRIDAY, 3, None),
        (SITE, FRIDAY, -1, None),
        (SITE, SATURDAY, 0, None),
        // The day it was recorded on is no day of its own.
        (SITE, SUNDAY, 0, None),
        (2, FRIDAY, 0, None),
    ] {
        let revision = (revision != 0).then_some(revision);
        let found = close::stored(&mut tx, site, day, revision).await.unwrap();
        let found = found.map(|c: Stored| (c.revision, c.recorded_us, c.doc, c.sha256));
        assert_eq!(found, expected, "{site} {day} {revision:?}");
    }
}

async fn check_standing(db: Db) {
    // In which revisions each is raised, and from which it is gone then.
    let cases = [
        ("always", [true, true, true], 0),
        ("at last", [false, false, true], 0),
        ("again", [true, false, true], 0),
        ("once", [true, false, false], 2),
        ("twice", [true, true, false], 3),
        ("in between", [false, true, false], 3),
    ];
    for revision in 0..3 {
        let flags: Vec<Flag> = cases
            .iter()
            .filter(|(_, raised, _)| raised[revision])
            .map(|(subject, ..)| {
                let text = format!("by revision {}", revision + 1);
                raised(FlagKind::Uncounted, subject, &text)
            })
            .collect();
        flagged(SITE, FRIDAY, &flags).write(&db).await;
    }
    let found = all_flags(&db, FRIDAY, SATURDAY).await;
    assert_eq!(found.len(), cases.len());
    for (subject, raised, gone_with) in cases {
        let flag = found.iter().find(|flag| flag.subject == subject).unwrap();
        let last = raised.iter().rposition(|raised| *raised).unwrap() + 1;
        let expected = StoredFlag {
            key: flag_key(SITE, FRIDAY, "uncounted", subject),
            site: SITE,
            day: FRIDAY,
            kind: FlagKind::Uncounted,
            subject: subject.to_owned(),
            text: format!("by revision {last}"),
            weight: Weight::from_units(-45),
            value: 1_250,
            gap: true,
            evidence: vec![
                format!("by revision {last}: +/- 0.41 lb"),
                "all together".to_owned(),
            ],
            seen: Vec::new(),
            gone_with,
        };
        assert_eq!(*flag, expected);
        let mut tx = db.read().await.unwrap();
        let by_key = super::flag(&mut tx, &expected.key).await.unwrap();
        assert_eq!(by_key, Some(expected));
    }
    let mut tx = db.read().await.unwrap();
    let unknown = flag_key(SITE, SATURDAY, "uncounted", "always");
    assert_eq!(super::flag(&mut tx, &unknown).await.unwrap(), None);
}

/// Says that a flag was seen to.
async fn see(db: &Db, key: &str, actor: &str, reason: &str) {
    let seen = Deed {
        actor: actor.to_owned(),
        rows: vec![Row::new(&FLAG_SEEN, [key.into(), Cell::Own, reason.into()])],
        ..deed("acknowledge", &format!("{actor} {reason}"))
    };
    stamp(db, seen).await;
}

async fn check_seen(db: Db) {
    let flags = ["a", "b"].map(|subject| raised(FlagKind::HoldOld, subject, "old"));
    let night = flagged(SITE, FRIDAY, &flags);
    night.write(&db).await;
    let key = flag_key(SITE, FRIDAY, "hold_old", "a");
    let seen = async || {
        let found = all_flags(&db, FRIDAY, SATURDAY).await;
        let said = |flag: StoredFlag| {
            let by = flag.seen.into_iter().map(|seen| (seen.by, seen.reason));
            (by.collect::<Vec<_>>(), flag.gone_with)
        };
        <[_; 2]>::try_from(found.into_iter().map(said).collect::<Vec<_>>()).unwrap()
    };
    let said = |all: &[(&str, &str)], gone| {
        let all = all.iter();
        let all = all.map(|(by, reason)| ((*by).to_owned(), (*reason).to_owned()));
        (all.collect::<Vec<_>>(), gone)
    };
    let nobody = said(&[], 0);
    assert_eq!(seen().await, [nobody.clone(), nobody.clone()]);
    see(&db, &key, "office", "asked the diver").await;
    let office = said(&[("office", "asked the diver")], 0);
    assert_eq!(seen().await, [office.clone(), nobody.clone()]);
    // It holds on to the key, whatever is revised.
    night.write(&db).await;
    assert_eq!(seen().await, [office, nobody]);
    // A later word hides no earlier one, also of a flag that is gone.
    see(&db, &key, "clerk", "released").await;
    flagged(SITE, FRIDAY, &[]).write(&db).await;
    assert_eq!(
        seen().await,
        [
            said(&[("office", "asked the diver"), ("clerk", "released")], 3),
            said(&[], 3)
        ]
    );
    let mut tx = db.read().await.unwrap();
    let by_key = super::flag(&mut tx, &key).await.unwrap().unwrap();
    assert_eq!(by_key.seen.last().unwrap().by, "clerk");
}

async fn check_range(db: Db) {
    // Written out of order, in words whose alphabet is not the order of kinds.
    let friday = [
        raised(FlagKind::HoldOld, "a", ""),
        raised(FlagKind::Unaccounted, "b", ""),
        raised(FlagKind::Unaccounted, "B", ""),
        raised(FlagKind::Uncounted, "a", ""),
    ];
    let other = [raised(FlagKind::ClockSkew, "x", "")];
    flagged(SITE, SATURDAY, &other).write(&db).await;
    flagged(SITE, FRIDAY, &friday).write(&db).await;
    flagged(2, FRIDAY, &other).write(&db).await;
    let ordered = [
        (FRIDAY, "unaccounted", "B", false),
        (FRIDAY, "unaccounted", "b", false),
        (FRIDAY, "hold_old", "a", false),
        (FRIDAY, "uncounted", "a", true),
        (SATURDAY, "clock_skew", "x", false),
    ];
    for (from, to, expected) in [
        (FRIDAY, SUNDAY, &ordered[..]),
        (FRIDAY, SATURDAY, &ordered[..4]),
        (SATURDAY, SUNDAY, &ordered[4..]),
        (SUNDAY, 92_221_231, &[]),
        (FRIDAY, FRIDAY, &[]),
    ] {
        let found = all_flags(&db, from, to).await;
        let told: Vec<_> = found
            .iter()
            .map(|flag| (flag.day, flag.kind.word(), flag.subject.as_str(), flag.gap))
            .collect();
        assert_eq!(told, expected, "[{from}, {to})");
    }
    let key = flag_key(2, FRIDAY, "clock_skew", "x");
    let mut tx = db.read().await.unwrap();
    let elsewhere = super::flag(&mut tx, &key).await.unwrap().unwrap();
    assert_eq!((elsewhere.site, elsewhere.day), (2, FRIDAY));
}

fn cut(supplier: &str, species: &str, cuts: i64, input: i64, fillet: i64) -> YieldRow {
    YieldRow {
        supplier: supplier.to_owned(),
        species: species.to_owned(),
        presentation: Presentation::Whole,
        specification: "skinless".to_owned(),
        customer_kitchen: false,
        cuts,
        input: Weight::from_units(input),
        fillet: Weight::from_units(fillet),
        yield_e2: None,
        mixed_cuts: 1,
        mixed_input: Weight::from_units(5),
    }
}

/// A movement of a pound to a party.
async fn send(db: &Db, site: i64, day: i64, party: &'static str) -> i64 {
    let cells = [1, 1, 1].map(Cell::Int);
    let mut moved = vec![Cell::Own, 1.into()];
    moved.extend(cells);
    moved.extend([
        1.into(),
        party.into(),
        453_592_370.into(),
        0.into(),
        0.into(),
    ]);
    let deed = Deed {
        site,
        day,
        rows: vec![Row {
            table: &MOVE,
            cells: moved,
        }],
        ..deed("movement", &format!("{site} {day} {party}"))
    };
    write(db, deed).await
}

/// What a close keeps of a cut.
fn fact(site: i64, day: i64, revision: i64, entry: i64, kitchen: &'static str) -> Row {
    let text = |word: &'static str| Cell::from(word);
    let mut cells: Vec<Cell> = [site, day, revision, entry, 1, 1_000].map(Cell::Int).into();
    cells.extend([text(""), text(kitchen), text("skinless"), text("PZO")]);
    cells.push(1.into());
    cells.extend([text("ana"), text("")]);
    cells.extend([1, 0, 9_000, 2_000, -1].map(Cell::Int));
    Row {
        table: &CUT_FACT,
        cells,
    }
}

async fn check_kitchen(db: Db) {
    let friday = send(&db, SITE, FRIDAY, "hill").await;
    send(&db, SITE, FRIDAY, "other").await;
    send(&db, 2, FRIDAY, "hill").await;
    let saturday = send(&db, SITE, SATURDAY, "hill").await;
    let night = async |day| {
        let (flags, yields) = (&[], &[]);
        let site = SITE;
        Night {
            site,
            day,
            flags,
            yields,
        }
        .write(&db)
        .await
    };
    night(FRIDAY).await;
    night(FRIDAY).await;
    night(SATURDAY).await;
    damage(
        &db,
        &[
            fact(SITE, FRIDAY, 1, 90, "hill"),
            fact(SITE, FRIDAY, 2, 91, "hill"),
            fact(SITE, FRIDAY, 2, 92, "other"),
            fact(SITE, FRIDAY, 2, 93, ""),
            fact(SITE, SATURDAY, 1, 94, "hill"),
        ],
    )
    .await;
    let mut tx = db.read().await.unwrap();
    let mut sent = Vec::new();
    for (from, to) in [(FRIDAY, SUNDAY), (FRIDAY, SATURDAY), (SUNDAY, SUNDAY)] {
        sent.push(sent_to(&mut tx, SITE, "hill", from, to).await.unwrap());
    }
    assert_eq!(sent, [vec![saturday, friday], vec![friday], vec![]]);
    let mut cuts = Vec::new();
    for (from, to) in [(FRIDAY, SUNDAY), (SATURDAY, SUNDAY), (SUNDAY, SUNDAY)] {
        cuts.push(
            cuts_of_kitchen(&mut tx, SITE, "hill", from, to)
                .await
                .unwrap(),
        );
    }
    assert_eq!(
        cuts,
        [vec![91, 94], vec![94], vec![]],
        "of the latest revisions"
    );
    drop(tx);
    db.close().await;
}

/// A lot of a form, on Friday's hand or made on a day.
fn lot_rows(number: i64, site: i64, form: Presentation, made: Option<i64>) -> Vec<Row> {
    let mut lot: Vec<Cell> = [number, 1, number, site].map(Cell::Int).into();
    lot.extend(["PZO".into(), form.number().into(), 1.into(), "ana".into()]);
    lot.extend([1.into(), 0.into()]);
    let mut rows = vec![Row {
        table: &LOT,
        cells: lot,
    }];
    rows.push(match made {
        Some(entry) => Row {
            table: &MAKING_OUT,
            cells: vec![
                entry.into(),
                1.into(),
                "lot".into(),
                number.into(),
                1.into(),
                1.into(),
                9_000.into(),
            ],
        },
        None => {
            let mut cells: Vec<Cell> = [site, FRIDAY, 1, number, 1, 1, 9_000].map(Cell::Int).into();
            cells.extend(["0".into(), 9_000.into(), 0.into(), 0.into()]);
            cells.extend(["".into(), 0.into()]);
            Row {
                table: &ON_HAND,
                cells,
            }
        }
    });
    rows
}

async fn check_fillet(db: Db) {
    Night {
        site: SITE,
        day: FRIDAY,
        flags: &[],
        yields: &[],
    }
    .write(&db)
    .await;
    let day = |day, seq| entry_id(day, SITE, seq);
    let fillet = Presentation::FilletSkinless;
    for rows in [
        lot_rows(day(FRIDAY, 80), SITE, fillet, None),
        lot_rows(day(FRIDAY, 81), SITE, Presentation::Whole, None),
        lot_rows(day(SATURDAY, 80), SITE, fillet, Some(day(SATURDAY, 80))),
        lot_rows(
            day(SATURDAY, 81),
            SITE,
            Presentation::Frames,
            Some(day(SATURDAY, 81)),
        ),
        lot_rows(day(SUNDAY, 80), SITE, fillet, Some(day(SUNDAY, 80))),
        lot_rows(
            entry_id(SATURDAY, 2, 80),
            2,
            fillet,
            Some(entry_id(SATURDAY, 2, 80)),
        ),
    ] {
        damage(&db, &rows).await;
    }
    let mut tx = db.read().await.unwrap();
    let mut found = Vec::new();
    for (closed, today) in [(Some(FRIDAY), SATURDAY), (None, SUNDAY)] {
        let lots = close::fillet_lots(&mut tx, SITE, closed, today).await;
        let numbers = lots.unwrap().into_iter().map(|code| code.number());
        found.push(numbers.collect::<Vec<_>>());
    }
    let (kept, made, later) = (day(FRIDAY, 80), day(SATURDAY, 80), day(SUNDAY, 80));
    assert_eq!(found, [vec![kept, made], vec![made, later]]);
    drop(tx);
    db.close().await;
}

async fn check_yields(db: Db) {
    let night = async |site, day, yields: &[YieldRow]| {
        let night = Night {
            site,
            day,
            flags: &[],
            yields,
        };
        night.write(&db).await
    };
    night(
        SITE,
        FRIDAY,
        &[
            cut("ana", "PZO", 9, 9_000, 9_000),
            cut("zoe", "PZO", 1, 1, 1),
        ],
    )
    .await;
    let elsewhere = YieldRow {
        customer_kitchen: true,
        ..cut("ana", "PZO", 1, 70, 20)
    };
    let dressed = YieldRow {
        presentation: Presentation::Gutted,
        ..cut("ana", "PZO", 1, 60, 25)
    };
    let skin_on = YieldRow {
        specification: "skin-on".to_owned(),
        ..cut("ana", "PZO", 1, 50, 18)
    };
    let friday = [
        cut("ana", "PZO", 2, 1_000, 300),
        cut("ana", "LCX", 1, 500, 200),
        cut("", "PZO", 3, 10_000, 3_000),
        elsewhere,
        dressed,
        skin_on,
    ];
    night(SITE, FRIDAY, &friday).await;
    let saturday = [
        cut("ana", "PZO", 1, 200, 66),
        cut("ben", "PZO", 1, 400, 100),
    ];
    night(SITE, SATURDAY, &saturday).await;
    night(2, FRIDAY, &[cut("ana", "PZO", 7, 7_000, 7_000)]).await;

    let told = |(key, sums): (YieldKey, YieldSums)| {
        let YieldSums {
            cuts,
            input,
            fillet,
            mixed_cuts,
            mixed_input,
        } = sums;
        let (input, fillet, mixed) = (input.units(), fillet.units(), mixed_input.units());
        let (of, kitchen) = (key.presentation.word(), i64::from(key.customer_kitchen));
        format!(
            "{:?} {} {of} {} {kitchen}: {cuts} {input} {fillet} mixed {mixed_cuts} {mixed}",
            key.supplier, key.species, key.specification
        )
    };
    let check = async |from, to, supplier: &str, species: &str, expected: &[&str]| {
        let mut tx = db.read().await.unwrap();
        let sums = yields(&mut tx, SITE, from, to, supplier, species)
            .await
            .unwrap();
        let sums: Vec<String> = sums.into_iter().map(told).collect();
        assert_eq!(sums, expected, "[{from}, {to}) {supplier:?} {species:?}");
    };
    let all = [
        r#""" PZO whole skinless 0: 3 10000 3000 mixed 1 5"#,
        r#""ana" LCX whole skinless 0: 1 500 200 mixed 1 5"#,
        r#""ana" PZO whole skin-on 0: 1 50 18 mixed 1 5"#,
        // Friday's and Saturday's together.
        r#""ana" PZO whole skinless 0: 3 1200 366 mixed 2 10"#,
        r#""ana" PZO whole skinless 1: 1 70 20 mixed 1 5"#,
        r#""ana" PZO gutted skinless 0: 1 60 25 mixed 1 5"#,
        r#""ben" PZO whole skinless 0: 1 400 100 mixed 1 5"#,
    ];
    check(FRIDAY, SUNDAY, "", "", &all).await;
    check(FRIDAY, SUNDAY, "ana", "", &all[1..6]).await;
    check(FRIDAY, SUNDAY, "", "LCX", &all[1..2]).await;
    check(FRIDAY, SUNDAY, "ben", "LCX", &[]).await;
    check(FRIDAY, SUNDAY, "zoe", "", &[]).await;
    check(
        SATURDAY,
        SUNDAY,
        "",
        "PZO",
        &[
            r#""ana" PZO whole skinless 0: 1 200 66 mixed 1 5"#,
            r#""ben" PZO whole skinless 0: 1 400 100 mixed 1 5"#,
        ],
    )
    .await;
    check(SUNDAY, 92_221_231, "", "", &[]).await;
    check(FRIDAY, FRIDAY, "", "", &[]).await;
}

async fn check_corrupt(db: Db) {
    flagged(SITE, FRIDAY, &[]).write(&db).await;
    let key = [SITE.into(), FRIDAY.into(), 1.into()];
    let row = |table, rest: Vec<Cell>| Row {
        table,
        cells: key.iter().cloned().chain(rest).collect(),
    };
    let flag: Vec<Cell> = ["k", "gossip", "a", ""].map(Cell::from).into();
    let supplier: Vec<Cell> = vec!["ana".into(), "PZO".into(), 99.into(), "skinless".into()];
    damage(
        &db,
        &[
            row(&FLAG, [flag, vec![0.into(); 3], vec!["".into()]].concat()),
            row(&SUPPLIER_DAY, [supplier, vec![0.into(); 6]].concat()),
        ],
    )
    .await;
    let mut tx = db.read().await.unwrap();
    let read = flags(&mut tx, SITE, FRIDAY, SATURDAY).await;
    assert_eq!(corrupt_at(read), ("flag", "kind", FRIDAY));
    let read = super::flag(&mut tx, "k").await;
    assert_eq!(corrupt_at(read), ("flag", "kind", FRIDAY));
    let read = yields(&mut tx, SITE, FRIDAY, SATURDAY, "", "").await;
    assert_eq!(corrupt_at(read), ("supplier_day", "presentation", 99));
}
