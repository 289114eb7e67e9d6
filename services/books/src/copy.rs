//! A whole book, copied: what a backup writes and a restore reads back.
//!
//! The copy is of one snapshot, so somebody may go on writing in the book it is made
//! of. It goes table by table in the order of the primary keys and in pieces, so a
//! large book takes no more memory than a small one. The two books may be on
//! different engines: what a row is does not depend on it, nor does a table's digest.
//!
//! A copy is only a copy once [`verify`] has read it back.

use sha2::{Digest as _, Sha256};

use crate::db::{Db, EngineError, Record, Tx, Val, Vitals, known_migrations};
use crate::doc::canonical;
use crate::table::{ALL, ENTRY, Table};

/// Rows copied at a time.
const PIECE: i64 = 500;

/// The steps of the schema. Opening a book makes them, so they are not copied.
const MIGRATION: Table = Table {
    name: "migration",
    columns: &["version", "sha256"],
};

/// Why a book is not copied, or its copy not good.
#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    /// The engine is in trouble.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// The schema is another than this program's.
    #[error(
        "the book's schema is not this program's ({0}): copy it with the program that wrote it"
    )]
    Schema(String),
    /// A table that would be left behind.
    #[error("the book has a table that this program does not know: {0}")]
    UnknownTable(String),
    /// A column that would be left behind, or is not there.
    #[error("the columns of table {0} are not those that this program knows")]
    UnknownColumns(&'static str),
    /// Something is in the book that is to be written.
    #[error("there is something in it already ({0}): a book is restored into a fresh one only")]
    NotFresh(String),
    /// A value that no column of the books may hold.
    #[error("{table}.{column}: a row has no value there")]
    Null {
        /// Table.
        table: &'static str,
        /// Column.
        column: &'static str,
    },
    /// The copy does not hold what it was copied from.
    #[error(
        "table {table}: {copied} rows were copied and {found} were read back, or another content"
    )]
    Differs {
        /// Table.
        table: &'static str,
        /// Rows of the snapshot.
        copied: u64,
        /// Rows of the copy.
        found: u64,
    },
    /// An entry whose document is not as the program writes it.
    #[error("entry {0}: its document is not as this program writes one")]
    Document(i64),
    /// The copy's file is not sound.
    #[error("the copy's file is not sound: {0}")]
    Unsound(String),
}

/// What a table holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// Its name.
    pub table: &'static str,
    /// How many rows.
    pub rows: u64,
    /// Sum over the rows of each one's SHA-256. A sum, because engines differ in
    /// the order of text; no two rows of a table are equal, so none cancels.
    pub digest: [u64; 4],
}

impl Held {
    fn nothing(table: &'static Table) -> Held {
        Held {
            table: table.name,
            rows: 0,
            digest: [0; 4],
        }
    }

    fn add(&mut self, row: &[Val<'_>]) {
        let mut hash = Sha256::new();
        for val in row {
            // Kind and length first, so that no two rows read alike.
            let (kind, bytes) = match val {
                Val::Int(int) => (b'i', &int.to_be_bytes()[..]),
                Val::Text(text) => (b't', text.as_bytes()),
                Val::Bytes(bytes) => (b'b', *bytes),
            };
            hash.update([kind]);
            hash.update((bytes.len() as u64).to_be_bytes());
            hash.update(bytes);
        }
        self.rows += 1;
        for (sum, word) in self.digest.iter_mut().zip(hash.finalize().chunks_exact(8)) {
            let word = word
                .iter()
                .fold(0_u64, |all, byte| all << 8 | u64::from(*byte));
            *sum = sum.wrapping_add(word);
        }
    }
}

/// Copies everything in the snapshot `from` into the fresh book `to`; says what it
/// copied. Nothing is there until `to` is committed.
///
/// # Errors
/// A book that is not fresh, or one with something in it that would be left behind.
pub async fn copy(from: &mut Tx, to: &mut Tx) -> Result<Vec<Held>, CopyError> {
    check_schema(from).await?;
    to.alone().await?;
    for table in ALL {
        let sql = format!("SELECT 1 FROM {} LIMIT 1", table.name);
        if !to.fetch(&sql, &[]).await?.is_empty() {
            return Err(CopyError::NotFresh(format!("table {}", table.name)));
        }
    }
    let mut copied = Vec::with_capacity(ALL.len());
    for table in ALL {
        let mut held = Held::nothing(table);
        let mut pieces = Pieces::of(from, table).await?;
        while let Some(records) = pieces.next(from).await? {
            let rows = vals(table, &records)?;
            rows.chunks_exact(table.columns.len())
                .for_each(|row| held.add(row));
            to.insert_flat(table, &rows).await?;
        }
        copied.push(held);
    }
    Ok(copied)
}

/// Reads a copy back, every row of it, and holds it against what was copied.
///
/// # Errors
/// A copy that is not what it should be.
pub async fn verify(copy: &mut Tx, copied: &[Held]) -> Result<(), CopyError> {
    if let Vitals::Sqlite { integrity, .. } = copy.vitals().await?
        && integrity != ["ok"]
    {
        return Err(CopyError::Unsound(integrity.join("; ")));
    }
    check_schema(copy).await?;
    for (table, expected) in ALL.iter().zip(copied) {
        let mut held = Held::nothing(table);
        let mut pieces = Pieces::of(copy, table).await?;
        while let Some(records) = pieces.next(copy).await? {
            for (record, row) in records
                .iter()
                .zip(vals(table, &records)?.chunks_exact(table.columns.len()))
            {
                held.add(row);
                if table.name == ENTRY.name && !is_canonical(record.text(6)) {
                    return Err(CopyError::Document(record.int(0)));
                }
            }
        }
        if held != *expected {
            return Err(CopyError::Differs {
                table: table.name,
                copied: expected.rows,
                found: held.rows,
            });
        }
    }
    Ok(())
}

/// Whether `url` may be restored into: nothing is there, or empty tables of ours.
///
/// # Errors
/// [`CopyError::NotFresh`] where it may not.
pub async fn check_fresh(url: &str) -> Result<(), CopyError> {
    if let Some(file) = Db::file_of(url) {
        return match file.exists() {
            true => Err(CopyError::NotFresh(file.display().to_string())),
            false => Ok(()),
        };
    }
    let db = Db::look(url)?;
    let mut tx = db.read().await?;
    for name in tx.tables().await? {
        let ours = ALL.iter().any(|table| table.name == name);
        if !ours && name != MIGRATION.name {
            return Err(CopyError::NotFresh(format!("table {name}")));
        }
    }
    tx.rollback().await;
    db.close().await;
    Ok(())
}

/// That nothing of the book would be left behind.
async fn check_schema(book: &mut Tx) -> Result<(), CopyError> {
    let tables = book.tables().await?;
    if !tables.iter().any(|name| *name == MIGRATION.name) {
        return Err(CopyError::Schema("there is none: it is no book".to_owned()));
    }
    let sql = "SELECT version, sha256 FROM migration ORDER BY version";
    let landed: Vec<(i64, String)> = book
        .fetch(sql, &[])
        .await?
        .iter()
        .map(|row| (row.int(0), row.text(1).to_owned()))
        .collect();
    let known = known_migrations();
    if landed != known {
        let last = |steps: &[(i64, String)]| steps.last().map_or(0, |(version, _)| *version);
        return Err(CopyError::Schema(format!(
            "its last step is {}, this program's {}",
            last(&landed),
            last(&known)
        )));
    }
    for name in tables {
        if name != MIGRATION.name && !ALL.iter().any(|table| table.name == name) {
            return Err(CopyError::UnknownTable(name));
        }
    }
    for table in ALL {
        if book.columns(table.name).await? != table.columns {
            return Err(CopyError::UnknownColumns(table.name));
        }
    }
    Ok(())
}

/// A table's rows, a piece at a time, in the order of its primary key.
struct Pieces {
    table: &'static Table,
    key: Vec<usize>,
    first: String,
    later: String,
    last: Option<Record>,
    done: bool,
}

impl Pieces {
    async fn of(tx: &mut Tx, table: &'static Table) -> Result<Pieces, CopyError> {
        let names = tx.key(table.name).await?;
        let key: Option<Vec<usize>> = names.iter().map(|name| table.place_of(name)).collect();
        let key = key
            .filter(|key| !key.is_empty())
            .ok_or(CopyError::UnknownColumns(table.name))?;
        let (name, columns) = (table.name, table.columns.join(", "));
        let places = vec!["?"; names.len()].join(", ");
        let names = names.join(", ");
        let end = format!("ORDER BY {names} LIMIT {PIECE}");
        Ok(Pieces {
            table,
            key,
            first: format!("SELECT {columns} FROM {name} {end}"),
            later: format!("SELECT {columns} FROM {name} WHERE ({names}) > ({places}) {end}"),
            last: None,
            done: false,
        })
    }

    /// The next piece; nothing after the last.
    async fn next(&mut self, tx: &mut Tx) -> Result<Option<Vec<Record>>, CopyError> {
        if self.done {
            return Ok(None);
        }
        let records = match &self.last {
            None => tx.fetch(&self.first, &[]).await?,
            Some(last) => {
                let key = self.key.iter().map(|at| val(self.table, last, *at));
                let key = key.collect::<Result<Vec<_>, _>>()?;
                tx.fetch(&self.later, &key).await?
            }
        };
        self.last = records.last().cloned();
        self.done = self.last.is_none();
        Ok((!self.done).then_some(records))
    }
}

/// The values of rows, one after the other.
fn vals<'a>(table: &'static Table, records: &'a [Record]) -> Result<Vec<Val<'a>>, CopyError> {
    let row = |record| (0..table.columns.len()).map(move |at| val(table, record, at));
    records.iter().flat_map(row).collect()
}

fn val<'a>(table: &'static Table, record: &'a Record, at: usize) -> Result<Val<'a>, CopyError> {
    record.val(at).ok_or(CopyError::Null {
        table: table.name,
        column: table.columns[at],
    })
}

/// Whether a document is written as the program writes one.
pub(crate) fn is_canonical(doc: &str) -> bool {
    let value: Option<serde_json::Value> = serde_json::from_str(doc).ok();
    value.is_some_and(|value| {
        value.get("asked").is_some() && value.get("outcome").is_some() && canonical(&value) == doc
    })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
