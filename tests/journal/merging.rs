//! Two journals become one, whatever the order, however often; an export comes
//! back without loss; copies are whole.

use std::io::Cursor;
use std::path::{Path, PathBuf};

use marklag::journal::{
    BoutEvent, BoutKind, ImportError, Journal, JournalError, KeptReview, Note, NoteKind,
    ProfileSnapshot,
};
use marklag::timeline::Plan;
use proptest::prelude::*;
use tempfile::TempDir;

use crate::scene;

/// A journal's contents as text, without the line about the file itself.
fn contents(path: &Path) -> String {
    let journal = Journal::open(path).unwrap();
    assert_eq!(journal.check_all().unwrap(), []);
    let mut text = Vec::new();
    journal.export_json_lines(None, &mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    text.split_once('\n').unwrap().1.to_owned()
}

fn kept(label: &str, person: &str) -> KeptReview {
    let mut review = scene::review();
    review.bout.person = Some(person.to_owned());
    review.moments[0].label = label.to_owned();
    review
}

/// A copy by the program's own way.
fn copied(from: &Path, to: &Path) {
    Journal::open(from).unwrap().backup(to).unwrap();
}

/// Three journals that share a beginning, then go their own ways: each step
/// keeps a review, or goes on with the bout that all three hold unended.
fn family(folder: &TempDir, steps: &[(usize, u8)]) -> Vec<PathBuf> {
    let place = |n: usize| folder.path().join(format!("{n}.sqlite"));
    let mut first = Journal::open(&place(0)).unwrap();
    first.keep_review(&kept("shared", "Ada")).unwrap();
    let open = first.begin_bout(&scene::bout(BoutKind::Session)).unwrap();
    drop(first);
    for n in 1..3 {
        copied(&place(0), &place(n));
    }
    for (which, what) in steps {
        let mut journal = Journal::open(&place(*which)).unwrap();
        match what % 4 {
            0 => {
                journal
                    .keep_review(&kept(&format!("step {what}"), "Ada"))
                    .unwrap();
            }
            1 => {
                journal.keep_review(&kept("other", "Bo")).unwrap();
            }
            2 => {
                // It may have ended already.
                let note = BoutEvent::Note(Note {
                    t_s: None,
                    kind: NoteKind::Note,
                    text: format!("{what}"),
                });
                let _ = journal.append_event(&open, &note);
            }
            _ => {
                let at = "2025-03-30T07:00:00Z".parse().unwrap();
                let _ = journal.end_bout(&open, at, Some(60.0));
            }
        }
    }
    (0..3).map(place).collect()
}

/// Copies of `all` merged into a copy of the first, in order.
fn merged(folder: &TempDir, name: &str, all: &[&PathBuf]) -> String {
    let into = folder.path().join(name);
    copied(all[0], &into);
    let mut journal = Journal::open(&into).unwrap();
    for other in &all[1..] {
        journal.merge(other).unwrap();
    }
    drop(journal);
    contents(&into)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn any_order_and_any_number_of_times(
        steps in prop::collection::vec((0..3usize, any::<u8>()), 0..10),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let all = family(&folder, &steps);
        let (a, b, c) = (&all[0], &all[1], &all[2]);
        let one = merged(&folder, "abc", &[a, b, c]);
        prop_assert_eq!(&merged(&folder, "cba", &[c, b, a]), &one);
        prop_assert_eq!(&merged(&folder, "bca", &[b, c, a, a, c, b]), &one);
        // In two steps: first two of them, then the third.
        let two = folder.path().join("ab");
        copied(a, &two);
        Journal::open(&two).unwrap().merge(b).unwrap();
        prop_assert_eq!(&merged(&folder, "c(ab)", &[c, &two]), &one);
    }
}

/// Keys mean something in one file only: after a merge every bout still has its own
/// taught sounds, and every session its own plan and animal.
#[test]
fn links_lead_to_the_same_things_in_the_other_file() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    let with_sounds = |names: &[&str]| {
        let mut review = kept("x", "Ada");
        let profile = |name: &&str| ProfileSnapshot {
            name: (*name).to_owned(),
            json: "{}".to_owned(),
        };
        review.bout.profiles = names.iter().map(profile).collect();
        review
    };
    let mut here = Journal::open(&place("here")).unwrap();
    here.keep_review(&with_sounds(&["own"])).unwrap();
    let own = Plan::parse(include_str!("../../fixtures/plans/pairing.toml")).unwrap();
    here.keep_plan(&own).unwrap();
    let mut there = Journal::open(&place("there")).unwrap();
    for names in [["zinc", "tin"].as_slice(), &["own", "brass"]] {
        there.keep_review(&with_sounds(names)).unwrap();
    }
    let mut setup = crate::sessions::setup();
    for name in ["first", "second", "third"] {
        setup.plan.name = name.to_owned();
        setup.plan.animal = format!("goat of {name}");
        there.keep_plan(&setup.plan).unwrap();
    }
    setup.plan.name = "second".to_owned();
    setup.plan.animal = "goat of second".to_owned();
    let session = crate::sessions::kept_session(&mut there, &setup, true);
    let sounds = |journal: &Journal| -> Vec<(String, Vec<String>)> {
        let rows = journal.list(None).unwrap();
        let of = |id| journal.read_bout(&id).unwrap().bout.profiles;
        let mut all: Vec<_> = rows
            .into_iter()
            .map(|row| {
                let names = of(row.id.clone()).into_iter().map(|p| p.name).collect();
                (row.id.to_string(), names)
            })
            .collect();
        all.sort();
        all
    };
    let mut lines = Vec::new();
    there.export_json_lines(None, &mut lines).unwrap();
    let mut want = [sounds(&here), sounds(&there)].concat();
    want.sort();
    drop(there);
    copied(&place("here"), &place("imported"));
    let mut imported = Journal::open(&place("imported")).unwrap();
    imported.import(Cursor::new(lines)).unwrap();
    here.merge(&place("there")).unwrap();
    for journal in [&here, &imported] {
        assert_eq!(sounds(journal), want);
        let session = journal.read_session(&session).unwrap();
        assert_eq!(session.plan.as_deref(), Some("second"));
        assert_eq!(session.animal.as_deref(), Some("goat of second"));
    }
    drop((here, imported));
    assert_eq!(contents(&place("here")), contents(&place("imported")));
}

#[test]
fn the_fuller_version_stays_and_a_contradiction_is_told() {
    let folder = tempfile::tempdir().unwrap();
    // Notes 2 in one copy; 6 and 10 in another: both went on by themselves.
    let all = family(&folder, &[(1, 2), (2, 6), (2, 10)]);
    let mut journal = Journal::open(&all[0]).unwrap();
    let first = journal.merge(&all[1]).unwrap();
    assert_eq!((first.replaced, first.conflicts.len()), (1, 0));
    let second = journal.merge(&all[2]).unwrap();
    assert_eq!(second.conflicts.len(), 1);
    let conflict = &second.conflicts[0];
    assert_eq!(
        (conflict.table.as_str(), conflict.theirs_stays),
        ("bout", true)
    );
    assert!(conflict.lost[0].contains("t\"2\""), "{conflict:?}");
    // Once more changes nothing and is told again: the other one still differs.
    let again = journal.merge(&all[2]).unwrap();
    assert_eq!(
        (again.added.len(), again.replaced, again.conflicts.len()),
        (0, 0, 0)
    );
}

#[test]
fn what_cannot_be_merged_is_named_and_nothing_changes() {
    let folder = tempfile::tempdir().unwrap();
    let all = family(&folder, &[(0, 0)]);
    let before = contents(&all[0]);
    let mut journal = Journal::open(&all[0]).unwrap();
    let error = journal.merge(&all[0]).unwrap_err();
    assert!(error.to_string().contains("this very journal"), "{error}");
    let missing = folder.path().join("none");
    assert!(matches!(
        journal.merge(&missing),
        Err(JournalError::CannotOpen { .. })
    ));
    let letter = folder.path().join("letter");
    std::fs::write(&letter, "hello").unwrap();
    assert!(matches!(
        journal.merge(&letter),
        Err(JournalError::NotAJournal { .. })
    ));
    let newer = rusqlite::Connection::open(&all[1]).unwrap();
    newer.pragma_update(None, "user_version", 99).unwrap();
    drop(newer);
    assert!(matches!(
        journal.merge(&all[1]),
        Err(JournalError::Newer { found: 99, .. })
    ));
    drop(journal);
    assert_eq!(contents(&all[0]), before);
}

fn exported(path: &Path) -> Vec<u8> {
    let mut text = Vec::new();
    let journal = Journal::open(path).unwrap();
    journal.export_json_lines(None, &mut text).unwrap();
    text
}

#[test]
fn an_export_comes_back_whole() {
    let folder = tempfile::tempdir().unwrap();
    let all = family(&folder, &[(0, 0), (0, 1), (0, 2), (0, 3), (0, 4)]);
    let mut review = kept("quotes \" and 🐐\nlines", "Cem");
    review.pairs[0].lag_ms = Some(f64::from_bits(1));
    review.pairs[1].lag_ms = Some(-1.797_693_134_862_315_7e308);
    Journal::open(&all[0])
        .unwrap()
        .keep_review(&review)
        .unwrap();
    let text = exported(&all[0]);
    let into = folder.path().join("empty");
    let mut journal = Journal::open(&into).unwrap();
    journal.import(Cursor::new(&text)).unwrap();
    let again = journal.import(Cursor::new(&text)).unwrap();
    assert!(
        again.added.is_empty() && again.conflicts.is_empty(),
        "{again:?}"
    );
    drop(journal);
    assert_eq!(contents(&into), contents(&all[0]));
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("import"))
        .collect();
    assert_eq!(left, [""; 0]);
}

#[test]
fn half_an_export_is_known_for_one() {
    let folder = tempfile::tempdir().unwrap();
    let all = family(&folder, &[(0, 0)]);
    let text = String::from_utf8(exported(&all[0])).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let into = folder.path().join("into");
    let mut journal = Journal::open(&into).unwrap();
    let mut take = |lines: &[&str]| journal.import(Cursor::new(lines.join("\n"))).unwrap_err();
    let n = lines.len();
    assert!(matches!(take(&lines[..n - 1]), ImportError::Half { .. }));
    assert!(matches!(take(&lines[1..]), ImportError::NotAnExport));
    assert!(matches!(take(&[]), ImportError::NotAnExport));
    assert!(matches!(
        take(&[lines[0], lines[n - 1]]),
        ImportError::Half { .. }
    ));
    assert!(matches!(
        take(&[lines[0], "{\"table\":"]),
        ImportError::Line { line: 2, .. }
    ));
    let orphan = lines
        .iter()
        .find(|l| l.contains("\"table\":\"pair\""))
        .unwrap();
    let error = take(&[lines[0], orphan]);
    assert!(
        error.to_string().contains("does not come before it"),
        "{error}"
    );
    let newer = lines[0].replace("\"schema\":", "\"schema\":9");
    assert!(matches!(take(&[&newer]), ImportError::Newer { .. }));
    drop(journal);
    assert!(contents(&into).starts_with("{\"end\":true,\"rows\":0}"));
}

#[test]
fn a_backup_is_the_same_and_nothing_is_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let all = family(&folder, &[(0, 0), (0, 2)]);
    let copy = folder.path().join("copy");
    copied(&all[0], &copy);
    assert_eq!(contents(&copy), contents(&all[0]));
    let before = std::fs::read(&copy).unwrap();
    assert!(Journal::open(&all[0]).unwrap().backup(&copy).is_err());
    assert_eq!(std::fs::read(&copy).unwrap(), before);
}

#[test]
fn the_check_finds_what_was_broken() {
    let breaks = [
        (
            "UPDATE pair SET moment_s = moment_s + 1 WHERE moment_s IS NOT NULL",
            "than its moment",
        ),
        (
            "UPDATE bout SET ended_at = '2020-01-01T00:00:00.000000000Z'",
            "before it began",
        ),
        ("UPDATE bout SET time_zone = 'Nowhere/None'", "time zone"),
        ("UPDATE profile SET profile_json = '{}'", "the sum"),
        ("UPDATE digest SET missed = missed + 1", "digest"),
        (
            "INSERT INTO note SELECT bout_key, 1, NULL, 'note', 'x' FROM bout",
            "same number",
        ),
    ];
    for (sql, word) in breaks {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("j");
        Journal::open(&path)
            .unwrap()
            .keep_review(&scene::review())
            .unwrap();
        let file = rusqlite::Connection::open(&path).unwrap();
        file.execute_batch(sql).unwrap();
        drop(file);
        let found = Journal::open(&path).unwrap().check_all().unwrap();
        assert!(
            found.iter().any(|f| f.what.contains(word)),
            "{sql}: {found:?}"
        );
    }
}
