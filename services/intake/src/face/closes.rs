//! What the nightly job found, and working through it.

use desk::{AcknowledgeAsked, Caller, FlagFound, FlagRange};
use proto::v1;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::page::Page;
use crate::parse::{self, At as _};

pub(crate) async fn get_close(
    face: &Face,
    caller: &Caller,
    request: v1::GetCloseRequest,
) -> Result<v1::GetCloseResponse, Refusal> {
    let site = parse::site(request.site)?;
    let day = parse::given(request.day).and_then(parse::day).at("day")?;
    let revision = parse::count(request.revision, 0, i32::MAX).at("revision")?;
    let found = face.desk.close(caller, site, day, revision).await?;
    Ok(v1::GetCloseResponse {
        close: Some(answer::close::close(&found, face.unit_of(site))),
        document: found.stored.doc.into_bytes(),
        sha256: found.stored.sha256,
    })
}

pub(crate) async fn list_flags(
    face: &Face,
    caller: &Caller,
    request: v1::ListFlagsRequest,
) -> Result<v1::ListFlagsResponse, Refusal> {
    let site = parse::site(request.site)?;
    let (from, to) = parse::days_or_all(request.from, request.to)?;
    let open_only = request.open_only;
    let list = format!("flags {site} {from} {to} {open_only}");
    let page = Page::parse(list, request.page_size, &request.page_token)?;
    let all = face
        .desk
        .flags(
            caller,
            FlagRange {
                site,
                from,
                to,
                open_only,
            },
        )
        .await?;
    let (flags, next_page_token) = page.cut(all, place_of);
    let unit = face.unit_of(site);
    Ok(v1::ListFlagsResponse {
        flags: flags
            .iter()
            .map(|flag| answer::close::flag(flag, unit))
            .collect(),
        next_page_token,
    })
}

/// A key that orders flags as they are listed: by day, kind and subject.
fn place_of(flag: &FlagFound) -> String {
    let of = &flag.stored;
    format!(
        "{:08}\0{:02}\0{}\0{}",
        of.day,
        of.kind.number(),
        of.subject,
        of.key
    )
}

pub(crate) async fn acknowledge_flag(
    face: &Face,
    caller: &Caller,
    request: v1::AcknowledgeFlagRequest,
) -> Result<v1::AcknowledgeFlagResponse, Refusal> {
    let request_id = parse::request_id(&request.request_id)?;
    let asked = AcknowledgeAsked {
        key: parse::name(request.key).at("key")?,
        reason: parse::name(request.reason).at("reason")?,
    };
    let (booked, flag) = face.desk.acknowledge(caller, &request_id, asked).await?;
    let unit = face.unit_of(flag.stored.site);
    Ok(v1::AcknowledgeFlagResponse {
        recorded: Some(answer::recorded(&booked)),
        flag: Some(answer::close::flag(&flag, unit)),
    })
}
