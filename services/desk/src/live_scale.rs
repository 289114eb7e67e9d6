//! Scales that are heard as they weigh.
//!
//! Whoever runs the program says which scales those are and where their lines come from;
//! no setting of the book opens anything. The last reading of each is kept for as long as
//! it is worth showing, and the stable ones of the last minutes, so that a weigh-in that
//! says "captured" is believed only where a scale here said so. This is no part of the
//! book: another instance has heard nothing, and there the same figure is a keyed one.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use rules::weight::WeightUnit;

use crate::scale_line::{LineRead, ScaleLine};
use crate::{Caller, Desk, DeskError};

/// Longest that a reading is shown after it came.
pub const SHOWN: Duration = Duration::from_secs(3);
/// Longest that a stable reading is remembered: a lot of many totes takes its time.
pub const REMEMBERED: Duration = Duration::from_secs(20 * 60);
/// Most stable readings of a scale that are remembered.
const MOST: usize = 256;

/// A scale, by site and code.
type Code = (i64, String);

/// What was heard of each scale.
#[derive(Debug, Clone, Default)]
pub(crate) struct Heard(Arc<Mutex<BTreeMap<Code, Scale>>>);

#[derive(Debug, Default)]
struct Scale {
    /// As compiled, with what from.
    line: Option<(String, WeightUnit, Option<ScaleLine>)>,
    last: Option<(LineRead, Instant)>,
    /// Oldest first, each change once, with when it was last said.
    stable: VecDeque<(String, WeightUnit, Instant)>,
}

impl Scale {
    fn hear(&mut self, read: LineRead, at: Instant) {
        if read.is_stable {
            match self.stable.back_mut() {
                Some((text, unit, last)) if *text == read.text && *unit == read.unit => *last = at,
                _ => {
                    let said = (read.text.clone(), read.unit, at);
                    self.stable.push_back(said);
                }
            }
            if self.stable.len() > MOST {
                self.stable.pop_front();
            }
        }
        self.last = Some((read, at));
    }

    fn shown(&self, now: Instant) -> Option<LineRead> {
        let (read, at) = self.last.as_ref()?;
        (now.saturating_duration_since(*at) <= SHOWN).then(|| read.clone())
    }

    fn said(&self, text: &str, unit: WeightUnit, now: Instant) -> bool {
        self.stable.iter().any(|(said, of, at)| {
            said == text && *of == unit && now.saturating_duration_since(*at) <= REMEMBERED
        })
    }
}

impl Desk {
    /// That lines of a scale will be heard.
    pub fn listens_to(&self, site: i64, code: &str) {
        self.heard(site, code, |_| ());
    }

    /// Hears a line of a scale, and says whether it could be read: by the expression the
    /// office has set for that scale now.
    pub fn hear(&self, site: i64, code: &str, line: &str, at: Instant) -> bool {
        let office = self.office();
        let on_file = office.scales.get(&(site, code.to_owned()));
        let (expression, unit) = on_file.map_or((String::new(), WeightUnit::Lb), |scale| {
            (scale.line.clone(), scale.division.unit)
        });
        self.heard(site, code, |scale| {
            let known = scale.line.as_ref();
            if known.is_none_or(|(from, of, _)| *from != expression || *of != unit) {
                let compiled = match expression.as_str() {
                    "" => None,
                    text => ScaleLine::new(text, unit).ok(),
                };
                *scale = Scale {
                    line: Some((expression, unit, compiled)),
                    ..Scale::default()
                };
            }
            let (_, _, compiled) = scale.line.as_ref()?;
            let read = compiled.as_ref()?.read(line)?;
            scale.hear(read, at);
            Some(())
        })
        .is_some()
    }

    /// Codes of a site's scales that are heard here.
    #[must_use]
    pub fn live_scales(&self, site: i64) -> Vec<String> {
        let office = self.office();
        let has_line = |code: &Code| {
            let scale = office.scales.get(code);
            scale.is_some_and(|scale| !scale.line.is_empty())
        };
        let all = self.live.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.keys()
            .filter(|code| code.0 == site && has_line(code))
            .map(|(_, code)| code.clone())
            .collect()
    }

    /// What a scale shows now; nothing where it has said nothing just now.
    ///
    /// # Errors
    /// [`DeskError::Denied`] to who may not weigh in there.
    pub fn scale_shows(
        &self,
        caller: &Caller,
        site: i64,
        code: &str,
        now: Instant,
    ) -> Result<Option<LineRead>, DeskError> {
        self.may_at(caller, "weigh_in", site)?;
        Ok(self.known(site, code, |scale| scale.shown(now)).flatten())
    }

    /// Whether a scale said exactly this, at rest, in the last minutes.
    #[must_use]
    pub fn scale_said(
        &self,
        site: i64,
        code: &str,
        text: &str,
        unit: WeightUnit,
        now: Instant,
    ) -> bool {
        self.known(site, code, |scale| scale.said(text, unit, now)) == Some(true)
    }

    fn heard<T>(&self, site: i64, code: &str, with: impl FnOnce(&mut Scale) -> T) -> T {
        let mut all = self.live.0.lock().unwrap_or_else(PoisonError::into_inner);
        with(all.entry((site, code.to_owned())).or_default())
    }

    fn known<T>(&self, site: i64, code: &str, with: impl FnOnce(&Scale) -> T) -> Option<T> {
        let all = self.live.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.get(&(site, code.to_owned())).map(with)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, is_stable: bool) -> LineRead {
        LineRead {
            text: text.to_owned(),
            unit: WeightUnit::Lb,
            is_stable,
        }
    }

    #[test]
    fn what_a_scale_says_is_shown_for_a_moment_and_its_stable_words_are_kept_for_minutes() {
        let start = Instant::now();
        let mut scale = Scale::default();
        assert_eq!(scale.shown(start), None);
        scale.hear(read("12.30", false), start);
        scale.hear(read("12.35", true), start);
        let shown = |scale: &Scale, after| scale.shown(start + after).map(|read| read.text);
        assert_eq!(shown(&scale, SHOWN).as_deref(), Some("12.35"));
        assert_eq!(shown(&scale, SHOWN + Duration::from_millis(1)), None);

        let said = |scale: &Scale, text, unit, after| scale.said(text, unit, start + after);
        let lb = WeightUnit::Lb;
        assert!(said(&scale, "12.35", lb, REMEMBERED));
        assert!(!said(
            &scale,
            "12.35",
            lb,
            REMEMBERED + Duration::from_millis(1)
        ));
        assert!(!said(&scale, "12.30", lb, Duration::ZERO), "it moved");
        assert!(!said(&scale, "12.350", lb, Duration::ZERO), "not its words");
        assert!(!said(&scale, "12.35", WeightUnit::Kg, Duration::ZERO));

        // The same weight said on and on is one, and the oldest go first.
        for _ in 0..1_000 {
            scale.hear(read("12.35", true), start);
        }
        assert_eq!(scale.stable.len(), 1);
        for n in 0..MOST {
            scale.hear(read(&format!("{n}"), true), start);
        }
        assert_eq!(scale.stable.len(), MOST);
        assert!(!said(&scale, "12.35", lb, Duration::ZERO));
        assert!(said(&scale, "0", lb, Duration::ZERO));
    }
}
