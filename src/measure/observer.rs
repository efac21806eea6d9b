//! What a person who presses a key adds to a measure, and taking it off again.
//!
//! Someone pressed a key at instants that the sound tells better (the ball on
//! the floor). Their errors key − sound have a bias b and a spread s. When the
//! same person keys the moments of a session, the lag that is measured is
//! mark − key = lag − b − e, with e spread by s. So the mean lag is too small by
//! b, and its variance too large by s².

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::distributions::{f_quantile, level_is_usable};
use super::interval::Interval;
use super::running::Running;
use super::uncertainty::{Contribution, combine};
use crate::timeline::{Aim, Window, pair};

/// The fewest errors that a person is measured by.
pub const FEWEST: usize = 5;

/// How a person presses: key − sound, in milliseconds; negative is early.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Observer {
    /// How many presses it rests on.
    pub n: usize,
    /// b, the mean.
    pub bias_ms: f64,
    /// s, the standard deviation with divisor n − 1.
    pub spread_ms: f64,
}

/// A person measured by errors key − sound in milliseconds; those that are not
/// finite are left out, and `None` is given below [`FEWEST`]. O(n).
pub fn observer(errors_ms: &[f64]) -> Option<Observer> {
    let errors: Running = errors_ms.iter().copied().collect();
    Some(Observer {
        n: errors.n(),
        bias_ms: errors.mean().filter(|_| errors.n() >= FEWEST)?,
        spread_ms: errors.sd_n1()?,
    })
}

/// How far a press may lie from its sound, in milliseconds.
const PRESS_WINDOW_MS: f64 = 1_000.0;

/// The errors key − sound, in milliseconds, of presses held against sounds, both
/// in seconds: the cheapest pairing that keeps the order, within a second.
pub fn key_errors_ms(sounds_s: &[f64], presses_s: &[f64]) -> Vec<f64> {
    let Ok(window) = Window::new(PRESS_WINDOW_MS, PRESS_WINDOW_MS) else {
        return Vec::new();
    };
    // The aim plays no part here.
    let aim = Aim {
        from_ms: 0.0,
        to_ms: 0.0,
    };
    let pairs = pair(sounds_s, presses_s, window, aim);
    pairs.iter().filter_map(|p| p.lag_ms).collect()
}

/// A set of lags as measured and with the observer taken off, in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Corrected {
    /// How many lags.
    pub n: usize,
    /// The mean of the lags as measured.
    pub raw_mean_ms: f64,
    /// Their standard deviation, divisor n − 1.
    pub raw_spread_ms: f64,
    /// The mean without the observer's bias.
    pub mean_ms: f64,
    /// Its standard uncertainty, of lags and observer together.
    pub mean_u_ms: f64,
    /// Its interval at 95 %, by Student's t with Welch's and Satterthwaite's
    /// degrees of freedom.
    pub mean_interval: Option<Interval>,
    /// The spread without the observer's: the root of the variances' difference;
    /// 0 where the observer's is the larger.
    pub spread_ms: f64,
    /// Its interval at 95 %, its ends held at 0 or above.
    pub spread_interval: Option<Interval>,
    /// Whether the observer's own spread swallows the trainer's: the interval of
    /// the spread reaches down to 0.
    pub is_swallowed: bool,
}

impl Corrected {
    /// One lag without the observer's bias; its own share of the observer's
    /// spread cannot be taken off.
    pub fn lag_ms(raw_ms: f64, observer: &Observer) -> f64 {
        raw_ms + observer.bias_ms
    }
}

/// Takes the observer off lags in milliseconds, whose moments they keyed.
///
/// Lags that are not finite are left out; `None` below two. The spread's
/// interval is the modified large-sample one for a difference of variances.
/// Source: Ting N, Burdick RK, Graybill FA, Jeyaratnam S, Lu TFC (1990) J Stat
/// Comput Simul 35:135–143 (from memory; the coverage is tested). O(n).
pub fn correct(lags_ms: &[f64], observer: &Observer) -> Option<Corrected> {
    let lags: Running = lags_ms.iter().copied().collect();
    let (raw_mean_ms, raw_spread_ms) = (lags.mean()?, lags.sd_n1()?);
    let part = |name, spread: f64, n: usize| {
        Contribution::new(name, spread / (n as f64).sqrt()).with_degrees_of_freedom(n as f64 - 1.0)
    };
    let combined = combine(&[
        part("the lags", raw_spread_ms, lags.n()),
        part("the observer's bias", observer.spread_ms, observer.n),
    ])
    .ok()?;
    let mean_ms = raw_mean_ms + observer.bias_ms;
    let around = |half: f64| Interval {
        low: mean_ms - half,
        high: mean_ms + half,
        level: 0.95,
    };
    let own = raw_spread_ms.powi(2) - observer.spread_ms.powi(2);
    let spread_interval = difference_of_variances(
        (raw_spread_ms.powi(2), lags.n()),
        (observer.spread_ms.powi(2), observer.n),
        0.95,
    )
    .map(|i| Interval {
        low: i.low.max(0.0).sqrt(),
        high: i.high.max(0.0).sqrt(),
        level: i.level,
    });
    Some(Corrected {
        n: lags.n(),
        raw_mean_ms,
        raw_spread_ms,
        mean_ms,
        mean_u_ms: combined.standard_uncertainty,
        mean_interval: combined.expanded(0.95).map(around),
        spread_ms: own.max(0.0).sqrt(),
        spread_interval,
        is_swallowed: spread_interval.is_none_or(|i| i.low <= 0.0),
    })
}

/// The interval of σ₁² − σ₂² from two sample variances, each with its n.
fn difference_of_variances(one: (f64, usize), two: (f64, usize), level: f64) -> Option<Interval> {
    let ((v1, n1), (v2, n2)) = (one, two);
    if n1 < 2 || n2 < 2 || !level_is_usable(level) {
        return None;
    }
    let tail = 0.5 - level / 2.0;
    let (d1, d2) = (n1 as f64 - 1.0, n2 as f64 - 1.0);
    // F with infinite second degrees of freedom is χ²/d.
    let of_chi = |p: f64, d: f64| Some(ChiSquared::new(d).ok()?.inverse_cdf(p) / d);
    let g = |d: f64| Some(1.0 - 1.0 / of_chi(1.0 - tail, d)?);
    let h = |d: f64| Some(1.0 / of_chi(tail, d)? - 1.0);
    let (g1, h1, g2, h2) = (g(d1)?, h(d1)?, g(d2)?, h(d2)?);
    let upper = f_quantile(1.0 - tail, d1, d2)?;
    let lower = f_quantile(tail, d1, d2)?;
    let g12 = ((upper - 1.0).powi(2) - g1.powi(2) * upper.powi(2) - h2.powi(2)) / upper;
    let h12 = ((1.0 - lower).powi(2) - h1.powi(2) * lower.powi(2) - g2.powi(2)) / lower;
    let below = (g1 * v1).powi(2) + (h2 * v2).powi(2) + g12 * v1 * v2;
    let above = (h1 * v1).powi(2) + (g2 * v2).powi(2) + h12 * v1 * v2;
    Some(Interval {
        low: v1 - v2 - below.max(0.0).sqrt(),
        high: v1 - v2 + above.max(0.0).sqrt(),
        level,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close};

    /// By hand: errors 10, 20, 30, 40, 50: bias 30, spread √250. Lags −10, 30,
    /// 70: mean 30, spread 40; corrected mean 60, spread √(1600 − 250).
    #[test]
    fn by_hand() {
        let who = observer(&[10.0, 20.0, 30.0, 40.0, 50.0, f64::NAN]).unwrap();
        assert_eq!((who.n, who.bias_ms), (5, 30.0));
        assert_close(who.spread_ms, 250f64.sqrt(), 1e-12);
        let got = correct(&[-10.0, 30.0, 70.0], &who).unwrap();
        assert_eq!((got.raw_mean_ms, got.mean_ms), (30.0, 60.0));
        assert_close(got.spread_ms, 1350f64.sqrt(), 1e-9);
        assert_close(got.mean_u_ms, (1600.0 / 3.0 + 250.0 / 5.0f64).sqrt(), 1e-9);
        assert_eq!(Corrected::lag_ms(-10.0, &who), 20.0);
        assert!(observer(&[1.0; 4]).is_none());
        assert!(correct(&[5.0], &who).is_none());
    }

    #[test]
    fn presses_are_held_against_the_nearest_sounds() {
        let errors = key_errors_ms(&[1.0, 5.0, 9.0], &[1.05, 4.9, 20.0]);
        assert_eq!(errors.len(), 2);
        assert_close(errors[0], 50.0, 1e-9);
        assert_close(errors[1], -100.0, 1e-9);
    }

    #[test]
    fn a_variance_is_never_below_zero_and_that_is_said() {
        let who = Observer {
            n: 20,
            bias_ms: 0.0,
            spread_ms: 80.0,
        };
        let got = correct(&[0.0, 20.0, 40.0, 60.0], &who).unwrap();
        assert_eq!(got.spread_ms, 0.0);
        assert!(got.is_swallowed);
        let interval = got.spread_interval.unwrap();
        assert!(interval.low == 0.0 && interval.high >= 0.0);
        let steady = Observer {
            spread_ms: 1.0,
            ..who
        };
        let clear = correct(&[0.0, 20.0, 40.0, 60.0, 80.0, 100.0], &steady).unwrap();
        assert!(!clear.is_swallowed);
    }

    /// Simulation with known truth: 2,000 observers and trainers each. The
    /// interval of the mean and that of the spread hold the truth 95 % of the
    /// time (four standard errors of 0.5 % are allowed).
    #[test]
    fn the_truth_lies_in_the_intervals_95_times_in_100() {
        for (seed, n_lags, n_presses, lag_sd, bias, spread) in [
            (11, 20, 20, 90.0, 120.0, 40.0),
            (12, 60, 30, 60.0, -35.0, 50.0),
            (13, 12, 15, 150.0, 200.0, 30.0),
        ] {
            let mut chance = Chance::new(seed);
            let (mut mean_in, mut spread_in) = (0, 0);
            let runs = 2_000;
            for _ in 0..runs {
                let errors: Vec<f64> = (0..n_presses)
                    .map(|_| bias + spread * chance.normal())
                    .collect();
                let who = observer(&errors).unwrap();
                let raw: Vec<f64> = (0..n_lags)
                    .map(|_| {
                        let lag = 180.0 + lag_sd * chance.normal();
                        lag - (bias + spread * chance.normal())
                    })
                    .collect();
                let got = correct(&raw, &who).unwrap();
                mean_in += u32::from(got.mean_interval.unwrap().contains(180.0));
                spread_in += u32::from(got.spread_interval.unwrap().contains(lag_sd));
            }
            for (what, count) in [("mean", mean_in), ("spread", spread_in)] {
                let share = f64::from(count) / f64::from(runs);
                println!("{what}: {share}");
                assert!((share - 0.95).abs() < 0.02, "{what}, seed {seed}: {share}");
            }
        }
    }
}
