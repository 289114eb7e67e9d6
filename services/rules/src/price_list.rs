//! What a site pays for a species from a moment on.
//!
//! A price list has half-open bands `[from, to)` for each presentation and
//! grade, contiguous from zero up; one edge is the presentation's plate minimum.
//! The price is the band's for the whole line, never sliding. Finding the band of
//! a fish, a tote or a lot lives here; what a line costs lives in `ticket`.

use crate::fish::{Condition, Grade, Presentation, coded};
use crate::money::{BadPrice, Currency, Money, UnitPrice};
use crate::office::Scale;
use crate::ticket::{Notice, NoticeKind};
use crate::tolerance::AccuracyClass;
use crate::weight::{Weight, WeightUnit};

/// A list is posted at least this long before it holds, microseconds: nobody is
/// at the scale with a price that is changing under them.
pub const NOTICE_US: i64 = 60_000_000;

coded! {
    /// What a band is found by.
    BandBy {
        /// Each fish, or the mean of a graded tote.
        Piece = 1 "piece",
        /// The accepted net of the species, presentation and grade on the ticket.
        Lot = 2 "lot",
    }
}

/// A posted price list. [`PriceList::check`] has passed before one is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceList {
    /// Its site.
    pub site: i64,
    /// ASFIS code.
    pub species: String,
    /// From when it holds, microseconds since 1970 UTC.
    pub effective_from_us: i64,
    /// What a band is found by.
    pub band_by: BandBy,
    /// Money of its prices.
    pub currency: Currency,
    /// Prices are per this unit, pound or kilogram.
    pub price_per: WeightUnit,
    /// Unit the edges were written in.
    pub edge_unit: WeightUnit,
    /// One for each presentation it buys.
    pub presentations: Vec<PresentationPrices>,
    /// Added to the price of a line by condition.
    pub condition_adjustments: Vec<ConditionAdjustment>,
}

/// Prices of one presentation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PresentationPrices {
    /// Form of the fish.
    pub presentation: Presentation,
    /// Below this a fish is undersize; an edge in every grade where bands are
    /// found by piece. Zero where the presentation is not a fish a piece.
    pub plate_minimum: Weight,
    /// One for each grade it buys.
    pub grades: Vec<GradePrices>,
}

/// Prices of one grade.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GradePrices {
    /// The grade.
    pub grade: Grade,
    /// Bands from zero up.
    pub bands: Vec<Band>,
    /// Price of fish that was not counted, if it is bought.
    pub not_counted: Option<UnitPrice>,
}

/// A weight band, `[from, to)`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Band {
    /// Lower edge, in the band.
    pub from: Weight,
    /// Upper edge, not in the band; absent in the last.
    pub to: Option<Weight>,
    /// Price of a line in it.
    pub price: UnitPrice,
    /// What people call it.
    pub name: String,
}

/// Added to the price of a line by condition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConditionAdjustment {
    /// Shot condition.
    pub condition: Condition,
    /// Usually negative.
    pub per_unit: UnitPrice,
}

/// Why a price list cannot be posted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PriceListError {
    /// It buys nothing.
    #[error("the list has no presentation")]
    NoPresentations,
    /// A presentation twice.
    #[error("{} is in the list twice", .0.word())]
    PresentationTwice(Presentation),
    /// A presentation that buys nothing.
    #[error("{} has no grade", .0.word())]
    NoGrades(Presentation),
    /// A grade twice.
    #[error("{} has grade {} twice", .0.word(), .1.as_str())]
    GradeTwice(Presentation, Grade),
    /// No bands.
    #[error("{at} has no bands")]
    NoBands {
        /// Where.
        at: Row,
    },
    /// The lightest fish has no price.
    #[error("{at}: the first band begins at {from}, not at zero")]
    NotFromZero {
        /// Where.
        at: Row,
        /// Where the first band begins.
        from: Edge,
    },
    /// Weights between two bands have no price.
    #[error("{at}: nothing is paid from {to} to {next}")]
    Gap {
        /// Where.
        at: Row,
        /// End of a band.
        to: Edge,
        /// Beginning of the next.
        next: Edge,
    },
    /// Weights in two bands have two prices.
    #[error("{at}: two bands cover {next} to {to}")]
    Overlap {
        /// Where.
        at: Row,
        /// End of a band.
        to: Edge,
        /// Beginning of the next.
        next: Edge,
    },
    /// A band without weights in it.
    #[error("{at}: the band from {from} to {to} is empty")]
    EmptyBand {
        /// Where.
        at: Row,
        /// Its lower edge.
        from: Edge,
        /// Its upper edge.
        to: Edge,
    },
    /// A band without an end before the last.
    #[error("{at}: the band from {from} has no end, and is not the last")]
    EndlessBand {
        /// Where.
        at: Row,
        /// Its lower edge.
        from: Edge,
    },
    /// The heaviest fish has no price.
    #[error("{at}: the last band ends at {to}; it must have no end")]
    LastBandEnds {
        /// Where.
        at: Row,
        /// Its upper edge.
        to: Edge,
    },
    /// A plate minimum of nothing, for fish.
    #[error("{}: the plate minimum must be above zero", .0.word())]
    PlateMinimumZero(Presentation),
    /// A fish at the plate minimum would be in a band with undersize fish.
    #[error("{at}: the plate minimum {plate_minimum} is not an edge")]
    PlateMinimumNotAnEdge {
        /// Where.
        at: Row,
        /// The plate minimum.
        plate_minimum: Edge,
    },
    /// A price below zero.
    #[error("{at}: a price is negative: {price}")]
    NegativePrice {
        /// Where.
        at: Row,
        /// The price.
        price: UnitPrice,
    },
    /// A price in another currency or per another unit than the list's.
    #[error("the price {price} is not in {currency} per {}", .per.symbol())]
    MixedPrice {
        /// The price.
        price: UnitPrice,
        /// The list's currency.
        currency: Currency,
        /// The list's unit.
        per: WeightUnit,
    },
    /// A condition twice.
    #[error("{} has two adjustments", .0.word())]
    ConditionTwice(Condition),
    /// Posted too late for when it is to hold.
    #[error(
        "a list is posted at least 60 s before it holds, and this one would hold {} s after posting",
        .after_us.div_euclid(1_000_000)
    )]
    BackDated {
        /// From posting until it would hold, microseconds; negative is before.
        after_us: i64,
    },
}

impl PriceListError {
    /// Path of the field of the list that it is about, counted from 0; empty
    /// where it is the list as a whole.
    #[must_use]
    pub fn field(&self, list: &PriceList) -> String {
        let presentation = |wanted: Presentation| {
            let found = list.presentations.iter();
            let mut found = found.map(|prices| prices.presentation);
            let n = found.position(|presentation| presentation == wanted);
            format!("presentations[{}]", n.unwrap_or(0))
        };
        let grade_of = |at: &Row| {
            let prices = list.presentation(at.presentation);
            let mut grades = prices.into_iter().flat_map(|prices| &prices.grades);
            let n = grades.position(|prices| prices.grade == at.grade);
            format!(
                "{}.grades[{}]",
                presentation(at.presentation),
                n.unwrap_or(0)
            )
        };
        let band = |at: &Row, is: &dyn Fn(&Band) -> bool, field: &str| {
            let prices = list.presentation(at.presentation);
            let grade = prices.and_then(|prices| prices.grade(&at.grade));
            let n = grade.and_then(|grade| grade.bands.iter().position(is));
            format!("{}.bands[{}].{field}", grade_of(at), n.unwrap_or(0))
        };
        match self {
            PriceListError::NoPresentations => "presentations".to_owned(),
            PriceListError::PresentationTwice(p) => format!("{}.presentation", presentation(*p)),
            PriceListError::NoGrades(p) => format!("{}.grades", presentation(*p)),
            PriceListError::GradeTwice(presentation, grade) => {
                let at = Row {
                    presentation: *presentation,
                    grade: grade.clone(),
                };
                format!("{}.grade", grade_of(&at))
            }
            PriceListError::NoBands { at } => format!("{}.bands", grade_of(at)),
            PriceListError::NotFromZero { at, .. } => band(at, &|_| true, "from"),
            // The second of the two bands is where a reader looks.
            PriceListError::Gap { at, next, .. } | PriceListError::Overlap { at, next, .. } => {
                let last = |band: &Band| band.from == next.weight && !band.from.is_zero();
                band(at, &last, "from")
            }
            PriceListError::EmptyBand { at, from, to } => {
                let empty = |band: &Band| band.from == from.weight && band.to == Some(to.weight);
                band(at, &empty, "to")
            }
            PriceListError::EndlessBand { at, from } => {
                let endless = |band: &Band| band.from == from.weight && band.to.is_none();
                band(at, &endless, "to")
            }
            PriceListError::LastBandEnds { at, to } => {
                band(at, &|band| band.to == Some(to.weight), "to")
            }
            PriceListError::PlateMinimumZero(p) => format!("{}.plate_minimum", presentation(*p)),
            PriceListError::PlateMinimumNotAnEdge { at, .. } => {
                format!("{}.plate_minimum", presentation(at.presentation))
            }
            PriceListError::NegativePrice { at, price } => {
                band(at, &|band| band.price == *price, "price")
            }
            PriceListError::MixedPrice { .. } => "price_per".to_owned(),
            PriceListError::ConditionTwice(_) => "condition_adjustments".to_owned(),
            PriceListError::BackDated { .. } => "effective_from".to_owned(),
        }
    }
}

/// A band as it is explained before the list is posted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BandExplained {
    /// Form of the fish.
    pub presentation: Presentation,
    /// Quality grade.
    pub grade: Grade,
    /// The band; absent is fish that was not counted.
    pub band: Option<Band>,
    /// Price of a line in it.
    pub price: UnitPrice,
    /// Wholly below the plate minimum.
    pub below_plate: bool,
    /// A weight in the band, and what it pays.
    pub example: Weight,
    /// To the cent, once.
    pub pays: Money,
}

/// A row of a price list: presentation and grade.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Form of the fish.
    pub presentation: Presentation,
    /// Quality grade.
    pub grade: Grade,
}

impl std::fmt::Display for Row {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{}, grade {}",
            self.presentation.word(),
            self.grade.as_str()
        )
    }
}

/// A weight in the unit the list was written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// The weight.
    pub weight: Weight,
    /// The unit.
    pub unit: WeightUnit,
}

impl std::fmt::Display for Edge {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.weight.shown(self.unit), self.unit.symbol())
    }
}

impl PriceList {
    /// Every band with a weight in it and what that weight pays, in the list's
    /// order; fish not counted last of its grade. An amount that cannot be
    /// printed is left out.
    #[must_use]
    pub fn explain(&self) -> Vec<BandExplained> {
        let mut rows = Vec::new();
        for prices in &self.presentations {
            for grade in &prices.grades {
                let mut row = |band: Option<&Band>, price: UnitPrice, example: Weight| {
                    let end = band.and_then(|band| band.to);
                    let below_plate = self.band_by == BandBy::Piece
                        && end.is_some_and(|end| end <= prices.plate_minimum);
                    rows.extend(price.amount(example).map(|pays| BandExplained {
                        presentation: prices.presentation,
                        grade: grade.grade.clone(),
                        band: band.cloned(),
                        price,
                        below_plate,
                        example,
                        pays,
                    }));
                };
                for band in &grade.bands {
                    row(Some(band), band.price, self.example(band));
                }
                if let Some(price) = grade.not_counted {
                    row(None, price, self.step(100));
                }
            }
        }
        rows
    }

    /// A weight in the middle of a band, or half as much again as the edge of one
    /// without an end, on a round hundredth where the band has one.
    fn example(&self, band: &Band) -> Weight {
        let from = band.from.units();
        let to = match band.to {
            Some(to) => to.units(),
            None => from.saturating_mul(2).max(self.step(200).units()),
        };
        let middle = from.midpoint(to);
        let step = self.step(1).units();
        let round = middle.saturating_sub(middle.checked_rem(step).unwrap_or(0));
        Weight::from_units(if round < from { from } else { round })
    }

    /// `hundredths` of a pound or kilogram: of the kilogram where edges are
    /// metric.
    fn step(&self, hundredths: i64) -> Weight {
        let hundredth = match self.edge_unit {
            WeightUnit::Lb | WeightUnit::Oz => 453_592_370,
            WeightUnit::Kg | WeightUnit::G => 1_000_000_000,
        };
        Weight::from_units(hundredths.saturating_mul(hundredth))
    }

    /// Whether the list prices every weight of what it buys, once.
    ///
    /// # Errors
    /// [`PriceListError`]: the first thing that is wrong.
    pub fn check(&self) -> Result<(), PriceListError> {
        if self.presentations.is_empty() {
            return Err(PriceListError::NoPresentations);
        }
        for (i, prices) in self.presentations.iter().enumerate() {
            let before = self.presentations.iter().take(i);
            if before
                .into_iter()
                .any(|other| other.presentation == prices.presentation)
            {
                return Err(PriceListError::PresentationTwice(prices.presentation));
            }
            self.check_presentation(prices)?;
        }
        for (i, adjustment) in self.condition_adjustments.iter().enumerate() {
            let mut before = self.condition_adjustments.iter().take(i);
            if before.any(|other| other.condition == adjustment.condition) {
                return Err(PriceListError::ConditionTwice(adjustment.condition));
            }
            self.check_money(adjustment.per_unit)?;
        }
        Ok(())
    }

    fn check_presentation(&self, prices: &PresentationPrices) -> Result<(), PriceListError> {
        let presentation = prices.presentation;
        if prices.grades.is_empty() {
            return Err(PriceListError::NoGrades(presentation));
        }
        if presentation.is_fish() && prices.plate_minimum <= Weight::ZERO {
            return Err(PriceListError::PlateMinimumZero(presentation));
        }
        for (i, grade) in prices.grades.iter().enumerate() {
            if prices
                .grades
                .iter()
                .take(i)
                .any(|other| other.grade == grade.grade)
            {
                return Err(PriceListError::GradeTwice(
                    presentation,
                    grade.grade.clone(),
                ));
            }
            let at = Row {
                presentation,
                grade: grade.grade.clone(),
            };
            self.check_bands(&at, &grade.bands)?;
            for price in grade
                .bands
                .iter()
                .map(|band| band.price)
                .chain(grade.not_counted)
            {
                self.check_money(price)?;
                if price.e4() < 0 {
                    return Err(PriceListError::NegativePrice { at, price });
                }
            }
            // A lot's edges are weights of lots, and a plate minimum is one of a
            // fish: only where a band is found by piece must they meet.
            let plate_minimum = prices.plate_minimum;
            let is_edge = grade.bands.iter().any(|band| band.from == plate_minimum);
            if self.band_by == BandBy::Piece && !is_edge {
                let plate_minimum = Edge {
                    weight: plate_minimum,
                    unit: self.edge_unit,
                };
                return Err(PriceListError::PlateMinimumNotAnEdge { at, plate_minimum });
            }
        }
        Ok(())
    }

    fn check_bands(&self, at: &Row, bands: &[Band]) -> Result<(), PriceListError> {
        let at = at.clone();
        let edge = |weight| Edge {
            weight,
            unit: self.edge_unit,
        };
        let Some((first, last)) = bands.first().zip(bands.last()) else {
            return Err(PriceListError::NoBands { at });
        };
        if !first.from.is_zero() {
            return Err(PriceListError::NotFromZero {
                at,
                from: edge(first.from),
            });
        }
        for (band, next) in bands.iter().zip(bands.iter().skip(1)) {
            let Some(to) = band.to else {
                return Err(PriceListError::EndlessBand {
                    at,
                    from: edge(band.from),
                });
            };
            if to <= band.from {
                return Err(PriceListError::EmptyBand {
                    at,
                    from: edge(band.from),
                    to: edge(to),
                });
            }
            if to < next.from {
                return Err(PriceListError::Gap {
                    at,
                    to: edge(to),
                    next: edge(next.from),
                });
            }
            if to > next.from {
                return Err(PriceListError::Overlap {
                    at,
                    to: edge(to),
                    next: edge(next.from),
                });
            }
        }
        match last.to {
            Some(to) => Err(PriceListError::LastBandEnds { at, to: edge(to) }),
            None => Ok(()),
        }
    }

    fn check_money(&self, price: UnitPrice) -> Result<(), PriceListError> {
        let (currency, per) = (self.currency, self.price_per);
        if price.currency() == currency && price.per() == per {
            Ok(())
        } else {
            Err(PriceListError::MixedPrice {
                price,
                currency,
                per,
            })
        }
    }

    /// The prices of a presentation, if the list buys it.
    #[must_use]
    pub fn presentation(&self, presentation: Presentation) -> Option<&PresentationPrices> {
        self.presentations
            .iter()
            .find(|prices| prices.presentation == presentation)
    }

    /// `price` with the condition's adjustment on it, never below zero.
    ///
    /// # Errors
    /// [`BadPrice::Mixed`] for a price that is not of this list.
    pub fn price_in_condition(
        &self,
        price: UnitPrice,
        condition: Option<Condition>,
    ) -> Result<UnitPrice, BadPrice> {
        let mut adjustments = self.condition_adjustments.iter();
        match adjustments.find(|adjustment| Some(adjustment.condition) == condition) {
            Some(adjustment) => price.adjusted(adjustment.per_unit),
            None => Ok(price),
        }
    }

    /// Warns where the lowest edge is under the least load of the scale that weighs
    /// pieces, by its class: a step of the scale then moves a fish's price too far. A
    /// scale whose class is not known is taken as the dock's, class III.
    ///
    /// Edges of a list by lot are not weights of pieces, and never warn.
    #[must_use]
    pub fn lowest_edge_warning(&self, scale: &Scale) -> Option<Notice> {
        if self.band_by != BandBy::Piece {
            return None;
        }
        let edges = self
            .presentations
            .iter()
            .flat_map(|prices| &prices.grades)
            .flat_map(|grade| &grade.bands)
            .map(|band| band.from);
        let lowest = edges.filter(|&edge| edge > Weight::ZERO).min()?;
        let division = scale.division.weight;
        let class = AccuracyClass::marked(&scale.accuracy_class).unwrap_or(AccuracyClass::III);
        let divisions = class.least_divisions(division);
        let least = Weight::from_units(division.units().checked_mul(divisions)?);
        (lowest < least).then(|| Notice {
            kind: NoticeKind::Warning,
            code: "edge_under_least_load".to_owned(),
            text: format!(
                "The lowest edge {} is under {divisions} divisions of {} of scale {}.",
                Edge {
                    weight: lowest,
                    unit: self.edge_unit
                },
                Edge {
                    weight: division,
                    unit: self.edge_unit
                },
                scale.code,
            ),
            line: 0,
        })
    }
}

impl PresentationPrices {
    /// The prices of a grade, if the list buys it.
    #[must_use]
    pub fn grade(&self, grade: &Grade) -> Option<&GradePrices> {
        self.grades.iter().find(|prices| prices.grade == *grade)
    }
}

impl GradePrices {
    /// Number (from 1) and band of one weight: a fish's, or a lot's. Exactly at
    /// an edge is the upper band.
    #[must_use]
    pub fn band_of_piece(&self, weight: Weight) -> Option<(i64, &Band)> {
        self.band_of_mean(weight, 1)
    }

    /// Number (from 1) and band of the mean of `pieces` fish that weigh `net`
    /// together: net is compared with edge x pieces, so nothing is rounded.
    #[must_use]
    pub fn band_of_mean(&self, net: Weight, pieces: i64) -> Option<(i64, &Band)> {
        (1_i64..)
            .zip(&self.bands)
            .take_while(|(_, band)| !mean_is_below(net, pieces, band.from))
            .last()
    }
}

/// Whether the mean of `pieces` fish that weigh `net` together is below `edge`:
/// net is compared with edge x pieces, so nothing is rounded.
#[must_use]
pub fn mean_is_below(net: Weight, pieces: i64, edge: Weight) -> bool {
    i128::from(net.units()) < i128::from(edge.units()).saturating_mul(i128::from(pieces))
}

/// The version that holds at an instant, of versions of one thing (a price list, a
/// site's settings) told by `when`: from when each holds and the entry that
/// posted it.
///
/// A version holds from its instant until the next one's: `[from, next)`. Of two
/// from one instant the one posted later holds.
#[must_use]
pub fn in_force<T>(versions: &[T], at_us: i64, when: impl Fn(&T) -> (i64, i64)) -> Option<&T> {
    versions
        .iter()
        .filter(|version| when(version).0 <= at_us)
        .max_by_key(|version| when(version))
}

/// Whether a list may be posted at `recorded_us` to hold from `effective_us`.
///
/// None is back-dated: it holds at least 60 s after posting, except before the
/// species' first ticket at the site.
///
/// # Errors
/// [`PriceListError::BackDated`] with the time between.
pub fn may_post(
    effective_us: i64,
    recorded_us: i64,
    species_has_ticket: bool,
) -> Result<(), PriceListError> {
    let after_us = effective_us.saturating_sub(recorded_us);
    if species_has_ticket && after_us < NOTICE_US {
        return Err(PriceListError::BackDated { after_us });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::weight::{Reading, ReadingSource};

    fn lb(text: &str) -> Weight {
        WeightUnit::Lb.weigh(text).unwrap()
    }

    fn edge(text: &str) -> Edge {
        Edge {
            weight: lb(text),
            unit: WeightUnit::Lb,
        }
    }

    fn usd() -> Currency {
        Currency::new("USD").unwrap()
    }

    fn price(text: &str) -> UnitPrice {
        UnitPrice::signed(text, usd(), WeightUnit::Lb).unwrap()
    }

    fn band(from: &str, to: &str, each: &str) -> Band {
        Band {
            from: lb(from),
            to: (!to.is_empty()).then(|| lb(to)),
            price: price(each),
            name: format!("from {from}"),
        }
    }

    fn grade(letter: &str, bands: Vec<Band>) -> GradePrices {
        GradePrices {
            grade: Grade::new(letter).unwrap(),
            bands,
            not_counted: None,
        }
    }

    fn bands() -> Vec<Band> {
        vec![
            band("0", "0.5", "1.25"),
            band("0.5", "0.75", "5.25"),
            band("0.75", "1.25", "6.25"),
            band("1.25", "", "7.00"),
        ]
    }

    fn list() -> PriceList {
        PriceList {
            site: 1,
            species: "PZO".to_owned(),
            effective_from_us: 0,
            band_by: BandBy::Piece,
            currency: usd(),
            price_per: WeightUnit::Lb,
            edge_unit: WeightUnit::Lb,
            presentations: vec![PresentationPrices {
                presentation: Presentation::Whole,
                plate_minimum: lb("0.5"),
                grades: vec![grade("A", bands())],
            }],
            condition_adjustments: vec![ConditionAdjustment {
                condition: Condition::Torn,
                per_unit: price("-2.00"),
            }],
        }
    }

    fn at() -> Row {
        Row {
            presentation: Presentation::Whole,
            grade: Grade::new("A").unwrap(),
        }
    }

    fn check_bands(bands: Vec<Band>) -> Result<(), PriceListError> {
        let mut list = list();
        list.presentations[0].grades[0].bands = bands;
        list.check()
    }

    #[test]
    fn bands_are_contiguous_from_zero_with_the_plate_minimum_an_edge() {
        use PriceListError as E;
        assert_eq!(list().check(), Ok(()));
        for (bands, outcome) in [
            (vec![], Err(E::NoBands { at: at() })),
            (vec![band("0", "0.5", "1"), band("0.5", "", "2")], Ok(())),
            // Bands need not rise, and may pay nothing.
            (
                vec![
                    band("0", "0.5", "2"),
                    band("0.5", "1", "0"),
                    band("1", "", "1"),
                ],
                Ok(()),
            ),
            (
                vec![band("0.1", "0.5", "1"), band("0.5", "", "2")],
                Err(E::NotFromZero {
                    at: at(),
                    from: edge("0.1"),
                }),
            ),
            (
                vec![band("0", "0.49", "1"), band("0.5", "", "2")],
                Err(E::Gap {
                    at: at(),
                    to: edge("0.49"),
                    next: edge("0.5"),
                }),
            ),
            (
                vec![band("0", "0.51", "1"), band("0.5", "", "2")],
                Err(E::Overlap {
                    at: at(),
                    to: edge("0.51"),
                    next: edge("0.5"),
                }),
            ),
            (
                vec![
                    band("0", "0.5", "1"),
                    band("0.5", "0.5", "2"),
                    band("0.5", "", "3"),
                ],
                Err(E::EmptyBand {
                    at: at(),
                    from: edge("0.5"),
                    to: edge("0.5"),
                }),
            ),
            (
                vec![
                    band("0", "0.5", "1"),
                    band("0.5", "0.4", "2"),
                    band("0.4", "", "3"),
                ],
                Err(E::EmptyBand {
                    at: at(),
                    from: edge("0.5"),
                    to: edge("0.4"),
                }),
            ),
            (
                vec![band("0", "", "1"), band("0.5", "", "2")],
                Err(E::EndlessBand {
                    at: at(),
                    from: edge("0"),
                }),
            ),
            (
                vec![band("0", "0.5", "1"), band("0.5", "9", "2")],
                Err(E::LastBandEnds {
                    at: at(),
                    to: edge("9"),
                }),
            ),
            (
                vec![band("0", "0.6", "1"), band("0.6", "", "2")],
                Err(E::PlateMinimumNotAnEdge {
                    at: at(),
                    plate_minimum: edge("0.5"),
                }),
            ),
            (
                vec![band("0", "0.5", "-0.01"), band("0.5", "", "2")],
                Err(E::NegativePrice {
                    at: at(),
                    price: price("-0.01"),
                }),
            ),
        ] {
            assert_eq!(check_bands(bands.clone()), outcome, "{bands:?}");
        }
    }

    #[test]
    fn the_plate_minimum_is_an_edge_in_every_grade() {
        let mut list = list();
        let b = grade("B", vec![band("0", "0.75", "1"), band("0.75", "", "2")]);
        list.presentations[0].grades.push(b);
        let at = Row {
            grade: Grade::new("B").unwrap(),
            ..at()
        };
        let plate_minimum = edge("0.5");
        assert_eq!(
            list.check(),
            Err(PriceListError::PlateMinimumNotAnEdge { at, plate_minimum })
        );
        // Edges of a list by lot are weights of lots.
        list.band_by = BandBy::Lot;
        assert_eq!(list.check(), Ok(()));
    }

    #[test]
    fn a_list_says_each_thing_once_in_one_money() {
        use PriceListError as E;
        let whole = Presentation::Whole;
        let euro = UnitPrice::new("1", Currency::new("EUR").unwrap(), WeightUnit::Lb).unwrap();
        let per_kg = UnitPrice::new("1", usd(), WeightUnit::Kg).unwrap();
        let mixed = |price| E::MixedPrice {
            price,
            currency: usd(),
            per: WeightUnit::Lb,
        };
        type Change = Box<dyn Fn(&mut PriceList)>;
        let cases: [(Change, PriceListError); 10] = [
            (
                Box::new(|list| list.presentations.clear()),
                E::NoPresentations,
            ),
            (
                Box::new(|list| list.presentations.push(list.presentations[0].clone())),
                E::PresentationTwice(whole),
            ),
            (
                Box::new(|list| list.presentations[0].grades.clear()),
                E::NoGrades(whole),
            ),
            (
                Box::new(|list| {
                    let again = list.presentations[0].grades[0].clone();
                    list.presentations[0].grades.push(again);
                }),
                E::GradeTwice(whole, at().grade),
            ),
            (
                Box::new(|list| list.presentations[0].plate_minimum = Weight::ZERO),
                E::PlateMinimumZero(whole),
            ),
            (
                Box::new(|list| {
                    list.presentations[0].grades[0].not_counted = Some(price("-1"));
                }),
                E::NegativePrice {
                    at: at(),
                    price: price("-1"),
                },
            ),
            (
                Box::new(move |list| list.presentations[0].grades[0].bands[1].price = euro),
                mixed(euro),
            ),
            (
                Box::new(move |list| list.presentations[0].grades[0].not_counted = Some(per_kg)),
                mixed(per_kg),
            ),
            (
                Box::new(move |list| list.condition_adjustments[0].per_unit = per_kg),
                mixed(per_kg),
            ),
            (
                Box::new(|list| {
                    list.condition_adjustments
                        .push(list.condition_adjustments[0].clone());
                }),
                E::ConditionTwice(Condition::Torn),
            ),
        ];
        for (change, outcome) in cases {
            let mut list = list();
            change(&mut list);
            assert_eq!(list.check(), Err(outcome));
        }
    }

    #[test]
    fn by_products_need_no_plate_minimum() {
        let mut list = list();
        list.presentations[0].presentation = Presentation::Roe;
        list.presentations[0].plate_minimum = Weight::ZERO;
        assert_eq!(list.check(), Ok(()));
    }

    #[test]
    fn a_refusal_is_said_in_the_unit_the_list_was_written_in() {
        let refused = check_bands(vec![band("0", "0.49", "1"), band("0.5", "", "2")]);
        assert_eq!(
            refused.unwrap_err().to_string(),
            "whole, grade A: nothing is paid from 0.49 lb to 0.50 lb"
        );
    }

    #[test]
    fn a_refusal_names_the_field_that_a_reader_looks_at() {
        let first = "presentations[0].grades[0]";
        for (bands, field) in [
            (vec![], "bands"),
            (
                vec![band("0.1", "0.5", "1"), band("0.5", "", "2")],
                "bands[0].from",
            ),
            (
                vec![band("0", "0.49", "1"), band("0.5", "", "2")],
                "bands[1].from",
            ),
            (
                vec![band("0", "0.51", "1"), band("0.5", "", "2")],
                "bands[1].from",
            ),
            (
                vec![
                    band("0", "0.5", "1"),
                    band("0.5", "0.5", "2"),
                    band("0.5", "", "3"),
                ],
                "bands[1].to",
            ),
            (
                vec![band("0", "", "1"), band("0.5", "", "2")],
                "bands[0].to",
            ),
            (
                vec![band("0", "0.5", "1"), band("0.5", "9", "2")],
                "bands[1].to",
            ),
            (
                vec![band("0", "0.5", "1"), band("0.5", "", "-2")],
                "bands[1].price",
            ),
        ] {
            let mut list = list();
            list.presentations[0].grades[0].bands = bands;
            let refused = list.check().unwrap_err();
            assert_eq!(
                refused.field(&list),
                format!("{first}.{field}"),
                "{refused}"
            );
        }
        let mut list = list();
        list.presentations[0].plate_minimum = lb("0.6");
        let refused = list.check().unwrap_err();
        assert_eq!(refused.field(&list), "presentations[0].plate_minimum");
    }

    #[test]
    fn each_band_is_explained_by_a_weight_in_it() {
        let mut list = list();
        list.presentations[0].grades[0].not_counted = Some(price("3"));
        let rows: Vec<(String, i64, bool)> = list
            .explain()
            .iter()
            .map(|row| {
                (
                    row.example.shown(WeightUnit::Lb),
                    row.pays.minor(),
                    row.below_plate,
                )
            })
            .collect();
        // 0.62 lb at 5.25 is 3.255: half up.
        let expected = [
            ("0.25", 31, true),
            ("0.62", 326, false),
            ("1.00", 625, false),
            ("1.87", 1309, false),
            ("1.00", 300, false),
        ]
        .map(|(weight, minor, below)| (weight.to_owned(), minor, below));
        assert_eq!(rows, expected);
        // An example lies in its band, also where the band has no round weight.
        list.presentations[0].grades[0].bands = vec![
            band("0", "0.501", "1"),
            band("0.501", "0.505", "2"),
            band("0.505", "", "3"),
        ];
        for row in list.explain() {
            let Some(band) = row.band else { continue };
            assert!(row.example >= band.from, "{row:?}", row = band.name);
            assert!(band.to.is_none_or(|to| row.example < to));
        }
    }

    #[test]
    fn exactly_at_an_edge_is_the_upper_band() {
        let grade = grade("A", bands());
        for (weight, number, each) in [
            ("0.001", 1, "1.25"),
            ("0.49", 1, "1.25"),
            ("0.499", 1, "1.25"),
            ("0.50", 2, "5.25"), // the lower edge belongs to the upper band
            ("0.749", 2, "5.25"),
            ("0.75", 3, "6.25"),
            ("1.249", 3, "6.25"),
            ("1.25", 4, "7.00"),
            ("2000", 4, "7.00"),
        ] {
            let (got, band) = grade.band_of_piece(lb(weight)).unwrap();
            assert_eq!((got, band.price), (number, price(each)), "{weight}");
        }
        assert_eq!(grade.band_of_piece(Weight::from_units(-1)), None);
    }

    #[test]
    fn the_mean_of_a_tote_is_not_rounded() {
        let grade = grade("A", bands());
        for (net, pieces, number) in [
            // The rule's own example: edge 0.50 x 66 = 33.00.
            ("33.00", 66, 2),
            ("32.999", 66, 1),
            ("32.05", 66, 1),
            // A mean of 0.49999... that any rounded quotient would lift.
            ("19999.999", 40_000, 1),
            ("20000.000", 40_000, 2),
            ("2.250", 3, 3),
            ("2.249", 3, 2),
            ("1.25", 1, 4),
        ] {
            let (got, _) = grade.band_of_mean(lb(net), pieces).unwrap();
            assert_eq!(got, number, "{pieces} at {net}");
        }
    }

    #[test]
    fn a_list_holds_until_the_next_one() {
        // (from, entry): posted 7, 8 and 9, kept in any order.
        let lists = [(200, 9), (100, 7), (200, 8)];
        let in_force = |lists: &[(i64, i64)], at_us| {
            super::in_force(lists, at_us, |list| *list).map(|(_, entry)| *entry)
        };
        for (at_us, entry) in [
            (99, None),
            (100, Some(7)),
            (199, Some(7)),
            (200, Some(9)),
            (i64::MAX, Some(9)),
        ] {
            assert_eq!(in_force(&lists, at_us), entry, "{at_us}");
        }
        // Posted later to hold earlier: it holds until the other begins.
        let lists = [(200, 7), (100, 8)];
        assert_eq!(in_force(&lists, 150), Some(8));
        assert_eq!(in_force(&lists, 200), Some(7));
        assert_eq!(in_force(&[], 0), None);
    }

    #[test]
    fn no_list_is_back_dated_once_the_species_was_bought() {
        const S: i64 = 1_000_000;
        for (after, has_ticket, posted) in [
            (60 * S, true, true),
            (60 * S - 1, true, false),
            (0, true, false),
            (-S, true, false),
            (59 * S, false, true),
            (-86_400 * S, false, true),
        ] {
            let now = 1_000 * S;
            assert_eq!(
                may_post(now + after, now, has_ticket).is_ok(),
                posted,
                "{after} {has_ticket}"
            );
        }
        assert_eq!(
            may_post(0, 5, true),
            Err(PriceListError::BackDated { after_us: -5 })
        );
    }

    #[test]
    fn a_low_edge_warns_by_the_scale_that_weighs_pieces() {
        let scale = |division: &str| {
            let reading =
                |text: &str| Reading::new(text, WeightUnit::Lb, "", ReadingSource::Keyed).unwrap();
            Scale {
                site: 1,
                code: "piece".to_owned(),
                name: "Piece scale".to_owned(),
                accuracy_class: "III".to_owned(),
                division: reading(division),
                capacity: reading("15"),
                tested_on: None,
                line: String::new(),
            }
        };
        for (division, warns) in [
            ("0.01", false),
            ("0.025", false),
            ("0.026", true),
            ("0.05", true),
        ] {
            let warning = list().lowest_edge_warning(&scale(division));
            assert_eq!(warning.is_some(), warns, "{division}");
        }
        let warning = list().lowest_edge_warning(&scale("0.05")).unwrap();
        assert_eq!(
            warning.text,
            "The lowest edge 0.50 lb is under 20 divisions of 0.05 lb of scale piece."
        );
        // Of another class the scale has another least load; of none, the dock's.
        for (class, division, warns) in [
            ("IIII", "0.05", false),
            ("IIII", "0.06", true),
            ("III L", "0.01", false),
            ("III L", "0.02", true),
            ("", "0.025", false),
            ("", "0.026", true),
        ] {
            let marked = Scale {
                accuracy_class: class.to_owned(),
                ..scale(division)
            };
            let warning = list().lowest_edge_warning(&marked);
            assert_eq!(warning.is_some(), warns, "{class} {division}");
        }
        let by_lot = PriceList {
            band_by: BandBy::Lot,
            ..list()
        };
        assert_eq!(by_lot.lowest_edge_warning(&scale("0.05")), None);
    }
}
