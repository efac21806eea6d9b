//! The figures of some lots together.

use serde::{Deserialize, Serialize};

use super::Lot;
use crate::measure::median::{median_interval_of_sorted, median_of_sorted};
use crate::measure::proportion::Share;
use crate::measure::quantile::quantile_of_sorted;
use crate::timeline::{Aim, Outcome};

/// Fewest lags that give a spread.
const SPREAD_FROM: usize = 4;

/// The figures of a day, a week, a drill, or of everything. What the data
/// cannot give is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// Lags: moments with a mark.
    pub lags: usize,
    /// Moments inside the aim, out of all moments.
    pub on_time: Share,
    /// Moments marked before the aim.
    pub early: usize,
    /// Moments marked after the aim.
    pub late: usize,
    /// Moments with no mark, out of all moments.
    pub missed: Share,
    /// Marks that no moment earned, out of all marks.
    pub stray: Share,
    /// The median lag.
    pub median_ms: Option<f64>,
    /// Lower end of its distribution-free 95 % interval.
    pub low_ms: Option<f64>,
    /// Upper end of that interval.
    pub high_ms: Option<f64>,
    /// Interquartile range (Hyndman–Fan type 8); from four lags on.
    pub spread_ms: Option<f64>,
    /// Marks a minute, over the bouts whose length is known.
    pub per_minute: Option<f64>,
}

impl Figures {
    /// The figures of `lots` against an aim. O(n log n).
    pub fn of<'a>(lots: impl IntoIterator<Item = &'a Lot>, aim: Aim) -> Self {
        let mut lags: Vec<f64> = Vec::new();
        let (mut missed, mut strays) = (0, 0);
        let (mut timed_marks, mut minutes) = (0, 0.0);
        let mut last_timed = None;
        for lot in lots {
            lags.extend(lot.lags_ms.iter().copied().filter(|l| l.is_finite()));
            missed += lot.missed;
            strays += lot.strays;
            if let Some(s) = lot.duration_s.filter(|s| *s > 0.0 && s.is_finite()) {
                timed_marks += lot.lags_ms.len() + lot.strays;
                // Lots of one bout follow each other and share its length.
                if last_timed != Some(lot.bout) {
                    minutes += s / 60.0;
                    last_timed = Some(lot.bout);
                }
            }
        }
        lags.sort_unstable_by(f64::total_cmp);
        Self::of_sorted(&lags, missed, strays, aim, (timed_marks, minutes))
    }

    fn of_sorted(
        lags: &[f64],
        missed: usize,
        strays: usize,
        aim: Aim,
        (timed_marks, minutes): (usize, f64),
    ) -> Self {
        let count = |outcome| lags.iter().filter(|l| aim.judge(**l) == outcome).count();
        let moments = lags.len() + missed;
        let interval = median_interval_of_sorted(lags, 0.95);
        let quantile = |p| quantile_of_sorted(lags, p);
        Self {
            lags: lags.len(),
            on_time: Share::new(count(Outcome::OnTime), moments),
            early: count(Outcome::Early),
            late: count(Outcome::Late),
            missed: Share::new(missed, moments),
            stray: Share::new(strays, lags.len() + strays),
            median_ms: median_of_sorted(lags),
            low_ms: interval.map(|i| i.low),
            high_ms: interval.map(|i| i.high),
            spread_ms: quantile(0.75)
                .zip(quantile(0.25))
                .map(|(high, low)| high - low)
                .filter(|_| lags.len() >= SPREAD_FROM),
            per_minute: (minutes > 0.0).then(|| timed_marks as f64 / minutes),
        }
    }
}
