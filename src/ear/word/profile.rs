//! What is kept of a taught word.

use serde::{Deserialize, Serialize};

use super::cues::Usual;
use super::edge::{EDGE_BANDS, Edge, STEPS};
use super::frames::Powers;
use super::{BANDS, HOP};
use crate::ear::EarError;

/// Version of the word profiles that this program writes and reads.
pub const WORD_PROFILE_VERSION: u32 = 3;
/// Fewest frames of a take: 60 ms.
pub(super) const FEWEST_FRAMES: usize = 6;
/// Most frames of a take: 1.2 s.
pub(super) const MOST_FRAMES: usize = 120;
/// Part of a sample rate under which sound is held whole.
const HELD: f64 = 0.46;
/// Most takes of a word.
const MOST_TAKES: usize = 40;
/// Most counter-examples of a word.
const MOST_AGAINST: usize = 24;

/// Numbers to decibels that are kept, to a hundredth: far under what two takes
/// differ by.
fn db(power: &f32) -> f32 {
    (1_000.0 * power.log10()).round() / 100.0
}

fn powers(db: &[f32]) -> Vec<Powers> {
    db.chunks_exact(BANDS)
        .map(|c| std::array::from_fn(|b| 10f32.powf(c[b] / 10.0)))
        .collect()
}

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
        powers(&self.powers_db)
    }

    pub(super) fn edge(&self) -> Edge {
        self.edge_db
            .chunks_exact(EDGE_BANDS)
            .map(|c| std::array::from_fn(|b| 10f32.powf(c[b] / 10.0)))
            .collect()
    }

    pub(super) fn new(onset: u32, frames: &[Powers], edge: &Edge) -> Self {
        Self {
            onset,
            powers_db: frames.iter().flatten().map(db).collect(),
            edge_db: edge.iter().flatten().map(db).collect(),
        }
    }
}

/// A piece of talk that came near the word and is not it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Against {
    /// Power in [`BANDS`] mel bands, frame after frame, in dB.
    pub powers_db: Vec<f32>,
}

impl Against {
    pub(super) fn new(frames: &[Powers]) -> Self {
        Self {
            powers_db: frames.iter().flatten().map(db).collect(),
        }
    }

    pub(super) fn frames(&self) -> Vec<Powers> {
        powers(&self.powers_db)
    }
}

/// What the trainer's other talk showed when the word was taught.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Talked {
    /// Its length, in seconds.
    pub seconds: f64,
    /// Places that came near the word.
    pub near: usize,
    /// Places that would still be taken for a mark.
    pub taken: usize,
    /// Places that are the word itself.
    pub itself: usize,
}

/// How many of the takes, each left out and varied, are found by the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expects {
    /// Found.
    pub found: usize,
    /// Tried.
    pub tried: usize,
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
    /// What is usual for the word itself, by how far it stands over the noise.
    pub usual: Vec<Usual>,
    /// What it is not.
    pub against: Vec<Against>,
    /// The lesson's background in [`BANDS`] mel bands, in dB.
    pub noise_db: Vec<f32>,
    /// What is to be expected.
    pub expects: Expects,
    /// What other talk showed; `None` when none was given.
    pub talk: Option<Talked>,
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

    pub(super) fn noise(&self) -> Powers {
        powers(&self.noise_db)
            .first()
            .copied()
            .unwrap_or([0.0; BANDS])
    }

    pub(super) fn set_noise(&mut self, noise: &Powers) {
        self.noise_db = noise.iter().map(db).collect();
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
        let numbers_good = self.own.is_finite()
            && self.own > 0.0
            && self.bar.is_finite()
            && self.usual.iter().all(Usual::is_good);
        let in_range = |x: &[f32]| x.iter().all(|v| (-150.0..=200.0).contains(v));
        let against_good = self.against.iter().all(|a| {
            let frames = a.powers_db.len() / BANDS;
            a.powers_db.len() % BANDS == 0
                && (FEWEST_FRAMES..=MOST_FRAMES).contains(&frames)
                && in_range(&a.powers_db)
        });
        if takes_good
            && against_good
            && self.against.len() <= MOST_AGAINST
            && (1..=8).contains(&self.usual.len())
            && self.noise_db.len() == BANDS
            && in_range(&self.noise_db)
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
