//! Weigh-ins that a browser keeps while there is no signal.
//!
//! While there is signal a browser asks for what it needs to go on without: who and what
//! is on file, the prices ([`stock`]), and lot numbers of its own ([`numbers`]). Each kept
//! entry comes in by itself ([`queued`]), with the id of its request, so that it is booked
//! once however often it is sent. What a browser still has is told to the close
//! ([`device`]), as any device tells it.
//!
//! Answers are JSON for the page's own script. Every one needs the session and, where it
//! writes, the session's token; nothing of the session is in what a browser keeps.

use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{IntoResponse as _, Response};
use desk::{Desk, DeskError, DeviceWord};
use rules::codes::CodesAsked;
use rules::fish::{Condition, Hazard, Presentation};
use rules::money::{Money, UnitPrice};
use rules::office::{PartyRole, Settings, Site, Species};
use rules::price_list::{BandBy, GradePrices, PriceList, in_force};
use rules::receiving::{LegalLimit, LegalRule, Season};
use rules::ticket::caution::cautions;
use rules::ticket::{Decision, NoticeKind, SmallFish, Temperature, WeighIn};
use rules::undersize;
use rules::weight::Weight;
use serde_json::{Value, json};

use super::check::{checked, lang};
use super::{form, shell_of};
use crate::form::{Fields, Open, request_id};
use crate::house::House;
use crate::refused::{Refused, rendered};
use crate::scale;
use crate::show;
use crate::visit::{SignedIn, Visit};
use crate::words::Language;

/// Lot numbers a browser asks for at once, at most.
const MOST_NUMBERS: i64 = 200;
/// Entries a browser says it has, at most.
const MOST_QUEUED: i64 = 10_000;

const WORKER: &str = include_str!("../../look/worker.js");

/// Why a script is not answered.
enum Turned {
    /// Nobody is signed in any more.
    SignedOut,
    /// Another page's token: the session is another than the script thinks.
    OtherSession,
    Refused(Refused),
}

impl<E: Into<Refused>> From<E> for Turned {
    fn from(refused: E) -> Turned {
        Turned::Refused(refused.into())
    }
}

fn told(status: StatusCode, value: &Value) -> Response {
    let kind = (CONTENT_TYPE, "application/json");
    (status, [kind], value.to_string()).into_response()
}

/// An answer, or why there is none, in the script's terms. What sending again cannot
/// change names its field and its rule.
fn said(answer: Result<Value, Turned>, visit: &Visit) -> Response {
    match answer {
        Ok(value) => told(StatusCode::OK, &value),
        Err(Turned::SignedOut) => told(StatusCode::UNAUTHORIZED, &json!({"signed_out": true})),
        Err(Turned::OtherSession) => told(StatusCode::FORBIDDEN, &json!({"other_session": true})),
        Err(Turned::Refused(Refused::Said { field, rule })) => {
            let (rule, is_ours) = rule.said(visit.language);
            let value = json!({"field": field, "rule": rule, "lang": lang(is_ours)});
            told(StatusCode::UNPROCESSABLE_ENTITY, &value)
        }
        Err(Turned::Refused(refused)) => {
            let rule = refused.words(visit.words());
            told(refused.status(), &json!({"field": "", "rule": rule}))
        }
    }
}

fn signed_in(visit: &Visit) -> Result<SignedIn, Turned> {
    visit.clone().signed_in().ok_or(Turned::SignedOut)
}

/// Whoever sent this, from a page of the session.
fn sender(visit: &Visit, fields: &Fields) -> Result<SignedIn, Turned> {
    let who = signed_in(visit)?;
    if fields.get("token") == who.token() {
        Ok(who)
    } else {
        Err(Turned::OtherSession)
    }
}

/// Whose entries these are: what one wrote is not sent as another's.
fn whose(who: &SignedIn) -> String {
    format!("{} {}", who.caller.role.word(), who.caller.party)
}

/// `GET /weigh-in/shell`: the page a browser keeps. It is the same for everybody.
pub(crate) async fn shell(State(house): State<House>, headers: HeaderMap) -> Response {
    let visit = Visit::of_nobody(&house.desk, &headers, &Uri::from_static("/weigh-in"));
    rendered(StatusCode::OK, &shell_of(&visit))
}

/// `GET /sw.js`: what answers for the page without signal. Its place bounds its reach.
pub(crate) async fn worker() -> Response {
    let kind = (CONTENT_TYPE, "text/javascript; charset=utf-8");
    ([kind, (CACHE_CONTROL, "no-cache")], WORKER).into_response()
}

/// `POST /weigh-in/running`: what the ticket would be, while it is typed.
pub(crate) async fn running(State(house): State<House>, Open(visit, fields): Open) -> Response {
    said(run(&house.desk, &visit, &fields).await, &visit)
}

async fn run(desk: &Desk, visit: &Visit, fields: &Fields) -> Result<Value, Turned> {
    let who = sender(visit, fields)?;
    let site = who.site(desk).await?;
    let mut asked = form::read(who.words(), fields, &site, desk.now_us().await?)?;
    read_when(&mut asked, fields);
    let (asked, ticket) = desk.try_weigh_in(&who.caller, asked).await?;
    Ok(checked(&who, &site, &asked, &ticket).told())
}

/// `GET /weigh-in/stock`: what a browser needs to go on without signal.
pub(crate) async fn stock(State(house): State<House>, visit: Visit) -> Response {
    said(stocked(&house.desk, &visit).await, &visit)
}

async fn stocked(desk: &Desk, visit: &Visit) -> Result<Value, Turned> {
    let who = signed_in(visit)?;
    let site = who.site(desk).await?;
    desk.may_at(&who.caller, "weigh_in", site.number)?;
    let now_us = desk.now_us().await?;
    let caller = &who.caller;
    let settings = desk.settings(caller, site.number, None).await?;
    let receiving = &settings.receiving;
    let heavy = receiving.heavy_above();
    let histamine = receiving.histamine_limits.iter().map(|row| {
        let mut told = degrees(&row.temperature_at_most);
        told["hours"] = json!(row.hours_at_most);
        told
    });
    let parties = desk.parties(caller).await?;
    let divers = parties
        .iter()
        .filter(|party| party.roles.contains(&PartyRole::Harvester))
        .map(|party| json!([party.code, party.name]));
    let species = desk.species(caller).await?;
    let scales = desk.scales(caller, site.number).await?;
    let scales = scales.iter().map(|scale| {
        json!({
            "code": scale.code, "name": scale.name,
            "division": scale.division.weight.units().to_string(),
        })
    });
    let totes = desk.totes(caller, site.number).await?;
    let totes = totes
        .iter()
        .map(|tote| json!({"code": tote.code, "tare": tote.tare.weight.units().to_string()}));
    let lists = desk.price_lists(caller, site.number, "").await?;
    let agreed = desk.agreed_prices(caller, site.number, "").await?;
    let agreed = agreed
        .iter()
        .filter(|(_, agreed)| now_us < agreed.to_us)
        .map(|(entry, agreed)| {
            json!({
                "entry": entry.to_string(),
                "from_us": agreed.from_us.unwrap_or(i64::MAX).to_string(),
                "to_us": agreed.to_us.to_string(),
                "harvester": agreed.harvester,
                "species": agreed.species,
                "presentation": agreed.presentation.number().to_string(),
                "grade": agreed.grade.as_ref().map(rules::fish::Grade::as_str),
                "e4": agreed.price.e4().to_string(),
                "per": agreed.price.per().symbol(),
                "below_plate": agreed.below_plate,
            })
        });
    Ok(json!({
        "token": who.token(),
        "whose": whose(&who),
        "site": site.number,
        "currency": site.currency.code(),
        "unit": who.unit(&site).of_price().symbol(),
        "day": show::day(site.clock.day_of(now_us)),
        "now_us": now_us.to_string(),
        // A simulated clock stands still until it is set.
        "runs": !desk.clock().is_simulated(),
        "ice_ppm": settings.ice_ppm(),
        "zone": site.clock.zone(),
        "cold": degrees(&receiving.cold_limit()),
        "cool_hours": receiving.hours_to_cool(),
        "probes": [
            json!(receiving.probes_asked(heavy)),
            json!(receiving.probes_asked(Weight::from_units(heavy.units().saturating_add(1)))),
            json!(heavy.units().to_string()),
        ],
        "histamine": histamine.collect::<Vec<_>>(),
        "divers": divers.collect::<Vec<_>>(),
        "scales": scales.collect::<Vec<_>>(),
        "totes": totes.collect::<Vec<_>>(),
        "agreed": agreed.collect::<Vec<_>>(),
        "lists": lists_from(&lists, now_us),
        "species": species
            .iter()
            .map(|species| of_species(visit.language, species, &settings))
            .collect::<Vec<_>>(),
    }))
}

/// The lists that hold now or will, oldest first.
fn lists_from(lists: &[(i64, PriceList)], now_us: i64) -> Vec<Value> {
    let mut told = Vec::new();
    for (entry, list) in lists.iter().rev() {
        let alike: Vec<_> = lists
            .iter()
            .filter(|(_, other)| other.species == list.species)
            .collect();
        let now = in_force(&alike, now_us, |(entry, list)| {
            (list.effective_from_us, *entry)
        });
        let holds = now.is_some_and(|(of, _)| of == entry);
        if holds || list.effective_from_us > now_us {
            told.push(of_list(*entry, list));
        }
    }
    told
}

fn of_list(entry: i64, list: &PriceList) -> Value {
    let e4 = |price: UnitPrice| price.e4().to_string();
    let grade = |grade: &GradePrices| {
        let bands = grade.bands.iter().map(|band| {
            json!({
                "name": band.name,
                "from": band.from.units().to_string(),
                "to": band.to.map(|to| to.units().to_string()),
                "e4": e4(band.price),
            })
        });
        json!({
            "grade": grade.grade.as_str(),
            "bands": bands.collect::<Vec<_>>(),
            "not_counted": grade.not_counted.map(e4),
        })
    };
    let presentations = list.presentations.iter().map(|prices| {
        json!({
            "presentation": prices.presentation.number().to_string(),
            "is_fish": prices.presentation.is_fish(),
            "plate_minimum": prices.plate_minimum.units().to_string(),
            "grades": prices.grades.iter().map(grade).collect::<Vec<_>>(),
        })
    });
    let conditions = list.condition_adjustments.iter();
    let conditions = conditions
        .map(|of| json!({"condition": of.condition.number().to_string(), "e4": e4(of.per_unit)}));
    json!({
        "entry": entry.to_string(),
        "species": list.species,
        "from_us": list.effective_from_us.to_string(),
        "by": match list.band_by { BandBy::Piece => "piece", BandBy::Lot => "lot" },
        "currency": list.currency.code(),
        "per": list.price_per.symbol(),
        "presentations": presentations.collect::<Vec<_>>(),
        "conditions": conditions.collect::<Vec<_>>(),
    })
}

/// A species with its cautions, areas that are of concern for it, its legal limits, and where its small fish is proposed to go by form, by
/// whether it is torn and by the answer at the dock.
fn of_species(language: Language, species: &Species, settings: &Settings) -> Value {
    let w = language.words();
    let said = cautions(&[species], &[species], false);
    let said = said.iter().map(|notice| {
        let (text, is_ours) = language.notice(notice);
        json!({"text": text, "lang": lang(is_ours)})
    });
    let mut small = serde_json::Map::new();
    let forms = Presentation::ALL.iter().filter(|form| form.is_fish());
    for form in forms {
        for (torn, condition) in [(0, None), (1, Some(Condition::Torn))] {
            for decision in [Decision::Accept, Decision::Hold] {
                let sold = SmallFish::Sell;
                let (outlet, why) =
                    undersize::propose(species, *form, condition, decision, sold, settings);
                let to = match outlet {
                    Some(outlet) => format!("{} {}", w.proposed_to, language.term(outlet.word())),
                    None => w.proposed_nowhere.to_owned(),
                };
                let key = format!("{}/{torn}/{}", form.number(), decision.number());
                let (why, is_ours) = language.sentence(&why);
                let why = json!({"text": why, "lang": lang(is_ours)});
                small.insert(key, json!([to, why]));
            }
        }
    }
    let listed = &settings.receiving.areas_of_concern;
    let areas = listed.iter().filter(|row| row.concerns(species));
    let areas = areas.map(|row| {
        json!({
            "system": row.area.system,
            "code": row.area.code,
            "above": row.piece_weight_above.as_ref().map(|of| of.weight.units().to_string()),
            "from": row.days.from.map(|day| day.to_string()),
            "to": row.days.to.map(|day| day.to_string()),
        })
    });
    let limits = settings.receiving.legal_limits.iter();
    let limits = limits.filter(|row| row.species == species.code);
    json!({
        "code": species.code,
        "name": species.name,
        "areas": areas.collect::<Vec<_>>(),
        "limits": limits.filter_map(of_limit).collect::<Vec<_>>(),
        "histamine": species.has(Hazard::Histamine),
        "cautions": said.collect::<Vec<_>>(),
        "small": small,
    })
}

fn degrees(of: &Temperature) -> Value {
    json!({"text": of.text, "unit": of.unit.word()})
}

/// A legal limit and the days of harvest it holds for.
fn of_limit(row: &LegalLimit) -> Option<Value> {
    let mut told = match &row.says {
        LegalRule::MinimumLength(length) => json!({
            "length": length.tenths_of_um()?.to_string(), "words": length.to_string(),
        }),
        LegalRule::Season(Season::Closed) => json!({"closed": true}),
        LegalRule::TripPieces(pieces) => json!({"pieces": pieces}),
        LegalRule::TripWeight(reading) => json!({"weight": reading.weight.units().to_string()}),
    };
    told["from"] = json!(row.days.from.map(|day| day.to_string()));
    told["to"] = json!(row.days.to.map(|day| day.to_string()));
    Some(told)
}

/// `POST /weigh-in/numbers`: lot numbers for this browser, which is put on file first.
pub(crate) async fn numbers(State(house): State<House>, Open(visit, fields): Open) -> Response {
    said(numbered(&house.desk, &visit, &fields).await, &visit)
}

async fn numbered(desk: &Desk, visit: &Visit, fields: &Fields) -> Result<Value, Turned> {
    let who = sender(visit, fields)?;
    let site = site_of(fields);
    let (id, device) = (request_id(fields)?, fields.get("device"));
    let of_the_device = format!("{device}-on-file-{site}");
    desk.record_browser(&who.caller, &of_the_device, site, device)
        .await?;
    let asked = CodesAsked {
        site,
        device: device.to_owned(),
        numbers: counted(fields, "count", MOST_NUMBERS).max(1),
    };
    let booked = desk.request_codes(&who.caller, &id, asked).await?;
    let entry = booked.entry.number();
    let numbers = (1..=booked.asked.numbers).map(|n| (entry + n).to_string());
    Ok(json!({"numbers": numbers.collect::<Vec<_>>()}))
}

fn site_of(fields: &Fields) -> i64 {
    fields.get("site").parse().unwrap_or_default()
}

fn counted(fields: &Fields, name: &str, most: i64) -> i64 {
    let said: i64 = fields.get(name).parse().unwrap_or_default();
    said.clamp(0, most)
}

/// `POST /weigh-in/device`: how many entries this browser has; with `open`, how many of
/// them came to an end since.
pub(crate) async fn device(State(house): State<House>, Open(visit, fields): Open) -> Response {
    said(word(&house.desk, &visit, &fields).await, &visit)
}

async fn word(desk: &Desk, visit: &Visit, fields: &Fields) -> Result<Value, Turned> {
    let who = sender(visit, fields)?;
    let queued = counted(fields, "queued", MOST_QUEUED);
    let open: Option<i64> = fields.get("open").parse().ok();
    let word = DeviceWord {
        site: site_of(fields),
        device: fields.get("device").to_owned(),
        queued,
        resolved: match open {
            Some(_) => counted(fields, "resolved", queued),
            None => 0,
        },
        open,
    };
    let id = request_id(fields)?;
    let booked = desk.device_word(&who.caller, &id, word).await?;
    Ok(json!({"open": booked.entry.number().to_string()}))
}

/// `POST /weigh-in/queued`: books one entry that a browser kept. Sent again it gets its
/// first answer.
pub(crate) async fn queued(State(house): State<House>, Open(visit, fields): Open) -> Response {
    said(taken(&house.desk, &visit, &fields).await, &visit)
}

async fn taken(desk: &Desk, visit: &Visit, fields: &Fields) -> Result<Value, Turned> {
    let who = sender(visit, fields)?;
    let id = request_id(fields)?;
    let number = site_of(fields);
    let sites = desk.sites(&who.caller).await?;
    let site = sites.iter().find(|site| site.number == number);
    let site = site.ok_or(Refused::NotFound)?;
    let mut asked = form::read(who.words(), fields, site, desk.now_us().await?)?;
    read_when(&mut asked, fields);
    asked.device = fields.get("device").to_owned();
    asked.lot_number = fields.get("lot_number").parse().ok();
    asked.offline_payout = offline_payout(fields, site);
    let believed = scale::believed(desk, fields, asked.clone());
    let booked = match desk.weigh_in(&who.caller, &id, believed).await {
        // Sent again once the scale's word is forgotten here: as it was told the first time.
        Err(DeskError::OtherBody) => {
            let captured = scale::all_captured(fields, asked);
            desk.weigh_in(&who.caller, &id, captured).await?
        }
        booked => booked?,
    };
    let ticket = &booked.outcome;
    let changed = ticket
        .notices
        .iter()
        .any(|notice| notice.code == "offline_difference");
    // The last line of such a ticket is the difference, and nothing else makes one.
    let difference = ticket.adjustments.last().filter(|_| changed);
    let notices = ticket.notices.iter();
    let notices = notices.filter(|notice| notice.kind != NoticeKind::Caution);
    let notices = notices.map(|notice| {
        let (text, is_ours) = who.language().notice(notice);
        json!({"text": text, "lang": lang(is_ours)})
    });
    Ok(json!({
        "ticket": booked.entry.to_string(),
        "payout": ticket.payout.to_string(),
        "difference": difference.map(|line| line.amount.to_string()),
        "notices": notices.collect::<Vec<_>>(),
    }))
}

/// When it was first read and when it was sent, by one clock: the price is that of the
/// first reading.
fn read_when(asked: &mut WeighIn, fields: &Fields) {
    asked.first_reading_us = fields.get("first_reading_us").parse().ok();
    asked.sent_us = fields.get("sent_us").parse().ok();
}

/// The payout that the diver was shown without signal, in cents of the site's money.
fn offline_payout(fields: &Fields, site: &Site) -> Option<Money> {
    let minor = fields.get("offline_minor").parse().ok()?;
    Some(Money::new(minor, site.currency))
}
