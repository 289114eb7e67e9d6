//! A boat's pay through hundreds of deeds in any order: after each one every account
//! of every payee is what the answers come to, worked out here by other code.
//!
//! What the answers do not say is worked out from the rules: whose part of a hold,
//! a release or thrown out fish it is (by what each has, cents to the largest
//! remainder), and the share of a part's pay (by weight, half up).

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use books::testing::Book;
use books::{Db, Scribe};
use rules::business_day::SiteClock;
use rules::fish::{Grade, Outlet, Presentation};
use rules::ids::{LotCode, PartId};
use rules::money::UnitPrice;
use rules::office::{Party, Site, Species};
use rules::price_list::{Band, BandBy, GradePrices, PresentationPrices, PriceList};
use rules::stock::{
    DiscardCause, Held, HoldAsked, HoldId, MovementAsked, PartRef, RegradeAsked, ReleaseAsked,
    Released, Taken,
};
use rules::ticket::{
    AdjustBy, Adjustment, AdjustmentKind, Confirmation, Decision, LotIn, PayeeShare, Pieces,
    Receiving, Rewrite, Share, SmallFish, Tare, Ticket, VoidAsked, WeighIn, Weighed, Weighing,
};
use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};

use super::*;
use crate::{Clock, LotFound};

const SITE: i64 = 1;
const HARVESTER: &str = "diver";
/// Who may be paid.
const CREW: [&str; 4] = [HARVESTER, "boat", "mate", "hand"];
/// Accounts of a payee.
const KINDS: [&str; 6] = ["owed", "held", "paid", "advance", "carry", "deduction"];
const STEPS: usize = 300;

/// Chance that comes out the same for a seed (splitmix64, as published by its author
/// Sebastiano Vigna, prng.di.unimi.it/splitmix64.c).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// One of `0..sides`.
    fn roll(&mut self, sides: i64) -> i64 {
        i64::try_from(self.next() % u64::try_from(sides).unwrap()).unwrap()
    }

    fn pick<'a, T>(&mut self, from: &'a [T]) -> Option<&'a T> {
        let n = i64::try_from(from.len()).unwrap();
        (n > 0).then(|| &from[usize::try_from(self.roll(n)).unwrap()])
    }
}

fn usd(minor: i64) -> Money {
    Money::new(minor, Currency::new("USD").unwrap())
}

/// Hundredths of a pound, as read.
fn reading(hundredths: i64) -> Reading {
    let text = format!("{}.{:02}", hundredths / 100, hundredths % 100);
    Reading::new(&text, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap()
}

/// What one has of a landing's pay.
#[derive(Debug, Clone)]
struct Purse {
    party: &'static str,
    owed: i64,
    held: i64,
}

/// Pay and paid weight that came to a part after it was weighed in.
#[derive(Debug, Clone)]
struct Shift {
    part: PartId,
    weight: i64,
    pay: i64,
    /// Thrown out: takes no more weight than is paid for.
    thrown_out: bool,
}

/// A hold, with what it took of each.
#[derive(Debug, Clone)]
struct Hold {
    id: HoldId,
    taken: Vec<(&'static str, i64)>,
}

/// A landing by its answers.
#[derive(Debug)]
struct Paper {
    number: i64,
    ticket: i64,
    asked: WeighIn,
    answer: Ticket,
    voided: bool,
    paid_for: bool,
    moved: bool,
    /// In the order in which they first had any.
    purses: Vec<Purse>,
    /// Owed and held as the ticket itself has them, with what its lines gave back.
    own: (i64, i64),
    shifts: Vec<Shift>,
    holds: Vec<Hold>,
    /// Taken back with fish that was thrown out.
    unpaid: i64,
    /// Changes of what is owed that no settlement took up.
    open: BTreeMap<&'static str, i64>,
}

impl Paper {
    fn purse(&mut self, party: &'static str) -> &mut Purse {
        if let Some(at) = self.purses.iter().position(|purse| purse.party == party) {
            return &mut self.purses[at];
        }
        self.purses.push(Purse {
            party,
            owed: 0,
            held: 0,
        });
        self.purses.last_mut().unwrap()
    }

    fn post(&mut self, party: &'static str, owed: i64, held: i64) {
        if owed != 0 {
            *self.open.entry(party).or_default() += owed;
        }
        if (owed, held) != (0, 0) {
            let purse = self.purse(party);
            purse.owed += owed;
            purse.held += held;
        }
    }

    /// Pay and paid weight that sit in a part.
    fn in_part(&self, part: PartId) -> (i64, i64) {
        let (mut pay, mut weight) = (0, 0);
        for (n, line) in (1..).zip(&self.answer.lines) {
            let lot = self.answer.lots.iter().find(|lot| lot.n == line.lot);
            let place = lot.unwrap().place;
            if place == Some(part.lot.place()) && line.part == part.n {
                pay += self.answer.pay_of(n).minor();
                weight += line.net.units();
            }
        }
        for shift in self.shifts.iter().filter(|shift| shift.part == part) {
            pay += shift.pay;
            weight += if shift.thrown_out {
                -shift.weight.min(weight.max(0))
            } else {
                shift.weight
            };
        }
        (pay, weight)
    }

    /// The share of a part's pay that goes with a weight of it.
    fn share(&self, part: PartId, weight: Weight) -> i64 {
        let (pay, paid) = self.in_part(part);
        if paid <= 0 {
            0
        } else if weight.units() >= paid {
            pay
        } else {
            half_up(i128::from(pay) * i128::from(weight.units()), paid)
        }
    }

    /// Whose part of an amount it is, by what each has of it.
    fn parts(&self, amount: i64, has: impl Fn(&Purse) -> i64) -> Vec<(&'static str, i64)> {
        let mut some = self.purses.clone();
        some.retain(|purse| (purse.owed, purse.held) != (0, 0));
        if some.is_empty() {
            return vec![(HARVESTER, amount)];
        }
        let weights: Vec<i64> = some.iter().map(|purse| has(purse).max(0)).collect();
        let parts = some.iter().map(|purse| purse.party);
        parts.zip(parted(amount, &weights)).collect()
    }

    /// Owed and held of all payees.
    fn all(&self) -> (i64, i64) {
        let sum = |of: fn(&Purse) -> i64| self.purses.iter().map(of).sum();
        (sum(|purse| purse.owed), sum(|purse| purse.held))
    }

    fn hold_ids(&self) -> Vec<HoldId> {
        let lines = (1..).zip(&self.answer.lines).filter(|(_, line)| line.held);
        let of_lines = lines.map(|(line, _)| HoldId {
            entry: self.ticket,
            line,
        });
        of_lines
            .chain(self.holds.iter().map(|hold| hold.id))
            .collect()
    }

    /// What a ticket that was just written makes of the landing's pay.
    fn write(&mut self) {
        let (owed, held) = self.all();
        let since = (owed - self.own.0, held - self.own.1);
        let given: i64 = self
            .answer
            .released
            .iter()
            .map(|back| back.pay.minor())
            .sum();
        self.own = (
            self.answer.owed.minor() + given,
            self.answer.held.minor() - given,
        );
        let (owed, held) = (self.own.0 + since.0, self.own.1 + since.1);
        for purse in self.purses.clone() {
            self.post(purse.party, -purse.owed, -purse.held);
        }
        for (party, owed, held) in shared(&self.asked.payees, owed, held) {
            self.post(party, owed, held);
        }
    }
}

/// A number over another, half up; what is negative is mirrored.
fn half_up(over: i128, under: i64) -> i64 {
    let under = i128::from(under);
    let size = (2 * over.abs() + under) / (2 * under);
    i64::try_from(size * over.signum()).unwrap()
}

/// An amount parted by weights: a cent at a time to whoever is furthest below their
/// exact part, the first of equals.
fn parted(amount: i64, weights: &[i64]) -> Vec<i64> {
    let whole: i128 = weights.iter().map(|w| i128::from(*w)).sum();
    let size = i128::from(amount.abs());
    let mut parts: Vec<i128> = if whole == 0 {
        (0..weights.len())
            .map(|n| if n == 0 { size } else { 0 })
            .collect()
    } else {
        weights
            .iter()
            .map(|w| size * i128::from(*w) / whole)
            .collect()
    };
    while parts.iter().sum::<i128>() < size {
        let lack = |n: usize| size * i128::from(weights[n]) - parts[n] * whole;
        let most = (0..parts.len()).map(lack).max().unwrap();
        let first = (0..parts.len()).find(|n| lack(*n) == most).unwrap();
        parts[first] += 1;
    }
    let sign = i128::from(amount.signum());
    parts
        .iter()
        .map(|part| i64::try_from(part * sign).unwrap())
        .collect()
}

fn of_crew(party: &str) -> &'static str {
    CREW.into_iter().find(|crew| *crew == party).unwrap()
}

/// Who has what of a ticket's pay (5.2): fixed amounts first and first of what is
/// owed, the rest by percents; what is held by what each has beyond that.
fn shared(payees: &[PayeeShare], owed: i64, held: i64) -> Vec<(&'static str, i64, i64)> {
    if payees.is_empty() {
        return vec![(HARVESTER, owed, held)];
    }
    let percents: Vec<i64> = payees
        .iter()
        .map(|payee| match payee.share {
            Share::Ppm(ppm) => ppm,
            Share::Fixed(_) => 0,
        })
        .collect();
    let serve = |mut left: i64| -> (Vec<i64>, i64) {
        let mut given = Vec::new();
        for payee in payees {
            let wants = match payee.share {
                Share::Fixed(amount) => amount.minor(),
                Share::Ppm(_) => 0,
            };
            let gets = if left > 0 { wants.min(left) } else { 0 };
            left -= gets;
            given.push(gets);
        }
        (given, left)
    };
    let (fixed, rest) = serve(owed + held);
    let rest = parted(rest, &percents);
    let totals: Vec<i64> = fixed.iter().zip(rest).map(|(a, b)| a + b).collect();
    let (first, _) = serve(owed);
    let later: Vec<i64> = totals.iter().zip(&first).map(|(a, b)| a - b).collect();
    let room: i64 = later.iter().sum();
    let by = if room > 0 && held >= 0 && held <= room {
        &later
    } else {
        &percents
    };
    let held = parted(held, by);
    let all = payees.iter().zip(totals.iter().zip(held));
    all.map(|(payee, (total, held))| (of_crew(&payee.party), total - held, held))
        .collect()
}

/// An advance or a charge that is still to be taken off.
#[derive(Debug, Clone)]
struct Owing {
    entry: i64,
    party: &'static str,
    advance: bool,
    order: i64,
    left: i64,
    /// A settlement took it up.
    taken_up: bool,
}

/// A boat, its buyer's desk, and what the answers come to.
struct Boat {
    desk: Desk,
    db: Db,
    now: Arc<AtomicI64>,
    dice: Dice,
    requests: u64,
    papers: Vec<Paper>,
    owing: Vec<Owing>,
    /// What was taken off and paid of what is owed, and what else the accounts had.
    off: BTreeMap<(&'static str, &'static str), i64>,
    /// Left below zero by the last settlement.
    brought: BTreeMap<&'static str, i64>,
    done: BTreeMap<&'static str, u32>,
    /// What was last done, for a failing step.
    last: String,
}

impl Boat {
    async fn open(book: &Book, seed: u64) -> Boat {
        let db = book.open().await;
        let clock = SiteClock::new("America/New_York", 4).unwrap();
        let now = Arc::new(AtomicI64::new(clock.start_us(20_310_505)));
        let read = Arc::clone(&now);
        let clock_of_machine = Clock::Machine(Arc::new(move || read.load(Ordering::SeqCst)));
        let scribe = Scribe::start(db.clone(), 16);
        let desk = Desk::open(db.clone(), scribe, clock_of_machine)
            .await
            .unwrap();
        let mut boat = Boat {
            desk,
            db,
            now,
            dice: Dice(seed),
            requests: 0,
            papers: Vec::new(),
            owing: Vec::new(),
            off: BTreeMap::new(),
            brought: BTreeMap::new(),
            done: BTreeMap::new(),
            last: String::new(),
        };
        boat.put_on_file(clock).await;
        boat
    }

    async fn put_on_file(&mut self, clock: SiteClock) {
        let office = Caller::office();
        for code in CREW.into_iter().chain(["buyer"]) {
            let role = match code {
                HARVESTER => PartyRole::Harvester,
                "buyer" => PartyRole::Buyer,
                _ => PartyRole::Payee,
            };
            let party = Party {
                code: code.to_owned(),
                name: code.to_owned(),
                roles: vec![role],
                licence_number: "L-1".to_owned(),
                licence_expires: date_of(20_320_101),
                contact: String::new(),
            };
            let id = self.request();
            self.desk.record_party(&office, &id, party).await.unwrap();
        }
        let site = Site {
            number: SITE,
            name: "Pier".to_owned(),
            clock,
            currency: usd(0).currency(),
            buyer: "buyer".to_owned(),
            shown_unit: WeightUnit::Lb,
            location_description: String::new(),
        };
        let id = self.request();
        self.desk.record_site(&office, &id, site).await.unwrap();
        let species = Species {
            code: "PZO".to_owned(),
            name: "Lionfish".to_owned(),
            scientific_name: String::new(),
            hazards: Vec::new(),
            lightest: None,
            heaviest: None,
        };
        let id = self.request();
        let put = self.desk.record_species(&office, &id, species);
        put.await.unwrap();
        let price = |text| UnitPrice::new(text, usd(0).currency(), WeightUnit::Lb).unwrap();
        let half = reading(50).weight;
        let band = |name: &str, from, to, text| Band {
            from,
            to,
            price: price(text),
            name: name.to_owned(),
        };
        let list = PriceList {
            site: SITE,
            species: "PZO".to_owned(),
            effective_from_us: self.now(),
            band_by: BandBy::Piece,
            currency: usd(0).currency(),
            price_per: WeightUnit::Lb,
            edge_unit: WeightUnit::Lb,
            presentations: vec![PresentationPrices {
                presentation: Presentation::Whole,
                plate_minimum: half,
                grades: vec![GradePrices {
                    grade: Grade::new("A").unwrap(),
                    bands: vec![
                        band("soup", Weight::ZERO, Some(half), "1.2500"),
                        band("plate", half, None, "6.2375"),
                    ],
                    not_counted: None,
                }],
            }],
            condition_adjustments: Vec::new(),
        };
        let id = self.request();
        self.desk.post_price_list(&office, &id, list).await.unwrap();
    }

    fn now(&self) -> i64 {
        self.now.load(Ordering::SeqCst)
    }

    fn request(&mut self) -> String {
        self.requests += 1;
        format!("request-{}", self.requests)
    }

    fn did(&mut self, what: &'static str) {
        *self.done.entry(what).or_default() += 1;
    }

    fn post(&mut self, party: &'static str, kind: &'static str, minor: i64) {
        *self.off.entry((party, kind)).or_default() += minor;
    }

    async fn step(&mut self) {
        // A minute or two, now and then the rest of a day.
        let minutes = if self.dice.roll(12) == 0 {
            60 * (6 + self.dice.roll(20))
        } else {
            1 + self.dice.roll(9)
        };
        let before = self.desk.day_at(SITE, self.now());
        self.now.fetch_add(minutes * 60_000_000, Ordering::SeqCst);
        if self.desk.day_at(SITE, self.now()) > before {
            // Statements go on from the close.
            let alone = nightly::Holder {
                name: "night".to_owned(),
                clock_us: || 0,
                is_gone: |_| false,
            };
            let night = nightly::run(&self.db, SITE, before, self.now(), false, &alone);
            night.await.unwrap();
            self.did("night");
        }
        let (deed, refusal) = match self.dice.roll(24) {
            0..=2 => ("weigh in", self.weigh_in(None).await),
            3..=5 => ("rewrite", self.rewrite().await),
            6..=9 => ("hold", self.hold().await),
            10..=13 => ("release", self.release().await),
            14..=16 => ("discard", self.discard().await),
            17 => ("void", self.void().await),
            18 => ("advance", self.advance().await),
            19 => ("charge", self.charge().await),
            20 => ("take back", self.take_back().await),
            21 => ("regrade", self.regrade().await),
            _ => ("settle", self.settle().await),
        };
        match refusal {
            Ok(true) => self.did(deed),
            Ok(false) => self.did("nothing to do"),
            Err(refusal) => {
                let refused = matches!(
                    refusal,
                    DeskError::Malformed { .. } | DeskError::Precondition { .. }
                );
                assert!(refused, "{deed}: {refusal:?}");
                self.last = format!("{deed} refused: {refusal:?}");
                self.did("refused");
            }
        }
    }

    fn lot(&mut self) -> LotIn {
        let pieces = 10 + self.dice.roll(60);
        // Around the edge of half a pound a fish, mostly above.
        let hundredths = pieces * (40 + self.dice.roll(60)) + self.dice.roll(97);
        let held = self.dice.roll(4) == 0;
        LotIn {
            species: "PZO".to_owned(),
            presentation: Presentation::Whole,
            storage: None,
            weighings: vec![Weighing {
                grade: Grade::new("A").unwrap(),
                condition: None,
                weighed: Weighed::Tote {
                    gross: reading(hundredths),
                    tare: Tare::Tared,
                    iced: false,
                    pieces: Pieces::Counted(pieces),
                },
            }],
            receiving: Receiving {
                decision: if held {
                    Decision::Hold
                } else {
                    Decision::Accept
                },
                reason: if held { "smells" } else { "" }.to_owned(),
                corrective_action: String::new(),
                first_speared_us: None,
                iced_us: None,
                ice_around: None,
                probes: Vec::new(),
                smallest_length: None,
                area_unclear: false,
                hold_cause: None,
            },
            small_fish: SmallFish::Sell,
            areas: Vec::new(),
            harvest_from: None,
            harvest_to: None,
            tally: None,
        }
    }

    fn payees(&mut self) -> Vec<PayeeShare> {
        let share = |party: &str, share| PayeeShare {
            party: party.to_owned(),
            share,
        };
        let percent = |party, ppm| share(party, Share::Ppm(ppm));
        match self.dice.roll(5) {
            0 => Vec::new(),
            1 => vec![
                percent("boat", 300_000),
                percent("mate", 350_000),
                percent(HARVESTER, 350_000),
            ],
            2 => vec![
                share("boat", Share::Fixed(usd(2_000 + self.dice.roll(4_000)))),
                percent("mate", 333_300),
                percent("hand", 333_300),
                percent(HARVESTER, 333_400),
            ],
            3 => vec![percent("hand", 1_000_000)],
            _ => vec![percent(HARVESTER, 510_000), percent("boat", 490_000)],
        }
    }

    async fn weigh_in(&mut self, rewrites: Option<usize>) -> Result<bool, DeskError> {
        let lots = 1 + self.dice.roll(3);
        let adjustments = match self.dice.roll(3) {
            0 => Vec::new(),
            _ => vec![Adjustment {
                name: "diesel".to_owned(),
                kind: AdjustmentKind::Settlement,
                by: AdjustBy::Flat(usd(self.dice.roll(30_000) - 15_000)),
            }],
        };
        let payees = match rewrites {
            Some(at) if self.dice.roll(3) > 0 => self.papers[at].asked.payees.clone(),
            _ => self.payees(),
        };
        let asked = WeighIn {
            site: SITE,
            harvester: HARVESTER.to_owned(),
            landing: rules::ticket::Landing::default(),
            lots: (0..lots).map(|_| self.lot()).collect(),
            confirmation: Confirmation::ByDiver,
            first_reading_us: None,
            sent_us: None,
            offline_payout: None,
            device: String::new(),
            rewrites: rewrites.map(|at| Rewrite {
                ticket: self.papers[at].ticket,
                reason: "misread".to_owned(),
            }),
            payees,
            adjustments,
            note: String::new(),
            lot_number: None,
            answers: Vec::new(),
        };
        let id = self.request();
        let office = Caller::office();
        let booked = self.desk.weigh_in(&office, &id, asked.clone()).await?;
        let ticket = booked.entry.number();
        let at = rewrites.unwrap_or(self.papers.len());
        if rewrites.is_none() {
            self.papers.push(Paper {
                number: ticket,
                ticket,
                asked,
                answer: booked.outcome,
                voided: false,
                paid_for: false,
                moved: false,
                purses: Vec::new(),
                own: (0, 0),
                shifts: Vec::new(),
                holds: Vec::new(),
                unpaid: 0,
                open: BTreeMap::new(),
            });
        } else {
            let paper = &mut self.papers[at];
            (paper.ticket, paper.asked, paper.answer) = (ticket, asked, booked.outcome);
        }
        self.papers[at].write();
        self.last = format!("ticket {ticket} of landing {at}: {:?}", self.papers[at]);
        Ok(true)
    }

    /// One of the last landings, so that deeds meet.
    fn landing(&mut self) -> Option<usize> {
        let n = self.papers.len();
        let all: Vec<usize> = (n.saturating_sub(6)..n).collect();
        self.dice.pick(&all).copied()
    }

    async fn rewrite(&mut self) -> Result<bool, DeskError> {
        match self.landing() {
            Some(at) => self.weigh_in(Some(at)).await,
            None => Ok(false),
        }
    }

    /// A part of a landing, held or not, with what is left of it.
    async fn part(&mut self, held: bool) -> Option<(usize, PartId, Weight)> {
        let at = self.landing()?;
        let lots = self.papers[at].answer.lots.iter();
        let places: Vec<i64> = lots.filter_map(|lot| lot.place).collect();
        let place = *self.dice.pick(&places)?;
        let code = LotCode::new(self.papers[at].number, place).unwrap();
        let found: LotFound = self.desk.lot(&Caller::office(), code).await.unwrap();
        let parts = found.parts.iter();
        let parts: Vec<_> = parts.filter(|part| part.key.held == held).collect();
        let part = self.dice.pick(&parts)?;
        let id = PartId {
            lot: code,
            n: part.n,
        };
        Some((at, id, part.left))
    }

    /// Some of a weight, or all of it.
    fn some(&mut self, left: Weight) -> Reading {
        let hundredths = (left.units() / reading(1).weight.units()).max(1);
        let some = match self.dice.roll(6) {
            0 => hundredths,
            // A few cents' worth, which several cannot share evenly.
            1 | 2 => 1 + self.dice.roll(hundredths.min(20)),
            _ => 1 + self.dice.roll(hundredths),
        };
        reading(some)
    }

    async fn hold(&mut self) -> Result<bool, DeskError> {
        let Some((at, part, left)) = self.part(false).await else {
            return Ok(false);
        };
        let all = self.dice.roll(5) == 0;
        let asked = HoldAsked {
            part: of_part(part),
            weight: (!all).then(|| self.some(left)),
            reason: "smells of fuel".to_owned(),
            cause: None,
            happened_us: None,
        };
        let id = self.request();
        let booked = self.desk.hold(&Caller::office(), &id, asked).await?;
        let Held {
            from,
            held,
            weight,
            pay,
        } = booked.outcome;
        let paper = &mut self.papers[at];
        assert_eq!(pay.minor(), paper.share(from, weight), "held of {part}");
        paper.shift(from, held, weight, pay.minor());
        let taken = paper.parts(pay.minor(), |purse| purse.owed);
        for (party, part) in &taken {
            paper.post(party, -part, *part);
        }
        paper.moved = true;
        paper.holds.push(Hold {
            id: HoldId {
                entry: booked.entry.number(),
                line: 0,
            },
            taken,
        });
        self.last = format!("hold of {part}: {:?}", booked.outcome);
        Ok(true)
    }

    async fn release(&mut self) -> Result<bool, DeskError> {
        let Some(at) = self.landing() else {
            return Ok(false);
        };
        let ids = self.papers[at].hold_ids();
        let Some(hold) = self.dice.pick(&ids).copied() else {
            return Ok(false);
        };
        let asked = ReleaseAsked {
            hold,
            reason: "well again".to_owned(),
            happened_us: None,
        };
        let id = self.request();
        let booked = self.desk.release(&Caller::office(), &id, asked).await?;
        let Released {
            from,
            part,
            weight,
            pay,
        } = booked.outcome;
        let paper = &mut self.papers[at];
        let pay = pay.minor();
        paper.shift(from, part, weight, pay);
        paper.moved = true;
        let of_deed = paper.holds.iter().position(|known| known.id == hold);
        let took = of_deed.map(|n| paper.holds[n].taken.clone());
        let took = took.unwrap_or_default();
        let just_so = took.iter().map(|(_, part)| part).sum::<i64>() == pay
            && took.iter().all(|(party, part)| {
                let purse = paper.purses.iter().find(|purse| purse.party == *party);
                *part >= 0 && *part <= purse.map_or(0, |purse| purse.held)
            });
        let back = if just_so {
            took
        } else {
            paper.parts(pay, |purse| purse.held)
        };
        if pay != 0 {
            for (party, part) in back {
                paper.post(party, part, -part);
            }
        }
        if hold.line > 0 {
            paper.own = (paper.own.0 + pay, paper.own.1 - pay);
        }
        self.last = format!("release of {hold}: {:?}", booked.outcome);
        Ok(true)
    }

    async fn discard(&mut self) -> Result<bool, DeskError> {
        let held = self.dice.roll(4) > 0;
        let Some((at, part, left)) = self.part(held).await else {
            return Ok(false);
        };
        let lost = held && self.dice.roll(3) == 0;
        let weight = self.some(left);
        let emptied = self.dice.roll(6) == 0;
        let asked = MovementAsked {
            site: SITE,
            outlet: Outlet::Discard,
            taken: vec![Taken {
                part: of_part(part),
                weight: weight.clone(),
                emptied,
            }],
            counterparty: String::new(),
            reason: "spoiled".to_owned(),
            cause: lost.then_some(DiscardCause::AfterHandOver),
            temperature: None,
            price: None,
            plan_line: String::new(),
            happened_us: None,
        };
        let id = self.request();
        let booked = self.desk.movement(&Caller::office(), &id, asked).await?;
        let paper = &mut self.papers[at];
        paper.moved = true;
        let amount = if !held {
            0
        } else if emptied || weight.weight >= left {
            paper.in_part(part).0.max(0)
        } else {
            paper.share(part, weight.weight)
        };
        if held {
            paper.shifts.push(Shift {
                part,
                weight: weight.weight.units(),
                pay: -amount,
                thrown_out: true,
            });
        }
        let loss = booked.outcome.buyers_loss.map(Money::minor);
        assert_eq!(loss, lost.then_some(amount), "the buyer's loss of {part}");
        if amount != 0 {
            for (party, part) in paper.parts(amount, |purse| purse.held) {
                paper.post(party, if lost { part } else { 0 }, -part);
            }
        }
        if !lost {
            paper.unpaid += amount;
        }
        if lost {
            self.did("buyer's loss");
        }
        self.last = format!("thrown out of {part}, {amount}: {:?}", booked.outcome);
        Ok(true)
    }

    async fn regrade(&mut self) -> Result<bool, DeskError> {
        let Some((at, part, left)) = self.part(false).await else {
            return Ok(false);
        };
        let grade = if self.dice.roll(2) == 0 { "B" } else { "C" };
        let asked = RegradeAsked {
            part: of_part(part),
            weight: Some(self.some(left)),
            grade: Grade::new(grade),
            condition: None,
            reason: "bruised".to_owned(),
            happened_us: None,
        };
        let id = self.request();
        let booked = self.desk.regrade(&Caller::office(), &id, asked).await?;
        let regraded = booked.outcome;
        let paper = &mut self.papers[at];
        let pay = paper.share(regraded.from, regraded.weight);
        paper.shift(regraded.from, regraded.part, regraded.weight, pay);
        paper.moved = true;
        self.last = format!("regrade of {part}: {regraded:?}");
        Ok(true)
    }

    async fn void(&mut self) -> Result<bool, DeskError> {
        let Some(at) = self.landing() else {
            return Ok(false);
        };
        let asked = VoidAsked {
            ticket: self.papers[at].ticket,
            reason: "wrong diver".to_owned(),
        };
        let id = self.request();
        let told = self.desk.void_ticket(&Caller::office(), &id, asked).await;
        let paper = &mut self.papers[at];
        let may = !(paper.voided || paper.paid_for || paper.moved);
        assert_eq!(told.is_ok(), may, "void of {paper:?}: {told:?}");
        told?;
        paper.voided = true;
        for purse in paper.purses.clone() {
            paper.post(purse.party, -purse.owed, -purse.held);
        }
        self.last = format!("void of landing {at}");
        Ok(true)
    }

    fn payee(&mut self) -> &'static str {
        self.dice.pick(&CREW).copied().unwrap()
    }

    async fn advance(&mut self) -> Result<bool, DeskError> {
        let (party, minor) = (self.payee(), 1 + self.dice.roll(9_000));
        let asked = AdvanceAsked {
            site: SITE,
            payee: party.to_owned(),
            payment: currency(minor),
            reason: "fuel".to_owned(),
            happened_us: None,
        };
        let id = self.request();
        let booked = self.desk.advance(&Caller::office(), &id, asked).await?;
        self.post(party, "advance", -minor);
        self.post(party, "paid", minor);
        self.owing.push(Owing {
            entry: booked.entry.number(),
            party,
            advance: true,
            order: 0,
            left: minor,
            taken_up: false,
        });
        self.last = format!("advance to {party}");
        Ok(true)
    }

    async fn charge(&mut self) -> Result<bool, DeskError> {
        let (party, minor) = (self.payee(), 1 + self.dice.roll(9_000));
        let order = self.dice.roll(3);
        let asked = ChargeAsked {
            site: SITE,
            payee: party.to_owned(),
            name: "ice".to_owned(),
            amount: usd(minor),
            order,
            happened_us: None,
        };
        let id = self.request();
        let booked = self.desk.charge(&Caller::office(), &id, asked).await?;
        self.post(party, "carry", -minor);
        self.post(party, "deduction", minor);
        self.owing.push(Owing {
            entry: booked.entry.number(),
            party,
            advance: false,
            order,
            left: minor,
            taken_up: false,
        });
        self.last = format!("charge to {party}");
        Ok(true)
    }

    async fn take_back(&mut self) -> Result<bool, DeskError> {
        let Some(due) = self.dice.pick(&self.owing).cloned() else {
            return Ok(false);
        };
        let asked = TakeBackAsked {
            entry: due.entry,
            reason: "another diver's".to_owned(),
        };
        let id = self.request();
        let told = self.desk.take_back(&Caller::office(), &id, asked).await;
        assert_eq!(told.is_ok(), !due.taken_up, "{due:?}: {told:?}");
        told?;
        let (of, to) = if due.advance {
            ("paid", "advance")
        } else {
            ("deduction", "carry")
        };
        self.post(due.party, of, -due.left);
        self.post(due.party, to, due.left);
        self.owing.retain(|other| other.entry != due.entry);
        self.last = format!("taken back: {due:?}");
        Ok(true)
    }

    /// Settles with a payee, all that is open or one landing, and then once more.
    async fn settle(&mut self) -> Result<bool, DeskError> {
        let party = self.payee();
        let one = match self.dice.roll(3) {
            0 => self.landing(),
            _ => None,
        };
        let mut asked = SettleAsked {
            site: SITE,
            payee: party.to_owned(),
            tickets: one.map(|at| self.papers[at].ticket).into_iter().collect(),
            from: None,
            to: None,
            payments: Vec::new(),
            note: String::new(),
            happened_us: None,
        };
        let scope: Vec<usize> = match one {
            Some(at) => vec![at],
            None => (0..self.papers.len()).collect(),
        };
        let is_open = |at: &&usize| self.papers[**at].open.contains_key(party);
        let scope: Vec<usize> = scope.iter().filter(is_open).copied().collect();
        let office = Caller::office();
        let shown = self.desk.preview_settlement(&office, asked.clone()).await;
        assert_eq!(shown.is_ok(), !scope.is_empty(), "{party}: {shown:?}");
        let shown = shown?;

        let brought = self.brought.get(party).copied().unwrap_or(0);
        let items: i64 = scope.iter().map(|at| self.papers[*at].open[party]).sum();
        let payable = brought + items;
        let mut dues: Vec<usize> = (0..self.owing.len()).collect();
        dues.retain(|n| self.owing[*n].party == party && self.owing[*n].left > 0);
        dues.sort_by_key(|n| {
            let due = &self.owing[*n];
            (
                !due.advance,
                if due.advance { 0 } else { due.order },
                due.entry,
            )
        });
        let mut room = payable.max(0) / 2;
        let mut taken = Vec::new();
        for n in dues {
            let take = self.owing[n].left.min(room);
            room -= take;
            taken.push((n, take));
        }
        let deducted: i64 = taken.iter().map(|(_, take)| take).sum();
        let paid = (payable - deducted).max(0);
        let told = |settled: &Settled| {
            let items: i64 = settled.items.iter().map(|item| item.amount.minor()).sum();
            let taken = settled.deductions.iter();
            let taken = taken.map(|row| (row.due.entry, row.taken.minor()));
            let sums = [
                settled.brought,
                settled.payable,
                settled.deducted,
                settled.paid,
                settled.carried,
            ];
            (items, sums.map(Money::minor), taken.collect::<Vec<_>>())
        };
        let entry = |(n, take): &(usize, i64)| (self.owing[*n].entry, *take);
        let expected = (
            items,
            [brought, payable, deducted, paid, payable.min(0)],
            taken.iter().map(entry).collect::<Vec<_>>(),
        );
        assert_eq!(told(&shown), expected, "{party}");

        asked.payments = (paid > 0).then(|| currency(paid)).into_iter().collect();
        let id = self.request();
        let booked = self.desk.settle(&office, &id, asked.clone()).await?;
        assert_eq!(told(&booked.outcome), expected, "{party}");
        let again = self.desk.settle(&office, &id, asked.clone()).await?;
        assert_eq!(again, booked, "sent again");
        let other = self.request();
        let twice = self.desk.settle(&office, &other, asked).await;
        assert!(twice.is_err(), "settled twice: {twice:?}");

        for at in scope {
            self.papers[at].open.remove(party);
            self.papers[at].paid_for = true;
        }
        for (n, take) in taken {
            let due = &mut self.owing[n];
            (due.left, due.taken_up) = (due.left - take, true);
            let kind = if due.advance { "advance" } else { "carry" };
            self.post(party, kind, take);
        }
        self.post(party, "owed", -deducted - paid);
        self.post(party, "paid", paid);
        self.brought.insert(party, payable.min(0));
        self.last = format!("settlement of {party}: {expected:?}");
        Ok(true)
    }

    /// Compares every account with the model, and the statements with the book.
    async fn check(&self, step: usize) {
        let mut book: BTreeMap<(String, String), i64> = BTreeMap::new();
        let sql = "SELECT from_place, to_place, amount FROM money_book";
        let mut tx = self.db.read().await.unwrap();
        for row in tx.fetch(sql, &[]).await.unwrap() {
            for (place, sign) in [(row.text(0), -1), (row.text(1), 1)] {
                let (kind, party) = place.split_once(':').unwrap();
                let account = book.entry((party.to_owned(), kind.to_owned()));
                *account.or_default() += sign * row.int(2);
            }
        }
        drop(tx);
        let last = &self.last;
        for party in CREW {
            let of_book = |kind: &str| {
                let account = (party.to_owned(), kind.to_owned());
                book.get(&account).copied().unwrap_or(0)
            };
            for kind in KINDS {
                let mut expected = self.off.get(&(party, kind)).copied().unwrap_or(0);
                let purses = self.papers.iter().flat_map(|paper| &paper.purses);
                for purse in purses.filter(|purse| purse.party == party) {
                    expected += match kind {
                        "owed" => purse.owed,
                        "held" => purse.held,
                        _ => 0,
                    };
                }
                assert_eq!(
                    of_book(kind),
                    expected,
                    "step {step}, {kind} of {party}: {last}"
                );
            }
            let today = self.desk.day_at(SITE, self.now());
            let tomorrow = rules::business_day::next_day(today).unwrap();
            let office = Caller::office();
            let stated = self.desk.statement(&office, SITE, party, today, tomorrow);
            let stated = stated.await.unwrap();
            let after = [stated.owed_after, stated.held_after].map(Money::minor);
            let book = [of_book("owed"), of_book("held")];
            assert_eq!(after, book, "step {step}, statement of {party}: {last}");
            let dues: i64 = stated.dues.iter().map(|due| due.left.minor()).sum();
            let taken_off = of_book("advance") + of_book("carry");
            assert_eq!(dues, -taken_off, "step {step}, dues of {party}: {last}");
        }
        for paper in &self.papers {
            // All that a landing pays is its payout, less what was thrown out unpaid.
            let (owed, held) = paper.all();
            let payout = if paper.voided {
                0
            } else {
                paper.answer.payout.minor() - paper.unpaid
            };
            assert_eq!(owed + held, payout, "step {step}, {paper:?}");
        }
    }
}

impl Paper {
    fn shift(&mut self, from: PartId, to: PartId, weight: Weight, pay: i64) {
        for (part, sign) in [(from, -1), (to, 1)] {
            self.shifts.push(Shift {
                part,
                weight: sign * weight.units(),
                pay: sign * pay,
                thrown_out: false,
            });
        }
    }
}

fn of_part(part: PartId) -> PartRef {
    PartRef {
        lot: part.lot,
        part: Some(part.n),
    }
}

fn currency(minor: i64) -> Payment {
    Payment {
        method: rules::settlement::Method::Currency,
        amount: usd(minor),
        reference: String::new(),
    }
}

/// Runs a seed, prints it, and gives what was done how often.
async fn sail(seed: u64) -> BTreeMap<&'static str, u32> {
    println!("seed {seed}");
    let book = Book::sqlite();
    let mut boat = Boat::open(&book, seed).await;
    for step in 0..STEPS {
        boat.step().await;
        boat.check(step).await;
    }
    let Boat { desk, db, done, .. } = boat;
    println!("seed {seed}: {done:?}");
    drop(desk);
    db.close().await;
    book.remove().await;
    done
}

#[tokio::test]
async fn every_account_is_what_the_answers_come_to_whatever_is_done_in_any_order() {
    let mut done: BTreeMap<&'static str, u32> = BTreeMap::new();
    for seed in [1, 2, 3] {
        for (deed, times) in sail(seed).await {
            *done.entry(deed).or_default() += times;
        }
    }
    for deed in [
        "weigh in",
        "rewrite",
        "hold",
        "release",
        "discard",
        "buyer's loss",
        "void",
        "advance",
        "charge",
        "take back",
        "regrade",
        "settle",
        "refused",
        "night",
    ] {
        let times = done.get(deed).copied().unwrap_or(0);
        assert!(times >= 5, "{deed} was done {times} times: {done:?}");
    }
}
