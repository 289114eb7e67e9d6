//! What ten times too many requests do: how many are taken, how long those wait, and
//! what it costs in memory.
//!
//! First as many weigh-ins as the program can take, one after the other at each of 64
//! places; that is its capacity here, with the client on the same machine. Then ten times
//! as many a second, sent whether or not anything was answered. Printed and not gated.
//!
//! `cargo bench -p weighhouse --bench overload`

#![expect(clippy::unwrap_used, reason = "a benchmark may panic")]

use std::time::{Duration, Instant};

use books::testing::Book;
use hdrhistogram::Histogram;
use proto::v1::intake_service_client::IntakeServiceClient;
use tokio::task::JoinSet;
use tonic::Code;

use dock::{Keyed, Program, histogram, three_lines};

mod dock;

const PLACES: usize = 64;
const SPELL: Duration = Duration::from_secs(3);
/// Requests a client keeps waiting for at most, so that it is not the one that fills up.
const WAITED_FOR: usize = 20_000;

fn main() {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(measure());
}

/// How the requests of a spell came out.
struct Came {
    taken: Histogram<u64>,
    turned_away: Histogram<u64>,
    sent: usize,
    time: Duration,
    /// The most memory seen meanwhile.
    resident_mib: f64,
}

async fn one(channel: Keyed) -> (bool, u64) {
    let since = Instant::now();
    let mut intake = IntakeServiceClient::new(channel);
    let taken = match intake.record_weigh_in(three_lines()).await {
        Ok(_) => true,
        Err(status) => {
            let full = matches!(status.code(), Code::ResourceExhausted | Code::Unavailable);
            assert!(full, "{status:?}");
            false
        }
    };
    (taken, since.elapsed().as_micros() as u64)
}

/// Sends `a_second`, or as many as are answered at [`PLACES`] places.
async fn spell(program: &Program, channels: &[Keyed], a_second: Option<f64>) -> Came {
    let mut came = Came {
        taken: histogram(),
        turned_away: histogram(),
        sent: 0,
        time: Duration::ZERO,
        resident_mib: 0.0,
    };
    let mut under_way = JoinSet::new();
    let started = Instant::now();
    while started.elapsed() < SPELL {
        let due = match a_second {
            None => came.sent + PLACES - under_way.len(),
            Some(a_second) => (started.elapsed().as_secs_f64() * a_second) as usize,
        };
        while came.sent < due && under_way.len() < WAITED_FOR {
            let channel = channels[came.sent % channels.len()].clone();
            under_way.spawn(one(channel));
            came.sent += 1;
        }
        let answered = tokio::time::timeout(Duration::from_millis(1), under_way.join_next());
        if let Ok(Some(answered)) = answered.await {
            came.note(answered.unwrap());
            while let Some(answered) = under_way.try_join_next() {
                came.note(answered.unwrap());
            }
        }
        came.resident_mib = came.resident_mib.max(program.resident_mib());
    }
    while let Some(answered) = under_way.join_next().await {
        came.note(answered.unwrap());
    }
    came.time = started.elapsed();
    came
}

impl Came {
    fn note(&mut self, (taken, us): (bool, u64)) {
        let of = if taken {
            &mut self.taken
        } else {
            &mut self.turned_away
        };
        of.saturating_record(us);
    }

    fn print(&self, what: &str) {
        let ms = |of: &Histogram<u64>, quantile| of.value_at_quantile(quantile) as f64 / 1000.0;
        println!(
            "  {what:22}{:>9.0}{:>9.0}{:>9.1}{:>9.1}{:>12}{:>9.1}{:>10.1}",
            self.sent as f64 / SPELL.as_secs_f64(),
            self.taken.len() as f64 / self.time.as_secs_f64(),
            ms(&self.taken, 0.5),
            ms(&self.taken, 0.99),
            self.turned_away.len(),
            ms(&self.turned_away, 0.5),
            self.resident_mib,
        );
    }
}

async fn measure() {
    let book = Book::sqlite();
    let program = Program::on(&book.url);
    let channels = program.channels().await;
    let before = program.resident_mib();
    println!(
        "\n  {:22}{:>9}{:>9}{:>9}{:>9}{:>12}{:>9}{:>10}",
        "weigh-ins, unary",
        "sent/s",
        "taken/s",
        "p50 ms",
        "p99 ms",
        "turned away",
        "p50 ms",
        "MiB most"
    );
    let capacity = spell(&program, &channels, None).await;
    capacity.print("as many as it takes");
    let a_second = capacity.taken.len() as f64 / capacity.time.as_secs_f64();
    let over = spell(&program, &channels, Some(10.0 * a_second)).await;
    over.print("ten times as many");
    tokio::time::sleep(Duration::from_secs(2)).await;
    let after = program.resident_mib();
    let calm = spell(&program, &channels, Some(a_second / 4.0)).await;
    calm.print("a quarter, afterwards");
    println!(
        "  memory of the program: {before:.1} MiB before, {:.1} at most meanwhile, {after:.1} \
         two seconds after",
        over.resident_mib
    );
    drop(program);
    book.remove().await;
}
