//! Which readings a deed rests on, and of which part each is.
//!
//! A tote is two readings: with the fish, and, where the tote was weighed too, without
//! it. A posted tare was read on some other day; what it may be off by is part of what
//! a tote may weigh more or less than its tare. A line of a ticket rests on every tote
//! and every fish that went into it. Where the readings found for a line do not add up
//! to it, it counts as read on a scale that was not named: then nothing is claimed.

use super::{OnIt, Read};
use crate::ids::{DayNumber, LotCode, PartId};
use crate::making::{MadeSource, Making, MakingAsked};
use crate::price_list::mean_is_below;
use crate::stock::{CountAsked, CountDone, Moved, MovementAsked};
use crate::ticket::{Line, LotIn, Net, Pieces, Tare, Ticket, WeighIn, Weighed, Weighing};
use crate::weight::{Reading, Weight};

/// Of fish alone.
#[must_use]
pub fn of_fish(part: Option<PartId>, day: DayNumber, reading: &Reading) -> Read {
    Read {
        part,
        scale: reading.scale.clone(),
        day,
        load: reading.weight,
        on_it: OnIt::Fish,
    }
}

/// Of a movement.
pub fn of_movement(
    day: DayNumber,
    asked: &MovementAsked,
    moved: &Moved,
) -> impl Iterator<Item = Read> {
    let taken = asked.taken.iter().zip(&moved.taken);
    taken.map(move |(asked, taken)| of_fish(Some(taken.part), day, &asked.weight))
}

/// Of a count, and of the bin counted with it.
pub fn of_count(
    entry: i64,
    day: DayNumber,
    asked: &CountAsked,
    done: &CountDone,
) -> impl Iterator<Item = Read> {
    let alone = asked.counted.iter().zip(&done.counted);
    let alone = alone.map(move |(asked, found)| of_fish(Some(found.part), day, &asked.weight));
    let bin = asked.pool.iter();
    alone.chain(bin.map(move |bin| of_fish(first_part(entry, 1), day, &bin.weight)))
}

/// Of a making: what went in, what came out as a lot, and what was thrown out.
pub fn of_making(
    entry: i64,
    day: DayNumber,
    asked: &MakingAsked,
    making: &Making,
) -> impl Iterator<Item = Read> {
    let inputs = asked.inputs.iter().zip(&making.inputs);
    let inputs = inputs.filter_map(move |(asked, from)| match (&asked.weight, from.source) {
        (Some(read), MadeSource::Part(part)) => Some(of_fish(Some(part), day, read)),
        // A customer's cut moves no weight of this book.
        (Some(_), MadeSource::Dispatch(_)) | (None, _) => None,
    });
    let outputs = asked.outputs.iter().zip(&making.outputs);
    let outputs = outputs.filter_map(move |(asked, made)| {
        let part = made.place.and_then(|place| first_part(entry, place));
        let read = asked.weight.as_ref().filter(|_| making.moves_weight())?;
        Some(of_fish(part, day, read))
    });
    inputs.chain(outputs)
}

/// The only part of a lot that an entry made.
fn first_part(entry: i64, place: i64) -> Option<PartId> {
    LotCode::new(entry, place).map(|lot| PartId { lot, n: 1 })
}

/// Of a ticket: each line's.
#[must_use]
pub fn of_ticket(entry: i64, day: DayNumber, asked: &WeighIn, ticket: &Ticket) -> Vec<Read> {
    let mut read = Vec::new();
    for line in &ticket.lines {
        let number = ticket.number.unwrap_or(entry);
        let lot = ticket.lots.iter().find(|lot| lot.n == line.lot);
        let written = usize::try_from(line.lot.saturating_sub(1)).ok();
        let written = written.and_then(|position| asked.lots.get(position));
        let (Some(lot), Some(written)) = (lot, written) else {
            continue;
        };
        let code = lot.place.and_then(|place| LotCode::new(number, place));
        let part = code.map(|lot| PartId { lot, n: line.part });
        let weighed = on_scales(written, &lot.weighed);
        let alike: Vec<_> = weighed.iter().filter(|one| one.is_alike(line)).collect();
        let net = |of: &[&OnScale<'_>]| of.iter().map(|one| one.net).sum::<Weight>();
        let of_line = if net(&alike) == line.net {
            alike
        } else {
            let in_band = alike.into_iter().filter(|one| one.is_in_band(line));
            in_band.collect()
        };
        if net(&of_line) == line.net {
            read.extend(of_line.iter().flat_map(|one| one.read(part, day)));
        } else {
            read.push(Read {
                part,
                scale: String::new(),
                day,
                load: line.net,
                on_it: OnIt::Fish,
            });
        }
    }
    read
}

/// A tote, or one fish, as it stood on a scale.
struct OnScale<'a> {
    weighing: &'a Weighing,
    reading: &'a Reading,
    tare: Option<&'a Reading>,
    net: Weight,
    pieces: Pieces,
}

fn on_scales<'a>(lot: &'a LotIn, nets: &[Net]) -> Vec<OnScale<'a>> {
    let mut all = Vec::new();
    for (weighing, net) in lot.weighings.iter().zip(nets) {
        match &weighing.weighed {
            Weighed::Tote {
                gross,
                tare,
                iced: _,
                pieces,
            } => all.push(OnScale {
                weighing,
                reading: gross,
                tare: match tare {
                    Tare::Reading(tare) => Some(tare),
                    Tare::Tote { .. } | Tare::Tared => None,
                },
                net: net.net,
                pieces: *pieces,
            }),
            Weighed::Pieces(readings) => all.extend(readings.iter().map(|reading| OnScale {
                weighing,
                reading,
                tare: None,
                net: reading.weight,
                pieces: Pieces::Counted(1),
            })),
        }
    }
    all
}

impl OnScale<'_> {
    fn is_alike(&self, line: &Line) -> bool {
        self.weighing.grade == line.grade && self.weighing.condition == line.condition
    }

    /// Whether its mean lies between the edges of the line's band.
    fn is_in_band(&self, line: &Line) -> bool {
        match self.pieces {
            Pieces::NotCounted => line.band == 0,
            Pieces::Counted(n) | Pieces::Estimated(n) => {
                let below = |edge| mean_is_below(self.net, n, edge);
                line.band != 0 && !below(line.band_from) && line.band_to.is_none_or(below)
            }
        }
    }

    fn read(&self, part: Option<PartId>, day: DayNumber) -> Vec<Read> {
        let gross = Read {
            on_it: match &self.weighing.weighed {
                Weighed::Tote { .. } => OnIt::Tote(self.net),
                Weighed::Pieces(_) => OnIt::Fish,
            },
            ..of_fish(part, day, self.reading)
        };
        let tare = self.tare.map(|tare| Read {
            // A tare that names no scale was read on that of its gross.
            scale: match tare.scale.as_str() {
                "" => self.reading.scale.clone(),
                scale => scale.to_owned(),
            },
            on_it: OnIt::EmptyTote,
            ..of_fish(part, day, tare)
        });
        [Some(gross), tare].into_iter().flatten().collect()
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::fish::{Grade, Presentation, Storage};
    use crate::making::{Fate, MadeFrom, MakingInput, MakingKind, MakingOutput, Source, make};
    use crate::office::Settings;
    use crate::stock::{CountedPart, Found, PartRef, PoolAsked, PoolDone};
    use crate::weight::{ReadingSource, WeightUnit};

    const DAY: DayNumber = 20_310_502;
    const ENTRY: i64 = 2_031_050_200_010_000_009;

    fn reading(text: &str, scale: &str) -> Reading {
        Reading::new(text, WeightUnit::Lb, scale, ReadingSource::Keyed).unwrap()
    }

    fn part(number: i64, place: i64) -> PartId {
        let lot = LotCode::new(number, place).unwrap();
        PartId { lot, n: 1 }
    }

    /// "part scale load" of each, the part by the last digits of its lot.
    fn told(read: impl IntoIterator<Item = Read>) -> Vec<String> {
        let tell = |read: Read| {
            assert_eq!((read.day, read.on_it), (DAY, OnIt::Fish));
            let lot = read.part.map(|part| part.lot.to_string());
            let lot = lot.as_ref().map_or("none", |lot| &lot[18..]);
            format!("{lot} {} {}", read.scale, read.load.shown(WeightUnit::Lb))
        };
        read.into_iter().map(tell).collect()
    }

    fn making(
        kind: MakingKind,
        input: Option<&str>,
        outputs: &[(Fate, Option<&str>)],
    ) -> Vec<String> {
        let from = part(2_031_050_200_010_000_001, 1);
        let asked = MakingAsked {
            site: 1,
            kind,
            inputs: vec![MakingInput {
                source: match kind {
                    MakingKind::CustomerCut => Source::Dispatch(7),
                    MakingKind::Cut | MakingKind::Dress | MakingKind::Pool | MakingKind::Freeze => {
                        Source::Part(PartRef {
                            lot: from.lot,
                            part: None,
                        })
                    }
                },
                weight: input.map(|text| reading(text, "dock")),
                emptied: false,
            }],
            outputs: outputs
                .iter()
                .map(|(fate, weight)| MakingOutput {
                    presentation: Presentation::FilletSkinless,
                    fate: *fate,
                    weight: weight.map(|text| reading(text, "table")),
                    storage: Some(Storage::DrainedIce),
                    reason: "frames".to_owned(),
                    grade: Grade::none(),
                })
                .collect(),
            specification: match kind {
                MakingKind::Cut | MakingKind::CustomerCut => "skinless".to_owned(),
                MakingKind::Dress | MakingKind::Pool | MakingKind::Freeze => String::new(),
            },
            cutter: match kind {
                MakingKind::Cut => "bess".to_owned(),
                MakingKind::CustomerCut
                | MakingKind::Dress
                | MakingKind::Pool
                | MakingKind::Freeze => String::new(),
            },
            kitchen: match kind {
                MakingKind::CustomerCut => "hill".to_owned(),
                MakingKind::Cut | MakingKind::Dress | MakingKind::Pool | MakingKind::Freeze => {
                    String::new()
                }
            },
            minutes: String::new(),
            happened_us: None,
            tally: None,
            plan_line: String::new(),
        };
        let made_from = MadeFrom {
            source: match kind {
                MakingKind::CustomerCut => MadeSource::Dispatch(7),
                MakingKind::Cut | MakingKind::Dress | MakingKind::Pool | MakingKind::Freeze => {
                    MadeSource::Part(from)
                }
            },
            weight: reading("10", "").weight,
            emptied: false,
            supplier: "ana".to_owned(),
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
        };
        let made = make(&asked, vec![made_from], &Settings::default()).unwrap();
        told(of_making(ENTRY, DAY, &asked, &made))
    }

    #[test]
    fn a_making_rests_on_what_was_weighed_before_and_after_it() {
        let (lot, out, left) = (Fate::Lot, Fate::Discard, Fate::NotWeighed);
        assert_eq!(
            making(
                MakingKind::Cut,
                Some("10"),
                &[(lot, Some("3")), (out, Some("6")), (lot, Some("0.5"))]
            ),
            [
                "11 dock 10.00",
                "91 table 3.00",
                "none table 6.00",
                "92 table 0.50"
            ]
        );
        assert_eq!(
            making(
                MakingKind::Cut,
                Some("10"),
                &[(lot, Some("3")), (left, None)]
            ),
            ["11 dock 10.00", "91 table 3.00"]
        );
        // A pool by the book was not weighed at all.
        assert_eq!(
            making(MakingKind::Pool, None, &[(lot, None)]),
            Vec::<String>::new()
        );
        // What a customer's kitchen weighed is not of this book.
        let customer = making(MakingKind::CustomerCut, Some("10"), &[(lot, Some("3"))]);
        assert_eq!(customer, Vec::<String>::new());
    }

    #[test]
    fn a_count_rests_on_what_was_weighed_alone_and_in_the_bin() {
        let first = part(2_031_050_200_010_000_001, 1);
        let counted_as = PartRef {
            lot: first.lot,
            part: None,
        };
        let asked = CountAsked {
            site: 1,
            closes: DAY,
            counted: vec![CountedPart {
                part: counted_as,
                weight: reading("4", "dock"),
            }],
            pool: Some(PoolAsked {
                parts: Vec::new(),
                weight: reading("12", "piece"),
                storage: None,
                grade: Grade::none(),
            }),
            happened_us: None,
        };
        let nothing = Making {
            kind: MakingKind::Pool,
            specification: String::new(),
            cutter: String::new(),
            kitchen: String::new(),
            minutes: String::new(),
            inputs: Vec::new(),
            outputs: Vec::new(),
            input: Weight::ZERO,
            fillet: Weight::ZERO,
            cutting_loss: Weight::ZERO,
            table_unaccounted: Weight::ZERO,
            not_weighed: Weight::ZERO,
            notices: Vec::new(),
        };
        let done = CountDone {
            counted: vec![Found {
                part: first,
                weight: reading("4", "").weight,
            }],
            pool: Some(PoolDone {
                making: nothing,
                weight: reading("12", "").weight,
            }),
        };
        assert_eq!(
            told(of_count(ENTRY, DAY, &asked, &done)),
            ["11 dock 4.00", "91 piece 12.00"]
        );
    }
}
