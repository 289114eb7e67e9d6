//! What a kitchen asks: what was brought to it, what its cuts cost, and what fillet lies
//! at the own table.
//!
//! A customer's kitchen sees its own prices and nobody else's (7.4): what it paid, over
//! what came out. Its wages are not known here, so its costs are of the fish alone.

use std::collections::BTreeMap;

use books::{close, entries, findings, stock};
use rules::business_day::day_before;
use rules::costing::{CutCost, yield_loss};
use rules::fish::Presentation;
use rules::ids::{EntryId, PartId};
use rules::making::{MadeSource, Making, MakingAsked};
use rules::money::{Money, UnitPrice};
use rules::office::PartyRole;
use rules::stock::{Moved, MovementAsked, standing};
use rules::weight::Weight;

use crate::reports::judged_before;
use crate::{Caller, Desk, DeskError};

/// Business days that deliveries are looked for on, and most of them.
const DELIVERY_DAYS: usize = 7;
const MOST_DELIVERIES: usize = 40;
/// Most lots of fillet that are looked at.
const MOST_LOTS: usize = 500;

/// Fish that was brought to a kitchen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// Entry of the movement; a cut names it.
    pub movement: EntryId,
    /// When it left, microseconds since 1970 UTC.
    pub left_us: i64,
    /// What it is: species and form.
    pub fish: Vec<(String, Presentation)>,
    /// All of it.
    pub weight: Weight,
}

/// What a kitchen's cuts of one species in one form to one specification came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KitchenCost {
    /// ASFIS code.
    pub species: String,
    /// Form in which it went in.
    pub presentation: Presentation,
    /// Cut specification.
    pub specification: String,
    /// Cuts.
    pub cuts: i64,
    /// What went in.
    pub input: Weight,
    /// Fillet that came out.
    pub fillet: Weight,
    /// What that fish was paid; absent where a price is not known.
    pub paid: Option<Money>,
    /// What a pound or kilogram of fillet cost, of the fish alone.
    pub edible: Option<UnitPrice>,
    /// Yield it is held against, hundredths of a percent; absent where nothing is.
    pub reference_e2: Option<i64>,
    /// What yields below that lost, cut by cut; gains are not set against it.
    pub lost: Option<Money>,
    /// Whole plates out of it.
    pub plates: Option<i64>,
    /// What the fish of one plate cost.
    pub plate: Option<Money>,
}

/// Fillet on hand at the own table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FilletOnHand {
    /// Which part.
    pub part: PartId,
    /// ASFIS code.
    pub species: String,
    /// With skin or without.
    pub presentation: Presentation,
    /// By the book.
    pub weight: Weight,
    /// When it was cut, microseconds since 1970 UTC.
    pub made_us: i64,
    /// Fresh fillet older than the site's days is flagged until it is sold, frozen or
    /// thrown out.
    pub is_old: bool,
}

type Key = (String, Presentation, String);

impl Desk {
    /// Fish brought to the caller's kitchen in the last seven days, the newest first.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn deliveries(&self, caller: &Caller, site: i64) -> Result<Vec<Delivery>, DeskError> {
        self.may_at(caller, "making", site)?;
        let now_us = self.known_site("site", site).await?;
        let today = self.day_at(site, now_us);
        let days = std::iter::successors(Some(today), |day| day_before(*day));
        let from = days.take(DELIVERY_DAYS).last().unwrap_or(today);
        let mut tx = self.read().await?;
        let sent = findings::sent_to(&mut tx, site, &caller.party, from, today + 1).await?;
        let mut deliveries = Vec::new();
        for entry in sent.into_iter().take(MOST_DELIVERIES) {
            let Some(stored) = entries::get(&mut tx, entry).await? else {
                continue;
            };
            let (_, moved): (MovementAsked, Moved) = stored.read()?;
            let mut fish = Vec::new();
            for taken in &moved.taken {
                let lot = stock::lot(&mut tx, taken.part.lot).await?;
                fish.extend(lot.map(|lot| (lot.species, lot.presentation)));
            }
            fish.sort_unstable();
            fish.dedup();
            deliveries.push(Delivery {
                movement: stored.id,
                left_us: stored.happened_us,
                fish,
                weight: moved.taken.iter().map(|taken| taken.weight).sum(),
            });
        }
        Ok(deliveries)
    }

    /// What the cuts of the caller's kitchen on closed days in `[from, to)` came to.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn kitchen_costs(
        &self,
        caller: &Caller,
        site: i64,
        from: i64,
        to: i64,
    ) -> Result<Vec<KitchenCost>, DeskError> {
        self.may_at(caller, "making", site)?;
        let now_us = self.known_site("site", site).await?;
        let (_, settings) = self.office().settings_at(site, now_us);
        let office = self.office();
        let on_file = office.sites.get(&site).ok_or(DeskError::Internal)?;
        let per = on_file.shown_unit.of_price();
        let plate = settings.judging.plate();
        let mut tx = self.read().await?;
        let groups = judged_before(&mut tx, site, to).await?;
        let reference = |(species, presentation, specification): &Key| {
            let same = groups.iter().find(|group| {
                group.customer_kitchen
                    && (&group.species, group.presentation, &group.specification)
                        == (species, *presentation, specification)
            });
            same.and_then(|group| group.reference_e2)
        };
        let mut sums: BTreeMap<Key, Sum> = BTreeMap::new();
        for entry in findings::cuts_of_kitchen(&mut tx, site, &caller.party, from, to).await? {
            let Some(stored) = entries::get(&mut tx, entry).await? else {
                continue;
            };
            let (_, making): (MakingAsked, Making) = stored.read()?;
            let Some(first) = making.inputs.first() else {
                continue;
            };
            let key = (
                first.species.clone(),
                first.presentation,
                making.specification.clone(),
            );
            let mut paid_minor = Some(0_i64);
            for from in &making.inputs {
                let price = price_of(&mut tx, from.source).await?;
                let minor = price.and_then(|price| price.amount(from.weight));
                paid_minor = paid_minor
                    .zip(minor)
                    .map(|(sum, money)| sum.saturating_add(money.minor()));
            }
            let lost_minor = paid_minor.zip(reference(&key)).map(|(paid, reference_e2)| {
                yield_loss(making.input, making.fillet, paid, reference_e2, None).material_minor
            });
            sums.entry(key)
                .or_default()
                .add(&making, paid_minor, lost_minor);
        }
        let unit = per.whole_units().map(Weight::from_units);
        let row = |(key, sum): (Key, Sum)| {
            let cost = sum.paid_minor.map(|ap_minor| CutCost {
                ap_minor,
                ..CutCost::default()
            });
            let edible = cost.and_then(|cost| {
                let e4 = cost.ep_e4(sum.fillet, unit?)?;
                UnitPrice::from_e4(e4, on_file.currency, per).ok()
            });
            let money = |minor| Money::new(minor, on_file.currency);
            KitchenCost {
                cuts: sum.cuts,
                input: sum.input,
                fillet: sum.fillet,
                paid: sum.paid_minor.map(money),
                edible,
                reference_e2: reference(&key),
                lost: sum.lost_minor.map(money),
                plates: plate.portions(sum.fillet),
                plate: cost
                    .and_then(|cost| plate.cost_minor(&cost, sum.fillet))
                    .map(money),
                species: key.0,
                presentation: key.1,
                specification: key.2,
            }
        };
        Ok(sums.into_iter().map(row).collect())
    }

    /// Fillet that lies at the own table by the book, the oldest first. A customer's
    /// kitchen, whose fillet is not in the book, is refused.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn fillet_on_hand(
        &self,
        caller: &Caller,
        site: i64,
    ) -> Result<Vec<FilletOnHand>, DeskError> {
        self.may_at(caller, "making", site)?;
        if caller.role.is_own_only() && !self.is_staff(caller) {
            return Err(DeskError::Denied);
        }
        let now_us = self.known_site("site", site).await?;
        let (_, settings) = self.office().settings_at(site, now_us);
        let old_us = settings
            .judging
            .fillet_days()
            .saturating_mul(24 * 3_600_000_000);
        let mut tx = self.read().await?;
        let today = self.day_at(site, now_us);
        let closed = close::last_day(&mut tx, site, today + 1).await?;
        let codes = close::fillet_lots(&mut tx, site, closed, today).await?;
        let mut found = Vec::new();
        for code in codes.into_iter().take(MOST_LOTS) {
            let Some(lot) = stock::lot(&mut tx, code).await? else {
                continue;
            };
            let made_us = lot.events.iter().map(|event| event.happened_us).min();
            let made_us = made_us.unwrap_or(now_us);
            for part in &lot.parts {
                let weight = standing(&lot.steps(part.id.n), &settings).left;
                if weight.units() > 0 {
                    found.push(FilletOnHand {
                        part: part.id,
                        species: lot.species.clone(),
                        presentation: lot.presentation,
                        weight,
                        made_us,
                        is_old: now_us.saturating_sub(made_us) > old_us,
                    });
                }
            }
        }
        found.sort_by_key(|of| (of.made_us, of.part));
        Ok(found)
    }

    /// Whether the caller stands at the buyer's own table.
    #[must_use]
    pub fn is_staff(&self, caller: &Caller) -> bool {
        let office = self.office();
        let party = office.parties.get(&caller.party);
        party.is_some_and(|party| party.roles.contains(&PartyRole::Staff))
    }
}

/// What was paid for fish that a customer's kitchen cut.
async fn price_of(tx: &mut books::Tx, source: MadeSource) -> Result<Option<UnitPrice>, DeskError> {
    let MadeSource::Dispatch(movement) = source else {
        return Ok(None);
    };
    let stored = entries::get(tx, movement).await?;
    Ok(match stored {
        Some(stored) => {
            let (asked, _): (MovementAsked, Moved) = stored.read()?;
            asked.price
        }
        None => None,
    })
}

/// Cuts added up.
#[derive(Default)]
struct Sum {
    cuts: i64,
    input: Weight,
    fillet: Weight,
    paid_minor: Option<i64>,
    lost_minor: Option<i64>,
}

impl Sum {
    /// Money stays known only as long as every cut's is.
    fn add(&mut self, making: &Making, paid_minor: Option<i64>, lost_minor: Option<i64>) {
        let first = self.cuts == 0;
        let sum = |before: Option<i64>, more: Option<i64>| match first {
            true => more,
            false => before.zip(more).map(|(a, b)| a.saturating_add(b)),
        };
        self.paid_minor = sum(self.paid_minor, paid_minor);
        self.lost_minor = sum(self.lost_minor, lost_minor);
        self.cuts += 1;
        self.input = [self.input, making.input].into_iter().sum();
        self.fillet = [self.fillet, making.fillet].into_iter().sum();
    }
}
