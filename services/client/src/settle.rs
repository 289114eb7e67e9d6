//! `settle`: what a payee is to be paid, and that it was.

use proto::google::r#type::Date;
use proto::v1;

use crate::amount::{self, Typed};
use crate::known::Known;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;
use crate::{Reach, request_id};

/// Arguments of `settle`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples (without --pay it shows what is to be paid, and writes nothing):
  weighhouse settle --site 1 --payee diver-1
  weighhouse settle --site 1 --payee diver-1 --ticket 2031050200010000003 --pay currency=320.00
  weighhouse settle --site 1 --payee diver-1 --from 2031-04-28 --to 2031-05-05 \\
    --pay currency=200.00 --pay money-order=120.00:1042"
)]
pub struct Settle {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Code of the diver or payee
    #[arg(long)]
    payee: String,
    /// Ticket to settle, with all that was done to it; once for each. All that is
    /// open when neither tickets nor days are given
    #[arg(long, value_name = "ID", conflicts_with_all = ["from", "to"])]
    ticket: Vec<String>,
    /// First business day of entering, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    from: Option<Date>,
    /// First business day that is not in any more
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    to: Option<Date>,
    /// What is handed over, METHOD=AMOUNT or METHOD=AMOUNT:NUMBER; once for each
    /// payment
    #[arg(long, value_name = "PAYMENT", value_parser = amount::payment)]
    pay: Vec<Typed>,
    /// Settle although nothing is to be paid: what is below zero is carried
    #[arg(long, conflicts_with = "pay")]
    pay_nothing: bool,
    /// Note on the settlement
    #[arg(long, default_value = "")]
    note: String,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl Settle {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let scope = v1::SettlementScope {
            tickets: self.ticket,
            from: self.from,
            to: self.to,
        };
        if self.pay.is_empty() && !self.pay_nothing {
            let answer = service
                .preview_settlement(v1::PreviewSettlementRequest {
                    site: self.site,
                    payee: self.payee,
                    scope: Some(scope),
                })
                .await?;
            let settlement = present(answer.settlement.clone())?;
            return self
                .reach
                .say(&service, &answer, |known| text(&settlement, "", known))
                .await;
        }
        let known = Known::ask(&service).await?;
        let currency = amount::currency(&known, self.site)?;
        let id = request_id(self.request_id);
        let payments = self.pay.into_iter();
        let answer = service
            .settle(v1::SettleRequest {
                request_id: id.clone(),
                site: self.site,
                payee: self.payee,
                scope: Some(scope),
                payments: payments.map(|paid| paid.in_money_of(&currency)).collect(),
                note: self.note,
                happened_at: None,
            })
            .await
            .map_err(|trouble| trouble.of_request(&id))?;
        let settlement = present(answer.settlement.clone())?;
        let entry = answer.recorded.clone().unwrap_or_default().entry_id;
        self.reach
            .say(&service, &answer, |known| text(&settlement, &entry, known))
            .await
    }
}

fn present(settlement: Option<v1::Settlement>) -> Result<v1::Settlement, Trouble> {
    settlement.ok_or(Trouble::Unreadable("there is no settlement in it"))
}

/// A settlement for a person; one without an entry is only looked at.
#[must_use]
pub fn text(of: &v1::Settlement, entry: &str, known: &Known) -> String {
    let mut page = if entry.is_empty() {
        let mut page = Page::title("What a settlement would come to");
        page.line("  Nothing is written yet. To pay, say it again with --pay.");
        page
    } else {
        Page::title(format!("Settlement {entry}"))
    };
    page.facts(&[
        ("payee", known.party(&of.payee)),
        ("site", known.site(of.site)),
        ("note", of.note.clone()),
    ]);
    page.line("");
    let mut rows: Vec<Vec<String>> = of
        .items
        .iter()
        .map(|item| row(item.what.clone(), &item.entry_id, item.amount.as_ref()))
        .collect();
    if !show::money_unless_zero(of.brought_forward.as_ref()).is_empty() {
        rows.push(row(
            "brought forward".to_owned(),
            "",
            of.brought_forward.as_ref(),
        ));
    }
    rows.push(row("payable".to_owned(), "", of.payable.as_ref()));
    for deduction in &of.deductions {
        let kind = if deduction.advance {
            "advance"
        } else {
            "charge"
        };
        let carried = match show::money_unless_zero(deduction.carried.as_ref()).as_str() {
            "" => String::new(),
            left => format!(" ({left} carried)"),
        };
        let taken = deduction.taken.as_ref().map(|taken| v1::Money {
            amount_minor: -taken.amount_minor,
            ..taken.clone()
        });
        rows.push(row(
            format!("{kind}: {}{carried}", deduction.name),
            &deduction.entry_id,
            taken.as_ref(),
        ));
    }
    let due = if entry.is_empty() {
        "to be paid"
    } else {
        "paid"
    };
    rows.push(row(due.to_owned(), "", of.paid.as_ref()));
    if !show::money_unless_zero(of.carried_forward.as_ref()).is_empty() {
        rows.push(row(
            "carried forward".to_owned(),
            "",
            of.carried_forward.as_ref(),
        ));
    }
    page.table(
        &[
            Column::Left("what"),
            Column::Left("entry"),
            Column::Right("amount"),
        ],
        &rows,
    );
    for payment in &of.payments {
        let number = match payment.reference.as_str() {
            "" => String::new(),
            number => format!(", number {number}"),
        };
        page.line(format!(
            "  {} {}{number}",
            amount::method(payment),
            show::money(payment.amount.as_ref())
        ));
    }
    page.done()
}

fn row(what: String, entry: &str, amount: Option<&v1::Money>) -> Vec<String> {
    vec![what, entry.to_owned(), show::money(amount)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn usd(minor: i64) -> Option<v1::Money> {
        Some(amount::of(minor, "USD"))
    }

    /// 640 with ice 40, fuel 180, gear 300, cut at half.
    fn settlement() -> v1::Settlement {
        let deduction = |name: &str, taken, carried| v1::Deduction {
            name: name.to_owned(),
            taken: usd(taken),
            carried: usd(carried),
            ..v1::Deduction::default()
        };
        v1::Settlement {
            site: 1,
            payee: "diver-1".to_owned(),
            items: vec![v1::SettlementItem {
                entry_id: "2031050200010000003".to_owned(),
                what: "ticket".to_owned(),
                amount: usd(64_000),
                ..v1::SettlementItem::default()
            }],
            brought_forward: usd(0),
            payable: usd(64_000),
            deductions: vec![
                deduction("ice", 4_000, 0),
                deduction("gear", 10_000, 20_000),
            ],
            paid: usd(32_000),
            carried_forward: usd(0),
            payments: vec![v1::Payment {
                method: v1::PaymentMethod::CashiersCheck.into(),
                amount: usd(32_000),
                reference: "1042".to_owned(),
            }],
            ..v1::Settlement::default()
        }
    }

    #[test]
    fn a_settlement_reads_from_what_is_owed_to_what_is_paid() {
        let text = text(&settlement(), "2031050300010000001", &Known::default());
        let lines: Vec<&str> = text.lines().collect();
        let find = |with: &str| lines.iter().position(|line| line.contains(with));
        let order = [
            "Settlement 2031050300010000001",
            "2031050200010000003",
            "payable",
            "charge: ice",
            "charge: gear (200.00 USD carried)",
            "paid",
            "cashier's check 320.00 USD, number 1042",
        ];
        let places: Vec<_> = order.iter().map(|with| find(with)).collect();
        assert!(places.iter().all(Option::is_some), "{text}");
        assert!(places.is_sorted(), "{text}");
        assert!(text.contains("-100.00 USD"), "{text}");
        assert!(!text.contains("brought forward"), "{text}");
    }

    #[test]
    fn one_that_is_only_looked_at_says_so() {
        let text = text(&settlement(), "", &Known::default());
        assert!(text.contains("Nothing is written yet"), "{text}");
        assert!(text.contains("to be paid"), "{text}");
    }
}
