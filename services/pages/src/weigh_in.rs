//! The weigh-in: tote by tote or fish by fish, looked at before it is booked.
//!
//! "Check" works the ticket out and books nothing; "book" books it with the id that the
//! page has borne from the start, so a form sent twice is one ticket. The page is whole
//! without a script, which adds a keypad and the net of each tote as it is typed.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use desk::Desk;
use rules::fish::{Condition, Grade, Presentation, Storage, Undersize};
use rules::office::{PartyRole, Site};
use rules::ticket::{
    CatchArea, Confirmation, Decision, Landing, LotIn, NoticeKind, Pieces, QuestionAnswer,
    Receiving, SmallFish, Tare, Temperature, TemperatureUnit, Ticket, WeighIn, Weighed, Weighing,
};
use rules::weight::{Reading, ReadingSource, WeightUnit};

use crate::form::{self, Fields, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::received::{self, Found};
use crate::refused::{Refused, answer, rendered};
use crate::scale::{self, Live};
use crate::show;
use crate::visit::{SignedIn, see};
use crate::words::{Language, Words};

/// Rows for totes at first, and how many more at a time.
const ROWS: usize = 3;
/// Most rows for totes.
const MOST_ROWS: usize = 60;
/// Fields for temperatures.
const PROBES: usize = 3;
/// Longest that a word of a form may be.
const LONGEST: usize = 500;

#[derive(Template)]
#[template(path = "weigh_in.html")]
struct Page {
    f: Frame,
    request_id: String,
    /// As typed so far.
    typed: Fields,
    unit: &'static str,
    live: Option<Live>,
    rows: Vec<usize>,
    probes: Vec<usize>,
    divers: Vec<Choice>,
    species: Vec<Choice>,
    presentations: Vec<Choice>,
    storages: Vec<Choice>,
    conditions: Vec<Choice>,
    scales: Vec<Choice>,
    decisions: Vec<Choice>,
    small: Vec<Choice>,
    confirmations: Vec<Choice>,
    /// Why it cannot be booked as it is; empty otherwise.
    error: String,
    checked: Option<Checked>,
}

struct Choice {
    value: String,
    words: String,
}

impl Choice {
    fn new(value: impl ToString, words: impl Into<String>) -> Choice {
        Choice {
            value: value.to_string(),
            words: words.into(),
        }
    }
}

/// What the ticket would be.
struct Checked {
    lines: Vec<Line>,
    found: Vec<Found>,
    probe_again: Vec<String>,
    not_bought: Vec<(String, &'static str)>,
    payout: String,
    held: String,
    cautions: Vec<(String, bool)>,
    warnings: Vec<(String, bool)>,
    questions: Vec<Question>,
}

struct Line {
    band: String,
    pieces: String,
    net: String,
    price: String,
    amount: String,
    small: String,
    /// Why there, and what it takes first, in English.
    small_reason: String,
}

struct Question {
    code: String,
    text: String,
    is_ours: bool,
}

/// `GET /weigh-in`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    let page = shown(&house.desk, &who, Fields::default(), String::new(), None).await;
    answer(&who.visit, page)
}

/// `POST /weigh-in`.
pub(crate) async fn send(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    match sent(&house.desk, &who, fields).await {
        Ok(answer) => answer,
        Err(refused) => refused.page(&who.visit),
    }
}

async fn sent(desk: &Desk, who: &SignedIn, fields: Fields) -> Result<Response, Refused> {
    let site = who.site(desk).await?;
    let step = fields.get("do").to_owned();
    if step == "more" {
        let page = shown(desk, who, fields, String::new(), None).await?;
        return Ok(rendered(axum::http::StatusCode::OK, &page));
    }
    let asked =
        read(who.words(), &fields, site.number).map(|asked| scale::believed(desk, &fields, asked));
    let done = match asked {
        Err(refused) => Err(refused),
        Ok(asked) if step == "book" => {
            let request_id = form::request_id(&fields)?;
            let booked = desk.weigh_in(&who.caller, &request_id, asked).await;
            match booked {
                Ok(booked) => return Ok(see(&format!("/tickets/{}", booked.entry))),
                Err(error) => Err(error.into()),
            }
        }
        Ok(asked) => {
            let tried = desk.try_weigh_in(&who.caller, asked).await;
            tried.map_err(Refused::from)
        }
    };
    let (error, checked, status) = match done {
        Ok((_, ticket)) => {
            let checked = checked(who, &site, &ticket);
            (String::new(), Some(checked), axum::http::StatusCode::OK)
        }
        // What can be mended in the form is said above it, with everything still there.
        Err(Refused::Said { field, rule }) => {
            let error = match field.as_str() {
                "" => rule,
                field => format!("{field}: {rule}"),
            };
            (error, None, axum::http::StatusCode::UNPROCESSABLE_ENTITY)
        }
        Err(other) => return Err(other),
    };
    let page = shown(desk, who, fields, error, checked).await?;
    Ok(rendered(status, &page))
}

async fn shown(
    desk: &Desk,
    who: &SignedIn,
    typed: Fields,
    error: String,
    checked: Option<Checked>,
) -> Result<Page, Refused> {
    let language = who.language();
    let site = who.site(desk).await?;
    desk.may_at(&who.caller, "weigh_in", site.number)?;
    let parties = desk.parties(&who.caller).await?;
    let divers = parties
        .iter()
        .filter(|party| party.roles.contains(&PartyRole::Harvester))
        .map(|party| Choice::new(&party.code, &party.name));
    let species = desk.species(&who.caller).await?;
    let scales = desk.scales(&who.caller, site.number).await?;
    let term = |number: i64, word: &'static str| Choice::new(number, language.term(word));
    let asked_rows = typed.get("rows").parse().unwrap_or(ROWS);
    let more = match typed.get("do") {
        "more" => ROWS,
        _ => 0,
    };
    let request_id = match form::request_id(&typed) {
        Ok(id) => id,
        Err(_) => form::fresh_id(),
    };
    Ok(Page {
        f: Frame::around(who, who.words().weigh_in),
        request_id,
        unit: who.unit(&site).of_price().symbol(),
        live: Live::at(desk, site.number, &typed),
        rows: (1..=(asked_rows + more).clamp(ROWS, MOST_ROWS)).collect(),
        probes: (1..=PROBES).collect(),
        divers: divers.collect(),
        species: species
            .iter()
            .map(|species| Choice::new(&species.code, &species.name))
            .collect(),
        presentations: (0..16)
            .filter_map(Presentation::from_number)
            .filter(|form| form.is_fish())
            .map(|form| term(form.number(), form.word()))
            .collect(),
        storages: (0..16)
            .filter_map(Storage::from_number)
            .map(|storage| term(storage.number(), storage.word()))
            .collect(),
        conditions: (0..16)
            .filter_map(Condition::from_number)
            .map(|condition| term(condition.number(), condition.word()))
            .collect(),
        scales: scales
            .iter()
            .map(|scale| Choice::new(&scale.code, &scale.name))
            .collect(),
        decisions: (0..16)
            .filter_map(Decision::from_number)
            .map(|decision| term(decision.number(), decision.word()))
            .collect(),
        small: (0..16)
            .filter_map(SmallFish::from_number)
            .map(|small| term(small.number(), small.word()))
            .collect(),
        confirmations: (0..16)
            .filter_map(Confirmation::from_number)
            .map(|by| term(by.number(), by.word()))
            .collect(),
        typed,
        error,
        checked,
    })
}

fn short(text: &str) -> String {
    text.chars().take(LONGEST).collect()
}

fn said(field: impl Into<String>, rule: impl Into<String>) -> Refused {
    Refused::Said {
        field: field.into(),
        rule: rule.into(),
    }
}

/// What a form says: one lot of one species, its totes and its fish one by one.
fn read(w: &Words, fields: &Fields, site: i64) -> Result<WeighIn, Refused> {
    let number = |name: &str| fields.get(name).parse::<i64>().ok();
    let needed = |field: &str| said(field, w.is_needed);
    let date = |name: &str, words: &str| match fields.get(name) {
        "" => Ok(None),
        text => text.parse().map(Some).map_err(|_| said(words, w.no_date)),
    };
    for (name, words) in [("harvester", w.diver), ("species", w.species)] {
        if fields.get(name).is_empty() {
            return Err(needed(words));
        }
    }
    let presentation = number("presentation").and_then(Presentation::from_number);
    let decision = number("decision").and_then(Decision::from_number);
    let small_fish = number("small").and_then(SmallFish::from_number);
    let confirmation = number("confirmation").and_then(Confirmation::from_number);
    let areas = match fields.get("area") {
        "" => Vec::new(),
        code => vec![CatchArea {
            system: "site".to_owned(),
            code: short(code),
        }],
    };
    let lot = LotIn {
        species: fields.get("species").to_owned(),
        presentation: presentation.ok_or_else(|| needed(w.form))?,
        storage: number("storage").and_then(Storage::from_number),
        weighings: weighings(w, fields)?,
        receiving: Receiving {
            decision: decision.ok_or_else(|| needed(w.decision))?,
            reason: short(fields.get("reason")),
            corrective_action: short(fields.get("action")),
            first_speared_us: None,
            iced_us: None,
            ice_around: match fields.get("ice_around") {
                "yes" => Some(true),
                "no" => Some(false),
                _ => None,
            },
            probes: probes(fields),
            smallest_length: None,
            area_unclear: !fields.get("area_unclear").is_empty(),
            hold_cause: None,
        },
        small_fish: small_fish.ok_or_else(|| needed(w.small_fish))?,
        areas: Vec::new(),
        harvest_from: None,
        harvest_to: None,
        tally: None,
    };
    let caught = date("caught", w.caught)?;
    Ok(WeighIn {
        site,
        harvester: fields.get("harvester").to_owned(),
        landing: Landing {
            areas,
            harvest_from: caught,
            harvest_to: caught,
            landing_place: short(fields.get("place")),
            landed_on: date("landed", w.landed)?,
            dives: number("dives"),
            ..Landing::default()
        },
        lots: vec![lot],
        confirmation: confirmation.ok_or_else(|| needed(w.confirmed))?,
        first_reading_us: None,
        sent_us: None,
        offline_payout: None,
        device: String::new(),
        rewrites: None,
        payees: Vec::new(),
        adjustments: Vec::new(),
        note: short(fields.get("note")),
        lot_number: None,
        answers: answers(fields),
    })
}

/// Temperatures that were read, each in the form's unit.
fn probes(fields: &Fields) -> Vec<Temperature> {
    let unit = match fields.get("degrees") {
        "C" => TemperatureUnit::Celsius,
        _ => TemperatureUnit::Fahrenheit,
    };
    let texts = (1..=PROBES).map(|n| fields.get(&format!("probe_{n}")));
    texts
        .filter(|text| !text.is_empty())
        .map(|text| Temperature {
            text: short(text),
            unit,
        })
        .collect()
}

/// What was said to the questions that a check asked.
fn answers(fields: &Fields) -> Vec<QuestionAnswer> {
    let codes = (0..fields.count("asked")).map(|n| fields.nth("asked", n));
    codes
        .map(|code| QuestionAnswer {
            code: short(code),
            text: short(fields.get(&format!("answer_{code}"))),
        })
        .filter(|answer| !answer.text.is_empty())
        .collect()
}

fn weighings(w: &Words, fields: &Fields) -> Result<Vec<Weighing>, Refused> {
    let unit = match fields.get("unit") {
        "kg" => WeightUnit::Kg,
        _ => WeightUnit::Lb,
    };
    let weigh = |words: &str, text: &str| {
        let reading = Reading::new(text, unit, fields.get("scale"), ReadingSource::Keyed);
        reading.map_err(|bad| said(words, bad.to_string()))
    };
    let grade = |words: &str, text: &str| match text {
        "" => Ok(Grade::none()),
        text => Grade::new(&text.to_ascii_uppercase()).ok_or_else(|| said(words, w.no_grade)),
    };
    let condition = |name: &str| {
        fields
            .get(name)
            .parse()
            .ok()
            .and_then(Condition::from_number)
    };
    let rows: usize = fields.get("rows").parse().unwrap_or(ROWS);
    let mut weighings = Vec::new();
    for n in 1..=rows.min(MOST_ROWS) {
        let gross = fields.get(&format!("gross_{n}"));
        let tare = fields.get(&format!("tare_{n}"));
        if gross.is_empty() && tare.is_empty() {
            continue;
        }
        let at = |what: &str| format!("{} {n}, {what}", w.tote);
        let tote = fields.get(&format!("tote_{n}"));
        let tare = match (tare, tote) {
            ("", "") => Tare::Tared,
            ("", code) => Tare::Tote {
                code: code.to_owned(),
                posted: None,
            },
            (text, _) => Tare::Reading(weigh(&at(w.tare), text)?),
        };
        let pieces = match fields.get(&format!("pieces_{n}")) {
            "" => Pieces::NotCounted,
            text => {
                let pieces = text.parse().map_err(|_| said(at(w.pieces), w.no_number))?;
                match fields.get(&format!("about_{n}")) {
                    "" => Pieces::Counted(pieces),
                    _ => Pieces::Estimated(pieces),
                }
            }
        };
        weighings.push(Weighing {
            grade: grade(&at(w.grade), fields.get(&format!("grade_{n}")))?,
            condition: condition(&format!("condition_{n}")),
            weighed: Weighed::Tote {
                gross: weigh(&at(w.gross), gross)?,
                tare,
                iced: !fields.get(&format!("iced_{n}")).is_empty(),
                pieces,
            },
        });
    }
    let texts: Vec<&str> = fields.get("fish").split_whitespace().collect();
    if !texts.is_empty() {
        let fish: Result<Vec<_>, _> = texts.iter().map(|text| weigh(w.one_by_one, text)).collect();
        weighings.push(Weighing {
            grade: grade(w.one_by_one, fields.get("grade_fish"))?,
            condition: condition("condition_fish"),
            weighed: Weighed::Pieces(fish?),
        });
    }
    if weighings.is_empty() {
        return Err(said(w.gross, w.is_needed));
    }
    Ok(weighings)
}

fn checked(who: &SignedIn, site: &Site, ticket: &Ticket) -> Checked {
    let (w, language) = (who.words(), who.language());
    let unit = who.unit(site);
    let line = |line: &rules::ticket::Line| Line {
        band: match line.band {
            0 => w.not_counted.to_owned(),
            _ => {
                let edges = show::band(w, line.band_from, line.band_to, unit);
                format!("{}, {edges}", line.band_name)
            }
        },
        pieces: show::pieces(w, line.pieces),
        net: show::weight(line.net, unit),
        price: line.price.to_string(),
        amount: line.amount.to_string(),
        small: small_fish(w, language, line),
        small_reason: line.proposed_reason.clone(),
    };
    let said = |kind: NoticeKind| {
        let of = ticket
            .notices
            .iter()
            .filter(move |notice| notice.kind == kind);
        of.map(|notice| language.notice(notice))
    };
    let questions = ticket.notices.iter();
    let questions = questions.filter(|notice| notice.kind == NoticeKind::Question);
    Checked {
        lines: ticket.lines.iter().map(line).collect(),
        found: ticket
            .lots
            .iter()
            .flat_map(|lot| received::found(language, &lot.received))
            .collect(),
        probe_again: ticket
            .lots
            .iter()
            .map(|lot| received::probe_again(w, site, &lot.received))
            .filter(|words| !words.is_empty())
            .collect(),
        not_bought: ticket
            .not_bought
            .iter()
            .map(|row| (show::weight(row.net, unit), language.term(row.why.word())))
            .collect(),
        payout: ticket.payout.to_string(),
        held: show::money_unless_zero(ticket.held),
        cautions: said(NoticeKind::Caution).collect(),
        warnings: said(NoticeKind::Warning).collect(),
        questions: questions
            .map(|notice| {
                let (text, is_ours) = language.notice(notice);
                Question {
                    code: notice.code.clone(),
                    text,
                    is_ours,
                }
            })
            .collect(),
    }
}

fn small_fish(w: &Words, language: Language, line: &rules::ticket::Line) -> String {
    match (line.undersize, line.proposed) {
        (Undersize::No, _) => String::new(),
        (Undersize::NotKnown, _) => w.not_known.to_owned(),
        (Undersize::Yes, Some(outlet)) => {
            format!("{} {}", w.proposed_to, language.term(outlet.word()))
        }
        (Undersize::Yes, None) => w.proposed_nowhere.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;

    fn fields(more: &[(&str, &str)]) -> Fields {
        let base = [
            ("harvester", "wren-haldane"),
            ("species", "PZO"),
            ("presentation", "1"),
            ("decision", "1"),
            ("small", "1"),
            ("confirmation", "1"),
            ("unit", "lb"),
            ("scale", "dock"),
        ];
        Fields::of(&[more, &base].concat())
    }

    #[test]
    fn a_form_is_read_tote_by_tote_and_fish_by_fish() {
        let w = Language::English.words();
        let asked = read(
            w,
            &fields(&[
                ("rows", "3"),
                ("gross_1", "45.60"),
                ("tare_1", "3.60"),
                ("pieces_1", "30"),
                ("grade_1", "a"),
                ("condition_1", "1"),
                ("iced_1", "yes"),
                ("gross_3", "12.00"),
                ("tote_3", "blue-4"),
                ("pieces_3", "9"),
                ("about_3", "yes"),
                ("fish", "1.20 0.85\n2.10"),
                ("grade_fish", "B"),
                ("probe_1", "38"),
                ("probe_3", "37.5"),
                ("caught", "2031-05-02"),
                ("asked", "cull"),
                ("answer_cull", "he keeps them in"),
            ]),
            1,
        );
        let asked = asked.unwrap();
        let lot = &asked.lots[0];
        assert_eq!(lot.weighings.len(), 3);
        let Weighed::Tote {
            gross,
            iced,
            pieces,
            ..
        } = &lot.weighings[0].weighed
        else {
            panic!("a tote");
        };
        assert_eq!(
            (gross.text.as_str(), gross.scale.as_str()),
            ("45.60", "dock")
        );
        assert!(*iced && *pieces == Pieces::Counted(30));
        assert_eq!(lot.weighings[0].grade.as_str(), "A");
        let Weighed::Tote { tare, pieces, .. } = &lot.weighings[1].weighed else {
            panic!("a tote");
        };
        assert!(matches!(tare, Tare::Tote { code, posted: None } if code == "blue-4"));
        assert_eq!(*pieces, Pieces::Estimated(9));
        let Weighed::Pieces(fish) = &lot.weighings[2].weighed else {
            panic!("fish");
        };
        assert_eq!(fish.len(), 3);
        assert_eq!(lot.receiving.probes.len(), 2);
        assert_eq!(asked.landing.harvest_from, asked.landing.harvest_to);
        assert_eq!(asked.answers[0].text, "he keeps them in");
    }

    #[test]
    fn what_cannot_be_read_is_named_by_its_tote() {
        let w = Language::English.words();
        for (more, named) in [
            (vec![], "Gross"),
            (vec![("gross_2", "x"), ("tare_2", "3")], "tote 2, Gross"),
            (vec![("gross_1", "20"), ("tare_1", "-3")], "tote 1, Tare"),
            (
                vec![("gross_1", "20"), ("pieces_1", "many")],
                "tote 1, Fish counted",
            ),
            (
                vec![("gross_1", "20"), ("grade_1", "very good")],
                "tote 1, Grade",
            ),
            (vec![("fish", "1.2 heavy")], "one by one"),
            (vec![("gross_1", "20"), ("caught", "yesterday")], "Caught"),
        ] {
            match read(w, &fields(&more), 1) {
                Err(Refused::Said { field, .. }) => assert_eq!(field, named),
                other => panic!("{more:?}: {other:?}"),
            }
        }
        let nobody = Fields::of(&[("species", "PZO")]);
        assert_eq!(read(w, &nobody, 1), Err(said("Diver", "is needed")));
    }

    fn sample(language: Language, error: &str, checked: Option<Checked>) -> Page {
        let visit = Visit::sample(language, Some(Role::Buyer));
        let w = visit.words();
        let one = |value: &str| vec![Choice::new(value, value)];
        Page {
            f: Frame::of(&visit, w.weigh_in),
            request_id: "an id".to_owned(),
            typed: fields(&[("gross_1", "45.60")]),
            live: Some(Live {
                codes: "dock".to_owned(),
                marks: vec!["45.60 lb".to_owned()],
                script: "/look/scale.js",
            }),
            unit: "lb",
            rows: vec![1, 2, 3],
            probes: vec![1, 2, 3],
            divers: one("wren-haldane"),
            species: one("PZO"),
            presentations: one("1"),
            storages: one("1"),
            conditions: one("1"),
            scales: one("dock"),
            decisions: one("1"),
            small: one("1"),
            confirmations: one("1"),
            error: error.to_owned(),
            checked,
        }
    }

    #[test]
    fn it_renders_empty_refused_and_checked_in_both_languages() {
        for language in Language::ALL {
            let html = sample(language, "", None).render().unwrap();
            assert!(
                html.contains("value=\"45.60\""),
                "what was typed is still there"
            );
            assert!(!html.contains("value=\"book\""), "first it is looked at");
            let html = sample(language, "tote 1: too heavy", None)
                .render()
                .unwrap();
            assert!(html.contains("role=\"alert\"") && html.contains("tote 1: too heavy"));
            let checked = Checked {
                lines: vec![Line {
                    band: "undersize, 0.00 to under 0.50 lb".to_owned(),
                    pieces: "30".to_owned(),
                    net: "12.00 lb".to_owned(),
                    price: "1.25 USD/lb".to_owned(),
                    amount: "15.00 USD".to_owned(),
                    small: "proposed to soup-grade".to_owned(),
                    small_reason: "Gutted and head-off first.".to_owned(),
                }],
                found: vec![Found {
                    standing: language.term("not set"),
                    rules: language.term("season").to_owned(),
                    texts: Vec::new(),
                }],
                probe_again: vec!["probe it again by 2031-05-02 18:32".to_owned()],
                not_bought: vec![("3.00 lb".to_owned(), language.term("refused"))],
                payout: "15.00 USD".to_owned(),
                held: "1.00 USD".to_owned(),
                cautions: vec![("The spines stay venomous.".to_owned(), false)],
                warnings: vec![("Odd.".to_owned(), false)],
                questions: vec![Question {
                    code: "cull".to_owned(),
                    text: "Cull?".to_owned(),
                    is_ours: false,
                }],
            };
            let html = sample(language, "", Some(checked)).render().unwrap();
            for shown in [
                "15.00 USD",
                "proposed to soup-grade",
                "The spines",
                "Cull?",
                "name=\"answer_cull\"",
                "value=\"book\"",
            ] {
                assert!(html.contains(shown), "{shown}");
            }
        }
    }
}
