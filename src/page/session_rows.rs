//! A session as rows of signs over time: what the picture in text and the picture
//! on the page both draw.

use crate::session::Looking;
use crate::timeline::session::ActKind;
use crate::timeline::{Outcome, Pair};

/// What stands at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    /// Asked for.
    Cue,
    /// Offered unasked.
    Offer,
    /// Close.
    Near,
    /// Reached its step.
    Reached,
    /// A mark like any other.
    Mark,
    /// A mark before the aim.
    Early,
    /// A mark after the aim.
    Late,
    /// A mark that no moment earned.
    Stray,
    /// A mark that no treat followed.
    Unpaid,
    /// A treat.
    Treat,
}

/// A row: its name, and what happened when, in seconds. Of two at one place the
/// later in the list is the weightier.
pub(super) struct SignRow {
    pub name: &'static str,
    pub signs: Vec<(f64, Sign)>,
}

/// The rows in which something happened.
pub(super) fn sign_rows(at: &Looking) -> Vec<SignRow> {
    let of = |kind: ActKind, sign: Sign| {
        let acts = at.acts().iter().filter(move |a| a.kind == kind);
        acts.map(move |a| (a.t_s, sign))
    };
    let has_moments = at.pairs().iter().any(|p| p.moment_s.is_some());
    let judged = |t_s: f64| {
        let is_of = |p: &&Pair| p.mark_s == Some(t_s);
        match at.pairs().iter().find(is_of).map(|p| p.outcome) {
            Some(Outcome::Stray) if has_moments => Sign::Stray,
            Some(Outcome::Late) => Sign::Late,
            Some(Outcome::Early) => Sign::Early,
            _ => Sign::Mark,
        }
    };
    let mut marks: Vec<(f64, Sign)> = of(ActKind::Mark, Sign::Mark)
        .map(|(t_s, _)| (t_s, judged(t_s)))
        .collect();
    marks.sort_by_key(|(_, sign)| *sign != Sign::Mark);
    let unpaid = at.paid().unpaid_s.iter().map(|t| (*t, Sign::Unpaid));
    let near = of(ActKind::NearMiss, Sign::Near);
    let all = [
        ("asked", of(ActKind::Cue, Sign::Cue).collect()),
        ("offered", of(ActKind::Offer, Sign::Offer).collect()),
        (
            "reached",
            near.chain(of(ActKind::Reached, Sign::Reached)).collect(),
        ),
        ("marks", marks),
        ("unpaid", unpaid.collect()),
        ("treats", of(ActKind::Treat, Sign::Treat).collect()),
    ];
    all.into_iter()
        .filter(|(_, signs): &(_, Vec<_>)| !signs.is_empty())
        .map(|(name, signs)| SignRow { name, signs })
        .collect()
}
