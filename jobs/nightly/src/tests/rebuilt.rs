//! Closed days, worked out again.

use books::close::Apart;
use rules::close::RULES_VERSION;

use super::leased::holder;
use super::*;

conformance! {
    a_rebuild_finds_every_day_as_it_is_stored_and_writes_nothing, same;
    rows_that_are_missing_or_others_are_put_back, put_back;
    a_document_that_does_not_come_out_is_found_and_left, unlike;
    a_day_that_cannot_come_out_the_same_is_left_alone, left_alone;
    a_rebuild_of_a_site_that_another_writes_says_who, held;
}

async fn days(db: Db) -> Dock {
    let mut dock = Dock::open(db).await;
    let ana = dock.weigh_in(MONDAY, 6, "ana", "40").await;
    dock.cut(MONDAY, 9, "ana", part(ana, 1), ["10", "3", "6.8", "0.2"])
        .await;
    dock.counted(MONDAY, 20, &[(part(ana, 1), "28")]).await;
    dock.night(MONDAY).await;
    dock.weigh_in(TUESDAY, 6, "ben", "12").await;
    dock.night(TUESDAY).await;
    // A late ticket: Monday and Tuesday have a second revision.
    dock.entered_on = Some(WEDNESDAY);
    dock.weigh_in(MONDAY, 7, "cal", "5").await;
    dock.entered_on = None;
    dock.night(WEDNESDAY).await;
    dock
}

async fn rebuild(dock: &Dock, dry_run: bool) -> Rebuilt {
    let mut told = Vec::new();
    let mut say = |day, n| told.push((day, n));
    let rebuilt = super::super::rebuild(&dock.db, SITE, dry_run, &holder("one"), &mut say).await;
    let rebuilt = rebuilt.unwrap();
    let days = [20_310_101, MONDAY, TUESDAY, WEDNESDAY];
    let asked: Vec<_> = days.into_iter().zip(1..).collect();
    assert_eq!(told, asked, "each day is said as it is done");
    rebuilt
}

async fn run_sql(dock: &Dock, sql: &str) {
    let mut tx = dock.db.write().await.unwrap();
    let rows = tx.execute(sql, &[]).await.unwrap();
    assert!(rows > 0, "{sql}");
    tx.commit().await.unwrap();
}

fn all_same() -> Rebuilt {
    Rebuilt {
        days: 4,
        same: 4,
        ..Rebuilt::default()
    }
}

async fn same(db: Db) {
    let dock = days(db).await;
    let before = (dock.entries().await, dock.bytes(MONDAY).await);
    assert_eq!(before.1.0, 2, "the revision");
    for dry_run in [true, false, false] {
        let rebuilt = rebuild(&dock, dry_run).await;
        assert_eq!((rebuilt.exit_code(), rebuilt), (0, all_same()));
    }
    assert_eq!((dock.entries().await, dock.bytes(MONDAY).await), before);
}

async fn put_back(db: Db) {
    let dock = days(db).await;
    let monday = format!("site = {SITE} AND day = {MONDAY} AND revision = 2");
    for (sql, table, missing, foreign) in [
        (
            format!("DELETE FROM close_link WHERE {monday}"),
            "close_link",
            1,
            0,
        ),
        (
            format!("UPDATE close_link SET left_owing = 'x' WHERE {monday}"),
            "close_link",
            1,
            1,
        ),
        (
            format!("DELETE FROM on_hand WHERE {monday}"),
            "on_hand",
            3,
            0,
        ),
        (
            format!("UPDATE found SET shrink = shrink + 1 WHERE {monday}"),
            "found",
            1,
            1,
        ),
        (
            format!("UPDATE party_day SET owed = 0 WHERE {monday} AND party = 'ana'"),
            "party_day",
            1,
            1,
        ),
        (
            format!("DELETE FROM supplier_day WHERE {monday}"),
            "supplier_day",
            1,
            0,
        ),
        (
            format!("UPDATE cut_fact SET supplier = 'ben' WHERE {monday}"),
            "cut_fact",
            1,
            1,
        ),
        (
            format!("DELETE FROM weight_day WHERE {monday} AND to_place = 'shrink'"),
            "weight_day",
            1,
            0,
        ),
        (
            format!(
                "INSERT INTO flag (site, day, revision, key, kind, subject, text, weight, value, gap) \
                 VALUES ({SITE}, {MONDAY}, 2, 'key', 'swapped', 'x', 'never found', 0, 0, 0)"
            ),
            "flag",
            0,
            1,
        ),
    ] {
        run_sql(&dock, &sql).await;
        let found = Rebuilt {
            days: 4,
            same: 3,
            put_right: vec![PutRight {
                day: MONDAY,
                revision: 2,
                tables: vec![Apart {
                    table,
                    missing,
                    foreign,
                }],
            }],
            ..Rebuilt::default()
        };
        // A dry run says it and leaves it.
        for dry_run in [true, false] {
            let rebuilt = rebuild(&dock, dry_run).await;
            assert_eq!((rebuilt.exit_code(), &rebuilt), (1, &found), "{sql}");
        }
        assert_eq!(rebuild(&dock, false).await, all_same(), "{sql}");
    }
}

async fn unlike(db: Db) {
    let dock = days(db).await;
    // A reading changed behind the book's back.
    run_sql(
        &dock,
        &format!(
            "UPDATE line SET weight = weight + 1000 WHERE ticket = {}",
            entry_id(TUESDAY, SITE, 1)
        ),
    )
    .await;
    let before = dock.bytes(TUESDAY).await;
    for _ in 0..2 {
        let rebuilt = rebuild(&dock, false).await;
        let [unlike] = &rebuilt.unlike[..] else {
            panic!("{rebuilt:?}")
        };
        assert_eq!((unlike.day, unlike.revision), (TUESDAY, 2));
        assert_ne!(unlike.stored, unlike.worked_out);
        // The days after it open with what was stored, and come out.
        assert_eq!((rebuilt.days, rebuilt.same, rebuilt.exit_code()), (4, 3, 1));
        assert_eq!(dock.bytes(TUESDAY).await, before, "nothing was touched");
    }
}

async fn left_alone(db: Db) {
    let mut dock = days(db).await;
    // Wednesday gets an entry, Monday was closed by older rules and has lost its rows.
    dock.weigh_in(WEDNESDAY, 5, "dan", "3").await;
    let older = format!("\"rules\":\"{}\"", RULES_VERSION - 1);
    run_sql(
        &dock,
        &format!(
            "UPDATE close SET manifest = REPLACE(manifest, '\"rules\":\"{RULES_VERSION}\"', '{older}') \
             WHERE day = {MONDAY}"
        ),
    )
    .await;
    for table in ["cut_fact", "close_link"] {
        let sql = format!("DELETE FROM {table} WHERE day = {MONDAY} AND revision = 2");
        run_sql(&dock, &sql).await;
    }
    let left = vec![
        LeftAlone {
            day: MONDAY,
            why: format!(
                "version {} of the rules closed it, and this is version {RULES_VERSION}",
                RULES_VERSION - 1
            ),
        },
        LeftAlone {
            day: WEDNESDAY,
            why: "1 entry came since it was closed".to_owned(),
        },
    ];
    let rebuilt = rebuild(&dock, false).await;
    assert_eq!((rebuilt.days, rebuilt.same), (4, 2));
    assert_eq!((rebuilt.unlike, rebuilt.left_alone), (vec![], left.clone()));
    // What went into cuts is kept alike by all rules, and is put back, as is what the
    // manifest says.
    let [put] = &rebuilt.put_right[..] else {
        panic!("{:?}", rebuilt.put_right)
    };
    let tables: Vec<_> = put.tables.iter().map(|apart| apart.table).collect();
    assert_eq!((put.day, tables), (MONDAY, vec!["close_link", "cut_fact"]));
    let again = rebuild(&dock, false).await;
    assert_eq!((again.exit_code(), again.left_alone), (0, left));
}

async fn held(db: Db) {
    let dock = days(db).await;
    run_sql(
        &dock,
        &format!("DELETE FROM on_hand WHERE day = {TUESDAY} AND revision = 2"),
    )
    .await;
    let other = holder("the other");
    let mut watch = Watch::new(&dock.db, &other);
    let mut tx = dock.db.read().await.unwrap();
    let office = register::load(&mut tx).await.unwrap();
    tx.rollback().await;
    watch.lease(&office.sites[&SITE]).await.unwrap();
    let refused =
        super::super::rebuild(&dock.db, SITE, false, &holder("one"), &mut |_, _| {}).await;
    assert!(matches!(&refused, Err(NightError::Held { holder, .. }) if holder == "the other"));
    // Looking needs no lease.
    assert_eq!(rebuild(&dock, true).await.put_right.len(), 1);
    watch.end().await;
    assert_eq!(rebuild(&dock, false).await.put_right.len(), 1);
    assert_eq!(rebuild(&dock, false).await, all_same());
}
