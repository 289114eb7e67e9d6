//! Amounts of money and payments as they are typed.

use proto::v1;

use crate::known::Known;
use crate::trouble::Trouble;

/// Reads an amount such as `320.00` as hundredths.
pub(crate) fn minor(text: &str) -> Result<i64, String> {
    let wrong = || "an amount is written with up to 2 places, such as 320.00".to_owned();
    let (whole, places) = text.split_once('.').unwrap_or((text, "0"));
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(places) || places.len() > 2 || whole.len() > 12 {
        return Err(wrong());
    }
    format!("{whole}{places:0<2}").parse().map_err(|_| wrong())
}

/// A payment as typed; its money is the site's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Typed {
    method: v1::PaymentMethod,
    minor: i64,
    reference: String,
}

const METHODS: [(&str, v1::PaymentMethod); 8] = [
    ("currency", v1::PaymentMethod::Currency),
    ("cashiers-check", v1::PaymentMethod::CashiersCheck),
    ("bank-draft", v1::PaymentMethod::BankDraft),
    ("travelers-check", v1::PaymentMethod::TravelersCheck),
    ("money-order", v1::PaymentMethod::MoneyOrder),
    ("personal-check", v1::PaymentMethod::PersonalCheck),
    ("business-check", v1::PaymentMethod::BusinessCheck),
    ("transfer", v1::PaymentMethod::Transfer),
];

/// Reads `METHOD=AMOUNT` or `METHOD=AMOUNT:NUMBER`.
pub(crate) fn payment(text: &str) -> Result<Typed, String> {
    let (method, rest) = text.split_once('=').ok_or_else(|| {
        "a payment is written METHOD=AMOUNT or METHOD=AMOUNT:NUMBER, such as \
         money-order=120.00:1042"
            .to_owned()
    })?;
    let known = METHODS.iter().find(|(word, _)| *word == method);
    let (_, method) = known.ok_or_else(|| {
        let words: Vec<&str> = METHODS.iter().map(|(word, _)| *word).collect();
        format!("\"{method}\" is none of {}", words.join(", "))
    })?;
    let (amount, reference) = rest.split_once(':').unwrap_or((rest, ""));
    Ok(Typed {
        method: *method,
        minor: minor(amount)?,
        reference: reference.to_owned(),
    })
}

impl Typed {
    /// As the contract has it.
    pub(crate) fn in_money_of(self, currency: &str) -> v1::Payment {
        v1::Payment {
            method: self.method.into(),
            amount: Some(of(self.minor, currency)),
            reference: self.reference,
        }
    }
}

/// An amount in a currency.
pub(crate) fn of(minor: i64, currency: &str) -> v1::Money {
    v1::Money {
        amount_minor: minor,
        currency: currency.to_owned(),
    }
}

/// The currency of a site.
pub(crate) fn currency(known: &Known, site: i32) -> Result<String, Trouble> {
    let on_file = known.sites.get(&site);
    on_file
        .map(|on_file| on_file.currency.clone())
        .ok_or_else(|| Trouble::File(format!("--site: there is no site {site}")))
}

/// `money order`, as the contract's word reads.
pub(crate) fn method(payment: &v1::Payment) -> String {
    match payment.method() {
        v1::PaymentMethod::CashiersCheck => "cashier's check".to_owned(),
        v1::PaymentMethod::TravelersCheck => "traveler's check".to_owned(),
        _ => crate::show::word!(PaymentMethod, payment.method),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_has_at_most_two_places_and_no_sign() {
        for (text, cents) in [
            ("320", Some(32_000)),
            ("320.5", Some(32_050)),
            ("320.05", Some(32_005)),
            ("0.01", Some(1)),
            ("0", Some(0)),
            ("320.005", None),
            ("-1", None),
            ("1,000", None),
            (".5", None),
            ("5.", None),
            ("", None),
            ("NaN", None),
            ("1234567890123", None),
        ] {
            assert_eq!(minor(text).ok(), cents, "{text:?}");
        }
    }

    #[test]
    fn a_payment_names_its_method_amount_and_number() {
        let typed = |method, minor, reference: &str| Typed {
            method,
            minor,
            reference: reference.to_owned(),
        };
        assert_eq!(
            payment("currency=200.00"),
            Ok(typed(v1::PaymentMethod::Currency, 20_000, ""))
        );
        assert_eq!(
            payment("money-order=120:10:42"),
            Ok(typed(v1::PaymentMethod::MoneyOrder, 12_000, "10:42"))
        );
        assert!(payment("cheque=1").is_err_and(|told| told.contains("business-check")));
        assert!(payment("currency").is_err());
        assert!(payment("currency=ten").is_err());
        for (word, method) in METHODS {
            let name = format!(
                "PAYMENT_METHOD_{}",
                word.to_ascii_uppercase().replace('-', "_")
            );
            assert_eq!(method.as_str_name(), name);
        }
    }
}
