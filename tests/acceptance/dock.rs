//! A dock on which any deed of the contract is done, by chance: what the tests of
//! faults send.
//!
//! It knows what the book called things from the answers it is told, and speaks of
//! those: lots, holds, tickets, dues. Some of what it asks for cannot be done, such as
//! releasing a hold twice, and is refused; that is an answer too.

use std::collections::BTreeMap;

use proto::v1;
use proto::v1::deed::Deed;
use serde_json::{Value, json};

use crate::chance::Chance;
use crate::harness::{OFFICE, lb, message};
use crate::ledger::Booked;

/// Paid by the ticket; nothing is taken off.
const DIVERS: [&str; 3] = ["wren-haldane", "osric-pell", "mara-denby"];
/// With advances and charges.
const IN_DEBT: &str = "dell-farrow";

/// What is known of the dock.
pub(crate) struct Dock {
    pub(crate) chance: Chance,
    parts: Vec<Part>,
    tickets: Vec<Ticket>,
    /// To be written again before anything is done to their fish, which they are by
    /// chance: the sum of documents knows no more.
    misread: Vec<Ticket>,
    holds: Vec<String>,
    /// Sales: the entry, and the part and hundredths of a pound sold.
    sold: Vec<(String, Value, i64)>,
    dues: Vec<String>,
    disputes: Vec<String>,
    numbers: Vec<String>,
    /// Flags that a night raised.
    pub(crate) flags: Vec<String>,
    /// Day that is counted, as protobuf JSON.
    pub(crate) day: Value,
    /// What the book's clock shows, seconds since 1970 UTC.
    pub(crate) now: i64,
    lists: i64,
    names: i64,
    /// How often each kind of deed was booked.
    pub(crate) booked: BTreeMap<&'static str, usize>,
}

#[derive(Clone)]
struct Part {
    named: Value,
    held: bool,
    /// Its pay goes to several.
    shared: bool,
    /// Hundredths of a pound.
    left: i64,
}

#[derive(Clone)]
struct Ticket {
    id: String,
    harvester: String,
    lines: i32,
    owed: i64,
}

/// A deed with its name in the contract.
type Made = Option<(&'static str, Value)>;

/// Makes a deed of what is known; none where nothing is.
type Make = fn(&mut Dock) -> Made;

/// What may be done, and how often of a hundred or so.
const DEEDS: [(i64, Make); 29] = [
    (26, Dock::weigh_in),
    (3, Dock::void),
    (6, Dock::hold),
    (5, Dock::release),
    (4, Dock::regrade),
    (10, Dock::movement),
    (3, Dock::customer_return),
    (6, Dock::making),
    (4, Dock::count),
    (2, Dock::pool),
    (5, Dock::on_file),
    (2, Dock::party),
    (2, Dock::price_list),
    (2, Dock::agreed_price),
    (2, Dock::baseline),
    (2, Dock::room),
    (2, Dock::request_codes),
    (3, Dock::reprobe),
    (3, Dock::reweigh),
    (5, Dock::settle),
    (3, Dock::advance),
    (3, Dock::charge),
    (2, Dock::take_back),
    (1, Dock::drawer_count),
    (3, Dock::dispute),
    (3, Dock::answer_dispute),
    (2, Dock::answer_yield),
    (5, Dock::acknowledge),
    (2, Dock::rewrite),
];

impl Dock {
    /// On the demo's Monday, with its office on file and nothing weighed in.
    pub(crate) fn new(chance: Chance) -> Dock {
        Dock {
            chance,
            parts: Vec::new(),
            tickets: Vec::new(),
            misread: Vec::new(),
            holds: Vec::new(),
            sold: Vec::new(),
            dues: Vec::new(),
            disputes: Vec::new(),
            numbers: Vec::new(),
            flags: Vec::new(),
            day: json!({ "year": 2031, "month": 4, "day": 28 }),
            now: client::instant("2031-04-28T15:00:00-04:00")
                .unwrap()
                .seconds,
            lists: 0,
            names: 0,
            booked: BTreeMap::new(),
        }
    }

    /// The next deed.
    pub(crate) fn deed(&mut self) -> Deed {
        let all: i64 = DEEDS.iter().map(|(often, _)| often).sum();
        let mut drawn = self.chance.between(0, all);
        let made = DEEDS.iter().find_map(|(often, make)| {
            drawn -= often;
            (drawn < 0).then(|| make(self)).flatten()
        });
        let (name, request) = made.or_else(|| self.weigh_in()).unwrap();
        self.with_an_id(name, request)
    }

    /// Several.
    pub(crate) fn deeds(&mut self, count: usize) -> Vec<Deed> {
        std::iter::repeat_with(|| self.deed()).take(count).collect()
    }

    fn with_an_id(&mut self, name: &str, mut request: Value) -> Deed {
        request["requestId"] = json!(self.chance.id());
        let deed: v1::Deed = message(json!({ name: request }));
        deed.deed.unwrap()
    }

    /// A request that can never be booked: a field is not what it has to be.
    pub(crate) fn bad(&mut self) -> Deed {
        let (name, mut request) = self.weigh_in().unwrap();
        match self.chance.between(0, 4) {
            0 => request["site"] = json!(7),
            1 => request["harvester"] = json!("nobody-here"),
            2 => request["lots"] = json!([]),
            _ => request["lots"][0]["weighings"][0]["tote"]["gross"] = lb("12.3x"),
        }
        self.with_an_id(name, request)
    }

    /// Takes in what the book said of a deed.
    pub(crate) fn learn(&mut self, deed: &Deed, booked: &Booked) {
        let entry = booked.entry();
        *self.booked.entry(name_of(deed)).or_default() += 1;
        if let Some(ticket) = &booked.ticket {
            self.learn_ticket(ticket);
        }
        if !booked.hold.is_empty() {
            self.holds.push(booked.hold.clone());
        }
        if let Some(block) = &booked.block {
            let first: i64 = block.first_number.parse().unwrap();
            self.numbers
                .extend((0..i64::from(block.count)).map(|n| (first + n).to_string()));
        }
        for lot in &booked.lots {
            self.parts.push(Part {
                named: json!({ "lotCode": lot, "part": 1 }),
                held: false,
                shared: false,
                left: 300,
            });
        }
        match deed {
            Deed::Movement(moved) if moved.outlet() == v1::Outlet::SoldWhole => {
                let part = moved.taken[0].part.as_ref().unwrap();
                let part = json!({ "lotCode": part.lot_code, "part": part.part });
                self.sold.push((entry, part, 100));
            }
            Deed::Advance(_) | Deed::Charge(_) => self.dues.push(entry),
            Deed::Dispute(_) => self.disputes.push(entry),
            _ => {}
        }
    }

    fn learn_ticket(&mut self, ticket: &v1::Ticket) {
        let shared = !ticket.payees.is_empty();
        let known = Ticket {
            id: ticket.id.clone(),
            harvester: ticket.harvester.clone(),
            lines: i32::try_from(ticket.lines.len()).unwrap(),
            // What is shared is not settled by this much.
            owed: if shared {
                0
            } else {
                ticket.owed.as_ref().unwrap().amount_minor
            },
        };
        if ticket.rewrites.is_none() && self.chance.once_in(10) {
            self.misread.push(known);
            return;
        }
        self.tickets.push(known);
        for line in &ticket.lines {
            let net = &line.net.as_ref().unwrap().shown;
            self.parts.push(Part {
                named: json!({ "lotCode": line.lot_code, "part": line.part }),
                held: line.held,
                shared,
                left: net.replace('.', "").parse().unwrap(),
            });
            if !line.hold_id.is_empty() {
                self.holds.push(line.hold_id.clone());
            }
        }
    }

    fn weigh_in(&mut self) -> Made {
        let harvester = if self.chance.once_in(4) {
            IN_DEBT
        } else {
            self.chance.one_of(&DIVERS).unwrap()
        };
        let lots: Vec<Value> = (0..self.chance.between(1, 3)).map(|_| self.lot()).collect();
        let held = lots.iter().any(|lot| lot.get("receiving").is_some());
        let confirmed = if self.chance.once_in(5) {
            "CONFIRMATION_DIVER_ABSENT"
        } else {
            "CONFIRMATION_BY_DIVER"
        };
        let mut request = json!({
            "site": 1, "harvester": harvester, "confirmation": confirmed, "lots": lots
        });
        if !held && self.chance.once_in(8) {
            request["payees"] = json!([
                { "party": "skiff-tarn", "percent": "30" },
                { "party": harvester, "percent": "70" }
            ]);
        }
        if self.chance.once_in(3)
            && let Some(number) = self.numbers.pop()
        {
            request["lotNumber"] = json!(number);
            request["device"] = json!("dock-tablet");
        }
        Some(("weighIn", request))
    }

    fn lot(&mut self) -> Value {
        let weighings: Vec<Value> = (0..self.chance.between(1, 4))
            .map(|_| {
                let (gross, pieces) = (self.chance.between(160, 1400), self.chance.between(5, 90));
                // In the dock scale's divisions of 0.05 lb.
                let grade = self.chance.one_of(&["A", "A", "B"]).unwrap();
                json!({
                    "grade": grade,
                    "condition": "CONDITION_CLEAN",
                    "tote": {
                        "gross": lb(&pounds(gross * 5)), "tareReading": lb("4.05"),
                        "pieces": pieces, "iced": self.chance.once_in(3)
                    }
                })
            })
            .collect();
        let mut lot = json!({
            "species": "PZO", "presentation": "PRESENTATION_WHOLE",
            "storage": "STORAGE_DRAINED_ICE", "weighings": weighings
        });
        if self.chance.once_in(6) {
            lot["receiving"] = json!({ "decision": "DECISION_HOLD", "reason": "52 F" });
        }
        lot
    }

    fn rewrite(&mut self) -> Made {
        let ticket = self.misread.pop()?;
        let (name, mut request) = self.weigh_in()?;
        request["lotNumber"] = json!("");
        request["harvester"] = json!(ticket.harvester);
        request["payees"] = json!([]);
        request["rewrites"] = json!({ "ticket": ticket.id, "reason": "misread" });
        Some((name, request))
    }

    fn ticket(&mut self) -> Option<Ticket> {
        self.chance.one_of(&self.tickets).cloned()
    }

    /// One that goes out; held fish may be thrown out and nothing else.
    fn part(&mut self, held: bool) -> Option<Part> {
        let those: Vec<usize> = (0..self.parts.len())
            .filter(|i| self.parts[*i].held == held && self.parts[*i].left > 100)
            .collect();
        let i = *self.chance.one_of(&those)?;
        Some(self.parts[i].clone())
    }

    /// Takes a pound of a part, so that it is not taken for ever.
    fn a_pound_of(&mut self, held: bool) -> Option<Value> {
        let part = self.part(held)?;
        let known = self.parts.iter_mut().find(|p| p.named == part.named)?;
        known.left -= 100;
        Some(json!({ "part": part.named, "weight": lb("1.00") }))
    }

    fn void(&mut self) -> Made {
        let ticket = self.ticket()?.id;
        Some(("voidTicket", json!({ "ticket": ticket, "reason": "wrong" })))
    }

    fn hold(&mut self) -> Made {
        let mut request = self.a_pound_of(false)?;
        let shared = |part: &Part| part.named == request["part"] && part.shared;
        if self.parts.iter().any(shared) {
            return None;
        }
        request["reason"] = json!("not clear where it was speared");
        Some(("hold", request))
    }

    fn release(&mut self) -> Made {
        let hold = self.chance.one_of(&self.holds)?.clone();
        Some(("release", json!({ "holdId": hold, "reason": "38 F" })))
    }

    fn regrade(&mut self) -> Made {
        let mut request = self.a_pound_of(false)?;
        request["grade"] = json!("B");
        request["reason"] = json!("soft");
        Some(("regrade", request))
    }

    fn movement(&mut self) -> Made {
        let held = self.chance.once_in(5);
        let taken = self.a_pound_of(held)?;
        let mut request = json!({
            "site": 1, "taken": [taken],
            "temperature": { "decimal": "38", "unit": "TEMPERATURE_UNIT_FAHRENHEIT" }
        });
        let outlet = if held { 3 } else { self.chance.between(0, 4) };
        match outlet {
            0 => {
                request["outlet"] = json!("OUTLET_SOLD_WHOLE");
                request["counterparty"] = json!("hill-kitchen");
            }
            1 => {
                request["outlet"] = json!("OUTLET_SOUP");
                request["counterparty"] = json!("varnley-kitchen");
            }
            2 => {
                request["outlet"] = json!("OUTLET_DONATION");
                request["counterparty"] = json!("parish-pantry");
            }
            _ => {
                request["outlet"] = json!("OUTLET_DISCARD");
                request["reason"] = json!("smells");
                if held && self.chance.once_in(2) {
                    request["cause"] = json!("DISCARD_CAUSE_AFTER_HAND_OVER");
                }
            }
        }
        Some(("movement", request))
    }

    fn customer_return(&mut self) -> Made {
        let (movement, part, _) = self.chance.one_of(&self.sold)?.clone();
        let request = json!({
            "movement": movement, "part": part, "weight": lb("0.50"), "reason": "too much"
        });
        Some(("customerReturn", request))
    }

    fn making(&mut self) -> Made {
        let mut input = self.a_pound_of(false)?;
        input["weight"] = lb("0.90");
        let request = json!({
            "site": 1, "kind": "MAKING_KIND_CUT", "inputs": [input],
            "outputs": [
                { "presentation": "PRESENTATION_FILLET_SKINLESS", "fate": "OUTPUT_FATE_LOT",
                  "weight": table("0.30"), "storage": "STORAGE_DRAINED_ICE" },
                { "presentation": "PRESENTATION_FRAMES", "fate": "OUTPUT_FATE_DISCARD",
                  "weight": table("0.54"), "reason": "frames" }
            ],
            "specification": "skinless-pinbone-out", "cutter": "bess-orrin", "minutes": "4"
        });
        Some(("making", request))
    }

    fn count(&mut self) -> Made {
        let part = self.part(false)?;
        let weight = lb(&pounds(part.left / 5 * 5));
        let request = json!({
            "site": 1, "closes": self.day, "counted": [{ "part": part.named, "weight": weight }]
        });
        Some(("count", request))
    }

    fn pool(&mut self) -> Made {
        let (one, other) = (self.part(false)?, self.part(false)?);
        if one.named == other.named {
            return None;
        }
        let weight = lb(&pounds((one.left + other.left) / 5 * 5));
        let pool = json!({
            "parts": [one.named, other.named], "weight": weight,
            "storage": "STORAGE_DRAINED_ICE"
        });
        Some((
            "count",
            json!({ "site": 1, "closes": self.day, "pool": pool }),
        ))
    }

    /// What the office keeps on file, once more as it is.
    fn on_file(&mut self) -> Made {
        const KINDS: [&str; 6] = ["site", "species", "scale", "tote", "device", "settings"];
        let kind = *self.chance.one_of(&KINDS)?;
        Some((kind, of_the_office(kind)))
    }

    fn party(&mut self) -> Made {
        self.names += 1;
        let party = json!({
            "code": format!("diver-{}-{}", self.names, &self.chance.id()[..8]),
            "name": "Invented Diver", "roles": ["PARTY_ROLE_HARVESTER"]
        });
        Some(("party", json!({ "party": party })))
    }

    fn price_list(&mut self) -> Made {
        let mut request = of_the_office("priceList");
        self.lists += 1;
        // Never back-dated, and each after the one before.
        let from = self.now + 3600 + self.lists * 60;
        request["priceList"]["effectiveFrom"] = instant(from);
        Some(("priceList", request))
    }

    fn agreed_price(&mut self) -> Made {
        let agreed = json!({
            "site": 1, "harvester": self.chance.one_of(&DIVERS)?, "species": "PZO",
            "presentation": "PRESENTATION_WHOLE", "to": instant(self.now + 7200),
            "price": { "decimal": "6.75", "currency": "USD", "per": "WEIGHT_UNIT_LB" },
            "reason": "a steady forty pounds a week"
        });
        Some(("agreedPrice", json!({ "agreedPrice": agreed })))
    }

    fn baseline(&mut self) -> Made {
        let week = |day| json!({ "year": 2031, "month": 4, "day": day });
        let baseline = json!({
            "site": 1, "follows": "FOLLOWS_SUPPLIER", "party": self.chance.one_of(&DIVERS)?,
            "from": week(14), "to": week(21), "reason": "a week in order"
        });
        Some(("baseline", json!({ "baseline": baseline })))
    }

    fn room(&mut self) -> Made {
        let room = json!({
            "site": 1, "code": self.chance.one_of(&["crew", "bait"])?, "name": "for small fish",
            "kind": self.chance.one_of(&["ROOM_KIND_CREW_USE", "ROOM_KIND_BY_PRODUCT"])?,
            "weight": lb("10.00"), "standing": true
        });
        Some(("room", json!({ "room": room })))
    }

    fn request_codes(&mut self) -> Made {
        let count = self.chance.between(1, 5);
        let request = json!({ "site": 1, "device": "dock-tablet", "count": count });
        Some(("requestCodes", request))
    }

    fn reprobe(&mut self) -> Made {
        let lot = self.chance.one_of(&self.parts)?.named["lotCode"].clone();
        let probe = json!({ "decimal": "38", "unit": "TEMPERATURE_UNIT_FAHRENHEIT" });
        let request = json!({
            "lotCode": lot, "probes": [probe, probe, probe], "iceAround": true
        });
        Some(("reprobe", request))
    }

    fn reweigh(&mut self) -> Made {
        let part = self.part(false)?.named;
        let request = json!({ "site": 1, "part": part, "reading": lb("9.95"), "note": "drained" });
        Some(("reweigh", request))
    }

    fn settle(&mut self) -> Made {
        let ticket = self.ticket()?;
        if ticket.owed <= 0 {
            return None;
        }
        let request = json!({
            "site": 1, "payee": ticket.harvester, "scope": { "tickets": [ticket.id] },
            "payments": [{ "method": "PAYMENT_METHOD_CURRENCY", "amount": usd(ticket.owed) }]
        });
        Some(("settle", request))
    }

    fn advance(&mut self) -> Made {
        let payment = json!({ "method": "PAYMENT_METHOD_CURRENCY", "amount": usd(1_000) });
        let request = json!({ "site": 1, "payee": IN_DEBT, "payment": payment, "reason": "fuel" });
        Some(("advance", request))
    }

    fn charge(&mut self) -> Made {
        let amount = usd(self.chance.between(100, 2_000));
        let request = json!({ "site": 1, "payee": IN_DEBT, "name": "ice", "amount": amount });
        Some(("charge", request))
    }

    fn take_back(&mut self) -> Made {
        let entry = self.chance.one_of(&self.dues)?.clone();
        Some((
            "takeBack",
            json!({ "entry": entry, "reason": "never given" }),
        ))
    }

    fn drawer_count(&mut self) -> Made {
        let request = json!({
            "site": 1, "day": self.day, "opening": usd(100_000), "counted": usd(90_000)
        });
        Some(("drawerCount", request))
    }

    fn dispute(&mut self) -> Made {
        let ticket = self.ticket()?;
        let line = self.chance.between(1, i64::from(ticket.lines) + 1);
        let request = json!({ "ticket": ticket.id, "line": line, "text": "nearer 13 lb" });
        Some(("dispute", request))
    }

    fn answer_dispute(&mut self) -> Made {
        let dispute = self.chance.one_of(&self.disputes)?.clone();
        let request = json!({ "dispute": dispute, "answer": "looked at, it stands" });
        Some(("answerDispute", request))
    }

    /// To be booked where a night has told something of that fish.
    fn answer_yield(&mut self) -> Made {
        let day = |month, day| json!({ "year": 2031, "month": month, "day": day });
        let request = json!({
            "site": 1, "supplier": self.chance.one_of(&DIVERS)?, "species": "PZO",
            "from": day(4, 28), "to": day(5, 5), "text": "cut late that day"
        });
        Some(("answerYield", request))
    }

    fn acknowledge(&mut self) -> Made {
        let key = self.chance.one_of(&self.flags)?.clone();
        Some(("acknowledgeFlag", json!({ "key": key, "reason": "seen" })))
    }
}

fn of_the_office(kind: &str) -> Value {
    let steps: Vec<Value> = serde_json::from_str(OFFICE).unwrap();
    let step = steps.iter().find(|step| step["deed"].get(kind).is_some());
    step.unwrap()["deed"][kind].clone()
}

/// Of hundredths.
fn pounds(hundredths: i64) -> String {
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

fn table(decimal: &str) -> Value {
    json!({ "decimal": decimal, "unit": "WEIGHT_UNIT_LB", "scale": "table" })
}

fn usd(cents: i64) -> Value {
    json!({ "amountMinor": cents.to_string(), "currency": "USD" })
}

fn instant(seconds: i64) -> Value {
    // Whole minutes of one of the demo's days and the next are enough here.
    let at = prost_types::Timestamp { seconds, nanos: 0 };
    json!(at.to_string())
}

/// The request id of a deed.
pub(crate) fn id_of(deed: &Deed) -> String {
    macro_rules! ids {
        ($($arm:ident)+) => { match deed { $(Deed::$arm(r) => r.request_id.clone()),+ } };
    }
    crate::ledger::each_deed!(ids)
}

/// The kind of a deed.
pub(crate) fn name_of(deed: &Deed) -> &'static str {
    macro_rules! names {
        ($($arm:ident)+) => { match deed { $(Deed::$arm(_) => stringify!($arm)),+ } };
    }
    crate::ledger::each_deed!(names)
}
