//! Lots gathered by day, by week, by month or by bout.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Day, Figures, Lot, Occasion};
use crate::measure::quantile::quantile;
use crate::timeline::Aim;

/// What a row stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// One bout: a drill, a session or a review.
    Bout,
    /// A day.
    Day,
    /// A week from Monday.
    Week,
    /// A month of the calendar.
    Month,
}

/// One row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// The day, the week's Monday, the month's first, or the bout's day.
    pub from: Day,
    /// Bouts in it.
    pub bouts: usize,
    /// What sort of bouts, each once.
    pub occasions: Vec<Occasion>,
    /// Their figures.
    pub figures: Figures,
    /// The lag distance from the aim's middle within which the goal's share of
    /// moments lies; `None` when too many are missed for that.
    pub reach_ms: Option<f64>,
}

/// The rows in order of time; `goal_share` is the share of moments that are to be on
/// time, 0 to 1. O(n log n).
pub fn rows(lots: &[&Lot], by: By, aim: Aim, goal_share: f64) -> Vec<Row> {
    let mut together: BTreeMap<(Day, i64), Vec<&Lot>> = BTreeMap::new();
    for lot in lots {
        let key = match by {
            By::Bout => (lot.day, lot.bout),
            By::Day => (lot.day, 0),
            By::Week => (lot.day.week(), 0),
            By::Month => (lot.day.month(), 0),
        };
        together.entry(key).or_default().push(lot);
    }
    let row = |((from, _), lots): ((Day, i64), Vec<&Lot>)| {
        let mut occasions: Vec<Occasion> = lots.iter().map(|lot| lot.occasion).collect();
        occasions.sort_unstable();
        occasions.dedup();
        Row {
            from,
            bouts: bouts(lots.iter().copied()),
            occasions,
            figures: Figures::of(lots.iter().copied(), aim),
            reach_ms: reach_ms(&lots, aim, goal_share),
        }
    };
    together.into_iter().map(row).collect()
}

/// How many bouts the lots come from.
pub(super) fn bouts<'a>(lots: impl IntoIterator<Item = &'a Lot>) -> usize {
    let mut keys: Vec<i64> = lots.into_iter().map(|lot| lot.bout).collect();
    keys.sort_unstable();
    keys.dedup();
    keys.len()
}

/// How far from the aim's middle that share of moments reaches: a miss lies beyond all.
fn reach_ms(lots: &[&Lot], aim: Aim, share: f64) -> Option<f64> {
    let middle = 0.5 * (aim.from_ms + aim.to_ms);
    let mut far: Vec<f64> = lots
        .iter()
        .flat_map(|lot| &lot.lags_ms)
        .map(|lag| (lag - middle).abs())
        .collect();
    let missed: usize = lots.iter().map(|lot| lot.missed).sum();
    let moments = (far.len() + missed) as f64;
    // A thousandth of a miss of slack: 1 − 0.8 is a little less than two tenths.
    if far.is_empty() || missed as f64 > (1.0 - share) * moments + 1e-3 {
        return None;
    }
    // A miss counts as the farthest lag: it only ever takes a place at the end.
    let farthest = far.iter().copied().fold(0.0, f64::max);
    far.extend(std::iter::repeat_n(farthest, missed));
    quantile(&far, share)
}
