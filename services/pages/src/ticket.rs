//! One ticket, line by line: what was weighed, how the payout came about, what to watch
//! for, what became of the pay, and a form to dispute a line.
//!
//! Of a ticket that is shared by several payees each sees the weights and only their
//! own money (5.2): everything else is left out where the view is made.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use desk::access::{Reach, reach};
use desk::{Desk, DisputeFound, TicketFound};
use rules::dispute::DisputeAsked;
use rules::fish::Undersize;
use rules::office::Site;
use rules::ticket::{LotIn, Notice, NoticeKind, Tare, Ticket, TicketLot, WeighIn, Weighed};
use rules::weight::{Reading, ReadingSource, WeightUnit};

use crate::form::{self, Sent};
use crate::frame::Frame;
use crate::house::House;
use crate::received::{self, Found};
use crate::refused::{Refused, answer};
use crate::show;
use crate::visit::{SignedIn, see};
use crate::words::{Language, Words};

/// Notices that tell what a whole ticket pays.
const OF_THE_PAYOUT: [&str; 3] = ["payout_cut", "offline_difference", "released_before"];
/// Longest that a dispute may be.
const LONGEST: usize = 1000;

#[derive(Template)]
#[template(path = "ticket.html")]
struct Page {
    f: Frame,
    id: String,
    day: String,
    state: &'static str,
    facts: Vec<(&'static str, String)>,
    lots: Vec<Lot>,
    lines: Vec<Line>,
    sums: Vec<(String, String)>,
    /// The payout, or the caller's share of it.
    pay: (&'static str, String),
    after: Vec<(String, String)>,
    not_bought: Vec<Vec<String>>,
    cautions: Vec<Said>,
    warnings: Vec<Said>,
    questions: Vec<Said>,
    followed: Vec<(&'static str, String)>,
    disputes: Vec<Dispute>,
    form: Option<Form>,
}

struct Lot {
    code: String,
    fish: String,
    weighed: Vec<Tote>,
    /// What was seen and answered at the dock.
    seen: Vec<(&'static str, String)>,
    found: Vec<Found>,
    probe_again: String,
}

struct Tote {
    how: String,
    pieces: String,
    gross: String,
    tare: String,
    ice: String,
    net: String,
}

struct Line {
    n: usize,
    lot: i64,
    band: String,
    fish: String,
    pieces: String,
    net: String,
    /// Absent where the money is not theirs to see.
    money: Option<LineMoney>,
    is_held: bool,
    small: String,
    /// Why there, and what it takes first.
    small_reason: crate::words::Said,
}

struct LineMoney {
    price: String,
    amount: String,
    /// What the list says, where another price was paid.
    list: String,
    agreed: String,
}

/// A sentence, and whether it is in the page's language.
struct Said {
    text: String,
    is_ours: bool,
    answer: String,
}

struct Dispute {
    what: String,
    text: String,
    answer: String,
}

struct Form {
    request_id: String,
    lines: Vec<(usize, String)>,
    may_whole: bool,
}

/// `GET /tickets/{id}`.
pub(crate) async fn page(
    State(house): State<House>,
    who: SignedIn,
    Path(id): Path<String>,
) -> Response {
    answer(&who.visit, found(&house.desk, &who, &id).await)
}

async fn found(desk: &Desk, who: &SignedIn, id: &str) -> Result<Page, Refused> {
    let id = id.parse().map_err(|_| Refused::NotFound)?;
    let found = desk.ticket(&who.caller, id).await?;
    let sites = desk.sites(&who.caller).await?;
    let number = found.booked.entry.site();
    let site = sites.iter().find(|site| site.number == number);
    let site = site.ok_or(Refused::NotFound)?;
    let now_us = desk.now_us().await?;
    Ok(shown(who, site, &found, now_us))
}

/// `POST /tickets/{id}/dispute`.
pub(crate) async fn dispute(
    State(house): State<House>,
    Path(id): Path<String>,
    Sent(who, fields): Sent,
) -> Response {
    let done = async {
        let text: String = fields.get("text").chars().take(LONGEST).collect();
        let asked = DisputeAsked {
            ticket: id.parse().map_err(|_| Refused::NotFound)?,
            line: fields.get("line").parse().unwrap_or(0),
            text,
        };
        if asked.text.is_empty() {
            return Err(Refused::said(
                who.words().dispute_why,
                who.words().is_needed,
            ));
        }
        let request_id = form::request_id(&fields)?;
        house.desk.dispute(&who.caller, &request_id, asked).await?;
        Ok(())
    };
    match done.await {
        Ok(()) => see(&format!("/tickets/{id}#disputes")),
        Err(refused) => refused.page(&who.visit),
    }
}

fn shown(who: &SignedIn, site: &Site, found: &TicketFound, now_us: i64) -> Page {
    let (w, language) = (who.words(), who.language());
    let unit = who.unit(site);
    let booked = &found.booked;
    let (asked, ticket) = (&booked.asked, &booked.outcome);
    let sees_all = found.shared_with.is_none();
    let state = match &found.ended {
        None => w.stands,
        Some(ended) if ended.voided => w.voided,
        Some(_) => w.rewritten,
    };
    let money = pay(w, language, found);
    let may_dispute = reach(who.caller.role, "dispute") != Reach::No
        && found.ended.is_none()
        && now_us < found.followed.windows.dispute_until_us;
    let form = may_dispute.then(|| Form {
        request_id: form::fresh_id(),
        lines: ticket
            .lines
            .iter()
            .enumerate()
            .map(|(i, line)| (i + 1, show::weight(line.net, unit)))
            .collect(),
        may_whole: found
            .followed
            .windows
            .object_until_us
            .is_some_and(|until_us| now_us < until_us),
    });
    Page {
        f: Frame::around(who, format!("{} {}", w.ticket, booked.entry)),
        id: booked.entry.to_string(),
        day: show::day(booked.entry.day()),
        state,
        facts: facts(w, language, site, found, asked),
        lots: ticket
            .lots
            .iter()
            .zip(&asked.lots)
            .map(|(lot, written)| lot_of(w, language, (site, unit), found, lot, written))
            .collect(),
        lines: lines(w, language, unit, ticket, sees_all),
        sums: money.sums,
        pay: money.pay,
        after: money.after,
        not_bought: ticket
            .not_bought
            .iter()
            .map(|row| {
                vec![
                    row.lot.to_string(),
                    show::weight(row.net, unit),
                    language.term(row.why.word()).to_owned(),
                    // Of fish that the diver took home the rules say it.
                    language.known(&row.reason),
                    row.corrective_action.clone(),
                ]
            })
            .collect(),
        cautions: said(language, asked, ticket, NoticeKind::Caution, sees_all),
        warnings: said(language, asked, ticket, NoticeKind::Warning, sees_all),
        questions: said(language, asked, ticket, NoticeKind::Question, sees_all),
        followed: followed(w, site, found, sees_all),
        disputes: match sees_all {
            true => found
                .followed
                .disputes
                .iter()
                .map(|d| said_against(w, d))
                .collect(),
            false => Vec::new(),
        },
        form,
    }
}

fn facts(
    w: &'static Words,
    language: Language,
    site: &Site,
    found: &TicketFound,
    asked: &WeighIn,
) -> Vec<(&'static str, String)> {
    let landing = &asked.landing;
    let landed_on = landing.landed_on.map(|date| date.to_string());
    let place = [landing.landing_place.clone(), landed_on.unwrap_or_default()];
    let place: Vec<_> = place.into_iter().filter(|word| !word.is_empty()).collect();
    let rewrites = asked.rewrites.as_ref();
    let mut facts = vec![
        (w.site, site.name.clone()),
        (w.diver, asked.harvester.clone()),
        (w.landed, place.join(", ")),
        (w.recorded, show::instant(site, found.booked.recorded_us)),
        (
            w.prices_as_of,
            show::instant(site, found.booked.outcome.priced_us),
        ),
        (
            w.confirmed,
            language.term(asked.confirmation.word()).to_owned(),
        ),
        (
            w.in_place_of,
            rewrites.map_or_else(String::new, |r| r.ticket.to_string()),
        ),
        (
            w.reason,
            rewrites.map_or_else(String::new, |r| r.reason.clone()),
        ),
    ];
    if let Some(ended) = &found.ended {
        facts.push((w.ended_by, ended.by.to_string()));
        facts.push((w.reason, ended.reason.clone()));
    }
    facts.retain(|(_, value)| !value.is_empty());
    facts
}

fn lot_of(
    w: &'static Words,
    language: Language,
    (site, unit): (&Site, WeightUnit),
    found: &TicketFound,
    lot: &TicketLot,
    written: &LotIn,
) -> Lot {
    let number = found.booked.outcome.number;
    let number = number.unwrap_or(found.booked.entry.number());
    let code = lot
        .place
        .and_then(|place| rules::ids::LotCode::new(number, place))
        .map_or_else(|| w.no_code.to_owned(), |code| code.to_string());
    let weighed = written.weighings.iter().zip(&lot.weighed);
    Lot {
        code,
        fish: format!(
            "{}, {}",
            lot.species_name,
            language.term(written.presentation.word())
        ),
        weighed: weighed
            .map(|(weighing, net)| {
                let (how, pieces) = as_read(w, &weighing.weighed);
                Tote {
                    how,
                    pieces,
                    gross: show::weight(net.gross, unit),
                    tare: show::weight_unless_zero(net.tare, unit),
                    ice: show::weight_unless_zero(net.ice, unit),
                    net: show::weight(net.net, unit),
                }
            })
            .collect(),
        seen: received::seen(w, language, site, &written.receiving),
        found: received::found(language, &lot.received),
        probe_again: received::probe_again(w, site, &lot.received),
    }
}

/// What the person at the scale wrote, unit and all, and how many fish.
fn as_read(w: &Words, weighed: &Weighed) -> (String, String) {
    let read = |reading: &Reading| {
        let scale = match (reading.scale.as_str(), reading.source) {
            ("", _) => String::new(),
            (scale, ReadingSource::Keyed) => format!(" ({scale})"),
            (scale, ReadingSource::Captured) => format!(" ({scale}, {})", w.captured),
        };
        format!("{} {}{scale}", reading.text, reading.unit.symbol())
    };
    match weighed {
        Weighed::Pieces(pieces) => {
            let all: Vec<_> = pieces.iter().map(read).collect();
            let text = format!("{}: {}", w.one_by_one, all.join(", "));
            (text, pieces.len().to_string())
        }
        Weighed::Tote {
            gross,
            tare,
            pieces,
            ..
        } => {
            let tare = match tare {
                Tare::Reading(tare) => format!("- {}", read(tare)),
                Tare::Tote { code, .. } => format!("- {} {code}", w.tote),
                Tare::Tared => format!(", {}", w.tared),
            };
            (format!("{} {tare}", read(gross)), show::pieces(w, *pieces))
        }
    }
}

fn lines(
    w: &'static Words,
    language: Language,
    unit: WeightUnit,
    ticket: &Ticket,
    sees_all: bool,
) -> Vec<Line> {
    let line = |(i, line): (usize, &rules::ticket::Line)| {
        let band = match line.band {
            0 => w.not_counted.to_owned(),
            _ => {
                let edges = show::band(w, line.band_from, line.band_to, unit);
                format!("{}, {edges}", line.band_name)
            }
        };
        let condition = line
            .condition
            .map(|condition| language.term(condition.word()));
        let grade = match line.grade.is_none() {
            true => String::new(),
            false => format!("{} {}", w.grade, line.grade.as_str()),
        };
        let fish = [grade.as_str(), condition.unwrap_or_default()];
        let fish: Vec<_> = fish.into_iter().filter(|word| !word.is_empty()).collect();
        let money = sees_all.then(|| LineMoney {
            price: line.price.to_string(),
            amount: line.amount.to_string(),
            list: match line.list_price == line.price {
                true => String::new(),
                false => line.list_price.to_string(),
            },
            agreed: line.agreed.as_ref().map_or_else(String::new, |agreed| {
                format!("{} ({})", agreed.price, agreed.reason)
            }),
        });
        let small = match (line.undersize, line.proposed) {
            (Undersize::No, _) => String::new(),
            (Undersize::NotKnown, _) => w.not_known.to_owned(),
            (Undersize::Yes, Some(outlet)) => {
                format!("{} {}", w.proposed_to, language.term(outlet.word()))
            }
            (Undersize::Yes, None) => w.proposed_nowhere.to_owned(),
        };
        Line {
            n: i + 1,
            lot: line.lot,
            band,
            fish: fish.join(", "),
            pieces: show::pieces(w, line.pieces),
            net: show::weight(line.net, unit),
            money,
            is_held: line.held,
            small,
            small_reason: language.sentence(&line.proposed_reason),
        }
    };
    ticket.lines.iter().enumerate().map(line).collect()
}

struct PayShown {
    sums: Vec<(String, String)>,
    pay: (&'static str, String),
    after: Vec<(String, String)>,
}

fn pay(w: &'static Words, language: Language, found: &TicketFound) -> PayShown {
    let ticket = &found.booked.outcome;
    if let Some(party) = &found.shared_with {
        let own = ticket.shares.iter().find(|share| share.party == *party);
        let total = own.and_then(|own| own.owed.checked_add(own.held).ok());
        return PayShown {
            sums: Vec::new(),
            pay: (
                w.your_share,
                total.map_or_else(String::new, |total| total.to_string()),
            ),
            after: own.map_or_else(Vec::new, |own| owed_and_held(w, own.owed, own.held)),
        };
    }
    let mut sums = Vec::new();
    if !ticket.adjustments.is_empty() {
        sums.push((w.sum_of_lines.to_owned(), ticket.lines_total.to_string()));
    }
    for adjustment in &ticket.adjustments {
        let kind = match adjustment.kind {
            rules::ticket::AdjustmentKind::Price => w.price_of_fish,
            rules::ticket::AdjustmentKind::Settlement => w.pay_only,
        };
        let name = language.known(&adjustment.name);
        sums.push((format!("{name} ({kind})"), adjustment.amount.to_string()));
    }
    let mut after = owed_and_held(w, ticket.owed, ticket.held);
    for share in &ticket.shares {
        let total = share.owed.checked_add(share.held);
        after.push((
            share.party.clone(),
            total.map_or_else(|_| String::new(), |total| total.to_string()),
        ));
    }
    PayShown {
        sums,
        pay: (w.payout, ticket.payout.to_string()),
        after,
    }
}

fn owed_and_held(
    w: &Words,
    owed: rules::money::Money,
    held: rules::money::Money,
) -> Vec<(String, String)> {
    let mut rows = vec![(w.owed.to_owned(), owed.to_string())];
    if held.minor() != 0 {
        rows.push((w.held.to_owned(), held.to_string()));
    }
    rows
}

fn said(
    language: Language,
    asked: &WeighIn,
    ticket: &Ticket,
    kind: NoticeKind,
    sees_all: bool,
) -> Vec<Said> {
    let is_shown = |notice: &&Notice| {
        notice.kind == kind && (sees_all || !OF_THE_PAYOUT.contains(&notice.code.as_str()))
    };
    ticket
        .notices
        .iter()
        .filter(is_shown)
        .map(|notice| {
            let (text, is_ours) = language.notice(notice);
            let answer = asked.answers.iter().find(|given| given.code == notice.code);
            Said {
                text,
                is_ours,
                answer: answer.map_or_else(String::new, |given| given.text.clone()),
            }
        })
        .collect()
}

fn followed(
    w: &'static Words,
    site: &Site,
    found: &TicketFound,
    sees_all: bool,
) -> Vec<(&'static str, String)> {
    let pay = &found.followed;
    let mut rows = Vec::new();
    if sees_all {
        let settled: Vec<_> = pay.settled_by.iter().map(ToString::to_string).collect();
        rows.push((
            w.settled_by,
            match settled.is_empty() {
                true => w.not_settled.to_owned(),
                false => settled.join(", "),
            },
        ));
    }
    rows.push((
        w.dispute_until,
        show::instant(site, pay.windows.dispute_until_us),
    ));
    if let Some(until_us) = pay.windows.object_until_us {
        rows.push((w.object_until, show::instant(site, until_us)));
    }
    rows
}

fn said_against(w: &Words, found: &DisputeFound) -> Dispute {
    let asked = &found.booked.asked;
    Dispute {
        what: match asked.line {
            0 => w.dispute_whole.to_owned(),
            line => format!("{} {line}", w.line),
        },
        text: asked.text.clone(),
        answer: match &found.answer {
            None => w.dispute_open.to_owned(),
            Some(answer) => format!("{}: {}", w.answered, answer.asked.answer),
        },
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use desk::Role;

    use super::*;
    use crate::visit::Visit;

    /// A ticket with everything on it.
    fn sample(language: Language, sees_all: bool) -> Page {
        let visit = Visit::sample(language, Some(Role::Diver));
        let w = visit.words();
        let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
        let said = |text: &str, answer: &str| Said {
            text: text.to_owned(),
            is_ours: false,
            answer: answer.to_owned(),
        };
        Page {
            f: Frame::of(&visit, "Ticket 2031050200010000003"),
            id: "2031050200010000003".to_owned(),
            day: "2031-05-02".to_owned(),
            state: w.stands,
            facts: vec![(w.diver, "wren <haldane>".to_owned())],
            lots: vec![Lot {
                code: "20310502000100000031".to_owned(),
                fish: "red lionfish, whole".to_owned(),
                weighed: vec![Tote {
                    how: "45.60 lb (dock) - 3.60 lb (dock)".to_owned(),
                    pieces: "30".to_owned(),
                    gross: "45.60 lb".to_owned(),
                    tare: "3.60 lb".to_owned(),
                    ice: "1.25 lb".to_owned(),
                    net: "40.75 lb".to_owned(),
                }],
                seen: vec![(w.why_held, "45 F in the middle".to_owned())],
                found: vec![Found {
                    standing: language.term("failed"),
                    rules: language.term("cold").to_owned(),
                    texts: vec![("45 F is above 41 F".to_owned(), false)],
                }],
                probe_again: "probe it again by 2031-05-02 18:32".to_owned(),
            }],
            lines: vec![Line {
                n: 1,
                lot: 1,
                band: "undersize, 0.00 to under 0.50 lb".to_owned(),
                fish: "grade A, clean".to_owned(),
                pieces: "30".to_owned(),
                net: "40.75 lb".to_owned(),
                money: sees_all.then(|| LineMoney {
                    price: "1.25 USD/lb".to_owned(),
                    amount: "50.94 USD".to_owned(),
                    list: "1.10 USD/lb".to_owned(),
                    agreed: "1.25 USD/lb (removal weekend)".to_owned(),
                }),
                is_held: true,
                small: "proposed to soup-grade".to_owned(),
                small_reason: ("Gutted and head-off first.".to_owned(), false),
            }],
            sums: match sees_all {
                true => vec![pair("All lines", "50.94 USD")],
                false => Vec::new(),
            },
            pay: (w.payout, "47.94 USD".to_owned()),
            after: vec![pair("owed", "47.94 USD")],
            not_bought: vec![vec![
                "2".into(),
                "3.00 lb".into(),
                "refused".into(),
                "warm".into(),
                "thrown out".into(),
            ]],
            cautions: vec![said("The spines stay venomous.", "")],
            warnings: vec![said("Odd.", "")],
            questions: vec![said("Cull?", "he keeps them in")],
            followed: vec![(w.settled_by, w.not_settled.to_owned())],
            disputes: vec![Dispute {
                what: "Line 1".to_owned(),
                text: "I counted 31".to_owned(),
                answer: w.dispute_open.to_owned(),
            }],
            form: Some(Form {
                request_id: "an id".to_owned(),
                lines: vec![(1, "40.75 lb".to_owned())],
                may_whole: true,
            }),
        }
    }

    #[test]
    fn it_renders_with_everything_on_it_in_both_languages() {
        for language in Language::ALL {
            let html = sample(language, true).render().unwrap();
            for shown in [
                "40.75 lb",
                "50.94 USD",
                "47.94 USD",
                "1.10 USD/lb",
                "removal weekend",
                "20310502000100000031",
                "The spines stay venomous.",
                "he keeps them in",
                "I counted 31",
                "Gutted and head-off first.",
                "45 F is above 41 F",
                "45 F in the middle",
                "2031-05-02 18:32",
                "value=\"an id\"",
            ] {
                assert!(html.contains(shown), "{shown}");
            }
            assert!(
                !html.contains("<haldane>"),
                "what people wrote is no markup"
            );
        }
    }

    #[test]
    fn a_share_shows_no_price_and_an_ended_ticket_no_form() {
        let mut page = sample(Language::English, false);
        page.form = None;
        page.disputes.clear();
        let html = page.render().unwrap();
        for hidden in ["50.94", "USD/lb", "<form method=\"post\" action=\"/tickets"] {
            assert!(!html.contains(hidden), "{hidden}");
        }
        assert!(html.contains("40.75 lb"));
    }
}
