//! Every stretch that the word spotter looked at, as CSV: for fitting the score's
//! weights and for the tables of docs/accuracy.md.
//!
//! Scene; onset, end and told in seconds; cues, features; frames of speech before and
//! after; whether in talk; score, bar, standard uncertainty in ms.
//!
//! wordlooks LESSON.wav TALK.wav|- SCENE.wav…
#![allow(missing_docs, clippy::unwrap_used)]

use marklag::ear::word::{Spotter, teach_word};
use marklag::sound::recording::{ChannelChoice, Recording};
use std::path::Path;

fn read(path: &str) -> (Vec<f32>, u32) {
    let mut recording = Recording::open(Path::new(path), ChannelChoice::Mix).unwrap();
    let rate_hz = recording.info().sample_rate_hz;
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend_from_slice(block);
    }
    (samples, rate_hz)
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let lesson = read(&arguments[0]);
    let talk = (arguments[1] != "-").then(|| read(&arguments[1]));
    let talk = talk.as_ref().map(|(x, rate_hz)| (&x[..], *rate_hz));
    let taught = match teach_word("word", &lesson.0, lesson.1, talk) {
        Ok(taught) => taught,
        Err(error) => {
            eprintln!("{}: {error}", arguments[0]);
            return;
        }
    };
    eprintln!(
        "{}: own {:.2} bar {:.2} takes {}",
        arguments[0],
        taught.profile.own,
        taught.profile.bar,
        taught.profile.takes.len()
    );
    for scene in &arguments[2..] {
        let (samples, rate_hz) = read(scene);
        let mut spotter = Spotter::new(rate_hz, std::slice::from_ref(&taught.profile)).unwrap();
        let told = std::cell::Cell::new(0u64);
        let mut print = |look: marklag::ear::word::Look| {
            let numbers = look.cues.numbers().into_iter();
            let all = numbers.chain(look.cues.features(&taught.profile.usual));
            let cues: Vec<String> = all.map(|v| v.to_string()).collect();
            println!(
                "{scene},{:.6},{:.6},{:.4},{},{},{},{},{},{},{}",
                look.onset as f64 / 16e3,
                look.end as f64 / 16e3,
                told.get() as f64 / f64::from(rate_hz),
                cues.join(","),
                look.around.before,
                look.around.after,
                look.in_talk,
                look.score,
                taught.profile.bar,
                look.u / 16.0
            );
        };
        for x in samples
            .into_iter()
            .chain(std::iter::repeat_n(0.0, rate_hz as usize))
        {
            told.set(told.get() + 1);
            spotter.push(x, &mut print).unwrap();
        }
    }
}
