//! What is kept of a taught click.

use super::print::Print;
use serde::{Deserialize, Serialize};

/// Version of the profile format that this program writes and reads.
pub const PROFILE_VERSION: u32 = 2;
/// The oldest version that can still be heard: it has no prints.
pub(super) const OLDEST_VERSION: u32 = 1;

/// Time before the onset that a taught sound keeps, in seconds.
pub const BEFORE_S: f64 = 0.001;
/// Time after the onset that a taught sound keeps, in seconds.
pub const AFTER_S: f64 = 0.011;

/// A taught click: what its press sounds like, and its release.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClickProfile {
    /// Format version.
    pub version: u32,
    /// The trainer's name for it.
    pub name: String,
    /// Sample rate of the waveforms below, in hertz.
    pub rate_hz: u32,
    /// Mean of the aligned presses above 1.5 kHz, peak 1, from 1 ms before the
    /// onset on.
    pub press: Vec<f32>,
    /// Mean of the aligned releases likewise; empty when none was heard.
    pub release: Vec<f32>,
    /// Shortest and longest time from press to release that was heard, in
    /// seconds; `None` when no release was heard.
    pub held_s: Option<(f64, f64)>,
    /// Power of the press below 1 kHz over its power above 1.5 kHz, the largest of
    /// the examples, in dB: more than that is a bang at the same instant.
    pub low_over_high_db: f64,
    /// How long before its strongest blow, where the waveforms begin, the click begins, in
    /// seconds.
    #[serde(default)]
    pub lead_s: f64,
    /// Mean print of the presses, from where the waveforms begin.
    #[serde(default)]
    pub print: Option<Print>,
    /// Mean print of the releases likewise.
    #[serde(default)]
    pub release_print: Option<Print>,
    /// How alike each press's print is to the mean: the lowest tenth (−1 to 1).
    #[serde(default)]
    pub prints_alike: f64,
    /// How many presses it was made from.
    pub examples: usize,
    /// How well each press fits the others: the lower quartile of the fit (0 to 1).
    pub agreement: f64,
    /// Spread of the presses' spectra about their mean, in dB.
    pub spread_db: f64,
    /// Peak of the typical press when it was taught, dB re full scale.
    pub level_dbfs: f64,
    /// Peak of the typical press over the noise (RMS) when it was taught, in dB.
    pub over_noise_db: f64,
}

impl ClickProfile {
    /// Whether the waveforms can be used at all.
    pub(super) fn check(&self) -> Result<(), super::EarError> {
        let usable = |x: &[f32]| {
            x.iter().all(|v| v.is_finite() && v.abs() < 1e6) && x.iter().any(|v| *v != 0.0)
        };
        let length = |x: &[f32]| {
            let s = x.len() as f64 / f64::from(self.rate_hz.max(1));
            s > 0.9 * (BEFORE_S + AFTER_S) && s < 2.0 * (BEFORE_S + AFTER_S)
        };
        let good = (8_000..=192_000).contains(&self.rate_hz)
            && usable(&self.press)
            && length(&self.press)
            && (self.release.is_empty() || (usable(&self.release) && length(&self.release)))
            && (0.0..0.1).contains(&self.lead_s)
            && [&self.print, &self.release_print]
                .into_iter()
                .flatten()
                .all(Print::is_usable);
        if good {
            Ok(())
        } else {
            Err(super::EarError::ProfileDamaged(self.name.clone()))
        }
    }
}
