use proptest::prelude::*;

use super::*;
use crate::money::Currency;

fn usd(minor: i64) -> Money {
    Money::new(minor, Currency::new("USD").expect("three capital letters"))
}

/// `a 30 %`, `b 12.00`: a payee each.
fn payees(text: &str) -> Vec<PayeeShare> {
    text.split(", ")
        .filter(|one| !one.is_empty())
        .map(|one| {
            let mut words = one.split(' ');
            let (party, number) = (words.next().unwrap(), words.next().unwrap());
            let share = match words.next() {
                Some(_) => Share::Ppm(crate::decimal::scaled(number, 4).unwrap()),
                None => Share::Fixed(usd(crate::decimal::scaled(number, 2).unwrap())),
            };
            let party = party.to_owned();
            PayeeShare { party, share }
        })
        .collect()
}

fn cents(text: &str) -> i64 {
    crate::decimal::scaled_signed(text, 2).unwrap()
}

fn parted(shares: &str, owed: &str, held: &str) -> String {
    let parts = split("diver", &payees(shares), usd(cents(owed)), usd(cents(held)));
    let each: Vec<String> = parts
        .iter()
        .map(|part| {
            let minor = |money: Money| crate::decimal::text(money.minor(), 2);
            format!("{} {}+{}", part.party, minor(part.owed), minor(part.held))
        })
        .collect();
    each.join(", ")
}

#[test]
fn fixed_amounts_come_first_then_percents_to_the_cent() {
    #[rustfmt::skip]
    let cases = [
        // payees                        owed      held    each one's owed + held
        ("",                             "412.37", "20.00", "diver 412.37+20.00"),
        ("a 100 %",                      "412.37", "0.00",  "a 412.37+0.00"),
        // The house's own worked example: quotas 123.711, 144.3295, 144.3295; the one
        // cent left over and the other go to the two of .95.
        ("a 30 %, b 35 %, c 35 %",       "412.37", "0.00",  "a 123.71+0.00, b 144.33+0.00, c 144.33+0.00"),
        // Equal remainders: the first listed, whoever that is.
        ("a 50 %, b 50 %",               "0.01",   "0.00",  "a 0.01+0.00, b 0.00+0.00"),
        ("b 50 %, a 50 %",               "0.01",   "0.00",  "b 0.01+0.00, a 0.00+0.00"),
        ("a 33.3333 %, b 33.3333 %, c 33.3334 %", "1.00", "0.00", "a 0.33+0.00, b 0.33+0.00, c 0.34+0.00"),
        // Fixed first, wherever it stands.
        ("a 60 %, boat 50.00, b 40 %",   "100.00", "0.00",  "a 30.00+0.00, boat 50.00+0.00, b 20.00+0.00"),
        ("boat 100.00, a 100 %",         "100.00", "0.00",  "boat 100.00+0.00, a 0.00+0.00"),
        // What is owed bears the fixed amount first; held is shared as the rest is.
        ("boat 50.00, a 60 %, b 40 %",   "50.00",  "50.00", "boat 50.00+0.00, a 0.00+30.00, b 0.00+20.00"),
        ("boat 50.00, a 60 %, b 40 %",   "75.00",  "75.00", "boat 50.00+0.00, a 15.00+45.00, b 10.00+30.00"),
        // Owed reaches only part of it: 20 at once, 30 of what is held.
        ("boat 50.00, a 60 %, b 40 %",   "20.00",  "80.00", "boat 20.00+30.00, a 0.00+30.00, b 0.00+20.00"),
        ("a 50 %, b 50 %",               "0.01",   "0.01",  "a 0.00+0.01, b 0.01+0.00"),
        // Left after fish was thrown out, and below zero.
        ("boat 50.00, a 100 %",          "30.00",  "0.00",  "boat 30.00+0.00, a 0.00+0.00"),
        ("boat 50.00, a 60 %, b 40 %",   "-1.00",  "0.00",  "boat 0.00+0.00, a -0.60+0.00, b -0.40+0.00"),
        ("a 60 %, b 40 %",               "-1.00",  "3.00",  "a -0.60+1.80, b -0.40+1.20"),
    ];
    for (shares, owed, held, each) in cases {
        assert_eq!(
            parted(shares, owed, held),
            each,
            "{owed} + {held} for {shares}"
        );
    }
}

/// Hamilton's method on the United States census of 1790 with a House of 120, the bill
/// that Washington vetoed. Populations and the seats by state are from memory of
/// Balinski and Young, "Fair Representation", table 1.
#[test]
fn the_largest_remainder_gives_the_seats_of_1792() {
    let states = [
        ("Virginia", 630_560, 21),
        ("Massachusetts", 475_327, 16),
        ("Pennsylvania", 432_879, 14),
        ("North Carolina", 353_523, 12),
        ("New York", 331_589, 11),
        ("Maryland", 278_514, 9),
        ("Connecticut", 236_841, 8),
        ("South Carolina", 206_236, 7),
        ("New Jersey", 179_570, 6),
        ("New Hampshire", 141_822, 5),
        ("Vermont", 85_533, 3),
        ("Georgia", 70_835, 2),
        ("Kentucky", 68_705, 2),
        ("Rhode Island", 68_446, 2),
        ("Delaware", 55_540, 2),
    ];
    let people: Vec<i64> = states.iter().map(|(_, people, _)| *people).collect();
    assert_eq!(people.iter().sum::<i64>(), 3_615_920);
    for ((state, _, seats), got) in states.iter().zip(apportion(120, &people)) {
        assert_eq!(got, *seats, "{state}");
    }
}

#[test]
fn what_cannot_be_split_is_refused_with_the_payee() {
    #[rustfmt::skip]
    let cases = [
        ("",                              None),
        ("a 100 %",                       None),
        ("a 99.9999 %",                   Some(("PERCENTS_NOT_100", "payees[0].percent"))),
        ("a 60 %, b 40.0001 %, x 1.00",   Some(("PERCENTS_NOT_100", "payees[1].percent"))),
        ("a 60 %, b 40 %, boat 100.00",   None),
        ("a 60 %, b 40 %, boat 100.01",   Some(("FIXED_BEYOND_PAYOUT", "payees[2].fixed"))),
        ("x 60.00, a 100 %, y 40.01",     Some(("FIXED_BEYOND_PAYOUT", "payees[2].fixed"))),
        // Nobody takes the rest, even where there is none.
        ("x 60.00, y 40.00",              Some(("PERCENTS_NOT_100", "payees[1]"))),
        ("a 50 %, b 50 %, a 1.00",        Some(("PAYEE_TWICE", "payees[2].party"))),
    ];
    for (shares, refused) in cases {
        let got = check(&payees(shares), usd(10_000)).err();
        let got = got.map(|refusal| (refusal.reason(), refusal.field()));
        let got = got
            .as_ref()
            .map(|(reason, field)| (*reason, field.as_str()));
        assert_eq!(got, refused, "{shares}");
    }
}

#[test]
fn everybody_gives_of_what_they_have() {
    #[rustfmt::skip]
    type Case = (i64, &'static [i64], &'static [i64], &'static [i64]);
    let cases: [Case; 8] = [
        // amount, each has, as it was taken, each gives
        (10, &[30, 70], &[], &[3, 7]),
        (1, &[50, 50], &[], &[1, 0]),
        (1, &[0, 50], &[], &[0, 1]),
        (99, &[49, 50], &[], &[49, 50]),
        // Back as it was taken, though by what they have now it would be 2 and 1.
        (3, &[20, 10], &[1, 2], &[1, 2]),
        // Not where one no longer has it, or where it is another amount.
        (3, &[20, 1], &[1, 2], &[3, 0]),
        (2, &[20, 10], &[1, 2], &[1, 1]),
        (5, &[0, -3], &[], &[5, 0]),
    ];
    for (amount, has, as_taken, gives) in cases {
        assert_eq!(
            taken_along(amount, has, as_taken),
            gives,
            "{amount} of {has:?}"
        );
    }
}

proptest! {
    #[test]
    fn shares_add_up_and_none_is_below_zero(
        owed in 0_i64..10_000_000,
        held in 0_i64..10_000_000,
        fixed in prop::collection::vec(0_i64..2_000_000, 0..4),
        cuts in prop::collection::vec(0_i64..=WHOLE_PPM, 0..5),
        take in 0_i64..10_000_000,
    ) {
        let mut edges = cuts;
        edges.extend([0, WHOLE_PPM]);
        edges.sort_unstable();
        let percents = edges.windows(2).map(|pair| Share::Ppm(pair[1].saturating_sub(pair[0])));
        let shares = fixed.iter().map(|minor| Share::Fixed(usd(*minor))).chain(percents);
        let listed: Vec<PayeeShare> = shares
            .enumerate()
            .map(|(n, share)| PayeeShare { party: n.to_string(), share })
            .collect();
        let parts = split("diver", &listed, usd(owed), usd(held));
        let (of_owed, of_held): (Vec<i64>, Vec<i64>) =
            parts.iter().map(|part| (part.owed.minor(), part.held.minor())).unzip();
        prop_assert_eq!(of_owed.iter().sum::<i64>(), owed);
        prop_assert_eq!(of_held.iter().sum::<i64>(), held);
        prop_assert!(of_owed.iter().chain(&of_held).all(|minor| *minor >= 0));
        // Owed and held together are the split of the whole.
        let whole = split("diver", &listed, usd(owed.saturating_add(held)), usd(0));
        for (part, whole) in parts.iter().zip(&whole) {
            let both = part.owed.minor().saturating_add(part.held.minor());
            prop_assert_eq!(both, whole.owed.minor());
        }
        // A hold takes nobody below zero, and all of it takes exactly all.
        let take = take.min(owed);
        let moved = taken_along(take, &of_owed, &[]);
        prop_assert_eq!(moved.iter().sum::<i64>(), take);
        prop_assert!(moved.iter().zip(&of_owed).all(|(moved, has)| (0..=*has).contains(moved)));
        prop_assert_eq!(taken_along(held, &of_held, &[]), of_held);
    }
}
