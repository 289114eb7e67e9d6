//! Yields, statements, and the book's clock.

use desk::{Caller, SmallFishAsked, YieldRange};
use proto::v1;
use rules::decimal;

use super::Face;
use crate::answer;
use crate::errors::Refusal;
use crate::parse::{self, Asked, At as _};

pub(crate) async fn list_supplier_yields(
    face: &Face,
    caller: &Caller,
    request: v1::ListSupplierYieldsRequest,
) -> Result<v1::ListSupplierYieldsResponse, Refusal> {
    let site = parse::site(request.site)?;
    let (from, to) = parse::days(request.from, request.to)?;
    let range = YieldRange {
        site,
        from,
        to,
        supplier: parse::code_or_none(request.supplier).at("supplier")?,
        species: parse::species_or_none(request.species).at("species")?,
    };
    let found = face.desk.yields(caller, range).await?;
    Ok(answer::close::yields(&found, face.unit_of(site)))
}

pub(crate) async fn answer_yield(
    face: &Face,
    caller: &Caller,
    request: v1::AnswerYieldRequest,
) -> Result<v1::AnswerYieldResponse, Refusal> {
    let Asked { request_id, what } = parse::yield_answer(request)?;
    let found = face.desk.answer_yield(caller, &request_id, what).await?;
    let unit = face.unit_of(found.booked.asked.site);
    Ok(v1::AnswerYieldResponse {
        recorded: Some(answer::recorded(&found.booked)),
        answer: Some(answer::close::yield_answer(&found, unit)),
    })
}

pub(crate) async fn weigh_small_fish(
    face: &Face,
    caller: &Caller,
    request: v1::WeighSmallFishRequest,
) -> Result<v1::WeighSmallFishResponse, Refusal> {
    let number = |text: Option<String>, field| {
        text.map(|text| parse::plain(&text, |text| decimal::scaled(text, 2)))
            .transpose()
            .at(field)
    };
    let asked = SmallFishAsked {
        site: parse::site(request.site)?,
        species: parse::species(request.species).at("species")?,
        specification: parse::code(request.specification).at("specification")?,
        piece: parse::given(request.piece)
            .and_then(parse::reading_above_zero)
            .at("piece")?
            .weight,
        yield_e2: number(request.yield_percent, "yield_percent")?,
        minutes_e2: number(request.minutes_per_fish, "minutes_per_fish")?,
    };
    if asked.yield_e2.is_some_and(|e2| e2 > 10_000) {
        return Err(parse::Bad::rule("is more than 100 percent"))
            .at("yield_percent")
            .map_err(Refusal::from);
    }
    let site = asked.site;
    let found = face.desk.weigh_small_fish(caller, asked).await?;
    Ok(answer::close::small_fish_found(&found, face.unit_of(site)))
}

pub(crate) async fn get_statement(
    face: &Face,
    caller: &Caller,
    request: v1::GetStatementRequest,
) -> Result<v1::GetStatementResponse, Refusal> {
    let site = parse::site(request.site)?;
    let party = parse::code(request.party.clone()).at("party")?;
    let (from, to) = parse::days(request.from, request.to)?;
    let found = face.desk.statement(caller, site, &party, from, to).await?;
    let unit = face.unit_of(site);
    Ok(v1::GetStatementResponse {
        statement: Some(answer::close::statement(&request, &found, unit)),
    })
}

pub(crate) async fn get_clock(
    face: &Face,
    _: &Caller,
    _: v1::GetClockRequest,
) -> Result<v1::GetClockResponse, Refusal> {
    Ok(v1::GetClockResponse {
        now: Some(answer::timestamp(face.desk.now_us().await?)),
        simulated: face.desk.clock().is_simulated(),
    })
}

pub(crate) async fn set_clock(
    face: &Face,
    caller: &Caller,
    request: v1::SetClockRequest,
) -> Result<v1::SetClockResponse, Refusal> {
    let now_us = parse::given(request.now)
        .and_then(parse::instant)
        .at("now")?;
    let set_us = face.desk.set_clock(caller, now_us).await?;
    Ok(v1::SetClockResponse {
        now: Some(answer::timestamp(set_us)),
    })
}
