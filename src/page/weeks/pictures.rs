//! The pictures: the lags then and now, the trend, the chart that sees a shift,
//! the share on time.

use maud::html;

use super::frame::{Frame, HEIGHT, Picture, round};
use crate::measure::quantile::quantile;
use crate::measure::weeks::words::marks_of;
use crate::measure::weeks::{Day, Lot, Progress, Row};

/// Days at each end of the weeks that are set against each other.
const END_DAYS: usize = 5;
/// Steps along the lag axis of the distribution.
const STEPS: usize = 40;

/// The lags of the first days and of the last, as shares of marks by lag.
pub(super) fn then_and_now(progress: &Progress, lots: &[Lot]) -> Option<Picture> {
    let mut days: Vec<Day> = lots
        .iter()
        .filter(|l| l.kind == progress.kind && !l.lags_ms.is_empty())
        .map(|l| l.day)
        .collect();
    days.sort_unstable();
    days.dedup();
    if days.len() < 2 * END_DAYS {
        return None;
    }
    let lags_in = |days: &[Day]| -> Vec<f64> {
        lots.iter()
            .filter(|l| l.kind == progress.kind && days.contains(&l.day))
            .flat_map(|l| l.lags_ms.clone())
            .collect()
    };
    let then = lags_in(&days[..END_DAYS]);
    let now = lags_in(&days[days.len() - END_DAYS..]);
    let both = [then.as_slice(), now.as_slice()].concat();
    let at = |p| quantile(&both, p);
    let aim = progress.aim;
    let (low, high) = (
        at(0.01)?.min(aim.from_ms).max(-1e12),
        at(0.99)?.max(aim.to_ms).min(1e12),
    );
    let shares = |lags: &[f64]| -> Vec<f64> {
        let mut counts = vec![0.0; STEPS];
        for lag in lags {
            let part = (lag - low) / (high - low).max(1e-9);
            let step = (part * STEPS as f64).floor().clamp(0.0, STEPS as f64 - 1.0);
            counts[step as usize] += 100.0 / lags.len() as f64;
        }
        counts
    };
    let (then_shares, now_shares) = (shares(&then), shares(&now));
    let top = then_shares
        .iter()
        .chain(&now_shares)
        .copied()
        .fold(0.0, f64::max);
    // Room above for the words.
    let frame = Frame::around((low, high), (0.0, 1.3 * top));
    let outline = |shares: &[f64]| {
        let mut path = format!("M{} {}", frame.at_x(low), frame.at_y(0.0));
        for (k, share) in shares.iter().enumerate() {
            let x = |k: usize| frame.at_x(low + (high - low) * k as f64 / STEPS as f64);
            path += &format!("H{}V{}H{}", x(k), frame.at_y(*share), x(k + 1));
        }
        path + &format!("V{}", frame.at_y(0.0))
    };
    let middle = |lags: &[f64]| quantile(lags, 0.5).unwrap_or_default();
    let (then_ms, now_ms) = (middle(&then), middle(&now));
    Some(Picture {
        name: format!("{}-then-and-now", progress.kind.word()),
        title: format!(
            "Your {}, the first five days and the last",
            marks_of(progress.kind)
        ),
        alt: format!(
            "Shares of marks by lag. First five days: {} marks, median {then_ms:.0} ms, dashed \
             line. Last five days: {} marks, median {now_ms:.0} ms, full line. The aim, {:.0} to \
             {:.0} ms, is shaded.",
            then.len(),
            now.len(),
            aim.from_ms,
            aim.to_ms
        ),
        height: HEIGHT,
        drawn: html! {
            rect class="aim" x=(frame.at_x(aim.from_ms)) y=(frame.at_y(top))
                width=(round(frame.at_x(aim.to_ms) - frame.at_x(aim.from_ms)))
                height=(round(frame.at_y(0.0) - frame.at_y(top))) {}
            path class="then" d=(outline(&then_shares)) {}
            path class="now" d=(outline(&now_shares)) {}
            text x="468" y="24" text-anchor="end" { "- - first five days, median " (format!("{then_ms:.0}")) }
            text x="468" y="44" text-anchor="end" { "── last five days, median " (format!("{now_ms:.0}")) }
            (frame.axes("lag in ms, late to the right", "% of marks", false))
        },
    })
}

/// Each row's median with its interval, and the Theil–Sen line.
pub(super) fn trend(progress: &Progress) -> Option<Picture> {
    let points: Vec<(&Row, f64)> = progress
        .rows
        .iter()
        .filter_map(|row| Some((row, row.figures.median_ms?)))
        .collect();
    let (first, last) = (points.first()?.0.from, points.last()?.0.from);
    if first == last {
        return None;
    }
    let aim = progress.aim;
    let ends = points
        .iter()
        .flat_map(|(row, median)| [row.figures.low_ms, row.figures.high_ms, Some(*median)])
        .flatten()
        .chain([aim.from_ms.max(-300.0), aim.to_ms.min(300.0)]);
    let (low, high) = ends.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    let frame = Frame::around((f64::from(first.0), f64::from(last.0)), (low, high));
    let line = progress
        .lag_trend
        .per_week_ms
        .zip(progress.lag_trend.intercept_ms)
        .map(|(per_week, at_0)| {
            let y = |day: Day| frame.at_y(at_0 + per_week / 7.0 * f64::from(day.0));
            let x = |day: Day| frame.at_x(f64::from(day.0));
            format!("M{} {}L{} {}", x(first), y(first), x(last), y(last))
        });
    Some(Picture {
        name: format!("{}-trend", progress.kind.word()),
        title: format!("Your {} over time", marks_of(progress.kind)),
        alt: format!(
            "Median lags as dots, each with its 95 % interval as a bar, from {first} to {last}; the \
             line is the trend, the aim is shaded."
        ),
        height: HEIGHT,
        drawn: html! {
            rect class="aim" x=(frame.at_x(f64::from(first.0))) y=(frame.at_y(aim.to_ms))
                width=(round(frame.at_x(f64::from(last.0)) - frame.at_x(f64::from(first.0))))
                height=(round(frame.at_y(aim.from_ms) - frame.at_y(aim.to_ms))) {}
            @for (row, median) in &points {
                @let x = frame.at_x(f64::from(row.from.0));
                @if let Some((low, high)) = row.figures.low_ms.zip(row.figures.high_ms) {
                    path class="bar" d=(format!("M{x} {}V{}", frame.at_y(low), frame.at_y(high))) {}
                }
                circle class="dot" cx=(x) cy=(frame.at_y(*median)) r="3.5" {}
            }
            @if let Some(line) = line { path class="trend" d=(line) {} }
            (frame.axes("", "ms, up is later", true))
        },
    })
}

/// The EWMA chart with its limits.
pub(super) fn shift(progress: &Progress) -> Option<Picture> {
    let chart = progress.chart.as_ref()?;
    let (first, last) = (chart.days.first()?.day, chart.days.last()?.day);
    if first == last {
        return None;
    }
    let ends = chart
        .days
        .iter()
        .flat_map(|d| [d.average_ms, d.low_ms, d.high_ms]);
    let (low, high) = ends.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    // Room above for the words.
    let high = high + 0.15 * (high - low);
    let frame = Frame::around((f64::from(first.0), f64::from(last.0)), (low, high));
    let path = |value: fn(&crate::measure::weeks::ChartDay) -> f64| -> String {
        let each = chart.days.iter().enumerate().map(|(k, d)| {
            let letter = if k == 0 { 'M' } else { 'L' };
            let (x, y) = (frame.at_x(f64::from(d.day.0)), frame.at_y(value(d)));
            format!("{letter}{x} {y}")
        });
        each.collect()
    };
    let since = chart.outside_since.map_or_else(
        || "The last day lies inside the limits.".to_owned(),
        |day| format!("Outside the limits without a break since {day}."),
    );
    Some(Picture {
        name: format!("{}-shift", progress.kind.word()),
        title: format!("Lasting changes in your {}", marks_of(progress.kind)),
        alt: format!(
            "Running weighted average of the days' medians after the first ten days, with the \
             limits that those days' scatter gives: level {:.0} ms. {since}",
            chart.target_ms
        ),
        height: HEIGHT,
        drawn: html! {
            path class="limit" d=(path(|d| d.low_ms)) {}
            path class="limit" d=(path(|d| d.high_ms)) {}
            path class="now" d=(path(|d| d.average_ms)) {}
            @for day in chart.days.iter().filter(|d| d.outside) {
                circle class="out" cx=(frame.at_x(f64::from(day.day.0)))
                    cy=(frame.at_y(day.average_ms)) r="3" {}
            }
            text x="468" y="24" text-anchor="end" { "── average, ○ outside, ··· limits" }
            (frame.axes("", "ms, up is later", true))
        },
    })
}

/// The share on time, with its interval.
pub(super) fn on_time(progress: &Progress) -> Option<Picture> {
    let rows: Vec<(&Row, f64, f64, f64)> = progress
        .rows
        .iter()
        .filter_map(|row| {
            let share = row.figures.on_time;
            Some((row, share.share?, share.low?, share.high?))
        })
        .collect();
    let (first, last) = (rows.first()?.0.from, rows.last()?.0.from);
    if first == last {
        return None;
    }
    let frame = Frame::around((f64::from(first.0), f64::from(last.0)), (0.0, 100.0));
    let wanted = frame.at_y(100.0 * progress.goal.wanted_share);
    Some(Picture {
        name: format!("{}-on-time", progress.kind.word()),
        title: format!("Your {} on time", marks_of(progress.kind)),
        alt: format!(
            "Share of moments marked inside the aim, {:.0} % at first and {:.0} % at last, each \
             with its 95 % interval; the goal, {:.0} %, is a dotted line.",
            100.0 * rows.first()?.1,
            100.0 * rows.last()?.1,
            100.0 * progress.goal.wanted_share
        ),
        height: HEIGHT,
        drawn: html! {
            path class="limit" d=(format!("M{} {wanted}H{}", frame.at_x(f64::from(first.0)), frame.at_x(f64::from(last.0)))) {}
            @for (row, share, low, high) in &rows {
                @let x = frame.at_x(f64::from(row.from.0));
                path class="bar" d=(format!("M{x} {}V{}", frame.at_y(100.0 * low), frame.at_y(100.0 * high))) {}
                circle class="dot" cx=(x) cy=(frame.at_y(100.0 * share)) r="3.5" {}
            }
            (frame.axes("", "% on time", true))
        },
    })
}
