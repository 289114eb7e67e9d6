//! Settlements, the year's cash, the drawer and disputes.

use desk::{CashFound, DisputeFound, DrawerCount, DrawerDay, PayFollowed};
use proto::v1;
use rules::ids::EntryId;
use rules::money::Money;
use rules::settlement::cash::Counted;
use rules::settlement::{Deducted, DrawerAsked, DrawerFound, Due, Payment, SettleAsked, Settled};

use super::{date, int32, money, timestamp};
use crate::codes::Coded as _;

/// A settlement; one that is only looked at has no payments.
pub(crate) fn settlement(asked: &SettleAsked, settled: &Settled) -> v1::Settlement {
    v1::Settlement {
        site: int32(asked.site),
        payee: asked.payee.clone(),
        items: settled
            .items
            .iter()
            .map(|item| v1::SettlementItem {
                entry_id: item.entry.to_string(),
                what: item.what.clone(),
                landing: item.ticket.to_string(),
                amount: Some(money(item.amount)),
            })
            .collect(),
        brought_forward: Some(money(settled.brought)),
        payable: Some(money(settled.payable)),
        deductions: settled.deductions.iter().map(deducted).collect(),
        deducted: Some(money(settled.deducted)),
        paid: Some(money(settled.paid)),
        carried_forward: Some(money(settled.carried)),
        payments: asked.payments.iter().map(payment).collect(),
        note: asked.note.clone(),
    }
}

fn deducted(row: &Deducted) -> v1::Deduction {
    let nothing = Money::zero(row.taken.currency());
    let carried = row.carried().map_or(nothing, |due| due.left);
    v1::Deduction {
        taken: Some(money(row.taken)),
        carried: Some(money(carried)),
        ..due(&row.due)
    }
}

/// An advance or a charge that is still to be taken off.
pub(crate) fn due(due: &Due) -> v1::Deduction {
    v1::Deduction {
        entry_id: due.entry.to_string(),
        advance: due.advance,
        name: due.name.clone(),
        order: int32(due.order),
        due: Some(money(due.left)),
        taken: None,
        carried: None,
    }
}

fn payment(payment: &Payment) -> v1::Payment {
    v1::Payment {
        method: payment.method.wire(),
        amount: Some(money(payment.amount)),
        reference: payment.reference.clone(),
    }
}

/// What a payee was paid in a year, and what it does not say.
pub(crate) fn cash_year(found: &[CashFound]) -> v1::GetCashYearResponse {
    let years = found.iter().map(|of| v1::CashYear {
        buyer: of.buyer.clone(),
        payments: of.year.payments.iter().map(cash_payment).collect(),
        total: Some(money(of.year.total)),
        reportable: of.year.reached_on.is_some(),
        reached_on: of.year.reached_on.map(date),
    });
    v1::GetCashYearResponse {
        years: years.collect(),
        remarks: vec![
            "cash is currency, cashier's checks, bank drafts, traveler's checks and money \
             orders; personal and business checks and transfers are not"
                .to_owned(),
            "in the United States 600.00 USD or more of it paid to one person in a calendar \
             year for fish bought for resale is reportable (26 USC 6050R); elsewhere other \
             rules hold"
                .to_owned(),
            "these are the payments of this book, added up; it is no tax advice".to_owned(),
        ],
    }
}

fn cash_payment(of: &Counted) -> v1::CashPayment {
    v1::CashPayment {
        entry_id: of.payment.entry.to_string(),
        paid_on: Some(date(of.payment.paid_on)),
        site: int32(of.payment.site),
        payment: Some(v1::Payment {
            method: of.payment.method.wire(),
            amount: Some(money(of.payment.amount)),
            reference: of.payment.reference.clone(),
        }),
        counts: of.counts,
        running: Some(money(of.running)),
    }
}

/// A count of a drawer against what was paid out of it.
pub(crate) fn drawer_count(
    entry: EntryId,
    asked: &DrawerAsked,
    found: &DrawerFound,
) -> v1::DrawerCount {
    v1::DrawerCount {
        entry_id: entry.to_string(),
        note: asked.note.clone(),
        opening: Some(money(asked.opening)),
        paid: Some(money(found.paid)),
        expected: Some(money(found.expected)),
        counted: Some(money(asked.counted)),
        difference: Some(money(found.difference)),
    }
}

/// A day's drawer.
pub(crate) fn drawer(day: &DrawerDay) -> v1::GetDrawerResponse {
    let counts = day.counts.iter();
    let count = |DrawerCount { booked, found }: &DrawerCount| {
        drawer_count(booked.entry, &booked.asked, found)
    };
    v1::GetDrawerResponse {
        paid: Some(money(day.paid)),
        counts: counts.map(count).collect(),
    }
}

/// A dispute with its answer.
pub(crate) fn dispute(found: &DisputeFound) -> v1::Dispute {
    let answer = found.answer.as_ref();
    v1::Dispute {
        entry_id: found.booked.entry.to_string(),
        ticket: found.booked.asked.ticket.to_string(),
        line: int32(found.booked.asked.line),
        text: found.booked.asked.text.clone(),
        recorded_at: Some(timestamp(found.booked.recorded_us)),
        amount: found.amount.map(money),
        answer_id: answer.map_or_else(String::new, |answer| answer.entry.to_string()),
        answer: answer.map_or_else(String::new, |answer| answer.asked.answer.clone()),
    }
}

/// A ticket with what became of its pay.
pub(crate) fn followed(ticket: v1::Ticket, followed: &PayFollowed) -> v1::Ticket {
    v1::Ticket {
        disputes: followed.disputes.iter().map(dispute).collect(),
        settled_by: followed
            .settled_by
            .iter()
            .map(ToString::to_string)
            .collect(),
        dispute_until: Some(timestamp(followed.windows.dispute_until_us)),
        object_until: followed.windows.object_until_us.map(timestamp),
        ..ticket
    }
}
