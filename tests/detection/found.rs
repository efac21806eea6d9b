//! How well the tests' events were found: precision, recall and F-measure against a
//! reference list, within a tolerance.

/// Counts and ratios of found events against reference events.
#[derive(Debug, Clone, PartialEq)]
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

fn sorted_finite(times_s: &[f64]) -> Vec<f64> {
    let mut finite: Vec<f64> = times_s.iter().copied().filter(|t| t.is_finite()).collect();
    finite.sort_unstable_by(f64::total_cmp);
    finite
}
