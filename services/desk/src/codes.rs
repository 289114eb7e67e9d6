//! Lot numbers asked ahead, and the tickets that bear them.

use books::{Condition, blocks, register};
use rules::codes::{self, CodesAsked};
use rules::office::Device;
use rules::ticket::WeighIn;

use crate::{Booked, Caller, Desk, DeskError, Plan};

/// What the code of a browser begins with: it names no device of the office's.
const BROWSER: &str = "page-";
/// Hexadecimal digits that follow.
const DIGITS: usize = 8;

impl Desk {
    /// Puts the browser that somebody works in on file as a device of its own, so that it
    /// can keep entries while there is no signal. Whoever may weigh in may: it names
    /// nobody else's device, and a device is no key.
    ///
    /// # Errors
    /// An unknown site, or a code that is not a browser's.
    pub async fn record_browser(
        &self,
        caller: &Caller,
        request_id: &str,
        site: i64,
        code: &str,
    ) -> Result<(), DeskError> {
        self.may_at(caller, "browser", site)?;
        let digits = code.strip_prefix(BROWSER).unwrap_or_default();
        let is_hex = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
        if digits.len() != DIGITS || !digits.bytes().all(is_hex) {
            let rule = format!("is not {BROWSER} and {DIGITS} hexadecimal digits");
            return Err(DeskError::malformed("device", rule));
        }
        let key = (site, code.to_owned());
        if self.fresh_office().await?.devices.contains_key(&key) {
            return Ok(());
        }
        let name = match caller.key_name.as_str() {
            "" => "Browser".to_owned(),
            key => format!("Browser of {key}"),
        };
        let device = Device {
            site,
            code: code.to_owned(),
            name,
        };
        self.allowed_deed(caller, "device", request_id, device, |device| async move {
            let now_us = self.known_site("site", device.site).await?;
            let rows = vec![register::row("device", device.site, &device.code, now_us)];
            Ok(self.local(now_us, device.site, device, rows))
        })
        .await
        .map(|_| ())
    }

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
