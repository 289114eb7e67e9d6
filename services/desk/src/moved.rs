//! What is said of a ticket that is written again after its fish has moved.

use books::{entries, stock};
use rules::ticket::{Notice, NoticeKind, Ticket, WeighIn};

use crate::{Desk, DeskError};

impl Desk {
    /// Warns that fish of a rewritten ticket has gone on already: what moved stays
    /// as it was written down.
    pub(crate) async fn moved_already(&self, asked: &WeighIn) -> Result<Option<Notice>, DeskError> {
        let Some(rewrite) = &asked.rewrites else {
            return Ok(None);
        };
        let mut tx = self.read().await?;
        let Some(entry) = entries::get(&mut tx, rewrite.ticket).await? else {
            return Ok(None);
        };
        let (_, before): (WeighIn, Ticket) = entry.read()?;
        let mut moved = Vec::new();
        let number = before.number.unwrap_or(rewrite.ticket);
        for code in stock::lots_under(&mut tx, number).await? {
            let lot = stock::lot(&mut tx, code).await?;
            let events = lot.map(|lot| lot.events).unwrap_or_default();
            if events.iter().any(|event| event.what.is_movement()) {
                moved.push(code.to_string());
            }
        }
        Ok((!moved.is_empty()).then(|| Notice {
            kind: NoticeKind::Warning,
            code: "moved_before_rewrite".to_owned(),
            text: format!(
                "Fish of lot {} has gone somewhere already. What moved stays as it was written; a \
                 part that is not on this ticket any more goes below zero and is flagged.",
                moved.join(", ")
            ),
            line: 0,
        }))
    }
}
