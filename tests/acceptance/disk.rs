//! What a caller sees when the disk is in trouble, and what the book holds afterwards.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use books::{Db, Val};
use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use rustix::process::{Pid, Resource, Rlimit, prlimit};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::harness::{PROGRAM, Server, harbor, key_of, one_tote, said};
use crate::keeping::{backed_up, doctor, page_size, troubles, url, weigh_in};

/// A book of the demo's harbor with an empty log of writes.
async fn book() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = backed_up(&harbor().await, &folder);
    (folder, file)
}

fn beside(file: &Path, more: &str) -> PathBuf {
    format!("{}{more}", file.display()).into()
}

async fn try_weigh_in(
    server: &Server,
    request: &v1::RecordWeighInRequest,
) -> Result<v1::Ticket, Status> {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let answer = client.record_weigh_in(request.clone()).await?;
    Ok(answer.into_inner().ticket.unwrap())
}

async fn ticket(server: &Server, id: &str) -> Result<v1::Ticket, Status> {
    let mut client = IntakeServiceClient::new(server.channel().await);
    let request = v1::GetTicketRequest {
        ticket: id.to_owned(),
    };
    let answer = client.get_ticket(request).await?;
    Ok(answer.into_inner().ticket.unwrap())
}

/// The caller is told to try again, and when.
fn check_try_again(refused: &Status) {
    assert_eq!(refused.code(), Code::Unavailable, "{refused:?}");
    let after = refused.get_details_retry_info().unwrap();
    assert!(after.retry_delay.is_some(), "{refused:?}");
    assert!(
        refused.message().contains("with the same request_id"),
        "{refused:?}"
    );
}

/// What a book reopened by the program holds: how often each request was booked,
/// how many tickets there are and how many of them have lines.
async fn reopened(file: &Path, requests: &[String]) -> (Vec<i64>, i64, i64) {
    let db = Db::open(&url(file)).await.unwrap();
    let mut tx = db.read().await.unwrap();
    let mut booked = Vec::new();
    for request in requests {
        let sql = "SELECT COUNT(*) FROM request r JOIN entry e ON e.id = r.entry \
                   WHERE r.request_id = ?";
        let rows = tx.fetch(sql, &[Val::from(request)]).await.unwrap();
        booked.push(rows[0].int(0));
    }
    let tickets = "SELECT COUNT(*) FROM entry WHERE kind = 'weigh_in'";
    let tickets = tx.fetch(tickets, &[]).await.unwrap()[0].int(0);
    let lined = "SELECT COUNT(DISTINCT ticket) FROM line";
    let lined = tx.fetch(lined, &[]).await.unwrap()[0].int(0);
    drop(tx);
    db.close().await;
    (booked, tickets, lined)
}

/// A power cut keeps of the log of writes what had reached the disk: all that was
/// there when a ticket was answered, and of what came after any part. Cut at every
/// frame after each answer, and inside of each frame, the book opens with all tickets
/// answered so far, each once, and no half of another.
#[tokio::test]
async fn a_power_cut_at_any_frame_loses_no_answered_ticket() {
    const TICKETS: usize = 6;
    let (folder, file) = book().await;
    let server = Server::on(&url(&file));
    let log = beside(&file, "-wal");
    let mut requests = Vec::new();
    let mut lengths = Vec::new();
    let before = fs::read(&file).unwrap();
    let started = fs::metadata(&log).map_or(0, |log| log.len());
    for _ in 0..TICKETS {
        let request = one_tote("44.00", "4.00", 50);
        weigh_in(&server, &request).await;
        requests.push(request.request_id);
        lengths.push(fs::metadata(&log).unwrap().len());
    }
    let written = fs::read(&log).unwrap();
    drop(server);
    assert_eq!(fs::read(&file).unwrap(), before, "all of it is in the log");
    assert!(
        started < lengths[0] && lengths.is_sorted_by(|a, b| a < b),
        "{lengths:?}"
    );

    // https://www.sqlite.org/fileformat2.html, 4.1: a header of 32 bytes, then frames,
    // each a header of 24 bytes and a page.
    let frame = page_size(&file) + 24;
    let cut = folder.path().join("cut.db");
    let mut cuts = 0;
    for at in (32..=lengths[TICKETS - 1]).step_by(usize::try_from(frame).unwrap()) {
        for at in [at, at + 24, at + frame / 2] {
            let answered = lengths.iter().filter(|length| **length <= at).count();
            fs::write(&cut, &before).unwrap();
            let _ = fs::remove_file(beside(&cut, "-shm"));
            let kept = usize::try_from(at).unwrap().min(written.len());
            fs::write(beside(&cut, "-wal"), &written[..kept]).unwrap();
            let (booked, tickets, lined) = reopened(&cut, &requests).await;
            assert_eq!(booked[..answered], vec![1; answered], "cut at {at}");
            assert!(
                booked[answered..].iter().all(|times| *times == 0),
                "cut at {at}"
            );
            let whole = i64::try_from(answered).unwrap();
            assert_eq!((tickets, lined), (whole, whole), "cut at {at}");
            cuts += 1;
        }
    }
    assert!(cuts > 3 * TICKETS, "{cuts}");
}

/// Largest file the process may write; what goes beyond is refused it like a write to
/// a full disk.
fn limit(server: &Server, bytes: Option<u64>) {
    let pid = Pid::from_raw(i32::try_from(server.pid()).unwrap());
    let limit = Rlimit {
        current: bytes,
        maximum: None,
    };
    prlimit(pid, Resource::Fsize, limit).unwrap();
}

/// With no room left a weigh-in is refused as one to send again, what is on file is
/// still read, and once there is room the same request is booked, once.
#[tokio::test]
async fn a_full_disk_refuses_weigh_ins_and_loses_none() {
    let (_folder, file) = book().await;
    let server = Server::within_limits(&url(&file));
    let first = weigh_in(&server, &one_tote("44.00", "4.00", 50)).await;
    let full = fs::metadata(beside(&file, "-wal")).unwrap().len();
    limit(&server, Some(full));
    let request = one_tote("24.00", "4.00", 20);
    for _ in 0..2 {
        let refused = try_weigh_in(&server, &request).await.unwrap_err();
        check_try_again(&refused);
        assert_eq!(ticket(&server, &first.id).await.unwrap().id, first.id);
    }
    limit(&server, None);
    let booked = weigh_in(&server, &request).await;
    assert_eq!(weigh_in(&server, &request).await, booked);
    let number = |id: &str| id[12..].parse::<i64>().unwrap();
    assert_eq!(
        number(&booked.id),
        number(&first.id) + 1,
        "nothing came between"
    );
    drop(server);
    let found = doctor(&file);
    assert_eq!(troubles(&found), Vec::<String>::new(), "{found}");
    let (booked, tickets, lined) = reopened(&file, &[request.request_id]).await;
    assert_eq!((booked, tickets, lined), (vec![1], 2, 2));
}

/// Where another program keeps the book's file to itself a weigh-in is refused as one
/// to send again, and reading goes on; once the other lets go the same request is booked.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_book_locked_by_a_stranger_is_waited_for_or_refused_and_then_goes_on() {
    let (_folder, file) = book().await;
    let server = Server::on(&url(&file));
    let first = weigh_in(&server, &one_tote("44.00", "4.00", 50)).await;
    let stranger = Db::open(&url(&file)).await.unwrap();
    let lock = stranger.write().await.unwrap();
    let request = one_tote("24.00", "4.00", 20);
    let refused = try_weigh_in(&server, &request).await.unwrap_err();
    check_try_again(&refused);
    assert_eq!(ticket(&server, &first.id).await.unwrap().id, first.id);
    lock.rollback().await;
    stranger.close().await;
    weigh_in(&server, &request).await;
    let (booked, tickets, lined) = reopened(&file, &[request.request_id]).await;
    assert_eq!((booked, tickets, lined), (vec![1], 2, 2));
}

/// A ticket on a page that was overwritten cannot be read: its reader is told that it
/// is our fault and not to try again, the service goes on answering for the others,
/// and the doctor says that the file is damaged.
#[tokio::test]
async fn a_damaged_page_is_told_to_whom_it_hits_and_to_nobody_else() {
    let (folder, file) = book().await;
    let server = Server::on(&url(&file));
    let first = weigh_in(&server, &one_tote("44.00", "4.00", 50)).await;
    for _ in 0..6 {
        weigh_in(&server, &one_tote("44.00", "4.00", 50)).await;
    }
    let mut request = one_tote("44.00", "4.00", 50);
    request.note = "on the page that is damaged".to_owned();
    let last = weigh_in(&server, &request).await;
    let copy = folder.path().join("damaged.db");
    let done = crate::harness::run(&[
        "backup",
        "--book",
        &server.book,
        "--to",
        copy.to_str().unwrap(),
    ]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    fs::copy(&server.key, key_of(&url(&copy))).unwrap();
    drop(server);

    let mut bytes = fs::read(&copy).unwrap();
    let note = request.note.as_bytes();
    let at = bytes
        .windows(note.len())
        .position(|bytes| bytes == note)
        .unwrap();
    let page = usize::try_from(page_size(&copy)).unwrap();
    let start = at / page * page;
    bytes[start..start + page].fill(0xff);
    fs::write(&copy, bytes).unwrap();

    let server = Server::on(&url(&copy));
    for _ in 0..2 {
        let refused = ticket(&server, &last.id).await.unwrap_err();
        assert_eq!(refused.code(), Code::Internal, "{refused:?}");
        assert!(refused.get_details_retry_info().is_none(), "{refused:?}");
        assert_eq!(ticket(&server, &first.id).await.unwrap().id, first.id);
    }
    drop(server);
    let found = doctor(&copy);
    let engine = &found.as_array().unwrap()[0];
    assert_eq!(
        (&engine["check"], &engine["state"]),
        (&"engine".into(), &"broken".into())
    );
    assert!(
        engine["what_to_do"].as_str().unwrap().contains("restore"),
        "{engine}"
    );
}

/// The program as somebody who may only read. Permissions do not bind root, and a place
/// that only root reaches is no place for the program.
fn as_a_reader(arguments: &[&str]) -> Output {
    let place = tempfile::tempdir().unwrap();
    let program = place.path().join("weighhouse");
    fs::copy(PROGRAM, &program).unwrap();
    fs::set_permissions(place.path(), fs::Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).unwrap();
    let mut command = if rustix::process::geteuid().is_root() {
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]);
        command.arg(&program);
        command
    } else {
        Command::new(&program)
    };
    command
        .args(arguments)
        .env("RUST_LOG", "warn")
        .output()
        .unwrap()
}

/// On a disk, a folder or a file that can only be read neither the service nor the
/// night starts; both say that it is the book that cannot be opened, and it is as it was.
#[tokio::test]
async fn on_a_disk_that_only_reads_nothing_starts_and_the_book_stays_as_it_is() {
    let (folder, file) = book().await;
    let chmod = |file: &Path, mode| {
        fs::set_permissions(file, fs::Permissions::from_mode(mode)).unwrap();
    };
    let before = fs::read(&file).unwrap();
    let book = url(&file);
    for (of_file, of_folder) in [(0o444, 0o555), (0o666, 0o555), (0o444, 0o777)] {
        chmod(&file, of_file);
        chmod(folder.path(), of_folder);
        for command in [
            &["serve", "--listen", "127.0.0.1:0"][..],
            &["nightly", "--site", "1", "--day", "2031-04-28"],
        ] {
            let refused = as_a_reader(&[command, &["--book", &book]].concat());
            let text = said(&refused);
            assert_eq!(refused.status.code(), Some(2), "{text}");
            assert!(text.contains("the book cannot be opened"), "{text}");
            assert_eq!(fs::read(&file).unwrap(), before);
        }
        chmod(folder.path(), 0o777);
        for more in ["-wal", "-shm"] {
            let _absent = fs::remove_file(beside(&file, more));
        }
    }
}
