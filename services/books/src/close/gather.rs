//! All that a close is worked out from, read in one snapshot.
//!
//! A deed belongs to the business day in its entry id, whenever it was recorded;
//! its pay belongs to the day it was entered. A ticket that was voided or
//! rewritten counts for nothing.

mod kept;
mod weight;

pub use weight::{weight_of_book, weight_of_day};

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use rules::balance::Holding;
use rules::business_day::{SiteClock, day_before, day_number, next_day};
use rules::close::{
    DayInput, Happening, NewLot, OpenDispute, PartFacts, PayBalance, PayChange, Places,
    ProbedAgain, RULES_VERSION, TicketSaid, Undrained, Used, WarmLot, What,
};
use rules::drift::{Told, WeighedTwice};
use rules::fish::{Condition, Outlet, Presentation, Storage, Undersize};
use rules::ids::{DayNumber, LotCode, PartId};
use rules::making::{MadeSource, Making, MakingAsked, MakingKind};
use rules::money::UnitPrice;
use rules::office::{Scale, Settings, Site};
use rules::outlet::Fish;
use rules::receiving::{ReprobeAsked, Reprobed, warmest};
use rules::reweigh::{ReweighAsked, ReweighDone, Reweighed};
use rules::stock::{
    CountAsked, CountDone, Held, HoldAsked, Moved, MovementAsked, RegradeAsked, Regraded,
    ReturnAsked, Returned, as_day_ended,
};
use rules::ticket::{AdjustmentKind, Decision, SmallFish, Ticket, TicketLot, WeighIn};
use rules::uncertainty::{Read, readings};
use rules::undersize;
use rules::weight::{Reading, Weight};

use super::kept::{self as close, CutInput, Kept};
use super::{Given, Looked, Turned, day_of_entry, part_id, sha256};
use crate::db::{Record, Tx, Val};
use crate::doc::{BadDoc, Doc as _, canonical, read_entry_doc};
use crate::outlets::{self, Origins};
use crate::register::Office;
use crate::stock::Rewritten;
use crate::{BooksError, blocks, corrupt, entries, entry_id, settlement, stock};

const HOUR_US: i64 = 3_600_000_000;

/// A day read, and what it was read from.
#[derive(Debug)]
pub struct Gathered {
    /// For the rules to judge.
    pub input: DayInput,
    /// For the manifest.
    pub given: Given,
    /// For later nights.
    pub kept: Kept,
}

/// What a rebuild looks back on.
#[derive(Debug, Clone, Copy)]
pub struct Again<'a> {
    /// What the close looked back on.
    pub looked: &'a Looked,
    /// Cuts of earlier closes, each a day with its revision, as they were just worked
    /// out; those of others are read.
    pub cuts: &'a BTreeMap<(DayNumber, i64), Vec<CutInput>>,
}

/// Reads a site's day. `opening` is what the day before left; `looked` what a close of it
/// looked back on, where that is to be looked at again instead of what is latest.
///
/// # Errors
/// Engine trouble, or a row that does not read.
pub async fn gather(
    tx: &mut Tx,
    office: &Office,
    site: &Site,
    day: DayNumber,
    opening: &Turned,
    looked: Option<Again<'_>>,
) -> Result<Gathered, BooksError> {
    let number = site.number;
    let start_us = site.clock.start_us(day);
    let (settings_entry, settings) = office.settings_at(number, start_us);
    let upto_seq = upto_seq(tx, number, day).await?;
    let mut read = HalfRead {
        range: entries_of(day, number),
        opening,
        office,
        settings: &settings,
        entries: BTreeMap::new(),
        happened: Vec::new(),
        site: number,
        day,
        end_us: site.clock.end_us(day),
        clock: &site.clock,
        worked_back: Vec::new(),
        tickets: BTreeMap::new(),
        on_scales: BTreeMap::new(),
        places: None,
    };
    read.entries(tx).await?;
    let scales = office.scales_at(number, site.clock.end_us(day).saturating_sub(1));
    let ended = read.ended(tx).await?;
    read.tickets(tx, &ended).await?;
    read.lines(tx, &ended).await?;
    read.shifts(tx).await?;
    read.moves(tx).await?;
    let makings = read.makings(tx).await?;
    read.made(tx).await?;
    read.counts(tx).await?;
    read.inward(tx).await?;
    read.on_scales(tx).await?;
    let parts = read.parts(tx, day).await?;
    let (pay, loss_minor) = pay(tx, &read.range).await?;
    let undrained = undrained(tx, office, number, day).await?;
    let disputes = settlement::disputes_of_day(tx, number, day).await?;
    let blocks = blocks::of_day(tx, &read.range).await?;
    let warm = read.warm(tx, site, day).await?;
    let weighed_twice = read.weighed_twice(tx, site).await?;
    let kept = kept::kept(&read, tx, &makings, site.shown_unit).await?;

    let nothing = BTreeMap::new();
    let worked_out = looked.map_or(&nothing, |again| again.cuts);
    let looked = match looked {
        Some(again) => again.looked.clone(),
        None => Looked {
            cuts: look_back(tx, number, day, settings.judging.history_days()).await?,
            baselines: office
                .baselines
                .get(&number)
                .into_iter()
                .flatten()
                .map(|baseline| baseline.entry)
                .collect(),
        },
    };
    let (known, stored): (Vec<_>, Vec<_>) = looked
        .cuts
        .iter()
        .copied()
        .partition(|close| worked_out.contains_key(close));
    let stored = close::cuts_of(tx, number, &stored).await?;
    let known = known.iter().filter_map(|close| worked_out.get(close));
    let mut cuts: Vec<&CutInput> = known.flatten().chain(&stored).collect();
    cuts.sort_by_key(|cut| (cut.entry, cut.n));
    cuts.extend(&kept.cuts);
    let cut_facts = close::cut_facts(&cuts);
    let baselines = office.baselines.get(&number).into_iter().flatten();
    let baselines = baselines
        .filter(|baseline| looked.baselines.contains(&baseline.entry))
        .map(|baseline| baseline.content.clone())
        .collect();
    let dispatch_prices = dispatch_prices(tx, &makings).await?;
    let lines_done = outlets::carried_out(tx, number, day).await?;
    read.places = places(tx, office, site, day, &settings, &parts).await?;

    let digests = opening.digests();
    let given = Given {
        site: number,
        day,
        upto_seq,
        opening: digests.on_hand,
        balances: digests.balances,
        history: history(
            &parts,
            &read,
            &warm,
            &undrained,
            &kept,
            &scales,
            &weighed_twice,
        ),
        settings: settings_entry,
        undrained: undrained
            .iter()
            .map(|device| device.device.clone())
            .collect(),
        rules: RULES_VERSION,
        looked,
    };
    let places = read.places.take();
    let input = DayInput {
        site: number,
        day,
        start_us,
        end_us: site.clock.end_us(day),
        currency: site.currency,
        shown_unit: site.shown_unit,
        opening: opening.on_hand.clone(),
        parts,
        happened: read.happened,
        read: read.on_scales,
        scales,
        weighed_twice,
        makings,
        tickets: read
            .tickets
            .iter()
            .map(|(&entry, (_, ticket))| said(entry, ticket))
            .collect(),
        settings,
        undrained,
        disputes: disputes
            .iter()
            .map(|dispute| OpenDispute {
                entry: dispute.entry,
                ticket: dispute.ticket,
                line: dispute.line,
            })
            .collect(),
        warm,
        balances: opening.balances.clone(),
        pay,
        loss_minor,
        blocks,
        cut_facts,
        baselines,
        dispatch_prices,
        lines_done,
        places,
    };
    Ok(Gathered { input, given, kept })
}

/// Digest of what was looked up in deeds of any day: what finished parts once held,
/// what came back had cost, where undersize fish was proposed to go, what was to be
/// shown cold, what devices said of their queues, of what band fish was that was cut,
/// what moved before a count that was taken after the day, and how the scales it was read
/// on stood on file, and fish weighed again.
fn history(
    parts: &BTreeMap<PartId, PartFacts>,
    read: &HalfRead<'_>,
    warm: &[WarmLot],
    undrained: &[Undrained],
    kept: &Kept,
    scales: &BTreeMap<String, Scale>,
    weighed_twice: &[WeighedTwice],
) -> String {
    let mut text = String::new();
    for (part, facts) in parts {
        if let Some(held) = &facts.finished {
            let _ = writeln!(
                text,
                "{part} held {} {}",
                held.came_in.units(),
                held.cost_minor
            );
        }
        if facts.undersize {
            let proposed = facts.proposed.map_or("nowhere", Outlet::word);
            let _ = writeln!(text, "{part} to {proposed} {}", facts.proposed_reason);
        }
    }
    for happening in &read.happened {
        if let What::Returned {
            part, cost_minor, ..
        } = happening.what
        {
            let _ = writeln!(text, "{part} back in {} at {cost_minor}", happening.entry);
        }
    }
    for (entry, part, weight) in &read.worked_back {
        let _ = writeln!(text, "{part} was {} by {entry}", weight.units());
    }
    for warm in warm {
        let WarmLot { lot, due_us, .. } = warm;
        let _ = writeln!(text, "{lot} cold by {due_us}");
        for again in &warm.probed {
            let _ = writeln!(text, "{lot} probed in {}", again.entry);
        }
    }
    for device in undrained {
        let Undrained {
            device,
            queued,
            resolved,
        } = device;
        let _ = writeln!(text, "{device} has {resolved} of {queued}");
    }
    for cut in &kept.cuts {
        let CutInput { entry, n, band, .. } = cut;
        let pieces = cut.pieces.unwrap_or(0);
        if pieces > 0 || !band.is_empty() {
            let _ = writeln!(text, "{entry}/{n} cut of {band}, {pieces} fish");
        }
    }
    let on_scales = read.on_scales.values().flatten();
    let used: BTreeSet<_> = on_scales.map(|read| read.scale.as_str()).collect();
    for scale in scales.values().filter(|scale| used.contains(&*scale.code)) {
        // How its lines are read changes no weight.
        let scale = Scale {
            line: String::new(),
            ..scale.clone()
        };
        let _ = writeln!(text, "read on {}", canonical(&scale.to_doc()));
    }
    for twice in weighed_twice {
        let WeighedTwice {
            entry,
            first,
            second,
            then,
            again,
        } = twice;
        let (then, again) = (then.units(), again.units());
        let _ = writeln!(text, "{entry} on {first} and {second}: {then} {again}");
    }
    if let Some(places) = &read.places {
        for now in &places.rooms {
            let (entry, used) = (now.entry, now.used.units());
            let _ = writeln!(
                text,
                "room by {entry} got {used}, contact {}",
                now.has_contact
            );
        }
        for fish in places.fish.values() {
            let Fish {
                part,
                harvested_us,
                traits,
                piece,
                ..
            } = fish;
            let piece = piece.map_or(0, Weight::units);
            let _ = writeln!(text, "{part} of {harvested_us}, {piece} a fish, {traits:?}");
        }
        for choice in &places.choices {
            let _ = writeln!(text, "chosen {}", canonical(&choice.to_doc()));
        }
    }
    sha256(text.as_bytes())
}

/// Closes of the days before one, so many of them, that keep a cut.
async fn look_back(
    tx: &mut Tx,
    site: i64,
    day: DayNumber,
    days: i64,
) -> Result<Vec<(DayNumber, i64)>, BooksError> {
    let mut first = day;
    for _ in 0..days {
        first = day_before(first).unwrap_or(first);
    }
    let last = day_before(day).unwrap_or(first);
    close::days_of_cuts(tx, site, first, last).await
}

/// Where small fish of the day has room on the next; nothing where no room is on file.
/// Only what the book knew as the day ended counts.
async fn places(
    tx: &mut Tx,
    office: &Office,
    site: &Site,
    day: DayNumber,
    settings: &Settings,
    parts: &BTreeMap<PartId, PartFacts>,
) -> Result<Option<Places>, BooksError> {
    let last_us = site.clock.end_us(day).saturating_sub(1);
    let upto = entry_id(day, site.number, 9_999_999);
    let Some(next) = next_day(day).filter(|_| !office.rooms_at(site.number, last_us).is_empty())
    else {
        return Ok(None);
    };
    let mut rooms = outlets::rooms(tx, office, site.number, next, last_us).await?;
    for now in &mut rooms {
        // Nothing of the next day is known yet.
        now.used = if now.room.standing {
            Weight::ZERO
        } else {
            outlets::used_upto(tx, site.number, &now.room.code, upto).await?
        };
    }
    let mut fish = BTreeMap::new();
    let mut origins = Origins::new(office, site, settings, upto);
    for (id, facts) in parts {
        let is_frozen = facts.storage == Some(Storage::Frozen);
        if !facts.undersize || !facts.presentation.is_fish() || is_frozen {
            continue;
        }
        if let Some(lot) = stock::lot(tx, id.lot).await?.filter(|lot| !lot.voided) {
            let found = origins.fish(tx, &lot, *id, Weight::ZERO).await?;
            fish.extend(found.map(|fish| (*id, fish)));
        }
    }
    let known: BTreeSet<PartId> = fish.keys().copied().collect();
    Ok(Some(Places {
        next_day: next,
        clock: site.clock.clone(),
        choices: outlets::choices(tx, &known, upto).await?,
        division: outlets::division(office, site.number, &site.clock, day),
        rooms,
        fish,
    }))
}

/// What was paid for the movements that customers cut from, where it was recorded.
async fn dispatch_prices(
    tx: &mut Tx,
    makings: &[(i64, Making)],
) -> Result<BTreeMap<i64, UnitPrice>, BooksError> {
    let mut prices = BTreeMap::new();
    let from = makings.iter().flat_map(|(_, making)| &making.inputs);
    for from in from {
        if let MadeSource::Dispatch(entry) = from.source
            && let Some(stored) = entries::get(tx, entry).await?
        {
            let (asked, _): (MovementAsked, Moved) = stored.read()?;
            prices.extend(asked.price.map(|price| (entry, price)));
        }
    }
    Ok(prices)
}

/// First and last entry id that a site's day may have.
fn entries_of(day: DayNumber, site: i64) -> [Val<'static>; 2] {
    [0, 9_999_999].map(|sequence| Val::Int(entry_id(day, site, sequence)))
}

async fn upto_seq(tx: &mut Tx, site: i64, day: DayNumber) -> Result<i64, BooksError> {
    let sql = "SELECT next FROM head WHERE site = ? AND day = ?";
    let rows = tx.fetch(sql, &[Val::Int(site), Val::Int(day)]).await?;
    Ok(rows.first().map_or(0, |row| row.int(0) - 1))
}

/// A day half read.
struct HalfRead<'a> {
    /// First and last entry id it may have.
    range: [Val<'static>; 2],
    opening: &'a Turned,
    office: &'a Office,
    clock: &'a SiteClock,
    settings: &'a Settings,
    /// By entry: when it happened.
    entries: BTreeMap<i64, i64>,
    happened: Vec<Happening>,
    site: i64,
    day: DayNumber,
    /// First instant after it.
    end_us: i64,
    /// Counts that were taken after the day and after the part had moved again: what
    /// was there as it ended.
    worked_back: Vec<(i64, PartId, Weight)>,
    /// Tickets that count, by entry.
    tickets: BTreeMap<i64, (WeighIn, Ticket)>,
    /// What was read on scales, by entry.
    on_scales: BTreeMap<i64, Vec<Read>>,
    /// Where small fish has room on the next day.
    places: Option<Places>,
}

impl HalfRead<'_> {
    fn push(&mut self, entry: i64, what: What) -> Result<(), BooksError> {
        let happened_us = *self
            .entries
            .get(&entry)
            .ok_or_else(|| corrupt("entry", "id", entry, BadDoc::here("an entry of this row")))?;
        self.happened.push(Happening {
            happened_us,
            entry,
            what,
        });
        Ok(())
    }

    async fn entries(&mut self, tx: &mut Tx) -> Result<(), BooksError> {
        let sql = "SELECT id, happened_us FROM entry WHERE id BETWEEN ? AND ?";
        let rows = tx.fetch(sql, &self.range).await?;
        self.entries = rows.iter().map(|row| (row.int(0), row.int(1))).collect();
        Ok(())
    }

    /// Tickets of the day that were voided or rewritten.
    async fn ended(&self, tx: &mut Tx) -> Result<BTreeSet<i64>, BooksError> {
        let sql = "SELECT what FROM spent WHERE what BETWEEN ? AND ? AND item = 0 \
                   AND how IN ('void', 'rewrite')";
        Ok(tx
            .fetch(sql, &self.range)
            .await?
            .iter()
            .map(|row| row.int(0))
            .collect())
    }

    async fn docs(&self, tx: &mut Tx, kind: &str) -> Result<Vec<Record>, BooksError> {
        let sql = "SELECT id, doc FROM entry WHERE id BETWEEN ? AND ? AND kind = ? ORDER BY id";
        let [first, last] = self.range;
        Ok(tx.fetch(sql, &[first, last, Val::from(kind)]).await?)
    }

    async fn tickets(&mut self, tx: &mut Tx, ended: &BTreeSet<i64>) -> Result<(), BooksError> {
        for row in self.docs(tx, "weigh_in").await? {
            let entry = row.int(0);
            if !ended.contains(&entry) {
                let read = read_entry_doc::<WeighIn, Ticket>(row.text(1))
                    .map_err(|e| corrupt("entry", "doc", entry, e))?;
                self.tickets.insert(entry, read);
            }
        }
        Ok(())
    }

    /// Makings of the day, with what was read for them on scales.
    async fn makings(&mut self, tx: &mut Tx) -> Result<Vec<(i64, Making)>, BooksError> {
        let mut makings = Vec::new();
        for row in self.docs(tx, "making").await? {
            let entry = row.int(0);
            let (asked, making) = read_entry_doc::<MakingAsked, Making>(row.text(1))
                .map_err(|e| corrupt("entry", "doc", entry, e))?;
            let day = self.read_on(entry);
            let read = readings::of_making(entry, day, &asked, &making).collect();
            self.on_scales.insert(entry, read);
            makings.push((entry, making));
        }
        Ok(makings)
    }

    async fn lines(&mut self, tx: &mut Tx, ended: &BTreeSet<i64>) -> Result<(), BooksError> {
        let sql = "SELECT ticket, number, place, part, weight, amount FROM line \
                   WHERE ticket BETWEEN ? AND ? ORDER BY ticket, n";
        for row in tx.fetch(sql, &self.range).await? {
            let ticket = row.int(0);
            if !ended.contains(&ticket) {
                let what = What::Bought {
                    part: part_id("line", row.int(1), row.int(2), row.int(3))?,
                    weight: Weight::from_units(row.int(4)),
                    cost_minor: row.int(5),
                };
                self.push(ticket, what)?;
            }
        }
        Ok(())
    }

    async fn shifts(&mut self, tx: &mut Tx) -> Result<(), BooksError> {
        let sql = "SELECT entry, number, place, from_part, to_part, weight FROM shift \
                   WHERE entry BETWEEN ? AND ? ORDER BY entry, n";
        for row in tx.fetch(sql, &self.range).await? {
            let what = What::Shifted {
                from: part_id("shift", row.int(1), row.int(2), row.int(3))?,
                to: part_id("shift", row.int(1), row.int(2), row.int(4))?,
                weight: Weight::from_units(row.int(5)),
            };
            self.push(row.int(0), what)?;
        }
        Ok(())
    }

    async fn moves(&mut self, tx: &mut Tx) -> Result<(), BooksError> {
        let sql = "SELECT entry, number, place, part, outlet, weight, emptied FROM move \
                   WHERE entry BETWEEN ? AND ? ORDER BY entry, n";
        for row in tx.fetch(sql, &self.range).await? {
            let what = What::Moved {
                part: part_id("move", row.int(1), row.int(2), row.int(3))?,
                outlet: outlet("move", row.int(0), row.int(4))?,
                weight: Weight::from_units(row.int(5)),
                emptied: row.int(6) == 1,
            };
            self.push(row.int(0), what)?;
        }
        Ok(())
    }

    /// Makings by their rows: the pools of counts among them.
    async fn made(&mut self, tx: &mut Tx) -> Result<(), BooksError> {
        let mut makings: BTreeMap<i64, HalfMade> = BTreeMap::new();
        let inputs = "SELECT entry, number, place, part, weight, emptied FROM making_in \
                      WHERE entry BETWEEN ? AND ? ORDER BY entry, n";
        for row in tx.fetch(inputs, &self.range).await? {
            let used = Used {
                part: part_id("making_in", row.int(1), row.int(2), row.int(3))?,
                weight: Weight::from_units(row.int(4)),
                emptied: row.int(5) == 1,
            };
            makings.entry(row.int(0)).or_default().inputs.push(used);
        }
        let outputs = "SELECT entry, fate, number, place, part, weight FROM making_out \
                       WHERE entry BETWEEN ? AND ? ORDER BY entry, n";
        for row in tx.fetch(outputs, &self.range).await? {
            let weight = Weight::from_units(row.int(5));
            let making = makings.entry(row.int(0)).or_default();
            match row.text(1) {
                "lot" => {
                    let part = part_id("making_out", row.int(2), row.int(3), row.int(4))?;
                    making.lots.push(NewLot { part, weight });
                }
                "cutting_loss" => making.cutting_loss = weight,
                "table_unaccounted" => making.table_unaccounted = weight,
                _ => {}
            }
        }
        let kinds = self.making_kinds(tx).await?;
        for (entry, making) in makings {
            let kind = kinds.get(&entry).copied().unwrap_or(MakingKind::Cut);
            let HalfMade {
                inputs,
                lots,
                cutting_loss,
                table_unaccounted,
            } = making;
            let what = What::Made {
                kind,
                inputs,
                lots,
                cutting_loss,
                table_unaccounted,
            };
            self.push(entry, what)?;
        }
        Ok(())
    }

    /// Kind of each making that gave a lot. Of one that gave none it makes no
    /// difference here.
    async fn making_kinds(&self, tx: &mut Tx) -> Result<BTreeMap<i64, MakingKind>, BooksError> {
        let sql = "SELECT m.entry, l.making FROM making_out m \
                   JOIN lot l ON l.number = m.number AND l.place = m.place \
                   WHERE m.entry BETWEEN ? AND ? AND m.fate = 'lot'";
        let mut kinds = BTreeMap::new();
        for row in tx.fetch(sql, &self.range).await? {
            let kind = MakingKind::from_number(row.int(1)).ok_or_else(|| {
                corrupt(
                    "lot",
                    "making",
                    row.int(0),
                    BadDoc::here("a kind of making"),
                )
            })?;
            kinds.insert(row.int(0), kind);
        }
        Ok(kinds)
    }

    /// Counts, each worked back to the end of the day where it was taken after it.
    async fn counts(&mut self, tx: &mut Tx) -> Result<(), BooksError> {
        let sql = "SELECT entry, number, place, part, weight FROM counted \
                   WHERE entry BETWEEN ? AND ? ORDER BY entry, n";
        for row in tx.fetch(sql, &self.range).await? {
            let entry = row.int(0);
            let part = part_id("counted", row.int(1), row.int(2), row.int(3))?;
            let counted = Weight::from_units(row.int(4));
            let mut weight = counted;
            let counted_us = self.entries.get(&entry).copied().unwrap_or(0);
            if counted_us > self.end_us
                && let Some(lot) = stock::lot(tx, part.lot).await?
            {
                let steps = lot.steps(part.n);
                weight = as_day_ended(counted, counted_us, self.day, self.end_us, &steps);
            }
            if weight != counted {
                self.worked_back.push((entry, part, weight));
            }
            self.push(entry, What::Counted { part, weight })?;
        }
        Ok(())
    }

    /// What was read on scales, by the deeds that say so. A reading is of the business day
    /// on which it was taken, a count next morning among them; one that was worked back
    /// is what it was as it was read.
    async fn on_scales(&mut self, tx: &mut Tx) -> Result<(), BooksError> {
        let mut on_scales = std::mem::take(&mut self.on_scales);
        for (&entry, (asked, ticket)) in &self.tickets {
            let day = self.read_on(entry);
            on_scales.insert(entry, readings::of_ticket(entry, day, asked, ticket));
        }
        let kinds = "('movement', 'count', 'return', 'hold', 'regrade')";
        let sql = format!(
            "SELECT id, kind, doc FROM entry WHERE id BETWEEN ? AND ? AND kind IN {kinds} \
             ORDER BY id"
        );
        for row in tx.fetch(&sql, &self.range).await? {
            let (entry, doc) = (row.int(0), row.text(2));
            let day = self.read_on(entry);
            let read = readings_of(entry, row.text(1), day, doc);
            on_scales.insert(entry, read.map_err(|e| corrupt("entry", "doc", entry, e))?);
        }
        on_scales.retain(|_, read| !read.is_empty());
        self.on_scales = on_scales;
        Ok(())
    }

    /// Fish that was weighed again on the business day it came in, of the days by which
    /// scales are compared.
    async fn weighed_twice(
        &self,
        tx: &mut Tx,
        site: &Site,
    ) -> Result<Vec<WeighedTwice>, BooksError> {
        let mut since = self.day;
        for _ in 1..self.settings.drift_days() {
            since = day_before(since).unwrap_or(since);
        }
        let sql = "SELECT r.entry, e.happened_us, e.doc, r.number, r.place FROM reweigh r \
                   JOIN entry e ON e.id = r.entry \
                   WHERE r.entry BETWEEN ? AND ? ORDER BY r.entry";
        let range = [Val::Int(entry_id(since, site.number, 0)), self.range[1]];
        let mut weighed_twice = Vec::new();
        for row in tx.fetch(sql, &range).await? {
            // Between two days of a site lie those of others.
            let (entry, happened_us) = (row.int(0), row.int(1));
            let (asked, done) = read_entry_doc::<ReweighAsked, ReweighDone>(row.text(2))
                .map_err(|e| corrupt("entry", "doc", entry, e))?;
            if asked.site != site.number {
                continue;
            }
            let lot = [Val::Int(row.int(3)), Val::Int(row.int(4))];
            let of_lot = "SELECT entry, making FROM lot WHERE number = ? AND place = ?";
            let ticket = match tx.fetch(of_lot, &lot).await?.first() {
                Some(row) if row.int(1) == 0 => row.int(0),
                Some(_) | None => continue,
            };
            let (standing, voided) = stock::standing_ticket(tx, ticket).await?;
            let of_another = match &asked.what {
                Reweighed::Weighing(at) => at.ticket != standing,
                Reweighed::Part(_) => false,
            };
            let Some(stored) = entries::get(tx, standing).await? else {
                continue;
            };
            let day_of = |us| site.clock.day_of(us);
            if voided || of_another || day_of(stored.happened_us) != day_of(happened_us) {
                continue;
            }
            let (then, ticket) = stored.read::<WeighIn, Ticket>()?;
            let then = Told {
                entry: standing,
                happened_us: stored.happened_us,
                asked: &then,
                outcome: &ticket,
            };
            let again = Told {
                entry,
                happened_us,
                asked: &asked,
                outcome: &done,
            };
            weighed_twice.extend(WeighedTwice::of(then, again, self.settings));
        }
        Ok(weighed_twice)
    }

    /// Business day on which the readings of an entry were taken.
    fn read_on(&self, entry: i64) -> DayNumber {
        let happened_us = self.entries.get(&entry);
        happened_us.map_or(self.day, |&us| self.clock.day_of(us))
    }

    /// What customers brought back, at what that lot's fish cost.
    async fn inward(&mut self, tx: &mut Tx) -> Result<(), BooksError> {
        let sql = "SELECT entry, number, place, part, weight FROM inward \
                   WHERE entry BETWEEN ? AND ? ORDER BY entry, n";
        for row in tx.fetch(sql, &self.range).await? {
            let part = part_id("inward", row.int(1), row.int(2), row.int(3))?;
            let weight = Weight::from_units(row.int(4));
            let cost_minor = self
                .once_held(tx, part)
                .await?
                .unwrap_or_default()
                .cost_of(weight);
            self.push(
                row.int(0),
                What::Returned {
                    part,
                    weight,
                    cost_minor,
                },
            )?;
        }
        Ok(())
    }

    /// What a part, or else a sibling on hand, or else its whole lot, held when it
    /// was new; `None` where it never held anything. A made lot's cost is known only
    /// while it is on hand.
    async fn once_held(&self, tx: &mut Tx, part: PartId) -> Result<Option<Holding>, BooksError> {
        let on_hand = self.opening.on_hand.iter();
        let mut siblings = on_hand.filter(|(id, held)| id.lot == part.lot && held.held_anything());
        if let Some(own) = self.opening.on_hand.get(&part)
            && own.held_anything()
        {
            return Ok(Some(own.clone()));
        }
        let sibling = siblings.next().map(|(_, held)| held.clone());
        let lot = [Val::Int(part.lot.number()), Val::Int(part.lot.place())];
        let rows = tx.fetch(
            "SELECT entry, making FROM lot WHERE number = ? AND place = ?",
            &lot,
        );
        let (entry, making) = match rows.await?.first() {
            Some(row) => (row.int(0), row.int(1)),
            None => return Ok(None),
        };
        let rows = if making == 0 {
            let (ticket, voided) = stock::standing_ticket(tx, entry).await?;
            if voided {
                return Ok(None);
            }
            let sql = "SELECT part, weight, amount FROM line \
                       WHERE ticket = ? AND number = ? AND place = ?";
            tx.fetch(sql, &[Val::Int(ticket), lot[0], lot[1]]).await?
        } else if sibling.is_some() {
            return Ok(sibling);
        } else {
            let sql = "SELECT part, weight, 0 FROM making_out WHERE number = ? AND place = ?";
            tx.fetch(sql, &lot).await?
        };
        let sum = |rows: &mut dyn Iterator<Item = &Record>| {
            rows.fold(Holding::default(), |sum, row| Holding {
                came_in: Weight::from_units(sum.came_in.units() + row.int(1)),
                cost_minor: sum.cost_minor + row.int(2),
                ..sum
            })
        };
        let own = sum(&mut rows.iter().filter(|row| row.int(0) == part.n));
        let whole = sum(&mut rows.iter());
        let known = [Some(own), sibling, Some(whole)].into_iter().flatten();
        Ok(known.into_iter().find(Holding::held_anything))
    }

    /// Lots of standing tickets that were to be shown cold on the day.
    async fn warm(
        &self,
        tx: &mut Tx,
        site: &Site,
        day: DayNumber,
    ) -> Result<Vec<WarmLot>, BooksError> {
        let since = self.warm_since(site, day);
        // Most tickets have none, and their documents are not read.
        let sql = "SELECT id, doc FROM entry WHERE id BETWEEN ? AND ? AND kind = 'weigh_in' \
                   AND doc LIKE '%\"reprobe_due_us\":\"%' ORDER BY id";
        let mut earlier = Vec::new();
        let mut next = Some(since).filter(|earlier| *earlier < day);
        while let Some(of_day) = next {
            next = next_day(of_day).filter(|earlier| *earlier < day);
            for row in tx.fetch(sql, &entries_of(of_day, site.number)).await? {
                let id = row.int(0);
                let read = read_entry_doc::<WeighIn, Ticket>(row.text(1))
                    .map_err(|e| corrupt("entry", "doc", id, e))?;
                earlier.push((id, read));
            }
        }
        let earlier = earlier.iter().map(|(id, read)| (*id, read));
        let weighed_in = earlier.chain(self.tickets.iter().map(|(id, read)| (*id, read)));
        let mut warm: Vec<WarmLot> = Vec::new();
        for (id, (asked, ticket)) in weighed_in {
            let due = |lot: &TicketLot| {
                let due_us = lot.received.reprobe_due_us?;
                (site.clock.day_of(due_us) == day).then_some(due_us)
            };
            if !ticket.lots.iter().any(|lot| due(lot).is_some())
                || entries::ended(tx, id).await?.is_some()
            {
                continue;
            }
            let number = ticket.number.unwrap_or(id);
            for (written, lot) in asked.lots.iter().zip(&ticket.lots) {
                let code = lot.place.and_then(|place| LotCode::new(number, place));
                if let (Some(due_us), Some(code)) = (due(lot), code) {
                    warm.push(WarmLot {
                        ticket: id,
                        lot: code,
                        came_in: warmest(&written.receiving.probes).cloned(),
                        due_us,
                        due: site.clock.local_rfc3339(due_us),
                        probed: Vec::new(),
                    });
                }
            }
        }
        if warm.is_empty() {
            return Ok(warm);
        }
        let from = entry_id(since, site.number, 0);
        let to = entry_id(day, site.number, 9_999_999);
        for entry in entries::of_kind(tx, "reprobe", "", from, to, i64::MAX).await? {
            let (asked, outcome): (ReprobeAsked, Reprobed) = entry.read()?;
            let of_lot = warm.iter_mut().find(|warm| warm.lot == asked.lot);
            if let Some(warm) = of_lot {
                warm.probed.push(ProbedAgain {
                    happened_us: entry.happened_us,
                    entry: entry.id.number(),
                    passed: outcome.passed,
                    warmest: outcome.warmest,
                });
            }
        }
        Ok(warm)
    }

    /// The first day whose warm fish may be due on `day`: by the longest time to cool
    /// that the site ever set, and a day more for a ticket whose reading and deed are of
    /// two days.
    fn warm_since(&self, site: &Site, day: DayNumber) -> DayNumber {
        let versions = self.office.settings.get(&site.number).into_iter().flatten();
        let set = versions.map(|version| version.content.receiving.hours_to_cool());
        let unset = Settings::default().receiving.hours_to_cool();
        let longest_us = HOUR_US.saturating_mul(set.fold(unset, i64::max));
        let since_us = site.clock.start_us(day).saturating_sub(longest_us);
        let since = site.clock.day_of(since_us);
        day_before(since).unwrap_or(since)
    }

    /// What is on file of every part that was on hand or touched.
    async fn parts(
        &self,
        tx: &mut Tx,
        day: DayNumber,
    ) -> Result<BTreeMap<PartId, PartFacts>, BooksError> {
        let mut ids: BTreeSet<PartId> = self.opening.on_hand.keys().copied().collect();
        for happening in &self.happened {
            match &happening.what {
                What::Bought { part, .. }
                | What::Returned { part, .. }
                | What::Moved { part, .. }
                | What::Counted { part, .. } => drop(ids.insert(*part)),
                What::Shifted { from, to, .. } => ids.extend([*from, *to]),
                What::Made { inputs, lots, .. } => {
                    ids.extend(inputs.iter().map(|used| used.part));
                    ids.extend(lots.iter().map(|lot| lot.part));
                }
            }
        }
        let mut lots = lots(tx, &ids).await?;
        let mut tickets = BTreeMap::new();
        let landed = lots.values().filter(|lot| lot.making == 0);
        let standing = stock::standing_tickets(tx, landed.map(|lot| lot.first).collect()).await?;
        for (code, lot) in lots.iter_mut().filter(|(_, lot)| lot.making == 0) {
            lot.entry = standing
                .get(&lot.first)
                .map_or(lot.first, |(entry, _)| *entry);
            if lot.entry == lot.first {
                continue;
            }
            let (asked, ticket) = self.ticket(tx, lot.entry, &mut tickets).await?;
            lot.rewritten = Rewritten::of(code.place(), asked, ticket);
            if let Some(now) = &lot.rewritten {
                lot.storage = now.storage;
                lot.harvested_us = now.harvested_us;
            }
        }
        let keys: Vec<_> = ids
            .iter()
            .flat_map(|id| [id.lot.number(), id.lot.place(), id.n].map(Val::Int))
            .collect();
        let sql = "SELECT number, place, n, hold, undersize, entry, condition FROM part \
                   WHERE (number, place, n) IN (VALUES {keys})";
        let rows = tx.fetch_keys(sql, 3, &keys).await?;
        let mut parts = BTreeMap::new();
        for row in &rows {
            let id = part_id("part", row.int(0), row.int(1), row.int(2))?;
            let lot = lots.get(&id.lot).ok_or_else(|| {
                corrupt(
                    "part",
                    "number",
                    row.int(0),
                    BadDoc::here("a part of a lot"),
                )
            })?;
            let before = day_of_entry(row.int(5)) < day && !self.opening.on_hand.contains_key(&id);
            let undersize = lot.rewritten.as_ref();
            let undersize = undersize.and_then(|now| now.undersize.get(&id.n).copied());
            let mut facts = PartFacts {
                species: lot.species.clone(),
                presentation: lot.presentation,
                storage: lot.storage,
                supplier: lot.supplier.clone(),
                held: row.int(3) == 1,
                undersize: match undersize {
                    Some(undersize) => undersize == Undersize::Yes,
                    None => row.int(4) == Undersize::Yes.number(),
                },
                proposed: None,
                proposed_reason: String::new(),
                finished: if before {
                    self.once_held(tx, id).await?
                } else {
                    None
                },
                harvested_us: match self.tickets.get(&lot.entry) {
                    Some(of_today) if lot.making == 0 => self.harvested_us(of_today, id),
                    _ => lot.harvested_us,
                },
            };
            if facts.undersize && lot.making == 0 {
                let (_, ticket) = self.ticket(tx, lot.entry, &mut tickets).await?;
                let condition = Condition::from_number(row.int(6));
                (facts.proposed, facts.proposed_reason) =
                    self.proposal(id, condition, &facts, ticket);
            }
            parts.insert(id, facts);
        }
        Ok(parts)
    }

    /// A weigh-in and its ticket: one of the day, or read into `others`.
    async fn ticket<'t>(
        &'t self,
        tx: &mut Tx,
        entry: i64,
        others: &'t mut BTreeMap<i64, (WeighIn, Ticket)>,
    ) -> Result<&'t (WeighIn, Ticket), BooksError> {
        if let Some(of_today) = self.tickets.get(&entry) {
            return Ok(of_today);
        }
        match others.entry(entry) {
            Entry::Occupied(known) => Ok(known.into_mut()),
            Entry::Vacant(new) => {
                let stored = entries::get(tx, entry).await?.ok_or_else(|| {
                    corrupt("lot", "entry", entry, BadDoc::here("the entry of a ticket"))
                })?;
                Ok(new.insert(stored.read()?))
            }
        }
    }

    /// When the earliest fish of a lot taken in was harvested: as speared, else the first
    /// day of harvest, else the day it was landed; 0 where none is said.
    fn harvested_us(&self, (asked, ticket): &(WeighIn, Ticket), id: PartId) -> i64 {
        let mut lots = ticket.lots.iter();
        let bought = lots.find(|lot| lot.place == Some(id.lot.place()));
        let position = bought.and_then(|lot| usize::try_from(lot.n - 1).ok());
        let lot = position.and_then(|position| asked.lots.get(position));
        let speared_us = lot.and_then(|lot| lot.receiving.first_speared_us);
        let day = lot
            .and_then(|lot| lot.harvest_from)
            .or(asked.landing.harvest_from)
            .or(asked.landing.landed_on);
        let begins_us = |date| self.clock.start_us(day_number(date));
        speared_us.or(day.map(begins_us)).unwrap_or(0)
    }

    /// Where undersize fish is proposed to go: as its ticket says of its line; what a
    /// hold, release or regrade moved has none and is proposed for as it stands.
    fn proposal(
        &self,
        id: PartId,
        condition: Option<Condition>,
        facts: &PartFacts,
        ticket: &Ticket,
    ) -> (Option<Outlet>, String) {
        let mut lots = ticket.lots.iter();
        let position = lots.find(|lot| lot.place == Some(id.lot.place()));
        let position = position.map(|lot| lot.n);
        let mut lines = ticket.lines.iter();
        let line = lines.find(|line| Some(line.lot) == position && line.part == id.n);
        if let Some(line) = line {
            return (line.proposed, line.proposed_reason.clone());
        }
        let Some(species) = self.office.species.get(&facts.species) else {
            return (None, String::new());
        };
        let decision = if facts.held {
            Decision::Hold
        } else {
            Decision::Accept
        };
        undersize::propose(
            species,
            facts.presentation,
            condition,
            decision,
            SmallFish::Sell,
            self.settings,
        )
    }
}

/// What a deed of so-and-so kind read on scales.
fn readings_of(entry: i64, kind: &str, day: DayNumber, doc: &str) -> Result<Vec<Read>, BadDoc> {
    let shifted = |from, weight: Option<&Reading>| {
        let read = weight.map(|read| readings::of_fish(Some(from), day, read));
        read.into_iter().collect()
    };
    Ok(match kind {
        "movement" => {
            let (asked, moved) = read_entry_doc::<MovementAsked, Moved>(doc)?;
            readings::of_movement(day, &asked, &moved).collect()
        }
        "count" => {
            let (asked, done) = read_entry_doc::<CountAsked, CountDone>(doc)?;
            readings::of_count(entry, day, &asked, &done).collect()
        }
        "return" => {
            let (asked, back) = read_entry_doc::<ReturnAsked, Returned>(doc)?;
            shifted(back.held, Some(&asked.weight))
        }
        "hold" => {
            let (asked, held) = read_entry_doc::<HoldAsked, Held>(doc)?;
            shifted(held.from, asked.weight.as_ref())
        }
        "regrade" => {
            let (asked, regraded) = read_entry_doc::<RegradeAsked, Regraded>(doc)?;
            shifted(regraded.from, asked.weight.as_ref())
        }
        _ => Vec::new(),
    })
}

/// A making, row by row.
#[derive(Default)]
struct HalfMade {
    inputs: Vec<Used>,
    lots: Vec<NewLot>,
    cutting_loss: Weight,
    table_unaccounted: Weight,
}

/// What is on file of a lot.
struct LotFacts {
    /// What made it.
    first: i64,
    /// What stands for it: where it was rewritten, the ticket that stands now.
    entry: i64,
    species: String,
    presentation: Presentation,
    storage: Option<Storage>,
    supplier: String,
    making: i64,
    /// Earliest harvest time known.
    harvested_us: i64,
    /// What a ticket that took the place of the first says of it.
    rewritten: Option<Rewritten>,
}

async fn lots(
    tx: &mut Tx,
    parts: &BTreeSet<PartId>,
) -> Result<BTreeMap<LotCode, LotFacts>, BooksError> {
    let codes: BTreeSet<LotCode> = parts.iter().map(|part| part.lot).collect();
    let keys: Vec<_> = codes
        .iter()
        .flat_map(|code| [code.number(), code.place()].map(Val::Int))
        .collect();
    let sql = "SELECT number, place, entry, species, presentation, storage, supplier, making, \
               harvested_us FROM lot WHERE (number, place) IN (VALUES {keys})";
    let mut lots = BTreeMap::new();
    for row in tx.fetch_keys(sql, 2, &keys).await? {
        let code = part_id("lot", row.int(0), row.int(1), 1)?.lot;
        let presentation = Presentation::from_number(row.int(4)).ok_or_else(|| {
            corrupt(
                "lot",
                "presentation",
                row.int(0),
                BadDoc::here("a known number"),
            )
        })?;
        let facts = LotFacts {
            first: row.int(2),
            entry: row.int(2),
            species: row.text(3).to_owned(),
            presentation,
            storage: stock::storage("lot", row.int(0), row.int(5))?,
            supplier: row.text(6).to_owned(),
            making: row.int(7),
            harvested_us: row.int(8),
            rewritten: None,
        };
        lots.insert(code, facts);
    }
    Ok(lots)
}

fn outlet(table: &'static str, row: i64, number: i64) -> Result<Outlet, BooksError> {
    Outlet::from_number(number)
        .ok_or_else(|| corrupt(table, "outlet", row, BadDoc::here("a known number")))
}

fn said(entry: i64, ticket: &Ticket) -> TicketSaid {
    let noticed = |code: &str| ticket.notices.iter().any(|notice| notice.code == code);
    let price = || {
        ticket
            .adjustments
            .iter()
            .filter(|line| line.kind == AdjustmentKind::Price)
    };
    // What the price shown offline made is the last adjustment of a ticket.
    let offline = noticed("offline_difference")
        .then(|| ticket.adjustments.last())
        .flatten();
    TicketSaid {
        entry,
        offline_difference_minor: offline.map_or(0, |line| line.amount.minor()),
        clock_skew: noticed("clock_skew"),
        price_adjusted: price().next().is_some(),
    }
}

/// Changes of pay entered on the day: by its own entries that were not late, and
/// by those that came late on this day. With it what became the buyer's loss.
async fn pay(tx: &mut Tx, range: &[Val<'static>; 2]) -> Result<(Vec<PayChange>, i64), BooksError> {
    let on_time = "SELECT m.from_kind, m.from_party, m.to_kind, m.to_party, \
                          CAST(SUM(m.amount) AS BIGINT) \
                   FROM money m LEFT JOIN late l ON l.entry = m.entry \
                   WHERE m.entry BETWEEN ? AND ? AND l.id IS NULL \
                   GROUP BY m.from_kind, m.from_party, m.to_kind, m.to_party \
                   ORDER BY m.from_kind, m.from_party, m.to_kind, m.to_party";
    let late = "SELECT m.from_kind, m.from_party, m.to_kind, m.to_party, \
                       CAST(SUM(m.amount) AS BIGINT) \
                FROM late l JOIN money m ON m.entry = l.entry \
                WHERE l.id BETWEEN ? AND ? \
                GROUP BY m.from_kind, m.from_party, m.to_kind, m.to_party \
                ORDER BY m.from_kind, m.from_party, m.to_kind, m.to_party";
    let (mut changes, mut loss) = (Vec::new(), 0);
    for sql in [on_time, late] {
        for row in tx.fetch(sql, range).await? {
            let amount = row.int(4);
            for (kind, party, minor) in [
                (row.text(0), row.text(1), -amount),
                (row.text(2), row.text(3), amount),
            ] {
                let by = match kind {
                    "owed" => PayBalance {
                        owed_minor: minor,
                        held_minor: 0,
                    },
                    "held" => PayBalance {
                        owed_minor: 0,
                        held_minor: minor,
                    },
                    "buyers_loss" => {
                        loss -= minor;
                        continue;
                    }
                    _ => continue,
                };
                changes.push(PayChange {
                    party: party.to_owned(),
                    by,
                });
            }
        }
    }
    Ok((changes, loss))
}

/// Devices on file whose last word by the end of the day was that deeds are
/// still to come in, and that have not said otherwise since.
async fn undrained(
    tx: &mut Tx,
    office: &Office,
    site: i64,
    day: DayNumber,
) -> Result<Vec<Undrained>, BooksError> {
    let sql = "SELECT queued, resolved FROM device_word \
               WHERE site = ? AND device = ? AND entry <= ? ORDER BY entry DESC LIMIT 1";
    let end_of_day = entry_id(day, site, 9_999_999);
    let mut undrained = Vec::new();
    for (_, device) in office.devices.keys().filter(|(of, _)| *of == site) {
        let mut last = None;
        for upto in [end_of_day, i64::MAX] {
            let binds = [Val::Int(site), Val::from(device.as_str()), Val::Int(upto)];
            last = tx
                .fetch(sql, &binds)
                .await?
                .first()
                .map(|row| (row.int(0), row.int(1)))
                .filter(|(queued, resolved)| queued > resolved);
            if last.is_none() {
                break;
            }
        }
        if let Some((queued, resolved)) = last {
            undrained.push(Undrained {
                device: device.clone(),
                queued,
                resolved,
            });
        }
    }
    Ok(undrained)
}
