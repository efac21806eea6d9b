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

use anyhow::{Context, anyhow, bail};
use clap::Args;

use super::columns;
use super::review::{open_journal, word_at_parser};
use super::sound_in::SoundIn;
use super::summary::praise;
use super::trouble::Signalled;
use crate::ear::word::WordAt;
use crate::journal::{Home, Settings};
use crate::screen::{KeyMap, Log as ProgramLog, Look, Screen, run, view as views};
use crate::session::measure;
use begin::Running;
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
        let ready = self.prepare(home, settings, keys, out)?;
        let (look, running) = (ready.look, self.begin(ready, home)?);
        self.work(running, look, out)
    }

    /// Runs the session to its end, and tells what it came to.
    fn work(&self, running: Running, look: Look, out: &mut dyn Write) -> anyhow::Result<()> {
        let Running {
            mut training,
            told,
            screen,
        } = running;
        let has_screen = screen.is_some();
        // A fault of the program's own must not cost what is kept.
        let ran = catch_unwind(AssertUnwindSafe(|| match screen {
            Some(mut screen) => run(&told, &mut training, &mut |training| {
                let view = training.view();
                screen.draw(|frame| views::train::draw(&view, look, frame))
            }),
            None => {
                let mut lines = report::Lines::default();
                run(&told, &mut training, &mut |training| {
                    if self.json {
                        Ok(())
                    } else {
                        lines.write(training, out)
                    }
                })
            }
        }));
        let ended = training.end(told);
        match ran {
            Ok(ran) => ran?,
            Err(_) => bail!("marklag crashed (internal error); what was noted is kept"),
        }
        if let Some(signal) = training.signal {
            ended?;
            return Err(Signalled(signal).into());
        }
        if has_screen && training.keeper.is_some() {
            training.ask_notes();
        }
        let (kept, ended) = match ended {
            Ok(kept) => (kept, Ok(())),
            Err(error) => (None, Err(error)),
        };
        let (log, setup) = (training.course.log(), training.course.setup());
        let measures = kept.unwrap_or_else(|| measure(log, setup, training.now_s));
        if self.json {
            json(out, &measures, setup, &training.praise)?;
        } else {
            report(out, log, setup, &measures, look.signs, columns())?;
            praise(out, &training.praise)?;
            if let Some(words) = training.unheard() {
                writeln!(out, "\n{words}")?;
            }
            match &training.keeper {
                Some(keeper) if ended.is_ok() => {
                    writeln!(out, "\nKept in the journal as {}.", keeper.id().short())?;
                }
                // What went wrong is told next.
                Some(_) => {}
                None if self.no_keep => writeln!(out, "\nNot kept.")?,
                None => writeln!(out, "\nNot kept in the journal; --keep keeps it.")?,
            }
        }
        ended?;
        training.trouble.map_or(Ok(()), |words| Err(anyhow!(words)))
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
