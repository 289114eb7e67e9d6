//! Weigh-ins and their tickets.

use desk::{Caller, TicketRange};
use proto::v1;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::page::Page;
use crate::parse::{self, Asked, At as _};

pub(crate) async fn record_weigh_in(
    face: &Face,
    caller: &Caller,
    request: v1::RecordWeighInRequest,
) -> Result<v1::RecordWeighInResponse, Refusal> {
    let money = face.money_of(caller, "weigh_in", request.site).await?;
    let Asked { request_id, what } = parse::weigh_in::weigh_in(request, money)?;
    let booked = face.desk.weigh_in(caller, &request_id, what).await?;
    let unit = face.unit_then(&booked);
    Ok(v1::RecordWeighInResponse {
        ticket: Some(answer::ticket::booked(&booked, unit)),
    })
}

pub(crate) async fn get_ticket(
    face: &Face,
    caller: &Caller,
    request: v1::GetTicketRequest,
) -> Result<v1::GetTicketResponse, Refusal> {
    let id = parse::entry_id(&request.ticket).at("ticket")?;
    let found = face.desk.ticket(caller, id).await?;
    let unit = face.unit_then(&found.booked);
    Ok(v1::GetTicketResponse {
        ticket: Some(answer::ticket::found(&found, unit)),
    })
}

pub(crate) async fn list_tickets(
    face: &Face,
    caller: &Caller,
    request: v1::ListTicketsRequest,
) -> Result<v1::ListTicketsResponse, Refusal> {
    let site = parse::site(request.site)?;
    let (from, to) = parse::days_of_a_year(request.from, request.to)?;
    let harvester = parse::code_or_none(request.harvester).at("harvester")?;
    let list = format!("tickets {site} {from} {to} {harvester}");
    let page = Page::parse(list, request.page_size, &request.page_token)?;
    let range = TicketRange {
        site,
        from,
        to,
        harvester,
        after: page.after_number()?.unwrap_or(0),
        limit: page.one_more(),
    };
    let found = face.desk.tickets(caller, range).await?;
    let (tickets, next_page_token) = page.first_of(found, |found| found.booked.entry.to_string());
    Ok(v1::ListTicketsResponse {
        tickets: tickets
            .iter()
            .map(|found| answer::ticket::found(found, face.unit_then(&found.booked)))
            .collect(),
        next_page_token,
    })
}

pub(crate) async fn void_ticket(
    face: &Face,
    caller: &Caller,
    request: v1::VoidTicketRequest,
) -> Result<v1::VoidTicketResponse, Refusal> {
    let Asked { request_id, what } = parse::weigh_in::void_ticket(request)?;
    let booked = face.desk.void_ticket(caller, &request_id, what).await?;
    Ok(v1::VoidTicketResponse {
        recorded: Some(answer::recorded(&booked)),
    })
}
