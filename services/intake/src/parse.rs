//! Parsing at the door: from the wire to the rules' types.
//!
//! Whatever cannot be right is refused here with the path of its field and the
//! rule it breaks, before anything is looked up. Past the door nothing is a bare
//! number or text. What depends on the book is decided at the desk.

#[cfg(test)]
mod any_deed;
pub(crate) mod codes;
pub(crate) mod judging;
pub(crate) mod keys;
pub(crate) mod office;
pub(crate) mod outlet;
pub(crate) mod receiving;
pub(crate) mod settle;
pub(crate) mod stock;
pub(crate) mod tally;
pub(crate) mod weigh_in;

use desk::DeskError;
use prost_types::Timestamp;
use proto::google::r#type::Date;
use proto::v1;
use rules::business_day::date_of;
use rules::decimal;
use rules::fish::Grade;
use rules::ids::{EntryId, LotCode, is_code};
use rules::money::{Currency, Money, UnitPrice};
use rules::receiving::Length;
use rules::ticket::Temperature;
use rules::weight::{Reading, ReadingSource, WeightUnit};
use rules::yield_answer::YieldAnswerAsked;
use uuid::Uuid;

use crate::codes::Coded;

/// Most characters of a text.
const LONGEST_TEXT: usize = 200;

/// Largest amount of money, in hundredths: ten thousand million.
const LARGEST_MINOR: u64 = 1_000_000_000_000;

/// Most business days looked through at once.
const MOST_DAYS: i64 = 366;

/// Last year of a day taken: entry ids of later ones would not fit.
const LAST_YEAR: i32 = 9000;
/// Last instant taken, seconds since 1970 UTC: the end of the year 9999.
const LAST_SECOND: i64 = 253_402_300_799;

/// A request that asks for a deed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Asked<T> {
    /// UUID in lower case.
    pub(crate) request_id: String,
    /// What is asked.
    pub(crate) what: T,
}

/// A field that cannot be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Bad {
    /// Path from where it was found; empty is the very thing that was parsed.
    pub(crate) field: String,
    /// Stable word for programs.
    pub(crate) reason: &'static str,
    /// The rule it breaks, as the rest of a sentence about the field.
    pub(crate) rule: String,
}

impl Bad {
    /// What was given is wrong.
    pub(crate) fn rule(rule: impl Into<String>) -> Bad {
        Bad {
            field: String::new(),
            reason: "INVALID_FIELD",
            rule: rule.into(),
        }
    }

    /// Nothing was given.
    pub(crate) fn missing(rule: impl Into<String>) -> Bad {
        Bad {
            reason: "MISSING_FIELD",
            ..Bad::rule(rule)
        }
    }
}

impl From<Bad> for DeskError {
    fn from(bad: Bad) -> DeskError {
        DeskError::Malformed {
            field: bad.field,
            reason: bad.reason,
            rule: bad.rule,
        }
    }
}

/// Says where something bad was found, on its way up.
pub(crate) trait At {
    /// In this field.
    fn at(self, field: &str) -> Self;
}

impl<T> At for Result<T, Bad> {
    fn at(self, field: &str) -> Self {
        self.map_err(|bad| {
            let joint = if bad.field.is_empty() || bad.field.starts_with('[') {
                ""
            } else {
                "."
            };
            Bad {
                field: format!("{field}{joint}{}", bad.field),
                ..bad
            }
        })
    }
}

/// Parses each item of a list of at most `most`.
pub(crate) fn each<A, B>(
    items: Vec<A>,
    most: usize,
    mut parse: impl FnMut(A) -> Result<B, Bad>,
) -> Result<Vec<B>, Bad> {
    if items.len() > most {
        return Err(Bad::rule(format!(
            "has {} items; at most {most} may stand",
            items.len()
        )));
    }
    items
        .into_iter()
        .enumerate()
        .map(|(i, item)| parse(item).at(&format!("[{i}]")))
        .collect()
}

/// The same, and one must stand.
pub(crate) fn some_of<A, B>(
    items: Vec<A>,
    most: usize,
    parse: impl FnMut(A) -> Result<B, Bad>,
) -> Result<Vec<B>, Bad> {
    if items.is_empty() {
        return Err(Bad::missing("at least one must be given"));
    }
    each(items, most, parse)
}

/// A message that must be given.
pub(crate) fn given<T>(message: Option<T>) -> Result<T, Bad> {
    message.ok_or_else(|| Bad::missing("must be given"))
}

/// A word that may be left out.
pub(crate) fn word<T: Coded>(number: i32) -> Result<Option<T>, Bad> {
    T::from_wire(number).map_err(|_| Bad::rule(format!("{number} is not one of its values")))
}

/// A word that must be said.
pub(crate) fn said<T: Coded>(number: i32) -> Result<T, Bad> {
    word(number)?.ok_or_else(|| Bad::missing("must be said"))
}

/// Id of a request, kept in lower case.
pub(crate) fn request_id(text: &str) -> Result<String, Bad> {
    if text.is_empty() {
        return Err(Bad::missing("must be given: a UUID made by the sender")).at("request_id");
    }
    // 36 characters: with hyphens, without braces.
    match Uuid::try_parse(text) {
        Ok(uuid) if text.len() == 36 && !uuid.is_nil() => Ok(uuid.to_string()),
        _ => Err(Bad::rule(
            "is not a UUID such as 0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90",
        ))
        .at("request_id"),
    }
}

/// Text as written; it may be empty.
pub(crate) fn text(text: String) -> Result<String, Bad> {
    if text.chars().nth(LONGEST_TEXT).is_some() {
        return Err(Bad::rule(format!(
            "is longer than {LONGEST_TEXT} characters"
        )));
    }
    if text.chars().any(char::is_control) {
        return Err(Bad::rule("has a control character in it"));
    }
    Ok(text)
}

/// Text that must say something.
pub(crate) fn name(written: String) -> Result<String, Bad> {
    if written.trim().is_empty() {
        return Err(Bad::missing("must not be empty"));
    }
    text(written)
}

/// A code of somebody else's list, as written; it may be empty.
pub(crate) fn foreign_code(written: String) -> Result<String, Bad> {
    if written.trim() != written {
        return Err(Bad::rule("has a space before or after it"));
    }
    text(written)
}

/// A code the office chose.
pub(crate) fn code(written: String) -> Result<String, Bad> {
    if written.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    if !is_code(&written) {
        return Err(Bad::rule(
            "is not 1 to 24 of a-z, 0-9 and \"-\", with no \"-\" at either end",
        ));
    }
    Ok(written)
}

/// A code the office chose, or nothing.
pub(crate) fn code_or_none(written: String) -> Result<String, Bad> {
    if written.is_empty() {
        Ok(written)
    } else {
        code(written)
    }
}

/// ASFIS 3-alpha code of a species.
pub(crate) fn species(written: String) -> Result<String, Bad> {
    if written.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    if written.len() != 3 || !written.bytes().all(|b| b.is_ascii_uppercase()) {
        return Err(Bad::rule(
            "is not three letters A-Z, an ASFIS code such as PZO",
        ));
    }
    Ok(written)
}

/// ASFIS 3-alpha code of a species, or nothing.
pub(crate) fn species_or_none(written: String) -> Result<String, Bad> {
    if written.is_empty() {
        Ok(written)
    } else {
        species(written)
    }
}

/// Number of a site.
pub(crate) fn site(number: i32) -> Result<i64, Bad> {
    if !(1..=9999).contains(&number) {
        return Err(Bad::rule("is not a site number, 1 to 9999")).at("site");
    }
    Ok(i64::from(number))
}

/// A whole number from `least` to `most`.
pub(crate) fn count(number: i32, least: i32, most: i32) -> Result<i64, Bad> {
    if !(least..=most).contains(&number) {
        return Err(Bad::rule(format!(
            "is not a whole number from {least} to {most}"
        )));
    }
    Ok(i64::from(number))
}

/// A grade.
pub(crate) fn grade(written: &str) -> Result<Grade, Bad> {
    if written.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    Grade::new(written).ok_or_else(|| Bad::rule("is not 1 to 8 of A-Z and 0-9"))
}

/// Id of an entry.
pub(crate) fn entry_id(written: &str) -> Result<i64, Bad> {
    if written.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    EntryId::parse(written)
        .map(EntryId::number)
        .ok_or_else(|| Bad::rule("is not the 19 digits of an entry's id"))
}

/// Code of a lot.
pub(crate) fn lot_code(written: &str) -> Result<LotCode, Bad> {
    if written.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    LotCode::parse(written).ok_or_else(|| Bad::rule("is not the 20 characters of a lot's code"))
}

/// A day of the calendar as its number, `YYYYMMDD`.
pub(crate) fn day(date: Date) -> Result<i64, Bad> {
    let month = count(date.month, 1, 12).at("month")?;
    let of_month = count(date.day, 1, 31).at("day")?;
    let number = count(date.year, 1000, LAST_YEAR).at("year")? * 10_000 + month * 100 + of_month;
    match date_of(number) {
        Some(_) => Ok(number),
        None => Err(Bad::rule("is not a day of the calendar")),
    }
}

/// A day of the calendar, where one is given.
pub(crate) fn date_or_none(date: Option<Date>) -> Result<Option<Calendar>, Bad> {
    date.map(|date| date_of(day(date)?).ok_or_else(|| Bad::rule("is not a day of the calendar")))
        .transpose()
}

/// A calendar date as the rules hold it.
pub(crate) type Calendar = chrono::NaiveDate;

/// First and last day, in that order where both are given.
pub(crate) fn dates(
    from: Option<Date>,
    to: Option<Date>,
) -> Result<(Option<Calendar>, Option<Calendar>), Bad> {
    let from = date_or_none(from).at("harvest_from")?;
    let to = date_or_none(to).at("harvest_to")?;
    if let (Some(first), Some(last)) = (from, to)
        && last < first
    {
        return Err(Bad::rule(format!("{last} is before harvest_from, {first}"))).at("harvest_to");
    }
    Ok((from, to))
}

/// Business days `[from, to)`.
pub(crate) fn days(from: Option<Date>, to: Option<Date>) -> Result<(i64, i64), Bad> {
    let from = given(from).and_then(day).at("from")?;
    let to = given(to).and_then(day).at("to")?;
    in_order(from, to)
}

/// An answer to what is told of a yield.
pub(crate) fn yield_answer(
    request: v1::AnswerYieldRequest,
) -> Result<Asked<YieldAnswerAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = site(request.site)?;
    let (from, to) = days(request.from, request.to)?;
    Ok(Asked {
        request_id,
        what: YieldAnswerAsked {
            site,
            supplier: code(request.supplier).at("supplier")?,
            species: species(request.species).at("species")?,
            from,
            to,
            text: name(request.text).at("text")?,
        },
    })
}

/// Business days `[from, to)`, a year of them at most.
pub(crate) fn days_of_a_year(from: Option<Date>, to: Option<Date>) -> Result<(i64, i64), Bad> {
    let (from, to) = days(from, to)?;
    match (date_of(from), date_of(to)) {
        (Some(first), Some(end)) if (end - first).num_days() <= MOST_DAYS => Ok((from, to)),
        _ => Err(Bad::rule(format!(
            "is more than {MOST_DAYS} days after from"
        )))
        .at("to"),
    }
}

/// Business days `[from, to)`; a bound left out has no end.
pub(crate) fn days_or_all(from: Option<Date>, to: Option<Date>) -> Result<(i64, i64), Bad> {
    let bound = |date: Option<Date>, open| date.map_or(Ok(open), day);
    in_order(bound(from, 0).at("from")?, bound(to, i64::MAX).at("to")?)
}

fn in_order(from: i64, to: i64) -> Result<(i64, i64), Bad> {
    if to <= from {
        return Err(Bad::rule(
            "must be after from: the last day asked for is the one before it",
        ))
        .at("to");
    }
    Ok((from, to))
}

/// An instant, microseconds since 1970 UTC; what is finer is cut off.
pub(crate) fn instant(timestamp: Timestamp) -> Result<i64, Bad> {
    if !(0..=LAST_SECOND).contains(&timestamp.seconds) {
        return Err(Bad::rule("is not in the years 1970 to 9999")).at("seconds");
    }
    if !(0..1_000_000_000).contains(&timestamp.nanos) {
        return Err(Bad::rule("is not from 0 to 999999999")).at("nanos");
    }
    Ok(timestamp.seconds * 1_000_000 + i64::from(timestamp.nanos / 1000))
}

/// An instant, where one is given.
pub(crate) fn instant_or_none(timestamp: Option<Timestamp>) -> Result<Option<i64>, Bad> {
    timestamp.map(instant).transpose()
}

/// What a scale showed.
pub(crate) fn reading(reading: v1::Reading) -> Result<Reading, Bad> {
    let unit: WeightUnit = said(reading.unit).at("unit")?;
    let scale = code_or_none(reading.scale).at("scale")?;
    let source = word(reading.source)
        .at("source")?
        .unwrap_or(ReadingSource::Keyed);
    plain(&reading.decimal, |text| {
        Reading::new(text, unit, &scale, source)
    })
    .at("decimal")
}

/// A reading above zero.
pub(crate) fn reading_above_zero(written: v1::Reading) -> Result<Reading, Bad> {
    let read = reading(written)?;
    if read.weight.is_zero() {
        return Err(Bad::rule("must be above zero")).at("decimal");
    }
    Ok(read)
}

/// Decimal text as whatever `read` makes of it; it must be given.
pub(crate) fn plain<T, E: std::fmt::Display>(
    text: &str,
    read: impl FnOnce(&str) -> Result<T, E>,
) -> Result<T, Bad> {
    if text.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    read(text).map_err(|e| Bad::rule(e.to_string()))
}

/// Percent as ppm, from `least` to 100 %.
pub(crate) fn percent(text: &str, least: i64) -> Result<i64, Bad> {
    let ppm = plain(text, rules::office::percent_ppm)?;
    if !(least..=1_000_000).contains(&ppm) {
        return Err(Bad::rule(format!(
            "is not from {} to 100 percent",
            least / 10_000
        )));
    }
    Ok(ppm)
}

/// A currency.
pub(crate) fn currency(code: &str) -> Result<Currency, Bad> {
    if code.is_empty() {
        return Err(Bad::missing("must be given"));
    }
    Currency::new(code)
        .ok_or_else(|| Bad::rule("is not an ISO 4217 code of a currency counted in hundredths"))
}

/// An amount of the site's money.
pub(crate) fn money(money: &v1::Money, of_site: Currency) -> Result<Money, Bad> {
    let currency = site_currency(&money.currency, of_site)?;
    if money.amount_minor.unsigned_abs() > LARGEST_MINOR {
        return Err(Bad::rule("is too large")).at("amount_minor");
    }
    Ok(Money::new(money.amount_minor, currency))
}

/// An amount of the site's money that is not below zero.
pub(crate) fn money_from_zero(written: &v1::Money, of_site: Currency) -> Result<Money, Bad> {
    let amount = money(written, of_site)?;
    if amount.minor() < 0 {
        return Err(Bad::rule("must not be negative")).at("amount_minor");
    }
    Ok(amount)
}

/// A price in the site's money.
pub(crate) fn unit_price(price: &v1::UnitPrice, of_site: Currency) -> Result<UnitPrice, Bad> {
    let currency = site_currency(&price.currency, of_site)?;
    let per = per(price.per).at("per")?;
    plain(&price.decimal, |text| UnitPrice::new(text, currency, per)).at("decimal")
}

fn site_currency(code: &str, of_site: Currency) -> Result<Currency, Bad> {
    let given = currency(code).at("currency")?;
    if given != of_site {
        return Err(Bad::rule(format!("is not {of_site}, the site's money"))).at("currency");
    }
    Ok(given)
}

/// The unit of prices: pound or kilogram.
pub(crate) fn per(number: i32) -> Result<WeightUnit, Bad> {
    match said(number)? {
        unit @ (WeightUnit::Lb | WeightUnit::Kg) => Ok(unit),
        WeightUnit::G | WeightUnit::Oz => Err(Bad::rule("must be pound or kilogram")),
    }
}

/// A temperature as read.
pub(crate) fn temperature(read: v1::Temperature) -> Result<Temperature, Bad> {
    plain(&read.decimal, |text| decimal::scaled_signed(text, 2)).at("decimal")?;
    Ok(Temperature {
        unit: said(read.unit).at("unit")?,
        text: read.decimal,
    })
}

/// A length as read, above zero.
pub(crate) fn length(read: v1::Length) -> Result<Length, Bad> {
    let thousandths = plain(&read.decimal, |text| decimal::scaled(text, 3)).at("decimal")?;
    if thousandths == 0 {
        return Err(Bad::rule("must be above zero")).at("decimal");
    }
    Ok(Length {
        unit: said(read.unit).at("unit")?,
        text: read.decimal,
    })
}

/// The money of the request's site, which must be on file.
pub(crate) fn on_file(number: i64, money: Option<Currency>) -> Result<Currency, Bad> {
    money.ok_or_else(|| Bad {
        field: "site".to_owned(),
        reason: "UNKNOWN_ID",
        rule: format!("there is no site \"{number}\""),
    })
}
