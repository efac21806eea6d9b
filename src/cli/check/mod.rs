//! `marklag check`: can this set-up be trusted, and to how many milliseconds.

mod hands;
mod watch;
mod words;

use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

use anyhow::bail;
use clap::{Args, Subcommand};

use self::watch::Watch;
use super::bridges::Bridges;
use super::show::Show;
use super::sound_in::SoundIn;
use crate::check::{Against, Facts, Mark, Presser, Trust, Use, Verdict, verdict};
use crate::journal::{Home, Journal, Settings, hands as known_hands};
use crate::screen::view::setup::SetupView;
use crate::sound::microphone::{Microphone, devices};
use crate::sound::{Flow, MicEvent, SampleSource};

/// How long a check lasts where nobody can end it, in seconds.
const UNTENDED_S: f64 = 15.0;
/// How long the engine waits for sound at a stretch.
const PATIENCE: Duration = Duration::from_millis(30);

/// Look at microphone, level, clock and hands, and say how far to trust them.
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(super) struct CheckCmd {
    #[command(subcommand)]
    what: Option<What>,
    #[command(flatten)]
    sound: SoundIn,
    /// Check for this long; else until you end it, or 15 s where there is no
    /// terminal
    #[arg(long, value_name = "N", value_parser = seconds)]
    seconds: Option<f64>,
    /// Plain lines instead of the full screen
    #[arg(long)]
    plain: bool,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
    /// Show what the uncertainty of a lag is made of
    #[arg(long)]
    budget: bool,
    /// List the microphones and end
    #[arg(long)]
    devices: bool,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Measure how late a key or pedal is: tap it so that the microphone hears it
    Hands(hands::HandsCmd),
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if (1.0..=3_600.0).contains(&s) => Ok(s),
        _ => Err("give seconds from 1 to 3600".to_owned()),
    }
}

/// What is listened to.
enum Input {
    Microphone(Box<Microphone>),
    Recording(Box<dyn SampleSource>),
}

impl Input {
    fn source(&mut self) -> &mut dyn SampleSource {
        match self {
            Self::Microphone(m) => &mut **m,
            Self::Recording(r) => &mut **r,
        }
    }

    fn microphone(&self) -> Option<&Microphone> {
        match self {
            Self::Microphone(m) => Some(m),
            Self::Recording(_) => None,
        }
    }
}

impl CheckCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        if let Some(What::Hands(command)) = self.what {
            return command.run(home, out);
        }
        if self.devices {
            return list(self.json, out);
        }
        let taught = Bridges::all(home)?;
        let hands = known_hands::read(home)?;
        let mut input = if self.sound.is_recording() {
            Input::Recording(self.sound.open(home)?)
        } else {
            Input::Microphone(Box::new(self.sound.microphone(home)?))
        };
        let settings = Settings::load(&home.settings_file())?;
        let presser = presser(home, settings.person.as_deref())?;
        let within_m = settings.distance.known_within_m;
        let mut watch = Watch::new(input.source().rate_hz(), &taught, within_m, presser)?;
        let plain = self.plain || self.json;
        let mut show = Show::open(home, plain, false)?;
        self.watch(&mut watch, &mut input, &mut show, &hands, out)?;
        show.close();
        let facts = watch.facts(input.microphone(), &hands);
        let verdict = verdict(&facts);
        if self.json {
            return json(&facts, &verdict, out);
        }
        words::report(out, &facts, &verdict, self.budget, super::columns())?;
        Ok(())
    }

    /// Watches until the time is up, the recording ends or the user has seen enough.
    fn watch(
        &self,
        watch: &mut Watch,
        input: &mut Input,
        show: &mut Show,
        hands: &known_hands::KnownHands,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let is_microphone = input.microphone().is_some();
        let untended = (is_microphone && !show.is_full()).then_some(UNTENDED_S);
        let until_s = self.seconds.or(untended).unwrap_or(f64::INFINITY);
        let start = Instant::now();
        let meter = !self.json && !show.is_full() && std::io::stdout().is_terminal();
        let mut metered = Instant::now();
        let (mut samples, mut events) = (Vec::new(), Vec::<MicEvent>::new());
        loop {
            let passed_s = if is_microphone {
                start.elapsed().as_secs_f64()
            } else {
                watch.seconds()
            };
            if passed_s >= until_s || show.done().wants_out {
                break;
            }
            samples.clear();
            events.clear();
            let flow = input.source().pull(PATIENCE, &mut samples, &mut events);
            let said = watch.take(&samples, &events)?;
            if !self.json {
                for words in said {
                    show.say(
                        out,
                        &format!("{}{words}", if meter { "\r\x1b[K" } else { "" }),
                    )?;
                }
            }
            show.draw(|| view(watch, input.microphone(), hands))?;
            if meter && metered.elapsed() >= Duration::from_millis(200) {
                metered = Instant::now();
                write!(out, "\r\x1b[K{}", level_line(watch))?;
                out.flush()?;
            }
            if flow == Flow::Ended {
                break;
            }
        }
        if meter {
            write!(out, "\r\x1b[K")?;
        }
        if watch.seconds() == 0.0 && watch.facts(None, hands).troubles.stalls == 0 {
            bail!("no sound came at all; look whether the microphone is suspended or muted");
        }
        Ok(())
    }
}

/// How the person of the settings keys moments, where that was measured.
fn presser(home: &Home, person: Option<&str>) -> anyhow::Result<Option<Presser>> {
    let Some(name) = person else { return Ok(None) };
    let Some(journal) = Journal::open_existing(&home.journal_file())? else {
        return Ok(None);
    };
    Ok(journal.observer(name)?.map(|who| Presser {
        name: name.to_owned(),
        spread_ms: who.spread_ms,
    }))
}

fn level_line(watch: &mut Watch) -> String {
    let level = watch.level();
    let bar = crate::screen::view::setup::bar(level, 40, crate::page::Glyphs::Ascii);
    format!(
        "[{bar}] {:>4.0} dB, {}",
        level.peak_dbfs.max(-199.0),
        level.word()
    )
}

fn view(
    watch: &mut Watch,
    microphone: Option<&Microphone>,
    hands: &known_hands::KnownHands,
) -> SetupView {
    let facts = watch.facts(microphone, hands);
    let level = watch.level();
    let verdict = verdict(&facts);
    let mut rows: Vec<(String, String)> = Vec::new();
    for judged in &verdict.uses {
        let words = judged.to_string();
        let how = words.split_once(": ").map_or("", |(_, how)| how);
        rows.push((judged.short.clone(), how.to_owned()));
    }
    rows.extend(words::rows(&facts));
    let (mark, mark_on) = match (facts.clickers.is_empty(), facts.words.is_empty()) {
        (true, false) => ("Say your word", "say it"),
        (false, false) => ("Click, and say your word,", "click or say it"),
        _ => ("Click", "click"),
    };
    let status = if facts.is_heard() {
        format!("Heard. Go on: {mark_on} as you do when you train; end when you have seen enough.")
    } else {
        format!("{mark} a few times, as far from the microphone as when you train.")
    };
    let ball = Use {
        mark: Mark::Click,
        against: Against::Sound,
    };
    SetupView {
        title: format!("Check of the set-up, {:.0} s", facts.watched_s),
        large: level.word().to_string().to_uppercase(),
        status,
        level: Some(level),
        rows,
        // What only needs time is no warning while the check goes on.
        warnings: verdict
            .findings
            .iter()
            .filter(|f| f.allows(ball) != Some(Trust::NotKnown))
            .filter(|f| !matches!(f, crate::check::Finding::TooShort))
            .map(ToString::to_string)
            .take(2)
            .collect(),
        keys: Vec::new(),
    }
}

#[derive(serde::Serialize)]
struct Report<'a> {
    format: &'static str,
    #[serde(flatten)]
    facts: &'a Facts,
    verdict: &'a Verdict,
}

fn json(facts: &Facts, verdict: &Verdict, out: &mut dyn Write) -> anyhow::Result<()> {
    let report = Report {
        format: "marklag.check/1",
        facts,
        verdict,
    };
    writeln!(out, "{}", serde_json::to_string_pretty(&report)?)?;
    Ok(())
}

fn list(as_json: bool, out: &mut dyn Write) -> anyhow::Result<()> {
    let all = devices()?;
    if as_json {
        let rows: Vec<serde_json::Value> = all
            .iter()
            .map(|d| serde_json::json!({"name": d.description, "id": d.id, "is_default": d.is_default}))
            .collect();
        writeln!(out, "{}", serde_json::to_string_pretty(&rows)?)?;
        return Ok(());
    }
    if all.is_empty() {
        bail!("No microphone was found. Plug one in, or start the sound system, and try again.");
    }
    for device in &all {
        let mark = if device.is_default {
            ", the system's choice"
        } else {
            ""
        };
        writeln!(out, "{}{mark}\n    {}", device.description, device.id)?;
    }
    writeln!(out, "Choose one with --microphone and a part of its name.")?;
    Ok(())
}
