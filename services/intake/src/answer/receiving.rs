//! What receiving goes by and what it found.

use proto::v1;
use proto::v1::legal_limit::Limit;
use rules::receiving::{
    AreaOfConcern, Finding, HistamineLimit, LegalLimit, LegalRule, Length, Season,
};

use super::{date, int32, reading, temperature};
use crate::codes::Coded as _;

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
