//! The rows of a close beside what they should be: what a rebuild compares, and puts
//! right.
//!
//! These rows say again what a close's document or its entries say, so they may be
//! written anew. Documents and entries never are.

use std::collections::BTreeSet;

use rules::ids::DayNumber;

use super::kept::Kept;
use super::{Manifest, Turned, link_row};
use crate::db::{Tx, Val};
use crate::table::{
    CLOSE_LINK, CUT_FACT, Cell, FLAG, FOUND, ON_HAND, PARTY_DAY, Row, SUPPLIER_DAY, Table,
    WEIGHT_DAY,
};
use crate::{BooksError, EngineError};

/// Tables of rows that are worked out.
static DERIVED: [&Table; 8] = [
    &CLOSE_LINK,
    &ON_HAND,
    &FOUND,
    &PARTY_DAY,
    &SUPPLIER_DAY,
    &CUT_FACT,
    &WEIGHT_DAY,
    &FLAG,
];

/// Days of a site that were closed, each with its latest revision, after the first
/// ones up to `after`, at most so many.
///
/// # Errors
/// Engine trouble.
pub async fn closed_days(
    tx: &mut Tx,
    site: i64,
    after: DayNumber,
    limit: i64,
) -> Result<Vec<(DayNumber, i64)>, BooksError> {
    let sql = "SELECT day, MAX(revision) FROM close WHERE site = ? AND day > ? \
               GROUP BY day ORDER BY day LIMIT ?";
    let rows = tx.fetch(sql, &[site, after, limit].map(Val::Int)).await?;
    Ok(rows.iter().map(|row| (row.int(0), row.int(1))).collect())
}

/// A table whose rows of a revision are not what they should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Apart {
    /// Its name.
    pub table: &'static str,
    /// Rows that should be there and are not.
    pub missing: usize,
    /// Rows that are there and should not be.
    pub foreign: usize,
}

/// What the rows of a revision should be.
#[derive(Debug, Clone)]
pub struct Should {
    site: i64,
    day: DayNumber,
    revision: i64,
    rows: Vec<Row>,
    tables: Vec<&'static Table>,
}

impl Should {
    /// All rows of a revision.
    #[must_use]
    pub fn all(revision: &super::Revision<'_>) -> Should {
        Should {
            site: revision.given.site,
            day: revision.given.day,
            revision: revision.number(),
            rows: revision.derived(&Turned::by(revision.judged).digests()),
            tables: DERIVED.to_vec(),
        }
    }

    /// What its manifest says, of any revision: how its day hangs on the one before it.
    #[must_use]
    pub fn link(revision: i64, manifest: &Manifest) -> Should {
        let Manifest { given, left } = manifest;
        Should {
            site: given.site,
            day: given.day,
            revision,
            rows: vec![link_row(revision, given, left)],
            tables: vec![&CLOSE_LINK],
        }
    }

    /// With what went into cuts, of a revision that other rules made: they are kept alike
    /// by all of them.
    #[must_use]
    pub fn and_cuts(mut self, kept: &Kept) -> Should {
        let key = [self.site, self.day, self.revision].map(Cell::Int);
        self.rows.extend(kept.cut_rows(&key));
        self.tables.push(&CUT_FACT);
        self
    }

    /// Tables that are not as they should be.
    ///
    /// # Errors
    /// Engine trouble.
    pub async fn apart(&self, tx: &mut Tx) -> Result<Vec<Apart>, EngineError> {
        let mut apart = Vec::new();
        for &table in &self.tables {
            let columns = table.columns.join(", ");
            let sql = format!(
                "SELECT {columns} FROM {} WHERE site = ? AND day = ? AND revision = ?",
                table.name
            );
            let stored = tx.fetch(&sql, &self.key()).await?;
            let stored: BTreeSet<Vec<Option<Val<'_>>>> = stored
                .iter()
                .map(|row| (0..table.columns.len()).map(|i| row.val(i)).collect())
                .collect();
            let should: BTreeSet<Vec<Option<Val<'_>>>> = self
                .of(table)
                .map(|row| row.cells.iter().map(|cell| Some(cell.val(0))).collect())
                .collect();
            let (missing, foreign) = (
                should.difference(&stored).count(),
                stored.difference(&should).count(),
            );
            if missing + foreign > 0 {
                apart.push(Apart {
                    table: table.name,
                    missing,
                    foreign,
                });
            }
        }
        Ok(apart)
    }

    /// Writes the rows of these tables anew.
    ///
    /// # Errors
    /// Engine trouble.
    pub async fn put_right(&self, tx: &mut Tx, apart: &[Apart]) -> Result<(), EngineError> {
        for &table in &self.tables {
            if !apart.iter().any(|apart| apart.table == table.name) {
                continue;
            }
            let sql = format!(
                "DELETE FROM {} WHERE site = ? AND day = ? AND revision = ?",
                table.name
            );
            tx.execute(&sql, &self.key()).await?;
            let cells = self.of(table).flat_map(|row| &row.cells);
            let vals: Vec<Val<'_>> = cells.map(|cell| cell.val(0)).collect();
            tx.insert_flat(table, &vals).await?;
        }
        Ok(())
    }

    fn of(&self, table: &'static Table) -> impl Iterator<Item = &Row> {
        self.rows
            .iter()
            .filter(move |row| std::ptr::eq(row.table, table))
    }

    fn key(&self) -> [Val<'static>; 3] {
        [self.site, self.day, self.revision].map(Val::Int)
    }
}
