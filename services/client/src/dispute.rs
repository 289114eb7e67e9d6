//! `dispute` and `answer-dispute`: a diver's word against a ticket, and the answer.

use proto::v1;

use crate::advance::entry_of;
use crate::trouble::Trouble;
use crate::{Reach, request_id};

/// Arguments of `dispute`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse dispute --ticket 2031050200010000003 --line 1 --text heavier")]
pub struct Dispute {
    /// Id of the ticket
    #[arg(long, value_name = "ID")]
    ticket: String,
    /// Number of the line; the whole ticket, where the diver was absent, when left
    /// out
    #[arg(long, default_value_t = 0, hide_default_value = true)]
    line: i32,
    /// What the diver says
    #[arg(long)]
    text: String,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl Dispute {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let id = request_id(self.request_id);
        let answer = service
            .dispute_line(v1::DisputeLineRequest {
                request_id: id.clone(),
                ticket: self.ticket,
                line: self.line,
                text: self.text,
            })
            .await
            .map_err(|trouble| trouble.of_request(&id))?;
        let entry = entry_of(answer.recorded.as_ref());
        self.reach
            .say(&service, &answer, |_| {
                format!("Dispute {entry}: open until it is answered.\n")
            })
            .await
    }
}

/// Arguments of `answer-dispute`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse answer-dispute --dispute 2031050300010000007 --answer reweighed")]
pub struct AnswerDispute {
    /// Id of the dispute
    #[arg(long, value_name = "ID")]
    dispute: String,
    /// What the office says
    #[arg(long)]
    answer: String,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl AnswerDispute {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let id = request_id(self.request_id);
        let answer = service
            .answer_dispute(v1::AnswerDisputeRequest {
                request_id: id.clone(),
                dispute: self.dispute,
                answer: self.answer,
            })
            .await
            .map_err(|trouble| trouble.of_request(&id))?;
        let entry = entry_of(answer.recorded.as_ref());
        self.reach
            .say(&service, &answer, |_| {
                format!(
                    "Answer {entry} is on the ticket. A line that was wrong is mended by \
                     writing its ticket again.\n"
                )
            })
            .await
    }
}
