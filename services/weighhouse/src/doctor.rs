//! Looks a book and its place on this machine over, and says what to do. It never
//! writes.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use books::doc::{Doc as _, object};
use books::health::{self, Check, State};
use books::{Db, EngineError, doc};
use client::show::{Column, Page};
use rustix::fs::statvfs;
use rustix::process::{Resource, getrlimit};

/// Below it, a busy week may fill the disk, bytes; a backup needs as much as the book.
const LITTLE_ROOM: u64 = 1 << 30;
/// Below it, bytes, the next hours may.
const NO_ROOM: u64 = 64 << 20;
/// Files that a service with many callers has open.
const OPEN_FILES: u64 = 1024;

/// Why it could not look.
#[derive(Debug, thiserror::Error)]
pub(crate) enum DoctorError {
    /// A file that is not there.
    #[error("there is no book at {0}: name it with --book")]
    NoBook(String),
    /// The URL names no book.
    #[error("the book cannot be looked at: {0}")]
    Look(#[from] EngineError),
}

/// What was found.
pub(crate) struct Found {
    /// For a person, or a machine where asked so.
    pub(crate) text: String,
    /// 0 all well, 1 something to look at or broken.
    pub(crate) exit_code: u8,
}

/// Looks the book at `url` over. `machine_us` is the machine's clock, `office_key`
/// the file where the office's key should be.
pub(crate) async fn run(
    url: &str,
    office_key: &Path,
    machine_us: i64,
    json: bool,
) -> Result<Found, DoctorError> {
    if !Db::is_there(url) {
        return Err(DoctorError::NoBook(url.to_owned()));
    }
    let mut checks = health::examine(url, machine_us).await?;
    if let Some(file) = Db::file_of(url) {
        checks.push(disk(&file));
        checks.push(book_file(&file));
        checks.push(left_off(&file));
    }
    checks.push(key_file(office_key));
    checks.push(open_files());
    let well = checks.iter().all(|check| check.state == State::Ok);
    Ok(Found {
        text: if json {
            as_json(&checks)
        } else {
            as_page(&checks)
        },
        exit_code: u8::from(!well),
    })
}

/// Room on the disk the book is on.
fn disk(file: &Path) -> Check {
    let (state, seen) = match statvfs(folder_of(file)) {
        Ok(disk) => {
            let free = disk.f_bavail.saturating_mul(disk.f_frsize);
            let book = fs::metadata(file).map_or(0, |file| file.len());
            let state = match free {
                _ if free < NO_ROOM => State::Broken,
                _ if free < LITTLE_ROOM.max(book) => State::Look,
                _ => State::Ok,
            };
            (state, format!("{} MiB free", free >> 20))
        }
        Err(why) => (State::Look, format!("cannot be asked: {why}")),
    };
    Check::new(
        "disk",
        state,
        seen,
        "make room on the disk that the book is on, or move the book",
    )
}

/// Who may write the book: whoever can is the office.
fn book_file(file: &Path) -> Check {
    let (state, seen) = match mode(file) {
        Ok(mode) if mode & 0o022 == 0 => (State::Ok, format!("mode {mode:04o}")),
        Ok(mode) => (
            State::Broken,
            format!("mode {mode:04o}: others than its owner can write it"),
        ),
        Err(why) => (State::Look, format!("cannot be asked: {why}")),
    };
    let what_to_do = format!("chmod go-w {}", file.display());
    Check::new("book's file", state, seen, &what_to_do)
}

/// Copies that were begun and never came to an end.
fn left_off(file: &Path) -> Check {
    let mut parts: Vec<PathBuf> = fs::read_dir(folder_of(file))
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|end| end == "part"))
        .collect();
    parts.sort();
    let named: Vec<String> = parts
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    let (state, seen) = match named.is_empty() {
        true => (State::Ok, "none".to_owned()),
        false => (State::Look, named.join(", ")),
    };
    Check::new(
        "parts left off",
        state,
        seen,
        "where no backup is running, remove them: they are no copies",
    )
}

/// Who may read the office's key.
fn key_file(file: &Path) -> Check {
    let (state, seen) = match mode(file) {
        Ok(mode) if mode & 0o077 == 0 => (State::Ok, format!("mode {mode:04o}")),
        Ok(mode) => (
            State::Broken,
            format!(
                "mode {mode:04o}: others than its owner can use {}",
                file.display()
            ),
        ),
        Err(why) if why.kind() == std::io::ErrorKind::NotFound => {
            (State::Ok, "not kept here".to_owned())
        }
        Err(why) => (State::Look, format!("cannot be asked: {why}")),
    };
    let what_to_do = format!(
        "chmod 600 {}; if somebody may have read it, give another key and revoke it",
        file.display()
    );
    Check::new("office's key", state, seen, &what_to_do)
}

/// How many files this user's programs may open.
fn open_files() -> Check {
    let most = getrlimit(Resource::Nofile).current;
    let (state, seen) = match most {
        Some(most) if most < OPEN_FILES => (State::Look, format!("{most} at most")),
        Some(most) => (State::Ok, format!("{most} at most")),
        None => (State::Ok, "no limit".to_owned()),
    };
    Check::new(
        "open files",
        state,
        seen,
        "raise the limit (ulimit -n 4096) where the service is started",
    )
}

fn mode(file: &Path) -> std::io::Result<u32> {
    Ok(fs::metadata(file)?.permissions().mode() & 0o7777)
}

fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    }
}

fn as_page(checks: &[Check]) -> String {
    let worst = checks.iter().map(|check| check.state).max();
    let mut page = Page::title(match worst {
        Some(State::Broken) => "Something is broken",
        Some(State::Look) => "Something to look at",
        Some(State::Ok) | None => "All is well",
    });
    let row = |check: &Check| {
        vec![
            check.name.to_owned(),
            check.state.word().to_owned(),
            check.seen.clone(),
        ]
    };
    let rows: Vec<Vec<String>> = checks.iter().map(row).collect();
    page.table(
        &[
            Column::Left("check"),
            Column::Left(""),
            Column::Left("seen"),
        ],
        &rows,
    );
    let troubles: Vec<&Check> = checks.iter().filter(|c| c.state != State::Ok).collect();
    if !troubles.is_empty() {
        page.heading("What to do");
    }
    for Check {
        name, what_to_do, ..
    } in troubles
    {
        page.paragraph(format!("{name}: {what_to_do}."));
    }
    page.done()
}

fn as_json(checks: &[Check]) -> String {
    let one = |check: &Check| {
        object([
            ("check", check.name.to_owned().to_doc()),
            ("state", check.state.word().to_owned().to_doc()),
            ("seen", check.seen.to_doc()),
            ("what_to_do", check.what_to_do.to_doc()),
        ])
    };
    doc::canonical(&checks.iter().map(one).collect()) + "\n"
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    fn chmod(file: &Path, mode: u32) {
        fs::set_permissions(file, fs::Permissions::from_mode(mode)).unwrap();
    }

    #[test]
    fn who_can_write_the_book_or_read_the_key_is_seen() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("book.db");
        fs::write(&file, "").unwrap();
        for (mode, book, key) in [
            (0o600, State::Ok, State::Ok),
            (0o644, State::Ok, State::Broken),
            (0o620, State::Broken, State::Broken),
            (0o602, State::Broken, State::Broken),
            (0o400, State::Ok, State::Ok),
        ] {
            chmod(&file, mode);
            assert_eq!(book_file(&file).state, book, "{mode:o}");
            assert_eq!(key_file(&file).state, key, "{mode:o}");
        }
        let gone = key_file(&folder.path().join("gone"));
        assert_eq!(
            (gone.state, gone.seen.as_str()),
            (State::Ok, "not kept here")
        );
    }

    #[test]
    fn a_part_left_off_is_seen_and_said_what_to_do_with() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("book.db");
        assert_eq!(left_off(&file).state, State::Ok);
        fs::write(folder.path().join("monday.db.part"), "").unwrap();
        let found = left_off(&file);
        assert_eq!(found.state, State::Look);
        assert!(found.seen.ends_with("monday.db.part"), "{}", found.seen);
        assert!(found.what_to_do.contains("remove them"), "{found:?}");
    }

    #[test]
    fn the_disk_is_asked_for_its_room() {
        let folder = tempfile::tempdir().unwrap();
        let found = disk(&folder.path().join("book.db"));
        let free: u64 = found
            .seen
            .strip_suffix(" MiB free")
            .unwrap()
            .parse()
            .unwrap();
        let expected = match free << 20 {
            free if free < NO_ROOM => State::Broken,
            free if free < LITTLE_ROOM => State::Look,
            _ => State::Ok,
        };
        assert_eq!(found.state, expected);
        let gone = disk(&folder.path().join("no/such/book.db"));
        assert_eq!(gone.state, State::Look, "{gone:?}");
    }
}
