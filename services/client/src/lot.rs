//! `lot`: a lot with its parts and what became of them.

use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;

/// Arguments of `lot`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  weighhouse lot 20310502000100000031")]
pub struct Lot {
    /// Code of the lot, 20 characters, as printed on its ticket
    code: String,
    #[command(flatten)]
    reach: Reach,
}

impl Lot {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let lot = service
            .get_lot(v1::GetLotRequest {
                lot_code: self.code,
            })
            .await?;
        self.reach
            .say(&service, &lot, |known| text(&lot, known))
            .await
    }
}

/// A lot for a person.
#[must_use]
pub fn text(lot: &v1::GetLotResponse, known: &Known) -> String {
    let mut page = Page::title(format!("Lot {}", lot.lot_code));
    let supplier = if lot.supplier.is_empty() {
        "several suppliers' fish".to_owned()
    } else {
        known.party(&lot.supplier)
    };
    page.facts(&[
        ("site", known.site(lot.site)),
        ("fish", known.species(&lot.species)),
        ("form", word!(Presentation, lot.presentation)),
        ("supplier", supplier),
        ("came from", came_from(lot)),
        (
            "made from",
            lot.sources
                .iter()
                .map(|source| show::part(Some(source)))
                .collect::<Vec<_>>()
                .join(", "),
        ),
    ]);

    page.heading("Parts, and what is left of them by the book; drip is not taken off");
    let rows: Vec<Vec<String>> = lot
        .parts
        .iter()
        .map(|part| {
            vec![
                part.part.to_string(),
                if part.band == 0 {
                    String::new()
                } else {
                    part.band.to_string()
                },
                show::grade(&part.grade),
                word!(Condition, part.condition),
                if part.held {
                    "held".to_owned()
                } else {
                    String::new()
                },
                show::weight(part.left.as_ref()),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Right("part"),
            Column::Right("band"),
            Column::Left("grade"),
            Column::Left("shot"),
            Column::Left("held"),
            Column::Right("left"),
        ],
        &rows,
    );

    page.heading("What became of it, oldest first");
    let rows: Vec<Vec<String>> = lot
        .events
        .iter()
        .map(|event| {
            vec![
                known.instant(lot.site, event.happened_at.as_ref()),
                if event.part == 0 {
                    String::new()
                } else {
                    event.part.to_string()
                },
                what(event),
                show::weight(event.weight.as_ref()),
                show::weight(event.difference.as_ref()),
                if event.counterparty.is_empty() {
                    event.other_lot_codes.join(" ")
                } else {
                    known.party(&event.counterparty)
                },
                event.entry_id.clone(),
            ]
        })
        .collect();
    page.table(
        &[
            Column::Left("when"),
            Column::Right("part"),
            Column::Left("what"),
            Column::Right("weight"),
            Column::Right("off the book"),
            Column::Left("to"),
            Column::Left("entry"),
        ],
        &rows,
    );
    page.done()
}

/// Ticket or making, and what became of the ticket.
fn came_from(lot: &v1::GetLotResponse) -> String {
    let making = word!(MakingKind, lot.made_by);
    if !making.is_empty() {
        return format!("{making}, entry {}", lot.entry_id);
    }
    if lot.voided {
        return format!("ticket {}, which was voided", lot.ticket);
    }
    if lot.ticket.is_empty() || lot.ticket == lot.entry_id {
        format!("ticket {}", lot.entry_id)
    } else {
        format!(
            "ticket {}, rewritten as ticket {}",
            lot.entry_id, lot.ticket
        )
    }
}

/// `into a cut` rather than a making.
fn what(event: &v1::LotEvent) -> String {
    let making = word!(MakingKind, event.making);
    let outgoing = event
        .weight
        .as_ref()
        .is_some_and(|weight| weight.shown.starts_with('-'));
    match (making.is_empty(), outgoing) {
        (true, _) if event.difference.is_none() && !event.note.is_empty() => {
            format!("{}, {}", event.what, event.note)
        }
        (true, _) => event.what.clone(),
        (false, true) => format!("into a {making}"),
        (false, false) => format!("out of a {making}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lb(shown: &str) -> Option<v1::Weight> {
        Some(v1::Weight {
            grams: "1".to_owned(),
            shown: shown.to_owned(),
            unit: v1::WeightUnit::Lb.into(),
        })
    }

    #[test]
    fn a_lot_shows_what_is_left_and_where_the_rest_went() {
        let lot = v1::GetLotResponse {
            lot_code: "20310502000100000031".to_owned(),
            species: "PZO".to_owned(),
            presentation: v1::Presentation::Whole.into(),
            site: 1,
            supplier: "diver-1".to_owned(),
            entry_id: "2031050200010000003".to_owned(),
            parts: vec![v1::LotPart {
                part: 2,
                band: 1,
                grade: "A".to_owned(),
                condition: v1::Condition::Torn.into(),
                held: true,
                left: lb("4.100"),
            }],
            events: vec![
                v1::LotEvent {
                    part: 2,
                    what: "weighed in".to_owned(),
                    weight: lb("9.100"),
                    ..v1::LotEvent::default()
                },
                v1::LotEvent {
                    part: 2,
                    what: "cut".to_owned(),
                    weight: lb("-5.000"),
                    other_lot_codes: vec!["20310502000100000091".to_owned()],
                    ..v1::LotEvent::default()
                },
            ],
            ..v1::GetLotResponse::default()
        };
        let text = text(&lot, &Known::default());
        let line = |with: &str| {
            let line = text.lines().find(|line| line.contains(with));
            line.unwrap_or_else(|| panic!("no line with {with}:\n{text}"))
                .to_owned()
        };
        assert!(line("4.100 lb").contains("torn"), "{text}");
        assert!(line("4.100 lb").contains("held"), "{text}");
        assert!(line("9.100 lb").contains("weighed in"), "{text}");
        assert!(
            line("-5.000 lb").ends_with("20310502000100000091"),
            "{text}"
        );
    }
}
