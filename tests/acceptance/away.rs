//! PostgreSQL away for a while, and what a caller sees of it: UNAVAILABLE with a word
//! on when to come back, within a bounded time; a health that says so; and no restart
//! when it is back.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use proto::v1::deed::Deed;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tonic::Code;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_types::StatusExt as _;

use crate::harness::{Server, harbor_on, one_tote};
use crate::ledger::{Ledger, Told, attempt, by_method, entries};

/// Longest that a caller waits to be told that the book is away.
const TOLD_WITHIN: Duration = Duration::from_secs(15);

/// Stands between the program and PostgreSQL.
struct Between {
    address: std::net::SocketAddr,
    server: String,
    cut: watch::Sender<bool>,
    lose_commits: Arc<AtomicUsize>,
    is_listening: Arc<AtomicBool>,
}

impl Between {
    async fn new(server: String) -> Between {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let between = Between {
            address: listener.local_addr().unwrap(),
            server,
            cut: watch::channel(false).0,
            lose_commits: Arc::default(),
            is_listening: Arc::default(),
        };
        between.listen(listener);
        between
    }

    fn listen(&self, listener: TcpListener) {
        let (server, cut) = (self.server.clone(), self.cut.clone());
        let (lose, is_listening) = (
            Arc::clone(&self.lose_commits),
            Arc::clone(&self.is_listening),
        );
        is_listening.store(true, Ordering::SeqCst);
        tokio::spawn(async move {
            let mut told = cut.subscribe();
            loop {
                tokio::select! {
                    biased;
                    _ = told.wait_for(|cut| *cut) => break,
                    taken = listener.accept() => {
                        let (near, _) = taken.unwrap();
                        let (far, cut) = (server.clone(), cut.subscribe());
                        tokio::spawn(carry(near, far, cut, Arc::clone(&lose)));
                    }
                }
            }
            // New connections are refused from here on.
            drop(listener);
            is_listening.store(false, Ordering::SeqCst);
        });
    }

    async fn cut(&self) {
        self.cut.send_replace(true);
        while self.is_listening.load(Ordering::SeqCst) {
            tokio::task::yield_now().await;
        }
    }

    async fn mend(&self) {
        self.cut.send_replace(false);
        self.listen(TcpListener::bind(self.address).await.unwrap());
    }
}

/// Carries bytes both ways until it is cut. Where COMMITs are to be lost, one is
/// carried to the server and its answer is not carried back.
async fn carry(
    mut near: TcpStream,
    far: String,
    mut cut: watch::Receiver<bool>,
    lose: Arc<AtomicUsize>,
) {
    let Ok(mut far) = TcpStream::connect(far).await else {
        return;
    };
    let (mut asked, mut answered) = (vec![0; 1 << 16], vec![0; 1 << 16]);
    loop {
        let until_cut = async {
            // Not kept: what is seen holds a lock.
            let _ = cut.wait_for(|cut| *cut).await;
        };
        tokio::select! {
            biased;
            () = until_cut => return,
            read = near.read(&mut asked) => {
                let Ok(n @ 1..) = read else { return };
                let _sent = far.write_all(&asked[..n]).await;
                let commits = asked[..n].windows(6).any(|word| word == b"COMMIT");
                let one_less = |left: usize| left.checked_sub(1);
                if commits && lose.fetch_update(Ordering::SeqCst, Ordering::SeqCst, one_less).is_ok() {
                    let _committed = far.read(&mut answered).await;
                    return;
                }
            }
            read = far.read(&mut answered) => {
                let Ok(n @ 1..) = read else { return };
                if near.write_all(&answered[..n]).await.is_err() {
                    return;
                }
            }
        }
    }
}

/// A harbor whose program reaches PostgreSQL through a [`Between`].
async fn harbor_with_a_between() -> (books::testing::Book, Between, Server) {
    let book = books::testing::Book::postgres().await;
    let (scheme, rest) = book.url.split_once("://").unwrap();
    let (who, rest) = rest.split_once('@').unwrap();
    let (host, name) = rest.split_once('/').unwrap();
    let between = Between::new(host.to_owned()).await;
    // In the clear, so that a COMMIT is seen on its way.
    let joint = if name.contains('?') { '&' } else { '?' };
    let url = format!(
        "{scheme}://{who}@{}/{name}{joint}sslmode=disable",
        between.address
    );
    let server = harbor_on(Server::on(&url)).await;
    (book, between, server)
}

fn weigh_in() -> Deed {
    Deed::WeighIn(one_tote("44.00", "4.00", 50))
}

async fn health(server: &Server) -> ServingStatus {
    let mut client = HealthClient::new(server.channel().await);
    let answer = client.check(HealthCheckRequest::default()).await.unwrap();
    answer.into_inner().status()
}

async fn until_health_is(server: &Server, expected: ServingStatus) -> Duration {
    let since = Instant::now();
    while health(server).await != expected {
        assert!(since.elapsed() < TOLD_WITHIN, "{expected:?} is not said");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    since.elapsed()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_away_for_a_minute_is_said_and_afterwards_it_goes_on_by_itself() {
    let (book, between, server) = harbor_with_a_between().await;
    let channel = server.channel().await;
    let mut ledger = Ledger::default();
    let before = vec![weigh_in(), weigh_in(), weigh_in()];
    let told = by_method(&channel, &before, 3).await;
    ledger.write(&before, told);
    assert_eq!(health(&server).await, ServingStatus::Serving);

    between.cut().await;
    let away = Instant::now();
    let said_after = until_health_is(&server, ServingStatus::NotServing).await;
    let (mut asked, mut slowest) = (0, Duration::ZERO);
    while away.elapsed() < Duration::from_secs(60) {
        let (deed, since) = (weigh_in(), Instant::now());
        let status = attempt(channel.clone(), deed.clone()).await.unwrap_err();
        slowest = slowest.max(since.elapsed());
        asked += 1;
        assert_eq!(status.code(), Code::Unavailable, "{status:?}");
        let retry = status.get_details_retry_info().unwrap();
        assert!(retry.retry_delay.is_some_and(|delay| !delay.is_zero()));
        ledger.write(&[deed], vec![Told::Nothing]);
    }
    assert!(slowest < TOLD_WITHIN, "{slowest:?}");
    assert_eq!(health(&server).await, ServingStatus::NotServing);

    between.mend().await;
    let back_after = until_health_is(&server, ServingStatus::Serving).await;
    let open = ledger.open();
    let told = by_method(&channel, &open, 4).await;
    ledger.write(&open, told);
    assert_eq!(ledger.open(), [], "it goes on without a restart");
    let all = ledger.booked();
    assert_eq!(all.len(), asked + 3);
    let told = by_method(&channel, &all, 4).await;
    ledger.write(&all, told);
    ledger.hold_against(&entries(&channel, 4, &[28]).await);
    println!(
        "away for a minute: said by health after {said_after:?}, {asked} calls told so, the \
         slowest within {slowest:?}; back by itself after {back_after:?}"
    );
    drop(server);
    book.remove().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_that_ends_every_session_loses_nothing_and_books_nothing_twice() {
    let (book, _between, server) = harbor_with_a_between().await;
    let channel = server.channel().await;
    let mut ledger = Ledger::default();
    let deeds: Vec<Deed> = (0..200).map(|_| weigh_in()).collect();
    let sending = by_method(&channel, &deeds, 8);
    let ending = async {
        let mut ended = 0;
        for _ in 0..5 {
            let db = book.open().await;
            let mut tx = db.read().await.unwrap();
            let rows = tx
                .fetch(
                    "SELECT COUNT(pg_terminate_backend(pid)) FROM pg_stat_activity \
                     WHERE datname = current_database() AND pid <> pg_backend_pid()",
                    &[],
                )
                .await
                .unwrap();
            ended += rows[0].int(0);
            tx.rollback().await;
            db.close().await;
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        ended
    };
    let (told, ended) = tokio::join!(sending, ending);
    assert!(ended > 0, "there were sessions to end");
    ledger.write(&deeds, told);
    let open = ledger.open();
    let told = by_method(&channel, &open, 8).await;
    ledger.write(&open, told);
    assert_eq!(ledger.booked().len(), 200);
    println!(
        "{ended} sessions ended, {} deeds had to be sent again",
        open.len()
    );
    ledger.hold_against(&entries(&channel, 4, &[28]).await);
    drop(server);
    book.remove().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_commits_whose_answers_are_lost_are_answered_and_booked_once() {
    let (book, between, server) = harbor_with_a_between().await;
    let channel = server.channel().await;
    let mut ledger = Ledger::default();
    for _ in 0..10 {
        let deed = [weigh_in()];
        between.lose_commits.store(1, Ordering::SeqCst);
        let told = by_method(&channel, &deed, 1).await;
        assert_eq!(
            between.lose_commits.load(Ordering::SeqCst),
            0,
            "it was lost"
        );
        assert!(matches!(told[0], Told::Booked(_)), "{told:?}");
        ledger.write(&deed, told);
    }
    let all = ledger.booked();
    let told = by_method(&channel, &all, 1).await;
    ledger.write(&all, told);
    ledger.hold_against(&entries(&channel, 4, &[28]).await);
    drop(server);
    book.remove().await;
}
