//! From samples to sound events: taught clicks and words, and bangs that may be
//! a ball. Pure: no device, no file, no clock.

mod bands;
mod filter;
mod fit;
mod heard;
mod history;
mod impact;
mod lesson;
mod level;
mod listener;
mod matcher;
mod pick;
mod print;
mod profile;
mod resample;
mod teach;
#[cfg(test)]
mod testing;
pub mod word;

pub use heard::{Ear, Heard};
pub use lesson::{Lesson, WANTED};
pub use level::{CLEAR_DB, Level, LevelMeter, LevelWord};
pub use pick::aic_onset;
pub use print::Print;
pub use profile::{ClickProfile, PROFILE_VERSION};
pub use teach::{ClickLesson, ClickSaid, Taught, TeachError, teach_at_beginning, teach_click};

/// What can go wrong in the ear.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EarError {
    /// The sample rate is outside 8 to 192 kHz.
    #[error(
        "a sample rate of {0} Hz is outside the 8000 to 192000 Hz that can be heard; record at 44100 or 48000 Hz"
    )]
    Rate(u32),
    /// A profile was written by another version of the program.
    #[error(
        "the profile of \"{name}\" has version {found}, this program reads version {PROFILE_VERSION}; teach it again: marklag teach click {name}"
    )]
    ProfileVersion {
        /// The taught sound.
        name: String,
        /// The version found.
        found: u32,
    },
    /// A profile holds no usable waveform.
    #[error("the profile of \"{0}\" is damaged; teach it again: marklag teach click {0}")]
    ProfileDamaged(String),
    /// A word's profile was written by another version of the program.
    #[error(
        "the profile of the word \"{name}\" has version {found}, this program reads version {}; teach it again: marklag teach word {name}",
        word::WORD_PROFILE_VERSION
    )]
    WordVersion {
        /// The taught word.
        name: String,
        /// The version found.
        found: u32,
    },
    /// A word's profile cannot be used.
    #[error("the profile of the word \"{0}\" is damaged; teach it again: marklag teach word {0}")]
    WordDamaged(String),
    /// A Fourier transform refused its buffers: a fault of the program.
    #[error("the spectrum could not be computed ({0}); please report this")]
    Transform(String),
}
