//! An hour of live listening, at speed: made-up sound through the ring, the live
//! input, the listening thread and its receiver, as from a microphone. No mark is
//! missed, none is moved at the end against the beginning, and memory stays.
//!
//! `cargo test --release --test soak -- --ignored --nocapture` (half a minute).
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::sync::mpsc::channel;
use std::thread;
use std::time::Duration;

use marklag::ear::teach_click;
use marklag::listen::{Listening, News};
use marklag::live::{Happening, Live};
use marklag::sound::monotonic::mono_ns;
use marklag::sound::room::{Clicker, Colour, Dice, Room, Scene};
use marklag::sound::{Connection, Link, LiveInput, Pick, ring};
use marklag::timeline::SoundKind;

const RATE_HZ: u32 = 48_000;
const SCENE_S: u32 = 60;
/// Frames of a callback, as PulseAudio often gives them.
const BLOCK: usize = 640;
/// Sound that may wait in the ring, in frames: well under the two seconds it holds.
const AHEAD: u64 = 48_000;
/// The microphone's clock is so fast, in parts per million.
const DRIFT_PPM: f64 = 60.0;

fn lesson(clicker: &Clicker) -> Scene {
    let mut room = Room::new(RATE_HZ, 13.0, 1);
    for k in 0..10 {
        room.click(clicker, 0.8 + 1.2 * f64::from(k), 0.35);
    }
    room.noise(0.005, Colour::Pink);
    room.finish()
}

/// A minute with a click every second or so, at 25 dB.
fn minute(clicker: &Clicker) -> Scene {
    let mut room = Room::new(RATE_HZ, f64::from(SCENE_S), 2);
    for k in 0..48 {
        let at_s = 0.5 + 1.2 * f64::from(k) + room.dice().between(0.0, 0.4);
        room.click(clicker, at_s, 0.3);
    }
    room.echo(0.25, 0.35);
    room.noise(0.3 * 10f64.powf(-25.0 / 20.0), Colour::Pink);
    room.finish()
}

/// Memory in use, in MB; `None` where the system does not tell.
fn memory_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmRSS:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}

/// Listens to `minutes`; gives the errors of all clicks in ms, in order of time.
fn listened(minutes: u32) -> (Vec<f64>, usize, Option<(f64, f64)>) {
    let clicker = Clicker::from_seed(77);
    let profile = teach_click("a", &lesson(&clicker).samples, RATE_HZ)
        .unwrap()
        .profile;
    let scene = minute(&clicker);
    let sound: Vec<i16> = scene
        .samples
        .iter()
        .map(|v| (v * 32_767.0) as i16)
        .collect();
    let whole = sound.len() as u64;
    let frames = whole * u64::from(minutes);

    let (mut intake, reader) = ring(RATE_HZ, 1, Pick::Mean);
    let (link, links) = channel();
    link.send(Link::Up(Connection {
        device: "made up".to_owned(),
        ring: reader,
    }))
    .unwrap();
    let input = LiveInput::new(RATE_HZ, links);
    let listening = Listening::new(RATE_HZ, &[profile], None).unwrap();
    let (live, told) = Live::start(Box::new(input), listening, None).unwrap();

    let heard_to = Arc::new(AtomicU64::new(0));
    let taken = Arc::clone(&heard_to);
    let feeder = thread::spawn(move || {
        let (mut at, mut dice) = (0u64, Dice::new(3));
        let start_ns = mono_ns();
        while at < frames {
            if at > taken.load(Relaxed) + AHEAD {
                thread::sleep(Duration::from_micros(200));
                continue;
            }
            let from = (at % whole) as usize;
            let block = &sound[from..(from + BLOCK).min(sound.len())];
            at += block.len() as u64;
            // A block comes when its last sample was in the air, and up to 3 ms late.
            let air_s = at as f64 / (f64::from(RATE_HZ) * (1.0 + DRIFT_PPM * 1e-6));
            let late_s = 0.003 * dice.unit().powi(3);
            let arrival_ns = start_ns + ((air_s + late_s) * 1e9) as i64;
            intake.take(block, |s| f32::from(s) / 32_768.0, 0.9999, arrival_ns);
        }
        (intake, link)
    });

    let mut clicks_s = Vec::new();
    let mut troubles = 0;
    let mut memory = (None, None);
    let end_s = frames as f64 / f64::from(RATE_HZ);
    for happening in told {
        match happening {
            Happening::Heard(News::Sound(heard)) if heard.sound.kind == SoundKind::Click => {
                clicks_s.push(heard.sound.t_s);
            }
            Happening::Now { t_s, .. } => {
                heard_to.store((t_s * f64::from(RATE_HZ)) as u64, Relaxed);
                if memory.0.is_none() && t_s > end_s / 6.0 {
                    memory.0 = memory_mb();
                }
                if t_s > end_s - 0.2 {
                    memory.1 = memory_mb();
                    live.stop();
                }
            }
            Happening::Mic(t_s, event) if t_s < end_s - 1.0 => {
                use marklag::sound::MicEvent;
                if !matches!(event, MicEvent::Samples { .. }) {
                    println!("{t_s:.3} s: {event}");
                    troubles += 1;
                }
            }
            Happening::Failed(words) => panic!("{words}"),
            Happening::Ended(_) => break,
            _ => {}
        }
    }
    feeder.join().unwrap();

    let presses: Vec<f64> = (0..minutes)
        .flat_map(|m| {
            let from_s = f64::from(m * SCENE_S);
            scene
                .clicks
                .iter()
                .map(move |c| from_s + c.press as f64 / f64::from(RATE_HZ))
        })
        .collect();
    assert_eq!(clicks_s.len(), presses.len(), "marks heard and made");
    let errors = clicks_s
        .iter()
        .zip(&presses)
        .map(|(c, p)| 1e3 * (c - p))
        .collect();
    (errors, troubles, memory.0.zip(memory.1))
}

fn nothing_is_missed_or_moved(minutes: u32) {
    let (errors_ms, troubles, memory_mb) = listened(minutes);
    assert_eq!(troubles, 0);
    let some = errors_ms.len() / 4;
    let mean = |x: &[f64]| x.iter().sum::<f64>() / x.len() as f64;
    let (first, last) = (
        mean(&errors_ms[..some]),
        mean(&errors_ms[errors_ms.len() - some..]),
    );
    let worst = errors_ms.iter().fold(0.0f64, |a, e| a.max(e.abs()));
    println!(
        "{minutes} min, {} marks, none missed; mean error {first:.4} ms in the first quarter, {last:.4} ms in the last; worst {worst:.3} ms; memory {memory_mb:?} MB after a sixth and at the end",
        errors_ms.len()
    );
    assert!(
        (first - last).abs() < 0.01 && worst < 1.0,
        "{first} {last} {worst}"
    );
    if let Some((early, late)) = memory_mb {
        // The list of what was heard grows by some hundred bytes a mark.
        assert!(late - early < 2.0, "memory grew from {early} to {late} MB");
    }
}

#[test]
fn two_minutes_at_speed() {
    nothing_is_missed_or_moved(2);
}

#[test]
#[ignore = "an hour of sound"]
fn an_hour_at_speed() {
    nothing_is_missed_or_moved(60);
}
