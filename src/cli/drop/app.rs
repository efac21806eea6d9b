//! The drill at work: what keys, sounds and time do.

use std::sync::mpsc::Receiver;
use std::time::Duration;

use super::keep::Keeper;
use crate::cli::going_on::{Keeping, OUTSIDE, not_kept, pedal_gone};
use crate::drill::{Call, Caller, Event, Phase, State, Way, step};
use crate::hand::{HandEvent, Key, KeyPath, Source};
use crate::journal::JournalError;
use crate::listen::News;
use crate::live::{Happening, Live, Stamped};
use crate::screen::{App, Binding, KeyMap, Log};
use crate::sound::monotonic::mono_ns;
use crate::timeline::{Moment, MomentSource};

/// Standard uncertainty of an instant seen on a screen, in milliseconds: pictures
/// come 33 ms apart (33/√12 = 9.5), and a terminal and its display add 0 to 60 ms
/// more (60/√12 = 17.3; common practice, no source), of which nothing is known.
pub(super) const SCREEN_U_MS: f64 = 19.8;

/// What a key does in a drill.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Action {
    Moment,
    Pause,
    Undo,
    End,
    Help,
}

/// The keys of a drill; a partner's first.
pub(super) const TABLE: &[Binding<Action>] = &[
    Binding {
        action: Action::Moment,
        name: "moment",
        word: "now",
        help: "The moment is now (the partner's press; a pedal does the same).",
    },
    Binding {
        action: Action::Pause,
        name: "pause",
        word: "pause",
        help: "Pause; again to go on. What is heard in a pause does not count.",
    },
    Binding {
        action: Action::Undo,
        name: "undo",
        word: "undo",
        help: "The last drop does not count. It is kept, and marked as set aside.",
    },
    Binding {
        action: Action::End,
        name: "end",
        word: "end",
        help: "End the drill and see what it comes to.",
    },
    Binding {
        action: Action::Help,
        name: "help",
        word: "help",
        help: "Show these keys.",
    },
];

/// A drill at work.
pub(super) struct Drill {
    pub(super) state: State,
    pub(super) keeper: Option<Keeper>,
    pub(super) signal: Option<i32>,
    pub(super) trouble: Option<String>,
    /// Presses that make no moments, in seconds.
    pub(super) presses_s: Vec<f64>,
    live: Live,
    pub(super) caller: Caller,
    calls: Vec<Call>,
    pub(super) keys: KeyMap<Action>,
    path: Option<KeyPath>,
    log: Log,
    /// The taught sounds that are listened for.
    pub(super) names: Vec<String>,
    /// Whether there is a screen; lines else.
    has_screen: bool,
    pub(super) shows_help: bool,
    is_dirty: bool,
    keeping: Keeping,
    is_over: bool,
    /// The last mark and whether a picture has shown it, for the log.
    unshown_s: Option<f64>,
}

/// What a drill begins with.
pub(super) struct Begin {
    pub(super) state: State,
    pub(super) live: Live,
    pub(super) caller: Caller,
    pub(super) keys: KeyMap<Action>,
    pub(super) path: Option<KeyPath>,
    pub(super) keeper: Option<Keeper>,
    pub(super) log: Log,
    pub(super) names: Vec<String>,
    pub(super) has_screen: bool,
}

impl Drill {
    pub(super) fn new(begin: Begin) -> Self {
        let mut drill = Self {
            state: begin.state,
            keeper: begin.keeper,
            signal: None,
            trouble: None,
            presses_s: Vec::new(),
            live: begin.live,
            caller: begin.caller,
            calls: Vec::new(),
            keys: begin.keys,
            path: begin.path,
            log: begin.log,
            names: begin.names,
            has_screen: begin.has_screen,
            shows_help: false,
            is_dirty: true,
            keeping: Keeping::default(),
            is_over: false,
            unshown_s: None,
        };
        drill.caller.begin(now_s());
        drill
    }

    fn change(&mut self, event: Event) {
        let none = State::new(self.state.setup.clone());
        let before = std::mem::replace(&mut self.state, none);
        self.state = step(before, event);
        self.is_dirty = true;
    }

    fn note(&mut self, kind: &str, t_s: Option<f64>, words: Option<&str>) {
        if let Some(keeper) = &mut self.keeper {
            keeper.note(kind, t_s, words);
        }
    }

    fn pressed(&mut self, press: &HandEvent, at: Option<(f64, f64)>) {
        // Whatever key it is: what it does would not be seen behind the help. A
        // pedal is the partner's, who does not look.
        if self.close_help() && press.source == Source::Terminal {
            return;
        }
        let is_partner = self.state.setup.way == Way::Partner;
        let action = match (&press.source, &press.key) {
            (Source::Device(_), _) => Some(Action::Moment),
            // Many pedals that act as keyboards send enter.
            (_, Key::Named(name)) if is_partner && name == "enter" => Some(Action::Moment),
            (_, key) => self.keys.action(key),
        };
        match action {
            Some(Action::Moment) if is_partner => self.moment(press, at),
            Some(Action::Pause) => self.pause(),
            Some(Action::Undo) => self.undo(),
            Some(Action::End) => self.live.stop(),
            Some(Action::Help) => self.shows_help = true,
            // Without a partner: held against the sound of the ball, at the end.
            Some(Action::Moment) => self.presses_s.extend(
                at.map(|(t_s, _)| t_s - self.path.map_or(0.0, |path| path.delay_ms * 1e-3)),
            ),
            None => {}
        }
    }

    /// Whether the help was on the screen, which it is no longer.
    fn close_help(&mut self) -> bool {
        self.has_screen && std::mem::take(&mut self.shows_help)
    }

    fn moment(&mut self, press: &HandEvent, at: Option<(f64, f64)>) {
        if self.state.phase != Phase::On {
            return;
        }
        let Some((t_s, clock_u_ms)) = at else {
            return self.warn(self.state.now_s, OUTSIDE.to_owned(), false);
        };
        let (late_ms, key_u_ms) = match self.path {
            Some(path) => (path.delay_ms, path.u_ms()),
            None => (0.0, press.u_ms),
        };
        let moment = Moment {
            t_s: t_s - late_ms * 1e-3,
            kind: self.state.setup.kind,
            source: MomentSource::Hand,
            label: String::new(),
        };
        self.change(Event::Moment(moment, clock_u_ms.hypot(key_u_ms)));
        self.caller.pressed(now_s());
    }

    fn undo(&mut self) {
        let before = self.state.undone.len();
        self.change(Event::Undo);
        let words = match self.state.undone.len() {
            n if n > before => "The last drop is set aside and does not count.",
            _ => "There is no drop to set aside.",
        };
        let t_s = self.state.now_s;
        self.change(Event::Warning {
            t_s,
            words: words.to_owned(),
            spoils: false,
        });
    }

    fn pause(&mut self) {
        let t_s = self.state.now_s;
        let kind = match self.state.phase {
            Phase::Paused => "resume",
            _ => "pause",
        };
        self.change(Event::Pause(t_s));
        self.note(kind, Some(t_s), None);
        match self.state.phase {
            Phase::On => self.caller.begin(now_s()),
            _ => self.caller.rest(),
        }
    }

    fn warn(&mut self, t_s: f64, words: String, spoils: bool) {
        self.log.line(&words);
        let kind = if spoils { "gap" } else { "warning" };
        self.note(kind, Some(t_s), Some(&words));
        self.change(Event::Warning { t_s, words, spoils });
    }

    /// A call of the caller's, in its place.
    fn called(&mut self, call: Call, at: Option<(f64, f64)>) {
        let Some((t_s, clock_u_ms)) = at else {
            return;
        };
        match call {
            Call::Catch(_) => {
                self.change(Event::Catch(t_s));
                self.note("catch", Some(t_s), None);
            }
            Call::Moment(_) => {
                let moment = Moment {
                    t_s,
                    kind: self.state.setup.kind,
                    source: MomentSource::Hand,
                    label: "on the screen".to_owned(),
                };
                self.change(Event::Moment(moment, clock_u_ms.hypot(SCREEN_U_MS)));
            }
        }
    }

    /// Lets the sound and the hands go, and ends the drill in the journal.
    ///
    /// # Errors
    /// The journal cannot be written.
    pub(super) fn end(&mut self, told: Receiver<Happening>) -> Result<(), JournalError> {
        self.live.close(told);
        let keeper = self.keeper.as_mut();
        keeper.map_or(Ok(()), |keeper| keeper.end(&self.state))
    }

    /// Logs when a picture showed a mark.
    pub(super) fn shown(&mut self) {
        if let Some(t_s) = self.unshown_s.take() {
            self.log.line(&format!("shown: mark at {t_s:.6} s"));
        }
    }
}

impl App for Drill {
    type Event = Happening;

    fn take(&mut self, happening: Happening) -> bool {
        match happening {
            Happening::Heard(news) => {
                match &news {
                    News::Sound(heard) => {
                        if heard.sound.is_mark() {
                            self.unshown_s = Some(heard.sound.t_s);
                        }
                        if let Some(keeper) = &mut self.keeper {
                            keeper.heard(heard);
                        }
                    }
                    News::InPraise(sound) => {
                        self.note("in_praise", Some(sound.t_s), Some(&sound.name));
                    }
                    News::Drop(_) => {}
                }
                self.change(Event::Heard(news));
            }
            Happening::Now { t_s, peak_dbfs } => {
                let half = |t: f64| (t * 2.0).floor();
                let is_new = half(t_s) != half(self.state.now_s);
                let was_dirty = self.is_dirty;
                self.change(Event::Now { t_s, peak_dbfs });
                // The journal has something to keep when a miss has become one.
                self.is_dirty = was_dirty || is_new;
                if self.state.phase == Phase::Done {
                    self.live.stop();
                }
                return is_new;
            }
            Happening::Mic(t_s, event) => {
                let spoils = event.spoils_lags();
                self.warn(t_s, event.to_string(), spoils);
            }
            Happening::Placed(stamp, at) => match stamp.what {
                Stamped::Press(press) => self.pressed(&press, at),
                Stamped::Own(n) => {
                    if let Some(call) = self.calls.get(n as usize).copied() {
                        self.called(call, at);
                    }
                }
            },
            Happening::Again(_) => return self.close_help(),
            Happening::Resize => {}
            Happening::Leave => self.live.stop(),
            Happening::Signal(signal) => {
                self.signal = Some(signal);
                self.live.stop();
            }
            Happening::Ended(heard) => {
                self.change(Event::Ended(heard));
                self.is_over = true;
            }
            Happening::NotKept(why) => {
                self.warn(self.state.now_s, not_kept("drill", &why), false);
            }
            Happening::PedalGone(name) => {
                let words = pedal_gone(&name, &self.keys.key_of("moment"));
                self.warn(self.state.now_s, words, false);
            }
            Happening::Failed(words) => {
                self.log.line(&words);
                self.trouble = Some(words);
                // What was heard up to here stands.
                self.change(Event::Ended(self.state.heard.clone()));
                self.is_over = true;
            }
        }
        true
    }

    fn tick(&mut self) -> bool {
        if self.state.phase != Phase::On {
            return false;
        }
        let now_s = now_s();
        let (was_moving, words) = (self.caller.is_moving(), self.caller.words());
        if let Some(call) = self.caller.tick(now_s) {
            let (Call::Moment(at_s) | Call::Catch(at_s)) = call;
            let own = u32::try_from(self.calls.len()).unwrap_or(u32::MAX);
            self.calls.push(call);
            self.live.place((at_s * 1e9) as i64, own);
        }
        was_moving || self.caller.is_moving() || self.caller.words() != words
    }

    fn patience(&self) -> Duration {
        match (self.state.setup.way, self.caller.is_moving()) {
            (_, true) => Duration::from_millis(10),
            (Way::Ball, _) => Duration::from_millis(250),
            _ => Duration::from_millis(30),
        }
    }

    fn after(&mut self) -> anyhow::Result<()> {
        let Some(keeper) = self.keeper.as_mut().filter(|_| self.is_dirty) else {
            return Ok(());
        };
        let said = self.keeping.keep(|| keeper.keep(&self.state));
        self.is_dirty = self.keeping.is_behind();
        if let Some(words) = said {
            self.log.line(&words);
            let (t_s, spoils) = (self.state.now_s, false);
            self.change(Event::Warning { t_s, words, spoils });
        }
        Ok(())
    }

    fn is_over(&self) -> bool {
        self.is_over
    }
}

/// Seconds of the monotonic clock.
pub(super) fn now_s() -> f64 {
    mono_ns() as f64 * 1e-9
}

#[cfg(test)]
#[path = "app_tests.rs"]
mod tests;
