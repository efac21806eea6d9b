//! Killed at any instant of a merge or an import, and done again: the journal is
//! what it would have been.

use std::io::{BufRead, BufReader, Cursor};
use std::path::{Path, PathBuf};
use std::time::Instant;

use marklag::journal::Journal;
use marklag::journal::school::School;
use sha2::{Digest, Sha256};

use crate::{child, scene};

const KILLS: u32 = 36;

fn other_of(file: &Path) -> PathBuf {
    file.with_file_name("other.sqlite")
}

fn lines_of(file: &Path) -> PathBuf {
    file.with_file_name("other.jsonl")
}

/// Takes the other journal in, as a journal and as an export, over and over.
#[test]
#[ignore = "a child process of the test below"]
fn merges_until_killed() {
    let Some(file) = child::file_for("merge_killed::merges_until_killed") else {
        return;
    };
    println!("\nbegun");
    loop {
        let mut journal = Journal::open(&file).unwrap();
        if file.to_string_lossy().contains("import") {
            let text = std::fs::read(lines_of(&file)).unwrap();
            journal.import(Cursor::new(text)).unwrap();
        } else {
            journal.merge(&other_of(&file)).unwrap();
        }
    }
}

/// The sum of all that is kept, without the line about the file itself.
fn sum(file: &Path) -> String {
    let journal = Journal::open(file).unwrap();
    assert_eq!(journal.check_all().unwrap(), []);
    let mut text = Vec::new();
    journal.export_json_lines(None, &mut text).unwrap();
    let first = text.iter().position(|b| *b == b'\n').unwrap();
    format!("{:x?}", Sha256::digest(&text[first..]))
}

#[test]
fn killed_and_done_again_is_as_if_never_killed() {
    let scratch = tempfile::tempdir().unwrap();
    let place = |name: &str| scratch.path().join(name);
    let mut own = Journal::open(&place("own")).unwrap();
    own.keep_review(&scene::review()).unwrap();
    own.backup(&place("other.sqlite")).unwrap();
    own.keep_review(&scene::review()).unwrap();
    let school = School {
        seed: 3,
        people: 2,
        days: 30,
        practice: 0.7,
        drills: 2,
        sessions: true,
    };
    let mut other = Journal::open(&place("other.sqlite")).unwrap();
    for person in 0..school.people {
        other.keep_school(&school, person).unwrap();
    }
    let mut lines = std::fs::File::create(place("other.jsonl")).unwrap();
    other.export_json_lines(None, &mut lines).unwrap();
    drop(other);
    own.backup(&place("whole")).unwrap();
    let began = Instant::now();
    Journal::open(&place("whole"))
        .unwrap()
        .merge(&place("other.sqlite"))
        .unwrap();
    let once = began.elapsed();
    let (before, whole) = (sum(&place("own")), sum(&place("whole")));
    assert_ne!(before, whole);
    let mut seen = [0; 2];
    for kill in 0..KILLS {
        let kind = if kill % 3 == 2 { "import" } else { "merge" };
        let file = place(&format!("{kind}{kill}"));
        own.backup(&file).unwrap();
        let mut child = child::command("merge_killed::merges_until_killed", &file)
            .spawn()
            .unwrap();
        // Spread over more than one merge.
        let part = f64::from(kill * 7919 % 1000) / 1000.0;
        let mut said = BufReader::new(child.stdout.take().unwrap()).lines();
        assert!(said.any(|line| line.unwrap() == "begun"));
        std::thread::sleep(once.mul_f64(4.0 * part));
        child.kill().unwrap();
        let output = child.wait_with_output().unwrap();
        let error = String::from_utf8_lossy(&output.stderr);
        assert!(!error.contains("panicked"), "{error}");
        // All of it or nothing.
        let now = sum(&file);
        assert!(now == before || now == whole, "{kind} {kill}");
        seen[usize::from(now == whole)] += 1;
        let mut journal = Journal::open(&file).unwrap();
        if kind == "import" {
            let text = std::fs::read(place("other.jsonl")).unwrap();
            journal.import(Cursor::new(text)).unwrap();
        } else {
            journal.merge(&place("other.sqlite")).unwrap();
        }
        drop(journal);
        assert_eq!(sum(&file), whole, "{kind} {kill}");
        // Nor does a cut-off import leave anything lying about.
        let left = std::fs::read_dir(scratch.path()).unwrap().filter(|e| {
            let name = e.as_ref().unwrap().file_name();
            let name = name.to_string_lossy();
            name.starts_with(&format!("{kind}{kill}.import"))
        });
        assert_eq!(left.count(), 0, "{kind} {kill}");
    }
    println!(
        "{KILLS} kills: {} before, {} after the merge",
        seen[0], seen[1]
    );
}
