//! An export read by someone else's readers: Python's sqlite3, json and csv.

use std::fs;
use std::process::Command;

use marklag::journal::{BoutEvent, BoutKind, Journal, Note, NoteKind, OtherEvent, SetAside, Table};

use crate::scene;

/// A journal with something in every table, and numbers and texts that are easy
/// to lose.
fn awkward(journal: &mut Journal) {
    let mut review = scene::review();
    review.sounds[0].t_s = 0.1 + 0.2;
    review.pairs[0].mark_s = Some(0.1 + 0.2);
    review.pairs[0].lag_ms = Some(f64::from_bits(1));
    review.pairs[1].lag_ms = Some(-1.797_693_134_862_315_7e308);
    review.moments[0].label = "line\nbreak, \"quotes\" and Ziegenkäse 🐐".into();
    journal.keep_review(&review).unwrap();
    let mut nameless = scene::bout(BoutKind::Session);
    nameless.person = None;
    nameless.profiles.clear();
    let id = journal.begin_bout(&nameless).unwrap();
    let events = [
        BoutEvent::Other(OtherEvent {
            t_s: Some(1.0 / 3.0),
            u_ms: Some(0.5),
            kind: "treat".into(),
            detail_json: Some("{\"a\" : 1.0}".into()),
        }),
        BoutEvent::Note(Note {
            t_s: None,
            kind: NoteKind::Note,
            text: String::new(),
        }),
        BoutEvent::SetAside(SetAside {
            target_seq: 1,
            is_aside: true,
            reason: "a pigeon".into(),
        }),
    ];
    journal.append_events(&id, &events).unwrap();
}

/// What belongs to sessions with an animal, in every table of it.
fn awkward_plans(journal: &mut Journal) {
    let mut setup = crate::sessions::setup();
    setup.plan.name = "target, \"first\" week".into();
    setup.plan.person = Some("Ada".into());
    setup.plan.length_min = 1.0 / 3.0;
    journal.keep_plan(&setup.plan).unwrap();
    crate::sessions::kept_session(journal, &setup, true);
    let who = marklag::measure::observer::Observer {
        n: 20,
        bias_ms: 0.1 + 0.2,
        spread_ms: 30.5,
    };
    let at = jiff::Timestamp::UNIX_EPOCH;
    journal.keep_observer("Ada", at, &who).unwrap();
}

#[test]
fn other_readers_find_the_same() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    awkward(&mut journal);
    awkward_plans(&mut journal);
    let lines = scratch.path().join("all.jsonl");
    journal
        .export_json_lines(None, &mut fs::File::create(&lines).unwrap())
        .unwrap();
    for table in Table::ALL {
        let path = scratch.path().join(format!("{}.csv", table.name()));
        let rows = journal
            .export_csv(table, None, &mut fs::File::create(path).unwrap())
            .unwrap();
        assert!(rows > 0, "{table:?}");
    }
    drop(journal);
    let script = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/reference/read_journal.py"
    );
    let run = Command::new("python3")
        .arg(script)
        .arg(scratch.path())
        .output();
    let Ok(output) = run else {
        eprintln!("\n*** NOT TESTED: the export against another reader. It needs python3. ***\n");
        return;
    };
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(text.contains("all equal"), "{text}");
}

#[test]
fn one_bout_alone_and_its_own_people() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    awkward(&mut journal);
    let session = journal.unended().unwrap().remove(0);
    let mut text = Vec::new();
    let rows = journal
        .export_json_lines(Some(&session), &mut text)
        .unwrap();
    let text = String::from_utf8(text).unwrap();
    let lines: Vec<serde_json::Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(lines.len() as u64, rows + 2);
    assert_eq!(lines[0]["format"], "marklag.journal/1");
    assert_eq!(lines[0]["schema"], marklag::journal::SCHEMA_VERSION);
    assert_eq!(lines.last().unwrap()["rows"], rows);
    let tables: Vec<&str> = lines[1..lines.len() - 1]
        .iter()
        .map(|line| line["table"].as_str().unwrap())
        .collect();
    assert_eq!(tables, ["bout", "event", "note", "set_aside"]);
    assert_eq!(lines[1]["id"], session.as_str());
}

#[test]
fn the_same_journal_is_exported_the_same() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    awkward(&mut journal);
    let export = |journal: &Journal| {
        let mut text = Vec::new();
        journal.export_json_lines(None, &mut text).unwrap();
        text
    };
    let first = export(&journal);
    journal.sweep().unwrap();
    assert_eq!(export(&journal), first);
}

#[test]
fn a_full_output_is_an_error() {
    struct Full;
    impl std::io::Write for Full {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::StorageFull.into())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    awkward(&mut journal);
    let error = journal.export_json_lines(None, &mut Full).unwrap_err();
    assert!(error.to_string().starts_with("writing failed"), "{error}");
    assert!(journal.export_csv(Table::Sound, None, &mut Full).is_err());
}
