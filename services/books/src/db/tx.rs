//! A transaction: the only way to say anything to the engine.

use std::sync::Arc;

use sqlx::pool::PoolConnection;
use sqlx::{AssertSqlSafe, Postgres, Row as _, Sqlite};

use super::error::EngineError;
use super::value::{
    Record, Val, columns_as_arrays, postgres_arguments, postgres_record, sqlite_arguments,
    sqlite_record,
};
use super::words::{INSERT_SIZES, insert_unnest, keyed, numbered, places};
use super::{Db, Engine, Mode};
use crate::table::Table;
use crate::testing::{Fault, Faults};

/// A transaction. Dropped without [`Tx::commit`], it never was.
pub struct Tx {
    /// There until the transaction has ended.
    link: Option<Link>,
    /// Nothing is under way on the connection.
    at_rest: bool,
    /// A statement was refused.
    failed: bool,
    pub(super) db: Db,
}

/// A connection, on loan from its pool.
pub(super) enum Link {
    Sqlite(PoolConnection<Sqlite>),
    Postgres(PoolConnection<Postgres>),
}

impl Link {
    /// Takes the connection out of its pool and drops it.
    fn cut(self) {
        match self {
            Link::Sqlite(connection) => drop(connection.detach()),
            Link::Postgres(connection) => drop(connection.detach()),
        }
    }

    async fn script(&mut self, sql: &str) -> Result<(), sqlx::Error> {
        let sql = sqlx::raw_sql(AssertSqlSafe(sql));
        match self {
            Link::Sqlite(connection) => sql.execute(&mut **connection).await.map(drop),
            Link::Postgres(connection) => sql.execute(&mut **connection).await.map(drop),
        }
    }

    /// Leaves no transaction open, or fails.
    async fn roll_back(&mut self) -> Result<(), sqlx::Error> {
        match self.script("ROLLBACK").await {
            // SQLite has rolled back by itself, as it does when the disk is full.
            Err(sqlx::Error::Database(_)) if matches!(self, Link::Sqlite(_)) => Ok(()),
            done => done,
        }
    }
}

impl Drop for Tx {
    fn drop(&mut self) {
        let Some(mut link) = self.link.take() else {
            return;
        };
        match tokio::runtime::Handle::try_current() {
            Ok(runtime) if self.at_rest => {
                runtime.spawn(async move {
                    if link.roll_back().await.is_err() {
                        link.cut();
                    }
                });
            }
            // The engine rolls back whatever was open on a connection that closes.
            _ => link.cut(),
        }
    }
}

impl Tx {
    /// Begins on a connection fresh from its pool.
    pub(super) async fn begin(db: &Db, link: Link, mode: Mode) -> Result<Tx, EngineError> {
        let mut tx = Tx {
            link: Some(link),
            at_rest: true,
            failed: false,
            db: db.clone(),
        };
        let begun = match (tx.start()?, mode) {
            (Link::Sqlite(connection), Mode::Write) => {
                let begin = sqlx::raw_sql("BEGIN IMMEDIATE");
                begin.execute(&mut **connection).await.map(|_| true)
            }
            // BEGIN alone takes no snapshot, the first look does.
            (Link::Sqlite(connection), Mode::Read) => {
                let begin = sqlx::raw_sql("BEGIN; SELECT 1 FROM sqlite_schema LIMIT 1");
                begin.execute(&mut **connection).await.map(|_| true)
            }
            // After a switchover a connection may be to what is now a standby.
            (Link::Postgres(connection), mode) => {
                let begin = sqlx::raw_sql(match mode {
                    Mode::Read => {
                        "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY; \
                         SELECT NOT pg_is_in_recovery()"
                    }
                    Mode::Write => {
                        "BEGIN ISOLATION LEVEL READ COMMITTED; \
                         SELECT NOT current_setting('transaction_read_only')::BOOLEAN"
                    }
                });
                let rows = begin.fetch_all(&mut **connection).await;
                rows.and_then(|rows| rows.first().map_or(Ok(false), |row| row.try_get(0)))
            }
        };
        if tx.end(begun)? {
            return Ok(tx);
        }
        tx.at_rest = false;
        Err(EngineError::Gone(sqlx::Error::Io(std::io::Error::other(
            "the server is a standby, or only reads",
        ))))
    }

    /// Runs one statement, a `?` in it for each bind, and collects its rows.
    ///
    /// # Errors
    /// As the engine answers; [`EngineError::Corrupt`] for a value that is no whole
    /// number, text or bytes.
    pub async fn fetch(
        &mut self,
        sql: &str,
        binds: &[Val<'_>],
    ) -> Result<Vec<Record>, EngineError> {
        let sql = self.worded(sql, binds.len())?;
        match self.start()? {
            Link::Sqlite(connection) => {
                let query = sqlx::query_with(AssertSqlSafe(&*sql), sqlite_arguments(binds)?);
                let rows = query.fetch_all(&mut **connection).await;
                let rows = self.end(rows)?;
                rows.iter().map(|row| sqlite_record(&sql, row)).collect()
            }
            Link::Postgres(connection) => {
                let query = sqlx::query_with(AssertSqlSafe(&*sql), postgres_arguments(binds)?);
                let rows = query.fetch_all(&mut **connection).await;
                let rows = self.end(rows)?;
                rows.iter().map(|row| postgres_record(&sql, row)).collect()
            }
        }
    }

    /// [`Tx::fetch`] of a question that is asked of each engine in a text of its own, with
    /// the same answer: for the rare one where a single text is slow on one of them.
    ///
    /// # Errors
    /// As the engine answers.
    pub async fn fetch_by_engine(
        &mut self,
        sqlite: &str,
        postgres: &str,
        binds: &[Val<'_>],
    ) -> Result<Vec<Record>, EngineError> {
        let sql = match self.db.0.engine {
            Engine::Sqlite(_) => sqlite,
            Engine::Postgres(_) => postgres,
        };
        self.fetch(sql, binds).await
    }

    /// Runs one statement, a `?` in it for each bind, and says how many rows it wrote.
    ///
    /// # Errors
    /// As the engine answers.
    pub async fn execute(&mut self, sql: &str, binds: &[Val<'_>]) -> Result<u64, EngineError> {
        let sql = self.worded(sql, binds.len())?;
        self.run(sql.into(), binds).await
    }

    /// [`Tx::fetch`] that keeps the rows it found to this transaction until it ends.
    /// PostgreSQL locks in the order of the result: sort it, and nobody deadlocks.
    ///
    /// # Errors
    /// As the engine answers.
    pub async fn lock(&mut self, sql: &str, binds: &[Val<'_>]) -> Result<Vec<Record>, EngineError> {
        match self.db.0.engine {
            // It has the whole file.
            Engine::Sqlite(_) => self.fetch(sql, binds).await,
            Engine::Postgres(_) => self.fetch(&format!("{sql} FOR UPDATE"), binds).await,
        }
    }

    /// [`Tx::fetch`] for many keys of `width` values each, all in one list: `{keys}` in
    /// the statement becomes `?, ?, …`, or `(?, ?), (?, ?), …` where the width is above
    /// one (`(a, b) IN (VALUES {keys})`). Long lists take several statements, so keys
    /// are to be distinct wherever the statement counts.
    ///
    /// # Errors
    /// As the engine answers.
    pub async fn fetch_keys(
        &mut self,
        sql: &str,
        width: usize,
        keys: &[Val<'_>],
    ) -> Result<Vec<Record>, EngineError> {
        let mut records = Vec::new();
        for (sql, keys) in keyed(sql, width, keys) {
            records.extend(self.fetch(&sql, &keys).await?);
        }
        Ok(records)
    }

    /// [`Tx::lock`] for many keys, as [`Tx::fetch_keys`] takes them.
    ///
    /// # Errors
    /// As the engine answers.
    pub async fn lock_keys(
        &mut self,
        sql: &str,
        width: usize,
        keys: &[Val<'_>],
    ) -> Result<Vec<Record>, EngineError> {
        let mut records = Vec::new();
        for (sql, keys) in keyed(sql, width, keys) {
            records.extend(self.lock(&sql, &keys).await?);
        }
        Ok(records)
    }

    /// [`Tx::execute`] for many keys, as [`Tx::fetch_keys`] takes them. A key may be
    /// given twice, so the statement must mean the same when it is.
    ///
    /// # Errors
    /// As the engine answers.
    pub async fn execute_keys(
        &mut self,
        sql: &str,
        width: usize,
        keys: &[Val<'_>],
    ) -> Result<(), EngineError> {
        for (sql, keys) in keyed(sql, width, keys) {
            self.execute(&sql, &keys).await?;
        }
        Ok(())
    }

    /// Writes rows of one table, a value for each column.
    ///
    /// # Errors
    /// As the engine answers; a row of another width is refused.
    pub async fn insert(
        &mut self,
        table: &'static Table,
        rows: &[Vec<Val<'_>>],
    ) -> Result<(), EngineError> {
        if rows.iter().any(|row| row.len() != table.columns.len()) {
            return Err(self.mistake(format!("a row of {} has another width", table.name)));
        }
        self.insert_flat(table, &rows.concat()).await
    }

    /// [`Tx::insert`] of rows that follow each other without a break.
    ///
    /// # Errors
    /// As the engine answers; values that fill no whole row are refused.
    pub async fn insert_flat(
        &mut self,
        table: &'static Table,
        vals: &[Val<'_>],
    ) -> Result<(), EngineError> {
        let width = table.columns.len();
        if !vals.len().is_multiple_of(width) {
            return Err(self.mistake(format!("half a row for {}", table.name)));
        }
        match self.db.0.engine {
            Engine::Sqlite(_) => {
                let mut rest = vals;
                for size in INSERT_SIZES {
                    while rest.len() >= size * width {
                        let (now, later) = rest.split_at(size * width);
                        let sql = self.db.insert_values(table, size);
                        self.run(sql, now).await?;
                        rest = later;
                    }
                }
                Ok(())
            }
            Engine::Postgres(_) if vals.is_empty() => Ok(()),
            Engine::Postgres(_) => {
                let Link::Postgres(connection) = self.start()? else {
                    return Err(EngineError::Closed);
                };
                let arguments = columns_as_arrays(table, vals)?;
                let query = sqlx::query_with(AssertSqlSafe(insert_unnest(table)), arguments);
                let done = query.execute(&mut **connection).await;
                self.end(done).map(drop)
            }
        }
    }

    /// Ends the transaction; what it wrote is on the disk.
    ///
    /// # Errors
    /// [`EngineError::CommitUnknown`] when the answer was lost; otherwise nothing was
    /// committed. A transaction in which a statement was refused is refused here too.
    pub async fn commit(mut self) -> Result<(), EngineError> {
        if self.failed {
            return Err(self.mistake("commit after a statement that was refused".into()));
        }
        let fault = self.db.0.faults.at_commit();
        if fault == Some(Fault::CommitNeverSent) {
            self.at_rest = false;
            return Err(EngineError::CommitUnknown(Faults::error()));
        }
        self.at_rest = false;
        let Some(link) = &mut self.link else {
            return Err(EngineError::Closed);
        };
        let done = link.script("COMMIT").await;
        if fault == Some(Fault::CommitAnswerLost) {
            return Err(EngineError::CommitUnknown(Faults::error()));
        }
        self.end(done).map_err(EngineError::while_committing)?;
        // Ended: the connection goes back as it is.
        self.link = None;
        Ok(())
    }

    /// Ends the transaction as if it never was. Dropping it does the same, later.
    pub async fn rollback(mut self) {
        if self.at_rest
            && let Some(link) = &mut self.link
        {
            self.at_rest = false;
            if link.roll_back().await.is_ok() {
                self.link = None;
            }
        }
    }

    /// Runs statements that take no binds and give no rows.
    pub(super) async fn script(&mut self, sql: &str) -> Result<(), EngineError> {
        let done = self.start()?.script(sql).await;
        self.end(done)
    }

    async fn run(&mut self, sql: Arc<str>, binds: &[Val<'_>]) -> Result<u64, EngineError> {
        match self.start()? {
            Link::Sqlite(connection) => {
                let query = sqlx::query_with(AssertSqlSafe(sql), sqlite_arguments(binds)?);
                let done = query.execute(&mut **connection).await;
                self.end(done).map(|done| done.rows_affected())
            }
            Link::Postgres(connection) => {
                let query = sqlx::query_with(AssertSqlSafe(sql), postgres_arguments(binds)?);
                let done = query.execute(&mut **connection).await;
                self.end(done).map(|done| done.rows_affected())
            }
        }
    }

    /// The connection, taken as busy until [`Tx::end`].
    fn start(&mut self) -> Result<&mut Link, EngineError> {
        if self.failed {
            return Err(self.mistake("a statement after one that was refused".into()));
        }
        self.failed = true;
        if let Some(fault) = self.db.0.faults.at_statement() {
            self.at_rest = fault != Fault::Gone;
            return Err(fault.into_error());
        }
        self.at_rest = false;
        self.link.as_mut().ok_or(EngineError::Closed)
    }

    /// What came of a statement. One that the engine answered, even by refusing it, is
    /// over; after anything else the connection is not to be trusted.
    fn end<T>(&mut self, outcome: Result<T, sqlx::Error>) -> Result<T, EngineError> {
        self.failed = outcome.is_err();
        let outcome = outcome.map_err(|error| {
            let answered = matches!(error, sqlx::Error::Database(_));
            (answered, EngineError::from(error))
        });
        match outcome {
            Ok(value) => {
                self.at_rest = true;
                Ok(value)
            }
            Err((answered, error)) => {
                self.at_rest = answered && !error.is_gone();
                Err(error)
            }
        }
    }

    /// The statement in the engine's own words, its places for binds counted.
    fn worded(&mut self, sql: &str, binds: usize) -> Result<String, EngineError> {
        let (text, places) = match self.db.0.engine {
            Engine::Sqlite(_) => (sql.to_owned(), places(sql).count()),
            Engine::Postgres(_) => numbered(sql),
        };
        if places == binds {
            return Ok(text);
        }
        Err(self.mistake(format!("{binds} binds for {places} places in: {sql}")))
    }

    /// A refusal of our own; like the engine's, it leaves nothing to commit.
    fn mistake(&mut self, why: String) -> EngineError {
        self.failed = true;
        EngineError::Refused(sqlx::Error::InvalidArgument(why))
    }
}
