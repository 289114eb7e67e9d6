//! `clock`: the book's clock. A book made with a simulated clock lets it be set,
//! forward only.

use proto::v1;

use crate::known::Known;
use crate::trouble::Trouble;
use crate::{Reach, show};

/// Arguments of `clock`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse clock
  weighhouse clock --set 2031-05-02T14:32:00-04:00")]
pub struct Clock {
    /// Set it to this instant, written with its offset; never back
    #[arg(long, value_name = "INSTANT", value_parser = crate::instant)]
    set: Option<prost_types::Timestamp>,
    #[command(flatten)]
    reach: Reach,
}

impl Clock {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        if let Some(now) = self.set {
            service
                .set_clock(v1::SetClockRequest { now: Some(now) })
                .await?;
        }
        let clock = service.get_clock(v1::GetClockRequest {}).await?;
        self.reach.say(&service, &clock, text).await
    }
}

/// The clock for a person.
#[must_use]
pub fn text(known: &Known) -> String {
    if known.clock.simulated {
        // The note above every output of such a book has said it all.
        return String::new();
    }
    format!(
        "The book's clock is the machine's: {}\n",
        show::instant(known.clock.now.as_ref(), None)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ordinary_book_goes_by_the_machines_clock() {
        let known = Known {
            clock: v1::GetClockResponse {
                now: Some(prost_types::Timestamp {
                    seconds: 1_935_513_130,
                    nanos: 0,
                }),
                simulated: false,
            },
            ..Known::default()
        };
        assert_eq!(
            text(&known),
            "The book's clock is the machine's: 2031-05-02 18:32 UTC\n"
        );
    }
}
