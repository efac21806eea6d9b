//! The drill from a recording, through the live path.

use serde_json::Value;

use marklag::journal::{Home, Journal};
use marklag::sound::room::farm;

use crate::run::{Place, Run, drill};

fn drop(place: &Place, options: &str) -> assert_cmd::Command {
    let mut command = place.marklag(["drop", "--from"]);
    command.arg(drill()).args(options.split_whitespace());
    command
}

#[test]
fn live_gives_what_review_gives_to_the_last_digit() {
    let place = Place::taught();
    for (ours, theirs) in [
        ("--fast --json", "--json"),
        ("--fast --json --moment top", "--json --mark top"),
        (
            "--fast --json --moment release --height 1 --aim 0..300",
            "--json --mark release --height 1 --aim 0..300",
        ),
    ] {
        let live = drop(&place, ours).run().well();
        let mut review = place.marklag(["review"]);
        review.arg(drill()).args(theirs.split_whitespace());
        assert!(live == review.run().well(), "{ours}");
    }
}

#[test]
fn lines_tell_each_drop_and_the_end_is_a_reviews() {
    let place = Place::taught();
    let lines = drop(&place, "--fast --plain").run().well();
    let review = place.marklag(["review"]).arg(drill()).run().well();
    let (told, end) = lines.split_at(lines.find(&review[..40]).unwrap());
    assert!(end.starts_with(&review), "{lines}");
    let first: Vec<&str> = told.lines().collect();
    assert_eq!(first.len(), 6, "{told}");
    assert!(
        first[0].starts_with("Drop 1: ") && first[5].starts_with("Drop 6: "),
        "{told}"
    );
    assert!(end.contains("\nNext: "), "{end}");
    // Without a terminal it is lines by itself; at the end only, nothing before.
    let end_only = drop(&place, "--fast --feedback end").run().well();
    assert_eq!(end_only, end);
    assert!(
        !place.home().join("journal.sqlite").exists(),
        "nothing asked to be kept"
    );
}

#[test]
fn a_kept_drill_is_in_the_journal_and_stands_beside_the_next() {
    let place = Place::taught();
    let first = drop(&place, "--fast --keep --person Ada").run().well();
    assert!(!first.contains("last drills"), "{first}");
    let other = drop(&place, "--fast --keep --person Bo").run().well();
    assert!(!other.contains("last drills"), "another person's: {other}");
    let top = drop(&place, "--fast --keep --person Ada --moment top")
        .run()
        .well();
    assert!(!top.contains("last drills"), "another moment's: {top}");
    let again = drop(&place, "--fast --person Ada").run().well();
    let at = again
        .find("last drills of this moment")
        .expect("the first one");
    let table: Vec<&str> = again[at..].lines().skip(1).take(2).collect();
    let after_name = |line: &str| line.trim().get(10..).unwrap().trim().to_owned();
    assert_eq!(after_name(table[0]), after_name(table[1]), "{again}");

    let journal = Journal::open(&Home::at(place.home()).journal_file()).unwrap();
    let kept = journal.list(None).unwrap();
    assert_eq!(kept.len(), 3);
    let row = kept.last().unwrap();
    let review: Value = {
        let text = place
            .marklag(["review", "--json"])
            .arg(drill())
            .run()
            .well();
        serde_json::from_str(&text).unwrap()
    };
    assert_eq!((row.moments, row.lags, row.stray), (6, 6, 0));
    let mean = review["summary"]["constant_error_ms"].as_f64().unwrap();
    assert!((row.mean_lag_ms.unwrap() - mean).abs() < 1e-9);
    assert!(row.ended_at.is_some());
}

#[test]
fn kept_sound_reviews_to_the_same_lags() {
    let place = Place::taught();
    let live = drop(&place, "--fast --json --keep-sound").run().well();
    let sounds: Vec<_> = std::fs::read_dir(place.home().join("sounds"))
        .unwrap()
        .collect();
    assert_eq!(sounds.len(), 1);
    let kept = sounds[0].as_ref().unwrap().path();
    let review = place.marklag(["review", "--json"]).arg(&kept).run().well();
    let (live, review): (Value, Value) = (
        serde_json::from_str(&live).unwrap(),
        serde_json::from_str(&review).unwrap(),
    );
    for part in ["sounds", "moments", "pairs", "summary"] {
        assert_eq!(live[part], review[part], "{part}");
    }
}

#[test]
fn a_number_of_drops_ends_it() {
    let place = Place::taught();
    let lines = drop(&place, "--fast --drops 2").run().well();
    let told = lines.lines().filter(|l| l.starts_with("Drop ")).count();
    assert!((2..6).contains(&told), "{lines}");
}

#[test]
fn what_cannot_be_is_refused_with_what_to_do() {
    let place = Place::taught();
    for (options, parts) in [
        ("--fast --by partner", &["--fast", "partner"][..]),
        ("--catch", &["--catch", "--by partner"]),
        ("--pedal Foot", &["--by partner"]),
        ("--by screen --plain", &["--by screen", "full screen"]),
    ] {
        drop(&place, options).run().fails(2, parts);
    }
    drop(&place, "--by screen --keep-sound")
        .run()
        .fails(1, &["needs a terminal"]);
    // Nothing was begun: no line in the journal that is never ended, no empty sound.
    let journal = Journal::open(&Home::at(place.home()).journal_file()).unwrap();
    assert!(journal.list(None).unwrap().is_empty());
    let sounds = std::fs::read_dir(place.home().join("sounds"));
    assert_eq!(sounds.map_or(0, Iterator::count), 0);
    place
        .marklag(["drop", "--fast"])
        .run()
        .fails(2, &["--from"]);
    place
        .marklag(["drop", "--from", "nowhere.wav"])
        .run()
        .fails(1, &["nowhere.wav"]);
    Place::new()
        .marklag(["drop"])
        .run()
        .fails(1, &["no bridge is taught", "marklag teach click NAME"]);
}

#[test]
fn no_microphone_is_a_sentence() {
    let place = Place::taught();
    let ran = place
        .marklag(["drop", "--plain"])
        .env("PULSE_SERVER", "unix:/nowhere/at/all")
        .env("XDG_RUNTIME_DIR", "/nowhere")
        .env("ALSA_CONFIG_PATH", "/dev/null")
        .run();
    assert_eq!(ran.code, Some(1), "{ran:#?}");
    assert!(ran.err.contains("microphone"), "{ran:#?}");
    assert!(!ran.err.contains("panicked"), "{ran:#?}");
}

#[test]
fn keys_in_the_settings_that_clash_are_named() {
    let place = Place::taught();
    std::fs::write(place.home().join("settings.toml"), "[keys]\nundo = \"p\"\n").unwrap();
    drop(&place, "--fast")
        .run()
        .fails(1, &["keys.pause", "keys.undo", "\"p\""]);
    std::fs::write(
        place.home().join("settings.toml"),
        "[keys]\nundo = \"ctrl-z\"\n",
    )
    .unwrap();
    drop(&place, "--fast")
        .run()
        .fails(1, &["keys.undo", "ctrl-z", "space"]);
    std::fs::write(
        place.home().join("settings.toml"),
        "[screen]\ncolours = \"loud\"\n",
    )
    .unwrap();
    drop(&place, "--fast")
        .run()
        .fails(1, &["screen.colours", "auto"]);
}

/// Lines in the place of keys: an empty one is the partner's press.
#[test]
fn a_partners_press_is_a_moment_on_the_sounds_clock() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    use std::time::Duration;

    let place = Place::taught();
    let paths = r#"{"terminal keys":{"delay_ms":500.0,"jitter_ms":4.0,"taps":20}}"#;
    std::fs::write(place.home().join("hands.json"), paths).unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_marklag"))
        .args(["drop", "--by", "partner", "--json", "--keep", "--from"])
        .arg(drill())
        .env("MARKLAG_HOME", place.home())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut keys = child.stdin.take().unwrap();
    std::thread::sleep(Duration::from_millis(2_000));
    keys.write_all(b"\n").unwrap();
    std::thread::sleep(Duration::from_millis(2_500));
    keys.write_all(b"e\n").unwrap();
    let output = child.wait_with_output().unwrap();
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    let moments = json["moments"].as_array().unwrap();
    assert_eq!(moments.len(), 1, "{json:#}");
    assert_eq!(moments[0]["source"], "hand");
    // Pressed some 2 s after the start, less the half second that the key is late.
    let t_s = moments[0]["t_s"].as_f64().unwrap();
    assert!((0.3..1.6).contains(&t_s), "{t_s}");
    // The key's jitter and its share of the delay's: 4·√(1 + 1.2533²/20) = 4.15; with
    // the mark's way of 1 m, 2.91, and its ± 0.25 m, 0.42: 5.09.
    let lag = json["pairs"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| !p["u_ms"].is_null());
    if let Some(pair) = lag {
        assert!(
            (pair["u_ms"].as_f64().unwrap() - 5.09).abs() < 0.1,
            "{pair}"
        );
    }
    let journal = Journal::open(&Home::at(place.home()).journal_file()).unwrap();
    let kept = journal.read_bout(&journal.find("last").unwrap()).unwrap();
    assert_eq!(kept.moments().count(), 1);
}

/// Half a recording is heard as far as it goes, and every live command says so.
#[test]
fn a_recording_that_is_cut_short_is_told_of() {
    let place = Place::taught();
    let whole = std::fs::read(drill()).unwrap();
    let cut = place.home().join("cut.wav");
    std::fs::write(&cut, &whole[..whole.len() / 3]).unwrap();
    for command in [
        &["drop", "--no-keep"][..],
        &["train", "--animal", "Nell", "--no-keep"],
        &["check"],
    ] {
        let mut run = place.marklag(command);
        run.args(["--fast", "--plain", "--from"]).arg(&cut);
        let told = run.run().well();
        assert!(told.contains("cut short: it promises 26"), "{told}");
    }
}

/// A recording's drill is kept only when that is asked for, and it is said.
#[test]
fn what_is_not_kept_is_said_not_to_be() {
    let place = Place::taught();
    let told = drop(&place, "--fast").run().well();
    assert!(
        told.contains("Not kept in the journal; --keep keeps it."),
        "{told}"
    );
    let told = drop(&place, "--fast --no-keep").run().well();
    assert!(told.ends_with("\nNot kept.\n"), "{told}");
    let told = drop(&place, "--fast --keep").run().well();
    assert!(told.contains("Kept in the journal as"), "{told}");
}

/// The drill's clicker was not taught, another was: it is asked about once in the
/// lines and at the end.
#[test]
fn a_clicker_that_was_not_taught_is_asked_about() {
    let place = Place::new();
    let lesson = place.path("lesson.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(&lesson, spec).unwrap();
    for sample in farm::ten_clicks(3).samples {
        file.write_sample((sample * 32_767.0) as i16).unwrap();
    }
    file.finalize().unwrap();
    let teach = place
        .marklag(["teach", "click", "blue", "--from"])
        .arg(&lesson)
        .run();
    teach.well();
    let told = drop(&place, "--fast --plain --drops 3").run().well();
    let words = "\"blue\" is not heard; other sounds are. Was one your mark? marklag check tells.";
    assert_eq!(told.matches(words).count(), 2, "{told}");
    assert!(told.contains("Drop 2: missed."), "{told}");
    let heard = Place::taught();
    let told = drop(&heard, "--fast --plain").run().well();
    assert!(!told.contains("not heard"), "{told}");
}

/// However a name is written, it is one person: kept and set beside under the name that
/// the journal has.
#[test]
fn a_persons_name_is_one_however_it_is_written() {
    let place = Place::taught();
    let run = |name: &str, more: &[&str]| {
        place
            .marklag([
                "drop", "--fast", "--plain", "--keep", "--person", name, "--from",
            ])
            .arg(drill())
            .args(more)
            .run()
    };
    run("Tilda", &[]).well();
    let again = run(" tilda", &[]);
    assert!(again.err.contains("is taken for Tilda"), "{}", again.err);
    let told = again.well();
    assert!(told.contains("Your last drills of this moment"), "{told}");
}
