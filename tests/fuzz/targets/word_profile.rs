//! A taught word's file: whatever it says, the ear that is built on it listens to a
//! second of noise without falling over.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::ear::Ear;
use marklag::ear::word::WordProfile;

fuzz_target!(|bytes: &[u8]| {
    let Ok(profile) = serde_json::from_slice::<WordProfile>(bytes) else {
        return;
    };
    let Ok(mut ear) = Ear::new(16_000, &[]).and_then(|ear| ear.with_words(16_000, &[profile])) else {
        return;
    };
    let noise: Vec<f32> = (0_u32..16_000)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 16) as f32 / 65_536.0 - 0.5)
        .collect();
    let _ = ear.push(&noise, &mut |heard| assert!(heard.confidence.is_finite()));
    let _ = ear.finish(&mut |_| {});
});
