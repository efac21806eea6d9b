//! Spoken marks through the real capture path, in a terminal: the made-up voice of
//! the made-up farm, whose every word was put at a known sample.

use std::process::Command;

use marklag::sound::room::farm;
use marklag::timeline::SoundKind;

use crate::heard::quantile;
use crate::rig::alone;
use crate::stage::{LEAD_S, Stage, cost, wait_until};

const RATE_HZ: f64 = farm::RATE_HZ as f64;

#[test]
#[ignore = "run by tests/live/run.sh"]
fn words_of_a_drill_are_stamped_where_they_were_said() {
    let _alone = alone();
    let drill = farm::word_drill(7, 4);
    let stage = Stage::playing(&drill);
    stage.teach_word("good", &farm::ten_words(7));
    let mut terminal = stage.start("drop", &["--keep-sound"]);
    wait_until(stage.t0_ns, LEAD_S);
    let (cpu_from_s, _) = cost(terminal.child.id());
    wait_until(stage.t0_ns, LEAD_S + 33.5);
    let (cpu_s, memory_mb) = cost(terminal.child.id());
    let share = 100.0 * (cpu_s - cpu_from_s) / 33.5;
    terminal.press("e");
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    let seen = terminal.seen();
    assert!(seen.contains("within praise or talk, no mark"), "{seen}");
    let (_, after) = seen
        .rsplit_once("\x1b[?1049l")
        .expect("the full screen was left");
    assert!(after.contains("By sound: good 4, tilda 4."), "{after}");

    let kept = stage.kept();
    let of = |kind: SoundKind| -> Vec<f64> {
        let mut at: Vec<f64> = kept
            .sounds()
            .filter(|s| s.kind == kind)
            .map(|s| s.t_s * RATE_HZ)
            .collect();
        at.sort_by(f64::total_cmp);
        at
    };
    // The place of the program's first sample in the microphone's is unknown, but
    // the clicks tell it to the sample.
    let (clicks, words) = (of(SoundKind::Click), of(SoundKind::Word));
    assert_eq!((clicks.len(), words.len()), (4, 4), "{clicks:?} {words:?}");
    let offsets: Vec<f64> = clicks
        .iter()
        .zip(&drill.clicks)
        .map(|(heard, click)| click.press as f64 - heard)
        .collect();
    let offset = quantile(&offsets, 0.5);
    let off_ms: Vec<f64> = words
        .iter()
        .zip(&drill.words)
        .map(|(heard, word)| 1e3 * (heard + offset - *word as f64) / RATE_HZ)
        .collect();
    eprintln!(
        "words: onsets off by {off_ms:.1?} ms; {share:.1} % of one core with one click and \
         one word, {memory_mb:.0} MB"
    );
    // The aim for the onset of a word (docs/accuracy.md).
    assert!(off_ms.iter().all(|ms| ms.abs() <= 15.0), "{off_ms:?}");
    assert_eq!(kept.pairs().filter(|p| p.lag_ms.is_some()).count(), 4);

    // The kept sound, reviewed, gives the same lags to the last digit.
    let name = kept.bout.sound_file.as_ref().unwrap();
    let review = Command::new(env!("CARGO_BIN_EXE_marklag"))
        .args(["review", "--json"])
        .arg(stage.home.path().join("sounds").join(name))
        .env("MARKLAG_HOME", stage.home.path())
        .output()
        .unwrap();
    let review: serde_json::Value = serde_json::from_slice(&review.stdout).unwrap();
    let pairs = review["pairs"].as_array().unwrap().iter();
    let reviewed: Vec<f64> = pairs.filter_map(|p| p["lag_ms"].as_f64()).collect();
    let live: Vec<f64> = kept.pairs().filter_map(|p| p.lag_ms).collect();
    assert_eq!(live, reviewed);
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_word_is_taught_by_microphone() {
    let _alone = alone();
    let stage = Stage::playing(&farm::ten_words(7));
    let mut terminal = stage.start("teach", &["word", "good"]);
    terminal.wait_for("Teaching", 10.0);
    assert!(
        terminal.finish(LEAD_S + 25.0).success(),
        "{}",
        terminal.seen()
    );
    assert!(terminal.is_as_a_shell_expects());
    let seen = terminal.seen();
    let (during, after) = seen
        .rsplit_once("\x1b[?1049l")
        .expect("the full screen was left");
    assert!(during.contains("dB over the room"), "{during}");
    assert!(
        after.contains("\"good\" is taught from 10 takes."),
        "{after}"
    );
    assert!(after.contains("The takes agree to"), "{after}");
    assert!(stage.home.path().join("bridges/good.json").exists());
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_word_lesson_ended_by_a_key_is_taught_from_what_there_was() {
    let _alone = alone();
    let stage = Stage::playing(&farm::ten_words(7));
    let mut terminal = stage.start("teach", &["word", "good"]);
    // Eight takes are over. The hiss before the scene is quieter than its room; until
    // that is less than a fifth of the lesson the room itself stands out.
    wait_until(stage.t0_ns, LEAD_S + 12.6);
    terminal.press("e");
    assert!(terminal.finish(5.0).success(), "{}", terminal.seen());
    let seen = terminal.seen();
    assert!(seen.contains("\"good\" is taught from 8 takes."), "{seen}");
}
