//! What to practise next, by a rule that is told with it.

use serde::{Deserialize, Serialize};

use super::Progress;
use crate::timeline::MomentKind;

/// Fewest recent moments that a skill is judged by.
const FEWEST_MOMENTS: usize = 10;

/// The rule, as it is told.
pub const RULE: &str = "The kind of moment with the smallest share on time over its last five \
days of practice comes next; what to watch is what went wrong most often there: missed, late, \
early, or marks for nothing. Kinds with fewer than ten moments in those days are not judged.";

/// What went wrong most often.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Weakness {
    /// Moments went by without a mark.
    Missed,
    /// Marks came after the aim.
    Late,
    /// Marks came before the aim.
    Early,
    /// Marks that no moment earned.
    Stray,
    /// Nothing: the goal is reached in every kind that was judged.
    None,
}

/// The next drill.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Suggestion {
    /// Which kind of moment.
    pub kind: MomentKind,
    /// What to watch.
    pub weakness: Weakness,
    /// The share on time there, 0 to 1.
    pub on_time_share: f64,
}

/// The suggestion from the progress in each kind, with rows by day; `None` when
/// no kind has moments enough.
pub fn suggest(kinds: &[Progress]) -> Option<Suggestion> {
    let judged = kinds
        .iter()
        .filter(|p| p.goal.now.of >= FEWEST_MOMENTS)
        .filter_map(|p| Some((p, p.goal.now.share?)));
    let (weakest, on_time_share) = judged.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let reached = on_time_share >= weakest.goal.wanted_share;
    let recent = &weakest.rows[weakest.rows.len().saturating_sub(super::RECENT_DAYS)..];
    let count = |of: fn(&super::Figures) -> usize| -> usize {
        recent.iter().map(|row| of(&row.figures)).sum()
    };
    // Of equals the one that stands first here.
    let faults = [
        (Weakness::Missed, count(|f| f.missed.count)),
        (Weakness::Late, count(|f| f.late)),
        (Weakness::Early, count(|f| f.early)),
        (Weakness::Stray, count(|f| f.stray.count)),
    ];
    let mut worst = (Weakness::None, 0);
    for fault in faults {
        if fault.1 > worst.1 {
            worst = fault;
        }
    }
    Some(Suggestion {
        kind: weakest.kind,
        weakness: if reached { Weakness::None } else { worst.0 },
        on_time_share,
    })
}
