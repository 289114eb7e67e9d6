//! `send`: a file of deeds, whatever they are, one after the other.
//!
//! A file that stopped half-way is sent again as it is once it is mended: what
//! was booked the first time is answered again and not booked twice.

use std::fmt::Write as _;
use std::path::PathBuf;

use crate::Reach;
use crate::trouble::Trouble;
use crate::week::{Way, Week};

/// Arguments of `send`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse send demo-data/first-office.json")]
pub struct Send {
    /// File of deeds; demo-data/README.md says what is in one
    file: PathBuf,
    #[command(flatten)]
    reach: Reach,
}

impl Send {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let name = self.file.display().to_string();
        let text = std::fs::read_to_string(&self.file)
            .map_err(|error| Trouble::File(format!("{name}: {error}")))?;
        let service = self.reach.service().await?;
        let mut week = Week::default();
        let sent = week
            .send(&service, &name, &text, Way::Unary)
            .await
            .map_err(|error| Trouble::File(error.to_string()))?;
        if self.reach.json {
            let ids = serde_json::to_value(week.ids())
                .map_err(|error| Trouble::File(error.to_string()))?;
            return Ok(format!("{ids:#}\n"));
        }
        let mut told = format!("{sent} deeds are booked.\n");
        for (label, ids) in week.ids() {
            let lots = if ids.lots.is_empty() {
                String::new()
            } else {
                format!(", lots {}", ids.lots.join(" "))
            };
            // Writing into a string cannot fail.
            let _ = writeln!(told, "  {label}: entry {}{lots}", ids.entry);
        }
        Ok(told)
    }
}
