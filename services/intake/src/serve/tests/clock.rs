//! A machine's clock that is set back or on while the service runs.
//!
//! What callers see: nothing that happened is refused. A ticket is priced, and stands
//! on the business day, by what the clock shows when it comes in; a device that says
//! when it read and when it sent is corrected by the difference of the two, whatever
//! the service's clock shows. "Recorded" alone never goes back: after the clock was set
//! back it stands still within a day until the clock has caught up. A key ends by what
//! the clock shows.

use std::sync::atomic::AtomicI64;

use proto::v1::audit_service_client::AuditServiceClient;
use proto::v1::clock_service_client::ClockServiceClient;
use proto::v1::key_service_client::KeyServiceClient;
use proto::v1::stock_service_client::StockServiceClient;

use super::*;

const MINUTE_US: i64 = 60_000_000;
const HOUR_US: i64 = 60 * MINUTE_US;

/// A dock whose machine's clock is set by hand.
struct Set {
    dock: Dock,
    now_us: Arc<AtomicI64>,
}

impl Set {
    async fn at(now_us: i64) -> Set {
        let now_us = Arc::new(AtomicI64::new(now_us));
        let read = Arc::clone(&now_us);
        let clock = Clock::Machine(Arc::new(move || read.load(Ordering::SeqCst)));
        let dock = Dock::by(clock).await.with_an_office().await;
        Set { dock, now_us }
    }

    fn to(&self, now_us: i64) {
        self.now_us.store(now_us, Ordering::SeqCst);
    }

    async fn weigh_in(&self) -> v1::Ticket {
        self.dock.weigh_in(a_tote_of_fish()).await.unwrap()
    }

    /// Weighed in by a device with a clock of its own, half a minute before it sent.
    async fn weigh_in_by_a_device(&self, sent_us: i64) -> v1::Ticket {
        let mut request = a_tote_of_fish();
        request.first_reading_at = Some(at(sent_us - MINUTE_US / 2));
        request.sent_at = Some(at(sent_us));
        self.dock.weigh_in(request).await.unwrap()
    }

    async fn void(&self, ticket: &v1::Ticket) {
        let request = v1::VoidTicketRequest {
            request_id: id(),
            ticket: ticket.id.clone(),
            reason: "wrong diver".to_owned(),
        };
        self.dock.intake().void_ticket(request).await.unwrap();
    }

    fn stock(&self) -> StockServiceClient<Keyed> {
        StockServiceClient::new(self.dock.keyed())
    }

    /// Sells ten pounds of a ticket's fish, now.
    async fn sell(&self, ticket: &v1::Ticket) {
        let line = &ticket.lines[0];
        let request = v1::RecordMovementRequest {
            request_id: id(),
            site: 1,
            outlet: v1::Outlet::Discard.into(),
            reason: "smells".to_owned(),
            taken: vec![v1::Taken {
                part: Some(v1::PartRef {
                    lot_code: line.lot_code.clone(),
                    part: Some(line.part),
                }),
                weight: Some(lb("10.00")),
                emptied: false,
            }],
            ..v1::RecordMovementRequest::default()
        };
        self.stock().record_movement(request).await.unwrap();
    }

    /// Entries of a day in the order of their numbers: their kinds, and that "recorded"
    /// never goes back in it.
    async fn kinds(&self, day: Date) -> Vec<String> {
        let request = v1::ListEntriesRequest {
            site: 1,
            day: Some(day),
            page_size: 200,
            page_token: String::new(),
        };
        let mut audit = AuditServiceClient::new(self.dock.keyed());
        let entries = audit.list_entries(request).await.unwrap().into_inner();
        let entries = entries.entries;
        let recorded: Vec<i64> = entries
            .iter()
            .map(|entry| us(entry.recorded_at.as_ref()))
            .collect();
        assert!(recorded.is_sorted(), "{recorded:?}");
        entries.into_iter().map(|entry| entry.kind).collect()
    }
}

fn at(us: i64) -> prost_types::Timestamp {
    crate::answer::timestamp(us)
}

fn us(at: Option<&prost_types::Timestamp>) -> i64 {
    let at = at.unwrap();
    at.seconds * 1_000_000 + i64::from(at.nanos) / 1000
}

fn priced(ticket: &v1::Ticket) -> i64 {
    us(ticket.priced_at.as_ref())
}

fn day(ticket: &v1::Ticket) -> (i32, i32) {
    let day = ticket.day.unwrap();
    (day.month, day.day)
}

#[tokio::test]
async fn an_hour_on_and_back_refuses_nothing_and_recorded_never_goes_back() {
    let set = Set::at(NOW_US).await;
    let right = set.weigh_in().await;
    set.to(NOW_US + HOUR_US);
    let ahead = set.weigh_in().await;
    // Its own clock is right; the service's is an hour ahead.
    let by_device = set.weigh_in_by_a_device(NOW_US + MINUTE_US).await;
    set.to(NOW_US + 2 * MINUTE_US);
    let back = set.weigh_in().await;
    let by_device_back = set.weigh_in_by_a_device(NOW_US + 2 * MINUTE_US).await;

    let prices = [&right, &ahead, &by_device, &back, &by_device_back].map(priced);
    let expected = [
        NOW_US,
        NOW_US + HOUR_US,
        NOW_US + HOUR_US - MINUTE_US / 2,
        NOW_US + 2 * MINUTE_US,
        NOW_US + 2 * MINUTE_US - MINUTE_US / 2,
    ];
    assert_eq!(prices, expected);
    let recorded = [&right, &ahead, &by_device, &back, &by_device_back]
        .map(|ticket| us(ticket.recorded_at.as_ref()));
    let still = NOW_US + HOUR_US;
    assert_eq!(recorded, [NOW_US, still, still, still, still]);

    // Fish that was weighed in "later" by the clock that was wrong goes out now.
    set.sell(&ahead).await;
    set.sell(&by_device).await;
    set.void(&back).await;
    let kinds = set.kinds(DAY).await;
    let weighed = kinds.iter().filter(|kind| *kind == "weigh_in").count();
    assert_eq!(weighed, 5);
    assert_eq!(kinds[kinds.len() - 3..], ["movement", "movement", "void"]);
    for ticket in [&right, &ahead, &by_device, &back] {
        assert_eq!(day(ticket), (5, 2));
        assert_eq!(ticket.pay_day, None, "nothing of it is late");
    }
    set.dock.close().await;
}

#[tokio::test]
async fn a_price_holds_from_its_instant_by_what_the_clock_shows_then() {
    let set = Set::at(NOW_US).await;
    set.weigh_in().await;
    let Some(Deed::PriceList(mut list)) = office().into_iter().next_back() else {
        panic!("the office ends with its prices")
    };
    list.request_id = id();
    let of = list.price_list.as_mut().unwrap();
    of.effective_from = Some(at(NOW_US + HOUR_US / 2));
    of.presentations[0].grades[0].bands[1].price = "9.00".to_owned();
    set.dock.office().post_price_list(list).await.unwrap();
    let mut paid = Vec::new();
    for now_us in [NOW_US + HOUR_US, NOW_US + MINUTE_US, NOW_US + HOUR_US / 2] {
        set.to(now_us);
        let ticket = set.weigh_in().await;
        paid.push(ticket.lines[0].price.clone().unwrap().decimal);
    }
    assert_eq!(paid, ["9.00", "5.50", "9.00"]);
    set.dock.close().await;
}

#[tokio::test]
async fn set_back_over_the_cut_over_the_day_before_goes_on_and_what_is_late_is_late() {
    // 04:30 at the dock, half an hour into May 3rd.
    let morning_us = NOW_US + 18 * HOUR_US + HOUR_US / 2;
    let set = Set::at(NOW_US).await;
    set.to(morning_us);
    let of_the_third = set.weigh_in().await;
    set.to(morning_us - HOUR_US);
    let of_the_second = set.weigh_in().await;
    assert_eq!([day(&of_the_third), day(&of_the_second)], [(5, 3), (5, 2)]);
    assert_eq!([of_the_third.pay_day, of_the_second.pay_day], [None, None]);
    // Taken back while the clock shows the day before it: not late, and not before it.
    set.void(&of_the_third).await;
    let third = Date { day: 3, ..DAY };
    assert_eq!(set.kinds(third).await, ["weigh_in", "void"]);
    set.to(morning_us + MINUTE_US);
    let late = set.weigh_in_late(morning_us - 2 * HOUR_US).await;
    assert_eq!((day(&late), late.pay_day), ((5, 2), Some(third)));
    set.kinds(DAY).await;
    set.dock.close().await;
}

impl Set {
    /// Of a reading that a device says was so long ago, sent now.
    async fn weigh_in_late(&self, first_us: i64) -> v1::Ticket {
        let mut request = a_tote_of_fish();
        request.first_reading_at = Some(at(first_us));
        request.sent_at = Some(at(self.now_us.load(Ordering::SeqCst)));
        self.dock.weigh_in(request).await.unwrap()
    }
}

/// Daylight saving of New York, as the IANA time zone database has it: back on
/// 2031-11-02 at 06:00 UTC, on again on 2032-03-14 at 07:00 UTC. The day changes at 4.
#[tokio::test]
async fn over_a_change_of_daylight_saving_each_instant_has_its_day_also_set_back_an_hour() {
    let set = Set::at(NOW_US).await;
    // 2031-11-02 00:00 UTC and 2032-03-14 00:00 UTC.
    let (autumn, spring) = (1_951_344_000_000_000, 1_962_835_200_000_000);
    let cases = [
        // Half past one comes twice; both are of the night before.
        (autumn + 5 * HOUR_US + HOUR_US / 2, (11, 1)),
        (autumn + 6 * HOUR_US + HOUR_US / 2, (11, 1)),
        (autumn + 9 * HOUR_US - 1, (11, 1)),
        (autumn + 9 * HOUR_US, (11, 2)),
        // Set back an hour.
        (autumn + 8 * HOUR_US, (11, 1)),
        (autumn + 9 * HOUR_US, (11, 2)),
        // Half past two does not come at all.
        (spring + 7 * HOUR_US - 1, (3, 13)),
        (spring + 7 * HOUR_US, (3, 13)),
        (spring + 8 * HOUR_US - 1, (3, 13)),
        (spring + 8 * HOUR_US, (3, 14)),
        (spring + 7 * HOUR_US, (3, 13)),
        (spring + 8 * HOUR_US, (3, 14)),
    ];
    for (now_us, expected) in cases {
        set.to(now_us);
        let ticket = set.weigh_in().await;
        assert_eq!((priced(&ticket), day(&ticket)), (now_us, expected));
        assert_eq!(ticket.pay_day, None, "{now_us}");
    }
    for (year, month, day, weighed) in [(2031, 11, 1, 4), (2031, 11, 2, 2), (2032, 3, 14, 2)] {
        let kinds = set.kinds(Date { year, month, day }).await;
        assert_eq!(kinds.len(), weighed, "{year}-{month}-{day}: {kinds:?}");
    }
    set.dock.close().await;
}

#[tokio::test]
async fn a_key_ends_by_what_the_clock_shows() {
    let set = Set::at(NOW_US).await;
    let request = v1::IssueKeyRequest {
        request_id: id(),
        name: "tablet".to_owned(),
        role: v1::Role::Office.into(),
        expires_at: Some(at(NOW_US + HOUR_US / 2)),
        ..v1::IssueKeyRequest::default()
    };
    let mut keys = KeyServiceClient::new(set.dock.keyed());
    let secret = keys.issue_key(request).await.unwrap().into_inner().secret;
    let bearer = Bearer(format!("Bearer {secret}").parse().unwrap());
    let works = async || {
        let channel = InterceptedService::new(set.dock.channel.clone(), bearer.clone());
        let mut client = ClockServiceClient::new(channel);
        match client.get_clock(v1::GetClockRequest {}).await {
            Ok(_) => true,
            Err(status) => {
                assert_eq!(status.code(), Code::Unauthenticated, "{status:?}");
                false
            }
        }
    };
    let mut seen = Vec::new();
    for now_us in [
        NOW_US,
        NOW_US + HOUR_US / 2 - 1,
        NOW_US + HOUR_US / 2,
        NOW_US + HOUR_US,
        NOW_US + MINUTE_US,
    ] {
        set.to(now_us);
        seen.push(works().await);
    }
    // Set back, the clock shows an instant at which it had not ended.
    assert_eq!(seen, [true, true, false, false, true]);
    set.dock.close().await;
}
