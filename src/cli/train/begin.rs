//! What a session needs before it begins: its plan, what it is judged by, its
//! sound, its hands.

use std::collections::HashMap;
use std::fs;
use std::io::{self, IsTerminal};
use std::path::Path;

use anyhow::Context;

use super::{TrainCmd, choose};
use crate::cli::bridges::Bridges;
use crate::cli::plan;
use crate::cli::trouble::{BadUsage, cannot_read};
use crate::hand::pedal::Pedal;
use crate::hand::{KeyPath, Source};
use crate::journal::{Home, Journal, Settings, hands};
use crate::measure::observer::Observer;
use crate::session::{FILE_U_MS, Setup};
use crate::timeline::session::{Line, parse_events};
use crate::timeline::{Plan, Window};

/// The limit of a session without a plan, in minutes.
const MINUTES: f64 = 5.0;

impl TrainCmd {
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
