//! What the office puts on file, parsed.

use desk::ScaleLine;
use proto::v1;
use rules::agreed_price::AgreedPrice;
use rules::baseline::Baseline;
use rules::business_day::{BadZone, LATEST_CUTOVER_HOUR, SiteClock};
use rules::fish::Outlet;
use rules::money::{Currency, UnitPrice};
use rules::office::{Device, DripRate, Party, Scale, Settings, Site, Species, Tote};
use rules::price_list::{Band, ConditionAdjustment, GradePrices, PresentationPrices, PriceList};
use rules::weight::{Weight, WeightUnit};

use super::{
    Asked, At as _, Bad, code, count, currency, date_or_none, days_of_a_year, each, given, grade,
    instant, instant_or_none, money_from_zero, name, on_file, per, percent, plain, reading,
    reading_above_zero, request_id, said, some_of, species, text, unit_price, word,
};
use crate::codes::Coded;

/// Most rows of any list the office writes.
const MOST_ROWS: usize = 200;

/// Drip and its allowance: up to 100 percent a day either way.
const LEAST_DRIP_PPM: i64 = -1_000_000;

fn asked<W, T>(
    id: &str,
    message: Option<W>,
    field: &str,
    parse: impl FnOnce(W) -> Result<T, Bad>,
) -> Result<Asked<T>, Bad> {
    let request_id = request_id(id)?;
    let what = given(message).and_then(parse).at(field)?;
    Ok(Asked { request_id, what })
}

/// Words in order, each once.
fn set_of<T: Coded + Ord>(numbers: Vec<i32>) -> Result<Vec<T>, Bad> {
    let mut words = each(numbers, MOST_ROWS, said)?;
    words.sort();
    words.dedup();
    Ok(words)
}

/// A site.
pub(crate) fn site(request: v1::RecordSiteRequest) -> Result<Asked<Site>, Bad> {
    asked(&request.request_id, request.site, "site", |site| {
        let number = count(site.number, 1, 9999).at("number")?;
        let name = name(site.name).at("name")?;
        let last_hour = i32::from(LATEST_CUTOVER_HOUR);
        count(site.cutover_hour, 0, last_hour).at("cutover_hour")?;
        let hour = u8::try_from(site.cutover_hour).unwrap_or(LATEST_CUTOVER_HOUR);
        if site.time_zone.is_empty() {
            return Err(Bad::missing("must be given")).at("time_zone");
        }
        let zone = text(site.time_zone).at("time_zone")?;
        let clock = SiteClock::new(&zone, hour).map_err(|bad| Bad {
            field: match bad {
                BadZone::NotAZone(_) => "time_zone",
                BadZone::CutoverHour(_) => "cutover_hour",
            }
            .to_owned(),
            ..Bad::rule(bad.to_string())
        })?;
        Ok(Site {
            number,
            name,
            clock,
            currency: currency(&site.currency).at("currency")?,
            buyer: code(site.buyer).at("buyer")?,
            shown_unit: per(site.shown_unit).at("shown_unit")?,
            location_description: text(site.location_description).at("location_description")?,
        })
    })
}

/// A party.
pub(crate) fn party(request: v1::RecordPartyRequest) -> Result<Asked<Party>, Bad> {
    asked(&request.request_id, request.party, "party", |party| {
        Ok(Party {
            code: code(party.code).at("code")?,
            name: name(party.name).at("name")?,
            roles: set_of(party.roles).at("roles")?,
            licence_number: text(party.licence_number).at("licence_number")?,
            licence_expires: date_or_none(party.licence_expires).at("licence_expires")?,
            contact: text(party.contact).at("contact")?,
        })
    })
}

/// A species.
pub(crate) fn species_on_file(request: v1::RecordSpeciesRequest) -> Result<Asked<Species>, Bad> {
    asked(&request.request_id, request.species, "species", |fish| {
        let lightest = fish.lightest.map(reading_above_zero).transpose();
        let heaviest = fish.heaviest.map(reading_above_zero).transpose();
        if let (Ok(Some(least)), Ok(Some(most))) = (&lightest, &heaviest)
            && most.weight < least.weight
        {
            return Err(Bad::rule("is less than lightest")).at("heaviest");
        }
        Ok(Species {
            code: species(fish.code).at("code")?,
            name: name(fish.name).at("name")?,
            scientific_name: text(fish.scientific_name).at("scientific_name")?,
            hazards: set_of(fish.hazards).at("hazards")?,
            lightest: lightest.at("lightest")?,
            heaviest: heaviest.at("heaviest")?,
        })
    })
}

/// A scale.
pub(crate) fn scale(request: v1::RecordScaleRequest) -> Result<Asked<Scale>, Bad> {
    asked(&request.request_id, request.scale, "scale", |scale| {
        let division = given(scale.division)
            .and_then(reading_above_zero)
            .at("division")?;
        let capacity = given(scale.capacity)
            .and_then(reading_above_zero)
            .at("capacity")?;
        if capacity.weight < division.weight {
            return Err(Bad::rule("must be at least one division")).at("capacity");
        }
        let unit = division.unit;
        Ok(Scale {
            site: super::site(scale.site)?,
            code: code(scale.code).at("code")?,
            name: name(scale.name).at("name")?,
            accuracy_class: text(scale.accuracy_class).at("accuracy_class")?,
            division,
            capacity,
            tested_on: date_or_none(scale.tested_on).at("tested_on")?,
            line: scale_line(scale.line, unit).at("line")?,
        })
    })
}

/// How the lines of a scale are read, if it sends any.
fn scale_line(written: String, unit: WeightUnit) -> Result<String, Bad> {
    let expression = text(written)?;
    if !expression.is_empty() {
        ScaleLine::new(&expression, unit).map_err(|bad| Bad::rule(bad.to_string()))?;
    }
    Ok(expression)
}

/// A named tote.
pub(crate) fn tote(request: v1::RecordToteRequest) -> Result<Asked<Tote>, Bad> {
    asked(&request.request_id, request.tote, "tote", |tote| {
        Ok(Tote {
            site: super::site(tote.site)?,
            code: code(tote.code).at("code")?,
            tare: given(tote.tare).and_then(reading).at("tare")?,
            weighed_on: date_or_none(tote.weighed_on).at("weighed_on")?,
        })
    })
}

/// A device.
pub(crate) fn device(request: v1::RecordDeviceRequest) -> Result<Asked<Device>, Bad> {
    asked(&request.request_id, request.device, "device", |device| {
        Ok(Device {
            site: super::site(device.site)?,
            code: code(device.code).at("code")?,
            name: name(device.name).at("name")?,
        })
    })
}

/// A site's settings; `money` is the site's, where it is on file.
pub(crate) fn settings(
    request: v1::RecordSettingsRequest,
    money: Option<Currency>,
) -> Result<Asked<Settings>, Bad> {
    asked(
        &request.request_id,
        request.settings,
        "settings",
        |settings| {
            let receiving = super::receiving::settings(&settings)?;
            let percent = |text: Option<String>, field| {
                text.map(|text| percent(&text, 0)).transpose().at(field)
            };
            let weight =
                |weight: Option<v1::Reading>, field| weight.map(reading).transpose().at(field);
            let site = super::site(settings.site)?;
            let money = on_file(site, money)?;
            let outlet = word(settings.undersize_outlet).and_then(|outlet| match outlet {
                None | Some(Outlet::Soup | Outlet::Donation) => Ok(outlet),
                Some(_) => Err(Bad::rule("must be soup or donation")),
            });
            let drip_rates = each(settings.drip_rates, MOST_ROWS, drip_rate).at("drip_rates")?;
            for (i, rate) in drip_rates.iter().enumerate() {
                let twice = drip_rates.iter().take(i).any(|other| {
                    (&other.species, other.presentation, other.storage)
                        == (&rate.species, rate.presentation, rate.storage)
                });
                if twice {
                    return Err(Bad::rule(
                        "has this species, presentation and storage twice",
                    ))
                    .at(&format!("drip_rates[{i}]"));
                }
            }
            let flag_value = settings
                .flag_value
                .map(|value| money_from_zero(&value, money));
            Ok(Settings {
                site,
                effective_from_us: instant_or_none(settings.effective_from).at("effective_from")?,
                ice_ppm: percent(settings.ice_percent, "ice_percent")?,
                undersize_outlet: outlet.at("undersize_outlet")?,
                drip_rates,
                flag_weight: weight(settings.flag_weight, "flag_weight")?,
                flag_ppm: percent(settings.flag_percent, "flag_percent")?,
                flag_value: flag_value.transpose().at("flag_value")?,
                cutting_loss_ppm: percent(settings.cutting_loss_percent, "cutting_loss_percent")?,
                water_ppm: percent(settings.water_percent, "water_percent")?,
                finished_weight: weight(settings.finished_weight, "finished_weight")?,
                finished_ppm: percent(settings.finished_percent, "finished_percent")?,
                hold_days: settings
                    .hold_days
                    .map(|days| count(days, 0, 3650))
                    .transpose()
                    .at("hold_days")?,
                tare_days: whole(settings.tare_days, 0, 3650).at("tare_days")?,
                shortest_mm: whole(settings.shortest_mm, 1, 10_000).at("shortest_mm")?,
                longest_mm: whole(settings.longest_mm, 1, 10_000).at("longest_mm")?,
                mean_most_percent: whole(settings.mean_most_percent, 100, 10_000)
                    .at("mean_most_percent")?,
                mean_least_percent: whole(settings.mean_least_percent, 0, 100)
                    .at("mean_least_percent")?,
                deduction_ppm: percent(settings.deduction_percent, "deduction_percent")?,
                objection_hours: settings
                    .objection_hours
                    .map(|hours| count(hours, 0, 8760))
                    .transpose()
                    .at("objection_hours")?,
                dispute_days: settings
                    .dispute_days
                    .map(|days| count(days, 0, 3650))
                    .transpose()
                    .at("dispute_days")?,
                surface_water_ppm: percent(
                    settings.surface_water_percent,
                    "surface_water_percent",
                )?,
                wet_tote: weight(settings.wet_tote, "wet_tote")?,
                drift_days: whole(settings.drift_days, 1, 366).at("drift_days")?,
                drift_pairs: whole(settings.drift_pairs, 2, 10_000).at("drift_pairs")?,
                drift_ppm: percent(settings.drift_percent, "drift_percent")?,
                receiving,
                judging: super::judging::settings(settings.judging, money).at("judging")?,
            })
        },
    )
}

fn whole(number: Option<i32>, least: i32, most: i32) -> Result<Option<i64>, Bad> {
    number.map(|number| count(number, least, most)).transpose()
}

fn drip_rate(rate: v1::DripRate) -> Result<DripRate, Bad> {
    let allowance = match rate.allowance_percent_per_day.as_str() {
        "" => Ok(0),
        text => percent(text, LEAST_DRIP_PPM),
    };
    Ok(DripRate {
        species: species(rate.species).at("species")?,
        presentation: said(rate.presentation).at("presentation")?,
        storage: said(rate.storage).at("storage")?,
        ppm_per_day: percent(&rate.percent_per_day, LEAST_DRIP_PPM).at("percent_per_day")?,
        allowance_ppm_per_day: allowance.at("allowance_percent_per_day")?,
    })
}

/// A price list, in the site's money; whether it can stand is the rules' to say.
pub(crate) fn price_list(
    request: v1::PostPriceListRequest,
    money: Option<Currency>,
) -> Result<Asked<PriceList>, Bad> {
    let (id, list) = (request.request_id, request.price_list);
    asked(&id, list, "price_list", |list| list_of(list, money))
}

/// A price list that is not to be posted, and the business days to look at.
pub(crate) fn list_to_check(
    request: v1::CheckPriceListRequest,
    money: Option<Currency>,
) -> Result<(PriceList, Option<(i64, i64)>), Bad> {
    let list = given(request.price_list).and_then(|list| list_of(list, money));
    let days = match (request.from, request.to) {
        (None, None) => None,
        (from, to) => Some(days_of_a_year(from, to)?),
    };
    Ok((list.at("price_list")?, days))
}

fn list_of(list: v1::PriceList, money: Option<Currency>) -> Result<PriceList, Bad> {
    let site = super::site(list.site)?;
    if !list.id.is_empty() {
        return Err(Bad::rule("is set by the service")).at("id");
    }
    let terms = Terms {
        currency: on_file(site, money)?,
        per: per(list.price_per).at("price_per")?,
        edges: said(list.edge_unit).at("edge_unit")?,
    };
    let presentations = some_of(list.presentations, MOST_ROWS, |p| terms.presentation(p));
    let adjustments = each(list.condition_adjustments, MOST_ROWS, |a| {
        terms.condition(&a)
    });
    Ok(PriceList {
        site,
        species: species(list.species).at("species")?,
        effective_from_us: instant_or_none(list.effective_from)
            .at("effective_from")?
            .unwrap_or(desk::IN_A_MINUTE),
        band_by: said(list.band_by).at("band_by")?,
        currency: terms.currency,
        price_per: terms.per,
        edge_unit: terms.edges,
        presentations: presentations.at("presentations")?,
        condition_adjustments: adjustments.at("condition_adjustments")?,
    })
}

/// A price agreed with a diver, in the site's money.
pub(crate) fn agreed_price(
    request: v1::RecordAgreedPriceRequest,
    money: Option<Currency>,
) -> Result<Asked<AgreedPrice>, Bad> {
    let (id, agreed) = (request.request_id, request.agreed_price);
    asked(&id, agreed, "agreed_price", |agreed| {
        let site = super::site(agreed.site)?;
        if !agreed.id.is_empty() {
            return Err(Bad::rule("is set by the service")).at("id");
        }
        let currency = on_file(site, money)?;
        Ok(AgreedPrice {
            site,
            harvester: code(agreed.harvester).at("harvester")?,
            species: species(agreed.species).at("species")?,
            presentation: said(agreed.presentation).at("presentation")?,
            grade: match agreed.grade.as_str() {
                "" => None,
                written => Some(grade(written).at("grade")?),
            },
            from_us: instant_or_none(agreed.from).at("from")?,
            to_us: given(agreed.to).and_then(instant).at("to")?,
            price: given(agreed.price)
                .and_then(|price| unit_price(&price, currency))
                .at("price")?,
            below_plate: agreed.below_plate,
            reason: name(agreed.reason).at("reason")?,
        })
    })
}

/// Days that a control chart is held against.
pub(crate) fn baseline(request: v1::RecordBaselineRequest) -> Result<Asked<Baseline>, Bad> {
    let (id, baseline) = (request.request_id, request.baseline);
    asked(&id, baseline, "baseline", |baseline| {
        if !baseline.id.is_empty() {
            return Err(Bad::rule("is set by the service")).at("id");
        }
        let (from, to) = days_of_a_year(baseline.from, baseline.to)?;
        Ok(Baseline {
            site: super::site(baseline.site)?,
            follows: said(baseline.follows).at("follows")?,
            party: code(baseline.party).at("party")?,
            from,
            to,
            reason: name(baseline.reason).at("reason")?,
        })
    })
}

/// What all prices and edges of one list share.
struct Terms {
    currency: Currency,
    per: WeightUnit,
    edges: WeightUnit,
}

impl Terms {
    fn edge(&self, text: &str) -> Result<Weight, Bad> {
        plain(text, |text| self.edges.weigh(text))
    }

    fn price(&self, text: &str) -> Result<UnitPrice, Bad> {
        plain(text, |text| UnitPrice::new(text, self.currency, self.per))
    }

    fn presentation(&self, row: v1::PresentationPrices) -> Result<PresentationPrices, Bad> {
        let presentation: rules::fish::Presentation = said(row.presentation).at("presentation")?;
        let plate_minimum = match row.plate_minimum.as_str() {
            "" if !presentation.is_fish() => Ok(Weight::ZERO),
            text => self.edge(text),
        };
        Ok(PresentationPrices {
            presentation,
            plate_minimum: plate_minimum.at("plate_minimum")?,
            grades: some_of(row.grades, MOST_ROWS, |row| self.grade(row)).at("grades")?,
        })
    }

    fn grade(&self, row: v1::GradePrices) -> Result<GradePrices, Bad> {
        Ok(GradePrices {
            grade: grade(&row.grade).at("grade")?,
            bands: some_of(row.bands, MOST_ROWS, |band| self.band(band)).at("bands")?,
            not_counted: row
                .not_counted
                .map(|text| self.price(&text))
                .transpose()
                .at("not_counted")?,
        })
    }

    fn band(&self, band: v1::Band) -> Result<Band, Bad> {
        Ok(Band {
            from: self.edge(&band.from).at("from")?,
            to: band.to.map(|text| self.edge(&text)).transpose().at("to")?,
            price: self.price(&band.price).at("price")?,
            name: text(band.name).at("name")?,
        })
    }

    fn condition(&self, row: &v1::ConditionAdjustment) -> Result<ConditionAdjustment, Bad> {
        let per_unit = plain(&row.per_unit, |text| {
            UnitPrice::signed(text, self.currency, self.per)
        });
        Ok(ConditionAdjustment {
            condition: said(row.condition).at("condition")?,
            per_unit: per_unit.at("per_unit")?,
        })
    }
}

#[cfg(test)]
mod tests;
