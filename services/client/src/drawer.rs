//! `drawer`: currency in a site's drawer, against what the book says was paid.

use proto::google::r#type::Date;
use proto::v1;

use crate::known::Known;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;
use crate::{Reach, amount, request_id};

/// Arguments of `drawer`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples (without --counted it shows the day's drawer):
  weighhouse drawer --site 1 --day 2031-05-02
  weighhouse drawer --site 1 --day 2031-05-02 --opening 500.00 --counted 180.00")]
pub struct Drawer {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Business day, YYYY-MM-DD
    #[arg(long, value_parser = crate::day)]
    day: Date,
    /// Currency in it as the day began
    #[arg(long, value_name = "AMOUNT", value_parser = amount::minor, requires = "counted")]
    opening: Option<i64>,
    /// Currency in it now
    #[arg(long, value_name = "AMOUNT", value_parser = amount::minor, requires = "opening")]
    counted: Option<i64>,
    /// Note on the count
    #[arg(long, default_value = "")]
    note: String,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl Drawer {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        if let (Some(opening), Some(counted)) = (self.opening, self.counted) {
            let known = Known::ask(&service).await?;
            let currency = amount::currency(&known, self.site)?;
            let id = request_id(self.request_id);
            service
                .record_drawer_count(v1::RecordDrawerCountRequest {
                    request_id: id.clone(),
                    site: self.site,
                    day: Some(self.day),
                    opening: Some(amount::of(opening, &currency)),
                    counted: Some(amount::of(counted, &currency)),
                    note: self.note,
                    happened_at: None,
                })
                .await
                .map_err(|trouble| trouble.of_request(&id))?;
        }
        let answer = service
            .get_drawer(v1::GetDrawerRequest {
                site: self.site,
                day: Some(self.day),
            })
            .await?;
        self.reach
            .say(&service, &answer, |known| {
                text(&answer, self.site, &self.day, known)
            })
            .await
    }
}

/// A day's drawer for a person.
#[must_use]
pub fn text(of: &v1::GetDrawerResponse, site: i32, day: &Date, known: &Known) -> String {
    let mut page = Page::title(format!(
        "Drawer of site {} on {}",
        known.site(site),
        show::day(Some(day))
    ));
    let paid = show::money(of.paid.as_ref());
    page.line(format!("  Currency paid out by the book: {paid}"));
    page.line("");
    if of.counts.is_empty() {
        page.line("  Not counted.");
        return page.done();
    }
    let rows: Vec<Vec<String>> = of
        .counts
        .iter()
        .map(|count| {
            vec![
                count.entry_id.clone(),
                show::money(count.opening.as_ref()),
                show::money(count.expected.as_ref()),
                show::money(count.counted.as_ref()),
                show::money(count.difference.as_ref()),
                count.note.clone(),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("count"),
            Column::Right("opening"),
            Column::Right("expected"),
            Column::Right("counted"),
            Column::Right("difference"),
            Column::Left("note"),
        ],
        &rows,
    );
    page.done()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawer_says_what_is_missing_and_that_it_was_not_counted() {
        let usd = |minor| Some(amount::of(minor, "USD"));
        let day = Date {
            year: 2031,
            month: 5,
            day: 2,
        };
        let mut drawer = v1::GetDrawerResponse {
            paid: usd(32_000),
            counts: Vec::new(),
        };
        let told = text(&drawer, 1, &day, &Known::default());
        assert!(told.contains("Not counted"), "{told}");
        drawer.counts.push(v1::DrawerCount {
            entry_id: "2031050200010000009".to_owned(),
            opening: usd(50_000),
            expected: usd(18_000),
            counted: usd(17_500),
            difference: usd(-500),
            ..v1::DrawerCount::default()
        });
        let told = text(&drawer, 1, &day, &Known::default());
        assert!(told.contains("-5.00 USD"), "{told}");
    }
}
