//! `ticket`: what the diver takes away: what was weighed, what is paid, what is
//! held, where the small fish is proposed to go, and what to watch for.

use proto::v1;

use crate::known::Known;
use crate::landing;
use crate::show::{self, Column, Page, word};
use crate::tally;
use crate::trouble::Trouble;
use crate::{Reach, receipt};

/// Arguments of `ticket`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse ticket 2031050200010000003
  weighhouse ticket 2031050200010000003 --receipt 32 --language es
  weighhouse ticket 2031050200010000003 --receipt 48 --copy-for boat-1")]
pub struct Ticket {
    /// Id of the ticket, 19 digits
    id: String,
    /// As plain text for a receipt printer with so many characters a line
    #[arg(long, value_name = "WIDTH", value_parser = ["32", "48"])]
    receipt: Option<String>,
    /// Language of the receipt
    #[arg(long, value_enum, default_value = "en", requires = "receipt")]
    language: receipt::Language,
    /// The copy of this payee: the weights, and no money but theirs. The buyer's when
    /// left out, with all of it and who is paid what
    #[arg(long, value_name = "PAYEE", requires = "receipt")]
    copy_for: Option<String>,
    #[command(flatten)]
    reach: Reach,
}

impl Ticket {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let answer = service
            .get_ticket(v1::GetTicketRequest { ticket: self.id })
            .await?;
        let ticket = present(answer.ticket.clone())?;
        let payee = match &self.copy_for {
            None => None,
            Some(code) => {
                let mut payees = ticket.payee_amounts.iter();
                Some(payees.find(|payee| payee.party == *code).ok_or_else(|| {
                    Trouble::Typed(format!("--copy-for {code}: is not a payee of this ticket"))
                })?)
            }
        };
        self.reach
            .say_as_it_is(
                &service,
                &answer,
                self.receipt.is_some(),
                |known| match self.receipt.as_deref().map(str::parse) {
                    Some(Ok(width)) => receipt::text(&ticket, known, width, self.language, payee),
                    Some(Err(_)) | None => text(&ticket, known),
                },
            )
            .await
    }
}

/// The ticket of an answer.
pub(crate) fn present(ticket: Option<v1::Ticket>) -> Result<v1::Ticket, Trouble> {
    ticket.ok_or(Trouble::Unreadable("there is no ticket in it"))
}

/// A ticket for a person.
#[must_use]
pub fn text(ticket: &v1::Ticket, known: &Known) -> String {
    let mut page = Page::title(format!(
        "Ticket {} {}",
        ticket.id,
        word!(TicketState, ticket.state)
    ));
    head(&mut page, ticket, known);
    weighed(&mut page, ticket, known);
    paid(&mut page, ticket, known);
    not_bought(&mut page, ticket, known);
    money(&mut page, ticket);
    undersize(&mut page, ticket);
    notices(&mut page, &ticket.notices, &ticket.answers);
    followed(&mut page, ticket, known);
    page.done()
}

/// What became of its pay, and what was said against it; nothing on a fresh one.
fn followed(page: &mut Page, ticket: &v1::Ticket, known: &Known) {
    if ticket.dispute_until.is_none() {
        return;
    }
    page.line("");
    page.facts(&[
        ("settled by", ticket.settled_by.join(", ")),
        (
            "a line can be disputed until",
            known.instant(ticket.site, ticket.dispute_until.as_ref()),
        ),
        (
            "the diver can object until",
            known.instant(ticket.site, ticket.object_until.as_ref()),
        ),
    ]);
    for dispute in &ticket.disputes {
        page.paragraph(disputed(dispute));
    }
}

/// A dispute and its answer, each in the words of who said it.
pub(crate) fn disputed(dispute: &v1::Dispute) -> String {
    let what = match dispute.line {
        0 => format!("Ticket {}", dispute.ticket),
        line => format!("Line {line} of ticket {}", dispute.ticket),
    };
    let answer = match dispute.answer_id.as_str() {
        "" => "Nobody has answered yet.".to_owned(),
        id => format!("Answered by {id}: \"{}\".", dispute.answer),
    };
    format!(
        "{what} is disputed ({}): \"{}\". {answer}",
        dispute.entry_id, dispute.text
    )
}

fn head(page: &mut Page, ticket: &v1::Ticket, known: &Known) {
    let caught = ticket.landing.clone().unwrap_or_default();
    let pay_day = if ticket.pay_day.is_none() || ticket.pay_day == ticket.day {
        String::new()
    } else {
        format!("{}, entered late", show::day(ticket.pay_day.as_ref()))
    };
    let rewrites = ticket
        .rewrites
        .as_ref()
        .map_or_else(String::new, |r| format!("{}: {}", r.ticket, r.reason));
    let ended = if ticket.ended_by.is_empty() {
        String::new()
    } else {
        format!("by {}: {}", ticket.ended_by, ticket.ended_reason)
    };
    let shown = ticket
        .offline
        .as_ref()
        .map_or_else(String::new, |o| show::money(o.payout_shown.as_ref()));
    page.facts(&[
        ("ended", ended),
        ("in place of", rewrites),
        ("site", known.site(ticket.site)),
        ("business day", show::day(ticket.day.as_ref())),
        ("pay day", pay_day),
        (
            "recorded",
            known.instant(ticket.site, ticket.recorded_at.as_ref()),
        ),
        ("diver", known.party(&ticket.harvester)),
        (
            "caught",
            join(&[
                areas(&caught.areas),
                show::days(caught.harvest_from.as_ref(), caught.harvest_to.as_ref()),
            ]),
        ),
        (
            "landed",
            join(&[
                caught.landing_place.clone(),
                show::day(caught.landed_on.as_ref()),
            ]),
        ),
        ("gear", caught.gear.clone()),
        (
            "vessel",
            join(&[caught.vessel.clone(), word!(VesselUse, caught.vessel_use)]),
        ),
        (
            "dives",
            caught.dives.map_or_else(String::new, |n| n.to_string()),
        ),
        ("depth", landing::depth(caught.depth.as_ref())),
        ("time fished", landing::minutes(&caught.minutes_fished)),
        ("confirmed", word!(Confirmation, ticket.confirmation)),
        ("shown offline", shown),
        ("device", ticket.device.clone()),
        ("lot number asked ahead", ticket.lot_number.clone()),
        (
            "prices as of",
            known.instant(ticket.site, ticket.priced_at.as_ref()),
        ),
        ("note", ticket.note.clone()),
    ]);
}

fn weighed(page: &mut Page, ticket: &v1::Ticket, known: &Known) {
    page.heading("Weighed in");
    let mut rows = Vec::new();
    for lot in &ticket.lots {
        for tote in &lot.weighed {
            let written = tote.as_written.clone().unwrap_or_default();
            let (fish, how) = as_written(tote);
            rows.push(vec![
                lot.n.to_string(),
                species_name(&lot.species_name, &lot.species, known),
                word!(Presentation, lot.presentation),
                written.grade,
                word!(Condition, written.condition),
                fish,
                show::weight(tote.gross.as_ref()),
                show::weight_unless_zero(tote.tare.as_ref()),
                show::weight_unless_zero(tote.ice.as_ref()),
                show::weight(tote.net.as_ref()),
                how,
            ]);
        }
    }
    page.table(
        &[
            Column::Right("lot"),
            Column::Left("fish"),
            Column::Left("form"),
            Column::Left("grade"),
            Column::Left("shot"),
            Column::Right("count"),
            Column::Right("gross"),
            Column::Right("tare"),
            Column::Right("ice"),
            Column::Right("net"),
            Column::Left("as written"),
        ],
        &rows,
    );
    for lot in &ticket.lots {
        let code = if lot.lot_code.is_empty() {
            "no code, none of it was bought".to_owned()
        } else {
            lot.lot_code.clone()
        };
        let own_days = show::days(lot.harvest_from.as_ref(), lot.harvest_to.as_ref());
        let small = match v1::SmallFish::try_from(lot.small_fish) {
            Ok(v1::SmallFish::Give) => "small fish given".to_owned(),
            Ok(v1::SmallFish::TakeHome) => "small fish taken home".to_owned(),
            Ok(v1::SmallFish::Sell | v1::SmallFish::Unspecified) | Err(_) => String::new(),
        };
        page.paragraph(format!(
            "lot {}: {}",
            lot.n,
            join(&[
                code,
                areas(&lot.areas),
                own_days,
                word!(Storage, lot.storage),
                small,
                received(lot.receiving.as_ref(), ticket.site, known),
            ])
        ));
        for line in findings(lot, ticket.site, known) {
            page.paragraph(line);
        }
        for line in tally::lines(lot.tally.as_ref()) {
            page.paragraph(format!("  tally: {line}"));
        }
    }
}

/// How many fish, and how they were weighed: what the figures do not show.
fn as_written(tote: &v1::WeighedTote) -> (String, String) {
    let weighed = tote
        .as_written
        .as_ref()
        .and_then(|written| written.weighed.as_ref());
    match weighed {
        None => (String::new(), String::new()),
        Some(v1::weighing::Weighed::Pieces(pieces)) => {
            let readings = pieces.pieces.iter().map(|piece| show::reading(Some(piece)));
            (
                pieces.pieces.len().to_string(),
                format!("one by one: {}", readings.collect::<Vec<_>>().join(", ")),
            )
        }
        Some(v1::weighing::Weighed::Tote(written)) => {
            let count = match (written.pieces, written.pieces_estimated) {
                (None, _) => "not counted".to_owned(),
                (Some(n), false) => n.to_string(),
                (Some(n), true) => format!("about {n}"),
            };
            let shown_in = tote.gross.as_ref().map(|gross| gross.unit);
            let in_another_unit = |reading: &v1::Reading| shown_in != Some(reading.unit);
            let gross = written.gross.as_ref();
            let tare = match &written.tare {
                Some(v1::tote_weighing::Tare::TareReading(tare)) if in_another_unit(tare) => {
                    format!("tare {}", show::reading(Some(tare)))
                }
                Some(v1::tote_weighing::Tare::TareReading(_)) | None => String::new(),
                Some(v1::tote_weighing::Tare::Tote(code)) => format!("tote {code}"),
                Some(v1::tote_weighing::Tare::Tared(_)) => "tared on the scale".to_owned(),
            };
            let how = join(&[
                show::reading(gross.filter(|gross| in_another_unit(gross))),
                tare,
                gross
                    .filter(|gross| !gross.scale.is_empty())
                    .map_or_else(String::new, |gross| format!("scale {}", gross.scale)),
                if written.iced {
                    "iced".to_owned()
                } else {
                    String::new()
                },
            ]);
            (count, how)
        }
    }
}

/// What receiving found, by how it stands; what passed or is not set needs no
/// more than its name.
fn findings(lot: &v1::TicketLot, site: i32, known: &Known) -> Vec<String> {
    let mut lines = Vec::new();
    for (standing, with_text) in [
        (v1::Standing::Failed, true),
        (v1::Standing::NotKnown, true),
        (v1::Standing::Passed, false),
        (v1::Standing::NotSet, false),
    ] {
        let found: Vec<String> = lot
            .findings
            .iter()
            .filter(|finding| finding.standing() == standing)
            .map(|finding| {
                let rule = word!(ReceivingRule, finding.rule);
                if with_text {
                    format!("{rule} ({})", finding.text)
                } else {
                    rule
                }
            })
            .collect();
        if !found.is_empty() {
            let standing = word!(Standing, i32::from(standing));
            lines.push(format!("  lot {}, {standing}: {}", lot.n, found.join(", ")));
        }
    }
    if let Some(due) = &lot.reprobe_due_at {
        lines.push(format!(
            "  lot {}: probe it again by {}",
            lot.n,
            known.instant(site, Some(due))
        ));
    }
    lines
}

fn received(receiving: Option<&v1::Receiving>, site: i32, known: &Known) -> String {
    let Some(receiving) = receiving else {
        return String::new();
    };
    let decision = match v1::Decision::try_from(receiving.decision) {
        Ok(v1::Decision::Hold) => "held",
        Ok(v1::Decision::Refuse) => "refused",
        Ok(v1::Decision::Accept | v1::Decision::Unspecified) | Err(_) => "",
    };
    let probes = receiving.probes.iter().map(show::temperature);
    let said = |what: &str, at: Option<&prost_types::Timestamp>| {
        at.map_or_else(String::new, |at| {
            format!("{what} {}", known.instant(site, Some(at)))
        })
    };
    let ice = match receiving.ice_around {
        None => "",
        Some(true) => "ice around",
        Some(false) => "no ice around",
    };
    join(&[
        decision.to_owned(),
        receiving.reason.clone(),
        receiving.corrective_action.clone(),
        probes.collect::<Vec<_>>().join(" / "),
        receiving
            .smallest_length
            .as_ref()
            .map_or_else(String::new, show::length),
        if receiving.area_unclear {
            "area unclear".to_owned()
        } else {
            String::new()
        },
        said("first speared", receiving.first_speared_at.as_ref()),
        said("iced", receiving.iced_at.as_ref()),
        ice.to_owned(),
    ])
}

fn paid(page: &mut Page, ticket: &v1::Ticket, known: &Known) {
    page.heading("Paid by weight band");
    if ticket.lines.is_empty() {
        page.line("  Nothing was bought.");
        return;
    }
    let rows: Vec<Vec<String>> = ticket
        .lines
        .iter()
        .map(|line| {
            vec![
                line.n.to_string(),
                format!("{}/{}", lot_number(ticket, &line.lot_code), line.part),
                known.species(&line.species),
                show::grade(&line.grade),
                word!(Condition, line.condition),
                band(line),
                pieces(line),
                show::weight(line.net.as_ref()),
                if line.list_price == line.price {
                    String::new()
                } else {
                    show::price(line.list_price.as_ref())
                },
                show::price(line.price.as_ref()),
                show::money(line.amount.as_ref()),
                if line.held {
                    "held".to_owned()
                } else {
                    String::new()
                },
            ]
        })
        .collect();
    page.table(
        &[
            Column::Right("line"),
            Column::Left("lot/part"),
            Column::Left("fish"),
            Column::Left("grade"),
            Column::Left("shot"),
            Column::Left("band"),
            Column::Right("count"),
            Column::Right("net"),
            Column::Right("list price"),
            Column::Right("price"),
            Column::Right("amount"),
            Column::Left("held"),
        ],
        &rows,
    );
    for line in ticket
        .lines
        .iter()
        .filter(|line| line.agreed_price.is_some())
    {
        page.paragraph(format!(
            "line {}: agreed price {} in place of the list's {}: {}",
            line.n,
            show::price(line.agreed_price.as_ref()),
            show::price(line.list_price.as_ref()),
            line.agreed_reason
        ));
    }
}

/// Number under which the lot of this code stands on the ticket.
fn lot_number(ticket: &v1::Ticket, lot_code: &str) -> String {
    let lot = ticket.lots.iter().find(|lot| lot.lot_code == lot_code);
    lot.map_or_else(|| lot_code.to_owned(), |lot| lot.n.to_string())
}

/// `plate, 0.75 to under 1.25 lb`.
fn band(line: &v1::TicketLine) -> String {
    if line.band == 0 {
        return "not counted".to_owned();
    }
    let edges = show::weights(line.band_from.as_ref(), line.band_to.as_ref());
    join(&[line.band_name.clone(), edges])
}

fn pieces(line: &v1::TicketLine) -> String {
    match (line.pieces, line.pieces_estimated) {
        (None, _) => String::new(),
        (Some(n), false) => n.to_string(),
        (Some(n), true) => format!("about {n}"),
    }
}

fn not_bought(page: &mut Page, ticket: &v1::Ticket, known: &Known) {
    if ticket.not_bought.is_empty() {
        return;
    }
    page.heading("Not bought");
    let rows: Vec<Vec<String>> = ticket
        .not_bought
        .iter()
        .map(|row| {
            vec![
                row.lot_n.to_string(),
                known.species(&row.species),
                word!(Presentation, row.presentation),
                show::weight(row.net.as_ref()),
                word!(NotBoughtWhy, row.why),
                row.reason.clone(),
                row.corrective_action.clone(),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Right("lot"),
            Column::Left("fish"),
            Column::Left("form"),
            Column::Right("net"),
            Column::Left("why"),
            Column::Left("reason"),
            Column::Left("what was done"),
        ],
        &rows,
    );
}

fn money(page: &mut Page, ticket: &v1::Ticket) {
    page.heading("Payout");
    let mut rows = vec![vec![
        "all lines".to_owned(),
        show::money(ticket.lines_total.as_ref()),
    ]];
    for adjustment in &ticket.adjustments {
        rows.push(vec![
            format!(
                "{} ({})",
                adjustment.name,
                match v1::AdjustmentKind::try_from(adjustment.kind) {
                    Ok(v1::AdjustmentKind::Price) => "price of the fish",
                    Ok(v1::AdjustmentKind::Settlement) => "pay only",
                    Ok(v1::AdjustmentKind::Unspecified) | Err(_) => "adjustment",
                }
            ),
            show::money(adjustment.amount.as_ref()),
        ]);
    }
    rows.push(vec![
        "payout".to_owned(),
        show::money(ticket.payout.as_ref()),
    ]);
    rows.push(vec!["  owed".to_owned(), show::money(ticket.owed.as_ref())]);
    rows.push(vec![
        "  held, not owed yet".to_owned(),
        show::money_unless_zero(ticket.held.as_ref()),
    ]);
    rows.retain(|row| row.iter().all(|cell| !cell.is_empty()));
    page.table(&[Column::Left("what"), Column::Right("amount")], &rows);
    for line in ticket.lines.iter().filter(|line| !line.hold_id.is_empty()) {
        page.line(format!(
            "  line {} is released by hold {}",
            line.n, line.hold_id
        ));
    }
    let rows: Vec<Vec<String>> = ticket
        .payee_amounts
        .iter()
        .zip(&ticket.payees)
        .map(|(amount, payee)| {
            let share = match &payee.share {
                None => String::new(),
                Some(v1::payee_share::Share::Percent(percent)) => format!("{percent} %"),
                Some(v1::payee_share::Share::Fixed(_)) => "fixed".to_owned(),
            };
            let held = show::money_unless_zero(amount.held.as_ref());
            vec![
                payee.party.clone(),
                share,
                show::money(amount.owed.as_ref()),
                held,
            ]
        })
        .collect();
    if !rows.is_empty() {
        page.heading("Paid to");
        page.table(
            &[
                Column::Left("payee"),
                Column::Right("share"),
                Column::Right("owed"),
                Column::Right("held, not owed yet"),
            ],
            &rows,
        );
    }
}

fn undersize(page: &mut Page, ticket: &v1::Ticket) {
    let small: Vec<&v1::TicketLine> = ticket
        .lines
        .iter()
        .filter(|line| line.undersize == i32::from(v1::Undersize::Yes))
        .collect();
    let unknown: Vec<String> = ticket
        .lines
        .iter()
        .filter(|line| line.undersize == i32::from(v1::Undersize::NotKnown))
        .map(|line| line.n.to_string())
        .collect();
    if small.is_empty() && unknown.is_empty() {
        return;
    }
    page.heading(format!(
        "Below the plate minimum: {}",
        match (small.is_empty(), unknown.is_empty()) {
            (true, _) => "not known".to_owned(),
            (false, true) => show::weight(ticket.undersize.as_ref()),
            (false, false) => format!(
                "{}, and what was not counted is not known",
                show::weight(ticket.undersize.as_ref())
            ),
        }
    ));
    for line in small {
        let outlet = show::outlet(line.proposed_outlet);
        let to = if outlet.is_empty() {
            "nowhere"
        } else {
            &outlet
        };
        page.paragraph(format!(
            "line {}, {}: proposed to {to}: {}",
            line.n,
            show::weight(line.net.as_ref()),
            line.proposed_reason
        ));
    }
    if !unknown.is_empty() {
        page.line(format!(
            "  not known, because not counted: line {}",
            unknown.join(", ")
        ));
    }
}

/// Questions, oddities and cautions, in that order.
pub(crate) fn notices(page: &mut Page, notices: &[v1::Notice], answers: &[v1::QuestionAnswer]) {
    for (kind, heading) in [
        (v1::NoticeKind::Question, "To ask the diver"),
        (v1::NoticeKind::Warning, "Odd, and booked all the same"),
        (v1::NoticeKind::Caution, "Cautions"),
    ] {
        let of_kind: Vec<&v1::Notice> = notices
            .iter()
            .filter(|n| n.kind == i32::from(kind))
            .collect();
        if of_kind.is_empty() {
            continue;
        }
        page.heading(heading);
        for notice in of_kind {
            if notice.line == 0 {
                page.paragraph(&notice.text);
            } else {
                page.paragraph(format!("line {}: {}", notice.line, notice.text));
            }
            for answer in answers
                .iter()
                .filter(|answer| kind == v1::NoticeKind::Question && answer.code == notice.code)
            {
                page.paragraph(format!("answered: {}", answer.text));
            }
        }
    }
}

pub(crate) fn areas(areas: &[v1::CatchArea]) -> String {
    areas
        .iter()
        .map(|area| format!("{} {}", area.system, area.code))
        .collect::<Vec<_>>()
        .join(", ")
}

fn species_name(name: &str, code: &str, known: &Known) -> String {
    if name.is_empty() {
        known.species(code)
    } else {
        name.to_owned()
    }
}

/// What is not empty, by commas.
fn join(parts: &[String]) -> String {
    let parts: Vec<&str> = parts
        .iter()
        .filter(|p| !p.is_empty())
        .map(String::as_str)
        .collect();
    parts.join(", ")
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) fn lb(shown: &str) -> Option<v1::Weight> {
        Some(v1::Weight {
            grams: shown.to_owned(),
            shown: shown.to_owned(),
            unit: v1::WeightUnit::Lb.into(),
        })
    }

    pub(crate) fn usd(amount_minor: i64) -> Option<v1::Money> {
        Some(v1::Money {
            amount_minor,
            currency: "USD".to_owned(),
        })
    }

    fn per_lb(decimal: &str) -> Option<v1::UnitPrice> {
        Some(v1::UnitPrice {
            decimal: decimal.to_owned(),
            currency: "USD".to_owned(),
            per: v1::WeightUnit::Lb.into(),
        })
    }

    /// 42.00 lb of small and plate fish, a held part, a refused lot.
    pub(crate) fn sample() -> v1::Ticket {
        let written = v1::Weighing {
            grade: "A".to_owned(),
            condition: v1::Condition::Clean.into(),
            weighed: Some(v1::weighing::Weighed::Tote(v1::ToteWeighing {
                gross: Some(v1::Reading {
                    decimal: "45.60".to_owned(),
                    unit: v1::WeightUnit::Lb.into(),
                    scale: "dock".to_owned(),
                    source: 0,
                }),
                tare: Some(v1::tote_weighing::Tare::Tote("grey-1".to_owned())),
                iced: true,
                pieces: Some(66),
                pieces_estimated: true,
            })),
        };
        v1::Ticket {
            id: "2031050200010000003".to_owned(),
            site: 1,
            harvester: "diver-1".to_owned(),
            state: v1::TicketState::Stands.into(),
            confirmation: v1::Confirmation::DiverAbsent.into(),
            lots: vec![
                v1::TicketLot {
                    n: 1,
                    lot_code: "20310502000100000031".to_owned(),
                    species: "PZO".to_owned(),
                    species_name: "Lionfish".to_owned(),
                    presentation: v1::Presentation::Whole.into(),
                    weighed: vec![v1::WeighedTote {
                        as_written: Some(written),
                        gross: lb("45.600"),
                        tare: lb("3.600"),
                        ice: lb("1.250"),
                        net: lb("40.750"),
                    }],
                    ..v1::TicketLot::default()
                },
                v1::TicketLot {
                    n: 2,
                    species: "LCX".to_owned(),
                    receiving: Some(v1::Receiving {
                        decision: v1::Decision::Refuse.into(),
                        reason: "58 F, never iced".to_owned(),
                        ..v1::Receiving::default()
                    }),
                    ..v1::TicketLot::default()
                },
            ],
            lines: vec![
                v1::TicketLine {
                    n: 1,
                    lot_code: "20310502000100000031".to_owned(),
                    part: 1,
                    band: 1,
                    band_name: "undersize".to_owned(),
                    band_from: lb("0.000"),
                    band_to: lb("0.500"),
                    net: lb("10.750"),
                    list_price: per_lb("1.2500"),
                    price: per_lb("1.2500"),
                    amount: usd(1_344),
                    undersize: v1::Undersize::Yes.into(),
                    proposed_outlet: v1::Outlet::Soup.into(),
                    proposed_reason: "the site's first choice".to_owned(),
                    ..v1::TicketLine::default()
                },
                v1::TicketLine {
                    n: 2,
                    lot_code: "20310502000100000031".to_owned(),
                    part: 2,
                    band: 4,
                    band_name: "jumbo".to_owned(),
                    band_from: lb("1.250"),
                    net: lb("30.000"),
                    amount: usd(21_000),
                    held: true,
                    hold_id: "2031050200010000003-2".to_owned(),
                    undersize: v1::Undersize::No.into(),
                    ..v1::TicketLine::default()
                },
            ],
            not_bought: vec![v1::NotBought {
                lot_n: 2,
                species: "LCX".to_owned(),
                net: lb("9.000"),
                why: v1::NotBoughtWhy::Refused.into(),
                reason: "58 F, never iced".to_owned(),
                corrective_action: "sent away".to_owned(),
                ..v1::NotBought::default()
            }],
            adjustments: vec![v1::AdjustmentLine {
                name: "ice".to_owned(),
                kind: v1::AdjustmentKind::Settlement.into(),
                amount: usd(-300),
            }],
            lines_total: usd(22_344),
            payout: usd(22_044),
            owed: usd(1_044),
            held: usd(21_000),
            undersize: lb("10.750"),
            notices: vec![
                v1::Notice {
                    kind: v1::NoticeKind::Caution.into(),
                    code: "spines".to_owned(),
                    text: "The spines stay venomous.".to_owned(),
                    line: 0,
                },
                v1::Notice {
                    kind: v1::NoticeKind::Question.into(),
                    code: "cull".to_owned(),
                    text: "Cull the tote?".to_owned(),
                    line: 1,
                },
            ],
            ..v1::Ticket::default()
        }
    }

    /// The line of `text` after `heading` that contains `with`.
    pub(crate) fn row(text: &str, heading: &str, with: &str) -> String {
        text.lines()
            .skip_while(|line| !line.starts_with(heading))
            .find(|line| line.contains(with))
            .unwrap_or_else(|| panic!("no {with} under {heading}:\n{text}"))
            .to_owned()
    }

    #[test]
    fn a_ticket_prints_gross_tare_ice_and_net() {
        let text = text(&sample(), &Known::default());
        let tote = row(&text, "Weighed in", "45.600");
        for figure in ["3.600", "1.250", "40.750", "about 66"] {
            assert!(tote.contains(figure), "{figure}: {text}");
        }
        for word in ["gross, lb", "tote grey-1", "iced"] {
            assert!(text.contains(word), "{word}: {text}");
        }
    }

    #[test]
    fn a_reading_in_another_unit_is_printed_as_it_was_written() {
        let mut ticket = sample();
        let written = ticket.lots[0].weighed[0].as_written.as_mut();
        let Some(v1::weighing::Weighed::Tote(tote)) = written.and_then(|w| w.weighed.as_mut())
        else {
            panic!("it is a tote")
        };
        tote.gross = Some(v1::Reading {
            decimal: "20.68".to_owned(),
            unit: v1::WeightUnit::Kg.into(),
            ..v1::Reading::default()
        });
        let text = text(&ticket, &Known::default());
        assert!(
            row(&text, "Weighed in", "45.600").contains("20.68 kg"),
            "{text}"
        );
    }

    #[test]
    fn a_line_prints_its_band_with_the_side_that_is_in() {
        let text = text(&sample(), &Known::default());
        let small = row(&text, "Paid", "10.750");
        assert!(
            small.contains("undersize, 0.000 to under") && text.contains("0.500 lb"),
            "{text}"
        );
        assert!(small.contains("13.44"), "{text}");
        let large = row(&text, "Paid", "30.000");
        assert!(large.contains("jumbo, 1.250 lb and over"), "{text}");
        assert!(large.ends_with("held"), "{text}");
    }

    #[test]
    fn the_payout_is_split_into_owed_and_held() {
        let text = text(&sample(), &Known::default());
        assert!(
            row(&text, "Payout", "ice (pay only)").ends_with("-3.00 USD"),
            "{text}"
        );
        assert!(
            row(&text, "Payout", " payout").ends_with("220.44 USD"),
            "{text}"
        );
        assert!(
            row(&text, "Payout", "owed ").contains("10.44 USD"),
            "{text}"
        );
        assert!(
            row(&text, "Payout", "held, not owed yet").ends_with("210.00 USD"),
            "{text}"
        );
        assert!(row(&text, "Payout", "released by hold").contains("2031050200010000003-2"));
    }

    #[test]
    fn undersize_fish_and_refused_fish_say_where_they_go() {
        let text = text(&sample(), &Known::default());
        assert!(
            text.contains("Below the plate minimum: 10.750 lb"),
            "{text}"
        );
        assert!(
            text.contains("line 1, 10.750 lb: proposed to soup-grade: the site's first choice"),
            "{text}"
        );
        let refused = row(&text, "Not bought", "9.000 lb");
        assert!(
            refused.contains("58 F, never iced") && refused.contains("sent away"),
            "{text}"
        );
        assert!(
            text.contains("lot 2: no code, none of it was bought"),
            "{text}"
        );
    }

    #[test]
    fn questions_come_before_cautions() {
        let text = text(&sample(), &Known::default());
        let question = text.find("line 1: Cull the tote?");
        let caution = text.find("The spines stay venomous.");
        assert!(question.is_some() && question < caution, "{text}");
    }

    #[test]
    fn a_ticket_that_ended_says_by_what_and_why() {
        let ticket = v1::Ticket {
            state: v1::TicketState::Rewritten.into(),
            ended_by: "2031050200010000009".to_owned(),
            ended_reason: "wrong diver".to_owned(),
            ..sample()
        };
        let text = text(&ticket, &Known::default());
        assert!(
            text.starts_with("Ticket 2031050200010000003 rewritten\n"),
            "{text}"
        );
        assert!(
            text.contains("by 2031050200010000009: wrong diver"),
            "{text}"
        );
    }
}
