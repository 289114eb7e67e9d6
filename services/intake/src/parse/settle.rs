//! Settlements, advances, charges, drawer counts and disputes, parsed.

use proto::v1;
use rules::dispute::{AnswerAsked, DisputeAsked};
use rules::money::{Currency, Money};
use rules::settlement::{
    AdvanceAsked, ChargeAsked, DrawerAsked, Method, Payment, SettleAsked, TakeBackAsked,
};

use super::{
    Asked, At as _, Bad, code, count, day, each, entry_id, given, instant_or_none, money,
    money_from_zero, name, on_file, request_id, said, text,
};

/// Most tickets or payments of one settlement.
const MOST_ROWS: usize = 500;
/// Most lines a ticket is looked through for.
const LAST_LINE: i32 = 100_000;
/// Largest order of a charge.
const LAST_ORDER: i32 = 1_000_000;

/// A settlement; `currency` is the site's, where it is on file.
pub(crate) fn settle(
    request: v1::SettleRequest,
    currency: Option<Currency>,
) -> Result<Asked<SettleAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = super::site(request.site)?;
    let currency = on_file(site, currency)?;
    let payments = each(request.payments, MOST_ROWS, |row| payment(row, currency));
    let what = SettleAsked {
        payments: payments.at("payments")?,
        note: text(request.note).at("note")?,
        happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        ..scope(site, request.payee, request.scope)?
    };
    Ok(Asked { request_id, what })
}

/// A settlement that is only looked at.
pub(crate) fn preview(request: v1::PreviewSettlementRequest) -> Result<SettleAsked, Bad> {
    scope(super::site(request.site)?, request.payee, request.scope)
}

fn scope(site: i64, payee: String, scope: Option<v1::SettlementScope>) -> Result<SettleAsked, Bad> {
    let payee = code(payee).at("payee")?;
    let scope = scope.unwrap_or_default();
    if !scope.tickets.is_empty() && (scope.from.is_some() || scope.to.is_some()) {
        return Err(Bad::rule(
            "names tickets, so it takes no days: give one or the other",
        ))
        .at("scope");
    }
    let tickets = each(scope.tickets, MOST_ROWS, |id| entry_id(&id));
    let tickets = tickets.at("scope.tickets")?;
    for (i, ticket) in tickets.iter().enumerate() {
        if tickets.iter().take(i).any(|before| before == ticket) {
            return Err(Bad::rule("names a ticket twice")).at(&format!("scope.tickets[{i}]"));
        }
    }
    let from = scope.from.map(day).transpose().at("scope.from")?;
    let to = scope.to.map(day).transpose().at("scope.to")?;
    if let (Some(from), Some(to)) = (from, to)
        && to <= from
    {
        return Err(Bad::rule(
            "must be after from: the last day asked for is the one before it",
        ))
        .at("scope.to");
    }
    Ok(SettleAsked {
        site,
        payee,
        tickets,
        from,
        to,
        payments: Vec::new(),
        note: String::new(),
        happened_us: None,
    })
}

fn payment(row: v1::Payment, currency: Currency) -> Result<Payment, Bad> {
    let method: Method = said(row.method).at("method")?;
    Ok(Payment {
        method,
        amount: above_zero(row.amount, currency).at("amount")?,
        reference: text(row.reference).at("reference")?,
    })
}

fn above_zero(amount: Option<v1::Money>, currency: Currency) -> Result<Money, Bad> {
    let amount = money(&given(amount)?, currency)?;
    if amount.minor() <= 0 {
        return Err(Bad::rule("must be above zero")).at("amount_minor");
    }
    Ok(amount)
}

/// An advance.
pub(crate) fn advance(
    request: v1::RecordAdvanceRequest,
    currency: Option<Currency>,
) -> Result<Asked<AdvanceAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = super::site(request.site)?;
    let currency = on_file(site, currency)?;
    Ok(Asked {
        request_id,
        what: AdvanceAsked {
            site,
            payee: code(request.payee).at("payee")?,
            payment: given(request.payment)
                .and_then(|row| payment(row, currency))
                .at("payment")?,
            reason: name(request.reason).at("reason")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// A charge.
pub(crate) fn charge(
    request: v1::RecordChargeRequest,
    currency: Option<Currency>,
) -> Result<Asked<ChargeAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = super::site(request.site)?;
    let currency = on_file(site, currency)?;
    Ok(Asked {
        request_id,
        what: ChargeAsked {
            site,
            payee: code(request.payee).at("payee")?,
            name: name(request.name).at("name")?,
            amount: above_zero(request.amount, currency).at("amount")?,
            order: count(request.order, 0, LAST_ORDER).at("order")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// A count of a drawer.
pub(crate) fn drawer(
    request: v1::RecordDrawerCountRequest,
    currency: Option<Currency>,
) -> Result<Asked<DrawerAsked>, Bad> {
    let request_id = request_id(&request.request_id)?;
    let site = super::site(request.site)?;
    let currency = on_file(site, currency)?;
    let amount =
        |amount: Option<v1::Money>| given(amount).and_then(|m| money_from_zero(&m, currency));
    Ok(Asked {
        request_id,
        what: DrawerAsked {
            site,
            day: given(request.day).and_then(day).at("day")?,
            opening: amount(request.opening).at("opening")?,
            counted: amount(request.counted).at("counted")?,
            note: text(request.note).at("note")?,
            happened_us: instant_or_none(request.happened_at).at("happened_at")?,
        },
    })
}

/// A dispute.
pub(crate) fn dispute(request: v1::DisputeLineRequest) -> Result<Asked<DisputeAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: DisputeAsked {
            ticket: entry_id(&request.ticket).at("ticket")?,
            line: count(request.line, 0, LAST_LINE).at("line")?,
            text: name(request.text).at("text")?,
        },
    })
}

/// An advance or a charge taken back.
pub(crate) fn take_back(request: v1::TakeBackRequest) -> Result<Asked<TakeBackAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: TakeBackAsked {
            entry: entry_id(&request.entry).at("entry")?,
            reason: name(request.reason).at("reason")?,
        },
    })
}

/// The answer to a dispute.
pub(crate) fn answer(request: v1::AnswerDisputeRequest) -> Result<Asked<AnswerAsked>, Bad> {
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: AnswerAsked {
            dispute: entry_id(&request.dispute).at("dispute")?,
            answer: name(request.answer).at("answer")?,
        },
    })
}

#[cfg(test)]
mod tests;
