//! A session as rows of signs over time: what the picture in text and the picture
//! on the page both draw.

use std::collections::HashMap;

use crate::session::Looking;
use crate::timeline::session::{Act, ActKind};
use crate::timeline::{Outcome, SoundId};

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
    let all_marks = at.acts().iter().filter(|a| a.kind == ActKind::Mark);
    let has_moments = at.pairs().iter().any(|p| p.moment_s.is_some());
    let outcomes: HashMap<SoundId, Outcome> = at
        .pairs()
        .iter()
        .filter_map(|p| Some((p.mark?, p.outcome)))
        .collect();
    let judged = |act: &Act| match outcomes.get(&SoundId(act.number)) {
        Some(Outcome::Stray) if has_moments => Sign::Stray,
        Some(Outcome::Late) => Sign::Late,
        Some(Outcome::Early) => Sign::Early,
        _ => Sign::Mark,
    };
    let mut marks: Vec<(f64, Sign)> = all_marks.map(|a| (a.t_s, judged(a))).collect();
    marks.sort_by_key(|(_, sign)| *sign != Sign::Mark);
    let unpaid = at.paid().unpaid.iter().map(|u| (u.t_s, Sign::Unpaid));
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
