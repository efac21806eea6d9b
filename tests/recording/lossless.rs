//! Lossless formats give every sample at its place.

use std::path::Path;

use marklag::sound::recording::{ChannelChoice, Recording};

use crate::make::{Impulse, convert, drain, ffmpeg, peak_at, read};

fn check(path: &Path, truth: &Impulse, tolerance: f32) {
    let (recording, samples) =
        read(path, ChannelChoice::Mix).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let what = format!("{} {:?}", path.display(), recording.info());
    assert_eq!(recording.info().sample_rate_hz, truth.rate_hz, "{what}");
    assert_eq!(recording.info().channels, truth.channels as usize, "{what}");
    assert_eq!(recording.cut_short(), None, "{what}");
    assert_eq!(
        recording.warnings().sentences(truth.rate_hz).len(),
        0,
        "{what} {:?}",
        recording.warnings()
    );
    assert_eq!(samples.len(), truth.len, "{what}");
    assert_eq!(peak_at(&samples), truth.at, "{what}");
    assert!(
        (samples[truth.at] - 29_491.0 / 32_768.0).abs() <= tolerance,
        "{what} {}",
        samples[truth.at]
    );
    let others = samples.iter().enumerate().filter(|(n, _)| *n != truth.at);
    assert!(
        others.map(|(_, s)| s.abs()).fold(0.0, f32::max) <= tolerance,
        "{what}"
    );
    let duration_s = recording
        .info()
        .duration_s
        .unwrap_or_else(|| panic!("no length: {what}"));
    assert!((duration_s - 2.0).abs() < 1e-3, "{what}");
}

#[test]
fn wav_at_every_rate_and_channel_count() {
    let dir = tempfile::tempdir().unwrap();
    for rate_hz in [
        8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000,
    ] {
        for channels in [1, 2, 10] {
            let truth = Impulse::new(rate_hz, channels);
            let path = dir.path().join("a.wav");
            truth.write(&path);
            check(&path, &truth, 1e-6);
        }
    }
}

#[test]
fn wav_of_every_width() {
    let dir = tempfile::tempdir().unwrap();
    for (rate_hz, channels) in [(8_000, 1), (48_000, 2)] {
        let truth = Impulse::new(rate_hz, channels);
        let wav = dir.path().join("a.wav");
        truth.write(&wav);
        for (codec, tolerance) in [
            ("pcm_u8", 0.01),
            ("pcm_s16le", 1e-6),
            ("pcm_s24le", 1e-6),
            ("pcm_s32le", 1e-6),
            ("pcm_f32le", 1e-6),
            ("pcm_f64le", 1e-6),
            ("pcm_alaw", 0.02),
            ("pcm_mulaw", 0.02),
        ] {
            let path = convert(
                &wav,
                dir.path().join(format!("{codec}.wav")),
                &["-c:a", codec],
            );
            check(&path, &truth, tolerance);
        }
        // RF64 for files over 4 GB; here always.
        let path = convert(&wav, dir.path().join("rf64.wav"), &["-rf64", "always"]);
        check(&path, &truth, 1e-6);
    }
}

/// WAVE_FORMAT_EXTENSIBLE as hound and ffmpeg write it for many channels.
#[test]
fn extensible_wav() {
    let dir = tempfile::tempdir().unwrap();
    let truth = Impulse::new(44_100, 10);
    let wav = dir.path().join("ten.wav");
    truth.write(&wav);
    assert_eq!(
        &std::fs::read(&wav).unwrap()[20..22],
        &[0xfe, 0xff],
        "extensible"
    );
    check(&wav, &truth, 1e-6);
}

#[test]
fn other_lossless_formats() {
    let dir = tempfile::tempdir().unwrap();
    for (rate_hz, channels) in [
        (8_000, 1),
        (44_100, 2),
        (48_000, 1),
        (96_000, 2),
        (192_000, 1),
    ] {
        let truth = Impulse::new(rate_hz, channels);
        let wav = dir.path().join("a.wav");
        truth.write(&wav);
        for (name, args) in [
            ("a.flac", &["-c:a", "flac"][..]),
            ("a.oga", &["-c:a", "flac"]),
            ("alac.m4a", &["-c:a", "alac"]),
            ("a.aiff", &[]),
            ("pcm.caf", &["-c:a", "pcm_s16le"]),
            ("pcm.mov", &["-c:a", "pcm_s16le"]),
            ("flac.mkv", &["-c:a", "flac"]),
            ("pcm.mkv", &["-c:a", "pcm_s16le"]),
        ] {
            let path = convert(&wav, dir.path().join(format!("{rate_hz}-{name}")), args);
            check(&path, &truth, 1e-6);
        }
    }
}

#[test]
fn a_pipe_gives_what_the_file_gives() {
    let dir = tempfile::tempdir().unwrap();
    let truth = Impulse::new(48_000, 2);
    let wav = dir.path().join("a.wav");
    truth.write(&wav);
    for name in [
        "b.wav", "b.flac", "b.ogg", "b.mp3", "b.mkv", "b.aiff", "b.aac",
    ] {
        let path = convert(&wav, dir.path().join(name), &[]);
        let (_, from_file) = read(&path, ChannelChoice::Mix).unwrap();
        let pipe = std::fs::File::open(&path).unwrap();
        let mut piped = Recording::from_reader(pipe, "standard input", ChannelChoice::Mix).unwrap();
        let from_pipe = drain(&mut piped).unwrap();
        // Without the end of the file in view, Ogg cannot drop the padding.
        let common = from_file.len().min(from_pipe.len());
        assert!(
            from_file.len() - common <= 4096 && from_pipe.len() - common <= 4096,
            "{name}"
        );
        assert!(from_file[..common] == from_pipe[..common], "{name}");
    }
}

/// A phone video: the picture's track is passed over, whichever comes first.
#[test]
fn the_sound_of_a_video() {
    let dir = tempfile::tempdir().unwrap();
    let truth = Impulse::new(48_000, 1);
    let wav = dir.path().join("a.wav");
    truth.write(&wav);
    for name in ["v.mov", "v.mkv"] {
        let path = dir.path().join(name);
        ffmpeg(&[
            "-f",
            "lavfi",
            "-i",
            "testsrc=duration=2:size=64x64:rate=25",
            "-i",
            wav.to_str().unwrap(),
            "-map",
            "0:v",
            "-map",
            "1:a",
            "-c:v",
            "mpeg4",
            "-c:a",
            "pcm_s16le",
            path.to_str().unwrap(),
        ]);
        let (_, samples) = read(&path, ChannelChoice::Mix).unwrap();
        assert_eq!(peak_at(&samples), truth.at, "{name}");
    }
}

#[test]
fn channels_are_mixed_by_their_mean_or_chosen_from_one() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("three.wav");
    let spec = hound::WavSpec {
        channels: 3,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&path, spec).unwrap();
    for _ in 0..1_000 {
        for level in [8_192_i16, -4_096, 2_048] {
            wav.write_sample(level).unwrap();
        }
    }
    wav.finalize().unwrap();
    let first = |channel| read(&path, channel).unwrap().1[500];
    assert_eq!(first(ChannelChoice::Only(1)), 0.25);
    assert_eq!(first(ChannelChoice::Only(2)), -0.125);
    assert_eq!(first(ChannelChoice::Only(3)), 0.0625);
    assert_eq!(first(ChannelChoice::Mix), 0.1875 / 3.0);
    for wanted in [0, 4] {
        let error = read(&path, ChannelChoice::Only(wanted))
            .err()
            .unwrap()
            .to_string();
        assert!(
            error.contains("has 3 channels") && error.contains(&wanted.to_string()),
            "{error}"
        );
    }
}

#[test]
fn one_sample_is_a_recording() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("one.wav");
    crate::make::write_mono(&path, 8_000, &[0.5]);
    assert_eq!(read(&path, ChannelChoice::Mix).unwrap().1.len(), 1);
}

#[test]
fn what_is_no_number_becomes_silence_and_is_counted() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("nan.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut wav = hound::WavWriter::create(&path, spec).unwrap();
    for s in [0.25, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -0.25, 3.0] {
        wav.write_sample(s).unwrap();
    }
    wav.finalize().unwrap();
    let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
    assert_eq!(samples, [0.25, 0.0, 0.0, 0.0, -0.25, 3.0]);
    assert_eq!(recording.warnings().nonfinite_samples, 3);
    assert!(recording.warnings().sentences(48_000)[0].starts_with("3 samples"));
}
