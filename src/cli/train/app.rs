//! A session at work: what keys, sounds, files and time do.

use std::collections::HashMap;
use std::sync::mpsc::Receiver;
use std::time::Duration;

use jiff::Timestamp;

use super::keep::Keeper;
use super::keys::{Action, FIRST};
use super::view::{clock, told};
use crate::cli::going_on::{Keeping, OUTSIDE, not_kept, pedal_gone};
use crate::clock::WallWatch;
use crate::hand::{HandEvent, KeyPath, Source};
use crate::journal::JournalError;
use crate::listen::{News, Timeline};
use crate::live::{Happening, Live, Stamped};
use crate::measure::session::Warning;
use crate::measure::unheard::{Ears, unheard};
use crate::screen::{App, KeyMap, Log as ProgramLog, name_of};
use crate::session::{Course, Deed, Input, Looking, SessionMeasures, Setup};
use crate::sound::MicEvent;
use crate::sound::monotonic::mono_ns;
use crate::timeline::session::{Happened, Line};
use crate::timeline::{HeardSound, MomentSource, Sound};

/// A session at work.
pub(super) struct Training {
    pub(super) course: Course,
    pub(super) keeper: Option<Keeper>,
    pub(super) signal: Option<i32>,
    pub(super) trouble: Option<String>,
    pub(super) now_s: f64,
    pub(super) keys: KeyMap<Action>,
    pub(super) told: String,
    /// Audio problems and when they came, for the line mode.
    pub(super) troubles: Vec<(f64, String)>,
    /// Bridge words heard within praise or talk.
    pub(super) praise: Timeline,
    pub(super) shows: Shows,
    /// The loudest sample of the last second, in dBFS.
    pub(super) peak_dbfs: f64,
    /// The same of the second that is not over yet.
    rising_dbfs: f64,
    /// Seconds after an instant at which every mark at it is known.
    pub(super) known_after_s: f64,
    /// The taught sounds that are listened for.
    names: Vec<String>,
    /// Sounds that are no marks, in seconds.
    others_s: Vec<f64>,
    /// Whether there is a screen; lines else.
    has_screen: bool,
    live: Live,
    paths: HashMap<Source, KeyPath>,
    lines: std::iter::Peekable<std::vec::IntoIter<Line>>,
    program_log: ProgramLog,
    wall: WallWatch,
    keeping: Keeping,
    is_over: bool,
}

/// What the screen shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shows {
    Session,
    Help,
    Numbers,
    /// What happened; the event with this number is picked, or the latest.
    List(Option<i64>),
}

/// What a session begins with.
pub(super) struct Begin {
    pub(super) setup: Setup,
    pub(super) names: Vec<String>,
    pub(super) known_after_s: f64,
    pub(super) has_screen: bool,
    pub(super) told: String,
    pub(super) live: Live,
    pub(super) keys: KeyMap<Action>,
    pub(super) paths: HashMap<Source, KeyPath>,
    pub(super) lines: Vec<Line>,
    pub(super) keeper: Option<Keeper>,
    pub(super) program_log: ProgramLog,
}

impl Training {
    pub(super) fn new(begin: Begin) -> Self {
        Self {
            course: Course::new(begin.setup),
            keeper: begin.keeper,
            signal: None,
            trouble: None,
            now_s: 0.0,
            keys: begin.keys,
            told: begin.told,
            troubles: Vec::new(),
            praise: Timeline::default(),
            shows: Shows::Session,
            peak_dbfs: f64::NEG_INFINITY,
            rising_dbfs: f64::NEG_INFINITY,
            known_after_s: begin.known_after_s,
            names: begin.names,
            others_s: Vec::new(),
            has_screen: begin.has_screen,
            live: begin.live,
            paths: begin.paths,
            lines: begin.lines.into_iter().peekable(),
            program_log: begin.program_log,
            wall: WallWatch::default(),
            keeping: Keeping::default(),
            is_over: false,
        }
    }

    /// What the session comes to so far.
    pub(super) fn looking(&self) -> Looking {
        let (log, setup) = (self.course.log(), self.course.setup());
        Looking::at(log, setup, self.now_s, self.is_over)
    }

    /// The warnings that hold now.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        self.looking().warnings(self.course.setup())
    }

    fn heard(&mut self, heard: HeardSound) {
        if !heard.sound.is_mark() {
            self.others_s.push(heard.sound.t_s);
        }
        self.course.take(Input::Heard(heard));
    }

    /// The last mark that was heard, set aside or not.
    pub(super) fn last_mark(&self) -> Option<&Sound> {
        let entries = self.course.log().entries().iter();
        let marks = entries.filter_map(|e| match &e.event.what {
            Happened::Mark(sound) => Some(sound),
            _ => None,
        });
        marks.max_by(|a, b| a.t_s.total_cmp(&b.t_s))
    }

    /// What is to be said when no taught sound was ever heard although other sounds
    /// were.
    pub(super) fn unheard(&self) -> Option<String> {
        let looking = self.looking();
        let moments = looking.pairs().iter().filter_map(|p| p.moment_s);
        let moments_s: Vec<f64> = moments.collect();
        let setup = self.course.setup();
        unheard(&Ears {
            names: &self.names,
            is_heard: self.last_mark().is_some() || !self.praise.in_praise.is_empty(),
            moments_s: &moments_s,
            others_s: &self.others_s,
            window_s: (setup.before_ms * 1e-3, setup.after_ms * 1e-3),
            now_s: self.now_s,
        })
    }

    /// Seconds after a moment at which it is known that no mark came for it.
    pub(super) fn missed_after_s(&self) -> f64 {
        self.course.setup().after_ms * 1e-3 + self.known_after_s
    }

    /// A bridge word within praise or talk: told, and no mark.
    fn praised(&mut self, sound: Sound) {
        self.told = format!(
            "\"{}\" at {} was part of praise or talk: no mark.",
            sound.name,
            clock(sound.t_s)
        );
        self.praise.in_praise.push(sound);
    }

    fn pressed(&mut self, press: &HandEvent, at: Option<(f64, f64)>) {
        // Whatever key it is: what it does would not be seen behind the help. A
        // pedal is pressed by someone who does not look.
        if self.close_help() && press.source == Source::Terminal {
            return;
        }
        let Some(action) = self.keys.action_of(&press.source, &press.key, FIRST) else {
            if let Source::Device(device) = &press.source {
                let key = name_of(&press.key);
                self.told = format!("{key} of {device} has no meaning in settings.toml, [pedals].");
            }
            return;
        };
        match action {
            Action::End => self.live.stop(),
            Action::Help => self.show(Shows::Help),
            Action::Numbers => self.show(Shows::Numbers),
            Action::List => self.show(Shows::List(None)),
            Action::Deed(deed) => self.deed(deed, press, at),
        }
    }

    /// Whether the help was on the screen, which it is no longer.
    fn close_help(&mut self) -> bool {
        let is_shown = self.has_screen && self.shows == Shows::Help;
        if is_shown {
            self.shows = Shows::Session;
        }
        is_shown
    }

    /// Shows something, or the session again where it is shown already.
    fn show(&mut self, what: Shows) {
        let is_same = std::mem::discriminant(&what) == std::mem::discriminant(&self.shows);
        self.shows = if is_same { Shows::Session } else { what };
    }

    fn deed(&mut self, deed: Deed, press: &HandEvent, at: Option<(f64, f64)>) {
        let Some((t_s, clock_u_ms)) = at else {
            return self.trouble_at(self.now_s, OUTSIDE.to_owned());
        };
        let (late_ms, key_u_ms) = match self.paths.get(&press.source) {
            Some(path) => (path.delay_ms, path.u_ms()),
            None => (0.0, press.u_ms),
        };
        let (t_s, u_ms) = (t_s - late_ms * 1e-3, clock_u_ms.hypot(key_u_ms));
        if let Shows::List(picked) = self.shows
            && matches!(deed, Deed::StepUp | Deed::StepDown | Deed::Undo)
        {
            return self.pick(picked, deed, t_s);
        }
        let done = self.course.take(Input::Done { deed, t_s, u_ms });
        self.told = told(&done, &self.keys.key_of("undo"));
    }

    /// In the list of what happened the keys for steps go up and down, and undo
    /// sets what is picked aside or takes it back in. All others stay what they are.
    fn pick(&mut self, picked: Option<i64>, deed: Deed, t_s: f64) {
        let numbers: Vec<i64> = self.course.recent().iter().map(|e| e.number).collect();
        let at = numbers.iter().position(|n| Some(*n) == picked).unwrap_or(0);
        let at = match deed {
            Deed::StepUp => at.saturating_sub(1),
            Deed::StepDown => (at + 1).min(numbers.len().saturating_sub(1)),
            _ => at,
        };
        let picked = numbers.get(at).copied();
        self.shows = Shows::List(picked);
        if let (Deed::Undo, Some(number)) = (deed, picked) {
            let done = self.course.take(Input::SetAside { number, t_s });
            self.told = told(&done, &self.keys.key_of("undo"));
        }
    }

    /// The events of the file up to now.
    fn take_lines(&mut self, until_s: f64) -> bool {
        let mut is_new = false;
        while let Some(line) = self.lines.next_if(|l| l.t_s() <= until_s) {
            let done = self.course.take(Input::Line(line));
            self.told = told(&done, &self.keys.key_of("undo"));
            is_new = true;
        }
        is_new
    }

    /// Something that is told as it is.
    pub(super) fn tell(&mut self, t_s: f64, source: MomentSource, what: Happened) {
        self.course.take(Input::Told { t_s, source, what });
    }

    /// Something went wrong and the session goes on.
    fn trouble_at(&mut self, t_s: f64, words: String) {
        self.program_log.line(&words);
        self.told.clone_from(&words);
        self.troubles.push((t_s, words));
    }

    /// Lets the sound and the hands go, and ends the session in the journal; gives
    /// the measures that are kept with it.
    ///
    /// # Errors
    /// The journal cannot be written.
    pub(super) fn end(
        &mut self,
        told: Receiver<Happening>,
    ) -> Result<Option<SessionMeasures>, JournalError> {
        let ended_at = Timestamp::now();
        self.live.close(told);
        let (log, length_s) = (self.course.log(), self.now_s);
        let keeper = self.keeper.as_mut();
        keeper
            .map(|keeper| keeper.end(log, ended_at, length_s))
            .transpose()
    }

    fn mic(&mut self, t_s: f64, event: &MicEvent) {
        self.trouble_at(t_s, event.to_string());
        let missing_ms = match event {
            MicEvent::Gap { missing_ms, .. } => *missing_ms,
            _ if event.spoils_lags() => 0.0,
            _ => return,
        };
        self.tell(t_s, MomentSource::Sound, Happened::Gap { missing_ms });
    }
}

impl App for Training {
    type Event = Happening;

    fn take(&mut self, happening: Happening) -> bool {
        match happening {
            Happening::Heard(News::Sound(heard)) => self.heard(heard),
            Happening::Heard(News::InPraise(sound)) => self.praised(sound),
            Happening::Heard(News::Drop(_)) | Happening::Resize => {}
            Happening::Now { t_s, peak_dbfs } => {
                let is_new = t_s.floor() != self.now_s.floor();
                self.rising_dbfs = self.rising_dbfs.max(peak_dbfs);
                if is_new {
                    self.peak_dbfs = self.rising_dbfs;
                    self.rising_dbfs = f64::NEG_INFINITY;
                }
                self.now_s = t_s;
                return self.take_lines(t_s) || is_new;
            }
            Happening::Mic(t_s, event) => self.mic(t_s, &event),
            Happening::Placed(stamp, at) => {
                if let Stamped::Press(press) = stamp.what {
                    self.pressed(&press, at);
                }
            }
            Happening::Again(_) => return self.close_help(),
            Happening::Leave => self.live.stop(),
            Happening::Signal(signal) => {
                self.signal = Some(signal);
                self.live.stop();
            }
            Happening::Ended(heard) => {
                self.now_s = heard.duration_s;
                self.take_lines(heard.duration_s);
                let late = self.lines.by_ref().count();
                if late > 0 {
                    self.told =
                        format!("{late} events of the file lie after the end of the sound.");
                    eprintln!("Note: {}", self.told);
                }
                self.is_over = true;
            }
            Happening::NotKept(why) => self.trouble_at(self.now_s, not_kept("session", &why)),
            Happening::PedalGone(name) => {
                let words = pedal_gone(&name, &self.keys.key_of("moment"));
                self.trouble_at(self.now_s, words);
            }
            Happening::Failed(words) => {
                self.program_log.line(&words);
                self.trouble = Some(words);
                self.is_over = true;
            }
        }
        true
    }

    fn tick(&mut self) -> bool {
        let wall_s = Timestamp::now().as_duration().as_secs_f64();
        let Some(by_s) = self.wall.look(wall_s, mono_ns() as f64 * 1e-9) else {
            return false;
        };
        self.told = "The computer's clock moved; the session goes by the sound.".to_owned();
        let what = Happened::ClockMoved { by_s };
        self.tell(self.now_s, MomentSource::Sound, what);
        true
    }

    fn patience(&self) -> Duration {
        Duration::from_millis(250)
    }

    fn after(&mut self) -> anyhow::Result<()> {
        if let Some(keeper) = &mut self.keeper {
            let log = self.course.log();
            if let Some(words) = self.keeping.keep(|| keeper.keep(log)) {
                self.trouble_at(self.now_s, words);
            }
        }
        Ok(())
    }

    fn is_over(&self) -> bool {
        self.is_over
    }
}
