//! A weigh-in, parsed: what the person at the scale wrote.

use proto::v1;
use proto::v1::{adjustment, payee_share, tote_weighing, weighing};
use rules::fish::Presentation;
use rules::ids::MOST_LOTS;
use rules::money::{Currency, UnitPrice};
use rules::receiving::HoldCause;
use rules::ticket::{
    AdjustBy, Adjustment, CatchArea, Decision, Landing, LotIn, PayeeShare, Pieces, QuestionAnswer,
    Receiving, Rewrite, Share, SmallFish, Tare, VoidAsked, WeighIn, Weighed, Weighing,
};

use super::{
    Asked, At as _, Bad, Calendar, code, code_or_none, count, date_or_none, dates, each, entry_id,
    foreign_code, given, grade, instant_or_none, length, money, money_from_zero, name, on_file,
    per, percent, plain, reading, reading_above_zero, request_id, said, some_of, species,
    temperature, text, word,
};

/// Most weighings of one lot.
const MOST_WEIGHINGS: usize = 200;
/// Most fish weighed one by one in one weighing.
const MOST_PIECES: usize = 500;
/// Most fish in a tote.
const MOST_IN_TOTE: i32 = 100_000;
/// Most areas, probes, payees or adjustments.
const MOST_ROWS: usize = 50;
/// Most dives of a landing.
const MOST_DIVES: i32 = 1000;

/// A weigh-in; `money` is the site's, where it is on file.
pub(crate) fn weigh_in(
    request: v1::RecordWeighInRequest,
    site_money: Option<Currency>,
) -> Result<Asked<WeighIn>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = super::site(request.site)?;
    let currency = on_file(site, site_money)?;
    let offline_payout = request.offline.map(|offline| {
        given(offline.payout_shown)
            .and_then(|shown| money_from_zero(&shown, currency))
            .at("payout_shown")
    });
    let most_lots = usize::try_from(MOST_LOTS).unwrap_or(usize::MAX);
    let what = WeighIn {
        site,
        harvester: code(request.harvester).at("harvester")?,
        landing: request
            .landing
            .map_or_else(|| Ok(Landing::default()), landing)
            .at("landing")?,
        lots: some_of(request.lots, most_lots, lot).at("lots")?,
        confirmation: said(request.confirmation).at("confirmation")?,
        first_reading_us: instant_or_none(request.first_reading_at).at("first_reading_at")?,
        sent_us: instant_or_none(request.sent_at).at("sent_at")?,
        offline_payout: offline_payout.transpose().at("offline")?,
        device: code_or_none(request.device).at("device")?,
        rewrites: request.rewrites.map(rewrite).transpose().at("rewrites")?,
        payees: each(request.payees, MOST_ROWS, |share| payee(share, currency)).at("payees")?,
        adjustments: each(request.adjustments, MOST_ROWS, |row| {
            adjustment(row, currency)
        })
        .at("adjustments")?,
        note: text(request.note).at("note")?,
        answers: each(request.answers, MOST_ROWS, |answer| {
            Ok(QuestionAnswer {
                code: question_code(answer.code).at("code")?,
                text: name(answer.text).at("text")?,
            })
        })
        .at("answers")?,
    };
    both_instants(&what)?;
    Ok(Asked { request_id, what })
}

/// The service corrects the sender's clock by the difference of the two, so one
/// without the other says nothing.
fn both_instants(asked: &WeighIn) -> Result<(), Bad> {
    match (asked.first_reading_us, asked.sent_us) {
        (Some(_), None) => Err(Bad::missing("must be given with first_reading_at")).at("sent_at"),
        (None, Some(_)) => Err(Bad::missing("must be given with sent_at")).at("first_reading_at"),
        _ => Ok(()),
    }
}

/// Stable word of a question, such as `cull`.
fn question_code(written: String) -> Result<String, Bad> {
    if written.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    let word = |byte: u8| byte.is_ascii_lowercase() || byte == b'_';
    if written.len() > 40 || !written.bytes().all(word) {
        return Err(Bad::rule(
            "is not the code of a question, such as \"cull\" or \"fish_this_long\"",
        ));
    }
    Ok(written)
}

/// Voiding a ticket.
pub(crate) fn void_ticket(request: v1::VoidTicketRequest) -> Result<Asked<VoidAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: VoidAsked {
            ticket: entry_id(&request.ticket).at("ticket")?,
            reason: name(request.reason).at("reason")?,
        },
    })
}

fn landing(landing: v1::Landing) -> Result<Landing, Bad> {
    let (harvest_from, harvest_to) = dates(landing.harvest_from, landing.harvest_to)?;
    Ok(Landing {
        areas: areas(landing.areas)?,
        harvest_from,
        harvest_to,
        gear: foreign_code(landing.gear).at("gear")?,
        landing_place: text(landing.landing_place).at("landing_place")?,
        landed_on: date_or_none(landing.landed_on).at("landed_on")?,
        vessel: text(landing.vessel).at("vessel")?,
        vessel_use: word(landing.vessel_use).at("vessel_use")?,
        dives: landing
            .dives
            .map(|dives| count(dives, 0, MOST_DIVES))
            .transpose()
            .at("dives")?,
    })
}

fn areas(areas: Vec<v1::CatchArea>) -> Result<Vec<CatchArea>, Bad> {
    let area = |area: v1::CatchArea| {
        Ok(CatchArea {
            system: foreign_code(name(area.system).at("system")?).at("system")?,
            code: foreign_code(name(area.code).at("code")?).at("code")?,
        })
    };
    each(areas, MOST_ROWS, area).at("areas")
}

fn lot(lot: v1::LotIn) -> Result<LotIn, Bad> {
    let presentation: Presentation = said(lot.presentation).at("presentation")?;
    let (harvest_from, harvest_to): (Option<Calendar>, Option<Calendar>) =
        dates(lot.harvest_from, lot.harvest_to)?;
    Ok(LotIn {
        species: species(lot.species).at("species")?,
        presentation,
        storage: word(lot.storage).at("storage")?,
        weighings: some_of(lot.weighings, MOST_WEIGHINGS, |row| {
            weighing(row, presentation)
        })
        .at("weighings")?,
        receiving: receiving(lot.receiving.unwrap_or_default()).at("receiving")?,
        small_fish: word(lot.small_fish)
            .at("small_fish")?
            .unwrap_or(SmallFish::Sell),
        areas: areas(lot.areas)?,
        harvest_from,
        harvest_to,
    })
}

fn receiving(seen: v1::Receiving) -> Result<Receiving, Bad> {
    let decision = word(seen.decision)
        .at("decision")?
        .unwrap_or(Decision::Accept);
    let reason = match decision {
        Decision::Accept => text(seen.reason),
        Decision::Hold | Decision::Refuse => name(seen.reason),
    };
    let corrective_action = match decision {
        Decision::Accept | Decision::Hold => text(seen.corrective_action),
        Decision::Refuse => name(seen.corrective_action),
    };
    Ok(Receiving {
        decision,
        reason: reason.at("reason")?,
        corrective_action: corrective_action.at("corrective_action")?,
        first_speared_us: instant_or_none(seen.first_speared_at).at("first_speared_at")?,
        iced_us: instant_or_none(seen.iced_at).at("iced_at")?,
        ice_around: seen.ice_around,
        probes: each(seen.probes, MOST_ROWS, temperature).at("probes")?,
        smallest_length: seen
            .smallest_length
            .map(length)
            .transpose()
            .at("smallest_length")?,
        area_unclear: seen.area_unclear,
        hold_cause: hold_cause(seen.hold_cause, decision).at("hold_cause")?,
    })
}

/// Only a hold has a cause.
fn hold_cause(number: i32, decision: Decision) -> Result<Option<HoldCause>, Bad> {
    let cause = word(number)?;
    if cause.is_some() && decision != Decision::Hold {
        return Err(Bad::rule("is said of a hold only"));
    }
    Ok(cause)
}

fn weighing(row: v1::Weighing, presentation: Presentation) -> Result<Weighing, Bad> {
    let condition = if presentation.is_fish() {
        said(row.condition).map(Some)
    } else {
        word(row.condition)
    };
    let weighed = match row.weighed {
        Some(weighing::Weighed::Tote(row)) => tote(row).at("tote")?,
        Some(weighing::Weighed::Pieces(row)) => {
            let pieces = some_of(row.pieces, MOST_PIECES, reading_above_zero);
            Weighed::Pieces(pieces.at("pieces.pieces")?)
        }
        None => return Err(Bad::missing("either tote or pieces must be given")),
    };
    Ok(Weighing {
        grade: grade(&row.grade).at("grade")?,
        condition: condition.at("condition")?,
        weighed,
    })
}

fn tote(tote: v1::ToteWeighing) -> Result<Weighed, Bad> {
    let gross = given(tote.gross).and_then(reading_above_zero).at("gross")?;
    let tare = match tote.tare {
        Some(tote_weighing::Tare::TareReading(tare)) => {
            Tare::Reading(reading(tare).at("tare_reading")?)
        }
        Some(tote_weighing::Tare::Tote(named)) => Tare::Tote {
            code: code(named).at("tote")?,
            posted: None,
        },
        Some(tote_weighing::Tare::Tared(true)) => Tare::Tared,
        Some(tote_weighing::Tare::Tared(false)) => {
            return Err(Bad::rule("is true or left out")).at("tared");
        }
        None => {
            return Err(Bad::missing(
                "one of tare_reading, tote or tared must be given",
            ));
        }
    };
    let count = tote
        .pieces
        .map(|n| count(n, 1, MOST_IN_TOTE))
        .transpose()
        .at("pieces")?;
    let pieces = match (count, tote.pieces_estimated) {
        (Some(n), false) => Pieces::Counted(n),
        (Some(n), true) => Pieces::Estimated(n),
        (None, false) => Pieces::NotCounted,
        (None, true) => {
            return Err(Bad::missing("must be given where it is estimated")).at("pieces");
        }
    };
    Ok(Weighed::Tote {
        gross,
        tare,
        iced: tote.iced,
        pieces,
    })
}

fn rewrite(rewrite: v1::Rewrite) -> Result<Rewrite, Bad> {
    Ok(Rewrite {
        ticket: entry_id(&rewrite.ticket).at("ticket")?,
        reason: name(rewrite.reason).at("reason")?,
    })
}

fn payee(share: v1::PayeeShare, currency: Currency) -> Result<PayeeShare, Bad> {
    Ok(PayeeShare {
        party: code(share.party).at("party")?,
        share: match share.share {
            Some(payee_share::Share::Percent(text)) => Share::Ppm(percent(&text, 0).at("percent")?),
            Some(payee_share::Share::Fixed(amount)) => {
                Share::Fixed(money_from_zero(&amount, currency).at("fixed")?)
            }
            None => return Err(Bad::missing("either percent or fixed must be given")),
        },
    })
}

fn adjustment(row: v1::Adjustment, currency: Currency) -> Result<Adjustment, Bad> {
    let by = match row.amount {
        Some(adjustment::Amount::PerWeight(price)) => {
            AdjustBy::PerWeight(signed_price(&price, currency).at("per_weight")?)
        }
        Some(adjustment::Amount::Percent(text)) => {
            AdjustBy::Ppm(percent(&text, -1_000_000).at("percent")?)
        }
        Some(adjustment::Amount::Flat(amount)) => {
            AdjustBy::Flat(money(&amount, currency).at("flat")?)
        }
        None => {
            return Err(Bad::missing(
                "one of per_weight, percent or flat must be given",
            ));
        }
    };
    Ok(Adjustment {
        name: name(row.name).at("name")?,
        kind: said(row.kind).at("kind")?,
        by,
    })
}

fn signed_price(price: &v1::SignedUnitPrice, currency: Currency) -> Result<UnitPrice, Bad> {
    let per = per(price.per).at("per")?;
    plain(&price.decimal, |text| {
        UnitPrice::signed(text, currency, per)
    })
    .at("decimal")
}

#[cfg(test)]
mod tests;
