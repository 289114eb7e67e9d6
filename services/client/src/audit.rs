//! `audit`: what was done and what was refused, by whom.

use clap::Subcommand;
use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;

/// Rows asked for at a time.
const PAGE_SIZE: i32 = 200;

/// Arguments of `audit`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples (--json shows whole documents):
  weighhouse audit deeds --site 1 --day 2031-05-02
  weighhouse audit refusals --from 2031-05-02T00:00:00Z --to 2031-05-03T00:00:00Z")]
pub struct Audit {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List what was done for a business day
    Deeds {
        /// Number of the site; 0: what all sites share, such as parties and keys
        #[arg(long)]
        site: i32,
        /// Business day, YYYY-MM-DD
        #[arg(long, value_parser = crate::day)]
        day: Date,
        #[command(flatten)]
        reach: Reach,
    },
    /// List what was refused
    Refusals {
        /// First instant, such as 2031-05-02T00:00:00Z
        #[arg(long, value_name = "INSTANT", value_parser = crate::instant)]
        from: prost_types::Timestamp,
        /// First instant no longer in it
        #[arg(long, value_name = "INSTANT", value_parser = crate::instant)]
        to: prost_types::Timestamp,
        #[command(flatten)]
        reach: Reach,
    },
}

impl Audit {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        match self.what {
            What::Deeds { site, day, reach } => {
                let service = reach.service().await?;
                let mut all = v1::ListEntriesResponse::default();
                loop {
                    let page = service
                        .list_entries(v1::ListEntriesRequest {
                            site,
                            day: Some(day),
                            page_size: PAGE_SIZE,
                            page_token: all.next_page_token,
                        })
                        .await?;
                    all.entries.extend(page.entries);
                    all.next_page_token = page.next_page_token;
                    if all.next_page_token.is_empty() {
                        break;
                    }
                }
                reach
                    .say(&service, &all, |known| {
                        deeds(&all.entries, site, &day, known)
                    })
                    .await
            }
            What::Refusals { from, to, reach } => {
                let service = reach.service().await?;
                let mut all = v1::ListRefusalsResponse::default();
                loop {
                    let page = service
                        .list_refusals(v1::ListRefusalsRequest {
                            from: Some(from),
                            to: Some(to),
                            page_size: PAGE_SIZE,
                            page_token: all.next_page_token,
                        })
                        .await?;
                    all.refusals.extend(page.refusals);
                    all.next_page_token = page.next_page_token;
                    if all.next_page_token.is_empty() {
                        break;
                    }
                }
                reach.say(&service, &all, |_| refusals(&all.refusals)).await
            }
        }
    }
}

/// Deeds of a day, one a row.
#[must_use]
pub fn deeds(entries: &[v1::Entry], site: i32, day: &Date, known: &Known) -> String {
    let of = match site {
        0 => "of what all sites share".to_owned(),
        number => format!("at {}", known.site(number)),
    };
    let mut page = Page::title(format!("Deeds {of}, {}", show::day(Some(day))));
    let row = |entry: &v1::Entry| {
        vec![
            entry.id.clone(),
            entry.kind.replace('_', " "),
            entry.actor.clone(),
            entry.party.clone(),
            known.instant(site, entry.recorded_at.as_ref()),
            entry.request_id.clone(),
        ]
    };
    page.table(
        &[
            Column::Left("entry"),
            Column::Left("deed"),
            Column::Left("by"),
            Column::Left("about"),
            Column::Left("booked"),
            Column::Left("request"),
        ],
        &entries.iter().map(row).collect::<Vec<_>>(),
    );
    page.done()
}

/// Refusals, one a row.
#[must_use]
pub fn refusals(refusals: &[v1::Refusal]) -> String {
    let mut page = Page::title("Refused");
    let row = |refusal: &v1::Refusal| {
        vec![
            show::instant(refusal.minute.as_ref(), None),
            refusal.actor.clone(),
            refusal
                .method
                .trim_start_matches("/weighhouse.v1.")
                .to_owned(),
            refusal.reason.clone(),
            refusal.times.to_string(),
            refusal.request_id.clone(),
        ]
    };
    page.table(
        &[
            Column::Left("minute"),
            Column::Left("by"),
            Column::Left("asked"),
            Column::Left("reason"),
            Column::Right("times"),
            Column::Left("last request"),
        ],
        &refusals.iter().map(row).collect::<Vec<_>>(),
    );
    page.done()
}
