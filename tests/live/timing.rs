//! Samples at the places they were sent to, and the clock they give.

use crate::heard::{Heard, quantile};
use crate::rig::{Busy, PLAIN, Server, Source, alone, with};
use std::time::Duration;

/// Seconds a timing run lasts; `tests/live/run.sh --long` asks for ten minutes.
fn seconds() -> f64 {
    std::env::var("MARKLAG_LIVE_S").map_or(45.0, |s| s.parse().unwrap())
}

/// Errors of the mapping in ms against the known time of every sample, from 5 s on.
fn mapping_errors_ms(heard: &Heard, t0: i64, rate: f64, ppm: f64, first: u64) -> Vec<f64> {
    let probes = heard.numbers("probe");
    let from_ns = probes[0][0] + 5e9;
    probes
        .iter()
        .filter(|p| p[0] >= from_ns)
        .map(|p| {
            let sent = (p[0] - t0 as f64) * 1e-9 * rate * (1.0 + ppm * 1e-6);
            (p[1] - (sent - first as f64)) / rate * 1e3
        })
        .collect()
}

fn timed_run(name: &str, ppm: f64, busy: usize) {
    let _alone = alone();
    let server = Server::with_pipe(PLAIN);
    let secs = seconds();
    let (_mic, t0) = server.feed("mic", PLAIN, &with(&[("secs", secs + 5.0), ("ppm", ppm)]));
    let _busy = Busy::loops(busy);
    let heard = server
        .tap(&with(&[("secs", secs)]))
        .finish(secs as u64 + 20);
    assert_eq!(heard.stderr, "");
    let first = heard.whole(15);
    let lost = secs - heard.samples.len() as f64 / 48_000.0;
    assert!(lost < 2.0, "{lost} s short: {}", heard.story());
    assert!(
        heard.tells("host: \"ALSA\", rate_hz: 48000, channels: 1"),
        "{}",
        heard.story()
    );

    let errors = mapping_errors_ms(&heard, t0, 48_000.0, ppm, first);
    let signed = quantile(&errors, 0.5);
    let size: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    let (median, p95, most) = (
        quantile(&size, 0.5),
        quantile(&size, 0.95),
        quantile(&size, 1.0),
    );
    let age: Vec<f64> = heard
        .numbers("pull")
        .iter()
        .map(|p| (p[0] - t0 as f64) * 1e-6 - (p[1] + first as f64) / 48.0 / (1.0 + ppm * 1e-6))
        .collect();
    let clock = &heard.numbers("clock")[0];
    eprintln!(
        "{name}: drift {:.1} ppm (set {ppm}), residual {:.3} ms; mapping error median {signed:.3}, \
         |median| {median:.3}, p95 {p95:.3}, max {most:.3} ms; newest sample's age at the engine \
         median {:.1}, p95 {:.1}, max {:.1} ms; {} samples, none lost",
        clock[0],
        clock[1],
        quantile(&age, 0.5),
        quantile(&age, 0.95),
        quantile(&age, 1.0),
        heard.samples.len()
    );
    assert!(
        heard.lines("gap").is_empty() && heard.lines("overrun").is_empty(),
        "{}",
        heard.story()
    );
    assert!(
        (clock[0] - ppm).abs() <= 5.0,
        "drift {} for {ppm}",
        clock[0]
    );
    assert!(median <= 1.0, "median {median} ms");
    assert!(p95 <= 3.0, "95th percentile {p95} ms");
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn fast_device_clock() {
    timed_run("+100 ppm", 100.0, 0);
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn slow_device_clock_under_three_busy_loops() {
    timed_run("-100 ppm, 3 busy loops", -100.0, 3);
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_gap_has_place_and_length_and_a_stall_loses_nothing() {
    let _alone = alone();
    let server = Server::with_pipe(PLAIN);
    let options = [
        ("secs", 24.0),
        ("gap_at", 8.0),
        ("gap_ms", 30.0),
        ("stall_at", 14.0),
        ("stall_ms", 150.0),
    ];
    let (_mic, t0) = server.feed("mic", PLAIN, &with(&options));
    let heard = server.tap(&with(&[("secs", 20.0)])).finish(40);
    let runs = heard.runs(15);
    assert_eq!(runs.len(), 2, "one hole: {runs:?}\n{}", heard.story());
    let (a, b) = (runs[0], runs[1]);
    assert_eq!(a.at + a.len, b.at, "nothing but the hole");
    let missing = b.sent - a.sent - a.len as u64;
    let gaps = heard.numbers("gap");
    assert_eq!(gaps.len(), 1, "{}", heard.story());
    let place_ms = (gaps[0][0] - b.at as f64) / 48.0;
    let length_ms = gaps[0][2] - missing as f64 / 48.0;
    eprintln!(
        "gap: place {place_ms:+.1} ms, length {length_ms:+.2} ms of {:.2} ms",
        missing as f64 / 48.0
    );
    assert!(place_ms.abs() <= 40.0, "place off by {place_ms} ms");
    assert!(length_ms.abs() <= 3.0, "length off by {length_ms} ms");
    let late = quantile(&mapping_after(&heard, t0, b.sent - b.at as u64), 0.5);
    eprintln!("mapping error after gap and stall: median {late:.3} ms");
    assert!(late.abs() <= 1.0, "{late} ms");
}

/// Mapping errors of the last three seconds, in ms.
fn mapping_after(heard: &Heard, t0: i64, offset: u64) -> Vec<f64> {
    let probes = heard.numbers("probe");
    let from_ns = probes.last().unwrap()[0] - 3e9;
    probes
        .iter()
        .filter(|p| p[0] >= from_ns)
        .map(|p| (p[1] - ((p[0] - t0 as f64) * 48e-6 - offset as f64)) / 48.0)
        .collect()
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn every_rate_and_channel_count_at_the_devices_own() {
    let _alone = alone();
    for (rate, channels, format) in [
        (8_000, 1, "u8"),
        (16_000, 2, "s16le"),
        (44_100, 1, "s32le"),
        (44_100, 2, "s16le"),
        (96_000, 2, "float32le"),
    ] {
        let source = Source {
            rate,
            channels,
            format,
        };
        let server = Server::with_pipe(source);
        let (_mic, _) = server.feed("mic", source, &with(&[("secs", 8.0)]));
        let heard = server.tap(&with(&[("secs", 2.5)])).finish(20);
        let expect = format!("host: \"ALSA\", rate_hz: {rate}, channels: {channels}");
        assert!(heard.tells(&expect), "{}", heard.story());
        heard.whole(if format == "u8" { 7 } else { 15 });
        assert!(
            heard.samples.len() as f64 > 1.5 * f64::from(rate),
            "{}",
            heard.story()
        );
    }
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn every_sample_format_by_the_servers_own_protocol() {
    let _alone = alone();
    for (format, name) in [
        ("u8", "u8"),
        ("s16le", "i16"),
        ("s32le", "i32"),
        ("float32le", "f32"),
    ] {
        let source = Source {
            rate: 44_100,
            channels: 2,
            format,
        };
        let server = Server::with_pipe(source);
        let (_mic, _) = server.feed("mic", source, &with(&[("secs", 8.0)]));
        std::thread::sleep(Duration::from_millis(200));
        let heard = server
            .tap_without_plugin(&with(&[("secs", 2.5)]))
            .finish(20);
        let expect =
            format!("host: \"PulseAudio\", rate_hz: 44100, channels: 2, sample_format: \"{name}\"");
        assert!(heard.tells(&expect), "{}", heard.story());
        heard.whole(if format == "u8" { 7 } else { 15 });
        assert!(heard.samples.len() > 60_000, "{}", heard.story());
    }
}
