//! Whether what is stated of a lag holds: 95 % intervals through the whole chain of
//! made-up room, ear, ball and pairing, against a truth that is known; and how near
//! the onsets come to the theoretical bound.
//!
//! `cargo test --release --test coverage -- --nocapture --include-ignored` prints the
//! tables of docs/accuracy.md.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::f64::consts::TAU;
use std::ops::Range;

use marklag::ear::{ClickProfile, teach_click};
use marklag::listen::{Listening, Timeline};
use marklag::measure::proportion::Share;
use marklag::review::{Rules, TRAVEL_MS_PER_M, judge};
use marklag::sound::room::{Ball, Clicker, Colour, Dice, Room, Scene};
use marklag::timeline::{Aim, KnownMoment, Moment, MomentKind, MomentSource, SoundKind, Window};

/// Kept apart: nothing in the ear was chosen with these (7000 to 8019 were).
const SEEDS: Range<u64> = 9_000..9_040;
/// The first of them, where the rest takes too long for every day.
const A_FEW: Range<u64> = 9_000..9_010;
const RATE_HZ: u32 = 48_000;
const DROPS: u32 = 10;
const PEAK: f64 = 0.3;
/// Peak of the press over the RMS of the noise, in dB.
const LEVELS_DB: [f64; 4] = [40.0, 30.0, 20.0, 15.0];

/// How well the distances to the microphone are known, in metres.
#[derive(Clone, Copy, PartialEq)]
enum Ways {
    /// Both are the metre that the settings say.
    Known,
    /// Each lies anywhere within ± 0.25 m of it.
    Within,
}

impl Ways {
    fn known_within_m(self) -> f64 {
        match self {
            Self::Known => 0.0,
            Self::Within => 0.25,
        }
    }
}

fn taught(seed: u64) -> ClickProfile {
    let mut room = Room::new(RATE_HZ, 13.0, seed ^ 1);
    let clicker = Clicker::from_seed(seed);
    for k in 0..10 {
        room.click(&clicker, 0.8 + 1.2 * f64::from(k), 0.35);
    }
    room.echo(0.25, 0.35);
    room.noise(0.35 * 10f64.powf(-35.0 / 20.0), Colour::Pink);
    let scene = room.finish();
    teach_click("a", &scene.samples, RATE_HZ).unwrap().profile
}

/// Drops and clicks of a reacting hand; the sound of each comes later by its way.
/// Gives the truth of each drop too: the floor as it is heard, and the lag in ms as
/// it is made.
fn drill(seed: u64, over_noise_db: f64, ways: Ways) -> (Scene, Vec<(f64, f64)>) {
    let (clicker, ball) = (Clicker::from_seed(seed), Ball::from_seed(seed + 31));
    let mut room = Room::new(RATE_HZ, 4.0 * f64::from(DROPS) + 2.0, seed ^ 2);
    let height_m = room.dice().between(0.5, 1.6);
    let ball_peak = room.dice().between(0.2, 0.5);
    let mut truth = Vec::new();
    for k in 0..DROPS {
        let half = ways.known_within_m();
        let mut late_s = || 1e-3 * TRAVEL_MS_PER_M * (1.0 + room.dice().between(-half, half));
        let (ball_late_s, click_late_s) = (late_s(), late_s());
        let release_s = 1.0 + 4.0 * f64::from(k) + room.dice().between(0.0, 0.3);
        let fall = room.drop_ball(&ball, release_s + ball_late_s, height_m, 7, ball_peak);
        // A click within 15 ms of an impact can hide it: another matter.
        let lag_s = 0.020 + 0.120 * room.dice().unit();
        let floor_s = fall.impacts_s[0];
        let click = room.click(&clicker, floor_s - ball_late_s + lag_s + click_late_s, PEAK);
        let heard_ms = 1e3 * (click.press as f64 / f64::from(RATE_HZ) - floor_s);
        truth.push((floor_s, heard_ms + 1e3 * (ball_late_s - click_late_s)));
    }
    room.echo(0.25, 0.35);
    let colour = if seed.is_multiple_of(2) {
        Colour::White
    } else {
        Colour::Pink
    };
    room.noise(PEAK * 10f64.powf(-over_noise_db / 20.0), colour);
    (room.finish(), truth)
}

fn listen(profile: &ClickProfile, scene: &Scene) -> Timeline {
    let mut listening = Listening::new(RATE_HZ, std::slice::from_ref(profile), None).unwrap();
    listening.push(&scene.samples).unwrap();
    listening.finish().unwrap()
}

fn rules(clicker_m: f64, known_within_m: f64, file_step_ms: f64) -> Rules {
    Rules {
        aim: Aim {
            from_ms: -50.0,
            to_ms: 50.0,
        },
        window: Window::new(500.0, 1_500.0).unwrap(),
        ball_m: 1.0,
        clicker_m,
        known_within_m,
        file_step_ms,
        hand_u_ms: 0.0,
    }
}

/// Of each lag: its error and the half-width that is stated for it, in ms.
type Held = Vec<(f64, f64)>;

/// Lags of a ball's floor.
fn of_drops(seed: u64, profile: &ClickProfile, over_noise_db: f64, ways: Ways) -> Held {
    let (scene, truth) = drill(seed, over_noise_db, ways);
    let heard = listen(profile, &scene);
    let moments = heard.moments(MomentKind::Floor);
    let outcome = judge(
        heard.marks(),
        &moments,
        &rules(1.0, ways.known_within_m(), 0.0),
    );
    held(&outcome, &truth, 0.025)
}

/// Lags against moments of a file: the picture of a video at 30 a second that is
/// nearest to the truth; the telephone lies up to half a metre from the clicker.
fn of_pictures(seed: u64, profile: &ClickProfile, over_noise_db: f64) -> Held {
    let clicker = Clicker::from_seed(seed);
    let mut room = Room::new(RATE_HZ, 42.0, seed ^ 3);
    let (mut truth, mut moments) = (Vec::new(), Vec::new());
    for k in 0..20 {
        let moment_s = 1.0 + 2.0 * f64::from(k) + room.dice().between(0.0, 0.5);
        let (lag_s, way_m) = (
            0.2 + 0.08 * room.dice().normal(),
            room.dice().between(0.0, 0.5),
        );
        let late_s = 1e-3 * TRAVEL_MS_PER_M * way_m;
        let click = room.click(&clicker, moment_s + lag_s + late_s, PEAK);
        let picture_s = (moment_s * 30.0).round() / 30.0;
        let press_s = click.press as f64 / f64::from(RATE_HZ);
        truth.push((picture_s, 1e3 * (press_s - late_s - moment_s)));
        moments.push(Moment {
            t_s: picture_s,
            kind: MomentKind::Behaviour,
            source: MomentSource::File,
            label: String::new(),
        });
    }
    room.echo(0.25, 0.35);
    room.noise(PEAK * 10f64.powf(-over_noise_db / 20.0), Colour::Pink);
    let heard = listen(profile, &room.finish());
    held(
        &judge(
            heard.marks(),
            &KnownMoment::list(&moments),
            &rules(0.25, 0.25, 1e3 / 30.0),
        ),
        &truth,
        1e-9,
    )
}

/// Errors and half-widths of the lags whose moment is found within `near_s` of its truth.
fn held(outcome: &marklag::review::Outcome, truth: &[(f64, f64)], near_s: f64) -> Held {
    let Some(budget) = &outcome.budget else {
        return Vec::new();
    };
    let factor = budget.half_width_ms().unwrap() / budget.standard_ms().unwrap();
    let lags = outcome.pairs.iter().filter_map(|pair| {
        let (moment_s, lag_ms, u_ms) = (pair.moment_s?, pair.lag_ms?, pair.u_ms?);
        let (_, true_ms) = truth.iter().find(|t| (t.0 - moment_s).abs() <= near_s)?;
        // Another click than this moment's is a miss, not an uncertainty.
        let error_ms = lag_ms - true_ms;
        (error_ms.abs() < 100.0).then_some((error_ms, factor * u_ms))
    });
    lags.collect()
}

fn on_all<T: Send>(
    seeds: Range<u64>,
    work: impl Fn(u64, &ClickProfile) -> Vec<T> + Sync,
) -> Vec<T> {
    let seeds: Vec<u64> = seeds.collect();
    std::thread::scope(|scope| {
        let workers: Vec<_> = seeds
            .chunks(seeds.len().div_ceil(2))
            .map(|some| {
                let work = &work;
                scope.spawn(move || {
                    let each = some.iter().map(|seed| work(*seed, &taught(*seed)));
                    each.flatten().collect::<Vec<T>>()
                })
            })
            .collect();
        workers
            .into_iter()
            .flat_map(|w| w.join().unwrap())
            .collect()
    })
}

/// Prints a row and gives the share that held.
fn row(name: &str, level_db: f64, lags: &Held) -> Share {
    let held = lags.iter().filter(|(e, h)| e.abs() <= *h).count();
    let share = Share::new(held, lags.len());
    let mut sizes: Vec<f64> = lags.iter().map(|l| l.0.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let mut stated: Vec<f64> = lags.iter().map(|l| l.1).collect();
    stated.sort_by(f64::total_cmp);
    println!(
        "| {name} | {level_db} dB | {} | {:.1} % ({:.0} to {:.0}) | ±{:.2} ms | {:.2} ms |",
        lags.len(),
        100.0 * share.share.unwrap(),
        100.0 * share.low.unwrap(),
        100.0 * share.high.unwrap(),
        stated[stated.len() / 2],
        sizes[sizes.len() * 19 / 20],
    );
    share
}

/// Wanted: 93 to 97 in 100. A row is wrong when its 95 % interval lies outside of that;
/// where only the onsets count, too wide is the better fault and allowed.
fn what_is_stated_holds(seeds: Range<u64>, levels_db: &[f64]) {
    println!("| lags | level | number | held (95 % interval) | stated, median | error, 95 % |");
    let mut wrong = Vec::new();
    let mut told = |name: &str, level_db: f64, lags: Held| {
        let share = row(name, level_db, &lags);
        let (low, high) = (share.low.unwrap(), share.high.unwrap());
        if high < 0.93 || (low > 0.97 && !name.ends_with("known")) {
            wrong.push(format!("{name} at {level_db} dB: {share:?}"));
        }
    };
    for &level_db in levels_db {
        let seeds = || seeds.clone();
        let lags = on_all(seeds(), |seed, p| of_drops(seed, p, level_db, Ways::Within));
        told("ball, distances ± 0.25 m", level_db, lags);
        let lags = on_all(seeds(), |seed, p| of_drops(seed, p, level_db, Ways::Known));
        told("ball, distances known", level_db, lags);
        let lags = on_all(seeds(), |seed, p| of_pictures(seed, p, level_db));
        told("video, 30 pictures a second", level_db, lags);
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn what_is_stated_of_a_lag_holds() {
    what_is_stated_holds(A_FEW, &[30.0]);
}

#[test]
#[ignore = "minutes: the table of docs/accuracy.md"]
fn what_is_stated_of_a_lag_holds_at_every_level() {
    what_is_stated_holds(SEEDS, &LEVELS_DB);
}

/// The least standard deviation that any estimate of a known waveform's arrival can
/// have in white noise, in µs: 1/√(SNR·β²), SNR = Σs²/σ², β² the mean square of the
/// angular frequency over the sound's energy spectrum (Kay 1993, Fundamentals of
/// Statistical Signal Processing I, section 3.11; from memory). By Parseval the product
/// is the energy of the sound's slope, which central differences give.
fn bound_us(sound: &[f32], noise_rms: f64) -> f64 {
    let slope: f64 = sound
        .windows(3)
        .map(|w| (f64::from(w[2] - w[0]) * f64::from(RATE_HZ) / 2.0).powi(2))
        .sum();
    1e6 * noise_rms / slope.sqrt()
}

/// A sine of whole periods in the middle of silence has β = 2πf, so that the bound is
/// σ/(2πf·√E).
#[test]
fn the_bound_of_a_sine() {
    let hz = 1_000.0;
    let sine: Vec<f32> = (0..4_800)
        .map(|n| (TAU * hz * f64::from(n) / f64::from(RATE_HZ)).sin() as f32)
        .collect();
    let want_us = 1e6 * 0.01 / (TAU * hz * 2_400f64.sqrt());
    let got_us = bound_us(&sine, 0.01);
    assert!((got_us / want_us - 1.0).abs() < 0.005, "{got_us} {want_us}");
}

/// Errors in µs and the bounds of each sound, of one kind, in white noise and no echo.
fn beside_bound(seed: u64, profile: &ClickProfile, over_noise_db: f64) -> Vec<(bool, f64, f64)> {
    let (clicker, ball) = (Clicker::from_seed(seed), Ball::from_seed(seed + 31));
    let noise_rms = PEAK * 10f64.powf(-over_noise_db / 20.0);
    let mut room = Room::new(RATE_HZ, 42.0, seed ^ 4);
    let mut truth = Vec::new();
    for k in 0..20 {
        let at_s = 1.0 + 2.0 * f64::from(k) + room.dice().between(0.0, 0.3);
        let click = room.click(&clicker, at_s, PEAK);
        truth.push((true, click.press));
        let sound = ball.impact.strike(
            f64::from(RATE_HZ),
            ball.wobble(),
            &mut Dice::new(at_s.to_bits()),
        );
        let at = ((at_s + 1.0) * f64::from(RATE_HZ)) as u64;
        room.add(at as usize, &sound, PEAK);
        truth.push((false, at));
    }
    room.noise(noise_rms, Colour::White);
    let heard = listen(profile, &room.finish());
    let dice = &mut Dice::new(seed);
    let rate_hz = f64::from(RATE_HZ);
    let scaled = |x: Vec<f32>| x.iter().map(|v| v * PEAK as f32).collect::<Vec<f32>>();
    let press = scaled(clicker.press.strike(rate_hz, clicker.wobble, dice));
    let impact = scaled(ball.impact.strike(rate_hz, ball.wobble(), dice));
    let bounds = [bound_us(&impact, noise_rms), bound_us(&press, noise_rms)];
    let errors = truth.iter().filter_map(|(is_click, at)| {
        let kind = if *is_click {
            SoundKind::Click
        } else {
            SoundKind::Impact
        };
        let same = heard.sounds.iter().filter(|s| s.sound.kind == kind);
        let error_s = same
            .map(|s| s.sound.t_s - *at as f64 / rate_hz)
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        // What was not found within 25 ms is a miss, not an error.
        (error_s.abs() < 0.025).then_some((
            *is_click,
            1e6 * error_s,
            bounds[usize::from(*is_click)],
        ))
    });
    errors.collect()
}

#[test]
#[ignore = "a minute: the table of docs/accuracy.md"]
fn onsets_beside_the_bound() {
    println!(
        "| sound | level | number | bound | error, RMS without the farthest 5 % | error, median |"
    );
    for level_db in [40.0, 30.0, 20.0, 15.0, 10.0] {
        let all = on_all(A_FEW, |seed, p| beside_bound(seed, p, level_db));
        for (is_click, name) in [(true, "click"), (false, "ball")] {
            let of_kind = || all.iter().filter(|e| e.0 == is_click);
            let mut sizes: Vec<f64> = of_kind().map(|e| e.1.abs()).collect();
            sizes.sort_by(f64::total_cmp);
            let kept = &sizes[..sizes.len() * 19 / 20];
            let rms = |x: &mut dyn Iterator<Item = f64>, n: usize| {
                (x.map(|v| v * v).sum::<f64>() / n as f64).sqrt()
            };
            let bound = rms(&mut of_kind().map(|e| e.2), sizes.len());
            let found = rms(&mut kept.iter().copied(), kept.len());
            println!(
                "| {name} | {level_db} dB | {} | {bound:.1} µs | {found:.0} µs | {:.0} µs |",
                sizes.len(),
                sizes[sizes.len() / 2]
            );
            // Half a sample is what a whole sample may be off on average; nothing
            // honest lies far under the bound.
            let sample_us = 1e6 / f64::from(RATE_HZ);
            let most_us = if is_click {
                sample_us.max(3.0 * bound)
            } else {
                1_000.0
            };
            assert!(found <= most_us, "{name} at {level_db} dB: {found} µs");
        }
    }
}
