//! How surprising a chain of impacts would be if there were no ball.
//!
//! Let impacts come by chance at λ per second, and let `q` be the density with
//! which a drop gives just these impacts after its first. Chains whose ratio
//! `λⁿ / q` (n impacts, a rate per second) is at most `a` then come by chance at
//! most `a` times a second: their rate is the integral of `λⁿ` over them, and
//! `λⁿ ≤ a·q` there, and a density integrates to at most one (Markov's
//! inequality on a likelihood ratio). So one number, the **chance**, serves any
//! rate of noise, any number of impacts and a told height alike.
//!
//! Two things make it a little looser than that: chains of each length have a
//! density of their own, and the rate is estimated without the chain's own
//! impacts. And it speaks of impacts that come independently; talk and steps do
//! not. What comes of it is counted in the tests.
//!
//! The densities below are the program's conventions: wide enough for real balls
//! on real floors. Being too wide costs drops in noise; it makes no false ones.

use super::super::physics::fall_time_s;

/// Restitutions looked for. Below, a ball makes too few bounces to be known;
/// above, a steady beat would pass for one.
pub const RESTITUTION: (f64, f64) = (0.3, 0.95);
/// Falls looked for in seconds, as a vacuum has them (3 cm to 6 m): wider than the plausible ones, so
/// that an implausible chain can be refused by name.
pub const FALL_S: (f64, f64) = (0.08, 1.1);
/// Share of bounces that are not heard.
const MISSED: f64 = 0.05;
/// Share of second impacts, loud ones, that are not heard.
pub const SECOND_MISSED: f64 = 0.01;
/// Standard deviation of an impact's instant, in seconds.
const INSTANT_SD_S: f64 = 0.0012;
/// Standard deviation of the restitution from bounce to bounce, as a share: it
/// changes a little with speed and with the spot of the floor.
const RESTITUTION_SD: f64 = 0.013;
/// How far from its predicted instant an impact is looked for, in standard
/// deviations.
pub const REACH_SD: f64 = 3.0;
/// Seconds within which a second, unexplained impact is the first one's rattle.
pub const RATTLE_S: f64 = 0.045;
/// Share of impacts that rattle.
const RATTLING: f64 = 0.1;

/// What is expected of a drop of an unknown ball.
#[derive(Debug, Clone, Copy, Default)]
pub struct Expected {
    pub told_height_m: Option<f64>,
}

/// Falls, as shares of a told height's fall, that a vacuum and a constant restitution
/// read off the bounces: of most balls and, because of the air, of the lightest; and
/// how many drops each holds.
const NEAR_TOLD: [(f64, f64, f64); 2] = [(0.95, 1.11, 0.68), (1.11, 1.45, 0.17)];

impl Expected {
    /// Density of a ball's restitution and fall time (per second) as a vacuum and a
    /// constant restitution have them.
    fn density(&self, restitution: f64, fall_s: f64) -> f64 {
        debug_assert!((RESTITUTION.0..=RESTITUTION.1).contains(&restitution));
        let any_e = 1.0 / (RESTITUTION.1 - RESTITUTION.0);
        let any_fall = 1.0 / (FALL_S.1 - FALL_S.0);
        let fall = match self.told_height_m {
            None => any_fall,
            Some(told) => {
                let told_s = fall_time_s(told);
                let near = NEAR_TOLD
                    .into_iter()
                    .filter(|(from, to, _)| (*from..*to).contains(&(fall_s / told_s)))
                    .map(|(from, to, holds)| holds / (to - from) / told_s);
                near.sum::<f64>() + 0.15 * any_fall
            }
        };
        any_e * fall
    }
}

/// How the first three impacts heard stand among the bounces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Opening {
    /// Bounces 0, 1, 2.
    Complete,
    /// Bounces 0, 1, 3.
    ThirdMissed,
    /// Bounces 0, 2, 3.
    SecondMissed,
}

impl Opening {
    pub const ALL: [Self; 3] = [Self::Complete, Self::ThirdMissed, Self::SecondMissed];

    /// The bounces' numbers.
    pub fn numbers(self) -> [u8; 3] {
        match self {
            Self::Complete => [0, 1, 2],
            Self::ThirdMissed => [0, 1, 3],
            Self::SecondMissed => [0, 2, 3],
        }
    }

    /// The restitution from the second gap as a share of the first.
    pub fn restitution(self, ratio: f64) -> f64 {
        match self {
            Self::Complete => ratio,
            // ratio = e + e²
            Self::ThirdMissed => ((1.0 + 4.0 * ratio).sqrt() - 1.0) / 2.0,
            // ratio = e² / (1 + e)
            Self::SecondMissed => (ratio + (ratio * ratio + 4.0 * ratio).sqrt()) / 2.0,
        }
    }

    /// The first bounce's interval from the first gap, in the gap's unit.
    pub fn first_interval(self, first_gap: f64, e: f64) -> f64 {
        match self {
            Self::Complete | Self::ThirdMissed => first_gap,
            Self::SecondMissed => first_gap / (1.0 + e),
        }
    }

    /// Density (per second squared) of the two gaps, by the change of variables
    /// from restitution and fall time.
    pub fn density(self, first_interval_s: f64, e: f64, expected: &Expected) -> f64 {
        let fall_s = first_interval_s / (2.0 * e);
        let (stretch, heard) = match self {
            Self::Complete => (1.0, 1.0 - MISSED - SECOND_MISSED),
            Self::ThirdMissed => (1.0 + 2.0 * e, MISSED),
            Self::SecondMissed => (2.0 * e + e * e, SECOND_MISSED),
        };
        heard * expected.density(e, fall_s) / (2.0 * e * first_interval_s * stretch)
    }
}

/// Share by which a ratio of intervals grows from bounce to bounce, for want of
/// better knowledge: the restitution falls with speed, and so does the air's part.
const GROWTH: f64 = 0.005;

/// The interval after one of `interval_s` by the ratio before it, which rests on so
/// many intervals; and its standard deviation.
pub fn next_by_ratio(interval_s: f64, ratio: f64, rests_on: usize) -> (f64, f64) {
    let next_s = interval_s * (ratio * (1.0 + GROWTH)).min(RESTITUTION.1);
    // Errors of the earlier instants as they enter the prediction, for ratios
    // about 0.75: two intervals make the ratio, or more do.
    let instants = INSTANT_SD_S * if rests_on < 3 { 3.4 } else { 2.6 };
    (next_s, instants.hypot(RESTITUTION_SD * next_s))
}

/// The next bounce as the chain so far predicts it.
#[derive(Debug, Clone, Copy)]
pub struct Prediction {
    pub t_s: f64,
    pub sd_s: f64,
    ln_heard: f64,
}

/// Predicts the next bounce from the last impact and the interval to come, or the one
/// after it where one is missed.
pub fn predict(last_s: f64, (next_s, sd_s): (f64, f64), second: Option<(f64, f64)>) -> Prediction {
    match second {
        Some((second_s, second_sd_s)) => Prediction {
            t_s: last_s + next_s + second_s,
            sd_s: (1.8 * sd_s).hypot(second_sd_s),
            ln_heard: MISSED.ln(),
        },
        None => Prediction {
            t_s: last_s + next_s,
            sd_s,
            ln_heard: (1.0 - MISSED).ln(),
        },
    }
}

impl Prediction {
    /// Log density (per second) of the bounce being heard at `t_s`.
    pub fn ln_density(&self, t_s: f64) -> f64 {
        let z = (t_s - self.t_s) / self.sd_s;
        self.ln_heard - z * z / 2.0 - self.sd_s.ln() - (std::f64::consts::TAU).sqrt().ln()
    }
}

/// Log of how much likelier a level step between impacts is of a ball than of
/// chance; 0 where a level is not known. A ball gets weaker about as its speed
/// does, give or take 5 dB; three in a hundred may have any level.
pub fn ln_level(step_db: f64, speed_ratio: f64) -> f64 {
    const BY_CHANCE_PER_DB: f64 = 1.0 / 40.0;
    const SD_DB: f64 = 5.0;
    if !step_db.is_finite() {
        return 0.0;
    }
    let z = (step_db - 20.0 * speed_ratio.log10()) / SD_DB;
    let bell = (-z * z / 2.0).exp() / (SD_DB * std::f64::consts::TAU.sqrt());
    ((0.97 * bell + 0.03 / 80.0) / BY_CHANCE_PER_DB).ln()
}

/// Log density (per second) of an unexplained impact soon after one of the chain.
pub fn ln_rattle_density() -> f64 {
    (RATTLING / RATTLE_S).ln()
}
