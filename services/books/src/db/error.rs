//! What an engine's failure means to whoever writes.

use sqlx::sqlite::SqliteError;

/// What the engine refused, by what it means to whoever wrote. Each says its cause in
/// its own words, and names none behind it that would say it again.
#[derive(Debug, thiserror::Error)]
pub enum EngineError {
    /// Someone else was in the way; the whole transaction may be run again.
    #[error("busy: {0}")]
    Busy(sqlx::Error),
    /// A key is already there. Run again, the transaction may see it in time.
    #[error("key already there: {0}")]
    Clash(sqlx::Error),
    /// The connection is lost, or the engine cannot serve at all; nothing was committed.
    #[error("engine gone: {0}")]
    Gone(sqlx::Error),
    /// The answer to COMMIT was lost: it may or may not have happened.
    #[error("outcome of commit unknown: {0}")]
    CommitUnknown(sqlx::Error),
    /// What is stored is damaged: trying again does not help.
    #[error("damaged: {0}")]
    Damaged(sqlx::Error),
    /// The statement or its values are at fault.
    #[error("refused: {0}")]
    Refused(sqlx::Error),
    /// A value came back in a form the books do not know.
    #[error("corrupt value in column {column} ({kind}) of: {sql}")]
    Corrupt {
        /// The statement.
        sql: String,
        /// Name of the column in the result.
        column: String,
        /// What the engine says it is.
        kind: String,
    },
    /// The stored schema is not the one this program was built with.
    #[error("schema: {0}")]
    Schema(String),
    /// [`Db::close`] was called.
    #[error("the book is closed")]
    Closed,
}

impl EngineError {
    /// Whether the same transaction, run again as a whole, may succeed.
    pub fn is_retry(&self) -> bool {
        matches!(self, EngineError::Busy(_) | EngineError::Clash(_))
    }

    /// Whether the connection is lost, or none is to be had; nothing was committed.
    pub fn is_gone(&self) -> bool {
        matches!(self, EngineError::Gone(_) | EngineError::Closed)
    }

    /// Whether the transaction may or may not have been committed.
    pub fn is_commit_unknown(&self) -> bool {
        matches!(self, EngineError::CommitUnknown(_))
    }

    /// The same, met while the transaction was being opened: no deed is to blame.
    pub(super) fn while_opening(self) -> EngineError {
        match self {
            EngineError::Refused(error) => EngineError::Gone(error),
            other => other,
        }
    }

    /// The same, met in place of an answer to COMMIT.
    pub(super) fn while_committing(self) -> EngineError {
        match self {
            EngineError::Gone(error) => EngineError::CommitUnknown(error),
            other => other,
        }
    }
}

impl From<sqlx::Error> for EngineError {
    fn from(error: sqlx::Error) -> EngineError {
        match &error {
            sqlx::Error::PoolClosed => EngineError::Closed,
            sqlx::Error::Io(_)
            | sqlx::Error::Tls(_)
            | sqlx::Error::PoolTimedOut
            | sqlx::Error::WorkerCrashed => EngineError::Gone(error),
            sqlx::Error::Database(database) => {
                let code = database.code().unwrap_or_default();
                let kind = if database.try_downcast_ref::<SqliteError>().is_some() {
                    sqlite_kind(&code)
                } else {
                    postgres_kind(&code)
                };
                kind(error)
            }
            _ => EngineError::Refused(error),
        }
    }
}

/// Meaning of an extended result code, <https://www.sqlite.org/rescode.html>.
fn sqlite_kind(code: &str) -> fn(sqlx::Error) -> EngineError {
    let code: i32 = code.parse().unwrap_or_default();
    match (code & 0xff, code) {
        // BUSY, LOCKED
        (5 | 6, _) => EngineError::Busy,
        // CONSTRAINT_PRIMARYKEY, CONSTRAINT_UNIQUE
        (_, 1555 | 2067) => EngineError::Clash,
        // CORRUPT, NOTADB
        (11 | 26, _) => EngineError::Damaged,
        // READONLY, IOERR, FULL, CANTOPEN, PROTOCOL
        (8 | 10 | 13 | 14 | 15, _) => EngineError::Gone,
        _ => EngineError::Refused,
    }
}

/// Meaning of a SQLSTATE, <https://www.postgresql.org/docs/15/errcodes-appendix.html>.
fn postgres_kind(code: &str) -> fn(sqlx::Error) -> EngineError {
    match code {
        // serialization_failure, deadlock_detected, lock_not_available
        "40001" | "40P01" | "55P03" => EngineError::Busy,
        // unique_violation
        "23505" => EngineError::Clash,
        // data_corrupted, index_corrupted
        "XX001" | "XX002" => EngineError::Damaged,
        // a message we made wrongly is our fault, not the connection's
        "08P01" => EngineError::Refused,
        // statement_completion_unknown, read_only_sql_transaction, disk and memory and
        // connections used up, shutdown and start, system error
        "40003" | "25006" => EngineError::Gone,
        _ if ["08", "53", "57P", "58"]
            .iter()
            .any(|class| code.starts_with(class)) =>
        {
            EngineError::Gone
        }
        _ => EngineError::Refused,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn postgres(code: &str) -> EngineError {
        postgres_kind(code)(sqlx::Error::RowNotFound)
    }

    fn sqlite(code: &str) -> EngineError {
        sqlite_kind(code)(sqlx::Error::RowNotFound)
    }

    #[test]
    fn a_failure_means_the_same_on_both_engines() {
        for busy in [postgres("40001"), postgres("40P01"), postgres("55P03")] {
            assert!(matches!(busy, EngineError::Busy(_)), "{busy}");
        }
        // BUSY, BUSY_SNAPSHOT, LOCKED
        for busy in [sqlite("5"), sqlite("517"), sqlite("6")] {
            assert!(matches!(busy, EngineError::Busy(_)), "{busy}");
        }
        for clash in [postgres("23505"), sqlite("1555"), sqlite("2067")] {
            assert!(matches!(clash, EngineError::Clash(_)), "{clash}");
        }
        for gone in [
            "08006", "25006", "53100", "53300", "57P01", "57P03", "58030",
        ] {
            assert!(postgres(gone).is_gone(), "{gone}");
        }
        // IOERR_FSYNC, FULL, READONLY, CANTOPEN
        for gone in ["1034", "13", "8", "14"] {
            assert!(sqlite(gone).is_gone(), "{gone}");
        }
        for damaged in [
            postgres("XX001"),
            postgres("XX002"),
            sqlite("11"),
            sqlite("26"),
        ] {
            assert!(matches!(damaged, EngineError::Damaged(_)), "{damaged}");
            assert!(!damaged.is_gone() && !damaged.is_retry());
        }
        // wrong bind count, not null, check, wrong type, statement cancelled, no table
        for refused in ["08P01", "23502", "23514", "42804", "57014", "42P01"] {
            assert!(
                matches!(postgres(refused), EngineError::Refused(_)),
                "{refused}"
            );
        }
        // ERROR, NOT NULL, CHECK, DATATYPE
        for refused in ["1", "1299", "275", "3091"] {
            assert!(
                matches!(sqlite(refused), EngineError::Refused(_)),
                "{refused}"
            );
        }
    }

    #[test]
    fn a_cause_is_said_once() {
        let all = [
            EngineError::Busy,
            EngineError::Clash,
            EngineError::Gone,
            EngineError::CommitUnknown,
            EngineError::Refused,
        ];
        for error in all.map(|kind| kind(sqlx::Error::WorkerCrashed)) {
            let cause = sqlx::Error::WorkerCrashed.to_string();
            let mut said = error.to_string();
            let mut next = std::error::Error::source(&error);
            while let Some(source) = next {
                said = format!("{said}: {source}");
                next = source.source();
            }
            assert_eq!(said.matches(&cause).count(), 1, "{said}");
        }
    }

    #[test]
    fn a_connection_lost_at_commit_leaves_the_outcome_unknown() {
        let lost = EngineError::Gone(sqlx::Error::WorkerCrashed).while_committing();
        assert!(lost.is_commit_unknown() && !lost.is_gone());
        let refused = EngineError::Refused(sqlx::Error::RowNotFound).while_committing();
        assert!(!refused.is_commit_unknown());
    }
}
