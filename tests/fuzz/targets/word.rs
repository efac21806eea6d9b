//! Teaching a word, from any samples and any other talk at any rates; what is
//! learned is listened for in its own lesson.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::ear::word::{Spotter, teach_word};

fuzz_target!(|bytes: &[u8]| {
    // Two bytes say the rates and where the other talk begins; the rest is samples.
    let [first, second, rest @ ..] = bytes else {
        return;
    };
    let rate_hz = [8_000, 16_000, 22_050, 48_000][usize::from(first & 3)];
    let talk_hz = [16_000, 8_000, 44_100, 96_000][usize::from((first >> 2) & 3)];
    let samples: Vec<f32> = rest
        .chunks_exact(2)
        .map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0)
        .collect();
    let (lesson, talk) = samples.split_at(samples.len() * (255 - usize::from(*second)) / 255);
    let other = (!talk.is_empty()).then_some((talk, talk_hz));
    if let Ok(taught) = teach_word("good", lesson, rate_hz, other) {
        let mut spotter = Spotter::new(rate_hz, &[taught.profile]).unwrap();
        for x in lesson {
            spotter.push(*x, &mut |look| assert!(look.score.is_finite())).unwrap();
        }
    }
});
