//! Rooms for small fish, choices, plans, and what travels with fish.

use desk::{DispatchNote, DispatchedLot, PlanFound};
use proto::v1;
use rules::ids::PartId;
use rules::money::{Currency, Money};
use rules::outlet::eligible::WhyNot;
use rules::outlet::plan::{Change, Choice, ChoiceCost, Plan, PlanLine, PlanPart, PlanRoom};
use rules::outlet::{Room, Window};
use rules::weight::{Reading, Weight, WeightUnit};

use super::{day, int32, money, reading, timestamp, unit_price, weight};
use crate::codes::{Coded as _, wire_or_none, wires};

/// A room for small fish.
pub(crate) fn room(room: &Room) -> v1::Room {
    let read = |of: &Option<Reading>| of.as_ref().map(reading);
    v1::Room {
        site: int32(room.site),
        code: room.code.clone(),
        name: room.name.clone(),
        kind: room.kind.wire(),
        party: room.party.clone(),
        species: room.species.clone(),
        presentations: wires(&room.presentations),
        weight: Some(reading(&room.weight)),
        promised: read(&room.promised),
        price: room.price.map(unit_price),
        handling: room.handling.map(unit_price),
        least_drop: read(&room.least_drop),
        from: room.from_us.map(timestamp),
        until: room.until_us.map(timestamp),
        standing: room.standing,
        windows: room.windows.iter().map(window).collect(),
        keeps_cold: room.keeps_cold,
        takes_spines: room.takes_spines,
        piece_from: read(&room.piece_from),
        piece_to: read(&room.piece_to),
        specification: room.specification.clone(),
        oldest_hours: room.oldest_hours.map(int32),
        ended: room.ended,
    }
}

fn window(window: &Window) -> v1::PickUpWindow {
    let shown = |minute: i64| format!("{:02}:{:02}", minute / 60, minute % 60);
    v1::PickUpWindow {
        from: shown(window.from_minute),
        to: shown(window.to_minute),
    }
}

fn part_ref(part: PartId) -> v1::PartRef {
    v1::PartRef {
        lot_code: part.lot.to_string(),
        part: Some(int32(part.n)),
    }
}

/// In which unit and money people read.
#[derive(Clone, Copy)]
pub(crate) struct Read {
    pub(crate) unit: WeightUnit,
    pub(crate) currency: Currency,
}

impl Read {
    fn weight(self, of: Weight) -> Option<v1::Weight> {
        Some(weight(of, self.unit))
    }

    fn money(self, minor: i64) -> Option<v1::Money> {
        Some(money(Money::new(minor, self.currency)))
    }

    /// How two plans differ.
    pub(crate) fn change(self, change: Change) -> v1::PlanChange {
        v1::PlanChange {
            promised: self.weight(change.promised),
            kept: self.weight(change.kept),
            money: self.money(change.money_minor),
        }
    }
}

/// A plan as it was found.
pub(crate) fn found(found: &PlanFound, read: Read) -> v1::Plan {
    v1::Plan {
        site: int32(found.site),
        day: Some(day(found.day)),
        asked_at: Some(timestamp(found.asked_us)),
        digest: found.digest.clone(),
        ..plan(&found.plan, read)
    }
}

/// Where each pound goes.
pub(crate) fn plan(plan: &Plan, read: Read) -> v1::Plan {
    v1::Plan {
        lines: (1..)
            .zip(&plan.lines)
            .map(|(n, of)| line(n, of, read))
            .collect(),
        parts: plan.parts.iter().map(|of| part(of, read)).collect(),
        rooms: plan.rooms.iter().map(|of| plan_room(of, read)).collect(),
        result: Some(read.change(plan.result)),
        tidied: plan.tidied.clone(),
        choices: plan
            .choices
            .iter()
            .map(|of| choice_cost(of, read))
            .collect(),
        remarks: plan.remarks.clone(),
        ..v1::Plan::default()
    }
}

fn line(n: i64, line: &PlanLine, read: Read) -> v1::PlanLine {
    v1::PlanLine {
        n: int32(n),
        part: Some(part_ref(line.part)),
        room: line.room.clone(),
        room_name: line.room_name.clone(),
        kind: line.kind.wire(),
        outlet: wire_or_none(line.kind.outlet()),
        party: line.party.clone(),
        weight: read.weight(line.weight),
        delivered: read.weight(line.delivered),
        dress_to: wire_or_none(line.dress),
        net: read.money(line.net_minor),
        leaves_at: Some(timestamp(line.leaves_us)),
        pinned: line.pinned,
    }
}

fn part(part: &PlanPart, read: Read) -> v1::PlanPart {
    let known = |us: i64| (us != 0).then(|| timestamp(us));
    v1::PlanPart {
        part: Some(part_ref(part.part)),
        species: part.species.clone(),
        presentation: part.presentation.wire(),
        supplier: part.supplier.clone(),
        weight: read.weight(part.weight),
        harvested_at: known(part.harvested_us),
        left: read.weight(part.left),
        why_left: part.why_left.clone(),
        next_best: part
            .next_best
            .as_ref()
            .map_or_else(String::new, |next| next.room.clone()),
        next_best_change: part.next_best.as_ref().map(|next| read.change(next.change)),
        refusals: part
            .refused
            .iter()
            .map(|(room, why)| v1::RoomRefusal {
                room: room.clone(),
                rules: why.iter().map(rule).collect(),
            })
            .collect(),
    }
}

fn rule(why: &WhyNot) -> v1::RuleRefusal {
    v1::RuleRefusal {
        rule: why.rule.word().to_owned(),
        safety: why.rule.is_safety(),
        text: why.text.clone(),
    }
}

fn plan_room(room: &PlanRoom, read: Read) -> v1::PlanRoom {
    v1::PlanRoom {
        room: room.room.clone(),
        name: room.name.clone(),
        kind: room.kind.wire(),
        party: room.party.clone(),
        weight: read.weight(room.weight),
        promised: read.weight(room.promised),
        planned: read.weight(room.planned),
        one_more: room.one_more.map(|change| read.change(change)),
    }
}

fn choice(choice: &Choice) -> v1::Choice {
    v1::Choice {
        kind: choice.kind.wire(),
        part: Some(part_ref(choice.part)),
        room: choice.room.clone(),
        weight: choice.weight.as_ref().map(reading),
        reason: choice.reason.clone(),
    }
}

fn choice_cost(of: &ChoiceCost, read: Read) -> v1::ChoiceCost {
    v1::ChoiceCost {
        choice: Some(choice(&of.choice)),
        cost: Some(read.change(of.cost)),
    }
}

/// What travels with fish that left.
pub(crate) fn note(note: &DispatchNote, unit: WeightUnit) -> v1::GetDispatchNoteResponse {
    v1::GetDispatchNoteResponse {
        movement: note.movement.to_string(),
        left_at: Some(timestamp(note.left_us)),
        outlet: note.outlet.wire(),
        to: note.to.as_ref().map(super::office::party),
        from: note.from.as_ref().map(super::office::party),
        site: Some(super::office::site(&note.site)),
        lots: note.lots.iter().map(|of| lot(of, unit)).collect(),
        total: Some(weight(note.lots.iter().map(|lot| lot.weight).sum(), unit)),
        temperature: note
            .temperature
            .as_ref()
            .map_or_else(String::new, ToString::to_string),
        allergen: note.allergen.clone(),
        cautions: note.cautions.clone(),
        receipt: note.receipt,
        plan_line: note.plan_line.clone(),
    }
}

fn lot(lot: &DispatchedLot, unit: WeightUnit) -> v1::DispatchedLot {
    v1::DispatchedLot {
        part: Some(part_ref(lot.part)),
        species: lot.species.code.clone(),
        species_name: lot.species.name.clone(),
        scientific_name: lot.species.scientific_name.clone(),
        presentation: lot.presentation.wire(),
        storage: wire_or_none(lot.storage),
        weight: Some(weight(lot.weight, unit)),
        harvested_at: (lot.harvested_us != 0).then(|| timestamp(lot.harvested_us)),
    }
}
