//! What becomes of fish on hand: holds, releases, regrades, movements, customer
//! returns, makings and counts.
//!
//! What happened is booked, even beyond what the book says is left; the night
//! flags it. Held fish is the exception: it goes to nobody and onto no table
//! until it is released, thrown out or sampled.

mod making;
mod payees;
mod reweigh;

use books::stock::{Lot, Part, PayLeft};
use books::table::{COUNTED, Cell, INWARD, MOVE, SHIFT};
use books::{Condition, Row, entries, stock, tickets};
use rules::business_day::next_day;
use rules::fish::{Outlet, PartKey};
use rules::ids::{DayNumber, EntryId, LotCode, PartId};
use rules::making::MakingKind;
use rules::money::Money;
use rules::office::{PartyRole, Settings};
use rules::receiving::{self, HoldCause};
use rules::stock::{
    CountAsked, CountDone, DiscardCause, Found, Held, HoldAsked, HoldId, Moved, MovementAsked,
    PartRef, PoolDone, RegradeAsked, Regraded, ReleaseAsked, Released, ReturnAsked, Returned,
    StockEvent, StockStep, Taken, TakenFrom, as_day_ended, hold_share, standing,
};
use rules::ticket::caution::cautions;
use rules::ticket::{Notice, NoticeKind, Ticket, WeighIn};
use rules::weight::{Reading, Weight};

use crate::{Booked, Caller, Clock, Desk, DeskError, Plan};
use payees::{Moves, Payees};

/// A clock may be ahead by this much.
const SKEW_US: i64 = 120_000_000;
/// Nothing is entered that happened longer ago: a mistyped year would revise every
/// day since.
pub(crate) const OLDEST_US: i64 = 31 * 24 * 3_600 * 1_000_000;

/// A lot with its parts as they stand and what became of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotFound {
    /// Its code.
    pub code: LotCode,
    /// Site in whose book it is.
    pub site: i64,
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: rules::fish::Presentation,
    /// Harvester of record; empty when several.
    pub supplier: String,
    /// Entry that made it.
    pub entry: i64,
    /// What made it; nothing for a lot from a landing.
    pub made_by: Option<MakingKind>,
    /// Parts it was made from.
    pub sources: Vec<PartId>,
    /// Ticket it stands on now; nothing for a made lot.
    pub ticket: Option<i64>,
    /// That ticket was voided.
    pub voided: bool,
    /// In order of their numbers.
    pub parts: Vec<LotPart>,
    /// In order of what happened.
    pub events: Vec<LotEvent>,
}

/// A part as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotPart {
    /// Its number.
    pub n: i64,
    /// What makes it alike.
    pub key: PartKey,
    /// The last count, and what came and went since.
    pub left: Weight,
}

/// Something that happened to a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotEvent {
    /// Entry that says so.
    pub entry: i64,
    /// When, microseconds since 1970 UTC.
    pub happened_us: i64,
    /// Number of the part.
    pub part: i64,
    /// The trade's word.
    pub what: &'static str,
    /// Positive comes in, negative goes out; a count is what was there.
    pub weight: Weight,
    /// Lots it became, for a making.
    pub became: Vec<LotCode>,
    /// Of fish weighed again: what was read less what the book said.
    pub difference: Option<Weight>,
    /// As written, of fish weighed again; whose loss it is, of fish thrown out.
    pub note: String,
    /// Party that received it, or empty.
    pub receiver: String,
    /// Kind of the making it went into or came out of.
    pub making: Option<MakingKind>,
}

/// A part as somebody named it, with its lot.
pub(crate) struct Named {
    pub(crate) lot: Lot,
    pub(crate) part: Part,
}

/// A day that a count closes, and when it was taken.
struct ClosedBy {
    day: DayNumber,
    /// First instant after it, and after the day that follows.
    end_us: i64,
    next_end_us: i64,
    counted_us: i64,
}

impl Named {
    fn site(&self) -> i64 {
        self.lot.site
    }

    /// What must still hold of the lot when the deed is written.
    fn must_hold(&self) -> Vec<Condition> {
        let (number, place) = (self.lot.code.number(), self.lot.code.place());
        let mut conditions = vec![Condition::LotSeen {
            number,
            place,
            seen: self.lot.seen,
        }];
        if self.lot.ticket != 0 {
            conditions.push(Condition::Stands {
                ticket: self.lot.ticket,
            });
        }
        conditions
    }

    /// Whether an instant lies before anything of the lot was there.
    fn is_before(&self, happened_us: i64) -> bool {
        let came_in_us = self.came_in_us();
        came_in_us.is_some_and(|first_us| happened_us < first_us)
    }

    /// When the first of the lot came in.
    fn came_in_us(&self) -> Option<i64> {
        let came = self.lot.events.iter();
        let came = came.filter(|event| matches!(event.event, StockEvent::In(_)));
        came.map(|event| event.happened_us).min()
    }

    /// Whether the part may be counted for a day by what was found of it, or without a
    /// weight thrown into a bin.
    ///
    /// A count that is taken after the day is worked back to its end (6.2) by what is
    /// entered of the time between. Where that cannot be, or would carry more than the
    /// morning's drip into the day, the part is counted for today.
    fn may_close(
        &self,
        closed: &ClosedBy,
        found: Option<Weight>,
        field: &str,
    ) -> Result<(), DeskError> {
        let refused = |reason, rule: &str| DeskError::Malformed {
            field: field.to_owned(),
            reason,
            rule: rule.to_owned(),
        };
        let ClosedBy {
            day,
            end_us,
            next_end_us,
            counted_us,
        } = *closed;
        let not_there = "came in after the day that this count closes";
        if EntryId::new(self.lot.code.number()).is_some_and(|id| id.day() > day) {
            return Err(refused("NOT_THERE_YET", not_there));
        }
        let steps = self.lot.steps(self.part.id.n);
        let moved = steps.iter().filter(|step| step.is_after(day, end_us));
        let moved: Vec<_> = moved
            .filter(|step| step.happened_us <= counted_us)
            .collect();
        if moved.is_empty() {
            return Ok(());
        }
        let was_there = |step: &StockStep| {
            matches!(step.event, StockEvent::In(_)) && !step.is_after(day, end_us)
        };
        if !steps.iter().any(was_there) {
            return Err(refused("NOT_THERE_YET", not_there));
        }
        let moved_since = |why: &str| {
            let rule = format!("has moved since the day ended, and {why}: count it for today");
            Err(refused("MOVED_SINCE", &rule))
        };
        let Some(found) = found else {
            return moved_since("what is thrown into a bin is not weighed by itself");
        };
        if counted_us >= next_end_us {
            return moved_since("the day after it is over as well");
        }
        if moved.iter().any(|step| step.happened_us == counted_us) {
            return moved_since("at the very moment of this count");
        }
        if as_day_ended(found, counted_us, day, end_us, &steps).is_negative() {
            return moved_since("more came to it than was counted");
        }
        Ok(())
    }

    fn left(&self, settings: &Settings) -> Weight {
        standing(&self.lot.steps(self.part.id.n), settings).left
    }

    /// What is asked for, or all that is left by the book.
    fn weight(&self, asked: Option<&Reading>, settings: &Settings) -> Result<Weight, DeskError> {
        let weight = asked.map_or_else(|| self.left(settings), |reading| reading.weight);
        if weight > Weight::ZERO {
            Ok(weight)
        } else {
            Err(DeskError::precondition(
                "NOTHING_LEFT",
                format!("nothing is left of part {}", self.part.id),
            ))
        }
    }

    /// The sibling of that key, with the row that opens it where it is new.
    fn sibling(&self, key: PartKey) -> (PartId, Option<Row>) {
        if let Some(part) = self.lot.parts.iter().find(|part| part.key == key) {
            return (part.id, None);
        }
        let id = PartId {
            lot: self.lot.code,
            n: self.lot.next_part(),
        };
        let part = Part {
            id,
            key,
            undersize: self.part.undersize,
        };
        (id, Some(tickets::part_row(&part)))
    }

    /// Refuses what may not be done with fish that was set aside.
    fn not_held(&self, field: &str) -> Result<(), DeskError> {
        if self.part.key.held {
            return Err(DeskError::Precondition {
                reason: "HELD",
                rule: format!(
                    "part {} is held: it goes nowhere until the hold is released, or it is thrown out",
                    self.part.id
                ),
                field: field.to_owned(),
            });
        }
        Ok(())
    }
}

impl Desk {
    /// Sets weight of a part aside; its share of the line's pay is not owed
    /// meanwhile.
    ///
    /// # Errors
    /// An unknown part, one that is held already, or nothing left of it.
    pub async fn hold(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: HoldAsked,
    ) -> Result<Booked<HoldAsked, Held>, DeskError> {
        self.at_lot(caller, asked.part.lot)?;
        self.deed(caller, "hold", request_id, asked, |asked| async move {
            let named = self.named("part", asked.part).await?;
            named.not_held("part")?;
            let (happened_us, settings) = self.when(named.site(), asked.happened_us).await?;
            let weight = named.weight(asked.weight.as_ref(), &settings)?;
            let (held, opens) = named.sibling(PartKey {
                held: true,
                ..named.part.key.clone()
            });
            let pay = self.share(&named, weight)?;
            let outcome = Held {
                from: named.part.id,
                held,
                weight,
                pay,
            };
            let mut rows: Vec<Row> = opens.into_iter().collect();
            rows.push(shift_row("hold", outcome.from, held, weight, pay));
            let mut payees = Payees::default();
            payees
                .take(self, &named, Moves::Held, pay.minor(), None)
                .await?;
            rows.extend(payees.rows());
            let mut plan = self.on_stock(&[named], happened_us, asked, outcome, rows)?;
            plan.must_hold.append(&mut payees.must_hold);
            Ok(plan)
        })
        .await
    }

    /// Gives back what a hold took, as much as is left of it, and its pay.
    ///
    /// # Errors
    /// An unknown hold, or one that was released before.
    pub async fn release(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: ReleaseAsked,
    ) -> Result<Booked<ReleaseAsked, Released>, DeskError> {
        self.at_entry(caller, asked.hold.entry)?;
        self.deed(caller, "release", request_id, asked, |asked| async move {
            let held = self.find_hold(asked.hold).await?;
            let named = self.named("hold_id", of_part(held.held)).await?;
            let (happened_us, settings) = self.when(named.site(), asked.happened_us).await?;
            may_release(held.cause, &asked.reason, &settings)?;
            let to = match held.from {
                Some(from) => (from, None),
                None => named.sibling(PartKey {
                    held: false,
                    ..named.part.key.clone()
                }),
            };
            // Drip, a sample or a discard may have taken some of it since. What
            // dripped is still paid for; what was thrown out was taken back then.
            let weight = held.weight.min(named.left(&settings).max(Weight::ZERO));
            let mut left = named.lot.pay_left(held.held.n).minor;
            if let Some(before) = held.before {
                // What the new ticket counts as given back stands for what was.
                left += named.lot.released(held.held.n) - before.minor();
            }
            let left = left.max(0);
            let pay = Money::new(held.pay.minor().min(left), held.pay.currency());
            let outcome = Released {
                from: held.held,
                part: to.0,
                weight,
                pay,
            };
            let mut rows: Vec<Row> = to.1.into_iter().collect();
            rows.push(shift_row("release", held.held, to.0, weight, pay));
            let HoldId { entry, line } = asked.hold;
            let mut payees = Payees::default();
            let hold = held.from.map(|_| entry);
            payees
                .take(self, &named, Moves::Released, pay.minor(), hold)
                .await?;
            rows.extend(payees.rows());
            let mut plan = self.on_stock(&[named], happened_us, asked, outcome, rows)?;
            plan.must_hold.append(&mut payees.must_hold);
            plan.must_hold.push(Condition::Spend {
                what: entry,
                item: line,
                how: "release",
            });
            Ok(plan)
        })
        .await
    }

    /// What a hold took. A line of a ticket taken in held came from nowhere
    /// else: `from` is absent.
    async fn find_hold(&self, hold: HoldId) -> Result<HoldFound, DeskError> {
        let unknown = || DeskError::unknown("hold_id", "hold", &hold.to_string());
        let mut tx = self.read().await?;
        let entry = entries::get(&mut tx, hold.entry)
            .await?
            .ok_or_else(unknown)?;
        if let Some((how, by)) = entries::spent(&mut tx, hold.entry, hold.line).await?
            && how == "release"
        {
            return Err(DeskError::Precondition {
                reason: "ALREADY_RELEASED",
                rule: format!("this hold was already released, by {by}"),
                field: "hold_id".to_owned(),
            });
        }
        match (entry.kind.as_str(), hold.line) {
            ("hold", 0) => {
                let (asked, held): (HoldAsked, Held) = entry.read()?;
                let Held {
                    from,
                    held,
                    weight,
                    pay,
                } = held;
                Ok(HoldFound {
                    cause: asked.cause.unwrap_or(HoldCause::Other),
                    from: Some(from),
                    held,
                    weight,
                    pay,
                    before: None,
                })
            }
            ("weigh_in", line @ 1..) => {
                let (asked, ticket): (WeighIn, Ticket) = entry.read()?;
                if entries::ended(&mut tx, hold.entry).await?.is_some() {
                    return Err(DeskError::precondition(
                        "TICKET_ENDED",
                        "the ticket was voided or rewritten: name the one that stands",
                    ));
                }
                let nth = usize::try_from(line - 1).map_err(|_| unknown())?;
                let before = ticket.released.iter().find(|before| before.line == line);
                let pay = ticket.pay_of(line);
                let line = ticket
                    .lines
                    .get(nth)
                    .filter(|l| l.held)
                    .ok_or_else(unknown)?;
                let lot = ticket.lots.iter().find(|lot| lot.n == line.lot);
                let written = asked.lots.iter().zip(&ticket.lots);
                let mut written = written.filter(|(_, lot)| lot.n == line.lot);
                let cause = written.next().map_or(HoldCause::Other, |(written, lot)| {
                    lot.received.hold_cause(written.receiving.hold_cause)
                });
                let place = lot.and_then(|lot| lot.place).ok_or(DeskError::Internal)?;
                let number = ticket.number.unwrap_or(hold.entry);
                let lot = LotCode::new(number, place).ok_or(DeskError::Internal)?;
                let held = PartId { lot, n: line.part };
                let (mut weight, mut pay) = (line.net, pay);
                if let Some(before) = before {
                    let left = weight.units() - before.weight.units();
                    weight = Weight::from_units(left.max(0));
                    pay = Money::new(pay.minor() - before.pay.minor(), pay.currency());
                }
                Ok(HoldFound {
                    cause,
                    from: None,
                    held,
                    weight,
                    pay,
                    before: before.map(|before| before.pay),
                })
            }
            _ => Err(unknown()),
        }
    }

    /// Moves weight to another grade or condition; never pay.
    ///
    /// # Errors
    /// An unknown part, nothing left of it, or nothing changed.
    pub async fn regrade(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: RegradeAsked,
    ) -> Result<Booked<RegradeAsked, Regraded>, DeskError> {
        self.at_lot(caller, asked.part.lot)?;
        self.deed(caller, "regrade", request_id, asked, |asked| async move {
            let named = self.named("part", asked.part).await?;
            named.not_held("part")?;
            let (happened_us, settings) = self.when(named.site(), asked.happened_us).await?;
            let weight = named.weight(asked.weight.as_ref(), &settings)?;
            let old = named.part.key.clone();
            let key = PartKey {
                grade: asked.grade.clone().unwrap_or_else(|| old.grade.clone()),
                condition: asked.condition.or(old.condition),
                ..old.clone()
            };
            if key == old {
                return Err(DeskError::malformed(
                    "grade",
                    "a regrade changes grade or condition",
                ));
            }
            let (part, opens) = named.sibling(key);
            let outcome = Regraded {
                from: named.part.id,
                part,
                weight,
            };
            let mut rows: Vec<Row> = opens.into_iter().collect();
            // No pay moves between accounts; which part a later hold would take it
            // from does.
            let pay = self.share(&named, weight)?;
            rows.push(shift_row("regrade", outcome.from, part, weight, pay));
            self.on_stock(&[named], happened_us, asked, outcome, rows)
        })
        .await
    }

    /// Weight leaving.
    ///
    /// # Errors
    /// An unknown part or party, or held fish going to somebody.
    pub async fn movement(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: MovementAsked,
    ) -> Result<Booked<MovementAsked, Moved>, DeskError> {
        let lots = asked.taken.iter().map(|taken| taken.part.lot);
        self.at_all(caller, asked.site, [], lots)?;
        self.deed(caller, "movement", request_id, asked, |asked| {
            self.plan_movement(asked)
        })
        .await
    }

    async fn plan_movement(
        &self,
        asked: MovementAsked,
    ) -> Result<Plan<MovementAsked, Moved>, DeskError> {
        let office = self.office();
        let who = &asked.counterparty;
        if !who.is_empty() && !office.parties.contains_key(who) {
            return Err(DeskError::unknown("counterparty", "party", who));
        }
        if let Some(party) = office.parties.get(who) {
            has_role("counterparty", party, receiving::receives(asked.outlet))?;
        }
        let (happened_us, settings) = self.when(asked.site, asked.happened_us).await?;
        let currency = self.currency(asked.site)?;
        if asked
            .price
            .is_some_and(|price| price.currency() != currency)
        {
            return Err(DeskError::malformed(
                "price.currency",
                format!("the site's money is {currency}"),
            ));
        }
        let mut all = Vec::with_capacity(asked.taken.len());
        let mut moved = Moved {
            taken: Vec::new(),
            buyers_loss: None,
            notices: Vec::new(),
        };
        let lost = asked.cause == Some(DiscardCause::AfterHandOver);
        let (mut rows, mut payees) = (Vec::new(), Payees::default());
        for (i, taken) in asked.taken.iter().enumerate() {
            let field = format!("taken[{i}].part");
            let named = self.named(&field, taken.part).await?;
            self.same_site(&field, &named, asked.site)?;
            let id = named.part.id;
            if moved
                .taken
                .iter()
                .any(|before: &TakenFrom| before.part == id)
            {
                return Err(DeskError::malformed(field, "a movement names a part once"));
            }
            let thrown_out = asked.outlet == Outlet::Discard;
            if !thrown_out && asked.outlet != Outlet::Sample {
                named.not_held(&field)?;
            }
            let weight = taken.weight.weight;
            if asked.cause.is_some() && !named.part.key.held {
                return Err(DeskError::Malformed {
                    field: "cause".to_owned(),
                    reason: "NOT_HELD",
                    rule: format!(
                        "is of held fish, and part {id} is not held: what it was paid stands \
                         whatever the cause, so leave it out"
                    ),
                });
            }
            // Its pay leaves the held part with it: taken back where the cause came
            // before hand-over, and owed where it came after.
            let unpaid = if thrown_out && named.part.key.held {
                self.unpaid(&named, taken, &settings)?
            } else {
                Money::zero(currency)
            };
            let n = i64::try_from(i + 1).map_err(|_| DeskError::Internal)?;
            rows.push(Row::new(
                &MOVE,
                [
                    Cell::Own,
                    n.into(),
                    id.lot.number().into(),
                    id.lot.place().into(),
                    id.n.into(),
                    asked.outlet.number().into(),
                    asked.counterparty.as_str().into(),
                    weight.units().into(),
                    i64::from(taken.emptied).into(),
                    unpaid.minor().into(),
                ],
            ));
            let moves = if lost { Moves::Lost } else { Moves::Unpaid };
            payees
                .take(self, &named, moves, unpaid.minor(), None)
                .await?;
            if lost {
                let before = moved.buyers_loss.map_or(0, Money::minor);
                let loss = Money::new(before.saturating_add(unpaid.minor()), currency);
                moved.buyers_loss = Some(loss);
            }
            moved
                .notices
                .extend(self.beyond(&named, weight, &settings, n));
            moved.taken.push(TakenFrom {
                part: id,
                weight,
                emptied: taken.emptied,
            });
            all.push(named);
        }
        let may_leave = self.may_leave(&asked, &all, &settings)?;
        moved.notices.extend(may_leave);
        let weights: Vec<Weight> = moved.taken.iter().map(|taken| taken.weight).collect();
        let mut carried = self
            .leaves(&asked, &all, &weights, happened_us, &settings)
            .await?;
        moved.notices.append(&mut carried.notices);
        moved.notices.extend(self.going_out(&asked, &all));
        rows.extend(payees.rows());
        rows.append(&mut carried.rows);
        let mut plan = self.on_stock(&all, happened_us, asked, moved, rows)?;
        plan.must_hold.append(&mut payees.must_hold);
        plan.must_hold.append(&mut carried.must_hold);
        plan.party.clone_from(&plan.asked.counterparty);
        Ok(plan)
    }

    /// Warnings about fish on its way to somebody, or why it goes to nobody.
    fn may_leave(
        &self,
        asked: &MovementAsked,
        all: &[Named],
        settings: &Settings,
    ) -> Result<Vec<Notice>, DeskError> {
        let leaving: Vec<receiving::Leaving> = all
            .iter()
            .map(|named| receiving::Leaving {
                part: named.part.id,
                condition: named.part.key.condition,
            })
            .collect();
        receiving::dispatch(
            asked.outlet,
            &leaving,
            asked.temperature.as_ref(),
            &settings.receiving,
        )
        .map_err(|refused| DeskError::Precondition {
            reason: refused.reason(),
            rule: refused.to_string(),
            field: refused.field(),
        })
    }

    /// Cautions that go with fish on its way to somebody.
    fn going_out(&self, asked: &MovementAsked, all: &[Named]) -> Vec<Notice> {
        if !asked.outlet.is_food() {
            return Vec::new();
        }
        let office = self.office();
        let mut kinds: Vec<_> = all
            .iter()
            .filter_map(|named| office.species.get(&named.lot.species))
            .collect();
        kinds.sort_by(|a, b| a.code.cmp(&b.code));
        kinds.dedup();
        cautions(&kinds, &kinds, asked.outlet == Outlet::Donation)
    }

    /// A warning where more leaves than the book has.
    fn beyond(
        &self,
        named: &Named,
        weight: Weight,
        settings: &Settings,
        line: i64,
    ) -> Option<Notice> {
        (weight > named.left(settings)).then(|| Notice {
            kind: NoticeKind::Warning,
            code: "beyond_what_is_left".to_owned(),
            text: format!(
                "More left part {} than the book says was there; it is booked and will be flagged.",
                named.part.id
            ),
            line,
        })
    }

    /// Fish a customer brought back; it is held, and nobody is paid or unpaid.
    ///
    /// # Errors
    /// An unknown movement or part, or a part that did not leave by it.
    pub async fn customer_return(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: ReturnAsked,
    ) -> Result<Booked<ReturnAsked, Returned>, DeskError> {
        self.at_entry(caller, asked.movement)?;
        self.at_lot(caller, asked.part.lot)?;
        self.deed(caller, "return", request_id, asked, |asked| async move {
            let mut tx = self.read().await?;
            let entry = entries::get(&mut tx, asked.movement).await?;
            drop(tx);
            let entry = entry
                .filter(|entry| entry.kind == "movement")
                .ok_or_else(|| {
                    DeskError::unknown("movement", "movement", &asked.movement.to_string())
                })?;
            let (went, moved): (MovementAsked, Moved) = entry.read()?;
            if !went.outlet.has_receiver() {
                return Err(DeskError::malformed(
                    "movement",
                    format!(
                        "went to nobody who could bring it back ({})",
                        went.outlet.word()
                    ),
                ));
            }
            let named = self.named("part", asked.part).await?;
            let left = moved.taken.iter().find(|taken| taken.part == named.part.id);
            let left = left.ok_or_else(|| {
                DeskError::malformed("part", "this part did not leave by that movement")
            })?;
            let (happened_us, _) = self.when(named.site(), asked.happened_us).await?;
            let (held, opens) = named.sibling(PartKey {
                held: true,
                ..named.part.key.clone()
            });
            let mut tx = self.read().await?;
            let before = stock::came_back(&mut tx, asked.movement, held).await?;
            drop(tx);
            let back = [before, asked.weight.weight].into_iter().sum::<Weight>();
            if back > left.weight {
                let unit = asked.weight.unit;
                return Err(DeskError::malformed(
                    "weight",
                    format!(
                        "with {} {symbol} that came back before is more than the {} {symbol} \
                         that left by that movement",
                        before.shown(unit),
                        left.weight.shown(unit),
                        symbol = unit.symbol(),
                    ),
                ));
            }
            let outcome = Returned {
                held,
                outlet: went.outlet,
                weight: asked.weight.weight,
            };
            let mut rows: Vec<Row> = opens.into_iter().collect();
            rows.push(Row::new(
                &INWARD,
                [
                    Cell::Own,
                    1.into(),
                    asked.movement.into(),
                    went.outlet.number().into(),
                    held.lot.number().into(),
                    held.lot.place().into(),
                    held.n.into(),
                    outcome.weight.units().into(),
                ],
            ));
            let plan = self.on_stock(&[named], happened_us, asked, outcome, rows)?;
            Ok(Plan {
                party: went.counterparty,
                ..plan
            })
        })
        .await
    }

    /// What was still on ice.
    ///
    /// # Errors
    /// An unknown part, a part named twice, or a day that has not begun.
    pub async fn count(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: CountAsked,
    ) -> Result<Booked<CountAsked, CountDone>, DeskError> {
        let alone = asked.counted.iter().map(|counted| counted.part.lot);
        let bin = asked.pool.iter().flat_map(|pool| &pool.parts);
        let lots = alone.chain(bin.map(|part| part.lot));
        self.at_all(caller, asked.site, [], lots)?;
        self.deed(caller, "count", request_id, asked, |asked| {
            self.plan_count(asked)
        })
        .await
    }

    async fn plan_count(
        &self,
        asked: CountAsked,
    ) -> Result<Plan<CountAsked, CountDone>, DeskError> {
        let (happened_us, settings) = self.when(asked.site, asked.happened_us).await?;
        if asked.closes > self.day_at(asked.site, happened_us) {
            return Err(DeskError::malformed(
                "closes",
                "a day is counted once it has begun",
            ));
        }
        let next = next_day(asked.closes).unwrap_or(asked.closes);
        let closed = ClosedBy {
            day: asked.closes,
            end_us: self.day_end(asked.site, asked.closes),
            next_end_us: self.day_end(asked.site, next),
            counted_us: happened_us,
        };
        let mut done = CountDone {
            counted: Vec::new(),
            pool: None,
        };
        let (mut all, mut rows) = (Vec::new(), Vec::new());
        for (i, counted) in asked.counted.iter().enumerate() {
            let field = format!("counted[{i}].part");
            let named = self.named(&field, counted.part).await?;
            self.same_site(&field, &named, asked.site)?;
            named.may_close(&closed, Some(counted.weight.weight), &field)?;
            let found = Found {
                part: named.part.id,
                weight: counted.weight.weight,
            };
            if done.counted.iter().any(|before| before.part == found.part) {
                return Err(DeskError::malformed(field, "a count names a part once"));
            }
            let n = i64::try_from(i + 1).map_err(|_| DeskError::Internal)?;
            rows.push(counted_row(n, found));
            done.counted.push(found);
            all.push(named);
        }
        if let Some(pool) = &asked.pool {
            let (making, from) = self.pool_of(&asked, pool, &settings).await?;
            for (i, named) in from.iter().enumerate() {
                named.may_close(&closed, None, &format!("pool.parts[{i}]"))?;
            }
            let again = from.iter().any(|named| {
                done.counted
                    .iter()
                    .any(|before| before.part == named.part.id)
            });
            if again {
                return Err(DeskError::malformed(
                    "pool.parts",
                    "a part is counted alone or in a bin, not both",
                ));
            }
            rows.extend(making::rows(&making, &from, asked.site, happened_us));
            let n = i64::try_from(asked.counted.len() + 1).map_err(|_| DeskError::Internal)?;
            rows.push(Row::new(
                &COUNTED,
                [
                    Cell::Own,
                    n.into(),
                    Cell::Own,
                    1.into(),
                    1.into(),
                    pool.weight.weight.units().into(),
                ],
            ));
            done.pool = Some(PoolDone {
                making,
                weight: pool.weight.weight,
            });
            all.extend(from);
        }
        let (site, day) = (asked.site, asked.closes);
        Ok(Plan {
            site,
            day,
            ..self.on_stock(&all, happened_us, asked, done, rows)?
        })
    }

    /// A lot with its parts and what became of them.
    ///
    /// # Errors
    /// No such lot.
    pub async fn lot(&self, caller: &Caller, code: LotCode) -> Result<LotFound, DeskError> {
        caller.may("lot")?;
        self.at_lot(caller, code)?;
        let mut tx = self.read().await?;
        let lot = stock::lot(&mut tx, code)
            .await?
            .ok_or_else(|| caller.not_found("lot", code.to_string()))?;
        let now_us = self.now_us().await?;
        let (_, settings) = self.office().settings_at(lot.site, now_us);
        let mut events = Vec::with_capacity(lot.events.len());
        for event in &lot.events {
            use StockEvent::{Count, In, Out};
            let weight = match event.event {
                In(weight) | Count(weight) => weight,
                Out { weight, .. } => Weight::from_units(-weight.units()),
            };
            let became = match event.what {
                stock::What::Used => stock::lots_under(&mut tx, event.entry).await?,
                _ => Vec::new(),
            };
            let receiver = match event.what {
                stock::What::Went(_) => stock::receiver_of(&mut tx, event.entry).await?,
                _ => String::new(),
            };
            let note = match event.what {
                stock::What::Went(Outlet::Discard) => self.whose_loss(&mut tx, event.entry).await?,
                _ => String::new(),
            };
            let making = match event.what {
                stock::What::Used | stock::What::Made => {
                    stock::kind_of_making(&mut tx, event.entry).await?
                }
                _ => None,
            };
            events.push(LotEvent {
                entry: event.entry,
                happened_us: event.happened_us,
                part: event.part,
                what: event.what.word(),
                weight,
                became,
                receiver,
                making: making.and_then(MakingKind::from_number),
                difference: None,
                note,
            });
        }
        for again in stock::reweighs(&mut tx, code).await? {
            let units = again.weight.units() - again.booked.units();
            events.push(LotEvent {
                entry: again.entry,
                happened_us: again.happened_us,
                part: again.part,
                what: "weighed again",
                weight: again.weight,
                became: Vec::new(),
                receiver: String::new(),
                making: None,
                difference: Some(Weight::from_units(units)),
                note: again.note,
            });
        }
        events.sort_by_key(|event| (event.happened_us, event.entry));
        let sources = if lot.making == 0 {
            Vec::new()
        } else {
            stock::sources_of(&mut tx, lot.entry).await?
        };
        let part = |part: &Part| LotPart {
            n: part.id.n,
            key: part.key.clone(),
            left: standing(&lot.steps(part.id.n), &settings).left,
        };
        let mut parts: Vec<LotPart> = lot.parts.iter().map(part).collect();
        if caller.role.is_own_only() {
            // A kitchen sees what of the lot came to it, and nothing of the rest.
            events.retain(|event| event.receiver == caller.party);
            if events.is_empty() {
                return Err(DeskError::Denied);
            }
            parts.clear();
        }
        Ok(LotFound {
            code,
            site: lot.site,
            species: lot.species.clone(),
            presentation: lot.presentation,
            supplier: lot.supplier.clone(),
            entry: lot.entry,
            made_by: MakingKind::from_number(lot.making),
            sources,
            ticket: (lot.making == 0).then_some(lot.ticket),
            voided: lot.voided,
            parts,
            events,
        })
    }

    /// Says of fish that was thrown out where it is the buyer's loss.
    async fn whose_loss(&self, tx: &mut books::Tx, entry: i64) -> Result<String, DeskError> {
        let entry = entries::get(tx, entry).await?;
        let Some(entry) = entry.filter(|entry| entry.kind == "movement") else {
            return Ok(String::new());
        };
        let (_, moved): (MovementAsked, Moved) = entry.read()?;
        let lost = moved.buyers_loss.map(|_| "buyer's loss".to_owned());
        Ok(lost.unwrap_or_default())
    }

    /// The part somebody names. Where the number is left out the lot has one
    /// open part, or it is an error (1.2).
    async fn named(&self, field: &str, asked: PartRef) -> Result<Named, DeskError> {
        let mut tx = self.read().await?;
        let lot = stock::lot(&mut tx, asked.lot).await?;
        drop(tx);
        let lot = lot.ok_or_else(|| {
            DeskError::unknown(format!("{field}.lot_code"), "lot", &asked.lot.to_string())
        })?;
        if lot.voided {
            return Err(DeskError::precondition(
                "TICKET_VOIDED",
                format!("the ticket of lot {} was voided", lot.code),
            ));
        }
        let part = match asked.part {
            Some(n) => lot.part(n).cloned().ok_or_else(|| {
                let part = format!("{}/{n}", lot.code);
                DeskError::unknown(format!("{field}.part"), "part", &part)
            })?,
            None => {
                let now_us = self.now_us().await?;
                let (_, settings) = self.office().settings_at(lot.site, now_us);
                let open: Vec<&Part> = lot
                    .parts
                    .iter()
                    .filter(|part| !standing(&lot.steps(part.id.n), &settings).finished)
                    .collect();
                match open.as_slice() {
                    [one] => (*one).clone(),
                    several => {
                        return Err(DeskError::Malformed {
                            field: format!("{field}.part"),
                            reason: "PART_NOT_NAMED",
                            rule: format!(
                                "lot {} has {} open parts: name one",
                                lot.code,
                                several.len()
                            ),
                        });
                    }
                }
            }
        };
        Ok(Named { lot, part })
    }

    fn same_site(&self, field: &str, named: &Named, site: i64) -> Result<(), DeskError> {
        if named.site() == site {
            Ok(())
        } else {
            Err(DeskError::malformed(
                field,
                format!("this lot is of site {}", named.site()),
            ))
        }
    }

    /// When it happened, and the settings in force then.
    pub(crate) async fn when(
        &self,
        site: i64,
        asked_us: Option<i64>,
    ) -> Result<(i64, Settings), DeskError> {
        let now_us = self.known_site("site", site).await?;
        let happened_us = asked_us.unwrap_or(now_us);
        if happened_us > now_us.saturating_add(SKEW_US) {
            return Err(DeskError::malformed("happened_at", "lies in the future"));
        }
        if happened_us < now_us.saturating_sub(OLDEST_US) {
            return Err(DeskError::malformed(
                "happened_at",
                "lies more than 31 days back",
            ));
        }
        Ok((happened_us, self.office().settings_at(site, happened_us).1))
    }

    pub(crate) fn currency(&self, site: i64) -> Result<rules::money::Currency, DeskError> {
        let office = self.office();
        office
            .sites
            .get(&site)
            .map(|site| site.currency)
            .ok_or(DeskError::Internal)
    }

    /// The share of a part's pay that goes with a weight of it.
    fn share(&self, named: &Named, weight: Weight) -> Result<Money, DeskError> {
        let PayLeft {
            minor,
            weight: paid,
            ..
        } = named.lot.pay_left(named.part.id.n);
        let all = Money::new(minor, self.currency(named.site())?);
        // Made fish, and fish brought back, bear no pay.
        Ok(hold_share(all, paid, weight).unwrap_or(Money::zero(all.currency())))
    }

    /// The pay taken back when held fish is thrown out: all of it with the last of
    /// the fish, none with fish that a customer brought back.
    fn unpaid(
        &self,
        named: &Named,
        taken: &Taken,
        settings: &Settings,
    ) -> Result<Money, DeskError> {
        let left = named.lot.pay_left(named.part.id.n);
        if taken.emptied || taken.weight.weight >= named.left(settings) {
            return Ok(Money::new(left.minor.max(0), self.currency(named.site())?));
        }
        let weight = taken.weight.weight.units() - left.returned.units();
        self.share(named, Weight::from_units(weight.max(0)))
    }

    /// Fish that came in while the machine's clock was ahead goes out now, though the
    /// clock shows an instant before it came: it happened as the fish came in.
    fn not_before_a_clock_set_back(&self, named: &[Named], happened_us: i64) -> i64 {
        let Clock::Machine(read) = &self.clock else {
            return happened_us;
        };
        let now_us = read();
        let ahead = named.iter().filter_map(Named::came_in_us);
        let ahead = ahead.filter(|came_in_us| *came_in_us > now_us).max();
        ahead.map_or(happened_us, |came_in_us| came_in_us.max(happened_us))
    }

    /// The plan of a deed about parts of one site.
    fn on_stock<A, O>(
        &self,
        named: &[Named],
        happened_us: i64,
        asked: A,
        outcome: O,
        rows: Vec<Row>,
    ) -> Result<Plan<A, O>, DeskError> {
        let happened_us = self.not_before_a_clock_set_back(named, happened_us);
        if let Some(early) = named.iter().find(|named| named.is_before(happened_us)) {
            return Err(DeskError::Malformed {
                field: "happened_at".to_owned(),
                reason: "BEFORE_IT_CAME_IN",
                rule: format!("lies before lot {} came in", early.lot.code),
            });
        }
        let site = named.first().map_or(0, Named::site);
        let supplier = named.first().map(|named| named.lot.supplier.clone());
        let mut must_hold: Vec<Condition> = Vec::new();
        for condition in named.iter().flat_map(Named::must_hold) {
            if !must_hold.contains(&condition) {
                must_hold.push(condition);
            }
        }
        Ok(Plan {
            site,
            day: self.day_at(site, happened_us),
            party: supplier.unwrap_or_default(),
            happened_us,
            must_hold,
            bumps: Vec::new(),
            asked,
            outcome,
            rows,
        })
    }
}

/// A hold for area or cold is released with one of the site's listed reasons.
fn may_release(cause: HoldCause, reason: &str, settings: &Settings) -> Result<(), DeskError> {
    if cause == HoldCause::Other || settings.receiving.may_release_with(reason) {
        return Ok(());
    }
    Err(DeskError::Precondition {
        reason: "REASON_NOT_LISTED",
        rule: format!(
            "a hold for {} is released with one of the site's reasons: {}",
            cause.word(),
            settings.receiving.release_reasons.join("; ")
        ),
        field: "reason".to_owned(),
    })
}

/// Refuses a party that is not on file as what it is named for.
pub(crate) fn has_role(
    field: &str,
    party: &rules::office::Party,
    roles: &[PartyRole],
) -> Result<(), DeskError> {
    receiving::has_role(party, roles).map_err(|wrong| DeskError::Precondition {
        reason: "WRONG_ROLE",
        rule: wrong.to_string(),
        field: field.to_owned(),
    })
}

/// What a hold took.
struct HoldFound {
    cause: HoldCause,
    from: Option<PartId>,
    held: PartId,
    weight: Weight,
    pay: Money,
    /// Of its line's pay, what was given back before the ticket was written again.
    before: Option<Money>,
}

fn of_part(id: PartId) -> PartRef {
    PartRef {
        lot: id.lot,
        part: Some(id.n),
    }
}

fn shift_row(kind: &'static str, from: PartId, to: PartId, weight: Weight, pay: Money) -> Row {
    Row::new(
        &SHIFT,
        [
            Cell::Own,
            1.into(),
            kind.into(),
            from.lot.number().into(),
            from.lot.place().into(),
            from.n.into(),
            to.n.into(),
            weight.units().into(),
            pay.minor().into(),
        ],
    )
}

fn counted_row(n: i64, found: Found) -> Row {
    let PartId { lot, n: part } = found.part;
    Row::new(
        &COUNTED,
        [
            Cell::Own,
            n.into(),
            lot.number().into(),
            lot.place().into(),
            part.into(),
            found.weight.units().into(),
        ],
    )
}
