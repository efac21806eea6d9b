//! `marklag teach`: learn a bridge from examples.

use std::io::Write;
use std::num::{NonZeroU16, NonZeroUsize};
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::bridges;
use super::show::Show;
use super::sound_in::SoundIn;
use crate::check::WHOLE_VOICE_HZ;
use crate::ear::word::{TaughtWord, teach_word};
use crate::ear::{LiveLesson, Said, Taught, WANTED, teach_click};
use crate::journal::{Home, check_name};
use crate::screen::view::setup::SetupView;
use crate::sound::recording::{ChannelChoice, Recording};
use crate::sound::{Flow, MicEvent, SampleSource};

/// Longest recording that is learned from.
const LONGEST_S: f64 = 600.0;

/// How long the lesson waits for sound at a stretch.
const PATIENCE: Duration = Duration::from_millis(30);
/// Not everything that was said fits a screen: so much of it stays.
const KEPT_LINES: usize = 6;

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
        /// Listen with this microphone and remember it: a part of its name, or its id
        #[arg(long, value_name = "NAME", conflicts_with = "from")]
        microphone: Option<String>,
        /// Listen to this channel only, counted from 1 (all are mixed otherwise)
        #[arg(long, value_name = "N")]
        channel: Option<NonZeroU16>,
        /// Plain lines instead of the full screen
        #[arg(long)]
        plain: bool,
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
                microphone,
                channel,
                plain,
            } => {
                check_name(&name)?;
                // An unwritable home is told before the listening.
                home.create()?;
                let taught = match from {
                    Some(file) => {
                        let channel = channel.map(NonZeroUsize::from);
                        click_from_file(&name, &file, channel_choice(channel))?
                    }
                    None => {
                        let sound =
                            SoundIn::of_microphone(microphone, channel.map(NonZeroU16::get));
                        let mut source = sound.open(home)?;
                        let mut show = Show::open(home, plain, false)?;
                        let taught = click_live(&name, &mut *source, &mut show, out);
                        show.close();
                        taught?
                    }
                };
                click(&taught, home, out)
            }
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

/// Learns a click from what is heard now, saying what comes of each click.
fn click_live(
    name: &str,
    source: &mut dyn SampleSource,
    show: &mut Show,
    out: &mut dyn Write,
) -> anyhow::Result<Taught> {
    let mut lesson = LiveLesson::new(name, source.rate_hz())?;
    let (mut samples, mut events) = (Vec::new(), Vec::<MicEvent>::new());
    let mut lines: Vec<String> = Vec::new();
    let mut asked = false;
    show.say(
        out,
        "Away from ears, yours and animals'. Listening to the room first: hold still.",
    )?;
    loop {
        samples.clear();
        events.clear();
        let flow = source.pull(PATIENCE, &mut samples, &mut events);
        let mut said = Vec::new();
        lesson.push(&samples, &mut |s| said.push(s))?;
        let troubles = events
            .iter()
            .filter(|e| !matches!(e, MicEvent::Samples { .. }))
            .map(ToString::to_string);
        let mut words: Vec<String> = troubles
            .chain(said.iter().map(ToString::to_string))
            .collect();
        if !asked && lesson.knows_the_room() {
            asked = true;
            words.insert(
                0,
                format!("Now click {WANTED} times, about once a second, as you do when you train."),
            );
        }
        for line in &words {
            show.say(out, line)?;
        }
        lines.extend(words);
        lines.drain(..lines.len().saturating_sub(KEPT_LINES));
        for one in said {
            if let Said::Done(taught) = one {
                return Ok(*taught);
            }
        }
        show.draw(|| view(name, &mut lesson, &lines))?;
        if flow == Flow::Ended {
            return lesson.finish().context("these clicks cannot be taught");
        }
        if show.done().wants_out {
            bail!("nothing was taught: the lesson was ended before its {WANTED} clicks");
        }
    }
}

fn view(name: &str, lesson: &mut LiveLesson, lines: &[String]) -> SetupView {
    let large = if lesson.knows_the_room() {
        format!("{} OF {WANTED}", lesson.count())
    } else {
        "WAIT".to_owned()
    };
    let last = lines.last().map_or(
        "Listening to the room first: hold still. Keep the clicker away from ears.",
        String::as_str,
    );
    let before = lines.iter().rev().skip(1);
    SetupView {
        title: format!("Teaching \"{name}\""),
        large,
        status: last.to_owned(),
        level: Some(lesson.level()),
        rows: before.map(|l| (String::new(), l.clone())).collect(),
        warnings: Vec::new(),
        keys: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::sound::room::farm;
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
