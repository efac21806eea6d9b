//! Error scores of motor behaviour for timed responses to predictable moments.

use serde::{Deserialize, Serialize};

use super::running::Running;

/// The error scores of a set of lags (mark − moment), in milliseconds.
///
/// Names as in Schmidt RA, Lee TD, Motor Control and Learning, and Schutz RW,
/// Roy EA (1973) J Mot Behav 5:141 (sources from memory). E² = CE² + VE² holds
/// with the divisor n only.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ErrorScores {
    /// How many lags were finite and used.
    pub n: usize,
    /// CE, constant error: the mean lag; negative is early. The bias.
    pub constant_ms: f64,
    /// |CE|, absolute constant error.
    pub absolute_constant_ms: f64,
    /// AE, absolute error: the mean of |lag|.
    pub absolute_ms: f64,
    /// VE, variable error with divisor n: the classic form of motor behaviour.
    pub variable_n_ms: f64,
    /// VE with divisor n − 1, the sample standard deviation; `None` for one lag.
    pub variable_n1_ms: Option<f64>,
    /// E, total variability: the root of the mean squared lag (RMSE).
    pub total_ms: f64,
}

/// The error scores of lags in milliseconds; lags that are not finite are left
/// out; `None` when none is left. O(n).
pub fn error_scores(lags_ms: &[f64]) -> Option<ErrorScores> {
    let mut lags = Running::default();
    let mut absolute = Running::default();
    for lag in lags_ms.iter().copied().filter(|v| v.is_finite()) {
        lags.push(lag);
        absolute.push(lag.abs());
    }
    let constant_ms = lags.mean()?;
    let variable_n_ms = lags.sd_n()?;
    Some(ErrorScores {
        n: lags.n(),
        constant_ms,
        absolute_constant_ms: constant_ms.abs(),
        absolute_ms: absolute.mean()?,
        variable_n_ms,
        variable_n1_ms: lags.sd_n1(),
        total_ms: constant_ms.hypot(variable_n_ms),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::assert_close;
    use proptest::prelude::*;

    /// Source: the definitions on −20, 10, 40, 30, −10 ms, computed with numpy.
    #[test]
    fn worked_example() {
        let scores = error_scores(&[-20.0, 10.0, 40.0, 30.0, -10.0]).unwrap();
        assert_eq!(scores.n, 5);
        assert_close(scores.constant_ms, 10.0, 1e-12);
        assert_close(scores.absolute_constant_ms, 10.0, 1e-12);
        assert_close(scores.absolute_ms, 22.0, 1e-12);
        assert_close(scores.variable_n_ms, 22.803509, 5e-7);
        assert_close(scores.variable_n1_ms.unwrap(), 25.495098, 5e-7);
        assert_close(scores.total_ms, 620f64.sqrt(), 1e-12);
    }

    #[test]
    fn edges() {
        assert_eq!(error_scores(&[]), None);
        assert_eq!(error_scores(&[f64::NAN, f64::INFINITY]), None);
        let one = error_scores(&[f64::NAN, -12.0]).unwrap();
        assert_eq!(
            (one.n, one.constant_ms, one.absolute_constant_ms),
            (1, -12.0, 12.0)
        );
        assert_eq!((one.variable_n_ms, one.variable_n1_ms), (0.0, None));
        assert_eq!(one.total_ms, 12.0);
    }

    proptest! {
        #[test]
        fn total_is_the_root_mean_square(lags in prop::collection::vec(-500.0..500.0f64, 1..50)) {
            let scores = error_scores(&lags).unwrap();
            let rms = (lags.iter().map(|v| v * v).sum::<f64>() / lags.len() as f64).sqrt();
            prop_assert!((scores.total_ms - rms).abs() < 1e-9);
            prop_assert!(scores.absolute_constant_ms <= scores.absolute_ms + 1e-9);
            prop_assert!(scores.absolute_ms <= scores.total_ms + 1e-9);
        }
    }
}
