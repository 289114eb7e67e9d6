//! Documents of paying read back as they were written.

use super::*;
use crate::doc::tests::{TEXT, reads_back, usd, words};
use crate::doc::{BadDoc, Doc, Value};

fn text() -> String {
    TEXT.to_owned()
}

fn payment(method: Method) -> Payment {
    Payment {
        method,
        amount: usd(5_001),
        reference: text(),
    }
}

#[test]
fn every_word_reads_back_and_is_the_one_it_was() {
    words! {
        Method: "currency, cashier's check, bank draft, traveler's check, money order, \
                 personal check, business check, transfer";
    }
}

#[test]
fn settlements_read_back() {
    reads_back(&SettleAsked {
        site: 1,
        payee: text(),
        tickets: vec![2_031_050_200_010_000_001, 2_031_050_200_010_000_002],
        from: None,
        to: None,
        payments: vec![payment(Method::Currency), payment(Method::MoneyOrder)],
        note: text(),
        happened_us: Some(1_935_500_000_000_001),
    });
    reads_back(&SettleAsked {
        site: 1,
        payee: "ana".to_owned(),
        tickets: Vec::new(),
        from: Some(20_310_502),
        to: Some(20_310_503),
        payments: Vec::new(),
        note: String::new(),
        happened_us: None,
    });
    let due = Due {
        entry: 2_031_050_200_010_000_003,
        advance: true,
        name: text(),
        order: 3,
        left: usd(10_000),
    };
    reads_back(&Settled {
        before: Some(2_031_050_100_010_000_009),
        items: vec![Item {
            entry: 2_031_050_200_010_000_001,
            what: text(),
            ticket: 2_031_050_200_010_000_002,
            amount: usd(-1),
        }],
        brought: usd(-2_500),
        payable: usd(25_000),
        deductions: vec![Deducted {
            due,
            taken: usd(9_999),
        }],
        deducted: usd(9_999),
        paid: usd(15_001),
        carried: usd(0),
        open_from: 20_310_501,
    });
}

#[test]
fn advances_charges_and_what_takes_them_back_read_back() {
    reads_back(&AdvanceAsked {
        site: 1,
        payee: text(),
        payment: payment(Method::Transfer),
        reason: text(),
        happened_us: Some(1),
    });
    reads_back(&ChargeAsked {
        site: 1,
        payee: text(),
        name: text(),
        amount: usd(4_000),
        order: -1,
        happened_us: None,
    });
    reads_back(&TakeBackAsked {
        entry: 2_031_050_200_010_000_003,
        reason: text(),
    });
}

#[test]
fn drawers_and_disputes_read_back() {
    reads_back(&DrawerAsked {
        site: 1,
        day: 20_310_502,
        opening: usd(50_000),
        counted: usd(9_500),
        note: text(),
        happened_us: Some(7),
    });
    reads_back(&DrawerFound {
        paid: usd(40_000),
        expected: usd(10_000),
        difference: usd(-500),
    });
    reads_back(&DisputeAsked {
        ticket: 2_031_050_200_010_000_001,
        line: 2,
        text: text(),
    });
    reads_back(&DisputeOpened {
        party: text(),
        amount: usd(25_000),
    });
    reads_back(&AnswerAsked {
        dispute: 2_031_050_200_010_000_004,
        answer: text(),
    });
}
