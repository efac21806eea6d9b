//! A word's lesson, from a recording or at the microphone, with other talk beside it.

use std::io::Write;
use std::path::Path;

use anyhow::Context;

use super::{live, whole};
use crate::check::WHOLE_VOICE_HZ;
use crate::cli::bridges;
use crate::cli::show::Show;
use crate::cli::trouble::BadUsage;
use crate::ear::word::{Expects, TaughtWord, WordLesson, WordProfile, how_far, teach_word};
use crate::journal::Home;
use crate::sound::SampleSource;
use crate::sound::recording::Listen;

const WORDS: live::Words = live::Words {
    ask: "say it 10 times as you would to the animal, a second's pause after each.",
    fails: "this word cannot be taught",
};

/// What a word is not.
pub(super) enum Talk {
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
pub(super) fn from_file(
    name: &str,
    file: &Path,
    talk: &Talk,
    listen: impl Into<Listen>,
) -> anyhow::Result<TaughtWord> {
    if let Talk::Asked = talk {
        let words = "--talk needs a FILE where the word comes from one too (--talk FILE)";
        return Err(BadUsage(words.to_owned()).into());
    }
    let (samples, rate_hz) = whole(file, listen)?;
    teach_word(name, &samples, rate_hz, talk.heard())
        .with_context(|| format!("{} cannot teach a word", file.display()))
}

/// Learns a word at the microphone, and from other talk what it is not.
pub(super) fn from_microphone(
    name: &str,
    source: &mut dyn SampleSource,
    talk: &Talk,
    show: &mut Show,
    out: &mut dyn Write,
) -> anyhow::Result<TaughtWord> {
    let rate_hz = source.rate_hz();
    let mut lesson = WordLesson::new(name, rate_hz)?;
    let taught = live::learn(name, &mut lesson, &WORDS, source, show, out)?;
    let asked = match talk {
        Talk::Asked => live::talk(name, source, show, out)?,
        Talk::None | Talk::Heard(_) => None,
    };
    match asked.as_deref().map(|x| (x, rate_hz)).or(talk.heard()) {
        Some(talk) => Ok(lesson.finish_with(Some(talk))?),
        None => Ok(taught),
    }
}

/// Tells what came of a word's lesson and keeps it.
pub(super) fn tell_and_keep(
    taught: &TaughtWord,
    home: &Home,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let profile = &taught.profile;
    let before = bridges::taught_on(home, &taught.profile.name)?;
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
    for line in expectations(profile) {
        writeln!(out, "{line}")?;
    }
    for other in alike(home, profile) {
        writeln!(
            out,
            "\"{other}\" sounds like your \"{}\": one may be taken for the other; choose a word that differs more.",
            profile.name
        )?;
    }
    if profile.rate_hz < WHOLE_VOICE_HZ {
        writeln!(
            out,
            "At {} Hz only a part of your voice was kept; record at {WHOLE_VOICE_HZ} Hz or more to be surer.",
            profile.rate_hz
        )?;
    }
    if let Some(day) = before {
        writeln!(out, "It replaces the one taught on {day}.")?;
    }
    writeln!(out, "Kept in {}", file.display())?;
    Ok(())
}

/// Another word is told apart less surely where its takes are no farther from this
/// one's than so many times what these are from one another.
const ALIKE: f32 = 1.6;

/// Taught words that come near this one.
fn alike(home: &Home, profile: &WordProfile) -> Vec<String> {
    // What cannot be read is told where it is listened for.
    let others = bridges::Bridges::all(home).unwrap_or_default().words;
    let near = others
        .into_iter()
        .filter(|o| o.name != profile.name && how_far(profile, o) < ALIKE);
    near.map(|o| o.name).collect()
}

/// What is to be expected of the word, a sentence a line.
fn expectations(profile: &WordProfile) -> Vec<String> {
    let Expects { found, tried } = profile.expects;
    let mut lines = vec![format!(
        "Each take was left out and looked for by the others, also in noise: {found} of {tried} were found."
    )];
    let Some(talk) = profile.talk else {
        lines.push(
            "With --talk, a minute of your ordinary talk, it would be told apart more surely."
                .to_owned(),
        );
        return lines;
    };
    lines.push(match talk.near {
        0 => "Nothing in your talk came near it.".to_owned(),
        n => {
            format!("Places in your talk that came near it, which are known now not to be it: {n}.")
        }
    });
    if talk.seconds > 0.0 {
        let rate = 600.0 * talk.taken as f64 / talk.seconds;
        lines.push(format!(
            "Expect about {rate:.0} false marks in ten minutes of such talk."
        ));
    }
    if talk.itself > 0 {
        lines.push(format!(
            "Places in your talk that are the word itself: {}. Talk without it teaches more.",
            talk.itself
        ));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::room::{Dice, farm, speech};
    use crate::sound::{Pace, Played};

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
        let live = from_microphone("good", &mut source, &Talk::Asked, &mut show, &mut out).unwrap();
        let said = String::from_utf8(out).unwrap();
        assert!(said.contains("Now say it 10 times"), "{said}");
        assert!(said.contains("take 10/10: good"), "{said}");
        assert!(said.contains("Now talk for a minute"), "{said}");
        // The lesson ends a second after its last take, wherever the file does.
        let file = teach_word("good", &words, rate_hz, None).unwrap();
        assert_eq!(live.profile.takes, file.profile.takes);
        assert!(live.profile.talk.is_some(), "the talk was listened to");
        assert_eq!(file.profile.talk, None);
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
        let error = from_microphone("good", &mut source, &Talk::None, &mut show, out).unwrap_err();
        let words = crate::cli::trouble::sentence(&error);
        assert!(
            words.contains("good takes of a word were found, 5"),
            "{words}"
        );
    }
}
