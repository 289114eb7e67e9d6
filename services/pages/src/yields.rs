//! Yields by supplier: a chart with limits for each group of like fish, how many cuts it
//! rests on, and the sentence that may be said. Suppliers stand in the order of their
//! codes: there is no ranking. A diver sees their own figure and may answer, and the
//! office reads it beside the figure (8.4).

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::extract::{Path, State};
use axum::http::Uri;
use axum::response::Response;
use chrono::NaiveDate;
use desk::access::{Reach, reach};
use desk::{Desk, YieldRange, YieldsFound};
use rules::business_day::{day_before, day_number};
use rules::fish::Presentation;
use rules::yield_answer::YieldAnswerAsked;

use crate::form::{self, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::paper::{self, Drawn};
use crate::refused::{Refused, answer};
use crate::show;
use crate::tickets::Days;
use crate::visit::{SignedIn, see};
use crate::words::{Language, Said};

/// Longest that an answer may be, as the contract has it.
const LONGEST: usize = 200;

#[derive(Template)]
#[template(path = "yields.html")]
struct Page {
    f: Frame,
    days: Days,
    charts: Vec<(Drawn, Vec<Sentence>)>,
    plain: Vec<(String, Vec<Plain>)>,
    /// What a customer's kitchen paid for what came out; nobody else is shown any.
    costs: Vec<Cost>,
    answers: Vec<Answer>,
    form: Option<Form>,
}

/// Cuts of a customer's kitchen, and what they cost it.
struct Cost {
    cut_to: String,
    cuts: i64,
    /// What is known of them, by name.
    figures: Vec<(&'static str, String)>,
}

/// What a diver answered.
struct Answer {
    /// Whose fish, and of which days.
    to: String,
    text: String,
    /// By whom and when.
    by: String,
}

/// To answer, for the diver whose fish it is.
struct Form {
    request_id: String,
    /// Code and name of each species something is told of.
    species: Vec<(String, String)>,
}

/// What may be said of a supplier's fish.
struct Sentence {
    supplier: String,
    cuts: String,
    says: Said,
}

/// A plain pooled yield of one supplier's fish.
struct Plain {
    supplier: String,
    cuts: i64,
    input: String,
    fillet: String,
    percent: String,
}

/// What a page of some days is made from.
struct Found {
    days: Days,
    charts: Vec<paper::Said>,
    said: Vec<Vec<Sentence>>,
    /// By what was cut to what.
    plain: Vec<(String, Vec<Plain>)>,
    costs: Vec<Cost>,
    answers: Vec<Answer>,
    form: Option<Form>,
}

/// `GET /yields`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn, uri: Uri) -> Response {
    let language = who.language();
    let page = found(&house.desk, &who, &uri, language).await;
    let page = page.map(|found| Page {
        f: Frame::around(&who, who.words().yields),
        days: found.days,
        charts: found
            .charts
            .into_iter()
            .map(|said| Drawn::on(language, said))
            .zip(found.said)
            .collect(),
        plain: found.plain,
        costs: found.costs,
        answers: found.answers,
        form: found.form,
    });
    answer(&who.visit, page)
}

/// `POST /yields/answer`: a diver, to what is told of their own fish.
pub(crate) async fn say(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    let done = async {
        let day = |name: &str| fields.get(name).parse::<NaiveDate>().map(day_number);
        let (Ok(from), Ok(to)) = (day("from"), day("to")) else {
            return Err(Refused::NotFound);
        };
        // Lines are of the screen it was written on.
        let words: Vec<&str> = fields.get("text").split_whitespace().collect();
        let text: String = words.join(" ").chars().take(LONGEST).collect();
        if text.is_empty() {
            return Err(Refused::said(
                who.words().yield_answer_text,
                who.words().is_needed,
            ));
        }
        let asked = YieldAnswerAsked {
            site: who.site(&house.desk).await?.number,
            supplier: who.caller.party.clone(),
            species: fields.get("species").to_owned(),
            from,
            to,
            text,
        };
        let request_id = form::request_id(&fields)?;
        let desk = &house.desk;
        desk.answer_yield(&who.caller, &request_id, asked).await?;
        Ok(Days { from, to })
    };
    match done.await {
        Ok(days) => see(&format!(
            "/yields?from={}&to={}#answers",
            days.first_text(),
            days.end_text()
        )),
        Err(refused) => refused.page(&who.visit),
    }
}

/// `GET /yields/{file}`: a chart as `yields-1.svg`, or its figures as `yields-1.csv`.
pub(crate) async fn file(
    State(house): State<House>,
    who: SignedIn,
    Path(file): Path<String>,
    uri: Uri,
) -> Response {
    let language = paper::language_of(&file, who.language());
    let found = found(&house.desk, &who, &uri, language).await;
    let saved = found.and_then(|found| paper::file(found.charts, &file, who.visit.is_simulated));
    saved.unwrap_or_else(|refused| refused.page(&who.visit))
}

/// `language` is that of the charts.
async fn found(
    desk: &Desk,
    who: &SignedIn,
    uri: &Uri,
    language: Language,
) -> Result<Found, Refused> {
    let site = who.site(desk).await?;
    let today = site.clock.day_of(desk.now_us().await?);
    let days = Days::asked(uri, today);
    let range = YieldRange {
        site: site.number,
        from: days.from,
        to: days.to,
        supplier: match who.caller.role {
            desk::Role::Diver => who.caller.party.clone(),
            _ => String::new(),
        },
        species: String::new(),
    };
    let found = desk.yields(&who.caller, range).await?;
    let office = desk.office();
    let unit = who.unit(&site);
    // A name stands for its code where it is the caller's to know.
    let knows_all = !who.caller.role.is_own_only();
    let name = |code: &str| {
        let species = office.species.get(code).map(|species| species.name.clone());
        let is_known = knows_all || code == who.caller.party;
        let party = office.parties.get(code).filter(|_| is_known);
        species
            .or_else(|| party.map(|party| party.name.clone()))
            .unwrap_or_else(|| code.to_owned())
    };
    let sentence = |of: &rules::close::SupplierRow| Sentence {
        supplier: name(&of.supplier),
        cuts: of.cuts.to_string(),
        says: who.language().sentence(&of.says),
    };
    let cut_to = |species: &str, form: Presentation, specification: &str| {
        let form = who.language().term(form.word());
        format!("{}, {form}: {specification}", name(species))
    };
    let mut plain: BTreeMap<String, Vec<Plain>> = BTreeMap::new();
    for (key, sums) in &found.sums {
        let cut_to = cut_to(&key.species, key.presentation, &key.specification);
        // Whose table it was keeps the two apart.
        let table = match key.customer_kitchen {
            true => who.words().customers_kitchens,
            false => who.words().own_table,
        };
        plain
            .entry(format!("{cut_to}, {table}"))
            .or_default()
            .push(Plain {
                supplier: match key.supplier.as_str() {
                    "" => "-".to_owned(),
                    code => name(code),
                },
                cuts: sums.cuts,
                input: show::weight(sums.input, unit),
                fillet: show::weight(sums.fillet, unit),
                percent: sums.percent_e2().map_or_else(String::new, percent),
            });
    }
    let costs = match who.caller.role {
        desk::Role::Kitchen => {
            desk.kitchen_costs(&who.caller, site.number, days.from, days.to)
                .await?
        }
        _ => Vec::new(),
    };
    let w = who.words();
    let cost = |of: &desk::KitchenCost| {
        let figures = [
            (w.paid_for, of.paid.map(|money| money.to_string())),
            (w.edible, of.edible.map(|price| price.to_string())),
            (w.plates, of.plates.map(|plates| plates.to_string())),
            (w.per_plate, of.plate.map(|money| money.to_string())),
            (w.lost, of.lost.map(|money| money.to_string())),
        ];
        let known = figures.into_iter();
        let known = known.filter_map(|(what, figure)| Some((what, figure?)));
        Cost {
            cut_to: cut_to(&of.species, of.presentation, &of.specification),
            cuts: of.cuts,
            figures: known.collect(),
        }
    };
    let answers = found.answers.iter().map(|given| {
        let asked = &given.booked.asked;
        Answer {
            to: format!(
                "{}, {}: {}",
                name(&asked.supplier),
                name(&asked.species),
                days_text(asked.from, asked.to)
            ),
            text: asked.text.clone(),
            by: format!(
                "{}, {}",
                who.language().actor(&given.by),
                show::instant(&site, given.booked.recorded_us)
            ),
        }
    });
    let is_own =
        who.caller.role == desk::Role::Diver && reach(who.caller.role, "answer_yield") != Reach::No;
    let species = species_told(&found);
    Ok(Found {
        costs: costs.iter().map(cost).collect(),
        answers: answers.collect(),
        form: (is_own && !species.is_empty()).then(|| Form {
            request_id: form::fresh_id(),
            species: species
                .into_iter()
                .map(|code| (code.to_owned(), name(code)))
                .collect(),
        }),
        days,
        charts: paper::yields(&found, unit, language, name),
        said: found
            .groups
            .iter()
            .map(|group| group.suppliers.iter().map(sentence).collect())
            .collect(),
        plain: plain.into_iter().collect(),
    })
}

/// Species something is told of, by their codes.
fn species_told(found: &YieldsFound) -> BTreeSet<&str> {
    let sums = found.sums.iter().map(|(key, _)| key.species.as_str());
    let groups = found.groups.iter().map(|group| group.species.as_str());
    sums.chain(groups).collect()
}

/// `2031-04-30`, or the first and the last of several days.
fn days_text(from: i64, to: i64) -> String {
    match day_before(to) {
        Some(last) if last != from => format!("{} - {}", show::day(from), show::day(last)),
        _ => show::day(from),
    }
}

/// `26.51 %`.
fn percent(e2: i64) -> String {
    format!("{} %", papers::Percent { hundredths: e2 })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;

    #[test]
    fn one_day_is_one_and_several_are_said_with_their_last() {
        assert_eq!(days_text(20_310_430, 20_310_501), "2031-04-30");
        assert_eq!(days_text(20_310_428, 20_310_501), "2031-04-28 - 2031-04-30");
    }

    #[test]
    fn it_renders_full_and_empty_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Kitchen));
            let w = visit.words();
            let days = || Days {
                from: 20_310_428,
                to: 20_310_505,
            };
            let full = Page {
                f: Frame::of(&visit, w.yields),
                days: days(),
                charts: vec![(
                    Drawn {
                        id: "yields-1".to_owned(),
                        title: "Yield by supplier".to_owned(),
                        key: "A dot is a yield.".to_owned(),
                        is_ours: language == Language::English,
                        svg: "<svg><title>a chart</title></svg>".to_owned(),
                        columns: vec!["supplier".to_owned()],
                        rows: vec![vec![paper::Cell {
                            text: "wren-haldane".to_owned(),
                            is_figure: false,
                            is_ours: true,
                        }]],
                    },
                    vec![Sentence {
                        supplier: "wren-haldane".to_owned(),
                        cuts: "7".to_owned(),
                        says: ("no difference shown".to_owned(), false),
                    }],
                )],
                plain: vec![(
                    "Lionfish, whole: skin-off".to_owned(),
                    vec![Plain {
                        supplier: "wren-haldane".to_owned(),
                        cuts: 7,
                        input: "80.00 lb".to_owned(),
                        fillet: "21.00 lb".to_owned(),
                        percent: percent(2625),
                    }],
                )],
                costs: vec![Cost {
                    cut_to: "Lionfish, whole: skin-off".to_owned(),
                    cuts: 7,
                    figures: vec![
                        (w.edible, "26.6667 USD/lb".to_owned()),
                        (w.per_plate, "12.50 USD".to_owned()),
                    ],
                }],
                answers: vec![Answer {
                    to: "Wren, Lionfish".to_owned(),
                    text: "cut <after> two warm days".to_owned(),
                    by: "diver wren-haldane".to_owned(),
                }],
                form: Some(Form {
                    request_id: "one".to_owned(),
                    species: vec![("PZO".to_owned(), "Lionfish".to_owned())],
                }),
            };
            let html = full.render().unwrap();
            for shown in [
                "<title>a chart</title>",
                "no difference shown",
                "26.25 %",
                "yields-1.csv",
                "26.6667 USD/lb",
                "12.50 USD",
                "cut &#60;after&#62; two warm days",
                "action=\"/yields/answer\"",
                "value=\"2031-05-05\"",
                w.yield_answer_hint,
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            let empty = Page {
                f: Frame::of(&visit, w.yields),
                days: days(),
                charts: Vec::new(),
                plain: Vec::new(),
                costs: Vec::new(),
                answers: Vec::new(),
                form: None,
            };
            let html = empty.render().unwrap();
            assert!(html.contains(w.no_cuts) && !html.contains("/yields/answer"));
        }
    }
}
