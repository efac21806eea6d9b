//! The median and its distribution-free confidence interval.

use serde::{Deserialize, Serialize};

use super::distributions::{fair_coins_cdf, level_is_usable};
use super::sample::sorted_finite;

/// An interval for the median between two order statistics, in the unit of the
/// values. It holds whatever the distribution, for independent values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MedianInterval {
    /// The lower order statistic.
    pub low: f64,
    /// The upper order statistic.
    pub high: f64,
    /// The level asked for.
    pub level: f64,
    /// The exact coverage reached (at least the level) for a continuous
    /// distribution; with ties it is at least this.
    pub coverage: f64,
    /// Rank of the lower end, counted from 1; the upper end has this rank
    /// counted from the top.
    pub rank: usize,
}

/// The middle value, or the mean of the two middle ones, in the values' unit;
/// `None` when no value is finite. O(n log n).
pub fn median(values: &[f64]) -> Option<f64> {
    median_of_sorted(&sorted_finite(values))
}

/// As [`median`], for finite values in ascending order. O(1).
pub fn median_of_sorted(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len();
    let upper = *sorted.get(n / 2)?;
    Some(if n % 2 == 1 {
        upper
    } else {
        0.5 * sorted[n / 2 - 1] + 0.5 * upper
    })
}

/// The narrowest symmetric pair of order statistics whose exact coverage of
/// the median is at least `level` (between 0 and 1).
///
/// `None` when too few values are finite for the level (six are needed at
/// 0.95, eight at 0.99) or the level is not between 0 and 1. O(n log n).
/// Source: David HA, Nagaraja HN (2003) Order Statistics, 3rd ed., 7.1; the
/// coverage of (x(k), x(n+1−k)) is 1 − 2·P(B ≤ k−1), B binomial(n, ½).
pub fn median_interval(values: &[f64], level: f64) -> Option<MedianInterval> {
    median_interval_of_sorted(&sorted_finite(values), level)
}

/// As [`median_interval`], for finite values in ascending order. O(√n log n).
pub fn median_interval_of_sorted(sorted: &[f64], level: f64) -> Option<MedianInterval> {
    let n = sorted.len();
    if n == 0 || !level_is_usable(level) {
        return None;
    }
    let coverage = |rank: usize| 1.0 - 2.0 * fair_coins_cdf(rank as u64 - 1, n as u64);
    if coverage(1) < level {
        return None;
    }
    // Coverage falls as the rank rises: the largest rank that still covers.
    let (mut good, mut bad) = (1, n / 2 + 1);
    while bad - good > 1 {
        let middle = good + (bad - good) / 2;
        if coverage(middle) >= level {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(MedianInterval {
        low: sorted[good - 1],
        high: sorted[n - good],
        level,
        coverage: coverage(good),
        rank: good,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, numbers, reference};
    use proptest::prelude::*;

    #[test]
    fn median_of_few() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[f64::NAN]), None);
        assert_eq!(median(&[3.0]), Some(3.0));
        assert_eq!(median(&[4.0, f64::INFINITY, 1.0]), Some(2.5));
        assert_eq!(median(&[9.0, 1.0, 4.0]), Some(4.0));
    }

    /// Source: binomial(n, ½) by hand. n = 5: 1 − 2/32 = 0.9375, too little.
    /// n = 6: 1 − 2/64. n = 10: ranks 2 and 9, 1 − 22/1024 (Conover 1999,
    /// Practical Nonparametric Statistics, table of the sign test).
    #[test]
    fn ranks_and_exact_coverage() {
        let values: Vec<f64> = (1..=20).map(f64::from).collect();
        assert_eq!(median_interval(&values[..5], 0.95), None);
        let six = median_interval(&values[..6], 0.95).unwrap();
        assert_eq!((six.low, six.high, six.rank), (1.0, 6.0, 1));
        assert_close(six.coverage, 0.96875, 1e-12);
        let ten = median_interval(&values[..10], 0.95).unwrap();
        assert_eq!((ten.low, ten.high), (2.0, 9.0));
        assert_close(ten.coverage, 1.0 - 22.0 / 1024.0, 1e-12);
        // n = 20: 1 − 2·21700/2^20 = 0.9586, ranks 6 and 15.
        let twenty = median_interval(&values, 0.95).unwrap();
        assert_eq!((twenty.low, twenty.high), (6.0, 15.0));
        assert_close(twenty.coverage, 1.0 - 2.0 * 21_700.0 / 1_048_576.0, 1e-12);
        assert_eq!(median_interval(&values[..7], 0.99), None);
        assert!(median_interval(&values[..8], 0.99).is_some());
    }

    #[test]
    fn bad_levels_and_empty_give_none() {
        for level in [0.0, 1.0, -1.0, f64::NAN] {
            assert_eq!(median_interval(&[1.0; 30], level), None);
        }
        assert_eq!(median_interval(&[], 0.95), None);
        assert_eq!(median_interval(&[f64::NAN; 30], 0.95), None);
    }

    #[test]
    fn large_samples_match_the_normal_approximation() {
        let values: Vec<f64> = (0..300_000).map(f64::from).collect();
        let interval = median_interval_of_sorted(&values, 0.95).unwrap();
        let expected = 150_000.0 - 1.959_964 * 300_000f64.sqrt() / 2.0;
        assert_close(interval.low, expected, 2.0);
        assert_close(interval.coverage, 0.95, 0.002);
    }

    /// Source: scipy.stats.quantile_test's interval of the quantile 1/2
    /// (tests/reference/measure.py).
    #[test]
    fn agrees_with_scipy() {
        for case in reference()["median_interval"].as_array().unwrap() {
            let got = median_interval(&numbers(&case["values"]), 0.95).unwrap();
            assert_close(got.low, case["low"].as_f64().unwrap(), 1e-12);
            assert_close(got.high, case["high"].as_f64().unwrap(), 1e-12);
        }
    }

    /// 4,000 samples of 20 skewed lags: the exact coverage is 0.9586, so that
    /// 95.0–96.7 % is four standard errors wide on either side at most.
    #[test]
    fn covers_as_often_as_it_says() {
        let mut chance = Chance::new(11);
        let true_median = std::f64::consts::LN_2;
        let mut covered = 0;
        for _ in 0..4_000 {
            let values: Vec<f64> = (0..20).map(|_| chance.exponential()).collect();
            let interval = median_interval(&values, 0.95).unwrap();
            covered += usize::from(interval.low <= true_median && true_median <= interval.high);
        }
        let share = f64::from(covered as u32) / 4_000.0;
        assert!((0.945..=0.972).contains(&share), "covered {share}");
    }

    proptest! {
        #[test]
        fn holds_the_median_and_never_less_than_the_level(
            values in prop::collection::vec(-1e3..1e3f64, 6..60),
            level in 0.5..0.95f64,
        ) {
            let interval = median_interval(&values, level).unwrap();
            let middle = median(&values).unwrap();
            prop_assert!(interval.low <= middle && middle <= interval.high);
            prop_assert!(interval.coverage >= level);
        }
    }
}
