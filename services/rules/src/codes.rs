//! Lot numbers asked ahead, for tickets written without signal.
//!
//! A device asks for a block of numbers while it has signal. The block's numbers
//! follow its own entry's, so no entry ever gets one of them. A ticket of that
//! device may bear one in its lot codes, each number once; a number that no
//! ticket bears is accounted for as the day closes.

use std::fmt;

use crate::ids::{DayNumber, EntryId};

/// Numbers one block may have.
pub const MOST_NUMBERS: i64 = 1_000;

/// A block of numbers asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CodesAsked {
    /// Site number.
    pub site: i64,
    /// Code of the device that will use them.
    pub device: String,
    /// How many, 1 to [`MOST_NUMBERS`].
    pub numbers: i64,
}

/// A block of numbers as the book has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Block {
    /// Entry that asked for it; the numbers follow.
    pub entry: i64,
    /// Code of the device that may use them.
    pub device: String,
    /// How many.
    pub numbers: i64,
}

impl Block {
    /// The first and the last number of a block.
    #[must_use]
    pub const fn ends(&self) -> (i64, i64) {
        (
            self.entry.saturating_add(1),
            self.entry.saturating_add(self.numbers),
        )
    }

    /// Which of its numbers this is, from 1.
    #[must_use]
    pub fn place_of(&self, number: i64) -> Option<i64> {
        let place = number.checked_sub(self.entry)?;
        (1..=self.numbers).contains(&place).then_some(place)
    }
}

/// Why a ticket cannot bear a number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BadNumber {
    /// A rewrite has its number from the ticket it mends.
    OnRewrite,
    /// Numbers are given to devices.
    NoDevice,
    /// In no block of the site.
    NotAsked {
        /// As written.
        number: i64,
    },
    /// In a block of another device.
    OtherDevice {
        /// As written.
        number: i64,
        /// Whose it is.
        of: String,
    },
}

/// The rest of a sentence about the number.
impl fmt::Display for BadNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BadNumber::OnRewrite => write!(
                f,
                "must be left out of a rewrite: it keeps the number of the ticket it mends"
            ),
            BadNumber::NoDevice => {
                write!(
                    f,
                    "is borne only by a ticket of the device that asked for it"
                )
            }
            BadNumber::NotAsked { number } => write!(
                f,
                "{number} is in no block that a device of this site asked for"
            ),
            BadNumber::OtherDevice { number, of } => {
                write!(f, "{number} was given to the device {of:?}")
            }
        }
    }
}

impl std::error::Error for BadNumber {}

/// The place of a number in its block, where this device's ticket may bear it.
/// `block` is the site's last one that begins before the number.
///
/// # Errors
/// [`BadNumber`]: why it may not.
pub fn place(
    number: i64,
    device: &str,
    is_rewrite: bool,
    block: Option<&Block>,
) -> Result<(i64, i64), BadNumber> {
    if is_rewrite {
        return Err(BadNumber::OnRewrite);
    }
    if device.is_empty() {
        return Err(BadNumber::NoDevice);
    }
    let (block, place) = block
        .and_then(|block| Some((block, block.place_of(number)?)))
        .ok_or(BadNumber::NotAsked { number })?;
    if block.device != device {
        return Err(BadNumber::OtherDevice {
            number,
            of: block.device.clone(),
        });
    }
    Ok((block.entry, place))
}

/// What became of a block on a business day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockUse {
    /// The block.
    pub block: Block,
    /// Numbers that tickets of this day bear.
    pub used: i64,
}

/// The line a close has about a block: of one asked for that day, how many of
/// its numbers no ticket of the day bears; of an earlier one, how many were
/// borne.
#[must_use]
pub fn remark(of: &BlockUse, day: DayNumber) -> String {
    let Block {
        entry,
        device,
        numbers,
    } = &of.block;
    let used = of.used;
    if EntryId::new(*entry).is_some_and(|entry| entry.day() == day) {
        let unused = numbers.saturating_sub(used);
        format!(
            "Device {device} asked for {numbers} lot numbers ahead ({entry}): tickets of this day \
             bear {used}, {unused} are unused."
        )
    } else {
        format!(
            "Tickets of this day bear {used} of the {numbers} lot numbers that device {device} \
             asked for earlier ({entry})."
        )
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;

    const ENTRY: i64 = 2_031_050_200_010_000_007;

    fn block() -> Block {
        Block {
            entry: ENTRY,
            device: "tablet".to_owned(),
            numbers: 10,
        }
    }

    #[test]
    fn a_number_is_borne_by_a_ticket_of_the_device_it_was_given_to() {
        let block = block();
        assert_eq!(block.ends(), (ENTRY + 1, ENTRY + 10));
        for (number, device, rewrite, wanted) in [
            (ENTRY, "tablet", false, "is in no block"),
            (ENTRY + 1, "tablet", false, "1"),
            (ENTRY + 10, "tablet", false, "10"),
            (ENTRY + 11, "tablet", false, "is in no block"),
            (
                ENTRY + 1,
                "phone",
                false,
                "was given to the device \"tablet\"",
            ),
            (
                ENTRY + 1,
                "",
                false,
                "is borne only by a ticket of the device",
            ),
            (ENTRY + 1, "tablet", true, "must be left out of a rewrite"),
        ] {
            let got = match place(number, device, rewrite, Some(&block)) {
                Ok((ENTRY, place)) => place.to_string(),
                other => other.unwrap_err().to_string(),
            };
            assert!(got.contains(wanted), "{number} {device:?}: {got}");
        }
        let none = place(ENTRY + 1, "tablet", false, None);
        assert_eq!(none, Err(BadNumber::NotAsked { number: ENTRY + 1 }));
    }

    #[test]
    fn a_close_says_what_became_of_a_block() {
        let of = BlockUse {
            block: block(),
            used: 3,
        };
        let own = remark(&of, 20_310_502);
        assert!(own.contains("asked for 10 lot numbers ahead"), "{own}");
        assert!(own.ends_with("bear 3, 7 are unused."), "{own}");
        let later = remark(&of, 20_310_503);
        assert!(later.contains("bear 3 of the 10 lot numbers"), "{later}");
    }
}
