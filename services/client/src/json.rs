//! Messages of the contract as canonical protobuf JSON, and back.
//!
//! The descriptors of the contract do the work, so a field added to it is here
//! at once. Reading refuses a field that the message does not have and says
//! where. Writing leaves out fields that hold their default.

use std::sync::OnceLock;

use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage, MessageDescriptor};
use proto::v1;
use serde_json::Value;

/// A message with a name in the contract.
pub trait Named: Message + Default {
    /// Full name, such as `weighhouse.v1.Ticket`.
    const NAME: &'static str;
}

macro_rules! named {
    ($($message:ident),+ $(,)?) => {
        $(impl Named for v1::$message {
            const NAME: &'static str = concat!("weighhouse.v1.", stringify!($message));
        })+

        #[cfg(test)]
        const NAMES: &[&str] = &[$(<v1::$message as Named>::NAME),+];
    };
}

named!(
    AnswerDisputeRequest,
    AnswerDisputeResponse,
    AnswerYieldRequest,
    AcknowledgeFlagResponse,
    Deed,
    DisputeLineRequest,
    DisputeLineResponse,
    GetCashYearResponse,
    GetDrawerResponse,
    PreviewSettlementResponse,
    RecordAdvanceRequest,
    RecordAdvanceResponse,
    RecordChargeRequest,
    RecordChargeResponse,
    RecordDrawerCountRequest,
    RecordDrawerCountResponse,
    SettleRequest,
    SettleResponse,
    TakeBackRequest,
    TakeBackResponse,
    CheckPriceListResponse,
    GetCallerResponse,
    GetClockResponse,
    IssueKeyResponse,
    ListEntriesResponse,
    ListKeysResponse,
    ListRefusalsResponse,
    RevokeKeyResponse,
    GetCloseResponse,
    GetLotResponse,
    GetStatementResponse,
    GetTicketResponse,
    HoldPartRequest,
    ListFlagsResponse,
    ListLandingsResponse,
    ListSupplierYieldsResponse,
    WeighSmallFishResponse,
    ListRoomsResponse,
    ProposePlanResponse,
    RecordPlanResponse,
    GetPlanResponse,
    GetDispatchNoteResponse,
    RecordRoomRequest,
    RecordChoiceRequest,
    RecordPlanRequest,
    ProposePlanRequest,
    GetCloseRequest,
    ListTalliesResponse,
    PostPriceListRequest,
    PostPriceListResponse,
    RecordAgreedPriceRequest,
    RecordBaselineRequest,
    RecordCountRequest,
    RecordReweighRequest,
    RecordDeviceRequest,
    RecordMakingRequest,
    RecordMovementRequest,
    RecordPartyRequest,
    GetReceivingLogResponse,
    RecordReprobeRequest,
    RecordReturnRequest,
    RecordScaleRequest,
    RecordSettingsRequest,
    RecordSiteRequest,
    RecordSpeciesRequest,
    RecordToteRequest,
    RecordWeighInRequest,
    RecordWeighInResponse,
    RegradePartRequest,
    ReleaseHoldRequest,
    RequestCodesRequest,
    SetClockResponse,
    VoidTicketRequest,
);

/// What a piece of JSON has wrong, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {what}")]
pub struct BadJson {
    /// Path from the message down, such as `weighIn.lots[1].species`.
    pub field: String,
    /// What is wrong there.
    pub what: String,
}

/// Canonical JSON of `message`, fields that hold their default left out.
#[must_use]
pub fn write<M: Named>(message: &M) -> Value {
    let dynamic = DynamicMessage::decode(descriptor::<M>(), message.encode_to_vec().as_slice())
        .expect("a message just encoded decodes by its own descriptor");
    serde_json::to_value(&dynamic).expect("a decoded message has a JSON form")
}

/// Reads a message from canonical JSON.
///
/// # Errors
///
/// A field the message does not have, or a value that its type cannot hold.
pub fn read<M: Named>(json: &Value) -> Result<M, BadJson> {
    let mut track = serde_path_to_error::Track::new();
    let tracked = serde_path_to_error::Deserializer::new(json, &mut track);
    match DynamicMessage::deserialize(descriptor::<M>(), tracked) {
        Ok(dynamic) => Ok(dynamic
            .transcode_to()
            .expect("a message read by a type's descriptor is of that type")),
        Err(error) => Err(BadJson {
            field: track.path().to_string(),
            what: error.to_string(),
        }),
    }
}

/// The words of an enum of the contract, by its short name: its values without
/// the enum's own name, in small letters with hyphens.
pub(crate) fn words(of: &str) -> Vec<String> {
    let values = pool()
        .get_enum_by_name(&format!("weighhouse.v1.{of}"))
        .expect("a test looks every name up");
    let words = values.values().map(|value| {
        let word = crate::show::plain(value.name(), of);
        word.replace(' ', "-")
    });
    words.filter(|word| !word.is_empty()).collect()
}

/// The value's name in the contract for a word of an enum.
pub(crate) fn word_of(of: &str, word: &str) -> Result<String, String> {
    let plain = word.to_ascii_lowercase().replace([' ', '_'], "-");
    if !words(of).contains(&plain) {
        return Err(format!("\"{word}\" is none of {}", words(of).join(", ")));
    }
    let mut name = String::new();
    for letter in of.chars() {
        if letter.is_ascii_uppercase() && !name.is_empty() {
            name.push('_');
        }
        name.push(letter.to_ascii_uppercase());
    }
    Ok(format!(
        "{name}_{}",
        plain.to_ascii_uppercase().replace('-', "_")
    ))
}

/// The number of a value's name; 0 where there is none.
pub(crate) fn number_of(of: &str, name: &str) -> i32 {
    let values = pool().get_enum_by_name(&format!("weighhouse.v1.{of}"));
    let value = values.and_then(|values| values.get_value_by_name(name));
    value.map_or(0, |value| value.number())
}

fn pool() -> &'static DescriptorPool {
    static POOL: OnceLock<DescriptorPool> = OnceLock::new();
    POOL.get_or_init(|| {
        DescriptorPool::decode(proto::DESCRIPTORS).expect("the contract's own descriptors decode")
    })
}

fn descriptor<M: Named>() -> MessageDescriptor {
    pool()
        .get_message_by_name(M::NAME)
        .expect("a test looks every name up")
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use serde_json::json;

    use super::*;

    #[test]
    fn every_name_is_in_the_contract() {
        let pool = DescriptorPool::decode(proto::DESCRIPTORS).unwrap();
        for name in NAMES {
            assert!(pool.get_message_by_name(name).is_some(), "{name}");
        }
    }

    #[test]
    fn a_word_of_the_contract_is_its_value_without_the_enums_name() {
        assert_eq!(words("SmallFish"), ["sell", "give", "take-home"]);
        assert_eq!(
            word_of("Presentation", "Gutted headed").unwrap(),
            "PRESENTATION_GUTTED_HEADED"
        );
        assert_eq!(number_of("Outlet", "OUTLET_SOUP"), v1::Outlet::Soup as i32);
        assert!(word_of("Outlet", "bin").unwrap_err().contains("sold-whole"));
    }

    fn sample() -> Value {
        json!({"weighIn": {
            "requestId": "5b1c6a9e-2f70-4c55-9a54-0b8f2a4e6d11",
            "site": 1,
            "harvester": "diver-1",
            "landing": {"harvestFrom": {"year": 2031, "month": 5, "day": 2}, "dives": 0},
            "lots": [{"species": "PZO", "presentation": "PRESENTATION_WHOLE", "weighings": [{
                "grade": "A",
                "condition": "CONDITION_CLEAN",
                "tote": {
                    "gross": {"decimal": "45.60", "unit": "WEIGHT_UNIT_LB", "scale": "dock"},
                    "tote": "grey-1",
                    "iced": true,
                    "pieces": 66,
                },
            }]}],
            "confirmation": "CONFIRMATION_BY_DIVER",
            "firstReadingAt": "2031-05-02T18:32:10Z",
            "offline": {"payoutShown": {"amountMinor": "21394", "currency": "USD"}},
        }})
    }

    #[test]
    fn a_deed_read_and_written_is_the_same_json() {
        let deed: v1::Deed = read(&sample()).unwrap();
        assert_eq!(write(&deed), sample());
        let Some(v1::deed::Deed::WeighIn(weigh_in)) = deed.deed else {
            panic!("it is a weigh-in")
        };
        assert_eq!(weigh_in.landing.unwrap().dives, Some(0));
        assert_eq!(weigh_in.first_reading_at.unwrap().seconds, 1_935_513_130);
        assert_eq!(
            weigh_in.offline.unwrap().payout_shown.unwrap().amount_minor,
            21_394
        );
    }

    /// Sets `pointer` of the sample and says what reading it answers.
    fn with(pointer: &str, key: &str, value: Value) -> String {
        let mut json = sample();
        json.pointer_mut(pointer)
            .unwrap()
            .as_object_mut()
            .unwrap()
            .insert(key.to_owned(), value);
        read::<v1::Deed>(&json).unwrap_err().to_string()
    }

    #[test]
    fn a_mistake_is_named_with_its_place() {
        let unknown = with("/weighIn/lots/0", "specie", json!("PZO"));
        assert!(unknown.contains("weighIn.lots[0]"), "{unknown}");
        assert!(unknown.contains("specie"), "{unknown}");

        let wrong_type = with("/weighIn/lots/0/weighings/0/tote", "pieces", json!("many"));
        assert!(
            wrong_type.contains("weighIn.lots[0].weighings[0].tote.pieces"),
            "{wrong_type}"
        );

        let wrong_word = with(
            "/weighIn/lots/0",
            "presentation",
            json!("PRESENTATION_FLAT"),
        );
        assert!(
            wrong_word.contains("weighIn.lots[0].presentation"),
            "{wrong_word}"
        );
    }

    /// Fields of a price per weight, of all that can be reached from a message.
    fn prices(from: &MessageDescriptor, seen: &mut Vec<String>, found: &mut Vec<String>) {
        if seen.contains(&from.full_name().to_owned()) {
            return;
        }
        seen.push(from.full_name().to_owned());
        for field in from.fields() {
            if let prost_reflect::Kind::Message(inner) = field.kind() {
                if inner.name().ends_with("UnitPrice") {
                    found.push(format!("{}.{}", from.name(), field.name()));
                } else {
                    prices(&inner, seen, found);
                }
            }
        }
    }

    #[test]
    fn a_kitchen_reads_no_dock_price_and_a_diver_no_resale_price() {
        let pool = DescriptorPool::decode(proto::DESCRIPTORS).unwrap();
        let reads = |name: &str| {
            let message = pool.get_message_by_name(&format!("weighhouse.v1.{name}"));
            let (mut seen, mut found) = (Vec::new(), Vec::new());
            prices(&message.unwrap(), &mut seen, &mut found);
            found.sort();
            found.dedup();
            (seen, found)
        };
        // What a kitchen reads bears neither a price nor an amount of money.
        for name in ["ListSupplierYieldsResponse", "GetLotResponse"] {
            let (seen, found) = reads(name);
            assert_eq!(found, [""; 0], "{name}");
            assert!(!seen.iter().any(|of| of.ends_with(".Money")), "{name}");
        }
        // What a diver reads bears the prices at the dock and no other.
        for name in [
            "GetTicketResponse",
            "GetStatementResponse",
            "PreviewSettlementResponse",
            "GetCashYearResponse",
        ] {
            let (_, found) = reads(name);
            let dock = |field: &String| {
                field.starts_with("TicketLine.") || field == "Adjustment.per_weight"
            };
            assert!(found.iter().all(dock), "{name}: {found:?}");
        }
        // Only a movement says what fish was sold on for, and nothing reads it back.
        assert_eq!(
            reads("RecordMovementRequest").1,
            ["RecordMovementRequest.price"]
        );
        let reached = pool
            .services()
            .flat_map(|service| service.methods().collect::<Vec<_>>())
            .filter(|method| {
                reads(method.output().name())
                    .0
                    .iter()
                    .any(|of| of.ends_with(".RecordMovementRequest"))
            });
        assert_eq!(reached.count(), 0);
    }
}
