//! A share of a count, with the interval it deserves.

use serde::{Deserialize, Serialize};

use super::distributions::z_two_sided;
use super::interval::Interval;

/// The Wilson score interval for `count` out of `of`, as shares from 0 to 1.
///
/// `None` when `of` is 0, `count` exceeds `of`, or the level is not between 0
/// and 1. O(1). Source: Wilson EB (1927) J Am Stat Assoc 22:209–212.
pub fn wilson(count: usize, of: usize, level: f64) -> Option<Interval> {
    if of == 0 || count > of {
        return None;
    }
    let z = z_two_sided(level)?;
    let n = of as f64;
    let share = count as f64 / n;
    let scale = 1.0 + z * z / n;
    let middle = (share + z * z / (2.0 * n)) / scale;
    let half = z / scale * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    // At none and at all the formula's end is exactly 0 or 1; rounding is kept off it.
    let low = if count == 0 {
        0.0
    } else {
        (middle - half).max(0.0)
    };
    let high = if count == of {
        1.0
    } else {
        (middle + half).min(1.0)
    };
    Some(Interval { low, high, level })
}

/// A count out of a total, its share and the share's Wilson 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// How many.
    pub count: usize,
    /// Out of how many.
    pub of: usize,
    /// `count / of`, 0 to 1; `None` out of nothing.
    pub share: Option<f64>,
    /// Lower end of the Wilson 95 % interval, 0 to 1; `None` out of nothing.
    pub low: Option<f64>,
    /// Upper end of the Wilson 95 % interval, 0 to 1; `None` out of nothing.
    pub high: Option<f64>,
}

impl Share {
    /// `count` out of `of`; the undefined parts are `None`.
    pub fn new(count: usize, of: usize) -> Self {
        let interval = wilson(count, of, 0.95);
        Self {
            count,
            of,
            share: interval.map(|_| count as f64 / of as f64),
            low: interval.map(|i| i.low),
            high: interval.map(|i| i.high),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, reference};

    /// Source: Wilson 1927, values computed with numpy.
    #[test]
    fn worked_examples() {
        for (count, of, low, high) in [
            (8, 10, 0.49016, 0.94332),
            (16, 20, 0.58398, 0.91934),
            (80, 100, 0.71117, 0.86663),
            (9, 10, 0.59585, 0.98212),
            (10, 10, 0.72247, 1.0),
        ] {
            let interval = wilson(count, of, 0.95).unwrap();
            assert_close(interval.low, low, 5e-6);
            assert_close(interval.high, high, 5e-6);
        }
    }

    /// Source: statsmodels proportion_confint(method="wilson").
    #[test]
    fn agrees_with_statsmodels() {
        for row in reference()["wilson"].as_array().unwrap() {
            let interval = wilson(
                row[0].as_u64().unwrap() as usize,
                row[1].as_u64().unwrap() as usize,
                row[2].as_f64().unwrap(),
            )
            .unwrap();
            assert_close(interval.low, row[3].as_f64().unwrap(), 1e-9);
            assert_close(interval.high, row[4].as_f64().unwrap(), 1e-9);
        }
    }

    #[test]
    fn edges() {
        assert_eq!(wilson(0, 0, 0.95), None);
        assert_eq!(wilson(3, 2, 0.95), None);
        assert_eq!(wilson(1, 2, 1.0), None);
        assert_eq!(wilson(1, 2, f64::NAN), None);
        let none = wilson(0, 5, 0.95).unwrap();
        assert_eq!(none.low, 0.0);
        assert!(none.high > 0.3 && none.high < 0.6);
        assert_eq!(wilson(5, 5, 0.95).unwrap().high, 1.0);
        let nothing = Share::new(0, 0);
        assert_eq!(
            (nothing.share, nothing.low, nothing.high),
            (None, None, None)
        );
        assert_eq!(Share::new(1, 4).share, Some(0.25));
    }

    /// The count is discrete, so that the coverage swings about the level from
    /// share to share (Brown, Cai, DasGupta 2001 Stat Sci 16:101): 92–98 % at
    /// each share, 94–96 % on average.
    #[test]
    fn covers_near_the_level() {
        let mut chance = Chance::new(5);
        let shares: Vec<f64> = (2..=18).map(|i| f64::from(i) / 20.0).collect();
        let mut total = 0;
        for share in &shares {
            let mut covered = 0;
            for _ in 0..2_000 {
                let count = (0..30).filter(|_| chance.uniform() < *share).count();
                covered += u32::from(wilson(count, 30, 0.95).unwrap().contains(*share));
            }
            let rate = f64::from(covered) / 2_000.0;
            assert!((0.92..=0.985).contains(&rate), "at {share} covered {rate}");
            total += covered;
        }
        let mean = f64::from(total) / (2_000.0 * shares.len() as f64);
        assert!((0.94..=0.96).contains(&mean), "on average covered {mean}");
    }
}
