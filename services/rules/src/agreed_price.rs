//! A price agreed with one diver for a while.
//!
//! It takes the place of the list's price for fish at or above the plate
//! minimum, and for smaller fish only where it says so: fish that was not
//! counted is not known to be plate size and keeps the list's price as well. The
//! list's band, its plate minimum and its adjustments by condition stay as they
//! are, and the ticket prints both prices. One with a grade goes before one for
//! all grades; a newer one takes an older one's place from its beginning on, so
//! a short one ends it. None is back-dated.

use crate::fish::{Grade, Presentation, Undersize};
use crate::money::UnitPrice;
use crate::price_list::in_force;

/// What was agreed with a diver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AgreedPrice {
    /// Its site.
    pub site: i64,
    /// Party code of the diver.
    pub harvester: String,
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// Only fish of this grade; absent is all grades.
    pub grade: Option<Grade>,
    /// From when it holds, microseconds since 1970 UTC; absent is from when it
    /// is recorded, and never absent once it is.
    pub from_us: Option<i64>,
    /// First instant at which it holds no longer.
    pub to_us: i64,
    /// Instead of the list's.
    pub price: UnitPrice,
    /// Also for fish below the plate minimum, and fish not counted.
    pub below_plate: bool,
    /// Why; printed on the ticket.
    pub reason: String,
}

/// An agreed price as a ticket used it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AgreedUsed {
    /// Entry that recorded it.
    pub entry: i64,
    /// Before the condition's part.
    pub price: UnitPrice,
    /// Why.
    pub reason: String,
}

/// Why an agreed price cannot be recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AgreedPriceError {
    /// It would change what was weighed in already.
    #[error("an agreed price is never back-dated, and this one would hold from {} s ago", .us_ago.div_euclid(1_000_000))]
    BackDated {
        /// Microseconds.
        us_ago: i64,
    },
    /// It ends before it begins.
    #[error("an agreed price ends after it begins")]
    NoTime,
}

impl AgreedPrice {
    /// From when one recorded at `recorded_us` holds.
    ///
    /// # Errors
    /// [`AgreedPriceError`]: back-dated, or without any time.
    pub fn holds_from(&self, recorded_us: i64) -> Result<i64, AgreedPriceError> {
        let from_us = self.from_us.unwrap_or(recorded_us);
        if from_us < recorded_us {
            return Err(AgreedPriceError::BackDated {
                us_ago: recorded_us.saturating_sub(from_us),
            });
        }
        if self.to_us <= from_us {
            return Err(AgreedPriceError::NoTime);
        }
        Ok(from_us)
    }

    /// Whether fish of this size takes the agreed price.
    const fn covers(&self, undersize: Undersize) -> bool {
        match undersize {
            Undersize::No => true,
            Undersize::Yes | Undersize::NotKnown => self.below_plate,
        }
    }
}

/// Of the agreed prices of one diver at a site, each with its entry, the one for
/// a line that is priced at `at_us`.
#[must_use]
pub fn agreed_for(
    agreed: &[(i64, &AgreedPrice)],
    species: &str,
    presentation: Presentation,
    grade: &Grade,
    undersize: Undersize,
    at_us: i64,
) -> Option<AgreedUsed> {
    let of_grade = |wanted: Option<&Grade>| {
        let versions: Vec<(i64, &AgreedPrice)> = agreed
            .iter()
            .filter(|(_, price)| {
                price.species == species
                    && price.presentation == presentation
                    && price.grade.as_ref() == wanted
            })
            .copied()
            .collect();
        let (entry, price) = *in_force(&versions, at_us, |(entry, price)| {
            (price.from_us.unwrap_or(i64::MAX), *entry)
        })?;
        (at_us < price.to_us && price.covers(undersize)).then(|| AgreedUsed {
            entry,
            price: price.price,
            reason: price.reason.clone(),
        })
    };
    of_grade(Some(grade)).or_else(|| of_grade(None))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::money::Currency;
    use crate::weight::WeightUnit;

    fn agreed(grade: Option<&str>, from: i64, to: i64, price: &str) -> AgreedPrice {
        AgreedPrice {
            site: 1,
            harvester: "diver".to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            grade: grade.map(|grade| Grade::new(grade).unwrap()),
            from_us: Some(from),
            to_us: to,
            price: UnitPrice::new(price, Currency::new("USD").unwrap(), WeightUnit::Lb).unwrap(),
            below_plate: false,
            reason: "steady supply".to_owned(),
        }
    }

    fn entry_for(
        agreed: &[AgreedPrice],
        species: &str,
        presentation: Presentation,
        grade: &str,
        undersize: Undersize,
        at_us: i64,
    ) -> Option<i64> {
        let agreed: Vec<(i64, &AgreedPrice)> = (1..).zip(agreed).collect();
        let grade = Grade::new(grade).unwrap();
        agreed_for(&agreed, species, presentation, &grade, undersize, at_us).map(|used| used.entry)
    }

    #[test]
    fn it_holds_for_its_fish_and_its_time() {
        let one = [agreed(None, 100, 200, "6")];
        let whole = Presentation::Whole;
        for (species, presentation, size, at, used) in [
            ("PZO", whole, Undersize::No, 99, None),
            ("PZO", whole, Undersize::No, 100, Some(1)),
            ("PZO", whole, Undersize::No, 199, Some(1)),
            ("PZO", whole, Undersize::No, 200, None), // half-open
            ("LCX", whole, Undersize::No, 150, None),
            ("PZO", Presentation::Gutted, Undersize::No, 150, None),
            ("PZO", whole, Undersize::Yes, 150, None),
            ("PZO", whole, Undersize::NotKnown, 150, None),
        ] {
            let got = entry_for(&one, species, presentation, "A", size, at);
            assert_eq!(got, used, "{species} {presentation:?} {size:?} {at}");
        }
        let small_too = [AgreedPrice {
            below_plate: true,
            ..agreed(None, 100, 200, "6")
        }];
        for size in [Undersize::Yes, Undersize::NotKnown, Undersize::No] {
            assert_eq!(entry_for(&small_too, "PZO", whole, "A", size, 150), Some(1));
        }
    }

    #[test]
    fn one_grade_goes_before_all_and_the_newer_before_the_older() {
        let at = |agreed: &[AgreedPrice], grade, at_us| {
            entry_for(
                agreed,
                "PZO",
                Presentation::Whole,
                grade,
                Undersize::No,
                at_us,
            )
        };
        let graded = [
            agreed(Some("A"), 100, 150, "6"),
            agreed(None, 100, 200, "5"),
        ];
        assert_eq!(at(&graded, "A", 120), Some(1));
        assert_eq!(at(&graded, "B", 120), Some(2));
        assert_eq!(at(&graded, "A", 160), Some(2));
        // The second ends the first: after it the list's price holds again.
        let ended = [agreed(None, 100, 900, "6"), agreed(None, 150, 160, "5")];
        assert_eq!(at(&ended, "A", 149), Some(1));
        assert_eq!(at(&ended, "A", 150), Some(2));
        assert_eq!(at(&ended, "A", 160), None);
        // Of two from one instant the one recorded later holds.
        let twice = [agreed(None, 100, 900, "6"), agreed(None, 100, 900, "5")];
        assert_eq!(at(&twice, "A", 100), Some(2));
    }

    #[test]
    fn it_is_never_back_dated() {
        const S: i64 = 1_000_000;
        for (from, to, holds) in [
            (Some(10 * S), 20 * S, Ok(10 * S)),
            (None, 20 * S, Ok(10 * S)),
            (Some(11 * S), 20 * S, Ok(11 * S)),
            (
                Some(10 * S - 1),
                20 * S,
                Err(AgreedPriceError::BackDated { us_ago: 1 }),
            ),
            (Some(20 * S), 20 * S, Err(AgreedPriceError::NoTime)),
            (None, 10 * S, Err(AgreedPriceError::NoTime)),
        ] {
            let price = AgreedPrice {
                from_us: from,
                ..agreed(None, 0, to, "6")
            };
            assert_eq!(price.holds_from(10 * S), holds, "{from:?} {to}");
        }
    }
}
