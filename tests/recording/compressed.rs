//! What a recording says of its compression, and lengths that containers count in
//! another way than the decoder.

use std::path::Path;
use std::process::Command;

use marklag::sound::recording::{ChannelChoice, RecordingError};

use crate::make::{clicks, convert, error_of, read, shift, write_mono};

/// The bytes of all packets, as ffprobe counts them.
fn packet_bytes(path: &Path) -> u64 {
    let out = Command::new("ffprobe")
        .args([
            "-v",
            "error",
            "-show_entries",
            "packet=size",
            "-of",
            "csv=p=0",
        ])
        .arg(path)
        .output()
        .expect("these tests look at recordings with ffprobe: apt-get install ffmpeg");
    let text = String::from_utf8(out.stdout).unwrap();
    let size = |line: &str| line.trim_end_matches(',').parse::<u64>().unwrap();
    text.lines().filter(|l| !l.is_empty()).map(size).sum()
}

#[test]
fn the_compression_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 6.0));
    for (name, args, codec, lossy) in [
        ("a.m4a", &["-c:a", "aac", "-b:a", "64k"][..], "AAC", true),
        ("a.opus", &["-c:a", "libopus", "-b:a", "32k"], "Opus", true),
        ("a.webm", &["-c:a", "libopus", "-b:a", "24k"], "Opus", true),
        ("a.mp3", &["-b:a", "64k"], "MP3", true),
        ("a.ogg", &["-c:a", "libvorbis"], "Vorbis", true),
        ("a.flac", &[], "FLAC", false),
        (
            "alac.m4a",
            &["-c:a", "alac"],
            "Apple Lossless (ALAC)",
            false,
        ),
        ("adpcm.wav", &["-c:a", "adpcm_ms"], "Microsoft ADPCM", true),
    ] {
        let path = convert(&wav, dir.path().join(name), args);
        let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
        let compression = recording.compression().unwrap();
        assert_eq!(
            (compression.codec.as_str(), compression.lossy),
            (codec, lossy)
        );
        let kbit_s = compression.kbit_s.unwrap();
        let expected = packet_bytes(&path) as f64 * 8e-3 / (samples.len() as f64 / 48_000.0);
        // Lead-in and padding are in one count and not in the other.
        assert!(
            (kbit_s / expected - 1.0).abs() < 0.03,
            "{name}: {kbit_s} {expected}"
        );
        if name == "a.mp3" {
            assert_eq!(compression.to_string(), "64 kbit/s MP3");
        }
    }
    for (name, args) in [
        ("b.wav", &[][..]),
        ("f.wav", &["-c:a", "pcm_f32le"]),
        ("b.aiff", &[]),
    ] {
        let path = convert(&wav, dir.path().join(name), args);
        let (recording, _) = read(&path, ChannelChoice::Mix).unwrap();
        assert_eq!(recording.compression(), None, "{name}");
    }
}

/// A CAF of ALAC whose packet table counts whole packets, as ffmpeg writes it, is
/// whole; one that lacks a packet is not.
#[test]
fn an_alac_caf_is_not_called_cut_short() {
    let dir = tempfile::tempdir().unwrap();
    let truth = clicks(48_000, 3.3);
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &truth);
    let path = convert(&wav, dir.path().join("a.caf"), &["-c:a", "alac"]);
    let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
    assert_eq!(recording.cut_short(), None);
    assert_eq!(samples.len(), truth.len());
    // One packet more is promised (Apple Core Audio Format Specification 1.0,
    // "Packet Table Chunk": valid frames).
    let mut bytes = std::fs::read(&path).unwrap();
    let at = bytes.windows(4).position(|w| w == b"pakt").unwrap() + 20;
    let valid = i64::from_be_bytes(bytes[at..at + 8].try_into().unwrap());
    bytes[at..at + 8].copy_from_slice(&(valid + 4_096).to_be_bytes());
    std::fs::write(&path, bytes).unwrap();
    let (recording, _) = read(&path, ChannelChoice::Mix).unwrap();
    assert!(recording.cut_short().unwrap().contains("cut short"));
}

/// Changes a number of a box that occurs once.
fn change(bytes: &mut [u8], kind: &[u8; 4], offset: usize, to: impl Fn(u32) -> u32) {
    let at = bytes.windows(4).position(|w| w == kind).unwrap() + 4 + offset;
    let now = u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    bytes[at..at + 4].copy_from_slice(&to(now).to_be_bytes());
}

/// HE-AAC as MP4 counts it (ISO/IEC 14496-14 and 14496-3, 1.6.5): the clock runs at
/// twice the core's rate, a packet lasts 2048 ticks. ffmpeg writes plain AAC, so its
/// boxes are rewritten: `stts` deltas, `mdhd` and `elst` in ISO/IEC 14496-12.
fn count_at_twice_the_rate(bytes: &mut [u8]) {
    let twice = |n: u32| n * 2;
    change(bytes, b"mdhd", 12, twice); // ticks a second
    change(bytes, b"mdhd", 16, twice); // duration
    change(bytes, b"elst", 12, twice); // where the media begins
    let stts = bytes.windows(4).position(|w| w == b"stts").unwrap();
    let entries = u32::from_be_bytes(bytes[stts + 8..stts + 12].try_into().unwrap());
    for n in 0..entries as usize {
        change(bytes, b"stts", 12 + 8 * n, twice);
    }
    change(bytes, b"mp4a", 24, twice); // the rate, 16.16 bits
}

#[test]
fn he_aac_is_heard_at_half_its_rate_and_named() {
    let dir = tempfile::tempdir().unwrap();
    let truth = clicks(24_000, 3.0);
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 24_000, &truth);
    let path = convert(
        &wav,
        dir.path().join("he.m4a"),
        &["-c:a", "aac", "-b:a", "32k"],
    );
    let (plain, expected) = read(&path, ChannelChoice::Mix).unwrap();
    assert!(plain.warnings().notes.is_empty());
    let mut bytes = std::fs::read(&path).unwrap();
    count_at_twice_the_rate(&mut bytes);
    // Plain AAC at 24 kHz, mono: 00010 0110 0001 000 and the sync word.
    let core = [0x13, 0x08, 0x56, 0xe5, 0x00];
    let at = bytes.windows(5).position(|w| w == core).unwrap();
    for (header, name) in [
        (core, "HE-AAC (AAC with spectral band replication)"),
        // With the sync word's flag set.
        (
            [0x13, 0x08, 0x56, 0xe5, 0x80],
            "HE-AAC (AAC with spectral band replication)",
        ),
        // Object type 5 or 29, 24 kHz, mono, extended to 48 kHz, plain core.
        (
            [0x2b, 0x09, 0x88, 0x00, 0x00],
            "HE-AAC (AAC with spectral band replication)",
        ),
        (
            [0xeb, 0x09, 0x88, 0x00, 0x00],
            "HE-AAC v2 (AAC with parametric stereo)",
        ),
    ] {
        bytes[at..at + 5].copy_from_slice(&header);
        std::fs::write(&path, &bytes).unwrap();
        let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
        assert_eq!(recording.cut_short(), None, "{header:x?}");
        assert_eq!(recording.info().sample_rate_hz, 24_000);
        assert_eq!(recording.info().codec, "HE-AAC");
        assert_eq!(samples, expected, "{header:x?}");
        assert_eq!(shift(&truth, &samples, 1_500), 0);
        let notes = &recording.warnings().notes;
        assert!(notes[0].starts_with(name), "{notes:?}");
        assert!(notes[0].contains("at 24000 Hz, half its rate"), "{notes:?}");
        let claimed_s = recording.info().duration_s.unwrap();
        assert!((claimed_s - 3.0).abs() < 0.05, "{claimed_s}");
    }
}

/// A cut is still seen where the clock runs at twice the rate.
#[test]
fn he_aac_that_is_cut_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 24_000, &clicks(24_000, 3.0));
    let args = ["-c:a", "aac", "-movflags", "+faststart"];
    let path = convert(&wav, dir.path().join("he.m4a"), &args);
    let mut bytes = std::fs::read(&path).unwrap();
    count_at_twice_the_rate(&mut bytes);
    bytes.truncate(bytes.len() * 2 / 3);
    std::fs::write(&path, &bytes).unwrap();
    let (recording, samples) = read(&path, ChannelChoice::Mix).unwrap();
    let said = recording.cut_short().unwrap();
    assert!(said.contains("promises 3.0"), "{said}");
    assert!(
        said.contains(&format!("{:.3} s", samples.len() as f64 / 24_000.0)),
        "{said}"
    );
}

/// Kinds of AAC that are not decoded are still refused by name: object type 39
/// (ISO/IEC 14496-3, table 1.17) is 11111 000111.
#[test]
fn other_aac_is_refused_by_name() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 1.0));
    let path = convert(&wav, dir.path().join("eld.m4a"), &["-c:a", "aac"]);
    let mut bytes = std::fs::read(&path).unwrap();
    let plain = [0x11, 0x88, 0x56, 0xe5, 0x00];
    let at = bytes.windows(5).position(|w| w == plain).unwrap();
    bytes[at..at + 2].copy_from_slice(&[0xf8, 0xe6]);
    std::fs::write(&path, &bytes).unwrap();
    let error = error_of(&path);
    assert!(
        matches!(error, RecordingError::UnsupportedCodec { .. }),
        "{error}"
    );
    assert!(error.to_string().contains("AAC-ELD"), "{error}");
}
