//! Second-order filters, run sample by sample.

use std::f64::consts::TAU;

/// Coefficients of a second-order section, normalised to a0 = 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Feed-forward.
    pub b: [f64; 3],
    /// Feedback a1, a2.
    pub a: [f64; 2],
}

impl Section {
    /// Butterworth high-pass at `hz` (bilinear transform with prewarping,
    /// Bristow-Johnson's audio cookbook with Q = 1/√2).
    pub fn high_pass(hz: f64, rate_hz: f64) -> Self {
        let (sin, cos) = (TAU * hz / rate_hz).sin_cos();
        let alpha = sin / std::f64::consts::SQRT_2;
        let a0 = 1.0 + alpha;
        let edge = (1.0 + cos) / 2.0;
        Self {
            b: [edge / a0, -2.0 * edge / a0, edge / a0],
            a: [-2.0 * cos / a0, (1.0 - alpha) / a0],
        }
    }

    /// Butterworth low-pass at `hz` (same source).
    pub fn low_pass(hz: f64, rate_hz: f64) -> Self {
        let (sin, cos) = (TAU * hz / rate_hz).sin_cos();
        let alpha = sin / std::f64::consts::SQRT_2;
        let a0 = 1.0 + alpha;
        let edge = (1.0 - cos) / 2.0;
        Self {
            b: [edge / a0, 2.0 * edge / a0, edge / a0],
            a: [-2.0 * cos / a0, (1.0 - alpha) / a0],
        }
    }

    /// Band-pass with unit gain at `centre_hz`; `q` is centre over width
    /// (same source).
    pub fn band_pass(centre_hz: f64, q: f64, rate_hz: f64) -> Self {
        let (sin, cos) = (TAU * centre_hz / rate_hz).sin_cos();
        let alpha = sin / (2.0 * q);
        let a0 = 1.0 + alpha;
        Self {
            b: [alpha / a0, 0.0, -alpha / a0],
            a: [-2.0 * cos / a0, (1.0 - alpha) / a0],
        }
    }
}

/// A running second-order filter (transposed direct form II).
#[derive(Debug, Clone)]
pub struct Biquad {
    section: Section,
    s1: f64,
    s2: f64,
}

impl Biquad {
    /// At rest.
    pub fn new(section: Section) -> Self {
        Self {
            section,
            s1: 0.0,
            s2: 0.0,
        }
    }

    /// At rest under a constant input `level`, as if it had been there for ever:
    /// a recording that starts with an offset must not start with a bang.
    pub fn settle(&mut self, level: f64) {
        let Section { b, a } = self.section;
        let out = level * (b[0] + b[1] + b[2]) / (1.0 + a[0] + a[1]);
        self.s2 = b[2] * level - a[1] * out;
        self.s1 = b[1] * level - a[0] * out + self.s2;
    }

    /// One sample.
    #[inline]
    pub fn step(&mut self, x: f64) -> f64 {
        let Section { b, a } = self.section;
        let y = b[0] * x + self.s1;
        self.s1 = b[1] * x - a[0] * y + self.s2;
        self.s2 = b[2] * x - a[1] * y;
        y
    }
}

/// Four band-passes on one input, side by side. Their b₁ is 0 and b₂ is −b₀, so that
/// they take six operations a sample where [`Biquad`] takes nine, to the same bits.
#[derive(Debug, Clone)]
pub struct BandPasses {
    b: [f64; 4],
    a: [[f64; 4]; 2],
    /// The states of [`Biquad`], negated.
    s1: [f64; 4],
    s2: [f64; 4],
}

impl BandPasses {
    /// At rest, from sections made by [`Section::band_pass`]; one that is left out
    /// gives silence.
    pub fn new(sections: [Option<Section>; 4]) -> Self {
        let pick = |f: &dyn Fn(Section) -> f64| sections.map(|s| s.map_or(0.0, f));
        Self {
            b: pick(&|s| s.b[0]),
            a: [pick(&|s| s.a[0]), pick(&|s| s.a[1])],
            s1: [0.0; 4],
            s2: [0.0; 4],
        }
    }

    /// One sample through all four.
    #[inline]
    pub fn step(&mut self, x: f64) -> [f64; 4] {
        let mut y = [0.0; 4];
        for (k, y) in y.iter_mut().enumerate() {
            let fed = self.b[k] * x;
            *y = fed - self.s1[k];
            self.s1[k] = self.a[0][k] * *y + self.s2[k];
            self.s2[k] = self.a[1][k] * *y + fed;
        }
        y
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{numbers, reference};
    use super::*;

    fn gain_at(section: Section, hz: f64, rate_hz: f64) -> f64 {
        let mut filter = Biquad::new(section);
        let tail = (0..48_000)
            .map(|n| filter.step((TAU * hz * n as f64 / rate_hz).sin()))
            .skip(24_000);
        tail.fold(0.0f64, |a, y| a.max(y.abs()))
    }

    #[test]
    fn high_pass_is_3_db_down_at_its_edge() {
        let section = Section::high_pass(1_500.0, 48_000.0);
        assert!((gain_at(section, 1_500.0, 48_000.0) - 0.5f64.sqrt()).abs() < 1e-3);
        assert!((gain_at(section, 12_000.0, 48_000.0) - 1.0).abs() < 1e-2);
        // 12 dB an octave well below.
        let ratio = gain_at(section, 200.0, 48_000.0) / gain_at(section, 100.0, 48_000.0);
        assert!((ratio - 4.0).abs() < 0.05, "{ratio}");
    }

    #[test]
    fn settled_filter_is_silent_on_a_constant() {
        let mut filter = Biquad::new(Section::high_pass(1_500.0, 48_000.0));
        filter.settle(0.7);
        for _ in 0..1_000 {
            assert!(filter.step(0.7).abs() < 1e-12);
        }
    }

    /// Source: scipy.signal.butter(2, hz, "highpass", fs=rate).
    #[test]
    fn high_pass_is_scipys_butterworth() {
        for case in reference()["high_pass"].as_array().unwrap() {
            let (hz, rate_hz) = (
                case["hz"].as_f64().unwrap(),
                case["rate_hz"].as_f64().unwrap(),
            );
            let Section { b, a } = Section::high_pass(hz, rate_hz);
            for (ours, theirs) in b.iter().zip(numbers(&case["b"])) {
                assert!((ours - theirs).abs() < 1e-10, "{hz} at {rate_hz}: {b:?}");
            }
            for (ours, theirs) in a.iter().zip(numbers(&case["a"])) {
                assert!((ours - theirs).abs() < 1e-10, "{hz} at {rate_hz}: {a:?}");
            }
        }
    }

    /// |H| at a frequency, from the coefficients.
    fn response(section: Section, hz: f64, rate_hz: f64) -> f64 {
        let w = TAU * hz / rate_hz;
        let size = |c: [f64; 3]| {
            let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
            let im = c[1] * w.sin() + c[2] * (2.0 * w).sin();
            re.hypot(im)
        };
        size(section.b) / size([1.0, section.a[0], section.a[1]])
    }

    /// Source: scipy.signal.bilinear of (s/Q)/(s² + s/Q + 1), scipy.signal.freqz.
    #[test]
    fn band_pass_is_the_cookbooks() {
        for case in reference()["band_pass"].as_array().unwrap() {
            let number = |name: &str| case[name].as_f64().unwrap();
            let rate_hz = number("rate_hz");
            let section = Section::band_pass(number("hz"), number("q"), rate_hz);
            for (hz, gain) in numbers(&case["at_hz"]).iter().zip(numbers(&case["gain"])) {
                let ours = response(section, *hz, rate_hz);
                assert!(
                    (ours - gain).abs() < 1e-9,
                    "{hz} at {rate_hz}: {ours} {gain}"
                );
            }
        }
    }

    /// Side by side they are, to the bit, what they are one by one.
    #[test]
    fn band_passes_are_four_biquads() {
        let sections = [
            Some(Section::band_pass(170.0, 0.8, 48_000.0)),
            Some(Section::band_pass(2_200.0, 0.8, 48_000.0)),
            None,
            Some(Section::band_pass(6_500.0, 1.7, 48_000.0)),
        ];
        let mut together = BandPasses::new(sections);
        let mut alone = sections.map(|s| s.map(Biquad::new));
        for n in 0..5_000 {
            let x = (f64::from(n) * 0.37).sin() * (f64::from(n) * 0.001).cos();
            let apart = alone
                .each_mut()
                .map(|f| f.as_mut().map_or(0.0, |f| f.step(x)));
            assert_eq!(together.step(x), apart, "sample {n}");
        }
    }

    /// Source: scipy.signal.lfilter with the same Butterworth high-pass.
    #[test]
    fn runs_as_scipys_lfilter() {
        let case = &reference()["filtered"];
        let section = Section::high_pass(
            case["hz"].as_f64().unwrap(),
            case["rate_hz"].as_f64().unwrap(),
        );
        let mut filter = Biquad::new(section);
        for (x, y) in numbers(&case["x"]).into_iter().zip(numbers(&case["y"])) {
            assert!((filter.step(x) - y).abs() < 1e-9);
        }
    }
}
