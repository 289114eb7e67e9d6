//! `flags`: what the nightly job wants a person to look at.

use proto::google::r#type::Date;
use proto::v1;

use crate::known::Known;
use crate::service::Service;
use crate::show::{self, Column, Page};
use crate::trouble::Trouble;
use crate::{Reach, see_to};

/// Arguments of `flags`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse flags --site 1 --open
  weighhouse flags --site 1 --from 2031-04-28 --to 2031-05-05")]
pub struct Flags {
    /// Number of the site
    #[arg(long)]
    site: i32,
    /// First business day, YYYY-MM-DD
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    from: Option<Date>,
    /// First business day that is not in any more
    #[arg(long, value_name = "DAY", value_parser = crate::day)]
    to: Option<Date>,
    /// Only those that nobody has seen to yet
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    reach: Reach,
}

impl Flags {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let all = all(&service, self.site, self.from, self.to, self.open).await?;
        self.reach
            .say(&service, &all, |known| {
                let mut page = Page::title(format!("Flags of site {}", known.site(self.site)));
                let which = if self.open { ", open ones only" } else { "" };
                page.line(format!(
                    "  {}{which}",
                    show::half_open(self.from.as_ref(), self.to.as_ref())
                ));
                page.line("");
                list(&mut page, &all.flags, known);
                page.done()
            })
            .await
    }
}

/// Every page of a site's flags.
pub(crate) async fn all(
    service: &Service,
    site: i32,
    from: Option<Date>,
    to: Option<Date>,
    open_only: bool,
) -> Result<v1::ListFlagsResponse, Trouble> {
    let mut all = v1::ListFlagsResponse::default();
    loop {
        let page = service
            .list_flags(v1::ListFlagsRequest {
                site,
                from,
                to,
                open_only,
                page_size: 200,
                page_token: std::mem::take(&mut all.next_page_token),
            })
            .await?;
        all.flags.extend(page.flags);
        all.next_page_token = page.next_page_token;
        if all.next_page_token.is_empty() {
            return Ok(all);
        }
    }
}

/// Flags for a person, without a heading.
#[must_use]
pub fn text(flags: &[v1::Flag], known: &Known) -> String {
    let mut page = Page::default();
    list(&mut page, flags, known);
    page.done()
}

/// Flags as rows, the gaps of a day marked.
pub(crate) fn list(page: &mut Page, flags: &[v1::Flag], known: &Known) {
    if flags.is_empty() {
        page.line("  None.");
        return;
    }
    let rows: Vec<Vec<String>> = flags
        .iter()
        .map(|flag| {
            vec![
                flag.key.chars().take(see_to::SHOWN).collect(),
                show::day(flag.day.as_ref()),
                if flag.gap {
                    format!("{} (gap)", flag.kind)
                } else {
                    flag.kind.clone()
                },
                about(flag, known),
                show::weight_unless_zero(flag.weight.as_ref()),
                show::money_unless_zero(flag.value.as_ref()),
                standing(flag, known),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("key"),
            Column::Left("day"),
            Column::Left("flag"),
            Column::Left("about"),
            Column::Right("weight"),
            Column::Right("value"),
            Column::Left("standing"),
        ],
        &rows,
    );
    page.line("");
    for flag in flags {
        page.paragraph(format!(
            "{}, {}: {}",
            show::day(flag.day.as_ref()),
            flag.kind,
            flag.text
        ));
        for line in &flag.evidence {
            page.line(format!("      {line}"));
        }
        if !flag.next_step.is_empty() {
            page.paragraph(format!("Next: {}", flag.next_step));
        }
    }
}

/// Part, party or device; the site where it is about all of it.
pub(crate) fn about(flag: &v1::Flag, known: &Known) -> String {
    if flag.subject == flag.site.to_string() {
        "the whole site".to_owned()
    } else {
        known.party(&flag.subject)
    }
}

pub(crate) fn standing(flag: &v1::Flag, known: &Known) -> String {
    if flag.gone_with_revision > 0 {
        format!("gone with revision {}", flag.gone_with_revision)
    } else if flag.seen_to.is_empty() {
        "open".to_owned()
    } else {
        let seen = flag.seen_to.iter();
        let seen = seen.map(|s| format!("seen to by {}: {}", known.party(&s.by), s.reason));
        seen.collect::<Vec<_>>().join("; ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flag(kind: &str) -> v1::Flag {
        v1::Flag {
            kind: kind.to_owned(),
            subject: "20310502000100000031/1".to_owned(),
            text: "3.000 lb are missing".to_owned(),
            ..v1::Flag::default()
        }
    }

    fn listed(flags: &[v1::Flag]) -> String {
        text(flags, &Known::default())
    }

    #[test]
    fn a_flag_says_how_it_stands() {
        let seen = v1::Flag {
            seen_to: [("office", "wrong bin"), ("clerk", "asked")]
                .map(|(by, reason)| v1::SeenTo {
                    by: by.to_owned(),
                    reason: reason.to_owned(),
                    at: None,
                })
                .to_vec(),
            ..flag("unaccounted")
        };
        let gone = v1::Flag {
            gone_with_revision: 2,
            ..flag("unaccounted")
        };
        assert!(listed(&[flag("unaccounted")]).contains("open"));
        let words = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let both = "seen to by office: wrong bin; seen to by clerk: asked";
        assert!(words(listed(&[seen])).contains(both));
        assert!(listed(&[gone]).contains("gone with revision 2"));
    }

    #[test]
    fn a_gap_is_marked_and_the_sentence_is_there() {
        let text = listed(&[v1::Flag {
            gap: true,
            ..flag("uncounted")
        }]);
        assert!(text.contains("uncounted (gap)"), "{text}");
        assert!(text.contains("3.000 lb are missing"), "{text}");
    }

    #[test]
    fn what_a_flag_rests_on_stands_under_it() {
        let text = listed(&[v1::Flag {
            evidence: vec!["rounding of 2 readings: +/- 0.04 lb".to_owned()],
            ..flag("unaccounted")
        }]);
        let under = text.split_once("are missing\n").map(|(_, under)| under);
        assert_eq!(under, Some("      rounding of 2 readings: +/- 0.04 lb\n"));
    }

    #[test]
    fn what_to_do_next_stands_last() {
        let text = listed(&[v1::Flag {
            evidence: vec!["rounding of 2 readings: +/- 0.04 lb".to_owned()],
            next_step: "Count it again.".to_owned(),
            ..flag("unaccounted")
        }]);
        assert!(
            text.ends_with("0.04 lb\n  Next: Count it again.\n"),
            "{text}"
        );
    }

    #[test]
    fn no_flags_is_said() {
        assert_eq!(listed(&[]), "  None.\n");
    }
}
