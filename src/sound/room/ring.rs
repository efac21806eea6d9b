//! Struck things: a sum of damped modes and a short burst of contact noise.

use super::Dice;
use std::f64::consts::TAU;

/// One damped mode of a struck thing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mode {
    /// Frequency in hertz.
    pub hz: f64,
    /// Time in which the amplitude falls to 1/e, in seconds.
    pub decay_s: f64,
    /// Amplitude relative to the other modes.
    pub gain: f64,
    /// Phase in radians at the instant of the blow.
    pub phase: f64,
}

/// A struck thing: what one blow sounds like.
#[derive(Debug, Clone, PartialEq)]
pub struct Ringing {
    /// Its modes.
    pub modes: Vec<Mode>,
    /// Contact noise relative to the modes' sum of gains.
    pub noise_gain: f64,
    /// Time in which the noise falls to 1/e, in seconds.
    pub noise_decay_s: f64,
    /// Blows within one sound: (seconds after the first, gain). The first is (0, 1).
    pub blows: Vec<(f64, f64)>,
    /// Time over which a soft contact rises, in seconds; 0 is a hard edge.
    pub rise_s: f64,
}

/// How far two blows of the same thing differ: relative standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wobble {
    /// Of each mode's gain.
    pub gain: f64,
    /// Of each mode's frequency.
    pub hz: f64,
    /// Of the instants of the later blows.
    pub blows: f64,
}

impl Ringing {
    /// Samples of one sound, its first sample being the instant of the blow,
    /// scaled to a peak of 1. The noise and the wobble come from `dice`.
    pub fn strike(&self, rate_hz: f64, wobble: Wobble, dice: &mut Dice) -> Vec<f32> {
        let longest = self
            .modes
            .iter()
            .fold(self.noise_decay_s, |a, m| a.max(m.decay_s));
        let last_blow = self.blows.iter().fold(0.0f64, |a, b| a.max(b.0));
        let length = ((7.0 * longest + 1.2 * last_blow + self.rise_s) * rate_hz) as usize + 2;
        let modes: Vec<Mode> = self
            .modes
            .iter()
            .filter(|m| m.hz < 0.48 * rate_hz)
            .map(|m| Mode {
                hz: m.hz * dice.about_one(wobble.hz),
                gain: m.gain * dice.about_one(wobble.gain),
                ..*m
            })
            .collect();
        let mut one = vec![0.0f64; length];
        for mode in &modes {
            for (n, y) in one.iter_mut().enumerate() {
                let t = n as f64 / rate_hz;
                *y +=
                    mode.gain * (-t / mode.decay_s).exp() * (TAU * mode.hz * t + mode.phase).sin();
            }
        }
        if self.noise_gain > 0.0 {
            for (n, y) in one.iter_mut().enumerate() {
                let t = n as f64 / rate_hz;
                *y += self.noise_gain * (-t / self.noise_decay_s).exp() * dice.normal();
            }
        }
        if self.rise_s > 0.0 {
            for (n, y) in one.iter_mut().enumerate() {
                let t = n as f64 / rate_hz;
                *y *= 1.0 - (-t / self.rise_s).exp();
            }
        }
        let mut sum = vec![0.0f64; length];
        for (k, &(after_s, gain)) in self.blows.iter().enumerate() {
            let wobbled = if k == 0 {
                0.0
            } else {
                after_s * dice.about_one(wobble.blows)
            };
            let gain = if k == 0 {
                gain
            } else {
                gain * dice.about_one(wobble.gain)
            };
            let shift = (wobbled * rate_hz).round() as usize;
            for n in shift..length {
                sum[n] += gain * one[n - shift];
            }
        }
        let peak = sum.iter().fold(1e-12f64, |a, y| a.max(y.abs()));
        sum.iter().map(|y| (y / peak) as f32).collect()
    }
}
