//! Where a figure stands on paper.

use plotters::coord::ranged1d::Ranged as _;
use plotters::coord::types::RangedCoordi64;

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
        self.figures.map(&figure, self.paper)
    }

    /// Round figures in the range, at most `most` of them.
    pub(super) fn ticks(&self, most: usize) -> Vec<i64> {
        self.figures.key_points(most)
    }
}
