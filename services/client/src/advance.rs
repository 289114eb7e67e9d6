//! `advance` and `charge`: what is taken off a payee's next settlements.

use proto::v1;

use crate::amount::{self, Typed};
use crate::known::Known;
use crate::trouble::Trouble;
use crate::{Reach, request_id};

/// Arguments of `advance`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse advance --site 1 --payee diver-1 --pay currency=100.00 --reason fuel")]
pub struct Advance {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Code of the diver or payee
    #[arg(long)]
    payee: String,
    /// What is handed over, METHOD=AMOUNT or METHOD=AMOUNT:NUMBER
    #[arg(long, value_name = "PAYMENT", value_parser = amount::payment)]
    pay: Typed,
    /// Why
    #[arg(long)]
    reason: String,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl Advance {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let known = Known::ask(&service).await?;
        let currency = amount::currency(&known, self.site)?;
        let id = request_id(self.request_id);
        let answer = service
            .record_advance(v1::RecordAdvanceRequest {
                request_id: id.clone(),
                site: self.site,
                payee: self.payee.clone(),
                payment: Some(self.pay.in_money_of(&currency)),
                reason: self.reason,
                happened_at: None,
            })
            .await
            .map_err(|trouble| trouble.of_request(&id))?;
        let entry = entry_of(answer.recorded.as_ref());
        self.reach
            .say(&service, &answer, |known| {
                let payee = known.party(&self.payee);
                format!("Advance {entry} to {payee}: taken off first when it is settled.\n")
            })
            .await
    }
}

/// Arguments of `charge`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse charge --site 1 --payee diver-1 --name ice --amount 40.00 --order 1")]
pub struct Charge {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Code of the diver or payee
    #[arg(long)]
    payee: String,
    /// What for, as agreed: ice, fuel, gear
    #[arg(long)]
    name: String,
    /// How much, in the site's money
    #[arg(long, value_parser = amount::minor)]
    amount: i64,
    /// Lower ones are taken off first
    #[arg(long, default_value_t = 0)]
    order: i32,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl Charge {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let known = Known::ask(&service).await?;
        let currency = amount::currency(&known, self.site)?;
        let id = request_id(self.request_id);
        let answer = service
            .record_charge(v1::RecordChargeRequest {
                request_id: id.clone(),
                site: self.site,
                payee: self.payee.clone(),
                name: self.name,
                amount: Some(amount::of(self.amount, &currency)),
                order: self.order,
                happened_at: None,
            })
            .await
            .map_err(|trouble| trouble.of_request(&id))?;
        let entry = entry_of(answer.recorded.as_ref());
        self.reach
            .say(&service, &answer, |known| {
                let payee = known.party(&self.payee);
                format!("Charge {entry} to {payee}: taken off in its order when it is settled.\n")
            })
            .await
    }
}

/// The entry's id; empty where the answer has none.
pub(crate) fn entry_of(recorded: Option<&v1::Recorded>) -> String {
    recorded.map_or_else(String::new, |recorded| recorded.entry_id.clone())
}
