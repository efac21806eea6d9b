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

use super::columns;
use super::review::{
    BallMoment, contract, parse_ball, parse_height, parse_span, parse_window, word_at_parser,
};
use super::sound_in::SoundIn;
use super::trouble::{BadUsage, Signalled};
use crate::drill::Way;
use crate::ear::word::WordAt;
use crate::hand::{KeyPath, Source};
use crate::journal::{Home, Journal, Settings, hands};
use crate::measure::observer::key_errors_ms;
use crate::page::Recording as Reviewed;
use crate::screen::{KeyMap, Log, Look, Screen, run, view};
use crate::timeline::{BallKind, Window};
use app::{Drill, TABLE};
use begin::Running;
use end::measure_presser;
use lines::Lines;

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
    /// The ball: tennis, table-tennis, rubber, football, golf, basketball, volleyball, or
    /// its mass and diameter (58g,67mm); it is worked out from the bounces otherwise
    #[arg(long, value_name = "KIND", value_parser = parse_ball)]
    ball: Option<BallKind>,
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
        let ready = self.prepare(home)?;
        let person = ready.bout.person.clone();
        let reviewed = ready.reviewed();
        let log_path = ready.log.path().to_owned();
        let (look, mut running) = (ready.look, self.begin(ready, home)?);
        let ran = self.work(&mut running, look, out);
        let Running {
            mut drill, told, ..
        } = running;
        let ended = drill.end(told);
        match ran {
            Ok(ran) => ran?,
            Err(_) => bail!(
                "marklag crashed (internal error); what was heard is kept, and {} says more",
                log_path.display()
            ),
        }
        if let Some(signal) = drill.signal {
            ended?;
            return Err(Signalled(signal).into());
        }
        let is_kept = ended.is_ok();
        self.end(&drill, is_kept, home, person.as_deref(), reviewed, out)?;
        if self.key_against_sound {
            let floors: Vec<f64> = drill.state.heard.drops.iter().map(|d| d.floor_s).collect();
            let errors_ms = key_errors_ms(&floors, &drill.presses_s);
            measure_presser(home, person.as_deref(), &errors_ms, !self.no_keep, out)?;
        }
        ended?;
        drill.trouble.map_or(Ok(()), |words| Err(anyhow!(words)))
    }

    /// Runs the drill to its end. A fault of the program's own must not cost what is
    /// on the screen or kept.
    fn work(
        &self,
        running: &mut Running,
        look: Look,
        out: &mut dyn Write,
    ) -> std::thread::Result<anyhow::Result<()>> {
        let screen = running.screen.take();
        let (drill, told) = (&mut running.drill, &running.told);
        catch_unwind(AssertUnwindSafe(|| match screen {
            Some(mut screen) => run(told, drill, &mut |drill| {
                let view = drill.view();
                screen.draw(|frame| view::drill::draw(&view, look, frame))?;
                drill.shown();
                Ok(())
            }),
            None => {
                let mut lines = Lines::new();
                let is_silent = self.json;
                run(told, drill, &mut |drill| {
                    if !is_silent {
                        lines.write(drill, out)?;
                    }
                    drill.shown();
                    Ok(())
                })
            }
        }))
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
                "Note: this key's delay was never measured; lags include it, perhaps 10 to 100 ms."
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
        is_kept: bool,
        home: &Home,
        person: Option<&str>,
        reviewed: Reviewed,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let state = &drill.state;
        let keeper = drill.keeper.as_ref().filter(|_| is_kept);
        let outcome = state.outcome();
        if self.json {
            let moments: Vec<_> = state.moments_counted().map(|m| m.moment.clone()).collect();
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
            // What went wrong is told next.
            None if drill.keeper.is_some() => {}
            None if self.no_keep => writeln!(out, "\nNot kept.")?,
            None => writeln!(out, "\nNot kept in the journal; --keep keeps it.")?,
        }
        Ok(())
    }
}
