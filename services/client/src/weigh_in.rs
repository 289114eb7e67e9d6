//! `weigh-in`: one lot in one tote, or fish by fish, from the command line.
//!
//! It is for trying the service and for the odd single lot; several lots on one
//! ticket are one request to the service.

use clap::builder::{PossibleValuesParser, TypedValueParser};
use proto::google::r#type::Date;
use proto::v1;

use crate::trouble::Trouble;
use crate::{Reach, ticket};

/// Arguments of `weigh-in`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example, a tote with a named tare:
  weighhouse weigh-in --site 1 --diver diver-1 --species PZO --presentation whole \\
    --grade A --condition clean --gross 45.60 --tote grey-1 --unit lb --scale dock \\
    --pieces 66 --iced --storage drained-ice --area FAO:31 --gear 10.8 --confirmed by-diver

Example, two fish one by one:
  weighhouse weigh-in --site 1 --diver diver-1 --species LCX --presentation whole \\
    --grade A --condition body --piece 2.61 --piece 3.05 --scale piece --confirmed diver-absent

Several lots on one ticket, a tally of the fish, answers to questions and shares of the
pay are too much for flags: `weighhouse send` takes them from a file.")]
pub struct WeighIn {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Party code of the diver, the harvester of record
    #[arg(long)]
    diver: String,
    /// Species, ASFIS 3-alpha code
    #[arg(long)]
    species: String,
    /// Form of the fish
    #[arg(long, value_parser = presentations())]
    presentation: v1::Presentation,
    /// Quality grade on the price list
    #[arg(long)]
    grade: String,
    /// Where the spear went
    #[arg(long, value_parser = conditions())]
    condition: Option<v1::Condition>,
    /// How it is kept
    #[arg(long, value_parser = storages())]
    storage: Option<v1::Storage>,

    /// Weight with the tote, as the scale shows it
    #[arg(long, value_name = "WEIGHT", required_unless_present = "piece")]
    gross: Option<String>,
    #[command(flatten)]
    tare: Tare,
    /// Weight of one fish; once for each fish, in place of a tote
    #[arg(long, value_name = "WEIGHT", conflicts_with_all = ["gross", "tare", "tote", "tared", "iced", "pieces", "about_pieces"])]
    piece: Vec<String>,
    /// Unit of all readings
    #[arg(long, value_parser = units(), default_value = "lb")]
    unit: v1::WeightUnit,
    /// Code of the scale
    #[arg(long, default_value = "")]
    scale: String,
    /// The tote takes the site's ice allowance
    #[arg(long)]
    iced: bool,
    /// Number of fish, counted; not counted when left out
    #[arg(long, value_name = "N")]
    pieces: Option<i32>,
    /// Number of fish, a guess
    #[arg(long, value_name = "N", conflicts_with = "pieces")]
    about_pieces: Option<i32>,

    /// What the diver does with fish below the plate minimum
    #[arg(long, value_parser = small_fish(), default_value = "sell")]
    small: v1::SmallFish,
    /// Answer at the dock
    #[arg(long, value_parser = decisions(), default_value = "accept")]
    decision: v1::Decision,
    /// Why it is held or refused
    #[arg(long, default_value = "")]
    reason: String,
    /// What was done about refused fish
    #[arg(long, default_value = "")]
    corrective_action: String,
    /// Temperature of the fish, degrees Fahrenheit; once for each probe
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    probe_f: Vec<String>,
    /// Temperature of the fish, degrees Celsius; once for each probe
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    probe_c: Vec<String>,

    /// Area fished, as SYSTEM:CODE; once for each area
    #[arg(long, value_name = "SYSTEM:CODE", value_parser = area)]
    area: Vec<v1::CatchArea>,
    /// First day of the catch, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    caught_from: Option<Date>,
    /// Last day of the catch; the first when left out
    #[arg(long, value_name = "DAY", value_parser = crate::day, requires = "caught_from")]
    caught_to: Option<Date>,
    /// Gear code (ISSCFG)
    #[arg(long, default_value = "")]
    gear: String,
    /// Place where it came ashore
    #[arg(long, value_name = "PLACE", default_value = "")]
    landed_at: String,
    /// Day on which it came ashore, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    landed_on: Option<Date>,
    /// Vessel
    #[arg(long, default_value = "")]
    vessel: String,
    /// Whether there was a vessel
    #[arg(long, value_parser = vessel_uses())]
    vessel_use: Option<v1::VesselUse>,
    /// Number of dives
    #[arg(long, value_name = "N")]
    dives: Option<i32>,
    /// How deep, as FROM-TO and a unit: 40-95ft, 12m or 5-10fathom
    #[arg(long, value_name = "DEPTH", value_parser = depth)]
    depth: Option<v1::Depth>,
    /// Time fished, minutes
    #[arg(long, value_name = "MINUTES", default_value = "")]
    minutes_fished: String,

    /// Who confirmed the ticket; pay is owed either way
    #[arg(long, value_parser = confirmations())]
    confirmed: v1::Confirmation,
    /// Note on the ticket
    #[arg(long, default_value = "")]
    note: String,
    /// Device that wrote the ticket
    #[arg(long, value_name = "CODE", default_value = "")]
    device: String,
    /// Number that the device asked for ahead (`request-codes`); the lot codes bear it
    #[arg(long, value_name = "NUMBER", default_value = "", requires = "device")]
    lot_number: String,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

/// Fields of the request, and the flags that a person types for them.
const FLAGS: &[(&str, &str)] = &[
    ("site", "--site"),
    ("harvester", "--diver"),
    ("confirmation", "--confirmed"),
    ("note", "--note"),
    ("device", "--device"),
    ("lot_number", "--lot-number"),
    ("request_id", "--request-id"),
    ("landing.areas", "--area"),
    ("landing.harvest_from", "--caught-from"),
    ("landing.harvest_to", "--caught-to"),
    ("landing.gear", "--gear"),
    ("landing.landing_place", "--landed-at"),
    ("landing.landed_on", "--landed-on"),
    ("landing.vessel", "--vessel"),
    ("landing.vessel_use", "--vessel-use"),
    ("landing.dives", "--dives"),
    ("lots.species", "--species"),
    ("lots.presentation", "--presentation"),
    ("lots.storage", "--storage"),
    ("lots.small_fish", "--small"),
    ("lots.receiving.decision", "--decision"),
    ("lots.receiving.reason", "--reason"),
    ("lots.receiving.corrective_action", "--corrective-action"),
    ("lots.receiving.probes", "--probe-f, --probe-c"),
    ("lots.weighings.grade", "--grade"),
    ("lots.weighings.condition", "--condition"),
    ("lots.weighings.tote.gross", "--gross"),
    ("lots.weighings.tote.gross.scale", "--scale"),
    ("lots.weighings.tote.tare_reading", "--tare"),
    ("lots.weighings.tote.tote", "--tote"),
    ("lots.weighings.tote.pieces", "--pieces"),
    ("lots.weighings.pieces.pieces", "--piece"),
    ("lots.weighings.pieces.pieces.scale", "--scale"),
];

/// Weight of the tote itself.
#[derive(Debug, clap::Args)]
#[group(multiple = false)]
struct Tare {
    /// Weight of the empty tote, as the scale shows it
    #[arg(long, value_name = "WEIGHT")]
    tare: Option<String>,
    /// Code of a named tote
    #[arg(long, value_name = "CODE")]
    tote: Option<String>,
    /// The scale was set to zero with the tote on it
    #[arg(long)]
    tared: bool,
}

impl WeighIn {
    pub(crate) async fn run(self: Box<Self>) -> Result<String, Trouble> {
        let reach = self.reach.clone();
        let request = self.request();
        let id = request.request_id.clone();
        let service = reach.service().await?;
        let answer = service
            .record_weigh_in(request)
            .await
            .map_err(|trouble| trouble.of_request(&id).in_flags(FLAGS))?;
        let booked = ticket::present(answer.ticket.clone())?;
        reach
            .say(&service, &answer, |known| ticket::text(&booked, known))
            .await
    }

    /// What is sent. Weights, counts and temperatures go as they were typed: the
    /// service judges them.
    fn request(self) -> v1::RecordWeighInRequest {
        let reading = |decimal: String| v1::Reading {
            decimal,
            unit: self.unit.into(),
            scale: self.scale.clone(),
            source: v1::ReadingSource::Keyed.into(),
        };
        let weighed = if self.piece.is_empty() {
            let tare = match self.tare {
                Tare {
                    tare: Some(tare), ..
                } => Some(v1::tote_weighing::Tare::TareReading(reading(tare))),
                Tare {
                    tote: Some(code), ..
                } => Some(v1::tote_weighing::Tare::Tote(code)),
                Tare { tared: true, .. } => Some(v1::tote_weighing::Tare::Tared(true)),
                Tare { .. } => None,
            };
            v1::weighing::Weighed::Tote(v1::ToteWeighing {
                gross: self.gross.map(reading),
                tare,
                iced: self.iced,
                pieces: self.pieces.or(self.about_pieces),
                pieces_estimated: self.about_pieces.is_some(),
            })
        } else {
            v1::weighing::Weighed::Pieces(v1::PieceWeighing {
                pieces: self.piece.into_iter().map(reading).collect(),
            })
        };
        let probes = |degrees: Vec<String>, unit: v1::TemperatureUnit| {
            degrees.into_iter().map(move |decimal| v1::Temperature {
                decimal,
                unit: unit.into(),
            })
        };
        let receiving = v1::Receiving {
            decision: self.decision.into(),
            reason: self.reason,
            corrective_action: self.corrective_action,
            probes: probes(self.probe_f, v1::TemperatureUnit::Fahrenheit)
                .chain(probes(self.probe_c, v1::TemperatureUnit::Celsius))
                .collect(),
            ..v1::Receiving::default()
        };
        v1::RecordWeighInRequest {
            request_id: self
                .request_id
                .unwrap_or_else(uuid::Uuid::new_v4)
                .to_string(),
            site: self.site,
            harvester: self.diver,
            landing: Some(v1::Landing {
                areas: self.area,
                harvest_from: self.caught_from,
                harvest_to: self.caught_to.or(self.caught_from),
                gear: self.gear,
                landing_place: self.landed_at,
                landed_on: self.landed_on,
                vessel: self.vessel,
                vessel_use: self.vessel_use.map_or(0, i32::from),
                dives: self.dives,
                depth: self.depth,
                minutes_fished: self.minutes_fished,
            }),
            lots: vec![v1::LotIn {
                species: self.species,
                presentation: self.presentation.into(),
                storage: self.storage.map_or(0, i32::from),
                weighings: vec![v1::Weighing {
                    grade: self.grade,
                    condition: self.condition.map_or(0, i32::from),
                    weighed: Some(weighed),
                }],
                receiving: Some(receiving),
                small_fish: self.small.into(),
                ..v1::LotIn::default()
            }],
            confirmation: self.confirmed.into(),
            note: self.note,
            device: self.device,
            lot_number: self.lot_number,
            ..v1::RecordWeighInRequest::default()
        }
    }
}

pub(crate) fn area(text: &str) -> Result<v1::CatchArea, String> {
    match text.split_once(':') {
        Some((system, code)) if !system.is_empty() && !code.is_empty() => Ok(v1::CatchArea {
            system: system.to_owned(),
            code: code.to_owned(),
        }),
        _ => Err("an area is written SYSTEM:CODE, such as FAO:31".to_owned()),
    }
}

fn depth(text: &str) -> Result<v1::Depth, String> {
    let at = text.find(|c: char| c.is_ascii_alphabetic());
    let (range, unit) = text.split_at(at.unwrap_or(text.len()));
    let unit = match unit {
        "ft" => v1::DepthUnit::Foot,
        "m" => v1::DepthUnit::Metre,
        "fathom" => v1::DepthUnit::Fathom,
        _ => return Err("a depth is written with its unit, such as 40-95ft or 12m".to_owned()),
    };
    let (from, to) = range.split_once('-').unwrap_or((range, ""));
    Ok(v1::Depth {
        from: from.trim().to_owned(),
        to: to.trim().to_owned(),
        unit: unit.into(),
    })
}

/// The words of an enum of the contract: its names there, without the enum's
/// own, in small letters.
macro_rules! words {
    ($($parser:ident: $enum:ident $prefix:literal [$($word:literal),+ $(,)?];)+) => {
        $(pub(crate) fn $parser() -> impl TypedValueParser<Value = v1::$enum> {
            PossibleValuesParser::new([$($word),+]).try_map(|word| {
                let name = format!("{}{}", $prefix, word.to_ascii_uppercase().replace('-', "_"));
                v1::$enum::from_str_name(&name).ok_or("the contract does not know it")
            })
        })+

        #[cfg(test)]
        const WORDS: &[(&str, &[&str])] = &[$((stringify!($parser), &[$($word),+])),+];
    };
}

words! {
    presentations: Presentation "PRESENTATION_" [
        "whole", "spines-clipped", "gutted", "gutted-headed", "fillet-skin-on", "fillet-skinless",
        "trim", "frames", "roe", "other",
    ];
    conditions: Condition "CONDITION_" ["clean", "body", "torn"];
    storages: Storage "STORAGE_" ["drained-ice", "dry-cooler", "slush", "frozen"];
    units: WeightUnit "WEIGHT_UNIT_" ["lb", "kg", "g", "oz"];
    small_fish: SmallFish "SMALL_FISH_" ["sell", "give", "take-home"];
    decisions: Decision "DECISION_" ["accept", "hold", "refuse"];
    vessel_uses: VesselUse "VESSEL_USE_" ["none", "vessel", "unclear"];
    confirmations: Confirmation "CONFIRMATION_" ["by-diver", "diver-absent"];
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use clap::Parser;

    use super::*;

    #[derive(Debug, Parser)]
    struct Only {
        #[command(flatten)]
        weigh_in: WeighIn,
    }

    const BARE: &str = "x --site 1 --diver diver-1 --species PZO --presentation whole \
                        --grade A --confirmed by-diver";

    fn parse(more: &str) -> Result<v1::RecordWeighInRequest, clap::Error> {
        Only::try_parse_from(BARE.split_whitespace().chain(more.split_whitespace()))
            .map(|only| only.weigh_in.request())
    }

    fn tote(request: &v1::RecordWeighInRequest) -> v1::ToteWeighing {
        match request.lots[0].weighings[0].weighed.clone() {
            Some(v1::weighing::Weighed::Tote(tote)) => tote,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn readings_go_as_they_were_typed() {
        let request = parse("--gross 42.00 --tare 3.60 --scale dock --pieces 20 --iced").unwrap();
        let tote = tote(&request);
        let gross = tote.gross.unwrap();
        assert_eq!(
            (gross.decimal.as_str(), gross.unit()),
            ("42.00", v1::WeightUnit::Lb)
        );
        assert_eq!(gross.scale, "dock");
        assert!(tote.iced && !tote.pieces_estimated);
        assert_eq!(tote.pieces, Some(20));
        match tote.tare.unwrap() {
            v1::tote_weighing::Tare::TareReading(tare) => assert_eq!(tare.decimal, "3.60"),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_depth_is_written_with_its_unit() {
        for (text, wanted) in [
            ("40-95.5ft", Some(("40", "95.5", v1::DepthUnit::Foot))),
            ("12m", Some(("12", "", v1::DepthUnit::Metre))),
            ("5-10fathom", Some(("5", "10", v1::DepthUnit::Fathom))),
            ("40-95", None),
            ("40 yards", None),
        ] {
            let wanted = wanted.map(|(from, to, unit)| v1::Depth {
                from: from.to_owned(),
                to: to.to_owned(),
                unit: unit.into(),
            });
            assert_eq!(depth(text).ok(), wanted, "{text}");
        }
    }

    #[test]
    fn not_counted_is_not_zero_and_a_guess_is_said() {
        assert_eq!(tote(&parse("--gross 42.00 --tared").unwrap()).pieces, None);
        let guess = tote(&parse("--gross 42.00 --tared --about-pieces 60").unwrap());
        assert_eq!((guess.pieces, guess.pieces_estimated), (Some(60), true));
    }

    #[test]
    fn a_tote_has_one_tare_and_fish_weighed_one_by_one_have_none() {
        assert!(parse("--gross 42.00 --tare 3.60 --tote grey-1").is_err());
        assert!(parse("--piece 2.61 --gross 42.00").is_err());
        assert!(parse("--piece 2.61 --tare 0.10").is_err());
        assert!(parse("").is_err(), "nothing was weighed");
        let request = parse("--piece 2.61 --piece 3.05 --unit kg").unwrap();
        match request.lots[0].weighings[0].weighed.clone().unwrap() {
            v1::weighing::Weighed::Pieces(pieces) => {
                assert_eq!(pieces.pieces.len(), 2);
                assert_eq!(pieces.pieces[1].unit(), v1::WeightUnit::Kg);
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn every_field_is_named_by_a_flag_that_is_there() {
        use clap::CommandFactory as _;
        let command = Only::command();
        let flags: Vec<String> = command
            .get_arguments()
            .filter_map(|arg| arg.get_long())
            .map(|long| format!("--{long}"))
            .collect();
        for (field, typed) in FLAGS {
            for flag in typed.split(", ") {
                assert!(flags.iter().any(|known| known == flag), "{field}: {flag}");
            }
        }
    }

    #[test]
    fn a_weight_below_zero_reaches_the_service_which_says_why_not() {
        use clap::CommandFactory as _;
        let words = format!("{BARE} --gross -4.00 --tare -3.60 --pieces -2");
        let matches = crate::lenient(Only::command())
            .try_get_matches_from(words.split_whitespace())
            .unwrap();
        assert_eq!(matches.get_one::<String>("gross").unwrap(), "-4.00");
        assert_eq!(matches.get_one::<i32>("pieces"), Some(&-2));
    }

    #[test]
    fn a_number_asked_ahead_goes_with_its_device() {
        let number = "--gross 42.00 --tared --lot-number 2031050200010000009";
        assert!(parse(number).is_err(), "whose number is it?");
        let request = parse(&format!("{number} --device tablet-1")).unwrap();
        assert_eq!(request.lot_number, "2031050200010000009");
        assert_eq!(request.device, "tablet-1");
    }

    #[test]
    fn each_request_has_an_id_of_its_own_unless_one_is_given() {
        let (first, second) = (
            parse("--gross 1 --tared").unwrap(),
            parse("--gross 1 --tared").unwrap(),
        );
        assert_ne!(first.request_id, second.request_id);
        let id = "5b1c6a9e-2f70-4c55-9a54-0b8f2a4e6d11";
        let given = parse(&format!("--gross 1 --tared --request-id {id}")).unwrap();
        assert_eq!(given.request_id, id);
    }

    #[test]
    fn every_word_is_one_of_the_contract_and_none_is_missing() {
        let check =
            |parser: &str, read: &dyn Fn(&str) -> bool, values: std::ops::RangeInclusive<i32>| {
                let words = WORDS.iter().find(|(name, _)| *name == parser).unwrap().1;
                assert!(words.iter().all(|word| read(word)), "{parser}");
                assert_eq!(words.len(), values.count(), "{parser}");
            };
        macro_rules! all {
            ($($parser:ident $enum:ident;)+) => {$(
                let last = (1..100).take_while(|n| v1::$enum::try_from(*n).is_ok()).last().unwrap();
                check(stringify!($parser), &|word| {
                    let command = clap::Command::new("x").arg(clap::Arg::new("v").value_parser($parser()));
                    command.try_get_matches_from(["x", word]).is_ok()
                }, 1..=last);
            )+};
        }
        all! {
            presentations Presentation;
            conditions Condition;
            storages Storage;
            units WeightUnit;
            small_fish SmallFish;
            decisions Decision;
            vessel_uses VesselUse;
            confirmations Confirmation;
        }
    }
}
