//! What receiving goes by, parsed.

use proto::v1;
use proto::v1::legal_limit;
use rules::receiving::{
    AreaOfConcern, HarvestDays, HistamineLimit, LegalLimit, LegalRule, ReceivingSettings,
    ReprobeAsked, Season,
};
use rules::ticket::CatchArea;

use super::{
    Asked, At as _, Bad, count, date_or_none, each, foreign_code, given, instant_or_none, length,
    lot_code, name, reading_above_zero, request_id, some_of, species, temperature, text,
};

/// Most rows of any list.
const MOST_ROWS: usize = 200;
/// Most hours of a table or to cool in.
const MOST_HOURS: i32 = 240;
/// Most probes asked for.
const MOST_PROBES: i32 = 50;

/// A lot probed again.
pub(crate) fn reprobe(request: v1::RecordReprobeRequest) -> Result<Asked<ReprobeAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: ReprobeAsked {
            lot: lot_code(&request.lot_code).at("lot_code")?,
            probes: some_of(request.probes, MOST_ROWS, temperature).at("probes")?,
            ice_around: request.ice_around,
            note: text(request.note).at("note")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// A site's settings for receiving.
pub(crate) fn settings(of: &v1::Settings) -> Result<ReceivingSettings, Bad> {
    let whole = |number: Option<i32>, least, most, field| {
        number.map(|n| count(n, least, most)).transpose().at(field)
    };
    let histamine_limits = each(of.histamine_limits.clone(), MOST_ROWS, |row| {
        Ok(HistamineLimit {
            hours_at_most: count(row.hours_at_most, 1, MOST_HOURS).at("hours_at_most")?,
            temperature_at_most: given(row.temperature_at_most)
                .and_then(temperature)
                .at("temperature_at_most")?,
        })
    })
    .at("histamine_limits")?;
    for (i, pair) in histamine_limits.windows(2).enumerate() {
        if let [before, after] = pair
            && after.hours_at_most <= before.hours_at_most
        {
            return Err(Bad::rule("must be more than in the row before it"))
                .at(&format!("histamine_limits[{}].hours_at_most", i + 1));
        }
    }
    Ok(ReceivingSettings {
        cold_limit: of
            .cold_limit
            .clone()
            .map(temperature)
            .transpose()
            .at("cold_limit")?,
        hours_to_cool: whole(of.hours_to_cool, 1, MOST_HOURS, "hours_to_cool")?,
        probes: whole(of.probes, 1, MOST_PROBES, "probes")?,
        probes_heavy: whole(of.probes_heavy, 1, MOST_PROBES, "probes_heavy")?,
        heavy_lot: of
            .heavy_lot
            .clone()
            .map(reading_above_zero)
            .transpose()
            .at("heavy_lot")?,
        histamine_limits,
        areas_of_concern: each(of.areas_of_concern.clone(), MOST_ROWS, area)
            .at("areas_of_concern")?,
        legal_limits: each(of.legal_limits.clone(), MOST_ROWS, legal).at("legal_limits")?,
        release_reasons: each(of.release_reasons.clone(), MOST_ROWS, name).at("release_reasons")?,
    })
}

fn days(
    from: Option<proto::google::r#type::Date>,
    to: Option<proto::google::r#type::Date>,
) -> Result<HarvestDays, Bad> {
    let days = HarvestDays {
        from: date_or_none(from).at("from")?,
        to: date_or_none(to).at("to")?,
    };
    if let (Some(from), Some(to)) = (days.from, days.to)
        && to <= from
    {
        return Err(Bad::rule(
            "must be after from: the last day meant is the one before it",
        ))
        .at("to");
    }
    Ok(days)
}

fn area(row: v1::AreaOfConcern) -> Result<AreaOfConcern, Bad> {
    Ok(AreaOfConcern {
        area: CatchArea {
            system: foreign_code(name(row.system).at("system")?).at("system")?,
            code: foreign_code(name(row.code).at("code")?).at("code")?,
        },
        species: each(row.species, MOST_ROWS, species).at("species")?,
        piece_weight_above: row
            .piece_weight_above
            .map(reading_above_zero)
            .transpose()
            .at("piece_weight_above")?,
        days: days(row.from, row.to)?,
        note: text(row.note).at("note")?,
    })
}

fn legal(row: v1::LegalLimit) -> Result<LegalLimit, Bad> {
    let says = match row.limit {
        Some(legal_limit::Limit::MinimumLength(least)) => {
            LegalRule::MinimumLength(length(least).at("minimum_length")?)
        }
        Some(legal_limit::Limit::Closed(true)) => LegalRule::Season(Season::Closed),
        Some(legal_limit::Limit::Closed(false)) => {
            return Err(Bad::rule("is true or left out")).at("closed");
        }
        Some(legal_limit::Limit::TripPieces(pieces)) => {
            LegalRule::TripPieces(count(pieces, 0, 100_000).at("trip_pieces")?)
        }
        Some(legal_limit::Limit::TripWeight(most)) => {
            LegalRule::TripWeight(reading_above_zero(most).at("trip_weight")?)
        }
        None => {
            return Err(Bad::missing(
                "one of minimum_length, closed, trip_pieces or trip_weight must be given",
            ));
        }
    };
    Ok(LegalLimit {
        species: species(row.species).at("species")?,
        days: days(row.from, row.to)?,
        says,
    })
}

#[cfg(test)]
mod tests;
