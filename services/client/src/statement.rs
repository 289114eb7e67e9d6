//! `statement`: what a diver is owed and why, line by line.

use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;

/// Arguments of `statement`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse statement --site 1 --party diver-1 --from 2031-04-28 --to 2031-05-05")]
pub struct Statement {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// Code of the diver or payee
    #[arg(long)]
    party: String,
    /// First business day, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    from: Date,
    /// First business day that is not in any more
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    to: Date,
    #[command(flatten)]
    reach: Reach,
}

impl Statement {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let answer = service
            .get_statement(v1::GetStatementRequest {
                site: self.site,
                party: self.party,
                from: Some(self.from),
                to: Some(self.to),
            })
            .await
            .map_err(|trouble| {
                trouble.in_flags(&[
                    ("site", "--site"),
                    ("party", "--party"),
                    ("from", "--from"),
                    ("to", "--to"),
                ])
            })?;
        let statement = answer
            .statement
            .clone()
            .ok_or(Trouble::Unreadable("there is no statement in it"))?;
        self.reach
            .say(&service, &answer, |known| text(&statement, known))
            .await
    }
}

/// A statement for a person.
#[must_use]
pub fn text(statement: &v1::Statement, known: &Known) -> String {
    let mut page = Page::title(format!(
        "Statement of {} ({})",
        statement.party, statement.party_name
    ));
    page.facts(&[
        ("site", known.site(statement.site)),
        (
            "days",
            show::half_open(statement.from.as_ref(), statement.to.as_ref()),
        ),
    ]);
    let total = |owed, held| {
        let (owed, held) = (show::money(owed), show::money_unless_zero(held));
        match held.is_empty() {
            true => owed,
            false => format!("{owed}, and held, not owed yet: {held}"),
        }
    };
    page.facts(&[(
        "owed before",
        total(
            statement.owed_before.as_ref(),
            statement.held_before.as_ref(),
        ),
    )]);
    page.line("");
    let rows: Vec<Vec<String>> = statement
        .rows
        .iter()
        .map(|row| {
            vec![
                show::day(row.pay_day.as_ref()),
                if row.in_place_of.is_empty() {
                    row.what.clone()
                } else {
                    format!("{}, in place of {}", row.what, row.in_place_of)
                },
                row.ticket.clone(),
                show::weight_unless_zero(row.weight.as_ref()),
                show::money(row.owed.as_ref()),
                show::money_unless_zero(row.held.as_ref()),
            ]
        })
        .collect();
    if rows.is_empty() {
        page.line("  Nothing changed in these days.");
        page.line("");
        page.facts(&[(
            "owed after",
            total(statement.owed_after.as_ref(), statement.held_after.as_ref()),
        )]);
        open(&mut page, statement);
        return page.done();
    }
    page.table(
        &[
            Column::Left("day"),
            Column::Left("what"),
            Column::Left("ticket"),
            Column::Right("weight, change"),
            Column::Right("owed, change"),
            Column::Right("held, change"),
        ],
        &rows,
    );
    page.line("");
    page.facts(&[(
        "owed after",
        total(statement.owed_after.as_ref(), statement.held_after.as_ref()),
    )]);
    payments(&mut page, statement);
    open(&mut page, statement);
    page.done()
}

/// How each settlement, advance and charge came about.
fn payments(page: &mut Page, statement: &v1::Statement) {
    for row in statement.rows.iter().filter(|row| !row.detail.is_empty()) {
        let amounts = [
            ("paid", &row.paid),
            ("taken off", &row.taken_off),
            ("to be taken off", &row.to_take_off),
        ];
        let amounts = amounts.into_iter().filter(|(_, amount)| amount.is_some());
        let amounts: Vec<String> = amounts
            .map(|(what, amount)| format!("{what} {}", show::money(amount.as_ref())))
            .collect();
        page.paragraph(format!(
            "{} {} {}: {} ({})",
            show::day(row.pay_day.as_ref()),
            row.what,
            row.entry_id,
            amounts.join(", "),
            row.detail
        ));
    }
}

/// What is still to be taken off, and what is disputed, as it stands today.
fn open(page: &mut Page, statement: &v1::Statement) {
    for due in &statement.dues {
        let kind = if due.advance { "advance" } else { "charge" };
        page.line(format!(
            "  still to be taken off: {kind} {}, {}",
            due.name,
            show::money(due.due.as_ref())
        ));
    }
    for dispute in &statement.disputes {
        page.paragraph(crate::ticket::disputed(dispute));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn usd(amount_minor: i64) -> Option<v1::Money> {
        Some(v1::Money {
            amount_minor,
            currency: "USD".to_owned(),
        })
    }

    #[test]
    fn a_statement_says_what_was_paid_what_is_carried_and_what_is_disputed() {
        let statement = v1::Statement {
            rows: vec![v1::StatementRow {
                what: "settlement".to_owned(),
                entry_id: "2031050300010000001".to_owned(),
                owed: usd(-36_000),
                paid: usd(32_000),
                taken_off: usd(4_000),
                detail: "currency 320.00 USD".to_owned(),
                ..v1::StatementRow::default()
            }],
            dues: vec![v1::Deduction {
                name: "gear".to_owned(),
                due: usd(20_000),
                ..v1::Deduction::default()
            }],
            disputes: vec![v1::Dispute {
                line: 2,
                text: "heavier".to_owned(),
                ..v1::Dispute::default()
            }],
            ..v1::Statement::default()
        };
        let text = text(&statement, &Known::default());
        for part in [
            "paid 320.00 USD, taken off 40.00 USD (currency 320.00 USD)",
            "still to be taken off: charge gear, 200.00 USD",
            "Line 2 of ticket",
            "Nobody has answered yet.",
        ] {
            let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat.contains(part), "{part}: {text}");
        }
    }

    #[test]
    fn a_statement_runs_from_before_to_after() {
        let statement = v1::Statement {
            site: 1,
            party: "diver-1".to_owned(),
            party_name: "Ana".to_owned(),
            owed_before: usd(10_000),
            held_before: usd(0),
            rows: vec![v1::StatementRow {
                what: "ticket".to_owned(),
                ticket: "2031050200010000003".to_owned(),
                weight: Some(v1::Weight {
                    grams: "1".to_owned(),
                    shown: "40.750".to_owned(),
                    unit: v1::WeightUnit::Lb.into(),
                }),
                owed: usd(21_394),
                held: usd(1_000),
                ..v1::StatementRow::default()
            }],
            owed_after: usd(31_394),
            held_after: usd(1_000),
            ..v1::Statement::default()
        };
        let text = text(&statement, &Known::default());
        let lines: Vec<&str> = text.lines().collect();
        let find = |with: &str| lines.iter().position(|line| line.contains(with));
        let (before, row, after) = (find("100.00 USD"), find("213.94 USD"), find("313.94 USD"));
        assert!(before < row && row < after && before.is_some(), "{text}");
        assert!(lines[row.unwrap_or(0)].contains("40.750 lb"), "{text}");
        assert!(lines[row.unwrap_or(0)].contains("10.00 USD"), "{text}");
    }
}
