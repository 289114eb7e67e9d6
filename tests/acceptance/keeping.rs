//! A book is copied while it is written in, taken back on either engine, and looked
//! over; what is wrong with one is named, with what to do.

use std::fs;
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use serde_json::Value;
use tempfile::TempDir;

use crate::harness::{
    Server, as_first_answered, fresh, harbor, key_of, one_tote, run, said, set_clock,
};

pub(crate) fn url(file: &Path) -> String {
    format!("sqlite:{}", file.display())
}

/// Copies the server's book into a file of the folder.
pub(crate) fn backed_up(server: &Server, folder: &TempDir) -> PathBuf {
    let file = folder.path().join("copy.db");
    let done = run(&[
        "backup",
        "--book",
        &server.book,
        "--to",
        file.to_str().unwrap(),
    ]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    let key = key_of(&url(&file));
    fs::copy(&server.key, key).unwrap();
    file
}

pub(crate) async fn weigh_in(server: &Server, request: &v1::RecordWeighInRequest) -> v1::Ticket {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request.clone()).await.unwrap();
    as_first_answered(answer.into_inner().ticket.unwrap())
}

/// What a copy said it holds, without where it is from and went.
fn rows_of(said: &str) -> Vec<&str> {
    let rows = said.lines().filter(|line| !line.starts_with("  "));
    rows.collect()
}

/// A book with a ticket and a closed day, copied into a file.
struct Kept {
    server: Server,
    request: v1::RecordWeighInRequest,
    ticket: v1::Ticket,
    close: Vec<u8>,
    folder: TempDir,
    file: PathBuf,
}

async fn kept() -> Kept {
    let server = harbor().await;
    let request = one_tote("44.00", "4.00", 50);
    let ticket = weigh_in(&server, &request).await;
    set_clock(&server, "2031-04-29T05:30:00-04:00").await;
    let night = server.night("2031-04-28", &["--json"]);
    assert_eq!(night.status.code(), Some(1), "{}", said(&night));
    let folder = tempfile::tempdir().unwrap();
    let file = backed_up(&server, &folder);
    Kept {
        close: night.stdout,
        server,
        request,
        ticket,
        folder,
        file,
    }
}

/// Restores the copy into `book`, and finds there what was in the first one.
async fn check_restored(kept: &Kept, book: &str) {
    let from = kept.file.to_str().unwrap();
    let done = run(&["restore", "--from", from, "--book", book]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    fs::copy(&kept.server.key, key_of(book)).unwrap();
    let server = Server::on(book);
    assert_eq!(
        weigh_in(&server, &kept.request).await,
        kept.ticket,
        "a repeat gets its first answer"
    );
    let night = server.night("2031-04-28", &["--json"]);
    assert_eq!(night.stdout, kept.close, "{}", said(&night));
    let night = said(&server.night("2031-04-28", &[]));
    assert!(night.contains("nothing new, revision 1 stands"), "{night}");

    // Nothing was written by that, so a copy of it holds the same rows.
    let again = kept.folder.path().join("again.db");
    let copied = run(&["backup", "--book", book, "--to", again.to_str().unwrap()]);
    assert_eq!(copied.status.code(), Some(0), "{}", said(&copied));
    assert_eq!(rows_of(&said(&copied)), rows_of(&said(&done)));
    let over = run(&["restore", "--from", from, "--book", book]);
    assert_eq!(over.status.code(), Some(2), "{}", said(&over));
    assert!(said(&over).contains("a book is restored into a fresh one only"));

    // And it goes on: the next ticket has the number after the last.
    let next = weigh_in(&server, &one_tote("24.00", "4.00", 20)).await;
    let first = weigh_in(&kept.server, &one_tote("24.00", "4.00", 20)).await;
    assert_eq!(next.id, first.id);
}

#[tokio::test]
async fn a_restored_book_answers_repeats_and_closes_its_days_to_the_same_bytes() {
    let kept = kept().await;
    let book = url(&kept.folder.path().join("restored.db"));
    check_restored(&kept, &book).await;
}

#[tokio::test]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_takes_over_a_book_from_sqlite_and_gives_it_back() {
    let kept = kept().await;
    let book = books::testing::Book::empty_postgres().await;
    check_restored(&kept, &book.url).await;
    let _ = fs::remove_file(key_of(&book.url));
    book.remove().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_copy_made_while_fish_is_weighed_in_holds_every_ticket_answered_before() {
    let server = harbor().await;
    let mut client = IntakeServiceClient::new(server.channel().await);
    let first = one_tote("44.00", "4.00", 50);
    client.record_weigh_in(first.clone()).await.unwrap();
    let writing = tokio::spawn(async move {
        let mut written = 0;
        loop {
            let request = one_tote("44.00", "4.00", 50);
            if client.record_weigh_in(request).await.is_err() {
                return written;
            }
            written += 1;
        }
    });
    let folder = tempfile::tempdir().unwrap();
    let file = tokio::task::block_in_place(|| backed_up(&server, &folder));
    drop(server);
    assert!(writing.await.unwrap() > 0, "somebody wrote meanwhile");
    let found = doctor(&file);
    assert_eq!(troubles(&found), Vec::<String>::new(), "{found}");
    let copy = Server::on(&url(&file));
    weigh_in(&copy, &first).await;
}

#[tokio::test]
async fn a_copy_takes_nobodys_place_and_leaves_nothing_when_it_fails() {
    let kept = kept().await;
    let taken = kept.file.to_str().unwrap();
    let before = fs::read(&kept.file).unwrap();
    let done = run(&["backup", "--book", &kept.server.book, "--to", taken]);
    assert_eq!(done.status.code(), Some(2), "{}", said(&done));
    assert!(
        said(&done).contains("nothing is written over"),
        "{}",
        said(&done)
    );
    assert_eq!(fs::read(&kept.file).unwrap(), before);

    let mistyped = url(&kept.folder.path().join("mistyped.db"));
    let to = kept.folder.path().join("other.db");
    let other = to.to_str().unwrap();
    let done = run(&["backup", "--book", &mistyped, "--to", other]);
    assert_eq!(done.status.code(), Some(2), "{}", said(&done));
    assert!(
        said(&done).contains("there is no book at"),
        "{}",
        said(&done)
    );

    // A damaged document is found while it is read back.
    plant(
        &kept.file,
        "UPDATE entry SET doc = doc || ' ' WHERE kind = 'weigh_in'",
    )
    .await;
    let done = run(&["backup", "--book", &url(&kept.file), "--to", other]);
    assert_eq!(done.status.code(), Some(2), "{}", said(&done));
    assert!(
        said(&done).contains("its document is not as"),
        "{}",
        said(&done)
    );
    let left: Vec<String> = fs::read_dir(kept.folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.starts_with("other") || name.starts_with("mistyped"))
        .collect();
    assert_eq!(left, Vec::<String>::new());

    let part = kept.folder.path().join("other.db.part");
    fs::write(&part, "").unwrap();
    let done = run(&["backup", "--book", &kept.server.book, "--to", other]);
    assert_eq!(done.status.code(), Some(2), "{}", said(&done));
    assert!(
        said(&done).contains("another copy is being written"),
        "{}",
        said(&done)
    );
    assert!(part.exists(), "it may be somebody else's");
}

/// What the doctor found, as it says it to programs.
pub(crate) fn doctor(file: &Path) -> Value {
    let found = run(&["doctor", "--json", "--book", &url(file)]);
    let checks = serde_json::from_slice(&found.stdout);
    let checks: Value = checks.unwrap_or_else(|_| panic!("{}", said(&found)));
    let well = checks
        .as_array()
        .unwrap()
        .iter()
        .all(|c| c["state"] == "ok");
    assert_eq!(found.status.code(), Some(i32::from(!well)), "{checks}");
    checks
}

/// Names of the checks that are not well. The machine's own limits are not the book's.
pub(crate) fn troubles(checks: &Value) -> Vec<String> {
    let checks = checks.as_array().unwrap().iter();
    checks
        .filter(|check| check["state"] != "ok")
        .filter(|check| check["check"] != "disk" && check["check"] != "open files")
        .map(|check| check["check"].as_str().unwrap().to_owned())
        .collect()
}

async fn plant(file: &Path, sql: &str) {
    let db = books::Db::open(&url(file)).await.unwrap();
    let mut tx = db.write().await.unwrap();
    let rows = tx.execute(sql, &[]).await.unwrap();
    assert!(rows > 0, "{sql}");
    tx.commit().await.unwrap();
    db.close().await;
}

#[tokio::test]
async fn the_doctor_names_each_trouble_that_is_planted_and_what_to_do() {
    let kept = kept().await;
    let well = doctor(&kept.file);
    assert_eq!(troubles(&well), Vec::<String>::new(), "{well}");
    for (harm, check, state, seen) in [
        (
            "UPDATE entry SET doc = doc || ' ' WHERE kind = 'weigh_in'",
            "documents",
            "broken",
            "(weigh_in): not as this program writes one",
        ),
        (
            "UPDATE entry SET doc = '{\"asked\":{},\"outcome\":{}}' WHERE kind = 'weigh_in'",
            "documents",
            "broken",
            "(weigh_in): ",
        ),
        (
            "UPDATE line SET weight = weight + 1",
            "tickets",
            "broken",
            "its rows say",
        ),
        (
            "UPDATE money SET amount = amount + 1 WHERE to_kind = 'owed'",
            "tickets",
            "broken",
            "its rows say",
        ),
        (
            "DELETE FROM part",
            "tickets",
            "broken",
            "lot or part is not there",
        ),
        (
            "UPDATE close SET doc = doc || ' '",
            "closes",
            "broken",
            "SHA-256",
        ),
        (
            "UPDATE on_hand SET weight = weight + 1",
            "days",
            "broken",
            "what it left is not what its manifest says",
        ),
        (
            "UPDATE head SET next = next + 1 WHERE site = 1 AND day = 20310428",
            "numbers",
            "broken",
            "would follow",
        ),
        (
            "INSERT INTO spent (what, item, how, by) VALUES (7, 0, 'void', 8)",
            "spending",
            "broken",
            "item 0 of entry 7",
        ),
        (
            "UPDATE book SET value = '1' WHERE name = 'simulated_now_us'",
            "clock",
            "broken",
            "behind the newest entry",
        ),
        (
            "UPDATE migration SET sha256 = 'x' WHERE version = 1",
            "schema",
            "broken",
            "step 1 was made by another text",
        ),
    ] {
        let file = kept.folder.path().join("harmed.db");
        fs::copy(&kept.file, &file).unwrap();
        plant(&file, harm).await;
        check_named(&doctor(&file), harm, check, state, seen);
    }
    // A day that something was entered into since is one for the night, and no damage.
    let void = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket: kept.ticket.id.clone(),
        reason: "weighed twice".to_owned(),
    };
    let mut client = IntakeServiceClient::new(kept.server.channel().await);
    client.void_ticket(void).await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let found = doctor(&backed_up(&kept.server, &folder));
    check_named(
        &found,
        "void",
        "days",
        "look",
        "something was entered since",
    );
}

/// One check alone is not well: this one.
fn check_named(found: &Value, harm: &str, check: &str, state: &str, seen: &str) {
    let bad = troubles(found);
    // What is behind a broken head has a number more to read, which the night will.
    let bad: Vec<&String> = bad
        .iter()
        .filter(|name| check == "days" || *name != "days")
        .collect();
    assert_eq!(bad, [check], "{harm}: {found}");
    let checks = found.as_array().unwrap();
    let found = checks.iter().find(|found| found["check"] == check).unwrap();
    assert_eq!(found["state"], state, "{harm}: {found}");
    assert!(
        found["seen"].as_str().unwrap().contains(seen),
        "{harm}: {found}"
    );
    assert_ne!(found["what_to_do"], "", "{harm}: {found}");
}

#[tokio::test]
async fn the_doctor_sees_what_is_wrong_around_the_book() {
    let kept = kept().await;
    let key = key_of(&url(&kept.file));
    let chmod = |file: &Path, mode| {
        fs::set_permissions(file, fs::Permissions::from_mode(mode)).unwrap();
    };
    chmod(&key, 0o644);
    check_named(
        &doctor(&kept.file),
        "key",
        "office's key",
        "broken",
        "mode 0644",
    );
    chmod(&key, 0o600);
    chmod(&kept.file, 0o666);
    check_named(
        &doctor(&kept.file),
        "book",
        "book's file",
        "broken",
        "mode 0666",
    );
    chmod(&kept.file, 0o600);
    let part = kept.folder.path().join("monday.db.part");
    fs::write(&part, "").unwrap();
    check_named(
        &doctor(&kept.file),
        "part",
        "parts left off",
        "look",
        "monday.db.part",
    );
    fs::remove_file(part).unwrap();

    // Bytes 18 and 19 of the file say how it is written
    // (https://www.sqlite.org/fileformat.html, 1.3.3): 1 is without a log.
    let mut file = fs::OpenOptions::new().write(true).open(&kept.file).unwrap();
    file.seek(SeekFrom::Start(18)).unwrap();
    file.write_all(&[1, 1]).unwrap();
    drop(file);
    check_named(
        &doctor(&kept.file),
        "log",
        "written through",
        "broken",
        "journal_mode delete",
    );

    let gone = kept.folder.path().join("gone.db");
    let found = run(&["doctor", "--book", &url(&gone)]);
    assert_eq!(found.status.code(), Some(2), "{}", said(&found));
    assert!(!gone.exists());
}

/// Size of a page, as the file's header says it.
pub(crate) fn page_size(file: &Path) -> u64 {
    let mut header = [0; 18];
    fs::File::open(file)
        .unwrap()
        .read_exact(&mut header)
        .unwrap();
    u64::from(u16::from_be_bytes([header[16], header[17]]))
}
