//! How well events were found: precision, recall and F-measure against a
//! reference list, within a tolerance.

use serde::{Deserialize, Serialize};

use super::sample::sorted_finite;

/// Counts and ratios of found events against reference events.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Detection {
    /// Reference events that were found.
    pub true_positives: usize,
    /// Found events that match no reference event.
    pub false_positives: usize,
    /// Reference events that were not found.
    pub false_negatives: usize,
    /// TP/(TP + FP), 0 to 1; `None` when nothing was found.
    pub precision: Option<f64>,
    /// TP/(TP + FN), 0 to 1; `None` when there was nothing to find.
    pub recall: Option<f64>,
    /// 2TP/(2TP + FP + FN), 0 to 1; `None` when both lists are empty.
    pub f_measure: Option<f64>,
    /// found − reference of each match in seconds, in order of time.
    pub errors_s: Vec<f64>,
}

impl Detection {
    /// The ratios of given counts, with no timing errors.
    pub fn from_counts(
        true_positives: usize,
        false_positives: usize,
        false_negatives: usize,
    ) -> Self {
        let ratio = |top: usize, bottom: usize| (bottom > 0).then(|| top as f64 / bottom as f64);
        Self {
            true_positives,
            false_positives,
            false_negatives,
            precision: ratio(true_positives, true_positives + false_positives),
            recall: ratio(true_positives, true_positives + false_negatives),
            f_measure: ratio(
                2 * true_positives,
                2 * true_positives + false_positives + false_negatives,
            ),
            errors_s: Vec::new(),
        }
    }
}

/// Matches found to reference events, times in seconds in any order, one to
/// one and as many as can be, each match at most `tolerance_s` apart (equality
/// counts).
///
/// Times that are not finite are left out; a tolerance that is negative or NaN
/// matches nothing. On a line, taking the earliest free partner in order of
/// time gives a maximum matching; where events stand closer than the tolerance
/// it need not be the matching with the least errors. O(n log n). Source of
/// the measure: MIREX audio onset detection; Raffel C et al. (2014) mir_eval,
/// ISMIR.
pub fn detect(reference_s: &[f64], found_s: &[f64], tolerance_s: f64) -> Detection {
    let (reference, found) = (sorted_finite(reference_s), sorted_finite(found_s));
    let mut errors_s = Vec::new();
    let (mut i, mut j) = (0, 0);
    while i < reference.len() && j < found.len() {
        // Written as a window about the reference, so that an event exactly on
        // the edge is judged as mir_eval judges it.
        if found[j] < reference[i] - tolerance_s {
            j += 1;
        } else if found[j] <= reference[i] + tolerance_s {
            errors_s.push(found[j] - reference[i]);
            i += 1;
            j += 1;
        } else {
            i += 1;
        }
    }
    let hits = errors_s.len();
    let counts = Detection::from_counts(hits, found.len() - hits, reference.len() - hits);
    Detection { errors_s, ..counts }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};
    use proptest::prelude::*;

    /// Source: the definitions: TP 45, FP 3, FN 5.
    #[test]
    fn worked_example() {
        let got = Detection::from_counts(45, 3, 5);
        assert_close(got.precision.unwrap(), 0.9375, 1e-12);
        assert_close(got.recall.unwrap(), 0.9, 1e-12);
        assert_close(got.f_measure.unwrap(), 0.918367, 5e-7);
    }

    /// Source: mir_eval.onset.f_measure and mir_eval.util.match_events.
    #[test]
    fn agrees_with_mir_eval() {
        for case in reference()["detection"].as_array().unwrap() {
            let (truth, found) = (numbers(&case["reference_s"]), numbers(&case["found_s"]));
            let got = detect(&truth, &found, case["tolerance_s"].as_f64().unwrap());
            assert_eq!(got.true_positives as u64, case["matches"].as_u64().unwrap());
            // mir_eval says 0 where a ratio is undefined.
            let f_is = case["f"].as_f64().unwrap();
            assert_close(got.f_measure.unwrap_or(0.0), f_is, 1e-12);
            assert_close(
                got.precision.unwrap_or(0.0),
                case["precision"].as_f64().unwrap(),
                1e-12,
            );
            assert_close(
                got.recall.unwrap_or(0.0),
                case["recall"].as_f64().unwrap(),
                1e-12,
            );
        }
    }

    #[test]
    fn edges() {
        let nothing = detect(&[], &[], 0.05);
        assert_eq!(
            (nothing.precision, nothing.recall, nothing.f_measure),
            (None, None, None)
        );
        let silent = detect(&[1.0], &[], 0.05);
        assert_eq!(
            (silent.precision, silent.recall, silent.f_measure),
            (None, Some(0.0), Some(0.0))
        );
        let holes = detect(&[f64::NAN, 2.0], &[f64::INFINITY, 2.0], 0.0);
        assert_eq!(
            (
                holes.true_positives,
                holes.false_positives,
                holes.false_negatives
            ),
            (1, 0, 0)
        );
        for tolerance in [-1.0, f64::NAN] {
            assert_eq!(detect(&[1.0], &[1.0], tolerance).true_positives, 0);
        }
        assert_eq!(detect(&[1.0, 2.0], &[2.01, 0.99], 0.05).errors_s.len(), 2);
    }

    /// The most matches by trying every way, for a handful of events.
    fn most(reference: &[f64], found: &[f64], tolerance: f64, used: u32) -> usize {
        let Some((first, rest)) = reference.split_first() else {
            return 0;
        };
        let mut best = most(rest, found, tolerance, used);
        for (j, f) in found.iter().enumerate() {
            if used & (1 << j) == 0 && (first - tolerance..=first + tolerance).contains(f) {
                best = best.max(1 + most(rest, found, tolerance, used | 1 << j));
            }
        }
        best
    }

    proptest! {
        #[test]
        fn matches_as_many_as_can_be(
            reference in prop::collection::vec(0u8..30, 0..6),
            found in prop::collection::vec(0u8..30, 0..6),
            tolerance in 0u8..6,
        ) {
            let reference: Vec<f64> = reference.into_iter().map(f64::from).collect();
            let found: Vec<f64> = found.into_iter().map(f64::from).collect();
            let tolerance = f64::from(tolerance);
            let got = detect(&reference, &found, tolerance);
            prop_assert_eq!(got.true_positives, most(&reference, &found, tolerance, 0));
            prop_assert!(got.errors_s.iter().all(|e| e.abs() <= tolerance));
        }
    }
}
