//! The print of a sound: how its energy rises over what was there just before, in
//! bands and steps of time. Two sounds of one source have prints that are alike also
//! where codecs, rooms and levels have changed their waveforms.

use super::EarError;
use super::history::History;
use realfft::num_complex::Complex32;
use realfft::{RealFftPlanner, RealToComplex};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Bands of a print, from 94 Hz to 16 kHz.
pub const PRINT_BANDS: usize = 19;
/// Steps of time of a print, 4 ms each, the first before the onset.
pub const PRINT_STEPS: usize = 8;
/// Lower edges of the bands and the last upper edge, in units of 187.5 Hz.
const EDGES: [f64; PRINT_BANDS + 1] = [
    0.5, 1.5, 2.5, 3.5, 4.5, 5.5, 6.5, 7.5, 9.5, 11.5, 14.5, 17.5, 21.5, 26.5, 32.5, 39.5, 48.5,
    59.5, 71.5, 85.5,
];
const UNIT_HZ: f64 = 187.5;
/// Length of a frame, in seconds.
const FRAME_S: f64 = 1.0 / UNIT_HZ;
/// Time from frame to frame, in seconds; two frames make a step.
const HOP_S: f64 = 0.002;
/// Centre of the first frame, in seconds from the onset.
const FIRST_S: f64 = -0.003;
/// Centres of the frames that tell the background, in seconds from the onset.
const BACKGROUND_S: [f64; 6] = [-0.028, -0.024, -0.020, -0.016, -0.012, -0.008];
/// Least background, as a part of the strongest cell's power.
const LEAST_BACKGROUND: f32 = 1e-6;
/// Steps of a decibel in which a print is kept.
const PER_DB: f32 = 2.0;

/// How far a sound rises over the background, in half decibels (0 to 127.5 dB), by step
/// of time and band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Print {
    cells: [[u8; PRINT_BANDS]; PRINT_STEPS],
    /// Bands that the sample rate has.
    bands: u8,
}

impl Print {
    /// The mean of prints, cell by cell; `None` of none.
    pub fn mean(prints: &[Self]) -> Option<Self> {
        let mut mean = *prints.first()?;
        mean.bands = prints.iter().map(|p| p.bands).min()?;
        for (step, row) in mean.cells.iter_mut().enumerate() {
            for (band, cell) in row.iter_mut().enumerate() {
                let sum: usize = prints
                    .iter()
                    .map(|p| usize::from(p.cells[step][band]))
                    .sum();
                *cell = ((sum + prints.len() / 2) / prints.len()) as u8;
            }
        }
        Some(mean)
    }

    /// What is left of a taught print's height in the noise here, 0 to 1.
    pub(super) fn clearness(&self, taught: &Self) -> f32 {
        (f32::from(self.highest()) / f32::from(taught.highest().max(1))).min(1.0)
    }

    fn highest(&self) -> u8 {
        self.cells.iter().flatten().copied().max().unwrap_or(0)
    }

    /// How far the sound has died away 20 to 28 ms after its onset, in dB under its
    /// strongest step, over the mean of the bands.
    pub(super) fn decay_db(&self) -> f32 {
        let bands = usize::from(self.bands).max(1);
        let level = |row: &[u8; PRINT_BANDS]| {
            row[..bands].iter().map(|c| f32::from(*c)).sum::<f32>() / (bands as f32 * PER_DB)
        };
        let levels = self.cells.each_ref().map(level);
        let strongest = levels[1..4].iter().fold(0.0f32, |a, b| a.max(*b));
        strongest - 0.5 * (levels[PRINT_STEPS - 2] + levels[PRINT_STEPS - 1])
    }

    /// Whether it can be compared with others at all.
    pub(super) fn is_usable(&self) -> bool {
        (1..=PRINT_BANDS).contains(&usize::from(self.bands))
            && self.cells.iter().flatten().any(|c| *c > 0)
    }

    /// How alike it is to a taught print, which was heard in less noise: what would drown
    /// in the noise here does not count against it.
    pub fn alike_in_noise(&self, taught: &Self) -> f32 {
        let less = taught.highest().saturating_sub(self.highest());
        if less == 0 {
            return self.alike(taught);
        }
        let mut drowned = *taught;
        let down = 10f32.powf(-f32::from(less) / (10.0 * PER_DB));
        for cell in drowned.cells.iter_mut().flatten() {
            // Power over background, in a background that is `less` higher.
            let over = (2.0 * 10f32.powf(f32::from(*cell) / (10.0 * PER_DB)) - 1.0) * down;
            *cell = (PER_DB * 10.0 * ((over + 1.0) / 2.0).log10())
                .round()
                .max(0.0) as u8;
        }
        self.alike(&drowned)
    }

    /// Normalised correlation of two prints over the bands that both have, −1 to 1;
    /// 0 where either is flat. Both prints count by their shape, not by their level.
    pub fn alike(&self, other: &Self) -> f32 {
        let bands = usize::from(self.bands.min(other.bands)).max(1);
        let (mut sum_a, mut sum_b, mut aa, mut bb, mut ab) = (0u32, 0u32, 0u32, 0u32, 0u32);
        for (row_a, row_b) in self.cells.iter().zip(&other.cells) {
            for (a, b) in row_a[..bands].iter().zip(&row_b[..bands]) {
                let (a, b) = (u32::from(*a), u32::from(*b));
                sum_a += a;
                sum_b += b;
                aa += a * a;
                bb += b * b;
                ab += a * b;
            }
        }
        let n = (bands * PRINT_STEPS) as f32;
        let (sum_a, sum_b) = (sum_a as f32, sum_b as f32);
        let cross = ab as f32 - sum_a * sum_b / n;
        let own = (aa as f32 - sum_a * sum_a / n) * (bb as f32 - sum_b * sum_b / n);
        if own <= 0.0 { 0.0 } else { cross / own.sqrt() }
    }
}

/// Work space for prints at one sample rate.
pub struct Printer {
    rate_hz: f64,
    frame: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    /// First bin of each band and one past the last bin of the last.
    edges: [usize; PRINT_BANDS + 1],
    bands: usize,
    work: Vec<f32>,
    spectrum: Vec<Complex32>,
    scratch: Vec<Complex32>,
}

impl Printer {
    /// Work space for a sample rate in hertz.
    pub fn new(rate_hz: f64) -> Self {
        let wanted = FRAME_S * rate_hz;
        let short = 2f64.powf(wanted.log2().floor());
        let frame = [short, 1.5 * short, 2.0 * short]
            .into_iter()
            .min_by(|a, b| (a - wanted).abs().total_cmp(&(b - wanted).abs()))
            .unwrap_or(short)
            .max(16.0) as usize;
        let forward = RealFftPlanner::<f32>::new().plan_fft_forward(frame);
        let per_bin = rate_hz / frame as f64;
        let edges = EDGES.map(|e| (e * UNIT_HZ / per_bin).ceil() as usize);
        let bands = edges[1..]
            .iter()
            .filter(|e| **e <= frame / 2 + 1)
            .count()
            .max(1);
        let window = (0..frame)
            .map(|k| {
                let s = (std::f64::consts::PI * (k as f64 + 0.5) / frame as f64).sin();
                (s * s) as f32
            })
            .collect();
        Self {
            rate_hz,
            frame,
            window,
            edges,
            bands,
            work: forward.make_input_vec(),
            spectrum: forward.make_output_vec(),
            scratch: forward.make_scratch_vec(),
            forward,
        }
    }

    /// Samples after an onset that its print needs.
    pub fn reach(&self) -> u64 {
        let last_s = FIRST_S + HOP_S * (2 * PRINT_STEPS - 1) as f64;
        (last_s * self.rate_hz) as u64 + self.frame as u64 / 2 + 1
    }

    /// Mean power of the bands in the frame around `centre_s` seconds after `at`.
    fn powers(
        &mut self,
        stream: &History,
        at: u64,
        centre_s: f64,
    ) -> Result<[f32; PRINT_BANDS], EarError> {
        let centre = at as i64 + (centre_s * self.rate_hz).round() as i64;
        stream.copy(centre - self.frame as i64 / 2, &mut self.work);
        for (x, w) in self.work.iter_mut().zip(&self.window) {
            *x *= w;
        }
        self.forward
            .process_with_scratch(&mut self.work, &mut self.spectrum, &mut self.scratch)
            .map_err(|e| EarError::Transform(e.to_string()))?;
        let mut powers = [0.0; PRINT_BANDS];
        for (power, edge) in powers
            .iter_mut()
            .zip(self.edges.windows(2))
            .take(self.bands)
        {
            let bins = &self.spectrum[edge[0]..edge[1].max(edge[0] + 1)];
            *power = bins.iter().map(|c| c.norm_sqr()).sum::<f32>() / bins.len() as f32;
        }
        Ok(powers)
    }

    /// The print of what begins at sample `at` of the stream, of which
    /// [`Printer::reach`] more samples must be there.
    ///
    /// # Errors
    /// The transform fails: a fault of the program.
    pub fn print(&mut self, stream: &History, at: u64) -> Result<Print, EarError> {
        let mut background = [0.0f32; PRINT_BANDS];
        for centre_s in BACKGROUND_S {
            for (b, p) in background
                .iter_mut()
                .zip(self.powers(stream, at, centre_s)?)
            {
                *b += p / BACKGROUND_S.len() as f32;
            }
        }
        let mut powers = [[0.0f32; PRINT_BANDS]; PRINT_STEPS];
        for k in 0..2 * PRINT_STEPS {
            let now = self.powers(stream, at, FIRST_S + HOP_S * k as f64)?;
            for (cell, p) in powers[k / 2].iter_mut().zip(now) {
                *cell += 0.5 * p;
            }
        }
        let strongest = powers.iter().flatten().fold(0.0f32, |a, b| a.max(*b));
        let least = LEAST_BACKGROUND * strongest + f32::MIN_POSITIVE;
        let mut cells = [[0u8; PRINT_BANDS]; PRINT_STEPS];
        for (row, now) in cells.iter_mut().zip(&powers) {
            for ((cell, p), b) in row.iter_mut().zip(now).zip(&background) {
                let b = b + least;
                *cell = (PER_DB * 10.0 * ((p + b) / (2.0 * b)).log10()).round() as u8;
            }
        }
        Ok(Print {
            cells,
            bands: self.bands as u8,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 48_000.0;

    /// A decaying tone of `hz` that begins at sample 9,600 of weak noise.
    fn ring(hz: f64, gain: f32, seed: u32) -> History {
        let mut history = History::new(16_384);
        let mut state = seed;
        for n in 0..14_400 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (f64::from(state >> 8) / 8_388_608.0 - 1.0) * 1e-3;
            let t = (n as f64 - 9_600.0) / RATE;
            let tone = if t < 0.0 {
                0.0
            } else {
                (std::f64::consts::TAU * hz * t).sin() * (-t / 0.006).exp()
            };
            history.push(gain * (noise + 0.3 * tone) as f32);
        }
        history
    }

    fn print(history: &History) -> Print {
        Printer::new(RATE).print(history, 9_600).unwrap()
    }

    #[test]
    fn one_source_is_alike_and_another_is_not() {
        let a = print(&ring(3_000.0, 1.0, 1));
        let b = print(&ring(3_000.0, 1.0, 2));
        let c = print(&ring(700.0, 1.0, 3));
        assert!(a.alike(&b) > 0.95, "{}", a.alike(&b));
        assert!(a.alike(&c) < 0.4, "{}", a.alike(&c));
        assert!((a.alike(&a) - 1.0).abs() < 1e-5);
        assert!(a.decay_db() > 3.0, "{}", a.decay_db());
    }

    #[test]
    fn gain_does_not_change_it() {
        assert_eq!(
            print(&ring(3_000.0, 1.0, 1)),
            print(&ring(3_000.0, 0.125, 1))
        );
    }

    /// The same ring in ten times the noise lost what was faint of it: against the taught
    /// print with as much drowned it is more alike than against the taught print itself.
    #[test]
    fn noise_is_taken_into_account() {
        let clear = print(&ring(3_000.0, 1.0, 1));
        let mut faint = History::new(16_384);
        let mut state = 9u32;
        let mut work = vec![0.0; 14_400];
        ring(3_000.0, 1.0, 2).copy(0, &mut work);
        for x in work {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            faint.push(x + (f64::from(state >> 8) / 8_388_608.0 - 1.0) as f32 * 0.05);
        }
        let faint = print(&faint);
        assert!(faint.alike_in_noise(&clear) > faint.alike(&clear));
        assert!(faint.alike_in_noise(&clear) > 0.7);
        assert_eq!(clear.alike_in_noise(&clear), clear.alike(&clear));
    }

    #[test]
    fn silence_is_like_nothing() {
        let mut silent = History::new(16_384);
        (0..14_400).for_each(|_| silent.push(0.0));
        let nothing = print(&silent);
        assert_eq!(nothing.alike(&print(&ring(3_000.0, 1.0, 1))), 0.0);
    }

    #[test]
    fn rates_from_8_to_192_khz_have_frames_that_fit() {
        for rate_hz in [8_000.0, 16_000.0, 22_050.0, 44_100.0, 96_000.0, 192_000.0] {
            let printer = Printer::new(rate_hz);
            let frame_s = printer.frame as f64 / rate_hz;
            assert!(
                (frame_s / FRAME_S - 1.0).abs() < 0.25,
                "{rate_hz}: {frame_s}"
            );
            assert!(printer.edges[printer.bands] <= printer.frame / 2 + 1);
        }
    }
}
