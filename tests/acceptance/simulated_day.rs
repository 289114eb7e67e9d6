//! A day of a dock by chance: two clients send any deeds there are to two programs on
//! one book, with bad requests, repeats, streams that are dropped and programs that are
//! killed; then the nights are run, and what always holds is looked at.
//!
//! The seed is printed, and taken from `WEIGHHOUSE_TEST_SEED`; a seed that fails gets a
//! test of its own here, named for what was wrong.

use std::collections::{BTreeMap, BTreeSet};

use proto::v1;
use proto::v1::close_service_client::CloseServiceClient;
use proto::v1::deed::Deed;
use proto::v1::settlement_service_client::SettlementServiceClient;
use serde_json::{Value, json};

use crate::chance::{any_seed, begin, seeds};
use crate::dock::Dock;
use crate::double_entry;
use crate::harness::{Keyed, OFFICE, Server, said, set_clock};
use crate::ledger::{Ledger, Told, by_method, by_stream, cut_stream, entries};

/// Deeds of a client before the clock goes on.
const BATCH: usize = 24;

struct Day {
    servers: [Option<Server>; 2],
    docks: [Dock; 2],
    ledgers: [Ledger; 2],
    rounds: usize,
    bad: usize,
    kills: usize,
    cuts: usize,
}

/// The instant as `SetClock` reads it.
fn rfc3339(seconds: i64) -> String {
    prost_types::Timestamp { seconds, nanos: 0 }.to_string()
}

impl Day {
    async fn new(seed: u64, one: Server) -> Day {
        let other = Server::on(&one.book);
        let mut week = client::week::Week::default();
        let service = one.service().await;
        week.send(&service, "office.json", OFFICE, client::week::Way::Unary)
            .await
            .unwrap();
        set_clock(&one, "2031-04-28T15:00:00-04:00").await;
        let mut chance = begin(seed);
        // Neither client makes up the ids of the other.
        let other_seed = chance.between(0, i64::MAX) as u64;
        Day {
            servers: [Some(one), Some(other)],
            docks: [
                Dock::new(chance),
                Dock::new(crate::chance::Chance::from_seed(other_seed)),
            ],
            ledgers: [Ledger::default(), Ledger::default()],
            rounds: 0,
            bad: 0,
            kills: 0,
            cuts: 0,
        }
    }

    fn server(&self, n: usize) -> &Server {
        self.servers[n].as_ref().unwrap()
    }

    /// Both clients send at once, and something may go wrong.
    async fn round(&mut self) {
        let channels = [
            self.server(0).channel().await,
            self.server(1).channel().await,
        ];
        let mut batches = Vec::new();
        for (dock, ledger) in self.docks.iter_mut().zip(&self.ledgers) {
            let mut deeds = ledger.open();
            deeds.extend(dock.deeds(BATCH));
            if let Some(again) = dock.chance.one_of(&ledger.booked()) {
                deeds.push(again.clone());
            }
            if dock.chance.once_in(2) {
                deeds.push(dock.bad());
                self.bad += 1;
            }
            batches.push(deeds);
        }
        let chance = &mut self.docks[0].chance;
        let (way, drawn) = (chance.between(0, 4), chance.between(0, 8));
        // A kill and a cut come for sure, more of them by chance.
        let trouble = match self.rounds {
            3 => 0,
            5 => 1,
            _ => drawn,
        };
        self.rounds += 1;
        let after = chance.between(0, 30_000) as u64;
        let cut_at = chance.between(0, BATCH as i64) as usize;
        let killed = usize::from(chance.once_in(2));
        let first = async {
            match (trouble, way) {
                (1 | 2, _) => cut_stream(&channels[0], &batches[0], cut_at).await,
                (_, 0 | 1) => by_stream(&channels[0], &batches[0]).await,
                _ => by_method(&channels[0], &batches[0], 6).await,
            }
        };
        let second = async {
            if way % 2 == 0 {
                by_stream(&channels[1], &batches[1]).await
            } else {
                by_method(&channels[1], &batches[1], 6).await
            }
        };
        let server = &mut self.servers[killed];
        let killing = async {
            if trouble == 0 {
                tokio::time::sleep(std::time::Duration::from_micros(after)).await;
                server.as_mut().unwrap().kill();
            }
        };
        let (first, second, ()) = tokio::join!(first, second, killing);
        self.cuts += usize::from(matches!(trouble, 1 | 2));
        if trouble == 0 {
            self.kills += 1;
            let dead = self.servers[killed].take().unwrap();
            self.servers[killed] = Some(dead.start_again());
        }
        for (n, told) in [first, second].into_iter().enumerate() {
            self.learn(n, &batches[n], told);
        }
        let (minutes, now) = (self.docks[0].chance.between(1, 9), self.docks[0].now);
        self.clock_to(now + minutes * 60).await;
    }

    fn learn(&mut self, n: usize, deeds: &[Deed], told: Vec<Told>) {
        for (deed, booked) in self.ledgers[n].write(deeds, told) {
            self.docks[n].learn(&deed, &booked);
        }
    }

    async fn clock_to(&mut self, seconds: i64) {
        set_clock(self.server(0), &rfc3339(seconds)).await;
        for dock in &mut self.docks {
            dock.now = seconds;
        }
    }

    /// Nothing is left without an answer.
    async fn settle_what_is_open(&mut self) {
        for n in [0, 1] {
            let open = self.ledgers[n].open();
            let channel = self.server(n).channel().await;
            let told = by_stream(&channel, &open).await;
            self.learn(n, &open, told);
            assert_eq!(self.ledgers[n].open(), []);
        }
    }

    /// Each instance gives the other's first answers.
    async fn ask_everything_again_at_the_other(&mut self) {
        for n in [0, 1] {
            let channel = self.server(1 - n).channel().await;
            let booked = self.ledgers[n].booked();
            let told = by_method(&channel, &booked, 8).await;
            self.learn(n, &booked, told);
        }
    }

    /// Pays the diver with dues all that is open, as the office would.
    async fn settle_the_diver_in_debt(&mut self) {
        let channel = self.server(1).channel().await;
        let mut client = SettlementServiceClient::new(channel.clone());
        let preview = v1::PreviewSettlementRequest {
            site: 1,
            payee: "dell-farrow".to_owned(),
            scope: None,
        };
        let shown = client.preview_settlement(preview).await.unwrap();
        let paid = shown.into_inner().settlement.unwrap().paid.unwrap();
        let payments = match paid.amount_minor {
            0 => json!([]),
            cents => json!([{
                "method": "PAYMENT_METHOD_CURRENCY",
                "amount": { "amountMinor": cents.to_string(), "currency": "USD" }
            }]),
        };
        let id = self.docks[1].chance.id();
        let deed: v1::Deed = crate::harness::message(json!({ "settle": {
            "requestId": id, "site": 1, "payee": "dell-farrow", "payments": payments
        }}));
        let deeds = [deed.deed.unwrap()];
        let told = by_stream(&channel, &deeds).await;
        self.learn(1, &deeds, told);
    }

    async fn flags(&self) -> Vec<String> {
        let mut client = CloseServiceClient::new(self.server(0).channel().await);
        let request = v1::ListFlagsRequest {
            site: 1,
            page_size: 200,
            ..v1::ListFlagsRequest::default()
        };
        let flags = client.list_flags(request).await.unwrap().into_inner().flags;
        flags.into_iter().map(|flag| flag.key).collect()
    }

    /// The stored close of a day, run twice: the second finds nothing new and gives the
    /// same bytes.
    fn night(&self, day: &str) -> Value {
        let run = || {
            let night = self.server(1).night(day, &["--json"]);
            assert!(
                matches!(night.status.code(), Some(0 | 1)),
                "{}",
                said(&night)
            );
            night.stdout
        };
        let (first, second) = (run(), run());
        assert_eq!(
            String::from_utf8(first.clone()).unwrap(),
            String::from_utf8(second).unwrap()
        );
        serde_json::from_slice(&first).unwrap()
    }
}

/// The numbers of each day are used without a gap: by entries, by the blocks asked
/// ahead, and by what came late to it.
async fn heads_are_gapless(url: &str, entries: &[v1::Entry]) {
    let mut used: BTreeMap<i64, BTreeSet<i64>> = BTreeMap::new();
    let mut put = |id: i64| {
        let numbers = used.entry(id / 10_000_000).or_default();
        assert!(numbers.insert(id % 10_000_000), "{id} is used twice");
    };
    for entry in entries {
        let id: i64 = entry.id.parse().unwrap();
        put(id);
        if entry.kind == "codes" {
            let doc: Value = serde_json::from_str(&entry.document).unwrap();
            let count: i64 = doc["asked"]["numbers"].as_str().unwrap().parse().unwrap();
            (1..=count).for_each(|n| put(id + n));
        }
    }
    let db = books::Db::open(url).await.unwrap();
    let mut tx = db.read().await.unwrap();
    for row in tx.fetch("SELECT id FROM late", &[]).await.unwrap() {
        put(row.int(0));
    }
    let heads = tx.fetch("SELECT site, day, next FROM head WHERE day > 0", &[]);
    for head in heads.await.unwrap() {
        let key = head.int(1) * 10_000 + head.int(0);
        let numbers = used.remove(&key).unwrap_or_default();
        let expected: BTreeSet<i64> = (1..head.int(2)).collect();
        assert_eq!(
            numbers,
            expected,
            "numbers of site {} on {}",
            head.int(0),
            head.int(1)
        );
    }
    tx.rollback().await;
    db.close().await;
    assert_eq!(used, BTreeMap::new(), "days without a head");
}

/// Kinds of entries that a whole day has at least one of.
const KINDS: [&str; 30] = [
    "weigh_in",
    "void",
    "hold",
    "release",
    "regrade",
    "movement",
    "return",
    "making",
    "count",
    "site",
    "party",
    "species",
    "scale",
    "tote",
    "device",
    "settings",
    "price_list",
    "codes",
    "reprobe",
    "reweigh",
    "agreed_price",
    "baseline",
    "settle",
    "advance",
    "charge",
    "take_back",
    "dispute",
    "answer",
    "acknowledge",
    "drawer",
];

async fn simulated(seed: u64, rounds: usize, one: Server, whole: bool) {
    let url = one.book.clone();
    let mut day = Day::new(seed, one).await;
    for _ in 0..rounds {
        day.round().await;
    }
    day.settle_what_is_open().await;
    day.settle_the_diver_in_debt().await;
    day.clock_to(
        client::instant("2031-04-29T05:00:00-04:00")
            .unwrap()
            .seconds,
    )
    .await;
    day.night("2031-04-28");
    let flags = day.flags().await;
    for dock in &mut day.docks {
        dock.flags = flags.clone();
        dock.day["day"] = json!(29);
    }
    // What is entered now about yesterday's fish comes late.
    for _ in 0..rounds.div_ceil(3) {
        day.round().await;
    }
    day.settle_what_is_open().await;
    day.ask_everything_again_at_the_other().await;
    day.clock_to(
        client::instant("2031-04-30T05:00:00-04:00")
            .unwrap()
            .seconds,
    )
    .await;
    let closes = [day.night("2031-04-28"), day.night("2031-04-29")];

    let channel: Keyed = day.server(0).channel().await;
    let all = entries(&channel, 4, &[27, 28, 29, 30]).await;
    for ledger in &day.ledgers {
        ledger.hold_against(&all);
    }
    heads_are_gapless(&url, &all).await;
    let places = double_entry::check(&url, &all, &closes).await;
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    for entry in &all {
        *kinds.entry(&entry.kind).or_default() += 1;
    }
    let missing: Vec<&str> = KINDS
        .into_iter()
        .filter(|kind| !kinds.contains_key(kind))
        .collect();
    println!(
        "seed {seed}: {} deeds sent, {} entries, {} bad requests, {} kills, {} streams cut, \
         {} repeats answered alike, {places} places agree; {kinds:?}, none of {missing:?}",
        day.ledgers.iter().map(Ledger::len).sum::<usize>(),
        all.len(),
        day.bad,
        day.kills,
        day.cuts,
        day.ledgers
            .iter()
            .map(|ledger| ledger.repeats)
            .sum::<usize>(),
    );
    assert!(day.bad > 0);
    if whole {
        assert_eq!(missing, Vec::<&str>::new(), "every kind of deed was done");
        assert!(day.kills > 0 && day.cuts > 0, "and something went wrong");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_day_by_chance_with_two_programs_on_one_book_adds_up() {
    for seed in seeds(&[28]) {
        simulated(seed, 8, Server::start(), false).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "takes minutes; run by tests/all"]
async fn endurance_whole_days_by_chance_with_two_programs_on_one_book_add_up() {
    for seed in seeds(&[1, 2, 3, any_seed()]) {
        simulated(seed, 30, Server::start(), true).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_whole_days_by_chance_with_two_programs_on_one_book_add_up() {
    for seed in seeds(&[1, any_seed()]) {
        let book = books::testing::Book::postgres().await;
        simulated(seed, 12, Server::on(&book.url), true).await;
        book.remove().await;
    }
}
