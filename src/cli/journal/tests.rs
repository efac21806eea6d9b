use std::fs;

use clap::Parser;

use super::forget::remove_sound;
use super::*;
use crate::journal::{Bout, BoutId, BoutKind, KeptReview, ProfileSnapshot, Table};
use crate::timeline::{
    Moment, MomentId, MomentKind, MomentSource, Outcome, Pair, Sound, SoundId, SoundKind,
};

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    command: JournalCmd,
}

fn home_with_a_review() -> (tempfile::TempDir, Home, BoutId) {
    let scratch = tempfile::tempdir().unwrap();
    let home = Home::at(scratch.path().join("home"));
    home.create().unwrap();
    fs::write(home.sounds_folder().join("a.wav"), "sound").unwrap();
    let mut journal = Journal::open(&home.journal_file()).unwrap();
    let review = KeptReview {
        bout: Bout {
            kind: BoutKind::Review,
            // A quarter past midnight UTC is a quarter past one in Vienna.
            started_at: "2025-01-31T00:15:00Z".parse().unwrap(),
            time_zone: Some("Europe/Vienna".into()),
            person: Some("Ada\u{1b}[31m".into()),
            source: Some("barn.wav".into()),
            sound_file: Some("a.wav".into()),
            sample_rate_hz: Some(48_000),
            channels: Some(1),
            duration_s: Some(60.0),
            program_version: "0.1.0".into(),
            settings_json: "{}".into(),
            profiles: vec![ProfileSnapshot {
                name: "box".into(),
                json: "{}".into(),
            }],
        },
        sounds: vec![Sound {
            t_s: 0.958,
            kind: SoundKind::Click,
            name: "box".into(),
            confidence: 1.0,
            level_dbfs: -6.0,
        }],
        moments: vec![Moment {
            t_s: 1.0,
            kind: MomentKind::Floor,
            source: MomentSource::Sound,
            label: String::new(),
        }],
        pairs: vec![Pair {
            moment: Some(MomentId(0)),
            mark: Some(SoundId(0)),
            moment_s: Some(1.0),
            mark_s: Some(0.958),
            lag_ms: Some(-42.0),
            outcome: Outcome::OnTime,
            u_ms: Some(0.1),
        }],
    };
    let id = journal.keep_review(&review).unwrap();
    (scratch, home, id)
}

fn run(home: &Home, line: &str, answer: bool) -> Result<String> {
    let words = std::iter::once("journal").chain(line.split_whitespace());
    let command = Line::try_parse_from(words)?.command;
    let mut out = Vec::new();
    command.run_asking(home, &mut out, |_| Ok(answer))?;
    Ok(String::from_utf8(out).unwrap())
}

#[test]
fn list_and_show_speak_plainly() {
    let (_scratch, home, id) = home_with_a_review();
    let list = run(&home, "list", false).unwrap();
    let line = list.lines().nth(1).unwrap();
    for word in [
        id.short(),
        "2025-01-31 01:15",
        "review",
        "42 ms early",
        "barn.wav",
    ] {
        assert!(line.contains(word), "{word}: {line}");
    }
    let show = run(&home, "show", false).unwrap();
    assert!(
        show.contains("1: 1 on time, 0 early, 0 late, 0 missed"),
        "{show}"
    );
    assert!(show.contains("1.000 s  on time  42 ms early"), "{show}");
    for text in [list, show] {
        assert!(!text.contains('\u{1b}'), "{text:?}");
    }
}

#[test]
fn an_empty_home_is_no_error_and_stays_empty() {
    let scratch = tempfile::tempdir().unwrap();
    let home = Home::at(scratch.path().join("none"));
    for line in ["list", "show", "export", "forget last"] {
        let text = run(&home, line, true).unwrap();
        assert!(text.starts_with("Nothing has been kept yet"), "{text}");
    }
    assert!(!home.folder().exists());
}

#[test]
fn forgetting_asks_and_takes_the_sound_too() {
    let (_scratch, home, id) = home_with_a_review();
    let line = format!("forget {}", id.short());
    let text = run(&home, &line, false).unwrap();
    assert!(text.ends_with("Nothing was forgotten.\n"), "{text}");
    assert!(home.sounds_folder().join("a.wav").exists());
    let text = run(&home, &line, true).unwrap();
    assert!(text.ends_with("Forgotten.\n"), "{text}");
    assert!(!home.sounds_folder().join("a.wav").exists());
    assert!(run(&home, &line, true).is_err());
    assert_eq!(
        run(&home, "list", false).unwrap(),
        "Nothing has been kept yet.\n"
    );
}

#[test]
fn a_sound_outside_the_home_is_not_removed() {
    let (scratch, home, _) = home_with_a_review();
    for name in ["../settings.toml", "..", "/etc/hostname", "a/b", ""] {
        assert!(remove_sound(&home, name).is_err(), "{name:?}");
    }
    assert!(scratch.path().exists());
}

#[test]
fn an_export_never_writes_over_a_file() {
    let (scratch, home, _) = home_with_a_review();
    let journal = home.journal_file();
    let before = fs::read(&journal).unwrap();
    let line = format!("export --out {}", journal.display());
    let error = format!("{:#}", run(&home, &line, false).unwrap_err());
    assert!(error.contains("give the name of a new file"), "{error}");
    assert_eq!(fs::read(&journal).unwrap(), before);

    let file = scratch.path().join("all.jsonl");
    let line = format!("export last --out {}", file.display());
    run(&home, &line, false).unwrap();
    let piped = run(&home, "export --out -", false).unwrap();
    assert_eq!(fs::read_to_string(file).unwrap(), piped);

    let folder = scratch.path().join("tables");
    let line = format!("export --csv {}", folder.display());
    run(&home, &line, false).unwrap();
    let pairs = fs::read_to_string(folder.join("pair.csv")).unwrap();
    assert!(
        pairs.lines().nth(1).unwrap().contains("on_time,floor,"),
        "{pairs}"
    );
    assert_eq!(fs::read_dir(folder).unwrap().count(), Table::ALL.len());
}
