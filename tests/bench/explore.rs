//! Accuracy table on made-up rooms.
use marklag::ear::*;
use marklag::sound::room::*;
use marklag::timeline::SoundKind;
fn main() {
    if let Ok(s) = std::env::var("D") {
        debug(s.parse().unwrap());
        return;
    }
    let from: u64 = std::env::args().nth(1).map_or(0, |v| v.parse().unwrap());
    let n: u64 = std::env::args().nth(2).map_or(12, |v| v.parse().unwrap());
    let rate: u32 = std::env::args()
        .nth(3)
        .map_or(48000, |v| v.parse().unwrap());
    let verbose = std::env::var("V").is_ok();
    for (kind, snr) in [
        ("quiet", 30.0),
        ("quiet", 20.0),
        ("speech", 30.0),
        ("speech", 20.0),
        ("bangs", 30.),
        ("bangs", 20.0),
        ("other", 30.0),
        ("other", 20.0),
        ("all", 10.0),
        ("quiet", 10.0),
    ] {
        let (mut tp, mut np, mut nt) = (0, 0, 0);
        let mut errs = vec![];
        let mut us = vec![];
        for seed in from..from + n {
            let fs = rate as f64;
            let clicker = Clicker::from_seed(seed);
            let other = Clicker::from_seed(seed + 500);
            let mut room = Room::new(rate, 16.0, seed);
            for k in 0..10 {
                room.click(&clicker, 1.0 + 1.4 * k as f64, 0.3);
            }
            room.echo(0.3, 0.4);
            room.noise(0.3 * 10f64.powf(-35.0 / 20.0), Colour::Pink);
            let t = room.finish();
            let taught = match teach_click("a", &t.samples, rate) {
                Ok(t) => t,
                Err(e) => {
                    println!("seed {seed}: {e}");
                    nt += 25;
                    continue;
                }
            };
            if verbose && kind == "quiet" && snr == 30.0 {
                let d: Vec<i64> = t
                    .clicks
                    .iter()
                    .map(|c| {
                        taught
                            .presses
                            .iter()
                            .map(|p| *p as i64 - c.press as i64)
                            .min_by_key(|d| d.abs())
                            .unwrap()
                    })
                    .collect();
                println!(
                    "seed {seed} taught {} rel {} out {} agr {:.2} spr {:.1} err {:?}",
                    taught.presses.len(),
                    taught.releases.len(),
                    taught.left_out.len(),
                    taught.profile.agreement,
                    taught.profile.spread_db,
                    d
                );
            }
            let mut room = Room::new(rate, 60.0, seed + 77);
            let p = 0.2;
            for k in 0..25 {
                let j = room.dice().between(0.0, 0.8);
                room.click(&clicker, 1.0 + 2.2 * k as f64 + j, p);
            }
            if kind == "other" || kind == "all" {
                for k in 0..25 {
                    let j = room.dice().between(0.0, 0.5);
                    room.other_click(&other, 2.2 + 2.2 * k as f64 + j, p);
                }
            }
            if kind == "speech" || kind == "all" {
                let mut d = Dice::new(seed);
                let s = speech(fs, 60.0, &mut d);
                room.add(0, &s, p * 1.41);
            }
            if kind == "bangs" || kind == "all" {
                let mut d = Dice::new(seed);
                for k in 0..40 {
                    let s = bang(fs, &mut d);
                    let g = d.between(0.3, 2.0);
                    let at = ((0.5 + 1.5 * k as f64 + d.between(0.0, 0.8)) * fs) as usize;
                    room.add(at, &s, p * g);
                }
            }
            room.echo(0.3, 0.4);
            room.noise(p * 10f64.powf(-snr / 20.0), Colour::White);
            let s = room.finish();
            if std::env::var("DBG").is_ok() {
                eprintln!(
                    "S {kind} {snr} {seed} {:.3} {:.2}",
                    taught.profile.agreement, taught.profile.spread_db
                );
                for c in &s.clicks {
                    eprintln!("P {} {}", c.press, c.release);
                }
                for c in &s.others {
                    eprintln!("O {} {}", c.press, c.release);
                }
            }
            let mut ear = Ear::new(rate, &[taught.profile.clone()]).unwrap();
            let mut got = vec![];
            let mut sink = |h: Heard| {
                if h.kind == SoundKind::Click {
                    got.push(h)
                }
            };
            ear.push(&s.samples, &mut sink).unwrap();
            ear.finish(&mut sink).unwrap();
            nt += s.clicks.len();
            np += got.len();
            let mut e = vec![];
            for c in &s.clicks {
                if let Some(g) = got.iter().min_by_key(|g| g.at.abs_diff(c.press)) {
                    let d = g.at as f64 - c.press as f64;
                    if d.abs() < 0.025 * fs {
                        tp += 1;
                        e.push(d);
                        us.push(d / g.u_samples as f64);
                    } else if verbose {
                        println!("  {kind} {snr} seed {seed} missed {}", c.press);
                    }
                }
            }
            if verbose {
                for g in &got {
                    if !s.clicks.iter().any(|c| c.press.abs_diff(g.at) < 1200) {
                        let w = if s.clicks.iter().any(|c| c.release.abs_diff(g.at) < 1200) {
                            "release"
                        } else if s.others.iter().any(|c| {
                            c.release.abs_diff(g.at) < 1200 || c.press.abs_diff(g.at) < 1200
                        }) {
                            "other"
                        } else {
                            "?"
                        };
                        println!(
                            "  {kind} {snr} seed {seed} false {} {w} {:.2}",
                            g.at, g.confidence
                        );
                    }
                }
            }
            e.sort_by(f64::total_cmp);
            if e.is_empty() {
                continue;
            }
            let m = e[e.len() / 2];
            errs.extend(e.iter().map(|x| (x - m).abs() / fs * 1e3));
        }
        errs.sort_by(f64::total_cmp);
        let q = |p: f64| {
            errs.get(((errs.len() as f64 * p) as usize).min(errs.len().saturating_sub(1)))
                .copied()
                .unwrap_or(f64::NAN)
        };
        let cover = us.iter().filter(|u| u.abs() < 1.96).count() as f64 / us.len() as f64;
        println!(
            "{kind:8} {snr:4} F {:.4}  P {:.4} R {:.4}  timing ms 50% {:.3} 95% {:.3} 99% {:.3} u-cover {cover:.2}",
            2.0 * tp as f64 / (np + nt) as f64,
            tp as f64 / np as f64,
            tp as f64 / nt as f64,
            q(0.5),
            q(0.95),
            q(0.99)
        );
    }
}
#[allow(dead_code)]
pub fn debug(seed: u64) {
    let clicker = Clicker::from_seed(seed);
    let mut room = Room::new(48000, 16.0, seed);
    for k in 0..10 {
        room.click(&clicker, 1.0 + 1.4 * k as f64, 0.3);
    }
    room.echo(0.3, 0.4);
    room.noise(0.3 * 10f64.powf(-35.0 / 20.0), Colour::Pink);
    let t = room.finish();
    let mut ear = Ear::new(48000, &[]).unwrap();
    let mut v = vec![];
    ear.push(&t.samples, &mut |h: Heard| v.push(h)).unwrap();
    println!("gain {:.2} held {:?}", clicker.release_gain, clicker.held_s);
    for c in t.clicks.iter().take(5) {
        println!(
            "{} {}: {:?}",
            c.press,
            c.release,
            v.iter()
                .filter(|h| h.at + 4800 > c.press && h.at < c.release + 9600)
                .map(|h| (
                    h.at as i64 - c.press as i64,
                    h.at as i64 - c.release as i64,
                    h.level_dbfs
                ))
                .collect::<Vec<_>>()
        );
    }
}
