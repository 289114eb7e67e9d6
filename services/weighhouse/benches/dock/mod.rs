//! What the benchmarks share: the real program on a book with an office on file, and
//! a ticket of three lines.

#![allow(dead_code, reason = "each benchmark uses its part")]

use std::io::{BufRead as _, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use books::testing::Book;
use books::{Condition, Deed, entries, tickets};
use client::Pass;
use hdrhistogram::Histogram;
use proto::v1;
use proto::v1::{tote_weighing, weighing};
use rules::ticket::{Ticket, WeighIn};
use tempfile::TempDir;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Channel, Endpoint};
use uuid::Uuid;

const PROGRAM: &str = env!("CARGO_BIN_EXE_weighhouse");
/// Site, species, scale, prices and one diver.
const OFFICE: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/../../demo-data/first-office.json"
);
/// Connections of a benchmark.
pub(crate) const CONNECTIONS: usize = 4;

/// A channel that shows the office's key.
pub(crate) type Keyed = InterceptedService<Channel, Pass>;

/// The program on a fresh book with an office on file.
pub(crate) struct Program {
    child: Child,
    pub(crate) url: String,
    key: PathBuf,
    folder: TempDir,
}

impl Program {
    /// On a fresh book.
    pub(crate) fn on(book: &str) -> Program {
        let program = Program::started(book, tempfile::tempdir().unwrap());
        let sent = Command::new(PROGRAM)
            .args(["send", OFFICE, "--server", &program.url, "--key-file"])
            .arg(&program.key)
            .stdout(Stdio::null())
            .status()
            .unwrap();
        assert!(sent.success(), "the office goes on file");
        program
    }

    fn started(book: &str, folder: TempDir) -> Program {
        let key = folder.path().join("office-key");
        let mut child = Command::new(PROGRAM)
            .args(["serve", "--listen", "127.0.0.1:0", "--book", book])
            .arg("--office-key")
            .arg(&key)
            // One key asks for all there is.
            .args(["--requests-per-second", "1000000"])
            .args(["--log", "error"])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let listening = |line: String| {
            let (_, url) = line.split_once("listening on ")?;
            Some(url.trim().to_owned())
        };
        let url = lines.find_map(|line| listening(line.unwrap())).unwrap();
        Program {
            child,
            url,
            key,
            folder,
        }
    }

    /// Kills it and starts the next one on the same book, with the same key.
    pub(crate) fn again(mut self, book: &str) -> Program {
        self.kill();
        let folder = std::mem::replace(&mut self.folder, tempfile::tempdir().unwrap());
        Program::started(book, folder)
    }

    /// Without a word.
    pub(crate) fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Memory it holds, in MiB, as Linux tells it.
    pub(crate) fn resident_mib(&self) -> f64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()));
        let status = status.unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let kib = line.and_then(|line| line.split_whitespace().next());
        kib.and_then(|kib| kib.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
    }

    pub(crate) async fn channels(&self) -> Vec<Keyed> {
        let mut channels = Vec::new();
        for _ in 0..CONNECTIONS {
            let endpoint = Endpoint::from_shared(self.url.clone())
                .unwrap()
                .tcp_nodelay(true);
            let channel = endpoint.connect().await.unwrap();
            let pass = Pass::in_file(&self.key).unwrap();
            channels.push(InterceptedService::new(channel, pass));
        }
        channels
    }

    /// Processor time used so far, as Linux tells it in hundredths of a second.
    pub(crate) fn used(&self) -> Duration {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id()));
        let stat = stat.unwrap_or_default();
        let after_name = stat.rsplit(')').next().unwrap_or_default();
        // User and system time are the 14th and 15th word of all.
        let words = after_name.split_whitespace().skip(11).take(2);
        let ticks: u64 = words.filter_map(|word| word.parse::<u64>().ok()).sum();
        Duration::from_millis(ticks * 10)
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A ticket of three lines: plate size, below it, and torn.
pub(crate) fn three_lines() -> v1::RecordWeighInRequest {
    let reading = |decimal: &str| v1::Reading {
        decimal: decimal.to_owned(),
        unit: v1::WeightUnit::Lb.into(),
        scale: "dock".to_owned(),
        source: v1::ReadingSource::Keyed.into(),
    };
    let tote = |gross: &str, pieces: i32, condition: v1::Condition| v1::Weighing {
        grade: "A".to_owned(),
        condition: condition.into(),
        weighed: Some(weighing::Weighed::Tote(v1::ToteWeighing {
            gross: Some(reading(gross)),
            tare: Some(tote_weighing::Tare::TareReading(reading("3.60"))),
            iced: false,
            pieces: Some(pieces),
            pieces_estimated: false,
        })),
    };
    v1::RecordWeighInRequest {
        request_id: Uuid::now_v7().to_string(),
        site: 1,
        harvester: "first-diver".to_owned(),
        confirmation: v1::Confirmation::ByDiver.into(),
        lots: vec![v1::LotIn {
            species: "PZO".to_owned(),
            presentation: v1::Presentation::Whole.into(),
            storage: v1::Storage::DrainedIce.into(),
            weighings: vec![
                tote("24.60", 30, v1::Condition::Clean),
                tote("12.35", 20, v1::Condition::Clean),
                tote("9.80", 8, v1::Condition::Torn),
            ],
            ..v1::LotIn::default()
        }],
        ..v1::RecordWeighInRequest::default()
    }
}

/// Of microseconds, up to a minute.
pub(crate) fn histogram() -> Histogram<u64> {
    Histogram::new_with_bounds(1, 60_000_000, 3).unwrap()
}

/// A deed as the service recorded it, with the rows it wrote.
pub(crate) async fn recorded(book: &Book) -> Deed {
    let db = book.open().await;
    let mut tx = db.read().await.unwrap();
    let found = entries::of_kind(&mut tx, "weigh_in", "", 0, i64::MAX, 1);
    let entry = found.await.unwrap().pop().unwrap();
    drop(tx);
    let (asked, ticket): (WeighIn, Ticket) = entry.read().unwrap();
    let rows = tickets::rows(&asked, &ticket, &tickets::Known::default());
    assert_eq!(
        rows.iter().filter(|row| row.table.name == "line").count(),
        3
    );
    db.close().await;
    Deed {
        site: asked.site,
        day: entry.id.day(),
        pay_day: None,
        request_id: String::new(),
        print: [7; 32],
        kind: "weigh_in",
        party: entry.party,
        actor: "bench".to_owned(),
        happened_us: entry.happened_us,
        recorded_us: entry.recorded_us,
        // Of a book in which nothing was put on file.
        must_hold: vec![Condition::Epoch {
            site: asked.site,
            seen: 1,
        }],
        bumps: Vec::new(),
        doc: entry.doc,
        rows,
    }
}

pub(crate) fn deeds(template: &Deed, count: usize) -> Vec<Deed> {
    let fresh = || Deed {
        request_id: Uuid::now_v7().to_string(),
        ..template.clone()
    };
    std::iter::repeat_with(fresh).take(count).collect()
}
