//! What comes when: the waits before drops, which of them are catch drops, and
//! where a ball that falls on the screen is.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

use crate::timeline::MomentKind;
use crate::timeline::physics::fall_time_s;

/// Shortest and longest wait before a drop, in seconds.
pub const WAIT_S: (f64, f64) = (2.0, 10.0);
/// Every how manyth drop is a catch drop on the average: a convention.
const CATCH_SHARE: f64 = 0.25;
/// The restitution of the ball on the screen; a rubber ball's, a convention.
const RESTITUTION: f64 = 0.75;
/// A catch drop ends after this share of the height has been fallen.
const CAUGHT_AFTER: f64 = 0.6;

/// What the next drop is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prompt {
    /// Seconds to wait before it.
    pub wait_s: f64,
    /// Whether the ball is held or caught: a mark is then a stray.
    pub is_catch: bool,
}

/// Random waits and catch drops; the same seed gives the same ones.
#[derive(Debug, Clone)]
pub struct Waits {
    dice: Pcg32,
    with_catch: bool,
    was_catch: bool,
}

impl Waits {
    /// Waits from a seed; with catch drops or without.
    pub fn new(seed: u64, with_catch: bool) -> Self {
        Self {
            dice: Pcg32::new(seed, 0xda3e_39cb_94b9_5bdb),
            with_catch,
            was_catch: false,
        }
    }

    /// 0 (inclusive) to 1 (exclusive).
    fn share(&mut self) -> f64 {
        f64::from(self.dice.next_u32()) / (f64::from(u32::MAX) + 1.0)
    }
}

impl Iterator for Waits {
    type Item = Prompt;

    /// Never `None`. No two catch drops follow each other, so that a drill does
    /// not stand still.
    fn next(&mut self) -> Option<Prompt> {
        let wait_s = WAIT_S.0 + (WAIT_S.1 - WAIT_S.0) * self.share();
        let is_catch = self.share() < CATCH_SHARE && self.with_catch && !self.was_catch;
        self.was_catch = is_catch;
        Some(Prompt { wait_s, is_catch })
    }
}

/// A ball on the screen, falling from rest under gravity without air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// The height in metres.
    pub height_m: f64,
    /// Whether it is caught on its way.
    pub is_catch: bool,
}

/// What the screen's ball does at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Height of the ball over the floor, 0 to 1 of the drop's height.
    pub height: f64,
    /// Whether the ball has come to its end.
    pub is_over: bool,
    /// Whether it was caught, and lies in the hand.
    pub is_caught: bool,
}

impl Fall {
    /// Seconds from the release to a moment; `None` for one it does not have.
    pub fn moment_s(self, kind: MomentKind) -> Option<f64> {
        let fall_s = fall_time_s(self.height_m);
        match kind {
            _ if self.is_catch => None,
            MomentKind::Release => Some(0.0),
            MomentKind::Floor => Some(fall_s),
            MomentKind::Top => Some(fall_s * (1.0 + RESTITUTION)),
            MomentKind::Behaviour => None,
        }
    }

    /// Where the ball is, `t_s` seconds after its release (before it: at rest).
    pub fn at(self, t_s: f64) -> Place {
        let fall_s = fall_time_s(self.height_m);
        let t = t_s.max(0.0);
        let caught_s = fall_s * CAUGHT_AFTER.sqrt();
        if self.is_catch && t >= caught_s {
            return Place {
                height: 1.0 - CAUGHT_AFTER,
                is_over: t > caught_s + 1.0,
                is_caught: true,
            };
        }
        let mut height = (1.0 - (t / fall_s).powi(2)).max(0.0);
        // Each bounce: a parabola over 2·eⁿ·fall, e²ⁿ high.
        let (mut from_s, mut n) = (fall_s, 1);
        while t >= from_s && n < 8 {
            let half_s = fall_s * RESTITUTION.powi(n);
            let x = (t - from_s - half_s) / half_s;
            if x <= 1.0 {
                height = RESTITUTION.powi(2 * n) * (1.0 - x * x);
            }
            from_s += 2.0 * half_s;
            n += 1;
        }
        Place {
            height: if t >= from_s { 0.0 } else { height },
            is_over: t >= from_s,
            is_caught: false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, wanted: f64) {
        assert!((got - wanted).abs() < 1e-9, "{got} for {wanted}");
    }

    #[test]
    fn waits_lie_in_their_span_and_catches_do_not_follow_each_other() {
        let all: Vec<Prompt> = Waits::new(7, true).take(4_000).collect();
        assert!(all.iter().all(|p| (2.0..10.0).contains(&p.wait_s)));
        assert!(all.windows(2).all(|w| !(w[0].is_catch && w[1].is_catch)));
        // A share c of the drops that may be: c/(1 + c) = 0.2 of all.
        let caught = all.iter().filter(|p| p.is_catch).count() as f64 / 4_000.0;
        assert!((caught - 0.2).abs() < 0.03, "{caught}");
        let mean = all.iter().map(|p| p.wait_s).sum::<f64>() / 4_000.0;
        assert!((mean - 6.0).abs() < 0.2, "{mean}");
        assert_eq!(all, Waits::new(7, true).take(4_000).collect::<Vec<_>>());
        assert!(Waits::new(7, false).take(500).all(|p| !p.is_catch));
    }

    #[test]
    fn it_falls_as_a_ball_does() {
        // 4.903325 m is fallen in one second of standard gravity.
        let fall = Fall {
            height_m: 4.903_325,
            is_catch: false,
        };
        near(fall.moment_s(MomentKind::Floor).unwrap(), 1.0);
        near(fall.at(-1.0).height, 1.0);
        near(fall.at(0.5).height, 0.75);
        near(fall.at(1.0).height, 0.0);
        // The top of the first bounce: e² of the height, e falls after the floor.
        near(fall.moment_s(MomentKind::Top).unwrap(), 1.75);
        near(fall.at(1.75).height, 0.5625);
        assert!(!fall.at(6.0).is_over && fall.at(7.0).is_over);
    }

    #[test]
    fn a_caught_ball_has_no_moment_and_never_lands() {
        let fall = Fall {
            height_m: 1.0,
            is_catch: true,
        };
        for kind in [MomentKind::Floor, MomentKind::Release, MomentKind::Top] {
            assert_eq!(fall.moment_s(kind), None);
        }
        for k in 0..400 {
            assert!(fall.at(f64::from(k) * 0.01).height >= 0.4 - 1e-9);
        }
        assert!(fall.at(3.0).is_over && fall.at(1.0).is_caught);
    }
}
