//! One recording for everything: ten clicks, a pause, the drill.

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::run::{Place, Run, clicks, drill};

/// The lesson, `pause_s` of its last sample, the drill, one after the other; and where
/// the drill begins, in seconds.
fn joined(folder: &Path, pause_s: f64) -> (PathBuf, f64) {
    let read = |path: PathBuf| -> (hound::WavSpec, Vec<i16>) {
        let mut reader = hound::WavReader::open(path).unwrap();
        (
            reader.spec(),
            reader.samples().map(Result::unwrap).collect(),
        )
    };
    let ((spec, lesson), (_, drill)) = (read(clicks()), read(drill()));
    let rate_hz = f64::from(spec.sample_rate);
    // The room goes on in the pause: the first half second of the drill, in which nothing is.
    let room = &drill[..(0.2 * rate_hz) as usize];
    let pause: Vec<i16> = room
        .iter()
        .copied()
        .cycle()
        .take((pause_s * rate_hz) as usize)
        .collect();
    let path = folder.join("all.wav");
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    for x in lesson.iter().chain(&pause).chain(&drill) {
        writer.write_sample(*x).unwrap();
    }
    writer.finalize().unwrap();
    (path, (lesson.len() + pause.len()) as f64 / rate_hz)
}

fn lags(review: &Value) -> Vec<(f64, f64)> {
    let pairs = review["pairs"].as_array().unwrap();
    pairs
        .iter()
        .filter_map(|p| Some((p["mark_s"].as_f64()?, p["lag_ms"].as_f64()?)))
        .collect()
}

/// The lags of the joined recording are those of the drill taught from a file of its own,
/// and no click of the lesson is a stray.
#[test]
fn a_lesson_at_the_beginning_gives_the_lags_of_two_files() {
    let place = Place::new();
    let (all, begins_s) = joined(place.folder.path(), 4.0);
    let apart = place
        .marklag(["review", "--json"])
        .arg(drill())
        .arg("--bridge-from")
        .arg(clicks())
        .run()
        .well();
    let one = place
        .marklag(["review", "--lesson", "--keep-bridge", "blue", "--json"])
        .arg(all)
        .run()
        .well();
    let (apart, one): (Value, Value) = (
        serde_json::from_str(&apart).unwrap(),
        serde_json::from_str(&one).unwrap(),
    );
    let (apart_lags, one_lags) = (lags(&apart), lags(&one));
    assert_eq!(apart_lags.len(), 6);
    assert_eq!(one_lags.len(), apart_lags.len());
    for ((mark_s, lag_ms), (own_s, own_ms)) in one_lags.iter().zip(&apart_lags) {
        assert!((mark_s - begins_s - own_s).abs() < 1e-4, "{mark_s} {own_s}");
        assert!((lag_ms - own_ms).abs() < 0.1, "{lag_ms} {own_ms}");
    }
    assert_eq!(one["summary"]["stray"], apart["summary"]["stray"]);
    assert!(place.marklag(["bridges"]).run().well().contains("blue"));
}

#[test]
fn a_drill_without_a_lesson_is_refused() {
    let place = Place::new();
    let run = place.marklag(["review", "--lesson"]).arg(drill()).run();
    assert_ne!(run.code, Some(0));
    assert!(run.err.contains("cannot teach a click"), "{run:#?}");
}
