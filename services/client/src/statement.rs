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
    page.done()
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
