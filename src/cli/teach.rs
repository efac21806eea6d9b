//! `marklag teach`: learn a bridge from examples.

use std::io::Write;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::bridges;
use crate::ear::word::{TaughtWord, teach_word};
use crate::ear::{Taught, teach_click};
use crate::journal::{Home, check_name};
use crate::sound::recording::{ChannelChoice, Recording};

/// Longest recording that is learned from.
const LONGEST_S: f64 = 600.0;
/// From this rate on a recording holds the whole band that words are told by.
pub(super) const WHOLE_BAND_HZ: u32 = 16_000;

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
    /// Teach your spoken mark from a recording of the word said about ten times
    Word {
        /// What you call it, usually the word itself
        name: String,
        /// The recording, a second's pause after each take; - for standard input
        #[arg(long, value_name = "FILE")]
        from: PathBuf,
        /// A minute of your ordinary talk: what the word is not
        #[arg(long, value_name = "FILE")]
        talk: Option<PathBuf>,
        /// Count the word also where more speech precedes or follows it at once
        #[arg(long)]
        counts_in_praise: bool,
        /// Listen to this channel only, counted from 1 (all are mixed otherwise)
        #[arg(long, value_name = "N")]
        channel: Option<NonZeroUsize>,
    },
}

impl TeachCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        match self.what {
            What::Click {
                name,
                from,
                channel,
            } => click(&name, &from, channel_choice(channel), home, out),
            What::Word {
                name,
                from,
                talk,
                counts_in_praise,
                channel,
            } => {
                check_name(&name)?;
                home.create()?;
                let channel = channel_choice(channel);
                let mut taught = word_from_file(&name, &from, talk.as_deref(), channel)?;
                taught.profile.counts_in_praise = counts_in_praise;
                word(&taught, home, out)
            }
        }
    }
}

/// Tells what came of a word's lesson and keeps it.
fn word(taught: &TaughtWord, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
    let profile = &taught.profile;
    let file = bridges::save_word(home, profile)?;
    writeln!(
        out,
        "\"{}\" is taught from {} takes.",
        profile.name,
        profile.takes.len()
    )?;
    for take in &taught.takes {
        if let Some(fault) = take.fault {
            writeln!(out, "Left out at {:.1} s: {fault}.", take.at_s)?;
        }
    }
    writeln!(
        out,
        "The takes agree to {:.2} (1 is perfect) and stand {:.0} dB over the noise.",
        profile.agreement, profile.over_noise_db
    )?;
    writeln!(
        out,
        "A mark is stamped at the word's onset.{}",
        if profile.counts_in_praise {
            " It counts within praise too."
        } else {
            " Within praise or talk the word is no mark."
        }
    )?;
    match profile.talk_near {
        None => writeln!(
            out,
            "With --talk FILE, a minute of your ordinary talk, it would be told apart more surely."
        )?,
        Some(0) => writeln!(out, "Nothing in your talk was taken for it.")?,
        Some(n) => writeln!(
            out,
            "{n} places in your talk came near it; the bar is higher now."
        )?,
    }
    if profile.rate_hz < WHOLE_BAND_HZ {
        writeln!(
            out,
            "At {} Hz only a part of your voice was kept; record at {WHOLE_BAND_HZ} Hz or more to be surer.",
            profile.rate_hz
        )?;
    }
    writeln!(out, "Kept in {}", file.display())?;
    Ok(())
}

/// Learns a click, tells what came of it and keeps it.
fn click(
    name: &str,
    from: &Path,
    channel: ChannelChoice,
    home: &Home,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    check_name(name)?;
    // An unwritable home is told before the listening.
    home.create()?;
    let taught = click_from_file(name, from, channel)?;
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
    let (samples, rate_hz) = whole(file, channel)?;
    teach_click(name, &samples, rate_hz)
        .with_context(|| format!("{} cannot teach a click", file.display()))
}

/// Learns a word from a recording, and from one of other talk.
fn word_from_file(
    name: &str,
    file: &Path,
    talk: Option<&Path>,
    channel: ChannelChoice,
) -> anyhow::Result<TaughtWord> {
    let (samples, rate_hz) = whole(file, channel)?;
    let talk = talk.map(|talk| whole(talk, channel)).transpose()?;
    let talk = talk.as_ref().map(|(x, rate_hz)| (&x[..], *rate_hz));
    teach_word(name, &samples, rate_hz, talk)
        .with_context(|| format!("{} cannot teach a word", file.display()))
}

/// A recording that is short enough to learn from, and its rate.
fn whole(file: &Path, channel: ChannelChoice) -> anyhow::Result<(Vec<f32>, u32)> {
    let mut recording = Recording::open(file, channel)?;
    let rate_hz = recording.info().sample_rate_hz;
    let most = (LONGEST_S * f64::from(rate_hz)) as usize;
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block()? {
        samples.extend_from_slice(block);
        if samples.len() > most {
            bail!(
                "{} is longer than {:.0} minutes; to teach a sound, a recording of about ten of it is enough",
                file.display(),
                LONGEST_S / 60.0
            );
        }
    }
    Ok((samples, rate_hz))
}
