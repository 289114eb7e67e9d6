//! Whether fish may go to a room, by named rules that each say why not.
//!
//! All rules are asked, so that a person sees every reason and not only the first.
//! [`safety`] is the part of them that keeps somebody from being hurt: it is asked again
//! of fish that is on its way out, whoever planned it. The others say that a room is not
//! for such fish. Fish that a room takes dressed, or that must be dressed for safety, may
//! go there once it is; that is no refusal, but work to be done first.
//!
//! Where the rules come from: what is given away is apparently wholesome food, and local
//! health rules still apply (42 USC 1791); fish is kept at or below 41 F (Food Code
//! 3-202.11, as states adopted it); a state health department says that ciguatoxin
//! concentrates in head, gut, roe and liver, which should not go into soup. Ages, torn fish,
//! spines and recall contacts are common practice, without a source. A site's local code and
//! licensed people come before all of them.

use super::{At, Fish, Room, RoomKind, has_spines, is_headed};
use crate::fish::{Hazard, Outlet, Presentation, Storage, coded};

coded! {
    /// A rule that keeps fish from a room.
    Rule {
        /// It is set aside.
        Held = 1 "held",
        /// It is from an area of concern.
        Area = 2 "area",
        /// It came in warm and was not shown cold since.
        Temperature = 3 "temperature",
        /// It would be too old.
        Age = 4 "age",
        /// A hazard asks for another form, which it cannot be given.
        Hazard = 5 "hazard",
        /// Torn fish.
        Condition = 6 "condition",
        /// Spines that a recipient does not take.
        Spines = 7 "spines",
        /// A recipient that does not keep it cold.
        ColdStorage = 8 "cold storage",
        /// Nobody could be told of a recall.
        RecallContact = 9 "recall contact",
        /// No food by default.
        NotFood = 10 "not food",
        /// Another species than is wanted.
        Species = 11 "species",
        /// Another form than is wanted.
        Form = 12 "form",
        /// No time is left for it.
        Window = 13 "window",
        /// Too small or too large for the table, or not counted.
        PieceWeight = 14 "piece weight",
        /// It is frozen already.
        Frozen = 15 "frozen",
        /// The room takes no more.
        Ended = 16 "ended",
    }
}

impl Rule {
    /// Stable word of a refusal for programs.
    #[must_use]
    pub const fn reason(self) -> &'static str {
        match self {
            Rule::Held => "HELD",
            Rule::Area => "AREA_OF_CONCERN",
            Rule::Temperature => "NOT_SHOWN_COLD",
            Rule::Age => "TOO_OLD",
            Rule::Hazard => "DRESS_FIRST",
            Rule::Condition => "TORN_NOT_DONATED",
            Rule::Spines => "SPINES_ON",
            Rule::ColdStorage => "NOT_KEPT_COLD",
            Rule::RecallContact => "NO_RECALL_CONTACT",
            Rule::NotFood => "NOT_FOOD",
            Rule::Species => "SPECIES_NOT_WANTED",
            Rule::Form => "FORM_NOT_WANTED",
            Rule::Window => "NO_TIME_LEFT",
            Rule::PieceWeight => "PIECE_WEIGHT",
            Rule::Frozen => "FROZEN",
            Rule::Ended => "ROOM_ENDED",
        }
    }

    /// Whether it keeps somebody from being hurt.
    #[must_use]
    pub const fn is_safety(self) -> bool {
        matches!(
            self,
            Rule::Held
                | Rule::Area
                | Rule::Temperature
                | Rule::Age
                | Rule::Hazard
                | Rule::Condition
                | Rule::Spines
                | Rule::ColdStorage
                | Rule::RecallContact
                | Rule::NotFood
        )
    }
}

/// Why fish does not go to a room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WhyNot {
    /// Which rule.
    pub rule: Rule,
    /// One sentence, without its full stop.
    pub text: String,
}

/// How fish goes to a room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct How {
    /// Form it is given first; absent goes as it is.
    pub dress: Option<Presentation>,
    /// When it is handed over at the latest, microseconds since 1970 UTC.
    pub leaves_us: i64,
}

/// Who would eat it, as far as safety asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mouth {
    /// By which way.
    pub kind: RoomKind,
    /// Takes venomous spines.
    pub takes_spines: bool,
    /// Keeps it cold; absent is not known, and not asked.
    pub keeps_cold: Option<bool>,
    /// Can be told of a recall; absent is not asked.
    pub has_contact: Option<bool>,
    /// Own age limit, hours.
    pub oldest_hours: Option<i64>,
}

impl Mouth {
    /// Who gets a movement to an outlet, as far as a room on file says; `None` where
    /// nobody eats it, or it is sold whole to somebody who judges for themselves.
    #[must_use]
    pub fn of_outlet(outlet: Outlet, room: Option<&Room>, has_contact: bool) -> Option<Mouth> {
        let kind = match outlet {
            Outlet::Soup => RoomKind::Soup,
            Outlet::Donation => RoomKind::Donation,
            Outlet::Gift => RoomKind::Gift,
            Outlet::CrewUse => RoomKind::CrewUse,
            Outlet::SoldWhole | Outlet::ByProduct | Outlet::Discard | Outlet::Sample => {
                return None;
            }
        };
        Some(match room {
            Some(room) => Mouth::of_room(room, has_contact),
            None => Mouth {
                kind,
                takes_spines: false,
                keeps_cold: None,
                has_contact: None,
                oldest_hours: None,
            },
        })
    }

    const fn buyer() -> Mouth {
        Mouth {
            kind: RoomKind::Table,
            takes_spines: true,
            keeps_cold: None,
            has_contact: None,
            oldest_hours: None,
        }
    }

    fn of_room(room: &Room, has_contact: bool) -> Mouth {
        let asked = room.kind.is_recipient();
        Mouth {
            kind: room.kind,
            takes_spines: room.takes_spines,
            keeps_cold: asked.then_some(room.keeps_cold),
            has_contact: asked.then_some(has_contact),
            oldest_hours: room.oldest_hours,
        }
    }
}

/// What keeps fish in a form from a mouth at an instant; nothing where it may go. What
/// dressing would mend is judged in the form it would have then.
#[must_use]
pub fn safety(
    fish: &Fish,
    form: Presentation,
    mouth: &Mouth,
    leaves_us: i64,
    at: &At<'_>,
) -> Vec<WhyNot> {
    let mut why = Vec::new();
    let mut no = |rule, text: String| why.push(WhyNot { rule, text });
    // Held fish goes nowhere, not even where nobody eats it: it may be thrown out.
    if fish.held {
        let text = "is held, and goes nowhere until the office releases it";
        no(Rule::Held, text.to_owned());
    } else if let Some(source) = &fish.traits.held_source {
        no(
            Rule::Held,
            format!("is made of fish that is held now ({source})"),
        );
    }
    if !mouth.kind.is_food() {
        return why;
    }
    if let Some(area) = &fish.traits.from_concern {
        no(Rule::Area, area.clone());
    }
    if let Some(warm) = &fish.traits.warm {
        let limit = at.receiving.cold_limit();
        let text = format!(
            "came in at {warm} and no probe since has shown it at or below {limit}: probe it again"
        );
        no(Rule::Temperature, text);
    }
    if let Some(text) = too_old(fish, mouth, leaves_us, at) {
        no(Rule::Age, text);
    }
    let toxin = fish.species.has(Hazard::Ciguatera);
    if toxin && matches!(form, Presentation::Roe | Presentation::Other) {
        let text = "is roe, head or viscera of a species with the ciguatera hazard, which is no \
                    food by default";
        no(Rule::NotFood, text.to_owned());
    } else if toxin && !is_headed(form) && is_cooked_whole(mouth.kind) {
        let text = format!(
            "has the ciguatera hazard and is {}: it goes to {} gutted and head-off",
            form.word(),
            mouth.kind.word()
        );
        no(Rule::Hazard, text);
    }
    if fish.traits.torn && mouth.kind == RoomKind::Donation {
        let text = "is torn, or made of torn fish, which is cut the same day and not donated";
        no(Rule::Condition, text.to_owned());
    }
    if mouth.kind.is_recipient() && !mouth.takes_spines && has_spines(&fish.species, form) {
        let text = format!(
            "is {} with its venomous spines on, which this recipient does not take",
            form.word()
        );
        no(Rule::Spines, text);
    }
    if mouth.keeps_cold == Some(false) {
        let text = "the recipient does not say that it keeps fish cold until it is cooked";
        no(Rule::ColdStorage, text.to_owned());
    }
    if mouth.has_contact == Some(false) {
        let text = "no contact is on file by which the recipient could be told of a recall";
        no(Rule::RecallContact, text.to_owned());
    }
    why
}

/// What keeps fish that is on its way out from leaving to an outlet, whoever planned it:
/// the first of it is the reason. `measured` says that it was cold as it left. What is
/// sold whole is judged by whoever buys it, but never comes from an area of concern or
/// warm.
#[must_use]
pub fn leaving(
    fish: &Fish,
    outlet: Outlet,
    room: Option<&Room>,
    has_contact: bool,
    measured: bool,
    leaves_us: i64,
    at: &At<'_>,
) -> Vec<WhyNot> {
    let mut fish = fish.clone();
    if measured {
        fish.traits.warm = None;
    }
    // Sold whole, it goes as to somebody who takes anything of any age.
    let mouth = Mouth::of_outlet(outlet, room, has_contact);
    let buyer = outlet.is_food() && mouth.is_none();
    let Some(mouth) = mouth.or_else(|| buyer.then(Mouth::buyer)) else {
        return Vec::new();
    };
    let mut why = safety(&fish, fish.presentation, &mouth, leaves_us, at);
    why.retain(|why| !buyer || why.rule != Rule::Age);
    why
}

/// Ciguatera: soup and donation take it gutted and head-off.
const fn is_cooked_whole(kind: RoomKind) -> bool {
    matches!(kind, RoomKind::Soup | RoomKind::Donation)
}

const HOUR_US: i64 = 3_600_000_000;

/// Hours that fish may be old for a kind of room: soup-grade fish, fish given away, and
/// whole fish on ice; fillet of its own. Common practice, the site's settings.
#[must_use]
pub fn oldest_hours(kind: RoomKind, form: Presentation, at: &At<'_>) -> Option<i64> {
    let days = |days: i64| days.saturating_mul(24);
    let of_kind = match kind {
        RoomKind::ByProduct => return None,
        RoomKind::Soup => days(at.judging.soup_days()),
        RoomKind::Donation | RoomKind::Gift => at.judging.donation_hours(),
        RoomKind::Freezer | RoomKind::Table | RoomKind::CrewUse => days(at.judging.whole_days()),
    };
    Some(if form.is_fillet() {
        of_kind.min(days(at.judging.fillet_days()))
    } else {
        of_kind
    })
}

fn too_old(fish: &Fish, mouth: &Mouth, leaves_us: i64, at: &At<'_>) -> Option<String> {
    if fish.storage == Some(Storage::Frozen) {
        return None;
    }
    let sites = oldest_hours(mouth.kind, fish.presentation, at)?;
    let most = mouth.oldest_hours.map_or(sites, |own| own.min(sites));
    if fish.harvested_us == 0 {
        return Some("nobody wrote down when it was caught, so its age is not known".to_owned());
    }
    let age_us = leaves_us.saturating_sub(fish.harvested_us);
    let over = age_us > most.saturating_mul(HOUR_US);
    over.then(|| {
        format!(
            "would be {} h old when it is handed over; {} is at most {most} h old",
            age_us
                .saturating_add(HOUR_US.saturating_sub(1))
                .div_euclid(HOUR_US),
            mouth.kind.word()
        )
    })
}

/// Whether fish may go to a room, and how; else every rule that says no.
///
/// # Errors
/// The rules, at least one.
pub fn eligible(
    fish: &Fish,
    room: &Room,
    has_contact: bool,
    at: &At<'_>,
) -> Result<How, Vec<WhyNot>> {
    let mut why = Vec::new();
    let mut no = |rule, text: &str| {
        why.push(WhyNot {
            rule,
            text: text.to_owned(),
        });
    };
    if room.ended {
        no(Rule::Ended, "the order was called off or fulfilled");
    }
    if fish.storage == Some(Storage::Frozen) {
        no(Rule::Frozen, "is frozen, and is planned no more");
    }
    let wanted = &room.species;
    if !wanted.is_empty() && !wanted.contains(&fish.species.code) {
        no(Rule::Species, "is not a species that is wanted there");
    }
    let leaves_us = room.leaves(at.clock, at.day, at.now_us);
    if leaves_us.is_none() {
        no(Rule::Window, "no time is left for it on this day");
    }
    if room.kind == RoomKind::Table
        && let Some(text) = wrong_size(fish, room, at)
    {
        no(Rule::PieceWeight, &text);
    }
    let mouth = Mouth::of_room(room, has_contact);
    let leaves_us = leaves_us.unwrap_or(at.now_us);
    let forms = forms(fish.presentation).filter(|form| room.takes(*form));
    // The first form that is safe is the least work; where none is, what keeps the fish
    // from the room in the form in which it comes nearest to it.
    let mut judged: Option<(Presentation, Vec<WhyNot>)> = None;
    for form in forms {
        let found = safety(fish, form, &mouth, leaves_us, at);
        let fewer = judged
            .as_ref()
            .is_none_or(|(_, best)| found.len() < best.len());
        if fewer {
            judged = Some((form, found));
        }
    }
    let Some((form, unsafe_for)) = judged else {
        no(
            Rule::Form,
            "is not in a form that is wanted there, nor can be given one",
        );
        why.extend(safety(fish, fish.presentation, &mouth, leaves_us, at));
        return Err(why);
    };
    why.extend(unsafe_for);
    if why.is_empty() {
        let dress = (form != fish.presentation).then_some(form);
        Ok(How { dress, leaves_us })
    } else {
        Err(why)
    }
}

/// The form fish is in and those it can be given, least work first.
fn forms(from: Presentation) -> impl Iterator<Item = Presentation> {
    const DRESSED: [Presentation; 4] = [
        Presentation::Whole,
        Presentation::SpinesClipped,
        Presentation::Gutted,
        Presentation::GuttedHeaded,
    ];
    let after = DRESSED
        .into_iter()
        .skip_while(move |form| *form != from)
        .skip(1);
    std::iter::once(from).chain(after)
}

fn wrong_size(fish: &Fish, room: &Room, at: &At<'_>) -> Option<String> {
    let (from, to) = (&room.piece_from, &room.piece_to);
    if from.is_none() && to.is_none() {
        return None;
    }
    let Some(piece) = fish.piece else {
        return Some("was not counted, so the weight of a fish is not known".to_owned());
    };
    let below = from.as_ref().is_some_and(|from| piece < from.weight);
    let beyond = to.as_ref().is_some_and(|to| piece >= to.weight);
    (below || beyond).then(|| {
        let edge = |edge: &Option<crate::weight::Reading>| {
            edge.as_ref()
                .map_or_else(String::new, |edge| edge.weight.shown(at.unit))
        };
        format!(
            "weighs {} a fish; this table is for {} to {} {}",
            piece.shown(at.unit),
            edge(from),
            edge(to),
            at.unit.symbol()
        )
    })
}
