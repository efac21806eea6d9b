//! A matched filter: the whole stream correlated with one taught sound.
//!
//! Overlap-save by FFT on a fixed grid of blocks counted from the first sample,
//! so that the result does not depend on how the stream was cut.

use super::EarError;
use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// The forward transform of the stream, shared by all matched filters.
pub struct Blocks {
    forward: Arc<dyn RealToComplex<f32>>,
    size: usize,
    keep: usize,
    input: Vec<f32>,
    filled: usize,
    work: Vec<f32>,
    scratch: Vec<Complex32>,
    /// Spectrum of the newest block.
    pub spectrum: Vec<Complex32>,
    /// Sample at which the newest block begins.
    pub start: i64,
}

impl Blocks {
    /// Blocks for templates of at most `template` samples.
    pub fn new(template: usize) -> Self {
        let size = (2 * template).next_power_of_two();
        let forward = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        Self {
            scratch: forward.make_scratch_vec(),
            spectrum: forward.make_output_vec(),
            forward,
            size,
            keep: template,
            input: vec![0.0; size],
            // The stream is preceded by silence, so that its first samples are
            // correlated like all others.
            filled: template,
            work: vec![0.0; size],
            start: -(template as i64),
        }
    }

    /// Samples until the next block is ready, at least one.
    pub fn room(&self) -> usize {
        if self.filled == self.size {
            self.hop()
        } else {
            self.size - self.filled
        }
    }

    /// More samples, at most [`Blocks::room`]; true when a block is ready.
    pub fn push(&mut self, samples: &[f32]) -> bool {
        if self.filled == self.size {
            self.input.copy_within(self.size - self.keep.., 0);
            self.filled = self.keep;
            self.start += (self.size - self.keep) as i64;
        }
        let until = self.filled + samples.len();
        self.input[self.filled..until].copy_from_slice(samples);
        self.filled = until;
        self.filled == self.size
    }

    /// Transforms the newest block. Call when `push` said so.
    pub fn transform(&mut self) -> Result<(), EarError> {
        self.work.copy_from_slice(&self.input);
        self.forward
            .process_with_scratch(&mut self.work, &mut self.spectrum, &mut self.scratch)
            .map_err(|e| EarError::Transform(e.to_string()))
    }

    /// Correlations that one block gives.
    pub fn hop(&self) -> usize {
        self.size - self.keep
    }

    /// Samples in a block.
    pub fn size(&self) -> usize {
        self.size
    }
}

/// One matched filter.
pub struct Matcher {
    conjugate: Vec<Complex32>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    product: Vec<Complex32>,
    scratch: Vec<Complex32>,
    out: Vec<f32>,
    hop: usize,
}

impl Matcher {
    /// A filter for `template` (scaled to unit energy here) on `blocks`.
    pub fn new(template: &[f32], blocks: &Blocks) -> Result<Self, EarError> {
        let mut planner = RealFftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(blocks.size());
        let inverse = planner.plan_fft_inverse(blocks.size());
        let energy: f32 = template.iter().map(|v| v * v).sum();
        let scale = 1.0 / (energy.max(1e-30).sqrt() * blocks.size() as f32);
        let mut padded = vec![0.0f32; blocks.size()];
        for (y, v) in padded.iter_mut().zip(template) {
            *y = v * scale;
        }
        let mut conjugate = forward.make_output_vec();
        forward
            .process(&mut padded, &mut conjugate)
            .map_err(|e| EarError::Transform(e.to_string()))?;
        for c in &mut conjugate {
            *c = c.conj();
        }
        Ok(Self {
            product: conjugate.clone(),
            conjugate,
            scratch: inverse.make_scratch_vec(),
            out: inverse.make_output_vec(),
            inverse,
            hop: blocks.hop(),
        })
    }

    /// Correlations of the newest block: element `k` belongs to the template
    /// laid on the stream with its first sample at `blocks.start + k`.
    pub fn correlate(&mut self, blocks: &Blocks) -> Result<&[f32], EarError> {
        for ((p, s), c) in self
            .product
            .iter_mut()
            .zip(&blocks.spectrum)
            .zip(&self.conjugate)
        {
            *p = s * c;
        }
        // The ends of a real signal's spectrum are real; rounding must not say otherwise.
        if let Some(first) = self.product.first_mut() {
            first.im = 0.0;
        }
        if let Some(last) = self.product.last_mut() {
            last.im = 0.0;
        }
        self.inverse
            .process_with_scratch(&mut self.product, &mut self.out, &mut self.scratch)
            .map_err(|e| EarError::Transform(e.to_string()))?;
        Ok(&self.out[..self.hop])
    }
}

/// Peaks of a matched filter's output over its own recent background.
#[derive(Debug, Clone)]
pub struct PeakFinder {
    background: f64,
    step: f64,
    delay: Vec<f64>,
    slot: usize,
    guard: u64,
    best: Option<(u64, f64, f64)>,
    seen: u64,
    settle: u64,
}

/// Power over the background that makes a peak a candidate.
const OVER: f64 = 14.0;
/// Power far below any microphone's noise.
const FLOOR: f64 = 1e-13;

/// A place where a taught sound may begin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// Index of the correlation's peak.
    pub at: u64,
    /// Power of the peak over its background.
    pub over: f64,
}

impl PeakFinder {
    /// For a sample rate.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            background: 0.0,
            step: 1.0 - (-1.0 / (0.030 * rate_hz)).exp(),
            delay: vec![0.0; (0.002 * rate_hz) as usize + 1],
            slot: 0,
            guard: (0.004 * rate_hz) as u64,
            best: None,
            seen: 0,
            settle: (0.02 * rate_hz) as u64,
        }
    }

    /// The next correlations; a peak goes to `found` once it is certain that none
    /// larger follows within 4 ms.
    pub fn push(&mut self, correlations: &[f32], mut found: impl FnMut(Peak)) {
        // In a local, which stays in a register.
        let mut background = self.background;
        for &correlation in correlations {
            let p = f64::from(correlation) * f64::from(correlation);
            let at = self.seen;
            self.seen += 1;
            // The background lags 2 ms behind, so that a peak does not raise its own bar.
            let old = std::mem::replace(&mut self.delay[self.slot], p);
            self.slot = if self.slot + 1 == self.delay.len() {
                0
            } else {
                self.slot + 1
            };
            background += self.step * (old - background);
            if at < self.settle {
                background = background.max(0.1 * p);
                continue;
            }
            let ground = background + FLOOR;
            match self.best {
                Some((_, power, bar)) if p > power => {
                    // Larger: it must still stand over the background before the first.
                    self.best = Some((at, p, bar.min(ground)));
                }
                Some((peak, power, bar)) if at >= peak + self.guard => {
                    self.best = None;
                    found(Peak {
                        at: peak,
                        over: power / bar,
                    });
                }
                Some(_) => {}
                None if p > OVER * ground => self.best = Some((at, p, ground)),
                None => {}
            }
        }
        self.background = background;
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{numbers, reference, samples};
    use super::*;

    /// Source: scipy.signal.correlate(…, mode="valid") of the stream, preceded by
    /// the template's length of silence, with the template at unit energy.
    #[test]
    fn correlates_as_scipy() {
        let case = &reference()["matched"];
        let template = samples(&case["template"]);
        let mut blocks = Blocks::new(template.len());
        let mut matcher = Matcher::new(&template, &blocks).unwrap();
        let mut ours = Vec::new();
        for x in samples(&case["x"]) {
            if blocks.push(&[x]) {
                blocks.transform().unwrap();
                assert_eq!(blocks.start, ours.len() as i64 - template.len() as i64);
                ours.extend_from_slice(matcher.correlate(&blocks).unwrap());
            }
        }
        let theirs = numbers(&case["y"]);
        assert!(ours.len() >= 8 * blocks.hop() && ours.len() <= theirs.len());
        for (k, (a, b)) in ours.iter().zip(&theirs).enumerate() {
            assert!((f64::from(*a) - b).abs() < 2e-5, "{k}: {a} {b}");
        }
    }
}
