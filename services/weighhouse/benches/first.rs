//! How fast tickets are taken, each figure beside what it can be held against.
//!
//! The real program answers on the loopback with a fresh book, and everything is
//! measured side by side in one run, because only ratios of one run count: a busy
//! machine makes a disk many times slower. Nothing is gated.
//!
//! - A weigh-in by its unary method, answered after the commit, against a call that
//!   does nothing (the book's clock) of the same program.
//! - Weigh-ins in a stream, against the bare writer: the scribe of the same crate,
//!   handed the very same deeds ready-made, on a fresh book of the same engine.
//! - One transaction for each of those deeds, against the scribe's groups.
//!
//! A ticket has three lines. SQLite always; PostgreSQL where
//! `WEIGHHOUSE_TEST_POSTGRES` names an administrator of one. By TCP it waits up to
//! 40 ms for each large statement: sqlx 0.9.0 does not set TCP_NODELAY (its issue
//! 4335). A socket of the machine, `?host=/var/run/postgresql`, does not wait.
//!
//! `cargo bench -p weighhouse --bench first`

#![expect(clippy::unwrap_used, reason = "a benchmark may panic")]

use std::future::Future;
use std::time::{Duration, Instant};

use books::testing::{Book, POSTGRES};
use books::{Answer, Deed, Scribe, write_once};
use hdrhistogram::Histogram;
use proto::v1;
use proto::v1::clock_service_client::ClockServiceClient;
use proto::v1::intake_service_client::IntakeServiceClient;
use tokio::task::JoinSet;

use dock::{CONNECTIONS, Keyed, Program, deeds, histogram, recorded, three_lines};

mod dock;

/// Each unary measurement, twice.
const SPELL: Duration = Duration::from_millis(1500);
const WARM_UP: Duration = Duration::from_millis(300);
const ROUNDS: usize = 2;
/// Tickets streamed, and deeds handed to the bare writer.
const STREAMED: usize = 12_000;
/// Deeds under way at the bare writer.
const HANDED: usize = 1024;
/// Deeds at most, and time at most, with a transaction for each.
const ALONE: usize = 2_000;
const ALONE_TIME: Duration = Duration::from_secs(3);

fn main() {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(async {
            measure("SQLite", Book::sqlite(), Book::sqlite()).await;
            if std::env::var_os(POSTGRES).is_some() {
                let books = (Book::postgres().await, Book::postgres().await);
                measure("PostgreSQL", books.0, books.1).await;
            }
        });
}

async fn measure(engine: &str, book: Book, bare: Book) {
    let program = Program::on(&book.url);
    let channels = program.channels().await;

    let mut echo = [Unary::new("empty call"), Unary::new("empty call")];
    let mut weigh_in = [Unary::new("weigh-in"), Unary::new("weigh-in")];
    for _ in 0..ROUNDS {
        for (i, in_flight) in [16, 256].into_iter().enumerate() {
            echo[i]
                .spell(&program, &channels, in_flight, |channel| async move {
                    let request = v1::GetClockRequest {};
                    ClockServiceClient::new(channel)
                        .get_clock(request)
                        .await
                        .unwrap();
                })
                .await;
            weigh_in[i]
                .spell(&program, &channels, in_flight, |channel| async move {
                    let request = three_lines();
                    let mut intake = IntakeServiceClient::new(channel);
                    let answer = intake.record_weigh_in(request).await.unwrap();
                    let ticket = answer.into_inner().ticket.unwrap();
                    assert_eq!(ticket.lines.len(), 3);
                })
                .await;
        }
    }
    let streamed = stream(&program, &channels).await;
    drop(program);

    let template = recorded(&book).await;
    let grouped = grouped(&bare, &template).await;
    let alone = alone(&bare, &template).await;
    book.remove().await;
    bare.remove().await;

    println!("\n{engine}, tickets of three lines, {CONNECTIONS} connections\n");
    println!(
        "  {:34}{:>10}{:>9}{:>9}{:>14}{:>9}",
        "unary, answered after the commit", "per s", "p50 ms", "p99 ms", "service us", "ratio"
    );
    for (echo, weigh_in) in echo.iter().zip(&weigh_in) {
        println!("{}{:>9}", echo.row(), "");
        println!("{}{:>9.2}", weigh_in.row(), weigh_in.rate() / echo.rate());
    }
    println!(
        "\n  {:34}{:>10}{:>32}{:>9}",
        "in bulk", "per s", "service us", "ratio"
    );
    println!("  {:34}{grouped:>10.0}", "bare writer, in groups");
    let (rate, used) = streamed;
    println!(
        "  {:34}{rate:>10.0}{used:>32.1}{:>9.2}",
        "streamed",
        rate / grouped
    );
    println!(
        "  {:34}{alone:>10.0}{:>41.2}",
        "bare writer, one by one",
        alone / grouped
    );
}

// ---- What is measured ----------------------------------------------------------

/// Calls one after the other, so many at a time.
struct Unary {
    what: &'static str,
    in_flight: usize,
    calls: u64,
    time: Duration,
    used: Duration,
    latency: Histogram<u64>,
}

impl Unary {
    fn new(what: &'static str) -> Unary {
        Unary {
            what,
            in_flight: 0,
            calls: 0,
            time: Duration::ZERO,
            used: Duration::ZERO,
            latency: histogram(),
        }
    }

    async fn spell<F>(
        &mut self,
        program: &Program,
        channels: &[Keyed],
        in_flight: usize,
        call: impl Fn(Keyed) -> F + Clone + Send + 'static,
    ) where
        F: Future<Output = ()> + Send,
    {
        self.in_flight = in_flight;
        run(channels, in_flight, WARM_UP, call.clone()).await;
        let (started, used) = (Instant::now(), program.used());
        let latency = run(channels, in_flight, SPELL, call).await;
        self.time += started.elapsed();
        self.used += program.used().saturating_sub(used);
        self.calls += latency.len();
        self.latency.add(latency).unwrap();
    }

    fn rate(&self) -> f64 {
        self.calls as f64 / self.time.as_secs_f64()
    }

    fn row(&self) -> String {
        let ms = |quantile| self.latency.value_at_quantile(quantile) as f64 / 1000.0;
        format!(
            "  {:34}{:>10.0}{:>9.2}{:>9.2}{:>14.1}",
            format!("{}, {} in flight", self.what, self.in_flight),
            self.rate(),
            ms(0.5),
            ms(0.99),
            self.used.as_secs_f64() * 1e6 / self.calls as f64,
        )
    }
}

/// Calls for `time`, and gives how long each took, in microseconds.
async fn run<F>(
    channels: &[Keyed],
    in_flight: usize,
    time: Duration,
    call: impl Fn(Keyed) -> F + Clone + Send + 'static,
) -> Histogram<u64>
where
    F: Future<Output = ()> + Send,
{
    let mut callers = JoinSet::new();
    for n in 0..in_flight {
        let (channel, call) = (channels[n % channels.len()].clone(), call.clone());
        callers.spawn(async move {
            let mut latency = histogram();
            let until = Instant::now() + time;
            while Instant::now() < until {
                let started = Instant::now();
                call(channel.clone()).await;
                latency.saturating_record(started.elapsed().as_micros() as u64);
            }
            latency
        });
    }
    let mut all = histogram();
    while let Some(latency) = callers.join_next().await {
        all.add(latency.unwrap()).unwrap();
    }
    all
}

/// Streams weigh-ins, a stream for each connection; tickets a second, and the
/// service's processor time for each in microseconds.
async fn stream(program: &Program, channels: &[Keyed]) -> (f64, f64) {
    let used = program.used();
    let started = Instant::now();
    let mut streams = JoinSet::new();
    for channel in channels.iter().cloned() {
        streams.spawn(async move {
            let deeds = std::iter::repeat_with(|| {
                let deed = v1::deed::Deed::WeighIn(three_lines());
                let deed = v1::Deed { deed: Some(deed) };
                v1::CatchUpRequest {
                    item: Some(v1::catch_up_request::Item::Deed(deed)),
                }
            });
            let deeds = tokio_stream::iter(deeds.take(STREAMED / CONNECTIONS));
            let mut intake = IntakeServiceClient::new(channel);
            let mut answers = intake.catch_up(deeds).await.unwrap().into_inner();
            let mut booked = 0;
            while let Some(outcome) = answers.message().await.unwrap() {
                assert_eq!(outcome.code, 0, "{}", outcome.message);
                booked += 1;
            }
            booked
        });
    }
    let booked: usize = streams.join_all().await.into_iter().sum();
    assert_eq!(booked, STREAMED);
    let time = started.elapsed();
    let used = program.used().saturating_sub(used);
    (
        STREAMED as f64 / time.as_secs_f64(),
        used.as_secs_f64() * 1e6 / STREAMED as f64,
    )
}

/// The bare writer; tickets a second.
async fn grouped(book: &Book, template: &Deed) -> f64 {
    let db = book.open().await;
    let scribe = Scribe::start(db.clone(), HANDED);
    let deeds = deeds(template, STREAMED);
    let started = Instant::now();
    let answers = scribe.record_all(deeds).await;
    let time = started.elapsed();
    assert!(
        answers
            .iter()
            .all(|answer| matches!(answer, Answer::Recorded(_)))
    );
    scribe.stop().await;
    db.close().await;
    STREAMED as f64 / time.as_secs_f64()
}

/// One transaction for each deed; tickets a second.
async fn alone(book: &Book, template: &Deed) -> f64 {
    let db = book.open().await;
    let mut done = 0;
    let started = Instant::now();
    for deed in deeds(template, ALONE) {
        let answer = write_once(&db, deed).await;
        assert!(matches!(answer, Answer::Recorded(_)), "{answer:?}");
        done += 1;
        if started.elapsed() > ALONE_TIME {
            break;
        }
    }
    let time = started.elapsed();
    db.close().await;
    f64::from(done) / time.as_secs_f64()
}
