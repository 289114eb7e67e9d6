//! What a ticket pays.
//!
//! The sum of its lines, then the adjustments in their order: per weight,
//! percent of the lines plus those, flat. A ticket never pays below 0.00 and says
//! what was cut. A payout shown without signal binds, and the difference is a
//! line of its own. Adjustments belong to what is owed now before they touch what
//! is held, so `held` is the sum of the held lines, and less only where
//! deductions leave less than that to pay: owed + held = payout, and none is
//! below zero. Whose money it is after that is the money book's.

use super::refusal::Refusal;
use super::{
    AdjustBy, Adjustment, AdjustmentKind, AdjustmentLine, Notice, NoticeKind, Ticket, WeighIn,
};
use crate::decimal;
use crate::money::Money;
use crate::weight::Weight;

/// Largest amount on a ticket, minor units: more than 35 lots of 10 t at the
/// dearest price, and small enough that a day of tickets adds up.
const LARGEST_MINOR: i64 = 10_000_000_000_000;

/// Adds the lines up, adjusts them, and parts what is owed from what is held.
pub(super) fn pay(ticket: &mut Ticket, asked: &WeighIn) -> Result<(), Refusal> {
    let nothing = Money::zero(ticket.payout.currency());
    ticket.lines_total = sum(nothing, ticket.lines.iter().map(|line| line.amount))?;
    ticket.adjustments = adjust(ticket, asked)?;
    let adjustments = ticket.adjustments.iter().map(|line| line.amount);
    ticket.payout = sum(ticket.lines_total, adjustments)?;
    if ticket.payout.minor() < 0 {
        let cut = ticket.payout.negated();
        ticket.adjustments.push(AdjustmentLine {
            name: "cut at 0.00".to_owned(),
            kind: AdjustmentKind::Settlement,
            amount: cut,
        });
        ticket.notices.push(Notice::of(
            NoticeKind::Warning,
            "payout_cut",
            format!("The adjustments are more than the lines; {cut} of them was cut, so that 0.00 is paid."),
        ));
        ticket.payout = nothing;
    }
    if let Some(shown) = asked.offline_payout {
        let worked_out = ticket.payout;
        let difference = sum(shown, [worked_out.negated()])?;
        if difference.minor() != 0 {
            ticket.adjustments.push(AdjustmentLine {
                name: "price shown offline".to_owned(),
                kind: AdjustmentKind::Price,
                amount: difference,
            });
            ticket.notices.push(Notice::of(
                NoticeKind::Warning,
                "offline_difference",
                format!("The diver was shown {shown} without signal, which binds; worked out it is {worked_out}."),
            ));
            ticket.payout = shown;
        }
    }
    let held_lines = ticket.lines.iter().filter(|line| line.held);
    let held = sum(nothing, held_lines.map(|line| line.amount))?;
    ticket.held = Money::new(held.minor().min(ticket.payout.minor()), held.currency());
    ticket.owed = sum(ticket.payout, [ticket.held.negated()])?;
    Ok(())
}

/// The adjustments in their order: per weight on every line's net; percent of
/// the lines plus those; flat. Each is rounded once, half away from zero.
fn adjust(ticket: &Ticket, asked: &WeighIn) -> Result<Vec<AdjustmentLine>, Refusal> {
    let bought: Weight = ticket.lines.iter().map(|line| line.net).sum();
    let mut lines = Vec::with_capacity(asked.adjustments.len());
    let mut write = |adjustment: &Adjustment, amount: Money| {
        lines.push(AdjustmentLine {
            name: adjustment.name.clone(),
            kind: adjustment.kind,
            amount,
        });
    };
    let mut base = ticket.lines_total;
    for adjustment in &asked.adjustments {
        if let AdjustBy::PerWeight(price) = adjustment.by {
            let amount = price.amount(bought).ok_or(Refusal::AmountTooLarge)?;
            base = sum(base, [amount])?;
            write(adjustment, amount);
        }
    }
    for adjustment in &asked.adjustments {
        if let AdjustBy::Ppm(ppm) = adjustment.by {
            // Two i64 always fit in the product.
            let product = i128::from(base.minor()).saturating_mul(i128::from(ppm));
            let minor = decimal::half_up(product, 1_000_000).ok_or(Refusal::AmountTooLarge)?;
            write(adjustment, Money::new(minor, base.currency()));
        }
    }
    for adjustment in &asked.adjustments {
        if let AdjustBy::Flat(amount) = adjustment.by {
            write(adjustment, amount);
        }
    }
    Ok(lines)
}

/// `first` and the others, none of which nor any sum of which may be too large.
fn sum(first: Money, others: impl IntoIterator<Item = Money>) -> Result<Money, Refusal> {
    let bounded = |amount: Money| {
        let fits = amount.minor().unsigned_abs() <= LARGEST_MINOR.unsigned_abs();
        fits.then_some(amount).ok_or(Refusal::AmountTooLarge)
    };
    others.into_iter().try_fold(bounded(first)?, |sum, amount| {
        let sum = sum
            .checked_add(bounded(amount)?)
            .map_err(|_| Refusal::AmountTooLarge)?;
        bounded(sum)
    })
}
