//! Disputes: a diver's word against a line or a ticket, and the office's answer.

use books::settlement::{self as stored, Disputed};
use books::{Condition, Tx, entries};
use rules::dispute::{AnswerAsked, DisputeAsked, DisputeOpened, DisputeRefusal, Windows, windows};
use rules::ids::EntryId;
use rules::money::Money;
use rules::ticket::{Ticket, WeighIn};

use crate::weigh_in::standing;
use crate::{Booked, Caller, Desk, DeskError, Plan};

/// A dispute with its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DisputeFound {
    /// As recorded.
    pub booked: Booked<DisputeAsked, DisputeOpened>,
    /// Absent while it is open.
    pub answer: Option<Booked<AnswerAsked, ()>>,
    /// Money it is about; absent where it is not the caller's alone (5.2).
    pub amount: Option<Money>,
}

/// What became of a ticket's pay: its settlements, its disputes and until when it
/// can be disputed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PayFollowed {
    /// Oldest first.
    pub disputes: Vec<DisputeFound>,
    /// Settlements that took up its own pay, oldest first.
    pub settled_by: Vec<EntryId>,
    /// Until when it can be disputed.
    pub windows: Windows,
}

impl Desk {
    /// Disputes a line of a ticket, or the whole of it where the diver was absent.
    ///
    /// # Errors
    /// An unknown ticket or line, one that was ended, or a window that is over.
    pub async fn dispute(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: DisputeAsked,
    ) -> Result<Booked<DisputeAsked, DisputeOpened>, DeskError> {
        self.at_entry(caller, asked.ticket)?;
        self.own_ticket(caller, asked.ticket).await?;
        self.deed(caller, "dispute", request_id, asked, |asked| async move {
            let mut tx = self.read().await?;
            let (weigh_in, ticket) = standing(&mut tx, "ticket", asked.ticket).await?;
            let amount = match asked.line {
                0 => ticket.payout,
                line => {
                    let nth = usize::try_from(line - 1).unwrap_or(usize::MAX);
                    let line = ticket.lines.get(nth).map(|line| line.amount);
                    line.ok_or_else(|| {
                        let lines = ticket.lines.len();
                        let rule = format!("ticket {} has {lines} lines", asked.ticket);
                        DeskError::malformed("line", rule)
                    })?
                }
            };
            let now_us = self.now_us().await?;
            let windows = self
                .windows(&mut tx, asked.ticket, &weigh_in, &ticket)
                .await?;
            drop(tx);
            windows
                .let_in(asked.line, now_us)
                .map_err(|refusal| self.not_let_in(weigh_in.site, refusal))?;
            Ok(Plan {
                site: weigh_in.site,
                day: self.day_at(weigh_in.site, now_us),
                party: weigh_in.harvester.clone(),
                happened_us: now_us,
                must_hold: vec![Condition::Stands {
                    ticket: asked.ticket,
                }],
                bumps: Vec::new(),
                rows: vec![stored::dispute_row(
                    asked.ticket,
                    asked.line,
                    &weigh_in.harvester,
                )],
                asked,
                outcome: DisputeOpened {
                    party: weigh_in.harvester,
                    amount,
                },
            })
        })
        .await
    }

    fn not_let_in(&self, site: i64, refusal: DisputeRefusal) -> DeskError {
        match refusal {
            DisputeRefusal::NotAbsent => DeskError::Precondition {
                reason: "CONFIRMED_BY_DIVER",
                rule:
                    "the diver was there and confirmed the ticket: name the line that is disputed"
                        .to_owned(),
                field: "line".to_owned(),
            },
            DisputeRefusal::Over(until_us) => {
                let office = self.office();
                let site = office.sites.get(&site);
                let until = site.map_or_else(
                    || until_us.to_string(),
                    |site| site.clock.local_rfc3339(until_us),
                );
                DeskError::precondition(
                    "DISPUTE_WINDOW_OVER",
                    format!("it could be disputed until {until}"),
                )
            }
        }
    }

    /// Until when a ticket can be disputed.
    async fn windows(
        &self,
        tx: &mut Tx,
        id: i64,
        asked: &WeighIn,
        ticket: &Ticket,
    ) -> Result<Windows, DeskError> {
        let recorded = entries::get(tx, id).await?.ok_or(DeskError::Internal)?;
        let mut settled_us = None;
        if let Some(last) = stored::settlements_of(tx, id).await?.last() {
            let entry = entries::get(tx, last.number()).await?;
            settled_us = entry.map(|entry| entry.recorded_us);
        }
        let (_, settings) = self.office().settings_at(asked.site, ticket.priced_us);
        Ok(windows(
            asked.confirmation,
            recorded.recorded_us,
            settled_us,
            &settings,
        ))
    }

    /// What became of a ticket's pay.
    pub(crate) async fn pay_followed(
        &self,
        tx: &mut Tx,
        id: i64,
        asked: &WeighIn,
        ticket: &Ticket,
    ) -> Result<PayFollowed, DeskError> {
        let disputes = stored::disputes_of(tx, id).await?;
        Ok(PayFollowed {
            disputes: self.disputes(&disputes).await?,
            settled_by: stored::settlements_of(tx, id).await?,
            windows: self.windows(tx, id, asked, ticket).await?,
        })
    }

    /// Disputes as recorded, with their answers.
    pub(crate) async fn disputes(
        &self,
        disputes: &[Disputed],
    ) -> Result<Vec<DisputeFound>, DeskError> {
        let mut found = Vec::with_capacity(disputes.len());
        for dispute in disputes {
            let booked: Booked<DisputeAsked, DisputeOpened> = self.booked(dispute.entry).await?;
            found.push(DisputeFound {
                amount: Some(booked.outcome.amount),
                booked,
                answer: match dispute.answer {
                    Some(answer) => Some(self.booked(answer).await?),
                    None => None,
                },
            });
        }
        Ok(found)
    }

    /// Answers a dispute, once. A line that was wrong is mended by writing its
    /// ticket again.
    ///
    /// # Errors
    /// An unknown dispute, or one that was answered before.
    pub async fn answer_dispute(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: AnswerAsked,
    ) -> Result<Booked<AnswerAsked, ()>, DeskError> {
        self.at_entry(caller, asked.dispute)?;
        self.deed(caller, "answer", request_id, asked, |asked| async move {
            let mut tx = self.read().await?;
            let id = asked.dispute;
            let entry = entries::get(&mut tx, id).await?;
            let entry = entry
                .filter(|entry| entry.kind == "dispute")
                .ok_or_else(|| DeskError::unknown("dispute", "dispute", &id.to_string()))?;
            if let Some((_, by)) = entries::ended(&mut tx, id).await? {
                return Err(DeskError::precondition(
                    "ALREADY_ANSWERED",
                    format!("this dispute was already answered, by {by}"),
                ));
            }
            // It speaks of the day of the dispute, which is closed anew without it.
            Ok(Plan {
                site: entry.id.site(),
                day: entry.id.day(),
                party: entry.party,
                happened_us: self.now_us().await?,
                must_hold: vec![Condition::Spend {
                    what: id,
                    item: 0,
                    how: "answer",
                }],
                bumps: Vec::new(),
                asked,
                outcome: (),
                rows: Vec::new(),
            })
        })
        .await
    }
}
