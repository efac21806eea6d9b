//! Sample quantiles by two of the nine definitions of Hyndman RJ, Fan Y (1996) "Sample
//! quantiles in statistical packages", Am Stat 50:361–365.

use super::sample::sorted_finite;

/// Ranks closer to a whole number than this are that whole number: n·p such as
/// 10 × 0.3 is not exact in binary (the guard of R's `quantile`, 4 ε, widened
/// for the sums).
const FUZZ: f64 = 1e-9;

/// The p-quantile of values in any order, in their own unit: type 8,
/// p(k) = (k − ⅓)/(n + ⅓), approximately median-unbiased whatever the distribution
/// and recommended by the authors.
///
/// p from 0 to 1. `None` when no value is finite or p is outside 0..=1. Beyond the
/// first or last plotting position: the extreme value. O(n log n).
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    quantile_of_sorted(&sorted_finite(values), p)
}

/// As [`quantile`], for finite values in ascending order. O(1).
pub fn quantile_of_sorted(sorted: &[f64], p: f64) -> Option<f64> {
    interpolated(sorted, p, 1.0 / 3.0)
}

/// Type 5 (Hazen), p(k) = (k − ½)/n, for finite values in ascending order. O(1).
pub(super) fn hazen_of_sorted(sorted: &[f64], p: f64) -> Option<f64> {
    interpolated(sorted, p, 0.5)
}

/// The quantile whose plotting positions are p(k) = (k − a)/(n + 1 − 2a).
fn interpolated(sorted: &[f64], p: f64, a: f64) -> Option<f64> {
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let n = sorted.len() as f64;
    // x(j) + γ·(x(j+1) − x(j)), ranks from 1, held inside the sample.
    let at = |j: f64| sorted[(j.clamp(1.0, n) as usize) - 1];
    let position = a + p * (n + 1.0 - a - a);
    let j = (position + FUZZ).floor();
    let gamma = if (position - j).abs() <= FUZZ {
        0.0
    } else {
        position - j
    };
    let (lower, upper) = (at(j), at(j + 1.0));
    Some(if lower == upper {
        lower
    } else {
        lower * (1.0 - gamma) + upper * gamma
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};
    use proptest::prelude::*;

    fn hazen(values: &[f64], p: f64) -> Option<f64> {
        hazen_of_sorted(&sorted_finite(values), p)
    }

    const NIST: [f64; 12] = [
        95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925,
        95.1990, 95.1682,
    ];

    /// Source: the definitions of Hyndman & Fan 1996 on the data of the NIST/SEMATECH
    /// e-Handbook 7.2.6.2 and on 1..10, computed with numpy.
    #[test]
    fn types_5_and_8_of_known_samples() {
        let ps = [0.10, 0.25, 0.50, 0.75, 0.90];
        let nist = [
            [95.08305, 95.113, 95.1579, 95.18545, 95.19683],
            [95.07885, 95.111917, 95.1579, 95.186825, 95.197243],
        ];
        let one_to_ten = [
            [1.5, 3.0, 5.5, 8.0, 9.5],
            [1.366667, 2.916667, 5.5, 8.083333, 9.633333],
        ];
        let ten: Vec<f64> = (1..=10).map(f64::from).collect();
        for (column, p) in ps.into_iter().enumerate() {
            for (row, of) in [hazen, quantile].into_iter().enumerate() {
                assert_close(of(&NIST, p).unwrap(), nist[row][column], 5.1e-7);
                assert_close(of(&ten, p).unwrap(), one_to_ten[row][column], 5.1e-7);
            }
        }
    }

    /// Source: numpy.quantile, methods "hazen" and "median_unbiased"
    /// (tests/reference/measure.py, which has all nine in order).
    #[test]
    fn random_cases_agree_with_numpy() {
        for case in reference()["quantiles"].as_array().unwrap() {
            let values = numbers(&case["values"]);
            let p = case["p"].as_f64().unwrap();
            let types = numbers(&case["types"]);
            assert_close(hazen(&values, p).unwrap(), types[4], 1e-9);
            assert_close(quantile(&values, p).unwrap(), types[7], 1e-9);
        }
    }

    #[test]
    fn undefined_is_none_and_non_finite_is_left_out() {
        assert_eq!(quantile(&[], 0.5), None);
        assert_eq!(quantile(&[f64::NAN, f64::INFINITY], 0.5), None);
        for p in [-0.1, 1.1, f64::NAN] {
            assert_eq!(quantile(&[1.0], p), None);
        }
        assert_eq!(quantile(&[f64::NAN, 7.0], 0.3), Some(7.0));
    }

    proptest! {
        #[test]
        fn inside_the_sample_and_rising_with_p(
            values in prop::collection::vec(-1e6..1e6f64, 1..40),
            p in 0.0..=1.0f64,
            q in 0.0..=1.0f64,
        ) {
            let low = values.iter().copied().fold(f64::INFINITY, f64::min);
            let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            for of in [hazen, quantile] {
                let at_p = of(&values, p).unwrap();
                let at_q = of(&values, q).unwrap();
                prop_assert!((low..=high).contains(&at_p));
                prop_assert!((p <= q) == (at_p <= at_q) || (at_p - at_q).abs() < 1e-3);
            }
        }
    }
}
