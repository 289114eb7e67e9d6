//! What a landing report says of a lot: the weight bought of it, over all its
//! lines.

use crate::money::{Money, UnitPrice};
use crate::ticket::{Pieces, Ticket};
use crate::weight::Weight;

/// What was bought of a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bought {
    /// Paid weight.
    pub weight: Weight,
    /// How many fish: not counted where any was not, estimated where any was.
    pub pieces: Pieces,
    /// Prices of its lines, each once, in the order of the lines.
    pub prices: Vec<UnitPrice>,
    /// Amount of its lines, before adjustments of the ticket.
    pub amount: Money,
}

/// What was bought of the lot at position `n`, from 1; nothing where none of it
/// was.
#[must_use]
pub fn bought(ticket: &Ticket, n: i64) -> Option<Bought> {
    let mut lines = ticket.lines.iter().filter(|line| line.lot == n);
    let first = lines.next()?;
    let mut sum = Bought {
        weight: first.net,
        pieces: first.pieces,
        prices: vec![first.price],
        amount: first.amount,
    };
    for line in lines {
        sum.weight = [sum.weight, line.net].into_iter().sum();
        sum.pieces = sum.pieces.together(line.pieces);
        if !sum.prices.contains(&line.price) {
            sum.prices.push(line.price);
        }
        let minor = sum.amount.minor().saturating_add(line.amount.minor());
        sum.amount = Money::new(minor, sum.amount.currency());
    }
    Some(sum)
}
