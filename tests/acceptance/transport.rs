//! The service on a network: TLS, limits, load, and how it stops.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use client::{Pass, Service, Shown};
use prost::Message as _;
use proto::v1;
use proto::v1::clock_service_client::ClockServiceClient;
use proto::v1::intake_service_client::IntakeServiceClient;
use tokio::task::JoinSet;
use tonic::{Code, Request};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_types::StatusExt as _;

use crate::harness::{PROGRAM, Server, harbor_on, one_tote, said};

fn date(day: i32) -> proto::google::r#type::Date {
    proto::google::r#type::Date {
        year: 2031,
        month: 4,
        day,
    }
}

fn program(words: &[&str]) -> std::process::Output {
    Command::new(PROGRAM).args(words).output().unwrap()
}

fn path(folder: &Path, file: &str) -> String {
    folder.join(file).to_str().unwrap().to_owned()
}

#[tokio::test]
async fn a_site_certificate_is_made_served_and_trusted_and_a_device_is_let_in_by_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().to_str().unwrap();
    let made = program(&["certificate", "--folder", at, "--name", "127.0.0.1"]);
    assert!(made.status.success(), "{}", said(&made));
    let made = program(&["certificate", "--folder", at, "--device", "dock-tablet"]);
    assert!(made.status.success(), "{}", said(&made));
    let text = said(&made);
    let give = text
        .lines()
        .find(|line| line.contains("key give"))
        .expect("it says how to let the device in");
    let sha256 = give.split_whitespace().last().unwrap();

    let (pem, key) = (
        path(folder.path(), "service.pem"),
        path(folder.path(), "service-key.pem"),
    );
    let authority = path(folder.path(), "site-authority.pem");
    let server = Server::with(&[
        "--tls-certificate",
        &pem,
        "--tls-key",
        &key,
        "--device-authority",
        &authority,
    ]);
    assert!(server.url.starts_with("https://"), "{}", server.url);

    // The office, by its key.
    let office = server.client(&["key", "mine", "--ca-file", &authority]);
    assert!(office.status.success(), "{}", said(&office));
    // A device that shows a certificate of the site is nobody until it is given out.
    let device = path(folder.path(), "device-dock-tablet.pem");
    let shown = Shown {
        key_file: None,
        ca_file: Some(authority.clone().into()),
        device_file: Some(device.into()),
    };
    let tablet = Service::reach(&server.url, shown.read().unwrap())
        .await
        .unwrap();
    let refused = tablet.get_clock(v1::GetClockRequest {}).await.unwrap_err();
    assert!(refused.to_string().contains("opens nothing"), "{refused}");
    let given = server.client(&[
        "key",
        "give",
        "--name",
        "dock-tablet",
        "--role",
        "buyer",
        "--certificate-sha256",
        sha256,
        "--ca-file",
        &authority,
    ]);
    assert!(given.status.success(), "{}", said(&given));
    let caller = tablet.get_caller(v1::GetCallerRequest {}).await.unwrap();
    assert_eq!(caller.role, i32::from(v1::Role::Buyer));
    assert_eq!(caller.key_name, "dock-tablet");

    // Without the authority nobody is trusted, and without TLS nothing is said.
    let untrusting = server.client(&["key", "mine"]);
    assert_eq!(untrusting.status.code(), Some(1), "{}", said(&untrusting));
    let plain = server.url.replace("https://", "http://");
    assert!(
        Service::reach(&plain, Pass::default()).await.is_err() || {
            let service = Service::reach(&plain, Pass::default()).await.unwrap();
            service.get_clock(v1::GetClockRequest {}).await.is_err()
        }
    );
}

#[test]
fn other_machines_are_not_answered_without_tls_unless_that_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let book = format!("sqlite:{}", path(folder.path(), "book.db"));
    let refused = program(&["serve", "--book", &book, "--listen", "0.0.0.0:0"]);
    assert_eq!(refused.status.code(), Some(2), "{}", said(&refused));
    let text = said(&refused);
    assert!(
        text.contains("without TLS") && text.contains("--without-tls"),
        "{text}"
    );
    assert!(
        !folder.path().join("book.db").exists(),
        "and no book is made"
    );
}

/// A peer that says `words` and then waits; how long it is kept.
fn kept(address: &str, words: &[u8]) -> Duration {
    let mut socket = TcpStream::connect(address).unwrap();
    socket.write_all(words).unwrap();
    let started = Instant::now();
    socket
        .set_read_timeout(Some(Duration::from_secs(30)))
        .unwrap();
    // What is said to it meanwhile does not matter: the end does.
    let mut said = Vec::new();
    let _reset = socket.read_to_end(&mut said);
    started.elapsed()
}

#[test]
fn a_silent_peer_and_one_that_stops_in_the_middle_of_its_greeting_are_dropped() {
    let server = Server::start();
    let words: [&[u8]; 3] = [b"", b"PRI * HTTP/2.0\r\n", b"POST /weighh"];
    let kept: Vec<Duration> = std::thread::scope(|scope| {
        let peers: Vec<_> = words
            .iter()
            .map(|words| scope.spawn(|| kept(server.address(), words)))
            .collect();
        peers.into_iter().map(|peer| peer.join().unwrap()).collect()
    });
    for (kept, words) in kept.iter().zip(words) {
        let seconds = kept.as_secs_f64();
        assert!((9.0..20.0).contains(&seconds), "{words:?}: {seconds} s");
    }
}

/// How many tickets Monday has.
async fn tickets(server: &Server) -> usize {
    let mut intake = IntakeServiceClient::new(server.channel().await);
    let mut tickets = 0;
    let mut page_token = String::new();
    loop {
        let page = intake
            .list_tickets(v1::ListTicketsRequest {
                site: 1,
                from: Some(date(28)),
                to: Some(date(29)),
                page_size: 200,
                page_token,
                ..v1::ListTicketsRequest::default()
            })
            .await
            .unwrap()
            .into_inner();
        tickets += page.tickets.len();
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return tickets;
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_house_says_so_at_once_and_books_what_it_took_once() {
    let server = harbor_on(Server::with(&["--requests-under-way", "2"])).await;
    let channel = server.channel().await;
    let mut health = HealthClient::new(channel.clone());
    let mut asked = JoinSet::new();
    for _ in 0..200 {
        let mut intake = IntakeServiceClient::new(channel.clone());
        asked.spawn(async move { intake.record_weigh_in(one_tote("24.60", "3.60", 30)).await });
    }
    let serving = health
        .check(HealthCheckRequest::default())
        .await
        .unwrap()
        .into_inner();
    assert_eq!(serving.status, 1, "health is truthful meanwhile");
    let (mut booked, mut full) = (0, 0);
    while let Some(answer) = asked.join_next().await {
        match answer.unwrap() {
            Ok(_) => booked += 1,
            Err(status) => {
                assert_eq!(status.code(), Code::ResourceExhausted, "{status}");
                let details = status.get_error_details();
                let retry = details.retry_info().unwrap().retry_delay;
                assert!(retry.is_some_and(|delay| delay > Duration::ZERO));
                full += 1;
            }
        }
    }
    assert!(booked > 0 && full > 0, "{booked} booked, {full} refused");
    let service = server.service().await;
    let tickets = tickets(&server).await;
    assert_eq!(
        tickets, booked,
        "what was answered is booked, the rest is not"
    );

    // The client comes back by itself, with the same request id.
    let mut patient = JoinSet::new();
    for _ in 0..12 {
        let service = service.clone();
        patient.spawn(async move { service.record_weigh_in(one_tote("24.60", "3.60", 30)).await });
    }
    while let Some(answer) = patient.join_next().await {
        answer.unwrap().unwrap();
    }
}

#[tokio::test]
async fn a_key_that_asks_too_often_is_told_when_to_come_back_and_others_are_not() {
    let server = Server::with(&["--requests-per-second", "5"]);
    let give = server.client(&[
        "key", "give", "--name", "tablet", "--role", "buyer", "--json",
    ]);
    assert!(give.status.success(), "{}", said(&give));
    let mut office = ClockServiceClient::new(server.channel().await);
    let mut refused = None;
    for _ in 0..50 {
        if let Err(status) = office.get_clock(v1::GetClockRequest {}).await {
            refused = Some(status);
            break;
        }
    }
    let refused = refused.expect("fifty at once are more than ten");
    assert_eq!(refused.code(), Code::ResourceExhausted);
    let details = refused.get_error_details();
    assert_eq!(details.error_info().unwrap().reason, "TOO_MANY_REQUESTS");
    assert!(details.retry_info().unwrap().retry_delay.is_some());

    let answer: serde_json::Value = serde_json::from_slice(&give.stdout).unwrap();
    let secret = answer["answer"]["secret"].as_str().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("key");
    std::fs::write(&file, secret).unwrap();
    let other = Service::reach(&server.url, Pass::in_file(&file).unwrap())
        .await
        .unwrap();
    other.get_clock(v1::GetClockRequest {}).await.unwrap();
}

/// Weighs in on a bare HTTP/2 connection: clients of gRPC keep a deadline themselves, and
/// what the service says of it is seen only without one. Gives status and message.
async fn bare_weigh_in(
    server: &Server,
    request: &v1::RecordWeighInRequest,
    timeout: &str,
) -> (String, String) {
    let socket = tokio::net::TcpStream::connect(server.address())
        .await
        .unwrap();
    let (sender, connection) = h2::client::handshake(socket).await.unwrap();
    tokio::spawn(connection);
    let key = std::fs::read_to_string(&server.key).unwrap();
    let method = "weighhouse.v1.IntakeService/RecordWeighIn";
    let head = http::Request::post(format!("{}/{method}", server.url))
        .header("content-type", "application/grpc")
        .header("te", "trailers")
        .header("authorization", format!("Bearer {}", key.trim()))
        .header("grpc-timeout", timeout)
        .body(())
        .unwrap();
    let mut sender = sender.ready().await.unwrap();
    let (answer, mut body) = sender.send_request(head, false).unwrap();
    // Not compressed, its length, itself.
    let message = request.encode_to_vec();
    let mut frame = vec![0];
    frame.extend(u32::try_from(message.len()).unwrap().to_be_bytes());
    frame.extend(message);
    body.send_data(frame.into(), true).unwrap();
    let answer = answer.await.unwrap();
    let header = |name: &str| {
        let value = answer.headers().get(name);
        value.map_or_else(String::new, |value| value.to_str().unwrap().to_owned())
    };
    (header("grpc-status"), header("grpc-message"))
}

/// The caller hears DEADLINE_EXCEEDED and that it may be booked; the book has it once
/// when the same request is sent again.
#[tokio::test]
async fn a_deadline_is_honoured_and_said_as_what_it_is() {
    let server = harbor_on(Server::start()).await;
    let request = one_tote("24.60", "3.60", 30);
    let stranger = books::Db::open(&server.book).await.unwrap();
    let lock = stranger.write().await.unwrap();
    let (status, message) = bare_weigh_in(&server, &request, "300m").await;
    // DEADLINE_EXCEEDED is 4; the message is percent-encoded.
    assert_eq!(status, "4", "{message}");
    assert!(message.contains("request_id"), "{message}");
    lock.rollback().await;
    stranger.close().await;
    let (status, _) = bare_weigh_in(&server, &request, "20S").await;
    assert_eq!(status, "", "an answer says its status at its end");
    assert_eq!(tickets(&server).await, 1);
}

#[test]
fn http_1_1_is_answered_on_the_same_port_and_asked_for_a_key_as_well() {
    let server = Server::start();
    let mut socket = TcpStream::connect(server.address()).unwrap();
    let request = "POST /weighhouse.v1.ClockService/GetClock HTTP/1.1\r\nHost: dock\r\n\
                   Content-Type: application/grpc\r\nContent-Length: 0\r\n\
                   Connection: close\r\n\r\n";
    socket.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    socket.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    // UNAUTHENTICATED is 16.
    assert!(answer.contains("grpc-status: 16"), "{answer}");
}

#[tokio::test]
async fn headers_beyond_the_limit_are_refused_and_the_service_goes_on() {
    let server = Server::start();
    let mut clock = ClockServiceClient::new(server.channel().await);
    let mut request = Request::new(v1::GetClockRequest {});
    request
        .metadata_mut()
        .insert("x-long", "x".repeat(64 * 1024).parse().unwrap());
    assert!(clock.get_clock(request).await.is_err());
    let mut clock = ClockServiceClient::new(server.channel().await);
    clock.get_clock(v1::GetClockRequest {}).await.unwrap();
}

#[tokio::test]
async fn a_stop_waits_for_no_one_who_only_watches() {
    let mut server = Server::start();
    let mut health = HealthClient::new(server.channel().await);
    let mut watch = health
        .watch(HealthCheckRequest::default())
        .await
        .unwrap()
        .into_inner();
    watch.message().await.unwrap().unwrap();
    let took = server.stop();
    assert!(took < Duration::from_secs(3), "{took:?}");
}

#[tokio::test]
async fn metrics_are_counted_by_method_and_name_nobody() {
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = port.local_addr().unwrap().to_string();
    drop(port);
    let server = harbor_on(Server::with(&["--metrics", &address])).await;
    let service = server.service().await;
    service
        .record_weigh_in(one_tote("24.60", "3.60", 30))
        .await
        .unwrap();
    let mut socket = TcpStream::connect(&address).unwrap();
    socket
        .write_all(b"GET /metrics HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        .unwrap();
    let mut text = String::new();
    socket.read_to_string(&mut text).unwrap();
    let method = "rpc_method=\"/weighhouse.v1.IntakeService/RecordWeighIn\"";
    let counted = text
        .lines()
        .find(|line| {
            line.starts_with("rpc_server_call_duration_seconds_count") && line.contains(method)
        })
        .unwrap_or_else(|| panic!("{text}"));
    assert!(counted.ends_with(" 1") && counted.contains("rpc_response_status_code=\"Ok\""));
    assert!(
        text.contains("weighhouse_deeds_total{outcome=\"recorded\"}"),
        "{text}"
    );
    for name in ["wren", "haldane", "office-key", "whkey"] {
        assert!(!text.contains(name), "{name} in {text}");
    }
}
