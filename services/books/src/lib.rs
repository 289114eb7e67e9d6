//! The books of a seafood buyer: everything that speaks SQL.
//!
//! [`db`] is the engine, SQLite or PostgreSQL, and the only place that asks which;
//! [`table`] is the shape of what is stored; [`scribe`] is the one way in for what
//! is written; [`doc`] is how the trade's types stand in a document. The rest is
//! one file for each thing that is read back.

pub mod blocks;
pub mod book;
pub mod close;
pub mod copy;
pub mod db;
pub mod doc;
mod doc_outlet;
mod doc_settlement;
mod doc_stock;
pub mod entries;
pub mod findings;
pub mod health;
pub mod lease;
pub mod outlets;
pub mod pay;
pub mod refusals;
pub mod register;
pub mod scribe;
pub mod session;
pub mod settlement;
pub mod stock;
pub mod table;
#[doc(hidden)]
pub mod testing;
pub mod tickets;
pub mod yield_answers;

pub use db::{Db, EngineError, Record, Tx, Val};
pub use scribe::{Answer, Condition, Deed, Scribe, Stamp, entry_id, entry_parts, write_once};
pub use table::{Cell, Row, Table};

/// Why the books could not be read.
#[derive(Debug, thiserror::Error)]
pub enum BooksError {
    /// The engine is in trouble.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// A stored row does not read: the book was not written by this program, or
    /// is damaged.
    #[error("{table}.{column} of {row} does not read: {why}")]
    Corrupt {
        /// Table.
        table: &'static str,
        /// Column.
        column: &'static str,
        /// The row, by its first number.
        row: i64,
        /// What was expected.
        why: String,
    },
}

pub(crate) fn corrupt(
    table: &'static str,
    column: &'static str,
    row: i64,
    why: doc::BadDoc,
) -> BooksError {
    BooksError::Corrupt {
        table,
        column,
        row,
        why: why.to_string(),
    }
}
