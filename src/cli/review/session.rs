//! `marklag review FILE --session`: a recorded session with an animal, with the
//! same measures as a live one.

use std::io::Write;
use std::path::Path;

use anyhow::{Context, bail};
use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::keep::kept_already;
use crate::cli::bridges::Bridges;
use crate::cli::summary::praise;
use crate::cli::train::{Keeper, json, observer, read_events, report, setup};
use crate::cli::trouble::BadUsage;
use crate::cli::{columns, plan, prose};
use crate::journal::{
    Bout, BoutKind, Home, HomeError, Journal, Settings, StoredSession, settings_json,
};
use crate::listen::Timeline;
use crate::page::Glyphs;
use crate::review::Rules;
use crate::session::{Setup, log_of_lines, measure, reheard};
use crate::timeline::session::{Line, Log};
use crate::timeline::{Moment, Plan};
use crate::words::count;

/// A session that was recorded, and what is known of it.
pub(super) struct Recorded<'a> {
    pub(super) file: &'a Path,
    pub(super) rate_hz: u32,
    pub(super) channels: u16,
    pub(super) heard: &'a Timeline,
    pub(super) moments: &'a [Moment],
    pub(super) taught: &'a Bridges,
    pub(super) plan: Option<&'a str>,
    /// A table of events, or a session of the journal.
    pub(super) events: Option<&'a Path>,
    pub(super) person: Option<&'a str>,
    /// Keep it though the journal has it already.
    pub(super) again: bool,
    pub(super) rules: &'a Rules,
}

impl Recorded<'_> {
    /// Tells what the session comes to, and keeps it where there is a journal.
    pub(super) fn tell(
        &self,
        home: &dyn Fn() -> Result<Home, HomeError>,
        settings: &Settings,
        journal: Option<Journal>,
        is_json: bool,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let heard = &self.heard.sounds;
        let (setup, log, person) = match self.stored(home)? {
            Some(stored) => {
                if self.plan.is_some() || !self.moments.is_empty() {
                    bail!(BadUsage(
                        "a session of the journal brings its plan and its moments; leave --plan and --moments out".to_owned()
                    ));
                }
                let setup = Setup {
                    word_at: self.heard.word_at,
                    ..stored.setup
                };
                let log = reheard(&stored.log, &setup, heard);
                let person = self.person.map(str::to_owned);
                (setup, log, person.or(stored.bout.bout.person))
            }
            None => {
                let (setup, person) = self.setup(home, settings)?;
                let log = log_of_lines(&setup, heard, self.moments, self.lines()?);
                (setup, log, person)
            }
        };
        let measures = measure(&log, &setup, self.heard.duration_s);
        if let Some(journal) = journal {
            self.keep(journal, &setup, &log, person)?;
        }
        if is_json {
            return json(out, &measures, &setup, self.heard);
        }
        report(out, &log, &setup, &measures, Glyphs::Unicode, columns())?;
        Ok(praise(out, self.heard)?)
    }

    /// The session of the journal whose events are meant, if no file is.
    fn stored(
        &self,
        home: &dyn Fn() -> Result<Home, HomeError>,
    ) -> anyhow::Result<Option<StoredSession>> {
        let Some(events) = self.events.filter(|file| !file.exists()) else {
            return Ok(None);
        };
        let wanted = events.to_string_lossy();
        let none = || {
            format!(
                "the events: {wanted:?} is neither a file nor a session of the journal (marklag journal lists those)"
            )
        };
        let journal = Journal::open_existing(&home()?.journal_file())?.with_context(none)?;
        let id = journal.find(&wanted).with_context(none)?;
        Ok(Some(journal.read_session(&id)?))
    }

    fn setup(
        &self,
        home: &dyn Fn() -> Result<Home, HomeError>,
        settings: &Settings,
    ) -> anyhow::Result<(Setup, Option<String>)> {
        let plan = match self.plan {
            Some(wanted) => plan::find(&home()?, wanted)?,
            None => Plan {
                name: String::new(),
                // What was recorded has no limit to keep to.
                ..Plan::free((self.heard.duration_s / 60.0).clamp(0.01, 60.0))
            },
        };
        let person = self.person.or(plan.person.as_deref());
        let person = person.or(settings.person.as_deref()).map(str::to_owned);
        let who = match home() {
            Ok(home) => observer(&home, person.as_deref())?,
            Err(_) => None,
        };
        let setup = Setup {
            aim: self.rules.aim,
            before_ms: self.rules.window.before_ms(),
            after_ms: self.rules.window.after_ms(),
            word_at: self.heard.word_at,
            ..setup(plan, settings, who)?
        };
        Ok((setup, person))
    }

    /// The events of the file that lie within the sound.
    fn lines(&self) -> anyhow::Result<Vec<Line>> {
        let mut lines = self.events.map_or(Ok(Vec::new()), read_events)?;
        let all = lines.len();
        lines.retain(|l| l.t_s() <= self.heard.duration_s);
        let late = all - lines.len();
        if late > 0 {
            prose::aside(&format!(
                "Note: {} of the file after the end of the sound.",
                count(late, "event lies", "events lie")
            ));
        }
        Ok(lines)
    }

    fn keep(
        &self,
        journal: Journal,
        setup: &Setup,
        log: &Log,
        person: Option<String>,
    ) -> anyhow::Result<()> {
        let before = journal.session_kept_before(log, self.heard.duration_s)?;
        if let Some(id) = before.filter(|_| !self.again) {
            return kept_already(&journal, &id);
        }
        let file = std::fs::canonicalize(self.file).unwrap_or_else(|_| self.file.to_owned());
        let bout = Bout {
            kind: BoutKind::Session,
            started_at: Timestamp::now(),
            time_zone: TimeZone::system().iana_name().map(str::to_owned),
            person,
            source: Some(file.display().to_string()),
            sound_file: None,
            sample_rate_hz: Some(self.rate_hz),
            channels: Some(self.channels),
            duration_s: None,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: settings_json(setup)?,
            profiles: self.taught.snapshots()?,
        };
        let mut keeper = Keeper::begin(journal, &bout, &setup.plan.animal, &setup.plan.name)?;
        keeper.end(log, Timestamp::now(), self.heard.duration_s)?;
        prose::aside(&format!("Kept in the journal as {}.", keeper.id().short()));
        Ok(())
    }
}
