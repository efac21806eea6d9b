//! Helpers for the room's own tests: closeness, seeded chance, and the
//! reference values that tests/reference/measure.py wrote.
#![allow(clippy::unwrap_used, clippy::panic)]

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// The values that scipy, statsmodels, pymannkendall, pingouin and mir_eval gave.
pub(crate) fn reference() -> serde_json::Value {
    serde_json::from_str(include_str!("../../tests/reference/measure.json")).unwrap()
}

/// A JSON list of numbers.
pub(crate) fn numbers(list: &serde_json::Value) -> Vec<f64> {
    list.as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

#[track_caller]
pub(crate) fn assert_close(got: f64, want: f64, tolerance: f64) {
    assert!(
        (got - want).abs() <= tolerance,
        "got {got}, want {want}, off by {:e}, allowed {tolerance:e}",
        (got - want).abs()
    );
}

/// Seeded chance for simulations.
pub(crate) struct Chance(Pcg64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// Uniform on (0, 1), never an end.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Standard normal, by the inverse of its distribution function.
    pub(crate) fn normal(&mut self) -> f64 {
        super::distributions::normal_quantile(self.uniform())
    }

    /// Exponential of mean 1.
    pub(crate) fn exponential(&mut self) -> f64 {
        -self.uniform().ln()
    }
}
