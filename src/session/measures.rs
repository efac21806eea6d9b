//! What a session comes to, as numbers.

use serde::{Deserialize, Serialize};

use crate::measure::Summary;
use crate::measure::observer::Corrected;
use crate::measure::proportion::Share;
use crate::measure::session::{Lean, Pace, Waits};
use crate::timeline::Pair;

/// What a session comes to. `None` is what the keys that were pressed cannot
/// tell: with marks alone there are a pace and waits, and nothing is called
/// stray or unpaid; nor is anything stray where fewer moments were noted than
/// half of the marks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionMeasures {
    /// Length in seconds, breaks and all.
    pub length_s: f64,
    /// Marks a minute.
    pub pace: Pace,
    /// Marks heard.
    pub marks: usize,
    /// Treats noted; `None` when none was.
    pub treats: Option<usize>,
    /// Treats that pay no mark.
    pub extra_treats: Option<usize>,
    /// Marks that no treat followed, out of all marks.
    pub unpaid: Option<Share>,
    /// The median treat gap in seconds.
    pub treat_gap_s: Option<f64>,
    /// The longest treat gap in seconds.
    pub longest_treat_gap_s: Option<f64>,
    /// The median answer time in seconds.
    pub answer_s: Option<f64>,
    /// Unasked offers that were noted.
    pub offers: usize,
    /// Marks that no moment earned and that follow an unasked offer.
    pub marks_on_offers: usize,
    /// The moments that were noted, with their marks.
    pub pairs: Vec<Pair>,
    /// Their measures; `None` when no moment was noted. Its `stray` is out of nothing
    /// when nothing is called stray.
    pub lags: Option<Summary>,
    /// The lags with the observer taken off, where the observer is known.
    pub corrected: Option<Corrected>,
    /// The steps in order of first appearance.
    pub steps: Vec<StepMeasures>,
    /// The behaviours as wholes, in the same order.
    pub behaviours: Vec<StepMeasures>,
    /// Pairing the bridge; `None` when that was not practised.
    pub pairing: Option<PairingMeasures>,
    /// Stretches of lost sound.
    pub gaps: usize,
    /// How far the wall clock moved against the session's, in seconds, at most.
    pub clock_moved_s: Option<f64>,
}

/// One step of a behaviour, or a whole behaviour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepMeasures {
    /// The behaviour's name.
    pub behaviour: String,
    /// The step's number; 0 for the whole behaviour.
    pub step: u32,
    /// What earns the mark; empty for the whole behaviour.
    pub earns: String,
    /// How often it was asked for.
    pub asked: usize,
    /// Tries: asked or not.
    pub tries: usize,
    /// Tries that reached the step.
    pub reached: usize,
    /// Near misses.
    pub near_misses: usize,
    /// Cues that nothing answered.
    pub no_answers: usize,
    /// Marks.
    pub marks: usize,
    /// Moments marked on time.
    pub on_time: usize,
    /// Moments marked early.
    pub early: usize,
    /// Moments marked late.
    pub late: usize,
    /// Moments not marked.
    pub missed: usize,
    /// Marks that no moment earned; `None` when fewer moments were noted than half
    /// of the session's marks.
    pub strays: Option<usize>,
    /// Marks that no treat followed; `None` when no treat was noted at all.
    pub unpaid: Option<usize>,
    /// The median lag in milliseconds.
    pub lag_ms: Option<f64>,
    /// The median answer time in seconds.
    pub answer_s: Option<f64>,
    /// The median treat gap in seconds.
    pub treat_gap_s: Option<f64>,
    /// The latest ten tries as signs, the latest last: + reached, ~ near miss,
    /// - no answer.
    pub last_ten: String,
    /// Where the tries lean.
    pub lean: Lean,
}

/// Pairing the bridge with food.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairingMeasures {
    /// Marks.
    pub marks: usize,
    /// Marks that no treat followed; `None` when no treat was noted at all.
    pub unpaid: Option<usize>,
    /// Median treat gap in seconds.
    pub treat_gap_s: Option<f64>,
    /// Interquartile range of the treat gaps in seconds.
    pub treat_gap_spread_s: Option<f64>,
    /// The waits from mark to mark.
    pub waits: Waits,
    /// Marks at which the animal visibly expected food, out of all; `None` when
    /// nothing of the kind was noted.
    pub answered: Option<Share>,
}
