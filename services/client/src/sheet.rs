//! Rows for a spreadsheet: CSV as RFC 4180 writes it.
//!
//! A cell that a spreadsheet would run as a formula has an apostrophe before it, so
//! that it is shown instead.

use std::path::Path;

use crate::known::Known;
use crate::show::Page;
use crate::trouble::Trouble;

/// Rows as CSV.
#[derive(Debug)]
pub(crate) struct Sheet {
    /// UTF-8.
    pub(crate) bytes: Vec<u8>,
    /// Without the headings.
    rows: usize,
    /// Cells that have an apostrophe before them.
    pub(crate) guarded: usize,
}

/// Saves rows, the headings first, in a file; one that is there is replaced. What
/// was done is told.
///
/// # Errors
/// A file that cannot be written.
pub(crate) fn save<R>(
    file: &Path,
    rows: impl IntoIterator<Item = R>,
    known: &Known,
) -> Result<Page, Trouble>
where
    R: IntoIterator<Item = String>,
{
    let trouble = |why: String| Trouble::File(format!("{}: {why}", file.display()));
    let sheet = write(rows).map_err(|e| trouble(e.to_string()))?;
    std::fs::write(file, sheet.bytes).map_err(|e| trouble(e.to_string()))?;
    let mut page = Page::default();
    page.line(format!(
        "{}{} rows are in {}.",
        known.clock_note(),
        sheet.rows,
        file.display()
    ));
    if sheet.guarded > 0 {
        page.line(format!(
            "{} cells begin with = + - or @: an apostrophe stands before each, so that a \
             spreadsheet does not run it.",
            sheet.guarded
        ));
    }
    Ok(page)
}

/// Rows of one length, the headings first, as CSV.
///
/// # Errors
/// A row that is longer or shorter than the first.
pub(crate) fn write<R>(rows: impl IntoIterator<Item = R>) -> Result<Sheet, csv::Error>
where
    R: IntoIterator<Item = String>,
{
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let (mut written, mut guarded) = (0_usize, 0);
    for row in rows {
        written += 1;
        let cells = row.into_iter().map(|cell| {
            if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) {
                guarded += 1;
                format!("'{cell}")
            } else {
                cell
            }
        });
        writer.write_record(cells.collect::<Vec<_>>())?;
    }
    let bytes = writer.into_inner().map_err(|e| e.into_error())?;
    let rows = written.saturating_sub(1);
    Ok(Sheet {
        bytes,
        rows,
        guarded,
    })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;

    #[test]
    fn a_text_with_commas_quotes_and_breaks_stays_one_cell_and_no_formula() {
        let row = ["plain", "a, \"b\"", "=1+1", "", "two\r\nlines"];
        let sheet = write([row.map(str::to_owned)]).unwrap();
        assert_eq!(
            String::from_utf8(sheet.bytes).unwrap(),
            "plain,\"a, \"\"b\"\"\",'=1+1,,\"two\r\nlines\"\r\n"
        );
        assert_eq!((sheet.rows, sheet.guarded), (0, 1));
    }

    #[test]
    fn a_row_of_another_length_is_an_error() {
        let rows = [vec!["a".to_owned()], vec!["b".to_owned(), "c".to_owned()]];
        assert!(write(rows).is_err());
    }
}
