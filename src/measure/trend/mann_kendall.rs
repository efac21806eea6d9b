//! The Mann–Kendall test: is there a trend, whatever its shape.

use serde::{Deserialize, Serialize};

use super::counting::{count_pairs, group_ends};
use crate::measure::distributions::normal_cdf;
use crate::measure::sample::{finite_pairs, tie_lengths};

/// Up to this many points without ties the p-value is exact.
const EXACT_UP_TO: usize = 10;

/// The outcome of a Mann–Kendall test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MannKendall {
    /// How many points were used.
    pub n: usize,
    /// S: rising pairs less falling pairs, over pairs at different times.
    pub s: i64,
    /// Variance of S with no trend, with the ties in values and in times counted.
    pub variance_s: f64,
    /// (S − sign S)/√variance; 0 when S or the variance is 0.
    pub z: f64,
    /// Two-sided p-value, 0 to 1.
    pub p_two_sided: f64,
    /// Whether p is exact (up to 10 points, no ties) or from the normal.
    pub exact: bool,
}

/// Tests for a monotone trend of `values` over `times`, in any order and unit;
/// several values at one time are not compared with each other.
///
/// Points with a part that is not finite are left out; `None` below three
/// points or when fewer than two times differ. O(n log n). Sources: Gilbert RO
/// (1987) Statistical Methods for Environmental Pollution Monitoring, ch. 16;
/// variance with ties in both: Kendall MG (1975) Rank Correlation Methods.
pub fn mann_kendall(times: &[f64], values: &[f64]) -> Option<MannKendall> {
    let mut points = finite_pairs(times, values);
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (times, values): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let n = times.len();
    if n < 3 || times.first() == times.last() {
        return None;
    }
    let counts = count_pairs(&values, &group_ends(&times));
    let s = counts.rises as i64 - counts.falls as i64;
    let time_ties = tie_lengths(&times);
    let mut sorted = values;
    sorted.sort_unstable_by(f64::total_cmp);
    let value_ties = tie_lengths(&sorted);
    let variance_s = variance(n, &time_ties, &value_ties);
    let z = if s == 0 || variance_s <= 0.0 {
        0.0
    } else {
        (s - s.signum()) as f64 / variance_s.sqrt()
    };
    let exact = n <= EXACT_UP_TO && time_ties.is_empty() && value_ties.is_empty();
    let p_two_sided = if exact {
        exact_p(n, s.unsigned_abs() as usize)
    } else {
        (2.0 * normal_cdf(-z.abs())).min(1.0)
    };
    Some(MannKendall {
        n,
        s,
        variance_s,
        z,
        p_two_sided,
        exact,
    })
}

impl MannKendall {
    /// The same with the variance raised `by` a factor (at least 1), for points
    /// of which neighbours hang together; p is then from the normal.
    #[must_use]
    pub fn inflated(self, by: f64) -> Self {
        if by.partial_cmp(&1.0) != Some(std::cmp::Ordering::Greater) {
            return self;
        }
        let z = self.z / by.sqrt();
        Self {
            variance_s: self.variance_s * by,
            z,
            p_two_sided: (2.0 * normal_cdf(-z.abs())).min(1.0),
            exact: false,
            ..self
        }
    }
}

/// Kendall's variance of S with ties in both orders.
pub(super) fn variance(n: usize, time_ties: &[usize], value_ties: &[usize]) -> f64 {
    let n = n as f64;
    let sum = |ties: &[usize], f: fn(f64) -> f64| ties.iter().map(|t| f(*t as f64)).sum::<f64>();
    let long: fn(f64) -> f64 = |t| t * (t - 1.0) * (2.0 * t + 5.0);
    let triple: fn(f64) -> f64 = |t| t * (t - 1.0) * (t - 2.0);
    let double: fn(f64) -> f64 = |t| t * (t - 1.0);
    (long(n) - sum(time_ties, long) - sum(value_ties, long)) / 18.0
        + sum(time_ties, triple) * sum(value_ties, triple) / (9.0 * triple(n))
        + sum(time_ties, double) * sum(value_ties, double) / (2.0 * double(n))
}

/// P(|S| ≥ s) over all n! orders: S = n(n−1)/2 − 2·(inversions), and the number
/// of orders with k inversions builds up one element at a time.
fn exact_p(n: usize, s: usize) -> f64 {
    let most = n * (n - 1) / 2;
    let mut orders = vec![1.0];
    for size in 2..=n {
        let mut next = vec![0.0; orders.len() + size - 1];
        for (k, count) in orders.iter().enumerate() {
            for slot in &mut next[k..k + size] {
                *slot += count;
            }
        }
        orders = next;
    }
    let total: f64 = orders.iter().sum();
    let extreme: f64 = orders
        .iter()
        .enumerate()
        .filter(|(k, _)| most.abs_diff(2 * k) >= s)
        .map(|(_, count)| count)
        .sum();
    extreme / total
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};

    fn in_order(values: &[f64]) -> MannKendall {
        let times: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        mann_kendall(&times, values).unwrap()
    }

    /// Source: Gilbert 1987, p. 211 (both), example 16.3, example 17.1 p. 229.
    #[test]
    fn gilbert() {
        let a = in_order(&[10.0, 15.0, 14.0, 20.0]);
        assert_eq!(a.s, 4);
        assert_close(a.variance_s, 8.6667, 5e-5);
        assert_close(a.z, 1.01905, 5e-6);
        let b = in_order(&[23.0, 24.0, 0.0, 6.0, 0.0, 24.0, 24.0, 0.0, 23.0]);
        assert_eq!((b.s, b.z), (-1, 0.0));
        assert_close(b.variance_s, 83.6667, 5e-5);
        assert!(!b.exact);

        let times = [1.0, 1.0, 1.0, 2.0, 3.0, 3.0, 4.0, 5.0];
        let c = mann_kendall(&times, &[10.0, 22.0, 21.0, 30.0, 22.0, 30.0, 40.0, 40.0]).unwrap();
        assert_eq!(c.s, 19);
        assert_close(c.variance_s, 58.0952, 5e-5);
        assert_close(c.z, 2.36158, 5e-6);
        assert_close(c.p_two_sided, 0.018197, 5e-7);

        let site_1 = mann_kendall(&[1.0, 1.0, 2.0, 3.0], &[8.0, 10.0, 12.0, 15.0]).unwrap();
        assert_eq!(site_1.s, 5);
        assert_close(site_1.variance_s, 7.667, 5e-4);
        let site_2 = mann_kendall(&[1.0, 2.0, 2.0, 3.0], &[15.0, 20.0, 18.0, 20.0]).unwrap();
        assert_eq!(site_2.s, 4);
        // Printed rounded up; the formula gives 41/6.
        assert_close(site_2.variance_s, 6.834, 1e-3);
    }

    /// Source: van Belle G, Hughes JP (1984) Water Resour Res 20:127–136, pp. 129, 136.
    #[test]
    fn van_belle_and_hughes() {
        let a = in_order(&[10.0, 14.0, 14.0, 14.0, 17.0, 22.0, 22.0, 23.0, 27.0, 27.0]);
        assert_eq!(a.s, 40);
        assert_close(a.variance_s, 119.333, 5e-4);
        assert_close(a.z, 3.57013, 5e-6);
        let times = [1.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 3.0, 3.0, 3.0];
        let values = [1.0, 1.0, 1.5, 1.7, 1.6, 1.7, 1.8, 1.7, 2.2, 2.3];
        let b = mann_kendall(&times, &values).unwrap();
        assert_eq!(b.s, 26);
        assert_close(b.variance_s, 105.4333, 5e-5);
        assert_close(b.z, 2.43473, 5e-6);
    }

    /// Source: Sen PK (1968), data of the slope example; and the exact p of the
    /// outlier demonstration of Helsel & Hirsch (USGS TWRI 4-A3; data from
    /// memory, p computed).
    #[test]
    fn sen_and_helsel_hirsch() {
        let sen = mann_kendall(
            &[1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0],
            &[9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0],
        )
        .unwrap();
        assert_eq!(sen.s, 21);
        assert_close(sen.variance_s, 44.3333, 5e-5);
        assert_close(sen.z, 3.003757, 5e-7);
        let outlier = in_order(&[1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]);
        assert_eq!((outlier.s, outlier.exact), (19, true));
        assert_close(outlier.p_two_sided, 0.00277778, 5e-9);
    }

    /// Source: pymannkendall original_test, and scipy kendalltau(method="exact").
    #[test]
    fn agrees_with_pymannkendall_and_scipy() {
        let all = reference();
        for case in all["trend"]["mann_kendall"].as_array().unwrap() {
            let got = in_order(&numbers(&case["values"]));
            assert_eq!(got.s, case["s"].as_i64().unwrap());
            assert_close(got.variance_s, case["var_s"].as_f64().unwrap(), 1e-9);
            assert_close(got.z, case["z"].as_f64().unwrap(), 1e-9);
            assert_close(got.p_two_sided, case["p"].as_f64().unwrap(), 1e-9);
        }
        for case in all["trend"]["exact"].as_array().unwrap() {
            let got = in_order(&numbers(&case["values"]));
            assert!(got.exact);
            assert_close(got.p_two_sided, case["p"].as_f64().unwrap(), 1e-12);
        }
    }

    /// Several values at one time, with ties. Source: S by counting all pairs, p of
    /// scipy.stats.kendalltau, which takes no step of continuity off S.
    #[test]
    fn agrees_with_scipy_on_tied_times() {
        for case in reference()["trend"]["tied_times"].as_array().unwrap() {
            let got = mann_kendall(&numbers(&case["t"]), &numbers(&case["y"])).unwrap();
            assert_eq!(got.s, case["s"].as_i64().unwrap());
            let z = got.s as f64 / got.variance_s.sqrt();
            let p = 2.0 * normal_cdf(-z.abs());
            assert_close(p, case["p_without_continuity"].as_f64().unwrap(), 1e-9);
        }
    }

    #[test]
    fn inflating_is_a_larger_variance() {
        let values: Vec<f64> = (0..20).map(|k| f64::from((k * 7) % 11)).collect();
        let got = in_order(&values);
        assert_eq!(got.inflated(1.0), got);
        let wide = got.inflated(4.0);
        assert_close(wide.z, got.z / 2.0, 1e-12);
        assert_close(wide.variance_s, 4.0 * got.variance_s, 1e-9);
        assert!(wide.p_two_sided > got.p_two_sided);
    }

    #[test]
    fn edges() {
        assert_eq!(mann_kendall(&[], &[]), None);
        assert_eq!(mann_kendall(&[1.0, 2.0], &[1.0, 2.0]), None);
        assert_eq!(mann_kendall(&[1.0; 5], &[1.0, 2.0, 3.0, 4.0, 5.0]), None);
        assert_eq!(mann_kendall(&[1.0, 2.0, f64::NAN], &[1.0, 2.0, 3.0]), None);
        let flat = in_order(&[7.0; 12]);
        assert_eq!((flat.s, flat.z, flat.p_two_sided), (0, 0.0, 1.0));
        let skipped = mann_kendall(
            &[1.0, 2.0, 3.0, 4.0, f64::INFINITY],
            &[10.0, 15.0, 14.0, 20.0, 3.0],
        );
        assert_eq!(skipped.unwrap().s, 4);
    }
}
