use proptest::prelude::*;

use super::*;
use crate::decimal;
use crate::fish::Grade;
use crate::ids::LotCode;
use crate::making::{Fate, Made, MadeFrom, MadeSource};
use crate::office::DripRate;
use crate::stock::{add, sub};

const HOUR: i64 = 3_600_000_000;
/// 04:00 of a day in UTC; the day turns there.
const START: i64 = 1_935_000_000_000_000;

fn lb(text: &str) -> Weight {
    match text.strip_prefix('-') {
        Some(rest) => sub(Weight::ZERO, lb(rest)),
        None => WeightUnit::Lb
            .weigh(text)
            .unwrap_or_else(|bad| panic!("{text} {bad}")),
    }
}

fn cents(text: &str) -> i64 {
    decimal::scaled_signed(text, 2).unwrap_or_else(|bad| panic!("{text} {bad}"))
}

/// Part 1 of the `n`-th lot.
fn part(n: i64) -> PartId {
    let lot = LotCode::new(2_031_050_200_010_000_000 + n, 1);
    PartId {
        lot: lot.unwrap_or_else(|| panic!("lot {n}")),
        n: 1,
    }
}

fn usd() -> Currency {
    Currency::new("USD").unwrap_or_else(|| panic!("USD"))
}

/// A day to which things happen, one an hour.
struct Told(DayInput);

fn day() -> Told {
    Told(DayInput {
        site: 1,
        day: 20_310_502,
        start_us: START,
        end_us: START + 24 * HOUR,
        currency: usd(),
        shown_unit: WeightUnit::Lb,
        settings: Settings::default(),
        opening: BTreeMap::new(),
        parts: BTreeMap::new(),
        happened: Vec::new(),
        makings: Vec::new(),
        tickets: Vec::new(),
        undrained: Vec::new(),
        balances: BTreeMap::new(),
        pay: Vec::new(),
    })
}

impl Told {
    /// Drip of whole lionfish on drained ice, ppm a day.
    fn drip(mut self, ppm: i64) -> Told {
        self.0.settings.drip_rates.push(DripRate {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            storage: Storage::DrainedIce,
            ppm_per_day: ppm,
            allowance_ppm_per_day: 0,
        });
        self
    }

    fn facts(&mut self, n: i64) -> &mut PartFacts {
        self.0.parts.entry(part(n)).or_insert_with(|| PartFacts {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            storage: Some(Storage::DrainedIce),
            supplier: "ana".to_owned(),
            held: false,
            undersize: false,
            proposed: None,
            proposed_reason: String::new(),
            finished: None,
        })
    }

    fn with(mut self, n: i64, change: impl FnOnce(&mut PartFacts)) -> Told {
        change(self.facts(n));
        self
    }

    fn then(mut self, parts: &[i64], what: What) -> Told {
        for &n in parts {
            self.facts(n);
        }
        let n = i64::try_from(self.0.happened.len()).unwrap_or(0) + 1;
        let happened_us = START + n * HOUR;
        self.0.happened.push(Happening {
            happened_us,
            entry: n,
            what,
        });
        self
    }

    /// The last thing happened at this hour instead.
    fn at(mut self, hour: i64) -> Told {
        if let Some(last) = self.0.happened.last_mut() {
            last.happened_us = START + hour * HOUR;
        }
        self
    }

    fn bought(self, n: i64, weight: &str, cost: &str) -> Told {
        let what = What::Bought {
            part: part(n),
            weight: lb(weight),
            cost_minor: cents(cost),
        };
        self.then(&[n], what)
    }

    fn moved(self, n: i64, outlet: Outlet, weight: &str) -> Told {
        self.left(n, outlet, weight, false)
    }

    fn left(self, n: i64, outlet: Outlet, weight: &str, emptied: bool) -> Told {
        self.then(
            &[n],
            What::Moved {
                part: part(n),
                outlet,
                weight: lb(weight),
                emptied,
            },
        )
    }

    fn shifted(self, from: i64, to: i64, weight: &str) -> Told {
        let what = What::Shifted {
            from: part(from),
            to: part(to),
            weight: lb(weight),
        };
        self.then(&[from, to], what)
    }

    fn counted(self, n: i64, weight: &str) -> Told {
        self.then(
            &[n],
            What::Counted {
                part: part(n),
                weight: lb(weight),
            },
        )
    }

    /// Pours all of some parts into one.
    fn pooled(self, inputs: &[(i64, &str)], pool: i64) -> Told {
        let used = |&(n, weight): &(i64, &str)| Used {
            part: part(n),
            weight: lb(weight),
            emptied: false,
        };
        let inputs: Vec<_> = inputs.iter().map(used).collect();
        let weight = inputs.iter().map(|used| used.weight).sum();
        let numbers: Vec<_> = inputs
            .iter()
            .map(|used| used.part.lot.number() % 1_000)
            .collect();
        let what = What::Made {
            kind: MakingKind::Pool,
            inputs,
            lots: vec![NewLot {
                part: part(pool),
                weight,
            }],
            cutting_loss: Weight::ZERO,
            table_unaccounted: Weight::ZERO,
        };
        self.then(&numbers, what)
            .with(pool, |facts| facts.supplier.clear())
    }

    /// Cuts a part into fillet (a new lot) and frames (thrown out).
    fn cut(mut self, n: i64, weight: &str, fillet: (i64, &str), frames: &str) -> Told {
        let input = lb(weight);
        let residue = sub(sub(input, lb(fillet.1)), lb(frames));
        let most = input.millionths(40_000);
        let loss = residue
            .min(most)
            .max(sub(Weight::ZERO, input.millionths(10_000)));
        let beyond = sub(residue, loss);
        let made = |presentation, fate, place, weight: &str| Made {
            presentation,
            fate,
            place,
            weight: Some(lb(weight)),
            storage: None,
            reason: String::new(),
            grade: Grade::none(),
        };
        let supplier = self.facts(n).supplier.clone();
        let making = Making {
            kind: MakingKind::Cut,
            specification: "skinless".to_owned(),
            cutter: "cutter-one".to_owned(),
            kitchen: String::new(),
            minutes: String::new(),
            inputs: vec![MadeFrom {
                source: MadeSource::Part(part(n)),
                weight: input,
                emptied: false,
                supplier,
                species: "PZO".to_owned(),
                presentation: Presentation::Whole,
            }],
            outputs: vec![
                made(Presentation::FilletSkinless, Fate::Lot, Some(1), fillet.1),
                made(Presentation::Frames, Fate::Discard, None, frames),
            ],
            input,
            fillet: lb(fillet.1),
            cutting_loss: loss,
            table_unaccounted: beyond,
            not_weighed: Weight::ZERO,
        };
        let what = What::Made {
            kind: MakingKind::Cut,
            inputs: vec![Used {
                part: part(n),
                weight: input,
                emptied: false,
            }],
            lots: vec![NewLot {
                part: part(fillet.0),
                weight: lb(fillet.1),
            }],
            cutting_loss: loss,
            table_unaccounted: beyond,
        };
        let told = self.then(&[n], what).with(fillet.0, |facts| {
            facts.presentation = Presentation::FilletSkinless;
        });
        let entry = told.0.happened.last().map_or(0, |last| last.entry);
        Told(DayInput {
            makings: [told.0.makings, vec![(entry, making)]].concat(),
            ..told.0
        })
    }

    fn judged(&self) -> Judged {
        judge(&self.0)
    }

    /// "kind weight value" of each flag.
    fn flags(&self) -> Vec<String> {
        let flags = self.judged().doc.flags;
        flags
            .iter()
            .map(|flag| {
                let weight = flag.weight.shown(WeightUnit::Lb);
                format!(
                    "{} {weight} {}",
                    flag.kind.word(),
                    decimal::text(flag.value.minor(), 2)
                )
            })
            .collect()
    }
}

/// What was there and came in is what went, was posted, or is there.
fn adds_up(balance: &DayBalance) -> bool {
    let came = [
        balance.opening,
        balance.bought,
        balance.returned,
        balance.made,
    ];
    let went = [
        balance.used,
        balance.shrink,
        balance.unaccounted,
        balance.closing,
    ];
    let out = balance.out.iter().map(|out| out.weight);
    came.into_iter().sum::<Weight>() == went.into_iter().chain(out).sum()
}

#[test]
fn a_day_on_which_all_is_found_is_closed_without_a_flag() {
    let told = day()
        .drip(10_000)
        .bought(1, "40", "210")
        .moved(1, Outlet::SoldWhole, "20")
        .cut(1, "10", (2, "3"), "6.8")
        .at(1)
        .counted(1, "10")
        .at(1)
        .counted(2, "3");
    let Judged {
        doc,
        on_hand,
        found,
    } = told.judged();
    assert_eq!(told.flags(), Vec::<String>::new());
    assert_eq!(doc.state, CloseState::Closed);
    assert!(adds_up(&doc.balance));
    assert_eq!((doc.balance.bought, doc.balance.made), (lb("40"), lb("3")));
    assert_eq!(
        (doc.balance.used, doc.balance.cutting_loss),
        (lb("10"), lb("0.2"))
    );
    assert_eq!(doc.balance.closing, lb("13"));
    let sold = OutletWeight {
        outlet: Outlet::SoldWhole,
        weight: lb("20"),
    };
    assert_eq!(doc.balance.out, [sold]);
    // The sale, an hour later, was taken after the count: 30 lb counted as 10,
    // then 20 sold. It is the order of what happened that counts, so this day is
    // told with everything in the first hour but the sale.
    assert_eq!(found, []);
    let held: Vec<_> = on_hand
        .iter()
        .map(|(&id, held)| (id, held.weight))
        .collect();
    assert_eq!(held, [(part(1), lb("10")), (part(2), lb("3"))]);
    // Fillet bears what its input cost: 10 lb at 5.25.
    assert_eq!(on_hand[&part(2)].cost_minor, cents("52.50"));
    assert_eq!(doc.cuts.len(), 1);
    assert_eq!(doc.yields[0].yield_e2, Some(3_000));
}
