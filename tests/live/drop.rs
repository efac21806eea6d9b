//! The drill through the real capture path, in a terminal: the paced microphone
//! plays the fixtures' made-up drill, whose truth is known by construction.

use std::os::unix::process::ExitStatusExt;
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use marklag::timeline::{Outcome, SoundKind};

use crate::heard::quantile;
use crate::rig::alone;
use crate::stage::{LEAD_S, Stage, cost, presses, wait_until};

const RATE_HZ: f64 = 48_000.0;

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_drill_by_microphone_marks_the_written_samples() {
    let _alone = alone();
    let stage = Stage::new();
    let mut terminal = stage.start("drop", &["--keep-sound"]);
    wait_until(stage.t0_ns, LEAD_S);
    let (cpu_from_s, _) = cost(terminal.child.id());
    wait_until(stage.t0_ns, LEAD_S + 25.5);
    let (cpu_s, memory_mb) = cost(terminal.child.id());
    terminal.press("e");
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    assert!(terminal.is_as_a_shell_expects());
    let seen = terminal.seen();
    let (_, after) = seen
        .rsplit_once("\x1b[?1049l")
        .expect("the full screen was left");
    assert!(
        after.contains("Heard 6 marks, 6 drops of a ball."),
        "{after}"
    );
    assert!(after.contains("Next: "), "{after}");

    let kept = stage.kept();
    let marks: Vec<f64> = kept
        .sounds()
        .filter(|s| s.kind != SoundKind::Impact)
        .map(|s| s.t_s * RATE_HZ)
        .collect();
    let presses = presses();
    assert_eq!(marks.len(), presses.len(), "{marks:?}");
    // The place of the program's first sample in the microphone's is unknown, but
    // the same for all marks.
    let offsets: Vec<f64> = marks
        .iter()
        .zip(&presses)
        .map(|(m, p)| *p as f64 - m)
        .collect();
    let offset = quantile(&offsets, 0.5);
    for (mark, press) in marks.iter().zip(&presses) {
        assert!((*press as f64 - mark - offset).abs() <= 3.0, "{offsets:?}");
    }
    assert_eq!(kept.pairs().filter(|p| p.lag_ms.is_some()).count(), 6);

    // From the air to the picture: the log tells when a picture showed a mark.
    let mut late_ms: Vec<f64> = Vec::new();
    for line in stage.log().lines().filter(|l| l.contains("shown: mark")) {
        let (shown_ms, rest) = line.split_once(' ').unwrap();
        let t_s: f64 = rest.split(' ').nth(3).unwrap().parse().unwrap();
        let air_s = (t_s * RATE_HZ + offset) / RATE_HZ + LEAD_S;
        let shown_ms: f64 = shown_ms.parse().unwrap();
        late_ms.push(shown_ms - (stage.t0_ns as f64 * 1e-6 + air_s * 1e3));
    }
    assert_eq!(late_ms.len(), 6, "{}", stage.log());
    let (middle, worst) = (quantile(&late_ms, 0.5), quantile(&late_ms, 1.0));
    let share = 100.0 * (cpu_s - cpu_from_s) / 25.5;
    eprintln!(
        "drop: from the sound to the picture {middle:.0} ms (worst of six {worst:.0} ms); \
         {share:.1} % of one core, {memory_mb:.0} MB"
    );
    assert!(middle < 400.0, "{late_ms:?}");

    // The kept sound, reviewed, gives the same lags to the last digit.
    let sound = stage
        .home
        .path()
        .join("sounds")
        .join(kept.bout.sound_file.as_ref().unwrap());
    let review = Command::new(env!("CARGO_BIN_EXE_marklag"))
        .args(["review", "--json"])
        .arg(&sound)
        .env("MARKLAG_HOME", stage.home.path())
        .output()
        .unwrap();
    let review: serde_json::Value = serde_json::from_slice(&review.stdout).unwrap();
    let reviewed: Vec<f64> = review["pairs"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|p| p["lag_ms"].as_f64())
        .collect();
    let live: Vec<f64> = kept.pairs().filter_map(|p| p.lag_ms).collect();
    assert_eq!(live, reviewed);
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_kill_loses_at_most_the_drop_in_hand() {
    let _alone = alone();
    let stage = Stage::new();
    let mut terminal = stage.start("drop", &["--keep-sound"]);
    // Three drops are over, the fourth has just begun.
    wait_until(stage.t0_ns, LEAD_S + 13.4);
    terminal.signal(libc::SIGKILL);
    assert_eq!(terminal.finish(5.0).signal(), Some(libc::SIGKILL));
    let kept = stage.kept();
    assert_eq!(kept.ended_at, None);
    let lags = kept.pairs().filter(|p| p.lag_ms.is_some()).count();
    assert_eq!(lags, 3, "{:?}", kept.events);
    let sound = stage
        .home
        .path()
        .join("sounds")
        .join(kept.bout.sound_file.as_ref().unwrap());
    let reader = hound::WavReader::open(&sound).unwrap();
    let heard_s = f64::from(reader.duration()) / RATE_HZ;
    let last_s = kept.pairs().filter_map(|p| p.mark_s).fold(0.0, f64::max);
    assert!(
        heard_s > last_s + 2.0,
        "{heard_s} s of sound, the last mark at {last_s} s"
    );
    let samples = reader.into_samples::<f32>().map(Result::unwrap);
    assert!(samples.fold(0.0f32, |peak, s| peak.max(s.abs())) > 0.1);
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn the_terminal_is_given_back_when_the_system_ends_it() {
    let _alone = alone();
    let stage = Stage::new();
    for signal in [libc::SIGTERM, libc::SIGHUP, libc::SIGINT] {
        let mut terminal = stage.start("drop", &[]);
        terminal.wait_for("Ball drop", 10.0);
        sleep(Duration::from_millis(500));
        assert!(!terminal.is_as_a_shell_expects(), "it is in raw mode");
        terminal.signal(signal);
        assert_eq!(terminal.finish(6.0).code(), Some(128 + signal));
        let seen = terminal.seen();
        assert!(
            seen.contains("\x1b[?1049l") && seen.contains("\x1b[?25h"),
            "{seen}"
        );
        assert!(terminal.is_as_a_shell_expects(), "signal {signal}");
        assert!(
            stage.kept().ended_at.is_some(),
            "the drill was ended in order"
        );
        assert!(stage.kept().pairs().all(|p| p.outcome == Outcome::Stray));
    }
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_window_dragged_all_the_time_harms_nothing() {
    let _alone = alone();
    let stage = Stage::new();
    let mut terminal = stage.start("drop", &[]);
    terminal.wait_for("Ball drop", 10.0);
    let sizes = [
        (80, 24),
        (0, 0),
        (40, 12),
        (1, 1),
        (300, 100),
        (39, 5),
        (7, 60),
    ];
    let mut turn = sizes.iter().cycle();
    while marklag::sound::monotonic::mono_ns() < stage.t0_ns + ((LEAD_S + 24.0) * 1e9) as i64 {
        let (columns, rows) = turn.next().unwrap();
        terminal.resize(*columns, *rows);
        sleep(Duration::from_millis(15));
    }
    terminal.resize(80, 24);
    terminal.press("e");
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    assert!(terminal.is_as_a_shell_expects());
    let kept = stage.kept();
    let lags = kept.pairs().filter(|p| p.lag_ms.is_some()).count();
    assert_eq!(lags, 6, "every drop has its lag");
    assert!(!stage.log().contains("panicked"), "{}", stage.log());
}
