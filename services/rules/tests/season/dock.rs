//! A small dock over some weeks: what truly happens to the fish, and what is written
//! of it.
//!
//! Six suppliers bring lionfish and hogfish; some of it is sold whole, some cut by three
//! cutters, the rest kept on ice for a few days, and every evening all of it is counted.
//! All names and figures are invented, the figures after what a week at such a dock
//! looks like. Fish is kept here in pounds as they truly are. What a person reads differs
//! from it by the scale of the day, its division, water on the fish and wet totes, all
//! drawn here; nothing of what the night works with is asked what it would allow.
//!
//! Planted, each on a day by chance: fish that goes without being written down, fish
//! put into the wrong bin, a supplier whose fish cuts out low, a cutter who cuts low and
//! mostly one supplier's fish, and a scale that drifts. Now and then a lot is weighed
//! again on the table's scale.

use std::collections::BTreeMap;

use rules::balance::Holding;
use rules::baseline::{Baseline, Follows};
use rules::business_day::{SiteClock, next_day};
use rules::close::{DayInput, Happening, NewLot, PartFacts, Used, What};
use rules::drift::WeighedTwice;
use rules::fish::{Condition, Grade, Outlet, Presentation, Storage};
use rules::ids::{DayNumber, LotCode, PartId};
use rules::making::{
    Fate, MadeFrom, MadeSource, MakingAsked, MakingInput, MakingKind, MakingOutput, Source, make,
};
use rules::money::Currency;
use rules::office::{DripRate, Settings};
use rules::stock::PartRef;
use rules::supplier_yield::{CutFact, CutShare};
use rules::uncertainty::{OnIt, Read};
use rules::weight::WeightUnit;

use crate::chance::Chance;
use crate::scales::{self, Scale, Shown, reading, weight};

const SUPPLIERS: [&str; 6] = ["abel", "brisa", "corin", "delia", "ewan", "fenna"];
const CUTTERS: [&str; 3] = ["maud", "nils", "olga"];
/// Days of these weeks are what charts are held against.
const GOOD_DAYS: usize = 21;
const HOUR_US: i64 = 3_600_000_000;

struct Species {
    code: &'static str,
    /// Band, price of a pound in cents, true yield.
    bands: [(&'static str, i64, f64); 3],
    deviation: f64,
}

const SPECIES: [Species; 2] = [
    Species {
        code: "PZO",
        bands: [
            ("0.50-0.75", 525, 0.280),
            ("0.75-1.25", 625, 0.300),
            ("1.25-", 700, 0.315),
        ],
        deviation: 0.020,
    },
    Species {
        code: "LCX",
        bands: [
            ("1.75-2.50", 625, 0.370),
            ("2.50-4.00", 725, 0.380),
            ("4.00-", 675, 0.390),
        ],
        deviation: 0.025,
    },
];

/// Fish that went without being written down.
pub(crate) struct Short {
    pub(crate) day: DayNumber,
    pub(crate) part: PartId,
    pub(crate) pounds: f64,
}

/// Fish put from one bin into another.
pub(crate) struct Swap {
    pub(crate) day: DayNumber,
    pub(crate) from: PartId,
    pub(crate) to: PartId,
}

/// Somebody whose fish, or whose cuts, give less from a day on.
pub(crate) struct Low {
    pub(crate) who: &'static str,
    pub(crate) from: DayNumber,
    pub(crate) points: f64,
}

/// A scale that is off from a day on.
pub(crate) struct Drifting {
    pub(crate) scale: &'static str,
    pub(crate) from: DayNumber,
    /// Days of the season before that.
    pub(crate) after: usize,
    /// What it shows too much of each pound.
    pub(crate) by: f64,
}

/// What was planted.
#[derive(Default)]
pub(crate) struct Planted {
    pub(crate) shorts: Vec<Short>,
    pub(crate) swaps: Vec<Swap>,
    pub(crate) supplier: Option<Low>,
    pub(crate) cutter: Option<Low>,
    /// Whose fish the low cutter mostly cuts.
    pub(crate) cut_by_low: &'static str,
    /// The low cutter was not low while the baseline was taken.
    pub(crate) cutter_changes: bool,
    pub(crate) drifting: Option<Drifting>,
}

/// Fish of one lot as it truly is.
struct Bin {
    species: &'static Species,
    band: usize,
    condition: Option<Condition>,
    supplier: &'static str,
    fillet: bool,
    pounds: f64,
    /// What it truly drips in a day.
    drip: f64,
    since_us: i64,
}

pub(crate) struct Dock {
    chance: Chance,
    pub(crate) days: usize,
    day: DayNumber,
    nth: usize,
    clock: SiteClock,
    now_us: i64,
    entries: i64,
    dock: Scale,
    table: Scale,
    cooler_drip: f64,
    /// What honest suppliers and cutters differ by.
    supplier_yield: BTreeMap<&'static str, f64>,
    cutter_yield: BTreeMap<&'static str, f64>,
    bins: BTreeMap<PartId, Bin>,
    facts: BTreeMap<PartId, PartFacts>,
    opening: BTreeMap<PartId, Holding>,
    cuts: Vec<CutFact>,
    /// With the day of the season.
    weighed_twice: Vec<(usize, WeighedTwice)>,
    settings: Settings,
    currency: Currency,
    pub(crate) planted: Planted,
}

impl Dock {
    pub(crate) fn new(seed: u64) -> Dock {
        let mut chance = Chance::new(seed);
        let days = 7 * chance.whole(8, 13);
        let first = 20_310_303;
        let mut planted = Planted::default();
        let low_supplier = chance.one_of(&SUPPLIERS);
        if chance.happens(0.5) {
            planted.supplier = Some(Low {
                who: low_supplier,
                from: days_on(first, chance.whole(0, 14)),
                points: chance.between(3.0, 6.0),
            });
        }
        if chance.happens(0.5) {
            planted.cutter_changes = chance.happens(0.5);
            let from = if planted.cutter_changes {
                chance.whole(GOOD_DAYS, GOOD_DAYS + 14)
            } else {
                0
            };
            planted.cutter = Some(Low {
                who: chance.one_of(&CUTTERS),
                from: days_on(first, from),
                points: chance.between(4.0, 8.0),
            });
            let others: Vec<_> = SUPPLIERS
                .into_iter()
                .filter(|who| *who != low_supplier)
                .collect();
            planted.cut_by_low = chance.one_of(&others);
        }
        if chance.happens(0.4) {
            let by = chance.between(0.006, 0.012);
            let scale = chance.one_of(&["dock", "table"]);
            let after = chance.whole(7, days - 21);
            planted.drifting = Some(Drifting {
                scale,
                from: days_on(first, after),
                after,
                by: if chance.happens(0.5) { by } else { -by },
            });
        }
        let cooler_drip = chance.near(0.008, 0.0015);
        let mut differ = |who: &'static str| (who, chance.near(0.0, 0.005));
        let supplier_yield = SUPPLIERS.into_iter().map(&mut differ).collect();
        let cutter_yield = CUTTERS.into_iter().map(&mut differ).collect();
        let rate = |species: &str, presentation, ppm_per_day, allowance_ppm_per_day| DripRate {
            species: species.to_owned(),
            presentation,
            storage: Storage::DrainedIce,
            ppm_per_day,
            allowance_ppm_per_day,
        };
        let drip_rates = SPECIES.iter().flat_map(|species| {
            [
                rate(species.code, Presentation::Whole, 8_000, 5_000),
                rate(species.code, Presentation::FilletSkinless, 5_000, 3_000),
            ]
        });
        Dock {
            days,
            day: first,
            nth: 0,
            clock: SiteClock::new("UTC", 4).expect("a clock"),
            now_us: 0,
            entries: 0,
            dock: scales::dock(),
            table: scales::table(),
            cooler_drip,
            supplier_yield,
            cutter_yield,
            bins: BTreeMap::new(),
            facts: BTreeMap::new(),
            opening: BTreeMap::new(),
            cuts: Vec::new(),
            weighed_twice: Vec::new(),
            settings: Settings {
                drip_rates: drip_rates.collect(),
                ..Settings::default()
            },
            currency: Currency::new("USD").expect("a currency"),
            planted,
            chance,
        }
    }

    /// A day as it is written down: the morning's sales, the table, the boats, the
    /// count. Nothing lands on the seventh day.
    pub(crate) fn next_day(&mut self) -> DayInput {
        self.entries = 0;
        for scale in [&mut self.dock, &mut self.table] {
            scale.new_day(&mut self.chance);
            let drifting = self.planted.drifting.as_ref();
            let drifting = drifting.filter(|of| of.scale == scale.code && self.day >= of.from);
            scale.drifted = drifting.map_or(0.0, |of| of.by);
        }
        let mut day = self.empty_day();
        self.at(6);
        self.sell(&mut day);
        self.at(8);
        self.cut(&mut day);
        self.at(11);
        if self.nth % 7 != 6 {
            self.land(&mut day);
        }
        self.plant();
        self.at(16);
        self.count(&mut day);
        day.cut_facts.clone_from(&self.cuts);
        let recent = self
            .weighed_twice
            .iter()
            .filter(|(nth, _)| nth + 30 > self.nth);
        day.weighed_twice = recent.map(|(_, twice)| twice.clone()).collect();
        day.parts = self.facts.clone();
        day
    }

    /// The night is over; what the book says is on hand is the next day's opening.
    pub(crate) fn carry_on(&mut self, on_hand: BTreeMap<PartId, Holding>) {
        self.bins.retain(|_, bin| bin.pounds > 0.0);
        self.facts
            .retain(|part, _| self.bins.contains_key(part) || on_hand.contains_key(part));
        self.opening = on_hand;
        self.day = days_on(self.day, 1);
        self.nth += 1;
    }

    fn empty_day(&self) -> DayInput {
        DayInput {
            site: 1,
            day: self.day,
            start_us: self.clock.start_us(self.day),
            end_us: self.clock.end_us(self.day),
            currency: self.currency,
            shown_unit: WeightUnit::Lb,
            settings: self.settings.clone(),
            opening: self.opening.clone(),
            parts: BTreeMap::new(),
            happened: Vec::new(),
            read: BTreeMap::new(),
            scales: [&self.dock, &self.table]
                .into_iter()
                .map(|scale| (scale.code.to_owned(), scale.on_file()))
                .collect(),
            makings: Vec::new(),
            tickets: Vec::new(),
            undrained: Vec::new(),
            disputes: Vec::new(),
            warm: Vec::new(),
            balances: BTreeMap::new(),
            pay: Vec::new(),
            loss_minor: 0,
            blocks: Vec::new(),
            weighed_twice: Vec::new(),
            cut_facts: Vec::new(),
            baselines: self.baselines(),
            dispatch_prices: BTreeMap::new(),
            lines_done: Vec::new(),
            places: None,
        }
    }

    /// Somebody looks at the charts each seventh day, and at the last.
    fn baselines(&self) -> Vec<Baseline> {
        if self.nth < GOOD_DAYS || (self.nth % 7 != 6 && self.nth + 1 != self.days) {
            return Vec::new();
        }
        let first = (0..self.nth).fold(self.day, |day, _| day_before(day));
        let of = |cutter: &&str| Baseline {
            site: 1,
            follows: Follows::Cutter,
            party: (*cutter).to_owned(),
            from: first,
            to: days_on(first, GOOD_DAYS),
            reason: "the first three weeks".to_owned(),
        };
        CUTTERS.iter().map(of).collect()
    }

    fn at(&mut self, hour: i64) {
        self.now_us = self.clock.start_us(self.day) + hour * HOUR_US;
    }

    /// The next thing that happens, five minutes later.
    fn entry(&mut self) -> i64 {
        self.now_us += HOUR_US / 12;
        self.entries += 1;
        self.day * 100_000_000_000 + 10_000_000 + self.entries
    }

    /// What truly lies in a bin by now.
    fn drip_until_now(&mut self, part: PartId) {
        let bin = self.bins.get_mut(&part).expect("a bin");
        let days = (self.now_us - bin.since_us) as f64 / (24 * HOUR_US) as f64;
        bin.pounds -= bin.pounds * bin.drip * days;
        bin.since_us = self.now_us;
    }

    /// Fish as it comes onto a scale: with more water on it than usual, or less.
    fn wet(&mut self, pounds: f64) -> f64 {
        pounds * (1.0 + self.chance.near(0.0, 0.005).clamp(-0.012, 0.012))
    }

    fn open(&self, fillet: bool) -> Vec<PartId> {
        let open = self.bins.iter().filter(|(_, bin)| bin.fillet == fillet);
        open.map(|(&part, _)| part).collect()
    }

    /// Of each bin of whole fish some is sold, or all; fillet is sold out.
    fn sell(&mut self, day: &mut DayInput) {
        for part in self.open(true) {
            self.sell_of(day, part, 1.0);
        }
        for part in self.open(false) {
            let old = self.now_us - self.clock.start_us(part.lot.number() / 100_000_000_000);
            if old > 72 * HOUR_US || self.chance.happens(0.15) {
                self.sell_of(day, part, 1.0);
            } else if self.chance.happens(0.45) {
                let share = self.chance.between(0.2, 0.6);
                self.sell_of(day, part, share);
            }
        }
    }

    fn sell_of(&mut self, day: &mut DayInput, part: PartId, share: f64) {
        let entry = self.entry();
        self.drip_until_now(part);
        let bin = self.bins.get_mut(&part).expect("a bin");
        let emptied = share >= 1.0 || bin.pounds * (1.0 - share) < 3.0;
        let pounds = if emptied {
            bin.pounds
        } else {
            bin.pounds * share
        };
        bin.pounds -= pounds;
        let fillet = bin.fillet;
        let load = self.wet(pounds);
        let scale = if fillet { &self.table } else { &self.dock };
        let shown = scale.show(load);
        read(day, entry, Some(part), scale, shown, OnIt::Fish);
        happened(
            day,
            self.now_us,
            entry,
            What::Moved {
                part,
                outlet: Outlet::SoldWhole,
                weight: weight(shown),
                emptied,
            },
        );
    }

    /// Some cuts of 8 to 25 lb; one in six mixes two suppliers' fish.
    fn cut(&mut self, day: &mut DayInput) {
        for _ in 0..self.chance.whole(4, 7) {
            let enough = |part: &PartId| self.bins[part].pounds > 11.0;
            let mut parts: Vec<PartId> = self.open(false).into_iter().filter(enough).collect();
            if parts.is_empty() {
                return;
            }
            let first = parts.swap_remove(self.chance.whole(0, parts.len()));
            parts.retain(|part| {
                let (a, b) = (&self.bins[part], &self.bins[&first]);
                a.species.code == b.species.code && a.supplier != b.supplier
            });
            let mut of = vec![first];
            if !parts.is_empty() && self.chance.happens(1.0 / 6.0) {
                of.push(parts[self.chance.whole(0, parts.len())]);
            }
            self.cut_of(day, &of);
        }
    }

    /// Who is at the table: the low cutter cuts most of one supplier's fish, and little of
    /// the others'.
    fn cutter_of(&mut self, supplier: &str) -> &'static str {
        let Some(low) = &self.planted.cutter else {
            return self.chance.one_of(&CUTTERS);
        };
        let low = low.who;
        let share = if supplier == self.planted.cut_by_low {
            0.85
        } else {
            0.2
        };
        if self.chance.happens(share) {
            return low;
        }
        let others: Vec<_> = CUTTERS.into_iter().filter(|who| *who != low).collect();
        self.chance.one_of(&others)
    }

    /// What truly comes off a pound of this bin under this knife.
    fn true_yield(&self, bin: &Bin, cutter: &str) -> f64 {
        let low = |low: &Option<Low>, who: &str| match low {
            Some(low) if low.who == who && self.day >= low.from => low.points / 100.0,
            Some(_) | None => 0.0,
        };
        let torn = match bin.condition {
            Some(Condition::Torn) => 0.03,
            Some(Condition::Body) => 0.01,
            Some(Condition::Clean) | None => 0.0,
        };
        bin.species.bands[bin.band].2 - torn
            + self.supplier_yield[bin.supplier]
            + self.cutter_yield[cutter]
            - low(&self.planted.supplier, bin.supplier)
            - low(&self.planted.cutter, cutter)
    }

    fn cut_of(&mut self, day: &mut DayInput, of: &[PartId]) {
        let entry = self.entry();
        let cutter = self.cutter_of(self.bins[&of[0]].supplier);
        let species = self.bins[&of[0]].species;
        let (mut inputs, mut from, mut shares) = (Vec::new(), Vec::new(), Vec::new());
        let (mut input, mut fillet) = (0.0, 0.0);
        for &part in of {
            self.drip_until_now(part);
            let most = if of.len() > 1 { 13.0 } else { 25.0 };
            let left = self.bins[&part].pounds;
            let mut pounds = self.chance.between(8.0, most).min(left);
            if left - pounds < 3.0 {
                pounds = left;
            }
            let emptied = pounds >= left;
            let load = self.wet(pounds);
            let shown = self.table.show(load);
            read(day, entry, Some(part), &self.table, shown, OnIt::Fish);
            input += pounds;
            let bin = &self.bins[&part];
            fillet += pounds * self.true_yield(bin, cutter);
            let whole = weight(shown);
            inputs.push(MakingInput {
                source: Source::Part(PartRef {
                    lot: part.lot,
                    part: Some(part.n),
                }),
                weight: Some(reading(shown, "table")),
                emptied,
            });
            from.push(MadeFrom {
                source: MadeSource::Part(part),
                weight: whole,
                emptied,
                supplier: bin.supplier.to_owned(),
                species: species.code.to_owned(),
                presentation: Presentation::Whole,
            });
            shares.push(CutShare {
                supplier: bin.supplier.to_owned(),
                band: species.bands[bin.band].0.to_owned(),
                condition: bin.condition,
                pieces: None,
                weight: whole,
            });
            self.bins.get_mut(&part).expect("a bin").pounds -= pounds;
        }
        fillet += input * self.chance.near(0.0, species.deviation);
        let loss = input * self.chance.near(0.02, 0.005).clamp(0.002, 0.04);
        let frames = self.wet(input - fillet - loss);
        let wet_fillet = self.wet(fillet);
        let (fillet_shown, frames_shown) = (self.table.show(wet_fillet), self.table.show(frames));
        let lot = part_of(entry);
        read(day, entry, Some(lot), &self.table, fillet_shown, OnIt::Fish);
        read(day, entry, None, &self.table, frames_shown, OnIt::Fish);
        let output = |presentation, fate, shown, reason: &str| MakingOutput {
            presentation,
            fate,
            weight: Some(reading(shown, "table")),
            storage: Some(Storage::DrainedIce),
            reason: reason.to_owned(),
            grade: Grade::none(),
        };
        let asked = MakingAsked {
            site: 1,
            kind: MakingKind::Cut,
            inputs,
            outputs: vec![
                output(Presentation::FilletSkinless, Fate::Lot, fillet_shown, ""),
                output(Presentation::Frames, Fate::Discard, frames_shown, "frames"),
            ],
            specification: "skinless".to_owned(),
            cutter: cutter.to_owned(),
            kitchen: String::new(),
            minutes: String::new(),
            happened_us: None,
            tally: None,
            plan_line: String::new(),
        };
        let made = make(&asked, from, &self.settings).expect("a cut");
        let used = |from: &MadeFrom| match from.source {
            MadeSource::Part(part) => Some(Used {
                part,
                weight: from.weight,
                emptied: from.emptied,
            }),
            MadeSource::Dispatch(_) => None,
        };
        happened(
            day,
            self.now_us,
            entry,
            What::Made {
                kind: MakingKind::Cut,
                inputs: made.inputs.iter().filter_map(used).collect(),
                lots: vec![NewLot {
                    part: lot,
                    weight: weight(fillet_shown),
                }],
                cutting_loss: made.cutting_loss,
                table_unaccounted: made.table_unaccounted,
            },
        );
        self.cuts.push(CutFact {
            entry,
            day: self.day,
            happened_us: self.now_us,
            cutter: cutter.to_owned(),
            kitchen: String::new(),
            specification: "skinless".to_owned(),
            species: species.code.to_owned(),
            presentation: Presentation::Whole,
            inputs: shares,
            fillet: made.fillet,
            minutes_e2: None,
        });
        day.makings.push((entry, made));
        let supplier = if let [one] = of {
            self.bins[one].supplier
        } else {
            ""
        };
        let band = self.bins[&of[0]].band;
        let drip = self.chance.near(0.005, 0.001);
        self.file(lot, Presentation::FilletSkinless, species, supplier);
        self.bins.insert(
            lot,
            Bin {
                species,
                band,
                condition: None,
                supplier,
                fillet: true,
                pounds: fillet,
                drip,
                since_us: self.now_us,
            },
        );
    }

    /// Boats bring 4 to 8 lots, in totes of up to 30 lb.
    fn land(&mut self, day: &mut DayInput) {
        for _ in 0..self.chance.whole(4, 9) {
            let entry = self.entry();
            let part = part_of(entry);
            let species = &SPECIES[usize::from(self.chance.happens(0.35))];
            let pounds = self.chance.between(12.0, 52.0);
            let supplier = self.chance.one_of(&SUPPLIERS);
            let band = self.chance.whole(0, 3);
            let condition = match self.chance.between(0.0, 1.0) {
                p if p < 0.04 => Condition::Torn,
                p if p < 0.16 => Condition::Body,
                _ => Condition::Clean,
            };
            let totes = 1 + (pounds / 30.0) as i64;
            let mut net = 0;
            for _ in 0..totes {
                let posted = self.chance.whole(68, 85) as i64 * 5;
                let wet_tote = self.chance.near(0.0, 0.1).clamp(-0.25, 0.25);
                let load = self.wet(pounds / totes as f64) + posted as f64 / 100.0 + wet_tote;
                let gross = self.dock.show(load);
                let of_tote = gross - posted;
                net += of_tote;
                let on_it = OnIt::Tote(weight(of_tote));
                read(day, entry, Some(part), &self.dock, gross, on_it);
            }
            if totes == 1 && pounds < 28.0 && self.chance.happens(0.3) {
                self.weigh_again(pounds, net);
            }
            let cost_minor = (net * species.bands[band].1 + 50) / 100;
            happened(
                day,
                self.now_us,
                entry,
                What::Bought {
                    part,
                    weight: weight(net),
                    cost_minor,
                },
            );
            self.file(part, Presentation::Whole, species, supplier);
            let drip = self.chance.near(self.cooler_drip, 0.0015).max(0.0);
            self.bins.insert(
                part,
                Bin {
                    species,
                    band,
                    condition: Some(condition),
                    supplier,
                    fillet: false,
                    pounds,
                    drip,
                    since_us: self.now_us,
                },
            );
        }
    }

    /// On the table's scale, at once, out of its tote.
    fn weigh_again(&mut self, pounds: f64, then: Shown) {
        let load = self.wet(pounds);
        let twice = WeighedTwice {
            entry: self.entry(),
            first: self.dock.code.to_owned(),
            second: self.table.code.to_owned(),
            then: weight(then),
            again: weight(self.table.show(load)),
        };
        self.weighed_twice.push((self.nth, twice));
    }

    fn file(&mut self, part: PartId, form: Presentation, species: &Species, supplier: &str) {
        self.facts.insert(
            part,
            PartFacts {
                species: species.code.to_owned(),
                presentation: form,
                storage: Some(Storage::DrainedIce),
                supplier: supplier.to_owned(),
                held: false,
                undersize: false,
                proposed: None,
                proposed_reason: String::new(),
                finished: None,
                // Not known: age is not judged here.
                harvested_us: 0,
            },
        );
    }

    /// About one short count a week, and one wrong bin in ten days; never of one bin.
    fn plant(&mut self) {
        let mut full: Vec<PartId> = self.open(false);
        full.retain(|part| self.bins[part].pounds > 9.0);
        if self.chance.happens(1.0 / 7.0) && !full.is_empty() {
            let part = full.swap_remove(self.chance.whole(0, full.len()));
            let pounds = self.chance.between(1.5, 6.0);
            self.bins.get_mut(&part).expect("a bin").pounds -= pounds;
            let day = self.day;
            self.planted.shorts.push(Short { day, part, pounds });
        }
        if self.chance.happens(0.1) && !full.is_empty() {
            let from = full.swap_remove(self.chance.whole(0, full.len()));
            full.retain(|part| self.bins[part].species.code == self.bins[&from].species.code);
            if full.is_empty() {
                return;
            }
            let to = full[self.chance.whole(0, full.len())];
            let pounds = self.chance.between(2.0, 5.0);
            self.bins.get_mut(&from).expect("a bin").pounds -= pounds;
            self.bins.get_mut(&to).expect("a bin").pounds += pounds;
            let day = self.day;
            self.planted.swaps.push(Swap { day, from, to });
        }
    }

    /// Whatever is still there is weighed.
    fn count(&mut self, day: &mut DayInput) {
        let open: Vec<PartId> = self
            .bins
            .iter()
            .filter(|(_, bin)| bin.pounds > 0.0)
            .map(|(&part, _)| part)
            .collect();
        for part in open {
            let entry = self.entry();
            self.drip_until_now(part);
            let (pounds, fillet) = (self.bins[&part].pounds, self.bins[&part].fillet);
            let load = self.wet(pounds);
            let scale = if fillet { &self.table } else { &self.dock };
            let shown = scale.show(load);
            read(day, entry, Some(part), scale, shown, OnIt::Fish);
            happened(
                day,
                self.now_us,
                entry,
                What::Counted {
                    part,
                    weight: weight(shown),
                },
            );
        }
    }
}

fn read(
    day: &mut DayInput,
    entry: i64,
    part: Option<PartId>,
    scale: &Scale,
    shown: Shown,
    on_it: OnIt,
) {
    day.read.entry(entry).or_default().push(Read {
        part,
        scale: scale.code.to_owned(),
        day: day.day,
        load: weight(shown),
        on_it,
    });
}

fn happened(day: &mut DayInput, happened_us: i64, entry: i64, what: What) {
    day.happened.push(Happening {
        happened_us,
        entry,
        what,
    });
}

/// The only part of the only lot of an entry.
fn part_of(entry: i64) -> PartId {
    let lot = LotCode::new(entry, 1).expect("a lot code");
    PartId { lot, n: 1 }
}

fn days_on(day: DayNumber, days: usize) -> DayNumber {
    (0..days).fold(day, |day, _| next_day(day).expect("a day"))
}

fn day_before(day: DayNumber) -> DayNumber {
    rules::business_day::day_before(day).expect("a day")
}

#[test]
fn a_seed_is_a_season() {
    let (mut one, mut again, mut other) = (Dock::new(7), Dock::new(7), Dock::new(8));
    let day = one.next_day();
    assert_eq!(day, again.next_day());
    assert_ne!(day, other.next_day());
}
