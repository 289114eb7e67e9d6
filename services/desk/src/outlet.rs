//! Where small fish goes: rooms and choices on file, plans, and what travels with fish
//! that left.
//!
//! A plan is proposed from what is on ice as often as somebody asks, and writes nothing.
//! Taken, it is an entry, and each of its lines is carried out once, by a movement or a
//! making that spends it. Safety is asked again of everything on its way out, planned or
//! not.

use std::collections::BTreeSet;

use books::outlets::{self, Filled, Origins};
use books::register::Office;
use books::{Condition, Row, close, entries, register, stock};
use rules::fish::{Hazard, Outlet, Presentation, Undersize};
use rules::ids::{DayNumber, EntryId, PartId};
use rules::making::{Making, MakingKind};
use rules::office::{Party, PartyRole, Settings, Site, Species};
use rules::outlet::eligible::{self, WhyNot};
use rules::outlet::plan::{
    self as planning, Change, Choice, ChoiceAsked, ChoiceKind, Cutting, NoPlan, Plan as OutletPlan,
    PlanAsked, PlanLine, PlanTaken, RoomNow,
};
use rules::outlet::{At, BadRoom, Fish, Room, RoomKind};
use rules::receiving;
use rules::stock::{Moved, MovementAsked};
use rules::ticket::caution::cautions;
use rules::ticket::{Notice, NoticeKind, Temperature};
use rules::weight::Weight;
use sha2::{Digest as _, Sha256};

use crate::stock::Named;
use crate::{Booked, Caller, Desk, DeskError, Plan};

/// A plan that is asked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ProposalAsked {
    /// Its site.
    pub site: i64,
    /// Business day, `YYYYMMDD`; absent is today.
    pub day: Option<DayNumber>,
    /// Rooms as if they were on file so.
    pub what_if_rooms: Vec<Room>,
    /// Choices as if they were recorded.
    pub what_if_choices: Vec<Choice>,
}

/// A plan with what it is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanFound {
    /// Its site.
    pub site: i64,
    /// Business day.
    pub day: DayNumber,
    /// When it was asked for, microseconds since 1970 UTC.
    pub asked_us: i64,
    /// SHA-256 of where each pound goes.
    pub digest: String,
    /// Where each pound goes.
    pub plan: OutletPlan,
}

/// What travels with fish that left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DispatchNote {
    /// Entry id of the movement.
    pub movement: EntryId,
    /// When it left, microseconds since 1970 UTC.
    pub left_us: i64,
    /// Where to.
    pub outlet: Outlet,
    /// Who received it; nobody for what nobody receives.
    pub to: Option<Party>,
    /// Who hands it over.
    pub from: Option<Party>,
    /// Where.
    pub site: Site,
    /// In the order of the movement.
    pub lots: Vec<DispatchedLot>,
    /// As measured when it left.
    pub temperature: Option<Temperature>,
    /// Says the allergen, species named.
    pub allergen: String,
    /// Handling and cooking.
    pub cautions: Vec<String>,
    /// It serves as receipt of a donation.
    pub receipt: bool,
    /// Plan line it carried out, or empty.
    pub plan_line: String,
}

/// A lot, or some of it, on its way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DispatchedLot {
    /// The part.
    pub part: PartId,
    /// Its species.
    pub species: Species,
    /// Form of the fish.
    pub presentation: Presentation,
    /// How it was kept.
    pub storage: Option<rules::fish::Storage>,
    /// How much.
    pub weight: Weight,
    /// Earliest harvest known, microseconds since 1970 UTC.
    pub harvested_us: i64,
}

/// A plan's line that is being carried out.
struct Carried {
    plan: i64,
    /// From 1.
    n: i64,
    line: PlanLine,
}

/// What carrying out a line adds to a deed.
#[derive(Default)]
pub(crate) struct CarriedOut {
    pub(crate) rows: Vec<Row>,
    pub(crate) must_hold: Vec<Condition>,
    pub(crate) notices: Vec<Notice>,
}

impl Desk {
    /// Puts a room for small fish on file, or a newer version of it.
    ///
    /// # Errors
    /// A room that cannot be, or an unknown site, party or species.
    pub async fn record_room(
        &self,
        caller: &Caller,
        request_id: &str,
        room: Room,
    ) -> Result<Booked<Room, Room>, DeskError> {
        self.at_site(caller, room.site)?;
        self.deed(caller, "room", request_id, room, |room| async move {
            let now_us = self.known_site("room.site", room.site).await?;
            self.check_room("room", &room)?;
            let rows = vec![register::row("room", room.site, &room.code, now_us)];
            let plan = self.local(now_us, room.site, room, rows);
            Ok(Plan {
                party: plan.asked.party.clone(),
                ..plan
            })
        })
        .await
    }

    /// Refuses a room that cannot be on file.
    fn check_room(&self, at: &str, room: &Room) -> Result<(), DeskError> {
        let office = self.office();
        let currency = self.currency(room.site)?;
        room.check(currency)
            .map_err(|(field, why): (_, BadRoom)| DeskError::Malformed {
                field: format!("{at}.{field}"),
                reason: "ROOM_CANNOT_STAND",
                rule: why.to_string(),
            })?;
        if !room.party.is_empty() {
            let field = format!("{at}.party");
            let party = office.parties.get(&room.party);
            let party = party.ok_or_else(|| DeskError::unknown(&field, "party", &room.party))?;
            let roles: &[PartyRole] = room.kind.outlet().map_or(&[], receiving::receives);
            crate::stock::has_role(&field, party, roles)?;
        }
        for (i, code) in room.species.iter().enumerate() {
            if !office.species.contains_key(code) {
                return Err(DeskError::unknown(
                    format!("{at}.species[{i}]"),
                    "species",
                    code,
                ));
            }
        }
        Ok(())
    }

    /// A site's rooms as they are on file, in order of code; those that ended among them.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn rooms(&self, caller: &Caller, site: i64) -> Result<Vec<Room>, DeskError> {
        caller.may("rooms")?;
        self.at_site(caller, site)?;
        let office = self.fresh_office().await?;
        let rooms = office.rooms_at(site, i64::MAX);
        Ok(rooms
            .into_iter()
            .map(|(_, version)| version.content.clone())
            .collect())
    }

    /// Pins a part to a room, forbids it one, or takes that back, and says what it costs.
    ///
    /// # Errors
    /// A part or room that is not there, or a pin that a rule forbids.
    pub async fn choose_outlet(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: ChoiceAsked,
    ) -> Result<Booked<ChoiceAsked, Option<Change>>, DeskError> {
        self.at_all(caller, asked.site, [], [asked.choice.part.lot])?;
        self.deed(caller, "choice", request_id, asked, |asked| async move {
            let now_us = self.known_site("site", asked.site).await?;
            let choice = &asked.choice;
            let office = self.office();
            let on_file = office
                .rooms
                .contains_key(&(asked.site, choice.room.clone()));
            if !on_file {
                return Err(DeskError::unknown("choice.room", "room", &choice.room));
            }
            let proposal = |choices| ProposalAsked {
                site: asked.site,
                what_if_choices: choices,
                ..ProposalAsked::default()
            };
            let before = self.work_out_plan(&proposal(vec![]), now_us, false).await?;
            let after = proposal(vec![choice.clone()]);
            let after = self.work_out_plan(&after, now_us, false).await?;
            let cost = Change {
                promised: less(before.plan.result.promised, after.plan.result.promised),
                kept: less(before.plan.result.kept, after.plan.result.kept),
                money_minor: before.plan.result.money_minor - after.plan.result.money_minor,
            };
            let rows = vec![outlets::choice_row(asked.site, choice)];
            Ok(Plan {
                site: asked.site,
                day: self.day_at(asked.site, now_us),
                party: String::new(),
                happened_us: now_us,
                must_hold: vec![self.as_on_file(asked.site)],
                bumps: Vec::new(),
                asked,
                outcome: Some(cost),
                rows,
            })
        })
        .await
    }

    /// That nothing was put on file for the site since it was read here.
    fn as_on_file(&self, site: i64) -> Condition {
        Condition::Epoch {
            site,
            seen: self.office().epoch(site),
        }
    }

    /// The best plan as things stand, explained. Writes nothing.
    ///
    /// # Errors
    /// An unknown site, a day that is over, or a choice that cannot stand.
    pub async fn propose_plan(
        &self,
        caller: &Caller,
        asked: ProposalAsked,
    ) -> Result<PlanFound, DeskError> {
        caller.may("propose_plan")?;
        let lots = asked.what_if_choices.iter().map(|choice| choice.part.lot);
        self.at_all(caller, asked.site, [], lots)?;
        let now_us = self.known_site("site", asked.site).await?;
        self.fresh_office().await?;
        for (i, room) in asked.what_if_rooms.iter().enumerate() {
            self.check_room(&format!("what_if_rooms[{i}]"), room)?;
        }
        self.work_out_plan(&asked, now_us, true).await
    }

    /// Takes the plan that was looked at, so that fish can leave by its lines.
    ///
    /// # Errors
    /// A plan that would come out otherwise by now.
    pub async fn take_plan(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: PlanTaken,
    ) -> Result<Booked<PlanTaken, OutletPlan>, DeskError> {
        self.at_site(caller, asked.site)?;
        self.deed(caller, "plan", request_id, asked, |asked| async move {
            let now_us = self.known_site("site", asked.site).await?;
            let proposal = ProposalAsked {
                site: asked.site,
                day: (asked.day != 0).then_some(asked.day),
                ..ProposalAsked::default()
            };
            let found = self.work_out_plan(&proposal, now_us, true).await?;
            if !asked.digest.is_empty() && found.digest != asked.digest {
                return Err(DeskError::Precondition {
                    reason: "PLAN_CHANGED",
                    rule: "fish, rooms or choices have changed since this plan was looked at: \
                           look at it again"
                        .to_owned(),
                    field: "digest".to_owned(),
                });
            }
            let today = self.day_at(asked.site, now_us);
            Ok(Plan {
                site: asked.site,
                day: today,
                party: String::new(),
                happened_us: now_us,
                must_hold: vec![self.as_on_file(asked.site)],
                bumps: Vec::new(),
                asked: PlanTaken {
                    day: found.day,
                    digest: found.digest,
                    ..asked
                },
                outcome: found.plan,
                rows: Vec::new(),
            })
        })
        .await
    }

    /// A plan that was taken.
    ///
    /// # Errors
    /// No such plan.
    pub async fn plan(
        &self,
        caller: &Caller,
        id: EntryId,
    ) -> Result<Booked<PlanTaken, OutletPlan>, DeskError> {
        caller.may("propose_plan")?;
        self.at_entry(caller, id.number())?;
        let mut tx = self.read().await?;
        let entry = entries::get(&mut tx, id.number()).await?;
        drop(tx);
        let entry = entry.filter(|entry| entry.kind == "plan");
        let entry = entry.ok_or_else(|| caller.not_found("plan", id.to_string()))?;
        let (asked, outcome) = entry.read()?;
        Ok(Booked {
            entry: entry.id,
            recorded_us: entry.recorded_us,
            pay_day: entry.pay_day(),
            asked,
            outcome,
        })
    }

    /// Works a plan out from what is on ice.
    async fn work_out_plan(
        &self,
        asked: &ProposalAsked,
        now_us: i64,
        explain: bool,
    ) -> Result<PlanFound, DeskError> {
        let office = self.office();
        let site = office.sites.get(&asked.site).ok_or(DeskError::Internal)?;
        let today = site.clock.day_of(now_us);
        let day = asked.day.unwrap_or(today);
        let mut tx = self.read().await?;
        if day < today
            || close::stored(&mut tx, asked.site, day, None)
                .await?
                .is_some()
        {
            return Err(DeskError::Precondition {
                reason: "DAY_OVER",
                rule: "a plan is for a day that is not over, nor closed".to_owned(),
                field: "day".to_owned(),
            });
        }
        let last = (0..MOST_DAYS_AHEAD).fold(today, |day, _| {
            rules::business_day::next_day(day).unwrap_or(day)
        });
        if day > last {
            return Err(DeskError::malformed(
                "day",
                format!("is more than {MOST_DAYS_AHEAD} days ahead"),
            ));
        }
        let at_us = now_us.max(site.clock.start_us(day));
        let (_, settings) = office.settings_at(asked.site, at_us);
        let lots = outlets::lots_on_ice(&mut tx, asked.site).await?;
        let fish = outlets::on_ice(&mut tx, &office, site, &settings, &lots).await?;
        let parts: BTreeSet<PartId> = fish.iter().map(|fish| fish.part).collect();
        let mut rooms = outlets::rooms(&mut tx, &office, asked.site, day, now_us).await?;
        let mut choices = outlets::choices(&mut tx, &parts, i64::MAX).await?;
        let cutting = cutting(&mut tx, asked.site).await?;
        drop(tx);
        for room in &asked.what_if_rooms {
            suppose(&mut rooms, room, &office);
        }
        for choice in &asked.what_if_choices {
            choices.retain(|old| (old.part, &old.room) != (choice.part, &choice.room));
            if choice.kind != ChoiceKind::Free {
                choices.push(choice.clone());
            }
        }
        // A choice about a room that ended, or is for another day, waits.
        choices.retain(|choice| {
            asked.what_if_choices.contains(choice)
                || rooms.iter().any(|now| now.room.code == choice.room)
        });
        let planned = PlanAsked {
            fish,
            rooms,
            choices,
            division: outlets::division(&office, asked.site, &site.clock, day),
            cutting,
            at: At {
                day,
                now_us: at_us,
                clock: &site.clock,
                judging: &settings.judging,
                receiving: &settings.receiving,
                currency: site.currency,
                unit: office.shown_unit_at(asked.site, now_us),
            },
        };
        let plan = if explain {
            planning::explained(&planned)
        } else {
            planning::plan(&planned)
        };
        let plan = plan.map_err(no_plan)?;
        Ok(PlanFound {
            site: asked.site,
            day,
            asked_us: now_us,
            digest: digest(day, &plan.lines),
            plan,
        })
    }

    /// What keeps fish that is on its way out from leaving, and what carrying out a
    /// plan's line adds to the movement.
    pub(crate) async fn leaves(
        &self,
        asked: &MovementAsked,
        all: &[Named],
        weights: &[Weight],
        happened_us: i64,
        settings: &Settings,
    ) -> Result<CarriedOut, DeskError> {
        let office = self.office();
        let site = office.sites.get(&asked.site).ok_or(DeskError::Internal)?;
        let day = site.clock.day_of(happened_us);
        let mut tx = self.read().await?;
        let rooms = outlets::rooms(&mut tx, &office, asked.site, day, happened_us).await?;
        let carried = self.line_of(&mut tx, &asked.plan_line, asked.site).await?;
        let room = match &carried {
            Some(carried) => rooms.iter().find(|now| now.room.code == carried.line.room),
            None => rooms.iter().find(|now| {
                now.room.kind.outlet() == Some(asked.outlet)
                    && now.room.party == asked.counterparty
                    && !now.room.ended
            }),
        };
        let to = office.parties.get(&asked.counterparty);
        let has_contact = to.is_some_and(|party| !party.contact.trim().is_empty());
        let at = At {
            day,
            now_us: happened_us,
            clock: &site.clock,
            judging: &settings.judging,
            receiving: &settings.receiving,
            currency: site.currency,
            unit: office.shown_unit_at(asked.site, happened_us),
        };
        if asked.outlet.is_food() {
            let mut origins = Origins::new(&office, site, settings, i64::MAX);
            for (i, named) in all.iter().enumerate() {
                let weight = weights.get(i).copied().unwrap_or_default();
                let fish = origins
                    .fish(&mut tx, &named.lot, named.part.id, weight)
                    .await?;
                let Some(fish) = fish else { continue };
                let why = eligible::leaving(
                    &fish,
                    asked.outlet,
                    room.map(|now| &now.room),
                    has_contact,
                    asked.temperature.is_some(),
                    happened_us,
                    &at,
                );
                if let Some(why) = why.first() {
                    return Err(may_not_leave(i, &fish, why));
                }
            }
        }
        let mut out = CarriedOut::default();
        if let Some(carried) = &carried {
            if carried.line.kind.outlet() != Some(asked.outlet) {
                return Err(DeskError::malformed(
                    "outlet",
                    format!("the plan line is for {}", carried.line.kind.word()),
                ));
            }
            if carried.line.party != asked.counterparty {
                return Err(DeskError::malformed(
                    "counterparty",
                    format!("the plan line is for {}", carried.line.party),
                ));
            }
            for (i, named) in all.iter().enumerate() {
                self.comes_from(
                    &mut tx,
                    named,
                    carried.line.part,
                    &format!("taken[{i}].part"),
                )
                .await?;
            }
            let went: Weight = weights.iter().copied().sum();
            out.must_hold.push(carried.spend());
            out.notices.extend(self.beside_the_plan(
                &office,
                asked.site,
                carried,
                went,
                happened_us,
            ));
        }
        // Small fish fills a room; plate fish for the same party does not.
        let small = |named: &&Named| named.part.undersize == Undersize::Yes;
        if let Some(now) = room {
            let line = carried.as_ref().map(|carried| (carried.plan, carried.n));
            let filled = all.iter().zip(weights);
            let filled = filled.filter(|(named, _)| line.is_some() || small(named));
            for (n, (named, weight)) in (1..).zip(filled) {
                let filled = Filled {
                    part: named.part.id,
                    weight: *weight,
                };
                let row = outlets::use_row(n, asked.site, &now.room.code, filled, line);
                out.rows.push(row);
            }
        }
        Ok(out)
    }

    /// What carrying out a plan's line by a making adds to it.
    pub(crate) async fn makes(
        &self,
        site: i64,
        made: &Making,
        named: &[Named],
        plan_line: &str,
        happened_us: i64,
    ) -> Result<CarriedOut, DeskError> {
        let mut out = CarriedOut::default();
        let kind = match made.kind {
            MakingKind::Freeze => RoomKind::Freezer,
            MakingKind::Cut => RoomKind::Table,
            MakingKind::Dress | MakingKind::Pool | MakingKind::CustomerCut => {
                if plan_line.is_empty() {
                    return Ok(out);
                }
                return Err(DeskError::malformed(
                    "plan_line",
                    "a plan's line is carried out by a cut, by freezing, or by a movement of what \
                     was dressed",
                ));
            }
        };
        let office = self.office();
        let on_file = office.sites.get(&site).ok_or(DeskError::Internal)?;
        let day = on_file.clock.day_of(happened_us);
        let mut tx = self.read().await?;
        let carried = self.line_of(&mut tx, plan_line, site).await?;
        let rooms = outlets::rooms(&mut tx, &office, site, day, happened_us).await?;
        let mut fitting = rooms
            .iter()
            .filter(|now| now.room.kind == kind && !now.room.ended);
        let room = match &carried {
            Some(carried) => rooms.iter().find(|now| now.room.code == carried.line.room),
            // Where there are several, nobody said which.
            None => fitting.next().filter(|_| fitting.next().is_none()),
        };
        let weights: Vec<Weight> = made.inputs.iter().map(|input| input.weight).collect();
        if let Some(carried) = &carried {
            if carried.line.kind != kind {
                return Err(DeskError::malformed(
                    "plan_line",
                    format!("the plan line is for {}", carried.line.kind.word()),
                ));
            }
            for (i, named) in named.iter().enumerate() {
                self.comes_from(&mut tx, named, carried.line.part, &format!("inputs[{i}]"))
                    .await?;
            }
            let went: Weight = weights.iter().copied().sum();
            out.must_hold.push(carried.spend());
            out.notices
                .extend(self.beside_the_plan(&office, site, carried, went, happened_us));
        }
        if let Some(now) = room {
            let line = carried.as_ref().map(|carried| (carried.plan, carried.n));
            let filled = named.iter().zip(weights);
            let filled = filled
                .filter(|(named, _)| line.is_some() || named.part.undersize == Undersize::Yes);
            for (n, (named, weight)) in (1..).zip(filled) {
                let filled = Filled {
                    part: named.part.id,
                    weight,
                };
                let row = outlets::use_row(n, site, &now.room.code, filled, line);
                out.rows.push(row);
            }
        }
        Ok(out)
    }

    /// The line of a plan that somebody names; nothing where none is named.
    async fn line_of(
        &self,
        tx: &mut books::Tx,
        named: &str,
        site: i64,
    ) -> Result<Option<Carried>, DeskError> {
        if named.is_empty() {
            return Ok(None);
        }
        let unknown = || DeskError::unknown("plan_line", "line of a plan", named);
        let (plan, n) = named.split_once('-').ok_or_else(unknown)?;
        let plan = EntryId::parse(plan).filter(|plan| plan.site() == site);
        let plan = plan.ok_or_else(unknown)?.number();
        let n: i64 = n.parse().map_err(|_| unknown())?;
        let Some(entry) = entries::get(tx, plan).await? else {
            return Err(unknown());
        };
        if entry.kind != "plan" {
            return Err(unknown());
        }
        let (_, taken): (PlanTaken, OutletPlan) = entry.read()?;
        let at = usize::try_from(n - 1).map_err(|_| unknown())?;
        let line = taken.lines.into_iter().nth(at).ok_or_else(unknown)?;
        Ok(Some(Carried { plan, n, line }))
    }

    /// Refuses fish that is neither the planned part nor made of it.
    async fn comes_from(
        &self,
        tx: &mut books::Tx,
        named: &Named,
        planned: PartId,
        field: &str,
    ) -> Result<(), DeskError> {
        let mut open = vec![(named.part.id, named.lot.entry, named.lot.making)];
        let mut seen = BTreeSet::new();
        while let Some((id, entry, making)) = open.pop() {
            if id == planned {
                return Ok(());
            }
            if making == 0 || !seen.insert(entry) {
                continue;
            }
            for source in stock::sources_of(tx, entry).await? {
                let lot = stock::lot(tx, source.lot).await?;
                open.extend(lot.map(|lot| (source, lot.entry, lot.making)));
            }
        }
        Err(DeskError::malformed(
            field,
            format!("the plan line is for part {planned}, and this is neither it nor made of it"),
        ))
    }

    /// What is said where it went otherwise than planned.
    fn beside_the_plan(
        &self,
        office: &Office,
        site: i64,
        carried: &Carried,
        went: Weight,
        happened_us: i64,
    ) -> Vec<Notice> {
        let unit = office.shown_unit_at(site, happened_us);
        let shown = |weight: Weight| format!("{} {}", weight.shown(unit), unit.symbol());
        let warn = |code: &str, text: String| Notice::of(NoticeKind::Warning, code, text);
        let mut notices = Vec::new();
        // A making takes what is on ice, a movement what is handed over.
        let planned = match carried.line.kind.outlet() {
            Some(_) => carried.line.delivered,
            None => carried.line.weight,
        };
        if went != planned {
            let text = format!(
                "{} was planned for {} and {} went; the night says so.",
                shown(planned),
                carried.line.room_name,
                shown(went)
            );
            notices.push(warn("not_as_planned", text));
        }
        let rooms = office.rooms_at(site, i64::MAX);
        let now = rooms.into_iter().map(|(_, version)| version);
        let now = now
            .filter(|version| version.content.code == carried.line.room)
            .find(|version| version.entry > carried.plan);
        if let Some(version) = now {
            let room = &version.content;
            let now = if room.ended {
                " It takes no more.".to_owned()
            } else {
                format!(" It is for {} now.", shown(room.weight.weight))
            };
            let text = format!(
                "{} was changed since the plan was taken.{now}",
                carried.line.room_name
            );
            notices.push(warn("room_changed", text));
        }
        notices
    }

    /// What travels with fish that left.
    ///
    /// # Errors
    /// No such movement, or one that is not the caller's to see.
    pub async fn dispatch_note(
        &self,
        caller: &Caller,
        id: EntryId,
    ) -> Result<DispatchNote, DeskError> {
        caller.may("dispatch_note")?;
        self.at_entry(caller, id.number())?;
        let mut tx = self.read().await?;
        let entry = entries::get(&mut tx, id.number()).await?;
        let entry = entry.filter(|entry| entry.kind == "movement");
        let entry = entry.ok_or_else(|| caller.not_found("movement", id.to_string()))?;
        let (asked, moved): (MovementAsked, Moved) = entry.read()?;
        caller.own(&asked.counterparty)?;
        let office = self.fresh_office().await?;
        let site = office.sites.get(&asked.site).ok_or(DeskError::Internal)?;
        let (_, settings) = office.settings_at(asked.site, entry.happened_us);
        let mut origins = Origins::new(&office, site, &settings, i64::MAX);
        let mut lots = Vec::new();
        for taken in &moved.taken {
            let Some(lot) = stock::lot(&mut tx, taken.part.lot).await? else {
                continue;
            };
            let fish = origins
                .fish(&mut tx, &lot, taken.part, taken.weight)
                .await?;
            lots.extend(fish.map(|fish| DispatchedLot {
                part: taken.part,
                species: fish.species,
                presentation: fish.presentation,
                storage: fish.storage,
                weight: taken.weight,
                harvested_us: fish.harvested_us,
            }));
        }
        let mut kinds: Vec<&Species> = lots.iter().map(|lot| &lot.species).collect();
        kinds.sort_by(|a, b| a.code.cmp(&b.code));
        kinds.dedup();
        let names: Vec<String> = kinds
            .iter()
            .map(|kind| format!("{} ({})", kind.name, kind.scientific_name))
            .collect();
        let receipt = asked.outlet == Outlet::Donation;
        let said = cautions(&kinds, &kinds, receipt);
        let mut says: Vec<String> = said.into_iter().map(|notice| notice.text).collect();
        says.push(format!(
            "Keep at or below {} until it is cooked, and cook it through; local health rules \
             come first.",
            settings.receiving.cold_limit()
        ));
        if kinds.iter().any(|kind| kind.has(Hazard::Ciguatera)) {
            says.push(
                "Do not use head, gut, roe or liver: ciguatoxin gathers there, and neither cooking \
                 nor freezing removes it."
                    .to_owned(),
            );
        }
        Ok(DispatchNote {
            movement: entry.id,
            left_us: entry.happened_us,
            outlet: asked.outlet,
            to: office.parties.get(&asked.counterparty).cloned(),
            from: office.parties.get(&site.buyer).cloned(),
            site: site.clone(),
            allergen: format!("Contains fish: {}.", names.join(", ")),
            cautions: says,
            lots,
            temperature: asked.temperature,
            receipt,
            plan_line: asked.plan_line,
        })
    }
}

impl Carried {
    fn spend(&self) -> Condition {
        Condition::Spend {
            what: self.plan,
            item: self.n,
            how: "carry_out",
        }
    }
}

/// A plan is asked for so many days ahead at most: orders beyond are not made yet.
const MOST_DAYS_AHEAD: usize = 7;

fn less(a: Weight, b: Weight) -> Weight {
    Weight::from_units(a.units() - b.units())
}

/// A room as if it were on file so.
fn suppose(rooms: &mut Vec<RoomNow>, room: &Room, office: &Office) {
    let party = office.parties.get(&room.party);
    let has_contact = party.is_some_and(|party| !party.contact.trim().is_empty());
    let known = rooms.iter().find(|now| now.room.code == room.code);
    let used = known.map_or(Weight::ZERO, |now| now.used);
    rooms.retain(|now| now.room.code != room.code);
    rooms.push(RoomNow {
        room: room.clone(),
        entry: 0,
        has_contact,
        used,
    });
}

/// Cuts of small fish on record, by the last close.
async fn cutting(tx: &mut books::Tx, site: i64) -> Result<Vec<Cutting>, DeskError> {
    let Some(day) = close::last_day(tx, site, i64::MAX).await? else {
        return Ok(Vec::new());
    };
    let Some(stored) = close::stored(tx, site, day, None).await? else {
        return Ok(Vec::new());
    };
    let rows = stored.read()?.small_fish;
    Ok(rows.iter().map(Cutting::from).collect())
}

/// SHA-256 of where each pound goes, whenever it was asked.
fn digest(day: DayNumber, lines: &[PlanLine]) -> String {
    let mut hash = Sha256::new();
    hash.update(day.to_string());
    for line in lines {
        let to = line.dress.map_or("", Presentation::word);
        hash.update(format!(
            "\n{} {} {} {} {to} {} {}",
            line.part,
            line.room,
            line.weight.units(),
            line.delivered.units(),
            line.net_minor,
            line.pinned,
        ));
    }
    hash.finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

fn no_plan(why: NoPlan) -> DeskError {
    let rule = why.to_string();
    match why {
        NoPlan::NoSuchPart(part) => {
            DeskError::unknown("choice.part", "small fish on ice", &part.to_string())
        }
        NoPlan::NoSuchRoom(room) => DeskError::unknown("choice.room", "room", &room),
        NoPlan::Refused { rule: by, .. } => DeskError::Precondition {
            reason: by.reason(),
            rule,
            field: "choice".to_owned(),
        },
        NoPlan::PinnedTooMuch { .. } | NoPlan::PinnedBeyondRoom { .. } => DeskError::Precondition {
            reason: "PINNED_TOO_MUCH",
            rule,
            field: "choice.weight".to_owned(),
        },
        NoPlan::Amounts(_) => DeskError::precondition("TOO_MUCH_TO_PLAN", rule),
    }
}

fn may_not_leave(at: usize, fish: &Fish, why: &WhyNot) -> DeskError {
    DeskError::Precondition {
        reason: why.rule.reason(),
        rule: format!("part {} {}", fish.part, why.text),
        field: format!("taken[{at}].part"),
    }
}
