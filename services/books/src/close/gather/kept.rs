//! What is kept of a day, worked out from its entries.

use std::collections::{BTreeMap, BTreeSet};

use rules::decimal;
use rules::fillet_yield::tells_yield;
use rules::fish::Condition;
use rules::ids::{LotCode, PartId};
use rules::making::{MadeFrom, MadeSource, Making, MakingKind};
use rules::ticket::{Line, Pieces, Ticket, WeighIn};
use rules::weight::{Weight, WeightUnit};

use super::HalfRead;
use super::weight::weight_of_day;
use crate::close::kept::{CutInput, Kept};
use crate::close::part_id;
use crate::db::{Tx, Val};
use crate::{BooksError, stock};

/// What the book knows of the fish of an input.
#[derive(Default)]
struct Fish {
    band: String,
    condition: Option<Condition>,
    pieces: Option<i64>,
}

/// What is kept of the day that was read, weight shown to people in `unit`.
pub(super) async fn kept(
    read: &HalfRead<'_>,
    tx: &mut Tx,
    makings: &[(i64, Making)],
    unit: WeightUnit,
) -> Result<Kept, BooksError> {
    let mut cuts = Vec::new();
    let mut file = File::default();
    let telling = || makings.iter().filter(|(_, making)| tells_yield(making));
    let inputs = telling().flat_map(|(_, making)| &making.inputs);
    let parts = inputs.filter_map(|from| match from.source {
        MadeSource::Part(part) => Some(part),
        MadeSource::Dispatch(_) => None,
    });
    file.look_up(tx, parts).await?;
    for (entry, cut) in telling() {
        let mut inputs = Vec::new();
        for from in &cut.inputs {
            inputs.extend(poured_in(tx, &mut file, from).await?);
        }
        for (n, from) in (1..).zip(&inputs) {
            let fish = fish(read, tx, from, &mut file, unit).await?;
            cuts.push(CutInput {
                entry: *entry,
                n,
                happened_us: read.entries.get(entry).copied().unwrap_or(0),
                cutter: cut.cutter.clone(),
                kitchen: cut.kitchen.clone(),
                specification: cut.specification.clone(),
                species: from.species.clone(),
                presentation: from.presentation,
                supplier: from.supplier.clone(),
                band: fish.band,
                condition: fish.condition,
                pieces: fish.pieces,
                weight: from.weight,
                fillet: cut.fillet,
                minutes_e2: decimal::scaled(&cut.minutes, 2).ok(),
            });
        }
    }
    let weight = weight_of_day(tx, read.site, read.day).await?;
    Ok(Kept { cuts, weight })
}

/// What is on file of the fish that was cut, as far as it was looked up.
#[derive(Default)]
struct File {
    lots: BTreeMap<LotCode, OfLot>,
    /// By part: number of its band, and where the spear went.
    parts: BTreeMap<PartId, (i64, Option<Condition>)>,
    /// Tickets of other days.
    tickets: BTreeMap<i64, (WeighIn, Ticket)>,
}

/// What is on file of a lot.
struct OfLot {
    /// 0 from a landing, else the kind of making.
    making: i64,
    /// The ticket that stands for it; of a made lot nothing is asked of it.
    standing: i64,
}

impl File {
    /// Looks up those of these parts that were not yet.
    async fn look_up(
        &mut self,
        tx: &mut Tx,
        parts: impl IntoIterator<Item = PartId>,
    ) -> Result<(), BooksError> {
        let parts = parts.into_iter();
        let unknown: BTreeSet<PartId> = parts.filter(|id| !self.parts.contains_key(id)).collect();
        let codes: BTreeSet<LotCode> = unknown.iter().map(|id| id.lot).collect();
        let keys: Vec<_> = codes
            .iter()
            .flat_map(|code| [code.number(), code.place()].map(Val::Int))
            .collect();
        let sql = "SELECT number, place, entry, making FROM lot \
                   WHERE (number, place) IN (VALUES {keys})";
        let rows = tx.fetch_keys(sql, 2, &keys).await?;
        let landed = rows.iter().filter(|row| row.int(3) == 0);
        let standing = stock::standing_tickets(tx, landed.map(|row| row.int(2)).collect()).await?;
        for row in &rows {
            let code = part_id("lot", row.int(0), row.int(1), 1)?.lot;
            let first = row.int(2);
            let of_lot = OfLot {
                making: row.int(3),
                standing: standing.get(&first).map_or(first, |(ticket, _)| *ticket),
            };
            self.lots.insert(code, of_lot);
        }
        let keys: Vec<_> = unknown
            .iter()
            .flat_map(|id| [id.lot.number(), id.lot.place(), id.n].map(Val::Int))
            .collect();
        let sql = "SELECT number, place, n, band, condition FROM part \
                   WHERE (number, place, n) IN (VALUES {keys})";
        for row in tx.fetch_keys(sql, 3, &keys).await? {
            let id = part_id("part", row.int(0), row.int(1), row.int(2))?;
            let of_part = (row.int(3), Condition::from_number(row.int(4)));
            self.parts.insert(id, of_part);
        }
        Ok(())
    }
}

/// Pools in pools that are looked through; below them fish is of several suppliers.
const DEEPEST: usize = 8;

/// An input as it was poured together: fish of a pool by the shares of its sources, by
/// weight, anything else as it is. Shares are rounded as a running sum, so that they
/// add up to the input.
async fn poured_in(
    tx: &mut Tx,
    file: &mut File,
    from: &MadeFrom,
) -> Result<Vec<MadeFrom>, BooksError> {
    let (mut whole, mut found) = (vec![from.clone()], Vec::new());
    for _ in 0..DEEPEST {
        let mut next = Vec::new();
        for from in whole {
            match shares(tx, file, &from).await? {
                Some(shares) => next.extend(shares),
                None => found.push(from),
            }
        }
        whole = next;
    }
    found.extend(whole);
    Ok(found)
}

/// The shares of a pool's sources in what was taken of it; `None` of what is no pool.
async fn shares(
    tx: &mut Tx,
    file: &mut File,
    from: &MadeFrom,
) -> Result<Option<Vec<MadeFrom>>, BooksError> {
    let MadeSource::Part(part) = from.source else {
        return Ok(None);
    };
    file.look_up(tx, [part]).await?;
    let of_lot = file.lots.get(&part.lot);
    if of_lot.is_none_or(|lot| lot.making != MakingKind::Pool.number()) {
        return Ok(None);
    }
    let sql = "SELECT m.number, m.place, m.part, m.weight, s.supplier FROM lot l \
               JOIN making_in m ON m.entry = l.entry \
               JOIN lot s ON s.number = m.number AND s.place = m.place \
               WHERE l.number = ? AND l.place = ? ORDER BY m.n";
    let key = [part.lot.number(), part.lot.place()];
    let rows = tx.fetch(sql, &key.map(Val::Int)).await?;
    let whole: i128 = rows.iter().map(|row| i128::from(row.int(3))).sum();
    let (mut shares, mut poured, mut shared) = (Vec::new(), 0_i128, 0_i64);
    for row in &rows {
        poured += i128::from(row.int(3));
        let up_to = poured * i128::from(from.weight.units());
        let up_to = decimal::half_up(up_to, whole).unwrap_or(0);
        shares.push(MadeFrom {
            source: MadeSource::Part(part_id("making_in", row.int(0), row.int(1), row.int(2))?),
            weight: Weight::from_units(up_to - shared),
            supplier: row.text(4).to_owned(),
            ..from.clone()
        });
        shared = up_to;
    }
    Ok((whole > 0).then_some(shares))
}

/// What is known of an input: of a part as the ticket that stands says, of a dispatch
/// what is true of all that went with it.
async fn fish(
    read: &HalfRead<'_>,
    tx: &mut Tx,
    from: &MadeFrom,
    file: &mut File,
    unit: WeightUnit,
) -> Result<Fish, BooksError> {
    let dispatch = match from.source {
        MadeSource::Part(part) => return fish_of(read, tx, part, from.weight, file, unit).await,
        MadeSource::Dispatch(entry) => entry,
    };
    let sql = "SELECT number, place, part FROM move WHERE entry = ? ORDER BY n";
    let mut all: Option<Fish> = None;
    for row in tx.fetch(sql, &[Val::Int(dispatch)]).await? {
        let part = part_id("move", row.int(0), row.int(1), row.int(2))?;
        let one = fish_of(read, tx, part, from.weight, file, unit).await?;
        all = Some(match all {
            None => one,
            // Of several parts, how many fish of each were cut is not known.
            Some(before) => Fish {
                band: if before.band == one.band {
                    one.band
                } else {
                    String::new()
                },
                condition: one.condition.filter(|_| before.condition == one.condition),
                pieces: None,
            },
        });
    }
    Ok(all.unwrap_or_default())
}

/// What is known of `weight` out of a part. A made lot has no line, so it has neither
/// band nor pieces.
async fn fish_of(
    read: &HalfRead<'_>,
    tx: &mut Tx,
    part: PartId,
    weight: Weight,
    file: &mut File,
    unit: WeightUnit,
) -> Result<Fish, BooksError> {
    file.look_up(tx, [part]).await?;
    let File {
        lots,
        parts,
        tickets,
    } = file;
    let (Some(&(band, condition)), Some(lot)) = (parts.get(&part), lots.get(&part.lot)) else {
        return Ok(Fish::default());
    };
    if lot.making != 0 {
        return Ok(Fish {
            condition,
            ..Fish::default()
        });
    }
    let (_, ticket) = read.ticket(tx, lot.standing, tickets).await?;
    let mut lots = ticket.lots.iter();
    let lot = lots.find(|lot| lot.place == Some(part.lot.place()));
    let lot = lot.map(|lot| lot.n);
    let lines = || ticket.lines.iter().filter(|line| Some(line.lot) == lot);
    let own = lines().find(|line| line.part == part.n);
    // What a hold or a regrade made has no line, but a sibling of its band has.
    let alike = own.or_else(|| lines().find(|line| line.band == band));
    Ok(Fish {
        band: alike.map_or_else(String::new, |line| edges(line, unit)),
        condition,
        pieces: own.and_then(|line| share_of_pieces(line, weight)),
    })
}

/// Edges of a line's band as people read them; empty where it was not counted.
fn edges(line: &Line, unit: WeightUnit) -> String {
    if line.band == 0 {
        return String::new();
    }
    let from = line.band_from.shown(unit);
    match line.band_to {
        Some(to) => format!("{from}-{}", to.shown(unit)),
        None => format!("{from}+"),
    }
}

/// Fish in `weight` of a line, by its share of the line, half up. A guess is none.
fn share_of_pieces(line: &Line, weight: Weight) -> Option<i64> {
    let pieces = match line.pieces {
        Pieces::Counted(pieces) => pieces,
        Pieces::Estimated(_) | Pieces::NotCounted => return None,
    };
    let share = i128::from(pieces) * i128::from(weight.units());
    decimal::half_up(share, i128::from(line.net.units())).filter(|pieces| *pieces > 0)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
