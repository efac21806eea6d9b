//! The mel scale and its bank of triangular bands.

use super::{BANDS, FFT, RATE_HZ};

/// Lowest edge of the bank, in hertz.
const FROM_HZ: f64 = 80.0;
/// Highest edge of the bank, in hertz.
const TO_HZ: f64 = 7_600.0;

/// Mel of a frequency in hertz: 2595·log₁₀(1 + f/700) (Young et al., The HTK Book).
pub fn hz_to_mel(hz: f64) -> f64 {
    2_595.0 * (1.0 + hz / 700.0).log10()
}

/// The inverse of [`hz_to_mel`].
pub fn mel_to_hz(mel: f64) -> f64 {
    700.0 * (10f64.powf(mel / 2_595.0) - 1.0)
}

/// Edges of the bands in hertz: band `b` rises from edge `b`, peaks at `b + 1`,
/// ends at `b + 2`.
pub fn edges_hz() -> [f64; BANDS + 2] {
    let (low, high) = (hz_to_mel(FROM_HZ), hz_to_mel(TO_HZ));
    std::array::from_fn(|k| mel_to_hz(low + (high - low) * k as f64 / (BANDS + 1) as f64))
}

/// How many bands lie wholly below `hz`.
pub fn bands_below(hz: f64) -> usize {
    edges_hz().iter().skip(2).filter(|e| **e <= hz).count()
}

/// One band: first bin and the weights from there on.
#[derive(Debug, Clone)]
pub struct Band {
    /// First bin with a weight.
    pub from: usize,
    /// Weights, peak 1.
    pub weights: Vec<f32>,
}

/// The bank for power spectra of [`FFT`] points at [`RATE_HZ`].
pub fn bank() -> Vec<Band> {
    let edges = edges_hz();
    let bin_hz = RATE_HZ / FFT as f64;
    (0..BANDS)
        .map(|b| {
            let weight = |k: usize| {
                let hz = k as f64 * bin_hz;
                let up = (hz - edges[b]) / (edges[b + 1] - edges[b]);
                let down = (edges[b + 2] - hz) / (edges[b + 2] - edges[b + 1]);
                up.min(down).max(0.0) as f32
            };
            let from = (edges[b] / bin_hz).ceil() as usize;
            let to = (edges[b + 2] / bin_hz).floor() as usize;
            Band {
                from,
                weights: (from..=to).map(weight).collect(),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: 2595·log₁₀(1 + f/700) worked by hand to nine figures.
    #[test]
    fn the_scale_of_htk() {
        for (hz, mel) in [
            (60.0, 92.681_858),
            (100.0, 150.489_102),
            (500.0, 607.445_920),
            (1_000.0, 999.985_537),
            (2_000.0, 1_521.359_554),
            (4_000.0, 2_146.064_528),
            (8_000.0, 2_840.023_047),
        ] {
            assert!((hz_to_mel(hz) - mel).abs() < 1e-6, "{hz}");
            assert!((mel_to_hz(mel) - hz).abs() < 1e-5, "{mel}");
        }
    }

    #[test]
    fn a_narrow_stream_has_fewer_bands() {
        assert_eq!(bands_below(8_000.0), BANDS);
        assert!((15..BANDS).contains(&bands_below(4_000.0)));
        assert_eq!(bands_below(100.0), 0);
    }
}
