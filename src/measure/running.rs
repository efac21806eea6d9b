//! Mean and standard deviation of a stream, one value at a time.

use serde::{Deserialize, Serialize};

/// Running count, mean, spread and extremes, in the unit of the values. O(1) a
/// value, no storage. Values that are not finite are left out; a mean or spread
/// that leaves the range of f64 (values near 1e308) is `None`.
///
/// Source: Welford BP (1962) Technometrics 4:419–420; merging by Chan TF,
/// Golub GH, LeVeque RJ (1983) Am Stat 37:242–247.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Running {
    n: usize,
    mean: f64,
    squares: f64,
    extremes: Option<(f64, f64)>,
}

impl Running {
    /// Takes one value; NaN and infinities are left out.
    pub fn push(&mut self, value: f64) {
        if !value.is_finite() {
            return;
        }
        self.n += 1;
        let off = value - self.mean;
        self.mean += off / self.n as f64;
        self.squares += off * (value - self.mean);
        let (low, high) = self.extremes.unwrap_or((value, value));
        self.extremes = Some((low.min(value), high.max(value)));
    }

    /// How many values were taken.
    pub fn n(&self) -> usize {
        self.n
    }

    /// The mean; `None` before the first value.
    pub fn mean(&self) -> Option<f64> {
        finite((self.n > 0).then_some(self.mean))
    }

    /// Standard deviation with divisor n; `None` before the first value.
    pub fn sd_n(&self) -> Option<f64> {
        finite((self.n > 0).then(|| (self.squares / self.n as f64).sqrt()))
    }

    /// Standard deviation with divisor n − 1; `None` below two values.
    pub fn sd_n1(&self) -> Option<f64> {
        finite((self.n > 1).then(|| (self.squares / (self.n - 1) as f64).sqrt()))
    }

    /// The smallest value; `None` before the first.
    pub fn min(&self) -> Option<f64> {
        self.extremes.map(|(low, _)| low)
    }

    /// The largest value; `None` before the first.
    pub fn max(&self) -> Option<f64> {
        self.extremes.map(|(_, high)| high)
    }
}

/// An overflow on the way is an undefined result, not an infinite one.
fn finite(result: Option<f64>) -> Option<f64> {
    result.filter(|v| v.is_finite())
}

impl Extend<f64> for Running {
    fn extend<I: IntoIterator<Item = f64>>(&mut self, values: I) {
        for value in values {
            self.push(value);
        }
    }
}

impl FromIterator<f64> for Running {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut running = Self::default();
        running.extend(values);
        running
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::assert_close;

    /// The NIST pattern: c + 0.2, then c + 0.1 and c + 0.3 in turn, 1001 values.
    fn num_acc(c: f64) -> Running {
        std::iter::once(c + 0.2)
            .chain((0..1000).map(|i| if i % 2 == 0 { c + 0.1 } else { c + 0.3 }))
            .collect()
    }

    /// Source: NIST Statistical Reference Datasets, univariate NumAcc1–4
    /// (certified values from memory, agreeing with numpy to 1e-9).
    #[test]
    fn nist_numerical_accuracy_sets() {
        let one: Running = [10_000_001.0, 10_000_003.0, 10_000_002.0]
            .into_iter()
            .collect();
        assert_eq!(one.mean(), Some(10_000_002.0));
        assert_eq!(one.sd_n1(), Some(1.0));
        for (c, tolerance) in [(1.0, 1e-13), (1_000_000.0, 1e-9), (10_000_000.0, 1e-8)] {
            let running = num_acc(c);
            assert_eq!(running.n(), 1001);
            assert_close(running.mean().unwrap(), c + 0.2, 1e-8);
            assert_close(running.sd_n1().unwrap(), 0.1, tolerance);
        }
    }

    #[test]
    fn edges() {
        let huge: Running = [f64::MAX, f64::MIN, f64::MAX].into_iter().collect();
        assert_eq!((huge.n(), huge.mean(), huge.sd_n1()), (3, None, None));
        let mut running = Running::default();
        assert_eq!(
            (running.mean(), running.sd_n(), running.min()),
            (None, None, None)
        );
        running.push(f64::NAN);
        running.push(f64::INFINITY);
        assert_eq!(running.n(), 0);
        running.push(-4.0);
        assert_eq!(
            (running.mean(), running.sd_n(), running.sd_n1()),
            (Some(-4.0), Some(0.0), None)
        );
        assert_eq!((running.min(), running.max()), (Some(-4.0), Some(-4.0)));
    }
}
