//! What each part of a set-up adds to the standard uncertainty of one lag.

use super::facts::{Facts, Hand};
use crate::measure::budget::{Budget, Source};
use crate::measure::uncertainty::rectangular;
use crate::review::way_u_ms;

/// What marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// A click.
    Click,
    /// A spoken word.
    Word,
}

impl Mark {
    /// In a word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Click => "click",
            Self::Word => "word",
        }
    }
}

/// A mark and what is set against it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Use<'a> {
    /// The mark.
    pub mark: Mark,
    /// What is set against it.
    pub against: Against<'a>,
}

/// What is set against a mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Against<'a> {
    /// Another sound, as a ball's.
    Sound,
    /// A key or a pedal.
    Hand(&'a Hand),
}

/// A ball that hardly stands out is placed about this exactly, in ms: what the ear
/// states at 15 dB, in the middle (docs/accuracy.md).
const FAINT_BANG_U_MS: f64 = 0.3;
/// The clock's rate matters over a lag's length; a long one, in ms.
const LONG_LAG_MS: f64 = 1_000.0;
/// Delays of keyboards from the slowest to the quickest, in ms: Shimizu H
/// (2002), Behav Res Methods Instrum Comput 34:250–256.
const KEYBOARDS_MS: (f64, f64) = (11.0, 73.0);

/// The parts, or `None` when something is not known yet: no taught sound of that
/// kind was heard, or the clock was not watched for long enough.
pub fn budget(facts: &Facts, of: Use<'_>) -> Option<Budget> {
    let heard: Vec<f64> = match of.mark {
        Mark::Click => facts.clickers.iter().filter_map(|c| c.u_ms).collect(),
        Mark::Word => facts.words.iter().filter_map(|w| w.heard.u_ms).collect(),
    };
    // The worst of them: the verdict holds for all that were heard.
    let mark_u_ms = heard.into_iter().reduce(f64::max)?;
    let way = way_u_ms(facts.known_within_m);
    let mut parts = vec![(Source::MarkOnset, Some(mark_u_ms)), (Source::MarkWay, way)];
    match of.against {
        Against::Sound => {
            let bang_u_ms = facts.bang_u_ms.unwrap_or(FAINT_BANG_U_MS);
            parts.push((Source::MomentOnset, Some(bang_u_ms)));
            parts.push((Source::MomentWay, way));
            if let Some(drift_ppm) = facts.clock.and_then(|c| c.drift_ppm) {
                let off_ms = drift_ppm.abs() * 1e-6 * LONG_LAG_MS;
                parts.push((Source::ClockRate, rectangular(off_ms)));
            }
        }
        Against::Hand(hand) => {
            let clock = facts.clock.filter(|c| c.is_settled)?;
            parts.push((Source::ClockFit, clock.u_ms));
            parts.push(match hand.u_ms {
                Some(u_ms) => (Source::Key, Some(u_ms)),
                None => (Source::KeyUnknown, Some(unknown_key_u_ms())),
            });
        }
    }
    Budget::new(parts)
}

/// The same with the hand of whoever keys the moments; `None` where that was not
/// measured or no hand is used.
pub fn budget_with_presser(facts: &Facts, of: Use<'_>) -> Option<Budget> {
    let Against::Hand(_) = of.against else {
        return None;
    };
    let presser = facts.presser.as_ref()?;
    let parts = budget(facts, of)?;
    let parts = parts.parts().iter().map(|p| (p.source, Some(p.u_ms)));
    Budget::new(parts.chain([(Source::Presser, Some(presser.spread_ms))]))
}

/// Root mean square of a delay that may be anything between the quickest and the
/// slowest keyboard and is not taken off, in ms.
fn unknown_key_u_ms() -> f64 {
    let (low, high) = KEYBOARDS_MS;
    ((high.powi(3) - low.powi(3)) / (3.0 * (high - low))).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: (73³ − 11³) / (3·62) = 387 686 / 186 = 2084.33; its root 45.65.
    #[test]
    fn a_key_of_unknown_delay() {
        assert!((unknown_key_u_ms() - 45.654).abs() < 0.001);
    }
}
