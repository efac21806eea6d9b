//! Opening what is there: newer, foreign, locked, read-only, in the way.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use marklag::journal::{
    APPLICATION_ID, Access, BoutEvent, BoutKind, Journal, JournalError, SCHEMA_VERSION,
};
use rusqlite::Connection;

use crate::{child, scene};

fn with_one_review(folder: &Path) -> PathBuf {
    let file = folder.join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    journal.keep_review(&scene::review()).unwrap();
    file
}

/// Every file of the folder with its bytes.
fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let entries = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let mut all: Vec<_> = entries
        .map(|path| (path.clone(), fs::read(path).unwrap()))
        .collect();
    all.sort();
    all
}

#[test]
fn a_new_journal_says_what_it_is() {
    let scratch = tempfile::tempdir().unwrap();
    let file = with_one_review(scratch.path());
    let other = Connection::open(&file).unwrap();
    let text = |name: &str| -> String {
        let read = other.pragma_query_value(None, name, |row| {
            row.get_ref(0)?
                .as_str()
                .map(str::to_owned)
                .map_err(Into::into)
        });
        read.unwrap()
    };
    assert_eq!(text("journal_mode"), "wal");
    let number = |name: &str| -> i64 {
        other
            .pragma_query_value(None, name, |row| row.get(0))
            .unwrap()
    };
    assert_eq!(number("application_id"), i64::from(APPLICATION_ID));
    assert_eq!(
        number("user_version"),
        i64::try_from(SCHEMA_VERSION).unwrap()
    );
}

#[cfg(unix)]
#[test]
fn other_users_cannot_read_any_of_its_files() {
    use std::os::unix::fs::PermissionsExt;
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    journal.keep_review(&scene::review()).unwrap();
    let mut names = Vec::new();
    for entry in fs::read_dir(scratch.path()).unwrap() {
        let entry = entry.unwrap();
        let mode = entry.metadata().unwrap().permissions().mode() & 0o777;
        assert_eq!(mode, 0o600, "{}", entry.path().display());
        names.push(entry.file_name().into_string().unwrap());
    }
    names.sort();
    assert_eq!(
        names,
        ["journal.sqlite", "journal.sqlite-shm", "journal.sqlite-wal"]
    );
}

#[test]
fn nothing_is_made_by_looking() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    assert!(Journal::open_existing(&file).unwrap().is_none());
    assert_eq!(contents(scratch.path()), []);
    let error = Journal::open(&scratch.path().join("no/where")).unwrap_err();
    assert!(matches!(error, JournalError::CannotOpen { .. }), "{error}");
    assert!(error.to_string().contains("no/where"), "{error}");
}

#[test]
fn a_newer_journal_is_read_and_not_touched() {
    let scratch = tempfile::tempdir().unwrap();
    let file = with_one_review(scratch.path());
    let newer = i64::try_from(SCHEMA_VERSION).unwrap() + 1;
    let other = Connection::open(&file).unwrap();
    other
        .execute_batch("ALTER TABLE bout ADD COLUMN weather TEXT; CREATE TABLE later (x);")
        .unwrap();
    other.pragma_update(None, "user_version", newer).unwrap();
    drop(other);
    let before = fs::read(&file).unwrap();
    for open in [Journal::open, |path: &Path| {
        Journal::open_existing(path).map(Option::unwrap)
    }] {
        let mut journal = open(&file).unwrap();
        let found = usize::try_from(newer).unwrap();
        assert_eq!(journal.access(), Access::Newer { found });
        assert!(journal.notice().unwrap().contains("newer marklag"));
        assert_eq!(journal.list(None).unwrap()[0].moments, 3);
        let id = journal.find("last").unwrap();
        assert_eq!(journal.read_bout(&id).unwrap().sounds().count(), 3);
        journal.export_json_lines(None, &mut Vec::new()).unwrap();
        let refusals = [
            journal.keep_review(&scene::review()).map(drop),
            journal.begin_bout(&scene::bout(BoutKind::Drill)).map(drop),
            journal
                .append_event(&id, &BoutEvent::Sound(scene::click(0.0)))
                .map(drop),
            journal.forget(&id).map(drop),
            journal.sweep(),
        ];
        for refusal in refusals {
            let error = refusal.unwrap_err();
            assert!(matches!(error, JournalError::Newer { .. }), "{error}");
            assert!(error.to_string().contains("update marklag"), "{error}");
        }
    }
    assert_eq!(fs::read(&file).unwrap(), before);
}

#[test]
fn a_newer_journal_with_a_log_beside_it_keeps_both_as_they_are() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("home");
    fs::create_dir(&folder).unwrap();
    let file = with_one_review(&folder);
    // A newer program, cut off: its version stands in the log alone.
    let other = Connection::open(&file).unwrap();
    other.pragma_update(None, "user_version", 99).unwrap();
    let copy = scratch.path().join("copy");
    fs::create_dir(&copy).unwrap();
    for name in ["journal.sqlite", "journal.sqlite-wal"] {
        fs::copy(folder.join(name), copy.join(name)).unwrap();
    }
    let file = copy.join("journal.sqlite");
    let log = copy.join("journal.sqlite-wal");
    let before = (fs::read(&file).unwrap(), fs::read(&log).unwrap());
    assert!(!before.1.is_empty());
    let journal = Journal::open(&file).unwrap();
    assert_eq!(journal.access(), Access::Newer { found: 99 });
    assert_eq!(journal.list(None).unwrap().len(), 1);
    drop(journal);
    assert_eq!((fs::read(&file).unwrap(), fs::read(&log).unwrap()), before);
}

#[test]
fn another_programs_database_is_left_alone() {
    for (claim, wal) in [(0, false), (0, true), (1_196_444_487, false), (-5, true)] {
        let scratch = tempfile::tempdir().unwrap();
        let file = scratch.path().join("journal.sqlite");
        let other = Connection::open(&file).unwrap();
        if wal {
            other
                .pragma_update_and_check(None, "journal_mode", "wal", |_| Ok(()))
                .unwrap();
        }
        other.pragma_update(None, "application_id", claim).unwrap();
        other.execute_batch("CREATE TABLE goats (name)").unwrap();
        drop(other);
        let before = contents(scratch.path());
        let error = Journal::open(&file).unwrap_err();
        assert!(matches!(error, JournalError::Foreign { .. }), "{error}");
        assert!(
            error.to_string().contains(file.to_str().unwrap()),
            "{error}"
        );
        assert_eq!(contents(scratch.path()), before);
    }
}

#[test]
fn what_is_no_database_is_left_alone() {
    let cut = {
        let scratch = tempfile::tempdir().unwrap();
        fs::read(with_one_review(scratch.path())).unwrap()[..50].to_vec()
    };
    for bytes in [
        b"Dear diary".to_vec(),
        vec![0u8; 8192],
        vec![0xff; 100],
        cut,
        b"S".to_vec(),
    ] {
        let scratch = tempfile::tempdir().unwrap();
        let file = scratch.path().join("journal.sqlite");
        fs::write(&file, &bytes).unwrap();
        let error = Journal::open(&file).unwrap_err();
        assert!(matches!(error, JournalError::NotAJournal { .. }), "{error}");
        assert_eq!(contents(scratch.path()), [(file, bytes)]);
    }
    let scratch = tempfile::tempdir().unwrap();
    let error = Journal::open(scratch.path()).unwrap_err().to_string();
    assert!(error.contains("it is a folder"), "{error}");
}

#[test]
fn an_empty_file_becomes_a_journal() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    fs::write(&file, b"").unwrap();
    let mut journal = Journal::open(&file).unwrap();
    journal.keep_review(&scene::review()).unwrap();
}

#[test]
fn a_locked_journal_says_so_and_can_still_be_read() {
    let scratch = tempfile::tempdir().unwrap();
    let file = with_one_review(scratch.path());
    let other = Connection::open(&file).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let patience = Duration::from_millis(50);
    let mut journal = Journal::open_patiently(&file, patience).unwrap();
    assert_eq!(journal.list(None).unwrap().len(), 1);
    let error = journal.keep_review(&scene::review()).unwrap_err();
    assert!(matches!(error, JournalError::Locked { .. }), "{error}");
    assert!(
        error.to_string().contains("in use by another program"),
        "{error}"
    );
    other.execute_batch("COMMIT").unwrap();
    journal.keep_review(&scene::review()).unwrap();
    drop(journal);
    other
        .pragma_update(None, "locking_mode", "exclusive")
        .unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let error = Journal::open_patiently(&file, patience).unwrap_err();
    assert!(matches!(error, JournalError::Locked { .. }), "{error}");
}

#[test]
fn several_programs_at_once_lose_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    // All begin with a file that is not there yet.
    let writers: Vec<_> = (0..4u32)
        .map(|_| {
            let file = file.clone();
            std::thread::spawn(move || {
                let mut journal = Journal::open(&file).unwrap();
                let id = journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
                for i in 0..50u32 {
                    let event = BoutEvent::Sound(scene::click(f64::from(i)));
                    journal.append_event(&id, &event).unwrap();
                }
                id
            })
        })
        .collect();
    let ids: Vec<_> = writers
        .into_iter()
        .map(|writer| writer.join().unwrap())
        .collect();
    let journal = Journal::open(&file).unwrap();
    for id in ids {
        let times: Vec<f64> = journal
            .read_bout(&id)
            .unwrap()
            .sounds()
            .map(|s| s.t_s)
            .collect();
        assert_eq!(times, (0..50).map(f64::from).collect::<Vec<_>>());
    }
    journal.check().unwrap();
}

/// As a user without rights: reads, is refused to write, and says what it saw.
#[test]
#[ignore = "a child process of the test below"]
fn reads_without_rights() {
    let Some(file) = child::file_for("opening::reads_without_rights") else {
        return;
    };
    match Journal::open(&file) {
        Ok(mut journal) => {
            assert_eq!(journal.access(), Access::ReadOnly);
            let rows = journal.list(None).unwrap().len();
            let error = journal.keep_review(&scene::review()).unwrap_err();
            assert!(matches!(error, JournalError::ReadOnly { .. }), "{error}");
            println!("\nsaw {rows}: {error}");
        }
        Err(error) => println!("\nsaw nothing: {error}"),
    }
}

#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_written_can_be_read() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("a folder? #1");
    fs::create_dir(&folder).unwrap();
    let file = with_one_review(&folder);
    let before = contents(&folder);
    let rights =
        |path: &Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    // Root may write anything; another user must look. Its program must lie
    // where that user can reach it.
    let program = scratch.path().join("program");
    fs::copy(std::env::current_exe().unwrap(), &program).unwrap();
    rights(&program, 0o755);
    rights(scratch.path(), 0o755);
    let is_root =
        fs::metadata("/proc/self").is_ok_and(|me| std::os::unix::fs::MetadataExt::uid(&me) == 0);
    let look = || {
        let inner = child::command("opening::reads_without_rights", &file);
        let mut command = std::process::Command::new(&program);
        command.args(inner.get_args());
        command.envs(
            inner
                .get_envs()
                .filter_map(|(name, value)| Some((name, value?))),
        );
        command.current_dir("/");
        if is_root {
            command.uid(65_534).gid(65_534);
        }
        let output = command.output().unwrap();
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(
            output.status.success(),
            "{text}{}",
            String::from_utf8_lossy(&output.stderr)
        );
        text
    };
    rights(&file, 0o444);
    rights(&folder, 0o555);
    let text = look();
    assert!(
        text.contains("saw 1: ") && text.contains("cannot be written"),
        "{text}"
    );
    rights(&file, 0o666);
    let text = look();
    assert!(
        text.contains("saw 1: ") && text.contains("cannot be written"),
        "{text}"
    );
    assert_eq!(contents(&folder), before);

    // With a log beside it that holds the last rows, reading must not leave
    // them out in silence.
    rights(&folder, 0o755);
    let other = Connection::open(&file).unwrap();
    other
        .execute_batch("UPDATE bout SET source = 'newer'")
        .unwrap();
    let log = fs::read(folder.join("journal.sqlite-wal")).unwrap();
    drop(other);
    fs::write(folder.join("journal.sqlite-wal"), log).unwrap();
    rights(&folder, 0o555);
    let text = look();
    assert!(
        text.contains("saw nothing: ") && text.contains("log beside it"),
        "{text}"
    );

    rights(&folder, 0o755);
    rights(&file, 0o000);
    let text = look();
    assert!(
        text.contains("saw nothing: ") && text.contains("cannot be opened"),
        "{text}"
    );
}
