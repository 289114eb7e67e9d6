//! A book looked at and left as it is: opened without making or migrating it, and
//! what the engine itself says of it.

use std::path::{Path, PathBuf};
use std::str::FromStr as _;
use std::sync::Arc;

use sha2::{Digest as _, Sha256};
use sqlx::postgres::PgConnectOptions;
use sqlx::sqlite::{SqliteConnectOptions, SqliteSynchronous};

use super::error::EngineError;
use super::value::Val;
use super::{Db, Engine, Inner, MIGRATIONS, Tx, hex, postgres_pools_of, sqlite_pools_of, unusable};
use crate::testing::Faults;

/// What the engine is asked to say of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Vitals {
    /// A file of SQLite.
    Sqlite {
        /// What `integrity_check` found; only "ok" where the file is sound.
        integrity: Vec<String>,
        /// `wal` where a reader keeps no writer waiting and a commit is one write.
        journal_mode: String,
        /// 2 or 3 where a connection of this program writes through to the disk.
        synchronous: i64,
    },
    /// A server of PostgreSQL.
    Postgres {
        /// Such as 150008.
        version: i64,
        /// As a connection of this program has it.
        synchronous_commit: String,
        /// Whether the server writes through to the disk.
        fsync: String,
        /// Whether a page torn by a power cut is mended.
        full_page_writes: String,
    },
}

impl Db {
    /// Opens the book at `url` to be looked at: it is neither made nor migrated, and
    /// [`Db::write`] is refused.
    ///
    /// # Errors
    /// A URL that names no book. Whether one is there, the first reading tells.
    pub fn look(url: &str) -> Result<Db, EngineError> {
        let engine = if url.starts_with("sqlite:") {
            let file = SqliteConnectOptions::from_str(url)?
                .create_if_missing(false)
                .read_only(true)
                .synchronous(SqliteSynchronous::Full);
            Engine::Sqlite(sqlite_pools_of(file.clone(), file))
        } else if url.starts_with("postgres:") || url.starts_with("postgresql:") {
            let server =
                PgConnectOptions::from_str(url)?.options([("default_transaction_read_only", "on")]);
            Engine::Postgres(postgres_pools_of(server))
        } else {
            return Err(unusable("a book is at sqlite:… or postgres://…"));
        };
        Ok(Db(Arc::new(Inner {
            engine,
            url: url.to_owned(),
            inserts: std::sync::Mutex::default(),
            faults: Faults::default(),
        })))
    }

    /// As it was opened, password and all.
    #[cfg(test)]
    pub(crate) fn url(&self) -> &str {
        &self.0.url
    }

    /// The file of a SQLite book; nothing for one on a server.
    #[must_use]
    pub fn file_of(url: &str) -> Option<PathBuf> {
        let options = SqliteConnectOptions::from_str(url).ok();
        options
            .filter(|_| url.starts_with("sqlite:"))
            .map(|options| options.get_filename().to_owned())
    }

    /// The URL of a book in a file, whatever its name.
    ///
    /// # Errors
    /// A name that is no UTF-8.
    pub fn url_of(file: &Path) -> Result<String, EngineError> {
        let name = file
            .to_str()
            .ok_or_else(|| unusable("the name of a book's file is to be UTF-8"))?;
        let name = name
            .replace('%', "%25")
            .replace('?', "%3F")
            .replace('#', "%23");
        Ok(format!("sqlite://{name}"))
    }
}

impl Tx {
    /// Names of the tables that are there, those of other programs too.
    ///
    /// # Errors
    /// Engine trouble.
    pub async fn tables(&mut self) -> Result<Vec<String>, EngineError> {
        let sql = match self.db.0.engine {
            Engine::Sqlite(_) => {
                "SELECT name FROM sqlite_schema \
                 WHERE type = 'table' AND name NOT LIKE 'sqlite|_%' ESCAPE '|' ORDER BY name"
            }
            Engine::Postgres(_) => {
                "SELECT tablename FROM pg_tables WHERE schemaname = current_schema() \
                 ORDER BY tablename"
            }
        };
        let rows = self.fetch(sql, &[]).await?;
        Ok(rows.iter().map(|row| row.text(0).to_owned()).collect())
    }

    /// Columns of a table, in their order.
    ///
    /// # Errors
    /// Engine trouble.
    pub async fn columns(&mut self, table: &str) -> Result<Vec<String>, EngineError> {
        let sql = match self.db.0.engine {
            Engine::Sqlite(_) => "SELECT name FROM pragma_table_info(?) ORDER BY cid",
            Engine::Postgres(_) => {
                "SELECT attname FROM pg_attribute \
                 WHERE attrelid = to_regclass(?) AND attnum > 0 AND NOT attisdropped \
                 ORDER BY attnum"
            }
        };
        let rows = self.fetch(sql, &[Val::from(table)]).await?;
        Ok(rows.iter().map(|row| row.text(0).to_owned()).collect())
    }

    /// Columns of a table's primary key, in their order.
    ///
    /// # Errors
    /// Engine trouble.
    pub async fn key(&mut self, table: &str) -> Result<Vec<String>, EngineError> {
        let sql = match self.db.0.engine {
            Engine::Sqlite(_) => "SELECT name FROM pragma_table_info(?) WHERE pk > 0 ORDER BY pk",
            Engine::Postgres(_) => {
                "SELECT a.attname FROM pg_index i \
                 JOIN pg_attribute a ON a.attrelid = i.indrelid AND a.attnum = ANY (i.indkey) \
                 WHERE i.indrelid = to_regclass(?) AND i.indisprimary \
                 ORDER BY array_position(i.indkey::INT2[], a.attnum)"
            }
        };
        let rows = self.fetch(sql, &[Val::from(table)]).await?;
        Ok(rows.iter().map(|row| row.text(0).to_owned()).collect())
    }

    /// Keeps everybody else from writing until this transaction ends.
    ///
    /// # Errors
    /// [`EngineError::Busy`] where somebody writes and goes on writing.
    pub async fn alone(&mut self) -> Result<(), EngineError> {
        if matches!(self.db.0.engine, Engine::Sqlite(_)) {
            return Ok(()); // It has the whole file.
        }
        let names: Vec<&str> = crate::table::ALL.iter().map(|table| table.name).collect();
        let lock = format!("LOCK TABLE {} IN EXCLUSIVE MODE", names.join(", "));
        self.script(&lock).await
    }

    /// What the engine says of itself. On SQLite this reads the whole file.
    ///
    /// # Errors
    /// Engine trouble.
    pub async fn vitals(&mut self) -> Result<Vitals, EngineError> {
        if matches!(self.db.0.engine, Engine::Sqlite(_)) {
            let found = self.fetch("PRAGMA integrity_check(20)", &[]).await?;
            let journal = self.fetch("PRAGMA journal_mode", &[]).await?;
            let synchronous = self.fetch("PRAGMA synchronous", &[]).await?;
            return Ok(Vitals::Sqlite {
                integrity: found.iter().map(|row| row.text(0).to_owned()).collect(),
                journal_mode: journal.iter().map(|row| row.text(0)).collect(),
                synchronous: synchronous.iter().map(|row| row.int(0)).sum(),
            });
        }
        let sql = "SELECT current_setting('server_version_num')::BIGINT, \
                   current_setting('synchronous_commit'), current_setting('fsync'), \
                   current_setting('full_page_writes')";
        let rows = self.fetch(sql, &[]).await?;
        let row = rows.first().ok_or(EngineError::Closed)?;
        Ok(Vitals::Postgres {
            version: row.int(0),
            synchronous_commit: row.text(1).to_owned(),
            fsync: row.text(2).to_owned(),
            full_page_writes: row.text(3).to_owned(),
        })
    }
}

/// The steps of the schema that this program knows, each with its text's SHA-256.
pub(crate) fn known_migrations() -> Vec<(i64, String)> {
    let step = |(version, text): &(i64, &str)| (*version, hex(&Sha256::digest(text)));
    MIGRATIONS.iter().map(step).collect()
}
