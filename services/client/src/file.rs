//! Files of deeds, read one item at a time: however long a file is, only the
//! item at hand is in memory.
//!
//! A file is JSON, a list of steps or one step after the other, or CSV with one
//! weighing a row. A mark at its beginning (BOM), CRLF and empty lines make no
//! difference. What cannot be read is said with its line and column.

pub(crate) mod csv;
pub(crate) mod json;

use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;

use ::csv::ByteRecord;
use proto::v1;
use serde_json::Value;

use self::csv::CsvTickets;
use self::json::JsonItems;

/// What a file has wrong, and where. Nothing after it can be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: {what}")]
pub(crate) struct FileTrouble {
    /// From 1.
    pub(crate) line: u64,
    /// From 1.
    pub(crate) column: u64,
    /// What is wrong there.
    pub(crate) what: String,
}

/// One deed of a file.
#[derive(Debug)]
pub(crate) struct Item {
    /// How it is called in messages: its line, and its label or ticket.
    pub(crate) name: String,
    /// What is asked, or why it cannot be read.
    pub(crate) asked: Result<Asked, String>,
    /// As it stood in the file.
    pub(crate) written: Written,
}

/// What an item asks for.
#[derive(Debug)]
pub(crate) enum Asked {
    /// A step of a JSON file.
    Step(Value),
    /// A ticket of a CSV file.
    Ticket(Box<v1::RecordWeighInRequest>),
}

/// An item as it stood in its file.
#[derive(Debug)]
pub(crate) enum Written {
    /// A JSON value.
    Json(Value),
    /// Text that is no JSON value.
    Unread(Vec<u8>),
    /// Rows.
    Rows(Vec<ByteRecord>),
}

/// A file of either kind.
pub(crate) enum Items<R> {
    /// JSON.
    Json(JsonItems<R>),
    /// CSV.
    Csv(Box<CsvTickets<R>>),
}

impl Items<BufReader<File>> {
    /// Opens a file; by what it begins with it is JSON or CSV.
    pub(crate) fn open(path: &Path) -> Result<Items<BufReader<File>>, String> {
        let file = File::open(path).map_err(|error| error.to_string())?;
        Items::of(BufReader::with_capacity(1 << 16, file)).map_err(|error| error.to_string())
    }
}

impl<R: BufRead> Items<R> {
    /// The items of what is read.
    pub(crate) fn of(mut read: R) -> Result<Items<R>, FileTrouble> {
        let unreadable = |error: std::io::Error| FileTrouble {
            line: 1,
            column: 1,
            what: error.to_string(),
        };
        let bom = read
            .fill_buf()
            .map_err(unreadable)?
            .starts_with(b"\xef\xbb\xbf");
        if bom {
            read.consume(3);
        }
        let begins = read.fill_buf().map_err(unreadable)?;
        let first = begins.iter().find(|byte| !byte.is_ascii_whitespace());
        match first {
            None | Some(b'[' | b'{') => Ok(Items::Json(JsonItems::new(read))),
            Some(_) => CsvTickets::new(read).map(|tickets| Items::Csv(Box::new(tickets))),
        }
    }

    /// The next item; after trouble there is none.
    pub(crate) fn next(&mut self) -> Option<Result<Item, FileTrouble>> {
        match self {
            Items::Json(items) => items.next(),
            Items::Csv(tickets) => tickets.next(),
        }
    }

    /// A file of the same kind, for the items that failed.
    pub(crate) fn failed(&self, path: &Path) -> std::io::Result<Failed> {
        let file = File::create(path)?;
        Ok(match self {
            Items::Json(items) => Failed::json(Box::new(file), items.is_list()),
            Items::Csv(tickets) => Failed::csv(Box::new(file), tickets)?,
        })
    }
}

/// The items that failed, in the format of their file, each with the reason.
pub(crate) enum Failed {
    /// JSON.
    Json {
        /// Where it goes.
        out: Box<dyn Write + Send>,
        /// A list, and not one after the other.
        list: bool,
        /// Items so far.
        n: u64,
    },
    /// CSV.
    Csv {
        /// Where it goes.
        out: Box<::csv::Writer<Box<dyn Write + Send>>>,
        /// Cells of the header, without the reason.
        width: usize,
        /// Column of the reason.
        reason: usize,
    },
}

/// Column and field of the reason.
pub(crate) const REASON: &str = "failed";

impl Failed {
    fn json(out: Box<dyn Write + Send>, list: bool) -> Failed {
        Failed::Json { out, list, n: 0 }
    }

    fn csv<R>(out: Box<dyn Write + Send>, tickets: &CsvTickets<R>) -> std::io::Result<Failed> {
        let mut header = tickets.header().clone();
        let reason = header.iter().position(|cell| cell == REASON.as_bytes());
        let width = header.len();
        if reason.is_none() {
            header.push_field(REASON.as_bytes());
        }
        let mut out = ::csv::WriterBuilder::new()
            .delimiter(tickets.delimiter())
            .flexible(true)
            .from_writer(out);
        out.write_byte_record(&header)?;
        Ok(Failed::Csv {
            out: Box::new(out),
            width,
            reason: reason.unwrap_or(width),
        })
    }

    /// One more.
    pub(crate) fn put(&mut self, written: &Written, why: &str) -> std::io::Result<()> {
        match (self, written) {
            (Failed::Json { out, list, n }, written) => {
                let text = match written {
                    Written::Json(value) => {
                        let mut value = value.clone();
                        if let Some(fields) = value.as_object_mut() {
                            fields.insert(REASON.to_owned(), why.into());
                            // A clock never goes back, and this instant has passed.
                            fields.remove("at");
                        }
                        value.to_string().into_bytes()
                    }
                    Written::Unread(bytes) => bytes.clone(),
                    Written::Rows(_) => return Ok(()),
                };
                let before: &[u8] = match (*list, *n) {
                    (true, 0) => b"[\n",
                    (true, _) => b",\n",
                    (false, _) => b"",
                };
                out.write_all(before)?;
                out.write_all(&text)?;
                if !*list {
                    out.write_all(b"\n")?;
                }
                *n += 1;
                Ok(())
            }
            (Failed::Csv { out, width, reason }, Written::Rows(rows)) => {
                for row in rows {
                    let mut cells: Vec<&[u8]> = row.iter().collect();
                    cells.resize(cells.len().max(*width).max(*reason + 1), b"");
                    cells[*reason] = why.as_bytes();
                    out.write_record(cells)?;
                }
                // Whatever was told is in the file, wherever the sending is cut.
                out.flush()
            }
            (Failed::Csv { .. }, Written::Json(_) | Written::Unread(_)) => Ok(()),
        }
    }

    /// Nothing more comes.
    pub(crate) fn done(&mut self) -> std::io::Result<()> {
        match self {
            Failed::Json { out, list, n } => {
                match (*list, *n) {
                    (true, 0) => out.write_all(b"[]\n")?,
                    (true, _) => out.write_all(b"\n]\n")?,
                    (false, _) => {}
                }
                out.flush()
            }
            Failed::Csv { out, .. } => out.flush(),
        }
    }
}
