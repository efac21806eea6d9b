//! Cue points written into a copy of any WAV.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::sound::cues::{Cue, write_cues};

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().unwrap();
    let src = folder.path().join("a.wav");
    std::fs::write(&src, bytes).unwrap();
    let cues = [Cue { sample: 5, label: "mark".to_owned() }];
    let _ = write_cues(&src, &folder.path().join("b.wav"), &cues);
    assert_eq!(std::fs::read(&src).unwrap(), bytes, "the recording was changed");
});
