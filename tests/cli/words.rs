//! Spoken marks through the commands: heard as clicks are, beside them, by name.

use marklag::ear::word::WordAt;
use marklag::journal::{Home, Journal};
use marklag::sound::room::{Clicker, Colour, Room, Scene, farm};
use marklag::timeline::SoundKind;
use serde_json::Value;

use crate::run::{Place, Ran, Run, write_floats};

/// A second made-up word and a second clicker.
const OTHER_WORD: u64 = 29;
const OTHER_CLICKER: u64 = 31;

fn file(place: &Place, name: &str, scene: &Scene) -> std::path::PathBuf {
    let path = place.path(name);
    write_floats(&path, scene.rate_hz, 1, &scene.samples);
    path
}

/// A place where Tilda's clicker and the word "good" are taught.
fn taught() -> Place {
    let place = Place::taught();
    let lesson = file(&place, "lesson.wav", &farm::ten_words(7));
    let said = place
        .marklag(["teach", "word", "good", "--from"])
        .arg(lesson)
        .run()
        .well();
    assert!(said.contains("\"good\" is taught from 10 takes."), "{said}");
    place
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|e| panic!("{e}: {text}"))
}

fn of_kind<'a>(review: &'a Value, kind: &str) -> Vec<&'a Value> {
    let sounds = review["sounds"].as_array().unwrap();
    sounds.iter().filter(|s| s["kind"] == kind).collect()
}

#[test]
fn live_with_words_gives_what_review_gives_to_the_last_digit() {
    let place = taught();
    let scene = farm::word_drill(7, 4);
    let drill = file(&place, "drill.wav", &scene);
    let run = |command: &str, options: &[&str]| -> Ran {
        let mut run = place.marklag([command]);
        if command == "drop" {
            run.args(["--fast", "--from"]);
        }
        run.arg(&drill).args(options).run()
    };
    for options in [&["--json"][..], &["--json", "--word-at", "centre"]] {
        assert!(
            run("drop", options).well() == run("review", options).well(),
            "{options:?}"
        );
    }
    let review = json(&run("review", &["--json"]).well());
    let (words, clicks) = (of_kind(&review, "word"), of_kind(&review, "click"));
    assert_eq!((words.len(), clicks.len()), (4, 4), "{review}");
    assert!(words.iter().all(|w| w["name"] == "good"));
    // Said within praise it is no mark, and is told of.
    let praise = review["in_praise"].as_array().unwrap();
    assert_eq!(praise.len(), 4, "{review}");
    assert_eq!(review.get("word_at"), None);
    let mut worst_ms = 0.0_f64;
    for (word, onset) in words.iter().zip(&scene.words) {
        let off_s = word["t_s"].as_f64().unwrap() - *onset as f64 / f64::from(scene.rate_hz);
        worst_ms = worst_ms.max(1e3 * off_s.abs());
    }
    println!("onsets beside a ball: off by {worst_ms:.1} ms at most");
    assert!(worst_ms < 15.0, "{worst_ms} ms");
    let lags = review["pairs"].as_array().unwrap().iter();
    assert_eq!(lags.filter(|p| !p["lag_ms"].is_null()).count(), 4);

    let lines = run("drop", &["--plain"]).well();
    assert!(
        lines.contains("\"good\" within praise or talk: no mark."),
        "{lines}"
    );
    assert!(lines.contains("By sound: good 4, tilda 4."), "{lines}");
    assert!(
        lines.contains("\"good\" was also heard within praise or talk, 4 times"),
        "{lines}"
    );
}

#[test]
fn what_a_drill_keeps_is_each_sound_once_whenever_it_was_known() {
    let place = taught();
    let drill = file(&place, "drill.wav", &farm::word_drill(7, 4));
    place
        .marklag(["drop", "--fast", "--keep-sound", "--from"])
        .arg(&drill)
        .run()
        .well();
    let review = json(&place.review(&drill, &["--json"]).well());
    let journal = Journal::open(&Home::at(place.home()).journal_file()).unwrap();
    let kept = journal.read_bout(&journal.find("last").unwrap()).unwrap();
    let mut sounds: Vec<_> = kept.sounds().cloned().collect();
    sounds.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let reviewed: Vec<f64> = review["sounds"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["t_s"].as_f64().unwrap())
        .collect();
    let ours: Vec<f64> = sounds.iter().map(|s| s.t_s).collect();
    assert_eq!(ours, reviewed);
    assert_eq!(
        sounds.iter().filter(|s| s.kind == SoundKind::Word).count(),
        4
    );
    assert_eq!(kept.pairs().filter(|p| p.lag_ms.is_some()).count(), 4);
    let again = place.marklag(["journal", "remeasure", "last"]).run().well();
    assert!(again.contains("the same (4 lags)"), "{again}");
}

#[test]
fn the_perceptual_centre_is_named_wherever_it_is_used() {
    let place = taught();
    let drill = file(&place, "drill.wav", &farm::word_drill(7, 3));
    let review = |options: &[&str]| place.review(&drill, options).well();
    let (onset, centre) = (
        json(&review(&["--json"])),
        json(&review(&["--json", "--word-at", "centre"])),
    );
    assert_eq!(centre["word_at"], "centre");
    let by = |review: &Value| -> Vec<(f64, f64)> {
        let pairs = review["pairs"].as_array().unwrap().iter();
        pairs
            .filter(|p| !p["lag_ms"].is_null())
            .map(|p| (p["mark_s"].as_f64().unwrap(), p["u_ms"].as_f64().unwrap()))
            .collect()
    };
    let (onset, centre) = (by(&onset), by(&centre));
    assert_eq!((onset.len(), centre.len()), (3, 3));
    for ((at_s, u_ms), (centre_s, centre_u_ms)) in onset.iter().zip(&centre) {
        // Of 0.42 s: at least a quarter of it, at most 0.65 of it.
        assert!(
            (0.09..0.28).contains(&(centre_s - at_s)),
            "{onset:?} {centre:?}"
        );
        assert!(centre_u_ms > u_ms && *centre_u_ms > 13.0, "{centre:?}");
    }
    let sentence = WordAt::Centre.sentence().unwrap();
    let text = review(&["--word-at", "centre"]);
    assert!(text.contains(sentence), "{text}");
    assert!(!review(&[]).contains("perceptual centre"));
    let csv = review(&["--word-at", "centre", "--csv", "-"]);
    assert!(
        csv.lines()
            .all(|l| l.ends_with(",word_at") || l.ends_with(",centre")),
        "{csv}"
    );
    let vtt = review(&["--word-at", "centre", "--vtt", "-"]);
    assert!(
        vtt.starts_with(&format!("WEBVTT\n\nNOTE\n{sentence}\n")),
        "{vtt}"
    );
    // The setting does what the flag does, and the flag goes before it.
    place.file("home/settings.toml", "[bridge]\nword_at = \"centre\"\n");
    assert_eq!(review(&[]), text);
    assert!(!review(&["--word-at", "onset"]).contains("perceptual centre"));
    let session = place
        .marklag(["train", "--fast", "--plain", "--from"])
        .arg(&drill)
        .run()
        .well();
    assert!(session.contains(sentence), "{session}");
    // What is kept says so, and so do the weeks and their page.
    place
        .review(
            &drill,
            &["--keep", "--word-at", "centre", "--person", "Ada"],
        )
        .well();
    place
        .review(&drill, &["--keep", "--word-at", "onset", "--person", "Ada"])
        .well();
    for command in [
        &["progress", "--person", "Ada"][..],
        &["page", "-", "--person", "Ada"],
    ] {
        let told = place.marklag(command).run().well();
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            told.contains("In 1 bout, of whatever moment, spoken marks"),
            "{told}"
        );
    }
    let bad = place.review(&drill, &["--word-at", "middle"]);
    bad.fails(2, &["onset, centre"]);
}

/// Two trainers in one recording, each with a clicker and a word of their own.
#[test]
fn two_trainers_are_told_apart_by_name() {
    let place = taught();
    let mut room = Room::new(farm::RATE_HZ, 16.5, 3);
    for k in 0..10 {
        let pace = 0.96 + 0.02 * f64::from(k % 5);
        room.say(OTHER_WORD, pace, 1.6 + 1.4 * f64::from(k), 0.35);
    }
    room.noise(0.001, Colour::Pink);
    let lesson = file(&place, "other-word.wav", &room.finish());
    place
        .marklag(["teach", "word", "yes", "--from"])
        .arg(lesson)
        .run()
        .well();
    let mut room = Room::new(farm::RATE_HZ, 14.0, 5);
    for k in 0..10 {
        room.click(
            &Clicker::from_seed(OTHER_CLICKER),
            1.0 + 1.2 * f64::from(k),
            0.35,
        );
    }
    room.noise(0.001, Colour::Pink);
    let lesson = file(&place, "other-click.wav", &room.finish());
    place
        .marklag(["teach", "click", "blue", "--from"])
        .arg(lesson)
        .run()
        .well();

    let mut room = Room::new(farm::RATE_HZ, 26.0, 8);
    let mut said = Vec::new();
    for k in 0..3 {
        let t_s = 1.5 + 8.0 * f64::from(k);
        room.click(&Clicker::from_seed(7), t_s, 0.3);
        room.say(farm::WORD, 1.0, t_s + 2.0, 0.3);
        room.click(&Clicker::from_seed(OTHER_CLICKER), t_s + 4.0, 0.3);
        room.say(OTHER_WORD, 1.0, t_s + 6.0, 0.3);
        for (after_s, kind, name) in [
            (0.0, "click", "tilda"),
            (2.0, "word", "good"),
            (4.0, "click", "blue"),
            (6.0, "word", "yes"),
        ] {
            said.push((t_s + after_s, kind, name));
        }
    }
    room.noise(0.001, Colour::Pink);
    let both = file(&place, "both.wav", &room.finish());
    let review = json(&place.review(&both, &["--json"]).well());
    let heard: Vec<&Value> = review["sounds"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|s| s["kind"] != "impact")
        .collect();
    assert_eq!(heard.len(), said.len(), "{review}");
    for (sound, (t_s, kind, name)) in heard.iter().zip(&said) {
        assert_eq!(
            (&sound["kind"], &sound["name"]),
            (&(*kind).into(), &(*name).into())
        );
        assert!(
            (sound["t_s"].as_f64().unwrap() - t_s).abs() < 0.015,
            "{sound}"
        );
    }
    let text = place.review(&both, &[]).well();
    assert!(
        text.contains("By sound: tilda 3, good 3, blue 3, yes 3."),
        "{text}"
    );
    assert!(
        text.contains("stray, yes") && text.contains("stray, blue"),
        "{text}"
    );
    // One of them only.
    let one = json(&place.review(&both, &["--json", "--bridge", "yes"]).well());
    assert_eq!(
        (of_kind(&one, "word").len(), of_kind(&one, "click").len()),
        (3, 0)
    );
}

#[test]
fn a_session_hears_words_and_tells_of_praise() {
    let place = taught();
    let drill = file(&place, "drill.wav", &farm::word_drill(7, 3));
    let train = |options: &[&str]| {
        let mut run = place.marklag(["train", "--fast", "--from"]);
        run.arg(&drill).args(options).run().well()
    };
    let measures = json(&train(&["--json", "--bridge", "good"]));
    assert_eq!(measures["marks"], 3, "{measures}");
    assert_eq!(measures["in_praise"].as_array().unwrap().len(), 3);
    let text = train(&["--plain", "--bridge", "good"]);
    assert!(
        text.contains("\"good\" within praise or talk: no mark."),
        "{text}"
    );
    assert!(
        text.contains("was also heard within praise or talk, 3 times"),
        "{text}"
    );
    let review = place
        .review(&drill, &["--session", "--json", "--bridge", "good"])
        .well();
    assert_eq!(json(&review)["marks"], 3);
}

#[test]
fn a_check_hears_the_word_and_tells_of_a_narrow_band() {
    let place = taught();
    let drill = file(&place, "drill.wav", &farm::word_drill(7, 3));
    let check = |file: &std::path::Path, options: &[&str]| {
        let mut run = place.marklag(["check", "--fast", "--from"]);
        run.arg(file).args(options).run().well()
    };
    let report = json(&check(&drill, &["--json"]));
    assert_eq!(report["words"][0]["name"], "good");
    assert_eq!(report["words"][0]["heard"], 3, "{report}");
    assert_eq!(report["words"][0]["in_praise"], 3);
    assert_eq!(report["words"][0]["lesson_rate_hz"], 48_000);
    let text = check(&drill, &[]);
    assert!(
        text.contains("A word against a sound (a ball): yes, to ±"),
        "{text}"
    );
    let narrow: Vec<f32> = farm::word_drill(7, 1)
        .samples
        .iter()
        .step_by(6)
        .copied()
        .collect();
    let path = place.path("narrow.wav");
    write_floats(&path, 8_000, 1, &narrow);
    let text = check(&path, &[]);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("gives only 8000 samples a second"), "{text}");
}

#[test]
fn talk_by_microphone_belongs_to_a_lesson_by_microphone() {
    let place = Place::new();
    let lesson = file(&place, "lesson.wav", &farm::ten_words(7));
    let run = place
        .marklag(["teach", "word", "good", "--from"])
        .arg(lesson)
        .arg("--talk")
        .run();
    run.fails(2, &["--talk FILE"]);
}
