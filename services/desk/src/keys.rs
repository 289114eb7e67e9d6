//! Keys: given out, looked up, revoked.
//!
//! The secret itself never comes here: a face makes it and hands in its SHA-256. A key
//! is on file for the whole book and belongs to no site. Revoking it stops it at once
//! where it was revoked, and within a second on every other instance of the book.

use books::Condition;
use books::register::{self, Office};
use rules::business_day::utc_day;
use rules::key::{self, BadKey, Key, KeyAsked, RevokeAsked};

use crate::{Booked, Caller, Desk, DeskError, Plan};

/// A key on file, with the entry that gave it out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyFound {
    /// Entry that gave it out, by which it is named.
    pub id: i64,
    /// As it stands.
    pub key: Key,
    /// Whether it opens anything now.
    pub works: bool,
}

impl Desk {
    /// Gives out a key that is known by `sha256`. A repeat is answered with the first
    /// key; its secret is not shown again.
    ///
    /// # Errors
    /// A party that cannot hold it, an end that has passed, or more than the caller
    /// reaches themselves.
    pub async fn issue_key(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: KeyAsked,
        sha256: String,
    ) -> Result<Booked<KeyAsked, Key>, DeskError> {
        // Nobody hands on more than they have: a key of somebody who sees what is their
        // own reaches the sites of every buyer.
        if caller.is_bound() && asked.party != caller.party {
            return Err(DeskError::Denied);
        }
        self.deed(caller, "key", request_id, asked, |asked| {
            let sha256 = sha256.clone();
            async move {
                let now_us = self.now_us().await?;
                let office = self.office();
                let party = match asked.party.as_str() {
                    "" => None,
                    code => Some(
                        office
                            .parties
                            .get(code)
                            .ok_or_else(|| DeskError::unknown("party", "party", code))?,
                    ),
                };
                key::check(&asked, party, now_us).map_err(|bad| {
                    let field = match bad {
                        BadKey::NoParty(_) | BadKey::WrongParty { .. } => "party",
                        BadKey::Ended => "expires_at",
                    };
                    DeskError::malformed(field, bad.to_string())
                })?;
                if office.keys.contains_key(&sha256) {
                    return Err(DeskError::precondition(
                        "KEY_ON_FILE",
                        "this certificate stands for a key already; make another",
                    ));
                }
                let rows = vec![register::row("key", 0, &sha256, now_us)];
                let outcome = Key {
                    asked: asked.clone(),
                    sha256,
                    revoked: String::new(),
                };
                Ok(of_the_book(&office, now_us, asked, outcome, rows))
            }
        })
        .await
    }

    /// Revokes a key for good.
    ///
    /// # Errors
    /// No such key, or one revoked before.
    pub async fn revoke_key(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: RevokeAsked,
    ) -> Result<Booked<RevokeAsked, Key>, DeskError> {
        if caller.is_bound() {
            let office = self.fresh_office().await?;
            let mut keys = office.keys.values();
            let is_theirs =
                |(id, key): &(i64, Key)| *id == asked.key && key.asked.party == caller.party;
            if !keys.any(is_theirs) {
                return Err(DeskError::Denied);
            }
        }
        self.deed(caller, "revoke", request_id, asked, |asked| async move {
            let now_us = self.now_us().await?;
            let office = self.office();
            let found = office.keys.values().find(|(id, _)| *id == asked.key);
            let Some((id, key)) = found else {
                return Err(DeskError::unknown("key", "key", &asked.key.to_string()));
            };
            let outcome = Key {
                revoked: asked.reason.clone(),
                ..key.clone()
            };
            let rows = vec![register::row("key", 0, &key.sha256, now_us)];
            let spend = Condition::Spend {
                what: *id,
                item: 0,
                how: "revoke",
            };
            let mut plan = of_the_book(&office, now_us, asked, outcome, rows);
            plan.must_hold.push(spend);
            Ok(plan)
        })
        .await
    }

    /// Every key ever given out, in order.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn keys(&self, caller: &Caller) -> Result<Vec<KeyFound>, DeskError> {
        caller.may("keys")?;
        let now_us = self.now_us().await?;
        let office = self.fresh_office().await?;
        let mut keys: Vec<_> = office
            .keys
            .values()
            .filter(|(_, key)| !caller.is_bound() || key.asked.party == caller.party)
            .map(|(id, key)| KeyFound {
                id: *id,
                key: key.clone(),
                works: key.works_at(now_us),
            })
            .collect();
        keys.sort_by_key(|found| found.id);
        Ok(keys)
    }

    /// Who shows the key known by `sha256`; nobody where it is unknown, has ended or
    /// was revoked.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn caller(&self, sha256: &str) -> Result<Option<Caller>, DeskError> {
        let mut office = self.office();
        if !office.keys.contains_key(sha256) {
            // Another instance may have given it out since.
            office = self.fresh_office().await?;
        }
        let Some((id, key)) = office.keys.get(sha256) else {
            return Ok(None);
        };
        let now_us = match key.asked.expires_us {
            None => 0,
            Some(_) => self.now_us().await?,
        };
        Ok(key.works_at(now_us).then(|| Caller {
            party: key.asked.party.clone(),
            role: key.asked.role,
            key: *id,
            key_name: key.asked.name.clone(),
        }))
    }

    /// Whether a key was ever given out that is known by `sha256`.
    #[must_use]
    pub fn knows_key(&self, sha256: &str) -> bool {
        self.office().keys.contains_key(sha256)
    }

    /// Whether the key of a caller who was let in before still opens anything.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn still_works(&self, caller: &Caller) -> Result<bool, DeskError> {
        let office = self.office();
        let key = office.keys.values().find(|(id, _)| *id == caller.key);
        let now_us = match key {
            Some((_, key)) if key.asked.expires_us.is_some() => self.now_us().await?,
            _ => 0,
        };
        // Whoever runs the program itself has no key.
        Ok(key.map_or(caller.key == 0, |(_, key)| key.works_at(now_us)))
    }

    /// Whether some key works that can give out others for the whole book.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn has_an_office_key(&self) -> Result<bool, DeskError> {
        let now_us = self.now_us().await?;
        let office = self.fresh_office().await?;
        Ok(office.keys.values().any(|(_, key)| {
            key.asked.role == key::Role::Office
                && key.asked.party.is_empty()
                && key.works_at(now_us)
        }))
    }

    /// Reads what is on file again where another instance has added to it: called
    /// every second, so that a key revoked elsewhere stops here.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn keep_up(&self) -> Result<(), DeskError> {
        if self.office_is_behind().await? {
            self.reload_office().await?;
        }
        Ok(())
    }
}

/// A deed about the whole book: site 0 and the UTC day, decided on what all share.
fn of_the_book<A, O>(
    office: &Office,
    now_us: i64,
    asked: A,
    outcome: O,
    rows: Vec<books::Row>,
) -> Plan<A, O> {
    Plan {
        site: 0,
        day: utc_day(now_us),
        party: String::new(),
        happened_us: now_us,
        must_hold: vec![Condition::Epoch {
            site: 0,
            seen: office.epoch(0),
        }],
        bumps: vec![0],
        asked,
        outcome,
        rows,
    }
}
