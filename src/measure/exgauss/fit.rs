//! The ex-Gaussian that makes the lags most likely, or the reason for none.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::ExGaussian;
use crate::measure::nelder_mead::minimise;
use crate::measure::quantile::hazen_of_sorted;
use crate::measure::running::Running;
use crate::measure::sample::sorted_finite;

/// The fewest lags that are fitted: the usual advice is "at least 40 to 100"
/// (common in the literature of response times; the lower end is this
/// program's convention).
pub const FIT_NEEDS: usize = 40;

/// More lags than this are fitted through this many evenly spaced quantiles,
/// so that the cost is bounded.
const FIT_AT_MOST: usize = 2_000;

/// A tail shorter than this share of the spread cannot be told from none.
const LEAST_TAIL: f64 = 0.05;

/// A normal part narrower than this share of the spread is an edge, not a body.
const LEAST_BODY: f64 = 1e-3;

/// Fitted parameters and how well they do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ExGaussianFit {
    /// The distribution.
    #[serde(flatten)]
    pub distribution: ExGaussian,
    /// How many lags were fitted.
    pub n: usize,
    /// Mean log-likelihood of a lag (density per millisecond).
    pub mean_ln_likelihood: f64,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum NoFit {
    /// Fewer lags than the fit needs.
    TooFew {
        /// How many there are.
        n: usize,
        /// How many are needed.
        needed: usize,
    },
    /// All lags are the same.
    NoSpread,
    /// The lags have no tail to the late side: a plain normal does as well.
    NoTail,
    /// The lags pile up at one edge: no normal part can be told from the tail.
    NoBody,
}

impl fmt::Display for NoFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew { n, needed } => write!(
                f,
                "the shape of the late tail needs at least {needed} marks with a lag, and there are {n}"
            ),
            Self::NoSpread => {
                f.write_str("all lags are the same, so they have no shape to describe")
            }
            Self::NoBody => f.write_str(
                "the lags pile up at one edge, so no middle can be told from the late tail",
            ),
            Self::NoTail => {
                f.write_str("the lags show no late tail, so mean and spread say it all")
            }
        }
    }
}

impl std::error::Error for NoFit {}

/// A fit, or the reason for none, in a form that can be stored.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FitOutcome {
    /// The fit.
    Fitted(ExGaussianFit),
    /// The reason for none.
    NotFitted(NoFit),
}

impl From<Result<ExGaussianFit, NoFit>> for FitOutcome {
    fn from(result: Result<ExGaussianFit, NoFit>) -> Self {
        match result {
            Ok(fit) => Self::Fitted(fit),
            Err(reason) => Self::NotFitted(reason),
        }
    }
}

/// The maximum-likelihood ex-Gaussian of lags in milliseconds.
///
/// Lags that are not finite are left out. Needs [`FIT_NEEDS`] lags that are
/// not all the same and have a tail to the late side; else the reason. A
/// search by Nelder–Mead over μ, ln σ, ln τ from two moment estimates.
/// A σ that falls to a thousandth of the spread, or a τ below a twentieth, is
/// no fit. O(n log n) plus some 500 passes over at
/// most 2,000 values. Source of the estimate: Heathcote, Popiel, Mewhort 1991
/// (from memory).
pub fn fit(lags_ms: &[f64]) -> Result<ExGaussianFit, NoFit> {
    let sorted = sorted_finite(lags_ms);
    let n = sorted.len();
    if n < FIT_NEEDS {
        return Err(NoFit::TooFew {
            n,
            needed: FIT_NEEDS,
        });
    }
    let spread: Running = sorted.iter().copied().collect();
    let (mean, sd) = match (spread.mean(), spread.sd_n()) {
        (Some(mean), Some(sd)) if sd > 0.0 && sd.is_finite() => (mean, sd),
        _ => return Err(NoFit::NoSpread),
    };
    // In units of the spread about the mean, so that the search has no scale.
    let scaled: Vec<f64> = thinned(&sorted).iter().map(|x| (x - mean) / sd).collect();
    let skewness = scaled.iter().map(|x| x.powi(3)).sum::<f64>() / scaled.len() as f64;

    let cost = |p: &[f64; 3]| match ExGaussian::new(p[0], p[1].exp().max(LEAST_BODY), p[2].exp()) {
        Some(d) => -scaled.iter().map(|x| d.ln_pdf(*x)).sum::<f64>() / scaled.len() as f64,
        None => f64::INFINITY,
    };
    let by_skewness = (0.5 * skewness.clamp(0.02, 1.9)).cbrt();
    let mut best = ([0.0; 3], f64::INFINITY);
    for tau in [by_skewness, 0.5] {
        let sigma = (1.0 - tau * tau).max(0.01).sqrt();
        let found = minimise(cost, [-tau, sigma.ln(), tau.ln()], [0.2, 0.2, 0.2], 600);
        if found.1 < best.1 {
            best = found;
        }
    }
    let ([mu, ln_sigma, ln_tau], least) = best;
    let tau = ln_tau.exp();
    if tau < LEAST_TAIL {
        return Err(NoFit::NoTail);
    }
    let sigma = ln_sigma.exp();
    if sigma <= LEAST_BODY {
        return Err(NoFit::NoBody);
    }
    match ExGaussian::new(mean + sd * mu, sd * sigma, sd * tau) {
        Some(distribution) => Ok(ExGaussianFit {
            distribution,
            n,
            mean_ln_likelihood: -least - sd.ln(),
        }),
        None => Err(NoFit::NoSpread),
    }
}

/// The sample, or evenly spaced quantiles of a sample too large to search with.
fn thinned(sorted: &[f64]) -> Vec<f64> {
    if sorted.len() <= FIT_AT_MOST {
        return sorted.to_vec();
    }
    (0..FIT_AT_MOST)
        .filter_map(|i| {
            let p = (i as f64 + 0.5) / FIT_AT_MOST as f64;
            hazen_of_sorted(sorted, p)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, numbers, reference};

    fn draw(chance: &mut Chance, n: usize) -> Vec<f64> {
        (0..n)
            .map(|_| 200.0 + 25.0 * chance.normal() + 50.0 * chance.exponential())
            .collect()
    }

    /// Source: scipy.stats.exponnorm.fit, the best of several starts
    /// (tests/reference/measure.py). At least as likely, and the same place.
    #[test]
    fn finds_scipys_optimum() {
        for case in reference()["exgauss"]["fits"].as_array().unwrap() {
            let lags = numbers(&case["lags_ms"]);
            let want = numbers(&case["mu_sigma_tau"]);
            let got = fit(&lags).unwrap();
            let likelihood = case["mean_ln_likelihood"].as_f64().unwrap();
            assert!(
                got.mean_ln_likelihood >= likelihood - 1e-7,
                "{got:?} against {likelihood}"
            );
            let d = got.distribution;
            for (got, want) in [d.mu_ms, d.sigma_ms, d.tau_ms].into_iter().zip(want) {
                assert_close(got, want, 0.02);
            }
        }
    }

    #[test]
    fn recovers_the_truth_from_many() {
        let mut chance = Chance::new(3);
        let d = fit(&draw(&mut chance, 20_000)).unwrap().distribution;
        assert_close(d.mu_ms, 200.0, 2.0);
        assert_close(d.sigma_ms, 25.0, 2.0);
        assert_close(d.tau_ms, 50.0, 2.0);
    }

    /// Without bias beyond its own noise at the sizes that drills have.
    #[test]
    fn is_not_far_off_at_sixty() {
        let mut chance = Chance::new(4);
        let mut means = [Running::default(); 3];
        for _ in 0..60 {
            if let Ok(found) = fit(&draw(&mut chance, 60)) {
                means[0].push(found.distribution.mu_ms);
                means[1].push(found.distribution.sigma_ms);
                means[2].push(found.distribution.tau_ms);
            }
        }
        assert!(means[0].n() >= 55);
        assert_close(means[0].mean().unwrap(), 200.0, 6.0);
        assert_close(means[1].mean().unwrap(), 25.0, 6.0);
        assert_close(means[2].mean().unwrap(), 50.0, 6.0);
    }

    #[test]
    fn says_why_not() {
        let mut chance = Chance::new(9);
        let mut few = draw(&mut chance, 39);
        few.extend([f64::NAN, f64::INFINITY]);
        assert_eq!(fit(&few), Err(NoFit::TooFew { n: 39, needed: 40 }));
        assert_eq!(fit(&[]), Err(NoFit::TooFew { n: 0, needed: 40 }));
        assert_eq!(fit(&[120.0; 50]), Err(NoFit::NoSpread));
        let mut edge = vec![0.0; 59];
        edge.push(770.0);
        assert_eq!(fit(&edge), Err(NoFit::NoBody));
        let left_tail: Vec<f64> = draw(&mut chance, 80).iter().map(|x| -x).collect();
        assert_eq!(fit(&left_tail), Err(NoFit::NoTail));
        assert!(
            NoFit::TooFew { n: 39, needed: 40 }
                .to_string()
                .contains("39")
        );
        few.push(250.0);
        assert!(fit(&few).is_ok());
    }

    #[test]
    fn extreme_lags_neither_panic_nor_give_nan() {
        let mut lags: Vec<f64> = (0..60).map(f64::from).collect();
        lags.push(1e12);
        if let Ok(found) = fit(&lags) {
            assert!(found.mean_ln_likelihood.is_finite());
        }
        assert!(fit(&[f64::MAX, f64::MIN].repeat(30)).is_err());
    }
}
