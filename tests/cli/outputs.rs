//! Where results go and what changes them.

use std::collections::BTreeMap;

use marklag::timeline::parse_moments;
use serde_json::Value;

use crate::run::{Place, Run, clicks, drill};

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn the_csv_holds_the_pairs_of_the_json() {
    let place = Place::taught();
    place.review(&drill(), &["--csv", "lags.csv"]).well();
    let pairs = json(&place.review(&drill(), &["--json"]).well())["pairs"].clone();
    let mut table = csv::Reader::from_path(place.path("lags.csv")).unwrap();
    let rows: Vec<BTreeMap<String, String>> = table.deserialize().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 6);
    for (row, pair) in rows.iter().zip(pairs.as_array().unwrap()) {
        for field in ["moment_s", "mark_s", "lag_ms", "u_ms"] {
            let there: f64 = row[field].parse().unwrap();
            assert_eq!(Some(there), pair[field].as_f64(), "{field}");
        }
        assert_eq!(row["outcome"], pair["outcome"].as_str().unwrap());
    }
    // Over an earlier table, and nothing else is left.
    place.review(&drill(), &["--csv", "lags.csv"]).well();
    assert_eq!(place.names(), ["home", "lags.csv"]);
    let to_stdout = place.review(&drill(), &["--csv", "-"]).well();
    let in_file = std::fs::read_to_string(place.path("lags.csv")).unwrap();
    assert_eq!(to_stdout, in_file);
}

#[test]
fn the_captions_are_read_back_as_the_marks() {
    let place = Place::taught();
    let to_stdout = place.review(&drill(), &["--vtt", "-"]).well();
    place.review(&drill(), &["--vtt", "lags.vtt"]).well();
    let in_file = std::fs::read_to_string(place.path("lags.vtt")).unwrap();
    assert_eq!(to_stdout, in_file);
    let read = parse_moments(&in_file).unwrap();
    let review = json(&place.review(&drill(), &["--json"]).well());
    let pairs = review["pairs"].as_array().unwrap();
    assert_eq!(read.moments.len(), pairs.len());
    for (cue, pair) in read.moments.iter().zip(pairs) {
        assert!((cue.t_s - pair["mark_s"].as_f64().unwrap()).abs() < 0.0006);
        let lag_ms = pair["lag_ms"].as_f64().unwrap().round();
        let side = if lag_ms < 0.0 { "before" } else { "after" };
        let words = format!("mark {} ms {side} the floor", lag_ms.abs());
        assert!(
            cue.label.starts_with(&words),
            "{} is not {words}",
            cue.label
        );
    }
}

#[test]
fn the_cue_points_are_at_the_moments_and_marks() {
    let place = Place::taught();
    let review = json(
        &place
            .review(&drill(), &["--json", "--cues", "cued.wav"])
            .well(),
    );
    let bytes = std::fs::read(place.path("cued.wav")).unwrap();
    let u32_at = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    let mut places = Vec::new();
    let mut at = 12;
    while at + 8 <= bytes.len() {
        let len = u32_at(at + 4) as usize;
        if &bytes[at..at + 4] == b"cue " {
            for k in 0..u32_at(at + 8) as usize {
                places.push(u32_at(at + 12 + 24 * k + 20));
            }
        }
        at += 8 + len + len % 2;
    }
    let mut expected: Vec<u32> = Vec::new();
    for pair in review["pairs"].as_array().unwrap() {
        for field in ["moment_s", "mark_s"] {
            expected.push((pair[field].as_f64().unwrap() * 48_000.0).round() as u32);
        }
    }
    expected.sort_unstable();
    assert_eq!(places, expected);
    // The sound is the same, so its review is too.
    let again = json(&place.review(&place.path("cued.wav"), &["--json"]).well());
    assert_eq!(again["pairs"], review["pairs"]);
    assert_eq!(place.names(), ["cued.wav", "home"]);
}

#[test]
fn a_pipe_is_heard_as_the_file_is() {
    let place = Place::taught();
    let piped = place
        .marklag(["review", "-", "--json"])
        .pipe_stdin(drill())
        .unwrap()
        .run()
        .well();
    let (mut piped, mut file) = (
        json(&piped),
        json(&place.review(&drill(), &["--json"]).well()),
    );
    assert_eq!(piped["recording"]["path"], "-");
    for review in [&mut piped, &mut file] {
        review["recording"]["path"].take();
    }
    assert_eq!(piped, file);
    let plain = place
        .marklag(["review", "-"])
        .pipe_stdin(drill())
        .unwrap()
        .run()
        .well();
    assert!(plain.starts_with("Standard input: 26.0 s"), "{plain}");
}

#[test]
fn several_recordings_are_reviewed_each_and_together() {
    let place = Place::taught();
    place
        .marklag("demo --seed 7 --drops 3 --save three.wav".split(' '))
        .run()
        .well();
    let both = json(&place.review(&drill(), &["three.wav", "--json"]).well());
    assert_eq!(both["format"], "marklag.reviews/1");
    let six = json(&place.review(&drill(), &["--json"]).well());
    let three = json(&place.review(&place.path("three.wav"), &["--json"]).well());
    assert_eq!(both["reviews"][0], six);
    assert_eq!(both["reviews"][1]["pairs"], three["pairs"]);
    assert_eq!(both["summary"]["n_moments"], 9);
    assert_eq!(both["summary"]["n_paired"], 9);
    let plain = place.review(&drill(), &["three.wav"]).well();
    assert!(plain.contains("All 2 recordings together:"), "{plain}");
    let table = place.review(&drill(), &["three.wav", "--csv", "-"]).well();
    assert_eq!(table.lines().count(), 10, "{table}");
}

#[test]
fn the_aim_judges_and_the_window_pairs() {
    let place = Place::taught();
    let outcomes = |args: &[&str]| {
        let mut all = vec!["--json"];
        all.extend_from_slice(args);
        let review = json(&place.review(&drill(), &all).well());
        review["pairs"]
            .as_array()
            .unwrap()
            .iter()
            .map(|p| {
                (
                    p["lag_ms"].as_f64(),
                    p["outcome"].as_str().unwrap().to_owned(),
                )
            })
            .collect::<Vec<_>>()
    };
    for (aim, from_ms, to_ms) in [
        ("-10..20", -10.0, 20.0),
        ("40..200", 40.0, 200.0),
        ("-500..500", -500.0, 500.0),
    ] {
        for (lag_ms, outcome) in outcomes(&["--aim", aim]) {
            let lag_ms = lag_ms.unwrap();
            let expected = if lag_ms < from_ms {
                "early"
            } else if lag_ms > to_ms {
                "late"
            } else {
                "on_time"
            };
            assert_eq!(outcome, expected, "{lag_ms} against {aim}");
        }
    }
    // A window that no lag fits into leaves every moment missed, every mark stray.
    let alone = outcomes(&["--window", "0,0"]);
    assert_eq!(alone.len(), 12);
    assert_eq!(alone.iter().filter(|p| p.1 == "missed").count(), 6);
    assert_eq!(alone.iter().filter(|p| p.1 == "stray").count(), 6);
}

/// The fixture's ball falls 1 m.
#[test]
fn a_told_height_is_checked() {
    let place = Place::taught();
    for height in ["1", "1.0", "1 m"] {
        let said = place.review(&drill(), &["--height", height]).well();
        assert!(said.contains("6 drops of a ball"), "{height}: {said}");
    }
    let wrong = place.review(&drill(), &["--height", "2.5"]).well();
    assert!(wrong.contains("no drops of a ball"), "{wrong}");
    assert!(wrong.contains("Not counted as a drop"), "{wrong}");
}

#[test]
fn one_channel_of_two() {
    let place = Place::taught();
    let mono: Vec<i16> = hound::WavReader::open(drill())
        .unwrap()
        .samples()
        .map(Result::unwrap)
        .collect();
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(place.path("two.wav"), spec).unwrap();
    for sample in mono {
        writer.write_sample(0).unwrap();
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
    let two = place.path("two.wav");
    let right = json(&place.review(&two, &["--json", "--channel", "2"]).well());
    let alone = json(&place.review(&drill(), &["--json"]).well());
    assert_eq!(right["pairs"], alone["pairs"]);
    assert_eq!(right["recording"]["channels"], 2);
    let left = json(&place.review(&two, &["--json", "--channel", "1"]).well());
    assert_eq!(left["sounds"], json("[]"));
    place
        .review(&two, &["--channel", "3"])
        .fails(1, &["two.wav has 2 channels", "channel 3"]);
}

/// A phone's video with two sound tracks, the first silent: the other is reviewed,
/// and the review tells how it was compressed.
#[test]
fn a_compressed_recording_and_one_track_of_two() {
    let place = Place::taught();
    let video = place.path("two.mkv");
    let done = std::process::Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-f", "lavfi", "-t", "3", "-i"])
        .args(["anullsrc=r=48000:cl=mono", "-i"])
        .arg(drill())
        .args(["-map", "0:a", "-map", "1:a", "-c:a:0", "flac"])
        .args(["-c:a:1", "libopus", "-b:a:1", "64k"])
        .arg(&video)
        .status()
        .expect("ffmpeg is needed to make the video");
    assert!(done.success());
    let review = json(&place.review(&video, &["--json"]).well());
    let recording = &review["recording"];
    assert_eq!(recording["track"], 2);
    assert_eq!(recording["compression"]["codec"], "Opus");
    assert_eq!(recording["compression"]["lossy"], true);
    let kbit_s = recording["compression"]["kbit_s"].as_f64().unwrap();
    assert!((20.0..90.0).contains(&kbit_s), "{kbit_s}");
    let said = place.review(&video, &[]).err;
    // Lines are broken to the width of a terminal.
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains(&format!("compressed: {kbit_s:.0} kbit/s Opus")),
        "{said}"
    );
    assert!(
        said.contains("track 2 is listened to; --track N chooses another"),
        "{said}"
    );
    let first = json(&place.review(&video, &["--json", "--track", "1"]).well());
    assert_eq!(first["sounds"], json("[]"));
    assert_eq!(first["recording"]["compression"]["lossy"], false);
    place
        .review(&video, &["--track", "3"])
        .fails(1, &["there is no sound track 3", "It has 2: 1 (FLAC"]);
    let plain = json(&place.review(&drill(), &["--json"]).well());
    assert!(plain["recording"].get("compression").is_none());
    assert!(plain["recording"].get("track").is_none());
}

#[test]
fn a_bridge_is_named_borrowed_or_one_of_several() {
    let place = Place::taught();
    place
        .marklag(
            "demo --seed 3 --drops 2 --save other.wav --save-clicks other-clicks.wav".split(' '),
        )
        .run()
        .well();
    place
        .marklag("teach click juniper --from other-clicks.wav".split(' '))
        .run()
        .well();
    let clicks_of = |name: &str, file: &std::path::Path, args: &[&str]| {
        let mut all = vec!["--json"];
        all.extend_from_slice(args);
        let review = json(&place.review(file, &all).well());
        let sounds = review["sounds"].as_array().unwrap();
        sounds.iter().filter(|s| s["name"] == name).count()
    };
    let juniper_s = place.path("other.wav");
    for both in [
        &["--bridge", "juniper", "--bridge", "tilda"][..],
        &[
            "--bridge", "tilda", "--bridge", "juniper", "--bridge", "tilda",
        ],
        &[],
    ] {
        assert_eq!(clicks_of("tilda", &drill(), both), 6, "{both:?}");
        assert_eq!(clicks_of("juniper", &juniper_s, both), 2, "{both:?}");
    }
    assert_eq!(clicks_of("tilda", &drill(), &["--bridge", "tilda"]), 6);
    assert_eq!(clicks_of("tilda", &drill(), &["--bridge", "juniper"]), 0);
    assert_eq!(clicks_of("juniper", &drill(), &["--bridge", "tilda"]), 0);

    // Nothing taught, nothing kept: the clicks of the moment do.
    let bare = Place::new();
    let from = clicks();
    let said = bare
        .review(&drill(), &["--bridge-from", from.to_str().unwrap()])
        .well();
    assert!(said.contains("Heard 6 marks"), "{said}");
    assert_eq!(bare.names(), [""; 0]);
}

#[test]
fn moments_of_a_table_or_of_captions() {
    let place = Place::taught();
    let table = "time;kind;label\n0:00:01,5;behaviour;Juniper sits\n5,5;behaviour;Clover bows\n";
    let captions = "WEBVTT\n\n00:00:01.500 --> 00:00:02.000\nJuniper sits\n\n00:05.500 --> 00:06.000\nClover bows\n";
    place.file("moments.csv", table);
    place.file("moments.vtt", captions);
    let args = |file| ["--json", "--moments", file];
    let of_table = json(&place.review(&drill(), &args("moments.csv")).well());
    let of_captions = json(&place.review(&drill(), &args("moments.vtt")).well());
    assert_eq!(of_table, of_captions);
    let labels: Vec<&str> = of_table["moments"]
        .as_array()
        .unwrap()
        .iter()
        .map(|m| m["label"].as_str().unwrap())
        .collect();
    assert_eq!(labels, ["Juniper sits", "Clover bows"]);
    let mut piped = place.marklag(["review", "--json", "--moments", "-"]);
    let piped = json(&piped.arg(drill()).write_stdin(table).run().well());
    assert_eq!(piped, of_table);
    let spoken = place
        .review(&drill(), &["--moments", "moments.csv", "--vtt", "-"])
        .well();
    assert!(spoken.contains("after “Juniper sits”"), "{spoken}");
}
