//! What each part of a set-up adds to the standard uncertainty of one lag.

use super::facts::{Facts, Hand};
use crate::measure::uncertainty::{Contribution, rectangular};
use crate::review::way_of;

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

/// A bang that hardly stands out is placed this exactly, in ms (the ear's own
/// figure at its threshold).
const FAINT_BANG_U_MS: f64 = 0.3;
/// The clock's rate matters over a lag's length; a long one, in ms.
const LONG_LAG_MS: f64 = 1_000.0;
/// Delays of keyboards from the slowest to the quickest, in ms: Shimizu H
/// (2002), Behav Res Methods Instrum Comput 34:250–256.
const KEYBOARDS_MS: (f64, f64) = (11.0, 73.0);

/// The parts, or `None` when something is not known yet: no taught sound of that
/// kind was heard, or the clock was not watched for long enough.
pub fn budget(facts: &Facts, of: Use<'_>) -> Option<Vec<Contribution>> {
    let heard: Vec<f64> = match of.mark {
        Mark::Click => facts.clickers.iter().filter_map(|c| c.u_ms).collect(),
        Mark::Word => facts.words.iter().filter_map(|w| w.heard.u_ms).collect(),
    };
    // The worst of them: the verdict holds for all that were heard.
    let mark_u_ms = heard.into_iter().reduce(f64::max)?;
    let mark = of.mark.name();
    let mut parts = vec![
        Contribution::new(format!("onset of the {mark}"), mark_u_ms),
        way_of(&format!("the {mark}'s sound"))?,
    ];
    match of.against {
        Against::Sound => {
            parts.push(Contribution::new(
                "onset of the other sound",
                facts.bang_u_ms.unwrap_or(FAINT_BANG_U_MS),
            ));
            parts.push(way_of("the other sound")?);
            if let Some(drift_ppm) = facts.clock.and_then(|c| c.drift_ppm) {
                let off_ms = drift_ppm.abs() * 1e-6 * LONG_LAG_MS;
                parts.push(Contribution::new(
                    "rate of the microphone's clock",
                    rectangular(off_ms)?,
                ));
            }
        }
        Against::Hand(hand) => {
            let clock = facts.clock.filter(|c| c.is_settled)?;
            parts.push(Contribution::new("fit of the two clocks", clock.u_ms?));
            parts.push(match hand.u_ms {
                Some(u_ms) => Contribution::new("key, its delay taken off", u_ms),
                None => Contribution::new("key, its delay not known", unknown_key_u_ms()),
            });
        }
    }
    Some(parts)
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
