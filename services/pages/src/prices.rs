//! The price lists of a site: bands as they apply, the newest first.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use desk::Desk;
use desk::access::{Reach, reach};
use rules::fish::{Grade, Presentation};
use rules::office::Site;
use rules::price_list::{BandBy, PriceList};

use crate::frame::Frame;
use crate::house::House;
use crate::refused::{Refused, answer};
use crate::show;
use crate::visit::SignedIn;
use crate::words::{Language, Words};

#[derive(Template)]
#[template(path = "prices.html")]
struct Page {
    f: Frame,
    lists: Vec<List>,
    /// Whether a new list may be tried and, by some, posted.
    may_try: bool,
}

struct List {
    id: String,
    code: String,
    species: String,
    from: String,
    is_in_force: bool,
    band_by: &'static str,
    sheets: Vec<Sheet>,
    by_condition: Vec<(&'static str, String)>,
}

/// Fish of one form and grade.
struct Sheet {
    fish: String,
    rows: Vec<Row>,
}

struct Row {
    band: String,
    price: String,
    is_small: bool,
}

/// `GET /prices`.
pub(crate) async fn page(State(house): State<House>, who: SignedIn) -> Response {
    answer(&who.visit, found(&house.desk, &who).await)
}

async fn found(desk: &Desk, who: &SignedIn) -> Result<Page, Refused> {
    let site = who.site(desk).await?;
    let mut lists = desk.price_lists(&who.caller, site.number, "").await?;
    let species = desk.species(&who.caller).await?;
    let now_us = desk.now_us().await?;
    lists.sort_by_key(|(entry, list)| std::cmp::Reverse((list.effective_from_us, *entry)));
    let mut in_force = std::collections::BTreeSet::new();
    let lists = lists.iter().map(|(entry, list)| {
        let name = species.iter().find(|species| species.code == list.species);
        let name = name.map_or(list.species.as_str(), |species| species.name.as_str());
        // The first that has begun holds; what is older has been replaced.
        let begun = list.effective_from_us <= now_us;
        let holds = begun && in_force.insert(list.species.as_str());
        shown(who, &site, name, *entry, list, holds)
    });
    Ok(Page {
        lists: lists.collect(),
        may_try: reach(who.caller.role, "check_price_list") != Reach::No,
        f: Frame::around(who, who.words().prices),
    })
}

fn shown(
    who: &SignedIn,
    site: &Site,
    species: &str,
    entry: i64,
    list: &PriceList,
    is_in_force: bool,
) -> List {
    let (w, language) = (who.words(), who.language());
    let mut sheets = Vec::new();
    for form in &list.presentations {
        for grade in &form.grades {
            let mut rows = Vec::new();
            for band in &grade.bands {
                // Edges as they were written: an edge is exact in that unit alone.
                let edges = show::band(w, band.from, band.to, list.edge_unit);
                rows.push(Row {
                    band: format!("{edges}, {}", band.name),
                    price: band.price.to_string(),
                    is_small: band.to.is_some_and(|to| to <= form.plate_minimum),
                });
            }
            if let Some(price) = grade.not_counted {
                rows.push(Row {
                    band: w.not_counted.to_owned(),
                    price: price.to_string(),
                    is_small: false,
                });
            }
            sheets.push(Sheet {
                fish: fish(w, language, form.presentation, &grade.grade),
                rows,
            });
        }
    }
    List {
        id: entry.to_string(),
        code: list.species.clone(),
        species: species.to_owned(),
        from: show::instant(site, list.effective_from_us),
        is_in_force,
        band_by: match list.band_by {
            BandBy::Piece => w.by_piece,
            BandBy::Lot => w.by_lot,
        },
        sheets,
        by_condition: list
            .condition_adjustments
            .iter()
            .map(|of| (language.term(of.condition.word()), of.per_unit.to_string()))
            .collect(),
    }
}

/// `whole, grade A`.
pub(crate) fn fish(w: &Words, language: Language, form: Presentation, grade: &Grade) -> String {
    let form = language.term(form.word());
    format!("{form}, {} {}", w.grade, grade.as_str())
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;

    #[test]
    fn it_renders_full_and_empty_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Diver));
            let w = visit.words();
            let row = |is_small| Row {
                band: "0.00 to under 0.50 lb, undersize".to_owned(),
                price: "1.25 USD/lb".to_owned(),
                is_small,
            };
            let page = |lists| Page {
                f: Frame::of(&visit, w.prices),
                lists,
                may_try: true,
            };
            let full = page(vec![List {
                id: "2031042700010000012".to_owned(),
                code: "PZO".to_owned(),
                species: "Lionfish".to_owned(),
                from: "2031-04-28 04:00".to_owned(),
                is_in_force: true,
                band_by: w.by_piece,
                sheets: vec![Sheet {
                    fish: "whole, grade A".to_owned(),
                    rows: vec![row(true), row(false)],
                }],
                by_condition: vec![(language.term("torn"), "-0.50 USD/lb".to_owned())],
            }]);
            let html = full.render().unwrap();
            for shown in [
                "whole, grade A",
                "1.25 USD/lb",
                "-0.50 USD/lb",
                w.in_force,
                "/prices/new?species=PZO",
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            assert_eq!(html.matches(w.below_plate).count(), 1);
            assert!(page(Vec::new()).render().unwrap().contains(w.no_prices));
        }
    }
}
