//! Signing in to the pages: a session stands for a key.
//!
//! A session is what a browser has instead of a key: random bits that the book knows by
//! their SHA-256. It ends after [`SESSION_LASTS_US`], when somebody signs out, or when
//! its key no longer opens anything. A link is given out by the office for a key on file
//! and is exchanged for a session once. Who may do what is the key's, as ever.

use books::session::{self, Session};
use books::table::{Cell, SIGN_IN_LINK};
use books::{Row, register::Office};
use rules::business_day::utc_day;
use rules::key::LinkAsked;

use crate::{Booked, Caller, Desk, DeskError, Plan};

/// How long a session lasts: 12 hours, a long day at the dock.
pub const SESSION_LASTS_US: i64 = 12 * 60 * 60 * 1_000_000;
/// Longest that a link opens a session: 15 minutes, to hand it over and have it opened.
pub const LINK_LASTS_US: i64 = 15 * 60 * 1_000_000;

impl Desk {
    /// Gives out a link, known by `sha256`, that signs in once whoever holds a key.
    /// A repeat is answered like the first; its secret is not shown again.
    ///
    /// # Errors
    /// No such key, one that opens nothing, or an end that has passed or is too far off.
    pub async fn give_link(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: LinkAsked,
        sha256: String,
    ) -> Result<Booked<LinkAsked, ()>, DeskError> {
        if caller.is_bound() {
            let office = self.fresh_office().await?;
            let held_for = key_holder(&office, asked.key).map(|caller| caller.party);
            if held_for.as_ref() != Some(&caller.party) {
                return Err(DeskError::Denied);
            }
        }
        self.deed(caller, "link", request_id, asked, |asked| {
            let sha256 = sha256.clone();
            async move {
                let now_us = self.now_us().await?;
                let office = self.fresh_office().await?;
                let holder = key_holder(&office, asked.key)
                    .ok_or_else(|| DeskError::unknown("key", "key", &asked.key.to_string()))?;
                if !self.still_works(&holder).await? {
                    return Err(DeskError::precondition(
                        "KEY_ENDED",
                        "this key was revoked or has ended, so no link stands for it",
                    ));
                }
                if asked.ends_us <= now_us || asked.ends_us > now_us + LINK_LASTS_US {
                    return Err(DeskError::malformed(
                        "ends_at",
                        "must lie in the next 15 minutes",
                    ));
                }
                let row = Row::new(
                    &SIGN_IN_LINK,
                    [
                        sha256.into(),
                        Cell::Own,
                        asked.key.into(),
                        asked.ends_us.into(),
                    ],
                );
                Ok(Plan {
                    site: 0,
                    day: utc_day(now_us),
                    party: holder.party,
                    happened_us: now_us,
                    must_hold: Vec::new(),
                    bumps: Vec::new(),
                    asked,
                    outcome: (),
                    rows: vec![row],
                })
            }
        })
        .await
    }

    /// Signs in whoever shows the key known by `key_sha256`; nobody where it opens
    /// nothing. The session is known by `sha256` from now on.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn sign_in(
        &self,
        key_sha256: &str,
        sha256: &str,
    ) -> Result<Option<Caller>, DeskError> {
        let Some(caller) = self.caller(key_sha256).await? else {
            return Ok(None);
        };
        session::open(&self.db, &self.session(sha256, caller.key).await?).await?;
        Ok(Some(caller))
    }

    /// Signs in whoever opens the link known by `link_sha256`: once, and in its time.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn sign_in_by_link(
        &self,
        link_sha256: &str,
        sha256: &str,
    ) -> Result<Option<Caller>, DeskError> {
        let now_us = self.now_us().await?;
        let key = session::key_of_link(&self.db, link_sha256, now_us).await?;
        let Some(caller) = self.holder(key).await? else {
            return Ok(None);
        };
        let session = self.session(sha256, caller.key).await?;
        let opened = session::open_by_link(&self.db, &session, link_sha256).await?;
        Ok(opened.then_some(caller))
    }

    /// Who is signed in by the session known by `sha256`; nobody where it has ended, or
    /// its key has.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn signed_in(&self, sha256: &str) -> Result<Option<Caller>, DeskError> {
        let now_us = self.now_us().await?;
        let session = session::find(&self.db, sha256, now_us).await?;
        self.holder(session.map(|session| session.key)).await
    }

    /// Ends a session; one that has ended, or never was, stays as it is.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn sign_out(&self, sha256: &str) -> Result<(), DeskError> {
        let now_us = self.now_us().await?;
        Ok(session::end(&self.db, sha256, now_us).await?)
    }

    async fn session(&self, sha256: &str, key: i64) -> Result<Session, DeskError> {
        let began_us = self.now_us().await?;
        Ok(Session {
            sha256: sha256.to_owned(),
            key,
            began_us,
            ends_us: began_us + SESSION_LASTS_US,
        })
    }

    /// Who holds the key that an entry gave out, while it works.
    async fn holder(&self, key: Option<i64>) -> Result<Option<Caller>, DeskError> {
        let Some(key) = key else {
            return Ok(None);
        };
        let mut holder = key_holder(&self.office(), key);
        if holder.is_none() {
            // Another instance may have given it out since.
            holder = key_holder(&*self.fresh_office().await?, key);
        }
        let Some(holder) = holder else {
            return Ok(None);
        };
        Ok(self.still_works(&holder).await?.then_some(holder))
    }
}

/// Whose the key is that an entry gave out, whether or not it works.
fn key_holder(office: &Office, entry: i64) -> Option<Caller> {
    let (id, key) = office.keys.values().find(|(id, _)| *id == entry)?;
    Some(Caller {
        party: key.asked.party.clone(),
        role: key.asked.role,
        key: *id,
        key_name: key.asked.name.clone(),
    })
}
