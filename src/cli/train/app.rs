//! A session at work: what keys, sounds, files and time do, and what is to be seen.

use std::time::Duration;

use jiff::Timestamp;

use super::keep::Keeper;
use crate::clock::WallWatch;
use crate::hand::{HandEvent, Key, KeyPath, Source};
use crate::listen::{News, Timeline};
use crate::live::{Happening, Live, Stamped};
use crate::measure::session::Warning;
use crate::page::minutes;
use crate::screen::view::TrainView;
use crate::screen::view::drill::Last;
use crate::screen::{App, KeyMap, Log as ProgramLog};
use crate::session::{Looking, SessionMeasures, Setup, measure_looked, of_sound, practised};
use crate::sound::MicEvent;
use crate::sound::monotonic::mono_ns;
use crate::timeline::session::{Happened, Line, Log, SessionEvent};
use crate::timeline::{MomentSource, Sound};

use super::keys::Action;

/// A session at work.
pub(super) struct Training {
    pub(super) log: Log,
    pub(super) setup: Setup,
    pub(super) keeper: Option<Keeper>,
    pub(super) signal: Option<i32>,
    pub(super) trouble: Option<String>,
    pub(super) now_s: f64,
    live: Live,
    keys: KeyMap<Action>,
    path: Option<KeyPath>,
    lines: std::iter::Peekable<std::vec::IntoIter<Line>>,
    program_log: ProgramLog,
    wall: WallWatch,
    told: String,
    /// What befell the sound, and when: for the lines where there is no screen.
    pub(super) troubles: Vec<(f64, String)>,
    /// Bridge words heard within praise or talk.
    pub(super) praise: Timeline,
    next: i64,
    shows_help: bool,
    shows_numbers: bool,
    is_over: bool,
}

/// What a session begins with.
pub(super) struct Begin {
    pub(super) setup: Setup,
    pub(super) live: Live,
    pub(super) keys: KeyMap<Action>,
    pub(super) path: Option<KeyPath>,
    pub(super) lines: Vec<Line>,
    pub(super) keeper: Option<Keeper>,
    pub(super) program_log: ProgramLog,
}

impl Training {
    pub(super) fn new(begin: Begin) -> Self {
        Self {
            log: Log::default(),
            setup: begin.setup,
            keeper: begin.keeper,
            signal: None,
            trouble: None,
            now_s: 0.0,
            live: begin.live,
            keys: begin.keys,
            path: begin.path,
            lines: begin.lines.into_iter().peekable(),
            program_log: begin.program_log,
            wall: WallWatch::default(),
            told: "Listening.".to_owned(),
            troubles: Vec::new(),
            praise: Timeline::default(),
            next: 1,
            shows_help: false,
            shows_numbers: false,
            is_over: false,
        }
    }

    /// What the session came to, or comes to so far.
    pub(super) fn looking(&self) -> Looking {
        Looking::at(&self.log, &self.setup, self.now_s, self.is_over)
    }

    fn add(&mut self, t_s: f64, u_ms: f64, source: MomentSource, what: Happened) {
        let event = SessionEvent {
            t_s,
            u_ms,
            source,
            what,
        };
        let number = self.next;
        self.next += 1;
        if let Some(keeper) = &mut self.keeper {
            keeper.take(number, event.clone());
        }
        self.log.apply(number, event);
    }

    fn heard(&mut self, sound: &Sound, u_ms: f64) {
        if let Some(what) = of_sound(sound, &self.setup.plan) {
            self.add(sound.t_s, u_ms, MomentSource::Sound, what);
        }
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
        let action = match (&press.source, &press.key) {
            (Source::Device(_), _) => Some(Action::Reached),
            // Many pedals that act as keyboards send enter.
            (_, Key::Named(name)) if name == "enter" => Some(Action::Reached),
            (_, key) => self.keys.action(key),
        };
        let Some(action) = action else {
            return;
        };
        match action {
            Action::End => return self.live.stop(),
            Action::Help => self.shows_help = !self.shows_help,
            Action::Numbers => self.shows_numbers = !self.shows_numbers,
            _ => {}
        }
        let Some((t_s, clock_u_ms)) = at else {
            if !matches!(action, Action::Help | Action::Numbers) {
                self.told = "That press came before any sound and has no place.".to_owned();
            }
            return;
        };
        let (late_ms, key_u_ms) = match self.path {
            Some(path) => (path.delay_ms, path.u_ms()),
            None => (0.0, press.u_ms),
        };
        let (t_s, u_ms) = (t_s - late_ms * 1e-3, clock_u_ms.hypot(key_u_ms));
        let (item, step) = practised(&self.log, &self.setup);
        let what = match action {
            Action::Break if self.is_break() => Happened::Resume,
            Action::Break => Happened::Break,
            Action::Turn => Happened::Turn {
                item: (item + 1) % self.setup.plan.practise.len().max(1),
            },
            Action::StepUp => Happened::Step { number: step + 1 },
            Action::StepDown => Happened::Step {
                number: step.saturating_sub(1),
            },
            Action::Undo => return self.undo(t_s, MomentSource::Hand),
            Action::Redo => return self.redo(t_s, MomentSource::Hand),
            Action::End | Action::Help | Action::Numbers => return,
            Action::Reached => Happened::Reached,
            Action::Cue => Happened::Cue,
            Action::NearMiss => Happened::NearMiss,
            Action::Treat => Happened::Treat,
            Action::Offer => Happened::Offer,
            // Its words are asked for after the session.
            Action::Note => Happened::Note(String::new()),
        };
        if let Happened::Step { number } = what
            && self.setup.plan.earns(item, number).is_empty()
        {
            self.told = "There is no such step.".to_owned();
            return;
        }
        self.told = format!("{} noted. u takes it back.", word(&what));
        self.add(t_s, u_ms, MomentSource::Hand, what);
    }

    fn undo(&mut self, t_s: f64, source: MomentSource) {
        let Some(entry) = self.log.undo_target() else {
            self.told = "There is nothing to take back.".to_owned();
            return;
        };
        let target = entry.number;
        self.told = format!(
            "{} at {} does not count. It is kept, and marked as set aside.",
            word(&entry.event.what),
            clock(entry.event.t_s)
        );
        let is_aside = true;
        self.add(t_s, 0.0, source, Happened::Aside { target, is_aside });
    }

    fn redo(&mut self, t_s: f64, source: MomentSource) {
        let Some(entry) = self.log.redo_target() else {
            self.told = "Nothing is set aside.".to_owned();
            return;
        };
        let target = entry.number;
        self.told = format!(
            "{} at {} counts again.",
            word(&entry.event.what),
            clock(entry.event.t_s)
        );
        let is_aside = false;
        self.add(t_s, 0.0, source, Happened::Aside { target, is_aside });
    }

    /// The events of the file up to now.
    fn take_lines(&mut self, until_s: f64) {
        while let Some(line) = self.lines.next_if(|l| l.t_s() <= until_s) {
            match line {
                Line::Undo(t_s) => self.undo(t_s, MomentSource::File),
                Line::Redo(t_s) => self.redo(t_s, MomentSource::File),
                Line::Event(e) => self.add(e.t_s, e.u_ms, e.source, e.what),
            }
        }
    }

    /// Words that were given after the session.
    pub(super) fn note(&mut self, t_s: f64, words: &str) {
        let what = Happened::Note(words.to_owned());
        self.add(t_s, 0.0, MomentSource::Hand, what);
    }

    fn is_break(&self) -> bool {
        let is_of = |what: &Happened| matches!(what, Happened::Break | Happened::Resume);
        let last = self.log.counted().into_iter().rfind(|e| is_of(&e.what));
        last.is_some_and(|e| e.what == Happened::Break)
    }

    fn mic(&mut self, t_s: f64, event: &MicEvent) {
        self.program_log.line(&event.to_string());
        self.told = event.to_string();
        self.troubles.push((t_s, event.to_string()));
        let missing_ms = match event {
            MicEvent::Gap { missing_ms, .. } => *missing_ms,
            _ if event.spoils_lags() => 0.0,
            _ => return,
        };
        self.add(t_s, 0.0, MomentSource::Sound, Happened::Gap { missing_ms });
    }

    /// The warnings that hold now.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        self.looking().warnings(&self.setup)
    }

    /// What is to be seen.
    pub(super) fn view(&self) -> TrainView {
        let at = self.looking();
        let m = measure_looked(&self.log, &self.setup, &at);
        let plan = &self.setup.plan;
        let (item, step) = practised(&self.log, &self.setup);
        let who = match plan.animal.as_str() {
            "" => String::new(),
            animal => format!("{animal}: "),
        };
        let what = match plan.is_pairing(item) {
            true => plan.title(item).to_owned(),
            false => format!("{}, step {step}", plan.title(item)),
        };
        let warnings = at.warnings(&self.setup);
        let last = at.pairs().iter().filter(|p| p.lag_ms.is_some());
        let last = last.max_by(|a, b| a.mark_s.unwrap_or(0.0).total_cmp(&b.mark_s.unwrap_or(0.0)));
        let large = match (self.is_break(), last) {
            (true, _) => Some("BREAK".to_owned()),
            (false, None) if m.marks == 0 => Some("READY".to_owned()),
            (false, None) if m.marks == 1 => Some("1 MARK".to_owned()),
            (false, None) => Some(format!("{} MARKS", m.marks)),
            _ => None,
        };
        TrainView {
            title: format!("{who}{what}"),
            clock: format!("{} of {}", clock(self.now_s), clock(plan.length_min * 60.0)),
            last: last.map(|p| Last {
                outcome: p.outcome,
                lag_ms: p.lag_ms,
            }),
            large,
            earns: match plan.is_pairing(item) {
                true => "Mark, treat, wait until it has eaten; then wait a little, never alike."
                    .to_owned(),
                false => format!("Earns the mark: {}", plan.earns(item, step)),
            },
            tries: tries(&m, plan.title(item), step),
            pace: pace(&m),
            treats: treats(&m, plan.treats),
            times: times(&m, &self.setup),
            told: self.told.clone(),
            warning: warnings.first().map(|w| w.words.clone()),
            keys: self.keys.short(),
            help: self.shows_help.then(|| self.keys.help()),
            numbers: self.shows_numbers.then(|| numbers(&m, &warnings)),
        }
    }
}

impl App for Training {
    type Event = Happening;

    fn take(&mut self, happening: Happening) -> bool {
        match happening {
            Happening::Heard(News::Sound(sound, u_ms)) => self.heard(&sound, u_ms),
            Happening::Heard(News::InPraise(sound)) => self.praised(sound),
            Happening::Heard(News::Drop(_)) | Happening::Resize => {}
            Happening::Now { t_s, .. } => {
                let is_new = t_s.floor() != self.now_s.floor();
                self.now_s = t_s;
                let before = self.next;
                self.take_lines(t_s);
                return is_new || self.next != before;
            }
            Happening::Mic(t_s, event) => self.mic(t_s, &event),
            Happening::Placed(stamp, at) => {
                if let Stamped::Press(press) = stamp.what {
                    self.pressed(&press, at);
                }
            }
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
        self.add(self.now_s, 0.0, MomentSource::Sound, what);
        true
    }

    fn patience(&self) -> Duration {
        Duration::from_millis(250)
    }

    fn after(&mut self) -> anyhow::Result<()> {
        // The session goes on when the journal does not; what waits is tried again.
        let kept = self.keeper.as_mut().map_or(Ok(()), Keeper::keep);
        if let Err(error) = kept {
            self.program_log.line(&error.to_string());
            self.told = format!("Not kept yet: {error}.");
        }
        Ok(())
    }

    fn is_over(&self) -> bool {
        self.is_over
    }
}

/// "2:31".
pub(super) fn clock(s: f64) -> String {
    let whole = s.max(0.0) as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// What happened, in a word or two.
pub(super) fn word(what: &Happened) -> &'static str {
    match what {
        Happened::Mark(_) => "The mark",
        Happened::Cue => "The cue",
        Happened::Reached => "Reached its step:",
        Happened::NearMiss => "The near miss",
        Happened::Offer => "The unasked offer",
        Happened::Treat => "The treat",
        Happened::Break => "The break",
        Happened::Resume => "The end of the break",
        Happened::Turn { .. } => "The turn",
        Happened::Step { .. } => "The step",
        Happened::Note(_) => "The note",
        Happened::Gap { .. } => "Lost sound",
        Happened::ClockMoved { .. } => "The clock's move",
        Happened::Aside { .. } => "The undo",
    }
}

fn tries(m: &SessionMeasures, behaviour: &str, step: u32) -> String {
    let found = m
        .steps
        .iter()
        .find(|s| s.behaviour == behaviour && s.step == step);
    let Some(found) = found.filter(|s| s.tries > 0) else {
        return String::new();
    };
    let signs: Vec<String> = found.last_ten.chars().map(String::from).collect();
    let reached = found.last_ten.matches('+').count();
    format!("{}   {reached} of {} reached", signs.join(" "), signs.len())
}

fn pace(m: &SessionMeasures) -> String {
    match (m.pace.latest_per_min, m.pace.per_min) {
        (Some(now), Some(all)) => format!("{now:.1} marks a minute now, {all:.1} in all"),
        _ => String::new(),
    }
}

fn treats(m: &SessionMeasures, aside: Option<u32>) -> String {
    // Where no treat is noted, every mark is taken to be paid, and that is said.
    let used = m.treats.unwrap_or(m.marks);
    let taken = match m.treats {
        None if m.marks > 0 => ", if each mark was paid",
        _ => "",
    };
    let unpaid = m.unpaid.map_or(0, |u| u.count);
    let unpaid = match unpaid {
        0 => String::new(),
        n => format!("   unpaid {n}"),
    };
    match aside {
        Some(aside) => {
            let left = (aside as usize).saturating_sub(used);
            format!("Treats left: {left} of {aside}{taken}{unpaid}")
        }
        None => format!("Treats: {used}{taken}{unpaid}"),
    }
}

fn times(m: &SessionMeasures, setup: &Setup) -> String {
    let at = (!setup.word_at.is_onset()).then(|| format!("words at their {}", setup.word_at));
    let answer = m.answer_s.map(|s| format!("answer {s:.1} s"));
    let gap = m.treat_gap_s.map(|s| format!("treat gap {s:.1} s"));
    let parts: Vec<String> = [answer, gap, at].into_iter().flatten().collect();
    parts.join("   ")
}

fn numbers(m: &SessionMeasures, warnings: &[Warning]) -> Vec<String> {
    let mut all: Vec<String> = warnings
        .iter()
        .map(|w| format!("{} ({}): {}", w.words, w.rule.name(), w.numbers))
        .collect();
    if all.is_empty() {
        all.push("No rule speaks.".to_owned());
    }
    all.push(String::new());
    all.push(format!(
        "{} without breaks; {} marks",
        minutes(m.pace.active_s),
        m.marks
    ));
    for s in &m.steps {
        all.push(format!(
            "{}, step {}: {}",
            s.behaviour,
            s.step,
            crate::page::lean_words(&s.lean)
        ));
    }
    all
}
