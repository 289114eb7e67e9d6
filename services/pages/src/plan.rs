//! Where small fish goes, and why: the plan as things stand, what was pinned or forbidden
//! and what that costs, and the plan that was taken.
//!
//! "What if" supposes a choice and shows both results; it writes nothing. A pin that a
//! safety rule forbids is refused by the desk, in the rule's words.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use desk::access::{Reach, reach};
use desk::{Desk, ProposalAsked};
use rules::ids::{EntryId, LotCode, PartId};
use rules::money::{Currency, Money};
use rules::office::Site;
use rules::outlet::plan::{
    Change, Choice, ChoiceAsked, ChoiceKind, Plan, PlanLine, PlanPart, PlanTaken,
};
use rules::weight::{Reading, ReadingSource, WeightUnit};

use crate::form::{self, Fields, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer, rendered};
use crate::show;
use crate::visit::{SignedIn, see};
use crate::words::{Said, Words};

/// Longest that a reason may be.
const LONGEST: usize = 500;

#[derive(Template)]
#[template(path = "plan.html")]
struct Page {
    f: Frame,
    /// As typed so far.
    typed: Fields,
    request_id: String,
    unit: &'static str,
    /// Why a choice cannot stand; empty otherwise.
    error: Said,
    /// When it was worked out.
    asked: String,
    /// Of a plan that was taken: its entry.
    taken: String,
    /// What the plan comes to without what is supposed; empty where nothing is.
    without: Vec<(&'static str, String)>,
    result: Vec<(&'static str, String)>,
    parts: Vec<Part>,
    rooms: Vec<Room>,
    choices: Vec<Made>,
    /// What was joined or dropped, and what the figures leave out.
    remarks: Vec<Said>,
    digest: String,
    /// Whether the caller may choose and take it.
    may_choose: bool,
}

/// A part of a lot and where it goes.
struct Part {
    id: String,
    lot: String,
    fish: String,
    weight: String,
    since: String,
    lines: Vec<Line>,
    /// What finds no place, and why.
    left: String,
    why_left: Said,
    next_best: String,
    /// Rooms it may not go to, with the rules that say so.
    refused: Vec<(String, Vec<Said>)>,
}

struct Line {
    /// Its number in a plan that was taken, else 0.
    n: usize,
    room: String,
    weight: String,
    delivered: String,
    first: &'static str,
    money: String,
    by: String,
    is_pinned: bool,
}

struct Room {
    code: String,
    name: String,
    kind: &'static str,
    takes: String,
    promised: String,
    planned: String,
    one_more: String,
}

struct Made {
    what: &'static str,
    part: String,
    room: String,
    cost: String,
    reason: String,
}

/// `GET /plan`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    let page = shown(&house.desk, &who, Fields::default(), Said::default(), None).await;
    answer(&who.visit, page)
}

/// `GET /plan/{id}`: one that was taken.
pub(crate) async fn taken_page(
    State(house): State<House>,
    who: SignedIn,
    Path(id): Path<String>,
) -> Response {
    answer(&who.visit, taken(&house.desk, &who, &id).await)
}

/// `POST /plan`.
pub(crate) async fn send(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    match sent(&house.desk, &who, fields).await {
        Ok(answer) => answer,
        Err(refused) => refused.page(&who.visit),
    }
}

async fn sent(desk: &Desk, who: &SignedIn, fields: Fields) -> Result<Response, Refused> {
    let site = who.site(desk).await?;
    let done = match fields.get("do") {
        "take" => take(desk, who, &fields, &site).await,
        step => match read(who.words(), &fields, site.number) {
            Err(refused) => Err(refused),
            Ok(asked) if step == "record" => {
                let request_id = form::request_id(&fields)?;
                let chosen = desk.choose_outlet(&who.caller, &request_id, asked).await;
                chosen.map(|_| "/plan".to_owned()).map_err(Refused::from)
            }
            Ok(asked) => {
                let supposed = Some(asked.choice);
                match shown(desk, who, fields.clone(), Said::default(), supposed).await {
                    Ok(page) => return Ok(rendered(StatusCode::OK, &page)),
                    Err(refused) => Err(refused),
                }
            }
        },
    };
    let rule = match done {
        Ok(path) => return Ok(see(&path)),
        Err(refused) => refused.in_form(who.language(), |field| {
            field.contains('.') || field == "digest"
        })?,
    };
    let page = shown(desk, who, fields, rule, None).await?;
    Ok(rendered(StatusCode::UNPROCESSABLE_ENTITY, &page))
}

/// Takes the plan that was looked at; the page of it.
async fn take(
    desk: &Desk,
    who: &SignedIn,
    fields: &Fields,
    site: &Site,
) -> Result<String, Refused> {
    let request_id = form::request_id(fields)?;
    let asked = PlanTaken {
        site: site.number,
        day: 0,
        digest: fields.get("digest").to_owned(),
    };
    let taken = desk.take_plan(&who.caller, &request_id, asked).await?;
    Ok(format!("/plan/{}", taken.entry))
}

/// The choice that a form says.
fn read(w: &Words, fields: &Fields, site: i64) -> Result<ChoiceAsked, Refused> {
    let needed = |field: &str| Refused::said(field, w.is_needed);
    let part = fields.get("part").split_once('/').and_then(|(lot, n)| {
        Some(PartId {
            lot: LotCode::parse(lot)?,
            n: n.parse().ok()?,
        })
    });
    let kind = fields.get("kind").parse().ok();
    let unit = match fields.get("unit") {
        "kg" => WeightUnit::Kg,
        _ => WeightUnit::Lb,
    };
    let weight = match fields.get("weight") {
        "" => None,
        text => {
            let reading = Reading::new(text, unit, "", ReadingSource::Keyed);
            Some(reading.map_err(|bad| Refused::said(w.how_much, bad.to_string()))?)
        }
    };
    if fields.get("room").is_empty() {
        return Err(needed(w.room));
    }
    if fields.get("reason").is_empty() {
        return Err(needed(w.reason));
    }
    Ok(ChoiceAsked {
        site,
        choice: Choice {
            kind: kind
                .and_then(ChoiceKind::from_number)
                .ok_or_else(|| needed(w.choice))?,
            part: part.ok_or_else(|| needed(w.which_fish))?,
            room: fields.get("room").to_owned(),
            weight,
            reason: fields.get("reason").chars().take(LONGEST).collect(),
        },
    })
}

async fn shown(
    desk: &Desk,
    who: &SignedIn,
    typed: Fields,
    error: Said,
    supposed: Option<Choice>,
) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    let asked = ProposalAsked {
        site: site.number,
        ..ProposalAsked::default()
    };
    let found = desk.propose_plan(&who.caller, asked.clone()).await?;
    let drawing = Drawing::of(desk, who, &site);
    let Some(supposed) = supposed else {
        let title = who.words().plan.to_owned();
        let page = drawing.page(title, &found.plan, found.asked_us, typed, error);
        return Ok(Page {
            digest: found.digest,
            ..page
        });
    };
    let what_if = ProposalAsked {
        what_if_choices: vec![supposed],
        ..asked
    };
    let other = desk.propose_plan(&who.caller, what_if).await?;
    let title = who.words().plan_what_if.to_owned();
    let page = drawing.page(title, &other.plan, other.asked_us, typed, error);
    Ok(Page {
        without: drawing.result(&found.plan.result),
        ..page
    })
}

async fn taken(desk: &Desk, who: &SignedIn, id: &str) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    let id = EntryId::parse(id);
    let found = desk.plan(&who.caller, id.ok_or(Refused::NotFound)?).await?;
    if found.asked.site != site.number {
        return Err(Refused::NotFound);
    }
    let title = who.words().plan_taken.to_owned();
    let page = Drawing::of(desk, who, &site).page(
        title,
        &found.outcome,
        found.recorded_us,
        Fields::default(),
        Said::default(),
    );
    let parts = page.parts;
    Ok(Page {
        taken: found.entry.to_string(),
        parts: numbered(parts, &found.outcome),
        may_choose: false,
        ..page
    })
}

/// Parts with the numbers by which fish leaves by a line.
fn numbered(mut parts: Vec<Part>, plan: &Plan) -> Vec<Part> {
    for part in &mut parts {
        let of_part = (1..)
            .zip(&plan.lines)
            .filter(|(_, line)| line.part.to_string() == part.id);
        for (shown, (n, _)) in part.lines.iter_mut().zip(of_part) {
            shown.n = n;
        }
    }
    parts
}

/// What a plan is drawn with.
struct Drawing<'a> {
    who: &'a SignedIn,
    site: &'a Site,
    unit: WeightUnit,
    currency: Currency,
    /// Names of species by their codes.
    species: BTreeMap<String, String>,
}

impl<'a> Drawing<'a> {
    fn of(desk: &Desk, who: &'a SignedIn, site: &'a Site) -> Drawing<'a> {
        let office = desk.office();
        let species = office.species.values();
        Drawing {
            who,
            site,
            unit: who.unit(site),
            currency: site.currency,
            species: species
                .map(|species| (species.code.clone(), species.name.clone()))
                .collect(),
        }
    }

    fn page(&self, title: String, plan: &Plan, asked_us: i64, typed: Fields, error: Said) -> Page {
        let language = self.who.language();
        let name = |code: &str| {
            let room = plan.rooms.iter().find(|room| room.room == code);
            room.map_or_else(|| code.to_owned(), |room| room.name.clone())
        };
        let rooms = plan.rooms.iter().map(|room| Room {
            code: room.room.clone(),
            name: room.name.clone(),
            kind: language.term(room.kind.word()),
            takes: show::weight(room.weight, self.unit),
            promised: show::weight_unless_zero(room.promised, self.unit),
            planned: show::weight(room.planned, self.unit),
            one_more: room.one_more.as_ref().map_or_else(String::new, |more| {
                let kept = show::weight(more.kept, self.unit);
                format!("{}, {kept}", self.money(more.money_minor))
            }),
        });
        let choices = plan.choices.iter().map(|of| Made {
            what: language.term(of.choice.kind.word()),
            part: of.choice.part.to_string(),
            room: name(&of.choice.room),
            cost: self.change(&of.cost),
            reason: of.choice.reason.clone(),
        });
        let rules = plan.tidied.iter().chain(&plan.remarks);
        Page {
            f: Frame::around(self.who, title),
            request_id: form::request_id(&typed).unwrap_or_else(|_| form::fresh_id()),
            typed,
            unit: self.unit.of_price().symbol(),
            error,
            asked: show::instant(self.site, asked_us),
            taken: String::new(),
            without: Vec::new(),
            result: self.result(&plan.result),
            parts: plan
                .parts
                .iter()
                .map(|part| self.part(plan, part))
                .collect(),
            rooms: rooms.collect(),
            choices: choices.collect(),
            remarks: rules.map(|of| language.sentence(of)).collect(),
            digest: String::new(),
            may_choose: reach(self.who.caller.role, "choice") != Reach::No,
        }
    }

    fn money(&self, minor: i64) -> String {
        Money::new(minor, self.currency).to_string()
    }

    fn result(&self, of: &Change) -> Vec<(&'static str, String)> {
        let w = self.who.words();
        vec![
            (w.promised_filled, show::weight(of.promised, self.unit)),
            (w.kept_from_discard, show::weight(of.kept, self.unit)),
            (w.brings_net, self.money(of.money_minor)),
        ]
    }

    /// `0.00 lb promised, 3.00 lb kept, 4.50 USD`.
    fn change(&self, of: &Change) -> String {
        let w = self.who.words();
        format!(
            "{} {}, {} {}, {}",
            show::weight(of.promised, self.unit),
            w.promised,
            show::weight(of.kept, self.unit),
            w.kept_word,
            self.money(of.money_minor)
        )
    }

    fn part(&self, plan: &Plan, part: &PlanPart) -> Part {
        let (w, language) = (self.who.words(), self.who.language());
        let name = |code: &str| match plan.rooms.iter().find(|room| room.room == code) {
            Some(room) => room.name.clone(),
            None if code.is_empty() => w.no_place.to_owned(),
            None => code.to_owned(),
        };
        let line = |line: &PlanLine| Line {
            n: 0,
            room: line.room_name.clone(),
            weight: show::weight(line.weight, self.unit),
            delivered: show::weight(line.delivered, self.unit),
            first: line.dress.map_or("", |form| language.term(form.word())),
            money: self.money(line.net_minor),
            by: match line.leaves_us {
                i64::MAX => String::new(),
                us => show::instant(self.site, us),
            },
            is_pinned: line.pinned,
        };
        let species = self.species.get(&part.species);
        let refused = part.refused.iter().map(|(room, why)| {
            let why = why.iter().map(|why| {
                let (text, is_ours) = language.sentence(&why.text);
                // A sentence in English is said with the rule's word in English.
                let rule = match is_ours {
                    true => language.term(why.rule.word()),
                    false => why.rule.word(),
                };
                (format!("{rule}: {text}"), is_ours)
            });
            (name(room), why.collect())
        });
        Part {
            id: part.part.to_string(),
            lot: part.part.lot.to_string(),
            fish: format!(
                "{}, {}",
                species.unwrap_or(&part.species),
                language.term(part.presentation.word())
            ),
            weight: show::weight(part.weight, self.unit),
            since: match part.harvested_us {
                0 => String::new(),
                us => show::instant(self.site, us),
            },
            lines: plan
                .lines
                .iter()
                .filter(|line| line.part == part.part)
                .map(&line)
                .collect(),
            left: show::weight_unless_zero(part.left, self.unit),
            why_left: language.sentence(&part.why_left),
            next_best: part.next_best.as_ref().map_or_else(String::new, |next| {
                format!("{}: {}", name(&next.room), self.change(&next.change))
            }),
            refused: refused.collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    const PART: &str = "20310502000100000031/2";

    fn typed(pairs: &[(&str, &str)]) -> Fields {
        let mut all = vec![
            ("part", PART),
            ("kind", "1"),
            ("room", "parish-pantry"),
            ("reason", "promised by telephone"),
        ];
        all.retain(|(name, _)| pairs.iter().all(|(other, _)| other != name));
        all.extend(pairs);
        Fields::of(&all)
    }

    #[test]
    fn a_choice_is_read_and_what_it_lacks_is_named() {
        let w = Language::English.words();
        let asked = read(w, &typed(&[("weight", "6.00")]), 1).unwrap();
        let choice = asked.choice;
        assert_eq!(
            (choice.kind, choice.part.to_string().as_str()),
            (ChoiceKind::Pin, PART)
        );
        assert_eq!(choice.weight.unwrap().text, "6.00");
        assert_eq!(read(w, &typed(&[]), 1).unwrap().choice.weight, None);
        let check = |name: &str, text: &str, field: &str| match read(w, &typed(&[(name, text)]), 1)
        {
            Err(Refused::Said { field: at, .. }) => assert_eq!(at, field),
            other => panic!("{name}: {other:?}"),
        };
        check("part", "2031", w.which_fish);
        check("kind", "9", w.choice);
        check("room", "", w.room);
        check("weight", "much", w.how_much);
        check("reason", " ", w.reason);
    }

    #[test]
    fn it_renders_empty_full_supposed_and_taken_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let page = |parts, taken: &str, digest: &str, error: &str| Page {
                f: Frame::of(&visit, w.plan),
                typed: typed(&[("weight", "6.00")]),
                request_id: "r-1".to_owned(),
                unit: "lb",
                error: (error.to_owned(), true),
                asked: "2031-05-02 18:00".to_owned(),
                taken: taken.to_owned(),
                without: vec![(w.brings_net, "9.00 USD".to_owned())],
                result: vec![(w.brings_net, "7.00 USD".to_owned())],
                parts,
                rooms: vec![Room {
                    code: "parish-pantry".to_owned(),
                    name: "Parish pantry".to_owned(),
                    kind: language.term("donation"),
                    takes: "20.00 lb".to_owned(),
                    promised: String::new(),
                    planned: "6.00 lb".to_owned(),
                    one_more: "0.00 USD, 1.00 lb".to_owned(),
                }],
                choices: vec![Made {
                    what: language.term("pin"),
                    part: PART.to_owned(),
                    room: "Parish pantry".to_owned(),
                    cost: "0.00 lb, 2.00 USD".to_owned(),
                    reason: "promised by telephone".to_owned(),
                }],
                remarks: vec![("A drop was joined.".to_owned(), false)],
                digest: digest.to_owned(),
                may_choose: taken.is_empty(),
            };
            let part = |n| Part {
                id: PART.to_owned(),
                lot: "20310502000100000031".to_owned(),
                fish: "Lionfish, whole".to_owned(),
                weight: "9.00 lb".to_owned(),
                since: "2031-05-02 09:00".to_owned(),
                lines: vec![Line {
                    n,
                    room: "Parish pantry".to_owned(),
                    weight: "6.00 lb".to_owned(),
                    delivered: "4.80 lb".to_owned(),
                    first: language.term("gutted and headed"),
                    money: "0.00 USD".to_owned(),
                    by: "2031-05-03 10:00".to_owned(),
                    is_pinned: true,
                }],
                left: "3.00 lb".to_owned(),
                why_left: ("No room is left.".to_owned(), false),
                next_best: "Soup kettle: 0.00 lb".to_owned(),
                refused: vec![(
                    "Soup kettle".to_owned(),
                    vec![("too old: by 3 hours".to_owned(), false)],
                )],
            };
            let html = page(vec![part(0)], "", "abc", "it may not")
                .render()
                .unwrap();
            for shown in [
                "Parish pantry",
                "too old: by 3 hours",
                "value=\"take\"",
                "value=\"abc\"",
                "role=\"alert\"",
                "value=\"promised by telephone\"",
                "A drop was joined.",
                w.supposed,
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            let html = page(vec![part(3)], "2031050200010000044", "", "")
                .render()
                .unwrap();
            assert!(html.contains(&format!("{} 3: ", w.line)), "{html}");
            assert!(!html.contains("value=\"take\"") && !html.contains("name=\"reason\""));
            let html = page(Vec::new(), "", "abc", "").render().unwrap();
            assert!(html.contains(w.no_small_fish) && !html.contains("value=\"take\""));
        }
    }
}
