//! A bang placed on its exact sample.

use super::bands::Rise;
use super::history::History;
use super::pick::aic_onset;

/// How long before a rise its onset may lie, in seconds.
const BEFORE_S: f64 = 0.012;
/// How long after the rise the stretch goes on, in seconds.
const AFTER_S: f64 = 0.003;
/// Variance far below any microphone's noise.
const FLOOR: f64 = 1e-14;

/// Finds onsets of rises; keeps its work space.
pub struct Placer {
    work: Vec<f32>,
    before: i64,
}

impl Placer {
    /// Work space for a sample rate.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            work: vec![0.0; ((BEFORE_S + AFTER_S) * rate_hz) as usize],
            before: (BEFORE_S * rate_hz) as i64,
        }
    }

    /// Samples after a rise that must be there.
    pub fn reach(&self) -> u64 {
        self.work.len() as u64 - self.before as u64
    }

    /// The sample at which the sound of `rise` begins: of the given views of the
    /// stream, the one in which the change is clearest decides.
    pub fn place(&mut self, rise: Rise, views: &[&History]) -> u64 {
        let from = rise.at as i64 - self.before;
        // What lies before the stream is not silence that something rises from.
        let skip = (-from).max(0) as usize;
        let mut best: Option<(u64, f64)> = None;
        for view in views {
            view.copy(from, &mut self.work);
            if let Some((k, gain)) = self.work.get(skip..).and_then(|x| aic_onset(x, FLOOR))
                && best.is_none_or(|(_, g)| gain > g)
            {
                best = Some(((from + (skip + k) as i64).max(0) as u64, gain));
            }
        }
        best.map_or(rise.at, |(at, _)| at)
    }
}
