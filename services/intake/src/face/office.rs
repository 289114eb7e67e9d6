//! Putting things on file, and listing what is there.

use desk::Caller;
use proto::v1;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::page::Page;
use crate::parse::{self, Asked, At as _};

pub(crate) async fn record_site(
    face: &Face,
    caller: &Caller,
    request: v1::RecordSiteRequest,
) -> Result<v1::RecordSiteResponse, Refusal> {
    let Asked { request_id, what } = parse::office::site(request)?;
    let booked = face.desk.record_site(caller, &request_id, what).await?;
    Ok(v1::RecordSiteResponse {
        recorded: Some(answer::recorded(&booked)),
        site: Some(answer::office::site(&booked.outcome)),
    })
}

pub(crate) async fn list_sites(
    face: &Face,
    caller: &Caller,
    request: v1::ListSitesRequest,
) -> Result<v1::ListSitesResponse, Refusal> {
    let page = Page::parse("sites", request.page_size, &request.page_token)?;
    let all = face.desk.sites(caller).await?;
    let (sites, next_page_token) = page.cut(all, |site| format!("{:04}", site.number));
    Ok(v1::ListSitesResponse {
        sites: sites.iter().map(answer::office::site).collect(),
        next_page_token,
    })
}

pub(crate) async fn record_party(
    face: &Face,
    caller: &Caller,
    request: v1::RecordPartyRequest,
) -> Result<v1::RecordPartyResponse, Refusal> {
    let Asked { request_id, what } = parse::office::party(request)?;
    let booked = face.desk.record_party(caller, &request_id, what).await?;
    Ok(v1::RecordPartyResponse {
        recorded: Some(answer::recorded(&booked)),
        party: Some(answer::office::party(&booked.outcome)),
    })
}

pub(crate) async fn list_parties(
    face: &Face,
    caller: &Caller,
    request: v1::ListPartiesRequest,
) -> Result<v1::ListPartiesResponse, Refusal> {
    let page = Page::parse("parties", request.page_size, &request.page_token)?;
    let all = face.desk.parties(caller).await?;
    let (parties, next_page_token) = page.cut(all, |party| party.code.clone());
    Ok(v1::ListPartiesResponse {
        parties: parties.iter().map(answer::office::party).collect(),
        next_page_token,
    })
}

pub(crate) async fn record_species(
    face: &Face,
    caller: &Caller,
    request: v1::RecordSpeciesRequest,
) -> Result<v1::RecordSpeciesResponse, Refusal> {
    let Asked { request_id, what } = parse::office::species_on_file(request)?;
    let booked = face.desk.record_species(caller, &request_id, what).await?;
    Ok(v1::RecordSpeciesResponse {
        recorded: Some(answer::recorded(&booked)),
        species: Some(answer::office::species(&booked.outcome)),
    })
}

pub(crate) async fn list_species(
    face: &Face,
    caller: &Caller,
    request: v1::ListSpeciesRequest,
) -> Result<v1::ListSpeciesResponse, Refusal> {
    let page = Page::parse("species", request.page_size, &request.page_token)?;
    let all = face.desk.species(caller).await?;
    let (species, next_page_token) = page.cut(all, |species| species.code.clone());
    Ok(v1::ListSpeciesResponse {
        species: species.iter().map(answer::office::species).collect(),
        next_page_token,
    })
}

pub(crate) async fn record_scale(
    face: &Face,
    caller: &Caller,
    request: v1::RecordScaleRequest,
) -> Result<v1::RecordScaleResponse, Refusal> {
    let Asked { request_id, what } = parse::office::scale(request)?;
    let booked = face.desk.record_scale(caller, &request_id, what).await?;
    Ok(v1::RecordScaleResponse {
        recorded: Some(answer::recorded(&booked)),
        scale: Some(answer::office::scale(&booked.outcome)),
    })
}

pub(crate) async fn list_scales(
    face: &Face,
    caller: &Caller,
    request: v1::ListScalesRequest,
) -> Result<v1::ListScalesResponse, Refusal> {
    let site = parse::site(request.site)?;
    let page = Page::parse(
        format!("scales {site}"),
        request.page_size,
        &request.page_token,
    )?;
    let all = face.desk.scales(caller, site).await?;
    let (scales, next_page_token) = page.cut(all, |scale| scale.code.clone());
    Ok(v1::ListScalesResponse {
        scales: scales.iter().map(answer::office::scale).collect(),
        next_page_token,
    })
}

pub(crate) async fn record_tote(
    face: &Face,
    caller: &Caller,
    request: v1::RecordToteRequest,
) -> Result<v1::RecordToteResponse, Refusal> {
    let Asked { request_id, what } = parse::office::tote(request)?;
    let booked = face.desk.record_tote(caller, &request_id, what).await?;
    Ok(v1::RecordToteResponse {
        recorded: Some(answer::recorded(&booked)),
        tote: Some(answer::office::tote(&booked.outcome)),
    })
}

pub(crate) async fn list_totes(
    face: &Face,
    caller: &Caller,
    request: v1::ListTotesRequest,
) -> Result<v1::ListTotesResponse, Refusal> {
    let site = parse::site(request.site)?;
    let page = Page::parse(
        format!("totes {site}"),
        request.page_size,
        &request.page_token,
    )?;
    let all = face.desk.totes(caller, site).await?;
    let (totes, next_page_token) = page.cut(all, |tote| tote.code.clone());
    Ok(v1::ListTotesResponse {
        totes: totes.iter().map(answer::office::tote).collect(),
        next_page_token,
    })
}

pub(crate) async fn record_device(
    face: &Face,
    caller: &Caller,
    request: v1::RecordDeviceRequest,
) -> Result<v1::RecordDeviceResponse, Refusal> {
    let Asked { request_id, what } = parse::office::device(request)?;
    let booked = face.desk.record_device(caller, &request_id, what).await?;
    Ok(v1::RecordDeviceResponse {
        recorded: Some(answer::recorded(&booked)),
        device: Some(answer::office::device(&booked.outcome)),
    })
}

pub(crate) async fn list_devices(
    face: &Face,
    caller: &Caller,
    request: v1::ListDevicesRequest,
) -> Result<v1::ListDevicesResponse, Refusal> {
    let site = parse::site(request.site)?;
    let page = Page::parse(
        format!("devices {site}"),
        request.page_size,
        &request.page_token,
    )?;
    let all = face.desk.devices(caller, site).await?;
    let (devices, next_page_token) = page.cut(all, |device| device.code.clone());
    Ok(v1::ListDevicesResponse {
        devices: devices.iter().map(answer::office::device).collect(),
        next_page_token,
    })
}

pub(crate) async fn record_settings(
    face: &Face,
    caller: &Caller,
    request: v1::RecordSettingsRequest,
) -> Result<v1::RecordSettingsResponse, Refusal> {
    let site = request
        .settings
        .as_ref()
        .map_or(0, |settings| settings.site);
    let money = face.money_of(caller, "settings", site).await?;
    let Asked { request_id, what } = parse::office::settings(request, money)?;
    let booked = face.desk.record_settings(caller, &request_id, what).await?;
    Ok(v1::RecordSettingsResponse {
        recorded: Some(answer::recorded(&booked)),
        settings: Some(answer::office::settings(&booked.outcome)),
    })
}

pub(crate) async fn get_settings(
    face: &Face,
    caller: &Caller,
    request: v1::GetSettingsRequest,
) -> Result<v1::GetSettingsResponse, Refusal> {
    let site = parse::site(request.site)?;
    let at_us = parse::instant_or_none(request.at).at("at")?;
    let settings = face.desk.settings(caller, site, at_us).await?;
    Ok(v1::GetSettingsResponse {
        settings: Some(answer::office::settings(&settings)),
    })
}

pub(crate) async fn post_price_list(
    face: &Face,
    caller: &Caller,
    request: v1::PostPriceListRequest,
) -> Result<v1::PostPriceListResponse, Refusal> {
    let site = request.price_list.as_ref().map_or(0, |list| list.site);
    let money = face.money_of(caller, "price_list", site).await?;
    let Asked { request_id, what } = parse::office::price_list(request, money)?;
    let (booked, notices) = face.desk.post_price_list(caller, &request_id, what).await?;
    let entry = booked.entry.number();
    Ok(v1::PostPriceListResponse {
        recorded: Some(answer::recorded(&booked)),
        price_list: Some(answer::office::price_list(entry, &booked.outcome)),
        notices: notices.iter().map(answer::notice).collect(),
    })
}

pub(crate) async fn list_price_lists(
    face: &Face,
    caller: &Caller,
    request: v1::ListPriceListsRequest,
) -> Result<v1::ListPriceListsResponse, Refusal> {
    let site = parse::site(request.site)?;
    let species = parse::species_or_none(request.species).at("species")?;
    let list = format!("price lists {site} {species}");
    let page = Page::parse(list, request.page_size, &request.page_token)?;
    let all = face.desk.price_lists(caller, site, &species).await?;
    let (lists, next_page_token) = page.cut(all, |(entry, _)| newest_first(*entry));
    Ok(v1::ListPriceListsResponse {
        price_lists: lists
            .iter()
            .map(|(entry, list)| answer::office::price_list(*entry, list))
            .collect(),
        next_page_token,
    })
}

pub(crate) async fn check_price_list(
    face: &Face,
    caller: &Caller,
    request: v1::CheckPriceListRequest,
) -> Result<v1::CheckPriceListResponse, Refusal> {
    let site = request.price_list.as_ref().map_or(0, |list| list.site);
    let money = face.money_of(caller, "check_price_list", site).await?;
    let (list, days) = parse::office::list_to_check(request, money)?;
    let checked = face.desk.check_price_list(caller, list, days).await?;
    Ok(answer::price_check::checked(&checked))
}

pub(crate) async fn record_agreed_price(
    face: &Face,
    caller: &Caller,
    request: v1::RecordAgreedPriceRequest,
) -> Result<v1::RecordAgreedPriceResponse, Refusal> {
    let site = request.agreed_price.as_ref().map_or(0, |price| price.site);
    let money = face.money_of(caller, "agreed_price", site).await?;
    let Asked { request_id, what } = parse::office::agreed_price(request, money)?;
    let booked = face
        .desk
        .record_agreed_price(caller, &request_id, what)
        .await?;
    let entry = booked.entry.number();
    Ok(v1::RecordAgreedPriceResponse {
        recorded: Some(answer::recorded(&booked)),
        agreed_price: Some(answer::office::agreed_price(entry, &booked.outcome)),
    })
}

pub(crate) async fn list_agreed_prices(
    face: &Face,
    caller: &Caller,
    request: v1::ListAgreedPricesRequest,
) -> Result<v1::ListAgreedPricesResponse, Refusal> {
    let site = parse::site(request.site)?;
    let harvester = parse::code_or_none(request.harvester).at("harvester")?;
    let list = format!("agreed prices {site} {harvester}");
    let page = Page::parse(list, request.page_size, &request.page_token)?;
    let all = face.desk.agreed_prices(caller, site, &harvester).await?;
    let (agreed, next_page_token) = page.cut(all, |(entry, _)| newest_first(*entry));
    Ok(v1::ListAgreedPricesResponse {
        agreed_prices: agreed
            .iter()
            .map(|(entry, agreed)| answer::office::agreed_price(*entry, agreed))
            .collect(),
        next_page_token,
    })
}

pub(crate) async fn record_baseline(
    face: &Face,
    caller: &Caller,
    request: v1::RecordBaselineRequest,
) -> Result<v1::RecordBaselineResponse, Refusal> {
    let Asked { request_id, what } = parse::office::baseline(request)?;
    let booked = face.desk.record_baseline(caller, &request_id, what).await?;
    let entry = booked.entry.number();
    Ok(v1::RecordBaselineResponse {
        recorded: Some(answer::recorded(&booked)),
        baseline: Some(answer::office::baseline(entry, &booked.outcome)),
    })
}

pub(crate) async fn list_baselines(
    face: &Face,
    caller: &Caller,
    request: v1::ListBaselinesRequest,
) -> Result<v1::ListBaselinesResponse, Refusal> {
    let site = parse::site(request.site)?;
    let list = format!("baselines {site}");
    let page = Page::parse(list, request.page_size, &request.page_token)?;
    let all = face.desk.baselines(caller, site).await?;
    let (baselines, next_page_token) = page.cut(all, |(entry, _)| newest_first(*entry));
    Ok(v1::ListBaselinesResponse {
        baselines: baselines
            .iter()
            .map(|(entry, baseline)| answer::office::baseline(*entry, baseline))
            .collect(),
        next_page_token,
    })
}

/// A key that orders entries from the newest to the oldest.
fn newest_first(entry: i64) -> String {
    format!("{:019}", i64::MAX.saturating_sub(entry))
}
