//! The Theil–Sen slope: the median of the slopes of all pairs of points.

use serde::{Deserialize, Serialize};

use super::counting::{PairCounts, count_pairs, group_ends};
use super::mann_kendall::variance;
use super::serial;
use crate::measure::distributions::z_two_sided;
use crate::measure::interval::Interval;
use crate::measure::median::median;
use crate::measure::sample::{finite_pairs, tie_lengths};

/// Up to this many pairs every slope is held in memory (16 MB); beyond, slopes
/// are counted and never stored.
const STORE_UP_TO: u64 = 2_000_000;

/// Most halvings of the bracket about a counted slope: from the steepest slope
/// down to 1e-24 of it, for a slope of nothing among steep ones.
const HALVINGS: usize = 80;

/// What is supposed of the scatter about the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scatter {
    /// Each point by itself: Sen's interval as published.
    Independent,
    /// Neighbours may hang together: from ten points on the interval is widened
    /// by as much as they do.
    HangsTogether,
}

/// A robust straight line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TheilSen {
    /// How many points were used.
    pub n: usize,
    /// How many pairs of points at different times gave a slope.
    pub n_slopes: u64,
    /// The median slope: unit of the values over unit of the times.
    pub slope: f64,
    /// Sen's interval for the slope; `None` when the points are too few for
    /// the level.
    pub interval: Option<Interval>,
    /// Median value − slope · median time: the line's height at time 0.
    pub intercept: f64,
    /// By how much the variance behind the interval was raised because
    /// neighbours hang together; 1 for not at all.
    pub inflation: f64,
}

/// The Theil–Sen slope of `values` over `times`, in any order and unit, with
/// Sen's interval at `level` (between 0 and 1).
///
/// Pairs at equal times are skipped; unequal spacing is allowed. Points with a
/// part that is not finite are left out. `None` when fewer than two times
/// differ, the level is not between 0 and 1, or a slope leaves the range of f64. Up to 2,000 points all slopes
/// are stored and the answer is exact; beyond, the slope of the wanted rank is
/// closed in on by counting in O(n log n) with O(n) memory, to 1e-9 of itself
/// (15,000 points: some 90 counts for the three ranks). Sources: Theil H (1950)
/// Proc KNAW 53; Sen PK (1968) JASA 63:1379–1389; ranks of the limits rounded
/// to the nearest as in Sen's example; ties as in Gilbert 1987, 16.4–16.5.
///
/// With [`Scatter::HangsTogether`] the variance is raised by what the rest about
/// the line shows (see `serial.rs`); ranks that would lie beyond the steepest
/// slopes are then those slopes.
pub fn theil_sen(times: &[f64], values: &[f64], level: f64, scatter: Scatter) -> Option<TheilSen> {
    let z = z_two_sided(level)?;
    let mut points = finite_pairs(times, values);
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (times, values): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let ends = group_ends(&times);
    let n = times.len();
    let PairCounts {
        rises,
        falls,
        level: flat,
    } = count_pairs(&values, &ends);
    let n_slopes = rises + falls + flat;
    if n_slopes == 0 {
        return None;
    }
    let mut slopes = Slopes::of(&times, &values, &ends, n_slopes);
    // Ranks count from 0 here.
    let slope = 0.5 * slopes.at((n_slopes - 1) / 2) + 0.5 * slopes.at(n_slopes / 2);

    let inflation = match scatter {
        Scatter::Independent => 1.0,
        Scatter::HangsTogether => {
            let line = times.iter().zip(&values).map(|(t, y)| y - slope * t);
            serial::inflation(&line.collect::<Vec<f64>>())
        }
    };
    let mut sorted = values.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let variance = variance(n, &tie_lengths(&times), &tie_lengths(&sorted));
    let width = z * (inflation * variance).max(0.0).sqrt();
    let mut low_rank = ((n_slopes as f64 - width) / 2.0).round();
    let mut high_rank = ((n_slopes as f64 + width) / 2.0).round() + 1.0;
    if inflation > 1.0 {
        low_rank = low_rank.max(1.0);
        high_rank = high_rank.min(n_slopes as f64);
    }
    let inside = low_rank >= 1.0 && high_rank <= n_slopes as f64 && width > 0.0;
    let interval = inside.then(|| Interval {
        low: slopes.at(low_rank as u64 - 1),
        high: slopes.at(high_rank as u64 - 1),
        level,
    });
    let intercept = median(&values)? - slope * median(&times)?;
    let usable = slope.is_finite() && intercept.is_finite();
    usable.then_some(TheilSen {
        n,
        n_slopes,
        slope,
        interval,
        intercept,
        inflation,
    })
}

/// All slopes of pairs at different times, stored or countable.
enum Slopes<'a> {
    Stored(Vec<f64>),
    Counted {
        times: &'a [f64],
        values: &'a [f64],
        ends: &'a [usize],
        /// Slopes already tried, each with how many are at most as steep: one
        /// rank's search narrows the next one's.
        tried: Vec<(f64, u64)>,
    },
}

impl<'a> Slopes<'a> {
    fn of(times: &'a [f64], values: &'a [f64], ends: &'a [usize], n_slopes: u64) -> Self {
        if n_slopes <= STORE_UP_TO {
            let mut all = Vec::with_capacity(n_slopes as usize);
            for_each_slope(times, values, |slope| all.push(slope));
            return Self::Stored(all);
        }
        // The steepest slope stands between points of neighbouring times.
        let mut steepest: f64 = 0.0;
        let mut start = 0;
        for pair in ends.windows(2) {
            let (now, next) = (start..pair[0], pair[0]..pair[1]);
            let gap = times[next.start] - times[now.start];
            let (low, high) = extremes(&values[now]);
            let (next_low, next_high) = extremes(&values[next]);
            steepest = steepest.max((next_high - low).abs().max((next_low - high).abs()) / gap);
            start = pair[0];
        }
        Self::Counted {
            times,
            values,
            ends,
            tried: vec![(-steepest, 0), (steepest, n_slopes)],
        }
    }

    /// The slope of a rank from 0.
    fn at(&mut self, rank: u64) -> f64 {
        match self {
            Self::Stored(all) => *all.select_nth_unstable_by(rank as usize, f64::total_cmp).1,
            Self::Counted {
                times,
                values,
                ends,
                tried,
            } => {
                let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
                for (slope, count) in tried.iter() {
                    if *count > rank {
                        high = high.min(*slope);
                    } else {
                        low = low.max(*slope);
                    }
                }
                for _ in 0..HALVINGS {
                    if high - low <= 1e-9 * low.abs().max(high.abs()) {
                        break;
                    }
                    let middle = 0.5 * (low + high);
                    let count = count_up_to(times, values, ends, middle);
                    tried.push((middle, count));
                    if count > rank {
                        high = middle;
                    } else {
                        low = middle;
                    }
                }
                0.5 * (low + high)
            }
        }
    }
}

/// How many slopes are at most q: pairs that do not rise once the line of
/// slope q is taken off.
fn count_up_to(times: &[f64], values: &[f64], ends: &[usize], q: f64) -> u64 {
    let origin = times.first().copied().unwrap_or(0.0);
    let tilted: Vec<f64> = times
        .iter()
        .zip(values)
        .map(|(t, y)| y - q * (t - origin))
        .collect();
    let counts = count_pairs(&tilted, ends);
    counts.falls + counts.level
}

fn for_each_slope(times: &[f64], values: &[f64], mut give: impl FnMut(f64)) {
    for (i, (t, y)) in times.iter().zip(values).enumerate() {
        for (later, other) in times[i + 1..].iter().zip(&values[i + 1..]) {
            if later > t {
                give((other - y) / (later - t));
            }
        }
    }
}

fn extremes(values: &[f64]) -> (f64, f64) {
    values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
            (a.min(*v), b.max(*v))
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, numbers, reference};

    /// Source: Sen 1968: slope 4, 93 % interval (26/7, 35/8).
    #[test]
    fn sen_1968() {
        let line = theil_sen(
            &[1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0],
            &[9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0],
            0.93,
            Scatter::Independent,
        )
        .unwrap();
        let interval = line.interval.unwrap();
        assert_eq!((line.slope, line.n_slopes), (4.0, 21));
        assert_close(interval.low, 26.0 / 7.0, 1e-12);
        assert_close(interval.high, 35.0 / 8.0, 1e-12);
        assert_close(line.intercept, 4.0, 1e-12);
    }

    /// Source: Gilbert 1987, example 16.3: 24 slopes, median 5.5; and Helsel &
    /// Hirsch (data from memory, values computed with scipy).
    #[test]
    fn gilbert_and_helsel_hirsch() {
        let times = [1.0, 1.0, 1.0, 2.0, 3.0, 3.0, 4.0, 5.0];
        let values = [10.0, 22.0, 21.0, 30.0, 22.0, 30.0, 40.0, 40.0];
        let line = theil_sen(&times, &values, 0.8, Scatter::Independent).unwrap();
        assert_eq!((line.n_slopes, line.slope), (24, 5.5));
        let times: Vec<f64> = (1..=7).map(f64::from).collect();
        let line = theil_sen(
            &times,
            &[1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0],
            0.95,
            Scatter::Independent,
        )
        .unwrap();
        let interval = line.interval.unwrap();
        assert_eq!((line.slope, line.intercept), (1.0, 0.0));
        assert_eq!((interval.low, interval.high), (1.0, 3.5));
    }

    /// Source: scipy.stats.theilslopes (tests/reference/measure.py).
    #[test]
    fn agrees_with_scipy() {
        for case in reference()["trend"]["theil_sen"].as_array().unwrap() {
            let (times, values) = (numbers(&case["t"]), numbers(&case["y"]));
            let line = theil_sen(
                &times,
                &values,
                case["level"].as_f64().unwrap(),
                Scatter::Independent,
            )
            .unwrap();
            assert_close(line.slope, case["slope"].as_f64().unwrap(), 1e-10);
            assert_close(line.intercept, case["intercept"].as_f64().unwrap(), 1e-9);
            let interval = line.interval.unwrap();
            assert_close(interval.low, case["low"].as_f64().unwrap(), 1e-10);
            assert_close(interval.high, case["high"].as_f64().unwrap(), 1e-10);
        }
    }

    /// Source: pymannkendall.sens_slope (tests/reference/measure.py).
    #[test]
    fn agrees_with_pymannkendall() {
        for case in reference()["trend"]["sens_slope"].as_array().unwrap() {
            let values = numbers(&case["y"]);
            let times: Vec<f64> = (0..values.len()).map(|k| k as f64).collect();
            let line = theil_sen(&times, &values, 0.95, Scatter::Independent).unwrap();
            assert_close(line.slope, case["slope"].as_f64().unwrap(), 1e-10);
            assert_close(line.intercept, case["intercept"].as_f64().unwrap(), 1e-9);
        }
    }

    /// The counted way gives what the stored way gives, ties and all.
    #[test]
    fn counting_equals_storing() {
        let mut chance = Chance::new(21);
        let times: Vec<f64> = (0..300).map(|i| f64::from(i / 3)).collect();
        let values: Vec<f64> = times
            .iter()
            .map(|t| (200.0 - 0.4 * t + 20.0 * chance.normal()).round())
            .collect();
        let ends = group_ends(&times);
        let mut stored = Slopes::of(&times, &values, &ends, 44_550);
        let mut counted = Slopes::of(&times, &values, &ends, STORE_UP_TO + 1);
        assert!(matches!(counted, Slopes::Counted { .. }));
        for rank in [0, 1, 100, 11_000, 22_274, 22_275, 40_000, 44_549] {
            let want = stored.at(rank);
            assert_close(counted.at(rank), want, 1e-9 * (1.0 + want.abs()));
        }
    }

    #[test]
    fn many_points_need_no_store() {
        let mut chance = Chance::new(22);
        let times: Vec<f64> = (0..4_000).map(|i| f64::from(i) * 0.25).collect();
        let values: Vec<f64> = times
            .iter()
            .map(|t| 180.0 - 0.05 * t + 30.0 * chance.normal())
            .collect();
        let line = theil_sen(&times, &values, 0.95, Scatter::Independent).unwrap();
        assert_eq!(line.n_slopes, 4_000 * 3_999 / 2);
        let interval = line.interval.unwrap();
        assert!(interval.contains(line.slope) && interval.contains(-0.05));
        assert!(interval.high - interval.low < 0.01);
    }

    #[test]
    fn edges() {
        assert_eq!(theil_sen(&[], &[], 0.95, Scatter::Independent), None);
        assert_eq!(theil_sen(&[1.0], &[1.0], 0.95, Scatter::Independent), None);
        assert_eq!(
            theil_sen(&[1.0, 1.0], &[1.0, 2.0], 0.95, Scatter::Independent),
            None
        );
        assert_eq!(
            theil_sen(&[1.0, 2.0], &[1.0, 2.0], 1.0, Scatter::Independent),
            None
        );
        let two = theil_sen(&[1.0, 3.0], &[1.0, 2.0], 0.95, Scatter::Independent).unwrap();
        assert_eq!((two.slope, two.interval), (0.5, None));
        let flat = theil_sen(&[1.0, 2.0, 3.0, 4.0], &[7.0; 4], 0.95, Scatter::Independent).unwrap();
        assert_eq!((flat.slope, flat.interval), (0.0, None));
        let holes = theil_sen(
            &[1.0, f64::NAN, 3.0, 4.0],
            &[1.0, 9.0, 2.0, f64::INFINITY],
            0.95,
            Scatter::Independent,
        );
        assert_eq!(holes.unwrap().slope, 0.5);
    }

    /// 3,000 lines of 20 unevenly spaced days; nominal 95 %.
    #[test]
    fn interval_covers_as_often_as_it_says() {
        let mut chance = Chance::new(23);
        let mut covered = 0;
        for _ in 0..3_000 {
            let times: Vec<f64> = (0..20).map(|i| f64::from(i) + chance.uniform()).collect();
            let values: Vec<f64> = times
                .iter()
                .map(|t| 3.0 - 0.7 * t + 10.0 * chance.exponential())
                .collect();
            let line = theil_sen(&times, &values, 0.95, Scatter::Independent).unwrap();
            covered += u32::from(line.interval.unwrap().contains(-0.7));
        }
        let share = f64::from(covered) / 3_000.0;
        assert!((0.93..=0.97).contains(&share), "covered {share}");
    }
}
