//! A short taught waveform brought to the stream's sample rate.

/// Band-limited interpolation of `x` from `from_hz` to `to_hz` (windowed sinc,
/// Hann, 16 zero crossings a side; the pass band narrows when the rate falls).
/// Sample 0 stays sample 0.
pub fn resample(x: &[f32], from_hz: f64, to_hz: f64) -> Vec<f32> {
    if from_hz == to_hz {
        return x.to_vec();
    }
    let cut = (to_hz / from_hz).min(1.0);
    let reach = 16.0 / cut;
    let length = (x.len() as f64 * to_hz / from_hz).floor() as usize;
    (0..length)
        .map(|n| {
            let at = n as f64 * from_hz / to_hz;
            let first = (at - reach).ceil().max(0.0) as usize;
            let last = ((at + reach).floor() as usize).min(x.len().saturating_sub(1));
            (first..=last)
                .map(|k| {
                    let d = k as f64 - at;
                    let window = 0.5 + 0.5 * (std::f64::consts::PI * d / reach).cos();
                    let phase = std::f64::consts::PI * d * cut;
                    let sinc = if phase.abs() < 1e-12 {
                        1.0
                    } else {
                        phase.sin() / phase
                    };
                    f64::from(x[k]) * cut * sinc * window
                })
                .sum::<f64>() as f32
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::testing::{numbers, reference};
    use super::*;

    #[test]
    fn keeps_a_tone_within_the_band() {
        let tone =
            |rate: f64, n: usize| (std::f64::consts::TAU * 1_000.0 * n as f64 / rate).sin() as f32;
        let x: Vec<f32> = (0..2_000).map(|n| tone(48_000.0, n)).collect();
        for to in [8_000.0, 16_000.0, 44_100.0, 96_000.0, 192_000.0] {
            let y = resample(&x, 48_000.0, to);
            let (a, b) = (y.len() / 4, 3 * y.len() / 4);
            for (n, v) in y.iter().enumerate().take(b).skip(a) {
                assert!((v - tone(to, n)).abs() < 2e-3, "{to} {n} {v}");
            }
        }
    }

    /// Source: the closed form of a Gaussian tone burst, and
    /// scipy.signal.resample_poly, which is itself that far from the closed form.
    #[test]
    fn a_burst_is_the_closed_form_and_scipys() {
        let burst = |rate_hz: f64, n: usize| {
            let t = n as f64 / rate_hz - 0.004;
            (-0.5 * (t / 0.0006).powi(2)).exp() * (std::f64::consts::TAU * 1_800.0 * t + 0.4).cos()
        };
        for case in reference()["resampled"].as_array().unwrap() {
            let number = |name: &str| case[name].as_f64().unwrap();
            let (from_hz, to_hz) = (number("from_hz"), number("to_hz"));
            let x: Vec<f32> = (0..(0.012 * from_hz) as usize)
                .map(|n| burst(from_hz, n) as f32)
                .collect();
            let y = resample(&x, from_hz, to_hz);
            for (n, v) in y.iter().enumerate() {
                let off = (f64::from(*v) - burst(to_hz, n)).abs();
                assert!(off < 2e-3, "{from_hz} to {to_hz}, {n}: off {off}");
            }
            let slack = 2e-3 + number("scipy_off_closed_form");
            for (n, theirs) in numbers(&case["at"])
                .into_iter()
                .zip(numbers(&case["scipy"]))
            {
                assert!((f64::from(y[n as usize]) - theirs).abs() < slack);
            }
        }
    }
}
