//! `marklag check` against the paced microphone: the drift it prints, and keys
//! typed into a terminal at known instants against taps of known instants.

use crate::heard::quantile;
use crate::pty::Terminal;
use crate::rig::{PLAIN, Server, alone, with};
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

fn marklag(server: &Server, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_marklag"));
    command
        .args(args)
        .env("MARKLAG_HOME", server.dir.path().join("home"))
        .env("PULSE_SERVER", server.socket())
        .env("XDG_RUNTIME_DIR", server.dir.path().join("none"));
    command
}

fn json(text: &str) -> serde_json::Value {
    let from = text.find('{').unwrap_or_else(|| panic!("{text}"));
    serde_json::from_str(text[from..].trim()).unwrap_or_else(|e| panic!("{e}: {text}"))
}

fn checked(ppm: f64) -> serde_json::Value {
    let server = Server::with_pipe(PLAIN);
    let (_mic, _) = server.feed("mic", PLAIN, &with(&[("secs", 50.0), ("ppm", ppm)]));
    let out = marklag(&server, &["check", "--json", "--seconds", "40"])
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let err = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success() && err.is_empty(), "{err}");
    json(&String::from_utf8(out.stdout).unwrap())
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn check_prints_the_drift_that_was_set() {
    let _alone = alone();
    for ppm in [100.0, -100.0] {
        let report = checked(ppm);
        let clock = &report["clock"];
        let number = |name: &str| clock[name].as_f64().unwrap();
        eprintln!(
            "check, {ppm:+} ppm set: {:+.2} ±{:.2} ppm, residual {:.3} ms",
            number("drift_ppm"),
            number("drift_u_ppm"),
            number("residual_ms")
        );
        assert!((number("drift_ppm") - ppm).abs() <= 5.0, "{clock}");
        assert_eq!(report["device"]["name"], "The_mic");
        assert_eq!(report["device"]["host"], "ALSA");
        assert_eq!(report["troubles"]["gaps"], 0);
    }
}

/// Keys 40 ms after each tap, through a terminal: what is left of the 40 ms is
/// the error of the whole path.
#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_key_lands_on_the_sound_where_it_was_typed() {
    const LATE_NS: i64 = 40_000_000;
    let _alone = alone();
    let server = Server::with_pipe(PLAIN);
    let (_mic, t0) = server.feed("mic", PLAIN, &with(&[("secs", 60.0), ("taps", 1.0)]));
    let mut terminal = Terminal::start(marklag(&server, &["check", "hands", "--json"]), 80, 24);
    let start = Instant::now();
    // How long after its tap each key was typed in truth: a busy machine wakes late.
    let mut typed_ms = Vec::new();
    // From eight seconds on the clocks are fitted; a tap every second.
    let mut second = 9;
    while terminal.child.try_wait().unwrap().is_none() {
        assert!(start.elapsed() < Duration::from_secs(50), "it did not end");
        let due = t0 + second * 1_000_000_000 + LATE_NS;
        second += 1;
        let wait = due - marklag::sound::monotonic::mono_ns();
        if wait > 0 {
            sleep(Duration::from_nanos(wait as u64));
            let late_ns = LATE_NS + marklag::sound::monotonic::mono_ns() - due;
            if terminal.press(" ") {
                typed_ms.push(late_ns as f64 * 1e-6);
            }
        }
    }
    terminal.finish(5.0);
    let report = json(&terminal.seen());
    let errors: Vec<f64> = report["delays_ms"]
        .as_array()
        .unwrap()
        .iter()
        .zip(&typed_ms)
        .map(|(d, typed_ms)| (d.as_f64().unwrap() - typed_ms).abs())
        .collect();
    let (median, p95) = (quantile(&errors, 0.5), quantile(&errors, 0.95));
    eprintln!(
        "key to sound: error median {median:.3}, p95 {p95:.3} ms over {} of {} keys; delay {} ±{} ms",
        errors.len(),
        typed_ms.len(),
        report["delay_ms"],
        report["u_ms"]
    );
    // All twenty, so that each stands beside its own key.
    assert_eq!(
        report["delays_ms"].as_array().unwrap().len(),
        20,
        "{report}"
    );
    assert!(median <= 1.0, "median {median} ms");
    assert!(p95 <= 3.0, "95th percentile {p95} ms");
    assert!(server.dir.path().join("home/hands.json").exists());
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn no_server_and_no_device_are_words() {
    let _alone = alone();
    let dir = tempfile::tempdir().unwrap();
    for args in [&["check"][..], &["teach", "click", "tilda"]] {
        let out = Command::new(env!("CARGO_BIN_EXE_marklag"))
            .args(args)
            .env("MARKLAG_HOME", dir.path().join("home"))
            .env_remove("PULSE_SERVER")
            .env("XDG_RUNTIME_DIR", dir.path().join("none"))
            .stdin(Stdio::null())
            .output()
            .unwrap();
        assert_eq!(out.status.code(), Some(1));
        let said = String::from_utf8(out.stderr).unwrap();
        for words in [
            "marklag: No microphone was found. Plug one in, or start the sound system, and try again.",
            // The way out without one.
            "marklag review FILE",
            "--from FILE",
        ] {
            assert!(said.contains(words), "{words}: {said}");
        }
    }
}
