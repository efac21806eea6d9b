//! A bang placed on its exact sample.

use super::bands::Rise;
use super::history::History;
use super::pick::{Splits, aic_onset};

/// How long before a rise its onset may lie, in seconds.
const BEFORE_S: f64 = 0.012;
/// How long after the rise the stretch goes on, in seconds.
const AFTER_S: f64 = 0.003;
/// The second look reaches this far before and after the first one's onset.
const AGAIN_BEFORE_S: f64 = 0.005;
const AGAIN_AFTER_S: f64 = 0.0007;
/// Variance far below any microphone's noise.
const FLOOR: f64 = 1e-14;

/// What the second look must show to be believed: so much more power behind its onset
/// than before it, and this gain of likelihood. In noise it sees changes that are none
/// (chosen on made-up rooms of seeds 7000 to 7007).
const AGAIN_STRONGER: f64 = 4.0;
const AGAIN_GAIN: f64 = 12.0;

/// Most views that one bang is looked for in.
const VIEWS: usize = 2;

/// Where a bang begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Its first sample.
    pub at: u64,
    /// Standard uncertainty of that, in samples.
    pub u_samples: f32,
}

/// Finds onsets of rises; keeps its work space.
pub struct Placer {
    work: Vec<f32>,
    /// Of each view that was looked at.
    splits: [Splits; VIEWS],
    before: i64,
    again_before: usize,
    again_after: usize,
}

impl Placer {
    /// Work space for a sample rate.
    pub fn new(rate_hz: f64) -> Self {
        let samples = ((BEFORE_S + AFTER_S) * rate_hz) as usize;
        Self {
            work: vec![0.0; samples],
            splits: std::array::from_fn(|_| Splits::new(samples)),
            before: (BEFORE_S * rate_hz) as i64,
            again_before: (AGAIN_BEFORE_S * rate_hz) as usize,
            again_after: (AGAIN_AFTER_S * rate_hz) as usize,
        }
    }

    /// Samples after a rise that must be there.
    pub fn reach(&self) -> u64 {
        self.work.len() as u64 - self.before as u64
    }

    /// The sample at which the sound of `rise` begins: of the given views of the
    /// stream (at most two), the one in which the change is clearest decides. Then
    /// where each view alone has it begin, without the second look.
    pub fn place<const N: usize>(
        &mut self,
        rise: Rise,
        views: [&History; N],
    ) -> (Placed, [u64; N]) {
        let from = rise.at as i64 - self.before;
        // What lies before the stream is not silence that something rises from.
        let skip = (-from).max(0) as usize;
        let sample = |k: usize| (from + k as i64).max(0) as u64;
        let mut alone = [rise.at; N];
        let mut best: Option<(usize, f64, usize)> = None;
        for (view, (history, splits)) in views.iter().zip(&mut self.splits).enumerate() {
            history.copy(from, &mut self.work);
            if let Some((k, gain)) = self.work.get(skip..).and_then(|x| splits.onset(x, FLOOR)) {
                alone[view] = sample(skip + k);
                if best.is_none_or(|(_, g, _)| gain > g) {
                    best = Some((skip + k, gain, view));
                }
            }
        }
        let Some((first_k, _, view)) = best else {
            let placed = Placed {
                at: rise.at,
                u_samples: self.work.len() as f32,
            };
            return (placed, alone);
        };
        let k = if rise.low {
            views[view].copy(from, &mut self.work);
            self.again(first_k, skip)
        } else {
            first_k
        };
        let placed = Placed {
            at: sample(k),
            u_samples: self.splits[view].doubt(k - skip) as f32,
        };
        (placed, alone)
    }

    /// Once more with little of the sound itself: a soft contact begins before the
    /// loud part that the whole stretch is divided by.
    fn again(&self, k: usize, skip: usize) -> usize {
        let first = k.saturating_sub(self.again_before).max(skip);
        let last = (k + self.again_after).min(self.work.len());
        let Some(x) = self.work.get(first..last) else {
            return k;
        };
        match aic_onset(x, FLOOR) {
            Some((j, gain))
                if first + j < k && gain > AGAIN_GAIN && stronger(x, j) > AGAIN_STRONGER =>
            {
                first + j
            }
            _ => k,
        }
    }

    /// Where a bang begins between `from` and `until` in one view, and how much
    /// stronger it is than what goes before (power ratio).
    pub fn place_within(&mut self, from: u64, until: u64, view: &History) -> Option<(Placed, f64)> {
        let length = (until.saturating_sub(from) as usize).min(self.work.len());
        let work = &mut self.work[..length];
        view.copy(from as i64, work);
        let (k, _) = self.splits[0].onset(work, FLOOR)?;
        let placed = Placed {
            at: from + k as u64,
            u_samples: self.splits[0].doubt(k) as f32,
        };
        Some((placed, stronger(work, k)))
    }
}

/// How much more power `x` has from `k` on than before (ratio).
fn stronger(x: &[f32], k: usize) -> f64 {
    let power = |x: &[f32]| {
        x.iter().map(|v| f64::from(*v) * f64::from(*v)).sum::<f64>() / x.len().max(1) as f64
    };
    power(&x[k..]) / power(&x[..k]).max(FLOOR)
}
