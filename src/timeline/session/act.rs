//! The log as the measures want it: each event with what was being practised.

use super::event::Happened;
use super::log::Log;
use crate::timeline::plan::Plan;

/// One event that counts, with the thing and the step practised at its instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Act {
    /// Seconds.
    pub t_s: f64,
    /// Standard uncertainty in milliseconds.
    pub u_ms: f64,
    /// The place in the plan, from 0.
    pub item: usize,
    /// The step's number; 0 while the bridge is paired.
    pub step: u32,
    /// What happened.
    pub kind: ActKind,
}

/// What happened, as far as measures need it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ActKind {
    /// The bridge was heard.
    Mark,
    /// Asked for.
    Cue,
    /// Reached its step.
    Reached,
    /// Close.
    NearMiss,
    /// Offered unasked.
    Offer,
    /// A treat.
    Treat,
}

/// The acts of a session, in order of time. What is practised changes with the
/// events that say so; one that names what the plan does not have is passed over.
pub fn acts(log: &Log, plan: &Plan) -> Vec<Act> {
    let mut steps: Vec<u32> = plan.practise.iter().map(|p| p.step.unwrap_or(0)).collect();
    let mut item = 0;
    let mut all = Vec::new();
    for event in log.counted() {
        let kind = match &event.what {
            Happened::Mark(_) => ActKind::Mark,
            Happened::Cue => ActKind::Cue,
            Happened::Reached => ActKind::Reached,
            Happened::NearMiss => ActKind::NearMiss,
            Happened::Offer => ActKind::Offer,
            Happened::Treat => ActKind::Treat,
            Happened::Turn { item: to } => {
                if *to < steps.len() {
                    item = *to;
                }
                continue;
            }
            Happened::Step { number } => {
                let known = plan
                    .behaviour_of(item)
                    .is_some_and(|b| b.steps.iter().any(|s| s.number == *number));
                if let (true, Some(step)) = (known, steps.get_mut(item)) {
                    *step = *number;
                }
                continue;
            }
            Happened::Break
            | Happened::Resume
            | Happened::Note(_)
            | Happened::Gap { .. }
            | Happened::ClockMoved { .. }
            | Happened::Aside { .. } => continue,
        };
        all.push(Act {
            t_s: event.t_s,
            u_ms: event.u_ms,
            item,
            step: steps.get(item).copied().unwrap_or(0),
            kind,
        });
    }
    all
}

/// What is practised now: the place in the plan, from 0, and the step.
pub fn now_practised(log: &Log, plan: &Plan) -> (usize, u32) {
    // A last act that stands for "now".
    let mut log = log.clone();
    let number = log.entries().last().map_or(1, |e| e.number + 1);
    log.apply(
        number,
        super::event::SessionEvent {
            t_s: log.latest_s(),
            u_ms: 0.0,
            source: crate::timeline::MomentSource::Hand,
            what: Happened::Cue,
        },
    );
    acts(&log, plan)
        .last()
        .map_or((0, 0), |act| (act.item, act.step))
}

/// The breaks up to `end_s`, as (from, to) in seconds; one that goes on ends there.
pub fn breaks(log: &Log, end_s: f64) -> Vec<(f64, f64)> {
    let mut all = Vec::new();
    let mut since: Option<f64> = None;
    for event in log.counted() {
        match event.what {
            Happened::Break => since = since.or(Some(event.t_s)),
            Happened::Resume => all.extend(since.take().map(|from| (from, event.t_s))),
            _ => {}
        }
    }
    all.extend(since.map(|from| (from, end_s.max(from))));
    all
}
