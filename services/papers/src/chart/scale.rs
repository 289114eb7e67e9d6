//! Where a figure stands on paper.

use plotters::coord::ranged1d::Ranged as _;
use plotters::coord::types::RangedCoordi64;

/// Figures beyond this stand at the edge: a million million in any unit, with thousandths.
/// plotters' round figures overflow where figures are much larger.
const FURTHEST: i64 = 1_000_000_000_000_000;

/// A range of figures laid along a range of paper.
pub(super) struct Scale {
    figures: RangedCoordi64,
    paper: (i32, i32),
}

impl Scale {
    /// From the least to the most of `figures`, each at its end of the `paper`; what is
    /// one figure alone gets room on both sides.
    pub(super) fn of(figures: impl IntoIterator<Item = i64>, paper: (i32, i32)) -> Scale {
        let (least, most) = figures
            .into_iter()
            .map(|figure| figure.clamp(-FURTHEST, FURTHEST))
            .fold((i64::MAX, i64::MIN), |(least, most), figure| {
                (least.min(figure), most.max(figure))
            });
        let (least, most) = match least.cmp(&most) {
            std::cmp::Ordering::Less => (least, most),
            std::cmp::Ordering::Equal => (least.saturating_sub(1), most.saturating_add(1)),
            std::cmp::Ordering::Greater => (0, 1),
        };
        Scale {
            figures: (least..most).into(),
            paper,
        }
    }

    /// Where `figure` stands.
    pub(super) fn at(&self, figure: i64) -> i32 {
        let figure = figure.clamp(-FURTHEST, FURTHEST);
        self.figures.map(&figure, self.paper)
    }

    /// Round figures in the range, at most `most` of them, where that is 3 or more.
    pub(super) fn ticks(&self, most: usize) -> Vec<i64> {
        self.figures.key_points(most)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn every_figure_stands_on_the_paper_in_its_order(
            figures in prop::collection::vec(any::<i64>(), 1..9),
            most in 3_usize..9,
        ) {
            let scale = Scale::of(figures.clone(), (60, 3_340));
            let mut figures = figures;
            figures.sort_unstable();
            let places: Vec<i32> = figures.iter().map(|of| scale.at(*of)).collect();
            prop_assert!(places.is_sorted());
            prop_assert!(places.iter().all(|at| (60..=3_340).contains(at)), "{:?}", places);
            let ticks = scale.ticks(most);
            prop_assert!(ticks.is_sorted() && ticks.len() <= most, "{:?}", ticks);
        }
    }

    #[test]
    fn round_figures_are_ticks() {
        let scale = Scale::of([2_410, 3_144], (0, 1_000));
        assert_eq!(scale.ticks(6), [2_600, 2_800, 3_000]);
        assert_eq!((scale.at(2_410), scale.at(3_144)), (0, 1_000));
    }

    #[test]
    fn one_figure_stands_in_the_middle() {
        assert_eq!(Scale::of([7], (0, 100)).at(7), 50);
        assert_eq!(Scale::of([], (0, 100)).at(1), 100);
    }
}
