//! `marklag demo`: a made-up farm, for a first look and for sound files whose
//! truth is known.

use std::io::Write;
use std::path::PathBuf;

use anyhow::bail;
use clap::{Args, Subcommand};

use super::{columns, progress, summary};
use crate::ear::teach_click;
use crate::journal::school::School;
use crate::journal::{Home, Journal, KeptReview, Settings, lots_of_review};
use crate::listen::Listening;
use crate::review::judge;
use crate::sound::room::Scene;
use crate::sound::room::farm::{RATE_HZ, drill, ten_clicks};
use crate::sound::wav_out::{Depth, WavOut, WavShape};
use crate::timeline::{MomentKind, Pair};

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
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Weeks of drills and sessions of invented people who get better
    School(SchoolCmd),
}

/// A school of a made-up goat farm
#[derive(Debug, Args)]
struct SchoolCmd {
    /// Write it as the journal of this new home folder (then: marklag --home FOLDER progress)
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Another number makes another school
    #[arg(long = "school-seed", default_value_t = 1, value_name = "N")]
    seed: u64,
    /// How many people
    #[arg(long, default_value_t = 3, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1000))]
    people: u32,
    /// For how many days
    #[arg(long, default_value_t = 70, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=20_000))]
    days: u32,
    /// Drills on a day of practice
    #[arg(long, default_value_t = 2, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=8))]
    drills: u32,
    /// Practise every day, and drop balls only
    #[arg(long)]
    daily: bool,
}

impl SchoolCmd {
    fn run(self, out: &mut dyn Write) -> anyhow::Result<()> {
        let school = School {
            seed: self.seed,
            people: self.people,
            days: self.days,
            practice: if self.daily { 1.0 } else { 0.6 },
            drills: self.drills,
            sessions: !self.daily,
        };
        let Some(folder) = self.folder else {
            let truth = school.truth(0);
            writeln!(
                out,
                "A made-up farm: everything here is invented. By construction {}'s floor drops \
                 come {:.0} ms earlier from the first day to the last.\n",
                truth.name,
                truth.first_ms - truth.last_ms
            )?;
            let bouts: Vec<KeptReview> = school.bouts(0).map(|made| made.as_review()).collect();
            let lots = lots_of_review(&bouts);
            return progress::tell(out, &truth.name, &lots, &Settings::default());
        };
        let home = Home::at(&folder);
        if home.journal_file().exists() {
            bail!(
                "{} is there already; give the name of a new folder",
                home.journal_file().display()
            );
        }
        home.create()?;
        let mut journal = Journal::open(&home.journal_file())?;
        let mut bouts = 0;
        for person in 0..school.people {
            bouts += journal.keep_school(&school, person)?;
        }
        writeln!(
            out,
            "{bouts} drills and sessions of {} invented people written.\nNow: marklag --home {} progress",
            school.people,
            folder.display()
        )?;
        Ok(())
    }
}

impl DemoCmd {
    pub(super) fn run(self, out: &mut dyn Write) -> anyhow::Result<()> {
        if let Some(What::School(school)) = self.what {
            return school.run(out);
        }
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
        let outcome = judge(heard.marks(), &moments, &rules);
        summary::write(
            out,
            "The drill",
            &heard,
            MomentKind::Floor,
            &outcome,
            columns(),
        )?;
        let off_ms = off_ms(&outcome.pairs, &drill);
        let worst_ms = off_ms.iter().copied().fold(0.0f64, f64::max);
        writeln!(
            out,
            "\nOf {} marks that were made, {} were timed; against the truth, the worst of their lags is {worst_ms:.3} ms off.",
            drill.clicks.len(),
            off_ms.len()
        )?;
        Ok(())
    }
}

/// How far each measured lag is from the true one of its drop, in ms.
fn off_ms(pairs: &[Pair], drill: &Scene) -> Vec<f64> {
    pairs
        .iter()
        .filter_map(|pair| {
            let (moment_s, lag_ms) = (pair.moment_s?, pair.lag_ms?);
            let floors = drill.falls.iter().filter_map(|f| f.impacts_s.first());
            let (floor_s, click) = floors
                .zip(&drill.clicks)
                .min_by(|a, b| (a.0 - moment_s).abs().total_cmp(&(b.0 - moment_s).abs()))?;
            let true_ms = 1e3 * (click.press as f64 / f64::from(drill.rate_hz) - floor_s);
            Some((true_ms - lag_ms).abs())
        })
        .collect()
}

fn save(file: &std::path::Path, scene: &Scene) -> anyhow::Result<()> {
    if file.exists() {
        bail!(
            "{} is there already; give the name of a new file",
            file.display()
        );
    }
    let shape = WavShape {
        sample_rate_hz: RATE_HZ,
        channels: 1,
        depth: Depth::Int16,
    };
    let mut wav = WavOut::create(file, shape)?;
    let done = wav.write(&scene.samples).and_then(|()| wav.finish());
    if done.is_err() {
        // Half a drill is of no use; the first error is the one to tell.
        let _ = std::fs::remove_file(file);
    }
    Ok(done?)
}
