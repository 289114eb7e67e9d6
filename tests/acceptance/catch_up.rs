//! Catching up: a stream of deeds that is cut, and sent again.

use proto::v1;
use proto::v1::catch_up_request::Item;
use proto::v1::intake_service_client::IntakeServiceClient;
use std::collections::BTreeMap;
use tokio_stream::StreamExt as _;

use crate::harness::{Keyed, Server, as_first_answered, fresh, harbor, one_tote};

fn deed(request: v1::RecordWeighInRequest) -> v1::CatchUpRequest {
    let deed = v1::Deed {
        deed: Some(v1::deed::Deed::WeighIn(request)),
    };
    v1::CatchUpRequest {
        item: Some(Item::Deed(deed)),
    }
}

async fn client(server: &Server) -> IntakeServiceClient<Keyed> {
    IntakeServiceClient::new(server.channel().await)
}

/// Every answer to a stream.
async fn send(server: &Server, items: Vec<v1::CatchUpRequest>) -> Vec<v1::CatchUpResponse> {
    let mut client = client(server).await;
    let answers = client
        .catch_up(tokio_stream::iter(items))
        .await
        .unwrap()
        .into_inner();
    answers.map(|answer| answer.unwrap()).collect().await
}

#[tokio::test]
async fn after_a_cut_what_was_answered_is_booked_and_sending_all_again_books_the_rest_once() {
    let server = harbor().await;
    let queue: Vec<_> = (0..60)
        .map(|i| one_tote(&format!("{}.00", 20 + i % 10), "4.00", 30))
        .collect();

    // The first stream is cut by killing the program after some answers.
    let items: Vec<_> = queue.iter().cloned().map(deed).collect();
    let mut answered = BTreeMap::new();
    {
        let mut client = client(&server).await;
        // Never-ending, so that only the kill ends it.
        let stream = tokio_stream::iter(items.clone()).chain(tokio_stream::pending());
        let mut answers = client.catch_up(stream).await.unwrap().into_inner();
        for _ in 0..20 {
            let answer = answers.next().await.unwrap().unwrap();
            assert_eq!(answer.code, 0, "{}", answer.message);
            answered.insert(answer.request_id, answer.ticket.unwrap());
        }
    }
    let server = server.kill_and_start_again();
    for ticket in answered.values() {
        let request = v1::GetTicketRequest {
            ticket: ticket.id.clone(),
        };
        let found = client(&server)
            .await
            .get_ticket(request)
            .await
            .unwrap()
            .into_inner();
        assert_eq!(
            found.ticket.map(as_first_answered).as_ref(),
            Some(ticket),
            "what was answered is booked"
        );
    }

    let answers = send(&server, items).await;
    assert_eq!(answers.len(), queue.len());
    for (asked, answer) in queue.iter().zip(&answers) {
        assert_eq!(answer.request_id, asked.request_id, "answers come in order");
        let ticket = answer.ticket.as_ref().unwrap();
        if let Some(first) = answered.get(&answer.request_id) {
            assert_eq!(ticket, first);
        }
    }
    let range = v1::ListTicketsRequest {
        site: 1,
        from: Some(proto::google::r#type::Date {
            year: 2031,
            month: 4,
            day: 28,
        }),
        to: Some(proto::google::r#type::Date {
            year: 2031,
            month: 4,
            day: 29,
        }),
        page_size: 200,
        ..Default::default()
    };
    let listed = client(&server)
        .await
        .list_tickets(range)
        .await
        .unwrap()
        .into_inner();
    assert_eq!(listed.tickets.len(), queue.len(), "each once");
}

#[tokio::test]
async fn a_bad_item_is_answered_and_does_not_end_the_stream() {
    let server = harbor().await;
    let mut bad = one_tote("4.00", "4.00", 30);
    bad.request_id = fresh();
    let items = vec![
        deed(one_tote("20.00", "4.00", 30)),
        deed(bad.clone()),
        v1::CatchUpRequest { item: None },
        deed(one_tote("21.00", "4.00", 30)),
    ];
    let answers = send(&server, items).await;
    let codes: Vec<i32> = answers.iter().map(|answer| answer.code).collect();
    assert_eq!(codes, [0, 3, 3, 0]);
    assert_eq!(answers[1].request_id, bad.request_id);
    assert!(
        answers[1].field.starts_with("lots[0].weighings[0]"),
        "{}",
        answers[1].field
    );
}

#[tokio::test]
async fn a_device_that_does_not_drain_leaves_a_gap_until_it_does() {
    let server = harbor().await;
    let open = |queued| v1::CatchUpRequest {
        item: Some(Item::Open(v1::CatchUpOpen {
            request_id: fresh(),
            site: 1,
            device: "dock-tablet".to_owned(),
            queued,
        })),
    };
    let drained = v1::CatchUpRequest {
        item: Some(Item::Drained(v1::CatchUpDrained {
            request_id: fresh(),
        })),
    };
    let answers = send(&server, vec![open(2), deed(one_tote("20.00", "4.00", 30))]).await;
    assert!(answers.iter().all(|answer| answer.code == 0), "{answers:?}");
    crate::harness::set_clock(&server, "2031-04-29T05:30:00-04:00").await;
    let night = server.night("2031-04-28", &["--json"]);
    let told = crate::harness::said(&night);
    assert!(told.contains("device_undrained"), "{told}");

    let answers = send(&server, vec![open(0), drained]).await;
    assert!(answers.iter().all(|answer| answer.code == 0), "{answers:?}");
    let again = server.night("2031-04-28", &["--json"]);
    let told = crate::harness::said(&again);
    assert!(!told.contains("device_undrained"), "{told}");
    assert_eq!(
        again.status.code(),
        Some(1),
        "the fish is still uncounted: {told}"
    );
}

#[tokio::test]
async fn a_stream_says_which_of_its_deeds_were_booked_before() {
    let server = harbor().await;
    let (first, second) = (one_tote("20.00", "4.00", 30), one_tote("21.00", "4.00", 30));
    let before = |answers: &[v1::CatchUpResponse]| {
        let answers = answers.iter();
        answers
            .map(|answer| answer.booked_before)
            .collect::<Vec<_>>()
    };
    // Weigh-ins side by side: which of two alike is booked first is open.
    let answers = send(&server, vec![deed(first.clone()), deed(first.clone())]).await;
    let n = answers.iter().filter(|answer| answer.booked_before).count();
    assert_eq!(n, 1, "{answers:?}");
    assert_eq!(answers[0].ticket, answers[1].ticket);
    let answers = send(&server, vec![deed(first.clone()), deed(second)]).await;
    assert_eq!(before(&answers), [true, false], "{answers:?}");
    // What is refused was not booked, whoever has the id.
    let other = v1::RecordWeighInRequest {
        note: "another".to_owned(),
        ..first
    };
    let answers = send(&server, vec![deed(other)]).await;
    assert_ne!(answers[0].code, 0);
    assert_eq!(before(&answers), [false], "{answers:?}");
}

#[tokio::test]
async fn a_stream_says_what_a_deeds_own_method_says_beside_its_answer() {
    let server = harbor().await;
    let tote = one_tote("44.00", "4.00", 50);
    let answer = server.service().await.record_weigh_in(tote).await.unwrap();
    let line = answer.ticket.unwrap().lines.remove(0);
    let sold = v1::RecordMovementRequest {
        request_id: fresh(),
        site: 1,
        taken: vec![v1::Taken {
            part: Some(v1::PartRef {
                lot_code: line.lot_code.clone(),
                part: Some(line.part),
            }),
            weight: Some(v1::Reading {
                decimal: "50.00".to_owned(),
                unit: v1::WeightUnit::Lb.into(),
                ..v1::Reading::default()
            }),
            ..v1::Taken::default()
        }],
        outlet: v1::Outlet::SoldWhole.into(),
        counterparty: "hill-kitchen".to_owned(),
        ..v1::RecordMovementRequest::default()
    };
    let item = v1::CatchUpRequest {
        item: Some(Item::Deed(v1::Deed {
            deed: Some(v1::deed::Deed::Movement(sold.clone())),
        })),
    };
    let answers = send(&server, vec![item]).await;
    assert_eq!(answers[0].code, 0, "{answers:?}");
    let by_method = server.service().await.record_movement(sold).await;
    assert!(!answers[0].notices.is_empty(), "{answers:?}");
    assert_eq!(answers[0].notices, by_method.unwrap().notices);
}
