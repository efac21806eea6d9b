//! The EWMA chart over days: sees a lasting shift that single days hide.

use serde::{Deserialize, Serialize};

use super::Day;
use crate::measure::ewma::{EwmaSettings, ewma};
use crate::measure::median::median;

/// The first days, which the later ones are held against.
pub const BASELINE_DAYS: usize = 10;

/// λ and L as is usual (NIST/SEMATECH e-Handbook 6.3.2.4).
const WEIGHT: f64 = 0.2;
const WIDTH_SDS: f64 = 3.0;

/// Variance of a median of n normal values, in units of σ²/n, for large n: π/2
/// (David & Nagaraja 2003, Order Statistics; from memory).
const MEDIAN_VARIANCE: f64 = std::f64::consts::FRAC_PI_2;

/// Mean moving range of two over the standard deviation, for normal values
/// (NIST/SEMATECH e-Handbook 6.3.2.2).
const D2: f64 = 1.128;

/// The chart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Chart {
    /// The level of the first days: their median.
    pub target_ms: f64,
    /// Scatter of a single day: mean moving range of the first days over 1.128.
    pub sd_ms: f64,
    /// The weight of the newest day.
    pub weight: f64,
    /// Half the width between the limits, in standard deviations of the average.
    pub width_sds: f64,
    /// The days after the first ones.
    pub days: Vec<ChartDay>,
    /// Since which day the average has lain outside without a break; `None`
    /// when the last day lies inside.
    pub outside_since: Option<Day>,
}

/// A day on the chart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ChartDay {
    /// The day.
    pub day: Day,
    /// Its own value.
    pub value_ms: f64,
    /// The weighted average after it.
    pub average_ms: f64,
    /// Lower limit.
    pub low_ms: f64,
    /// Upper limit.
    pub high_ms: f64,
    /// Whether the average lies outside.
    pub outside: bool,
}

/// The chart of a value a day, in order. `None` until there are days after the
/// first ten, or when those do not scatter at all.
///
/// The limits are those of the handbook, widened by what ten days leave unknown of
/// their own level: without that the average of somebody who never changes would
/// lie outside on every fourteenth day. A signal is a hint to look, not a proof
/// (this program's convention).
pub fn chart(points: &[(Day, f64)]) -> Option<Chart> {
    let (first, later) = points.split_at_checked(BASELINE_DAYS)?;
    if later.is_empty() {
        return None;
    }
    let first: Vec<f64> = first.iter().map(|p| p.1).collect();
    let ranges: f64 = first.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    let settings = EwmaSettings {
        target: median(&first)?,
        sd: ranges / (first.len() - 1) as f64 / D2,
        weight: WEIGHT,
        width_sds: WIDTH_SDS,
    };
    let values: Vec<f64> = later.iter().map(|p| p.1).collect();
    let days: Vec<ChartDay> = ewma(&values, settings)?
        .into_iter()
        .filter_map(|point| {
            let (day, value_ms) = *later.get(point.index)?;
            let own = (point.high - settings.target) / (WIDTH_SDS * settings.sd);
            let level = MEDIAN_VARIANCE / BASELINE_DAYS as f64;
            let half = WIDTH_SDS * settings.sd * (own * own + level).sqrt();
            Some(ChartDay {
                day,
                value_ms,
                average_ms: point.average,
                low_ms: settings.target - half,
                high_ms: settings.target + half,
                outside: (point.average - settings.target).abs() > half,
            })
        })
        .collect();
    let run = days.iter().rev().take_while(|day| day.outside);
    Some(Chart {
        target_ms: settings.target,
        sd_ms: settings.sd,
        weight: WEIGHT,
        width_sds: WIDTH_SDS,
        outside_since: run.last().map(|day| day.day),
        days,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close};

    #[test]
    fn a_shift_is_seen_and_dated() {
        let mut chance = Chance::new(92);
        let points: Vec<(Day, f64)> = (0..40)
            .map(|d| {
                let level = if d < 20 { 60.0 } else { 20.0 };
                (Day(d), level + 10.0 * chance.normal())
            })
            .collect();
        let got = chart(&points).unwrap();
        assert_eq!(got.days.len(), 30);
        let since = got.outside_since.unwrap();
        assert!((20..26).contains(&since.0), "{since:?}");
    }

    /// 2,000 made-up people who do not change at all: how often the average lies
    /// outside on the last day, and how often it did on any day before.
    #[test]
    fn false_alarms_are_as_many_as_is_said() {
        let mut chance = Chance::new(97);
        for (days, last_most, any_most) in [(30, 0.03, 0.10), (60, 0.04, 0.15)] {
            let (mut last, mut any) = (0, 0);
            for _ in 0..2_000 {
                let points: Vec<(Day, f64)> = (0..days)
                    .map(|d| (Day(d), 12.0 * chance.normal()))
                    .collect();
                let got = chart(&points).unwrap();
                last += u32::from(got.outside_since.is_some());
                any += u32::from(got.days.iter().any(|d| d.outside));
            }
            let (last, any) = (f64::from(last) / 2e3, f64::from(any) / 2e3);
            println!("{days} days: outside on the last {last}, ever {any}");
            assert!(
                last <= last_most && any <= any_most,
                "{days} days: {last} {any}"
            );
        }
    }

    /// By hand: ten days alternating 10 and 12: median 11, every moving range 2,
    /// so sd 2/1.128; the first average after 21 is 0.2·21 + 0.8·11 = 13.
    #[test]
    fn by_hand() {
        let mut points: Vec<(Day, f64)> = (0..10)
            .map(|d| (Day(d), if d % 2 == 0 { 10.0 } else { 12.0 }))
            .collect();
        assert_eq!(chart(&points), None);
        points.push((Day(12), 21.0));
        let got = chart(&points).unwrap();
        assert_close(got.target_ms, 11.0, 1e-12);
        assert_close(got.sd_ms, 2.0 / 1.128, 1e-12);
        assert_close(got.days[0].average_ms, 13.0, 1e-12);
        // The first limit is L·σ·√(λ² + π/20) above the target.
        let half = 3.0 * (0.04 + std::f64::consts::PI / 20.0_f64).sqrt() * 2.0 / 1.128;
        assert_close(got.days[0].high_ms, 11.0 + half, 1e-12);
        assert_eq!(got.outside_since, None);
        points.push((Day(13), 31.0));
        assert_eq!(chart(&points).unwrap().outside_since, Some(Day(13)));
        let flat: Vec<(Day, f64)> = (0..20).map(|d| (Day(d), 5.0)).collect();
        assert_eq!(chart(&flat), None);
    }
}
