//! The spoken mark: a word taught from a handful of takes, found in the stream
//! and stamped at its onset.
//!
//! Sound at 16 kHz → frames of mel powers → each take warped onto the stream
//! (candidates) → each candidate looked at closely (cues, score) → its onset.

mod centre;
mod cepstra;
mod cues;
mod edge;
mod expect;
mod frames;
mod judge;
mod lesson;
mod listener;
mod mel;
mod noise;
mod onset;
mod praise;
mod profile;
mod rate;
mod spot;
mod takes;
mod teach;
mod warp;

pub use centre::{Centre, WordAt};
pub use cues::{CUES, Cues, Usual};
pub use expect::how_far;
pub use lesson::{WordLesson, WordSaid};
pub use profile::{Expects, Take, Talked, WORD_PROFILE_VERSION, WordProfile};
pub use spot::{Look, Spotter, known_after_s};
pub use takes::{TakeFault, TakeReport};
pub use teach::{FEWEST_TAKES, TaughtWord, WordTeachError, teach_word};

/// Samples a second that words are heard at.
pub const RATE_HZ: f64 = 16_000.0;
/// Samples from frame to frame: 10 ms.
pub const HOP: usize = 160;
/// Samples a frame is computed from: 25 ms.
pub const WINDOW: usize = 400;
/// Points of the transform.
const FFT: usize = 512;
/// Mel bands.
pub const BANDS: usize = 26;
