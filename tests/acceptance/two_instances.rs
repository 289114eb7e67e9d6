//! Two instances of the program on one PostgreSQL book: nothing is booked twice,
//! nothing is spent twice, and what one puts on file the other goes by.

use proto::v1;
use proto::v1::intake_service_client::IntakeServiceClient;
use serde_json::{Value, json};
use tonic::Code;

use crate::harness::{Keyed, OFFICE, Server, fresh, message, one_tote, set_clock};

type Intake = IntakeServiceClient<Keyed>;

/// A book with the demo's office on file, and two programs on it.
struct Pair {
    book: books::testing::Book,
    one: Server,
    other: Server,
}

impl Pair {
    async fn start() -> Pair {
        let book = books::testing::Book::postgres().await;
        let one = Server::on(&book.url);
        let other = Server::on(&book.url);
        let mut week = client::week::Week::default();
        let way = client::week::Way::Unary;
        week.send(&one.service().await, "office.json", OFFICE, way)
            .await
            .unwrap();
        set_clock(&one, "2031-04-28T15:00:00-04:00").await;
        Pair { book, one, other }
    }

    async fn intakes(&self) -> [Intake; 2] {
        [
            IntakeServiceClient::new(self.one.channel().await),
            IntakeServiceClient::new(self.other.channel().await),
        ]
    }

    async fn end(self) {
        drop((self.one, self.other));
        self.book.remove().await;
    }
}

async fn tickets(client: &mut Intake) -> Vec<v1::Ticket> {
    let day = |day| {
        Some(proto::google::r#type::Date {
            year: 2031,
            month: 4,
            day,
        })
    };
    let range = v1::ListTicketsRequest {
        site: 1,
        from: day(28),
        to: day(29),
        page_size: 200,
        ..Default::default()
    };
    client
        .list_tickets(range)
        .await
        .unwrap()
        .into_inner()
        .tickets
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_a_weigh_in_sent_to_both_at_once_is_booked_once() {
    let pair = Pair::start().await;
    let [mut one, mut other] = pair.intakes().await;
    for pieces in 20..60 {
        let request = one_tote("44.00", "4.00", pieces);
        let (a, b) = tokio::join!(
            one.record_weigh_in(request.clone()),
            other.record_weigh_in(request)
        );
        assert_eq!(a.unwrap().into_inner(), b.unwrap().into_inner());
    }
    let listed = tickets(&mut one).await;
    assert_eq!(listed.len(), 40);
    assert_eq!(listed, tickets(&mut other).await);
    // The sequence of the day has no gap, whoever wrote.
    let numbers: Vec<i64> = listed.iter().map(|t| t.id[12..].parse().unwrap()).collect();
    assert_eq!(numbers, (1..=40).collect::<Vec<i64>>());
    pair.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_of_two_clerks_who_void_one_ticket_one_is_told_that_it_was() {
    let pair = Pair::start().await;
    let [mut one, mut other] = pair.intakes().await;
    for _ in 0..10 {
        let ticket = one
            .record_weigh_in(one_tote("44.00", "4.00", 50))
            .await
            .unwrap();
        let ticket = ticket.into_inner().ticket.unwrap().id;
        let void = |reason: &str| v1::VoidTicketRequest {
            request_id: fresh(),
            ticket: ticket.clone(),
            reason: reason.to_owned(),
        };
        let (a, b) = tokio::join!(
            one.void_ticket(void("one")),
            other.void_ticket(void("other"))
        );
        let refused: Vec<Code> = [a, b]
            .into_iter()
            .filter_map(|r| r.err().map(|status| status.code()))
            .collect();
        assert_eq!(refused, [Code::FailedPrecondition]);
    }
    pair.end().await;
}

/// The lionfish list of the demo with every price of its first band changed.
fn dearer(office: &str, price: &str, from: &str) -> v1::PostPriceListRequest {
    let steps: Vec<Value> = serde_json::from_str(office).unwrap();
    let list = steps
        .iter()
        .find(|step| step["deed"]["priceList"]["priceList"]["species"] == "PZO");
    let mut list = list.unwrap()["deed"]["priceList"]["priceList"].clone();
    list["effectiveFrom"] = json!(from);
    for presentation in list["presentations"].as_array_mut().unwrap() {
        for grade in presentation["grades"].as_array_mut().unwrap() {
            for band in grade["bands"].as_array_mut().unwrap() {
                band["price"] = json!(price);
            }
        }
    }
    message(json!({ "requestId": fresh(), "priceList": list }))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_a_price_list_posted_at_one_holds_at_the_other_from_its_instant_on() {
    let pair = Pair::start().await;
    let [_, mut other] = pair.intakes().await;
    // The other instance has priced by the old list and holds a copy of it.
    let before = other
        .record_weigh_in(one_tote("14.00", "4.00", 10))
        .await
        .unwrap();
    let before = before.into_inner().ticket.unwrap();
    let mut office = v1::office_service_client::OfficeServiceClient::new(pair.one.channel().await);
    let back_dated = dearer(OFFICE, "9.00", "2031-04-28T15:00:00-04:00");
    let status = office.post_price_list(back_dated).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
    let list = dearer(OFFICE, "9.00", "2031-04-28T15:05:00-04:00");
    office.post_price_list(list).await.unwrap();

    for (at, price) in [
        (
            "2031-04-28T15:04:59-04:00",
            before.lines[0].price.clone().unwrap().decimal,
        ),
        ("2031-04-28T15:05:00-04:00", "9.00".to_owned()),
    ] {
        set_clock(&pair.one, at).await;
        let ticket = other
            .record_weigh_in(one_tote("14.00", "4.00", 10))
            .await
            .unwrap();
        let line = ticket.into_inner().ticket.unwrap().lines.remove(0);
        assert_eq!(line.price.unwrap().decimal, price, "{at}");
    }
    pair.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_a_diver_put_on_file_at_one_is_known_at_the_other_at_once() {
    let pair = Pair::start().await;
    let [_, mut other] = pair.intakes().await;
    let mut office = v1::office_service_client::OfficeServiceClient::new(pair.one.channel().await);
    let party: v1::RecordPartyRequest = message(json!({
        "requestId": fresh(),
        "party": { "code": "new-diver", "name": "New Diver", "roles": ["PARTY_ROLE_HARVESTER"] }
    }));
    office.record_party(party).await.unwrap();
    let mut request = one_tote("44.00", "4.00", 50);
    request.harvester = "new-diver".to_owned();
    let ticket = other.record_weigh_in(request).await.unwrap().into_inner();
    assert_eq!(ticket.ticket.unwrap().harvester, "new-diver");
    let mut statements =
        v1::statement_service_client::StatementServiceClient::new(pair.other.channel().await);
    let day = |day| {
        Some(proto::google::r#type::Date {
            year: 2031,
            month: 4,
            day,
        })
    };
    let request = v1::GetStatementRequest {
        site: 1,
        party: "new-diver".to_owned(),
        from: day(28),
        to: day(29),
    };
    let told = statements
        .get_statement(request)
        .await
        .unwrap()
        .into_inner();
    assert_eq!(told.statement.unwrap().party_name, "New Diver");
    pair.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_held_fish_thrown_out_at_both_at_once_takes_its_pay_back_once() {
    use proto::v1::stock_service_client::StockServiceClient;
    let pair = Pair::start().await;
    let [mut intake, _] = pair.intakes().await;
    let mut one = StockServiceClient::new(pair.one.channel().await);
    let mut other = StockServiceClient::new(pair.other.channel().await);
    for _ in 0..6 {
        let mut request = one_tote("44.00", "4.00", 50);
        request.lots[0].receiving = Some(v1::Receiving {
            decision: v1::Decision::Hold.into(),
            reason: "warm".to_owned(),
            ..Default::default()
        });
        let ticket = intake.record_weigh_in(request).await.unwrap().into_inner();
        let line = ticket.ticket.unwrap().lines.remove(0);
        let discard = || -> v1::RecordMovementRequest {
            message(json!({
                "requestId": fresh(), "site": 1, "outlet": "OUTLET_DISCARD", "reason": "smells",
                "taken": [{
                    "part": { "lotCode": line.lot_code, "part": line.part },
                    "weight": { "decimal": "40.00", "unit": "WEIGHT_UNIT_LB" }
                }]
            }))
        };
        let (a, b) = tokio::join!(
            one.record_movement(discard()),
            other.record_movement(discard())
        );
        // Both happened and are booked; the pay was there to take back only once.
        assert!(a.is_ok() && b.is_ok(), "{a:?} {b:?}");
    }
    let mut statements =
        v1::statement_service_client::StatementServiceClient::new(pair.one.channel().await);
    let day = |day| {
        Some(proto::google::r#type::Date {
            year: 2031,
            month: 4,
            day,
        })
    };
    let request = v1::GetStatementRequest {
        site: 1,
        party: "wren-haldane".to_owned(),
        from: day(28),
        to: day(29),
    };
    let told = statements
        .get_statement(request)
        .await
        .unwrap()
        .into_inner()
        .statement
        .unwrap();
    let cents = |money: Option<v1::Money>| money.unwrap().amount_minor;
    assert_eq!((cents(told.owed_after), cents(told.held_after)), (0, 0));
    pair.end().await;
}
