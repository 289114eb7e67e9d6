//! Who asks.
//!
//! Every deed takes a caller from the first day. Until callers have keys the
//! service answers on loopback only and everybody is the office; requests carry
//! no name of their own.

/// What a caller may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Posts price lists, closes days, settles.
    Office,
}

/// Who asks for a deed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caller {
    /// Party code; empty for the office.
    pub party: String,
    /// In what role.
    pub role: Role,
}

impl Caller {
    /// The office, on the machine itself.
    #[must_use]
    pub fn office() -> Caller {
        Caller {
            party: String::new(),
            role: Role::Office,
        }
    }

    /// As written into an entry.
    pub(crate) fn name(&self) -> String {
        match self.role {
            Role::Office if self.party.is_empty() => "office".to_owned(),
            Role::Office => format!("office {}", self.party),
        }
    }
}
