//! What receiving found of a lot, by how it stands. What has no limit set is said to be
//! "not set", never "passed" (2.2).

use rules::office::Site;
use rules::receiving::{Finding, Received, Standing};
use rules::ticket::{Decision, Receiving, TemperatureUnit};

use crate::show;
use crate::words::{Language, Said, Words};

/// Findings that stand alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Found {
    pub(crate) standing: &'static str,
    pub(crate) rules: String,
    /// What is to be known of them; of what passed or is not set there is no more than
    /// the name.
    pub(crate) texts: Vec<Said>,
}

/// What was found, what did not pass first.
pub(crate) fn found(language: Language, received: &Received) -> Vec<Found> {
    let order = [
        Standing::Failed,
        Standing::NotKnown,
        Standing::Passed,
        Standing::NotSet,
    ];
    let of = |standing: Standing| {
        let alike = received.findings.iter();
        let alike: Vec<&Finding> = alike.filter(|found| found.standing == standing).collect();
        let is_told = matches!(standing, Standing::Failed | Standing::NotKnown);
        let rules: Vec<_> = alike
            .iter()
            .map(|of| language.term(of.rule.word()))
            .collect();
        Found {
            standing: language.term(standing.word()),
            rules: rules.join(", "),
            texts: match is_told {
                true => alike.iter().map(|of| language.sentence(&of.text)).collect(),
                false => Vec::new(),
            },
        }
    };
    let all = order.into_iter().map(of);
    all.filter(|found| !found.rules.is_empty()).collect()
}

/// What was seen and answered at the dock: the answer where it was another than to buy,
/// with its reason, temperatures and the shortest fish as they were read, and times by the
/// site's clock.
pub(crate) fn seen(
    w: &Words,
    language: Language,
    site: &Site,
    receiving: &Receiving,
) -> Vec<(&'static str, String)> {
    let answer = match receiving.decision {
        Decision::Accept => String::new(),
        other => language.term(other.word()).to_owned(),
    };
    let probes = receiving.probes.iter().map(|read| {
        let unit = match read.unit {
            TemperatureUnit::Fahrenheit => "F",
            TemperatureUnit::Celsius => "C",
        };
        format!("{} {unit}", read.text)
    });
    let at = |us: Option<i64>| us.map_or_else(String::new, |us| show::instant(site, us));
    let ice = match receiving.ice_around {
        None => "",
        Some(true) => w.yes,
        Some(false) => w.no,
    };
    let smallest = receiving.smallest_length.as_ref();
    let mut rows = vec![
        (w.decision, answer),
        (w.why_held, receiving.reason.clone()),
        (w.what_done, receiving.corrective_action.clone()),
        (w.probe, probes.collect::<Vec<_>>().join(", ")),
        (w.first_speared, at(receiving.first_speared_us)),
        (w.iced_at, at(receiving.iced_us)),
        (w.ice_around, ice.to_owned()),
        (
            w.smallest,
            smallest.map_or_else(String::new, ToString::to_string),
        ),
    ];
    rows.retain(|(_, words)| !words.is_empty());
    rows
}

/// By when it is to be probed again; empty where it is not.
pub(crate) fn probe_again(w: &Words, site: &Site, received: &Received) -> String {
    received.reprobe_due_us.map_or_else(String::new, |due_us| {
        format!("{} {}", w.probe_again, show::instant(site, due_us))
    })
}

#[cfg(test)]
mod tests {
    use rules::receiving::{Length, LengthUnit, ReceivingRule};
    use rules::ticket::Temperature;

    use super::*;

    #[test]
    fn what_is_not_set_is_never_among_what_passed() {
        let finding = |rule, standing, text: &str| Finding {
            rule,
            standing,
            text: text.to_owned(),
        };
        let received = Received {
            findings: vec![
                finding(
                    ReceivingRule::LegalLength,
                    Standing::NotSet,
                    "no length is set",
                ),
                finding(
                    ReceivingRule::Area,
                    Standing::Passed,
                    "QH-Sill is on no list",
                ),
                finding(ReceivingRule::Cold, Standing::Failed, "45 F is above 41 F"),
                finding(ReceivingRule::Probes, Standing::Passed, "3 probes"),
            ],
            ..Received::default()
        };
        let found = found(Language::English, &received);
        let shown: Vec<_> = found
            .iter()
            .map(|of| (of.standing, of.rules.as_str(), of.texts.len()))
            .collect();
        assert_eq!(
            shown,
            [
                ("failed", "cold", 1),
                ("passed", "area, probes", 0),
                ("not set", "legal length", 0),
            ]
        );
    }

    #[test]
    fn what_was_held_says_why_and_what_was_bought_only_how_cold_it_was() {
        let mut receiving = Receiving {
            decision: Decision::Accept,
            reason: String::new(),
            corrective_action: String::new(),
            first_speared_us: None,
            iced_us: None,
            ice_around: None,
            probes: vec![
                Temperature {
                    text: "38.5".to_owned(),
                    unit: TemperatureUnit::Fahrenheit,
                },
                Temperature {
                    text: "3".to_owned(),
                    unit: TemperatureUnit::Celsius,
                },
            ],
            smallest_length: None,
            area_unclear: false,
            hold_cause: None,
        };
        let (w, language) = (Language::English.words(), Language::English);
        let site = crate::show::sample_site();
        let rows = seen(w, language, &site, &receiving);
        assert_eq!(rows, [("Probe", "38.5 F, 3 C".to_owned())]);
        receiving.decision = Decision::Hold;
        receiving.reason = "area unclear".to_owned();
        receiving.ice_around = Some(true);
        // 14:20 on 2031-05-02 in New York.
        receiving.iced_us = Some(1_935_512_400_000_000);
        receiving.smallest_length = Some(Length {
            text: "11.5".to_owned(),
            unit: LengthUnit::In,
        });
        let rows = seen(w, language, &site, &receiving);
        let words: Vec<_> = rows.iter().map(|(_, words)| words.as_str()).collect();
        assert_eq!(
            words,
            [
                "hold",
                "area unclear",
                "38.5 F, 3 C",
                "2031-05-02 14:20",
                "yes",
                "11.5 in"
            ]
        );
    }
}
