//! `tally`: what was seen of the fish, one by one or in groups, and the catch of
//! each landing by dive and by hour.

use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;

/// Arguments of `tally`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse tally --site 1 --from 2031-04-28 --to 2031-05-05")]
pub struct Tally {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// First business day, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    from: Date,
    /// First business day that is not in any more
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    to: Date,
    #[command(flatten)]
    reach: Reach,
}

impl Tally {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let mut all = v1::ListTalliesResponse::default();
        let mut next = Some(self.from);
        while next.is_some() {
            let some = service
                .list_tallies(v1::ListTalliesRequest {
                    site: self.site,
                    from: next,
                    to: Some(self.to),
                })
                .await?;
            all.landings.extend(some.landings);
            all.makings.extend(some.makings);
            next = some.next;
        }
        self.reach
            .say(&service, &all, |known| {
                let mut page = Page::title(format!("Tallies at site {}", known.site(self.site)));
                page.line(format!(
                    "  {}",
                    show::half_open(Some(&self.from), Some(&self.to))
                ));
                page.line(text(&all, known));
                page.done()
            })
            .await
    }
}

/// Tallies for a person, without a heading.
#[must_use]
pub fn text(all: &v1::ListTalliesResponse, known: &Known) -> String {
    let mut page = Page::default();
    page.heading("Catch by dive and by hour");
    if all.landings.is_empty() {
        page.line("  Nobody told of dives, time or tallies.");
    } else {
        let rows: Vec<Vec<String>> = all.landings.iter().map(|of| landing(of, known)).collect();
        page.table(
            &[
                Column::Left("day"),
                Column::Left("ticket"),
                Column::Left("diver"),
                Column::Right("fish"),
                Column::Right("dives"),
                Column::Right("minutes"),
                Column::Right("fish/dive"),
                Column::Right("fish/hour"),
            ],
            &rows,
        );
    }
    for landing in &all.landings {
        for lot in &landing.lots {
            let code = if lot.lot_code.is_empty() {
                format!("ticket {}, lot {}", landing.ticket, lot.n)
            } else {
                format!("lot {}", lot.lot_code)
            };
            page.heading(format!("{code}: {}", known.species(&lot.species)));
            list(&mut page, lot.tally.as_ref());
        }
    }
    for making in &all.makings {
        page.heading(format!(
            "at the table, {}: {} of lot {}",
            making.entry_id,
            known.species(&making.species),
            making.lot_codes.join(", ")
        ));
        list(&mut page, making.tally.as_ref());
    }
    page.done()
}

fn landing(of: &v1::TalliedLanding, known: &Known) -> Vec<String> {
    let told = |text: &str| {
        if text.is_empty() {
            "not known".to_owned()
        } else {
            text.to_owned()
        }
    };
    let number = |n: Option<i32>| told(&n.map_or_else(String::new, |n| n.to_string()));
    vec![
        show::day(of.day.as_ref()),
        of.ticket.clone(),
        known.party(&of.harvester),
        number(of.fish),
        number(of.dives),
        told(&of.minutes_fished),
        told(&of.fish_per_dive),
        told(&of.fish_per_hour),
    ]
}

/// A tally, row by row.
pub(crate) fn list(page: &mut Page, tally: Option<&v1::Tally>) {
    for line in lines(tally) {
        page.line(format!("  {line}"));
    }
}

/// A tally in lines: `7 female with eggs, 28.5 cm`.
pub(crate) fn lines(tally: Option<&v1::Tally>) -> Vec<String> {
    let Some(tally) = tally else {
        return Vec::new();
    };
    let unit = match v1::RulerUnit::try_from(tally.unit) {
        Ok(v1::RulerUnit::Millimetre) => "mm",
        Ok(v1::RulerUnit::Centimetre) => "cm",
        Ok(v1::RulerUnit::Inch) => "in",
        Ok(v1::RulerUnit::Unspecified) | Err(_) => "",
    };
    let row = |row: &v1::TallyRow| {
        let sex = word!(Sex, row.sex);
        let sex = if sex.is_empty() { "sex not told" } else { &sex };
        let eggs = match row.eggs {
            None => "",
            Some(true) => " with eggs",
            Some(false) => " without eggs",
        };
        let length = if row.length.is_empty() {
            String::new()
        } else {
            format!(", {} {unit}", row.length)
        };
        format!("{} {sex}{eggs}{length}", row.count)
    };
    let mut lines: Vec<String> = tally.rows.iter().map(row).collect();
    if !tally.largest.is_empty() {
        lines.push(format!("largest {} {unit}", tally.largest));
    }
    if let Some(removed) = tally.removed {
        lines.push(format!("{removed} taken out of the sea"));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tally_says_what_was_told_and_nothing_else() {
        let tally = v1::Tally {
            rows: vec![
                v1::TallyRow {
                    sex: v1::Sex::Female.into(),
                    eggs: Some(true),
                    length: "28.5".to_owned(),
                    count: 7,
                },
                v1::TallyRow {
                    sex: v1::Sex::Male.into(),
                    eggs: Some(false),
                    count: 2,
                    ..v1::TallyRow::default()
                },
                v1::TallyRow {
                    count: 1,
                    ..v1::TallyRow::default()
                },
            ],
            unit: v1::RulerUnit::Centimetre.into(),
            largest: "31".to_owned(),
            removed: Some(12),
        };
        assert_eq!(
            lines(Some(&tally)),
            [
                "7 female with eggs, 28.5 cm",
                "2 male without eggs",
                "1 sex not told",
                "largest 31 cm",
                "12 taken out of the sea",
            ]
        );
        assert!(lines(None).is_empty());
    }
}
