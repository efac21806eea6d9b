//! A whole session with an animal through the real capture path, its keys typed
//! into a terminal.

use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::thread::sleep;
use std::time::Duration;

use marklag::journal::BoutKind;
use marklag::session::SessionMeasures;
use marklag::timeline::MomentSource;
use marklag::timeline::session::{Entry, Happened};

use crate::rig::alone;
use crate::stage::{LEAD_S, Stage, floors_s, presses, wait_until};

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_session_keeps_its_marks_and_its_keys() {
    let _alone = alone();
    let stage = Stage::new();
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/plans/target.toml");
    let plan = plan.to_str().unwrap();
    let mut terminal = stage.start("train", &[plan, "--keep-sound"]);
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
    // From the list of what happened: the cue before the last treat is set aside
    // and taken back in.
    for key in ["l", "\x1b[B", "\x1b[B", "\x1b[B", "u"] {
        terminal.press(key);
        sleep(Duration::from_millis(650));
    }
    terminal.press("u");
    sleep(Duration::from_millis(200));
    terminal.press("l");
    wait_until(stage.t0_ns, LEAD_S + 27.5);
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

    // Nothing was lost by the undo, and the kept sound with the kept events gives
    // the measures that the live session had.
    let stored = stage.session();
    let undone = |e: &&Entry| matches!(e.event.what, Happened::Aside { .. });
    assert_eq!(stored.log.entries().iter().filter(undone).count(), 2);
    assert!(stored.log.entries().iter().all(|e| !e.is_aside));
    let sound = stage.home.path().join("sounds");
    let sound = sound.join(stored.bout.bout.sound_file.as_ref().unwrap());
    let again = stage.run(&[
        "review",
        sound.to_str().unwrap(),
        "--session",
        "--json",
        "--events",
        "last",
    ]);
    let again: SessionMeasures = serde_json::from_str(&again).unwrap();
    assert_eq!(Some(again), stored.measures);
}

/// Killed in the middle, a session has every key that was pressed; the next start
/// finds it and brings it to its end.
#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_killed_session_keeps_every_key_and_is_found() {
    let _alone = alone();
    let stage = Stage::new();
    let mut terminal = stage.start("train", &["--animal", "Clover"]);
    terminal.wait_for("practice", 10.0);
    wait_until(stage.t0_ns, 2.0);
    let keys = "c tc tc ntoc t";
    for key in keys.chars() {
        terminal.press(&key.to_string());
        sleep(Duration::from_millis(250));
    }
    terminal.signal(libc::SIGKILL);
    assert_eq!(terminal.finish(5.0).signal(), Some(libc::SIGKILL));
    let stored = stage.session();
    assert_eq!(stored.bout.ended_at, None);
    let hands = stored.log.entries().iter();
    let hands = hands.filter(|e| e.event.source == MomentSource::Hand);
    assert_eq!(hands.count(), keys.len());
    assert!(stage.run(&[]).contains("A session with Clover of"));

    let mut terminal = stage.start("train", &[]);
    terminal.wait_for("Bring it to its end now?", 10.0);
    terminal.press("yes\n");
    terminal.wait_for("practice", 10.0);
    terminal.press("e");
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    assert!(terminal.seen().contains("A session with Clover"));
    assert!(stage.journal().unended().unwrap().is_empty());
}

/// Someone who presses 120 ms after each floor is measured as such, and the
/// correction is in the sessions whose moments they key.
#[test]
#[ignore = "run by tests/live/run.sh"]
fn how_a_person_presses_is_measured_kept_and_taken_off() {
    const BIAS_S: f64 = 0.120;
    let _alone = alone();
    let stage = Stage::new();
    let mut terminal = stage.start("drop", &["--key-against-sound", "--person", "Ada"]);
    terminal.wait_for("Ball drop", 10.0);
    for floor_s in floors_s() {
        wait_until(stage.t0_ns, LEAD_S + floor_s + BIAS_S);
        terminal.press(" ");
    }
    wait_until(stage.t0_ns, LEAD_S + 25.5);
    terminal.press("e");
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    assert!(
        terminal.seen().contains("Kept for Ada"),
        "{}",
        terminal.seen()
    );
    let journal = stage.journal();
    let who = journal.observer("Ada").unwrap().unwrap();
    eprintln!(
        "presser: {:.1} ms, spread {:.1} ms, from {} presses 120 ms late",
        who.bias_ms, who.spread_ms, who.n
    );
    // A key that was never measured: what the terminal adds is the person's.
    assert_eq!(who.n, 6);
    assert!((115.0..=160.0).contains(&who.bias_ms), "{who:?}");
    assert!(who.spread_ms < 15.0, "{who:?}");
    assert_eq!(journal.observer("Ben").unwrap(), None);

    let drill = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/tilda-drill.wav");
    let drill = drill.to_str().unwrap();
    let moments: String = floors_s().iter().map(|s| format!("{s:.4}\n")).collect();
    let file = stage.home.path().join("moments.csv");
    std::fs::write(&file, format!("time\n{moments}")).unwrap();
    let file = file.to_str().unwrap();
    let looked = ["review", drill, "--session", "--json", "--moments", file];
    let of = |person: &str| -> SessionMeasures {
        let with = [&looked[..], &["--person", person]].concat();
        serde_json::from_str(&stage.run(&with)).unwrap()
    };
    let (ada, ben) = (of("Ada"), of("Ben"));
    assert_eq!(ben.corrected, None);
    assert_eq!(ada.lags, ben.lags, "the lags as measured are the same");
    let corrected = ada.corrected.unwrap();
    let raw_ms = ada.lags.unwrap().constant_error_ms.unwrap();
    assert!((corrected.mean_ms - raw_ms - who.bias_ms).abs() < 1e-9);
    assert!(corrected.mean_u_ms >= who.spread_ms / 6f64.sqrt());
}
