//! Lossy formats: the declared lead-in is dropped, so the sound stays in place;
//! where none is declared, the delay is within what the note says.

use std::path::Path;

use marklag::sound::recording::{ChannelChoice, Recording};

use crate::make::{clicks, convert, read, shift, write_mono};

fn shift_of(path: &Path, truth: &[f32], reach: i64) -> (Recording, i64) {
    let (recording, samples) =
        read(path, ChannelChoice::Mix).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert_eq!(recording.cut_short(), None, "{}", path.display());
    assert!(
        recording.warnings().gaps.is_empty(),
        "{} {:?}",
        path.display(),
        recording.warnings()
    );
    let len = samples.len();
    assert!(
        len + 10 >= truth.len(),
        "{}: {len} of {}",
        path.display(),
        truth.len()
    );
    let found = shift(truth, &samples, reach);
    (recording, found)
}

#[test]
fn declared_lead_in_is_dropped() {
    let dir = tempfile::tempdir().unwrap();
    for rate_hz in [8_000, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000] {
        let truth = clicks(rate_hz, 1.5);
        let wav = dir.path().join("a.wav");
        write_mono(&wav, rate_hz, &truth);
        let mut formats = vec![
            ("a.m4a", &["-c:a", "aac", "-b:a", "64k"][..]),
            ("a.mov", &["-c:a", "aac", "-b:a", "64k"]),
            ("a.ogg", &["-c:a", "libvorbis"]),
            ("a.webm", &["-c:a", "libvorbis"]),
            ("stereo.m4a", &["-c:a", "aac", "-ac", "2"]),
        ];
        if rate_hz <= 48_000 {
            formats.push(("a.mp3", &["-c:a", "libmp3lame"]));
            formats.push(("vbr.mp3", &["-c:a", "libmp3lame", "-q:a", "2"]));
        }
        for (name, args) in formats {
            let path = convert(&wav, dir.path().join(name), args);
            let (recording, found) = shift_of(&path, &truth, 1_500);
            assert!(
                found.abs() <= 1,
                "{name} at {rate_hz} Hz: shifted by {found}"
            );
            let note = recording.info().absolute_time_note.as_deref();
            let has_lead_in =
                name.ends_with("m4a") || name.ends_with("mov") || name.ends_with("mp3");
            assert_eq!(
                note.is_some_and(|n| n.contains("left out")),
                has_lead_in,
                "{name} {note:?}"
            );
        }
    }
}

#[test]
fn undeclared_lead_in_is_stated() {
    let dir = tempfile::tempdir().unwrap();
    let truth = clicks(44_100, 1.5);
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 44_100, &truth);
    for (name, args, most) in [
        ("a.aac", &["-c:a", "aac"][..], 2_112),
        ("a.mkv", &["-c:a", "aac"], 2_112),
        ("a.mp2", &["-c:a", "mp2", "-b:a", "128k"], 1_105),
        (
            "bare.mp3",
            &["-c:a", "libmp3lame", "-write_xing", "0"],
            1_105,
        ),
    ] {
        let path = convert(&wav, dir.path().join(name), args);
        let (recording, found) = shift_of(&path, &truth, 3_000);
        let note = recording.info().absolute_time_note.clone().unwrap();
        assert!(note.contains("does not declare"), "{note}");
        assert!((0..=most).contains(&found), "{name}: {found}");
    }
}

/// Variable rate without a header that tells the length: the library estimates
/// the length from the first frames and would drop real sound at the end.
#[test]
fn the_end_of_an_mp3_of_variable_rate_is_kept() {
    let dir = tempfile::tempdir().unwrap();
    let rate_hz = 44_100;
    let mut truth = vec![0.0; rate_hz as usize * 2];
    truth.extend(clicks(rate_hz, 4.0));
    let wav = dir.path().join("a.wav");
    write_mono(&wav, rate_hz, &truth);
    let args = [
        "-c:a",
        "libmp3lame",
        "-q:a",
        "0",
        "-write_xing",
        "0",
        "-id3v2_version",
        "0",
    ];
    let path = convert(&wav, dir.path().join("vbr.mp3"), &args);
    let (_, samples) = read(&path, ChannelChoice::Mix).unwrap();
    assert!(
        samples.len() >= truth.len(),
        "{} of {}",
        samples.len(),
        truth.len()
    );
    // The other way round: loud first, so the estimate is too short.
    truth.rotate_left(rate_hz as usize * 2);
    write_mono(&wav, rate_hz, &truth);
    let path = convert(&wav, dir.path().join("vbr2.mp3"), &args);
    let (_, samples) = read(&path, ChannelChoice::Mix).unwrap();
    assert!(
        samples.len() >= truth.len(),
        "{} of {}",
        samples.len(),
        truth.len()
    );
}

#[test]
fn sound_that_starts_after_the_picture_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 1.0));
    let path = dir.path().join("late.mp4");
    crate::make::ffmpeg(&[
        "-f",
        "lavfi",
        "-i",
        "testsrc=duration=2:size=64x64:rate=25",
        "-itsoffset",
        "0.5",
        "-i",
        wav.to_str().unwrap(),
        "-map",
        "0:v",
        "-map",
        "1:a",
        "-c:v",
        "mpeg4",
        "-c:a",
        "aac",
        path.to_str().unwrap(),
    ]);
    let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
    let late_s = recording.info().sound_starts_after_picture_s;
    assert!(late_s > 0.4, "{late_s}");
    // ffmpeg keeps the encoder's lead-in here and shortens the wait by it.
    let found = shift(&clicks(48_000, 1.0), &samples, 1_500);
    let heard_s = late_s + found as f64 / 48_000.0;
    assert!((heard_s - 0.5).abs() < 0.001, "{late_s} {found}");
}
