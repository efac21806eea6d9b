//! What is forgotten is gone, down to its bytes.

use std::fs;
use std::path::Path;

use marklag::journal::{
    BoutEvent, BoutKind, Journal, JournalError, KeptReview, Note, NoteKind, ProfileSnapshot,
};

use crate::scene;

/// A review with `marker` in every text of it, long enough to fill pages.
fn marked(marker: &str) -> KeptReview {
    let mut review = scene::review();
    let bout = &mut review.bout;
    bout.person = Some(format!("{marker} person"));
    bout.source = Some(format!("{marker}.wav"));
    bout.settings_json = format!("{{\"{marker}\":1}}");
    bout.profiles = vec![ProfileSnapshot {
        name: marker.into(),
        json: format!("[\"{}\"]", format!("{marker} ").repeat(3000)),
    }];
    for i in 0..400u32 {
        let mut sound = scene::click(100.0 + f64::from(i));
        sound.name = format!("{marker} {i}");
        review.sounds.push(sound);
    }
    for moment in &mut review.moments {
        moment.label = marker.repeat(200);
    }
    review
}

/// How often the marker stands in the journal's file and the files beside it.
fn found(folder: &Path, marker: &str) -> usize {
    let mut count = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let bytes = fs::read(entry.unwrap().path()).unwrap();
        let windows = bytes.windows(marker.len());
        count += windows
            .filter(|window| *window == marker.as_bytes())
            .count();
    }
    count
}

#[test]
fn no_byte_of_it_is_left_and_all_else_stays() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    let stays = journal.keep_review(&marked("CloverStays")).unwrap();
    let mut goes = Vec::new();
    for _ in 0..3 {
        goes.push(journal.keep_review(&marked("JuniperGoes")).unwrap());
    }
    let before = journal.read_bout(&stays).unwrap();
    let marks = found(scratch.path(), "CloverStays");
    assert!(marks > 3000 && found(scratch.path(), "JuniperGoes") > 3000);

    for id in &goes {
        journal.forget(id).unwrap();
        assert!(matches!(
            journal.read_bout(id),
            Err(JournalError::NoSuchBout { .. })
        ));
    }
    journal.sweep().unwrap();
    assert_eq!(found(scratch.path(), "JuniperGoes"), 0);
    assert!(found(scratch.path(), "CloverStays") > 3000);
    assert_eq!(journal.read_bout(&stays).unwrap(), before);
    journal.check().unwrap();
    drop(journal);
    assert_eq!(found(scratch.path(), "JuniperGoes"), 0);
}

/// Rows of two bouts that come by turns lie on the same pages and are moved
/// about as the pages fill; a moved row may leave a copy behind.
#[test]
fn rows_that_lay_among_others_leave_no_copies() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    let begin =
        |journal: &mut Journal| journal.begin_bout(&scene::bout(BoutKind::Session)).unwrap();
    let ids: Vec<_> = (0..6).map(|_| begin(&mut journal)).collect();
    for i in 0..300usize {
        for (turn, id) in ids.iter().enumerate() {
            let marker = if turn % 2 == 0 {
                "CloverStays"
            } else {
                "JuniperGoes"
            };
            let note = Note {
                t_s: None,
                kind: NoteKind::Note,
                text: format!("{marker} {}", "x".repeat((i * 37 + turn * 11) % 300)),
            };
            journal.append_event(id, &BoutEvent::Note(note)).unwrap();
        }
    }
    for id in ids.iter().skip(1).step_by(2) {
        journal.forget(id).unwrap();
    }
    journal.sweep().unwrap();
    assert_eq!(found(scratch.path(), "JuniperGoes"), 0);
    assert_eq!(found(scratch.path(), "CloverStays"), 900);
    assert_eq!(journal.list(None).unwrap().len(), 3);
}

#[test]
fn people_and_profiles_stay_while_another_bout_needs_them() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let first = journal.keep_review(&scene::review()).unwrap();
    let second = journal.keep_review(&scene::review()).unwrap();
    let file = rusqlite::Connection::open(scratch.path().join("j")).unwrap();
    let rows = |table: &str| -> i64 {
        let sql = format!("SELECT count(*) FROM {table}");
        file.query_row(&sql, [], |row| row.get(0)).unwrap()
    };
    assert_eq!(
        (rows("person"), rows("profile"), rows("bout_profile")),
        (1, 1, 2)
    );
    journal.forget(&first).unwrap();
    assert_eq!(
        journal.read_bout(&second).unwrap().bout,
        scene::review().bout
    );
    journal.forget(&second).unwrap();
    for table in [
        "person",
        "profile",
        "bout_profile",
        "bout",
        "sound",
        "moment",
        "pair",
    ] {
        assert_eq!(rows(table), 0, "{table}");
    }
}

#[test]
fn kept_sound_goes_with_the_last_bout_that_has_it() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut review = scene::review();
    review.bout.sound_file = Some("barn.wav".into());
    let first = journal.keep_review(&review).unwrap();
    let second = journal.keep_review(&review).unwrap();
    assert_eq!(journal.forget(&first).unwrap(), None);
    assert_eq!(
        journal.forget(&second).unwrap().as_deref(),
        Some("barn.wav")
    );
}

#[test]
fn a_reader_in_the_way_of_sweeping_is_named() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("j");
    let patience = std::time::Duration::from_millis(50);
    let mut journal = Journal::open_patiently(&file, patience).unwrap();
    let id = journal.keep_review(&scene::review()).unwrap();
    let reader = rusqlite::Connection::open(&file).unwrap();
    reader
        .execute_batch("BEGIN; SELECT count(*) FROM bout;")
        .unwrap();
    journal.forget(&id).unwrap();
    let error = journal.sweep().unwrap_err();
    assert!(matches!(error, JournalError::NotSwept { .. }), "{error}");
    assert!(error.to_string().contains("--sweep"), "{error}");
    reader.execute_batch("COMMIT").unwrap();
    journal.sweep().unwrap();
}

#[test]
fn an_unknown_bout_cannot_be_forgotten_or_added_to() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let id = journal.keep_review(&scene::review()).unwrap();
    journal.forget(&id).unwrap();
    assert!(matches!(
        journal.forget(&id),
        Err(JournalError::NoSuchBout { .. })
    ));
    let event = BoutEvent::Sound(scene::click(1.0));
    let error = journal.append_event(&id, &event).unwrap_err();
    assert!(matches!(error, JournalError::NoSuchBout { .. }), "{error}");
}

/// A name stands in bouts, in plans, with how its owner presses a key, and in the
/// settings of other people's bouts.
#[test]
fn a_person_is_forgotten_wherever_the_journal_names_them() {
    const NAME: &str = "Quirina";
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    let mut own = scene::review();
    own.bout.person = Some(NAME.into());
    own.bout.sound_file = Some("own.wav".into());
    journal.keep_review(&own).unwrap();
    let mut others = scene::review();
    others.bout.settings_json = format!(r#"{{"settings":{{"person":"{NAME}","x":1}},"aim":2}}"#);
    let other = journal.keep_review(&others).unwrap();
    let mut setup = crate::sessions::setup();
    setup.plan.person = Some(NAME.into());
    journal.keep_plan(&setup.plan).unwrap();
    let session = crate::sessions::kept_session(&mut journal, &setup, true);
    let who = marklag::measure::observer::Observer {
        n: 20,
        bias_ms: 5.0,
        spread_ms: 9.0,
    };
    let at = "2025-03-30T07:00:00Z".parse().unwrap();
    journal.keep_observer(NAME, at, &who).unwrap();
    assert!(found(scratch.path(), NAME) > 0 && journal.knows_person(NAME).unwrap());

    assert_eq!(journal.forget_person(NAME).unwrap(), ["own.wav"]);
    journal.sweep().unwrap();
    assert!(!journal.knows_person(NAME).unwrap());
    assert_eq!(found(scratch.path(), NAME), 0);
    // What is not theirs stays.
    let settings = journal.read_bout(&other).unwrap().bout.settings_json;
    assert_eq!(settings, r#"{"settings":{"x":1},"aim":2}"#);
    assert_eq!(
        journal.read_session(&session).unwrap().setup.plan.person,
        None
    );
    let plan = journal.plan(&setup.plan.name).unwrap().unwrap();
    assert_eq!(plan.person, None);
    journal.check_all().unwrap();
}

/// All of a person goes, or nothing does: of what is half gone nobody could tell which
/// sounds were kept.
#[test]
fn forgetting_a_person_is_one_step() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("j");
    let mut journal = Journal::open(&path).unwrap();
    for name in ["a.wav", "b.wav"] {
        let mut review = scene::review();
        review.bout.sound_file = Some(name.into());
        journal.keep_review(&review).unwrap();
    }
    let other = rusqlite::Connection::open(&path).unwrap();
    other
        .execute_batch(
            "CREATE TRIGGER not_b BEFORE DELETE ON bout WHEN old.sound_file = 'b.wav'
             BEGIN SELECT RAISE(ABORT, 'no room'); END",
        )
        .unwrap();
    assert!(journal.forget_person("Ada").is_err());
    assert_eq!(journal.bouts_of("Ada").unwrap().len(), 2);
    other.execute_batch("DROP TRIGGER not_b").unwrap();
    let mut sounds = journal.forget_person("Ada").unwrap();
    sounds.sort();
    assert_eq!(sounds, ["a.wav", "b.wav"]);
    assert!(!journal.knows_person("Ada").unwrap());
}
