//! The one place where values that are not finite are left out.

/// The finite values in ascending order; empty when there are none. O(n log n).
pub(crate) fn sorted_finite(values: &[f64]) -> Vec<f64> {
    let mut kept = finite(values);
    kept.sort_unstable_by(f64::total_cmp);
    kept
}

/// The finite values in their own order. O(n).
pub(crate) fn finite(values: &[f64]) -> Vec<f64> {
    values.iter().copied().filter(|v| v.is_finite()).collect()
}

/// The pairs of which both halves are finite, in their own order; the longer
/// input's surplus is left out. O(n).
pub(crate) fn finite_pairs(a: &[f64], b: &[f64]) -> Vec<(f64, f64)> {
    a.iter()
        .copied()
        .zip(b.iter().copied())
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .collect()
}

/// Lengths of the runs of equal values in an ascending slice, longer than one.
pub(crate) fn tie_lengths(sorted: &[f64]) -> Vec<usize> {
    sorted
        .chunk_by(|a, b| a == b)
        .map(<[f64]>::len)
        .filter(|n| *n > 1)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leaves_out_what_is_not_finite() {
        let values = [3.0, f64::NAN, 1.0, f64::INFINITY, 2.0, f64::NEG_INFINITY];
        assert_eq!(sorted_finite(&values), [1.0, 2.0, 3.0]);
        assert_eq!(finite(&values), [3.0, 1.0, 2.0]);
        assert_eq!(
            finite_pairs(&[1.0, f64::NAN, 3.0], &[4.0, 5.0]),
            [(1.0, 4.0)]
        );
    }

    #[test]
    fn tie_lengths_count_runs() {
        assert_eq!(tie_lengths(&[1.0, 1.0, 2.0, 3.0, 3.0, 3.0]), [2, 3]);
        assert!(tie_lengths(&[]).is_empty());
    }
}
