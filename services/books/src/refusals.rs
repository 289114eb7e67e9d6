//! What was refused: added up for each caller, method, reason and minute.
//!
//! A refusal is no deed and does not go through the scribe; nothing depends on it but
//! the auditor's reading. Who writes them caps how many there are in a minute.

use crate::BooksError;
use crate::db::{Db, Record, Tx, Val};

/// What was refused to a caller in a minute.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Refusal {
    /// Minutes since 1970 UTC.
    pub minute: i64,
    /// Caller: role, party and key.
    pub actor: String,
    /// Method asked for.
    pub method: String,
    /// Stable word.
    pub reason: String,
    /// How often.
    pub times: i64,
    /// Request refused last; empty where it had no id.
    pub request: String,
}

/// Adds refusals to what is there.
///
/// # Errors
/// Engine trouble; then nothing of it was added.
pub async fn add(db: &Db, refusals: &[Refusal]) -> Result<(), BooksError> {
    let mut tx = db.write().await?;
    for refusal in refusals {
        let binds = [
            Val::Int(refusal.minute),
            Val::from(refusal.actor.as_str()),
            Val::from(refusal.method.as_str()),
            Val::from(refusal.reason.as_str()),
            Val::Int(refusal.times),
            Val::from(refusal.request.as_str()),
        ];
        tx.execute(
            "INSERT INTO refusal (minute, actor, method, reason, times, request) \
             VALUES (?, ?, ?, ?, ?, ?) \
             ON CONFLICT (minute, actor, method, reason) DO UPDATE \
             SET times = refusal.times + excluded.times, request = excluded.request",
            &binds,
        )
        .await?;
    }
    Ok(tx.commit().await?)
}

/// Refusals of the minutes `[from, to)` after the first `skip`, in order of minute,
/// caller, method and reason.
///
/// # Errors
/// Engine trouble.
pub async fn list(
    tx: &mut Tx,
    from: i64,
    to: i64,
    skip: i64,
    limit: i64,
) -> Result<Vec<Refusal>, BooksError> {
    let sql = "SELECT minute, actor, method, reason, times, request FROM refusal \
               WHERE minute >= ? AND minute < ? \
               ORDER BY minute, actor, method, reason LIMIT ? OFFSET ?";
    let binds = [from, to, limit, skip].map(Val::Int);
    let read = |row: &Record| Refusal {
        minute: row.int(0),
        actor: row.text(1).to_owned(),
        method: row.text(2).to_owned(),
        reason: row.text(3).to_owned(),
        times: row.int(4),
        request: row.text(5).to_owned(),
    };
    Ok(tx.fetch(sql, &binds).await?.iter().map(read).collect())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;
    use crate::conformance;

    conformance! {
        refusals_of_one_caller_in_one_minute_add_up, check_adding;
    }

    fn refusal(minute: i64, actor: &str, times: i64, request: &str) -> Refusal {
        Refusal {
            minute,
            actor: actor.to_owned(),
            method: "/a/B".to_owned(),
            reason: "NOT_YOURS".to_owned(),
            times,
            request: request.to_owned(),
        }
    }

    async fn check_adding(db: Db) {
        add(
            &db,
            &[refusal(7, "diver a", 2, "r1"), refusal(7, "diver b", 1, "")],
        )
        .await
        .unwrap();
        add(
            &db,
            &[
                refusal(7, "diver a", 3, "r2"),
                refusal(8, "diver a", 1, "r3"),
            ],
        )
        .await
        .unwrap();
        let all = [
            refusal(7, "diver a", 5, "r2"),
            refusal(7, "diver b", 1, ""),
            refusal(8, "diver a", 1, "r3"),
        ];
        let mut tx = db.read().await.unwrap();
        assert_eq!(list(&mut tx, 7, 9, 0, 10).await.unwrap(), all);
        assert_eq!(list(&mut tx, 7, 8, 1, 10).await.unwrap(), all[1..2]);
        assert_eq!(list(&mut tx, 7, 9, 0, 1).await.unwrap(), all[..1]);
    }
}
