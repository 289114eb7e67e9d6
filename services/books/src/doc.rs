//! Documents: what was asked and what came of it, as canonical JSON.
//!
//! An entry's document is `{"asked": …, "outcome": …}` with sorted keys and
//! integers as text, so that the same content is the same bytes and no reader
//! rounds a number. A field that is absent is left out. Each type of the rules
//! is declared once here, for writing and reading alike.

use chrono::NaiveDate;
use rules::agreed_price::{AgreedPrice, AgreedUsed};
use rules::baseline::{Baseline, Follows};
use rules::business_day::SiteClock;
use rules::codes::CodesAsked;
use rules::fish::{Condition, Grade, Hazard, Outlet, Presentation, Storage, Undersize};
use rules::ids::{EntryId, LotCode, PartId};
use rules::judging::{DressingYield, FilletPrice, JudgingSettings, ReferenceYield};
use rules::key::{Key, KeyAsked, LinkAsked, RevokeAsked, Role};
use rules::landing::{Depth, DepthUnit};
use rules::money::{Currency, Money, UnitPrice};
use rules::office::{Device, DripRate, Party, PartyRole, Scale, Settings, Site, Species, Tote};
use rules::price_list::{
    Band, BandBy, ConditionAdjustment, GradePrices, PresentationPrices, PriceList,
};
use rules::receiving::{
    AreaOfConcern, Finding, HarvestDays, HistamineLimit, HoldCause, LegalLimit, LegalRule, Length,
    LengthUnit, Received, ReceivingRule, ReceivingSettings, ReprobeAsked, Reprobed, Season,
    Standing,
};
use rules::tally::{RulerUnit, Sex, Tally, TallyRow};
use rules::ticket::{
    AdjustBy, Adjustment, AdjustmentKind, AdjustmentLine, CatchArea, Confirmation, Decision,
    Landing, Line, LotIn, Net, NotBought, NotBoughtWhy, Notice, NoticeKind, PayeeAmount,
    PayeeShare, Pieces, QuestionAnswer, Receiving, ReleasedBefore, Rewrite, Share, SmallFish, Tare,
    Temperature, TemperatureUnit, Ticket, TicketLot, VesselUse, VoidAsked, WeighIn, Weighed,
    Weighing,
};
use rules::weight::{Reading, ReadingSource, Weight, WeightUnit};
use serde_json::Map;
pub use serde_json::Value;

/// A stored document that cannot be read: the book was not written by this
/// program, or is damaged.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("document does not read at {path}: {why}")]
pub struct BadDoc {
    /// Keys from the top, joined by points.
    pub path: String,
    /// What was expected.
    pub why: String,
}

impl BadDoc {
    /// Trouble at this very place.
    #[must_use]
    pub fn here(why: impl Into<String>) -> BadDoc {
        BadDoc {
            path: String::new(),
            why: why.into(),
        }
    }

    /// The same trouble seen from one level further up.
    #[must_use]
    pub fn under(self, key: &str) -> BadDoc {
        let path = if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{key}.{}", self.path)
        };
        BadDoc { path, ..self }
    }
}

/// Something that can stand in a document.
pub trait Doc: Sized {
    /// As JSON; `Null` is left out by whatever holds it.
    fn to_doc(&self) -> Value;
    /// Back from JSON.
    ///
    /// # Errors
    /// [`BadDoc`] with the place that does not read.
    fn from_doc(value: &Value) -> Result<Self, BadDoc>;
}

/// Canonical text of a document.
#[must_use]
pub fn canonical(value: &Value) -> String {
    // serde_json's map is ordered by key as long as nobody asks it to preserve
    // the order of insertion; a test holds that.
    value.to_string()
}

/// Text of `{"asked": …, "outcome": …}`.
#[must_use]
pub fn entry_doc(asked: &impl Doc, outcome: &impl Doc) -> String {
    canonical(&object([
        ("asked", asked.to_doc()),
        ("outcome", outcome.to_doc()),
    ]))
}

/// Reads `{"asked": …, "outcome": …}` back.
///
/// # Errors
/// [`BadDoc`] with the place that does not read.
pub fn read_entry_doc<A: Doc, O: Doc>(text: &str) -> Result<(A, O), BadDoc> {
    let value: Value = serde_json::from_str(text).map_err(|e| BadDoc::here(e.to_string()))?;
    Ok((field(&value, "asked")?, field(&value, "outcome")?))
}

/// Reads one field of an object; an absent one is `Null`.
///
/// # Errors
/// [`BadDoc`] with the place that does not read.
pub fn field<T: Doc>(value: &Value, key: &str) -> Result<T, BadDoc> {
    let object = value
        .as_object()
        .ok_or_else(|| BadDoc::here("an object was expected"))?;
    T::from_doc(object.get(key).unwrap_or(&Value::Null)).map_err(|e| e.under(key))
}

/// Puts fields into an object, leaving out what is absent.
#[must_use]
pub fn object(fields: impl IntoIterator<Item = (&'static str, Value)>) -> Value {
    let kept = fields.into_iter().filter(|(_, value)| !value.is_null());
    Value::Object(
        kept.map(|(key, value)| (key.to_owned(), value))
            .collect::<Map<_, _>>(),
    )
}

/// A field that may be missing because it came later; then it is the default.
///
/// # Errors
/// [`BadDoc`] with the place that does not read.
pub fn field_or_default<T: Doc + Default>(value: &Value, key: &str) -> Result<T, BadDoc> {
    match value.get(key) {
        Some(_) => field(value, key),
        None => Ok(T::default()),
    }
}

/// What [`field_or_default`] reads back: nothing for the default.
#[must_use]
pub fn unless_default<T: Doc + Default + PartialEq>(field: &T) -> Value {
    if *field == T::default() {
        Value::Null
    } else {
        field.to_doc()
    }
}

fn text(value: &Value) -> Result<&str, BadDoc> {
    value
        .as_str()
        .ok_or_else(|| BadDoc::here("text was expected"))
}

/// Declares how a struct stands in a document: an object of its fields. Fields
/// after `later` came when books already existed: they are left out while they
/// are as in `Default`, and read so where they are absent, so that an older
/// document still reads and an older request sent again is still the same.
#[macro_export]
macro_rules! doc_struct {
    ($($type:ident { $($field:ident),* $(,)? $(; later $($later:ident),* $(,)?)? })*) => {$(
        impl $crate::doc::Doc for $type {
            fn to_doc(&self) -> $crate::doc::Value {
                $crate::doc::object([
                    $((stringify!($field), $crate::doc::Doc::to_doc(&self.$field)),)*
                    $($((stringify!($later), $crate::doc::unless_default(&self.$later)),)*)?
                ])
            }
            fn from_doc(value: &$crate::doc::Value) -> Result<Self, $crate::doc::BadDoc> {
                Ok($type {
                    $($field: $crate::doc::field(value, stringify!($field))?,)*
                    $($($later: $crate::doc::field_or_default(value, stringify!($later))?,)*)?
                })
            }
        }
    )*};
}

/// Declares how a coded enum stands in a document: its word.
#[macro_export]
macro_rules! doc_word {
    ($($type:path),* $(,)?) => {$(
        impl $crate::doc::Doc for $type {
            fn to_doc(&self) -> $crate::doc::Value {
                $crate::doc::Value::String(self.word().to_owned())
            }
            fn from_doc(value: &$crate::doc::Value) -> Result<Self, $crate::doc::BadDoc> {
                value
                    .as_str()
                    .and_then(<$type>::from_word)
                    .ok_or_else(|| $crate::doc::BadDoc::here(concat!("a word of ", stringify!($type))))
            }
        }
    )*};
}

/// Declares how an enum of one-field variants stands in a document: an object
/// with one key.
#[macro_export]
macro_rules! doc_union {
    ($type:path { $($word:literal => $variant:path),* $(,)? }) => {
        impl $crate::doc::Doc for $type {
            fn to_doc(&self) -> $crate::doc::Value {
                match self {
                    $($variant(inner) => $crate::doc::object([($word, $crate::doc::Doc::to_doc(inner))])),*
                }
            }
            fn from_doc(value: &$crate::doc::Value) -> Result<Self, $crate::doc::BadDoc> {
                $(if value.get($word).is_some() {
                    return $crate::doc::field(value, $word).map($variant);
                })*
                Err($crate::doc::BadDoc::here(concat!("a choice of ", stringify!($type))))
            }
        }
    };
}

impl Doc for i64 {
    fn to_doc(&self) -> Value {
        Value::String(self.to_string())
    }
    fn from_doc(value: &Value) -> Result<i64, BadDoc> {
        text(value)?
            .parse()
            .map_err(|_| BadDoc::here("a whole number as text was expected"))
    }
}

impl Doc for i128 {
    fn to_doc(&self) -> Value {
        Value::String(self.to_string())
    }
    fn from_doc(value: &Value) -> Result<i128, BadDoc> {
        text(value)?
            .parse()
            .map_err(|_| BadDoc::here("a whole number as text was expected"))
    }
}

impl Doc for bool {
    fn to_doc(&self) -> Value {
        Value::Bool(*self)
    }
    fn from_doc(value: &Value) -> Result<bool, BadDoc> {
        value
            .as_bool()
            .ok_or_else(|| BadDoc::here("true or false was expected"))
    }
}

impl Doc for String {
    fn to_doc(&self) -> Value {
        Value::String(self.clone())
    }
    fn from_doc(value: &Value) -> Result<String, BadDoc> {
        text(value).map(str::to_owned)
    }
}

impl<T: Doc> Doc for Option<T> {
    fn to_doc(&self) -> Value {
        self.as_ref().map_or(Value::Null, Doc::to_doc)
    }
    fn from_doc(value: &Value) -> Result<Option<T>, BadDoc> {
        if value.is_null() {
            Ok(None)
        } else {
            T::from_doc(value).map(Some)
        }
    }
}

impl<T: Doc> Doc for Vec<T> {
    fn to_doc(&self) -> Value {
        Value::Array(self.iter().map(Doc::to_doc).collect())
    }
    fn from_doc(value: &Value) -> Result<Vec<T>, BadDoc> {
        let list = value
            .as_array()
            .ok_or_else(|| BadDoc::here("a list was expected"))?;
        let read = |(i, item)| T::from_doc(item).map_err(|e| e.under(&format!("[{i}]")));
        list.iter().enumerate().map(read).collect()
    }
}

/// Nothing: a deed of which nothing more than the asking is worth keeping.
impl Doc for () {
    fn to_doc(&self) -> Value {
        Value::Object(Map::new())
    }
    fn from_doc(_: &Value) -> Result<(), BadDoc> {
        Ok(())
    }
}

/// Declares a type that stands in a document as text.
macro_rules! doc_text {
    ($($type:ty: $write:expr, $read:expr, $why:literal;)*) => {$(
        impl Doc for $type {
            fn to_doc(&self) -> Value {
                let write: fn(&$type) -> String = $write;
                Value::String(write(self))
            }
            fn from_doc(value: &Value) -> Result<$type, BadDoc> {
                let read: fn(&str) -> Option<$type> = $read;
                read(text(value)?).ok_or_else(|| BadDoc::here($why))
            }
        }
    )*};
}

doc_text! {
    Weight: |w| w.units().to_string(), |t| t.parse().ok().map(Weight::from_units), "a weight in 10 ng";
    Currency: |c| c.code().to_owned(), Currency::new, "a currency";
    EntryId: ToString::to_string, EntryId::parse, "an entry id";
    LotCode: ToString::to_string, LotCode::parse, "a lot code";
    NaiveDate: |d| d.format("%Y-%m-%d").to_string(), |t| NaiveDate::parse_from_str(t, "%Y-%m-%d").ok(), "a day";
    Grade: |g| g.as_str().to_owned(), Grade::new, "a grade";
    WeightUnit: |u| u.symbol().to_owned(), weight_unit, "a unit of weight";
    ReadingSource: |s| match s { ReadingSource::Keyed => "keyed", ReadingSource::Captured => "captured" }.to_owned(),
        |t| match t { "keyed" => Some(ReadingSource::Keyed), "captured" => Some(ReadingSource::Captured), _ => None },
        "keyed or captured";
}

fn weight_unit(symbol: &str) -> Option<WeightUnit> {
    [
        WeightUnit::Lb,
        WeightUnit::Kg,
        WeightUnit::G,
        WeightUnit::Oz,
    ]
    .into_iter()
    .find(|unit| unit.symbol() == symbol)
}

impl Doc for Money {
    fn to_doc(&self) -> Value {
        object([
            ("currency", self.currency().to_doc()),
            ("minor", self.minor().to_doc()),
        ])
    }
    fn from_doc(value: &Value) -> Result<Money, BadDoc> {
        Ok(Money::new(
            field(value, "minor")?,
            field(value, "currency")?,
        ))
    }
}

impl Doc for UnitPrice {
    fn to_doc(&self) -> Value {
        object([
            ("currency", self.currency().to_doc()),
            ("e4", self.e4().to_doc()),
            ("per", self.per().to_doc()),
        ])
    }
    fn from_doc(value: &Value) -> Result<UnitPrice, BadDoc> {
        let (e4, currency, per) = (
            field(value, "e4")?,
            field(value, "currency")?,
            field(value, "per")?,
        );
        UnitPrice::from_e4(e4, currency, per).map_err(|e| BadDoc::here(e.to_string()))
    }
}

impl Doc for SiteClock {
    fn to_doc(&self) -> Value {
        object([
            ("cutover_hour", i64::from(self.cutover_hour()).to_doc()),
            ("zone", self.zone().to_owned().to_doc()),
        ])
    }
    fn from_doc(value: &Value) -> Result<SiteClock, BadDoc> {
        let zone: String = field(value, "zone")?;
        let hour: i64 = field(value, "cutover_hour")?;
        let hour = u8::try_from(hour).map_err(|e| BadDoc::here(e.to_string()))?;
        SiteClock::new(&zone, hour).map_err(|e| BadDoc::here(e.to_string()))
    }
}

impl Doc for Pieces {
    fn to_doc(&self) -> Value {
        match self {
            Pieces::NotCounted => Value::Null,
            Pieces::Counted(n) => object([("counted", n.to_doc())]),
            Pieces::Estimated(n) => object([("estimated", n.to_doc())]),
        }
    }
    fn from_doc(value: &Value) -> Result<Pieces, BadDoc> {
        if value.is_null() {
            return Ok(Pieces::NotCounted);
        }
        let counted: Option<i64> = field(value, "counted")?;
        Ok(match counted {
            Some(n) => Pieces::Counted(n),
            None => Pieces::Estimated(field(value, "estimated")?),
        })
    }
}

impl Doc for Tare {
    fn to_doc(&self) -> Value {
        match self {
            Tare::Tared => Value::Null,
            Tare::Reading(reading) => object([("reading", reading.to_doc())]),
            Tare::Tote { code, posted } => {
                object([("posted", posted.to_doc()), ("tote", code.to_doc())])
            }
        }
    }
    fn from_doc(value: &Value) -> Result<Tare, BadDoc> {
        if value.is_null() {
            return Ok(Tare::Tared);
        }
        let reading: Option<Reading> = field(value, "reading")?;
        Ok(match reading {
            Some(reading) => Tare::Reading(reading),
            None => Tare::Tote {
                code: field(value, "tote")?,
                posted: field(value, "posted")?,
            },
        })
    }
}

impl Doc for Weighed {
    fn to_doc(&self) -> Value {
        match self {
            Weighed::Pieces(readings) => object([("one_by_one", readings.to_doc())]),
            Weighed::Tote {
                gross,
                tare,
                iced,
                pieces,
            } => object([
                ("gross", gross.to_doc()),
                ("iced", iced.to_doc()),
                ("pieces", pieces.to_doc()),
                ("tare", tare.to_doc()),
            ]),
        }
    }
    fn from_doc(value: &Value) -> Result<Weighed, BadDoc> {
        let one_by_one: Option<Vec<Reading>> = field(value, "one_by_one")?;
        Ok(match one_by_one {
            Some(readings) => Weighed::Pieces(readings),
            None => Weighed::Tote {
                gross: field(value, "gross")?,
                tare: field(value, "tare")?,
                iced: field(value, "iced")?,
                pieces: field(value, "pieces")?,
            },
        })
    }
}

doc_word! {
    Role, Follows, Sex, RulerUnit, DepthUnit, Presentation, Condition, Storage, Hazard, Outlet, Undersize, PartyRole, BandBy, VesselUse,
    Confirmation, SmallFish, Decision, TemperatureUnit, AdjustmentKind, NotBoughtWhy, NoticeKind,
    ReceivingRule, Standing, HoldCause, LengthUnit, Season,
}

doc_union!(LegalRule {
    "minimum_length" => LegalRule::MinimumLength, "season" => LegalRule::Season,
    "trip_pieces" => LegalRule::TripPieces, "trip_weight" => LegalRule::TripWeight,
});
doc_union!(Share { "ppm" => Share::Ppm, "fixed" => Share::Fixed });
doc_union!(AdjustBy { "per_weight" => AdjustBy::PerWeight, "ppm" => AdjustBy::Ppm, "flat" => AdjustBy::Flat });

doc_struct! {
    PartId { lot, n }
    Reading { text, unit, scale, source, weight }
    Site { number, name, clock, currency, buyer, shown_unit, location_description }
    Party { code, name, roles, licence_number, licence_expires, contact }
    Species { code, name, scientific_name, hazards; later lightest, heaviest }
    Scale { site, code, name, accuracy_class, division, capacity, tested_on; later line }
    Tote { site, code, tare, weighed_on }
    Device { site, code, name }
    Settings {
        site, effective_from_us, ice_ppm, undersize_outlet, drip_rates, flag_weight, flag_ppm,
        flag_value, cutting_loss_ppm, water_ppm, finished_weight, finished_ppm, hold_days;
        later tare_days, shortest_mm, longest_mm, mean_most_percent, mean_least_percent,
        deduction_ppm, objection_hours, dispute_days, surface_water_ppm, wet_tote,
        drift_days, drift_pairs, drift_ppm,
        receiving, judging
    }
    JudgingSettings {
        references, fillet_prices, wage_per_hour, supplies, soup_price, dressing_cost, portion,
        cooking_loss_ppm, whole_days, whole_days_ask, soup_days, donation_hours, fillet_days,
        history_days, least_cuts, least_weight, least_days, least_points_e2, false_discovery_ppm,
        ; later dressings,
    }
    DressingYield { species, from, to, keeps_ppm, minutes_per_lb_e2, source }
    ReferenceYield { species, presentation, specification, yield_e2, source }
    FilletPrice { species, specification, price }
    DripRate { species, presentation, storage, ppm_per_day, allowance_ppm_per_day }
    PriceList {
        site, species, effective_from_us, band_by, currency, price_per, edge_unit, presentations,
        condition_adjustments,
    }
    PresentationPrices { presentation, plate_minimum, grades }
    GradePrices { grade, bands, not_counted }
    Band { from, to, price, name }
    ConditionAdjustment { condition, per_unit }
    WeighIn {
        site, harvester, landing, lots, confirmation, first_reading_us, sent_us, offline_payout,
        device, rewrites, payees, adjustments, note; later answers, lot_number
    }
    QuestionAnswer { code, text }
    AgreedPrice {
        site, harvester, species, presentation, grade, from_us, to_us, price, below_plate, reason,
    }
    AgreedUsed { entry, price, reason }
    Baseline { site, follows, party, from, to, reason }
    Landing {
        areas, harvest_from, harvest_to, gear, landing_place, landed_on, vessel, vessel_use, dives,
        ; later depth, minutes_fished,
    }
    Depth { from, to, unit }
    CatchArea { system, code }
    LotIn {
        species, presentation, storage, weighings, receiving, small_fish, areas, harvest_from,
        harvest_to,
        ; later tally,
    }
    Tally { rows, unit, largest, removed }
    TallyRow { sex, eggs, length, count }
    CodesAsked { site, device, numbers }
    Receiving {
        decision, reason, corrective_action, first_speared_us, iced_us, ice_around, probes;
        later smallest_length, area_unclear, hold_cause
    }
    Temperature { text, unit }
    Weighing { grade, condition, weighed }
    Rewrite { ticket, reason }
    VoidAsked { ticket, reason }
    PayeeShare { party, share }
    Adjustment { name, kind, by }
    Ticket {
        priced_us, number, lots, lines, not_bought, adjustments, lines_total, payout, owed, held,
        undersize, notices; later released, shares,
    }
    PayeeAmount { party, owed, held }
    ReleasedBefore { line, weight, pay }
    TicketLot { n, place, species_name, price_list, weighed; later received }
    Net { gross, tare, ice, net }
    Line {
        lot, part, band, band_name, band_from, band_to, grade, condition, held, pieces, net, ice,
        list_price, price, amount, undersize, proposed, proposed_reason; later agreed
    }
    NotBought { lot, net, why, reason, corrective_action }
    AdjustmentLine { name, kind, amount }
    Notice { kind, code, text, line }
    ReceivingSettings {
        cold_limit, hours_to_cool, probes, probes_heavy, heavy_lot, histamine_limits,
        areas_of_concern, legal_limits, release_reasons,
    }
    HistamineLimit { hours_at_most, temperature_at_most }
    AreaOfConcern { area, species, piece_weight_above, days, note }
    LegalLimit { species, days, says }
    HarvestDays { from, to }
    Length { text, unit }
    Finding { rule, standing, text }
    Received { findings, reprobe_due_us }
    ReprobeAsked { lot, probes, ice_around, note, happened_us }
    Reprobed { passed, warmest, limit, notices }
    KeyAsked { name, role, party, expires_us, certificate }
    Key { asked, sha256, revoked }
    RevokeAsked { key, reason }
    LinkAsked { key, ends_us }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
pub(crate) mod tests;
