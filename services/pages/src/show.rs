//! Figures as a page shows them.

use rules::business_day::date_of;
use rules::money::Money;
use rules::office::Site;
use rules::ticket::Pieces;
use rules::weight::{Weight, WeightUnit};

use crate::words::Words;

/// `40.75 lb`.
pub(crate) fn weight(weight: Weight, unit: WeightUnit) -> String {
    format!("{} {}", weight.shown(unit), unit.symbol())
}

/// Nothing for no weight.
pub(crate) fn weight_unless_zero(of: Weight, unit: WeightUnit) -> String {
    if of.is_zero() {
        String::new()
    } else {
        weight(of, unit)
    }
}

/// Nothing for no money.
pub(crate) fn money_unless_zero(money: Money) -> String {
    if money.minor() == 0 {
        String::new()
    } else {
        money.to_string()
    }
}

/// `2031-05-02`.
pub(crate) fn day(day: i64) -> String {
    date_of(day).map_or_else(|| day.to_string(), |date| date.to_string())
}

/// `2031-05-02 14:32`, by the site's clock.
pub(crate) fn instant(site: &Site, us: i64) -> String {
    let whole = site.clock.local_rfc3339(us);
    match (whole.get(..10), whole.get(11..16)) {
        (Some(date), Some(time)) => format!("{date} {time}"),
        _ => whole,
    }
}

/// `0.50 to under 0.75 lb`.
pub(crate) fn band(w: &Words, from: Weight, to: Option<Weight>, unit: WeightUnit) -> String {
    match to {
        None => format!("{} {}", weight(from, unit), w.band_up),
        Some(to) => format!("{} {} {}", from.shown(unit), w.band_under, weight(to, unit)),
    }
}

/// `30`, `about 30`, or that nobody counted.
pub(crate) fn pieces(w: &Words, pieces: Pieces) -> String {
    match pieces {
        Pieces::NotCounted => w.not_counted.to_owned(),
        Pieces::Counted(n) => n.to_string(),
        Pieces::Estimated(n) => format!("{} {n}", w.about),
    }
}

/// A site for samples of pages.
#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
pub(crate) fn sample_site() -> Site {
    Site {
        number: 1,
        name: "dock".to_owned(),
        clock: rules::business_day::SiteClock::new("America/New_York", 4).unwrap(),
        currency: rules::money::Currency::new("USD").unwrap(),
        buyer: "buyer".to_owned(),
        shown_unit: WeightUnit::Lb,
        location_description: String::new(),
    }
}
