//! Rows for a spreadsheet, saved in a file. How they are written, and what keeps a
//! spreadsheet from running a cell, is in the papers.

use std::path::Path;

use papers::csv::Sheet;
use papers::table::Cell;

use crate::known::Known;
use crate::show::Page;
use crate::trouble::Trouble;

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
    std::fs::write(file, sheet.text).map_err(|e| trouble(e.to_string()))?;
    let mut page = Page::default();
    page.line(format!(
        "{}{} rows are in {}.",
        known.clock_note(),
        sheet.rows,
        file.display()
    ));
    guard_note(&mut page, sheet.guarded);
    Ok(page)
}

/// Says that cells were kept from being run.
pub(crate) fn guard_note(page: &mut Page, guarded: usize) {
    if guarded > 0 {
        page.line(format!(
            "{guarded} cells begin with = + - or @: an apostrophe stands before each, so that a \
             spreadsheet does not run it."
        ));
    }
}

/// Rows of one length, the headings first, as CSV.
///
/// # Errors
/// A row that is longer or shorter than the first.
pub(crate) fn write<R>(rows: impl IntoIterator<Item = R>) -> Result<Sheet, csv::Error>
where
    R: IntoIterator<Item = String>,
{
    let cells = rows.into_iter();
    papers::csv::rows(cells.map(|row| row.into_iter().map(Cell::words)))
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
            sheet.text,
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
