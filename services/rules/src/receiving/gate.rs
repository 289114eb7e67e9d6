//! What may leave for somebody's plate, and to whom.
//!
//! A temperature above the site's limit goes to nobody; exactly the limit goes.
//! Where none was taken that is said. Torn fish is not donated. What fish inherits, how
//! old it is and in which form it goes is asked in [`crate::outlet::eligible`].

use super::ReceivingSettings;
use crate::fish::{Condition, Outlet};
use crate::ids::PartId;
use crate::office::{Party, PartyRole};
use crate::ticket::{Notice, NoticeKind, Temperature};

/// A part on its way out.
#[derive(Debug, Clone, Copy)]
pub struct Leaving {
    /// Which.
    pub part: PartId,
    /// Shot condition.
    pub condition: Option<Condition>,
}

/// Why fish does not leave.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MayNotLeave {
    /// Warmer than the site's limit.
    #[error(
        "{is} is above the limit of {limit}: it goes to nobody; cool it and measure again, or \
         throw it out"
    )]
    TooWarm {
        /// When it left.
        is: Temperature,
        /// The site's.
        limit: Temperature,
    },
    /// Torn fish, to donation.
    #[error("part {part} is torn: torn fish is cut the same day and not donated")]
    TornDonated {
        /// Position in the request, counted from 0.
        at: usize,
        /// Which.
        part: PartId,
    },
}

impl MayNotLeave {
    /// The field of the request it is about.
    #[must_use]
    pub fn field(&self) -> String {
        match self {
            MayNotLeave::TooWarm { .. } => "temperature".to_owned(),
            MayNotLeave::TornDonated { at, .. } => format!("taken[{at}].part"),
        }
    }

    /// Stable word for programs.
    #[must_use]
    pub const fn reason(&self) -> &'static str {
        match self {
            MayNotLeave::TooWarm { .. } => "TOO_WARM",
            MayNotLeave::TornDonated { .. } => "TORN_NOT_DONATED",
        }
    }
}

/// Judges fish on its way to an outlet; what only looks odd is a warning.
///
/// # Errors
/// [`MayNotLeave`]: it goes to nobody so.
pub fn dispatch(
    outlet: Outlet,
    leaving: &[Leaving],
    temperature: Option<&Temperature>,
    settings: &ReceivingSettings,
) -> Result<Vec<Notice>, MayNotLeave> {
    let mut notices = Vec::new();
    if !outlet.is_food() {
        return Ok(notices);
    }
    let warn = |code: &str, text: String| Notice::of(NoticeKind::Warning, code, text);
    let limit = settings.cold_limit();
    match temperature {
        Some(is) if is.is_above(&limit) => {
            let is = is.clone();
            return Err(MayNotLeave::TooWarm { is, limit });
        }
        Some(_) => {}
        None => notices.push(warn(
            "no_temperature",
            format!("No temperature was taken as it left; the limit is {limit}."),
        )),
    }
    for (at, part) in leaving.iter().enumerate() {
        if outlet == Outlet::Donation && part.condition == Some(Condition::Torn) {
            let part = part.part;
            return Err(MayNotLeave::TornDonated { at, part });
        }
    }
    Ok(notices)
}

/// Roles of which a party has one to take what goes to an outlet; none where
/// anybody may.
#[must_use]
pub const fn receives(outlet: Outlet) -> &'static [PartyRole] {
    match outlet {
        Outlet::SoldWhole | Outlet::Soup => {
            &[PartyRole::Kitchen, PartyRole::Recipient, PartyRole::Buyer]
        }
        Outlet::Donation | Outlet::Gift => &[PartyRole::Recipient],
        Outlet::CrewUse | Outlet::ByProduct | Outlet::Discard | Outlet::Sample => &[],
    }
}

/// A party that is not what it is named for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{party} is not on file as {needed}: have the office give it that role")]
pub struct WrongRole {
    /// Party code.
    pub party: String,
    /// Roles of which it needs one.
    pub needed: String,
}

/// Whether a party has one of the roles.
///
/// # Errors
/// [`WrongRole`].
pub fn has_role(party: &Party, roles: &[PartyRole]) -> Result<(), WrongRole> {
    if roles.is_empty() || party.roles.iter().any(|role| roles.contains(role)) {
        return Ok(());
    }
    let needed: Vec<&str> = roles.iter().map(|role| role.word()).collect();
    Err(WrongRole {
        party: party.code.clone(),
        needed: needed.join(" or "),
    })
}
