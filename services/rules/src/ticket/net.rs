//! What a weighing weighs.
//!
//! Net is gross less tare less ice. Ice is the site's allowance, only on totes
//! marked iced, rounded down to the scale's division. A reading that is no step
//! of its scale, or above what the scale weighs, is odd and warns; it is booked
//! as it was read. What the net is worth is `price`'s.

use super::refusal::{At, MOST_PIECE_READINGS, ReadingOf, Refusal};
use super::{Net, Notice, NoticeKind, Pieces, Tare, Weighed, Weighing};
use crate::decimal;
use crate::office::Scale;
use crate::ticket::price::OnFile;
use crate::weight::{HEAVIEST, Reading, Weight, WeightUnit};

/// What is banded together: the fish of a tote, or one fish weighed by itself.
pub(super) struct Fish<'a> {
    pub(super) net: Net,
    pub(super) pieces: Pieces,
    /// Scale of the gross, where it is known.
    pub(super) scale: Option<&'a Scale>,
    /// Unit of the gross.
    pub(super) unit: WeightUnit,
    pub(super) notices: Vec<Notice>,
}

pub(super) fn sum_nets(fish: &[Fish<'_>]) -> Net {
    let sum = |part: fn(&Net) -> Weight| fish.iter().map(|fish| part(&fish.net)).sum();
    Net {
        gross: sum(|net| net.gross),
        tare: sum(|net| net.tare),
        ice: sum(|net| net.ice),
        net: sum(|net| net.net),
    }
}

pub(super) fn weigh<'a>(
    at: At,
    weighing: &Weighing,
    file: &OnFile<'a>,
) -> Result<Vec<Fish<'a>>, Refusal> {
    match &weighing.weighed {
        Weighed::Tote {
            gross,
            tare,
            iced,
            pieces,
        } => {
            let ice_ppm = if *iced { file.settings.ice_ppm() } else { 0 };
            Ok(vec![weigh_tote(at, gross, tare, ice_ppm, *pieces, file)?])
        }
        Weighed::Pieces(readings) => weigh_pieces(at, readings, file),
    }
}

fn weigh_tote<'a>(
    at: At,
    gross: &Reading,
    tare: &Tare,
    ice_ppm: i64,
    pieces: Pieces,
    file: &OnFile<'a>,
) -> Result<Fish<'a>, Refusal> {
    let scale = scale_of(at, ReadingOf::Gross, gross, file)?;
    check_weight(at, ReadingOf::Gross, gross)?;
    let mut odd = Vec::new();
    odd.extend(off_division(at, ReadingOf::Gross, gross, scale));
    odd.extend(over_capacity(at, ReadingOf::Gross, gross, scale));
    let tare = match tare {
        Tare::Reading(reading) => {
            let tare_scale = scale_of(at, ReadingOf::Tare, reading, file)?.or(scale);
            odd.extend(off_division(at, ReadingOf::Tare, reading, tare_scale));
            reading.weight
        }
        Tare::Tote {
            posted: Some(reading),
            ..
        } => {
            odd.extend(off_division(at, ReadingOf::PostedTare, reading, scale));
            reading.weight
        }
        Tare::Tote { code, posted: None } => {
            return Err(Refusal::UnknownTote {
                at,
                tote: code.clone(),
            });
        }
        Tare::Tared => Weight::ZERO,
    };
    let below_gross = gross
        .weight
        .checked_sub(tare)
        .filter(|&fish| fish > Weight::ZERO);
    let Some(fish) = below_gross else {
        return Err(Refusal::TareNotBelowGross {
            at,
            gross: gross.weight,
            tare,
            unit: gross.unit,
        });
    };
    let ice = ice_allowance(fish, ice_ppm, ice_step(gross.unit, scale));
    let net = fish
        .checked_sub(ice)
        .filter(|&net| net > Weight::ZERO)
        .ok_or(Refusal::NothingButIce { at })?;
    match pieces {
        Pieces::Counted(n) | Pieces::Estimated(n) if n < 1 => {
            return Err(Refusal::PiecesNotPositive { at, pieces: n });
        }
        Pieces::Estimated(n) => odd.push(Notice::of(
            NoticeKind::Warning,
            "pieces_estimated",
            format!(
                "{at}: {n} pieces is an estimate; it bands the fish and stays out of statistics."
            ),
        )),
        Pieces::Counted(_) | Pieces::NotCounted => {}
    }
    let net = Net {
        gross: gross.weight,
        tare,
        ice,
        net,
    };
    Ok(Fish {
        net,
        pieces,
        scale,
        unit: gross.unit,
        notices: odd,
    })
}

fn weigh_pieces<'a>(
    at: At,
    readings: &[Reading],
    file: &OnFile<'a>,
) -> Result<Vec<Fish<'a>>, Refusal> {
    if readings.is_empty() {
        return Err(Refusal::NoPieceReadings { at });
    }
    if readings.len() > MOST_PIECE_READINGS {
        return Err(Refusal::TooManyPieceReadings {
            at,
            readings: readings.len(),
        });
    }
    let mut all = Vec::with_capacity(readings.len());
    for (n, reading) in readings.iter().enumerate() {
        let of = ReadingOf::Piece(n);
        let scale = scale_of(at, of, reading, file)?;
        check_weight(at, of, reading)?;
        let notices = off_division(at, of, reading, scale)
            .into_iter()
            .chain(over_capacity(at, of, reading, scale))
            .collect();
        let weight = reading.weight;
        let net = Net {
            gross: weight,
            net: weight,
            ..Net::default()
        };
        all.push(Fish {
            net,
            pieces: Pieces::Counted(1),
            scale,
            unit: reading.unit,
            notices,
        });
    }
    Ok(all)
}

/// The scale a reading names; none where it names none.
fn scale_of<'a>(
    at: At,
    reading: ReadingOf,
    written: &Reading,
    file: &OnFile<'a>,
) -> Result<Option<&'a Scale>, Refusal> {
    if written.scale.is_empty() {
        return Ok(None);
    }
    let found = file
        .scales
        .iter()
        .copied()
        .find(|scale| scale.code == written.scale);
    match found {
        Some(scale) => Ok(Some(scale)),
        None => Err(Refusal::UnknownScale {
            at,
            reading,
            scale: written.scale.clone(),
        }),
    }
}

fn check_weight(at: At, reading: ReadingOf, written: &Reading) -> Result<(), Refusal> {
    if written.weight <= Weight::ZERO {
        return Err(Refusal::ReadingNotPositive { at, reading });
    }
    if written.weight > HEAVIEST {
        return Err(Refusal::TooHeavy { at, reading });
    }
    Ok(())
}

/// Warns where a reading is no step of its scale: it was typed wrong, or weighed
/// elsewhere.
fn off_division(
    at: At,
    reading: ReadingOf,
    written: &Reading,
    scale: Option<&Scale>,
) -> Option<Notice> {
    let scale = scale?;
    (!is_step(written.weight, scale.division.weight)?).then(|| {
        Notice::of(
            NoticeKind::Warning,
            "off_division",
            format!(
                "{at}, {reading}: {} {} is no step of {} {} of scale {}.",
                written.text,
                written.unit.symbol(),
                scale.division.text,
                scale.division.unit.symbol(),
                scale.code
            ),
        )
    })
}

/// Whether `weight` is a whole number of `division`s.
///
/// Both may be ounces rounded to 10 ng, so the nearest step may miss by half of
/// 10 ng for each division and one more; that is far below what can be typed.
fn is_step(weight: Weight, division: Weight) -> Option<bool> {
    let (weight, division) = (i128::from(weight.units()), i128::from(division.units()));
    let steps = decimal::half_up(weight, division)?;
    let nearest = i128::from(steps).checked_mul(division)?;
    let missed = weight.checked_sub(nearest)?.checked_mul(2)?;
    Some(missed.unsigned_abs() <= u128::from(steps.unsigned_abs()).checked_add(1)?)
}

fn over_capacity(
    at: At,
    reading: ReadingOf,
    written: &Reading,
    scale: Option<&Scale>,
) -> Option<Notice> {
    let scale = scale?;
    (written.weight > scale.capacity.weight).then(|| {
        Notice::of(
            NoticeKind::Warning,
            "over_capacity",
            format!(
                "{at}, {reading}: {} {} is above the {} {} that scale {} weighs.",
                written.text,
                written.unit.symbol(),
                scale.capacity.text,
                scale.capacity.unit.symbol(),
                scale.code
            ),
        )
    })
}

/// Step to which ice is rounded down: the division of the gross's scale; where
/// the scale is not known, 0.001 lb for pounds and ounces and 1 g for kilograms
/// and grams.
fn ice_step(unit: WeightUnit, scale: Option<&Scale>) -> Weight {
    match (scale, unit) {
        (Some(scale), _) => scale.division.weight,
        (None, WeightUnit::Lb | WeightUnit::Oz) => MILLIPOUND,
        (None, WeightUnit::Kg | WeightUnit::G) => GRAM,
    }
}

const MILLIPOUND: Weight = Weight::from_units(45_359_237);
const GRAM: Weight = Weight::from_units(100_000_000);

/// `ppm` millionths of the fish, rounded down to whole steps.
fn ice_allowance(fish: Weight, ppm: i64, step: Weight) -> Weight {
    let steps = i128::from(fish.units())
        .saturating_mul(i128::from(ppm.max(0)))
        .checked_div(i128::from(step.units()).saturating_mul(1_000_000))
        .unwrap_or(0);
    let ice = steps.saturating_mul(i128::from(step.units()));
    Weight::from_units(i64::try_from(ice).unwrap_or(i64::MAX))
}
