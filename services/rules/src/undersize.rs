//! Where fish below the plate minimum is proposed to go.
//!
//! A proposal is made on the ticket at once: soup-grade or donation, by the
//! site's setting. Fish that is held or refused goes nowhere, and the reason
//! says so. What the diver is paid never depends on it. Whether a fish is
//! undersize is decided where lines are made, in `ticket::price`.

use crate::fish::{Condition, Hazard, Outlet, Presentation};
use crate::office::{Settings, Species};
use crate::ticket::{Decision, SmallFish};

/// Proposes an outlet for undersize fish, with the reason in words; none where
/// it goes nowhere.
#[must_use]
pub fn propose(
    species: &Species,
    presentation: Presentation,
    condition: Option<Condition>,
    decision: Decision,
    small_fish: SmallFish,
    settings: &Settings,
) -> (Option<Outlet>, String) {
    match decision {
        Decision::Refuse => return (None, "Refused at the dock: goes to nobody.".to_owned()),
        Decision::Hold => {
            return (
                None,
                "Held: goes nowhere until the office releases it.".to_owned(),
            );
        }
        Decision::Accept => {}
    }
    if small_fish == SmallFish::TakeHome {
        return (None, "The diver took it home.".to_owned());
    }
    let donated_first = settings.undersize_outlet() == Outlet::Donation;
    let (outlet, why) = match (donated_first, condition) {
        (true, Some(Condition::Torn)) => (
            Outlet::Soup,
            "torn fish is not donated, and is cut the same day",
        ),
        (true, _) => (Outlet::Donation, "the site gives undersize fish away first"),
        (false, Some(Condition::Torn)) => (
            Outlet::Soup,
            "the site makes soup of undersize fish first; torn, so cut the same day",
        ),
        (false, _) => (Outlet::Soup, "the site makes soup of undersize fish first"),
    };
    let mut reason = format!("Below the plate minimum; {why}.");
    // The toxin gathers in head, gut, roe and liver, which are kept out of soup
    // (a state health department's advice).
    if species.has(Hazard::Ciguatera) && presentation != Presentation::GuttedHeaded {
        reason.push_str(" Gutted and head-off first: ciguatera hazard.");
    }
    (Some(outlet), reason)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn undersize_fish_gets_an_outlet_or_the_reason_why_not() {
        use Condition::{Clean, Torn};
        use Decision::{Accept, Hold, Refuse};
        use Outlet::{Donation, Soup};
        use SmallFish::{Give, Sell, TakeHome};
        let (whole, headed) = (Presentation::Whole, Presentation::GuttedHeaded);
        for (first, ciguatera, presentation, condition, decision, small, outlet, says) in [
            (
                Soup,
                false,
                whole,
                Clean,
                Accept,
                Sell,
                Some(Soup),
                "soup of undersize fish first.",
            ),
            (
                Soup,
                false,
                whole,
                Torn,
                Accept,
                Sell,
                Some(Soup),
                "cut the same day.",
            ),
            (
                Donation,
                false,
                whole,
                Clean,
                Accept,
                Sell,
                Some(Donation),
                "away first.",
            ),
            // What the diver is paid does not change where it goes.
            (
                Donation,
                false,
                whole,
                Clean,
                Accept,
                Give,
                Some(Donation),
                "away first.",
            ),
            (
                Donation,
                false,
                whole,
                Torn,
                Accept,
                Sell,
                Some(Soup),
                "not donated",
            ),
            (
                Soup,
                true,
                whole,
                Clean,
                Accept,
                Sell,
                Some(Soup),
                "Gutted and head-off first",
            ),
            (
                Donation,
                true,
                whole,
                Clean,
                Accept,
                Sell,
                Some(Donation),
                "Gutted and head-off",
            ),
            (
                Soup,
                true,
                headed,
                Clean,
                Accept,
                Sell,
                Some(Soup),
                "soup of undersize fish first.",
            ),
            (Soup, false, whole, Clean, Hold, Sell, None, "Held"),
            (Donation, true, whole, Torn, Hold, Give, None, "Held"),
            (Soup, false, whole, Clean, Refuse, Sell, None, "Refused"),
            (
                Soup,
                false,
                whole,
                Clean,
                Accept,
                TakeHome,
                None,
                "took it home",
            ),
        ] {
            let species = Species {
                code: "PZO".to_owned(),
                name: "Lionfish".to_owned(),
                scientific_name: "Pterois volitans".to_owned(),
                hazards: if ciguatera {
                    vec![Hazard::Ciguatera]
                } else {
                    Vec::new()
                },
                lightest: None,
                heaviest: None,
            };
            let settings = Settings {
                undersize_outlet: Some(first),
                ..Settings::default()
            };
            let (proposed, reason) = propose(
                &species,
                presentation,
                Some(condition),
                decision,
                small,
                &settings,
            );
            let case = format!("{first:?} {ciguatera} {condition:?} {decision:?} {small:?}");
            assert_eq!(proposed, outlet, "{case}");
            assert!(reason.contains(says), "{case}: {reason}");
            assert_eq!(
                reason.contains("ciguatera"),
                ciguatera && outlet.is_some() && presentation == whole
            );
        }
    }

    #[test]
    fn soup_comes_first_where_the_site_says_nothing() {
        let species = Species {
            code: "PZO".to_owned(),
            name: "Lionfish".to_owned(),
            scientific_name: String::new(),
            hazards: Vec::new(),
            lightest: None,
            heaviest: None,
        };
        let (proposed, _) = propose(
            &species,
            Presentation::Whole,
            None,
            Decision::Accept,
            SmallFish::Sell,
            &Settings::default(),
        );
        assert_eq!(proposed, Some(Outlet::Soup));
    }
}
