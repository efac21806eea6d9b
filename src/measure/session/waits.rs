//! The waits of a session that pairs the bridge with food. A fixed rhythm
//! teaches the rhythm, so the waits should vary (common practice, no source).

use serde::{Deserialize, Serialize};

use crate::measure::median::median;
use crate::measure::running::Running;

/// Spread over mean below which waits are called much alike: a convention of
/// this program.
const ALIKE_BELOW: f64 = 0.2;

/// The waits from one mark to the next.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Waits {
    /// How many.
    pub n: usize,
    /// Their median in seconds.
    pub median_s: Option<f64>,
    /// The shortest in seconds.
    pub shortest_s: Option<f64>,
    /// The longest in seconds.
    pub longest_s: Option<f64>,
    /// Coefficient of variation: standard deviation (divisor n − 1) over mean.
    pub variation: Option<f64>,
}

impl Waits {
    /// Whether the waits are much alike; `None` below five of them.
    pub fn are_alike(&self) -> Option<bool> {
        let variation = self.variation.filter(|_| self.n >= 5)?;
        Some(variation < ALIKE_BELOW)
    }
}

/// The waits between marks at ascending seconds. O(n log n).
pub fn waits(marks_s: &[f64]) -> Waits {
    let gaps: Vec<f64> = marks_s.windows(2).map(|two| two[1] - two[0]).collect();
    let running: Running = gaps.iter().copied().collect();
    Waits {
        n: gaps.len(),
        median_s: median(&gaps),
        shortest_s: running.min(),
        longest_s: running.max(),
        variation: running
            .sd_n1()
            .zip(running.mean().filter(|m| *m > 0.0))
            .map(|(sd, mean)| sd / mean),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: waits 4, 6, 8, 10, 12: mean 8, sample SD √10.
    #[test]
    fn by_hand() {
        let got = waits(&[0.0, 4.0, 10.0, 18.0, 28.0, 40.0]);
        assert_eq!((got.n, got.median_s), (5, Some(8.0)));
        assert_eq!((got.shortest_s, got.longest_s), (Some(4.0), Some(12.0)));
        assert!((got.variation.unwrap() - 10f64.sqrt() / 8.0).abs() < 1e-12);
        assert_eq!(got.are_alike(), Some(false));
        let fixed: Vec<f64> = (0..9).map(|k| f64::from(k) * 5.0).collect();
        assert_eq!(waits(&fixed).are_alike(), Some(true));
        assert_eq!(waits(&[1.0, 2.0]).are_alike(), None);
        assert_eq!(waits(&[]).median_s, None);
    }
}
