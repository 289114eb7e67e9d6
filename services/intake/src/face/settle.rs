//! Paying divers and payees, and what they say against a ticket.

use desk::Caller;
use proto::v1;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::parse::{self, Asked, At as _};

pub(crate) async fn preview_settlement(
    face: &Face,
    caller: &Caller,
    request: v1::PreviewSettlementRequest,
) -> Result<v1::PreviewSettlementResponse, Refusal> {
    let asked = parse::settle::preview(request)?;
    let settled = face.desk.preview_settlement(caller, asked.clone()).await?;
    Ok(v1::PreviewSettlementResponse {
        settlement: Some(answer::settle::settlement(&asked, &settled)),
    })
}

pub(crate) async fn settle(
    face: &Face,
    caller: &Caller,
    request: v1::SettleRequest,
) -> Result<v1::SettleResponse, Refusal> {
    let money = face.money_of(caller, "settle", request.site).await?;
    let Asked { request_id, what } = parse::settle::settle(request, money)?;
    let booked = face.desk.settle(caller, &request_id, what).await?;
    Ok(v1::SettleResponse {
        recorded: Some(answer::recorded(&booked)),
        settlement: Some(answer::settle::settlement(&booked.asked, &booked.outcome)),
    })
}

pub(crate) async fn record_advance(
    face: &Face,
    caller: &Caller,
    request: v1::RecordAdvanceRequest,
) -> Result<v1::RecordAdvanceResponse, Refusal> {
    let money = face.money_of(caller, "advance", request.site).await?;
    let Asked { request_id, what } = parse::settle::advance(request, money)?;
    let booked = face.desk.advance(caller, &request_id, what).await?;
    Ok(v1::RecordAdvanceResponse {
        recorded: Some(answer::recorded(&booked)),
    })
}

pub(crate) async fn record_charge(
    face: &Face,
    caller: &Caller,
    request: v1::RecordChargeRequest,
) -> Result<v1::RecordChargeResponse, Refusal> {
    let money = face.money_of(caller, "charge", request.site).await?;
    let Asked { request_id, what } = parse::settle::charge(request, money)?;
    let booked = face.desk.charge(caller, &request_id, what).await?;
    Ok(v1::RecordChargeResponse {
        recorded: Some(answer::recorded(&booked)),
    })
}

pub(crate) async fn get_cash_year(
    face: &Face,
    caller: &Caller,
    request: v1::GetCashYearRequest,
) -> Result<v1::GetCashYearResponse, Refusal> {
    let payee = parse::code(request.payee).at("payee")?;
    let year = parse::count(request.year, 1970, 9000).at("year")?;
    let found = face.desk.cash_year(caller, &payee, year).await?;
    Ok(answer::settle::cash_year(&found))
}

pub(crate) async fn record_drawer_count(
    face: &Face,
    caller: &Caller,
    request: v1::RecordDrawerCountRequest,
) -> Result<v1::RecordDrawerCountResponse, Refusal> {
    let money = face.money_of(caller, "drawer", request.site).await?;
    let Asked { request_id, what } = parse::settle::drawer(request, money)?;
    let booked = face.desk.record_drawer(caller, &request_id, what).await?;
    let count = answer::settle::drawer_count(booked.entry, &booked.asked, &booked.outcome);
    Ok(v1::RecordDrawerCountResponse {
        recorded: Some(answer::recorded(&booked)),
        count: Some(count),
    })
}

pub(crate) async fn get_drawer(
    face: &Face,
    caller: &Caller,
    request: v1::GetDrawerRequest,
) -> Result<v1::GetDrawerResponse, Refusal> {
    let site = parse::site(request.site)?;
    let day = parse::given(request.day).and_then(parse::day).at("day")?;
    let found = face.desk.drawer(caller, site, day).await?;
    Ok(answer::settle::drawer(&found))
}

pub(crate) async fn dispute_line(
    face: &Face,
    caller: &Caller,
    request: v1::DisputeLineRequest,
) -> Result<v1::DisputeLineResponse, Refusal> {
    let Asked { request_id, what } = parse::settle::dispute(request)?;
    let booked = face.desk.dispute(caller, &request_id, what).await?;
    Ok(v1::DisputeLineResponse {
        recorded: Some(answer::recorded(&booked)),
    })
}

pub(crate) async fn take_back(
    face: &Face,
    caller: &Caller,
    request: v1::TakeBackRequest,
) -> Result<v1::TakeBackResponse, Refusal> {
    let Asked { request_id, what } = parse::settle::take_back(request)?;
    let booked = face.desk.take_back(caller, &request_id, what).await?;
    Ok(v1::TakeBackResponse {
        recorded: Some(answer::recorded(&booked)),
    })
}

pub(crate) async fn answer_dispute(
    face: &Face,
    caller: &Caller,
    request: v1::AnswerDisputeRequest,
) -> Result<v1::AnswerDisputeResponse, Refusal> {
    let Asked { request_id, what } = parse::settle::answer(request)?;
    let booked = face.desk.answer_dispute(caller, &request_id, what).await?;
    Ok(v1::AnswerDisputeResponse {
        recorded: Some(answer::recorded(&booked)),
    })
}
