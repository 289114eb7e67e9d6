//! What was done and what was refused.

use desk::Caller;
use proto::v1;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::page::Page;
use crate::parse::{self, At as _, Bad};

const MINUTE_US: i64 = 60_000_000;

pub(crate) async fn list_entries(
    face: &Face,
    caller: &Caller,
    request: v1::ListEntriesRequest,
) -> Result<v1::ListEntriesResponse, Refusal> {
    let site = match request.site {
        0 => 0,
        number => parse::site(number)?,
    };
    let day = parse::given(request.day).and_then(parse::day).at("day")?;
    let list = format!("entries {site} {day}");
    let page = Page::parse(list, request.page_size, &request.page_token)?;
    let after = page.after_number()?.unwrap_or(0);
    let found = face
        .desk
        .entries(caller, site, day, after, page.one_more())
        .await?;
    let (entries, next_page_token) = page.first_of(found, |(entry, _)| entry.id.to_string());
    Ok(v1::ListEntriesResponse {
        entries: entries
            .into_iter()
            .map(|(entry, request_id)| v1::Entry {
                id: entry.id.to_string(),
                kind: entry.kind,
                actor: entry.actor,
                party: entry.party,
                happened_at: Some(answer::timestamp(entry.happened_us)),
                recorded_at: Some(answer::timestamp(entry.recorded_us)),
                request_id,
                document: entry.doc,
            })
            .collect(),
        next_page_token,
    })
}

pub(crate) async fn list_refusals(
    face: &Face,
    caller: &Caller,
    request: v1::ListRefusalsRequest,
) -> Result<v1::ListRefusalsResponse, Refusal> {
    let from_us = parse::given(request.from)
        .and_then(parse::instant)
        .at("from")?;
    let to_us = parse::given(request.to).and_then(parse::instant).at("to")?;
    if to_us <= from_us {
        return Err(Bad {
            field: "to".to_owned(),
            ..Bad::rule("must be after from")
        }
        .into());
    }
    let list = format!("refusals {from_us} {to_us}");
    let page = Page::parse(list, request.page_size, &request.page_token)?;
    // A row is named by its place: rows of past minutes do not change any more.
    let skip = page.after_number()?.unwrap_or(0);
    let found = face
        .desk
        .refusals(caller, from_us, to_us, skip, page.one_more())
        .await?;
    let numbered: Vec<_> = (skip.saturating_add(1)..).zip(found).collect();
    let (rows, next_page_token) = page.first_of(numbered, |(place, _)| place.to_string());
    Ok(v1::ListRefusalsResponse {
        refusals: rows
            .into_iter()
            .map(|(_, row)| v1::Refusal {
                minute: Some(answer::timestamp(row.minute.saturating_mul(MINUTE_US))),
                actor: row.actor,
                method: row.method,
                reason: row.reason,
                times: row.times,
                request_id: row.request,
            })
            .collect(),
        next_page_token,
    })
}
