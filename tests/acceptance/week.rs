//! The demo's week through the front door, against answers worked out by a
//! script that shares no code with the tool: to the cent and the 10 ng.

use std::collections::{BTreeMap, BTreeSet};

use client::Service;
use client::week::{Way, Week};
use proto::v1;
use serde_json::{Value, json};

use crate::harness::{OFFICE, Server, message, said, set_clock};

const DAYS: [(&str, &str); 7] = [
    (
        "2031-04-28",
        include_str!("../../demo-data/days/2031-04-28.json"),
    ),
    (
        "2031-04-29",
        include_str!("../../demo-data/days/2031-04-29.json"),
    ),
    (
        "2031-04-30",
        include_str!("../../demo-data/days/2031-04-30.json"),
    ),
    (
        "2031-05-01",
        include_str!("../../demo-data/days/2031-05-01.json"),
    ),
    (
        "2031-05-02",
        include_str!("../../demo-data/days/2031-05-02.json"),
    ),
    (
        "2031-05-03",
        include_str!("../../demo-data/days/2031-05-03.json"),
    ),
    (
        "2031-05-04",
        include_str!("../../demo-data/days/2031-05-04.json"),
    ),
];

/// Five thirty in the morning after a day of the week.
const MORNINGS: [&str; 7] = [
    "2031-04-29T05:30:00-04:00",
    "2031-04-30T05:30:00-04:00",
    "2031-05-01T05:30:00-04:00",
    "2031-05-02T05:30:00-04:00",
    "2031-05-03T05:30:00-04:00",
    "2031-05-04T05:30:00-04:00",
    "2031-05-05T05:30:00-04:00",
];

fn expected(name: &str) -> Value {
    let text = match name {
        "tickets" => include_str!("../../demo-data/expected/tickets.json"),
        "makings" => include_str!("../../demo-data/expected/makings.json"),
        "closes" => include_str!("../../demo-data/expected/closes.json"),
        "payouts" => include_str!("../../demo-data/expected/payouts.json"),
        "money" => include_str!("../../demo-data/expected/money.json"),
        _ => include_str!("../../demo-data/expected/yields.json"),
    };
    serde_json::from_str(text).unwrap()
}

/// The week as it was sent, with the exit code of each night.
pub(crate) struct Sent {
    pub(crate) week: Week,
    pub(crate) exits: BTreeMap<&'static str, i32>,
}

/// Sends the week and runs its nights.
pub(crate) async fn send_week(server: &Server, way: Way) -> Sent {
    let service = server.service().await;
    let mut week = Week::default();
    week.send(&service, "office.json", OFFICE, Way::Unary)
        .await
        .unwrap();
    let mut exits = BTreeMap::new();
    for ((day, steps), morning) in DAYS.into_iter().zip(MORNINGS) {
        week.send(&service, day, steps, way).await.unwrap();
        set_clock(server, morning).await;
        let night = server.night(day, &[]);
        let exit = night.status.code().unwrap();
        assert_ne!(exit, 2, "{day}: {}", said(&night));
        exits.insert(day, exit);
    }
    Sent { week, exits }
}

/// The names the expected answers use, by lot code: a lot is told by the label
/// of the step that was there first.
struct Names(BTreeMap<String, String>);

impl Names {
    fn of(week: &Week) -> Names {
        let mut steps: Vec<_> = week
            .ids()
            .iter()
            .filter(|(_, ids)| !ids.lots.is_empty())
            .collect();
        // Ids order by day and then as they were recorded.
        steps.sort_by(|(_, a), (_, b)| a.entry.cmp(&b.entry));
        let mut names = BTreeMap::new();
        for (label, ids) in steps {
            for (n, code) in (1..).zip(&ids.lots) {
                names
                    .entry(code.clone())
                    .or_insert_with(|| format!("{label}/{n}"));
            }
        }
        Names(names)
    }

    fn part(&self, lot_code: &str, part: i32) -> String {
        format!("{}/{part}", self.0[lot_code])
    }

    fn part_ref(&self, part: &Option<v1::PartRef>) -> String {
        let part = part.as_ref().unwrap();
        self.part(&part.lot_code, part.part())
    }
}

fn grams(weight: &Option<v1::Weight>) -> String {
    weight
        .as_ref()
        .map_or("0.00000000".to_owned(), |weight| weight.grams.clone())
}

fn cents(money: &Option<v1::Money>) -> i64 {
    money.as_ref().map_or(0, |money| money.amount_minor)
}

fn day_text(day: &Option<proto::google::r#type::Date>) -> String {
    let day = day.as_ref().unwrap();
    format!("{:04}-{:02}-{:02}", day.year, day.month, day.day)
}

fn word(name: &str, prefix: &str) -> String {
    name.strip_prefix(prefix).unwrap().to_lowercase()
}

fn ticket_as_expected(ticket: &v1::Ticket, names: &Names) -> Value {
    let line = |line: &v1::TicketLine| {
        let mut told = json!({
            "n": line.n,
            "part": names.part(&line.lot_code, line.part),
            "band": line.band,
            "grade": line.grade,
            "condition": word(line.condition().as_str_name(), "CONDITION_"),
            "net": grams(&line.net),
            "price": line.price.as_ref().unwrap().decimal,
            "list_price": line.list_price.as_ref().unwrap().decimal,
            "amount": cents(&line.amount),
            "undersize": word(line.undersize().as_str_name(), "UNDERSIZE_").replace('_', " "),
            "held": line.held,
        });
        if let Some(pieces) = line.pieces {
            told["pieces"] = pieces.into();
        }
        told
    };
    let not_bought = |row: &v1::NotBought| {
        json!({
            "lot_n": row.lot_n,
            "why": word(row.why().as_str_name(), "NOT_BOUGHT_WHY_").replace('_', " "),
            "net": grams(&row.net),
        })
    };
    let adjustment = |line: &v1::AdjustmentLine| {
        json!({
            "name": line.name,
            "kind": word(line.kind().as_str_name(), "ADJUSTMENT_KIND_"),
            "amount": cents(&line.amount),
        })
    };
    json!({
        "harvester": ticket.harvester,
        "day": day_text(&ticket.day),
        "pay_day": day_text(if ticket.pay_day.is_some() { &ticket.pay_day } else { &ticket.day }),
        "state": word(ticket.state().as_str_name(), "TICKET_STATE_"),
        "lines": ticket.lines.iter().map(line).collect::<Vec<_>>(),
        "not_bought": ticket.not_bought.iter().map(not_bought).collect::<Vec<_>>(),
        "adjustments": ticket.adjustments.iter().map(adjustment).collect::<Vec<_>>(),
        "lines_total": cents(&ticket.lines_total),
        "payout": cents(&ticket.payout),
        "owed": cents(&ticket.owed),
        "held": cents(&ticket.held),
        "undersize": grams(&ticket.undersize),
    })
}

/// Takes from the expected answer what is compared: what a ticket leaves out is
/// left out, and prices are told as numbers tell them.
fn comparable(mut expected: Value) -> Value {
    let ticket = expected.as_object_mut().unwrap();
    ticket.remove("lots");
    ticket.remove("priced_us");
    for line in ticket["lines"].as_array_mut().unwrap() {
        let line = line.as_object_mut().unwrap();
        line.remove("ice");
        if line.get("pieces").is_some_and(Value::is_null) {
            line.remove("pieces");
        }
        if let Some(Value::Object(pieces)) = line.get("pieces").cloned() {
            line.insert(
                "pieces".to_owned(),
                pieces.values().next().cloned().unwrap(),
            );
        }
    }
    expected
}

/// `2031-05-03` as the contract has it.
fn date_of(day: &str) -> proto::google::r#type::Date {
    let mut parts = day.split('-').map(|part| part.parse().unwrap());
    let mut next = || parts.next().unwrap();
    proto::google::r#type::Date {
        year: next(),
        month: next(),
        day: next(),
    }
}

/// A revision of a day's close; 0 is the latest.
pub(crate) async fn close_of(service: &Service, day: &str, revision: i32) -> v1::Close {
    let request = v1::GetCloseRequest {
        site: 1,
        day: Some(date_of(day)),
        revision,
    };
    service.get_close(request).await.unwrap().close.unwrap()
}

fn outlets(out: &[v1::OutletWeight]) -> Value {
    let told = out
        .iter()
        .map(|o| (word(o.outlet().as_str_name(), "OUTLET_"), grams(&o.weight)));
    json!(told.collect::<BTreeMap<_, _>>())
}

fn balance_as_expected(balance: &v1::DayBalance) -> Value {
    json!({
        "opening": grams(&balance.opening),
        "bought": grams(&balance.bought),
        "returned": grams(&balance.returned),
        "made": grams(&balance.made),
        "used": grams(&balance.used),
        "out": outlets(&balance.out),
        "shrink": grams(&balance.shrink),
        "unaccounted": grams(&balance.unaccounted),
        "closing": grams(&balance.closing),
        "cutting_loss": grams(&balance.cutting_loss),
        "table_unaccounted": grams(&balance.table_unaccounted),
    })
}

fn parts_as_expected(close: &v1::Close, names: &Names) -> Value {
    let row = |row: &v1::PartBalance| {
        let told = json!({
            "opening": grams(&row.opening),
            "in": grams(&row.r#in),
            "out": grams(&row.out),
            "shrink": grams(&row.shrink),
            "unaccounted": grams(&row.unaccounted),
            "closing": grams(&row.closing),
            "counted": row.counted,
            "finished": row.finished,
            "explained": row.explained.as_ref().map_or_else(String::new, |_| grams(&row.explained)),
        });
        (names.part_ref(&row.part), told)
    };
    json!(close.parts.iter().map(row).collect::<BTreeMap<_, _>>())
}

fn undersize_as_expected(close: &v1::Close, names: &Names) -> Value {
    let row = |row: &v1::UndersizeRow| {
        let told = json!({
            "taken_in": grams(&row.taken_in),
            "out": outlets(&row.out),
            "made_into_lots": grams(&row.made_into_lots),
            "left": grams(&row.left),
        });
        (names.part_ref(&row.part), told)
    };
    json!(close.undersize.iter().map(row).collect::<BTreeMap<_, _>>())
}

fn yields_as_expected(yields: &[v1::YieldRow]) -> BTreeSet<String> {
    let row = |row: &v1::YieldRow| {
        json!({
            "supplier": row.supplier,
            "species": row.species,
            "presentation": word(row.presentation().as_str_name(), "PRESENTATION_"),
            "specification": row.specification,
            "customer_kitchen": row.customer_kitchen,
            "cuts": row.cuts,
            "input": grams(&row.input),
            "fillet": grams(&row.fillet),
            "yield_percent": row.yield_percent,
            "mixed_cuts": row.mixed_cuts,
            "mixed_input": grams(&row.mixed_input),
        })
        .to_string()
    };
    yields.iter().map(row).collect()
}

/// Flags of a close by kind, and by the names of what they are about.
fn flags_as_expected(
    close: &v1::Close,
    week: &Week,
    names: &Names,
) -> BTreeSet<(String, BTreeSet<String>)> {
    let flags = close.flags.iter();
    flags
        .map(|flag| flag_as_expected(flag, week, names))
        .collect()
}

fn flags_answered(flags: &Value) -> BTreeSet<(String, BTreeSet<String>)> {
    let flag = |flag: &Value| {
        let subject = flag["subject"].as_array().unwrap().iter();
        let subject = subject.map(|s| s.as_str().unwrap().to_owned()).collect();
        (flag["kind"].as_str().unwrap().to_owned(), subject)
    };
    flags.as_array().unwrap().iter().map(flag).collect()
}

/// What a flag is about, by name: a part, two parts, a making, a line or the site.
fn flag_as_expected(flag: &v1::Flag, week: &Week, names: &Names) -> (String, BTreeSet<String>) {
    let subject = flag
        .subject
        .split(|c: char| c.is_whitespace() || c == ',' || c == '+');
    let named = subject.filter(|word| !word.is_empty()).map(|word| {
        if let Some((code, part)) = word.split_once('/') {
            return names.part(code, part.parse().unwrap());
        }
        let entry = week.ids().iter().find(|(_, ids)| ids.entry == word);
        entry.map_or_else(|| word.to_owned(), |(label, _)| label.clone())
    });
    let named = match flag.kind.as_str() {
        "unaccounted_site" => BTreeSet::from(["site".to_owned()]),
        "dispute_open" => {
            let (ticket, line) = flag.subject.split_once('-').unwrap();
            let ticket = week.ids().iter().find(|(_, ids)| ids.ticket == ticket);
            BTreeSet::from([format!("{}, line {line}", ticket.unwrap().0)])
        }
        _ => named.collect(),
    };
    (flag.kind.clone(), named)
}

/// The cuts and dressings of a close against the expected makings.
fn check_cuts(close: &v1::Close, week: &Week) {
    let makings = expected("makings");
    for cut in &close.cuts {
        let found = week.ids().iter().find(|(_, ids)| ids.entry == cut.entry_id);
        let (label, _) = found.unwrap();
        let answer = &makings[label];
        for (what, told) in [
            ("input", &cut.input),
            ("fillet", &cut.fillet),
            ("discard", &cut.discard),
            ("cutting_loss", &cut.cutting_loss),
            ("table_unaccounted", &cut.table_unaccounted),
        ] {
            assert_eq!(json!(grams(told)), answer[what], "making {label}: {what}");
        }
        assert_eq!(
            json!(cut.judged),
            answer["judged"],
            "making {label}: judged"
        );
    }
}

/// What was settled, in the words of the expected answers: landings by label.
fn settlement_as_expected(told: &v1::Settlement, week: &Week) -> Value {
    let label = |id: &str| {
        let found = week.ids().iter().find(|(_, ids)| ids.ticket == id);
        found.unwrap().0.clone()
    };
    let item = |item: &v1::SettlementItem| json!({ "landing": label(&item.landing), "amount": cents(&item.amount) });
    let deduction = |row: &v1::Deduction| {
        json!({
            "name": row.name,
            "due": cents(&row.due),
            "taken": cents(&row.taken),
            "carried": cents(&row.carried),
        })
    };
    json!({
        "payee": told.payee,
        "items": told.items.iter().map(item).collect::<Vec<_>>(),
        "brought_forward": cents(&told.brought_forward),
        "payable": cents(&told.payable),
        "deductions": told.deductions.iter().map(deduction).collect::<Vec<_>>(),
        "deducted": cents(&told.deducted),
        "paid": cents(&told.paid),
        "carried_forward": cents(&told.carried_forward),
    })
}

/// Settlements, drawers, dues and payments. A settlement is asked for again as it
/// was sent: a repeat gets the first answer.
async fn check_money(service: &Service, week: &Week) {
    let money = expected("money");
    let steps = DAYS.iter().flat_map(|(_, steps)| {
        let steps: Vec<Value> = serde_json::from_str(steps).unwrap();
        steps
    });
    let mut settled = BTreeMap::new();
    for step in steps.filter(|step| step["deed"].get("settle").is_some()) {
        let mut deed = step["deed"]["settle"].clone();
        for ticket in deed["scope"]["tickets"]
            .as_array_mut()
            .into_iter()
            .flatten()
        {
            let label = ticket.as_str().unwrap().trim_matches(['{', '}']);
            let label = label.strip_prefix("ticket:").unwrap();
            *ticket = week.ids()[label].ticket.clone().into();
        }
        let told = service.settle(message(deed)).await.unwrap();
        let label = step["label"].as_str().unwrap().to_owned();
        assert_eq!(told.recorded.unwrap().entry_id, week.ids()[&label].entry);
        let told = settlement_as_expected(&told.settlement.unwrap(), week);
        settled.insert(label, told);
    }
    assert_eq!(json!(settled), money["settlements"]);

    for (label, answer) in money["drawers"].as_object().unwrap() {
        let day = Some(date_of(answer["day"].as_str().unwrap()));
        let request = v1::GetDrawerRequest { site: 1, day };
        let told = service.get_drawer(request).await.unwrap();
        let count = told.counts.last().unwrap();
        assert_eq!(count.entry_id, week.ids()[label].entry);
        let told = json!({
            "day": answer["day"],
            "opening": cents(&count.opening),
            "paid": cents(&count.paid),
            "expected": cents(&count.expected),
            "counted": cents(&count.counted),
            "difference": cents(&count.difference),
        });
        assert_eq!(&told, answer, "drawer {label}");
    }

    for (party, answer) in money["paid"].as_object().unwrap() {
        let request = v1::GetCashYearRequest {
            payee: party.clone(),
            year: 2031,
        };
        let told = service.get_cash_year(request).await.unwrap();
        let year = &told.years[0];
        let paid = year.payments.iter().map(|row| {
            let payment = row.payment.as_ref().unwrap();
            cents(&payment.amount)
        });
        let told = json!({
            "paid": paid.sum::<i64>(),
            "cash": cents(&year.total),
            "reportable": year.reportable,
        });
        assert_eq!(&told, answer, "cash of {party}");
    }
}

async fn check_week(server: &Server, sent: &Sent) {
    let service = server.service().await;
    let names = Names::of(&sent.week);
    let ids = sent.week.ids();

    let tickets = expected("tickets");
    let tickets = tickets.as_object().unwrap();
    assert_eq!(
        tickets.len(),
        ids.values().filter(|ids| !ids.ticket.is_empty()).count()
    );
    for (label, answer) in tickets {
        let request = v1::GetTicketRequest {
            ticket: ids[label].ticket.clone(),
        };
        let ticket = service.get_ticket(request).await.unwrap().ticket.unwrap();
        let told = ticket_as_expected(&ticket, &names);
        assert_eq!(told, comparable(answer.clone()), "ticket {label}");
    }

    let (closes, payouts, yields) = (expected("closes"), expected("payouts"), expected("yields"));
    for (day, _) in DAYS {
        let close = close_of(&service, day, 0).await;
        let answer = &closes[day];
        assert_eq!(json!(close.revision), answer["revision"], "{day}");
        let state = word(close.state().as_str_name(), "CLOSE_STATE_").replace('_', " ");
        assert_eq!(json!(state), answer["state"], "{day}");
        let balance = balance_as_expected(close.balance.as_ref().unwrap());
        assert_eq!(balance, answer["balance"], "{day}: balance");
        let parts = parts_as_expected(&close, &names);
        for (part, told) in parts.as_object().unwrap() {
            assert_eq!(told, &answer["parts"][part], "{day}: part {part}");
        }
        assert_eq!(parts, answer["parts"], "{day}: parts");
        check_cuts(&close, &sent.week);
        let undersize = undersize_as_expected(&close, &names);
        assert_eq!(undersize, answer["undersize"], "{day}: undersize");
        let told = flags_as_expected(&close, &sent.week, &names);
        assert_eq!(told, flags_answered(&answer["flags"]), "{day}: flags");
        if let Some(first) = answer.get("first_flags") {
            let close = close_of(&service, day, 1).await;
            let told = flags_as_expected(&close, &sent.week, &names);
            assert_eq!(
                told,
                flags_answered(first),
                "{day}: flags of the first night"
            );
        }
        let told = close.payouts.iter().map(|row| {
            let pay = json!({
                "owed": cents(&row.owed),
                "held": cents(&row.held),
                "owed_today": cents(&row.owed_today),
            });
            (row.party.clone(), pay)
        });
        assert_eq!(
            json!(told.collect::<BTreeMap<_, _>>()),
            payouts[day],
            "{day}: payouts"
        );
        let answer = yields[day]
            .as_array()
            .unwrap()
            .iter()
            .map(Value::to_string)
            .collect();
        assert_eq!(yields_as_expected(&close.yields), answer, "{day}: yields");
    }
    // The first night of a day that was revised later had other flags; its own
    // exit code is that of its first revision.
    for (day, exit) in &sent.exits {
        let answer = &closes[*day];
        let raised = answer.get("first_flags").unwrap_or(&answer["flags"]);
        let raised = !raised.as_array().unwrap().is_empty();
        assert_eq!(*exit, i32::from(raised), "{day}: exit code");
    }

    let date = |day: i32, month: i32| proto::google::r#type::Date {
        year: 2031,
        month,
        day,
    };
    let request = v1::ListSupplierYieldsRequest {
        site: 1,
        from: Some(date(28, 4)),
        to: Some(date(5, 5)),
        ..Default::default()
    };
    let told = service.list_supplier_yields(request).await.unwrap().yields;
    let answer = yields["week"]
        .as_array()
        .unwrap()
        .iter()
        .map(Value::to_string)
        .collect();
    assert_eq!(yields_as_expected(&told), answer, "yields of the week");

    check_money(&service, &sent.week).await;

    // A statement of the whole week ends where the last close ends, and says what
    // was paid and what is still to be taken off.
    let money = expected("money");
    for (party, answer) in payouts["2031-05-04"].as_object().unwrap() {
        let request = v1::GetStatementRequest {
            site: 1,
            party: party.clone(),
            from: Some(date(28, 4)),
            to: Some(date(5, 5)),
        };
        let told = service
            .get_statement(request)
            .await
            .unwrap()
            .statement
            .unwrap();
        assert_eq!(
            json!(cents(&told.owed_after)),
            answer["owed"],
            "{party}: owed"
        );
        assert_eq!(
            json!(cents(&told.held_after)),
            answer["held"],
            "{party}: held"
        );
        let due = |row: &v1::Deduction| json!({ "name": row.name, "due": cents(&row.due) });
        let dues: Vec<Value> = told.dues.iter().map(due).collect();
        let answer = &money["dues"][party];
        assert_eq!(
            json!(dues),
            if answer.is_null() {
                json!([])
            } else {
                answer.clone()
            }
        );
        let paid: i64 = told.rows.iter().map(|row| cents(&row.paid)).sum();
        let answer = money["paid"][party]["paid"].as_i64().unwrap_or(0);
        assert_eq!(paid, answer, "{party}: paid");
        let rows: i64 = told.rows.iter().map(|row| cents(&row.owed)).sum();
        assert_eq!(
            cents(&told.owed_before) + rows,
            cents(&told.owed_after),
            "{party}: rows"
        );
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_week_comes_out_as_worked_out_by_hand_and_script() {
    let server = Server::start();
    let sent = send_week(&server, Way::Unary).await;
    check_week(&server, &sent).await;

    // Every night again: the same bytes, the same exit code, nothing written.
    let service = server.service().await;
    for (day, _) in DAYS {
        let before = close_of(&service, day, 0).await;
        let again = server.night(day, &["--json"]);
        let exit = i32::from(!before.flags.is_empty());
        assert_eq!(again.status.code(), Some(exit), "{day}: {}", said(&again));
        let after = close_of(&service, day, 0).await;
        assert_eq!(before, after, "{day}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_week_sent_as_a_stream_comes_out_the_same() {
    let server = Server::start();
    let sent = send_week(&server, Way::CatchUp).await;
    check_week(&server, &sent).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs PostgreSQL; run by tests/all"]
async fn postgres_the_demo_week_comes_out_the_same() {
    let book = books::testing::Book::postgres().await;
    let server = Server::on(&book.url);
    let sent = send_week(&server, Way::Unary).await;
    check_week(&server, &sent).await;
    drop(server);
    book.remove().await;
}
