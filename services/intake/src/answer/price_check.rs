//! A price list looked at before it is posted.

use std::collections::BTreeMap;

use desk::{ListChecked, Repriced};
use proto::v1;
use rules::money::Money;
use rules::price_list::{BandExplained, PriceList};

use super::{day, int32, money, notice, timestamp, unit_price, weight};
use crate::codes::Coded as _;

/// The whole of it.
pub(crate) fn checked(checked: &ListChecked) -> v1::CheckPriceListResponse {
    let mut divers: BTreeMap<&str, Vec<&Repriced>> = BTreeMap::new();
    for ticket in &checked.tickets {
        divers.entry(&ticket.harvester).or_default().push(ticket);
    }
    let nothing = Money::zero(checked.list.currency);
    v1::CheckPriceListResponse {
        effective_from: Some(timestamp(checked.list.effective_from_us)),
        bands: checked
            .bands
            .iter()
            .map(|row| band(row, &checked.list))
            .collect(),
        notices: checked.notices.iter().map(notice).collect(),
        from: Some(day(checked.from)),
        to: Some(day(checked.to)),
        tickets: checked.tickets.iter().map(ticket).collect(),
        divers: divers
            .into_iter()
            .map(|(harvester, tickets)| sum(harvester, nothing, tickets))
            .collect(),
        total: Some(sum("", nothing, checked.tickets.iter())),
    }
}

fn band(row: &BandExplained, list: &PriceList) -> v1::BandExplained {
    let edge = |edge| weight(edge, list.edge_unit);
    v1::BandExplained {
        presentation: row.presentation.wire(),
        grade: row.grade.as_str().to_owned(),
        not_counted: row.band.is_none(),
        name: row
            .band
            .as_ref()
            .map_or_else(String::new, |band| band.name.clone()),
        from: row.band.as_ref().map(|band| edge(band.from)),
        to: row.band.as_ref().and_then(|band| band.to).map(edge),
        price: Some(unit_price(row.price)),
        below_plate: row.below_plate,
        example: Some(edge(row.example)),
        pays: Some(money(row.pays)),
    }
}

fn ticket(row: &Repriced) -> v1::RepricedTicket {
    let (would_pay, why_not) = match &row.would_pay {
        Ok(would_pay) => (Some(money(*would_pay)), String::new()),
        Err(why_not) => (None, why_not.clone()),
    };
    v1::RepricedTicket {
        ticket: row.ticket.to_string(),
        harvester: row.harvester.clone(),
        paid: Some(money(row.paid)),
        would_pay,
        why_not,
    }
}

fn sum<'a>(
    harvester: &str,
    nothing: Money,
    tickets: impl IntoIterator<Item = &'a Repriced>,
) -> v1::RepricedSum {
    let (mut n, mut paid, mut would_pay) = (0_i64, 0_i64, 0_i64);
    for ticket in tickets {
        if let Ok(would) = &ticket.would_pay {
            n += 1;
            paid += ticket.paid.minor();
            would_pay += would.minor();
        }
    }
    let of = |minor| Some(money(Money::new(minor, nothing.currency())));
    v1::RepricedSum {
        harvester: harvester.to_owned(),
        tickets: int32(n),
        paid: of(paid),
        would_pay: of(would_pay),
        difference: of(would_pay - paid),
    }
}
