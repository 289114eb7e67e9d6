//! Answers: from the rules' types to the wire.
//!
//! Weights go out exact and as a person of the site reads them, ids as text,
//! readings as they were typed. Nothing is decided here.

pub(crate) mod close;
pub(crate) mod landing;
pub(crate) mod office;
pub(crate) mod outlet;
pub(crate) mod price_check;
pub(crate) mod receiving;
pub(crate) mod settle;
pub(crate) mod stock;
pub(crate) mod ticket;

use desk::Booked;
use prost_types::Timestamp;
use proto::google::r#type::Date;
use proto::v1;
use rules::business_day::day_number;
use rules::decimal;
use rules::ids::{LotCode, PartId};
use rules::money::{Money, UnitPrice};
use rules::ticket::{Notice, Temperature};
use rules::weight::{Reading, Weight, WeightUnit};

use crate::codes::Coded as _;
use crate::parse::Calendar;

/// A number of the contract; one that does not fit is the largest that does.
pub(crate) fn int32(number: i64) -> i32 {
    i32::try_from(number).unwrap_or(if number < 0 { i32::MIN } else { i32::MAX })
}

/// Decimal text without the zeros at its end, but with two places.
fn short(text: String) -> String {
    let Some((whole, places)) = text.split_once('.') else {
        return text;
    };
    let kept = places.trim_end_matches('0').len().max(2).min(places.len());
    let places = places.get(..kept).unwrap_or(places);
    format!("{whole}.{places}")
}

/// Percent of ppm, with two to four places.
pub(crate) fn percent(ppm: i64) -> String {
    short(decimal::text(ppm, 4))
}

/// A weight, shown in the unit people read.
pub(crate) fn weight(weight: Weight, shown_in: WeightUnit) -> v1::Weight {
    v1::Weight {
        grams: weight.grams(),
        shown: weight.shown(shown_in),
        unit: shown_in.wire(),
    }
}

/// A weight as an edge is written: exact in its own unit.
pub(crate) fn edge(weight: Weight, unit: WeightUnit) -> String {
    match unit {
        // A kilogram has up to 6 places, and 10^11 times 10 ng in it.
        WeightUnit::Kg => short(decimal::text(weight.units(), 11)),
        WeightUnit::Lb | WeightUnit::G | WeightUnit::Oz => weight.shown(unit),
    }
}

/// A reading as it was typed.
pub(crate) fn reading(reading: &Reading) -> v1::Reading {
    v1::Reading {
        decimal: reading.text.clone(),
        unit: reading.unit.wire(),
        scale: reading.scale.clone(),
        source: reading.source.wire(),
    }
}

/// An amount of money.
pub(crate) fn money(money: Money) -> v1::Money {
    v1::Money {
        amount_minor: money.minor(),
        currency: money.currency().code().to_owned(),
    }
}

/// A price per unit of weight.
pub(crate) fn unit_price(price: UnitPrice) -> v1::UnitPrice {
    v1::UnitPrice {
        decimal: price.decimal(),
        currency: price.currency().code().to_owned(),
        per: price.per().wire(),
    }
}

/// An instant, from microseconds since 1970 UTC.
pub(crate) fn timestamp(us: i64) -> Timestamp {
    let nanos = us.rem_euclid(1_000_000) * 1000;
    Timestamp {
        seconds: us.div_euclid(1_000_000),
        nanos: int32(nanos),
    }
}

/// A day, from its number `YYYYMMDD`.
pub(crate) fn day(number: i64) -> Date {
    Date {
        year: int32(number.div_euclid(10_000)),
        month: int32(number.div_euclid(100).rem_euclid(100)),
        day: int32(number.rem_euclid(100)),
    }
}

/// A date of the calendar.
pub(crate) fn date(date: Calendar) -> Date {
    day(day_number(date))
}

/// A temperature as read.
pub(crate) fn temperature(read: &Temperature) -> v1::Temperature {
    v1::Temperature {
        decimal: read.text.clone(),
        unit: read.unit.wire(),
    }
}

/// Something said to the person at the scale.
pub(crate) fn notice(notice: &Notice) -> v1::Notice {
    v1::Notice {
        kind: notice.kind.wire(),
        code: notice.code.clone(),
        text: notice.text.clone(),
        line: int32(notice.line),
    }
}

/// A part by its lot's code and number.
pub(crate) fn part(part: PartId) -> v1::PartRef {
    v1::PartRef {
        lot_code: part.lot.to_string(),
        part: Some(int32(part.n)),
    }
}

/// Code of the lot at a place under a number; empty where there is none.
pub(crate) fn lot_code(number: i64, place: Option<i64>) -> String {
    place
        .and_then(|place| LotCode::new(number, place))
        .map_or_else(String::new, |code| code.to_string())
}

/// That a deed was recorded.
pub(crate) fn recorded<A, O>(booked: &Booked<A, O>) -> v1::Recorded {
    v1::Recorded {
        entry_id: booked.entry.to_string(),
        recorded_at: Some(timestamp(booked.recorded_us)),
        day: Some(day(booked.entry.day())),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn an_edge_reads_back_as_what_it_was() {
        for (written, unit, answered) in [
            ("0", WeightUnit::Lb, "0.00"),
            ("0.5", WeightUnit::Lb, "0.50"),
            ("1.125", WeightUnit::Lb, "1.125"),
            ("0.226796", WeightUnit::Kg, "0.226796"),
            ("12", WeightUnit::Kg, "12.00"),
            ("0.25", WeightUnit::Kg, "0.25"),
            ("453.592", WeightUnit::G, "453.592"),
            ("8.125", WeightUnit::Oz, "8.125"),
        ] {
            let weight = unit.weigh(written).unwrap();
            assert_eq!(edge(weight, unit), answered, "{written} {unit:?}");
            assert_eq!(unit.weigh(answered), Ok(weight), "{answered} {unit:?}");
        }
    }

    #[test]
    fn a_percentage_has_two_to_four_places() {
        for (ppm, text) in [
            (0, "0.00"),
            (8_000, "0.80"),
            (-5_000, "-0.50"),
            (12_345, "1.2345"),
            (1_000_000, "100.00"),
        ] {
            assert_eq!(percent(ppm), text);
        }
    }

    #[test]
    fn an_instant_before_1970_keeps_its_microseconds() {
        // nanos count forward from the second: google.protobuf.Timestamp.
        assert_eq!(
            timestamp(1_500_000),
            Timestamp {
                seconds: 1,
                nanos: 500_000_000
            }
        );
        assert_eq!(
            timestamp(-1),
            Timestamp {
                seconds: -1,
                nanos: 999_999_000
            }
        );
    }

    #[test]
    fn a_day_number_is_its_date() {
        assert_eq!(
            day(20_310_502),
            Date {
                year: 2031,
                month: 5,
                day: 2
            }
        );
    }
}
