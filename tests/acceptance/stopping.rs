//! A stop while much is under way: whoever asked gets an answer within the time there
//! is, and what was answered is in the book once.

use std::time::Duration;

use proto::v1::deed::Deed;
use tokio::task::JoinSet;
use tonic::Code;

use crate::harness::{Server, harbor, one_tote};
use crate::ledger::{Ledger, Told, attempt, by_method, by_stream, entries};

/// What the service gives itself to finish what was begun, and to write it.
const GRACE: Duration = Duration::from_secs(20);

fn weigh_ins(count: usize) -> Vec<Deed> {
    let one = |_| Deed::WeighIn(one_tote("44.00", "4.00", 50));
    (0..count).map(one).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_answers_what_was_begun_and_what_it_turns_away_is_booked_by_its_repeat() {
    let server = harbor().await;
    let (unary, streamed) = (weigh_ins(200), weigh_ins(600));
    let channel = server.channel().await;
    let stream = {
        let (channel, streamed) = (server.channel().await, streamed.clone());
        tokio::spawn(async move { by_stream(&channel, &streamed).await })
    };
    let mut under_way = JoinSet::new();
    for deed in unary.clone() {
        let channel = channel.clone();
        under_way.spawn(async move { (deed.clone(), attempt(channel, deed).await) });
    }
    let mut ledger = Ledger::default();
    let (mut booked, mut turned_away) = (0, 0);
    // All 200 are on their way, and some are answered, when it is asked to stop.
    let (mut running, mut stopping) = (Some(server), None);
    while let Some(answered) = under_way.join_next().await {
        let (deed, answer) = answered.unwrap();
        let told = match answer {
            Ok(answer) => {
                booked += 1;
                Told::Booked(Box::new(answer))
            }
            Err(status) => {
                assert_eq!(status.code(), Code::Unavailable, "{status:?}");
                turned_away += 1;
                Told::Nothing
            }
        };
        ledger.write(&[deed], vec![told]);
        if booked == 10
            && let Some(mut server) = running.take()
        {
            stopping = Some(tokio::task::spawn_blocking(move || {
                let took = server.stop();
                (server, took)
            }));
        }
    }
    let told = stream.await.unwrap();
    let of_the_stream = told.iter().filter(|told| **told != Told::Nothing).count();
    ledger.write(&streamed, told);
    let (server, took) = stopping.unwrap().await.unwrap();
    println!(
        "{booked} of 200 booked and {turned_away} turned away, {of_the_stream} of 600 of the \
         stream answered; stopped in {took:?}"
    );
    assert!(took < GRACE, "{took:?}");
    let server = server.start_again();
    let channel = server.channel().await;
    let all: Vec<Deed> = unary.into_iter().chain(streamed).collect();
    let told = by_method(&channel, &all, 16).await;
    ledger.write(&all, told);
    assert_eq!(ledger.booked().len(), 800, "each is booked by its repeat");
    ledger.hold_against(&entries(&channel, 4, &[28]).await);
}

#[tokio::test]
async fn a_stream_that_is_open_at_a_stop_is_told_why_it_ends() {
    use proto::v1::intake_service_client::IntakeServiceClient;
    use tokio_stream::StreamExt as _;
    let mut server: Server = harbor().await;
    let mut client = IntakeServiceClient::new(server.channel().await);
    let items: Vec<_> = weigh_ins(3).into_iter().map(crate::ledger::item).collect();
    let items = tokio_stream::iter(items).chain(tokio_stream::pending());
    let mut answers = client.catch_up(items).await.unwrap().into_inner();
    for _ in 0..3 {
        assert_eq!(answers.message().await.unwrap().unwrap().code, 0);
    }
    let stopped = tokio::task::spawn_blocking(move || server.stop());
    let status = answers.message().await.unwrap_err();
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");
    assert!(status.message().contains("send again"), "{status:?}");
    assert!(stopped.await.unwrap() < GRACE);
}
