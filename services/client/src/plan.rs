//! `plan`: where small fish goes, and why.
//!
//! Asks for the best plan as things stand and takes it, so that fish can leave by its
//! lines. With `--what-if` nothing is written, and rooms and choices may be supposed that
//! are not on file.

use proto::google::r#type::Date;
use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;

/// Arguments of `plan`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  weighhouse plan --site 1 --what-if
  weighhouse plan --site 1 --what-if --pin 20310502000100000031/2=parish-pantry:6.00
  weighhouse plan --site 1
  weighhouse plan --taken 2031050200010000044")]
pub struct Plan {
    /// Number of the site
    #[arg(long, required_unless_present = "taken")]
    site: Option<i32>,
    /// Business day; today when left out
    #[arg(long, value_parser = crate::day)]
    day: Option<Date>,
    /// Write nothing: only look
    #[arg(long)]
    what_if: bool,
    /// Suppose that a part goes to a room, LOT/PART=ROOM, and :WEIGHT where not all of it
    #[arg(long, value_name = "LOT/PART=ROOM", requires = "what_if")]
    pin: Vec<String>,
    /// Suppose that none of a part goes to a room
    #[arg(long, value_name = "LOT/PART=ROOM", requires = "what_if")]
    forbid: Vec<String>,
    /// Suppose that a room is called off
    #[arg(long, value_name = "ROOM", requires = "what_if")]
    without: Vec<String>,
    /// Unit of the weights
    #[arg(long, value_parser = crate::weigh_in::units(), default_value = "lb")]
    unit: v1::WeightUnit,
    /// Show a plan that was taken, by its id
    #[arg(long, value_name = "ENTRY", conflicts_with_all = ["day", "what_if"])]
    taken: Option<String>,
    /// UUID of the request; sent again, it gives the first answer. A new one when left out
    #[arg(long, value_name = "UUID")]
    request_id: Option<uuid::Uuid>,
    #[command(flatten)]
    reach: Reach,
}

impl Plan {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        if let Some(plan) = self.taken {
            let answer = service
                .get_plan(v1::GetPlanRequest { plan })
                .await
                .map_err(|trouble| trouble.in_flags(&[("plan", "--taken")]))?;
            let id = entry(answer.recorded.as_ref());
            return self
                .reach
                .say(&service, &answer, |known| {
                    text(answer.plan.as_ref(), Some(&id), known)
                })
                .await;
        }
        let site = self.site.unwrap_or_default();
        let rooms = service
            .list_rooms(v1::ListRoomsRequest {
                site,
                page_size: 1_000,
                page_token: String::new(),
            })
            .await
            .map_err(|trouble| trouble.in_flags(&[("site", "--site")]))?
            .rooms;
        let mut choices = Vec::new();
        for (kind, typed, flag) in [
            (v1::ChoiceKind::Pin, &self.pin, "--pin"),
            (v1::ChoiceKind::Forbid, &self.forbid, "--forbid"),
        ] {
            for typed in typed {
                let choice = choice(kind, typed, self.unit);
                choices.push(choice.map_err(|why| Trouble::Typed(format!("{flag}: {why}")))?);
            }
        }
        let without = rooms
            .iter()
            .filter(|room| self.without.contains(&room.code))
            .map(|room| v1::Room {
                ended: true,
                ..room.clone()
            });
        let proposed = service
            .propose_plan(v1::ProposePlanRequest {
                site,
                day: self.day,
                what_if_rooms: without.collect(),
                what_if_choices: choices,
            })
            .await
            .map_err(|trouble| trouble.in_flags(&[("site", "--site"), ("day", "--day")]))?;
        let digest = proposed.plan.as_ref().map(|plan| plan.digest.clone());
        if self.what_if {
            return self
                .reach
                .say(&service, &proposed, |known| {
                    text(proposed.plan.as_ref(), None, known)
                })
                .await;
        }
        let request_id = self
            .request_id
            .unwrap_or_else(uuid::Uuid::new_v4)
            .to_string();
        let taken = service
            .record_plan(v1::RecordPlanRequest {
                request_id: request_id.clone(),
                site,
                day: self.day,
                digest: digest.unwrap_or_default(),
            })
            .await
            .map_err(|trouble| trouble.of_request(&request_id))?;
        let id = entry(taken.recorded.as_ref());
        self.reach
            .say(&service, &taken, |known| {
                text(taken.plan.as_ref(), Some(&id), known)
            })
            .await
    }
}

fn entry(recorded: Option<&v1::Recorded>) -> String {
    recorded.map_or_else(String::new, |recorded| recorded.entry_id.clone())
}

/// `LOT/PART=ROOM[:WEIGHT]` as a choice.
fn choice(kind: v1::ChoiceKind, typed: &str, unit: v1::WeightUnit) -> Result<v1::Choice, String> {
    let says = "write it as LOT/PART=ROOM, and :WEIGHT where not all of it";
    let (part, room) = typed.split_once('=').ok_or(says)?;
    let (lot, n) = part.split_once('/').ok_or(says)?;
    let n = n.parse().map_err(|_| says.to_owned())?;
    let (room, weight) = match room.split_once(':') {
        Some((room, weight)) => (room, Some(weight)),
        None => (room, None),
    };
    Ok(v1::Choice {
        kind: kind.into(),
        part: Some(v1::PartRef {
            lot_code: lot.to_owned(),
            part: Some(n),
        }),
        room: room.to_owned(),
        weight: weight.map(|decimal| v1::Reading {
            decimal: decimal.to_owned(),
            unit: unit.into(),
            scale: String::new(),
            source: v1::ReadingSource::Keyed.into(),
        }),
        reason: "what if".to_owned(),
    })
}

/// A plan as people read it; `id` where it was taken.
#[must_use]
pub fn text(plan: Option<&v1::Plan>, id: Option<&str>, known: &Known) -> String {
    let Some(plan) = plan else {
        return String::new();
    };
    let site = known.site(plan.site);
    let when = known.instant(plan.site, plan.asked_at.as_ref());
    let mut page = Page::title(match id {
        Some(id) => format!("Plan {id} for small fish at {site}, {when}"),
        None => format!("Plan for small fish at {site}, {when}: nothing was written"),
    });
    if plan.parts.is_empty() {
        page.line("  There is no small fish on ice.");
        return page.done();
    }
    lines(&mut page, plan, id, known);
    result(&mut page, plan);
    rooms(&mut page, plan);
    parts(&mut page, plan, known);
    if !plan.choices.is_empty() {
        page.heading("What people decided, and what it costs");
        let columns = [
            Column::Left("decided"),
            Column::Left("part"),
            Column::Left("room"),
            Column::Right("costs"),
            Column::Right("kept less"),
            Column::Left("because"),
        ];
        let rows: Vec<_> = plan.choices.iter().map(choice_row).collect();
        page.table(&columns, &rows);
    }
    for said in plan.tidied.iter().chain(&plan.remarks) {
        page.paragraph(said);
    }
    page.done()
}

fn lines(page: &mut Page, plan: &v1::Plan, id: Option<&str>, known: &Known) {
    page.heading("Where it goes");
    let columns = [
        Column::Right(if id.is_some() { "line" } else { "" }),
        Column::Left("part"),
        Column::Left("to"),
        Column::Right("on ice"),
        Column::Right("handed over"),
        Column::Left("first"),
        Column::Right("brings"),
        Column::Left("by"),
    ];
    let rows: Vec<Vec<String>> = plan
        .lines
        .iter()
        .map(|line| {
            let pinned = if line.pinned { ", pinned" } else { "" };
            vec![
                id.map_or_else(String::new, |_| line.n.to_string()),
                show::part(line.part.as_ref()),
                format!("{}{pinned}", line.room_name),
                show::weight(line.weight.as_ref()),
                show::weight(line.delivered.as_ref()),
                word!(Presentation, line.dress_to),
                show::money(line.net.as_ref()),
                known.instant(plan.site, line.leaves_at.as_ref()),
            ]
        })
        .collect();
    if rows.is_empty() {
        page.line("  Nowhere: no room may take any of it.");
    } else {
        page.table(&columns, &rows);
    }
}

fn result(page: &mut Page, plan: &v1::Plan) {
    let Some(result) = &plan.result else { return };
    page.facts(&[
        (
            "promised and filled",
            show::weight(result.promised.as_ref()),
        ),
        ("kept from discard", show::weight(result.kept.as_ref())),
        (
            "brings, net of handling",
            show::money(result.money.as_ref()),
        ),
    ]);
}

fn rooms(page: &mut Page, plan: &v1::Plan) {
    page.heading("Rooms");
    let columns = [
        Column::Left("room"),
        Column::Left("kind"),
        Column::Right("takes"),
        Column::Right("promised"),
        Column::Right("planned"),
        Column::Right("one more brings"),
        Column::Right("and keeps"),
    ];
    let rows: Vec<Vec<String>> = plan
        .rooms
        .iter()
        .map(|room| {
            let more = room.one_more.as_ref();
            vec![
                room.name.clone(),
                word!(RoomKind, room.kind),
                show::weight(room.weight.as_ref()),
                show::weight_unless_zero(room.promised.as_ref()),
                show::weight(room.planned.as_ref()),
                more.map_or_else(String::new, |more| show::money(more.money.as_ref())),
                more.map_or_else(String::new, |more| show::weight(more.kept.as_ref())),
            ]
        })
        .collect();
    page.table(&columns, &rows);
}

fn parts(page: &mut Page, plan: &v1::Plan, known: &Known) {
    page.heading("Each part");
    for part in &plan.parts {
        let fish = show::fish(&known.species(&part.species), part.presentation);
        page.line(format!(
            "  {} {fish}, {}",
            show::part(part.part.as_ref()),
            show::weight(part.weight.as_ref())
        ));
        for line in plan.lines.iter().filter(|line| line.part == part.part) {
            page.paragraph(format!(
                "  {} to {}.",
                show::weight(line.weight.as_ref()),
                line.room_name
            ));
        }
        if !part.why_left.is_empty() {
            page.paragraph(format!(
                "  {} finds no place. {}",
                show::weight(part.left.as_ref()),
                part.why_left
            ));
        }
        if let Some(change) = &part.next_best_change {
            let to = if part.next_best.is_empty() {
                "no place"
            } else {
                name_of(plan, &part.next_best)
            };
            page.paragraph(format!(
                "  Next best: {to}, which changes {}.",
                differs(change)
            ));
        }
        for refusal in &part.refusals {
            let why: Vec<String> = refusal
                .rules
                .iter()
                .map(|rule| format!("{}: {}", rule.rule, rule.text))
                .collect();
            page.paragraph(format!(
                "  Not to {} ({}).",
                name_of(plan, &refusal.room),
                why.join("; ")
            ));
        }
    }
}

fn name_of<'a>(plan: &'a v1::Plan, code: &'a str) -> &'a str {
    let room = plan.rooms.iter().find(|room| room.room == code);
    room.map_or(code, |room| &room.name)
}

/// What changes, in the order in which it counts; nothing where nothing does.
fn differs(change: &v1::PlanChange) -> String {
    let weight = |weight: &Option<v1::Weight>| {
        let of = weight
            .as_ref()
            .filter(|weight| !show::is_zero(&weight.grams));
        of.map(|weight| show::weight(Some(weight)))
    };
    let mut says = Vec::new();
    if let Some(promised) = weight(&change.promised) {
        says.push(format!("what is promised and filled by {promised}"));
    }
    if let Some(kept) = weight(&change.kept) {
        says.push(format!("what is kept by {kept}"));
    }
    let money = change.money.as_ref();
    if let Some(money) = money.filter(|money| money.amount_minor != 0) {
        says.push(format!("what it brings by {}", show::money(Some(money))));
    }
    if says.is_empty() {
        "nothing".to_owned()
    } else {
        says.join(", ")
    }
}

fn choice_row(of: &v1::ChoiceCost) -> Vec<String> {
    let choice = of.choice.clone().unwrap_or_default();
    let cost = of.cost.clone().unwrap_or_default();
    let kind = word!(ChoiceKind, choice.kind);
    let much = choice.weight.as_ref();
    vec![
        much.map_or(kind.clone(), |much| {
            format!("{kind} {}", show::reading(Some(much)))
        }),
        show::part(choice.part.as_ref()),
        choice.room,
        show::money(cost.money.as_ref()),
        show::weight(cost.kept.as_ref()),
        choice.reason,
    ]
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn a_supposed_choice_names_part_room_and_perhaps_weight() {
        let read = |typed| choice(v1::ChoiceKind::Pin, typed, v1::WeightUnit::Lb);
        let pinned = read("20310502000100000031/2=pantry:6.00").unwrap();
        let part = pinned.part.unwrap();
        assert_eq!(
            (&*part.lot_code, part.part),
            ("20310502000100000031", Some(2))
        );
        assert_eq!(pinned.room, "pantry");
        assert_eq!(pinned.weight.unwrap().decimal, "6.00");
        assert_eq!(read("20310502000100000031/2=pantry").unwrap().weight, None);
        for wrong in [
            "",
            "20310502000100000031/2",
            "20310502000100000031=pantry",
            "x/y=pantry",
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
