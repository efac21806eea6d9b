//! Mel-frequency cepstra (Davis and Mermelstein 1980, IEEE Trans ASSP 28:357–366)
//! with their slopes.

use super::BANDS;
use super::frames::Powers;

/// Cepstra that are compared: the first to the twelfth. The zeroth is the level.
pub const CEPSTRA: usize = 12;
/// Numbers a frame is compared by: cepstra, their slopes and the slope of the level.
pub const DIMS: usize = 2 * CEPSTRA + 1;
/// A slope counts this much against a cepstrum.
const SLOPE: f32 = 2.0;
/// Half the span of frames a slope is taken over.
const REACH: usize = 2;

/// One frame as it is compared.
pub type Shape = [f32; DIMS];

/// The cosine transform of the logarithms of the lowest `bands` bands.
#[derive(Debug, Clone)]
pub struct Cosines {
    rows: Vec<Vec<f32>>,
}

impl Cosines {
    /// Orthonormal DCT-II over `bands` bands, rows 0 to [`CEPSTRA`].
    pub fn new(bands: usize) -> Self {
        let n = bands as f64;
        Self {
            rows: (0..=CEPSTRA)
                .map(|k| {
                    let scale = if k == 0 { 1.0 / n } else { 2.0 / n }.sqrt();
                    (0..bands)
                        .map(|b| {
                            let turn = std::f64::consts::PI * k as f64 * (b as f64 + 0.5) / n;
                            (scale * turn.cos()) as f32
                        })
                        .collect()
                })
                .collect(),
        }
    }

    /// Cepstra 0 to [`CEPSTRA`] of one frame's powers.
    pub fn cepstra(&self, powers: &Powers) -> [f32; CEPSTRA + 1] {
        let mut logs = [0.0; BANDS];
        for (y, x) in logs.iter_mut().zip(powers) {
            *y = x.ln();
        }
        std::array::from_fn(|k| self.rows[k].iter().zip(&logs).map(|(c, x)| c * x).sum())
    }

    /// Shapes of consecutive frames; the ends repeat outwards for the slopes.
    pub fn shapes(&self, frames: &[Powers], into: &mut Vec<Shape>) {
        into.clear();
        let Some(last) = frames.len().checked_sub(1) else {
            return;
        };
        let mut line = [[0.0; CEPSTRA + 1]; 2 * REACH + 1];
        for (k, slot) in line.iter_mut().enumerate().skip(1) {
            *slot = self.cepstra(&frames[(k - 1).saturating_sub(REACH).min(last)]);
        }
        for t in 0..frames.len() {
            line.rotate_left(1);
            line[2 * REACH] = self.cepstra(&frames[(t + REACH).min(last)]);
            into.push(shape(&line));
        }
    }
}

/// A frame's shape from it and its neighbours: the middle one's cepstra, and the
/// least-squares slopes Σ k·(c₊ₖ − c₋ₖ) / 2Σ k² of the HTK Book.
pub fn shape(line: &[[f32; CEPSTRA + 1]; 2 * REACH + 1]) -> Shape {
    let slope = |c: usize| ((line[3][c] - line[1][c]) + 2.0 * (line[4][c] - line[0][c])) / 10.0;
    let mut shape = [0.0; DIMS];
    for c in 1..=CEPSTRA {
        shape[c - 1] = line[REACH][c];
        shape[CEPSTRA + c - 1] = SLOPE * slope(c);
    }
    shape[2 * CEPSTRA] = SLOPE * slope(0);
    shape
}

/// Euclidean distance of two shapes.
#[inline]
pub fn distance(a: &Shape, b: &Shape) -> f32 {
    a.iter()
        .zip(b)
        .map(|(x, y)| (x - y) * (x - y))
        .sum::<f32>()
        .sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::frames::Spectrum;
    use super::*;

    /// Source: librosa's mel bank and scipy's DCT; tests/reference/word.py.
    #[test]
    fn cepstra_are_librosas() {
        let text = include_str!("../../../tests/reference/word.json");
        let reference: serde_json::Value = serde_json::from_str(text).unwrap();
        let cases = reference["cases"].as_array().unwrap();
        assert_eq!(cases.len(), 3);
        for case in cases {
            let (a, b) = (case["a"].as_f64().unwrap(), case["b"].as_f64().unwrap());
            let frame: Vec<f32> = (0..401)
                .map(|n| {
                    let n = f64::from(n);
                    (0.3 * (a * n + b * n * n).sin() + 0.05 * (1.1 * n).sin()) as f32
                })
                .collect();
            let powers = Spectrum::new().powers(&frame).unwrap();
            for (ours, theirs) in powers.iter().zip(case["log_mel"].as_array().unwrap()) {
                assert!((f64::from(ours.ln()) - theirs.as_f64().unwrap()).abs() < 2e-2);
            }
            let cepstra = Cosines::new(BANDS).cepstra(&powers);
            for (ours, theirs) in cepstra.iter().zip(case["cepstra"].as_array().unwrap()) {
                assert!((f64::from(*ours) - theirs.as_f64().unwrap()).abs() < 2e-2);
            }
        }
    }
}
