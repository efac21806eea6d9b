//! Can this set-up be trusted, and to how many milliseconds.
//!
//! The rule: the parts of `budget` are combined as the GUM does, and the result
//! is widened to hold 95 lags in 100, by the shapes of the parts. Up to 10 ms it can
//! be trusted, up to 30 ms roughly, beyond that not. These two are conventions of this program: a tenth
//! and a third of what trainers differ by from mark to mark. Findings can only
//! lower it.

use std::fmt;

use serde::Serialize;

use super::budget::{Against, Mark, Use, budget, budget_with_presser};
use super::facts::Facts;
use super::finding::{Finding, findings};
use crate::measure::budget::{Budget, Row};

/// Half-width in ms up to which a lag can be trusted: a convention.
const TRUSTED_MS: f64 = 10.0;
/// And up to which roughly: a convention.
const ROUGHLY_MS: f64 = 30.0;

/// How far something can be trusted, the least first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Trust {
    /// Not at all.
    No,
    /// It cannot be said yet.
    NotKnown,
    /// For large lags only.
    Roughly,
    /// Yes.
    Yes,
}

impl fmt::Display for Trust {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::No => "no",
            Self::NotKnown => "not known yet",
            Self::Roughly => "roughly",
            Self::Yes => "yes",
        })
    }
}

/// The verdict on one use.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// What is measured, in words.
    pub of: String,
    /// The same, short.
    pub short: String,
    /// How far it can be trusted.
    pub trust: Trust,
    /// Half-width in ms that holds 95 lags in 100; `None` when it is not known.
    pub within_ms: Option<f64>,
    /// What it is made of, the largest part first; empty when it is not known.
    pub parts: Vec<Row>,
    /// Half-width in ms with the hand of whoever keys the moments; `None` where that
    /// was not measured or plays no part. The verdict is on the set-up alone.
    pub with_presser_ms: Option<f64>,
}

impl fmt::Display for Judged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.of, self.trust)?;
        match (self.trust, self.within_ms) {
            (Trust::NotKnown, _) | (_, None) => Ok(()),
            (Trust::No, Some(ms)) if ms <= ROUGHLY_MS => f.write_str(", see below"),
            (Trust::No, Some(ms)) => {
                write!(f, ", a lag may be off by {ms:.0} ms")
            }
            (_, Some(ms)) => write!(f, ", to ±{} ms", tidy(ms)),
        }
    }
}

/// One digit below ten, none above; never rounded down.
fn tidy(ms: f64) -> String {
    if ms < 9.95 {
        format!("{:.1}", (ms * 10.0).ceil() / 10.0)
    } else {
        format!("{:.0}", ms.ceil())
    }
}

/// The verdict on a set-up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verdict {
    /// A click against another sound, then against each hand; then a word likewise,
    /// where one is taught.
    pub uses: Vec<Judged>,
    /// What stands in the way, in the order in which to mend it.
    pub findings: Vec<Finding>,
}

/// Judges what was seen.
pub fn verdict(facts: &Facts) -> Verdict {
    let findings = findings(facts);
    let has_clicks = !facts.clickers.is_empty() || facts.words.is_empty();
    let click = has_clicks.then_some(Mark::Click);
    let word = (!facts.words.is_empty()).then_some(Mark::Word);
    let mut uses = Vec::new();
    for mark in click.into_iter().chain(word) {
        let hands = facts.hands.iter().map(Against::Hand);
        for against in std::iter::once(Against::Sound).chain(hands) {
            uses.push(judge(facts, &findings, Use { mark, against }));
        }
    }
    Verdict { uses, findings }
}

fn judge(facts: &Facts, findings: &[Finding], of: Use<'_>) -> Judged {
    let mark = of.mark.name();
    let (words, short) = match of.against {
        Against::Sound => (
            format!("A {mark} against a sound (a ball)"),
            "ball".to_owned(),
        ),
        Against::Hand(hand) => (
            format!("A {mark} against a key ({})", hand.name),
            hand.name.clone(),
        ),
    };
    let made_of = budget(facts, of);
    let within_ms = made_of.as_ref().and_then(Budget::half_width_ms);
    let by_size = match within_ms {
        None => Trust::NotKnown,
        Some(ms) if ms <= TRUSTED_MS => Trust::Yes,
        Some(ms) if ms <= ROUGHLY_MS => Trust::Roughly,
        Some(_) => Trust::No,
    };
    let trust = findings
        .iter()
        .filter_map(|finding| finding.allows(of))
        .fold(by_size, Trust::min);
    Judged {
        of: words,
        short: format!("{}{}, {short}", mark[..1].to_uppercase(), &mark[1..]),
        trust,
        within_ms,
        parts: made_of.map_or_else(Vec::new, |b| b.rows()),
        with_presser_ms: budget_with_presser(facts, of).and_then(|b| b.half_width_ms()),
    }
}

#[cfg(test)]
#[path = "verdict_tests.rs"]
mod tests;
