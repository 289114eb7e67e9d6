//! What is asked about a weighing that can hardly be so.
//!
//! Two questions: whether a fish is this long (or this light or heavy), and
//! whether the unit was mixed up. Neither blocks nor changes anything: the fish
//! is booked as read, and the answer is kept with the ticket. Only counted
//! pieces are judged: an estimate says nothing about the scale.

use super::net::Fish;
use super::refusal::At;
use super::{LotIn, Notice, NoticeKind, Pieces, TicketLot, Weighed};
use crate::fish::Presentation;
use crate::length_weight::{implied_mm, relations};
use crate::office::{Settings, Species};
use crate::weight::{Weight, WeightUnit};

/// Lots looked back on for what is usual.
pub const USUAL_LOTS: usize = 30;

/// Fewer lots than this say nothing about what is usual.
const FEWEST_LOTS: usize = 5;

/// What the last lots of a species and presentation at the site weighed, newest
/// last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Usual {
    /// ASFIS code.
    pub species: String,
    /// Form of the fish.
    pub presentation: Presentation,
    /// At most [`USUAL_LOTS`].
    pub lots: Vec<CountedFish>,
}

/// The counted fish of a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CountedFish {
    /// What they weighed together.
    pub net: Weight,
    /// How many; above zero.
    pub pieces: i64,
}

impl CountedFish {
    /// Mean piece, down to 10 ng: for comparing and showing, never for banding.
    fn mean(self) -> Option<Weight> {
        self.net
            .units()
            .checked_div(self.pieces)
            .map(Weight::from_units)
    }
}

/// The counted fish of a lot that was bought; none where none was counted.
#[must_use]
pub fn counted_fish(written: &LotIn, lot: &TicketLot) -> Option<CountedFish> {
    lot.place?;
    let mut all = CountedFish {
        net: Weight::ZERO,
        pieces: 0,
    };
    for (weighing, net) in written.weighings.iter().zip(&lot.weighed) {
        let pieces = match &weighing.weighed {
            Weighed::Tote {
                pieces: Pieces::Counted(n),
                ..
            } => *n,
            Weighed::Tote { .. } => continue,
            Weighed::Pieces(readings) => i64::try_from(readings.len()).ok()?,
        };
        all.net = [all.net, net.net].into_iter().sum();
        all.pieces = all.pieces.saturating_add(pieces);
    }
    (all.pieces > 0).then_some(all)
}

/// Asks about a tote or a fish whose mean piece is no believable fish.
pub(super) fn this_long(
    at: At,
    fish: &Fish<'_>,
    species: &Species,
    presentation: Presentation,
    settings: &Settings,
) -> Option<Notice> {
    let Pieces::Counted(pieces) = fish.pieces else {
        return None;
    };
    if presentation != Presentation::Whole {
        return None;
    }
    let counted = CountedFish {
        net: fish.net.net,
        pieces,
    };
    let mean = counted.mean()?;
    let (shown, unit) = (mean.shown(fish.unit), fish.unit.symbol());
    let question = |code, text| Some(Notice::of(NoticeKind::Question, code, text));
    if let Some((shortest, longest)) = implied_mm(relations(species), counted.net, pieces) {
        let (least, most) = (settings.shortest_mm(), settings.longest_mm());
        if shortest > most || longest < least {
            return question(
                "fish_this_long",
                format!(
                    "{at}: the mean fish of {shown} {unit} would be {shortest} to {longest} mm \
                     long by every published relation, and a fish of {least} to {most} mm is \
                     believed. Is it this long, or is the count or the reading wrong?"
                ),
            );
        }
    }
    if let Some(least) = species
        .lightest
        .as_ref()
        .filter(|least| mean < least.weight)
    {
        return question(
            "fish_this_light",
            format!(
                "{at}: the mean fish is {shown} {unit}, lighter than the {} {} on file for {}. \
                 Is the count or the reading wrong?",
                least.text,
                least.unit.symbol(),
                species.name,
            ),
        );
    }
    if let Some(most) = species.heaviest.as_ref().filter(|most| {
        // Without the rounding of the mean: exactly the heaviest passes.
        i128::from(counted.net.units())
            > i128::from(most.weight.units()).saturating_mul(i128::from(pieces))
    }) {
        return question(
            "fish_this_heavy",
            format!(
                "{at}: the mean fish is {shown} {unit}, heavier than the {} {} on file for {}. \
                 Is the count or the reading wrong?",
                most.text,
                most.unit.symbol(),
                species.name,
            ),
        );
    }
    None
}

/// Asks whether kilograms were keyed as pounds, or pounds as kilograms: the mean
/// piece of a lot is far from the median of the last lots.
///
/// A kilogram is 2.2 pounds, so a mix-up makes the mean 2.2 times or 0.45 times
/// what it was; the settings' 1.9 and 0.55 leave room for a different catch.
pub(super) fn other_unit(
    lot: usize,
    counted: CountedFish,
    unit: WeightUnit,
    usual: &[CountedFish],
    settings: &Settings,
) -> Option<Notice> {
    if usual.len() < FEWEST_LOTS || counted.pieces < 1 {
        return None;
    }
    let mut means: Vec<Weight> = usual.iter().filter_map(|lot| lot.mean()).collect();
    means.sort();
    let middle = means.len().checked_div(2)?;
    let upper = *means.get(middle)?;
    let lower = match means.len().checked_rem(2)? {
        0 => *means.get(middle.checked_sub(1)?)?,
        _ => upper,
    };
    // Twice the median, so that nothing is rounded.
    let doubled: Weight = [lower, upper].into_iter().sum();
    // net / pieces against percent / 100 x doubled / 2.
    let net = i128::from(counted.net.units()).checked_mul(200)?;
    let median = i128::from(doubled.units()).checked_mul(i128::from(counted.pieces))?;
    let above = net > median.checked_mul(i128::from(settings.mean_most_percent()))?;
    let below = net < median.checked_mul(i128::from(settings.mean_least_percent()))?;
    let mixed_up = match (above, below, unit) {
        (true, _, WeightUnit::Lb | WeightUnit::Oz) => "Is the count right?",
        (true, _, WeightUnit::Kg | WeightUnit::G) => "Were pounds keyed as kilograms?",
        (_, true, WeightUnit::Lb | WeightUnit::Oz) => "Were kilograms keyed as pounds?",
        (_, true, WeightUnit::Kg | WeightUnit::G) => "Is the count right?",
        (false, false, _) => return None,
    };
    let median = Weight::from_units(doubled.units().checked_div(2)?);
    Some(Notice::of(
        NoticeKind::Question,
        "other_unit",
        format!(
            "Lot {}: the mean fish is {} {unit}; the middle of the last {} lots here is {} \
             {unit}. {mixed_up}",
            lot.saturating_add(1),
            counted.mean()?.shown(unit),
            means.len(),
            median.shown(unit),
            unit = unit.symbol(),
        ),
    ))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::super::Net;
    use super::*;
    use crate::weight::{Reading, ReadingSource};

    const LB: WeightUnit = WeightUnit::Lb;

    fn lb(text: &str) -> Weight {
        LB.weigh(text).unwrap()
    }

    fn lionfish() -> Species {
        Species {
            code: "PZO".to_owned(),
            name: "Lionfish".to_owned(),
            scientific_name: "Pterois volitans".to_owned(),
            hazards: Vec::new(),
            lightest: None,
            heaviest: None,
        }
    }

    fn asks(
        species: &Species,
        presentation: Presentation,
        net: &str,
        pieces: Pieces,
        settings: &Settings,
    ) -> Option<String> {
        let fish = Fish {
            net: Net {
                net: lb(net),
                ..Net::default()
            },
            pieces,
            scale: None,
            unit: LB,
            notices: Vec::new(),
        };
        let at = At {
            lot: 0,
            weighing: 0,
        };
        this_long(at, &fish, species, presentation, settings).map(|notice| {
            assert_eq!(notice.kind, NoticeKind::Question);
            notice.code
        })
    }

    #[test]
    fn a_fish_that_no_relation_explains_is_asked_about() {
        use Pieces::{Counted, Estimated, NotCounted};
        let settings = Settings::default();
        let whole = Presentation::Whole;
        let asked = |net, pieces| asks(&lionfish(), whole, net, pieces, &settings);
        // The seven relations put 120 mm at 0.036 to 0.065 lb and 470 mm at 2.50 to
        // 4.59 lb: only beyond all of them is it asked.
        for (net, pieces, code) in [
            ("0.8", Counted(1), None),
            ("40", Counted(50), None),
            ("4.5", Counted(1), None),
            ("4.7", Counted(1), Some("fish_this_long")),
            ("0.04", Counted(1), None),
            ("0.034", Counted(1), Some("fish_this_long")),
            // 50 fish keyed as 5: 8 lb each.
            ("40", Counted(5), Some("fish_this_long")),
            ("40", Estimated(5), None),
            ("40", NotCounted, None),
        ] {
            assert_eq!(asked(net, pieces).as_deref(), code, "{net} {pieces:?}");
        }
        // Only whole fish.
        let gutted = Presentation::Gutted;
        assert_eq!(asks(&lionfish(), gutted, "40", Counted(5), &settings), None);
        let wide = Settings {
            longest_mm: Some(700),
            ..Settings::default()
        };
        assert_eq!(asks(&lionfish(), whole, "40", Counted(5), &wide), None);
    }

    #[test]
    fn a_species_without_a_relation_has_a_lightest_and_a_heaviest_fish() {
        let reading = |text| Some(Reading::new(text, LB, "", ReadingSource::Keyed).unwrap());
        let hogfish = Species {
            code: "LCX".to_owned(),
            name: "Hogfish".to_owned(),
            scientific_name: "Lachnolaimus maximus".to_owned(),
            lightest: reading("1"),
            heaviest: reading("20"),
            ..lionfish()
        };
        let settings = Settings::default();
        for (net, pieces, code) in [
            ("1", 1, None),
            ("0.999", 1, Some("fish_this_light")),
            ("20", 1, None),
            ("20.001", 1, Some("fish_this_heavy")),
            ("60", 3, None),
            ("60.001", 3, Some("fish_this_heavy")),
        ] {
            let whole = Presentation::Whole;
            let pieces = Pieces::Counted(pieces);
            let asked = asks(&hogfish, whole, net, pieces, &settings);
            assert_eq!(asked.as_deref(), code, "{net}");
        }
        let none = Species {
            lightest: None,
            heaviest: None,
            ..hogfish
        };
        let asked = asks(
            &none,
            Presentation::Whole,
            "400",
            Pieces::Counted(1),
            &settings,
        );
        assert_eq!(asked, None);
    }

    fn counted(net: &str, pieces: i64) -> CountedFish {
        CountedFish {
            net: lb(net),
            pieces,
        }
    }

    #[test]
    fn a_mean_far_from_the_middle_of_the_last_lots_asks_for_the_unit() {
        // Means 0.6, 0.7, 0.8, 0.9, 1.0: the middle is 0.8.
        let five: Vec<CountedFish> = ["6", "7", "8", "9", "10"]
            .map(|net| counted(net, 10))
            .into();
        // 0.6 and 1.0 lie beside the middle of an even number: 0.8 again.
        let six: Vec<CountedFish> = ["1", "6", "6", "10", "10", "30"]
            .map(|net| counted(net, 10))
            .into();
        let settings = Settings::default();
        for (net, unit, asks) in [
            ("0.8", LB, None),
            ("1.52", LB, None), // exactly 1.9 times passes
            ("1.521", LB, Some("Is the count right?")),
            ("0.44", LB, None), // and exactly 0.55 times
            ("0.439", LB, Some("Were kilograms keyed as pounds?")),
            (
                "1.764",
                WeightUnit::Kg,
                Some("Were pounds keyed as kilograms?"),
            ),
            ("0.3", WeightUnit::Kg, Some("Is the count right?")),
        ] {
            for usual in [&five, &six] {
                let asked = other_unit(0, counted(net, 1), unit, usual, &settings);
                let text = asked.map(|notice| notice.text);
                match (asks, &text) {
                    (None, None) => {}
                    (Some(end), Some(text)) => {
                        assert!(text.ends_with(end), "{text}");
                        // Both numbers are said.
                        assert!(text.contains(&lb(net).shown(unit)), "{text}");
                        assert!(text.contains(&lb("0.8").shown(unit)), "{text}");
                    }
                    _ => panic!("{net} {unit:?}: {text:?}"),
                }
            }
        }
        assert_eq!(
            other_unit(0, counted("9", 1), LB, &five[..4], &settings),
            None
        );
        let lax = Settings {
            mean_most_percent: Some(1200),
            ..Settings::default()
        };
        assert_eq!(other_unit(0, counted("9", 1), LB, &five, &lax), None);
    }
}
