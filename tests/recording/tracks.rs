//! Several sound tracks in a file: the first with sound is taken, another can be
//! asked for.

use std::path::{Path, PathBuf};

use marklag::sound::recording::{ChannelChoice, Listen, Recording};

use crate::make::{clicks, convert, drain, ffmpeg, shift, write_mono};

/// A file whose first sound track is silent, or of another codec, and whose second
/// holds the sound.
fn two(dir: &Path, name: &str, codecs: [&str; 2]) -> (PathBuf, Vec<f32>) {
    let truth = clicks(48_000, 2.0);
    let wav = dir.join("a.wav");
    write_mono(&wav, 48_000, &truth);
    let path = dir.join(name);
    ffmpeg(&[
        "-f",
        "lavfi",
        "-t",
        "2",
        "-i",
        "anullsrc=r=48000:cl=stereo",
        "-i",
        wav.to_str().unwrap(),
        "-map",
        "0:a",
        "-map",
        "1:a",
        "-metadata:s:a:1",
        "language=deu",
        "-c:a:0",
        codecs[0],
        "-c:a:1",
        codecs[1],
        path.to_str().unwrap(),
    ]);
    (path, truth)
}

fn track(path: &Path, track: usize) -> Result<Recording, String> {
    let listen = Listen {
        channel: ChannelChoice::Mix,
        track: Some(track),
    };
    Recording::open(path, listen).map_err(|e| e.to_string())
}

#[test]
fn the_track_with_sound_is_taken_and_another_can_be_asked_for() {
    let dir = tempfile::tempdir().unwrap();
    for (name, codecs) in [
        ("a.mp4", ["aac", "aac"]),
        ("a.mov", ["pcm_s16le", "aac"]),
        ("a.mkv", ["flac", "libopus"]),
        ("a.webm", ["libvorbis", "libopus"]),
    ] {
        let (path, truth) = two(dir.path(), name, codecs);
        let mut taken = Recording::open(&path, ChannelChoice::Mix).unwrap();
        assert_eq!(taken.info().track, 2, "{name}");
        assert_eq!(taken.info().tracks.len(), 2, "{name}");
        let note = taken.info().track_note().unwrap();
        assert!(note.contains("2 sound tracks: 1 ("), "{note}");
        assert!(note.ends_with("track 2 is listened to"), "{note}");
        let samples = drain(&mut taken).unwrap();
        assert_eq!(shift(&truth, &samples, 50), 0, "{name}");

        let mut asked = track(&path, 1).unwrap();
        assert_eq!(asked.info().track, 1);
        assert_eq!(asked.info().channels, 2);
        assert!(drain(&mut asked).unwrap().iter().all(|x| x.abs() < 1e-3));

        let said = track(&path, 3).err().unwrap();
        assert!(said.contains("there is no sound track 3"), "{said}");
        assert!(said.contains("It has 2: 1 ("), "{said}");
    }
}

#[test]
fn a_track_that_cannot_be_decoded_is_passed_over_and_named() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["film.mkv", "film.mp4"] {
        let (path, truth) = two(dir.path(), name, ["ac3", "aac"]);
        let mut taken = Recording::open(&path, ChannelChoice::Mix).unwrap();
        assert_eq!(taken.info().track, 2, "{name}");
        let samples = drain(&mut taken).unwrap();
        assert!(shift(&truth, &samples, 1_500) >= 0);
        let said = track(&path, 1).err().unwrap();
        assert!(said.contains("sound track 1 cannot be decoded"), "{said}");
        assert!(said.contains("AC-3"), "{said}");
    }
}

#[test]
fn where_all_are_silent_the_first_is_taken() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("still.mp4");
    let silence = ["-f", "lavfi", "-t", "1", "-i", "anullsrc=r=48000:cl=mono"];
    let maps = ["-map", "0:a", "-map", "1:a", "-c:a", "aac"];
    let mut args = [silence, silence].concat();
    args.extend(maps);
    args.push(path.to_str().unwrap());
    ffmpeg(&args);
    let taken = Recording::open(&path, ChannelChoice::Mix).unwrap();
    assert_eq!(taken.info().track, 1);
}

#[test]
fn a_recording_of_one_track_has_no_second() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 1.0));
    let opus = convert(&wav, dir.path().join("a.opus"), &["-c:a", "libopus"]);
    let m4a = convert(&wav, dir.path().join("a.m4a"), &["-c:a", "aac"]);
    for path in [&wav, &opus, &m4a] {
        assert!(track(path, 1).is_ok());
        let said = track(path, 2).err().unwrap();
        assert!(
            said.contains("there is no sound track 2. It has one"),
            "{said}"
        );
        let only = Recording::open(path, ChannelChoice::Mix).unwrap();
        assert_eq!(only.info().track_note(), None);
    }
}
