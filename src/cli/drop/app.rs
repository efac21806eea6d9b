//! The drill at work: what keys, sounds and time do, and what is to be seen.

use std::io;
use std::time::Duration;

use super::keep::Keeper;
use crate::drill::{Call, Caller, Event, Feedback, Phase, State, Way, step};
use crate::hand::{HandEvent, Key, KeyPath, Source};
use crate::live::{Happening, Live, Stamped};
use crate::measure::words;
use crate::screen::view::DrillView;
use crate::screen::view::drill::Last;
use crate::screen::{App, Binding, KeyMap, Log};
use crate::sound::monotonic::mono_ns;
use crate::timeline::{Moment, MomentKind, MomentSource, Outcome, Sound, SoundKind};

/// How long a warning stays, in seconds.
const WARNING_S: f64 = 10.0;
/// A mark below this is told to be faint, in dBFS: a convention.
const FAINT_DBFS: f64 = -40.0;
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
        help: "Show these keys, or the drill again.",
    },
];

/// A drill at work.
pub(super) struct Drill {
    pub(super) state: State,
    pub(super) keeper: Option<Keeper>,
    pub(super) signal: Option<i32>,
    pub(super) trouble: Option<String>,
    live: Live,
    caller: Caller,
    calls: Vec<Call>,
    keys: KeyMap<Action>,
    path: Option<KeyPath>,
    log: Log,
    shows_help: bool,
    is_dirty: bool,
    is_over: bool,
    /// The last mark and whether a picture has shown it, for the log.
    unshown_s: Option<f64>,
}

impl Drill {
    pub(super) fn new(
        state: State,
        live: Live,
        caller: Caller,
        keys: KeyMap<Action>,
        path: Option<KeyPath>,
        keeper: Option<Keeper>,
        log: Log,
    ) -> Self {
        let mut drill = Self {
            state,
            keeper,
            signal: None,
            trouble: None,
            live,
            caller,
            calls: Vec::new(),
            keys,
            path,
            log,
            shows_help: false,
            is_dirty: true,
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
            Some(Action::Help) => self.shows_help = !self.shows_help,
            Some(Action::Moment) | None => {}
        }
    }

    fn moment(&mut self, press: &HandEvent, at: Option<(f64, f64)>) {
        if self.state.phase != Phase::On {
            return;
        }
        let Some((t_s, clock_u_ms)) = at else {
            let words = "The press came before any sound and has no place; press again.";
            return self.warn(self.state.now_s, words.to_owned(), false);
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

    /// What is to be seen.
    pub(super) fn view(&self) -> DrillView {
        let state = &self.state;
        let setup = &state.setup;
        let done = state.moments_counted().count();
        let shows_lags = setup.feedback == Feedback::Each;
        let ball = self.caller.ball(now_s());
        let last = state.last().filter(|_| shows_lags).map(|p| Last {
            outcome: p.outcome,
            lag_ms: p.lag_ms,
        });
        let call = self.caller.words().filter(|words| *words != "WAIT");
        let large = match (state.phase, call) {
            (Phase::Paused, _) => Some("PAUSED".to_owned()),
            (_, Some(call)) => Some(call.to_owned()),
            _ if !shows_lags && done > 0 => Some(format!("DROP {done}")),
            _ if last.is_none() => Some("READY".to_owned()),
            _ => None,
        };
        let summary = state.summary();
        let middle = match (summary.median_ms, summary.variable_error_n1_ms) {
            (Some(median), Some(spread)) if shows_lags => format!(
                "Median {}   spread {spread:.0} ms (VE, divisor n-1)",
                words::lag(median)
            ),
            (Some(median), None) if shows_lags => format!("Median {}", words::lag(median)),
            _ => String::new(),
        };
        let shares = [
            (Outcome::OnTime, summary.on_time),
            (Outcome::Early, summary.early),
            (Outcome::Late, summary.late),
            (Outcome::Missed, summary.missed),
            (Outcome::Stray, summary.stray),
        ];
        DrillView {
            title: format!("Ball drop: mark the {}", of_ball(setup.kind)),
            progress: match (state.drops_left(), setup.drops) {
                (Some(left), Some(all)) => format!("{done} of {all} drops, {left} left"),
                _ => super::count(done, "drop", "drops"),
            },
            last,
            large,
            status: self.status(),
            lags_ms: shows_lags.then(|| state.told().filter_map(|p| p.lag_ms).collect()),
            aim: setup.rules.aim,
            middle,
            counts: shares
                .iter()
                .filter(|_| shows_lags)
                .map(|(outcome, share)| (*outcome, share.count))
                .collect(),
            level: level(state),
            warning: state
                .warning
                .as_ref()
                .filter(|(t_s, _)| state.now_s - t_s < WARNING_S)
                .map(|(_, words)| words.clone()),
            ball: ball.map(|place| (place.height, place.is_caught)),
            keys: self.keys.short(),
            help: self.shows_help.then(|| self.keys.help()),
        }
    }

    fn status(&self) -> String {
        let state = &self.state;
        let instant = match state.setup.kind {
            MomentKind::Release => "when it leaves the hand",
            MomentKind::Top => "at the top of its first bounce",
            MomentKind::Floor | MomentKind::Behaviour => "when it hits the floor",
        };
        match (state.phase, state.setup.way) {
            (Phase::Done, _) => "Done.".to_owned(),
            (Phase::Paused, _) => "What is heard now does not count.".to_owned(),
            (_, Way::Ball) if state.waiting_mark_s().is_some() => {
                "Mark heard. The lag comes when the ball has stopped bouncing.".to_owned()
            }
            (_, Way::Ball) => format!("Let the ball fall, mark {instant}, let it bounce."),
            (_, Way::Screen) => format!("Watch the ball and mark {instant}."),
            (_, Way::Partner) => match self.caller.words() {
                Some("WAIT") | None => "Partner: wait for the word, ball in hand.".to_owned(),
                Some("HOLD IT") => "Partner: feint, and hold the ball. Do not press.".to_owned(),
                Some(_) => format!("Partner: drop it, and press {instant}."),
            },
        }
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
            Happening::Sound(sound, u_ms) => {
                if is_mark(&sound) {
                    self.unshown_s = Some(sound.t_s);
                }
                self.change(Event::Sound(sound, u_ms));
            }
            Happening::Drop(drop) => self.change(Event::Drop(drop)),
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
            Happening::Failed(words) => {
                self.log.line(&words);
                self.trouble = Some(words);
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
        if let (Some(keeper), true) = (&mut self.keeper, std::mem::take(&mut self.is_dirty)) {
            keeper.keep(&self.state)?;
        }
        Ok(())
    }

    fn is_over(&self) -> bool {
        self.is_over
    }
}

/// Seconds of the monotonic clock.
fn now_s() -> f64 {
    mono_ns() as f64 * 1e-9
}

fn is_mark(sound: &Sound) -> bool {
    sound.kind != SoundKind::Impact
}

fn of_ball(kind: MomentKind) -> &'static str {
    match kind {
        MomentKind::Release => "release",
        MomentKind::Top => "top of the bounce",
        MomentKind::Floor | MomentKind::Behaviour => "floor",
    }
}

/// The level of the sound, in words.
fn level(state: &State) -> String {
    let mark = state.heard.sounds.iter().rev().find(|s| is_mark(s));
    let now = match state.peak_dbfs {
        dbfs if dbfs > -1.0 => "too loud".to_owned(),
        dbfs if dbfs.is_finite() => format!("{dbfs:.0} dB"),
        _ => "silence".to_owned(),
    };
    match mark {
        Some(mark) if mark.level_dbfs < FAINT_DBFS => format!(
            "Sound {now}; last mark {:.0} dB: faint, move the microphone nearer",
            mark.level_dbfs
        ),
        Some(mark) => format!("Sound {now}; last mark {:.0} dB: good", mark.level_dbfs),
        None => format!("Sound {now}; no mark yet"),
    }
}

/// In the place of a picture where there is no screen: a line for what is new.
pub(super) struct Lines {
    told: Vec<(Option<f64>, Option<f64>)>,
    warned: Option<f64>,
    words: &'static str,
}

impl Lines {
    pub(super) fn new() -> Self {
        Self {
            told: Vec::new(),
            warned: None,
            words: "",
        }
    }

    /// Writes a line for each pair, warning and call that was not told yet.
    pub(super) fn write(&mut self, drill: &Drill, out: &mut dyn io::Write) -> io::Result<()> {
        let state = &drill.state;
        if let Some((t_s, words)) = &state.warning
            && self.warned.replace(*t_s) != Some(*t_s)
        {
            writeln!(out, "! {words}")?;
        }
        let call = drill.caller.words().unwrap_or("");
        if call != self.words {
            self.words = call;
            if !call.is_empty() {
                writeln!(out, "Partner: {}.", call.to_lowercase())?;
            }
        }
        if state.setup.feedback == Feedback::Each {
            for pair in state.told() {
                let key = (pair.moment_s, pair.mark_s);
                if self.told.contains(&key) {
                    continue;
                }
                self.told.push(key);
                let n = state
                    .moments_counted()
                    .filter(|m| Some(m.t_s) <= pair.moment_s)
                    .count();
                match (pair.lag_ms, pair.outcome) {
                    (Some(ms), Outcome::OnTime) => {
                        writeln!(out, "Drop {n}: {}, on time.", words::lag(ms))?;
                    }
                    (Some(ms), _) => writeln!(out, "Drop {n}: {}.", words::lag(ms))?,
                    (None, Outcome::Missed) => writeln!(out, "Drop {n}: missed.")?,
                    (None, _) => writeln!(out, "A stray mark.")?,
                }
            }
        }
        out.flush()
    }
}
