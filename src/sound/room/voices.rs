//! What else is heard: speech-like sound, bird-like sound, bangs, claps, plucks.

use super::{Dice, Mode, Ringing, Wobble};
use std::f64::consts::TAU;

/// A two-pole resonator (a formant), unit gain at its peak.
struct Resonator {
    a1: f64,
    a2: f64,
    gain: f64,
    y1: f64,
    y2: f64,
}

impl Resonator {
    fn new(hz: f64, width_hz: f64, rate_hz: f64) -> Self {
        let r = (-std::f64::consts::PI * width_hz / rate_hz).exp();
        let w = TAU * hz / rate_hz;
        Self {
            a1: 2.0 * r * w.cos(),
            a2: -r * r,
            gain: (1.0 - r) * (1.0 - 2.0 * r * (2.0 * w).cos() + r * r).sqrt(),
            y1: 0.0,
            y2: 0.0,
        }
    }

    fn step(&mut self, x: f64) -> f64 {
        let y = self.gain * x + self.a1 * self.y1 + self.a2 * self.y2;
        self.y2 = self.y1;
        self.y1 = y;
        y
    }
}

fn to_peak(y: Vec<f64>) -> Vec<f32> {
    let peak = y.iter().fold(1e-12f64, |a, v| a.max(v.abs()));
    y.iter().map(|v| (v / peak) as f32).collect()
}

/// A made-up word: always the same syllables for a seed, about 0.42 s at a pace of
/// 1 (a tape run faster or slower), the same at every rate. Its peak is about 1.
pub fn word(rate_hz: f64, seed: u64, pace: f64) -> Vec<f32> {
    // The dice fall once a sample: one rate for all, then brought to the other.
    let sound = speech(48_000.0, 0.9, &mut Dice::new(seed));
    let first = sound.iter().position(|v| v.abs() > 0.05).unwrap_or(0);
    let length = (0.42 * rate_hz * pace) as usize;
    let fade = length / 10;
    let at = |k: usize| sound.get(k).copied().unwrap_or(0.0);
    (0..length)
        .map(|k| {
            let place = first as f64 + k as f64 * 48_000.0 / (rate_hz * pace);
            let (low, part) = (place as usize, place.fract() as f32);
            let v = at(low) + part * (at(low + 1) - at(low));
            v * ((length - k) as f32 / fade as f32).min(1.0)
        })
        .collect()
}

/// Speech-like sound: syllables of voiced formants, hisses and stop bursts, with
/// pauses; scaled to a peak of 1.
pub fn speech(rate_hz: f64, seconds: f64, dice: &mut Dice) -> Vec<f32> {
    let length = (seconds * rate_hz) as usize;
    let mut y = vec![0.0f64; length];
    let pitch_hz = dice.between(85.0, 240.0);
    let mut at = (dice.between(0.0, 0.3) * rate_hz) as usize;
    while at < length {
        let syllable = (dice.between(0.09, 0.28) * rate_hz) as usize;
        match dice.below(4) {
            0 => {
                // A hiss.
                let hz = dice
                    .between(2_500.0, 0.4 * rate_hz)
                    .max(500.0)
                    .min(0.45 * rate_hz);
                let mut formant = Resonator::new(hz, 1_800.0, rate_hz);
                let n = syllable / 2;
                for k in 0..n.min(length - at) {
                    let shape = (std::f64::consts::PI * k as f64 / n as f64).sin();
                    y[at + k] += 0.6 * shape * formant.step(dice.normal());
                }
                at += n;
            }
            1 => {
                // A stop: silence, then a burst.
                at += (dice.between(0.02, 0.08) * rate_hz) as usize;
                let hz = dice.between(500.0, 4_500.0).min(0.45 * rate_hz);
                let mut formant = Resonator::new(hz, 1_200.0, rate_hz);
                let n = (0.03 * rate_hz) as usize;
                for k in 0..n.min(length.saturating_sub(at)) {
                    let t = k as f64 / rate_hz;
                    y[at + k] +=
                        0.7 * (-t / dice.between(0.004, 0.005)).exp() * formant.step(dice.normal());
                }
            }
            _ => {}
        }
        if at >= length {
            break;
        }
        let mut formants = [
            Resonator::new(dice.between(280.0, 800.0), 70.0, rate_hz),
            Resonator::new(dice.between(900.0, 2_300.0), 100.0, rate_hz),
            Resonator::new(dice.between(2_300.0, 3_200.0), 160.0, rate_hz),
        ];
        let glide = dice.between(-0.25, 0.25);
        let mut phase = 0.0;
        for k in 0..syllable.min(length - at) {
            let part = k as f64 / syllable as f64;
            phase += pitch_hz * (1.0 + glide * part) / rate_hz;
            let pulse = if phase >= 1.0 {
                phase -= 1.0;
                1.0
            } else {
                0.0
            };
            let source = pulse + 0.01 * dice.normal();
            let shape = (std::f64::consts::PI * part).sin().sqrt();
            y[at + k] += shape
                * (3.0 * formants[0].step(source)
                    + 1.6 * formants[1].step(source)
                    + 0.8 * formants[2].step(source));
        }
        at += syllable;
        if dice.unit() < 0.25 {
            at += (dice.between(0.1, 0.6) * rate_hz) as usize;
        }
    }
    to_peak(y)
}

/// Bird-like sound: short swept whistles in groups; scaled to a peak of 1.
pub fn birds(rate_hz: f64, seconds: f64, dice: &mut Dice) -> Vec<f32> {
    let length = (seconds * rate_hz) as usize;
    let mut y = vec![0.0f64; length];
    let mut at_s = dice.between(0.0, 0.5);
    while at_s < seconds {
        let from_hz = dice.between(2_000.0, 7_000.0).min(0.4 * rate_hz);
        let sweep = dice.between(0.6, 1.5);
        let call_s = dice.between(0.03, 0.15);
        let attack = dice.between(0.05, 0.5);
        for _ in 0..1 + dice.below(6) {
            let start = (at_s * rate_hz) as usize;
            let n = (call_s * rate_hz) as usize;
            let mut phase = 0.0;
            for k in 0..n {
                let part = k as f64 / n as f64;
                let hz = (from_hz * (1.0 + (sweep - 1.0) * part)).min(0.45 * rate_hz);
                phase += TAU * hz / rate_hz;
                let shape = (part / attack).min(1.0) * (1.0 - part);
                if let Some(v) = y.get_mut(start + k) {
                    *v += shape * phase.sin();
                }
            }
            at_s += call_s + dice.between(0.02, 0.12);
        }
        at_s += dice.between(0.2, 1.5);
    }
    to_peak(y)
}

/// One bang of no particular kind (a dropped thing, a door, a knock, a key
/// ring, a clap), scaled to a peak of 1, its first sample the instant.
pub fn bang(rate_hz: f64, dice: &mut Dice) -> Vec<f32> {
    let still = Wobble {
        gain: 0.0,
        hz: 0.0,
        blows: 0.0,
    };
    match dice.below(3) {
        0 => clap(rate_hz, dice),
        kind => {
            let (low, high) = if kind == 1 {
                (90.0, 1_200.0)
            } else {
                (800.0, 6_000.0)
            };
            Ringing {
                modes: (0..3 + dice.below(6))
                    .map(|_| Mode {
                        hz: dice.log_between(low, high),
                        decay_s: dice.log_between(0.003, 0.04),
                        gain: dice.between(0.2, 1.0),
                        phase: dice.between(0.0, TAU),
                    })
                    .collect(),
                noise_gain: dice.between(0.1, 0.8),
                noise_decay_s: dice.log_between(0.0005, 0.008),
                blows: vec![
                    (0.0, 1.0),
                    (dice.between(0.002, 0.03), dice.between(0.0, 0.6)),
                ],
                rise_s: dice.between(0.0, 0.0006),
            }
            .strike(rate_hz, still, dice)
        }
    }
}

/// A hand clap: noise through one broad resonance, scaled to a peak of 1.
pub fn clap(rate_hz: f64, dice: &mut Dice) -> Vec<f32> {
    let mut formant = Resonator::new(
        dice.between(700.0, 2_800.0),
        dice.between(500.0, 1_500.0),
        rate_hz,
    );
    let decay_s = dice.between(0.002, 0.008);
    let length = (7.0 * decay_s * rate_hz) as usize;
    let y = (0..length)
        .map(|k| {
            (-(k as f64) / rate_hz / decay_s).exp()
                * (formant.step(dice.normal()) * 3.0 + 0.1 * dice.normal())
        })
        .collect();
    to_peak(y)
}

/// Plucked notes on a steady beat, scaled to a peak of 1.
pub fn music(rate_hz: f64, seconds: f64, dice: &mut Dice) -> Vec<f32> {
    let length = (seconds * rate_hz) as usize;
    let mut y = vec![0.0f64; length];
    let beat_s = dice.between(0.18, 0.5);
    let mut at_s = 0.05;
    while at_s < seconds {
        let hz = 110.0 * 2f64.powf(dice.below(30) as f64 / 12.0);
        let start = (at_s * rate_hz) as usize;
        for harmonic in 1..=6 {
            let f = hz * f64::from(harmonic);
            if f > 0.45 * rate_hz {
                break;
            }
            let gain = dice.between(0.4, 1.0) / f64::from(harmonic);
            for k in 0..(0.6 * rate_hz) as usize {
                let t = k as f64 / rate_hz;
                if let Some(v) = y.get_mut(start + k) {
                    // The string is damped before its end: a cut would be a click.
                    *v += gain
                        * (t / 0.003).min(1.0)
                        * ((0.6 - t) / 0.05).min(1.0)
                        * (-t / (0.25 / f64::from(harmonic))).exp()
                        * (TAU * f * t).sin();
                }
            }
        }
        at_s += beat_s * f64::from(1 + dice.below(2) as u32);
    }
    to_peak(y)
}
