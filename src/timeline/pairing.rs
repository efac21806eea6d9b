//! Which mark belongs to which moment.
//!
//! **Objective.** A moment and a mark may be paired when the lag (mark − moment)
//! lies inside the [`Window`], ends included. With `w` the wider side of the
//! window, a pair costs its |lag| and every event left alone (a missed moment or
//! a stray mark) costs `w / 2`. The assignment with the least total cost is
//! taken, each moment and each mark being used at most once and no two pairs
//! crossing in time.
//!
//! So two lone events inside the window are always paired (|lag| ≤ w), yet one
//! miss and one stray do not push every later mark onto its neighbour's moment,
//! as they would if the number of pairs came before everything else. A pairing
//! that does not cross is no dearer than any that does, because |lag| is convex;
//! the optimum is that of the general assignment problem, which is what the tests
//! compare it with.
//!
//! **Ties.** Lags are compared in whole nanoseconds, which makes equal costs
//! exactly equal. Of equally cheap assignments the one whose marks come later
//! after their moments is taken: a mark as a rule follows what it marks. What is
//! still equal goes to the earlier events.
//!
//! **Input.** The lists need not be in order: they are sorted. Equal times are
//! separate events, each paired or left alone. Times that are not finite are
//! left out. An empty list leaves every event of the other one alone.
//!
//! **Cost.** One byte and one step for each pair of events inside the window
//! (at most one byte for each moment times mark), beside memory linear in the
//! events.

use super::event::{Aim, MomentId, Outcome, Pair, SoundId};

/// The widest side a window may have, in milliseconds (ten minutes).
pub const WIDEST_WINDOW_MS: f64 = 600_000.0;

/// How far from its moment a mark may lie and still belong to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    before_ms: f64,
    after_ms: f64,
}

/// A window that cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "the window's {side} side is {value_ms} ms; give a number of milliseconds from 0 to {WIDEST_WINDOW_MS}"
)]
pub struct WindowError {
    /// "before" or "after".
    pub side: &'static str,
    /// What was given, in milliseconds.
    pub value_ms: f64,
}

impl Window {
    /// A window from `before_ms` before the moment to `after_ms` after it; each
    /// from 0 to [`WIDEST_WINDOW_MS`].
    pub fn new(before_ms: f64, after_ms: f64) -> Result<Self, WindowError> {
        for (side, value_ms) in [("before", before_ms), ("after", after_ms)] {
            if !(0.0..=WIDEST_WINDOW_MS).contains(&value_ms) {
                return Err(WindowError { side, value_ms });
            }
        }
        Ok(Self {
            before_ms,
            after_ms,
        })
    }

    /// The earliest lag inside the window, as a positive number of milliseconds.
    pub fn before_ms(self) -> f64 {
        self.before_ms
    }

    /// The latest lag inside the window, in milliseconds.
    pub fn after_ms(self) -> f64 {
        self.after_ms
    }
}

/// Pairs moments with marks and judges each lag against the aim.
///
/// Times in seconds. Gives every finite moment and mark exactly once, named by its
/// place in its list and ordered by the moment's time (a stray's by its mark's);
/// `u_ms` is left `None` for whoever knows the uncertainty. See the module for
/// objective, ties, input and cost.
pub fn pair(moments_s: &[f64], marks_s: &[f64], window: Window, aim: Aim) -> Vec<Pair> {
    let (moment_at, moments) = sorted_finite(moments_s);
    let (mark_at, marks) = sorted_finite(marks_s);
    let mark_of = assign(&moments, &marks, window);

    let mut alone = vec![true; marks.len()];
    let mut pairs = Vec::with_capacity(moments.len() + marks.len());
    for (i, (&moment_s, &mark)) in moments.iter().zip(&mark_of).enumerate() {
        let lag_ms = mark.map(|j| (marks[j] - moment_s) * 1000.0);
        if let Some(j) = mark {
            alone[j] = false;
        }
        pairs.push(Pair {
            moment: Some(MomentId::at(moment_at[i])),
            mark: mark.map(|j| SoundId::at(mark_at[j])),
            moment_s: Some(moment_s),
            mark_s: mark.map(|j| marks[j]),
            lag_ms,
            outcome: lag_ms.map_or(Outcome::Missed, |lag_ms| aim.judge(lag_ms)),
            u_ms: None,
        });
    }
    for j in (0..marks.len()).filter(|j| alone[*j]) {
        pairs.push(Pair {
            moment: None,
            mark: Some(SoundId::at(mark_at[j])),
            moment_s: None,
            mark_s: Some(marks[j]),
            lag_ms: None,
            outcome: Outcome::Stray,
            u_ms: None,
        });
    }
    let time = |p: &Pair| p.moment_s.or(p.mark_s).unwrap_or(0.0);
    // Stable: at equal times a moment stands before a stray.
    pairs.sort_by(|a, b| time(a).total_cmp(&time(b)));
    pairs
}

/// The finite times in order, and the place of each in the list.
fn sorted_finite(times_s: &[f64]) -> (Vec<usize>, Vec<f64>) {
    let all = times_s.iter().copied().enumerate();
    let mut times: Vec<(usize, f64)> = all.filter(|(_, t)| t.is_finite()).collect();
    times.sort_by(|a, b| a.1.total_cmp(&b.1));
    times.into_iter().unzip()
}

/// What an assignment of the first events is worth: first the cost it saves
/// against leaving everything alone, then how late its marks are, both in
/// nanoseconds. Compared in that order; sums keep the order, so that dynamic
/// programming finds the best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
struct Worth {
    saved_ns: i64,
    lateness_ns: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    MomentAlone,
    MarkAlone,
    Together,
}

/// For each moment the index of its mark. Both lists ascending and finite.
///
/// Row `i` of the table holds the best worth of the first `i` moments with the
/// first `j` marks, for the `j` the `i`-th moment's window reaches: below the
/// window nothing changes from row to row, above it nothing changes along a row.
fn assign(moments: &[f64], marks: &[f64], window: Window) -> Vec<Option<usize>> {
    let widest_ns = ns(window.before_ms.max(window.after_ms));
    let mut steps: Vec<Step> = Vec::new();
    // For each moment: the first mark of its window, and where its steps start.
    let mut rows: Vec<(usize, usize)> = Vec::with_capacity(moments.len());
    let (mut above_lo, mut above) = (0, vec![Worth::default()]);
    let (mut lo, mut hi) = (0, 0);

    for &moment in moments {
        let lag_ns = |mark: f64| ns((mark - moment) * 1000.0);
        while lo < marks.len() && lag_ns(marks[lo]) < -ns(window.before_ms) {
            lo += 1;
        }
        hi = hi.max(lo);
        while hi < marks.len() && lag_ns(marks[hi]) <= ns(window.after_ms) {
            hi += 1;
        }
        let above_at = |j: usize| above[(j - above_lo).min(above.len() - 1)];

        rows.push((lo, steps.len()));
        let mut row = Vec::with_capacity(hi - lo + 1);
        row.push(above_at(lo));
        for j in lo..hi {
            let lag = lag_ns(marks[j]);
            let before = above_at(j);
            let together = Worth {
                // One nanosecond more, so that a lag at the window's end is a pair.
                saved_ns: before.saved_ns + widest_ns + 1 - lag.abs(),
                lateness_ns: before.lateness_ns + lag,
            };
            let mark_alone = row[j - lo];
            let moment_alone = above_at(j + 1);
            // At equal worth: leave the later event alone, which pairs the earlier.
            let (step, worth) = if moment_alone >= together && moment_alone >= mark_alone {
                (Step::MomentAlone, moment_alone)
            } else if mark_alone >= together {
                (Step::MarkAlone, mark_alone)
            } else {
                (Step::Together, together)
            };
            steps.push(step);
            row.push(worth);
        }
        (above_lo, above) = (lo, row);
    }
    walk_back(&rows, &steps, marks.len())
}

/// Follows the steps from the last moment and mark back to the first.
fn walk_back(rows: &[(usize, usize)], steps: &[Step], marks: usize) -> Vec<Option<usize>> {
    let mut mark_of = vec![None; rows.len()];
    let mut j = marks;
    for (i, &(lo, start)) in rows.iter().enumerate().rev() {
        let end = rows.get(i + 1).map_or(steps.len(), |next| next.1);
        let hi = lo + (end - start);
        // Above the window the marks are alone; below it, the moment is.
        j = j.min(hi);
        while j > lo {
            match steps[start + (j - 1 - lo)] {
                Step::MarkAlone => j -= 1,
                Step::MomentAlone => break,
                Step::Together => {
                    j -= 1;
                    mark_of[i] = Some(j);
                    break;
                }
            }
        }
    }
    mark_of
}

/// Milliseconds to whole nanoseconds; far beyond any window it saturates.
fn ns(ms: f64) -> i64 {
    (ms * 1e6).round() as i64
}

#[cfg(test)]
#[path = "pairing_tests.rs"]
mod tests;
