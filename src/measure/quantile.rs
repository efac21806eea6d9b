//! Sample quantiles: the nine types of Hyndman & Fan.

use super::sample::sorted_finite;

/// The nine sample quantile definitions of Hyndman RJ, Fan Y (1996) "Sample
/// quantiles in statistical packages", Am Stat 50:361–365.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum QuantileType {
    /// Type 1: inverse of the empirical distribution function.
    InvertedCdf,
    /// Type 2: as type 1, averaged at the steps.
    AveragedInvertedCdf,
    /// Type 3: the observation nearest to n·p, even rank at a tie.
    ClosestObservation,
    /// Type 4: linear interpolation of the empirical distribution function.
    InterpolatedInvertedCdf,
    /// Type 5: p(k) = (k − ½)/n (Hazen).
    Hazen,
    /// Type 6: p(k) = k/(n + 1) (Weibull), as in the NIST handbook.
    Weibull,
    /// Type 7: p(k) = (k − 1)/(n − 1), the default of many programs.
    Linear,
    /// Type 8: p(k) = (k − ⅓)/(n + ⅓): approximately median-unbiased whatever
    /// the distribution; recommended by the authors and this program's default.
    #[default]
    MedianUnbiased,
    /// Type 9: p(k) = (k − ⅜)/(n + ¼): approximately unbiased for the normal.
    NormalUnbiased,
}

/// All nine types, type 1 first.
pub const ALL_TYPES: [QuantileType; 9] = [
    QuantileType::InvertedCdf,
    QuantileType::AveragedInvertedCdf,
    QuantileType::ClosestObservation,
    QuantileType::InterpolatedInvertedCdf,
    QuantileType::Hazen,
    QuantileType::Weibull,
    QuantileType::Linear,
    QuantileType::MedianUnbiased,
    QuantileType::NormalUnbiased,
];

/// The p-quantile of values in any order, in their own unit.
///
/// p from 0 to 1. `None` when no value is finite or p is outside 0..=1.
/// Beyond the first or last plotting position the extreme value is given.
/// O(n log n). Source: Hyndman & Fan 1996.
pub fn quantile(values: &[f64], p: f64, kind: QuantileType) -> Option<f64> {
    quantile_of_sorted(&sorted_finite(values), p, kind)
}

/// As [`quantile`], for values already finite and in ascending order. O(1).
pub fn quantile_of_sorted(sorted: &[f64], p: f64, kind: QuantileType) -> Option<f64> {
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let n = sorted.len() as f64;
    // x(j) + γ·(x(j+1) − x(j)), ranks from 1, held inside the sample.
    let at = |j: f64| sorted[(j.clamp(1.0, n) as usize) - 1];
    let (alpha, beta) = match kind {
        QuantileType::InvertedCdf => return Some(at((n * p - FUZZ).ceil())),
        QuantileType::AveragedInvertedCdf => {
            let j = (n * p + FUZZ).floor();
            let on_step = (n * p - j).abs() <= FUZZ;
            return Some(if on_step {
                midpoint(at(j), at(j + 1.0))
            } else {
                at(j + 1.0)
            });
        }
        QuantileType::ClosestObservation => {
            let position = n * p - 0.5;
            let j = (position + FUZZ).floor();
            let stays = (position - j).abs() <= FUZZ && j % 2.0 == 0.0;
            return Some(at(if stays { j } else { j + 1.0 }));
        }
        QuantileType::InterpolatedInvertedCdf => (0.0, 1.0),
        QuantileType::Hazen => (0.5, 0.5),
        QuantileType::Weibull => (0.0, 0.0),
        QuantileType::Linear => (1.0, 1.0),
        QuantileType::MedianUnbiased => (1.0 / 3.0, 1.0 / 3.0),
        QuantileType::NormalUnbiased => (0.375, 0.375),
    };
    let position = alpha + p * (n + 1.0 - alpha - beta);
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

/// Ranks closer to a whole number than this are that whole number: n·p such as
/// 10 × 0.3 is not exact in binary (the guard of R's `quantile`, 4 ε, widened
/// for the sums above).
const FUZZ: f64 = 1e-9;

fn midpoint(a: f64, b: f64) -> f64 {
    0.5 * a + 0.5 * b
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};
    use proptest::prelude::*;

    const NIST: [f64; 12] = [
        95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925,
        95.1990, 95.1682,
    ];

    /// Source: NIST/SEMATECH e-Handbook 7.2.6.2 (percentiles).
    #[test]
    fn nist_handbook_percentiles_are_type_6() {
        let six = |p| quantile(&NIST, p, QuantileType::Weibull).unwrap();
        assert_close(six(0.9), 95.1981, 5e-5);
        assert_close(six(0.5), 95.1579, 5e-5);
        assert_close(six(0.0), 95.0610, 0.0);
        assert_close(six(1.0), 95.1990, 0.0);
        assert_close(
            quantile(&NIST, 0.9, QuantileType::Linear).unwrap(),
            95.19568,
            5e-6,
        );
    }

    /// Source: the definitions of Hyndman & Fan 1996 on the NIST data and on
    /// 1..10, computed with numpy; type 3 checked by hand.
    #[test]
    fn all_nine_types() {
        let ps = [0.10, 0.25, 0.50, 0.75, 0.90];
        let nist = [
            [95.0925, 95.1065, 95.1567, 95.1772, 95.1959],
            [95.0925, 95.113, 95.1579, 95.18545, 95.1959],
            [95.061, 95.1065, 95.1567, 95.1772, 95.1959],
            [95.0673, 95.1065, 95.1567, 95.1772, 95.19546],
            [95.08305, 95.113, 95.1579, 95.18545, 95.19683],
            [95.07045, 95.10975, 95.1579, 95.189575, 95.19807],
            [95.0939, 95.11625, 95.1579, 95.181325, 95.19568],
            [95.07885, 95.111917, 95.1579, 95.186825, 95.197243],
            [95.0799, 95.112188, 95.1579, 95.186481, 95.19714],
        ];
        let one_to_ten = [
            [1.0, 3.0, 5.0, 8.0, 9.0],
            [1.5, 3.0, 5.5, 8.0, 9.5],
            [1.0, 2.0, 5.0, 8.0, 9.0],
            [1.0, 2.5, 5.0, 7.5, 9.0],
            [1.5, 3.0, 5.5, 8.0, 9.5],
            [1.1, 2.75, 5.5, 8.25, 9.9],
            [1.9, 3.25, 5.5, 7.75, 9.1],
            [1.366667, 2.916667, 5.5, 8.083333, 9.633333],
            [1.4, 2.9375, 5.5, 8.0625, 9.6],
        ];
        let ten: Vec<f64> = (1..=10).map(f64::from).collect();
        for (row, kind) in ALL_TYPES.into_iter().enumerate() {
            for (column, p) in ps.into_iter().enumerate() {
                let got = quantile(&NIST, p, kind).unwrap();
                assert_close(got, nist[row][column], 5.1e-7);
                let got = quantile(&ten, p, kind).unwrap();
                assert_close(got, one_to_ten[row][column], 5.1e-7);
            }
        }
    }

    /// Source: numpy.quantile, methods by name (tests/reference/measure.py).
    #[test]
    fn random_cases_agree_with_numpy() {
        for case in reference()["quantiles"].as_array().unwrap() {
            let values = numbers(&case["values"]);
            let p = case["p"].as_f64().unwrap();
            for (kind, want) in ALL_TYPES.into_iter().zip(numbers(&case["types"])) {
                assert_close(quantile(&values, p, kind).unwrap(), want, 1e-9);
            }
        }
    }

    #[test]
    fn type_8_is_the_default() {
        assert_eq!(QuantileType::default(), QuantileType::MedianUnbiased);
    }

    #[test]
    fn undefined_is_none_and_non_finite_is_left_out() {
        for kind in ALL_TYPES {
            assert_eq!(quantile(&[], 0.5, kind), None);
            assert_eq!(quantile(&[f64::NAN, f64::INFINITY], 0.5, kind), None);
            assert_eq!(quantile(&[1.0], -0.1, kind), None);
            assert_eq!(quantile(&[1.0], 1.1, kind), None);
            assert_eq!(quantile(&[1.0], f64::NAN, kind), None);
            assert_eq!(quantile(&[f64::NAN, 7.0], 0.3, kind), Some(7.0));
        }
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
            for kind in ALL_TYPES {
                let at_p = quantile(&values, p, kind).unwrap();
                let at_q = quantile(&values, q, kind).unwrap();
                prop_assert!((low..=high).contains(&at_p));
                prop_assert!((p <= q) == (at_p <= at_q) || (at_p - at_q).abs() < 1e-3);
            }
        }
    }
}
