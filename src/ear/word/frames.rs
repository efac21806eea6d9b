//! Sound at 16 kHz cut into frames, each frame to the logarithms of its power in
//! mel bands.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::mel::{Band, bank};
use super::{BANDS, FFT, WINDOW};
use crate::ear::EarError;

/// Pre-emphasis y[n] = x[n] − 0.97·x[n−1], as is common for speech.
const EMPHASIS: f32 = 0.97;
/// Power that stands for silence: far under the quietest sound.
const SILENCE: f32 = 1e-10;

/// Power in each band, lowest first.
pub type Powers = [f32; BANDS];

/// From frames to band powers.
pub struct Spectrum {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    bank: Vec<Band>,
    time: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl Spectrum {
    /// Plans the transform.
    pub fn new() -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(FFT);
        Self {
            window: (0..WINDOW)
                .map(|n| {
                    let turn = std::f64::consts::TAU * n as f64 / (WINDOW - 1) as f64;
                    (0.54 - 0.46 * turn.cos()) as f32
                })
                .collect(),
            bank: bank(),
            time: fft.make_input_vec(),
            bins: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
        }
    }

    /// Band powers of one frame of [`WINDOW`] samples with the sample before them
    /// (`WINDOW + 1` in all): pre-emphasis, Hamming window, power spectrum over
    /// its points, triangular bands.
    pub fn powers(&mut self, frame: &[f32]) -> Result<Powers, EarError> {
        self.time.fill(0.0);
        for ((y, pair), w) in self.time.iter_mut().zip(frame.windows(2)).zip(&self.window) {
            *y = w * (pair[1] - EMPHASIS * pair[0]);
        }
        self.fft
            .process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch)
            .map_err(|e| EarError::Transform(e.to_string()))?;
        let mut powers = [SILENCE; BANDS];
        for (power, band) in powers.iter_mut().zip(&self.bank) {
            let bins = self.bins.iter().skip(band.from);
            *power += bins
                .zip(&band.weights)
                .map(|(c, w)| w * c.norm_sqr())
                .sum::<f32>()
                / FFT as f32;
        }
        Ok(powers)
    }
}

/// All frames of a stretch of sound at 16 kHz; frame `t` begins at sample
/// `t·HOP`.
pub fn all_powers(samples: &[f32]) -> Result<Vec<Powers>, EarError> {
    let mut spectrum = Spectrum::new();
    let mut frame = [0.0; WINDOW + 1];
    let count = (samples.len() + super::HOP).saturating_sub(WINDOW) / super::HOP;
    (0..count)
        .map(|t| {
            let at = t * super::HOP;
            frame[0] = if at == 0 { 0.0 } else { samples[at - 1] };
            frame[1..].copy_from_slice(&samples[at..at + WINDOW]);
            spectrum.powers(&frame)
        })
        .collect()
}
