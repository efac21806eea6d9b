//! A microphone whose every sample's time is known: writes the test signal
//! into a FIFO in real time on CLOCK_MONOTONIC. Sample k is in the air at
//! t0 + k / (rate (1 + ppm 1e-6)), and t0 (ns) is printed.
//!
//! ```text
//! pipemic FIFO [rate=48000 channels=1 format=s16le|u8|s32le|float32le secs=60
//!               ppm=0 taps=0 wav=FILE lead=S step=2
//!               gap_at=S gap_ms=M stall_at=S stall_ms=M]
//! ```
//! `step` is how many ms are written at once. With taps=1 it sends a tap at each
//! whole second over a faint noise instead. With `wav` the samples are those of a
//! 16-bit mono WAV, after `lead` seconds of faint hiss, and the hiss again when it
//! is over.
//! A gap drops the samples of its time, as a device that fails does; a stall is
//! late by its time and then catches up, as a busy machine is.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "pattern.rs"]
mod pattern;

use marklag::sound::monotonic::mono_ns;
use std::collections::HashMap;
use std::fs::OpenOptions;
use std::io::Write;
use std::thread::sleep;
use std::time::Duration;

/// A tap: the noise at full strength at a whole second, gone within some ms,
/// over the same noise 60 dB lower.
fn tap(k: u64, rate: u64) -> f64 {
    let since_s = (k % rate) as f64 / rate as f64;
    let strength = if k < rate {
        0.0
    } else {
        (-since_s / 0.002).exp()
    };
    pattern::value(k, 15) * (0.001 + strength)
}

/// The sound of a WAV, 16 bits and one channel, that begins at sample `lead`.
struct Wav {
    samples: Vec<i16>,
    lead: u64,
}

impl Wav {
    fn value(&self, k: u64) -> i16 {
        let there = k
            .checked_sub(self.lead)
            .and_then(|k| usize::try_from(k).ok());
        let hiss = ((k.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 33) % 7) as i16 - 3;
        there
            .and_then(|k| self.samples.get(k))
            .copied()
            .unwrap_or(hiss)
    }
}

fn encode(format: &str, taps: Option<u64>, wav: Option<&Wav>, k: u64, out: &mut Vec<u8>) {
    if let (Some(rate), "s16le") = (taps, format) {
        return out.extend(((tap(k, rate) * 32768.0) as i16).to_le_bytes());
    }
    if let Some(wav) = wav {
        assert_eq!(format, "s16le", "a WAV is played as s16le");
        return out.extend(wav.value(k).to_le_bytes());
    }
    match format {
        "u8" => out.push((pattern::value(k, 7) * 128.0 + 128.0) as u8),
        "s16le" => out.extend(((pattern::value(k, 15) * 32768.0) as i16).to_le_bytes()),
        "s32le" => out.extend(((pattern::value(k, 15) * 2_147_483_648.0) as i32).to_le_bytes()),
        "float32le" => out.extend((pattern::value(k, 15) as f32).to_le_bytes()),
        other => panic!("no such format: {other}"),
    }
}

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let options: HashMap<&str, &str> = args.iter().filter_map(|a| a.split_once('=')).collect();
    let number = |key: &str, or: f64| options.get(key).map_or(or, |v| v.parse().unwrap());
    let rate = number("rate", 48_000.0) * (1.0 + number("ppm", 0.0) * 1e-6);
    let taps = (number("taps", 0.0) > 0.0).then_some(number("rate", 48_000.0) as u64);
    let format = options.get("format").copied().unwrap_or("s16le");
    let channels = number("channels", 1.0) as usize;
    let wav = options.get("wav").map(|file| Wav {
        samples: hound::WavReader::open(file)
            .unwrap()
            .samples()
            .map(Result::unwrap)
            .collect(),
        lead: (number("lead", 0.0) * number("rate", 48_000.0)) as u64,
    });
    let end_ns = (number("secs", 60.0) * 1e9) as i64;
    let step_ns = (number("step", 2.0) * 1e6) as i64;
    // An absence: when it begins, how long it is, whether its samples are dropped.
    let absence = |at: &str, ms: &str| (number(at, f64::INFINITY) * 1e9, number(ms, 0.0));
    let mut absences = [
        (absence("gap_at", "gap_ms"), true),
        (absence("stall_at", "stall_ms"), false),
    ];

    // Opened for reading too, so that neither a missing nor a leaving reader matters.
    let mut fifo = OpenOptions::new()
        .read(true)
        .write(true)
        .open(&args[1])
        .unwrap();
    let t0 = mono_ns() + 20_000_000;
    println!("{t0}");
    let due = |now: i64| ((now - t0).max(0) as f64 * 1e-9 * rate) as u64;
    let mut done = 0;
    let mut one = Vec::new();
    let mut bytes = Vec::new();
    let mut tick = t0;
    while tick - t0 < end_ns {
        tick = (tick + step_ns).max(mono_ns());
        sleep(Duration::from_nanos((tick - mono_ns()).max(0) as u64));
        for ((at_ns, ms), drops) in &mut absences {
            if (mono_ns() - t0) as f64 >= *at_ns {
                *at_ns = f64::INFINITY;
                sleep(Duration::from_secs_f64(*ms * 1e-3));
                if *drops {
                    done += (*ms * 1e-3 * rate) as u64;
                }
            }
        }
        bytes.clear();
        for k in done..due(mono_ns()).max(done) {
            one.clear();
            encode(format, taps, wav.as_ref(), k, &mut one);
            for _ in 0..channels {
                bytes.extend_from_slice(&one);
            }
        }
        done = due(mono_ns()).min(done + (bytes.len() / channels.max(1) / one.len().max(1)) as u64);
        fifo.write_all(&bytes).unwrap();
    }
}
