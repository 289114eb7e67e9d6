//! Fields of a request written as TOML, as the canonical JSON of the contract.
//!
//! Names are those of the contract, in either spelling. A day is written bare
//! (`2031-05-02`), an instant with its offset.

use serde_json::{Map, Value, json};
use toml_edit::{DocumentMut, Item, Table, Value as Written};

/// The fields of a file.
pub(super) fn read(text: &str) -> Result<Value, String> {
    let document: DocumentMut = text.parse().map_err(|error| format!("{error}"))?;
    table(document.as_table())
}

fn table(table: &Table) -> Result<Value, String> {
    let mut fields = Map::new();
    for (name, item) in table {
        let read = match item {
            Item::None => continue,
            Item::Value(written) => value(written),
            Item::Table(inner) => self::table(inner),
            Item::ArrayOfTables(tables) => tables.iter().map(self::table).collect(),
        };
        let read = read.map_err(|why| format!("{name}: {why}"))?;
        fields.insert(name.to_owned(), read);
    }
    Ok(Value::Object(fields))
}

fn value(written: &Written) -> Result<Value, String> {
    Ok(match written {
        Written::String(text) => text.value().clone().into(),
        Written::Integer(number) => (*number.value()).into(),
        Written::Boolean(yes) => (*yes.value()).into(),
        Written::Float(_) => {
            // A decimal travels as it was typed, and a float is not what was typed.
            return Err("a decimal is written in quotation marks, such as \"1.5\"".to_owned());
        }
        Written::Datetime(at) => match (at.value().date, at.value().time, at.value().offset) {
            (Some(day), None, None) => {
                json!({"year": day.year, "month": day.month, "day": day.day})
            }
            (Some(_), Some(_), Some(_)) => at.value().to_string().into(),
            _ => return Err("a day is written bare, an instant with its offset".to_owned()),
        },
        Written::Array(items) => items.iter().map(value).collect::<Result<_, _>>()?,
        Written::InlineTable(inner) => table(&inner.clone().into_table())?,
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn what_is_written_is_what_json_would_say() {
        let text = "site = 1\nicePercent = \"3\"\neffectiveFrom = 2031-05-02T04:00:00-04:00\n\
                    [cold]\nlimit = { decimal = \"41\" }\n[[seasons]]\nfrom = 2031-05-01\n";
        assert_eq!(
            read(text).unwrap(),
            json!({
                "site": 1,
                "icePercent": "3",
                "effectiveFrom": "2031-05-02T04:00:00-04:00",
                "cold": {"limit": {"decimal": "41"}},
                "seasons": [{"from": {"year": 2031, "month": 5, "day": 1}}],
            })
        );
    }

    #[test]
    fn what_cannot_be_meant_is_named() {
        let told = |text| read(text).unwrap_err();
        assert!(told("icePercent = 1.5").starts_with("icePercent: a decimal"));
        assert!(told("effectiveFrom = 2031-05-02T04:00:00").contains("with its offset"));
        assert!(told("site = ").contains("line 1"));
    }
}
