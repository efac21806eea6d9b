//! The Mann–Whitney (Wilcoxon rank-sum) test.

use serde::{Deserialize, Serialize};

use crate::measure::distributions::normal_cdf;
use crate::measure::sample::{sorted_finite, tie_lengths};

/// Both samples below this size and no ties: the p-value is exact (as in R).
const EXACT_BELOW: usize = 50;

/// The outcome of a Mann–Whitney test of x against y.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MannWhitney {
    /// How many x values were used.
    pub n_x: usize,
    /// How many y values were used.
    pub n_y: usize,
    /// U of x: pairs with x above y, ties a half.
    pub u: f64,
    /// P(X > Y) + ½·P(X = Y), 0 to 1: ½ when neither tends to be larger.
    pub probability_x_above_y: f64,
    /// Two-sided p-value, 0 to 1.
    pub p_two_sided: f64,
    /// One-sided p-value for x tending to be larger, 0 to 1.
    pub p_x_larger: f64,
    /// Whether p is exact (both samples under 50, no ties) or from the normal
    /// with tie and continuity correction.
    pub exact: bool,
}

/// Tests whether x tends to be larger or smaller than y, in a common unit.
///
/// Values that are not finite are left out; `None` when a sample is empty.
/// O(n log n), exact up to 3 million steps. Sources: Mann HB, Whitney DR
/// (1947) Ann Math Stat 18:50–60; Hollander M, Wolfe DA (1973) Nonparametric
/// Statistical Methods, ch. 4.
pub fn mann_whitney(x: &[f64], y: &[f64]) -> Option<MannWhitney> {
    let (x, y) = (sorted_finite(x), sorted_finite(y));
    let (n_x, n_y) = (x.len(), y.len());
    if n_x == 0 || n_y == 0 {
        return None;
    }
    let twice_u: usize = x
        .iter()
        .map(|v| y.partition_point(|w| w < v) + y.partition_point(|w| w <= v))
        .sum();
    let u = twice_u as f64 / 2.0;
    let pairs = n_x as f64 * n_y as f64;
    let mut both = [x, y].concat();
    both.sort_unstable_by(f64::total_cmp);
    let ties = tie_lengths(&both);
    let exact = ties.is_empty() && n_x < EXACT_BELOW && n_y < EXACT_BELOW;
    let (p_two_sided, p_x_larger) = if exact {
        let chances = u_distribution(n_x, n_y);
        let u = twice_u / 2;
        let at_least: f64 = chances[u..].iter().sum();
        let at_most: f64 = chances[..=u].iter().sum();
        ((2.0 * at_least.min(at_most)).min(1.0), at_least.min(1.0))
    } else {
        let n = (n_x + n_y) as f64;
        let tied: f64 = ties.iter().map(|t| (*t as f64).powi(3) - *t as f64).sum();
        let sd = (pairs / 12.0 * (n + 1.0 - tied / (n * (n - 1.0))))
            .max(0.0)
            .sqrt();
        let off = u - pairs / 2.0;
        if sd > 0.0 {
            let two = 2.0 * normal_cdf(-((off.abs() - 0.5) / sd));
            (two.min(1.0), normal_cdf(-(off - 0.5) / sd))
        } else {
            (1.0, 1.0) // All values are the same: nothing speaks for a difference.
        }
    };
    Some(MannWhitney {
        n_x,
        n_y,
        u,
        probability_x_above_y: u / pairs,
        p_two_sided,
        p_x_larger,
        exact,
    })
}

/// P(U = u) for u from 0 to m·n with no difference and no ties, by the
/// recurrence of Mann & Whitney 1947 (the largest value is an x or a y).
/// O(m²n²) steps, O(mn²) memory.
pub(super) fn u_distribution(m: usize, n: usize) -> Vec<f64> {
    // rows[j] is the distribution for i x-values and j y-values.
    let mut rows: Vec<Vec<f64>> = (0..=n).map(|_| vec![1.0]).collect();
    for i in 1..=m {
        let mut next: Vec<Vec<f64>> = Vec::with_capacity(n + 1);
        next.push(vec![1.0]);
        for j in 1..=n {
            let x_is_largest = i as f64 / (i + j) as f64;
            let mut chances = vec![0.0; i * j + 1];
            for (u, p) in rows[j].iter().enumerate() {
                chances[u + j] += x_is_largest * p;
            }
            for (u, p) in next[j - 1].iter().enumerate() {
                chances[u] += (1.0 - x_is_largest) * p;
            }
            next.push(chances);
        }
        rows = next;
    }
    rows.swap_remove(n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};
    use proptest::prelude::*;

    pub(crate) const X: [f64; 10] = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46];
    pub(crate) const Y: [f64; 5] = [1.15, 0.88, 0.90, 0.74, 1.21];

    /// Source: Hollander & Wolfe 1973, p. 69 (permeability of membranes), as
    /// in the help of R's `wilcox.test`.
    #[test]
    fn hollander_and_wolfe() {
        let got = mann_whitney(&X, &Y).unwrap();
        assert_eq!((got.u, got.exact), (35.0, true));
        assert_close(got.probability_x_above_y, 0.70, 1e-12);
        assert_close(got.p_x_larger, 0.127206127, 5e-10);
        assert_close(got.p_two_sided, 0.254412254, 5e-10);
    }

    /// Source: the same data by the normal approximation, with and without
    /// continuity correction. So small a sample takes the exact way, so the
    /// formula is met here and the normal way itself in the scipy cases below.
    #[test]
    fn normal_approximation_with_continuity() {
        // No ties: sd² = 50/12·16; (35 − 25 − ½)/sd.
        let sd = (50.0 / 12.0 * 16.0f64).sqrt();
        assert_close(normal_cdf(-9.5 / sd), 0.122311803, 5e-10);
        assert_close(2.0 * normal_cdf(-9.5 / sd), 0.244623605, 1e-9);
        assert_close(normal_cdf(-10.0 / sd), 0.110335681, 5e-10);
        assert_close(2.0 * normal_cdf(-10.0 / sd), 0.220671362, 1e-9);
    }

    /// Source: scipy.stats.mannwhitneyu, exact and asymptotic with ties.
    #[test]
    fn agrees_with_scipy() {
        for case in reference()["compare"]["mann_whitney"].as_array().unwrap() {
            let got = mann_whitney(&numbers(&case["x"]), &numbers(&case["y"])).unwrap();
            assert_eq!(got.exact, case["exact"].as_bool().unwrap());
            assert_close(got.u, case["u"].as_f64().unwrap(), 1e-9);
            assert_close(got.p_two_sided, case["p"].as_f64().unwrap(), 1e-9);
            assert_close(got.p_x_larger, case["p_greater"].as_f64().unwrap(), 1e-9);
        }
    }

    #[test]
    fn edges() {
        assert_eq!(mann_whitney(&[], &[1.0]), None);
        assert_eq!(mann_whitney(&[1.0], &[f64::NAN]), None);
        let same = mann_whitney(&[2.0; 5], &[2.0; 4]).unwrap();
        assert_eq!((same.p_two_sided, same.probability_x_above_y), (1.0, 0.5));
        let one = mann_whitney(&[2.0, f64::INFINITY], &[1.0]).unwrap();
        assert_eq!(
            (one.n_x, one.u, one.p_two_sided, one.p_x_larger),
            (1, 1.0, 1.0, 0.5)
        );
    }

    proptest! {
        #[test]
        fn swapping_the_samples_mirrors_u(
            x in prop::collection::vec(-50i32..50, 1..20),
            y in prop::collection::vec(-50i32..50, 1..20),
        ) {
            let x: Vec<f64> = x.into_iter().map(f64::from).collect();
            let y: Vec<f64> = y.into_iter().map(f64::from).collect();
            let there = mann_whitney(&x, &y).unwrap();
            let back = mann_whitney(&y, &x).unwrap();
            prop_assert_eq!(there.u + back.u, (x.len() * y.len()) as f64);
            prop_assert!((there.p_two_sided - back.p_two_sided).abs() < 1e-9);
        }

        #[test]
        fn the_distribution_sums_to_one_and_is_symmetric(m in 1usize..9, n in 1usize..9) {
            let chances = u_distribution(m, n);
            prop_assert_eq!(chances.len(), m * n + 1);
            prop_assert!((chances.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            for u in 0..chances.len() {
                prop_assert!((chances[u] - chances[m * n - u]).abs() < 1e-12);
            }
        }
    }
}
