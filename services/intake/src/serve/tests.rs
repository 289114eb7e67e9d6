//! Through the socket, on a book in a file.
#![expect(clippy::unwrap_used, reason = "a test may panic")]

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use books::testing::Book;
use books::{Db, Scribe};
use desk::Clock;
use proto::google::r#type::Date;
use proto::v1;
use proto::v1::catch_up_request::Item;
use proto::v1::deed::Deed;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::office_service_client::OfficeServiceClient;
use proto::v1::{tote_weighing, weighing};
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinHandle;
use tokio_stream::wrappers::ReceiverStream;
use tokio_stream::{Stream, StreamExt as _};
use tonic::metadata::AsciiMetadataValue;
use tonic::service::Interceptor;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Status};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_types::StatusExt as _;
use uuid::Uuid;

use super::*;

mod clock;

/// 2031-05-02 14:00 UTC, morning at the dock.
const NOW_US: i64 = 1_935_496_800_000_000;
const DAY: Date = Date {
    year: 2031,
    month: 5,
    day: 2,
};

/// Shows a key.
#[derive(Clone)]
struct Bearer(AsciiMetadataValue);

impl Interceptor for Bearer {
    fn call(&mut self, mut request: tonic::Request<()>) -> Result<tonic::Request<()>, Status> {
        request
            .metadata_mut()
            .insert("authorization", self.0.clone());
        Ok(request)
    }
}

type Keyed = InterceptedService<Channel, Bearer>;

/// Puts an office key on file, and gives its secret.
async fn office_key(desk: &Desk) -> String {
    let secret = crate::fresh_secret().unwrap();
    let sha256 = crate::sha256_of_secret(&secret).unwrap();
    let asked = rules::key::KeyAsked {
        name: "office".to_owned(),
        role: rules::key::Role::Office,
        party: String::new(),
        expires_us: None,
        certificate: String::new(),
    };
    let office = desk::Caller::office();
    let id = Uuid::now_v7().to_string();
    desk.issue_key(&office, &id, asked, sha256).await.unwrap();
    secret
}

/// A service on a free port with a book of its own.
struct Dock {
    address: SocketAddr,
    channel: Channel,
    key: String,
    stop: Option<oneshot::Sender<()>>,
    served: JoinHandle<Result<(), ServeError>>,
    scribe: Scribe,
    db: Db,
    book: Book,
}

impl Dock {
    async fn open() -> Dock {
        Dock::by(Clock::Machine(Arc::new(|| NOW_US))).await
    }

    /// With a clock of one's own.
    async fn by(clock: Clock) -> Dock {
        let book = Book::sqlite();
        let db = book.open().await;
        let scribe = Scribe::start(db.clone(), 4096);
        let desk = Desk::open(db.clone(), scribe.clone(), clock).await.unwrap();
        let key = office_key(&desk).await;
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (stop, stopped) = oneshot::channel();
        let service = Service::default();
        let served = tokio::spawn(serve(desk, listener, service, async move {
            let _gone = stopped.await;
        }));
        let channel = endpoint(address).connect().await.unwrap();
        Dock {
            address,
            channel,
            key,
            stop: Some(stop),
            served,
            scribe,
            db,
            book,
        }
    }

    /// With a site, a diver, a species, its prices and a device on file.
    async fn ready() -> Dock {
        Dock::open().await.with_an_office().await
    }

    async fn with_an_office(self) -> Dock {
        let dock = self;
        let outcomes = dock
            .catch_up(office().into_iter().map(deed).collect())
            .await;
        for outcome in &outcomes {
            assert_eq!(outcome.code, 0, "{outcome:?}");
        }
        dock
    }

    /// The channel, with the office's key.
    fn keyed(&self) -> Keyed {
        self.with_key(self.channel.clone())
    }

    fn with_key(&self, channel: Channel) -> Keyed {
        let key = format!("Bearer {}", self.key).parse().unwrap();
        InterceptedService::new(channel, Bearer(key))
    }

    fn intake(&self) -> IntakeServiceClient<Keyed> {
        IntakeServiceClient::new(self.keyed())
    }

    fn office(&self) -> OfficeServiceClient<Keyed> {
        OfficeServiceClient::new(self.keyed())
    }

    async fn catch_up(&self, items: Vec<v1::CatchUpRequest>) -> Vec<v1::CatchUpResponse> {
        let mut intake = self.intake();
        let outcomes = intake
            .catch_up(tokio_stream::iter(items))
            .await
            .unwrap()
            .into_inner();
        outcomes.collect::<Result<Vec<_>, Status>>().await.unwrap()
    }

    async fn weigh_in(&self, request: v1::RecordWeighInRequest) -> Result<v1::Ticket, Status> {
        let answer = self.intake().record_weigh_in(request).await?;
        Ok(answer.into_inner().ticket.unwrap())
    }

    async fn close(mut self) {
        if let Some(stop) = self.stop.take() {
            stop.send(()).unwrap();
        }
        drop(self.channel);
        self.served.await.unwrap().unwrap();
        self.scribe.stop().await;
        self.db.close().await;
        self.book.remove().await;
    }
}

fn endpoint(address: SocketAddr) -> Endpoint {
    Endpoint::from_shared(format!("http://{address}")).unwrap()
}

fn id() -> String {
    Uuid::new_v4().to_string()
}

fn deed(deed: Deed) -> v1::CatchUpRequest {
    v1::CatchUpRequest {
        item: Some(Item::Deed(v1::Deed { deed: Some(deed) })),
    }
}

fn party(code: &str, role: v1::PartyRole) -> Deed {
    Deed::Party(v1::RecordPartyRequest {
        request_id: id(),
        party: Some(v1::Party {
            code: code.to_owned(),
            name: code.to_owned(),
            roles: vec![role.into()],
            ..v1::Party::default()
        }),
    })
}

fn office() -> Vec<Deed> {
    let band = |from: &str, to: Option<&str>, price: &str| v1::Band {
        from: from.to_owned(),
        to: to.map(str::to_owned),
        price: price.to_owned(),
        name: String::new(),
    };
    vec![
        party("buyer", v1::PartyRole::Buyer),
        Deed::Site(v1::RecordSiteRequest {
            request_id: id(),
            site: Some(v1::Site {
                number: 1,
                name: "The dock".to_owned(),
                time_zone: "America/New_York".to_owned(),
                cutover_hour: 4,
                currency: "USD".to_owned(),
                buyer: "buyer".to_owned(),
                shown_unit: v1::WeightUnit::Lb.into(),
                location_description: String::new(),
            }),
        }),
        Deed::Species(v1::RecordSpeciesRequest {
            request_id: id(),
            species: Some(v1::Species {
                code: "PZO".to_owned(),
                name: "Red lionfish".to_owned(),
                ..v1::Species::default()
            }),
        }),
        party("diver-1", v1::PartyRole::Harvester),
        Deed::Device(v1::RecordDeviceRequest {
            request_id: id(),
            device: Some(v1::Device {
                site: 1,
                code: "phone".to_owned(),
                name: "Dock phone".to_owned(),
            }),
        }),
        Deed::PriceList(v1::PostPriceListRequest {
            request_id: id(),
            price_list: Some(v1::PriceList {
                site: 1,
                species: "PZO".to_owned(),
                effective_from: Some(crate::answer::timestamp(NOW_US - 3_600_000_000)),
                band_by: v1::BandBy::Piece.into(),
                price_per: v1::WeightUnit::Lb.into(),
                edge_unit: v1::WeightUnit::Lb.into(),
                presentations: vec![v1::PresentationPrices {
                    presentation: v1::Presentation::Whole.into(),
                    plate_minimum: "0.50".to_owned(),
                    grades: vec![v1::GradePrices {
                        grade: "A".to_owned(),
                        bands: vec![band("0", Some("0.50"), "1.25"), band("0.50", None, "5.50")],
                        not_counted: None,
                    }],
                }],
                ..v1::PriceList::default()
            }),
        }),
    ]
}

fn tote(code: &str) -> Deed {
    Deed::Tote(v1::RecordToteRequest {
        request_id: id(),
        tote: Some(v1::Tote {
            site: 1,
            code: code.to_owned(),
            tare: Some(lb("3.50")),
            weighed_on: None,
        }),
    })
}

fn lb(decimal: &str) -> v1::Reading {
    v1::Reading {
        decimal: decimal.to_owned(),
        unit: v1::WeightUnit::Lb.into(),
        ..v1::Reading::default()
    }
}

/// 38.50 lb of 40 fish, at 5.50 a pound.
fn a_tote_of_fish() -> v1::RecordWeighInRequest {
    v1::RecordWeighInRequest {
        request_id: id(),
        site: 1,
        harvester: "diver-1".to_owned(),
        lots: vec![v1::LotIn {
            species: "PZO".to_owned(),
            presentation: v1::Presentation::Whole.into(),
            weighings: vec![v1::Weighing {
                grade: "A".to_owned(),
                condition: v1::Condition::Clean.into(),
                weighed: Some(weighing::Weighed::Tote(v1::ToteWeighing {
                    gross: Some(lb("42.00")),
                    tare: Some(tote_weighing::Tare::TareReading(lb("3.50"))),
                    pieces: Some(40),
                    ..v1::ToteWeighing::default()
                })),
            }],
            ..v1::LotIn::default()
        }],
        confirmation: v1::Confirmation::ByDiver.into(),
        ..v1::RecordWeighInRequest::default()
    }
}

fn in_tote(code: &str) -> v1::RecordWeighInRequest {
    let mut request = a_tote_of_fish();
    if let Some(weighing::Weighed::Tote(tote)) = &mut request.lots[0].weighings[0].weighed {
        tote.tare = Some(tote_weighing::Tare::Tote(code.to_owned()));
    }
    request
}

fn word_of_begin(device: &str, queued: i32) -> v1::CatchUpRequest {
    let (request_id, device) = (id(), device.to_owned());
    v1::CatchUpRequest {
        item: Some(Item::Open(v1::CatchUpOpen {
            request_id,
            site: 1,
            device,
            queued,
        })),
    }
}

fn word_of_end() -> v1::CatchUpRequest {
    v1::CatchUpRequest {
        item: Some(Item::Drained(v1::CatchUpDrained { request_id: id() })),
    }
}

#[tokio::test]
async fn a_ticket_says_what_was_weighed_and_what_is_paid() {
    let dock = Dock::ready().await;
    let ticket = dock.weigh_in(a_tote_of_fish()).await.unwrap();
    let line = &ticket.lines[0];
    // 42.00 - 3.50 = 38.50 lb; 38.50 x 5.50 = 211.75; a pound is 453.59237 g
    // (NIST Handbook 44, appendix C).
    let net = line.net.as_ref().unwrap();
    assert_eq!(
        (net.grams.as_str(), net.shown.as_str()),
        ("17463.30624500", "38.50")
    );
    assert_eq!(line.amount.as_ref().unwrap().amount_minor, 21_175);
    assert_eq!(ticket.payout, line.amount);
    assert_eq!(line.undersize, i32::from(v1::Undersize::No));
    assert_eq!((line.held, line.hold_id.as_str()), (false, ""));
    assert_eq!(ticket.day, Some(DAY));
    assert_eq!(ticket.pay_day, None, "it was not entered late");
    assert_eq!(
        line.lot_code,
        format!("{}1", ticket.id),
        "a code is the ticket's id and a place"
    );
    assert_eq!(ticket.lots[0].lot_code, line.lot_code);
    let read = ticket.lots[0].weighed[0].as_written.as_ref().unwrap();
    let Some(weighing::Weighed::Tote(tote)) = &read.weighed else {
        panic!("{read:?}")
    };
    assert_eq!(tote.gross.as_ref().unwrap().decimal, "42.00");

    let asked = v1::GetTicketRequest {
        ticket: ticket.id.clone(),
    };
    let found = dock.intake().get_ticket(asked).await.unwrap().into_inner();
    let mut found = found.ticket.unwrap();
    // What is worked out since: until when it can be disputed.
    assert!(found.dispute_until.take().is_some());
    assert_eq!(found, ticket);
    dock.close().await;
}

#[tokio::test]
async fn fish_held_at_the_dock_can_be_released_by_the_id_its_line_shows() {
    let dock = Dock::ready().await;
    let mut request = a_tote_of_fish();
    request.lots[0].receiving = Some(v1::Receiving {
        decision: v1::Decision::Hold.into(),
        reason: "warm".to_owned(),
        ..v1::Receiving::default()
    });
    let ticket = dock.weigh_in(request).await.unwrap();
    assert_eq!(ticket.lines[0].hold_id, format!("{}-1", ticket.id));
    let released = dock
        .catch_up(vec![deed(Deed::Release(v1::ReleaseHoldRequest {
            request_id: id(),
            hold_id: ticket.lines[0].hold_id.clone(),
            reason: "cooled".to_owned(),
            happened_at: None,
        }))])
        .await;
    assert_eq!(released[0].code, 0, "{released:?}");
    dock.close().await;
}

#[tokio::test]
async fn a_refusal_says_its_code_its_reason_and_its_field() {
    let dock = Dock::ready().await;
    let of = |change: fn(&mut v1::RecordWeighInRequest)| {
        let mut request = a_tote_of_fish();
        change(&mut request);
        request
    };
    for (request, code, reason, field) in [
        (
            of(|r| r.lots[0].weighings[0].grade = "a".to_owned()),
            Code::InvalidArgument,
            "INVALID_FIELD",
            "lots[0].weighings[0].grade",
        ),
        (
            of(|r| r.site = 2),
            Code::InvalidArgument,
            "UNKNOWN_ID",
            "site",
        ),
        (
            of(|r| r.harvester = "nobody".to_owned()),
            Code::InvalidArgument,
            "UNKNOWN_ID",
            "harvester",
        ),
    ] {
        let status = dock.weigh_in(request).await.unwrap_err();
        assert_eq!(status.code(), code, "{status:?}");
        let details = status.get_error_details();
        assert_eq!(details.error_info().unwrap().reason, reason);
        assert_eq!(
            details.bad_request().unwrap().field_violations[0].field,
            field
        );
    }

    let ticket = "2031050200019999999".to_owned();
    let missing = dock
        .intake()
        .get_ticket(v1::GetTicketRequest { ticket })
        .await
        .unwrap_err();
    assert_eq!(missing.code(), Code::NotFound);
    assert_eq!(
        missing.get_error_details().error_info().unwrap().domain,
        "weighhouse"
    );

    let first = a_tote_of_fish();
    let ticket = dock.weigh_in(first.clone()).await.unwrap();
    assert_eq!(
        dock.weigh_in(first.clone()).await.unwrap(),
        ticket,
        "a repeat is answered alike"
    );
    let other = v1::RecordWeighInRequest {
        note: "another".to_owned(),
        ..first
    };
    let reused = dock.weigh_in(other).await.unwrap_err();
    assert_eq!(reused.code(), Code::AlreadyExists);
    dock.close().await;
}

#[tokio::test]
async fn a_request_above_four_mebibytes_is_refused_before_it_is_read() {
    let dock = Dock::ready().await;
    let mut request = a_tote_of_fish();
    request.note = "n".repeat(4 * 1024 * 1024);
    assert_eq!(
        dock.weigh_in(request).await.unwrap_err().code(),
        Code::OutOfRange
    );
    dock.close().await;
}

#[tokio::test]
async fn lists_are_given_page_by_page() {
    let dock = Dock::ready().await;
    let totes = ["blue", "grey", "red"].map(tote).map(deed).to_vec();
    dock.catch_up(totes).await;
    let mut asked = v1::ListTotesRequest {
        site: 1,
        page_size: 2,
        page_token: String::new(),
    };
    let first = dock
        .office()
        .list_totes(asked.clone())
        .await
        .unwrap()
        .into_inner();
    asked.page_token = first.next_page_token;
    let second = dock
        .office()
        .list_totes(asked.clone())
        .await
        .unwrap()
        .into_inner();
    let codes = |totes: &[v1::Tote]| totes.iter().map(|t| t.code.clone()).collect::<Vec<_>>();
    assert_eq!(codes(&first.totes), ["blue", "grey"]);
    assert_eq!(codes(&second.totes), ["red"]);
    assert_eq!(second.next_page_token, "");

    let elsewhere = v1::ListScalesRequest {
        site: 1,
        page_size: 2,
        page_token: asked.page_token,
    };
    let refused = dock.office().list_scales(elsewhere).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);

    let mut booked = Vec::new();
    for _ in 0..3 {
        booked.push(dock.weigh_in(a_tote_of_fish()).await.unwrap().id);
    }
    let mut asked = v1::ListTicketsRequest {
        site: 1,
        from: Some(DAY),
        to: Some(Date { day: 3, ..DAY }),
        page_size: 2,
        ..v1::ListTicketsRequest::default()
    };
    let mut listed = Vec::new();
    loop {
        let page = dock
            .intake()
            .list_tickets(asked.clone())
            .await
            .unwrap()
            .into_inner();
        listed.extend(page.tickets.into_iter().map(|ticket| ticket.id));
        if page.next_page_token.is_empty() {
            break;
        }
        asked.page_token = page.next_page_token;
    }
    assert_eq!(listed, booked);
    asked.to = Some(Date { year: 2033, ..DAY });
    let refused = dock.intake().list_tickets(asked).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
    dock.close().await;
}

#[tokio::test]
async fn outcomes_come_in_the_order_of_the_deeds_and_a_bad_one_ends_nothing() {
    let dock = Dock::ready().await;
    let mut items: Vec<v1::CatchUpRequest> = Vec::new();
    // More than are under way together, so that the stream waits for room.
    items.extend((0..300).map(|_| deed(Deed::WeighIn(a_tote_of_fish()))));
    items.push(deed(Deed::WeighIn(in_tote("grey"))));
    items.push(v1::CatchUpRequest { item: None });
    items.push(deed(Deed::WeighIn(v1::RecordWeighInRequest::default())));
    items.push(deed(tote("grey")));
    items.push(deed(Deed::WeighIn(in_tote("grey"))));
    let ids = |item: &v1::CatchUpRequest| match &item.item {
        Some(Item::Deed(v1::Deed {
            deed: Some(Deed::WeighIn(r)),
        })) => r.request_id.clone(),
        Some(Item::Deed(v1::Deed {
            deed: Some(Deed::Tote(r)),
        })) => r.request_id.clone(),
        _ => String::new(),
    };
    let sent: Vec<String> = items.iter().map(ids).collect();

    let outcomes = dock.catch_up(items.clone()).await;
    let told: Vec<&str> = outcomes.iter().map(|o| o.request_id.as_str()).collect();
    assert_eq!(told, sent, "in order");
    let (booked, odd) = outcomes.split_at(300);
    assert!(
        booked
            .iter()
            .all(|o| o.code == 0 && o.ticket.is_some() && o.recorded.is_some())
    );
    let bad = i32::from(Code::InvalidArgument);
    // The tote was put on file after the first weigh-in that names it, and
    // before the second.
    let rest: Vec<(i32, &str, &str)> = odd
        .iter()
        .map(|o| (o.code, o.reason.as_str(), o.field.as_str()))
        .collect();
    assert_eq!(
        rest,
        [
            (bad, "UNKNOWN_TOTE", "lots[0].weighings[0].tote.tote"),
            (bad, "MISSING_FIELD", "item"),
            (bad, "MISSING_FIELD", "request_id"),
            (0, "", ""),
            (0, "", ""),
        ]
    );

    // Everything again: what was booked is answered alike, and the rest is
    // booked now that it can be.
    let again = dock.catch_up(items).await;
    // But for the one word that it was booked before.
    let repeated = |outcomes: &[v1::CatchUpResponse]| -> Vec<v1::CatchUpResponse> {
        let outcomes = outcomes.iter().cloned();
        let repeated = outcomes.map(|outcome| v1::CatchUpResponse {
            booked_before: outcome.code == 0,
            ..outcome
        });
        repeated.collect()
    };
    assert_eq!(again[..300], repeated(&outcomes[..300]));
    assert!(outcomes.iter().all(|outcome| !outcome.booked_before));
    assert_eq!(again[300].code, 0, "{:?}", again[300]);
    assert!(!again[300].booked_before, "{:?}", again[300]);
    assert_eq!(again[304..305], repeated(&outcomes[304..305]));
    dock.close().await;
}

#[tokio::test]
async fn a_device_opens_and_drains_and_an_unknown_one_is_told_so() {
    let dock = Dock::ready().await;
    let mut items = vec![word_of_begin("phone", 201)];
    items.extend((0..200).map(|_| deed(Deed::WeighIn(a_tote_of_fish()))));
    items.push(deed(Deed::WeighIn(v1::RecordWeighInRequest::default())));
    items.push(word_of_end());
    let outcomes = dock.catch_up(items).await;
    let (refused, booked): (Vec<_>, Vec<_>) = outcomes.iter().partition(|o| o.code != 0);
    assert_eq!(
        booked.len(),
        202,
        "the device's two words and its weigh-ins"
    );
    assert!(booked.iter().all(|o| o.recorded.is_some()));
    assert_eq!(refused[0].code, i32::from(Code::InvalidArgument));
    // The last word waits for all before it, and a refusal is an answer.
    assert_eq!(said_by(&dock, "phone").await, [(201, 0), (201, 201)]);

    let outcomes = dock
        .catch_up(vec![word_of_begin("radio", 0), word_of_end()])
        .await;
    let told: Vec<(&str, &str)> = outcomes
        .iter()
        .map(|o| (o.reason.as_str(), o.field.as_str()))
        .collect();
    assert_eq!(
        told,
        [("UNKNOWN_ID", "open.device"), ("INVALID_FIELD", "drained")]
    );
    let mut open = word_of_begin("phone", -1);
    let outcomes = dock.catch_up(vec![open.clone()]).await;
    assert_eq!(outcomes[0].field, "open.queued");
    if let Some(Item::Open(open)) = &mut open.item {
        open.request_id.clear();
    }
    assert_eq!(dock.catch_up(vec![open]).await[0].field, "open.request_id");
    dock.close().await;
}

/// What a device said of its queue: queued and resolved, in order.
async fn said_by(dock: &Dock, device: &str) -> Vec<(i64, i64)> {
    let mut tx = dock.db.read().await.unwrap();
    let sql = "SELECT queued, resolved FROM device_word WHERE device = ? ORDER BY entry";
    let rows = tx.fetch(sql, &[device.into()]).await.unwrap();
    rows.iter().map(|row| (row.int(0), row.int(1))).collect()
}

/// Items without end, each a weigh-in that is refused at the door, counted as
/// they are taken.
fn counted(taken: Arc<AtomicUsize>) -> impl Stream<Item = v1::CatchUpRequest> {
    let refused = v1::RecordWeighInRequest {
        site: 1,
        note: "n".repeat(4096),
        ..v1::RecordWeighInRequest::default()
    };
    tokio_stream::iter(0..40_000).map(move |_| {
        taken.fetch_add(1, Ordering::Relaxed);
        deed(Deed::WeighIn(refused.clone()))
    })
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slow_reader_slows_its_stream_down() {
    let dock = Dock::ready().await;
    let channel = endpoint(dock.address)
        .initial_stream_window_size(65_535)
        .initial_connection_window_size(65_535)
        .connect()
        .await
        .unwrap();
    let taken = Arc::new(AtomicUsize::new(0));
    let mut intake = IntakeServiceClient::new(dock.with_key(channel));
    let mut outcomes = intake
        .catch_up(counted(Arc::clone(&taken)))
        .await
        .unwrap()
        .into_inner();
    outcomes.message().await.unwrap().unwrap();
    // Nobody reads on. What is taken meanwhile fits the windows and channels
    // between, however long it is left; a stream without a bound takes it all.
    let mut before = 0;
    while before != taken.load(Ordering::Relaxed) {
        before = taken.load(Ordering::Relaxed);
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
    assert!(
        before < 20_000,
        "{before} of 40000 deeds were taken, and one outcome read"
    );
    for _ in 1..40_000 {
        assert_eq!(
            outcomes.message().await.unwrap().unwrap().field,
            "request_id"
        );
    }
    assert!(outcomes.message().await.unwrap().is_none());
    drop((outcomes, intake));
    dock.close().await;
}

#[tokio::test]
async fn health_and_reflection_know_every_service() {
    let dock = Dock::open().await;
    let mut health = HealthClient::new(dock.channel.clone());
    let services = [
        "weighhouse.v1.ClockService",
        "weighhouse.v1.CloseService",
        "weighhouse.v1.IntakeService",
        "weighhouse.v1.OfficeService",
        "weighhouse.v1.SettlementService",
        "weighhouse.v1.StatementService",
        "weighhouse.v1.StockService",
        "weighhouse.v1.YieldService",
    ];
    for service in [""].iter().chain(&services) {
        let asked = HealthCheckRequest {
            service: (*service).to_owned(),
        };
        let status = health.check(asked).await.unwrap().into_inner().status;
        assert_eq!(status, 1, "{service} is SERVING");
    }
    let asked = HealthCheckRequest {
        service: "weighhouse.v1.NoService".to_owned(),
    };
    // An unknown service is NOT_FOUND: the gRPC health checking protocol.
    assert_eq!(
        health.check(asked).await.unwrap_err().code(),
        Code::NotFound
    );

    macro_rules! reflected {
        ($version:ident) => {{
            use tonic_reflection::pb::$version::ServerReflectionRequest;
            use tonic_reflection::pb::$version::server_reflection_client::ServerReflectionClient;
            use tonic_reflection::pb::$version::server_reflection_request::MessageRequest;
            use tonic_reflection::pb::$version::server_reflection_response::MessageResponse;
            let ask = |request| ServerReflectionRequest {
                host: String::new(),
                message_request: Some(request),
            };
            let asked = vec![
                ask(MessageRequest::ListServices(String::new())),
                ask(MessageRequest::FileContainingSymbol(
                    "google.rpc.BadRequest".to_owned(),
                )),
                ask(MessageRequest::FileContainingSymbol(
                    "weighhouse.v1.Ticket".to_owned(),
                )),
            ];
            let mut client = ServerReflectionClient::new(dock.channel.clone());
            let answers = client
                .server_reflection_info(tokio_stream::iter(asked))
                .await
                .unwrap();
            let answers = answers
                .into_inner()
                .collect::<Result<Vec<_>, Status>>()
                .await
                .unwrap();
            let answers: Vec<_> = answers
                .into_iter()
                .map(|answer| answer.message_response.unwrap())
                .collect();
            let MessageResponse::ListServicesResponse(list) = &answers[0] else {
                panic!("{answers:?}")
            };
            let names: Vec<&str> = list.service.iter().map(|s| s.name.as_str()).collect();
            for service in services.iter().chain(&["grpc.health.v1.Health"]) {
                assert!(names.contains(service), "{service} in {names:?}");
            }
            for answer in &answers[1..] {
                let file = matches!(answer, MessageResponse::FileDescriptorResponse(_));
                assert!(file, "{answer:?}");
            }
        }};
    }
    reflected!(v1);
    reflected!(v1alpha);
    dock.close().await;
}

#[tokio::test]
async fn a_stop_is_said_and_finishes_what_was_begun() {
    let mut dock = Dock::ready().await;
    let mut health = HealthClient::new(dock.channel.clone());
    let asked = HealthCheckRequest {
        service: String::new(),
    };
    let mut watch = health.watch(asked).await.unwrap().into_inner();
    assert_eq!(watch.message().await.unwrap().unwrap().status, 1, "SERVING");

    let (send, items) = mpsc::channel(8);
    let mut intake = dock.intake();
    send.send(deed(Deed::WeighIn(a_tote_of_fish())))
        .await
        .unwrap();
    let mut outcomes = intake
        .catch_up(ReceiverStream::new(items))
        .await
        .unwrap()
        .into_inner();
    assert_eq!(outcomes.message().await.unwrap().unwrap().code, 0);

    dock.stop.take().unwrap().send(()).unwrap();
    assert_eq!(
        watch.message().await.unwrap().unwrap().status,
        2,
        "NOT_SERVING"
    );
    // The sender would go on for ever; it is told to come again.
    let told = outcomes.message().await.unwrap_err();
    assert_eq!(told.code(), Code::Unavailable, "{told:?}");
    drop((watch, outcomes, intake, health, send));

    let address = dock.address;
    tokio::time::timeout(Duration::from_secs(5), dock.close())
        .await
        .expect("nothing is left to wait for");
    assert!(
        endpoint(address).connect().await.is_err(),
        "the port is closed"
    );
}

#[tokio::test]
async fn more_numbers_than_the_day_has_left_are_refused_with_the_field_and_the_rule() {
    let dock = Dock::ready().await;
    let asks = |count| v1::RequestCodesRequest {
        request_id: Uuid::new_v4().to_string(),
        site: 1,
        device: "phone".to_owned(),
        count,
    };
    let sql = "UPDATE head SET next = ? WHERE site = ? AND day = ?";
    let head = [9_999_990, 1, 20_310_502].map(books::Val::Int);
    let mut tx = dock.db.write().await.unwrap();
    tx.execute(sql, &head).await.unwrap();
    tx.commit().await.unwrap();
    let mut codes = v1::codes_service_client::CodesServiceClient::new(dock.keyed());
    let status = codes.request_codes(asks(10)).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition, "{status:?}");
    let details = status.get_error_details();
    let info = details.error_info().unwrap();
    assert_eq!(info.reason, "DAY_FULL");
    assert_eq!(info.metadata["field"], "count");
    assert!(
        status.message().contains("10 entry numbers left"),
        "{status}"
    );
    // What fits is still given.
    codes.request_codes(asks(9)).await.unwrap();
    drop(codes);
    dock.close().await;
}
