//! Values on their way in and out: whole numbers, text and bytes, on either engine.

use sqlx::postgres::{PgArguments, PgRow};
use sqlx::sqlite::{SqliteArguments, SqliteRow};
use sqlx::{Arguments as _, Column as _, Row as _, TypeInfo as _, ValueRef as _};

use super::error::EngineError;
use crate::table::Table;

/// A value to bind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Val<'a> {
    /// A whole number.
    Int(i64),
    /// Text.
    Text(&'a str),
    /// Bytes.
    Bytes(&'a [u8]),
}

impl From<i64> for Val<'_> {
    fn from(int: i64) -> Self {
        Val::Int(int)
    }
}

impl<'a> From<&'a str> for Val<'a> {
    fn from(text: &'a str) -> Self {
        Val::Text(text)
    }
}

impl<'a> From<&'a String> for Val<'a> {
    fn from(text: &'a String) -> Self {
        Val::Text(text)
    }
}

impl<'a> From<&'a [u8]> for Val<'a> {
    fn from(bytes: &'a [u8]) -> Self {
        Val::Bytes(bytes)
    }
}

/// A value as it came back.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Field {
    Null,
    Int(i64),
    Text(String),
    Bytes(Vec<u8>),
}

/// A row as it came back, columns counted from 0.
///
/// The types of a result follow from its statement (SQLite's tables are STRICT), so
/// asking for another type than the statement gives is a mistake in the program, and
/// panics like an index out of bounds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record(Vec<Field>);

impl Record {
    /// What is in column `i`, of whatever kind; nothing where it is NULL.
    #[must_use]
    pub fn val(&self, i: usize) -> Option<Val<'_>> {
        match self.0.get(i)? {
            Field::Null => None,
            Field::Int(int) => Some(Val::Int(*int)),
            Field::Text(text) => Some(Val::Text(text)),
            Field::Bytes(bytes) => Some(Val::Bytes(bytes)),
        }
    }

    /// The whole number in column `i`; a PostgreSQL sum or boolean is one too.
    ///
    /// # Panics
    /// If the statement gives something else there.
    #[track_caller]
    pub fn int(&self, i: usize) -> i64 {
        match &self.0[i] {
            Field::Int(int) => *int,
            other => panic!("column {i} is no whole number: {other:?}"),
        }
    }

    /// The text in column `i`.
    ///
    /// # Panics
    /// If the statement gives something else there.
    #[track_caller]
    pub fn text(&self, i: usize) -> &str {
        match &self.0[i] {
            Field::Text(text) => text,
            other => panic!("column {i} is no text: {other:?}"),
        }
    }

    /// The bytes in column `i`.
    ///
    /// # Panics
    /// If the statement gives something else there.
    #[track_caller]
    pub fn bytes(&self, i: usize) -> &[u8] {
        match &self.0[i] {
            Field::Bytes(bytes) => bytes,
            other => panic!("column {i} is no bytes: {other:?}"),
        }
    }

    /// Whether column `i` is NULL, as an outer join or a maximum of nothing gives it.
    #[track_caller]
    pub fn is_null(&self, i: usize) -> bool {
        self.0[i] == Field::Null
    }

    /// The whole number in column `i`, or nothing where it is NULL.
    ///
    /// # Panics
    /// If the statement gives something else there.
    #[track_caller]
    pub fn maybe_int(&self, i: usize) -> Option<i64> {
        (!self.is_null(i)).then(|| self.int(i))
    }

    /// The text in column `i`, or nothing where it is NULL.
    ///
    /// # Panics
    /// If the statement gives something else there.
    #[track_caller]
    pub fn maybe_text(&self, i: usize) -> Option<&str> {
        (!self.is_null(i)).then(|| self.text(i))
    }
}

pub(super) fn sqlite_arguments(binds: &[Val<'_>]) -> Result<SqliteArguments, EngineError> {
    let mut arguments = SqliteArguments::default();
    arguments.reserve(binds.len(), 0);
    for bind in binds {
        match *bind {
            Val::Int(int) => arguments.add(int),
            Val::Text(text) => arguments.add(text),
            Val::Bytes(bytes) => arguments.add(bytes),
        }
        .map_err(sqlx::Error::Encode)?;
    }
    Ok(arguments)
}

pub(super) fn postgres_arguments(binds: &[Val<'_>]) -> Result<PgArguments, EngineError> {
    let mut arguments = PgArguments::default();
    for bind in binds {
        match *bind {
            Val::Int(int) => arguments.add(int),
            Val::Text(text) => arguments.add(text),
            Val::Bytes(bytes) => arguments.add(bytes),
        }
        .map_err(sqlx::Error::Encode)?;
    }
    Ok(arguments)
}

/// One array for each column of `table`; a column's values are of one kind.
pub(super) fn columns_as_arrays(
    table: &Table,
    vals: &[Val<'_>],
) -> Result<PgArguments, EngineError> {
    let width = table.columns.len();
    let rows = vals.len() / width;
    let mut arguments = PgArguments::default();
    for (i, name) in table.columns.iter().enumerate() {
        let (mut ints, mut texts, mut bytes) = (Vec::new(), Vec::new(), Vec::new());
        for val in vals.iter().skip(i).step_by(width) {
            match *val {
                Val::Int(int) => ints.push(int),
                Val::Text(text) => texts.push(text),
                Val::Bytes(blob) => bytes.push(blob),
            }
        }
        if ints.len() == rows {
            arguments.add(ints)
        } else if texts.len() == rows {
            arguments.add(texts)
        } else if bytes.len() == rows {
            arguments.add(bytes)
        } else {
            Err(format!("{}.{name} is given values of several kinds", table.name).into())
        }
        .map_err(sqlx::Error::Encode)?;
    }
    Ok(arguments)
}

pub(super) fn sqlite_record(sql: &str, row: &SqliteRow) -> Result<Record, EngineError> {
    let fields = (0..row.len()).map(|i| {
        let value = row.try_get_raw(i)?;
        if value.is_null() {
            return Ok(Field::Null);
        }
        let kind = value.type_info();
        match kind.name() {
            "INTEGER" => Ok(Field::Int(row.try_get_unchecked(i)?)),
            "TEXT" => Ok(Field::Text(row.try_get_unchecked(i)?)),
            "BLOB" => Ok(Field::Bytes(row.try_get_unchecked(i)?)),
            kind => Err(corrupt(sql, row.column(i).name(), kind)),
        }
    });
    fields.collect::<Result<_, _>>().map(Record)
}

pub(super) fn postgres_record(sql: &str, row: &PgRow) -> Result<Record, EngineError> {
    let fields = (0..row.len()).map(|i| {
        let value = row.try_get_raw(i)?;
        if value.is_null() {
            return Ok(Field::Null);
        }
        let kind = value.type_info();
        match kind.name() {
            "INT8" => Ok(Field::Int(row.try_get_unchecked(i)?)),
            "INT4" => Ok(Field::Int(row.try_get_unchecked::<i32, _>(i)?.into())),
            "INT2" => Ok(Field::Int(row.try_get_unchecked::<i16, _>(i)?.into())),
            "BOOL" => Ok(Field::Int(row.try_get_unchecked::<bool, _>(i)?.into())),
            "TEXT" | "VARCHAR" | "NAME" => Ok(Field::Text(row.try_get_unchecked(i)?)),
            "BYTEA" => Ok(Field::Bytes(row.try_get_unchecked(i)?)),
            // SUM over BIGINT.
            "NUMERIC" => value
                .as_bytes()
                .ok()
                .and_then(whole_number)
                .map(Field::Int)
                .ok_or_else(|| corrupt(sql, row.column(i).name(), "NUMERIC")),
            kind => Err(corrupt(sql, row.column(i).name(), kind)),
        }
    });
    fields.collect::<Result<_, _>>().map(Record)
}

fn corrupt(sql: &str, column: &str, kind: &str) -> EngineError {
    EngineError::Corrupt {
        sql: sql.to_owned(),
        column: column.to_owned(),
        kind: kind.to_owned(),
    }
}

/// A NUMERIC as PostgreSQL sends it (src/backend/utils/adt/numeric.c, numeric_send):
/// how many digits, the power of 10,000 of the first, the sign, the scale shown, the
/// digits to base 10,000. Nothing when it is no whole number or no i64.
fn whole_number(bytes: &[u8]) -> Option<i64> {
    let mut words = bytes
        .chunks_exact(2)
        .map(|word| i16::from_be_bytes([word[0], word[1]]));
    let (digits, weight, sign, _scale) =
        (words.next()?, words.next()?, words.next()?, words.next()?);
    let mut magnitude: i128 = 0;
    for place in 0..=weight.max(-1) {
        let digit = if place < digits { words.next()? } else { 0 };
        magnitude = magnitude.checked_mul(10_000)?.checked_add(digit.into())?;
    }
    if words.next().is_some() {
        return None; // a fraction
    }
    match sign {
        0 => i64::try_from(magnitude).ok(),
        0x4000 => i64::try_from(-magnitude).ok(),
        _ => None, // not a number, or infinite
    }
}

#[cfg(test)]
mod tests {
    use super::whole_number;

    /// A NUMERIC as it is sent: weight, sign, scale, digits to base 10,000.
    fn check(weight: i16, sign: i16, scale: i16, digits: &[i16], expected: Option<i64>) {
        let count = i16::try_from(digits.len()).expect("few digits");
        let words = [count, weight, sign, scale];
        let words = words.iter().chain(digits);
        let bytes: Vec<u8> = words.flat_map(|word| word.to_be_bytes()).collect();
        assert_eq!(whole_number(&bytes), expected, "{digits:?} at {weight}");
    }

    #[test]
    fn a_sum_is_read_exactly_or_not_at_all() {
        let (plus, minus, nan) = (0, 0x4000, -0x4000);
        check(0, plus, 0, &[], Some(0));
        check(0, plus, 0, &[1], Some(1));
        check(0, minus, 0, &[9999], Some(-9999));
        check(1, plus, 0, &[1], Some(10_000)); // zeros at the end are not sent
        check(2, plus, 0, &[1, 0, 7], Some(100_000_007));
        check(4, plus, 0, &[922, 3372, 368, 5477, 5807], Some(i64::MAX));
        check(4, minus, 0, &[922, 3372, 368, 5477, 5808], Some(i64::MIN));
        check(4, plus, 0, &[922, 3372, 368, 5477, 5808], None);
        check(131, plus, 0, &[1], None); // 10^524
        check(0, plus, 2, &[1], Some(1)); // 1.00
        check(0, plus, 2, &[1, 5000], None); // 1.50
        check(-1, plus, 1, &[5000], None); // 0.5
        check(0, nan, 0, &[], None);
    }
}
