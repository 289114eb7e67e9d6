//! Legal length, season and trip limit, as the site keeps them for a species and
//! days of harvest. What fails is refused, with no override: fish taken against
//! the law is not from an approved source (Food Code 3-201.14, as states adopted
//! it).

use chrono::NaiveDate;

use super::{Finding, LegalLimit, LegalRule, ReceivingRule, Season, Standing, finding, shown_in};
use crate::decimal;
use crate::fish::coded;
use crate::ticket::Receiving;
use crate::weight::{Weight, WeightUnit};

coded! {
    /// Unit of a length.
    LengthUnit {
        /// Millimeter.
        Mm = 1 "mm",
        /// Centimeter.
        Cm = 2 "cm",
        /// Inch, 25.4 mm.
        In = 3 "in",
    }
}

/// A length as read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Length {
    /// Decimal text of up to three places.
    pub text: String,
    /// Its unit.
    pub unit: LengthUnit,
}

impl Length {
    /// In 0.0001 mm, exactly: an inch is 25.4 mm. Nothing where the text is no
    /// decimal of three places.
    #[must_use]
    pub fn tenths_of_um(&self) -> Option<i64> {
        let per_thousandth = match self.unit {
            LengthUnit::Mm => 10,
            LengthUnit::Cm => 100,
            LengthUnit::In => 254,
        };
        decimal::scaled(&self.text, 3)
            .ok()?
            .checked_mul(per_thousandth)
    }
}

impl std::fmt::Display for Length {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.text, self.unit.word())
    }
}

/// Days on which a lot was caught, both in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Caught {
    pub(super) first: NaiveDate,
    pub(super) last: NaiveDate,
}

/// Rows of one species that say one kind of thing, and of those the ones that
/// hold for the days.
fn rows<'a>(
    limits: &'a [LegalLimit],
    species: &str,
    caught: Caught,
    says: fn(&LegalRule) -> bool,
) -> (bool, Vec<&'a LegalLimit>) {
    let about = |row: &&LegalLimit| row.species == species && says(&row.says);
    let any = limits.iter().any(|row| about(&row));
    let now = limits
        .iter()
        .filter(about)
        .filter(|row| row.days.meet(caught.first, caught.last));
    (any, now.collect())
}

/// Whether the smallest fish is long enough.
pub(super) fn length(
    limits: &[LegalLimit],
    species: &str,
    caught: Caught,
    seen: &Receiving,
) -> Finding {
    let rule = ReceivingRule::LegalLength;
    let is_length = |says: &LegalRule| matches!(says, LegalRule::MinimumLength(_));
    let (_, now) = rows(limits, species, caught, is_length);
    let lengths = now.iter().filter_map(|row| match &row.says {
        LegalRule::MinimumLength(length) => Some(length),
        _ => None,
    });
    // Where several hold, the longest decides.
    let Some(least) = lengths.max_by_key(|length| length.tenths_of_um()) else {
        let text = "no legal length is set".to_owned();
        return finding(rule, Standing::NotSet, text);
    };
    let Some(smallest) = &seen.smallest_length else {
        let text = format!("the smallest fish was not measured; legal length {least}");
        return finding(rule, Standing::NotKnown, text);
    };
    match (smallest.tenths_of_um(), least.tenths_of_um()) {
        (Some(smallest_is), Some(least_is)) if smallest_is >= least_is => finding(
            rule,
            Standing::Passed,
            format!("smallest fish {smallest}, legal length {least}"),
        ),
        _ => finding(
            rule,
            Standing::Failed,
            format!("smallest fish {smallest} is below the legal length of {least}"),
        ),
    }
}

/// Whether the species was in season.
pub(super) fn season(limits: &[LegalLimit], species: &str, caught: Caught) -> Finding {
    let rule = ReceivingRule::Season;
    let is_closed = |says: &LegalRule| matches!(says, LegalRule::Season(Season::Closed));
    let (any, now) = rows(limits, species, caught, is_closed);
    match (any, now.first()) {
        (false, _) => finding(rule, Standing::NotSet, "no closed season is set".to_owned()),
        (true, None) => finding(rule, Standing::Passed, "in season".to_owned()),
        (true, Some(_)) => finding(
            rule,
            Standing::Failed,
            format!("caught out of season, on {}", caught.words()),
        ),
    }
}

impl Caught {
    fn words(self) -> String {
        if self.first == self.last {
            self.first.to_string()
        } else {
            format!("{} to {}", self.first, self.last)
        }
    }
}

/// What of a species the ticket takes, this lot and those before it.
#[derive(Debug, Clone, Copy)]
pub(super) struct SoFar {
    /// Nothing where any of it was not counted.
    pub(super) pieces: Option<i64>,
    pub(super) net: Weight,
}

/// Whether what the ticket takes of the species keeps the trip limit.
pub(super) fn trip(
    limits: &[LegalLimit],
    species: &str,
    caught: Caught,
    so_far: SoFar,
    unit: WeightUnit,
) -> Finding {
    let rule = ReceivingRule::TripLimit;
    let is_trip =
        |says: &LegalRule| matches!(says, LegalRule::TripPieces(_) | LegalRule::TripWeight(_));
    let (_, now) = rows(limits, species, caught, is_trip);
    if now.is_empty() {
        return finding(rule, Standing::NotSet, "no trip limit is set".to_owned());
    }
    let mut unknown = None;
    for row in &now {
        let words = row.says.words(unit);
        let over = match &row.says {
            LegalRule::TripPieces(most) => match so_far.pieces {
                Some(pieces) if pieces > *most => Some(format!("{pieces} fish")),
                Some(_) => None,
                None => {
                    unknown = Some(format!("not all of it was counted; {words}"));
                    None
                }
            },
            LegalRule::TripWeight(most) if so_far.net > most.weight => {
                Some(shown_in(so_far.net, unit))
            }
            _ => None,
        };
        if let Some(over) = over {
            let text = format!("{over} on this ticket is over the {words}");
            return finding(rule, Standing::Failed, text);
        }
    }
    match unknown {
        Some(text) => finding(rule, Standing::NotKnown, text),
        None => {
            let words: Vec<String> = now.iter().map(|row| row.says.words(unit)).collect();
            let text = format!("within the {}", words.join(", "));
            finding(rule, Standing::Passed, text)
        }
    }
}
