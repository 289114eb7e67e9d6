//! A tally: what was seen of the fish of a lot, one by one or in groups, at the
//! scale or at the table. It is optional, moves no weight and no pay.
//!
//! Catch is what was taken out of the sea, whatever became of it, by dive and by
//! hour. It is known only where every lot of the landing says how many fish it
//! was: absent is not zero.

use std::fmt;

use crate::decimal::{half_up, scaled};
use crate::fish::coded;
use crate::landing;
use crate::ticket::{Landing, LotIn, Notice, NoticeKind, Pieces, WeighIn, Weighed};

coded! {
    /// Sex of a fish.
    Sex {
        /// Female.
        Female = 1 "female",
        /// Male.
        Male = 2 "male",
    }
}

coded! {
    /// What the ruler shows.
    RulerUnit {
        /// Millimetres.
        Millimetre = 1 "mm",
        /// Centimetres.
        Centimetre = 2 "cm",
        /// Inches.
        Inch = 3 "in",
    }
}

/// What was seen of the fish of a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tally {
    /// Fish alike, in the order written.
    pub rows: Vec<TallyRow>,
    /// Of every length here; absent where there is none.
    pub unit: Option<RulerUnit>,
    /// Length of the largest, decimal text; empty when nobody measured.
    pub largest: String,
    /// Taken out of the sea, whatever became of it.
    pub removed: Option<i64>,
}

/// Fish alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TallyRow {
    /// Absent when not told.
    pub sex: Option<Sex>,
    /// Whether there were eggs; absent when nobody looked.
    pub eggs: Option<bool>,
    /// Of each of them, decimal text; empty when nobody measured.
    pub length: String,
    /// How many.
    pub count: i64,
}

/// Places after the point of a length.
pub const PLACES: u32 = 2;
/// Rows one tally may have.
pub const MOST_ROWS: usize = 500;
/// Fish one row, or one removal, may have.
pub const MOST_FISH: i64 = 100_000;

/// Longest fish taken, in hundredths of the unit: 5 m. Centimetres written as
/// millimetres stay below it; metres of fish written as centimetres do not.
const fn longest(unit: RulerUnit) -> i64 {
    match unit {
        RulerUnit::Millimetre => 500_000,
        RulerUnit::Centimetre => 50_000,
        RulerUnit::Inch => 19_685,
    }
}

impl Tally {
    /// Fish in its rows.
    #[must_use]
    pub fn counted(&self) -> i64 {
        self.rows
            .iter()
            .fold(0, |sum: i64, row| sum.saturating_add(row.count))
    }

    /// Fish taken out of the sea: as told, else those in the rows.
    fn caught(&self) -> Option<i64> {
        self.removed.or(match self.counted() {
            0 => None,
            counted => Some(counted),
        })
    }
}

/// Why a tally cannot have been so. Rows are counted from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BadTally {
    /// Nothing in it.
    Empty,
    /// More rows than may stand.
    TooManyRows {
        /// How many.
        rows: usize,
    },
    /// A length, and nobody said of what.
    NoUnit,
    /// No fish, or more than may stand.
    Count {
        /// Row; none is what was taken out of the sea.
        row: Option<usize>,
        /// As written.
        count: i64,
    },
    /// A length of nothing, or of no fish.
    Length {
        /// Row; none is the largest.
        row: Option<usize>,
        /// As written.
        length: String,
    },
    /// Eggs in a male.
    EggsInMale {
        /// Row.
        row: usize,
    },
    /// The largest is not.
    LargestIsNot {
        /// As written.
        largest: String,
        /// Row of a longer one.
        row: usize,
        /// Its length.
        length: String,
    },
    /// More were tallied than came out of the sea.
    MoreThanRemoved {
        /// Fish in the rows.
        counted: i64,
        /// Taken out of the sea.
        removed: i64,
    },
}

/// Decimal text as hundredths. What does not read was refused at the door.
fn hundredths(text: &str) -> i64 {
    scaled(text, PLACES).unwrap_or(i64::MAX)
}

/// Checks a tally by itself.
///
/// # Errors
/// [`BadTally`]: the first thing that cannot have been so.
pub fn check(tally: &Tally) -> Result<(), BadTally> {
    if tally.rows.is_empty() && tally.largest.is_empty() && tally.removed.is_none() {
        return Err(BadTally::Empty);
    }
    if tally.rows.len() > MOST_ROWS {
        let rows = tally.rows.len();
        return Err(BadTally::TooManyRows { rows });
    }
    for (n, row) in tally.rows.iter().enumerate() {
        check_count(Some(n), row.count)?;
        if row.sex == Some(Sex::Male) && row.eggs == Some(true) {
            return Err(BadTally::EggsInMale { row: n });
        }
        check_length(Some(n), &row.length, tally.unit)?;
    }
    check_length(None, &tally.largest, tally.unit)?;
    let longer = |row: &TallyRow| {
        !row.length.is_empty() && hundredths(&row.length) > hundredths(&tally.largest)
    };
    if !tally.largest.is_empty()
        && let Some((n, row)) = tally.rows.iter().enumerate().find(|(_, row)| longer(row))
    {
        return Err(BadTally::LargestIsNot {
            largest: tally.largest.clone(),
            row: n,
            length: row.length.clone(),
        });
    }
    if let Some(removed) = tally.removed {
        check_count(None, removed)?;
        let counted = tally.counted();
        if counted > removed {
            return Err(BadTally::MoreThanRemoved { counted, removed });
        }
    }
    Ok(())
}

fn check_count(row: Option<usize>, count: i64) -> Result<(), BadTally> {
    if (1..=MOST_FISH).contains(&count) {
        Ok(())
    } else {
        Err(BadTally::Count { row, count })
    }
}

fn check_length(row: Option<usize>, length: &str, unit: Option<RulerUnit>) -> Result<(), BadTally> {
    if length.is_empty() {
        return Ok(());
    }
    let unit = unit.ok_or(BadTally::NoUnit)?;
    if (1..=longest(unit)).contains(&hundredths(length)) {
        Ok(())
    } else {
        let length = length.to_owned();
        Err(BadTally::Length { row, length })
    }
}

impl BadTally {
    /// Path of the field in the tally that it is about; empty is all of it.
    #[must_use]
    pub fn field(&self) -> String {
        let of = |row: &Option<usize>, field: &str, whole: &str| match row {
            Some(row) => format!("rows[{row}].{field}"),
            None => whole.to_owned(),
        };
        match self {
            BadTally::Empty => String::new(),
            BadTally::TooManyRows { .. } => "rows".to_owned(),
            BadTally::NoUnit => "unit".to_owned(),
            BadTally::Count { row, .. } => of(row, "count", "removed"),
            BadTally::Length { row, .. } => of(row, "length", "largest"),
            BadTally::EggsInMale { row } => format!("rows[{row}].eggs"),
            BadTally::LargestIsNot { .. } => "largest".to_owned(),
            BadTally::MoreThanRemoved { .. } => "removed".to_owned(),
        }
    }
}

/// The rest of a sentence about the field.
impl fmt::Display for BadTally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BadTally::Empty => write!(f, "says nothing; leave it out where nobody tallied"),
            BadTally::TooManyRows { rows } => {
                write!(f, "has {rows} rows; at most {MOST_ROWS} may stand")
            }
            BadTally::NoUnit => write!(f, "must be said where there is a length"),
            BadTally::Count { count, .. } => {
                write!(f, "{count} is not a number of fish from 1 to {MOST_FISH}")
            }
            BadTally::Length { length, .. } => write!(
                f,
                "{length} is no length of a fish: above zero, at most 5 m; check the unit"
            ),
            BadTally::EggsInMale { .. } => {
                write!(f, "cannot be in a male: mend the sex or the eggs")
            }
            BadTally::LargestIsNot {
                largest,
                row,
                length,
            } => write!(
                f,
                "{largest} is not the largest: row {} has {length}",
                row.saturating_add(1)
            ),
            BadTally::MoreThanRemoved { counted, removed } => write!(
                f,
                "{removed} were taken out of the sea, and {counted} were tallied"
            ),
        }
    }
}

impl std::error::Error for BadTally {}

/// How many fish were weighed in, where all were counted or estimated.
fn pieces(lot: &LotIn) -> Option<i64> {
    lot.weighings.iter().try_fold(0_i64, |sum, row| {
        let more = match &row.weighed {
            Weighed::Pieces(readings) => i64::try_from(readings.len()).ok()?,
            Weighed::Tote {
                pieces: Pieces::Counted(n) | Pieces::Estimated(n),
                ..
            } => *n,
            Weighed::Tote {
                pieces: Pieces::NotCounted,
                ..
            } => return None,
        };
        Some(sum.saturating_add(more))
    })
}

/// Warnings about tallies of more fish than were weighed in.
#[must_use]
pub fn notices(asked: &WeighIn) -> Vec<Notice> {
    let over = |(n, lot): (usize, &LotIn)| {
        let counted = lot.tally.as_ref()?.counted();
        let weighed = pieces(lot).filter(|weighed| counted > *weighed)?;
        let n = n.saturating_add(1);
        Some(Notice::of(
            NoticeKind::Warning,
            "tally_over_pieces",
            format!("Lot {n}: {counted} fish were tallied and {weighed} were weighed in."),
        ))
    };
    asked.lots.iter().enumerate().filter_map(over).collect()
}

/// Fish of a landing taken out of the sea, refused and taken home among them:
/// by tally, else as counted at the scale. Nothing where a lot has neither.
#[must_use]
pub fn catch(asked: &WeighIn) -> Option<i64> {
    asked.lots.iter().try_fold(0_i64, |sum, lot| {
        let told = lot.tally.as_ref().and_then(Tally::caught);
        Some(sum.saturating_add(told.or_else(|| pieces(lot))?))
    })
}

/// Fish by dive, hundredths, half up.
#[must_use]
pub fn per_dive_e2(fish: i64, landing: &Landing) -> Option<i64> {
    let dives = landing.dives.filter(|dives| *dives > 0)?;
    half_up(i128::from(fish).checked_mul(100)?, i128::from(dives))
}

/// Fish by hour fished, hundredths, half up.
#[must_use]
pub fn per_hour_e2(fish: i64, landing: &Landing) -> Option<i64> {
    let minutes = scaled(&landing.minutes_fished, landing::PLACES).ok()?;
    // Fish x 100 x 60 / minutes, which are in hundredths.
    let fish = i128::from(fish).checked_mul(600_000)?;
    (minutes > 0)
        .then(|| half_up(fish, i128::from(minutes)))
        .flatten()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;

    /// `sex eggs length count`, a dash for what was not told.
    fn row(text: &str) -> TallyRow {
        let words: Vec<&str> = text.split_whitespace().collect();
        let said = |word: &str| word != "-";
        TallyRow {
            sex: Sex::from_word(words[0]),
            eggs: said(words[1]).then(|| words[1] == "eggs"),
            length: if said(words[2]) { words[2] } else { "" }.to_owned(),
            count: words[3].parse().unwrap(),
        }
    }

    fn tally(rows: &[&str], unit: &str, largest: &str, removed: Option<i64>) -> Tally {
        Tally {
            rows: rows.iter().map(|text| row(text)).collect(),
            unit: RulerUnit::from_word(unit),
            largest: largest.to_owned(),
            removed,
        }
    }

    #[test]
    fn a_tally_speaks_of_fish() {
        let many = vec!["- - - 1"; MOST_ROWS + 1];
        for (tally, wanted) in [
            (tally(&[], "", "", None), ": says nothing"),
            (tally(&[], "", "", Some(1)), "right"),
            (tally(&[], "mm", "312", None), "right"),
            (tally(&[], "", "312", None), "unit: must be said"),
            (tally(&["female eggs 28.5 2"], "cm", "", None), "right"),
            (tally(&["female eggs 28.5 2"], "", "", None), "unit: must"),
            (tally(&["male eggs - 2"], "", "", None), "rows[0].eggs: "),
            (tally(&["male none - 2"], "", "", None), "right"),
            (tally(&["- - - 0"], "", "", None), "rows[0].count: 0 is"),
            (tally(&["- - - 100000"], "", "", None), "right"),
            (tally(&["- - - 100001"], "", "", None), "rows[0].count: "),
            (tally(&["- - 0 1"], "in", "", None), "rows[0].length: 0 is"),
            (tally(&["- - 0.01 1"], "in", "", None), "right"),
            (tally(&["- - 500 1"], "cm", "", None), "right"),
            (tally(&["- - 500.01 1"], "cm", "", None), "rows[0].length"),
            (tally(&["- - 5000 1"], "mm", "", None), "right"),
            (tally(&["- - 5000.01 1"], "mm", "", None), "rows[0].length"),
            // 196.85 in x 25.4 mm = 4999.99 mm.
            (tally(&["- - 196.85 1"], "in", "", None), "right"),
            (tally(&["- - 196.86 1"], "in", "", None), "rows[0].length"),
            (tally(&[], "mm", "0.00", None), "largest: 0.00 is"),
            (tally(&["- - 31 1"], "cm", "31.0", None), "right"),
            (
                tally(&["- - 30 1", "- - 31.01 1"], "cm", "31", None),
                "largest: 31 is not the largest: row 2 has 31.01",
            ),
            (tally(&["- - - 3", "- - - 4"], "", "", Some(7)), "right"),
            (
                tally(&["- - - 3", "- - - 4"], "", "", Some(6)),
                "removed: 6 were taken out of the sea, and 7 were tallied",
            ),
            (tally(&[], "", "", Some(0)), "removed: 0 is"),
            (tally(&many, "", "", None), "rows: has 501 rows"),
        ] {
            let got = match check(&tally) {
                Ok(()) => "right".to_owned(),
                Err(bad) => format!("{}: {bad}", bad.field()),
            };
            assert!(got.starts_with(wanted), "{got}, not {wanted}");
        }
    }

    #[test]
    fn catch_is_by_dive_and_by_hour_fished() {
        // fish  dives  minutes   per dive  per hour
        for (fish, dives, minutes, by_dive, by_hour) in [
            (50, Some(4), "120", Some(1_250), Some(2_500)),
            (50, Some(3), "125.5", Some(1_667), Some(2_390)),
            (1, Some(8), "0.01", Some(13), Some(600_000)),
            (0, Some(1), "60", Some(0), Some(0)),
            (7, None, "", None, None),
        ] {
            let landing = Landing {
                dives,
                minutes_fished: minutes.to_owned(),
                ..Landing::default()
            };
            assert_eq!(per_dive_e2(fish, &landing), by_dive, "{fish} in {dives:?}");
            assert_eq!(per_hour_e2(fish, &landing), by_hour, "{fish} in {minutes}");
        }
    }
}
