//! Teaching a word from any sounds at any rate, live and from a file, with other
//! talk; what is learned can be listened for.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::ear::Ear;
use marklag::ear::word::{WordLesson, teach_word};

/// A few numbers say where bursts of sound lie, so that lessons of several takes
/// come up: gap and length in 10 ms, pitch, level.
fn sound(rate_hz: u32, bursts: &[(u8, u8, u8, i8)], raw: &[i16]) -> Vec<f32> {
    let step = (rate_hz / 100).max(1) as usize;
    let mut all: Vec<f32> = Vec::new();
    for &(gap, length, pitch, level) in bursts.iter().take(24) {
        all.resize(all.len() + usize::from(gap) * step, 0.0);
        let from = all.len();
        for k in 0..usize::from(length) * step {
            let period = 2 + usize::from(pitch);
            let saw = (k % period) as f32 / period as f32 - 0.5;
            all.push(saw * f32::from(level) / 64.0);
        }
        for (x, noise) in all[from..].iter_mut().zip(raw.iter().cycle()) {
            *x += f32::from(*noise) / 32_768.0;
        }
    }
    all.extend(raw.iter().map(|v| f32::from_bits(u32::from(*v as u16) << 16)));
    all.truncate(30 * rate_hz.min(48_000) as usize);
    all
}

fuzz_target!(|input: (u32, Vec<(u8, u8, u8, i8)>, Vec<i16>, u16)| {
    let (rate_hz, bursts, raw, block) = input;
    // Rates beyond the range are refused at once; most inputs should go farther.
    let rate_hz = if rate_hz % 16 == 0 { rate_hz } else { 8_000 + rate_hz % 40_000 };
    let samples = sound(rate_hz.min(192_000), &bursts, &raw);
    let talk: Vec<f32> = samples.iter().rev().copied().collect();
    if let Ok(mut lesson) = WordLesson::new("good", rate_hz) {
        for part in samples.chunks(usize::from(block).max(64)) {
            lesson.push(part, &mut |said| drop(said.to_string())).unwrap();
        }
        let _ = lesson.finish(Some((&talk, rate_hz)));
    }
    if let Ok(taught) = teach_word("good", &samples, rate_hz, None) {
        let mut ear = Ear::new(rate_hz, &[])
            .unwrap()
            .with_words(rate_hz, &[taught.profile])
            .unwrap();
        ear.push(&samples, &mut |_| {}).unwrap();
        ear.finish(&mut |_| {}).unwrap();
    }
});
