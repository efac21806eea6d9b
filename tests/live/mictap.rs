//! Listens to the microphone through the program's own path and writes down
//! what came: samples to a file, everything else as lines.
//!
//! ```text
//! mictap [list] [secs=10 out=FILE device=DESCRIPTION pause_at=S pause_ms=M]
//! ```
#![allow(clippy::unwrap_used, clippy::expect_used)]

use marklag::sound::microphone::{Microphone, devices};
use marklag::sound::monotonic::mono_ns;
use marklag::sound::{Choice, Flow, MicEvent, Pick, SampleSource};
use std::collections::HashMap;
use std::fs::File;
use std::io::Write;
use std::process::ExitCode;
use std::time::Duration;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().collect();
    let options: HashMap<&str, &str> = args.iter().filter_map(|a| a.split_once('=')).collect();
    let number = |key: &str, or: f64| options.get(key).map_or(or, |v| v.parse().unwrap());
    if args.iter().any(|a| a == "list") {
        for d in devices().unwrap() {
            println!("device\t{}\t{}\t{}", d.id, d.description, d.is_default);
        }
        return ExitCode::SUCCESS;
    }
    let choice = options.get("device").map(|name| Choice {
        id: String::new(),
        description: (*name).to_owned(),
    });
    let mut mic = match Microphone::open(choice, Pick::Mean) {
        Ok(mic) => mic,
        Err(error) => {
            println!("error\t{error}");
            return ExitCode::FAILURE;
        }
    };
    println!("opened\t{:?}", mic.opened());
    let mut file = options.get("out").map(|path| File::create(path).unwrap());
    let ns = |s: f64| (s * 1e9) as i64;
    let start = mono_ns();
    let end = start + ns(number("secs", 10.0));
    let mut pause_at = ns(number("pause_at", 1e6)).saturating_add(start);
    let mut next_probe = start;
    let (mut out, mut events) = (Vec::new(), Vec::new());
    let mut total = 0;
    while mono_ns() < end {
        if mono_ns() >= pause_at {
            pause_at = i64::MAX;
            std::thread::sleep(Duration::from_millis(number("pause_ms", 0.0) as u64));
        }
        out.clear();
        events.clear();
        let flow = mic.pull(Duration::from_millis(100), &mut out, &mut events);
        let now = mono_ns();
        total += out.len();
        if let Some(file) = &mut file {
            let bytes: Vec<u8> = out.iter().flat_map(|x| x.to_le_bytes()).collect();
            file.write_all(&bytes).unwrap();
        }
        for e in &events {
            match e {
                MicEvent::Samples { .. } => println!("pull\t{now}\t{total}"),
                MicEvent::Gap {
                    at_sample,
                    missing_samples,
                    missing_ms,
                } => {
                    println!("gap\t{at_sample}\t{missing_samples}\t{missing_ms}");
                }
                MicEvent::Overrun {
                    at_sample,
                    missing_samples,
                } => {
                    println!("overrun\t{at_sample}\t{missing_samples}");
                }
                other => println!("event\t{total}\t{other:?}"),
            }
        }
        if now >= next_probe
            && let Some((sample, u_ms)) = mic.sample_at(now)
        {
            println!("probe\t{now}\t{sample}\t{u_ms}");
            next_probe = now + 50_000_000;
        }
        if flow == Flow::Ended {
            println!("ended");
            break;
        }
    }
    let clock = mic.clock();
    println!(
        "clock\t{}\t{}\t{}",
        clock.drift_ppm().unwrap_or(f64::NAN),
        clock.residual_ms().unwrap_or(f64::NAN),
        clock.is_settled()
    );
    println!("counters\t{:?}", mic.counters());
    ExitCode::SUCCESS
}
