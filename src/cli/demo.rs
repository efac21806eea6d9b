//! `marklag demo`: a made-up farm, for a first look and for sound files whose
//! truth is known.

use std::io::Write;
use std::path::PathBuf;

use anyhow::Context;
use clap::Args;

use super::{columns, summary};
use crate::ear::teach_click;
use crate::journal::Settings;
use crate::listen::Listening;
use crate::review::judge;
use crate::sound::room::{Ball, Clicker, Colour, Room, Scene};
use crate::sound::wav_out::{Depth, WavOut, WavShape};
use crate::timeline::MomentKind;

/// Samples per second of the made-up sound.
const RATE_HZ: u32 = 48_000;

/// Try it with no recording: a made-up farm, or its sound as a file.
#[derive(Debug, Args)]
pub(super) struct DemoCmd {
    /// Another number makes another farm
    #[arg(long, default_value_t = 1, value_name = "N")]
    seed: u64,
    /// How many times the ball is dropped
    #[arg(long, default_value_t = 12, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=200))]
    drops: u32,
    /// Write the sound of the drill into this new WAV file
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// Write ten clicks to teach from into this new WAV file
    #[arg(long, value_name = "FILE")]
    save_clicks: Option<PathBuf>,
}

impl DemoCmd {
    pub(super) fn run(self, out: &mut dyn Write) -> anyhow::Result<()> {
        let clicks = ten_clicks(self.seed);
        let drill = drill(self.seed, self.drops);
        for (file, scene) in [(&self.save_clicks, &clicks), (&self.save, &drill)] {
            if let Some(file) = file {
                save(file, scene)?;
                writeln!(out, "Wrote {}", file.display())?;
            }
        }
        if self.save.is_some() || self.save_clicks.is_some() {
            return Ok(());
        }
        writeln!(
            out,
            "A made-up barn: Tilda drops a ball for practice, before she goes to her goats. \
             Every sound was built, so the truth is known.\n"
        )?;
        let taught = teach_click("tilda", &clicks.samples, RATE_HZ)?;
        let mut listening = Listening::new(RATE_HZ, &[taught.profile], None)?;
        listening.push(&drill.samples)?;
        let heard = listening.finish()?;
        let moments = heard.moments(MomentKind::Floor);
        let rules = super::review::rules(&Settings::default(), MomentKind::Floor, None, None)?;
        let outcome = judge(&heard, &moments, &rules);
        summary::write(
            out,
            "The drill",
            &heard,
            MomentKind::Floor,
            &outcome,
            columns(),
        )?;
        let truth: Vec<f64> = drill
            .clicks
            .iter()
            .zip(&drill.falls)
            .map(|(click, fall)| {
                1e3 * (click.press as f64 / f64::from(RATE_HZ) - fall.impacts_s[0])
            })
            .collect();
        let worst = outcome
            .pairs
            .iter()
            .filter_map(|p| p.lag_ms)
            .filter_map(|lag| truth.iter().map(|t| (t - lag).abs()).min_by(f64::total_cmp))
            .fold(0.0f64, f64::max);
        writeln!(
            out,
            "\nAgainst the truth, the worst of these lags is {worst:.3} ms off."
        )?;
        Ok(())
    }
}

/// Ten clicks in a quiet barn.
pub(super) fn ten_clicks(seed: u64) -> Scene {
    let clicker = Clicker::from_seed(seed);
    let mut room = Room::new(RATE_HZ, 13.0, seed ^ 0x1);
    for k in 0..10 {
        let wait_s = room.dice().between(-0.1, 0.1);
        room.click(&clicker, 0.8 + 1.2 * f64::from(k) + wait_s, 0.35);
    }
    room.echo(0.25, 0.35);
    room.noise(0.35 * 10f64.powf(-38.0 / 20.0), Colour::Pink);
    room.finish()
}

/// A ball-drop drill: the clicks scatter around the floor moments.
pub(super) fn drill(seed: u64, drops: u32) -> Scene {
    let clicker = Clicker::from_seed(seed);
    let ball = Ball::from_seed(seed);
    let mut room = Room::new(RATE_HZ, 4.0 * f64::from(drops) + 2.0, seed ^ 0x2);
    for k in 0..drops {
        let release_s = 1.0 + 4.0 * f64::from(k) + room.dice().between(0.0, 0.3);
        let fall = room.drop_ball(&ball, release_s, 1.0, 7, 0.4);
        let lag_s = 0.028 + 0.045 * room.dice().normal();
        room.click(&clicker, fall.impacts_s[0] + lag_s, 0.3);
    }
    room.echo(0.25, 0.35);
    room.noise(0.3 * 10f64.powf(-30.0 / 20.0), Colour::Pink);
    room.finish()
}

fn save(file: &std::path::Path, scene: &Scene) -> anyhow::Result<()> {
    let shape = WavShape {
        sample_rate_hz: RATE_HZ,
        channels: 1,
        depth: Depth::Int16,
    };
    let mut wav =
        WavOut::create(file, shape).with_context(|| format!("cannot write {}", file.display()))?;
    wav.write(&scene.samples)?;
    wav.finish()?;
    Ok(())
}
