//! Tries: each cue with what came of it, and what came without a cue.

use serde::{Deserialize, Serialize};

use crate::timeline::session::{Act, ActKind};

/// What came of a try.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TryOutcome {
    /// The behaviour reached its step.
    Reached,
    /// Close.
    NearMiss,
    /// Asked, and nothing came in time.
    NoAnswer,
}

impl TryOutcome {
    /// The sign that stands for it in a row of tries.
    pub fn sign(self) -> char {
        match self {
            Self::Reached => '+',
            Self::NearMiss => '~',
            Self::NoAnswer => '-',
        }
    }
}

/// One try.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Try {
    /// The place in the plan, from 0.
    pub item: usize,
    /// The step's number.
    pub step: u32,
    /// When it began, in seconds: the cue, or the behaviour where there was none.
    pub t_s: f64,
    /// Whether it was asked for.
    pub was_asked: bool,
    /// What came of it.
    pub outcome: TryOutcome,
    /// From the cue to the behaviour that reached its step, in seconds.
    pub answer_s: Option<f64>,
}

/// The tries of a session, in order of time, up to `end_s`.
///
/// A cue is answered by the first behaviour, reached or nearly, that comes within
/// `answer_within_s` and before the next cue. One whose time is not yet over is
/// no try yet. A behaviour that answers no cue is a try of its own: while a step
/// is built up, nothing is asked. The acts of pairing the bridge (step 0) are
/// left out.
pub fn tries(acts: &[Act], answer_within_s: f64, end_s: f64) -> Vec<Try> {
    let mut all = Vec::new();
    let mut open: Option<Act> = None;
    let no_answer = |cue: Act| Try {
        item: cue.item,
        step: cue.step,
        t_s: cue.t_s,
        was_asked: true,
        outcome: TryOutcome::NoAnswer,
        answer_s: None,
    };
    for act in acts.iter().filter(|a| a.step > 0) {
        let outcome = match act.kind {
            ActKind::Cue => {
                all.extend(open.replace(*act).map(no_answer));
                continue;
            }
            ActKind::Reached => TryOutcome::Reached,
            ActKind::NearMiss => TryOutcome::NearMiss,
            ActKind::Mark | ActKind::Treat | ActKind::Offer => continue,
        };
        let answered = match open.take() {
            Some(cue) if act.t_s - cue.t_s <= answer_within_s => Some(cue),
            late => {
                all.extend(late.map(no_answer));
                None
            }
        };
        all.push(Try {
            item: act.item,
            step: act.step,
            t_s: answered.map_or(act.t_s, |cue| cue.t_s),
            was_asked: answered.is_some(),
            outcome,
            answer_s: answered
                .filter(|_| outcome == TryOutcome::Reached)
                .map(|cue| act.t_s - cue.t_s),
        });
    }
    all.extend(
        open.filter(|cue| end_s - cue.t_s > answer_within_s)
            .map(no_answer),
    );
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn act(t_s: f64, kind: ActKind) -> Act {
        Act {
            number: 0,
            t_s,
            u_ms: 3.0,
            item: 0,
            step: 1,
            kind,
        }
    }

    /// By hand: two answers of 2 s and 4 s, a near miss, one cue passed over
    /// by the next, one too late and so a try of its own, one still open.
    #[test]
    fn a_session_by_hand() {
        use ActKind::{Cue, Mark, NearMiss, Reached, Treat};
        let acts = [
            (0.0, Cue),
            (2.0, Reached),
            (2.3, Mark),
            (4.0, Treat),
            (10.0, Cue),
            (14.0, Reached),
            (20.0, Cue),
            (21.0, NearMiss),
            (30.0, Cue),
            (33.0, Cue),
            (50.0, Reached),
            (60.0, Cue),
        ]
        .map(|(t_s, kind)| act(t_s, kind));
        let got = tries(&acts, 10.0, 65.0);
        let row: String = got.iter().map(|t| t.outcome.sign()).collect();
        assert_eq!(row, "++~--+");
        let answers: Vec<f64> = got.iter().filter_map(|t| t.answer_s).collect();
        assert_eq!(answers, [2.0, 4.0]);
        assert!(!got[5].was_asked);
        let later = tries(&acts, 10.0, 71.0);
        assert_eq!(later.len(), 7);
        assert_eq!(later[6].outcome, TryOutcome::NoAnswer);
    }

    #[test]
    fn pairing_is_no_try() {
        let acts = [Act {
            step: 0,
            ..act(1.0, ActKind::Reached)
        }];
        assert!(tries(&acts, 10.0, 9.0).is_empty());
    }
}
