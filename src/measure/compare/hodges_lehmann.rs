//! The Hodges–Lehmann shift: by how much one sample lies above another.

use serde::{Deserialize, Serialize};

use super::mann_whitney::u_distribution;
use crate::measure::distributions::z_two_sided;
use crate::measure::interval::Interval;
use crate::measure::sample::{sorted_finite, tie_lengths};

/// Both samples below this size and no ties: the interval's ranks are exact.
const EXACT_BELOW: usize = 50;

/// A shift with its interval, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// How many x values were used.
    pub n_x: usize,
    /// How many y values were used.
    pub n_y: usize,
    /// The median of all differences x − y; positive when x is larger.
    pub shift: f64,
    /// Its distribution-free interval; `None` when the samples are too few for
    /// the level.
    pub interval: Option<Interval>,
    /// Whether the interval's ranks are exact or from the normal.
    pub exact: bool,
}

/// The shift from y to x, with an interval at `level` (between 0 and 1) that
/// holds if the two differ in place only, not in shape.
///
/// Values that are not finite are left out; `None` when a sample is empty or
/// the level is not between 0 and 1. Differences are counted, never stored:
/// O((m + n)·64) for each of the three ranks, memory O(m + n). Sources: Hodges
/// JL, Lehmann EL (1963) Ann Math Stat 34:598–611; Hollander & Wolfe 1973, 4.2–4.3.
pub fn hodges_lehmann(x: &[f64], y: &[f64], level: f64) -> Option<Shift> {
    let z = z_two_sided(level)?;
    let (x, y) = (sorted_finite(x), sorted_finite(y));
    let (n_x, n_y) = (x.len(), y.len());
    if n_x == 0 || n_y == 0 {
        return None;
    }
    let pairs = n_x as u64 * n_y as u64;
    let at = |rank: u64| difference_of_rank(&x, &y, rank);
    let shift = 0.5 * at((pairs - 1) / 2) + 0.5 * at(pairs / 2);

    let mut both = [x.as_slice(), y.as_slice()].concat();
    both.sort_unstable_by(f64::total_cmp);
    let ties = tie_lengths(&both);
    let exact = ties.is_empty() && n_x < EXACT_BELOW && n_y < EXACT_BELOW;
    // The interval runs from the k-th smallest to the k-th largest difference.
    let k = if exact {
        let mut tail = 0.0;
        let beyond = (1.0 - level) / 2.0 * (1.0 + 1e-12);
        u_distribution(n_x, n_y)
            .iter()
            .take_while(|p| {
                tail += **p;
                tail <= beyond
            })
            .count() as u64
    } else {
        let n = (n_x + n_y) as f64;
        let tied: f64 = ties.iter().map(|t| (*t as f64).powi(3) - *t as f64).sum();
        let sd = (pairs as f64 / 12.0 * (n + 1.0 - tied / (n * (n - 1.0))))
            .max(0.0)
            .sqrt();
        // U ≤ k − 1 with half a step of continuity has the tail's share.
        (pairs as f64 / 2.0 - z * sd + 0.5).floor().max(0.0) as u64
    };
    let interval = (k >= 1 && 2 * k <= pairs).then(|| Interval {
        low: at(k - 1),
        high: at(pairs - k),
        level,
    });
    Some(Shift {
        n_x,
        n_y,
        shift,
        interval,
        exact,
    })
}

/// The difference x − y of a rank from 0, found by halving over the ordered
/// patterns of f64: exact, since rounding never turns an order round.
fn difference_of_rank(x: &[f64], y: &[f64], rank: u64) -> f64 {
    let mut low = ordered(x[0] - y[y.len() - 1]);
    let mut high = ordered(x[x.len() - 1] - y[0]);
    while low < high {
        let middle = low + (high - low) / 2;
        if count_up_to(x, y, from_ordered(middle)) > rank {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    from_ordered(low)
}

/// How many differences x − y are at most d, for ascending samples.
fn count_up_to(x: &[f64], y: &[f64], d: f64) -> u64 {
    let mut first = 0; // first y with x − y ≤ d; it only moves up as x grows
    let mut count = 0;
    for value in x {
        while first < y.len() && value - y[first] > d {
            first += 1;
        }
        count += (y.len() - first) as u64;
    }
    count
}

/// The place of a number in the order of all f64 (negative ones reversed).
fn ordered(value: f64) -> i128 {
    let bits = value.to_bits();
    if value.is_sign_negative() {
        -i128::from(bits & !SIGN)
    } else {
        i128::from(bits)
    }
}

fn from_ordered(place: i128) -> f64 {
    if place < 0 {
        -f64::from_bits(place.unsigned_abs() as u64)
    } else {
        f64::from_bits(place as u64)
    }
}

const SIGN: u64 = 1 << 63;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, numbers, reference};
    use proptest::prelude::*;

    /// Source: Hollander & Wolfe 1973, p. 69: shift 0.305. Interval: by R's
    /// definition, exact ranks: k = 9 at 95 % (P(U ≤ 8) = 0.0200, P(U ≤ 9) = 0.0276).
    #[test]
    fn hollander_and_wolfe() {
        let x = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46];
        let y = [1.15, 0.88, 0.90, 0.74, 1.21];
        let got = hodges_lehmann(&x, &y, 0.95).unwrap();
        assert_close(got.shift, 0.305, 1e-12);
        assert!(got.exact && got.interval.unwrap().contains(0.0));
        let mut all: Vec<f64> = x
            .iter()
            .flat_map(|a| y.iter().map(move |b| a - b))
            .collect();
        all.sort_by(f64::total_cmp);
        let interval = got.interval.unwrap();
        assert_eq!((interval.low, interval.high), (all[8], all[41]));
    }

    /// Source: all differences by numpy, ranks from scipy's exact U
    /// distribution (tests/reference/measure.py).
    #[test]
    fn agrees_with_numpy_and_scipy() {
        for case in reference()["compare"]["hodges_lehmann"].as_array().unwrap() {
            let level = case["level"].as_f64().unwrap();
            let got = hodges_lehmann(&numbers(&case["x"]), &numbers(&case["y"]), level).unwrap();
            assert!(got.exact);
            assert_close(got.shift, case["shift"].as_f64().unwrap(), 1e-10);
            assert_close(
                got.interval.unwrap().low,
                case["low"].as_f64().unwrap(),
                1e-10,
            );
            assert_close(
                got.interval.unwrap().high,
                case["high"].as_f64().unwrap(),
                1e-10,
            );
        }
    }

    #[test]
    fn edges() {
        assert_eq!(hodges_lehmann(&[], &[1.0], 0.95), None);
        assert_eq!(hodges_lehmann(&[1.0], &[f64::INFINITY], 0.95), None);
        assert_eq!(hodges_lehmann(&[1.0], &[1.0], 0.0), None);
        let few = hodges_lehmann(&[5.0, f64::NAN], &[2.0, 1.0], 0.95).unwrap();
        assert_eq!((few.n_x, few.shift, few.interval), (1, 3.5, None));
        let same = hodges_lehmann(&[2.0; 60], &[2.0; 60], 0.95).unwrap();
        assert_eq!(same.shift, 0.0);
    }

    #[test]
    fn large_samples_need_no_store() {
        let mut chance = Chance::new(41);
        let x: Vec<f64> = (0..60_000).map(|_| 30.0 + 25.0 * chance.normal()).collect();
        let y: Vec<f64> = (0..50_000).map(|_| 25.0 * chance.normal()).collect();
        let got = hodges_lehmann(&x, &y, 0.95).unwrap();
        assert_close(got.shift, 30.0, 0.6);
        let interval = got.interval.unwrap();
        // Width by theory for normals: 2·1.96·σ·√(π/3)·√(1/m + 1/n).
        let want = 2.0
            * 1.96
            * 25.0
            * (std::f64::consts::PI / 3.0).sqrt()
            * (1.0 / 60_000.0 + 1.0 / 50_000.0f64).sqrt();
        assert_close(interval.high - interval.low, want, 0.03 * want);
    }

    /// 3,000 pairs of samples of 15 with ranks from the exact distribution
    /// (true coverage 95.0–95.6 %), and of 60 rounded lags with ties.
    #[test]
    fn interval_covers_as_often_as_it_says() {
        let mut chance = Chance::new(42);
        for (n, reps) in [(15, 3_000), (60, 1_500)] {
            let mut covered = 0;
            for _ in 0..reps {
                let mut draw = |shift: f64| -> Vec<f64> {
                    (0..n)
                        .map(|_| {
                            let lag = shift + 40.0 * chance.exponential() + 20.0 * chance.normal();
                            if n == 60 { lag.round() } else { lag }
                        })
                        .collect()
                };
                let (x, y) = (draw(25.0), draw(0.0));
                let got = hodges_lehmann(&x, &y, 0.95).unwrap();
                covered += u32::from(got.interval.unwrap().contains(25.0));
            }
            let share = f64::from(covered) / f64::from(reps);
            assert!((0.93..=0.972).contains(&share), "n {n}: covered {share}");
        }
    }

    proptest! {
        #[test]
        fn ranks_are_those_of_the_stored_differences(
            x in prop::collection::vec(-100i32..100, 1..15),
            y in prop::collection::vec(-100i32..100, 1..15),
        ) {
            let mut x: Vec<f64> = x.into_iter().map(|v| f64::from(v) / 7.0).collect();
            let mut y: Vec<f64> = y.into_iter().map(|v| f64::from(v) / 7.0).collect();
            x.sort_by(f64::total_cmp);
            y.sort_by(f64::total_cmp);
            let mut all: Vec<f64> = x.iter().flat_map(|a| y.iter().map(move |b| a - b)).collect();
            all.sort_by(f64::total_cmp);
            for (rank, want) in all.iter().enumerate() {
                prop_assert_eq!(difference_of_rank(&x, &y, rank as u64), *want);
            }
        }
    }
}
