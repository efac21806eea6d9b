//! Rises of energy in four bands: where a bang may have begun.

use super::filter::{BandPasses, Section};

/// Centre frequencies in hertz, from a ball's thud to a metal snap.
const CENTRES_HZ: [f64; 4] = [170.0, 600.0, 2_200.0, 6_500.0];
/// Centre over width: about an octave and a half each.
const Q: f64 = 0.8;
/// Time constants of the fast averages, in seconds: each band gets the time in
/// which its own noise averages out.
const FAST_S: [f64; 4] = [0.005, 0.0025, 0.0012, 0.0008];
/// Time constant of the background, in seconds.
const SLOW_S: f64 = 0.050;
/// The background takes a sample for at most this many times itself (power).
const GROWTH: f64 = 4.0;
/// Power ratios, fast over background, that count as a rise.
const RISE: [f64; 4] = [10.0, 7.0, 6.0, 5.5];
/// Time constant in which the last peak is forgotten, in seconds: the pulses of
/// a voice or of clipped hum, 10 to 20 ms apart, are no rises.
const HOLD_S: f64 = 0.020;
/// The last peak is the loudest until this long ago, in seconds.
const LATE_S: f64 = 0.004;
/// How far a rise must stand over the last peak (power ratio).
const OVER_HOLD: f64 = 2.0;
/// Power far below any microphone's noise, so that silence has a background.
const FLOOR: f64 = 1e-12;
/// A rise is reported at its peak, at the latest this long after it began.
const PEAK_S: f64 = 0.008;
/// No new rise is looked for within this time after one began.
const DEAD_S: f64 = 0.015;

/// A rise of energy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rise {
    /// Sample at which a band first crossed its threshold.
    pub at: u64,
    /// Largest rise, in dB over the background of its band.
    pub over_db: f64,
    /// Whether the lower two bands rose, or the upper two.
    pub low: bool,
}

/// The larger of two numbers that are numbers: one instruction, where `f64::max` minds
/// what is none.
#[inline]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// Four bands side by side.
#[derive(Debug, Clone)]
pub struct Bands {
    bank: BandPasses,
    fast: [f64; 4],
    slow: [f64; 4],
    hold: [f64; 4],
    recent: Vec<[f64; 4]>,
    slot: usize,
    hold_keep: f64,
    fast_step: [f64; 4],
    slow_step: f64,
    settle: u64,
    peak_samples: u64,
    dead_samples: u64,
    count: u64,
    open: [Option<(Rise, f64)>; 2],
    is_open: bool,
    dead_until: [u64; 2],
}

impl Bands {
    /// Bands for a sample rate; bands above its reach are left out.
    pub fn new(rate_hz: f64) -> Self {
        let step = |tau_s: f64| 1.0 - (-1.0 / (tau_s * rate_hz)).exp();
        Self {
            bank: BandPasses::new(
                CENTRES_HZ
                    .map(|hz| (hz < 0.45 * rate_hz).then(|| Section::band_pass(hz, Q, rate_hz))),
            ),
            fast: [0.0; 4],
            slow: [0.0; 4],
            hold: [0.0; 4],
            recent: vec![[0.0; 4]; (LATE_S * rate_hz) as usize + 1],
            slot: 0,
            hold_keep: (-1.0 / (HOLD_S * rate_hz)).exp(),
            fast_step: FAST_S.map(step),
            slow_step: step(SLOW_S),
            settle: (0.02 * rate_hz) as u64,
            peak_samples: (PEAK_S * rate_hz) as u64,
            dead_samples: (DEAD_S * rate_hz) as u64,
            count: 0,
            open: [None; 2],
            is_open: false,
            dead_until: [0; 2],
        }
    }

    /// More samples; rises that are finished go to `found`, at one sample those of
    /// the lower bands first.
    pub fn push(&mut self, samples: &[f32], found: &mut impl FnMut(Rise)) {
        // What changes with each sample is kept in locals, which stay in registers.
        let mut bank = self.bank.clone();
        let (mut fast, mut slow, mut hold) = (self.fast, self.slow, self.hold);
        for &x in samples {
            let at = self.count;
            self.count += 1;
            let out = bank.step(f64::from(x));
            let late = std::mem::replace(&mut self.recent[self.slot], fast);
            let mut bar = [0.0; 4];
            let mut over = false;
            // Plain loops over four lanes, which the compiler turns into vector code.
            for k in 0..4 {
                let power = out[k] * out[k];
                let ground = slow[k] + FLOOR;
                fast[k] += self.fast_step[k] * (power - fast[k]);
                bar[k] = larger(ground * RISE[k], OVER_HOLD * hold[k]);
                over |= fast[k] > bar[k];
                // The last peak is known 4 ms late, so that a rise does not raise its own bar.
                hold[k] = larger(hold[k] * self.hold_keep, late[k]);
                // The background follows what lasts; a short bang hardly moves it.
                let most = GROWTH * ground;
                let capped = if power < most { power } else { most };
                slow[k] += self.slow_step * (capped - slow[k]);
            }
            self.slot = if self.slot + 1 == self.recent.len() {
                0
            } else {
                self.slot + 1
            };
            // The background needs a little sound before a rise above it means anything.
            if at < self.settle {
                for k in 0..4 {
                    slow[k] = slow[k].max(fast[k]);
                }
            } else if over || self.is_open {
                self.follow_both(at, std::array::from_fn(|k| fast[k] / bar[k]))
                    .into_iter()
                    .flatten()
                    .for_each(&mut *found);
            }
        }
        self.bank = bank;
        (self.fast, self.slow, self.hold) = (fast, slow, hold);
    }

    /// Follows the rises of the lower and of the upper bands by how far each band
    /// stands over its bar (power ratio).
    #[cold]
    fn follow_both(&mut self, at: u64, excess: [f64; 4]) -> [Option<Rise>; 2] {
        let louder = |a: usize, b: usize| {
            if excess[b] > excess[a] {
                (excess[b], b)
            } else {
                (excess[a], a)
            }
        };
        let best = [louder(0, 1), louder(2, 3)];
        let found = [0, 1].map(|group| self.follow(group, at, best[group]));
        self.is_open = self.open != [None; 2];
        found
    }

    /// Opens, follows and closes the rise of one half of the bands.
    fn follow(&mut self, group: usize, at: u64, (excess, band): (f64, usize)) -> Option<Rise> {
        let over_db = || 10.0 * (excess * RISE[band]).log10();
        if let Some((mut rise, strongest)) = self.open[group].take() {
            if at >= rise.at + self.peak_samples {
                self.dead_until[group] = rise.at + self.dead_samples;
                return Some(rise);
            }
            if excess > strongest {
                rise.over_db = over_db();
            }
            self.open[group] = Some((rise, strongest.max(excess)));
        } else if excess > 1.0 && at >= self.dead_until[group] {
            self.open[group] = Some((
                Rise {
                    at,
                    over_db: over_db(),
                    low: group == 0,
                },
                excess,
            ));
        }
        None
    }
}
