//! Mean, spread and the likeness of neighbours of a row of figures.
//!
//! Each is worked out about the mean in a second pass: figures that are large beside
//! their spread, as drained weights are, lose nothing.

/// Mean of `values`; `None` of none.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let n = values.len() as f64;
    let first = values.iter().sum::<f64>() / n;
    let missed = values.iter().map(|value| value - first).sum::<f64>() / n;
    Some(first + missed)
}

/// Sample standard deviation (n - 1); `None` of fewer than two.
#[must_use]
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let mean = mean(values)?;
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let drift: f64 = values.iter().map(|value| value - mean).sum();
    Some(libm::sqrt((squares - drift * drift / n) / (n - 1.0)))
}

/// Autocorrelation at lag 1: sum of products of neighbours' differences from the mean
/// over the sum of squares, as NIST StRD defines it. `None` of fewer than two, or where
/// all are alike.
#[must_use]
pub fn lag_1_autocorrelation(values: &[f64]) -> Option<f64> {
    let mean = mean(values)?;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let products: f64 = values
        .windows(2)
        .filter_map(|pair| Some((pair.first()? - mean) * (pair.last()? - mean)))
        .sum();
    (values.len() > 1 && squares > 0.0).then_some(products / squares)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;
    use crate::statistics::published::agrees;

    /// Mean, deviation and autocorrelation agree with the certified ones, to 9 digits.
    fn certified(name: &str, values: &[f64], unit: f64, mean_s_r1: [f64; 3]) {
        let got = [
            mean(values).unwrap() * unit,
            standard_deviation(values).unwrap() * unit,
            lag_1_autocorrelation(values).unwrap(),
        ];
        for (what, (got, published)) in ["mean", "s", "r1"].iter().zip(got.iter().zip(mean_s_r1)) {
            agrees(&format!("{name} {what}"), *got, published, 9.0);
        }
    }

    /// NIST StRD NumAcc2-4: `first`, then 500 times one less and one more, in tenths.
    fn num_acc(first: f64) -> Vec<f64> {
        let mut tenths = vec![first];
        for _ in 0..500 {
            tenths.extend([first - 1.0, first + 1.0]);
        }
        tenths
    }

    // NIST Statistical Reference Datasets (StRD), univariate summary statistics:
    // data and certified values of NumAcc1-4 and Mavro.

    #[test]
    fn num_acc_1_to_4_are_as_nist_certifies_them() {
        certified(
            "NumAcc1",
            &[10_000_001.0, 10_000_003.0, 10_000_002.0],
            1.0,
            [10_000_002.0, 1.0, -0.5],
        );
        // In whole tenths, as the books keep whole units: a binary float holds
        // 10000000.1 only to 2e-9, which alone would cost the ninth digit of s.
        for (name, first, mean) in [
            ("NumAcc2", 12.0, 1.2),
            ("NumAcc3", 10_000_002.0, 1_000_000.2),
            ("NumAcc4", 100_000_002.0, 10_000_000.2),
        ] {
            certified(name, &num_acc(first), 0.1, [mean, 0.1, -0.999]);
        }
    }

    #[test]
    fn mavro_is_as_nist_certifies_it() {
        let last = [
            18, 17, 18, 19, 18, 17, 15, 14, 15, 15, 17, 18, 18, 19, 19, 21, 20, 16, 14, 13, 13, 15,
            15, 16, 15, 14, 13, 14, 15, 14, 15, 16, 15, 16, 19, 20, 20, 21, 22, 23, 24, 25, 27, 26,
            26, 26, 27, 26, 25, 24,
        ];
        // As published, 2.0018 for 18: five digits each.
        let values: Vec<f64> = last.iter().map(|x| f64::from(20_000 + x) / 1e4).collect();
        certified(
            "Mavro",
            &values,
            1.0,
            [2.001_856, 0.000_429_123_454_003_053, 0.937_989_183_438_248],
        );
    }

    #[test]
    fn too_few_values_have_no_spread() {
        assert_eq!(mean(&[]), None);
        assert_eq!(mean(&[3.0]), Some(3.0));
        assert_eq!(standard_deviation(&[3.0]), None);
        assert_eq!(standard_deviation(&[3.0, 3.0]), Some(0.0));
        assert_eq!(lag_1_autocorrelation(&[3.0]), None);
        assert_eq!(lag_1_autocorrelation(&[3.0, 3.0, 3.0]), None);
    }
}
