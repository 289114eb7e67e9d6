//! What a weighing weighs.
//!
//! Net is gross less tare less ice. Ice is the site's allowance, only on totes
//! marked iced, rounded down to the scale's division. A reading that is no step
//! of its scale, or above what the scale weighs, a net below the least load of its
//! scale, a tare that was posted long ago and a scale without a test are odd and
//! warn; all is booked as it was read. What the net is worth is `price`'s.

use super::refusal::{At, MOST_PIECE_READINGS, ReadingOf, Refusal};
use super::{Net, Notice, NoticeKind, Pieces, Tare, WeighIn, Weighed, Weighing};
use crate::business_day::date_of;
use crate::decimal;
use crate::office::Scale;
use crate::ticket::price::OnFile;
use crate::tolerance::{AccuracyClass, least_load};
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
            code,
        } => {
            odd.extend(off_division(at, ReadingOf::PostedTare, reading, scale));
            odd.extend(old_tare(at, code, file));
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
    odd.extend(scale.and_then(|scale| light_load(at, net, scale, gross.unit)));
    if scale.is_none() && !ice.is_zero() {
        odd.push(Notice::of(
            NoticeKind::Warning,
            "ice_without_scale",
            format!(
                "{at}: no scale is named, so the ice allowance was rounded down to {} and not to \
                 a scale's division.",
                match gross.unit {
                    WeightUnit::Lb | WeightUnit::Oz => "0.001 lb",
                    WeightUnit::Kg | WeightUnit::G => "1 g",
                }
            ),
        ));
    }
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
    let mut light = 0_usize;
    for (n, reading) in readings.iter().enumerate() {
        let of = ReadingOf::Piece(n);
        let scale = scale_of(at, of, reading, file)?;
        check_weight(at, of, reading)?;
        let mut notices: Vec<Notice> = off_division(at, of, reading, scale)
            .into_iter()
            .chain(over_capacity(at, of, reading, scale))
            .collect();
        let weight = reading.weight;
        // Said once for all of them: a tote has up to 500 fish.
        if let Some(warning) = scale.and_then(|s| light_load(at, weight, s, reading.unit)) {
            if light == 0 {
                notices.push(warning);
            }
            light = light.saturating_add(1);
        }
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
    if light > 1 {
        let told = all
            .iter_mut()
            .flat_map(|fish: &mut Fish<'_>| &mut fish.notices);
        for warning in told.filter(|notice| notice.code == LIGHT_LOAD) {
            warning.text = format!("{} So are {light} of the fish here.", warning.text);
        }
    }
    Ok(all)
}

const LIGHT_LOAD: &str = "light_load";

/// Warns where what was weighed is less than the least load of its scale: a
/// division more or less is then too much of it.
fn light_load(at: At, net: Weight, scale: &Scale, unit: WeightUnit) -> Option<Notice> {
    let least = least_load(scale)?;
    (net < least).then(|| {
        let text = format!(
            "{at}: {} {unit} is less than the {} {unit} that a class {} scale of {} {} should \
             weigh at least (scale {}). Weigh more at once, or on a finer scale.",
            net.shown(unit),
            least.shown(unit),
            scale.accuracy_class,
            scale.division.text,
            scale.division.unit.symbol(),
            scale.code,
            unit = unit.symbol(),
        );
        Notice::of(NoticeKind::Warning, LIGHT_LOAD, text)
    })
}

/// Warns where the tare of a named tote was last weighed too long ago, or never.
fn old_tare(at: At, code: &str, file: &OnFile<'_>) -> Option<Notice> {
    let tote = file.totes.iter().find(|tote| tote.code == code)?;
    let most = file.settings.tare_days();
    let text = match tote.weighed_on {
        None => format!("{at}: no day is on file on which the tare of tote {code} was weighed."),
        Some(weighed) => {
            let days = date_of(file.day)?.signed_duration_since(weighed).num_days();
            if days <= most {
                return None;
            }
            format!(
                "{at}: the tare of tote {code} was last weighed on {weighed}, {days} days ago; it \
                 is weighed again within {most} days."
            )
        }
    };
    Some(Notice::of(NoticeKind::Warning, "old_tare", text))
}

/// Says once a ticket of each scale it names what is not known of it: its test,
/// or what its class lets it be off by.
pub(super) fn scale_notices(asked: &WeighIn, file: &OnFile<'_>) -> Vec<Notice> {
    let weighings = asked.lots.iter().flat_map(|lot| &lot.weighings);
    let named: Vec<&str> = weighings
        .flat_map(|weighing| scales_of(&weighing.weighed))
        .collect();
    let used = file
        .scales
        .iter()
        .filter(|scale| named.contains(&scale.code.as_str()));
    let mut notices = Vec::new();
    for scale in used {
        let mut warn = |code, text| notices.push(Notice::of(NoticeKind::Warning, code, text));
        if scale.tested_on.is_none() {
            warn(
                "scale_not_tested",
                format!(
                    "No test of scale {} is on file: how far it is off is not known.",
                    scale.code
                ),
            );
        }
        if AccuracyClass::marked(&scale.accuracy_class).is_none() {
            warn(
                "scale_class_not_known",
                format!(
                    "No accuracy class is on file for scale {} that is one of I, II, III, III L or \
                     IIII: its least load is not known.",
                    scale.code
                ),
            );
        }
    }
    notices
}

/// Codes of the scales a weighing's readings name.
fn scales_of(weighed: &Weighed) -> Vec<&str> {
    match weighed {
        Weighed::Tote { gross, tare, .. } => {
            let tare = match tare {
                Tare::Reading(reading) => Some(reading.scale.as_str()),
                Tare::Tote { .. } | Tare::Tared => None,
            };
            [Some(gross.scale.as_str()), tare]
                .into_iter()
                .flatten()
                .collect()
        }
        Weighed::Pieces(readings) => readings.iter().map(|r| r.scale.as_str()).collect(),
    }
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
