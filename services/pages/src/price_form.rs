//! The price list editor: bands as they will apply, looked at before they are posted.
//!
//! A sheet is one form of fish in one grade, its bands row by row. "Check" has the desk
//! explain every band and price the last seven days' tickets again; it posts nothing, and
//! a gap, an overlap or a band without an end is refused there as it is when posted.

use std::fmt::Write as _;

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use desk::access::{Reach, reach};
use desk::{Desk, IN_A_MINUTE, ListChecked};
use rules::business_day::day_number;
use rules::fish::{Condition, Grade, Presentation};
use rules::money::{Currency, Money, UnitPrice};
use rules::office::Site;
use rules::price_list::{
    Band, BandBy, ConditionAdjustment, GradePrices, PresentationPrices, PriceList,
};
use rules::weight::{Weight, WeightUnit};

use crate::form::{self, Fields, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::prices;
use crate::refused::{Refused, answer, rendered};
use crate::show;
use crate::visit::{SignedIn, see};
use crate::words::{Language, Said, Words};

/// Sheets and rows of a sheet at first, and most of each.
const SHEETS: usize = 1;
const ROWS: usize = 4;
const MOST_SHEETS: usize = 12;
const MOST_ROWS: usize = 12;
/// Longest that the name of a band may be.
const LONGEST: usize = 60;

#[derive(Template)]
#[template(path = "price_form.html")]
struct Page {
    f: Frame,
    request_id: String,
    /// As typed so far.
    typed: Fields,
    currency: String,
    species: Vec<(String, String)>,
    sheets: Vec<usize>,
    rows: Vec<usize>,
    forms: Vec<(i64, &'static str)>,
    conditions: Vec<(i64, &'static str)>,
    /// Why it cannot be posted as it is; empty otherwise.
    error: Said,
    checked: Option<Checked>,
}

/// What the list would do.
struct Checked {
    bands: Vec<Explained>,
    warnings: Vec<Said>,
    /// The days whose tickets were priced again.
    days: String,
    tickets: Vec<Again>,
    paid: String,
    would_pay: String,
    may_post: bool,
}

struct Explained {
    fish: String,
    band: String,
    price: String,
    is_small: bool,
    /// A weight in it, and what that pays.
    example: String,
}

struct Again {
    id: String,
    diver: String,
    paid: String,
    /// What it would have paid, or why it could not have been priced.
    would_pay: Result<String, String>,
}

/// `GET /prices/new`: the newest list of a species to begin from.
pub(crate) async fn page(State(house): State<House>, who: SignedIn, uri: Uri) -> Response {
    answer(
        &who.visit,
        begun(&house.desk, &who, &form::query(&uri)).await,
    )
}

async fn begun(desk: &Desk, who: &SignedIn, asked: &Fields) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    let species = asked.get("species");
    let lists = match species {
        "" => Vec::new(),
        species => desk.price_lists(&who.caller, site.number, species).await?,
    };
    let newest = lists
        .into_iter()
        .max_by_key(|(entry, list)| (list.effective_from_us, *entry));
    let typed = match newest {
        Some((_, list)) => as_typed(&list),
        None => {
            let unit = site.shown_unit.of_price().symbol();
            [("species", species), ("unit", unit), ("edges", unit)]
                .into_iter()
                .collect()
        }
    };
    shown(desk, who, typed, Said::default(), None).await
}

/// `POST /prices/new`.
pub(crate) async fn send(State(house): State<House>, Sent(who, fields): Sent) -> Response {
    match sent(&house.desk, &who, fields).await {
        Ok(answer) => answer,
        Err(refused) => refused.page(&who.visit),
    }
}

async fn sent(desk: &Desk, who: &SignedIn, fields: Fields) -> Result<Response, Refused> {
    let site = who.site(desk).await?;
    let step = fields.get("do").to_owned();
    if matches!(step.as_str(), "rows" | "sheets") {
        let page = shown(desk, who, fields, Said::default(), None).await?;
        return Ok(rendered(StatusCode::OK, &page));
    }
    let done = match read(who.language(), &fields, &site) {
        Err(refused) => Err(refused),
        Ok(list) if step == "post" => {
            let request_id = form::request_id(&fields)?;
            let posted = desk.post_price_list(&who.caller, &request_id, list).await;
            match posted {
                Ok(_) => return Ok(see("/prices")),
                Err(error) => Err(error.into()),
            }
        }
        Ok(list) => {
            let checked = desk.check_price_list(&who.caller, list, None).await;
            checked.map_err(Refused::from)
        }
    };
    let (error, checked, status) = match done {
        Ok(found) => (Said::default(), Some(checked(who, &found)?), StatusCode::OK),
        // The desk's rule names form, grade and edges.
        Err(refused) => {
            let error = refused.in_form(who.language(), |field| field.starts_with("price_list"))?;
            (error, None, StatusCode::UNPROCESSABLE_ENTITY)
        }
    };
    let page = shown(desk, who, fields, error, checked).await?;
    Ok(rendered(status, &page))
}

async fn shown(
    desk: &Desk,
    who: &SignedIn,
    typed: Fields,
    error: Said,
    checked: Option<Checked>,
) -> Result<Page, Refused> {
    let language = who.language();
    let site = who.site(desk).await?;
    desk.may_at(&who.caller, "check_price_list", site.number)?;
    let species = desk.species(&who.caller).await?;
    let request_id = match form::request_id(&typed) {
        Ok(id) => id,
        Err(_) => form::fresh_id(),
    };
    let (sheets, rows) = size(&typed);
    let more = |step: &str, more: usize| match typed.get("do") == step {
        true => more,
        false => 0,
    };
    let sheets = (sheets + more("sheets", 1)).min(MOST_SHEETS);
    let rows = (rows + more("rows", 2)).min(MOST_ROWS);
    Ok(Page {
        f: Frame::around(who, who.words().new_prices),
        request_id,
        currency: site.currency.to_string(),
        species: species
            .into_iter()
            .map(|species| (species.code, species.name))
            .collect(),
        sheets: (1..=sheets).collect(),
        rows: (1..=rows).collect(),
        forms: Presentation::ALL
            .iter()
            .map(|form| (form.number(), language.term(form.word())))
            .collect(),
        conditions: Condition::ALL
            .iter()
            .map(|condition| (condition.number(), language.term(condition.word())))
            .collect(),
        typed,
        error,
        checked,
    })
}

/// How many sheets, and rows of each, a form has.
fn size(typed: &Fields) -> (usize, usize) {
    let at_least = |name: &str, least: usize, most: usize| {
        let number = typed.get(name).parse().unwrap_or(least);
        number.clamp(least, most)
    };
    (
        at_least("sheets", SHEETS, MOST_SHEETS),
        at_least("rows", ROWS, MOST_ROWS),
    )
}

/// A list as somebody would have typed it.
fn as_typed(list: &PriceList) -> Fields {
    let mut pairs = vec![
        ("species".to_owned(), list.species.clone()),
        ("band_by".to_owned(), list.band_by.number().to_string()),
        ("unit".to_owned(), list.price_per.symbol().to_owned()),
        ("edges".to_owned(), list.edge_unit.symbol().to_owned()),
    ];
    let mut put = |name: String, value: String| pairs.push((name, value));
    let edge = |weight: Weight| weight.shown(list.edge_unit);
    let (mut sheet, mut most) = (0, 0);
    for form in &list.presentations {
        for grade in &form.grades {
            sheet += 1;
            most = most.max(grade.bands.len());
            put(
                format!("form_{sheet}"),
                form.presentation.number().to_string(),
            );
            put(format!("grade_{sheet}"), grade.grade.as_str().to_owned());
            put(format!("plate_{sheet}"), edge(form.plate_minimum));
            if let Some(price) = grade.not_counted {
                put(format!("uncounted_{sheet}"), price.decimal());
            }
            for (row, band) in (1..).zip(&grade.bands) {
                put(format!("from_{sheet}_{row}"), edge(band.from));
                let to = band.to.map_or_else(String::new, edge);
                put(format!("to_{sheet}_{row}"), to);
                put(format!("price_{sheet}_{row}"), band.price.decimal());
                put(format!("name_{sheet}_{row}"), band.name.clone());
            }
        }
    }
    for of in &list.condition_adjustments {
        put(
            format!("condition_{}", of.condition.number()),
            of.per_unit.decimal(),
        );
    }
    put("sheets".to_owned(), sheet.to_string());
    put("rows".to_owned(), most.to_string());
    pairs.into_iter().collect()
}

/// What prices and edges of a form are in.
struct Units {
    currency: Currency,
    price: WeightUnit,
    edge: WeightUnit,
}

/// The list a form says. Whether it can stand is the desk's to say.
fn read(language: Language, fields: &Fields, site: &Site) -> Result<PriceList, Refused> {
    let w = language.words();
    let unit = |name: &str| match fields.get(name) {
        "kg" => WeightUnit::Kg,
        _ => WeightUnit::Lb,
    };
    let units = Units {
        currency: site.currency,
        price: unit("unit"),
        edge: unit("edges"),
    };
    if fields.get("species").is_empty() {
        return Err(Refused::said(w.species, w.is_needed));
    }
    let effective_from_us = match fields.get("from") {
        "" => IN_A_MINUTE,
        text => {
            let date: chrono::NaiveDate =
                text.parse().map_err(|_| Refused::said(w.from, w.no_date))?;
            site.clock.start_us(day_number(date))
        }
    };
    let mut presentations: Vec<PresentationPrices> = Vec::new();
    for sheet in 1..=size(fields).0 {
        let Some((presentation, plate_minimum, prices)) = read_sheet(w, fields, sheet, &units)?
        else {
            continue;
        };
        let same = |of: &&mut PresentationPrices| of.presentation == presentation;
        match presentations.iter_mut().find(same) {
            None => presentations.push(PresentationPrices {
                presentation,
                plate_minimum,
                grades: vec![prices],
            }),
            Some(of) if of.plate_minimum == plate_minimum => of.grades.push(prices),
            Some(_) => {
                let at = format!("{} {sheet}, {}", w.sheet, w.plate_minimum);
                return Err(Refused::said(at, w.one_plate_minimum));
            }
        }
    }
    let mut condition_adjustments = Vec::new();
    for &condition in Condition::ALL {
        let text = fields.get(&format!("condition_{}", condition.number()));
        if !text.is_empty() {
            let price = UnitPrice::signed(text, units.currency, units.price);
            condition_adjustments.push(ConditionAdjustment {
                condition,
                per_unit: price.map_err(|bad| {
                    Refused::said(language.term(condition.word()), bad.to_string())
                })?,
            });
        }
    }
    Ok(PriceList {
        site: site.number,
        species: fields.get("species").to_owned(),
        effective_from_us,
        band_by: match fields.get("band_by").parse() {
            Ok(number) => BandBy::from_number(number).unwrap_or(BandBy::Piece),
            Err(_) => BandBy::Piece,
        },
        currency: units.currency,
        price_per: units.price,
        edge_unit: units.edge,
        presentations,
        condition_adjustments,
    })
}

/// One sheet; nothing where nothing is written on it.
fn read_sheet(
    w: &Words,
    fields: &Fields,
    sheet: usize,
    units: &Units,
) -> Result<Option<(Presentation, Weight, GradePrices)>, Refused> {
    let field = |name: &str| fields.get(&format!("{name}_{sheet}"));
    let at = |what: &str| format!("{} {sheet}, {what}", w.sheet);
    let weigh = |what: &str, text: &str| {
        let weight = units.edge.weigh(text);
        weight.map_err(|bad| Refused::said(at(what), bad.to_string()))
    };
    let price = |what: &str, text: &str| {
        let price = UnitPrice::new(text, units.currency, units.price);
        price.map_err(|bad| Refused::said(at(what), bad.to_string()))
    };
    let mut bands = Vec::new();
    for row in 1..=size(fields).1 {
        let cell = |name: &str| fields.get(&format!("{name}_{sheet}_{row}"));
        let (from, to, paid) = (cell("from"), cell("to"), cell("price"));
        if [from, to, paid].iter().all(|text| text.is_empty()) {
            continue;
        }
        let here = |what: &str| format!("{} {row}, {what}", w.band);
        let to = match to {
            "" => None,
            text => Some(weigh(&here(w.to), text)?),
        };
        bands.push(Band {
            from: weigh(&here(w.from_weight), from)?,
            to,
            price: price(&here(w.price), paid)?,
            name: cell("name").chars().take(LONGEST).collect(),
        });
    }
    let not_counted = match field("uncounted") {
        "" => None,
        text => Some(price(w.not_counted, text)?),
    };
    if bands.is_empty() && not_counted.is_none() && field("grade").is_empty() {
        return Ok(None);
    }
    let presentation = field("form").parse().ok();
    let presentation = presentation.and_then(Presentation::from_number);
    let grade = Grade::new(&field("grade").to_ascii_uppercase());
    let plate = match field("plate") {
        "" => Weight::ZERO,
        text => weigh(w.plate_minimum, text)?,
    };
    let prices = GradePrices {
        grade: grade.ok_or_else(|| Refused::said(at(w.grade), w.no_grade))?,
        bands,
        not_counted,
    };
    let presentation = presentation.ok_or_else(|| Refused::said(at(w.form), w.is_needed))?;
    Ok(Some((presentation, plate, prices)))
}

fn checked(who: &SignedIn, found: &ListChecked) -> Result<Checked, Refused> {
    let (w, language) = (who.words(), who.language());
    let list = &found.list;
    let bands = found.bands.iter().map(|of| Explained {
        fish: prices::fish(w, language, of.presentation, &of.grade),
        band: match &of.band {
            None => w.not_counted.to_owned(),
            Some(band) => {
                let mut text = show::band(w, band.from, band.to, list.edge_unit);
                if !band.name.is_empty() {
                    let _ = write!(text, ", {}", band.name);
                }
                text
            }
        },
        price: of.price.to_string(),
        is_small: of.below_plate,
        example: format!("{}: {}", show::weight(of.example, list.edge_unit), of.pays),
    });
    let zero = Money::zero(list.currency);
    let sum = |a: Money, b: Money| a.checked_add(b).map_err(|_| Refused::Internal);
    let (mut paid, mut would_pay) = (zero, zero);
    for ticket in &found.tickets {
        if let Ok(would) = &ticket.would_pay {
            paid = sum(paid, ticket.paid)?;
            would_pay = sum(would_pay, *would)?;
        }
    }
    let tickets = found.tickets.iter().map(|of| Again {
        id: of.ticket.to_string(),
        diver: of.harvester.clone(),
        paid: of.paid.to_string(),
        would_pay: match &of.would_pay {
            Ok(money) => Ok(money.to_string()),
            Err(why) => Err(why.clone()),
        },
    });
    Ok(Checked {
        bands: bands.collect(),
        warnings: found.notices.iter().map(|of| language.notice(of)).collect(),
        days: format!(
            "{} {} {}",
            show::day(found.from),
            w.up_to,
            show::day(found.to)
        ),
        tickets: tickets.collect(),
        paid: paid.to_string(),
        would_pay: would_pay.to_string(),
        may_post: reach(who.caller.role, "price_list") != Reach::No,
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::show::sample_site;
    use crate::visit::Visit;

    fn typed(pairs: &[(&str, &str)]) -> Fields {
        let fixed = [("species", "PZO"), ("unit", "lb"), ("edges", "lb")];
        fixed.into_iter().chain(pairs.iter().copied()).collect()
    }

    fn two_grades() -> Fields {
        typed(&[
            ("sheets", "2"),
            ("rows", "4"),
            ("form_1", "1"),
            ("grade_1", "a"),
            ("plate_1", "0.50"),
            ("uncounted_1", "3.1"),
            ("from_1_1", "0"),
            ("to_1_1", "0.5"),
            ("price_1_1", "1.25"),
            ("name_1_1", "undersize"),
            // A row left empty is no band.
            ("from_1_3", "0.50"),
            ("price_1_3", "5.50"),
            ("form_2", "1"),
            ("grade_2", "B"),
            ("plate_2", "0.5"),
            ("from_2_1", "0"),
            ("price_2_1", "1"),
            ("condition_3", "-0.50"),
            ("band_by", "1"),
        ])
    }

    #[test]
    fn a_list_typed_again_is_the_same_list() {
        let list = read(Language::English, &two_grades(), &sample_site()).unwrap();
        assert_eq!(list.presentations.len(), 1);
        let [a, b] = &list.presentations[0].grades[..] else {
            panic!("{list:?}")
        };
        assert_eq!((a.bands.len(), b.bands.len()), (2, 1));
        assert_eq!(a.bands[1].to, None);
        assert_eq!(a.bands[0].price.to_string(), "1.25 USD/lb");
        assert_eq!(list.condition_adjustments[0].condition, Condition::Torn);
        assert_eq!(list.effective_from_us, IN_A_MINUTE);
        assert_eq!(
            read(Language::English, &as_typed(&list), &sample_site()).unwrap(),
            list
        );
    }

    #[test]
    fn what_does_not_read_names_its_place() {
        let check = |name: &str, text: &str, field: &str| {
            let mut pairs = vec![(name, text)];
            let rest = two_grades();
            let names = [
                "sheets",
                "rows",
                "form_1",
                "grade_1",
                "plate_1",
                "from_1_1",
                "to_1_1",
                "price_1_1",
                "form_2",
                "grade_2",
                "plate_2",
                "from_2_1",
                "price_2_1",
            ];
            pairs.extend(names.iter().map(|name| (*name, rest.get(name))));
            match read(Language::English, &typed(&pairs), &sample_site()) {
                Err(Refused::Said { field: at, rule }) => {
                    assert_eq!(at, field);
                    assert!(!rule.said(Language::English).0.is_empty());
                }
                other => panic!("{name}: {other:?}"),
            }
        };
        check("price_1_1", "1,25", "Sheet 1, Band 1, Price");
        check("from_2_1", "", "Sheet 2, Band 1, from");
        check("to_1_1", "-1", "Sheet 1, Band 1, to under");
        check("grade_2", "", "Sheet 2, Grade");
        check("plate_2", "0.6", "Sheet 2, Plate minimum");
        check("form_2", "99", "Sheet 2, Form");
        check("uncounted_2", "dear", "Sheet 2, not counted");
        check("from", "tomorrow", "From");
    }

    #[test]
    fn a_day_holds_from_its_cut_over() {
        let list = read(
            Language::English,
            &typed(&[("from", "2031-05-02")]),
            &sample_site(),
        )
        .unwrap();
        assert_eq!(
            show::instant(&sample_site(), list.effective_from_us),
            "2031-05-02 04:00"
        );
    }

    #[test]
    fn it_renders_empty_refused_and_checked_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let page = |error: &str, checked| Page {
                f: Frame::of(&visit, w.new_prices),
                request_id: "r-1".to_owned(),
                typed: two_grades(),
                currency: "USD".to_owned(),
                species: vec![("PZO".to_owned(), "Lionfish".to_owned())],
                sheets: vec![1, 2],
                rows: vec![1, 2, 3, 4],
                forms: vec![(1, language.term("whole"))],
                conditions: vec![(3, language.term("torn"))],
                error: (error.to_owned(), true),
                checked,
            };
            let html = page("", None).render().unwrap();
            assert!(html.contains("name=\"price_2_4\"") && html.contains("value=\"undersize\""));
            assert!(!html.contains("value=\"post\""), "first it is looked at");
            let html = page("nothing is paid from 0.50 lb to 0.60 lb", None);
            let html = html.render().unwrap();
            assert!(html.contains("role=\"alert\"") && html.contains("0.50 lb to 0.60 lb"));
            let checked = |may_post| Checked {
                bands: vec![Explained {
                    fish: "whole, grade A".to_owned(),
                    band: "0.00 to under 0.50 lb, undersize".to_owned(),
                    price: "1.25 USD/lb".to_owned(),
                    is_small: true,
                    example: "0.25 lb: 0.31 USD".to_owned(),
                }],
                warnings: vec![("Odd.".to_owned(), false)],
                days: "2031-04-27 up to 2031-05-04".to_owned(),
                tickets: vec![
                    Again {
                        id: "2031042800010000001".to_owned(),
                        diver: "wren-haldane".to_owned(),
                        paid: "10.00 USD".to_owned(),
                        would_pay: Ok("11.00 USD".to_owned()),
                    },
                    Again {
                        id: "2031042800010000002".to_owned(),
                        diver: "wren-haldane".to_owned(),
                        paid: "10.00 USD".to_owned(),
                        would_pay: Err("no such grade".to_owned()),
                    },
                ],
                paid: "10.00 USD".to_owned(),
                would_pay: "11.00 USD".to_owned(),
                may_post,
            };
            let html = page("", Some(checked(true))).render().unwrap();
            for shown in [
                "0.25 lb: 0.31 USD",
                "11.00 USD",
                "no such grade",
                w.below_plate,
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            assert!(html.contains("value=\"post\""));
            let html = page("", Some(checked(false))).render().unwrap();
            assert!(!html.contains("value=\"post\""), "a buyer tries only");
        }
    }
}
