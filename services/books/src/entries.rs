//! Entries, read back: one by its id, one by its request, and runs of them.

use std::collections::BTreeMap;

use rules::ids::EntryId;

use crate::db::{Tx, Val};
use crate::doc::{Doc, read_entry_doc};
use crate::{BooksError, corrupt};

/// An entry as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its id.
    pub id: EntryId,
    /// The deed.
    pub kind: String,
    /// Party it is about, or empty.
    pub party: String,
    /// Caller who asked for it.
    pub actor: String,
    /// When it happened, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// When the book took it.
    pub recorded_us: i64,
    /// Canonical JSON.
    pub doc: String,
    /// Number under which it was entered late, 0 when it was not.
    pub late: i64,
}

impl Entry {
    /// What was asked and what came of it.
    ///
    /// # Errors
    /// A document that does not read.
    pub fn read<A: Doc, O: Doc>(&self) -> Result<(A, O), BooksError> {
        read_entry_doc(&self.doc).map_err(|e| corrupt("entry", "doc", self.id.number(), e))
    }

    /// The business day on whose statement its pay stands.
    #[must_use]
    pub fn pay_day(&self) -> i64 {
        EntryId::new(self.late).map_or_else(|| self.id.day(), EntryId::day)
    }
}

const COLUMNS: &str = "e.id, e.kind, e.party, e.happened_us, e.recorded_us, e.doc, \
                       COALESCE(l.id, 0), e.actor FROM entry e LEFT JOIN late l ON l.entry = e.id";

/// One entry by its id.
///
/// # Errors
/// Engine trouble.
pub async fn get(tx: &mut Tx, id: i64) -> Result<Option<Entry>, BooksError> {
    let sql = format!("SELECT {COLUMNS} WHERE e.id = ?");
    Ok(fetch(tx, &sql, &[Val::Int(id)]).await?.pop())
}

/// The entry a request made, with the request's fingerprint.
///
/// # Errors
/// Engine trouble.
pub async fn by_request(
    tx: &mut Tx,
    request_id: &str,
) -> Result<Option<(Vec<u8>, i64)>, BooksError> {
    let sql = "SELECT print, entry FROM request WHERE request_id = ?";
    let rows = tx.fetch(sql, &[Val::from(request_id)]).await?;
    Ok(rows.first().map(|row| (row.bytes(0).to_vec(), row.int(1))))
}

/// Entries of one kind with ids in `[from, to)`, oldest first; of one party, or
/// of all where it is empty.
///
/// # Errors
/// Engine trouble.
pub async fn of_kind(
    tx: &mut Tx,
    kind: &str,
    party: &str,
    from: i64,
    to: i64,
    limit: i64,
) -> Result<Vec<Entry>, BooksError> {
    let sql = format!(
        "SELECT {COLUMNS} WHERE e.id >= ? AND e.id < ? AND e.kind = ? \
         AND (e.party = ? OR ? = '') ORDER BY e.id LIMIT ?"
    );
    let binds = [
        Val::Int(from),
        Val::Int(to),
        Val::from(kind),
        Val::from(party),
        Val::from(party),
        Val::Int(limit),
    ];
    fetch(tx, &sql, &binds).await
}

/// Every entry with an id in `[from, to)`, oldest first, each with the id of the
/// request that made it.
///
/// # Errors
/// Engine trouble.
pub async fn all(
    tx: &mut Tx,
    from: i64,
    to: i64,
    limit: i64,
) -> Result<Vec<(Entry, String)>, BooksError> {
    let sql = format!("SELECT {COLUMNS} WHERE e.id >= ? AND e.id < ? ORDER BY e.id LIMIT ?");
    let binds = [Val::Int(from), Val::Int(to), Val::Int(limit)];
    let entries = fetch(tx, &sql, &binds).await?;
    let (Some(first), Some(last)) = (entries.first(), entries.last()) else {
        return Ok(Vec::new());
    };
    // Nothing leads from an entry to its request but looking through them: an index
    // would be written with every ticket, and an auditor can wait.
    let sql = "SELECT entry, request_id FROM request WHERE entry BETWEEN ? AND ?";
    let ends = [first, last].map(|entry| Val::Int(entry.id.number()));
    let rows = tx.fetch(sql, &ends).await?;
    let mut requests: BTreeMap<i64, String> = rows
        .iter()
        .map(|row| (row.int(0), row.text(1).to_owned()))
        .collect();
    Ok(entries
        .into_iter()
        .map(|entry| {
            let request = requests.remove(&entry.id.number()).unwrap_or_default();
            (entry, request)
        })
        .collect())
}

/// What ended an entry, and how: the whole of it was spent.
///
/// # Errors
/// Engine trouble.
pub async fn ended(tx: &mut Tx, id: i64) -> Result<Option<(String, i64)>, BooksError> {
    spent(tx, id, 0).await
}

/// What spent an item of an entry, and how.
///
/// # Errors
/// Engine trouble.
pub async fn spent(tx: &mut Tx, id: i64, item: i64) -> Result<Option<(String, i64)>, BooksError> {
    let sql = "SELECT how, by FROM spent WHERE what = ? AND item = ?";
    let rows = tx.fetch(sql, &[Val::Int(id), Val::Int(item)]).await?;
    Ok(rows.first().map(|row| (row.text(0).to_owned(), row.int(1))))
}

async fn fetch(tx: &mut Tx, sql: &str, binds: &[Val<'_>]) -> Result<Vec<Entry>, BooksError> {
    let rows = tx.fetch(sql, binds).await?;
    let read = |row: &crate::db::Record| {
        let id = row.int(0);
        Ok(Entry {
            id: EntryId::new(id).ok_or_else(|| {
                corrupt("entry", "id", id, crate::doc::BadDoc::here("an entry id"))
            })?,
            kind: row.text(1).to_owned(),
            party: row.text(2).to_owned(),
            happened_us: row.int(3),
            recorded_us: row.int(4),
            doc: row.text(5).to_owned(),
            late: row.int(6),
            actor: row.text(7).to_owned(),
        })
    };
    rows.iter().map(read).collect()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
pub(crate) mod tests;
