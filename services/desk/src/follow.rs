//! Following a device that wrote without signal: what it says of its queue.
//!
//! A device opens with how many deeds it has queued and ends with none left.
//! Both words belong to the business day of the first, so that a day whose
//! device drained later is closed anew without its gap.

use books::doc_struct;
use books::table::{Cell, DEVICE_WORD};
use books::{Row, entries};

use crate::{Booked, Caller, Desk, DeskError, Plan};

/// What a device says of its queue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceWord {
    /// Site number.
    pub site: i64,
    /// Code of the device.
    pub device: String,
    /// Deeds it had queued when it opened.
    pub queued: i64,
    /// How many were resolved since; 0 when it opens.
    pub resolved: i64,
    /// Entry that opened, for a word that ends.
    pub open: Option<i64>,
}

/// Another name for what catching up records.
pub type CatchUpWord = Booked<DeviceWord, ()>;

doc_struct! {
    DeviceWord { site, device, queued, resolved, open }
}

impl Desk {
    /// Records what a device says of its queue.
    ///
    /// # Errors
    /// An unknown site or device.
    pub async fn device_word(
        &self,
        caller: &Caller,
        request_id: &str,
        word: DeviceWord,
    ) -> Result<CatchUpWord, DeskError> {
        self.at_site(caller, word.site)?;
        self.deed(caller, "device_word", request_id, word, |word| async move {
            let now_us = self.known_site("open.site", word.site).await?;
            let office = self.office();
            if !office
                .devices
                .contains_key(&(word.site, word.device.clone()))
            {
                return Err(DeskError::unknown("open.device", "device", &word.device));
            }
            let day = match word.open {
                None => self.day_at(word.site, now_us),
                Some(open) => {
                    let mut tx = self.read().await?;
                    let entry = entries::get(&mut tx, open).await?;
                    let opened = entry.filter(|entry| {
                        entry.kind == "device_word" && entry.id.site() == word.site
                    });
                    let unknown =
                        || DeskError::unknown("open", "word of a device", &open.to_string());
                    opened.ok_or_else(unknown)?.id.day()
                }
            };
            let row = Row::new(
                &DEVICE_WORD,
                [
                    Cell::Own,
                    word.site.into(),
                    word.device.as_str().into(),
                    word.queued.into(),
                    word.resolved.into(),
                ],
            );
            Ok(Plan {
                site: word.site,
                day,
                party: String::new(),
                happened_us: now_us,
                must_hold: Vec::new(),
                bumps: Vec::new(),
                asked: word,
                outcome: (),
                rows: vec![row],
            })
        })
        .await
    }
}
