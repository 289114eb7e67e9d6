//! What the form of a weigh-in says: lots of a species each, their totes and their fish
//! one by one.
//!
//! Fields of the first lot bear their plain names, those of the second `lot2_` before
//! them, and so on. What the form cannot say is left out, and the desk refuses what
//! cannot be.

use chrono::{NaiveDate, NaiveTime, Timelike as _};
use rules::business_day::day_number;
use rules::fish::{Condition, Grade, Presentation, Storage};
use rules::office::Site;
use rules::receiving::{Length, LengthUnit};
use rules::ticket::{
    CatchArea, Confirmation, Decision, Landing, LotIn, Pieces, QuestionAnswer, Receiving,
    SmallFish, Tare, Temperature, TemperatureUnit, WeighIn, Weighed, Weighing,
};
use rules::weight::{Reading, ReadingSource, WeightUnit};

use crate::form::Fields;
use crate::refused::Refused;
use crate::words::Words;

/// Rows for totes at first, and how many more at a time.
pub(super) const ROWS: usize = 3;
/// Most rows for totes of a lot.
const MOST_ROWS: usize = 60;
/// Most lots of one form.
const MOST_LOTS: usize = 6;
/// Fields for temperatures of a lot.
pub(super) const PROBES: usize = 3;
/// When the times of day of a form were written, microseconds since 1970 UTC.
pub(super) const AS_OF: &str = "as_of_us";
/// Longest that a word of a form may be.
const LONGEST: usize = 500;
/// What a row for a tote has.
const OF_A_TOTE: [&str; 8] = [
    "gross",
    "tare",
    "tote",
    "pieces",
    "grade",
    "condition",
    "iced",
    "about",
];

/// The name of a field of a lot, counted from 1.
pub(super) fn named(lot: usize, field: &str) -> String {
    format!("{}{field}", before(lot))
}

/// What stands before the names of a lot's fields.
pub(super) fn before(lot: usize) -> String {
    match lot {
        0 | 1 => String::new(),
        lot => format!("lot{lot}_"),
    }
}

/// How many lots a form has.
pub(super) fn lots(fields: &Fields) -> usize {
    let said = fields.get("lots").parse().unwrap_or(1);
    said.clamp(1, MOST_LOTS)
}

/// How many rows for totes a lot of it has.
pub(super) fn rows(fields: &Fields, lot: usize) -> usize {
    let said = fields.get(&named(lot, "rows")).parse().unwrap_or(ROWS);
    said.clamp(ROWS, MOST_ROWS)
}

/// The form with what a button asked for: `more` rows (`more_2` of the second lot),
/// another `lot`, or `undo` of what was written last. Nothing where it is another button.
pub(super) fn changed(fields: &Fields) -> Option<Fields> {
    let step = fields.get("do");
    let lots = lots(fields);
    let more = (1..=lots).find(|lot| step == more_of(*lot));
    if let Some(lot) = more {
        let rows = rows(fields, lot).saturating_add(ROWS).min(MOST_ROWS);
        return Some(fields.with(&named(lot, "rows"), &rows.to_string()));
    }
    match step {
        "lot" => {
            let lots = lots.saturating_add(1).min(MOST_LOTS);
            Some(fields.with("lots", &lots.to_string()))
        }
        "undo" => Some(undone(fields)),
        _ => None,
    }
}

/// The button for more rows of a lot.
pub(super) fn more_of(lot: usize) -> String {
    match lot {
        0 | 1 => "more".to_owned(),
        lot => format!("more_{lot}"),
    }
}

/// Without the last fish, else the last tote, else the last lot where it is empty.
fn undone(fields: &Fields) -> Fields {
    let lots = lots(fields);
    for lot in (1..=lots).rev() {
        let fish = named(lot, "fish");
        let weights: Vec<_> = fields.get(&fish).split_whitespace().collect();
        if let Some((_, before)) = weights.split_last() {
            return fields.with(&fish, &before.join(" "));
        }
        for row in (1..=rows(fields, lot)).rev() {
            let names = OF_A_TOTE.map(|field| named(lot, &format!("{field}_{row}")));
            if names.iter().any(|name| !fields.get(name).is_empty()) {
                return fields.without(|name| names.iter().any(|of| of == name));
            }
        }
        if lot > 1 {
            let own = before(lot);
            let rest = fields.without(|name| name.starts_with(&own));
            return rest.with("lots", &lot.saturating_sub(1).to_string());
        }
    }
    fields.clone()
}

/// What a form says.
///
/// Its times of day are of the site's clock, and were written at `as_of_us` of the form, so
/// that a form sent again means the same; without that they were written now.
///
/// # Errors
/// What cannot be read, by the words beside its field.
pub(super) fn read(
    w: &Words,
    fields: &Fields,
    site: &Site,
    now_us: i64,
) -> Result<WeighIn, Refused> {
    let number = |name: &str| fields.get(name).parse::<i64>().ok();
    let date = |name: &str, words: &str| match fields.get(name) {
        "" => Ok(None),
        text => text
            .parse()
            .map(Some)
            .map_err(|_| Refused::said(words, w.no_date)),
    };
    if fields.get("harvester").is_empty() {
        return Err(Refused::said(w.diver, w.is_needed));
    }
    let confirmation = number("confirmation").and_then(Confirmation::from_number);
    let areas = match fields.get("area") {
        "" => Vec::new(),
        code => vec![CatchArea {
            system: "site".to_owned(),
            code: short(code),
        }],
    };
    let caught: Option<NaiveDate> = date("caught", w.caught)?;
    let written_us = fields.get(AS_OF).parse().unwrap_or(now_us);
    let time = |words: String, name: &str, on: Option<NaiveDate>| {
        let text = fields.get(name);
        if text.is_empty() {
            return Ok(None);
        }
        let minute = minute_of(text).ok_or_else(|| Refused::said(&words, w.no_time))?;
        let on = on.map(day_number);
        let at = site.clock.written_time_us(minute, on, written_us);
        at.map(Some)
            .ok_or_else(|| Refused::said(words, w.lies_ahead))
    };
    // The first was speared on the day it was caught; ice came when it came.
    let times = |n: usize, at: &dyn Fn(&str) -> String| {
        let speared = time(at(w.first_speared), &named(n, "speared_at"), caught)?;
        let iced = time(at(w.iced_at), &named(n, "iced_at"), None)?;
        Ok((speared, iced))
    };
    let lots = (1..=lots(fields)).map(|n| lot(w, fields, n, &times));
    Ok(WeighIn {
        site: site.number,
        harvester: fields.get("harvester").to_owned(),
        lots: lots.collect::<Result<_, _>>()?,
        landing: Landing {
            areas,
            harvest_from: caught,
            harvest_to: caught,
            landing_place: short(fields.get("place")),
            landed_on: date("landed", w.landed)?,
            dives: number("dives"),
            ..Landing::default()
        },
        confirmation: confirmation.ok_or_else(|| Refused::said(w.confirmed, w.is_needed))?,
        first_reading_us: None,
        sent_us: None,
        offline_payout: None,
        device: String::new(),
        rewrites: None,
        payees: Vec::new(),
        adjustments: Vec::new(),
        note: short(fields.get("note")),
        lot_number: None,
        answers: answers(fields),
    })
}

/// Minutes after midnight; browsers write seconds only where somebody typed some.
fn minute_of(text: &str) -> Option<i64> {
    let parse = |how: &str| NaiveTime::parse_from_str(text, how).ok();
    let time = parse("%H:%M").or_else(|| parse("%H:%M:%S"))?;
    Some(i64::from(time.num_seconds_from_midnight() / 60))
}

/// When the first fish of a lot was speared and when it was iced, by the lot and the words
/// that say which one it is.
type Times<'a> =
    dyn Fn(usize, &dyn Fn(&str) -> String) -> Result<(Option<i64>, Option<i64>), Refused> + 'a;

/// One lot of it. Words of a later lot say which one it is.
fn lot(w: &Words, fields: &Fields, n: usize, times: &Times<'_>) -> Result<LotIn, Refused> {
    let at = |words: &str| match n {
        1 => words.to_owned(),
        n => format!("{} {n}, {words}", w.lot.to_lowercase()),
    };
    let number = |name: &str| fields.get(&named(n, name)).parse::<i64>().ok();
    let needed = |words: &str| Refused::said(at(words), w.is_needed);
    if fields.get(&named(n, "species")).is_empty() {
        return Err(needed(w.species));
    }
    let presentation = number("presentation").and_then(Presentation::from_number);
    let decision = number("decision").and_then(Decision::from_number);
    let small_fish = number("small").and_then(SmallFish::from_number);
    let (first_speared_us, iced_us) = times(n, &at)?;
    Ok(LotIn {
        species: fields.get(&named(n, "species")).to_owned(),
        presentation: presentation.ok_or_else(|| needed(w.form))?,
        storage: number("storage").and_then(Storage::from_number),
        weighings: weighings(w, fields, n, &at)?,
        receiving: Receiving {
            decision: decision.ok_or_else(|| needed(w.decision))?,
            reason: short(fields.get(&named(n, "reason"))),
            corrective_action: short(fields.get(&named(n, "action"))),
            first_speared_us,
            iced_us,
            ice_around: match fields.get(&named(n, "ice_around")) {
                "yes" => Some(true),
                "no" => Some(false),
                _ => None,
            },
            probes: probes(w, fields, n, &at)?,
            smallest_length: smallest(w, fields, n, &at)?,
            area_unclear: !fields.get("area_unclear").is_empty(),
            hold_cause: None,
        },
        small_fish: small_fish.ok_or_else(|| needed(w.small_fish))?,
        areas: Vec::new(),
        harvest_from: None,
        harvest_to: None,
        tally: None,
    })
}

fn short(text: &str) -> String {
    text.chars().take(LONGEST).collect()
}

/// Temperatures that were read, each in the lot's unit.
fn probes(
    w: &Words,
    fields: &Fields,
    lot: usize,
    in_lot: &impl Fn(&str) -> String,
) -> Result<Vec<Temperature>, Refused> {
    let unit = match fields.get(&named(lot, "degrees")) {
        "C" => TemperatureUnit::Celsius,
        _ => TemperatureUnit::Fahrenheit,
    };
    let texts = (1..=PROBES).map(|n| (n, fields.get(&named(lot, &format!("probe_{n}")))));
    let probe = |(n, text): (usize, &str)| {
        let probe = Temperature {
            text: text.to_owned(),
            unit,
        };
        match probe.heat() {
            Some(_) => Ok(probe),
            None => Err(Refused::said(
                in_lot(&format!("{} {n}", w.probe)),
                w.no_degrees,
            )),
        }
    };
    texts
        .filter(|(_, text)| !text.is_empty())
        .map(probe)
        .collect()
}

/// The shortest fish of a lot, where it was measured.
fn smallest(
    w: &Words,
    fields: &Fields,
    lot: usize,
    in_lot: &impl Fn(&str) -> String,
) -> Result<Option<Length>, Refused> {
    let text = fields.get(&named(lot, "smallest"));
    if text.is_empty() {
        return Ok(None);
    }
    let unit = fields.get(&named(lot, "length_unit"));
    let length = Length {
        text: text.to_owned(),
        unit: LengthUnit::from_word(unit).unwrap_or(LengthUnit::In),
    };
    match length.tenths_of_um() {
        Some(1..) => Ok(Some(length)),
        _ => Err(Refused::said(in_lot(w.smallest), w.no_length)),
    }
}

/// What was said to the questions that a check asked.
fn answers(fields: &Fields) -> Vec<QuestionAnswer> {
    let codes = (0..fields.count("asked")).map(|n| fields.nth("asked", n));
    codes
        .map(|code| QuestionAnswer {
            code: short(code),
            text: short(fields.get(&format!("answer_{code}"))),
        })
        .filter(|answer| !answer.text.is_empty())
        .collect()
}

fn weighings(
    w: &Words,
    fields: &Fields,
    lot: usize,
    in_lot: &impl Fn(&str) -> String,
) -> Result<Vec<Weighing>, Refused> {
    let unit = match fields.get("unit") {
        "kg" => WeightUnit::Kg,
        _ => WeightUnit::Lb,
    };
    let field = |name: &str| fields.get(&named(lot, name)).to_owned();
    let weigh = |words: String, text: &str| {
        let reading = Reading::new(text, unit, fields.get("scale"), ReadingSource::Keyed);
        reading.map_err(|bad| Refused::said(words, bad.to_string()))
    };
    let grade = |words: String, text: &str| match text {
        "" => Ok(Grade::none()),
        text => {
            Grade::new(&text.to_ascii_uppercase()).ok_or_else(|| Refused::said(words, w.no_grade))
        }
    };
    let condition = |name: &str| field(name).parse().ok().and_then(Condition::from_number);
    let mut weighings = Vec::new();
    for n in 1..=rows(fields, lot) {
        let of = |what: &str| field(&format!("{what}_{n}"));
        let (gross, tare, tote) = (of("gross"), of("tare"), of("tote"));
        if gross.is_empty() && tare.is_empty() {
            continue;
        }
        let at = |what: &str| in_lot(&format!("{} {n}, {what}", w.tote));
        let tare = match (tare.as_str(), tote) {
            ("", tote) if tote.is_empty() => Tare::Tared,
            ("", code) => Tare::Tote { code, posted: None },
            (text, _) => Tare::Reading(weigh(at(w.tare), text)?),
        };
        let pieces = match of("pieces").as_str() {
            "" => Pieces::NotCounted,
            text => {
                let pieces = text
                    .parse()
                    .map_err(|_| Refused::said(at(w.pieces), w.no_number))?;
                match of("about").as_str() {
                    "" => Pieces::Counted(pieces),
                    _ => Pieces::Estimated(pieces),
                }
            }
        };
        weighings.push(Weighing {
            grade: grade(at(w.grade), &of("grade"))?,
            condition: condition(&format!("condition_{n}")),
            weighed: Weighed::Tote {
                gross: weigh(at(w.gross), &gross)?,
                tare,
                iced: !of("iced").is_empty(),
                pieces,
            },
        });
    }
    let fish = field("fish");
    let texts: Vec<&str> = fish.split_whitespace().collect();
    if !texts.is_empty() {
        let one_by_one = || in_lot(w.one_by_one);
        let fish: Result<Vec<_>, _> = texts.iter().map(|text| weigh(one_by_one(), text)).collect();
        weighings.push(Weighing {
            grade: grade(one_by_one(), &field("grade_fish"))?,
            condition: condition("condition_fish"),
            weighed: Weighed::Pieces(fish?),
        });
    }
    if weighings.is_empty() {
        return Err(Refused::said(in_lot(w.gross), w.is_needed));
    }
    Ok(weighings)
}

#[cfg(test)]
pub(super) mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::words::Language;

    /// 15:00 on 2031-05-02 in New York.
    const NOW_US: i64 = 1_935_514_800_000_000;

    fn read(w: &Words, fields: &Fields) -> Result<WeighIn, Refused> {
        super::read(w, fields, &crate::show::sample_site(), NOW_US)
    }

    pub(crate) fn fields(more: &[(&str, &str)]) -> Fields {
        let base = [
            ("harvester", "wren-haldane"),
            ("species", "PZO"),
            ("presentation", "1"),
            ("decision", "1"),
            ("small", "1"),
            ("confirmation", "1"),
            ("unit", "lb"),
            ("scale", "dock"),
        ];
        Fields::of(&[more, &base].concat())
    }

    #[test]
    fn a_form_is_read_tote_by_tote_and_fish_by_fish() {
        let w = Language::English.words();
        let asked = read(
            w,
            &fields(&[
                ("rows", "3"),
                ("gross_1", "45.60"),
                ("tare_1", "3.60"),
                ("pieces_1", "30"),
                ("grade_1", "a"),
                ("condition_1", "1"),
                ("iced_1", "yes"),
                ("gross_3", "12.00"),
                ("tote_3", "blue-4"),
                ("pieces_3", "9"),
                ("about_3", "yes"),
                ("fish", "1.20 0.85\n2.10"),
                ("grade_fish", "B"),
                ("probe_1", "38"),
                ("probe_3", "37.5"),
                ("smallest", "12.25"),
                ("length_unit", "cm"),
                ("caught", "2031-05-02"),
                ("asked", "cull"),
                ("answer_cull", "he keeps them in"),
            ]),
        );
        let asked = asked.unwrap();
        let lot = &asked.lots[0];
        assert_eq!(lot.weighings.len(), 3);
        let Weighed::Tote {
            gross,
            iced,
            pieces,
            ..
        } = &lot.weighings[0].weighed
        else {
            panic!("a tote");
        };
        assert_eq!(
            (gross.text.as_str(), gross.scale.as_str()),
            ("45.60", "dock")
        );
        assert!(*iced && *pieces == Pieces::Counted(30));
        assert_eq!(lot.weighings[0].grade.as_str(), "A");
        let Weighed::Tote { tare, pieces, .. } = &lot.weighings[1].weighed else {
            panic!("a tote");
        };
        assert!(matches!(tare, Tare::Tote { code, posted: None } if code == "blue-4"));
        assert_eq!(*pieces, Pieces::Estimated(9));
        let Weighed::Pieces(fish) = &lot.weighings[2].weighed else {
            panic!("fish");
        };
        assert_eq!(fish.len(), 3);
        assert_eq!(lot.receiving.probes.len(), 2);
        let smallest = lot.receiving.smallest_length.as_ref().unwrap();
        assert_eq!(smallest.to_string(), "12.25 cm");
        assert_eq!(asked.landing.harvest_from, asked.landing.harvest_to);
        assert_eq!(asked.answers[0].text, "he keeps them in");
    }

    #[test]
    fn what_cannot_be_read_is_named_by_its_tote() {
        let w = Language::English.words();
        for (more, named) in [
            (vec![], "Gross"),
            (vec![("gross_2", "x"), ("tare_2", "3")], "tote 2, Gross"),
            (vec![("gross_1", "20"), ("tare_1", "-3")], "tote 1, Tare"),
            (
                vec![("gross_1", "20"), ("pieces_1", "many")],
                "tote 1, Fish counted",
            ),
            (
                vec![("gross_1", "20"), ("grade_1", "very good")],
                "tote 1, Grade",
            ),
            (vec![("fish", "1.2 heavy")], "one by one"),
            (vec![("gross_1", "20"), ("caught", "yesterday")], "Caught"),
            (vec![("gross_1", "20"), ("probe_2", "cold")], "Probe 2"),
            (vec![("gross_1", "20"), ("probe_2", "38.125")], "Probe 2"),
            (
                vec![("gross_1", "20"), ("smallest", "0")],
                "Smallest fish, length",
            ),
            (
                vec![("gross_1", "20"), ("smallest", "-9")],
                "Smallest fish, length",
            ),
            (vec![("gross_1", "20"), ("iced_at", "noon")], "Iced at"),
            (vec![("gross_1", "20"), ("iced_at", "25:00")], "Iced at"),
            (vec![("gross_1", "20"), ("iced_at", "15:30")], "Iced at"),
            (
                vec![
                    ("gross_1", "20"),
                    ("caught", "2031-05-02"),
                    ("speared_at", "16:30"),
                ],
                "First speared at",
            ),
        ] {
            match read(w, &fields(&more)) {
                Err(Refused::Said { field, .. }) => assert_eq!(field, named),
                other => panic!("{more:?}: {other:?}"),
            }
        }
        let nobody = Fields::of(&[("species", "PZO")]);
        assert_eq!(read(w, &nobody), Err(Refused::said("Diver", "is needed")));
    }

    #[test]
    fn a_second_species_has_fields_of_its_own() {
        let w = Language::English.words();
        let typed = fields(&[
            ("lots", "2"),
            ("gross_1", "20"),
            ("lot2_species", "SDJ"),
            ("lot2_presentation", "3"),
            ("lot2_decision", "2"),
            ("lot2_reason", "area unclear"),
            ("lot2_small", "2"),
            ("lot2_fish", "1.5"),
            ("lot2_probe_2", "39"),
        ]);
        let asked = read(w, &typed).unwrap();
        let lots: Vec<_> = asked
            .lots
            .iter()
            .map(|lot| (lot.species.as_str(), lot.receiving.decision, lot.small_fish))
            .collect();
        assert_eq!(
            lots,
            [
                ("PZO", Decision::Accept, SmallFish::Sell),
                ("SDJ", Decision::Hold, SmallFish::Give),
            ]
        );
        assert!(asked.lots[0].receiving.probes.is_empty());
        assert_eq!(asked.lots[1].receiving.probes.len(), 1);
        let missing = typed.without(|name| name == "lot2_fish");
        assert_eq!(
            read(w, &missing),
            Err(Refused::said("lot 2, Gross", "is needed")),
            "a later lot is named"
        );
    }

    #[test]
    fn times_are_of_the_sites_clock_and_stay_what_they_were_when_they_were_written() {
        const MINUTE_US: i64 = 60_000_000;
        let w = Language::English.words();
        let at = |hours: i64, minutes: i64| NOW_US + (hours * 60 + minutes) * MINUTE_US;
        let seen = |more: &[(&str, &str)]| {
            let typed = fields(&[more, &[("gross_1", "20")]].concat());
            let lot = read(w, &typed).unwrap().lots.remove(0);
            (lot.receiving.first_speared_us, lot.receiving.iced_us)
        };
        assert_eq!(seen(&[]), (None, None));
        let typed = [("speared_at", "09:10"), ("iced_at", "14:20:59")];
        let today = (Some(at(-5, -50)), Some(at(0, -40)));
        assert_eq!(seen(&typed), today);
        // Caught the day before, and on ice since this afternoon.
        let caught = [&typed[..], &[("caught", "2031-05-01")]].concat();
        assert_eq!(seen(&caught), (Some(at(-29, -50)), Some(at(0, -40))));
        // Written at 14:10, 14:20 lay ahead; at 14:20 it did not, whenever it is sent.
        let written = |us: &'static str| [&typed[1..], &[("as_of_us", us)]].concat();
        let ahead = fields(&[&written("1935511800000000")[..], &[("gross_1", "20")]].concat());
        assert_eq!(read(w, &ahead), Err(Refused::said("Iced at", w.lies_ahead)));
        assert_eq!(seen(&written("1935512400000000")).1, Some(at(0, -40)));
    }

    #[test]
    fn undo_takes_back_what_was_written_last_and_nothing_else() {
        let mut typed = fields(&[
            ("do", "undo"),
            ("lots", "2"),
            ("gross_1", "20"),
            ("gross_2", "18"),
            ("iced_2", "yes"),
            ("lot2_species", "SDJ"),
            ("lot2_fish", "1.5 2.25"),
        ]);
        let left = |typed: &Fields| {
            let names = [
                "lot2_fish",
                "lots",
                "lot2_species",
                "gross_2",
                "iced_2",
                "gross_1",
            ];
            names.map(|name| typed.get(name).to_owned()).join(" ")
        };
        for expected in [
            "1.5 2 SDJ 18 yes 20",
            " 2 SDJ 18 yes 20",
            " 1  18 yes 20",
            " 1    20",
            " 1    ",
            " 1    ",
        ] {
            typed = changed(&typed).unwrap();
            assert_eq!(left(&typed), expected);
            assert_eq!(typed.get("harvester"), "wren-haldane");
        }
    }

    #[test]
    fn rows_and_lots_grow_to_a_limit() {
        let step = |step: &str| fields(&[("do", step), ("lots", "2")]);
        assert_eq!(rows(&changed(&step("more")).unwrap(), 1), 6);
        let second = changed(&step("more_2")).unwrap();
        assert_eq!((rows(&second, 1), rows(&second, 2)), (3, 6));
        assert_eq!(lots(&changed(&step("lot")).unwrap()), 3);
        assert_eq!(changed(&step("check")), None);
        let many = fields(&[("lots", "99"), ("rows", "9999"), ("do", "lot")]);
        assert_eq!(lots(&changed(&many).unwrap()), MOST_LOTS);
        assert_eq!(rows(&many, 1), MOST_ROWS);
    }
}
