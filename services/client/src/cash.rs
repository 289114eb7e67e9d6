//! `cash`: what a payee was paid in a calendar year, and how much of it was cash.

use proto::v1;

use crate::Reach;
use crate::amount;
use crate::known::Known;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;

/// Arguments of `cash`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse cash --payee diver-1 --year 2031")]
pub struct Cash {
    /// Code of the diver or payee
    #[arg(long)]
    payee: String,
    /// Calendar year
    #[arg(long)]
    year: i32,
    #[command(flatten)]
    reach: Reach,
}

impl Cash {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let answer = service
            .get_cash_year(v1::GetCashYearRequest {
                payee: self.payee.clone(),
                year: self.year,
            })
            .await?;
        self.reach
            .say(&service, &answer, |known| {
                text(&answer, &self.payee, self.year, known)
            })
            .await
    }
}

/// A year's payments for a person.
#[must_use]
pub fn text(of: &v1::GetCashYearResponse, payee: &str, year: i32, known: &Known) -> String {
    let mut page = Page::title(format!("Paid to {} in {year}", known.party(payee)));
    if of.years.is_empty() {
        page.line("  Nothing.");
    }
    for year in &of.years {
        page.heading(format!("By {}", known.party(&year.buyer)));
        let rows: Vec<Vec<String>> = year
            .payments
            .iter()
            .map(|row| {
                let payment = row.payment.clone().unwrap_or_default();
                vec![
                    show::day(row.paid_on.as_ref()),
                    row.site.to_string(),
                    amount::method(&payment),
                    payment.reference.clone(),
                    show::money(payment.amount.as_ref()),
                    if row.counts { "yes" } else { "no" }.to_owned(),
                    show::money(row.running.as_ref()),
                ]
            })
            .collect();
        page.table(
            &[
                Column::Left("paid on"),
                Column::Right("site"),
                Column::Left("method"),
                Column::Left("number"),
                Column::Right("amount"),
                Column::Left("cash"),
                Column::Right("cash so far"),
            ],
            &rows,
        );
        let total = show::money(year.total.as_ref());
        page.line(if year.reportable {
            let on = show::day(year.reached_on.as_ref());
            format!("  Cash of the year: {total}. It reached the reportable amount on {on}.")
        } else {
            format!("  Cash of the year: {total}.")
        });
    }
    page.line("");
    for remark in &of.remarks {
        page.paragraph(remark);
    }
    page.done()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_year_says_when_it_became_reportable_and_that_it_is_no_tax_advice() {
        let mut year = v1::CashYear {
            buyer: "buyer-1".to_owned(),
            payments: vec![v1::CashPayment {
                payment: Some(v1::Payment {
                    method: v1::PaymentMethod::TravelersCheck.into(),
                    amount: Some(amount::of(60_000, "USD")),
                    reference: "88".to_owned(),
                }),
                counts: true,
                running: Some(amount::of(60_000, "USD")),
                ..v1::CashPayment::default()
            }],
            total: Some(amount::of(60_000, "USD")),
            reportable: true,
            reached_on: crate::day("2031-05-02").ok(),
        };
        let told = |year: &v1::CashYear| {
            let answer = v1::GetCashYearResponse {
                years: vec![year.clone()],
                remarks: vec!["it is no tax advice".to_owned()],
            };
            text(&answer, "diver-1", 2031, &Known::default())
        };
        let reached = told(&year);
        assert!(reached.contains("traveler's check"), "{reached}");
        assert!(
            reached.contains("reportable amount on 2031-05-02"),
            "{reached}"
        );
        assert!(reached.contains("no tax advice"), "{reached}");
        year.reportable = false;
        assert!(!told(&year).contains("reportable"));
    }
}
