//! One sentence of advice, by a rule that docs/method.md states.

use crate::measure::{Summary, Yardstick};

/// Fewer lags than this say too little.
pub const ENOUGH_LAGS: usize = 5;
/// More misses or strays than this share come first.
pub const TOO_MANY: f64 = 0.2;
/// More strays than this share say that drops were not heard, rather than that the
/// trainer clicked for nothing.
pub const MOSTLY: f64 = 0.6;
/// A variable error (divisor n − 1) beyond this share of the aim's width is wide.
pub const WIDE: f64 = 0.5;

/// Why there is no advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{n} lags are too few for advice; it takes {ENOUGH_LAGS}")]
pub struct TooFewToAdvise {
    /// How many there are.
    pub n: usize,
}

/// The one thing to try next. In this order: drops that were not heard, misses, strays, a median outside the
/// aim, marks far apart, and else that it goes well. The shares are conventions of
/// this program.
///
/// # Errors
/// Fewer than five lags and few misses.
pub fn advice(summary: &Summary) -> Result<&'static str, TooFewToAdvise> {
    if summary.n_marks >= ENOUGH_LAGS && summary.stray.share.unwrap_or(0.0) > MOSTLY {
        return Ok(
            "Most marks have no drop beside them: more likely the drops were not heard than you \
             clicked for nothing. Drop on a hard floor near the microphone, let the ball bounce, \
             and tell the height with --height.",
        );
    }
    let is_reaction = summary.yardstick == Yardstick::Reaction;
    let share = |s: Option<f64>| s.unwrap_or(0.0);
    if summary.n_moments >= ENOUGH_LAGS && share(summary.missed.share) > TOO_MANY {
        return Ok(
            "More than one drop in five was missed: click each time, however late, and put the \
             microphone nearer to the clicker if you did.",
        );
    }
    if summary.n_marks >= ENOUGH_LAGS && share(summary.stray.share) > TOO_MANY {
        return Ok(
            "More than one mark in five belonged to no drop: keep the thumb still until the ball \
             is on its way.",
        );
    }
    if summary.n_lags < ENOUGH_LAGS {
        return Err(TooFewToAdvise { n: summary.n_lags });
    }
    let median_ms = summary.median_ms.unwrap_or(0.0);
    let width_ms = summary.aim.to_ms - summary.aim.from_ms;
    if median_ms < summary.aim.from_ms {
        return Ok(if is_reaction {
            "You mark before you can have seen it: wait until it has happened, then mark."
        } else {
            "You are early: keep your eyes on the floor where the ball will land, not on the hand, \
             and let it arrive."
        });
    }
    if median_ms > summary.aim.to_ms {
        return Ok(if is_reaction {
            "You are late: rest the thumb on the clicker with the slack taken up, and look at \
             nothing but the hand."
        } else {
            "You are late: follow the ball with your eyes all the way and begin to press while it \
             is still falling."
        });
    }
    if summary
        .variable_error_n1_ms
        .is_some_and(|ve| ve > WIDE * width_ms)
    {
        return Ok(
            "The middle is right but the marks are far apart: stand and hold the clicker the same \
             way each time, and take fewer drops before a rest.",
        );
    }
    Ok(
        "The middle is inside your aim and the marks lie close together: narrow the aim, or add catch drops with --catch.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::summarise;
    use crate::timeline::{Aim, Outcome, Pair};

    const AIM: Aim = Aim {
        from_ms: -50.0,
        to_ms: 50.0,
    };

    fn told(
        lags: &[f64],
        missed: usize,
        strays: usize,
        yardstick: Yardstick,
    ) -> Result<&'static str, TooFewToAdvise> {
        let mut pairs: Vec<Pair> = lags
            .iter()
            .map(|lag| Pair {
                moment: None,
                mark: None,
                moment_s: Some(1.0),
                mark_s: Some(1.0 + lag / 1e3),
                lag_ms: Some(*lag),
                outcome: AIM.judge(*lag),
                u_ms: None,
            })
            .collect();
        let alone = |moment_s, mark_s, outcome| Pair {
            moment: None,
            mark: None,
            moment_s,
            mark_s,
            lag_ms: None,
            outcome,
            u_ms: None,
        };
        pairs.extend((0..missed).map(|_| alone(Some(1.0), None, Outcome::Missed)));
        pairs.extend((0..strays).map(|_| alone(None, Some(1.0), Outcome::Stray)));
        advice(&summarise(&pairs, yardstick, AIM))
    }

    #[test]
    fn each_trouble_has_its_advice_the_worst_first() {
        use Yardstick::{Anticipation, Reaction};
        let late = [80.0; 8];
        assert!(told(&late, 3, 9, Anticipation).unwrap().contains("missed"));
        assert!(told(&late, 2, 3, Anticipation).unwrap().contains("no drop"));
        assert!(
            told(&late, 2, 2, Anticipation)
                .unwrap()
                .starts_with("You are late: follow")
        );
        assert!(
            told(&late, 0, 0, Reaction)
                .unwrap()
                .starts_with("You are late: rest")
        );
        let early = [-80.0; 8];
        assert!(
            told(&early, 0, 0, Anticipation)
                .unwrap()
                .starts_with("You are early")
        );
        assert!(told(&early, 0, 0, Reaction).unwrap().contains("wait until"));
        // VE (n − 1) of ±48 and 4 zeros out of six: √(2·48²/5) = 30; aim 100 wide.
        let steady = [-48.0, 48.0, 0.0, 0.0, 0.0, 0.0];
        assert!(
            told(&steady, 0, 0, Anticipation)
                .unwrap()
                .contains("narrow the aim")
        );
        // ±60 and ±60 and one zero: √(4·60²/4) = 60.
        let wide = [-60.0, 60.0, 0.0, -60.0, 60.0];
        assert!(
            told(&wide, 0, 0, Anticipation)
                .unwrap()
                .contains("far apart")
        );
    }

    /// Twenty marks, and of the drops two alone were found, where bounces lie: that is
    /// no fault of the trainer's.
    #[test]
    fn marks_without_drops_are_not_the_trainers_fault() {
        let advice = told(&[80.0; 2], 2, 18, Yardstick::Anticipation).unwrap();
        assert!(advice.contains("not heard"), "{advice}");
        assert!(advice.contains("--height"));
    }

    #[test]
    fn few_lags_get_none() {
        let few = told(&[80.0; 4], 0, 0, Yardstick::Anticipation);
        assert_eq!(few, Err(TooFewToAdvise { n: 4 }));
        assert!(told(&[], 5, 0, Yardstick::Reaction).is_ok());
        assert!(told(&[], 0, 0, Yardstick::Reaction).is_err());
    }
}
