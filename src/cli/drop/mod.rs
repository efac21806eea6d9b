//! `marklag drop`: the ball-drop drill, live.

mod app;
mod begin;
mod end;
mod keep;
mod lines;
mod show;

use std::io::{self, IsTerminal, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};

use anyhow::{Context, anyhow, bail};
use clap::{Args, ValueEnum};

use super::bridges::Bridges;
use super::columns;
use super::keep_sound::begin_sound;
use super::review::{
    BallMoment, contract, open_journal, parse_height, parse_span, parse_window, rules,
    word_at_parser,
};
use super::sound_in::SoundIn;
use super::trouble::{BadUsage, Signalled};
use crate::drill::{Caller, Feedback, Setup, State, Waits, Way};
use crate::ear::word::WordAt;
use crate::hand::pedal::Pedal;
use crate::hand::{KeyPath, Source};
use crate::journal::{Bout, Home, Journal, Settings, hands};
use crate::live::Live;
use crate::measure::observer::key_errors_ms;
use crate::page::Recording as Reviewed;
use crate::screen::{KeyMap, Log, Look, Screen, run, view};
use crate::sound::monotonic::mono_ns;
use crate::timeline::Window;
use app::{Begin, Drill, TABLE};
use end::measure_presser;
use keep::Keeper;
use lines::Lines;

/// Drops of a drill when no number is given.
const DROPS: usize = 20;
/// What the ball on the screen falls when no height is given, in metres.
const SCREEN_HEIGHT_M: f64 = 1.2;

/// Where the moments come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum By {
    /// A real ball, by the sound of its bounces: the most exact
    Ball,
    /// A partner, who presses a key or a pedal at the moment
    Partner,
    /// A ball that falls on this screen: less exact, for want of a ball
    Screen,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum When {
    /// After each drop
    Each,
    /// Only at the end
    End,
}

/// Drop a ball and mark it, with the lag on the screen at once
#[derive(Debug, Args)]
pub(super) struct DropCmd {
    /// Which moment of the ball is to be marked
    #[arg(
        long,
        visible_alias = "mark",
        value_enum,
        default_value = "floor",
        value_name = "MOMENT"
    )]
    moment: BallMoment,
    /// Where the moments come from
    #[arg(long, value_enum, default_value = "ball", value_name = "WHAT")]
    by: By,
    /// The partner's pedal or second keyboard, by its name (docs/pedal.md)
    #[arg(long, value_name = "NAME")]
    pedal: Option<String>,
    /// Height the ball falls from, in metres
    #[arg(long, value_name = "METRES", value_parser = parse_height, allow_hyphen_values = true)]
    height: Option<f64>,
    /// Harder: some drops are held or caught, and a mark then is a stray
    #[arg(long)]
    catch: bool,
    /// How many drops; 20 unless told, and all there are in a recording
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    drops: Option<u32>,
    /// When the lags are shown
    #[arg(long, value_enum, default_value = "each", value_name = "WHEN")]
    feedback: When,
    /// Listen for this taught sound only; may be given several times
    #[arg(long, value_name = "NAME")]
    bridge: Vec<String>,
    /// Lags that count as on time, in ms, for instance -50..50
    #[arg(long, value_name = "FROM..TO", value_parser = parse_span, allow_hyphen_values = true)]
    aim: Option<(f64, f64)>,
    /// How far a mark may be from its moment, in ms: before,after
    #[arg(long, value_name = "BEFORE,AFTER", value_parser = parse_window, allow_hyphen_values = true)]
    window: Option<Window>,
    /// Where in a spoken mark the mark is: where its sound begins, or at the word's
    /// perceptual centre, by a model
    #[arg(long, value_name = "WHERE", value_parser = word_at_parser())]
    word_at: Option<WordAt>,
    /// Whose marks these are
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    #[command(flatten)]
    sound: SoundIn,
    /// Keep the sound too, as a WAV in the home folder
    #[arg(long, conflicts_with = "no_keep")]
    keep_sound: bool,
    /// Keep a drill from a recording in the journal (one by microphone always is)
    #[arg(long, requires = "from")]
    keep: bool,
    /// Keep nothing in the journal
    #[arg(long, conflicts_with = "keep")]
    no_keep: bool,
    /// Measure how you press: press the moment's key as the ball hits the floor
    #[arg(long, conflicts_with_all = ["catch", "json"])]
    key_against_sound: bool,
    /// Ring the terminal's bell at the end
    #[arg(long)]
    bell: bool,
    /// Lines instead of a full screen, as where there is no terminal
    #[arg(long)]
    plain: bool,
    /// Print the result as JSON, as review does
    #[arg(long)]
    json: bool,
}

impl DropCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        self.check().map_err(BadUsage)?;
        let mut settings = Settings::load(&home.settings_file())?;
        settings.bridge.word_at = self.word_at.unwrap_or(settings.bridge.word_at);
        let keys = self.keys(&settings)?;
        let taught = Bridges::wanted(home, &self.bridge)?;
        let kind = self.moment.kind();
        let rules = rules(&settings, kind, self.aim, self.window)?;
        let pedal = self
            .pedal
            .as_deref()
            .map(|name| Pedal::open(name, true))
            .transpose()?;
        let path = self.key_path(home)?;
        let origin = self.sound.origin(home)?;
        let rate_hz = origin.source.rate_hz();
        if let Some(words) = taught.narrow(rate_hz) {
            eprintln!("Note: {words}.");
        }
        let word_at = settings.bridge.word_at;
        let listening = taught.listening(rate_hz, self.listened_height(), word_at)?;
        let keeps = !self.no_keep && (!self.sound.is_recording() || self.keep || self.keep_sound);
        let journal = keeps.then(|| open_journal(home)).transpose()?;
        let kept = self
            .keep_sound
            .then(|| begin_sound(home, "drill", rate_hz))
            .transpose()?;
        let state = State::new(Setup {
            kind,
            way: self.way(),
            rules,
            drops: match self.drops {
                Some(n) => usize::try_from(n).ok(),
                None => (!self.sound.is_recording()).then_some(DROPS),
            },
            feedback: match self.feedback {
                When::Each => Feedback::Each,
                When::End => Feedback::End,
            },
            known_after_s: listening.known_after_s(),
            word_at: listening.so_far().word_at,
        });
        let person = self.person.clone().or_else(|| settings.person.clone());
        let seed = mono_ns().unsigned_abs();
        let keeper = match journal {
            Some(journal) => {
                let bout = Bout {
                    person: person.clone(),
                    sound_file: kept.as_ref().map(|(name, _)| name.clone()),
                    ..self.bout(&state, &settings, &origin, &taught, seed)?
                };
                Some(Keeper::begin(journal, &bout)?)
            }
            None => None,
        };
        let log = Log::open(home.folder());
        let log_path = log.path().to_owned();
        let reviewed = Reviewed {
            path: origin.name.clone(),
            sample_rate_hz: rate_hz,
            channels: origin.channels,
            duration_s: 0.0,
        };
        let (live, told) = Live::start(origin.source, listening, kept.map(|(_, wav)| wav))?;
        live.watch_signals()?;
        if let Some(pedal) = pedal {
            live.read_pedal(pedal)?;
        }
        let waits = Waits::new(seed, self.catch);
        let height_m = self.height.unwrap_or(SCREEN_HEIGHT_M);
        let caller = Caller::new(self.way(), kind, height_m, waits);
        let screen = self.screen(&log)?;
        match screen {
            Some(_) => live.read_keys()?,
            None => live.read_lines()?,
        }
        let look = Look::choose(settings.screen.colours, settings.screen.signs, &|name| {
            std::env::var(name).ok()
        });
        let mut drill = Drill::new(Begin {
            state,
            live,
            caller,
            keys,
            path,
            keeper,
            log,
            names: taught.names(),
            has_screen: screen.is_some(),
        });
        // A fault of the program's own must not cost what is on the screen or kept.
        let ran = catch_unwind(AssertUnwindSafe(|| match screen {
            Some(mut screen) => run(&told, &mut drill, &mut |drill| {
                let view = drill.view();
                screen.draw(|frame| view::drill::draw(&view, look, frame))?;
                drill.shown();
                Ok(())
            }),
            None => {
                let mut lines = Lines::new();
                let is_silent = self.json;
                run(&told, &mut drill, &mut |drill| {
                    if !is_silent {
                        lines.write(drill, out)?;
                    }
                    drill.shown();
                    Ok(())
                })
            }
        }));
        let ended = drill
            .keeper
            .as_mut()
            .map(|k| k.end(&drill.state))
            .transpose();
        match ran {
            Ok(ran) => ran?,
            Err(_) => bail!(
                "marklag broke off by a fault of its own; what was heard is kept, and {} says more",
                log_path.display()
            ),
        }
        ended?;
        if let Some(signal) = drill.signal {
            return Err(Signalled(signal).into());
        }
        if let Some(words) = drill.trouble {
            return Err(anyhow!(words));
        }
        self.end(&drill, home, person.as_deref(), reviewed, out)?;
        if self.key_against_sound {
            let floors: Vec<f64> = drill.state.heard.drops.iter().map(|d| d.floor_s).collect();
            let errors_ms = key_errors_ms(&floors, &drill.presses_s);
            measure_presser(home, person.as_deref(), &errors_ms, !self.no_keep, out)?;
        }
        Ok(())
    }

    /// Combinations that make no sense are refused before any work is done.
    fn check(&self) -> Result<(), String> {
        if self.key_against_sound && (self.by != By::Ball || self.moment != BallMoment::Floor) {
            return Err(
                "--key-against-sound needs a real ball and its floor, which are the default"
                    .to_owned(),
            );
        }
        if self.pedal.is_some() && self.by != By::Partner && !self.key_against_sound {
            return Err("--pedal is a partner's; add --by partner".to_owned());
        }
        if self.catch && self.by == By::Ball {
            return Err(
                "--catch needs --by partner or --by screen: a ball that is caught makes no sound"
                    .to_owned(),
            );
        }
        if self.sound.is_fast() && self.by != By::Ball {
            return Err(
                "--fast leaves no time for a partner or for a ball on the screen; take it away"
                    .to_owned(),
            );
        }
        if self.by == By::Screen && (self.plain || self.json) {
            return Err("--by screen needs the full screen, without --plain or --json".to_owned());
        }
        Ok(())
    }

    fn way(&self) -> Way {
        match self.by {
            By::Ball => Way::Ball,
            By::Partner => Way::Partner,
            By::Screen => Way::Screen,
        }
    }

    /// The height of a ball that is heard.
    fn listened_height(&self) -> Option<f64> {
        self.height.filter(|_| self.by == By::Ball)
    }

    fn keys(&self, settings: &Settings) -> anyhow::Result<KeyMap<app::Action>> {
        let table = match self.by {
            By::Partner => TABLE,
            By::Ball if self.key_against_sound => TABLE,
            By::Ball | By::Screen => TABLE.get(1..).unwrap_or(TABLE),
        };
        Ok(KeyMap::new(table, |name| settings.keys.of(name))?)
    }

    /// How late the partner's key is, where that was measured.
    fn key_path(&self, home: &Home) -> anyhow::Result<Option<KeyPath>> {
        if self.by != By::Partner && !self.key_against_sound {
            return Ok(None);
        }
        let device = match &self.pedal {
            Some(name) => Source::Device(name.clone()),
            None => Source::Terminal,
        };
        let path = hands::of(home, &device)?;
        if path.is_none() {
            eprintln!(
                "Note: how late this key is was never measured; the lags hold its delay, perhaps 10 to 100 ms."
            );
        }
        Ok(path)
    }

    /// The full screen, where there is a terminal for it and it is wanted.
    fn screen(&self, log: &Log) -> anyhow::Result<Option<Screen>> {
        let is_terminal = io::stdout().is_terminal() && io::stdin().is_terminal();
        if self.plain || self.json || !is_terminal {
            if self.by == By::Screen {
                bail!("a ball on the screen needs a terminal; use --by ball or --by partner here");
            }
            return Ok(None);
        }
        let screen = Screen::enter(log).context("the terminal cannot be used; try --plain")?;
        Ok(Some(screen))
    }

    /// Tells what the drill came to.
    fn end(
        &self,
        drill: &Drill,
        home: &Home,
        person: Option<&str>,
        reviewed: Reviewed,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let (state, keeper) = (&drill.state, drill.keeper.as_ref());
        let outcome = state.outcome();
        if self.json {
            let moments: Vec<_> = state.moments_counted().cloned().collect();
            let reviewed = Reviewed {
                duration_s: state.heard.duration_s,
                ..reviewed
            };
            let text = contract(reviewed, &state.heard, &moments, &outcome)?;
            return Ok(out.write_all(text.as_bytes())?);
        }
        let before = match keeper {
            Some(keeper) => end::before(keeper.journal(), Some(keeper.id()), person, state)?,
            None => match Journal::open_existing(&home.journal_file())? {
                Some(journal) => end::before(&journal, None, person, state)?,
                None => Vec::new(),
            },
        };
        if self.bell {
            write!(out, "\x07")?;
        }
        end::write(out, &reviewed.path, state, &outcome, &before, columns())?;
        if let Some(words) = state.unheard(&drill.names) {
            writeln!(out, "\n{words}")?;
        }
        match keeper {
            Some(keeper) => writeln!(out, "\nKept in the journal as {}.", keeper.id().short())?,
            None if self.no_keep => writeln!(out, "\nNot kept.")?,
            None => writeln!(out, "\nNot kept in the journal; --keep keeps it.")?,
        }
        Ok(())
    }
}

fn count(n: usize, one: &str, many: &str) -> String {
    if n == 1 {
        format!("1 {one}")
    } else {
        format!("{n} {many}")
    }
}
