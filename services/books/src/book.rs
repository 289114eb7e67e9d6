//! What the book says of itself: whether its clock is simulated.

use crate::db::{Db, Record, Tx, Val};
use crate::doc::BadDoc;
use crate::{BooksError, corrupt};

/// The time of a book made with a simulated clock; `None` for an ordinary book.
///
/// # Errors
/// Engine trouble.
pub async fn simulated_now(db: &Db) -> Result<Option<i64>, BooksError> {
    let mut tx = db.read().await?;
    simulated_now_in(&mut tx).await
}

pub(crate) async fn simulated_now_in(tx: &mut Tx) -> Result<Option<i64>, BooksError> {
    let sql = "SELECT value FROM book WHERE name = 'simulated_now_us'";
    let rows = tx.fetch(sql, &[]).await?;
    shown(&rows)
}

/// What the row says, where there is one.
fn shown(rows: &[Record]) -> Result<Option<i64>, BooksError> {
    let Some(row) = rows.first() else {
        return Ok(None);
    };
    let read = row.text(0).parse();
    read.map(Some).map_err(|_| {
        let why = BadDoc::here("microseconds since 1970 UTC");
        corrupt("book", "simulated_now_us", 0, why)
    })
}

/// Makes a fresh book one with a simulated clock that shows `now_us`, or sets
/// the clock of one. It never goes back: the later time stays.
///
/// # Errors
/// Engine trouble.
pub async fn set_simulated_now(db: &Db, now_us: i64) -> Result<(), BooksError> {
    let mut tx = db.write().await?;
    let sql = "INSERT INTO book (name, value) VALUES ('simulated_now_us', ?) \
               ON CONFLICT (name) DO UPDATE SET value = excluded.value";
    let before = "SELECT value FROM book WHERE name = 'simulated_now_us'";
    let rows = tx.fetch(before, &[]).await?;
    let before = shown(&rows)?.unwrap_or(i64::MIN);
    let value = now_us.max(before).to_string();
    tx.execute(sql, &[Val::from(&value)]).await?;
    tx.commit().await?;
    Ok(())
}

/// Whether nothing was ever written into this book.
///
/// # Errors
/// Engine trouble.
pub async fn is_fresh(db: &Db) -> Result<bool, BooksError> {
    let mut tx = db.read().await?;
    let rows = tx.fetch("SELECT id FROM entry LIMIT 1", &[]).await?;
    Ok(rows.is_empty())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
