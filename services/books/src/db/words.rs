//! Statements in the engine's own words. They are written with a bare `?` for each
//! bind, the schema in PostgreSQL's types.

use std::fmt::Write as _;

use super::value::Val;
use crate::table::Table;

/// Rows in one `INSERT` on SQLite: a group is cut into the largest that fit.
pub(super) const INSERT_SIZES: [usize; 4] = [128, 16, 4, 1];
/// Keys in one look-up: the next size that holds them all, the last key repeated.
const KEY_SIZES: [usize; 4] = [1, 16, 128, 1024];

/// Where in `sql` the places for binds are: every `?` outside of quotes.
pub(super) fn places(sql: &str) -> impl Iterator<Item = usize> {
    let mut quote = None;
    sql.bytes().enumerate().filter_map(move |(at, byte)| {
        match (quote, byte) {
            (None, b'\'' | b'"') => quote = Some(byte),
            (None, b'?') => return Some(at),
            (Some(open), byte) if open == byte => quote = None,
            _ => {}
        }
        None
    })
}

/// `sql` with `$1`, `$2`, … for its places, and how many they are.
pub(super) fn numbered(sql: &str) -> (String, usize) {
    let mut text = String::with_capacity(sql.len() + 16);
    let (mut from, mut count) = (0, 0);
    for at in places(sql) {
        count += 1;
        text.push_str(&sql[from..at]);
        let _ = write!(text, "${count}");
        from = at + 1;
    }
    text.push_str(&sql[from..]);
    (text, count)
}

/// `(?, ?), (?, ?)`: `rows` tuples of `width` places, bare places when the width is 1.
pub(super) fn tuples(rows: usize, width: usize) -> String {
    let tuple = format!("({})", vec!["?"; width].join(", "));
    vec![tuple.as_str(); rows].join(", ")
}

/// `INSERT` of any number of rows, one array for each column.
pub(super) fn insert_unnest(table: &Table) -> String {
    let (name, columns) = (table.name, table.columns.join(", "));
    let arrays: Vec<_> = (1..=table.columns.len()).map(|i| format!("${i}")).collect();
    let arrays = arrays.join(", ");
    format!("INSERT INTO {name} ({columns}) SELECT * FROM UNNEST({arrays})")
}

/// The statements that look up `keys`, each with its part of them, filled up to a
/// prepared size with the last key again.
pub(super) fn keyed<'a>(sql: &str, width: usize, keys: &[Val<'a>]) -> Vec<(String, Vec<Val<'a>>)> {
    let most = KEY_SIZES[KEY_SIZES.len() - 1];
    keys.chunks(most * width)
        .map(|chunk| {
            let count = chunk.len() / width;
            let size = KEY_SIZES.into_iter().find(|size| *size >= count);
            let size = size.unwrap_or(most);
            let places = match width {
                1 => vec!["?"; size].join(", "),
                _ => tuples(size, width),
            };
            let last = &chunk[chunk.len() - width..];
            let mut vals = chunk.to_vec();
            for _ in count..size {
                vals.extend_from_slice(last);
            }
            (sql.replace("{keys}", &places), vals)
        })
        .collect()
}

/// `url` up to its query, the password of its authority left out.
pub(super) fn without_password(url: &str) -> String {
    let url = url.split('?').next().unwrap_or_default();
    let Some((scheme, rest)) = url.split_once("://") else {
        return url.to_owned();
    };
    let (authority, path) = rest.split_at(rest.find('/').unwrap_or(rest.len()));
    let shown = match authority.rsplit_once('@') {
        Some((login, host)) => {
            let user = login.split(':').next().unwrap_or_default();
            format!("{user}@{host}")
        }
        None => authority.to_owned(),
    };
    format!("{scheme}://{shown}{path}")
}

/// Tables that keep a document or sentences under a key of several columns.
const WIDE: [&str; 3] = ["close", "flag", "flag_seen"];

/// PostgreSQL's schema text for SQLite: its types, and every table STRICT. A table
/// starts on a line with CREATE TABLE and ends on a line with `);`.
///
/// Rows under a key of several columns are kept in the tree of that key, where SQLite
/// would make one of row numbers and one that leads to it; rows as wide as a document
/// would make that tree a deep one. Books made before this have both trees, and answer
/// the same.
pub(super) fn sqlite_dialect(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 512);
    let mut table = None;
    let mut is_keyed = false;
    for line in text.lines() {
        if let Some(rest) = line.strip_prefix("CREATE TABLE ") {
            table = Some(rest.trim_end_matches(" ("));
            is_keyed = false;
        }
        is_keyed |= line.starts_with("    PRIMARY KEY (");
        match table {
            Some(name) if line == ");" => {
                table = None;
                let in_its_key = is_keyed && !WIDE.contains(&name);
                out.push_str(match in_its_key {
                    true => ") STRICT, WITHOUT ROWID;",
                    false => ") STRICT;",
                });
            }
            _ => out.push_str(&line.replace("BIGINT", "INTEGER").replace("BYTEA", "BLOB")),
        }
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_numbered_outside_of_quotes() {
        let check = |sql: &str, expected: &str, count: usize| {
            assert_eq!(numbered(sql), (expected.to_owned(), count));
        };
        check("SELECT 1", "SELECT 1", 0);
        check("a = ? AND b = ?", "a = $1 AND b = $2", 2);
        check("a = '?' AND b = ?", "a = '?' AND b = $1", 1);
        check("a = 'it''s ?' AND b = ?", "a = 'it''s ?' AND b = $1", 1);
        check("\"?'\" = ? AND '\"' = ?", "\"?'\" = $1 AND '\"' = $2", 2);
        check("'ü?' || ?", "'ü?' || $1", 1);
    }

    #[test]
    fn keys_are_filled_up_to_a_prepared_size() {
        let check = |count: i64, width: usize, expected: &[usize]| {
            let keys: Vec<Val<'_>> = (0..count).map(Val::Int).collect();
            let parts = keyed("IN ({keys})", width, &keys);
            let sizes: Vec<usize> = parts.iter().map(|(_, keys)| keys.len()).collect();
            assert_eq!(sizes, expected);
            for (sql, keys) in &parts {
                assert_eq!(places(sql).count(), keys.len());
            }
            let kept: std::collections::BTreeSet<i64> = parts
                .iter()
                .flat_map(|(_, keys)| keys)
                .map(|key| if let Val::Int(key) = key { *key } else { -1 })
                .collect();
            assert_eq!(kept, (0..count).collect());
        };
        check(0, 1, &[]);
        check(1, 1, &[1]);
        check(2, 1, &[16]);
        check(16, 1, &[16]);
        check(17, 1, &[128]);
        check(1024, 1, &[1024]);
        check(1025, 1, &[1024, 1]);
        check(2, 2, &[2]);
        check(4, 2, &[32]);
        assert_eq!(
            keyed("{keys}", 2, &[Val::Int(1), Val::Int(2)])[0].0,
            "(?, ?)"
        );
    }

    #[test]
    fn the_schema_turns_into_strict_tables() {
        let text = "-- BIGINT here\nCREATE TABLE a (\n    b BIGINT,\n    c BYTEA\n);\n\
                    CREATE VIEW v AS SELECT (\n1\n);\n";
        let expected = "-- INTEGER here\nCREATE TABLE a (\n    b INTEGER,\n    c BLOB\n) STRICT;\n\
                        CREATE VIEW v AS SELECT (\n1\n);\n";
        assert_eq!(sqlite_dialect(text), expected);
    }

    #[test]
    fn rows_under_several_columns_are_kept_in_their_key() {
        let check = |name: &str, key: &str, end: &str| {
            let table = format!("CREATE TABLE {name} (\n    a BIGINT{key}\n");
            let text = format!("{table});\nSELECT (\n);\n");
            let expected = table.replace("BIGINT", "INTEGER") + end + "\nSELECT (\n);\n";
            assert_eq!(sqlite_dialect(&text), expected);
        };
        let both = ",\n    b BIGINT,\n    PRIMARY KEY (a, b)".to_owned();
        check("lot", &both, ") STRICT, WITHOUT ROWID;");
        check("flag", &both, ") STRICT;");
        check("entry", " NOT NULL PRIMARY KEY", ") STRICT;");
    }

    #[test]
    fn a_password_is_not_shown() {
        let check = |url: &str, expected: &str| assert_eq!(without_password(url), expected);
        check("sqlite:///var/books.db", "sqlite:///var/books.db");
        check("sqlite:books.db?mode=rw", "sqlite:books.db");
        check("postgres://u:p@h:5432/db", "postgres://u@h:5432/db");
        check("postgres://u:p%40@h/db?password=x", "postgres://u@h/db");
        check("postgres://u:p@w@h/db", "postgres://u@h/db");
        check("postgres://h/db", "postgres://h/db");
        check("postgres://u:p@h", "postgres://u@h");
    }
}
