//! Numbers and codes by which the book names things.

use std::fmt;

/// A business day as the number `YYYYMMDD`.
pub type DayNumber = i64;

/// Id of an entry, read in decimal: `YYYYMMDD SSSS NNNNNNN` = business day,
/// site number, sequence. It orders.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EntryId(i64);

impl EntryId {
    /// From its 19 digits; `None` where they cannot be an entry's.
    #[must_use]
    pub fn new(id: i64) -> Option<EntryId> {
        let entry = EntryId(id);
        let month = entry.day().checked_div(100)?.checked_rem(100)?;
        let day = entry.day().checked_rem(100)?;
        let sound = id >= 1_000_000_000_000_000_000
            && (1..=12).contains(&month)
            && (1..=31).contains(&day)
            && entry.sequence() > 0;
        sound.then_some(entry)
    }

    /// Reads the 19 digits.
    #[must_use]
    pub fn parse(text: &str) -> Option<EntryId> {
        if text.len() != 19 || !text.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        EntryId::new(text.parse().ok()?)
    }

    /// The number.
    #[must_use]
    pub const fn number(self) -> i64 {
        self.0
    }

    /// Its business day.
    #[must_use]
    pub const fn day(self) -> DayNumber {
        self.0.div_euclid(100_000_000_000)
    }

    /// Its site, 0 for a deed without one.
    #[must_use]
    pub const fn site(self) -> i64 {
        self.0.div_euclid(10_000_000).rem_euclid(10_000)
    }

    /// Its place in the site's day.
    #[must_use]
    pub const fn sequence(self) -> i64 {
        self.0.rem_euclid(10_000_000)
    }
}

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// Code of a lot: 20 characters, a 19-digit number and one of 1-9A-Z for the
/// lot's place among those of its entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LotCode {
    number: i64,
    place: i64,
}

/// Lots one entry may have.
pub const MOST_LOTS: i64 = 35;

const PLACES: &[u8; 35] = b"123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

impl LotCode {
    /// The `place`-th lot under `number`; places are 1 to 35.
    #[must_use]
    pub fn new(number: i64, place: i64) -> Option<LotCode> {
        EntryId::new(number)?;
        (1..=MOST_LOTS)
            .contains(&place)
            .then_some(LotCode { number, place })
    }

    /// Reads the 20 characters.
    #[must_use]
    pub fn parse(text: &str) -> Option<LotCode> {
        let (digits, place) = text.split_at_checked(19)?;
        let number = EntryId::parse(digits)?.number();
        let &[place] = place.as_bytes() else {
            return None;
        };
        let index = PLACES.iter().position(|&p| p == place)?;
        LotCode::new(number, i64::try_from(index).ok()?.checked_add(1)?)
    }

    /// The 19-digit number.
    #[must_use]
    pub const fn number(self) -> i64 {
        self.number
    }

    /// Its place, 1 to 35.
    #[must_use]
    pub const fn place(self) -> i64 {
        self.place
    }

    /// Site in whose book it was coded.
    #[must_use]
    pub const fn site(self) -> i64 {
        EntryId(self.number).site()
    }
}

impl fmt::Display for LotCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let index = usize::try_from(self.place.saturating_sub(1)).unwrap_or(0);
        let place = PLACES.get(index).copied().unwrap_or(b'?');
        write!(f, "{}{}", self.number, char::from(place))
    }
}

/// A part of a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PartId {
    /// The lot.
    pub lot: LotCode,
    /// Number of the part in it, from 1.
    pub n: i64,
}

impl fmt::Display for PartId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.lot, self.n)
    }
}

/// Whether `text` may be a code the office chooses: 1 to 24 of a-z, 0-9 and
/// "-", neither first nor last a "-".
#[must_use]
pub fn is_code(text: &str) -> bool {
    (1..=24).contains(&text.len())
        && text
            .bytes()
            .all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'-'))
        && !text.starts_with('-')
        && !text.ends_with('-')
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_lot_code_reads_back_and_a_wrong_one_is_none() {
        let code = LotCode::new(2_031_050_200_010_000_001, 10).map(|c| c.to_string());
        assert_eq!(code.as_deref(), Some("2031050200010000001A"));
        let parsed = LotCode::parse("2031050200010000001A");
        assert_eq!(parsed.map(LotCode::place), Some(10));
        assert_eq!(parsed.map(LotCode::site), Some(1));
        for wrong in [
            "",
            "2031050200010000001",
            "20310502000100000010",
            "2031050200010000001a",
            "2031130200010000001A",
            "2031050200010000000A",
            "2031050200010000001AA",
            "2031050200010000001\u{e9}",
        ] {
            assert_eq!(LotCode::parse(wrong), None, "{wrong:?}");
        }
        assert_eq!(LotCode::new(2_031_050_200_010_000_001, 36), None);
    }

    proptest! {
        /// What is taken for an id or a code is written as it was read; whatever else is
        /// typed is none.
        #[test]
        fn what_is_read_reads_back(
            text in prop_oneof!["[0-9]{17,21}[0-9A-Z]?", "20[0-9]{17}[1-9A-Z]?", any::<String>()],
        ) {
            if let Some(entry) = EntryId::parse(&text) {
                prop_assert_eq!(entry.to_string(), text.as_str());
            }
            if let Some(lot) = LotCode::parse(&text) {
                prop_assert_eq!(lot.to_string(), text.as_str());
                prop_assert_eq!(LotCode::new(lot.number(), lot.place()), Some(lot));
            }
            if is_code(&text) {
                prop_assert!((1..=24).contains(&text.len()));
            }
        }
    }
}
