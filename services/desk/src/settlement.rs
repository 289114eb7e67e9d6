//! Settling with payees: settlements, advances, charges, the year's cash and the
//! drawer.
//!
//! Of two who settle the same pay one is booked; the other is decided again on what
//! is left, and told so. Held pay is not owed and never settled. A payment waits
//! for a harvester's licence; the fish does not.

use std::collections::{BTreeMap, BTreeSet};

use books::settlement::{self as stored, Landing, Open, PAID};
use books::{Condition, entries};
use rules::business_day::date_of;
use rules::ids::{DayNumber, EntryId};
use rules::money::{Currency, Money};
use rules::office::PartyRole;
use rules::settlement::cash::{self, CashYear, YearPayment};
use rules::settlement::{
    AdvanceAsked, ChargeAsked, Deducted, DrawerAsked, DrawerFound, Due, Item, Payment, SettleAsked,
    Settled, TakeBackAsked, drawer, licence_lets, pays, reckon,
};

use crate::{Booked, Caller, Desk, DeskError, Plan};

/// What one buyer paid one payee in a year, in one currency.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CashFound {
    /// Party code of the buyer.
    pub buyer: String,
    /// The payments with their running total.
    pub year: CashYear,
}

/// A day's drawer, against the book as it stands now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerDay {
    /// Currency paid out on the day.
    pub paid: Money,
    /// Its counts, oldest first; the last one stands.
    pub counts: Vec<DrawerCount>,
}

/// A count of a drawer, against the book as it stands now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerCount {
    /// As recorded.
    pub booked: Booked<DrawerAsked, DrawerFound>,
    /// Against what is paid by the book now.
    pub found: DrawerFound,
}

/// A settlement worked out, with what must still hold when it is written.
struct Worked {
    settled: Settled,
    must_hold: Vec<Condition>,
    harvesters: BTreeSet<String>,
}

impl Desk {
    /// What a settlement would come to; nothing is written.
    ///
    /// # Errors
    /// An unknown site, payee or ticket, or nothing to settle.
    pub async fn preview_settlement(
        &self,
        caller: &Caller,
        asked: SettleAsked,
    ) -> Result<Settled, DeskError> {
        caller.may("preview_settlement")?;
        self.at_all(caller, asked.site, asked.tickets.iter().copied(), [])?;
        caller.own(&asked.payee)?;
        for &ticket in &asked.tickets {
            self.own_ticket(caller, ticket).await?;
        }
        self.fresh_office().await?;
        let (happened_us, _) = self.when(asked.site, asked.happened_us).await?;
        Ok(self.work_out(&asked, happened_us).await?.settled)
    }

    /// Settles open pay with a payee, once.
    ///
    /// # Errors
    /// An unknown site, payee or ticket; nothing to settle; payments that are not
    /// what is to be paid; or a licence that holds the payment.
    pub async fn settle(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: SettleAsked,
    ) -> Result<Booked<SettleAsked, Settled>, DeskError> {
        self.at_all(caller, asked.site, asked.tickets.iter().copied(), [])?;
        self.deed(caller, "settle", request_id, asked, |asked| {
            self.plan_settle(asked)
        })
        .await
    }

    async fn plan_settle(
        &self,
        asked: SettleAsked,
    ) -> Result<Plan<SettleAsked, Settled>, DeskError> {
        let (happened_us, _) = self.when(asked.site, asked.happened_us).await?;
        for (i, payment) in asked.payments.iter().enumerate() {
            numbered(payment, &format!("payments[{i}]"))?;
        }
        let Worked {
            settled,
            mut must_hold,
            harvesters,
        } = self.work_out(&asked, happened_us).await?;
        pays(&asked.payments, settled.paid).map_err(|refusal| DeskError::Precondition {
            reason: "PAYMENT_DIFFERS",
            rule: format!("the payments {refusal}: look at the settlement again"),
            field: "payments".to_owned(),
        })?;
        if settled.paid.minor() > 0 {
            for harvester in &harvesters {
                self.licensed(asked.site, harvester, happened_us)?;
            }
        }
        must_hold.push(Condition::Epoch {
            site: asked.site,
            seen: self.office().epoch(asked.site),
        });
        let rows = stored::settlement_rows(&asked.payee, &settled, &asked.payments);
        Ok(Plan {
            site: asked.site,
            day: self.day_at(asked.site, happened_us),
            party: asked.payee.clone(),
            happened_us,
            must_hold,
            bumps: Vec::new(),
            asked,
            outcome: settled,
            rows,
        })
    }

    /// What is settled, what is taken off and what is paid.
    async fn work_out(&self, asked: &SettleAsked, happened_us: i64) -> Result<Worked, DeskError> {
        let currency = self.currency(asked.site)?;
        let money = |minor| Money::new(minor, currency);
        let unknown = || DeskError::unknown("payee", "party", &asked.payee);
        let mut tx = self.read().await?;
        let chain = stored::chain(&mut tx, asked.site, &asked.payee).await?;
        let chain = chain.ok_or_else(unknown)?;
        let open = stored::open(&mut tx, asked.site, &asked.payee, chain.open_from).await?;
        let mut about: Vec<(Open, Landing)> = Vec::with_capacity(open.len());
        for item in open {
            let landing = stored::landing_of(&mut tx, item.entry).await?;
            about.push((item, landing));
        }
        let wanted = self.wanted(&mut tx, asked, &about).await?;
        let (taken, left): (Vec<_>, Vec<_>) = about
            .into_iter()
            .partition(|(_, landing)| wanted.contains(&landing.number));
        if taken.is_empty() {
            return Err(DeskError::precondition(
                "NOTHING_TO_SETTLE",
                format!("nothing that {} is owed is open", asked.payee),
            ));
        }

        let mut must_hold = vec![chain.spends.clone()];
        must_hold.extend(taken.iter().flat_map(|(item, _)| item.spends()));
        for &number in &wanted {
            let takes = taken.iter().any(|(_, landing)| landing.number == number);
            if takes && entries::spent(&mut tx, number, PAID).await?.is_none() {
                must_hold.push(Condition::Spend {
                    what: number,
                    item: PAID,
                    how: "settle",
                });
            }
        }
        let mut dues: Vec<Due> = Vec::new();
        let (mut before, mut brought) = (None, money(0));
        if let Some((last, settled)) = &chain.last {
            (before, brought) = (Some(*last), settled.carried);
            dues.extend(settled.deductions.iter().filter_map(Deducted::carried));
        }
        for due in stored::dues(&mut tx, asked.site, &asked.payee, currency).await? {
            must_hold.push(Condition::Spend {
                what: due.entry,
                item: 0,
                how: "settle",
            });
            dues.push(due);
        }

        let items = taken.iter().map(|(open, landing)| Item {
            entry: open.entry,
            what: landing.what.to_owned(),
            ticket: landing.number,
            amount: money(open.minor),
        });
        let items: Vec<Item> = items.collect();
        let too_large = |_| DeskError::Internal;
        let mut payable = brought;
        for item in &items {
            payable = payable.checked_add(item.amount).map_err(too_large)?;
        }
        let (_, settings) = self.office().settings_at(asked.site, happened_us);
        let reckoned = reckon(payable, dues, settings.deduction_ppm()).map_err(too_large)?;
        // What is entered from now on is entered today, or by a clock that is a
        // little behind.
        let today = self.day_at(asked.site, self.now_us().await?);
        let yesterday = rules::business_day::day_before(today).unwrap_or(today);
        let open_from = left.iter().map(|(item, _)| item.pay_day).min();
        let settled = Settled {
            before,
            items,
            brought,
            payable,
            deductions: reckoned.deductions,
            deducted: reckoned.deducted,
            paid: reckoned.paid,
            carried: reckoned.carried,
            open_from: open_from.map_or(yesterday, |day| day.min(yesterday)),
        };
        let mut harvesters: BTreeSet<String> = taken
            .into_iter()
            .map(|(_, landing)| landing.harvester)
            .filter(|harvester| !harvester.is_empty())
            .collect();
        let office = self.office();
        let payee = office.parties.get(&asked.payee).ok_or_else(unknown)?;
        if payee.roles.contains(&PartyRole::Harvester) {
            harvesters.insert(asked.payee.clone());
        }
        Ok(Worked {
            settled,
            must_hold,
            harvesters,
        })
    }

    /// Numbers of the landings that are settled: those of the tickets named, those
    /// with something entered in the days named, or all that are open.
    async fn wanted(
        &self,
        tx: &mut books::Tx,
        asked: &SettleAsked,
        open: &[(Open, Landing)],
    ) -> Result<BTreeSet<i64>, DeskError> {
        let mut wanted = BTreeSet::new();
        for (i, &id) in asked.tickets.iter().enumerate() {
            let field = format!("scope.tickets[{i}]");
            let of_site = EntryId::new(id).is_some_and(|id| id.site() == asked.site);
            let entry = entries::get(tx, id).await?;
            let entry = entry.filter(|entry| of_site && entry.kind == "weigh_in");
            if entry.is_none() {
                return Err(DeskError::unknown(field, "ticket", &id.to_string()));
            }
            let number = stored::landing_of(tx, id).await?.number;
            if !open.iter().any(|(_, landing)| landing.number == number) {
                let before = stored::settlements_of(tx, id).await?;
                let (reason, why) = match before.last() {
                    Some(by) => ("ALREADY_SETTLED", format!("it was settled by {by}")),
                    None => ("NOTHING_TO_SETTLE", "it has no pay that is owed".to_owned()),
                };
                return Err(DeskError::Precondition {
                    reason,
                    rule: format!("nothing of ticket {id} is open for {}: {why}", asked.payee),
                    field,
                });
            }
            wanted.insert(number);
        }
        if asked.tickets.is_empty() {
            let from = asked.from.unwrap_or(DayNumber::MIN);
            let to = asked.to.unwrap_or(DayNumber::MAX);
            let entered = open
                .iter()
                .filter(|(item, _)| (from..to).contains(&item.pay_day));
            wanted.extend(entered.map(|(_, landing)| landing.number));
        }
        Ok(wanted)
    }

    /// Whether a harvester's licence lets a payment go out.
    fn licensed(&self, site: i64, harvester: &str, happened_us: i64) -> Result<(), DeskError> {
        let office = self.office();
        let on_file = office.parties.get(harvester).ok_or(DeskError::Internal)?;
        let site = office.sites.get(&site).ok_or(DeskError::Internal)?;
        let on = date_of(site.clock.civil_day(happened_us)).ok_or(DeskError::Internal)?;
        licence_lets(on_file, on)
            .map_err(|hold| DeskError::precondition("LICENCE_EXPIRED", hold.to_string()))
    }

    /// Money handed over before there is pay for it; it is taken off first.
    ///
    /// # Errors
    /// An unknown site or payee, or a licence that holds the payment.
    pub async fn advance(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: AdvanceAsked,
    ) -> Result<Booked<AdvanceAsked, ()>, DeskError> {
        self.at_site(caller, asked.site)?;
        self.deed(caller, "advance", request_id, asked, |asked| async move {
            let (happened_us, _) = self.when(asked.site, asked.happened_us).await?;
            numbered(&asked.payment, "payment")?;
            let office = self.office();
            let payee = office.parties.get(&asked.payee);
            let payee = payee.ok_or_else(|| DeskError::unknown("payee", "party", &asked.payee))?;
            if payee.roles.contains(&PartyRole::Harvester) {
                self.licensed(asked.site, &asked.payee, happened_us)?;
            }
            let rows = stored::advance_rows(&asked.payee, &asked.reason, &asked.payment);
            Ok(Plan {
                site: asked.site,
                day: self.day_at(asked.site, happened_us),
                party: asked.payee.clone(),
                happened_us,
                must_hold: vec![Condition::Epoch {
                    site: asked.site,
                    seen: office.epoch(asked.site),
                }],
                bumps: Vec::new(),
                asked,
                outcome: (),
                rows,
            })
        })
        .await
    }

    /// A deduction agreed with a payee.
    ///
    /// # Errors
    /// An unknown site or payee.
    pub async fn charge(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: ChargeAsked,
    ) -> Result<Booked<ChargeAsked, ()>, DeskError> {
        self.at_site(caller, asked.site)?;
        self.deed(caller, "charge", request_id, asked, |asked| async move {
            let (happened_us, _) = self.when(asked.site, asked.happened_us).await?;
            if !self.office().parties.contains_key(&asked.payee) {
                return Err(DeskError::unknown("payee", "party", &asked.payee));
            }
            let minor = asked.amount.minor();
            let rows = stored::charge_rows(&asked.payee, &asked.name, asked.order, minor);
            Ok(Plan {
                site: asked.site,
                day: self.day_at(asked.site, happened_us),
                party: asked.payee.clone(),
                happened_us,
                must_hold: Vec::new(),
                bumps: Vec::new(),
                asked,
                outcome: (),
                rows,
            })
        })
        .await
    }

    /// Takes back an advance or a charge that should not have been entered, while no
    /// settlement took it up.
    ///
    /// # Errors
    /// An unknown advance or charge, or one that was settled or taken back before.
    pub async fn take_back(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: TakeBackAsked,
    ) -> Result<Booked<TakeBackAsked, ()>, DeskError> {
        self.at_entry(caller, asked.entry)?;
        self.deed(caller, "take_back", request_id, asked, |asked| async move {
            let mut tx = self.read().await?;
            let id = asked.entry;
            let entry = entries::get(&mut tx, id)
                .await?
                .filter(|entry| matches!(entry.kind.as_str(), "advance" | "charge"))
                .ok_or_else(|| DeskError::unknown("entry", "advance or charge", &id.to_string()))?;
            if let Some((how, by)) = entries::ended(&mut tx, id).await? {
                return Err(ended(&entry.kind, &how, by));
            }
            let (advance, minor) = if entry.kind == "advance" {
                let (advance, ()): (AdvanceAsked, ()) = entry.read()?;
                (true, advance.payment.amount.minor())
            } else {
                let (charge, ()): (ChargeAsked, ()) = entry.read()?;
                (false, charge.amount.minor())
            };
            let rows = stored::take_back_rows(&entry.party, advance, minor);
            // It speaks of the day of what it takes back.
            Ok(Plan {
                site: entry.id.site(),
                day: entry.id.day(),
                party: entry.party,
                happened_us: self.now_us().await?,
                must_hold: vec![Condition::Spend {
                    what: id,
                    item: 0,
                    how: stored::TAKEN_BACK,
                }],
                bumps: Vec::new(),
                asked,
                outcome: (),
                rows,
            })
        })
        .await
    }

    /// What a payee was paid in a calendar year, over the sites of each buyer.
    ///
    /// # Errors
    /// An unknown payee.
    pub async fn cash_year(
        &self,
        caller: &Caller,
        payee: &str,
        year: i64,
    ) -> Result<Vec<CashFound>, DeskError> {
        caller.may("cash_year")?;
        caller.own(payee)?;
        let office = self.fresh_office().await?;
        if !office.parties.contains_key(payee) {
            return Err(DeskError::unknown("payee", "party", payee));
        }
        // A day more at both ends: which day it was is the site's calendar to say.
        let day = |year: i64, day: i64| year.saturating_mul(10_000).saturating_add(day);
        let utc = |number: DayNumber| {
            let date = date_of(number).and_then(|date| date.and_hms_opt(0, 0, 0));
            date.map_or(0, |at| at.and_utc().timestamp_micros())
        };
        let from_us = utc(day(year.saturating_sub(1), 1_230));
        let to_us = utc(day(year.saturating_add(1), 103));
        let mut tx = self.read().await?;
        let mut of_buyers: BTreeMap<(String, Currency), Vec<YearPayment>> = BTreeMap::new();
        for payment in stored::payments(&mut tx, payee, from_us, to_us).await? {
            let entry = EntryId::new(payment.entry).ok_or(DeskError::Internal)?;
            let site = office.sites.get(&entry.site()).ok_or(DeskError::Internal)?;
            if !caller.reaches(&office, site.number) {
                continue;
            }
            let paid_on = site.clock.civil_day(payment.happened_us);
            if paid_on.div_euclid(10_000) != year {
                continue;
            }
            let of_buyer = of_buyers.entry((site.buyer.clone(), site.currency));
            of_buyer.or_default().push(YearPayment {
                entry: payment.entry,
                paid_on: date_of(paid_on).ok_or(DeskError::Internal)?,
                site: site.number,
                method: payment.method,
                reference: payment.reference,
                amount: Money::new(payment.minor, site.currency),
            });
        }
        of_buyers
            .into_iter()
            .map(|((buyer, currency), payments)| {
                let year = cash::year(payments, Money::zero(currency));
                let year = year.map_err(|_| DeskError::Internal)?;
                Ok(CashFound { buyer, year })
            })
            .collect()
    }

    /// What was in the drawer on a business day.
    ///
    /// # Errors
    /// An unknown site, or a day that has not begun.
    pub async fn record_drawer(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: DrawerAsked,
    ) -> Result<Booked<DrawerAsked, DrawerFound>, DeskError> {
        self.at_site(caller, asked.site)?;
        self.deed(caller, "drawer", request_id, asked, |asked| async move {
            let (happened_us, _) = self.when(asked.site, asked.happened_us).await?;
            if asked.day > self.day_at(asked.site, happened_us) {
                return Err(DeskError::malformed(
                    "day",
                    "a drawer is counted once its day has begun",
                ));
            }
            let mut tx = self.read().await?;
            let paid = stored::currency_paid(&mut tx, asked.site, asked.day).await?;
            let paid = Money::new(paid, self.currency(asked.site)?);
            let outcome = drawer(asked.opening, paid, asked.counted);
            let row = stored::drawer_row(
                asked.site,
                asked.day,
                asked.opening.minor(),
                asked.counted.minor(),
            );
            Ok(Plan {
                site: asked.site,
                day: asked.day,
                party: String::new(),
                happened_us,
                must_hold: Vec::new(),
                bumps: Vec::new(),
                outcome: outcome.map_err(|_| DeskError::Internal)?,
                asked,
                rows: vec![row],
            })
        })
        .await
    }

    /// A day's drawer, against the book as it stands now.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn drawer(
        &self,
        caller: &Caller,
        site: i64,
        day: DayNumber,
    ) -> Result<DrawerDay, DeskError> {
        caller.may("drawer_day")?;
        self.at_site(caller, site)?;
        self.known_site("site", site).await?;
        let mut tx = self.read().await?;
        let paid = stored::currency_paid(&mut tx, site, day).await?;
        let paid = Money::new(paid, self.currency(site)?);
        let entries = stored::drawer_counts(&mut tx, site, day).await?;
        drop(tx);
        let mut counts = Vec::with_capacity(entries.len());
        for entry in entries {
            let booked: Booked<DrawerAsked, DrawerFound> = self.booked(entry).await?;
            let found = drawer(booked.asked.opening, paid, booked.asked.counted);
            counts.push(DrawerCount {
                booked,
                found: found.map_err(|_| DeskError::Internal)?,
            });
        }
        Ok(DrawerDay { paid, counts })
    }
}

/// Why an advance or a charge cannot be taken back.
fn ended(kind: &str, how: &str, by: i64) -> DeskError {
    let (reason, rule) = if how == stored::TAKEN_BACK {
        (
            "ALREADY_TAKEN_BACK",
            format!("this {kind} was already taken back, by {by}"),
        )
    } else {
        (
            "ALREADY_SETTLED",
            format!(
                "settlement {by} took this {kind} up: make it good with an adjustment of the kind \
                 settlement on the payee's next ticket"
            ),
        )
    };
    DeskError::Precondition {
        reason,
        rule,
        field: "entry".to_owned(),
    }
}

/// Refuses a check, a draft or a transfer without its number.
fn numbered(payment: &Payment, field: &str) -> Result<(), DeskError> {
    payment.check().map_err(|refusal| DeskError::Malformed {
        field: format!("{field}.reference"),
        reason: "MISSING_FIELD",
        rule: refusal.to_string(),
    })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
