//! How things of the contract read on a screen: plain words, aligned columns,
//! no colours.
//!
//! Weights are shown with their unit and money with its currency, as the
//! service worked them out; nothing is computed here.

use comfy_table::{
    Cell, CellAlignment, ColumnConstraint, ContentArrangement, ContentLineStyle, LineStyle, Row,
    Table, TableStyle, Width,
};
use jiff::tz::{TimeZone, TimeZoneDatabase};
use proto::google::r#type::Date;
use proto::v1;

/// A column's heading and the side its values stand on.
#[derive(Debug, Clone, Copy)]
pub enum Column {
    /// Words.
    Left(&'static str),
    /// Figures.
    Right(&'static str),
}

/// Characters in a line of a paragraph.
const LONGEST_LINE: usize = 96;
/// Characters in a line of a table.
const WIDEST_TABLE: usize = 99;

/// Text for a person, built from the top down.
#[derive(Debug, Default)]
pub struct Page {
    text: String,
}

impl Page {
    /// The first line.
    #[must_use]
    pub fn title(title: impl AsRef<str>) -> Page {
        let mut page = Page::default();
        page.line(title);
        page
    }

    /// One line.
    pub fn line(&mut self, line: impl AsRef<str>) {
        self.text.push_str(line.as_ref().trim_end());
        self.text.push('\n');
    }

    /// A sentence or more below a heading, in lines that fit a screen.
    pub fn paragraph(&mut self, text: impl AsRef<str>) {
        let mut line = String::from(" ");
        for word in text.as_ref().split_whitespace() {
            if line.chars().count() + 1 + word.chars().count() > LONGEST_LINE {
                self.line(&line);
                line = String::from("   ");
            }
            line.push(' ');
            line.push_str(word);
        }
        self.line(line);
    }

    /// An empty line and a heading.
    pub fn heading(&mut self, heading: impl AsRef<str>) {
        self.text.push('\n');
        self.line(heading);
    }

    /// Names and values below each other; what has no value is left out.
    pub fn facts(&mut self, facts: &[(&str, String)]) {
        let width = facts
            .iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(name, _)| name.chars().count())
            .max()
            .unwrap_or(0);
        for (name, value) in facts.iter().filter(|(_, value)| !value.is_empty()) {
            self.line(format!("  {name:width$}  {value}"));
        }
    }

    /// Rows under headings. A column without any value is left out. Where it would
    /// be too wide for a screen, units go into the headings and words are wrapped.
    pub fn table(&mut self, columns: &[Column], rows: &[Vec<String>]) {
        let (headings, rows) = &narrow(columns, rows);
        let used: Vec<bool> = (0..columns.len())
            .map(|at| {
                rows.iter()
                    .any(|row| row.get(at).is_some_and(|cell| !cell.is_empty()))
            })
            .collect();
        let keep = |cells: Vec<Cell>| -> Row {
            let kept = cells.into_iter().zip(&used).filter(|(_, used)| **used);
            Row::from(kept.map(|(cell, _)| cell).collect::<Vec<Cell>>())
        };
        let cell = |text: &str, column: Option<&Column>| {
            Cell::new(text).set_alignment(match column {
                Some(Column::Right(_)) => CellAlignment::Right,
                Some(Column::Left(_)) | None => CellAlignment::Left,
            })
        };

        let mut table = Table::new();
        table.load_style(
            TableStyle::new()
                .header_lines(ContentLineStyle::none())
                .header_separator(LineStyle::none().fill('─').junction('─'))
                .content_lines(ContentLineStyle::none()),
        );
        table.set_header(keep(
            headings
                .iter()
                .zip(columns)
                .map(|(name, column)| cell(name, Some(column)))
                .collect(),
        ));
        for row in rows {
            table.add_row(keep(
                row.iter()
                    .enumerate()
                    .map(|(at, text)| cell(text, columns.get(at)))
                    .collect(),
            ));
        }
        table.set_content_arrangement(ContentArrangement::Dynamic);
        let kept = (0..columns.len()).filter(|at| used.get(*at) == Some(&true));
        let spans = kept.map(|at| span(columns, headings, rows, at)).collect();
        for (column, width) in table.column_iter_mut().zip(fit(spans)) {
            column.set_padding((0, 1));
            let width = Width::Fixed(u16::try_from(width).unwrap_or(u16::MAX));
            column.set_constraint(ColumnConstraint::Absolute(width));
        }
        for line in table.lines() {
            self.line(format!(" {line}"));
        }
    }

    /// The whole text.
    #[must_use]
    pub fn done(self) -> String {
        self.text
    }
}

/// Headings and rows; where the rows are too wide together, a unit that all
/// figures of a column have stands in its heading.
fn narrow(columns: &[Column], rows: &[Vec<String>]) -> (Vec<String>, Vec<Vec<String>>) {
    let mut headings: Vec<String> = columns
        .iter()
        .map(|column| match column {
            Column::Left(name) | Column::Right(name) => (*name).to_owned(),
        })
        .collect();
    let mut rows = rows.to_vec();
    let cells = |rows: &[Vec<String>], at: usize| -> Vec<String> {
        let cells = rows.iter().filter_map(|row| row.get(at));
        cells.filter(|cell| !cell.is_empty()).cloned().collect()
    };
    let width: usize = (0..columns.len())
        .map(|at| {
            let widest = cells(&rows, at)
                .iter()
                .map(|cell| cell.chars().count())
                .max();
            widest.map_or(0, |widest| widest + 2)
        })
        .sum();
    if width <= WIDEST_TABLE {
        return (headings, rows);
    }
    for (at, column) in columns.iter().enumerate() {
        let figures = cells(&rows, at);
        let unit = match (
            column,
            figures.first().and_then(|first| first.rsplit_once(' ')),
        ) {
            (Column::Right(_), Some((_, unit))) if is_unit(unit) => format!(" {unit}"),
            _ => continue,
        };
        if !figures.iter().all(|figure| figure.ends_with(&unit)) {
            continue;
        }
        if let Some(heading) = headings.get_mut(at) {
            heading.push(',');
            heading.push_str(&unit);
        }
        for cell in rows.iter_mut().filter_map(|row| row.get_mut(at)) {
            if let Some(figure) = cell.strip_suffix(&unit) {
                *cell = figure.to_owned();
            }
        }
    }
    (headings, rows)
}

/// A unit of weight, a currency, a price's two, or percent.
fn is_unit(word: &str) -> bool {
    let currency = |word: &str| word.len() == 3 && word.bytes().all(|b| b.is_ascii_uppercase());
    match word.split_once('/') {
        Some((money, _)) => currency(money),
        None => currency(word) || ["lb", "kg", "g", "oz", "%"].contains(&word),
    }
}

/// Characters a column needs at least and would like, with the space after it. Words
/// may be wrapped, figures may not.
fn span(
    columns: &[Column],
    headings: &[String],
    rows: &[Vec<String>],
    at: usize,
) -> (usize, usize) {
    let longest_word = |text: &str| {
        let words = text.split_whitespace().map(|word| word.chars().count());
        words.max().unwrap_or(0)
    };
    let right = matches!(columns.get(at), Some(Column::Right(_)));
    let heading = headings.get(at).map_or("", String::as_str);
    let (mut least, mut liked) = (longest_word(heading), heading.chars().count());
    for cell in rows.iter().filter_map(|row| row.get(at)) {
        let whole = cell.chars().count();
        let is_figure = right && cell.contains(|c: char| c.is_ascii_digit());
        least = least.max(if is_figure { whole } else { longest_word(cell) });
        liked = liked.max(whole);
    }
    (least + 1, liked + 1)
}

/// Widths of columns with these least and liked ones: as liked where all of it fits a
/// screen, else taken from whoever has most to give.
fn fit(spans: Vec<(usize, usize)>) -> Vec<usize> {
    let mut widths: Vec<usize> = spans.iter().map(|(_, liked)| *liked).collect();
    while widths.iter().sum::<usize>() + widths.len() > WIDEST_TABLE {
        let spare = |(at, width): (usize, &usize)| width.saturating_sub(spans[at].0);
        let most = (0..widths.len()).max_by_key(|at| (spare((*at, &widths[*at])), *at));
        match most.filter(|at| widths[*at] > spans[*at].0) {
            Some(at) => widths[at] -= 1,
            None => break,
        }
    }
    widths
}

/// A quality grade; fish that has none shows nothing.
pub(crate) fn grade(grade: &str) -> String {
    if grade == "0" {
        String::new()
    } else {
        grade.to_owned()
    }
}

/// `40.750 lb`; empty where there is no weight.
pub(crate) fn weight(weight: Option<&v1::Weight>) -> String {
    weight.map_or_else(String::new, |w| format!("{} {}", w.shown, unit(w.unit)))
}

/// `0.50 to under 0.75 lb`, or `1.25 lb and over`.
pub(crate) fn weights(from: Option<&v1::Weight>, to: Option<&v1::Weight>) -> String {
    match (from, to) {
        (Some(from), Some(to)) if from.unit == to.unit => {
            format!("{} to under {}", from.shown, weight(Some(to)))
        }
        (from, Some(to)) => format!("{} to under {}", weight(from), weight(Some(to))),
        (from, None) => format!("{} and over", weight(from)),
    }
}

/// Like [`weight`], and empty for zero too.
pub(crate) fn weight_unless_zero(weight: Option<&v1::Weight>) -> String {
    match weight {
        Some(w) if !is_zero(&w.grams) => self::weight(Some(w)),
        _ => String::new(),
    }
}

/// Whether decimal text is zero.
pub(crate) fn is_zero(decimal: &str) -> bool {
    !decimal.bytes().any(|b| b.is_ascii_digit() && b != b'0')
}

/// A reading as it was written, with its unit.
pub(crate) fn reading(reading: Option<&v1::Reading>) -> String {
    reading.map_or_else(String::new, |r| format!("{} {}", r.decimal, unit(r.unit)))
}

/// `213.94 USD`; empty where there is no amount.
pub(crate) fn money(money: Option<&v1::Money>) -> String {
    money.map_or_else(String::new, |m| {
        let sign = if m.amount_minor < 0 { "-" } else { "" };
        let minor = m.amount_minor.unsigned_abs();
        format!("{sign}{}.{:02} {}", minor / 100, minor % 100, m.currency)
    })
}

/// Like [`money`], and empty for zero too.
pub(crate) fn money_unless_zero(money: Option<&v1::Money>) -> String {
    match money {
        Some(m) if m.amount_minor != 0 => self::money(Some(m)),
        _ => String::new(),
    }
}

/// `5.25 USD/lb`, with at least two places.
pub(crate) fn price(price: Option<&v1::UnitPrice>) -> String {
    price.map_or_else(String::new, |p| {
        let (whole, places) = p.decimal.split_once('.').unwrap_or((&p.decimal, ""));
        let places = places.trim_end_matches('0');
        format!("{whole}.{places:0<2} {}/{}", p.currency, unit(p.per))
    })
}

/// `2031-05-02`; empty where there is no day.
pub(crate) fn day(day: Option<&Date>) -> String {
    day.map_or_else(String::new, |d| {
        format!("{:04}-{:02}-{:02}", d.year, d.month, d.day)
    })
}

/// One day, or `2031-05-01 to 2031-05-02`, both in.
pub(crate) fn days(from: Option<&Date>, to: Option<&Date>) -> String {
    match (from, to) {
        (Some(from), Some(to)) if from != to => {
            format!("{} to {}", day(Some(from)), day(Some(to)))
        }
        (from, to) => day(from.or(to)),
    }
}

fn day_before(day: &Date) -> Option<Date> {
    let day = jiff::civil::Date::new(
        day.year.try_into().ok()?,
        day.month.try_into().ok()?,
        day.day.try_into().ok()?,
    );
    let before = day.ok()?.yesterday().ok()?;
    Some(Date {
        year: before.year().into(),
        month: before.month().into(),
        day: before.day().into(),
    })
}

/// `2031-04-28 to 2031-05-04`, for a period that ends before 2031-05-05.
pub(crate) fn half_open(from: Option<&Date>, to: Option<&Date>) -> String {
    match (from, to) {
        (None, None) => "all days".to_owned(),
        (Some(from), None) => format!("from {}", day(Some(from))),
        (None, Some(to)) => format!("before {}", day(Some(to))),
        (Some(from), Some(to)) => days(Some(from), day_before(to).or(Some(*to)).as_ref()),
    }
}

/// `2031-05-02 14:32 EDT`, the time of day of `zone`; UTC where the zone is not
/// known. Zone rules travel inside the program.
#[must_use]
pub fn instant(at: Option<&prost_types::Timestamp>, zone: Option<&str>) -> String {
    let Some(at) = at.and_then(|at| jiff::Timestamp::new(at.seconds, at.nanos).ok()) else {
        return String::new();
    };
    let zone = zone
        .and_then(|name| TimeZoneDatabase::bundled().get(name).ok())
        .unwrap_or(TimeZone::UTC);
    at.to_zoned_datetime(zone)
        .strftime("%Y-%m-%d %H:%M %Z")
        .to_string()
}

/// The plain word of an enum's value: its name in the contract without the
/// enum's own name. Unspecified is empty.
macro_rules! word {
    ($enum:ident, $value:expr) => {
        crate::show::plain(
            proto::v1::$enum::try_from($value).map_or("", |value| value.as_str_name()),
            stringify!($enum),
        )
    };
}
pub(crate) use word;

/// `Lionfish, whole`.
pub(crate) fn fish(species: &str, presentation: i32) -> String {
    format!("{species}, {}", word!(Presentation, presentation))
}

/// `12.25 in`.
pub(crate) fn length(length: &proto::v1::Length) -> String {
    format!("{} {}", length.decimal, word!(LengthUnit, length.unit))
}

/// `38.5 F`.
pub(crate) fn temperature(read: &proto::v1::Temperature) -> String {
    let unit = match proto::v1::TemperatureUnit::try_from(read.unit) {
        Ok(proto::v1::TemperatureUnit::Fahrenheit) => "F",
        Ok(proto::v1::TemperatureUnit::Celsius) => "C",
        Ok(proto::v1::TemperatureUnit::Unspecified) | Err(_) => "",
    };
    format!("{} {unit}", read.decimal)
}

/// `OUTLET_SOLD_WHOLE` of `Outlet` is `sold whole`.
pub(crate) fn plain(name: &str, of: &str) -> String {
    let mut prefix = String::new();
    for letter in of.chars() {
        if letter.is_ascii_uppercase() && !prefix.is_empty() {
            prefix.push('_');
        }
        prefix.push(letter.to_ascii_uppercase());
    }
    prefix.push('_');
    match name.strip_prefix(&prefix) {
        None | Some("UNSPECIFIED") => String::new(),
        Some(word) => word.to_ascii_lowercase().replace('_', " "),
    }
}

/// `soup-grade` for soup, the plain word for every other outlet.
pub(crate) fn outlet(outlet: i32) -> String {
    match v1::Outlet::try_from(outlet) {
        Ok(v1::Outlet::Soup) => "soup-grade".to_owned(),
        _ => word!(Outlet, outlet),
    }
}

/// Where weight went: `sold whole 12.000 lb, donation 3.000 lb`.
pub(crate) fn outlets(out: &[v1::OutletWeight]) -> String {
    out.iter()
        .map(|o| format!("{} {}", outlet(o.outlet), weight(o.weight.as_ref())))
        .collect::<Vec<_>>()
        .join(", ")
}

/// `20310502000100000031/2`.
pub(crate) fn part(part: Option<&v1::PartRef>) -> String {
    part.map_or_else(String::new, |p| match p.part {
        Some(n) => format!("{}/{n}", p.lot_code),
        None => p.lot_code.clone(),
    })
}

fn unit(unit: i32) -> String {
    word!(WeightUnit, unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn usd(amount_minor: i64) -> v1::Money {
        v1::Money {
            amount_minor,
            currency: "USD".to_owned(),
        }
    }

    #[test]
    fn money_reads_in_whole_units_and_hundredths() {
        assert_eq!(money(Some(&usd(21_394))), "213.94 USD");
        assert_eq!(money(Some(&usd(-5))), "-0.05 USD");
        assert_eq!(money(Some(&usd(0))), "0.00 USD");
        assert_eq!(money_unless_zero(Some(&usd(0))), "");
        assert_eq!(money(None), "");
    }

    #[test]
    fn a_price_keeps_the_places_it_needs() {
        let reads = |decimal: &str| {
            price(Some(&v1::UnitPrice {
                decimal: decimal.to_owned(),
                currency: "USD".to_owned(),
                per: v1::WeightUnit::Lb.into(),
            }))
        };
        assert_eq!(reads("5.2500"), "5.25 USD/lb");
        assert_eq!(reads("5.2575"), "5.2575 USD/lb");
        assert_eq!(reads("7"), "7.00 USD/lb");
        assert_eq!(reads("0.0000"), "0.00 USD/lb");
    }

    #[test]
    fn words_come_from_the_contract() {
        assert_eq!(
            word!(Presentation, v1::Presentation::SpinesClipped as i32),
            "spines clipped"
        );
        assert_eq!(
            word!(Confirmation, v1::Confirmation::ByDiver as i32),
            "by diver"
        );
        assert_eq!(
            word!(CloseState, v1::CloseState::ClosedWithGaps as i32),
            "closed with gaps"
        );
        assert_eq!(word!(WeightUnit, v1::WeightUnit::Lb as i32), "lb");
        assert_eq!(word!(Outlet, 0), "");
        assert_eq!(word!(Outlet, 99), "");
        assert_eq!(outlet(v1::Outlet::Soup as i32), "soup-grade");
    }

    #[test]
    fn instants_read_by_the_clock_on_the_wall_of_the_site() {
        let at = prost_types::Timestamp {
            seconds: 1_935_513_130,
            nanos: 0,
        };
        assert_eq!(
            instant(Some(&at), Some("America/New_York")),
            "2031-05-02 14:32 EDT"
        );
        assert_eq!(instant(Some(&at), None), "2031-05-02 18:32 UTC");
        assert_eq!(instant(None, None), "");
    }

    #[test]
    fn a_column_without_values_is_left_out() {
        let mut page = Page::title("Fish");
        page.table(
            &[
                Column::Left("lot"),
                Column::Right("ice"),
                Column::Right("net"),
            ],
            &[
                vec!["A".to_owned(), String::new(), "9.00 lb".to_owned()],
                vec!["B".to_owned(), String::new(), "12.00 lb".to_owned()],
            ],
        );
        let text = page.done();
        assert!(!text.contains("ice"), "{text}");
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 5, "{text}");
        assert!(lines.iter().all(|line| !line.ends_with(' ')), "{text}");
        assert_eq!(
            lines[3].len(),
            lines[4].len(),
            "figures end in one column: {text}"
        );
    }

    #[test]
    fn a_wide_table_keeps_to_the_screen_and_says_its_units_once() {
        let mut page = Page::default();
        let columns = [
            Column::Left("part"),
            Column::Left("what it is, in words"),
            Column::Right("opening"),
            Column::Right("in"),
            Column::Right("unaccounted"),
            Column::Right("closing"),
        ];
        let row = |part: &str| {
            let mut row = vec![part.to_owned(), "Lionfish of a diver ".repeat(6)];
            row.extend(["41.600 lb", "9.100 lb", "3.000 lb", "47.700 lb"].map(str::to_owned));
            row
        };
        page.table(
            &columns,
            &[row("20310502000100000031/1"), row("20310502000100000031/2")],
        );
        let text = page.done();
        assert!(
            text.lines().all(|line| line.chars().count() <= 100),
            "{text}"
        );
        assert!(text.contains("20310502000100000031/1"), "{text}");
        assert!(
            text.contains("opening, lb") && !text.contains("41.600 lb"),
            "{text}"
        );
        assert!(text.contains("47.700"), "{text}");
    }

    #[test]
    fn a_paragraph_breaks_between_words() {
        let mut page = Page::default();
        page.paragraph("word ".repeat(40));
        let text = page.done();
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines.len() > 1, "{text}");
        assert!(
            lines
                .iter()
                .all(|line| line.chars().count() <= LONGEST_LINE),
            "{text}"
        );
        assert!(
            lines[0].starts_with("  word") && lines[1].starts_with("    word"),
            "{text}"
        );
        assert_eq!(text.split_whitespace().count(), 40);
    }

    #[test]
    fn facts_without_a_value_are_left_out() {
        let mut page = Page::default();
        page.facts(&[("boat", String::new()), ("diver", "d-1".to_owned())]);
        assert_eq!(page.done(), "  diver  d-1\n");
    }
}
