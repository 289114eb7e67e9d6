//! What is on file.

use proto::v1;
use rules::agreed_price::AgreedPrice;
use rules::office::{Device, DripRate, Party, Scale, Settings, Site, Species, Tote};
use rules::price_list::{Band, GradePrices, PresentationPrices, PriceList};
use rules::weight::WeightUnit;

use super::{date, edge, int32, money, percent, reading, temperature, timestamp, unit_price};
use crate::codes::{Coded, wire_or_none};

fn wires<T: Coded>(words: &[T]) -> Vec<i32> {
    words.iter().map(|word| word.wire()).collect()
}

/// A site.
pub(crate) fn site(site: &Site) -> v1::Site {
    v1::Site {
        number: int32(site.number),
        name: site.name.clone(),
        time_zone: site.clock.zone().to_owned(),
        cutover_hour: i32::from(site.clock.cutover_hour()),
        currency: site.currency.code().to_owned(),
        buyer: site.buyer.clone(),
        shown_unit: site.shown_unit.wire(),
        location_description: site.location_description.clone(),
    }
}

/// A party.
pub(crate) fn party(party: &Party) -> v1::Party {
    v1::Party {
        code: party.code.clone(),
        name: party.name.clone(),
        roles: wires(&party.roles),
        licence_number: party.licence_number.clone(),
        licence_expires: party.licence_expires.map(date),
        contact: party.contact.clone(),
    }
}

/// A species.
pub(crate) fn species(species: &Species) -> v1::Species {
    v1::Species {
        code: species.code.clone(),
        name: species.name.clone(),
        scientific_name: species.scientific_name.clone(),
        hazards: wires(&species.hazards),
        lightest: species.lightest.as_ref().map(reading),
        heaviest: species.heaviest.as_ref().map(reading),
    }
}

/// A scale.
pub(crate) fn scale(scale: &Scale) -> v1::Scale {
    v1::Scale {
        site: int32(scale.site),
        code: scale.code.clone(),
        name: scale.name.clone(),
        accuracy_class: scale.accuracy_class.clone(),
        division: Some(reading(&scale.division)),
        capacity: Some(reading(&scale.capacity)),
        tested_on: scale.tested_on.map(date),
    }
}

/// A named tote.
pub(crate) fn tote(tote: &Tote) -> v1::Tote {
    v1::Tote {
        site: int32(tote.site),
        code: tote.code.clone(),
        tare: Some(reading(&tote.tare)),
        weighed_on: tote.weighed_on.map(date),
    }
}

/// A device.
pub(crate) fn device(device: &Device) -> v1::Device {
    v1::Device {
        site: int32(device.site),
        code: device.code.clone(),
        name: device.name.clone(),
    }
}

/// A site's settings as recorded: what was left out stays out.
pub(crate) fn settings(settings: &Settings) -> v1::Settings {
    let receiving = &settings.receiving;
    v1::Settings {
        site: int32(settings.site),
        effective_from: settings.effective_from_us.map(timestamp),
        ice_percent: settings.ice_ppm.map(percent),
        undersize_outlet: wire_or_none(settings.undersize_outlet),
        drip_rates: settings.drip_rates.iter().map(drip_rate).collect(),
        flag_weight: settings.flag_weight.as_ref().map(reading),
        flag_percent: settings.flag_ppm.map(percent),
        flag_value: settings.flag_value.map(money),
        cutting_loss_percent: settings.cutting_loss_ppm.map(percent),
        water_percent: settings.water_ppm.map(percent),
        finished_weight: settings.finished_weight.as_ref().map(reading),
        finished_percent: settings.finished_ppm.map(percent),
        hold_days: settings.hold_days.map(int32),
        tare_days: settings.tare_days.map(int32),
        shortest_mm: settings.shortest_mm.map(int32),
        longest_mm: settings.longest_mm.map(int32),
        mean_most_percent: settings.mean_most_percent.map(int32),
        mean_least_percent: settings.mean_least_percent.map(int32),
        cold_limit: receiving.cold_limit.as_ref().map(temperature),
        hours_to_cool: receiving.hours_to_cool.map(int32),
        probes: receiving.probes.map(int32),
        probes_heavy: receiving.probes_heavy.map(int32),
        heavy_lot: receiving.heavy_lot.as_ref().map(reading),
        histamine_limits: receiving
            .histamine_limits
            .iter()
            .map(super::receiving::histamine_limit)
            .collect(),
        areas_of_concern: receiving
            .areas_of_concern
            .iter()
            .map(super::receiving::area_of_concern)
            .collect(),
        legal_limits: receiving
            .legal_limits
            .iter()
            .map(super::receiving::legal_limit)
            .collect(),
        release_reasons: receiving.release_reasons.clone(),
    }
}

fn drip_rate(rate: &DripRate) -> v1::DripRate {
    v1::DripRate {
        species: rate.species.clone(),
        presentation: rate.presentation.wire(),
        storage: rate.storage.wire(),
        percent_per_day: percent(rate.ppm_per_day),
        allowance_percent_per_day: percent(rate.allowance_ppm_per_day),
    }
}

/// An agreed price and the entry that recorded it.
pub(crate) fn agreed_price(entry: i64, agreed: &AgreedPrice) -> v1::AgreedPrice {
    v1::AgreedPrice {
        id: entry.to_string(),
        site: int32(agreed.site),
        harvester: agreed.harvester.clone(),
        species: agreed.species.clone(),
        presentation: agreed.presentation.wire(),
        grade: agreed
            .grade
            .as_ref()
            .map_or_else(String::new, |grade| grade.as_str().to_owned()),
        from: agreed.from_us.map(timestamp),
        to: Some(timestamp(agreed.to_us)),
        price: Some(unit_price(agreed.price)),
        below_plate: agreed.below_plate,
        reason: agreed.reason.clone(),
    }
}

/// A price list and the entry that posted it.
pub(crate) fn price_list(entry: i64, list: &PriceList) -> v1::PriceList {
    v1::PriceList {
        id: entry.to_string(),
        site: int32(list.site),
        species: list.species.clone(),
        effective_from: Some(timestamp(list.effective_from_us)),
        band_by: list.band_by.wire(),
        price_per: list.price_per.wire(),
        edge_unit: list.edge_unit.wire(),
        presentations: list
            .presentations
            .iter()
            .map(|prices| presentation(prices, list.edge_unit))
            .collect(),
        condition_adjustments: list
            .condition_adjustments
            .iter()
            .map(|row| v1::ConditionAdjustment {
                condition: row.condition.wire(),
                per_unit: row.per_unit.decimal(),
            })
            .collect(),
    }
}

fn presentation(prices: &PresentationPrices, edges: WeightUnit) -> v1::PresentationPrices {
    v1::PresentationPrices {
        presentation: prices.presentation.wire(),
        plate_minimum: edge(prices.plate_minimum, edges),
        grades: prices
            .grades
            .iter()
            .map(|grade| grade_prices(grade, edges))
            .collect(),
    }
}

fn grade_prices(prices: &GradePrices, edges: WeightUnit) -> v1::GradePrices {
    v1::GradePrices {
        grade: prices.grade.as_str().to_owned(),
        bands: prices.bands.iter().map(|row| band(row, edges)).collect(),
        not_counted: prices.not_counted.map(|price| price.decimal()),
    }
}

fn band(band: &Band, edges: WeightUnit) -> v1::Band {
    v1::Band {
        from: edge(band.from, edges),
        to: band.to.map(|to| edge(to, edges)),
        price: band.price.decimal(),
        name: band.name.clone(),
    }
}
