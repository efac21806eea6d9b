//! A disk that fills: a clear error, nothing lost, and on it goes when there is
//! room again.

use std::path::Path;
use std::process::{Command, Stdio};

use marklag::journal::{BoutEvent, BoutKind, Journal, JournalError};

use crate::{child, scene};

fn long_click(t_s: f64) -> BoutEvent {
    let mut sound = scene::click(t_s);
    sound.name = "n".repeat(2000);
    BoutEvent::Sound(sound)
}

/// Keeps until it is refused; says how many were kept and what the error was.
#[test]
#[ignore = "a child process of the tests below"]
fn keeps_until_full() {
    let Some(file) = child::file_for("full_disk::keeps_until_full") else {
        return;
    };
    let mut journal = Journal::open(&file).unwrap();
    let id = journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
    println!("\nbegun {id}");
    for i in 0..100_000u32 {
        if let Err(error) = journal.append_event(&id, &long_click(f64::from(i))) {
            // Reading still works, and so does asking again.
            let there = journal.read_bout(&id).unwrap().events.len();
            assert_eq!(there, i as usize);
            assert!(journal.append_event(&id, &long_click(0.5)).is_err());
            println!("\nkept {i}");
            println!("refused {error}");
            return;
        }
    }
    panic!("the disk never filled");
}

fn said<'a>(text: &'a str, word: &str) -> &'a str {
    let mut lines = text.lines();
    lines
        .find_map(|line| line.strip_prefix(word))
        .unwrap_or_else(|| panic!("{word}: {text}"))
}

fn check_and_go_on(file: &Path, output: &std::process::Output, words: &[&str]) {
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{text}\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let kept: usize = said(&text, "kept ").parse().unwrap();
    let error = said(&text, "refused ");
    for word in words {
        assert!(error.contains(word), "{error}");
    }
    assert!(error.contains(file.to_str().unwrap()), "{error}");
    assert!(kept > 10, "{kept}");
    let mut journal = Journal::open(file).unwrap();
    journal.check().unwrap();
    let id = journal.find(said(&text, "begun ")).unwrap();
    let stored = journal.read_bout(&id).unwrap();
    assert_eq!(stored.events.len(), kept);
    for (i, row) in (0..100_000u32).zip(&stored.events) {
        assert_eq!(row.event, long_click(f64::from(i)));
    }
    // There is room again.
    journal.append_event(&id, &long_click(1.0)).unwrap();
}

#[test]
fn a_full_disk_loses_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let disk = scratch.path().join("disk");
    std::fs::create_dir(&disk).unwrap();
    let mount = |options: &str| {
        let run = Command::new("mount")
            .args(["-t", "tmpfs", "-o", options, "marklag-test"])
            .arg(&disk)
            .stderr(Stdio::null())
            .status();
        run.is_ok_and(|status| status.success())
    };
    if !mount("size=1m") {
        eprintln!(
            "\n*** NOT TESTED: a full disk. It needs the right to mount a small one (root on Linux). ***\n"
        );
        return;
    }
    let file = disk.join("journal.sqlite");
    let result = std::panic::catch_unwind(|| {
        let output = child::command("full_disk::keeps_until_full", &file)
            .output()
            .unwrap();
        assert!(mount("remount,size=8m"));
        check_and_go_on(&file, &output, &["disk is full", "free some space"]);
        // Sweeping needs room as large as the journal. Without it: said, and
        // what was forgotten stays forgotten.
        let mut journal = Journal::open(&file).unwrap();
        let kept = journal.keep_review(&scene::review()).unwrap();
        let filler = disk.join("filler");
        let _ = std::fs::write(&filler, vec![1u8; 16 << 20]);
        let error = journal
            .forget(&kept)
            .map(|_| ())
            .and_then(|()| journal.sweep());
        let error = error.unwrap_err();
        assert!(
            matches!(
                error,
                JournalError::NotSwept { .. } | JournalError::Full { .. }
            ),
            "{error}"
        );
        std::fs::remove_file(&filler).unwrap();
        if matches!(error, JournalError::NotSwept { .. }) {
            assert!(journal.row(&kept).is_err());
        }
        journal.check().unwrap();
        journal.sweep().unwrap();
    });
    let unmounted = Command::new("umount").arg(&disk).status();
    if let Err(panic) = result {
        std::panic::resume_unwind(panic);
    }
    assert!(unmounted.unwrap().success());
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_grow_loses_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    let inner = child::command("full_disk::keeps_until_full", &file);
    // The shell sets the limit (in blocks of 512 bytes or of 1 KiB) and says
    // that going over it is an error, not the end of the process.
    let mut limited = Command::new("sh");
    limited
        .args(["-c", "trap '' XFSZ; ulimit -f 512; exec \"$0\" \"$@\""])
        .arg(inner.get_program())
        .args(inner.get_args())
        .envs(
            inner
                .get_envs()
                .filter_map(|(name, value)| Some((name, value?))),
        );
    let output = limited.output().unwrap();
    check_and_go_on(&file, &output, &["disk"]);
}
