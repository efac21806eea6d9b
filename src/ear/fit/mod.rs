//! How well one place in the stream fits a taught sound: the waveform against
//! the noise that was there just before, and the energy in cells of time and
//! frequency.

mod cells;
mod early;

use super::EarError;
use super::history::History;
use super::profile::BEFORE_S;
use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Length of the long frame, in seconds.
const FRAME_S: f64 = 0.010_667;
/// The long frame begins this long before the onset, in seconds.
const LEAD_S: f64 = 0.000_7;
/// Length of a cell's frame, in seconds.
const CELL_S: f64 = 0.002_667;
/// Where the cells' frames begin, in seconds after the long frame's begin.
const CELL_STARTS_S: [f64; CELL_FRAMES] = [0.0, 0.001_333, 0.004, 0.006_667];
const CELL_FRAMES: usize = 4;
/// Band edges of the cells, in hertz.
const EDGES_HZ: [f64; BANDS + 1] = [
    750.0, 1_500.0, 2_250.0, 3_000.0, 4_000.0, 5_250.0, 6_750.0, 8_750.0, 11_500.0, 15_000.0,
    20_000.0,
];
const BANDS: usize = 10;
/// The first blow is looked at from this long before the onset, in seconds.
const EARLY_BEFORE_S: f64 = 0.0002;
/// Length of the first blow, in seconds.
const EARLY_S: f64 = 0.0017;
/// How far the first blow may be from the onset, in seconds.
const EARLY_SEARCH_S: f64 = 0.00025;
/// How far the waveform may be from where it was looked for, in seconds.
const SEARCH_S: f64 = 0.001;
/// Part of the template's own power that two clicks may differ by, bin for bin.
const MODEL_ERROR: f32 = 0.3;
/// The same for bins in which the template has little, as a part of its mean power.
const MODEL_FLOOR: f32 = 0.3;
/// Least part of the energy that counts as the sound itself, whatever the noise
/// before it says: in talk the noise just before can be as loud.
const CLEAN: f32 = 0.2;

type Cells = [[f32; BANDS]; CELL_FRAMES];

/// A taught waveform prepared for a sample rate.
#[derive(Debug, Clone)]
pub struct Shape {
    spectrum: Vec<Complex32>,
    power: Vec<f32>,
    /// Sum of `power`.
    total: f32,
    cells: Cells,
    /// The first blow in time, from [`EARLY_BEFORE_S`] before the onset on.
    early: Vec<f32>,
}

/// How well a place fits a shape.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fit {
    /// Coherence of the waveform with the shape, 0 to 1, the noise taken off.
    pub coherence: f32,
    /// The shape's onset in whole samples after the place that was asked for; `None`
    /// where there is no sound.
    pub lag: Option<isize>,
    /// The shape's onset, in samples after the place that was asked for.
    pub shift: f32,
    /// Energy over the noise before it, in dB, weighted as the shape is.
    pub over_db: f32,
    /// Amplitude of the shape in the stream, with its sign.
    pub gain: f32,
    /// Standard uncertainty of the shift, in samples: the Cramér-Rao bound for a
    /// known waveform in the noise before it and the shape's own variation.
    pub u_shift: f32,
}

/// Work space for fits at one sample rate.
pub struct Fitter {
    frame: usize,
    lead: usize,
    early_samples: usize,
    early_before: usize,
    early_search: usize,
    cell: usize,
    cell_starts: [usize; CELL_FRAMES],
    edges: [usize; BANDS + 1],
    bands: usize,
    search: usize,
    window: Vec<f32>,
    hann: Vec<f32>,
    /// Power that `window` passes over what `hann` passes.
    window_ratio: f32,
    cell_hann: Vec<f32>,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    small: Arc<dyn RealToComplex<f32>>,
    span: Vec<f32>,
    work: Vec<f32>,
    spectrum: Vec<Complex32>,
    noise: Vec<f32>,
    smooth: Vec<f32>,
    cross: Vec<Complex32>,
    curve: Vec<f32>,
    scratch: Vec<Complex32>,
    cell_work: Vec<f32>,
    cell_spectrum: Vec<Complex32>,
}

impl Fitter {
    /// Work space for a sample rate.
    pub fn new(rate_hz: f64) -> Self {
        let even =
            |s: f64, step: f64| ((s * rate_hz / step).round() * step).max(2.0 * step) as usize;
        let frame = even(FRAME_S, 8.0);
        let cell = even(CELL_S, 4.0);
        let mut planner = RealFftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(frame);
        let inverse = planner.plan_fft_inverse(frame);
        let small = planner.plan_fft_forward(cell);
        let fade_in = (0.0005 * rate_hz).max(1.0);
        let fade_out = 0.005 * rate_hz;
        let window: Vec<f32> = (0..frame)
            .map(|n| {
                let from_end = (frame - n) as f64;
                let rise = ((n as f64 + 0.5) / fade_in).min(1.0);
                let fall = (from_end / fade_out).min(1.0);
                (0.25
                    * (1.0 - (std::f64::consts::PI * rise).cos())
                    * (1.0 - (std::f64::consts::PI * fall).cos())) as f32
            })
            .collect();
        let hann = |n: usize| -> Vec<f32> {
            (0..n)
                .map(|k| {
                    let s = (std::f64::consts::PI * (k as f64 + 0.5) / n as f64).sin();
                    (s * s) as f32
                })
                .collect()
        };
        let power = |window: &[f32]| window.iter().map(|w| w * w).sum::<f32>();
        let hz_per_bin = rate_hz / cell as f64;
        let mut edges =
            EDGES_HZ.map(|hz| ((hz / hz_per_bin).round() as usize).max(1).min(cell / 2));
        edges[0] = edges[0].max(1);
        let bands = EDGES_HZ[1..]
            .iter()
            .filter(|hz| **hz <= 0.48 * rate_hz)
            .count()
            .max(1);
        let longest = forward
            .get_scratch_len()
            .max(inverse.get_scratch_len())
            .max(small.get_scratch_len());
        Self {
            early_samples: ((EARLY_S * rate_hz).round() as usize).max(8),
            early_before: (EARLY_BEFORE_S * rate_hz).round() as usize,
            early_search: ((EARLY_SEARCH_S * rate_hz).round() as usize).max(1),
            lead: (LEAD_S * rate_hz).round() as usize,
            cell_starts: CELL_STARTS_S.map(|s| ((s * rate_hz).round() as usize).min(frame - cell)),
            edges,
            bands,
            search: (SEARCH_S * rate_hz).round() as usize,
            window_ratio: power(&window) / power(&hann(frame)),
            window,
            hann: hann(frame),
            cell_hann: hann(cell),
            spectrum: forward.make_output_vec(),
            noise: vec![0.0; frame / 2 + 1],
            smooth: vec![0.0; frame / 2 + 1],
            cross: inverse.make_input_vec(),
            curve: vec![0.0; frame],
            scratch: vec![Complex32::default(); longest],
            cell_work: vec![0.0; cell],
            cell_spectrum: small.make_output_vec(),
            span: vec![0.0; frame * 7 / 2],
            work: vec![0.0; frame],
            frame,
            cell,
            forward,
            inverse,
            small,
        }
    }

    /// The widest search, in samples.
    pub fn widest(&self) -> usize {
        self.search
    }

    fn transform(&mut self, from: usize, lead_window: bool) -> Result<(), EarError> {
        let window = if lead_window {
            &self.window
        } else {
            &self.hann
        };
        for ((w, x), h) in self
            .work
            .iter_mut()
            .zip(&self.span[from..from + self.frame])
            .zip(window)
        {
            *w = x * h;
        }
        let need = self.forward.get_scratch_len();
        self.forward
            .process_with_scratch(
                &mut self.work,
                &mut self.spectrum,
                &mut self.scratch[..need],
            )
            .map_err(|e| EarError::Transform(e.to_string()))
    }

    /// Prepares a taught waveform (already filtered as the stream is, onset at
    /// [`BEFORE_S`]) as a shape.
    pub fn shape(&mut self, waveform: &[f32], rate_hz: f64) -> Result<Shape, EarError> {
        let onset = (BEFORE_S * rate_hz).round() as usize;
        let at = self.frame * 5 / 2;
        self.span.fill(0.0);
        for n in 0..self.frame {
            self.span[at + n] = waveform
                .get((n + onset).wrapping_sub(self.lead))
                .copied()
                .unwrap_or(0.0);
        }
        self.transform(at, true)?;
        let spectrum = self.spectrum.clone();
        let mut cells = [[0.0; BANDS]; CELL_FRAMES];
        for (k, row) in cells.iter_mut().enumerate() {
            *row = self.cell_powers(at + self.cell_starts[k])?;
        }
        let from = onset.saturating_sub((EARLY_BEFORE_S * rate_hz).round() as usize);
        let until = (from + self.early_samples).min(waveform.len());
        let early = waveform[from.min(until)..until].to_vec();
        let power: Vec<f32> = spectrum.iter().map(|c| c.norm_sqr()).collect();
        Ok(Shape {
            early,
            total: power.iter().sum::<f32>().max(1e-30),
            power,
            spectrum,
            cells,
        })
    }

    /// Loads the stretch around `onset` from the filtered stream. Call before
    /// `early` and `spread_db`.
    pub fn turn_to(&mut self, filtered: &History, onset: u64) {
        let at = self.frame * 5 / 2;
        filtered.copy(onset as i64 - self.lead as i64 - at as i64, &mut self.span);
    }

    /// Loads the stretch around `onset` and measures the noise before it. Call
    /// before `fit`.
    pub fn load(&mut self, filtered: &History, onset: u64) -> Result<(), EarError> {
        self.turn_to(filtered, onset);
        self.noise.fill(0.0);
        // Four frames, half overlapped, end just before the onset.
        for k in 0..4 {
            self.transform(k * self.frame / 2, false)?;
            for (n, c) in self.noise.iter_mut().zip(&self.spectrum) {
                *n += c.norm_sqr() / 4.0;
            }
        }
        // The two windows pass different power.
        let ratio = self.window_ratio;
        let bins = self.noise.len();
        for k in 0..bins {
            let (low, high) = (k.saturating_sub(2), (k + 3).min(bins));
            self.smooth[k] =
                ratio * self.noise[low..high].iter().sum::<f32>() / (high - low) as f32;
        }
        std::mem::swap(&mut self.noise, &mut self.smooth);
        Ok(())
    }

    /// Fits a shape to the loaded stretch, looking for it within `search`
    /// samples (at most [`Fitter::widest`]) of the place that was loaded.
    pub fn fit(&mut self, shape: &Shape, search: usize) -> Result<Fit, EarError> {
        let at = self.frame * 5 / 2;
        self.transform(at, true)?;
        let bins = self.spectrum.len();
        // Two sums in one loop, as each waits for itself.
        let (mut total, mut noise_total) = (0.0f32, 0.0f32);
        for (heard, noise) in self.spectrum.iter().zip(&self.noise) {
            total += heard.norm_sqr();
            noise_total += noise;
        }
        if total <= 1e-20 {
            return Ok(Fit::default());
        }
        // A first gain by plain power, to scale the model error.
        let scale = ((total - noise_total).max(0.05 * total)) / shape.total;
        let mean_power = shape.total / bins as f32;
        let mut template_energy = 0.0f32;
        let mut signal_energy = 0.0f32;
        let mut noise_energy = 0.0f32;
        let mut slope_energy = 0.0f32;
        let radians = std::f32::consts::TAU / self.frame as f32;
        for k in 0..bins {
            let weight = 1.0
                / (self.noise[k]
                    + MODEL_ERROR * scale * (shape.power[k] + MODEL_FLOOR * mean_power)
                    + 1e-9 * total);
            template_energy += weight * shape.power[k];
            signal_energy += weight * self.spectrum[k].norm_sqr();
            noise_energy += weight * self.noise[k];
            let omega = radians * k as f32;
            slope_energy += weight * shape.power[k] * omega * omega;
            self.cross[k] = self.spectrum[k] * shape.spectrum[k].conj() * weight;
        }
        self.cross[0].im = 0.0;
        self.cross[bins - 1].im = 0.0;
        let need = self.inverse.get_scratch_len();
        self.inverse
            .process_with_scratch(&mut self.cross, &mut self.curve, &mut self.scratch[..need])
            .map_err(|e| EarError::Transform(e.to_string()))?;
        let read = |lag: isize| -> f32 { self.curve[lag.rem_euclid(self.frame as isize) as usize] };
        let reach = search.min(self.search) as isize;
        let mut best = (0isize, 0.0f32);
        for lag in -reach..=reach {
            let v = read(lag).abs();
            if v > best.1 {
                best = (lag, v);
            }
        }
        // Parabola through the peak: a fraction of a sample.
        let (left, mid, right) = (read(best.0 - 1).abs(), best.1, read(best.0 + 1).abs());
        let bend = left - 2.0 * mid + right;
        let fraction = if bend < 0.0 {
            (0.5 * (left - right) / bend).clamp(-0.5, 0.5)
        } else {
            0.0
        };
        // The inverse transform is not scaled; both halves of the spectrum count.
        let correlation = 0.5 * best.1;
        let clean = (signal_energy - noise_energy).max(CLEAN * signal_energy);
        let coherence = (correlation / (template_energy * clean).sqrt().max(1e-30)).min(1.0);
        let gain = read(best.0).signum() * 0.5 * best.1 / template_energy.max(1e-30);
        let over_db = 10.0
            * (signal_energy / noise_energy.max(1e-12 * signal_energy))
                .max(1e-3)
                .log10();
        // Fisher information of the delay: 2 g² Σ ω² |T|² / N (Kay 1993, ch. 3).
        let u_shift = 1.0 / (2.0 * gain * gain * slope_energy).max(1e-12).sqrt();
        Ok(Fit {
            coherence,
            lag: Some(best.0),
            shift: best.0 as f32 + fraction,
            over_db,
            gain,
            u_shift,
        })
    }
}
