//! The short sounds of a lesson that stand out.

use super::{TeachError, is_clipped, median};
use crate::ear::{Ear, Heard};

/// Most sounds that are looked at; the strongest are kept.
const MOST_SOUNDS: usize = 120;

/// Sounds closer than this are one sound and its echo, in seconds.
const SAME_S: f64 = 0.025;

/// A click is over after this time, in seconds; what rings or sounds on until
/// the later time with more than this part of its power is none (−8 dB; a room's
/// echo is some 15 dB down).
const OVER_S: (f64, f64) = (0.012, 0.028);

const HEAD_S: f64 = 0.006;

const SOUNDS_ON: f64 = 0.16;

pub(super) struct Lesson<'a> {
    pub(super) samples: &'a [f32],
    pub(super) view: &'a [f32],
    pub(super) rate_hz: f64,
    pub(super) noise: f64,
}

impl Lesson<'_> {
    pub(super) fn span(&self, s: f64) -> usize {
        (s * self.rate_hz).round() as usize
    }

    /// RMS of the quieter half of the recording, in the click view.
    pub(super) fn noise_rms(&self) -> f64 {
        let block = self.span(0.01).max(1);
        let powers: Vec<f64> = self
            .view
            .chunks(block)
            .map(|c| c.iter().map(|v| f64::from(*v) * f64::from(*v)).sum::<f64>() / c.len() as f64)
            .collect();
        median(powers).sqrt()
    }

    pub(super) fn peak(&self, x: &[f32], at: u64) -> f32 {
        let from = (at as usize).min(x.len());
        let to = (from + self.span(0.008)).min(x.len());
        x[from..to].iter().fold(0.0, |a, v| a.max(v.abs()))
    }

    pub(super) fn over_noise_db(&self, at: u64) -> f64 {
        20.0 * (f64::from(self.peak(self.view, at)) / self.noise.max(1e-9))
            .max(1e-9)
            .log10()
    }

    /// Whether the sound at `at` is over as soon as a click is, what was there
    /// before it taken off.
    pub(super) fn is_short(&self, at: u64) -> bool {
        let power = |from: usize, to: usize| {
            let x = &self.view[from.min(self.view.len())..to.min(self.view.len())];
            let sum: f64 = x.iter().map(|v| f64::from(*v) * f64::from(*v)).sum();
            sum / x.len().max(1) as f64
        };
        let (at, span) = (at as usize, |s: f64| self.span(s));
        let before = power(
            at.saturating_sub(span(0.012)),
            at.saturating_sub(span(0.002)),
        );
        let noise = before.min(self.noise * self.noise);
        let head = power(at, at + span(HEAD_S));
        let later = power(at + span(OVER_S.0), at + span(OVER_S.1));
        later - noise <= SOUNDS_ON * (head - noise)
    }

    /// Short sounds that stand out, in order of time, each with its exact onset.
    pub(super) fn sounds(&self, rate_hz: u32) -> Result<Vec<u64>, TeachError> {
        let mut ear = Ear::new(rate_hz, &[])?;
        let mut sounds = Vec::new();
        let mut keep = |heard: Heard| sounds.push(heard.at);
        ear.push(self.samples, &mut keep)?;
        ear.finish(&mut keep)?;
        let mut strong: Vec<(u64, f32)> = sounds
            .into_iter()
            .filter(|at| {
                self.over_noise_db(*at) > 10.0
                    && (self.is_short(*at) || is_clipped(self.samples, *at, self.rate_hz))
            })
            .map(|at| (at, self.peak(self.view, at)))
            .collect();
        strong.sort_by(|a, b| b.1.total_cmp(&a.1));
        let near = self.span(SAME_S) as u64;
        let mut kept: Vec<u64> = Vec::new();
        for (at, _) in strong {
            if kept.len() < MOST_SOUNDS && kept.iter().all(|k| k.abs_diff(at) > near) {
                kept.push(at);
            }
        }
        kept.sort_unstable();
        Ok(kept)
    }
}
