//! Who asks.
//!
//! A face finds out by which key, or by which certificate, and the desk says whose
//! that is. What a caller may do is in [`crate::access`].

pub use rules::key::Role;

/// Who asks for a deed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caller {
    /// Party whose things these are to see; for an office, a buyer or an auditor the
    /// buyer of the sites they see. Empty: the whole book.
    pub party: String,
    /// In what role.
    pub role: Role,
    /// Entry that gave the key out; 0 for whoever runs the program itself.
    pub key: i64,
    /// What people call the key.
    pub key_name: String,
}

impl Caller {
    /// Whoever runs the program on the book itself.
    #[must_use]
    pub fn office() -> Caller {
        Caller {
            party: String::new(),
            role: Role::Office,
            key: 0,
            key_name: String::new(),
        }
    }

    /// As written into an entry: the role, for whom, and by which key.
    #[must_use]
    pub fn name(&self) -> String {
        let mut name = self.role.word().to_owned();
        if !self.party.is_empty() {
            name = format!("{name} {}", self.party);
        }
        if !self.key_name.is_empty() && self.key_name != self.role.word() {
            name = format!("{name} ({})", self.key_name);
        }
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_caller_is_named_by_role_party_and_key() {
        let cases = [
            (Role::Office, "", "", "office"),
            (Role::Office, "", "office", "office"),
            (Role::Buyer, "", "dock tablet", "buyer (dock tablet)"),
            (Role::Diver, "wren", "phone", "diver wren (phone)"),
        ];
        for (role, party, key_name, name) in cases {
            let caller = Caller {
                party: party.to_owned(),
                role,
                key: 1,
                key_name: key_name.to_owned(),
            };
            assert_eq!(caller.name(), name);
        }
    }
}
