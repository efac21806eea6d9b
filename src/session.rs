//! What a session with an animal comes to: the log and the plan in, all measures
//! out. Pure; the live session, the recording afterwards and the journal years
//! later come to the same numbers.

mod sections;

use serde::{Deserialize, Serialize};

use crate::listen::Timeline;
use crate::measure::median::median;
use crate::measure::observer::{Corrected, Observer, correct};
use crate::measure::proportion::Share;
use crate::measure::session::{
    Lean, Looked, Pace, Paid, SessionRules, Try, Waits, Warning, pace, treats, tries, waits,
    warnings,
};
use crate::measure::{Summary, Yardstick, summarise};
use crate::review::{DISTANCE_HALF_WIDTH_M, Rules, judge};
use crate::timeline::plan::Behaviour;
use crate::timeline::session::{
    Act, ActKind, Happened, Line, Log, SessionEvent, acts, breaks, now_practised,
};
use crate::timeline::{
    Aim, Moment, MomentKind, MomentSource, Outcome, Pair, Plan, Sound, SoundKind, Window, pair,
};

/// All that a session is judged by; kept with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// What was planned.
    pub plan: Plan,
    /// Windows, bars and warnings.
    pub rules: SessionRules,
    /// The lags that count as on time.
    pub aim: Aim,
    /// How early a mark may be and still belong to its moment, in milliseconds.
    pub before_ms: f64,
    /// How late, in milliseconds.
    pub after_ms: f64,
    /// From the microphone to the clicker or the mouth, in metres.
    pub clicker_m: f64,
    /// How the person who keys the moments presses, where that is known.
    pub observer: Option<Observer>,
}

/// What a session comes to. `None` is what the keys that were pressed cannot
/// tell: with marks alone there are a pace and waits, and nothing is called
/// stray or unpaid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionMeasures {
    /// Length in seconds, breaks and all.
    pub length_s: f64,
    /// Marks a minute.
    pub pace: Pace,
    /// Marks heard.
    pub marks: usize,
    /// Treats noted; `None` when none was.
    pub treats: Option<usize>,
    /// Treats that pay no mark.
    pub extra_treats: Option<usize>,
    /// Marks that no treat followed, out of all marks.
    pub unpaid: Option<Share>,
    /// The median treat gap in seconds.
    pub treat_gap_s: Option<f64>,
    /// The longest treat gap in seconds.
    pub longest_treat_gap_s: Option<f64>,
    /// The median answer time in seconds.
    pub answer_s: Option<f64>,
    /// Unasked offers that were noted.
    pub offers: usize,
    /// Marks that no moment earned and that follow an unasked offer.
    pub marks_on_offers: usize,
    /// The moments that were noted, with their marks.
    pub pairs: Vec<Pair>,
    /// Their measures; `None` when no moment was noted.
    pub lags: Option<Summary>,
    /// The lags with the observer taken off, where the observer is known.
    pub corrected: Option<Corrected>,
    /// The steps in order of first appearance.
    pub steps: Vec<StepMeasures>,
    /// The behaviours as wholes, in the same order.
    pub behaviours: Vec<StepMeasures>,
    /// Pairing the bridge; `None` when that was not practised.
    pub pairing: Option<PairingMeasures>,
    /// Stretches of lost sound.
    pub gaps: usize,
    /// How far the wall clock moved against the session's, in seconds, at most.
    pub clock_moved_s: Option<f64>,
}

/// One step of a behaviour, or a whole behaviour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepMeasures {
    /// The behaviour's name.
    pub behaviour: String,
    /// The step's number; 0 for the whole behaviour.
    pub step: u32,
    /// What earns the mark; empty for the whole behaviour.
    pub earns: String,
    /// How often it was asked for.
    pub asked: usize,
    /// Tries: asked or not.
    pub tries: usize,
    /// Tries that reached the step.
    pub reached: usize,
    /// Near misses.
    pub near_misses: usize,
    /// Cues that nothing answered.
    pub no_answers: usize,
    /// Marks.
    pub marks: usize,
    /// Moments marked on time.
    pub on_time: usize,
    /// Moments marked early.
    pub early: usize,
    /// Moments marked late.
    pub late: usize,
    /// Moments not marked.
    pub missed: usize,
    /// Marks that no moment earned; `None` when no moment was noted at all.
    pub strays: Option<usize>,
    /// Marks that no treat followed; `None` when no treat was noted at all.
    pub unpaid: Option<usize>,
    /// The median lag in milliseconds.
    pub lag_ms: Option<f64>,
    /// The median answer time in seconds.
    pub answer_s: Option<f64>,
    /// The median treat gap in seconds.
    pub treat_gap_s: Option<f64>,
    /// The latest ten tries as signs, the latest last: + reached, ~ near miss,
    /// - no answer.
    pub last_ten: String,
    /// Where the tries lean.
    pub lean: Lean,
}

/// Pairing the bridge with food.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairingMeasures {
    /// Marks.
    pub marks: usize,
    /// Marks that no treat followed; `None` when no treat was noted at all.
    pub unpaid: Option<usize>,
    /// Median treat gap in seconds.
    pub treat_gap_s: Option<f64>,
    /// Interquartile range of the treat gaps in seconds.
    pub treat_gap_spread_s: Option<f64>,
    /// The waits from mark to mark.
    pub waits: Waits,
    /// Marks at which the animal visibly expected food, out of all; `None` when
    /// nothing of the kind was noted.
    pub answered: Option<Share>,
}

/// A session at one instant: the measures' raw material.
#[derive(Debug, Clone)]
pub struct Looking {
    acts: Vec<Act>,
    tries: Vec<Try>,
    paid: Paid,
    breaks: Vec<(f64, f64)>,
    pairs: Vec<Pair>,
    offer_strays_s: Vec<f64>,
    now_s: f64,
}

impl Looking {
    /// Looks at a log at `now_s`; `is_over` says that nothing more comes.
    pub fn at(log: &Log, setup: &Setup, now_s: f64, is_over: bool) -> Self {
        let acts = acts(log, &setup.plan);
        let tries = tries(
            &acts,
            setup.rules.answer_within_s,
            if is_over { f64::INFINITY } else { now_s },
        );
        let paid = treats(&acts, setup.rules.treat_within_s, now_s, is_over);
        let pairs = lags(log, &acts, setup);
        let offer_strays_s = on_offers(&acts, &pairs, setup);
        Self {
            breaks: breaks(log, now_s),
            acts,
            tries,
            paid,
            pairs,
            offer_strays_s,
            now_s,
        }
    }

    /// The tries.
    pub fn tries(&self) -> &[Try] {
        &self.tries
    }

    /// What was paid.
    pub fn paid(&self) -> &Paid {
        &self.paid
    }

    /// The breaks, as (from, to) in seconds.
    pub fn breaks(&self) -> &[(f64, f64)] {
        &self.breaks
    }

    /// The acts.
    pub fn acts(&self) -> &[Act] {
        &self.acts
    }

    /// The pairs of moments and marks.
    pub fn pairs(&self) -> &[Pair] {
        &self.pairs
    }

    /// The warnings whose rules hold, the weightiest first.
    pub fn warnings(&self, setup: &Setup) -> Vec<Warning> {
        let at = Looked {
            now_s: self.now_s,
            limit_s: setup.plan.length_min * 60.0,
            acts: &self.acts,
            tries: &self.tries,
            paid: &self.paid,
            offer_strays_s: &self.offer_strays_s,
            breaks: &self.breaks,
        };
        warnings(&at, &setup.rules)
    }

    /// The pace.
    pub fn pace(&self) -> Pace {
        pace(&self.times(ActKind::Mark, None), &self.breaks, self.now_s)
    }

    fn times(&self, kind: ActKind, of: Option<(usize, u32)>) -> Vec<f64> {
        self.acts
            .iter()
            .filter(|a| a.kind == kind && of.is_none_or(|of| of == (a.item, a.step)))
            .map(|a| a.t_s)
            .collect()
    }
}

/// All measures of a session whose last instant is `end_s`.
pub fn measure(log: &Log, setup: &Setup, end_s: f64) -> SessionMeasures {
    measure_looked(log, setup, &Looking::at(log, setup, end_s, true))
}

/// The measures of a look at a session.
pub fn measure_looked(log: &Log, setup: &Setup, at: &Looking) -> SessionMeasures {
    let marks = at.times(ActKind::Mark, None).len();
    let noted = at.paid.treats > 0;
    let gaps: Vec<f64> = at
        .paid
        .paid
        .iter()
        .map(|(mark, treat)| treat - mark)
        .collect();
    let answers: Vec<f64> = at.tries.iter().filter_map(|t| t.answer_s).collect();
    let raw: Vec<f64> = at.pairs.iter().filter_map(|p| p.lag_ms).collect();
    let has_moments = at.pairs.iter().any(|p| p.moment_s.is_some());
    let clock_moves = log.counted().into_iter().filter_map(|e| match e.what {
        Happened::ClockMoved { by_s } => Some(by_s),
        _ => None,
    });
    SessionMeasures {
        length_s: at.now_s,
        pace: at.pace(),
        marks,
        treats: noted.then_some(at.paid.treats),
        extra_treats: noted.then_some(at.paid.extra),
        unpaid: noted.then(|| Share::new(at.paid.unpaid_s.len(), marks)),
        treat_gap_s: median(&gaps),
        longest_treat_gap_s: gaps.iter().copied().reduce(f64::max),
        answer_s: median(&answers),
        offers: at.times(ActKind::Offer, None).len(),
        marks_on_offers: at.offer_strays_s.len(),
        lags: has_moments.then(|| summarise(&at.pairs, Yardstick::Reaction, setup.aim)),
        corrected: setup
            .observer
            .as_ref()
            .filter(|_| has_moments)
            .and_then(|who| correct(&raw, who)),
        pairs: if has_moments {
            at.pairs.clone()
        } else {
            Vec::new()
        },
        steps: sections::steps(at, setup),
        behaviours: sections::behaviours(at, setup),
        pairing: sections::pairing(at, setup),
        gaps: log
            .counted()
            .iter()
            .filter(|e| matches!(e.what, Happened::Gap { .. }))
            .count(),
        clock_moved_s: clock_moves.reduce(|a, b| if b.abs() > a.abs() { b } else { a }),
    }
}

/// Moments and marks paired, each lag with its uncertainty. What happens while
/// the bridge is paired with food is left out.
fn lags(log: &Log, acts: &[Act], setup: &Setup) -> Vec<Pair> {
    let Ok(window) = Window::new(setup.before_ms, setup.after_ms) else {
        return Vec::new();
    };
    let of = |kind: ActKind| acts.iter().filter(move |a| a.kind == kind && a.step > 0);
    let mut heard = Timeline::default();
    for event in log.counted() {
        let Happened::Mark(sound) = &event.what else {
            continue;
        };
        if of(ActKind::Mark).any(|a| a.t_s == event.t_s) {
            heard.sounds.push(Sound {
                t_s: event.t_s,
                ..sound.clone()
            });
            heard.sound_u_ms.push(event.u_ms);
        }
    }
    let moments: Vec<Moment> = of(ActKind::Reached)
        .map(|a| Moment {
            t_s: a.t_s,
            kind: MomentKind::Behaviour,
            source: MomentSource::Hand,
            label: String::new(),
        })
        .collect();
    // The mean uncertainty of the moments, whoever told them.
    let u_ms: f64 = of(ActKind::Reached).map(|a| a.u_ms).sum::<f64>() / moments.len().max(1) as f64;
    let rules = Rules {
        aim: setup.aim,
        window,
        ball_m: setup.clicker_m,
        clicker_m: setup.clicker_m,
        known_within_m: DISTANCE_HALF_WIDTH_M,
        file_step_ms: 0.0,
        hand_u_ms: u_ms,
    };
    judge(&heard, &moments, &rules).pairs
}

/// Marks that no moment earned and that follow an unasked offer of something
/// that is on cue: the cheapest pairing of offers and stray marks.
fn on_offers(acts: &[Act], pairs: &[Pair], setup: &Setup) -> Vec<f64> {
    let offers: Vec<f64> = acts
        .iter()
        .filter(|a| a.kind == ActKind::Offer)
        .map(|a| a.t_s)
        .collect();
    let strays: Vec<f64> = pairs
        .iter()
        .filter(|p| p.outcome == Outcome::Stray)
        .filter_map(|p| p.mark_s)
        .collect();
    let Ok(window) = Window::new(setup.before_ms, setup.after_ms) else {
        return Vec::new();
    };
    pair(&offers, &strays, window, setup.aim)
        .into_iter()
        .filter(|p| p.moment_s.is_some())
        .filter_map(|p| p.mark_s)
        .collect()
}

/// What a sound that was heard is in a session: a mark, a cue that was spoken (a
/// taught word with the name of the plan's cue), or nothing.
pub fn of_sound(sound: &Sound, plan: &Plan) -> Option<Happened> {
    let is_cue = |b: &Behaviour| !b.cue.is_empty() && b.cue == sound.name;
    if sound.kind == SoundKind::Impact {
        None
    } else if sound.kind == SoundKind::Word && plan.behaviours.iter().any(is_cue) {
        Some(Happened::Cue)
    } else {
        let is_bridge = plan.bridge.as_ref().is_none_or(|b| *b == sound.name);
        is_bridge.then(|| Happened::Mark(sound.clone()))
    }
}

/// Standard uncertainty of what a file tells without saying how exact it is, in
/// milliseconds: one picture of a video at 30 a second, 33.3/√12.
pub const FILE_U_MS: f64 = 9.6;

/// The log of a recording: what was heard (with its uncertainty in milliseconds),
/// moments of a file, and lines of an events file, taken in by time as a live
/// session takes them in.
pub fn log_of_lines(heard: Vec<(f64, f64, Happened)>, moments: &[Moment], lines: Vec<Line>) -> Log {
    let event = |t_s: f64, u_ms: f64, source: MomentSource, what: Happened| {
        Line::Event(SessionEvent {
            t_s,
            u_ms,
            source,
            what,
        })
    };
    let mut all: Vec<Line> = heard
        .into_iter()
        .map(|(t_s, u_ms, what)| event(t_s, u_ms, MomentSource::Sound, what))
        .chain(
            moments
                .iter()
                .map(|m| event(m.t_s, FILE_U_MS, MomentSource::File, Happened::Reached)),
        )
        .chain(lines)
        .collect();
    all.sort_by(|a, b| a.t_s().total_cmp(&b.t_s()));
    let mut log = Log::default();
    for (number, line) in (1..).zip(all) {
        let aside = |target: i64, is_aside: bool| Happened::Aside { target, is_aside };
        let (t_s, what) = match line {
            Line::Event(event) => {
                log.apply(number, event);
                continue;
            }
            Line::Undo(t_s) => (t_s, log.undo_target().map(|e| aside(e.number, true))),
            Line::Redo(t_s) => (t_s, log.redo_target().map(|e| aside(e.number, false))),
        };
        if let Some(what) = what {
            log.apply(
                number,
                SessionEvent {
                    t_s,
                    u_ms: 0.0,
                    source: MomentSource::File,
                    what,
                },
            );
        }
    }
    log
}

/// What is practised now: the place in the plan, from 0, and the step.
pub fn practised(log: &Log, setup: &Setup) -> (usize, u32) {
    now_practised(log, &setup.plan)
}

#[cfg(test)]
#[path = "session_tests.rs"]
mod tests;
