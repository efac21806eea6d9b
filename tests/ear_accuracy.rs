//! How well taught clicks are found and timed in made-up rooms whose truth is
//! known: clickers and rooms of seeds that the ear was not made with.
//!
//! `cargo test --test ear_accuracy -- --nocapture` prints the table.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod ear_room;

use ear_room::{clicks, hear, taught};
#[path = "detection/found.rs"]
mod found;

use found::{Detection, detect};
use marklag::ear::ClickProfile;
use marklag::measure::quantile::quantile;
use marklag::sound::room::{Clicker, Colour, Dice, Room, Scene, bang, speech};

/// Kept apart: nothing in the ear was chosen with these.
const SEEDS: std::ops::Range<u64> = 5_000..5_008;
const RATE_HZ: u32 = 48_000;
const SCENE_S: f64 = 40.0;
const CLICKS: usize = 17;
/// Peak of a press.
const PEAK: f64 = 0.2;
const TOLERANCE_S: f64 = 0.025;

/// What is in the room beside the clicker.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Beside {
    Nothing,
    Speech,
    Bangs,
    OtherClicker,
    Everything,
}

/// One row of the table: its scenes and its floors.
struct Row {
    name: &'static str,
    beside: Beside,
    /// Peak of the press over the RMS of the noise, in dB; one scene each.
    over_noise_db: &'static [f64],
    /// Lowest F-measure at ±25 ms.
    least_f: f64,
    /// Largest 95th percentile of the timing error about each scene's median, in ms.
    most_ms: f64,
}

fn scene(seed: u64, beside: Beside, over_noise_db: f64) -> Scene {
    let rate_hz = f64::from(RATE_HZ);
    let (clicker, other) = (Clicker::from_seed(seed), Clicker::from_seed(seed + 500));
    let mut room = Room::new(RATE_HZ, SCENE_S, seed + 77);
    for k in 0..CLICKS {
        let late_s = room.dice().between(0.0, 0.8);
        room.click(&clicker, 1.0 + 2.2 * k as f64 + late_s, PEAK);
    }
    let everything = beside == Beside::Everything;
    if everything || beside == Beside::OtherClicker {
        for k in 0..CLICKS {
            let late_s = room.dice().between(0.0, 0.5);
            room.other_click(&other, 2.2 + 2.2 * k as f64 + late_s, PEAK);
        }
    }
    if everything || beside == Beside::Speech {
        let sound = speech(rate_hz, SCENE_S, &mut Dice::new(seed));
        // +3 dB of the click, peak against peak.
        room.add(0, &sound, PEAK * 1.41);
    }
    if everything || beside == Beside::Bangs {
        let mut dice = Dice::new(seed);
        for k in 0..26 {
            let sound = bang(rate_hz, &mut dice);
            // Up to +6 dB of the click.
            let gain = dice.between(0.3, 2.0);
            let at_s = 0.5 + 1.5 * f64::from(k) + dice.between(0.0, 0.8);
            room.add((at_s * rate_hz) as usize, &sound, PEAK * gain);
        }
    }
    room.echo(0.3, 0.4);
    room.noise(PEAK * 10f64.powf(-over_noise_db / 20.0), Colour::White);
    room.finish()
}

/// Counts, absolute timing errors in ms about the scene's median, and the
/// places of what was missed and what was heard for nothing.
fn judge(scene: &Scene, profile: &ClickProfile, label: &str) -> (Detection, Vec<f64>, Vec<String>) {
    let rate_hz = f64::from(RATE_HZ);
    let heard = clicks(&hear(
        RATE_HZ,
        std::slice::from_ref(profile),
        &scene.samples,
    ));
    let truth_s: Vec<f64> = scene
        .clicks
        .iter()
        .map(|c| c.press as f64 / rate_hz)
        .collect();
    let found_s: Vec<f64> = heard.iter().map(|h| h.at as f64 / rate_hz).collect();
    let found = detect(&truth_s, &found_s, TOLERANCE_S);
    let mut errors_ms: Vec<f64> = found.errors_s.iter().map(|s| 1e3 * s).collect();
    errors_ms.sort_by(f64::total_cmp);
    let bias_ms = errors_ms.get(errors_ms.len() / 2).copied().unwrap_or(0.0);
    let about = errors_ms.iter().map(|e| (e - bias_ms).abs()).collect();
    let mut faults = Vec::new();
    for error_s in &found.errors_s {
        let off_ms = 1e3 * error_s - bias_ms;
        if off_ms.abs() > 0.5 {
            faults.push(format!("{label}: a press is {off_ms:+.2} ms off"));
        }
    }
    let near = |a: f64, all: &[f64]| all.iter().any(|b| (a - b).abs() <= TOLERANCE_S);
    for t in truth_s.iter().filter(|t| !near(**t, &found_s)) {
        faults.push(format!("{label}: missed the press at {t:.4} s"));
    }
    let others: Vec<f64> = scene
        .others
        .iter()
        .flat_map(|c| [c.press as f64 / rate_hz, c.release as f64 / rate_hz])
        .collect();
    let releases: Vec<f64> = scene
        .clicks
        .iter()
        .map(|c| c.release as f64 / rate_hz)
        .collect();
    for (t, h) in found_s
        .iter()
        .zip(&heard)
        .filter(|(t, _)| !near(**t, &truth_s))
    {
        let what = if near(*t, &releases) {
            "a release"
        } else if near(*t, &others) {
            "another clicker"
        } else {
            "something else"
        };
        faults.push(format!(
            "{label}: false click at {t:.4} s ({what}), confidence {:.2}",
            h.confidence
        ));
    }
    (found, about, faults)
}

struct Measured {
    f: f64,
    p95_ms: f64,
    counts: (usize, usize, usize),
    faults: Vec<String>,
}

fn measure(row: &Row, profiles: &[(u64, ClickProfile)]) -> Measured {
    let mut errors_ms = Vec::new();
    let mut counts = (0, 0, 0);
    let mut faults = Vec::new();
    std::thread::scope(|scope| {
        let workers: Vec<_> = profiles
            .chunks(profiles.len().div_ceil(2))
            .map(|some| {
                scope.spawn(move || {
                    let mut out = Vec::new();
                    for (seed, profile) in some {
                        for db in row.over_noise_db {
                            let label = format!("{} {db} dB, seed {seed}", row.name);
                            out.push(judge(&scene(*seed, row.beside, *db), profile, &label));
                        }
                    }
                    out
                })
            })
            .collect();
        for worker in workers {
            for (found, about, wrong) in worker.join().unwrap() {
                counts.0 += found.true_positives;
                counts.1 += found.false_positives;
                counts.2 += found.false_negatives;
                errors_ms.extend(about);
                faults.extend(wrong);
            }
        }
    });
    Measured {
        f: Detection::from_counts(counts.0, counts.1, counts.2)
            .f_measure
            .unwrap(),
        p95_ms: quantile(&errors_ms, 0.95).unwrap(),
        counts,
        faults,
    }
}

#[test]
fn marks_are_found_and_timed() {
    let rows = [
        Row {
            name: "quiet room",
            beside: Beside::Nothing,
            over_noise_db: &[30.0, 20.0],
            least_f: 0.995,
            most_ms: 0.045,
        },
        Row {
            name: "speech to +3 dB",
            beside: Beside::Speech,
            over_noise_db: &[30.0, 20.0],
            least_f: 0.99,
            most_ms: 0.045,
        },
        Row {
            name: "bangs to +6 dB",
            beside: Beside::Bangs,
            over_noise_db: &[30.0, 20.0],
            least_f: 0.98,
            most_ms: 0.045,
        },
        Row {
            name: "another clicker",
            beside: Beside::OtherClicker,
            over_noise_db: &[30.0, 20.0],
            least_f: 0.98,
            most_ms: 0.045,
        },
        Row {
            name: "all of it",
            beside: Beside::Everything,
            over_noise_db: &[10.0],
            least_f: 0.90,
            // The aim is 0.5 ms; not yet reached.
            most_ms: 0.60,
        },
    ];
    let profiles: Vec<(u64, ClickProfile)> = SEEDS
        .map(|seed| (seed, taught("a", &Clicker::from_seed(seed), RATE_HZ, seed)))
        .collect();
    println!("scene             dB      clicks  false missed  F       95 % timing ms");
    let mut short = Vec::new();
    for row in &rows {
        let got = measure(row, &profiles);
        let db: Vec<String> = row.over_noise_db.iter().map(|db| format!("{db}")).collect();
        println!(
            "{:17} {:7} {:6} {:6} {:6}  {:.4}  {:.3}",
            row.name,
            db.join(" "),
            got.counts.0 + got.counts.2,
            got.counts.1,
            got.counts.2,
            got.f,
            got.p95_ms
        );
        for fault in &got.faults {
            println!("    {fault}");
        }
        if got.f < row.least_f || got.p95_ms > row.most_ms {
            short.push(row.name);
        }
    }
    assert!(short.is_empty(), "below the floor: {short:?}");
}
