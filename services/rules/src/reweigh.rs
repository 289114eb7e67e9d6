//! Weighing again: an observation, never a movement.
//!
//! What a part, or a weighing of a ticket, weighs the second time stands beside
//! what the book says. It moves no weight, pays nothing and closes nothing: a
//! count is what does that. Whether the difference is more than the scale can
//! explain is told by what the scale may be off by, where its class is known.

use crate::ids::LotCode;
use crate::office::Scale;
use crate::stock::PartRef;
use crate::tolerance::permissible_error;
use crate::weight::{Reading, Weight};

/// A re-weigh as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReweighAsked {
    /// Its site.
    pub site: i64,
    /// What was put on the scale again.
    pub what: Reweighed,
    /// The fish alone, without the tote.
    pub reading: Reading,
    /// As written.
    pub note: String,
    /// Microseconds since 1970 UTC; absent is now.
    pub happened_us: Option<i64>,
}

/// What was put on the scale again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reweighed {
    /// A part, as it stands.
    Part(PartRef),
    /// A weighing of a ticket, as it was first weighed.
    Weighing(TicketWeighing),
}

/// A weighing of a ticket; lot and weighing count from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TicketWeighing {
    /// Entry id of the ticket.
    pub ticket: i64,
    /// Position of the lot.
    pub lot: i64,
    /// Position of the weighing in the lot.
    pub weighing: i64,
}

/// What a re-weigh found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReweighDone {
    /// Lot it is of.
    pub lot: LotCode,
    /// Number of the part; 0 for a weighing, which may be of several.
    pub part: i64,
    /// What the book says.
    pub booked: Weight,
    /// Reading less booked.
    pub difference: Weight,
    /// What the scale may be off by at this reading; absent where the scale or
    /// its class is not known.
    pub permissible: Option<Weight>,
}

/// A reading beside what the book says of the fish.
#[must_use]
pub fn compare(
    lot: LotCode,
    part: i64,
    reading: &Reading,
    booked: Weight,
    scale: Option<&Scale>,
) -> ReweighDone {
    let units = reading.weight.units().saturating_sub(booked.units());
    ReweighDone {
        lot,
        part,
        booked,
        difference: Weight::from_units(units),
        permissible: scale.and_then(|scale| permissible_error(scale, reading.weight)),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::weight::{ReadingSource, WeightUnit};

    #[test]
    fn a_reweigh_says_how_far_it_is_off_and_how_far_the_scale_may_be() {
        let reading =
            |text| Reading::new(text, WeightUnit::Lb, "dock", ReadingSource::Keyed).unwrap();
        let lb = |text| WeightUnit::Lb.weigh(text).unwrap();
        let scale = |class: &str| Scale {
            site: 1,
            code: "dock".to_owned(),
            name: "Dock scale".to_owned(),
            accuracy_class: class.to_owned(),
            division: reading("0.05"),
            capacity: reading("150"),
            tested_on: None,
            line: String::new(),
        };
        let lot = LotCode::new(2_031_050_200_010_000_003, 1).unwrap();
        let iii = scale("III");
        // 40 lb are 800 divisions of 0.05 lb: class III may be off by 2 of them.
        for (read, booked, difference, scale, off) in [
            ("40.00", "40.00", 0, Some(&iii), Some("0.1")),
            ("39.70", "40.00", -30, Some(&iii), Some("0.1")),
            ("40.30", "40.00", 30, Some(&iii), Some("0.1")),
            ("0.00", "1.00", -100, Some(&iii), Some("0.05")),
            ("39.70", "40.00", -30, None, None),
            ("39.70", "40.00", -30, Some(&scale("?")), None),
        ] {
            let done = compare(lot, 1, &reading(read), lb(booked), scale);
            let cents = lb("0.01").units();
            assert_eq!(done.difference.units(), difference * cents, "{read}");
            assert_eq!(done.permissible, off.map(lb), "{read}");
        }
    }
}
