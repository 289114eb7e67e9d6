//! Recording a cut: what went onto the table, what came out, and how long it took.
//!
//! The form is whole without a script; with one a timer fills in the minutes. At the
//! own table fish is taken from lots; a customer's kitchen cuts from what was sent to it.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use desk::{Booked, Desk, Role, TicketRange};
use rules::fish::{Grade, Presentation, Storage};
use rules::ids::LotCode;
use rules::making::{Fate, Making, MakingAsked, MakingInput, MakingKind, MakingOutput, Source};
use rules::office::{PartyRole, Site};
use rules::stock::PartRef;
use rules::ticket::NoticeKind;
use rules::weight::{Reading, ReadingSource, WeightUnit};

use crate::form::{self, Fields, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer, rendered};
use crate::show;
use crate::visit::SignedIn;
use crate::words::{Said, Words};

/// Rows for what goes in.
const INPUTS: usize = 4;
/// What may come out, in the order of the page.
const OUTPUTS: [Presentation; 6] = [
    Presentation::FilletSkinless,
    Presentation::FilletSkinOn,
    Presentation::Trim,
    Presentation::Frames,
    Presentation::Roe,
    Presentation::Other,
];
/// Most tickets of a day, and most days since the last close, that are offered.
const MOST_TICKETS: i64 = 200;
const MOST_DAYS: usize = 7;
/// Longest that a word of a form may be.
const LONGEST: usize = 200;

#[derive(Template)]
#[template(path = "cut.html")]
struct Page {
    f: Frame,
    request_id: String,
    /// As typed so far.
    typed: Fields,
    /// Why it was not booked; empty at first.
    error: Said,
    unit: &'static str,
    /// A customer's kitchen cuts from what was sent to it.
    is_kitchen: bool,
    inputs: Vec<usize>,
    outputs: Vec<(i64, &'static str)>,
    storages: Vec<(i64, &'static str)>,
    /// Who may have cut; empty where it is the caller.
    cutters: Vec<(String, String)>,
    scales: Vec<(String, String)>,
    /// Parts that are on hand by the book, to choose from.
    on_hand: Vec<(String, String)>,
    /// What was brought to a customer's kitchen, to choose from.
    deliveries: Vec<(String, String)>,
    /// Fillet at the own table by the book, the oldest first.
    fillet: Vec<Fillet>,
}

struct Fillet {
    part: String,
    fish: String,
    weight: String,
    since: String,
    is_old: bool,
}

#[derive(Template)]
#[template(path = "cut_done.html")]
struct Done {
    f: Frame,
    id: String,
    sums: Vec<(&'static str, String)>,
    percent: String,
    lots: Vec<(String, String, String)>,
    cautions: Vec<(String, bool)>,
    warnings: Vec<(String, bool)>,
}

/// `GET /cut`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    let page = shown(&house.desk, &who, Fields::default(), Said::default()).await;
    answer(&who.visit, page)
}

/// `POST /cut`.
pub(crate) async fn record(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    let rule = match recorded(&house.desk, &who, &fields).await {
        Ok(done) => return answer(&who.visit, Ok(done)),
        Err(refused) => match refused.in_form(who.language(), |_| false) {
            Ok(rule) => rule,
            Err(refused) => return refused.page(&who.visit),
        },
    };
    match shown(&house.desk, &who, fields, rule).await {
        Ok(page) => rendered(StatusCode::UNPROCESSABLE_ENTITY, &page),
        Err(refused) => refused.page(&who.visit),
    }
}

/// Whether the caller is a customer's kitchen, which has no table of the house.
fn is_kitchen(desk: &Desk, who: &SignedIn) -> bool {
    who.caller.role == Role::Kitchen && !desk.is_staff(&who.caller)
}

/// What a page calls fish.
fn fish(desk: &Desk, who: &SignedIn, species: &str, form: Presentation) -> String {
    let office = desk.office();
    let known = office.species.get(species);
    let name = known.map_or(species, |species| species.name.as_str());
    format!("{name}, {}", who.language().term(form.word()))
}

/// What was brought to the caller's kitchen in the last days, each with its number.
async fn brought(
    desk: &Desk,
    who: &SignedIn,
    site: &Site,
) -> Result<Vec<(String, String)>, Refused> {
    let deliveries = desk.deliveries(&who.caller, site.number).await?;
    let shown = deliveries.iter().map(|of| {
        let fish: Vec<_> = of
            .fish
            .iter()
            .map(|(species, form)| fish(desk, who, species, *form))
            .collect();
        let when = show::instant(site, of.left_us);
        let weight = show::weight(of.weight, who.unit(site));
        let words = format!("{when}: {}, {weight}", fish.join("; "));
        (of.movement.to_string(), words)
    });
    Ok(shown.collect())
}

async fn on_the_table(desk: &Desk, who: &SignedIn, site: &Site) -> Result<Vec<Fillet>, Refused> {
    let found = desk.fillet_on_hand(&who.caller, site.number).await?;
    let shown = found.iter().map(|of| Fillet {
        part: of.part.to_string(),
        fish: fish(desk, who, &of.species, of.presentation),
        weight: show::weight(of.weight, who.unit(site)),
        since: show::instant(site, of.made_us),
        is_old: of.is_old,
    });
    Ok(shown.collect())
}

async fn shown(desk: &Desk, who: &SignedIn, typed: Fields, error: Said) -> Result<Page, Refused> {
    let language = who.language();
    let site = who.site(desk).await?;
    desk.may_at(&who.caller, "making", site.number)?;
    let is_own_only = who.caller.role.is_own_only();
    let (mut cutters, mut scales, mut on_hand) = (Vec::new(), Vec::new(), Vec::new());
    if !is_own_only {
        let parties = desk.parties(&who.caller).await?;
        let cuts = |roles: &[PartyRole]| roles.contains(&PartyRole::Staff);
        let parties = parties.into_iter().filter(|party| cuts(&party.roles));
        cutters = parties.map(|party| (party.code, party.name)).collect();
        let all = desk.scales(&who.caller, site.number).await?;
        on_hand = parts_on_hand(desk, who, &site).await?;
        scales = all
            .into_iter()
            .map(|scale| (scale.code, scale.name))
            .collect();
    }
    let is_kitchen = is_kitchen(desk, who);
    let (mut deliveries, mut fillet) = (Vec::new(), Vec::new());
    match is_kitchen {
        true => deliveries = brought(desk, who, &site).await?,
        false => fillet = on_the_table(desk, who, &site).await?,
    }
    Ok(Page {
        f: Frame::around(who, who.words().cut),
        request_id: form::request_id(&typed).unwrap_or_else(|_| form::fresh_id()),
        deliveries,
        fillet,
        typed,
        error,
        unit: who.unit(&site).of_price().symbol(),
        is_kitchen,
        inputs: (1..=INPUTS).collect(),
        outputs: OUTPUTS
            .iter()
            .map(|form| (form.number(), language.term(form.word())))
            .collect(),
        storages: (0..16)
            .filter_map(Storage::from_number)
            .map(|storage| (storage.number(), language.term(storage.word())))
            .collect(),
        cutters,
        scales,
        on_hand,
    })
}

/// What the last close left of fish, and what was bought since: each with its code.
async fn parts_on_hand(
    desk: &Desk,
    who: &SignedIn,
    site: &Site,
) -> Result<Vec<(String, String)>, Refused> {
    let unit = who.unit(site);
    let days = desk.days(&who.caller, site.number).await?;
    let closed = days.iter().find(|day| day.revision > 0);
    let mut parts = Vec::new();
    if let Some(closed) = closed {
        let found = desk.close(&who.caller, site.number, closed.day, 0).await?;
        let left = found.close.parts.iter();
        let left = left.filter(|part| part.closing.units() > 0 && part.presentation.is_fish());
        parts.extend(left.map(|of| {
            let words = [of.species.as_str(), of.supplier.as_str()].join(" ");
            let weight = show::weight(of.closing, unit);
            (of.part.to_string(), format!("{words}, {weight}"))
        }));
    }
    let range = TicketRange {
        site: site.number,
        from: closed.map_or(0, |closed| closed.day + 1),
        to: i64::MAX,
        harvester: String::new(),
        after: 0,
        limit: MOST_TICKETS,
    };
    let since = days.iter().filter(|day| day.revision == 0);
    for day in since.filter(|day| day.day >= range.from).take(MOST_DAYS) {
        let range = TicketRange {
            from: day.day,
            to: day.day + 1,
            ..range.clone()
        };
        for found in desk.tickets(&who.caller, range).await? {
            if found.ended.is_some() {
                continue;
            }
            let ticket = &found.booked.outcome;
            let number = ticket.number.unwrap_or(found.booked.entry.number());
            for line in &ticket.lines {
                let lot = usize::try_from(line.lot - 1).unwrap_or(usize::MAX);
                let place = ticket.lots.get(lot).and_then(|lot| lot.place);
                let species = found.booked.asked.lots.get(lot);
                let species = species.map_or("", |lot| lot.species.as_str());
                let Some(code) = place.and_then(|place| LotCode::new(number, place)) else {
                    continue;
                };
                let weight = show::weight(line.net, unit);
                let harvester = &found.booked.asked.harvester;
                parts.push((
                    format!("{code}/{}", line.part),
                    format!("{species} {harvester}, {weight}"),
                ));
            }
        }
    }
    Ok(parts)
}

async fn recorded(desk: &Desk, who: &SignedIn, fields: &Fields) -> Result<Done, Refused> {
    let site = who.site(desk).await?;
    let is_kitchen = is_kitchen(desk, who);
    let mut asked = read(who.words(), fields, is_kitchen)?;
    asked.site = site.number;
    if who.caller.role.is_own_only() {
        match is_kitchen {
            true => asked.kitchen.clone_from(&who.caller.party),
            false => asked.cutter.clone_from(&who.caller.party),
        }
    }
    let request_id = form::request_id(fields)?;
    let booked = desk.making(&who.caller, &request_id, asked).await?;
    Ok(done(who, who.unit(&site), &booked))
}

/// What a form says; the site and whose it is are the caller's.
fn read(w: &Words, fields: &Fields, is_kitchen: bool) -> Result<MakingAsked, Refused> {
    let unit = match fields.get("unit") {
        "kg" => WeightUnit::Kg,
        _ => WeightUnit::Lb,
    };
    let weigh = |what: &str, text: &str| {
        let reading = Reading::new(text, unit, fields.get("scale"), ReadingSource::Keyed);
        reading.map_err(|bad| Refused::said(what, bad.to_string()))
    };
    let mut inputs = Vec::new();
    for n in 1..=INPUTS {
        let source = fields.get(&format!("from_{n}"));
        let weight = fields.get(&format!("in_{n}"));
        if source.is_empty() && weight.is_empty() {
            continue;
        }
        let what = format!("{} {n}", w.went_in);
        let needs = match is_kitchen {
            true => w.needs_dispatch,
            false => w.needs_lot,
        };
        let bad = || Refused::said(&what, needs);
        inputs.push(MakingInput {
            source: source_of(source, is_kitchen).ok_or_else(bad)?,
            weight: Some(weigh(&what, weight)?),
            emptied: !fields.get(&format!("emptied_{n}")).is_empty(),
        });
    }
    let storage = fields.get("storage").parse().ok();
    let storage = storage.and_then(Storage::from_number);
    let mut outputs = Vec::new();
    for form in OUTPUTS {
        let weight = fields.get(&format!("out_{}", form.number()));
        let not_weighed = !fields
            .get(&format!("not_weighed_{}", form.number()))
            .is_empty();
        if weight.is_empty() && !not_weighed {
            continue;
        }
        let is_weighed = !weight.is_empty();
        outputs.push(MakingOutput {
            presentation: form,
            // A customer's kitchen makes no lots of this book.
            fate: match (is_weighed, is_kitchen) {
                (false, _) => Fate::NotWeighed,
                (true, _) => Fate::Lot,
            },
            weight: match is_weighed {
                true => Some(weigh(form.word(), weight)?),
                false => None,
            },
            storage: storage.filter(|_| is_weighed && !is_kitchen),
            reason: String::new(),
            grade: Grade::none(),
        });
    }
    let discard = fields.get("discard");
    if !discard.is_empty() {
        outputs.push(MakingOutput {
            presentation: Presentation::Other,
            fate: Fate::Discard,
            weight: Some(weigh(w.thrown_out, discard)?),
            storage: None,
            reason: short(fields.get("discard_reason")),
            grade: Grade::none(),
        });
    }
    Ok(MakingAsked {
        plan_line: String::new(),
        site: 0,
        kind: match is_kitchen {
            true => MakingKind::CustomerCut,
            false => MakingKind::Cut,
        },
        inputs,
        outputs,
        specification: short(fields.get("specification")),
        cutter: match is_kitchen {
            true => String::new(),
            false => fields.get("cutter").to_owned(),
        },
        kitchen: String::new(),
        minutes: fields.get("minutes").to_owned(),
        happened_us: None,
        tally: None,
    })
}

fn short(text: &str) -> String {
    text.chars().take(LONGEST).collect()
}

/// `20310502000100000031`, `20310502000100000031/2`, or the number of a movement.
fn source_of(text: &str, is_kitchen: bool) -> Option<Source> {
    if is_kitchen {
        return text.parse().ok().map(Source::Dispatch);
    }
    let (code, part) = match text.split_once('/') {
        None => (text, None),
        Some((code, part)) => (code, Some(part.parse().ok()?)),
    };
    let lot = LotCode::parse(code)?;
    Some(Source::Part(PartRef { lot, part }))
}

fn done(who: &SignedIn, unit: WeightUnit, booked: &Booked<MakingAsked, Making>) -> Done {
    let (w, language) = (who.words(), who.language());
    let made = &booked.outcome;
    let show = |weight| show::weight(weight, unit);
    let mut sums = vec![(w.went_in, show(made.input)), (w.fillet, show(made.fillet))];
    for (name, weight) in [
        (w.cutting_loss, made.cutting_loss),
        (w.beyond_loss, made.table_unaccounted),
        (w.not_weighed, made.not_weighed),
    ] {
        if !weight.is_zero() {
            sums.push((name, show(weight)));
        }
    }
    let percent = rules::fillet_yield::percent_e2(made.fillet, made.input);
    let number = booked.entry.number();
    let lots = made.outputs.iter().filter_map(|output| {
        let code = LotCode::new(number, output.place?)?;
        let weight = output.weight.map(show).unwrap_or_default();
        let form = language.term(output.presentation.word()).to_owned();
        Some((code.to_string(), form, weight))
    });
    let said = |kinds: &[NoticeKind]| {
        let of = made.notices.iter();
        of.filter(|notice| kinds.contains(&notice.kind))
            .map(|notice| language.notice(notice))
            .collect()
    };
    Done {
        f: Frame::around(who, w.cut_recorded),
        id: booked.entry.to_string(),
        sums,
        percent: percent.map_or_else(String::new, |e2| {
            format!("{} %", papers::Percent { hundredths: e2 })
        }),
        lots: lots.collect(),
        cautions: said(&[NoticeKind::Caution]),
        warnings: said(&[NoticeKind::Warning, NoticeKind::Question]),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    #[test]
    fn a_form_is_read_row_by_row_and_empty_rows_are_none() {
        let w = Language::English.words();
        let fields = Fields::of(&[
            ("from_1", "20310502000100000031/2"),
            ("in_1", "20.00"),
            ("emptied_1", "yes"),
            ("from_3", "20310502000100000041"),
            ("in_3", "4.50"),
            ("unit", "lb"),
            ("scale", "table"),
            ("out_6", "6.10"),
            ("not_weighed_8", "yes"),
            ("discard", "1.00"),
            ("discard_reason", "gut opened"),
            ("specification", "skinless"),
            ("cutter", "ike"),
            ("minutes", "42.5"),
        ]);
        let asked = read(w, &fields, false).unwrap();
        assert_eq!(asked.kind, MakingKind::Cut);
        let from: Vec<_> = asked
            .inputs
            .iter()
            .map(|input| (input.weight.as_ref().unwrap().text.as_str(), input.emptied))
            .collect();
        assert_eq!(from, [("20.00", true), ("4.50", false)]);
        let Source::Part(first) = asked.inputs[0].source else {
            panic!("of a lot");
        };
        assert_eq!(first.part, Some(2));
        let out: Vec<_> = asked
            .outputs
            .iter()
            .map(|output| (output.presentation, output.fate, output.weight.is_some()))
            .collect();
        assert_eq!(
            out,
            [
                (Presentation::FilletSkinless, Fate::Lot, true),
                (Presentation::Frames, Fate::NotWeighed, false),
                (Presentation::Other, Fate::Discard, true),
            ]
        );
        assert_eq!(
            (asked.cutter.as_str(), asked.minutes.as_str()),
            ("ike", "42.5")
        );
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let w = Language::English.words();
        let cases = [
            ("20310502000100000031", "", "Went in 1"),
            ("20310502000100000031", "twelve", "Went in 1"),
            ("none", "4.00", "Went in 1"),
            ("20310502000100000031/x", "4.00", "Went in 1"),
        ];
        for (from, weight, named) in cases {
            let fields = Fields::of(&[("from_1", from), ("in_1", weight)]);
            match read(w, &fields, false) {
                Err(Refused::Said { field, .. }) => assert_eq!(field, named),
                other => panic!("{from} {weight}: {other:?}"),
            }
        }
    }

    #[test]
    fn the_form_and_the_answer_render_in_both_languages() {
        for language in Language::ALL {
            for role in [Role::Kitchen, Role::Office] {
                let visit = Visit::sample(language, Some(role));
                let w = visit.words();
                let pair = |a: &str| vec![(a.to_owned(), a.to_owned())];
                let is_kitchen = role == Role::Kitchen;
                let page = Page {
                    f: Frame::of(&visit, w.cut),
                    request_id: "an id".to_owned(),
                    typed: Fields::of(&[("in_1", "20.00"), ("not_weighed_6", "yes")]),
                    error: ("a cut names a cutter".to_owned(), false),
                    unit: "lb",
                    is_kitchen,
                    inputs: vec![1, 2],
                    outputs: vec![(6, language.term("fillet skinless"))],
                    storages: vec![(1, language.term("drained ice"))],
                    cutters: if is_kitchen { Vec::new() } else { pair("ike") },
                    scales: if is_kitchen {
                        Vec::new()
                    } else {
                        pair("table")
                    },
                    on_hand: if is_kitchen { Vec::new() } else { pair("a/1") },
                    deliveries: if is_kitchen { pair("2031") } else { Vec::new() },
                    fillet: if is_kitchen {
                        Vec::new()
                    } else {
                        vec![Fillet {
                            part: "20310502000100000091/1".to_owned(),
                            fish: "Lionfish, fillet".to_owned(),
                            weight: "6.10 lb".to_owned(),
                            since: "2031-05-02 14:00".to_owned(),
                            is_old: true,
                        }]
                    },
                };
                let html = page.render().unwrap();
                assert_eq!(html.contains("<option value=\"2031\""), is_kitchen);
                assert_eq!(html.contains(w.past_fresh), !is_kitchen);
                assert!(html.contains("name=\"in_1\"") && html.contains("name=\"out_6\""));
                assert!(html.contains("a cut names a cutter") && html.contains("role=\"alert\""));
                assert!(html.contains("value=\"20.00\"") && html.contains(" checked"));
                assert_eq!(html.contains("name=\"cutter\""), !is_kitchen);
                assert!(html.contains(w.spines_caution), "where the work happens");
            }
            let visit = Visit::sample(language, Some(Role::Kitchen));
            let w = visit.words();
            let done = Done {
                f: Frame::of(&visit, w.cut_recorded),
                id: "2031050200010000009".to_owned(),
                sums: vec![(w.went_in, "24.50 lb".to_owned())],
                percent: "24.90 %".to_owned(),
                lots: vec![(
                    "20310502000100000091".to_owned(),
                    language.term("fillet skinless").to_owned(),
                    "6.10 lb".to_owned(),
                )],
                cautions: vec![("The spines stay venomous.".to_owned(), false)],
                warnings: vec![("More out than in.".to_owned(), false)],
            };
            let html = done.render().unwrap();
            for shown in ["24.90 %", "20310502000100000091", "The spines", "More out"] {
                assert!(html.contains(shown), "{shown}");
            }
        }
    }
}
