//! `marklag teach`: learn a bridge from examples.

mod live;

use std::io::Write;
use std::num::{NonZeroU16, NonZeroUsize};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::bridges;
use super::show::Show;
use super::sound_in::SoundIn;
use super::trouble::BadUsage;
use crate::check::WHOLE_VOICE_HZ;
use crate::ear::word::{TaughtWord, WordLesson, teach_word};
use crate::ear::{LiveLesson, Taught, teach_click};
use crate::journal::{Home, check_name};
use crate::sound::SampleSource;
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
    /// Teach a hand clicker: click ten times, or give a recording of about ten clicks
    Click {
        /// What you call it, for instance its colour
        name: String,
        /// Learn from this recording; - for standard input. Without it you click
        /// into the microphone
        #[arg(long, value_name = "FILE")]
        from: Option<PathBuf>,
        #[command(flatten)]
        listen: Listen,
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
        listen: Listen,
    },
}

/// How a lesson is listened to.
#[derive(Debug, Args)]
struct Listen {
    /// Listen with this microphone and remember it: a part of its name, or its id
    #[arg(long, value_name = "NAME", conflicts_with = "from")]
    microphone: Option<String>,
    /// Listen to this channel only, counted from 1 (all are mixed otherwise)
    #[arg(long, value_name = "N")]
    channel: Option<NonZeroU16>,
    /// Plain lines instead of the full screen
    #[arg(long)]
    plain: bool,
}

impl Listen {
    /// Of a recording's channels.
    fn choice(&self) -> ChannelChoice {
        channel_choice(self.channel.map(NonZeroUsize::from))
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
                    Some(file) => click_from_file(&name, &file, listen.choice())?,
                    None => {
                        listen.live(home, |source, show| click_live(&name, source, show, out))?
                    }
                };
                click(&taught, home, out)
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
                    Some(Some(file)) => Talk::Heard(whole(&file, choice)?),
                    Some(None) => Talk::Asked,
                };
                let mut taught = match from {
                    Some(file) => word_from_file(&name, &file, &talk, choice)?,
                    None => listen.live(home, |source, show| {
                        word_live(&name, source, &talk, show, out)
                    })?,
                };
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
        "A mark is stamped at the word's onset{}",
        if profile.counts_in_praise {
            ". It counts within praise too."
        } else {
            "; within praise or talk the word is no mark."
        }
    )?;
    match profile.talk_near {
        None => writeln!(
            out,
            "With --talk, a minute of your ordinary talk, it would be told apart more surely."
        )?,
        Some(0) => writeln!(out, "Nothing in your talk was taken for it.")?,
        Some(n) => writeln!(
            out,
            "{n} places in your talk came near it; the bar is higher now."
        )?,
    }
    if profile.rate_hz < WHOLE_VOICE_HZ {
        writeln!(
            out,
            "At {} Hz only a part of your voice was kept; record at {WHOLE_VOICE_HZ} Hz or more to be surer.",
            profile.rate_hz
        )?;
    }
    writeln!(out, "Kept in {}", file.display())?;
    Ok(())
}

/// Tells what came of a click's lesson and keeps it.
fn click(taught: &Taught, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
    let file = bridges::save(home, &taught.profile)?;
    let profile = &taught.profile;
    writeln!(
        out,
        "\"{}\" is taught from {} clicks.",
        profile.name, profile.examples
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

/// What a word is not.
enum Talk {
    /// Nothing is known of it.
    None,
    /// A recording, and its rate.
    Heard((Vec<f32>, u32)),
    /// It is to be asked for at the microphone.
    Asked,
}

impl Talk {
    fn heard(&self) -> Option<(&[f32], u32)> {
        match self {
            Self::Heard((samples, rate_hz)) => Some((samples, *rate_hz)),
            Self::None | Self::Asked => None,
        }
    }
}

/// Learns a word from a recording, and from one of other talk.
fn word_from_file(
    name: &str,
    file: &Path,
    talk: &Talk,
    channel: ChannelChoice,
) -> anyhow::Result<TaughtWord> {
    if let Talk::Asked = talk {
        let words = "--talk needs a FILE where the word comes from one too (--talk FILE)";
        return Err(BadUsage(words.to_owned()).into());
    }
    let (samples, rate_hz) = whole(file, channel)?;
    teach_word(name, &samples, rate_hz, talk.heard())
        .with_context(|| format!("{} cannot teach a word", file.display()))
}

/// Learns a click at the microphone.
fn click_live(
    name: &str,
    source: &mut dyn SampleSource,
    show: &mut Show,
    out: &mut dyn Write,
) -> anyhow::Result<Taught> {
    let mut lesson = LiveLesson::new(name, source.rate_hz())?;
    live::learn(name, &mut lesson, source, show, out)
}

/// Learns a word at the microphone, and from other talk what it is not.
fn word_live(
    name: &str,
    source: &mut dyn SampleSource,
    talk: &Talk,
    show: &mut Show,
    out: &mut dyn Write,
) -> anyhow::Result<TaughtWord> {
    let rate_hz = source.rate_hz();
    let mut lesson = WordLesson::new(name, rate_hz)?;
    let taught = live::learn(name, &mut lesson, source, show, out)?;
    let asked = match talk {
        Talk::Asked => live::talk(name, source, show, out)?,
        Talk::None | Talk::Heard(_) => None,
    };
    match asked.as_deref().map(|x| (x, rate_hz)).or(talk.heard()) {
        Some(talk) => Ok(lesson.finish(Some(talk))?),
        None => Ok(taught),
    }
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::sound::room::{Dice, farm, speech};
    use crate::sound::{Pace, Played};

    /// The same sound, played through the live path and read as a file's: the
    /// same profile to the byte.
    #[test]
    fn played_clicks_teach_what_a_file_teaches() {
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path());
        let mut scene = farm::ten_clicks(7);
        // It ends before the lesson is sure that the last release has come, so
        // that both hear all of it.
        scene.samples.truncate(594_000);
        let rate_hz = farm::RATE_HZ;
        let mut source = Played::from_samples(rate_hz, Pace::AsFast, scene.samples.clone());
        let mut show = Show::open(&home, true, false).unwrap();
        let mut out = Vec::new();
        let live = click_live("tilda", &mut source, &mut show, &mut out).unwrap();
        let words = String::from_utf8(out).unwrap();
        assert!(words.contains("Now click 10 times"), "{words}");
        assert!(words.contains("click 10/10: good"), "{words}");
        let file = teach_click("tilda", &scene.samples, rate_hz).unwrap();
        let bytes = |t: &Taught| serde_json::to_string(&t.profile).unwrap();
        assert!(bytes(&live) == bytes(&file), "the profiles differ");
        assert_eq!(live, file);
    }

    /// The same for a word, with other talk after it.
    #[test]
    fn a_played_word_teaches_what_a_file_teaches() {
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path());
        let rate_hz = farm::RATE_HZ;
        let words = farm::ten_words(7).samples;
        let talk = speech(f64::from(rate_hz), 12.0, &mut Dice::new(3));
        let mut played = words.clone();
        played.extend_from_slice(&talk);
        let mut source = Played::from_samples(rate_hz, Pace::AsFast, played);
        let mut show = Show::open(&home, true, false).unwrap();
        let mut out = Vec::new();
        let live = word_live("good", &mut source, &Talk::Asked, &mut show, &mut out).unwrap();
        let said = String::from_utf8(out).unwrap();
        assert!(said.contains("Now say it 10 times"), "{said}");
        assert!(said.contains("take 10/10: good"), "{said}");
        assert!(said.contains("Now talk for a minute"), "{said}");
        // The lesson ends a second after its last take, wherever the file does.
        let file = teach_word("good", &words, rate_hz, None).unwrap();
        assert_eq!(live.profile.takes, file.profile.takes);
        assert!(live.profile.talk_near.is_some(), "the talk was listened to");
        assert!(live.profile.bar >= file.profile.bar);
    }

    #[test]
    fn too_few_takes_are_refused_with_the_reason() {
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path());
        let mut samples = farm::ten_words(7).samples;
        samples.truncate(5 * farm::RATE_HZ as usize);
        let mut source = Played::from_samples(farm::RATE_HZ, Pace::AsFast, samples);
        let mut show = Show::open(&home, true, false).unwrap();
        let out = &mut Vec::new();
        let error = word_live("good", &mut source, &Talk::None, &mut show, out).unwrap_err();
        let words = super::super::trouble::sentence(&error);
        assert!(
            words.contains("good takes of a word were found, 5"),
            "{words}"
        );
    }

    #[test]
    fn too_few_clicks_are_refused_with_the_reason() {
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path());
        let mut samples = farm::ten_clicks(7).samples;
        samples.truncate(4 * farm::RATE_HZ as usize);
        let mut source = Played::from_samples(farm::RATE_HZ, Pace::AsFast, samples);
        let mut show = Show::open(&home, true, false).unwrap();
        let error = click_live("tilda", &mut source, &mut show, &mut Vec::new()).unwrap_err();
        let words = super::super::trouble::sentence(&error);
        assert!(
            words.contains("clicks were found, 6 or more are needed"),
            "{words}"
        );
    }
}
