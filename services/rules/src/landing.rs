//! Where, when and how the fish of a landing was caught, as far as it can be
//! right.
//!
//! Fish is caught, then landed, then weighed in, never the other way round; a
//! landing that speaks of dives, time or depth speaks of some. What was not said
//! is not judged: absent is not zero. Several areas and days are ordinary.

pub mod report;

use std::fmt;

use chrono::NaiveDate;

use crate::decimal::scaled;
use crate::fish::coded;
use crate::ticket::{Landing, LotIn, VesselUse};

coded! {
    /// Unit of a depth.
    DepthUnit {
        /// Foot.
        Foot = 1 "ft",
        /// Metre.
        Metre = 2 "m",
        /// Fathom.
        Fathom = 3 "fathom",
    }
}

/// How deep it was fished.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Depth {
    /// Shallowest, decimal text.
    pub from: String,
    /// Deepest, decimal text; empty where it was one depth.
    pub to: String,
    /// Of both.
    pub unit: DepthUnit,
}

/// Places after the point of a depth and of minutes.
pub const PLACES: u32 = 2;
/// Deepest taken, in any of the units: no diver spears below.
pub const DEEPEST: i64 = 1_000;
/// Longest time fished, minutes: 31 days, as far back as a weigh-in may lie.
pub const LONGEST_MINUTES: i64 = 44_640;

/// Why a landing cannot have been so. Lots are counted from 0; none is the
/// landing itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BadLanding {
    /// Caught after it was landed.
    CaughtAfterLanding {
        /// Lot.
        lot: Option<usize>,
        /// Last harvest day.
        caught: NaiveDate,
        /// When it came ashore.
        landed: NaiveDate,
    },
    /// Last day of a lot before its first, one of them the landing's.
    DaysReversed {
        /// Lot.
        lot: Option<usize>,
        /// First harvest day.
        from: NaiveDate,
        /// Last harvest day.
        to: NaiveDate,
    },
    /// Caught on a day to come.
    NotCaughtYet {
        /// Lot.
        lot: Option<usize>,
        /// Last harvest day, or the first where there is no last.
        caught: NaiveDate,
        /// Which of the two it is.
        field: &'static str,
        /// Today at the site.
        today: NaiveDate,
    },
    /// Landed on a day to come.
    NotLandedYet {
        /// When it came ashore.
        landed: NaiveDate,
        /// Today at the site.
        today: NaiveDate,
    },
    /// No dive at all.
    NoDive,
    /// A vessel is named, and there was none.
    VesselDenied {
        /// As written.
        vessel: String,
    },
    /// Deeper from than to.
    DepthReversed {
        /// Shallowest.
        from: String,
        /// Deepest.
        to: String,
    },
    /// Below what anybody dives.
    TooDeep {
        /// Which of the two.
        field: &'static str,
        /// As written.
        depth: String,
    },
    /// No time at all.
    NoTime,
    /// Longer than a weigh-in may lie back.
    TooLong {
        /// As written.
        minutes: String,
    },
}

/// Checks a landing and what its lots say otherwise. `today` is the date at the
/// site.
///
/// # Errors
/// [`BadLanding`]: the first thing that cannot have been so.
pub fn check(landing: &Landing, lots: &[LotIn], today: NaiveDate) -> Result<(), BadLanding> {
    if let Some(landed) = landing.landed_on.filter(|landed| *landed > today) {
        return Err(BadLanding::NotLandedYet { landed, today });
    }
    let days = |lot, from, to| check_days(lot, from, to, landing.landed_on, today);
    days(None, landing.harvest_from, landing.harvest_to)?;
    for (n, lot) in lots.iter().enumerate() {
        let from = lot.harvest_from.or(landing.harvest_from);
        let to = lot.harvest_to.or(landing.harvest_to);
        days(Some(n), from, to)?;
    }
    if landing.dives.is_some_and(|dives| dives < 1) {
        return Err(BadLanding::NoDive);
    }
    if landing.vessel_use == Some(VesselUse::None) && !landing.vessel.trim().is_empty() {
        let vessel = landing.vessel.clone();
        return Err(BadLanding::VesselDenied { vessel });
    }
    if let Some(depth) = &landing.depth {
        check_depth(depth)?;
    }
    check_minutes(&landing.minutes_fished)
}

fn check_days(
    lot: Option<usize>,
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
    landed: Option<NaiveDate>,
    today: NaiveDate,
) -> Result<(), BadLanding> {
    if let (Some(from), Some(to)) = (from, to)
        && to < from
    {
        return Err(BadLanding::DaysReversed { lot, from, to });
    }
    let field = if to.is_some() {
        "harvest_to"
    } else {
        "harvest_from"
    };
    let Some(caught) = to.or(from) else {
        return Ok(());
    };
    if caught > today {
        return Err(BadLanding::NotCaughtYet {
            lot,
            caught,
            field,
            today,
        });
    }
    match landed {
        Some(landed) if caught > landed => Err(BadLanding::CaughtAfterLanding {
            lot,
            caught,
            landed,
        }),
        Some(_) | None => Ok(()),
    }
}

/// Decimal text as hundredths. What does not read was refused at the door.
fn hundredths(text: &str) -> i64 {
    scaled(text, PLACES).unwrap_or(i64::MAX)
}

fn check_depth(depth: &Depth) -> Result<(), BadLanding> {
    let deepest = DEEPEST.saturating_mul(100);
    for (field, written) in [("from", &depth.from), ("to", &depth.to)] {
        if !written.is_empty() && hundredths(written) > deepest {
            let depth = written.clone();
            return Err(BadLanding::TooDeep { field, depth });
        }
    }
    if !depth.to.is_empty() && hundredths(&depth.to) < hundredths(&depth.from) {
        return Err(BadLanding::DepthReversed {
            from: depth.from.clone(),
            to: depth.to.clone(),
        });
    }
    Ok(())
}

fn check_minutes(written: &str) -> Result<(), BadLanding> {
    if written.is_empty() {
        return Ok(());
    }
    match hundredths(written) {
        0 => Err(BadLanding::NoTime),
        long if long > LONGEST_MINUTES.saturating_mul(100) => Err(BadLanding::TooLong {
            minutes: written.to_owned(),
        }),
        _ => Ok(()),
    }
}

impl BadLanding {
    /// Path of the field in the request that it is about.
    #[must_use]
    pub fn field(&self) -> String {
        let of = |lot: &Option<usize>, field: &str| match lot {
            None => format!("landing.{field}"),
            Some(lot) => format!("lots[{lot}].{field}"),
        };
        match self {
            BadLanding::CaughtAfterLanding { lot: None, .. } => "landing.landed_on".to_owned(),
            BadLanding::CaughtAfterLanding { lot, .. } | BadLanding::DaysReversed { lot, .. } => {
                of(lot, "harvest_to")
            }
            BadLanding::NotCaughtYet { lot, field, .. } => of(lot, field),
            BadLanding::NotLandedYet { .. } => "landing.landed_on".to_owned(),
            BadLanding::NoDive => "landing.dives".to_owned(),
            BadLanding::VesselDenied { .. } => "landing.vessel".to_owned(),
            BadLanding::DepthReversed { .. } => "landing.depth.to".to_owned(),
            BadLanding::TooDeep { field, .. } => format!("landing.depth.{field}"),
            BadLanding::NoTime | BadLanding::TooLong { .. } => "landing.minutes_fished".to_owned(),
        }
    }
}

/// The rest of a sentence about the field.
impl fmt::Display for BadLanding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BadLanding::CaughtAfterLanding { caught, landed, .. } => write!(
                f,
                "fish caught until {caught} was not landed on {landed}: it is caught before it is landed"
            ),
            BadLanding::DaysReversed { from, to, .. } => {
                write!(f, "{to} is before the first day of the catch, {from}")
            }
            BadLanding::NotCaughtYet { caught, today, .. } => {
                write!(f, "{caught} is still to come: today is {today}")
            }
            BadLanding::NotLandedYet { landed, today } => {
                write!(f, "{landed} is still to come: today is {today}")
            }
            BadLanding::NoDive => write!(
                f,
                "must be at least 1; leave it out where nobody told how many"
            ),
            BadLanding::VesselDenied { vessel } => write!(
                f,
                "names {vessel:?}, and vessel_use says that there was none: mend one of them"
            ),
            BadLanding::DepthReversed { from, to } => {
                write!(f, "{to} is shallower than from, {from}")
            }
            BadLanding::TooDeep { depth, .. } => {
                write!(
                    f,
                    "{depth} is deeper than {DEEPEST}, the most that is taken"
                )
            }
            BadLanding::NoTime => write!(
                f,
                "must be above zero; leave it out where nobody looked at the time"
            ),
            BadLanding::TooLong { minutes } => {
                write!(f, "{minutes} minutes are more than 31 days")
            }
        }
    }
}

impl std::error::Error for BadLanding {}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;

    fn date(text: &str) -> Option<NaiveDate> {
        (text != "-").then(|| NaiveDate::parse_from_str(text, "%Y-%m-%d").unwrap())
    }

    fn said(landing: &Landing, today: &str) -> String {
        match check(landing, &[], date(today).unwrap()) {
            Ok(()) => "right".to_owned(),
            Err(bad) => format!("{}: {bad}", bad.field()),
        }
    }

    #[test]
    fn fish_is_caught_then_landed_then_weighed_in() {
        // first       last        landed      today       what comes of it
        for row in [
            "-          -          -          2031-05-03 right",
            "2031-05-01 2031-05-02 2031-05-02 2031-05-02 right",
            "2031-05-02 2031-05-02 2031-05-02 2031-05-02 right",
            "2031-05-01 -          2031-05-01 2031-05-02 right",
            "2031-05-02 2031-05-01 -          2031-05-03 landing.harvest_to: 2031-05-01 is before the first day of the catch, 2031-05-02",
            "2031-05-01 2031-05-02 2031-05-01 2031-05-03 landing.landed_on: fish caught until 2031-05-02 was not landed on 2031-05-01: it is caught before it is landed",
            "2031-05-02 -          2031-05-01 2031-05-03 landing.landed_on: fish caught until 2031-05-02 was not landed on 2031-05-01: it is caught before it is landed",
            "-          -          2031-05-04 2031-05-03 landing.landed_on: 2031-05-04 is still to come: today is 2031-05-03",
            "2031-05-03 2031-05-04 -          2031-05-03 landing.harvest_to: 2031-05-04 is still to come: today is 2031-05-03",
            "2031-05-04 -          -          2031-05-03 landing.harvest_from: 2031-05-04 is still to come: today is 2031-05-03",
        ] {
            let mut words = row.split_whitespace();
            let mut next = || words.next().unwrap();
            let landing = Landing {
                harvest_from: date(next()),
                harvest_to: date(next()),
                landed_on: date(next()),
                ..Landing::default()
            };
            let today = next();
            let wanted = words.collect::<Vec<_>>().join(" ");
            assert_eq!(said(&landing, today), wanted, "{row}");
        }
    }

    fn depth(from: &str, to: &str) -> Landing {
        Landing {
            depth: Some(Depth {
                from: from.to_owned(),
                to: to.to_owned(),
                unit: DepthUnit::Foot,
            }),
            ..Landing::default()
        }
    }

    #[test]
    fn a_landing_that_speaks_of_dives_time_and_depth_speaks_of_some() {
        let bare = Landing::default;
        let minutes = |text: &str| Landing {
            minutes_fished: text.to_owned(),
            ..bare()
        };
        let dives = |n| Landing {
            dives: Some(n),
            ..bare()
        };
        let vessel = |used, name: &str| Landing {
            vessel_use: used,
            vessel: name.to_owned(),
            ..bare()
        };
        for (landing, wanted) in [
            (dives(1), "right"),
            (dives(0), "landing.dives: must be at least 1"),
            (minutes("0.01"), "right"),
            (minutes("0.00"), "landing.minutes_fished: must be above"),
            (minutes("44640.00"), "right"),
            (
                minutes("44640.01"),
                "landing.minutes_fished: 44640.01 minutes",
            ),
            (depth("0", "0.5"), "right"),
            (depth("30", ""), "right"),
            (depth("30", "30.00"), "right"),
            (
                depth("30.01", "30"),
                "landing.depth.to: 30 is shallower than",
            ),
            (depth("9.5", "10"), "right"),
            (depth("1000", "1000"), "right"),
            (depth("1000.01", ""), "landing.depth.from: 1000.01 is"),
            (depth("1", "1000.01"), "landing.depth.to: 1000.01 is"),
            (vessel(Some(VesselUse::None), ""), "right"),
            (vessel(Some(VesselUse::Unclear), "skiff"), "right"),
            (vessel(None, "skiff"), "right"),
            (
                vessel(Some(VesselUse::None), "skiff"),
                "landing.vessel: names",
            ),
        ] {
            let got = said(&landing, "2031-05-03");
            assert!(got.starts_with(wanted), "{got}, not {wanted}");
        }
    }
}
