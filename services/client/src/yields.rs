//! `yields`: what each supplier's fish cut out to, plainly pooled. It is no
//! ranking: one cut says little, and the table says how many there were.

use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::close::at_table;
use crate::known::Known;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;

/// Arguments of `yields`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse yields --site 1 --from 2031-04-28 --to 2031-05-05")]
pub struct Yields {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// First business day, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    from: Date,
    /// First business day that is not in any more
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    to: Date,
    /// Only this supplier's, by party code
    #[arg(long, default_value = "")]
    supplier: String,
    #[command(flatten)]
    reach: Reach,
}

impl Yields {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let yields = service
            .list_supplier_yields(v1::ListSupplierYieldsRequest {
                site: self.site,
                from: Some(self.from),
                to: Some(self.to),
                supplier: self.supplier,
                species: String::new(),
            })
            .await
            .map_err(|trouble| {
                trouble.in_flags(&[
                    ("site", "--site"),
                    ("supplier", "--supplier"),
                    ("from", "--from"),
                    ("to", "--to"),
                ])
            })?;
        self.reach
            .say(&service, &yields, |known| {
                let mut page = Page::title(format!("Yields at site {}", known.site(self.site)));
                page.line(format!(
                    "  {}",
                    show::half_open(Some(&self.from), Some(&self.to))
                ));
                page.line("");
                page.line(text(&yields, self.site, known));
                page.done()
            })
            .await
    }
}

/// Yields of a site for a person, without a heading.
#[must_use]
pub fn text(yields: &v1::ListSupplierYieldsResponse, site: i32, known: &Known) -> String {
    let mut page = Page::default();
    list(&mut page, &yields.yields, known);
    for group in &yields.groups {
        page.line("");
        for own in &group.suppliers {
            page.paragraph(format!(
                "Fish of {}, {}: {}.",
                known.party(&own.supplier),
                at_table::like_fish(group, known),
                own.says
            ));
        }
    }
    if !yields.answers.is_empty() {
        page.line("");
        for answer in &yields.answers {
            page.paragraph(answered(answer, site, known));
        }
    }
    if !yields.remarks.is_empty() {
        page.line("");
        for remark in &yields.remarks {
            page.paragraph(remark);
        }
    }
    page.done()
}

/// An answer, in the words of who gave it.
fn answered(answer: &v1::YieldAnswer, site: i32, known: &Known) -> String {
    format!(
        "Answered by {}, {}, to {} of {}, {}: \"{}\"",
        answer.by,
        known.instant(site, answer.recorded_at.as_ref()),
        known.species(&answer.species),
        known.party(&answer.supplier),
        show::half_open(answer.from.as_ref(), answer.to.as_ref()),
        answer.text
    )
}

/// Yield rows.
pub(crate) fn list(page: &mut Page, yields: &[v1::YieldRow], known: &Known) {
    if yields.is_empty() {
        page.line("  Nothing was cut.");
        return;
    }
    let rows: Vec<Vec<String>> = yields
        .iter()
        .map(|row| {
            vec![
                known.party(&row.supplier),
                show::fish(&known.species(&row.species), row.presentation),
                cut_to(row),
                row.cuts.to_string(),
                show::weight_unless_zero(row.input.as_ref()),
                show::weight_unless_zero(row.fillet.as_ref()),
                if row.yield_percent.is_empty() {
                    "none".to_owned()
                } else {
                    format!("{} %", row.yield_percent)
                },
                if row.mixed_cuts == 0 {
                    String::new()
                } else {
                    format!(
                        "{}, {}",
                        row.mixed_cuts,
                        show::weight(row.mixed_input.as_ref())
                    )
                },
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("supplier"),
            Column::Left("fish"),
            Column::Left("cut to"),
            Column::Right("cuts"),
            Column::Right("in"),
            Column::Right("fillet"),
            Column::Right("yield"),
            Column::Right("left out: mixed cuts"),
        ],
        &rows,
    );
}

/// The specification, and whose table.
pub(crate) fn cut_to(row: &v1::YieldRow) -> String {
    let table = if row.customer_kitchen {
        "customer's kitchen"
    } else {
        "own table"
    };
    format!("{}, {table}", row.specification)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lb(shown: &str) -> Option<v1::Weight> {
        Some(v1::Weight {
            grams: shown.to_owned(),
            shown: shown.to_owned(),
            unit: v1::WeightUnit::Lb.into(),
        })
    }

    #[test]
    fn a_yield_stands_beside_what_it_leaves_out() {
        let yields = v1::ListSupplierYieldsResponse {
            yields: vec![
                v1::YieldRow {
                    supplier: "diver-1".to_owned(),
                    cuts: 2,
                    input: lb("40.000"),
                    fillet: lb("12.500"),
                    yield_percent: "31.25".to_owned(),
                    mixed_cuts: 1,
                    mixed_input: lb("9.000"),
                    ..v1::YieldRow::default()
                },
                v1::YieldRow {
                    supplier: "diver-2".to_owned(),
                    mixed_cuts: 1,
                    mixed_input: lb("6.000"),
                    ..v1::YieldRow::default()
                },
            ],
            answers: vec![v1::YieldAnswer {
                supplier: "diver-1".to_owned(),
                species: "PZO".to_owned(),
                text: "cut after two warm days".to_owned(),
                by: "diver diver-1 (phone)".to_owned(),
                ..v1::YieldAnswer::default()
            }],
            remarks: vec!["No judgement is made.".to_owned()],
            groups: vec![v1::YieldGroup {
                specification: "skinless".to_owned(),
                suppliers: vec![v1::SupplierYield {
                    supplier: "diver-1".to_owned(),
                    says: "too little to say".to_owned(),
                    ..v1::SupplierYield::default()
                }],
                ..v1::YieldGroup::default()
            }],
        };
        let text = text(&yields, 1, &Known::default());
        let row = |with: &str| {
            text.lines()
                .find(|line| line.contains(with))
                .map(str::to_owned)
        };
        assert!(row("diver-1").is_some_and(|r| r.contains("31.25 %") && r.contains("1, 9.000 lb")));
        assert!(row("diver-2").is_some_and(|r| r.contains("none") && r.contains("1, 6.000 lb")));
        assert!(
            text.contains("Fish of diver-1,") && text.contains("too little to say."),
            "{text}"
        );
        // However it is wrapped.
        let words: Vec<&str> = text.split_whitespace().collect();
        let words = words.join(" ");
        assert!(
            words.contains("Answered by diver diver-1 (phone),"),
            "{text}"
        );
        assert!(
            words.contains("to PZO of diver-1,") && words.contains("\"cut after two warm days\""),
            "{text}"
        );
        assert!(text.ends_with("No judgement is made.\n"), "{text}");
    }
}
