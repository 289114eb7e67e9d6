//! What receiving goes by and what it found.

use desk::{Booked, LogRow, ReceivingLog};
use proto::v1;
use proto::v1::legal_limit::Limit;
use rules::receiving::{
    AreaOfConcern, Finding, HistamineLimit, LegalLimit, LegalRule, Length, ReprobeAsked, Reprobed,
    Season, warmest,
};
use rules::ticket::NotBoughtWhy;
use rules::weight::WeightUnit;

use super::{date, int32, notice, reading, recorded, temperature, timestamp, weight};
use crate::codes::{Coded as _, wire_or_none};

pub(crate) fn histamine_limit(row: &HistamineLimit) -> v1::HistamineLimit {
    v1::HistamineLimit {
        hours_at_most: int32(row.hours_at_most),
        temperature_at_most: Some(temperature(&row.temperature_at_most)),
    }
}

pub(crate) fn area_of_concern(row: &AreaOfConcern) -> v1::AreaOfConcern {
    v1::AreaOfConcern {
        system: row.area.system.clone(),
        code: row.area.code.clone(),
        species: row.species.clone(),
        piece_weight_above: row.piece_weight_above.as_ref().map(reading),
        from: row.days.from.map(date),
        to: row.days.to.map(date),
        note: row.note.clone(),
    }
}

pub(crate) fn legal_limit(row: &LegalLimit) -> v1::LegalLimit {
    v1::LegalLimit {
        species: row.species.clone(),
        from: row.days.from.map(date),
        to: row.days.to.map(date),
        limit: Some(match &row.says {
            LegalRule::MinimumLength(least) => Limit::MinimumLength(length(least)),
            LegalRule::Season(Season::Closed) => Limit::Closed(true),
            LegalRule::TripPieces(most) => Limit::TripPieces(int32(*most)),
            LegalRule::TripWeight(most) => Limit::TripWeight(reading(most)),
        }),
    }
}

pub(crate) fn length(length: &Length) -> v1::Length {
    v1::Length {
        decimal: length.text.clone(),
        unit: length.unit.wire(),
    }
}

pub(crate) fn finding(finding: &Finding) -> v1::Finding {
    v1::Finding {
        rule: finding.rule.wire(),
        standing: finding.standing.wire(),
        text: finding.text.clone(),
    }
}

pub(crate) fn reprobe(booked: &Booked<ReprobeAsked, Reprobed>) -> v1::RecordReprobeResponse {
    v1::RecordReprobeResponse {
        recorded: Some(recorded(booked)),
        passed: booked.outcome.passed,
        warmest: Some(temperature(&booked.outcome.warmest)),
        limit: Some(temperature(&booked.outcome.limit)),
        notices: booked.outcome.notices.iter().map(notice).collect(),
    }
}

/// The log of a day; its site and day are the request's.
pub(crate) fn log(log: &ReceivingLog, unit: WeightUnit) -> v1::GetReceivingLogResponse {
    v1::GetReceivingLogResponse {
        place: log.place.clone(),
        rows: log.rows.iter().map(|row| log_row(row, unit)).collect(),
        cautions: log.cautions.iter().map(notice).collect(),
        ..v1::GetReceivingLogResponse::default()
    }
}

fn log_row(row: &LogRow, unit: WeightUnit) -> v1::ReceivingLogRow {
    let seen = &row.written.receiving;
    let own_days = row.written.harvest_from.is_some() || row.written.harvest_to.is_some();
    let (from, to) = if own_days {
        (row.written.harvest_from, row.written.harvest_to)
    } else {
        (row.landing.harvest_from, row.landing.harvest_to)
    };
    let areas = if row.written.areas.is_empty() {
        &row.landing.areas
    } else {
        &row.written.areas
    };
    let mut conditions: Vec<i32> = Vec::new();
    for weighing in &row.written.weighings {
        let condition = wire_or_none(weighing.condition);
        if condition != 0 && !conditions.contains(&condition) {
            conditions.push(condition);
        }
    }
    let taken_home = row.not_bought.iter();
    let taken_home = taken_home.filter(|row| row.why == NotBoughtWhy::TakenHome);
    let ended = row.ended.as_ref();
    v1::ReceivingLogRow {
        ticket: row.ticket.to_string(),
        lot_n: int32(row.lot.n),
        lot_code: row.code.map(|code| code.to_string()).unwrap_or_default(),
        received_at: Some(timestamp(row.received_us)),
        recorded_at: Some(timestamp(row.recorded_us)),
        actor: row.actor.clone(),
        ended: match ended {
            None => "",
            Some(ended) if ended.voided => "voided",
            Some(_) => "rewritten",
        }
        .to_owned(),
        ended_by: ended.map(|ended| ended.by.to_string()).unwrap_or_default(),
        ended_reason: ended.map(|ended| ended.reason.clone()).unwrap_or_default(),
        harvester: row.harvester.clone(),
        harvester_name: row.harvester_name.clone(),
        species: row.written.species.clone(),
        species_name: row.lot.species_name.clone(),
        presentation: row.written.presentation.wire(),
        conditions,
        net: Some(weight(
            row.lot.weighed.iter().map(|net| net.net).sum(),
            unit,
        )),
        decision: seen.decision.wire(),
        reason: seen.reason.clone(),
        corrective_action: seen.corrective_action.clone(),
        areas: areas
            .iter()
            .map(|area| v1::CatchArea {
                system: area.system.clone(),
                code: area.code.clone(),
            })
            .collect(),
        area_unclear: seen.area_unclear,
        harvest_from: from.map(date),
        harvest_to: to.map(date),
        first_speared_at: seen.first_speared_us.map(timestamp),
        iced_at: seen.iced_us.map(timestamp),
        ice_around: seen.ice_around,
        probes: seen.probes.iter().map(temperature).collect(),
        warmest: warmest(&seen.probes).map(temperature),
        smallest_length: seen.smallest_length.as_ref().map(length),
        findings: row.lot.received.findings.iter().map(finding).collect(),
        reprobe_due_at: row.lot.received.reprobe_due_us.map(timestamp),
        reprobes: row
            .reprobes
            .iter()
            .map(|again| v1::Reprobe {
                entry_id: again.entry.to_string(),
                happened_at: Some(timestamp(again.happened_us)),
                actor: again.actor.clone(),
                probes: again.asked.probes.iter().map(temperature).collect(),
                passed: again.outcome.passed,
                ice_around: again.asked.ice_around,
                note: again.asked.note.clone(),
            })
            .collect(),
        holds: row
            .holds
            .iter()
            .map(|hold| v1::HoldNote {
                entry_id: hold.entry.to_string(),
                happened_at: Some(timestamp(hold.happened_us)),
                actor: hold.actor.clone(),
                released: hold.released,
                reason: hold.reason.clone(),
            })
            .collect(),
        taken_home: Some(weight(taken_home.map(|row| row.net).sum(), unit)),
    }
}
