//! A ticket: what was asked, what came of it, and what became of it since.

use desk::{Booked, TicketFound};
use proto::v1;
use proto::v1::{payee_share, tote_weighing, weighing};
use rules::ids::EntryId;
use rules::stock::HoldId;
use rules::ticket::{
    CatchArea, Landing, Line, LotIn, Net, NotBought, PayeeShare, Pieces, Receiving, Share, Tare,
    Ticket, TicketLot, WeighIn, Weighed, Weighing,
};
use rules::weight::{Weight, WeightUnit};

use super::landing::{depth, tally};
use super::{
    date, day, int32, lot_code, money, notice, percent, reading, temperature, timestamp,
    unit_price, weight,
};
use crate::codes::{Coded as _, wire_or_none};

/// A ticket as it stands, weights shown in the site's unit.
pub(crate) fn found(found: &TicketFound, shown_in: WeightUnit) -> v1::Ticket {
    let ticket = booked(&found.booked, shown_in);
    let ticket = super::settle::followed(ticket, &found.followed);
    let ticket = match &found.shared_with {
        None => ticket,
        Some(party) => as_shared(ticket, party),
    };
    let Some(ended) = &found.ended else {
        return ticket;
    };
    let state = if ended.voided {
        v1::TicketState::Voided
    } else {
        v1::TicketState::Rewritten
    };
    v1::Ticket {
        state: state.into(),
        ended_by: ended.by.to_string(),
        ended_reason: ended.reason.clone(),
        ..ticket
    }
}

/// Notices that tell what a whole ticket pays.
const OF_THE_PAYOUT: [&str; 3] = ["payout_cut", "offline_difference", "released_before"];

/// What one of several payees sees of a ticket: the weights, and their own money (5.2).
fn as_shared(ticket: v1::Ticket, party: &str) -> v1::Ticket {
    let unpriced = |line: v1::TicketLine| v1::TicketLine {
        list_price: None,
        price: None,
        amount: None,
        agreed_price: None,
        agreed_price_id: String::new(),
        agreed_reason: String::new(),
        ..line
    };
    let own = ticket
        .payee_amounts
        .iter()
        .find(|amount| amount.party == party)
        .cloned();
    v1::Ticket {
        lines: ticket.lines.into_iter().map(unpriced).collect(),
        adjustments: Vec::new(),
        lines_total: None,
        payout: None,
        owed: own.as_ref().and_then(|own| own.owed.clone()),
        held: own.as_ref().and_then(|own| own.held.clone()),
        payees: Vec::new(),
        payee_amounts: own.into_iter().collect(),
        offline: None,
        note: String::new(),
        notices: ticket
            .notices
            .into_iter()
            .filter(|notice| !OF_THE_PAYOUT.contains(&notice.code.as_str()))
            .collect(),
        disputes: Vec::new(),
        settled_by: Vec::new(),
        ..ticket
    }
}

/// A ticket as it was first answered.
pub(crate) fn booked(booked: &Booked<WeighIn, Ticket>, shown_in: WeightUnit) -> v1::Ticket {
    let Booked {
        entry,
        asked,
        outcome,
        ..
    } = booked;
    let show = Show {
        entry: *entry,
        asked,
        ticket: outcome,
        unit: shown_in,
    };
    v1::Ticket {
        id: entry.to_string(),
        site: int32(asked.site),
        day: Some(day(entry.day())),
        recorded_at: Some(timestamp(booked.recorded_us)),
        priced_at: Some(timestamp(outcome.priced_us)),
        harvester: asked.harvester.clone(),
        landing: Some(landing(&asked.landing)),
        confirmation: asked.confirmation.wire(),
        lots: outcome.lots.iter().map(|lot| show.lot(lot)).collect(),
        lines: (1..)
            .zip(&outcome.lines)
            .map(|(n, line)| show.line(n, line))
            .collect(),
        not_bought: outcome
            .not_bought
            .iter()
            .map(|row| show.not_bought(row))
            .collect(),
        adjustments: outcome
            .adjustments
            .iter()
            .map(|line| v1::AdjustmentLine {
                name: line.name.clone(),
                kind: line.kind.wire(),
                amount: Some(money(line.amount)),
            })
            .collect(),
        lines_total: Some(money(outcome.lines_total)),
        payout: Some(money(outcome.payout)),
        owed: Some(money(outcome.owed)),
        held: Some(money(outcome.held)),
        notices: outcome.notices.iter().map(notice).collect(),
        undersize: Some(weight(outcome.undersize, shown_in)),
        payees: asked.payees.iter().map(payee).collect(),
        payee_amounts: outcome
            .shares
            .iter()
            .map(|share| v1::PayeeAmount {
                party: share.party.clone(),
                owed: Some(money(share.owed)),
                held: Some(money(share.held)),
            })
            .collect(),
        rewrites: asked.rewrites.as_ref().map(|rewrite| v1::Rewrite {
            ticket: rewrite.ticket.to_string(),
            reason: rewrite.reason.clone(),
        }),
        device: asked.device.clone(),
        note: asked.note.clone(),
        pay_day: (booked.pay_day != entry.day()).then(|| day(booked.pay_day)),
        state: v1::TicketState::Stands.into(),
        ended_by: String::new(),
        ended_reason: String::new(),
        offline: asked.offline_payout.map(|shown| v1::Offline {
            payout_shown: Some(money(shown)),
        }),
        answers: asked
            .answers
            .iter()
            .map(|answer| v1::QuestionAnswer {
                code: answer.code.clone(),
                text: answer.text.clone(),
            })
            .collect(),
        disputes: Vec::new(),
        settled_by: Vec::new(),
        dispute_until: None,
        object_until: None,
        lot_number: asked
            .lot_number
            .map_or_else(String::new, |number| number.to_string()),
    }
}

fn landing(landing: &Landing) -> v1::Landing {
    v1::Landing {
        areas: areas(&landing.areas),
        harvest_from: landing.harvest_from.map(date),
        harvest_to: landing.harvest_to.map(date),
        gear: landing.gear.clone(),
        landing_place: landing.landing_place.clone(),
        landed_on: landing.landed_on.map(date),
        vessel: landing.vessel.clone(),
        vessel_use: wire_or_none(landing.vessel_use),
        dives: landing.dives.map(int32),
        depth: landing.depth.as_ref().map(depth),
        minutes_fished: landing.minutes_fished.clone(),
    }
}

pub(crate) fn areas(areas: &[CatchArea]) -> Vec<v1::CatchArea> {
    areas
        .iter()
        .map(|area| v1::CatchArea {
            system: area.system.clone(),
            code: area.code.clone(),
        })
        .collect()
}

fn payee(payee: &PayeeShare) -> v1::PayeeShare {
    let share = match payee.share {
        Share::Ppm(ppm) => payee_share::Share::Percent(percent(ppm)),
        Share::Fixed(amount) => payee_share::Share::Fixed(money(amount)),
    };
    v1::PayeeShare {
        party: payee.party.clone(),
        share: Some(share),
    }
}

fn receiving(seen: &Receiving) -> v1::Receiving {
    v1::Receiving {
        decision: seen.decision.wire(),
        reason: seen.reason.clone(),
        corrective_action: seen.corrective_action.clone(),
        first_speared_at: seen.first_speared_us.map(timestamp),
        iced_at: seen.iced_us.map(timestamp),
        ice_around: seen.ice_around,
        probes: seen.probes.iter().map(temperature).collect(),
        smallest_length: seen.smallest_length.as_ref().map(super::receiving::length),
        area_unclear: seen.area_unclear,
        hold_cause: wire_or_none(seen.hold_cause),
    }
}

fn as_written(row: &Weighing) -> v1::Weighing {
    let weighed = match &row.weighed {
        Weighed::Pieces(pieces) => weighing::Weighed::Pieces(v1::PieceWeighing {
            pieces: pieces.iter().map(reading).collect(),
        }),
        Weighed::Tote {
            gross,
            tare,
            iced,
            pieces,
        } => {
            let (pieces, pieces_estimated) = counted(*pieces);
            weighing::Weighed::Tote(v1::ToteWeighing {
                gross: Some(reading(gross)),
                tare: Some(match tare {
                    Tare::Reading(tare) => tote_weighing::Tare::TareReading(reading(tare)),
                    Tare::Tote { code, .. } => tote_weighing::Tare::Tote(code.clone()),
                    Tare::Tared => tote_weighing::Tare::Tared(true),
                }),
                iced: *iced,
                pieces,
                pieces_estimated,
            })
        }
    };
    v1::Weighing {
        grade: row.grade.as_str().to_owned(),
        condition: wire_or_none(row.condition),
        weighed: Some(weighed),
    }
}

/// How many fish, and whether that is a guess; absent is not zero.
fn counted(pieces: Pieces) -> (Option<i32>, bool) {
    match pieces {
        Pieces::NotCounted => (None, false),
        Pieces::Counted(n) => (Some(int32(n)), false),
        Pieces::Estimated(n) => (Some(int32(n)), true),
    }
}

/// A ticket being shown: its rows name lots by position.
struct Show<'a> {
    entry: EntryId,
    asked: &'a WeighIn,
    ticket: &'a Ticket,
    unit: WeightUnit,
}

impl Show<'_> {
    fn weight(&self, of: Weight) -> Option<v1::Weight> {
        Some(weight(of, self.unit))
    }

    /// A lot as it was written; positions count from 1.
    fn written(&self, n: i64) -> Option<&LotIn> {
        self.asked
            .lots
            .get(usize::try_from(n).ok()?.checked_sub(1)?)
    }

    fn lot_code(&self, n: i64) -> String {
        let number = self.ticket.number.unwrap_or(self.entry.number());
        let lot = self.ticket.lots.iter().find(|lot| lot.n == n);
        lot_code(number, lot.and_then(|lot| lot.place))
    }

    fn lot(&self, lot: &TicketLot) -> v1::TicketLot {
        let shown = v1::TicketLot {
            n: int32(lot.n),
            lot_code: self.lot_code(lot.n),
            species_name: lot.species_name.clone(),
            price_list: match lot.price_list {
                0 => String::new(),
                entry => entry.to_string(),
            },
            findings: lot
                .received
                .findings
                .iter()
                .map(super::receiving::finding)
                .collect(),
            reprobe_due_at: lot.received.reprobe_due_us.map(timestamp),
            ..v1::TicketLot::default()
        };
        let Some(written) = self.written(lot.n) else {
            return shown;
        };
        v1::TicketLot {
            species: written.species.clone(),
            presentation: written.presentation.wire(),
            storage: wire_or_none(written.storage),
            receiving: Some(receiving(&written.receiving)),
            small_fish: written.small_fish.wire(),
            areas: areas(&written.areas),
            harvest_from: written.harvest_from.map(date),
            harvest_to: written.harvest_to.map(date),
            tally: written.tally.as_ref().map(tally),
            weighed: written
                .weighings
                .iter()
                .zip(&lot.weighed)
                .map(|(row, net)| self.weighed(row, *net))
                .collect(),
            ..shown
        }
    }

    fn weighed(&self, row: &Weighing, net: Net) -> v1::WeighedTote {
        let tote = matches!(row.weighed, Weighed::Tote { .. });
        let of_tote = |part| tote.then(|| weight(part, self.unit));
        v1::WeighedTote {
            as_written: Some(as_written(row)),
            gross: of_tote(net.gross),
            tare: of_tote(net.tare),
            ice: of_tote(net.ice),
            net: self.weight(net.net),
        }
    }

    fn line(&self, n: i64, line: &Line) -> v1::TicketLine {
        let written = self.written(line.lot);
        let (pieces, pieces_estimated) = counted(line.pieces);
        let hold = HoldId {
            entry: self.entry.number(),
            line: n,
        };
        v1::TicketLine {
            n: int32(n),
            lot_code: self.lot_code(line.lot),
            part: int32(line.part),
            species: written.map_or_else(String::new, |lot| lot.species.clone()),
            presentation: wire_or_none(written.map(|lot| lot.presentation)),
            grade: line.grade.as_str().to_owned(),
            condition: wire_or_none(line.condition),
            band: int32(line.band),
            band_name: line.band_name.clone(),
            band_from: self.weight(line.band_from),
            band_to: line.band_to.and_then(|to| self.weight(to)),
            pieces,
            pieces_estimated,
            net: self.weight(line.net),
            list_price: Some(unit_price(line.list_price)),
            price: Some(unit_price(line.price)),
            amount: Some(money(line.amount)),
            held: line.held,
            hold_id: if line.held {
                hold.to_string()
            } else {
                String::new()
            },
            undersize: line.undersize.wire(),
            proposed_outlet: wire_or_none(line.proposed),
            proposed_reason: line.proposed_reason.clone(),
            agreed_price: line.agreed.as_ref().map(|agreed| unit_price(agreed.price)),
            agreed_price_id: line
                .agreed
                .as_ref()
                .map_or_else(String::new, |agreed| agreed.entry.to_string()),
            agreed_reason: line
                .agreed
                .as_ref()
                .map_or_else(String::new, |agreed| agreed.reason.clone()),
        }
    }

    fn not_bought(&self, row: &NotBought) -> v1::NotBought {
        let written = self.written(row.lot);
        v1::NotBought {
            lot_n: int32(row.lot),
            species: written.map_or_else(String::new, |lot| lot.species.clone()),
            presentation: wire_or_none(written.map(|lot| lot.presentation)),
            net: self.weight(row.net),
            why: row.why.wire(),
            reason: row.reason.clone(),
            corrective_action: row.corrective_action.clone(),
        }
    }
}
