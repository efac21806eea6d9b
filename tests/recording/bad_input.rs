//! What cannot be read says why, and what to do.

use std::path::{Path, PathBuf};

use marklag::sound::recording::{ChannelChoice, Recording, RecordingError};

use crate::make::{Impulse, clicks, convert, error_of, ffmpeg, write_mono};

fn says(path: &Path, parts: &[&str]) {
    let said = error_of(path).to_string();
    for part in parts {
        assert!(said.contains(part), "'{part}' is not in: {said}");
    }
    let name = path.file_name().unwrap().to_str().unwrap();
    assert!(said.contains(name), "{name} is not named: {said}");
}

fn file(dir: &tempfile::TempDir, name: &str, bytes: &[u8]) -> PathBuf {
    let path = dir.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

#[test]
fn no_file_a_folder_and_nothing() {
    let dir = tempfile::tempdir().unwrap();
    says(&dir.path().join("gone.wav"), &["no such file"]);
    says(dir.path(), &["is a folder"]);
    says(&file(&dir, "empty.wav", b""), &["empty (0 bytes)"]);
    let empty = Recording::from_reader(&b""[..], "standard input", ChannelChoice::Mix);
    assert!(
        empty
            .err()
            .unwrap()
            .to_string()
            .starts_with("standard input is empty")
    );
}

#[test]
fn what_is_no_sound() {
    let dir = tempfile::tempdir().unwrap();
    says(
        &file(
            &dir,
            "notes.wav",
            "Juniper sat at 3:12\n".repeat(40).as_bytes(),
        ),
        &["it is text", "WAV, FLAC"],
    );
    says(
        &file(&dir, "picture.mp3", b"\xff\xd8\xff\xe0 and so on"),
        &["it is a picture"],
    );
    says(
        &file(&dir, "zeros.wav", &[0; 100_000]),
        &["not a sound recording"],
    );
    says(
        &file(&dir, "tune.wav", b"MThd\0\0\0\x06\0\0\0\x01\0\x60"),
        &["MIDI"],
    );
    // Bytes of no format (a fixed shuffle).
    let mut state = 1_u32;
    let shuffled: Vec<u8> = (0..50_000)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8 & 0x7f
        })
        .collect();
    says(
        &file(&dir, "shuffled.flac", &shuffled),
        &["not a sound recording"],
    );
}

#[cfg(unix)]
#[test]
fn not_allowed() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let path = file(&dir, "secret.wav", b"RIFF");
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    // The superuser may read everything: then there is nothing to see.
    if std::fs::File::open(&path).is_err() {
        says(&path, &["not allowed"]);
    }
}

/// Codecs that are not decoded, made by ffmpeg, each named with the way out.
#[test]
fn undecoded_codecs_are_named() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 1.0));
    for (name, args, codec) in [
        ("film.mp4", &["-c:a", "ac3"][..], "AC-3"),
        ("film.mkv", &["-c:a", "ac3"], "AC-3"),
        ("film.ac3", &["-c:a", "ac3"], "AC-3"),
        ("old.wma", &["-c:a", "wmav2"], "Windows Media"),
        ("a.spx", &["-c:a", "libspeex", "-ar", "16000"], "Speex"),
        ("mp3.wav", &["-c:a", "libmp3lame"], "MP3 inside a WAV"),
        ("gsm.wav", &["-c:a", "libgsm_ms", "-ar", "8000"], "GSM"),
        ("a.wv", &["-c:a", "wavpack"], "WavPack"),
        ("a.tta", &["-c:a", "tta"], "TTA"),
        ("a.w64", &[], "W64"),
        (
            "six.m4a",
            &["-c:a", "aac", "-ac", "6"],
            "more than two channels",
        ),
    ] {
        let path = convert(&wav, dir.path().join(name), args);
        says(&path, &[codec, "Export or convert it", "ffmpeg -i "]);
    }
    says(
        &file(&dir, "call.amr", b"#!AMR\n\x3c\0\0"),
        &["AMR", "ffmpeg"],
    );
}

#[test]
fn encrypted_mp4() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 1.0));
    let path = convert(
        &wav,
        dir.path().join("locked.m4a"),
        &[
            "-f",
            "mp4",
            "-c:a",
            "aac",
            "-encryption_scheme",
            "cenc-aes-ctr",
            "-encryption_key",
            "76a6c65c5ea762046bd749a2e632ccbb",
            "-encryption_kid",
            "a7e61c373e219033c21091fa607bf3b8",
        ],
    );
    says(&path, &["encrypted"]);
}

#[test]
fn a_video_without_sound() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["mute.mp4", "mute.mkv"] {
        let path = dir.path().join(name);
        ffmpeg(&[
            "-f",
            "lavfi",
            "-i",
            "testsrc=duration=1:size=64x64:rate=25",
            "-c:v",
            "mpeg4",
            path.to_str().unwrap(),
        ]);
        says(&path, &["no sound track"]);
    }
}

#[test]
fn rates_that_cannot_be_measured() {
    let dir = tempfile::tempdir().unwrap();
    for rate_hz in [7_999, 192_001, 384_000] {
        let path = dir.path().join("rate.wav");
        Impulse::new(rate_hz, 1).write(&path);
        says(
            &path,
            &[&rate_hz.to_string(), "8000 to 192000 Hz", "-ar 48000"],
        );
    }
}

#[test]
fn a_wav_without_samples() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("none.wav");
    write_mono(&path, 48_000, &[]);
    says(&path, &["not one sample"]);
    // More after an empty sound is no sound.
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.extend_from_slice(b"LIST\x04\0\0\0INFO");
    let riff_len = (bytes.len() - 8) as u32;
    bytes[4..8].copy_from_slice(&riff_len.to_le_bytes());
    std::fs::write(&path, &bytes).unwrap();
    says(&path, &["not one sample"]);
}

/// Two MP3 recordings joined end to end, at different rates.
#[test]
fn a_change_of_rate_on_the_way() {
    let dir = tempfile::tempdir().unwrap();
    let mut joined = Vec::new();
    for rate_hz in [44_100, 48_000] {
        let wav = dir.path().join("a.wav");
        write_mono(&wav, rate_hz, &clicks(rate_hz, 1.0));
        let args = ["-write_xing", "0", "-id3v2_version", "0"];
        let part = convert(&wav, dir.path().join("part.mp3"), &args);
        joined.extend(std::fs::read(part).unwrap());
    }
    let path = file(&dir, "joined.mp3", &joined);
    let error = error_of(&path);
    let RecordingError::Changed { at_s, .. } = &error else {
        panic!("{error}");
    };
    assert!((at_s - 1.0).abs() < 0.1, "{error}");
    assert!(
        error
            .to_string()
            .contains("from 44100 Hz with 1 channel to 48000 Hz"),
        "{error}"
    );
}

/// A name with a space is quoted in the way out.
#[test]
fn the_way_out_can_be_pasted() {
    let dir = tempfile::tempdir().unwrap();
    let path = file(&dir, "goat talk.amr", b"#!AMR\n");
    let said = error_of(&path).to_string();
    assert!(said.contains("goat talk.amr' -vn '"), "{said}");
}
