//! What is kept of a taught word.

use serde::{Deserialize, Serialize};

use super::edge::{EDGE_BANDS, Edge, STEPS};
use super::frames::Powers;
use super::{BANDS, HOP};
use crate::ear::EarError;

/// Version of the word profiles that this program writes and reads.
pub const WORD_PROFILE_VERSION: u32 = 2;
/// Fewest frames of a take: 60 ms.
pub(super) const FEWEST_FRAMES: usize = 6;
/// Most frames of a take: 1.2 s.
pub(super) const MOST_FRAMES: usize = 120;
/// Part of a sample rate under which sound is held whole.
const HELD: f64 = 0.46;
/// Most takes of a word.
const MOST_TAKES: usize = 40;

/// One take of the word.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Take {
    /// From the first frame's first sample to the word's onset, in samples at 16 kHz.
    pub onset: u32,
    /// Power in [`BANDS`] mel bands, frame after frame, in dB.
    pub powers_db: Vec<f32>,
    /// Power about the onset over and under 500 Hz, every 2.5 ms from 50 ms before
    /// to 80 ms after it, in dB.
    pub edge_db: Vec<f32>,
}

impl Take {
    pub(super) fn frames(&self) -> Vec<Powers> {
        self.powers_db
            .chunks_exact(BANDS)
            .map(|c| std::array::from_fn(|b| 10f32.powf(c[b] / 10.0)))
            .collect()
    }

    pub(super) fn edge(&self) -> Edge {
        self.edge_db
            .chunks_exact(EDGE_BANDS)
            .map(|c| std::array::from_fn(|b| 10f32.powf(c[b] / 10.0)))
            .collect()
    }

    pub(super) fn new(onset: u32, frames: &[Powers], edge: &Edge) -> Self {
        // A hundredth of a decibel is far under what two takes differ by.
        let db = |p: &f32| (1_000.0 * p.log10()).round() / 100.0;
        Self {
            onset,
            powers_db: frames.iter().flatten().map(db).collect(),
            edge_db: edge.iter().flatten().map(db).collect(),
        }
    }
}

/// What a word profile says it is, in its file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A spoken word.
    Word,
}

/// A taught word.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WordProfile {
    /// Format version.
    pub version: u32,
    /// Always `word`.
    pub kind: Kind,
    /// The trainer's name for it.
    pub name: String,
    /// Sample rate of the lesson, in hertz: sound above half of it was not heard.
    pub rate_hz: u32,
    /// Whether the word counts as a mark when more speech follows or precedes it at
    /// once ("good boy").
    pub counts_in_praise: bool,
    /// The takes.
    pub takes: Vec<Take>,
    /// Typical distance of a take from the nearest other one.
    pub own: f32,
    /// How alike the takes are, 0 to 1.
    pub agreement: f64,
    /// Score a candidate must reach.
    pub bar: f32,
    /// How many stretches of the trainer's other talk came near when it was
    /// taught; `None` when no talk was given.
    pub talk_near: Option<usize>,
    /// Peak of the typical take, dB re full scale.
    pub level_dbfs: f64,
    /// Power of the typical take over the noise's, in dB.
    pub over_noise_db: f64,
}

impl WordProfile {
    /// Heard at `rate_hz`, the word is compared up to this many hertz: what both the
    /// lesson and the stream hold.
    pub fn band_hz(&self, rate_hz: u32) -> f64 {
        HELD * f64::from(rate_hz.min(self.rate_hz))
    }

    /// Whether it can be listened for at all.
    pub(crate) fn check(&self) -> Result<(), EarError> {
        if self.version != WORD_PROFILE_VERSION {
            return Err(EarError::WordVersion {
                name: self.name.clone(),
                found: self.version,
            });
        }
        let takes_good = self.takes.iter().all(|t| {
            let frames = t.powers_db.len() / BANDS;
            t.powers_db.len() % BANDS == 0
                && (FEWEST_FRAMES..=MOST_FRAMES).contains(&frames)
                && (t.onset as usize) < frames * HOP
                && t.edge_db.len() == STEPS * EDGE_BANDS
                && [&t.powers_db, &t.edge_db]
                    .into_iter()
                    .flatten()
                    .all(|v| (-150.0..=200.0).contains(v))
        });
        let numbers_good = self.own.is_finite() && self.own > 0.0 && self.bar.is_finite();
        if takes_good
            && numbers_good
            && (1..=MOST_TAKES).contains(&self.takes.len())
            && (8_000..=192_000).contains(&self.rate_hz)
        {
            Ok(())
        } else {
            Err(EarError::WordDamaged(self.name.clone()))
        }
    }
}
