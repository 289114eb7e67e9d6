//! Who is signed in to the pages, and the links that sign somebody in once.
//!
//! A session stands for a key on file and is known by the SHA-256 of what the browser
//! shows. It is no deed: nothing depends on it but who may look, so it does not go
//! through the scribe. That a link opens one session is the table's own rule. Rows go
//! [`KEPT_US`] after their end, by then no link of theirs opens anything.

use crate::BooksError;
use crate::db::{Db, Val};

/// How long an ended session is remembered.
const KEPT_US: i64 = 24 * 60 * 60 * 1_000_000;

/// A session that is open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// SHA-256 of what the browser shows.
    pub sha256: String,
    /// Entry that gave out the key it stands for.
    pub key: i64,
    /// When it began, microseconds since 1970 UTC.
    pub began_us: i64,
    /// First instant at which it no longer opens anything.
    pub ends_us: i64,
}

/// Opens a session for a key that was shown.
///
/// # Errors
/// Engine trouble.
pub async fn open(db: &Db, session: &Session) -> Result<(), BooksError> {
    insert(db, session, &session.sha256).await.map(drop)
}

/// Opens a session for a link. False where the link has opened one before.
///
/// # Errors
/// Engine trouble.
pub async fn open_by_link(db: &Db, session: &Session, link: &str) -> Result<bool, BooksError> {
    insert(db, session, link).await
}

async fn insert(db: &Db, session: &Session, opened_by: &str) -> Result<bool, BooksError> {
    let mut tx = db.write().await?;
    tx.execute(
        "DELETE FROM session WHERE ends_us < ?",
        &[Val::Int(session.began_us.saturating_sub(KEPT_US))],
    )
    .await?;
    let opened = tx
        .execute(
            "INSERT INTO session (sha256, key, began_us, ends_us, ended_us, opened_by) \
             VALUES (?, ?, ?, ?, 0, ?) ON CONFLICT (opened_by) DO NOTHING",
            &[
                Val::from(session.sha256.as_str()),
                Val::Int(session.key),
                Val::Int(session.began_us),
                Val::Int(session.ends_us),
                Val::from(opened_by),
            ],
        )
        .await?;
    tx.commit().await?;
    Ok(opened == 1)
}

/// The session known by `sha256`, where it is open at `now_us`.
///
/// # Errors
/// Engine trouble.
pub async fn find(db: &Db, sha256: &str, now_us: i64) -> Result<Option<Session>, BooksError> {
    let mut tx = db.read().await?;
    let rows = tx
        .fetch(
            "SELECT key, began_us, ends_us FROM session \
             WHERE sha256 = ? AND ended_us = 0 AND ends_us > ?",
            &[Val::from(sha256), Val::Int(now_us)],
        )
        .await?;
    Ok(rows.first().map(|row| Session {
        sha256: sha256.to_owned(),
        key: row.int(0),
        began_us: row.int(1),
        ends_us: row.int(2),
    }))
}

/// Ends a session; one that has ended, or never was, stays as it is.
///
/// # Errors
/// Engine trouble.
pub async fn end(db: &Db, sha256: &str, now_us: i64) -> Result<(), BooksError> {
    let mut tx = db.write().await?;
    tx.execute(
        "UPDATE session SET ended_us = ? WHERE sha256 = ? AND ended_us = 0",
        &[Val::Int(now_us.max(1)), Val::from(sha256)],
    )
    .await?;
    Ok(tx.commit().await?)
}

/// The key that a link stands for, where it has not run out at `now_us`.
///
/// # Errors
/// Engine trouble.
pub async fn key_of_link(db: &Db, sha256: &str, now_us: i64) -> Result<Option<i64>, BooksError> {
    let mut tx = db.read().await?;
    let rows = tx
        .fetch(
            "SELECT key FROM sign_in_link WHERE sha256 = ? AND ends_us > ?",
            &[Val::from(sha256), Val::Int(now_us)],
        )
        .await?;
    Ok(rows.first().map(|row| row.int(0)))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;
    use crate::conformance;
    use crate::table::SIGN_IN_LINK;

    conformance! {
        a_session_is_open_from_its_beginning_until_it_ends, check_its_time;
        a_link_opens_one_session, check_link;
    }

    fn session(sha256: &str, began_us: i64) -> Session {
        Session {
            sha256: sha256.to_owned(),
            key: 7,
            began_us,
            ends_us: began_us + 100,
        }
    }

    async fn check_its_time(db: Db) {
        let one = session("aa", 1000);
        open(&db, &one).await.unwrap();
        assert_eq!(find(&db, "aa", 1099).await.unwrap(), Some(one));
        assert_eq!(find(&db, "aa", 1100).await.unwrap(), None, "its end is out");
        assert_eq!(find(&db, "bb", 1000).await.unwrap(), None);

        end(&db, "aa", 1050).await.unwrap();
        assert_eq!(find(&db, "aa", 1051).await.unwrap(), None);
        end(&db, "bb", 1050).await.unwrap();

        // Long after, the row has gone; a younger one stays.
        open(&db, &session("cc", 1000 + KEPT_US)).await.unwrap();
        open(&db, &session("dd", 1101 + KEPT_US)).await.unwrap();
        let mut tx = db.read().await.unwrap();
        let rows = tx
            .fetch("SELECT sha256 FROM session ORDER BY sha256", &[])
            .await
            .unwrap();
        let left: Vec<_> = rows.iter().map(|row| row.text(0).to_owned()).collect();
        assert_eq!(left, ["cc", "dd"]);
    }

    async fn check_link(db: Db) {
        let mut tx = db.write().await.unwrap();
        let row = [Val::from("ll"), Val::Int(3), Val::Int(7), Val::Int(2000)];
        tx.insert(&SIGN_IN_LINK, &[row.to_vec()]).await.unwrap();
        tx.commit().await.unwrap();
        assert_eq!(key_of_link(&db, "ll", 1999).await.unwrap(), Some(7));
        assert_eq!(key_of_link(&db, "ll", 2000).await.unwrap(), None);
        assert_eq!(key_of_link(&db, "mm", 1).await.unwrap(), None);

        assert!(open_by_link(&db, &session("aa", 1), "ll").await.unwrap());
        assert!(!open_by_link(&db, &session("bb", 2), "ll").await.unwrap());
        // Not after its session was ended, either.
        end(&db, "aa", 3).await.unwrap();
        assert!(!open_by_link(&db, &session("cc", 4), "ll").await.unwrap());
        assert_eq!(find(&db, "cc", 5).await.unwrap(), None);
    }
}
