//! Starts the program on a book of its own and speaks to it.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use std::time::{Duration, Instant};

use client::{Pass, Service};
use proto::v1;
use serde_json::{Value, json};
use tempfile::TempDir;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use uuid::Uuid;

/// The program under test.
pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_weighhouse");

/// When the simulated clock of a test's book begins.
pub(crate) const BEGINNING: &str = "2031-04-27T06:00:00-04:00";

/// A running program with a fresh book. Dropping it kills the program, as a
/// power cut would, and removes the folder.
pub(crate) struct Server {
    child: Child,
    /// `http://127.0.0.1:port`.
    pub(crate) url: String,
    /// Where the book is.
    pub(crate) book: String,
    /// File with the office's key.
    pub(crate) key: PathBuf,
    _folder: Option<TempDir>,
}

impl Server {
    /// On a fresh SQLite book with a simulated clock.
    pub(crate) fn start() -> Server {
        Server::fresh(&["--simulated-from", BEGINNING])
    }

    /// On a fresh SQLite book that goes by the machine's clock.
    pub(crate) fn ordinary() -> Server {
        Server::fresh(&[])
    }

    /// The same, with more to say to `serve`.
    pub(crate) fn with(more: &[&str]) -> Server {
        Server::fresh(&[&["--simulated-from", BEGINNING], more].concat())
    }

    fn fresh(more: &[&str]) -> Server {
        let folder = tempfile::tempdir().unwrap();
        let book = format!("sqlite:{}", folder.path().join("book.db").display());
        let mut server = Server::run(&book, more);
        server._folder = Some(folder);
        server
    }

    /// The same, with a log of everything there is to say, in `log`.
    pub(crate) fn watched(log: &std::path::Path) -> Server {
        let folder = tempfile::tempdir().unwrap();
        let book = format!("sqlite:{}", folder.path().join("book.db").display());
        let log = std::fs::File::create(log).unwrap();
        let how = ["--simulated-from", BEGINNING];
        let mut server = Server::by(Command::new(PROGRAM), &book, &how, "trace", log.into());
        server._folder = Some(folder);
        server
    }

    /// On a book that may exist already, with a simulated clock.
    pub(crate) fn on(book: &str) -> Server {
        Server::run(book, &["--simulated-from", BEGINNING])
    }

    fn run(book: &str, more: &[&str]) -> Server {
        let program = Command::new(PROGRAM);
        Server::by(program, book, more, "warn", Stdio::inherit())
    }

    /// On a book that exists, by a program that does not die of a file's limit.
    pub(crate) fn within_limits(book: &str) -> Server {
        let mut shell = Command::new("sh");
        shell.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\"", PROGRAM]);
        Server::by(shell, book, &[], "warn", Stdio::inherit())
    }

    fn by(mut program: Command, book: &str, more: &[&str], level: &str, log: Stdio) -> Server {
        let key = key_of(book);
        let mut child = asked_to_serve(&mut program, book, &key)
            .args(more)
            .env("RUST_LOG", level)
            .stderr(log)
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let url = loop {
            let line = lines
                .next()
                .expect("the program says where it listens")
                .unwrap();
            if let Some(url) = line.strip_prefix("listening on ") {
                break url.trim().to_owned();
            }
        };
        Server {
            child,
            url,
            book: book.to_owned(),
            key,
            _folder: None,
        }
    }

    /// Kills the program without a word and starts it again on the same book.
    pub(crate) fn kill_and_start_again(mut self) -> Server {
        self.kill();
        self.start_again()
    }

    /// Kills the program without a word.
    pub(crate) fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// The next program on the same book.
    pub(crate) fn start_again(mut self) -> Server {
        let mut again = Server::on(&self.book);
        again._folder = self._folder.take();
        again
    }

    /// The process.
    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Kills it, lets the next one live for `time` whether or not it answers by then,
    /// and starts another.
    pub(crate) fn killed_in_its_start(mut self, time: Duration) -> Server {
        self.kill();
        let mut short = command(&self.book, &self.key).spawn().unwrap();
        std::thread::sleep(time);
        short.kill().unwrap();
        short.wait().unwrap();
        self.start_again()
    }

    /// A channel of its own, with the office's key.
    pub(crate) async fn channel(&self) -> Keyed {
        let channel = Channel::from_shared(self.url.clone()).unwrap();
        let channel = channel.connect().await.unwrap();
        InterceptedService::new(channel, Pass::in_file(&self.key).unwrap())
    }

    /// The client's view of it.
    pub(crate) async fn service(&self) -> Service {
        let pass = Pass::in_file(&self.key).unwrap();
        Service::reach(&self.url, pass).await.unwrap()
    }

    /// Runs the night of a day as a process of its own.
    pub(crate) fn night(&self, day: &str, more: &[&str]) -> Output {
        Command::new(PROGRAM)
            .args(["nightly", "--site", "1", "--day", day, "--book", &self.book])
            .args(more)
            .env("RUST_LOG", "warn")
            .output()
            .unwrap()
    }

    /// Runs a command of the client against it.
    pub(crate) fn client(&self, words: &[&str]) -> Output {
        Command::new(PROGRAM)
            .args(words)
            .args(["--server", &self.url])
            .env("WEIGHHOUSE_KEY_FILE", &self.key)
            .output()
            .unwrap()
    }
}

impl Server {
    /// Asks the program to stop, and gives how long it took.
    pub(crate) fn stop(&mut self) -> Duration {
        let started = Instant::now();
        let pid = self.child.id().to_string();
        let asked = Command::new("kill").args(["-TERM", &pid]).status().unwrap();
        assert!(asked.success());
        let status = self.child.wait().unwrap();
        assert!(status.success(), "{status}");
        started.elapsed()
    }

    /// `host:port`.
    pub(crate) fn address(&self) -> &str {
        self.url.split_once("://").unwrap().1
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A channel that shows a key.
pub(crate) type Keyed = InterceptedService<Channel, Pass>;

/// The program, about to answer on a free port of this machine.
fn command(book: &str, key: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    asked_to_serve(&mut command, book, key);
    command
}

fn asked_to_serve<'a>(command: &'a mut Command, book: &str, key: &Path) -> &'a mut Command {
    command
        .args(["serve", "--listen", "127.0.0.1:0", "--book", book])
        .arg("--office-key")
        .arg(key)
        .env("RUST_LOG", "warn")
        .stdout(Stdio::piped())
}

/// Where the office's key of a test's book lies: beside a file, else among the
/// temporary files, under the name of the database.
pub(crate) fn key_of(book: &str) -> PathBuf {
    match book.strip_prefix("sqlite:") {
        Some(file) => format!("{file}.office-key").into(),
        None => {
            let name = book.split(['/', '?']).nth(3).unwrap();
            std::env::temp_dir().join(format!("{name}.office-key"))
        }
    }
}

/// The program, run to its end.
pub(crate) fn run(arguments: &[&str]) -> Output {
    let mut program = Command::new(PROGRAM);
    program
        .args(arguments)
        .env("RUST_LOG", "warn")
        .output()
        .unwrap()
}

/// A request id nobody used.
pub(crate) fn fresh() -> String {
    Uuid::now_v7().to_string()
}

/// A message from its protobuf JSON.
pub(crate) fn message<M: client::json::Named>(json: Value) -> M {
    client::json::read(&json).unwrap()
}

/// A reading in pounds at the dock.
pub(crate) fn lb(decimal: &str) -> Value {
    json!({ "decimal": decimal, "unit": "WEIGHT_UNIT_LB", "scale": "dock" })
}

/// The demo's office, on file.
pub(crate) const OFFICE: &str = include_str!("../../demo-data/office.json");

/// A server with the demo's office on file and the clock on Monday afternoon.
pub(crate) async fn harbor() -> Server {
    harbor_on(Server::start()).await
}

/// The same on a server of one's own.
pub(crate) async fn harbor_on(server: Server) -> Server {
    let service = server.service().await;
    let mut week = client::week::Week::default();
    week.send(&service, "office.json", OFFICE, client::week::Way::Unary)
        .await
        .unwrap();
    set_clock(&server, "2031-04-28T15:00:00-04:00").await;
    server
}

/// Sets the book's clock.
pub(crate) async fn set_clock(server: &Server, at: &str) {
    let request = v1::SetClockRequest {
        now: Some(client::instant(at).unwrap()),
    };
    server.service().await.set_clock(request).await.unwrap();
}

/// A weigh-in of one tote of lionfish by a diver of the demo.
pub(crate) fn one_tote(gross: &str, tare: &str, pieces: i64) -> v1::RecordWeighInRequest {
    message(json!({
        "requestId": fresh(),
        "site": 1,
        "harvester": "wren-haldane",
        "confirmation": "CONFIRMATION_BY_DIVER",
        "lots": [{
            "species": "PZO",
            "presentation": "PRESENTATION_WHOLE",
            "storage": "STORAGE_DRAINED_ICE",
            "weighings": [{
                "grade": "A",
                "condition": "CONDITION_CLEAN",
                "tote": { "gross": lb(gross), "tareReading": lb(tare), "pieces": pieces }
            }]
        }]
    }))
}

/// What a process printed, for a failing assertion.
pub(crate) fn said(output: &Output) -> String {
    format!(
        "{}\n{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

/// A ticket as it was first answered: without what was worked out since.
pub(crate) fn as_first_answered(ticket: v1::Ticket) -> v1::Ticket {
    v1::Ticket {
        dispute_until: None,
        object_until: None,
        ..ticket
    }
}
