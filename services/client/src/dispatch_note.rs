//! `dispatch-note`: what travels with fish that left, and a nonprofit's receipt.

use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;

/// Arguments of `dispatch-note`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  weighhouse dispatch-note 2031050200010000044")]
pub struct DispatchNote {
    /// Entry id of the movement
    movement: String,
    #[command(flatten)]
    reach: Reach,
}

impl DispatchNote {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let note = service
            .get_dispatch_note(v1::GetDispatchNoteRequest {
                movement: self.movement,
            })
            .await
            .map_err(|trouble| trouble.in_flags(&[("movement", "MOVEMENT")]))?;
        self.reach
            .say(&service, &note, |known| text(&note, known))
            .await
    }
}

fn text(note: &v1::GetDispatchNoteResponse, known: &Known) -> String {
    let site = note.site.clone().unwrap_or_default();
    let title = if note.receipt {
        "Receipt of a donation of fish"
    } else {
        "Fish, with what travels with it"
    };
    let mut page = Page::title(format!("{title}, {}", note.movement));
    let who = |party: Option<&v1::Party>| {
        party.map_or_else(String::new, |party| match party.contact.as_str() {
            "" => party.name.clone(),
            contact => format!("{}, {contact}", party.name),
        })
    };
    page.facts(&[
        ("from", who(note.from.as_ref())),
        ("at", place(&site)),
        ("to", who(note.to.as_ref())),
        ("for", show::outlet(note.outlet)),
        ("left", known.instant(site.number, note.left_at.as_ref())),
        (
            "temperature",
            if note.temperature.is_empty() {
                "not measured".to_owned()
            } else {
                note.temperature.clone()
            },
        ),
        ("plan line", note.plan_line.clone()),
    ]);
    let columns = [
        Column::Left("lot"),
        Column::Left("species"),
        Column::Left("form"),
        Column::Right("weight"),
        Column::Left("caught"),
    ];
    let rows: Vec<Vec<String>> = note
        .lots
        .iter()
        .map(|lot| {
            vec![
                show::part(lot.part.as_ref()),
                format!("{} ({})", lot.species_name, lot.scientific_name),
                word!(Presentation, lot.presentation),
                show::weight(lot.weight.as_ref()),
                known.instant(site.number, lot.harvested_at.as_ref()),
            ]
        })
        .collect();
    page.table(&columns, &rows);
    page.line(format!("  Together {}", show::weight(note.total.as_ref())));
    page.heading("Allergen");
    page.paragraph(&note.allergen);
    page.heading("Handling and cooking");
    for caution in &note.cautions {
        page.paragraph(caution);
    }
    if note.receipt {
        page.heading("Receipt");
        page.paragraph(
            "Given for nothing and taken as it stands above. This receipt names no value: what \
             it is worth for tax is for the giver and a licensed adviser.",
        );
    }
    page.done()
}

fn place(site: &v1::Site) -> String {
    if site.location_description.is_empty() {
        site.name.clone()
    } else {
        format!("{}, {}", site.name, site.location_description)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_donation_is_a_receipt_without_a_value_and_names_the_allergen() {
        let mut note = v1::GetDispatchNoteResponse {
            movement: "2031050200010000044".to_owned(),
            receipt: true,
            allergen: "Contains fish: Lionfish (Pterois volitans).".to_owned(),
            cautions: vec!["Keep cold.".to_owned()],
            ..v1::GetDispatchNoteResponse::default()
        };
        let known = Known::default();
        let written = text(&note, &known);
        assert!(written.contains("Contains fish: Lionfish (Pterois volitans)."));
        assert!(written.contains("Receipt of a donation") && written.contains("not measured"));
        assert!(!written.contains('$') && !written.contains("USD"));
        note.receipt = false;
        assert!(!text(&note, &known).contains("Receipt"));
    }
}
