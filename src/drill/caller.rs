//! Who says when the next drop is, where the ball's own sound does not: a partner
//! is told what to do, or a ball on the screen falls. Time is told to it.

use super::plan::{Fall, Place, Waits};
use super::setup::Way;
use crate::timeline::MomentKind;

/// Seconds a partner holds a catch drop.
const HOLD_S: f64 = 3.0;
/// Seconds after which a partner who has not pressed is let off.
const PATIENCE_S: f64 = 8.0;

/// What an instant was; it is to be put in its place on the sound's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Call {
    /// The moment was then.
    Moment(f64),
    /// A catch drop was then.
    Catch(f64),
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Stage {
    Off,
    Waiting {
        until_s: f64,
        is_catch: bool,
    },
    Falling {
        from_s: f64,
        fall: Fall,
        is_told: bool,
    },
    Asked {
        from_s: f64,
        is_catch: bool,
    },
}

/// The caller of the next drop.
#[derive(Debug, Clone)]
pub struct Caller {
    way: Way,
    kind: MomentKind,
    height_m: f64,
    waits: Waits,
    stage: Stage,
}

impl Caller {
    /// A caller that has not begun; `height_m` is what the ball on the screen
    /// falls, in metres.
    pub fn new(way: Way, kind: MomentKind, height_m: f64, waits: Waits) -> Self {
        Self {
            way,
            kind,
            height_m,
            waits,
            stage: Stage::Off,
        }
    }

    /// Begins, or goes on after a pause, with a new wait.
    pub fn begin(&mut self, now_s: f64) {
        if let (Way::Partner | Way::Screen, Some(next)) = (self.way, self.waits.next()) {
            self.stage = Stage::Waiting {
                until_s: now_s + next.wait_s,
                is_catch: next.is_catch,
            };
        }
    }

    /// Calls nothing until it begins again.
    pub fn rest(&mut self) {
        self.stage = Stage::Off;
    }

    /// A partner has pressed: that drop is done.
    pub fn pressed(&mut self, now_s: f64) {
        if self.way == Way::Partner && self.stage != Stage::Off {
            self.begin(now_s);
        }
    }

    /// What time brings: at most one call at a time.
    pub fn tick(&mut self, now_s: f64) -> Option<Call> {
        match self.stage {
            Stage::Waiting { until_s, is_catch } if now_s >= until_s => {
                let fall = Fall {
                    height_m: self.height_m,
                    is_catch,
                };
                self.stage = match self.way {
                    Way::Screen => Stage::Falling {
                        from_s: now_s,
                        fall,
                        is_told: is_catch,
                    },
                    _ => Stage::Asked {
                        from_s: now_s,
                        is_catch,
                    },
                };
                is_catch.then_some(Call::Catch(now_s))
            }
            Stage::Falling {
                from_s,
                fall,
                is_told: false,
            } => {
                let moment_s = from_s + fall.moment_s(self.kind)?;
                if now_s < moment_s {
                    return None;
                }
                self.stage = Stage::Falling {
                    from_s,
                    fall,
                    is_told: true,
                };
                Some(Call::Moment(moment_s))
            }
            Stage::Falling { from_s, fall, .. } if fall.at(now_s - from_s).is_over => {
                self.begin(now_s);
                None
            }
            Stage::Asked { from_s, is_catch } => {
                let patience_s = if is_catch { HOLD_S } else { PATIENCE_S };
                if now_s >= from_s + patience_s {
                    self.begin(now_s);
                }
                None
            }
            _ => None,
        }
    }

    /// The ball on the screen, where there is one.
    pub fn ball(&self, now_s: f64) -> Option<Place> {
        match self.stage {
            Stage::Falling { from_s, fall, .. } => Some(fall.at(now_s - from_s)),
            _ if self.way == Way::Screen => Some(Place {
                height: 1.0,
                is_over: false,
                is_caught: false,
            }),
            _ => None,
        }
    }

    /// Whether something moves, so that pictures must follow each other.
    pub fn is_moving(&self) -> bool {
        matches!(self.stage, Stage::Falling { .. })
    }

    /// What a partner is to do.
    pub fn words(&self) -> Option<&'static str> {
        match (self.way, self.stage) {
            (Way::Partner, Stage::Asked { is_catch: true, .. }) => Some("HOLD IT"),
            (Way::Partner, Stage::Asked { .. }) => Some("DROP NOW"),
            (Way::Partner, Stage::Waiting { .. }) => Some("WAIT"),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(caller: &mut Caller, from_s: f64, to_s: f64) -> Vec<Call> {
        let steps = ((to_s - from_s) * 100.0) as usize;
        (0..steps)
            .filter_map(|k| caller.tick(from_s + k as f64 * 0.01))
            .collect()
    }

    #[test]
    fn the_screens_ball_tells_its_true_floor() {
        let mut caller = Caller::new(Way::Screen, MomentKind::Floor, 1.2, Waits::new(3, true));
        assert_eq!(run(&mut caller, 0.0, 20.0), []);
        caller.begin(0.0);
        let calls = run(&mut caller, 0.0, 300.0);
        let moments: Vec<f64> = calls
            .iter()
            .filter_map(|c| match c {
                Call::Moment(t) => Some(*t),
                Call::Catch(_) => None,
            })
            .collect();
        let catches = calls.len() - moments.len();
        assert!(moments.len() > 15 && catches > 2, "{calls:?}");
        // The fall of 1.2 m lasts √(2.4/9.80665) = 0.4947 s: each moment lies so
        // long after a tick, which are at hundredths.
        for t in &moments {
            let release = (t - 0.494_700_7) * 100.0;
            assert!((release - release.round()).abs() < 1e-3, "{t}");
        }
        assert!(moments.windows(2).all(|w| w[1] - w[0] > 2.0));
    }

    #[test]
    fn a_partner_is_told_and_a_press_goes_on() {
        let mut caller = Caller::new(Way::Partner, MomentKind::Release, 1.0, Waits::new(1, false));
        assert_eq!(caller.words(), None);
        caller.begin(0.0);
        assert_eq!(caller.words(), Some("WAIT"));
        assert_eq!(run(&mut caller, 0.0, 10.0), []);
        assert_eq!(caller.words(), Some("DROP NOW"));
        caller.pressed(10.0);
        assert_eq!(caller.words(), Some("WAIT"));
        caller.rest();
        assert_eq!((caller.words(), caller.ball(1.0)), (None, None));
        caller.pressed(11.0);
        assert_eq!(caller.words(), None, "a press in a pause begins nothing");
    }

    #[test]
    fn the_balls_own_sound_needs_no_caller() {
        let mut caller = Caller::new(Way::Ball, MomentKind::Floor, 1.0, Waits::new(1, true));
        caller.begin(0.0);
        assert_eq!(run(&mut caller, 0.0, 60.0), []);
        assert_eq!(caller.ball(0.0), None);
    }
}
