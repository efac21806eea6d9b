//! What a session needs before it begins: its plan, what it is judged by, its
//! sound, its hands; and its beginning.

use std::collections::HashMap;
use std::fs;
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::sync::mpsc::Receiver;

use anyhow::Context;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::app::{Begin, Training};
use super::keep::Keeper;
use super::keys::Action;
use super::unended::offer_unended;
use super::{TrainCmd, choose};
use crate::cli::bridges::Bridges;
use crate::cli::keep_sound::{begin_sound, forget_sound};
use crate::cli::people;
use crate::cli::plan;
use crate::cli::review::open_journal;
use crate::cli::trouble::{BadUsage, cannot_read};
use crate::hand::pedal::Pedal;
use crate::hand::{KeyPath, Source};
use crate::journal::{Bout, BoutKind, Home, Journal, Settings, hands, settings_json};
use crate::listen::Listening;
use crate::live::{Happening, Live};
use crate::measure::observer::Observer;
use crate::screen::{KeyMap, Log as ProgramLog, Look, Screen};
use crate::session::{FILE_U_MS, Setup};
use crate::sound::SampleSource;
use crate::timeline::session::{Line, parse_events};
use crate::timeline::{Plan, Window};

/// The limit of a session without a plan, in minutes.
const MINUTES: f64 = 5.0;

/// All that a session needs, open; nothing is kept yet.
pub(super) struct Ready {
    pub(super) look: Look,
    screen: Option<Screen>,
    names: Vec<String>,
    last_time: Option<String>,
    bout: Bout,
    setup: Setup,
    journal: Option<Journal>,
    source: Box<dyn SampleSource>,
    listening: Listening,
    keys: KeyMap<Action>,
    pedals: Vec<Pedal>,
    paths: HashMap<Source, KeyPath>,
    lines: Vec<Line>,
    log: ProgramLog,
}

/// A session that has begun.
pub(super) struct Running {
    pub(super) training: Training,
    pub(super) told: Receiver<Happening>,
    pub(super) screen: Option<Screen>,
}

impl TrainCmd {
    /// Opens all that the session needs, the screen last.
    pub(super) fn prepare(
        &self,
        home: &Home,
        settings: Settings,
        keys: KeyMap<Action>,
        out: &mut dyn Write,
    ) -> anyhow::Result<Ready> {
        let keeps = !self.no_keep && (!self.sound.is_recording() || self.keep || self.keep_sound);
        let mut plan = self.plan(home)?;
        let lines = self.lines()?;
        let last_time = choose::last_time(home, &plan, Timestamp::now())?;
        let taught = self.bridges(home, &mut plan)?;
        let pedals = self.pedals(true)?;
        let person = self.person.clone().or_else(|| plan.person.clone());
        let person = person.or_else(|| settings.person.clone());
        let mut journal = keeps.then(|| open_journal(home)).transpose()?;
        let person = people::known(journal.as_ref(), person.as_deref())?;
        let mut setup = self.setup(home, plan, &settings, person.as_deref())?;
        if let Some(journal) = &mut journal {
            offer_unended(journal, self.plain || self.json, out)?;
        }
        let origin = self.sound.origin(home)?;
        let rate_hz = origin.source.rate_hz();
        if let Some(words) = taught.narrow(rate_hz) {
            eprintln!("Note: {words}.");
        }
        let listening = taught.listening(rate_hz, None, setup.word_at)?;
        setup.word_at = listening.so_far().word_at;
        let names = marks_of(&taught.names(), &setup.plan);
        let bout = Bout {
            kind: BoutKind::Session,
            started_at: Timestamp::now(),
            time_zone: TimeZone::system().iana_name().map(str::to_owned),
            person,
            source: Some(origin.name),
            sound_file: None,
            sample_rate_hz: Some(rate_hz),
            channels: Some(origin.channels),
            duration_s: None,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: settings_json(&setup)?,
            profiles: taught.snapshots()?,
        };
        let paths = self.paths(home)?;
        let look = Look::choose(settings.screen.colours, settings.screen.signs, &|name| {
            std::env::var(name).ok()
        });
        let log = ProgramLog::open(home.folder());
        let screen = self.screen(&log)?;
        if let (Some(words), None, false) = (&last_time, &screen, self.json) {
            writeln!(out, "{words}")?;
        }
        Ok(Ready {
            screen,
            names,
            last_time,
            look,
            bout,
            setup,
            journal,
            source: origin.source,
            listening,
            keys,
            pedals,
            paths,
            lines,
            log,
        })
    }

    /// Begins to listen; the session's line in the journal comes last, when nothing
    /// is left that could fail.
    pub(super) fn begin(&self, ready: Ready, home: &Home) -> anyhow::Result<Running> {
        let mut bout = ready.bout;
        bout.started_at = Timestamp::now();
        let rate_hz = ready.source.rate_hz();
        let known_after_s = ready.listening.known_after_s();
        let kept = self
            .keep_sound
            .then(|| begin_sound(home, "session", rate_hz))
            .transpose()?;
        let (sound_file, wav) = kept.unzip();
        bout.sound_file = sound_file;
        let (mut live, told) = Live::start(ready.source, ready.listening, wav)?;
        live.watch_signals()?;
        for pedal in ready.pedals {
            live.read_pedal(pedal)?;
        }
        match ready.screen {
            Some(_) => live.read_keys()?,
            None => live.read_lines()?,
        }
        let plan = &ready.setup.plan;
        let keeper = ready
            .journal
            .map(|journal| Keeper::begin(journal, &bout, &plan.animal, &plan.name));
        let keeper = keeper.transpose().inspect_err(|_| {
            let file = bout.sound_file.as_deref();
            file.into_iter().for_each(|name| forget_sound(home, name));
        })?;
        let training = Training::new(Begin {
            names: ready.names,
            known_after_s,
            has_screen: ready.screen.is_some(),
            told: ready.last_time.unwrap_or_else(|| "Listening.".to_owned()),
            setup: ready.setup,
            live,
            keys: ready.keys,
            paths: ready.paths,
            lines: ready.lines,
            keeper,
            program_log: ready.log,
        });
        Ok(Running {
            training,
            told,
            screen: ready.screen,
        })
    }

    /// The plan that was named or is picked, or free work.
    pub(super) fn plan(&self, home: &Home) -> anyhow::Result<Plan> {
        let picked = match &self.plan {
            Some(wanted) => Some(wanted.clone()),
            None => self.picked(home)?,
        };
        let mut plan = match &picked {
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

    /// The plan that is picked where plans are kept and none was named: on a
    /// terminal by its number; else it is told how to name one.
    fn picked(&self, home: &Home) -> anyhow::Result<Option<String>> {
        if self.json {
            return Ok(None);
        }
        let plans = choose::plans(home, self.animal.as_deref())?;
        if plans.is_empty() {
            return Ok(None);
        }
        let mut err = io::stderr();
        let has_terminal = io::stdin().is_terminal() && err.is_terminal();
        if self.plain || !has_terminal {
            choose::tell(&plans, &mut err)?;
            return Ok(None);
        }
        let picked = choose::ask(&plans, &mut io::stdin().lock(), &mut err)?;
        Ok(picked.map(str::to_owned))
    }

    pub(super) fn lines(&self) -> anyhow::Result<Vec<Line>> {
        self.events.as_deref().map_or(Ok(Vec::new()), read_events)
    }

    /// The sounds to listen for, taught words that are cues of the plan among them.
    pub(super) fn bridges(&self, home: &Home, plan: &mut Plan) -> anyhow::Result<Bridges> {
        if self.bridge.is_some() {
            plan.bridge.clone_from(&self.bridge);
        }
        let names: Vec<String> = plan.bridge.iter().cloned().collect();
        let mut taught = Bridges::wanted(home, &names)?;
        if !names.is_empty() {
            let is_cue = |name: &str| plan.is_cue(name);
            let others = Bridges::all(home)?.words.into_iter();
            let cues = others.filter(|w| is_cue(&w.name) && !names.contains(&w.name));
            taught.words.extend(cues);
        }
        Ok(taught)
    }

    /// All that the session is judged by.
    pub(super) fn setup(
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

    /// The pedals that are to be read; grabbed, each for this program alone.
    pub(super) fn pedals(&self, is_grabbed: bool) -> anyhow::Result<Vec<Pedal>> {
        let all = self.pedal.iter().map(|name| Pedal::open(name, is_grabbed));
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// How late each hand's way is, where that was measured.
    pub(super) fn paths(&self, home: &Home) -> anyhow::Result<HashMap<Source, KeyPath>> {
        let pedals = self.pedal.iter().cloned().map(Source::Device);
        let mut paths = HashMap::new();
        for source in pedals.chain([Source::Terminal]) {
            if let Some(path) = hands::of(home, &source)? {
                paths.insert(source, path);
            }
        }
        Ok(paths)
    }
}

/// Reads a file of events.
pub(in crate::cli) fn read_events(file: &Path) -> anyhow::Result<Vec<Line>> {
    let text = fs::read_to_string(file).map_err(|e| cannot_read("the events from", file, &e))?;
    let lines = parse_events(&text, FILE_U_MS);
    lines.with_context(|| format!("the events in {}", file.display()))
}

/// How a person presses, where there is a journal that knows.
pub(in crate::cli) fn observer(
    home: &Home,
    person: Option<&str>,
) -> anyhow::Result<Option<Observer>> {
    match (person, Journal::open_existing(&home.journal_file())?) {
        (Some(person), Some(journal)) => Ok(journal.observer(person)?),
        _ => Ok(None),
    }
}

/// All that a session is judged by.
///
/// # Errors
/// The settings' window cannot be used.
pub(in crate::cli) fn setup(
    plan: Plan,
    settings: &Settings,
    observer: Option<Observer>,
) -> anyhow::Result<Setup> {
    let setup = settings.session_setup(plan, observer);
    Window::new(setup.before_ms, setup.after_ms)?;
    Ok(setup)
}

/// Those of the taught sounds that mark by a plan, and are not its cues.
fn marks_of(names: &[String], plan: &Plan) -> Vec<String> {
    let is_mark = |name: &&String| match &plan.bridge {
        Some(bridge) => bridge == *name,
        None => !plan.is_cue(name),
    };
    names.iter().filter(is_mark).cloned().collect()
}
