//! Makings: cut, dress, pool, freeze, and a customer's cut.

use books::table::{Cell, LOT, MAKING_IN, MAKING_OUT, PART};
use books::{Row, entries};
use rules::fish::{Storage, Undersize};
use rules::making::{
    self, BadMaking, Fate, MadeFrom, MadeSource, Making, MakingAsked, MakingInput, MakingKind,
    MakingOutput, Source,
};
use rules::office::{PartyRole, Settings};
use rules::stock::{CountAsked, Moved, MovementAsked, PoolAsked};
use rules::ticket::caution::cautions;
use rules::ticket::{Notice, NoticeKind};
use rules::weight::Weight;

use super::Named;
use crate::landings::check_tally;
use crate::{Booked, Caller, Desk, DeskError, Plan};

impl Desk {
    /// New lots from old ones, or a customer's cut.
    ///
    /// # Errors
    /// A making that cannot stand, an unknown part, dispatch or party, or held
    /// fish.
    pub async fn making(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: MakingAsked,
    ) -> Result<Booked<MakingAsked, Making>, DeskError> {
        let entries = asked.inputs.iter().filter_map(|input| match input.source {
            Source::Dispatch(id) => Some(id),
            Source::Part(_) => None,
        });
        let lots = asked.inputs.iter().filter_map(|input| match input.source {
            Source::Part(part) => Some(part.lot),
            Source::Dispatch(_) => None,
        });
        self.at_all(caller, asked.site, entries, lots)?;
        self.own_cut(caller, &asked).await?;
        self.deed(caller, "making", request_id, asked, |asked| {
            self.plan_making(asked)
        })
        .await
    }

    /// Refuses a cut that is not the caller's: a kitchen records what it did with fish
    /// it got, somebody at the table what they cut themselves.
    async fn own_cut(&self, caller: &Caller, asked: &MakingAsked) -> Result<(), DeskError> {
        if !caller.role.is_own_only() {
            return Ok(());
        }
        match asked.kind {
            MakingKind::CustomerCut => {
                caller.own(&asked.kitchen)?;
                let mut tx = self.read().await?;
                for input in &asked.inputs {
                    let Source::Dispatch(id) = input.source else {
                        return Err(DeskError::Denied);
                    };
                    if books::stock::receiver_of(&mut tx, id).await? != caller.party {
                        return Err(DeskError::Denied);
                    }
                }
                Ok(())
            }
            MakingKind::Cut | MakingKind::Dress => {
                // Only those who stand at the buyer's table reach what lies on it.
                if !self.is_staff(caller) {
                    return Err(DeskError::Denied);
                }
                caller.own(&asked.cutter)
            }
            MakingKind::Pool | MakingKind::Freeze => Err(DeskError::Denied),
        }
    }

    async fn plan_making(
        &self,
        asked: MakingAsked,
    ) -> Result<Plan<MakingAsked, Making>, DeskError> {
        making::check(&asked).map_err(bad)?;
        if let Some(tally) = &asked.tally {
            check_tally("tally", tally)?;
        }
        let office = self.office();
        for (field, party) in [("cutter", &asked.cutter), ("kitchen", &asked.kitchen)] {
            if party.is_empty() {
                continue;
            }
            let roles: &[PartyRole] = match field {
                "cutter" => &[PartyRole::Staff, PartyRole::Kitchen],
                _ => &[PartyRole::Kitchen],
            };
            match office.parties.get(party) {
                None => return Err(DeskError::unknown(field, "party", party)),
                Some(party) => super::has_role(field, party, roles)?,
            }
        }
        let (happened_us, settings) = self.when(asked.site, asked.happened_us).await?;
        if asked.kind == MakingKind::CustomerCut {
            let mut inputs = Vec::with_capacity(asked.inputs.len());
            for (i, input) in asked.inputs.iter().enumerate() {
                inputs.push(self.dispatched(i, input, asked.site).await?);
            }
            let mut made = making::make(&asked, inputs, &settings).map_err(bad)?;
            made.notices = self.at_the_table(&made, &[], &settings);
            let party = asked.kitchen.clone();
            return Ok(Plan {
                site: asked.site,
                day: self.day_at(asked.site, happened_us),
                party,
                ..self.on_stock(&[], happened_us, asked, made, Vec::new())?
            });
        }
        let (inputs, named) = self
            .inputs(asked.site, &asked.inputs, &settings, "inputs")
            .await?;
        let mut made = making::make(&asked, inputs, &settings).map_err(bad)?;
        made.notices = self.at_the_table(&made, &named, &settings);
        let mut rows = rows(&made, &named, asked.site, happened_us);
        let mut carried = self
            .makes(asked.site, &made, &named, &asked.plan_line, happened_us)
            .await?;
        made.notices.append(&mut carried.notices);
        rows.append(&mut carried.rows);
        let mut plan = self.on_stock(&named, happened_us, asked, made, rows)?;
        plan.must_hold.append(&mut carried.must_hold);
        Ok(plan)
    }

    /// What is said to the people at the table: cautions about what they handle,
    /// and what looked odd.
    fn at_the_table(&self, made: &Making, from: &[Named], settings: &Settings) -> Vec<Notice> {
        let office = self.office();
        let fish = made
            .inputs
            .iter()
            .filter(|input| input.presentation.is_fish());
        let mut handled: Vec<_> = fish
            .filter_map(|input| office.species.get(&input.species))
            .collect();
        handled.dedup();
        let mut notices = cautions(&handled, &handled, false);
        for ((line, input), named) in (1_i64..).zip(&made.inputs).zip(from) {
            notices.extend(self.beyond(named, input.weight, settings, line));
        }
        if made.table_unaccounted.is_negative() {
            notices.push(Notice {
                kind: NoticeKind::Warning,
                code: "more_out_than_in".to_owned(),
                text: "More came off the table than went on it: rinse water, or a missing input. \
                       It is booked and will be flagged."
                    .to_owned(),
                line: 0,
            });
        }
        notices
    }

    /// The bin of a count as the making it is.
    pub(super) async fn pool_of(
        &self,
        count: &CountAsked,
        pool: &PoolAsked,
        settings: &Settings,
    ) -> Result<(Making, Vec<Named>), DeskError> {
        let inputs: Vec<MakingInput> = pool
            .parts
            .iter()
            .map(|part| MakingInput {
                source: Source::Part(*part),
                weight: None,
                emptied: false,
            })
            .collect();
        let (from, named) = self
            .inputs(count.site, &inputs, settings, "pool.parts")
            .await?;
        let presentation = named.first().map(|named| named.lot.presentation);
        let output = MakingOutput {
            presentation: presentation
                .ok_or_else(|| DeskError::malformed("pool.parts", "a bin has at least one part"))?,
            fate: Fate::Lot,
            weight: None,
            storage: pool.storage,
            reason: String::new(),
            grade: pool.grade.clone(),
        };
        let asked = MakingAsked {
            site: count.site,
            kind: MakingKind::Pool,
            inputs,
            outputs: vec![output],
            specification: String::new(),
            cutter: String::new(),
            kitchen: String::new(),
            minutes: String::new(),
            happened_us: count.happened_us,
            tally: None,
            plan_line: String::new(),
        };
        Ok((making::make(&asked, from, settings).map_err(bad)?, named))
    }

    /// Looks up what goes in: all that is left by the book where a pool's part
    /// was not weighed.
    async fn inputs(
        &self,
        site: i64,
        asked: &[MakingInput],
        settings: &Settings,
        list: &str,
    ) -> Result<(Vec<MadeFrom>, Vec<Named>), DeskError> {
        let mut from: Vec<MadeFrom> = Vec::with_capacity(asked.len());
        let mut all: Vec<Named> = Vec::with_capacity(asked.len());
        for (i, input) in asked.iter().enumerate() {
            let field = format!("{list}[{i}]");
            let Source::Part(part) = input.source else {
                return Err(DeskError::malformed(field, "must be a part of this book"));
            };
            let named = self.named(&field, part).await?;
            self.same_site(&field, &named, site)?;
            named.not_held(&field)?;
            if all.iter().any(|before| before.part.id == named.part.id) {
                return Err(DeskError::malformed(
                    field,
                    "names a part that is named before",
                ));
            }
            if all
                .first()
                .is_some_and(|first| first.lot.species != named.lot.species)
            {
                return Err(DeskError::malformed(field, "one making is of one species"));
            }
            let weight = match &input.weight {
                Some(reading) => reading.weight,
                // More than there was may have gone already: nothing is left to pool.
                None => named.left(settings).max(Weight::ZERO),
            };
            from.push(MadeFrom {
                source: MadeSource::Part(named.part.id),
                weight,
                emptied: input.emptied,
                supplier: named.lot.supplier.clone(),
                species: named.lot.species.clone(),
                presentation: named.lot.presentation,
            });
            all.push(named);
        }
        Ok((from, all))
    }

    /// A dispatch that a customer cut from.
    async fn dispatched(
        &self,
        i: usize,
        input: &MakingInput,
        site: i64,
    ) -> Result<MadeFrom, DeskError> {
        let field = format!("inputs[{i}].dispatch");
        let (Source::Dispatch(id), Some(weight)) = (input.source, &input.weight) else {
            return Err(DeskError::Internal);
        };
        let mut tx = self.read().await?;
        let entry = entries::get(&mut tx, id).await?;
        drop(tx);
        let entry = entry
            .filter(|entry| entry.kind == "movement" && entry.id.site() == site)
            .ok_or_else(|| DeskError::unknown(&field, "movement", &id.to_string()))?;
        let (went, moved): (MovementAsked, Moved) = entry.read()?;
        if !went.outlet.has_receiver() {
            let rule = format!("went to no kitchen ({})", went.outlet.word());
            return Err(DeskError::malformed(field, rule));
        }
        let mut lots = Vec::with_capacity(moved.taken.len());
        for taken in &moved.taken {
            let part = super::of_part(taken.part);
            lots.push(self.named(&field, part).await?.lot);
        }
        let first = lots.first().ok_or(DeskError::Internal)?;
        let one_kind = lots
            .iter()
            .all(|l| (&l.species, l.presentation) == (&first.species, first.presentation));
        if !one_kind {
            return Err(DeskError::malformed(
                field,
                "this dispatch mixed kinds of fish",
            ));
        }
        let one_supplier = lots.iter().all(|lot| lot.supplier == first.supplier);
        Ok(MadeFrom {
            source: MadeSource::Dispatch(id),
            weight: weight.weight,
            emptied: input.emptied,
            supplier: if one_supplier {
                first.supplier.clone()
            } else {
                String::new()
            },
            species: first.species.clone(),
            presentation: first.presentation,
        })
    }
}

/// The rows of a making beside its entry: what it took, where it went, and the
/// lots it made, each with its one part.
pub(super) fn rows(making: &Making, from: &[Named], site: i64, happened_us: i64) -> Vec<Row> {
    let mut rows = Vec::new();
    for (n, input) in (1_i64..).zip(&making.inputs) {
        let MadeSource::Part(part) = input.source else {
            continue;
        };
        rows.push(Row::new(
            &MAKING_IN,
            [
                Cell::Own,
                n.into(),
                part.lot.number().into(),
                part.lot.place().into(),
                part.n.into(),
                input.weight.units().into(),
                i64::from(input.emptied).into(),
            ],
        ));
    }
    for (n, out) in (1_i64..).zip(making.rows()) {
        let (number, place, part) = match out.place {
            Some(place) => (Cell::Own, place, 1),
            None => (0.into(), 0, 0),
        };
        rows.push(Row::new(
            &MAKING_OUT,
            [
                Cell::Own,
                n.into(),
                out.fate.into(),
                number,
                place.into(),
                part.into(),
                out.weight.units().into(),
            ],
        ));
    }
    let species = making
        .inputs
        .first()
        .map_or("", |input| input.species.as_str());
    let harvested_us = from
        .iter()
        .map(|named| named.lot.harvested_us)
        .min()
        .unwrap_or(happened_us);
    // What came of undersize fish only is still undersize fish.
    let all_small = from
        .iter()
        .all(|named| named.part.undersize == Undersize::Yes);
    for made in &making.outputs {
        let Some(place) = made.place else { continue };
        rows.push(Row::new(
            &LOT,
            [
                Cell::Own,
                place.into(),
                Cell::Own,
                site.into(),
                species.into(),
                made.presentation.number().into(),
                made.storage.map_or(0, Storage::number).into(),
                making.supplier().into(),
                making.kind.number().into(),
                harvested_us.into(),
            ],
        ));
        let undersize = if all_small && made.presentation.is_fish() {
            Undersize::Yes
        } else {
            Undersize::No
        };
        rows.push(Row::new(
            &PART,
            [
                Cell::Own,
                place.into(),
                1.into(),
                0.into(),
                made.grade.as_str().into(),
                0.into(),
                0.into(),
                undersize.number().into(),
                Cell::Own,
            ],
        ));
    }
    rows
}

fn bad(error: BadMaking) -> DeskError {
    let field = match &error {
        BadMaking::NoInput | BadMaking::PoolMixes | BadMaking::TooHeavy => "inputs".to_owned(),
        BadMaking::NoOutput | BadMaking::TooManyLots(_) | BadMaking::PoolOutput => {
            "outputs".to_owned()
        }
        BadMaking::WrongSource { n, .. }
        | BadMaking::InputNotWeighed(n)
        | BadMaking::InputTwice(n) => format!("inputs[{}]", n - 1),
        BadMaking::OutputNotWeighed(n)
        | BadMaking::OutputWeighed(n)
        | BadMaking::DiscardReason(n) => format!("outputs[{}]", n - 1),
        BadMaking::Missing { missing, .. } => (*missing).to_owned(),
        BadMaking::Extra { extra, .. } => (*extra).to_owned(),
        BadMaking::Minutes(_) => "minutes".to_owned(),
    };
    DeskError::Malformed {
        field,
        reason: "MAKING_CANNOT_STAND",
        rule: error.to_string(),
    }
}
