//! What a person types for a field, as the canonical JSON of the contract.
//!
//! Weights, temperatures and prices keep every figure as it was typed: the
//! service judges them.

use serde_json::{Map, Value, json};

use crate::json::word_of;

/// What a flag takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Takes {
    /// Any text.
    Text,
    /// A whole number.
    Number,
    /// `yes` or `no`.
    YesOrNo,
    /// A word of an enum of the contract, in small letters.
    Word(&'static str),
    /// `YYYY-MM-DD`.
    Day,
    /// With its offset.
    Instant,
    /// A reading.
    Weight,
    /// `LOT` or `LOT/PART`.
    Part,
    /// `LOT/PART:WEIGHT[:emptied]`, of a movement.
    Taken,
    /// The same of a making; without weight, all that is left.
    Input,
    /// `ENTRY:WEIGHT`, of a making at a customer's kitchen.
    Dispatch,
    /// `FORM[:WEIGHT[:STORAGE]]`, a new lot.
    Output,
    /// `FORM:WEIGHT:REASON`.
    ThrownOut,
    /// `FORM`.
    NotWeighed,
    /// `LOT/PART:WEIGHT`, of a count.
    Counted,
    /// `38.5F` or `3.1C`.
    Degrees,
    /// `9.50USD/lb`.
    Price,
}

/// What stands with every weight of a command.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Reading {
    /// `LB`.
    pub(super) unit: String,
    /// Code of the scale; may be empty.
    pub(super) scale: String,
}

impl Reading {
    fn of(&self, decimal: &str) -> Result<Value, String> {
        if decimal.is_empty() {
            return Err("a weight must stand there".to_owned());
        }
        let mut reading = json!({
            "decimal": decimal,
            "unit": format!("WEIGHT_UNIT_{}", self.unit),
        });
        if !self.scale.is_empty() {
            reading["scale"] = self.scale.clone().into();
        }
        Ok(reading)
    }
}

impl Takes {
    /// Whether it has a weight in it.
    pub(super) const fn weighs(self) -> bool {
        matches!(
            self,
            Takes::Weight
                | Takes::Taken
                | Takes::Input
                | Takes::Dispatch
                | Takes::Output
                | Takes::ThrownOut
                | Takes::Counted
        )
    }

    /// Whether it is a row of a list, even where it is typed once.
    pub(super) const fn is_row(self) -> bool {
        matches!(
            self,
            Takes::Taken
                | Takes::Input
                | Takes::Dispatch
                | Takes::Output
                | Takes::ThrownOut
                | Takes::NotWeighed
                | Takes::Counted
        )
    }

    /// What the help calls it.
    pub(super) const fn value_name(self) -> &'static str {
        match self {
            Takes::Text => "TEXT",
            Takes::Number => "N",
            Takes::YesOrNo => "YES/NO",
            Takes::Word(_) => "WORD",
            Takes::Day => "DAY",
            Takes::Instant => "INSTANT",
            Takes::Weight => "WEIGHT",
            Takes::Part => "LOT/PART",
            Takes::Taken | Takes::Input => "LOT/PART:WEIGHT",
            Takes::Dispatch => "ENTRY:WEIGHT",
            Takes::Output => "FORM:WEIGHT",
            Takes::ThrownOut => "FORM:WEIGHT:REASON",
            Takes::NotWeighed => "FORM",
            Takes::Counted => "LOT/PART:WEIGHT",
            Takes::Degrees => "DEGREES",
            Takes::Price => "PRICE",
        }
    }

    /// The value of what was typed.
    pub(super) fn read(self, text: &str, reading: &Reading) -> Result<Value, String> {
        match self {
            Takes::Text => Ok(text.into()),
            Takes::Number => match text.parse::<i32>() {
                Ok(number) => Ok(number.into()),
                Err(_) => Err("is not a whole number".to_owned()),
            },
            Takes::YesOrNo => match text {
                "yes" => Ok(true.into()),
                "no" => Ok(false.into()),
                _ => Err("is not yes or no".to_owned()),
            },
            Takes::Word(of) => word_of(of, text).map(Value::from),
            Takes::Day => {
                let day = crate::day(text)?;
                Ok(json!({"year": day.year, "month": day.month, "day": day.day}))
            }
            Takes::Instant => {
                crate::instant(text)?;
                let at: jiff::Timestamp = text.parse().map_err(|_| "is no instant".to_owned())?;
                Ok(at.to_string().into())
            }
            Takes::Weight => reading.of(text),
            Takes::Part => part(text),
            Takes::Taken | Takes::Input => {
                let (named, rest) = split(text);
                let (weight, emptied) = split(rest);
                let mut row = json!({"part": part(named)?});
                if !weight.is_empty() || self == Takes::Taken {
                    row["weight"] = reading.of(weight)?;
                }
                match emptied {
                    "" => {}
                    "emptied" => row["emptied"] = true.into(),
                    other => return Err(format!("\"{other}\" is not the word emptied")),
                }
                Ok(row)
            }
            Takes::Dispatch => {
                let (entry, weight) = split(text);
                Ok(json!({"dispatch": entry, "weight": reading.of(weight)?}))
            }
            Takes::Output => {
                let (form, rest) = split(text);
                let (weight, storage) = split(rest);
                let mut row = json!({
                    "presentation": word_of("Presentation", form)?,
                    "fate": "OUTPUT_FATE_LOT",
                });
                if !weight.is_empty() {
                    row["weight"] = reading.of(weight)?;
                }
                if !storage.is_empty() {
                    row["storage"] = word_of("Storage", storage)?.into();
                }
                Ok(row)
            }
            Takes::ThrownOut => {
                let (form, rest) = split(text);
                let (weight, reason) = split(rest);
                Ok(json!({
                    "presentation": word_of("Presentation", form)?,
                    "fate": "OUTPUT_FATE_DISCARD",
                    "weight": reading.of(weight)?,
                    "reason": reason,
                }))
            }
            Takes::NotWeighed => Ok(json!({
                "presentation": word_of("Presentation", text)?,
                "fate": "OUTPUT_FATE_NOT_WEIGHED",
            })),
            Takes::Counted => {
                let (named, weight) = split(text);
                Ok(json!({"part": part(named)?, "weight": reading.of(weight)?}))
            }
            Takes::Degrees => degrees(text),
            Takes::Price => price(text),
        }
    }
}

/// What stands before the first colon, and after it.
fn split(text: &str) -> (&str, &str) {
    text.split_once(':').unwrap_or((text, ""))
}

fn part(text: &str) -> Result<Value, String> {
    match text.split_once('/') {
        None => Ok(json!({"lotCode": text})),
        Some((lot, n)) => match n.parse::<i32>() {
            Ok(n) => Ok(json!({"lotCode": lot, "part": n})),
            Err(_) => Err(format!("\"{n}\" is not the number of a part")),
        },
    }
}

fn degrees(text: &str) -> Result<Value, String> {
    let unit = match text.chars().last() {
        Some('F' | 'f') => "TEMPERATURE_UNIT_FAHRENHEIT",
        Some('C' | 'c') => "TEMPERATURE_UNIT_CELSIUS",
        _ => return Err("a temperature is written 38.5F or 3.1C".to_owned()),
    };
    let decimal = text.get(..text.len() - 1).unwrap_or_default();
    Ok(json!({"decimal": decimal.trim(), "unit": unit}))
}

fn price(text: &str) -> Result<Value, String> {
    let written = || "a price is written 9.50USD/lb".to_owned();
    let (amount, per) = text.split_once('/').ok_or_else(written)?;
    let at = amount
        .find(|letter: char| letter.is_ascii_alphabetic())
        .ok_or_else(written)?;
    let (decimal, currency) = amount.split_at(at);
    Ok(json!({
        "decimal": decimal.trim(),
        "currency": currency,
        "per": word_of("WeightUnit", per)?,
    }))
}

/// Puts a value at a path of an object, into a list where it is a row of one.
pub(super) fn put(object: &mut Value, path: &str, value: Value, row: bool) {
    let mut at = object;
    let (parents, name) = path.rsplit_once('.').unwrap_or(("", path));
    for parent in parents.split('.').filter(|parent| !parent.is_empty()) {
        if !at[parent].is_object() {
            at[parent] = Value::Object(Map::new());
        }
        at = &mut at[parent];
    }
    if !row {
        at[name] = value;
    } else if let Some(list) = at[name].as_array_mut() {
        list.push(value);
    } else {
        at[name] = Value::Array(vec![value]);
    }
}
