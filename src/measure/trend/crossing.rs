//! When a straight line reaches a level.

use serde::{Deserialize, Serialize};

use crate::measure::distributions::t_two_sided;
use crate::measure::interval::Interval;
use crate::measure::sample::finite_pairs;

/// Fewest points: with fewer the scatter about the line is guesswork.
const FEWEST: usize = 6;

/// Where the least-squares line through the points reaches a level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Crossing {
    /// How many points were used.
    pub n: usize,
    /// The line's slope, unit of the values over unit of the times.
    pub slope: f64,
    /// The time at which the line reaches the level.
    pub at: f64,
    /// Fieller's interval of that time; `None` when it has no end, because the
    /// slope cannot be told from zero.
    pub interval: Option<Interval>,
}

/// When the line of `values` over `times` reaches `target`, with an interval at
/// `level` (between 0 and 1). The interval is of the underlying line, exact for
/// independent normal scatter of equal size.
///
/// Points with a part that is not finite are left out; `None` below six points,
/// when no two times differ, or when the line is flat. O(n). Source: Fieller EC (1954) J R Stat Soc B
/// 16:175–185; inverse prediction as in Draper NR, Smith H, Applied Regression
/// Analysis, 3rd ed., 3.2 (both from memory).
pub fn crossing(times: &[f64], values: &[f64], target: f64, level: f64) -> Option<Crossing> {
    let points = finite_pairs(times, values);
    let n = points.len();
    if n < FEWEST || !target.is_finite() {
        return None;
    }
    let count = n as f64;
    let t_mean = points.iter().map(|p| p.0).sum::<f64>() / count;
    let y_mean = points.iter().map(|p| p.1).sum::<f64>() / count;
    let sxx: f64 = points.iter().map(|p| (p.0 - t_mean).powi(2)).sum();
    let sxy: f64 = points.iter().map(|p| (p.0 - t_mean) * (p.1 - y_mean)).sum();
    if sxx <= 0.0 || sxy == 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let rest: f64 = points
        .iter()
        .map(|p| (p.1 - y_mean - slope * (p.0 - t_mean)).powi(2))
        .sum();
    let variance = rest / (count - 2.0);
    let t = t_two_sided(level, count - 2.0)?;
    // All u = time − mean with (y_mean − target + slope·u)² ≤ t²·s²·(1/n + u²/sxx).
    let off = y_mean - target;
    let a = slope * slope - t * t * variance / sxx;
    let b = slope * off;
    let c = off * off - t * t * variance / count;
    let interval = (a > 0.0).then(|| {
        let root = (b * b - a * c).max(0.0).sqrt();
        Interval {
            low: t_mean + (-b - root) / a,
            high: t_mean + (-b + root) / a,
            level,
        }
    });
    let at = t_mean - off / slope;
    at.is_finite().then_some(Crossing {
        n,
        slope,
        at,
        interval,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, numbers, reference};

    /// By hand: through points on a line the crossing is the line's.
    #[test]
    fn on_a_line() {
        let times = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
        let values: Vec<f64> = times.iter().map(|t| 100.0 - 5.0 * t).collect();
        let got = crossing(&times, &values, 50.0, 0.95).unwrap();
        assert_close(got.at, 10.0, 1e-9);
        let interval = got.interval.unwrap();
        assert_close(interval.low, 10.0, 1e-6);
        assert_close(interval.high, 10.0, 1e-6);
        assert_eq!(crossing(&times[..5], &values[..5], 50.0, 0.95), None);
        assert_eq!(crossing(&times, &[1.0; 6], 50.0, 0.95), None);
        assert_eq!(crossing(&[1.0; 6], &values, 50.0, 0.95), None);
    }

    /// Source: the times at which the 95 % interval of the mean by statsmodels'
    /// least squares begins and ends to hold the level (tests/reference/measure.py).
    #[test]
    fn agrees_with_statsmodels() {
        for case in reference()["trend"]["crossing"].as_array().unwrap() {
            let (times, values) = (numbers(&case["t"]), numbers(&case["y"]));
            let target = case["target"].as_f64().unwrap();
            let got = crossing(&times, &values, target, 0.95).unwrap();
            let interval = got.interval.unwrap();
            assert_close(got.at, case["at"].as_f64().unwrap(), 1e-8);
            assert_close(interval.low, case["low"].as_f64().unwrap(), 1e-6);
            assert_close(interval.high, case["high"].as_f64().unwrap(), 1e-6);
        }
    }

    /// 4,000 simulated runs of 30 days: normal scatter, and the skewed scatter
    /// of quantiles (nominal 95 %).
    #[test]
    fn covers_as_often_as_it_says() {
        let mut chance = Chance::new(93);
        for skewed in [false, true] {
            let (mut covered, mut told) = (0, 0);
            for _ in 0..4_000 {
                let times: Vec<f64> = (0..30).map(f64::from).collect();
                let values: Vec<f64> = times
                    .iter()
                    .map(|t| {
                        let noise = if skewed {
                            12.0 * (chance.exponential() - 1.0)
                        } else {
                            12.0 * chance.normal()
                        };
                        120.0 - 1.5 * t + noise
                    })
                    .collect();
                let got = crossing(&times, &values, 50.0, 0.95).unwrap();
                let truth = 70.0 / 1.5;
                match got.interval {
                    Some(interval) => {
                        told += 1;
                        covered += u32::from(interval.contains(truth));
                    }
                    None => covered += 1,
                }
            }
            let share = f64::from(covered) / 4_000.0;
            assert!(told > 3_900, "{told}");
            assert!((0.93..=0.97).contains(&share), "skewed {skewed}: {share}");
        }
    }
}
