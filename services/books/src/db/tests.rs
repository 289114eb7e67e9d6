//! What db.rs promises, on both engines.

use std::time::Duration;

use super::{Db, EngineError, MIGRATIONS, Tx, Val};
use crate::conformance;
use crate::table::{ALL, BOOK, ENTRY, HEAD, REQUEST};
use crate::testing::{Book, Fault};

conformance! {
    values_come_back_as_they_went_in, check_values;
    sums_are_whole_numbers, check_sums;
    a_reading_sees_one_snapshot, check_snapshot;
    a_reading_cannot_write, check_reading;
    a_dropped_transaction_never_was, check_dropped;
    a_statement_given_up_half_way_harms_nobody, check_given_up;
    a_refused_statement_ends_its_transaction, check_refused;
    rows_of_any_number_are_written_once, check_sizes;
    keys_of_any_number_are_found, check_keys;
    a_wrong_type_is_refused, check_types;
    tables_have_the_columns_of_the_schema, check_columns;
    a_book_opens_again, check_again;
    writers_wait_for_each_other, check_writers;
    binds_are_counted, check_binds;
    a_closed_book_says_so, check_closed;
    a_lost_commit_is_unknown, check_lost_commit;
    the_disk_is_written_before_the_answer, check_durable;
}

async fn put(db: &Db, name: &str, value: &str) {
    let mut tx = db.write().await.unwrap();
    tx.insert(&BOOK, &[vec![name.into(), value.into()]])
        .await
        .unwrap();
    tx.commit().await.unwrap();
}

async fn count(tx: &mut Tx, table: &str) -> i64 {
    let sql = format!("SELECT COUNT(*) FROM {table}");
    tx.fetch(&sql, &[]).await.unwrap()[0].int(0)
}

async fn written(db: &Db, table: &str) -> i64 {
    count(&mut db.read().await.unwrap(), table).await
}

async fn check_values(db: Db) {
    let text = "it's ? \"quoted\" $1 {keys}\n\u{fffd} 魚 🐟";
    let bytes: Vec<u8> = (0..=255).collect();
    let mut tx = db.write().await.unwrap();
    let rows = [
        vec![text.into(), bytes.as_slice().into(), i64::MAX.into()],
        vec!["".into(), Val::Bytes(&[]), i64::MIN.into()],
    ];
    tx.insert(&REQUEST, &rows).await.unwrap();
    let found = tx
        .fetch(
            "SELECT request_id, print, entry, MAX(NULL), '?' FROM request \
             WHERE request_id = ? OR entry = ? OR print = ? \
             GROUP BY request_id, print, entry ORDER BY entry",
            &[text.into(), i64::MIN.into(), Val::Bytes(b"no")],
        )
        .await
        .unwrap();
    assert_eq!(
        (found[0].text(0), found[0].bytes(1), found[0].int(2)),
        ("", &[][..], i64::MIN)
    );
    assert_eq!(
        (found[1].text(0), found[1].bytes(1), found[1].int(2)),
        (text, &*bytes, i64::MAX)
    );
    assert!(found[0].is_null(3) && found[0].maybe_text(3).is_none());
    assert_eq!(
        (found[0].maybe_int(3), found[0].maybe_int(2)),
        (None, Some(i64::MIN))
    );
    assert_eq!(found[0].text(4), "?");
    assert_eq!(tx.execute("DELETE FROM request", &[]).await.unwrap(), 2);
    tx.commit().await.unwrap();
}

async fn check_sums(db: Db) {
    let mut tx = db.write().await.unwrap();
    let row = |day: i64, us: i64| vec![1.into(), day.into(), 1.into(), us.into()];
    tx.insert(&HEAD, &[row(1, i64::MAX - 7), row(2, 7), row(3, -12)])
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let check = async |sql: &str| db.read().await.unwrap().fetch(sql, &[]).await;
    let sum = check("SELECT SUM(last_us) FROM head WHERE day <= 2")
        .await
        .unwrap();
    assert_eq!(sum[0].int(0), i64::MAX);
    let limbs = "SELECT SUM(last_us / 1000000000), SUM(last_us % 1000000000) FROM head";
    let limbs = check(limbs).await.unwrap();
    assert_eq!(
        (limbs[0].int(0), limbs[0].int(1)),
        (9_223_372_036, 854_775_795)
    );
    let none = check("SELECT SUM(last_us), COUNT(*) FROM head WHERE day > 9")
        .await
        .unwrap();
    assert_eq!((none[0].maybe_int(0), none[0].int(1)), (None, 0));
    // Too large is an error on both, never a rounded number.
    check("SELECT SUM(last_us) FROM head WHERE last_us > 0")
        .await
        .map(drop)
        .unwrap();
    check(
        "SELECT SUM(last_us) FROM (SELECT 9223372036854775807 AS last_us UNION ALL SELECT 1) AS t",
    )
    .await
    .unwrap_err();
    // So is a mean.
    let mean = check("SELECT AVG(last_us) FROM head WHERE day = 2 OR day = 3")
        .await
        .unwrap_err();
    assert!(matches!(mean, EngineError::Corrupt { .. }), "{mean}");
}

async fn check_snapshot(db: Db) {
    put(&db, "a", "1").await;
    let mut before = db.read().await.unwrap();
    put(&db, "b", "2").await;
    assert_eq!(count(&mut before, "book").await, 1);
    put(&db, "c", "3").await;
    assert_eq!(count(&mut before, "book").await, 1);
    assert_eq!(written(&db, "book").await, 3);
    before.rollback().await;
}

async fn check_reading(db: Db) {
    let mut tx = db.read().await.unwrap();
    tx.insert(&BOOK, &[vec!["a".into(), "1".into()]])
        .await
        .unwrap_err();
    drop(tx);
    assert_eq!(written(&db, "book").await, 0);
}

async fn check_dropped(db: Db) {
    // More often than there are connections.
    for _ in 0..40 {
        let mut tx = db.write().await.unwrap();
        tx.insert(&BOOK, &[vec!["a".into(), "1".into()]])
            .await
            .unwrap();
        drop(tx);
        drop(db.read().await.unwrap());
    }
    for _ in 0..40 {
        let mut tx = db.write().await.unwrap();
        tx.insert(&BOOK, &[vec!["a".into(), "1".into()]])
            .await
            .unwrap();
        tx.rollback().await;
    }
    assert_eq!(written(&db, "book").await, 0);
    put(&db, "a", "1").await;
}

/// Gives `work` up after its `n`-th wait.
async fn give_up_after(n: u32, work: impl Future<Output = ()>) -> bool {
    let patience = async {
        for _ in 0..n {
            tokio::task::yield_now().await;
        }
    };
    tokio::select! {
        biased;
        () = work => false,
        () = patience => true,
    }
}

async fn check_given_up(db: Db) {
    let mut given_up = 0;
    for n in 0..60 {
        let name = n.to_string();
        let work = async {
            let mut tx = db.write().await.unwrap();
            tx.insert(&BOOK, &[vec![(&name).into(), "1".into()]])
                .await
                .unwrap();
            count(&mut tx, "book").await;
            tx.rollback().await;
        };
        given_up += u32::from(give_up_after(n * 3, work).await);
        let look = async {
            let mut tx = db.read().await.unwrap();
            count(&mut tx, "book").await;
        };
        given_up += u32::from(give_up_after(n, look).await);
    }
    assert!(given_up > 10, "{given_up}");
    assert_eq!(written(&db, "book").await, 0);
    put(&db, "a", "1").await;
    assert_eq!(written(&db, "book").await, 1);
}

async fn check_refused(db: Db) {
    let mut tx = db.write().await.unwrap();
    tx.insert(&BOOK, &[vec!["a".into(), "1".into()]])
        .await
        .unwrap();
    let refused = tx
        .execute("INSERT INTO nowhere (a) VALUES (?)", &[1.into()])
        .await;
    assert!(
        matches!(refused, Err(EngineError::Refused(_))),
        "{refused:?}"
    );
    tx.fetch("SELECT 1", &[]).await.unwrap_err();
    tx.commit().await.unwrap_err();
    assert_eq!(written(&db, "book").await, 0);

    put(&db, "a", "1").await;
    let mut tx = db.write().await.unwrap();
    let clash = tx.insert(&BOOK, &[vec!["a".into(), "2".into()]]).await;
    assert!(matches!(clash, Err(EngineError::Clash(_))), "{clash:?}");
    assert!(clash.is_err_and(|error| error.is_retry()));
    drop(tx);
    put(&db, "b", "2").await;
}

async fn check_sizes(db: Db) {
    let mut total = 0;
    for rows in [0, 1, 2, 15, 16, 17, 127, 128, 129, 300, 1024] {
        let names: Vec<String> = (0..rows).map(|row| format!("{rows}.{row}")).collect();
        let rows: Vec<Vec<Val<'_>>> = names
            .iter()
            .map(|name| vec![name.into(), "1".into()])
            .collect();
        let mut tx = db.write().await.unwrap();
        tx.insert(&BOOK, &rows).await.unwrap();
        tx.commit().await.unwrap();
        total += rows.len() as i64;
        assert_eq!(written(&db, "book").await, total);
    }
    let mut tx = db.write().await.unwrap();
    tx.insert(&BOOK, &[vec!["a".into()]]).await.unwrap_err();
    tx.commit().await.unwrap_err();
    let mut tx = db.write().await.unwrap();
    tx.insert_flat(&BOOK, &["a".into()]).await.unwrap_err();
}

async fn check_keys(db: Db) {
    let names: Vec<String> = (0..2100).map(|n| format!("{n:04}")).collect();
    let mut tx = db.write().await.unwrap();
    let rows: Vec<Val<'_>> = names
        .iter()
        .flat_map(|name| [name.into(), "1".into()])
        .collect();
    tx.insert_flat(&BOOK, &rows).await.unwrap();
    for many in [0, 1, 2, 17, 200, 1024, 1025, 2100] {
        let keys: Vec<Val<'_>> = names.iter().take(many).map(Val::from).collect();
        let sql = "SELECT name FROM book WHERE name IN ({keys})";
        assert_eq!(tx.fetch_keys(sql, 1, &keys).await.unwrap().len(), many);
        let keys: Vec<Val<'_>> = keys.iter().flat_map(|key| [*key, "1".into()]).collect();
        let sql = "SELECT name FROM book WHERE (name, value) IN (VALUES {keys})";
        assert_eq!(tx.lock_keys(sql, 2, &keys).await.unwrap().len(), many);
    }
    let keys = ["0001".into(), "9".into(), "0002".into(), "8".into()];
    let sql = "UPDATE book SET value = new.column2 FROM (VALUES {keys}) AS new \
               WHERE book.name = new.column1";
    tx.execute_keys(sql, 2, &keys).await.unwrap();
    let sql = "SELECT value FROM book WHERE value <> '1' ORDER BY name";
    let found = tx.fetch(sql, &[]).await.unwrap();
    assert_eq!(
        (found[0].text(0), found[1].text(0), found.len()),
        ("9", "8", 2)
    );
}

async fn check_types(db: Db) {
    let good: [Val<'_>; 7] = [
        1.into(),
        "weigh_in".into(),
        "p".into(),
        "a".into(),
        2.into(),
        3.into(),
        "{}".into(),
    ];
    let check = async |i: usize, bad: Val<'static>| {
        let mut row = good;
        row[i] = bad;
        let mut tx = db.write().await.unwrap();
        let outcome = tx.insert(&ENTRY, &[row.to_vec()]).await;
        assert!(
            matches!(outcome, Err(EngineError::Refused(_))),
            "{bad:?}: {outcome:?}"
        );
    };
    check(0, "one".into()).await;
    check(0, Val::Bytes(b"12345678")).await;
    // Not asked of a text column: PostgreSQL writes any type out into one.
    check(4, "1.5".into()).await;
    check(4, "".into()).await;
    let mut tx = db.write().await.unwrap();
    tx.insert(&ENTRY, &[good.to_vec()]).await.unwrap();
    // Once more, now that the statement is prepared with the right types.
    drop(tx);
    check(4, "1.5".into()).await;
}

async fn check_columns(db: Db) {
    let mut tx = db.read().await.unwrap();
    for table in ALL {
        let (name, columns) = (table.name, table.columns.join(", "));
        let sql = format!("SELECT {columns} FROM {name}");
        assert_eq!(tx.fetch(&sql, &[]).await.unwrap().len(), 0, "{name}");
    }
}

#[tokio::test]
async fn no_column_is_forgotten() {
    let book = Book::sqlite();
    let db = book.open().await;
    let mut tx = db.read().await.unwrap();
    let tables = "SELECT name, (SELECT GROUP_CONCAT(c.name, ',') FROM pragma_table_info(t.name) c) \
                  FROM sqlite_schema t WHERE type = 'table' AND name <> 'migration' ORDER BY name";
    let stored = tx.fetch(tables, &[]).await.unwrap();
    let stored: Vec<_> = stored
        .iter()
        .map(|t| (t.text(0).into(), t.text(1).into()))
        .collect();
    let mut known: Vec<(String, String)> = ALL
        .iter()
        .map(|t| (t.name.into(), t.columns.join(",")))
        .collect();
    known.sort();
    assert_eq!(stored, known);
    let loose = "SELECT COUNT(*) FROM pragma_table_list WHERE strict = 0 AND type = 'table' \
                 AND schema = 'main' AND name NOT LIKE 'sqlite%'";
    assert_eq!(tx.fetch(loose, &[]).await.unwrap()[0].int(0), 0);
    drop(tx);
    db.close().await;
    book.remove().await;
}

async fn check_again(db: Db) {
    put(&db, "a", "1").await;
    let again = db.again().await.unwrap();
    assert_eq!(written(&again, "book").await, 1);
    let mut tx = db.write().await.unwrap();
    tx.execute(
        "UPDATE migration SET sha256 = 'other' WHERE version = 1",
        &[],
    )
    .await
    .unwrap();
    tx.commit().await.unwrap();
    let other = db.again().await.map(drop).unwrap_err();
    assert!(matches!(other, EngineError::Schema(_)), "{other}");
    again.close().await;
}

async fn check_writers(db: Db) {
    let mut tx = db.write().await.unwrap();
    tx.insert(&HEAD, &[vec![1.into(), 1.into(), 1.into(), 0.into()]])
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let mut writers = tokio::task::JoinSet::new();
    for _ in 0..4 {
        // Each an instance of its own.
        let db = db.again().await.unwrap();
        writers.spawn(async move {
            for _ in 0..25 {
                loop {
                    match count_up(&db).await {
                        Ok(()) => break,
                        Err(error) => assert!(error.is_retry(), "{error}"),
                    }
                }
            }
            db.close().await;
        });
    }
    writers.join_all().await;
    let mut tx = db.read().await.unwrap();
    assert_eq!(
        tx.fetch("SELECT next FROM head", &[]).await.unwrap()[0].int(0),
        101
    );
}

async fn count_up(db: &Db) -> Result<(), EngineError> {
    let mut tx = db.write().await?;
    let found = tx
        .lock("SELECT next FROM head WHERE site = ?", &[1.into()])
        .await?;
    tokio::task::yield_now().await;
    let next = found[0].int(0) + 1;
    tx.execute(
        "UPDATE head SET next = ? WHERE site = ?",
        &[next.into(), 1.into()],
    )
    .await?;
    tx.commit().await
}

async fn check_binds(db: Db) {
    for binds in [&[][..], &[Val::Int(1), Val::Int(2)]] {
        let mut tx = db.read().await.unwrap();
        let outcome = tx
            .fetch("SELECT next FROM head WHERE site = ?", binds)
            .await;
        assert!(
            matches!(outcome, Err(EngineError::Refused(_))),
            "{outcome:?}"
        );
    }
}

async fn check_closed(db: Db) {
    let other = db.again().await.unwrap();
    other.clone().close().await;
    for outcome in [other.read().await, other.write().await] {
        let error = outcome.map(drop).unwrap_err();
        assert!(
            matches!(error, EngineError::Closed) && error.is_gone(),
            "{error}"
        );
    }
}

async fn check_lost_commit(db: Db) {
    for (fault, kept) in [(Fault::CommitNeverSent, 0), (Fault::CommitAnswerLost, 1)] {
        db.faults().plan(1, fault);
        let mut tx = db.write().await.unwrap();
        tx.insert(&BOOK, &[vec!["a".into(), "1".into()]])
            .await
            .unwrap();
        let outcome = tx.commit().await;
        assert!(outcome.is_err_and(|error| error.is_commit_unknown()));
        // Whoever writes next waits until the lost one has ended.
        db.write().await.unwrap().rollback().await;
        assert_eq!(written(&db, "book").await, kept);
    }
}

async fn check_durable(db: Db) {
    let mut tx = db.write().await.unwrap();
    let settings = match db.0.engine {
        super::Engine::Sqlite(_) => {
            let mode = tx.fetch("PRAGMA journal_mode", &[]).await.unwrap();
            let full = tx.fetch("PRAGMA synchronous", &[]).await.unwrap();
            format!("{} {}", mode[0].text(0), full[0].int(0))
        }
        super::Engine::Postgres(_) => {
            let on = tx.fetch("SHOW synchronous_commit", &[]).await.unwrap();
            on[0].text(0).to_owned()
        }
    };
    assert!(["wal 2", "on"].contains(&settings.as_str()), "{settings}");
}

#[tokio::test]
async fn what_is_no_book_is_refused() {
    let check = async |url: &str| Db::open(url).await.map(drop).unwrap_err();
    check("mysql://localhost/books").await;
    check("books.db").await;
    check("sqlite::memory:").await;
    check("sqlite:").await;
    let gone = check("sqlite:///no/such/folder/books.db").await;
    assert!(gone.is_gone(), "{gone}");
}

#[tokio::test]
async fn instances_that_open_a_new_file_at_once_all_open_it() {
    let book = Book::sqlite();
    all_open(&book).await;
    book.remove().await;
}

#[tokio::test]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_instances_that_open_an_empty_database_at_once_all_open_it() {
    let book = Book::empty_postgres().await;
    all_open(&book).await;
    book.remove().await;
}

async fn all_open(book: &Book) {
    let mut instances = tokio::task::JoinSet::new();
    for n in 0..8 {
        let url = book.url.clone();
        instances.spawn(async move {
            let db = Db::open(&url).await.unwrap();
            put(&db, &n.to_string(), "1").await;
            db.close().await;
        });
    }
    instances.join_all().await;
    let db = book.open().await;
    assert_eq!(written(&db, "book").await, 8);
    db.close().await;
}

#[tokio::test]
async fn pay_posted_before_it_named_its_ticket_is_found_by_what_posted_it() {
    let book = Book::sqlite();
    pay_is_found(&book).await;
    book.remove().await;
}

#[tokio::test]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_pay_posted_before_it_named_its_ticket_is_found_by_what_posted_it() {
    let book = Book::empty_postgres().await;
    pay_is_found(&book).await;
    book.remove().await;
}

/// Migration 2 fills what the first schema did not say of each posting of a ticket's
/// pay: the number that the ticket's lot codes bear.
async fn pay_is_found(book: &Book) {
    let first = MIGRATIONS.get(..1).unwrap();
    let old = Db::open_as_of(&book.url, first).await.unwrap();
    let mut tx = old.write().await.unwrap();
    // Ticket 10 is rewritten by 20, held and released in part, and what is held is
    // thrown out with fish of ticket 30, and with some that was not held. 40 takes the
    // number 7 that a device had asked ahead. 50 buys nothing any more of ticket 45;
    // 60 voids 55. 70 is no ticket's.
    for sql in [
        "INSERT INTO line (ticket, n, number, place, part, weight, ice, amount, pay) VALUES \
         (10, 1, 10, 1, 1, 100, 0, 500, 500), (10, 2, 10, 2, 1, 100, 0, 300, 300), \
         (20, 1, 10, 1, 1, 90, 0, 450, 450), (30, 1, 30, 1, 1, 50, 0, 200, 200), \
         (40, 1, 7, 1, 1, 50, 0, 200, 200), (45, 1, 45, 1, 1, 50, 0, 200, 200), \
         (55, 1, 55, 1, 1, 50, 0, 200, 200)",
        "INSERT INTO spent (what, item, how, by) VALUES (10, 0, 'rewrite', 20), \
         (45, 0, 'rewrite', 50), (55, 0, 'void', 60), (21, 0, 'release', 22)",
        "INSERT INTO shift (entry, n, kind, number, place, from_part, to_part, weight, amount) \
         VALUES (21, 1, 'hold', 10, 1, 1, 2, 40, 200), (22, 1, 'release', 10, 1, 2, 1, 10, 50)",
        "INSERT INTO move (entry, n, number, place, part, outlet, party, weight, emptied, amount) \
         VALUES (35, 1, 10, 1, 1, 7, '', 5, 0, 0), (35, 2, 30, 1, 2, 7, '', 5, 0, 20), \
         (35, 3, 10, 1, 2, 7, '', 5, 0, 25)",
        "INSERT INTO money (entry, n, from_kind, from_party, to_kind, to_party, amount) VALUES \
         (10, 1, 'purchases', '', 'owed', 'ana', 800), \
         (20, 1, 'owed', 'ana', 'purchases', '', 800), \
         (20, 2, 'purchases', '', 'owed', 'ana', 450), \
         (21, 1, 'owed', 'ana', 'held', 'ana', 200), (22, 1, 'held', 'ana', 'owed', 'ana', 50), \
         (30, 1, 'purchases', '', 'owed', 'ben', 200), \
         (35, 1, 'held', 'ben', 'purchases', '', 20), \
         (35, 2, 'held', 'ana', 'purchases', '', 25), \
         (40, 1, 'purchases', '', 'owed', 'cat', 200), \
         (45, 1, 'purchases', '', 'owed', 'dan', 200), \
         (50, 1, 'owed', 'dan', 'purchases', '', 200), \
         (55, 1, 'purchases', '', 'owed', 'eve', 200), \
         (60, 1, 'owed', 'eve', 'purchases', '', 200), \
         (70, 1, 'advance', 'ana', 'paid', 'ana', 40)",
    ] {
        tx.execute(sql, &[]).await.unwrap();
    }
    tx.commit().await.unwrap();
    old.close().await;

    let db = book.open().await;
    let mut tx = db.read().await.unwrap();
    let sql = "SELECT entry, n, ticket FROM money ORDER BY entry, n";
    let rows = tx.fetch(sql, &[]).await.unwrap();
    let of: Vec<_> = rows
        .iter()
        .map(|row| (row.int(0), row.int(1), row.int(2)))
        .collect();
    assert_eq!(
        of,
        [
            (10, 1, 10),
            (20, 1, 10),
            (20, 2, 10),
            (21, 1, 10),
            (22, 1, 10),
            (30, 1, 30),
            (35, 1, 30),
            (35, 2, 10),
            (40, 1, 7),
            (45, 1, 45),
            (50, 1, 45),
            (55, 1, 55),
            (60, 1, 55),
            (70, 1, 0),
        ]
    );
    // So what each has of a ticket is known.
    let has = crate::pay::of_ticket(&mut tx, 10, None).await.unwrap();
    let has: Vec<_> = has
        .iter()
        .map(|has| (&*has.party, has.owed, has.held))
        .collect();
    assert_eq!(has, [("ana", 300, 125)]);
    drop(tx);
    db.close().await;
}

/// As after a restart of the server: every connection in every pool is dead.
#[tokio::test]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_dead_connections_are_replaced() {
    let book = Book::postgres().await;
    let db = book.open().await;
    let crowd: Vec<Tx> = {
        let mut crowd = Vec::new();
        for _ in 0..5 {
            crowd.push(db.read().await.unwrap());
        }
        crowd
    };
    drop(crowd);
    put(&db, "a", "1").await;
    let mut killer = db.write().await.unwrap();
    let kill = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
                WHERE datname = current_database() AND pid <> pg_backend_pid()";
    killer.fetch(kill, &[]).await.unwrap();
    let own = killer
        .fetch("SELECT pg_terminate_backend(pg_backend_pid())", &[])
        .await;
    assert!(own.is_err_and(|error| error.is_gone()));
    drop(killer);
    for n in 0..3 {
        assert_eq!(written(&db, "book").await, 1 + n);
        put(&db, &n.to_string(), "1").await;
    }
    db.close().await;
    book.remove().await;
}

/// What a standby answers, after a switchover.
#[tokio::test]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_a_server_that_only_reads_is_gone() {
    let book = Book::postgres().await;
    let db = book.open().await;
    let mut tx = db.write().await.unwrap();
    let sql = "DO $$BEGIN EXECUTE format('ALTER DATABASE %I SET default_transaction_read_only = on', \
               current_database()); END$$";
    tx.execute(sql, &[]).await.unwrap();
    tx.commit().await.unwrap();
    let standby = Db::open(&book.url).await.map(drop).unwrap_err();
    assert!(standby.is_gone(), "{standby}");
    db.close().await;
    book.remove().await;
}

#[tokio::test]
async fn a_stranger_who_keeps_the_file_makes_us_busy() {
    let book = Book::sqlite();
    let (db, stranger) = (book.open().await, book.open().await);
    let keeps = stranger.write().await.unwrap();
    let started = std::time::Instant::now();
    let busy = db.write().await.map(drop).unwrap_err();
    assert!(matches!(busy, EngineError::Busy(_)), "{busy}");
    assert!(started.elapsed() >= Duration::from_millis(900));
    keeps.rollback().await;
    put(&db, "a", "1").await;
    db.close().await;
    stranger.close().await;
    book.remove().await;
}
