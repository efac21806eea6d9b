//! Sound that is being written can be read at any time.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use marklag::sound::recording::{ChannelChoice, Recording};
use marklag::sound::wav_out::{Depth, WavOut, WavOutError, WavShape};

fn shape(depth: Depth) -> WavShape {
    WavShape {
        sample_rate_hz: 8_000,
        channels: 1,
        depth,
    }
}

fn read(path: &std::path::Path) -> Vec<f32> {
    let mut recording = Recording::open(path, ChannelChoice::Mix).unwrap();
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend_from_slice(block);
    }
    assert_eq!(recording.cut_short(), None);
    samples
}

/// What a kill leaves: the file as it is on the disk while the writer lives.
#[test]
fn a_kill_loses_at_most_a_second() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("kept.wav");
    let mut wav = WavOut::create(&path, shape(Depth::Int16)).unwrap();
    let mut written = 0;
    for n in 0..100 {
        wav.write(&[0.25; 777]).unwrap();
        written += 777;
        if n % 10 == 9 {
            let left = dir.path().join("left.wav");
            std::fs::copy(&path, &left).unwrap();
            // hound itself is the second reader.
            let header = hound::WavReader::open(&left).unwrap().duration() as usize;
            assert!(header + 8_000 + 777 > written, "{header} of {written}");
            let found = read(&left);
            // Before the first second the header says 0; the file is then read
            // to its end.
            assert!(if header > 0 {
                found.len() == header
            } else {
                !found.is_empty()
            });
            assert!(found.iter().all(|&s| s == 0.25));
        }
    }
    assert_eq!(wav.len_samples(), written as u64);
    std::mem::forget(wav);
}

#[test]
fn samples_come_back() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("a.wav");
    let samples = [0.0, 0.5, -0.5, 0.123_456_7, 1.5, -1.5, f32::NAN];
    for (depth, step, most) in [
        (Depth::Int16, 1.0 / 32_768.0, 1.0 - 1.0 / 32_768.0),
        (Depth::Int24, 1.0 / 8_388_608.0, 1.0 - 1.0 / 8_388_608.0),
        (Depth::Float32, 0.0, f32::INFINITY),
    ] {
        let mut wav = WavOut::create(&path, shape(depth)).unwrap();
        wav.write(&samples).unwrap();
        wav.finish().unwrap();
        let found = read(&path);
        assert_eq!(found.len(), samples.len());
        for (f, s) in found.iter().zip(samples) {
            let s = if s.is_nan() { 0.0 } else { s };
            let clipped = s.min(most).max(if most > 1.0 { -most } else { -1.0 });
            assert!(
                (f - clipped).abs() <= step / 2.0 + f32::EPSILON,
                "{depth:?} {s} {f}"
            );
        }
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said() {
    let full = std::path::Path::new("/dev/full");
    let mut wav = match WavOut::create(full, shape(Depth::Int16)) {
        Ok(wav) => wav,
        Err(error) => {
            assert!(matches!(error, WavOutError::DiskFull { .. }), "{error}");
            return;
        }
    };
    let error = (0..100)
        .find_map(|_| wav.write(&[0.1; 8_000]).err())
        .unwrap();
    assert!(matches!(error, WavOutError::DiskFull { .. }), "{error}");
    assert!(error.to_string().contains("disk is full"));
}

#[test]
fn no_channels_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let bad = WavShape {
        channels: 0,
        ..shape(Depth::Int16)
    };
    let error = WavOut::create(&dir.path().join("a.wav"), bad)
        .err()
        .unwrap();
    assert!(matches!(error, WavOutError::Shape { .. }));
}
