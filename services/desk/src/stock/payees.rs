//! Whose pay goes along when fish is set aside, given back or thrown out.
//!
//! A deed takes of each payee of the ticket by what they have of it now. Where there
//! are several, that depends on all lots of the ticket, so none may change meanwhile.

use std::collections::BTreeMap;

use books::pay::{self, Account, Has, Posting};
use books::table::Cell;
use books::{Condition, stock};
use rules::ticket::split::taken_along;

use super::Named;
use crate::{Desk, DeskError};

/// The payees of the tickets that a deed touches.
#[derive(Default)]
pub(super) struct Payees {
    /// By the number their lot codes bear.
    tickets: BTreeMap<i64, Vec<Has>>,
    /// What must not change meanwhile.
    pub(super) must_hold: Vec<Condition>,
    postings: Vec<(i64, Moves, String, i64)>,
}

/// Between which accounts.
#[derive(Clone, Copy)]
pub(super) enum Moves {
    /// Owed, now held.
    Held,
    /// Held, now owed.
    Released,
    /// Held, and not to be paid.
    Unpaid,
    /// Held, now owed for fish that is the buyer's loss.
    Lost,
}

impl Payees {
    /// Moves an amount of the pay of a lot's ticket. `hold` is the one it gives back.
    pub(super) async fn take(
        &mut self,
        desk: &Desk,
        named: &Named,
        moves: Moves,
        amount: i64,
        hold: Option<i64>,
    ) -> Result<(), DeskError> {
        if amount == 0 {
            return Ok(());
        }
        let number = named.lot.code.number();
        if !self.tickets.contains_key(&number) {
            let has = self.look(desk, named).await?;
            self.tickets.insert(number, has);
        }
        let taken = match hold {
            None => Vec::new(),
            Some(hold) => pay::of_ticket(&mut desk.read().await?, number, Some(hold)).await?,
        };
        let has = self.tickets.entry(number).or_default();
        let taken_of = |party: &str| taken.iter().find(|taken| taken.party == party);
        let as_taken: Vec<i64> = has
            .iter()
            .map(|has| taken_of(&has.party).map_or(0, |taken| taken.held))
            .collect();
        let stock: Vec<i64> = has
            .iter()
            .map(|has| match moves {
                Moves::Held => has.owed,
                Moves::Released | Moves::Unpaid | Moves::Lost => has.held,
            })
            .collect();
        for (has, part) in has.iter_mut().zip(taken_along(amount, &stock, &as_taken)) {
            match moves {
                Moves::Held => (has.owed, has.held) = (has.owed - part, has.held + part),
                Moves::Released | Moves::Lost => {
                    (has.owed, has.held) = (has.owed + part, has.held - part)
                }
                Moves::Unpaid => has.held -= part,
            }
            self.postings.push((number, moves, has.party.clone(), part));
        }
        Ok(())
    }

    /// The rows of all that was moved.
    pub(super) fn rows(&self) -> Vec<books::Row> {
        let purchases = Account::site("purchases");
        let loss = Account::site("buyers_loss");
        let rows = self
            .postings
            .iter()
            .flat_map(|(number, moves, party, amount)| {
                let (owed, held) = (Account::of("owed", party), Account::of("held", party));
                let postings: Vec<Posting<'_>> = match moves {
                    Moves::Held => vec![(owed, held, *amount)],
                    Moves::Released => vec![(held, owed, *amount)],
                    Moves::Unpaid => vec![(held, purchases, *amount)],
                    // What it cost is no longer the cost of fish that was bought.
                    Moves::Lost => vec![(held, owed, *amount), (loss, purchases, *amount)],
                };
                postings
                    .into_iter()
                    .map(|posting| (Cell::Int(*number), posting))
            });
        pay::ticket_rows(rows)
    }

    /// Who has any of the pay of a lot's ticket: its harvester where nobody has.
    async fn look(&mut self, desk: &Desk, named: &Named) -> Result<Vec<Has>, DeskError> {
        let number = named.lot.code.number();
        let mut tx = desk.read().await?;
        let mut has = pay::of_ticket(&mut tx, number, None).await?;
        if has.len() > 1 {
            // The lots first: what changes after them is seen to have changed.
            for code in stock::lots_under(&mut tx, number).await? {
                let lot = stock::lot(&mut tx, code)
                    .await?
                    .ok_or(DeskError::Internal)?;
                self.must_hold.push(Condition::LotSeen {
                    number,
                    place: code.place(),
                    seen: lot.seen,
                });
            }
            has = pay::of_ticket(&mut tx, number, None).await?;
        }
        has.retain(|has| has.owed != 0 || has.held != 0);
        if has.is_empty() {
            has.push(Has {
                party: named.lot.supplier.clone(),
                owed: 0,
                held: 0,
            });
        }
        Ok(has)
    }
}
