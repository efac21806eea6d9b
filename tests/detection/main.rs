//! The count of what was found, which the accuracy tests stand on, against mir_eval.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

mod found;

use found::{Detection, detect};

/// The values that mir_eval gave (tests/reference/measure.py).
fn reference() -> serde_json::Value {
    serde_json::from_str(include_str!("../reference/measure.json")).unwrap()
}

fn numbers(list: &serde_json::Value) -> Vec<f64> {
    serde_json::from_value(list.clone()).unwrap()
}

#[track_caller]
fn assert_close(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "got {got}, want {want}");
}

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
