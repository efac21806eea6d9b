//! What the tests of the ear share: lessons to teach from and ways to listen.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use marklag::ear::{ClickProfile, Ear, Heard, teach_click};
use marklag::sound::room::{Clicker, Colour, Room, Scene};
use marklag::timeline::SoundKind;

/// Ten clicks, 1.4 s apart, in a small room at 35 dB.
pub fn lesson(clicker: &Clicker, rate_hz: u32, seed: u64) -> Scene {
    let mut room = Room::new(rate_hz, 16.0, seed);
    for k in 0..10 {
        room.click(clicker, 1.0 + 1.4 * f64::from(k), 0.3);
    }
    room.echo(0.3, 0.4);
    room.noise(0.3 * 10f64.powf(-35.0 / 20.0), Colour::Pink);
    room.finish()
}

/// The profile made from such a lesson.
pub fn taught(name: &str, clicker: &Clicker, rate_hz: u32, seed: u64) -> ClickProfile {
    let scene = lesson(clicker, rate_hz, seed);
    teach_click(name, &scene.samples, rate_hz).unwrap().profile
}

/// All that an ear hears in blocks of the given sizes (repeated for ever).
pub fn hear_in_blocks(
    rate_hz: u32,
    profiles: &[ClickProfile],
    samples: &[f32],
    sizes: &[usize],
) -> Vec<Heard> {
    let mut ear = Ear::new(rate_hz, profiles).unwrap();
    let mut heard = Vec::new();
    let mut sink = |h: Heard| heard.push(h);
    let mut rest = samples;
    for size in sizes.iter().cycle() {
        if rest.is_empty() {
            break;
        }
        let (now, later) = rest.split_at((*size).min(rest.len()));
        ear.push(now, &mut sink).unwrap();
        rest = later;
    }
    ear.finish(&mut sink).unwrap();
    heard
}

/// All that an ear hears when everything is pushed at once.
pub fn hear(rate_hz: u32, profiles: &[ClickProfile], samples: &[f32]) -> Vec<Heard> {
    hear_in_blocks(rate_hz, profiles, samples, &[usize::MAX])
}

/// Only the clicks among what was heard.
pub fn clicks(heard: &[Heard]) -> Vec<Heard> {
    heard
        .iter()
        .copied()
        .filter(|h| h.kind == SoundKind::Click)
        .collect()
}
