//! A sound file: any bytes decode to samples or to words, in bounded memory.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use marklag::sound::recording::{ChannelChoice, Recording};

fuzz_target!(|bytes: &[u8]| {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), bytes).unwrap();
    let path: &Path = file.path();
    let Ok(mut recording) = Recording::open(path, ChannelChoice::Mix) else {
        return;
    };
    let mut samples = 0_usize;
    // A few kilobytes can decode to hours of silence; a minute is enough to see.
    while samples < 3_000_000 {
        match recording.next_block() {
            Ok(Some(block)) => {
                assert!(!block.is_empty());
                assert!(block.iter().all(|x| x.is_finite()), "a sample is not a number");
                samples += block.len();
            }
            Ok(None) | Err(_) => break,
        }
    }
});
