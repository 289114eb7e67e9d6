//! A price list looked at before it is posted: its bands in words, what is odd
//! about it, and what the tickets of some days would have paid under it. Nothing
//! is written.

use rules::business_day::day_before;
use rules::money::Money;
use rules::price_list::{BandExplained, PriceList};
use rules::ticket::WeighIn;
use rules::ticket::price::{OnFile, ticket};
use rules::ticket::{Notice, NoticeKind};

use crate::reports::TicketRange;
use crate::{Caller, Desk, DeskError, TicketFound};

/// Most tickets that are priced again.
const MOST_TICKETS: usize = 5_000;

/// A price list, explained.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListChecked {
    /// With the instant from which it would hold if it were posted now.
    pub list: PriceList,
    /// Its bands, each with a weight in it.
    pub bands: Vec<BandExplained>,
    /// What is odd about it.
    pub notices: Vec<Notice>,
    /// First business day looked at.
    pub from: i64,
    /// First business day no longer looked at.
    pub to: i64,
    /// Tickets of those days that stand and have fish of its species.
    pub tickets: Vec<Repriced>,
}

/// A ticket under another list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repriced {
    /// Its entry.
    pub ticket: i64,
    /// Harvester of record.
    pub harvester: String,
    /// What it paid.
    pub paid: Money,
    /// What it would have paid, or why it could not have been priced.
    pub would_pay: Result<Money, String>,
}

impl Desk {
    /// Looks at a price list against the tickets of some business days; the seven
    /// before today where none are said.
    ///
    /// # Errors
    /// A list that cannot stand, an unknown site or species.
    pub async fn check_price_list(
        &self,
        caller: &Caller,
        asked: PriceList,
        days: Option<(i64, i64)>,
    ) -> Result<ListChecked, DeskError> {
        caller.may("check_price_list")?;
        self.at_site(caller, asked.site)?;
        let now_us = self.known_site("price_list.site", asked.site).await?;
        let list = self.standing_list(&asked, now_us)?;
        let (from, to) = days.unwrap_or_else(|| {
            let today = self.day_at(list.site, now_us);
            let week = std::iter::successors(Some(today), |day| day_before(*day));
            (week.take(8).last().unwrap_or(today), today)
        });
        let mut tickets = Vec::new();
        let range = TicketRange {
            site: list.site,
            from,
            to,
            harvester: String::new(),
            after: 0,
            // One more, to know whether any are left out.
            limit: i64::try_from(MOST_TICKETS + 1).unwrap_or(i64::MAX),
        };
        let mut notices = self.odd_in(&list);
        let found = self.tickets(caller, range).await?;
        notices.extend(left_out(found.len()));
        for found in found.into_iter().take(MOST_TICKETS) {
            let lots = &found.booked.asked.lots;
            if found.ended.is_none() && lots.iter().any(|lot| lot.species == list.species) {
                tickets.push(self.priced_again(&found, &list)?);
            }
        }
        Ok(ListChecked {
            bands: list.explain(),
            notices,
            list,
            from,
            to,
            tickets,
        })
    }

    /// What a ticket would have paid: the same readings, tares and agreed prices
    /// at the same instant, with another list for its species. A payout that was
    /// shown without signal does not bind here.
    fn priced_again(&self, found: &TicketFound, list: &PriceList) -> Result<Repriced, DeskError> {
        let (asked, done) = (&found.booked.asked, &found.booked.outcome);
        let office = self.office();
        let site = office.sites.get(&asked.site).ok_or(DeskError::Internal)?;
        let (_, settings) = office.settings_at(asked.site, done.priced_us);
        let mut price_lists = vec![(0, list)];
        for lot in asked.lots.iter().filter(|lot| lot.species != list.species) {
            let version = office.price_list_at(asked.site, &lot.species, done.priced_us);
            price_lists.extend(version.map(|version| (version.entry, &version.content)));
        }
        let file = OnFile {
            site,
            settings: &settings,
            day: site.clock.day_of(done.priced_us),
            species: office.species.values().collect(),
            scales: office
                .scales
                .values()
                .filter(|scale| scale.site == asked.site)
                .collect(),
            price_lists,
            agreed: office.agreed_with(asked.site, &asked.harvester),
            totes: Vec::new(),
            usual: &[],
            prior: None,
        };
        let asked = WeighIn {
            offline_payout: None,
            ..asked.clone()
        };
        let again = ticket(&asked, &file, done.priced_us);
        Ok(Repriced {
            ticket: found.booked.entry.number(),
            harvester: asked.harvester.clone(),
            paid: done.payout,
            would_pay: again
                .map(|ticket| ticket.payout)
                .map_err(|refusal| refusal.to_string()),
        })
    }
}

/// Says that later tickets were not looked at, where so many were found.
fn left_out(found: usize) -> Option<Notice> {
    (found > MOST_TICKETS).then(|| Notice {
        kind: NoticeKind::Warning,
        code: "tickets_left_out".to_owned(),
        text: format!(
            "These days have more tickets than are priced again: only the first {MOST_TICKETS} \
             were looked at, and the sums are of those. Ask for fewer days."
        ),
        line: 0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tickets_that_are_not_looked_at_are_said() {
        assert_eq!(left_out(MOST_TICKETS), None);
        let said = left_out(MOST_TICKETS + 1).map(|notice| notice.text);
        assert!(said.is_some_and(|text| text.contains("only the first 5000 were looked at")));
    }
}
