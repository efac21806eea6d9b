//! Other users of the machine read nothing: whatever a command makes is its owner's
//! alone, with the umask that lets everybody read.
#![cfg(unix)]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use crate::run::{Place, Run, clicks, drill};

/// Every file and folder under `folder`, itself left out.
fn everything(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(everything(&path));
        }
        all.push(path);
    }
    all
}

#[test]
fn whatever_is_made_is_its_owners_alone() {
    let place = Place::new();
    // SAFETY: no pointers; the only effect is on the children's new files. 022 is what
    // most systems begin with, so no other test is surprised by it.
    unsafe { libc::umask(0o022) };
    let run = |words: &str, file: Option<PathBuf>| {
        let mut command = place.marklag(words.split_whitespace());
        command.args(file);
        command.run().well();
    };
    run("teach click tilda --from", Some(clicks()));
    run(
        "review --keep --csv pairs.csv --vtt marks.vtt --cues cues.wav",
        Some(drill()),
    );
    run(
        "drop --fast --plain --keep-sound --person Ada --from",
        Some(drill()),
    );
    run("journal export --out all.jsonl", None);
    run("journal export --csv tables", None);
    run("journal backup copy.sqlite", None);
    run("page me.html --svg pictures --person Ada", None);
    let made = everything(place.folder.path());
    for (part, least) in [(".sqlite", 2), (".wav", 2), (".json", 1), (".csv", 5)] {
        let found = made
            .iter()
            .filter(|p| p.to_string_lossy().ends_with(part))
            .count();
        assert!(found >= least, "{part}: {made:#?}");
    }
    for path in made {
        let mode = fs::metadata(&path).unwrap().permissions().mode() & 0o777;
        let wanted = if path.is_dir() { 0o700 } else { 0o600 };
        assert_eq!(mode, wanted, "{} is {mode:o}", path.display());
    }
}

#[test]
fn a_file_that_is_replaced_keeps_its_permissions() {
    let place = Place::taught();
    let shared = place.file("pairs.csv", "old");
    fs::set_permissions(&shared, fs::Permissions::from_mode(0o644)).unwrap();
    place.review(&drill(), &["--csv", "pairs.csv"]).well();
    assert_eq!(
        fs::metadata(&shared).unwrap().permissions().mode() & 0o777,
        0o644
    );
}
