//! A whole book copied into one file while the service goes on, and taken back.
//!
//! A file is written beside its place under the name `FILE.part`, is on the disk and
//! read back before it gets its name, and takes nobody else's place. Into a database
//! everything goes in one transaction, read back before it is committed.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::ErrorKind;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use books::copy::{self, CopyError, Held};
use books::{Db, EngineError, book};
use client::known::clock_note;
use client::show::{Column, Page, instant};

use crate::serve;

/// Why there is no copy. Nothing of it is left.
#[derive(Debug, thiserror::Error)]
pub(crate) enum BackupError {
    /// A file that is not there.
    #[error("there is no book at {0}")]
    NoBook(String),
    /// What is to be written is there already.
    #[error("{0} is there already, and nothing is written over: name another file")]
    Taken(PathBuf),
    /// Another copy is being written there, or was left off.
    #[error("{0} is there: another copy is being written, or one was left off; then remove it")]
    Part(PathBuf),
    /// The file cannot be written.
    #[error("{file} cannot be written: {why}")]
    File {
        /// Which.
        file: PathBuf,
        /// As the system says.
        why: std::io::Error,
    },
    /// The book cannot be read or written.
    #[error("the book cannot be copied: {0}")]
    Copy(#[from] CopyError),
    /// The book cannot be asked for its clock.
    #[error("the book cannot be read: {0}")]
    Read(#[from] books::BooksError),
}

impl From<EngineError> for BackupError {
    fn from(error: EngineError) -> BackupError {
        BackupError::Copy(error.into())
    }
}

/// Copies the book at `url` into the new file `to`; says what it copied.
pub(crate) async fn backup(url: &str, to: &Path) -> Result<String, BackupError> {
    if !Db::is_there(url) {
        return Err(BackupError::NoBook(url.to_owned()));
    }
    let from = Db::look(url)?;
    let copied = into_file(&from, to).await?;
    let said = said(&from, &copied, &to.display().to_string()).await?;
    from.close().await;
    Ok(said)
}

/// Puts the book in the file `from` into the fresh book at `url`; says what it put.
pub(crate) async fn restore(from: &Path, url: &str) -> Result<String, BackupError> {
    let source = Db::url_of(from)?;
    if !Db::is_there(&source) {
        return Err(BackupError::NoBook(from.display().to_string()));
    }
    copy::check_fresh(url).await?;
    let from = Db::look(&source)?;
    let copied = match Db::file_of(url) {
        Some(file) => into_file(&from, &file).await?,
        None => into_database(&from, url).await?,
    };
    let to = Db::look(url)?;
    let said = said(&from, &copied, &to.url_without_password()).await?;
    from.close().await;
    to.close().await;
    Ok(said)
}

async fn into_database(from: &Db, url: &str) -> Result<Vec<Held>, BackupError> {
    let db = Db::open(url).await?;
    let (mut snapshot, mut to) = (from.read().await?, db.write().await?);
    let copied = copy::copy(&mut snapshot, &mut to).await?;
    copy::verify(&mut to, &copied).await?;
    to.commit().await?;
    snapshot.rollback().await;
    db.close().await;
    Ok(copied)
}

async fn into_file(from: &Db, file: &Path) -> Result<Vec<Held>, BackupError> {
    if file.exists() {
        return Err(BackupError::Taken(file.to_owned()));
    }
    let part = beside(file, ".part");
    let made = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&part);
    match made {
        Err(why) if why.kind() == ErrorKind::AlreadyExists => return Err(BackupError::Part(part)),
        made => made.map_err(trouble(&part))?,
    };
    let done = match into_part(from, &part).await {
        Ok(copied) => named(&part, file).map(|()| copied),
        Err(error) => Err(error),
    };
    for rest in ["", "-wal", "-shm"] {
        // Gone where it has its name by now.
        let _ = fs::remove_file(beside(&part, rest));
    }
    done
}

/// Writes and reads back what is still called a part.
async fn into_part(from: &Db, part: &Path) -> Result<Vec<Held>, BackupError> {
    let url = Db::url_of(part)?;
    let db = Db::open(&url).await?;
    let (mut snapshot, mut to) = (from.read().await?, db.write().await?);
    let copied = copy::copy(&mut snapshot, &mut to).await?;
    to.commit().await?;
    snapshot.rollback().await;
    // The last connection takes the log of writes into the file.
    db.close().await;
    File::open(part)
        .and_then(|file| file.sync_all())
        .map_err(trouble(part))?;

    let db = Db::look(&url)?;
    let mut read = db.read().await?;
    copy::verify(&mut read, &copied).await?;
    read.rollback().await;
    db.close().await;
    Ok(copied)
}

/// Gives a part its name, unless somebody has it.
fn named(part: &Path, file: &Path) -> Result<(), BackupError> {
    match fs::hard_link(part, file) {
        Ok(()) => {}
        Err(why) if why.kind() == ErrorKind::AlreadyExists => {
            return Err(BackupError::Taken(file.to_owned()));
        }
        // Some disks give a file one name only.
        Err(_) => fs::rename(part, file).map_err(trouble(file))?,
    }
    let folder = match file.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    File::open(folder)
        .and_then(|folder| folder.sync_all())
        .map_err(trouble(folder))
}

fn trouble(file: &Path) -> impl Fn(std::io::Error) -> BackupError {
    move |why| BackupError::File {
        file: file.to_owned(),
        why,
    }
}

/// The path with more to its name.
fn beside(file: &Path, more: &str) -> PathBuf {
    let mut name = OsString::from(file);
    name.push(more);
    name.into()
}

async fn said(from: &Db, copied: &[Held], to: &str) -> Result<String, BackupError> {
    let note = match book::simulated_now(from).await? {
        Some(now_us) => clock_note(&instant(Some(&serve::timestamp(now_us)), None)),
        None => String::new(),
    };
    let mut page = Page::title("Copied, and read back");
    page.facts(&[
        ("from", from.url_without_password()),
        ("to", to.to_owned()),
        (
            "rows",
            copied.iter().map(|held| held.rows).sum::<u64>().to_string(),
        ),
    ]);
    page.line("");
    let rows: Vec<Vec<String>> = copied
        .iter()
        .filter(|held| held.rows > 0)
        .map(|held| vec![held.table.to_owned(), held.rows.to_string()])
        .collect();
    page.table(&[Column::Left("table"), Column::Right("rows")], &rows);
    page.paragraph(
        "Keys are in it as hashes only: keep the file of the office's key apart, it opens the \
         copy as well.",
    );
    Ok(note + &page.done())
}
