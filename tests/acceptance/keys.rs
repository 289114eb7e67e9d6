//! Keys in their time: they end by the book's clock, a revoked one stops at once where
//! it was revoked and within a second elsewhere, the log keeps no secret, and what was
//! done and refused is there for the auditor.

use std::time::{Duration, Instant};

use client::Pass;
use proto::v1;
use proto::v1::audit_service_client::AuditServiceClient;
use proto::v1::catch_up_request::Item;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::key_service_client::KeyServiceClient;
use proto::v1::statement_service_client::StatementServiceClient;
use serde_json::json;
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Code, Status};

use crate::harness::{Keyed, OFFICE, Server, fresh, harbor, message, one_tote, set_clock};

/// Longest that another instance may take to hear of a revocation, and what a busy
/// machine adds to that.
const HEARD_OF: Duration = Duration::from_secs(1);
const PATIENCE: Duration = Duration::from_secs(4);

fn key(name: &str, role: v1::Role, party: &str) -> v1::IssueKeyRequest {
    v1::IssueKeyRequest {
        request_id: fresh(),
        name: name.to_owned(),
        role: role.into(),
        party: party.to_owned(),
        ..Default::default()
    }
}

/// Id and secret of a new key.
async fn issue(server: &Server, key: v1::IssueKeyRequest) -> (String, String) {
    let mut keys = KeyServiceClient::new(server.channel().await);
    let answer = keys.issue_key(key).await.unwrap().into_inner();
    (answer.key.unwrap().id, answer.secret)
}

async fn revoke(server: &Server, id: &str) {
    let request = v1::RevokeKeyRequest {
        request_id: fresh(),
        key: id.to_owned(),
        reason: "lost at the dock".to_owned(),
    };
    let mut keys = KeyServiceClient::new(server.channel().await);
    keys.revoke_key(request).await.unwrap();
}

/// A channel that shows a key of one's own.
async fn with(server: &Server, secret: &str) -> Keyed {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("key");
    std::fs::write(&file, secret).unwrap();
    let channel = Channel::from_shared(server.url.clone()).unwrap();
    let channel = channel.connect().await.unwrap();
    InterceptedService::new(channel, Pass::in_file(&file).unwrap())
}

/// A business day as a command's argument says it.
fn day(text: &str) -> proto::google::r#type::Date {
    let mut parts = text.split('-').map(|part| part.parse().unwrap());
    let mut next = || parts.next().unwrap();
    proto::google::r#type::Date {
        year: next(),
        month: next(),
        day: next(),
    }
}

async fn who(channel: &Keyed) -> Result<String, Status> {
    let mut keys = KeyServiceClient::new(channel.clone());
    let answer = keys.get_caller(v1::GetCallerRequest {}).await?;
    Ok(answer.into_inner().key_name)
}

#[tokio::test]
async fn a_key_ends_by_the_books_clock() {
    let server = harbor().await;
    let expires_at = Some(client::instant("2031-04-28T16:00:00-04:00").unwrap());
    let short = v1::IssueKeyRequest {
        expires_at,
        ..key("day hand", v1::Role::Buyer, "")
    };
    let (_, secret) = issue(&server, short).await;
    let channel = with(&server, &secret).await;
    set_clock(&server, "2031-04-28T15:59:59.999999-04:00").await;
    assert_eq!(who(&channel).await.unwrap(), "day hand");
    set_clock(&server, "2031-04-28T16:00:00-04:00").await;
    let ended = who(&channel).await.unwrap_err();
    assert_eq!(ended.code(), Code::Unauthenticated);
}

#[tokio::test]
async fn a_stream_ends_with_the_key_it_was_opened_with() {
    let server = harbor().await;
    let (id, secret) = issue(&server, key("tablet", v1::Role::Buyer, "")).await;
    let mut intake = IntakeServiceClient::new(with(&server, &secret).await);
    let (items, stream) = mpsc::channel(4);
    let weigh_in = || v1::CatchUpRequest {
        item: Some(Item::Deed(v1::Deed {
            deed: Some(v1::deed::Deed::WeighIn(one_tote("44.00", "4.00", 50))),
        })),
    };
    items.send(weigh_in()).await.unwrap();
    let answers = intake.catch_up(ReceiverStream::new(stream)).await.unwrap();
    let mut answers = answers.into_inner();
    let first = answers.next().await.unwrap().unwrap();
    assert_eq!(first.code, i32::from(Code::Ok), "{first:?}");
    revoke(&server, &id).await;
    items.send(weigh_in()).await.unwrap();
    let ended = answers.next().await.unwrap().unwrap_err();
    assert_eq!(ended.code(), Code::Unauthenticated);
    assert!(answers.next().await.is_none());
}

/// Revokes a key on one of two programs and waits for the other to hear of it.
async fn one_hears_of_what_the_other_revoked(one: &Server, other: &Server) {
    let (id, secret) = issue(one, key("tablet", v1::Role::Buyer, "")).await;
    let (here, there) = (with(one, &secret).await, with(other, &secret).await);
    assert_eq!(who(&here).await.unwrap(), "tablet");
    assert_eq!(
        who(&there).await.unwrap(),
        "tablet",
        "given out on the other one"
    );
    revoke(one, &id).await;
    let revoked = Instant::now();
    let code = who(&here).await.unwrap_err().code();
    assert_eq!(code, Code::Unauthenticated, "at once where it was revoked");
    while who(&there).await.is_ok() {
        assert!(
            revoked.elapsed() < HEARD_OF + PATIENCE,
            "it still works there"
        );
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    println!("heard of after {:?}", revoked.elapsed());
}

#[tokio::test]
async fn a_key_revoked_by_one_program_stops_at_another_on_the_same_file() {
    let one = harbor().await;
    let other = Server::on(&one.book);
    one_hears_of_what_the_other_revoked(&one, &other).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_a_key_revoked_by_one_program_stops_at_another() {
    let book = books::testing::Book::postgres().await;
    let (one, other) = (Server::on(&book.url), Server::on(&book.url));
    let mut week = client::week::Week::default();
    let way = client::week::Way::Unary;
    let service = one.service().await;
    week.send(&service, "office.json", OFFICE, way)
        .await
        .unwrap();
    one_hears_of_what_the_other_revoked(&one, &other).await;
    drop((one, other));
    book.remove().await;
}

#[tokio::test]
async fn the_log_has_no_secret_no_hash_and_nobodys_name_however_much_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("log");
    let server = Server::watched(&log);
    let service = server.service().await;
    let mut week = client::week::Week::default();
    let way = client::week::Way::Unary;
    week.send(&service, "office.json", OFFICE, way)
        .await
        .unwrap();
    set_clock(&server, "2031-04-28T15:00:00-04:00").await;
    let (id, secret) = issue(&server, key("phone", v1::Role::Diver, "wren-haldane")).await;
    let wren = with(&server, &secret).await;
    let mut intake = IntakeServiceClient::new(server.channel().await);
    let ticket = intake
        .record_weigh_in(one_tote("44.00", "4.00", 50))
        .await
        .unwrap();
    let ticket = ticket.into_inner().ticket.unwrap().id;
    let mut theirs = IntakeServiceClient::new(wren.clone());
    let asked = v1::GetTicketRequest {
        ticket: ticket.clone(),
    };
    theirs.get_ticket(asked).await.unwrap();
    let statement = v1::GetStatementRequest {
        site: 1,
        party: "wren-haldane".to_owned(),
        from: Some(day("2031-04-28")),
        to: Some(day("2031-04-29")),
    };
    let mut statements = StatementServiceClient::new(wren.clone());
    statements.get_statement(statement).await.unwrap();
    let void = v1::VoidTicketRequest {
        request_id: fresh(),
        ticket,
        reason: "mine".to_owned(),
    };
    theirs.void_ticket(void).await.unwrap_err();
    let settle = message::<v1::SettleRequest>(json!({
        "requestId": fresh(), "site": 1, "payee": "wren-haldane", "scope": {},
        "payments": [{ "method": "PAYMENT_METHOD_MONEY_ORDER", "reference": "no-1042",
            "amount": { "amountMinor": "1", "currency": "USD" } }],
    }));
    service.settle(settle).await.unwrap_err();
    revoke(&server, &id).await;
    who(&wren).await.unwrap_err();
    let office = std::fs::read_to_string(&server.key).unwrap();
    drop(server);

    let log = std::fs::read_to_string(&log).unwrap();
    assert!(
        log.contains("TRACE") && log.contains("RecordWeighIn"),
        "it says much: {}",
        log.len()
    );
    for secret in [secret.as_str(), office.trim()] {
        let digits = secret.trim_start_matches("whkey_");
        let hash = intake::sha256_of_secret(secret).unwrap();
        for told in [digits, &hash] {
            let line = log.lines().find(|line| line.contains(told));
            assert_eq!(line.map(|line| line.replace(told, "(it)")), None);
        }
    }
    let log = log.to_lowercase();
    for name in [
        "whkey_", "wren", "haldane", "osric", "555-0111", "qh-0107", "no-1042",
    ] {
        let line = log.lines().find(|line| line.contains(name));
        assert_eq!(line, None, "{name}");
    }
}

#[tokio::test]
async fn an_auditor_reads_who_did_what_and_who_was_refused() {
    let server = harbor().await;
    let (_, tablet) = issue(&server, key("dock tablet", v1::Role::Buyer, "")).await;
    let (_, phone) = issue(&server, key("phone", v1::Role::Diver, "wren-haldane")).await;
    let (_, books) = issue(&server, key("books", v1::Role::Auditor, "")).await;
    let (_, bound) = issue(&server, key("far", v1::Role::Auditor, "quillet-dock-fish")).await;
    let weigh_in = one_tote("44.00", "4.00", 50);
    let mut dock = IntakeServiceClient::new(with(&server, &tablet).await);
    let ticket = dock.record_weigh_in(weigh_in.clone()).await.unwrap();
    let ticket = ticket.into_inner().ticket.unwrap().id;
    let mut wren = IntakeServiceClient::new(with(&server, &phone).await);
    let mut last = String::new();
    for _ in 0..3 {
        last = fresh();
        let void = v1::VoidTicketRequest {
            request_id: last.clone(),
            ticket: ticket.clone(),
            reason: "mine".to_owned(),
        };
        wren.void_ticket(void).await.unwrap_err();
    }
    // A deed of a stream and the word of a device are refused in it, and are there too.
    let opens = (0..2).map(|_| v1::CatchUpRequest {
        item: Some(Item::Open(v1::CatchUpOpen {
            request_id: fresh(),
            site: 1,
            device: "dock-tablet".to_owned(),
            queued: 0,
        })),
    });
    let opens = tokio_stream::iter(opens.collect::<Vec<_>>());
    let answers = wren.catch_up(opens).await.unwrap().into_inner();
    assert_eq!(answers.collect::<Vec<_>>().await.len(), 2);
    let channel = Channel::from_shared(server.url.clone()).unwrap();
    let mut nobody = KeyServiceClient::new(channel.connect().await.unwrap());
    nobody
        .get_caller(v1::GetCallerRequest {})
        .await
        .unwrap_err();

    let range = v1::ListRefusalsRequest {
        from: Some(client::instant("2031-04-28T15:00:00-04:00").unwrap()),
        to: Some(client::instant("2031-04-28T15:01:00-04:00").unwrap()),
        ..Default::default()
    };
    let mut audit = AuditServiceClient::new(with(&server, &books).await);
    let listed = audit
        .list_refusals(range.clone())
        .await
        .unwrap()
        .into_inner();
    let rows: Vec<_> = listed
        .refusals
        .iter()
        .map(|row| {
            let method = row.method.trim_start_matches("/weighhouse.v1.");
            (row.actor.as_str(), method, row.reason.as_str(), row.times)
        })
        .collect();
    let wrens = "diver wren-haldane (phone)";
    for row in [
        (wrens, "IntakeService/VoidTicket", "NOT_YOURS", 3),
        (wrens, "IntakeService/CatchUp", "NOT_YOURS", 2),
        ("nobody", "KeyService/GetCaller", "NO_KEY", 1),
    ] {
        assert!(rows.contains(&row), "{row:?} in {rows:?}");
    }
    assert_eq!(rows.len(), 3, "{rows:?}");
    let voids = listed.refusals.iter().find(|row| row.times == 3).unwrap();
    assert_eq!(voids.request_id, last);
    assert_eq!(voids.minute, range.from);

    let of_day = v1::ListEntriesRequest {
        site: 1,
        day: Some(day("2031-04-28")),
        ..Default::default()
    };
    let entries = audit
        .list_entries(of_day.clone())
        .await
        .unwrap()
        .into_inner()
        .entries;
    let entry = entries.iter().find(|entry| entry.id == ticket).unwrap();
    assert_eq!(entry.actor, "buyer (dock tablet)");
    assert_eq!(
        (entry.kind.as_str(), entry.party.as_str()),
        ("weigh_in", "wren-haldane")
    );
    assert_eq!(entry.request_id, weigh_in.request_id);
    assert!(entry.document.contains("\"asked\""), "{}", entry.document);

    // An auditor of one buyer reads what was done at its sites, and no refusals, which
    // are of the whole book; a buyer reads neither.
    let mut audit = AuditServiceClient::new(with(&server, &bound).await);
    let of_buyer = audit
        .list_entries(of_day.clone())
        .await
        .unwrap()
        .into_inner()
        .entries;
    assert_eq!(of_buyer, entries);
    let refused = audit.list_refusals(range.clone()).await.unwrap_err();
    assert_eq!(refused.code(), Code::PermissionDenied);
    let mut audit = AuditServiceClient::new(with(&server, &tablet).await);
    let refused = audit.list_refusals(range).await.unwrap_err();
    assert_eq!(refused.code(), Code::PermissionDenied);
    let refused = audit.list_entries(of_day).await.unwrap_err();
    assert_eq!(refused.code(), Code::PermissionDenied);
}

#[tokio::test]
async fn a_certificate_stands_for_a_key_once_and_a_repeat_shows_no_secret() {
    let server = harbor().await;
    let mut keys = KeyServiceClient::new(server.channel().await);
    let asked = key("phone", v1::Role::Diver, "wren-haldane");
    let first = keys.issue_key(asked.clone()).await.unwrap().into_inner();
    let again = keys.issue_key(asked).await.unwrap().into_inner();
    assert_eq!(again.key, first.key);
    assert_eq!((first.secret.len(), again.secret.as_str()), (70, ""));
    let certificate = v1::IssueKeyRequest {
        certificate_sha256: "AB".repeat(32),
        ..key("tablet", v1::Role::Buyer, "")
    };
    let made = keys
        .issue_key(certificate.clone())
        .await
        .unwrap()
        .into_inner();
    assert!(made.secret.is_empty() && made.key.unwrap().is_certificate);
    let twice = v1::IssueKeyRequest {
        request_id: fresh(),
        ..certificate
    };
    let refused = keys.issue_key(twice).await.unwrap_err();
    assert_eq!(refused.code(), Code::FailedPrecondition);
    // Its fingerprint is no secret: shown as a key, it opens nothing.
    for shown in ["ab".repeat(32), format!("whkey_{}", "ab".repeat(32))] {
        let refused = who(&with(&server, &shown).await).await.unwrap_err();
        assert_eq!(refused.code(), Code::Unauthenticated);
    }
}
