//! Lot numbers asked ahead, the landing report, and tallies.

use desk::{Booked, Caller};
use proto::v1;
use rules::making::{Making, MakingAsked};

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::parse::{self, Asked};

pub(crate) async fn request_codes(
    face: &Face,
    caller: &Caller,
    request: v1::RequestCodesRequest,
) -> Result<v1::RequestCodesResponse, Refusal> {
    let Asked { request_id, what } = parse::codes::request_codes(request)?;
    let booked = face.desk.request_codes(caller, &request_id, what).await?;
    Ok(answer::landing::codes(&booked))
}

pub(crate) async fn list_landings(
    face: &Face,
    caller: &Caller,
    request: v1::ListLandingsRequest,
) -> Result<v1::ListLandingsResponse, Refusal> {
    let site = parse::site(request.site)?;
    let (from, to) = parse::days_of_a_year(request.from, request.to)?;
    let run = face.desk.landings(caller, site, from, to, false).await?;
    let office = face.desk.office();
    let file = answer::landing::OnFile {
        party: &|code| office.parties.get(code).cloned(),
        species: &|code| office.species.get(code).cloned(),
    };
    Ok(answer::landing::landings(&run, &file, face.unit_of(site)))
}

pub(crate) async fn list_tallies(
    face: &Face,
    caller: &Caller,
    request: v1::ListTalliesRequest,
) -> Result<v1::ListTalliesResponse, Refusal> {
    let site = parse::site(request.site)?;
    let (from, to) = parse::days_of_a_year(request.from, request.to)?;
    let run = face.desk.landings(caller, site, from, to, true).await?;
    let species = |making: &Booked<MakingAsked, Making>| {
        let first = making.outcome.inputs.first();
        first.map_or_else(String::new, |input| input.species.clone())
    };
    Ok(answer::landing::tallies(&run, &species))
}
