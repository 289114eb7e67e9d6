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

/// What a close has about the blocks of a day: of those asked for that day, one line with
/// how many of their numbers no ticket of the day bears; of earlier ones, one with how many
/// were borne. Each block is named, so that no gap in the numbers is left to guess at.
#[must_use]
pub fn remarks(of: &[BlockUse], day: DayNumber) -> Vec<String> {
    let is_own = |of: &&BlockUse| EntryId::new(of.block.entry).is_some_and(|e| e.day() == day);
    let (own, earlier): (Vec<&BlockUse>, Vec<&BlockUse>) = of.iter().partition(is_own);
    [asked(&own), borne(&earlier)]
        .into_iter()
        .flatten()
        .collect()
}

fn asked(of: &[&BlockUse]) -> Option<String> {
    let (numbers, used, each) = together(of);
    let unused = numbers.saturating_sub(used);
    match of {
        [] => None,
        [one] => Some(format!(
            "Device {} asked for {numbers} lot numbers ahead ({}): tickets of this day bear \
             {used}, {unused} are unused.",
            one.block.device, one.block.entry
        )),
        _ => Some(format!(
            "{numbers} lot numbers were asked for ahead: tickets of this day bear {used}, \
             {unused} are unused ({each})."
        )),
    }
}

fn borne(of: &[&BlockUse]) -> Option<String> {
    let (numbers, used, each) = together(of);
    match of {
        [] => None,
        [one] => Some(format!(
            "Tickets of this day bear {used} of the {numbers} lot numbers that device {} asked \
             for earlier ({}).",
            one.block.device, one.block.entry
        )),
        _ => Some(format!(
            "Tickets of this day bear {used} of {numbers} lot numbers asked for earlier ({each})."
        )),
    }
}

/// Numbers of blocks, how many are used, and each block in words.
fn together(of: &[&BlockUse]) -> (i64, i64, String) {
    let sum = |n: fn(&BlockUse) -> i64| of.iter().map(|of| n(of)).fold(0, i64::saturating_add);
    let each = of.iter().map(|of| {
        let Block {
            entry,
            device,
            numbers,
        } = &of.block;
        format!("{} of {numbers} by device {device}, {entry}", of.used)
    });
    let each: Vec<String> = each.collect();
    (
        sum(|of| of.block.numbers),
        sum(|of| of.used),
        each.join("; "),
    )
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
    fn a_close_says_in_a_line_what_became_of_the_blocks_of_a_day_and_in_one_of_earlier_ones() {
        let of = |entry, device: &str, numbers, used| BlockUse {
            block: Block {
                entry,
                device: device.to_owned(),
                numbers,
            },
            used,
        };
        let one = [of(ENTRY, "tablet", 10, 3)];
        let (own, later) = (remarks(&one, 20_310_502), remarks(&one, 20_310_503));
        assert_eq!(
            own,
            [
                "Device tablet asked for 10 lot numbers ahead (2031050200010000007): tickets of this \
                 day bear 3, 7 are unused."
            ]
        );
        assert_eq!(
            later,
            [
                "Tickets of this day bear 3 of the 10 lot numbers that device tablet asked for \
                 earlier (2031050200010000007)."
            ]
        );
        let before = 2_031_050_100_010_000_002;
        let all = [
            of(before, "tablet", 50, 4),
            of(before + 60, "page-0a1b2c3d", 50, 1),
            of(ENTRY, "tablet", 10, 3),
            of(ENTRY + 11, "page-0a1b2c3d", 50, 0),
        ];
        assert_eq!(
            remarks(&all, 20_310_502),
            [
                "60 lot numbers were asked for ahead: tickets of this day bear 3, 57 are unused (3 \
                 of 10 by device tablet, 2031050200010000007; 0 of 50 by device page-0a1b2c3d, \
                 2031050200010000018).",
                "Tickets of this day bear 5 of 100 lot numbers asked for earlier (4 of 50 by device \
                 tablet, 2031050100010000002; 1 of 50 by device page-0a1b2c3d, \
                 2031050100010000062).",
            ]
        );
        assert!(remarks(&[], 20_310_502).is_empty());
    }
}
