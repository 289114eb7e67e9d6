//! Shrinkage: a figure from few cuts is drawn towards that of the group.
//!
//! Empirical Bayes. Of k groups with figures y and standard errors s, the variance
//! between groups is the moment estimate of DerSimonian and Laird (1986, Controlled
//! Clinical Trials 7, 177-188; cited from memory): with w = 1 / s^2,
//! Q = sum w (y - sum w y / sum w)^2 and
//! tau^2 = max(0, (Q - (k - 1)) / (sum w - sum w^2 / sum w)).
//! A figure keeps the share tau^2 / (tau^2 + s^2) of its distance from the group's.

/// A group's figure and its standard error, in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// Its standard error, above 0.
    pub error: f64,
}

/// Variance between the groups; `None` of fewer than two, or where an error is not
/// above 0.
#[must_use]
pub fn between(groups: &[Estimate]) -> Option<f64> {
    if groups.len() < 2
        || groups
            .iter()
            .any(|group| group.error.is_nan() || group.error <= 0.0)
    {
        return None;
    }
    let weights = || groups.iter().map(|group| 1.0 / (group.error * group.error));
    let sum: f64 = weights().sum();
    let squares: f64 = weights().map(|w| w * w).sum();
    let mean = weights()
        .zip(groups)
        .map(|(w, group)| w * group.value)
        .sum::<f64>()
        / sum;
    let q: f64 = weights()
        .zip(groups)
        .map(|(w, group)| w * (group.value - mean).powi(2))
        .sum();
    let excess = q - (groups.len() as f64 - 1.0);
    Some((excess / (sum - squares / sum)).max(0.0))
}

/// `group` drawn `towards` the figure of all, with `between` the variance between the
/// groups.
#[must_use]
pub fn shrunk(group: Estimate, towards: f64, between: f64) -> f64 {
    let kept = between / (between + group.error * group.error);
    towards + kept * (group.value - towards)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::statistics::published::agrees;

    fn group(value: f64, error: f64) -> Estimate {
        Estimate { value, error }
    }

    #[test]
    fn groups_that_differ_as_chance_has_it_are_drawn_all_the_way() {
        let alike = [group(0.30, 0.02), group(0.31, 0.02), group(0.29, 0.02)];
        assert_eq!(between(&alike), Some(0.0));
        assert_eq!(shrunk(alike[1], 0.30, 0.0), 0.30);
    }

    #[test]
    fn the_variance_between_is_that_worked_out_by_hand() {
        // w = 1 and 1/4: sum 1.25, squares 1.0625, mean (0 + 4/4)/1.25 = 0.8,
        // Q = 0.64 + 0.25 x 10.24 = 3.2, tau^2 = (3.2 - 1) / (1.25 - 0.85) = 5.5.
        let two = [group(0.0, 1.0), group(4.0, 2.0)];
        let tau2 = between(&two).unwrap();
        agrees("tau^2", tau2, 5.5, 12.0);
        // The surer one keeps 5.5 / 6.5 of its distance, the other 5.5 / 9.5.
        agrees("first", shrunk(two[0], 1.0, tau2), 1.0 - 5.5 / 6.5, 12.0);
        agrees(
            "second",
            shrunk(two[1], 1.0, tau2),
            1.0 + 3.0 * 5.5 / 9.5,
            12.0,
        );
    }

    #[test]
    fn one_group_alone_has_none_between() {
        assert_eq!(between(&[group(0.3, 0.1)]), None);
        assert_eq!(between(&[group(0.3, 0.1), group(0.3, 0.0)]), None);
        assert_eq!(between(&[group(0.3, 0.1), group(0.3, f64::NAN)]), None);
    }
}
