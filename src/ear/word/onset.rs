//! The word's onset in a clean take.

use super::RATE_HZ;
use crate::ear::filter::{Biquad, Section};
use crate::ear::pick::aic_onset;

/// The hum of a stop's closure, and rumble, lie under this; all releases, vowels and
/// glides reach over it, in hertz.
const EDGE_HZ: f64 = 500.0;
/// The level is taken over so many samples: 2 ms.
const OVER: usize = 32;
/// A word begins where its level is at least this part of its loudest 10 ms (ratio of
/// power): -30 dB.
const FAINT: f32 = 1e-3;
/// A nasal or a glide begins with its voice, which lies over this, in hertz,
const VOICE_HZ: f64 = 120.0;
/// and is at least this part of the loudest 10 ms (ratio of power): -20 dB. The hum of
/// a stop's closure is fainter.
const FAINT_LOW: f32 = 1e-2;
/// And this many times over the background (power).
const OVER_NOISE: f32 = 6.0;
/// Akaike's criterion settles it from this long before, in seconds,
const BEFORE_S: f64 = 0.008;
/// to this long after it.
const AFTER_S: f64 = 0.006;
/// Sound before a take from which the background is known, in seconds.
pub const LEAD_S: f64 = 0.100;

/// Sample of `stretch` (16 kHz) at which the word begins; its first [`LEAD_S`] are
/// background and the rest is the word. The lowest band in which it begins decides.
pub fn rise(stretch: &[f32]) -> Option<usize> {
    let over = rise_over(stretch, EDGE_HZ, FAINT);
    let low = rise_over(stretch, VOICE_HZ, FAINT_LOW);
    match (over, low) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

/// Where what is over `edge_hz` rises to the part `faint` of its loudest.
fn rise_over(stretch: &[f32], edge_hz: f64, faint: f32) -> Option<usize> {
    let mut filters = [0; 2].map(|_| Biquad::new(Section::high_pass(edge_hz, RATE_HZ)));
    filters[0].settle(f64::from(*stretch.first()?));
    let view: Vec<f32> = stretch
        .iter()
        .map(|x| {
            let once = filters[0].step(f64::from(*x));
            filters[1].step(once) as f32
        })
        .collect();
    let levels: Vec<f32> = view
        .windows(OVER)
        .map(|w| w.iter().map(|v| v * v).sum::<f32>() / OVER as f32)
        .collect();
    let loudest = levels
        .windows(5 * OVER)
        .map(|w| w.iter().step_by(OVER).sum::<f32>() / 5.0)
        .fold(0.0, f32::max);
    let settle = OVER;
    let lead = ((LEAD_S * RATE_HZ) as usize).min(levels.len());
    let mut quiet: Vec<f32> = levels.get(settle..lead)?.to_vec();
    quiet.sort_by(f32::total_cmp);
    let noise = quiet.get(quiet.len() / 4).copied().unwrap_or(0.0);
    let bar = (faint * loudest).max(OVER_NOISE * noise);
    let first = settle + levels.get(settle..)?.iter().position(|l| *l > bar)? + OVER / 2;
    let from = first.saturating_sub((BEFORE_S * RATE_HZ) as usize);
    let until = (first + (AFTER_S * RATE_HZ) as usize).min(view.len());
    Some(aic_onset(&view[from..until], 1e-12).map_or(first, |(at, _)| from + at))
}
