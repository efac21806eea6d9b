//! Whether neighbours in time hang together, and what that costs a trend.

/// Fewer points tell nothing of how neighbours hang together.
const FROM: usize = 10;
/// Beyond this the days are one thing, and no correction helps.
const AT_MOST: f64 = 0.9;

/// By how much the variance of a trend's test grows because what lies about the
/// line hangs together from one point to the next: (1 + r)/(1 − r), where r is the
/// correlation of neighbouring ranks of `rest` (values less the line, in order of
/// time), put right for the line having been fitted: (n·r + 2)/(n − 4), never
/// below 0 nor above 0.9. 1 below ten points and for a rest that is all equal.
///
/// Ranks as Hamed KH, Rao AR (1998) J Hydrol 204:182–196; the growth as Bayley GV,
/// Hammersley JM (1946) J R Stat Soc Suppl 8:184–197; the correction as van
/// Giersbergen NPA (2005) for a line (all three from memory; what they achieve is
/// simulated in `weeks/trend.rs`). O(n log n).
pub(super) fn inflation(rest: &[f64]) -> f64 {
    let n = rest.len();
    if n < FROM {
        return 1.0;
    }
    let ranks = middle_ranks(rest);
    let mean = (n as f64 - 1.0) / 2.0;
    let off: Vec<f64> = ranks.iter().map(|r| r - mean).collect();
    let all: f64 = off.iter().map(|d| d * d).sum();
    if all <= 0.0 {
        return 1.0;
    }
    let neighbours: f64 = off.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let n = n as f64;
    let r = ((n * neighbours / all + 2.0) / (n - 4.0)).clamp(0.0, AT_MOST);
    (1.0 + r) / (1.0 - r)
}

/// Ranks from 0; equal values share the middle of theirs.
fn middle_ranks(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let middle = |v: &f64| {
        let below = sorted.partition_point(|s| s < v);
        let up_to = sorted.partition_point(|s| s <= v);
        (below + up_to - 1) as f64 / 2.0
    };
    values.iter().map(middle).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};

    /// By hand: ten rising values have ranks 0..9, less 4.5; their squares sum to
    /// 82.5, neighbours' products to 57.75; (10·0.7 + 2)/6 is cut to 0.9.
    #[test]
    fn by_hand() {
        let rising: Vec<f64> = (0..10).map(f64::from).collect();
        assert_close(inflation(&rising), 1.9 / 0.1, 1e-9);
        // To and fro: neighbours are against each other, which is never used to
        // make an interval narrower.
        let fro: Vec<f64> = (0..12).map(|k| f64::from(k % 2)).collect();
        assert_close(inflation(&fro), 1.0, 1e-12);
        assert_close(inflation(&[3.0; 12]), 1.0, 1e-12);
        assert_close(inflation(&rising[..9]), 1.0, 1e-12);
        assert_close(inflation(&[]), 1.0, 1e-12);
    }

    /// Source: numpy and scipy.stats.rankdata (tests/reference/measure.py).
    #[test]
    fn agrees_with_scipy() {
        for case in reference()["trend"]["serial"].as_array().unwrap() {
            let got = inflation(&numbers(&case["rest"]));
            assert_close(got, case["inflation"].as_f64().unwrap(), 1e-10);
        }
    }
}
