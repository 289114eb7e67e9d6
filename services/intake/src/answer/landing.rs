//! Landings for a report, and tallies.

use desk::{Booked, LandingDay, LandingDays};
use proto::v1;
use rules::codes::{Block, CodesAsked};
use rules::decimal;
use rules::landing::Depth;
use rules::landing::report::bought;
use rules::making::{MadeSource, Making, MakingAsked};
use rules::office::{Party, Species};
use rules::tally::{Tally, catch, per_dive_e2, per_hour_e2};
use rules::ticket::price::Source;
use rules::ticket::{Pieces, Ticket, WeighIn};
use rules::weight::WeightUnit;

use super::ticket::areas;
use super::{date, day, int32, lot_code, money, recorded, unit_price, weight};
use crate::codes::{Coded as _, wire_or_none};

/// How deep it was fished.
pub(crate) fn depth(depth: &Depth) -> v1::Depth {
    v1::Depth {
        from: depth.from.clone(),
        to: depth.to.clone(),
        unit: depth.unit.wire(),
    }
}

/// What was seen of the fish.
pub(crate) fn tally(tally: &Tally) -> v1::Tally {
    let row = |row: &rules::tally::TallyRow| v1::TallyRow {
        sex: wire_or_none(row.sex),
        eggs: row.eggs,
        length: row.length.clone(),
        count: int32(row.count),
    };
    v1::Tally {
        rows: tally.rows.iter().map(row).collect(),
        unit: wire_or_none(tally.unit),
        largest: tally.largest.clone(),
        removed: tally.removed.map(int32),
    }
}

/// A block of numbers.
pub(crate) fn codes(booked: &Booked<CodesAsked, ()>) -> v1::RequestCodesResponse {
    let block = Block {
        entry: booked.entry.number(),
        device: booked.asked.device.clone(),
        numbers: booked.asked.numbers,
    };
    let (first, last) = block.ends();
    v1::RequestCodesResponse {
        recorded: Some(recorded(booked)),
        block: Some(v1::CodeBlock {
            first_number: first.to_string(),
            last_number: last.to_string(),
            count: int32(block.numbers),
        }),
    }
}

/// What is on file of those whom a report names.
pub(crate) struct OnFile<'a> {
    /// By code.
    pub(crate) party: &'a dyn Fn(&str) -> Option<Party>,
    /// By code.
    pub(crate) species: &'a dyn Fn(&str) -> Option<Species>,
}

/// A report's rows of a run of days.
pub(crate) fn landings(
    run: &LandingDays,
    file: &OnFile<'_>,
    unit: WeightUnit,
) -> v1::ListLandingsResponse {
    let remarks = run.not_over.map(|of| {
        let of = rules::business_day::date_of(of).map_or_else(String::new, |of| of.to_string());
        format!("{of} is not over: more may still be landed.")
    });
    v1::ListLandingsResponse {
        rows: run
            .days
            .iter()
            .flat_map(|of| rows(of, file, unit))
            .collect(),
        next: run.next.map(day),
        remarks: remarks.into_iter().collect(),
    }
}

fn rows(of: &LandingDay, file: &OnFile<'_>, unit: WeightUnit) -> Vec<v1::LandingRow> {
    let mut rows = Vec::new();
    for ticket in &of.tickets {
        for (n, _) in (1_i64..).zip(&ticket.asked.lots) {
            rows.extend(row(ticket, n, file, unit));
        }
    }
    if rows.is_empty() {
        rows.push(v1::LandingRow {
            day: Some(day(of.day)),
            no_purchases: true,
            ..v1::LandingRow::default()
        });
    }
    rows
}

/// The row of the lot at position `n`, from 1, where any of it was bought.
fn row(
    booked: &Booked<WeighIn, Ticket>,
    n: i64,
    file: &OnFile<'_>,
    unit: WeightUnit,
) -> Option<v1::LandingRow> {
    let Booked { asked, outcome, .. } = booked;
    let lot = asked.lots.get(usize::try_from(n).ok()?.checked_sub(1)?)?;
    let bought = bought(outcome, n)?;
    let source = Source::of(asked, lot);
    let landing = &asked.landing;
    let party = (file.party)(&asked.harvester);
    let species = (file.species)(&lot.species);
    let (pieces, pieces_estimated) = match bought.pieces {
        Pieces::NotCounted => (None, false),
        Pieces::Counted(n) => (Some(int32(n)), false),
        Pieces::Estimated(n) => (Some(int32(n)), true),
    };
    Some(v1::LandingRow {
        day: Some(day(booked.entry.day())),
        no_purchases: false,
        ticket: booked.entry.to_string(),
        lot_code: code_of(booked, n),
        harvester: asked.harvester.clone(),
        harvester_name: party
            .as_ref()
            .map_or_else(String::new, |party| party.name.clone()),
        licence_number: party
            .as_ref()
            .map_or_else(String::new, |party| party.licence_number.clone()),
        licence_expires: party.and_then(|party| party.licence_expires).map(date),
        species: lot.species.clone(),
        species_name: outcome
            .lots
            .iter()
            .find(|lot| lot.n == n)
            .map_or_else(String::new, |lot| lot.species_name.clone()),
        scientific_name: species.map_or_else(String::new, |species| species.scientific_name),
        presentation: lot.presentation.wire(),
        bought: Some(weight(bought.weight, unit)),
        // A kilogram is 1e11 of 10 ng.
        kilograms: decimal::text(bought.weight.units(), 11),
        pieces,
        pieces_estimated,
        areas: areas(&source.areas),
        harvest_from: source.harvest_from.map(date),
        harvest_to: source.harvest_to.map(date),
        landed_on: landing.landed_on.map(date),
        landing_place: landing.landing_place.clone(),
        gear: landing.gear.clone(),
        depth: landing.depth.as_ref().map(depth),
        minutes_fished: landing.minutes_fished.clone(),
        dives: landing.dives.map(int32),
        vessel: landing.vessel.clone(),
        vessel_use: wire_or_none(landing.vessel_use),
        prices: bought.prices.iter().map(|of| unit_price(*of)).collect(),
        amount: Some(money(bought.amount)),
    })
}

fn code_of(booked: &Booked<WeighIn, Ticket>, n: i64) -> String {
    let ticket = &booked.outcome;
    let lot = ticket.lots.iter().find(|lot| lot.n == n);
    let number = ticket.number.unwrap_or(booked.entry.number());
    lot_code(number, lot.and_then(|lot| lot.place))
}

/// Tallies of a run of days.
pub(crate) fn tallies(
    run: &LandingDays,
    species_of: &dyn Fn(&Booked<MakingAsked, Making>) -> String,
) -> v1::ListTalliesResponse {
    let tickets = run.days.iter().flat_map(|of| &of.tickets);
    let makings = run.days.iter().flat_map(|of| &of.makings);
    v1::ListTalliesResponse {
        landings: tickets.filter_map(tallied).collect(),
        makings: makings
            .filter_map(|making| {
                Some(v1::TalliedMaking {
                    day: Some(day(making.entry.day())),
                    entry_id: making.entry.to_string(),
                    species: species_of(making),
                    lot_codes: lots_of(making),
                    tally: Some(tally(making.asked.tally.as_ref()?)),
                })
            })
            .collect(),
        next: run.next.map(day),
    }
}

/// A landing with a tally, or of which dives or time were told.
fn tallied(booked: &Booked<WeighIn, Ticket>) -> Option<v1::TalliedLanding> {
    let asked = &booked.asked;
    let landing = &asked.landing;
    let lots = (1_i64..).zip(&asked.lots).filter_map(|(n, lot)| {
        Some(v1::TalliedLot {
            n: int32(n),
            lot_code: code_of(booked, n),
            species: lot.species.clone(),
            tally: Some(tally(lot.tally.as_ref()?)),
        })
    });
    let lots: Vec<v1::TalliedLot> = lots.collect();
    if lots.is_empty() && landing.dives.is_none() && landing.minutes_fished.is_empty() {
        return None;
    }
    let fish = catch(asked);
    let rate = |by: Option<i64>| by.map_or_else(String::new, |e2| decimal::text(e2, 2));
    Some(v1::TalliedLanding {
        day: Some(day(booked.entry.day())),
        ticket: booked.entry.to_string(),
        harvester: asked.harvester.clone(),
        fish: fish.map(int32),
        dives: landing.dives.map(int32),
        minutes_fished: landing.minutes_fished.clone(),
        fish_per_dive: rate(fish.and_then(|fish| per_dive_e2(fish, landing))),
        fish_per_hour: rate(fish.and_then(|fish| per_hour_e2(fish, landing))),
        lots,
    })
}

/// Codes of the lots that went into a making, each once.
fn lots_of(making: &Booked<MakingAsked, Making>) -> Vec<String> {
    let mut codes: Vec<String> = Vec::new();
    for from in &making.outcome.inputs {
        if let MadeSource::Part(part) = from.source {
            let code = part.lot.to_string();
            if !codes.contains(&code) {
                codes.push(code);
            }
        }
    }
    codes
}
