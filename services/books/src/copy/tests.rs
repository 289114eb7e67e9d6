//! A copy holds all there is, whatever the engines, and anything else is refused.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::*;
use crate::conformance;
use crate::db::schema_text;
use crate::testing::Book;

conformance! {
    every_table_and_column_of_the_schema_is_copied, check_tables;
    a_copy_holds_every_row_and_reads_back_the_same, check_copy;
    a_book_with_something_in_it_is_not_copied_into, check_not_fresh;
    a_copy_that_lost_or_changed_a_row_is_found_out, check_found_out;
    a_table_of_somebody_else_stops_the_copy, check_unknown;
    a_book_that_is_looked_at_is_not_written, check_look;
}

/// Type of each column, by table and column, as the migrations say.
fn types() -> BTreeMap<(String, String), String> {
    let mut found = BTreeMap::new();
    let mut table = String::new();
    for line in schema_text().lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words[..] {
            ["CREATE", "TABLE", name, ..] => table = name.to_owned(),
            ["ALTER", "TABLE", name, "ADD", "COLUMN", column, kind, ..] => {
                found.insert((name.to_owned(), column.to_owned()), kind.to_owned());
            }
            [column, kind @ ("BIGINT" | "TEXT" | "BYTEA"), ..] => {
                found.insert((table.clone(), column.to_owned()), kind.to_owned());
            }
            _ => {}
        }
    }
    found
}

/// One row in every table, and more entries than go in one piece.
async fn fill(db: &Db) {
    const DOC: &str = r#"{"asked":{},"outcome":{}}"#;
    let types = types();
    let mut tx = db.write().await.unwrap();
    for table in ALL {
        let row: Vec<Val<'_>> = table
            .columns
            .iter()
            .map(|column| {
                let kind = &types[&(table.name.to_owned(), (*column).to_owned())];
                match (kind.as_str(), *column, table.name) {
                    ("TEXT", "kind", "shift") => Val::from("hold"),
                    ("TEXT", "fate", _) => Val::from("lot"),
                    ("TEXT", "doc", "entry") => Val::from(DOC),
                    ("TEXT", ..) => Val::from("Zoë's 'ä' ?"),
                    ("BYTEA", ..) => Val::Bytes(&[0, 255, 7]),
                    _ => Val::Int(1),
                }
            })
            .collect();
        tx.insert(table, &[row]).await.unwrap();
    }
    let rows: Vec<Vec<Val<'_>>> = (2..=PIECE * 2 + 3)
        .map(|id| {
            let text = Val::from("x");
            let at = Val::Int(-id);
            vec![Val::Int(id), text, text, text, at, at, Val::from(DOC)]
        })
        .collect();
    tx.insert(&ENTRY, &rows).await.unwrap();
    tx.commit().await.unwrap();
}

async fn copy_over(from: &Db, to: &Db) -> Result<Vec<Held>, CopyError> {
    let (mut snapshot, mut into) = (from.read().await.unwrap(), to.write().await.unwrap());
    let copied = copy(&mut snapshot, &mut into).await?;
    into.commit().await?;
    Ok(copied)
}

async fn verify_of(db: &Db, copied: &[Held]) -> Result<(), CopyError> {
    let mut tx = db.read().await.unwrap();
    verify(&mut tx, copied).await
}

async fn with_sqlite<C: AsyncFnOnce(Db)>(check: C) {
    crate::testing::on_sqlite(check).await;
}

async fn execute(db: &Db, sql: &str) {
    let mut tx = db.write().await.unwrap();
    tx.execute(sql, &[]).await.unwrap();
    tx.commit().await.unwrap();
}

async fn check_tables(db: Db) {
    let mut tx = db.read().await.unwrap();
    let there: BTreeSet<String> = tx.tables().await.unwrap().into_iter().collect();
    let copied = ALL.iter().map(|table| table.name.to_owned());
    let copied: BTreeSet<String> = copied.chain(["migration".to_owned()]).collect();
    assert_eq!(there, copied);
    for table in ALL {
        assert_eq!(tx.columns(table.name).await.unwrap(), table.columns);
        assert!(
            !tx.key(table.name).await.unwrap().is_empty(),
            "{}",
            table.name
        );
    }
}

async fn check_copy(db: Db) {
    fill(&db).await;
    with_sqlite(async |to: Db| {
        let copied = copy_over(&db, &to).await.unwrap();
        assert_eq!(copied.len(), ALL.len());
        for held in &copied {
            let expected = if held.table == "entry" { 1003 } else { 1 };
            assert_eq!(held.rows, expected, "{}", held.table);
        }
        verify_of(&db, &copied).await.unwrap();
        verify_of(&to, &copied).await.unwrap();
    })
    .await;
}

async fn check_not_fresh(db: Db) {
    execute(&db, "INSERT INTO book (name, value) VALUES ('a', 'b')").await;
    with_sqlite(async |from: Db| {
        let refused = copy_over(&from, &db).await;
        assert!(
            matches!(&refused, Err(CopyError::NotFresh(at)) if at == "table book"),
            "{refused:?}"
        );
    })
    .await;
}

async fn check_found_out(db: Db) {
    with_sqlite(async |from: Db| {
        fill(&from).await;
        let copied = copy_over(&from, &db).await.unwrap();
        verify_of(&db, &copied).await.unwrap();
        for (harm, table) in [
            ("UPDATE line SET weight = weight + 1", "line"),
            ("DELETE FROM entry WHERE id = 700", "entry"),
            ("UPDATE request SET request_id = 'x'", "request"),
        ] {
            let mut tx = db.write().await.unwrap();
            tx.execute(harm, &[]).await.unwrap();
            let found = verify(&mut tx, &copied).await;
            assert!(
                matches!(&found, Err(CopyError::Differs { table: at, .. }) if *at == table),
                "{harm}: {found:?}"
            );
            tx.rollback().await;
        }
        let mut tx = db.write().await.unwrap();
        let harm = "UPDATE entry SET doc = '{\"outcome\":{}, \"asked\":{}}' WHERE id = 700";
        tx.execute(harm, &[]).await.unwrap();
        let found = verify(&mut tx, &copied).await;
        assert!(matches!(found, Err(CopyError::Document(700))), "{found:?}");
        tx.rollback().await;
    })
    .await;
}

async fn check_unknown(db: Db) {
    execute(&db, "CREATE TABLE stranger (a BIGINT PRIMARY KEY)").await;
    with_sqlite(async |to: Db| {
        let refused = copy_over(&db, &to).await;
        assert!(
            matches!(&refused, Err(CopyError::UnknownTable(at)) if at == "stranger"),
            "{refused:?}"
        );
    })
    .await;
    execute(&db, "DROP TABLE stranger").await;
    execute(&db, "UPDATE migration SET sha256 = 'x' WHERE version = 1").await;
    with_sqlite(async |to: Db| {
        let refused = copy_over(&db, &to).await;
        assert!(matches!(refused, Err(CopyError::Schema(_))), "{refused:?}");
    })
    .await;
}

async fn check_look(db: Db) {
    let url = db.url();
    let look = Db::look(url).unwrap();
    let mut tx = look.read().await.unwrap();
    let write = "INSERT INTO book (name, value) VALUES ('a', 'b')";
    assert!(tx.execute(write, &[]).await.is_err());
    drop(tx);
    let written = match look.write().await {
        Ok(mut tx) => tx.execute(write, &[]).await.map(drop),
        Err(error) => Err(error),
    };
    assert!(written.is_err(), "{written:?}");
    look.close().await;
}

#[tokio::test]
async fn a_look_makes_no_book() {
    let book = Book::sqlite();
    let look = Db::look(&book.url).unwrap();
    assert!(look.read().await.is_err());
    assert!(!Db::is_there(&book.url));
    look.close().await;
    book.remove().await;
}

#[test]
fn a_file_of_any_name_has_a_url() {
    for name in ["/a/book.db", "/a/100%.db", "/a/what?.db", "/a/b#c d.db"] {
        let url = Db::url_of(Path::new(name)).unwrap();
        assert_eq!(Db::file_of(&url).as_deref(), Some(Path::new(name)), "{url}");
    }
    assert_eq!(Db::file_of("postgres://a@b/c"), None);
}
