//! The journal's commands where the disk is full, the folder may not be written, or
//! another program is in the way: said plainly, nothing lost, nothing half left.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::run::{Place, Ran, Run};

/// Something mounted on a folder, for as long as this lives.
struct Mount(PathBuf);

impl Mount {
    /// `None`, and said so, where mounting is not permitted.
    fn new(on: &Path, args: &[&str], what: &str) -> Option<Self> {
        fs::create_dir_all(on).unwrap();
        let mounted = Self::mount(on, args);
        if !mounted {
            eprintln!(
                "\n*** NOT TESTED: {what}. It needs the right to mount (root on Linux). ***\n"
            );
        }
        mounted.then(|| Self(on.to_owned()))
    }

    fn mount(on: &Path, args: &[&str]) -> bool {
        let mut command = Command::new("mount");
        command.args(args).arg(on).stderr(Stdio::null());
        command.status().is_ok_and(|status| status.success())
    }
}

impl Drop for Mount {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}

/// The program with a home folder anywhere.
fn at(place: &Place, home: &Path, args: &[&str]) -> Ran {
    let mut command = place.marklag(args.iter().copied());
    command.env("MARKLAG_HOME", home).run()
}

fn school(place: &Place, home: &Path, seed: &str, people: &str) {
    let home_text = home.to_str().unwrap();
    let args = [
        "demo",
        "school",
        home_text,
        "--school-seed",
        seed,
        "--people",
        people,
        "--days",
        "20",
    ];
    at(place, home, &args).well();
}

fn export(place: &Place, home: &Path) -> String {
    let text = at(place, home, &["journal", "export"]).well();
    assert!(text.ends_with("}\n"));
    text
}

/// Fills a disk but for `spare` bytes.
fn fill(disk: &Path, spare: u64) -> PathBuf {
    let filler = disk.join("filler");
    // It ends with an error: that is what it is for.
    let _ = fs::write(&filler, vec![1_u8; 64 << 20]);
    let file = fs::OpenOptions::new().write(true).open(&filler).unwrap();
    let size = file.metadata().unwrap().len();
    file.set_len(size.saturating_sub(spare)).unwrap();
    filler
}

#[test]
fn a_full_disk_is_named_and_nothing_is_lost() {
    let place = Place::new();
    let disk = place.path("disk");
    let args = ["-t", "tmpfs", "-o", "size=6m", "marklag-test"];
    let Some(_mount) = Mount::new(&disk, &args, "a full disk") else {
        return;
    };
    let home = disk.join("home");
    school(&place, &home, "1", "1");
    let other = place.path("other");
    school(&place, &other, "2", "6");
    let whole = place.path("all.jsonl");
    fs::write(&whole, export(&place, &other)).unwrap();
    let before = export(&place, &home);
    let progress = at(&place, &home, &["progress"]).well();
    // What is kept for speed is missing and cannot be kept anew.
    let journal = rusqlite::Connection::open(home.join("journal.sqlite")).unwrap();
    journal
        .execute_batch("DELETE FROM digest; PRAGMA wal_checkpoint(TRUNCATE)")
        .unwrap();
    drop(journal);
    for spare in [200_000, 0] {
        let filler = fill(&disk, spare);
        let there = |name: &str| disk.join(name).to_str().unwrap().to_owned();
        // SQLite's own log may stay where there was no room to empty it.
        let names = || {
            let all = fs::read_dir(&home).unwrap();
            let mut names: Vec<String> = all
                .map(|e| e.unwrap().file_name().into_string().unwrap())
                .filter(|name| !name.ends_with("-wal") && !name.ends_with("-shm"))
                .collect();
            names.sort();
            names
        };
        let at_first = names();
        let (copy, lines, page, tables) = (
            there("copy"),
            there("x.jsonl"),
            there("x.html"),
            there("tables"),
        );
        let mut all = vec![
            vec!["journal", "merge", other.to_str().unwrap()],
            vec!["journal", "import", whole.to_str().unwrap()],
            vec!["journal", "backup", &copy],
            vec!["journal", "export", "--out", &lines],
            vec!["journal", "export", "--csv", &tables],
        ];
        if spare == 0 {
            all.push(vec!["page", &page]);
        }
        for args in all {
            let ran = at(&place, &home, &args);
            assert_eq!(ran.code, Some(1), "{args:?}: {ran:#?}");
            let said = ran.err.to_lowercase();
            assert!(
                ["disk is full", "no space left", "disk"]
                    .iter()
                    .any(|w| said.contains(w)),
                "{args:?}: {ran:#?}"
            );
            assert!(!said.contains("panicked"), "{ran:#?}");
        }
        for half in [&copy, &lines, &page] {
            assert!(!Path::new(half).exists(), "{half}");
        }
        assert_eq!(at(&place, &home, &["progress"]).well(), progress);
        assert_eq!(export(&place, &home), before);
        assert_eq!(names(), at_first, "nothing half made is left");
        let _ = fs::remove_dir_all(&tables);
        fs::remove_file(filler).unwrap();
    }
    at(
        &place,
        &home,
        &["journal", "merge", other.to_str().unwrap()],
    )
    .well();
    assert!(
        at(&place, &home, &["journal", "check"])
            .well()
            .contains("whole")
    );
}

#[test]
fn a_folder_that_may_not_be_written_is_read_and_left_alone() {
    let place = Place::new();
    let real = place.path("real");
    school(&place, &real, "1", "1");
    let before = export(&place, &real);
    let told = at(&place, &real, &["progress"]).well();
    let seen = place.path("seen");
    fs::create_dir_all(&seen).unwrap();
    let real_text = real.to_str().unwrap().to_owned();
    let what = "a folder that may not be written";
    let Some(mount) = Mount::new(&seen, &["--bind", &real_text], what) else {
        return;
    };
    assert!(Mount::mount(&seen, &["-o", "remount,bind,ro"]));
    let other = place.path("other");
    school(&place, &other, "2", "1");
    let lines = place.path("all.jsonl");
    fs::write(&lines, export(&place, &other)).unwrap();

    let ran = at(&place, &seen, &["progress"]);
    assert!(ran.err.contains("cannot be written"), "{ran:#?}");
    assert_eq!(ran.well(), told);
    assert_eq!(export(&place, &seen), before);
    at(&place, &seen, &["page", "x.html"]).well();
    at(&place, &seen, &["journal", "backup", "copy.sqlite"]).well();
    at(&place, &seen, &["journal", "check"]).well();
    for args in [
        vec!["journal", "merge", other.to_str().unwrap()],
        vec!["journal", "import", lines.to_str().unwrap()],
        vec!["journal", "forget", "last", "--yes"],
        vec!["journal", "forget", "--person", "Tilda", "--yes"],
    ] {
        let ran = at(&place, &seen, &args);
        assert_eq!(ran.code, Some(1), "{args:?}: {ran:#?}");
        assert!(ran.err.contains("cannot be written"), "{args:?}: {ran:#?}");
    }
    let out = seen.join("x.jsonl");
    let ran = at(
        &place,
        &real,
        &["journal", "export", "--out", out.to_str().unwrap()],
    );
    assert_eq!(ran.code, Some(1), "{ran:#?}");
    // What may only be read can be taken in elsewhere.
    at(
        &place,
        &other,
        &["journal", "merge", seen.to_str().unwrap()],
    )
    .well();
    assert!(
        at(&place, &other, &["progress", "--everyone"])
            .well()
            .contains("Tilda")
    );
    drop(mount);
    assert_eq!(export(&place, &real), before);
}

#[test]
fn another_program_in_the_way_is_named() {
    let place = Place::new();
    let (home, other) = (place.home(), place.path("other"));
    school(&place, &home, "1", "1");
    school(&place, &other, "2", "1");
    let lines = place.path("all.jsonl");
    fs::write(&lines, export(&place, &other)).unwrap();
    let before = export(&place, &home);
    let told = at(&place, &home, &["progress"]).well();
    let writer = rusqlite::Connection::open(home.join("journal.sqlite")).unwrap();
    writer.execute_batch("BEGIN IMMEDIATE").unwrap();
    // Each waits its five seconds: all at once.
    std::thread::scope(|scope| {
        for args in [
            ["journal", "merge", other.to_str().unwrap()],
            ["journal", "import", lines.to_str().unwrap()],
        ] {
            let (place, home) = (&place, &home);
            scope.spawn(move || {
                at(place, home, &args).fails(1, &["in use by another program"]);
            });
        }
        // Reading goes on.
        assert_eq!(at(&place, &home, &["progress"]).well(), told);
        assert_eq!(export(&place, &home), before);
        at(&place, &home, &["journal", "backup", "copy.sqlite"]).well();
    });
    writer.execute_batch("ROLLBACK").unwrap();
    assert_eq!(export(&place, &home), before);
    at(
        &place,
        &home,
        &["journal", "merge", other.to_str().unwrap()],
    )
    .well();
}
