//! No bytes make the reader panic, hang, ask for gigabytes or give what is no number.
//!
//! Found so far (1.8 million cases): the decoding library panics on some broken
//! MS ADPCM, CAF, AIFF, MP4, MKV, PCM-with-odd-widths and Vorbis headers (mostly
//! overflows that only a debug build notices; caught, a gap or an error), and asks
//! for as much memory as a CAF or ALAC header claims (now limited before it).

use std::sync::OnceLock;

use marklag::sound::recording::{ChannelChoice, Recording};
use proptest::prelude::*;

use crate::make::{clicks, convert, write_mono};

/// Small valid files of every format.
fn seeds() -> &'static [(String, Vec<u8>)] {
    static SEEDS: OnceLock<Vec<(String, Vec<u8>)>> = OnceLock::new();
    SEEDS.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        let wav = dir.path().join("a.wav");
        write_mono(&wav, 16_000, &clicks(16_000, 0.4));
        let mut out = Vec::new();
        for (name, args) in [
            ("s.wav", &[][..]),
            ("float.wav", &["-c:a", "pcm_f32le"]),
            ("adpcm.wav", &["-c:a", "adpcm_ms"]),
            ("ima.wav", &["-c:a", "adpcm_ima_wav"]),
            ("rf64.wav", &["-rf64", "always"]),
            ("s.flac", &[]),
            ("s.mp3", &[]),
            ("s.aac", &[]),
            ("s.m4a", &[]),
            ("alac.m4a", &["-c:a", "alac"]),
            (
                "pieces.mp4",
                &["-c:a", "aac", "-movflags", "frag_keyframe+empty_moov"],
            ),
            ("s.ogg", &["-c:a", "libvorbis"]),
            ("s.aiff", &[]),
            ("s.caf", &[]),
            ("s.mkv", &["-c:a", "flac"]),
            ("vorbis.webm", &["-c:a", "libvorbis"]),
            ("opus.ogg", &["-c:a", "libopus", "-page_duration", "100000"]),
            ("opus.webm", &["-c:a", "libopus"]),
            ("opus.mp4", &["-c:a", "libopus"]),
            ("opus.caf", &["-c:a", "libopus"]),
            (
                "voip.ogg",
                &["-c:a", "libopus", "-application", "voip", "-b:a", "16k"],
            ),
            (
                "six.ogg",
                &["-c:a", "libopus", "-ac", "6", "-mapping_family", "1"],
            ),
            ("alac.caf", &["-c:a", "alac"]),
        ] {
            let path = convert(&wav, dir.path().join(name), args);
            out.push((name.to_owned(), std::fs::read(path).unwrap()));
        }
        out
    })
}

/// Reads to the end or the error; at most what a file of this size can hold.
fn read_all(bytes: &[u8], as_file: bool) {
    let dir;
    let opened = if as_file {
        dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("x");
        std::fs::write(&path, bytes).unwrap();
        Recording::open(&path, ChannelChoice::Mix)
    } else {
        let pipe = std::io::Cursor::new(bytes.to_vec());
        Recording::from_reader(pipe, "standard input", ChannelChoice::Mix)
    };
    let mut recording = match opened {
        Ok(recording) => recording,
        Err(error) => {
            assert!(!error.to_string().contains("panicked"));
            return;
        }
    };
    let mut samples = 0_u64;
    while let Ok(Some(block)) = recording.next_block() {
        assert!(block.iter().all(|s| s.is_finite()));
        samples += block.len() as u64;
        // An hour of lost sound at the highest rate, and then some.
        assert!(samples < 4_000 * 192_000, "does not end");
    }
    let end = recording.next_block();
    assert!(matches!(end, Ok(None)), "goes on after its end");
    // The other tests hold some seconds of sound at most.
    let largest_bytes = crate::largest::bytes();
    assert!(
        largest_bytes < 200_000_000,
        "asks for {largest_bytes} bytes"
    );
}

/// Few cases in everyday runs; `PROPTEST_CASES=200000` searches longer.
fn config(cases: u32) -> ProptestConfig {
    let mut config = ProptestConfig::default();
    if std::env::var_os("PROPTEST_CASES").is_none() {
        config.cases = cases;
    }
    config.failure_persistence = None;
    config
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn random_bytes(bytes in prop::collection::vec(any::<u8>(), 0..4_000), as_file: bool) {
        read_all(&bytes, as_file);
    }

    /// The signature of a format, then anything.
    #[test]
    fn random_after_a_signature(which in any::<prop::sample::Index>(), keep in 4_usize..200, bytes in prop::collection::vec(any::<u8>(), 0..3_000), as_file: bool) {
        let (_, seed) = &seeds()[which.index(seeds().len())];
        let mut all = seed[..keep.min(seed.len())].to_vec();
        all.extend_from_slice(&bytes);
        read_all(&all, as_file);
    }
}

proptest! {
    #![proptest_config(config(1_500))]

    /// A valid file with some bytes changed, in the header more often.
    #[test]
    fn changed_bytes(
        which in any::<prop::sample::Index>(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), any::<bool>()), 1..12),
        cut in prop::option::of(any::<prop::sample::Index>()),
        as_file: bool,
    ) {
        let (_, seed) = &seeds()[which.index(seeds().len())];
        let mut bytes = seed.clone();
        for (at, value, in_header) in changes {
            let reach = if in_header { bytes.len().min(700) } else { bytes.len() };
            let at = at.index(reach);
            bytes[at] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        read_all(&bytes, as_file);
    }
}
