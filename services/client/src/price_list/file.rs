//! A price list in a file, TOML or CSV, and the line each part of it stands on.
//!
//! What the file says is carried as it was written; whether the list can stand is
//! the service's to say, and [`Written::line_of`] finds the line it speaks of.

use std::collections::BTreeMap;

use proto::v1;
use toml_edit::{Document, Item, Table, TableLike, Value};

/// A price list as a file has it.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// Without an id.
    pub list: v1::PriceList,
    /// Line on which a field of the list stands, by its path.
    lines: BTreeMap<String, usize>,
}

/// What does not read, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct BadFile {
    /// From 1.
    pub line: usize,
    /// What is wrong and what to write.
    pub what: String,
}

fn bad(line: usize, what: impl Into<String>) -> BadFile {
    BadFile {
        line,
        what: what.into(),
    }
}

impl Written {
    /// Reads a file: CSV where its name ends so, else TOML.
    ///
    /// # Errors
    ///
    /// The first line that does not read.
    pub fn read(name: &str, text: &str) -> Result<Written, BadFile> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        if name.to_lowercase().ends_with(".csv") {
            csv(text)
        } else {
            toml(text)
        }
    }

    /// The line of the field at `path`, or of what it stands in.
    #[must_use]
    pub fn line_of(&self, path: &str) -> Option<usize> {
        let path = path.strip_prefix("price_list.").unwrap_or(path);
        let mut path = path;
        loop {
            if let Some(line) = self.lines.get(path) {
                return Some(*line);
            }
            path = &path[..path.rfind(['.', '['])?];
        }
    }
}

/// A word of the contract's enum, as people write it: `whole`, `fillet skinless`.
macro_rules! enum_word {
    ($enum:ident, $prefix:literal, $text:expr) => {{
        let name = $text.trim().to_uppercase().replace([' ', '-'], "_");
        v1::$enum::from_str_name(&format!("{}{name}", $prefix))
            .filter(|word| i32::from(*word) != 0)
            .map(i32::from)
    }};
}

fn presentation(text: &str) -> Option<i32> {
    enum_word!(Presentation, "PRESENTATION_", text)
}

fn condition(text: &str) -> Option<i32> {
    enum_word!(Condition, "CONDITION_", text)
}

fn band_by(text: &str) -> Option<i32> {
    enum_word!(BandBy, "BAND_BY_", text)
}

fn unit(text: &str) -> Option<i32> {
    enum_word!(WeightUnit, "WEIGHT_UNIT_", text)
}

const WHAT_FORM: &str = "is no form of fish: write whole, spines clipped, gutted, gutted headed, …";
const WHAT_CONDITION: &str = "is no condition: write clean, body or torn";
const WHAT_BAND_BY: &str = "must be piece or lot";
const WHAT_UNIT: &str = "must be lb, kg, g or oz";
const WHAT_INSTANT: &str = "is no instant with its offset, such as 2031-05-02T06:00:00-04:00";

/// Reads TOML.
fn toml(text: &str) -> Result<Written, BadFile> {
    let line_at = |at: usize| text.bytes().take(at).filter(|byte| *byte == b'\n').count() + 1;
    let document = Document::parse(text).map_err(|error| {
        let line = error.span().map_or(1, |span| line_at(span.start));
        bad(line, error.message().to_owned())
    })?;
    let mut reader = Toml {
        line_at: &line_at,
        lines: BTreeMap::new(),
    };
    let list = reader.list(document.as_table())?;
    Ok(Written {
        list,
        lines: reader.lines,
    })
}

struct Toml<'a> {
    line_at: &'a dyn Fn(usize) -> usize,
    lines: BTreeMap<String, usize>,
}

impl Toml<'_> {
    fn line(&self, item: &Item) -> usize {
        item.span().map_or(1, |span| (self.line_at)(span.start))
    }

    /// Refuses what is not one of the names.
    fn only(&self, table: &dyn TableLike, known: &[&str]) -> Result<(), BadFile> {
        for (name, item) in table.iter() {
            if !known.contains(&name) {
                let line = self.line(item);
                let known = known.join(", ");
                return Err(bad(
                    line,
                    format!("{name} is not known here: write {known}"),
                ));
            }
        }
        Ok(())
    }

    /// Text, or a number as it was written.
    fn text(
        &mut self,
        table: &dyn TableLike,
        name: &str,
        path: &str,
    ) -> Result<Option<String>, BadFile> {
        let Some(item) = table.get(name) else {
            return Ok(None);
        };
        let line = self.line(item);
        self.lines.insert(path.to_owned(), line);
        match item.as_value() {
            Some(Value::String(text)) => Ok(Some(text.value().clone())),
            Some(value @ (Value::Integer(_) | Value::Datetime(_))) => {
                Ok(Some(value.to_string().trim().to_owned()))
            }
            // 0.50 as a float would come out as another number than was written.
            Some(Value::Float(_)) => Err(bad(
                line,
                format!("{name}: write the number in quotes, such as \"0.50\", to keep it exact"),
            )),
            _ => Err(bad(line, format!("{name} must be text in quotes"))),
        }
    }

    fn must(
        &mut self,
        table: &dyn TableLike,
        name: &str,
        path: &str,
        above: usize,
    ) -> Result<String, BadFile> {
        self.text(table, name, path)?
            .ok_or_else(|| bad(above, format!("{name} is missing")))
    }

    /// The tables of an array, whether `[[name]]` or `name = [{…}]`.
    fn rows<'t>(
        &self,
        table: &'t dyn TableLike,
        name: &str,
    ) -> Result<Vec<(usize, &'t dyn TableLike)>, BadFile> {
        let Some(item) = table.get(name) else {
            return Ok(Vec::new());
        };
        let line = self.line(item);
        let not_rows = || bad(line, format!("{name} must be a list of tables"));
        if let Some(tables) = item.as_array_of_tables() {
            let row = |table: &'t Table| {
                let line = table.span().map_or(line, |span| (self.line_at)(span.start));
                (line, table as &dyn TableLike)
            };
            return Ok(tables.iter().map(row).collect());
        }
        let values = item.as_array().ok_or_else(not_rows)?;
        let mut rows = Vec::with_capacity(values.len());
        for value in values {
            let line = value.span().map_or(line, |span| (self.line_at)(span.start));
            let row = value.as_inline_table().ok_or_else(not_rows)?;
            rows.push((line, row as &dyn TableLike));
        }
        Ok(rows)
    }

    fn word(
        &mut self,
        table: &dyn TableLike,
        name: &str,
        path: &str,
        above: usize,
        read: impl Fn(&str) -> Option<i32>,
        what: &str,
    ) -> Result<i32, BadFile> {
        let text = self.must(table, name, path, above)?;
        let line = self.lines.get(path).copied().unwrap_or(above);
        read(&text).ok_or_else(|| bad(line, format!("{name} \"{text}\" {what}")))
    }

    fn list(&mut self, top: &dyn TableLike) -> Result<v1::PriceList, BadFile> {
        self.only(
            top,
            &[
                "site",
                "species",
                "effective_from",
                "band_by",
                "price_per",
                "edge_unit",
                "presentation",
                "condition",
            ],
        )?;
        let site = self.must(top, "site", "site", 1)?;
        let effective_from = self
            .text(top, "effective_from", "effective_from")?
            .map(|text| {
                let line = self.lines.get("effective_from").copied().unwrap_or(1);
                instant(&text).ok_or_else(|| bad(line, format!("effective_from {WHAT_INSTANT}")))
            })
            .transpose()?;
        let site_line = self.lines.get("site").copied().unwrap_or(1);
        let mut list = v1::PriceList {
            id: String::new(),
            site: site
                .parse()
                .map_err(|_| bad(site_line, "site must be the number of a site"))?,
            species: self.must(top, "species", "species", 1)?,
            effective_from,
            band_by: self.word(top, "band_by", "band_by", 1, band_by, WHAT_BAND_BY)?,
            price_per: self.word(top, "price_per", "price_per", 1, unit, WHAT_UNIT)?,
            edge_unit: self.word(top, "edge_unit", "edge_unit", 1, unit, WHAT_UNIT)?,
            ..v1::PriceList::default()
        };
        for (i, (line, row)) in self.rows(top, "presentation")?.into_iter().enumerate() {
            let path = format!("presentations[{i}]");
            self.lines.insert(path.clone(), line);
            let prices = self.presentation(row, line, &path)?;
            list.presentations.push(prices);
        }
        if let Some(item) = top.get("condition") {
            let line = self.line(item);
            let table = item
                .as_table_like()
                .ok_or_else(|| bad(line, "condition must be a table, such as torn = \"-2.00\""))?;
            for (name, item) in table.iter() {
                let n = list.condition_adjustments.len();
                let line = self.line(item);
                let path = format!("condition_adjustments[{n}]");
                let shot = condition(name)
                    .ok_or_else(|| bad(line, format!("\"{name}\" {WHAT_CONDITION}")))?;
                let per_unit = self.must(table, name, &path, line)?;
                list.condition_adjustments.push(v1::ConditionAdjustment {
                    condition: shot,
                    per_unit,
                });
            }
        }
        Ok(list)
    }

    fn presentation(
        &mut self,
        row: &dyn TableLike,
        line: usize,
        path: &str,
    ) -> Result<v1::PresentationPrices, BadFile> {
        self.only(row, &["form", "plate_minimum", "grade"])?;
        let at = |name: &str| format!("{path}.{name}");
        let mut prices = v1::PresentationPrices {
            presentation: self.word(
                row,
                "form",
                &at("presentation"),
                line,
                presentation,
                WHAT_FORM,
            )?,
            plate_minimum: self
                .text(row, "plate_minimum", &at("plate_minimum"))?
                .unwrap_or_default(),
            grades: Vec::new(),
        };
        for (i, (line, row)) in self.rows(row, "grade")?.into_iter().enumerate() {
            let path = format!("{path}.grades[{i}]");
            self.lines.insert(path.clone(), line);
            self.only(row, &["grade", "not_counted", "bands"])?;
            let mut grade = v1::GradePrices {
                grade: self.must(row, "grade", &format!("{path}.grade"), line)?,
                not_counted: self.text(row, "not_counted", &format!("{path}.not_counted"))?,
                bands: Vec::new(),
            };
            for (i, (line, row)) in self.rows(row, "bands")?.into_iter().enumerate() {
                let path = format!("{path}.bands[{i}]");
                self.lines.insert(path.clone(), line);
                self.only(row, &["from", "to", "price", "name"])?;
                grade.bands.push(v1::Band {
                    from: self.must(row, "from", &format!("{path}.from"), line)?,
                    to: self.text(row, "to", &format!("{path}.to"))?,
                    price: self.must(row, "price", &format!("{path}.price"), line)?,
                    name: self
                        .text(row, "name", &format!("{path}.name"))?
                        .unwrap_or_default(),
                });
            }
            prices.grades.push(grade);
        }
        Ok(prices)
    }
}

fn instant(text: &str) -> Option<prost_types::Timestamp> {
    crate::instant(text).ok()
}

/// Columns of a CSV file, in any order.
const COLUMNS: [&str; 13] = [
    "site",
    "species",
    "effective_from",
    "band_by",
    "price_per",
    "edge_unit",
    "form",
    "plate_minimum",
    "grade",
    "from",
    "to",
    "price",
    "name",
];

/// Columns whose empty cell says what the row above said.
const CARRIED: usize = 9;

/// Reads CSV: a row a band, `not counted` or a condition in place of the lower
/// edge of the others. A semicolon in the first line makes it the separator, and
/// numbers may then have a decimal comma.
fn csv(text: &str) -> Result<Written, BadFile> {
    let semicolons = text.lines().next().is_some_and(|head| head.contains(';'));
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(if semicolons { b';' } else { b',' })
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let headers = reader.headers().map_err(|error| unread(&error))?.clone();
    let mut places = [None; COLUMNS.len()];
    for (at, header) in headers.iter().enumerate() {
        let column = COLUMNS.iter().position(|name| *name == header);
        let column = column.ok_or_else(|| {
            bad(
                1,
                format!(
                    "column \"{header}\" is not known: write {}",
                    COLUMNS.join(", ")
                ),
            )
        })?;
        places[column] = Some(at);
    }
    let mut csv = Csv {
        list: v1::PriceList::default(),
        lines: BTreeMap::new(),
        semicolons,
        carried: Default::default(),
    };
    for row in reader.records() {
        let row = row.map_err(|error| unread(&error))?;
        let line = row.position().map_or(1, |at| at.line());
        let line = usize::try_from(line).unwrap_or(usize::MAX);
        if row.iter().all(str::is_empty) {
            continue;
        }
        let cell = |column: usize| places[column].and_then(|at| row.get(at)).unwrap_or("");
        csv.row(line, &std::array::from_fn(cell))?;
    }
    if csv.list.presentations.is_empty() {
        return Err(bad(2, "there is no band in it"));
    }
    Ok(Written {
        list: csv.list,
        lines: csv.lines,
    })
}

fn unread(error: &csv::Error) -> BadFile {
    let line = error.position().map_or(1, csv::Position::line);
    bad(
        usize::try_from(line).unwrap_or(usize::MAX),
        match error.kind() {
            csv::ErrorKind::UnequalLengths {
                expected_len, len, ..
            } => format!("has {len} cells, and the first line {expected_len}"),
            _ => error.to_string(),
        },
    )
}

struct Csv {
    list: v1::PriceList,
    lines: BTreeMap<String, usize>,
    semicolons: bool,
    carried: [String; CARRIED],
}

impl Csv {
    fn number(&self, text: &str) -> String {
        if self.semicolons {
            text.replacen(',', ".", 1)
        } else {
            text.to_owned()
        }
    }

    fn row(&mut self, line: usize, cells: &[&str; COLUMNS.len()]) -> Result<(), BadFile> {
        let first = self.lines.is_empty();
        for (n, (before, cell)) in self.carried.iter_mut().zip(cells).enumerate() {
            if cell.is_empty() {
                continue;
            }
            // What holds for the whole list is said once.
            if !first && n < 6 && before.as_str() != *cell {
                let name = COLUMNS[n];
                return Err(bad(
                    line,
                    format!("{name} is {before} above: a file is one list"),
                ));
            }
            (*cell).clone_into(before);
        }
        if first {
            self.head(line)?;
        }
        let [from, to, price, name] = [cells[9], cells[10], cells[11], cells[12]];
        if price.is_empty() {
            return Err(bad(line, "price is missing"));
        }
        if from.is_empty() {
            return Err(bad(
                line,
                "from is missing: write the lower edge, \"not counted\", or a condition",
            ));
        }
        let price = self.number(price);
        if let Some(shot) = condition(from) {
            let n = self.list.condition_adjustments.len();
            self.lines
                .insert(format!("condition_adjustments[{n}]"), line);
            self.list
                .condition_adjustments
                .push(v1::ConditionAdjustment {
                    condition: shot,
                    per_unit: price,
                });
            return Ok(());
        }
        let edges = (self.number(from), self.number(to));
        let (grade, path) = self.grade(line)?;
        if from.eq_ignore_ascii_case("not counted") {
            if grade.not_counted.replace(price).is_some() {
                return Err(bad(line, "this grade has two rows for fish not counted"));
            }
            self.lines.insert(format!("{path}.not_counted"), line);
            return Ok(());
        }
        let n = grade.bands.len();
        grade.bands.push(v1::Band {
            from: edges.0,
            to: (!to.is_empty()).then_some(edges.1),
            price,
            name: name.to_owned(),
        });
        self.lines.insert(format!("{path}.bands[{n}]"), line);
        Ok(())
    }

    /// What holds for the whole list, from its first row.
    fn head(&mut self, line: usize) -> Result<(), BadFile> {
        for name in &COLUMNS[..6] {
            self.lines.insert((*name).to_owned(), line);
        }
        let [site, species, effective_from, by, per, edges, ..] = &self.carried;
        let what = |name: &str, text: &str, what: &str| {
            let text = if text.is_empty() { "(empty)" } else { text };
            bad(line, format!("{name} {text} {what}"))
        };
        self.list.site = site
            .parse()
            .map_err(|_| what("site", site, "must be the number of a site"))?;
        self.list.species.clone_from(species);
        if !effective_from.is_empty() {
            let at = instant(effective_from);
            let at = at.ok_or_else(|| what("effective_from", effective_from, WHAT_INSTANT))?;
            self.list.effective_from = Some(at);
        }
        self.list.band_by = band_by(by).ok_or_else(|| what("band_by", by, WHAT_BAND_BY))?;
        self.list.price_per = unit(per).ok_or_else(|| what("price_per", per, WHAT_UNIT))?;
        self.list.edge_unit = unit(edges).ok_or_else(|| what("edge_unit", edges, WHAT_UNIT))?;
        Ok(())
    }

    /// The prices of the row's form and grade, with their path.
    fn grade(&mut self, line: usize) -> Result<(&mut v1::GradePrices, String), BadFile> {
        let [.., form, plate_minimum, grade] = &self.carried;
        let form =
            presentation(form).ok_or_else(|| bad(line, format!("form \"{form}\" {WHAT_FORM}")))?;
        let minimum = self.number(plate_minimum);
        let (grade, lines) = (grade.clone(), &mut self.lines);
        let forms = &mut self.list.presentations;
        let i = forms.iter().position(|prices| prices.presentation == form);
        let i = i.unwrap_or_else(|| {
            lines.insert(format!("presentations[{}]", forms.len()), line);
            forms.push(v1::PresentationPrices {
                presentation: form,
                plate_minimum: minimum.clone(),
                grades: Vec::new(),
            });
            forms.len() - 1
        });
        if forms[i].plate_minimum != minimum {
            let above = &forms[i].plate_minimum;
            return Err(bad(
                line,
                format!("plate_minimum is {above} above: a form has one"),
            ));
        }
        let grades = &mut forms[i].grades;
        let j = grades.iter().position(|prices| prices.grade == grade);
        let j = j.unwrap_or_else(|| {
            lines.insert(format!("presentations[{i}].grades[{}]", grades.len()), line);
            grades.push(v1::GradePrices {
                grade,
                ..v1::GradePrices::default()
            });
            grades.len() - 1
        });
        Ok((&mut grades[j], format!("presentations[{i}].grades[{j}]")))
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    const TOML: &str = r#"# Lionfish from May on
site = 1
species = "PZO"
effective_from = 2031-05-03T06:00:00-04:00
band_by = "piece"
price_per = "lb"
edge_unit = "lb"

[[presentation]]
form = "whole"
plate_minimum = "0.50"

[[presentation.grade]]
grade = "A"
not_counted = "1.00"
bands = [
  { from = "0", to = "0.50", price = "1.25", name = "below plate" },
  { from = "0.50", price = "5.25", name = "plate" },
]

[condition]
torn = "-2.00"
"#;

    const CSV: &str = "\
site,species,effective_from,band_by,price_per,edge_unit,form,plate_minimum,grade,from,to,price,name
1,PZO,2031-05-03T06:00:00-04:00,piece,lb,lb,whole,0.50,A,0,0.50,1.25,below plate
,,,,,,,,,0.50,,5.25,plate
,,,,,,,,,not counted,,1.00,
,,,,,,,,,torn,,-2.00,
";

    fn read(name: &str, text: &str) -> Written {
        Written::read(name, text).unwrap_or_else(|bad| panic!("{bad}"))
    }

    fn refused(name: &str, text: &str) -> String {
        Written::read(name, text).unwrap_err().to_string()
    }

    #[test]
    fn both_formats_say_the_same_list() {
        let toml = read("may.toml", TOML).list;
        assert_eq!(toml.presentations[0].grades[0].bands.len(), 2);
        assert_eq!(toml.condition_adjustments[0].per_unit, "-2.00");
        assert_eq!(toml.effective_from.unwrap().seconds, 1_935_568_800);
        let semicolons = CSV
            .replace(',', ";")
            .replace("0.50", "0,50")
            .replace("5.25", "5,25");
        let windows = format!("\u{feff}{}", CSV.replace('\n', "\r\n"));
        let spaced = CSV.replace("\n,,,,,,,,,torn", "\n\n,,,,,,,,,,,,\n,,,,,,,,,torn");
        for text in [CSV, &semicolons, &windows, &spaced] {
            assert_eq!(read("May.CSV", text).list, toml, "{text}");
        }
    }

    #[test]
    fn a_field_is_found_on_its_line() {
        let (toml, csv) = (read("may.toml", TOML), read("may.csv", CSV));
        for (path, in_toml, in_csv) in [
            ("price_list.species", 3, 2),
            ("price_list.presentations[0].plate_minimum", 11, 2),
            ("price_list.presentations[0].grades[0].bands", 13, 2),
            ("price_list.presentations[0].grades[0].bands[1].from", 18, 3),
            ("price_list.presentations[0].grades[0].not_counted", 15, 4),
            ("price_list.condition_adjustments[0].per_unit", 22, 5),
        ] {
            assert_eq!(toml.line_of(path), Some(in_toml), "{path}");
            assert_eq!(csv.line_of(path), Some(in_csv), "{path}");
        }
        assert_eq!(toml.line_of("request_id"), None);
    }

    #[test]
    fn what_does_not_read_is_said_with_its_line() {
        for (from, to, said) in [
            ("site = 1", "site = \"one\"", "line 2: site must be"),
            ("site = 1\n", "", "line 1: site is missing"),
            (
                "\"piece\"",
                "\"pieces\"",
                "line 5: band_by \"pieces\" must be",
            ),
            (
                "form = \"whole\"",
                "form = \"hole\"",
                "line 10: form \"hole\" is no form",
            ),
            (
                "to = \"0.50\"",
                "to = 0.50",
                "line 17: to: write the number in quotes",
            ),
            (
                "name = \"plate\"",
                "nam = \"plate\"",
                "line 18: nam is not known",
            ),
            ("price = \"5.25\", ", "", "line 18: price is missing"),
            (
                "torn =",
                "shredded =",
                "line 22: \"shredded\" is no condition",
            ),
            ("[condition]", "[condition", "line 21: "),
            (
                "2031-05-03T06:00:00-04:00",
                "2031-05-03",
                "line 4: effective_from is no",
            ),
        ] {
            let text = TOML.replacen(from, to, 1);
            let told = refused("may.toml", &text);
            assert!(told.starts_with(said), "{said}: {told}");
        }
        for (from, to, said) in [
            ("site,", "seat,", "line 1: column \"seat\" is not known"),
            ("1,PZO", "x,PZO", "line 2: site x must be"),
            (",,5.25,", ",,,", "line 3: price is missing"),
            (",0.50,,5", ",,,5", "line 3: from is missing"),
            (",torn,,-2.00,", ",torn,,-2.00", "line 5: has 12 cells"),
            (
                ",,,,,,,,,0.50",
                ",LCX,,,,,,,,0.50",
                "line 3: species is PZO above",
            ),
            (
                ",,,,,,,,,0.50",
                ",,,,,,,0.60,,0.50",
                "line 3: plate_minimum is 0.50 above",
            ),
        ] {
            let text = CSV.replacen(from, to, 1);
            let told = refused("may.csv", &text);
            assert!(told.starts_with(said), "{said}: {told}");
        }
        assert_eq!(
            refused("may.csv", "site,price\n"),
            "line 2: there is no band in it"
        );
    }
}
