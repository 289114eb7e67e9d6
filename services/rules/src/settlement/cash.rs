//! Which payments count for the year's cash total of a payee.
//!
//! Cash paid for fish bought for resale is reportable in the United States when
//! it reaches 600.00 dollars to one person in a calendar year (26 USC 6050R), with
//! the date and amount of each payment. Cash there is currency, a cashier's check,
//! a bank draft, a traveler's check or a money order, and is not a personal or
//! business check. Payments count by the day they were made. This adds up; it is
//! no tax advice.

use chrono::NaiveDate;

use crate::money::{BadSum, Money};

/// The form in which money is handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Method {
    /// Notes and coin.
    Currency,
    /// A bank's own check.
    CashiersCheck,
    /// A bank's draft on another.
    BankDraft,
    /// A traveler's check.
    TravelersCheck,
    /// A money order.
    MoneyOrder,
    /// A person's check.
    PersonalCheck,
    /// A business's check.
    BusinessCheck,
    /// From account to account.
    Transfer,
}

impl Method {
    /// Every form.
    pub const ALL: [Method; 8] = [
        Method::Currency,
        Method::CashiersCheck,
        Method::BankDraft,
        Method::TravelersCheck,
        Method::MoneyOrder,
        Method::PersonalCheck,
        Method::BusinessCheck,
        Method::Transfer,
    ];

    /// The trade's word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Method::Currency => "currency",
            Method::CashiersCheck => "cashier's check",
            Method::BankDraft => "bank draft",
            Method::TravelersCheck => "traveler's check",
            Method::MoneyOrder => "money order",
            Method::PersonalCheck => "personal check",
            Method::BusinessCheck => "business check",
            Method::Transfer => "transfer",
        }
    }

    /// The form a word stands for.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Method> {
        Method::ALL.into_iter().find(|method| method.word() == word)
    }

    /// Whether it counts for the year's cash total.
    #[must_use]
    pub const fn counts(self) -> bool {
        match self {
            Method::Currency
            | Method::CashiersCheck
            | Method::BankDraft
            | Method::TravelersCheck
            | Method::MoneyOrder => true,
            Method::PersonalCheck | Method::BusinessCheck | Method::Transfer => false,
        }
    }

    /// Whether its number is asked for.
    #[must_use]
    pub const fn wants_reference(self) -> bool {
        !matches!(self, Method::Currency)
    }
}

/// The reportable amount, in hundredths of a dollar (26 USC 6050R(a)).
pub const REPORTABLE_MINOR: i64 = 60_000;

/// A payment of the year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YearPayment {
    /// Entry that recorded it.
    pub entry: i64,
    /// Day it was made, by the calendar of its site.
    pub paid_on: NaiveDate,
    /// Its site.
    pub site: i64,
    /// In what form.
    pub method: Method,
    /// Number of the check or transfer.
    pub reference: String,
    /// How much.
    pub amount: Money,
}

/// A payment with what it made of the year's total.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counted {
    /// The payment.
    pub payment: YearPayment,
    /// It counts as cash.
    pub counts: bool,
    /// Cash of the year up to and with it.
    pub running: Money,
}

/// What one buyer paid one payee in a calendar year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CashYear {
    /// By day, then entry.
    pub payments: Vec<Counted>,
    /// Cash of the year.
    pub total: Money,
    /// Day on which it became reportable; absent while it is not, or where the
    /// money is not the United States dollar.
    pub reached_on: Option<NaiveDate>,
}

/// Adds up the payments of a year, all in the currency of `zero`.
///
/// # Errors
/// Two currencies in one sum, or one too large.
pub fn year(mut payments: Vec<YearPayment>, zero: Money) -> Result<CashYear, BadSum> {
    payments.sort_by_key(|payment| (payment.paid_on, payment.entry));
    let dollars = zero.currency().code() == "USD";
    let (mut total, mut reached_on) = (zero, None);
    let mut rows = Vec::with_capacity(payments.len());
    for payment in payments {
        let counts = payment.method.counts();
        if counts {
            total = total.checked_add(payment.amount)?;
        }
        if dollars && reached_on.is_none() && total.minor() >= REPORTABLE_MINOR {
            reached_on = Some(payment.paid_on);
        }
        rows.push(Counted {
            payment,
            counts,
            running: total,
        });
    }
    Ok(CashYear {
        payments: rows,
        total,
        reached_on,
    })
}
