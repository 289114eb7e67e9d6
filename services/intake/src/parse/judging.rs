//! A site's settings for judging.

use proto::v1;
use rules::decimal;
use rules::fish::Presentation;
use rules::judging::{DressingYield, FilletPrice, JudgingSettings, ReferenceYield};
use rules::money::Currency;

use super::{
    At as _, Bad, code, count, each, given, money_from_zero, name, percent, plain,
    reading_above_zero, said, species, unit_price,
};

/// Most rows of any list.
const MOST_ROWS: usize = 200;

/// A site's settings for judging, in its money.
pub(crate) fn settings(
    of: Option<v1::JudgingSettings>,
    money: Currency,
) -> Result<JudgingSettings, Bad> {
    let Some(of) = of else {
        return Ok(JudgingSettings::default());
    };
    let whole = |number: Option<i32>, least, most, field| {
        number.map(|n| count(n, least, most)).transpose().at(field)
    };
    let price = |price: Option<v1::UnitPrice>, field| {
        price
            .map(|price| unit_price(&price, money))
            .transpose()
            .at(field)
    };
    let part = |text: Option<String>, field| text.map(|text| part(&text)).transpose().at(field);
    let references = each(of.references, MOST_ROWS, reference).at("references")?;
    unlike(&references, "references", |row| {
        (&row.species, row.presentation, &row.specification)
    })?;
    let fillet_prices =
        each(of.fillet_prices, MOST_ROWS, |row| fillet_price(row, money)).at("fillet_prices")?;
    unlike(&fillet_prices, "fillet_prices", |row| {
        (&row.species, &row.specification)
    })?;
    let dressings = each(of.dressings, MOST_ROWS, dressing).at("dressings")?;
    unlike(&dressings, "dressings", |row| {
        (&row.species, row.from, row.to)
    })?;
    let judging = JudgingSettings {
        references,
        fillet_prices,
        wage_per_hour: of
            .wage_per_hour
            .map(|wage| money_from_zero(&wage, money))
            .transpose()
            .at("wage_per_hour")?,
        supplies: price(of.supplies, "supplies")?,
        soup_price: price(of.soup_price, "soup_price")?,
        dressing_cost: price(of.dressing_cost, "dressing_cost")?,
        portion: of
            .portion
            .map(reading_above_zero)
            .transpose()
            .at("portion")?,
        cooking_loss_ppm: part(of.cooking_loss_percent, "cooking_loss_percent")?,
        whole_days: whole(of.whole_days, 1, MOST_DAYS, "whole_days")?,
        whole_days_ask: whole(of.whole_days_ask, 1, MOST_DAYS, "whole_days_ask")?,
        soup_days: whole(of.soup_days, 1, MOST_DAYS, "soup_days")?,
        donation_hours: whole(of.donation_hours, 1, 24 * MOST_DAYS, "donation_hours")?,
        fillet_days: whole(of.fillet_days, 1, MOST_DAYS, "fillet_days")?,
        history_days: whole(of.history_days, 1, MOST_DAYS, "history_days")?,
        least_cuts: whole(of.least_cuts, 2, 10_000, "least_cuts")?,
        least_weight: of
            .least_weight
            .map(reading_above_zero)
            .transpose()
            .at("least_weight")?,
        least_days: whole(of.least_days, 1, MOST_DAYS, "least_days")?,
        least_points_e2: of
            .least_points
            .map(|text| percent(&text, 0))
            .transpose()
            .at("least_points")?
            .map(|ppm| ppm / 100),
        false_discovery_ppm: part(of.false_discovery_percent, "false_discovery_percent")?,
        dressings,
    };
    if judging.whole_days_ask() < judging.whole_days() {
        return Err(Bad::rule("must not be less than whole_days")).at("whole_days_ask");
    }
    Ok(judging)
}

/// A year and a day.
const MOST_DAYS: i32 = 366;

/// A percent that leaves something.
fn part(text: &str) -> Result<i64, Bad> {
    let ppm = percent(text, 0)?;
    if ppm >= 1_000_000 {
        return Err(Bad::rule("must be below 100"));
    }
    Ok(ppm)
}

fn reference(row: v1::ReferenceYield) -> Result<ReferenceYield, Bad> {
    let ppm = percent(&row.yield_percent, 0).at("yield_percent")?;
    if !(100..=1_000_000).contains(&ppm) || ppm % 100 != 0 {
        return Err(Bad::rule(
            "must be above 0 and at most 100, with up to 2 places",
        ))
        .at("yield_percent");
    }
    Ok(ReferenceYield {
        species: species(row.species).at("species")?,
        presentation: said(row.presentation).at("presentation")?,
        specification: code(row.specification).at("specification")?,
        yield_e2: ppm / 100,
        source: name(row.source).at("source")?,
    })
}

fn dressing(row: v1::DressingYield) -> Result<DressingYield, Bad> {
    let keeps_ppm = percent(&row.keeps_percent, 0).at("keeps_percent")?;
    if keeps_ppm == 0 {
        return Err(Bad::rule("must be above 0")).at("keeps_percent");
    }
    let (from, to): (Presentation, Presentation) =
        (said(row.from).at("from")?, said(row.to).at("to")?);
    for (field, form) in [("from", from), ("to", to)] {
        if !form.is_fish() {
            return Err(Bad::rule("is not a form of whole or dressed fish")).at(field);
        }
    }
    if to <= from {
        return Err(Bad::rule("is not a form that the other can be given")).at("to");
    }
    Ok(DressingYield {
        species: species(row.species).at("species")?,
        from,
        to,
        keeps_ppm,
        minutes_per_lb_e2: plain(&row.minutes_per_lb, |text| decimal::scaled(text, 2))
            .at("minutes_per_lb")?,
        source: name(row.source).at("source")?,
    })
}

fn fillet_price(row: v1::FilletPrice, money: Currency) -> Result<FilletPrice, Bad> {
    Ok(FilletPrice {
        species: species(row.species).at("species")?,
        specification: code(row.specification).at("specification")?,
        price: given(row.price)
            .and_then(|price| unit_price(&price, money))
            .at("price")?,
    })
}

/// No two rows are about the same.
fn unlike<'a, T, K: PartialEq>(
    rows: &'a [T],
    field: &str,
    key: impl Fn(&'a T) -> K,
) -> Result<(), Bad> {
    for (i, row) in rows.iter().enumerate() {
        if rows.iter().take(i).any(|other| key(other) == key(row)) {
            return Err(Bad::rule("is about the same as a row before it"))
                .at(&format!("{field}[{i}]"));
        }
    }
    Ok(())
}
