//! The drill so far. [`step`] is the only way in which it changes; it reads no
//! clock: what time it is comes with the events.

use std::ops::Range;

use super::setup::{Setup, Way};
use crate::listen::{News, Timeline};
use crate::measure::unheard::{Ears, unheard};
use crate::measure::{Summary, Yardstick, summarise};
use crate::review::{Outcome, judge};
use crate::timeline::{KnownMoment, Moment, MomentId, MomentKind, Pair, SoundId};

/// Where every mark is known within this time, in seconds, a floor counts at once; a word
/// is known later, and could still take a lag's place.
const AT_ONCE_S: f64 = 0.6;

/// Seconds after which nothing more is heard of an instant: a drop is told once
/// its ball is silent, which takes some seconds of bounces.
pub(super) const LATE_S: f64 = 12.0;

/// Impacts this close are the same one, in seconds.
const SAME_SOUND_S: f64 = 5e-3;

/// Something that happened. Times are seconds from the first sample heard.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// Something was heard.
    Heard(News),
    /// A hand or the screen told a moment; its standard uncertainty in
    /// milliseconds.
    Moment(Moment, f64),
    /// A catch drop was at this instant.
    Catch(f64),
    /// It is now this late, and the loudest sample lately was this loud (dBFS).
    Now {
        /// Seconds.
        t_s: f64,
        /// dB re full scale.
        peak_dbfs: f64,
    },
    /// Something about the sound, in words; marks near it may be wrong when it
    /// spoils lags.
    Warning {
        /// Seconds.
        t_s: f64,
        /// The words.
        words: String,
        /// Whether lags near it are to be doubted.
        spoils: bool,
    },
    /// Pause, or go on.
    Pause(f64),
    /// The last drop does not count.
    Undo,
    /// The sound is over: all that was heard.
    Ended(Timeline),
}

/// Whether it goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// It is on.
    On,
    /// What comes does not count.
    Paused,
    /// All asked drops are done, or the sound is over.
    Done,
}

/// The drill so far.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// What it is.
    pub setup: Setup,
    /// Whether it goes on.
    pub phase: Phase,
    /// What was heard.
    pub heard: Timeline,
    /// The moments, in order of time, those set aside among them.
    pub moments: Vec<KnownMoment>,
    /// Moments set aside by an undo.
    pub undone: Vec<MomentId>,
    /// Marks that belonged to drops set aside.
    pub(super) undone_marks: Vec<SoundId>,
    /// Stretches that do not count: from, to.
    pub pauses: Vec<(f64, f64)>,
    /// Catch drops.
    pub catches: Vec<f64>,
    /// How late it is.
    pub now_s: f64,
    /// The loudest sample lately, in dBFS.
    pub peak_dbfs: f64,
    /// The last warning and its time.
    pub warning: Option<(f64, String)>,
    /// Places where the sound is not to be trusted.
    pub spoilt: Vec<f64>,
    /// The pairs, in order of time; the last ones may still change.
    pub pairs: Vec<Pair>,
    /// How many of the pairs can no longer change.
    pub(super) settled: usize,
    /// Where the settled stretch ends.
    pub(super) settled_s: f64,
}

impl State {
    /// A drill that has not begun.
    pub fn new(setup: Setup) -> Self {
        let word_at = setup.word_at;
        Self {
            setup,
            phase: Phase::On,
            heard: Timeline {
                word_at,
                ..Timeline::default()
            },
            moments: Vec::new(),
            undone: Vec::new(),
            undone_marks: Vec::new(),
            pauses: Vec::new(),
            catches: Vec::new(),
            now_s: 0.0,
            peak_dbfs: f64::NEG_INFINITY,
            warning: None,
            spoilt: Vec::new(),
            pairs: Vec::new(),
            settled: 0,
            settled_s: f64::NEG_INFINITY,
        }
    }

    /// Drops still to come; `None` when their number is open.
    pub fn drops_left(&self) -> Option<usize> {
        let done = self.moments_counted().count();
        self.setup.drops.map(|all| all.saturating_sub(done))
    }

    /// The newest pair with a moment whose outcome is known for now: a lag, or a
    /// miss whose time is over.
    pub fn last(&self) -> Option<&Pair> {
        self.pairs.iter().rev().find(|p| self.is_told(p))
    }

    /// Pairs that can be told: lags at once, misses when no mark can come any
    /// more, strays when no moment can.
    pub fn told(&self) -> impl Iterator<Item = &Pair> {
        self.pairs.iter().filter(|p| self.is_told(p))
    }

    fn is_told(&self, pair: &Pair) -> bool {
        let after_s = self.setup.rules.window.after_ms() * 1e-3;
        match (pair.moment_s, pair.mark_s) {
            (Some(_), Some(_)) => true,
            _ if self.phase == Phase::Done => true,
            (Some(moment_s), None) => self.now_s > moment_s + after_s + self.setup.known_after_s,
            (None, Some(mark_s)) => {
                let wait_s = match self.setup.way {
                    Way::Ball => LATE_S,
                    Way::Partner | Way::Screen => self.setup.rules.window.before_ms() * 1e-3 + 0.5,
                };
                self.now_s > mark_s + wait_s
            }
            (None, None) => false,
        }
    }

    /// A mark that waits for its moment: heard, and not yet part of a pair.
    pub fn waiting_mark_s(&self) -> Option<f64> {
        let last = self.heard.marks().next_back()?;
        let alone = self.pairs.iter().rev().find(|p| p.mark == Some(last.id))?;
        (alone.moment.is_none() && !self.is_told(alone)).then_some(last.sound.t_s)
    }

    /// Catch drops after which a mark came within the pairing window, and all.
    pub fn fooled(&self) -> (usize, usize) {
        let window = self.setup.rules.window;
        let near = |t: f64| {
            self.heard.marks().any(|mark| {
                let lag_ms = (mark.sound.t_s - t) * 1e3;
                -window.before_ms() <= lag_ms && lag_ms <= window.after_ms()
            })
        };
        let fooled = self.catches.iter().filter(|t| near(**t)).count();
        (fooled, self.catches.len())
    }

    /// Pairs within a second of a place where the sound is not to be trusted.
    pub fn doubtful(&self) -> usize {
        let near = |t: Option<f64>| {
            t.is_some_and(|t| self.spoilt.iter().any(|spoilt| (t - spoilt).abs() < 1.0))
        };
        let pairs = self.pairs.iter();
        pairs.filter(|p| near(p.moment_s) || near(p.mark_s)).count()
    }

    /// What is to be said when no taught sound was ever heard although other sounds
    /// were; `names` are those that are listened for.
    pub fn unheard(&self, names: &[String]) -> Option<String> {
        let ball = |t_s: f64| {
            let mut impacts = self.heard.drops.iter().flat_map(|d| &d.impacts_s);
            impacts.any(|impact_s| (impact_s - t_s).abs() < SAME_SOUND_S)
        };
        let window = self.setup.rules.window;
        let window_s = (window.before_ms() * 1e-3, window.after_ms() * 1e-3);
        let moments_s: Vec<f64> = self.moments_counted().map(|m| m.moment.t_s).collect();
        // That a bounce is the ball's is known when its drop is, or after a while.
        let last_s = moments_s
            .last()
            .map_or(f64::NEG_INFINITY, |t| t + window_s.1);
        let known_s = last_s.max(self.now_s - LATE_S);
        let others = self.heard.sounds.iter().map(|s| &s.sound);
        let others = others.filter(|s| !s.is_mark()).map(|s| s.t_s);
        let others = others.filter(|t| *t < known_s && !ball(*t));
        let others_s: Vec<f64> = others.filter(|t| !self.is_in_pause(*t)).collect();
        unheard(&Ears {
            names,
            is_heard: self.heard.marks().next().is_some() || !self.heard.in_praise.is_empty(),
            moments_s: &moments_s,
            others_s: &others_s,
            window_s,
            now_s: self.now_s,
        })
    }

    /// What it comes to so far.
    pub fn summary(&self) -> Summary {
        let told: Vec<Pair> = self.told().cloned().collect();
        let kind = Yardstick::of(self.setup.kind);
        summarise(&told, kind, self.setup.rules.aim)
    }

    /// Everything, judged as a review judges a recording.
    pub fn outcome(&self) -> Outcome {
        let marks = self.marks_counted(f64::NEG_INFINITY);
        judge(marks, self.moments_counted(), &self.setup.rules)
    }

    fn add_moment(&mut self, new: KnownMoment) {
        let t_s = new.moment.t_s;
        let place = self.moments.partition_point(|m| m.moment.t_s <= t_s);
        self.moments.insert(place, new);
    }

    /// Adds the moments of the drops at `places` that have none yet; whether there are
    /// any. A floor stands at once; release and top get better until the drop is settled.
    fn add_drops(&mut self, places: Range<usize>) -> bool {
        let known = self.moments.len();
        let ours = self.setup.way == Way::Ball;
        for place in places.filter(|_| ours) {
            let kind = self.setup.kind;
            let is_due = kind == MomentKind::Floor && self.setup.known_after_s < AT_ONCE_S
                || self.heard.drops[place].is_settled;
            let is_new = self.moments.iter().all(|m| m.id != MomentId::at(place));
            let moment = self.heard.moment(place, kind);
            if let Some(new) = moment.filter(|_| is_due && is_new) {
                self.add_moment(new);
            }
        }
        self.moments.len() > known
    }

    fn undo(&mut self) {
        let Some(last) = self.moments_counted().next_back().map(|m| m.id) else {
            return;
        };
        let pair = self.pairs.iter().find(|p| p.moment == Some(last));
        self.undone_marks.extend(pair.and_then(|p| p.mark));
        self.undone.push(last);
        self.pair_all();
    }

    fn end(&mut self, heard: Timeline) {
        self.now_s = heard.duration_s;
        self.heard = heard;
        self.add_drops(0..self.heard.drops.len());
        self.phase = Phase::Done;
        self.pairs = self.outcome().pairs;
        self.settled = self.pairs.len();
    }

    /// The asked drops are done when each has its mark or has been missed.
    fn end_when_done(&mut self) {
        if self.phase == Phase::On && self.drops_left() == Some(0) {
            let open = self
                .pairs
                .iter()
                .any(|p| p.moment.is_some() && !self.is_told(p));
            let last = self.moments_counted().next_back();
            let last_s = last.map_or(0.0, |m| m.moment.t_s);
            // A lag can still get better while marks may come.
            let after_s = self.setup.rules.window.after_ms() * 1e-3;
            if !open && self.now_s > last_s + after_s + self.setup.known_after_s {
                self.phase = Phase::Done;
            }
        }
    }
}

/// The drill after an event.
pub fn step(mut state: State, event: Event) -> State {
    match event {
        Event::Heard(News::Sound(heard)) => {
            let (is_mark, t_s) = (heard.sound.is_mark(), heard.sound.t_s);
            state.heard.insert(heard);
            if is_mark && t_s < state.settled_s {
                state.pair_all();
            } else if is_mark {
                state.pair_again();
            }
        }
        Event::Heard(News::InPraise(sound)) => state.heard.in_praise.push(sound),
        Event::Heard(News::Drop(drop)) => {
            let place = state.heard.add_drop(drop);
            if state.add_drops(place..place + 1) {
                state.pair_again();
            }
        }
        Event::Moment(moment, u_ms) => {
            // The worst that was told stands for all.
            state.setup.rules.hand_u_ms = state.setup.rules.hand_u_ms.max(u_ms);
            state.add_moment(KnownMoment {
                id: MomentId::at(state.moments.len()),
                moment,
                u_ms: Some(u_ms),
            });
            state.pair_again();
        }
        Event::Catch(t_s) => state.catches.push(t_s),
        Event::Now { t_s, peak_dbfs } => {
            state.now_s = t_s;
            state.heard.duration_s = t_s;
            state.peak_dbfs = peak_dbfs;
            state.end_when_done();
        }
        Event::Warning { t_s, words, spoils } => {
            state.warning = Some((t_s, words));
            if spoils {
                state.spoilt.push(t_s);
            }
        }
        Event::Pause(t_s) => match (state.phase, state.pauses.last_mut()) {
            (Phase::On, _) => {
                state.phase = Phase::Paused;
                state.pauses.push((t_s, f64::INFINITY));
                state.pair_again();
            }
            (Phase::Paused, Some(pause)) => {
                pause.1 = t_s;
                state.phase = Phase::On;
            }
            _ => {}
        },
        Event::Undo => state.undo(),
        Event::Ended(heard) => state.end(heard),
    }
    state
}

#[cfg(test)]
#[path = "state_tests.rs"]
mod tests;
