//! `marklag train`: a session with an animal, live.

mod app;
mod keep;
mod keys;
mod report;

use std::fs;
use std::io::{self, BufRead, IsTerminal, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::Args;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use super::bridges::Bridges;
use super::review::{open_journal, rules, word_at_parser};
use super::sound_in::SoundIn;
use super::summary::praise;
use super::trouble::{BadUsage, Signalled, cannot_read};
use super::{columns, plan};
use crate::ear::word::WordAt;
use crate::hand::Source;
use crate::hand::pedal::Pedal;
use crate::journal::{Bout, BoutId, BoutKind, Home, Journal, Settings, hands, settings_json};
use crate::live::Live;
use crate::screen::{KeyMap, Log as ProgramLog, Look, Screen, run, view};
use crate::session::{FILE_U_MS, Setup, measure};
use crate::timeline::session::{Happened, Line, parse_events};
use crate::timeline::{MomentKind, Plan};
use app::{Begin, Training};
use keep::Keeper;
pub(super) use report::{json, report};

/// The limit of a session without a plan, in minutes.
const MINUTES: f64 = 5.0;

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
    /// A pedal or second keyboard, by its name (docs/pedal.md): the behaviour reached its step
    #[arg(long, value_name = "NAME")]
    pedal: Option<String>,
    /// Events from a table (time,event,detail) as if they were keyed
    #[arg(long, value_name = "FILE")]
    events: Option<PathBuf>,
    #[command(flatten)]
    sound: SoundIn,
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
}

impl TrainCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        if let Some(wanted) = &self.finish {
            let mut journal = open_journal(home)?;
            let id = journal.find(wanted)?;
            return finish(&mut journal, &id, out);
        }
        let mut settings = Settings::load(&home.settings_file())?;
        settings.bridge.word_at = self.word_at.unwrap_or(settings.bridge.word_at);
        let keys = KeyMap::new(keys::TABLE, |name| settings.keys.of(name))?;
        let keeps = !self.no_keep && (!self.sound.is_recording() || self.keep);
        let mut plan = self.plan(home)?;
        let lines = self.lines()?;
        let taught = self.bridges(home, &mut plan)?;
        let pedal = self.pedal.as_deref();
        let pedal = pedal.map(|name| Pedal::open(name, true)).transpose()?;
        let device = match &self.pedal {
            Some(name) => Source::Device(name.clone()),
            None => Source::Terminal,
        };
        let path = hands::of(home, &device)?;
        let person = self.person.clone().or_else(|| plan.person.clone());
        let person = person.or_else(|| settings.person.clone());
        let mut setup = self.setup(home, plan, &settings, person.as_deref())?;
        let mut journal = keeps.then(|| open_journal(home)).transpose()?;
        if let Some(journal) = &mut journal {
            offer_unended(journal, self.plain || self.json, out)?;
        }
        let (source, name, channels) = self.source(home)?;
        let rate_hz = source.rate_hz();
        if let Some(words) = taught.narrow(rate_hz) {
            eprintln!("Note: {words}.");
        }
        let listening = taught.listening(rate_hz, None, setup.word_at)?;
        setup.word_at = listening.so_far().word_at;
        let bout = Bout {
            kind: BoutKind::Session,
            started_at: Timestamp::now(),
            time_zone: TimeZone::system().iana_name().map(str::to_owned),
            person,
            source: Some(name),
            sound_file: None,
            sample_rate_hz: Some(rate_hz),
            channels: Some(channels),
            duration_s: None,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: settings_json(&setup)?,
            profiles: taught.snapshots()?,
        };
        let named = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        let (animal, plan_name) = (named(&setup.plan.animal), named(&setup.plan.name));
        let keeper = journal
            .map(|j| Keeper::begin(j, &bout, animal.as_deref(), plan_name.as_deref()))
            .transpose()?;
        let program_log = ProgramLog::open(home.folder());
        let (live, told) = Live::start(source, listening, None)?;
        live.watch_signals()?;
        if let Some(pedal) = pedal {
            live.read_pedal(pedal)?;
        }
        let screen = self.screen(&program_log)?;
        let has_screen = screen.is_some();
        if has_screen {
            live.read_keys()?;
        } else {
            live.read_lines()?;
        }
        let look = Look::choose(settings.screen.colours, settings.screen.signs, &|name| {
            std::env::var(name).ok()
        });
        let mut training = Training::new(Begin {
            setup,
            live,
            keys,
            path,
            lines,
            keeper,
            program_log,
        });
        // A fault of the program's own must not cost what is kept.
        let ran = catch_unwind(AssertUnwindSafe(|| match screen {
            Some(mut screen) => run(&told, &mut training, &mut |training| {
                let view = training.view();
                screen.draw(|frame| view::train::draw(&view, look, frame))
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
        match ran {
            Ok(ran) => ran?,
            Err(_) => bail!(
                "marklag broke off by a fault of its own; what was noted is kept, and marklag train --finish last brings it to its end"
            ),
        }
        if has_screen && training.signal.is_none() {
            training.ask_notes()?;
        }
        let length_s = training.now_s;
        let kept = training
            .keeper
            .as_mut()
            .map(|k| k.end(length_s))
            .transpose()?;
        if let Some(signal) = training.signal {
            return Err(Signalled(signal).into());
        }
        if let Some(words) = training.trouble.take() {
            return Err(anyhow!(words));
        }
        let measures = kept.unwrap_or_else(|| measure(&training.log, &training.setup, length_s));
        if self.json {
            return json(out, &measures, &training.setup, &training.praise);
        }
        report(
            out,
            &training.log,
            &training.setup,
            &measures,
            look.signs,
            columns(),
        )?;
        praise(out, &training.praise)?;
        if let Some(keeper) = &training.keeper {
            writeln!(out, "\nKept in the journal as {}.", keeper.id().short())?;
        }
        Ok(())
    }

    /// The plan that was named, or free work.
    fn plan(&self, home: &Home) -> anyhow::Result<Plan> {
        let mut plan = match &self.plan {
            Some(wanted) => plan::find(home, wanted)?,
            None => Plan {
                name: String::new(),
                ..Plan::free(MINUTES)
            },
        };
        if let Some(animal) = &self.animal {
            plan.animal.clone_from(animal);
        }
        if let Some(minutes) = self.minutes {
            plan.length_min = minutes;
        }
        plan.check().map_err(|e| BadUsage(e.to_string()))?;
        Ok(plan)
    }

    fn lines(&self) -> anyhow::Result<Vec<Line>> {
        self.events.as_deref().map_or(Ok(Vec::new()), read_events)
    }

    fn bridges(&self, home: &Home, plan: &mut Plan) -> anyhow::Result<Bridges> {
        if self.bridge.is_some() {
            plan.bridge.clone_from(&self.bridge);
        }
        let names: Vec<String> = plan.bridge.iter().cloned().collect();
        let mut taught = Bridges::wanted(home, &names)?;
        if !names.is_empty() {
            // A cue that is a taught word is heard as such (see `of_sound`).
            let is_cue = |name: &str| plan.behaviours.iter().any(|b| b.cue == name);
            let others = Bridges::all(home)?.words.into_iter();
            let cues = others.filter(|w| is_cue(&w.name) && !names.contains(&w.name));
            taught.words.extend(cues);
        }
        Ok(taught)
    }

    fn setup(
        &self,
        home: &Home,
        plan: Plan,
        settings: &Settings,
        person: Option<&str>,
    ) -> anyhow::Result<Setup> {
        let presser = self.presser.as_deref().or(person);
        let observer = observer(home, presser)?;
        if observer.is_none() && self.presser.is_some() {
            eprintln!(
                "Note: how {} presses was never measured; nothing is taken off the lags.",
                presser.unwrap_or("this person")
            );
        }
        setup(plan, settings, observer)
    }

    fn source(
        &self,
        home: &Home,
    ) -> anyhow::Result<(Box<dyn crate::sound::SampleSource>, String, u16)> {
        if let Some((file, info)) = self.sound.recording()? {
            let channels = u16::try_from(info.channels).unwrap_or(u16::MAX);
            return Ok((self.sound.open(home)?, file.display().to_string(), channels));
        }
        let microphone = self.sound.microphone(home)?;
        let opened = microphone.opened().clone();
        let name = opened.device.description;
        Ok((Box::new(microphone), name, opened.channels))
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

impl Training {
    /// Asks for the words of the notes whose places were keyed.
    fn ask_notes(&mut self) -> anyhow::Result<()> {
        let is_empty = |what: &Happened| *what == Happened::Note(String::new());
        let places: Vec<f64> = self
            .log
            .counted()
            .iter()
            .filter(|e| is_empty(&e.what))
            .map(|e| e.t_s)
            .collect();
        for t_s in places {
            eprint!("Note at {}: ", app::clock(t_s));
            io::stderr().flush()?;
            let mut words = String::new();
            io::stdin().lock().read_line(&mut words)?;
            let words = words.trim();
            if !words.is_empty() {
                self.note(t_s, words);
            }
        }
        Ok(())
    }
}

/// Reads a file of events.
pub(super) fn read_events(file: &Path) -> anyhow::Result<Vec<Line>> {
    let text = fs::read_to_string(file).map_err(|e| cannot_read("the events from", file, &e))?;
    let lines = parse_events(&text, FILE_U_MS);
    lines.with_context(|| format!("the events in {}", file.display()))
}

/// How a person presses, where there is a journal that knows.
pub(super) fn observer(
    home: &Home,
    person: Option<&str>,
) -> anyhow::Result<Option<crate::measure::observer::Observer>> {
    match (person, Journal::open_existing(&home.journal_file())?) {
        (Some(person), Some(journal)) => Ok(journal.observer(person)?),
        _ => Ok(None),
    }
}

/// All that a session is judged by.
pub(super) fn setup(
    plan: Plan,
    settings: &Settings,
    observer: Option<crate::measure::observer::Observer>,
) -> anyhow::Result<Setup> {
    let rules = rules(settings, MomentKind::Behaviour, None, None)?;
    Ok(Setup {
        plan,
        rules: settings.session.clone(),
        aim: rules.aim,
        before_ms: rules.window.before_ms(),
        after_ms: rules.window.after_ms(),
        clicker_m: rules.clicker_m,
        observer,
        word_at: settings.bridge.word_at,
    })
}

/// Sessions that were cut off are told of, and brought to their end if wanted.
fn offer_unended(
    journal: &mut Journal,
    is_silent: bool,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    for id in journal.unended()? {
        let row = journal.row(&id)?;
        if row.kind != BoutKind::Session {
            continue;
        }
        let stored = journal.read_session(&id)?;
        let with = stored.animal.as_deref().unwrap_or("an animal");
        let when = super::journal::local(row.started_at, row.time_zone.as_deref());
        eprintln!(
            "Note: the session with {with} of {when} was never ended: it was cut off, or goes on in another window. All that was noted is kept."
        );
        if is_silent || !(io::stdin().is_terminal() && io::stderr().is_terminal()) {
            eprintln!(
                "To bring it to its end: marklag train --finish {}",
                id.short()
            );
            continue;
        }
        eprint!("Bring it to its end now? Type yes, or enter to leave it: ");
        io::stderr().flush()?;
        let mut answer = String::new();
        io::stdin().lock().read_line(&mut answer)?;
        if answer.trim().eq_ignore_ascii_case("yes") {
            finish(journal, &id, out)?;
        }
    }
    Ok(())
}

/// Ends a session that was cut off with its latest event.
fn finish(journal: &mut Journal, id: &BoutId, out: &mut dyn Write) -> anyhow::Result<()> {
    let stored = journal.read_session(id)?;
    let length_s = stored.log.latest_s().max(0.0);
    let length = SignedDuration::try_from_secs_f64(length_s).unwrap_or_default();
    let ended_at = stored.bout.bout.started_at.checked_add(length)?;
    let measures = journal.end_session(id, ended_at, length_s)?;
    let glyphs = crate::page::Glyphs::Unicode;
    report(
        out,
        &stored.log,
        &stored.setup,
        &measures,
        glyphs,
        columns(),
    )?;
    writeln!(
        out,
        "\nEnded at its latest event and kept as {}.",
        id.short()
    )?;
    Ok(())
}
