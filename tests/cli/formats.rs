//! The same sound in another file is the same sound.

use std::path::Path;

use marklag::sound::room::farm;
use proptest::prelude::*;
use serde_json::Value;

use crate::run::{Place, write_floats, write_ints};

/// Kind and sample of every sound, and kind and sample of every moment.
fn events(place: &Place, file: &Path) -> Vec<(String, f64)> {
    let text = place.review(file, &["--json"]).well();
    let review: Value = serde_json::from_str(&text).unwrap();
    ["sounds", "moments"]
        .iter()
        .flat_map(|list| review[list].as_array().unwrap())
        .map(|event| {
            let at = event["t_s"].as_f64().unwrap() * f64::from(farm::RATE_HZ);
            (event["kind"].as_str().unwrap().to_owned(), at)
        })
        .collect()
}

fn flac(from: &Path, to: &Path) {
    let done = std::process::Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-i"])
        .arg(from)
        .arg(to)
        .status()
        .expect("ffmpeg is needed to make FLAC");
    assert!(done.success());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, max_shrink_iters: 0, ..ProptestConfig::default() })]

    /// Whole drills of the farm's generator, full and soft: 16, 24 and 32 bits,
    /// floats and FLAC, against the floats; a sample is 1/48 ms.
    #[test]
    fn every_width_gives_the_same_events(seed in 0_u64..1_000, gain in 0.2_f32..1.0) {
        let place = Place::new();
        let (clicks, drill) = (farm::ten_clicks(7), farm::drill(7, 1 + (seed % 3) as u32));
        let soft: Vec<f32> = drill.samples.iter().map(|s| s * gain).collect();
        write_floats(&place.path("clicks.wav"), farm::RATE_HZ, 1, &clicks.samples);
        let mut teach = place.marklag("teach click tilda --from clicks.wav".split(' '));
        teach.assert().success();
        let truth = place.path("float.wav");
        write_floats(&truth, farm::RATE_HZ, 1, &soft);
        let expected = events(&place, &truth);
        prop_assert!(expected.iter().any(|e| e.0 == "click"));
        for bits in [16, 24, 32] {
            let wav = place.path(&format!("{bits}.wav"));
            write_ints(&wav, farm::RATE_HZ, bits, &soft);
            let mut files = vec![wav.clone()];
            if bits < 32 {
                files.push(place.path(&format!("{bits}.flac")));
                flac(&wav, &files[1]);
            }
            for file in files {
                let got = events(&place, &file);
                let near = got.len() == expected.len()
                    && got.iter().zip(&expected).all(|(g, e)| g.0 == e.0 && (g.1 - e.1).abs() <= allowed(&g.0));
                prop_assert!(near, "{}: {got:?}\nis not {expected:?}", file.display());
            }
        }
    }
}

/// Samples that an event may move by. A release is worked out from two bounces:
/// a sample of theirs is several of its own.
fn allowed(kind: &str) -> f64 {
    if kind == "release" { 8.0 } else { 1.001 }
}
