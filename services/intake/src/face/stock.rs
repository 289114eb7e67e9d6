//! What becomes of the fish.

use desk::Caller;
use proto::v1;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::parse::{self, Asked, At as _};

pub(crate) async fn hold_part(
    face: &Face,
    caller: &Caller,
    request: v1::HoldPartRequest,
) -> Result<v1::HoldPartResponse, Refusal> {
    let Asked { request_id, what } = parse::stock::hold(request)?;
    let booked = face.desk.hold(caller, &request_id, what).await?;
    Ok(answer::stock::hold(&booked, face.unit_then(&booked)))
}

pub(crate) async fn release_hold(
    face: &Face,
    caller: &Caller,
    request: v1::ReleaseHoldRequest,
) -> Result<v1::ReleaseHoldResponse, Refusal> {
    let Asked { request_id, what } = parse::stock::release(request)?;
    let booked = face.desk.release(caller, &request_id, what).await?;
    Ok(answer::stock::release(&booked, face.unit_then(&booked)))
}

pub(crate) async fn regrade_part(
    face: &Face,
    caller: &Caller,
    request: v1::RegradePartRequest,
) -> Result<v1::RegradePartResponse, Refusal> {
    let Asked { request_id, what } = parse::stock::regrade(request)?;
    let booked = face.desk.regrade(caller, &request_id, what).await?;
    Ok(answer::stock::regrade(&booked, face.unit_then(&booked)))
}

pub(crate) async fn record_movement(
    face: &Face,
    caller: &Caller,
    request: v1::RecordMovementRequest,
) -> Result<v1::RecordMovementResponse, Refusal> {
    let money = face.money_of(caller, "movement", request.site).await?;
    let Asked { request_id, what } = parse::stock::movement(request, money)?;
    let booked = face.desk.movement(caller, &request_id, what).await?;
    Ok(answer::stock::movement(&booked, face.unit_then(&booked)))
}

pub(crate) async fn record_return(
    face: &Face,
    caller: &Caller,
    request: v1::RecordReturnRequest,
) -> Result<v1::RecordReturnResponse, Refusal> {
    let Asked { request_id, what } = parse::stock::customer_return(request)?;
    let booked = face.desk.customer_return(caller, &request_id, what).await?;
    Ok(answer::stock::customer_return(
        &booked,
        face.unit_then(&booked),
    ))
}

pub(crate) async fn record_making(
    face: &Face,
    caller: &Caller,
    request: v1::RecordMakingRequest,
) -> Result<v1::RecordMakingResponse, Refusal> {
    let Asked { request_id, what } = parse::stock::making(request)?;
    let booked = face.desk.making(caller, &request_id, what).await?;
    Ok(answer::stock::making(&booked, face.unit_then(&booked)))
}

pub(crate) async fn record_count(
    face: &Face,
    caller: &Caller,
    request: v1::RecordCountRequest,
) -> Result<v1::RecordCountResponse, Refusal> {
    let Asked { request_id, what } = parse::stock::stock_count(request)?;
    let booked = face.desk.count(caller, &request_id, what).await?;
    Ok(answer::stock::count(&booked))
}

pub(crate) async fn record_reweigh(
    face: &Face,
    caller: &Caller,
    request: v1::RecordReweighRequest,
) -> Result<v1::RecordReweighResponse, Refusal> {
    let Asked { request_id, what } = parse::stock::reweigh(request)?;
    let booked = face.desk.reweigh(caller, &request_id, what).await?;
    let unit = face.unit_of(booked.entry.site());
    Ok(answer::stock::reweigh(&booked, unit))
}

pub(crate) async fn get_lot(
    face: &Face,
    caller: &Caller,
    request: v1::GetLotRequest,
) -> Result<v1::GetLotResponse, Refusal> {
    let lot = parse::lot_code(&request.lot_code).at("lot_code")?;
    let found = face.desk.lot(caller, lot).await?;
    Ok(answer::stock::lot(&found, face.unit_of(lot.site())))
}
