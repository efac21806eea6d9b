//! The EWMA control chart: sees a small lasting shift that single days hide.

use serde::{Deserialize, Serialize};

/// How the chart is drawn. All in the unit of the values except as said.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EwmaSettings {
    /// The level that the process is held against; also the chart's start.
    pub target: f64,
    /// Standard deviation of a single value about the target, positive.
    pub sd: f64,
    /// λ, the weight of the newest value: above 0, at most 1; 0.2–0.3 is usual.
    pub weight: f64,
    /// L, half the width between the limits in standard deviations of the
    /// average, positive; 3 is usual.
    pub width_sds: f64,
}

/// One point of the chart, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EwmaPoint {
    /// Which of the input values this is, from 0.
    pub index: usize,
    /// The weighted average after this value.
    pub average: f64,
    /// Lower limit at this point (exact: it opens out over the first points).
    pub low: f64,
    /// Upper limit at this point.
    pub high: f64,
    /// Whether the average lies outside its limits.
    pub signal: bool,
}

impl EwmaSettings {
    fn are_usable(&self) -> bool {
        self.target.is_finite()
            && self.sd.is_finite()
            && self.sd > 0.0
            && self.weight > 0.0
            && self.weight <= 1.0
            && self.width_sds.is_finite()
            && self.width_sds > 0.0
    }

    /// The limits that the exact ones tend to, low and high; `None` for
    /// settings outside their ranges.
    pub fn settled_limits(&self) -> Option<(f64, f64)> {
        let half = self.width_sds * self.sd * (self.weight / (2.0 - self.weight)).sqrt();
        self.are_usable()
            .then_some((self.target - half, self.target + half))
    }
}

/// The chart of values in the order they came.
///
/// Values that are not finite are left out and give no point; no values give
/// no points; `None` for settings outside their ranges. O(n). Sources: Roberts
/// SW (1959) Technometrics 1:239–250; NIST/SEMATECH e-Handbook 6.3.2.4; exact
/// limits Lucas JM, Saccucci MS (1990) Technometrics 32:1–12.
pub fn ewma(values: &[f64], settings: EwmaSettings) -> Option<Vec<EwmaPoint>> {
    let (_, settled_high) = settings.settled_limits()?;
    let settled = settled_high - settings.target;
    let keep = 1.0 - settings.weight;
    let mut average = settings.target;
    let mut left = 1.0;
    let points = values
        .iter()
        .enumerate()
        .filter(|(_, v)| v.is_finite())
        .map(|(index, value)| {
            average = settings.weight * value + keep * average;
            left *= keep * keep;
            let half = settled * (1.0 - left).sqrt();
            let (low, high) = (settings.target - half, settings.target + half);
            EwmaPoint {
                index,
                average,
                low,
                high,
                signal: average < low || average > high,
            }
        });
    Some(points.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, numbers, reference};

    /// Source: NIST/SEMATECH e-Handbook 6.3.2.4: data, averages and limits as printed.
    #[test]
    fn nist_handbook() {
        let values = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
            47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
        ];
        let printed = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36,
            49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        let settings = EwmaSettings {
            target: 50.0,
            sd: 2.0539,
            weight: 0.3,
            width_sds: 3.0,
        };
        let chart = ewma(&values, settings).unwrap();
        for (point, want) in chart.iter().zip(printed) {
            assert_close(point.average, want, 0.005001);
            assert!(!point.signal);
        }
        let (low, high) = settings.settled_limits().unwrap();
        assert_close(low, 47.411568, 5e-7);
        assert_close(high, 52.588432, 5e-7);
        for (point, want) in chart.iter().zip([51.848510, 52.256394, 52.431406]) {
            assert_close(point.high, want, 5e-7);
        }
        assert_close(chart[19].high, high, 1e-3);
    }

    /// Source: Montgomery DC, Introduction to Statistical Quality Control, the
    /// EWMA example (table 9.1; mean 10, σ 1, λ 0.1, L 2.7), also in the IMSL
    /// manual. First averages and limits from memory; the first signal, at
    /// observation 29, computed by hand (10.6468 over 10.6188).
    #[test]
    fn montgomery() {
        let values = [
            9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51,
            9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08,
            10.38, 11.62, 11.31, 10.52,
        ];
        let settings = EwmaSettings {
            target: 10.0,
            sd: 1.0,
            weight: 0.1,
            width_sds: 2.7,
        };
        let chart = ewma(&values, settings).unwrap();
        assert_close(chart[0].average, 9.945, 5e-6);
        assert_close(chart[1].average, 9.7495, 5e-6);
        assert_close(chart[0].high, 10.27, 5e-3);
        assert_close(chart[1].high, 10.36, 5e-3);
        assert_close(settings.settled_limits().unwrap().0, 9.38, 5e-3);
        assert_eq!(chart.iter().position(|p| p.signal), Some(28));
        assert_close(chart[28].average, 10.6468, 5e-5);
    }

    /// Source: pandas' ewm(adjust=False) (tests/reference/measure.py).
    #[test]
    fn agrees_with_pandas() {
        for case in reference()["ewma"].as_array().unwrap() {
            let settings = EwmaSettings {
                target: case["target"].as_f64().unwrap(),
                sd: 12.0,
                weight: case["weight"].as_f64().unwrap(),
                width_sds: 3.0,
            };
            let chart = ewma(&numbers(&case["values"]), settings).unwrap();
            let averages = numbers(&case["averages"]);
            assert_eq!(chart.len(), averages.len());
            for (point, want) in chart.iter().zip(averages) {
                assert_close(point.average, want, 1e-10);
            }
        }
    }

    /// With no shift at λ 0.2, L 3 false signals are rare (average run length
    /// in control about 560; Lucas & Saccucci 1990, from memory); a shift of
    /// one and a half standard deviations is seen within days.
    #[test]
    fn sees_a_shift_and_little_else() {
        let settings = EwmaSettings {
            target: 0.0,
            sd: 1.0,
            weight: 0.2,
            width_sds: 3.0,
        };
        let mut chance = Chance::new(31);
        let still: Vec<f64> = (0..20_000).map(|_| chance.normal()).collect();
        let chart = ewma(&still, settings).unwrap();
        let runs = chart
            .windows(2)
            .filter(|w| !w[0].signal && w[1].signal)
            .count();
        assert!((15..=80).contains(&runs), "{runs} false signals in 20,000");
        let mut delays = 0;
        for _ in 0..200 {
            let shifted: Vec<f64> = (0..60).map(|_| chance.normal() + 1.5).collect();
            delays += ewma(&shifted, settings)
                .unwrap()
                .iter()
                .position(|p| p.signal)
                .unwrap();
        }
        assert!(delays < 200 * 8, "{delays}");
    }

    #[test]
    fn edges() {
        let good = EwmaSettings {
            target: 0.0,
            sd: 1.0,
            weight: 0.2,
            width_sds: 3.0,
        };
        assert_eq!(ewma(&[], good), Some(vec![]));
        let holes = ewma(&[1.0, f64::NAN, 2.0], good).unwrap();
        assert_eq!(holes.iter().map(|p| p.index).collect::<Vec<_>>(), [0, 2]);
        for bad in [
            EwmaSettings { sd: 0.0, ..good },
            EwmaSettings {
                sd: f64::NAN,
                ..good
            },
            EwmaSettings {
                weight: 0.0,
                ..good
            },
            EwmaSettings {
                weight: 1.1,
                ..good
            },
            EwmaSettings {
                width_sds: -3.0,
                ..good
            },
            EwmaSettings {
                target: f64::INFINITY,
                ..good
            },
        ] {
            assert_eq!(ewma(&[1.0], bad), None);
        }
    }
}
