//! A whole session with an animal through the real capture path, its keys typed
//! into a terminal.

use std::path::Path;
use std::thread::sleep;
use std::time::Duration;

use marklag::journal::BoutKind;

use crate::rig::alone;
use crate::stage::{LEAD_S, Stage, presses, wait_until};

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_session_keeps_its_marks_and_its_keys() {
    let _alone = alone();
    let stage = Stage::new();
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/plans/target.toml");
    let mut terminal = stage.start("train", &[plan.to_str().unwrap()]);
    terminal.wait_for("Juniper", 10.0);
    // Cue, answer and treat around each mark: 0.9 s and 0.2 s before, 1 s after it.
    let clicks: Vec<f64> = presses().iter().map(|p| *p as f64 / 48_000.0).collect();
    let mut keys: Vec<(f64, &str)> = Vec::new();
    for click_s in &clicks {
        keys.extend([
            (click_s - 0.9, "c"),
            (click_s - 0.2, " "),
            (click_s + 1.0, "t"),
        ]);
    }
    for (at_s, key) in keys {
        wait_until(stage.t0_ns, LEAD_S + at_s);
        terminal.press(key);
    }
    wait_until(stage.t0_ns, LEAD_S + 25.0);
    terminal.press("e");
    sleep(Duration::from_millis(300));
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    assert!(terminal.is_as_a_shell_expects());

    let kept = stage.kept();
    assert_eq!(kept.bout.kind, BoutKind::Session);
    let lags: Vec<f64> = kept.pairs().filter_map(|p| p.lag_ms).collect();
    eprintln!("session: lags of marks 200 ms after their keys: {lags:.1?}");
    assert_eq!(lags.len(), clicks.len());
    // A key that was never measured: what the terminal adds stays in the lag.
    for lag in &lags {
        assert!((150.0..=210.0).contains(lag), "{lags:?}");
    }
    let (_, after) = terminal.seen().rsplit_once("\x1b[?1049l").map_or_else(
        || panic!("the full screen was left"),
        |(a, b)| (a.to_owned(), b.to_owned()),
    );
    assert!(after.contains("asked 6, tries 6: reached 6"), "{after}");
}
