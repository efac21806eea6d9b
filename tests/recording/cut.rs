//! Files that break off are read up to there and say so.

use std::path::Path;

use marklag::sound::recording::{ChannelChoice, Recording, RecordingError};

use crate::make::{Impulse, clicks, convert, error_of, ffmpeg, peak_at, read, write_mono};

fn cut_to(path: &Path, share: f64) -> std::path::PathBuf {
    let bytes = std::fs::read(path).unwrap();
    let keep = (bytes.len() as f64 * share) as usize;
    let cut = path.with_file_name(format!(
        "cut-{}",
        path.file_name().unwrap().to_str().unwrap()
    ));
    std::fs::write(&cut, &bytes[..keep]).unwrap();
    cut
}

#[test]
fn every_format_is_read_up_to_the_cut() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    let rate_hz = 48_000;
    write_mono(&wav, rate_hz, &clicks(rate_hz, 4.0));
    for (name, args) in [
        ("c.wav", &[][..]),
        ("c.flac", &[]),
        ("c.aiff", &[]),
        ("c.ogg", &["-c:a", "libvorbis", "-page_duration", "100000"]),
        ("c.opus", &["-c:a", "libopus", "-page_duration", "100000"]),
        ("c.webm", &["-c:a", "libopus"]),
        ("opus.mp4", &["-c:a", "libopus", "-movflags", "+faststart"]),
        ("c.mp3", &[]),
        ("first.m4a", &["-c:a", "aac", "-movflags", "+faststart"]),
        (
            "first.mov",
            &["-c:a", "pcm_s16le", "-movflags", "+faststart"],
        ),
        (
            "pieces.mp4",
            &[
                "-c:a",
                "aac",
                "-movflags",
                "frag_keyframe+empty_moov",
                "-frag_duration",
                "500000",
            ],
        ),
        ("c.mkv", &["-c:a", "flac"]),
    ] {
        let path = convert(&wav, dir.path().join(name), args);
        let (_, whole) = read(&path, ChannelChoice::Mix).unwrap();
        for share in [0.95, 0.7, 0.5, 0.3] {
            let cut = cut_to(&path, share);
            let (recording, samples) =
                read(&cut, ChannelChoice::Mix).unwrap_or_else(|e| panic!("{name} {share}: {e}"));
            assert!(samples.len() < whole.len(), "{name} {share}");
            let got = samples.len() as f64 / whole.len() as f64;
            assert!((got - share).abs() < 0.2, "{name} {share}: {got}");
            // Every sample that is given is the one the whole file gives.
            let same = samples.iter().zip(&whole).filter(|(a, b)| a == b).count();
            assert!(
                same + 4_096 >= samples.len(),
                "{name} {share}: {same} of {}",
                samples.len()
            );
            let said = recording
                .cut_short()
                .unwrap_or_else(|| panic!("{name} {share}: not said"));
            let held = format!("{:.3} s", samples.len() as f64 / f64::from(rate_hz));
            assert!(
                said.contains(&held) && said.contains("up to there"),
                "{said} / {held}"
            );
        }
    }
}

/// Cut anywhere in the header: an error in words, or what sound there is.
#[test]
fn a_cut_in_the_header_is_no_panic() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 16_000, &clicks(16_000, 0.5));
    for (name, args) in [
        ("h.wav", &[][..]),
        ("h.flac", &[]),
        ("h.aiff", &[]),
        ("h.ogg", &["-c:a", "libvorbis"]),
        ("h.opus", &["-c:a", "libopus"]),
        ("h.webm", &["-c:a", "libopus"]),
        ("h.mp3", &[]),
        ("h.m4a", &["-movflags", "+faststart"]),
        ("h.mkv", &["-c:a", "flac"]),
        ("h.caf", &[]),
        ("h.aac", &[]),
    ] {
        let path = convert(&wav, dir.path().join(name), args);
        let bytes = std::fs::read(&path).unwrap();
        for keep in (0..300.min(bytes.len())).chain((300..bytes.len()).step_by(211)) {
            let cut = dir.path().join("cut.bin");
            std::fs::write(&cut, &bytes[..keep]).unwrap();
            if let Err(error) = read(&cut, ChannelChoice::Mix) {
                let said = error.to_string();
                assert!(said.contains("cut.bin"), "{name} at {keep}: {said}");
            }
        }
    }
}

#[test]
fn a_phone_video_without_its_index() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 4.0));
    let path = convert(&wav, dir.path().join("last.m4a"), &["-c:a", "aac"]);
    let error = error_of(&cut_to(&path, 0.8));
    assert!(matches!(error, RecordingError::NoIndex { .. }), "{error}");
    // The whole file through a pipe has its index out of reach.
    let pipe = std::fs::File::open(&path).unwrap();
    let error = Recording::from_reader(pipe, "standard input", ChannelChoice::Mix)
        .err()
        .unwrap();
    assert!(matches!(error, RecordingError::NeedsFile), "{error}");
    // With the index in front, the pipe is enough.
    let path = convert(
        &wav,
        dir.path().join("first.m4a"),
        &["-c:a", "aac", "-movflags", "+faststart"],
    );
    let pipe = std::fs::File::open(&path).unwrap();
    assert!(Recording::from_reader(pipe, "standard input", ChannelChoice::Mix).is_ok());
}

/// A recorder that was killed leaves lengths of 0; a stream leaves 2³²−1.
#[test]
fn a_wav_header_that_was_never_finished() {
    let dir = tempfile::tempdir().unwrap();
    let truth = Impulse::new(44_100, 2);
    let path = dir.path().join("a.wav");
    truth.write(&path);
    let bytes = std::fs::read(&path).unwrap();
    let data = bytes.windows(4).position(|w| w == b"data").unwrap();
    for (riff_len, data_len) in [(0, 0), (u32::MAX, u32::MAX), (36, 0), (u32::MAX, 0)] {
        let mut unfinished = bytes.clone();
        unfinished[4..8].copy_from_slice(&u32::to_le_bytes(riff_len));
        unfinished[data + 4..data + 8].copy_from_slice(&u32::to_le_bytes(data_len));
        std::fs::write(&path, &unfinished).unwrap();
        let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
        assert_eq!(samples.len(), truth.len);
        assert_eq!(peak_at(&samples), truth.at);
        assert_eq!(recording.cut_short(), None);
        assert!(recording.warnings().notes[0].contains("does not say how long"));
    }
    // What ffmpeg writes into a pipe.
    let streamed = dir.path().join("streamed.wav");
    let out = std::fs::File::create(&streamed).unwrap();
    truth.write(&path);
    let status = std::process::Command::new("ffmpeg")
        .args([
            "-loglevel",
            "error",
            "-i",
            path.to_str().unwrap(),
            "-f",
            "wav",
            "-",
        ])
        .stdout(out)
        .status()
        .expect("these tests make their recordings with ffmpeg: apt-get install ffmpeg");
    assert!(status.success());
    assert_eq!(
        peak_at(&read(&streamed, ChannelChoice::Mix).unwrap().1),
        truth.at
    );
}

/// A damaged stretch in the middle must not move what follows.
#[test]
fn damage_in_the_middle_keeps_later_times() {
    let dir = tempfile::tempdir().unwrap();
    let truth = Impulse {
        len: 480_000,
        at: 400_000,
        ..Impulse::new(48_000, 1)
    };
    let wav = dir.path().join("a.wav");
    truth.write(&wav);
    for (name, args) in [
        (
            "d.m4a",
            &["-c:a", "aac", "-b:a", "128k", "-movflags", "+faststart"][..],
        ),
        ("d.mkv", &["-c:a", "aac", "-b:a", "128k"]),
    ] {
        let with_hiss = dir.path().join("hiss.wav");
        ffmpeg(&[
            "-i",
            wav.to_str().unwrap(),
            "-f",
            "lavfi",
            "-i",
            "anoisesrc=d=10:r=48000:a=0.01:seed=7",
            "-filter_complex",
            "amix=inputs=2:normalize=0",
            with_hiss.to_str().unwrap(),
        ]);
        let path = convert(&with_hiss, dir.path().join(name), args);
        let whole = read(&path, ChannelChoice::Mix).unwrap().1;
        let mut bytes = std::fs::read(&path).unwrap();
        let at = bytes.len() / 3;
        for byte in &mut bytes[at..at + 3_000] {
            *byte = 0xff;
        }
        std::fs::write(&path, &bytes).unwrap();
        let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
        if recording.cut_short().is_none() {
            assert_eq!(
                samples.len(),
                whole.len(),
                "{name} {:?}",
                recording.warnings()
            );
            assert_eq!(peak_at(&samples), peak_at(&whole), "{name}");
            assert!(recording.warnings().gap_count > 0, "{name}");
        } else {
            panic!("{name}: {:?}", recording.cut_short());
        }
    }
}
