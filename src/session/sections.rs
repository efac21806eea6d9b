//! The measures of each step, of each behaviour, and of pairing the bridge.

use std::collections::HashSet;

use super::{Looking, PairingMeasures, Setup, StepMeasures, waits};
use crate::measure::median::median;
use crate::measure::proportion::Share;
use crate::measure::quantile::quantile;
use crate::measure::session::{Try, TryOutcome, lean};
use crate::timeline::Outcome;
use crate::timeline::session::{Act, ActKind};

/// A visible answer comes within this long after the mark, in seconds: a
/// convention of this program.
const VISIBLE_WITHIN_S: f64 = 5.0;

/// Each step that something happened in, in order of first appearance.
pub(super) fn steps(at: &Looking, setup: &Setup) -> Vec<StepMeasures> {
    distinct(at, |a| (a.item, a.step))
        .into_iter()
        .map(|(item, step)| StepMeasures {
            step,
            earns: setup.plan.earns(item, step).to_owned(),
            ..section(at, setup, item, |i, s| (i, s) == (item, step))
        })
        .collect()
}

/// Each behaviour that something happened in.
pub(super) fn behaviours(at: &Looking, setup: &Setup) -> Vec<StepMeasures> {
    let name = |item: usize| setup.plan.title(item);
    let mut items: Vec<usize> = Vec::new();
    for (item, _) in distinct(at, |a| (a.item, 0)) {
        // A behaviour that stands in the plan twice is one.
        if !items.iter().any(|known| name(*known) == name(item)) {
            items.push(item);
        }
    }
    items
        .into_iter()
        .map(|item| section(at, setup, item, |i, s| s > 0 && name(i) == name(item)))
        .collect()
}

fn distinct(at: &Looking, of: impl Fn(&Act) -> (usize, u32)) -> Vec<(usize, u32)> {
    let mut all: Vec<(usize, u32)> = Vec::new();
    for act in at.acts.iter().filter(|a| a.step > 0) {
        if !all.contains(&of(act)) {
            all.push(of(act));
        }
    }
    all
}

fn section(
    at: &Looking,
    setup: &Setup,
    item: usize,
    is_in: impl Fn(usize, u32) -> bool,
) -> StepMeasures {
    let acts: Vec<&Act> = at.acts.iter().filter(|a| is_in(a.item, a.step)).collect();
    let numbers: HashSet<i64> = acts.iter().map(|a| a.number).collect();
    let tries: Vec<&Try> = at.tries.iter().filter(|t| is_in(t.item, t.step)).collect();
    let outcomes: Vec<TryOutcome> = tries.iter().map(|t| t.outcome).collect();
    let count = |outcome: TryOutcome| outcomes.iter().filter(|o| **o == outcome).count();
    let answers: Vec<f64> = tries.iter().filter_map(|t| t.answer_s).collect();
    let pairs = || {
        at.pairs.iter().filter(|p| match (p.moment, p.mark) {
            (Some(moment), _) => numbers.contains(&moment.0),
            (None, Some(mark)) => numbers.contains(&mark.0),
            (None, None) => false,
        })
    };
    let of = |outcome: Outcome| pairs().filter(|p| p.outcome == outcome).count();
    let lags: Vec<f64> = pairs().filter_map(|p| p.lag_ms).collect();
    let gaps = gaps_s(at, &numbers);
    let unpaid = at.paid.unpaid.iter();
    let unpaid = unpaid.filter(|u| numbers.contains(&u.mark.0));
    let last_ten = outcomes.iter().skip(outcomes.len().saturating_sub(10));
    StepMeasures {
        behaviour: setup.plan.title(item).to_owned(),
        step: 0,
        earns: String::new(),
        asked: acts.iter().filter(|a| a.kind == ActKind::Cue).count(),
        tries: tries.len(),
        reached: count(TryOutcome::Reached),
        near_misses: count(TryOutcome::NearMiss),
        no_answers: count(TryOutcome::NoAnswer),
        marks: acts.iter().filter(|a| a.kind == ActKind::Mark).count(),
        on_time: of(Outcome::OnTime),
        early: of(Outcome::Early),
        late: of(Outcome::Late),
        missed: of(Outcome::Missed),
        strays: at.tells_strays().then(|| of(Outcome::Stray)),
        unpaid: (at.paid.treats > 0).then(|| unpaid.count()),
        lag_ms: median(&lags),
        answer_s: median(&answers),
        treat_gap_s: median(&gaps),
        last_ten: last_ten.map(|o| o.sign()).collect(),
        lean: lean(&outcomes, &setup.rules),
    }
}

/// Treat gaps of the marks among these acts, in seconds.
fn gaps_s(at: &Looking, numbers: &HashSet<i64>) -> Vec<f64> {
    let paid = at.paid.paid.iter();
    let paid = paid.filter(|p| numbers.contains(&p.mark.0));
    paid.map(|p| p.gap_s).collect()
}

/// Pairing the bridge; `None` when the plan has none or nothing happened in it.
pub(super) fn pairing(at: &Looking, setup: &Setup) -> Option<PairingMeasures> {
    let is_in = |a: &&Act| setup.plan.is_pairing(a.item);
    let times = |kind: ActKind| -> Vec<f64> {
        let acts = at.acts.iter().filter(is_in).filter(|a| a.kind == kind);
        acts.map(|a| a.t_s).collect()
    };
    at.acts.iter().find(is_in)?;
    let (marks, seen) = (times(ActKind::Mark), times(ActKind::Reached));
    let numbers: HashSet<i64> = at.acts.iter().filter(is_in).map(|a| a.number).collect();
    let gaps = gaps_s(at, &numbers);
    let quartile = |p| quantile(&gaps, p);
    let answered = marks.iter().enumerate().filter(|(k, mark_s)| {
        let until = marks.get(k + 1).copied().unwrap_or(f64::INFINITY);
        seen.iter()
            .any(|t| t >= mark_s && *t < until && t - *mark_s <= VISIBLE_WITHIN_S)
    });
    Some(PairingMeasures {
        marks: marks.len(),
        unpaid: (at.paid.treats > 0).then(|| {
            let unpaid = at.paid.unpaid.iter();
            unpaid.filter(|u| numbers.contains(&u.mark.0)).count()
        }),
        treat_gap_s: median(&gaps),
        treat_gap_spread_s: quartile(0.75).zip(quartile(0.25)).map(|(a, b)| a - b),
        waits: waits(&marks),
        answered: (!seen.is_empty()).then(|| Share::new(answered.count(), marks.len())),
    })
}
