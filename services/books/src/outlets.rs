//! Small fish on ice and where it may go, as the book has it.
//!
//! What a part inherits is found by following every making back to the landings its
//! fish came from, so that a pool or a dressing never washes anything off. Rooms are
//! read from what is on file, choices and what rooms were given from their rows.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rules::business_day::{SiteClock, date_of, day_before, day_number};
use rules::close::LineDone;
use rules::fish::{Condition, Storage, Undersize};
use rules::ids::{DayNumber, LotCode, PartId};
use rules::office::{Settings, Site};
use rules::outlet::plan::{Change, Choice, ChoiceAsked, ChoiceKind, Plan, PlanTaken, RoomNow};
use rules::outlet::{Fish, Room, Traits};
use rules::receiving::{self, Dock, HoldCause, ReprobeAsked, Reprobed};
use rules::stock::{Held, HoldAsked, standing};
use rules::ticket::{Pieces, Ticket, WeighIn};
use rules::weight::Weight;

use crate::close::{last_day, turned};
use crate::db::{Tx, Val};
use crate::register::Office;
use crate::stock::{self, Lot};
use crate::table::{CHOICE, Cell, ROOM_USE, Row};
use crate::{BooksError, entries, entry_id};

/// A movement or making that filled a room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Filled {
    /// Which part it took.
    pub part: PartId,
    /// What the room got of it.
    pub weight: Weight,
}

/// The row of what a room got, beside its movement or making. `line` is the plan's entry
/// and line.
#[must_use]
pub fn use_row(n: i64, site: i64, room: &str, filled: Filled, line: Option<(i64, i64)>) -> Row {
    let PartId { lot, n: part } = filled.part;
    let (plan, line) = line.unwrap_or((0, 0));
    Row::new(
        &ROOM_USE,
        [
            Cell::Own,
            n.into(),
            site.into(),
            room.into(),
            lot.number().into(),
            lot.place().into(),
            part.into(),
            filled.weight.units().into(),
            plan.into(),
            line.into(),
        ],
    )
}

/// The row of a choice, beside its entry.
#[must_use]
pub fn choice_row(site: i64, choice: &Choice) -> Row {
    let PartId { lot, n: part } = choice.part;
    Row::new(
        &CHOICE,
        [
            Cell::Own,
            site.into(),
            lot.number().into(),
            lot.place().into(),
            part.into(),
            choice.room.as_str().into(),
        ],
    )
}

/// The site's rooms as they were on file at an instant, with what they have been given:
/// on the day where they are standing, else since they were first put on file.
///
/// # Errors
/// Engine trouble.
pub async fn rooms(
    tx: &mut Tx,
    office: &Office,
    site: i64,
    day: DayNumber,
    at_us: i64,
) -> Result<Vec<RoomNow>, BooksError> {
    let mut rooms = Vec::new();
    for (first, version) in office.rooms_at(site, at_us) {
        let room: &Room = &version.content;
        let from = if room.standing {
            entry_id(day, site, 0)
        } else {
            first
        };
        let party = office.parties.get(&room.party);
        rooms.push(RoomNow {
            entry: version.entry,
            has_contact: party.is_some_and(|party| !party.contact.trim().is_empty()),
            used: used(tx, site, &room.code, from, entry_id(day, site, 9_999_999)).await?,
            room: room.clone(),
        });
    }
    Ok(rooms)
}

/// What a room was given by entries up to one, which is in.
///
/// # Errors
/// Engine trouble.
pub async fn used_upto(
    tx: &mut Tx,
    site: i64,
    room: &str,
    upto: i64,
) -> Result<Weight, BooksError> {
    used(tx, site, room, 0, upto).await
}

/// What a room was given by entries of a range, both ends in.
async fn used(
    tx: &mut Tx,
    site: i64,
    room: &str,
    from: i64,
    to: i64,
) -> Result<Weight, BooksError> {
    let sql = "SELECT CAST(COALESCE(SUM(weight), 0) AS BIGINT) FROM room_use \
               WHERE site = ? AND room = ? AND entry BETWEEN ? AND ?";
    let binds = [
        Val::Int(site),
        Val::from(room),
        Val::Int(from),
        Val::Int(to),
    ];
    let rows = tx.fetch(sql, &binds).await?;
    Ok(Weight::from_units(rows.first().map_or(0, |row| row.int(0))))
}

/// The choices that stand about some parts: the latest about each part and room, where
/// it was not taken back.
///
/// # Errors
/// Engine trouble, or an entry that does not read.
pub async fn choices(
    tx: &mut Tx,
    parts: &BTreeSet<PartId>,
    upto: i64,
) -> Result<Vec<Choice>, BooksError> {
    let keys: Vec<Val<'_>> = parts
        .iter()
        .flat_map(|part| [part.lot.number(), part.lot.place(), part.n].map(Val::Int))
        .collect();
    let sql = "SELECT entry FROM choice WHERE (number, place, part) IN (VALUES {keys})";
    let rows = tx.fetch_keys(sql, 3, &keys).await?;
    let mut said: Vec<i64> = rows.iter().map(|row| row.int(0)).collect();
    said.sort_unstable();
    let mut latest: BTreeMap<(PartId, String), Choice> = BTreeMap::new();
    for id in said.into_iter().filter(|id| *id <= upto) {
        if let Some(entry) = entries::get(tx, id).await? {
            let (asked, _): (ChoiceAsked, Option<Change>) = entry.read()?;
            let choice = asked.choice;
            latest.insert((choice.part, choice.room.clone()), choice);
        }
    }
    let stands = |choice: &Choice| choice.kind != ChoiceKind::Free;
    Ok(latest.into_values().filter(stands).collect())
}

/// A line of a recorded plan: the plan it is of, and its place in it from 0.
///
/// # Errors
/// Engine trouble, or an entry that does not read.
pub async fn plan_of(tx: &mut Tx, plan: i64) -> Result<Option<(PlanTaken, Plan)>, BooksError> {
    let entry = entries::get(tx, plan).await?;
    let Some(entry) = entry.filter(|entry| entry.kind == "plan") else {
        return Ok(None);
    };
    entry.read().map(Some)
}

/// Lots of which small fish may be on ice: what the last close left, what came since,
/// and what was entered late since.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn lots_on_ice(tx: &mut Tx, site: i64) -> Result<BTreeSet<LotCode>, BooksError> {
    let mut lots = BTreeSet::new();
    let last = last_day(tx, site, i64::MAX).await?;
    if last.is_some() {
        let left = turned(tx, site, i64::MAX).await?;
        lots.extend(left.on_hand.keys().map(|part| part.lot));
    }
    // What is of the day before as well, for entries that came after its close.
    let from = last.map_or(0, |day| {
        let since = day_before(day).unwrap_or(day);
        entry_id(since, site, 0)
    });
    let to = i64::MAX;
    let sql = "SELECT number, place FROM lot WHERE number >= ? AND number <= ? AND site = ? \
               UNION SELECT l.number, l.place FROM late e JOIN lot l ON l.number = e.entry \
                WHERE e.id >= ? AND l.site = ? \
               UNION SELECT i.number, i.place FROM inward i JOIN lot l \
                  ON l.number = i.number AND l.place = i.place \
                WHERE i.entry >= ? AND l.site = ?";
    let binds = [from, to, site, from, site, from, site].map(Val::Int);
    for row in tx.fetch(sql, &binds).await? {
        lots.extend(LotCode::new(row.int(0), row.int(1)));
    }
    Ok(lots)
}

/// Small fish on ice of some lots as it stands by the book, in order of parts: what is
/// below the plate minimum, or made of nothing else, and fish still.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn on_ice(
    tx: &mut Tx,
    office: &Office,
    site: &Site,
    settings: &Settings,
    lots: &BTreeSet<LotCode>,
) -> Result<Vec<Fish>, BooksError> {
    let keys: Vec<Val<'_>> = lots
        .iter()
        .flat_map(|lot| [lot.number(), lot.place()].map(Val::Int))
        .collect();
    // Most lots have no small fish, and are not read.
    let sql = "SELECT number, place FROM part WHERE (number, place) IN (VALUES {keys}) \
               AND undersize <> 0";
    let mut small = BTreeSet::new();
    for row in tx.fetch_keys(sql, 2, &keys).await? {
        small.extend(LotCode::new(row.int(0), row.int(1)));
    }
    let mut origins = Origins::new(office, site, settings, i64::MAX);
    let mut found = Vec::new();
    for code in small {
        let lot = stock::lot(tx, code).await?;
        // What is frozen has its place.
        let is_open = |lot: &Lot| !lot.voided && lot.storage != Some(Storage::Frozen);
        let Some(lot) = lot.filter(is_open) else {
            continue;
        };
        for part in lot
            .parts
            .iter()
            .filter(|part| part.undersize == Undersize::Yes)
        {
            let now = standing(&lot.steps(part.id.n), settings);
            if now.finished || now.left <= Weight::ZERO || !lot.presentation.is_fish() {
                continue;
            }
            let fish = origins.fish(tx, &lot, part.id, now.left).await?;
            found.extend(fish);
        }
    }
    Ok(found)
}

/// Makings that are followed back at most: beyond, fish has gone in circles.
const DEEPEST: usize = 16;

/// Where fish came from, looked up once for each landing and making.
pub struct Origins<'a> {
    office: &'a Office,
    site: &'a Site,
    settings: &'a Settings,
    /// Entries beyond it were not known yet.
    upto: i64,
    tickets: BTreeMap<i64, Option<(WeighIn, Ticket)>>,
}

/// What is known of a part from where it came.
#[derive(Debug, Clone, Default)]
struct Origin {
    traits: Traits,
    /// 0 where nothing is known.
    harvested_us: i64,
}

impl<'a> Origins<'a> {
    /// Nothing looked up yet; what entries beyond `upto` say is not known.
    #[must_use]
    pub fn new(
        office: &'a Office,
        site: &'a Site,
        settings: &'a Settings,
        upto: i64,
    ) -> Origins<'a> {
        Origins {
            office,
            site,
            settings,
            upto,
            tickets: BTreeMap::new(),
        }
    }

    /// Fish of a part, with what it inherits; `None` of a species that is not on file.
    ///
    /// # Errors
    /// Engine trouble, or a row that does not read.
    pub async fn fish(
        &mut self,
        tx: &mut Tx,
        lot: &Lot,
        id: PartId,
        weight: Weight,
    ) -> Result<Option<Fish>, BooksError> {
        let (Some(species), Some(part)) = (self.office.species.get(&lot.species), lot.part(id.n))
        else {
            return Ok(None);
        };
        let (species, held) = (species.clone(), part.key.held);
        let origin = self.origin(tx, lot, id).await?;
        let piece = self.piece(tx, lot, id).await?;
        Ok(Some(Fish {
            part: id,
            species,
            supplier: lot.supplier.clone(),
            presentation: lot.presentation,
            storage: lot.storage,
            held,
            weight,
            piece,
            harvested_us: origin.harvested_us,
            traits: origin.traits,
        }))
    }

    /// What a part inherits of every landing its fish came from.
    async fn origin(&mut self, tx: &mut Tx, lot: &Lot, id: PartId) -> Result<Origin, BooksError> {
        let mut all: Option<Origin> = None;
        let mut open = vec![(lot.clone(), id, 0)];
        while let Some((lot, id, depth)) = open.pop() {
            let mut origin = if lot.making == 0 {
                self.landed(tx, &lot, id).await?
            } else {
                Origin {
                    harvested_us: lot.harvested_us,
                    ..Origin::default()
                }
            };
            let torn = lot.part(id.n).and_then(|part| part.key.condition);
            origin.traits.torn |= torn == Some(Condition::Torn);
            origin.traits.held_source = area_hold(tx, &lot, self.upto).await?;
            all = Some(match all {
                None => origin,
                Some(before) => Origin {
                    traits: before.traits.and(origin.traits),
                    harvested_us: match (before.harvested_us, origin.harvested_us) {
                        (0, us) | (us, 0) => us,
                        (a, b) => a.min(b),
                    },
                },
            });
            if lot.making != 0 && depth < DEEPEST {
                for source in stock::sources_of(tx, lot.entry).await? {
                    let lot = stock::lot(tx, source.lot).await?;
                    open.extend(lot.map(|lot| (lot, source, depth + 1)));
                }
            }
        }
        Ok(all.unwrap_or_default())
    }

    /// What a landing says of its fish.
    async fn landed(&mut self, tx: &mut Tx, lot: &Lot, id: PartId) -> Result<Origin, BooksError> {
        let mut origin = Origin {
            harvested_us: lot.harvested_us,
            ..Origin::default()
        };
        let (office, settings, site) = (self.office, self.settings, self.site);
        let Some((asked, ticket)) = self.ticket(tx, lot.ticket).await? else {
            return Ok(origin);
        };
        let place = Some(id.lot.place());
        let Some(position) = ticket.lots.iter().position(|lot| lot.place == place) else {
            return Ok(origin);
        };
        if let Some(written) = asked.lots.get(position) {
            let day = written.harvest_from.or(asked.landing.harvest_from);
            let day = day.or(asked.landing.landed_on);
            let day_us = day.map(|date| site.clock.start_us(day_number(date)));
            let said_us = written.receiving.first_speared_us.or(day_us);
            origin.harvested_us = said_us.unwrap_or(lot.harvested_us);
            let warm = receiving::warmest(&written.receiving.probes).cloned();
            let due = ticket
                .lots
                .get(position)
                .and_then(|lot| lot.received.reprobe_due_us);
            if due.is_some() {
                origin.traits.warm = warm;
            }
        }
        if let Some(harvester) = office.parties.get(&asked.harvester) {
            let day = rules::ids::EntryId::new(lot.ticket).map(|id| id.day());
            let dock = Dock {
                settings: &settings.receiving,
                species: office.species.get(&lot.species).into_iter().collect(),
                harvester,
                received_us: ticket.priced_us,
                day: day.and_then(date_of).unwrap_or(NaiveDate::MIN),
                unit: site.shown_unit,
            };
            origin.traits.from_concern =
                receiving::area_of_concern_now(asked, position, ticket, &dock);
        }
        if origin.traits.warm.is_some() && shown_cold(tx, lot, self.upto).await? {
            origin.traits.warm = None;
        }
        Ok(origin)
    }

    /// Mean piece of a part as first weighed, where its fish was counted.
    async fn piece(
        &mut self,
        tx: &mut Tx,
        lot: &Lot,
        id: PartId,
    ) -> Result<Option<Weight>, BooksError> {
        if lot.making != 0 {
            return Ok(None);
        }
        let Some((_, ticket)) = self.ticket(tx, lot.ticket).await? else {
            return Ok(None);
        };
        let place = Some(id.lot.place());
        let of_lot = ticket.lots.iter().find(|lot| lot.place == place);
        let mut lines = ticket.lines.iter();
        let line =
            lines.find(|line| line.part == id.n && of_lot.is_some_and(|lot| lot.n == line.lot));
        Ok(line.and_then(|line| match line.pieces {
            Pieces::Counted(n) | Pieces::Estimated(n) => {
                let units = line.net.units().checked_div(n)?;
                Some(Weight::from_units(units))
            }
            Pieces::NotCounted => None,
        }))
    }

    async fn ticket(
        &mut self,
        tx: &mut Tx,
        id: i64,
    ) -> Result<Option<&(WeighIn, Ticket)>, BooksError> {
        let read = match self.tickets.entry(id) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(new) => {
                let entry = entries::get(tx, id).await?;
                let entry = entry.filter(|entry| entry.kind == "weigh_in");
                new.insert(entry.map(|entry| entry.read()).transpose()?)
            }
        };
        Ok(read.as_ref())
    }
}

/// A hold for an unclear area that nobody has ended, on any part of a lot: all of it is
/// of that area. In words.
async fn area_hold(tx: &mut Tx, lot: &Lot, upto: i64) -> Result<Option<String>, BooksError> {
    let sql = "SELECT entry FROM shift WHERE number = ? AND place = ? AND kind = 'hold' \
               ORDER BY entry";
    let key = [lot.code.number(), lot.code.place()].map(Val::Int);
    for row in tx.fetch(sql, &key).await? {
        let id = row.int(0);
        let entry = entries::get(tx, id).await?;
        let Some(entry) = entry.filter(|_| id <= upto) else {
            continue;
        };
        let (asked, _): (HoldAsked, Held) = entry.read()?;
        let ended = entries::spent(tx, id, 0).await?;
        let ended = ended.is_some_and(|(_, by)| by <= upto);
        if asked.cause == Some(HoldCause::Area) && !ended {
            return Ok(Some(format!("lot {}, for its area", lot.code)));
        }
    }
    Ok(None)
}

/// Whether a probe since it came in has shown a lot cold.
async fn shown_cold(tx: &mut Tx, lot: &Lot, upto: i64) -> Result<bool, BooksError> {
    // A re-probe is an entry of the day it was due on: within 240 h of the weigh-in.
    let Some(day) = rules::ids::EntryId::new(lot.ticket).map(|id| id.day()) else {
        return Ok(false);
    };
    let mut last = day;
    for _ in 0..11 {
        last = rules::business_day::next_day(last).unwrap_or(last);
    }
    let from = entry_id(day, lot.site, 0);
    let to = entry_id(last, lot.site, 9_999_999).min(upto.saturating_add(1));
    let probes = entries::of_kind(tx, "reprobe", "", from, to, i64::MAX).await?;
    let mut cold = None;
    for entry in probes {
        let (asked, outcome): (ReprobeAsked, Reprobed) = entry.read()?;
        if asked.lot == lot.code && cold.is_none_or(|(us, _)| us <= entry.happened_us) {
            cold = Some((entry.happened_us, outcome.passed));
        }
    }
    Ok(cold.is_some_and(|(_, passed)| passed))
}

/// Plan lines that a day's movements and makings carried out, and lines of the last plan
/// taken on that day that nobody carried out; entries up to `upto`.
///
/// # Errors
/// Engine trouble, or an entry that does not read.
pub async fn carried_out(
    tx: &mut Tx,
    site: i64,
    day: DayNumber,
) -> Result<Vec<LineDone>, BooksError> {
    let (from, to) = (entry_id(day, site, 0), entry_id(day, site, 9_999_999));
    let sql = "SELECT plan, line, entry, CAST(SUM(weight) AS BIGINT) FROM room_use \
               WHERE entry BETWEEN ? AND ? AND plan <> 0 \
               GROUP BY plan, line, entry ORDER BY plan, line, entry";
    let rows = tx.fetch(sql, &[from, to].map(Val::Int)).await?;
    let done: Vec<[i64; 4]> = rows
        .iter()
        .map(|row| [row.int(0), row.int(1), row.int(2), row.int(3)])
        .collect();
    let taken = entries::of_kind(tx, "plan", "", from, to + 1, i64::MAX).await?;
    let mut plans: BTreeMap<i64, Plan> = BTreeMap::new();
    let last = taken.last().map(|entry| entry.id.number());
    let named = done.iter().map(|[plan, ..]| *plan);
    for id in named.chain(last) {
        if let Some((_, plan)) = plan_of(tx, id).await? {
            plans.insert(id, plan);
        }
    }
    let mut lines = Vec::new();
    let of = |plan: i64, n: i64, by: Option<(i64, i64)>| {
        let (at, of_plan) = (usize::try_from(n - 1).ok()?, plans.get(&plan)?);
        let line = of_plan.lines.get(at)?;
        let room = of_plan.rooms.iter().find(|room| room.room == line.room);
        Some(LineDone {
            plan,
            line: n,
            by: by.map_or(0, |(entry, _)| entry),
            part: line.part,
            room: line.room.clone(),
            room_name: line.room_name.clone(),
            // A movement is held against what was to be handed over, a making against
            // what was to go in.
            planned: match line.kind.outlet() {
                Some(_) => line.delivered,
                None => line.weight,
            },
            delivered: Weight::from_units(by.map_or(0, |(_, weight)| weight)),
            promised: room.is_some_and(|room| !room.promised.is_zero()),
        })
    };
    for [plan, n, entry, weight] in &done {
        lines.extend(of(*plan, *n, Some((*entry, *weight))));
    }
    if let Some(plan) = last {
        let count = plans.get(&plan).map_or(0, |plan| plan.lines.len());
        for n in 1..=i64::try_from(count).unwrap_or(0) {
            if entries::spent(tx, plan, n).await?.is_none() {
                lines.extend(of(plan, n, None));
            }
        }
    }
    lines.sort_by_key(|line| (line.plan, line.line, line.by));
    Ok(lines)
}

/// A division of the scale that what leaves is weighed on: of the site's scales the one
/// that takes most; a twentieth of a pound where none is on file.
#[must_use]
pub fn division(office: &Office, site: i64, clock: &SiteClock, day: DayNumber) -> Weight {
    let scales = office.scales_at(site, clock.end_us(day).saturating_sub(1));
    let largest = scales.values().max_by_key(|scale| scale.capacity.weight);
    largest.map_or(TWENTIETH_POUND, |scale| scale.division.weight)
}

const TWENTIETH_POUND: Weight = Weight::from_units(2_267_961_850);
