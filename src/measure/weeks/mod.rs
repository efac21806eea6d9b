//! Over the weeks: is the timing getting better? Figures by day, the trend, the
//! chart that sees a shift, comparisons, the goal, what to practise next.
//!
//! The unit of every trend is the day: what is done on one day hangs together
//! (the light, the mood, the shoes), so its marks are taken as one value, and
//! neither several drills a day nor days without practice distort the slope.

mod chart;
mod compare;
mod day;
mod figures;
mod goal;
mod rows;
mod suggest;
mod trend;
pub mod words;

use serde::{Deserialize, Serialize};

pub use chart::{BASELINE_DAYS, Chart, ChartDay, chart};
pub use compare::{Basis, Comparison, Test, comparisons};
pub use day::Day;
pub use figures::Figures;
pub use goal::{Goal, Outlook, RECENT_DAYS, goal};
pub use rows::{By, Row, rows};
pub use suggest::{RULE, Suggestion, Weakness, suggest};
pub use trend::{Trend, Verdict, day_values, trend};

use super::compare::holm;
use crate::timeline::{Aim, MomentKind, SoundKind};

/// What sort of bout it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Occasion {
    /// A recording was reviewed.
    Review,
    /// A ball-drop drill.
    Drill,
    /// A session with an animal.
    Session,
}

/// What one bout gave for one kind of moment and one bridge.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// Which bout: equal for lots of the same one.
    pub bout: i64,
    /// The day on which it began, in its own time zone.
    pub day: Day,
    /// What sort of bout.
    pub occasion: Occasion,
    /// Length of the bout in seconds, where it is known.
    pub duration_s: Option<f64>,
    /// The kind of moment.
    pub kind: MomentKind,
    /// Click or word; `None` when nothing was marked.
    pub bridge_kind: Option<SoundKind>,
    /// The taught sound's name; empty when nothing was marked.
    pub bridge: String,
    /// The lags in milliseconds, negative early.
    pub lags_ms: Vec<f64>,
    /// Moments without a mark.
    pub missed: usize,
    /// Marks without a moment.
    pub strays: usize,
}

/// All that is told of one person's practice of one kind of moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Progress {
    /// The kind of moment.
    pub kind: MomentKind,
    /// The aim that lags are judged against: today's, for all of them alike.
    pub aim: Aim,
    /// Bouts with such moments.
    pub bouts: usize,
    /// Days with practice.
    pub n_days: usize,
    /// The first of them.
    pub first_day: Day,
    /// The last of them.
    pub last_day: Day,
    /// Everything together.
    pub whole: Figures,
    /// Day by day, week by week, month by month or bout by bout.
    pub rows: Vec<Row>,
    /// The trend of the day's median lag.
    pub lag_trend: Trend,
    /// The trend of the day's spread (interquartile range).
    pub spread_trend: Trend,
    /// The chart that sees a lasting shift; `None` below the days it needs.
    pub chart: Option<Chart>,
    /// How near the trainer's own goal is.
    pub goal: Goal,
}

/// The progress of one person in one kind of moment; the lots of other kinds
/// are passed over. `None` when there is none of the kind. `on_time_share` is
/// the goal: the share of moments to be on time, 0 to 1.
/// O(n log n) in the lags.
pub fn progress(
    lots: &[Lot],
    kind: MomentKind,
    aim: Aim,
    on_time_share: f64,
    by: By,
) -> Option<Progress> {
    let lots: Vec<&Lot> = lots.iter().filter(|lot| lot.kind == kind).collect();
    let days = rows(&lots, By::Day, aim, on_time_share);
    let (first, last) = (days.first()?, days.last()?);
    let (first_day, last_day) = (first.from, last.from);
    let lag_points = day_values(&days, |figures| figures.median_ms);
    let spread_points = day_values(&days, |figures| figures.spread_ms);
    let mut lag_trend = trend(&lag_points);
    let mut spread_trend = trend(&spread_points);
    // Two looks at the same weeks: each is held to the stricter measure.
    let tested: Vec<f64> = [&lag_trend, &spread_trend]
        .iter()
        .map(|t| t.p_two_sided.unwrap_or(f64::NAN))
        .collect();
    let mut corrected = holm(&tested).into_iter();
    lag_trend.p_corrected = corrected.next().flatten();
    spread_trend.p_corrected = corrected.next().flatten();
    let whole = Figures::of(lots.iter().copied(), aim);
    let goal = goal(&days, aim, on_time_share);
    Some(Progress {
        kind,
        aim,
        bouts: rows::bouts(lots.iter().copied()),
        n_days: days.len(),
        first_day,
        last_day,
        whole,
        lag_trend,
        spread_trend,
        chart: chart(&lag_points),
        goal,
        rows: if by == By::Day {
            days
        } else {
            rows(&lots, by, aim, on_time_share)
        },
    })
}
