//! `marklag teach`: learn a bridge from examples.

use std::io::Write;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::bridges;
use crate::ear::{Taught, teach_click};
use crate::journal::{Home, check_name};
use crate::sound::recording::{ChannelChoice, Recording};

/// Longest recording that is learned from.
const LONGEST_S: f64 = 600.0;

/// Teach marklag the sound of your bridge.
#[derive(Debug, Args)]
pub(super) struct TeachCmd {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Teach a hand clicker from a recording of about ten clicks
    Click {
        /// What you call it, for instance its colour
        name: String,
        /// The recording; - for standard input
        #[arg(long, value_name = "FILE")]
        from: PathBuf,
        /// Listen to this channel only, counted from 1 (all are mixed otherwise)
        #[arg(long, value_name = "N")]
        channel: Option<NonZeroUsize>,
    },
}

impl TeachCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        let What::Click {
            name,
            from,
            channel,
        } = self.what;
        check_name(&name)?;
        // An unwritable home is told before the listening.
        home.create()?;
        let taught = click_from_file(&name, &from, channel_choice(channel))?;
        let file = bridges::save(home, &taught.profile)?;
        let profile = &taught.profile;
        writeln!(
            out,
            "\"{name}\" is taught from {} clicks.",
            profile.examples
        )?;
        match profile.held_s {
            Some((shortest, longest)) => writeln!(
                out,
                "The press is the mark; the release, {:.0} to {:.0} ms after it, will be left out.",
                1e3 * shortest,
                1e3 * longest
            )?,
            None => writeln!(out, "No release was heard after the presses.")?,
        }
        if !taught.left_out.is_empty() {
            writeln!(out, "{} other sounds were left out.", taught.left_out.len())?;
        }
        writeln!(
            out,
            "The clicks agree to {:.2} (1 is perfect) and stand {:.0} dB over the noise.",
            profile.agreement, profile.over_noise_db
        )?;
        if profile.agreement < 0.6 {
            writeln!(
                out,
                "They differ a good deal from one another: talk may be taken for a click now and then. Record again with the clicker held the same way each time, or closer."
            )?;
        }
        if profile.examples < 8 {
            writeln!(out, "Ten clicks or more would make it surer.")?;
        }
        writeln!(out, "Kept in {}", file.display())?;
        Ok(())
    }
}

/// The channel that was asked for on the line.
pub(super) fn channel_choice(channel: Option<NonZeroUsize>) -> ChannelChoice {
    channel.map_or(ChannelChoice::Mix, |n| ChannelChoice::Only(n.get()))
}

/// Learns a click from a recording.
pub(super) fn click_from_file(
    name: &str,
    file: &Path,
    channel: ChannelChoice,
) -> anyhow::Result<Taught> {
    let mut recording = Recording::open(file, channel)?;
    let rate_hz = recording.info().sample_rate_hz;
    let most = (LONGEST_S * f64::from(rate_hz)) as usize;
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block()? {
        samples.extend_from_slice(block);
        if samples.len() > most {
            bail!(
                "{} is longer than {:.0} minutes; to teach a click, a recording of about ten clicks is enough",
                file.display(),
                LONGEST_S / 60.0
            );
        }
    }
    teach_click(name, &samples, rate_hz)
        .with_context(|| format!("{} cannot teach a click", file.display()))
}
