//! Receiving: what the dock finds of a lot, and which answers stand.
//!
//! Each lot gets its findings: a rule, how it stands, and a sentence. A limit
//! the site has not set is "not set", and what was not recorded is "not known";
//! neither is ever "passed".
//!
//! What breaks a legal limit or comes from an area of concern is taken only as
//! refused, and there is no override. Fish that may be from there is held. Warm
//! fish is accepted where it is iced and cooling, and is then probed again; else
//! it is held or refused, as is fish outside the histamine table. All of it
//! defers to local codes and to trained people.

mod area;
mod cold;
mod gate;
mod law;
mod reprobe;
mod settings;

use chrono::NaiveDate;

pub use cold::{Heat, warmest};
pub use gate::{Leaving, MayNotLeave, WrongRole, dispatch, has_role, receives};
pub use law::{Length, LengthUnit};
pub use reprobe::{ReprobeAsked, Reprobed, reprobe};
pub use settings::{
    AreaOfConcern, HarvestDays, HistamineLimit, LegalLimit, LegalRule, ReceivingSettings, Season,
};

use crate::fish::{Condition, coded};
use crate::office::{Party, Species};
use crate::ticket::{
    Decision, LotIn, Net, Notice, NoticeKind, Pieces, Ticket, TicketLot, WeighIn, Weighed,
};
use crate::weight::{Weight, WeightUnit};
use law::{Caught, SoFar};

coded! {
    /// What receiving looks at.
    ReceivingRule {
        /// The smallest fish is long enough.
        LegalLength = 1 "legal length",
        /// Caught while the season is open.
        Season = 2 "season",
        /// The ticket keeps the trip limit.
        TripLimit = 3 "trip limit",
        /// From no area of concern.
        Area = 4 "area",
        /// Cold enough.
        Cold = 5 "cold",
        /// Enough of it was probed.
        Probes = 6 "probes",
        /// Within the histamine table.
        Histamine = 7 "histamine",
    }
}

coded! {
    /// How a rule stands for a lot.
    Standing {
        /// It keeps it.
        Passed = 1 "passed",
        /// It does not.
        Failed = 2 "failed",
        /// The site has set no limit: nothing was judged.
        NotSet = 3 "not set",
        /// What it takes to judge was not recorded.
        NotKnown = 4 "not known",
    }
}

coded! {
    /// What a hold is for.
    HoldCause {
        /// The area is unclear.
        Area = 1 "area",
        /// It is too warm.
        Cold = 2 "cold",
        /// Anything else.
        Other = 3 "other",
    }
}

/// What receiving found of a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What was looked at.
    pub rule: ReceivingRule,
    /// How it stands.
    pub standing: Standing,
    /// One sentence, without its full stop.
    pub text: String,
}

/// What receiving found of one lot of a ticket.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Received {
    /// In order of the rules.
    pub findings: Vec<Finding>,
    /// Came in warm, iced and cooling: to be probed again by then, microseconds
    /// since 1970 UTC.
    pub reprobe_due_us: Option<i64>,
}

impl Received {
    /// How a rule stands.
    #[must_use]
    pub fn standing(&self, rule: ReceivingRule) -> Option<Standing> {
        let found = self.findings.iter().find(|finding| finding.rule == rule);
        found.map(|finding| finding.standing)
    }

    /// What a hold at the dock is for: as said, else as found.
    #[must_use]
    pub fn hold_cause(&self, said: Option<HoldCause>) -> HoldCause {
        let found = if self.standing(ReceivingRule::Area) == Some(Standing::NotKnown) {
            HoldCause::Area
        } else if self.standing(ReceivingRule::Cold) == Some(Standing::Failed) {
            HoldCause::Cold
        } else {
            HoldCause::Other
        };
        said.unwrap_or(found)
    }
}

/// What a weigh-in is judged against.
#[derive(Debug, Clone)]
pub struct Dock<'a> {
    /// The site's settings in force.
    pub settings: &'a ReceivingSettings,
    /// Species of the lots, at least.
    pub species: Vec<&'a Species>,
    /// The harvester of record.
    pub harvester: &'a Party,
    /// When it was weighed in, microseconds since 1970 UTC.
    pub received_us: i64,
    /// Business day of it, where no day of harvest is written.
    pub day: NaiveDate,
    /// Unit people read.
    pub unit: WeightUnit,
}

/// What the dock found of a weigh-in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Judged {
    /// One for each lot of the ticket.
    pub lots: Vec<Received>,
    /// Warnings, each about a lot or the licence.
    pub notices: Vec<Notice>,
}

/// Why the answer given for a lot does not stand.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("lot {}: {found}: {}", .lot.saturating_add(1), .what_to_do)]
pub struct AnswerRefused {
    /// Lot, counted from 0.
    pub lot: usize,
    /// Stable word for programs.
    pub reason: &'static str,
    /// What was found.
    pub found: String,
    /// What to do instead.
    pub what_to_do: &'static str,
}

impl AnswerRefused {
    /// The field of the request it is about.
    #[must_use]
    pub fn field(&self) -> String {
        format!("lots[{}].receiving.decision", self.lot)
    }
}

/// Judges each lot of a weigh-in as it came in.
///
/// # Errors
/// [`AnswerRefused`]: the first lot whose answer does not stand.
pub fn judge(asked: &WeighIn, ticket: &Ticket, dock: &Dock<'_>) -> Result<Judged, AnswerRefused> {
    let mut judged = Judged {
        lots: Vec::with_capacity(ticket.lots.len()),
        notices: licence(asked, dock).into_iter().collect(),
    };
    for (position, (written, lot)) in asked.lots.iter().zip(&ticket.lots).enumerate() {
        let received = findings(asked, ticket, position, written, lot, dock);
        answer_stands(position, written, &received, dock)?;
        judged.lots.push(received);
    }
    let decided = asked.lots.iter().zip(&mut judged.lots).enumerate();
    for (position, (written, received)) in decided {
        if written.receiving.decision == Decision::Accept
            && received.standing(ReceivingRule::Cold) == Some(Standing::Failed)
        {
            received.reprobe_due_us = Some(cold::reprobe_due_us(dock.received_us, dock.settings));
        }
        judged
            .notices
            .extend(warnings(position, written, received, dock));
    }
    Ok(judged)
}

fn findings(
    asked: &WeighIn,
    ticket: &Ticket,
    position: usize,
    written: &LotIn,
    lot: &TicketLot,
    dock: &Dock<'_>,
) -> Received {
    let caught = caught(asked, written, dock);
    let limits = &dock.settings.legal_limits;
    let code = &written.species;
    let mut findings = Vec::new();
    if written.presentation.is_fish() {
        findings.push(law::length(limits, code, caught, &written.receiving));
    }
    findings.push(law::season(limits, code, caught));
    let so_far = taken_so_far(asked, ticket, position);
    findings.push(law::trip(limits, code, caught, so_far, dock.unit));
    let species = dock.species.iter().find(|species| species.code == *code);
    if let Some(species) = species {
        let areas = if written.areas.is_empty() {
            &asked.landing.areas
        } else {
            &written.areas
        };
        let listed = &dock.settings.areas_of_concern;
        findings.push(area::area(
            listed,
            species,
            caught,
            areas,
            written,
            &lot.weighed,
        ));
    }
    findings.push(cold::cold(&written.receiving, dock.settings));
    let net = sum(&lot.weighed);
    findings.extend(cold::probes(written, net, dock.settings));
    findings.extend(species.and_then(|species| {
        cold::histamine(species, &written.receiving, dock.received_us, dock.settings)
    }));
    Received {
        findings,
        reprobe_due_us: None,
    }
}

/// Why a lot of a ticket would be refused for its area by the list that the site keeps
/// now, which may have grown since it was taken in; nothing where it would not.
#[must_use]
pub fn area_of_concern_now(
    asked: &WeighIn,
    position: usize,
    ticket: &Ticket,
    dock: &Dock<'_>,
) -> Option<String> {
    let written = asked.lots.get(position)?;
    let species = dock
        .species
        .iter()
        .find(|species| species.code == written.species)?;
    let weighed = &ticket.lots.get(position)?.weighed;
    let areas = if written.areas.is_empty() {
        &asked.landing.areas
    } else {
        &written.areas
    };
    let listed = &dock.settings.areas_of_concern;
    let found = area::area(
        listed,
        species,
        caught(asked, written, dock),
        areas,
        written,
        weighed,
    );
    (found.standing == Standing::Failed).then_some(found.text)
}

/// Days the lot was caught on: its own, else the landing's, else the day it was
/// landed, else the business day.
fn caught(asked: &WeighIn, written: &LotIn, dock: &Dock<'_>) -> Caught {
    let landing = &asked.landing;
    let (from, to) = if written.harvest_from.is_some() || written.harvest_to.is_some() {
        (written.harvest_from, written.harvest_to)
    } else {
        (landing.harvest_from, landing.harvest_to)
    };
    let otherwise = landing.landed_on.unwrap_or(dock.day);
    let first = from.or(to).unwrap_or(otherwise);
    let last = to.or(from).unwrap_or(otherwise);
    Caught { first, last }
}

/// What the ticket takes of a lot's species, up to that lot. Refused fish is not
/// taken.
fn taken_so_far(asked: &WeighIn, ticket: &Ticket, position: usize) -> SoFar {
    let mut so_far = SoFar {
        pieces: Some(0),
        net: Weight::ZERO,
    };
    let species = asked.lots.get(position).map(|lot| &lot.species);
    for (n, (written, lot)) in asked.lots.iter().zip(&ticket.lots).enumerate() {
        let taken = n == position || n < position && written.receiving.decision != Decision::Refuse;
        if !taken || Some(&written.species) != species {
            continue;
        }
        so_far.net = [so_far.net, sum(&lot.weighed)].into_iter().sum();
        for weighing in &written.weighings {
            let more = match &weighing.weighed {
                Weighed::Pieces(readings) => i64::try_from(readings.len()).ok(),
                Weighed::Tote { pieces, .. } => match pieces {
                    Pieces::Counted(n) | Pieces::Estimated(n) => Some(*n),
                    Pieces::NotCounted => None,
                },
            };
            so_far.pieces = so_far
                .pieces
                .zip(more)
                .and_then(|(sum, more)| sum.checked_add(more));
        }
    }
    so_far
}

fn sum(nets: &[Net]) -> Weight {
    nets.iter().map(|net| net.net).sum()
}

const AS_REFUSED: &str = "weigh it in as refused, with its corrective action";
const HOLD_OR_REFUSE: &str = "hold it, or weigh it in as refused, with its corrective action";

/// Whether the person's answer stands with what was found.
fn answer_stands(
    lot: usize,
    written: &LotIn,
    received: &Received,
    dock: &Dock<'_>,
) -> Result<(), AnswerRefused> {
    use ReceivingRule::{Area, Cold, Histamine, LegalLength, Probes, Season, TripLimit};
    let decision = written.receiving.decision;
    if decision == Decision::Refuse {
        return Ok(());
    }
    for finding in &received.findings {
        let refused = match (finding.rule, finding.standing) {
            (LegalLength, Standing::Failed) => Some(("BELOW_LEGAL_LENGTH", AS_REFUSED)),
            (Season, Standing::Failed) => Some(("OUT_OF_SEASON", AS_REFUSED)),
            (TripLimit, Standing::Failed) => Some(("OVER_TRIP_LIMIT", AS_REFUSED)),
            (Area, Standing::Failed) => Some(("AREA_OF_CONCERN", AS_REFUSED)),
            (Area, Standing::NotKnown) if decision == Decision::Accept => Some((
                "AREA_UNCLEAR",
                "hold it until the area is clear, or weigh it in as refused",
            )),
            (Cold, Standing::Failed) if decision == Decision::Accept => {
                let cooling = cold::is_cooling(&written.receiving, dock.received_us);
                (!cooling).then_some((
                    "TOO_WARM",
                    "it is not said to be iced and cooling (ice_around and iced_at): hold it, or \
                     weigh it in as refused, with its corrective action",
                ))
            }
            (Histamine, Standing::Failed) if decision == Decision::Accept => {
                Some(("HISTAMINE_LIMIT", HOLD_OR_REFUSE))
            }
            (
                LegalLength | Season | TripLimit | Area | Cold | Histamine | Probes,
                Standing::Passed | Standing::Failed | Standing::NotSet | Standing::NotKnown,
            ) => None,
        };
        if let Some((reason, what_to_do)) = refused {
            return Err(AnswerRefused {
                lot,
                reason,
                found: finding.text.clone(),
                what_to_do,
            });
        }
    }
    Ok(())
}

/// What the person at the scale should know of a lot that was not refused.
fn warnings(position: usize, written: &LotIn, received: &Received, dock: &Dock<'_>) -> Vec<Notice> {
    if written.receiving.decision == Decision::Refuse {
        return Vec::new();
    }
    let lot = position.saturating_add(1);
    let warn = |code: &str, text: String| {
        Notice::of(NoticeKind::Warning, code, format!("Lot {lot}: {text}."))
    };
    let mut notices = Vec::new();
    for finding in &received.findings {
        let code = match (finding.rule, finding.standing) {
            (ReceivingRule::Cold, Standing::NotKnown) => "no_temperature",
            (ReceivingRule::Probes, Standing::Failed) => "few_probes",
            (ReceivingRule::LegalLength, Standing::NotKnown) => "length_not_known",
            (ReceivingRule::TripLimit, Standing::NotKnown) => "trip_limit_not_known",
            (ReceivingRule::Histamine, Standing::NotKnown) => "histamine_not_known",
            _ => continue,
        };
        notices.push(warn(code, finding.text.clone()));
    }
    if received.reprobe_due_us.is_some() {
        let text = format!(
            "came in warm, iced and cooling; probe it again within {} h, and hold it if it is \
             still above {}",
            dock.settings.hours_to_cool(),
            dock.settings.cold_limit(),
        );
        notices.push(warn("reprobe_due", text));
    }
    let torn = written
        .weighings
        .iter()
        .any(|weighing| weighing.condition == Some(Condition::Torn));
    if torn {
        let text = "torn fish is cut the same day and not donated".to_owned();
        notices.push(warn("torn", text));
    }
    notices
}

/// A licence that was not shown or has run out: it holds the payment, not the
/// fish.
fn licence(asked: &WeighIn, dock: &Dock<'_>) -> Option<Notice> {
    let party = dock.harvester;
    let landed = asked.landing.landed_on.unwrap_or(dock.day);
    if party.licence_number.trim().is_empty() {
        let text = format!(
            "{} has no licence on file: the payment is held back until one is shown, the fish is \
             not.",
            party.name
        );
        return Some(Notice::of(NoticeKind::Warning, "no_licence", text));
    }
    let last = party.licence_expires.filter(|last| *last < landed)?;
    let text = format!(
        "The licence of {} ran out after {last}: the payment is held back until a valid one is \
         shown, the fish is not.",
        party.name
    );
    Some(Notice::of(NoticeKind::Warning, "licence_expired", text))
}

fn finding(rule: ReceivingRule, standing: Standing, text: String) -> Finding {
    Finding {
        rule,
        standing,
        text,
    }
}

fn shown_in(weight: Weight, unit: WeightUnit) -> String {
    format!("{} {}", weight.shown(unit), unit.symbol())
}

#[cfg(test)]
mod tests;
