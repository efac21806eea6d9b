//! `marklag review`: time the marks in recordings.

use std::fs;
use std::io::{Read, Write};
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use anyhow::{Context, bail, ensure};
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, ValueEnum};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;

use super::bridges::{Bridges, NONE_TAUGHT};
use super::review_session::Recorded;
use super::target::Target;
use super::trouble::{BadUsage, cannot_read};
use super::{columns, summary, teach};
use crate::ear::word::WordAt;
use crate::journal::{Bout, BoutKind, Home, HomeError, Journal, KeptReview, Settings};
use crate::listen::Timeline;
use crate::measure::{Yardstick, summarise};
use crate::page::{Recording as Reviewed, Review, captions, write_pairs_csv};
use crate::review::{Outcome, Rules, judge};
use crate::sound::cues::{Cue, check_copy, write_cues};
use crate::sound::recording::{ChannelChoice, Recording};
use crate::timeline::{Aim, Moment, MomentKind, Pair, Window, parse_moments};

/// Which moment of the drop is to be marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum BallMoment {
    /// The ball hits the floor for the first time
    Floor,
    /// The ball leaves the hand
    Release,
    /// The ball stands at the top of its first bounce
    Top,
}

impl BallMoment {
    pub(super) fn kind(self) -> MomentKind {
        match self {
            Self::Floor => MomentKind::Floor,
            Self::Release => MomentKind::Release,
            Self::Top => MomentKind::Top,
        }
    }
}

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
    /// Where in a spoken mark the mark is: where its sound begins, or at the word's
    /// perceptual centre, by a model
    #[arg(long, value_name = "WHERE", value_parser = word_at_parser())]
    word_at: Option<WordAt>,
    /// Listen to this channel only, counted from 1 (all are mixed otherwise)
    #[arg(long, value_name = "N")]
    channel: Option<NonZeroUsize>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
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
    /// Whose marks these are
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    /// A session with an animal was recorded: the moments are behaviours
    #[arg(long, conflicts_with_all = ["csv", "vtt", "cues", "height", "mark"])]
    session: bool,
    /// With --session: the plan, by its name in the journal or as a TOML file
    #[arg(long, value_name = "PLAN", requires = "session")]
    plan: Option<String>,
    /// With --session: events from a table (time,event,detail)
    #[arg(long, value_name = "FILE", requires = "session")]
    events: Option<PathBuf>,
}

/// One recording, reviewed.
struct Done {
    file: PathBuf,
    rate_hz: u32,
    channels: u16,
    picture_offset_s: f64,
    heard: Timeline,
    moments: Vec<Moment>,
    outcome: Outcome,
    notes: Vec<String>,
}

/// Where the tables and captions go.
struct Targets {
    csv: Option<Target>,
    vtt: Option<Target>,
}

/// What several recordings come to together.
#[derive(Serialize)]
struct Together<'a> {
    format: &'static str,
    reviews: Vec<&'a serde_json::value::RawValue>,
    summary: crate::measure::Summary,
}

impl ReviewCmd {
    pub(super) fn run(
        self,
        home: &dyn Fn() -> Result<Home, HomeError>,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        self.check().map_err(BadUsage)?;
        let channel = teach::channel_choice(self.channel);
        let mut settings = match home() {
            Ok(home) => Settings::load(&home.settings_file())?,
            // Nowhere to read settings from: the defaults do for a look.
            Err(_) if self.bridge_from.is_some() && !self.keep => Settings::default(),
            Err(error) => return Err(error.into()),
        };
        settings.bridge.word_at = self.word_at.unwrap_or(settings.bridge.word_at);
        let taught = self.bridges(home, channel)?;
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
        let targets = self.targets()?;
        self.try_recordings(channel)?;
        let jobs = Jobs {
            taught: &taught,
            word_at: settings.bridge.word_at,
            height_m: self.height,
            channel,
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
            eprintln!("Note: {note}");
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
                person: self.person.as_deref(),
                rules: &rules,
            };
            return recorded.tell(home, &settings, journal, self.json, out);
        }
        self.papers(targets, &done, kind, &rules, out)?;
        if let Some(journal) = &mut journal {
            for one in &done {
                let id = journal.keep_review(&kept(
                    one,
                    &settings,
                    &rules,
                    &taught,
                    self.person.as_deref(),
                )?)?;
                eprintln!("Kept in the journal as {}.", id.short());
            }
        }
        Ok(())
    }

    /// Combinations that make no sense are refused before any work is done.
    fn check(&self) -> Result<(), String> {
        let one_file = [
            ("--vtt", &self.vtt),
            ("--cues", &self.cues),
            ("--moments", &self.moments),
        ];
        for (flag, value) in one_file {
            if value.is_some() && self.files.len() > 1 {
                return Err(format!(
                    "{flag} belongs to one recording; review them one at a time"
                ));
            }
        }
        if self.session && self.files.len() > 1 {
            return Err("--session belongs to one recording; review them one at a time".to_owned());
        }
        let dash = Path::new("-");
        if self.cues.as_deref() == Some(dash) {
            return Err("--cues writes a WAV file; give it a file name".to_owned());
        }
        if self.cues.is_some() && self.files.iter().any(|f| f == dash) {
            return Err(
                "--cues copies a WAV file; standard input (-) cannot be read twice".to_owned(),
            );
        }
        let also_read = [self.moments.as_ref(), self.bridge_from.as_ref()];
        let read: Vec<&PathBuf> = self
            .files
            .iter()
            .chain(also_read.into_iter().flatten())
            .collect();
        if read.iter().filter(|f| f.as_path() == dash).count() > 1 {
            return Err("standard input (-) can be read once only".to_owned());
        }
        let to_stdout = [&self.csv, &self.vtt]
            .iter()
            .filter(|f| f.as_deref() == Some(dash))
            .count();
        if to_stdout + usize::from(self.json) > 1 {
            return Err(
                "only one of --json, --csv - and --vtt - can go to the terminal at once".to_owned(),
            );
        }
        for (k, file) in self.files.iter().enumerate() {
            if self.files[..k].iter().any(|f| is_same_file(f, file)) {
                return Err(format!(
                    "{} is named twice; its lags would count double",
                    file.display()
                ));
            }
        }
        let written = [&self.csv, &self.vtt, &self.cues];
        let mut taken = read;
        for target in written.into_iter().flatten().filter(|f| *f != dash) {
            if taken.iter().any(|f| is_same_file(f, target)) {
                return Err(format!(
                    "{} would be written over; give the result a name of its own",
                    target.display()
                ));
            }
            taken.push(target);
        }
        Ok(())
    }

    /// Tries the places where results go, before minutes of listening.
    fn targets(&self) -> anyhow::Result<Targets> {
        let open = |path: &Option<PathBuf>| path.as_deref().map(Target::open).transpose();
        if let (Some(copy), Some(file)) = (&self.cues, self.files.first()) {
            ensure!(
                matches!(Target::open(copy)?, Target::Whole { .. }),
                "{} is a device or a pipe; give --cues the name of a file",
                copy.display()
            );
            check_copy(file, copy)?;
        }
        Ok(Targets {
            csv: open(&self.csv)?,
            vtt: open(&self.vtt)?,
        })
    }

    /// Of several recordings one that cannot be read is told before the others
    /// are listened to. A pipe cannot be opened twice, so it is not tried.
    fn try_recordings(&self, channel: ChannelChoice) -> anyhow::Result<()> {
        if self.files.len() > 1 {
            for file in &self.files {
                let is_pipe =
                    file == Path::new("-") || fs::metadata(file).is_ok_and(|m| !m.is_file());
                if !is_pipe {
                    Recording::open(file, channel)?;
                }
            }
        }
        Ok(())
    }

    fn bridges(
        &self,
        home: &dyn Fn() -> Result<Home, HomeError>,
        channel: ChannelChoice,
    ) -> anyhow::Result<Bridges> {
        if let Some(file) = &self.bridge_from {
            let click = teach::click_from_file("click", file, channel)?.profile;
            return Ok(Bridges {
                clicks: vec![click],
                words: Vec::new(),
            });
        }
        let home = home()?;
        if self.bridge.is_empty() && Bridges::all(&home)?.is_empty() {
            bail!("{NONE_TAUGHT}; or add --bridge-from FILE to this review");
        }
        Bridges::wanted(&home, &self.bridge)
    }

    fn papers(
        &self,
        targets: Targets,
        done: &[Done],
        kind: MomentKind,
        rules: &Rules,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let is_stdout = |target: &Option<Target>| target.as_ref().is_some_and(Target::is_stdout);
        let is_taken = is_stdout(&targets.csv) || is_stdout(&targets.vtt);
        if let Some(target) = targets.csv {
            let mut text = Vec::new();
            write_pairs_csv(
                &mut text,
                &done
                    .iter()
                    .flat_map(|d| d.outcome.pairs.clone())
                    .collect::<Vec<Pair>>(),
                done.first().map_or(WordAt::Onset, |d| d.heard.word_at),
            )?;
            target.write(&text, out)?;
        }
        if let (Some(target), Some(one)) = (targets.vtt, done.first()) {
            target.write(captions_on_video(one).as_bytes(), out)?;
        }
        if let (Some(file), Some(one)) = (&self.cues, done.first()) {
            write_cues(&one.file, file, &cue_points(one, kind))?;
        }
        if self.json {
            return json(done, rules, out);
        }
        if is_taken {
            return Ok(());
        }
        for (k, one) in done.iter().enumerate() {
            if k > 0 {
                writeln!(out)?;
            }
            let title = if one.file == Path::new("-") {
                "Standard input".to_owned()
            } else {
                one.file.display().to_string()
            };
            summary::write(out, &title, &one.heard, kind, &one.outcome, columns())?;
        }
        if done.len() > 1 {
            let pairs: Vec<Pair> = done.iter().flat_map(|d| d.outcome.pairs.clone()).collect();
            writeln!(out, "\nAll {} recordings together:\n", done.len())?;
            summary::measures(
                out,
                &pairs,
                &summarise(&pairs, Yardstick::of(kind), rules.aim),
                columns(),
            )?;
        }
        Ok(())
    }
}

/// What is the same for every recording of a review.
struct Jobs<'a> {
    taught: &'a Bridges,
    word_at: WordAt,
    height_m: Option<f64>,
    channel: ChannelChoice,
    told: Option<&'a [Moment]>,
    kind: MomentKind,
    rules: &'a Rules,
}

impl Jobs<'_> {
    /// Reviews the files, several at once; the results are in their order.
    fn all(&self, files: &[PathBuf]) -> anyhow::Result<Vec<Done>> {
        let workers = std::thread::available_parallelism()
            .map_or(1, usize::from)
            .min(files.len());
        let next = AtomicUsize::new(0);
        let results: Mutex<Vec<Option<anyhow::Result<Done>>>> =
            Mutex::new(files.iter().map(|_| None).collect());
        std::thread::scope(|scope| {
            for _ in 0..workers {
                scope.spawn(|| {
                    while let Some(file) = files.get(next.fetch_add(1, Ordering::Relaxed)) {
                        let done = self.one(file);
                        let at = files.iter().position(|f| std::ptr::eq(f, file));
                        let mut results = results.lock().unwrap_or_else(PoisonError::into_inner);
                        if let Some(slot) = at.and_then(|at| results.get_mut(at)) {
                            *slot = Some(done);
                        }
                    }
                });
            }
        });
        let results = results.into_inner().unwrap_or_else(PoisonError::into_inner);
        results.into_iter().flatten().collect()
    }

    fn one(&self, file: &Path) -> anyhow::Result<Done> {
        let mut recording = Recording::open(file, self.channel)?;
        let info = recording.info().clone();
        let mut listening =
            self.taught
                .listening(info.sample_rate_hz, self.height_m, self.word_at)?;
        while let Some(block) = recording.next_block()? {
            listening.push(block)?;
        }
        let heard = listening.finish()?;
        let mut notes: Vec<String> = recording
            .cut_short()
            .map(str::to_owned)
            .into_iter()
            .collect();
        notes.extend(recording.warnings().sentences(info.sample_rate_hz));
        notes.extend(info.absolute_time_note.clone());
        notes.extend(self.taught.narrow(info.sample_rate_hz));
        let moments = match self.told {
            Some(told) => {
                let late = told.iter().filter(|m| m.t_s > heard.duration_s).count();
                if late > 0 {
                    notes.push(format!(
                        "{late} of the moments lie after the end of the recording, which is {:.3} s long; are they of another one?",
                        heard.duration_s
                    ));
                }
                told.to_vec()
            }
            None => heard.moments(self.kind),
        };
        let gaps = &recording.warnings().gaps;
        let rate_hz = f64::from(info.sample_rate_hz);
        let near_gap = heard
            .marks()
            .iter()
            .filter(|(t_s, _)| {
                gaps.iter().any(|g| {
                    (*t_s - g.at_sample as f64 / rate_hz).abs()
                        < 1.0 + g.len_samples as f64 / rate_hz
                })
            })
            .count();
        if near_gap > 0 {
            notes.push(format!(
                "{near_gap} marks lie within a second of a lost stretch; their lags may be wrong"
            ));
        }
        let outcome = judge(&heard, &moments, self.rules);
        Ok(Done {
            file: file.to_owned(),
            rate_hz: info.sample_rate_hz,
            channels: u16::try_from(info.channels).unwrap_or(u16::MAX),
            picture_offset_s: info.sound_starts_after_picture_s,
            heard,
            moments,
            outcome,
            notes,
        })
    }
}

/// Aim, window and distances: the line before the settings.
pub(super) fn rules(
    settings: &Settings,
    kind: MomentKind,
    aim: Option<(f64, f64)>,
    window: Option<Window>,
) -> anyhow::Result<Rules> {
    let aim = aim.map_or(settings.aim.of(kind), |(from_ms, to_ms)| Aim {
        from_ms,
        to_ms,
    });
    let window = match window {
        Some(window) => window,
        None => Window::new(settings.pairing.before_ms, settings.pairing.after_ms)?,
    };
    Ok(Rules {
        aim,
        window,
        ball_m: settings.distance.microphone_to_ball_m,
        clicker_m: settings.distance.microphone_to_clicker_m,
        file_step_ms: 1e3 / 30.0,
        hand_u_ms: 0.0,
    })
}

fn read_moments(file: &Path) -> anyhow::Result<(Vec<Moment>, Vec<String>)> {
    let mut text = String::new();
    if file == Path::new("-") {
        std::io::stdin()
            .read_to_string(&mut text)
            .context("cannot read the moments from standard input")?;
    } else {
        let bytes = fs::read(file).map_err(|e| cannot_read("the moments from", file, &e))?;
        text = String::from_utf8_lossy(&bytes).into_owned();
    }
    let read =
        parse_moments(&text).with_context(|| format!("the moments in {}", file.display()))?;
    let notes = read
        .warnings
        .iter()
        .map(|w| format!("{}: {w}", file.display()))
        .collect();
    Ok((read.moments, notes))
}

pub(super) fn open_journal(home: &Home) -> anyhow::Result<Journal> {
    home.create()?;
    Ok(Journal::open(&home.journal_file())?)
}

/// All three moments of each drop, or those that a file or a hand told.
fn all_moments(heard: &Timeline, moments: &[Moment]) -> Vec<Moment> {
    if heard.drops.is_empty()
        || moments
            .iter()
            .any(|m| m.source != crate::timeline::MomentSource::Sound)
    {
        return moments.to_vec();
    }
    let mut all: Vec<Moment> = [MomentKind::Release, MomentKind::Floor, MomentKind::Top]
        .iter()
        .flat_map(|kind| heard.moments(*kind))
        .collect();
    all.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    all
}

fn json(done: &[Done], rules: &Rules, out: &mut dyn Write) -> anyhow::Result<()> {
    let texts: Vec<String> = done
        .iter()
        .map(|one| {
            let reviewed = Reviewed {
                path: one.file.display().to_string(),
                sample_rate_hz: one.rate_hz,
                channels: one.channels,
                duration_s: one.heard.duration_s,
            };
            contract(reviewed, &one.heard, &one.moments, &one.outcome)
        })
        .collect::<Result<_, _>>()?;
    if let [only] = &texts[..] {
        return Ok(out.write_all(only.as_bytes())?);
    }
    let pairs: Vec<Pair> = done.iter().flat_map(|d| d.outcome.pairs.clone()).collect();
    let kinds = done.iter().flat_map(|d| d.moments.iter().map(|m| m.kind));
    let yardstick = Yardstick::shared(kinds).unwrap_or(Yardstick::Reaction);
    let together = Together {
        format: "marklag.reviews/1",
        reviews: texts
            .iter()
            .map(|t| serde_json::from_str(t))
            .collect::<Result<_, _>>()?,
        summary: summarise(&pairs, yardstick, rules.aim),
    };
    serde_json::to_writer_pretty(&mut *out, &together)?;
    Ok(writeln!(out)?)
}

/// One recording, or what was heard live, as the contract's JSON.
pub(super) fn contract(
    reviewed: Reviewed,
    heard: &Timeline,
    moments: &[Moment],
    outcome: &Outcome,
) -> serde_json::Result<String> {
    Review::new(
        reviewed,
        heard.sounds.clone(),
        all_moments(heard, moments),
        outcome.pairs.clone(),
        &outcome.summary,
    )
    .with_words(heard.in_praise.clone(), heard.word_at)
    .to_json()
}

fn captions_on_video(one: &Done) -> String {
    // Players show captions by the picture's clock.
    let later = |t: f64| t + one.picture_offset_s;
    let pairs: Vec<Pair> = one
        .outcome
        .pairs
        .iter()
        .map(|p| Pair {
            moment_s: p.moment_s.map(later),
            mark_s: p.mark_s.map(later),
            ..p.clone()
        })
        .collect();
    let moments: Vec<Moment> = one
        .moments
        .iter()
        .map(|m| Moment {
            t_s: later(m.t_s),
            ..m.clone()
        })
        .collect();
    captions(&pairs, &moments, one.heard.word_at)
}

fn cue_points(one: &Done, kind: MomentKind) -> Vec<Cue> {
    let sample = |t_s: f64| (t_s * f64::from(one.rate_hz)).round().max(0.0) as u64;
    let mut cues: Vec<Cue> = Vec::new();
    for pair in &one.outcome.pairs {
        if let Some(t_s) = pair.moment_s {
            cues.push(Cue {
                sample: sample(t_s),
                label: summary::moment_word(kind).to_owned(),
            });
        }
        if let Some(t_s) = pair.mark_s {
            let label = pair.lag_ms.map_or_else(
                || "stray mark".to_owned(),
                |lag| format!("mark {lag:+.1} ms"),
            );
            cues.push(Cue {
                sample: sample(t_s),
                label,
            });
        }
    }
    cues.sort_by_key(|c| c.sample);
    cues
}

fn kept(
    one: &Done,
    settings: &Settings,
    rules: &Rules,
    taught: &Bridges,
    person: Option<&str>,
) -> anyhow::Result<KeptReview> {
    let mut used = settings.clone();
    used.pairing.before_ms = rules.window.before_ms();
    used.pairing.after_ms = rules.window.after_ms();
    used.bridge.word_at = one.heard.word_at;
    Ok(KeptReview {
        bout: Bout {
            kind: BoutKind::Review,
            started_at: Timestamp::now(),
            time_zone: TimeZone::system().iana_name().map(str::to_owned),
            person: person
                .map(str::to_owned)
                .or_else(|| settings.person.clone()),
            source: Some(
                fs::canonicalize(&one.file)
                    .unwrap_or_else(|_| one.file.clone())
                    .display()
                    .to_string(),
            ),
            sound_file: None,
            sample_rate_hz: Some(one.rate_hz),
            channels: Some(one.channels),
            duration_s: Some(one.heard.duration_s),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: serde_json::to_string(&serde_json::json!({
                "settings": used,
                "aim": rules.aim,
            }))?,
            profiles: taught.snapshots()?,
        },
        sounds: one.heard.sounds.clone(),
        moments: one.moments.clone(),
        pairs: one.outcome.pairs.clone(),
    })
}

/// Whether two names are one file, there already or still to be made.
fn is_same_file(a: &Path, b: &Path) -> bool {
    let whole = |path: &Path| {
        fs::canonicalize(path).ok().or_else(|| {
            let folder = path.parent()?;
            let here = Path::new(".");
            let folder = if folder == Path::new("") {
                here
            } else {
                folder
            };
            Some(fs::canonicalize(folder).ok()?.join(path.file_name()?))
        })
    };
    a == b || whole(a).is_some_and(|a| whole(b) == Some(a))
}

pub(super) fn parse_span(text: &str) -> Result<(f64, f64), String> {
    let advice = "give the earliest and the latest lag in milliseconds, for instance -50..50";
    let (from, to) = text.split_once("..").ok_or(advice)?;
    let number = |t: &str| {
        t.trim()
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite())
            .ok_or(advice)
    };
    let (from, to) = (number(from)?, number(to)?);
    if from > to {
        Err(format!(
            "the first number must not be larger than the second; {advice}"
        ))
    } else {
        Ok((from, to))
    }
}

pub(super) fn parse_window(text: &str) -> Result<Window, String> {
    let advice = "give two numbers of milliseconds, for instance 500,1500";
    let (before, after) = text.split_once(',').ok_or(advice)?;
    let number = |t: &str| t.trim().parse::<f64>().map_err(|_| advice.to_owned());
    Window::new(number(before)?, number(after)?).map_err(|e| e.to_string())
}

/// Where in a word its mark is stamped.
pub(super) fn word_at_parser() -> impl TypedValueParser<Value = WordAt> {
    PossibleValuesParser::new(WordAt::ALL.map(WordAt::name)).map(|text| {
        let found = WordAt::ALL.into_iter().find(|at| at.name() == text);
        found.unwrap_or_default()
    })
}

pub(super) fn parse_height(text: &str) -> Result<f64, String> {
    let height_m: f64 = text
        .trim()
        .trim_end_matches('m')
        .trim()
        .parse()
        .map_err(|_| "give metres, for instance 1.2".to_owned())?;
    if (0.05..=10.0).contains(&height_m) {
        Ok(height_m)
    } else {
        Err("a ball is dropped from 0.05 to 10 metres".to_owned())
    }
}
