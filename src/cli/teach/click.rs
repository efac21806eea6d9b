//! A click's lesson, from a recording or at the microphone.

use std::io::Write;
use std::path::Path;

use anyhow::Context;

use super::{beginning, live, whole};
use crate::cli::bridges;
use crate::cli::show::Show;
use crate::ear::{ClickLesson, Taught, teach_at_beginning, teach_click};
use crate::journal::Home;
use crate::sound::SampleSource;
use crate::sound::recording::Listen;

/// Examples that agree this well are fairly alike, or well; conventions of this program.
const FAIR: f64 = 0.6;
const GOOD: f64 = 0.8;

const WORDS: live::Words = live::Words {
    ask: "click 10 times, about once a second, as you do when you train.",
    fails: "these clicks cannot be taught",
};

/// Learns a click from a recording.
pub(in crate::cli) fn from_file(
    name: &str,
    file: &Path,
    listen: impl Into<Listen>,
) -> anyhow::Result<Taught> {
    let (samples, rate_hz) = whole(file, listen)?;
    teach_click(name, &samples, rate_hz)
        .with_context(|| format!("{} cannot teach a click", file.display()))
}

/// Learns a click from the beginning of a recording; gives the end of the lesson, too, in
/// seconds.
pub(in crate::cli) fn from_beginning(
    name: &str,
    file: &Path,
    listen: impl Into<Listen>,
) -> anyhow::Result<(Taught, f64)> {
    let (samples, rate_hz) = beginning(file, listen)?;
    let (taught, until) = teach_at_beginning(name, &samples, rate_hz)
        .with_context(|| format!("the beginning of {} cannot teach a click", file.display()))?;
    Ok((taught, until as f64 / f64::from(rate_hz)))
}

/// Learns a click at the microphone.
pub(super) fn from_microphone(
    name: &str,
    source: &mut dyn SampleSource,
    show: &mut Show,
    out: &mut dyn Write,
) -> anyhow::Result<Taught> {
    let mut lesson = ClickLesson::new(name, source.rate_hz())?;
    live::learn(name, &mut lesson, &WORDS, source, show, out)
}

/// How well a click's examples agree, in words and as the figure.
pub(in crate::cli) fn alike(agreement: f64) -> String {
    let word = match agreement {
        a if a >= GOOD => "well",
        a if a >= FAIR => "fairly",
        _ => "poorly",
    };
    format!("{word} ({agreement:.2}; 1 is perfect)")
}

/// Tells what came of a click's lesson and keeps it.
pub(super) fn tell_and_keep(
    taught: &Taught,
    home: &Home,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let before = bridges::taught_on(home, &taught.profile.name)?;
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
    if taught.clipped > 0 {
        writeln!(
            out,
            "{} clicks were too loud for the microphone: they are heard all the same, but lay it farther away next time.",
            taught.clipped
        )?;
    }
    writeln!(
        out,
        "The clicks agree {} and stand {:.0} dB over the noise.",
        alike(profile.agreement),
        profile.over_noise_db
    )?;
    if profile.agreement < FAIR {
        writeln!(
            out,
            "They differ a good deal from one another: talk may be taken for a click now and then. Record again with the clicker held the same way each time, or closer."
        )?;
    }
    if profile.examples < 8 {
        writeln!(out, "Ten clicks or more would make it surer.")?;
    }
    if let Some(day) = before {
        writeln!(out, "It replaces the one taught on {day}.")?;
    }
    writeln!(out, "Kept in {}", file.display())?;
    Ok(())
}

#[cfg(test)]
mod tests {
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
        let live = from_microphone("tilda", &mut source, &mut show, &mut out).unwrap();
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
        let error = from_microphone("tilda", &mut source, &mut show, &mut Vec::new()).unwrap_err();
        let words = crate::cli::trouble::sentence(&error);
        assert!(
            words.contains("clicks were found, 6 or more are needed"),
            "{words}"
        );
    }
}
