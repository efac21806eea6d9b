//! Several comparisons at once: Holm's correction.

/// Holm's adjusted p-values, in the order given: compare each with the level
/// that the whole family shall hold.
///
/// A p that is not between 0 and 1 (or NaN) gives `None` and does not count as
/// a comparison. O(n log n). Source: Holm S (1979) Scand J Stat 6:65–70.
pub fn holm(p_values: &[f64]) -> Vec<Option<f64>> {
    let mut order: Vec<usize> = (0..p_values.len())
        .filter(|i| (0.0..=1.0).contains(&p_values[*i]))
        .collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut adjusted = vec![None; p_values.len()];
    let mut reached: f64 = 0.0;
    for (done, i) in order.iter().enumerate() {
        reached = reached.max((p_values[*i] * (order.len() - done) as f64).min(1.0));
        adjusted[*i] = Some(reached);
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};

    /// Source: statsmodels multipletests(method="holm").
    #[test]
    fn agrees_with_statsmodels() {
        for case in reference()["compare"]["holm"].as_array().unwrap() {
            let got = holm(&numbers(&case["p"]));
            for (got, want) in got.iter().zip(numbers(&case["adjusted"])) {
                assert_close(got.unwrap(), want, 1e-12);
            }
        }
    }

    #[test]
    fn by_hand_and_edges() {
        // 0.01·3, then max(0.03, 0.03·2), then max(0.06, 0.04·1).
        let got = holm(&[0.04, 0.01, 0.03]);
        for (got, want) in got.iter().zip([0.06, 0.03, 0.06]) {
            assert_close(got.unwrap(), want, 1e-15);
        }
        assert_eq!(holm(&[]), []);
        assert_eq!(holm(&[f64::NAN, 0.02, 1.5]), [None, Some(0.02), None]);
    }
}
