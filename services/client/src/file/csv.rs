//! CSV weigh-ins: one weighing a row, rows of one ticket after one another.
//!
//! | column | what stands in it |
//! | --- | --- |
//! | `ticket` | a number of one's own that never comes again; it makes the request id |
//! | `site` `diver` `confirmed` `note` | of the ticket: the same in all its rows |
//! | `weighed_at` | of the ticket: its first reading, RFC 3339 with its offset; the service corrects it by the clock that sends it |
//! | `area` `caught_from` `caught_to` `gear` `landed_at` `landed_on` `vessel` `vessel_use` `dives` | of its landing |
//! | `species` `form` `storage` `small` `decision` `reason` `corrective_action` | of the lot: rows alike in these are one lot |
//! | `grade` `shot` `unit` `scale` | of the weighing |
//! | `gross`, and `tare`, `tote` or `tared`; `iced` `pieces` `about_pieces` | a tote |
//! | `fish` | one fish; rows alike are fish of one weighing |
//! | `request_id` | in place of the one that the ticket's number makes |
//! | `failed` | written by `--failed`, and not read |
//!
//! Cells are separated by commas or by semicolons; with semicolons a decimal may
//! have a comma. The words are those of `weigh-in`.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::{BufRead, Read as _};

use csv::{ByteRecord, ReaderBuilder, Trim};
use proto::v1;
use sha2::{Digest as _, Sha256};

use super::{Asked, FileTrouble, Item, REASON, Written};
use crate::json::word_of;

/// Most rows of one ticket.
const MOST_ROWS: usize = 5_000;

/// The columns that may be there.
const COLUMNS: &[&str] = &[
    "ticket",
    "site",
    "diver",
    "confirmed",
    "note",
    "weighed_at",
    "area",
    "caught_from",
    "caught_to",
    "gear",
    "landed_at",
    "landed_on",
    "vessel",
    "vessel_use",
    "dives",
    "species",
    "form",
    "storage",
    "small",
    "decision",
    "reason",
    "corrective_action",
    "grade",
    "shot",
    "unit",
    "scale",
    "gross",
    "tare",
    "tote",
    "tared",
    "iced",
    "pieces",
    "about_pieces",
    "fish",
    "request_id",
    REASON,
];
/// Those that must be there.
const MUST: &[&str] = &[
    "ticket",
    "site",
    "diver",
    "confirmed",
    "species",
    "form",
    "grade",
];
/// The same in every row of a ticket.
const OF_TICKET: &[&str] = &[
    "site",
    "diver",
    "confirmed",
    "note",
    "weighed_at",
    "area",
    "caught_from",
    "caught_to",
    "gear",
    "landed_at",
    "landed_on",
    "vessel",
    "vessel_use",
    "dives",
    "request_id",
];
/// Rows alike in these are one lot.
const OF_LOT: &[&str] = &[
    "species",
    "form",
    "storage",
    "small",
    "decision",
    "reason",
    "corrective_action",
];

/// Most bytes of a row.
const LONGEST_ROW: u64 = 1 << 20;

/// The rows of a file as text: a line each, or several where a cell in quotation
/// marks goes over them.
#[derive(Debug)]
struct Lines<R> {
    read: R,
    /// The last line that was read, from 1.
    line: u64,
}

/// Where the reading of a row stands. Only a quotation mark with which a cell begins
/// opens one; any other is a letter, such as the sign for inches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Within {
    /// A cell begins here.
    Beginning,
    /// A cell without marks, or after them.
    Plain,
    /// A cell in marks.
    Quoted,
}

impl Within {
    fn after(self, text: &[u8], delimiter: u8) -> Within {
        text.iter().fold(self, |within, byte| match (within, byte) {
            (Within::Beginning, b'"') => Within::Quoted,
            // Two of them are a mark of the cell: the second opens it again.
            (Within::Quoted, b'"') => Within::Beginning,
            (Within::Quoted, _) => Within::Quoted,
            (_, byte) if *byte == delimiter => Within::Beginning,
            _ => Within::Plain,
        })
    }
}

impl<R: BufRead> Lines<R> {
    /// The next row that is not blank, its cells between delimiters.
    fn next(&mut self, delimiter: u8) -> Result<Option<Vec<u8>>, FileTrouble> {
        loop {
            let begins = self.line + 1;
            let mut text = Vec::new();
            let mut within = Within::Beginning;
            loop {
                let begun = text.len();
                let left = LONGEST_ROW.saturating_sub(u64::try_from(begun).unwrap_or(0));
                let mut part = (&mut self.read).take(left);
                let wrong = |what: String| FileTrouble {
                    line: begins,
                    column: 1,
                    what,
                };
                let read = part
                    .read_until(b'\n', &mut text)
                    .map_err(|error| wrong(error.to_string()))?;
                within = within.after(&text[begun..], delimiter);
                let open = within == Within::Quoted;
                if left == 0 || (read == 0 && open) {
                    return Err(wrong("the row that begins here does not end".to_owned()));
                }
                if read == 0 {
                    break;
                }
                if text.last() == Some(&b'\n') {
                    self.line += 1;
                    if !open {
                        break;
                    }
                }
            }
            if text.is_empty() {
                return Ok(None);
            }
            if text.last() != Some(&b'\n') {
                self.line += 1;
            }
            if !text.iter().all(u8::is_ascii_whitespace) {
                return Ok(Some(text));
            }
        }
    }

    /// The line on which the row began that was read last.
    fn begun(&self, text: &[u8]) -> u64 {
        let within = text.iter().filter(|byte| **byte == b'\n').count();
        let ended = u64::from(text.last() == Some(&b'\n'));
        let over = u64::try_from(within).unwrap_or(0) - ended;
        self.line - over
    }
}

/// The cells of a row.
fn cells(text: &[u8], delimiter: u8, line: u64) -> Result<ByteRecord, FileTrouble> {
    let mut row = ByteRecord::new();
    let wrong = |what: String| FileTrouble {
        line,
        column: 1,
        what,
    };
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .trim(Trim::All)
        .buffer_capacity(text.len())
        .from_reader(text);
    reader
        .read_byte_record(&mut row)
        .map_err(|error| wrong(error.to_string()))?;
    let read = reader.position().byte();
    let rest = usize::try_from(read).ok().and_then(|read| text.get(read..));
    // Nothing of a file may be passed over without a word.
    if !rest.is_some_and(|rest| rest.iter().all(u8::is_ascii_whitespace)) {
        return Err(wrong("is more than one row".to_owned()));
    }
    let mut place = csv::Position::new();
    place.set_line(line);
    row.set_position(Some(place));
    Ok(row)
}

/// The tickets of a CSV file.
#[derive(Debug)]
pub(crate) struct CsvTickets<R> {
    lines: Lines<R>,
    delimiter: u8,
    header: ByteRecord,
    /// Where each column stands.
    places: BTreeMap<&'static str, usize>,
    /// Words that were looked up already: the enum, as written, the number.
    words: RefCell<Vec<(&'static str, String, i32)>>,
    /// The first row of the next ticket.
    ahead: Option<ByteRecord>,
    ended: bool,
}

impl<R> CsvTickets<R> {
    /// The names of the columns, as written.
    pub(crate) fn header(&self) -> &ByteRecord {
        &self.header
    }

    /// What separates the cells.
    pub(crate) fn delimiter(&self) -> u8 {
        self.delimiter
    }
}

impl<R: BufRead> CsvTickets<R> {
    /// Reads the header.
    pub(crate) fn new(read: R) -> Result<CsvTickets<R>, FileTrouble> {
        let at = |line: u64, what: String, column: usize| FileTrouble {
            line,
            column: u64::try_from(column).unwrap_or(u64::MAX) + 1,
            what,
        };
        let mut lines = Lines { read, line: 0 };
        // No column's name has a mark in it, whatever stands between them.
        let first = lines.next(b',')?.unwrap_or_default();
        let count = |of: u8| first.iter().filter(|byte| **byte == of).count();
        let delimiter = if count(b';') > count(b',') {
            b';'
        } else {
            b','
        };
        let line = lines.line;
        if first.contains(&0) || first.starts_with(b"\xff\xfe") || first.starts_with(b"\xfe\xff") {
            let what = "is not UTF-8 text: save it again as CSV in UTF-8";
            return Err(at(line, what.to_owned(), 0));
        }
        let header = cells(&first, delimiter, line)?;
        let names: Vec<String> = header
            .iter()
            .map(|cell| String::from_utf8_lossy(cell).to_ascii_lowercase())
            .collect();
        for (column, name) in names.iter().enumerate() {
            if !COLUMNS.contains(&name.as_str()) {
                return Err(at(
                    line,
                    format!("\"{name}\" is no column of such a file"),
                    column,
                ));
            }
            if names[..column].contains(name) {
                return Err(at(
                    line,
                    format!("the column \"{name}\" is there twice"),
                    column,
                ));
            }
        }
        if let Some(missing) = MUST
            .iter()
            .find(|must| !names.iter().any(|name| name == *must))
        {
            return Err(at(
                line,
                format!("the column \"{missing}\" is missing"),
                names.len(),
            ));
        }
        let places = COLUMNS.iter().filter_map(|column| {
            let place = names.iter().position(|name| name == column)?;
            Some((*column, place))
        });
        let places = places.collect();
        let header = ByteRecord::from(names);
        Ok(CsvTickets {
            places,
            lines,
            delimiter,
            header,
            words: RefCell::default(),
            ahead: None,
            ended: false,
        })
    }

    /// The next ticket.
    pub(crate) fn next(&mut self) -> Option<Result<Item, FileTrouble>> {
        if self.ended {
            return None;
        }
        let mut rows = Vec::new();
        loop {
            let row = match self.ahead.take() {
                Some(row) => Some(row),
                None => match self.row() {
                    Ok(row) => row,
                    Err(trouble) => {
                        self.ended = true;
                        return Some(Err(trouble));
                    }
                },
            };
            let Some(row) = row else {
                self.ended = true;
                break;
            };
            let same = rows
                .first()
                .is_none_or(|first| self.cell(first, "ticket") == self.cell(&row, "ticket"));
            if !same {
                self.ahead = Some(row);
                break;
            }
            if rows.len() == MOST_ROWS {
                self.ended = true;
                return Some(Err(FileTrouble {
                    line: line_of(&row),
                    column: 1,
                    what: format!("a ticket has more than {MOST_ROWS} rows"),
                }));
            }
            rows.push(row);
        }
        rows.first()?;
        Some(Ok(self.item(rows)))
    }

    /// The next row that is not empty.
    fn row(&mut self) -> Result<Option<ByteRecord>, FileTrouble> {
        while let Some(text) = self.lines.next(self.delimiter)? {
            let row = cells(&text, self.delimiter, self.lines.begun(&text))?;
            if !row.iter().all(<[u8]>::is_empty) {
                return Ok(Some(row));
            }
        }
        Ok(None)
    }

    fn item(&self, rows: Vec<ByteRecord>) -> Item {
        let first = rows.first();
        let ticket = first.map_or("", |row| self.cell(row, "ticket"));
        let line = first.map_or(0, line_of);
        Item {
            name: format!("line {line}, ticket {ticket}"),
            asked: self
                .request(&rows)
                .map(|request| Asked::Ticket(Box::new(request))),
            written: Written::Rows(rows),
        }
    }

    /// What stands in a column; empty where there is no such column.
    fn cell<'a>(&self, row: &'a ByteRecord, column: &str) -> &'a str {
        let at = self.places.get(column);
        at.and_then(|at| row.get(*at))
            .and_then(|cell| std::str::from_utf8(cell).ok())
            .unwrap_or("")
    }

    fn request(&self, rows: &[ByteRecord]) -> Result<v1::RecordWeighInRequest, String> {
        let first = rows.first().ok_or("there is no row")?;
        for row in rows {
            self.check(row)?;
            for column in OF_TICKET {
                let (here, there) = (self.cell(row, column), self.cell(first, column));
                if !here.is_empty() && here != there {
                    let above = line_of(first);
                    return Err(self.at(
                        row,
                        column,
                        &format!("\"{there}\" stands in line {above} of this ticket"),
                    ));
                }
            }
        }
        let ticket = self.cell(first, "ticket");
        if ticket.is_empty() {
            return Err(self.at(first, "ticket", "must be given"));
        }
        let site = self
            .number(first, "site")?
            .ok_or_else(|| self.at(first, "site", "must be given"))?;
        let request_id = match self.cell(first, "request_id") {
            "" => id_of(site, ticket),
            given => given.to_owned(),
        };
        let mut request = v1::RecordWeighInRequest {
            request_id,
            site,
            harvester: self.cell(first, "diver").to_owned(),
            landing: Some(self.landing(first)?),
            confirmation: self.word(first, "confirmed", "Confirmation")?,
            note: self.cell(first, "note").to_owned(),
            first_reading_at: match self.cell(first, "weighed_at") {
                "" => None,
                text => {
                    Some(crate::instant(text).map_err(|why| self.at(first, "weighed_at", &why))?)
                }
            },
            ..v1::RecordWeighInRequest::default()
        };
        let mut lots: Vec<&ByteRecord> = Vec::new();
        for row in rows {
            let alike = |other: &&&ByteRecord| {
                let mut columns = OF_LOT.iter();
                columns.all(|column| self.cell(row, column) == self.cell(other, column))
            };
            let at = lots.iter().position(|other| alike(&other));
            let lot = match at {
                Some(at) => &mut request.lots[at],
                None => {
                    lots.push(row);
                    request.lots.push(self.lot(row)?);
                    let last = request.lots.len() - 1;
                    &mut request.lots[last]
                }
            };
            self.weigh(row, lot)?;
        }
        Ok(request)
    }

    fn landing(&self, row: &ByteRecord) -> Result<v1::Landing, String> {
        let day = |column| match self.cell(row, column) {
            "" => Ok(None),
            text => crate::day(text)
                .map(Some)
                .map_err(|why| self.at(row, column, &why)),
        };
        let area = match self.cell(row, "area") {
            "" => Vec::new(),
            text => text
                .split(' ')
                .filter(|area| !area.is_empty())
                .map(crate::weigh_in::area)
                .collect::<Result<_, _>>()
                .map_err(|why| self.at(row, "area", &why))?,
        };
        let from = day("caught_from")?;
        Ok(v1::Landing {
            areas: area,
            harvest_from: from,
            harvest_to: day("caught_to")?.or(from),
            gear: self.cell(row, "gear").to_owned(),
            landing_place: self.cell(row, "landed_at").to_owned(),
            landed_on: day("landed_on")?,
            vessel: self.cell(row, "vessel").to_owned(),
            vessel_use: self.word(row, "vessel_use", "VesselUse")?,
            dives: self.number(row, "dives")?,
            ..v1::Landing::default()
        })
    }

    fn lot(&self, row: &ByteRecord) -> Result<v1::LotIn, String> {
        Ok(v1::LotIn {
            species: self.cell(row, "species").to_owned(),
            presentation: self.word(row, "form", "Presentation")?,
            storage: self.word(row, "storage", "Storage")?,
            small_fish: self.word(row, "small", "SmallFish")?,
            receiving: Some(v1::Receiving {
                decision: self.word(row, "decision", "Decision")?,
                reason: self.cell(row, "reason").to_owned(),
                corrective_action: self.cell(row, "corrective_action").to_owned(),
                ..v1::Receiving::default()
            }),
            ..v1::LotIn::default()
        })
    }

    /// Adds the weighing of a row; a fish joins those before it.
    fn weigh(&self, row: &ByteRecord, lot: &mut v1::LotIn) -> Result<(), String> {
        let grade = self.cell(row, "grade").to_owned();
        let condition = self.word(row, "shot", "Condition")?;
        if let Some(fish) = self.reading(row, "fish")? {
            for column in ["gross", "tare", "tote", "tared", "pieces", "about_pieces"] {
                if !self.cell(row, column).is_empty() {
                    return Err(self.at(row, column, "a fish by itself has none"));
                }
            }
            if let Some(last) = lot.weighings.last_mut()
                && last.grade == grade
                && last.condition == condition
                && let Some(v1::weighing::Weighed::Pieces(pieces)) = &mut last.weighed
            {
                pieces.pieces.push(fish);
                return Ok(());
            }
            lot.weighings.push(v1::Weighing {
                grade,
                condition,
                weighed: Some(v1::weighing::Weighed::Pieces(v1::PieceWeighing {
                    pieces: vec![fish],
                })),
            });
            return Ok(());
        }
        let Some(gross) = self.reading(row, "gross")? else {
            return Err(self.at(row, "gross", "gross or fish must be given"));
        };
        let mut tares = Vec::new();
        if let Some(tare) = self.reading(row, "tare")? {
            tares.push(v1::tote_weighing::Tare::TareReading(tare));
        }
        if !self.cell(row, "tote").is_empty() {
            let tote = self.cell(row, "tote").to_owned();
            tares.push(v1::tote_weighing::Tare::Tote(tote));
        }
        if self.yes(row, "tared")? {
            tares.push(v1::tote_weighing::Tare::Tared(true));
        }
        if tares.len() != 1 {
            return Err(self.at(row, "gross", "one of tare, tote and tared must go with it"));
        }
        let (counted, guessed) = (
            self.number(row, "pieces")?,
            self.number(row, "about_pieces")?,
        );
        if counted.is_some() && guessed.is_some() {
            return Err(self.at(
                row,
                "about_pieces",
                "they were counted, says the column pieces",
            ));
        }
        lot.weighings.push(v1::Weighing {
            grade,
            condition,
            weighed: Some(v1::weighing::Weighed::Tote(v1::ToteWeighing {
                gross: Some(gross),
                tare: tares.pop(),
                iced: self.yes(row, "iced")?,
                pieces: counted.or(guessed),
                pieces_estimated: guessed.is_some(),
            })),
        });
        Ok(())
    }

    /// Cells are text, and there are as many as columns.
    fn check(&self, row: &ByteRecord) -> Result<(), String> {
        let line = line_of(row);
        let wrong = row
            .iter()
            .position(|cell| cell.contains(&0) || std::str::from_utf8(cell).is_err());
        if let Some(at) = wrong {
            return Err(format!("line {line}, column {}: is not UTF-8 text", at + 1));
        }
        if row.len() != self.header.len() {
            return Err(format!(
                "line {line}, column {}: the row has {} cells, and there are {} columns",
                row.len().min(self.header.len()) + 1,
                row.len(),
                self.header.len()
            ));
        }
        Ok(())
    }

    fn at(&self, row: &ByteRecord, column: &str, what: &str) -> String {
        let place = self.places.get(column);
        let place = place.map_or_else(String::new, |at| format!("{} ", at + 1));
        format!("line {}, column {place}({column}): {what}", line_of(row))
    }

    /// The number of a word of the contract; each is looked up once in a file.
    fn word(&self, row: &ByteRecord, column: &str, of: &'static str) -> Result<i32, String> {
        let text = self.cell(row, column);
        if text.is_empty() {
            return Ok(0);
        }
        let mut found = self.words.borrow_mut();
        if let Some((.., number)) = found.iter().find(|(o, t, _)| *o == of && t == text) {
            return Ok(*number);
        }
        let word = word_of(of, text).map_err(|why| self.at(row, column, &why))?;
        let number = crate::json::number_of(of, &word);
        found.push((of, text.to_owned(), number));
        Ok(number)
    }

    fn number(&self, row: &ByteRecord, column: &str) -> Result<Option<i32>, String> {
        match self.cell(row, column) {
            "" => Ok(None),
            text => match text.parse() {
                Ok(number) => Ok(Some(number)),
                Err(_) => Err(self.at(row, column, &format!("\"{text}\" is not a whole number"))),
            },
        }
    }

    fn yes(&self, row: &ByteRecord, column: &str) -> Result<bool, String> {
        match self.cell(row, column) {
            "" | "no" | "0" | "false" => Ok(false),
            "yes" | "1" | "true" | "x" => Ok(true),
            text => Err(self.at(row, column, &format!("\"{text}\" is not yes or no"))),
        }
    }

    fn reading(&self, row: &ByteRecord, column: &str) -> Result<Option<v1::Reading>, String> {
        let text = self.cell(row, column);
        if text.is_empty() {
            return Ok(None);
        }
        let decimal = decimal(text, self.delimiter).map_err(|why| self.at(row, column, &why))?;
        Ok(Some(v1::Reading {
            decimal,
            unit: match self.word(row, "unit", "WeightUnit")? {
                0 => v1::WeightUnit::Lb.into(),
                unit => unit,
            },
            scale: self.cell(row, "scale").to_owned(),
            source: v1::ReadingSource::Keyed.into(),
        }))
    }
}

fn line_of(row: &ByteRecord) -> u64 {
    row.position().map_or(1, csv::Position::line)
}

/// A decimal with a point, as the contract writes it.
fn decimal(text: &str, delimiter: u8) -> Result<String, String> {
    let point = match (text.contains('.'), text.contains(',')) {
        (_, false) => text.to_owned(),
        (true, true) => return Err(format!("\"{text}\": leave out what separates thousands")),
        (false, true) if delimiter == b';' => text.replace(',', "."),
        (false, true) => {
            return Err(format!(
                "\"{text}\": a decimal comma needs semicolons between the cells"
            ));
        }
    };
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let plain = match point.split_once('.') {
        None => digits(&point),
        Some((whole, places)) => digits(whole) && digits(places),
    };
    if plain {
        Ok(point)
    } else {
        Err(format!("\"{text}\" is not a decimal number such as 45.60"))
    }
}

/// The request id of a ticket's number: the same whenever it is sent.
fn id_of(site: i32, ticket: &str) -> String {
    let digest = Sha256::digest(format!("weighhouse csv ticket\n{site}\n{ticket}"));
    let mut bytes = [0; 16];
    for (to, from) in bytes.iter_mut().zip(digest) {
        *to = from;
    }
    uuid::Builder::from_custom_bytes(bytes)
        .into_uuid()
        .to_string()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
