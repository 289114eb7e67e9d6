//! `small-fish`: cut it, or sell it for soup?

use proto::v1;

use crate::Reach;
use crate::close::at_table;
use crate::show::{self, Page};
use crate::trouble::Trouble;

/// Arguments of `small-fish`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse small-fish --site 1 --species PZO --specification skinless --piece 0.35 \\
    --unit lb --yield 23 --minutes 1.6")]
pub struct SmallFish {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// ASFIS 3-alpha code
    #[arg(long)]
    species: String,
    /// Cut specification
    #[arg(long)]
    specification: String,
    /// Weight of one fish, whole
    #[arg(long, value_name = "WEIGHT")]
    piece: String,
    /// Its unit
    #[arg(long, value_parser = crate::weigh_in::units(), default_value = "lb")]
    unit: v1::WeightUnit,
    /// Fillet of whole weight, percent; what was recorded when left out
    #[arg(long = "yield", value_name = "PERCENT")]
    yield_percent: Option<String>,
    /// Minutes at the table for one fish; what was recorded when left out
    #[arg(long)]
    minutes: Option<String>,
    #[command(flatten)]
    reach: Reach,
}

impl SmallFish {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let found = service
            .weigh_small_fish(v1::WeighSmallFishRequest {
                site: self.site,
                species: self.species,
                specification: self.specification,
                piece: Some(v1::Reading {
                    decimal: self.piece,
                    unit: self.unit.into(),
                    scale: String::new(),
                    source: v1::ReadingSource::Keyed.into(),
                }),
                yield_percent: self.yield_percent,
                minutes_per_fish: self.minutes,
            })
            .await
            .map_err(|trouble| {
                trouble.in_flags(&[
                    ("site", "--site"),
                    ("species", "--species"),
                    ("specification", "--specification"),
                    ("piece", "--piece"),
                    ("yield_percent", "--yield"),
                    ("minutes_per_fish", "--minutes"),
                ])
            })?;
        let fish = found
            .small_fish
            .clone()
            .ok_or(Trouble::Unreadable("there is no answer in it"))?;
        self.reach
            .say(&service, &found, |known| {
                let mut page = Page::title(format!(
                    "{} of {} to {}: {}",
                    show::fish(&known.species(&fish.species), fish.presentation),
                    show::weight(fish.piece.as_ref()),
                    fish.specification,
                    at_table::answer(fish.answer),
                ));
                page.facts(&[
                    ("cutting brings", show::price(fish.cut.as_ref())),
                    ("soup brings", show::price(fish.soup.as_ref())),
                    (
                        "may be off by",
                        format!(
                            "{}, two standard uncertainties",
                            show::price(fish.within.as_ref())
                        ),
                    ),
                    (
                        "at",
                        format!(
                            "{} % and {} minutes a fish{}",
                            fish.yield_percent,
                            fish.minutes_per_fish,
                            recorded(&found),
                        ),
                    ),
                    ("cutting pays from", pays_from(&fish)),
                ]);
                for remark in &found.remarks {
                    page.paragraph(remark);
                }
                page.done()
            })
            .await
    }
}

fn recorded(found: &v1::WeighSmallFishResponse) -> String {
    match &found.from_close {
        None => String::new(),
        day => format!(", recorded up to {}", show::day(day.as_ref())),
    }
}

fn pays_from(fish: &v1::CutBesideSoup) -> String {
    let ends = (&fish.break_even_from, &fish.break_even_to);
    match (&fish.break_even, ends) {
        (None, _) => "never, however heavy the fish".to_owned(),
        (at, (from, to)) => format!(
            "{} a fish ({} to {})",
            show::weight(at.as_ref()),
            show::weight(from.as_ref()),
            show::weight(to.as_ref())
        ),
    }
}
