//! Command lines that cannot be understood: exit code 2, before any work.

use crate::run::{Place, Run, drill};

#[test]
fn values_that_are_none() {
    let place = Place::new();
    for (flag, value, part) in [
        ("--aim", "5", "-50..50"),
        ("--aim", "50..-50", "larger"),
        ("--aim", "NaN..3", "-50..50"),
        ("--window", "x", "500,1500"),
        ("--window", "-3,4", "-3"),
        ("--window", "1,NaN", "after"),
        ("--height", "-1", "0.05 to 10"),
        ("--height", "tall", "metres"),
        ("--channel", "0", "0"),
        ("--channel", "left", "left"),
        ("--mark", "ceiling", "release"),
    ] {
        place
            .review(&drill(), &[flag, value])
            .fails(2, &[flag, part]);
    }
    assert_eq!(place.names(), [""; 0]);
}

#[test]
fn combinations_that_make_no_sense() {
    let place = Place::taught();
    let drill = drill();
    let copy = place.file("copy.wav", std::fs::read(&drill).unwrap());
    place.file("m.csv", "time\n1\n");
    for (args, part) in [
        (
            &["copy.wav", "--vtt", "x.vtt"][..],
            "--vtt belongs to one recording",
        ),
        (
            &["copy.wav", "--cues", "x.wav"],
            "--cues belongs to one recording",
        ),
        (
            &["copy.wav", "--moments", "m.csv"],
            "--moments belongs to one recording",
        ),
        (&["--cues", "-"], "--cues writes a WAV file"),
        (&["--json", "--csv", "-"], "only one of"),
        (&["--csv", "-", "--vtt", "-"], "only one of"),
        (&["--csv", "x", "--vtt", "x"], "x would be written over"),
        (
            &["--csv", "x.wav", "--cues", "./x.wav"],
            "./x.wav would be written over",
        ),
        (&["copy.wav", "./copy.wav"], "./copy.wav is named twice"),
        (
            &["--bridge", "tilda", "--bridge-from", "copy.wav"],
            "--bridge-from",
        ),
        (&["--moments", "m.csv", "--mark", "top"], "--mark"),
        (
            &["--moments", "m.csv", "--csv", "m.csv"],
            "m.csv would be written over",
        ),
    ] {
        place.review(&drill, args).fails(2, &[part]);
    }
    for args in [
        &["review", "-", "--moments", "-"][..],
        &["review", "-", "-"],
        &["review", "-", "--bridge-from", "-"],
        &["review", "-", "--cues", "x.wav"],
    ] {
        place.marklag(args).run().fails(2, &["standard input (-)"]);
    }
    // No result takes the place of the recording.
    for flag in ["--csv", "--vtt", "--cues"] {
        place
            .review(&copy, &[flag, "./copy.wav"])
            .fails(2, &["./copy.wav would be written over"]);
    }
    assert!(std::fs::read(&copy).unwrap() == std::fs::read(&drill).unwrap());
    assert_eq!(place.names(), ["copy.wav", "home", "m.csv"]);
}

#[test]
fn nothing_to_review_and_no_such_command() {
    let place = Place::new();
    place.marklag(["review"]).run().fails(2, &["<FILE>"]);
    place
        .marklag(["revue"])
        .run()
        .fails(2, &["revue", "review"]);
    place
        .marklag(["teach", "click"])
        .run()
        .fails(2, &["<NAME>"]);
    place
        .marklag(["teach", "click", "tilda", "--from", "a.wav"])
        .args(["--microphone", "desk"])
        .run()
        .fails(2, &["--from", "--microphone"]);
    place
        .marklag(["demo", "--drops", "0"])
        .run()
        .fails(2, &["--drops"]);
}

#[test]
fn slips_are_told_what_was_likely_meant() {
    let place = Place::new();
    for (line, parts) in [
        (&["teach", "blue"][..], &["marklag teach click blue"][..]),
        (
            &["teach", "click", "my", "clicker"],
            &["in quotes", "marklag teach click \"my clicker\""],
        ),
        (&["1"], &["marklag teach click NAME"]),
        (&["tain"], &["'train'"]),
        (
            &["progress", "--lines", "abc"],
            &["--lines", "whole number"],
        ),
        (&["progress", "--from", "may"], &["--from", "2025-03-01"]),
    ] {
        let ran = place.marklag(line).run();
        for part in ["'man'", "invalid digit", "failed to parse"] {
            assert!(!ran.err.contains(part), "{ran:#?}");
        }
        ran.fails(2, parts);
    }
}

#[test]
fn files_that_are_not_what_was_meant_are_told_first() {
    let place = Place::new();
    place.file("my drill.wav", std::fs::read(drill()).unwrap());
    place.file("events.csv", "time,event,detail\n2,reached,\n");
    // With nothing taught: the file comes first.
    place
        .marklag(["review", "nothere.wav"])
        .run()
        .fails(1, &["nothere.wav"]);
    let ran = place.marklag(["review", "my", "drill.wav"]).run();
    ran.fails(2, &["in quotes", "marklag review \"my drill.wav\""]);
    place
        .marklag(["compare", "nothere.csv", "events.csv"])
        .run()
        .fails(1, &["there is no file \"nothere.csv\""]);
    let place = Place::taught();
    place.file("events.csv", "time,event,detail\n2,reached,\n");
    place
        .review(&drill(), &["--moments", "events.csv"])
        .fails(2, &["--session --events events.csv"]);
}
