//! A bouncing ball: instants by physics, each blow weaker than the last.

use super::{Dice, Mode, Ringing, Wobble};
use std::f64::consts::TAU;

/// Standard gravity in m/s² (3rd CGPM, 1901).
const GRAVITY_M_S2: f64 = 9.806_65;

/// A made-up ball on a made-up floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Ball {
    /// What one impact sounds like.
    pub impact: Ringing,
    /// Coefficient of restitution: speed after / speed before.
    pub restitution: f64,
    /// Relative standard deviation of the restitution from bounce to bounce.
    pub restitution_wobble: f64,
}

/// The truth of one fall.
#[derive(Debug, Clone, PartialEq)]
pub struct Fall {
    /// The instant the hand let go, in seconds.
    pub release_s: f64,
    /// Instants of all impacts, in seconds; empty when the ball was caught.
    pub impacts_s: Vec<f64>,
    /// Height in metres.
    pub height_m: f64,
}

impl Ball {
    /// A ball drawn at random: hollow and dull to hard and bright.
    pub fn from_seed(seed: u64) -> Self {
        let mut dice = Dice::new(seed ^ 0xBA11_0000);
        let low_hz = dice.log_between(180.0, 900.0);
        Self {
            impact: Ringing {
                modes: (0..4 + dice.below(4))
                    .map(|k| Mode {
                        hz: low_hz * (1.0 + 0.9 * k as f64) * dice.between(0.9, 1.15),
                        decay_s: dice.log_between(0.004, 0.018) / (1.0 + 0.4 * k as f64),
                        gain: dice.between(0.4, 1.0) / (1.0 + 0.4 * k as f64),
                        phase: dice.between(0.0, TAU),
                    })
                    .collect(),
                noise_gain: dice.between(0.1, 0.5),
                noise_decay_s: dice.log_between(0.0005, 0.003),
                blows: vec![(0.0, 1.0)],
                rise_s: dice.between(0.0, 0.0003),
            },
            restitution: dice.between(0.6, 0.86),
            restitution_wobble: 0.005,
        }
    }

    /// The fall from `height_m` let go at `release_s`, with at most `bounces`
    /// impacts (air drag left out: under 2 ms for a tennis ball from 1 m).
    pub fn fall(&self, release_s: f64, height_m: f64, bounces: usize, dice: &mut Dice) -> Fall {
        let mut at_s = release_s + (2.0 * height_m / GRAVITY_M_S2).sqrt();
        let mut speed = (2.0 * GRAVITY_M_S2 * height_m).sqrt();
        let mut impacts_s = Vec::new();
        for _ in 0..bounces {
            impacts_s.push(at_s);
            speed *= self.restitution * dice.about_one(self.restitution_wobble);
            let flight_s = 2.0 * speed / GRAVITY_M_S2;
            if flight_s < 0.03 {
                break;
            }
            at_s += flight_s;
        }
        Fall {
            release_s,
            impacts_s,
            height_m,
        }
    }

    /// How two impacts differ.
    pub fn wobble(&self) -> Wobble {
        Wobble {
            gain: 0.15,
            hz: 0.01,
            blows: 0.0,
        }
    }
}
