//! Names beside the codes: what the office has on file about sites, parties and
//! species, and the book's clock.
//!
//! A code that is not on file is shown as it is.

use std::collections::BTreeMap;

use proto::v1;

use crate::service::Service;
use crate::show;
use crate::trouble::Trouble;

/// Most rows a page of a list may have.
const PAGE_SIZE: i32 = 200;

/// What is known besides the answer itself.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// The book's clock.
    pub clock: v1::GetClockResponse,
    /// By number.
    pub sites: BTreeMap<i32, v1::Site>,
    /// Names of parties by code.
    pub parties: BTreeMap<String, String>,
    /// Names of species by code.
    pub species: BTreeMap<String, String>,
}

/// Collects the pages of a list.
macro_rules! all_pages {
    ($service:expr, $method:ident, $request:ident, $rows:ident) => {{
        let mut all = Vec::new();
        let mut page_token = String::new();
        loop {
            let page = $service
                .$method(v1::$request {
                    page_size: PAGE_SIZE,
                    page_token,
                })
                .await?;
            all.extend(page.$rows);
            page_token = page.next_page_token;
            if page_token.is_empty() {
                break all;
            }
        }
    }};
}

impl Known {
    /// Asks the service for all of it.
    ///
    /// # Errors
    ///
    /// The service refused or gave no answer.
    pub async fn ask(service: &Service) -> Result<Known, Trouble> {
        let clock = service.get_clock(v1::GetClockRequest {}).await?;
        let sites: Vec<v1::Site> = all_pages!(service, list_sites, ListSitesRequest, sites);
        let parties: Vec<v1::Party> =
            all_pages!(service, list_parties, ListPartiesRequest, parties);
        let species: Vec<v1::Species> =
            all_pages!(service, list_species, ListSpeciesRequest, species);
        Ok(Known {
            clock,
            sites: sites.into_iter().map(|site| (site.number, site)).collect(),
            parties: parties
                .into_iter()
                .map(|party| (party.code, party.name))
                .collect(),
            species: species
                .into_iter()
                .map(|species| (species.code, species.name))
                .collect(),
        })
    }

    /// `1 (name of the site)`.
    #[must_use]
    pub fn site(&self, number: i32) -> String {
        match self.sites.get(&number) {
            Some(site) => format!("{number} ({})", site.name),
            None => number.to_string(),
        }
    }

    /// `code (name)`.
    #[must_use]
    pub fn party(&self, code: &str) -> String {
        match self.parties.get(code) {
            Some(name) => format!("{code} ({name})"),
            None => code.to_owned(),
        }
    }

    /// The name; the code where there is no name.
    #[must_use]
    pub fn species(&self, code: &str) -> String {
        self.species
            .get(code)
            .map_or_else(|| code.to_owned(), Clone::clone)
    }

    /// By the clock on the wall of the site.
    #[must_use]
    pub fn instant(&self, site: i32, at: Option<&prost_types::Timestamp>) -> String {
        show::instant(
            at,
            self.sites.get(&site).map(|site| site.time_zone.as_str()),
        )
    }

    /// What every output of a book with a simulated clock says first; empty for
    /// any other book.
    #[must_use]
    pub fn clock_note(&self) -> String {
        if !self.clock.simulated {
            return String::new();
        }
        let zone = self
            .sites
            .values()
            .next()
            .map(|site| site.time_zone.as_str());
        clock_note(&show::instant(self.clock.now.as_ref(), zone))
    }
}

/// The sentence about a simulated clock that shows `now`.
#[must_use]
pub fn clock_note(now: &str) -> String {
    format!("Simulated clock: this book says it is {now}. It is for trying out, not for trade.\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_simulated_clock_is_spoken_of() {
        let mut known = Known::default();
        assert_eq!(known.clock_note(), "");
        known.clock = v1::GetClockResponse {
            now: Some(prost_types::Timestamp {
                seconds: 1_935_513_130,
                nanos: 0,
            }),
            simulated: true,
        };
        assert!(known.clock_note().contains("2031-05-02 18:32 UTC"));
    }

    #[test]
    fn a_code_that_is_not_on_file_is_shown_as_it_is() {
        let mut known = Known::default();
        assert_eq!(known.party("diver-9"), "diver-9");
        assert_eq!(known.site(3), "3");
        known.parties.insert("diver-9".to_owned(), "Ana".to_owned());
        assert_eq!(known.party("diver-9"), "diver-9 (Ana)");
    }
}
