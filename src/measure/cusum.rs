//! The tabular CUSUM control chart: adds up what lies beyond a slack.

use serde::{Deserialize, Serialize};

/// How the chart is drawn, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CusumSettings {
    /// The level that the process is held against.
    pub target: f64,
    /// k, the slack: half the shift worth seeing, not negative.
    pub slack: f64,
    /// h, the decision limit on a sum, positive; 4 to 5 standard deviations is usual.
    pub limit: f64,
}

/// One point of the chart, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CusumPoint {
    /// Which of the input values this is, from 0.
    pub index: usize,
    /// Sum of what lay above target + slack since it was last 0.
    pub high_sum: f64,
    /// Sum of what lay below target − slack since it was last 0.
    pub low_sum: f64,
    /// How many values the high sum has been above 0: when a signal comes, the
    /// shift began about this many values ago.
    pub high_run: usize,
    /// The same for the low sum.
    pub low_run: usize,
    /// Whether a sum exceeds the limit.
    pub signal: bool,
}

/// The two-sided chart of values in the order they came; sums start at 0 and
/// run on after a signal.
///
/// Values that are not finite are left out and give no point; `None` for
/// settings outside their ranges. O(n). Sources: Page ES (1954) Biometrika
/// 41:100–115; NIST/SEMATECH e-Handbook 6.3.2.3.
pub fn cusum(values: &[f64], settings: CusumSettings) -> Option<Vec<CusumPoint>> {
    let CusumSettings {
        target,
        slack,
        limit,
    } = settings;
    let usable =
        target.is_finite() && slack.is_finite() && slack >= 0.0 && limit.is_finite() && limit > 0.0;
    if !usable {
        return None;
    }
    let mut point = CusumPoint {
        index: 0,
        high_sum: 0.0,
        low_sum: 0.0,
        high_run: 0,
        low_run: 0,
        signal: false,
    };
    let run = |sum: f64, run: usize| if sum > 0.0 { run + 1 } else { 0 };
    let points = values
        .iter()
        .enumerate()
        .filter(|(_, v)| v.is_finite())
        .map(|(index, value)| {
            point.index = index;
            point.high_sum = (point.high_sum + value - target - slack).max(0.0);
            point.low_sum = (point.low_sum + target - slack - value).max(0.0);
            point.high_run = run(point.high_sum, point.high_run);
            point.low_run = run(point.low_sum, point.low_run);
            point.signal = point.high_sum > limit || point.low_sum > limit;
            point
        });
    Some(points.collect())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::testing::assert_close;

    /// Source: NIST/SEMATECH e-Handbook 6.3.2.3: data and both sums; first
    /// signal at sample 14.
    #[test]
    fn nist_handbook() {
        let values = [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225,
            324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775,
            326.875, 328.350,
        ];
        let high = [
            0.0, 0.0, 0.0, 0.0, 0.0325, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.0075, 4.94, 7.4475,
            10.63, 11.9875, 14.445, 16.0025, 19.035,
        ];
        let mut low = [0.0; 20];
        low[..11].copy_from_slice(&[
            0.0, 0.0075, 0.0, 0.3325, 0.0, 0.0, 0.5575, 0.715, 0.1725, 0.255, 0.3125,
        ]);
        let settings = CusumSettings {
            target: 325.0,
            slack: 0.3175,
            limit: 4.1959,
        };
        let chart = cusum(&values, settings).unwrap();
        for (i, point) in chart.iter().enumerate() {
            assert_close(point.high_sum, high[i], 1e-9);
            assert_close(point.low_sum, low[i], 1e-9);
        }
        assert_eq!(chart.iter().position(|p| p.signal), Some(13));
    }

    /// Source: Montgomery DC, Runger GC, Applied Statistics and Probability for
    /// Engineers, table 16-8: target 99, K 1, H 10, in control. The printed run
    /// count restarts; the last row's high run is 1 by the definition.
    #[test]
    fn montgomery_and_runger() {
        let values = [
            102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1,
            98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0,
        ];
        let high = [
            2.0, 0.0, 0.0, 0.0, 2.0, 0.5, 0.0, 0.0, 0.0, 0.0, 1.3, 0.0, 1.1, 0.0, 0.0, 0.0, 0.3,
            1.7, 0.0, 1.0,
        ];
        let low = [
            0.0, 3.2, 2.9, 2.5, 0.0, 0.0, 0.0, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 2.3, 0.0,
            0.0, 0.8, 0.0,
        ];
        let chart = cusum(
            &values,
            CusumSettings {
                target: 99.0,
                slack: 1.0,
                limit: 10.0,
            },
        )
        .unwrap();
        for (i, point) in chart.iter().enumerate() {
            assert_close(point.high_sum, high[i], 1e-9);
            assert_close(point.low_sum, low[i], 1e-9);
            assert!(!point.signal);
        }
        assert_eq!(
            (chart[3].low_run, chart[17].high_run, chart[19].high_run),
            (3, 2, 1)
        );
    }

    /// Source: Montgomery DC, Introduction to Statistical Quality Control, the
    /// tabular CUSUM example (table 9.1; mean 10, K 0.5, H 5): upper sums of
    /// periods 1 to 29 as tabulated, first signal in period 29 after a run of 7.
    #[test]
    fn montgomery() {
        let values = [
            9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51,
            9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08,
            10.38, 11.62, 11.31, 10.52,
        ];
        let high = [
            0.0, 0.0, 0.0, 1.16, 2.82, 2.50, 0.04, 1.00, 0.0, 0.0, 0.0, 0.97, 0.98, 0.0, 0.0, 0.0,
            0.12, 0.0, 0.0, 0.34, 0.74, 0.0, 1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28,
        ];
        let chart = cusum(
            &values,
            CusumSettings {
                target: 10.0,
                slack: 0.5,
                limit: 5.0,
            },
        )
        .unwrap();
        for (point, want) in chart.iter().zip(high) {
            assert_close(point.high_sum, want, 1e-9);
        }
        assert_eq!(chart.iter().position(|p| p.signal), Some(28));
        assert_eq!(chart[28].high_run, 7);
    }

    #[test]
    fn edges() {
        let good = CusumSettings {
            target: 0.0,
            slack: 0.5,
            limit: 4.0,
        };
        assert_eq!(cusum(&[], good), Some(vec![]));
        let holes = cusum(&[f64::NAN, 2.0], good).unwrap();
        assert_eq!(
            (holes.len(), holes[0].index, holes[0].high_sum),
            (1, 1, 1.5)
        );
        for bad in [
            CusumSettings {
                slack: -1.0,
                ..good
            },
            CusumSettings { limit: 0.0, ..good },
            CusumSettings {
                target: f64::NAN,
                ..good
            },
        ] {
            assert_eq!(cusum(&[1.0], bad), None);
        }
    }
}
