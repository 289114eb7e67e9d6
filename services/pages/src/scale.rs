//! A scale that is heard as it weighs: what it shows, for the script of the weigh-in, and
//! which figures of a form are its own.
//!
//! A form marks a figure that the script took from a scale and nobody typed over. The mark
//! is believed where the house heard that scale say just this, at rest, in the last
//! minutes; else the figure is a keyed one, as every figure is without the script. No
//! weigh-in is refused for it.

use std::time::Instant;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse as _, Response};
use desk::Desk;
use rules::ticket::{Tare, WeighIn, Weighed};
use rules::weight::{Reading, ReadingSource};

use crate::form::Fields;
use crate::house::House;
use crate::look;
use crate::refused::Refused;
use crate::visit::SignedIn;

/// Longest that a mark is.
const LONGEST: usize = 40;

/// Scales of a site that are heard, for a form.
pub(crate) struct Live {
    /// Their codes, with blanks between.
    pub(crate) codes: String,
    /// Marks of the figures that are in the form already.
    pub(crate) marks: Vec<String>,
    pub(crate) script: &'static str,
}

impl Live {
    /// Nothing where no scale of the site is heard.
    pub(crate) fn at(desk: &Desk, site: i64, typed: &Fields) -> Option<Live> {
        let codes = desk.live_scales(site);
        (!codes.is_empty()).then(|| Live {
            codes: codes.join(" "),
            marks: marks(typed),
            script: look::scale_path(),
        })
    }
}

/// `GET /scales/{code}/reading`: weight, unit and whether it is stable; 204 where it has
/// said nothing just now.
pub(crate) async fn reading(
    State(house): State<House>,
    who: SignedIn,
    Path(code): Path<String>,
) -> Response {
    let desk = &house.desk;
    let shows = async {
        let site = who.site(desk).await?.number;
        let shows = desk.scale_shows(&who.caller, site, &code, Instant::now());
        shows.map_err(Refused::from)
    };
    match shows.await {
        Err(refused) => refused.page(&who.visit),
        Ok(None) => StatusCode::NO_CONTENT.into_response(),
        // A weight that was read is digits and a point.
        Ok(Some(read)) => {
            let (weight, unit, stable) = (&read.text, read.unit.symbol(), read.is_stable);
            let json = format!(r#"{{"weight":"{weight}","unit":"{unit}","stable":{stable}}}"#);
            ([(CONTENT_TYPE, "application/json")], json).into_response()
        }
    }
}

fn marks(fields: &Fields) -> Vec<String> {
    (0..fields.count("captured"))
        .map(|n| fields.nth("captured", n).chars().take(LONGEST).collect())
        .collect()
}

/// A weigh-in whose readings are captured where the form marks them so and the scale said
/// so; each mark stands for one reading.
pub(crate) fn believed(desk: &Desk, fields: &Fields, mut asked: WeighIn) -> WeighIn {
    let (site, now) = (asked.site, Instant::now());
    let said =
        |reading: &Reading| desk.scale_said(site, &reading.scale, &reading.text, reading.unit, now);
    believe(marks(fields), said, &mut asked);
    asked
}

/// The same with every mark believed: to find what was booked under a request's id while
/// the scale's word was still known.
pub(crate) fn all_captured(fields: &Fields, mut asked: WeighIn) -> WeighIn {
    believe(marks(fields), |_| true, &mut asked);
    asked
}

fn believe(mut marks: Vec<String>, said: impl Fn(&Reading) -> bool, asked: &mut WeighIn) {
    let mut mark = |reading: &mut Reading| {
        let own = format!("{} {}", reading.text, reading.unit.symbol());
        if let Some(at) = marks.iter().position(|mark| *mark == own)
            && said(reading)
        {
            marks.swap_remove(at);
            reading.source = ReadingSource::Captured;
        }
    };
    let weighings = asked.lots.iter_mut().flat_map(|lot| &mut lot.weighings);
    for weighing in weighings {
        match &mut weighing.weighed {
            Weighed::Tote { gross, tare, .. } => {
                mark(gross);
                if let Tare::Reading(tare) = tare {
                    mark(tare);
                }
            }
            Weighed::Pieces(pieces) => pieces.iter_mut().for_each(&mut mark),
        }
    }
}
