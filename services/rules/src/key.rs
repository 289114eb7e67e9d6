//! Keys: what a caller shows to say who they are.
//!
//! A key is 256 random bits that are shown once; the book keeps their SHA-256. It
//! has a name, a role and, for those who see only what is their own, a party. It may
//! end by itself at an instant, and it may be revoked; a revoked key never works
//! again. What each role may do is decided at the desk.

use crate::fish::coded;
use crate::office::{Party, PartyRole};

coded! {
    /// What a caller may be.
    Role {
        /// Weighs in and runs the dock.
        Buyer = 1 "buyer",
        /// Sees their own tickets and money.
        Diver = 2 "diver",
        /// Records their own cuts.
        Kitchen = 3 "kitchen",
        /// Posts price lists, closes days, gives out keys.
        Office = 4 "office",
        /// Reads everything, writes nothing.
        Auditor = 5 "auditor",
    }
}

impl Role {
    /// Whether such a caller sees only what belongs to a party of theirs.
    #[must_use]
    pub const fn is_own_only(self) -> bool {
        matches!(self, Role::Diver | Role::Kitchen)
    }

    /// Roles of which a party has one to hold such a key.
    #[must_use]
    pub const fn held_by(self) -> &'static [PartyRole] {
        match self {
            Role::Diver => &[PartyRole::Harvester, PartyRole::Payee],
            Role::Kitchen => &[PartyRole::Kitchen, PartyRole::Staff],
            Role::Buyer | Role::Office | Role::Auditor => &[PartyRole::Buyer],
        }
    }
}

/// A key as somebody asks for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyAsked {
    /// What people call it, such as the tablet it is for.
    pub name: String,
    /// In what role.
    pub role: Role,
    /// For whom: needed for a diver and a kitchen. A buyer whose sites alone are
    /// meant, for the others; empty: the whole book.
    pub party: String,
    /// When it ends, microseconds since 1970 UTC; absent: not by itself.
    pub expires_us: Option<i64>,
    /// SHA-256 of the certificate that stands for it, hexadecimal; empty: the key
    /// is a secret.
    pub certificate: String,
}

/// A key on file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key {
    /// As asked.
    pub asked: KeyAsked,
    /// SHA-256 of the secret or of the certificate, lower-case hexadecimal.
    pub sha256: String,
    /// Why it was revoked; empty while it was not.
    pub revoked: String,
}

impl Key {
    /// Whether it opens anything at an instant: exactly at its end it does not.
    #[must_use]
    pub fn works_at(&self, now_us: i64) -> bool {
        self.revoked.is_empty() && self.asked.expires_us.is_none_or(|end| now_us < end)
    }
}

/// A revocation as asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RevokeAsked {
    /// Entry that gave the key out.
    pub key: i64,
    /// Why.
    pub reason: String,
}

/// A link that signs in once whoever holds the key it stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkAsked {
    /// Entry that gave the key out.
    pub key: i64,
    /// First instant at which it no longer opens anything, microseconds since 1970 UTC.
    pub ends_us: i64,
}

/// Why a key cannot be given out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadKey {
    /// A diver's or a kitchen's key without the party it is for.
    #[error("a {} sees what is their own: name the party", .0.word())]
    NoParty(Role),
    /// The party is something else to the book.
    #[error("{party} is not a {} to this book", or(.role.held_by()))]
    WrongParty {
        /// Its code.
        party: String,
        /// Role asked for.
        role: Role,
    },
    /// It would end before it begins.
    #[error("must lie in the future")]
    Ended,
}

fn or(roles: &[PartyRole]) -> String {
    let words: Vec<_> = roles.iter().map(|role| role.word()).collect();
    words.join(" or ")
}

/// Checks a key before it is given out; `party` is the one it names, as on file.
///
/// # Errors
/// [`BadKey`].
pub fn check(asked: &KeyAsked, party: Option<&Party>, now_us: i64) -> Result<(), BadKey> {
    match party {
        None if asked.role.is_own_only() => return Err(BadKey::NoParty(asked.role)),
        Some(party)
            if !asked
                .role
                .held_by()
                .iter()
                .any(|role| party.roles.contains(role)) =>
        {
            return Err(BadKey::WrongParty {
                party: party.code.clone(),
                role: asked.role,
            });
        }
        None | Some(_) => {}
    }
    if asked.expires_us.is_some_and(|end| end <= now_us) {
        return Err(BadKey::Ended);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(role: Role, expires_us: Option<i64>) -> KeyAsked {
        KeyAsked {
            name: "tablet".to_owned(),
            role,
            party: String::new(),
            expires_us,
            certificate: String::new(),
        }
    }

    fn party(roles: &[PartyRole]) -> Party {
        Party {
            code: "p".to_owned(),
            name: "P".to_owned(),
            roles: roles.to_vec(),
            licence_number: String::new(),
            licence_expires: None,
            contact: String::new(),
        }
    }

    #[test]
    fn a_key_is_for_a_party_that_can_hold_it() {
        use PartyRole::{Buyer, Harvester, Kitchen, Payee, Recipient, Staff};
        let cases: &[(Role, Option<&[PartyRole]>, bool)] = &[
            (Role::Office, None, true),
            (Role::Buyer, None, true),
            (Role::Auditor, None, true),
            (Role::Diver, None, false),
            (Role::Kitchen, None, false),
            (Role::Diver, Some(&[Harvester]), true),
            (Role::Diver, Some(&[Payee]), true),
            (Role::Diver, Some(&[Kitchen]), false),
            (Role::Kitchen, Some(&[Kitchen]), true),
            (Role::Kitchen, Some(&[Staff]), true),
            (Role::Kitchen, Some(&[Recipient, Harvester]), false),
            (Role::Buyer, Some(&[Buyer]), true),
            (Role::Office, Some(&[Staff]), false),
        ];
        for (role, roles, may) in cases {
            let party = roles.map(party);
            let checked = check(&asked(*role, None), party.as_ref(), 0);
            assert_eq!(checked.is_ok(), *may, "{role:?} {roles:?}");
        }
    }

    #[test]
    fn a_key_works_until_its_end_and_not_once_revoked() {
        let mut key = Key {
            asked: asked(Role::Office, Some(100)),
            sha256: String::new(),
            revoked: String::new(),
        };
        assert!(key.works_at(99));
        assert!(!key.works_at(100), "the end itself is out");
        key.asked.expires_us = None;
        assert!(key.works_at(i64::MAX));
        key.revoked = "lost at the dock".to_owned();
        assert!(!key.works_at(0));
        assert_eq!(
            check(&asked(Role::Office, Some(100)), None, 100),
            Err(BadKey::Ended)
        );
        assert_eq!(check(&asked(Role::Office, Some(101)), None, 100), Ok(()));
    }
}
