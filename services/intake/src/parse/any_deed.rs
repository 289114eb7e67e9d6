//! Whatever a caller sends as a deed, however odd: it is parsed, or refused with the
//! path of a field of the contract and a rule.

#![expect(clippy::unwrap_used, reason = "a test may panic")]

use std::sync::LazyLock;

use proptest::prelude::*;
use prost_reflect::{
    DescriptorPool, DynamicMessage, FieldDescriptor, Kind, MessageDescriptor, ReflectMessage as _,
    Value,
};
use proto::v1;
use proto::v1::deed::Deed;

use super::*;

static CONTRACT: LazyLock<DescriptorPool> =
    LazyLock::new(|| DescriptorPool::decode(proto::DESCRIPTORS).unwrap());

/// Draws from the bytes it was given; when they are used up, what it draws is small.
struct Drawn<'a>(std::slice::Iter<'a, u8>);

impl Drawn<'_> {
    fn byte(&mut self) -> u8 {
        self.0.next().copied().unwrap_or(0)
    }

    fn one_of<T: Copy>(&mut self, several: &[T]) -> T {
        several[usize::from(self.byte()) % several.len()]
    }

    fn once_in(&mut self, n: u8) -> bool {
        self.byte() % n == n - 1
    }
}

/// A message with some of its fields, most of them such as they have to be.
fn message(of: &MessageDescriptor, depth: u8, drawn: &mut Drawn<'_>) -> DynamicMessage {
    let mut message = DynamicMessage::new(of.clone());
    for oneof in of.oneofs().filter(|oneof| !oneof.is_synthetic()) {
        let fields: Vec<FieldDescriptor> = oneof.fields().collect();
        let field = &fields[usize::from(drawn.byte()) % fields.len()];
        if !drawn.once_in(12) {
            message.set_field(field, value(field, depth, drawn));
        }
    }
    for field in of.fields() {
        let chosen = field
            .containing_oneof()
            .is_some_and(|oneof| !oneof.is_synthetic());
        if chosen || drawn.once_in(6) {
            continue;
        }
        if field.is_list() {
            let count = if depth > 4 { 0 } else { drawn.byte() % 3 };
            let items = (0..count).map(|_| value(&field, depth, drawn)).collect();
            message.set_field(&field, Value::List(items));
        } else {
            message.set_field(&field, value(&field, depth, drawn));
        }
    }
    message
}

fn value(field: &FieldDescriptor, depth: u8, drawn: &mut Drawn<'_>) -> Value {
    match field.kind() {
        Kind::Message(of) if depth > 8 => Value::Message(DynamicMessage::new(of)),
        Kind::Message(of) => Value::Message(message(&of, depth + 1, drawn)),
        Kind::Enum(of) => {
            let known: Vec<i32> = of.values().map(|value| value.number()).collect();
            let number = if drawn.once_in(20) {
                drawn.one_of(&[-1, 99, i32::MIN, i32::MAX])
            } else {
                drawn.one_of(&known)
            };
            Value::EnumNumber(number)
        }
        Kind::String => Value::String(text(field.name(), drawn)),
        Kind::Bool => Value::Bool(drawn.once_in(2)),
        Kind::Int32 => Value::I32(drawn.one_of(&[
            1,
            2,
            4,
            28,
            2031,
            12,
            0,
            30,
            -1,
            100_000,
            i32::MAX,
            i32::MIN,
        ])),
        Kind::Int64 => Value::I64(drawn.one_of(&[
            1,
            100,
            25_000,
            0,
            -1,
            1_935_568_800,
            1_000_000_000_000,
            i64::MAX,
            i64::MIN,
        ])),
        kind => panic!("{kind:?} is no kind of field the contract has"),
    }
}

/// Text such as a field of this name holds, or not.
fn text(name: &str, drawn: &mut Drawn<'_>) -> String {
    if drawn.once_in(16) {
        let odd = [
            "",
            " ",
            "\u{0}",
            "\u{1f41f}",
            "-",
            "-0",
            "1e9",
            "99999999999999999999",
            "0.000000001",
            "2031130200010000001A",
            "\u{202e}x",
            "A\n",
            "00000000-0000-0000-0000-000000000000",
        ];
        return match drawn.byte() % 14 {
            13 => "x".repeat(300),
            n => odd[usize::from(n)].to_owned(),
        };
    }
    match name {
        "request_id" => "0B9C6A52-6a3e-4f0e-9a53-3f1c2d7e8a90",
        "species" => drawn.one_of(&["PZO", "LCX"]),
        "currency" => "USD",
        "grade" => drawn.one_of(&["A", "B"]),
        "lot_code" => "2031050200010000001A",
        "code" => drawn.one_of(&["dock", "PZO", "31", "cull"]),
        "time_zone" => "America/New_York",
        "hold_id" => drawn.one_of(&["2031050200010000001", "2031050200010000001/1"]),
        "ticket" | "movement" | "entry" | "dispute" | "lot_number" | "dispatch" | "key" => {
            "2031050200010000001"
        }
        "decimal" | "from" | "to" | "price" | "percent" | "per_unit" | "plate_minimum"
        | "not_counted" | "minutes" | "minutes_fished" | "percent_per_day" | "ice_percent" => {
            drawn.one_of(&["12.30", "0", "0.50", "42", "100", "38.5", "1.25"])
        }
        _ => drawn.one_of(&["dock", "wren-haldane", "first-diver", "a"]),
    }
    .to_owned()
}

/// Parses a deed as its method does; the request id as parsed.
fn parsed(deed: Deed) -> Result<String, Bad> {
    let money = Currency::new("USD");
    macro_rules! id {
        ($($parse:ident)::+ ($($argument:expr),+)) => {
            $($parse)::+($($argument),+).map(|asked| asked.request_id)
        };
    }
    match deed {
        Deed::WeighIn(r) => id!(weigh_in::weigh_in(r, money)),
        Deed::VoidTicket(r) => id!(weigh_in::void_ticket(r)),
        Deed::Hold(r) => id!(stock::hold(r)),
        Deed::Release(r) => id!(stock::release(r)),
        Deed::Regrade(r) => id!(stock::regrade(r)),
        Deed::Movement(r) => id!(stock::movement(r, money)),
        Deed::CustomerReturn(r) => id!(stock::customer_return(r)),
        Deed::Making(r) => id!(stock::making(r)),
        Deed::Count(r) => id!(stock::stock_count(r)),
        Deed::Reweigh(r) => id!(stock::reweigh(r)),
        Deed::Site(r) => id!(office::site(r)),
        Deed::Party(r) => id!(office::party(r)),
        Deed::Species(r) => id!(office::species_on_file(r)),
        Deed::Scale(r) => id!(office::scale(r)),
        Deed::Tote(r) => id!(office::tote(r)),
        Deed::Device(r) => id!(office::device(r)),
        Deed::Settings(r) => id!(office::settings(r, money)),
        Deed::PriceList(r) => id!(office::price_list(r, money)),
        Deed::AgreedPrice(r) => id!(office::agreed_price(r, money)),
        Deed::Baseline(r) => id!(office::baseline(r)),
        Deed::Room(r) => id!(outlet::record_room(r, money)),
        Deed::Choice(r) => id!(outlet::record_choice(r)),
        Deed::Plan(r) => id!(outlet::take(r)),
        Deed::Reprobe(r) => id!(receiving::reprobe(r)),
        Deed::RequestCodes(r) => id!(codes::request_codes(r)),
        Deed::Settle(r) => id!(settle::settle(r, money)),
        Deed::Advance(r) => id!(settle::advance(r, money)),
        Deed::Charge(r) => id!(settle::charge(r, money)),
        Deed::DrawerCount(r) => id!(settle::drawer(r, money)),
        Deed::Dispute(r) => id!(settle::dispute(r)),
        Deed::AnswerDispute(r) => id!(settle::answer(r)),
        Deed::TakeBack(r) => id!(settle::take_back(r)),
        Deed::AnswerYield(r) => id!(yield_answer(r)),
        Deed::AcknowledgeFlag(r) => request_id(&r.request_id),
    }
}

/// Whether a path names a field from the message down, whatever stands in brackets.
fn is_a_path(path: &str, of: &MessageDescriptor) -> bool {
    let mut of = Some(of.clone());
    path.split('.').all(|step| {
        let name = step.split('[').next().unwrap_or(step);
        let one_of = |of: &MessageDescriptor| of.oneofs().any(|oneof| oneof.name() == name);
        let Some(field) = of.as_ref().and_then(|of| of.get_field_by_name(name)) else {
            return of.as_ref().is_some_and(one_of);
        };
        of = match field.kind() {
            Kind::Message(inner) => Some(inner),
            _ => None,
        };
        true
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    #[test]
    fn any_deed_is_parsed_or_refused_by_a_field_and_a_rule(
        bytes in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        let of = CONTRACT.get_message_by_name("weighhouse.v1.Deed").unwrap();
        let drawn = message(&of, 0, &mut Drawn(bytes.iter()));
        let asks = drawn.fields().next().map(|(_, asked)| match asked {
            Value::Message(asked) => asked.descriptor(),
            other => panic!("{other:?}"),
        });
        let deed: v1::Deed = drawn.transcode_to().unwrap();
        let (Some(deed), Some(of)) = (deed.deed, asks) else {
            return Ok(());
        };
        match parsed(deed) {
            Ok(id) => prop_assert_eq!(id, "0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90"),
            Err(bad) => {
                prop_assert!(!bad.rule.is_empty());
                prop_assert!(is_a_path(&bad.field, &of), "{:?} in {}", bad, of.name());
            }
        }
    }
}

#[test]
fn enough_of_what_is_drawn_is_accepted() {
    let of = CONTRACT.get_message_by_name("weighhouse.v1.Deed").unwrap();
    let mut accepted = std::collections::BTreeSet::new();
    let mut state = 7_u64;
    for _ in 0..60_000 {
        let bytes: Vec<u8> = (0..300)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                state.to_be_bytes()[0]
            })
            .collect();
        let drawn = message(&of, 0, &mut Drawn(bytes.iter()));
        let name = drawn
            .fields()
            .next()
            .map(|(field, _)| field.name().to_owned());
        let deed: v1::Deed = drawn.transcode_to().unwrap();
        if let (Some(deed), Some(name)) = (deed.deed, name)
            && parsed(deed).is_ok()
        {
            accepted.insert(name);
        }
    }
    // Deeds whose fields depend on one another are hardly ever drawn right.
    assert!(accepted.len() >= 15, "{accepted:?}");
}
