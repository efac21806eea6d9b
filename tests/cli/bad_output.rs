//! Places that cannot be written, full disks, homes that are none.

use crate::run::{Place, Run, clicks, drill};

#[test]
fn places_that_cannot_be_written_are_told_before_the_listening() {
    let place = Place::taught();
    // A recording that would fail when listened to: the place is told first.
    let not_yet = place.file("letter.wav", "Dear Ada\n");
    for flag in ["--csv", "--vtt"] {
        for (to, parts) in [
            ("none/x", ["none/x", "make the folder"]),
            ("home", ["home", "is a folder"]),
            ("letter.wav/x", ["letter.wav/x", "check the path"]),
        ] {
            place.review(&not_yet, &[flag, to]).fails(1, &parts);
        }
    }
    for (to, parts) in [
        ("none/x.wav", ["none/x.wav", "make the folder"]),
        ("home", ["home", "is a folder"]),
    ] {
        place.review(&drill(), &["--cues", to]).fails(1, &parts);
    }
    place
        .review(&not_yet, &["--cues", "x.wav"])
        .fails(1, &["letter.wav", "WAV"]);
    assert_eq!(place.names(), ["home", "letter.wav"]);
}

#[test]
fn the_demo_writes_over_nothing() {
    let place = Place::new();
    place.file("drill.wav", "my only recording");
    for flag in ["--save", "--save-clicks"] {
        place
            .marklag(["demo", flag, "drill.wav"])
            .run()
            .fails(1, &["drill.wav", "new file"]);
        place
            .marklag(["demo", flag, "none/x.wav"])
            .run()
            .fails(1, &["none/x.wav"]);
    }
    let there = std::fs::read_to_string(place.path("drill.wav")).unwrap();
    assert_eq!(there, "my only recording");
}

#[cfg(target_os = "linux")]
mod linux {
    use std::os::unix::fs::FileTypeExt;
    use std::path::Path;

    use assert_cmd::Command;

    use super::*;

    #[test]
    fn a_full_device() {
        let place = Place::taught();
        for flag in ["--csv", "--vtt"] {
            place
                .review(&drill(), &[flag, "/dev/full"])
                .fails(1, &["/dev/full", "disk is full", "free some room"]);
        }
        let full = std::fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")
            .unwrap();
        let said = std::process::Command::new(assert_cmd::cargo::cargo_bin!("marklag"))
            .env("MARKLAG_HOME", place.home())
            .arg("review")
            .arg(drill())
            .stdout(full)
            .output()
            .unwrap();
        assert_eq!(said.status.code(), Some(1), "{said:?}");
    }

    /// A pipe, which nobody could mistake for a file of theirs, stays a pipe.
    #[test]
    fn cue_points_never_take_the_place_of_a_device() {
        let place = Place::taught();
        let pipe = place.path("pipe");
        let made = std::process::Command::new("mkfifo").arg(&pipe).status();
        assert!(made.unwrap().success());
        // Held open, so that opening it for writing does not wait.
        let _held = std::fs::OpenOptions::new()
            .read(true)
            .write(true)
            .open(&pipe)
            .unwrap();
        place
            .review(&drill(), &["--cues", "pipe"])
            .fails(1, &["pipe", "name of a file"]);
        let kind = std::fs::symlink_metadata(&pipe).unwrap().file_type();
        assert!(kind.is_fifo());
        assert_eq!(place.names(), ["home", "pipe"]);
    }

    #[test]
    fn a_link_stays_a_link() {
        let place = Place::taught();
        let file = place.file("real.csv", "old");
        std::os::unix::fs::symlink(&file, place.path("link.csv")).unwrap();
        place.review(&drill(), &["--csv", "link.csv"]).well();
        assert!(place.path("link.csv").is_symlink());
        assert!(
            std::fs::read_to_string(&file)
                .unwrap()
                .starts_with("moment_s")
        );
    }

    /// The program where no file may grow beyond some blocks of 512 bytes.
    fn narrow(place: &Place, blocks: u32, args: &str) -> Command {
        let program = assert_cmd::cargo::cargo_bin!("marklag");
        let mut command = Command::new("sh");
        command
            .env("MARKLAG_HOME", place.home())
            .current_dir(place.folder.path())
            .arg("-c")
            .arg(format!(
                "trap '' XFSZ; ulimit -f {blocks}; exec {} {args}",
                program.display()
            ));
        command
    }

    #[test]
    fn a_disk_without_room_leaves_nothing_half_written() {
        let place = Place::taught();
        let drill = drill();
        let old = place.file("old", "old");
        for (blocks, args, part) in [
            (0, "--csv old", "old"),
            (0, "--csv x.csv", "x.csv"),
            (0, "--vtt x.vtt", "x.vtt"),
            (100, "--cues x.wav", "x.wav"),
        ] {
            let args = format!("review {} {args}", drill.display());
            narrow(&place, blocks, &args).run().fails(1, &[part]);
            assert_eq!(place.names(), ["home", "old"], "{args}");
        }
        assert_eq!(std::fs::read_to_string(&old).unwrap(), "old");
        narrow(&place, 100, "demo --save x.wav")
            .run()
            .fails(1, &["x.wav"]);
        let teach = format!("teach click blue --from {}", clicks().display());
        narrow(&place, 1, &teach).run().fails(1, &["blue.json"]);
        let bridges = std::fs::read_dir(place.home().join("bridges")).unwrap();
        assert_eq!(bridges.count(), 1);
        assert_eq!(place.names(), ["home", "old"]);
    }

    #[test]
    fn a_journal_without_room_keeps_what_it_had() {
        let place = Place::taught();
        place.review(&drill(), &["--keep"]).well();
        let before = place.marklag(["journal", "list"]).run().well();
        let args = format!("review {} --keep --again", drill().display());
        let ran = narrow(&place, 2, &args).run();
        assert_eq!(ran.code, Some(1), "{ran:#?}");
        assert!(
            ran.err.contains("journal.sqlite") && !ran.err.contains("panicked"),
            "{ran:#?}"
        );
        assert!(!ran.err.contains("Kept in"), "{ran:#?}");
        assert_eq!(place.marklag(["journal", "list"]).run().well(), before);
    }

    #[test]
    fn homes_that_are_none() {
        let place = Place::new();
        let file = place.file("file", "");
        let mut homes = vec![
            (file.to_str().unwrap(), "file"),
            ("/proc/none", "/proc/none"),
        ];
        let closed = place.path("closed");
        std::fs::create_dir(&closed).unwrap();
        set_mode(&closed, 0o500);
        // The rights of a folder do not bind its system's owner.
        if std::fs::write(closed.join("x"), "").is_err() {
            homes.push((closed.to_str().unwrap(), "closed"));
        }
        for (home, part) in homes {
            let mut teach = place.marklag(["teach", "click", "blue", "--home", home, "--from"]);
            teach.arg(clicks()).run().fails(1, &[part, "--home FOLDER"]);
            let from = clicks();
            let args = [
                "--home",
                home,
                "--keep",
                "--bridge-from",
                from.to_str().unwrap(),
            ];
            place
                .review(&drill(), &args)
                .fails(1, &[part, "--home FOLDER"]);
        }
        set_mode(&closed, 0o700);
        let mut nowhere = crate::run::bare();
        nowhere
            .env_remove("HOME")
            .env_remove("XDG_DATA_HOME")
            .arg("bridges");
        nowhere.run().fails(1, &["HOME", "--home FOLDER"]);
    }

    /// As another user, where the tests run as the system's owner.
    #[test]
    fn another_users_home() {
        let place = Place::taught();
        let as_other = ["--reuid=65534", "--regid=65534", "--clear-groups"];
        let may = std::process::Command::new("setpriv")
            .args(as_other)
            .arg("true")
            .status();
        if !may.is_ok_and(|status| status.success()) {
            return;
        }
        set_mode(place.folder.path(), 0o755);
        // Copies, since the folder of the build may be closed to others.
        let program = place.path("marklag");
        std::fs::copy(assert_cmd::cargo::cargo_bin!("marklag"), &program).unwrap();
        place.file("clicks.wav", std::fs::read(clicks()).unwrap());
        for (args, parts) in [
            (
                "teach click blue --from clicks.wav",
                ["home", "--home FOLDER"],
            ),
            (
                "review clicks.wav --bridge-from clicks.wav --csv x.csv",
                ["home", "--home FOLDER"],
            ),
            ("review clicks.wav --keep", ["home", "--home FOLDER"]),
            (
                "review clicks.wav --home new --bridge-from clicks.wav --csv x.csv",
                ["x.csv", "not allowed"],
            ),
            ("demo --save x.wav", ["x.wav", "ermission"]),
        ] {
            let mut command = Command::new("setpriv");
            command
                .args(as_other)
                .arg(&program)
                .args(args.split(' '))
                .env("MARKLAG_HOME", place.home())
                .current_dir(place.folder.path());
            command.run().fails(1, &parts);
        }
        assert_eq!(place.names(), ["clicks.wav", "home", "marklag"]);
    }

    fn set_mode(path: &Path, mode: u32) {
        use std::os::unix::fs::PermissionsExt;
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    }
}
