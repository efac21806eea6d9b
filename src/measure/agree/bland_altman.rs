//! Bland–Altman: how far two observers' readings of the same thing differ.

use serde::{Deserialize, Serialize};

use crate::measure::distributions::t_two_sided;
use crate::measure::interval::Interval;
use crate::measure::running::Running;
use crate::measure::sample::finite_pairs;

/// Standard deviations from the bias to each limit of agreement. The paper of
/// 1986 rounds it to 2.
const LIMIT_SDS: f64 = 1.96;

/// Bias and limits of agreement of first − second, in the readings' unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BlandAltman {
    /// How many pairs were used.
    pub n: usize,
    /// Mean difference.
    pub bias: f64,
    /// Standard deviation of the differences, divisor n − 1.
    pub sd: f64,
    /// Bias − 1.96 SD.
    pub lower_limit: f64,
    /// Bias + 1.96 SD.
    pub upper_limit: f64,
    /// Standard error of the bias, SD/√n.
    pub se_bias: f64,
    /// Standard error of each limit, about √(3/n)·SD (the paper's own).
    pub se_limit: f64,
    /// Interval of the bias, by Student's t.
    pub bias_interval: Interval,
    /// Interval of the lower limit, by Student's t.
    pub lower_limit_interval: Interval,
    /// Interval of the upper limit, by Student's t.
    pub upper_limit_interval: Interval,
}

/// Compares two readings of each subject; intervals at `level` (0 to 1).
///
/// Pairs with a part that is not finite are left out; `None` below two pairs
/// or for a level outside 0 to 1. O(n). Source: Bland JM, Altman DG (1986)
/// Lancet 327(8476):307–310.
pub fn bland_altman(first: &[f64], second: &[f64], level: f64) -> Option<BlandAltman> {
    let differences: Running = finite_pairs(first, second)
        .iter()
        .map(|(a, b)| a - b)
        .collect();
    let (bias, sd) = (differences.mean()?, differences.sd_n1()?);
    let n = differences.n();
    let t = t_two_sided(level, (n - 1) as f64)?;
    let se_bias = sd / (n as f64).sqrt();
    let se_limit = (3.0 / n as f64).sqrt() * sd;
    let about = |middle: f64, se: f64| Interval {
        low: middle - t * se,
        high: middle + t * se,
        level,
    };
    let (lower_limit, upper_limit) = (bias - LIMIT_SDS * sd, bias + LIMIT_SDS * sd);
    Some(BlandAltman {
        n,
        bias,
        sd,
        lower_limit,
        upper_limit,
        se_bias,
        se_limit,
        bias_interval: about(bias, se_bias),
        lower_limit_interval: about(lower_limit, se_limit),
        upper_limit_interval: about(upper_limit, se_limit),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::assert_close;

    const WRIGHT: [f64; 17] = [
        494., 395., 516., 434., 476., 557., 413., 442., 650., 433., 417., 656., 267., 478., 178.,
        423., 427.,
    ];
    const MINI: [f64; 17] = [
        512., 430., 520., 428., 500., 600., 364., 380., 658., 445., 432., 626., 260., 477., 259.,
        350., 451.,
    ];
    /// Source: Bland & Altman 1986 (peak expiratory flow, 17 subjects); the
    /// printed values use 2 SD and rounded intermediate values.
    #[test]
    fn the_paper() {
        let got = bland_altman(&WRIGHT, &MINI, 0.95).unwrap();
        assert_close(got.bias, -2.117647, 5e-7);
        assert_close(got.sd, 38.765130, 5e-7);
        assert_close(got.lower_limit, -78.097302, 5e-7);
        assert_close(got.upper_limit, 73.862007, 5e-7);
        assert_close(got.se_bias, 9.401925, 5e-7);
        assert_close(got.bias_interval.low, -22.048838, 2e-6);
        assert_close(got.bias_interval.high, 17.813544, 2e-6);
        assert_close(got.se_limit, 16.284612, 5e-7);
        // Printed with 2 SD: limits −79.7 and 75.5 (unrounded −79.65, 75.41), and
        // −114.3 to −45.1 for the lower one.
        assert_close(got.bias - 2.0 * got.sd, -79.65, 5e-3);
        assert_close(got.bias + 2.0 * got.sd, 75.41, 5e-3);
        let half = got.lower_limit_interval.high - got.lower_limit;
        assert_close(-79.7 - half, -114.3, 0.1);
        assert_close(-79.7 + half, -45.1, 0.1);
    }

    #[test]
    fn edges() {
        assert_eq!(bland_altman(&[1.0], &[2.0], 0.95), None);
        assert_eq!(bland_altman(&[1.0, f64::NAN], &[2.0, 3.0], 0.95), None);
        assert_eq!(bland_altman(&[1.0, 2.0], &[2.0, 3.0], 1.0), None);
        let some = bland_altman(&[1.0, 2.0, f64::INFINITY, 4.0], &[0.0, 1.0, 5.0, 3.0], 0.95);
        assert_eq!(
            (some.unwrap().n, some.unwrap().bias, some.unwrap().sd),
            (3, 1.0, 0.0)
        );
    }
}
