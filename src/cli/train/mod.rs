//! `marklag train`: a session with an animal, live.

mod app;
mod begin;
mod choose;
mod keep;
mod keys;
mod notes;
mod report;
mod unended;
mod view;

use std::io::{self, IsTerminal, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::mpsc::Receiver;

use anyhow::{Context, anyhow, bail};
use clap::Args;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::columns;
use super::keep_sound::begin_sound;
use super::review::{open_journal, word_at_parser};
use super::sound_in::SoundIn;
use super::summary::praise;
use super::trouble::Signalled;
use crate::ear::word::WordAt;
use crate::journal::{Bout, BoutKind, Home, Settings, settings_json};
use crate::live::{Happening, Live};
use crate::screen::{KeyMap, Log as ProgramLog, Look, Screen, run, view as views};
use crate::session::measure;
use crate::timeline::Plan;
use app::{Begin, Training};
pub(super) use begin::{observer, read_events, setup};
pub(super) use keep::Keeper;
pub(super) use report::{json, report};
pub(super) use unended::unended;

/// Run a session with an animal: clock, marks, treats, steps
#[derive(Debug, Args)]
pub(super) struct TrainCmd {
    /// The plan: its name in the journal, or a TOML file
    #[arg(value_name = "PLAN")]
    plan: Option<String>,
    /// With whom; a plan says it otherwise
    #[arg(long, value_name = "NAME")]
    animal: Option<String>,
    /// The session's limit in minutes; a plan says it otherwise
    #[arg(long, value_name = "MINUTES", allow_hyphen_values = true)]
    minutes: Option<f64>,
    /// Whose marks these are
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    /// Who presses the keys, if how they press was measured (the one who marks unless told)
    #[arg(long, value_name = "NAME")]
    presser: Option<String>,
    /// Listen for this taught sound only
    #[arg(long, value_name = "NAME")]
    bridge: Option<String>,
    /// Where in a spoken mark the mark is: where its sound begins, or at the word's
    /// perceptual centre, by a model
    #[arg(long, value_name = "WHERE", value_parser = word_at_parser())]
    word_at: Option<WordAt>,
    /// A pedal or second keyboard, by its name (docs/pedal.md); may be given several times
    #[arg(long, value_name = "NAME")]
    pedal: Vec<String>,
    /// Events from a table (time,event,detail) as if they were keyed
    #[arg(long, value_name = "FILE")]
    events: Option<PathBuf>,
    #[command(flatten)]
    sound: SoundIn,
    /// Keep the sound too, as a WAV in the home folder
    #[arg(long, conflicts_with = "no_keep")]
    keep_sound: bool,
    /// Keep a session from a recording in the journal (one by microphone always is)
    #[arg(long, requires = "from")]
    keep: bool,
    /// Keep nothing in the journal
    #[arg(long, conflicts_with = "keep")]
    no_keep: bool,
    /// Lines instead of a full screen, as where there is no terminal
    #[arg(long)]
    plain: bool,
    /// Print the measures as JSON
    #[arg(long)]
    json: bool,
    /// Bring a session that was never ended to its end: its id, its beginning, or "last"
    #[arg(long, value_name = "ID", conflicts_with_all = ["plan", "from", "events", "json"])]
    finish: Option<String>,
    /// Print which key or pedal does what; with --pedal, also the code of each key pressed
    #[arg(long, conflicts_with_all = ["plan", "from", "events", "json", "finish"])]
    keys: bool,
}

impl TrainCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        if let Some(wanted) = &self.finish {
            let mut journal = open_journal(home)?;
            let id = journal.find(wanted)?;
            return unended::finish(&mut journal, &id, out);
        }
        let mut settings = Settings::load(&home.settings_file())?;
        settings.bridge.word_at = self.word_at.unwrap_or(settings.bridge.word_at);
        let keys = KeyMap::new(keys::TABLE, |name| settings.keys.of(name))?;
        let keys = keys.with_pedals(&settings.pedals)?;
        if self.keys {
            return keys::tell(&keys, self.pedals(false)?, out);
        }
        let keeps = !self.no_keep && (!self.sound.is_recording() || self.keep || self.keep_sound);
        let mut plan = self.plan(home)?;
        let lines = self.lines()?;
        let last_time = choose::last_time(home, &plan, Timestamp::now())?;
        let taught = self.bridges(home, &mut plan)?;
        let pedals = self.pedals(true)?;
        let person = self.person.clone().or_else(|| plan.person.clone());
        let person = person.or_else(|| settings.person.clone());
        let mut setup = self.setup(home, plan, &settings, person.as_deref())?;
        let mut journal = keeps.then(|| open_journal(home)).transpose()?;
        if let Some(journal) = &mut journal {
            unended::offer_unended(journal, self.plain || self.json, out)?;
        }
        let origin = self.sound.origin(home)?;
        let rate_hz = origin.source.rate_hz();
        if let Some(words) = taught.narrow(rate_hz) {
            eprintln!("Note: {words}.");
        }
        let listening = taught.listening(rate_hz, None, setup.word_at)?;
        setup.word_at = listening.so_far().word_at;
        let known_after_s = listening.known_after_s();
        let kept = self
            .keep_sound
            .then(|| begin_sound(home, "session", rate_hz))
            .transpose()?;
        let bout = Bout {
            kind: BoutKind::Session,
            started_at: Timestamp::now(),
            time_zone: TimeZone::system().iana_name().map(str::to_owned),
            person,
            source: Some(origin.name),
            sound_file: kept.as_ref().map(|(name, _)| name.clone()),
            sample_rate_hz: Some(rate_hz),
            channels: Some(origin.channels),
            duration_s: None,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: settings_json(&setup)?,
            profiles: taught.snapshots()?,
        };
        let keeper = journal
            .map(|j| Keeper::begin(j, &bout, &setup.plan.animal, &setup.plan.name))
            .transpose()?;
        let program_log = ProgramLog::open(home.folder());
        let (live, told) = Live::start(origin.source, listening, kept.map(|(_, wav)| wav))?;
        live.watch_signals()?;
        for pedal in pedals {
            live.read_pedal(pedal)?;
        }
        let screen = self.screen(&program_log)?;
        match &screen {
            Some(_) => live.read_keys()?,
            None => live.read_lines()?,
        }
        if let (Some(words), None, false) = (&last_time, &screen, self.json) {
            writeln!(out, "{words}")?;
        }
        let look = Look::choose(settings.screen.colours, settings.screen.signs, &|name| {
            std::env::var(name).ok()
        });
        let training = Training::new(Begin {
            names: marks_of(&taught.names(), &setup.plan),
            known_after_s,
            has_screen: screen.is_some(),
            told: last_time.unwrap_or_else(|| "Listening.".to_owned()),
            setup,
            live,
            keys,
            paths: self.paths(home)?,
            lines,
            keeper,
            program_log,
        });
        self.work(training, &told, screen, look, out)
    }

    /// Runs the session to its end, and tells what it came to.
    fn work(
        &self,
        mut training: Training,
        told: &Receiver<Happening>,
        screen: Option<Screen>,
        look: Look,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let has_screen = screen.is_some();
        // A fault of the program's own must not cost what is kept.
        let ran = catch_unwind(AssertUnwindSafe(|| match screen {
            Some(mut screen) => run(told, &mut training, &mut |training| {
                let view = training.view();
                screen.draw(|frame| views::train::draw(&view, look, frame))
            }),
            None => {
                let mut lines = report::Lines::default();
                run(told, &mut training, &mut |training| {
                    if self.json {
                        Ok(())
                    } else {
                        lines.write(training, out)
                    }
                })
            }
        }));
        match ran {
            Ok(ran) => ran?,
            Err(_) => bail!(
                "marklag broke off by a fault of its own; what was noted is kept, and marklag train --finish last brings it to its end"
            ),
        }
        if has_screen && training.signal.is_none() && training.keeper.is_some() {
            training.ask_notes()?;
        }
        let length_s = training.now_s;
        let (log, setup) = (training.course.log(), training.course.setup());
        let kept = training.keeper.as_mut();
        let kept = kept.map(|k| k.end(log, length_s)).transpose()?;
        if let Some(signal) = training.signal {
            return Err(Signalled(signal).into());
        }
        if let Some(words) = training.trouble.take() {
            return Err(anyhow!(words));
        }
        let measures = kept.unwrap_or_else(|| measure(log, setup, length_s));
        if self.json {
            return json(out, &measures, setup, &training.praise);
        }
        report(out, log, setup, &measures, look.signs, columns())?;
        praise(out, &training.praise)?;
        if let Some(words) = training.unheard() {
            writeln!(out, "\n{words}")?;
        }
        match &training.keeper {
            Some(keeper) => writeln!(out, "\nKept in the journal as {}.", keeper.id().short())?,
            None if self.no_keep => writeln!(out, "\nNot kept.")?,
            None => writeln!(out, "\nNot kept in the journal; --keep keeps it.")?,
        }
        Ok(())
    }

    /// The full screen, where there is a terminal for it and it is wanted.
    fn screen(&self, log: &ProgramLog) -> anyhow::Result<Option<Screen>> {
        let is_terminal = io::stdout().is_terminal() && io::stdin().is_terminal();
        if self.plain || self.json || !is_terminal {
            return Ok(None);
        }
        let screen = Screen::enter(log).context("the terminal cannot be used; try --plain")?;
        Ok(Some(screen))
    }
}

/// Those of the taught sounds that mark by a plan, and are not its cues.
fn marks_of(names: &[String], plan: &Plan) -> Vec<String> {
    let is_mark = |name: &&String| match &plan.bridge {
        Some(bridge) => bridge == *name,
        None => !plan.is_cue(name),
    };
    names.iter().filter(is_mark).cloned().collect()
}
