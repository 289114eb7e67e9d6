//! Where small fish goes.

use desk::{Booked, Caller, DeskError, PlanFound};
use proto::v1;
use rules::ids::EntryId;
use rules::outlet::plan::{Plan, PlanTaken};

use super::Face;
use crate::answer;
use crate::answer::outlet::Read;
use crate::errors::Refusal;
use crate::page::Page;
use crate::parse::{self, Asked};

impl Face {
    fn read_by(&self, site: i64, then_us: i64) -> Result<Read, DeskError> {
        let office = self.desk.office();
        let on_file = office.sites.get(&site).ok_or(DeskError::Internal)?;
        Ok(Read {
            unit: office.shown_unit_at(site, then_us),
            currency: on_file.currency,
        })
    }
}

pub(crate) async fn record_room(
    face: &Face,
    caller: &Caller,
    request: v1::RecordRoomRequest,
) -> Result<v1::RecordRoomResponse, Refusal> {
    let site = request.room.as_ref().map_or(0, |room| room.site);
    let money = face.money_of(caller, "room", site).await?;
    let Asked { request_id, what } = parse::outlet::record_room(request, money)?;
    let booked = face.desk.record_room(caller, &request_id, what).await?;
    Ok(v1::RecordRoomResponse {
        recorded: Some(answer::recorded(&booked)),
        room: Some(answer::outlet::room(&booked.outcome)),
    })
}

pub(crate) async fn list_rooms(
    face: &Face,
    caller: &Caller,
    request: v1::ListRoomsRequest,
) -> Result<v1::ListRoomsResponse, Refusal> {
    let site = parse::site(request.site)?;
    let page = Page::parse(
        format!("rooms {site}"),
        request.page_size,
        &request.page_token,
    )?;
    let all = face.desk.rooms(caller, site).await?;
    let (rooms, next_page_token) = page.cut(all, |room| room.code.clone());
    Ok(v1::ListRoomsResponse {
        rooms: rooms.iter().map(answer::outlet::room).collect(),
        next_page_token,
    })
}

pub(crate) async fn record_choice(
    face: &Face,
    caller: &Caller,
    request: v1::RecordChoiceRequest,
) -> Result<v1::RecordChoiceResponse, Refusal> {
    let Asked { request_id, what } = parse::outlet::record_choice(request)?;
    let booked = face.desk.choose_outlet(caller, &request_id, what).await?;
    let read = face.read_by(booked.asked.site, booked.recorded_us)?;
    Ok(v1::RecordChoiceResponse {
        recorded: Some(answer::recorded(&booked)),
        cost: booked.outcome.map(|cost| read.change(cost)),
    })
}

pub(crate) async fn propose_plan(
    face: &Face,
    caller: &Caller,
    request: v1::ProposePlanRequest,
) -> Result<v1::ProposePlanResponse, Refusal> {
    let money = face.money_of(caller, "propose_plan", request.site).await?;
    let asked = parse::outlet::propose(request, money)?;
    let found = face.desk.propose_plan(caller, asked).await?;
    let read = face.read_by(found.site, found.asked_us)?;
    Ok(v1::ProposePlanResponse {
        plan: Some(answer::outlet::found(&found, read)),
    })
}

pub(crate) async fn record_plan(
    face: &Face,
    caller: &Caller,
    request: v1::RecordPlanRequest,
) -> Result<v1::RecordPlanResponse, Refusal> {
    let Asked { request_id, what } = parse::outlet::take(request)?;
    let booked = face.desk.take_plan(caller, &request_id, what).await?;
    Ok(v1::RecordPlanResponse {
        recorded: Some(answer::recorded(&booked)),
        plan: Some(taken(face, booked)?),
    })
}

pub(crate) async fn get_plan(
    face: &Face,
    caller: &Caller,
    request: v1::GetPlanRequest,
) -> Result<v1::GetPlanResponse, Refusal> {
    let id = entry(parse::outlet::plan(&request)?)?;
    let booked = face.desk.plan(caller, id).await?;
    Ok(v1::GetPlanResponse {
        recorded: Some(answer::recorded(&booked)),
        plan: Some(taken(face, booked)?),
    })
}

/// A plan that was taken, read as it was then.
fn taken(face: &Face, booked: Booked<PlanTaken, Plan>) -> Result<v1::Plan, DeskError> {
    let read = face.read_by(booked.asked.site, booked.recorded_us)?;
    let found = PlanFound {
        site: booked.asked.site,
        day: booked.asked.day,
        asked_us: booked.recorded_us,
        digest: booked.asked.digest,
        plan: booked.outcome,
    };
    Ok(answer::outlet::found(&found, read))
}

pub(crate) async fn get_dispatch_note(
    face: &Face,
    caller: &Caller,
    request: v1::GetDispatchNoteRequest,
) -> Result<v1::GetDispatchNoteResponse, Refusal> {
    let id = entry(parse::outlet::movement(&request)?)?;
    let note = face.desk.dispatch_note(caller, id).await?;
    let unit = face
        .desk
        .office()
        .shown_unit_at(note.site.number, note.left_us);
    Ok(answer::outlet::note(&note, unit))
}

fn entry(id: i64) -> Result<EntryId, Refusal> {
    EntryId::new(id).ok_or_else(|| Refusal::from(DeskError::Internal))
}
