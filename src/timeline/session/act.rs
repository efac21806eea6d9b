//! The log as the measures want it: each event with what was being practised.

use super::event::Happened;
use super::log::Log;
use crate::timeline::plan::Plan;

/// One event that counts, with the thing and the step practised at its instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Act {
    /// The event's number in its log.
    pub number: i64,
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

/// What is practised, as the events that say so change it; one that names what
/// the plan does not have is passed over.
struct Practised<'a> {
    plan: &'a Plan,
    item: usize,
    steps: Vec<u32>,
}

impl<'a> Practised<'a> {
    fn first(plan: &'a Plan) -> Self {
        Self {
            plan,
            item: 0,
            steps: plan.practise.iter().map(|p| p.step.unwrap_or(0)).collect(),
        }
    }

    fn take(&mut self, what: &Happened) {
        match what {
            Happened::Turn { item } if *item < self.steps.len() => self.item = *item,
            Happened::Step { number } => {
                let known = self
                    .plan
                    .behaviour_of(self.item)
                    .is_some_and(|b| b.steps.iter().any(|s| s.number == *number));
                if let (true, Some(step)) = (known, self.steps.get_mut(self.item)) {
                    *step = *number;
                }
            }
            _ => {}
        }
    }

    fn step(&self) -> u32 {
        self.steps.get(self.item).copied().unwrap_or(0)
    }
}

/// The acts of a session, in order of time.
pub fn acts(log: &Log, plan: &Plan) -> Vec<Act> {
    let mut practised = Practised::first(plan);
    let mut all = Vec::new();
    for entry in log.counted_entries() {
        let event = &entry.event;
        practised.take(&event.what);
        let kind = match &event.what {
            Happened::Mark(_) => ActKind::Mark,
            Happened::Cue => ActKind::Cue,
            Happened::Reached => ActKind::Reached,
            Happened::NearMiss => ActKind::NearMiss,
            Happened::Offer => ActKind::Offer,
            Happened::Treat => ActKind::Treat,
            Happened::Turn { .. }
            | Happened::Step { .. }
            | Happened::Break
            | Happened::Resume
            | Happened::Note(_)
            | Happened::Gap { .. }
            | Happened::ClockMoved { .. }
            | Happened::Aside { .. } => continue,
        };
        all.push(Act {
            number: entry.number,
            t_s: event.t_s,
            u_ms: event.u_ms,
            item: practised.item,
            step: practised.step(),
            kind,
        });
    }
    all
}

/// What is practised at `t_s` seconds: the place in the plan, from 0, and the
/// step, 0 while the bridge is paired.
pub fn practised_at(log: &Log, plan: &Plan, t_s: f64) -> (usize, u32) {
    let mut practised = Practised::first(plan);
    for event in log.counted().iter().filter(|e| e.t_s <= t_s) {
        practised.take(&event.what);
    }
    (practised.item, practised.step())
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
