//! How rooms for small fish, choices and plans stand in a document.

use rules::outlet::eligible::{Rule, WhyNot};
use rules::outlet::plan::{
    Change, Choice, ChoiceAsked, ChoiceCost, ChoiceKind, NextBest, Plan, PlanLine, PlanPart,
    PlanRoom, PlanTaken,
};
use rules::outlet::{Room, RoomKind, Window};

use crate::doc::{BadDoc, Doc, Value, field, object};
use crate::{doc_struct, doc_word};

doc_word! { RoomKind, ChoiceKind, Rule }

doc_struct! {
    Room {
        site, code, name, kind, party, species, presentations, weight, promised, price, handling,
        least_drop, from_us, until_us, standing, windows, keeps_cold, takes_spines, piece_from,
        piece_to, specification, oldest_hours, ended,
    }
    Window { from_minute, to_minute }
    Choice { kind, part, room, weight, reason }
    ChoiceAsked { site, choice }
    PlanTaken { site, day, digest }
    Plan { lines, parts, rooms, result, tidied, choices, remarks }
    PlanLine { part, room, room_name, kind, party, weight, delivered, dress, net_minor, leaves_us, pinned }
    PlanPart { part, species, presentation, supplier, harvested_us, weight, left, why_left, next_best, refused }
    NextBest { room, change }
    PlanRoom { room, name, kind, party, weight, promised, planned, one_more }
    Change { promised, kept, money_minor }
    ChoiceCost { choice, cost }
    WhyNot { rule, text }
}

impl Doc for (String, Vec<WhyNot>) {
    fn to_doc(&self) -> Value {
        object([("room", self.0.to_doc()), ("why", self.1.to_doc())])
    }
    fn from_doc(value: &Value) -> Result<Self, BadDoc> {
        Ok((field(value, "room")?, field(value, "why")?))
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use rules::fish::Presentation;
    use rules::ids::{LotCode, PartId};
    use rules::money::{Currency, UnitPrice};
    use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};

    use super::*;
    use crate::doc::tests::reads_back;

    #[test]
    fn rooms_choices_and_plans_read_back() {
        let read = |text| Reading::new(text, WeightUnit::Lb, "dock", ReadingSource::Keyed).ok();
        let usd = Currency::new("USD").unwrap();
        let price = |text| UnitPrice::new(text, usd, WeightUnit::Lb).ok();
        reads_back(&Room {
            site: 1,
            code: "hill-soup".to_owned(),
            name: "Soup".to_owned(),
            kind: RoomKind::Soup,
            party: "hill-kitchen".to_owned(),
            species: vec!["PZO".to_owned()],
            presentations: vec![Presentation::GuttedHeaded],
            weight: read("10.00").unwrap(),
            promised: read("6.00"),
            price: price("2.00"),
            handling: price("0.10"),
            least_drop: read("5"),
            from_us: Some(1),
            until_us: Some(2),
            standing: true,
            windows: vec![Window {
                from_minute: 960,
                to_minute: 1_080,
            }],
            keeps_cold: true,
            takes_spines: false,
            piece_from: read("0.25"),
            piece_to: None,
            specification: "skinless".to_owned(),
            oldest_hours: Some(60),
            ended: false,
        });
        let part = PartId {
            lot: LotCode::new(2_031_050_200_010_000_001, 1).unwrap(),
            n: 1,
        };
        let choice = Choice {
            kind: ChoiceKind::Pin,
            part,
            room: "hill-soup".to_owned(),
            weight: read("2.00"),
            reason: "they asked".to_owned(),
        };
        reads_back(&ChoiceAsked {
            site: 1,
            choice: choice.clone(),
        });
        let change = Change {
            promised: Weight::from_units(1),
            kept: Weight::from_units(-2),
            money_minor: -3,
        };
        reads_back(&PlanTaken {
            site: 1,
            day: 20_310_502,
            digest: "ab".to_owned(),
        });
        reads_back(&Plan {
            lines: vec![PlanLine {
                part,
                room: "hill-soup".to_owned(),
                room_name: "Soup".to_owned(),
                kind: RoomKind::Soup,
                party: "hill-kitchen".to_owned(),
                weight: Weight::from_units(7),
                delivered: Weight::from_units(4),
                dress: Some(Presentation::GuttedHeaded),
                net_minor: 630,
                leaves_us: 9,
                pinned: true,
            }],
            parts: vec![PlanPart {
                part,
                species: "PZO".to_owned(),
                presentation: Presentation::Whole,
                supplier: String::new(),
                harvested_us: 5,
                weight: Weight::from_units(9),
                left: Weight::from_units(2),
                why_left: "full".to_owned(),
                next_best: Some(NextBest {
                    room: String::new(),
                    change,
                }),
                refused: vec![(
                    "pantry".to_owned(),
                    vec![WhyNot {
                        rule: Rule::Condition,
                        text: "is torn".to_owned(),
                    }],
                )],
            }],
            rooms: vec![PlanRoom {
                room: "hill-soup".to_owned(),
                name: "Soup".to_owned(),
                kind: RoomKind::Soup,
                party: "hill-kitchen".to_owned(),
                weight: Weight::from_units(10),
                promised: Weight::from_units(6),
                planned: Weight::from_units(4),
                one_more: Some(change),
            }],
            result: change,
            tidied: vec!["joined".to_owned()],
            choices: vec![ChoiceCost {
                choice,
                cost: change,
            }],
            remarks: vec!["not set".to_owned()],
        });
    }
}
