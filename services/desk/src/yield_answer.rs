//! A diver's answer to what is told of their fish (8.4).

use books::{Tx, yield_answers};
use rules::close::YieldRow;
use rules::yield_answer::{YieldAnswerAsked, YieldAnswered};

use crate::{Booked, Caller, Desk, DeskError, Plan, YieldRange};

/// An answer, with who gave it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YieldAnswerFound {
    /// As recorded.
    pub booked: Booked<YieldAnswerAsked, YieldAnswered>,
    /// The diver, or the office for them.
    pub by: String,
}

impl Desk {
    /// Answers what is told of a supplier's fish of one species over some days.
    ///
    /// # Errors
    /// An unknown site, supplier or species, or nothing that is told.
    pub async fn answer_yield(
        &self,
        caller: &Caller,
        request_id: &str,
        asked: YieldAnswerAsked,
    ) -> Result<YieldAnswerFound, DeskError> {
        self.at_site(caller, asked.site)?;
        caller.own(&asked.supplier)?;
        let booked = self
            .deed(
                caller,
                "answer_yield",
                request_id,
                asked,
                |asked| async move {
                    let told = self.told(caller, &asked).await?;
                    let now_us = self.now_us().await?;
                    Ok(Plan {
                        site: asked.site,
                        day: self.day_at(asked.site, now_us),
                        party: asked.supplier.clone(),
                        happened_us: now_us,
                        must_hold: Vec::new(),
                        bumps: Vec::new(),
                        rows: vec![yield_answers::row(&asked)],
                        asked,
                        outcome: YieldAnswered { told },
                    })
                },
            )
            .await?;
        let mut tx = self.read().await?;
        let entry = books::entries::get(&mut tx, booked.entry.number()).await?;
        Ok(YieldAnswerFound {
            by: entry.ok_or(DeskError::Internal)?.actor,
            booked,
        })
    }

    /// The sums that are told of the fish an answer is about.
    async fn told(
        &self,
        caller: &Caller,
        asked: &YieldAnswerAsked,
    ) -> Result<Vec<YieldRow>, DeskError> {
        let range = YieldRange {
            site: asked.site,
            from: asked.from,
            to: asked.to,
            supplier: asked.supplier.clone(),
            species: asked.species.clone(),
        };
        let found = self.yields(caller, range).await?;
        if !self.office().species.contains_key(&asked.species) {
            return Err(DeskError::unknown("species", "species", &asked.species));
        }
        if found.sums.is_empty() && found.groups.is_empty() {
            return Err(DeskError::Precondition {
                reason: "NO_YIELD_TOLD",
                rule: format!(
                    "no yield is told of {} of {} in these days",
                    asked.species, asked.supplier
                ),
                field: "species".to_owned(),
            });
        }
        Ok(found.sums.into_iter().map(YieldRow::from).collect())
    }
}

/// Answers that speak of any of the days, oldest first.
pub(crate) async fn answers(
    tx: &mut Tx,
    site: i64,
    from: i64,
    to: i64,
    supplier: &str,
    species: &str,
) -> Result<Vec<YieldAnswerFound>, DeskError> {
    let entries = yield_answers::of_days(tx, site, from, to, supplier, species).await?;
    let found = entries.into_iter().map(|entry| {
        let (asked, outcome) = entry.read()?;
        Ok(YieldAnswerFound {
            booked: Booked {
                entry: entry.id,
                recorded_us: entry.recorded_us,
                pay_day: entry.pay_day(),
                asked,
                outcome,
            },
            by: entry.actor,
        })
    });
    found.collect()
}
