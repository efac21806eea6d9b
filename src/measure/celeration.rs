//! Celeration: by what factor a frequency changes each week.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::sample::finite_pairs;

/// A multiplicative change per week, with how it was got.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Celeration {
    /// The factor per week: 2 doubles, 0.5 halves; positive.
    pub factor_per_week: f64,
    /// How many days were used.
    pub n: usize,
    /// How many were left out because their frequency was zero or below, which
    /// has no place on a logarithmic axis.
    pub left_out: usize,
}

impl fmt::Display for Celeration {
    /// "×2.00" when it grows, "÷1.50" when it falls.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.factor_per_week >= 1.0 {
            write!(f, "×{:.2}", self.factor_per_week)
        } else {
            write!(f, "÷{:.2}", 1.0 / self.factor_per_week)
        }
    }
}

/// Celeration of frequencies (counts a minute) over days, in any order.
///
/// 10^(7 · least-squares slope of log₁₀ frequency per day). Values that are
/// not finite are left out, frequencies at or below 0 are left out and
/// counted; `None` when fewer than two days differ. O(n). Source: the standard
/// celeration chart, as in Evans AL, Bulla AJ, Kieta AR (2021) Behav Anal
/// Pract, doi 10.1007/s40617-020-00502-2.
pub fn celeration(days: &[f64], per_minute: &[f64]) -> Option<Celeration> {
    let points = finite_pairs(days, per_minute);
    let drawn: Vec<(f64, f64)> = points
        .iter()
        .filter(|(_, f)| *f > 0.0)
        .map(|(day, f)| (*day, f.log10()))
        .collect();
    let n = drawn.len();
    if n < 2 {
        return None;
    }
    let mean = |part: fn(&(f64, f64)) -> f64| drawn.iter().map(part).sum::<f64>() / n as f64;
    let (mean_day, mean_log) = (mean(|p| p.0), mean(|p| p.1));
    let spread: f64 = drawn.iter().map(|(day, _)| (day - mean_day).powi(2)).sum();
    if spread <= 0.0 {
        return None;
    }
    let joint: f64 = drawn
        .iter()
        .map(|(day, log)| (day - mean_day) * (log - mean_log))
        .sum();
    let factor_per_week = 10f64.powf(7.0 * joint / spread);
    let usable = factor_per_week.is_finite() && factor_per_week > 0.0;
    usable.then_some(Celeration {
        factor_per_week,
        n,
        left_out: points.len() - n,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::testing::assert_close;

    /// Source: the definition (Evans, Bulla, Kieta 2021), computed by hand:
    /// 10 to 20 a minute in a week, 12 to 30 in three.
    #[test]
    fn worked_examples() {
        let double = celeration(&[0.0, 7.0], &[10.0, 20.0]).unwrap();
        assert_close(double.factor_per_week, 2.0, 1e-12);
        assert_eq!(double.to_string(), "×2.00");
        let slower = celeration(&[0.0, 21.0], &[12.0, 30.0]).unwrap();
        assert_close(slower.factor_per_week, 1.357209, 5e-7);
        let falls = celeration(&[7.0, 0.0], &[10.0, 15.0]).unwrap();
        assert_eq!(falls.to_string(), "÷1.50");
    }

    #[test]
    fn edges() {
        assert_eq!(celeration(&[], &[]), None);
        assert_eq!(celeration(&[1.0], &[5.0]), None);
        assert_eq!(celeration(&[1.0, 1.0], &[5.0, 6.0]), None);
        assert_eq!(celeration(&[1.0, 2.0], &[0.0, 6.0]), None);
        assert_eq!(celeration(&[0.0, 1e-9], &[1e-300, 1e300]), None);
        let some = celeration(&[0.0, 3.0, 7.0, f64::NAN], &[10.0, 0.0, 20.0, 4.0]).unwrap();
        assert_eq!((some.n, some.left_out), (2, 1));
        assert_close(some.factor_per_week, 2.0, 1e-12);
    }
}
