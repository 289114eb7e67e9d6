//! `price-list`: look at a price list before it is posted, and post it, from a
//! file.

pub mod file;

use std::path::PathBuf;

use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::price_list::file::Written;
use crate::service::Service;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;

/// Arguments of `price-list`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse price-list check may.toml --site 1
  weighhouse price-list post may.toml --site 1

A list as TOML; numbers stand in quotes, so that they stay as they are written:

  site = 1
  species = \"PZO\"
  effective_from = 2031-05-03T06:00:00-04:00   # left out: a minute after posting
  band_by = \"piece\"                            # or \"lot\"
  price_per = \"lb\"
  edge_unit = \"lb\"

  [[presentation]]
  form = \"whole\"
  plate_minimum = \"0.50\"

  [[presentation.grade]]
  grade = \"A\"
  not_counted = \"1.00\"                         # may be left out
  bands = [
    { from = \"0\", to = \"0.50\", price = \"1.25\", name = \"below plate\" },
    { from = \"0.50\", price = \"5.25\", name = \"plate\" },
  ]

  [condition]
  torn = \"-2.00\"

The same as CSV, a row a band; in the columns up to grade an empty cell says what the row
above says. Semicolons with decimal commas are read as well:

  site,species,effective_from,band_by,price_per,edge_unit,form,plate_minimum,grade,from,to,price,name
  1,PZO,2031-05-03T06:00:00-04:00,piece,lb,lb,whole,0.50,A,0,0.50,1.25,below plate
  ,,,,,,,,,0.50,,5.25,plate
  ,,,,,,,,,not counted,,1.00,
  ,,,,,,,,,torn,,-2.00,")]
pub struct PriceList {
    #[command(subcommand)]
    what: What,
}

/// What to do with a list.
#[derive(Debug, clap::Subcommand)]
enum What {
    /// Explain a list band by band, and what past tickets would have paid under it
    Check(Check),
    /// Post a list
    Post(Post),
}

/// Arguments of `price-list check`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse price-list check may.toml --site 1 --from 2031-04-28 --to 2031-05-05")]
struct Check {
    #[command(flatten)]
    file: File,
    /// First business day of the tickets to price again, YYYY-MM-DD; a week ago when
    /// left out
    #[arg(long, value_name = "DAY", value_parser = crate::day, requires = "to")]
    from: Option<Date>,
    /// First day that is no longer looked at; today when left out
    #[arg(long, value_name = "DAY", value_parser = crate::day, requires = "from")]
    to: Option<Date>,
    #[command(flatten)]
    reach: Reach,
}

/// Arguments of `price-list post`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse price-list post may.toml --site 1")]
struct Post {
    #[command(flatten)]
    file: File,
    /// UUID of the request; sent again, it gives the first answer. A new one
    /// when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

/// The file of a list.
#[derive(Debug, clap::Args)]
struct File {
    /// Price list, TOML or CSV; `weighhouse help price-list` shows both
    file: PathBuf,
    /// Number of the site, which the file must be for
    #[arg(long)]
    site: i32,
}

impl File {
    fn read(&self) -> Result<(String, Written), Trouble> {
        let name = self.file.display().to_string();
        let text = std::fs::read_to_string(&self.file)
            .map_err(|error| Trouble::File(format!("{name}: {error}")))?;
        let written =
            Written::read(&name, &text).map_err(|bad| Trouble::File(format!("{name}, {bad}")))?;
        if written.list.site != self.site {
            let line = written.line_of("site").unwrap_or(1);
            return Err(Trouble::File(format!(
                "{name}, line {line}: the list is for site {}, and --site says {}",
                written.list.site, self.site
            )));
        }
        Ok((name, written))
    }
}

/// A refusal with the line of the file that it is about.
fn in_file(trouble: Trouble, name: &str, written: &Written) -> Trouble {
    let line = match &trouble {
        Trouble::Refused(refused) => refused
            .fields
            .first()
            .and_then(|field| written.line_of(field)),
        _ => None,
    };
    match (line, trouble) {
        (Some(line), Trouble::Refused(refused)) => Trouble::File(format!(
            "{name}, line {line}: {}",
            rule(&refused.reason, &refused.message)
        )),
        (_, trouble) => trouble,
    }
}

/// What a message of the service says, without the path that the line stands
/// for: a sentence about the list, or the field's own name and its rule.
fn rule(reason: &str, message: &str) -> String {
    match message.split_once(": ") {
        Some((field, rule)) if field.starts_with("price_list.") => {
            let own = field.rsplit('.').next().unwrap_or(field);
            match reason {
                "PRICE_LIST_CANNOT_STAND" => rule.to_owned(),
                _ => format!("{own}: {rule}"),
            }
        }
        _ => message.to_owned(),
    }
}

impl PriceList {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        match self.what {
            What::Check(check) => check.run().await,
            What::Post(post) => post.run().await,
        }
    }
}

impl Check {
    async fn run(self) -> Result<String, Trouble> {
        let (name, written) = self.file.read()?;
        let service = self.reach.service().await?;
        let answer = service
            .check_price_list(v1::CheckPriceListRequest {
                price_list: Some(written.list.clone()),
                from: self.from,
                to: self.to,
            })
            .await
            .map_err(|trouble| in_file(trouble, &name, &written))?;
        self.reach
            .say(&service, &answer, |known| {
                text(&written.list, &answer, known)
            })
            .await
    }
}

impl Post {
    async fn run(self) -> Result<String, Trouble> {
        let (name, written) = self.file.read()?;
        let service: Service = self.reach.service().await?;
        let request_id = self
            .request_id
            .unwrap_or_else(uuid::Uuid::new_v4)
            .to_string();
        let answer = service
            .post_price_list(v1::PostPriceListRequest {
                request_id: request_id.clone(),
                price_list: Some(written.list.clone()),
            })
            .await
            .map_err(|trouble| in_file(trouble.of_request(&request_id), &name, &written))?;
        self.reach
            .say(&service, &answer, |known| posted(&answer, known))
            .await
    }
}

fn posted(answer: &v1::PostPriceListResponse, known: &Known) -> String {
    let list = answer.price_list.clone().unwrap_or_default();
    let mut page = Page::title(format!(
        "Price list {} of {} at site {} is posted; it holds from {}.",
        list.id,
        known.species(&list.species),
        known.site(list.site),
        known.instant(list.site, list.effective_from.as_ref()),
    ));
    for notice in &answer.notices {
        page.paragraph(&notice.text);
    }
    page.done()
}

/// A list for a person who is about to post it.
#[must_use]
pub fn text(list: &v1::PriceList, answer: &v1::CheckPriceListResponse, known: &Known) -> String {
    let mut page = Page::title(format!(
        "Price list of {} at site {}, not posted",
        known.species(&list.species),
        known.site(list.site)
    ));
    page.facts(&[
        (
            "would hold from",
            known.instant(list.site, answer.effective_from.as_ref()),
        ),
        ("band found by", word!(BandBy, list.band_by)),
    ]);
    let mut of = None;
    for band in &answer.bands {
        let this = (band.presentation, band.grade.clone());
        if of.as_ref() != Some(&this) {
            page.heading(format!(
                "{}, grade {}",
                word!(Presentation, band.presentation),
                band.grade
            ));
            of = Some(this);
        }
        page.paragraph(explained(band, list.band_by == i32::from(v1::BandBy::Lot)));
    }
    if !list.condition_adjustments.is_empty() {
        page.heading("Added to the price by shot condition");
        for row in &list.condition_adjustments {
            page.line(format!(
                "  {}: {} a {}",
                word!(Condition, row.condition),
                row.per_unit,
                word!(WeightUnit, list.price_per)
            ));
        }
    }
    if !answer.notices.is_empty() {
        page.heading("Odd");
        for notice in &answer.notices {
            page.paragraph(&notice.text);
        }
    }
    repriced(&mut page, answer, known);
    page.done()
}

/// `0.50 to under 0.75 lb, small plate: 5.25 USD/lb; a fish of 0.62 lb pays 3.26 USD`.
fn explained(band: &v1::BandExplained, by_lot: bool) -> String {
    let what = if band.not_counted {
        "not counted".to_owned()
    } else {
        let edges = show::weights(band.from.as_ref(), band.to.as_ref());
        if band.name.is_empty() {
            edges
        } else {
            format!("{edges}, {}", band.name)
        }
    };
    let of = match (band.not_counted, by_lot) {
        (true, _) => "fish not counted,",
        (false, true) => "a lot of",
        (false, false) => "a fish of",
    };
    let below = if band.below_plate {
        "; below the plate minimum"
    } else {
        ""
    };
    format!(
        "{what}: {}; {of} {} pays {}{below}",
        show::price(band.price.as_ref()),
        show::weight(band.example.as_ref()),
        show::money(band.pays.as_ref()),
    )
}

fn repriced(page: &mut Page, answer: &v1::CheckPriceListResponse, known: &Known) {
    page.heading(format!(
        "Tickets under this list, {}",
        show::half_open(answer.from.as_ref(), answer.to.as_ref())
    ));
    if answer.tickets.is_empty() {
        page.line("  There are none with this species.");
        return;
    }
    let mut rows: Vec<Vec<String>> = answer
        .divers
        .iter()
        .map(|diver| {
            vec![
                known.party(&diver.harvester),
                diver.tickets.to_string(),
                show::money(diver.paid.as_ref()),
                show::money(diver.would_pay.as_ref()),
                show::money(diver.difference.as_ref()),
            ]
        })
        .collect();
    let total = answer.total.clone().unwrap_or_default();
    rows.push(vec![
        "all divers".to_owned(),
        total.tickets.to_string(),
        show::money(total.paid.as_ref()),
        show::money(total.would_pay.as_ref()),
        show::money(total.difference.as_ref()),
    ]);
    page.table(
        &[
            Column::Left("diver"),
            Column::Right("tickets"),
            Column::Right("paid"),
            Column::Right("would have paid"),
            Column::Right("difference"),
        ],
        &rows,
    );
    let unpriced = answer
        .tickets
        .iter()
        .filter(|ticket| ticket.would_pay.is_none());
    for ticket in unpriced {
        page.paragraph(format!(
            "ticket {} could not be priced and is in no sum: {}",
            ticket.ticket, ticket.why_not
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_band_reads_as_a_buyer_would_say_it() {
        let lb = |shown: &str| {
            Some(v1::Weight {
                grams: "1".to_owned(),
                shown: shown.to_owned(),
                unit: v1::WeightUnit::Lb.into(),
            })
        };
        let band = v1::BandExplained {
            name: "small plate".to_owned(),
            from: lb("0.50"),
            to: lb("0.75"),
            price: Some(v1::UnitPrice {
                decimal: "5.25".to_owned(),
                currency: "USD".to_owned(),
                per: v1::WeightUnit::Lb.into(),
            }),
            example: lb("0.62"),
            pays: Some(v1::Money {
                amount_minor: 326,
                currency: "USD".to_owned(),
            }),
            ..v1::BandExplained::default()
        };
        assert_eq!(
            explained(&band, false),
            "0.50 to under 0.75 lb, small plate: 5.25 USD/lb; a fish of 0.62 lb pays 3.26 USD"
        );
        let not_counted = v1::BandExplained {
            not_counted: true,
            ..band
        };
        assert_eq!(
            explained(&not_counted, false),
            "not counted: 5.25 USD/lb; fish not counted, 0.62 lb pays 3.26 USD"
        );
    }

    #[test]
    fn the_path_is_left_out_where_the_line_says_it() {
        let message = "price_list.presentations[0].plate_minimum: a: b";
        assert_eq!(rule("PRICE_LIST_CANNOT_STAND", message), "a: b");
        assert_eq!(rule("INVALID_FIELD", message), "plate_minimum: a: b");
        assert_eq!(rule("", "a rule: of the book"), "a rule: of the book");
    }
}
