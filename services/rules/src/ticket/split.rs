//! Whose money a ticket's pay is.
//!
//! Fixed amounts come first, then percents of the rest, which add up to 100.00. A
//! cent that no percent divides goes to the largest remainder, and of equal ones to
//! the payee that stands first (Hamilton's method of apportionment). Fixed amounts
//! stand first in what is owed; what is held is shared as the rest is. So each
//! payee's owed and held add up to their share of the payout, and all payees' to the
//! ticket's. Without payees everything is the harvester's.
//!
//! What a later hold, release or discard takes along is each payee's part of what
//! they then have: nobody's goes below zero by another's cent, and what takes all
//! takes exactly all.

use super::refusal::Refusal;
use super::{PayeeAmount, PayeeShare, Share};
use crate::money::Money;

/// All of it, ppm.
const WHOLE_PPM: i64 = 1_000_000;

/// Whether a payout can be split like that.
///
/// # Errors
/// The same payee twice, percents that are not 100.00, or more than the payout fixed.
pub(super) fn check(payees: &[PayeeShare], payout: Money) -> Result<(), Refusal> {
    let Some(last) = payees.len().checked_sub(1) else {
        return Ok(());
    };
    for (n, payee) in payees.iter().enumerate() {
        let mut earlier = payees.iter().take(n);
        if earlier.any(|other| other.party == payee.party) {
            let party = payee.party.clone();
            return Err(Refusal::PayeeTwice { payee: n, party });
        }
    }
    let ppm = payees
        .iter()
        .map(|payee| percent(payee).unwrap_or(0))
        .fold(0, i64::saturating_add);
    if ppm != WHOLE_PPM {
        let of_percents = payees.iter().rposition(|payee| percent(payee).is_some());
        return Err(Refusal::PercentsNotWhole {
            payee: of_percents.unwrap_or(last),
            any: of_percents.is_some(),
            ppm,
        });
    }
    let mut fixed = 0_i64;
    for (n, payee) in payees.iter().enumerate() {
        if let Share::Fixed(amount) = payee.share {
            fixed = fixed.saturating_add(amount.minor());
            if fixed > payout.minor() {
                return Err(Refusal::FixedBeyondPayout { payee: n, payout });
            }
        }
    }
    Ok(())
}

/// Each payee's part of what is owed and of what is held, in the order listed.
///
/// Where deeds that came later leave less than the fixed amounts, those that stand
/// first are served first. Less than nothing is shared by the percents alone.
#[must_use]
pub fn split(harvester: &str, payees: &[PayeeShare], owed: Money, held: Money) -> Vec<PayeeAmount> {
    if payees.is_empty() {
        return vec![PayeeAmount {
            party: harvester.to_owned(),
            owed,
            held,
        }];
    }
    let percents: Vec<i64> = payees.iter().map(|p| percent(p).unwrap_or(0)).collect();
    let all = owed.minor().saturating_add(held.minor());
    let (fixed, rest) = serve(payees, all);
    let totals: Vec<i64> = fixed
        .iter()
        .zip(apportion(rest, &percents))
        .map(|(fixed, share)| fixed.saturating_add(share))
        .collect();
    let (first, _) = serve(payees, owed.minor());
    let later: Vec<i64> = totals
        .iter()
        .zip(&first)
        .map(|(total, first)| total.saturating_sub(*first))
        .collect();
    let within = (0..=sum(&later)).contains(&held.minor()) && sum(&later) > 0;
    let of_held = apportion(held.minor(), if within { &later } else { &percents });
    payees
        .iter()
        .zip(totals.iter().zip(of_held))
        .map(|(payee, (total, of_held))| PayeeAmount {
            party: payee.party.clone(),
            owed: Money::new(total.saturating_sub(of_held), owed.currency()),
            held: Money::new(of_held, held.currency()),
        })
        .collect()
}

/// What each of several gives of an amount, by what each has; nothing more than it
/// has, as long as all together have as much. `as_taken` is what an earlier deed
/// took, which goes back just so where everybody still has it.
#[must_use]
pub fn taken_along(amount: i64, has: &[i64], as_taken: &[i64]) -> Vec<i64> {
    let back = as_taken.len() == has.len()
        && sum(as_taken) == amount
        && as_taken
            .iter()
            .zip(has)
            .all(|(taken, has)| (0..=(*has).max(0)).contains(taken));
    if back {
        return as_taken.to_vec();
    }
    let weights: Vec<i64> = has.iter().map(|has| (*has).max(0)).collect();
    apportion(amount, &weights)
}

const fn percent(payee: &PayeeShare) -> Option<i64> {
    match payee.share {
        Share::Ppm(ppm) => Some(ppm),
        Share::Fixed(_) => None,
    }
}

/// Fixed amounts in the order listed as far as an amount goes, and what is left of it.
fn serve(payees: &[PayeeShare], amount: i64) -> (Vec<i64>, i64) {
    let mut rest = amount;
    let fixed = payees.iter().map(|payee| match payee.share {
        Share::Ppm(_) => 0,
        Share::Fixed(fixed) => {
            let served = fixed.minor().min(rest).max(0);
            rest = rest.saturating_sub(served);
            served
        }
    });
    (fixed.collect(), rest)
}

/// Parts an amount by weights, none of them below zero: whole cents by each quota,
/// what is left over to the largest remainders, of equal ones to the first. Mirrored
/// below zero. Where nobody has any weight it all goes to the first.
fn apportion(amount: i64, weights: &[i64]) -> Vec<i64> {
    let whole = weights
        .iter()
        .fold(0_i128, |sum, w| sum.saturating_add(i128::from(*w)));
    if whole == 0 {
        let first = |n| if n == 0 { amount } else { 0 };
        return (0..weights.len()).map(first).collect();
    }
    let size = i128::from(amount.unsigned_abs());
    let quotas: Vec<(i128, i128)> = weights
        .iter()
        .map(|weight| {
            // Two i64 always fit in the product.
            let product = size.saturating_mul(i128::from(*weight));
            let floor = product.checked_div(whole).unwrap_or(0);
            (floor, product.checked_rem(whole).unwrap_or(0))
        })
        .collect();
    let given = quotas
        .iter()
        .fold(0_i128, |sum, (floor, _)| sum.saturating_add(*floor));
    let over = usize::try_from(size.saturating_sub(given)).unwrap_or(0);
    let mut order: Vec<usize> = (0..weights.len()).collect();
    // A stable sort: equal remainders stay in the order listed.
    order.sort_by_key(|n| std::cmp::Reverse(quotas.get(*n).map(|(_, rest)| *rest)));
    let lucky: Vec<usize> = order.into_iter().take(over).collect();
    quotas
        .iter()
        .enumerate()
        .map(|(n, (floor, _))| {
            let share = floor.saturating_add(i128::from(lucky.contains(&n)));
            // No share is more than the amount.
            let share = i64::try_from(share).unwrap_or(i64::MAX);
            if amount < 0 {
                share.saturating_neg()
            } else {
                share
            }
        })
        .collect()
}

fn sum(amounts: &[i64]) -> i64 {
    amounts.iter().copied().fold(0, i64::saturating_add)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
