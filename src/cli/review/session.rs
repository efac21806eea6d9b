//! `marklag review FILE --session`: a recorded session with an animal, with the
//! same measures as a live one.

use std::io::Write;
use std::path::Path;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::cli::bridges::Bridges;
use crate::cli::summary::praise;
use crate::cli::train::{json, observer, read_events, report, setup};
use crate::cli::{columns, plan};
use crate::journal::{Bout, BoutKind, Home, HomeError, Journal, Settings, settings_json};
use crate::listen::Timeline;
use crate::page::Glyphs;
use crate::review::Rules;
use crate::session::{Setup, log_of_lines, measure, of_sound};
use crate::timeline::session::{Happened, Log};
use crate::timeline::{Moment, Plan};

/// A session that was recorded, and what is known of it.
pub(super) struct Recorded<'a> {
    pub(super) file: &'a Path,
    pub(super) rate_hz: u32,
    pub(super) channels: u16,
    pub(super) heard: &'a Timeline,
    pub(super) moments: &'a [Moment],
    pub(super) taught: &'a Bridges,
    pub(super) plan: Option<&'a str>,
    pub(super) events: Option<&'a Path>,
    pub(super) person: Option<&'a str>,
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
        let mut setup = setup(plan, settings, who)?;
        setup.word_at = self.heard.word_at;
        setup.aim = self.rules.aim;
        setup.before_ms = self.rules.window.before_ms();
        setup.after_ms = self.rules.window.after_ms();
        let lines = self.events.map_or(Ok(Vec::new()), read_events)?;
        let late = lines
            .iter()
            .filter(|l| l.t_s() > self.heard.duration_s)
            .count();
        if late > 0 {
            eprintln!("Note: {late} events of the file lie after the end of the sound.");
        }
        let lines = lines
            .into_iter()
            .filter(|l| l.t_s() <= self.heard.duration_s)
            .collect();
        let sounds = self.heard.sounds.iter().zip(&self.heard.sound_u_ms);
        let heard: Vec<(f64, f64, Happened)> = sounds
            .filter_map(|(s, u_ms)| Some((s.t_s, *u_ms, of_sound(s, &setup.plan)?)))
            .collect();
        let log = log_of_lines(heard, self.moments, lines);
        let length_s = self.heard.duration_s;
        let measures = measure(&log, &setup, length_s);
        if let Some(mut journal) = journal {
            self.keep(&mut journal, &setup, &log, person)?;
        }
        if is_json {
            return json(out, &measures, &setup, self.heard);
        }
        report(out, &log, &setup, &measures, Glyphs::Unicode, columns())?;
        Ok(praise(out, self.heard)?)
    }

    fn keep(
        &self,
        journal: &mut Journal,
        setup: &Setup,
        log: &Log,
        person: Option<String>,
    ) -> anyhow::Result<()> {
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
        let named = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        let (animal, plan) = (named(&setup.plan.animal), named(&setup.plan.name));
        let id = journal.begin_session(&bout, animal.as_deref(), plan.as_deref())?;
        let mut rows = std::collections::HashMap::new();
        for entry in log.entries() {
            let mut event = entry.event.clone();
            if let Happened::Aside { target, .. } = &mut event.what {
                *target = rows.get(target).copied().unwrap_or(*target);
            }
            rows.insert(entry.number, journal.append_session_event(&id, &event)?);
        }
        journal.end_session(&id, Timestamp::now(), self.heard.duration_s)?;
        eprintln!("Kept in the journal as {}.", id.short());
        Ok(())
    }
}
