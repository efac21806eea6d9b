//! The word's onset: where the takes say it lies, then exactly on the samples.

use super::RATE_HZ;
use crate::ear::filter::{Biquad, Section};
use crate::ear::pick::aic_onset;

/// The picker looks from this long before the guess, in seconds,
pub const BEFORE_S: f64 = 0.050;
/// to this long after it.
pub const AFTER_S: f64 = 0.030;
/// Hum and rumble under this are left out, in hertz.
const EDGE_HZ: f64 = 120.0;
/// Time the filter has to settle, in seconds.
pub const SETTLE_S: f64 = 0.020;

/// Sample of `stretch` (16 kHz) at which the sound rises; the first
/// [`SETTLE_S`] are for the filter only.
pub fn rise(stretch: &[f32]) -> Option<usize> {
    let settle = (SETTLE_S * RATE_HZ) as usize;
    let mut filter = Biquad::new(Section::high_pass(EDGE_HZ, RATE_HZ));
    filter.settle(f64::from(*stretch.first()?));
    let view: Vec<f32> = stretch
        .iter()
        .map(|x| filter.step(f64::from(*x)) as f32)
        .collect();
    let (at, _) = aic_onset(view.get(settle..)?, 1e-12)?;
    Some(settle + at)
}
