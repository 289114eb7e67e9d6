//! Receiving after the ticket: re-probes, and the log of a day.

use desk::Caller;
use proto::v1;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::parse::{self, Asked, At as _};

pub(crate) async fn record_reprobe(
    face: &Face,
    caller: &Caller,
    request: v1::RecordReprobeRequest,
) -> Result<v1::RecordReprobeResponse, Refusal> {
    let Asked { request_id, what } = parse::receiving::reprobe(request)?;
    let booked = face.desk.reprobe(caller, &request_id, what).await?;
    Ok(answer::receiving::reprobe(&booked))
}

pub(crate) async fn get_receiving_log(
    face: &Face,
    caller: &Caller,
    request: v1::GetReceivingLogRequest,
) -> Result<v1::GetReceivingLogResponse, Refusal> {
    let site = parse::site(request.site)?;
    let day = parse::given(request.day).and_then(parse::day).at("day")?;
    let log = face.desk.receiving_log(caller, site, day).await?;
    let unit = face.unit_of(site);
    Ok(v1::GetReceivingLogResponse {
        site: request.site,
        day: request.day,
        ..answer::receiving::log(&log, unit)
    })
}
