//! The trend of a day's value, with a verdict that a trainer can use.

use serde::{Deserialize, Serialize};

use super::{Day, Figures, Row};
use crate::measure::interval::Interval;
use crate::measure::trend::{Scatter, mann_kendall, theil_sen};

/// The level of every interval here.
const LEVEL: f64 = 0.95;

/// Fewest days with a value for a trend: Sen's interval exists from five on.
const FEWEST_DAYS: usize = 5;

/// More days than this many times those there are would be no useful answer.
const MORE_AT_MOST: f64 = 3.0;

/// A trend over days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Trend {
    /// Days with a value.
    pub n_days: usize,
    /// From the first to the last of them, in days.
    pub over_days: i32,
    /// Theil–Sen slope in milliseconds a week.
    pub per_week_ms: Option<f64>,
    /// Sen's interval of it.
    pub per_week_interval: Option<Interval>,
    /// The slope over all those days, in milliseconds.
    pub change_ms: Option<f64>,
    /// Its interval.
    pub change_interval: Option<Interval>,
    /// The line's height at day 0 (1970-01-01), for drawing.
    pub intercept_ms: Option<f64>,
    /// By how much the variance was raised because one day hangs together with
    /// the next; 1 for not at all.
    pub inflation: f64,
    /// Two-sided p of the Mann–Kendall test.
    pub p_two_sided: Option<f64>,
    /// The same after Holm's correction for the trends told together.
    pub p_corrected: Option<f64>,
    /// What may be said.
    pub verdict: Verdict,
}

/// What may be said of a trend.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Too few days to tell; about so many more.
    TooFew {
        /// Days still needed.
        more_days: usize,
    },
    /// It falls: the interval lies below zero.
    Falls,
    /// It rises: the interval lies above zero.
    Rises,
    /// No trend can be told; whatever there is, is smaller than this.
    Unclear {
        /// The interval's farther end, in milliseconds a week.
        within_per_week_ms: f64,
        /// At the present slope and scatter, days until it would be clear;
        /// `None` when that is beyond three times those there are.
        more_days: Option<usize>,
    },
}

/// The days that have a value, each with it.
pub fn day_values(days: &[Row], value: impl Fn(&Figures) -> Option<f64>) -> Vec<(Day, f64)> {
    days.iter()
        .filter_map(|row| Some((row.from, value(&row.figures)?)))
        .collect()
}

/// The trend of values in milliseconds over days, one value a day, in order.
///
/// Slope and interval by Theil and Sen, the test by Mann and Kendall, both widened
/// by as much as one day hangs together with the next (from ten days on). How many
/// more days: an interval of n evenly spaced days narrows as n^(−3/2), so that
/// one of half-width h leaves out zero at n·(h/|slope|)^(2/3) days.
pub fn trend(points: &[(Day, f64)]) -> Trend {
    let days: Vec<f64> = points.iter().map(|p| f64::from(p.0.0)).collect();
    let values: Vec<f64> = points.iter().map(|p| p.1).collect();
    let n_days = points.len();
    let over_days = match (points.first(), points.last()) {
        (Some(first), Some(last)) => last.0.0 - first.0.0,
        _ => 0,
    };
    let line = theil_sen(&days, &values, LEVEL, Scatter::HangsTogether);
    let inflation = line.map_or(1.0, |l| l.inflation);
    let test = mann_kendall(&days, &values).map(|t| t.inflated(inflation));
    let scaled = |by: f64| {
        line.and_then(|l| l.interval).map(|i| Interval {
            low: i.low * by,
            high: i.high * by,
            level: i.level,
        })
    };
    let span = f64::from(over_days);
    let per_week_interval = scaled(7.0);
    let verdict = match (line, per_week_interval) {
        (Some(line), Some(interval)) if n_days >= FEWEST_DAYS => {
            judge(n_days, 7.0 * line.slope, interval)
        }
        // Flat to the last digit: Sen's interval has no width.
        (Some(line), None) if n_days >= FEWEST_DAYS && line.slope == 0.0 => Verdict::Unclear {
            within_per_week_ms: 0.0,
            more_days: None,
        },
        _ => Verdict::TooFew {
            more_days: FEWEST_DAYS.saturating_sub(n_days).max(1),
        },
    };
    Trend {
        n_days,
        over_days,
        per_week_ms: line.map(|l| 7.0 * l.slope),
        per_week_interval,
        change_ms: line.map(|l| span * l.slope),
        change_interval: scaled(span),
        intercept_ms: line.map(|l| l.intercept),
        inflation,
        p_two_sided: test.map(|t| t.p_two_sided),
        p_corrected: None,
        verdict,
    }
}

fn judge(n_days: usize, per_week_ms: f64, interval: Interval) -> Verdict {
    if interval.high < 0.0 {
        return Verdict::Falls;
    }
    if interval.low > 0.0 {
        return Verdict::Rises;
    }
    let half_width = 0.5 * (interval.high - interval.low);
    let needed = n_days as f64 * (half_width / per_week_ms.abs()).powf(2.0 / 3.0);
    let more = needed.ceil() - n_days as f64;
    let worth_telling = needed.is_finite() && needed <= MORE_AT_MOST * n_days as f64;
    Verdict::Unclear {
        within_per_week_ms: interval.low.abs().max(interval.high.abs()),
        more_days: worth_telling.then_some(more.max(1.0) as usize),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close};

    /// Source: Sen 1968, JASA 63:1379–1389: slope 4 with 93 % interval
    /// (26/7, 35/8); here a day is the unit, so a week is seven of them.
    #[test]
    fn sen_1968_in_weeks() {
        let points: Vec<(Day, f64)> = [1, 2, 3, 4, 10, 12, 18]
            .into_iter()
            .zip([9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0])
            .map(|(t, y)| (Day(t), y))
            .collect();
        let got = trend(&points);
        assert_close(got.per_week_ms.unwrap(), 28.0, 1e-12);
        assert_close(got.change_ms.unwrap(), 68.0, 1e-12);
        assert_eq!(got.verdict, Verdict::Rises);
    }

    #[test]
    fn says_when_it_is_too_little() {
        let points: Vec<(Day, f64)> = (0..3).map(|d| (Day(d), 9.0)).collect();
        assert_eq!(trend(&points).verdict, Verdict::TooFew { more_days: 2 });
        assert_eq!(trend(&[]).verdict, Verdict::TooFew { more_days: 5 });
        let flat: Vec<(Day, f64)> = (0..20).map(|d| (Day(d), 9.0)).collect();
        assert_eq!(
            trend(&flat).verdict,
            Verdict::Unclear {
                within_per_week_ms: 0.0,
                more_days: None
            }
        );
    }

    /// Runs of made-up days, one for each way in which they may scatter: how often
    /// the interval holds the truth (nominal 95 %). By Kendall's distribution the
    /// interval of 5 and of 6 independent days holds it in 98.3 % (no narrower one
    /// holds it in 95 %), of more days in 95 to 97 %.
    #[test]
    fn the_interval_covers_as_often_as_it_says() {
        const RUNS: u32 = 2_000;
        // Days, the correlation from one day to the next, whole steps of so many
        // ms, and between which shares it must lie (3 standard errors are 1.5 %).
        let cases = [
            (5, 0.0, 0.0, 0.97, 1.0),
            (6, 0.0, 0.0, 0.97, 1.0),
            (8, 0.0, 0.0, 0.95, 0.985),
            (10, 0.0, 0.0, 0.95, 0.99),
            (15, 0.0, 0.0, 0.94, 0.98),
            (20, 0.0, 0.0, 0.94, 0.98),
            (20, 0.0, 10.0, 0.93, 0.98),
            (40, 0.0, 0.0, 0.94, 0.98),
            (15, 0.3, 0.0, 0.92, 0.97),
            (20, 0.3, 0.0, 0.92, 0.97),
            (40, 0.3, 0.0, 0.92, 0.97),
            (40, 0.3, 10.0, 0.92, 0.97),
            (40, 0.6, 0.0, 0.90, 0.96),
        ];
        let mut chance = Chance::new(95);
        for (n, phi, step, least, most) in cases {
            let mut covered = 0;
            for _ in 0..RUNS {
                let (mut day, mut mood) = (0.0_f64, chance.normal());
                let points: Vec<(Day, f64)> = (0..n)
                    .map(|_| {
                        day += 1.0 + (3.0 * chance.uniform()).floor();
                        let fresh: f64 = chance.normal();
                        mood = phi * mood + (1.0 - phi * phi).sqrt() * fresh;
                        let mut value = 80.0 - 0.6 * day + 15.0 * mood;
                        if step > 0.0 {
                            value = (value / step).round() * step;
                        }
                        (Day(day as i32), value)
                    })
                    .collect();
                let interval = trend(&points).per_week_interval;
                covered += u32::from(interval.is_none_or(|i| i.contains(7.0 * -0.6)));
            }
            let share = f64::from(covered) / f64::from(RUNS);
            println!("{n} days, from day to day {phi}, steps of {step}: {share:.3}");
            assert!((least..=most).contains(&share), "{n} {phi} {step}: {share}");
        }
    }

    /// The days that are said to be missing are about those that are missing:
    /// of trends that were unclear, about half are clear with that many more.
    #[test]
    fn about_n_more_is_about_n() {
        let mut chance = Chance::new(91);
        let (mut asked, mut clear) = (0, 0);
        for _ in 0..1_500 {
            let all: Vec<(Day, f64)> = (0..60)
                .map(|d| (Day(d), -0.9 * f64::from(d) + 18.0 * chance.normal()))
                .collect();
            let n = 16;
            if let Verdict::Unclear {
                more_days: Some(more),
                ..
            } = trend(&all[..n]).verdict
            {
                asked += 1;
                let then = trend(&all[..(n + more).min(60)]).verdict;
                clear += u32::from(then == Verdict::Falls);
            }
        }
        let share = f64::from(clear) / f64::from(asked);
        assert!(
            asked > 200 && (0.3..0.8).contains(&share),
            "{share} of {asked}"
        );
    }
}
