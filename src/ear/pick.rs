//! The exact instant: where a stretch of sound stops being one noise and
//! becomes another (Akaike's criterion, Maeda 1985).

/// Index of the minimum of Maeda's AIC over `x`, and the log-likelihood gain of
/// the split against no split, in natural units per whole stretch.
///
/// AIC(k) = k·ln var(x₀…x₍k₋₁₎) + (N−k−1)·ln var(x₍k₎…x₍N₋₁₎), population
/// variances (Maeda N, 1985, Zisin 38:365–379). The index is the first sample
/// of the second part. `floor` is added to both variances, so that digital
/// silence has a finite logarithm; it should lie far below the quietest sound.
/// `None` for fewer than 4 samples or a non-finite sum. O(N), no allocation.
pub fn aic_onset(x: &[f32], floor: f64) -> Option<(usize, f64)> {
    let n = x.len();
    if n < 4 {
        return None;
    }
    let (mut sum, mut square) = (0.0f64, 0.0f64);
    for &v in x {
        sum += f64::from(v);
        square += f64::from(v) * f64::from(v);
    }
    if !square.is_finite() {
        return None;
    }
    let variance = |s: f64, q: f64, m: f64| (q / m - (s / m) * (s / m)).max(0.0) + floor;
    let whole = n as f64 * variance(sum, square, n as f64).ln();
    let (mut s1, mut q1) = (0.0f64, 0.0f64);
    let mut best: Option<(usize, f64)> = None;
    for k in 1..n - 1 {
        let v = f64::from(x[k - 1]);
        s1 += v;
        q1 += v * v;
        if k < 2 {
            continue;
        }
        let (first, second) = (k as f64, (n - k) as f64);
        let aic = first * variance(s1, q1, first).ln()
            + (second - 1.0) * variance(sum - s1, (square - q1).max(0.0), second).ln();
        if best.is_none_or(|(_, b)| aic < b) {
            best = Some((k, aic));
        }
    }
    best.map(|(k, aic)| (k, 0.5 * (whole - aic)))
}
