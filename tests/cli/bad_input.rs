//! Input that cannot be measured, or only in part.

use crate::run::{Place, Ran, Run, clicks, drill, write_floats, write_ints};

fn well_but(ran: Ran, note: &str) -> String {
    assert!(ran.err.contains(note), "no {note:?} in {ran:#?}");
    assert!(!ran.err.contains("panicked"), "{ran:#?}");
    ran.well()
}

#[test]
fn no_file_a_folder_nothing_and_text() {
    let place = Place::taught();
    place.file("empty.wav", "");
    place.file("letter.wav", "Dear Ada, the goats are well.\n");
    std::fs::create_dir(place.path("barn")).unwrap();
    for (name, parts) in [
        ("none.wav", ["none.wav", "no such file", "Check the name"]),
        ("barn", ["barn", "is a folder", "Name a recording"]),
        ("empty.wav", ["empty.wav", "0 bytes", "again"]),
        ("letter.wav", ["letter.wav", "it is text", "WAV, FLAC"]),
    ] {
        let path = place.path(name);
        place.review(&path, &[]).fails(1, &parts);
        // Told also before the others are listened to, and when teaching.
        place
            .review(&drill(), &[path.to_str().unwrap()])
            .fails(1, &parts);
        let mut teach = place.marklag(["teach", "click", "blue", "--from", name]);
        teach.run().fails(1, &parts);
        let said = place.review(&drill(), &["--bridge-from", path.to_str().unwrap()]);
        said.fails(1, &parts);
    }
    let mut nothing = place.marklag(["review", "-"]);
    nothing
        .write_stdin("")
        .run()
        .fails(1, &["standard input", "0 bytes"]);
    assert!(!place.home().join("bridges/blue.json").exists());
}

#[test]
fn odd_but_whole_recordings_are_heard() {
    let place = Place::taught();
    let path = place.path("odd.wav");
    let tone = |k: usize| 0.1 * (k as f32 * 0.05).sin();
    write_floats(
        &path,
        48_000,
        10,
        &(0..48_000).map(tone).collect::<Vec<_>>(),
    );
    let said = place.review(&path, &["--json"]).well();
    assert!(said.contains("\"channels\": 10"), "{said}");
    write_ints(&path, 48_000, 16, &[0.5]);
    let said = place.review(&path, &[]).well();
    assert!(said.contains("no marks, no drops"), "{said}");
    write_ints(&path, 8_000, 8, &(0..8_000).map(tone).collect::<Vec<_>>());
    let said = place.review(&path, &[]).well();
    assert!(said.contains("1.0 s"), "{said}");
    write_ints(
        &path,
        192_000,
        24,
        &(0..192_000).map(tone).collect::<Vec<_>>(),
    );
    let said = place.review(&path, &[]).well();
    assert!(said.contains("1.0 s"), "{said}");
    write_ints(&path, 7_999, 16, &[0.0; 100]);
    place
        .review(&path, &[])
        .fails(1, &["7999 Hz", "8000 to 192000"]);
    for few in ["--json", "--csv=-", "--vtt=-"] {
        write_ints(&path, 48_000, 16, &[0.5]);
        let said = place.review(&path, &[few]).well();
        assert!(!said.contains("NaN") && !said.contains("inf"), "{said}");
    }
    let mut teach = place.marklag(["teach", "click", "blue", "--from", "odd.wav"]);
    teach
        .run()
        .fails(1, &["odd.wav", "record about ten clicks"]);
}

/// Samples that are no numbers become silence, are told, and spoil nothing else.
#[test]
fn what_is_no_number_is_told_and_passed_over() {
    let place = Place::taught();
    let mut reader = hound::WavReader::open(drill()).unwrap();
    let mut samples: Vec<f32> = reader
        .samples::<i16>()
        .map(|s| f32::from(s.unwrap()) / 32_768.0)
        .collect();
    for (k, bad) in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY]
        .into_iter()
        .enumerate()
    {
        samples[40_000 + k] = bad;
    }
    let path = place.path("bad.wav");
    write_floats(&path, 48_000, 1, &samples);
    let said = well_but(place.review(&path, &[]), "3 samples");
    assert!(said.contains("Heard 6 marks, 6 drops"), "{said}");
    write_floats(&path, 48_000, 1, &[f32::NAN; 4_800]);
    let said = well_but(place.review(&path, &["--json"]), "4800 samples");
    assert!(!said.contains("NaN"), "{said}");
}

#[test]
fn moments_that_cannot_be_used() {
    let place = Place::taught();
    for (text, parts) in [
        ("", ["m.csv", "is empty", "time,kind,label"]),
        ("time\n", ["m.csv", "no moments", "add a line"]),
        ("when\n1\n", ["line 1", "no column of times", "\"time\""]),
        ("time\n-3\n", ["line 2", "\"-3\"", "negative"]),
        ("time\nsoon\n", ["line 2", "\"soon\"", "seconds"]),
        ("time\nNaN\n", ["line 2", "\"NaN\"", "seconds"]),
        (
            "time,kind\n1,bark\n",
            ["line 2", "\"bark\"", "floor, release, top"],
        ),
        ("WEBVTT\n", ["m.csv", "no cues", "add one"]),
    ] {
        place.file("m.csv", text);
        place
            .review(&drill(), &["--moments", "m.csv"])
            .fails(1, &parts);
    }
    let parts = ["none.csv", "no such file", "check the name"];
    place
        .review(&drill(), &["--moments", "none.csv"])
        .fails(1, &parts);
    let parts = ["home", "is a folder"];
    place
        .review(&drill(), &["--moments", "home"])
        .fails(1, &parts);
    // The recording's own bytes are no table.
    let wav = drill();
    let ran = place.review(&drill(), &["--moments", wav.to_str().unwrap()]);
    ran.fails(1, &["tilda-drill.wav"]);
}

#[test]
fn moments_out_of_order_doubled_and_after_the_end() {
    let place = Place::taught();
    place.file("m.csv", "time\n9\n5.6\n5.6\n99\n");
    let ran = place.review(&drill(), &["--moments", "m.csv", "--csv", "-"]);
    for note in [
        "line 3 is earlier",
        "line 4 repeats line 3",
        "after the end of the recording",
    ] {
        assert!(ran.err.contains(note), "{note}: {ran:#?}");
    }
    let table = ran.well();
    assert_eq!(
        table.lines().filter(|l| !l.starts_with([',', 'm'])).count(),
        3,
        "{table}"
    );
}

#[test]
fn nothing_taught() {
    let place = Place::new();
    let parts = [
        "no bridge is taught",
        "marklag teach click",
        "--bridge-from",
    ];
    place.review(&drill(), &[]).fails(1, &parts);
    place.review(&drill(), &["--keep"]).fails(1, &parts);
    let mut forget = place.marklag(["bridges", "forget", "blue"]);
    forget.run().fails(1, &["\"blue\"", "marklag bridges"]);
    assert_eq!(place.names(), [""; 0]);
}

#[test]
fn names_that_are_none() {
    let place = Place::taught();
    let parts = ["\"blue\"", "marklag teach click blue"];
    place
        .review(&drill(), &["--bridge", "blue"])
        .fails(1, &parts);
    for (name, part) in [("../blue", "/"), ("a/b", "/"), ("", "empty"), (".x", "dot")] {
        let flag = format!("--bridge={name}");
        place
            .review(&drill(), &[&flag])
            .fails(1, &["cannot be a name", part]);
        let mut teach = place.marklag(["teach", "click", name, "--from"]);
        teach
            .arg(clicks())
            .run()
            .fails(1, &["cannot be a name", part]);
        let mut forget = place.marklag(["bridges", "forget", name]);
        forget.run().fails(1, &["cannot be a name", part]);
    }
    assert_eq!(place.names(), ["home"]);
}

#[test]
fn profiles_from_another_version_or_damaged() {
    let place = Place::taught();
    let file = place.home().join("bridges/tilda.json");
    let whole = std::fs::read_to_string(&file).unwrap();
    let version = format!("\"version\":{}", marklag::ear::PROFILE_VERSION);
    assert!(whole.contains(&version), "{whole}");
    let press = &whole[whole.find('[').unwrap()..=whole.find(']').unwrap()];
    for (text, part) in [
        (whole.replace(&version, "\"version\":99"), "version 99"),
        (
            whole.replace("\"rate_hz\":48000", "\"rate_hz\":0"),
            "damaged",
        ),
        (whole.replace(press, "[]"), "damaged"),
        (whole.replace(press, "[null]"), "damaged"),
        (whole.replace(press, "[1e400]"), "damaged"),
        (whole.replace(press, "[0,0,0,0]"), "damaged"),
        (whole[..whole.len() / 2].to_owned(), "damaged"),
        (String::new(), "damaged"),
        ("[1,2]".to_owned(), "damaged"),
    ] {
        std::fs::write(&file, &text).unwrap();
        place
            .review(&drill(), &[])
            .fails(1, &["tilda", part, "teach"]);
        place
            .review(&drill(), &["--bridge", "tilda"])
            .fails(1, &["tilda", part, "teach"]);
    }
    std::fs::write(&file, [0xff, 0xfe, 0]).unwrap();
    place.review(&drill(), &[]).fails(1, &["tilda.json"]);
    // The way out works: it is forgotten or taught over.
    place.marklag(["bridges", "forget", "tilda"]).run().well();
}
