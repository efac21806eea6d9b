//! `marklag review`: time the marks in recordings.

mod args;
mod check;
mod contract;
mod hints;
mod jobs;
mod keep;
mod papers;
mod rules;
mod session;

use std::io::Write;
use std::num::NonZeroUsize;
use std::path::PathBuf;

use anyhow::bail;
use clap::Args;

use self::jobs::{Jobs, try_all};
use self::keep::{kept, kept_already};
use self::rules::read_moments;
use self::session::Recorded;
use super::bridges::{self, Bridges, NONE_TAUGHT};
use super::trouble::BadUsage;
use super::{people, prose, teach};
use crate::ear::word::WordAt;
use crate::journal::{Home, HomeError, Settings};
use crate::sound::recording::Listen;
use crate::timeline::{BallKind, MomentKind, Window};

pub(super) use self::args::{
    BallMoment, parse_ball, parse_height, parse_span, parse_window, word_at_parser,
};
pub(super) use self::contract::contract;
pub(super) use self::keep::open_journal;
pub(super) use self::rules::{is_events_table, rules};

/// Time the marks in a recording: how early or late each one was
#[derive(Debug, Args)]
pub(super) struct ReviewCmd {
    /// Recordings: WAV, FLAC, MP3, M4A, MP4, MOV, OGG and more; - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Listen for this taught sound only; may be given several times
    #[arg(long, value_name = "NAME")]
    bridge: Vec<String>,
    /// Learn the click from this recording of about ten, for this review only
    #[arg(long, value_name = "FILE", conflicts_with = "bridge")]
    bridge_from: Option<PathBuf>,
    /// Learn the click from the beginning of the recording itself: ten clicks, a pause of
    /// three seconds or more, then the drill
    #[arg(long, conflicts_with_all = ["bridge", "bridge_from", "session"])]
    lesson: bool,
    /// With --lesson: keep what was learned as a bridge of this name
    #[arg(long, value_name = "NAME", requires = "lesson")]
    keep_bridge: Option<String>,
    /// Moments from a file (CSV with a header, or WebVTT) instead of from the ball
    #[arg(long, value_name = "FILE")]
    moments: Option<PathBuf>,
    /// Which moment of the ball is to be marked
    #[arg(
        long,
        value_enum,
        default_value = "floor",
        value_name = "MOMENT",
        conflicts_with = "moments"
    )]
    mark: BallMoment,
    /// Lags that count as on time, in ms, for instance -50..50
    #[arg(long, value_name = "FROM..TO", value_parser = parse_span, allow_hyphen_values = true)]
    aim: Option<(f64, f64)>,
    /// How far a mark may be from its moment, in ms: before,after
    #[arg(long, value_name = "BEFORE,AFTER", value_parser = parse_window, allow_hyphen_values = true)]
    window: Option<Window>,
    /// Height the ball falls from, in metres; it is worked out from the bounces otherwise
    #[arg(long, value_name = "METRES", value_parser = parse_height, allow_hyphen_values = true)]
    height: Option<f64>,
    /// The ball: tennis, table-tennis, rubber, football, golf, basketball, volleyball, or
    /// its mass and diameter (58g,67mm); it is worked out from the bounces otherwise
    #[arg(long, value_name = "KIND", value_parser = parse_ball)]
    ball: Option<BallKind>,
    /// Where in a spoken mark the mark is: where its sound begins, or at the word's
    /// perceptual centre, by a model
    #[arg(long, value_name = "WHERE", value_parser = word_at_parser())]
    word_at: Option<WordAt>,
    /// Listen to this channel only, counted from 1 (all are mixed otherwise)
    #[arg(long, value_name = "N")]
    channel: Option<NonZeroUsize>,
    /// Listen to this sound track of a video, counted from 1 (the first with sound
    /// otherwise)
    #[arg(long, value_name = "N")]
    track: Option<NonZeroUsize>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
    /// Show what the uncertainty of a lag is made of
    #[arg(long, conflicts_with_all = ["json", "session"])]
    budget: bool,
    /// Write every pair into this CSV file; - for the terminal
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write captions (WebVTT) that tell each lag over your own video
    #[arg(long, value_name = "FILE")]
    vtt: Option<PathBuf>,
    /// Copy the WAV to this file, with cue points at moments and marks
    #[arg(long, value_name = "FILE")]
    cues: Option<PathBuf>,
    /// Keep the result in the journal
    #[arg(long)]
    keep: bool,
    /// With --keep: keep it once more, though the journal has it already
    #[arg(long, requires = "keep")]
    again: bool,
    /// Whose marks these are
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    /// A session with an animal was recorded: the moments are behaviours
    #[arg(long, conflicts_with_all = ["csv", "vtt", "cues", "height", "ball", "mark"])]
    session: bool,
    /// With --session: the plan, by its name in the journal or as a TOML file
    #[arg(long, value_name = "PLAN", requires = "session")]
    plan: Option<String>,
    /// With --session: events from a table (time,event,detail), or of a session in the journal (its id, or "last")
    #[arg(long, value_name = "FILE|ID", requires = "session")]
    events: Option<PathBuf>,
}

impl ReviewCmd {
    pub(super) fn run(
        self,
        home: &dyn Fn() -> Result<Home, HomeError>,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        self.check().map_err(BadUsage)?;
        let channel = teach::channel_choice(self.channel);
        let listen = Listen {
            channel,
            track: self.track.map(NonZeroUsize::get),
        };
        self.are_there(listen)?;
        let mut settings = match home() {
            Ok(home) => Settings::load(&home.settings_file())?,
            // Nowhere to read settings from: the defaults do for a look.
            Err(_) if self.needs_no_home() => Settings::default(),
            Err(error) => return Err(error.into()),
        };
        settings.bridge.word_at = self.word_at.unwrap_or(settings.bridge.word_at);
        let (taught, from_s) = self.bridges(home, listen)?;
        let told = self.moments.as_deref().map(read_moments).transpose()?;
        let kind = told
            .as_ref()
            .and_then(|t| t.0.first().map(|m| m.kind))
            .unwrap_or(if told.is_some() || self.session {
                MomentKind::Behaviour
            } else {
                self.mark.kind()
            });
        let rules = rules(&settings, kind, self.aim, self.window)?;
        let mut journal = if self.keep {
            Some(open_journal(&home()?)?)
        } else {
            None
        };
        let person = people::known(journal.as_ref(), self.person.as_deref())?;
        let targets = self.targets()?;
        try_all(&self.files, listen)?;
        let jobs = Jobs {
            taught: &taught,
            from_s,
            word_at: settings.bridge.word_at,
            height_m: self.height,
            ball: self.ball,
            listen,
            told: told.as_ref().map(|t| &t.0[..]),
            kind,
            rules: &rules,
        };
        let done = jobs.all(&self.files)?;
        let behaviours = told.as_ref().map_or_else(Vec::new, |t| t.0.clone());

        let mut notes: Vec<String> = told.map_or_else(Vec::new, |t| t.1);
        for one in &done {
            let title = one.file.display();
            notes.extend(one.notes.iter().map(|n| format!("{title}: {n}")));
        }
        for note in &notes {
            prose::aside(&format!("Note: {note}"));
        }
        if let (true, Some(one)) = (self.session, done.first()) {
            let recorded = Recorded {
                file: &one.file,
                rate_hz: one.rate_hz,
                channels: one.channels,
                heard: &one.heard,
                moments: &behaviours,
                taught: &taught,
                plan: self.plan.as_deref(),
                events: self.events.as_deref(),
                person: person.as_deref(),
                again: self.again,
                rules: &rules,
            };
            return recorded.tell(home, &settings, journal, self.json, out);
        }
        self.papers(targets, &done, kind, &rules, &taught, out)?;
        if let Some(journal) = &mut journal {
            for one in &done {
                let review = kept(
                    one,
                    &settings,
                    &rules,
                    &taught,
                    person.as_deref(),
                    &serde_json::json!({
                        "channel": self.channel,
                        "track": one.track,
                        "height_m": self.height,
                        "ball": self.ball.map(|kind| kind.to_string()),
                    }),
                )?;
                if let Some(id) = journal.kept_before(&review)?.filter(|_| !self.again) {
                    kept_already(journal, &id)?;
                    continue;
                }
                let id = journal.keep_review(&review)?;
                prose::aside(&format!("Kept in the journal as {}.", id.short()));
            }
        }
        Ok(())
    }

    /// Whether the review can do without a home folder.
    fn needs_no_home(&self) -> bool {
        let learns = self.bridge_from.is_some() || self.lesson && self.keep_bridge.is_none();
        learns && !self.keep
    }

    /// What is listened for, and from when on clicks count, in seconds.
    fn bridges(
        &self,
        home: &dyn Fn() -> Result<Home, HomeError>,
        listen: Listen,
    ) -> anyhow::Result<(Bridges, f64)> {
        let of = |click| Bridges {
            clicks: vec![click],
            words: Vec::new(),
        };
        if let Some(file) = &self.bridge_from {
            let click = teach::click::from_file("click", file, listen.channel)?.profile;
            return Ok((of(click), 0.0));
        }
        if let (true, Some(file)) = (self.lesson, self.files.first()) {
            let name = self.keep_bridge.as_deref().unwrap_or("click");
            let (taught, until_s) = teach::click::from_beginning(name, file, listen)?;
            let clicks = taught.profile.examples;
            prose::aside(&format!(
                "Learned from {clicks} clicks at the beginning; the drill is what comes after {until_s:.1} s."
            ));
            if self.keep_bridge.is_some() {
                let kept = bridges::save(&home()?, &taught.profile)?;
                prose::aside(&format!("Kept as \"{name}\" in {}.", kept.display()));
            }
            return Ok((of(taught.profile), until_s));
        }
        let home = home()?;
        if self.bridge.is_empty() && Bridges::all(&home)?.is_empty() {
            bail!(
                "{NONE_TAUGHT}; or add --bridge-from FILE, or --lesson where the recording begins with ten clicks, to this review"
            );
        }
        Ok((Bridges::wanted(&home, &self.bridge)?, 0.0))
    }
}
