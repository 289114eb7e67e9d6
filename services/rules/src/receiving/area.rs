//! Areas of concern: where fish is not taken from.
//!
//! Fish from a listed area is refused; it may be held only while the area is
//! unclear. Fish whose area was not recorded in the list's code system is
//! unclear, not passed. The list is the buyer's to keep; cooking does not remove
//! the toxin.

use super::law::Caught;
use super::{AreaOfConcern, Finding, ReceivingRule, Standing, finding};
use crate::office::Species;
use crate::ticket::{CatchArea, LotIn, Net, Pieces, Weighed};
use crate::weight::Weight;

/// Where a lot stands with the site's list.
pub(super) fn area(
    listed: &[AreaOfConcern],
    species: &Species,
    caught: Caught,
    areas: &[CatchArea],
    written: &LotIn,
    nets: &[Net],
) -> Finding {
    let rule = ReceivingRule::Area;
    let about: Vec<&AreaOfConcern> = listed.iter().filter(|row| row.concerns(species)).collect();
    if about.is_empty() {
        let text = "no area of concern is set for this species".to_owned();
        return finding(rule, Standing::NotSet, text);
    }
    if written.receiving.area_unclear {
        let text = "nobody can say for certain where it was caught".to_owned();
        return finding(rule, Standing::NotKnown, text);
    }
    let now: Vec<&AreaOfConcern> = about
        .into_iter()
        .filter(|row| row.days.meet(caught.first, caught.last))
        .filter(|row| {
            row.piece_weight_above
                .as_ref()
                .is_none_or(|above| any_above(written, nets, above.weight))
        })
        .collect();
    for row in &now {
        if areas.iter().any(|area| is_same(area, &row.area)) {
            let note = if row.note.is_empty() {
                String::new()
            } else {
                format!(" ({})", row.note)
            };
            let text = format!(
                "caught in {} {}, an area of concern{note}",
                row.area.system, row.area.code
            );
            return finding(rule, Standing::Failed, text);
        }
    }
    let unsaid = now.iter().find(|row| {
        areas
            .iter()
            .all(|area| !area.system.eq_ignore_ascii_case(&row.area.system))
    });
    match unsaid {
        Some(row) => finding(
            rule,
            Standing::NotKnown,
            format!(
                "no area of the list \"{}\" was recorded, which has areas of concern",
                row.area.system
            ),
        ),
        None => finding(rule, Standing::Passed, "from no area of concern".to_owned()),
    }
}

fn is_same(one: &CatchArea, other: &CatchArea) -> bool {
    one.system.eq_ignore_ascii_case(&other.system) && one.code.eq_ignore_ascii_case(&other.code)
}

/// Whether any fish may weigh more: by its own reading, by the mean of its tote,
/// or because nobody counted a tote that weighs more.
fn any_above(written: &LotIn, nets: &[Net], above: Weight) -> bool {
    written
        .weighings
        .iter()
        .zip(nets)
        .any(|(weighing, net)| match &weighing.weighed {
            Weighed::Pieces(readings) => readings.iter().any(|reading| reading.weight > above),
            Weighed::Tote { pieces, .. } => {
                let pieces = match pieces {
                    Pieces::Counted(n) | Pieces::Estimated(n) => *n,
                    Pieces::NotCounted => 1,
                };
                let all = i128::from(above.units()).checked_mul(i128::from(pieces));
                all.is_none_or(|all| i128::from(net.net.units()) > all)
            }
        })
}
