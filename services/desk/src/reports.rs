//! Looking things up: tickets, closes, flags, yields and statements; and saying
//! that a flag was seen to.

use books::close::Stored;
use books::findings::StoredFlag;
use books::table::{Cell, FLAG_SEEN};
use books::{Row, Tx, close, doc_struct, entries, entry_id, findings, pay, settlement, stock};
use rules::business_day::{date_of, next_day};
use rules::close::{CloseDoc, Flag, YieldGroupRow};
use rules::fillet_yield::{YieldKey, YieldSums};
use rules::ids::EntryId;
use rules::money::{Currency, Money};
use rules::settlement::{
    AdvanceAsked, ChargeAsked, Deducted, Due, Payment, SettleAsked, Settled, TakeBackAsked,
};
use rules::stock::{Moved, MovementAsked};
use rules::ticket::{PayeeShare, Ticket, VoidAsked, WeighIn};
use rules::weight::Weight;

use crate::dispute::{DisputeFound, PayFollowed};
use crate::yield_answer::{YieldAnswerFound, answers};
use crate::{Booked, Caller, Desk, DeskError, Plan, Role};

/// A ticket as it was first answered, with what ended it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TicketFound {
    /// As recorded.
    pub booked: Booked<WeighIn, Ticket>,
    /// What ended it, if anything did.
    pub ended: Option<Ended>,
    /// What became of its pay.
    pub followed: PayFollowed,
    /// Party that may see the weights and, of the money, only its own share; absent:
    /// all of it may be seen.
    pub shared_with: Option<String>,
}

/// What ended a ticket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ended {
    /// Voided, else rewritten.
    pub voided: bool,
    /// Entry that did it.
    pub by: i64,
    /// Why.
    pub reason: String,
}

/// Which tickets to list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TicketRange {
    /// Site number.
    pub site: i64,
    /// First business day.
    pub from: i64,
    /// First business day no longer in it.
    pub to: i64,
    /// Party code; empty for all.
    pub harvester: String,
    /// Entry id after which to go on; 0 from the start.
    pub after: i64,
    /// At most so many.
    pub limit: i64,
}

/// A close, with its flags as they stand now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CloseFound {
    /// As stored.
    pub stored: Stored,
    /// As read.
    pub close: CloseDoc,
    /// Flags of this revision.
    pub flags: Vec<FlagFound>,
}

/// A flag, with who saw to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FlagFound {
    /// As stored.
    pub stored: StoredFlag,
    /// Money of the site.
    pub currency: Currency,
}

/// Which flags to list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FlagRange {
    /// Site number.
    pub site: i64,
    /// First business day.
    pub from: i64,
    /// First business day no longer in it.
    pub to: i64,
    /// Only those that stand and nobody has seen to.
    pub open_only: bool,
}

/// Yields that were found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct YieldsFound {
    /// Plainly pooled.
    pub sums: Vec<(YieldKey, YieldSums)>,
    /// As judged.
    pub groups: Vec<YieldGroupRow>,
    /// What divers answered to it, oldest first; none for a kitchen.
    pub answers: Vec<YieldAnswerFound>,
}

/// How the sentence begins that names what a supplier's fish cannot be told apart from.
const NOT_TOLD_APART: &str = "cannot be told apart from";

/// What the last close before a day judged.
pub(crate) async fn judged_before(
    tx: &mut Tx,
    site: i64,
    before: i64,
) -> Result<Vec<YieldGroupRow>, DeskError> {
    let Some(day) = close::last_day(tx, site, before).await? else {
        return Ok(Vec::new());
    };
    let stored = close::stored(tx, site, day, None).await?;
    Ok(match stored {
        Some(stored) => stored.read()?.supplier_yields,
        None => Vec::new(),
    })
}

/// Which yields to add up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YieldRange {
    /// Site number.
    pub site: i64,
    /// First business day.
    pub from: i64,
    /// First business day no longer in it.
    pub to: i64,
    /// Party code; empty for all.
    pub supplier: String,
    /// ASFIS code; empty for all.
    pub species: String,
}

/// What a party is owed, and how it came about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Statement {
    /// What people call the party.
    pub party_name: String,
    /// Owed by all that was entered before.
    pub owed_before: Money,
    /// Held by all that was entered before.
    pub held_before: Money,
    /// In the order of entering.
    pub rows: Vec<StatementRow>,
    /// Owed by all of it.
    pub owed_after: Money,
    /// Held by all of it.
    pub held_after: Money,
    /// Advances and charges that are still to be taken off, as it stands today.
    pub dues: Vec<Due>,
    /// Disputes of the party's tickets that are open today.
    pub disputes: Vec<DisputeFound>,
}

/// One deed that changed what a party is owed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatementRow {
    /// Business day on which it was entered.
    pub pay_day: i64,
    /// The entry.
    pub entry: EntryId,
    /// The trade's word.
    pub what: &'static str,
    /// Ticket it is about; absent where there is none.
    pub ticket: Option<i64>,
    /// Ticket that a rewritten one stands in place of.
    pub in_place_of: Option<i64>,
    /// Change of the paid weight.
    pub weight: Option<Weight>,
    /// Change of what is owed.
    pub owed: Money,
    /// Change of what is held.
    pub held: Money,
    /// Handed over.
    pub paid: Money,
    /// Taken off for advances and charges.
    pub taken_off: Money,
    /// Advances and charges that came to be taken off.
    pub to_take_off: Money,
    /// How it was paid, or what for.
    pub detail: String,
}

/// That a person has seen to a flag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AcknowledgeAsked {
    /// The flag's key.
    pub key: String,
    /// How it was seen to.
    pub reason: String,
}

doc_struct! {
    AcknowledgeAsked { key, reason }
}

impl Desk {
    /// A ticket by its id.
    ///
    /// # Errors
    /// No such ticket.
    pub async fn ticket(&self, caller: &Caller, id: i64) -> Result<TicketFound, DeskError> {
        caller.may("ticket")?;
        self.at_entry(caller, id)?;
        let mut tx = self.read().await?;
        let entry = entries::get(&mut tx, id)
            .await?
            .filter(|entry| entry.kind == "weigh_in");
        let entry = entry.ok_or_else(|| caller.not_found("ticket", id.to_string()))?;
        let found = self.found(caller, &mut tx, &entry).await?;
        found.ok_or(DeskError::Denied)
    }

    /// Tickets of a range of business days, oldest first.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn tickets(
        &self,
        caller: &Caller,
        range: TicketRange,
    ) -> Result<Vec<TicketFound>, DeskError> {
        caller.may("tickets")?;
        self.at_site(caller, range.site)?;
        let from = entry_id(range.from, range.site, 0).max(range.after.saturating_add(1));
        let to = entry_id(range.to, range.site, 0);
        let mut tx = self.read().await?;
        let mut tickets = Vec::new();
        // Ids order by day before site, so a run of days has other sites' too.
        let mut day = EntryId::new(from)
            .map_or(range.from, EntryId::day)
            .max(range.from);
        while day < range.to && tickets.len() < usize::try_from(range.limit).unwrap_or(0) {
            let first = entry_id(day, range.site, 0).max(from);
            let last = entry_id(day, range.site, 9_999_999).min(to);
            let left = range.limit - i64::try_from(tickets.len()).unwrap_or(range.limit);
            let some = entries::of_kind(
                &mut tx,
                "weigh_in",
                &range.harvester,
                first,
                last.saturating_add(1),
                // Of the others' there is no end to say beforehand.
                if caller.role.is_own_only() {
                    i64::MAX
                } else {
                    left
                },
            );
            for entry in some.await? {
                tickets.extend(self.found(caller, &mut tx, &entry).await?);
            }
            let Some(next) = next_day(day) else { break };
            day = next;
        }
        tickets.truncate(usize::try_from(range.limit).unwrap_or(0));
        Ok(tickets)
    }

    /// A close: the revision asked for, or the latest where it is 0.
    ///
    /// # Errors
    /// The day was not closed, or not so often.
    pub async fn close(
        &self,
        caller: &Caller,
        site: i64,
        day: i64,
        revision: i64,
    ) -> Result<CloseFound, DeskError> {
        caller.may("close")?;
        self.at_site(caller, site)?;
        let mut tx = self.read().await?;
        let stored = close::stored(&mut tx, site, day, (revision != 0).then_some(revision))
            .await?
            .ok_or_else(|| DeskError::NotFound {
                what: "close",
                id: {
                    let day = date_of(day).map_or_else(|| day.to_string(), |d| d.to_string());
                    match revision {
                        0 => format!("of {day} at site {site}: the night has not run for it"),
                        n => format!("of {day} at site {site} with a revision {n}"),
                    }
                },
            })?;
        let close = stored.read()?;
        let flags = self.flags_of(&mut tx, site, day, day + 1).await?;
        // What a revision said of a flag is its own; who saw to it is today's.
        let as_said_then = |mut flag: FlagFound| {
            let same = |f: &&Flag| (f.kind, &f.subject) == (flag.stored.kind, &flag.stored.subject);
            let said = close.flags.iter().find(same)?;
            flag.stored.text.clone_from(&said.text);
            flag.stored.weight = said.weight;
            flag.stored.value = said.value.minor();
            flag.stored.evidence.clone_from(&said.evidence);
            Some(flag)
        };
        let mut flags: Vec<FlagFound> = flags.into_iter().filter_map(as_said_then).collect();
        // As the close ranks them.
        flags.sort_by_key(|flag| {
            let same =
                |said: &Flag| said.kind == flag.stored.kind && said.subject == flag.stored.subject;
            close.flags.iter().position(same).unwrap_or(usize::MAX)
        });
        Ok(CloseFound {
            stored,
            close,
            flags,
        })
    }

    /// Flags of a range of business days.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn flags(
        &self,
        caller: &Caller,
        range: FlagRange,
    ) -> Result<Vec<FlagFound>, DeskError> {
        caller.may("flags")?;
        self.at_site(caller, range.site)?;
        self.known_site("site", range.site).await?;
        let mut tx = self.read().await?;
        let mut flags = self
            .flags_of(&mut tx, range.site, range.from, range.to)
            .await?;
        if range.open_only {
            flags.retain(|flag| flag.stored.gone_with == 0 && flag.stored.seen.is_empty());
        }
        Ok(flags)
    }

    async fn flags_of(
        &self,
        tx: &mut Tx,
        site: i64,
        from: i64,
        to: i64,
    ) -> Result<Vec<FlagFound>, DeskError> {
        let currency = self.money_of(site)?;
        let stored = findings::flags(tx, site, from, to).await?;
        Ok(stored
            .into_iter()
            .map(|stored| FlagFound { stored, currency })
            .collect())
    }

    /// Says that a person has seen to a flag. The close does not change.
    ///
    /// # Errors
    /// No close ever raised it.
    pub async fn acknowledge(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: AcknowledgeAsked,
    ) -> Result<(Booked<AcknowledgeAsked, ()>, FlagFound), DeskError> {
        let key = asked.key.clone();
        if caller.is_bound() {
            // What was never raised is refused like what was raised elsewhere.
            let mut tx = self.read().await?;
            let flag = findings::flag(&mut tx, &key).await?;
            self.at_site(caller, flag.ok_or(DeskError::Denied)?.site)?;
        }
        let booked = self
            .deed(
                caller,
                "acknowledge",
                request_id,
                asked,
                |asked| async move {
                    let flag = self.flag(&asked.key).await?;
                    let now_us = self.now_us().await?;
                    let site = flag.stored.site;
                    let row = Row::new(
                        &FLAG_SEEN,
                        [
                            asked.key.as_str().into(),
                            Cell::Own,
                            asked.reason.as_str().into(),
                        ],
                    );
                    Ok(Plan {
                        site,
                        day: self.day_at(site, now_us),
                        party: String::new(),
                        happened_us: now_us,
                        must_hold: Vec::new(),
                        bumps: Vec::new(),
                        asked,
                        outcome: (),
                        rows: vec![row],
                    })
                },
            )
            .await?;
        Ok((booked, self.flag(&key).await?))
    }

    async fn flag(&self, key: &str) -> Result<FlagFound, DeskError> {
        let mut tx = self.read().await?;
        let stored = findings::flag(&mut tx, key).await?;
        let stored = stored.ok_or_else(|| DeskError::unknown("key", "flag", key))?;
        let currency = self.money_of(stored.site)?;
        Ok(FlagFound { stored, currency })
    }

    /// Plain pooled yields over closed days, by supplier, and what the last close before
    /// their end judged of them.
    ///
    /// # Errors
    /// An unknown site or supplier.
    pub async fn yields(
        &self,
        caller: &Caller,
        range: YieldRange,
    ) -> Result<YieldsFound, DeskError> {
        caller.may("yields")?;
        self.at_site(caller, range.site)?;
        if caller.role == Role::Diver {
            caller.own(&range.supplier)?;
        }
        let mut bought_from = None;
        if caller.role == Role::Kitchen {
            let mut tx = self.read().await?;
            let all = findings::suppliers_of(&mut tx, range.site, &caller.party).await?;
            if !range.supplier.is_empty() && !all.contains(&range.supplier) {
                return Err(DeskError::Denied);
            }
            bought_from = Some(all);
        }
        self.known_site("site", range.site).await?;
        let office = self.fresh_office().await?;
        if !range.supplier.is_empty() && !office.parties.contains_key(&range.supplier) {
            return Err(DeskError::unknown("supplier", "party", &range.supplier));
        }
        let mut tx = self.read().await?;
        let YieldRange {
            site,
            from,
            to,
            supplier,
            species,
        } = range;
        let mut sums = findings::yields(&mut tx, site, from, to, &supplier, &species).await?;
        if let Some(bought_from) = &bought_from {
            sums.retain(|key, _| bought_from.contains(&key.supplier));
        }
        let mut groups = judged_before(&mut tx, site, to).await?;
        groups.retain(|group| species.is_empty() || group.species == species);
        for group in &mut groups {
            group.suppliers.retain(|own| {
                (supplier.is_empty() || own.supplier == supplier)
                    && bought_from
                        .as_ref()
                        .is_none_or(|bought_from| bought_from.contains(&own.supplier))
            });
            // What the buyer's fillet costs is in the close, and nobody else's to see.
            group.edible = None;
            group.plate = None;
            group.portions = None;
            if matches!(caller.role, Role::Diver | Role::Kitchen) {
                // Nor who else it was cut with, or by whom.
                for own in &mut group.suppliers {
                    if own.says.starts_with(NOT_TOLD_APART) {
                        own.says = format!("{NOT_TOLD_APART} what it was cut with or by whom");
                    }
                }
            }
        }
        groups.retain(|group| !group.suppliers.is_empty());
        // What a diver says is between them and the buyer.
        let answers = match caller.role {
            Role::Kitchen => Vec::new(),
            _ => answers(&mut tx, site, from, to, &supplier, &species).await?,
        };
        Ok(YieldsFound {
            sums: sums.into_iter().collect(),
            groups,
            answers,
        })
    }

    /// What a party is owed: the business days on which it was entered, half-open.
    ///
    /// # Errors
    /// An unknown site or party.
    pub async fn statement(
        &self,
        caller: &Caller,
        site: i64,
        party: &str,
        from: i64,
        to: i64,
    ) -> Result<Statement, DeskError> {
        caller.may("statement")?;
        self.at_site(caller, site)?;
        caller.own(party)?;
        self.known_site("site", site).await?;
        let office = self.fresh_office().await?;
        let on_file = office
            .parties
            .get(party)
            .ok_or_else(|| DeskError::unknown("party", "party", party))?;
        let currency = self.money_of(site)?;
        let money = |minor| Money::new(minor, currency);
        let mut tx = self.read().await?;
        let (mut owed, mut held) = pay::balance_before(&mut tx, site, party, from).await?;
        let (owed_before, held_before) = (money(owed), money(held));
        let mut rows = Vec::new();
        for change in pay::changes(&mut tx, site, party, from, to).await? {
            owed += change.owed;
            held += change.held;
            rows.push(row(&mut tx, &change, money).await?);
        }
        let mut dues = Vec::new();
        if let Some(chain) = settlement::chain(&mut tx, site, party).await?
            && let Some((_, last)) = chain.last
        {
            dues.extend(last.deductions.iter().filter_map(Deducted::carried));
        }
        dues.extend(settlement::dues(&mut tx, site, party, currency).await?);
        let open = settlement::open_disputes(&mut tx, site, party).await?;
        drop(tx);
        let mut disputes = self.disputes(&open).await?;
        let mut tx = self.read().await?;
        for found in &mut disputes {
            let (asked, _) = weigh_in(&mut tx, found.booked.asked.ticket).await?;
            if !matches!(share_of(caller, &asked), TheirShare::All) {
                found.amount = None;
            }
        }
        drop(tx);
        Ok(Statement {
            dues,
            disputes,
            party_name: on_file.name.clone(),
            owed_before,
            held_before,
            rows,
            owed_after: money(owed),
            held_after: money(held),
        })
    }

    /// A ticket as the caller sees it; nothing where it is not theirs at all.
    async fn found(
        &self,
        caller: &Caller,
        tx: &mut Tx,
        entry: &entries::Entry,
    ) -> Result<Option<TicketFound>, DeskError> {
        let (asked, outcome): (WeighIn, Ticket) = entry.read()?;
        let shared_with = match share_of(caller, &asked) {
            TheirShare::None => return Ok(None),
            TheirShare::All => None,
            TheirShare::Own => Some(caller.party.clone()),
        };
        let id = entry.id.number();
        let ended = match entries::ended(tx, id).await? {
            None => None,
            Some((how, by)) => Some(Ended {
                voided: how == "void",
                by,
                reason: why(tx, by).await?,
            }),
        };
        let followed = self.pay_followed(tx, id, &asked, &outcome).await?;
        let booked = Booked {
            entry: entry.id,
            recorded_us: entry.recorded_us,
            pay_day: entry.pay_day(),
            asked,
            outcome,
        };
        Ok(Some(TicketFound {
            booked,
            ended,
            followed,
            shared_with,
        }))
    }

    pub(crate) fn money_of(&self, site: i64) -> Result<Currency, DeskError> {
        let office = self.office();
        office
            .sites
            .get(&site)
            .map(|site| site.currency)
            .ok_or(DeskError::Internal)
    }
}

/// What of a ticket a caller may see (5.2).
enum TheirShare {
    None,
    /// The weights, and their own money.
    Own,
    All,
}

fn share_of(caller: &Caller, asked: &WeighIn) -> TheirShare {
    let is_payee = |payees: &[PayeeShare]| payees.iter().any(|share| share.party == caller.party);
    let is_harvester = asked.harvester == caller.party;
    if !caller.role.is_own_only() || (is_harvester && asked.payees.is_empty()) {
        TheirShare::All
    } else if is_harvester || is_payee(&asked.payees) {
        TheirShare::Own
    } else {
        TheirShare::None
    }
}

impl Desk {
    /// Refuses a ticket that is not the caller's, or that is not there.
    pub(crate) async fn own_ticket(&self, caller: &Caller, id: i64) -> Result<(), DeskError> {
        if !caller.role.is_own_only() {
            return Ok(());
        }
        let mut tx = self.read().await?;
        let entry = entries::get(&mut tx, id).await?;
        let entry = entry.filter(|entry| entry.kind == "weigh_in");
        let (asked, _): (WeighIn, Ticket) = entry.ok_or(DeskError::Denied)?.read()?;
        match share_of(caller, &asked) {
            TheirShare::None => Err(DeskError::Denied),
            TheirShare::Own | TheirShare::All => Ok(()),
        }
    }
}

async fn row(
    tx: &mut Tx,
    change: &pay::Change,
    money: impl Fn(i64) -> Money,
) -> Result<StatementRow, DeskError> {
    let entry = EntryId::new(change.entry).ok_or(DeskError::Internal)?;
    let mut in_place_of = None;
    let (what, ticket, weight) = match change.kind.as_str() {
        "weigh_in" => {
            let (asked, ticket) = weigh_in(tx, change.entry).await?;
            let paid = paid_weight(&ticket);
            match asked.rewrites {
                Some(rewrite) => {
                    let (_, before) = weigh_in(tx, rewrite.ticket).await?;
                    in_place_of = Some(rewrite.ticket);
                    let change_of = paid.units() - paid_weight(&before).units();
                    let difference = Weight::from_units(change_of);
                    ("rewritten ticket", Some(change.entry), Some(difference))
                }
                None => ("ticket", Some(change.entry), Some(paid)),
            }
        }
        "void" => {
            let stored = entries::get(tx, change.entry)
                .await?
                .ok_or(DeskError::Internal)?;
            let (asked, ()): (VoidAsked, ()) = stored.read()?;
            let (_, ticket) = weigh_in(tx, asked.ticket).await?;
            let back = Weight::from_units(-paid_weight(&ticket).units());
            ("void", Some(asked.ticket), Some(back))
        }
        "hold" => ("hold", ticket_of(tx, change.entry).await?, None),
        "release" => ("release", ticket_of(tx, change.entry).await?, None),
        "movement" => {
            let stored = entries::get(tx, change.entry).await?;
            let (_, moved): (MovementAsked, Moved) = stored.ok_or(DeskError::Internal)?.read()?;
            let what = books::settlement::thrown_out(&moved);
            (what, ticket_of(tx, change.entry).await?, None)
        }
        "settle" => ("settlement", None, None),
        "advance" => ("advance", None, None),
        "charge" => ("charge", None, None),
        "take_back" => ("taken back", None, None),
        _ => ("other", None, None),
    };
    Ok(StatementRow {
        pay_day: change.pay_day,
        entry,
        what,
        ticket,
        in_place_of,
        weight,
        owed: money(change.owed),
        held: money(change.held),
        paid: money(change.paid),
        taken_off: money(change.taken_off),
        to_take_off: money(change.to_take_off),
        detail: detail(tx, change).await?,
    })
}

/// How a payment was made, or what an advance or a charge is for.
async fn detail(tx: &mut Tx, change: &pay::Change) -> Result<String, DeskError> {
    if !matches!(
        change.kind.as_str(),
        "settle" | "advance" | "charge" | "take_back"
    ) {
        return Ok(String::new());
    }
    let entry = entries::get(tx, change.entry).await?;
    let entry = entry.ok_or(DeskError::Internal)?;
    Ok(match change.kind.as_str() {
        "settle" => {
            let (asked, _): (SettleAsked, Settled) = entry.read()?;
            let payments: Vec<String> = asked.payments.iter().map(said).collect();
            payments.join(", ")
        }
        "advance" => {
            let (asked, ()): (AdvanceAsked, ()) = entry.read()?;
            format!("{}, {}", asked.reason, said(&asked.payment))
        }
        "take_back" => {
            let (asked, ()): (TakeBackAsked, ()) = entry.read()?;
            let of = entries::get(tx, asked.entry).await?;
            let kind = of.map(|entry| entry.kind).unwrap_or_default();
            format!("{kind} {}: {}", asked.entry, asked.reason)
        }
        _ => {
            let (asked, ()): (ChargeAsked, ()) = entry.read()?;
            asked.name
        }
    })
}

/// "money order 200.00 USD (1042)".
fn said(payment: &Payment) -> String {
    let Payment {
        method,
        amount,
        reference,
    } = payment;
    match reference.as_str() {
        "" => format!("{} {amount}", method.word()),
        number => format!("{} {amount} ({number})", method.word()),
    }
}

/// Net weight of all lines of a ticket.
fn paid_weight(ticket: &Ticket) -> Weight {
    ticket.lines.iter().map(|line| line.net).sum()
}

/// The ticket as it stands whose fish a hold, release or discard was about;
/// nothing where it was about fish of several tickets, or of none.
async fn ticket_of(tx: &mut Tx, entry: i64) -> Result<Option<i64>, DeskError> {
    let mut tickets = stock::tickets_of(tx, entry).await?;
    tickets.dedup();
    match tickets.as_slice() {
        [ticket] => Ok(Some(stock::standing_ticket(tx, *ticket).await?.0)),
        _ => Ok(None),
    }
}

async fn weigh_in(tx: &mut Tx, id: i64) -> Result<(WeighIn, Ticket), DeskError> {
    let entry = entries::get(tx, id).await?.ok_or(DeskError::Internal)?;
    Ok(entry.read()?)
}

/// Why a ticket was ended.
async fn why(tx: &mut Tx, by: i64) -> Result<String, DeskError> {
    let entry = entries::get(tx, by).await?.ok_or(DeskError::Internal)?;
    if entry.kind == "void" {
        let (asked, ()): (VoidAsked, ()) = entry.read()?;
        return Ok(asked.reason);
    }
    let (asked, _): (WeighIn, Ticket) = entry.read()?;
    Ok(asked
        .rewrites
        .map(|rewrite| rewrite.reason)
        .unwrap_or_default())
}
