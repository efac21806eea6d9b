//! What a session with an animal comes to: log and plan in, all measures out; and
//! how it goes on from one event to the next. Pure; the live session, the
//! recording afterwards and the journal years later come to the same numbers.

mod again;
mod course;
mod looking;
mod measures;
mod sections;

use serde::{Deserialize, Serialize};

use crate::ear::word::WordAt;
use crate::measure::median::median;
use crate::measure::observer::{Observer, correct};
use crate::measure::proportion::Share;
use crate::measure::session::{SessionRules, waits};
use crate::measure::{Summary, Yardstick, summarise};
use crate::review::DISTANCE_HALF_WIDTH_M;
use crate::timeline::session::{ActKind, Happened, Log};
use crate::timeline::{Aim, Plan};

pub use again::{FILE_U_MS, log_of_lines, reheard, with_marks_of};
pub use course::{Course, Deed, Done, Input, Refusal};
pub use looking::Looking;
pub use measures::{PairingMeasures, SessionMeasures, StepMeasures};

/// All that a session is judged by; kept with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// What was planned.
    pub plan: Plan,
    /// Windows, bars and warnings.
    pub rules: SessionRules,
    /// The lags that count as on time.
    pub aim: Aim,
    /// How early a mark may be and still belong to its moment, in milliseconds.
    pub before_ms: f64,
    /// How late, in milliseconds.
    pub after_ms: f64,
    /// From the microphone to the clicker or the mouth, in metres.
    pub clicker_m: f64,
    /// Plus or minus how many metres that is known.
    #[serde(default = "known_within_m")]
    pub known_within_m: f64,
    /// How the person who keys the moments presses, where that is known.
    pub observer: Option<Observer>,
    /// Where in a spoken mark the mark is stamped.
    #[serde(default, skip_serializing_if = "WordAt::is_onset")]
    pub word_at: WordAt,
}

/// What stood for every session before it was kept.
fn known_within_m() -> f64 {
    DISTANCE_HALF_WIDTH_M
}

/// All measures of a session whose last instant is `end_s`.
pub fn measure(log: &Log, setup: &Setup, end_s: f64) -> SessionMeasures {
    measure_looked(log, setup, &Looking::at(log, setup, end_s, true))
}

/// The measures of a look at a session.
pub fn measure_looked(log: &Log, setup: &Setup, at: &Looking) -> SessionMeasures {
    let marks = at.times(ActKind::Mark).len();
    let noted = at.paid.treats > 0;
    let gaps: Vec<f64> = at.paid.paid.iter().map(|p| p.gap_s).collect();
    let answers: Vec<f64> = at.tries.iter().filter_map(|t| t.answer_s).collect();
    let raw: Vec<f64> = at.pairs.iter().filter_map(|p| p.lag_ms).collect();
    let has_moments = at.pairs.iter().any(|p| p.moment_s.is_some());
    let clock_moves = log.counted().into_iter().filter_map(|e| match e.what {
        Happened::ClockMoved { by_s } => Some(by_s),
        _ => None,
    });
    let whole = summarise(&at.pairs, Yardstick::Reaction, setup.aim);
    SessionMeasures {
        length_s: at.now_s,
        pace: at.pace(),
        marks,
        treats: noted.then_some(at.paid.treats),
        extra_treats: noted.then_some(at.paid.extra),
        unpaid: noted.then(|| Share::new(at.paid.unpaid.len(), marks)),
        treat_gap_s: median(&gaps),
        longest_treat_gap_s: gaps.iter().copied().reduce(f64::max),
        answer_s: median(&answers),
        offers: at.times(ActKind::Offer).len(),
        marks_on_offers: at.offer_strays_s.len(),
        lags: has_moments.then(|| Summary {
            stray: match at.tells_strays() {
                true => whole.stray,
                false => Share::new(0, 0),
            },
            ..whole
        }),
        corrected: setup
            .observer
            .as_ref()
            .filter(|_| has_moments)
            .and_then(|who| correct(&raw, who)),
        pairs: if has_moments {
            at.pairs.clone()
        } else {
            Vec::new()
        },
        steps: sections::steps(at, setup),
        behaviours: sections::behaviours(at, setup),
        pairing: sections::pairing(at, setup),
        gaps: log
            .counted()
            .iter()
            .filter(|e| matches!(e.what, Happened::Gap { .. }))
            .count(),
        clock_moved_s: clock_moves.reduce(|a, b| if b.abs() > a.abs() { b } else { a }),
    }
}

#[cfg(test)]
#[path = "session_tests.rs"]
mod tests;
