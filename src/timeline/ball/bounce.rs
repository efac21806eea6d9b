//! How one ball bounces: its restitution, how that falls with speed, and its air,
//! learned from the intervals of its bounces.
//!
//! The restitution at an impact of speed u is e·exp(−f·(u − 4 m/s)): it falls a little
//! with speed, nearly in proportion (Cross 1999, Am J Phys 67:222; Haron and Ismail
//! 2012, IOP Conf Ser Mater Sci Eng 36:012038). Each bounce differs from that by a small share of its own: the spot of the
//! floor, the seam, a little spin.
//!
//! ln e, f and the drag 1/v² are estimated together (Kalman's filter, extended:
//! each interval against the one before is a measurement), from what is known of
//! balls before. Where the kind of ball is not known, one such estimate is kept for
//! each sort of ball, weighed by how well it foretold the intervals.

use super::super::physics::Air;
use super::kind::{BallKind, Known, Prior};

/// Speed in m/s at which the restitution is stated.
pub const REFERENCE_M_S: f64 = 4.0;
/// The share of its restitution that a ball loses a metre per second: from next to none
/// (a superball) to 0.03 (a soft hollow ball). A convention after Cross 1999.
const FADE: Known = (0.012, 0.007);
/// Share by which each bounce's restitution differs, before anything is heard, and
/// how many bounces that guess is worth.
const BOUNCE_SHARE: f64 = 0.008;
const GUESS_IS_WORTH: f64 = 6.0;
/// Standard deviation of an impact's instant in seconds, where none is given.
pub const INSTANT_SD_S: f64 = 0.0006;
/// Where that law stops to be true: a share that grows with the square of how far
/// (as a log of speed) an impact lies below the first.
const LAW_IS_WRONG: f64 = 0.012;
/// Share that it may be wrong by at the floor, beyond the bounces that were heard.
const BEYOND: f64 = 0.006;
/// Intervals shorter than this, and later than this many, teach nothing.
const SHORTEST_S: f64 = 0.12;
const MOST_INTERVALS: usize = 6;

/// ln e, f, drag.
type State = [f64; 3];

/// The estimate for one sort of ball.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Sort {
    ln_weight: f64,
    state: State,
    covariance: [[f64; 3]; 3],
    /// Sum of squares of what was not foretold, and its count.
    squares: f64,
    count: f64,
}

/// What a drop's first bounce says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Before {
    /// Seconds of the fall before the floor.
    pub fall_s: f64,
    /// Its standard uncertainty in seconds.
    pub u_s: f64,
    /// Height of the fall in metres.
    pub height_m: f64,
    /// Seconds from the floor to the top of the first bounce.
    pub rise_s: f64,
    /// What the air leaves open of it, in seconds.
    pub rise_u_s: f64,
    /// Restitution at the floor.
    pub restitution: f64,
}

/// How a ball bounces, as far as it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Bouncing {
    sorts: Vec<Sort>,
}

fn air(state: &State) -> Air {
    Air {
        drag: state[2].max(0.0),
    }
}

/// Launch speed after an impact at `speed_m_s`.
fn bounce_m_s(state: &State, speed_m_s: f64) -> f64 {
    speed_m_s * (state[0] - state[1] * (speed_m_s - REFERENCE_M_S)).exp()
}

/// The interval after one of `interval_s`.
fn next_s(state: &State, interval_s: f64) -> f64 {
    let air = air(state);
    let speed = air.landing_m_s(air.launch_m_s(interval_s));
    air.flight_s(bounce_m_s(state, speed))
}

/// Speed of the impact that a ball leaves at `launch_m_s`.
fn impact_m_s(state: &State, launch_m_s: f64) -> f64 {
    let mut speed = launch_m_s;
    for _ in 0..12 {
        speed = launch_m_s * (state[1] * (speed.min(30.0) - REFERENCE_M_S) - state[0]).exp();
    }
    speed
}

/// The fall before a floor after which the first interval is `first_s`. Near its
/// terminal speed a ball falls for ever: kept to two seconds.
fn fall_s(state: &State, first_s: f64) -> f64 {
    let air = air(state);
    let speed = impact_m_s(state, air.launch_m_s(first_s));
    air.fall_time_to_speed_s(speed).min(2.0)
}

impl Sort {
    fn new(prior: &Prior) -> Self {
        let known = [prior.ln_restitution, FADE, prior.drag];
        let mut covariance = [[0.0; 3]; 3];
        for (k, (_, sd)) in known.iter().enumerate() {
            covariance[k][k] = sd * sd;
        }
        Self {
            ln_weight: prior.weight.ln(),
            state: known.map(|(mean, _)| mean),
            covariance,
            squares: GUESS_IS_WORTH * BOUNCE_SHARE * BOUNCE_SHARE,
            count: GUESS_IS_WORTH,
        }
    }

    fn bounce_share(&self) -> f64 {
        (self.squares / self.count).sqrt().clamp(0.003, 0.04)
    }

    /// Slopes of `f` along the state, by small steps.
    fn slopes(&self, f: &impl Fn(&State) -> f64) -> State {
        const STEPS: State = [1e-5, 1e-5, 1e-7];
        let mut slopes = [0.0; 3];
        for k in 0..3 {
            let (mut up, mut down) = (self.state, self.state);
            up[k] += STEPS[k];
            down[k] -= STEPS[k];
            slopes[k] = (f(&up) - f(&down)) / (2.0 * STEPS[k]);
        }
        slopes
    }

    /// The covariance times a vector, and the variance along it.
    fn spread(&self, along: &State) -> (State, f64) {
        let mut out = [0.0; 3];
        for (row, value) in self.covariance.iter().zip(&mut out) {
            *value = row.iter().zip(along).map(|(a, b)| a * b).sum();
        }
        let variance = out.iter().zip(along).map(|(a, b)| a * b).sum();
        (out, variance)
    }

    /// Takes a measurement of `f`: its value and variance. Gives what was not
    /// foretold, squared, as a share of the variance that was foretold.
    fn take(&mut self, f: impl Fn(&State) -> f64, value: f64, variance: f64) -> f64 {
        let along = self.slopes(&f);
        let (gain, spread) = self.spread(&along);
        let whole = spread + variance;
        let off = value - f(&self.state);
        for (state, gain) in self.state.iter_mut().zip(&gain) {
            *state += gain * off / whole;
        }
        for (row, left) in self.covariance.iter_mut().zip(&gain) {
            for (cell, right) in row.iter_mut().zip(&gain) {
                *cell -= left * right / whole;
            }
        }
        self.state[2] = self.state[2].max(0.0);
        self.ln_weight -= 0.5 * (off * off / whole + whole.ln());
        off * off / whole
    }

    /// Takes an interval and the one after it, `below` (log of speed) under the first.
    fn take_pair(&mut self, interval_s: f64, after_s: f64, below: f64, instant_sd_s: f64) {
        let ratio = after_s / interval_s;
        // Three instants make two intervals.
        let instants =
            instant_sd_s / after_s * (1.0 + ratio * ratio + (1.0 + ratio).powi(2)).sqrt();
        let share = self.bounce_share();
        let wrong = LAW_IS_WRONG * below * below;
        let variance = share * share + instants * instants + wrong * wrong;
        let off = self.take(|s| next_s(s, interval_s).ln(), after_s.ln(), variance);
        // The bounces' own share of what was not foretold; one wild bounce counts little.
        self.squares += off.min(9.0) * share * share;
        self.count += 1.0;
    }

    fn before(&self, first_s: f64, instant_sd_s: f64, told: Option<f64>) -> Before {
        let fall = |s: &State| fall_s(s, first_s);
        let mut fall_s = fall(&self.state);
        let own = fall_s * (self.bounce_share().hypot(BEYOND)).hypot(1.5 * instant_sd_s / first_s);
        let mut variance = self.spread(&self.slopes(&fall)).1 + own * own;
        let air = air(&self.state);
        let height_m = air.fall_height_m(fall_s);
        if let Some(told_m) = told {
            let told_s = air.fall_time_s(told_m);
            let told_variance = (told_s * super::drop::TOLD_HEIGHT_U / 2.0).powi(2);
            let sum = variance + told_variance;
            // Where the two do not agree, neither is as good as it says.
            let apart = ((fall_s - told_s).powi(2) / sum).max(1.0);
            fall_s = (fall_s * told_variance + told_s * variance) / sum;
            variance = apart * variance * told_variance / sum;
        }
        let launch = air.launch_m_s(first_s);
        let rise_in = |air: Air| air.rise_time_s(air.launch_m_s(first_s));
        let rise = |s: &State| {
            rise_in(Air {
                drag: s[2].max(0.0),
            })
        };
        Before {
            rise_u_s: self.spread(&self.slopes(&rise)).1.max(0.0).sqrt(),
            fall_s,
            u_s: variance.sqrt(),
            height_m,
            rise_s: air.rise_time_s(launch),
            restitution: launch / impact_m_s(&self.state, launch),
        }
    }
}

impl Bouncing {
    /// A ball of a kind, or of any.
    pub fn new(kind: Option<BallKind>) -> Self {
        let priors = kind.map_or_else(BallKind::unknown, |kind| vec![kind.prior()]);
        Self {
            sorts: priors.iter().map(Sort::new).collect(),
        }
    }

    /// Shares of the sorts; they sum to one.
    fn shares(&self) -> impl Iterator<Item = (f64, &Sort)> {
        let most = self
            .sorts
            .iter()
            .map(|s| s.ln_weight)
            .fold(f64::MIN, f64::max);
        let of = move |s: &Sort| (s.ln_weight - most).exp();
        let sum: f64 = self.sorts.iter().map(of).sum();
        self.sorts.iter().map(move |s| (of(s) / sum, s))
    }

    /// Learns from the intervals of a drop in seconds, the first first, each with its
    /// bounce's number, and from a told height in metres.
    pub fn learn(&mut self, intervals: &[(u8, f64)], instant_sd_s: f64, told: Option<f64>) {
        let heard = intervals.iter().take(MOST_INTERVALS);
        let heard: Vec<(u8, f64)> = heard.copied().filter(|i| i.1 >= SHORTEST_S).collect();
        let Some(&(first_number, first_s)) = heard.first() else {
            return;
        };
        for pair in heard.windows(2) {
            let ((number, interval_s), (next, after_s)) = (pair[0], pair[1]);
            if next == number + 1 {
                let below = (first_s / interval_s).ln();
                for sort in &mut self.sorts {
                    sort.take_pair(interval_s, after_s, below, instant_sd_s);
                }
            }
        }
        if let Some(told_m) = told.filter(|_| first_number == 0) {
            for sort in &mut self.sorts {
                let own = sort
                    .bounce_share()
                    .hypot(BEYOND)
                    .hypot(super::drop::TOLD_HEIGHT_U / 2.0);
                let ahead = |s: &State| (fall_s(s, first_s) / air(s).fall_time_s(told_m)).ln();
                sort.take(ahead, 0.0, own * own);
            }
        }
    }

    /// The interval after one of `interval_s`, and the standard deviation of that.
    pub fn next_s(&self, interval_s: f64, instant_sd_s: f64) -> (f64, f64) {
        let (mut mean, mut square, mut own) = (0.0, 0.0, 0.0);
        for (share, sort) in self.shares() {
            let next = |s: &State| next_s(s, interval_s);
            let at = next(&sort.state);
            let spread = sort.spread(&sort.slopes(&next)).1;
            mean += share * at;
            square += share * at * at;
            own += share * (spread + (at * sort.bounce_share()).powi(2));
        }
        let ratio = mean / interval_s;
        let instants = instant_sd_s * (1.0 + ratio * ratio + (1.0 + ratio).powi(2)).sqrt();
        let between = (square - mean * mean).max(0.0);
        (mean, (between + own + instants * instants).sqrt())
    }

    /// What came before a floor after which the first interval was `first_s`.
    pub fn before(&self, first_s: f64, instant_sd_s: f64, told: Option<f64>) -> Before {
        let mut all = Before {
            fall_s: 0.0,
            u_s: 0.0,
            height_m: 0.0,
            rise_s: 0.0,
            rise_u_s: 0.0,
            restitution: 0.0,
        };
        let (mut square, mut own, mut rise_square) = (0.0, 0.0, 0.0);
        for (share, sort) in self.shares() {
            let one = sort.before(first_s, instant_sd_s, told);
            all.fall_s += share * one.fall_s;
            all.height_m += share * one.height_m;
            all.rise_s += share * one.rise_s;
            all.restitution += share * one.restitution;
            square += share * one.fall_s * one.fall_s;
            own += share * one.u_s * one.u_s;
            rise_square += share * (one.rise_s * one.rise_s + one.rise_u_s * one.rise_u_s);
        }
        let between = (square - all.fall_s * all.fall_s).max(0.0);
        all.u_s = (between + own).sqrt();
        all.rise_u_s = (rise_square - all.rise_s * all.rise_s).max(0.0).sqrt();
        all
    }

    /// The first interval where only the gap to the second bounce was heard.
    pub fn first_of_two_s(&self, gap_s: f64) -> f64 {
        let mut first_s = gap_s / 1.78;
        for _ in 0..5 {
            let next_s = self.next_s(first_s, 0.0).0;
            // Newton's step; the next interval goes with the first nearly in proportion.
            first_s += (gap_s - first_s - next_s) / (1.0 + next_s / first_s);
        }
        first_s
    }
}
