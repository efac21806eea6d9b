//! A long recording costs no more memory than a short one.
//!
//! Each is read by a process of its own (this test program, asked by an
//! environment variable), whose peak memory the system tells.

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::process::Command;

use marklag::sound::recording::{ChannelChoice, Recording};

use crate::make::{clicks, convert, ffmpeg, write_mono};

const ASK: &str = "MARKLAG_TEST_READ";

/// Not a test by itself: reads what the parent asks and prints samples and peak.
#[test]
fn child_reads_what_it_is_asked() {
    let Ok(path) = std::env::var(ASK) else {
        return;
    };
    let mut recording = Recording::open(Path::new(&path), ChannelChoice::Mix).unwrap();
    let mut samples = 0;
    while let Some(block) = recording.next_block().unwrap() {
        samples += block.len();
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let peak = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
    let peak_kb: u64 = peak.split_whitespace().nth(1).unwrap().parse().unwrap();
    println!("READ {samples} {peak_kb}");
}

fn read_in_a_process(path: &Path) -> (u64, u64) {
    let out = Command::new(std::env::current_exe().unwrap())
        .args([
            "memory::child_reads_what_it_is_asked",
            "--exact",
            "--nocapture",
        ])
        .env(ASK, path)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&out.stdout);
    let line = text
        .lines()
        .find_map(|l| l.split_once("READ ").map(|(_, numbers)| numbers))
        .unwrap_or_else(|| panic!("{text} {}", String::from_utf8_lossy(&out.stderr)));
    let mut numbers = line.split_whitespace().map(|n| n.parse().unwrap());
    (numbers.next().unwrap(), numbers.next().unwrap())
}

fn long_silent_wav(path: &Path, rate_hz: u32, seconds: u32) {
    let data_len = rate_hz * seconds * 2;
    let mut wav = File::create(path).unwrap();
    wav.write_all(b"RIFF").unwrap();
    wav.write_all(&(36 + data_len).to_le_bytes()).unwrap();
    wav.write_all(b"WAVEfmt \x10\0\0\0\x01\0\x01\0").unwrap();
    wav.write_all(&rate_hz.to_le_bytes()).unwrap();
    wav.write_all(&(rate_hz * 2).to_le_bytes()).unwrap();
    wav.write_all(b"\x02\0\x10\0data").unwrap();
    wav.write_all(&data_len.to_le_bytes()).unwrap();
    // The rest is a hole, which takes no room on the disk.
    wav.seek(SeekFrom::Start(44 + u64::from(data_len) - 1))
        .unwrap();
    wav.write_all(&[0]).unwrap();
}

#[cfg(target_os = "linux")]
#[test]
fn six_hours_of_wav_cost_what_a_minute_costs() {
    let dir = tempfile::tempdir().unwrap();
    let mut peaks = Vec::new();
    for seconds in [60, 6 * 3600] {
        let path = dir.path().join(format!("{seconds}.wav"));
        long_silent_wav(&path, 48_000, seconds);
        let (samples, peak_kb) = read_in_a_process(&path);
        assert_eq!(samples, u64::from(seconds) * 48_000);
        peaks.push(peak_kb);
    }
    assert!(peaks[1] < peaks[0] + 4_000, "{peaks:?} kB");
}

/// The index of an MP4 is held whole: some bytes for each of 47 packets a
/// second, not the sound itself. FLAC, MP3 and Ogg hold nothing.
#[cfg(target_os = "linux")]
#[test]
fn compressed_formats_cost_little_more() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("a.wav");
    write_mono(&wav, 48_000, &clicks(48_000, 60.0));
    for (name, args) in [
        ("a.m4a", &["-c:a", "aac"][..]),
        ("a.flac", &[]),
        ("a.mp3", &[]),
        ("a.ogg", &["-c:a", "libvorbis"]),
        ("a.opus", &["-c:a", "libopus"]),
        ("a.webm", &["-c:a", "libopus"]),
    ] {
        let short = convert(&wav, dir.path().join(name), args);
        let long = dir.path().join(format!("long-{name}"));
        ffmpeg(&[
            "-stream_loop",
            "14",
            "-i",
            short.to_str().unwrap(),
            "-c:a",
            // Joined FLAC frames would count anew.
            if name == "a.flac" { "flac" } else { "copy" },
            long.to_str().unwrap(),
        ]);
        let (short_samples, short_kb) = read_in_a_process(&short);
        let (long_samples, long_kb) = read_in_a_process(&long);
        assert!(long_samples > short_samples * 14, "{name}");
        // 14 minutes more: under 0.2 MB a minute of index, where sound decoded
        // into memory would take 11.5 MB a minute.
        assert!(
            long_kb < short_kb + 2_800,
            "{name}: {short_kb} and {long_kb} kB"
        );
    }
}
