//! Which of two yardsticks a set of lags is held against.

use serde::{Deserialize, Serialize};

use crate::timeline::MomentKind;

/// The two tasks are different skills, so their lags are never pooled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Yardstick {
    /// The moment can be seen coming (floor, top): coincidence-anticipation
    /// timing, told by constant, absolute and variable error. Slightly early is
    /// usual.
    Anticipation,
    /// The moment cannot be seen coming (behaviour, release): reaction time,
    /// told by the median and the late tail.
    Reaction,
}

impl Yardstick {
    /// The yardstick of one kind of moment.
    pub fn of(kind: MomentKind) -> Self {
        if kind.is_predictable() {
            Self::Anticipation
        } else {
            Self::Reaction
        }
    }

    /// The yardstick that all kinds share; `None` for no kinds, or for kinds
    /// that need different ones and so should be summarised apart.
    pub fn shared(kinds: impl IntoIterator<Item = MomentKind>) -> Option<Self> {
        let mut kinds = kinds.into_iter().map(Self::of);
        let first = kinds.next()?;
        kinds.all(|other| other == first).then_some(first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_that_differ_in_task_are_not_pooled() {
        use MomentKind::{Behaviour, Floor, Release, Top};
        assert_eq!(
            Yardstick::shared([Floor, Top]),
            Some(Yardstick::Anticipation)
        );
        assert_eq!(
            Yardstick::shared([Behaviour, Release]),
            Some(Yardstick::Reaction)
        );
        assert_eq!(Yardstick::shared([Floor, Behaviour]), None);
        assert_eq!(Yardstick::shared([]), None);
    }
}
