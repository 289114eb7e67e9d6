//! What is on file.

use proto::v1;
use rules::agreed_price::AgreedPrice;
use rules::baseline::Baseline;
use rules::decimal;
use rules::judging::{DressingYield, FilletPrice, JudgingSettings, ReferenceYield};
use rules::office::{Device, DripRate, Party, Scale, Settings, Site, Species, Tote};
use rules::price_list::{Band, GradePrices, PresentationPrices, PriceList};
use rules::weight::WeightUnit;

use super::{date, day, edge, int32, money, percent, reading, temperature, timestamp, unit_price};
use crate::codes::{Coded as _, wire_or_none, wires};

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
        line: scale.line.clone(),
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
        deduction_percent: settings.deduction_ppm.map(percent),
        objection_hours: settings.objection_hours.map(int32),
        dispute_days: settings.dispute_days.map(int32),
        surface_water_percent: settings.surface_water_ppm.map(percent),
        wet_tote: settings.wet_tote.as_ref().map(reading),
        drift_days: settings.drift_days.map(int32),
        drift_pairs: settings.drift_pairs.map(int32),
        drift_percent: settings.drift_ppm.map(percent),
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
        judging: judging(&settings.judging),
    }
}

/// Days that a control chart is held against.
pub(crate) fn baseline(entry: i64, baseline: &Baseline) -> v1::Baseline {
    v1::Baseline {
        id: entry.to_string(),
        site: int32(baseline.site),
        follows: baseline.follows.wire(),
        party: baseline.party.clone(),
        from: Some(day(baseline.from)),
        to: Some(day(baseline.to)),
        reason: baseline.reason.clone(),
    }
}

/// What the judgement goes by; nothing where all of it is left to the defaults.
fn judging(of: &JudgingSettings) -> Option<v1::JudgingSettings> {
    if *of == JudgingSettings::default() {
        return None;
    }
    let reference = |row: &ReferenceYield| v1::ReferenceYield {
        species: row.species.clone(),
        presentation: row.presentation.wire(),
        specification: row.specification.clone(),
        yield_percent: decimal::text(row.yield_e2, 2),
        source: row.source.clone(),
    };
    let fillet_price = |row: &FilletPrice| v1::FilletPrice {
        species: row.species.clone(),
        specification: row.specification.clone(),
        price: Some(unit_price(row.price)),
    };
    let dressing = |row: &DressingYield| v1::DressingYield {
        species: row.species.clone(),
        from: row.from.wire(),
        to: row.to.wire(),
        keeps_percent: percent(row.keeps_ppm),
        minutes_per_lb: decimal::text(row.minutes_per_lb_e2, 2),
        source: row.source.clone(),
    };
    Some(v1::JudgingSettings {
        references: of.references.iter().map(reference).collect(),
        fillet_prices: of.fillet_prices.iter().map(fillet_price).collect(),
        wage_per_hour: of.wage_per_hour.map(money),
        supplies: of.supplies.map(unit_price),
        soup_price: of.soup_price.map(unit_price),
        dressing_cost: of.dressing_cost.map(unit_price),
        portion: of.portion.as_ref().map(reading),
        cooking_loss_percent: of.cooking_loss_ppm.map(percent),
        whole_days: of.whole_days.map(int32),
        whole_days_ask: of.whole_days_ask.map(int32),
        soup_days: of.soup_days.map(int32),
        donation_hours: of.donation_hours.map(int32),
        fillet_days: of.fillet_days.map(int32),
        history_days: of.history_days.map(int32),
        least_cuts: of.least_cuts.map(int32),
        least_weight: of.least_weight.as_ref().map(reading),
        least_days: of.least_days.map(int32),
        least_points: of.least_points_e2.map(|e2| decimal::text(e2, 2)),
        false_discovery_percent: of.false_discovery_ppm.map(percent),
        dressings: of.dressings.iter().map(dressing).collect(),
    })
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
