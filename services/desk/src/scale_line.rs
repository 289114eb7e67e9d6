//! What a scale's line says, by the expression the office set for that scale.
//!
//! A scale on a cable or the network sends lines of text, each maker its own way. The
//! office says how to read them with a regular expression of three named groups: `weight`,
//! which must be there, `unit` and `stable`. A line that does not fit, or whose weight is
//! no plain decimal, says nothing and is passed over: no weight is ever guessed from one.

use regex::{Regex, RegexBuilder};
use rules::weight::WeightUnit;

/// The groups an expression may name.
const GROUPS: [&str; 3] = ["weight", "unit", "stable"];
/// Bytes that a compiled expression may take.
const LARGEST: usize = 1 << 18;

/// How the lines of a scale are read.
#[derive(Debug, Clone)]
pub struct ScaleLine {
    expression: Regex,
    tells_stable: bool,
    /// Of the scale itself, where a line says none.
    unit: WeightUnit,
}

/// Why an expression cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadExpression {
    /// It is no regular expression.
    #[error("is no regular expression: {0}")]
    NotOne(String),
    /// Compiled it is larger than anything a scale's line needs.
    #[error("is too large")]
    TooLarge,
    /// Nothing in it says which figure is the weight.
    #[error("has no group named weight, as in (?<weight>[0-9.]+)")]
    NoWeight,
    /// A group that means nothing here.
    #[error("has a group named {0}; only weight, unit and stable mean something")]
    UnknownGroup(String),
}

/// What a line said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineRead {
    /// Plain decimal, as the scale wrote it.
    pub text: String,
    /// As the line says, else the scale's own.
    pub unit: WeightUnit,
    /// The scale says that it has come to rest.
    pub is_stable: bool,
}

impl ScaleLine {
    /// An expression for a scale that shows weights in `unit`. Where it has no group
    /// `stable`, every line that fits is of a scale at rest: it is for scales that send
    /// nothing else.
    ///
    /// # Errors
    /// [`BadExpression`] with why it cannot be used.
    pub fn new(expression: &str, unit: WeightUnit) -> Result<ScaleLine, BadExpression> {
        let built = RegexBuilder::new(expression)
            .size_limit(LARGEST)
            .dfa_size_limit(LARGEST)
            .build();
        let expression = built.map_err(|error| match error {
            regex::Error::CompiledTooBig(_) => BadExpression::TooLarge,
            // Its last line says what is wrong; those before it draw where.
            other => BadExpression::NotOne(
                other
                    .to_string()
                    .lines()
                    .last()
                    .unwrap_or_default()
                    .trim_start_matches("error: ")
                    .to_owned(),
            ),
        })?;
        let named: Vec<&str> = expression.capture_names().flatten().collect();
        if let Some(other) = named.iter().find(|name| !GROUPS.contains(name)) {
            return Err(BadExpression::UnknownGroup((*other).to_owned()));
        }
        if !named.contains(&"weight") {
            return Err(BadExpression::NoWeight);
        }
        Ok(ScaleLine {
            tells_stable: named.contains(&"stable"),
            expression,
            unit,
        })
    }

    /// What a line says; nothing where it does not fit, names a unit that weight is not
    /// counted in here, or its weight is no plain decimal that can be weighed.
    #[must_use]
    pub fn read(&self, line: &str) -> Option<LineRead> {
        let found = self.expression.captures(line)?;
        let group = |name| found.name(name).map_or("", |text| text.as_str().trim());
        let unit = match group("unit") {
            "" => self.unit,
            word => unit(word)?,
        };
        let text = group("weight");
        unit.weigh(text).ok()?;
        Some(LineRead {
            text: text.to_owned(),
            unit,
            is_stable: !self.tells_stable || !group("stable").is_empty(),
        })
    }
}

/// A unit as scales write it.
fn unit(word: &str) -> Option<WeightUnit> {
    Some(match word.to_ascii_lowercase().as_str() {
        "lb" | "lbs" => WeightUnit::Lb,
        "kg" => WeightUnit::Kg,
        "g" => WeightUnit::G,
        "oz" => WeightUnit::Oz,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    /// Invented lines, of no maker's.
    const PLAIN: &str = r"^weight +(?<weight>\S+) *(?<unit>[a-z]+)? *(?<stable>steady)?$";

    #[test]
    fn a_line_is_read_as_the_expression_says_or_not_at_all() {
        let line = ScaleLine::new(PLAIN, WeightUnit::Kg).unwrap();
        // line                          text, unit, stable
        for (text, expected) in [
            ("weight 12.35 lb steady", "12.35 lb true"),
            ("weight 12.35 lb", "12.35 lb false"),
            ("weight   0.40 kg steady", "0.40 kg true"),
            ("weight 12.35", "12.35 kg false"), // the scale's own unit
            ("weight 8 oz steady", "8 oz true"),
            ("weight 12,35 lb steady", ""), // a comma is no plain decimal
            ("weight -0.05 lb steady", ""),
            ("weight 1e3 lb steady", ""),
            ("weight 12.3456789 lb steady", ""), // finer than weight is counted here
            ("weight 99999999 kg steady", ""),
            ("weight 12.35 st steady", ""), // no unit of ours
            ("weight lb steady", ""),
            ("weigh", ""),
            ("", ""),
        ] {
            let read = line.read(text).map_or_else(String::new, |read| {
                format!("{} {} {}", read.text, read.unit.symbol(), read.is_stable)
            });
            assert_eq!(read, expected, "{text}");
        }
        let always = ScaleLine::new(r"(?<weight>\d+\.\d+)", WeightUnit::Lb).unwrap();
        let read = always.read("net 5.20 at rest").unwrap();
        assert_eq!((read.text.as_str(), read.is_stable), ("5.20", true));
    }

    #[test]
    fn an_expression_that_cannot_be_used_says_why() {
        let why = |expression: &str| {
            let bad = ScaleLine::new(expression, WeightUnit::Lb).unwrap_err();
            bad.to_string()
        };
        assert!(why("(?<weight>[0-9").starts_with("is no regular expression: unclosed"));
        assert_eq!(
            why("[0-9.]+"),
            "has no group named weight, as in (?<weight>[0-9.]+)"
        );
        assert_eq!(
            why("(?<weight>[0-9.]+) (?<colour>[a-z]+)"),
            "has a group named colour; only weight, unit and stable mean something"
        );
        assert_eq!(why(r"(?<weight>(\w{100}){100})"), "is too large");
    }
}
