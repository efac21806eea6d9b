//! The few distributions that the room needs, in the shape it needs them.

pub(crate) use libm::erfc;
use statrs::distribution::{ContinuousCDF, FisherSnedecor, Normal, StudentsT};
use statrs::function::gamma::ln_gamma;

/// Whether a confidence level is usable: strictly between 0 and 1.
pub(crate) fn level_is_usable(level: f64) -> bool {
    level > 0.0 && level < 1.0
}

/// Φ(z), the standard normal distribution function, accurate in both tails.
pub(crate) fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// The standard normal quantile for 0 < p < 1; infinite at 0 and 1.
pub(crate) fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p)
}

/// z with P(|Z| ≤ z) = level; `None` unless 0 < level < 1.
pub(crate) fn z_two_sided(level: f64) -> Option<f64> {
    level_is_usable(level).then(|| normal_quantile(0.5 + level / 2.0))
}

/// t with P(|T| ≤ t) = level at the given degrees of freedom; `None` unless
/// 0 < level < 1 and the degrees are positive. Infinite degrees give z.
pub(crate) fn t_two_sided(level: f64, degrees_of_freedom: f64) -> Option<f64> {
    if degrees_of_freedom == f64::INFINITY {
        return z_two_sided(level);
    }
    if !level_is_usable(level) {
        return None;
    }
    let t = StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()?;
    Some(t.inverse_cdf(0.5 + level / 2.0))
}

/// The quantile of F at 0 < p < 1; `None` for degrees of freedom that are not positive.
pub(crate) fn f_quantile(p: f64, numerator: f64, denominator: f64) -> Option<f64> {
    if !level_is_usable(p) {
        return None;
    }
    Some(
        FisherSnedecor::new(numerator, denominator)
            .ok()?
            .inverse_cdf(p),
    )
}

/// P(B ≤ k) for B binomial of n fair coins, summed term by term from k down,
/// so that it stays exact for n in the hundred thousands. O(√n).
pub(crate) fn fair_coins_cdf(k: u64, n: u64) -> f64 {
    if k >= n {
        return 1.0;
    }
    let (kf, nf) = (k as f64, n as f64);
    let ln_term = ln_gamma(nf + 1.0)
        - ln_gamma(kf + 1.0)
        - ln_gamma(nf - kf + 1.0)
        - nf * std::f64::consts::LN_2;
    let mut term = ln_term.exp();
    let mut sum = 0.0;
    for j in (0..=k).rev() {
        sum += term;
        // Once the terms fall they fall geometrically: the rest is below rounding.
        if term < sum * 1e-18 && 2 * j < n {
            break;
        }
        term *= j as f64 / (nf - j as f64 + 1.0);
    }
    sum.min(1.0)
}

/// erfcx(x) = exp(x²)·erfc(x), the scaled complementary error function, which
/// stays in range where erfc underflows. For x ≥ 0; relative error below 1e-12.
///
/// Above 25 the asymptotic series (Abramowitz & Stegun 1964, 7.1.23) is used.
pub(crate) fn erfcx(x: f64) -> f64 {
    if x < 25.0 {
        return (x * x).exp() * erfc(x);
    }
    let r = 0.5 / (x * x);
    let series = 1.0 - r * (1.0 - 3.0 * r * (1.0 - 5.0 * r * (1.0 - 7.0 * r)));
    series / (x * std::f64::consts::PI.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, reference};

    /// Source: scipy (tests/reference/measure.py).
    #[test]
    fn agree_with_scipy() {
        let all = reference();
        let cases = &all["distributions"];
        for row in cases["normal_cdf"].as_array().unwrap() {
            let (z, p) = (row[0].as_f64().unwrap(), row[1].as_f64().unwrap());
            assert_close(normal_cdf(z) / p, 1.0, 1e-11);
            if z < 0.0 {
                assert_close(normal_quantile(p), z, 1e-9);
            }
        }
        for row in cases["t"].as_array().unwrap() {
            let v: Vec<f64> = row
                .as_array()
                .unwrap()
                .iter()
                .map(|x| x.as_f64().unwrap())
                .collect();
            assert_close(t_two_sided(v[0], v[1]).unwrap(), v[2], 1e-7 * v[2]);
        }
        for row in cases["f"].as_array().unwrap() {
            let v: Vec<f64> = row
                .as_array()
                .unwrap()
                .iter()
                .map(|x| x.as_f64().unwrap())
                .collect();
            assert_close(f_quantile(v[0], v[1], v[2]).unwrap(), v[3], 1e-7 * v[3]);
        }
        for row in cases["fair_coins_cdf"].as_array().unwrap() {
            let (k, n) = (row[0].as_u64().unwrap(), row[1].as_u64().unwrap());
            assert_close(fair_coins_cdf(k, n) / row[2].as_f64().unwrap(), 1.0, 1e-8);
        }
        for row in cases["erfcx"].as_array().unwrap() {
            let (x, y) = (row[0].as_f64().unwrap(), row[1].as_f64().unwrap());
            assert_close(erfcx(x) / y, 1.0, 1e-12);
        }
    }

    #[test]
    fn unusable_levels_and_degrees_give_none() {
        for level in [0.0, 1.0, -0.1, 1.5, f64::NAN] {
            assert_eq!(z_two_sided(level), None);
            assert_eq!(t_two_sided(level, 3.0), None);
            assert_eq!(t_two_sided(level, f64::INFINITY), None);
        }
        assert_eq!(t_two_sided(0.95, 0.0), None);
        assert_eq!(t_two_sided(0.95, f64::NAN), None);
        assert_eq!(f_quantile(0.95, -1.0, 2.0), None);
    }
}
