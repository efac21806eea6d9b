use std::collections::HashSet;

use super::*;
use proptest::prelude::*;

const AIM: Aim = Aim {
    from_ms: -100.0,
    to_ms: 150.0,
};

fn lags(pairs: &[Pair]) -> Vec<(f64, f64)> {
    pairs
        .iter()
        .filter_map(|p| Some((p.moment_s?, p.mark_s?)))
        .collect()
}

/// Without the places in the lists.
fn unnamed(pairs: Vec<Pair>) -> Vec<Pair> {
    let unnamed = |pair| Pair {
        moment: None,
        mark: None,
        ..pair
    };
    pairs.into_iter().map(unnamed).collect()
}

fn cost_ms(pairs: &[Pair], window: Window) -> f64 {
    let alone = window.before_ms().max(window.after_ms()) / 2.0;
    pairs.iter().map(|p| p.lag_ms.map_or(alone, f64::abs)).sum()
}

/// Against scipy.optimize.linear_sum_assignment; script and versions in
/// tests/reference/pairing.{py,json}.
#[test]
fn equals_the_general_assignment_on_random_cases() {
    #[derive(serde::Deserialize)]
    struct Case {
        moments_s: Vec<f64>,
        marks_s: Vec<f64>,
        before_ms: f64,
        after_ms: f64,
        cost_ms: f64,
        pairs: Vec<(usize, usize)>,
    }
    #[derive(serde::Deserialize)]
    struct Cases {
        cases: Vec<Case>,
    }
    let text = include_str!("../../tests/reference/pairing.json");
    let Cases { cases } = serde_json::from_str(text).unwrap();
    assert_eq!(cases.len(), 150);
    for case in cases {
        let window = Window::new(case.before_ms, case.after_ms).unwrap();
        let ours = pair(&case.moments_s, &case.marks_s, window, AIM);
        assert!((cost_ms(&ours, window) - case.cost_ms).abs() < 1e-4);
        let theirs: Vec<_> = case
            .pairs
            .iter()
            .map(|&(i, j)| (case.moments_s[i], case.marks_s[j]))
            .collect();
        assert_eq!(lags(&ours), theirs);
    }
}

#[test]
fn outcomes_follow_the_aim_and_the_leftovers_are_missed_and_stray() {
    let window = Window::new(500.0, 1000.0).unwrap();
    let pairs = pair(&[1.0, 5.0, 9.0, 20.0], &[1.1, 4.7, 9.4, 30.0], window, AIM);
    let outcomes: Vec<_> = pairs.iter().map(|p| p.outcome).collect();
    assert_eq!(
        outcomes,
        [
            Outcome::OnTime,
            Outcome::Early,
            Outcome::Late,
            Outcome::Missed,
            Outcome::Stray
        ]
    );
    assert!((pairs[1].lag_ms.unwrap() + 300.0).abs() < 1e-9);
}

/// With the number of pairs first, every mark would be paired one moment back.
#[test]
fn a_miss_and_a_stray_do_not_shift_the_marks_between_them() {
    let window = Window::new(1000.0, 1000.0).unwrap();
    let moments = [0.0, 1.0, 2.0, 3.0];
    let marks = [1.02, 2.02, 3.02, 3.9];
    let pairs = lags(&pair(&moments, &marks, window, AIM));
    assert_eq!(pairs, [(1.0, 1.02), (2.0, 2.02), (3.0, 3.02)]);
}

#[test]
fn a_tie_goes_to_the_mark_that_follows() {
    let window = Window::new(1000.0, 1000.0).unwrap();
    assert_eq!(
        lags(&pair(&[1.0], &[0.75, 1.25], window, AIM)),
        [(1.0, 1.25)]
    );
    assert_eq!(
        lags(&pair(&[1.0, 1.5], &[1.25], window, AIM)),
        [(1.0, 1.25)]
    );
}

#[test]
fn equal_times_are_separate_events_and_the_windows_ends_are_inside() {
    let window = Window::new(100.0, 200.0).unwrap();
    let pairs = pair(&[1.0, 1.0], &[1.2, 1.2, 1.2], window, AIM);
    assert_eq!(lags(&pairs).len(), 2);
    assert_eq!(pairs.len(), 3);
    assert_eq!(lags(&pair(&[1.0], &[0.9], window, AIM)).len(), 1);
    assert_eq!(lags(&pair(&[1.0], &[0.899], window, AIM)).len(), 0);
    assert_eq!(lags(&pair(&[1.0], &[1.201], window, AIM)).len(), 0);
}

#[test]
fn order_does_not_matter_and_times_that_are_not_finite_are_left_out() {
    let window = Window::new(500.0, 500.0).unwrap();
    let tidy = pair(&[1.0, 2.0], &[1.1, 2.1], window, AIM);
    let untidy = pair(
        &[2.0, f64::NAN, 1.0],
        &[f64::INFINITY, 2.1, 1.1],
        window,
        AIM,
    );
    assert_eq!(unnamed(tidy), unnamed(untidy));
    assert!(pair(&[], &[], window, AIM).is_empty());
    assert_eq!(pair(&[], &[1.0], window, AIM)[0].outcome, Outcome::Stray);
}

#[test]
fn an_impossible_window_is_refused_with_its_side_and_value() {
    for bad in [-1.0, f64::NAN, f64::INFINITY, WIDEST_WINDOW_MS + 1.0] {
        assert!(Window::new(bad, 1.0).is_err());
    }
    let error = Window::new(1.0, -5.0).unwrap_err();
    assert!(error.to_string().contains("after side is -5 ms"), "{error}");
}

/// Times on a grid of a millisecond in a small span: ties and duplicates abound.
fn times() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec((0..4000u32).prop_map(|ms| f64::from(ms) / 1000.0), 0..40)
}

/// Times with no two sums alike, so that the optimum is unique.
fn untied_times() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(0.0..8.0f64, 0..40)
}

fn window() -> impl Strategy<Value = Window> {
    (0..1500u32, 0..1500u32).prop_map(|(b, a)| Window::new(f64::from(b), f64::from(a)).unwrap())
}

proptest! {
    #[test]
    fn every_event_is_used_once_and_pairs_do_not_cross(
        moments in times(), marks in times(), window in window()
    ) {
        let pairs = pair(&moments, &marks, window, AIM);
        let mut used_moments: Vec<f64> = pairs.iter().filter_map(|p| p.moment_s).collect();
        let mut used_marks: Vec<f64> = pairs.iter().filter_map(|p| p.mark_s).collect();
        used_moments.sort_by(f64::total_cmp);
        used_marks.sort_by(f64::total_cmp);
        prop_assert_eq!(used_moments, sorted_finite(&moments).1);
        prop_assert_eq!(used_marks, sorted_finite(&marks).1);
        // Each by its name: no place twice, and the place holds the time.
        let moment = |p: &Pair| Some((p.moment?.place(), p.moment_s?));
        let mark = |p: &Pair| Some((p.mark?.place(), p.mark_s?));
        let named: [Vec<(usize, f64)>; 2] = [
            pairs.iter().filter_map(moment).collect(),
            pairs.iter().filter_map(mark).collect(),
        ];
        for (named, times) in named.into_iter().zip([&moments, &marks]) {
            let places: HashSet<usize> = named.iter().map(|n| n.0).collect();
            prop_assert_eq!((named.len(), places.len()), (times.len(), times.len()));
            prop_assert!(named.iter().all(|(place, t_s)| times[*place] == *t_s));
        }
        for two in lags(&pairs).windows(2) {
            prop_assert!(two[0].0 <= two[1].0 && two[0].1 <= two[1].1);
        }
        for lag in pairs.iter().filter_map(|p| p.lag_ms) {
            prop_assert!(lag > -window.before_ms() - 1e-6 && lag < window.after_ms() + 1e-6);
        }
    }

    #[test]
    fn the_order_of_the_lists_does_not_matter(
        moments in times(), marks in times(), window in window()
    ) {
        let back = |v: &[f64]| v.iter().rev().copied().collect::<Vec<_>>();
        prop_assert_eq!(
            unnamed(pair(&moments, &marks, window, AIM)),
            unnamed(pair(&back(&moments), &back(&marks), window, AIM))
        );
    }

    /// A shift by a power of two keeps these times exact.
    #[test]
    fn a_shift_of_everything_changes_no_pair(
        moments in times(), marks in times(), window in window()
    ) {
        let shift = |v: &[f64]| v.iter().map(|t| t + 4096.0).collect::<Vec<_>>();
        let here = lags(&pair(&moments, &marks, window, AIM));
        let there = lags(&pair(&shift(&moments), &shift(&marks), window, AIM));
        prop_assert_eq!(here.len(), there.len());
        for (a, b) in here.iter().zip(&there) {
            prop_assert_eq!((a.0 + 4096.0, a.1 + 4096.0), *b);
        }
    }

    /// Time run backwards, with the window's sides exchanged, gives the same
    /// pairs; where ties could choose, the same cost.
    #[test]
    fn time_run_backwards_gives_the_same_pairs(
        moments in untied_times(), marks in untied_times(), window in window()
    ) {
        let mirror = |v: &[f64]| v.iter().map(|t| -t).collect::<Vec<_>>();
        let mirrored = Window::new(window.after_ms(), window.before_ms()).unwrap();
        let here = lags(&pair(&moments, &marks, window, AIM));
        let mut there: Vec<_> = lags(&pair(&mirror(&moments), &mirror(&marks), mirrored, AIM))
            .into_iter().map(|(a, b)| (-a, -b)).collect();
        there.reverse();
        prop_assert_eq!(here, there);
    }
}

#[test]
fn ten_thousand_events_keep_a_narrow_table() {
    let moments: Vec<f64> = (0..10_000).map(|i| f64::from(i) * 0.5).collect();
    let marks: Vec<f64> = moments.iter().map(|t| t + 0.21).collect();
    let window = Window::new(1000.0, 1000.0).unwrap();
    let pairs = pair(&moments, &marks, window, AIM);
    assert_eq!(pairs.len(), 10_000);
    assert!(
        pairs
            .iter()
            .all(|p| (p.lag_ms.unwrap() - 210.0).abs() < 1e-6)
    );
}
