//! Chance that is the same on every machine: a seeded PCG (whose
//! streams do not change between versions of its crate) with the few
//! distributions the made-up room needs.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// A seeded source of chance. The same seed gives the same scene for ever.
#[derive(Debug, Clone)]
pub struct Dice(Pcg64);

impl Dice {
    /// Dice for a seed.
    pub fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// Uniform in `[0, 1)`.
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform in `[low, high)`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform on a logarithmic scale in `[low, high)`; both above zero.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// A whole number in `[0, n)`; 0 when `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// 1 with a random relative error of standard deviation `sd`, kept positive.
    pub fn about_one(&mut self, sd: f64) -> f64 {
        (1.0 + sd * self.normal()).max(0.05)
    }
}
