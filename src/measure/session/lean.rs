//! Whether the tries of a step lean to asking for more, staying, or going a step
//! back: a rule of thumb, with the interval that says how little ten tries tell.

use serde::{Deserialize, Serialize};

use crate::measure::proportion::Share;
use crate::measure::session::{SessionRules, TryOutcome};

/// Where the evidence leans. Never an order: the animal has the last word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Leaning {
    /// To asking for a little more.
    More,
    /// To staying.
    Stay,
    /// To going a step back.
    Back,
    /// Too few tries.
    TooFew,
}

/// Where the latest tries of a step lean, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Lean {
    /// The leaning by the rule of thumb.
    pub leaning: Leaning,
    /// The tries it rests on, with Wilson's 95 % interval.
    pub reached: Share,
    /// Whether the interval shuts out the opposite bar: what leans to more cannot
    /// well be a case for going back, and the other way round.
    pub is_clear: bool,
}

/// Where the outcomes of a step's tries lean, in order of time, by the rules'
/// bars on the latest `judge_last` of them.
pub fn lean(outcomes: &[TryOutcome], rules: &SessionRules) -> Lean {
    let latest = &outcomes[outcomes.len().saturating_sub(rules.judge_last)..];
    let count = latest.iter().filter(|o| **o == TryOutcome::Reached).count();
    let reached = Share::new(count, latest.len());
    let share = reached.share.unwrap_or(0.0);
    let leaning = if latest.len() < rules.judge_last {
        Leaning::TooFew
    } else if share >= rules.more_from_share {
        Leaning::More
    } else if share <= rules.back_to_share {
        Leaning::Back
    } else {
        Leaning::Stay
    };
    let is_clear = match leaning {
        Leaning::More => reached.low.is_some_and(|low| low > rules.back_to_share),
        Leaning::Back => reached
            .high
            .is_some_and(|high| high < rules.more_from_share),
        Leaning::Stay | Leaning::TooFew => false,
    };
    Lean {
        leaning,
        reached,
        is_clear,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(reached: usize, missed: usize) -> Lean {
        let mut outcomes = vec![TryOutcome::NearMiss; missed];
        outcomes.extend(vec![TryOutcome::Reached; reached]);
        lean(&outcomes, &SessionRules::default())
    }

    /// Intervals: Wilson 1927, values computed with numpy (as in
    /// `measure::proportion`). The bars are common practice.
    #[test]
    fn eight_of_ten_leans_to_more_and_is_not_clear() {
        let eight = of(8, 2);
        assert_eq!((eight.leaning, eight.is_clear), (Leaning::More, false));
        assert!((eight.reached.low.unwrap() - 0.49016).abs() < 5e-6);
        assert!((eight.reached.high.unwrap() - 0.94332).abs() < 5e-6);
        let nine = of(9, 1);
        assert_eq!((nine.leaning, nine.is_clear), (Leaning::More, true));
        assert_eq!(of(7, 3).leaning, Leaning::Stay);
        assert_eq!(of(6, 4).leaning, Leaning::Stay);
        // 5 of 10 reaches up to 0.763, 80 % is shut out.
        let five = of(5, 5);
        assert_eq!((five.leaning, five.is_clear), (Leaning::Back, true));
        assert_eq!(of(9, 0).leaning, Leaning::TooFew);
        assert_eq!(of(0, 0).reached.share, None);
    }

    #[test]
    fn only_the_latest_tries_count() {
        let got = of(10, 30);
        assert_eq!((got.leaning, got.reached.of), (Leaning::More, 10));
    }
}
