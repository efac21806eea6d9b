//! A bouncing ball: instants by physics, through air, each blow weaker than the last.

use super::{Dice, Mode, Ringing, Wobble};
use crate::timeline::BallKind;
use crate::timeline::physics::Air;
use std::f64::consts::TAU;

/// Speed in m/s at which the restitution is stated.
const REFERENCE_M_S: f64 = 4.0;

/// A made-up ball on a made-up floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Ball {
    /// What one impact sounds like.
    pub impact: Ringing,
    /// Coefficient of restitution at 4 m/s: speed after / speed before.
    pub restitution: f64,
    /// What the restitution loses a metre per second.
    pub fade_per_m_s: f64,
    /// The air it falls through.
    pub air: Air,
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
    /// Speed of each impact in m/s.
    pub speeds_m_s: Vec<f64>,
    /// The instant at the top of the first bounce.
    pub top_s: f64,
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
            fade_per_m_s: dice.between(0.002, 0.014),
            air: [BallKind::Tennis, BallKind::Rubber, BallKind::Football][dice.below(3)].air(),
            restitution_wobble: 0.005,
        }
    }

    /// The same sound from a ball of a kind, of this restitution at 4 m/s.
    #[must_use]
    pub fn of_kind(mut self, kind: BallKind, restitution: f64) -> Self {
        self.air = kind.air();
        self.restitution = restitution;
        self
    }

    /// The fall from `height_m` let go at `release_s`, with at most `bounces`
    /// impacts.
    pub fn fall(&self, release_s: f64, height_m: f64, bounces: usize, dice: &mut Dice) -> Fall {
        let fall_s = self.air.fall_time_s(height_m);
        let mut at_s = release_s + fall_s;
        let mut speed = self.air.speed_after_fall_m_s(fall_s);
        let mut fall = Fall {
            release_s,
            impacts_s: Vec::new(),
            speeds_m_s: Vec::new(),
            top_s: at_s,
            height_m,
        };
        for n in 0..bounces {
            fall.impacts_s.push(at_s);
            fall.speeds_m_s.push(speed);
            let e = self.restitution - self.fade_per_m_s * (speed - REFERENCE_M_S);
            let launch = speed * e * dice.about_one(self.restitution_wobble);
            if n == 0 {
                fall.top_s += self.air.rise_time_s(launch);
            }
            let flight_s = self.air.flight_s(launch);
            if flight_s < 0.03 {
                break;
            }
            speed = self.air.landing_m_s(launch);
            at_s += flight_s;
        }
        fall
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
