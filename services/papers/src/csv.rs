//! A table for a spreadsheet: CSV as RFC 4180 writes it.
//!
//! Words that a spreadsheet would run as a formula (they begin with `=`, `+`, `-`, `@`,
//! a tab or a return) have an apostrophe before them and are shown instead. Figures are
//! plain decimals and stay as they are, a minus included.

use crate::table::{Cell, Table};

/// Rows as CSV.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// Lines end as spreadsheets want them.
    pub text: String,
    /// Rows, the headings left out.
    pub rows: usize,
    /// Cells that have an apostrophe before them.
    pub guarded: usize,
}

/// Rows of one length, the headings first.
///
/// # Errors
/// A row that is longer or shorter than the first.
pub fn rows<R>(rows: impl IntoIterator<Item = R>) -> Result<Sheet, ::csv::Error>
where
    R: IntoIterator<Item = Cell>,
{
    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let (mut written, mut guarded) = (0_usize, 0);
    for row in rows {
        written += 1;
        let cells = row.into_iter().map(|cell| match cell {
            Cell::Words(words) if words.starts_with(['=', '+', '-', '@', '\t', '\r']) => {
                guarded += 1;
                format!("'{words}")
            }
            Cell::Words(text) | Cell::Figure(text) => text,
            Cell::Empty => String::new(),
        });
        writer.write_record(cells.collect::<Vec<String>>())?;
    }
    let bytes = writer.into_inner().map_err(|e| e.into_error())?;
    Ok(Sheet {
        text: String::from_utf8(bytes).expect("only text was written"),
        rows: written.saturating_sub(1),
        guarded,
    })
}

/// A table, its headings first. A book with a simulated clock says so in a column of
/// its own, because a file of rows has no other place for it.
#[must_use]
pub fn table(table: &Table, is_simulated: bool) -> Sheet {
    let more = |what: &str| is_simulated.then(|| Cell::words(what));
    let headings = table.columns.iter().map(|column| Cell::words(column.key()));
    let headings: Vec<Cell> = headings.chain(more("clock")).collect();
    let body = table.rows.iter();
    let body = body.map(|row| row.iter().cloned().chain(more("simulated")).collect());
    rows(std::iter::once(headings).chain(body)).expect("rows are as long as the headings")
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use proptest::prelude::*;

    use super::*;
    use crate::table::Column;

    fn sample(rows: Vec<Vec<Cell>>) -> Table {
        Table {
            name: "sample",
            title: "Sample".to_owned(),
            columns: vec![Column::plain("what"), Column::of("weight", "lb")],
            rows,
            nothing: "None.",
        }
    }

    #[test]
    fn a_formula_is_shown_and_a_minus_stays_a_number() {
        let text = table(
            &sample(vec![
                vec![
                    Cell::words("=HYPERLINK(\"x\")"),
                    Cell::figure("-3.017".to_owned()),
                ],
                vec![Cell::words("a, \"b\"\nc"), Cell::Empty],
            ]),
            false,
        );
        assert_eq!((text.rows, text.guarded), (2, 1));
        assert_eq!(
            text.text,
            "what,weight_lb\r\n\"'=HYPERLINK(\"\"x\"\")\",-3.017\r\n\"a, \"\"b\"\"\nc\",\r\n"
        );
    }

    #[test]
    fn a_simulated_clock_is_said_in_every_row() {
        let sheet = table(&sample(vec![vec![Cell::words("a"), Cell::Empty]]), true);
        assert_eq!(sheet.text, "what,weight_lb,clock\r\na,,simulated\r\n");
    }

    #[test]
    fn a_row_of_another_length_is_an_error() {
        let uneven = [vec![Cell::Empty, Cell::Empty], vec![Cell::words("b")]];
        assert!(rows(uneven).is_err());
    }

    proptest! {
        /// As a spreadsheet reads it: the same words, and none of them a formula.
        #[test]
        fn whatever_was_written_reads_back(words in prop::collection::vec(any::<String>(), 1..6)) {
            let rows = words.iter().map(|w| vec![Cell::words(w.clone()), Cell::Empty]).collect();
            let text = table(&sample(rows), false).text;
            let mut reader = ::csv::Reader::from_reader(text.as_bytes());
            let read: Vec<String> =
                reader.records().map(|row| row.unwrap()[0].to_owned()).collect();
            prop_assert_eq!(read.len(), words.len());
            for (read, word) in read.iter().zip(&words) {
                let shown = read.strip_prefix('\'').filter(|_| !word.starts_with('\''));
                prop_assert_eq!(shown.unwrap_or(read), word);
                prop_assert!(!read.starts_with(['=', '+', '-', '@', '\t', '\r']));
            }
        }
    }
}
