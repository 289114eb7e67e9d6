//! Cold: how warm fish came in, whether enough of it was probed, and the table
//! of fish that makes histamine.
//!
//! The warmest probe decides, and exactly the limit passes. Temperatures are
//! compared exactly, Fahrenheit with Celsius as well.

use super::{Finding, ReceivingRule, ReceivingSettings, Standing, finding};
use crate::decimal;
use crate::fish::Hazard;
use crate::office::Species;
use crate::ticket::{LotIn, Pieces, Receiving, Temperature, TemperatureUnit, Weighed};
use crate::weight::Weight;

const HOUR_US: i64 = 3_600_000_000;

/// A temperature that orders: 1/500 of a degree Fahrenheit, in which a hundredth
/// of either degree is whole, because F = 9/5 C + 32.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Heat(i64);

impl Temperature {
    /// For comparing; nothing where the text is no decimal of two places.
    #[must_use]
    pub fn heat(&self) -> Option<Heat> {
        let hundredths = decimal::scaled_signed(&self.text, 2).ok()?;
        match self.unit {
            TemperatureUnit::Fahrenheit => hundredths.checked_mul(5),
            TemperatureUnit::Celsius => hundredths.checked_mul(9)?.checked_add(16_000),
        }
        .map(Heat)
    }

    /// Whether it is above a limit; exactly the limit is not. A text that cannot
    /// be read counts as above it.
    #[must_use]
    pub fn is_above(&self, limit: &Temperature) -> bool {
        match (self.heat(), limit.heat()) {
            (Some(heat), Some(limit)) => heat > limit,
            _ => true,
        }
    }
}

impl std::fmt::Display for Temperature {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.text, self.unit.word())
    }
}

/// The warmest of the probes.
#[must_use]
pub fn warmest(probes: &[Temperature]) -> Option<&Temperature> {
    probes.iter().max_by_key(|probe| probe.heat())
}

/// How cold the lot came in.
pub(super) fn cold(seen: &Receiving, settings: &ReceivingSettings) -> Finding {
    let limit = settings.cold_limit();
    let rule = ReceivingRule::Cold;
    match warmest(&seen.probes) {
        None => finding(
            rule,
            Standing::NotKnown,
            "no temperature was taken".to_owned(),
        ),
        Some(warmest) if !warmest.is_above(&limit) => finding(
            rule,
            Standing::Passed,
            format!("{warmest} at the warmest, limit {limit}"),
        ),
        Some(warmest) => finding(
            rule,
            Standing::Failed,
            format!("{warmest} at the warmest is above the limit of {limit}"),
        ),
    }
}

/// Whether warm fish is on its way to being cold: iced before it was weighed in,
/// and ice around it.
pub(super) fn is_cooling(seen: &Receiving, received_us: i64) -> bool {
    seen.ice_around == Some(true) && seen.iced_us.is_some_and(|iced_us| iced_us <= received_us)
}

/// When warm fish that is cooling is to be probed again.
pub(super) fn reprobe_due_us(received_us: i64, settings: &ReceivingSettings) -> i64 {
    received_us.saturating_add(settings.hours_to_cool().saturating_mul(HOUR_US))
}

/// Whether enough fish was probed: as many as the site asks for, or all of them.
pub(super) fn probes(
    written: &LotIn,
    net: Weight,
    settings: &ReceivingSettings,
) -> Option<Finding> {
    let taken = i64::try_from(written.receiving.probes.len()).ok()?;
    if taken == 0 {
        return None;
    }
    let asked = settings.probes_asked(net);
    let asked = fish(written).map_or(asked, |fish| asked.min(fish));
    let standing = if taken >= asked {
        Standing::Passed
    } else {
        Standing::Failed
    };
    let text = format!("{taken} probed, {asked} asked for");
    Some(finding(ReceivingRule::Probes, standing, text))
}

/// How many fish the lot has, where all of it was counted.
fn fish(written: &LotIn) -> Option<i64> {
    let mut sum: i64 = 0;
    for weighing in &written.weighings {
        let more = match &weighing.weighed {
            Weighed::Pieces(readings) => i64::try_from(readings.len()).ok()?,
            Weighed::Tote {
                pieces: Pieces::Counted(n),
                ..
            } => *n,
            Weighed::Tote { .. } => return None,
        };
        sum = sum.checked_add(more)?;
    }
    Some(sum)
}

/// Where fish that makes histamine stands in the site's table; nothing for other
/// fish.
pub(super) fn histamine(
    species: &Species,
    seen: &Receiving,
    received_us: i64,
    settings: &ReceivingSettings,
) -> Option<Finding> {
    if !species.has(Hazard::Histamine) {
        return None;
    }
    let rule = ReceivingRule::Histamine;
    let last = settings.histamine_limits.last();
    let Some(last) = last else {
        let text = "no histamine table is set".to_owned();
        return Some(finding(rule, Standing::NotSet, text));
    };
    let since_us = seen
        .first_speared_us
        .map(|speared_us| received_us.saturating_sub(speared_us))
        .filter(|since_us| *since_us >= 0);
    let (Some(since_us), Some(warmest)) = (since_us, warmest(&seen.probes)) else {
        let text = "it takes a temperature, and when the first fish was speared".to_owned();
        return Some(finding(rule, Standing::NotKnown, text));
    };
    let row = settings
        .histamine_limits
        .iter()
        .find(|row| since_us <= row.hours_at_most.saturating_mul(HOUR_US));
    Some(match row {
        None => finding(
            rule,
            Standing::Failed,
            format!(
                "first speared more than {} h ago, where the site's table ends",
                last.hours_at_most
            ),
        ),
        Some(row) => {
            let (hours, limit) = (row.hours_at_most, &row.temperature_at_most);
            let (standing, is) = if warmest.is_above(limit) {
                (Standing::Failed, "is above")
            } else {
                (Standing::Passed, "keeps")
            };
            finding(
                rule,
                standing,
                format!("{warmest} at the warmest {is} {limit} for up to {hours} h"),
            )
        }
    })
}
