//! The pace: marks a minute, breaks left out.

use serde::{Deserialize, Serialize};

/// A pace over less than this, in seconds, is not told: one mark after one second
/// would be 60 a minute. A convention of this program.
const FROM_S: f64 = 20.0;

/// Marks a minute (rate of reinforcement where every mark is paid: count ÷
/// minutes, common practice).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Pace {
    /// Time without breaks, in seconds.
    pub active_s: f64,
    /// Over the whole session; `None` before 20 s without breaks have passed.
    pub per_min: Option<f64>,
    /// Over the latest minute without breaks, or less where there was less; `None`
    /// as above.
    pub latest_per_min: Option<f64>,
}

/// The pace at `now_s` of marks at `marks_s`, in seconds, with `breaks` as
/// (from, to). O(marks + breaks).
pub fn pace(marks_s: &[f64], breaks: &[(f64, f64)], now_s: f64) -> Pace {
    let active_s = active(0.0, now_s, breaks);
    let latest_s = before(now_s, 60.0, breaks);
    let latest = marks_s.iter().filter(|t| **t >= latest_s && **t <= now_s);
    Pace {
        active_s,
        per_min: told(marks_s.iter().filter(|t| **t <= now_s).count(), active_s),
        latest_per_min: told(latest.count(), active(latest_s, now_s, breaks)),
    }
}

fn told(count: usize, span_s: f64) -> Option<f64> {
    per_min(count, span_s).filter(|_| span_s >= FROM_S)
}

/// Seconds from `from_s` to `to_s` that are not in a break.
pub(super) fn active(from_s: f64, to_s: f64, breaks: &[(f64, f64)]) -> f64 {
    let rest: f64 = breaks
        .iter()
        .map(|(a, b)| (b.min(to_s) - a.max(from_s)).max(0.0))
        .sum();
    (to_s - from_s - rest).max(0.0)
}

/// The instant before which `span_s` of active time lie up to `now_s`; 0 where
/// there is less.
pub(super) fn before(now_s: f64, span_s: f64, breaks: &[(f64, f64)]) -> f64 {
    let mut from_s = now_s - span_s;
    for (a, b) in breaks.iter().rev() {
        if *b > from_s {
            from_s -= (b.min(now_s) - a.min(now_s)).max(0.0);
        }
    }
    from_s.max(0.0)
}

pub(super) fn per_min(count: usize, span_s: f64) -> Option<f64> {
    (span_s > 0.0).then(|| 60.0 * count as f64 / span_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 12 marks in 120 s of which 40 s are a break are 9 a minute; the
    /// last active minute reaches back from 120 s to 20 s over the break.
    #[test]
    fn breaks_are_left_out() {
        let marks: Vec<f64> = (0..12).map(|k| f64::from(k) * 4.0).collect();
        let got = pace(&marks, &[(50.0, 90.0)], 120.0);
        assert_eq!(got.active_s, 80.0);
        assert_eq!(got.per_min, Some(9.0));
        // Marks at 20, 24 … 44 s: seven in the last active minute.
        assert_eq!(got.latest_per_min, Some(7.0));
    }

    #[test]
    fn young_sessions_and_empty_ones() {
        assert_eq!(pace(&[], &[], 0.0).per_min, None);
        // One mark in the first second is no 60 a minute.
        for now_s in [1.0, 19.9] {
            let young = pace(&[0.5, 1.0], &[], now_s);
            assert_eq!((young.per_min, young.latest_per_min), (None, None));
        }
        let young = pace(&[1.0, 5.0], &[], 20.0);
        assert_eq!(young.latest_per_min, Some(6.0));
        assert_eq!(young.per_min, Some(6.0));
        let mostly_break = pace(&[1.0, 5.0], &[(10.0, 50.0)], 55.0);
        assert_eq!(mostly_break.per_min, None);
        let all_break = pace(&[], &[(0.0, 9.0)], 9.0);
        assert_eq!((all_break.per_min, all_break.latest_per_min), (None, None));
    }
}
