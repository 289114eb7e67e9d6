//! Where small fish goes, through the front door: who wants it, the plan and why, what
//! travels with it, and that nothing that could hurt somebody leaves by any path.

use proto::v1;
use proto::v1::close_service_client::CloseServiceClient;
use proto::v1::intake_service_client::IntakeServiceClient;
use proto::v1::outlet_service_client::OutletServiceClient;
use proto::v1::stock_service_client::StockServiceClient;
use serde_json::{Value, json};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::harness::{Keyed, Server, fresh, harbor, lb, message, one_tote, said, set_clock};

type Outlets = OutletServiceClient<Keyed>;
type Stock = StockServiceClient<Keyed>;

/// A dock on the demo's Monday afternoon with rooms on file.
struct Evening {
    server: Server,
    outlets: Outlets,
    stock: Stock,
}

impl Evening {
    async fn open() -> Evening {
        let server = harbor().await;
        let mut evening = Evening {
            outlets: OutletServiceClient::new(server.channel().await),
            stock: StockServiceClient::new(server.channel().await),
            server,
        };
        set_clock(&evening.server, "2031-04-28T16:00:00-04:00").await;
        for room in [
            json!({
                "code": "hill-soup", "name": "Soup at Hill Kitchen", "kind": "ROOM_KIND_SOUP",
                "party": "hill-kitchen", "species": ["PZO"],
                "presentations": ["PRESENTATION_GUTTED_HEADED"], "weight": lb("6.00"),
                "promised": lb("3.00"),
                "price": { "decimal": "2.00", "currency": "USD", "per": "WEIGHT_UNIT_LB" },
                "standing": true, "windows": [{ "from": "17:00", "to": "20:00" }]
            }),
            json!({
                "code": "pantry", "name": "Parish pantry", "kind": "ROOM_KIND_DONATION",
                "party": "parish-pantry", "presentations": ["PRESENTATION_GUTTED_HEADED"],
                "weight": lb("40.00"), "leastDrop": lb("2.00"), "standing": true,
                "keepsCold": true
            }),
            json!({
                "code": "freezer", "name": "Freezer", "kind": "ROOM_KIND_FREEZER",
                "weight": lb("3.00"), "standing": true
            }),
        ] {
            evening.room(room).await.unwrap();
        }
        evening
    }

    async fn room(&mut self, mut room: Value) -> Result<v1::RecordRoomResponse, Status> {
        if room.get("site").is_none() {
            room["site"] = json!(1);
        }
        let request: v1::RecordRoomRequest = message(json!({ "requestId": fresh(), "room": room }));
        Ok(self.outlets.record_room(request).await?.into_inner())
    }

    /// Weighs in small lionfish, 0.4 lb a fish, speared three hours before; its only part.
    async fn weigh_in(&mut self, net: i64, change: impl FnOnce(&mut v1::LotIn)) -> v1::PartRef {
        let mut intake = IntakeServiceClient::new(self.server.channel().await);
        let mut request = one_tote(&format!("{}.00", net + 4), "4.00", net * 5 / 2);
        change(&mut request.lots[0]);
        let ticket = intake.record_weigh_in(request).await.unwrap();
        let line = ticket.into_inner().ticket.unwrap().lines.remove(0);
        v1::PartRef {
            lot_code: line.lot_code,
            part: Some(line.part),
        }
    }

    async fn plan(&mut self) -> v1::Plan {
        self.suppose(json!({})).await.unwrap()
    }

    async fn suppose(&mut self, mut what: Value) -> Result<v1::Plan, Status> {
        what["site"] = json!(1);
        let request: v1::ProposePlanRequest = message(what);
        let answer = self.outlets.propose_plan(request).await?;
        Ok(answer.into_inner().plan.unwrap())
    }

    async fn take(&mut self, digest: &str) -> Result<v1::RecordPlanResponse, Status> {
        let request = v1::RecordPlanRequest {
            request_id: fresh(),
            site: 1,
            day: None,
            digest: digest.to_owned(),
        };
        Ok(self.outlets.record_plan(request).await?.into_inner())
    }

    /// Guts and heads all of a part, 60 % of it left; the new lot's part.
    async fn dress(&mut self, part: &v1::PartRef, net: f64) -> v1::PartRef {
        let request: v1::RecordMakingRequest = message(json!({
            "requestId": fresh(), "site": 1, "kind": "MAKING_KIND_DRESS",
            "inputs": [{ "part": named(part), "weight": lb(&format!("{net:.2}")) }],
            "outputs": [
                {
                    "presentation": "PRESENTATION_GUTTED_HEADED", "fate": "OUTPUT_FATE_LOT",
                    "weight": lb(&format!("{:.2}", net * 0.6)), "storage": "STORAGE_DRAINED_ICE"
                },
                {
                    "presentation": "PRESENTATION_OTHER", "fate": "OUTPUT_FATE_DISCARD",
                    "weight": lb(&format!("{:.2}", net * 0.39)), "reason": "heads and viscera"
                }
            ]
        }));
        let made = self.stock.record_making(request).await.unwrap();
        v1::PartRef {
            lot_code: made.into_inner().making.unwrap().outputs[0]
                .lot_code
                .clone(),
            part: Some(1),
        }
    }

    async fn send_out(&mut self, movement: Value) -> Result<v1::RecordMovementResponse, Status> {
        let mut movement = movement;
        movement["requestId"] = json!(fresh());
        movement["site"] = json!(1);
        let request: v1::RecordMovementRequest = message(movement);
        Ok(self.stock.record_movement(request).await?.into_inner())
    }
}

fn named(part: &v1::PartRef) -> Value {
    json!({ "lotCode": part.lot_code, "part": part.part })
}

fn cold() -> Value {
    json!({ "decimal": "37.0", "unit": "TEMPERATURE_UNIT_FAHRENHEIT" })
}

/// "room on-ice delivered" of each line.
fn goes(plan: &v1::Plan) -> Vec<String> {
    let line = |line: &v1::PlanLine| {
        let shown = |of: &Option<v1::Weight>| of.as_ref().unwrap().shown.clone();
        format!(
            "{} {} {}",
            line.room,
            shown(&line.weight),
            shown(&line.delivered)
        )
    };
    plan.lines.iter().map(line).collect()
}

fn reason(status: &Status) -> String {
    status
        .get_error_details()
        .error_info()
        .unwrap()
        .reason
        .clone()
}

/// Dressing keeps 60 % of lionfish and takes half a minute a pound.
async fn with_dressing(server: &Server) {
    let mut office = v1::office_service_client::OfficeServiceClient::new(server.channel().await);
    let now = office
        .get_settings(v1::GetSettingsRequest { site: 1, at: None })
        .await
        .unwrap();
    let mut settings = now.into_inner().settings.unwrap();
    let judging = settings.judging.get_or_insert_with(Default::default);
    judging.dressings = vec![v1::DressingYield {
        species: "PZO".to_owned(),
        from: v1::Presentation::Whole.into(),
        to: v1::Presentation::GuttedHeaded.into(),
        keeps_percent: "60".to_owned(),
        minutes_per_lb: "0.5".to_owned(),
        source: "twenty dressings of April".to_owned(),
    }];
    settings.effective_from = None;
    let request = v1::RecordSettingsRequest {
        request_id: fresh(),
        settings: Some(settings),
    };
    office.record_settings(request).await.unwrap();
}

#[tokio::test]
async fn an_evenings_small_fish_is_planned_taken_carried_out_and_reconciled() {
    let mut evening = Evening::open().await;
    with_dressing(&evening.server).await;
    let first = evening.weigh_in(8, |_| {}).await;
    let second = evening.weigh_in(12, |_| {}).await;
    // Promised soup first, 6 lb of it from 10 lb whole; the pantry takes what the freezer
    // does not. All of it is kept.
    let plan = evening.plan().await;
    assert_eq!(
        goes(&plan),
        [
            "freezer 3.00 3.00",
            "hill-soup 5.00 3.00",
            "hill-soup 5.00 3.00",
            "pantry 7.00 4.20",
        ]
    );
    let result = plan.result.clone().unwrap();
    assert_eq!(result.kept.unwrap().shown, "20.00");
    assert_eq!(result.promised.unwrap().shown, "3.00");
    let of_first = &plan.parts[0];
    assert_eq!(of_first.part.as_ref(), Some(&first));
    assert_eq!(of_first.next_best, "pantry");
    // What one more pound of soup would bring: 2.00 less what dressing its 1.65 lb whole costs.
    let soup = plan
        .rooms
        .iter()
        .find(|room| room.room == "hill-soup")
        .unwrap();
    let more = soup.one_more.as_ref().unwrap();
    assert!(more.money.as_ref().unwrap().amount_minor > 0, "{more:?}");

    // Looking writes nothing; taking does, once, and only what was looked at.
    let entries = |output: &std::process::Output| said(output).lines().count();
    let before =
        entries(
            &evening
                .server
                .client(&["audit", "deeds", "--site", "1", "--day", "2031-04-28"]),
        );
    evening.server.client(&["plan", "--site", "1", "--what-if"]);
    let after =
        entries(
            &evening
                .server
                .client(&["audit", "deeds", "--site", "1", "--day", "2031-04-28"]),
        );
    assert_eq!(before, after);
    let taken = evening.take(&plan.digest).await.unwrap();
    let id = taken.recorded.unwrap().entry_id;
    let line = |n: usize| format!("{id}-{n}");
    let third = evening.weigh_in(2, |_| {}).await;
    let stale = evening.take(&plan.digest).await.unwrap_err();
    assert_eq!(
        (stale.code(), &*reason(&stale)),
        (Code::FailedPrecondition, "PLAN_CHANGED")
    );

    // The soup is dressed and goes by its line; a second driver is told.
    let soup = evening.dress(&first, 5.0).await;
    let movement = json!({
        "outlet": "OUTLET_SOUP", "counterparty": "hill-kitchen", "planLine": line(2),
        "taken": [{ "part": named(&soup), "weight": lb("3.00"), "emptied": true }],
        "temperature": cold()
    });
    let (one, two) = {
        let (mut a, mut b) = (
            StockServiceClient::new(evening.server.channel().await),
            StockServiceClient::new(evening.server.channel().await),
        );
        let with_id = |movement: &Value| -> v1::RecordMovementRequest {
            let mut movement = movement.clone();
            movement["requestId"] = json!(fresh());
            movement["site"] = json!(1);
            message(movement)
        };
        let (first, second) = (with_id(&movement), with_id(&movement));
        tokio::join!(a.record_movement(first), b.record_movement(second))
    };
    let (won, lost) = match (one, two) {
        (Ok(won), Err(lost)) | (Err(lost), Ok(won)) => (won.into_inner(), lost),
        other => panic!("{other:?}"),
    };
    assert_eq!(reason(&lost), "ALREADY_CARRIED_OUT");
    let codes = |notices: &[v1::Notice]| -> Vec<String> {
        notices.iter().map(|notice| notice.code.clone()).collect()
    };
    assert!(!codes(&won.notices).contains(&"not_as_planned".to_owned()));

    // The room is changed while the plan is out; the pantry gets less than was planned.
    evening
        .room(json!({
            "code": "pantry", "name": "Parish pantry", "kind": "ROOM_KIND_DONATION",
            "party": "parish-pantry", "presentations": ["PRESENTATION_GUTTED_HEADED"],
            "weight": lb("5.00"), "standing": true, "keepsCold": true
        }))
        .await
        .unwrap();
    let dressed = evening.dress(&second, 12.0).await;
    let given = evening
        .send_out(json!({
            "outlet": "OUTLET_DONATION", "counterparty": "parish-pantry", "planLine": line(4),
            "taken": [{ "part": named(&dressed), "weight": lb("2.10") }], "temperature": cold()
        }))
        .await
        .unwrap();
    assert!(
        codes(&given.notices).contains(&"room_changed".to_owned()),
        "{given:?}"
    );
    assert!(codes(&given.notices).contains(&"not_as_planned".to_owned()));
    // Another lot's fish is not that line.
    let wrong = evening
        .send_out(json!({
            "outlet": "OUTLET_SOUP", "counterparty": "hill-kitchen", "planLine": line(3),
            "taken": [{ "part": named(&soup), "weight": lb("0.50") }], "temperature": cold()
        }))
        .await
        .unwrap_err();
    assert!(
        wrong.message().contains("the plan line is for part"),
        "{wrong:?}"
    );

    // What travels with it, as the program prints it.
    let note = evening
        .server
        .client(&["dispatch-note", &given.recorded.unwrap().entry_id]);
    let note = said(&note);
    for words in [
        "Receipt of a donation of fish",
        "Contains fish: Lionfish (Pterois volitans).",
        "37.0 F",
        "2.10 lb",
        "local health rules",
        "names no value",
    ] {
        assert!(note.contains(words), "{words}\n{note}");
    }
    assert!(!note.contains("USD"), "{note}");

    // The night says what was planned and went, plans what is left, and flags.
    set_clock(&evening.server, "2031-04-29T05:30:00-04:00").await;
    let night = evening.server.night("2031-04-28", &[]);
    assert_eq!(night.status.code(), Some(1), "{}", said(&night));
    let mut closes = CloseServiceClient::new(evening.server.channel().await);
    let request: v1::GetCloseRequest =
        message(json!({ "site": 1, "day": { "year": 2031, "month": 4, "day": 28 } }));
    let close = closes
        .get_close(request)
        .await
        .unwrap()
        .into_inner()
        .close
        .unwrap();
    let shown = |of: &Option<v1::Weight>| of.as_ref().unwrap().shown.clone();
    let done: Vec<String> = close
        .plan_lines_done
        .iter()
        .map(|line| {
            format!(
                "{} {} {}",
                line.room,
                shown(&line.planned),
                shown(&line.delivered)
            )
        })
        .collect();
    assert_eq!(
        done,
        [
            "freezer 3.00 0.00",
            "hill-soup 3.00 3.00",
            "hill-soup 3.00 0.00",
            "pantry 4.20 2.10",
        ]
    );
    let off: Vec<&str> = close
        .flags
        .iter()
        .filter(|flag| flag.kind == "not_as_planned")
        .map(|flag| flag.text.as_str())
        .collect();
    assert_eq!(off.len(), 2, "{off:?}");
    assert!(
        off.iter()
            .any(|text| text.contains("2.10 lb less than the 4.20 lb planned")),
        "{off:?}"
    );
    let left = close.left_plan.unwrap();
    let kept: Vec<_> = left
        .lines
        .iter()
        .filter_map(|line| line.part.clone())
        .collect();
    assert!(kept.contains(&dressed) && kept.contains(&third), "{left:?}");
}

#[tokio::test]
async fn fish_that_could_hurt_somebody_reaches_no_mouth_by_any_path() {
    let mut evening = Evening::open().await;
    with_dressing(&evening.server).await;
    let torn = evening
        .weigh_in(6, |lot| {
            lot.weighings[0].condition = v1::Condition::Torn.into();
        })
        .await;
    let sound = evening.weigh_in(6, |_| {}).await;
    // Whole lionfish is dressed first, for soup and for donation.
    for (outlet, to) in [
        ("OUTLET_SOUP", "hill-kitchen"),
        ("OUTLET_DONATION", "parish-pantry"),
    ] {
        let whole = evening
            .send_out(json!({
                "outlet": outlet, "counterparty": to, "temperature": cold(),
                "taken": [{ "part": named(&sound), "weight": lb("1.00") }]
            }))
            .await
            .unwrap_err();
        assert_eq!(
            (whole.code(), &*reason(&whole)),
            (Code::FailedPrecondition, "DRESS_FIRST")
        );
    }
    // With its spines on it goes to no friend either.
    let spines = evening
        .send_out(json!({
            "outlet": "OUTLET_GIFT", "counterparty": "parish-pantry", "temperature": cold(),
            "taken": [{ "part": named(&sound), "weight": lb("1.00") }]
        }))
        .await
        .unwrap_err();
    assert_eq!(reason(&spines), "SPINES_ON");
    // Pooled with sound fish and dressed, torn fish is torn still: to soup, not to donation.
    let pool: v1::RecordMakingRequest = message(json!({
        "requestId": fresh(), "site": 1, "kind": "MAKING_KIND_POOL",
        "inputs": [{ "part": named(&torn) }, { "part": named(&sound) }],
        "outputs": [{
            "presentation": "PRESENTATION_WHOLE", "fate": "OUTPUT_FATE_LOT",
            "storage": "STORAGE_DRAINED_ICE"
        }]
    }));
    let pooled = evening
        .stock
        .record_making(pool)
        .await
        .unwrap()
        .into_inner();
    let pooled = v1::PartRef {
        lot_code: pooled.making.unwrap().outputs[0].lot_code.clone(),
        part: Some(1),
    };
    let plan = evening.plan().await;
    assert!(
        plan.lines.iter().all(|line| line.room != "pantry"),
        "{plan:?}"
    );
    let refused = &plan.parts[0].refusals;
    let pantry = refused
        .iter()
        .find(|refusal| refusal.room == "pantry")
        .unwrap();
    assert!(
        pantry
            .rules
            .iter()
            .any(|rule| rule.rule == "condition" && rule.safety)
    );
    let pin = evening
        .suppose(json!({ "whatIfChoices": [{
            "kind": "CHOICE_KIND_PIN", "part": named(&pooled), "room": "pantry",
            "reason": "they asked"
        }] }))
        .await
        .unwrap_err();
    assert_eq!(
        (pin.code(), &*reason(&pin)),
        (Code::FailedPrecondition, "TORN_NOT_DONATED")
    );
    let dressed = evening.dress(&pooled, 12.0).await;
    let given = evening
        .send_out(json!({
            "outlet": "OUTLET_DONATION", "counterparty": "parish-pantry", "temperature": cold(),
            "taken": [{ "part": named(&dressed), "weight": lb("5.00") }]
        }))
        .await
        .unwrap_err();
    assert_eq!(reason(&given), "TORN_NOT_DONATED");
    evening
        .send_out(json!({
            "outlet": "OUTLET_SOUP", "counterparty": "hill-kitchen", "temperature": cold(),
            "taken": [{ "part": named(&dressed), "weight": lb("1.00") }]
        }))
        .await
        .unwrap();
    // Two days on it is too old to give away, three days on for soup; the table and the
    // freezer still take it.
    let fresh_fish = evening.weigh_in(6, |_| {}).await;
    let fresh_fish = evening.dress(&fresh_fish, 6.0).await;
    for (at, outlet, to, says) in [
        (
            "2031-04-30T20:00:00-04:00",
            "OUTLET_DONATION",
            "parish-pantry",
            Some("TOO_OLD"),
        ),
        (
            "2031-04-30T20:00:00-04:00",
            "OUTLET_SOUP",
            "hill-kitchen",
            None,
        ),
        (
            "2031-05-02T20:00:00-04:00",
            "OUTLET_SOUP",
            "hill-kitchen",
            Some("TOO_OLD"),
        ),
        (
            "2031-05-02T20:00:00-04:00",
            "OUTLET_SOLD_WHOLE",
            "hill-kitchen",
            None,
        ),
    ] {
        set_clock(&evening.server, at).await;
        let went = evening
            .send_out(json!({
                "outlet": outlet, "counterparty": to, "temperature": cold(),
                "taken": [{ "part": named(&fresh_fish), "weight": lb("0.50") }]
            }))
            .await;
        assert_eq!(
            went.err().map(|status| reason(&status)).as_deref(),
            says,
            "{at} {outlet}"
        );
    }
    let old = evening.plan().await;
    assert!(
        old.lines.iter().all(|line| line.room != "hill-soup"),
        "{old:?}"
    );
}

#[tokio::test]
async fn a_room_or_plan_that_cannot_be_is_refused_with_its_field() {
    let mut evening = Evening::open().await;
    let soup = json!({
        "code": "stew", "name": "Stew", "kind": "ROOM_KIND_SOUP", "party": "hill-kitchen",
        "presentations": ["PRESENTATION_GUTTED_HEADED"], "weight": lb("5.00")
    });
    for (field, value, says) in [
        ("species", json!(["XXX"]), "room.species[0]"),
        ("party", json!("nobody-here"), "room.party"),
        ("party", json!("wren-haldane"), ""),
        ("weight", lb("-5.00"), "room.weight.decimal"),
        ("promised", lb("5.01"), "room.promised"),
        ("until", json!("2031-04-01T12:00:00Z"), ""),
        (
            "windows",
            json!([{ "from": "18:00", "to": "17:00" }]),
            "room.windows",
        ),
        (
            "windows",
            json!([{ "from": "18:00", "to": "25:00" }]),
            "room.windows[0].to",
        ),
        ("site", json!(7), "room.site"),
    ] {
        let mut room = soup.clone();
        room[field] = value.clone();
        if field == "until" {
            room["from"] = json!("2031-04-02T12:00:00Z");
        }
        let refused = evening.room(room).await.unwrap_err();
        assert!(
            matches!(
                refused.code(),
                Code::InvalidArgument | Code::FailedPrecondition
            ),
            "{field} {value}: {refused:?}"
        );
        let details = refused.get_error_details();
        let at = details
            .bad_request()
            .map(|bad| bad.field_violations[0].field.clone());
        let at = at.unwrap_or_default();
        assert!(at.contains(says), "{field} {value}: {at} {refused:?}");
    }
    // A day that is over, or closed, is planned no more.
    for day in [json!({ "year": 2031, "month": 4, "day": 27 })] {
        let over = evening.suppose(json!({ "day": day })).await.unwrap_err();
        assert_eq!(
            (over.code(), &*reason(&over)),
            (Code::FailedPrecondition, "DAY_OVER")
        );
    }
    let part = evening.weigh_in(6, |_| {}).await;
    // Choices are recorded, cost something, and are taken back.
    let choose = |kind: &str, room: &str| -> v1::RecordChoiceRequest {
        message(json!({
            "requestId": fresh(), "site": 1, "choice": {
                "kind": kind, "part": named(&part), "room": room, "reason": "they asked"
            }
        }))
    };
    let unknown = evening
        .outlets
        .record_choice(choose("CHOICE_KIND_PIN", "attic"))
        .await;
    assert_eq!(unknown.unwrap_err().code(), Code::InvalidArgument);
    let free = evening.plan().await;
    let forbidden = choose("CHOICE_KIND_FORBID", "hill-soup");
    let cost = evening
        .outlets
        .record_choice(forbidden)
        .await
        .unwrap()
        .into_inner()
        .cost;
    assert_eq!(cost.unwrap().promised.unwrap().shown, "3.00");
    let without = evening.plan().await;
    assert!(without.lines.iter().all(|line| line.room != "hill-soup"));
    assert_eq!(without.choices.len(), 1);
    evening
        .outlets
        .record_choice(choose("CHOICE_KIND_FREE", "hill-soup"))
        .await
        .unwrap();
    assert_eq!(goes(&evening.plan().await), goes(&free));
}

/// Fish as this test remembers it: what it was made of, and what is wrong with it.
struct Remembered {
    part: v1::PartRef,
    made_of: Vec<usize>,
    torn: bool,
    area_unclear: bool,
    /// Hours after the start; of a landing.
    caught: i64,
    dressed: bool,
    left: i64,
}

/// A part and all that it was ever made of.
fn lineage(all: &[Remembered], at: usize) -> Vec<&Remembered> {
    let mut found = vec![&all[at]];
    for &source in &all[at].made_of {
        found.extend(lineage(all, source));
    }
    found
}

/// Days of landings, pools, dressings, holds and attempts to send fish out, in any order:
/// whatever left for a mouth was fit for it by all that it was made of.
#[tokio::test]
async fn whatever_is_pooled_dressed_and_sent_out_nothing_unfit_reaches_a_mouth() {
    for seed in crate::chance::seeds(&[1, 2, 3]) {
        let mut chance = crate::chance::begin(seed);
        let mut evening = Evening::open().await;
        let start = client::instant("2031-04-28T16:00:00-04:00").unwrap();
        let (mut hour, mut all, mut left, mut refused) = (0, Vec::<Remembered>::new(), 0, 0);
        for _ in 0..90 {
            let open: Vec<usize> = (0..all.len()).filter(|&at| all[at].left >= 4).collect();
            match chance.between(0, 10) {
                0..=2 => {
                    let torn = chance.once_in(4);
                    let part = evening
                        .weigh_in(8, |lot| {
                            if torn {
                                lot.weighings[0].condition = v1::Condition::Torn.into();
                            }
                        })
                        .await;
                    all.push(Remembered {
                        part,
                        made_of: vec![],
                        torn,
                        area_unclear: false,
                        caught: hour,
                        dressed: false,
                        left: 8,
                    });
                }
                3 => {
                    // Hours go by.
                    hour += chance.between(3, 14);
                    let mut now = start;
                    now.seconds += hour * 3_600;
                    let request = v1::SetClockRequest { now: Some(now) };
                    evening
                        .server
                        .service()
                        .await
                        .set_clock(request)
                        .await
                        .unwrap();
                }
                4 => {
                    let Some(&at) = chance.one_of(&open) else {
                        continue;
                    };
                    if !chance.once_in(3) {
                        continue;
                    }
                    let hold: v1::HoldPartRequest = message(json!({
                        "requestId": fresh(), "part": named(&all[at].part),
                        "weight": lb("1.00"), "reason": "nobody knows the reef",
                        "cause": "HOLD_CAUSE_AREA"
                    }));
                    evening.stock.hold_part(hold).await.unwrap();
                    all[at].area_unclear = true;
                    all[at].left -= 1;
                }
                5 | 6 => {
                    let (Some(&one), Some(&two)) = (chance.one_of(&open), chance.one_of(&open))
                    else {
                        continue;
                    };
                    if one == two || all[one].dressed != all[two].dressed {
                        continue;
                    }
                    let form = if all[one].dressed {
                        "GUTTED_HEADED"
                    } else {
                        "WHOLE"
                    };
                    let pool: v1::RecordMakingRequest = message(json!({
                        "requestId": fresh(), "site": 1, "kind": "MAKING_KIND_POOL",
                        "inputs": [
                            { "part": named(&all[one].part) }, { "part": named(&all[two].part) }
                        ],
                        "outputs": [{
                            "presentation": format!("PRESENTATION_{form}"),
                            "fate": "OUTPUT_FATE_LOT", "storage": "STORAGE_DRAINED_ICE"
                        }]
                    }));
                    let pooled = evening
                        .stock
                        .record_making(pool)
                        .await
                        .unwrap()
                        .into_inner();
                    let code = pooled.making.unwrap().outputs[0].lot_code.clone();
                    let weight = all[one].left + all[two].left;
                    let dressed = all[one].dressed;
                    (all[one].left, all[two].left) = (0, 0);
                    all.push(Remembered {
                        part: v1::PartRef {
                            lot_code: code,
                            part: Some(1),
                        },
                        made_of: vec![one, two],
                        torn: false,
                        area_unclear: false,
                        caught: i64::MAX,
                        dressed,
                        left: weight,
                    });
                }
                7 => {
                    let Some(&at) = chance.one_of(&open) else {
                        continue;
                    };
                    if all[at].dressed {
                        continue;
                    }
                    let part = evening
                        .dress(&all[at].part.clone(), all[at].left as f64)
                        .await;
                    let weight = all[at].left * 3 / 5;
                    all[at].left = 0;
                    all.push(Remembered {
                        part,
                        made_of: vec![at],
                        torn: false,
                        area_unclear: false,
                        caught: i64::MAX,
                        dressed: true,
                        left: weight,
                    });
                }
                _ => {
                    let fish: Vec<usize> = (0..all.len()).filter(|&at| all[at].left > 0).collect();
                    let Some(&at) = chance.one_of(&fish) else {
                        continue;
                    };
                    let ways = [
                        ("OUTLET_SOUP", "hill-kitchen", 72),
                        ("OUTLET_DONATION", "parish-pantry", 48),
                        ("OUTLET_GIFT", "parish-pantry", 48),
                        ("OUTLET_SOLD_WHOLE", "hill-kitchen", i64::MAX),
                    ];
                    let &(outlet, to, oldest) = chance.one_of(&ways).unwrap();
                    let went = evening
                        .send_out(json!({
                            "outlet": outlet, "counterparty": to, "temperature": cold(),
                            "taken": [{ "part": named(&all[at].part), "weight": lb("1.00") }]
                        }))
                        .await;
                    let of = lineage(&all, at);
                    let caught = of.iter().map(|fish| fish.caught).min().unwrap();
                    let dressed = all[at].dressed;
                    let fit = of.iter().all(|fish| !fish.area_unclear)
                        && (outlet != "OUTLET_DONATION" || of.iter().all(|fish| !fish.torn))
                        && (outlet == "OUTLET_SOLD_WHOLE" || dressed)
                        && hour - caught <= oldest;
                    assert_eq!(
                        went.is_ok(),
                        fit,
                        "seed {seed}, {outlet}, {hour} h: {went:?}"
                    );
                    if fit {
                        all[at].left -= 1;
                        left += 1;
                    } else {
                        refused += 1;
                    }
                }
            }
        }
        assert!(
            left > 3 && refused > 3,
            "seed {seed}: {left} left, {refused} refused"
        );
    }
}
