//! What can happen in a session.

use serde::{Deserialize, Serialize};

use crate::timeline::event::{MomentSource, Sound};

/// One thing that happened, with its instant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionEvent {
    /// Seconds from the session's first sample.
    pub t_s: f64,
    /// Standard uncertainty of the instant in milliseconds.
    pub u_ms: f64,
    /// Where it was learned from. A cue may be heard as well as keyed.
    pub source: MomentSource,
    /// What happened.
    pub what: Happened,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Happened {
    /// The bridge was heard.
    Mark(Sound),
    /// The behaviour was asked for.
    Cue,
    /// The behaviour reached its step. While the bridge is being paired: the
    /// animal visibly expected food.
    Reached,
    /// Close, but not what the step asks.
    NearMiss,
    /// Something that is on cue was offered unasked.
    Offer,
    /// A treat was given.
    Treat,
    /// A break begins.
    Break,
    /// The break ends.
    Resume,
    /// From now on another thing of the plan is practised, counted from 0.
    Turn {
        /// Its place in the plan.
        item: usize,
    },
    /// From now on another step of the same behaviour is asked.
    Step {
        /// The step's number, from 1.
        number: u32,
    },
    /// Words of the trainer.
    Note(String),
    /// Sound was lost here.
    Gap {
        /// Its length in milliseconds.
        missing_ms: f64,
    },
    /// The wall clock moved against the session's clock: it was set, or the
    /// computer slept.
    ClockMoved {
        /// How far, in seconds; positive is forwards.
        by_s: f64,
    },
    /// An earlier event counts no longer, or counts again.
    Aside {
        /// The event's number.
        target: i64,
        /// Whether it is set aside or taken back in.
        is_aside: bool,
    },
}

impl Happened {
    /// The word for what carries nothing but its instant, as files and the
    /// journal have it.
    pub fn plain_word(&self) -> Option<&'static str> {
        PLAIN
            .iter()
            .find(|(_, what)| what == self)
            .map(|(word, _)| *word)
    }

    /// What a plain word stands for.
    pub fn from_plain_word(word: &str) -> Option<Self> {
        PLAIN
            .iter()
            .find(|(known, _)| *known == word)
            .map(|(_, what)| what.clone())
    }
}

/// The plain words, in the order in which help shows them.
pub(super) const PLAIN: [(&str, Happened); 7] = [
    ("cue", Happened::Cue),
    ("reached", Happened::Reached),
    ("near_miss", Happened::NearMiss),
    ("offer", Happened::Offer),
    ("treat", Happened::Treat),
    ("break", Happened::Break),
    ("resume", Happened::Resume),
];
