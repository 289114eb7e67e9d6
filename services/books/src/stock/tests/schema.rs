//! The schema refuses rows that cannot be, on both engines.

use std::collections::BTreeSet;

use super::*;
use crate::db::{EngineError, schema_text};
use crate::table::{
    BLOCK, CLOSE, CUT_FACT, DEDUCTION, DISPUTE, FLAG, HEAD, LINE, REWEIGH, ROOM_USE,
    SETTLEMENT_ITEM, SPENT, SUPPLIER_DAY, Table,
};

conformance! {
    a_row_that_cannot_be_is_refused, check_refused;
    a_part_is_alike_in_itself_and_unlike_its_siblings, check_alike;
}

/// Columns with a rule, the values at its edges that it takes, and those beyond
/// them that it refuses.
fn rules() -> Vec<(&'static Table, &'static str, Vec<Cell>, Vec<Cell>)> {
    fn whole(values: &[i64]) -> Vec<Cell> {
        values.iter().map(|value| (*value).into()).collect()
    }
    fn words(words: &str) -> Vec<Cell> {
        words.split_whitespace().map(Cell::from).collect()
    }
    let from_0 = || (whole(&[0, i64::MAX]), whole(&[-1, i64::MIN]));
    let from_1 = || (whole(&[1, i64::MAX]), whole(&[0, -1]));
    let yes_no = || (whole(&[0, 1]), whole(&[-1, 2]));
    let between = |low: i64, high: i64| (whole(&[low, high]), whole(&[low - 1, high + 1]));
    let mut rules = Vec::new();
    for (table, column, (taken, refused)) in [
        (&DEDUCTION, "advance", yes_no()),
        (&DEDUCTION, "amount", from_1()),
        (&DISPUTE, "line", from_0()),
        (&HEAD, "site", between(0, 9_999)),
        (&HEAD, "next", between(1, 10_000_000)),
        (&SPENT, "item", from_0()),
        (&LOT, "place", between(1, 35)),
        (&PART, "n", from_1()),
        (&PART, "band", from_0()),
        (&PART, "condition", between(0, 3)),
        (&PART, "hold", yes_no()),
        (&PART, "undersize", between(0, 2)),
        (&LINE, "n", from_1()),
        (&LINE, "weight", from_0()),
        (&LINE, "ice", from_0()),
        (
            &SHIFT,
            "kind",
            (words("hold release regrade"), words("Hold void")),
        ),
        (&ROOM_USE, "weight", from_0()),
        (&INWARD, "weight", from_0()),
        (&MOVE, "weight", from_0()),
        (&MOVE, "emptied", yes_no()),
        (&MAKING_IN, "weight", from_0()),
        (&MAKING_IN, "emptied", yes_no()),
        (
            &MAKING_OUT,
            "fate",
            (
                words("lot discard not_weighed cutting_loss table_unaccounted"),
                words("Lot lost"),
            ),
        ),
        (&COUNTED, "weight", from_0()),
        (&REWEIGH, "part", from_0()),
        (&REWEIGH, "weight", from_0()),
        (&SETTLEMENT_ITEM, "n", from_1()),
        (&BLOCK, "numbers", between(1, 1_000)),
        (&CLOSE, "revision", from_1()),
        (&SUPPLIER_DAY, "customer", yes_no()),
        (&CUT_FACT, "n", from_1()),
        (&CUT_FACT, "condition", between(0, 3)),
        (&CUT_FACT, "pieces", from_0()),
        (&CUT_FACT, "weight", from_0()),
        (&CUT_FACT, "fillet", from_0()),
        (
            &CUT_FACT,
            "minutes_e2",
            (whole(&[-1, i64::MAX]), whole(&[-2, i64::MIN])),
        ),
        (&FLAG, "gap", yes_no()),
    ] {
        rules.push((table, column, taken, refused));
    }
    rules
}

/// A row that every rule takes: words that are known, and 1 everywhere else.
fn sound(table: &'static Table) -> Row {
    let texts = [
        "how",
        "species",
        "supplier",
        "grade",
        "kind",
        "party",
        "fate",
        "manifest",
        "doc",
        "sha256",
        "specification",
        "key",
        "subject",
        "text",
        "note",
        "cutter",
        "kitchen",
        "from_place",
        "to_place",
        "opened_with",
        "opened_owing",
        "left_on_hand",
        "left_owing",
    ];
    let cell = |column: &&str| match *column {
        "fate" => "lot".into(),
        "kind" if table.name == "shift" => "hold".into(),
        "band" if table.name == "cut_fact" => "x".into(),
        column if texts.contains(&column) => "x".into(),
        _ => 1.into(),
    };
    Row {
        table,
        cells: table.columns.iter().map(cell).collect(),
    }
}

/// Tries to write a row; leaves nothing behind.
async fn insert(db: &Db, row: &Row) -> Result<(), EngineError> {
    let vals: Vec<Val<'_>> = row.cells.iter().map(|cell| cell.val(0)).collect();
    let mut tx = db.write().await?;
    let done = tx.insert(row.table, &[vals]).await;
    tx.rollback().await;
    done
}

async fn check_refused(db: Db) {
    for (table, column, taken, refused) in rules() {
        let at = table.place_of(column).unwrap();
        let with = |value: &Cell| {
            let mut row = sound(table);
            row.cells[at] = value.clone();
            row
        };
        for value in &taken {
            let done = insert(&db, &with(value)).await;
            done.unwrap_or_else(|e| panic!("{}.{column} {value:?}: {e}", table.name));
        }
        for value in &refused {
            let done = insert(&db, &with(value)).await;
            assert!(
                matches!(done, Err(EngineError::Refused(_))),
                "{}.{column} {value:?}: {done:?}",
                table.name
            );
        }
    }
}

#[test]
fn every_rule_of_the_schema_is_tried() {
    let mut named = BTreeSet::new();
    let mut table = "";
    let schema = schema_text();
    for row in schema.lines() {
        if let Some(name) = row.strip_prefix("CREATE TABLE ") {
            table = name.trim_end_matches(" (");
        }
        if row.contains("CHECK (") {
            let column = row.split_whitespace().next().unwrap();
            named.insert(format!("{table}.{column}"));
        }
    }
    let tried: BTreeSet<String> = rules()
        .iter()
        .map(|(table, column, ..)| format!("{}.{column}", table.name))
        .collect();
    assert_eq!(tried, named);
}

async fn check_alike(db: Db) {
    let one = sound(&PART);
    damage(&db, std::slice::from_ref(&one)).await;
    for (column, value, clashes) in [
        // The same key under another number is no other part.
        ("n", 2.into(), true),
        ("number", 2.into(), false),
        ("place", 2.into(), false),
        ("band", 2.into(), false),
        ("grade", Cell::from("B"), false),
        ("condition", 2.into(), false),
        ("hold", 0.into(), false),
        // What is not of the key tells no parts apart.
        ("undersize", 2.into(), true),
    ] {
        let mut other = one.clone();
        if column != "n" {
            other.cells[PART.place_of("n").unwrap()] = 2.into();
        }
        other.cells[PART.place_of(column).unwrap()] = value;
        let done = insert(&db, &other).await;
        assert_eq!(
            matches!(done, Err(EngineError::Clash(_))),
            clashes,
            "{column}: {done:?}"
        );
        assert!(clashes || done.is_ok(), "{column}: {done:?}");
    }
}
