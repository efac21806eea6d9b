//! How loud it is: the room's own noise, and how far the loudest sound of late
//! rises out of it in the view in which clicks are heard.

use std::collections::VecDeque;
use std::fmt;

use serde::Serialize;

use super::filter::Biquad;
use super::heard::{bang_filter, click_filter, usable};

/// Length of one reading in seconds.
const BLOCK_S: f64 = 0.01;
/// The noise is the median reading of this long, in seconds: the rule by which
/// teaching finds it too.
const NOISE_S: f64 = 10.0;
/// Readings before the noise is known, in seconds.
const SETTLED_S: f64 = 1.0;
/// The loudest sound is held for this long, in seconds, so that a click can be
/// read before it is gone.
const HELD_S: f64 = 2.0;
/// What is below this is a digital nothing.
const NOTHING_DBFS: f64 = -190.0;
/// A sample from here on is at full scale.
pub(super) const FULL_SCALE: f32 = 0.98;
/// Sounds below this are not looked at when a click is taught, in dB over the noise.
pub(super) const STANDS_OUT_DB: f64 = 10.0;
/// From here on marks are placed on the sample (docs/accuracy.md), in dB.
pub const CLEAR_DB: f64 = 20.0;

/// What the meter shows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Level {
    /// The loudest sample held, dB re full scale.
    pub peak_dbfs: f64,
    /// The last reading (RMS of 10 ms above 80 Hz), dB re full scale.
    pub now_dbfs: f64,
    /// The room's noise (RMS above 80 Hz), dB re full scale; `None` within the
    /// first second.
    pub noise_dbfs: Option<f64>,
    /// How far the loudest sound held rises over the noise, both above 1.5 kHz,
    /// in dB; `None` within the first second.
    pub over_noise_db: Option<f64>,
}

/// A level in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LevelWord {
    /// Exact zeros: muted, or not allowed.
    Nothing,
    /// Only the room is heard.
    Room,
    /// Something is heard, but hardly stands out.
    TooQuiet,
    /// It stands out and fits.
    Good,
    /// It is overdriven.
    Clipping,
}

impl fmt::Display for LevelWord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Nothing => "nothing at all",
            Self::Room => "only the room",
            Self::TooQuiet => "too quiet",
            Self::Good => "good",
            Self::Clipping => "clipping",
        })
    }
}

impl Level {
    /// The level in a word. Conventions: below 10 dB over the noise it is the
    /// room, below 20 dB too quiet to be placed on the sample.
    pub fn word(&self) -> LevelWord {
        let over_db = self.over_noise_db.unwrap_or(0.0);
        if self.peak_dbfs < NOTHING_DBFS {
            LevelWord::Nothing
        } else if self.peak_dbfs >= dbfs(f64::from(FULL_SCALE)) {
            LevelWord::Clipping
        } else if over_db < STANDS_OUT_DB {
            LevelWord::Room
        } else if over_db < CLEAR_DB {
            LevelWord::TooQuiet
        } else {
            LevelWord::Good
        }
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Reading {
    peak: f32,
    power: f32,
    click_peak: f32,
    click_power: f32,
}

/// Reads levels from a stream. Memory is fixed; how the stream is cut makes no
/// difference.
#[derive(Debug, Clone)]
pub struct LevelMeter {
    bang: Biquad,
    click: Biquad,
    block: usize,
    filled: usize,
    open: Reading,
    readings: VecDeque<Reading>,
    scratch: Vec<f32>,
    begun: bool,
    most_over_db: Option<f64>,
    full_scale: u64,
}

impl LevelMeter {
    /// A meter for a rate in Hz.
    pub fn new(rate_hz: u32) -> Self {
        let rate = f64::from(rate_hz.max(1));
        let most = (NOISE_S / BLOCK_S) as usize;
        Self {
            bang: bang_filter(rate),
            click: click_filter(rate),
            block: ((BLOCK_S * rate).round() as usize).max(1),
            filled: 0,
            open: Reading::default(),
            readings: VecDeque::with_capacity(most + 1),
            scratch: Vec::with_capacity(most + 1),
            begun: false,
            most_over_db: None,
            full_scale: 0,
        }
    }

    /// More of the stream (full scale ±1).
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            let x = usable(sample);
            if !self.begun {
                self.begun = true;
                self.bang.settle(x);
                self.click.settle(x);
            }
            let bang = self.bang.step(x) as f32;
            let click = self.click.step(x) as f32;
            let size = x.abs() as f32;
            self.full_scale += u64::from(size >= FULL_SCALE);
            let open = &mut self.open;
            open.peak = open.peak.max(size);
            open.click_peak = open.click_peak.max(click.abs());
            open.power += bang * bang / self.block as f32;
            open.click_power += click * click / self.block as f32;
            self.filled += 1;
            if self.filled == self.block {
                self.close_reading();
            }
        }
    }

    fn close_reading(&mut self) {
        if self.readings.len() as f64 >= NOISE_S / BLOCK_S {
            self.readings.pop_front();
        }
        self.readings.push_back(std::mem::take(&mut self.open));
        self.filled = 0;
        // Once a fifth of a second is often enough: sounds are held for longer.
        if self.readings.len().is_multiple_of(20) || self.readings.len() >= 1_000 {
            self.keep_loudest();
        }
    }

    fn keep_loudest(&mut self) {
        let now = self.level().over_noise_db;
        self.most_over_db = match (self.most_over_db, now) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
    }

    /// What it shows now.
    pub fn level(&mut self) -> Level {
        let held = (HELD_S / BLOCK_S) as usize;
        let late = self.readings.iter().rev().take(held);
        let (peak, click_peak) = late.fold((self.open.peak, self.open.click_peak), |(p, c), r| {
            (p.max(r.peak), c.max(r.click_peak))
        });
        let settled = self.readings.len() as f64 >= SETTLED_S / BLOCK_S;
        let noise = self.median(|r| r.power);
        let click_noise_dbfs = self.click_noise_dbfs();
        Level {
            peak_dbfs: dbfs(f64::from(peak)),
            now_dbfs: dbfs(f64::from(self.readings.back().map_or(0.0, |r| r.power)).sqrt()),
            noise_dbfs: settled.then(|| dbfs(noise.sqrt())),
            over_noise_db: settled
                .then(|| (dbfs(f64::from(click_peak)) - click_noise_dbfs).max(0.0)),
        }
    }

    /// The farthest that a sound rose over the noise since the begin, in dB;
    /// `None` within the first second.
    pub fn most_over_noise_db(&self) -> Option<f64> {
        self.most_over_db
    }

    /// The noise above 1.5 kHz (RMS), dB re full scale.
    pub(super) fn click_noise_dbfs(&mut self) -> f64 {
        dbfs(self.median(|r| r.click_power).sqrt()).max(-160.0)
    }

    /// Samples at full scale since the begin.
    pub fn full_scale_samples(&self) -> u64 {
        self.full_scale
    }

    fn median(&mut self, of: impl Fn(&Reading) -> f32) -> f64 {
        self.scratch.clear();
        self.scratch.extend(self.readings.iter().map(of));
        let middle = self.scratch.len() / 2;
        if middle >= self.scratch.len() {
            return 0.0;
        }
        let (_, median, _) = self
            .scratch
            .select_nth_unstable_by(middle, |a, b| a.total_cmp(b));
        f64::from(*median)
    }
}

/// A size (full scale 1) in dB; nothing is −200 dB.
fn dbfs(size: f64) -> f64 {
    20.0 * size.max(1e-10).log10()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE: u32 = 48_000;

    /// A sine of 3 kHz and a peak of −60 dBFS, with bursts of `burst` of the same.
    fn sound(seconds: f64, burst: f32) -> Vec<f32> {
        let n = (seconds * f64::from(RATE)) as usize;
        (0..n)
            .map(|k| {
                let sine = (TAU * 3_000.0 * k as f64 / f64::from(RATE)).sin() as f32;
                let loud = k % 48_000 > 40_000 && k % 48_000 < 40_480;
                sine * if loud { burst } else { 0.001 }
            })
            .collect()
    }

    fn level_of(samples: &[f32], cut: usize) -> (Level, LevelMeter) {
        let mut meter = LevelMeter::new(RATE);
        for block in samples.chunks(cut) {
            meter.push(block);
        }
        (meter.level(), meter)
    }

    /// A sine's RMS is 3.01 dB below its peak; a burst of 0.1 is 40 dB over it.
    #[test]
    fn a_sine_of_known_level_is_read_back() {
        let (level, meter) = level_of(&sound(4.0, 0.1), 480);
        assert!((level.noise_dbfs.unwrap() + 63.01).abs() < 0.1, "{level:?}");
        // The filter rings a little at the burst's edges.
        assert!(
            (level.over_noise_db.unwrap() - 43.01).abs() < 0.6,
            "{level:?}"
        );
        assert!((level.peak_dbfs + 20.0).abs() < 0.1, "{level:?}");
        assert_eq!(level.word(), LevelWord::Good);
        assert!((meter.most_over_noise_db().unwrap() - 43.01).abs() < 0.6);
    }

    #[test]
    fn words_follow_the_level() {
        for (burst, word) in [
            (0.001, LevelWord::Room),
            (0.004, LevelWord::TooQuiet),
            (0.5, LevelWord::Good),
            (1.0, LevelWord::Clipping),
        ] {
            let (level, _) = level_of(&sound(4.0, burst), 480);
            assert_eq!(level.word(), word, "{burst}: {level:?}");
        }
        let (level, _) = level_of(&[0.0; 96_000], 480);
        assert_eq!(level.word(), LevelWord::Nothing);
        assert_eq!(level_of(&[], 1).0.noise_dbfs, None);
    }

    #[test]
    fn cuts_and_an_offset_change_nothing() {
        let plain = sound(3.0, 0.1);
        let (a, _) = level_of(&plain, 480);
        assert_eq!(a, level_of(&plain, 7_919).0);
        let lifted: Vec<f32> = plain.iter().map(|x| x + 0.2).collect();
        let (b, _) = level_of(&lifted, 480);
        assert!((a.noise_dbfs.unwrap() - b.noise_dbfs.unwrap()).abs() < 0.1);
    }

    #[test]
    fn what_is_no_number_is_silence_and_full_scale_is_counted() {
        let mut samples = vec![f32::NAN; 48_000];
        samples[24_000] = 1.0;
        let (_, meter) = level_of(&samples, 480);
        assert_eq!(meter.full_scale_samples(), 1);
    }
}
