//! Measurement uncertainty, put together as the GUM does.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::distributions::{level_is_usable, t_two_sided, z_two_sided};

/// Standard uncertainty of a value known only to be uniform within ± `half_width`:
/// a/√3, in the same unit. `None` unless finite and not
/// negative. Source: GUM (JCGM 100:2008) 4.3.7.
pub fn rectangular(half_width: f64) -> Option<f64> {
    (half_width.is_finite() && half_width >= 0.0).then(|| half_width / 3f64.sqrt())
}

/// Standard uncertainty of a reading rounded to steps of `step`: q/√12, in the
/// same unit. `None` unless finite and not negative. Source: GUM F.2.2.1.
pub fn resolution(step: f64) -> Option<f64> {
    rectangular(step / 2.0)
}

/// How the errors of one source lie about nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Most near the middle: what comes of many small things.
    #[default]
    Normal,
    /// Anywhere alike between two bounds.
    Rectangular,
}

/// One named source of uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// What it is, in words.
    pub name: String,
    /// Standard uncertainty of the input, in the input's own unit, not negative.
    pub standard_uncertainty: f64,
    /// How far the result moves when the input moves by one: the result's unit
    /// over the input's. 1 when the input is a part of the result.
    pub sensitivity: f64,
    /// Degrees of freedom of the uncertainty; `None` when it is as good as
    /// known exactly (infinite), as for bounds and resolutions.
    pub degrees_of_freedom: Option<f64>,
    /// How its errors lie; it matters for what holds 95 in 100 only.
    #[serde(default)]
    pub shape: Shape,
}

impl Contribution {
    /// A part of the result itself: sensitivity 1, uncertainty as good as known.
    pub fn new(name: impl Into<String>, standard_uncertainty: f64) -> Self {
        Self {
            name: name.into(),
            standard_uncertainty,
            sensitivity: 1.0,
            degrees_of_freedom: None,
            shape: Shape::Normal,
        }
    }

    /// The same with errors uniform between two bounds.
    pub fn rectangular(mut self) -> Self {
        self.shape = Shape::Rectangular;
        self
    }

    /// The same with a sensitivity.
    pub fn with_sensitivity(mut self, sensitivity: f64) -> Self {
        self.sensitivity = sensitivity;
        self
    }

    /// The same with degrees of freedom.
    pub fn with_degrees_of_freedom(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = Some(degrees_of_freedom);
        self
    }

    /// |sensitivity| · standard uncertainty, in the result's unit.
    pub fn in_result(&self) -> f64 {
        (self.sensitivity * self.standard_uncertainty).abs()
    }
}

/// Why contributions do not combine.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum UncertaintyError {
    /// There are none.
    #[error("no source of uncertainty was given: name at least one")]
    Empty,
    /// A number of one of them is out of range.
    #[error(
        "\"{name}\" has {what} {value}: the uncertainty must be finite and not negative, \
         the sensitivity finite, the degrees of freedom above 0"
    )]
    OutOfRange {
        /// Which contribution.
        name: String,
        /// Which of its numbers.
        what: &'static str,
        /// The number.
        value: f64,
    },
}

/// The combined uncertainty of a result.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Combined {
    /// u_c, the combined standard uncertainty, in the result's unit.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom (Welch–Satterthwaite); `None` for infinite.
    pub degrees_of_freedom: Option<f64>,
}

impl Combined {
    /// The coverage factor k for a level between 0 and 1: Student's t at the
    /// effective degrees of freedom cut to a whole number (GUM G.4.1), or the
    /// normal's. `None` for other levels or below one degree of freedom.
    pub fn coverage_factor(&self, level: f64) -> Option<f64> {
        let whole = self.degrees_of_freedom.map_or(f64::INFINITY, f64::floor);
        if whole < 1.0 || !level_is_usable(level) {
            return None;
        }
        t_two_sided(level, whole)
    }

    /// U = k·u_c, the half-width that holds the value with probability `level`,
    /// in the result's unit; `None` as for [`Combined::coverage_factor`].
    pub fn expanded(&self, level: f64) -> Option<f64> {
        Some(self.coverage_factor(level)? * self.standard_uncertainty)
    }
}

/// Combines uncorrelated contributions by the root of the sum of squares, to
/// first order.
///
/// O(n). Errors name the contribution and the number at fault. Source: GUM
/// (JCGM 100:2008) 5.1.2, equation 10; degrees of freedom G.4.1, equation G.2b.
pub fn combine(contributions: &[Contribution]) -> Result<Combined, UncertaintyError> {
    if contributions.is_empty() {
        return Err(UncertaintyError::Empty);
    }
    for part in contributions {
        let fault = |what, value| {
            Err(UncertaintyError::OutOfRange {
                name: part.name.clone(),
                what,
                value,
            })
        };
        if !(part.standard_uncertainty.is_finite() && part.standard_uncertainty >= 0.0) {
            return fault("the standard uncertainty", part.standard_uncertainty);
        }
        if !part.sensitivity.is_finite() {
            return fault("the sensitivity", part.sensitivity);
        }
        if let Some(freedom) = part.degrees_of_freedom
            && (freedom.is_nan() || freedom <= 0.0)
        {
            return fault("the degrees of freedom", freedom);
        }
    }
    let standard_uncertainty = contributions
        .iter()
        .fold(0.0f64, |sum, part| sum.hypot(part.in_result()));
    // Shares of the whole, so that neither tiny nor huge units leave the range.
    let shortfall: f64 = contributions
        .iter()
        .filter(|_| standard_uncertainty > 0.0)
        .filter_map(|part| {
            Some((part.in_result() / standard_uncertainty).powi(4) / part.degrees_of_freedom?)
        })
        .sum();
    let degrees_of_freedom = (shortfall > 0.0).then(|| 1.0 / shortfall);
    Ok(Combined {
        standard_uncertainty,
        degrees_of_freedom,
    })
}

/// The half-width that holds the value with probability `level`, in the result's
/// unit, by the shapes of the contributions: two bounds alike make a triangle, one
/// alone a box, for which 1.96 standard uncertainties are too many.
///
/// The distribution of the sum is propagated (JCGM 101:2008, 5), not by drawing
/// lots but by its characteristic function φ: P(|S| ≤ h) = (2/π) ∫ sin(ht)/t · φ(t)
/// dt from 0 on (Gil-Pelaez 1951, Biometrika 38:481–482). Where degrees of freedom
/// are finite the result is widened by Student's t over the normal. Exact to about
/// a thousandth. `None` where [`combine`] gives an error, and for levels outside 0
/// to 1. About 20 ms of work when one of the bounds outweighs all else.
pub fn half_width(contributions: &[Contribution], level: f64) -> Option<f64> {
    let combined = combine(contributions).ok()?;
    let whole = combined.standard_uncertainty;
    let by_t = combined.expanded(level)?;
    let bounds: Vec<f64> = contributions
        .iter()
        .filter(|part| part.shape == Shape::Rectangular && part.in_result() > 0.0)
        // Half-widths, in units of the whole.
        .map(|part| part.in_result() * 3f64.sqrt() / whole)
        .collect();
    if bounds.is_empty() {
        return Some(by_t);
    }
    let normal = contributions
        .iter()
        .filter(|part| part.shape == Shape::Normal)
        .map(|part| (part.in_result() / whole).powi(2))
        .sum::<f64>()
        .sqrt()
        // A little of the normal makes the integral end; it changes nothing.
        .max(LEAST_NORMAL);
    let step = 0.04;
    let steps = (7.0 / normal / step) as usize;
    // φ(t)/t at the middle of each step.
    let curve: Vec<(f64, f64)> = (0..steps)
        .map(|k| {
            let t = step * (k as f64 + 0.5);
            let boxes: f64 = bounds.iter().map(|a| (a * t).sin() / (a * t)).product();
            (t, boxes * (-0.5 * (normal * t).powi(2)).exp() / t)
        })
        .collect();
    let held = |h: f64| -> f64 {
        let sum: f64 = curve.iter().map(|(t, f)| (h * t).sin() * f).sum();
        sum * step * std::f64::consts::FRAC_2_PI
    };
    let (mut low, mut high) = (0.0, 6.0);
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        if held(middle) < level {
            low = middle;
        } else {
            high = middle;
        }
    }
    let wider = by_t / whole / z_two_sided(level)?;
    Some(0.5 * (low + high) * whole * wider)
}

/// Standard deviation of the normal part, in units of the whole, that
/// [`half_width`] assumes at least.
const LEAST_NORMAL: f64 = 0.01;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::assert_close;

    /// Source: GUM (JCGM 100:2008) example H.1, end-gauge calibration, in
    /// nanometres: u_c 32, ν_eff 16, t99(16) 2.92, U99 93; first order only.
    #[test]
    fn gum_h1_end_gauge() {
        let l_s = 50_000_623.0;
        let difference = combine(&[
            Contribution::new("repeated observations", 5.8).with_degrees_of_freedom(24.0),
            Contribution::new("comparator, random", 3.9).with_degrees_of_freedom(5.0),
            Contribution::new("comparator, systematic", 6.7).with_degrees_of_freedom(8.0),
        ])
        .unwrap();
        assert_close(difference.standard_uncertainty, 9.7, 0.05);
        // Printed from 9.7 rounded; unrounded it is 25.45.
        assert_close(difference.degrees_of_freedom.unwrap(), 25.6, 0.2);

        let parts = [
            Contribution::new("standard", 25.0).with_degrees_of_freedom(18.0),
            Contribution::new("difference", 9.7).with_degrees_of_freedom(25.6),
            Contribution::new("expansion of the standard", 1.2e-6).with_sensitivity(0.0),
            Contribution::new("temperature of the bed", 0.41).with_sensitivity(0.0),
            Contribution::new("difference in expansion", 0.58e-6)
                .with_sensitivity(-l_s * -0.1)
                .with_degrees_of_freedom(50.0),
            Contribution::new("difference in temperature", 0.029)
                .with_sensitivity(-l_s * 11.5e-6)
                .with_degrees_of_freedom(2.0),
        ];
        for (part, want) in parts.iter().zip([25.0, 9.7, 0.0, 0.0, 2.9, 16.7]) {
            assert_close(part.in_result(), want, 0.05);
        }
        let whole = combine(&parts).unwrap();
        assert_close(whole.standard_uncertainty, 31.71, 0.005);
        assert_close(whole.degrees_of_freedom.unwrap(), 16.66, 0.1);
        assert_eq!(whole.degrees_of_freedom.unwrap().floor(), 16.0);
        assert_close(whole.coverage_factor(0.99).unwrap(), 2.92, 0.005);
        assert_close(whole.expanded(0.99).unwrap(), 93.0, 0.5);
        // 50 000 623 + 215 − 50 000 623·(0·(−0.1) + 11.5e-6·0) = 50 000 838.
        assert_eq!(l_s + 215.0, 50_000_838.0);
    }

    /// Source: GUM equations 10 and G.2b by hand: four equal parts.
    #[test]
    fn four_equal_parts() {
        let part = Contribution::new("part", 1.0);
        let known = combine(&vec![part.clone(); 4]).unwrap();
        assert_eq!(
            (known.standard_uncertainty, known.degrees_of_freedom),
            (2.0, None)
        );
        assert_close(known.expanded(0.95).unwrap(), 2.0 * 1.959964, 1e-5);
        let guessed = combine(&vec![part.with_degrees_of_freedom(10.0); 4]).unwrap();
        assert_close(guessed.degrees_of_freedom.unwrap(), 40.0, 1e-9);
    }

    /// Source: GUM 4.3.7 and F.2.2.1; the 8 ms of a slow USB poll are 2.309 ms
    /// and a frame at 30 a second, ± 16.7 ms, is 9.62 ms.
    #[test]
    fn bounds_and_steps() {
        assert_close(resolution(8.0).unwrap(), 2.309, 5e-4);
        assert_close(resolution(1.0).unwrap(), 0.2887, 5e-5);
        assert_close(rectangular(1_000.0 / 60.0).unwrap(), 9.62, 5e-3);
        assert_close(rectangular(1_000.0 / 120.0).unwrap(), 4.81, 5e-3);
        for bad in [-1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(rectangular(bad), None);
            assert_eq!(resolution(bad), None);
        }
    }

    /// By hand: a box of half-width a holds 95 % within 0.95·a; two equal boxes make
    /// a triangle of half-width 2a that holds 95 % within 2a·(1 − √0.05); all
    /// normal is 1.96·u; a box and a normal, each of u = 1: 2.711646 (quadrature
    /// of the convolution, scipy 1.17.1, tests/reference/box_and_normal.py).
    #[test]
    fn what_holds_95_in_100_goes_by_the_shapes() {
        let bound = |u: f64| Contribution::new("bound", u).rectangular();
        let normal = |u: f64| Contribution::new("normal", u);
        let held = |parts: &[Contribution]| half_width(parts, 0.95).unwrap();
        let a = 3f64.sqrt();
        assert_close(held(&[bound(1.0)]), 0.95 * a, 2e-3);
        assert_close(held(&[bound(10.0), normal(0.001)]), 9.5 * a, 2e-2);
        assert_close(
            held(&[bound(1.0), bound(1.0)]),
            2.0 * a * (1.0 - 0.05f64.sqrt()),
            2e-3,
        );
        assert_close(held(&[normal(3.0), normal(4.0)]), 5.0 * 1.959_964, 1e-4);
        assert_close(held(&[bound(1.0), normal(1.0)]), 2.711_646, 2e-3);
        // Student's t with 10 degrees of freedom is 2.2281 (tables).
        let few = normal(1.0).with_degrees_of_freedom(10.0);
        assert_close(held(&[few]), 2.2281, 1e-4);
        assert_eq!(half_width(&[], 0.95), None);
        assert_eq!(half_width(&[bound(1.0)], 1.5), None);
        assert_eq!(half_width(&[bound(0.0)], 0.95), Some(0.0));
    }

    #[test]
    fn errors_name_what_is_wrong() {
        assert_eq!(combine(&[]), Err(UncertaintyError::Empty));
        let cases = [
            Contribution::new("onset", f64::NAN),
            Contribution::new("onset", -1.0),
            Contribution::new("onset", 1.0).with_sensitivity(f64::INFINITY),
            Contribution::new("onset", 1.0).with_degrees_of_freedom(0.0),
            Contribution::new("onset", 1.0).with_degrees_of_freedom(f64::NAN),
        ];
        for case in cases {
            let error = combine(&[case]).unwrap_err();
            assert!(error.to_string().contains("\"onset\""), "{error}");
        }
        let sure = combine(&[Contribution::new("none", 0.0).with_degrees_of_freedom(3.0)]).unwrap();
        assert_eq!(
            (sure.standard_uncertainty, sure.degrees_of_freedom),
            (0.0, None)
        );
        let half = Combined {
            standard_uncertainty: 1.0,
            degrees_of_freedom: Some(0.5),
        };
        assert_eq!(half.expanded(0.95), None);
        assert_eq!(sure.expanded(f64::NAN), None);
    }
}
