//! What a drill is, before it begins.

use crate::ear::word::WordAt;
use crate::review::Rules;
use crate::timeline::MomentKind;

/// Where the moments come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// A real ball, by the sound of its bounces.
    Ball,
    /// A partner's key or pedal.
    Partner,
    /// A ball on the screen.
    Screen,
}

/// When lags are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Feedback {
    /// After each drop.
    Each,
    /// Only at the end.
    End,
}

/// What a drill is, before it begins.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// Which moment is to be marked.
    pub kind: MomentKind,
    /// Where it comes from.
    pub way: Way,
    /// What marks are judged by.
    pub rules: Rules,
    /// How many drops; `None` for as many as come.
    pub drops: Option<usize>,
    /// When lags are shown.
    pub feedback: Feedback,
    /// Seconds after an instant at which every mark at it is known: a word is known
    /// when it is over.
    pub known_after_s: f64,
    /// Where in a word its mark is stamped.
    pub word_at: WordAt,
}
