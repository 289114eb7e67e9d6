//! Until when a ticket can be disputed.
//!
//! A line can be disputed until some days after its ticket or after its
//! settlement, whichever is later. Where the diver was absent, the diver can also
//! object to the ticket as a whole for some hours. Both windows are half-open: at
//! the instant they end they are over. How long they are is the site's to set
//! (1.8).

use crate::money::Money;
use crate::office::Settings;
use crate::ticket::Confirmation;

const HOUR_US: i64 = 3_600_000_000;
const DAY_US: i64 = 86_400_000_000;

/// A line or a whole ticket that somebody disputes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DisputeAsked {
    /// Entry id of the ticket.
    pub ticket: i64,
    /// Number of the line, from 1; 0 is the whole ticket.
    pub line: i64,
    /// In the diver's words.
    pub text: String,
}

/// What a dispute is about, as it was opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DisputeOpened {
    /// Harvester of the ticket.
    pub party: String,
    /// Amount of the line, or the payout of the ticket.
    pub amount: Money,
}

/// The office's answer to a dispute.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AnswerAsked {
    /// Entry id of the dispute.
    pub dispute: i64,
    /// In the office's words.
    pub answer: String,
}

/// Until when a ticket can be disputed, microseconds since 1970 UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Windows {
    /// A line of it.
    pub dispute_until_us: i64,
    /// The whole of it; only where the diver was absent.
    pub object_until_us: Option<i64>,
}

/// The windows of a ticket recorded, and settled, at these instants.
#[must_use]
pub fn windows(
    confirmation: Confirmation,
    ticket_us: i64,
    settled_us: Option<i64>,
    settings: &Settings,
) -> Windows {
    let later = ticket_us.max(settled_us.unwrap_or(ticket_us));
    let after = |from: i64, count: i64, unit: i64| from.saturating_add(count.saturating_mul(unit));
    Windows {
        dispute_until_us: after(later, settings.dispute_days(), DAY_US),
        object_until_us: (confirmation == Confirmation::DiverAbsent)
            .then(|| after(ticket_us, settings.objection_hours(), HOUR_US)),
    }
}

/// Why a dispute is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DisputeRefusal {
    /// The whole ticket, and the diver was there and confirmed it.
    NotAbsent,
    /// The window ended at this instant.
    Over(i64),
}

impl Windows {
    /// Whether a line, or with 0 the whole ticket, can be disputed at `now_us`.
    ///
    /// # Errors
    /// [`DisputeRefusal`] with why not.
    pub const fn let_in(self, line: i64, now_us: i64) -> Result<(), DisputeRefusal> {
        let until_us = match (line, self.object_until_us) {
            (0, None) => return Err(DisputeRefusal::NotAbsent),
            (0, Some(until_us)) => until_us,
            _ => self.dispute_until_us,
        };
        if now_us < until_us {
            Ok(())
        } else {
            Err(DisputeRefusal::Over(until_us))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_windows_end_at_their_instant_and_the_later_of_two_counts() {
        use Confirmation::{ByDiver, DiverAbsent};
        use DisputeRefusal::{NotAbsent, Over};
        let days = |n: i64| n * DAY_US;
        let hours = |n: i64| n * HOUR_US;
        let ticket = days(10);
        for (confirmation, settled, line, now, outcome) in [
            // Seven days after the ticket.
            (ByDiver, None, 1, ticket, Ok(())),
            (ByDiver, None, 1, days(17) - 1, Ok(())),
            (ByDiver, None, 1, days(17), Err(Over(days(17)))),
            // Or after its settlement, whichever is later.
            (ByDiver, Some(days(12)), 2, days(19) - 1, Ok(())),
            (ByDiver, Some(days(12)), 2, days(19), Err(Over(days(19)))),
            (ByDiver, Some(days(9)), 2, days(17), Err(Over(days(17)))),
            // The whole ticket: only where the diver was absent, for a day.
            (ByDiver, None, 0, ticket, Err(NotAbsent)),
            (DiverAbsent, None, 0, ticket + hours(24) - 1, Ok(())),
            (
                DiverAbsent,
                Some(days(12)),
                0,
                ticket + hours(24),
                Err(Over(ticket + hours(24))),
            ),
            (DiverAbsent, None, 1, ticket + hours(24), Ok(())),
        ] {
            let windows = windows(confirmation, ticket, settled, &Settings::default());
            assert_eq!(
                windows.let_in(line, now),
                outcome,
                "{settled:?} {line} {now}"
            );
        }
        let shorter = Settings {
            dispute_days: Some(1),
            objection_hours: Some(2),
            ..Settings::default()
        };
        let windows = windows(DiverAbsent, ticket, None, &shorter);
        assert_eq!(windows.dispute_until_us, days(11));
        assert_eq!(windows.object_until_us, Some(ticket + hours(2)));
    }
}
