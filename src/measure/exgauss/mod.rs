//! The ex-Gaussian: the usual description of reaction times, a normal with an
//! exponential tail to the late side. Descriptive, not a model of the process.

mod fit;

use serde::{Deserialize, Serialize};

use super::distributions::{erfc, erfcx};
use std::f64::consts::SQRT_2;

pub use fit::{ExGaussianFit, FIT_NEEDS, FitOutcome, NoFit, fit};

/// An ex-Gaussian distribution: normal(μ, σ) plus exponential(mean τ), in
/// milliseconds.
///
/// Source: Luce RD (1986) Response Times; Heathcote A, Popiel SJ, Mewhort DJK
/// (1991) Psychol Bull 109:340–347 (sources from memory). scipy calls it
/// `exponnorm` with K = τ/σ.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ExGaussian {
    /// μ, the mean of the normal part, in milliseconds.
    pub mu_ms: f64,
    /// σ, the standard deviation of the normal part, in milliseconds, positive.
    pub sigma_ms: f64,
    /// τ, the mean of the exponential tail, in milliseconds, positive.
    pub tau_ms: f64,
}

impl ExGaussian {
    /// The distribution; `None` unless μ is finite, σ and τ finite and positive.
    pub fn new(mu_ms: f64, sigma_ms: f64, tau_ms: f64) -> Option<Self> {
        let good = mu_ms.is_finite()
            && sigma_ms.is_finite()
            && tau_ms.is_finite()
            && sigma_ms > 0.0
            && tau_ms > 0.0;
        good.then_some(Self {
            mu_ms,
            sigma_ms,
            tau_ms,
        })
    }

    /// Logarithm of the density; finite far into both tails.
    pub fn ln_pdf(&self, lag_ms: f64) -> f64 {
        let (z, k, a) = self.terms(lag_ms);
        let shape = if a > 0.0 {
            -0.5 * z * z + erfcx(a).ln()
        } else {
            0.5 * k * k - k * z + erfc(a).ln()
        };
        shape - (2.0 * self.tau_ms).ln()
    }

    /// z, k = σ/τ and (k − z)/√2, in which density and share are written.
    fn terms(&self, lag_ms: f64) -> (f64, f64, f64) {
        let z = (lag_ms - self.mu_ms) / self.sigma_ms;
        let k = self.sigma_ms / self.tau_ms;
        (z, k, (k - z) / SQRT_2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};

    /// Source: the closed forms at μ 200, σ 25, τ 50 ms, computed with scipy.
    #[test]
    fn worked_example() {
        let d = ExGaussian::new(200.0, 25.0, 50.0).unwrap();
        for (x, pdf) in [
            (150.0, 0.000382542),
            (200.0, 0.006992377),
            (250.0, 0.007780253),
            (300.0, 0.003066386),
            (400.0, 0.000415087),
        ] {
            assert_close(d.ln_pdf(x).exp(), pdf, 5e-10);
        }
    }

    /// Source: scipy.stats.exponnorm (tests/reference/measure.py).
    #[test]
    fn agrees_with_scipy_far_into_the_tails() {
        for row in reference()["exgauss"]["values"].as_array().unwrap() {
            let v = numbers(row);
            let d = ExGaussian::new(v[0], v[1], v[2]).unwrap();
            assert_close(d.ln_pdf(v[3]), v[4], 1e-8 * (1.0 + v[4].abs()));
        }
    }

    #[test]
    fn refuses_parameters_that_are_no_distribution() {
        for (mu, sigma, tau) in [
            (f64::NAN, 1.0, 1.0),
            (0.0, 0.0, 1.0),
            (0.0, 1.0, 0.0),
            (0.0, -1.0, 1.0),
            (0.0, f64::INFINITY, 1.0),
            (0.0, 1.0, f64::NAN),
        ] {
            assert_eq!(ExGaussian::new(mu, sigma, tau), None);
        }
    }
}
