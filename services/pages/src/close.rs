//! A day's close: the balance, the money, and its flags, most at stake first, each to be
//! seen to with a reason. What the night worked out does not change by that.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use chrono::NaiveDate;
use desk::access::{Reach, reach};
use desk::{AcknowledgeAsked, CloseFound, Desk, FlagFound, FlagRange};
use rules::business_day::day_number;
use rules::close::{ChartRow, CloseDoc, LossBy, LossRow, SmallFishRow};
use rules::money::Money;
use rules::office::Site;
use rules::small_fish::CutOrSoup;
use rules::weight::WeightUnit;

use crate::form::{self, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::paper::{self, Drawn};
use crate::refused::{Refused, answer};
use crate::show;
use crate::visit::{SignedIn, own_path, see};
use crate::words::{Language, Said};

/// Longest that a reason may be.
const LONGEST: usize = 1000;

#[derive(Template)]
#[template(path = "close.html")]
struct Page {
    f: Frame,
    facts: Vec<(&'static str, String)>,
    day: String,
    charts: Vec<Drawn>,
    /// What may be said of each that has a baseline.
    control: Vec<(String, Said)>,
    /// What yields below their reference lost: of whom, how much fillet, and what its
    /// fish had cost.
    losses: Vec<(String, String, String)>,
    small_fish: Vec<SmallFish>,
    flags: Vec<Flag>,
    payouts: Vec<(String, String, String)>,
    remarks: Vec<Said>,
}

/// Fish of one band at the table, beside soup.
struct SmallFish {
    fish: String,
    answer: &'static str,
    figures: Vec<(&'static str, String)>,
}

#[derive(Template)]
#[template(path = "flags.html")]
struct FlagsPage {
    f: Frame,
    flags: Vec<Flag>,
}

struct Flag {
    key: String,
    day: String,
    text: Said,
    next_step: Said,
    weight: String,
    value: String,
    evidence: Vec<Said>,
    is_gap: bool,
    is_gone: bool,
    seen: Vec<String>,
    /// The id of a form's request; empty where they may not see to it.
    request_id: String,
}

/// `GET /days/{day}`.
pub(crate) async fn page(
    State(house): State<House>,
    who: SignedIn,
    Path(day): Path<String>,
) -> Response {
    answer(&who.visit, found(&house.desk, &who, &day).await)
}

/// `GET /days/{day}/{file}`: a chart of its close, or its figures.
pub(crate) async fn file(
    State(house): State<House>,
    who: SignedIn,
    Path((day, file)): Path<(String, String)>,
) -> Response {
    let saved = async {
        let (site, found) = close(&house.desk, &who, &day).await?;
        let language = paper::language_of(&file, who.language());
        let charts = charts(&who, &house.desk, &site, &found.close, language);
        paper::file(charts, &file, who.visit.is_simulated)
    };
    let saved = saved.await;
    saved.unwrap_or_else(|refused| refused.page(&who.visit))
}

/// `GET /flags`: what nobody has seen to, of the last days.
pub(crate) async fn flags_page(State(house): State<House>, who: SignedIn) -> Response {
    answer(&who.visit, open_flags(&house.desk, &who).await)
}

/// `POST /flags/{key}`.
pub(crate) async fn see_to(
    State(house): State<House>,
    Path(key): Path<String>,
    Sent(who, fields): Sent,
) -> Response {
    let done = async {
        let reason: String = fields.get("reason").chars().take(LONGEST).collect();
        if reason.is_empty() {
            return Err(Refused::said(who.words().reason, who.words().is_needed));
        }
        let request_id = form::request_id(&fields)?;
        let asked = AcknowledgeAsked {
            key: key.clone(),
            reason,
        };
        house
            .desk
            .acknowledge(&who.caller, &request_id, asked)
            .await?;
        Ok(())
    };
    match done.await {
        Ok(()) => see(own_path(fields.get("back"))),
        Err(refused) => refused.page(&who.visit),
    }
}

async fn found(desk: &Desk, who: &SignedIn, day: &str) -> Result<Page, Refused> {
    let (site, found) = close(desk, who, day).await?;
    Ok(shown(who, desk, &site, &found))
}

async fn close(desk: &Desk, who: &SignedIn, day: &str) -> Result<(Site, CloseFound), Refused> {
    let site = who.site(desk).await?;
    let day: NaiveDate = day.parse().map_err(|_| Refused::NotFound)?;
    let found = desk.close(&who.caller, site.number, day_number(day), 0);
    let found = found.await?;
    Ok((site, found))
}

async fn open_flags(desk: &Desk, who: &SignedIn) -> Result<FlagsPage, Refused> {
    let site = who.site(desk).await?;
    let range = FlagRange {
        site: site.number,
        from: 0,
        to: i64::from(i32::MAX),
        open_only: true,
    };
    let mut flags = desk.flags(&who.caller, range).await?;
    // As a close ranks them, whatever their day.
    flags.sort_by_key(|flag| {
        let of = &flag.stored;
        std::cmp::Reverse((of.value, of.weight.units(), of.day))
    });
    Ok(FlagsPage {
        f: Frame::around(who, who.words().flags),
        flags: flags.iter().map(|flag| flag_of(who, &site, flag)).collect(),
    })
}

/// The day's weight, what it lost by cause, and control charts.
fn charts(
    who: &SignedIn,
    desk: &Desk,
    site: &Site,
    close: &CloseDoc,
    language: Language,
) -> Vec<paper::Said> {
    let unit = who.unit(site);
    let balance = paper::balance(close, unit, language);
    let causes = paper::causes(close, unit, site.currency, language);
    let control = paper::controls(&close.charts, language, |code| party(desk, code));
    [balance, causes, control].into_iter().flatten().collect()
}

/// What people call a party.
fn party(desk: &Desk, code: &str) -> String {
    let office = desk.office();
    let party = office.parties.get(code);
    party.map_or_else(|| code.to_owned(), |party| party.name.clone())
}

fn shown(who: &SignedIn, desk: &Desk, site: &Site, found: &CloseFound) -> Page {
    let (w, close) = (who.words(), &found.close);
    let unit = who.unit(site);
    let party = |code: &str| party(desk, code);
    let control = |of: &ChartRow| {
        let follows = who.language().term(of.follows.word());
        (
            format!("{follows} {}", party(&of.party)),
            who.language().sentence(&of.says),
        )
    };
    // What each part lost is told by the command; here, whose it is.
    let losses = close.losses.iter().filter(|of| of.by != LossBy::Part);
    let loss = |of: &LossRow| {
        let whose = match (of.by, of.name.as_str()) {
            (LossBy::Kitchen, "") => w.own_table.to_owned(),
            (_, "") => w.several_suppliers.to_owned(),
            (_, code) => party(code),
        };
        let at = match of.customer_kitchen {
            true => w.at_what_kitchen_paid,
            false => w.at_dock_cost,
        };
        let missing = show::weight(of.missing_fillet, unit);
        (
            format!("{} {whose}", who.language().term(of.by.word())),
            format!("{} {missing}, {at}", w.fillet_missing),
            of.material.to_string(),
        )
    };
    let small_fish = close.small_fish.iter();
    let small_fish = small_fish.map(|of| small_fish_of(who, desk, unit, of));
    Page {
        f: Frame::around(who, format!("{} {}", w.close, show::day(close.day))),
        facts: vec![
            (w.site, site.name.clone()),
            (w.state, who.language().term(close.state.word()).to_owned()),
            (w.revision, found.stored.revision.to_string()),
            (w.recorded, show::instant(site, found.stored.recorded_us)),
            (w.unaccounted, show::weight(close.balance.unaccounted, unit)),
            (w.on_hand, show::weight(close.balance.closing, unit)),
        ],
        day: show::day(close.day),
        charts: charts(who, desk, site, close, who.language())
            .into_iter()
            .map(|said| Drawn::on(who.language(), said))
            .collect(),
        control: close.charts.iter().map(control).collect(),
        losses: losses.map(loss).collect(),
        small_fish: small_fish.collect(),
        flags: found
            .flags
            .iter()
            .map(|flag| flag_of(who, site, flag))
            .collect(),
        payouts: close
            .payouts
            .iter()
            .map(|row| {
                (
                    row.party.clone(),
                    row.owed.to_string(),
                    row.held.to_string(),
                )
            })
            .collect(),
        remarks: all_said(who, &close.remarks),
    }
}

fn small_fish_of(who: &SignedIn, desk: &Desk, unit: WeightUnit, of: &SmallFishRow) -> SmallFish {
    let w = who.words();
    let office = desk.office();
    let species = office.species.get(&of.species);
    let species = species.map_or(of.species.as_str(), |species| species.name.as_str());
    let form = who.language().term(of.presentation.word());
    let pays_from = match of.break_even.as_slice() {
        [at, from, to] => format!(
            "{} ({} - {})",
            show::weight(*at, unit),
            show::weight(*from, unit),
            show::weight(*to, unit)
        ),
        _ => w.never.to_owned(),
    };
    SmallFish {
        fish: format!("{species}, {form}: {}, {}", of.specification, of.band),
        answer: match of.answer {
            CutOrSoup::Cut => w.answer_cut,
            CutOrSoup::Soup => w.answer_soup,
            CutOrSoup::Close => w.answer_close,
        },
        figures: vec![
            (w.cutting_brings, of.cut.to_string()),
            (w.soup_brings, of.soup.to_string()),
            (w.give_or_take, of.within.to_string()),
            (w.pays_from, pays_from),
        ],
    }
}

fn all_said(who: &SignedIn, sentences: &[String]) -> Vec<Said> {
    let language = who.language();
    sentences.iter().map(|of| language.sentence(of)).collect()
}

fn flag_of(who: &SignedIn, site: &Site, found: &FlagFound) -> Flag {
    let stored = &found.stored;
    let may = reach(who.caller.role, "acknowledge") != Reach::No;
    let is_gone = stored.gone_with != 0;
    Flag {
        key: stored.key.clone(),
        day: show::day(stored.day),
        text: who.language().sentence(&stored.text),
        next_step: who.language().sentence(stored.kind.next_step()),
        weight: show::weight_unless_zero(stored.weight, who.unit(site)),
        value: show::money_unless_zero(Money::new(stored.value, found.currency)),
        evidence: all_said(who, &stored.evidence),
        is_gap: stored.gap,
        is_gone,
        seen: stored
            .seen
            .iter()
            .map(|seen| {
                let at = show::instant(site, seen.recorded_us);
                format!("{at}, {}: {}", who.language().actor(&seen.by), seen.reason)
            })
            .collect(),
        request_id: match may && !is_gone {
            true => form::fresh_id(),
            false => String::new(),
        },
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;
    use crate::words::Language;

    fn flag(is_gone: bool) -> Flag {
        Flag {
            key: "ab12".to_owned(),
            day: "2031-05-02".to_owned(),
            text: ("2.75 lb are unaccounted".to_owned(), false),
            next_step: ("Count it again.".to_owned(), false),
            weight: "2.75 lb".to_owned(),
            value: "15.13 USD".to_owned(),
            evidence: vec![("counted 12.00 lb".to_owned(), true)],
            is_gap: true,
            is_gone,
            seen: vec!["2031-05-03 06:10, office: looked again".to_owned()],
            request_id: match is_gone {
                true => String::new(),
                false => "an id".to_owned(),
            },
        }
    }

    #[test]
    fn a_close_renders_with_and_without_flags_in_both_languages() {
        for language in Language::ALL {
            let visit = Visit::sample(language, Some(Role::Office));
            let w = visit.words();
            let page = |flags| Page {
                f: Frame::of(&visit, w.close),
                facts: vec![(w.state, language.term("closed with gaps").to_owned())],
                day: "2031-05-02".to_owned(),
                charts: vec![Drawn {
                    id: "causes".to_owned(),
                    title: "What the day lost, by cause".to_owned(),
                    key: "Causes may overlap.".to_owned(),
                    is_ours: true,
                    svg: "<svg><title>a chart</title></svg>".to_owned(),
                    columns: vec!["cause".to_owned()],
                    rows: Vec::new(),
                }],
                control: vec![(
                    "supplier Wren".to_owned(),
                    ("within its baseline".to_owned(), true),
                )],
                losses: vec![(
                    "cutter Bess".to_owned(),
                    "1.20 lb".to_owned(),
                    "18.00 USD".to_owned(),
                )],
                small_fish: vec![SmallFish {
                    fish: "Lionfish, whole: skinless, 0.25-0.50 lb".to_owned(),
                    answer: w.answer_close,
                    figures: vec![(w.pays_from, "0.31 lb".to_owned())],
                }],
                flags,
                payouts: vec![(
                    "wren-haldane".into(),
                    "220.44 USD".into(),
                    "0.00 USD".into(),
                )],
                remarks: vec![("Nothing is set for slush.".to_owned(), false)],
            };
            let html = page(vec![flag(false), flag(true)]).render().unwrap();
            for shown in [
                "2.75 lb are unaccounted",
                "15.13 USD",
                "looked again",
                w.gone,
                "220.44 USD",
                "/days/2031-05-02/causes.csv",
                "within its baseline",
                "18.00 USD",
                w.answer_close,
                "0.31 lb",
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            assert_eq!(
                html.matches("action=\"/flags/ab12\"").count(),
                1,
                "one can be seen to"
            );
            assert!(page(Vec::new()).render().unwrap().contains(w.no_flags));
            let all = FlagsPage {
                f: Frame::of(&visit, w.flags),
                flags: vec![flag(false)],
            };
            assert!(all.render().unwrap().contains("2.75 lb are unaccounted"));
        }
    }
}
