//! Settling with a payee: what is payable, what is taken off, what is paid.
//!
//! Payable is the open pay that is settled and whatever the last settlement left
//! below zero. Advances are taken off first, then agreed charges in their order,
//! together at most the site's share of what is payable; the last one is cut, and
//! what is not taken is carried to the next settlement. Where nothing is payable
//! nothing is taken and nothing is paid: the lack is carried instead.
//!
//! Which pay is open is the book's to say; which payments count as cash is in
//! [`cash`].

pub mod cash;

use crate::ids::DayNumber;
use crate::money::{BadSum, Money};

pub use cash::Method;

/// What is asked of a settlement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SettleAsked {
    /// Site number.
    pub site: i64,
    /// Party code.
    pub payee: String,
    /// Tickets to settle, with all that was done to them; empty is by days.
    pub tickets: Vec<i64>,
    /// First day of entering; with `to`, else all days.
    pub from: Option<DayNumber>,
    /// First day no longer in it.
    pub to: Option<DayNumber>,
    /// What is handed over.
    pub payments: Vec<Payment>,
    /// In the clerk's words.
    pub note: String,
    /// When it was handed over; absent means now.
    pub happened_us: Option<i64>,
}

/// Money handed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Payment {
    /// In what form.
    pub method: Method,
    /// How much; above zero.
    pub amount: Money,
    /// Number of the check or transfer; empty only with currency.
    pub reference: String,
}

/// Money handed over before there is pay for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AdvanceAsked {
    /// Site number.
    pub site: i64,
    /// Party code.
    pub payee: String,
    /// What is handed over.
    pub payment: Payment,
    /// Why.
    pub reason: String,
    /// When it was handed over; absent means now.
    pub happened_us: Option<i64>,
}

/// A deduction agreed with a payee: ice, fuel, gear.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChargeAsked {
    /// Site number.
    pub site: i64,
    /// Party code.
    pub payee: String,
    /// What for, as agreed.
    pub name: String,
    /// How much; above zero.
    pub amount: Money,
    /// Lower ones are taken first; equal ones as they were entered.
    pub order: i64,
    /// When it was agreed; absent means now.
    pub happened_us: Option<i64>,
}

/// Takes back an advance or a charge that should not have been entered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakeBackAsked {
    /// Entry id of the advance or charge.
    pub entry: i64,
    /// Why.
    pub reason: String,
}

/// An advance or a charge of which something is still to be taken off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// Entry that recorded it.
    pub entry: i64,
    /// Money already handed over, else a charge.
    pub advance: bool,
    /// What for.
    pub name: String,
    /// Among charges, lower ones first.
    pub order: i64,
    /// Still to be taken off.
    pub left: Money,
}

/// A deduction in a settlement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deducted {
    /// As it stood before.
    pub due: Due,
    /// Taken off now.
    pub taken: Money,
}

impl Deducted {
    /// What is carried to the next settlement; nothing where all was taken.
    #[must_use]
    pub fn carried(&self) -> Option<Due> {
        let left = self.due.left.checked_sub(self.taken).ok()?;
        (left.minor() > 0).then(|| Due {
            left,
            ..self.due.clone()
        })
    }
}

/// Open pay that a settlement takes up: what one entry did to what is owed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// The entry.
    pub entry: i64,
    /// The trade's word for it.
    pub what: String,
    /// Ticket it is about, the one first written where it was rewritten.
    pub ticket: i64,
    /// Change of what is owed.
    pub amount: Money,
}

/// How a settlement comes out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settled {
    /// The settlement before it of this payee at this site.
    pub before: Option<i64>,
    /// Open pay taken up, in the order of entering.
    pub items: Vec<Item>,
    /// What the settlement before left below zero; zero or less.
    pub brought: Money,
    /// The items and what was brought forward.
    pub payable: Money,
    /// In the order in which they were taken off.
    pub deductions: Vec<Deducted>,
    /// All that was taken off.
    pub deducted: Money,
    /// All that is paid.
    pub paid: Money,
    /// What is left below zero for the next one; zero or less.
    pub carried: Money,
    /// Earliest business day on which pay that is still open may have been entered.
    pub open_from: DayNumber,
}

/// What is taken off and paid, of what is payable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reckoned {
    /// In the order in which they are taken off.
    pub deductions: Vec<Deducted>,
    /// All that is taken off.
    pub deducted: Money,
    /// What is left to be paid.
    pub paid: Money,
    /// What is left below zero; zero or less.
    pub carried: Money,
}

/// Takes the deductions off, advances first, then charges in their order, at
/// most `most_ppm` of what is payable, rounded down to the cent.
///
/// # Errors
/// Two currencies in one sum, or one too large.
pub fn reckon(payable: Money, dues: Vec<Due>, most_ppm: i64) -> Result<Reckoned, BadSum> {
    let currency = payable.currency();
    let mut dues = dues;
    dues.sort_by_key(|due| {
        let order = if due.advance { i64::MIN } else { due.order };
        (!due.advance, order, due.entry)
    });
    let mut room = most(payable, most_ppm);
    let mut deducted = Money::zero(currency);
    let mut deductions = Vec::with_capacity(dues.len());
    for due in dues {
        let taken = Money::new(due.left.minor().min(room.minor()).max(0), currency);
        room = room.checked_sub(taken)?;
        deducted = deducted.checked_add(taken)?;
        // Mixed currencies are found here, where nothing was taken as well.
        due.left.checked_sub(taken)?;
        deductions.push(Deducted { due, taken });
    }
    Ok(Reckoned {
        deductions,
        deducted,
        paid: Money::new(payable.checked_sub(deducted)?.minor().max(0), currency),
        carried: Money::new(payable.minor().min(0), currency),
    })
}

/// The most that may be taken off: the share rounded down, so that it is never
/// more than the share; nothing where nothing is payable.
fn most(payable: Money, most_ppm: i64) -> Money {
    let product = i128::from(payable.minor().max(0)).saturating_mul(i128::from(most_ppm));
    let minor = i64::try_from(product.div_euclid(1_000_000)).unwrap_or(i64::MAX);
    Money::new(minor, payable.currency())
}

/// Why a payment cannot be taken as it stands.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PaymentRefusal {
    /// A check, a draft or a transfer without its number.
    #[error("must be given with {}: its number", .0.word())]
    NoReference(Method),
    /// The payments are not what is to be paid.
    #[error("come to {given}; what is to be paid is {due}")]
    Differ {
        /// Their sum.
        given: Money,
        /// What is to be paid.
        due: Money,
    },
}

impl Payment {
    /// Whether it names what it must.
    ///
    /// # Errors
    /// [`PaymentRefusal::NoReference`].
    pub fn check(&self) -> Result<(), PaymentRefusal> {
        if self.method.wants_reference() && self.reference.trim().is_empty() {
            return Err(PaymentRefusal::NoReference(self.method));
        }
        Ok(())
    }
}

/// Whether the payments are what is to be paid, to the cent.
///
/// # Errors
/// [`PaymentRefusal::Differ`] with both sums.
pub fn pays(payments: &[Payment], due: Money) -> Result<(), PaymentRefusal> {
    let amounts = payments.iter().map(|payment| payment.amount.minor());
    let given = amounts.fold(0_i64, i64::saturating_add);
    let given = Money::new(given, due.currency());
    let mixed = payments
        .iter()
        .any(|payment| payment.amount.currency() != due.currency());
    if mixed || given != due {
        return Err(PaymentRefusal::Differ { given, due });
    }
    Ok(())
}

/// Why a licence holds a payment.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LicenceHold {
    /// None is on file.
    #[error(
        "{0} has no licence with its last valid day on file: the payment waits until it is recorded"
    )]
    Missing(String),
    /// It was valid until an earlier day.
    #[error(
        "the licence of {0} was valid until {1}: the payment waits until a valid one is recorded"
    )]
    Expired(String, chrono::NaiveDate),
}

/// Whether a harvester's licence lets a payment go out on a day of the calendar:
/// the last valid day is in (10.3).
///
/// # Errors
/// [`LicenceHold`] with why not.
pub fn licence_lets(
    harvester: &crate::office::Party,
    on: chrono::NaiveDate,
) -> Result<(), LicenceHold> {
    match harvester.licence_expires {
        Some(last) if last < on => Err(LicenceHold::Expired(harvester.code.clone(), last)),
        Some(_) if !harvester.licence_number.trim().is_empty() => Ok(()),
        _ => Err(LicenceHold::Missing(harvester.code.clone())),
    }
}

/// What was in the drawer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerAsked {
    /// Site number.
    pub site: i64,
    /// Business day it is counted for.
    pub day: DayNumber,
    /// Currency in it as the day began.
    pub opening: Money,
    /// Currency in it when it was counted.
    pub counted: Money,
    /// In the clerk's words.
    pub note: String,
    /// When it was counted; absent means now.
    pub happened_us: Option<i64>,
}

/// A drawer's count against the book.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DrawerFound {
    /// Currency paid out on the day, by the book.
    pub paid: Money,
    /// What should be in it.
    pub expected: Money,
    /// Counted less expected: minus is missing.
    pub difference: Money,
}

/// A drawer's count against the currency paid out on its day.
///
/// # Errors
/// Two currencies in one sum, or one too large.
pub fn drawer(opening: Money, paid: Money, counted: Money) -> Result<DrawerFound, BadSum> {
    let expected = opening.checked_sub(paid)?;
    Ok(DrawerFound {
        paid,
        expected,
        difference: counted.checked_sub(expected)?,
    })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
