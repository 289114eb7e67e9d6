//! What is said about safety at the scale.
//!
//! Each caution stands once on a ticket and names the species it is about; the
//! last says that all of them defer to local codes and to licensed or trained
//! people. Cautions never block a ticket: what is refused is the person's answer
//! at the dock.

use super::{Notice, NoticeKind};
use crate::fish::Hazard;
use crate::office::Species;

const DEFERS: &str =
    "All of this defers to local codes, and to licensed or trained people: they come first.";

/// Cautions for what was handled, and for what was bought of it.
pub fn cautions(handled: &[&Species], bought: &[&Species], donation_proposed: bool) -> Vec<Notice> {
    let mut cautions = Vec::new();
    let mut say = |code: &str, text: String| {
        cautions.push(Notice {
            kind: NoticeKind::Caution,
            code: code.to_owned(),
            text,
            line: 0,
        });
    };
    if let Some(names) = names(handled, |species| species.has(Hazard::Venomous)) {
        say(
            "venomous_spines",
            format!(
                "{names}: the spines stay venomous after the fish is dead. For a sting: hot water, \
                 as hot as can be borne without scalding, and medical help. This is not medical advice."
            ),
        );
    }
    if let Some(names) = names(handled, |species| species.has(Hazard::Ciguatera)) {
        say(
            "ciguatera",
            format!(
                "{names}: may carry ciguatera, and cooking does not remove the toxin. Fish from an \
                 area on the site's own list of areas of concern is refused, and held only while \
                 the area is unclear. The list is the buyer's to keep: an area that is not on it is \
                 not known to be safe."
            ),
        );
    }
    if let Some(names) = names(bought, |_| true) {
        say(
            "cold",
            "Fish above the site's limit (41 F / 5 C where it has set none) when it leaves goes to \
             nobody; if it came in warmer, ice it, probe it again and record what was done."
                .to_owned(),
        );
        say(
            "allergen",
            format!(
                "Allergen: fish ({names}). Say so on whatever leaves for a kitchen or a recipient."
            ),
        );
    }
    if donation_proposed {
        say(
            "donation",
            "Donate only apparently wholesome food; local health rules still apply.".to_owned(),
        );
    }
    if !handled.is_empty() {
        say("local_codes", DEFERS.to_owned());
    }
    cautions
}

/// Names of the species that match, each once, in order.
fn names(all: &[&Species], matches: impl Fn(&Species) -> bool) -> Option<String> {
    let mut names: Vec<&str> = Vec::new();
    for species in all.iter().filter(|species| matches(species)) {
        if !names.contains(&species.name.as_str()) {
            names.push(&species.name);
        }
    }
    (!names.is_empty()).then(|| names.join(", "))
}
