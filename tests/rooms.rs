//! The walls between the rooms: a pure room names no device, no terminal, no
//! file, no thread, and reads no clock; and nothing in it is unsafe.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::{Path, PathBuf};

/// What a pure room may not name.
const OUTSIDE: [&str; 30] = [
    "std::fs",
    "fs::",
    "fs::File",
    "File::open",
    "File::create",
    "OpenOptions",
    "std::net",
    "std::env",
    "std::process",
    "stdin",
    "stdout",
    "stderr",
    "println!",
    "print!",
    "eprintln!",
    "dbg!",
    "std::thread",
    "thread::",
    "std::sync::mpsc",
    "std::sync::Mutex",
    "std::sync::atomic",
    "Instant",
    "SystemTime",
    "Timestamp",
    "cpal",
    "crossterm",
    "evdev",
    "rusqlite",
    "hound",
    "unsafe",
];

/// Other rooms of the crate, which are not pure.
const OTHER_ROOMS: [&str; 6] = [
    "crate::sound",
    "crate::journal",
    "crate::hand",
    "crate::live",
    "crate::system",
    "crate::cli",
];

/// What of the terminal's room the pure parts of it may name.
const PURE_SCREEN: [&str; 2] = ["crate::screen::theme", "crate::screen::view"];

fn sources(under: &str) -> Vec<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(under);
    if path.is_file() {
        return vec![path];
    }
    let mut all = Vec::new();
    for entry in fs::read_dir(&path).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let below = format!("{under}/{name}");
        if name.ends_with(".rs") || !name.contains('.') {
            all.extend(sources(&below));
        }
    }
    all
}

/// The code of a file without comments and without its tests.
fn code(text: &str) -> String {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    code.lines()
        .map(|line| line.split("//").next().unwrap_or_default())
        .collect::<Vec<_>>()
        .join("\n")
}

fn is_of_tests(path: &Path) -> bool {
    let stem = path.file_stem().unwrap().to_str().unwrap();
    stem == "tests" || stem == "testing" || stem.ends_with("_tests")
}

/// Whether `word` stands in `code` as a word of its own.
fn names(code: &str, word: &str) -> bool {
    let is_letter = |c: char| c.is_alphanumeric() || c == '_';
    code.match_indices(word).any(|(at, _)| {
        let before = code[..at].chars().next_back();
        let after = code[at + word.len()..].chars().next();
        !before.is_some_and(is_letter)
            && (word.ends_with([':', '!']) || !after.is_some_and(is_letter))
    })
}

fn broken_walls(text: &str) -> Vec<&'static str> {
    let code = code(text);
    let pure = PURE_SCREEN.iter();
    let code = pure.fold(code, |code, pure| code.replace(pure, ""));
    let all = OUTSIDE.iter().chain(&OTHER_ROOMS).chain(&["crate::screen"]);
    all.filter(|word| names(&code, word)).copied().collect()
}

#[test]
fn the_pure_rooms_are_pure() {
    let mut seen = 0;
    for room in [
        "src/drill",
        "src/screen/view",
        "src/screen/theme.rs",
        "src/ear",
        "src/clock",
        "src/timeline",
        "src/measure",
        "src/check",
        "src/page",
        "src/words.rs",
        "src/listen.rs",
        "src/review.rs",
        "src/session.rs",
        "src/session",
    ] {
        let files = sources(room);
        assert!(!files.is_empty(), "{room}");
        for path in files.iter().filter(|p| !is_of_tests(p)) {
            seen += 1;
            let broken = broken_walls(&fs::read_to_string(path).unwrap());
            assert!(broken.is_empty(), "{} names {broken:?}", path.display());
        }
    }
    assert!(seen > 40, "only {seen} files were looked at");
}

/// The check itself can fail, and does not cry wolf.
#[test]
fn a_broken_wall_is_seen() {
    for (text, word) in [
        ("use std::fs::read;", "std::fs"),
        ("let t = Instant::now();", "Instant"),
        ("fn f() { println!(\"x\") }", "println!"),
        ("use crate::sound::Ring;", "crate::sound"),
        ("use crate::screen::Screen;", "crate::screen"),
        ("use crate::live::Live;", "crate::live"),
        ("std::thread::spawn(f)", "std::thread"),
        ("use std::{io, fs::File};", "fs::File"),
    ] {
        assert!(broken_walls(text).contains(&word), "{text}");
    }
    for text in [
        "// no File here",
        "struct MomentsFileError;",
        "let instant = 1;\n#[cfg(test)]\nuse std::fs;",
    ] {
        assert_eq!(broken_walls(text), [""; 0], "{text}");
    }
}

#[test]
fn one_folder_names_the_audio_libraries() {
    for library in ["cpal", "alsa"] {
        let named: Vec<PathBuf> = sources("src")
            .into_iter()
            .filter(|path| names(&code(&fs::read_to_string(path).unwrap()), library))
            .collect();
        assert!(!named.is_empty(), "{library}");
        for path in named {
            let name = path.display().to_string();
            assert!(name.contains("/src/sound/microphone/"), "{name}");
        }
    }
}
