//! The ex-Gaussian: the usual description of reaction times, a normal with an
//! exponential tail to the late side. Descriptive, not a model of the process.

mod fit;

use serde::{Deserialize, Serialize};

use super::distributions::{erfc, erfcx, normal_cdf};
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

    /// Mean, μ + τ, in milliseconds.
    pub fn mean_ms(&self) -> f64 {
        self.mu_ms + self.tau_ms
    }

    /// Standard deviation, √(σ² + τ²), in milliseconds.
    pub fn sd_ms(&self) -> f64 {
        self.sigma_ms.hypot(self.tau_ms)
    }

    /// Skewness, 2τ³/(σ² + τ²)^{3/2}: between 0 and 2.
    pub fn skewness(&self) -> f64 {
        2.0 * (self.tau_ms / self.sd_ms()).powi(3)
    }

    /// Excess kurtosis, 6τ⁴/(σ² + τ²)²: between 0 and 6.
    pub fn excess_kurtosis(&self) -> f64 {
        6.0 * (self.tau_ms / self.sd_ms()).powi(4)
    }

    /// Density at a lag in milliseconds, per millisecond.
    pub fn pdf(&self, lag_ms: f64) -> f64 {
        self.ln_pdf(lag_ms).exp()
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

    /// Share of lags at or below a lag in milliseconds, 0 to 1.
    pub fn cdf(&self, lag_ms: f64) -> f64 {
        let (z, k, a) = self.terms(lag_ms);
        let tail = if a > 0.0 {
            0.5 * (-0.5 * z * z).exp() * erfcx(a)
        } else {
            0.5 * (0.5 * k * k - k * z).exp() * erfc(a)
        };
        (normal_cdf(z) - tail).clamp(0.0, 1.0)
    }

    /// The lag in milliseconds that a share p of lags does not exceed; `None`
    /// unless 0 < p < 1. By bisection, to the last digits of the lag.
    pub fn quantile_ms(&self, p: f64) -> Option<f64> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        // P(sum > a + b) ≤ P(normal > a) + P(tail > b): beyond the upper end
        // lies at most half of 1 − p and what a normal has past 40 σ.
        let mut low = self.mu_ms - 40.0 * self.sigma_ms;
        let mut high = self.mu_ms + 40.0 * self.sigma_ms - self.tau_ms * (0.5 * (1.0 - p)).ln();
        for _ in 0..200 {
            let middle = 0.5 * low + 0.5 * high;
            if middle <= low || middle >= high {
                break;
            }
            if self.cdf(middle) < p {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(0.5 * low + 0.5 * high)
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
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};
    use proptest::prelude::*;

    /// Source: the closed forms at μ 200, σ 25, τ 50 ms, computed with scipy.
    #[test]
    fn worked_example() {
        let d = ExGaussian::new(200.0, 25.0, 50.0).unwrap();
        assert_close(d.mean_ms(), 250.0, 1e-12);
        assert_close(d.sd_ms(), 55.901699, 5e-7);
        assert_close(d.skewness(), 1.431084, 5e-7);
        assert_close(d.excess_kurtosis(), 3.84, 1e-12);
        for (x, pdf) in [
            (150.0, 0.000382542),
            (200.0, 0.006992377),
            (250.0, 0.007780253),
            (300.0, 0.003066386),
            (400.0, 0.000415087),
        ] {
            assert_close(d.pdf(x), pdf, 5e-10);
        }
        for (x, cdf) in [
            (150.0, 0.003623016),
            (200.0, 0.150381165),
            (250.0, 0.588237233),
            (300.0, 0.846649037),
            (400.0, 0.979245662),
            (500.0, 0.997191206),
        ] {
            assert_close(d.cdf(x), cdf, 5e-10);
        }
        for (p, x) in [
            (0.05, 180.5371),
            (0.10, 191.9252),
            (0.25, 212.4757),
            (0.50, 239.4200),
            (0.75, 275.5239),
            (0.90, 321.3792),
            (0.95, 356.0366),
            (0.99, 436.5085),
        ] {
            assert_close(d.quantile_ms(p).unwrap(), x, 5.1e-5);
        }
    }

    /// Source: scipy.stats.exponnorm (tests/reference/measure.py).
    #[test]
    fn agrees_with_scipy_far_into_the_tails() {
        for row in reference()["exgauss"]["values"].as_array().unwrap() {
            let v = numbers(row);
            let d = ExGaussian::new(v[0], v[1], v[2]).unwrap();
            assert_close(d.ln_pdf(v[3]), v[4], 1e-8 * (1.0 + v[4].abs()));
            assert_close(d.cdf(v[3]), v[5], 1e-10);
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
        let d = ExGaussian::new(0.0, 1.0, 1.0).unwrap();
        for p in [0.0, 1.0, -0.5, f64::NAN] {
            assert_eq!(d.quantile_ms(p), None);
        }
    }

    proptest! {
        #[test]
        fn quantile_undoes_cdf(
            mu in -200.0..400.0f64,
            sigma in 1.0..80.0f64,
            tau in 1.0..200.0f64,
            p in 0.001..0.999f64,
        ) {
            let d = ExGaussian::new(mu, sigma, tau).unwrap();
            let x = d.quantile_ms(p).unwrap();
            prop_assert!((d.cdf(x) - p).abs() < 1e-9);
            prop_assert!(d.pdf(x) > 0.0 && d.pdf(x).is_finite());
        }
    }
}
