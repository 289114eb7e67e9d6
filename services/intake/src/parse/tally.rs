//! A tally, parsed.

use proto::v1;
use rules::decimal::scaled;
use rules::tally::{MOST_ROWS, PLACES, Tally, TallyRow};

use super::{At as _, Bad, each, plain, word};

/// A tally. Whether its numbers can be right together is the rules' to say.
pub(crate) fn tally(written: v1::Tally) -> Result<Tally, Bad> {
    Ok(Tally {
        rows: each(written.rows, MOST_ROWS, row).at("rows")?,
        unit: word(written.unit).at("unit")?,
        largest: length(written.largest).at("largest")?,
        removed: written.removed.map(i64::from),
    })
}

fn row(row: v1::TallyRow) -> Result<TallyRow, Bad> {
    Ok(TallyRow {
        sex: word(row.sex).at("sex")?,
        eggs: row.eggs,
        length: length(row.length).at("length")?,
        count: i64::from(row.count),
    })
}

/// Decimal text, or nothing.
fn length(written: String) -> Result<String, Bad> {
    if !written.is_empty() {
        plain(&written, |text| scaled(text, PLACES))?;
    }
    Ok(written)
}
