//! False-discovery control: of many suppliers looked at, some look bad by chance.
//!
//! The step-up procedure of Benjamini and Hochberg (1995, Journal of the Royal
//! Statistical Society B 57, 289-300; cited from memory): with m probabilities in
//! rising order, all up to the largest i with p(i) <= q i / m are rejected.

/// Which of the hypotheses with probabilities `p` are rejected at level `q`, in the
/// order given. One that is no number is not rejected, and counts among them.
#[must_use]
pub fn rejected(p: &[f64], q: f64) -> Vec<bool> {
    let mut rising: Vec<f64> = p.to_vec();
    rising.sort_by(f64::total_cmp);
    let m = p.len() as f64;
    let threshold = rising
        .iter()
        .enumerate()
        .filter(|(i, p)| **p <= q * (*i as f64 + 1.0) / m)
        .map(|(_, p)| *p)
        .next_back();
    p.iter()
        .map(|p| threshold.is_some_and(|threshold| *p <= threshold))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fifteen_probabilities_give_the_four_of_the_paper() {
        // Benjamini and Hochberg 1995, section 4.1 (fifteen hypotheses of a trial on
        // thrombolysis): four are rejected at 0.05. From memory.
        let p = [
            0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
            0.5719, 0.6528, 0.7590, 1.0000,
        ];
        let got = rejected(&p, 0.05);
        let expected: Vec<bool> = (0..15).map(|i| i < 4).collect();
        assert_eq!(got, expected);
    }

    #[test]
    fn a_larger_one_carries_the_smaller_with_it_whatever_their_order() {
        // Step-up: 0.06 alone fails 0.1 x 1 / 3, and 0.09 passes 0.1 x 3 / 3.
        assert_eq!(rejected(&[0.09, 0.06, 0.07], 0.1), [true, true, true]);
        assert_eq!(rejected(&[0.2, 0.03, 0.9], 0.1), [false, true, false]);
        assert_eq!(rejected(&[0.2, 0.04, 0.9], 0.1), [false, false, false]);
        assert_eq!(rejected(&[f64::NAN, 0.03, 0.9], 0.1), [false, true, false]);
        assert!(rejected(&[], 0.1).is_empty());
    }
}
