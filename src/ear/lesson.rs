//! What a lesson by microphone is, for a click as for a word: it is pushed sound, says
//! what comes of each try, and learns when there are enough.

use std::error::Error;
use std::fmt::Display;

use super::{EarError, Level};

/// Examples that are asked for.
pub const WANTED: usize = 10;
/// Fewer than this are too few to be sure of, however good.
pub(super) const SURE: usize = 8;
/// The room is listened to for this long before the first example, in seconds.
pub(super) const ROOM_S: f64 = 1.0;
/// After the last example this long is waited for more of it, in seconds.
pub(super) const LAST_S: f64 = 1.0;
/// Longest lesson, in seconds: three minutes.
pub(super) const LONGEST_S: f64 = 180.0;

/// A lesson that is going on.
pub trait Lesson {
    /// What is learned.
    type Taught;
    /// What there is to say to the trainer.
    type Said: Display;
    /// Why nothing can be learned.
    type Refusal: Error + Send + Sync + 'static;

    /// More of the stream, some tens of ms at a time; what is to be said about it goes
    /// to `say`. Once something was learned it is not to be pushed again.
    ///
    /// # Errors
    /// The sound cannot be heard.
    fn push(&mut self, samples: &[f32], say: &mut dyn FnMut(Self::Said)) -> Result<(), EarError>;

    /// What was learned, if that is what was said.
    fn learned(said: Self::Said) -> Option<Self::Taught>;

    /// The end of the stream: learns from what there is.
    ///
    /// # Errors
    /// Nothing can be learned from it, and why.
    fn finish(&self) -> Result<Self::Taught, Self::Refusal>;

    /// Examples that count so far.
    fn count(&self) -> usize;

    /// Whether they are enough to learn from, if need be.
    fn is_enough(&self) -> bool;

    /// Whether the room was listened to for long enough to begin.
    fn knows_the_room(&self) -> bool;

    /// What the level meter shows.
    fn level(&mut self) -> Level;
}
