//! A hand clicker: a sprung metal dome that snaps in (the press) and back (the
//! release), each a few blows that ring the same metal a little differently.

use super::{Dice, Mode, Ringing, Wobble};
use std::f64::consts::TAU;

/// A made-up clicker: its press, its release and how much its clicks differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Clicker {
    /// The dome snapping in: the mark.
    pub press: Ringing,
    /// The dome snapping back.
    pub release: Ringing,
    /// Level of the release relative to the press.
    pub release_gain: f64,
    /// Shortest and longest time the dome is held in, in seconds.
    pub held_s: (f64, f64),
    /// How much two clicks differ.
    pub wobble: Wobble,
}

impl Clicker {
    /// A clicker drawn at random: the same seed is the same clicker.
    pub fn from_seed(seed: u64) -> Self {
        let mut dice = Dice::new(seed ^ 0xC11C_4E12);
        let low_hz = dice.log_between(1_500.0, 4_500.0);
        let modes: Vec<Mode> = (0..4 + dice.below(4))
            .map(|k| Mode {
                hz: low_hz * (1.0 + 0.55 * k as f64) * dice.between(0.85, 1.15),
                decay_s: dice.log_between(0.0008, 0.004),
                gain: dice.between(0.3, 1.0) / (1.0 + 0.35 * k as f64),
                phase: dice.between(0.0, TAU),
            })
            .collect();
        let press = Ringing {
            blows: vec![
                (0.0, 1.0),
                (dice.between(0.0003, 0.0022), dice.between(0.3, 0.9)),
                (dice.between(0.0025, 0.006), dice.between(0.1, 0.4)),
            ],
            noise_gain: dice.between(0.05, 0.35),
            noise_decay_s: dice.log_between(0.0002, 0.001),
            rise_s: 0.0,
            modes: modes.clone(),
        };
        // The same metal swings back from the other side: the modes stay near,
        // their weights and phases do not.
        let shift = dice.between(0.88, 1.12);
        let release = Ringing {
            modes: modes
                .iter()
                .map(|m| Mode {
                    hz: m.hz * shift * dice.between(0.95, 1.05),
                    decay_s: m.decay_s * dice.between(0.6, 1.3),
                    gain: m.gain * dice.between(0.3, 1.5),
                    phase: dice.between(0.0, TAU),
                })
                .collect(),
            blows: vec![
                (0.0, 1.0),
                (dice.between(0.0004, 0.003), dice.between(0.2, 0.8)),
            ],
            noise_gain: dice.between(0.05, 0.35),
            noise_decay_s: dice.log_between(0.0002, 0.001),
            rise_s: 0.0,
        };
        let shortest = dice.between(0.04, 0.15);
        Self {
            press,
            release,
            release_gain: dice.between(0.35, 1.0),
            held_s: (shortest, shortest + dice.between(0.03, 0.2)),
            wobble: Wobble {
                gain: dice.between(0.05, 0.2),
                hz: dice.between(0.001, 0.008),
                blows: dice.between(0.02, 0.12),
            },
        }
    }
}
