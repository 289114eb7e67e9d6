//! Lot numbers asked ahead, and the tickets that bear them.

use books::{Condition, blocks};
use rules::codes::{self, CodesAsked};
use rules::ticket::WeighIn;

use crate::{Booked, Caller, Desk, DeskError, Plan};

impl Desk {
    /// Gives a device a block of lot numbers that nothing else will get.
    ///
    /// # Errors
    /// An unknown site or device, or more numbers than the day has left.
    pub async fn request_codes(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: CodesAsked,
    ) -> Result<Booked<CodesAsked, ()>, DeskError> {
        self.at_site(caller, asked.site)?;
        self.deed(caller, "codes", request_id, asked, |asked| async move {
            let now_us = self.known_site("site", asked.site).await?;
            let device = (asked.site, asked.device.clone());
            if !self.office().devices.contains_key(&device) {
                return Err(DeskError::unknown("device", "device", &asked.device));
            }
            Ok(Plan {
                site: asked.site,
                day: self.day_at(asked.site, now_us),
                party: String::new(),
                happened_us: now_us,
                must_hold: Vec::new(),
                bumps: Vec::new(),
                rows: vec![blocks::row(&asked)],
                asked,
                outcome: (),
            })
        })
        .await
        .map_err(|error| match error {
            DeskError::Precondition {
                reason: reason @ "DAY_FULL",
                rule,
                ..
            } => DeskError::Precondition {
                reason,
                rule,
                field: "count".to_owned(),
            },
            other => other,
        })
    }

    /// What must hold for a ticket to bear the number it asks for: that no other
    /// does.
    pub(crate) async fn bears_number(
        &self,
        asked: &WeighIn,
    ) -> Result<Option<Condition>, DeskError> {
        let Some(number) = asked.lot_number else {
            return Ok(None);
        };
        let mut tx = self.read().await?;
        let block = blocks::before(&mut tx, asked.site, number).await?;
        drop(tx);
        let is_rewrite = asked.rewrites.is_some();
        let (what, item) = codes::place(number, &asked.device, is_rewrite, block.as_ref())
            .map_err(|bad| DeskError::malformed("lot_number", bad.to_string()))?;
        Ok(Some(Condition::Spend {
            what,
            item,
            how: "lot_number",
        }))
    }
}
