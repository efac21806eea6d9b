//! What listening costs: the whole ear in a quiet and in a busy room, a
//! lesson, and the picking of one onset. Throughput is in samples a second;
//! divided by 48,000 it is seconds of sound a second.
#![allow(missing_docs, clippy::unwrap_used)]

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, SamplingMode, Throughput, criterion_group, criterion_main};
use marklag::ear::word::{WordProfile, teach_word};
use marklag::ear::{ClickProfile, Ear, aic_onset, teach_click};
use marklag::sound::room::{Ball, Clicker, Colour, Dice, Room, bang, speech};

const RATE_HZ: u32 = 48_000;
const SECONDS: f64 = 20.0;

fn lesson(seed: u64) -> Vec<f32> {
    let clicker = Clicker::from_seed(seed);
    let mut room = Room::new(RATE_HZ, 16.0, seed);
    for k in 0..10 {
        room.click(&clicker, 1.0 + 1.4 * f64::from(k), 0.3);
    }
    room.echo(0.3, 0.4);
    room.noise(0.3 * 10f64.powf(-35.0 / 20.0), Colour::Pink);
    room.finish().samples
}

/// A click now and then in a quiet room.
fn quiet(seed: u64) -> Vec<f32> {
    let clicker = Clicker::from_seed(seed);
    let mut room = Room::new(RATE_HZ, SECONDS, seed);
    for k in 0..4 {
        room.click(&clicker, 1.0 + 5.0 * f64::from(k), 0.2);
    }
    room.echo(0.3, 0.4);
    room.noise(0.002, Colour::Pink);
    room.finish().samples
}

/// Two clickers, talk, bangs and a ball at once.
fn busy(seed: u64) -> Vec<f32> {
    let (a, b) = (Clicker::from_seed(seed), Clicker::from_seed(seed + 500));
    let mut room = Room::new(RATE_HZ, SECONDS, seed);
    for k in 0..9 {
        room.click(&a, 0.5 + 2.1 * f64::from(k), 0.2);
        room.other_click(&b, 1.5 + 2.1 * f64::from(k), 0.2);
    }
    let mut dice = Dice::new(seed);
    let rate_hz = f64::from(RATE_HZ);
    for k in 0..13 {
        let sound = bang(rate_hz, &mut dice);
        room.add((rate_hz * (0.3 + 1.5 * f64::from(k))) as usize, &sound, 0.3);
    }
    room.drop_ball(&Ball::from_seed(seed), 4.0, 1.0, 6, 0.3);
    let sound = speech(rate_hz, SECONDS, &mut dice);
    room.add(0, &sound, 0.28);
    room.echo(0.3, 0.4);
    room.noise(0.02, Colour::White);
    room.finish().samples
}

/// A made-up word, said at some pace.
fn said(pace: f64) -> Vec<f32> {
    let sound = speech(f64::from(RATE_HZ), 0.9, &mut Dice::new(5));
    let length = (0.42 * f64::from(RATE_HZ) * pace) as usize;
    (0..length)
        .map(|k| sound[(k as f64 / pace) as usize] * ((length - k) as f32 / 2_000.0).min(1.0))
        .collect()
}

fn word() -> WordProfile {
    let mut room = Room::new(RATE_HZ, 11.0, 9);
    for k in 0..8 {
        let at = (f64::from(RATE_HZ) * (0.8 + 1.2 * f64::from(k))) as usize;
        room.add(at, &said(0.94 + 0.03 * f64::from(k % 5)), 0.3);
    }
    room.noise(0.001, Colour::Pink);
    teach_word("good", &room.finish().samples, RATE_HZ, None)
        .unwrap()
        .profile
}

fn listen(profiles: &[ClickProfile], words: &[WordProfile], samples: &[f32]) -> usize {
    let mut ear = Ear::new(RATE_HZ, profiles)
        .unwrap()
        .with_words(RATE_HZ, words)
        .unwrap();
    let mut heard = 0;
    for block in samples.chunks(1_024) {
        ear.push(block, &mut |_| heard += 1).unwrap();
    }
    ear.finish(&mut |_| heard += 1).unwrap();
    heard
}

fn ear(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("ear");
    group
        .sample_size(10)
        .sampling_mode(SamplingMode::Flat)
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(2));
    let lessons = [lesson(5_400), lesson(5_900)];
    let profiles: Vec<ClickProfile> = lessons
        .iter()
        .map(|x| teach_click("a", x, RATE_HZ).unwrap().profile)
        .collect();
    let words = [word()];
    for (name, samples) in [("quiet", quiet(5_400)), ("busy", busy(5_400))] {
        group.throughput(Throughput::Elements(samples.len() as u64));
        for taught in 0..=2 {
            group.bench_function(format!("{name} room, {taught} taught, 48 kHz"), |b| {
                b.iter(|| listen(&profiles[..taught], &[], black_box(&samples)));
            });
        }
        group.bench_function(
            format!("{name} room, one click and one word, 48 kHz"),
            |b| {
                b.iter(|| listen(&profiles[..1], &words, black_box(&samples)));
            },
        );
    }
    group.throughput(Throughput::Elements(lessons[0].len() as u64));
    group.bench_function("teach from 16 s, 10 clicks", |b| {
        b.iter(|| teach_click("a", black_box(&lessons[0]), RATE_HZ));
    });
    let stretch = &lessons[0][48_000 - 576..48_000 + 144];
    group.throughput(Throughput::Elements(stretch.len() as u64));
    group.bench_function("pick one onset in 720 samples", |b| {
        b.iter(|| aic_onset(black_box(stretch), 1e-14));
    });
    group.finish();
}

criterion_group!(benches, ear);
criterion_main!(benches);
