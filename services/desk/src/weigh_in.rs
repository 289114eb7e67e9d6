//! Weighing in, and what is done to a ticket as a whole.

use std::collections::{BTreeMap, BTreeSet};

use books::register::Office;
use books::settlement::PAID;
use books::tickets::{self, Known};
use books::{Condition, Tx, entries, pay, stock};
use rules::business_day::date_of;
use rules::ids::EntryId;
use rules::landing;
use rules::money::Money;
use rules::office::{PartyRole, Settings};
use rules::receiving;
use rules::stock::{ReleaseAsked, Released};
use rules::tally;
use rules::ticket::price::{
    GivenBack, OnFile, Prior, PriorLot, Refusal, RefusalKind, carry_over, price_instant,
};
use rules::ticket::{self, Tare, Ticket, VoidAsked, WeighIn, Weighed};
use rules::weight::{Reading, Weight};

use crate::landings::check_tally;
use crate::stock::OLDEST_US;
use crate::{Booked, Caller, Desk, DeskError, Plan, error};

impl Desk {
    /// Weighs in one landing; the answer is its ticket, after the commit.
    ///
    /// # Errors
    /// A malformed request, an unknown party, species, scale, tote or device, no
    /// price list in force, or a rewritten ticket that no longer stands.
    pub async fn weigh_in(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: WeighIn,
    ) -> Result<Booked<WeighIn, Ticket>, DeskError> {
        let rewritten = asked.rewrites.as_ref().map(|rewrite| rewrite.ticket);
        let named = rewritten.into_iter().chain(asked.lot_number);
        self.at_all(caller, asked.site, named, [])?;
        let booked = self
            .deed(caller, "weigh_in", request_id, asked, |asked| {
                self.plan_weigh_in(asked)
            })
            .await?;
        self.note_usual(&booked);
        Ok(booked)
    }

    /// The ticket that a weigh-in would make if it were booked now. Nothing is written.
    ///
    /// # Errors
    /// As [`Desk::weigh_in`].
    pub async fn try_weigh_in(
        &self,
        caller: &Caller,
        asked: WeighIn,
    ) -> Result<(WeighIn, Ticket), DeskError> {
        caller.may("weigh_in")?;
        let rewritten = asked.rewrites.as_ref().map(|rewrite| rewrite.ticket);
        let named = rewritten.into_iter().chain(asked.lot_number);
        self.at_all(caller, asked.site, named, [])?;
        // What another instance put on file since holds for a booked one as well.
        self.keep_up().await?;
        let plan = self.plan_weigh_in(asked).await?;
        Ok((plan.asked, plan.outcome))
    }

    async fn plan_weigh_in(&self, mut asked: WeighIn) -> Result<Plan<WeighIn, Ticket>, DeskError> {
        let now_us = self.known_site("site", asked.site).await?;
        let office = self.office();
        // Known to be there, and sites are never taken off file.
        let site = office.sites.get(&asked.site).ok_or(DeskError::Internal)?;
        check_names(&asked, &office)?;
        if let Some(today) = site.clock.date_at(now_us) {
            landing::check(&asked.landing, &asked.lots, today).map_err(|bad| {
                DeskError::Malformed {
                    field: bad.field(),
                    reason: "LANDING_CANNOT_STAND",
                    rule: bad.to_string(),
                }
            })?;
        }
        for (i, lot) in asked.lots.iter().enumerate() {
            if let Some(tally) = &lot.tally {
                check_tally(&format!("lots[{i}].tally"), tally)?;
            }
        }
        let offline = asked.offline_payout.is_some();
        let (instant_us, skew) =
            price_instant(asked.first_reading_us, asked.sent_us, offline, now_us)
                .map_err(refused)?;
        if instant_us < now_us.saturating_sub(OLDEST_US) {
            return Err(DeskError::malformed(
                "first_reading_at",
                "lies more than 31 days back",
            ));
        }

        // Its parties and species are shared by all sites.
        let mut must_hold: Vec<_> = [asked.site, 0]
            .map(|site| Condition::Epoch {
                site,
                seen: office.epoch(site),
            })
            .into();
        must_hold.extend(self.bears_number(&asked).await?);
        let rewrite = match &asked.rewrites {
            None => None,
            Some(rewrite) => {
                must_hold.push(Condition::Spend {
                    what: rewrite.ticket,
                    item: 0,
                    how: "rewrite",
                });
                let mut before = self.gather_rewrite(&asked, rewrite.ticket).await?;
                must_hold.append(&mut before.conditions);
                Some(before)
            }
        };
        let priced_us = rewrite
            .as_ref()
            .map_or(instant_us, |before| before.prior.priced_us);
        let used = rewrite.as_ref().map(|before| &before.tares);
        post_tares(&mut asked, &office, priced_us, used);
        let (_, settings) = office.settings_at(asked.site, priced_us);
        let species = asked
            .lots
            .iter()
            .filter_map(|lot| office.species.get(&lot.species));
        let lists = asked
            .lots
            .iter()
            .map(|lot| lot.species.as_str())
            .collect::<BTreeSet<_>>();
        let lists = lists
            .into_iter()
            .filter_map(|species| office.price_list_at(asked.site, species, priced_us))
            .map(|version| (version.entry, &version.content));
        let usual = self.usual_of(&asked).await?;
        let file = OnFile {
            site,
            settings: &settings,
            species: species.collect(),
            scales: office
                .scales
                .values()
                .filter(|scale| scale.site == asked.site)
                .collect(),
            price_lists: lists.collect(),
            day: site.clock.day_of(priced_us),
            agreed: office.agreed_with(asked.site, &asked.harvester),
            totes: office
                .totes
                .keys()
                .filter(|(site, _)| *site == asked.site)
                .filter_map(|(site, code)| office.tote_at(*site, code, priced_us))
                .collect(),
            usual: &usual,
            prior: rewrite.as_ref().map(|before| &before.prior),
        };
        let mut ticket = ticket::price::ticket(&asked, &file, priced_us).map_err(refused)?;
        ticket.notices.extend(skew);
        self.receive(&asked, &mut ticket, &office, &settings, priced_us)?;
        ticket.notices.extend(tally::notices(&asked));
        if let Some(before) = &rewrite {
            carry_over(&mut ticket, &before.given);
        }
        for released in &ticket.released {
            let line = usize::try_from(released.line - 1).ok();
            let line = line.and_then(|n| ticket.lines.get(n));
            if line.is_some_and(|line| line.net <= released.weight) {
                must_hold.push(Condition::SpendOwn {
                    item: released.line,
                    how: "release",
                });
            }
        }
        ticket.notices.extend(self.moved_already(&asked).await?);

        let known = rewrite.map_or_else(Known::default, |before| before.known);
        let rows = tickets::rows(&asked, &ticket, &known);
        // A rewrite speaks of the day of the ticket it mends.
        let day = match &asked.rewrites {
            Some(rewrite) => EntryId::new(rewrite.ticket)
                .ok_or(DeskError::Internal)?
                .day(),
            None => site.clock.day_of(instant_us),
        };
        Ok(Plan {
            site: asked.site,
            day,
            party: asked.harvester.clone(),
            happened_us: priced_us,
            must_hold,
            bumps: Vec::new(),
            asked,
            outcome: ticket,
            rows,
        })
    }

    /// Has receiving judge each lot, and writes on the ticket what it found.
    fn receive(
        &self,
        asked: &WeighIn,
        ticket: &mut Ticket,
        office: &Office,
        settings: &Settings,
        received_us: i64,
    ) -> Result<(), DeskError> {
        let site = office.sites.get(&asked.site).ok_or(DeskError::Internal)?;
        let harvester = office.parties.get(&asked.harvester);
        let species = asked.lots.iter();
        let dock = receiving::Dock {
            settings: &settings.receiving,
            species: species
                .filter_map(|lot| office.species.get(&lot.species))
                .collect(),
            harvester: harvester.ok_or(DeskError::Internal)?,
            received_us,
            day: date_of(site.clock.day_of(received_us)).ok_or(DeskError::Internal)?,
            unit: site.shown_unit,
        };
        let judged =
            receiving::judge(asked, ticket, &dock).map_err(|refused| DeskError::Precondition {
                reason: refused.reason,
                rule: refused.to_string(),
                field: refused.field(),
            })?;
        for (lot, received) in ticket.lots.iter_mut().zip(judged.lots) {
            lot.received = received;
        }
        ticket.notices.extend(judged.notices);
        Ok(())
    }

    /// The ticket that is rewritten, with all that was coded under its number.
    /// Nothing of those lots may change meanwhile.
    async fn gather_rewrite(&self, asked: &WeighIn, id: i64) -> Result<Before, DeskError> {
        let mut tx = self.read().await?;
        let (old_asked, old) = standing(&mut tx, "rewrites.ticket", id).await?;
        if old_asked.site != asked.site {
            return Err(DeskError::malformed(
                "site",
                "a ticket is rewritten at its own site",
            ));
        }
        let given = given_back(&mut tx, id, &old).await?;
        let released: i64 = given.iter().map(|given| given.pay.minor()).sum();
        let mut prior = Prior::of(id, &old_asked, &old);
        let mut tares: TaresUsed = tares_used(&old_asked).collect();
        // Lots that an earlier rewrite dropped keep their codes.
        let mut earlier = old_asked.rewrites;
        while let Some(rewrite) = earlier {
            let entry = entries::get(&mut tx, rewrite.ticket)
                .await?
                .ok_or(DeskError::Internal)?;
            let (asked, ticket): (WeighIn, Ticket) = entry.read()?;
            let before = Prior::of(rewrite.ticket, &asked, &ticket);
            let missing = before
                .lots
                .into_iter()
                .filter(|lot| prior.lots.iter().all(|known| known.place != lot.place))
                .map(|lot| PriorLot { n: 0, ..lot });
            prior.lots.extend(missing.collect::<Vec<_>>());
            tares.extend(tares_used(&asked));
            earlier = asked.rewrites;
        }
        let mut known = Known {
            owed_and_held: Some((old.owed.minor() + released, old.held.minor() - released)),
            ..Known::default()
        };
        let mut conditions = Vec::new();
        for code in stock::lots_under(&mut tx, prior.number).await? {
            known.lots.insert(code.place());
            let lot = stock::lot(&mut tx, code)
                .await?
                .ok_or(DeskError::Internal)?;
            conditions.push(Condition::LotSeen {
                number: code.number(),
                place: code.place(),
                seen: lot.seen,
            });
            known
                .parts
                .extend(lot.parts.iter().map(|part| (code.place(), part.id.n)));
            let parts = lot
                .parts
                .into_iter()
                .map(|part| (part.key, part.id.n))
                .collect();
            if let Some(PriorLot { parts: all, .. }) = prior
                .lots
                .iter_mut()
                .find(|prior| prior.place == code.place())
            {
                *all = parts;
            }
        }
        // After the lots: what changes after them is seen to have changed.
        known.shares = pay::of_ticket(&mut tx, prior.number, None).await?;
        Ok(Before {
            prior,
            known,
            given,
            tares,
            conditions,
        })
    }

    /// Voids a ticket from which no weight has moved.
    ///
    /// # Errors
    /// An unknown ticket, one that was ended before, or one whose weight moved.
    pub async fn void_ticket(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: VoidAsked,
    ) -> Result<Booked<VoidAsked, ()>, DeskError> {
        self.at_entry(caller, asked.ticket)?;
        let voided = self.deed(caller, "void", request_id, asked, |asked| async move {
            let mut tx = self.read().await?;
            let (weigh_in, ticket) = standing(&mut tx, "ticket", asked.ticket).await?;
            let number = ticket.number.unwrap_or(asked.ticket);
            if entries::spent(&mut tx, number, PAID).await?.is_some() {
                return Err(error::paid_for());
            }
            let shares = pay::of_ticket(&mut tx, number, None).await?;
            drop(tx);
            let rows = tickets::taken_back(number, &shares);
            Ok(Plan {
                site: weigh_in.site,
                day: EntryId::new(asked.ticket).ok_or(DeskError::Internal)?.day(),
                party: weigh_in.harvester.clone(),
                happened_us: self.now_us().await?,
                must_hold: vec![
                    Condition::Spend {
                        what: asked.ticket,
                        item: 0,
                        how: "void",
                    },
                    Condition::Spend {
                        what: number,
                        item: PAID,
                        how: "void",
                    },
                    Condition::Unmoved { number },
                ],
                bumps: Vec::new(),
                asked,
                outcome: (),
                rows,
            })
        });
        let booked = voided.await?;
        self.forget_usual(booked.entry.site());
        Ok(booked)
    }
}

/// The ticket that is rewritten, as it stands.
struct Before {
    prior: Prior,
    known: Known,
    given: Vec<GivenBack>,
    /// Of two of one tote, the one that was used first.
    tares: TaresUsed,
    /// What must not change meanwhile.
    conditions: Vec<Condition>,
}

/// What was given back of the held lines of a ticket, under it and before it.
async fn given_back(tx: &mut Tx, id: i64, ticket: &Ticket) -> Result<Vec<GivenBack>, DeskError> {
    let mut given = Vec::new();
    for (n, line) in (1..).zip(&ticket.lines).filter(|(_, line)| line.held) {
        let lot = ticket.lots.iter().find(|lot| lot.n == line.lot);
        let place = lot.and_then(|lot| lot.place).ok_or(DeskError::Internal)?;
        let mut back = GivenBack {
            place,
            part: line.part,
            weight: Weight::ZERO,
            pay: Money::zero(line.amount.currency()),
        };
        let mut add = |weight: Weight, pay: Money| {
            back.weight = [back.weight, weight].into_iter().sum();
            back.pay = Money::new(back.pay.minor() + pay.minor(), pay.currency());
        };
        for before in ticket.released.iter().filter(|before| before.line == n) {
            add(before.weight, before.pay);
        }
        match entries::spent(tx, id, n).await? {
            Some((_, by)) if by != id => {
                let entry = entries::get(tx, by).await?.ok_or(DeskError::Internal)?;
                let (_, released): (ReleaseAsked, Released) = entry.read()?;
                add(released.weight, released.pay);
            }
            _ => {}
        }
        if !back.weight.is_zero() {
            given.push(back);
        }
    }
    Ok(given)
}

/// A ticket that stands.
pub(crate) async fn standing(
    tx: &mut Tx,
    field: &str,
    id: i64,
) -> Result<(WeighIn, Ticket), DeskError> {
    let entry = entries::get(tx, id)
        .await?
        .filter(|entry| entry.kind == "weigh_in");
    let Some(entry) = entry else {
        return Err(DeskError::unknown(field, "ticket", &id.to_string()));
    };
    match entries::ended(tx, id).await? {
        Some((how, by)) => Err(DeskError::precondition(
            "ALREADY_ENDED",
            format!("ticket {id} was ended ({how}) by {by}"),
        )),
        None => Ok(entry.read()?),
    }
}

/// Whether everybody and everything named is on file.
fn check_names(asked: &WeighIn, office: &Office) -> Result<(), DeskError> {
    match office.parties.get(&asked.harvester) {
        None => return Err(DeskError::unknown("harvester", "party", &asked.harvester)),
        Some(party) => crate::stock::has_role("harvester", party, &[PartyRole::Harvester])?,
    }
    for (i, payee) in asked.payees.iter().enumerate() {
        if !office.parties.contains_key(&payee.party) {
            return Err(DeskError::unknown(
                format!("payees[{i}].party"),
                "party",
                &payee.party,
            ));
        }
    }
    let device = (asked.site, asked.device.clone());
    if !asked.device.is_empty() && !office.devices.contains_key(&device) {
        return Err(DeskError::unknown("device", "device", &asked.device));
    }
    for (i, lot) in asked.lots.iter().enumerate() {
        if !office.species.contains_key(&lot.species) {
            return Err(DeskError::unknown(
                format!("lots[{i}].species"),
                "species",
                &lot.species,
            ));
        }
    }
    Ok(())
}

/// Tares that a ticket used, by the code of their tote.
type TaresUsed = BTreeMap<String, Reading>;

/// The tares that a ticket used.
fn tares_used(asked: &WeighIn) -> impl Iterator<Item = (String, Reading)> {
    let weighings = asked.lots.iter().flat_map(|lot| &lot.weighings);
    weighings.filter_map(|weighing| match &weighing.weighed {
        Weighed::Tote {
            tare: Tare::Tote { code, posted },
            ..
        } => Some((code.clone(), posted.clone()?)),
        _ => None,
    })
}

/// Writes the posted tare of each named tote beside its name: the one that the
/// rewritten ticket used, which it keeps (3.2), else the one on file at the ticket's
/// first reading. A name that is not on file stays without, and the rules refuse it.
fn post_tares(asked: &mut WeighIn, office: &Office, priced_us: i64, used: Option<&TaresUsed>) {
    let site = asked.site;
    for weighing in asked.lots.iter_mut().flat_map(|lot| &mut lot.weighings) {
        if let Weighed::Tote {
            tare: Tare::Tote { code, posted },
            ..
        } = &mut weighing.weighed
        {
            let used = used.and_then(|used| used.get(code).cloned());
            let on_file = || office.tote_at(site, code, priced_us);
            *posted = used.or_else(|| on_file().map(|tote| tote.tare.clone()));
        }
    }
}

fn refused(refusal: Refusal) -> DeskError {
    let (field, reason, rule) = (refusal.field(), refusal.reason(), refusal.to_string());
    match refusal.kind() {
        RefusalKind::Malformed => DeskError::Malformed {
            field,
            reason,
            rule,
        },
        RefusalKind::Unmet => DeskError::Precondition {
            reason,
            rule,
            field,
        },
    }
}
