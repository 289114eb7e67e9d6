use chrono::NaiveDate;
use proptest::prelude::*;

use super::cash::{REPORTABLE_MINOR, YearPayment, year};
use super::*;
use crate::decimal::scaled_signed;
use crate::money::Currency;
use crate::office::Party;

fn money(text: &str) -> Money {
    Money::new(
        scaled_signed(text, 2).unwrap(),
        Currency::new("USD").unwrap(),
    )
}

fn minor(minor: i64) -> Money {
    Money::new(minor, Currency::new("USD").unwrap())
}

/// `advance 30 first` or `charge 40 ice 1`, in the order of entering.
fn dues(texts: &[&str]) -> Vec<Due> {
    (1..)
        .zip(texts)
        .map(|(entry, text)| {
            let words: Vec<&str> = text.split_whitespace().collect();
            Due {
                entry,
                advance: words[0] == "advance",
                name: words[2].to_owned(),
                order: words.get(3).map_or(0, |order| order.parse().unwrap()),
                left: money(words[1]),
            }
        })
        .collect()
}

/// "ice 40.00, fuel 180.00, gear 100.00; paid 320.00; carried gear 200.00"
fn said(payable: &str, most_ppm: i64, of: &[&str]) -> String {
    let reckoned = reckon(money(payable), dues(of), most_ppm).unwrap();
    let amount = |money: Money| crate::decimal::text(money.minor(), 2);
    let taken: Vec<String> = reckoned
        .deductions
        .iter()
        .filter(|row| row.taken.minor() != 0)
        .map(|row| format!("{} {}", row.due.name, amount(row.taken)))
        .collect();
    let mut carried: Vec<String> = reckoned
        .deductions
        .iter()
        .filter_map(Deducted::carried)
        .map(|due| format!("{} {}", due.name, amount(due.left)))
        .collect();
    if reckoned.carried.minor() != 0 {
        carried.push(amount(reckoned.carried));
    }
    format!(
        "{}; paid {}; carried {}",
        taken.join(", "),
        amount(reckoned.paid),
        carried.join(", ")
    )
}

#[test]
fn deductions_come_off_in_their_order_at_most_half_and_the_rest_is_carried() {
    let fifty = 500_000;
    let trip = ["charge 40 ice 1", "charge 180 fuel 2", "charge 300 gear 3"];
    for (payable, most_ppm, of, outcome) in [
        // 640 with ice 40, fuel 180, gear 300: the trade's own example (5.3).
        (
            "640",
            fifty,
            &trip[..],
            "ice 40.00, fuel 180.00, gear 100.00; paid 320.00; carried gear 200.00",
        ),
        // One cent below, at and above what all of it needs.
        (
            "1039.99",
            fifty,
            &trip,
            "ice 40.00, fuel 180.00, gear 299.99; paid 520.00; carried gear 0.01",
        ),
        (
            "1040.00",
            fifty,
            &trip,
            "ice 40.00, fuel 180.00, gear 300.00; paid 520.00; carried ",
        ),
        (
            "1040.01",
            fifty,
            &trip,
            "ice 40.00, fuel 180.00, gear 300.00; paid 520.01; carried ",
        ),
        // Half a cent of room is none: never more than the share.
        (
            "0.01",
            fifty,
            &["charge 5 ice 1"],
            "; paid 0.01; carried ice 5.00",
        ),
        // Lower order first, whichever was entered first; equal ones as entered.
        (
            "100",
            fifty,
            &["charge 30 gear 2", "charge 30 ice 1", "charge 30 fuel 2"],
            "ice 30.00, gear 20.00; paid 50.00; carried gear 10.00, fuel 30.00",
        ),
        // An advance comes before any charge, whatever its order says.
        (
            "100",
            fifty,
            &["charge 30 ice -5", "advance 40 first"],
            "first 40.00, ice 10.00; paid 50.00; carried ice 20.00",
        ),
        // Nothing payable: nothing is taken, nothing is paid, the lack is carried.
        ("0", fifty, &trip[..1], "; paid 0.00; carried ice 40.00"),
        (
            "-12.50",
            fifty,
            &trip[..1],
            "; paid 0.00; carried ice 40.00, -12.50",
        ),
        // The share is a setting.
        ("640", 0, &trip[..1], "; paid 640.00; carried ice 40.00"),
        (
            "520",
            1_000_000,
            &trip,
            "ice 40.00, fuel 180.00, gear 300.00; paid 0.00; carried ",
        ),
        (
            "519.99",
            1_000_000,
            &trip,
            "ice 40.00, fuel 180.00, gear 299.99; paid 0.00; carried gear 0.01",
        ),
    ] {
        assert_eq!(said(payable, most_ppm, of), outcome, "{payable} {of:?}");
    }
}

#[test]
fn two_currencies_are_never_added() {
    let euro = Money::new(100, Currency::new("EUR").unwrap());
    let mut foreign = dues(&["charge 40 ice 1"]);
    foreign[0].left = euro;
    assert!(reckon(money("640"), foreign, 500_000).is_err());
    let payment = Payment {
        method: Method::Currency,
        amount: euro,
        reference: String::new(),
    };
    assert!(pays(&[payment], money("1.00")).is_err());
}

proptest! {
    #[test]
    fn what_is_payable_is_taken_off_paid_or_carried_to_the_cent(
        payable in -100_000_i64..1_000_000,
        amounts in prop::collection::vec((1_i64..50_000, any::<bool>(), -3_i64..4), 0..8),
        ppm in 0_i64..=1_000_000,
    ) {
        let dues: Vec<Due> = (1..).zip(&amounts).map(|(entry, (left, advance, order))| Due {
            entry, advance: *advance, name: String::new(), order: *order, left: minor(*left),
        }).collect();
        let all: i64 = amounts.iter().map(|(left, ..)| left).sum();
        let reckoned = reckon(minor(payable), dues, ppm).unwrap();
        let (deducted, paid) = (reckoned.deducted.minor(), reckoned.paid.minor());
        prop_assert_eq!(deducted + paid + reckoned.carried.minor(), payable);
        prop_assert!(paid >= 0 && deducted >= 0 && reckoned.carried.minor() <= 0);
        // At most the share, compared without rounding.
        prop_assert!(i128::from(deducted) * 1_000_000 <= i128::from(payable.max(0)) * i128::from(ppm));
        let carried = reckoned.deductions.iter().filter_map(Deducted::carried);
        let carried: i64 = carried.map(|due| due.left.minor()).sum();
        prop_assert_eq!(deducted + carried, all);
    }
}

#[test]
fn payments_are_what_is_to_be_paid_to_the_cent() {
    let pay = |texts: &[&str]| -> Vec<Payment> {
        let payment = |text: &&str| Payment {
            method: Method::Currency,
            amount: money(text),
            reference: String::new(),
        };
        texts.iter().map(payment).collect()
    };
    for (payments, due, fits) in [
        (&["320.00"][..], "320.00", true),
        (&["200.00", "120.00"], "320.00", true),
        (&["319.99"], "320.00", false),
        (&["320.01"], "320.00", false),
        (&[], "320.00", false),
        (&[], "0.00", true),
        (&["0.01"], "0.00", false),
    ] {
        assert_eq!(
            pays(&pay(payments), money(due)).is_ok(),
            fits,
            "{payments:?}"
        );
    }
    let told = pays(&pay(&["319.99"]), money("320.00")).unwrap_err();
    assert_eq!(
        told.to_string(),
        "come to 319.99 USD; what is to be paid is 320.00 USD"
    );
}

#[test]
fn everything_but_currency_has_a_number() {
    for method in Method::ALL {
        let payment = |reference: &str| Payment {
            method,
            amount: money("1.00"),
            reference: reference.to_owned(),
        };
        let bare = payment(" ").check().is_ok();
        assert_eq!(bare, method == Method::Currency, "{method:?}");
        assert!(payment("1042").check().is_ok());
        assert_eq!(Method::from_word(method.word()), Some(method));
    }
    assert_eq!(Method::from_word("cheque"), None);
}

fn on(day: &str) -> NaiveDate {
    day.parse().unwrap()
}

/// `2031-05-02 currency 400.00`, as entered one after the other.
fn of_year(texts: &[&str]) -> cash::CashYear {
    let payments = (1..).zip(texts).map(|(entry, text)| {
        let (day, rest) = text.split_once(' ').unwrap();
        let (method, amount) = rest.rsplit_once(' ').unwrap();
        YearPayment {
            entry,
            paid_on: on(day),
            site: 1,
            method: Method::from_word(method).unwrap(),
            reference: String::new(),
            amount: money(amount),
        }
    });
    year(payments.collect(), money("0")).unwrap()
}

#[test]
fn six_hundred_dollars_of_cash_in_a_year_is_reportable() {
    // 600 or more to one person in a calendar year: 26 USC 6050R(a). What is cash and
    // what is not: the IRS page on reporting cash paid for fish.
    assert_eq!(REPORTABLE_MINOR, 60_000);
    for (payments, total, reached) in [
        (&["2031-05-02 currency 599.99"][..], "599.99", None),
        (
            &["2031-05-02 currency 600.00"],
            "600.00",
            Some("2031-05-02"),
        ),
        (
            &["2031-05-02 currency 600.01"],
            "600.01",
            Some("2031-05-02"),
        ),
        (
            &[
                "2031-05-02 currency 400.00",
                "2031-06-01 money order 200.00",
            ],
            "600.00",
            Some("2031-06-01"),
        ),
        (
            &[
                "2031-05-02 currency 400.00",
                "2031-06-01 business check 300.00",
            ],
            "400.00",
            None,
        ),
        (
            &[
                "2031-05-02 currency 400.00",
                "2031-06-01 personal check 300.00",
            ],
            "400.00",
            None,
        ),
        (&["2031-05-02 transfer 9000.00"], "0.00", None),
        (
            &[
                "2031-05-02 cashier's check 200.00",
                "2031-05-03 bank draft 200.00",
                "2031-05-04 traveler's check 200.00",
                "2031-05-05 currency 1.00",
            ],
            "601.00",
            Some("2031-05-04"),
        ),
        // Entered late: the day it was made decides.
        (
            &["2031-06-01 currency 500.00", "2031-05-02 currency 100.00"],
            "600.00",
            Some("2031-06-01"),
        ),
        (&[], "0.00", None),
    ] {
        let told = of_year(payments);
        assert_eq!(told.total, money(total), "{payments:?}");
        assert_eq!(told.reached_on, reached.map(on), "{payments:?}");
    }
    let told = of_year(&[
        "2031-06-01 currency 50.00",
        "2031-05-02 currency 100.00",
        "2031-05-03 transfer 70.00",
    ]);
    let running: Vec<(i64, bool)> = told
        .payments
        .iter()
        .map(|row| (row.running.minor(), row.counts))
        .collect();
    assert_eq!(running, [(10_000, true), (10_000, false), (15_000, true)]);
    // Another money is no dollar.
    let zero = Money::zero(Currency::new("EUR").unwrap());
    let payment = YearPayment {
        entry: 1,
        paid_on: on("2031-05-02"),
        site: 1,
        method: Method::Currency,
        reference: String::new(),
        amount: Money::new(90_000, zero.currency()),
    };
    assert_eq!(year(vec![payment], zero).unwrap().reached_on, None);
}

#[test]
fn an_expired_or_missing_licence_holds_the_payment() {
    let party = |number: &str, expires: Option<&str>| Party {
        code: "ana".to_owned(),
        name: "Ana".to_owned(),
        roles: Vec::new(),
        licence_number: number.to_owned(),
        licence_expires: expires.map(on),
        contact: String::new(),
    };
    let day = on("2031-05-02");
    for (number, expires, lets) in [
        ("L-1", Some("2031-05-01"), false),
        // The last valid day is in.
        ("L-1", Some("2031-05-02"), true),
        ("L-1", Some("2031-05-03"), true),
        ("L-1", None, false),
        (" ", Some("2031-05-03"), false),
        ("", None, false),
    ] {
        let told = licence_lets(&party(number, expires), day);
        assert_eq!(told.is_ok(), lets, "{number:?} {expires:?}");
    }
}

#[test]
fn a_drawer_is_counted_against_what_was_paid_out_of_it() {
    for (opening, paid, counted, difference) in [
        ("500.00", "320.00", "180.00", "0.00"),
        ("500.00", "320.00", "179.99", "-0.01"),
        ("500.00", "320.00", "200.00", "20.00"),
        // Paid more than was in it: somebody put money in.
        ("100.00", "320.00", "0.00", "220.00"),
    ] {
        let found = drawer(money(opening), money(paid), money(counted)).unwrap();
        assert_eq!(found.difference, money(difference), "{opening} {paid}");
    }
}
