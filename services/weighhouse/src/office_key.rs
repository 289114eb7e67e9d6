//! The first key of a book: the office's, in a file that only its owner can read.
//!
//! Made when `serve` starts on a book in which no office key works. The secret is in
//! the file before the book knows its hash, so that whatever stops the program in
//! between, the next start finds the same one.

use std::io::{ErrorKind, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use desk::{Caller, Desk};
use rules::key::{KeyAsked, Role};

/// Why there is no first key.
#[derive(Debug, thiserror::Error)]
pub(crate) enum OfficeKeyError {
    /// The file cannot be written or read.
    #[error("the office's key cannot be kept in {file}: {why}")]
    File {
        /// Where.
        file: PathBuf,
        /// As the system says.
        why: std::io::Error,
    },
    /// Something else is in the file.
    #[error("{0} is there and holds no key: name another file with --office-key, or move it away")]
    NotAKey(PathBuf),
    /// The machine has no randomness.
    #[error("the machine gives no randomness: {0}")]
    Random(String),
    /// The book does not take it.
    #[error("the book did not take the office's key: {0}")]
    Desk(#[from] desk::DeskError),
}

/// Beside a SQLite book, named after it; else in the folder one is in.
pub(crate) fn usual_file(book: &str) -> PathBuf {
    let file = book.strip_prefix("sqlite:").map(|rest| {
        let path = rest.strip_prefix("//").unwrap_or(rest);
        path.split('?').next().unwrap_or(path)
    });
    PathBuf::from(format!("{}.office-key", file.unwrap_or("weighhouse.db")))
}

/// Makes sure that some office key works: the one in `file`, made where there is none.
/// Gives the file where a key was put on file.
pub(crate) async fn ensure(desk: &Desk, file: &Path) -> Result<Option<PathBuf>, OfficeKeyError> {
    if desk.has_an_office_key().await? {
        return Ok(None);
    }
    let read = |secret: &str| {
        intake::sha256_of_secret(secret).ok_or_else(|| OfficeKeyError::NotAKey(file.to_owned()))
    };
    let mut sha256 = read(&kept(file)?)?;
    if desk.knows_key(&sha256) {
        // It ended or was revoked: nobody misses it.
        std::fs::remove_file(file).map_err(|why| OfficeKeyError::File {
            file: file.to_owned(),
            why,
        })?;
        sha256 = read(&kept(file)?)?;
    }
    let asked = KeyAsked {
        name: Role::Office.word().to_owned(),
        role: Role::Office,
        party: String::new(),
        expires_us: None,
        certificate: String::new(),
    };
    let request_id = uuid::Uuid::now_v7().to_string();
    desk.issue_key(&Caller::office(), &request_id, asked, sha256)
        .await?;
    Ok(Some(file.to_owned()))
}

/// The secret in the file; a fresh one, kept there first, where there is no file.
fn kept(file: &Path) -> Result<String, OfficeKeyError> {
    let trouble = |why| OfficeKeyError::File {
        file: file.to_owned(),
        why,
    };
    let fresh =
        intake::fresh_secret().map_err(|error| OfficeKeyError::Random(error.to_string()))?;
    let opened = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(file);
    match opened {
        Ok(mut opened) => {
            let written = opened
                .write_all(format!("{fresh}\n").as_bytes())
                .and_then(|()| opened.sync_all());
            written.map_err(trouble)?;
            Ok(fresh)
        }
        Err(why) if why.kind() == ErrorKind::AlreadyExists => {
            let text = std::fs::read_to_string(file).map_err(trouble)?;
            Ok(text.trim().to_owned())
        }
        Err(why) => Err(trouble(why)),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    #[test]
    fn the_file_lies_beside_the_book() {
        let cases = [
            ("sqlite:weighhouse.db", "weighhouse.db.office-key"),
            ("sqlite:///srv/dock.db", "/srv/dock.db.office-key"),
            ("sqlite://dock.db?mode=rwc", "dock.db.office-key"),
            ("postgres://a@b/c", "weighhouse.db.office-key"),
        ];
        for (book, file) in cases {
            assert_eq!(usual_file(book), Path::new(file), "{book}");
        }
    }

    #[tokio::test]
    async fn only_its_owner_can_read_it_and_a_second_start_makes_no_other() {
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite://{}", folder.path().join("book.db").display());
        let file = usual_file(&url);
        let db = crate::serve::open(&url, None).await.unwrap();
        let open = crate::serve::desk(db.clone(), || 1).await.unwrap();
        let made = ensure(open.desk(), &file).await.unwrap();
        assert_eq!(made.as_deref(), Some(file.as_path()));
        let mode = std::fs::metadata(&file).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        let secret = std::fs::read_to_string(&file).unwrap();
        let sha256 = intake::sha256_of_secret(secret.trim()).unwrap();
        let caller = open.desk().caller(&sha256).await.unwrap().unwrap();
        assert_eq!(caller.name(), "office");
        assert_eq!(ensure(open.desk(), &file).await.unwrap(), None);
        assert_eq!(std::fs::read_to_string(&file).unwrap(), secret);
        db.close().await;
    }

    #[tokio::test]
    async fn where_the_last_office_key_was_revoked_the_next_start_makes_another() {
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite://{}", folder.path().join("book.db").display());
        let file = usual_file(&url);
        let db = crate::serve::open(&url, None).await.unwrap();
        let open = crate::serve::desk(db.clone(), || 1).await.unwrap();
        let desk = open.desk();
        ensure(desk, &file).await.unwrap();
        let first = std::fs::read_to_string(&file).unwrap();
        let keys = desk.keys(&Caller::office()).await.unwrap();
        let asked = rules::key::RevokeAsked {
            key: keys[0].id,
            reason: "seen on a screen".to_owned(),
        };
        let request_id = uuid::Uuid::now_v7().to_string();
        desk.revoke_key(&Caller::office(), &request_id, asked)
            .await
            .unwrap();
        let made = ensure(desk, &file).await.unwrap();
        assert_eq!(made.as_deref(), Some(file.as_path()));
        let second = std::fs::read_to_string(&file).unwrap();
        let caller = async |secret: &str| {
            let sha256 = intake::sha256_of_secret(secret.trim()).unwrap();
            desk.caller(&sha256).await.unwrap()
        };
        assert!(caller(&first).await.is_none());
        assert_eq!(caller(&second).await.unwrap().name(), "office");
        db.close().await;
    }

    #[tokio::test]
    async fn a_key_written_before_the_book_knew_it_is_the_one_that_is_used() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("key");
        let secret = kept(&file).unwrap();
        assert_eq!(kept(&file).unwrap(), secret, "as after a crash in between");
        std::fs::write(&file, "no key at all").unwrap();
        let url = format!("sqlite://{}", folder.path().join("book.db").display());
        let db = crate::serve::open(&url, None).await.unwrap();
        let open = crate::serve::desk(db.clone(), || 1).await.unwrap();
        let error = ensure(open.desk(), &file).await.unwrap_err();
        assert!(matches!(error, OfficeKeyError::NotAKey(_)), "{error}");
        db.close().await;
    }
}
