//! Doors through which foreign text and files come in, with good input broken at
//! random: nothing falls over, nothing is half taken in. The fuzz targets of tests/fuzz
//! do the same led by coverage; this needs no tool and runs every time.
//!
//! Longer: `MARKLAG_BREAKS=100000 cargo test --test doors`.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use marklag::ear::Ear;
use marklag::ear::word::{WordProfile, teach_word};
use marklag::journal::{BoutKind, Journal, Settings};
use marklag::session::{FILE_U_MS, log_of_lines, measure};
use marklag::sound::room::{Dice, speech};
use marklag::timeline::session::parse_events;
use marklag::timeline::{Plan, parse_moments};

#[path = "journal/scene.rs"]
#[allow(dead_code)]
mod scene;

/// How often each door's input is broken; a tenth as often where a journal is made.
fn breaks() -> usize {
    let asked = std::env::var("MARKLAG_BREAKS").ok();
    asked.and_then(|n| n.parse().ok()).unwrap_or(300)
}

/// What often upsets a reader.
const NASTY: [&[u8]; 18] = [
    b"",
    b"-",
    b"1e999",
    b"NaN",
    b"inf",
    b"-0",
    b"\xff\xfe",
    b"\0",
    b"\"",
    b"[[",
    b"{",
    b"}",
    b"\n",
    b",",
    b"999999999999999999999",
    b"\xf0\x9f\x90\x90",
    b"null",
    b"= ",
];

/// One to six changes: bytes, cuts, doubled stretches, something nasty, another order.
fn broken(good: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = good.to_vec();
    for _ in 0..1 + dice.below(6) {
        let at = dice.below(bytes.len() + 1);
        let long = [1, 4, 40, 400][dice.below(4)].min(bytes.len() - at);
        match dice.below(6) {
            0 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            1 if at < bytes.len() => bytes[at] = dice.below(256) as u8,
            2 => drop(bytes.drain(at..at + long)),
            3 => {
                let copy = bytes[at..at + long].to_vec();
                let to = dice.below(bytes.len() + 1);
                bytes.splice(to..to, copy);
            }
            4 => bytes.truncate(at),
            _ => drop(bytes.splice(at..at + long, NASTY[dice.below(NASTY.len())].to_vec())),
        }
        if bytes.is_empty() {
            bytes.push(b' ');
        }
    }
    bytes
}

/// Breaks each good input in turn; tells how many were still taken.
fn attack(name: &str, good: &[Vec<u8>], times: usize, mut taken: impl FnMut(&[u8]) -> bool) {
    let mut dice = Dice::new(name.bytes().map(u64::from).sum());
    for input in good {
        assert!(taken(input), "{name}: the good one is not taken");
    }
    let mut still = 0;
    for k in 0..times {
        let input = broken(&good[k % good.len()], &mut dice);
        still += usize::from(taken(&input));
    }
    println!("{name}: {times} broken, {still} of them still taken");
}

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(
        Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures")
            .join(name),
    )
    .unwrap()
}

#[test]
fn plans() {
    let good = [fixture("plans/target.toml"), fixture("plans/pairing.toml")];
    attack("plan", &good, 10 * breaks(), |bytes| {
        let Ok(plan) = Plan::parse(&String::from_utf8_lossy(bytes)) else {
            return false;
        };
        assert_eq!(Plan::parse(&plan.to_toml()).as_ref(), Ok(&plan));
        true
    });
}

#[test]
fn settings() {
    let good = [marklag::journal::DEFAULT_SETTINGS.as_bytes().to_vec()];
    attack("settings", &good, 10 * breaks(), |bytes| {
        Settings::parse(&String::from_utf8_lossy(bytes), Path::new("settings.toml")).is_ok()
    });
}

#[test]
fn moments() {
    let good = [
        b"t_s,kind,label\n1.5,floor,\n0:02.25,top,x\n".to_vec(),
        b"WEBVTT\n\n00:01.000 --> 00:01.500\nsit\n".to_vec(),
    ];
    attack("moments", &good, 10 * breaks(), |bytes| {
        let read = parse_moments(&String::from_utf8_lossy(bytes));
        read.is_ok_and(|file| file.moments.iter().all(|m| m.t_s.is_finite()))
    });
}

#[test]
fn events() {
    let good = [
        b"time,event,detail\n1.5,cue,\n0:02.25,reached,\n3,treat,\n4,near_miss,\n5,undo,\n6,redo,\n".to_vec(),
        b"time,event\n1,offer\n9,break\n12,resume\n13,reached\n14,treat\n".to_vec(),
    ];
    let setup = Settings::default().session_setup(Plan::free(5.0), None);
    attack("events", &good, 10 * breaks(), |bytes| {
        let Ok(lines) = parse_events(&String::from_utf8_lossy(bytes), FILE_U_MS) else {
            return false;
        };
        let end_s = lines.iter().map(|l| l.t_s()).fold(1.0, f64::max);
        let measures = measure(&log_of_lines(&setup, &[], &[], lines), &setup, end_s);
        serde_json::to_string(&measures).unwrap();
        true
    });
}

/// A journal with a review in it, and its export.
fn kept(folder: &Path) -> (PathBuf, Vec<u8>) {
    let file = folder.join("kept.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    journal.keep_review(&scene::review()).unwrap();
    journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
    let mut export = Vec::new();
    journal.export_json_lines(None, &mut export).unwrap();
    (file, export)
}

/// A journal of one's own beside foreign bytes: whatever they are, it stays whole, and on
/// an error nothing of them is in it.
fn stays_whole(take: impl Fn(&mut Journal) -> bool, folder: &Path) -> bool {
    let file = folder.join("mine.sqlite");
    for suffix in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(folder.join(format!("mine.sqlite{suffix}")));
    }
    let mut journal = Journal::open(&file).unwrap();
    let is_taken = take(&mut journal);
    if !is_taken {
        assert!(journal.list(None).unwrap().is_empty(), "half was taken in");
    }
    journal.check().unwrap();
    let mut out = Vec::new();
    journal.export_json_lines(None, &mut out).unwrap();
    is_taken
}

#[test]
fn exports_taken_in() {
    let folder = tempfile::tempdir().unwrap();
    let (_, export) = kept(folder.path());
    attack("import", &[export], breaks() / 3, |bytes| {
        stays_whole(|journal| journal.import(bytes).is_ok(), folder.path())
    });
}

#[test]
fn journals_merged() {
    let folder = tempfile::tempdir().unwrap();
    let (file, _) = kept(folder.path());
    let good = std::fs::read(&file).unwrap();
    attack("merge", &[good], breaks() / 3, |bytes| {
        let other = folder.path().join("other.sqlite");
        for suffix in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(folder.path().join(format!("other.sqlite{suffix}")));
        }
        std::fs::write(&other, bytes).unwrap();
        stays_whole(|journal| journal.merge(&other).is_ok(), folder.path())
    });
}

/// Seven times the same syllables, a second apart, in a little noise.
fn lesson() -> Vec<f32> {
    let word = speech(16_000.0, 0.35, &mut Dice::new(5));
    let mut dice = Dice::new(6);
    let mut samples: Vec<f32> = (0..8 * 16_000)
        .map(|_| 0.002 * dice.normal() as f32)
        .collect();
    for k in 0..7 {
        for (n, v) in word.iter().enumerate() {
            samples[(0.4 * 16_000.0) as usize + k * 16_000 + n] += 0.3 * v;
        }
    }
    samples
}

#[test]
fn words_profiles() {
    let taught = teach_word("good", &lesson(), 16_000, None).unwrap();
    let good = serde_json::to_vec(&taught.profile).unwrap();
    let noise: Vec<f32> = (0_u32..8_000)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 16) as f32 / 65_536.0 - 0.5)
        .collect();
    attack("word profile", &[good], breaks(), |bytes| {
        let Ok(profile) = serde_json::from_slice::<WordProfile>(bytes) else {
            return false;
        };
        let ear = Ear::new(16_000, &[]).and_then(|ear| ear.with_words(16_000, &[profile]));
        let Ok(mut ear) = ear else {
            return false;
        };
        ear.push(&noise, &mut |heard| assert!(heard.confidence.is_finite()))
            .unwrap();
        true
    });
}

/// Samples broken as bytes: no number, absurd, cut, doubled.
#[test]
fn words_taught() {
    let good: Vec<u8> = lesson().iter().flat_map(|v| v.to_le_bytes()).collect();
    attack("word lesson", &[good], breaks() / 10, |bytes| {
        let samples: Vec<f32> = bytes
            .chunks_exact(4)
            .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
            .collect();
        teach_word("good", &samples, 16_000, Some((&samples, 22_050))).is_ok()
            || teach_word("good", &samples, 16_000, None).is_ok()
    });
}
