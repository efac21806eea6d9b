//! `marklag teach`: learn a bridge from examples.

pub(super) mod click;
mod live;
mod word;

use std::io::Write;
use std::num::{NonZeroU16, NonZeroUsize};
use std::path::{Path, PathBuf};

use anyhow::bail;
use clap::{Args, Subcommand};

use self::word::Talk;
use super::prose;
use super::show::Show;
use super::sound_in::SoundIn;
use crate::journal::{Home, check_name};
use crate::sound::SampleSource;
use crate::sound::recording::{ChannelChoice, Listen, Recording};

/// Longest recording that is learned from.
const LONGEST_S: f64 = 600.0;
/// A lesson at the beginning of a longer recording lies within this time, in seconds.
const BEGINNING_S: f64 = 120.0;

/// Teach marklag the sound of your bridge.
#[derive(Debug, Args)]
pub(super) struct TeachCmd {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Teach a hand clicker: click ten times, or give a recording of about ten clicks
    Click {
        /// What you call it, for instance its colour
        name: String,
        /// Learn from this recording; - for standard input. Without it you click
        /// into the microphone
        #[arg(long, value_name = "FILE")]
        from: Option<PathBuf>,
        #[command(flatten)]
        listen: Listening,
    },
    /// Teach your spoken mark: say the word ten times, or give a recording of that
    Word {
        /// What you call it, usually the word itself
        name: String,
        /// Learn from this recording, a second's pause after each take; - for standard
        /// input. Without it you say the word into the microphone
        #[arg(long, value_name = "FILE")]
        from: Option<PathBuf>,
        /// A minute of your ordinary talk, as a recording: what the word is not.
        /// Without a FILE you are asked to talk into the microphone, after the word
        #[arg(long, value_name = "FILE", num_args = 0..=1)]
        talk: Option<Option<PathBuf>>,
        /// Count the word also where more speech precedes or follows it at once
        #[arg(long)]
        counts_in_praise: bool,
        #[command(flatten)]
        listen: Listening,
    },
}

/// How a lesson is listened to.
#[derive(Debug, Args)]
struct Listening {
    /// Listen with this microphone and remember it: a part of its name, or its id
    #[arg(long, value_name = "NAME", conflicts_with = "from")]
    microphone: Option<String>,
    /// Listen to this channel only, counted from 1 (all are mixed otherwise)
    #[arg(long, value_name = "N")]
    channel: Option<NonZeroU16>,
    /// With --from: listen to this sound track of a video, counted from 1 (the first
    /// with sound otherwise)
    #[arg(long, value_name = "N", requires = "from")]
    track: Option<NonZeroUsize>,
    /// Plain lines instead of the full screen
    #[arg(long)]
    plain: bool,
}

impl Listening {
    /// What of a recording is listened to.
    fn choice(&self) -> Listen {
        Listen {
            channel: channel_choice(self.channel.map(NonZeroUsize::from)),
            track: self.track.map(NonZeroUsize::get),
        }
    }

    /// A lesson from the microphone.
    fn live<T>(
        self,
        home: &Home,
        lesson: impl FnOnce(&mut dyn SampleSource, &mut Show) -> anyhow::Result<T>,
    ) -> anyhow::Result<T> {
        let channel = self.channel.map(NonZeroU16::get);
        let sound = SoundIn::of_microphone(self.microphone, channel);
        let mut source = sound.open(home)?;
        let mut show = Show::open(home, self.plain, false)?;
        let taught = lesson(&mut *source, &mut show);
        show.close();
        taught
    }
}

impl TeachCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        match self.what {
            What::Click { name, from, listen } => {
                check_name(&name)?;
                // An unwritable home is told before the listening.
                home.create()?;
                let taught = match from {
                    Some(file) => click::from_file(&name, &file, listen.choice())?,
                    None => listen.live(home, |source, show| {
                        click::from_microphone(&name, source, show, out)
                    })?,
                };
                click::tell_and_keep(&taught, home, out)
            }
            What::Word {
                name,
                from,
                talk,
                counts_in_praise,
                listen,
            } => {
                check_name(&name)?;
                home.create()?;
                let choice = listen.choice();
                let talk = match talk {
                    None => Talk::None,
                    Some(Some(file)) => Talk::Heard(whole(&file, choice.channel)?),
                    Some(None) => Talk::Asked,
                };
                let mut taught = match from {
                    Some(file) => word::from_file(&name, &file, &talk, choice)?,
                    None => listen.live(home, |source, show| {
                        word::from_microphone(&name, source, &talk, show, out)
                    })?,
                };
                taught.profile.counts_in_praise = counts_in_praise;
                word::tell_and_keep(&taught, home, out)
            }
        }
    }
}

/// The channel that was asked for on the line.
pub(super) fn channel_choice(channel: Option<NonZeroUsize>) -> ChannelChoice {
    channel.map_or(ChannelChoice::Mix, |n| ChannelChoice::Only(n.get()))
}

/// The beginning of a recording, in which a lesson may lie, and its rate.
fn beginning(file: &Path, listen: impl Into<Listen>) -> anyhow::Result<(Vec<f32>, u32)> {
    let mut recording = Recording::open(file, listen)?;
    let rate_hz = recording.info().sample_rate_hz;
    let most = (BEGINNING_S * f64::from(rate_hz)) as usize;
    let mut samples = Vec::new();
    while samples.len() < most
        && let Some(block) = recording.next_block()?
    {
        samples.extend_from_slice(block);
    }
    Ok((samples, rate_hz))
}

/// A recording that is short enough to learn from, and its rate.
fn whole(file: &Path, listen: impl Into<Listen>) -> anyhow::Result<(Vec<f32>, u32)> {
    let mut recording = Recording::open(file, listen)?;
    if let Some(said) = recording.info().track_note() {
        prose::aside(&format!(
            "Note: {}: {said}; --track N chooses another",
            file.display()
        ));
    }
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
