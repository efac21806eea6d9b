//! Copies of a WAV with cue points, read again by independent readers.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use marklag::sound::cues::{Cue, CuesError, write_cues};
use marklag::sound::wav_out::{Depth, WavOut, WavShape};

fn cue(sample: u64, label: &str) -> Cue {
    Cue {
        sample,
        label: label.to_owned(),
    }
}

fn cues() -> Vec<Cue> {
    vec![
        cue(4_800, "floor 1"),
        cue(5_520, "mark +15.0 ms"),
        cue(9_600, "missed"),
        cue(12_000, "Möhre, odd"),
    ]
}

fn write_wav(path: &Path, depth: Depth, channels: u16, frames: usize) {
    let shape = WavShape {
        sample_rate_hz: 48_000,
        channels,
        depth,
    };
    let mut wav = WavOut::create(path, shape).unwrap();
    let samples: Vec<f32> = (0..frames * channels as usize)
        .map(|n| (n as f32 * 0.37).sin() * 0.8)
        .collect();
    wav.write(&samples).unwrap();
    wav.finish().unwrap();
}

/// The chunks of a RIFF file in order, as the 1991 specification has them; an
/// own reader, which shares nothing with the writer.
fn chunks(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let u32_at = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
    assert_eq!(&bytes[..4], b"RIFF");
    assert_eq!(u32_at(4) + 8, bytes.len(), "the length of the whole");
    assert_eq!(&bytes[8..12], b"WAVE");
    let mut at = 12;
    let mut out = Vec::new();
    while at < bytes.len() {
        let id = String::from_utf8(bytes[at..at + 4].to_vec()).unwrap();
        let len = u32_at(at + 4);
        out.push((id, bytes[at + 8..at + 8 + len].to_vec()));
        at += 8 + len + len % 2;
    }
    assert_eq!(at, bytes.len());
    out
}

fn chunk<'a>(all: &'a [(String, Vec<u8>)], id: &str) -> &'a [u8] {
    let mut found = all.iter().filter(|(name, _)| name == id);
    let one = &found.next().unwrap().1;
    assert!(found.next().is_none(), "two {id} chunks");
    one
}

/// Cue points as (sample, label), in the order of the `cue ` chunk.
fn points(bytes: &[u8]) -> Vec<(u32, String)> {
    let all = chunks(bytes);
    let cue = chunk(&all, "cue ");
    let number = |b: &[u8]| u32::from_le_bytes(b.try_into().unwrap());
    let count = number(&cue[..4]) as usize;
    assert_eq!(cue.len(), 4 + 24 * count);
    let list = all
        .iter()
        .find(|(id, body)| id == "LIST" && body.starts_with(b"adtl"))
        .map(|(_, body)| &body[4..])
        .unwrap();
    let mut labels = BTreeMap::new();
    let mut at = 0;
    while at < list.len() {
        let len = number(&list[at + 4..at + 8]) as usize;
        let body = &list[at + 8..at + 8 + len];
        if &list[at..at + 4] == b"labl" {
            assert_eq!(body.last(), Some(&0), "a label ends with 0");
            let text = String::from_utf8(body[4..len - 1].to_vec()).unwrap();
            assert!(labels.insert(number(&body[..4]), text).is_none());
        }
        at += 8 + len + len % 2;
    }
    (0..count)
        .map(|n| {
            let p = &cue[4 + 24 * n..4 + 24 * (n + 1)];
            assert_eq!(&p[8..12], b"data");
            assert_eq!(number(&p[12..16]), 0);
            assert_eq!(number(&p[16..20]), 0);
            assert_eq!(number(&p[4..8]), number(&p[20..24]));
            let label = labels.get(&number(&p[..4])).cloned().unwrap_or_default();
            (number(&p[20..24]), label)
        })
        .collect()
}

fn expected(cues: &[Cue]) -> Vec<(u32, String)> {
    cues.iter()
        .map(|c| (c.sample as u32, c.label.clone()))
        .collect()
}

#[test]
fn the_sound_is_the_same_and_the_points_are_there() {
    let dir = tempfile::tempdir().unwrap();
    for (depth, channels, frames) in [
        (Depth::Int16, 1, 24_000),
        (Depth::Int24, 1, 24_001), // an odd number of bytes
        (Depth::Float32, 2, 24_000),
    ] {
        let (src, dst) = (dir.path().join("a.wav"), dir.path().join("b.wav"));
        write_wav(&src, depth, channels, frames);
        write_cues(&src, &dst, &cues()).unwrap();
        let (before, after) = (std::fs::read(&src).unwrap(), std::fs::read(&dst).unwrap());
        assert_eq!(points(&after), expected(&cues()));
        let at = before.windows(4).position(|w| w == b"data").unwrap();
        let len = u32::from_le_bytes(before[at + 4..at + 8].try_into().unwrap()) as usize;
        assert!(chunk(&chunks(&after), "data") == &before[at + 8..at + 8 + len]);
        assert_eq!(
            std::fs::read_dir(dir.path()).unwrap().count(),
            2,
            "nothing else is left"
        );
        std::fs::remove_file(&dst).unwrap();
    }
}

/// ffprobe (FFmpeg) shows the cue points of a WAV as chapters; sox reads the
/// sound. Neither knows this program.
#[test]
fn other_programs_read_the_copy() {
    let dir = tempfile::tempdir().unwrap();
    let (src, dst) = (dir.path().join("a.wav"), dir.path().join("b.wav"));
    write_wav(&src, Depth::Int16, 1, 24_000);
    write_cues(&src, &dst, &cues()).unwrap();
    let run = |program: &str, args: &[&str]| {
        let out = Command::new(program)
            .args(args)
            .output()
            .unwrap_or_else(|e| {
                panic!("this test needs {program}: apt-get install ffmpeg sox ({e})")
            });
        assert!(
            out.status.success(),
            "{}",
            String::from_utf8_lossy(&out.stderr)
        );
        assert!(
            out.stderr.is_empty(),
            "{}",
            String::from_utf8_lossy(&out.stderr)
        );
        out.stdout
    };
    let shown = run(
        "ffprobe",
        &[
            "-v",
            "warning",
            "-show_chapters",
            "-of",
            "csv=p=0",
            dst.to_str().unwrap(),
        ],
    );
    let shown = String::from_utf8(shown).unwrap();
    for c in cues() {
        assert!(shown.contains(&format!("{}", c.sample)), "{shown}");
        assert!(shown.contains(&c.label), "{shown}");
    }
    let raw = |path: &Path| run("sox", &[path.to_str().unwrap(), "-t", "raw", "-"]);
    assert!(raw(&src) == raw(&dst));
    assert_eq!(raw(&dst).len(), 48_000);
}

#[test]
fn markers_and_chunks_that_are_there_stay() {
    let dir = tempfile::tempdir().unwrap();
    let [a, b, c, d] = ["a.wav", "b.wav", "c.wav", "d.wav"].map(|n| dir.path().join(n));
    write_wav(&a, Depth::Int16, 1, 1_000);
    let mut bytes = std::fs::read(&a).unwrap();
    bytes.extend_from_slice(b"bext\x03\0\0\0abc\0LIST\x0c\0\0\0INFOIART\0\0\0\0");
    let riff_len = (bytes.len() - 8) as u32;
    bytes[4..8].copy_from_slice(&riff_len.to_le_bytes());
    std::fs::write(&a, &bytes).unwrap();
    write_cues(&a, &b, &[cue(10, "mine")]).unwrap();
    write_cues(&b, &c, &[cue(20, "new"), cue(10, "mine")]).unwrap();
    let copy = std::fs::read(&c).unwrap();
    assert_eq!(
        points(&copy),
        [(10, "mine".to_owned()), (20, "new".to_owned())]
    );
    assert_eq!(chunk(&chunks(&copy), "bext"), b"abc");
    assert!(
        chunks(&copy)
            .iter()
            .any(|(_, body)| body.starts_with(b"INFO"))
    );
    // The same again changes nothing.
    write_cues(&c, &d, &[cue(20, "new")]).unwrap();
    assert!(copy == std::fs::read(&d).unwrap());
}

/// A header never finished by a killed recorder, and a cut file, get true
/// lengths.
#[test]
fn a_broken_length_is_mended_in_the_copy() {
    let dir = tempfile::tempdir().unwrap();
    let (src, dst) = (dir.path().join("a.wav"), dir.path().join("b.wav"));
    write_wav(&src, Depth::Int16, 1, 1_000);
    let whole = std::fs::read(&src).unwrap();
    for len in [0, u32::MAX, 1_000_000] {
        let mut bytes = whole.clone();
        bytes[40..44].copy_from_slice(&len.to_le_bytes());
        std::fs::write(&src, &bytes).unwrap();
        write_cues(&src, &dst, &[cue(1, "x")]).unwrap();
        assert_eq!(
            chunk(&chunks(&std::fs::read(&dst).unwrap()), "data"),
            &whole[44..]
        );
    }
}

#[test]
fn what_cannot_be_done_says_so_and_leaves_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let src = dir.path().join("a.wav");
    write_wav(&src, Depth::Int16, 1, 1_000);
    let before = std::fs::read(&src).unwrap();
    let link = dir.path().join("link.wav");
    std::fs::hard_link(&src, &link).unwrap();
    for same in [&src, &link, &dir.path().join(".").join("a.wav")] {
        let error = write_cues(&src, same, &cues()).unwrap_err();
        assert!(matches!(error, CuesError::SameFile { .. }), "{error}");
    }
    assert_eq!(std::fs::read(&src).unwrap(), before);

    let text = dir.path().join("text.wav");
    std::fs::write(&text, "no sound").unwrap();
    let dst = dir.path().join("out.wav");
    assert!(matches!(
        write_cues(&text, &dst, &[]).unwrap_err(),
        CuesError::NotWav { .. }
    ));
    assert!(matches!(
        write_cues(&dir.path().join("gone.wav"), &dst, &[]).unwrap_err(),
        CuesError::Read { .. }
    ));
    assert!(matches!(
        write_cues(&src, &dir.path().join("no/folder/out.wav"), &[]).unwrap_err(),
        CuesError::Write { .. }
    ));
    let mut rf64 = before.clone();
    rf64[..4].copy_from_slice(b"RF64");
    std::fs::write(&text, &rf64).unwrap();
    assert!(matches!(
        write_cues(&text, &dst, &[]).unwrap_err(),
        CuesError::TooLarge { .. }
    ));
    assert!(!dst.exists());
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 3);
}

const ASK: &str = "MARKLAG_TEST_CUES";

/// Not a test by itself: writes what the parent asks, under its limits.
#[test]
fn child_writes_what_it_is_asked() {
    let Ok(dir) = std::env::var(ASK) else {
        return;
    };
    let dir = Path::new(&dir);
    match write_cues(&dir.join("a.wav"), &dir.join("b.wav"), &[cue(1, "x")]) {
        Ok(()) => println!("SAID written"),
        Err(error) => println!("SAID {error}"),
    }
}

/// A full disk, played by a limit on the size of files (`ulimit -f`).
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_nothing() {
    let dir = tempfile::tempdir().unwrap();
    write_wav(&dir.path().join("a.wav"), Depth::Int16, 1, 200_000);
    let out = Command::new("bash")
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f 100; exec \"$0\" child_writes_what_it_is_asked --exact --nocapture",
        ])
        .arg(std::env::current_exe().unwrap())
        .env(ASK, dir.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(
        said.contains("b.wav: the disk is full; nothing was left"),
        "{said}"
    );
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
}
