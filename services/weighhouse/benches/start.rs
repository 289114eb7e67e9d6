//! How soon a killed program answers again on a book of a million tickets.
//!
//! The bare writer makes the book: 5,000 tickets of three lines on each of 200 days. Then
//! the real program is killed and started again, and the time is taken until it listens,
//! and until it has answered what one of the tickets says, by a connection of its own.
//! Printed and not gated; the goal is 100 ms.
//!
//! `cargo bench -p weighhouse --bench start`, with the number of tickets in
//! `WEIGHHOUSE_BENCH_TICKETS` where a million is too many.

#![expect(clippy::unwrap_used, reason = "a benchmark may panic")]

use std::time::Instant;

use books::testing::Book;
use books::{Answer, Deed, Scribe};
use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;

use dock::{Program, deeds, recorded, three_lines};

mod dock;

const TICKETS: usize = 1_000_000;
const DAYS: usize = 200;
/// Deeds handed to the writer at once.
const HANDED: usize = 4096;
const STARTS: usize = 9;

fn main() {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(measure());
}

async fn measure() {
    let tickets = std::env::var("WEIGHHOUSE_BENCH_TICKETS")
        .map_or(TICKETS, |tickets| tickets.parse().unwrap());
    let book = Book::sqlite();
    let mut program = Program::on(&book.url);
    let channel = program.channels().await.remove(0);
    let mut intake = IntakeServiceClient::new(channel);
    let first = intake.record_weigh_in(three_lines()).await;
    let ticket = first.unwrap().into_inner().ticket.unwrap().id;
    program.kill();
    fill(&book, tickets).await;

    let (mut listens, mut answers) = (Vec::new(), Vec::new());
    for _ in 0..STARTS {
        let started = Instant::now();
        program = program.again(&book.url);
        listens.push(started.elapsed());
        let channel = program.channels().await.remove(0);
        let request = v1::GetTicketRequest {
            ticket: ticket.clone(),
        };
        let answer = IntakeServiceClient::new(channel).get_ticket(request).await;
        assert_eq!(answer.unwrap().into_inner().ticket.unwrap().id, ticket);
        answers.push(started.elapsed());
    }
    listens.sort();
    answers.sort();
    let ms = |times: &[std::time::Duration]| times[STARTS / 2].as_secs_f64() * 1000.0;
    println!(
        "\nstart on a SQLite book of {tickets} tickets, median of {STARTS}: listens after {:.0} ms, \
         first answer after {:.0} ms (slowest {:.0} ms)",
        ms(&listens),
        ms(&answers),
        answers[STARTS - 1].as_secs_f64() * 1000.0
    );
    drop(program);
    book.remove().await;
}

/// As many more tickets, spread over days before the one there is.
async fn fill(book: &Book, tickets: usize) {
    let template = recorded(book).await;
    let db = book.open().await;
    let scribe = Scribe::start(db.clone(), HANDED);
    let started = Instant::now();
    for day in 0..DAYS {
        // 28 days of each month are there in every year.
        let day = 20_200_101 + (day / 28 % 12 * 100 + day % 28) as i64;
        let deeds: Vec<Deed> = deeds(&template, tickets / DAYS)
            .into_iter()
            .map(|deed| Deed {
                day,
                must_hold: Vec::new(),
                ..deed
            })
            .collect();
        let answers = scribe.record_all(deeds).await;
        let recorded = |answer: &Answer| matches!(answer, Answer::Recorded(_));
        assert!(answers.iter().all(recorded));
    }
    println!(
        "{tickets} tickets written in {:.0} s",
        started.elapsed().as_secs_f64()
    );
    scribe.stop().await;
    db.close().await;
}
