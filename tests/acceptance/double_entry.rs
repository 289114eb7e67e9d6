//! What every place holds, added up from the documents alone, and held against the two
//! double-entry views. It goes by the text of what the scales showed and shares no code
//! with the tool; `tests/outside/double_entry.py` does the same for the demo's week.
//!
//! Of what a dock by chance does: weights in pounds, and no held fish on a ticket whose
//! pay is shared.

use std::collections::{BTreeMap, BTreeSet};

use proto::v1;
use serde_json::Value;

/// 10 ng in a thousandth of a pound (NIST Handbook 44, appendix C: 453.592 37 g).
const IN_A_THOUSANDTH: i64 = 45_359_237;
const PLACES: &str = "123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
/// The contract's numbers of the outlets, by the trade's words for them.
const OUTLETS: [&str; 8] = [
    "sold whole",
    "soup-grade",
    "donation",
    "gift",
    "crew use",
    "by-product",
    "discard",
    "sample",
];

type Rows = Vec<(String, String, i64)>;

/// What a ticket put in the books, to be taken out again.
type Written = (Rows, Rows);

#[derive(Default)]
struct Documents {
    weight: BTreeMap<String, i64>,
    money: BTreeMap<String, i64>,
    tickets: BTreeMap<i64, Written>,
    /// Part: the cents and the weight it was bought for.
    pay: BTreeMap<String, (i64, i64)>,
    held: BTreeSet<String>,
    /// Supplier of each lot.
    supplier: BTreeMap<String, String>,
    dues: BTreeMap<i64, (String, String, i64)>,
}

/// A whole number at a path; absent is 0.
fn number(doc: &Value, path: &[&str]) -> i64 {
    let found = path.iter().fold(doc, |doc, key| &doc[*key]);
    match found {
        Value::Null => 0,
        Value::String(text) => text.parse().unwrap(),
        other => other
            .as_i64()
            .unwrap_or_else(|| panic!("{path:?}: {other}")),
    }
}

fn list<'a>(doc: &'a Value, key: &str) -> &'a [Value] {
    doc[key].as_array().map_or(&[], Vec::as_slice)
}

fn text<'a>(doc: &'a Value, key: &str) -> &'a str {
    doc[key]
        .as_str()
        .unwrap_or_else(|| panic!("{key} of {doc}"))
}

/// What a scale showed, in 10 ng.
fn showed(reading: &Value) -> i64 {
    assert_eq!(text(reading, "unit"), "lb", "{reading}");
    let (whole, part) = text(reading, "text").split_once('.').unwrap();
    let thousandths = format!("{whole}{part:0<3}");
    thousandths.parse::<i64>().unwrap() * IN_A_THOUSANDTH
}

/// A part as the views name it.
fn part_of(doc: &Value) -> String {
    let (code, n) = (
        text(doc, "lot"),
        number(doc, &["n"]) + number(doc, &["part"]),
    );
    let place = PLACES.find(&code[19..]).unwrap() + 1;
    format!("part:{}.{place}.{n}", &code[..19])
}

fn lot_of(part: &str) -> String {
    part.rsplit_once('.').unwrap().0.to_owned()
}

/// Half up to a whole cent.
fn share(cents: i64, weight: i64, of: i64) -> i64 {
    let twice = i128::from(cents) * i128::from(weight) * 2 + i128::from(of);
    i64::try_from(twice / (i128::from(of) * 2)).unwrap()
}

fn carry(places: &mut BTreeMap<String, i64>, source: &str, target: &str, amount: i64) {
    *places.entry(source.to_owned()).or_default() -= amount;
    *places.entry(target.to_owned()).or_default() += amount;
}

impl Documents {
    fn weigh(&mut self, source: &str, target: &str, weight: i64) {
        carry(&mut self.weight, source, target, weight);
    }

    fn owe(&mut self, source: &str, target: &str, cents: i64) {
        carry(&mut self.money, source, target, cents);
    }

    fn take(&mut self, entry: i64, kind: &str, asked: &Value, outcome: &Value) {
        match kind {
            "weigh_in" => self.weigh_in(entry, asked, outcome),
            "void" => self.undo(number(asked, &["ticket"])),
            "hold" => {
                let weight = number(outcome, &["weight"]);
                if !asked["weight"].is_null() {
                    assert_eq!(weight, showed(&asked["weight"]), "weight of hold {entry}");
                }
                let (from, held) = (part_of(&outcome["from"]), part_of(&outcome["held"]));
                let (party, pay) = self.shift(&from, &held, weight, outcome);
                self.owe(&format!("owed:{party}"), &format!("held:{party}"), pay);
                self.held.insert(held);
            }
            "release" => {
                let (from, to) = (part_of(&outcome["from"]), part_of(&outcome["part"]));
                let weight = number(outcome, &["weight"]);
                let (party, pay) = self.shift(&from, &to, weight, outcome);
                self.owe(&format!("held:{party}"), &format!("owed:{party}"), pay);
            }
            "regrade" => {
                let (from, to) = (part_of(&outcome["from"]), part_of(&outcome["part"]));
                self.weigh(&from, &to, number(outcome, &["weight"]));
            }
            "movement" => self.movement(asked, outcome),
            "return" => {
                let part = part_of(&outcome["held"]);
                let outlet = outlet(text(outcome, "outlet"));
                self.weigh(&outlet, &part, showed(&asked["weight"]));
                self.held.insert(part);
            }
            "making" => self.made(entry, outcome),
            "count" => {
                let counted = list(asked, "counted").iter().zip(list(outcome, "counted"));
                for (written, found) in counted {
                    let weight = number(found, &["weight"]);
                    assert_eq!(weight, showed(&written["weight"]), "count {entry}");
                }
                if !outcome["pool"].is_null() {
                    self.made(entry, &outcome["pool"]["making"]);
                }
            }
            "settle" => self.settle(entry, asked, outcome),
            "advance" => {
                let payee = text(asked, "payee");
                let cents = number(asked, &["payment", "amount", "minor"]);
                let due = (format!("advance:{payee}"), format!("paid:{payee}"), cents);
                self.owe(&due.0, &due.1, cents);
                self.dues.insert(entry, due);
            }
            "charge" => {
                let payee = text(asked, "payee");
                let cents = number(asked, &["amount", "minor"]);
                let due = (
                    format!("carry:{payee}"),
                    format!("deduction:{payee}"),
                    cents,
                );
                self.owe(&due.0, &due.1, cents);
                self.dues.insert(entry, due);
            }
            "take_back" => {
                let taken = self.dues.remove(&number(asked, &["entry"]));
                let (source, target, cents) = taken.expect("a due is taken back once");
                self.owe(&target, &source, cents);
            }
            _ => {}
        }
    }

    fn weigh_in(&mut self, entry: i64, asked: &Value, ticket: &Value) {
        if !asked["rewrites"].is_null() {
            self.undo(number(asked, &["rewrites", "ticket"]));
        }
        let root = match number(ticket, &["number"]) {
            0 => entry,
            number => number,
        };
        let harvester = text(asked, "harvester");
        let places: BTreeMap<i64, i64> = list(ticket, "lots")
            .iter()
            .map(|lot| (number(lot, &["n"]), number(lot, &["place"])))
            .collect();
        let (mut rows, mut bought) = (Rows::new(), BTreeMap::<i64, i64>::new());
        let mut amounts = 0;
        for line in list(ticket, "lines") {
            let lot = number(line, &["lot"]);
            let (net, amount) = (number(line, &["net"]), number(line, &["amount", "minor"]));
            let part = format!("part:{root}.{}.{}", places[&lot], number(line, &["part"]));
            rows.push(("landing".to_owned(), part.clone(), net));
            rows.push((
                "landing".to_owned(),
                "ice".to_owned(),
                number(line, &["ice"]),
            ));
            self.supplier.insert(lot_of(&part), harvester.to_owned());
            if line["held"] == true {
                self.held.insert(part.clone());
            }
            self.pay.insert(part, (amount, net));
            *bought.entry(lot).or_default() += net;
            amounts += amount;
        }
        for row in list(ticket, "not_bought") {
            *bought.entry(number(row, &["lot"])).or_default() += number(row, &["net"]);
        }
        // Gross less tare less ice is what the lines add up to.
        for (written, lot) in list(asked, "lots").iter().zip(list(ticket, "lots")) {
            let weighings = list(written, "weighings").iter().zip(list(lot, "weighed"));
            let net: i64 = weighings
                .map(|(weighing, weighed)| {
                    let tote = &weighing["weighed"];
                    let tare = &tote["tare"]["reading"];
                    showed(&tote["gross"]) - showed(tare) - number(weighed, &["ice"])
                })
                .sum();
            assert_eq!(bought[&number(lot, &["n"])], net, "a lot of {entry}");
        }
        let owed = number(ticket, &["owed", "minor"]);
        let held = number(ticket, &["held", "minor"]);
        let adjusted: i64 = list(ticket, "adjustments")
            .iter()
            .map(|row| number(row, &["amount", "minor"]))
            .sum();
        assert_eq!(owed + held, amounts + adjusted, "pay of {entry}");
        let mut money = Rows::new();
        for (party, owed, held) in shares(asked, harvester, owed, held) {
            money.push(("purchases:".to_owned(), format!("owed:{party}"), owed));
            money.push(("purchases:".to_owned(), format!("held:{party}"), held));
        }
        for (source, target, weight) in &rows {
            self.weigh(source, target, *weight);
        }
        for (source, target, cents) in &money {
            self.owe(source, target, *cents);
        }
        self.tickets.insert(entry, (rows, money));
    }

    fn undo(&mut self, ticket: i64) {
        let (rows, money) = self.tickets.remove(&ticket).expect("a ticket ends once");
        for (source, target, weight) in rows {
            self.weigh(&target, &source, weight);
        }
        for (source, target, cents) in money {
            self.owe(&target, &source, cents);
        }
    }

    /// Moves weight with its pay; whose fish it is, and the pay.
    fn shift(&mut self, from: &str, to: &str, weight: i64, outcome: &Value) -> (String, i64) {
        let pay = number(outcome, &["pay", "minor"]);
        self.weigh(from, to, weight);
        for (part, sign) in [(from, -1), (to, 1)] {
            let had = self.pay.entry(part.to_owned()).or_default();
            *had = (had.0 + sign * pay, had.1 + sign * weight);
        }
        let party = self.supplier.get(&lot_of(from));
        (party.cloned().unwrap_or_default(), pay)
    }

    fn movement(&mut self, asked: &Value, moved: &Value) {
        let to = outlet(text(asked, "outlet"));
        for (taken, gone) in list(asked, "taken").iter().zip(list(moved, "taken")) {
            let (weight, part) = (showed(&taken["weight"]), part_of(&gone["part"]));
            self.weigh(&part, &to, weight);
            let (cents, bought) = self.pay.get(&part).copied().unwrap_or_default();
            if text(asked, "outlet") != "discard" || !self.held.contains(&part) || bought <= 0 {
                continue;
            }
            // Thrown out before it was owed: its share of the line is not paid, or for a
            // cause after hand-over owed, and the buyer's loss.
            let unpaid = if weight >= bought {
                cents
            } else {
                share(cents, weight, bought)
            };
            self.pay
                .insert(part.clone(), (cents - unpaid, bought - weight));
            let party = self.supplier[&lot_of(&part)].clone();
            let (held, owed) = (format!("held:{party}"), format!("owed:{party}"));
            if asked["cause"] == "after hand-over" {
                self.owe(&held, &owed, unpaid);
                self.owe("buyers_loss:", "purchases:", unpaid);
            } else {
                self.owe(&held, "purchases:", unpaid);
            }
        }
    }

    fn made(&mut self, entry: i64, making: &Value) {
        let mut on_table = 0;
        for used in list(making, "inputs") {
            let weight = number(used, &["weight"]);
            self.weigh(&part_of(&used["source"]["part"]), "table", weight);
            on_table += weight;
        }
        for output in list(making, "outputs") {
            let weight = number(output, &["weight"]);
            let place = match text(output, "fate") {
                "lot" => format!("part:{entry}.{}.1", number(output, &["place"])),
                fate => fate.to_owned(),
            };
            self.weigh("table", &place, weight);
            on_table -= weight;
        }
        for name in ["cutting_loss", "table_unaccounted", "not_weighed"] {
            let weight = number(making, &[name]);
            self.weigh("table", name, weight);
            on_table -= weight;
        }
        assert_eq!(on_table, 0, "left on the table by {entry}");
    }

    fn settle(&mut self, entry: i64, asked: &Value, settled: &Value) {
        let payee = text(asked, "payee");
        let owed = format!("owed:{payee}");
        let mut taken = 0;
        for row in list(settled, "deductions") {
            let account = if row["due"]["advance"] == true {
                "advance"
            } else {
                "carry"
            };
            let cents = number(row, &["taken", "minor"]);
            self.owe(&owed, &format!("{account}:{payee}"), cents);
            taken += cents;
        }
        let sum = |rows: &[Value]| -> i64 {
            rows.iter()
                .map(|row| number(row, &["amount", "minor"]))
                .sum()
        };
        let paid = sum(list(asked, "payments"));
        self.owe(&owed, &format!("paid:{payee}"), paid);
        let payable = sum(list(settled, "items")) + number(settled, &["brought", "minor"]);
        assert_eq!(payable, taken + paid + payable.min(0), "settlement {entry}");
    }

    fn close(&mut self, doc: &Value) {
        for row in list(doc, "parts") {
            let part = part_of(&row["part"]);
            self.weigh(&part, "shrink", number(row, &["shrink"]));
            self.weigh(&part, "unaccounted", number(row, &["unaccounted"]));
        }
    }
}

fn outlet(word: &str) -> String {
    let n = OUTLETS.iter().position(|outlet| *outlet == word).unwrap() + 1;
    format!("outlet:{n}")
}

/// Each payee's part of a ticket's pay: percents, the cents that are left over to the
/// largest fraction, the first listed first.
fn shares(asked: &Value, harvester: &str, owed: i64, held: i64) -> Vec<(String, i64, i64)> {
    let payees = list(asked, "payees");
    if payees.is_empty() {
        return vec![(harvester.to_owned(), owed, held)];
    }
    assert_eq!(held, 0, "held pay is not shared here");
    let mut cents: Vec<i64> = Vec::new();
    let mut left_over: Vec<(i64, usize)> = Vec::new();
    for (n, payee) in payees.iter().enumerate() {
        let ppm = number(payee, &["share", "ppm"]);
        cents.push(owed * ppm / 1_000_000);
        left_over.push((-(owed * ppm % 1_000_000), n));
    }
    left_over.sort_unstable();
    let short = owed - cents.iter().sum::<i64>();
    for (_, n) in &left_over[..usize::try_from(short).unwrap()] {
        cents[*n] += 1;
    }
    let names = payees.iter().map(|payee| text(payee, "party").to_owned());
    names
        .zip(cents)
        .map(|(party, cents)| (party, cents, 0))
        .collect()
}

/// What a view says every place holds; places that hold nothing are left out.
async fn added_up(db: &books::Db, view: &str) -> BTreeMap<String, i64> {
    let mut tx = db.read().await.unwrap();
    let sql = format!("SELECT from_place, to_place, amount FROM {view}");
    let rows = tx.fetch(&sql, &[]).await.unwrap();
    tx.rollback().await;
    let mut places = BTreeMap::new();
    for row in rows {
        carry(&mut places, row.text(0), row.text(1), row.int(2));
    }
    something(places)
}

fn something(places: BTreeMap<String, i64>) -> BTreeMap<String, i64> {
    places
        .into_iter()
        .filter(|(_, amount)| *amount != 0)
        .collect()
}

/// Holds both views of the book at `url` against its documents: every entry, and the
/// latest close of each day. Gives how many places hold something.
pub(crate) async fn check(url: &str, entries: &[v1::Entry], closes: &[Value]) -> usize {
    let mut documents = Documents::default();
    let mut entries: Vec<&v1::Entry> = entries.iter().collect();
    // As they were recorded, so that a ticket is there before its void.
    entries.sort_by_key(|entry| {
        let at = entry.recorded_at.unwrap();
        (at.seconds, at.nanos, entry.id.clone())
    });
    for entry in entries {
        let doc: Value = serde_json::from_str(&entry.document).unwrap();
        let id = entry.id.parse().unwrap();
        documents.take(id, &entry.kind, &doc["asked"], &doc["outcome"]);
    }
    for close in closes {
        documents.close(close);
    }
    let db = books::Db::open(url).await.unwrap();
    let weight = added_up(&db, "weight_book").await;
    let money = added_up(&db, "money_book").await;
    db.close().await;
    let places = weight.len() + money.len();
    assert_eq!(weight, something(documents.weight), "weight");
    assert_eq!(money, something(documents.money), "money");
    places
}
