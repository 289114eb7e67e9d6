//! A table: what a spreadsheet and a page show alike.

/// Rows under headings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Its word for files and commands: `supplier-yields`.
    pub name: &'static str,
    /// What people call it.
    pub title: String,
    /// From left to right.
    pub columns: Vec<Column>,
    /// Each as long as `columns`.
    pub rows: Vec<Vec<Cell>>,
    /// What to say where there is no row.
    pub nothing: &'static str,
}

impl Table {
    /// What stands below a heading, row by row; nothing where there is no such column.
    pub fn column(&self, heading: &str) -> impl Iterator<Item = &str> {
        let at = self
            .columns
            .iter()
            .position(|column| column.heading == heading);
        let rows = at
            .into_iter()
            .flat_map(|at| self.rows.iter().map(move |row| (at, row)));
        rows.filter_map(|(at, row)| row.get(at)).map(Cell::text)
    }
}

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// What people read.
    pub heading: &'static str,
    /// Unit of its figures; empty for words and plain numbers.
    pub unit: String,
}

impl Column {
    /// A column of words, or of numbers without a unit.
    #[must_use]
    pub fn plain(heading: &'static str) -> Column {
        Column::of(heading, "")
    }

    /// A column of figures of one unit.
    #[must_use]
    pub fn of(heading: &'static str, unit: &str) -> Column {
        Column {
            heading,
            unit: unit.to_owned(),
        }
    }

    /// Heading and unit: `bought, lb`.
    #[must_use]
    pub fn title(&self) -> String {
        if self.unit.is_empty() {
            self.heading.to_owned()
        } else {
            format!("{}, {}", self.heading, self.unit)
        }
    }

    /// Heading of a file's column, unit last: `bought_lb`.
    #[must_use]
    pub fn key(&self) -> String {
        let unit = match self.unit.as_str() {
            "%" => "percent",
            unit => unit,
        };
        let words = format!("{} {unit}", self.heading);
        let words = words.split(|c: char| !c.is_alphanumeric());
        let words: Vec<String> = words
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect();
        words.join("_")
    }
}

/// What stands in a row below a heading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// Anything a person may have written.
    Words(String),
    /// A decimal number: digits, a point, a minus.
    Figure(String),
    /// Nothing is known, or there is none.
    Empty,
}

impl Cell {
    /// Words; empty ones are no cell.
    pub fn words(words: impl Into<String>) -> Cell {
        let words = words.into();
        if words.is_empty() {
            Cell::Empty
        } else {
            Cell::Words(words)
        }
    }

    /// A figure, or nothing where there is none.
    pub fn figure(figure: impl Into<Option<String>>) -> Cell {
        match figure.into() {
            Some(figure) if is_number(&figure) => Cell::Figure(figure),
            Some(other) => Cell::words(other),
            None => Cell::Empty,
        }
    }

    /// As it is read.
    #[must_use]
    pub fn text(&self) -> &str {
        match self {
            Cell::Words(text) | Cell::Figure(text) => text,
            Cell::Empty => "",
        }
    }

    /// Whether it is a number.
    #[must_use]
    pub const fn is_figure(&self) -> bool {
        matches!(self, Cell::Figure(_))
    }
}

fn is_number(text: &str) -> bool {
    let digits = text.strip_prefix('-').unwrap_or(text);
    digits.starts_with(|c: char| c.is_ascii_digit())
        && digits.bytes().all(|b| b.is_ascii_digit() || b == b'.')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_columns_key_ends_in_its_unit() {
        assert_eq!(
            Column::of("on hand at the end", "lb").key(),
            "on_hand_at_the_end_lb"
        );
        assert_eq!(Column::of("of input", "%").key(), "of_input_percent");
        assert_eq!(Column::plain("seen to?").key(), "seen_to");
        assert_eq!(Column::of("owed", "USD").title(), "owed, USD");
    }

    #[test]
    fn only_a_plain_number_is_a_figure() {
        let figure = |text: &str| Cell::figure(text.to_owned()).is_figure();
        assert!(figure("-3.017") && figure("12"));
        assert!(!figure("-cmd|'/c calc'!A1") && !figure("=1+1") && !figure("-") && !figure(""));
    }
}
