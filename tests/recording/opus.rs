//! Opus in each container that holds it: every time is that of libopus behind
//! ffmpeg, to the sample, and of the sound that was encoded.

use std::path::{Path, PathBuf};
use std::process::Command;

use marklag::sound::recording::{ChannelChoice, Recording};

use crate::make::{clicks, convert, drain, ffmpeg, read, shift, write_mono};

const SECONDS: f64 = 3.3;

fn source(dir: &Path) -> (PathBuf, Vec<f32>) {
    let truth = clicks(48_000, SECONDS);
    let wav = dir.join("a.wav");
    write_mono(&wav, 48_000, &truth);
    (wav, truth)
}

/// What libopus decodes behind ffmpeg: the mean of all channels.
fn by_libopus(path: &Path, channels: usize) -> Vec<f32> {
    let out = Command::new("ffmpeg")
        .args(["-loglevel", "error", "-c:a", "libopus", "-i"])
        .arg(path)
        .args(["-f", "f32le", "-c:a", "pcm_f32le", "-"])
        .output()
        .expect("these tests make their recordings with ffmpeg: apt-get install ffmpeg");
    assert!(out.status.success());
    let samples: Vec<f32> = out
        .stdout
        .as_chunks::<4>()
        .0
        .iter()
        .map(|b| f32::from_le_bytes(*b))
        .collect();
    let mean = |frame: &[f32]| frame.iter().sum::<f32>() / channels as f32;
    samples.chunks(channels).map(mean).collect()
}

/// The largest difference over the root mean square, over what both hold.
fn unlikeness(a: &[f32], b: &[f32]) -> f64 {
    let both = a.iter().zip(b);
    let worst = both.fold(0.0, |most, (a, b)| f32::max(most, (a - b).abs()));
    let power: f64 = b.iter().map(|x| f64::from(*x).powi(2)).sum();
    f64::from(worst) / (power / b.len() as f64).sqrt()
}

/// Reads a file, which must be whole and without a warning.
fn read_whole(path: &Path) -> (Recording, Vec<f32>) {
    let (recording, samples) =
        read(path, ChannelChoice::Mix).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert_eq!(recording.cut_short(), None, "{}", path.display());
    let warnings = recording.warnings();
    assert!(
        warnings.gaps.is_empty() && warnings.notes.is_empty(),
        "{}: {warnings:?}",
        path.display()
    );
    assert_eq!(recording.info().sample_rate_hz, 48_000);
    assert_eq!(recording.info().codec, "Opus");
    (recording, samples)
}

#[test]
fn every_container_is_decoded_as_by_libopus_to_the_sample() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, truth) = source(dir.path());
    for (kbit, application) in [
        ("16k", "voip"),
        ("24k", "voip"),
        ("32k", "voip"),
        ("32k", "audio"),
        ("64k", "audio"),
    ] {
        let args = ["-c:a", "libopus", "-b:a", kbit, "-application", application];
        for name in ["a.opus", "a.ogg", "a.webm", "a.mkv", "a.mp4", "a.caf"] {
            let what = format!("{name} {kbit} {application}");
            let path = convert(&wav, dir.path().join(name), &args);
            let (_, samples) = read_whole(&path);
            let reference = by_libopus(&path, 1);
            assert_eq!(shift(&reference, &samples, 50), 0, "{what}");
            // Two roundings of the same decoder differ by far less than the sound.
            let unlike = unlikeness(&samples, &reference);
            assert!(unlike < 0.01, "{what}: {unlike}");
            match name {
                // ffmpeg writes neither lead-in nor padding into its CAF.
                "a.caf" => assert_eq!(samples.len(), reference.len(), "{what}"),
                // ffmpeg does not drop the padding that its MP4 declares.
                "a.mp4" => assert!(samples.len() <= reference.len(), "{what}"),
                _ => assert_eq!(samples.len(), reference.len(), "{what}"),
            }
            if name != "a.caf" {
                assert_eq!(samples.len(), truth.len(), "{what}");
                // The encoder itself may place low bands a sample or two off.
                let off = shift(&truth, &samples, 50);
                assert!(off.abs() <= 2, "{what}: {off}");
            }
        }
    }
}

/// Every length of packet that Opus has (RFC 6716, 2.1.4), and two channels.
#[test]
fn packets_of_every_length() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, truth) = source(dir.path());
    for ms in ["2.5", "5", "10", "20", "40", "60", "120"] {
        for channels in ["1", "2"] {
            let args = [
                "-c:a",
                "libopus",
                "-b:a",
                "48k",
                "-frame_duration",
                ms,
                "-ac",
                channels,
            ];
            for name in ["a.opus", "a.webm", "a.mp4"] {
                let path = convert(&wav, dir.path().join(name), &args);
                let (recording, samples) = read_whole(&path);
                assert_eq!(samples.len(), truth.len(), "{name} {ms} ms");
                let count: usize = channels.parse().unwrap();
                assert_eq!(recording.info().channels, count);
                let reference = by_libopus(&path, count);
                let unlike = unlikeness(&samples, &reference);
                assert!(unlike < 0.01, "{name} {ms} ms, {channels}: {unlike}");
            }
        }
    }
}

/// Channel mapping family 1 (RFC 7845, 5.1.1.2): six channels in four streams.
#[test]
fn more_than_two_channels_are_mixed_or_chosen() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, truth) = source(dir.path());
    for name in ["six.opus", "six.webm", "six.mkv"] {
        let path = convert(
            &wav,
            dir.path().join(name),
            &[
                "-af",
                "pan=5.1|FL=c0|FR=0.5*c0|FC=c0|LFE=0.3*c0|BL=0.2*c0|BR=c0",
                "-c:a",
                "libopus",
                "-b:a",
                "192k",
                "-mapping_family",
                "1",
            ],
        );
        let (recording, samples) = read_whole(&path);
        assert_eq!(recording.info().channels, 6);
        assert_eq!(samples.len(), truth.len());
        assert_eq!(shift(&by_libopus(&path, 6), &samples, 50), 0);
        let unlike = unlikeness(&samples, &by_libopus(&path, 6));
        assert!(unlike < 0.01, "{unlike}");
        let (_, first) = read(&path, ChannelChoice::Only(1)).unwrap();
        assert!(shift(&truth, &first, 50).abs() <= 2);
        assert!(read(&path, ChannelChoice::Only(7)).is_err());
    }
}

/// A layout that is not Vorbis's is refused in words: the last two places of the
/// mapping changed (RFC 7845, 5.1.1).
#[test]
fn a_layout_of_its_own_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, _) = source(dir.path());
    let path = convert(
        &wav,
        dir.path().join("six.mkv"),
        &["-ac", "6", "-c:a", "libopus", "-mapping_family", "1"],
    );
    let mut bytes = std::fs::read(&path).unwrap();
    let at = bytes.windows(8).position(|w| w == b"OpusHead").unwrap();
    bytes.swap(at + 21 + 4, at + 21 + 5);
    std::fs::write(&path, bytes).unwrap();
    let said = crate::make::error_of(&path).to_string();
    assert!(said.contains("arranged in a way of their own"), "{said}");
    assert!(said.contains("Export or convert it"), "{said}");
}

/// Apple Core Audio Format Specification 1.0, "Packet Table Chunk": valid, priming
/// and remainder frames, which ffmpeg leaves at 0, put in by hand.
#[test]
fn a_caf_that_declares_its_lead_in_and_padding() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, truth) = source(dir.path());
    let args = ["-c:a", "libopus", "-b:a", "32k"];
    let path = convert(&wav, dir.path().join("a.caf"), &args);
    let bare = read_whole(&path).0;
    let note = bare.info().absolute_time_note.clone().unwrap();
    assert!(note.contains("does not declare"), "{note}");
    let mut bytes = std::fs::read(&path).unwrap();
    let at = bytes.windows(4).position(|w| w == b"pakt").unwrap() + 12;
    let packets = i64::from_be_bytes(bytes[at..at + 8].try_into().unwrap());
    let valid = truth.len() as i64;
    let remainder = packets * 960 - 312 - valid;
    bytes[at + 8..at + 16].copy_from_slice(&valid.to_be_bytes());
    bytes[at + 16..at + 20].copy_from_slice(&312_i32.to_be_bytes());
    bytes[at + 20..at + 24].copy_from_slice(&(remainder as i32).to_be_bytes());
    std::fs::write(&path, bytes).unwrap();
    let (declared, samples) = read_whole(&path);
    assert_eq!(declared.info().absolute_time_note, None);
    let ogg = convert(&wav, dir.path().join("a.opus"), &args);
    let (_, reference) = read_whole(&ogg);
    assert_eq!(samples, reference);
}

/// A sound that is read from a pipe is the same.
#[test]
fn a_pipe_gives_what_a_file_gives() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, _) = source(dir.path());
    let path = convert(&wav, dir.path().join("a.opus"), &["-c:a", "libopus"]);
    let (_, whole) = read_whole(&path);
    let pipe = std::fs::File::open(&path).unwrap();
    let mut piped = Recording::from_reader(pipe, "standard input", ChannelChoice::Mix).unwrap();
    assert_eq!(drain(&mut piped).unwrap(), whole);
    assert_eq!(piped.cut_short(), None);
}

/// The places of the pages in an Ogg file.
fn pages(bytes: &[u8]) -> Vec<usize> {
    let mark = |w: &[u8]| w == b"OggS";
    (0..bytes.len() - 4)
        .filter(|&at| mark(&bytes[at..at + 4]))
        .collect()
}

/// A page that is lost or broken is a gap of its own length; what follows keeps its
/// time (RFC 7845, 4: granule positions count all samples).
#[test]
fn a_lost_page_keeps_later_times() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, _) = source(dir.path());
    let args = ["-c:a", "libopus", "-b:a", "64k", "-page_duration", "200000"];
    let path = convert(&wav, dir.path().join("a.opus"), &args);
    let (_, whole) = read_whole(&path);
    let bytes = std::fs::read(&path).unwrap();
    let pages = pages(&bytes);
    // The first page of sound, one in the middle, and two in a row.
    for (from, to) in [(2, 3), (6, 7), (6, 8)] {
        let mut without = bytes.clone();
        without.drain(pages[from]..pages[to]);
        let mut broken = bytes.clone();
        for page in from..to {
            broken[pages[page] + 60] ^= 0x55;
        }
        for (what, damaged) in [("without", without), ("broken", broken)] {
            let what = format!("{what} {from} to {to}");
            std::fs::write(&path, damaged).unwrap();
            let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
            assert_eq!(recording.cut_short(), None, "{what}");
            assert_eq!(samples.len(), whole.len(), "{what}");
            let gaps = &recording.warnings().gaps;
            assert_eq!(gaps.len(), 1, "{what}: {gaps:?}");
            let end = (gaps[0].at_sample + gaps[0].len_samples) as usize;
            assert!(gaps[0].len_samples >= 9_600 - 312, "{what}: {gaps:?}");
            // A decoder is itself again some packets after a loss.
            let after = end + 24_000;
            assert_eq!(shift(&whole[after..], &samples[after..], 50), 0, "{what}");
            let unlike = unlikeness(&samples[after..], &whole[after..]);
            assert!(unlike < 0.01, "{what}: {unlike}");
            let before = gaps[0].at_sample as usize;
            assert_eq!(samples[..before], whole[..before], "{what}");
        }
    }
}

/// Three packets of 20 ms left out of the middle: the clocks of the containers say
/// so, although that of Matroska counts in whole milliseconds.
#[test]
fn lost_packets_keep_later_times() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, _) = source(dir.path());
    let args = ["-c:a", "libopus", "-b:a", "64k"];
    let ogg = convert(&wav, dir.path().join("a.opus"), &args);
    let (_, whole) = read_whole(&ogg);
    for name in ["lost.webm", "lost.mkv", "lost.mp4", "lost.opus"] {
        let path = dir.path().join(name);
        let drop = r"noise=drop=between(n\,60\,62)";
        convert(&ogg, path.clone(), &["-c:a", "copy", "-bsf:a", drop]);
        let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
        let gaps = &recording.warnings().gaps;
        assert_eq!(gaps.len(), 1, "{name}: {gaps:?}");
        assert_eq!(gaps[0].len_samples, 3 * 960, "{name}");
        // A page of Ogg tells its end, not which of its packets are missing: the gap
        // lies before the first of them.
        let at = if name == "lost.opus" { 50 } else { 60 };
        assert_eq!(gaps[0].at_sample, at * 960 - 312, "{name}");
        let after = 63 * 960 + 24_000;
        let len = samples.len().min(whole.len());
        assert_eq!(
            shift(&whole[after..len], &samples[after..len], 50),
            0,
            "{name}"
        );
        let unlike = unlikeness(&samples[after..len], &whole[after..len]);
        assert!(unlike < 0.01, "{name}: {unlike}");
    }
}

/// Ogg streams one after another in a file (RFC 3533, 4: chaining).
#[test]
fn a_chained_file_is_read_to_its_end() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, truth) = source(dir.path());
    let one = convert(&wav, dir.path().join("a.opus"), &["-c:a", "libopus"]);
    let two = convert(
        &wav,
        dir.path().join("b.opus"),
        &["-c:a", "libopus", "-ac", "2", "-serial_offset", "7"],
    );
    let mut chain = std::fs::read(&one).unwrap();
    chain.extend(std::fs::read(&two).unwrap());
    let path = dir.path().join("chain.opus");
    std::fs::write(&path, chain).unwrap();
    let (_, samples) = read_whole(&path);
    assert_eq!(samples.len(), 2 * truth.len());
    let second = &samples[truth.len()..];
    assert!(shift(&truth, second, 50).abs() <= 2);
}

/// A video with Opus: the picture is passed over.
#[test]
fn a_video_with_opus() {
    let dir = tempfile::tempdir().unwrap();
    let (wav, truth) = source(dir.path());
    for (name, video) in [("v.webm", "libvpx"), ("v.mp4", "mpeg4")] {
        let path = dir.path().join(name);
        ffmpeg(&[
            "-f",
            "lavfi",
            "-i",
            "testsrc=duration=3.3:size=64x64:rate=25",
            "-i",
            wav.to_str().unwrap(),
            "-c:v",
            video,
            "-c:a",
            "libopus",
            path.to_str().unwrap(),
        ]);
        let (recording, samples) = read_whole(&path);
        assert!(recording.info().sound_starts_after_picture_s.abs() < 1e-9);
        assert_eq!(samples.len(), truth.len(), "{name}");
        assert!(shift(&truth, &samples, 50).abs() <= 2, "{name}");
    }
}
