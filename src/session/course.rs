//! A session as it goes on: (course, input) → course. Keys, sounds and files all
//! come through here, live and afterwards; this is the one place that says what a
//! sound that was heard is in a session.

use super::Setup;
use crate::timeline::session::{Entry, Happened, Line, Log, SessionEvent, practised_at};
use crate::timeline::{HeardSound, MomentSource, Plan, Sound, SoundKind};

/// A session, and what it has come to.
#[derive(Debug, Clone)]
pub struct Course {
    setup: Setup,
    log: Log,
    next: i64,
}

/// What a person does with a key, a pedal, or a line of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// The behaviour reached its step.
    Reached,
    /// Close.
    NearMiss,
    /// Asked for.
    Cue,
    /// Offered unasked.
    Offer,
    /// A treat was given.
    Treat,
    /// A break begins, or ends.
    Break,
    /// On to the next thing of the plan.
    Turn,
    /// The next step is asked.
    StepUp,
    /// The step before is asked.
    StepDown,
    /// The place of a note.
    Note,
    /// The latest event counts no longer.
    Undo,
    /// What was set aside last counts again.
    Redo,
}

/// Something that a session is told.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// A sound was heard.
    Heard(HeardSound),
    /// Somebody did something.
    Done {
        /// What.
        deed: Deed,
        /// Seconds.
        t_s: f64,
        /// Standard uncertainty in milliseconds.
        u_ms: f64,
    },
    /// The event with this number counts no longer, or again.
    SetAside {
        /// The event's number.
        number: i64,
        /// Seconds, when it is said.
        t_s: f64,
    },
    /// A line of an events file.
    Line(Line),
    /// What is told as it is: lost sound, a clock that moved, words.
    Told {
        /// Seconds.
        t_s: f64,
        /// Where it was learned from.
        source: MomentSource,
        /// What.
        what: Happened,
    },
}

/// What an input came to.
#[derive(Debug, Clone, PartialEq)]
pub enum Done {
    /// It is in the log.
    Noted(Happened),
    /// This event, of this instant in seconds, counts no longer or again.
    Aside(Happened, f64, bool),
    /// Nothing was done.
    Refused(Refusal),
}

/// Why nothing was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// A sound that is neither a mark nor a cue of the plan.
    NoPart,
    /// There is no step of that number.
    NoSuchStep,
    /// No event counts that could be set aside.
    NothingToUndo,
    /// No event is set aside.
    NothingAside,
}

impl Course {
    /// A session that has not begun.
    pub fn new(setup: Setup) -> Self {
        Self::on_with(setup, Log::default())
    }

    /// A session that goes on from its log.
    pub fn on_with(setup: Setup, log: Log) -> Self {
        let last = log.entries().iter().map(|e| e.number).max();
        Self {
            setup,
            next: last.map_or(1, |n| n + 1),
            log,
        }
    }

    /// What happened.
    pub fn log(&self) -> &Log {
        &self.log
    }

    /// What it is judged by.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// What happened, taken out.
    pub fn into_log(self) -> Log {
        self.log
    }

    /// The events that can be set aside and taken back in, the latest first.
    pub fn recent(&self) -> Vec<&Entry> {
        let mut all: Vec<&Entry> = self.log.undoable().collect();
        // Of the same instant the later to arrive first: the sort keeps their order.
        all.sort_by(|a, b| b.event.t_s.total_cmp(&a.event.t_s));
        all
    }

    /// What is practised now: the place in the plan, from 0, and the step.
    pub fn practised(&self) -> (usize, u32) {
        practised_at(&self.log, &self.setup.plan, f64::INFINITY)
    }

    /// Whether there is a break.
    pub fn is_break(&self) -> bool {
        let is_of = |what: &Happened| matches!(what, Happened::Break | Happened::Resume);
        let last = self.log.counted().into_iter().rfind(|e| is_of(&e.what));
        last.is_some_and(|e| e.what == Happened::Break)
    }

    /// Takes an input in.
    pub fn take(&mut self, input: Input) -> Done {
        match input {
            Input::Heard(heard) => self.heard(&heard.sound, heard.u_ms),
            Input::Done { deed, t_s, u_ms } => self.deed(deed, t_s, u_ms),
            Input::SetAside { number, t_s } => self.aside(number, t_s, MomentSource::Hand),
            Input::Line(Line::Undo(t_s)) => self.undo(t_s, MomentSource::File),
            Input::Line(Line::Redo(t_s)) => self.redo(t_s, MomentSource::File),
            Input::Line(Line::Event(event)) => self.add(event),
            Input::Told { t_s, source, what } => self.add(SessionEvent {
                t_s,
                u_ms: 0.0,
                source,
                what,
            }),
        }
    }

    fn add(&mut self, event: SessionEvent) -> Done {
        let what = event.what.clone();
        self.log.apply(self.next, event);
        self.next += 1;
        Done::Noted(what)
    }

    fn heard(&mut self, sound: &Sound, u_ms: f64) -> Done {
        let (item, _) = practised_at(&self.log, &self.setup.plan, sound.t_s);
        let event = |what: Happened| SessionEvent {
            t_s: sound.t_s,
            u_ms,
            source: MomentSource::Sound,
            what,
        };
        match meaning(sound, &self.setup.plan, item) {
            Meaning::Nothing => Done::Refused(Refusal::NoPart),
            Meaning::Mark => self.add(event(Happened::Mark(sound.clone()))),
            Meaning::Cue(of) => {
                if of != item {
                    self.add(event(Happened::Turn { item: of }));
                }
                self.add(event(Happened::Cue))
            }
        }
    }

    fn deed(&mut self, deed: Deed, t_s: f64, u_ms: f64) -> Done {
        let (item, step) = self.practised();
        let what = match deed {
            Deed::Undo => return self.undo(t_s, MomentSource::Hand),
            Deed::Redo => return self.redo(t_s, MomentSource::Hand),
            Deed::Break if self.is_break() => Happened::Resume,
            Deed::Break => Happened::Break,
            Deed::Turn => Happened::Turn {
                item: (item + 1) % self.setup.plan.practise.len().max(1),
            },
            Deed::StepUp => Happened::Step { number: step + 1 },
            Deed::StepDown => Happened::Step {
                number: step.saturating_sub(1),
            },
            Deed::Reached => Happened::Reached,
            Deed::NearMiss => Happened::NearMiss,
            Deed::Cue => Happened::Cue,
            Deed::Offer => Happened::Offer,
            Deed::Treat => Happened::Treat,
            // Its words are asked for after the session.
            Deed::Note => Happened::Note(String::new()),
        };
        if let Happened::Step { number } = what
            && self.setup.plan.earns(item, number).is_empty()
        {
            return Done::Refused(Refusal::NoSuchStep);
        }
        self.add(SessionEvent {
            t_s,
            u_ms,
            source: MomentSource::Hand,
            what,
        })
    }

    fn undo(&mut self, t_s: f64, source: MomentSource) -> Done {
        match self.log.undo_target().map(|entry| entry.number) {
            Some(number) => self.aside(number, t_s, source),
            None => Done::Refused(Refusal::NothingToUndo),
        }
    }

    fn redo(&mut self, t_s: f64, source: MomentSource) -> Done {
        match self.log.redo_target().map(|entry| entry.number) {
            Some(number) => self.aside(number, t_s, source),
            None => Done::Refused(Refusal::NothingAside),
        }
    }

    /// Sets an event aside, or takes it back in where it is aside already.
    fn aside(&mut self, number: i64, t_s: f64, source: MomentSource) -> Done {
        let can_be = self.log.undoable().find(|e| e.number == number);
        let Some((event, is_aside)) = can_be.map(|e| (e.event.clone(), !e.is_aside)) else {
            return Done::Refused(Refusal::NothingToUndo);
        };
        self.add(SessionEvent {
            t_s,
            u_ms: 0.0,
            source,
            what: Happened::Aside {
                target: number,
                is_aside,
            },
        });
        Done::Aside(event.what, event.t_s, is_aside)
    }
}

/// What a sound that was heard is in a session.
enum Meaning {
    Mark,
    /// The cue of this thing of the plan.
    Cue(usize),
    Nothing,
}

/// A taught word with the name of a behaviour's cue asks for that behaviour: of
/// the thing practised now, or else of the next in the plan that has it. Any
/// other taught sound marks, or only the plan's bridge where it names one.
fn meaning(sound: &Sound, plan: &Plan, item: usize) -> Meaning {
    if sound.kind == SoundKind::Impact {
        return Meaning::Nothing;
    }
    let is_bridge = |name: &String| *name == sound.name;
    if sound.kind == SoundKind::Word && plan.is_cue(&sound.name) {
        if plan.bridge.as_ref().is_some_and(is_bridge) {
            return Meaning::Mark;
        }
        let items = plan.practise.len();
        let asked = (0..items)
            .map(|k| (item + k) % items)
            .find(|k| plan.behaviour_of(*k).is_some_and(|b| b.is_cue(&sound.name)));
        return asked.map_or(Meaning::Nothing, Meaning::Cue);
    }
    if plan.bridge.as_ref().is_none_or(is_bridge) {
        Meaning::Mark
    } else {
        Meaning::Nothing
    }
}

#[cfg(test)]
#[path = "course_tests.rs"]
mod tests;
